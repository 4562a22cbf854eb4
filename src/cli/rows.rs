//! Rows that several commands print alike: a poured note, and a note that could not be poured.

use serde::Serialize;

use super::Failure;
use crate::cli::print::table;
use crate::number::{rounded, signed};
use crate::sounding::{Setting, Sounded};

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
    #[serde(skip_serializing_if = "Option::is_none")]
    gauge_bar: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    travel_mm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    lift_mm: Option<f64>,
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
    #[serde(skip_serializing_if = "Option::is_none")]
    cents_per_ml: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    cents_per_bar: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    cents_per_mm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    other_hz: Option<f64>,
    /// What to beware of.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub cautions: Vec<&'static str>,
}

/// What of a setting goes into which column: bar, travel and lift, mm.
pub fn settings(setting: Setting) -> [Option<f64>; 3] {
    match setting {
        Setting::Fill(_) => [None; 3],
        Setting::Gauge(gauge) => [Some(rounded(gauge.bar(), 4)), None, None],
        Setting::Travel(travel) => [None, Some(rounded(travel.mm(), 2)), None],
        Setting::Lift(lift) => [None, None, Some(rounded(lift.mm(), 2))],
    }
}

/// One of [`settings`] with its unit; nothing where it is a fill.
pub fn set_to(settings: [Option<f64>; 3]) -> String {
    match settings {
        [Some(bar), _, _] => format!("{bar:.2} bar"),
        [_, Some(mm), _] => format!("in {mm:.1} mm"),
        [_, _, Some(mm)] => format!("lift {mm:.1} mm"),
        _ => String::new(),
    }
}

/// Cents a millilitre, a bar and a millimetre, of which one is there.
pub fn slopes(sounded: &Sounded) -> [Option<f64>; 3] {
    let cents = rounded(sounded.per_unit.cents(), 3);
    match sounded.setting {
        Setting::Fill(_) => [Some(cents), None, None],
        Setting::Gauge(_) => [None, Some(cents), None],
        Setting::Travel(_) | Setting::Lift(_) => [None, None, Some(cents)],
    }
}

impl PourRow {
    /// The row of `note` in `bottle`.
    pub fn new(note: String, bottle: String, sounded: &Sounded) -> Self {
        let [gauge_bar, travel_mm, lift_mm] = settings(sounded.setting);
        let [cents_per_ml, cents_per_bar, cents_per_mm] = slopes(sounded);
        let doubt = &sounded.doubt;
        Self {
            note,
            target_hz: rounded(sounded.target.hz(), 4),
            bottle,
            way: sounded.way.name(),
            fill_ml: rounded(sounded.fill.ml(), 3),
            fill_g: rounded(sounded.mass.g(), 2),
            level_mm: rounded(sounded.level.mm(), 2),
            gauge_bar,
            travel_mm,
            lift_mm,
            hz: rounded(sounded.frequency().hz(), 4),
            q: rounded(sounded.quality(), 3),
            error_cents: rounded(sounded.error().cents(), 3),
            plus_minus_cents: rounded(doubt.plus_minus.cents(), 1),
            dominated_by: doubt.dominated_by,
            without_it_cents: rounded(doubt.without_it.cents(), 1),
            remedy: doubt.remedy,
            cents_per_ml,
            cents_per_bar,
            cents_per_mm,
            other_hz: sounded
                .other
                .map(|o| rounded(o.resonance.frequency.hz(), 4)),
            cautions: sounded.cautions(),
        }
    }

    fn set_to(&self) -> String {
        set_to([self.gauge_bar, self.travel_mm, self.lift_mm])
    }

    fn slope(&self) -> String {
        match (self.cents_per_ml, self.cents_per_bar, self.cents_per_mm) {
            (Some(cents), _, _) => format!("{cents:.2}"),
            (_, Some(cents), _) => format!("{cents:.0}/bar"),
            (_, _, Some(cents)) => format!("{cents:.1}/mm"),
            _ => String::new(),
        }
    }
}

/// Poured notes for people; ways and settings have columns where not all are blown.
pub fn pour_table(rows: &[PourRow]) -> String {
    let mixed = rows.iter().any(|r| r.way != "blown");
    let mut header = vec!["note", "target Hz", "bottle"];
    if mixed {
        header.extend(["way", "set to"]);
    }
    header.extend([
        "fill ml", "fill g", "level mm", "Hz", "cents", "±", "Q", "c/ml",
    ]);
    let cells = |r: &PourRow| {
        let mut line = vec![
            r.note.clone(),
            format!("{:.2}", r.target_hz),
            r.bottle.clone(),
        ];
        if mixed {
            line.extend([r.way.to_owned(), r.set_to()]);
        }
        line.extend([
            format!("{:.1}", r.fill_ml),
            format!("{:.1}", r.fill_g),
            format!("{:.1}", r.level_mm),
            format!("{:.2}", r.hz),
            signed(r.error_cents, 2),
            format!("{:.0}", r.plus_minus_cents),
            format!("{:.1}", r.q),
            r.slope(),
        ]);
        line
    };
    let left: &[usize] = if mixed { &[0, 2, 3, 4] } else { &[0, 2] };
    table(&header, rows.iter().map(cells).collect(), left)
}

/// Every caution of the rows, once each, a line each.
pub fn cautions_text(rows: &[PourRow]) -> String {
    let mut told: Vec<&str> = Vec::new();
    for caution in rows.iter().flat_map(|r| &r.cautions) {
        if !told.contains(caution) {
            told.push(caution);
        }
    }
    let lines: String = told.iter().map(|c| format!("- {c}\n")).collect();
    if lines.is_empty() {
        lines
    } else {
        format!("\n{lines}")
    }
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
