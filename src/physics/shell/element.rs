//! One straight piece of a wall's meridian: what it costs to bend, stretch, move and press it.
//!
//! Displacements are those of a pattern with n waves around: axial Z cos nθ, radial A cos nθ, around V sin nθ.
//! In the piece's own directions u runs along the meridian and w along the outward normal; u and V are
//! linear between the ends, w is cubic. Every matrix leaves out the common factor π of the integral around.

use super::Elastic;

/// Unknowns of a piece: axial, radial, around and slope at either end.
pub(super) const UNKNOWNS: usize = 8;
/// A linear form of the unknowns of a piece.
pub(super) type Row = [f64; UNKNOWNS];
/// A square matrix over the unknowns of a piece.
pub(super) type Block = [Row; UNKNOWNS];

/// Gauss points and weights on 0 to 1, exact to the seventh power: a cubic squared is the sixth.
const GAUSS: [(f64, f64); 4] = [
    (0.069_431_844_202_973_71, 0.173_927_422_568_726_93),
    (0.330_009_478_207_571_87, 0.326_072_577_431_273_07),
    (0.669_990_521_792_428_1, 0.326_072_577_431_273_07),
    (0.930_568_155_797_026_3, 0.173_927_422_568_726_93),
];

/// A cone, a cylinder or a flat ring between two heights and radii of the middle surface, m.
#[derive(Clone, Copy, Debug)]
pub(super) struct Piece {
    /// Height and radius of the lower end of the meridian.
    pub(super) from: [f64; 2],
    /// Height and radius of the upper end.
    pub(super) to: [f64; 2],
    /// Wall, its mean over the piece.
    pub(super) wall_m: f64,
    /// Tension of the wall along the meridian under a pressure of 1 Pa inside, m.
    pub(super) along_m: f64,
    /// Tension around under 1 Pa inside, m.
    pub(super) around_m: f64,
}

/// The displacements at one place of a piece, as forms of its unknowns.
#[derive(Clone, Copy)]
pub(super) struct Place {
    pub(super) radius_m: f64,
    pub(super) u: Row,
    pub(super) du: Row,
    pub(super) w: Row,
    pub(super) dw: Row,
    pub(super) ddw: Row,
    pub(super) v: Row,
    pub(super) dv: Row,
}

impl Piece {
    pub(super) fn length_m(&self) -> f64 {
        (self.to[0] - self.from[0]).hypot(self.to[1] - self.from[1])
    }

    /// Sine and cosine of the angle to the axis.
    pub(super) fn slant(&self) -> (f64, f64) {
        let length_m = self.length_m();
        (
            (self.to[1] - self.from[1]) / length_m,
            (self.to[0] - self.from[0]) / length_m,
        )
    }

    /// The forms at `share` of the way from the lower end.
    pub(super) fn place(&self, share: f64) -> Place {
        let (sin, cos) = self.slant();
        let length_m = self.length_m();
        let (t, rest) = (share, 1.0 - share);
        let linear = |at: [f64; 2]| along(at, sin, cos);
        // Hermite's cubics: values at the ends, then slopes.
        let cubic = |value: [f64; 2], slope: [f64; 2]| {
            let mut row = along(value, cos, -sin);
            (row[3], row[7]) = (slope[0], slope[1]);
            row
        };
        let around = |at: [f64; 2]| [0.0, 0.0, at[0], 0.0, 0.0, 0.0, at[1], 0.0];
        let (one, two) = (1.0 / length_m, 1.0 / (length_m * length_m));
        Place {
            radius_m: self.from[1] * rest + self.to[1] * t,
            u: linear([rest, t]),
            du: linear([-one, one]),
            w: cubic(
                [rest * rest * (1.0 + 2.0 * t), t * t * (3.0 - 2.0 * t)],
                [length_m * t * rest * rest, -length_m * t * t * rest],
            ),
            dw: cubic(
                [-6.0 * t * rest * one, 6.0 * t * rest * one],
                [(1.0 - t) * (1.0 - 3.0 * t), t * (3.0 * t - 2.0)],
            ),
            ddw: cubic(
                [(12.0 * t - 6.0) * two, (6.0 - 12.0 * t) * two],
                [(6.0 * t - 4.0) * one, (6.0 * t - 2.0) * one],
            ),
            v: around([rest, t]),
            dv: around([-one, one]),
        }
    }

    /// The places of Gauss's rule with their weights in metres of meridian.
    fn places(&self) -> impl Iterator<Item = (Place, f64)> {
        let length_m = self.length_m();
        GAUSS
            .map(|(share, weight)| (self.place(share), weight * length_m))
            .into_iter()
    }

    /// Stiffness: Sanders' strain energy of a conical shell.
    ///
    /// Membrane e_s = u', e_t = (nV + u sin + w cos)/r, g = V' − V sin/r − nu/r; with b = (V cos + nw)/r the
    /// bending k_s = −w'', k_t = nb/r − w' sin/r, and the twist 2τ; the first on C = Eh/(1−ν²), the second
    /// on D = Eh³/(12(1−ν²)). Thin walls: h/r up to about 1/10.
    ///
    /// Sanders, NASA TR R-24, 1959; for the cylinder as in Leissa, NASA SP-288, 1973.
    pub(super) fn stiffness(&self, elastic: &Elastic, n: f64) -> Block {
        let (sin, cos) = self.slant();
        let nu = elastic.poisson;
        let stretch = elastic.young_pa * self.wall_m / (1.0 - nu * nu);
        let bend = stretch * self.wall_m * self.wall_m / 12.0;
        let mut block = [[0.0; UNKNOWNS]; UNKNOWNS];
        for (p, weight_m) in self.places() {
            let r = p.radius_m;
            let around = sum(&[(n / r, &p.v), (sin / r, &p.u), (cos / r, &p.w)]);
            let shear = sum(&[(1.0, &p.dv), (-sin / r, &p.v), (-n / r, &p.u)]);
            let bend_along = sum(&[(-1.0, &p.ddw)]);
            let bend_around = sum(&[
                (n * cos / (r * r), &p.v),
                (n * n / (r * r), &p.w),
                (-sin / r, &p.dw),
            ]);
            let twist = sum(&[
                (1.5 * cos / r, &p.dv),
                (2.0 * n / r, &p.dw),
                (-1.5 * sin * cos / (r * r), &p.v),
                (-2.0 * sin * n / (r * r), &p.w),
                (0.5 * cos * n / (r * r), &p.u),
            ]);
            let measure = r * weight_m;
            let mut pair = |factor: f64, a: &Row, b: &Row, g: &Row| {
                let factor = factor * measure;
                add_product(&mut block, factor, a, a);
                add_product(&mut block, factor, b, b);
                add_product(&mut block, factor * nu, a, b);
                add_product(&mut block, factor * nu, b, a);
                add_product(&mut block, factor * 0.5 * (1.0 - nu), g, g);
            };
            pair(stretch, &p.du, &around, &shear);
            pair(bend, &bend_along, &bend_around, &twist);
        }
        block
    }

    /// What a pressure of 1 Pa inside adds to the stiffness: the tension of the wall and the pressure that turns
    /// with it.
    ///
    /// Tension: half of N times the square of the displacement's gradient, along and around. Pressure: minus p times
    /// the second-order part of the enclosed volume, ½∫ d·(d_θ × x_s + x_θ × d_s), which for a cylinder is
    /// ½∫ [w(u' + (v_θ + w)/R) − u w' − v(w_θ − v)/R].
    pub(super) fn pressing(&self, n: f64) -> Block {
        let (sin, cos) = self.slant();
        let mut block = [[0.0; UNKNOWNS]; UNKNOWNS];
        for (p, weight_m) in self.places() {
            let r = p.radius_m;
            let radial = sum(&[(sin, &p.u), (cos, &p.w)]);
            let axial = sum(&[(cos, &p.u), (-sin, &p.w)]);
            let (d_radial, d_axial) = (
                sum(&[(sin, &p.du), (cos, &p.dw)]),
                sum(&[(cos, &p.du), (-sin, &p.dw)]),
            );
            let along = self.along_m * r * weight_m;
            for row in [&d_radial, &d_axial, &p.dv] {
                add_product(&mut block, along, row, row);
            }
            let around = self.around_m * weight_m / r;
            for row in [
                &sum(&[(n, &radial), (1.0, &p.v)]),
                &sum(&[(n, &p.v), (1.0, &radial)]),
                &sum(&[(n, &axial)]),
            ] {
                add_product(&mut block, around, row, row);
            }
            let mut both = |factor: f64, a: &Row, b: &Row| {
                add_product(&mut block, -0.5 * factor * weight_m, a, b);
                add_product(&mut block, -0.5 * factor * weight_m, b, a);
            };
            both(cos, &radial, &radial);
            both(cos, &p.v, &p.v);
            both(2.0 * n * cos, &radial, &p.v);
            both(-2.0 * n * sin, &p.v, &axial);
            both(-sin, &radial, &axial);
            both(r, &radial, &d_axial);
            both(-r, &axial, &d_radial);
        }
        block
    }

    /// Mass of the wall itself.
    pub(super) fn mass(&self, elastic: &Elastic) -> Block {
        let per_area = elastic.density_kg_m3 * self.wall_m;
        let mut block = [[0.0; UNKNOWNS]; UNKNOWNS];
        for (p, weight_m) in self.places() {
            let factor = per_area * p.radius_m * weight_m;
            for row in [&p.u, &p.v, &p.w] {
                add_product(&mut block, factor, row, row);
            }
        }
        block
    }

    /// Mass of a gas of 1 kg/m³ that the wall moves on one side: r/n a square metre on w, for wavelengths along the
    /// wall and in the gas that are long against the radius. Between `from` and `to`, shares of the way.
    pub(super) fn gas(&self, n: f64, from: f64, to: f64) -> Block {
        let mut block = [[0.0; UNKNOWNS]; UNKNOWNS];
        for (p, weight_m, _) in self.places_between(from, to) {
            add_product(
                &mut block,
                p.radius_m * p.radius_m / n * weight_m,
                &p.w,
                &p.w,
            );
        }
        block
    }

    /// Places of Gauss's rule between two shares of the way, with weights in metres and their share between the two.
    pub(super) fn places_between(
        &self,
        from: f64,
        to: f64,
    ) -> impl Iterator<Item = (Place, f64, f64)> {
        let span = to - from;
        let length_m = self.length_m();
        GAUSS
            .map(|(share, weight)| {
                (
                    self.place(from + span * share),
                    weight * span * length_m,
                    share,
                )
            })
            .into_iter()
    }
}

/// A displacement with parts `radial` and `axial` of the ends' values `at`.
fn along(at: [f64; 2], radial: f64, axial: f64) -> Row {
    [
        axial * at[0],
        radial * at[0],
        0.0,
        0.0,
        axial * at[1],
        radial * at[1],
        0.0,
        0.0,
    ]
}

fn sum(parts: &[(f64, &Row)]) -> Row {
    let mut row = [0.0; UNKNOWNS];
    for (factor, part) in parts {
        for (value, part) in row.iter_mut().zip(*part) {
            *value += factor * part;
        }
    }
    row
}

fn add_product(block: &mut Block, factor: f64, a: &Row, b: &Row) {
    for (row, a) in block.iter_mut().zip(a) {
        let scaled = factor * a;
        for (value, b) in row.iter_mut().zip(b) {
            *value += scaled * b;
        }
    }
}

/// The value of a form.
pub(super) fn value(row: &Row, unknowns: &[f64]) -> f64 {
    row.iter().zip(unknowns).map(|(a, b)| a * b).sum()
}
