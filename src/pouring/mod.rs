//! Hearing the fill of a bottle while it is poured into: what is in it now, and when to stop.
//!
//! Water that falls into a bottle rings its air, and where the air's modes stand at every fill is known ([`Modes`]). A
//! [`Tracker`] listens for them and gives a [`Reading`] every 20 ms: a fill with its 95 % band, never narrower than 3 % of
//! what the bottle holds, the flow, the seconds left, and what to call out. What cannot be heard is said to be unheard; a
//! pause is told from a quiet stream by the level of the room before the pour.
//!
//! It is a coarse guide. In simulated pours at 8 dB and more over the noise the fill is followed to 1 to 2 % of the capacity,
//! a published pour into a tumbler to 1.5 %. The scale and the blown note decide.
//!
//! | file | holds |
//! |---|---|
//! | `modes` | the table of modes over fills |
//! | `spectrum`, `evidence` | from samples to how much speaks for a mode at each frequency |
//! | `particles`, `dice` | the cloud of guesses |
//! | `gate`, `trust` | whether anything is poured, and whether what is heard of it may be shown |
//! | `tracker`, `reading` | all of it together, and what it says |
//! | `recording` | whether a recording begins with the room |
//!
//! ```
//! use ullage::pouring::{Call, Hearing, Mark, Modes, PourSpec, Tracker};
//! use ullage::units::{Frequency, SampleRate};
//! let set = ullage::set::open("presets/quay/set.toml")?;
//! let modes = Modes::of_bottle(&set.kinds[0].bottle, &set.conditions)?;
//! let spec = PourSpec::new(Mark::Note(Frequency::from_hz(110.0)));
//! let mut tracker = Tracker::new(modes, spec, SampleRate::from_hz(16_000.0))?;
//! // Two seconds of silence: it has heard the room, and waits.
//! let mut last = None;
//! tracker.hear(&[0.0; 32_000], |reading| last = Some(*reading));
//! let last = last.ok_or("no reading")?;
//! assert_eq!((last.state, last.call), (Hearing::Waiting, Call::Pour));
//! assert_eq!(last.flow_ml_s, 0.0);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod dice;
mod evidence;
mod gate;
mod modes;
mod particles;
mod reading;
mod recording;
mod spectrum;
mod tracker;
mod trust;

pub use modes::{MODES, Modes, ModesError};
pub use reading::{Band, Call, Hearing, Mark, Reading};
pub use recording::room_comes_first;
pub use tracker::{PourSpec, PouringError, Tracker};
