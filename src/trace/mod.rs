//! The outline of a bottle from one photograph of it.
//!
//! Someone stands a bottle before a plain background and photographs it; [`trace`] finds the axis that it is the mirror
//! image of itself about, follows both of its sides, works out from where the camera looked, and gives the outer radius
//! against the height, with how sure that is and what is wrong with the picture. What is inside the glass, a photograph
//! does not show: the wall is for others to find.
//!
//! In turn: `picture` decodes and shrinks, `axis` lists what may be the mirror, `ridges` says where the picture changes
//! sharply, `path` finds the closed line of most such places on both sides, `sides` measures it in the large picture and
//! `arcs` its ends, `camera` takes the perspective out, `outline` smooths what comes of it, `doubts` says what is wrong with
//! it, `overlay` draws it; `background` and `card` find a bank card. `followed` keeps the sides without the picture, so that they
//! can be measured again, and `hand` is what a person has put right in them. All lengths within are pixels until `camera` has made
//! millimetres of them.
//!
//! ```
//! use image::{ImageFormat, Rgb, RgbImage};
//! use ullage::trace::{TraceSpec, trace};
//! use ullage::units::Length;
//! // A dark cylinder seen from far away: 80 pixels wide and 200 high.
//! let cylinder = |x: u32, y: u32| (120..200).contains(&x) && (60..260).contains(&y);
//! let grey = |x, y| if cylinder(x, y) { Rgb([40, 60, 50]) } else { Rgb([220, 220, 225]) };
//! let mut png = std::io::Cursor::new(Vec::new());
//! RgbImage::from_fn(320, 320, grey).write_to(&mut png, ImageFormat::Png)?;
//! let traced = trace(png.get_ref(), &TraceSpec::of_height(Length::from_mm(100.0)))?;
//! let middle = traced.outline.diameter_at(Length::from_mm(50.0));
//! assert!((middle.mm() - 40.0).abs() < 1.0); // 80 pixels are to 200 as 40 mm are to 100
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod arcs;
mod axis;
mod background;
mod camera;
mod card;
mod doubts;
mod error;
mod followed;
mod grips;
mod hand;
mod outline;
mod overlay;
mod path;
mod picture;
mod plane;
mod ridges;
mod sides;

pub use doubts::Doubt;
pub use error::TraceError;
pub use followed::{Followed, Measured};
pub use grips::Grip;
pub use hand::{BY_HAND, GRIPS, Hand};
pub use outline::Outline;
pub use overlay::{Overlay, Shown};
pub use picture::{MAX_BYTES, MAX_PIXELS};

use crate::units::{Length, Volume};

/// What is known beside the picture.
#[derive(Clone, Debug, PartialEq)]
pub struct TraceSpec {
    /// How the picture is brought to scale.
    pub scale: Scale,
    /// Focal length as on 35 mm film, mm, if the picture does not say; 10 to 1,000.
    pub focal_35mm: Option<f64>,
    /// What it holds to the brim, to check the outline with.
    pub capacity: Option<Volume>,
}

/// What has a known size in the picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Scale {
    /// The bottle, by its height: 20 to 1,000 mm.
    Height(Length),
    /// A bank card beside it, as far away as its axis.
    BankCard,
}

impl TraceSpec {
    /// A bottle of this height, and nothing else known.
    #[must_use]
    pub fn of_height(height: Length) -> Self {
        Self {
            scale: Scale::Height(height),
            focal_35mm: None,
            capacity: None,
        }
    }
}

/// A bottle traced in a picture.
#[derive(Clone, Debug)]
pub struct Traced {
    /// Outer radius against height.
    pub outline: Outline,
    /// What is doubtful about it, the worst first; nothing of a good picture.
    pub doubts: Vec<Doubt>,
    /// Where the camera seems to have been.
    pub view: View,
    /// The picture upright and shrunk, and where the outline is in it.
    drawn: overlay::Drawn,
}

/// Where the camera seems to have been.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct View {
    /// From the bottle's axis.
    pub distance: Length,
    /// Above the table.
    pub height: Length,
    /// How far the bottle leans in the picture, clockwise, degrees.
    pub roll_deg: f64,
    /// How far down it looked, degrees.
    pub down_deg: f64,
    /// Whether the focal length was known.
    pub focal_known: bool,
}

impl Traced {
    /// The picture with the outline drawn over it, as a PNG.
    ///
    /// # Errors
    /// [`TraceError::Overlay`], which no picture that was traced should give.
    pub fn overlay_png(&self) -> Result<Vec<u8>, TraceError> {
        self.drawn.png()
    }

    /// The picture with the outline drawn over it, at most `most_px` pixels across and down: to be shown.
    #[must_use]
    pub fn overlay_rgb(&self, most_px: u32) -> Overlay {
        self.drawn.rgb(most_px)
    }

    /// Whether what comes of it may be far off.
    #[must_use]
    pub fn is_doubtful(&self) -> bool {
        !self.doubts.is_empty()
    }
}

/// Traces the bottle in `bytes`, a JPEG, PNG or WebP of at most [`MAX_PIXELS`].
///
/// # Errors
/// No picture, too large a picture, a scale out of range, or no bottle in it: see [`TraceError`].
pub fn trace(bytes: &[u8], spec: &TraceSpec) -> Result<Traced, TraceError> {
    spec.check()?;
    let (followed, picture) = Followed::of(bytes)?;
    let spec = TraceSpec {
        focal_35mm: spec.focal_35mm.or(followed.focal_35mm()),
        ..spec.clone()
    };
    let measured = followed.measured(&spec, &Hand::default())?;
    Ok(Traced {
        outline: measured.outline,
        doubts: measured.doubts,
        view: measured.view,
        drawn: overlay::Drawn::new(picture, followed.sides()),
    })
}

impl TraceSpec {
    fn check(&self) -> Result<(), TraceError> {
        if let Scale::Height(height) = self.scale
            && !(20.0..=1000.0).contains(&height.mm())
        {
            return Err(TraceError::Height {
                height_mm: height.mm(),
            });
        }
        match self.focal_35mm {
            Some(mm) if !(10.0..=1000.0).contains(&mm) => Err(TraceError::Focal { mm }),
            _ => Ok(()),
        }
    }
}
