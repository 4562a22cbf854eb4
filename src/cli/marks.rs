//! `ullage marks`: where sliding floors and joined bottles stand for their notes.

use std::path::PathBuf;

use clap::Args;
use serde::Serialize;

use super::Failure;
use super::inputs;
use super::options::PrintOptions;
use super::rows::{SettingColumns, Stuck, none_stuck};
use crate::cli::print::JSON_VERSION;
use crate::cli::print::{print, print_json, table};
use crate::index::KindIndex;
use crate::number::{rounded, signed};
use crate::physics::conditions::Conditions;
use crate::physics::joined::Joined;
use crate::physics::pressure::{JOINED_CAUTION, SLIDING_CAUTION};
use crate::physics::sliding::Sliding;
use crate::set::{self, Pair, Set, Way};
use crate::sounding::Sounded;

/// Say where sliding floors and joined bottles stand for their notes.
///
/// For each sliding bottle: how far its floor is pushed in for each note. For each joined pair: how far the second
/// bottle's foot is above the first's, and what the other bottle gives there. Marks that the set has are kept; those
/// that are missing are solved, and all of them where room options are given: for a set that is heard in that room, the
/// liquid of its pairs having swollen or shrunk on the way.
#[derive(Debug, Args)]
#[command(after_help = "Example: ullage marks presets/slide/set.toml\n\
                        Example: ullage marks presets/pair/set.toml --temp-c 26 --json")]
pub struct MarksArgs {
    /// A set
    pub file: PathBuf,
    /// What is printed, and the room.
    #[command(flatten)]
    pub print: PrintOptions,
}

#[derive(Serialize)]
struct MarksReport {
    version: u32,
    sliding: Vec<SlideRow>,
    joined: Vec<PairRow>,
    unplaced: Vec<Stuck>,
    cautions: Vec<&'static str>,
}

/// A bottle with a sliding floor.
#[derive(Serialize)]
struct SlideRow {
    bottle: String,
    stroke_mm: f64,
    lowest_hz: f64,
    highest_hz: f64,
    marks: Vec<MarkRow>,
}

/// A joined pair.
#[derive(Serialize)]
struct PairRow {
    pair: String,
    first: String,
    second: String,
    liquid_ml: f64,
    least_lift_mm: f64,
    most_lift_mm: f64,
    /// First bottle's at the least and the most lift.
    first_hz: [f64; 2],
    second_hz: [f64; 2],
    marks: Vec<MarkRow>,
}

/// One note's place.
#[derive(Serialize)]
struct MarkRow {
    note: String,
    bottle: String,
    target_hz: f64,
    #[serde(flatten)]
    setting: SettingColumns,
    hz: f64,
    q: f64,
    error_cents: f64,
    plus_minus_cents: f64,
    cents_per_mm: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    other: Option<OtherNote>,
}

/// What the other bottle of a pair gives meanwhile.
#[derive(Serialize)]
struct OtherNote {
    bottle: String,
    hz: f64,
    note: String,
    cents: f64,
}

pub(super) fn run(args: &MarksArgs) -> Result<(), Failure> {
    let set = set::open(&args.file)?;
    let conditions = inputs::conditions(&set.conditions, &args.print.room)?;
    let moved = conditions != set.conditions;
    // What is in a pair is stated as it is there.
    let set = set.restated(&conditions).heard_in(conditions);
    let moves = |way: Way| matches!(way, Way::Sliding | Way::Joined);
    if !set.pours.iter().any(|p| moves(p.way)) && set.pairs.is_empty() {
        return Err(Failure::bad(
            format!("mark the bottles of {}", args.file.display()),
            "it has no sliding bottle and no joined pair",
        )
        .or_try("run ullage pour for sets that are filled; write way = \"sliding\" in a [[pour]], or a [[joined]] table"));
    }
    let report = report(&set, moved)?;
    if args.print.json {
        print_json(&report)?;
    } else {
        print(&text(&report))?;
    }
    let what = format!("mark every note of {}", args.file.display());
    none_stuck(&report.unplaced, what, "another note, or a longer bottle")
}

fn report(set: &Set, moved: bool) -> Result<MarksReport, Failure> {
    let mut report = MarksReport {
        version: JSON_VERSION,
        sliding: Vec::new(),
        joined: Vec::new(),
        unplaced: Vec::new(),
        cautions: Vec::new(),
    };
    for (index, kind) in KindIndex::each(&set.kinds) {
        let notes = marks(set, moved, &mut report.unplaced, |p| {
            p.way == Way::Sliding && p.kind == index
        });
        let Some(notes) = notes else { continue };
        let fail = |error| Failure::cannot(format!("slide the floor of {:?}", kind.name), error);
        let sliding = Sliding::new(&kind.bottle, &set.conditions).map_err(fail)?;
        let (lowest, highest) = sliding.range().map_err(fail)?;
        report.sliding.push(SlideRow {
            bottle: kind.name.clone(),
            stroke_mm: rounded(sliding.stroke().mm(), 2),
            lowest_hz: rounded(lowest.frequency.hz(), 3),
            highest_hz: rounded(highest.frequency.hz(), 3),
            marks: notes,
        });
    }
    for (index, pair) in set.pairs.iter().enumerate() {
        let notes = marks(set, moved, &mut report.unplaced, |p| {
            p.joined.is_some_and(|(own, _)| own == index)
        });
        report.joined.push(pair_row(
            set,
            pair,
            &set.conditions,
            notes.unwrap_or_default(),
        )?);
    }
    if !report.sliding.is_empty() {
        report.cautions.push(SLIDING_CAUTION);
    }
    if !report.joined.is_empty() {
        report.cautions.push(JOINED_CAUTION);
    }
    Ok(report)
}

/// The marks of the pours that are `wanted`, from low to high; none if there are no such pours.
fn marks(
    set: &Set,
    moved: bool,
    stuck: &mut Vec<Stuck>,
    wanted: impl Fn(&crate::set::Pour) -> bool,
) -> Option<Vec<MarkRow>> {
    let pours: Vec<_> = set.pours.iter().filter(|p| wanted(p)).collect();
    if pours.is_empty() {
        return None;
    }
    let mut marks = Vec::new();
    for pour in pours {
        let source = set.source(pour);
        let planned = pour.setting().filter(|_| !moved);
        match source.planned_or_solved(set.target(pour), planned) {
            Ok(sounded) => marks.push(mark(set, pour, &sounded)),
            Err(error) => stuck.push(Stuck::of(set, pour, error)),
        }
    }
    marks.sort_by(|a, b| a.hz.total_cmp(&b.hz));
    Some(marks)
}

fn mark(set: &Set, pour: &crate::set::Pour, sounded: &Sounded) -> MarkRow {
    let other = sounded
        .other
        .zip(pour.joined)
        .map(|(other, (pair, which))| {
            let kind = set.pairs[pair].kinds[1 - which as usize];
            let (name, off) = set.tuning.nearest(other.resonance.frequency);
            OtherNote {
                bottle: set.kinds[kind].name.clone(),
                hz: rounded(other.resonance.frequency.hz(), 3),
                note: name.to_string(),
                cents: rounded(off.cents(), 1),
            }
        });
    MarkRow {
        note: pour.note.to_string(),
        bottle: set.kind_of(pour).name.clone(),
        target_hz: rounded(sounded.target.hz(), 4),
        setting: SettingColumns::of(sounded.setting),
        hz: rounded(sounded.frequency().hz(), 4),
        q: rounded(sounded.quality(), 2),
        error_cents: rounded(sounded.error().cents(), 3),
        plus_minus_cents: rounded(sounded.plus_minus().cents(), 1),
        cents_per_mm: rounded(sounded.per_unit.cents(), 3),
        other,
    }
}

fn pair_row(
    set: &Set,
    pair: &Pair,
    conditions: &Conditions,
    marks: Vec<MarkRow>,
) -> Result<PairRow, Failure> {
    let fail = |error| Failure::cannot(format!("join the pair {:?}", pair.name), error);
    let kinds = pair.kinds.map(|k| &set.kinds[k]);
    let bottles = kinds.map(|k| &k.bottle);
    let joined = Joined::new(bottles, pair.hose, pair.liquid, conditions).map_err(fail)?;
    let (least, most) = joined.lift_range();
    let ends = [
        joined.at(least).map_err(fail)?,
        joined.at(most).map_err(fail)?,
    ];
    Ok(PairRow {
        pair: pair.name.clone(),
        first: kinds[0].name.clone(),
        second: kinds[1].name.clone(),
        liquid_ml: rounded(pair.liquid.ml(), 2),
        least_lift_mm: rounded(least.mm(), 2),
        most_lift_mm: rounded(most.mm(), 2),
        first_hz: ends.map(|both| rounded(both.first.resonance.frequency.hz(), 3)),
        second_hz: ends.map(|both| rounded(both.second.resonance.frequency.hz(), 3)),
        marks,
    })
}

fn text(report: &MarksReport) -> String {
    let mut out = String::new();
    for slide in &report.sliding {
        out += &format!(
            "{}: the floor goes {:.1} mm in, {:.1} to {:.1} Hz\n{}\n",
            slide.bottle,
            slide.stroke_mm,
            slide.lowest_hz,
            slide.highest_hz,
            mark_table(&slide.marks, "in mm")
        );
    }
    for pair in &report.joined {
        out += &format!(
            "{}: {} stays, {} is lifted {:.1} to {:.1} mm; {} {:.1} to {:.1} Hz, {} {:.1} to {:.1} Hz\n{}\n",
            pair.pair,
            pair.first,
            pair.second,
            pair.least_lift_mm,
            pair.most_lift_mm,
            pair.first,
            pair.first_hz[0],
            pair.first_hz[1],
            pair.second,
            pair.second_hz[0],
            pair.second_hz[1],
            mark_table(&pair.marks, "lift mm")
        );
    }
    for caution in &report.cautions {
        out += &format!("- {caution}\n");
    }
    out
}

fn mark_table(marks: &[MarkRow], place: &str) -> String {
    let with_other = marks.iter().any(|m| m.other.is_some());
    let mut header = vec!["note", "bottle", place, "Hz", "cents", "±", "c/mm"];
    if with_other {
        header.push("the other");
    }
    let cells = |m: &MarkRow| {
        let mut line = vec![
            m.note.clone(),
            m.bottle.clone(),
            format!(
                "{:.1}",
                m.setting
                    .travel_mm
                    .or(m.setting.lift_mm)
                    .unwrap_or_default()
            ),
            format!("{:.2}", m.hz),
            signed(m.error_cents, 2),
            format!("{:.0}", m.plus_minus_cents),
            format!("{:.1}", m.cents_per_mm),
        ];
        if with_other {
            let other = m.other.as_ref();
            line.push(other.map_or_else(String::new, |o| {
                format!(
                    "{} {:.1} Hz, {} {}",
                    o.bottle,
                    o.hz,
                    o.note,
                    signed(o.cents, 0)
                )
            }));
        }
        line
    };
    if marks.is_empty() {
        return "no note of the set is on it\n".to_owned();
    }
    table(&header, marks.iter().map(cells).collect(), &[0, 1, 7])
}
