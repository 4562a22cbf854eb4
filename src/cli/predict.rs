//! `ullage predict`: what a bottle sounds like.

use std::path::{Path, PathBuf};

use serde::Serialize;

use super::Failure;
use super::args::{Predict, WayArg};
use super::calibration::Calibration;
use super::inputs;
use super::predict_way::{self, WayRow};
use super::predict_way_text;
use super::sweep::{Sweep, Swept};
use crate::cli::print::{JSON_VERSION, print, print_json, table};
use crate::file::atomic::{Overwrite, write_whole};
use crate::number::{rounded, signed};
use crate::physics::conditions::Conditions;
use crate::physics::prediction::Prediction;
use crate::physics::vapour::Headspace;
use crate::report::sweep_plot::{Curve, sweep_plot};
use crate::set::{Kind, Pour, ShelfOrSet, Way};
use crate::tuning::Tuning;
use crate::units::{Frequency, Volume};

/// One thing to predict.
struct Task<'a> {
    kind: &'a Kind,
    /// Its note in a set.
    note: Option<String>,
    liquid_swept: bool,
    fill: Volume,
    conditions: Conditions,
    at: Option<f64>,
}

/// One prediction as JSON.
#[derive(Serialize)]
struct Row {
    /// A liquid was swept whose vapour is not counted, so that nothing but its name changed.
    #[serde(skip)]
    vapour_left_out: bool,
    #[serde(skip)]
    for_note: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    version: Option<u32>,
    bottle: String,
    way: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    at: Option<f64>,
    temp_c: f64,
    capacity_ml: f64,
    fill_ml: f64,
    air_ml: f64,
    level_mm: f64,
    resonances: Vec<RowResonance>,
    note: RowNote,
    cents_per_ml: f64,
    cents_per_c: f64,
    cents_per_mm_bore: f64,
    plus_minus_cents: f64,
    dominated_by: &'static str,
    without_it_cents: f64,
    uncertainty: Vec<RowShare>,
    schoolbook_hz: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    scaled_from_ml: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    calibration: Option<Calibration>,
}

#[derive(Serialize)]
pub(super) struct RowResonance {
    pub hz: f64,
    pub q: f64,
}

#[derive(Serialize)]
pub(super) struct RowNote {
    pub name: String,
    pub cents: f64,
}

#[derive(Serialize)]
struct RowShare {
    what: &'static str,
    plus_minus_cents: f64,
    guessed: bool,
    remedy: &'static str,
}

#[derive(Serialize)]
struct Rows {
    version: u32,
    #[serde(skip_serializing_if = "Option::is_none")]
    swept: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    svg: Option<PathBuf>,
    predictions: Vec<AnyRow>,
}

pub(super) fn run(args: &Predict) -> Result<(), Failure> {
    predict_way::check(args)?;
    let (mut preset, conditions) = inputs::preset(&args.file, &args.room)?;
    let tuning = match &preset {
        ShelfOrSet::Set(set) => set.tuning.clone(),
        ShelfOrSet::Shelf(_) => Tuning::default(),
    };
    let others = predict_way::rows(args, &mut preset, &conditions, &tuning)?;
    let mut rows = Vec::new();
    for task in tasks(args, &preset, &conditions)? {
        let prediction =
            Prediction::new(&task.kind.bottle, task.fill, &task.conditions).map_err(|error| {
                Failure::cannot(
                    format!(
                        "predict {:?} with {:.1} ml in it",
                        task.kind.name,
                        task.fill.ml()
                    ),
                    error,
                )
                .or_try("--fill-ml with less, or another bottle")
            })?;
        rows.push(row(&task, &prediction, &tuning));
    }
    if let (Some(sweep), Some(path)) = (&args.sweep, &args.svg) {
        let blown = rows.iter().map(Drawn::from);
        let drawn: Vec<Drawn<'_>> = blown.chain(others.iter().map(Drawn::from)).collect();
        draw(sweep, path, args.force, &drawn)?;
    }
    if !args.json {
        let mut told = String::new();
        if !rows.is_empty() {
            told += &text(args, &rows);
        }
        if !rows.is_empty() && !others.is_empty() {
            told += "\n";
        }
        return print(&(told + &predict_way_text::text(args, &others)));
    }
    let blown = rows.into_iter().map(AnyRow::Blown);
    let all: Vec<AnyRow> = blown.chain(others.into_iter().map(AnyRow::Other)).collect();
    match <[AnyRow; 1]>::try_from(all) {
        Ok([AnyRow::Blown(row)]) => print_json(&Row {
            version: Some(JSON_VERSION),
            ..row
        }),
        Ok([AnyRow::Other(mut row)]) => {
            row.version = Some(JSON_VERSION);
            print_json(&row)
        }
        Err(predictions) => print_json(&Rows {
            version: JSON_VERSION,
            swept: args.sweep.as_ref().map(|s| s.what.key()),
            svg: args.svg.clone(),
            predictions,
        }),
    }
}

/// A prediction of whatever way.
#[derive(Serialize)]
#[serde(untagged)]
enum AnyRow {
    Blown(Row),
    Other(WayRow),
}

/// What a drawing needs of a row.
struct Drawn<'a> {
    note: Option<&'a String>,
    bottle: &'a str,
    at: Option<f64>,
    hz: f64,
}

impl<'a> From<&'a Row> for Drawn<'a> {
    fn from(row: &'a Row) -> Self {
        Self {
            note: row.for_note.as_ref(),
            bottle: &row.bottle,
            at: row.at,
            hz: row.resonances[0].hz,
        }
    }
}

impl<'a> From<&'a WayRow> for Drawn<'a> {
    fn from(row: &'a WayRow) -> Self {
        Self {
            note: row.for_note.as_ref(),
            bottle: &row.bottle,
            at: row.at,
            hz: row.resonances[0].hz,
        }
    }
}

/// What to predict: the sweep, the named bottle, every pour of a set, or every bottle of a shelf.
fn tasks<'a>(
    args: &Predict,
    preset: &'a ShelfOrSet,
    conditions: &Conditions,
) -> Result<Vec<Task<'a>>, Failure> {
    if args.way.is_some_and(|way| way != WayArg::Blown) {
        return Ok(Vec::new());
    }
    // Pours of other ways are predicted as they are sounded, unless blowing was asked for.
    let blown = |p: &&Pour| args.way.is_some() || p.way == Way::Blown;
    let chosen: Vec<(&Kind, Option<&Pour>)> = match (preset, &args.bottle) {
        (ShelfOrSet::Set(set), Some(name)) => {
            let kind = inputs::kind(&set.kinds, name, &args.file)?;
            let of_it = |p: &&Pour| set.kinds[p.kind].name == *name;
            let sounded = set.pours.iter().any(|p| of_it(&p));
            let pours: Vec<_> = set.pours.iter().filter(of_it).filter(blown).collect();
            if !sounded || (args.sweep.is_some() && !pours.is_empty()) {
                vec![(kind, pours.first().copied())]
            } else {
                pours.into_iter().map(|p| (kind, Some(p))).collect()
            }
        }
        (ShelfOrSet::Set(set), None) if !set.pours.is_empty() => set
            .pours
            .iter()
            .filter(blown)
            .map(|p| (set.kind_of(p), Some(p)))
            .collect(),
        (ShelfOrSet::Shelf(shelf), Some(name)) => {
            vec![(inputs::kind(&shelf.kinds, name, &args.file)?, None)]
        }
        (_, None) => preset.kinds().iter().map(|kind| (kind, None)).collect(),
    };
    let mut tasks = Vec::new();
    for (kind, pour) in chosen {
        let fill = given_fill(args, conditions)?.or(pour.and_then(|p| p.fill));
        let fill = fill.unwrap_or_default();
        let note = pour.map(|p| p.note.to_string());
        let Some(sweep) = &args.sweep else {
            tasks.push(Task {
                kind,
                note,
                liquid_swept: false,
                fill,
                conditions: conditions.clone(),
                at: None,
            });
            continue;
        };
        if sweep.setting(sweep.low).is_some() {
            return Err(Failure::bad(
                format!("sweep {} over {:?}", sweep.what.key(), kind.name),
                "a blown bottle is set by its fill",
            )
            .or_try("--sweep fill-ml=LOW..HIGH, or --way pressurised, sliding or joined"));
        }
        for at in sweep.values() {
            let (conditions, fill) = swept(args, fill, conditions, (sweep, at))?;
            tasks.push(Task {
                kind,
                note: note.clone(),
                liquid_swept: matches!(sweep.what, Swept::Liquid(_)),
                fill,
                conditions,
                at: Some(at),
            });
        }
    }
    Ok(tasks)
}

/// The fill that was asked for, ml or g.
pub(super) fn given_fill(
    args: &Predict,
    conditions: &Conditions,
) -> Result<Option<Volume>, Failure> {
    if let Some(fill_g) = args.fill_g {
        let density = conditions.liquid.density_kg_m3(conditions.temperature());
        let density = density.map_err(|error| Failure::bad("weigh the liquid", error))?;
        return Ok(Some(Volume::from_m3(fill_g / 1000.0 / density)));
    }
    Ok(args.fill_ml.map(Volume::from_ml))
}

/// One step of a sweep. What was weighed keeps its grams, whatever its density becomes.
pub(super) fn swept(
    args: &Predict,
    fill: Volume,
    base: &Conditions,
    (sweep, at): (&Sweep, f64),
) -> Result<(Conditions, Volume), Failure> {
    let bad = |error: String| {
        let what = format!("sweep {} over {}", sweep.what.key(), args.file.display());
        Failure::bad(what, error)
    };
    let (conditions, mut fill) = sweep.at(at, base, fill).map_err(bad)?;
    conditions.gases().map_err(|error| bad(error.to_string()))?;
    if args.fill_g.is_some() && sweep.what != Swept::FillMl {
        fill = given_fill(args, &conditions)?.unwrap_or(fill);
    }
    Ok((conditions, fill))
}

/// Draws the sweep, a curve for each bottle and filling.
fn draw(sweep: &Sweep, path: &Path, force: bool, rows: &[Drawn<'_>]) -> Result<(), Failure> {
    let per_curve = sweep.steps as usize + 1;
    let curve = |rows: &[Drawn<'_>]| Curve {
        name: match rows[0].note {
            Some(note) => format!("{note} {}", rows[0].bottle),
            None => rows[0].bottle.to_owned(),
        },
        points: rows
            .iter()
            .filter_map(|row| Some((row.at?, Frequency::from_hz(row.hz))))
            .collect(),
    };
    let curves: Vec<Curve> = rows.chunks(per_curve).map(curve).collect();
    let text = sweep_plot(&sweep.what.axis(), &curves);
    write_whole(path, text.as_bytes(), Overwrite::forced(force))
        .map_err(|error| Failure::unwritten(path, error, "--svg"))
}

fn row(task: &Task<'_>, p: &Prediction, tuning: &Tuning) -> Row {
    let note = p.note();
    let (name, off) = tuning.nearest(note.frequency);
    let cents = |interval: crate::units::Interval| rounded(interval.cents(), 3);
    Row {
        vapour_left_out: task.conditions.headspace == Headspace::Room && task.liquid_swept,
        for_note: task.note.clone(),
        version: None,
        bottle: task.kind.name.clone(),
        way: "blown",
        at: task.at,
        temp_c: rounded(task.conditions.temperature().c(), 3),
        capacity_ml: rounded(task.kind.bottle.bore().capacity().ml(), 2),
        fill_ml: rounded(p.fill.ml(), 3),
        air_ml: rounded(p.air.ml(), 3),
        level_mm: rounded(p.level.mm(), 2),
        resonances: p
            .resonances
            .iter()
            .map(|r| RowResonance {
                hz: rounded(r.frequency.hz(), 4),
                q: rounded(r.quality, 3),
            })
            .collect(),
        note: RowNote {
            name: name.to_string(),
            cents: cents(off),
        },
        cents_per_ml: cents(p.per_ml),
        cents_per_c: cents(p.per_kelvin),
        cents_per_mm_bore: cents(p.per_mm_bore),
        plus_minus_cents: rounded(p.uncertainty.plus_minus.cents(), 1),
        dominated_by: p.uncertainty.dominant().what,
        without_it_cents: rounded(p.uncertainty.without_dominant().cents(), 1),
        uncertainty: p
            .uncertainty
            .shares
            .iter()
            .map(|s| RowShare {
                what: s.what,
                plus_minus_cents: rounded(s.plus_minus.cents(), 1),
                guessed: s.guessed,
                remedy: s.remedy,
            })
            .collect(),
        schoolbook_hz: rounded(p.schoolbook.hz(), 2),
        scaled_from_ml: task.kind.bottle.scaled_from().map(|v| rounded(v.ml(), 1)),
        calibration: Calibration::of(task.kind),
    }
}

fn text(args: &Predict, rows: &[Row]) -> String {
    let swept = args.sweep.as_ref().map(|s| s.what.key());
    let mut header = vec!["bottle"];
    header.extend(swept.as_deref());
    header.extend([
        "fill ml",
        "air ml",
        "level mm",
        "Hz",
        "note",
        "cents",
        "±",
        "Q",
        "c/ml",
        "c/°C",
        "c/mm bore",
    ]);
    let mut cells = Vec::new();
    for row in rows {
        let mut line = vec![row.bottle.clone()];
        line.extend(row.at.map(|at| format!("{at:.3}")));
        let first = &row.resonances[0];
        line.extend([
            format!("{:.1}", row.fill_ml),
            format!("{:.1}", row.air_ml),
            format!("{:.1}", row.level_mm),
            format!("{:.2}", first.hz),
            row.note.name.clone(),
            signed(row.note.cents, 1),
            format!("{:.0}", row.plus_minus_cents),
            format!("{:.1}", first.q),
            format!("{:.2}", row.cents_per_ml),
            format!("{:.2}", row.cents_per_c),
            signed(row.cents_per_mm_bore, 0),
        ]);
        cells.push(line);
    }
    let note_column = if swept.is_some() { 6 } else { 5 };
    let mut out = table(&header, cells, &[0, note_column]);
    out += &remarks(args, rows);
    out
}

/// What a table has no column for: scaled bodies, what would sharpen the prediction, and the modes above.
fn remarks(args: &Predict, rows: &[Row]) -> String {
    let mut out = String::new();
    let mut told = std::collections::BTreeSet::new();
    let no_vapour = rows.first().is_some_and(|row| row.vapour_left_out);
    if no_vapour {
        out += "\nthe vapour over the liquid is left out; --headspace saturated counts it\n";
    }
    if let Some(path) = &args.svg {
        out += &format!("\ndrawn in {}\n", path.display());
    }
    for row in rows.iter().filter(|row| told.insert(row.bottle.clone())) {
        if let Some(before_ml) = row.scaled_from_ml {
            out += &format!(
                "\n{}: its dimensions hold {before_ml} ml; the body was scaled to the stated {} ml\n",
                row.bottle, row.capacity_ml
            );
        }
        if let Some(calibration) = &row.calibration {
            out += &format!("\n{}", calibration.text(&row.bottle));
        }
        let single = rows.len() == 1 || args.bottle.is_some();
        if single || args.why {
            let modes: Vec<String> = row.resonances[1..]
                .iter()
                .map(|r| format!("{:.0} Hz (Q {:.0})", r.hz, r.q))
                .collect();
            out += &format!(
                "\n{}: ±{:.0} cents, most of it from {}: {}, and it would be ±{:.0}\n",
                row.bottle,
                row.plus_minus_cents,
                row.dominated_by,
                row.uncertainty[0].remedy,
                row.without_it_cents
            );
            out += &format!(
                "    modes above the note: {}\n",
                if modes.is_empty() {
                    "none".to_owned()
                } else {
                    modes.join(", ")
                }
            );
            out += &format!(
                "    the schoolbook formula says {:.1} Hz, {:+.0} cents: it knows no shoulder\n",
                row.schoolbook_hz,
                Frequency::from_hz(row.schoolbook_hz)
                    .interval_above(Frequency::from_hz(row.resonances[0].hz))
                    .cents()
            );
        }
        if args.why {
            for share in &row.uncertainty {
                out += &format!("    ±{:6.1}  {}\n", share.plus_minus_cents, share.what);
            }
        }
    }
    out
}
