//! Recordings of pours: whether the room comes first.

use super::spectrum::Spectrum;
use super::tracker::{PouringError, rate_of};
use crate::units::SampleRate;

/// The room before a pour is at least so long, s.
const ROOM_S: f64 = 1.0;
/// And the stream is so far above it for most of what follows, dB.
const ABOVE_DB: f64 = 2.0;

/// Whether a recording begins with a second of the room alone, which is what tells pauses from a quiet stream. One that
/// begins while it is poured already has none.
///
/// # Errors
/// [`PouringError::Rate`].
pub fn room_comes_first(samples: &[f32], rate: SampleRate) -> Result<bool, PouringError> {
    let mut spectrum = Spectrum::new(rate_of(rate)?);
    let (mut room, mut rest) = (Vec::new(), Vec::new());
    for sample in samples {
        if spectrum.take(*sample) {
            spectrum.frame(None);
            let of = if spectrum.heard_s() <= ROOM_S {
                &mut room
            } else {
                &mut rest
            };
            of.push(spectrum.level);
        }
    }
    let (Some(room), Some(stream)) = (median(&mut room), median(&mut rest)) else {
        return Ok(false);
    };
    Ok(stream > room * 10f64.powf(0.1 * ABOVE_DB))
}

fn median(levels: &mut [f64]) -> Option<f64> {
    levels.sort_unstable_by(f64::total_cmp);
    levels.get(levels.len() / 2).copied()
}
