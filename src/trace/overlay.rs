//! The outline drawn over the picture.

use std::fmt;
use std::io::Cursor;

use image::{ImageFormat, Rgb, RgbImage, imageops};

use super::TraceError;
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

impl Overlay {
    /// A picture, shrunk to at most so many pixels across and down.
    fn of(image: RgbImage, most_px: u32) -> Self {
        let longer = image.width().max(image.height());
        let most_px = most_px.max(1);
        let image = if longer > most_px {
            let less = |px: u32| (u64::from(px) * u64::from(most_px) / u64::from(longer)).max(1);
            let (width, height) = (less(image.width()) as u32, less(image.height()) as u32);
            imageops::thumbnail(&image, width, height)
        } else {
            image
        };
        Self {
            width: image.width(),
            height: image.height(),
            rgb: image.into_raw(),
        }
    }
}

/// A part of a picture, which lies within it.
fn part(picture: &Plane, from: [usize; 2], size: [usize; 2]) -> RgbImage {
    let byte = |value: f32| value.round().clamp(0.0, 255.0) as u8;
    RgbImage::from_fn(size[0] as u32, size[1] as u32, |x, y| {
        let (x, y) = (from[0] + x as usize, from[1] + y as usize);
        Rgb(picture.at(x, y).map(byte))
    })
}

/// The bottle's part of a photograph, to be shown.
#[derive(Clone, Debug, PartialEq)]
pub struct Shown {
    /// Its pixels.
    pub picture: Overlay,
    /// Its left upper corner in the photograph, pixels of it.
    pub from: [f64; 2],
    /// Its width and its height there.
    pub size: [f64; 2],
}

impl Shown {
    /// What is around the bottle, by this share of its height on every side.
    pub(super) fn around(picture: &Plane, sides: &Sides, (margin, most_px): (f64, u32)) -> Self {
        let places = [(&sides.left, -1.0), (&sides.right, 1.0)];
        let places = places.into_iter().flat_map(|(edges, side)| {
            let place = move |edge: &super::sides::Edge| {
                <[f64; 2]>::from(sides.frame.place(edge.along, side * edge.across))
            };
            edges.iter().map(place)
        });
        let (mut low, mut high) = ([f64::MAX; 2], [f64::MIN; 2]);
        for place in places.chain(sides.ends()) {
            for way in 0..2 {
                low[way] = low[way].min(place[way]);
                high[way] = high[way].max(place[way]);
            }
        }
        let margin = margin * sides.height();
        let within = [picture.width, picture.height];
        let from: [usize; 2] = std::array::from_fn(|way| (low[way] - margin).max(0.0) as usize);
        let size = std::array::from_fn(|way| {
            let to = ((high[way] + margin).max(0.0) as usize).min(within[way]);
            to.saturating_sub(from[way]).max(1)
        });
        Self {
            picture: Overlay::of(part(picture, from, size), most_px),
            from: from.map(|px| px as f64),
            size: size.map(|px| px as f64),
        }
    }
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
    pub fn new(picture: Plane, sides: &Sides) -> Self {
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
            thick: (picture.height as f64 / 1_200.0).max(0.6),
            picture,
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
        Overlay::of(self.image(), most_px)
    }

    fn image(&self) -> RgbImage {
        let (width, height) = (self.picture.width, self.picture.height);
        let mut image = part(&self.picture, [0, 0], [width, height]);
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
