//! What was heard, as a table and as JSON.

use serde::Serialize;

use super::super::rows::{set_to, settings};
use super::args::Audition;
use super::{PLAYED_NECK, WARMER_K, WorkedOut};
use crate::cli::Failure;
use crate::cli::compare;
use crate::cli::print::{JSON_VERSION, print, print_json, table};
use crate::file::master::Mastered;
use crate::number::{rounded, signed};
use crate::plan::piece::Missing;
use crate::plan::programme::{Breath, Part, Programme};
use crate::plan::together::{Chord, Drift, Pair};
use crate::report::words::hazards;
use crate::set::Way;
use crate::stage::Performance;
use crate::tuning::Speller;

/// Pairs listed in the table: the roughest. JSON has them all.
const PAIRS_SHOWN: usize = 8;
/// Chords listed in the table.
const CHORDS_SHOWN: usize = 8;
/// Notes of a piece listed in the table.
const NOTES_SHOWN: usize = 16;

#[derive(Serialize)]
pub(super) struct AuditionReport<'a> {
    version: u32,
    wav: String,
    rate_hz: u32,
    frames: u64,
    mastered: &'a Mastered,
    notes: Vec<AuditionRow>,
    together: &'a [Pair],
    /// The pairs of one key: those that are played together.
    unisons: Vec<&'a Pair>,
    chords: &'a [Chord],
    worst_tuned_pair: Option<&'a Pair>,
    drift: Drifts<'a>,
    parts: Vec<RowPart<'a>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    missing: Option<&'a [Missing]>,
    /// Notes that sound as plain tones.
    #[serde(skip_serializing_if = "Option::is_none")]
    others: Option<usize>,
}

#[derive(Serialize)]
struct Drifts<'a> {
    room_5_c_warmer: Option<&'a Drift>,
    breath_in_the_necks: Option<&'a Drift>,
}

#[derive(Serialize)]
struct RowPart<'a> {
    title: &'a str,
    start_s: f64,
    end_s: f64,
}

#[derive(Serialize)]
struct AuditionRow {
    note: String,
    bottle: String,
    way: &'static str,
    target_hz: f64,
    hz: f64,
    q: f64,
    fill_ml: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    gauge_bar: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    travel_mm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    lift_mm: Option<f64>,
    error_cents: f64,
    plus_minus_cents: f64,
    start_s: f64,
    stop_s: f64,
    end_s: f64,
}

fn rows(heard: &WorkedOut) -> Vec<AuditionRow> {
    let row = |breath: &Breath| {
        let (pour, sounded) = (
            &heard.stage.set().pours[breath.pour],
            &heard.stage.sounded()[breath.pour],
        );
        let [gauge_bar, travel_mm, lift_mm] = settings(sounded.setting);
        AuditionRow {
            note: pour.note.to_string(),
            bottle: heard.stage.set().kind_of(pour).name.clone(),
            way: sounded.way.name(),
            target_hz: rounded(sounded.target.hz(), 4),
            hz: rounded(sounded.frequency().hz(), 4),
            q: rounded(sounded.quality(), 3),
            fill_ml: rounded(sounded.fill.ml(), 2),
            gauge_bar,
            travel_mm,
            lift_mm,
            error_cents: rounded(sounded.error().cents(), 2),
            plus_minus_cents: rounded(sounded.plus_minus().cents(), 1),
            start_s: rounded(breath.start_s, 6),
            stop_s: rounded(breath.stop_s, 6),
            end_s: rounded(breath.end_s, 6),
        }
    };
    heard
        .performance
        .programme
        .parts
        .first()
        .map_or_else(Vec::new, |turns| turns.breaths.iter().map(row).collect())
}

pub(super) fn json<'a>(
    heard: &'a WorkedOut,
    args: &Audition,
    mastered: &'a Mastered,
) -> AuditionReport<'a> {
    AuditionReport {
        version: JSON_VERSION,
        wav: args.out.display().to_string(),
        rate_hz: args.rate_hz,
        frames: mastered.frames,
        mastered,
        notes: rows(heard),
        together: &heard.harmony.together.pairs,
        unisons: heard.harmony.unisons().collect(),
        chords: &heard.harmony.together.chords,
        worst_tuned_pair: heard.harmony.worst.as_ref().map(|w| &w.pair),
        drift: Drifts {
            room_5_c_warmer: heard.drifts[0].as_ref(),
            breath_in_the_necks: heard.drifts[1].as_ref(),
        },
        parts: row_parts(&heard.performance.programme),
        missing: (args.piece.piece.is_some()).then_some(&heard.performance.missing[..]),
        others: args.piece.others.then_some(heard.performance.others.len()),
    }
}

/// The parts of a programme.
fn row_parts(programme: &Programme) -> Vec<RowPart<'_>> {
    fn part(part: &Part) -> RowPart<'_> {
        RowPart {
            title: part.title.as_str(),
            start_s: rounded(part.start_s, 3),
            end_s: rounded(part.end_s, 3),
        }
    }
    programme.parts.iter().map(part).collect()
}

pub(super) fn text(heard: &WorkedOut, args: &Audition, mastered: &Mastered) -> String {
    let mut out = format!("{}\n\n", heard.stage.set().title);
    out += &notes(heard, args);
    if !heard.harmony.together.pairs.is_empty() {
        out += "\nTogether, the roughest pairs first (cents off equal and just, beats of the nearest partials):\n";
        out += &pairs(heard, args);
    }
    out += &unisons(heard);
    if !heard.harmony.together.chords.is_empty() {
        out += "\nChords in the set, the smoothest first (cents above the root, off equal and just):\n";
        out += &chords(heard, args);
    }
    out += &drifts(heard);
    out += &cautions(heard);
    out + &in_the_file(&heard.performance.programme, args, mastered)
}

/// What to beware of, each once.
fn cautions(heard: &WorkedOut) -> String {
    let mut told: Vec<&str> = hazards(&heard.stage.set().conditions);
    for caution in heard.stage.sounded().iter().flat_map(|s| s.cautions()) {
        if !told.contains(&caution) {
            told.push(caution);
        }
    }
    let lines: String = told
        .iter()
        .map(|caution| format!("- {caution}\n"))
        .collect();
    if lines.is_empty() {
        lines
    } else {
        format!("\nBeware\n{lines}")
    }
}

/// What stands where in the file, and how loud it is.
fn in_the_file(programme: &Programme, args: &Audition, mastered: &Mastered) -> String {
    let mut out = "\nIn the file:\n".to_owned();
    for part in &programme.parts {
        out += &format!("  {:6.1} s  {}\n", part.start_s, part.title);
    }
    out += &format!(
        "\n{}: {:.1} s at {} Hz",
        args.out.display(),
        mastered.frames as f64 / f64::from(args.rate_hz),
        args.rate_hz
    );
    if let (Some(lufs), Some(peak)) = (mastered.lufs_after, mastered.true_peak_db) {
        out += &format!(", {lufs:.1} LUFS, true peak {peak:.1} dBFS");
    }
    if mastered.held_by_peak {
        out += " (held below the loudness asked for by the ceiling of -1 dBFS)";
    }
    out + "\nStart with headphones turned down.\n"
}

fn notes(heard: &WorkedOut, args: &Audition) -> String {
    let speller = args.names.speller(heard.key);
    let rows = rows(heard);
    // Ways and settings have columns where not all are blown.
    let mixed = rows.iter().any(|r| r.way != Way::Blown.name());
    let mut header = vec!["note", "bottle"];
    if mixed {
        header.extend(["way", "set to"]);
    }
    header.extend([
        "fill ml",
        "target Hz",
        "Hz",
        "cents",
        "±",
        "Q",
        "from s",
        if mixed { "ends" } else { "breath ends" },
        "rung down",
    ]);
    let shown = if args.all || args.piece.piece.is_none() {
        rows.len()
    } else {
        NOTES_SHOWN.min(rows.len())
    };
    let left_off = rows.len() - shown;
    let cells = rows.into_iter().take(shown).map(|r| {
        let set_to = set_to([r.gauge_bar, r.travel_mm, r.lift_mm]);
        let mut line = vec![speller.text(&r.note), r.bottle];
        if mixed {
            line.extend([r.way.to_owned(), set_to]);
        }
        line.extend([
            format!("{:.1}", r.fill_ml),
            format!("{:.2}", r.target_hz),
            format!("{:.2}", r.hz),
            signed(r.error_cents, 1),
            format!("{:.0}", r.plus_minus_cents),
            format!("{:.1}", r.q),
            format!("{:.2}", r.start_s),
            format!("{:.2}", r.stop_s),
            format!("{:.2}", r.end_s),
        ]);
        line
    });
    let left: &[usize] = if mixed { &[0, 1, 2, 3] } else { &[0, 1] };
    let mut out = table(&header, cells.collect(), left);
    if left_off > 0 {
        out += &format!("and {left_off} notes more (--all)\n");
    }
    out
}

fn pairs(heard: &WorkedOut, args: &Audition) -> String {
    let (all, speller) = (args.all, args.names.speller(heard.key));
    let mut pairs: Vec<&Pair> = heard.harmony.together.pairs.iter().collect();
    pairs.sort_by(|a, b| b.roughness.total_cmp(&a.roughness));
    let header = [
        "pair",
        "cents",
        "equal",
        "just",
        "",
        "beats/s",
        "partials",
        "roughness",
    ];
    let cells = pairs
        .iter()
        .take(if all { usize::MAX } else { PAIRS_SHOWN })
        .map(|p| {
            let (beats, partials) = p.beats.as_ref().map_or_else(
                || ("-".to_owned(), "-".to_owned()),
                |b| {
                    (
                        beats_text(b.beats_per_s, b.least_per_s, b.most_per_s),
                        format!("{}:{}", b.lower_partial, b.upper_partial),
                    )
                },
            );
            vec![
                format!("{} {}", speller.note(&p.a_note), speller.note(&p.b_note)),
                format!("{:.1}", p.interval.interval_cents),
                signed(p.interval.off_equal_cents, 1),
                p.interval.just.to_string(),
                signed(p.interval.off_just_cents, 1),
                beats,
                partials,
                format!("{:.3}", p.roughness),
            ]
        });
    let mut out = table(&header, cells.collect(), &[0]);
    if let Some(worst) = &heard.harmony.worst {
        out += &format!("{}\n", speller.text(&worst.title));
    }
    out
}

/// The pairs of one key; nothing if there are none.
fn unisons(heard: &WorkedOut) -> String {
    let cells = heard.harmony.unisons().map(|p| {
        let beats = p.beats.as_ref();
        let beats = beats.map(|b| beats_text(b.beats_per_s, b.least_per_s, b.most_per_s));
        vec![
            p.a.clone(),
            p.b.clone(),
            signed(p.interval.interval_cents, 2),
            beats.unwrap_or_else(|| "-".to_owned()),
        ]
    });
    let cells: Vec<_> = cells.collect();
    if cells.is_empty() {
        return String::new();
    }
    let header = ["bottle", "and", "cents apart", "beats/s"];
    "\nUnisons, which are heard together:\n".to_owned() + &table(&header, cells, &[0, 1])
}

/// Beats in a second: from the slowest to the fastest of two breaths that wander, or as they are of two walls, which do not.
fn beats_text(beats_per_s: f64, least_per_s: f64, most_per_s: f64) -> String {
    if most_per_s > least_per_s {
        format!("{least_per_s:.1} to {most_per_s:.1}")
    } else {
        format!("{beats_per_s:.2}")
    }
}

fn chords(heard: &WorkedOut, args: &Audition) -> String {
    let (all, speller) = (args.all, args.names.speller(heard.key));
    // A chord that is there in several octaves is listed once a placing; the smoothest come first.
    let shown =
        heard
            .harmony
            .together
            .chords
            .iter()
            .take(if all { usize::MAX } else { CHORDS_SHOWN });
    let header = [
        "chord",
        "notes",
        "off equal",
        "off just",
        "roughness",
        "beats/s of its worst pair",
    ];
    let off = |values: Vec<f64>| {
        values
            .iter()
            .map(|&v| signed(v, 1))
            .collect::<Vec<_>>()
            .join(" ")
    };
    let cells = shown.map(|c| {
        let notes: Vec<String> = c.notes.iter().map(|note| speller.note(note)).collect();
        let range = c.worst_beats_least_per_s.zip(c.worst_beats_most_per_s);
        let beats = c.worst_beats_per_s.zip(range).map_or_else(
            || "-".to_owned(),
            |(at, (least, most))| beats_text(at, least, most),
        );
        vec![
            root_said(&c.name, &speller),
            notes.join(" "),
            off(c.above_root.iter().map(|m| m.off_equal_cents).collect()),
            off(c.above_root.iter().map(|m| m.off_just_cents).collect()),
            format!("{:.3}", c.roughness),
            beats,
        ]
    });
    table(&header, cells.collect(), &[0, 1])
}

/// The name of a chord, its root called as the notes are.
fn root_said(name: &str, speller: &Speller) -> String {
    match name
        .split_once(' ')
        .map(|(root, kind)| (root.parse(), kind))
    {
        Some((Ok(root), kind)) => format!("{} {kind}", speller.class(root)),
        _ => name.to_owned(),
    }
}

fn drifts(heard: &WorkedOut) -> String {
    let mut out = String::new();
    let tell = |what: String, drift: &Option<Drift>| {
        drift.as_ref().map_or_else(String::new, |d| {
            format!(
                "{what}: {:+.1} cents together, {:.1} cents apart\n",
                d.common_cents, d.spread_cents
            )
        })
    };
    out += "\nDrift with the fills as they are\n";
    out += &tell(
        format!("  if the room warms by {WARMER_K:.0} °C"),
        &heard.drifts[0],
    );
    out += &tell(
        format!(
            "  if {:.0} % of the gas in the necks is warm breath",
            100.0 * PLAYED_NECK
        ),
        &heard.drifts[1],
    );
    out
}

#[derive(Serialize)]
struct TwoReport<'a> {
    #[serde(flatten)]
    compared: &'a compare::CompareReport,
    wav: String,
    rate_hz: u32,
    frames: u64,
    mastered: &'a Mastered,
    parts: Vec<RowPart<'a>>,
}

/// Prints two conditions and what of them is in the file.
pub(super) fn two(
    compared: &compare::CompareReport,
    performance: &Performance,
    args: &Audition,
    mastered: &Mastered,
) -> Result<(), Failure> {
    let programme = &performance.programme;
    if args.json {
        return print_json(&TwoReport {
            compared,
            wav: args.out.display().to_string(),
            rate_hz: args.rate_hz,
            frames: mastered.frames,
            mastered,
            parts: row_parts(programme),
        });
    }
    print(&(compare::text(compared) + &in_the_file(programme, args, mastered)))
}
