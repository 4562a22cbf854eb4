//! Rows that several commands print alike: a poured note, and a note that could not be poured.

use serde::Serialize;

use super::Failure;
use super::predict::{rounded, signed};
use super::table::table;
use crate::plan::fill::Poured;

/// A poured note.
#[derive(Serialize)]
pub struct PourRow {
    /// The note.
    pub note: String,
    target_hz: f64,
    /// Its bottle.
    pub bottle: String,
    way: &'static str,
    fill_ml: f64,
    fill_g: f64,
    level_mm: f64,
    hz: f64,
    q: f64,
    error_cents: f64,
    /// 95 %.
    pub plus_minus_cents: f64,
    /// What is least sure.
    pub dominated_by: &'static str,
    /// What the ± would be without that.
    pub without_it_cents: f64,
    /// What would help.
    pub remedy: &'static str,
    cents_per_ml: f64,
}

impl PourRow {
    /// The row of `note` in `bottle`.
    pub fn new(note: String, bottle: String, poured: &Poured) -> Self {
        let p = &poured.prediction;
        let dominant = p.uncertainty.dominant();
        Self {
            note,
            target_hz: rounded(poured.target.hz(), 4),
            bottle,
            way: "blown",
            fill_ml: rounded(p.fill.ml(), 3),
            fill_g: rounded(poured.mass.g(), 2),
            level_mm: rounded(p.level.mm(), 2),
            hz: rounded(p.note().frequency.hz(), 4),
            q: rounded(p.note().quality, 3),
            error_cents: rounded(poured.error().cents(), 3),
            plus_minus_cents: rounded(p.uncertainty.plus_minus.cents(), 1),
            dominated_by: dominant.what,
            without_it_cents: rounded(p.uncertainty.without_dominant().cents(), 1),
            remedy: dominant.remedy,
            cents_per_ml: rounded(p.per_ml.cents(), 3),
        }
    }
}

/// Poured notes for people.
pub fn pour_table(rows: &[PourRow]) -> String {
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
    let cells = |r: &PourRow| {
        vec![
            r.note.clone(),
            format!("{:.2}", r.target_hz),
            r.bottle.clone(),
            format!("{:.1}", r.fill_ml),
            format!("{:.1}", r.fill_g),
            format!("{:.1}", r.level_mm),
            format!("{:.2}", r.hz),
            signed(r.error_cents, 2),
            format!("{:.0}", r.plus_minus_cents),
            format!("{:.1}", r.q),
            format!("{:.2}", r.cents_per_ml),
        ]
    };
    table(&header, rows.iter().map(cells).collect(), &[0, 2])
}

/// A note whose bottle cannot give it.
#[derive(Serialize)]
pub struct Stuck {
    /// The note.
    pub note: String,
    /// Its bottle.
    pub bottle: String,
    /// Why not.
    pub reason: String,
}

/// Nothing is stuck, or the failure that says what is.
pub fn none_stuck(stuck: &[Stuck], what: String, way_out: &str) -> Result<(), Failure> {
    if stuck.is_empty() {
        return Ok(());
    }
    let line = |s: &Stuck| format!("{} in {:?}: {}", s.note, s.bottle, s.reason);
    let lines: Vec<String> = stuck.iter().map(line).collect();
    Err(Failure::cannot(what, lines.join("\n")).or_try(way_out))
}
