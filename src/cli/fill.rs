//! `ullage fill`: how much goes into each bottle of a set.

use serde::Serialize;
use toml_edit::DocumentMut;

use super::Failure;
use super::args::Fill;
use super::inputs;
use super::predict::{JSON_VERSION, rounded, signed};
use super::table::{print, print_json, table};
use crate::file::atomic::{Overwrite, write_whole};
use crate::plan::fill::Poured;
use crate::preset::Set;

#[derive(Serialize)]
struct Report {
    version: u32,
    pours: Vec<Row>,
    unplaced: Vec<Unplaced>,
}

#[derive(Serialize)]
struct Row {
    note: String,
    target_hz: f64,
    bottle: String,
    way: &'static str,
    fill_ml: f64,
    fill_g: f64,
    level_mm: f64,
    hz: f64,
    q: f64,
    error_cents: f64,
    plus_minus_cents: f64,
    cents_per_ml: f64,
}

#[derive(Serialize)]
struct Unplaced {
    note: String,
    bottle: String,
    reason: String,
}

pub(super) fn run(args: &Fill) -> Result<(), Failure> {
    let source = inputs::set_text(&args.file)?;
    let mut set = inputs::set_of(&args.file, &source)?;
    if set.pours.is_empty() {
        return Err(Failure::bad(
            format!("fill the bottles of {}", args.file.display()),
            "there is no [[pour]] in it, with a note and a bottle",
        )
        .or_try("ullage predict for a shelf, or add [[pour]] tables"));
    }
    set.conditions = inputs::conditions(&set.conditions, &args.room)?;
    let solved: Vec<Result<Poured, String>> = set
        .pours
        .iter()
        .map(|p| {
            Poured::solved(&set.kind_of(p).bottle, set.target(p), &set.conditions)
                .map_err(|error| error.to_string())
        })
        .collect();
    let report = report(&set, &solved);
    if let Some(out) = &args.out {
        let text = with_fills(&source, &solved)
            .map_err(|error| Failure::cannot(format!("write {}", out.display()), error))?;
        let overwrite = if args.force {
            Overwrite::Yes
        } else {
            Overwrite::No
        };
        write_whole(out, text.as_bytes(), overwrite).map_err(|error| {
            Failure::cannot(format!("write {}", out.display()), error)
                .or_try("--force, or another name after --out")
        })?;
    }
    if args.json {
        print_json(&report)?;
    } else {
        print(&text(&report))?;
    }
    if report.unplaced.is_empty() {
        return Ok(());
    }
    let all: Vec<String> = report
        .unplaced
        .iter()
        .map(|u| format!("{} in {:?}: {}", u.note, u.bottle, u.reason))
        .collect();
    Err(Failure::cannot(
        format!("reach every note of {}", args.file.display()),
        all.join("\n"),
    )
    .or_try("another bottle for these notes"))
}

fn report(set: &Set, solved: &[Result<Poured, String>]) -> Report {
    let mut report = Report {
        version: JSON_VERSION,
        pours: Vec::new(),
        unplaced: Vec::new(),
    };
    for (pour, result) in set.pours.iter().zip(solved) {
        let (note, bottle) = (pour.note.to_string(), set.kind_of(pour).name.clone());
        match result {
            Err(reason) => report.unplaced.push(Unplaced {
                note,
                bottle,
                reason: reason.clone(),
            }),
            Ok(poured) => {
                let p = &poured.prediction;
                report.pours.push(Row {
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
                    cents_per_ml: rounded(p.per_ml.cents(), 3),
                });
            }
        }
    }
    report
}

/// The set's own text, comments and all, with its fills.
fn with_fills(source: &str, solved: &[Result<Poured, String>]) -> Result<String, String> {
    let mut document: DocumentMut = source
        .parse()
        .map_err(|error: toml_edit::TomlError| error.to_string())?;
    let Some(pours) = document
        .get_mut("pour")
        .and_then(toml_edit::Item::as_array_of_tables_mut)
    else {
        return Err("the pours are not written as [[pour]] tables".to_owned());
    };
    for (table, result) in pours.iter_mut().zip(solved) {
        if let Ok(poured) = result {
            table["fill_ml"] = toml_edit::value(rounded(poured.prediction.fill.ml(), 2));
        }
    }
    Ok(document.to_string())
}

fn text(report: &Report) -> String {
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
    let row = |r: &Row| {
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
    table(&header, report.pours.iter().map(row).collect(), &[0, 2])
}
