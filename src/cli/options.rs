//! Options that several commands share: the room, the way, what strikes, what the notes mean.

use std::ffi::OsStr;

use clap::builder::{PossibleValue, PossibleValuesParser, TypedValueParser};
use clap::{Arg, Args};

use super::Failure;
use crate::physics::liquid::Liquid;
use crate::physics::recipe::GasRecipe;
use crate::physics::reverberation::{Listening, RoomKind};
use crate::physics::shell::strike::Mallet;
use crate::physics::vapour::Headspace;
use crate::set::ShelfOrSet;
use crate::sounding::{Striking, Way};
use crate::tuning::{Key, NoteNames, PitchClass, Speller, Temperament, Tuning};
use crate::units::shown::Units;
use crate::units::{Frequency, Length};

/// The room in which the set is heard, what is in the bottles, and the lips; each replaces what the file says. What was
/// poured in the room of the file swells and shrinks with its warmth.
#[derive(Clone, Debug, Default, Args)]
#[command(next_help_heading = "Room options")]
pub struct RoomOptions {
    /// Temperature of the room in which the set is heard, and of the bottles, °C [-10 to 60]; what was poured at the file's
    /// temperature swells and shrinks with it
    #[arg(long, value_name = "C", allow_negative_numbers = true)]
    pub temp_c: Option<f64>,
    /// Relative humidity, percent [0 to 100]
    #[arg(long, value_name = "PCT")]
    pub humidity_pct: Option<f64>,
    /// Air pressure on the spot, kPa [50 to 120]
    #[arg(long, value_name = "KPA")]
    pub pressure_kpa: Option<f64>,
    /// Gas above the liquid: "room air", "dry air", breath (as cool as the bottle), co2, helium, argon, nitrogen, or "30% helium in air"
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

/// What the room does to the sound; each replaces what the file says.
#[derive(Clone, Copy, Debug, Default, Args)]
pub struct ListeningOptions {
    /// The kind of room: its walls and first reflections [default: the set's, else small]
    #[arg(long, value_name = "KIND", value_parser = rooms(), conflicts_with = "dry")]
    pub room: Option<RoomKind>,
    /// From the bottles to the listener, m: nearer has less of the room [0.3 to 3.7 in a small room, to 16.3 in a hall, to
    /// 50 outdoors; default: the set's, else 0.8, 3 or 2]
    #[arg(long, value_name = "M", conflicts_with = "dry")]
    pub distance_m: Option<f64>,
}

impl ListeningOptions {
    /// Where it is heard from: the file's, with these over it. Another kind of room has its own usual distance.
    ///
    /// # Errors
    /// A distance that the room does not have.
    pub fn over(&self, file: Listening) -> Result<Listening, Failure> {
        let kind = self.room.unwrap_or(file.kind());
        let kept = (kind == file.kind()).then_some(file.distance());
        let distance = self.distance_m.map(Length::from_m).or(kept);
        Listening::new(kind, distance).map_err(|error| Failure::bad("use --distance-m", error))
    }
}

/// The kinds of room.
fn rooms() -> Choice<RoomKind> {
    let word = |kind: RoomKind| {
        let help = match kind {
            RoomKind::Small => "A living room of 68 m³ that dies away in 0.9 s",
            RoomKind::Hall => "A hall of 2,200 m³ that dies away in 1.8 s",
            RoomKind::Outdoors => "No walls; the ground alone",
        };
        (PossibleValue::new(kind.name()).help(help), kind)
    };
    Choice(RoomKind::ALL.map(word).to_vec())
}

/// What a command prints, and the room of its set.
#[derive(Clone, Debug, Default, Args)]
pub struct PrintOptions {
    /// Print one JSON object
    #[arg(long)]
    pub json: bool,
    /// The room.
    #[command(flatten)]
    pub room: RoomOptions,
}

/// The same of a command that writes several files.
#[derive(Clone, Debug, Default, Args)]
pub struct WriteOptions {
    /// Replace existing files
    #[arg(long)]
    pub force: bool,
    /// What is printed, and the room.
    #[command(flatten)]
    pub print: PrintOptions,
}

/// `--temp-c` of commands that work out what goes into the bottles.
pub fn where_poured(temp_c: Arg) -> Arg {
    temp_c.help(
        "Temperature of the room in which the set is poured and heard, and of the bottles, °C [-10 to 60]",
    )
}

/// What strikes, and where; each replaces what the set says.
#[derive(Clone, Copy, Debug, Default, Args)]
pub struct StrikingOptions {
    /// What strikes [default: the set's, else wood]
    #[arg(long, value_name = "MALLET", value_parser = mallets())]
    pub mallet: Option<Mallet>,
    /// Where it strikes, mm above the inner floor [default: the set's, else halfway up the body]
    #[arg(long, value_name = "MM", value_parser = strike_mm)]
    pub strike_mm: Option<f64>,
}

impl StrikingOptions {
    /// What strikes: the file's, with these over it.
    #[must_use]
    pub fn over(&self, preset: &ShelfOrSet) -> Striking {
        let mut striking = match preset {
            ShelfOrSet::Set(set) => set.striking,
            ShelfOrSet::Shelf(_) => Striking::default(),
        };
        striking.mallet = self.mallet.unwrap_or(striking.mallet);
        striking.height = self.strike_mm.map(Length::from_mm).or(striking.height);
        striking
    }
}

/// A height to strike at.
fn strike_mm(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(mm) if (0.0..=1000.0).contains(&mm) => Ok(mm),
        _ => Err(format!(
            "{text:?} is outside 0 to 1000 mm above the inner floor"
        )),
    }
}

/// What the notes mean; each replaces what the file says.
#[derive(Clone, Debug, Default, Args)]
#[command(next_help_heading = "Tuning options")]
pub struct TuningOptions {
    /// Pitch of A4, Hz [380 to 500; default: 440]
    #[arg(long, value_name = "HZ")]
    pub a4_hz: Option<f64>,
    /// equal, just, pythagorean, meantone, or twelve cents above the tonic: 0,112,204,316,386,498,590,702,814,884,996,1088
    #[arg(long, value_name = "NAME|CENTS")]
    pub temperament: Option<Temperament>,
    /// Note that the temperament is built on; it stays where it is when the notes are transposed
    #[arg(long, value_name = "NOTE")]
    pub tonic: Option<PitchClass>,
}

impl TuningOptions {
    /// The tuning of a file with these over it.
    pub fn over(&self, base: &Tuning) -> Result<Tuning, Failure> {
        let temperament = self.temperament.clone();
        Tuning::new(
            self.a4_hz.map_or(base.a4(), Frequency::from_hz),
            temperament.unwrap_or_else(|| base.temperament().clone()),
            self.tonic.unwrap_or(base.tonic()),
        )
        .map_err(|error| Failure::bad("use these tuning options", error))
    }
}

/// How notes are called in what is printed.
#[derive(Clone, Copy, Debug, Default, Args)]
pub struct NamesOptions {
    /// How notes are called in what is printed; files, JSON and what is typed have English names
    #[arg(long, value_name = "NAMES", value_parser = note_names(), default_value = "english")]
    pub note_names: NoteNames,
}

impl NamesOptions {
    /// Says notes of a piece or a set in `key`.
    #[must_use]
    pub const fn speller(self, key: Key) -> Speller {
        Speller::new(self.note_names, key)
    }
}

/// The units of what is printed.
#[derive(Clone, Copy, Debug, Default, Args)]
pub struct UnitsOptions {
    /// Units of what is printed; files, JSON and what is typed after an option stay as they are
    #[arg(long, value_name = "UNITS", value_parser = units(), default_value = "si")]
    pub units: Units,
}

fn units() -> Choice<Units> {
    let word = |units: Units| {
        let help = match units {
            Units::Si => "Millilitres, grams, millimetres, °C",
            Units::Us => "US fluid ounces, ounces, inches, °F",
            Units::Imperial => "Imperial fluid ounces, ounces, inches, °F",
        };
        (PossibleValue::new(units.name()).help(help), units)
    };
    Choice(Units::ALL.map(word).to_vec())
}

fn note_names() -> Choice<NoteNames> {
    let word = |names: NoteNames| {
        let help = match names {
            NoteNames::English => "C D E F G A B, with # and b",
            NoteNames::German => "C D E F G A H, with -is and -es; B is the note below H",
            NoteNames::DoFixed => "Do Re Mi Fa Sol La Si; do is C",
            NoteNames::DoMovable => {
                "do re mi fa sol la ti; do is the tonic of a major key, la that of a minor one"
            }
        };
        (PossibleValue::new(names.name()).help(help), names)
    };
    Choice(NoteNames::ALL.map(word).to_vec())
}

/// Words to choose from, each with what it stands for.
#[derive(Clone)]
pub struct Choice<T>(Vec<(PossibleValue, T)>);

impl<T: Clone + Send + Sync + 'static> TypedValueParser for Choice<T> {
    type Value = T;

    fn parse_ref(
        &self,
        command: &clap::Command,
        arg: Option<&Arg>,
        value: &OsStr,
    ) -> Result<T, clap::Error> {
        let words = PossibleValuesParser::new(self.0.iter().map(|(word, _)| word.clone()));
        let typed = words.parse_ref(command, arg, value)?;
        let meant = self.0.iter().find(|(word, _)| word.matches(&typed, false));
        Ok(meant
            .expect("a word that was let through is one of them")
            .1
            .clone())
    }

    fn possible_values(&self) -> Option<Box<dyn Iterator<Item = PossibleValue> + '_>> {
        Some(Box::new(self.0.iter().map(|(word, _)| word.clone())))
    }
}

/// One of these ways of sounding a bottle.
#[must_use]
pub fn ways(of: &[Way]) -> Choice<Way> {
    let word = |&way: &Way| {
        let help = match way {
            Way::Blown => "Across the mouth",
            Way::Struck => "On the wall, with liquid in it",
            Way::Pressurised => "On the wall of sealed plastic with air pumped into it",
            Way::Sliding => "Across the mouth, over a floor that is pushed up",
            Way::Joined => {
                "Across the mouth, joined by a hose to another bottle that is lifted: a set's pair"
            }
        };
        (PossibleValue::new(way.name()).help(help), way)
    };
    Choice(of.iter().map(word).collect())
}

/// What the mallet's head is of.
fn mallets() -> Choice<Mallet> {
    let word = |mallet: Mallet| {
        let word = match mallet {
            Mallet::Felt => PossibleValue::new("soft-felt")
                .aliases(["felt", "soft felt"])
                .help("Soft felt: dull and gentle"),
            Mallet::Rubber => PossibleValue::new("rubber").help("Rubber"),
            Mallet::Wood => PossibleValue::new("wood").help("Wood"),
            Mallet::Metal => PossibleValue::new("metal").help("Metal: chips glass"),
        };
        (word, mallet)
    };
    Choice(Mallet::ALL.map(word).to_vec())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read<T: Clone + Send + Sync + 'static>(choice: &Choice<T>, word: &str) -> Option<T> {
        let command = clap::Command::new("any");
        choice.parse_ref(&command, None, OsStr::new(word)).ok()
    }

    #[test]
    fn every_way_and_every_mallet_is_read_by_its_name_and_no_other_word_is() {
        let all = ways(&Way::ALL);
        for way in Way::ALL {
            assert_eq!(read(&all, way.name()), Some(way));
        }
        assert_eq!(read(&all, "plucked"), None);
        let few = ways(&[Way::Blown, Way::Struck]);
        assert_eq!(read(&few, "joined"), None);
        for mallet in Mallet::ALL {
            assert_eq!(read(&mallets(), mallet.name()), Some(mallet));
        }
        assert_eq!(read(&mallets(), "soft-felt"), Some(Mallet::Felt));
        assert_eq!(read(&mallets(), "feather"), None);
    }
}
