//! `ullage plan`: which bottle plays which note, and how much goes into each.

mod report;

use std::ops::RangeInclusive;
use std::path::PathBuf;

use clap::Args;
use indicatif::{ProgressBar, ProgressStyle};

use super::Failure;
use super::inputs;
use super::options::{
    NamesOptions, RoomOptions, StrikingOptions, TuningOptions, UnitsOptions, ways, where_poured,
};
use super::piece_file::{self, BreakOptions};
use super::plan_set::set_file;
use crate::cli::print::{print, print_json, say};
use crate::file::atomic::{Overwrite, write_whole};
use crate::physics::conditions::Conditions;
use crate::plan::cost::Weights;
use crate::plan::keys::{Moved, Tried, tried};
use crate::plan::problem::{Allowed, Candidate, Limits, Pin, PlanError, Problem, TOLERANCE_CENTS};
use crate::plan::search::{Assignment, Plan};
use crate::plan::spelling::key_of;
use crate::plan::wanted::{checked, parse_wanted, scale};
use crate::set::{self, Kind, ShelfOrSet, Striking, Way};
use crate::tuning::{Key, NoteName, Speller, Tuning};
use report::{KeyRow, PlanReport, Shown, text};

/// Ways that a plan can choose.
const PLANNED: [Way; 4] = [Way::Blown, Way::Struck, Way::Pressurised, Way::Sliding];
/// Kinds of bottle from which a progress bar is worth its line.
const MANY_KINDS: usize = 200;
/// The same where walls are worked out.
const MANY_WALLS: usize = 8;
/// Keys that are printed of a ranking; JSON has them all.
const KEYS_PRINTED: usize = 8;

/// Choose which bottle plays which note, and how much goes into each.
///
/// The set is planned to be poured and heard in one room: that of the room options, else the file's.
#[derive(Debug, Args)]
#[command(
    mut_arg("temp_c", where_poured),
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
    pub key_range: RangeInclusive<i32>,
    /// A note that one kind of bottle must play, as C4=cordial; may be given again
    #[arg(long, value_name = "NOTE=BOTTLE", value_parser = pin)]
    pub pin: Vec<Pin>,
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
        default_value = "blown",
        value_parser = ways(&PLANNED)
    )]
    pub ways: Vec<Way>,
    /// What strikes them.
    #[command(flatten)]
    pub striking: StrikingOptions,
    /// Write the set here [default: only print it]
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// Replace an existing file
    #[arg(long)]
    pub force: bool,
    /// Title of the set [default: the shelf's]
    #[arg(long, value_name = "TEXT")]
    pub title: Option<String>,
    /// How far each bottle drifts when the room is up to 10 °C colder or warmer
    #[arg(long)]
    pub drift: bool,
    /// What the plan costs, and by which weights
    #[arg(long)]
    pub why: bool,
    /// Print one JSON object
    #[arg(long)]
    pub json: bool,
    /// How notes are called.
    #[command(flatten)]
    pub names: NamesOptions,
    /// In which units.
    #[command(flatten)]
    pub units: UnitsOptions,
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

fn pin(text: &str) -> Result<Pin, String> {
    let (note, bottle) = text
        .split_once('=')
        .ok_or_else(|| format!("{text:?} is not of the form NOTE=BOTTLE, such as C4=cordial"))?;
    Ok(Pin {
        note: note.parse().map_err(|e| format!("{e}"))?,
        bottle: bottle.trim().to_owned(),
    })
}

fn key_range(text: &str) -> Result<RangeInclusive<i32>, String> {
    let form = || format!("{text:?} is not of the form LOW..HIGH in semitones, such as -7..5");
    let (low, high) = text.split_once("..").ok_or_else(form)?;
    let number = |text: &str| text.trim().parse::<i32>().map_err(|_| form());
    match (number(low)?, number(high)?) {
        (low, high) if low <= high && low >= -127 && high <= 127 => Ok(low..=high),
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
    let asked = wanted(args)?;
    let problem = problem(args, &given)?;
    let Chosen {
        ranking,
        assignment,
        wanted,
    } = chosen(args, &given, &problem, asked)?;
    let plan = problem.pour(&assignment);
    let report = PlanReport::new(&problem, &plan, &given.weights, ranking, args.drift)?;
    let mut report = report.with_ranges(&problem, &plan, &given.tuning);
    let speller = args.names.speller(wanted.key);
    report.key = wanted.key.to_string();
    report.transpose = wanted.transpose;
    if let ShelfOrSet::Set(set) = &given.preset {
        report.pairs_taken_apart = set.pairs.iter().map(|pair| pair.name.clone()).collect();
    }
    // A piece is moved as its notes were; a scale or a list is written as it is meant to be.
    let piece_transpose = args.piece.as_ref().map_or(0, |_| wanted.transpose);
    write_set(args, &given, &problem, (&plan, piece_transpose))?;
    if args.json {
        print_json(&report)?;
    } else {
        let shown = Shown {
            keys: KEYS_PRINTED,
            cost: args.why,
            speller,
            units: args.units.units,
        };
        print(&text(&report, &shown))?;
    }
    all_placed(args, &report, &speller)
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
    let striking = args.striking.over(&preset);
    let mut ways = args.ways.clone();
    ways.sort_unstable();
    ways.dedup();
    Ok(Given {
        conditions,
        striking,
        ways,
        tuning: args.tuning.over(&tuning)?,
        weights: weights
            .checked()
            .map_err(|error| Failure::bad("weigh plans", error))?,
        preset,
    })
}

fn wanted(args: &PlanArgs) -> Result<Moved, Failure> {
    let mut key = None;
    let read = match (&args.notes, &args.scale, &args.piece) {
        (Some(text), _, _) => parse_wanted(text),
        (_, Some(text), _) => {
            let (Some(from), Some(to)) = (args.from, args.to) else {
                return Err(Failure::bad(
                    "read the notes",
                    "a scale needs both --from and --to",
                ));
            };
            scale(text, from, to)
        }
        (_, _, Some(path)) => {
            let score = piece_file::piece(path, args.broken)?;
            let its_own = *key.insert(key_of(&score));
            let notes = score.keys().into_iter().map(|midi| its_own.spelled(midi));
            checked(notes.collect(), &path.display().to_string())
        }
        (None, None, None) => {
            let because = "none of --notes, --scale and --piece is given";
            return Err(Failure::bad("read the notes", because));
        }
    };
    let notes = read.map_err(|error| Failure::bad("read the notes", error))?;
    let wanted = Moved {
        key: key.unwrap_or_else(|| Key::of_notes(&notes)),
        notes,
        transpose: 0,
    };
    if args.best_key {
        return Ok(wanted);
    }
    let moved = wanted.by(args.transpose);
    moved.map_err(|error| Failure::bad("transpose the notes", error))
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
        PlanError::NoneSounds { .. } => Failure::cannot(what, error).or_try("use another shelf"),
        _ => Failure::bad(what, error),
    }
}

/// What was chosen.
struct Chosen {
    /// The keys that were tried, the best first; nothing if there was no choice.
    ranking: Option<Vec<KeyRow>>,
    assignment: Assignment,
    wanted: Moved,
}

/// The assignment as asked for, or that of the best key with the ranking.
fn chosen(
    args: &PlanArgs,
    given: &Given,
    problem: &Problem,
    wanted: Moved,
) -> Result<Chosen, Failure> {
    if !args.best_key {
        let targets = wanted.targets(&given.tuning);
        let assignment = problem.assign(&targets, &args.pin, &given.weights);
        return Ok(Chosen {
            ranking: None,
            assignment: assignment.map_err(|error| refused(args, error))?,
            wanted,
        });
    }
    let meaning = (&given.tuning, &given.weights);
    let ranked = tried(problem, &wanted, args.key_range.clone(), meaning, &|| false)
        .map_err(|error| refused(args, error))?;
    let rows = ranked.iter().map(KeyRow::of).collect();
    let best = ranked.into_iter().next();
    best.map(|Tried { moved, assignment }| Chosen {
        ranking: Some(rows),
        assignment,
        wanted: moved,
    })
    .ok_or_else(|| {
        Failure::cannot("find a key", "every transposition leaves C-1 to G9")
            .or_try("widen --key-range")
    })
}

/// Writes the set where it was asked for.
fn write_set(
    args: &PlanArgs,
    given: &Given,
    problem: &Problem,
    (plan, transpose): (&Plan, i32),
) -> Result<(), Failure> {
    // A set without a note is of no use to anybody.
    let Some(out) = args.out.as_ref().filter(|_| !plan.pours.is_empty()) else {
        return Ok(());
    };
    let what = format!("write {}", out.display());
    let source = set::file_text(&args.shelf)?;
    let text = set_file(
        &source,
        (args.title.as_deref(), transpose),
        given,
        (problem, plan),
    )
    .map_err(|error| Failure::cannot(what, error))?;
    let overwrite = Overwrite::forced(args.force);
    write_whole(out, text.as_bytes(), overwrite)
        .map_err(|error| Failure::unwritten(out, error, "--out"))?;
    say!("wrote {}", out.display());
    Ok(())
}

/// Every note has a bottle, or the failure that says which have none.
fn all_placed(args: &PlanArgs, report: &PlanReport, speller: &Speller) -> Result<(), Failure> {
    if report.unplaced.is_empty() {
        return Ok(());
    }
    let wanted = report.unplaced.len() + report.pours.len();
    // Notes of one reason stand together: a shelf that is too small says so once.
    let mut reasons: Vec<(&str, &str, Vec<String>)> = Vec::new();
    for u in &report.unplaced {
        let note = format!("{} ({:.1} Hz)", speller.text(&u.note), u.target_hz);
        match reasons
            .iter_mut()
            .find(|r| (r.0, r.1) == (&*u.reason, &*u.remedy))
        {
            Some((_, _, notes)) => notes.push(note),
            None => reasons.push((&u.reason, &u.remedy, vec![note])),
        }
    }
    let told = |(reason, remedy, notes): &(&str, &str, Vec<String>)| {
        format!("{}: {reason}; {remedy}", notes.join(", "))
    };
    let lines: Vec<String> = reasons.iter().map(told).collect();
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
    .or_try("use --best-key, or add the bottles named above"))
}
