//! `ullage listen`: what pitch a recording has, how far it is from the plan, and what to pour.

mod keep;
mod round;

use std::path::{Path, PathBuf};

use clap::Args;
use serde::Serialize;

use super::Failure;
use super::args::{RoomOptions, WayArg};
use super::inputs;
use super::predict::{JSON_VERSION, rounded, signed};
use super::table::{print, print_json};
use crate::file::wav::{Wav, read_wav};
use crate::listen::advice::{Advice, Off, Poured, Reach, advice};
use crate::listen::together::{Blows, together};
use crate::listen::{HeardNote, ListenError, Listener};
use crate::physics::conditions::Conditions;
use crate::preset::{Kind, Set};
use crate::tuning::{NoteName, Tuning};
use crate::units::{Frequency, Interval, Volume};

/// Longest recording, s.
const LONGEST_S: f64 = 3600.0;
/// A note shorter than this is not heard, s.
const LEAST_NOTE_S: f64 = 0.15;

/// Hear a poured bottle: its pitch, how far it is from the plan, and what to add or take out.
#[derive(Debug, Args)]
#[command(after_help = "Example: ullage listen g3.wav --set presets/quay/set.toml --note G3")]
pub struct ListenArgs {
    /// A recording of one bottle, or with --walk of one after the other; WAV, at most an hour
    pub file: PathBuf,
    /// The set that the bottle belongs to
    #[arg(long, value_name = "SET")]
    pub set: Option<PathBuf>,
    /// Which note of the set it is [default: the nearest]
    #[arg(long, value_name = "NOTE", requires = "set")]
    pub note: Option<NoteName>,
    /// Which bottle of the set it is
    #[arg(long, value_name = "NAME", requires = "set")]
    pub bottle: Option<String>,
    /// Liquid that is surely in it, ml [default: what the set says, and that may be wrong]
    #[arg(long, value_name = "ML", requires = "set")]
    pub fill_ml: Option<f64>,
    /// How it is sounded
    #[arg(long, value_enum, default_value_t)]
    pub way: WayArg,
    /// Aim at this pitch instead of the note's
    #[arg(long, value_name = "HZ")]
    pub target_hz: Option<f64>,
    /// In tune within this, cents [0.1 to 100]
    #[arg(long, value_name = "CENTS", default_value_t = 5.0)]
    pub within_cents: f64,
    /// Write what was heard into the set's file, so that the next plan is better
    #[arg(long, requires = "set", conflicts_with = "walk")]
    pub keep: bool,
    /// Several bottles one after the other: name each, say what to pour, and sum up
    #[arg(long, requires = "set", conflicts_with_all = ["note", "bottle", "fill_ml", "target_hz"])]
    pub walk: bool,
    /// Print one JSON object
    #[arg(long)]
    pub json: bool,
    /// The room as it is now.
    #[command(flatten)]
    pub room: RoomOptions,
}

/// What to pour, as JSON.
#[derive(Clone, Debug, Serialize)]
struct Pouring {
    add_ml: f64,
    add_g: f64,
    plus_minus_ml: f64,
    repeat_ml: f64,
    fill_now_ml: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    cannot: Option<String>,
}

#[derive(Serialize)]
struct Report {
    version: u32,
    way: &'static str,
    hz: f64,
    note: String,
    cents: f64,
    plus_minus_cents: f64,
    blows: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    q: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    decay_s: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    bottle: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    target_hz: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    advice: Option<Pouring>,
    #[serde(skip_serializing_if = "Option::is_none")]
    kept: Option<keep::Kept>,
}

pub(super) fn run(args: &ListenArgs) -> Result<(), Failure> {
    if !(0.1..=100.0).contains(&args.within_cents) {
        let because = format!("--within-cents {} is outside 0.1 to 100", args.within_cents);
        return Err(Failure::bad("listen", because));
    }
    if args
        .target_hz
        .is_some_and(|hz| !(10.0..=20_000.0).contains(&hz))
    {
        return Err(Failure::bad(
            "listen",
            "--target-hz is outside 10 to 20000 Hz",
        ));
    }
    let set = args.set.as_deref().map(inputs::set).transpose()?;
    let targets: Vec<Frequency> = match (&set, args.target_hz) {
        (_, Some(hz)) => vec![Frequency::from_hz(hz)],
        (Some(set), None) => set.pours.iter().map(|p| set.target(p)).collect(),
        (None, None) => Vec::new(),
    };
    let notes = notes(&args.file, &targets)?;
    match &set {
        Some(set) if args.walk => round::run(args, set, &notes),
        _ => one(args, set.as_ref(), &notes),
    }
}

/// The blown notes of a recording; never empty.
fn notes(path: &Path, expected: &[Frequency]) -> Result<Vec<HeardNote>, Failure> {
    let what = || format!("listen to {}", path.display());
    let wav = read_wav(path).map_err(|error| {
        Failure::bad(what(), error).or_try("recording again as plain WAV, 16 or 24 bits")
    })?;
    let seconds = wav.frames() as f64 / wav.rate.hz();
    if seconds > LONGEST_S {
        let because = format!("{seconds:.0} s are more than {LONGEST_S} s, the most that is heard");
        return Err(Failure::bad(what(), because).or_try("cutting it into pieces"));
    }
    let mut listener =
        Listener::new(wav.rate, expected).map_err(|error| Failure::bad(what(), error))?;
    listener.push(&mono(&wav));
    listener.finish();
    let notes = listener.heard();
    if notes.is_empty() {
        let nothing = ListenError::NoNote {
            seconds,
            least_s: LEAST_NOTE_S,
        };
        return Err(Failure::cannot(what(), nothing)
            .or_try("holding the microphone near the mouth and blowing for a second"));
    }
    Ok(notes)
}

/// The mean of the channels, or the loudest where they cancel each other.
fn mono(wav: &Wav) -> Vec<f32> {
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

/// The bottle that is listened to.
struct Chosen<'a> {
    kind: &'a Kind,
    name: Option<String>,
    fill: Option<Volume>,
    target: Frequency,
}

/// The pour asked for, or the one whose note is nearest.
fn chosen<'a>(args: &ListenArgs, set: &'a Set, pitch: Frequency) -> Result<Chosen<'a>, Failure> {
    let path = args.set.as_deref().unwrap_or(Path::new(""));
    let named = args.bottle.as_deref();
    let fits = |pour: &&crate::preset::Pour| {
        let note = args.note.as_ref().is_none_or(|note| *note == pour.note);
        note && named.is_none_or(|name| set.kind_of(pour).name == name)
    };
    let off = |pour: &crate::preset::Pour| pitch.interval_above(set.target(pour)).cents().abs();
    let pours = set.pours.iter().filter(fits);
    let aim = args.target_hz.map(Frequency::from_hz);
    if let Some(pour) = pours.min_by(|a, b| off(a).total_cmp(&off(b))) {
        if pour.way != crate::preset::Way::Blown {
            let what = format!(
                "say how to correct {} in {:?}",
                pour.note,
                set.kind_of(pour).name
            );
            let because = format!("it is {}, and this listens for blown bottles", pour.way);
            return Err(Failure::cannot(what, because)
                .or_try("ullage predict with what was set, or the pitch in heard of its bottle"));
        }
        return Ok(Chosen {
            kind: set.kind_of(pour),
            name: Some(pour.note.to_string()),
            fill: pour.fill,
            target: aim.unwrap_or_else(|| set.target(pour)),
        });
    }
    match (named, &args.note) {
        (Some(name), None) => Ok(Chosen {
            kind: inputs::kind(&set.kinds, name, path)?,
            name: None,
            fill: None,
            target: aim.unwrap_or_else(|| set.tuning.frequency(&set.tuning.nearest(pitch).0)),
        }),
        _ => {
            let all: Vec<String> = set.pours.iter().map(|p| p.note.to_string()).collect();
            let what = format!("find that note in {}", path.display());
            Err(Failure::bad(what, "no pour has that note and bottle")
                .or_try(format!("--note with one of: {}", all.join(", "))))
        }
    }
}

fn one(args: &ListenArgs, set: Option<&Set>, notes: &[HeardNote]) -> Result<(), Failure> {
    let blows = together(notes).expect("a recording without notes was refused");
    let mut report = Report::new(&blows);
    let Some(set) = set else {
        let (note, off) = match args.target_hz {
            Some(hz) => (None, blows.frequency.interval_above(Frequency::from_hz(hz))),
            None => {
                let (note, off) = Tuning::default().nearest(blows.frequency);
                (Some(note), off)
            }
        };
        report.note = note.map_or_else(|| "target".to_owned(), |note| note.to_string());
        report.cents = rounded(off.cents(), 2);
        return report.tell(args, "");
    };
    let now = inputs::conditions(&set.conditions, &args.room)?;
    let chosen = chosen(args, set, blows.frequency)?;
    report.bottle = Some(chosen.kind.name.clone());
    report.target_hz = Some(rounded(chosen.target.hz(), 3));
    let nearest = || set.tuning.nearest(chosen.target).0.to_string();
    report.note = chosen.name.clone().unwrap_or_else(nearest);
    report.cents = rounded(blows.frequency.interval_above(chosen.target).cents(), 2);
    let off = Off {
        heard: blows.frequency,
        plus_minus: blows.plus_minus,
        target: chosen.target,
    };
    report.advice = Some(pouring(args, &chosen, &now, off)?);
    let mut remarks = rooms(args, set, &now);
    if args.keep {
        let fill = args
            .fill_ml
            .map(Volume::from_ml)
            .or(chosen.fill)
            .ok_or_else(|| {
                Failure::bad(
                    "keep what was heard",
                    "nobody said how much is in the bottle",
                )
                .or_try("--fill-ml with the millilitres in it")
            })?;
        let path = args.set.as_deref().expect("--keep requires --set");
        let kept = keep::keep(path, set, chosen.kind, fill, blows.frequency, &now)?;
        remarks += &kept.text();
        report.kept = Some(kept);
    }
    report.tell(args, &remarks)
}

fn pouring(
    args: &ListenArgs,
    chosen: &Chosen<'_>,
    now: &Conditions,
    off: Off,
) -> Result<Pouring, Failure> {
    let poured = Poured {
        fill: args
            .fill_ml
            .map(Volume::from_ml)
            .or(chosen.fill)
            .unwrap_or_default(),
        sure: args.fill_ml.is_some(),
    };
    let found = advice(&chosen.kind.bottle, now, poured, off).map_err(|error| {
        Failure::cannot(
            format!("say what to pour into {:?}", chosen.kind.name),
            error,
        )
    })?;
    Ok(Pouring::new(&found))
}

/// What the room does, if it is not the plan's.
fn rooms(args: &ListenArgs, set: &Set, now: &Conditions) -> String {
    let (plan_c, now_c) = (set.conditions.temperature().c(), now.temperature().c());
    if args.room.temp_c.is_none() || (plan_c - now_c).abs() < 0.05 {
        return String::new();
    }
    format!(
        "this is for the room as it is now, {now_c:.1} °C; the set was planned for {plan_c:.1} °C, and all bottles move together\n"
    )
}

impl Pouring {
    fn new(advice: &Advice) -> Self {
        let cannot = match advice.reach {
            Reach::LacksAir(lack) => Some(format!(
                "cannot be reached by pouring: needs {:.0} ml less than empty",
                lack.ml()
            )),
            Reach::TooFull(full) => Some(format!(
                "cannot be reached by pouring: above {:.0} ml the bottle no longer sounds",
                full.ml()
            )),
            Reach::Fine => None,
        };
        Self {
            add_ml: rounded(advice.add.ml(), 2),
            add_g: rounded(advice.add_mass.g(), 2),
            plus_minus_ml: rounded(advice.plus_minus.ml(), 2),
            repeat_ml: rounded(advice.repeat.ml(), 1),
            fill_now_ml: rounded(advice.fill_now.ml(), 1),
            cannot,
        }
    }

    /// In words; `in_tune` needs none.
    fn text(&self, in_tune: bool) -> String {
        if let Some(cannot) = &self.cannot {
            return cannot.clone();
        }
        if in_tune {
            return "in tune".to_owned();
        }
        let (verb, ml, g) = if self.add_ml >= 0.0 {
            ("add", self.add_ml, self.add_g)
        } else {
            ("take out", -self.add_ml, -self.add_g)
        };
        format!("{verb} {ml:.1} ml ({g:.1} g) ±{:.1}", self.plus_minus_ml)
    }
}

impl Report {
    fn new(blows: &Blows) -> Self {
        let ring = blows.notes.iter().rev().find_map(|n| n.ring);
        Self {
            version: JSON_VERSION,
            way: "blown",
            hz: rounded(blows.frequency.hz(), 4),
            note: String::new(),
            cents: 0.0,
            plus_minus_cents: rounded(blows.plus_minus.cents().max(0.01), 2),
            blows: blows.notes.len(),
            q: ring.map(|r| rounded(r.quality, 1)),
            decay_s: ring.map(|r| rounded(r.decay.s(), 4)),
            bottle: None,
            target_hz: None,
            advice: None,
            kept: None,
        }
    }

    fn tell(&self, args: &ListenArgs, remarks: &str) -> Result<(), Failure> {
        if args.json {
            return print_json(self);
        }
        let bottle = self
            .bottle
            .as_ref()
            .map_or(String::new(), |b| format!(" ({b})"));
        let mut out = format!(
            "{:.2} Hz, {}{bottle} {} cents ±{:.1}\n",
            self.hz,
            self.note,
            signed(self.cents, 1),
            self.plus_minus_cents
        );
        if let Some(q) = self.q {
            out += &format!("it rang down with Q {q:.0}\n");
        }
        if let Some(pouring) = &self.advice {
            let in_tune = Interval::from_cents(self.cents).cents().abs() <= args.within_cents;
            out += &format!("{}\n", pouring.text(in_tune));
            out += &format!(
                "another blow may differ by as much as {:.0} ml does: blow it more than once\n",
                pouring.repeat_ml
            );
        }
        print(&(out + remarks))
    }
}
