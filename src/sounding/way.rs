//! The ways of sounding a bottle, and what strikes those that are struck.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::physics::conditions::Conditions;
use crate::physics::liquid::{WATER_KG_M3, WATER_PA_S};
use crate::physics::shell::strike::Mallet;
use crate::physics::shell::wall::Trim;
use crate::physics::struck::{HeardPartials, StruckSpec};
use crate::physics::wall_fits::WallFits;
use crate::units::{Length, Pressure};

/// How far apart the two pitches of an uneven wall are, as a share, where nobody says: measured splits reach 1.3 %.
const USUAL_DOUBLET: f64 = 0.004;

/// How a bottle is sounded.
#[derive(
    Clone,
    Copy,
    Debug,
    Default,
    PartialEq,
    Eq,
    PartialOrd,
    Ord,
    Hash,
    Deserialize,
    Serialize,
    JsonSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum Way {
    /// Across the mouth.
    #[default]
    Blown,
    /// On the wall, with liquid in it.
    Struck,
    /// On the wall of sealed plastic with air pumped into it.
    Pressurised,
    /// Across the mouth, over a floor that is pushed up.
    Sliding,
    /// Across the mouth, joined at its foot by a hose to another bottle that is lifted.
    Joined,
}

impl Way {
    /// All of them.
    pub const ALL: [Self; 5] = [
        Self::Blown,
        Self::Struck,
        Self::Pressurised,
        Self::Sliding,
        Self::Joined,
    ];

    /// As it is written in files.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Blown => "blown",
            Self::Struck => "struck",
            Self::Pressurised => "pressurised",
            Self::Sliding => "sliding",
            Self::Joined => "joined",
        }
    }

    /// What it is tuned by, as people call it.
    #[must_use]
    pub fn knob(self) -> &'static str {
        match self {
            Self::Blown | Self::Struck => "fill",
            Self::Pressurised => "pressure",
            Self::Sliding => "travel",
            Self::Joined => "lift",
        }
    }

    /// A mallet sounds it, not breath.
    #[must_use]
    pub fn is_struck(self) -> bool {
        matches!(self, Self::Struck | Self::Pressurised)
    }
}

impl std::fmt::Display for Way {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.name())
    }
}

/// What strikes the bottles of a set, and where.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Striking {
    /// The mallet.
    pub mallet: Mallet,
    /// Where it strikes above the inner floor; halfway up the body if nobody says.
    pub height: Option<Length>,
    /// How far apart the two pitches of each partial are, as a share of them, 0 to 0.02.
    pub doublet_share: f64,
}

impl Default for Striking {
    fn default() -> Self {
        Self {
            mallet: Mallet::default(),
            height: None,
            doublet_share: USUAL_DOUBLET,
        }
    }
}

/// How a bottle with `fits` is struck with what `conditions` pour.
///
/// Density and viscosity are the liquid's at the room's temperature; water's at 20 °C where its tables end.
#[must_use]
pub fn struck_spec(conditions: &Conditions, striking: &Striking, fits: &WallFits) -> StruckSpec {
    let (liquid, warmth) = (conditions.liquid, conditions.temperature());
    StruckSpec {
        density_kg_m3: liquid.density_kg_m3(warmth).unwrap_or(WATER_KG_M3),
        viscosity_pa_s: liquid.viscosity_pa_s(warmth).unwrap_or(WATER_PA_S),
        gauge: Pressure::default(),
        mallet: striking.mallet,
        strike: striking.height,
        trim: fits.tapped.map_or_else(Trim::default, |t| t.trim),
        plus_minus: fits.tapped.map(|t| t.plus_minus),
        heard: fits
            .tapped
            .map_or_else(HeardPartials::default, |t| t.partials),
        ..StruckSpec::default()
    }
}
