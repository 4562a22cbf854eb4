//! A note in a bottle, whatever the way: what to set, and what comes of it.
//!
//! [`Source`] is a bottle and how it is sounded; [`Sounded`] is that source set for a note. Blown bottles, sliding
//! floors and joined pairs are columns of air and rest on [`Poured`]; struck ones, pressurised or not, are walls.

use super::doubt::Doubted;
use super::poured::Poured;
use super::way::Way;
use crate::physics::material::Material;
use crate::physics::pressure::{
    HIGH_PRESSURE_CAUTION, JOINED_CAUTION, METAL_CAUTION, PRESSURE_CAUTION, SLIDING_CAUTION,
    STRIKING_CAUTION, WARN_BAR,
};
use crate::physics::resonance::Resonance;
use crate::physics::shell::strike::Mallet;
use crate::physics::struck::ShellMode;
use crate::units::{Frequency, Interval, Length, Mass, Pressure, Volume};

/// What is turned to tune a bottle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Setting {
    /// Liquid in it: blown and struck.
    Fill(Volume),
    /// Pressure above the air outside: pressurised.
    Gauge(Pressure),
    /// How far the floor is pushed in: sliding.
    Travel(Length),
    /// How far the second bottle's foot is above the first's: joined.
    Lift(Length),
}

impl Setting {
    /// In millilitres, bar or millimetres.
    #[must_use]
    pub fn value(self) -> f64 {
        match self {
            Self::Fill(fill) => fill.ml(),
            Self::Gauge(gauge) => gauge.bar(),
            Self::Travel(travel) => travel.mm(),
            Self::Lift(lift) => lift.mm(),
        }
    }

    /// The same knob at `value`, in the unit of [`Self::unit`].
    #[must_use]
    pub fn with_value(self, value: f64) -> Self {
        match self {
            Self::Fill(_) => Self::Fill(Volume::from_ml(value)),
            Self::Gauge(_) => Self::Gauge(Pressure::from_bar(value)),
            Self::Travel(_) => Self::Travel(Length::from_mm(value)),
            Self::Lift(_) => Self::Lift(Length::from_mm(value)),
        }
    }

    /// The unit of [`Self::value`].
    #[must_use]
    pub fn unit(self) -> &'static str {
        match self {
            Self::Fill(_) => "ml",
            Self::Gauge(_) => "bar",
            Self::Travel(_) | Self::Lift(_) => "mm",
        }
    }

    /// As people call it.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Fill(_) => "fill",
            Self::Gauge(_) => "pressure",
            Self::Travel(_) => "travel",
            Self::Lift(_) => "lift",
        }
    }

    /// The fill, of those that have one.
    #[must_use]
    pub fn fill(self) -> Option<Volume> {
        match self {
            Self::Fill(fill) => Some(fill),
            _ => None,
        }
    }
}

/// What rings.
#[derive(Clone, Debug, PartialEq)]
pub enum Partials {
    /// Air, the note first.
    Air(Vec<Resonance>),
    /// The wall, the lowest first.
    Wall {
        /// Every partial.
        modes: Vec<ShellMode>,
        /// Index of the strongest: the note.
        note: usize,
    },
}

/// The other bottle of a pair.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OtherSide {
    /// Liquid in it.
    pub fill: Volume,
    /// Its level above its own foot.
    pub level: Length,
    /// Its note.
    pub resonance: Resonance,
}

/// A source set for a note.
#[derive(Clone, Debug, PartialEq)]
pub struct Sounded {
    /// The pitch aimed at.
    pub target: Frequency,
    /// How it is sounded.
    pub way: Way,
    /// What it is set to.
    pub setting: Setting,
    /// Liquid in it.
    pub fill: Volume,
    /// Mass of that liquid.
    pub mass: Mass,
    /// Surface of the liquid, or face of the floor, above the table (a pair's: above its own foot).
    pub level: Length,
    /// How far the pitch rises for a millilitre, a bar or a millimetre more.
    pub per_unit: Interval,
    /// How sure the pitch is.
    pub doubt: Doubted,
    /// What rings.
    pub partials: Partials,
    /// The other bottle of a pair.
    pub other: Option<OtherSide>,
    /// The mallet, of those that are struck.
    pub mallet: Option<Mallet>,
    /// What it is made of.
    pub material: Material,
    /// The column of air, of those that are blown.
    pub air: Option<Poured>,
}

impl Sounded {
    /// Its pitch.
    #[must_use]
    pub fn frequency(&self) -> Frequency {
        self.note().frequency
    }

    /// Its Q.
    #[must_use]
    pub fn quality(&self) -> f64 {
        self.note().quality
    }

    /// Pitch and Q.
    #[must_use]
    pub fn note(&self) -> Resonance {
        match &self.partials {
            Partials::Air(resonances) => resonances[0],
            Partials::Wall { modes, note } => of_mode(&modes[*note]),
        }
    }

    /// Every partial as pitch and Q: air's with the note first, a wall's from low to high.
    #[must_use]
    pub fn resonances(&self) -> Vec<Resonance> {
        match &self.partials {
            Partials::Air(resonances) => resonances.clone(),
            Partials::Wall { modes, .. } => modes.iter().map(of_mode).collect(),
        }
    }

    /// The wall's partials, of those that are struck.
    #[must_use]
    pub fn modes(&self) -> &[ShellMode] {
        match &self.partials {
            Partials::Air(_) => &[],
            Partials::Wall { modes, .. } => modes,
        }
    }

    /// The wall's partial that is the note, of those that are struck.
    #[must_use]
    pub fn mode(&self) -> Option<&ShellMode> {
        match &self.partials {
            Partials::Air(_) => None,
            Partials::Wall { modes, note } => Some(&modes[*note]),
        }
    }

    /// How far the pitch is above the one aimed at.
    #[must_use]
    pub fn error(&self) -> Interval {
        self.frequency().interval_above(self.target)
    }

    /// How sure the pitch is (95 %).
    #[must_use]
    pub fn plus_minus(&self) -> Interval {
        self.doubt.plus_minus
    }

    /// Pressure above the air outside.
    #[must_use]
    pub fn gauge(&self) -> Pressure {
        match self.setting {
            Setting::Gauge(gauge) => gauge,
            _ => Pressure::default(),
        }
    }

    /// What to beware of with this bottle, sounded this way.
    #[must_use]
    pub fn cautions(&self) -> Vec<&'static str> {
        let mut all = Vec::new();
        match self.way {
            Way::Blown => {}
            Way::Struck => {
                if self.material != Material::Plastic {
                    all.push(STRIKING_CAUTION);
                }
                if self.material == Material::Glass && self.mallet == Some(Mallet::Metal) {
                    all.push(METAL_CAUTION);
                }
            }
            Way::Pressurised => {
                all.push(PRESSURE_CAUTION);
                if self.gauge().bar() >= WARN_BAR {
                    all.push(HIGH_PRESSURE_CAUTION);
                }
            }
            Way::Sliding => all.push(SLIDING_CAUTION),
            Way::Joined => all.push(JOINED_CAUTION),
        }
        all
    }
}

pub(super) fn of_mode(mode: &ShellMode) -> Resonance {
    Resonance {
        frequency: mode.frequency,
        quality: mode.quality,
    }
}
