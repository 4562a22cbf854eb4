//! Where an outline is seen in its photograph, and the points of it that a hand can move.

use std::array;

use super::camera::Camera;
use super::hand::{GRIPS, Hand, share};
use super::outline::Outline;
use super::sides::Sides;
use crate::index::GripIndex;
use crate::units::Length;

/// A point of an outline that a hand can move. A bottle is round: what is moved on one side moves on the other.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Grip {
    /// Above the table.
    pub height: Length,
    /// Outer radius there.
    pub radius: Length,
    /// Its error, one standard deviation.
    pub error: Length,
    /// Whether a hand has moved it.
    pub by_hand: bool,
    /// Where it is seen to the left and to the right of the axis, pixels of the photograph.
    pub places: [[f64; 2]; 2],
    /// Outwards on the left, a pixel long; on the right it is the opposite.
    pub outwards: [f64; 2],
    /// Pixels further out for a millimetre of radius.
    pub px_per_mm: f64,
}

/// What a hand has moved in millimetres of radius, grip by grip, of an outline as it was seen.
pub(super) fn out_mm(hand: &Hand, camera: &Camera, seen: &Outline) -> [f64; GRIPS] {
    array::from_fn(|grip| {
        let out_px = hand.out_px[grip];
        if out_px == 0.0 {
            return 0.0;
        }
        out_px / px_per_mm(camera, seen, seen.height().mm() * share(grip))
    })
}

/// Pixels that the edge moves out for a millimetre of radius.
fn px_per_mm(camera: &Camera, outline: &Outline, height: f64) -> f64 {
    let (radius, slope) = outline.radius_and_slope(height);
    let across = |radius: f64| {
        let seen = camera.silhouette(height, (radius, slope), 1.0);
        seen.map(|(_, across)| across)
    };
    match (across(radius + 0.5), across(radius - 0.5)) {
        (Some(more), Some(less)) if more > less => more - less,
        _ => 1.0 / camera.mm_per_pixel(),
    }
}

/// The points of `outline` that a hand can move, of which `seen` was seen.
pub(super) fn grips(
    hand: &Hand,
    (camera, sides): (&Camera, &Sides),
    (seen, outline): (&Outline, &Outline),
) -> Vec<Grip> {
    let (x, y) = sides.frame.place(0.0, 0.0);
    let (left, up) = sides.frame.place(0.0, -1.0);
    let grip = |index: GripIndex| {
        let height = outline.height().mm() * share(index.place());
        let (radius, slope) = outline.radius_and_slope(height);
        let by_hand = hand.out_px[index] != 0.0;
        let place = |side: f64| {
            let (along, across) = camera.silhouette(height, (radius, slope), side)?;
            Some(<[f64; 2]>::from(sides.frame.place(along, across)))
        };
        Some(Grip {
            height: Length::from_mm(height),
            radius: Length::from_mm(radius),
            error: if by_hand {
                Length::from_mm(seen.by_hand_mm())
            } else {
                seen.radius_error()
            },
            by_hand,
            places: [place(-1.0)?, place(1.0)?],
            outwards: [left - x, up - y],
            px_per_mm: px_per_mm(camera, seen, height),
        })
    };
    GripIndex::all(GRIPS).map_while(grip).collect()
}

/// Where an outline is seen: the left side and the right one from the table up, pixels of the photograph.
pub(super) fn lines(outline: &Outline, camera: &Camera, sides: &Sides) -> [Vec<[f64; 2]>; 2] {
    /// As far apart on a straight side as on a bent one, mm: the lens bends neither.
    const APART_MM: f64 = 2.0;
    let bottle = outline.height().mm();
    let steps = (bottle / APART_MM).ceil().max(1.0) as usize;
    [-1.0, 1.0].map(|side| {
        let place = |step: usize| {
            let height = bottle * step as f64 / steps as f64;
            let shape = outline.radius_and_slope(height);
            let (along, across) = camera.silhouette(height, shape, side)?;
            Some(<[f64; 2]>::from(sides.frame.place(along, across)))
        };
        (0..=steps).filter_map(place).collect()
    })
}
