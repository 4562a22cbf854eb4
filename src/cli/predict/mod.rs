//! `ullage predict`: what a bottle sounds like.

mod row;
mod sweep;
mod task;
mod text;

use std::path::{Path, PathBuf};

use clap::Args;
use serde::Serialize;

use super::Failure;
use super::inputs;
use super::options::{NamesOptions, RoomOptions, StrikingOptions, UnitsOptions, ways};
use super::print::{JSON_VERSION, print, print_json, say};
use crate::file::atomic::{Overwrite, write_whole};
use crate::physics::conditions::Conditions;
use crate::report::sweep_plot::{Curve, sweep_plot};
use crate::set::ShelfOrSet;
use crate::sounding::{Setting, Way};
use crate::tuning::{Key, NoteNames, Speller, Tuning};
use crate::units::Frequency;
use row::PredictedRow;
use sweep::Sweep;
use task::{Subject, Task};

/// Say what a bottle sounds like.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: ullage predict presets/quay/shelf.toml --bottle cordial --fill-ml 120\n\
                  Example: ullage predict presets/quay/set.toml --sweep temp-c=0..40 --svg warmth.svg\n\
                  Example: ullage predict presets/struck/shelf.toml --way struck --mallet rubber --fill-ml 200"
)]
pub struct PredictArgs {
    /// A shelf or a set
    pub file: PathBuf,
    /// Only this bottle [default: every bottle of a shelf, every pour of a set]
    #[arg(long, value_name = "NAME")]
    pub bottle: Option<String>,
    /// How it is sounded [default: as the set says, else blown]
    #[arg(long, value_parser = ways(&Way::ALL))]
    pub way: Option<Way>,
    /// Pressure above the air outside, bar; plastic only [0 to 4; with --way pressurised]
    #[arg(long, value_name = "BAR", allow_negative_numbers = true)]
    pub gauge_bar: Option<f64>,
    /// How far the floor is pushed in, mm [with --way sliding]
    #[arg(long, value_name = "MM", allow_negative_numbers = true)]
    pub travel_mm: Option<f64>,
    /// How far the second of a pair stands above the first, mm [with --way joined]
    #[arg(long, value_name = "MM", allow_negative_numbers = true)]
    pub lift_mm: Option<f64>,
    /// What strikes it.
    #[command(flatten)]
    pub striking: StrikingOptions,
    /// Liquid in it, ml, in the room in which it is heard [default: what the set says, else empty]
    #[arg(long, value_name = "ML", conflicts_with = "fill_g")]
    pub fill_ml: Option<f64>,
    /// Liquid in it, g on a scale
    #[arg(long, value_name = "G")]
    pub fill_g: Option<f64>,
    /// Step through one quantity, as KEY=LOW..HIGH in eleven rows or KEY=LOW..HIGH/ROWS; KEY is fill-ml, temp-c, humidity-pct,
    /// pressure-kpa or lip-open. A share of another gas in the room's air: gas=co2:0..1; a strength in percent:
    /// liquid=ethanol:0..40
    #[arg(long, value_name = "KEY=LOW..HIGH")]
    pub sweep: Option<Sweep>,
    /// Draw the sweep
    #[arg(long, value_name = "FILE.svg", requires = "sweep")]
    pub svg: Option<PathBuf>,
    /// Replace an existing drawing
    #[arg(long, requires = "svg")]
    pub force: bool,
    /// Print one JSON object
    #[arg(long)]
    pub json: bool,
    /// Where the uncertainty comes from, source by source
    #[arg(long)]
    pub why: bool,
    /// How notes are called.
    #[command(flatten)]
    pub names: NamesOptions,
    /// In which units.
    #[command(flatten)]
    pub units: UnitsOptions,
    /// The room.
    #[command(flatten)]
    pub room: RoomOptions,
}

/// Several predictions as JSON.
#[derive(Serialize)]
struct PredictReport {
    version: u32,
    #[serde(skip_serializing_if = "Option::is_none")]
    swept: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    svg: Option<PathBuf>,
    predictions: Vec<PredictedRow>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    left_out: Vec<LeftOut>,
}

/// A bottle that cannot be sounded as it was asked.
#[derive(Serialize)]
struct LeftOut {
    bottle: String,
    because: String,
}

impl From<(String, Failure)> for LeftOut {
    fn from((bottle, failure): (String, Failure)) -> Self {
        Self {
            bottle,
            because: failure.because().to_owned(),
        }
    }
}

pub(super) fn run(args: &PredictArgs) -> Result<(), Failure> {
    check(args)?;
    let (preset, conditions) = inputs::preset(&args.file, &args.room)?;
    let tuning = match &preset {
        ShelfOrSet::Set(set) => set.tuning.clone(),
        ShelfOrSet::Shelf(_) => Tuning::default(),
    };
    let subject = Subject::new(args, &preset, &conditions);
    let (mut rows, mut left_out) = (Vec::new(), Vec::new());
    for task in subject.tasks()? {
        match predicted(&subject, &task, &tuning) {
            Ok(found) => rows.extend(found),
            Err(failure) => left_out.push((task.kind.name.clone(), failure)),
        }
    }
    // One bottle that cannot be sounded so is no reason to say nothing of the others.
    if rows.is_empty() && !left_out.is_empty() {
        return Err(left_out.swap_remove(0).1);
    }
    for (name, failure) in &left_out {
        say!("note: {name:?} is left out: {}", failure.because());
    }
    if let (Some(sweep), Some(path)) = (&args.sweep, &args.svg) {
        draw(sweep, path, args.force, &rows)?;
    }
    if !args.json {
        let speller = speller(args, &preset)?;
        return print(&text::text(args, &rows, &conditions.headspace, &speller));
    }
    match <[PredictedRow; 1]>::try_from(rows) {
        Ok([mut row]) => {
            row.version = Some(JSON_VERSION);
            print_json(&row)
        }
        Err(predictions) => print_json(&PredictReport {
            version: JSON_VERSION,
            swept: args.sweep.as_ref().map(|s| s.what.key()),
            svg: args.svg.clone(),
            predictions,
            left_out: left_out.into_iter().map(LeftOut::from).collect(),
        }),
    }
}

/// Says notes in the key that those of the set are in; a shelf has none.
fn speller(args: &PredictArgs, preset: &ShelfOrSet) -> Result<Speller, Failure> {
    let key = match preset {
        ShelfOrSet::Set(set) if !set.pours.is_empty() => set.key(),
        _ if args.names.note_names == NoteNames::DoMovable => {
            let because = "there are no notes in it that would be in a key";
            return Err(
                Failure::bad(format!("find do in {}", args.file.display()), because)
                    .or_try("use --note-names do-fixed, or give a set"),
            );
        }
        _ => Key::default(),
    };
    Ok(args.names.speller(key))
}

/// Options of another way than what is predicted are refused, not passed over.
fn check(args: &PredictArgs) -> Result<(), Failure> {
    let belongs = [
        ("--gauge-bar", args.gauge_bar.is_some(), Way::Pressurised),
        ("--travel-mm", args.travel_mm.is_some(), Way::Sliding),
        ("--lift-mm", args.lift_mm.is_some(), Way::Joined),
    ];
    for (option, given, way) in belongs {
        if given && args.way != Some(way) {
            let because = format!("it belongs to --way {way}");
            return Err(
                Failure::bad(format!("use {option}"), because).or_try(format!("add --way {way}"))
            );
        }
    }
    Ok(())
}

/// The rows of a task: one, or one for each step of the sweep.
fn predicted(
    subject: &Subject<'_>,
    task: &Task<'_>,
    tuning: &Tuning,
) -> Result<Vec<PredictedRow>, Failure> {
    let Some(sweep) = &subject.args.sweep else {
        let here = subject.at(task, subject.conditions, None)?;
        return Ok(vec![here.row_with_range(task, tuning)?]);
    };
    let step = |at: f64| {
        let now = swept(subject, sweep, at)?;
        let turned = sweep.setting(at);
        if let Some(turned) = turned {
            check_turned(task, sweep, turned)?;
        }
        let mut row = subject.at(task, &now, turned)?.row(task, tuning)?;
        row.at = Some(at);
        Ok(row)
    };
    sweep.values().map(step).collect()
}

/// The room and the liquid at a step of a sweep.
fn swept(subject: &Subject<'_>, sweep: &Sweep, at: f64) -> Result<Conditions, Failure> {
    let file = subject.args.file.display();
    let what = || format!("sweep {} over {file}", sweep.what.key());
    let now = sweep
        .over(subject.conditions, at)
        .map_err(|error| Failure::bad(what(), error))?;
    now.gases().map_err(|error| Failure::bad(what(), error))?;
    Ok(now)
}

/// What is swept must be what the bottle is set by.
fn check_turned(task: &Task<'_>, sweep: &Sweep, turned: Setting) -> Result<(), Failure> {
    let knob = task.way.knob();
    if turned.name() == knob {
        return Ok(());
    }
    let what = format!("sweep {} over {:?}", sweep.what.key(), task.kind.name);
    let because = format!("a {} bottle is set by its {knob}", task.way);
    Err(Failure::bad(what, because).or_try(match task.way {
        Way::Blown => "use --sweep fill-ml=LOW..HIGH, or --way pressurised, sliding or joined",
        _ => "use a --way that is set by it, or sweep another quantity",
    }))
}

/// Draws the sweep, a curve for each bottle and filling.
fn draw(sweep: &Sweep, path: &Path, force: bool, rows: &[PredictedRow]) -> Result<(), Failure> {
    let per_curve = sweep.rows as usize;
    let curve = |rows: &[PredictedRow]| Curve {
        name: match &rows[0].for_note {
            Some(note) => format!("{note} {}", rows[0].bottle),
            None => rows[0].bottle.clone(),
        },
        points: rows
            .iter()
            .filter_map(|row| Some((row.at?, Frequency::from_hz(row.resonances[0].hz))))
            .collect(),
    };
    let curves: Vec<Curve> = rows.chunks(per_curve).map(curve).collect();
    let text = sweep_plot(&sweep.what.axis(), &curves);
    write_whole(path, text.as_bytes(), Overwrite::forced(force))
        .map_err(|error| Failure::unwritten(path, error, "--svg"))
}
