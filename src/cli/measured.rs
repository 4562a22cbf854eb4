//! `ullage compare` for a class: its measurements beside what was predicted, and the worksheet for taking them.

use std::path::{Path, PathBuf};

use serde::Serialize;

use super::Failure;
use super::compare::CompareArgs;
use super::print::{JSON_VERSION, print, print_json, say, table};
use crate::file::atomic::{Overwrite, write_whole};
use crate::file::class_data::{self, MOST_BYTES};
use crate::file::read;
use crate::number::{rounded, signed};
use crate::physics::conditions::Conditions;
use crate::report::class_page::{class_page, worksheet};
use crate::report::measured::{Comparison, OfBottle, Point};
use crate::set::{self, ShelfOrSet};

#[derive(Serialize)]
struct MeasuredReport {
    version: u32,
    #[serde(skip_serializing_if = "Option::is_none")]
    html: Option<PathBuf>,
    points: Vec<PointRow>,
    bottles: Vec<BottleRow>,
}

#[derive(Serialize)]
struct PointRow {
    bottle: String,
    fill_ml: f64,
    measured_hz: f64,
    predicted_hz: f64,
    off_cents: f64,
    plus_minus_cents: f64,
    inside: bool,
    schoolbook_hz: f64,
    off_schoolbook_cents: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    fitted_hz: Option<f64>,
}

#[derive(Serialize)]
struct BottleRow {
    bottle: String,
    count: usize,
    mean_cents: f64,
    rms_cents: f64,
    schoolbook_rms_cents: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    fitted_rms_cents: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    not_fitted: Option<String>,
}

impl From<&Point> for PointRow {
    fn from(p: &Point) -> Self {
        Self {
            bottle: p.bottle.clone(),
            fill_ml: rounded(p.fill.ml(), 2),
            measured_hz: rounded(p.measured.hz(), 3),
            predicted_hz: rounded(p.predicted.hz(), 4),
            off_cents: rounded(p.off_cents(), 2),
            plus_minus_cents: rounded(p.plus_minus_cents, 1),
            inside: p.is_inside(),
            schoolbook_hz: rounded(p.schoolbook.hz(), 4),
            off_schoolbook_cents: rounded(p.off_schoolbook_cents(), 2),
            fitted_hz: p.fitted.map(|f| rounded(f.hz(), 4)),
        }
    }
}

impl From<&OfBottle> for BottleRow {
    fn from(b: &OfBottle) -> Self {
        Self {
            bottle: b.name.clone(),
            count: b.count,
            mean_cents: rounded(b.mean_cents, 2),
            rms_cents: rounded(b.rms_cents, 2),
            schoolbook_rms_cents: rounded(b.schoolbook_rms_cents, 2),
            fitted_rms_cents: b.fitted_rms_cents.map(|cents| rounded(cents, 2)),
            not_fitted: b.not_fitted.clone(),
        }
    }
}

/// Compares the table in `path` with what is predicted of the bottles.
pub(super) fn compare(args: &CompareArgs, path: &Path) -> Result<(), Failure> {
    let source = set::file_text(&args.file)?;
    let preset = set::open_any(&args.file, &Conditions::default())?;
    let what = || format!("compare {} with {}", path.display(), args.file.display());
    let text = read::text(path, MOST_BYTES, "of measurements")?;
    let measured = class_data::read(&text).map_err(|error| Failure::bad(what(), error))?;
    let comparison = Comparison::new(&source, &preset, &measured).map_err(|error| {
        Failure::bad(what(), error)
            .or_try("name the bottles as the file does, and give fills that fit into them")
    })?;
    if let Some(out) = &args.out {
        write(
            out,
            &class_page(title(args, &preset), &comparison),
            args.force,
            "--out",
        )?;
    }
    if args.json {
        return print_json(&MeasuredReport {
            version: JSON_VERSION,
            html: args.out.clone(),
            points: comparison.points.iter().map(PointRow::from).collect(),
            bottles: comparison.bottles.iter().map(BottleRow::from).collect(),
        });
    }
    print(&told(&comparison))
}

/// Writes the worksheet.
pub(super) fn write_worksheet(args: &CompareArgs, out: &Path) -> Result<(), Failure> {
    let preset = set::open_any(&args.file, &Conditions::default())?;
    let room = match &preset {
        ShelfOrSet::Set(set) => set.conditions.clone(),
        ShelfOrSet::Shelf(_) => Conditions::default(),
    };
    let page = worksheet(title(args, &preset), preset.kinds(), &room)
        .map_err(|error| Failure::cannot("make the worksheet", error))?;
    write(out, &page, args.force, "--worksheet")
}

fn title<'a>(args: &'a CompareArgs, preset: &'a ShelfOrSet) -> &'a str {
    let title = match preset {
        ShelfOrSet::Set(set) => &set.title,
        ShelfOrSet::Shelf(shelf) => &shelf.title,
    };
    if title.is_empty() {
        args.file
            .file_stem()
            .and_then(|stem| stem.to_str())
            .unwrap_or("Bottles")
    } else {
        title
    }
}

fn write(out: &Path, page: &str, force: bool, option: &str) -> Result<(), Failure> {
    write_whole(out, page.as_bytes(), Overwrite::forced(force))
        .map_err(|error| Failure::unwritten(out, error, option))?;
    say!("wrote {}", out.display());
    Ok(())
}

fn told(comparison: &Comparison) -> String {
    let header = [
        "bottle",
        "ml",
        "measured Hz",
        "predicted Hz",
        "off",
        "±",
        "schoolbook Hz",
        "off",
    ];
    let cells = |p: &Point| {
        let mark = if p.is_inside() { "" } else { " !" };
        vec![
            p.bottle.clone(),
            format!("{:.0}", p.fill.ml()),
            format!("{:.1}", p.measured.hz()),
            format!("{:.1}", p.predicted.hz()),
            signed(p.off_cents(), 0) + mark,
            format!("{:.0}", p.plus_minus_cents),
            format!("{:.1}", p.schoolbook.hz()),
            signed(p.off_schoolbook_cents(), 0),
        ]
    };
    let mut out = table(&header, comparison.points.iter().map(cells).collect(), &[0]);
    out += "\noff: measured above predicted, cents";
    if comparison.points.iter().any(|p| !p.is_inside()) {
        out += "; ! is outside the ±: measure again, or the bottle is not as described";
    }
    out += "\n\n";
    let header = [
        "bottle",
        "points",
        "mean",
        "rms",
        "schoolbook rms",
        "rms after fitting",
    ];
    let cells = |b: &OfBottle| {
        vec![
            b.name.clone(),
            b.count.to_string(),
            signed(b.mean_cents, 0),
            format!("{:.0}", b.rms_cents),
            format!("{:.0}", b.schoolbook_rms_cents),
            b.fitted_rms_cents
                .map_or_else(|| "-".to_owned(), |cents| format!("{cents:.0}")),
        ]
    };
    out += &table(
        &header,
        comparison.bottles.iter().map(cells).collect(),
        &[0],
    );
    for bottle in &comparison.bottles {
        if let Some(because) = &bottle.not_fitted {
            out += &format!("'{}' is not fitted: {because}\n", bottle.name);
        }
    }
    out
}
