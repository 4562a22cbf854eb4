//! A strip of true length with a mark for each note: where a sliding floor stands, or how far a joined bottle is lifted.
//!
//! ```
//! use ullage::report::html::Paper;
//! use ullage::report::marks_strip::{MarksStrip, NoteMark};
//! let set = ullage::set::open("presets/slide/set.toml")?;
//! let marks = set.pours.iter().filter_map(|pour| {
//!     Some(NoteMark { note: pour.note.to_string(), at: pour.travel? })
//! });
//! let strip = MarksStrip::new(marks.collect(), Paper::A4.longest_strip());
//! assert_eq!(strip.marks.len(), set.pours.len());
//! // Like frets, the whole tones lie closer together the higher they are.
//! let at_mm = |note: &str| strip.marks.iter().find(|m| m.note == note).map_or(f64::NAN, |m| m.at.mm());
//! let tones_mm = [("G3", "A3"), ("A3", "B3"), ("C4", "D4"), ("D4", "E4"), ("E4", "F#4")]
//!     .map(|(low, high)| at_mm(high) - at_mm(low));
//! assert!(tones_mm.windows(2).all(|pair| pair[1] < pair[0]), "{tones_mm:?}");
//! assert_eq!(strip.svgs("slide bottle", "pulled out").len(), 1); // it fits on a page
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use super::strip::{EDGE_MM, Piece, TAB_MM, letter, pieces_of};
use super::svg::{Svg, shortened};
use crate::units::Length;

/// Width of the strip, mm: room for notes on both sides of its scale.
const WIDTH_MM: f64 = 50.0;
/// Paper beyond the last marks, mm.
const BEYOND_MM: f64 = 12.0;
/// Marks nearer than this have their notes on either side, mm.
const CROWDED_MM: f64 = 6.5;

/// One note's place.
#[derive(Clone, Debug, PartialEq)]
pub struct NoteMark {
    /// The note.
    pub note: String,
    /// Travel or lift; a lift can be below zero.
    pub at: Length,
}

/// A strip of notes.
#[derive(Clone, Debug, PartialEq)]
pub struct MarksStrip {
    /// From low to high.
    pub marks: Vec<NoteMark>,
    /// Lower end of the strip, against the zero of the scale.
    pub from: Length,
    /// Upper end.
    pub to: Length,
    /// Its pieces from below; one, unless it is longer than the page.
    pub pieces: Vec<Piece>,
}

impl MarksStrip {
    /// The strip for `marks`, in pieces no longer than `longest`; it always reaches the zero.
    #[must_use]
    pub fn new(mut marks: Vec<NoteMark>, longest: Length) -> Self {
        marks.sort_by(|a, b| a.at.m().total_cmp(&b.at.m()));
        let ends = marks.iter().map(|m| m.at.mm());
        let least_mm = ends.clone().fold(0.0, f64::min);
        let most_mm = ends.fold(0.0, f64::max);
        // A scale that begins at zero stands on its zero.
        let below_mm = if least_mm < 0.0 { BEYOND_MM } else { 0.0 };
        let (from_mm, to_mm) = (least_mm - below_mm, most_mm + BEYOND_MM);
        let shifted = |piece: Piece| Piece {
            from: piece.from + Length::from_mm(from_mm),
            to: piece.to + Length::from_mm(from_mm),
        };
        let pieces = pieces_of(to_mm - from_mm, f64::INFINITY, longest.mm());
        Self {
            marks,
            from: Length::from_mm(from_mm),
            to: Length::from_mm(to_mm),
            pieces: pieces.into_iter().map(shifted).collect(),
        }
    }

    /// The pictures of its pieces from below, with `name` and the words at its zero on them.
    #[must_use]
    pub fn svgs(&self, name: &str, zero: &str) -> Vec<String> {
        (0..self.pieces.len())
            .map(|piece| self.svg(piece, name, zero))
            .collect()
    }

    fn svg(&self, piece: usize, name: &str, zero: &str) -> String {
        let part = self.pieces[piece];
        let last = piece + 1 == self.pieces.len();
        let tab_mm = if last { 0.0 } else { TAB_MM };
        let foot_mm = EDGE_MM + tab_mm + (part.to - part.from).mm();
        let y = |at: Length| foot_mm - (at - part.from).mm();
        let here = |at: Length| part.from <= at && (at < part.to || last);
        let mut svg = Svg::new(
            WIDTH_MM,
            foot_mm + EDGE_MM,
            "a strip of true length with a mark for each note",
        );
        svg.rect(
            "cut",
            (EDGE_MM, EDGE_MM),
            WIDTH_MM - 2.0 * EDGE_MM,
            foot_mm - EDGE_MM,
        );
        let scale_mm = 0.5 * WIDTH_MM;
        let (first, end) = (part.from.mm().ceil() as i64, part.to.mm().floor() as i64);
        for mm in (first..=end).filter(|mm| mm % 5 == 0) {
            let at_mm = y(Length::from_mm(mm as f64));
            let half_mm = if mm % 10 == 0 { 1.6 } else { 0.9 };
            svg.line(
                "mark",
                (scale_mm - half_mm, at_mm),
                (scale_mm + half_mm, at_mm),
            );
        }
        let mut before: Option<(f64, bool)> = None;
        for mark in self.marks.iter().filter(|m| here(m.at)) {
            let at_mm = y(mark.at);
            let crowded = before.filter(|(last_mm, _)| last_mm - at_mm < CROWDED_MM);
            let right = crowded.is_some_and(|(_, right)| !right);
            draw_note(&mut svg, mark, at_mm, right);
            before = Some((at_mm, right));
        }
        if here(Length::default()) {
            let at_mm = y(Length::default());
            svg.line("table", (EDGE_MM, at_mm), (WIDTH_MM - EDGE_MM, at_mm));
            svg.text("strip-small", (EDGE_MM + 1.0, at_mm - 1.0), zero);
        }
        if !last {
            let joint_mm = y(part.to);
            svg.line("joint", (EDGE_MM, joint_mm), (WIDTH_MM - EDGE_MM, joint_mm));
            let words = format!("glue under {}", letter(piece));
            svg.text("strip-small", (EDGE_MM + 2.0, joint_mm - 2.4), &words);
        }
        if piece > 0 {
            svg.text(
                "strip-note",
                (WIDTH_MM - 9.0, foot_mm - 2.0),
                &letter(piece - 1),
            );
        }
        let fits = ((foot_mm - 6.0) / 1.55).clamp(1.0, 40.0) as usize;
        let at = (WIDTH_MM - EDGE_MM - 1.4, foot_mm - 4.0);
        svg.text_upwards("strip-name", at, &shortened(name, fits));
        svg.finish()
    }
}

/// The line of a note, its name at one end and its millimetres beside that.
fn draw_note(svg: &mut Svg, mark: &NoteMark, at_mm: f64, right: bool) {
    let middle_mm = 0.5 * WIDTH_MM;
    let words = format!("{} {:.1}", mark.note, mark.at.mm());
    if right {
        svg.line("level", (middle_mm - 2.0, at_mm), (WIDTH_MM - 4.5, at_mm));
        svg.text("strip-ml bold", (middle_mm + 3.0, at_mm - 0.7), &words);
    } else {
        svg.line("level", (EDGE_MM, at_mm), (middle_mm + 2.0, at_mm));
        svg.text("strip-ml bold", (EDGE_MM + 0.8, at_mm - 0.7), &words);
    }
}
