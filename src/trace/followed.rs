//! A bottle whose sides have been followed in a photograph, and what they measure with what is known beside it.

use super::camera::{Camera, Known};
use super::doubts::{self, Doubt};
use super::grips::{self, Grip};
use super::hand::Hand;
use super::outline::Outline;
use super::overlay::Shown;
use super::picture::{self, Picture};
use super::plane::Plane;
use super::sides::Sides;
use super::{Scale, TraceError, TraceSpec, View, card};

/// The sides of a bottle as a photograph shows them. Following them takes most of the time of a trace and needs all of the
/// picture; what is measured by them takes a millisecond and needs none of it.
///
/// ```
/// use image::{ImageFormat, Rgb, RgbImage};
/// use ullage::trace::{Followed, Hand, TraceSpec};
/// use ullage::units::Length;
/// // A dark cylinder seen from far away: 80 pixels wide and 200 high.
/// let cylinder = |x: u32, y: u32| (120..200).contains(&x) && (60..260).contains(&y);
/// let grey = |x, y| if cylinder(x, y) { Rgb([40, 60, 50]) } else { Rgb([220, 220, 225]) };
/// let mut png = std::io::Cursor::new(Vec::new());
/// RgbImage::from_fn(320, 320, grey).write_to(&mut png, ImageFormat::Png)?;
/// let (followed, _) = Followed::shown(png.get_ref(), 1_000)?;
/// let spec = TraceSpec::of_height(Length::from_mm(100.0));
/// let seen = followed.measured(&spec, &Hand::default())?;
/// // A hand moves the glass 4 pixels out, 2 mm, and is less sure than the eye.
/// let mut hand = Hand::default();
/// hand.out_px[8] = 4.0;
/// let moved = followed.measured(&spec, &hand)?;
/// let out = moved.grips[8].radius.mm() - seen.grips[8].radius.mm();
/// assert!((out - 2.0).abs() < 0.05, "{out}");
/// assert!(moved.grips[8].error > seen.grips[8].error && moved.grips[2] == seen.grips[2]);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug)]
pub struct Followed {
    sides: Sides,
    /// Pixels across and down of the picture that they are measured in.
    size: (f64, f64),
    focal_35mm: Option<f64>,
    /// Millimetres to a pixel, by a bank card beside the bottle, if there is one.
    by_card_mm: Option<f64>,
}

/// What the sides of a bottle measure.
#[derive(Clone, Debug)]
pub struct Measured {
    /// Outer radius against height.
    pub outline: Outline,
    /// What is doubtful about it, the worst first.
    pub doubts: Vec<Doubt>,
    /// Where the camera seems to have been.
    pub view: View,
    /// What a hand can move, from the table up.
    pub grips: Vec<Grip>,
    /// Both ends of the axis: the mouth and the base, pixels of the photograph.
    pub ends: [[f64; 2]; 2],
    /// Where the outline is seen, left and right from the table up, pixels of the photograph.
    pub lines: [Vec<[f64; 2]>; 2],
    /// Pixels to a millimetre at the axis.
    pub px_per_mm: f64,
}

/// Room around the bottle that is shown of a photograph, as a share of its height.
const MARGIN: f64 = 0.08;

impl Followed {
    /// Follows the sides of the bottle in `bytes`, as [`trace`](super::trace) does, and gives its part of the photograph, at
    /// most so many pixels across and down.
    ///
    /// # Errors
    /// No picture, too large a picture, or no bottle in it: see [`TraceError`].
    pub fn shown(bytes: &[u8], most_px: u32) -> Result<(Self, Shown), TraceError> {
        let (followed, picture) = Self::of(bytes)?;
        let shown = Shown::around(&picture, &followed.sides, (MARGIN, most_px));
        Ok((followed, shown))
    }

    /// With the whole photograph.
    pub(super) fn of(bytes: &[u8]) -> Result<(Self, Plane), TraceError> {
        let picture = Picture::decode(bytes)?;
        let sides = Sides::follow(&picture)?;
        let followed = Self {
            size: (picture.fine.width as f64, picture.fine.height as f64),
            focal_35mm: picture.focal_35mm,
            by_card_mm: card::mm_per_pixel(&picture, &sides).ok(),
            sides,
        };
        Ok((followed, picture.fine))
    }

    pub(super) fn sides(&self) -> &Sides {
        &self.sides
    }

    /// The focal length as on 35 mm film that the camera wrote into the picture, mm.
    #[must_use]
    pub fn focal_35mm(&self) -> Option<f64> {
        self.focal_35mm
    }

    /// What they measure, put right by a hand. The focal length is what `spec` says, and unknown if it says none.
    ///
    /// # Errors
    /// A scale out of range, no card, or nothing that a camera would see so: see [`TraceError`].
    pub fn measured(&self, spec: &TraceSpec, hand: &Hand) -> Result<Measured, TraceError> {
        spec.check()?;
        let turned;
        let sides = if hand.mouth.is_some() || hand.base.is_some() {
            turned = self.sides.about(hand)?;
            &turned
        } else {
            &self.sides
        };
        let known = match spec.scale {
            Scale::Height(height) => Known::Height(height.mm()),
            Scale::BankCard => Known::MmPerPixel(self.by_card_mm.ok_or(TraceError::NoCard)?),
        };
        let lens = spec.focal_35mm;
        let lens = lens.map(|mm| picture::focal_px(mm, self.size));
        let camera = Camera::solve(self.size, lens, sides, known)?;
        let seen = Outline::seen(&camera, sides)?;
        let outline = seen.moved(&grips::out_mm(hand, &camera, &seen));
        Ok(Measured {
            doubts: doubts::of(sides, &camera, &outline, spec),
            view: camera.view(sides),
            grips: grips::grips(hand, (&camera, sides), (&seen, &outline)),
            ends: sides.ends(),
            lines: grips::lines(&outline, &camera, sides),
            px_per_mm: 1.0 / camera.mm_per_pixel(),
            outline,
        })
    }
}
