//! Two plots for the sheet: pitch against filling for each kind of bottle, and the set on an axis of pitch.
//!
//! ```
//! use ullage::report::{plots::overview, sheet::Sheet};
//! let set = ullage::set::open("presets/quay/set.toml")?;
//! let svg = overview(&Sheet::new(&set));
//! // The dots where the bottles will sound, from low to high: G2 D3 G3 A3 B3 C4 D4 E4 F#4 G4 A4 B4 C5 D5 E5.
//! let x_mm: Vec<f64> = svg
//!     .split(r#"<circle class="poured" cx=""#)
//!     .skip(1)
//!     .filter_map(|dot| dot.split('"').next()?.parse().ok())
//!     .collect();
//! assert_eq!(x_mm.len(), set.pours.len());
//! // As on a keyboard, every octave is as long as every other: G2 to G3, D3 to D4, G3 to G4, C4 to C5.
//! let octaves_mm = [(0, 2), (1, 6), (2, 9), (5, 12)].map(|(low, high)| x_mm[high] - x_mm[low]);
//! // A cent is 0.04 mm, and the fills in the file are good to 0.1 cents.
//! assert!(octaves_mm.iter().all(|mm| (mm - octaves_mm[0]).abs() < 0.01), "{octaves_mm:?}");
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use rayon::prelude::*;

use super::sheet::{Sheet, SheetRow};
use super::svg::Svg;
use crate::physics::bottle::Bottle;
use crate::physics::conditions::Conditions;
use crate::physics::prediction::Blown;
use crate::physics::pressure::PLAN_BAR;
use crate::physics::sliding::Sliding;
use crate::set::{Set, Way};
use crate::sounding::{Setting, SoundedError, Source};
use crate::tuning::NoteName;
use crate::units::{CENTS_PER_OCTAVE, Frequency, Interval, Length, Pressure};

/// Size of a fill curve on paper, mm.
pub(super) const CURVE_MM: (f64, f64) = (90.0, 52.0);
/// Room left of and under its axes, mm.
const AXES_MM: (f64, f64) = (15.0, 12.0);
/// Points of a fill curve: straight lines between them stay within a pen's width of it.
const POINTS: usize = 48;
/// The same where each point takes milliseconds.
const FEWER_POINTS: u32 = 24;
/// Where a curve over pressure begins, bar.
const LEAST_BAR: f64 = 0.1;
/// Width of the overview, mm.
const OVERVIEW_MM: f64 = 184.0;
/// Height of one bottle in it, mm.
const LANE_MM: f64 = 7.5;
/// Keys of the white notes in an octave.
const NATURALS: [u8; 7] = [0, 2, 4, 5, 7, 9, 11];

/// A curve of pitch against what tunes a kind of bottle.
#[derive(Clone, Debug)]
pub struct Reach {
    /// The picture.
    pub svg: String,
    /// Its ends in words.
    pub words: String,
}

/// Pitch against filling, pressure or travel of the bottle of `rows`, their notes marked on it; the rows are of one kind
/// and one way. None for joined pairs, whose two bottles move at once.
///
/// # Errors
/// Conditions out of range, or a bottle that does not sound when empty.
pub fn reach(rows: &[&SheetRow<'_>], set: &Set) -> Result<Option<Reach>, SoundedError> {
    let Some(first) = rows.first() else {
        return Ok(None);
    };
    let source = set.source_under(first.pour, &set.conditions);
    let bottle = &first.kind.bottle;
    let (points, unit): (Vec<(f64, f64)>, &str) = match first.pour.way {
        Way::Blown => (blown_points(bottle, &set.conditions)?, "ml"),
        Way::Struck => {
            let full = bottle.bore().capacity();
            (
                points_of(&source, |share| Setting::Fill(full * share))?,
                "ml",
            )
        }
        Way::Pressurised => {
            let span = PLAN_BAR - LEAST_BAR;
            let at = |share: f64| Setting::Gauge(Pressure::from_bar(LEAST_BAR + span * share));
            (points_of(&source, at)?, "bar")
        }
        Way::Sliding => {
            let stroke = Sliding::new(bottle, &set.conditions)?.stroke();
            let at = |share: f64| Setting::Travel(Length::from_m(stroke.m() * share));
            (points_of(&source, at)?, "mm")
        }
        Way::Joined => return Ok(None),
    };
    let ((least, low_hz), (most, high_hz)) = (points[0], points[points.len() - 1]);
    let least = match unit {
        "ml" => "empty".to_owned(),
        _ => format!("at {least:.1} {unit}"),
    };
    let most = match unit {
        "ml" => format!("with {most:.0} ml"),
        "bar" => format!("at {most:.1} bar"),
        _ => format!("at {most:.0} mm"),
    };
    Ok(Some(Reach {
        svg: drawn(&points, rows, unit),
        words: format!("{low_hz:.0} Hz {least}, {high_hz:.0} Hz {most}"),
    }))
}

/// Fill in ml against pitch in Hz up to the fullest bottle that sounds.
fn blown_points(bottle: &Bottle, conditions: &Conditions) -> Result<Vec<(f64, f64)>, SoundedError> {
    let blown = Blown::new(bottle, conditions)?;
    let (full, _) = blown.fullest()?;
    let mut points = Vec::with_capacity(POINTS + 1);
    for index in 0..=POINTS {
        // Closer together where the bottle is nearly full and the pitch runs away.
        let share = 1.0 - (1.0 - index as f64 / POINTS as f64).powi(2);
        let fill = full * share;
        points.push((fill.ml(), blown.fundamental(fill)?.frequency.hz()));
    }
    Ok(points)
}

fn points_of(
    source: &Source<'_>,
    at: impl Fn(f64) -> Setting + Sync,
) -> Result<Vec<(f64, f64)>, SoundedError> {
    // Walls take milliseconds each.
    (0..=FEWER_POINTS)
        .into_par_iter()
        .map(|index| {
            let setting = at(f64::from(index) / f64::from(FEWER_POINTS));
            Ok((setting.value(), source.at(setting)?.frequency.hz()))
        })
        .collect()
}

fn drawn(points: &[(f64, f64)], rows: &[&SheetRow<'_>], unit: &str) -> String {
    let lowest_hz = points.iter().map(|p| p.1).fold(f64::INFINITY, f64::min);
    let highest_hz = points.iter().map(|p| p.1).fold(0.0, f64::max);
    let most = points[points.len() - 1].0.max(1e-6);
    let span = highest_hz.max(lowest_hz * 1.06) / lowest_hz;
    let at = |point| on_paper(point, (most, lowest_hz, lowest_hz * span));
    let (along, label) = match unit {
        "bar" => (
            "bar above the air outside",
            "pitch against pressure, notes marked",
        ),
        "mm" => (
            "mm that the floor is pushed in",
            "pitch against travel, notes marked",
        ),
        _ => (
            "ml in the bottle",
            "pitch against filling, poured notes marked",
        ),
    };
    let mut svg = Svg::new(CURVE_MM.0, CURVE_MM.1, label);
    draw_axes(&mut svg, (most, lowest_hz, lowest_hz * span), along, at);
    let line: Vec<_> = points.iter().map(|&p| at(p)).collect();
    svg.polyline("curve", &line);
    for (index, row) in rows.iter().enumerate() {
        let sounded = &row.sounded;
        let (x, y) = at((sounded.setting.value(), sounded.frequency().hz()));
        svg.dot("poured", (x, y), 1.3);
        // Left above and right below in turn, so that neighbours keep apart on the rising curve; the other way round
        // on a falling one.
        let left = (index % 2 == 0 && x > AXES_MM.0 + 9.0) || x > CURVE_MM.0 - 20.0;
        let falls = sounded.per_unit.cents() < 0.0;
        let (class, at) = match (left, falls) {
            (true, false) => ("plot-note end", (x - 1.6, y - 1.0)),
            (false, false) => ("plot-note", (x + 1.8, y + 3.4)),
            (true, true) => ("plot-note end", (x - 1.6, y + 3.4)),
            (false, true) => ("plot-note", (x + 1.8, y - 1.0)),
        };
        svg.text(class, at, &row.said);
    }
    svg.finish()
}

/// Where a value and a pitch lie, mm, on axes up to `most` along and from `low_hz` to `high_hz` up.
pub(super) fn on_paper(
    (value, hz): (f64, f64),
    (most, low_hz, high_hz): (f64, f64, f64),
) -> (f64, f64) {
    (
        AXES_MM.0 + (CURVE_MM.0 - AXES_MM.0 - 3.0) * value / most,
        (CURVE_MM.1 - AXES_MM.1)
            - (CURVE_MM.1 - AXES_MM.1 - 4.0) * (hz / low_hz).ln() / (high_hz / low_hz).ln(),
    )
}

/// Axes with round numbers: what tunes it along, hertz up.
pub(super) fn draw_axes(
    svg: &mut Svg,
    range: (f64, f64, f64),
    along: &str,
    at: impl Fn((f64, f64)) -> (f64, f64),
) {
    let (most_ml, low_hz, high_hz) = range;
    let (left_mm, bottom_mm) = (AXES_MM.0, CURVE_MM.1 - AXES_MM.1);
    let step_ml = round_step(most_ml / 5.0);
    let mut ml = 0.0;
    while ml <= most_ml {
        let (x, _) = at((ml, low_hz));
        svg.line("grid", (x, 4.0), (x, bottom_mm));
        svg.text(
            "plot-number middle",
            (x, bottom_mm + 4.0),
            &if step_ml < 1.0 {
                format!("{ml:.1}")
            } else {
                format!("{ml:.0}")
            },
        );
        ml += step_ml;
    }
    let mut last_mm = f64::INFINITY;
    for hz in round_pitches().filter(|hz| (low_hz..=high_hz).contains(hz)) {
        let (x, y) = at((most_ml, hz));
        if last_mm - y > 5.0 {
            svg.line("grid", (left_mm, y), (x, y));
            svg.text(
                "plot-number end",
                (left_mm - 1.0, y + 1.2),
                &format!("{hz:.0}"),
            );
            last_mm = y;
        }
    }
    svg.line("axis", (left_mm, bottom_mm), (CURVE_MM.0 - 3.0, bottom_mm));
    svg.line("axis", (left_mm, bottom_mm), (left_mm, 4.0));
    svg.text(
        "plot-number end",
        (CURVE_MM.0 - 3.0, CURVE_MM.1 - 2.0),
        along,
    );
    svg.text_upwards("plot-number", (4.0, bottom_mm), "pitch, Hz");
}

/// Round numbers for an axis of pitch, Hz, rising by about a third at each.
fn round_pitches() -> impl Iterator<Item = f64> {
    let decades = [10.0, 100.0, 1000.0, 10_000.0];
    decades
        .into_iter()
        .flat_map(|ten| [1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 7.0].map(|n| n * ten))
}

/// The smallest of 1, 2, 5, 10, 20 … that is not below `least`.
pub(super) fn round_step(least: f64) -> f64 {
    let ten = 10f64.powf(least.max(1e-9).log10().floor());
    [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|step| step * ten)
        .find(|&step| step >= least * (1.0 - 1e-9))
        .unwrap_or(10.0 * ten)
}

/// The whole set on one axis of pitch: a line where each bottle aims, a dot where it will be, and a bar
/// for how sure that is.
#[must_use]
pub fn overview(sheet: &Sheet<'_>) -> String {
    let mut rows: Vec<&SheetRow<'_>> = sheet.rows.iter().collect();
    rows.sort_by(|a, b| a.sounded.target.hz().total_cmp(&b.sounded.target.hz()));
    let edge = |up: f64| {
        move |row: &&SheetRow<'_>| {
            let width = row.sounded.plus_minus().cents();
            let pitch = row.sounded.frequency();
            let edge = pitch.raised_by(Interval::from_cents(up * width)).hz();
            if up < 0.0 {
                edge.min(row.sounded.target.hz())
            } else {
                edge.max(row.sounded.target.hz())
            }
        }
    };
    let semitone = Interval::from_semitones(1.0);
    let low = rows.iter().map(edge(-1.0)).fold(f64::INFINITY, f64::min);
    let high = rows.iter().map(edge(1.0)).fold(0.0, f64::max);
    let (low, high) = (
        Frequency::from_hz(low / semitone.ratio()),
        Frequency::from_hz(high * semitone.ratio()),
    );
    // A note with cents in its name is longer.
    let long = rows.iter().any(|r| r.said.chars().count() > 4);
    let (left_mm, right_mm) = (if long { 28.0 } else { 14.0 }, OVERVIEW_MM - 22.0);
    let span = high.interval_above(low).cents();
    let x = |f: Frequency| left_mm + (right_mm - left_mm) * f.interval_above(low).cents() / span;
    let bottom_mm = 3.0 + LANE_MM * rows.len() as f64;
    let mut svg = Svg::new(OVERVIEW_MM, bottom_mm + 9.0, "the set on an axis of pitch");
    draw_naturals(&mut svg, sheet, (low, high), bottom_mm, x);
    for (lane, row) in rows.iter().enumerate() {
        let y = 3.0 + LANE_MM * (lane as f64 + 0.5);
        let (pitch, width) = (row.sounded.frequency(), row.sounded.plus_minus().cents());
        let end = |side: f64| x(pitch.raised_by(Interval::from_cents(side * width)));
        svg.text("plot-note end", (left_mm - 2.0, y + 1.4), &row.said);
        svg.line("doubt", (end(-1.0), y), (end(1.0), y));
        svg.line("doubt-end", (end(-1.0), y - 1.6), (end(-1.0), y + 1.6));
        svg.line("doubt-end", (end(1.0), y - 1.6), (end(1.0), y + 1.6));
        let target = x(row.sounded.target);
        svg.line("target", (target, y - 2.8), (target, y + 2.8));
        svg.dot("poured", (x(pitch), y), 1.0);
        svg.text(
            "plot-number",
            (right_mm + 2.0, y + 1.2),
            &format!("± {width:.0} cents"),
        );
    }
    svg.finish()
}

/// A line for each white note, those of C named.
fn draw_naturals(
    svg: &mut Svg,
    sheet: &Sheet<'_>,
    (low, high): (Frequency, Frequency),
    bottom_mm: f64,
    x: impl Fn(Frequency) -> f64,
) {
    let inside = |f: Frequency| low.hz() <= f.hz() && f.hz() <= high.hz();
    let wide = high.interval_above(low).cents() > 2.2 * CENTS_PER_OCTAVE;
    for key in (0..128).filter(|key| NATURALS.contains(&(key % 12))) {
        let note = NoteName::from_midi(key);
        let pitch = sheet.set.tuning.frequency(&note);
        if !inside(pitch) {
            continue;
        }
        let is_c = key % 12 == 0;
        let at_mm = x(pitch);
        svg.line(
            if is_c { "grid c" } else { "grid" },
            (at_mm, 2.0),
            (at_mm, bottom_mm),
        );
        let named = is_c || !wide || matches!(key % 12, 4 | 7 | 9);
        if named {
            svg.text(
                "plot-number middle",
                (at_mm, bottom_mm + 4.5),
                &sheet.speller.note(&note),
            );
        }
    }
}
