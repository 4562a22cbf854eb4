//! What can be typed: commands, options and their help.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};

pub use super::pour::Pour;
use super::sweep::Sweep;
use crate::physics::liquid::Liquid;
use crate::physics::recipe::GasRecipe;
use crate::physics::shell::strike::Mallet;
use crate::physics::vapour::Headspace;
use crate::set::{ShelfOrSet, Striking, Way};
use crate::units::Length;

/// Plan a bottle set, hear it, and pour it.
///
/// Computes what each bottle sounds like from its shape, its filling and the air, and plays the set
/// before any liquid is poured. Files are TOML with the units in every name.
#[derive(Debug, Parser)]
#[command(name = "ullage", version, arg_required_else_help = true)]
pub struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Say what a bottle sounds like: pitch, Q, and how fast they move
    Predict(Predict),
    /// Choose which bottle plays which note, and how much goes into each
    Plan(Box<super::plan::PlanArgs>),
    /// Solve how much goes into each bottle of a set
    Fill(Fill),
    /// Say where sliding floors and joined bottles stand for their notes
    Marks(super::marks::MarksArgs),
    /// Say what to add or take out when the room or the pitch changes
    Retune(super::retune::RetuneArgs),
    /// Make the pour sheet: drawings, amounts, and strips to tape to the bottles
    Pour(Pour),
    /// Say how far a set moves from one condition to another: chilled, left in the sun, filled with CO2
    Compare(super::compare::CompareArgs),
    /// Say whether a piece can be played with a set, and by how many players
    Check(super::check::CheckArgs),
    /// Write each player's part of a piece: a page to print and a MIDI file
    Parts(super::parts::PartsArgs),
    /// Say what was early, late, missed and wrong in a recorded pass
    Practise(super::practise::PractiseArgs),
    /// Render a set to a WAV file, to hear it before pouring
    Audition(Audition),
    /// Write a set's sounds for samplers and notation programs: SFZ, SoundFont, tuning
    Export(super::export::ExportArgs),
    /// Play a set live: from MIDI, and from the window
    #[cfg(feature = "live")]
    Play(Box<super::play::PlayArgs>),
    /// List the sound cards and MIDI inputs there are
    #[cfg(feature = "live")]
    Devices(super::devices::DevicesArgs),
    /// Hear a poured bottle, and say what to add or take out
    Listen(Box<super::listen::ListenArgs>),
    /// Print the JSON Schema of a file
    Schema(Schema),
    /// Print shell completions
    Completions(Completions),
    /// Print the manual page
    #[command(after_help = "Example: ullage man > ullage.1 && man ./ullage.1")]
    Man,
}

/// The room, what is in the bottle, and the lips; each replaces what the file says.
#[derive(Clone, Debug, Default, Args)]
#[command(next_help_heading = "Room options")]
pub struct RoomOptions {
    /// Temperature of the room and the bottles, °C [-10 to 60]
    #[arg(long, value_name = "C", allow_negative_numbers = true)]
    pub temp_c: Option<f64>,
    /// Relative humidity, percent [0 to 100]
    #[arg(long, value_name = "PCT")]
    pub humidity_pct: Option<f64>,
    /// Air pressure on the spot, kPa [50 to 120]
    #[arg(long, value_name = "KPA")]
    pub pressure_kpa: Option<f64>,
    /// Gas above the liquid: "room air", "dry air", breath, co2, helium, argon, nitrogen, or "30% helium in air"
    #[arg(long, value_name = "GAS")]
    pub gas: Option<GasRecipe>,
    /// Gas in the neck, if another
    #[arg(long, value_name = "GAS")]
    pub neck_gas: Option<GasRecipe>,
    /// Liquid: water, brine, "salt 20%", "sea water", "sugar 30%", "glycerol 50%", "vegetable oil", "dish soap"; by volume
    /// "ethanol 40%", "isopropanol 70%"
    #[arg(long, value_name = "LIQUID")]
    pub liquid: Option<Liquid>,
    /// Vapour above the liquid: dry, room, saturated, or a share from 0 to 1
    #[arg(long, value_name = "WHICH")]
    pub headspace: Option<Headspace>,
    /// Share of the mouth that the lips leave open [0.05 to 1]
    #[arg(long, value_name = "SHARE")]
    pub lip_open: Option<f64>,
}

/// How a bottle is sounded.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum WayArg {
    /// Across the mouth
    #[default]
    Blown,
    /// On the wall, with liquid in it
    Struck,
    /// On the wall of sealed plastic with air pumped into it
    Pressurised,
    /// Across the mouth, over a floor that is pushed up
    Sliding,
    /// Across the mouth, joined by a hose to another bottle that is lifted: a set's pair
    Joined,
}

impl From<WayArg> for Way {
    fn from(way: WayArg) -> Self {
        match way {
            WayArg::Blown => Self::Blown,
            WayArg::Struck => Self::Struck,
            WayArg::Pressurised => Self::Pressurised,
            WayArg::Sliding => Self::Sliding,
            WayArg::Joined => Self::Joined,
        }
    }
}

/// What the mallet's head is of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum MalletArg {
    /// Soft felt: dull and gentle
    #[value(name = "soft-felt", alias = "felt", alias = "soft felt")]
    SoftFelt,
    /// Rubber
    Rubber,
    /// Wood
    Wood,
    /// Metal: chips glass
    Metal,
}

impl From<MalletArg> for Mallet {
    fn from(mallet: MalletArg) -> Self {
        match mallet {
            MalletArg::SoftFelt => Self::Felt,
            MalletArg::Rubber => Self::Rubber,
            MalletArg::Wood => Self::Wood,
            MalletArg::Metal => Self::Metal,
        }
    }
}

/// A height to strike at.
pub(super) fn strike_mm(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(mm) if (0.0..=1000.0).contains(&mm) => Ok(mm),
        _ => Err(format!(
            "{text:?} is outside 0 to 1000 mm above the inner floor"
        )),
    }
}

/// What strikes: the file's, with the options over it.
pub(super) fn striking(
    preset: &ShelfOrSet,
    mallet: Option<MalletArg>,
    strike_mm: Option<f64>,
) -> Striking {
    let mut striking = match preset {
        ShelfOrSet::Set(set) => set.striking,
        ShelfOrSet::Shelf(_) => Striking::default(),
    };
    striking.mallet = mallet.map_or(striking.mallet, Mallet::from);
    striking.height = strike_mm.map(Length::from_mm).or(striking.height);
    striking
}

/// Say what a bottle sounds like.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: ullage predict presets/quay/shelf.toml --bottle cordial --fill-ml 120\n\
                  Example: ullage predict presets/quay/set.toml --sweep temp-c=0..40 --svg warmth.svg\n\
                  Example: ullage predict presets/struck/shelf.toml --way struck --mallet rubber --fill-ml 200"
)]
pub struct Predict {
    /// A shelf or a set
    pub file: PathBuf,
    /// Only this bottle [default: every bottle of a shelf, every pour of a set]
    #[arg(long, value_name = "NAME")]
    pub bottle: Option<String>,
    /// How it is sounded [default: as the set says, else blown]
    #[arg(long, value_enum)]
    pub way: Option<WayArg>,
    /// Pressure above the air outside, bar; plastic only [0 to 4; with --way pressurised]
    #[arg(long, value_name = "BAR", allow_negative_numbers = true)]
    pub gauge_bar: Option<f64>,
    /// How far the floor is pushed in, mm [with --way sliding]
    #[arg(long, value_name = "MM", allow_negative_numbers = true)]
    pub travel_mm: Option<f64>,
    /// How far the second of a pair stands above the first, mm [with --way joined]
    #[arg(long, value_name = "MM", allow_negative_numbers = true)]
    pub lift_mm: Option<f64>,
    /// What strikes it [default: the set's, else wood]
    #[arg(long, value_enum, value_name = "MALLET")]
    pub mallet: Option<MalletArg>,
    /// Where it strikes, mm above the inner floor [default: the set's, else halfway up the body]
    #[arg(long, value_name = "MM", value_parser = strike_mm)]
    pub strike_mm: Option<f64>,
    /// Liquid in it, ml [default: what the set says, else empty]
    #[arg(long, value_name = "ML", conflicts_with = "fill_g")]
    pub fill_ml: Option<f64>,
    /// Liquid in it, g on a scale
    #[arg(long, value_name = "G")]
    pub fill_g: Option<f64>,
    /// Step through one quantity, as KEY=LOW..HIGH or KEY=LOW..HIGH/STEPS; KEY is fill-ml, temp-c, humidity-pct,
    /// pressure-kpa or lip-open. A share of another gas in the room's air: gas=co2:0..1; a strength in percent:
    /// liquid=ethanol:0..40
    #[arg(long, value_name = "KEY=LOW..HIGH")]
    pub sweep: Option<Sweep>,
    /// Draw the sweep
    #[arg(long, value_name = "FILE.svg", requires = "sweep")]
    pub svg: Option<PathBuf>,
    /// Replace a drawing that is there
    #[arg(long, requires = "svg")]
    pub force: bool,
    /// Print one JSON object
    #[arg(long)]
    pub json: bool,
    /// Where the uncertainty comes from, source by source
    #[arg(long)]
    pub why: bool,
    /// The room.
    #[command(flatten)]
    pub room: RoomOptions,
}

/// Solve how much goes into each bottle of a set.
#[derive(Debug, Args)]
#[command(after_help = "Example: ullage fill myset.toml --out poured.toml")]
pub struct Fill {
    /// A set
    pub file: PathBuf,
    /// Where to write the set with its fills [default: only print them]
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// Replace a file that is there
    #[arg(long)]
    pub force: bool,
    /// Print one JSON object
    #[arg(long)]
    pub json: bool,
    /// The room.
    #[command(flatten)]
    pub room: RoomOptions,
}

/// Bits of a sample.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum BitsArg {
    /// 16-bit integers, dithered
    #[value(name = "16")]
    Int16,
    /// 24-bit integers
    #[default]
    #[value(name = "24")]
    Int24,
    /// 32-bit floating point
    #[value(name = "32f")]
    Float32,
}

/// How loud low notes are against high ones.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum BalanceArg {
    /// As small mouths radiate: low notes weaker
    Physical,
    /// Evened out
    #[default]
    Even,
}

/// What is in a file of its own.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum StemsBy {
    /// Each bottle
    #[default]
    Bottle,
    /// Each player's bottles together
    Player,
}

/// Which part of which piece is played, and by which bottles.
///
/// Two notes at once for one bottle: the later takes over. Two that begin together are one.
#[derive(Clone, Debug, Default, Args)]
#[command(next_help_heading = "Piece options")]
pub struct PieceOptions {
    /// Play this piece with the set, a MIDI file or MusicXML; a note without a bottle stays silent and is listed
    #[arg(long, value_name = "FILE.mid|.musicxml|.mxl")]
    pub piece: Option<PathBuf>,
    /// If it is broken.
    #[command(flatten)]
    pub broken: super::piece_file::BreakOptions,
    /// Tempo, percent of the file's [25 to 400]
    #[arg(long, value_name = "PCT", requires = "piece", default_value_t = 100.0)]
    pub tempo_pct: f64,
    /// The first bar to play, counted from 1
    #[arg(long, value_name = "BAR", requires = "piece")]
    pub from_bar: Option<u64>,
    /// The last bar to play; notes held over its end are cut there
    #[arg(long, value_name = "BAR", requires = "piece")]
    pub to_bar: Option<u64>,
    /// Leave a bottle out, by its note or its name; repeatable
    #[arg(long, value_name = "NOTE|BOTTLE", requires = "piece")]
    pub mute: Vec<String>,
    /// Only this bottle, by its note or its name; repeatable
    #[arg(long, value_name = "NOTE|BOTTLE", requires = "piece")]
    pub solo: Vec<String>,
    /// Only this track, by its name or its place counted from 1; repeatable
    #[arg(long, value_name = "NAME|N", requires = "piece")]
    pub track: Vec<String>,
    /// Sound the rest of the piece too, as quiet plain tones in the middle: the tracks that --track leaves out, or,
    /// without --track, the notes that no bottle has
    #[arg(long, requires = "piece")]
    pub others: bool,
    /// Also write each bottle alone into this folder: without the room, at the gain of the mix
    #[arg(long, value_name = "DIR", requires = "piece")]
    pub stems: Option<PathBuf>,
    /// What a stem holds; players are shared out as check does, the fewest with two bottles each
    #[arg(long, value_enum, requires = "stems", default_value_t)]
    pub stems_by: StemsBy,
    /// Scatter the timing as people do, standard deviation in ms, by --seed [0 to 200]
    #[arg(long, value_name = "MS", requires = "piece", default_value_t = 0.0)]
    pub humanise_ms: f64,
    /// Click on every beat
    #[arg(long, requires = "piece")]
    pub click: bool,
}

/// Render a set to a WAV file.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: ullage audition presets/quay/set.toml --out quay.wav\n\
                  Example: ullage audition presets/quay/set.toml --piece presets/quay/piece.mid --stems stems"
)]
pub struct Audition {
    /// A set
    pub file: PathBuf,
    /// The WAV file to write
    #[arg(long, value_name = "FILE.wav", default_value = "audition.wav")]
    pub out: PathBuf,
    /// Replace a file that is there
    #[arg(long)]
    pub force: bool,
    /// Leave the room out
    #[arg(long)]
    pub dry: bool,
    /// Samples a second [8000 to 192000]
    #[arg(long, value_name = "HZ", default_value_t = 48_000)]
    pub rate_hz: u32,
    /// Bits of a sample
    #[arg(long, value_enum, default_value_t)]
    pub bits: BitsArg,
    /// How loud low notes are against high ones
    #[arg(long, value_enum, default_value_t)]
    pub balance: BalanceArg,
    /// How hard the bottles are blown, over the threshold of sounding [1.1 to 6]
    #[arg(long, value_name = "TIMES", default_value_t = crate::plan::programme::USUAL_BREATH)]
    pub breath: f64,
    /// Seed of the breath noise: the same seed gives the same samples
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u64,
    /// Loudness to aim at, LUFS (ITU-R BS.1770) [-40 to -9]
    #[arg(long, value_name = "LUFS", default_value_t = -20.0, allow_negative_numbers = true)]
    pub lufs: f64,
    /// Level on top of that, dB; the ceiling of -1 dBFS stays [-60 to 20]
    #[arg(
        long,
        value_name = "DB",
        default_value_t = 0.0,
        allow_negative_numbers = true
    )]
    pub level_db: f64,
    /// List every pair, chord and note, not only the first few
    #[arg(long)]
    pub all: bool,
    /// A piece to hear instead of the bottles in turn.
    #[command(flatten)]
    pub piece: PieceOptions,
    /// Two conditions to hear after each other.
    #[command(flatten)]
    pub two: super::altered::TwoConditions,
    /// Print one JSON object
    #[arg(long)]
    pub json: bool,
    /// The room.
    #[command(flatten)]
    pub room: RoomOptions,
}

/// Which file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum SchemaOf {
    /// Bottles alone
    Shelf,
    /// Bottles with notes
    Set,
}

/// Print the JSON Schema of a file.
#[derive(Debug, Args)]
#[command(after_help = "Example: ullage schema set > set.schema.json")]
pub struct Schema {
    /// Which file
    #[arg(value_enum)]
    pub of: SchemaOf,
}

/// Print shell completions.
#[derive(Debug, Args)]
#[command(after_help = "Example: ullage completions bash > /etc/bash_completion.d/ullage")]
pub struct Completions {
    /// Which shell
    pub shell: clap_complete::Shell,
}
