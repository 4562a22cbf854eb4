//! A shell put together from its pieces, and its modes with whatever is inside.

use super::banded::{Banded, Factor};
use super::element::{Piece, UNKNOWNS, value};
use super::lanczos;
use super::liquid::FLAT_M;
use super::{Column, Elastic, End, Meridian, ShellError};
use crate::units::{Frequency, Pressure};

/// Unknowns at a point: axial, radial, around, slope.
pub(super) const AT_POINT: usize = 4;
/// Fewest and most waves around.
const WAVES: (u32, u32) = (2, 12);

/// A wall as elements.
#[derive(Clone, Debug)]
pub struct Shell {
    pieces: Vec<Piece>,
    ends: [End; 2],
    elastic: Elastic,
}

/// A shell for one number of waves around, under one pressure: ready for any liquid.
#[derive(Clone, Debug)]
pub struct Order {
    n: u32,
    pieces: Vec<Piece>,
    held: Vec<usize>,
    factor: Factor,
    wall_mass: Banded,
}

/// What moves with a wall.
#[derive(Clone, Copy, Debug, Default)]
pub struct Contents<'a> {
    /// Density of the gas outside, kg/m³.
    pub gas_outside_kg_m3: f64,
    /// Density of the gas inside, above the liquid, kg/m³.
    pub gas_inside_kg_m3: f64,
    /// The liquid, if there is any.
    pub liquid: Option<&'a Column>,
}

/// A mode of a shell.
#[derive(Clone, Debug, PartialEq)]
pub struct Mode {
    /// Waves around.
    pub n: u32,
    /// Half waves along the wall: one more than the changes of sign.
    pub m: u32,
    /// Without its losses.
    pub frequency: Frequency,
    /// Twice the kinetic energy at a unit of speed where the wall moves most, everything that moves with it counted, kg.
    pub mass_kg: f64,
    /// Axial, radial, around and slope at every point of the meridian; the largest normal displacement is 1.
    pub shape: Vec<[f64; AT_POINT]>,
}

impl Shell {
    /// The shell of a wall made of `elastic`.
    #[must_use]
    pub fn new(meridian: &Meridian, elastic: Elastic) -> Self {
        Self {
            pieces: meridian.pieces(),
            ends: meridian.ends(),
            elastic,
        }
    }

    /// The shell with `n` waves around, with `gauge` more pressure inside than outside (negative for less).
    ///
    /// # Errors
    /// Fewer than 2 or more than 12 waves, or so much pressure from outside that the wall gives way.
    pub fn order(&self, n: u32, gauge: Pressure) -> Result<Order, ShellError> {
        if !(WAVES.0..=WAVES.1).contains(&n) {
            let (least, most) = WAVES;
            return Err(ShellError::Waves { n, least, most });
        }
        let size = AT_POINT * (self.pieces.len() + 1);
        let mut stiffness = Banded::zeros(size, UNKNOWNS - 1);
        let mut wall_mass = Banded::zeros(size, UNKNOWNS - 1);
        let waves = f64::from(n);
        for (index, piece) in self.pieces.iter().enumerate() {
            let first = AT_POINT * index;
            stiffness.add_block(first, &piece.stiffness(&self.elastic, waves));
            wall_mass.add_block(first, &piece.mass(&self.elastic));
            if gauge.pa() != 0.0 {
                let pressing = piece.pressing(waves).map(|row| row.map(|k| k * gauge.pa()));
                stiffness.add_block(first, &pressing);
            }
        }
        let held = self.held();
        for &index in &held {
            stiffness.hold(index, 1.0);
            wall_mass.hold(index, 0.0);
        }
        let factor = stiffness.factor().ok_or(ShellError::Buckled {
            n,
            gauge_kpa: gauge.kpa(),
        })?;
        Ok(Order {
            n,
            pieces: self.pieces.clone(),
            held,
            factor,
            wall_mass,
        })
    }

    fn held(&self) -> Vec<usize> {
        let first = [0, AT_POINT * self.pieces.len()];
        let mut held = Vec::new();
        for (first, end) in first.into_iter().zip(self.ends) {
            held.extend((0..AT_POINT).filter(|&i| end.held()[i]).map(|i| first + i));
        }
        held
    }
}

impl Order {
    /// Waves around.
    #[must_use]
    pub fn waves(&self) -> u32 {
        self.n
    }

    /// The `count` lowest modes with `contents`, the lowest first.
    ///
    /// # Errors
    /// A liquid whose level lies outside the bottle.
    pub fn modes(&self, contents: &Contents<'_>, count: usize) -> Result<Vec<Mode>, ShellError> {
        let mass = self.moving_mass(contents);
        let wetted = match contents.liquid {
            Some(column) => column.wetted(&self.pieces, self.n)?,
            None => None,
        };
        let multiply = |vector: &[f64], product: &mut Vec<f64>| {
            product.clear();
            product.resize(vector.len(), 0.0);
            mass.multiply_add(vector, product);
            if let Some(wetted) = &wetted {
                wetted.multiply_add(vector, product);
            }
            for &index in &self.held {
                product[index] = 0.0;
            }
        };
        let found = lanczos::slowest(&self.factor, multiply, self.start(), count)
            .ok_or(ShellError::NoModes { n: self.n })?;
        Ok(found
            .into_iter()
            .map(|(squared, vector)| self.mode(squared, &vector, &multiply))
            .collect())
    }

    /// The wall's mass with that of the gas on both sides.
    fn moving_mass(&self, contents: &Contents<'_>) -> Banded {
        let mut mass = self.wall_mass.clone();
        let (outside, inside) = (contents.gas_outside_kg_m3, contents.gas_inside_kg_m3);
        if outside == 0.0 && inside == 0.0 {
            return mass;
        }
        let level_m = contents
            .liquid
            .map_or(f64::NEG_INFINITY, |column| column.level_m());
        let waves = f64::from(self.n);
        for (index, piece) in self.pieces.iter().enumerate() {
            let rise_m = piece.to[0] - piece.from[0];
            // No liquid is put on what is flat (see `Column::wet_shares`), and it keeps its gas: bare, a wide thin floor would
            // sound higher for the first drop.
            let wet = if rise_m > FLAT_M {
                ((level_m - piece.from[0]) / rise_m).clamp(0.0, 1.0)
            } else {
                0.0
            };
            let mut block = piece
                .gas(waves, 0.0, 1.0)
                .map(|row| row.map(|k| k * (outside + if wet == 0.0 { inside } else { 0.0 })));
            if wet > 0.0 && wet < 1.0 {
                let dry = piece.gas(waves, wet, 1.0);
                for (row, dry) in block.iter_mut().zip(dry) {
                    for (k, dry) in row.iter_mut().zip(dry) {
                        *k += dry * inside;
                    }
                }
            }
            mass.add_block(AT_POINT * index, &block);
        }
        for &index in &self.held {
            mass.hold(index, 0.0);
        }
        mass
    }

    /// A load that every mode feels a little of: more on one end than on the other, and uneven.
    fn start(&self) -> Vec<f64> {
        let points = self.pieces.len() + 1;
        let mut load = vec![0.0; AT_POINT * points];
        for point in 0..points {
            let along = point as f64 / points as f64;
            load[AT_POINT * point + 1] = 1.0 + along + 0.7 * (9.0 * along).cos();
        }
        for &index in &self.held {
            load[index] = 0.0;
        }
        self.factor.solve(&mut load);
        load
    }

    fn mode(
        &self,
        squared: f64,
        vector: &[f64],
        multiply: &impl Fn(&[f64], &mut Vec<f64>),
    ) -> Mode {
        let normal = self.normal_displacements(vector);
        let largest = normal
            .iter()
            .copied()
            .max_by(|a, b| a.abs().total_cmp(&b.abs()))
            .filter(|w| *w != 0.0)
            .unwrap_or(1.0);
        let mut product = Vec::new();
        multiply(vector, &mut product);
        let moving: f64 = product.iter().zip(vector).map(|(a, b)| a * b).sum();
        Mode {
            n: self.n,
            m: 1 + sign_changes(&self.on_walls(&normal), 0.1 * largest.abs()),
            frequency: Frequency::from_hz(squared.sqrt() / std::f64::consts::TAU),
            mass_kg: std::f64::consts::PI * moving / (largest * largest),
            shape: vector
                .chunks_exact(AT_POINT)
                .map(|at| [0, 1, 2, 3].map(|i| at[i] / largest))
                .collect(),
        }
    }

    /// Normal displacement in the middle of every piece.
    fn normal_displacements(&self, vector: &[f64]) -> Vec<f64> {
        let middle = |(index, piece): (usize, &Piece)| {
            let at = &vector[AT_POINT * index..AT_POINT * index + UNKNOWNS];
            value(&piece.place(0.5).w, at)
        };
        self.pieces.iter().enumerate().map(middle).collect()
    }

    /// Those of `normal` that belong to walls rather than floors.
    fn on_walls(&self, normal: &[f64]) -> Vec<f64> {
        let pairs = self.pieces.iter().zip(normal);
        let rising = pairs.filter(|(piece, _)| piece.slant().1 > 0.3);
        rising.map(|(_, w)| *w).collect()
    }

    pub(super) fn pieces(&self) -> &[Piece] {
        &self.pieces
    }
}

impl Mode {
    /// Normal displacement at `share` of the way along piece `index`, and the radius there, m.
    pub(super) fn normal_at(&self, piece: &Piece, index: usize, share: f64) -> (f64, f64) {
        let mut unknowns = [0.0; UNKNOWNS];
        unknowns[..AT_POINT].copy_from_slice(&self.shape[index]);
        unknowns[AT_POINT..].copy_from_slice(&self.shape[index + 1]);
        let place = piece.place(share);
        (value(&place.w, &unknowns), place.radius_m)
    }
}

/// How often the values change sign, those below `threshold` left out.
fn sign_changes(values: &[f64], threshold: f64) -> u32 {
    let mut signs = values.iter().filter(|w| w.abs() > threshold);
    let Some(first) = signs.next() else { return 0 };
    let mut sign = first.signum();
    signs.fold(0, |count, w| {
        let changed = w.signum() != sign;
        sign = w.signum();
        count + u32::from(changed)
    })
}
