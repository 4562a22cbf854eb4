//! Following a pour by ear: the options, a recording of one, and what came of it.

use std::path::{Path, PathBuf};

use clap::Args;
use serde::Serialize;

use super::{ListenArgs, mono, recording};
use crate::cli::print::{JSON_VERSION, print, print_json};
use crate::cli::{Failure, inputs};
use crate::file::atomic::{AtomicFile, Overwrite, WriteError};
use crate::index::PourIndex;
use crate::number::rounded;
use crate::pouring::{Call, Hearing, Reading, room_comes_first};
use crate::report::pour_track::{PourTrack, TrackPoint};
use crate::set::{self, Pour, Set};
use crate::tuner::AimAt;
use crate::tuner::filling::{COARSE, Filling, FillingError, HowFilled};
use crate::units::{Duration, Frequency, Interval, SampleRate, Volume};

/// Following a pour.
#[derive(Clone, Debug, Default, Args)]
#[command(next_help_heading = "Pouring options")]
pub struct PouringOptions {
    /// Follow the fill of a bottle of this set while it is poured into; be quiet for a second first
    #[arg(long, value_name = "SET", conflicts_with_all = ["set", "walk", "keep", "unknown", "way", "fill_ml"])]
    pub pouring: Option<PathBuf>,
    /// Already in the bottle, ml
    #[arg(long, value_name = "ML", requires = "pouring", default_value_t = 0.0)]
    pub start_ml: f64,
    /// Nobody knows what is in it already
    #[arg(long, requires = "pouring", conflicts_with = "start_ml")]
    pub start_unknown: bool,
    /// It is poured through a funnel
    #[arg(long, requires = "pouring")]
    pub funnel: bool,
    /// Stop at the millilitres that are planned, whatever is heard of the note
    #[arg(long, requires = "pouring")]
    pub by_ml: bool,
    /// Stop so much early on purpose, since adding is easier than taking out [0 to 50]
    #[arg(
        long,
        value_name = "PERCENT",
        requires = "pouring",
        default_value_t = 5.0
    )]
    pub early_percent: f64,
    /// How far this bottle sounded above its model when it was last poured into, cents [-300 to 300]
    #[arg(
        long,
        value_name = "CENTS",
        requires = "pouring",
        allow_negative_numbers = true
    )]
    pub off_cents: Option<f64>,
    /// Write the fill against time for a spreadsheet
    #[arg(long, value_name = "FILE.csv", requires = "pouring")]
    pub track: Option<PathBuf>,
    /// Draw the fill against time
    #[arg(long, value_name = "FILE.svg", requires = "pouring")]
    pub svg: Option<PathBuf>,
    /// Replace those files if they are there
    #[arg(long, requires = "pouring")]
    pub force: bool,
}

/// How well an offset that was learnt from one pour holds for the next, cents (95 %).
const LEARNT_CENTS: f64 = 60.0;
/// An offset may be so far, cents.
const MOST_OFF_CENTS: f64 = 300.0;

impl PouringOptions {
    pub(super) fn check(&self) -> Result<(), Failure> {
        let outside = |what: &str, value: f64, range: &str| {
            Err(Failure::bad(
                "follow the pour",
                format!("{what} {value} is outside {range}"),
            ))
        };
        if !(0.0..=50.0).contains(&self.early_percent) {
            return outside("--early-percent", self.early_percent, "0 to 50");
        }
        if !(0.0..=1e6).contains(&self.start_ml) {
            return outside("--start-ml", self.start_ml, "0 to what the bottle holds");
        }
        match self.off_cents {
            Some(off) if off.is_nan() || off.abs() > MOST_OFF_CENTS => {
                outside("--off-cents", off, "-300 to 300")
            }
            _ if self.track.is_some() && self.track == self.svg => {
                let because = "--track and --svg name the same file";
                Err(Failure::bad("follow the pour", because))
            }
            _ => Ok(()),
        }
    }

    /// How the bottle is filled, where the room may come first.
    pub(super) fn how(&self, args: &ListenArgs, room_first: bool) -> HowFilled {
        let learnt = self.off_cents.map(Interval::from_cents);
        HowFilled {
            aim: match args.target_hz {
                Some(hz) => AimAt::Pitch(Frequency::from_hz(hz)),
                None if args.for_this_room => AimAt::NoteItself,
                None => AimAt::MovedNote,
            },
            by_ml: self.by_ml,
            start: (!self.start_unknown).then(|| Volume::from_ml(self.start_ml)),
            funnel: self.funnel,
            room_first,
            early: self.early_percent / 100.0,
            learnt: learnt.map(|off| (off, Interval::from_cents(LEARNT_CENTS))),
            ..HowFilled::default()
        }
    }
}

/// The bottle that is poured into.
pub(super) struct Poured {
    pub(super) set: Set,
    pub(super) pour: Pour,
}

impl Poured {
    pub(super) fn open(args: &ListenArgs, path: &Path) -> Result<Self, Failure> {
        let set = set::open(path)?;
        let now = inputs::conditions(&set.conditions, &args.room)?;
        let set = set.heard_in(now);
        let is_asked = |at: &PourIndex| {
            let pour = &set.pours[*at];
            let note = args.note.as_ref().is_none_or(|note| *note == pour.note);
            let named = args.bottle.as_deref();
            note && named.is_none_or(|name| set.kind_of(pour).name == name)
        };
        let asked: Vec<PourIndex> = PourIndex::all(set.pours.len()).filter(is_asked).collect();
        let all: Vec<String> = set.pours.iter().map(|p| p.note.to_string()).collect();
        let one_of = || format!("--note with one of: {}", all.join(", "));
        match asked[..] {
            [at] => Ok(Self {
                pour: set.pours[at].clone(),
                set,
            }),
            [] => {
                let what = format!("find that note in {}", path.display());
                Err(Failure::bad(what, "no pour has that note and bottle").or_try(one_of()))
            }
            _ => {
                let because = format!("{} bottles may be meant", asked.len());
                Err(Failure::bad("follow the pour", because).or_try(one_of()))
            }
        }
    }

    pub(super) fn title(&self) -> String {
        format!(
            "{} in {}",
            self.pour.note,
            self.set.kind_of(&self.pour).name
        )
    }

    pub(super) fn filling(&self, how: &HowFilled, rate: SampleRate) -> Result<Filling, Failure> {
        let what = || format!("follow the pour of {}", self.title());
        Filling::new(&self.set, &self.pour, how, rate).map_err(|error| match error {
            FillingError::Over { .. } | FillingError::Pouring(_) => {
                Failure::bad(what(), error).or_try("give --start-ml what is really in it")
            }
            FillingError::NoFill => {
                Failure::bad(what(), error).or_try("write fill_ml of that pour")
            }
            error => Failure::cannot(what(), error),
        })
    }
}

/// What a pour came to.
#[derive(Clone, Debug, Serialize)]
pub(super) struct PouringReport {
    version: u32,
    bottle: String,
    note: String,
    /// Where to stop, with the early stop taken off.
    mark_ml: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    fill_ml: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    fill_plus_minus_ml: Option<f64>,
    flow_ml_s: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    slower_s: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    stop_s: Option<f64>,
    poured_s: f64,
    unheard_s: f64,
    off_cents: f64,
    off_plus_minus_cents: f64,
    clipped: bool,
}

/// Gathers a pour as it is heard.
pub(super) struct Told {
    points: Vec<TrackPoint>,
    slower: Option<Duration>,
    stop: Option<Duration>,
    poured_s: f64,
    unheard_s: f64,
    flows_ml: f64,
    shown: Option<Reading>,
    last: Option<Reading>,
    clipped: bool,
}

/// From one reading to the next, s.
const STEP_S: f64 = 0.02;

impl Told {
    pub(super) fn new() -> Self {
        Self {
            points: Vec::new(),
            slower: None,
            stop: None,
            poured_s: 0.0,
            unheard_s: 0.0,
            flows_ml: 0.0,
            shown: None,
            last: None,
            clipped: false,
        }
    }

    pub(super) fn take(&mut self, now: &Reading) {
        let first = |at: &mut Option<Duration>| *at = at.or(Some(now.at));
        match now.call {
            Call::Pour => {}
            Call::Slower => first(&mut self.slower),
            Call::Stop => first(&mut self.stop),
        }
        match now.state {
            Hearing::Pouring => self.poured_s += STEP_S,
            Hearing::Deaf => self.unheard_s += STEP_S,
            Hearing::Room | Hearing::Waiting | Hearing::Paused => {}
        }
        self.flows_ml += now.flow_ml_s * STEP_S;
        if now.fill.is_some() {
            self.shown = Some(*now);
        }
        self.clipped |= now.clipped;
        self.last = Some(*now);
        self.points.push(TrackPoint {
            at: now.at,
            fill: now.fill.map(|band| [band.low, band.fill, band.high]),
            flow_ml_s: now.flow_ml_s,
            state: state_name(now.state),
            call: call_name(now.call),
        });
    }

    fn track(&self, poured: &Poured, filling: &Filling) -> PourTrack {
        PourTrack {
            title: poured.title(),
            capacity: filling.tracker().modes().capacity(),
            mark: self.last.map_or(Volume::default(), |last| last.mark),
            stop: self.stop,
            points: self.points.clone(),
        }
    }

    /// Writes the files that are asked for.
    #[cfg(feature = "live")]
    pub(super) fn write(
        &self,
        args: &ListenArgs,
        poured: &Poured,
        filling: Option<&Filling>,
    ) -> Result<(), Failure> {
        let Some(filling) = filling else {
            return Ok(());
        };
        let track = self.track(poured, filling);
        prepared(&args.pouring)?
            .into_iter()
            .try_for_each(|file| file.write(&track))
    }

    pub(super) fn report(&self, poured: &Poured) -> PouringReport {
        let last = self.last.as_ref();
        // What is in it at the end; nothing if it could not be heard then.
        let fill = last.and_then(|last| last.fill);
        let of = |value: fn(&Reading) -> f64| last.map_or(0.0, |last| rounded(value(last), 1));
        let s = |at: Option<Duration>| at.map(|at| rounded(at.s(), 2));
        let heard_s = (self.poured_s + self.unheard_s).max(STEP_S);
        PouringReport {
            version: JSON_VERSION,
            bottle: poured.set.kind_of(&poured.pour).name.clone(),
            note: poured.pour.note.to_string(),
            mark_ml: of(|last| last.mark.ml()),
            fill_ml: fill.map(|band| rounded(band.fill.ml(), 1)),
            fill_plus_minus_ml: fill.map(|band| rounded(0.5 * (band.high - band.low).ml(), 1)),
            flow_ml_s: rounded(self.flows_ml / heard_s, 1),
            slower_s: s(self.slower),
            stop_s: s(self.stop),
            poured_s: rounded(self.poured_s, 2),
            unheard_s: rounded(self.unheard_s, 2),
            off_cents: of(|last| last.off.cents()),
            off_plus_minus_cents: of(|last| last.off_plus_minus.cents()),
            clipped: self.clipped,
        }
    }
}

impl PouringReport {
    pub(super) fn text(&self) -> String {
        let mut out = format!("{} in {}\n", self.note, self.bottle);
        match (self.fill_ml, self.fill_plus_minus_ml) {
            (Some(fill), Some(plus_minus)) => {
                out += &format!("  holds about {fill:.0} ml ±{plus_minus:.0} by ear, ");
            }
            _ if self.poured_s + self.unheard_s == 0.0 => out += "  no pour was heard, ",
            _ => out += "  I cannot hear what it holds, ",
        }
        out += &format!("mark at {:.0} ml\n", self.mark_ml);
        match (self.slower_s, self.stop_s) {
            (_, Some(stop)) => out += &format!("  stop at {stop:.1} s\n"),
            (Some(slower), None) => out += &format!("  slower at {slower:.1} s; not full yet\n"),
            (None, None) => {}
        }
        if self.poured_s > 0.0 {
            out += &format!(
                "  poured for {:.1} s, about {:.0} ml/s; sounds {:+.0} cents ±{:.0} from its model\n",
                self.poured_s + self.unheard_s,
                self.flow_ml_s,
                self.off_cents,
                self.off_plus_minus_cents
            );
        }
        if self.unheard_s > 0.0 {
            out += &format!(
                "  could not be followed for {:.1} s of it\n",
                self.unheard_s
            );
        }
        if self.clipped {
            out += "  too loud: the microphone was clipped; turn it down or go away from it\n";
        }
        out + &format!("  {COARSE}\n")
    }

    pub(super) fn print(&self, json: bool) -> Result<(), Failure> {
        if json {
            print_json(self)
        } else {
            print(&self.text())
        }
    }
}

pub(super) const fn state_name(state: Hearing) -> &'static str {
    match state {
        Hearing::Room => "room",
        Hearing::Waiting => "waiting",
        Hearing::Pouring => "pouring",
        Hearing::Paused => "paused",
        Hearing::Deaf => "deaf",
    }
}

pub(super) const fn call_name(call: Call) -> &'static str {
    match call {
        Call::Pour => "pour",
        Call::Slower => "slower",
        Call::Stop => "stop",
    }
}

/// Follows the pour in a recording.
pub(super) fn run(args: &ListenArgs, path: &Path, set: &Path) -> Result<(), Failure> {
    let poured = Poured::open(args, set)?;
    let (wav, _) = recording(path)?;
    let samples = mono(&wav);
    let what = || format!("listen to {}", path.display());
    let quiet = room_comes_first(&samples, wav.rate)
        .map_err(|error| Failure::bad(what(), error).or_try("record it at 44100 or 48000 Hz"))?;
    let mut filling = poured.filling(&args.pouring.how(args, quiet), wav.rate)?;
    let files = prepared(&args.pouring)?;
    let mut told = Told::new();
    filling.hear_each(&samples, |now| told.take(now));
    let track = told.track(&poured, &filling);
    for file in files {
        file.write(&track)?;
    }
    told.report(&poured).print(args.json)
}

/// What a file of a track says.
type Text = fn(&PourTrack) -> String;

/// A file that will be written.
struct Prepared<'a> {
    file: AtomicFile,
    path: &'a Path,
    option: &'static str,
    text: Text,
}

/// The files that are asked for, before there is anything to write: a refusal costs nothing then.
fn prepared(options: &PouringOptions) -> Result<Vec<Prepared<'_>>, Failure> {
    let overwrite = Overwrite::forced(options.force);
    let mut ready = Vec::new();
    let texts: [(_, _, Text); 2] = [
        (&options.track, "--track", PourTrack::csv),
        (&options.svg, "--svg", PourTrack::svg),
    ];
    for (path, option, text) in texts {
        let Some(path) = path else { continue };
        let file = AtomicFile::create(path, overwrite)
            .map_err(|error| Failure::unwritten(path, error, option))?;
        ready.push(Prepared {
            file,
            path,
            option,
            text,
        });
    }
    Ok(ready)
}

impl Prepared<'_> {
    fn write(mut self, track: &PourTrack) -> Result<(), Failure> {
        use std::io::Write;
        let written = self
            .file
            .write_all((self.text)(track).as_bytes())
            .map_err(|error| WriteError::from_io(self.path, error))
            .and_then(|()| self.file.commit());
        written.map_err(|error| Failure::unwritten(self.path, error, self.option))
    }
}
