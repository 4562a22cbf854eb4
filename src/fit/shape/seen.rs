//! What was measured, as the likelihood of a shape.

use std::f64::consts::PI;

use super::base::Shape;
use crate::physics::mouth::Mouth;
use crate::units::Length;

/// Cents of a ratio of one natural logarithm.
pub(super) const CENTS: f64 = 1200.0 / std::f64::consts::LN_2;

/// A quantity that a shape has.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum What {
    /// Logarithm of the brimful capacity.
    Capacity,
    /// Lengths and diameters, m.
    MouthBore,
    ThroatBore,
    NarrowestBore,
    NeckBore,
    NeckLength,
    BodyDiameter {
        square: bool,
    },
    BodyLength,
    ShoulderLength,
    Height,
    /// Logarithms of thicknesses, and of the mass in kg.
    Wall,
    LipWall,
    Mass {
        density: f64,
    },
    /// Level above the table of a volume in m³.
    Level {
        volume: f64,
    },
    /// Pitch in cents above 1 Hz, of the air over a volume in m³.
    Pitch {
        volume: f64,
    },
}

/// One measurement.
#[derive(Clone, Copy, Debug)]
pub(super) struct Seen {
    pub what: What,
    pub value: f64,
    /// One standard deviation.
    pub sigma: f64,
}

/// The air around a pitch: sound speed, and how far the lips leave the mouth open.
#[derive(Clone, Copy, Debug)]
pub(super) struct Around {
    pub sound: f64,
    pub open: f64,
}

impl Shape {
    /// Length of air that the mouth moves, m.
    pub(super) fn end_m(&self, open: f64) -> f64 {
        let radius = self.nodes.r[self.nodes.count - 1];
        let mouth = Mouth::new(
            Length::from_m(radius),
            Length::from_m(self.lip.min(0.049)),
            open,
        );
        let plain = mouth.map_or(0.7 * radius, |mouth| mouth.end_correction_m(0.0));
        plain + self.player * radius
    }

    /// Pitch without losses over a volume of liquid, in cents above 1 Hz; very high where there is no air left.
    pub(super) fn pitch_cents(&self, volume: f64, around: Around) -> f64 {
        // Beyond the foot of the neck hardly anything is left that sounds.
        let level = self.nodes.level_of(volume).min(self.nodes.height() - 2e-3);
        let squared = self
            .nodes
            .note_squared(level, around.sound, self.end_m(around.open));
        0.5 * CENTS * squared.unwrap_or(1e9).ln() - CENTS * std::f64::consts::TAU.ln()
    }

    pub(super) fn of(&self, what: What, around: Around) -> f64 {
        let nodes = &self.nodes;
        match what {
            What::Capacity => nodes.capacity().ln(),
            What::MouthBore => 2.0 * nodes.r[nodes.count - 1],
            What::ThroatBore => 2.0 * self.throat,
            What::NarrowestBore => 2.0 * self.narrowest,
            What::NeckBore => 2.0 * self.foot_radius,
            What::NeckLength => nodes.height() - self.foot,
            // A square of the same area is narrower across its flats.
            What::BodyDiameter { square: true } => PI.sqrt() * nodes.widest() + 2.0 * self.wall,
            What::BodyDiameter { square: false } => 2.0 * (nodes.widest() + self.wall),
            What::BodyLength => self.body_top + self.floor,
            What::ShoulderLength => self.foot - self.body_top,
            What::Height => nodes.height() + self.floor,
            What::Wall => self.wall.ln(),
            What::LipWall => self.lip.max(1e-4).ln(),
            What::Mass { density } => self.mass(density).ln(),
            What::Level { volume } => nodes.level_of(volume) + self.floor,
            What::Pitch { volume } => self.pitch_cents(volume, around),
        }
    }

    fn mass(&self, density: f64) -> f64 {
        let nodes = &self.nodes;
        let mut solid = 0.0;
        for at in 1..nodes.count {
            let (dz, dr) = (nodes.z[at] - nodes.z[at - 1], nodes.r[at] - nodes.r[at - 1]);
            let wall = self.wall_at(0.5 * (nodes.z[at] + nodes.z[at - 1]));
            let r = 0.5 * (nodes.r[at] + nodes.r[at - 1]) + 0.5 * wall;
            solid += std::f64::consts::TAU * r * dz.hypot(dr) * wall;
        }
        let base = nodes.r[0] + self.wall;
        density * (solid + PI * base * base * self.floor)
    }

    /// The wall thickens from the body to the lip along the shoulder.
    fn wall_at(&self, z: f64) -> f64 {
        let up = ((z - self.body_top) / (self.foot - self.body_top).max(1e-3)).clamp(0.0, 1.0);
        self.wall + (self.lip - self.wall) * up
    }

    /// Outer radius at a height above the table, m.
    pub(super) fn outer(&self, height: f64) -> f64 {
        let z = (height - self.floor).clamp(0.0, self.nodes.height());
        self.nodes.radius_at(z) + self.wall_at(z)
    }
}
