//! `ullage retune`: what to add or take out when the room or the pitch changes.

use std::path::{Path, PathBuf};

use clap::Args;
use serde::Serialize;

use super::Failure;
use super::inputs;
use super::options::{RoomOptions, TuningOptions, UnitsOptions};
use super::rows::{Stuck, none_stuck};
use crate::cli::print::JSON_VERSION;
use crate::cli::print::{print, print_json, say, table};
use crate::file::atomic::{Overwrite, write_whole};
use crate::index::PourIndex;
use crate::number::{rounded, signed};
use crate::physics::liquid::LiquidError;
use crate::set::edit::{EditError, SetText};
use crate::set::{self, Pour, Set};
use crate::sounding::drift::swollen;
use crate::sounding::{Setting, SoundedError};
use crate::tuning::Tuning;
use crate::units::Volume;
use crate::units::shown::Units;

/// Say what to add or take out when the room or the pitch changes.
///
/// The set stands in the room of the room options as it was poured in the room of its file: what is in the bottles has swollen
/// or shrunk with its warmth. Amounts are for a jug in that room: the fill is what is in the bottle now, the new fill what is
/// to be in it, and between them is what to add or take out, in millilitres of liquid as warm as the room, or in grams.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: ullage retune presets/quay/set.toml --temp-c 26 --a4-hz 442 --out warm.toml"
)]
pub struct RetuneArgs {
    /// A set as it was poured
    pub file: PathBuf,
    /// Where to write the set as it is then: the room, the tuning and what is in each bottle [default: only print it]
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// Replace an existing file
    #[arg(long, requires = "out")]
    pub force: bool,
    /// Print one JSON object
    #[arg(long)]
    pub json: bool,
    /// In which units.
    #[command(flatten)]
    pub units: UnitsOptions,
    /// What the notes mean now.
    #[command(flatten)]
    pub tuning: TuningOptions,
    /// The room now.
    #[command(flatten)]
    pub room: RoomOptions,
}

#[derive(Serialize)]
struct RetuneReport {
    version: u32,
    retuned: Vec<RetunedRow>,
    unplaced: Vec<Stuck>,
}

#[derive(Serialize)]
struct RetunedRow {
    note: String,
    target_hz: f64,
    bottle: String,
    way: &'static str,
    off_cents: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    fill_ml: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    add_ml: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    add_g: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    new_fill_ml: Option<f64>,
    /// Of pressures, travels and lifts, in bar or mm: before, more, and after.
    #[serde(skip_serializing_if = "Option::is_none")]
    moved: Option<Moved>,
}

#[derive(Serialize)]
struct Moved {
    what: &'static str,
    unit: &'static str,
    before: f64,
    add: f64,
    after: f64,
}

pub(super) fn run(args: &RetuneArgs) -> Result<(), Failure> {
    let set = inputs::heard_set(&args.file, &args.room)?;
    let tuning = args.tuning.over(&set.tuning)?;
    if set.pours.is_empty() {
        return Err(Failure::bad(
            format!("retune {}", args.file.display()),
            "there are no pours in it",
        )
        .or_try("run ullage plan to make a set of the bottles"));
    }
    let mut report = RetuneReport {
        version: JSON_VERSION,
        retuned: Vec::new(),
        unplaced: Vec::new(),
    };
    let mut settings = Vec::new();
    for pour in &set.pours {
        match retuned(&set, pour, &tuning) {
            Ok(found) => {
                report.retuned.push(found.row);
                settings.push(found.after);
            }
            Err(error) => report.unplaced.push(Stuck::of(&set, pour, error)),
        }
    }
    if args.json {
        print_json(&report)?;
    } else {
        print(&text(&report, args.units.units))?;
    }
    let what = format!("retune every bottle of {}", args.file.display());
    none_stuck(
        &report.unplaced,
        what,
        "run ullage plan to choose the bottles anew",
    )?;
    match &args.out {
        Some(out) => write(args, out, &set, (&tuning, &settings)),
        None => Ok(()),
    }
}

/// Writes the set as it is when all of that was done.
fn write(
    args: &RetuneArgs,
    out: &Path,
    set: &Set,
    (tuning, settings): (&Tuning, &[Setting]),
) -> Result<(), Failure> {
    let source = set::file_text(&args.file)?;
    let what = format!("write {}", out.display());
    let text = retuned_text(&source, set, (tuning, settings))
        .map_err(|error| Failure::cannot(what, error))?;
    write_whole(out, text.as_bytes(), Overwrite::forced(args.force))
        .map_err(|error| Failure::unwritten(out, error, "--out"))?;
    say!("wrote {}", out.display());
    Ok(())
}

/// The set's own text, comments and all, in its new room and tuning, each pour set to one of `settings`.
fn retuned_text(
    source: &str,
    set: &Set,
    (tuning, settings): (&Tuning, &[Setting]),
) -> Result<String, EditError> {
    let mut text = SetText::parse(source)?;
    text.set_conditions(&set.conditions)?;
    text.set_tuning(tuning)?;
    let now = |liquid| swollen(liquid, &set.poured_at, &set.conditions);
    // What tunes nothing stays where it is, and has swollen.
    for (index, pair) in set.pairs.iter().enumerate() {
        text.set_liquid(index, now(pair.liquid))?;
    }
    for ((index, pour), setting) in PourIndex::each(&set.pours).zip(settings) {
        if let (Setting::Gauge(_), Some(fill)) = (setting, pour.fill) {
            text.set_pour(index, Setting::Fill(now(fill)))?;
        }
        text.set_pour(index, *setting)?;
    }
    Ok(text.finish()?.text)
}

/// Why a pour cannot be retuned.
#[derive(Debug, thiserror::Error)]
enum RetuneError {
    /// It does not sound, or its note is out of reach.
    #[error(transparent)]
    Sounded(#[from] SoundedError),
    /// The liquid cannot be weighed.
    #[error(transparent)]
    Liquid(#[from] LiquidError),
}

/// What to change of a pour, and what it is set to then.
struct Retuned {
    row: RetunedRow,
    after: Setting,
}

/// A pour as it stands in the room where the set is heard, and what to change there.
fn retuned(set: &Set, pour: &Pour, tuning: &Tuning) -> Result<Retuned, RetuneError> {
    let before = match set.setting(pour) {
        Some(setting) => setting,
        // Tuned for the room of its file.
        None => {
            let there = set.source_under(pour, &set.poured_at);
            let poured = there.solved(set.target(pour))?.setting;
            poured.moved(&set.poured_at, &set.conditions)
        }
    };
    let target = tuning.frequency(&pour.note);
    let now = set.source(pour);
    let off = now.at(before)?.frequency.interval_above(target);
    let after = now.solved(target)?.setting;
    let add = after.value() - before.value();
    let filled = matches!(after, Setting::Fill(_));
    let density = match filled {
        true => set
            .conditions
            .liquid
            .density_kg_m3(set.conditions.temperature())?,
        false => 0.0,
    };
    let ml = |value: f64| filled.then(|| rounded(value, 3));
    let row = RetunedRow {
        note: pour.note.to_string(),
        target_hz: rounded(target.hz(), 4),
        bottle: set.kind_of(pour).name.clone(),
        way: pour.way.name(),
        off_cents: rounded(off.cents(), 2),
        fill_ml: ml(before.value()),
        add_ml: ml(add),
        add_g: ml(add * density / 1000.0),
        new_fill_ml: ml(after.value()),
        moved: (!filled).then(|| Moved {
            what: after.name(),
            unit: after.unit(),
            before: rounded(before.value(), 4),
            add: rounded(add, 4),
            after: rounded(after.value(), 4),
        }),
    };
    Ok(Retuned { row, after })
}

fn text(report: &RetuneReport, units: Units) -> String {
    let (moved, filled): (Vec<&RetunedRow>, Vec<&RetunedRow>) =
        report.retuned.iter().partition(|r| r.moved.is_some());
    let mut out = String::new();
    if !filled.is_empty() {
        out += &filled_text(&filled, units);
    }
    if !moved.is_empty() {
        let header = [
            "note",
            "target Hz",
            "bottle",
            "off cents",
            "what",
            "before",
            "add",
            "after",
        ];
        let cells = |r: &&RetunedRow| {
            let m = r.moved.as_ref();
            let of = |value: fn(&Moved) -> String| m.map_or_else(String::new, value);
            vec![
                r.note.clone(),
                format!("{:.2}", r.target_hz),
                r.bottle.clone(),
                signed(r.off_cents, 1),
                of(|m| format!("{}, {}", m.what, m.unit)),
                of(|m| format!("{:.2}", m.before)),
                of(|m| signed(m.add, 2)),
                of(|m| format!("{:.2}", m.after)),
            ]
        };
        if !out.is_empty() {
            out += "\n";
        }
        out += &table(&header, moved.iter().map(cells).collect(), &[0, 2, 4]);
    }
    out
}

fn filled_text(rows: &[&RetunedRow], units: Units) -> String {
    let heads = [
        format!("fill {}", units.of_volume()),
        format!("add {}", units.of_volume()),
        format!("add {}", units.of_mass()),
        format!("new fill {}", units.of_volume()),
    ];
    let [fill, add, add_mass, new] = heads.each_ref().map(String::as_str);
    let header = [
        "note",
        "target Hz",
        "bottle",
        fill,
        "off cents",
        add,
        add_mass,
        new,
    ];
    let cells = |r: &&RetunedRow| {
        let of = |value: Option<f64>| value.unwrap_or_default();
        vec![
            r.note.clone(),
            format!("{:.2}", r.target_hz),
            r.bottle.clone(),
            units.volume(Volume::from_ml(of(r.fill_ml))),
            signed(r.off_cents, 1),
            signed(of(r.add_ml) / units.ml(), units.digits()),
            signed(of(r.add_g) / units.g(), units.digits()),
            units.volume(Volume::from_ml(of(r.new_fill_ml))),
        ]
    };
    table(&header, rows.iter().map(cells).collect(), &[0, 2])
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;
    use crate::set::read_set;

    #[test]
    fn what_is_added_is_added_to_what_is_in_the_bottle_now() {
        let set = read_set(
            "version = 1\n[[bottle]]\nname = \"jar\"\ncapacity_ml = 500\nmouth_bore_mm = 18\nneck_length_mm = 60\n\
             body_diameter_mm = 66\n[[pour]]\nnote = \"C4\"\nbottle = \"jar\"\nfill_ml = 385\n",
        )
        .unwrap();
        let cool = set.conditions.clone();
        let warm = cool.warmed_by_k(20.0);
        let now = swollen(Volume::from_ml(385.0), &cool, &warm).ml();
        let set = set.heard_in(warm);
        let row = retuned(&set, &set.pours[0], &set.tuning).unwrap().row;
        let (fill, add, new) = (
            row.fill_ml.unwrap(),
            row.add_ml.unwrap(),
            row.new_fill_ml.unwrap(),
        );
        // Printed to a thousandth of a millilitre.
        assert!((fill - now).abs() < 1e-3 && now > 387.0, "{fill} {now}");
        assert!((fill + add - new).abs() < 2e-3, "{fill} {add} {new}");
    }
}
