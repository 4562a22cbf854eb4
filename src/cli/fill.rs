//! `ullage fill`: how much goes into each bottle of a set.

use std::path::PathBuf;

use clap::Args;
use rayon::prelude::*;
use serde::Serialize;

use super::Failure;
use super::inputs;
use super::options::{PrintOptions, UnitsOptions, where_poured};
use super::rows::{PourRow, Stuck, cautions_text, none_stuck, pour_table};
use crate::cli::print::JSON_VERSION;
use crate::cli::print::{print, print_json, say};
use crate::file::atomic::{Overwrite, write_whole};
use crate::index::PourIndex;
use crate::set::edit::{EditError, SetText};
use crate::set::{self, Set};
use crate::sounding::{Sounded, SoundedError};
use crate::tuning::Speller;

/// Solve how much goes into each bottle of a set.
///
/// With room options, for a set that is poured and heard in that room.
#[derive(Debug, Args)]
#[command(
    mut_arg("temp_c", where_poured),
    after_help = "Example: ullage fill myset.toml --out poured.toml"
)]
pub struct Fill {
    /// A set
    pub file: PathBuf,
    /// Where to write the set with its fills [default: only print them]
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// Replace an existing file
    #[arg(long)]
    pub force: bool,
    /// In which units.
    #[command(flatten)]
    pub units: UnitsOptions,
    /// What is printed, and the room.
    #[command(flatten)]
    pub print: PrintOptions,
}

#[derive(Serialize)]
struct FillReport {
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
        .or_try("run ullage predict for a shelf, or add [[pour]] tables"));
    }
    let room = inputs::conditions(&set.conditions, &args.print.room)?;
    let set = set.poured_in(room);
    let solved: Vec<Result<Sounded, SoundedError>> = set
        .pours
        .par_iter()
        .map(|p| set.source(p).solved(set.target(p)))
        .collect();
    let report = report(&set, &solved);
    if args.print.json {
        print_json(&report)?;
    } else {
        print(
            &(pour_table(&report.pours, &Speller::default(), args.units.units)
                + &cautions_text(&report.pours)),
        )?;
    }
    let what = format!("reach every note of {}", args.file.display());
    none_stuck(&report.unplaced, what, "use another bottle for these notes")?;
    if let Some(out) = &args.out {
        let text = with_fills(&source, &set, &solved)
            .map_err(|error| Failure::cannot(format!("write {}", out.display()), error))?;
        let overwrite = Overwrite::forced(args.force);
        write_whole(out, text.as_bytes(), overwrite)
            .map_err(|error| Failure::unwritten(out, error, "--out"))?;
        say!("wrote {}", out.display());
    }
    Ok(())
}

fn report(set: &Set, solved: &[Result<Sounded, SoundedError>]) -> FillReport {
    let mut report = FillReport {
        version: JSON_VERSION,
        pours: Vec::new(),
        unplaced: Vec::new(),
    };
    for (pour, result) in set.pours.iter().zip(solved) {
        match result {
            Err(error) => report.unplaced.push(Stuck::of(set, pour, error)),
            Ok(sounded) => {
                let (note, bottle) = (pour.note.to_string(), set.kind_of(pour).name.clone());
                report.pours.push(PourRow::new(note, bottle, sounded));
            }
        }
    }
    report
}

/// The set's own text, comments and all, with what was solved.
fn with_fills(
    source: &str,
    set: &Set,
    solved: &[Result<Sounded, SoundedError>],
) -> Result<String, EditError> {
    let mut text = SetText::parse(source)?;
    // The fills are volumes in this room.
    text.set_conditions(&set.conditions)?;
    for (pour, result) in PourIndex::each(solved) {
        if let Ok(sounded) = result {
            text.set_pour(pour, sounded.setting)?;
        }
    }
    Ok(text.finish()?.text)
}
