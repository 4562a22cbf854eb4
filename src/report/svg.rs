//! The little SVG that drawings, strips and plots share: one user unit is a millimetre on paper.

use std::fmt::Write;

use crate::file::markup::escaped;

/// `text` on one line, cut to `most` characters with a sign that it was cut.
#[must_use]
pub fn shortened(text: &str, most: usize) -> String {
    let clean: String = text
        .chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect();
    if clean.chars().count() <= most {
        return clean;
    }
    let kept: String = clean.chars().take(most.saturating_sub(1)).collect();
    kept.trim_end().to_owned() + "…"
}

/// A picture being drawn.
#[derive(Clone, Debug)]
pub struct Svg {
    width_mm: f64,
    height_mm: f64,
    label: String,
    body: String,
}

impl Svg {
    /// An empty picture of this size on paper; `label` is read aloud by a screen reader.
    #[must_use]
    pub fn new(width_mm: f64, height_mm: f64, label: &str) -> Self {
        Self {
            width_mm,
            height_mm,
            label: escaped(label),
            body: String::new(),
        }
    }

    /// A straight line from `from` to `to`, mm.
    pub fn line(&mut self, class: &str, from: (f64, f64), to: (f64, f64)) {
        let (x1, y1, x2, y2) = (from.0, from.1, to.0, to.1);
        let _ = writeln!(
            self.body,
            r#"<line class="{class}" x1="{x1:.3}" y1="{y1:.3}" x2="{x2:.3}" y2="{y2:.3}"/>"#
        );
    }

    /// A box with its upper left corner at `corner`, mm.
    pub fn rect(&mut self, class: &str, corner: (f64, f64), width_mm: f64, height_mm: f64) {
        let (x, y) = corner;
        let _ = writeln!(
            self.body,
            r#"<rect class="{class}" x="{x:.3}" y="{y:.3}" width="{width_mm:.3}" height="{height_mm:.3}"/>"#
        );
    }

    /// A dot, mm.
    pub fn dot(&mut self, class: &str, centre: (f64, f64), radius_mm: f64) {
        let (x, y) = centre;
        let _ = writeln!(
            self.body,
            r#"<circle class="{class}" cx="{x:.3}" cy="{y:.3}" r="{radius_mm}"/>"#
        );
    }

    /// A closed shape through `points`, mm.
    pub fn polygon(&mut self, class: &str, points: &[(f64, f64)]) {
        self.points("polygon", class, points);
    }

    /// An open line through `points`, mm.
    pub fn polyline(&mut self, class: &str, points: &[(f64, f64)]) {
        self.points("polyline", class, points);
    }

    fn points(&mut self, element: &str, class: &str, points: &[(f64, f64)]) {
        let _ = write!(self.body, r#"<{element} class="{class}" points=""#);
        for (x, y) in points {
            let _ = write!(self.body, "{x:.3},{y:.3} ");
        }
        self.body.push_str("\"/>\n");
    }

    /// Text with its foot at `at`, mm; escaped here. The class says how large and how it is set.
    pub fn text(&mut self, class: &str, at: (f64, f64), text: &str) {
        let (x, y, text) = (at.0, at.1, escaped(text));
        let _ = writeln!(
            self.body,
            r#"<text class="{class}" x="{x:.3}" y="{y:.3}">{text}</text>"#
        );
    }

    /// Text that reads upwards from `at`, mm.
    pub fn text_upwards(&mut self, class: &str, at: (f64, f64), text: &str) {
        let (x, y, text) = (at.0, at.1, escaped(text));
        let _ = writeln!(
            self.body,
            r#"<text class="{class}" transform="translate({x:.3} {y:.3}) rotate(-90)">{text}</text>"#
        );
    }

    /// Rules for the classes, for a picture that stands alone; on a page the page has them.
    pub fn style(&mut self, css: &str) {
        let _ = writeln!(self.body, "<style>{css}</style>");
    }

    /// The picture as an element for a page, as large on paper as it was made.
    #[must_use]
    pub fn finish(self) -> String {
        let Self {
            width_mm: w,
            height_mm: h,
            label,
            body,
        } = self;
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" role=\"img\" aria-label=\"{label}\" \
             width=\"{w:.3}mm\" height=\"{h:.3}mm\" viewBox=\"0 0 {w:.3} {h:.3}\">\n{body}</svg>"
        )
    }
}
