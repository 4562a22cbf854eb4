//! A plan as it is printed: the rows, the reasons, the ranking of keys, the drift.

use serde::Serialize;

use crate::cli::Failure;
use crate::cli::print::JSON_VERSION;
use crate::cli::print::table;
use crate::cli::rows::{PourRow, RangeRow, cautions_text, pour_table};
use crate::index::CandidateIndex;
use crate::number::rounded;
use crate::plan::cost::Weights;
use crate::plan::keys::Tried;
use crate::plan::problem::Problem;
use crate::plan::search::{Placed, Plan};
use crate::set::Way;
use crate::sounding::drift::{DRIFT_KELVIN, drift};
use crate::tuning::{Key, Speller, Tuning};
use crate::units::shown::Units;

/// Kinds of spare bottle, and bottles that are least certain for one reason, that are named; JSON has them all.
const MOST_SPARE: usize = 12;
const MOST_DOUBTED: usize = 8;

/// A plan as JSON.
#[derive(Serialize)]
pub(super) struct PlanReport {
    version: u32,
    /// The key that the notes are in, and how far they were moved for it, semitones.
    pub key: String,
    pub transpose: i32,
    pub pours: Vec<PourRow>,
    pub unplaced: Vec<UnplacedRow>,
    spares: Vec<SpareRow>,
    /// Joined pairs of the file, whose bottles the plan took singly.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub pairs_taken_apart: Vec<String>,
    weights: Weights,
    cost: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    keys: Option<Vec<KeyRow>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    drift: Option<Vec<DriftRow>>,
}

#[derive(Serialize)]
pub(super) struct UnplacedRow {
    pub note: String,
    pub target_hz: f64,
    pub reason: String,
    pub remedy: String,
}

/// Bottles that the plan leaves on the shelf.
#[derive(Serialize)]
struct SpareRow {
    bottle: String,
    count: u32,
}

/// What is left of each kind, kinds with nothing left out.
fn spares(problem: &Problem, plan: &Plan) -> Vec<SpareRow> {
    let kinds = CandidateIndex::each(problem.candidates());
    let left = kinds.map(|(index, candidate)| {
        let of_it = || plan.pours.iter().filter(|placed| placed.bottle == index);
        let slides = |placed: &&Placed| placed.sounded.way == Way::Sliding;
        // All notes of a sliding floor are one bottle's.
        let floors = of_it().filter(slides).count();
        let used = (of_it().count() - floors + floors.min(1)) as u32;
        SpareRow {
            bottle: candidate.name.clone(),
            count: candidate.count.saturating_sub(used),
        }
    });
    left.filter(|spare| spare.count > 0).collect()
}

/// One transposition of a ranking.
#[derive(Clone, Serialize)]
pub(super) struct KeyRow {
    transpose: i32,
    key: String,
    #[serde(skip)]
    in_key: Key,
    placed: usize,
    wanted: usize,
    cost: f64,
}

#[derive(Serialize)]
struct DriftRow {
    note: String,
    bottle: String,
    cents: Vec<Drifted>,
}

#[derive(Clone, Copy, Serialize)]
struct Drifted {
    temp_c: f64,
    cents: Option<f64>,
}

impl KeyRow {
    pub fn of(Tried { moved, assignment }: &Tried) -> Self {
        Self {
            transpose: moved.transpose,
            key: moved.key.to_string(),
            in_key: moved.key,
            placed: assignment.placed(),
            wanted: assignment.targets.len(),
            cost: assignment.cost,
        }
    }
}

impl PlanReport {
    pub fn new(
        problem: &Problem,
        plan: &Plan,
        weights: &Weights,
        keys: Option<Vec<KeyRow>>,
        with_drift: bool,
    ) -> Result<Self, Failure> {
        let unplaced = plan.unplaced.iter().map(|u| UnplacedRow {
            note: u.target.note.to_string(),
            target_hz: rounded(u.target.pitch.hz(), 4),
            reason: u.reason.clone(),
            remedy: u.remedy.clone(),
        });
        let drift = if with_drift {
            let rows = plan.pours.iter().map(|placed| drift_row(problem, placed));
            Some(rows.collect::<Result<_, _>>()?)
        } else {
            None
        };
        Ok(Self {
            version: JSON_VERSION,
            key: String::new(),
            transpose: 0,
            pours: plan.pours.iter().map(|p| row(problem, p)).collect(),
            unplaced: unplaced.collect(),
            spares: spares(problem, plan),
            pairs_taken_apart: Vec::new(),
            weights: *weights,
            cost: plan.cost,
            keys,
            drift,
        })
    }
}

impl PlanReport {
    /// Says of each note what its bottle gives from end to end, by the notes of `tuning`.
    pub fn with_ranges(mut self, problem: &Problem, plan: &Plan, tuning: &Tuning) -> Self {
        for (row, placed) in self.pours.iter_mut().zip(&plan.pours) {
            let reach = problem.reach(placed.bottle, placed.sounded.way);
            row.range = reach.map(|ends| RangeRow::of(ends, tuning));
        }
        self
    }
}

fn row(problem: &Problem, placed: &Placed) -> PourRow {
    let bottle = problem.candidates()[placed.bottle].name.clone();
    PourRow::new(placed.target.note.to_string(), bottle, &placed.sounded)
}

fn drift_row(problem: &Problem, placed: &Placed) -> Result<DriftRow, Failure> {
    let candidate = &problem.candidates()[placed.bottle];
    let conditions = problem.conditions();
    let source = problem.source(placed.bottle, placed.sounded.way);
    let moved = drift(&source, placed.sounded.setting, &DRIFT_KELVIN)
        .map_err(|error| Failure::cannot(format!("warm {:?}", candidate.name), error))?;
    let now_c = conditions.temperature().c();
    let cents = DRIFT_KELVIN
        .iter()
        .zip(moved)
        .map(|(kelvin, moved)| Drifted {
            temp_c: rounded(now_c + kelvin, 3),
            cents: moved.map(|interval| rounded(interval.cents(), 2)),
        });
    Ok(DriftRow {
        note: placed.target.note.to_string(),
        bottle: candidate.name.clone(),
        cents: cents.collect(),
    })
}

/// How a plan is shown to people.
pub(super) struct Shown {
    /// The best of a ranking of keys.
    pub keys: usize,
    /// With what it costs.
    pub cost: bool,
    pub speller: Speller,
    pub units: Units,
}

/// The plan for people.
pub(super) fn text(report: &PlanReport, shown: &Shown) -> String {
    let speller = &shown.speller;
    let mut out = report.keys.as_ref().map_or_else(String::new, |keys| {
        keys_text(keys, shown.keys, speller) + "\n"
    });
    out += &pour_table(&report.pours, speller, shown.units);
    out += &doubts(report);
    out += &cautions_text(&report.pours);
    if !report.spares.is_empty() {
        let left: Vec<String> = report
            .spares
            .iter()
            .map(|s| format!("{} {}", s.count, s.bottle))
            .collect();
        out += &format!("\nspare: {}\n", first_of(&left, MOST_SPARE));
    }
    if !report.pairs_taken_apart.is_empty() {
        out += &format!(
            "\njoined pairs are not planned: the bottles of {} were taken singly, without a hose\n",
            report.pairs_taken_apart.join(", ")
        );
    }
    if let Some(rows) = &report.drift {
        out += &drift_text(rows, speller);
    }
    if !shown.cost {
        return out;
    }
    let weights: Vec<String> = report
        .weights
        .named()
        .iter()
        .map(|(name, value)| format!("{name} {value}"))
        .collect();
    out += &format!(
        "\ncost {:.3} with the weights {}\n",
        report.cost,
        weights.join(", ")
    );
    out
}

/// The first so many, and how many more there are.
fn first_of(names: &[String], most: usize) -> String {
    let shown = names[..names.len().min(most)].join(", ");
    match names.len().saturating_sub(most) {
        0 => shown,
        more => format!("{shown} and {more} more"),
    }
}

/// What would sharpen the bottles, each at its most uncertain note; those that want the same stand together.
fn doubts(report: &PlanReport) -> String {
    let mut worst: Vec<&PourRow> = Vec::new();
    for row in &report.pours {
        match worst.iter_mut().find(|w| w.bottle == row.bottle) {
            Some(w) if w.plus_minus_cents < row.plus_minus_cents => *w = row,
            Some(_) => {}
            None => worst.push(row),
        }
    }
    let mut groups: Vec<Vec<&PourRow>> = Vec::new();
    for row in worst {
        let same = |g: &&mut Vec<&PourRow>| {
            (g[0].dominated_by, g[0].remedy) == (row.dominated_by, row.remedy)
        };
        match groups.iter_mut().find(same) {
            Some(group) => group.push(row),
            None => groups.push(vec![row]),
        }
    }
    let line = |group: &Vec<&PourRow>| {
        let bottle = |r: &&PourRow| {
            format!(
                "'{}' (±{:.0}, then ±{:.0})",
                r.bottle, r.plus_minus_cents, r.without_it_cents
            )
        };
        let mut group = group.clone();
        group.sort_by(|a, b| b.plus_minus_cents.total_cmp(&a.plus_minus_cents));
        let bottles: Vec<String> = group.iter().map(bottle).collect();
        let least = group[0].dominated_by;
        let because = match least.strip_prefix("never ") {
            Some(done) => format!("not yet {done}"),
            None => format!("least certain is {least}"),
        };
        let (remedy, bottles) = (group[0].remedy, first_of(&bottles, MOST_DOUBTED));
        format!("{because}: {remedy}. For {bottles}\n")
    };
    let mut lines: String = groups.iter().map(line).collect();
    if groups
        .iter()
        .any(|group| group[0].dominated_by == "never blown")
    {
        lines +=
            "surest: photograph a bottle (ullage trace), fill it to the brim once, blow it once\n";
    }
    if lines.is_empty() {
        lines
    } else {
        format!("\n{lines}")
    }
}

fn keys_text(keys: &[KeyRow], printed: usize, speller: &Speller) -> String {
    let header = ["transpose", "key", "placed", "of", "cost"];
    let cells = |k: &KeyRow| {
        vec![
            format!("{:+}", k.transpose),
            speller.key(k.in_key),
            k.placed.to_string(),
            k.wanted.to_string(),
            format!("{:.3}", k.cost),
        ]
    };
    table(
        &header,
        keys.iter().take(printed).map(cells).collect(),
        &[1],
    )
}

fn drift_text(rows: &[DriftRow], speller: &Speller) -> String {
    let Some(first) = rows.first() else {
        return String::new();
    };
    let temps = first.cents.iter().map(|d| format!("{:.0} °C", d.temp_c));
    let header: Vec<String> = ["note".to_owned(), "bottle".to_owned()]
        .into_iter()
        .chain(temps)
        .collect();
    let header: Vec<&str> = header.iter().map(String::as_str).collect();
    let cells = |r: &DriftRow| {
        let moved = r.cents.iter().map(|d| {
            d.cents
                .map_or_else(|| "-".to_owned(), |cents| format!("{cents:+.1}"))
        });
        [speller.text(&r.note), r.bottle.clone()]
            .into_iter()
            .chain(moved)
            .collect()
    };
    let cells = rows.iter().map(cells).collect();
    format!("\ndrift in cents\n{}", table(&header, cells, &[0, 1]))
}
