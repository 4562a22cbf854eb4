//! A plot of how far each bottle moves from one condition to another: a picture that stands alone.
//!
//! ```
//! use ullage::report::moved_plot::{Moved, moved_plot};
//! use ullage::units::Interval;
//! let row = |name: &str, cents| Moved { name: name.to_owned(), by: Interval::from_cents(cents) };
//! let svg = moved_plot("20 °C to 4 °C", &[row("G3 cordial", -51.0), row("D4 tonic", -48.5)]);
//! // A bar and a name for each bottle, and round numbers below them.
//! assert_eq!(svg.matches("class=\"bar\"").count(), 2);
//! assert!(svg.contains(">G3 cordial<") && svg.contains(">-50<") && svg.contains(">0<"));
//! ```

use super::plots::round_step;
use super::svg::{Svg, shortened};
use super::sweep_plot::{decimals, multiples};
use crate::units::Interval;

/// Width of the picture and height of a bottle's lane, mm.
const WIDTH_MM: f64 = 180.0;
const LANE_MM: f64 = 5.0;
/// Room for names at the left, at the right, for the title and for the numbers, mm.
const LEFT_MM: f64 = 42.0;
const RIGHT_MM: f64 = 20.0;
const TOP_MM: f64 = 10.0;
const BOTTOM_MM: f64 = 14.0;
/// Least span of the axis, cents.
const LEAST_SPAN_CENTS: f64 = 5.0;
/// Ticks that there is room for.
const TICKS: f64 = 8.0;
/// Letters of a name and of the title.
const NAME_LETTERS: usize = 22;
const TITLE_LETTERS: usize = 90;
/// Rules for a picture without a page.
const STYLE: &str = "text{font-family:'Liberation Sans',Arial,Helvetica,sans-serif;fill:#000;font-size:3.5px}\
    .paper{fill:#fff}.grid{stroke:#ccc;stroke-width:.2}.zero{stroke:#000;stroke-width:.4}\
    .mean{stroke:#c85000;stroke-width:.4;stroke-dasharray:2 1}.bar{fill:#004a8f}\
    .middle{text-anchor:middle}.end{text-anchor:end}";

/// How far a bottle moves.
#[derive(Clone, Debug, PartialEq)]
pub struct Moved {
    /// Its note and its name.
    pub name: String,
    /// Up, or down below 0.
    pub by: Interval,
}

/// The picture of bottles that move as `title` says; a dashed line is their mean.
#[must_use]
pub fn moved_plot(title: &str, rows: &[Moved]) -> String {
    let height_mm = TOP_MM + LANE_MM * rows.len() as f64 + BOTTOM_MM;
    let mut svg = Svg::new(
        WIDTH_MM,
        height_mm,
        &format!("how far each bottle moves, {title}"),
    );
    svg.style(STYLE);
    svg.rect("paper", (0.0, 0.0), WIDTH_MM, height_mm);
    svg.text("title", (4.0, 5.5), &shortened(title, TITLE_LETTERS));
    if rows.is_empty() {
        return svg.finish();
    }
    let cents = || rows.iter().map(|row| row.by.cents());
    let (low, high) = (cents().fold(0.0, f64::min), cents().fold(0.0, f64::max));
    let span = (high - low).max(LEAST_SPAN_CENTS);
    let step = round_step(span / TICKS);
    // The axis ends at round numbers on either side of every bar.
    let low = (low / step).floor() * step;
    let high = ((low + span) / step).max(high / step).ceil() * step;
    let x = |cents: f64| LEFT_MM + (WIDTH_MM - LEFT_MM - RIGHT_MM) * (cents - low) / (high - low);
    let bottom_mm = height_mm - BOTTOM_MM;
    let digits = decimals(step);
    for tick in multiples(low, high, step) {
        svg.line("grid", (x(tick), TOP_MM), (x(tick), bottom_mm));
        let text = format!("{:.digits$}", tick + 0.0);
        svg.text("middle", (x(tick), bottom_mm + 4.5), &text);
    }
    for (lane, row) in rows.iter().enumerate() {
        let top_mm = TOP_MM + LANE_MM * lane as f64;
        let (from, to) = (x(0.0), x(row.by.cents()));
        svg.rect(
            "bar",
            (from.min(to), top_mm + 0.2 * LANE_MM),
            (to - from).abs(),
            0.6 * LANE_MM,
        );
        let foot_mm = top_mm + 0.75 * LANE_MM;
        let name = shortened(&row.name, NAME_LETTERS);
        svg.text("end", (LEFT_MM - 2.0, foot_mm), &name);
    }
    let mean = x(cents().sum::<f64>() / rows.len() as f64);
    svg.line("mean", (mean, TOP_MM), (mean, bottom_mm));
    svg.line("zero", (x(0.0), TOP_MM), (x(0.0), bottom_mm));
    svg.text("end", (WIDTH_MM - RIGHT_MM, height_mm - 3.0), "cents");
    svg.finish()
}
