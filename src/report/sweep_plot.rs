//! A plot of pitch while one quantity is stepped through: a picture that stands alone.
//!
//! One bottle is drawn on an axis of pitch with the notes beside it; several are drawn in cents from where each
//! begins, since that is what tells whether they stay in tune with one another.
//!
//! ```
//! use ullage::report::sweep_plot::{Curve, sweep_plot};
//! use ullage::set::change::changed;
//! let set = ullage::set::open("presets/quay/set.toml")?;
//! let mut curves: Vec<Curve> = set.pours[..2]
//!     .iter()
//!     .map(|pour| Curve { name: pour.note.to_string(), points: Vec::new() })
//!     .collect();
//! for celsius in [9, 19, 29] {
//!     let room = changed(&set.conditions, &[format!("temp-c={celsius}").parse()?])?;
//!     for (curve, sounded) in curves.iter_mut().zip(set.clone().heard_in(room).sounded()?) {
//!         curve.points.push((f64::from(celsius), sounded.frequency()));
//!     }
//! }
//! let rise_cents = |curve: &Curve| curve.points[2].1.interval_above(curve.points[0].1).cents();
//! // The speed of sound grows as the root of the warmth: 600 log₂(302.15 / 282.15) cents, 59. The damp that warm air holds
//! // adds up to 7 and the swelling of the water up to 3.
//! assert!(curves.iter().all(|curve| (59.0..69.0).contains(&rise_cents(curve))));
//! // So the bottles stay in tune with each other, and their curves lie side by side.
//! assert!((rise_cents(&curves[0]) - rise_cents(&curves[1])).abs() < 3.0);
//! assert_eq!(sweep_plot("temperature, °C", &curves).matches("<polyline").count(), 2);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use super::plots::round_step;
use super::svg::{Svg, shortened};
use crate::tuning::{NoteName, Tuning};
use crate::units::{Frequency, Interval};

/// Size of the picture, mm.
const SIZE_MM: (f64, f64) = (180.0, 110.0);
/// Room at the left, right, top and bottom of the axes, mm.
const LEFT_MM: f64 = 19.0;
const RIGHT_MM: f64 = 36.0;
const TOP_MM: f64 = 6.0;
const BOTTOM_MM: f64 = 15.0;
/// Least distance between two names beside the curves, mm.
const NAME_MM: f64 = 4.2;
/// Most names: more would not be told apart.
const MOST_NAMES: usize = 20;
/// Least span of the upright axis, cents: less is drawn flat, as it sounds.
const LEAST_SPAN_CENTS: f64 = 5.0;
/// Rules for a picture without a page.
const STYLE: &str = "text{font-family:'Liberation Sans',Arial,Helvetica,sans-serif;fill:#000}\
    .paper{fill:#fff}.grid{stroke:#ccc;stroke-width:.2}.zero{stroke:#555;stroke-width:.35}\
    .axis{stroke:#000;stroke-width:.4}.curve{fill:none;stroke-width:.6;stroke-linejoin:round}\
    .lead{stroke-width:.25}.c0{stroke:#004a8f}.c1{stroke:#c85000}.c2{stroke:#00745c}.c3{stroke:#8a2f8f}\
    .c4{stroke:#6b5200}.c5{stroke:#b0003a}.d1{stroke-dasharray:3 1.2}.d2{stroke-dasharray:.8 1}\
    .plot-number{font-size:3.5px}.plot-note{font-size:3.3px}.middle{text-anchor:middle}.end{text-anchor:end}";
/// Colours and dashes that the curves take in turn.
const COLOURS: usize = 6;

/// The pitch of one bottle along a sweep.
#[derive(Clone, Debug, PartialEq)]
pub struct Curve {
    /// Its name.
    pub name: String,
    /// Value stepped through, and pitch there.
    pub points: Vec<(f64, Frequency)>,
}

/// How the plane of the sweep lies on paper.
struct Plane {
    low: f64,
    high: f64,
    /// Cents at the bottom and at the top.
    cents: (f64, f64),
    /// What cents are counted from on the upright axis, if it is one pitch.
    reference: Option<Frequency>,
}

impl Plane {
    fn x(&self, value: f64) -> f64 {
        let span = self.high - self.low;
        let share = if span == 0.0 {
            0.5
        } else {
            (value - self.low) / span
        };
        LEFT_MM + (SIZE_MM.0 - LEFT_MM - RIGHT_MM) * share
    }

    fn y(&self, cents: f64) -> f64 {
        let (bottom, top) = self.cents;
        let height_mm = SIZE_MM.1 - TOP_MM - BOTTOM_MM;
        SIZE_MM.1 - BOTTOM_MM - height_mm * (cents - bottom) / (top - bottom)
    }
}

/// A line across the plane.
struct Tick {
    cents: f64,
    text: String,
    bold: bool,
}

impl Plane {
    /// Round numbers of the upright axis: hertz of one pitch, cents of several.
    fn upright_ticks(&self) -> Vec<Tick> {
        let (bottom, top) = self.cents;
        let Some(first) = self.reference else {
            let step = round_step((top - bottom) / 8.0);
            let digits = decimals(step);
            let tick = |cents: f64| Tick {
                cents,
                text: format!("{:+.digits$}", cents + 0.0),
                bold: cents.abs() < 0.5 * step,
            };
            return multiples(bottom, top, step).map(tick).collect();
        };
        let hz = |cents| first.raised_by(Interval::from_cents(cents)).hz();
        let (low_hz, high_hz) = (hz(bottom), hz(top));
        let step_hz = round_step((high_hz - low_hz) / 8.0);
        let digits = decimals(step_hz);
        let tick = |hz: f64| Tick {
            cents: Frequency::from_hz(hz).interval_above(first).cents(),
            text: format!("{hz:.digits$}"),
            bold: false,
        };
        multiples(low_hz, high_hz, step_hz).map(tick).collect()
    }
}

/// The picture of a sweep over what `axis` names.
#[must_use]
pub fn sweep_plot(axis: &str, curves: &[Curve]) -> String {
    let mut svg = Svg::new(SIZE_MM.0, SIZE_MM.1, &format!("pitch against {axis}"));
    svg.style(STYLE);
    svg.rect("paper", (0.0, 0.0), SIZE_MM.0, SIZE_MM.1);
    let drawn: Vec<Vec<(f64, f64)>> = curves.iter().map(in_cents).collect();
    let Some(plane) = plane(curves, &drawn) else {
        return svg.finish();
    };
    draw_axes(&mut svg, &plane, axis);
    let mut names = Vec::new();
    for (index, (curve, points)) in curves.iter().zip(&drawn).enumerate() {
        let class = format!(
            "curve c{} d{}",
            index % COLOURS,
            (index / COLOURS).min(2) // solid, dashed, dotted
        );
        let line: Vec<_> = points
            .iter()
            .map(|&(value, cents)| (plane.x(value), plane.y(cents)))
            .collect();
        svg.polyline(&class, &line);
        if let Some(&end) = line.iter().max_by(|a, b| a.0.total_cmp(&b.0)) {
            names.push((index, end, curve.name.as_str()));
        }
    }
    if let [curve] = curves {
        // The notes stand where the names would.
        let at = (LEFT_MM + 3.0, TOP_MM + 3.5);
        svg.text("plot-note", at, &shortened(&curve.name, 60));
    } else {
        write_names(&mut svg, names);
    }
    svg.finish()
}

/// Values and cents above the first pitch.
fn in_cents(curve: &Curve) -> Vec<(f64, f64)> {
    let Some(&(_, first)) = curve.points.first() else {
        return Vec::new();
    };
    let cents = |&(value, pitch): &(f64, Frequency)| (value, pitch.interval_above(first).cents());
    curve.points.iter().map(cents).collect()
}

fn plane(curves: &[Curve], drawn: &[Vec<(f64, f64)>]) -> Option<Plane> {
    let all = || drawn.iter().flatten();
    let least = |pick: fn(&(f64, f64)) -> f64| all().map(pick).fold(f64::INFINITY, f64::min);
    let most = |pick: fn(&(f64, f64)) -> f64| all().map(pick).fold(f64::NEG_INFINITY, f64::max);
    all().next()?;
    let (bottom, top) = (least(|p| p.1), most(|p| p.1));
    let middle = 0.5 * (bottom + top);
    // A tenth of room above and below.
    let half = 0.6 * (top - bottom).max(LEAST_SPAN_CENTS);
    Some(Plane {
        low: least(|p| p.0),
        high: most(|p| p.0),
        cents: (middle - half, middle + half),
        reference: match curves {
            [one] => one.points.first().map(|p| p.1),
            _ => None,
        },
    })
}

fn draw_axes(svg: &mut Svg, plane: &Plane, axis: &str) {
    let (left_mm, right_mm) = (LEFT_MM, SIZE_MM.0 - RIGHT_MM);
    let bottom_mm = SIZE_MM.1 - BOTTOM_MM;
    let step = round_step((plane.high - plane.low) / 8.0);
    let digits = decimals(step);
    for value in multiples(plane.low, plane.high, step) {
        let x = plane.x(value);
        svg.line("grid", (x, TOP_MM), (x, bottom_mm));
        let text = format!("{value:.digits$}");
        svg.text("plot-number middle", (x, bottom_mm + 4.5), &text);
    }
    for Tick { cents, text, bold } in plane.upright_ticks() {
        let y = plane.y(cents);
        let class = if bold { "zero" } else { "grid" };
        svg.line(class, (left_mm, y), (right_mm, y));
        svg.text("plot-number end", (left_mm - 1.5, y + 1.2), &text);
    }
    if let Some(first) = plane.reference {
        draw_notes(svg, plane, first);
    }
    svg.line("axis", (left_mm, bottom_mm), (right_mm, bottom_mm));
    svg.line("axis", (left_mm, bottom_mm), (left_mm, TOP_MM));
    svg.text("plot-number end", (right_mm, SIZE_MM.1 - 4.0), axis);
    let upright = if plane.reference.is_some() {
        "pitch, Hz"
    } else {
        "cents from where each begins"
    };
    svg.text_upwards("plot-number", (4.5, bottom_mm), upright);
}

/// The notes of equal temperament at the right of the plane, as far as there is room for them.
fn draw_notes(svg: &mut Svg, plane: &Plane, first: Frequency) {
    let right_mm = SIZE_MM.0 - RIGHT_MM;
    let tuning = Tuning::default();
    let mut last_mm = f64::INFINITY;
    for key in 0..128 {
        let note = NoteName::from_midi(key);
        let cents = tuning.frequency(&note).interval_above(first).cents();
        let y = plane.y(cents);
        if (plane.cents.0..=plane.cents.1).contains(&cents) && last_mm - y > NAME_MM {
            svg.line("axis", (right_mm, y), (right_mm + 1.5, y));
            svg.text("plot-note", (right_mm + 2.5, y + 1.2), &note.to_string());
            last_mm = y;
        }
    }
}

/// Names at the right ends of the curves, pushed apart where they would lie on one another.
fn write_names(svg: &mut Svg, mut names: Vec<(usize, (f64, f64), &str)>) {
    names.sort_by(|a, b| a.1.1.total_cmp(&b.1.1));
    let left_out = names.len().saturating_sub(MOST_NAMES);
    names.truncate(MOST_NAMES);
    // Each as close to its curve as the one above it allows, the whole not below the axis.
    let bottom_mm = SIZE_MM.1 - BOTTOM_MM;
    let mut places: Vec<f64> = Vec::with_capacity(names.len());
    for (_, (_, y), _) in &names {
        let least = places.last().map_or(TOP_MM, |above| above + NAME_MM);
        places.push(y.max(least));
    }
    let mut lowest = bottom_mm;
    for place in places.iter_mut().rev() {
        *place = place.min(lowest);
        lowest = *place - NAME_MM;
    }
    let text_mm = SIZE_MM.0 - RIGHT_MM + 5.0;
    for ((index, (x, y), name), place) in names.into_iter().zip(&places) {
        let class = format!("lead c{}", index % COLOURS);
        svg.line(&class, (x + 0.4, y), (text_mm - 0.8, *place));
        svg.text("plot-note", (text_mm, place + 1.2), &shortened(name, 16));
    }
    if left_out > 0 {
        let text = format!("and {left_out} more");
        svg.text("plot-note", (text_mm, bottom_mm + 4.5), &text);
    }
}

/// Multiples of `step` from `low` to `high`.
pub(super) fn multiples(low: f64, high: f64, step: f64) -> impl Iterator<Item = f64> {
    let first = (low / step - 1e-9).ceil() as i64;
    let last = (high / step + 1e-9).floor() as i64;
    (first..=last).map(move |n| n as f64 * step)
}

/// Digits after the point that a step needs.
pub(super) fn decimals(step: f64) -> usize {
    (-(step * 1.000_001).log10().floor()).max(0.0) as usize
}
