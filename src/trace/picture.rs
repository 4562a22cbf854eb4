//! A picture decoded, turned upright and shrunk to what tracing needs; large ones are gone as soon as they are shrunk.

use std::io::Cursor;

use exif::{In, Tag, Value};
use image::{ColorType, DynamicImage, ImageDecoder, ImageReader, Limits};

use super::TraceError;
use super::plane::Plane;

/// The most pixels that are decoded: a little over 50 million.
pub const MAX_PIXELS: u64 = 52_000_000;
/// The longest file that is a picture of so many pixels.
pub const MAX_BYTES: u64 = 200_000_000;
/// Memory that decoding may take, bytes: so many pixels of three bytes, and a decoder's own.
const MAX_DECODING: u64 = 512 << 20;
/// Fewest pixels each way.
const MIN_SIDE: u32 = 120;
/// Longest side of the picture that edges are measured in, pixels.
const FINE: usize = 2_000;
/// Longest side of the one that they are looked for in.
const COARSE: usize = 700;
/// Longest side of the one that axes are compared in.
const TINY: usize = 350;
/// Diagonal of a frame of 35 mm film, mm, which "as on 35 mm film" refers to.
const FILM_DIAGONAL_MM: f64 = 43.27;

/// A picture in two sizes, and how it was taken.
#[derive(Clone, Debug)]
pub(super) struct Picture {
    /// For measuring.
    pub fine: Plane,
    /// For looking.
    pub coarse: Plane,
    /// For a first look.
    pub tiny: Plane,
    /// Fine pixels to a coarse one, across and down.
    pub ratio: (f64, f64),
    /// Focal length as on 35 mm film, mm, if the camera wrote it.
    pub focal_35mm: Option<f64>,
}

impl Picture {
    pub fn decode(bytes: &[u8]) -> Result<Self, TraceError> {
        let picture = |source| TraceError::Picture { source };
        let io = |source| picture(image::ImageError::IoError(source));
        let reader = ImageReader::new(Cursor::new(bytes))
            .with_guessed_format()
            .map_err(io)?;
        let mut decoder = reader.into_decoder().map_err(picture)?;
        let (width, height) = decoder.dimensions();
        if u64::from(width) * u64::from(height) > MAX_PIXELS {
            return Err(TraceError::TooLarge { width, height });
        }
        if width.min(height) < MIN_SIDE {
            return Err(TraceError::TooSmall { width, height });
        }
        let mut limits = Limits::default();
        limits.max_alloc = Some(MAX_DECODING);
        decoder.set_limits(limits).map_err(picture)?;
        let turn = decoder
            .orientation()
            .unwrap_or(image::metadata::Orientation::NoTransforms);
        let mut shrunk = shrink(decoder, width, height)?;
        shrunk.apply_orientation(turn);
        let fine = plane(&shrunk);
        let coarse = smaller(&fine, COARSE);
        let tiny = smaller(&coarse, TINY);
        let ratio = (
            fine.width as f64 / coarse.width as f64,
            fine.height as f64 / coarse.height as f64,
        );
        Ok(Self {
            fine,
            coarse,
            tiny,
            ratio,
            focal_35mm: written_focal_35mm(bytes),
        })
    }
}

/// Decodes and shrinks by a whole number in one step, so that the large picture goes at once.
fn shrink(decoder: impl ImageDecoder, width: u32, height: u32) -> Result<DynamicImage, TraceError> {
    let picture = |source| TraceError::Picture { source };
    let by = (width.max(height) as usize).div_ceil(FINE).max(1);
    let plain = matches!(decoder.color_type(), ColorType::Rgb8);
    let image = DynamicImage::from_decoder(decoder).map_err(picture)?;
    if by == 1 {
        return Ok(image);
    }
    let image = if plain {
        image.into_rgb8()
    } else {
        DynamicImage::ImageRgba8(flat(&image)).into_rgb8()
    };
    let (wide, high) = (width as usize / by, height as usize / by);
    let row_bytes = 3 * width as usize;
    let source = image.as_raw();
    let mut small = vec![0u8; 3 * wide * high];
    let mut sums = vec![0u32; 3 * wide];
    let share = (by * by) as u32;
    for (y, row) in small.chunks_exact_mut(3 * wide).enumerate() {
        sums.fill(0);
        for line in source[y * by * row_bytes..]
            .chunks_exact(row_bytes)
            .take(by)
        {
            for (sum, block) in sums.chunks_exact_mut(3).zip(line.chunks_exact(3 * by)) {
                for pixel in block.chunks_exact(3) {
                    sum[0] += u32::from(pixel[0]);
                    sum[1] += u32::from(pixel[1]);
                    sum[2] += u32::from(pixel[2]);
                }
            }
        }
        for (byte, sum) in row.iter_mut().zip(&sums) {
            *byte = (*sum / share) as u8;
        }
    }
    let small = image::RgbImage::from_raw(wide as u32, high as u32, small)
        .expect("three bytes were made for each pixel");
    Ok(DynamicImage::ImageRgb8(small))
}

/// What is see-through lies on white.
fn flat(image: &DynamicImage) -> image::RgbaImage {
    let mut image = image.to_rgba8();
    for pixel in image.pixels_mut() {
        let [r, g, b, a] = pixel.0.map(u32::from);
        let over = |c: u32| ((c * a + 255 * (255 - a)) / 255) as u8;
        pixel.0 = [over(r), over(g), over(b), 255];
    }
    image
}

fn plane(image: &DynamicImage) -> Plane {
    let image = if image.color().has_alpha() {
        DynamicImage::ImageRgba8(flat(image)).into_rgb8()
    } else {
        image.to_rgb8()
    };
    let (width, height) = (image.width() as usize, image.height() as usize);
    let colour = |pixel: &[u8]| {
        [
            f32::from(pixel[0]),
            f32::from(pixel[1]),
            f32::from(pixel[2]),
        ]
    };
    Plane {
        width,
        height,
        pixels: image.as_raw().chunks_exact(3).map(colour).collect(),
    }
}

/// The same with its longest side at most `longest`, each pixel the mean of what it covers.
fn smaller(plane: &Plane, longest: usize) -> Plane {
    let side = plane.width.max(plane.height);
    if side <= longest {
        return plane.clone();
    }
    let share = longest as f64 / side as f64;
    let size = |full: usize| ((full as f64 * share).round() as usize).max(2);
    let (width, height) = (size(plane.width), size(plane.height));
    let mut small = Plane::new(width, height);
    let from = |index: usize, small: usize, full: usize| index * full / small;
    for y in 0..height {
        let rows = from(y, height, plane.height)..from(y + 1, height, plane.height);
        for x in 0..width {
            let columns = from(x, width, plane.width)..from(x + 1, width, plane.width);
            let mut sum = [0.0f32; 3];
            for row in rows.clone() {
                for pixel in &plane.pixels[row * plane.width..][columns.clone()] {
                    for (sum, value) in sum.iter_mut().zip(pixel) {
                        *sum += value;
                    }
                }
            }
            let count = (rows.len() * columns.len()).max(1) as f32;
            small.pixels[y * width + x] = sum.map(|sum| sum / count);
        }
    }
    small
}

/// A focal length as on 35 mm film in pixels of a picture of this size.
pub(super) fn focal_px(mm: f64, (width, height): (f64, f64)) -> f64 {
    mm / FILM_DIAGONAL_MM * width.hypot(height)
}

/// The focal length as on 35 mm film that the camera wrote, mm, if it did and it can be.
fn written_focal_35mm(bytes: &[u8]) -> Option<f64> {
    let exif = exif::Reader::new()
        .read_from_container(&mut Cursor::new(bytes))
        .ok()?;
    let field = exif.get_field(Tag::FocalLengthIn35mmFilm, In::PRIMARY)?;
    let mm = match &field.value {
        Value::Short(values) => f64::from(*values.first()?),
        Value::Long(values) => f64::from(*values.first()?),
        _ => return None,
    };
    (10.0..=1000.0).contains(&mm).then_some(mm)
}
