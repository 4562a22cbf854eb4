//! The outline drawn over the picture.

use std::fmt;
use std::io::Cursor;

use image::{ImageFormat, Rgb, RgbImage, imageops};

use super::TraceError;
use super::picture::Picture;
use super::plane::Plane;
use super::sides::Sides;

/// What is drawn: the outline, the lip and the base, the axis.
const LINE: [u8; 3] = [230, 20, 90];
const ARC: [u8; 3] = [20, 110, 230];
const AXIS: [u8; 3] = [20, 160, 60];

/// A picture with the outline drawn over it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Overlay {
    /// Pixels across.
    pub width: u32,
    /// Pixels down.
    pub height: u32,
    /// Red, green and blue of each, row by row from the top.
    pub rgb: Vec<u8>,
}

/// A picture and the pixels of it that are drawn over.
#[derive(Clone)]
pub(super) struct Drawn {
    picture: Plane,
    dots: Vec<(f64, f64, [u8; 3])>,
    /// Half the thickness of the outline, pixels.
    thick: f64,
}

/// What it is drawn over alone.
impl fmt::Debug for Drawn {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "an outline over {:?}", self.picture)
    }
}

impl Drawn {
    pub fn new(picture: Picture, sides: &Sides) -> Self {
        let mut dots = Vec::new();
        let mut dot = |along: f64, across: f64, colour| {
            let (x, y) = sides.frame.place(along, across);
            dots.push((x, y, colour));
        };
        let (top, bottom) = (sides.lip.apex, sides.base.apex);
        let mut along = top;
        while along < bottom {
            dot(along, 0.0, AXIS);
            along += 6.0;
        }
        for (arc, outwards) in [(&sides.lip, -1.0), (&sides.base, 1.0)] {
            for k in -95..=95 {
                let x = f64::from(k) / 100.0;
                let along = arc.apex - outwards * arc.depth * (1.0 - (1.0 - x * x).sqrt());
                dot(along, x * arc.half, ARC);
            }
        }
        for (edges, side) in [(&sides.left, -1.0), (&sides.right, 1.0)] {
            for edge in edges {
                dot(edge.along, side * edge.across, LINE);
            }
        }
        Self {
            thick: (picture.fine.height as f64 / 1_200.0).max(0.6),
            picture: picture.fine,
            dots,
        }
    }

    pub fn png(&self) -> Result<Vec<u8>, TraceError> {
        let mut bytes = Cursor::new(Vec::new());
        self.image()
            .write_to(&mut bytes, ImageFormat::Png)
            .map_err(|source| TraceError::Overlay { source })?;
        Ok(bytes.into_inner())
    }

    /// At most so many pixels across and down.
    pub fn rgb(&self, most_px: u32) -> Overlay {
        let image = self.image();
        let longer = image.width().max(image.height());
        let most_px = most_px.max(1);
        let image = if longer > most_px {
            let less = |px: u32| (u64::from(px) * u64::from(most_px) / u64::from(longer)).max(1);
            let (width, height) = (less(image.width()) as u32, less(image.height()) as u32);
            imageops::thumbnail(&image, width, height)
        } else {
            image
        };
        Overlay {
            width: image.width(),
            height: image.height(),
            rgb: image.into_raw(),
        }
    }

    fn image(&self) -> RgbImage {
        let picture = &self.picture;
        let byte = |value: f32| value.round().clamp(0.0, 255.0) as u8;
        let mut image = RgbImage::from_fn(picture.width as u32, picture.height as u32, |x, y| {
            Rgb(picture.at(x as usize, y as usize).map(byte))
        });
        let reach = self.thick.ceil() as i64;
        for &(x, y, colour) in &self.dots {
            for dy in -reach..=reach {
                for dx in -reach..=reach {
                    let (px, py) = (x.round() as i64 + dx, y.round() as i64 + dy);
                    let inside = (dx as f64).hypot(dy as f64) <= self.thick + 0.2;
                    if let (true, Ok(px), Ok(py)) = (inside, u32::try_from(px), u32::try_from(py))
                        && let Some(pixel) = image.get_pixel_mut_checked(px, py)
                    {
                        *pixel = Rgb(colour);
                    }
                }
            }
        }
        image
    }
}
