//! `ullage compare`: how far every bottle of a set moves from one condition to another.

use std::path::{Path, PathBuf};

use clap::Args;
use serde::Serialize;

use super::Failure;
use super::altered::TwoConditions;
use super::measured;
use super::rows::{SettingColumns, Stuck, none_stuck};
use crate::cli::print::JSON_VERSION;
use crate::cli::print::{print, print_json, say, table};
use crate::file::atomic::{Overwrite, write_whole};
use crate::number::{rounded, signed};
use crate::physics::conditions::Conditions;
use crate::report::moved_plot::{Moved, moved_plot};
use crate::report::words::hazards;
use crate::set::{self, Pour, Set};
use crate::sounding::SoundedError;
use crate::stage::Situation;
use crate::units::Interval;

/// Say how far every bottle of a set moves from one condition to another, or from what a class measured.
///
/// The bottles stay as they were poured: what is in them keeps its mass, and its volume where another liquid takes
/// its place. The room, the bottles and what is in them have one temperature.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: ullage compare presets/quay/set.toml --before temp-c=20 --after temp-c=4\n\
                  Example: ullage compare presets/quay/set.toml --after helium --svg helium.svg\n\
                  Example: ullage compare presets/classroom/set.toml --worksheet worksheet.html\n\
                  Example: ullage compare presets/classroom/set.toml --measured class.csv --out class.html"
)]
pub struct CompareArgs {
    /// A set; with --measured or --worksheet also a shelf
    pub file: PathBuf,
    /// What is compared.
    #[command(flatten)]
    pub two: TwoConditions,
    /// A class's measurements instead of two conditions: a table with the columns bottle, fill_ml, hz and, if it was noted,
    /// temp_c, as a spreadsheet saves it
    #[arg(long, value_name = "FILE.csv", conflicts_with_all = ["before", "after"])]
    pub measured: Option<PathBuf>,
    /// Where to write them as a page with plots
    #[arg(long, value_name = "FILE.html", requires = "measured")]
    pub out: Option<PathBuf>,
    /// Where to draw how far each bottle moves
    #[arg(long, value_name = "FILE.svg", conflicts_with_all = ["measured", "worksheet"])]
    pub svg: Option<PathBuf>,
    /// Where to write the worksheet for taking them: blank tables, a grid, questions, and the answers
    #[arg(long, value_name = "FILE.html", conflicts_with_all = ["before", "after", "measured"])]
    pub worksheet: Option<PathBuf>,
    /// Replace existing files
    #[arg(long)]
    pub force: bool,
    /// Print one JSON object
    #[arg(long)]
    pub json: bool,
}

/// How the bottles of a set move from one situation to another.
#[derive(Serialize)]
pub(super) struct CompareReport {
    version: u32,
    before: String,
    after: String,
    bottles: Vec<ComparedRow>,
    /// How the set moves as one.
    #[serde(skip_serializing_if = "Option::is_none")]
    together: Option<Together>,
    cautions: Vec<&'static str>,
    /// Bottles that do not sound in one of them.
    pub(super) unplaced: Vec<Stuck>,
}

#[derive(Serialize)]
struct ComparedRow {
    note: String,
    bottle: String,
    way: &'static str,
    fill_ml: f64,
    #[serde(flatten)]
    setting: SettingColumns,
    before_hz: f64,
    after_hz: f64,
    cents: f64,
    /// What is left when the whole set is taken down or up by its mean.
    beside_mean_cents: f64,
    before_q: f64,
    after_q: f64,
}

#[derive(Serialize)]
struct Together {
    mean_cents: f64,
    spread_cents: f64,
    least: String,
    most: String,
}

pub(super) fn run(args: &CompareArgs) -> Result<(), Failure> {
    if let Some(path) = &args.measured {
        return measured::compare(args, path);
    }
    if let Some(out) = &args.worksheet {
        return measured::write_worksheet(args, out);
    }
    let set = set::open(&args.file)?;
    if set.pours.is_empty() {
        return Err(Failure::bad(
            format!("compare the bottles of {}", args.file.display()),
            "there are no pours in it",
        )
        .or_try("run ullage plan to make a set of the bottles"));
    }
    let (before, after) = args.two.over(&set.conditions)?;
    let report = report(&set, &before, &after);
    if let Some(path) = &args.svg {
        draw(&report, path, args.force)?;
    }
    if args.json {
        print_json(&report)?;
    } else {
        print(&text(&report))?;
    }
    let what = format!("compare every bottle of {}", args.file.display());
    none_stuck(
        &report.unplaced,
        what,
        "choose conditions that they sound in",
    )
}

/// Draws how far the bottles move.
fn draw(report: &CompareReport, path: &Path, force: bool) -> Result<(), Failure> {
    let moved = |row: &ComparedRow| Moved {
        name: format!("{} {}", row.note, row.bottle),
        by: Interval::from_cents(row.cents),
    };
    let rows: Vec<Moved> = report.bottles.iter().map(moved).collect();
    let title = format!("from {} to {}", report.before, report.after);
    let svg = moved_plot(&title, &rows);
    write_whole(path, svg.as_bytes(), Overwrite::forced(force))
        .map_err(|error| Failure::unwritten(path, error, "--svg"))?;
    say!("wrote {}", path.display());
    Ok(())
}

pub(super) fn report(set: &Set, before: &Situation, after: &Situation) -> CompareReport {
    let mut report = CompareReport {
        version: JSON_VERSION,
        before: before.label.clone(),
        after: after.label.clone(),
        bottles: Vec::new(),
        together: None,
        cautions: cautions(before, after),
        unplaced: Vec::new(),
    };
    for pour in &set.pours {
        match row(set, pour, &before.conditions, &after.conditions) {
            Ok(row) => report.bottles.push(row),
            Err(error) => report.unplaced.push(Stuck::of(set, pour, error)),
        }
    }
    report.together = together(&mut report.bottles);
    report
}

/// What to beware of on either side, each once.
fn cautions(before: &Situation, after: &Situation) -> Vec<&'static str> {
    let mut all = hazards(&before.conditions);
    for caution in hazards(&after.conditions) {
        if !all.contains(&caution) {
            all.push(caution);
        }
    }
    all
}

fn row(
    set: &Set,
    pour: &Pour,
    before: &Conditions,
    after: &Conditions,
) -> Result<ComparedRow, SoundedError> {
    let setting = match pour.setting() {
        Some(setting) => setting,
        // Tuned for the room of its file.
        None => {
            let there = set.source_under(pour, &set.poured_at);
            there.solved(set.target(pour))?.setting
        }
    };
    let sound = |now: &Conditions| {
        let source = set.source_under(pour, now);
        source.at(setting.moved(&set.poured_at, now))
    };
    let (first, second) = (sound(before)?, sound(after)?);
    Ok(ComparedRow {
        note: pour.note.to_string(),
        bottle: set.kind_of(pour).name.clone(),
        way: pour.way.name(),
        fill_ml: rounded(setting.fill().or(pour.fill).unwrap_or_default().ml(), 3),
        setting: SettingColumns::of(setting),
        before_hz: rounded(first.frequency.hz(), 4),
        after_hz: rounded(second.frequency.hz(), 4),
        cents: rounded(second.frequency.interval_above(first.frequency).cents(), 3),
        beside_mean_cents: 0.0,
        before_q: rounded(first.quality, 3),
        after_q: rounded(second.quality, 3),
    })
}

/// The mean and the spread of the rows, and what is left of each beside the mean.
fn together(rows: &mut [ComparedRow]) -> Option<Together> {
    let mean = rows.iter().map(|r| r.cents).sum::<f64>() / rows.len() as f64;
    for row in rows.iter_mut() {
        row.beside_mean_cents = rounded(row.cents - mean, 3);
    }
    let by_cents = |a: &&ComparedRow, b: &&ComparedRow| a.cents.total_cmp(&b.cents);
    let (least, most) = (rows.iter().min_by(by_cents)?, rows.iter().max_by(by_cents)?);
    Some(Together {
        mean_cents: rounded(mean, 3),
        spread_cents: rounded(most.cents - least.cents, 3),
        least: least.note.clone(),
        most: most.note.clone(),
    })
}

pub(super) fn text(report: &CompareReport) -> String {
    let header = [
        "note",
        "bottle",
        "fill ml",
        "before Hz",
        "after Hz",
        "cents",
        "in the set",
        "Q before",
        "Q after",
    ];
    let cells = |r: &ComparedRow| {
        vec![
            r.note.clone(),
            r.bottle.clone(),
            format!("{:.1}", r.fill_ml),
            format!("{:.2}", r.before_hz),
            format!("{:.2}", r.after_hz),
            signed(r.cents, 1),
            signed(r.beside_mean_cents, 1),
            format!("{:.1}", r.before_q),
            format!("{:.1}", r.after_q),
        ]
    };
    let mut out = format!("before: {}\nafter:  {}\n\n", report.before, report.after);
    out += &table(&header, report.bottles.iter().map(cells).collect(), &[0, 1]);
    if let Some(t) = &report.together {
        out += &format!(
            "\nthe set moves by {} cents and comes apart by {:.1} cents, between {} and {}\n",
            signed(t.mean_cents, 1),
            t.spread_cents,
            t.least,
            t.most
        );
    }
    for caution in &report.cautions {
        out += &format!("- {caution}\n");
    }
    out
}
