//! `ullage pour`: the sheet to print and take to the sink.

use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use serde::Serialize;

use super::Failure;
use super::inputs;
use super::options::{NamesOptions, UnitsOptions, WriteOptions, where_poured};
use super::pdf::{self, PdfError};
use super::rows::{SettingColumns, Stuck, none_stuck};
use crate::cli::print::JSON_VERSION;
use crate::cli::print::{print, print_json, table};
use crate::file::atomic::{AtomicFile, Overwrite, WriteError};
use crate::number::rounded;
use crate::report::html::{Paper, SheetPages, html_of};
use crate::report::rows::{FlatRow, csv, flat};
use crate::report::sheet::Sheet;
use crate::set::{self, Way};
use crate::tuning::Speller;
use crate::units::shown::Units;
use crate::units::{Length, Mass, Volume};

/// What is printed on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum PaperArg {
    /// 210 by 297 mm
    #[default]
    A4,
    /// 8.5 by 11 inches
    Letter,
}

/// A part of the sheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum PagesArg {
    /// What is poured in which order, what to beware of, and the whole set at a glance
    Table,
    /// The same on one page, a line for each bottle
    Compact,
    /// A card for each bottle, three to a page
    Cards,
    /// The strips to cut out
    Strips,
    /// How the pitch moves with what is set
    Curves,
}

/// Make the pour sheet of a set.
///
/// One HTML page to print: each bottle drawn to scale with its millilitres, grams and level, and a strip
/// of true length to tape to it. Fills that the set has are kept, unless room options are given: then
/// every fill is solved for a set that is poured and heard in that room.
#[derive(Debug, Args)]
#[command(
    mut_arg("temp_c", where_poured),
    after_help = "Example: ullage pour presets/quay/set.toml --out quay.html"
)]
pub struct PourArgs {
    /// A set
    pub file: PathBuf,
    /// Where to write the sheet [default: only print its rows]
    #[arg(long, value_name = "FILE.html")]
    pub out: Option<PathBuf>,
    /// Where to write the sheet as PDF; a browser that prints it must be there
    #[arg(long, value_name = "FILE.pdf")]
    pub pdf: Option<PathBuf>,
    /// The program of that browser, of Chromium's kind [default: the first that is found]
    #[arg(long, value_name = "PROGRAM", requires = "pdf")]
    pub browser: Option<PathBuf>,
    /// Only these parts of it, separated by commas [default: all but compact]
    #[arg(long, value_name = "PART", value_enum, value_delimiter = ',')]
    pub pages: Vec<PagesArg>,
    /// Where to write its rows for a spreadsheet
    #[arg(long, value_name = "FILE.csv")]
    pub csv: Option<PathBuf>,
    /// What it is printed on
    #[arg(long, value_enum, default_value_t)]
    pub paper: PaperArg,
    /// How notes are called.
    #[command(flatten)]
    pub names: NamesOptions,
    /// In which units.
    #[command(flatten)]
    pub units: UnitsOptions,
    /// What is replaced and printed, and the room.
    #[command(flatten)]
    pub write: WriteOptions,
}

#[derive(Serialize)]
struct PourReport {
    version: u32,
    #[serde(skip_serializing_if = "Option::is_none")]
    html: Option<PathBuf>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pdf: Option<PathBuf>,
    #[serde(skip_serializing_if = "Option::is_none")]
    csv: Option<PathBuf>,
    rows: Vec<FlatRow>,
    total_ml: f64,
    total_g: f64,
    cautions: Vec<&'static str>,
    unplaced: Vec<Stuck>,
}

pub(super) fn run(args: &PourArgs) -> Result<(), Failure> {
    let named = [
        ("--out", &args.out),
        ("--pdf", &args.pdf),
        ("--csv", &args.csv),
    ];
    for (index, (first, path)) in named.iter().enumerate() {
        let mut later = named[index + 1..].iter();
        if let Some((second, _)) = later.find(|(_, other)| path.is_some() && other == path) {
            let because = format!("{first} and {second} name the same file");
            return Err(Failure::bad("write the sheet and its rows", because));
        }
    }
    let mut set = set::open(&args.file)?;
    if set.pours.is_empty() {
        let what = format!("pour the bottles of {}", args.file.display());
        return Err(
            Failure::bad(what, "there is no [[pour]] in it, with a note and a bottle")
                .or_try("run ullage plan to make a set of a shelf"),
        );
    }
    let conditions = inputs::conditions(&set.conditions, &args.write.print.room)?;
    if conditions != set.conditions {
        for pour in &mut set.pours {
            unset(pour);
        }
    }
    let set = set.poured_in(conditions);
    let speller = args.names.speller(set.key());
    let sheet = Sheet::new(&set).said(speller).in_units(args.units.units);
    write(args, &sheet)?;
    let report = report(args, &sheet);
    if args.write.print.json {
        print_json(&report)?;
    } else {
        print(&text(args, &report, &speller))?;
    }
    let what = format!("pour every note of {}", args.file.display());
    none_stuck(&report.unplaced, what, "use another bottle for these notes")
}

/// Forgets what was set for another room; liquid in a bottle that is pumped up does not tune it, and stays.
fn unset(pour: &mut crate::set::Pour) {
    match pour.way {
        Way::Blown | Way::Struck => pour.fill = None,
        Way::Pressurised => pour.gauge = None,
        Way::Sliding => pour.travel = None,
        Way::Joined => pour.lift = None,
    }
}

/// Writes what was asked for: both files are refused or opened before either is put in place.
fn write(args: &PourArgs, sheet: &Sheet<'_>) -> Result<(), Failure> {
    let paper = match args.paper {
        PaperArg::A4 => Paper::A4,
        PaperArg::Letter => Paper::Letter,
    };
    let not_made = |path: &Path, error: &dyn std::fmt::Display| {
        Failure::cannot(format!("make {}", path.display()), error)
    };
    let text = |path: &Path| {
        html_of(sheet, paper, pages(&args.pages)).map_err(|error| not_made(path, &error))
    };
    let mut ready = Vec::new();
    if let Some(path) = &args.out {
        let text = text(path)?;
        ready.push((path, prepared(path, text.as_bytes(), args.write.force)?));
    }
    if let Some(path) = &args.pdf {
        // Before the browser is begun, which takes a while.
        let mut file = opened(path, args.write.force)?;
        let pdf = pdf::printed(&text(path)?, args.browser.as_deref()).map_err(not_printed)?;
        put(path, &mut file, &pdf)?;
        ready.push((path, file));
    }
    if let Some(path) = &args.csv {
        let text = csv(sheet).map_err(|error| not_made(path, &error))?;
        ready.push((path, prepared(path, text.as_bytes(), args.write.force)?));
    }
    for (path, file) in ready {
        file.commit().map_err(|error| cannot_write(path, error))?;
    }
    Ok(())
}

/// What was asked for; all but the one page if nothing was.
fn pages(asked: &[PagesArg]) -> SheetPages {
    if asked.is_empty() {
        return SheetPages::default();
    }
    let has = |part| asked.contains(&part);
    SheetPages {
        table: has(PagesArg::Table),
        compact: has(PagesArg::Compact),
        cards: has(PagesArg::Cards),
        strips: has(PagesArg::Strips),
        curves: has(PagesArg::Curves),
    }
}

fn not_printed(error: PdfError) -> Failure {
    let failure = Failure::cannot("print the sheet as PDF", &error);
    failure.or_try(match error {
        PdfError::NoBrowser => {
            "installing Chromium, --browser PROGRAM, or --out FILE.html and printing it from any browser"
        }
        _ => "--out FILE.html and printing it from a browser",
    })
}

fn prepared(path: &Path, bytes: &[u8], force: bool) -> Result<AtomicFile, Failure> {
    let mut file = opened(path, force)?;
    put(path, &mut file, bytes)?;
    Ok(file)
}

fn opened(path: &Path, force: bool) -> Result<AtomicFile, Failure> {
    AtomicFile::create(path, Overwrite::forced(force)).map_err(|error| cannot_write(path, error))
}

fn put(path: &Path, file: &mut AtomicFile, bytes: &[u8]) -> Result<(), Failure> {
    use std::io::Write;
    file.write_all(bytes)
        .map_err(|error| cannot_write(path, WriteError::from_io(path, error)))
}

fn cannot_write(path: &Path, error: WriteError) -> Failure {
    let exists = matches!(error, WriteError::Exists { .. });
    let failure = Failure::cannot(format!("write {}", path.display()), error);
    if exists {
        failure.or_try("use --force, or another name")
    } else {
        failure
    }
}

fn report(args: &PourArgs, sheet: &Sheet<'_>) -> PourReport {
    PourReport {
        version: JSON_VERSION,
        html: args.out.clone(),
        pdf: args.pdf.clone(),
        csv: args.csv.clone(),
        rows: flat(sheet),
        total_ml: rounded(sheet.total().ml(), 2),
        total_g: rounded(sheet.total_mass().g(), 2),
        cautions: sheet.cautions(),
        unplaced: sheet
            .unplaced
            .iter()
            .map(|u| Stuck {
                note: u.note.to_string(),
                bottle: u.bottle.clone(),
                reason: u.reason.clone(),
            })
            .collect(),
    }
}

fn text(args: &PourArgs, report: &PourReport, speller: &Speller) -> String {
    let mixed = report.rows.iter().any(|r| r.way != Way::Blown.name());
    let mut header = vec!["order", "note", "bottle"];
    if mixed {
        header.extend(["way", "set to"]);
    }
    let units = args.units.units;
    let (volume, mass, length) = (units.of_volume(), units.of_mass(), units.of_length());
    let heads = [
        format!("fill {volume}"),
        format!("fill {mass}"),
        format!("level {length}"),
        format!("below rim {length}"),
        format!("5 cents {volume}"),
    ];
    header.extend(heads.iter().map(String::as_str).chain(["±"]));
    let row = |r: &FlatRow| {
        let mut line = vec![
            r.order.to_string(),
            speller.text(&r.note),
            format!("{} no. {}", r.bottle, r.number),
        ];
        if mixed {
            line.extend([r.way.to_owned(), set_to(r, units)]);
        }
        let tuned = r.cents_per_ml.is_some();
        line.extend([
            units.volume(Volume::from_ml(r.fill_ml)),
            units.mass(Mass::from_g(r.fill_g)),
            units.length(Length::from_mm(r.level_mm)),
            units.length(Length::from_mm(r.below_rim_mm)),
            match r.tolerance_ml {
                Some(ml) if units == Units::Si => format!("{ml:.2}"),
                Some(ml) => units.volume(Volume::from_ml(ml)),
                None if tuned => "any".to_owned(),
                None => String::new(),
            },
            format!("{:.0}", r.plus_minus_cents),
        ]);
        line
    };
    let mut rows: Vec<&FlatRow> = report.rows.iter().collect();
    rows.sort_by_key(|r| r.order);
    let mut out = table(
        &header,
        rows.into_iter().map(row).collect(),
        if mixed { &[1, 2, 3, 4] } else { &[1, 2] },
    );
    out += &match units {
        Units::Si => format!(
            "\nin all {:.0} ml, {:.0} g\n",
            report.total_ml, report.total_g
        ),
        Units::Us | Units::Imperial => format!(
            "\nin all {:.1} {volume}, {:.1} {mass}\n",
            report.total_ml / units.ml(),
            report.total_g / units.g()
        ),
    };
    for caution in &report.cautions {
        out += &format!("- {caution}\n");
    }
    for path in [&args.out, &args.pdf].into_iter().flatten() {
        out += &format!("\nwritten to {}: print it at 100 %\n", path.display());
    }
    if args.out.is_none() && args.pdf.is_none() {
        out += "\nfor the sheet to print: --out FILE.html\n";
    }
    out
}

/// What tunes it, where that is no liquid; for a struck bottle the mallet.
fn set_to(r: &FlatRow, units: Units) -> String {
    let setting = SettingColumns {
        gauge_bar: r.gauge_bar,
        travel_mm: r.travel_mm,
        lift_mm: r.lift_mm,
    };
    match (setting.text(units), r.mallet) {
        (text, Some(mallet)) if text.is_empty() => format!("strike, {mallet}"),
        (text, _) => text,
    }
}
