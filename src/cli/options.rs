//! Options that several commands share: the room, and what strikes.

use clap::{Args, ValueEnum};

use crate::physics::liquid::Liquid;
use crate::physics::recipe::GasRecipe;
use crate::physics::shell::strike::Mallet;
use crate::physics::vapour::Headspace;
use crate::set::{Preset, Striking, Way};
use crate::units::Length;

/// The room, what is in the bottle, and the lips; each replaces what the file says.
#[derive(Clone, Debug, Default, Args)]
#[command(next_help_heading = "Room options")]
pub struct RoomOptions {
    /// Temperature of the room and the bottles, °C [-10 to 60]
    #[arg(long, value_name = "C", allow_negative_numbers = true)]
    pub temp_c: Option<f64>,
    /// Relative humidity, percent [0 to 100]
    #[arg(long, value_name = "PCT")]
    pub humidity_pct: Option<f64>,
    /// Air pressure on the spot, kPa [50 to 120]
    #[arg(long, value_name = "KPA")]
    pub pressure_kpa: Option<f64>,
    /// Gas above the liquid: "room air", "dry air", breath, co2, helium, argon, nitrogen, or "30% helium in air"
    #[arg(long, value_name = "GAS")]
    pub gas: Option<GasRecipe>,
    /// Gas in the neck, if another
    #[arg(long, value_name = "GAS")]
    pub neck_gas: Option<GasRecipe>,
    /// Liquid: water, brine, "salt 20%", "sea water", "sugar 30%", "glycerol 50%", "vegetable oil", "dish soap"; by volume
    /// "ethanol 40%", "isopropanol 70%"
    #[arg(long, value_name = "LIQUID")]
    pub liquid: Option<Liquid>,
    /// Vapour above the liquid: dry, room, saturated, or a share from 0 to 1
    #[arg(long, value_name = "WHICH")]
    pub headspace: Option<Headspace>,
    /// Share of the mouth that the lips leave open [0.05 to 1]
    #[arg(long, value_name = "SHARE")]
    pub lip_open: Option<f64>,
}

/// How a bottle is sounded.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum WayArg {
    /// Across the mouth
    #[default]
    Blown,
    /// On the wall, with liquid in it
    Struck,
    /// On the wall of sealed plastic with air pumped into it
    Pressurised,
    /// Across the mouth, over a floor that is pushed up
    Sliding,
    /// Across the mouth, joined by a hose to another bottle that is lifted: a set's pair
    Joined,
}

impl From<WayArg> for Way {
    fn from(way: WayArg) -> Self {
        match way {
            WayArg::Blown => Self::Blown,
            WayArg::Struck => Self::Struck,
            WayArg::Pressurised => Self::Pressurised,
            WayArg::Sliding => Self::Sliding,
            WayArg::Joined => Self::Joined,
        }
    }
}

/// What the mallet's head is of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum MalletArg {
    /// Soft felt: dull and gentle
    #[value(name = "soft-felt", alias = "felt", alias = "soft felt")]
    SoftFelt,
    /// Rubber
    Rubber,
    /// Wood
    Wood,
    /// Metal: chips glass
    Metal,
}

impl From<MalletArg> for Mallet {
    fn from(mallet: MalletArg) -> Self {
        match mallet {
            MalletArg::SoftFelt => Self::Felt,
            MalletArg::Rubber => Self::Rubber,
            MalletArg::Wood => Self::Wood,
            MalletArg::Metal => Self::Metal,
        }
    }
}

/// A height to strike at.
pub(super) fn strike_mm(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(mm) if (0.0..=1000.0).contains(&mm) => Ok(mm),
        _ => Err(format!(
            "{text:?} is outside 0 to 1000 mm above the inner floor"
        )),
    }
}

/// What strikes: the file's, with the options over it.
pub(super) fn striking(
    preset: &Preset,
    mallet: Option<MalletArg>,
    strike_mm: Option<f64>,
) -> Striking {
    let mut striking = match preset {
        Preset::Set(set) => set.striking,
        Preset::Shelf(_) => Striking::default(),
    };
    striking.mallet = mallet.map_or(striking.mallet, Mallet::from);
    striking.height = strike_mm.map(Length::from_mm).or(striking.height);
    striking
}
