//! `ullage listen`: what pitch a recording has, how far it is from the plan, and what to pour.

mod advice;
mod blown;
mod bottles;
pub(crate) mod keep;
#[cfg(feature = "live")]
mod live;
mod pouring;
#[cfg(feature = "live")]
mod pouring_live;
mod round;
mod row;
mod tapped;
mod unknown;

use std::path::{Path, PathBuf};

use clap::Args;
use clap::builder::{PossibleValue, PossibleValuesParser, TypedValueParser};

use super::Failure;
use super::options::RoomOptions;
use crate::file::recording::{READS, RecordingError, read_recording};
use crate::file::wav::{Limits, Wav};
use crate::listen::strike::{self, Strike};
use crate::listen::taps::TapListener;
use crate::listen::{HeardNote, ListenError, Listener, NotBlown};
use crate::set::{self, Way};
use crate::tuning::NoteName;
use crate::units::Frequency;
use bottles::Bottles;

/// Longest recording, s.
const LONGEST_S: f64 = 3600.0;
/// A note shorter than this is not heard, s.
const LEAST_NOTE_S: f64 = 0.15;
/// A tap must ring for so long, s.
const LEAST_RING_S: f64 = 0.06;

/// Hear a poured bottle: its pitch, how far it is from the plan, and what to add or take out.
///
/// The pitch aimed at is what the set as planned would sound like in the room as it is now: a warm room makes every
/// bottle sharp alike, and pouring would put them out of tune again when it cools. --for-this-room aims at the note itself.
#[derive(Debug, Args)]
#[command(
    group(clap::ArgGroup::new("of_a_set").args(["set", "pouring"])),
    after_help = "Example: ullage listen g3.wav --set presets/quay/set.toml --note G3\n\
                  Example: ullage listen --live --set presets/quay/set.toml --walk --temp-c 23\n\
                  Example: ullage listen found.wav --unknown --capacity-ml 512 --mouth-bore-mm 19\n\
                  Example: ullage listen --live --pouring presets/quay/set.toml --note G3"
)]
pub struct ListenArgs {
    /// A recording of one bottle, or with --walk of one after the other
    #[arg(help = format!("A recording of one bottle, or with --walk of one after the other: {READS}, at most an hour"))]
    pub file: Option<PathBuf>,
    /// The set that the bottle belongs to
    #[arg(long, value_name = "SET")]
    pub set: Option<PathBuf>,
    /// Which note of the set it is [default: the nearest]
    #[arg(long, value_name = "NOTE", requires = "of_a_set")]
    pub note: Option<NoteName>,
    /// Which bottle of the set it is
    #[arg(long, value_name = "NAME", requires = "of_a_set")]
    pub bottle: Option<String>,
    /// Liquid that is surely in it, ml [default: what the set says, and that may be wrong]
    #[arg(long, value_name = "ML", requires = "set")]
    pub fill_ml: Option<f64>,
    /// How it is sounded [default: what the set says, else blown]
    #[arg(long, value_name = "WAY", value_parser = blown_or_struck())]
    pub way: Option<Way>,
    /// Aim at this pitch instead of the note's
    #[arg(long, value_name = "HZ")]
    pub target_hz: Option<f64>,
    /// Aim at the note's own pitch in the room as it is now, for playing with instruments that do not move with it
    #[arg(long, requires = "of_a_set", conflicts_with = "target_hz")]
    pub for_this_room: bool,
    /// In tune within this, cents [0.1 to 100]
    #[arg(long, value_name = "CENTS", default_value_t = 5.0)]
    pub within_cents: f64,
    /// Write what was heard into the set's file, so that the next plan is better
    #[arg(long, requires = "set", conflicts_with = "walk")]
    pub keep: bool,
    /// Several bottles one after the other: name each, say what to pour, and sum up
    #[arg(long, requires = "set", conflicts_with_all = ["note", "bottle", "fill_ml", "target_hz"])]
    pub walk: bool,
    /// A bottle that is not in any file, blown empty: infer its neck and print its table for a shelf
    #[arg(long, requires_all = ["capacity_ml", "mouth_bore_mm"],
        conflicts_with_all = ["set", "target_hz", "way"])]
    pub unknown: bool,
    /// Brimful capacity of the unknown bottle, ml [5 to 100000]
    #[arg(long, value_name = "ML", requires = "unknown")]
    pub capacity_ml: Option<f64>,
    /// Inner diameter of the unknown bottle's mouth, mm [2 to 200]
    #[arg(long, value_name = "MM", requires = "unknown")]
    pub mouth_bore_mm: Option<f64>,
    /// What to call the unknown bottle
    #[arg(long, value_name = "NAME", requires = "unknown")]
    pub name: Option<String>,
    /// Print one JSON object; with --live one for each note, a line each
    #[arg(long)]
    pub json: bool,
    /// Following a pour.
    #[command(flatten)]
    pub pouring: pouring::PouringOptions,
    /// The microphone.
    #[cfg(feature = "live")]
    #[command(flatten)]
    pub live: live::LiveOptions,
    /// Not in this build
    #[cfg(not(feature = "live"))]
    #[arg(long, hide = true)]
    pub live: bool,
    /// The room as it is now.
    #[command(flatten)]
    pub room: RoomOptions,
}

/// To be heard, a bottle is blown or struck, whatever else is done with it.
fn blown_or_struck() -> impl TypedValueParser<Value = Way> {
    PossibleValuesParser::new([
        PossibleValue::new(Way::Blown.name()).help("Across the mouth"),
        PossibleValue::new(Way::Struck.name()).help("On the wall"),
    ])
    .map(|name| match name == Way::Struck.name() {
        true => Way::Struck,
        false => Way::Blown,
    })
}

impl ListenArgs {
    /// Whether it listens to a microphone.
    pub fn is_live(&self) -> bool {
        #[cfg(feature = "live")]
        return self.live.live;
        #[cfg(not(feature = "live"))]
        return self.live;
    }
}

pub(super) fn run(args: &ListenArgs) -> Result<(), Failure> {
    check(args)?;
    if let Some(set) = &args.pouring.pouring {
        return run_pouring(args, set);
    }
    let set = args.set.as_deref().map(set::open).transpose()?;
    let bottles = set.map(|set| Bottles::new(args, set)).transpose()?;
    let bottles = bottles.as_ref();
    #[cfg(feature = "live")]
    if args.live.live {
        return live::run(args, bottles);
    }
    #[cfg(not(feature = "live"))]
    if args.live {
        return Err(super::left_out::left_out("listen --live"));
    }
    let Some(path) = &args.file else {
        return Err(no_sound());
    };
    if by_mallet(args, bottles) {
        return tapped::run(args, bottles, &strike_of(path)?);
    }
    let notes = notes(path, &expected(args, bottles))?;
    match bottles {
        _ if args.unknown => unknown::run(args, &notes),
        Some(bottles) if args.walk => round::run(args, bottles, &notes),
        _ => blown::run(args, bottles, &notes),
    }
}

/// Follows a pour, through the microphone or in a recording.
fn run_pouring(args: &ListenArgs, set: &Path) -> Result<(), Failure> {
    #[cfg(feature = "live")]
    if args.live.live {
        return live::run_pouring(args, set);
    }
    #[cfg(not(feature = "live"))]
    if args.live {
        return Err(super::left_out::left_out("listen --live"));
    }
    match &args.file {
        Some(path) => pouring::run(args, path, set),
        None => Err(no_sound()),
    }
}

fn no_sound() -> Failure {
    let because = "there is neither a recording nor --live";
    Failure::bad("listen", because).or_try("name a recording, or add --live")
}

fn check(args: &ListenArgs) -> Result<(), Failure> {
    if !(0.1..=100.0).contains(&args.within_cents) {
        let because = format!("--within-cents {} is outside 0.1 to 100", args.within_cents);
        return Err(Failure::bad("listen", because));
    }
    let target = args.target_hz.unwrap_or(440.0);
    if !(10.0..=20_000.0).contains(&target) {
        let because = format!("--target-hz {target} is outside 10 to 20000 Hz");
        return Err(Failure::bad("listen", because));
    }
    if args.walk && args.way == Some(Way::Struck) {
        return Err(walks_by_breath());
    }
    args.pouring.check()?;
    #[cfg(feature = "live")]
    args.live.check(args)?;
    Ok(())
}

fn walks_by_breath() -> Failure {
    let because = "--walk follows blown bottles only";
    Failure::bad("listen", because).or_try("give --note one bottle at a time")
}

/// A mallet is listened for, not breath: as asked, else as the bottles of the set are sounded.
fn by_mallet(args: &ListenArgs, bottles: Option<&Bottles>) -> bool {
    match bottles {
        Some(bottles) => bottles.judge.by_mallet(),
        None => args.way == Some(Way::Struck),
    }
}

/// The pitches that tell octaves apart.
fn expected(args: &ListenArgs, bottles: Option<&Bottles>) -> Vec<Frequency> {
    match (args.target_hz, bottles) {
        (Some(hz), _) => vec![Frequency::from_hz(hz)],
        (None, Some(bottles)) => bottles.judge.expected(),
        (None, None) => Vec::new(),
    }
}

/// A recording and its length in seconds.
pub(super) fn recording(path: &Path) -> Result<(Wav, f64), Failure> {
    let what = || format!("listen to {}", path.display());
    let limits = Limits {
        max_seconds: LONGEST_S + 1.0,
        ..Limits::default()
    };
    let wav = read_recording(path, limits).map_err(|error| not_read(what(), error))?;
    let seconds = wav.frames() as f64 / wav.rate.hz();
    if seconds > LONGEST_S {
        let because = format!("{seconds:.0} s are more than {LONGEST_S} s, the most that is heard");
        return Err(Failure::bad(what(), because).or_try("cut it into pieces"));
    }
    Ok((wav, seconds))
}

fn not_read(what: String, error: RecordingError) -> Failure {
    let way_out = match &error {
        #[cfg(not(feature = "recordings"))]
        RecordingError::LeftOut { .. } => super::left_out::RECORDINGS,
        RecordingError::OverLimit { .. } => "cut it into pieces",
        RecordingError::Foreign { .. } => "convert it to WAV or FLAC",
        _ => "record again as plain WAV, 16 or 24 bits",
    };
    Failure::bad(what, error).or_try(way_out)
}

/// The blown notes of a recording; never empty.
fn notes(path: &Path, expected: &[Frequency]) -> Result<Vec<HeardNote>, Failure> {
    let what = || format!("listen to {}", path.display());
    let (wav, seconds) = recording(path)?;
    let mut listener =
        Listener::new(wav.rate, expected).map_err(|error| Failure::bad(what(), error))?;
    listener.push(&mono(&wav));
    listener.finish();
    let notes = listener.heard_in_all();
    if notes.is_empty() {
        return Err(no_note(what(), seconds, &listener.refused()));
    }
    Ok(notes)
}

/// Why a recording has no blown note, by what else sounds in it.
fn no_note(what: String, seconds: f64, refused: &[NotBlown]) -> Failure {
    let blow = "holding the microphone near the mouth and blowing for a second";
    let tapped = refused
        .contains(&NotBlown::Tapped)
        .then_some(NotBlown::Tapped);
    match tapped.or_else(|| refused.first().copied()) {
        None => {
            let nothing = ListenError::NoNote {
                seconds,
                least_s: LEAST_NOTE_S,
            };
            Failure::cannot(what, nothing).or_try(blow)
        }
        Some(was) => {
            let way_out = match was {
                NotBlown::Tapped => "--way struck",
                NotBlown::Voice | NotBlown::Hum => blow,
            };
            Failure::cannot(what, ListenError::NotBlown { seconds, was }).or_try(way_out)
        }
    }
}

/// The taps of a recording, together.
fn strike_of(path: &Path) -> Result<Strike, Failure> {
    let what = || format!("listen to {}", path.display());
    let (wav, seconds) = recording(path)?;
    let mut listener = TapListener::new(wav.rate).map_err(|error| Failure::bad(what(), error))?;
    listener.push(&mono(&wav));
    listener.finish();
    strike::together(&listener.heard()).ok_or_else(|| {
        let nothing = ListenError::NoTap {
            seconds,
            least_s: LEAST_RING_S,
        };
        Failure::cannot(what(), nothing)
            .or_try("tap it with wood a few times, half a second apart, close to the microphone")
    })
}

/// The mean of the channels, or the loudest where they cancel each other.
pub(super) fn mono(wav: &Wav) -> Vec<f32> {
    let power = |samples: &[f32]| samples.iter().map(|x| f64::from(*x).powi(2)).sum::<f64>();
    let mean = wav.mono();
    let mut best = (power(&mean) * 4.0, mean);
    for channel in (0..wav.channels).filter(|_| wav.channels > 1) {
        let samples = wav.channel(channel);
        let this = power(&samples);
        if this > best.0 {
            best = (this, samples);
        }
    }
    best.1
}
