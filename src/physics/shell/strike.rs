//! How loud each mode is when a mallet strikes the wall.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Mode, Order};
use crate::units::{Duration, Frequency, Length};

/// What strikes. Times of contact from memory: wood 0.2 to 0.5 ms, rubber 1 to 3 ms, felt longer, metal shorter.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Mallet {
    /// Soft felt.
    #[serde(rename = "soft felt")]
    Felt,
    /// Rubber.
    Rubber,
    /// Wood.
    #[default]
    Wood,
    /// Metal: chips glass.
    Metal,
}

impl Mallet {
    /// All of them, from soft to hard.
    pub const ALL: [Self; 4] = [Self::Felt, Self::Rubber, Self::Wood, Self::Metal];

    /// As it is written in files.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Felt => "soft felt",
            Self::Rubber => "rubber",
            Self::Wood => "wood",
            Self::Metal => "metal",
        }
    }

    /// Time of contact.
    #[must_use]
    pub fn contact(self) -> Duration {
        Duration::from_ms(match self {
            Self::Felt => 3.0,
            Self::Rubber => 1.5,
            Self::Wood => 0.3,
            Self::Metal => 0.1,
        })
    }

    /// Force at a frequency over that of a short tap: the envelope of a half sine's spectrum, 1/√(1 + (2fτ)⁴). Real
    /// mallets do not have the half sine's silent frequencies.
    #[must_use]
    pub fn force(self, frequency: Frequency) -> f64 {
        let turns = 2.0 * frequency.hz() * self.contact().s();
        1.0 / (1.0 + turns.powi(4)).sqrt()
    }
}

/// The same for a tap so short that it has every frequency alike, with the sign of the wall's motion there:
/// w(x) √(η_rad ω / M). What the mallet leaves out is left to whoever makes it strike.
#[must_use]
pub fn response(order: &Order, mode: &Mode, height: Length, radiated: f64) -> f64 {
    let omega = std::f64::consts::TAU * mode.frequency.hz();
    normal_at_height(order, mode, height) * (radiated * omega / mode.mass_kg).sqrt()
}

/// Normal displacement of a mode at a height above the inner floor; that of the nearer end outside the wall.
#[must_use]
pub fn normal_at_height(order: &Order, mode: &Mode, height: Length) -> f64 {
    let walls = || {
        let rises =
            |(_, piece): &(usize, &super::element::Piece)| piece.to[0] > piece.from[0] + 1e-9;
        order.pieces().iter().enumerate().filter(rises)
    };
    let found = walls().find(|(_, piece)| height.m() <= piece.to[0]);
    let Some((index, piece)) = found.or_else(|| walls().next_back()) else {
        return 0.0;
    };
    let share = (height.m() - piece.from[0]) / (piece.to[0] - piece.from[0]);
    mode.normal_at(piece, index, share.clamp(0.0, 1.0)).0
}
