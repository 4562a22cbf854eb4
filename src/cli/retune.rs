//! `ullage retune`: what to add or take out when the room or the pitch changes.

use std::path::PathBuf;

use clap::Args;
use serde::Serialize;

use super::Failure;
use super::args::RoomOptions;
use super::inputs;
use super::plan::{TuningOptions, tuned};
use super::predict::{JSON_VERSION, rounded};
use super::rows::{Stuck, none_stuck};
use super::table::{print, print_json, table};
use crate::physics::conditions::Conditions;
use crate::plan::drift::Retuned;
use crate::plan::fill::Poured;
use crate::preset::{Pour, Set};
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
    fill_ml: f64,
    off_cents: f64,
    add_ml: f64,
    add_g: f64,
    new_fill_ml: f64,
}

pub(super) fn run(args: &RetuneArgs) -> Result<(), Failure> {
    let set = inputs::set(&args.file)?;
    super::voicing::only_blown(&set, "retune this set")?;
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
    let bottle = &set.kind_of(pour).bottle;
    let told = |error: &dyn std::fmt::Display| error.to_string();
    // A pour without a fill was tuned for the room of its file.
    let before = match pour.fill {
        Some(fill) => fill,
        None => {
            Poured::solved(bottle, set.target(pour), &set.conditions)
                .map_err(|e| told(&e))?
                .prediction
                .fill
        }
    };
    let target = tuning.frequency(&pour.note);
    let retuned = Retuned::new(bottle, before, target, conditions).map_err(|e| told(&e))?;
    let density = conditions.liquid.density_kg_m3(conditions.temperature());
    let density = density.map_err(|e| told(&e))?;
    Ok(Row {
        note: pour.note.to_string(),
        target_hz: rounded(target.hz(), 4),
        bottle: set.kind_of(pour).name.clone(),
        fill_ml: rounded(before.ml(), 3),
        off_cents: rounded(retuned.off.cents(), 2),
        add_ml: rounded(retuned.add_ml(), 3),
        add_g: rounded(retuned.add_ml() * density / 1000.0, 3),
        new_fill_ml: rounded(retuned.after.ml(), 3),
    })
}

fn text(report: &Report) -> String {
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
    let cells = |r: &Row| {
        vec![
            r.note.clone(),
            format!("{:.2}", r.target_hz),
            r.bottle.clone(),
            format!("{:.1}", r.fill_ml),
            format!("{:+.1}", r.off_cents),
            format!("{:+.1}", r.add_ml),
            format!("{:+.1}", r.add_g),
            format!("{:.1}", r.new_fill_ml),
        ]
    };
    table(&header, report.retuned.iter().map(cells).collect(), &[0, 2])
}
