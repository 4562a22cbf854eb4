//! Where each bottle stands: in rows from low to high, as large as they go.

use eframe::egui::{Rect, Sense, Ui, Vec2, pos2, vec2};

use super::View;
use super::glass::{Outline, Standing};
use crate::index::PourIndex;
use crate::physics::bottle::Bottle;

/// Room over the tallest bottle, points.
const TOP: f32 = 14.0;
/// The same while notes of a piece fall to the mouths: a second of them is seen over the tallest.
const FALLING: f32 = 58.0;
/// A window higher than this has room for that, points.
const HIGH: f32 = 720.0;
/// Room between two bottles, with the grip in it, points.
const GAP: f32 = 22.0;
/// Room for the names of the notes beside a bottle that plays several, points.
const MARKS: f32 = 40.0;
/// The smallest scale, points a metre: below it the shelf scrolls.
const LEAST_SCALE: f32 = 300.0;
/// The largest: twice as large as life on a common screen.
const LARGEST_SCALE: f32 = 8000.0;
/// Rows that bottles are spread over at most.
const MOST_ROWS: usize = 4;
/// A note on the stage is so much of the window's height: it is read from five metres.
const STAGE_PART: f32 = 1.0 / 12.0;

/// How large what is written under the bottles is, points.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Lettering {
    /// The note.
    pub(super) note: f32,
    /// How far off it is, and its key.
    pub(super) small: f32,
    /// Height under the table for both.
    pub(super) caption: f32,
    /// The narrowest that a bottle's place may be: its note must stand under it.
    pub(super) narrowest: f32,
    /// Room over the tallest bottle of a row.
    pub(super) over: f32,
}

impl Lettering {
    /// Of the shelf, or of the stage in a window so high; with room for a piece whose notes fall.
    pub(super) fn of(stage: bool, height: f32, has_piece: bool) -> Self {
        // In a low window, and on the stage, bottles that are seen at all come before notes that are seen for longer.
        let over = if has_piece && !stage && height > HIGH {
            FALLING
        } else {
            TOP
        };
        if stage {
            let note = (height * STAGE_PART).max(30.0);
            return Self {
                note,
                small: 0.4 * note,
                caption: 1.35 * note,
                // Three letters and an arrow.
                narrowest: 2.05 * note,
                over,
            };
        }
        Self {
            note: 17.0,
            small: 13.0,
            caption: 62.0,
            narrowest: 44.0,
            over,
        }
    }
}

/// A bottle in its place, with all the notes that it plays.
pub(super) struct Placed {
    /// Its notes from low to high.
    pub(super) pours: Vec<PourIndex>,
    /// The one that it plays now.
    pub(super) index: PourIndex,
    pub(super) outline: Outline,
    pub(super) standing: Standing,
    /// From the top of the shelf to the end of the captions.
    pub(super) column: Rect,
}

impl Placed {
    /// Whether it plays several notes.
    pub(super) fn has_marks(&self) -> bool {
        self.pours.len() > 1
    }

    /// The rectangle around the bottle.
    pub(super) fn rect(&self) -> Rect {
        self.standing.rect(&self.outline)
    }
}

/// The kind of bottle of a pour.
pub(super) fn kind<'a>(view: &'a View<'_>, index: PourIndex) -> &'a Bottle {
    &view.document.fixed.kinds[view.document.model.pours[index].kind].bottle
}

/// The bottles from low to high by their lowest notes, each with all its notes; the two of a pair beside each other.
pub(super) fn bottles(view: &View<'_>) -> Vec<Vec<PourIndex>> {
    let first = |pour: PourIndex| view.bottle_of.get(pour.place()).copied().unwrap_or(pour);
    let mut all: Vec<Vec<PourIndex>> = Vec::new();
    for &pour in &view.derived.order {
        match all.iter_mut().find(|own| first(own[0]) == first(pour)) {
            Some(own) => own.push(pour),
            None => all.push(vec![pour]),
        }
    }
    let pair = |own: &[PourIndex]| {
        view.document.model.pours[own[0]]
            .joined
            .map(|(pair, _)| pair)
    };
    let mut together: Vec<Vec<PourIndex>> = Vec::with_capacity(all.len());
    for own in all {
        let partner = pair(&own).and_then(|it| together.iter().position(|o| pair(o) == Some(it)));
        match partner {
            Some(place) => together.insert(place + 1, own),
            None => together.push(own),
        }
    }
    together
}

/// What stands in a place, and how wide that has to be.
struct Wide {
    outline: Outline,
    marks: bool,
}

/// How the bottles are spread over the shelf.
struct Spread {
    /// Points a metre.
    scale: f32,
    /// Bottles of each row, from the top.
    rows: Vec<usize>,
}

/// Width of a bottle's place.
fn width(wide: &Wide, scale: f32, lettering: Lettering) -> f32 {
    let marks = if wide.marks { 2.0 * MARKS } else { 0.0 };
    (2.0 * wide.outline.radius_m as f32 * scale + marks).max(lettering.narrowest) + GAP
}

/// The rows at a scale: as many bottles in each as go in.
fn rows_at(all: &[Wide], scale: f32, room: f32, lettering: Lettering) -> Vec<usize> {
    let mut rows = vec![0];
    let mut used = 0.0;
    for one in all {
        let wide = width(one, scale, lettering);
        if used + wide > room && used > 0.0 {
            rows.push(0);
            used = 0.0;
        }
        used += wide;
        if let Some(last) = rows.last_mut() {
            *last += 1;
        }
    }
    rows
}

/// The tallest of a row, points.
fn tallest(row: &[Wide], scale: f32) -> f32 {
    row.iter()
        .fold(0.0, |most: f32, one| most.max(one.outline.height_m as f32))
        * scale
}

/// Points that rows of these bottles take from top to bottom.
fn height(all: &[Wide], rows: &[usize], scale: f32, lettering: Lettering) -> f32 {
    let mut from = 0;
    let tall = rows.iter().map(|count| {
        let row = &all[from..from + count];
        from += count;
        tallest(row, scale) + lettering.caption + lettering.over
    });
    tall.sum()
}

/// The largest scale at which everything fits, by halving; one row that scrolls where nothing does.
fn spread(all: &[Wide], room: Vec2, lettering: Lettering) -> Spread {
    let fits = |scale: f32| {
        let rows = rows_at(all, scale, room.x, lettering);
        let is_high = height(all, &rows, scale, lettering) > room.y;
        (rows.len() <= MOST_ROWS && !is_high).then_some(rows)
    };
    let (mut low, mut high) = (LEAST_SCALE, LARGEST_SCALE);
    let Some(mut rows) = fits(low) else {
        let one = vec![all.len()];
        let over = lettering.caption + lettering.over;
        let tall = tallest(all, 1.0).max(0.01);
        let scale = ((room.y - over).max(60.0) / tall).min(LEAST_SCALE);
        return Spread { scale, rows: one };
    };
    for _ in 0..12 {
        let middle = 0.5 * (low + high);
        match fits(middle) {
            Some(found) => (low, rows) = (middle, found),
            None => high = middle,
        }
    }
    Spread { scale: low, rows }
}

/// Every bottle in its place, as large as it goes.
pub(super) fn place(ui: &mut Ui, view: &View<'_>, lettering: Lettering) -> Vec<Placed> {
    let bottles = bottles(view);
    let all: Vec<Wide> = bottles
        .iter()
        .map(|own| Wide {
            outline: Outline::of(kind(view, own[0])),
            marks: own.len() > 1,
        })
        .collect();
    let room = ui.available_size();
    let Spread { scale, rows } = spread(&all, room, lettering);
    let wide = |row: &[Wide]| row.iter().map(|o| width(o, scale, lettering)).sum::<f32>();
    let mut from = 0;
    let mut widest = room.x;
    for count in &rows {
        widest = widest.max(wide(&all[from..from + count]));
        from += count;
    }
    let (rect, _) = ui.allocate_exact_size(vec2(widest, room.y), Sense::hover());
    let needed = height(&all, &rows, scale, lettering);
    let spare = (rect.height() - needed).max(0.0) / rows.len() as f32;
    let mut placed = Vec::with_capacity(bottles.len());
    let mut bottles = bottles.into_iter();
    let (mut top, mut from) = (rect.top(), 0);
    for count in rows {
        let row = &all[from..from + count];
        from += count;
        let table = top + spare + lettering.over + tallest(row, scale);
        let mut left = rect.left() + 0.5 * (rect.width() - wide(row)).max(0.0);
        for (one, pours) in row.iter().zip(bottles.by_ref()) {
            let right = left + width(one, scale, lettering);
            let foot = pos2(0.5 * (left + right - GAP) + 3.0, table);
            let end = table + lettering.caption;
            let column = Rect::from_min_max(pos2(left, top), pos2(right, end));
            left = right;
            let first = view.bottle_of.get(pours[0].place()).copied();
            placed.push(Placed {
                index: view.current(first.unwrap_or(pours[0])),
                pours,
                outline: one.outline.clone(),
                standing: Standing { foot, scale },
                column,
            });
        }
        top = table + lettering.caption;
    }
    placed
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_note_on_the_stage_is_a_twelfth_of_the_window() {
        for height in [480.0, 600.0, 1000.0, 2160.0] {
            let stage = Lettering::of(true, height, false);
            assert!(stage.note >= height / 12.0, "{stage:?}");
            assert!(stage.caption > stage.note);
        }
    }
}
