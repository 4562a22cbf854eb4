//! What a bottle sounds like: pure functions in double precision, with no state, no clock and no dice.
//!
//! Gas first (`gas`, `air`, `recipe`, `vapour`, `liquid`), then shape (`profile`, `dimensions`,
//! `bottle`), then sound (`losses`, `mouth`, `resonance`), and what it all comes to (`prediction`,
//! `uncertainty`). Every formula names its source and where it stops holding. Nothing here plans or plays.

pub mod air;
pub mod bottle;
pub mod conditions;
pub mod dimensions;
pub mod doubt;
mod flare;
pub mod gas;
pub mod joined;
mod line;
pub mod liquid;
pub mod losses;
pub mod material;
pub mod mouth;
pub mod player;
pub mod prediction;
pub mod pressed;
pub mod pressure;
pub mod profile;
pub mod recipe;
pub mod resonance;
pub mod reverberation;
pub mod shell;
pub mod sliding;
pub mod struck;
mod transport;
pub mod uncertainty;
pub mod vapour;
mod virial;
pub mod wall_fits;
