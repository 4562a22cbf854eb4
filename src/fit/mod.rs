//! A bottle fitted to what was heard of it: its air when it was blown, its wall when it was tapped.
//!
//! ```
//! use ullage::fit::air::{Heard, calibrated};
//! use ullage::physics::conditions::Conditions;
//! use ullage::units::{Frequency, Temperature, Volume};
//! let shelf = ullage::set::read_shelf(
//!     "[[bottle]]\nname = \"jar\"\ncapacity_ml = 500\nmouth_bore_mm = 18\nneck_length_mm = 60\nbody_diameter_mm = 66",
//! )?;
//! let mut dry = Conditions::default();
//! dry.room.humidity = 0.0;
//! let mouth_mm = |hz, celsius| {
//!     let (frequency, temperature) = (Frequency::from_hz(hz), Some(Temperature::from_c(celsius)));
//!     let heard = [Heard { fill: Volume::default(), frequency, temperature }];
//!     calibrated(&shelf.kinds[0].bottle, &heard, &dry).map(|found| found.fit.mouth.mm())
//! };
//! // One bottle blown on a warm day and on a cold one: 29 cents apart, since sound is faster as √T. Both say the same mouth
//! // to a tenth of a millimetre: a good cent, of which friction, which grows with warmth, takes half.
//! let cold_hz = 150.0 * (291.15_f64 / 301.15).sqrt();
//! assert!((mouth_mm(150.0, 28.0)? - mouth_mm(cold_hz, 18.0)?).abs() < 0.1);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

pub mod air;
pub mod shape;
pub mod wall;
