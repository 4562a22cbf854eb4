//! `ullage fill`: how much goes into each bottle of a set.

use serde::Serialize;
use toml_edit::DocumentMut;

use super::Failure;
use super::args::Fill;
use super::inputs;
use super::predict::{JSON_VERSION, rounded};
use super::rows::{PourRow, Stuck, none_stuck, pour_table};
use super::table::{print, print_json};
use crate::file::atomic::{Overwrite, write_whole};
use crate::plan::fill::Poured;
use crate::preset::Set;

#[derive(Serialize)]
struct Report {
    version: u32,
    pours: Vec<PourRow>,
    unplaced: Vec<Stuck>,
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
        let overwrite = Overwrite::forced(args.force);
        write_whole(out, text.as_bytes(), overwrite)
            .map_err(|error| Failure::unwritten(out, error, "--out"))?;
    }
    if args.json {
        print_json(&report)?;
    } else {
        print(&pour_table(&report.pours))?;
    }
    let what = format!("reach every note of {}", args.file.display());
    none_stuck(&report.unplaced, what, "another bottle for these notes")
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
            Err(reason) => report.unplaced.push(Stuck {
                note,
                bottle,
                reason: reason.clone(),
            }),
            Ok(poured) => report.pours.push(PourRow::new(note, bottle, poured)),
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
