//! How loud each mode is when a mallet strikes the wall.
//!
//! ```
//! use ullage::physics::dimensions::Material;
//! use ullage::physics::shell::strike::{Mallet, normal_at_height};
//! use ullage::physics::shell::{Contents, End, Meridian, Mode, Shell};
//! use ullage::units::{Frequency, Length, Level, Pressure};
//! // A tube of glass 200 mm high, kept round at both ends: its walls move as sines, of one half wave and of two.
//! let tube = Meridian::cylinder(0.04, 0.2, 0.002, 80, [End::Diaphragm; 2])?;
//! let order = Shell::new(&tube, Material::Glass.elastic()).order(2, Pressure::default())?;
//! let modes = order.modes(&Contents::default(), 2)?;
//! let moved = |mode: &Mode, mm: f64| normal_at_height(&order, mode, Length::from_mm(mm)).abs();
//! // A sixth of the way up the lowest moves half as far as in the middle, where the next one stands still. A thousandth: the
//! // pieces.
//! assert!((moved(&modes[0], 200.0 / 6.0) / moved(&modes[0], 100.0) - 0.5).abs() < 1e-3);
//! assert!(moved(&modes[1], 100.0) < 1e-3);
//! // High above 1/τ the spectrum of a half sine falls by 12 dB an octave; at 1/2τ it has come to π/4.
//! let felt = |hz: f64| Mallet::Felt.force(Frequency::from_hz(hz));
//! assert!((Level::from_gain(felt(20_000.0) / felt(40_000.0)).db() - 12.04).abs() < 0.01);
//! assert!((felt(500.0 / 3.0) - std::f64::consts::FRAC_PI_4).abs() < 1e-12);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use std::f64::consts::FRAC_PI_2;

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

    /// Force at a frequency over that of a short tap: the envelope of a half sine's spectrum, with x = 2fτ the spectrum itself,
    /// |cos(πx/2) / (1 − x²)|, up to x = 2, where it touches 1/(x² − 1), and that beyond. Real mallets do not have the half
    /// sine's silent frequencies.
    #[must_use]
    pub fn force(self, frequency: Frequency) -> f64 {
        let x = 2.0 * frequency.hz() * self.contact().s();
        if x >= 2.0 {
            return 1.0 / (x * x - 1.0);
        }
        let from_one = 1.0 - x;
        // cos(πx/2) = sin(π(1 − x)/2), which goes to zero as 1 − x² does.
        let turn = FRAC_PI_2 * from_one;
        let sinc = if turn.abs() < 1e-6 {
            1.0
        } else {
            turn.sin() / turn
        };
        FRAC_PI_2 * sinc / (1.0 + x)
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
