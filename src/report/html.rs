//! The page itself: one HTML file for paper, filled from a template that escapes what people wrote.

use askama::Template;

use super::drawing::drawing;
use super::plots::{fill_curve, overview, reach};
use super::sheet::{Row, Sheet};
use super::strip::Strip;
use super::svg::{Svg, shortened};
use crate::units::Length;

/// Letters of a name that a card or a table has room for.
const NAME_LETTERS: usize = 44;
/// Letters of a title.
const TITLE_LETTERS: usize = 90;
/// Letters of an owner's note.
const REMARK_LETTERS: usize = 110;
/// Margins of the page and the height that a strip's page needs for its words, mm.
const OFF_PAGE_MM: f64 = 24.0 + 44.0;

/// What the sheet is printed on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Paper {
    /// 210 by 297 mm. ISO 216.
    #[default]
    A4,
    /// 8½ by 11 inches.
    Letter,
}

impl Paper {
    /// Width and height, mm.
    #[must_use]
    pub const fn size_mm(self) -> (f64, f64) {
        match self {
            Self::A4 => (210.0, 297.0),
            Self::Letter => (215.9, 279.4),
        }
    }

    /// As style sheets call it.
    const fn css(self) -> &'static str {
        match self {
            Self::A4 => "A4",
            Self::Letter => "letter",
        }
    }

    /// Height of a card of which three go on a page with their gaps, mm.
    const fn card_mm(self) -> f64 {
        match self {
            Self::A4 => 86.0,
            Self::Letter => 80.0,
        }
    }

    /// The longest piece of a strip that its page holds.
    #[must_use]
    pub fn longest_strip(self) -> Length {
        Length::from_mm(self.size_mm().1 - OFF_PAGE_MM)
    }
}

#[derive(Template)]
#[template(path = "sheet.html", config = "src/report/askama.toml")]
struct Page {
    title: String,
    paper: &'static str,
    card_mm: f64,
    room: String,
    count: usize,
    total: String,
    total_g: String,
    liquid: String,
    weighed: Option<String>,
    pours: Vec<Card>,
    cards: Vec<Card>,
    strips: Vec<StripPiece>,
    split: bool,
    unplaced: Vec<(String, String, String)>,
    cautions: Vec<&'static str>,
    overview: String,
    curves: Vec<Curve>,
}

/// One bottle in words.
#[derive(Clone)]
struct Card {
    order: usize,
    note: String,
    name: String,
    remark: String,
    empty: bool,
    ml: String,
    g: String,
    level_mm: String,
    below_rim_mm: String,
    tolerance_ml: Option<String>,
    target_hz: String,
    hz: String,
    off: Option<String>,
    plus_minus: String,
    doubt: String,
    q: String,
    on_shoulder: bool,
    scale: String,
    drawing: String,
}

/// A piece of a strip on the page.
struct StripPiece {
    svg: String,
    words: String,
}

/// A fill curve with its heading.
struct Curve {
    name: String,
    words: String,
    svg: String,
}

/// The sheet as HTML for `paper`.
///
/// # Errors
/// What the template says; it writes to memory, so nothing is expected.
pub fn html(sheet: &Sheet<'_>, paper: Paper) -> Result<String, askama::Error> {
    let conditions = &sheet.set.conditions;
    let room = &conditions.room;
    let strips = strips(sheet, paper);
    let split = sheet
        .rows
        .iter()
        .any(|r| !r.is_empty() && strip(r, paper).pieces.len() > 1);
    Page {
        title: shortened(&sheet.set.title, TITLE_LETTERS),
        paper: paper.css(),
        card_mm: paper.card_mm(),
        room: format!(
            "{:.1} °C, {:.0} % damp, {:.1} kPa, {} above the liquid, lips leaving {:.0} % of the mouth open",
            room.temperature.c(),
            100.0 * room.humidity,
            room.pressure.kpa(),
            conditions.gas,
            100.0 * conditions.lip_open
        ),
        count: sheet.rows.len(),
        total: amount_ml(sheet.total().ml()),
        total_g: format!("{:.0}", sheet.total_mass().g()),
        liquid: conditions.liquid.to_string(),
        weighed: sheet
            .density_kg_m3()
            .ok()
            .map(|density| format!("{:.4}", density / 1000.0)),
        pours: sheet.in_pouring_order().into_iter().map(|r| card(r, paper)).collect(),
        cards: sheet.rows.iter().map(|r| card(r, paper)).collect(),
        strips,
        split,
        unplaced: sheet
            .unplaced
            .iter()
            .map(|u| {
                let name = shortened(&u.bottle, NAME_LETTERS);
                (u.note.to_string(), name, u.reason.clone())
            })
            .collect(),
        cautions: sheet.cautions(),
        overview: if sheet.rows.is_empty() { String::new() } else { overview(sheet) },
        curves: curves(sheet),
    }
    .render()
}

impl Page {
    /// A line to lay a ruler on, so that a printer that shrinks the page is found out.
    fn ruler(&self) -> String {
        const LONG_MM: f64 = 100.0;
        let mut svg = Svg::new(LONG_MM + 2.0, 6.0, "a line of 100 mm");
        svg.line("axis", (1.0, 3.0), (1.0 + LONG_MM, 3.0));
        for cm in 0..=10 {
            let (x, up) = (
                1.0 + 10.0 * f64::from(cm),
                if cm % 5 == 0 { 2.5 } else { 1.5 },
            );
            svg.line("mark", (x, 3.0 - up), (x, 3.0 + up));
        }
        svg.finish()
    }
}

/// Millilitres with a decimal where a decimal can be poured.
fn amount_ml(ml: f64) -> String {
    if ml < 999.95 {
        format!("{ml:.1}")
    } else {
        format!("{ml:.0}")
    }
}

fn strip(row: &Row<'_>, paper: Paper) -> Strip {
    Strip::new(&row.kind.bottle, row.fill(), paper.longest_strip())
}

fn card(row: &Row<'_>, paper: Paper) -> Card {
    let (poured, p) = (&row.poured, &row.poured.prediction);
    let drawn = drawing(&row.kind.bottle, row.fill());
    let off_cents = poured.error().cents();
    Card {
        order: row.order,
        note: row.note.to_string(),
        name: numbered_name(row),
        remark: shortened(&row.kind.remark, REMARK_LETTERS),
        empty: row.is_empty(),
        ml: amount_ml(p.fill.ml()),
        g: amount_ml(poured.mass.g()),
        level_mm: format!("{:.1}", row.level().mm()),
        below_rim_mm: format!("{:.1}", row.below_rim().mm()),
        tolerance_ml: row.tolerance().map(|v| {
            let ml = v.ml();
            if ml < 1.0 {
                format!("{ml:.2}")
            } else {
                format!("{ml:.1}")
            }
        }),
        target_hz: format!("{:.1}", poured.target.hz()),
        hz: format!("{:.1}", p.note().frequency.hz()),
        off: (off_cents.abs() >= 0.5).then(|| {
            let way = if off_cents > 0.0 { "above" } else { "below" };
            format!("{:.0} cents {way} its note", off_cents.abs())
        }),
        plus_minus: format!("{:.0}", p.uncertainty.plus_minus.cents()),
        doubt: row.doubt(),
        q: format!("{:.0}", p.note().quality),
        on_shoulder: strip(row, paper).on_shoulder,
        scale: format!("1 : {}", drawn.scale),
        drawing: drawn.svg,
    }
}

/// A name that fits, its number never cut off.
fn numbered_name(row: &Row<'_>) -> String {
    let name = shortened(&row.kind.name, NAME_LETTERS);
    if row.of > 1 {
        format!("{name} no. {}", row.number)
    } else {
        name
    }
}

fn strips(sheet: &Sheet<'_>, paper: Paper) -> Vec<StripPiece> {
    let mut all = Vec::new();
    for row in sheet.rows.iter().filter(|r| !r.is_empty()) {
        let (strip, note) = (strip(row, paper), row.note.to_string());
        let count = strip.pieces.len();
        let svgs = strip.svgs(&note, &numbered_name(row));
        for (piece, svg) in svgs.into_iter().enumerate() {
            let mut words = note.clone();
            if count > 1 {
                words += &format!(", part {} of {count}", piece + 1);
            }
            if strip.on_shoulder {
                words += " ↕";
            }
            all.push(StripPiece { svg, words });
        }
    }
    all
}

fn curves(sheet: &Sheet<'_>) -> Vec<Curve> {
    let conditions = &sheet.set.conditions;
    let mut all = Vec::new();
    for kind in &sheet.set.kinds {
        let rows: Vec<&Row<'_>> = sheet
            .rows
            .iter()
            .filter(|r| r.kind.name == kind.name)
            .collect();
        if rows.is_empty() {
            continue;
        }
        // A kind that was poured has sounded, so that its curve can be drawn; if not, the page does without.
        if let (Ok(svg), Ok((lowest, full, highest))) =
            (fill_curve(kind, &rows, conditions), reach(kind, conditions))
        {
            all.push(Curve {
                name: shortened(&kind.name, NAME_LETTERS),
                words: format!(
                    "{:.0} Hz empty, {:.0} Hz with {:.0} ml",
                    lowest.hz(),
                    highest.hz(),
                    full.ml()
                ),
                svg,
            });
        }
    }
    all
}
