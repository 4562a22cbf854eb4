//! A bottle drawn to scale: its bore, the wall around it, and the liquid at its level.
//!
//! ```
//! use ullage::report::drawing::drawing;
//! use ullage::units::Volume;
//! let set = ullage::set::open("presets/quay/set.toml")?;
//! let bottle = &set.kinds[0].bottle; // the harbour jug
//! let fill = Volume::from_ml(2500.0);
//! let drawn = drawing(bottle, fill);
//! // A ruler on the paper, from the table up to the level, times the scale: what a ruler beside the jug shows.
//! let y_mm = |line: &str| -> Option<f64> {
//!     let (_, from) = drawn.svg.split_once(&format!(r#"class="{line}""#))?;
//!     from.split_once("y1=\"")?.1.split('"').next()?.parse().ok()
//! };
//! let on_paper_mm = y_mm("table").ok_or("no table")? - y_mm("level").ok_or("no level")?;
//! let beside_jug_mm = bottle.level_outside(fill).mm();
//! // The picture has thousandths of a millimetre, and two of them are rounded.
//! assert!((on_paper_mm * drawn.scale - beside_jug_mm).abs() <= 0.001 * drawn.scale + 1e-9);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use super::svg::Svg;
use crate::physics::bottle::Bottle;
use crate::units::{Length, Volume};

/// The largest drawing of a bottle, mm: it leaves the card's width to the numbers.
const BOX_MM: (f64, f64) = (46.0, 64.0);
/// Room beside and around the bottle, mm.
const MARGIN_MM: f64 = 2.0;
/// Distance of the lines that are drawn across liquid: on paper, and of a bottle on a screen.
const RIPPLE_MM: f64 = 2.0;
const SCREEN_RIPPLE_MM: f64 = 9.0;
/// How thick a sliding floor is drawn, mm: a taste.
const PLATE_MM: f64 = 8.0;
/// Scales that a ruler can follow: one to these.
const SCALES: [f64; 16] = [
    1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 4.5, 5.0, 6.0, 8.0, 10.0, 15.0, 20.0, 30.0, 50.0,
];

/// A drawing, and one to how much it is drawn.
#[derive(Clone, Debug, PartialEq)]
pub struct Drawing {
    /// Millimetres of bottle to a millimetre of paper.
    pub scale: f64,
    /// The picture.
    pub svg: String,
}

/// Where things are on the paper, mm.
struct Place {
    scale: f64,
    middle_mm: f64,
    table_mm: f64,
    /// From one of the liquid's lines to the next.
    ripple_mm: f64,
}

impl Place {
    fn at(&self, height_m: f64, radius_m: f64) -> (f64, f64) {
        let (height, radius) = (Length::from_m(height_m), Length::from_m(radius_m));
        (
            self.middle_mm + radius.mm() / self.scale,
            self.table_mm - height.mm() / self.scale,
        )
    }

    /// A shape symmetric about the axis, from its right side, floor to top.
    fn turned(&self, side: &[(f64, f64)]) -> Vec<(f64, f64)> {
        let right = side.iter().map(|&(h, r)| self.at(h, r));
        let left = side.iter().rev().map(|&(h, r)| self.at(h, -r));
        right.chain(left).collect()
    }
}

/// What is in a bottle that is drawn.
#[derive(Clone, Copy)]
enum Content {
    Liquid(Volume),
    /// A floor that is pushed in so far.
    Floor(Length),
}

impl Content {
    const fn words(self) -> &'static str {
        match self {
            Self::Liquid(_) => "the bottle in section, liquid at its level",
            Self::Floor(_) => "the bottle in section, its floor pushed in",
        }
    }
}

/// `bottle` with `fill` in it.
#[must_use]
pub fn drawing(bottle: &Bottle, fill: Volume) -> Drawing {
    on_paper(bottle, Content::Liquid(fill))
}

/// `bottle` with its sliding floor pushed in by `travel`.
///
/// ```
/// use ullage::report::drawing::slid_drawing;
/// use ullage::units::Length;
/// let set = ullage::set::open("presets/slide/set.toml")?;
/// let bottle = &set.kinds[0].bottle;
/// let drawn = slid_drawing(bottle, Length::from_mm(90.0));
/// let y_mm = |line: &str| -> Option<f64> {
///     let (_, from) = drawn.svg.split_once(&format!(r#"class="{line}""#))?;
///     from.split_once("y1=\"")?.1.split('"').next()?.parse().ok()
/// };
/// let on_paper_mm = y_mm("table").ok_or("no table")? - y_mm("level").ok_or("no face")?;
/// // The bottle's own floor stands under the way that the other is pushed.
/// let face_mm = 90.0 + bottle.floor().mm();
/// assert!((on_paper_mm * drawn.scale - face_mm).abs() <= 0.001 * drawn.scale + 1e-9);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[must_use]
pub fn slid_drawing(bottle: &Bottle, travel: Length) -> Drawing {
    on_paper(bottle, Content::Floor(travel))
}

fn on_paper(bottle: &Bottle, content: Content) -> Drawing {
    let outside = outside(bottle);
    let (height_m, radius_m) = outside
        .iter()
        .fold((0.0f64, 0.0f64), |(h, r), p| (h.max(p.0), r.max(p.1)));
    let (height_mm, width_mm) = (
        Length::from_m(height_m).mm(),
        2.0 * Length::from_m(radius_m).mm(),
    );
    let least = (height_mm / BOX_MM.1).max(width_mm / BOX_MM.0);
    let scale = SCALES
        .into_iter()
        .find(|&s| s >= least)
        .unwrap_or_else(|| least.ceil());
    let drawn_mm = height_mm / scale + 2.0 * MARGIN_MM;
    let paper_mm = BOX_MM.0 + 2.0 * MARGIN_MM;
    let place = Place {
        scale,
        middle_mm: paper_mm / 2.0,
        table_mm: drawn_mm - MARGIN_MM,
        ripple_mm: RIPPLE_MM,
    };
    let mut svg = Svg::new(paper_mm, drawn_mm, content.words());
    draw(&mut svg, &place, bottle, content);
    svg.line("table", (0.0, place.table_mm), (paper_mm, place.table_mm));
    Drawing {
        scale,
        svg: svg.finish(),
    }
}

/// A drawing for a screen: `width` and `height` are those of the bottle with its margins, and a user unit of the picture is a
/// millimetre of it, so that bottles beside each other can be shown at one scale.
#[derive(Clone, Debug, PartialEq)]
pub struct ScreenDrawing {
    /// How wide it is.
    pub width: Length,
    /// How high.
    pub height: Length,
    /// The picture.
    pub svg: String,
}

/// `bottle` with `fill` in it, for a screen.
#[must_use]
pub fn screen_drawing(bottle: &Bottle, fill: Volume) -> ScreenDrawing {
    on_screen(bottle, Content::Liquid(fill))
}

/// `bottle` with its sliding floor pushed in by `travel`, for a screen.
#[must_use]
pub fn slid_screen_drawing(bottle: &Bottle, travel: Length) -> ScreenDrawing {
    on_screen(bottle, Content::Floor(travel))
}

fn on_screen(bottle: &Bottle, content: Content) -> ScreenDrawing {
    let outside = outside(bottle);
    let largest = |of: fn(&(f64, f64)) -> f64| outside.iter().map(of).fold(0.0, f64::max);
    let (height_m, radius_m) = (largest(|p| p.0), largest(|p| p.1));
    let width_mm = 2.0 * Length::from_m(radius_m).mm() + 2.0 * MARGIN_MM;
    let height_mm = Length::from_m(height_m).mm() + 2.0 * MARGIN_MM;
    let place = Place {
        scale: 1.0,
        middle_mm: width_mm / 2.0,
        table_mm: height_mm - MARGIN_MM,
        ripple_mm: SCREEN_RIPPLE_MM,
    };
    let mut svg = Svg::new(width_mm, height_mm, content.words());
    draw(&mut svg, &place, bottle, content);
    ScreenDrawing {
        width: Length::from_mm(width_mm),
        height: Length::from_mm(height_mm),
        svg: svg.finish(),
    }
}

/// The wall, the air in it, and the liquid or the floor.
fn draw(svg: &mut Svg, place: &Place, bottle: &Bottle, content: Content) {
    svg.polygon("glass", &place.turned(&outside(bottle)));
    let floor_m = bottle.floor().m();
    let inside: Vec<_> = bottle
        .bore()
        .points()
        .iter()
        .map(|p| (p.height_m + floor_m, p.radius_m))
        .collect();
    svg.polygon("air", &place.turned(&inside));
    match content {
        Content::Liquid(fill) => draw_liquid(svg, place, bottle, fill),
        Content::Floor(travel) => draw_floor(svg, place, bottle, travel),
    }
}

/// A floor that slides: its face as a line that reaches out on both sides, a plate under it, and the rod that pushes it.
fn draw_floor(svg: &mut Svg, place: &Place, bottle: &Bottle, travel: Length) {
    let face_m = travel.m() + bottle.floor().m();
    let under_m = (face_m - Length::from_mm(PLATE_MM).m()).max(0.0);
    let radius_m = bottle.bore().radius_at(travel).m();
    let plate = [(under_m, radius_m), (face_m, radius_m)];
    svg.polygon("glass", &place.turned(&plate));
    svg.line("mark", place.at(under_m, 0.0), place.at(0.0, 0.0));
    let (_, y) = place.at(face_m, 0.0);
    svg.line("level", (0.0, y), (2.0 * place.middle_mm, y));
}

/// The liquid, and the level as a line that reaches out on both sides.
fn draw_liquid(svg: &mut Svg, place: &Place, bottle: &Bottle, fill: Volume) {
    let floor_m = bottle.floor().m();
    let level = bottle.bore().level_of(fill);
    let mut side: Vec<(f64, f64)> = bottle
        .bore()
        .points()
        .iter()
        .filter(|p| p.height_m < level.m())
        .map(|p| (p.height_m + floor_m, p.radius_m))
        .collect();
    if side.is_empty() {
        return;
    }
    let surface = (level.m() + floor_m, bottle.bore().radius_at(level).m());
    side.push(surface);
    svg.polygon("liquid", &place.turned(&side));
    // Short lines across it, as liquid is drawn: without colour it is still told from glass and air.
    let step_m = Length::from_mm(place.ripple_mm * place.scale).m();
    let mut row = 1;
    while surface.0 - f64::from(row) * step_m > floor_m {
        let height_m = surface.0 - f64::from(row) * step_m;
        let radius_m = bottle
            .bore()
            .radius_at(Length::from_m(height_m - floor_m))
            .m()
            * 0.86;
        svg.line(
            if row % 2 == 0 { "ripple" } else { "ripple odd" },
            place.at(height_m, -radius_m),
            place.at(height_m, radius_m),
        );
        row += 1;
    }
    let (_, y) = place.at(surface.0, 0.0);
    svg.line("level", (0.0, y), (2.0 * place.middle_mm, y));
}

/// The outside from the table up, as (height, radius) in metres: the bore with the wall around it, the
/// floor under it, and the lip as thick as it was measured.
#[must_use]
pub fn outside(bottle: &Bottle) -> Vec<(f64, f64)> {
    let (wall_m, lip_m, floor_m) = (bottle.wall().m(), bottle.lip_wall().m(), bottle.floor().m());
    let bore = bottle.bore();
    let (foot_m, top_m) = (bottle.neck_foot().m(), bore.height().m());
    let thickness = |height_m: f64| {
        let share = if top_m > foot_m {
            ((height_m - foot_m) / (top_m - foot_m)).clamp(0.0, 1.0)
        } else {
            0.0
        };
        wall_m + (lip_m - wall_m) * share
    };
    let first = bore.points()[0];
    let mut side = vec![(0.0, first.radius_m + 0.5 * wall_m)];
    side.extend(
        bore.points()
            .iter()
            .map(|p| (p.height_m + floor_m, p.radius_m + thickness(p.height_m))),
    );
    side
}
