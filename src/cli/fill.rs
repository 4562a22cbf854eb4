//! `ullage fill`: how much goes into each bottle of a set.

use rayon::prelude::*;
use serde::Serialize;
use toml_edit::DocumentMut;

use super::Failure;
use super::args::Fill;
use super::inputs;
use super::rows::{PourRow, Stuck, cautions_text, none_stuck, pour_table};
use crate::cli::print::JSON_VERSION;
use crate::cli::print::{print, print_json};
use crate::file::atomic::{Overwrite, write_whole};
use crate::number::rounded;
use crate::set::{self, Set};
use crate::sounding::{Setting, Sounded};

#[derive(Serialize)]
struct Report {
    version: u32,
    pours: Vec<PourRow>,
    unplaced: Vec<Stuck>,
}

pub(super) fn run(args: &Fill) -> Result<(), Failure> {
    let source = set::file_text(&args.file)?;
    let set = set::open_text(&args.file, &source)?;
    if set.pours.is_empty() {
        return Err(Failure::bad(
            format!("fill the bottles of {}", args.file.display()),
            "there is no [[pour]] in it, with a note and a bottle",
        )
        .or_try("ullage predict for a shelf, or add [[pour]] tables"));
    }
    let room = inputs::conditions(&set.conditions, &args.room)?;
    let set = set.poured_in(room);
    let solved: Vec<Result<Sounded, String>> = set
        .pours
        .par_iter()
        .map(|p| {
            set.source(p)
                .solved(set.target(p))
                .map_err(|error| error.to_string())
        })
        .collect();
    let report = report(&set, &solved);
    if let Some(out) = &args.out {
        let text = with_fills(&source, &solved)
            .map_err(|error| Failure::cannot(format!("write {}", out.display()), error))?;
        let overwrite = Overwrite::forced(args.force);
        write_whole(out, text.as_bytes(), overwrite)
            .map_err(|error| Failure::unwritten(out, error, "--out"))?;
    }
    if args.json {
        print_json(&report)?;
    } else {
        print(&(pour_table(&report.pours) + &cautions_text(&report.pours)))?;
    }
    let what = format!("reach every note of {}", args.file.display());
    none_stuck(&report.unplaced, what, "another bottle for these notes")
}

fn report(set: &Set, solved: &[Result<Sounded, String>]) -> Report {
    let mut report = Report {
        version: JSON_VERSION,
        pours: Vec::new(),
        unplaced: Vec::new(),
    };
    for (pour, result) in set.pours.iter().zip(solved) {
        let (note, bottle) = (pour.note.to_string(), set.kind_of(pour).name.clone());
        match result {
            Err(reason) => report.unplaced.push(Stuck {
                note,
                bottle,
                reason: reason.clone(),
            }),
            Ok(sounded) => report.pours.push(PourRow::new(note, bottle, sounded)),
        }
    }
    report
}

/// The set's own text, comments and all, with what was solved.
fn with_fills(source: &str, solved: &[Result<Sounded, String>]) -> Result<String, String> {
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
        if let Ok(sounded) = result {
            let (key, value) = written(sounded.setting);
            table[key] = toml_edit::value(value);
        }
    }
    Ok(document.to_string())
}

/// The key of a setting in a file, and its value as far as it can be set.
pub(super) fn written(setting: Setting) -> (&'static str, f64) {
    match setting {
        Setting::Fill(fill) => ("fill_ml", rounded(fill.ml(), 2)),
        Setting::Gauge(gauge) => ("gauge_bar", rounded(gauge.bar(), 4)),
        Setting::Travel(travel) => ("travel_mm", rounded(travel.mm(), 2)),
        Setting::Lift(lift) => ("lift_mm", rounded(lift.mm(), 2)),
    }
}
