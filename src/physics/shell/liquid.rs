//! Liquid inside a wall: it flows without turning, cannot be compressed, and its surface is free.
//!
//! For n waves around the potential φ(r, z) cos nθ is solved on the bore stretched to r = ξ R(z), 0 ≤ ξ ≤ 1. Across, it
//! is ξⁿ times polynomials in ξ², as every smooth flow is near the axis; along, it is linear between the points of
//! the wall and the level. φ = 0 at the surface (gravity is 1e5 times too weak to matter at these frequencies), no flow
//! through the floor. What comes out is the mass that the wall feels: ρ ∫ φ w dA.

use super::ShellError;
use super::banded::{Banded, Factor};
use super::dry::AT_POINT;
use super::element::{Piece, Row, UNKNOWNS, value};
use crate::units::Length;

use super::super::profile::Profile;

/// Polynomials across.
const ACROSS: usize = 6;
/// Gauss points across and their weights come from Legendre's polynomial of this degree: exact to the 39th power, more
/// than 2n + 4·5 asks for up to 9 waves.
const POINTS_ACROSS: usize = 20;
/// Thinner layers than this share of the bore's radius move nothing.
const THINNEST: f64 = 1e-6;
/// A piece of the wall that rises by less is flat, m: a floor.
pub(super) const FLAT_M: f64 = 1e-9;

/// Liquid in a bore up to a level.
#[derive(Clone, Debug)]
pub struct Column {
    bore: Profile,
    level_m: f64,
    density_kg_m3: f64,
}

/// The liquid's mass on the wall for one number of waves around.
#[derive(Clone, Debug)]
pub(super) struct Wetted {
    density_kg_m3: f64,
    factor: Factor,
    rings: usize,
    /// Ring below, first unknown of the wall, and what the wall's unknowns push at the ring below and the one above.
    pushes: Vec<(usize, usize, [Row; 2])>,
}

impl Column {
    /// Liquid of a density up to `level` above the inner floor of `bore`.
    ///
    /// # Errors
    /// A density that is not positive, or a level outside the bore.
    pub fn new(bore: &Profile, level: Length, density_kg_m3: f64) -> Result<Self, ShellError> {
        let height = bore.height();
        let fits = (0.0..=height.m() * (1.0 + 1e-12)).contains(&level.m());
        if !(fits && density_kg_m3.is_finite() && density_kg_m3 > 0.0) {
            return Err(ShellError::Liquid {
                density_kg_m3,
                level_mm: level.mm(),
                height_mm: height.mm(),
            });
        }
        Ok(Self {
            bore: bore.clone(),
            level_m: level.m(),
            density_kg_m3,
        })
    }

    /// The level above the inner floor, m.
    pub(super) fn level_m(&self) -> f64 {
        self.level_m
    }

    pub(super) fn density_kg_m3(&self) -> f64 {
        self.density_kg_m3
    }

    /// The shares of `piece` between which liquid stands against its inside.
    pub(super) fn wet_shares(&self, piece: &Piece) -> Option<(f64, f64)> {
        let rise_m = piece.to[0] - piece.from[0];
        // The floor and anything flat is left out: it hardly moves.
        if rise_m <= FLAT_M {
            return None;
        }
        let share = |height_m: f64| ((height_m - piece.from[0]) / rise_m).clamp(0.0, 1.0);
        let (from, to) = (share(0.0), share(self.level_m));
        (to - from > 1e-9).then_some((from, to))
    }

    /// The mass that a wall of `pieces` feels, with `n` waves around; nothing for a film.
    pub(super) fn wetted(&self, pieces: &[Piece], n: u32) -> Result<Option<Wetted>, ShellError> {
        let radius_m = |height_m: f64| self.bore.radius_at(Length::from_m(height_m)).m();
        if self.level_m < THINNEST * radius_m(0.0) {
            return Ok(None);
        }
        let wet: Vec<(usize, f64, f64)> = pieces
            .iter()
            .enumerate()
            .filter_map(|(index, piece)| {
                let (from, to) = self.wet_shares(piece)?;
                Some((index, from, to))
            })
            .collect();
        let height =
            |piece: &Piece, share: f64| piece.from[0] + share * (piece.to[0] - piece.from[0]);
        let across = Across::new(n);
        let rings = wet.len();
        let mut matrix = Banded::zeros(ACROSS * rings, 2 * ACROSS - 1);
        let mut pushes = Vec::with_capacity(rings);
        for (ring, &(index, from, to)) in wet.iter().enumerate() {
            let piece = &pieces[index];
            let heights_m = [height(piece, from), height(piece, to)];
            let radii_m = heights_m.map(radius_m);
            across.add_slice(&mut matrix, ring, rings, heights_m, radii_m);
            let slant = (heights_m[1] - heights_m[0]).hypot(radii_m[1] - radii_m[0])
                / (piece.length_m() * (to - from));
            let mut push = [[0.0; UNKNOWNS]; 2];
            for (place, weight_m, t) in piece.places_between(from, to) {
                let inner_m = radii_m[0] + t * (radii_m[1] - radii_m[0]);
                for (row, hat) in push.iter_mut().zip([1.0 - t, t]) {
                    for (sum, w) in row.iter_mut().zip(place.w) {
                        *sum += hat * w * inner_m * slant * weight_m;
                    }
                }
            }
            pushes.push((ring, AT_POINT * index, push));
        }
        let factor = matrix.factor().ok_or_else(|| ShellError::Liquid {
            density_kg_m3: self.density_kg_m3,
            level_mm: Length::from_m(self.level_m).mm(),
            height_mm: self.bore.height().mm(),
        })?;
        Ok(Some(Wetted {
            density_kg_m3: self.density_kg_m3,
            factor,
            rings,
            pushes,
        }))
    }
}

impl Wetted {
    /// Adds the liquid's part of the mass times `vector` to `product`.
    pub(super) fn multiply_add(&self, vector: &[f64], product: &mut [f64]) {
        let mut potential = vec![0.0; ACROSS * self.rings];
        for (ring, first, push) in &self.pushes {
            let unknowns = &vector[*first..first + UNKNOWNS];
            for (end, row) in push.iter().enumerate() {
                // The level is the end of the highest ring: nothing moves the potential there.
                if ring + end < self.rings {
                    let pushed = value(row, unknowns);
                    let at = ACROSS * (ring + end);
                    potential[at..at + ACROSS]
                        .iter_mut()
                        .for_each(|p| *p += pushed);
                }
            }
        }
        self.factor.solve(&mut potential);
        for (ring, first, push) in &self.pushes {
            for (end, row) in push.iter().enumerate() {
                if ring + end < self.rings {
                    let at = ACROSS * (ring + end);
                    // Every polynomial is 1 at the wall.
                    let felt: f64 = potential[at..at + ACROSS].iter().sum();
                    for (sum, w) in product[*first..first + UNKNOWNS].iter_mut().zip(row) {
                        *sum += self.density_kg_m3 * felt * w;
                    }
                }
            }
        }
    }
}

/// Integrals over ξ of the functions across, ξⁿ Pₖ(2ξ² − 1).
struct Across {
    /// ∫ (f'g' ξ + n² f g / ξ) dξ.
    turning: [[f64; ACROSS]; ACROSS],
    /// ∫ f g ξ dξ.
    plain: [[f64; ACROSS]; ACROSS],
    /// ∫ f g' ξ² dξ.
    mixed: [[f64; ACROSS]; ACROSS],
    /// ∫ f' g' ξ³ dξ.
    stretched: [[f64; ACROSS]; ACROSS],
}

impl Across {
    fn new(n: u32) -> Self {
        let zero = [[0.0; ACROSS]; ACROSS];
        let mut across = Self {
            turning: zero,
            plain: zero,
            mixed: zero,
            stretched: zero,
        };
        let waves = f64::from(n);
        for (xi, weight) in gauss(POINTS_ACROSS) {
            let (f, df) = functions(xi, n);
            for i in 0..ACROSS {
                for j in 0..ACROSS {
                    across.turning[i][j] +=
                        weight * (df[i] * df[j] * xi + waves * waves * f[i] * f[j] / xi);
                    across.plain[i][j] += weight * f[i] * f[j] * xi;
                    across.mixed[i][j] += weight * f[i] * df[j] * xi * xi;
                    across.stretched[i][j] += weight * df[i] * df[j] * xi.powi(3);
                }
            }
        }
        across
    }

    /// Adds a slice between two heights: ∫∫ (φ_r² + φ_z² + n²φ²/r²) r dr dz with φ_z at fixed ξ less ξ R'/R φ_ξ.
    fn add_slice(
        &self,
        matrix: &mut Banded,
        ring: usize,
        rings: usize,
        heights_m: [f64; 2],
        radii_m: [f64; 2],
    ) {
        let thick_m = heights_m[1] - heights_m[0];
        let slope = (radii_m[1] - radii_m[0]) / thick_m;
        // Two Gauss points: all is quadratic along.
        let off = 0.5 / 3f64.sqrt();
        for t in [0.5 - off, 0.5 + off] {
            let weight_m = 0.5 * thick_m;
            let radius_m = radii_m[0] + t * (radii_m[1] - radii_m[0]);
            let hats = [1.0 - t, t];
            let rises = [-1.0 / thick_m, 1.0 / thick_m];
            for a in 0..2 {
                for b in 0..2 {
                    if ring + a >= rings || ring + b >= rings {
                        continue;
                    }
                    let both = hats[a] * hats[b] * weight_m;
                    let risen = rises[a] * rises[b] * radius_m * radius_m * weight_m;
                    let one = -slope * radius_m * rises[a] * hats[b] * weight_m;
                    let other = -slope * radius_m * hats[a] * rises[b] * weight_m;
                    for i in 0..ACROSS {
                        for j in 0..ACROSS {
                            let sum = both
                                * (self.turning[i][j] + slope * slope * self.stretched[i][j])
                                + risen * self.plain[i][j]
                                + one * self.mixed[i][j]
                                + other * self.mixed[j][i];
                            matrix.add(ACROSS * (ring + a) + i, ACROSS * (ring + b) + j, sum);
                        }
                    }
                }
            }
        }
    }
}

/// ξⁿ Pₖ(2ξ² − 1) and their derivatives.
fn functions(xi: f64, n: u32) -> ([f64; ACROSS], [f64; ACROSS]) {
    let x = 2.0 * xi * xi - 1.0;
    let power = xi.powi(n as i32);
    let (mut f, mut df) = ([0.0; ACROSS], [0.0; ACROSS]);
    for k in 0..ACROSS {
        let (p, dp) = legendre(k, x);
        f[k] = power * p;
        df[k] = f64::from(n) * power / xi * p + power * dp * 4.0 * xi;
    }
    (f, df)
}

/// Legendre's polynomial of a degree and its derivative, for x inside −1 to 1.
fn legendre(degree: usize, x: f64) -> (f64, f64) {
    let (mut before, mut now) = (1.0, x);
    if degree == 0 {
        return (1.0, 0.0);
    }
    for k in 2..=degree {
        let k = k as f64;
        (before, now) = (now, ((2.0 * k - 1.0) * x * now - (k - 1.0) * before) / k);
    }
    (now, degree as f64 * (before - x * now) / (1.0 - x * x))
}

/// Gauss's points on 0 to 1 and their weights, by Newton's method from the usual first guess.
fn gauss(points: usize) -> Vec<(f64, f64)> {
    (0..points)
        .map(|i| {
            let mut x = (std::f64::consts::PI * (i as f64 + 0.75) / (points as f64 + 0.5)).cos();
            for _ in 0..8 {
                let (p, dp) = legendre(points, x);
                x -= p / dp;
            }
            let (_, dp) = legendre(points, x);
            (0.5 * (1.0 + x), 1.0 / ((1.0 - x * x) * dp * dp))
        })
        .collect()
}
