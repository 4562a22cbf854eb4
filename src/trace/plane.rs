//! A picture as numbers, sampled between its pixels.

use std::fmt;

/// One pixel in linear steps of 0 to 255: red, green, blue.
pub(super) type Colour = [f32; 3];

/// A picture of `width` × `height` pixels, row by row from the top.
#[derive(Clone)]
pub(super) struct Plane {
    pub width: usize,
    pub height: usize,
    pub pixels: Vec<Colour>,
}

/// Its size alone: millions of pixels are no help.
impl fmt::Debug for Plane {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} × {} pixels", self.width, self.height)
    }
}

impl Plane {
    pub fn new(width: usize, height: usize) -> Self {
        Self {
            width,
            height,
            pixels: vec![[0.0; 3]; width * height],
        }
    }

    pub fn at(&self, x: usize, y: usize) -> Colour {
        self.pixels[y * self.width + x]
    }

    /// Between pixels, whose middles are at whole numbers; outside the picture as at its edge.
    pub fn between(&self, x: f64, y: f64) -> Colour {
        let (x, y) = (
            x.clamp(0.0, (self.width - 1) as f64),
            y.clamp(0.0, (self.height - 1) as f64),
        );
        let (left, top) = (
            (x as usize).min(self.width - 2),
            (y as usize).min(self.height - 2),
        );
        let (right_share, low_share) = ((x - left as f64) as f32, (y - top as f64) as f32);
        let (nw, ne) = (self.at(left, top), self.at(left + 1, top));
        let (sw, se) = (self.at(left, top + 1), self.at(left + 1, top + 1));
        std::array::from_fn(|c| {
            let high = nw[c] + right_share * (ne[c] - nw[c]);
            let low = sw[c] + right_share * (se[c] - sw[c]);
            high + low_share * (low - high)
        })
    }

    /// Whether a place is inside.
    pub fn holds(&self, x: f64, y: f64) -> bool {
        (0.0..=(self.width - 1) as f64).contains(&x)
            && (0.0..=(self.height - 1) as f64).contains(&y)
    }
}

/// How unlike two colours are, steps.
pub(super) fn distance(a: Colour, b: Colour) -> f32 {
    let square: f32 = (0..3).map(|c| (a[c] - b[c]) * (a[c] - b[c])).sum();
    (square / 3.0).sqrt()
}

/// The middle one of `values`, which it puts in order; zero of none.
pub(super) fn median(values: &mut [f64]) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}
