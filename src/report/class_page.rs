//! Pages for a class: the worksheet to measure with, and what was measured beside what was predicted.
//!
//! ```
//! use ullage::report::class_page::worksheet;
//! let set = ullage::set::open("presets/classroom/set.toml")?;
//! let page = worksheet("Classroom", &set.kinds, &set.conditions)?;
//! // A line to fill in for every filling that is suggested, and the answers on a page of their own.
//! let blanks = page.matches(r#"<td class="fill-in">"#).count();
//! assert_eq!(blanks, 2 * 5); // five fillings, their pitch and what is worked out of it
//! assert!(page.contains("Answers") && !page.contains("<script"));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use askama::Template;

use super::measured::{Comparison, Point};
use super::plots::{CURVE_MM, draw_axes, on_paper, round_step};
use super::svg::{Svg, shortened};
use crate::number::signed;
use crate::physics::conditions::Conditions;
use crate::physics::prediction::{Blown, PredictionError};
use crate::set::Kind;
use crate::units::Volume;

/// Letters of a title and of a bottle's name.
const TITLE_LETTERS: usize = 80;
const NAME_LETTERS: usize = 40;
/// Most bottles of a worksheet: a class has no time for more.
const MOST_BOTTLES: usize = 8;
/// Fillings that are suggested for each bottle, the empty one among them.
const FILLINGS: usize = 6;
/// Share of the capacity that the fullest suggested filling has: beyond it many bottles no longer speak.
const FULLEST_SHARE: f64 = 0.7;
/// Points of a drawn curve.
const POINTS: u32 = 40;
/// The grid that a class draws on: its size and the side of a square, mm.
const GRID_MM: (f64, f64) = (180.0, 120.0);
const SQUARE_MM: f64 = 5.0;

#[derive(Template)]
#[template(path = "worksheet.html", config = "src/report/askama.toml")]
struct Worksheet {
    title: String,
    room: String,
    bottles: Vec<SheetBottle>,
    grid: String,
    answers: Vec<AnswerBottle>,
    sound_speed: String,
    warm_cents: String,
}

/// A bottle's blank table.
struct SheetBottle {
    name: String,
    fills_ml: Vec<String>,
}

/// A bottle's answers.
struct AnswerBottle {
    name: String,
    rows: Vec<AnswerRow>,
    /// Length of the neck, with what moves along at its ends, that the straight line through the answers gives, mm.
    neck_mm: String,
    plot: String,
}

struct AnswerRow {
    ml: String,
    hz: String,
    /// One over the square of the pitch, in millionths of a second squared.
    inverse_square: String,
}

/// The worksheet for the first bottles of a shelf or a set, in a room.
///
/// # Errors
/// Conditions out of range, or a bottle that does not sound.
pub fn worksheet(
    title: &str,
    kinds: &[Kind],
    room: &Conditions,
) -> Result<String, PredictionError> {
    let kinds = &kinds[..kinds.len().min(MOST_BOTTLES)];
    let fills = |kind: &Kind| fillings_ml(kind.bottle.bore().capacity().ml());
    let bottle = |kind: &Kind| SheetBottle {
        name: shortened(&kind.name, NAME_LETTERS),
        fills_ml: fills(kind).iter().map(|ml| format!("{ml:.0}")).collect(),
    };
    let answers = kinds.iter().map(|kind| answer(kind, &fills(kind), room));
    let gas = room.gases()?.body;
    let warm = room.warmed_by_k(10.0).gases()?.body;
    let warm_cents = 1200.0 * (warm.sound_speed_m_s() / gas.sound_speed_m_s()).log2();
    let page = Worksheet {
        title: shortened(title, TITLE_LETTERS),
        room: format!("{:.0} °C", room.temperature().c()),
        bottles: kinds.iter().map(bottle).collect(),
        grid: grid(),
        answers: answers.collect::<Result<_, _>>()?,
        sound_speed: format!("{:.0}", gas.sound_speed_m_s()),
        warm_cents: format!("{warm_cents:.0}"),
    };
    Ok(page.render().expect("a template without a fallible filter"))
}

/// Fillings from empty up, in round numbers.
fn fillings_ml(capacity_ml: f64) -> Vec<f64> {
    let step_ml = round_step(FULLEST_SHARE * capacity_ml / FILLINGS as f64);
    let all = (0..).map(|n| f64::from(n) * step_ml);
    all.take_while(|ml| *ml <= FULLEST_SHARE * capacity_ml)
        .collect()
}

fn answer(
    kind: &Kind,
    fills_ml: &[f64],
    room: &Conditions,
) -> Result<AnswerBottle, PredictionError> {
    let blown = Blown::new(&kind.bottle, room)?;
    let pitch_hz = |ml: f64| -> Result<f64, PredictionError> {
        Ok(blown.fundamental(Volume::from_ml(ml))?.frequency.hz())
    };
    let mut points = Vec::with_capacity(fills_ml.len());
    for &ml in fills_ml {
        points.push((ml, pitch_hz(ml)?));
    }
    let row = |&(ml, hz): &(f64, f64)| AnswerRow {
        ml: format!("{ml:.0}"),
        hz: format!("{hz:.1}"),
        inverse_square: format!("{:.2}", 1e6 / (hz * hz)),
    };
    // 1/f² = 4π² L′/(c² S) · V: the slope of the line gives the neck, S being the mouth's area.
    let line = straight(points.iter().map(|&(ml, hz)| (ml * 1e-6, 1.0 / (hz * hz))));
    let area_m2 = std::f64::consts::PI * kind.bottle.bore().mouth_radius().m().powi(2);
    let speed_m_s = room.gases()?.body.sound_speed_m_s();
    let neck_m = -line * (speed_m_s / std::f64::consts::TAU).powi(2) * area_m2;
    let most_ml = fills_ml.last().copied().unwrap_or(0.0);
    let drawn = curve(most_ml, pitch_hz)?;
    Ok(AnswerBottle {
        name: shortened(&kind.name, NAME_LETTERS),
        rows: points.iter().map(row).collect(),
        neck_mm: format!("{:.0}", 1000.0 * neck_m),
        plot: panel(
            "predicted pitch against filling",
            &[("curve", drawn)],
            &points,
        ),
    })
}

/// Slope of the straight line that fits points best.
fn straight(points: impl Iterator<Item = (f64, f64)> + Clone) -> f64 {
    let count = points.clone().count() as f64;
    let (sum_x, sum_y) = points
        .clone()
        .fold((0.0, 0.0), |(x, y), p| (x + p.0, y + p.1));
    let (mean_x, mean_y) = (sum_x / count, sum_y / count);
    let (mut xy, mut xx) = (0.0, 0.0);
    for (x, y) in points {
        (xy, xx) = (xy + (x - mean_x) * (y - mean_y), xx + (x - mean_x).powi(2));
    }
    if xx > 0.0 { xy / xx } else { 0.0 }
}

/// A pitch at even steps of filling up to `most_ml`.
fn curve(
    most_ml: f64,
    pitch_hz: impl Fn(f64) -> Result<f64, PredictionError>,
) -> Result<Vec<(f64, f64)>, PredictionError> {
    let at = |step: u32| {
        let ml = most_ml * f64::from(step) / f64::from(POINTS);
        Ok((ml, pitch_hz(ml)?))
    };
    (0..=POINTS).map(at).collect()
}

/// Pitch against filling: lines of a class each, and dots.
fn panel(label: &str, lines: &[(&str, Vec<(f64, f64)>)], dots: &[(f64, f64)]) -> String {
    let all = || lines.iter().flat_map(|(_, line)| line).chain(dots);
    let most_ml = all().map(|p| p.0).fold(1e-6, f64::max);
    let low_hz = all().map(|p| p.1).fold(f64::INFINITY, f64::min);
    let high_hz = all().map(|p| p.1).fold(0.0, f64::max).max(1.06 * low_hz);
    let at = |point| on_paper(point, (most_ml, low_hz, high_hz));
    let mut svg = Svg::new(CURVE_MM.0, CURVE_MM.1, label);
    draw_axes(&mut svg, (most_ml, low_hz, high_hz), "ml in the bottle", at);
    for (class, line) in lines {
        let line: Vec<_> = line.iter().map(|&p| at(p)).collect();
        svg.polyline(class, &line);
    }
    for &dot in dots {
        svg.dot("poured", at(dot), 1.1);
    }
    svg.finish()
}

/// Squares to draw on, every fifth line strong.
fn grid() -> String {
    let mut svg = Svg::new(GRID_MM.0, GRID_MM.1, "a grid to draw on");
    let class = |n: u32| {
        if n.is_multiple_of(5) {
            "grid c"
        } else {
            "grid"
        }
    };
    let lines = |length_mm: f64| {
        // A few dozen.
        let count = (length_mm / SQUARE_MM).round() as u32;
        (0..=count).map(|n| (n, f64::from(n) * SQUARE_MM))
    };
    for (n, x) in lines(GRID_MM.0) {
        svg.line(class(n), (x, 0.0), (x, GRID_MM.1));
    }
    for (n, y) in lines(GRID_MM.1) {
        svg.line(class(n), (0.0, y), (GRID_MM.0, y));
    }
    svg.finish()
}

#[derive(Template)]
#[template(path = "class.html", config = "src/report/askama.toml")]
struct ClassPage {
    title: String,
    bottles: Vec<ClassBottle>,
}

struct ClassBottle {
    name: String,
    rows: Vec<ClassRow>,
    mean: String,
    rms: String,
    schoolbook: String,
    fitted: Option<String>,
    plot: String,
}

struct ClassRow {
    ml: String,
    measured: String,
    predicted: String,
    off: String,
    schoolbook: String,
    off_schoolbook: String,
    inside: bool,
}

/// What was measured beside what was predicted, bottle by bottle with a plot each.
#[must_use]
pub fn class_page(title: &str, comparison: &Comparison) -> String {
    let bottle = |of: &super::measured::OfBottle| {
        let mut own: Vec<&Point> = comparison
            .points
            .iter()
            .filter(|p| p.bottle == of.name)
            .collect();
        own.sort_by(|a, b| a.fill.ml().total_cmp(&b.fill.ml()));
        let row = |p: &&Point| ClassRow {
            ml: format!("{:.0}", p.fill.ml()),
            measured: format!("{:.1}", p.measured.hz()),
            predicted: format!("{:.1}", p.predicted.hz()),
            off: signed(p.off_cents(), 0),
            schoolbook: format!("{:.1}", p.schoolbook.hz()),
            off_schoolbook: signed(p.off_schoolbook_cents(), 0),
            inside: p.is_inside(),
        };
        let line = |pitch: fn(&Point) -> f64| own.iter().map(|p| (p.fill.ml(), pitch(p))).collect();
        let lines = [
            ("curve", line(|p| p.predicted.hz())),
            ("book", line(|p| p.schoolbook.hz())),
        ];
        let dots: Vec<_> = own.iter().map(|p| (p.fill.ml(), p.measured.hz())).collect();
        ClassBottle {
            name: shortened(&of.name, NAME_LETTERS),
            rows: own.iter().map(row).collect(),
            mean: signed(of.mean_cents, 0),
            rms: format!("{:.0}", of.rms_cents),
            schoolbook: format!("{:.0}", of.schoolbook_rms_cents),
            fitted: of.fitted_rms_cents.map(|cents| format!("{cents:.0}")),
            plot: panel(
                "measured and predicted pitch against filling",
                &lines,
                &dots,
            ),
        }
    };
    let page = ClassPage {
        title: shortened(title, TITLE_LETTERS),
        bottles: comparison.bottles.iter().map(bottle).collect(),
    };
    page.render().expect("a template without a fallible filter")
}
