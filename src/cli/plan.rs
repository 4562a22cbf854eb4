//! `ullage plan`: which bottle plays which note, and how much goes into each.

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use indicatif::{ProgressBar, ProgressStyle};

use super::Failure;
use super::args::{MalletArg, RoomOptions, strike_mm, striking};
use super::inputs;
use super::piece_file::{self, BreakOptions};
use super::plan_report::{KeyRow, Report, text};
use super::plan_set::set_file;
use crate::cli::print::{print, print_json};
use crate::file::atomic::{Overwrite, write_whole};
use crate::physics::conditions::Conditions;
use crate::plan::cost::Weights;
use crate::plan::problem::{
    Allowed, Candidate, Limits, Pin, PlanError, Problem, TOLERANCE_CENTS, Target,
};
use crate::plan::search::{Assignment, Plan};
use crate::plan::wanted::{checked, parse_wanted, scale, transposed};
use crate::set::{self, Kind, ShelfOrSet, Striking, Way};
use crate::tuning::{NoteName, PitchClass, Temperament, Tuning};
use crate::units::Frequency;

/// Kinds of bottle from which a progress bar is worth its line.
const MANY_KINDS: usize = 200;
/// The same where walls are worked out.
const MANY_WALLS: usize = 8;
/// Keys that are printed of a ranking; JSON has them all.
const KEYS_PRINTED: usize = 8;

/// Choose which bottle plays which note, and how much goes into each.
#[derive(Debug, Args)]
#[command(
    group = clap::ArgGroup::new("wanted").required(true).args(["notes", "scale", "piece"]),
    after_help = "Examples:\n  ullage plan --shelf presets/quay/shelf.toml --notes \"G3 A3 B3 D4 x2\" --out set.toml\n  \
                  ullage plan --shelf shelf.toml --scale \"D dorian\" --from D3 --to D5 --pin D4=cordial\n  \
                  ullage plan --shelf shelf.toml --piece carol.mid --best-key\n  \
                  ullage plan --shelf presets/struck/shelf.toml --scale \"C major\" --from C7 --to G7 --ways struck"
)]
pub struct PlanArgs {
    /// The bottles: a shelf, or a set whose bottles, room and tuning are taken
    #[arg(long, value_name = "FILE")]
    pub shelf: PathBuf,
    /// The notes; x3 behind one asks for three bottles of it: "C4 D4 E4 x3"
    #[arg(long, value_name = "NOTES")]
    pub notes: Option<String>,
    /// A scale: "D dorian", "G major"; major, minor, harmonic minor, dorian, phrygian, lydian, mixolydian,
    /// major pentatonic, minor pentatonic, blues, chromatic, whole tone
    #[arg(long, value_name = "SCALE", requires_all = ["from", "to"])]
    pub scale: Option<String>,
    /// Lowest note of the scale
    #[arg(long, value_name = "NOTE", requires = "scale")]
    pub from: Option<NoteName>,
    /// Highest note of the scale
    #[arg(long, value_name = "NOTE", requires = "scale")]
    pub to: Option<NoteName>,
    /// The notes that a MIDI file or MusicXML uses, percussion left out
    #[arg(long, value_name = "FILE.mid|.musicxml|.mxl")]
    pub piece: Option<PathBuf>,
    /// If it is broken.
    #[command(flatten)]
    pub broken: BreakOptions,
    /// Move every note by semitones
    #[arg(long, value_name = "SEMITONES", default_value_t = 0, allow_negative_numbers = true, value_parser = clap::value_parser!(i32).range(-127..=127))]
    pub transpose: i32,
    /// Try every transposition within --key-range and take the one that places most notes, then the cheapest
    #[arg(long, conflicts_with_all = ["transpose", "pin"])]
    pub best_key: bool,
    /// Semitones down and up that --best-key tries
    #[arg(long, value_name = "LOW..HIGH", default_value = "-12..12", allow_hyphen_values = true, value_parser = key_range)]
    pub key_range: (i32, i32),
    /// A note that one kind of bottle must play, as C4=cordial; may be given again
    #[arg(long, value_name = "NOTE=BOTTLE", value_parser = pin)]
    pub pin: Vec<(NoteName, String)>,
    /// A bottle that no liquid may go into; may be given again
    #[arg(long, value_name = "NAME")]
    pub keep_empty: Vec<String>,
    /// Highest fill, percent of the capacity [default: as far as the bottle sounds]
    #[arg(
        long,
        value_name = "PCT",
        default_value_t = 100.0,
        hide_default_value = true
    )]
    pub max_fill_pct: f64,
    /// How far off a bottle that is left empty may be, cents [0 to 100]
    #[arg(long, value_name = "CENTS", default_value_t = TOLERANCE_CENTS)]
    pub tolerance_cents: f64,
    /// Ways of sounding them to choose from, as "blown,struck"; blown, struck, pressurised, sliding. Plastic alone is
    /// pressurised, to 2.4 bar; notes of a sliding floor sound one at a time
    #[arg(
        long,
        value_name = "WAYS",
        value_delimiter = ',',
        default_value = "blown"
    )]
    pub ways: Vec<PlanWay>,
    /// What strikes them [default: the set's, else wood]
    #[arg(long, value_enum, value_name = "MALLET")]
    pub mallet: Option<MalletArg>,
    /// Where it strikes, mm above the inner floor [default: the set's, else halfway up the body]
    #[arg(long, value_name = "MM", value_parser = strike_mm)]
    pub strike_mm: Option<f64>,
    /// Write the set here [default: only print it]
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// Replace a file that is there
    #[arg(long)]
    pub force: bool,
    /// Title of the set [default: the shelf's]
    #[arg(long, value_name = "TEXT")]
    pub title: Option<String>,
    /// How far each bottle drifts when the room is up to 10 °C colder or warmer
    #[arg(long)]
    pub drift: bool,
    /// Print one JSON object
    #[arg(long)]
    pub json: bool,
    /// What the notes mean.
    #[command(flatten)]
    pub tuning: TuningOptions,
    /// What the plan costs.
    #[command(flatten)]
    pub weights: WeightOptions,
    /// The room.
    #[command(flatten)]
    pub room: RoomOptions,
}

/// A way that a plan can choose.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum PlanWay {
    /// Across the mouth
    Blown,
    /// On the wall
    Struck,
    /// On the wall of plastic with air pumped into it
    Pressurised,
    /// Across the mouth, over a floor that is pushed up
    Sliding,
}

impl From<PlanWay> for Way {
    fn from(way: PlanWay) -> Self {
        match way {
            PlanWay::Blown => Self::Blown,
            PlanWay::Struck => Self::Struck,
            PlanWay::Pressurised => Self::Pressurised,
            PlanWay::Sliding => Self::Sliding,
        }
    }
}

/// What the notes mean; each replaces what the file says.
#[derive(Clone, Debug, Default, Args)]
#[command(next_help_heading = "Tuning options")]
pub struct TuningOptions {
    /// Pitch of A4, Hz [380 to 500; default: 440]
    #[arg(long, value_name = "HZ")]
    pub a4_hz: Option<f64>,
    /// equal, just, pythagorean, meantone, or twelve cents above the tonic
    #[arg(long, value_name = "NAME")]
    pub temperament: Option<Temperament>,
    /// Note that the temperament is built on; it stays where it is when the notes are transposed
    #[arg(long, value_name = "NOTE")]
    pub tonic: Option<PitchClass>,
}

/// What counts how much in the price of a plan; each 0 to 1000.
#[derive(Clone, Debug, Args)]
#[command(next_help_heading = "Weights: what counts how much once all notes are placed")]
pub struct WeightOptions {
    /// Hard to pour: cents per ml, over 10
    #[arg(long, value_name = "W", default_value_t = Weights::default().pour)]
    pub weight_pour: f64,
    /// Dull tone: 20 over Q
    #[arg(long, value_name = "W", default_value_t = Weights::default().tone)]
    pub weight_tone: f64,
    /// Far from half full: 0 there, 1 at the ends
    #[arg(long, value_name = "W", default_value_t = Weights::default().middle)]
    pub weight_middle: f64,
    /// Liquid used, litres
    #[arg(long, value_name = "W", default_value_t = Weights::default().liquid)]
    pub weight_liquid: f64,
    /// Uncertain pitch: ± cents over 20
    #[arg(long, value_name = "W", default_value_t = Weights::default().uncertainty)]
    pub weight_uncertainty: f64,
    /// Off the note: cents over 5
    #[arg(long, value_name = "W", default_value_t = Weights::default().error)]
    pub weight_error: f64,
}

fn pin(text: &str) -> Result<(NoteName, String), String> {
    let (note, bottle) = text
        .split_once('=')
        .ok_or_else(|| format!("{text:?} is not of the form NOTE=BOTTLE, such as C4=cordial"))?;
    let note = note.parse().map_err(|e| format!("{e}"))?;
    Ok((note, bottle.trim().to_owned()))
}

fn key_range(text: &str) -> Result<(i32, i32), String> {
    let form = || format!("{text:?} is not of the form LOW..HIGH in semitones, such as -7..5");
    let (low, high) = text.split_once("..").ok_or_else(form)?;
    let number = |text: &str| text.trim().parse::<i32>().map_err(|_| form());
    match (number(low)?, number(high)?) {
        (low, high) if low <= high && low >= -127 && high <= 127 => Ok((low, high)),
        _ => Err(format!(
            "{text:?} is outside -127..127, or the wrong way round"
        )),
    }
}

/// What was given, read and checked.
pub(super) struct Given {
    pub preset: ShelfOrSet,
    pub conditions: Conditions,
    pub tuning: Tuning,
    pub weights: Weights,
    pub striking: Striking,
    pub ways: Vec<Way>,
}

pub(super) fn run(args: &PlanArgs) -> Result<(), Failure> {
    let given = given(args)?;
    let notes = notes(args)?;
    let problem = problem(args, &given)?;
    let (keys, assignment) = chosen(args, &given, &problem, &notes)?;
    let plan = problem.pour(&assignment);
    let mut report = Report::new(&problem, &plan, &given.weights, keys, args.drift)?;
    if let ShelfOrSet::Set(set) = &given.preset {
        report.pairs_taken_apart = set.pairs.iter().map(|pair| pair.name.clone()).collect();
    }
    if let Some(out) = &args.out {
        write_set(args, out, &given, &problem, &plan)?;
    }
    if args.json {
        print_json(&report)?;
    } else {
        print(&text(&report, KEYS_PRINTED))?;
    }
    told(args, &report)
}

fn given(args: &PlanArgs) -> Result<Given, Failure> {
    let (preset, conditions) = inputs::preset(&args.shelf, &args.room)?;
    let tuning = match &preset {
        ShelfOrSet::Set(set) => set.tuning.clone(),
        ShelfOrSet::Shelf(_) => Tuning::default(),
    };
    let o = &args.weights;
    let weights = Weights {
        pour: o.weight_pour,
        tone: o.weight_tone,
        middle: o.weight_middle,
        liquid: o.weight_liquid,
        uncertainty: o.weight_uncertainty,
        error: o.weight_error,
    };
    let striking = striking(&preset, args.mallet, args.strike_mm);
    let mut ways: Vec<Way> = args.ways.iter().map(|way| Way::from(*way)).collect();
    ways.sort_unstable();
    ways.dedup();
    Ok(Given {
        conditions,
        striking,
        ways,
        tuning: tuned(&tuning, &args.tuning)?,
        weights: weights
            .checked()
            .map_err(|error| Failure::bad("weigh plans", error))?,
        preset,
    })
}

/// The tuning of a file with the options over it.
pub(super) fn tuned(base: &Tuning, options: &TuningOptions) -> Result<Tuning, Failure> {
    let temperament = options.temperament.clone();
    Tuning::new(
        options.a4_hz.map_or(base.a4(), Frequency::from_hz),
        temperament.unwrap_or_else(|| base.temperament().clone()),
        options.tonic.unwrap_or(base.tonic()),
    )
    .map_err(|error| Failure::bad("use these tuning options", error))
}

fn notes(args: &PlanArgs) -> Result<Vec<NoteName>, Failure> {
    let read = if let Some(text) = &args.notes {
        parse_wanted(text)
    } else if let (Some(text), Some(from), Some(to)) = (&args.scale, args.from, args.to) {
        scale(text, from, to)
    } else if let Some(path) = &args.piece {
        let score = piece_file::piece(path, args.broken)?;
        let keys = score.keys().into_iter().map(NoteName::from_midi);
        checked(keys.collect(), &path.display().to_string())
    } else {
        unreachable_options()
    };
    let notes = read.map_err(|error| Failure::bad("read the notes", error))?;
    if args.best_key {
        return Ok(notes);
    }
    transposed(&notes, args.transpose).map_err(|error| Failure::bad("transpose the notes", error))
}

/// Clap has seen to it that one of the three is there; an empty list says so if it ever has not.
fn unreachable_options() -> Result<Vec<NoteName>, crate::plan::wanted::WantedError> {
    checked(Vec::new(), "the options")
}

fn problem(args: &PlanArgs, given: &Given) -> Result<Problem, Failure> {
    let kinds = given.preset.kinds();
    for name in &args.keep_empty {
        inputs::kind(kinds, name, &args.shelf)?;
    }
    let candidate = |kind: &Kind| Candidate {
        name: kind.name.clone(),
        bottle: kind.bottle.clone(),
        count: kind.count,
        keep_empty: args.keep_empty.contains(&kind.name),
        fits: kind.fits.clone(),
    };
    let limits = Limits {
        max_share: args.max_fill_pct / 100.0,
        tolerance_cents: args.tolerance_cents,
    };
    let allowed = Allowed {
        ways: given.ways.clone(),
        striking: given.striking,
    };
    // Walls take a hundred times as long as air.
    let walls = given.ways.iter().any(|way| way.is_struck());
    let many = if walls { MANY_WALLS } else { MANY_KINDS };
    let bar = if kinds.len() < many {
        ProgressBar::hidden()
    } else {
        // Hides itself where standard error is no terminal.
        ProgressBar::new(kinds.len() as u64).with_style(
            ProgressStyle::with_template("bottles {bar:40} {pos}/{len}")
                .expect("a template of known keys"),
        )
    };
    let candidates = kinds.iter().map(candidate).collect();
    let problem = Problem::with_ways(candidates, &given.conditions, limits, allowed, &|| {
        bar.inc(1)
    });
    bar.finish_and_clear();
    problem.map_err(|error| refused(args, error))
}

fn refused(args: &PlanArgs, error: PlanError) -> Failure {
    let what = format!("plan with {}", args.shelf.display());
    match error {
        PlanError::NoneSounds { .. } => Failure::cannot(what, error).or_try("another shelf"),
        _ => Failure::bad(what, error),
    }
}

/// The assignment as asked for, or that of the best key with the ranking.
fn chosen(
    args: &PlanArgs,
    given: &Given,
    problem: &Problem,
    notes: &[NoteName],
) -> Result<(Option<Vec<KeyRow>>, Assignment), Failure> {
    let pins: Vec<Pin> = args
        .pin
        .iter()
        .map(|(note, bottle)| Pin {
            note: *note,
            bottle: bottle.clone(),
        })
        .collect();
    let assign = |notes: &[NoteName]| {
        let target = |&note: &NoteName| Target {
            note,
            pitch: given.tuning.frequency(&note),
        };
        let targets: Vec<Target> = notes.iter().map(target).collect();
        problem
            .assign(&targets, &pins, &given.weights)
            .map_err(|error| refused(args, error))
    };
    if !args.best_key {
        return Ok((None, assign(notes)?));
    }
    let mut ranked = Vec::new();
    for semitones in args.key_range.0..=args.key_range.1 {
        // A key that leaves the keyboard is no key.
        if let Ok(moved) = transposed(notes, semitones) {
            let assignment = assign(&moved)?;
            ranked.push((KeyRow::new(semitones, &assignment), assignment));
        }
    }
    ranked.sort_by(|a, b| a.0.order(&b.0));
    let keys = ranked.iter().map(|(row, _)| row.clone()).collect();
    let best = ranked.into_iter().next().map(|(_, assignment)| assignment);
    best.map(|best| (Some(keys), best)).ok_or_else(|| {
        Failure::cannot("find a key", "every transposition leaves C-1 to G9")
            .or_try("a wider --key-range")
    })
}

fn write_set(
    args: &PlanArgs,
    out: &std::path::Path,
    given: &Given,
    problem: &Problem,
    plan: &Plan,
) -> Result<(), Failure> {
    let what = format!("write {}", out.display());
    let source = set::file_text(&args.shelf)?;
    let text = set_file(&source, args.title.as_deref(), given, problem, plan)
        .map_err(|error| Failure::cannot(what, error))?;
    let overwrite = Overwrite::forced(args.force);
    write_whole(out, text.as_bytes(), overwrite)
        .map_err(|error| Failure::unwritten(out, error, "--out"))
}

/// Says what got no bottle, by exit code 1.
fn told(args: &PlanArgs, report: &Report) -> Result<(), Failure> {
    if report.unplaced.is_empty() {
        return Ok(());
    }
    let wanted = report.unplaced.len() + report.pours.len();
    let lines: Vec<String> = report
        .unplaced
        .iter()
        .map(|u| {
            format!(
                "{}, {:.1} Hz: {}; {}",
                u.note, u.target_hz, u.reason, u.remedy
            )
        })
        .collect();
    let rest = match (&args.out, report.pours.len()) {
        (Some(out), placed) if placed > 0 => {
            format!("; {} has the other {placed}", out.display())
        }
        _ => String::new(),
    };
    Err(Failure::cannot(
        format!("place {} of {wanted} notes{rest}", report.unplaced.len()),
        lines.join("\n"),
    )
    .or_try("--best-key, or the bottles named above"))
}
