//! Two plots for the sheet: pitch against filling for each kind of bottle, and the set on an axis of pitch.

use super::sheet::{Row, Sheet};
use super::svg::Svg;
use crate::physics::conditions::Conditions;
use crate::physics::prediction::{Blown, PredictionError};
use crate::preset::Kind;
use crate::tuning::NoteName;
use crate::units::{CENTS_PER_OCTAVE, Frequency, Interval, Volume};

/// Size of a fill curve on paper, mm.
const CURVE_MM: (f64, f64) = (90.0, 52.0);
/// Room left of and under its axes, mm.
const AXES_MM: (f64, f64) = (15.0, 12.0);
/// Points of a fill curve: straight lines between them stay within a pen's width of it.
const POINTS: usize = 48;
/// Width of the overview, mm.
const OVERVIEW_MM: f64 = 184.0;
/// Height of one bottle in it, mm.
const LANE_MM: f64 = 7.5;
/// Keys of the white notes in an octave.
const NATURALS: [u8; 7] = [0, 2, 4, 5, 7, 9, 11];

/// Pitch against filling of `kind`, the notes of `rows` marked on it.
///
/// # Errors
/// Conditions out of range, or a bottle that does not sound when empty.
pub fn fill_curve(
    kind: &Kind,
    rows: &[&Row<'_>],
    conditions: &Conditions,
) -> Result<String, PredictionError> {
    let blown = Blown::new(&kind.bottle, conditions)?;
    let (full, highest) = blown.fullest()?;
    let mut points = Vec::with_capacity(POINTS + 1);
    for index in 0..=POINTS {
        // Closer together where the bottle is nearly full and the pitch runs away.
        let share = 1.0 - (1.0 - index as f64 / POINTS as f64).powi(2);
        let fill = full * share;
        points.push((fill.ml(), blown.fundamental(fill)?.frequency.hz()));
    }
    let lowest_hz = points.iter().map(|p| p.1).fold(f64::INFINITY, f64::min);
    let most_ml = full.ml().max(1e-6);
    let span = highest.frequency.hz().max(lowest_hz * 1.06) / lowest_hz;
    let at = |(ml, hz): (f64, f64)| {
        (
            AXES_MM.0 + (CURVE_MM.0 - AXES_MM.0 - 3.0) * ml / most_ml,
            (CURVE_MM.1 - AXES_MM.1)
                - (CURVE_MM.1 - AXES_MM.1 - 4.0) * (hz / lowest_hz).ln() / span.ln(),
        )
    };
    let mut svg = Svg::new(
        CURVE_MM.0,
        CURVE_MM.1,
        "pitch against filling, poured notes marked",
    );
    draw_axes(&mut svg, (most_ml, lowest_hz, lowest_hz * span), at);
    let line: Vec<_> = points.iter().map(|&p| at(p)).collect();
    svg.polyline("curve", &line);
    for (index, row) in rows.iter().enumerate() {
        let p = &row.poured.prediction;
        let (x, y) = at((p.fill.ml(), p.note().frequency.hz()));
        svg.dot("poured", (x, y), 1.3);
        // Left above and right below in turn, so that neighbours keep apart on the rising curve.
        let left = (index % 2 == 0 && x > AXES_MM.0 + 9.0) || x > CURVE_MM.0 - 20.0;
        let (class, at) = if left {
            ("plot-note end", (x - 1.6, y - 1.0))
        } else {
            ("plot-note", (x + 1.8, y + 3.4))
        };
        svg.text(class, at, &row.note.to_string());
    }
    Ok(svg.finish())
}

/// Axes with round numbers: millilitres along, hertz up.
fn draw_axes(svg: &mut Svg, range: (f64, f64, f64), at: impl Fn((f64, f64)) -> (f64, f64)) {
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
            &format!("{ml:.0}"),
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
        "ml in the bottle",
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
    let mut rows: Vec<&Row<'_>> = sheet.rows.iter().collect();
    rows.sort_by(|a, b| a.poured.target.hz().total_cmp(&b.poured.target.hz()));
    let edge = |up: f64| {
        move |row: &&Row<'_>| {
            let width = row.poured.prediction.uncertainty.plus_minus.cents();
            let pitch = row.poured.prediction.note().frequency;
            let edge = pitch.raised_by(Interval::from_cents(up * width)).hz();
            if up < 0.0 {
                edge.min(row.poured.target.hz())
            } else {
                edge.max(row.poured.target.hz())
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
    let long = rows.iter().any(|r| r.note.to_string().chars().count() > 4);
    let (left_mm, right_mm) = (if long { 28.0 } else { 14.0 }, OVERVIEW_MM - 22.0);
    let span = high.interval_above(low).cents();
    let x = |f: Frequency| left_mm + (right_mm - left_mm) * f.interval_above(low).cents() / span;
    let bottom_mm = 3.0 + LANE_MM * rows.len() as f64;
    let mut svg = Svg::new(OVERVIEW_MM, bottom_mm + 9.0, "the set on an axis of pitch");
    draw_naturals(&mut svg, sheet, (low, high), bottom_mm, x);
    for (lane, row) in rows.iter().enumerate() {
        let y = 3.0 + LANE_MM * (lane as f64 + 0.5);
        let p = &row.poured.prediction;
        let (pitch, width) = (p.note().frequency, p.uncertainty.plus_minus.cents());
        let end = |side: f64| x(pitch.raised_by(Interval::from_cents(side * width)));
        svg.text(
            "plot-note end",
            (left_mm - 2.0, y + 1.4),
            &row.note.to_string(),
        );
        svg.line("doubt", (end(-1.0), y), (end(1.0), y));
        svg.line("doubt-end", (end(-1.0), y - 1.6), (end(-1.0), y + 1.6));
        svg.line("doubt-end", (end(1.0), y - 1.6), (end(1.0), y + 1.6));
        let target = x(row.poured.target);
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
                &note.to_string(),
            );
        }
    }
}

/// Volume and pitch at the ends of a kind's fill curve.
///
/// # Errors
/// As [`fill_curve`].
pub fn reach(
    kind: &Kind,
    conditions: &Conditions,
) -> Result<(Frequency, Volume, Frequency), PredictionError> {
    let blown = Blown::new(&kind.bottle, conditions)?;
    let lowest = blown.fundamental(Volume::default())?.frequency;
    let (full, highest) = blown.fullest()?;
    Ok((lowest, full, highest.frequency))
}
