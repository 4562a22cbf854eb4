//! A strip of paper of true length for each bottle: its foot on the table, the level as a line, and
//! marks for the millilitres, which lie as far apart as this bottle is narrow.
//!
//! ```
//! use ullage::report::{html::Paper, strip::Strip};
//! use ullage::units::Volume;
//! let set = ullage::set::open("presets/quay/set.toml")?;
//! let tide = set.kinds.iter().find(|kind| kind.name == "tide bottle").ok_or("no such bottle")?;
//! let strip = Strip::new(&tide.bottle, Volume::from_ml(300.0), Paper::A4.longest_strip());
//! // Its bore is 71 mm wide between 4 and 166 mm: there a millilitre is 1000 / (π 71² / 4) mm high.
//! let per_ml_mm = 4_000.0 / (std::f64::consts::PI * 71.0 * 71.0);
//! let marks: Vec<_> = strip.marks.iter().filter(|mark| (30.0..300.0).contains(&mark.fill.ml())).collect();
//! assert!(marks.len() > 10);
//! for pair in marks.windows(2) {
//!     let between_mm = (pair[1].height - pair[0].height).mm();
//!     assert!((between_mm - per_ml_mm * (pair[1].fill - pair[0].fill).ml()).abs() < 1e-6);
//! }
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use super::svg::{Svg, shortened};
use crate::physics::bottle::Bottle;
use crate::units::{Length, Volume};

/// Width of a strip, mm.
pub const WIDTH_MM: f64 = 30.0;
/// Least distance between two marks, mm: what a pen and an eye can tell apart.
const LEAST_MARK_MM: f64 = 2.4;
/// Paper above the level, for correcting, mm.
const ABOVE_LEVEL_MM: f64 = 18.0;
/// Height of the tab that one piece is glued to the next by, mm.
pub(super) const TAB_MM: f64 = 8.0;
/// How close to a joint the level may come, mm: its words must stay on one piece.
const CLEAR_MM: f64 = 10.0;
/// A level at which the bore is narrower than this share of its widest is on the shoulder.
const SHOULDER_SHARE: f64 = 0.97;
/// Paper around the strip in its picture, mm: room for the line that is cut along.
pub(super) const EDGE_MM: f64 = 1.0;
/// Left and right edge of a strip in its picture, mm.
const LEFT_MM: f64 = EDGE_MM;
const RIGHT_MM: f64 = WIDTH_MM - EDGE_MM;
/// Steps between marks, ml, and how many of them make a numbered one.
const STEPS: [(f64, usize); 16] = [
    (0.1, 5),
    (0.2, 5),
    (0.5, 4),
    (1.0, 5),
    (2.0, 5),
    (5.0, 4),
    (10.0, 5),
    (20.0, 5),
    (50.0, 4),
    (100.0, 5),
    (200.0, 5),
    (500.0, 4),
    (1000.0, 5),
    (2000.0, 5),
    (5000.0, 4),
    (10_000.0, 5),
];

/// One mark for a volume.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mark {
    /// Liquid up to it.
    pub fill: Volume,
    /// Its height above the table.
    pub height: Length,
    /// It bears its number.
    pub numbered: bool,
}

/// A part of a strip that fits on the page.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Piece {
    /// Its lower end above the table.
    pub from: Length,
    /// Its upper end above the table, the tab not counted.
    pub to: Length,
}

/// A strip.
#[derive(Clone, Debug, PartialEq)]
pub struct Strip {
    /// Level above the table.
    pub level: Length,
    /// How long the strip is.
    pub length: Length,
    /// Its marks from the floor up.
    pub marks: Vec<Mark>,
    /// Its pieces from the table up; one, unless it is longer than the page.
    pub pieces: Vec<Piece>,
    /// The level lies where the wall slants: the strip must be held upright beside the bottle.
    pub on_shoulder: bool,
}

impl Strip {
    /// The strip for `fill` in `bottle`, in pieces no longer than `longest`.
    #[must_use]
    pub fn new(bottle: &Bottle, fill: Volume, longest: Length) -> Self {
        let bore = bottle.bore();
        let level = bottle.level_outside(fill);
        let rim = bore.height() + bottle.floor();
        let length = (level + Length::from_mm(ABOVE_LEVEL_MM)).min(rim);
        Self {
            level,
            length,
            marks: marks(bottle, length),
            pieces: pieces_of(length.mm(), level.mm(), longest.mm()),
            on_shoulder: bore.radius_at(bore.level_of(fill)).m()
                < SHOULDER_SHARE * bore.widest_radius().m(),
        }
    }

    /// The pictures of its pieces from the table up, with `note` and `name` on them.
    #[must_use]
    pub fn svgs(&self, note: &str, name: &str) -> Vec<String> {
        (0..self.pieces.len())
            .map(|piece| self.svg(piece, note, name))
            .collect()
    }

    fn svg(&self, piece: usize, note: &str, name: &str) -> String {
        let part = self.pieces[piece];
        let last = piece + 1 == self.pieces.len();
        let tab_mm = if last { 0.0 } else { TAB_MM };
        let foot_mm = EDGE_MM + tab_mm + (part.to - part.from).mm();
        let y = |height: Length| foot_mm - (height - part.from).mm();
        let here = |height: Length| part.from <= height && (height < part.to || last);
        let label = "a strip of true length to cut out";
        let mut svg = Svg::new(WIDTH_MM, foot_mm + EDGE_MM, label);
        svg.rect(
            "cut",
            (LEFT_MM, EDGE_MM),
            RIGHT_MM - LEFT_MM,
            foot_mm - EDGE_MM,
        );
        let (level_mm, ends_mm) = (y(self.level), (y(part.to), foot_mm));
        for mark in self.marks.iter().filter(|m| here(m.height)) {
            draw_mark(&mut svg, mark, y(mark.height), level_mm, ends_mm);
        }
        if here(self.level) {
            draw_level(&mut svg, level_mm, note);
        }
        if !last {
            let joint_mm = y(part.to);
            svg.line("joint", (LEFT_MM, joint_mm), (RIGHT_MM, joint_mm));
            let words = format!("glue under {}", letter(piece));
            svg.text("strip-small", (LEFT_MM + 2.0, joint_mm - 2.4), &words);
        }
        if piece > 0 {
            svg.text(
                "strip-note",
                (LEFT_MM + 18.5, foot_mm - 2.0),
                &letter(piece - 1),
            );
        }
        if piece == 0 {
            svg.line("table", (LEFT_MM, foot_mm), (RIGHT_MM, foot_mm));
        }
        // A letter of this size is about 1.55 mm wide; the name must not run into the level's words.
        let clear_mm = if here(self.level) {
            level_mm + 1.0
        } else {
            EDGE_MM + tab_mm + 2.0
        };
        let fits = ((foot_mm - 2.0 - clear_mm) / 1.55).clamp(1.0, 40.0) as usize;
        let at = (RIGHT_MM - 1.4, foot_mm - 2.0);
        svg.text_upwards("strip-name", at, &shortened(name, fits));
        svg.finish()
    }
}

/// The letter that both sides of a joint bear.
pub(super) fn letter(joint: usize) -> String {
    char::from(b'A' + u8::try_from(joint % 26).unwrap_or(0)).to_string()
}

fn draw_level(svg: &mut Svg, level_mm: f64, note: &str) {
    svg.line("level", (LEFT_MM, level_mm), (RIGHT_MM, level_mm));
    // A note with cents in its name is longer than the strip is wide at the full size.
    let (class, x_mm) = if note.chars().count() > 4 {
        ("strip-ml bold", LEFT_MM + 6.0)
    } else {
        ("strip-note", LEFT_MM + 10.5)
    };
    svg.text(class, (x_mm, level_mm - 1.6), note);
}

/// Draws a mark, with its number where that is clear of the level's words and of both ends.
fn draw_mark(svg: &mut Svg, mark: &Mark, y_mm: f64, level_mm: f64, ends_mm: (f64, f64)) {
    let length_mm = if mark.numbered { 9.0 } else { 5.0 };
    svg.line("mark", (EDGE_MM, y_mm), (EDGE_MM + length_mm, y_mm));
    let clear_of_level = !(-3.2..=8.5).contains(&(level_mm - y_mm));
    let clear_of_ends = y_mm - ends_mm.0 > 1.8 && ends_mm.1 - y_mm > 1.8;
    if mark.numbered && clear_of_level && clear_of_ends {
        let number = format!("{:.1}", mark.fill.ml());
        let number = number.trim_end_matches(".0");
        svg.text("strip-ml", (EDGE_MM + 10.0, y_mm + 1.2), number);
    }
}

/// Marks up to `length` above the table, as fine as the widest part of the bottle lets them be.
fn marks(bottle: &Bottle, length: Length) -> Vec<Mark> {
    let bore = bottle.bore();
    let area_mm2 = std::f64::consts::PI * bore.widest_radius().mm().powi(2);
    let least_ml = LEAST_MARK_MM * area_mm2 / 1000.0;
    let (step_ml, every) = STEPS
        .into_iter()
        .find(|&(step_ml, _)| step_ml >= least_ml)
        .unwrap_or(STEPS[STEPS.len() - 1]);
    let mark = |index: usize| {
        let fill = Volume::from_ml(step_ml * index as f64);
        Mark {
            fill,
            height: bottle.level_outside(fill),
            numbered: index.is_multiple_of(every),
        }
    };
    (0..)
        .map(mark)
        .take_while(|m| m.fill.m3() < bore.capacity().m3() && m.height.m() <= length.m())
        .collect()
}

/// Cuts a strip into pieces that fit on the page, no joint near the level.
pub(super) fn pieces_of(length_mm: f64, level_mm: f64, longest_mm: f64) -> Vec<Piece> {
    // A joint that gives way to the level makes its neighbour longer: that much is kept free.
    let usable_mm = longest_mm - TAB_MM - 2.0 * CLEAR_MM;
    let count = if length_mm <= longest_mm {
        1
    } else {
        (length_mm / usable_mm).ceil() as usize
    };
    let ends = (0..=count).map(|index| {
        let end_mm = length_mm * index as f64 / count as f64;
        let inner = index > 0 && index < count;
        if inner && (end_mm - level_mm).abs() < CLEAR_MM {
            level_mm - CLEAR_MM
        } else {
            end_mm
        }
    });
    let ends: Vec<f64> = ends.collect();
    ends.windows(2)
        .map(|pair| Piece {
            from: Length::from_mm(pair[0]),
            to: Length::from_mm(pair[1]),
        })
        .collect()
}
