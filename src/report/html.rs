//! The page itself: one HTML file for paper, filled from a template that escapes what people wrote.
//!
//! ```
//! use ullage::report::html::{Paper, html};
//! use ullage::report::sheet::Sheet;
//! let set = ullage::set::open("presets/quay/set.toml")?;
//! let page = html(&Sheet::new(&set), Paper::A4)?;
//! // The water to carry is what the file says of each bottle, added up.
//! let ml: f64 = set.pours.iter().filter_map(|pour| pour.fill).map(|fill| fill.ml()).sum();
//! assert!(page.contains(&format!("You need <b>{ml:.0} ml</b> of water")));
//! // The page loads nothing and runs nothing.
//! assert!(!page.contains("<script") && !page.contains("src=") && !page.contains("<link"));
//! // ISO 216: half a sheet of A4 has the shape of the whole, but for the millimetre that sizes are rounded to.
//! let (width_mm, height_mm) = Paper::A4.size_mm();
//! assert!((width_mm * 2f64.sqrt() - height_mm).abs() < 0.5);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use askama::Template;

use super::marks_strip::{MarksStrip, NoteMark};
use super::plots::{overview, reach};
use super::sheet::{Sheet, SheetRow};
use super::sheet_card::{Card, amount, card, numbered_name, weight};
use super::strip::Strip;
use super::svg::{Svg, shortened};
use crate::index::KindIndex;
use crate::set::{Pair, Pour, Way};
use crate::sounding::Setting;
use crate::units::Length;
use crate::units::shown::Units;

/// Letters of a name that a card or a table has room for.
pub(super) const NAME_LETTERS: usize = 44;
/// Letters of a title.
const TITLE_LETTERS: usize = 90;
/// Margins of the page and the height that the one page needs beside its table, mm; the least and the highest line of that.
const OFF_TABLE_MM: f64 = 24.0 + 92.0;
const LINES_MM: (f64, f64) = (4.2, 9.0);
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

    /// Height of a line of the one page with `lines` lines, mm: as high as a hand likes to write in, if they fit.
    fn line_mm(self, lines: usize) -> f64 {
        let room_mm = self.size_mm().1 - OFF_TABLE_MM;
        (room_mm / (lines + 2) as f64).clamp(LINES_MM.0, LINES_MM.1)
    }

    /// The longest piece of a strip that its page holds.
    #[must_use]
    pub fn longest_strip(self) -> Length {
        Length::from_mm(self.size_mm().1 - OFF_PAGE_MM)
    }
}

/// Which pages of the sheet there are.
///
/// ```
/// use ullage::report::html::{Paper, SheetPages, html_of};
/// use ullage::report::sheet::Sheet;
/// let set = ullage::set::open("presets/quay/set.toml")?;
/// let pages = SheetPages { compact: true, ..SheetPages::NONE };
/// let page = html_of(&Sheet::new(&set), Paper::A4, pages)?;
/// assert!(page.contains("harbour jug") && !page.contains("<article>") && !page.contains("Strips to cut out"));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SheetPages {
    /// Everything that is poured in its order, what to beware of, the words, and the whole set at a glance.
    pub table: bool,
    /// One page with a line for each bottle and what to beware of.
    pub compact: bool,
    /// A card for each bottle.
    pub cards: bool,
    /// The strips to cut out.
    pub strips: bool,
    /// How the pitch moves with what is set.
    pub curves: bool,
}

impl SheetPages {
    /// None of them.
    pub const NONE: Self = Self {
        table: false,
        compact: false,
        cards: false,
        strips: false,
        curves: false,
    };
}

impl Default for SheetPages {
    /// All but the one page, which the table says too.
    fn default() -> Self {
        Self {
            table: true,
            compact: false,
            cards: true,
            strips: true,
            curves: true,
        }
    }
}

#[derive(Template)]
#[template(path = "sheet.html", config = "src/report/askama.toml")]
struct Page {
    title: String,
    pages: SheetPages,
    /// Height of a line of the one page, mm.
    line_mm: f64,
    paper: &'static str,
    card_mm: f64,
    room: String,
    count: usize,
    units: Units,
    total: String,
    total_g: String,
    liquid: String,
    weighed: Option<String>,
    pours: Vec<Card>,
    cards: Vec<Card>,
    pours_liquid: bool,
    pairs: Vec<PairWords>,
    strips: Vec<StripPiece>,
    split: bool,
    marks: Vec<StripPiece>,
    blown: bool,
    struck: Option<String>,
    pressed: bool,
    unplaced: Vec<(String, String, String)>,
    cautions: Vec<&'static str>,
    overview: String,
    curves: Vec<Curve>,
}

/// A joined pair in words.
pub(crate) struct PairWords {
    pub(crate) name: String,
    pub(crate) first: String,
    pub(crate) second: String,
    pub(crate) ml: String,
    pub(crate) g: String,
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
    html_of(sheet, paper, SheetPages::default())
}

/// Some pages of the sheet.
///
/// # Errors
/// As [`html`].
pub fn html_of(
    sheet: &Sheet<'_>,
    paper: Paper,
    pages: SheetPages,
) -> Result<String, askama::Error> {
    let (conditions, units) = (&sheet.set.conditions, sheet.units);
    let strips = strips(sheet, paper);
    let split = sheet
        .rows
        .iter()
        .any(|r| r.takes_liquid() && strip(r, paper).pieces.len() > 1);
    Page {
        title: shortened(&sheet.set.title, TITLE_LETTERS),
        pages,
        line_mm: paper.line_mm(sheet.rows.len() + sheet.pairs().count()),
        paper: paper.css(),
        card_mm: paper.card_mm(),
        room: room_words(sheet),
        count: bottles(sheet),
        units,
        total: amount(sheet.total(), units),
        total_g: match units {
            Units::Si => format!("{:.0}", sheet.total_mass().g()),
            Units::Us | Units::Imperial => units.mass(sheet.total_mass()),
        },
        liquid: conditions.liquid.to_string(),
        weighed: sheet
            .density_kg_m3()
            .ok()
            .map(|density| format!("{:.4}", density / 1000.0 * units.ml() / units.g())),
        pours: sheet
            .in_pouring_order()
            .into_iter()
            .map(|r| card(r, paper, units))
            .collect(),
        cards: sheet.rows.iter().map(|r| card(r, paper, units)).collect(),
        pours_liquid: sheet.total().ml() >= 0.05,
        pairs: pairs(sheet),
        strips,
        split,
        marks: marks(sheet, paper),
        blown: sheet.rows.iter().any(|r| !r.sounded.way.is_struck()),
        struck: mallet(sheet),
        pressed: sheet.rows.iter().any(|r| r.sounded.way == Way::Pressurised),
        unplaced: sheet
            .unplaced
            .iter()
            .map(|u| {
                let name = shortened(&u.bottle, NAME_LETTERS);
                (sheet.speller.note(&u.note), name, u.reason.clone())
            })
            .collect(),
        cautions: sheet.cautions(),
        overview: if sheet.rows.is_empty() {
            String::new()
        } else {
            overview(sheet)
        },
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

pub(super) fn strip(row: &SheetRow<'_>, paper: Paper) -> Strip {
    Strip::new(&row.kind.bottle, row.fill(), paper.longest_strip())
}

/// The room in words, and what is blown through where anything is.
#[must_use]
pub fn room_words(sheet: &Sheet<'_>) -> String {
    let conditions = &sheet.set.conditions;
    let room = &conditions.room;
    let mut words = format!(
        "{}, {:.0} % damp, {:.1} kPa",
        sheet.units.temperature(room.temperature),
        100.0 * room.humidity,
        room.pressure.kpa()
    );
    if sheet.rows.is_empty() || sheet.rows.iter().any(|r| !r.sounded.way.is_struck()) {
        words += &format!(
            ", {} above the liquid, lips leaving {:.0} % of the mouth open",
            conditions.gas,
            100.0 * conditions.lip_open
        );
    }
    words
}

/// How many bottles there are: a sliding floor's notes are one bottle's.
fn bottles(sheet: &Sheet<'_>) -> usize {
    let named: std::collections::BTreeSet<(KindIndex, usize)> =
        sheet.rows.iter().map(|r| (r.pour.kind, r.number)).collect();
    named.len()
}

/// What strikes, and where, if anything does.
fn mallet(sheet: &Sheet<'_>) -> Option<String> {
    let striking = &sheet.set.striking;
    sheet
        .rows
        .iter()
        .any(|r| r.sounded.way.is_struck())
        .then(|| {
            let place = match striking.height {
                Some(height) => format!("{:.0} mm above the inside of the floor", height.mm()),
                None => "halfway up the body".to_owned(),
            };
            format!("a {} mallet, {place}", striking.mallet.name())
        })
}

fn strips(sheet: &Sheet<'_>, paper: Paper) -> Vec<StripPiece> {
    let mut all = Vec::new();
    for row in sheet.rows.iter().filter(|r| r.takes_liquid()) {
        let (strip, note) = (strip(row, paper), row.said.clone());
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

/// A strip of marks for each sliding floor and each joined pair.
fn marks(sheet: &Sheet<'_>, paper: Paper) -> Vec<StripPiece> {
    let mut all = Vec::new();
    let mut add = |name: &str, zero: &str, wanted: &dyn Fn(&Pour) -> bool| {
        let rows: Vec<&SheetRow<'_>> = sheet.rows.iter().filter(|r| wanted(r.pour)).collect();
        let mark = |r: &&SheetRow<'_>| NoteMark {
            note: r.said.clone(),
            at: match r.sounded.setting {
                Setting::Travel(at) | Setting::Lift(at) => at,
                _ => Length::default(),
            },
        };
        if rows.is_empty() {
            return;
        }
        let strip = MarksStrip::new(rows.iter().map(mark).collect(), paper.longest_strip());
        let count = strip.pieces.len();
        for (piece, svg) in strip.svgs(name, zero).into_iter().enumerate() {
            let mut words = shortened(name, 18);
            if count > 1 {
                words += &format!(", part {} of {count}", piece + 1);
            }
            all.push(StripPiece { svg, words });
        }
    };
    for (index, kind) in KindIndex::each(&sheet.set.kinds) {
        let slides = |p: &Pour| p.way == Way::Sliding && p.kind == index;
        add(&kind.name, "floor pulled out", &slides);
    }
    for (index, pair) in sheet.set.pairs.iter().enumerate() {
        let lifts = |p: &Pour| p.joined.is_some_and(|(own, _)| own == index);
        add(&pair.name, "feet level", &lifts);
    }
    all
}

/// What is poured into the joined pairs, in words.
pub(crate) fn pairs(sheet: &Sheet<'_>) -> Vec<PairWords> {
    let words = |pair: &Pair| {
        let names = pair
            .kinds
            .map(|k| shortened(&sheet.set.kinds[k].name, NAME_LETTERS));
        PairWords {
            name: shortened(&pair.name, NAME_LETTERS),
            first: names[0].clone(),
            second: names[1].clone(),
            ml: amount(pair.liquid, sheet.units),
            g: weight(sheet.pair_mass(pair), sheet.units),
        }
    };
    sheet.pairs().map(words).collect()
}

fn curves(sheet: &Sheet<'_>) -> Vec<Curve> {
    let mut all = Vec::new();
    for (index, kind) in KindIndex::each(&sheet.set.kinds) {
        for way in Way::ALL {
            let is_it = |r: &&SheetRow<'_>| r.pour.kind == index && r.pour.way == way;
            let rows: Vec<&SheetRow<'_>> = sheet.rows.iter().filter(is_it).collect();
            // A kind that was set has sounded, so that its curve can be drawn; if not, the page does without.
            if let Ok(Some(curve)) = reach(&rows, sheet.set) {
                let mut name = shortened(&kind.name, NAME_LETTERS);
                if way != Way::Blown {
                    name += &format!(", {way}");
                }
                all.push(Curve {
                    name,
                    words: curve.words,
                    svg: curve.svg,
                });
            }
        }
    }
    all
}
