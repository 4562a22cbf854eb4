//! `ullage retune`: what to add or take out when the room or the pitch changes.

use std::path::PathBuf;

use clap::Args;
use serde::Serialize;

use super::Failure;
use super::args::RoomOptions;
use super::inputs;
use super::plan::{TuningOptions, tuned};
use super::rows::{Stuck, none_stuck};
use crate::cli::print::JSON_VERSION;
use crate::cli::print::{print, print_json, table};
use crate::number::rounded;
use crate::physics::conditions::Conditions;
use crate::set::{self, Pour, Set};
use crate::sounding::Setting;
use crate::tuning::Tuning;

/// Say what to add or take out when the room or the pitch changes.
#[derive(Debug, Args)]
#[command(after_help = "Example: ullage retune presets/quay/set.toml --temp-c 26 --a4-hz 442")]
pub struct RetuneArgs {
    /// A set as it was poured
    pub file: PathBuf,
    /// Print one JSON object
    #[arg(long)]
    pub json: bool,
    /// What the notes mean now.
    #[command(flatten)]
    pub tuning: TuningOptions,
    /// The room now.
    #[command(flatten)]
    pub room: RoomOptions,
}

#[derive(Serialize)]
struct Report {
    version: u32,
    retuned: Vec<Row>,
    unplaced: Vec<Stuck>,
}

#[derive(Serialize)]
struct Row {
    note: String,
    target_hz: f64,
    bottle: String,
    way: &'static str,
    off_cents: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    fill_ml: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    add_ml: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    add_g: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    new_fill_ml: Option<f64>,
    /// Of pressures, travels and lifts, in bar or mm: before, more, and after.
    #[serde(skip_serializing_if = "Option::is_none")]
    moved: Option<Moved>,
}

#[derive(Serialize)]
struct Moved {
    what: &'static str,
    unit: &'static str,
    before: f64,
    add: f64,
    after: f64,
}

pub(super) fn run(args: &RetuneArgs) -> Result<(), Failure> {
    let set = set::open(&args.file)?;
    let conditions = inputs::conditions(&set.conditions, &args.room)?;
    let tuning = tuned(&set.tuning, &args.tuning)?;
    if set.pours.is_empty() {
        return Err(Failure::bad(
            format!("retune {}", args.file.display()),
            "there are no pours in it",
        )
        .or_try("ullage plan, to make a set of the bottles"));
    }
    let mut report = Report {
        version: JSON_VERSION,
        retuned: Vec::new(),
        unplaced: Vec::new(),
    };
    for pour in &set.pours {
        match retuned(&set, pour, &tuning, &conditions) {
            Ok(row) => report.retuned.push(row),
            Err(reason) => report.unplaced.push(Stuck {
                note: pour.note.to_string(),
                bottle: set.kind_of(pour).name.clone(),
                reason,
            }),
        }
    }
    if args.json {
        print_json(&report)?;
    } else {
        print(&text(&report))?;
    }
    let what = format!("retune every bottle of {}", args.file.display());
    none_stuck(
        &report.unplaced,
        what,
        "ullage plan, to choose the bottles anew",
    )
}

fn retuned(
    set: &Set,
    pour: &Pour,
    tuning: &Tuning,
    conditions: &Conditions,
) -> Result<Row, String> {
    let told = |error: &dyn std::fmt::Display| error.to_string();
    // A pour without a setting was tuned for the room of its file.
    let before = match pour.setting() {
        Some(setting) => setting,
        None => {
            let own = set.source(pour);
            own.solved(set.target(pour)).map_err(|e| told(&e))?.setting
        }
    };
    let target = tuning.frequency(&pour.note);
    let now = set.source_under(pour, conditions);
    let off = now
        .at(before)
        .map_err(|e| told(&e))?
        .frequency
        .interval_above(target);
    let after = now.solved(target).map_err(|e| told(&e))?.setting;
    let add = after.value() - before.value();
    let filled = matches!(after, Setting::Fill(_));
    let density = match filled {
        true => conditions
            .liquid
            .density_kg_m3(conditions.temperature())
            .map_err(|e| told(&e))?,
        false => 0.0,
    };
    let ml = |value: f64| filled.then(|| rounded(value, 3));
    Ok(Row {
        note: pour.note.to_string(),
        target_hz: rounded(target.hz(), 4),
        bottle: set.kind_of(pour).name.clone(),
        way: pour.way.name(),
        off_cents: rounded(off.cents(), 2),
        fill_ml: ml(before.value()),
        add_ml: ml(add),
        add_g: ml(add * density / 1000.0),
        new_fill_ml: ml(after.value()),
        moved: (!filled).then(|| Moved {
            what: after.name(),
            unit: after.unit(),
            before: rounded(before.value(), 4),
            add: rounded(add, 4),
            after: rounded(after.value(), 4),
        }),
    })
}

fn text(report: &Report) -> String {
    let (moved, filled): (Vec<&Row>, Vec<&Row>) =
        report.retuned.iter().partition(|r| r.moved.is_some());
    let mut out = String::new();
    if !filled.is_empty() {
        out += &filled_text(&filled);
    }
    if !moved.is_empty() {
        let header = [
            "note",
            "target Hz",
            "bottle",
            "off cents",
            "what",
            "before",
            "add",
            "after",
        ];
        let cells = |r: &&Row| {
            let m = r.moved.as_ref();
            let of = |value: fn(&Moved) -> String| m.map_or_else(String::new, value);
            vec![
                r.note.clone(),
                format!("{:.2}", r.target_hz),
                r.bottle.clone(),
                format!("{:+.1}", r.off_cents),
                of(|m| format!("{}, {}", m.what, m.unit)),
                of(|m| format!("{:.2}", m.before)),
                of(|m| format!("{:+.2}", m.add)),
                of(|m| format!("{:.2}", m.after)),
            ]
        };
        if !out.is_empty() {
            out += "\n";
        }
        out += &table(&header, moved.iter().map(cells).collect(), &[0, 2, 4]);
    }
    out
}

fn filled_text(rows: &[&Row]) -> String {
    let header = [
        "note",
        "target Hz",
        "bottle",
        "fill ml",
        "off cents",
        "add ml",
        "add g",
        "new fill ml",
    ];
    let cells = |r: &&Row| {
        let of = |value: Option<f64>| value.unwrap_or_default();
        vec![
            r.note.clone(),
            format!("{:.2}", r.target_hz),
            r.bottle.clone(),
            format!("{:.1}", of(r.fill_ml)),
            format!("{:+.1}", r.off_cents),
            format!("{:+.1}", of(r.add_ml)),
            format!("{:+.1}", of(r.add_g)),
            format!("{:.1}", of(r.new_fill_ml)),
        ]
    };
    table(&header, rows.iter().map(cells).collect(), &[0, 2])
}
