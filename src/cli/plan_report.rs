//! A plan as it is printed: the rows, the reasons, the ranking of keys, the drift.

use std::cmp::Ordering;

use serde::Serialize;

use super::Failure;
use super::predict::{JSON_VERSION, rounded};
use super::table::table;
use crate::plan::cost::Weights;
use crate::plan::drift::{DRIFT_KELVIN, drift};
use crate::plan::problem::Problem;
use crate::plan::search::{Assignment, Placed, Plan};

/// A plan as JSON.
#[derive(Serialize)]
pub(super) struct Report {
    version: u32,
    pub pours: Vec<Row>,
    pub unplaced: Vec<UnplacedRow>,
    weights: Weights,
    cost: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    keys: Option<Vec<KeyRow>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    drift: Option<Vec<DriftRow>>,
}

#[derive(Serialize)]
pub(super) struct Row {
    pub note: String,
    target_hz: f64,
    pub bottle: String,
    way: &'static str,
    fill_ml: f64,
    fill_g: f64,
    level_mm: f64,
    hz: f64,
    q: f64,
    error_cents: f64,
    plus_minus_cents: f64,
    dominated_by: &'static str,
    without_it_cents: f64,
    remedy: &'static str,
    cents_per_ml: f64,
}

#[derive(Serialize)]
pub(super) struct UnplacedRow {
    pub note: String,
    pub target_hz: f64,
    pub reason: String,
    pub remedy: String,
}

/// One transposition of a ranking.
#[derive(Clone, Serialize)]
pub(super) struct KeyRow {
    transpose: i32,
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
    pub fn new(transpose: i32, assignment: &Assignment) -> Self {
        Self {
            transpose,
            placed: assignment.placed(),
            wanted: assignment.targets.len(),
            cost: assignment.cost,
        }
    }

    /// Most notes first, then the cheapest, then the nearest to the key as written.
    pub fn order(&self, other: &Self) -> Ordering {
        let placed = other.placed.cmp(&self.placed);
        placed
            .then(self.cost.total_cmp(&other.cost))
            .then(self.transpose.abs().cmp(&other.transpose.abs()))
            .then(self.transpose.cmp(&other.transpose))
    }
}

impl Report {
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
            pours: plan.pours.iter().map(|p| row(problem, p)).collect(),
            unplaced: unplaced.collect(),
            weights: *weights,
            cost: plan.cost,
            keys,
            drift,
        })
    }
}

fn row(problem: &Problem, placed: &Placed) -> Row {
    let poured = &placed.poured;
    let p = &poured.prediction;
    let dominant = p.uncertainty.dominant();
    Row {
        note: placed.target.note.to_string(),
        target_hz: rounded(poured.target.hz(), 4),
        bottle: problem.candidates()[placed.bottle].name.clone(),
        way: "blown",
        fill_ml: rounded(p.fill.ml(), 3),
        fill_g: rounded(poured.mass.g(), 2),
        level_mm: rounded(p.level.mm(), 2),
        hz: rounded(p.note().frequency.hz(), 4),
        q: rounded(p.note().quality, 3),
        // A zero is printed without a sign of its own.
        error_cents: rounded(poured.error().cents(), 3) + 0.0,
        plus_minus_cents: rounded(p.uncertainty.plus_minus.cents(), 1),
        dominated_by: dominant.what,
        without_it_cents: rounded(p.uncertainty.without_dominant().cents(), 1),
        remedy: dominant.remedy,
        cents_per_ml: rounded(p.per_ml.cents(), 3),
    }
}

fn drift_row(problem: &Problem, placed: &Placed) -> Result<DriftRow, Failure> {
    let candidate = &problem.candidates()[placed.bottle];
    let conditions = problem.conditions();
    let fill = placed.poured.prediction.fill;
    let moved = drift(&candidate.bottle, fill, conditions, &DRIFT_KELVIN)
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

/// The plan for people, with the best `keys_printed` of a ranking.
pub(super) fn text(report: &Report, keys_printed: usize) -> String {
    let mut out = report
        .keys
        .as_ref()
        .map_or_else(String::new, |keys| keys_text(keys, keys_printed) + "\n");
    let header = [
        "note",
        "target Hz",
        "bottle",
        "fill ml",
        "fill g",
        "level mm",
        "Hz",
        "cents",
        "±",
        "Q",
        "c/ml",
    ];
    let cells = |r: &Row| {
        vec![
            r.note.clone(),
            format!("{:.2}", r.target_hz),
            r.bottle.clone(),
            format!("{:.1}", r.fill_ml),
            format!("{:.1}", r.fill_g),
            format!("{:.1}", r.level_mm),
            format!("{:.2}", r.hz),
            format!("{:+.2}", r.error_cents),
            format!("{:.0}", r.plus_minus_cents),
            format!("{:.1}", r.q),
            format!("{:.2}", r.cents_per_ml),
        ]
    };
    out += &table(&header, report.pours.iter().map(cells).collect(), &[0, 2]);
    out += &doubts(report);
    if let Some(rows) = &report.drift {
        out += &drift_text(rows);
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

/// What would sharpen each bottle, told once a bottle, at its most uncertain note.
fn doubts(report: &Report) -> String {
    let mut worst: Vec<&Row> = Vec::new();
    for row in &report.pours {
        match worst.iter_mut().find(|w| w.bottle == row.bottle) {
            Some(w) if w.plus_minus_cents < row.plus_minus_cents => *w = row,
            Some(_) => {}
            None => worst.push(row),
        }
    }
    let line = |r: &&Row| {
        format!(
            "'{}' ({}): most of the ±{:.0} cents is {}; {}, and it becomes ±{:.0}\n",
            r.bottle, r.note, r.plus_minus_cents, r.dominated_by, r.remedy, r.without_it_cents
        )
    };
    let lines: String = worst.iter().map(line).collect();
    if lines.is_empty() {
        lines
    } else {
        format!("\n{lines}")
    }
}

fn keys_text(keys: &[KeyRow], printed: usize) -> String {
    let header = ["transpose", "placed", "of", "cost"];
    let cells = |k: &KeyRow| {
        vec![
            format!("{:+}", k.transpose),
            k.placed.to_string(),
            k.wanted.to_string(),
            format!("{:.3}", k.cost),
        ]
    };
    table(&header, keys.iter().take(printed).map(cells).collect(), &[])
}

fn drift_text(rows: &[DriftRow]) -> String {
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
        [r.note.clone(), r.bottle.clone()]
            .into_iter()
            .chain(moved)
            .collect()
    };
    let cells = rows.iter().map(cells).collect();
    format!("\ndrift in cents\n{}", table(&header, cells, &[0, 1]))
}
