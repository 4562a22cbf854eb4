//! What `ullage audition` can be asked.

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use crate::cli::altered::TwoConditions;
use crate::cli::options::{ListeningOptions, NamesOptions, RoomOptions};
use crate::cli::piece_file::{BreakOptions, KeyOptions};

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
    pub broken: BreakOptions,
    /// In which key.
    #[command(flatten)]
    pub key: KeyOptions,
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
    /// Replace an existing file
    #[arg(long)]
    pub force: bool,
    /// Leave the room out
    #[arg(long)]
    pub dry: bool,
    /// Where it is heard from.
    #[command(flatten)]
    pub listening: ListeningOptions,
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
    /// Seed of the breath noise and of what differs from note to note: the same seed gives the same samples
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u64,
    /// Every note exactly as predicted: no wandering breath, no two takes
    #[arg(long)]
    pub steady: bool,
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
    pub two: TwoConditions,
    /// How notes are called.
    #[command(flatten)]
    pub names: NamesOptions,
    /// Print one JSON object
    #[arg(long)]
    pub json: bool,
    /// The room.
    #[command(flatten)]
    pub room: RoomOptions,
}
