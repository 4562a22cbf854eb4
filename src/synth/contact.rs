//! What is heard of a mallet's touch itself: a short rustle beside the tones of the wall.

use super::pulse::{RISE, length_s, shape};
use super::struck::{StruckVoice, USUAL_SPEED_M_S};
use crate::physics::shell::strike::Mallet;
use std::f64::consts::{FRAC_2_PI, PI, TAU};

/// Its mean level between the partials beside the strongest of them, in a Hann window over the first 12 ms, dB: that of
/// 25 public recordings of a glass bottle tapped with a wooden spoon. Of other mallets nothing was found: the same, a guess.
const LEVEL_DB: f64 = -24.0;
const WINDOW_S: f64 = 0.012;
/// The power of the push that it rises with: faster than the tones do. A matter of taste, as is the time in which it
/// then falls by a factor of e, s.
const POWER: f64 = 1.5;
const FALL_S: f64 = 0.003;
/// It is cut off after so many of these times: 60 dB.
const FALLS: f64 = 7.0;
/// The band that it fills, Hz.
const BAND_HZ: (f64, f64) = (500.0, 9_000.0);
/// What presses for a time τ has little above this over τ: wood and metal fill the band, rubber and felt do not.
const CYCLES_OF_CONTACT: f64 = 2.7;
/// Highest corner of a filter, of the sample rate.
const HIGHEST_CORNER: f64 = 0.4;
/// The corner of a pole, of which two together lose 3 dB at the corner of both: √(√2 − 1).
const OF_TWO_POLES: f64 = 0.643_594;
/// Points of the integral over the window.
const POINTS: usize = 1_000;

/// The contact of one bottle and its mallet.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Contact {
    rate_hz: f64,
    /// Standard deviation of the noise at its height before it is filtered, for a mallet of 1 m/s.
    gain: f64,
    /// What the poles of the band keep from sample to sample.
    low: f64,
    high: f64,
}

impl Contact {
    pub(super) fn of(voice: &StruckVoice, rate_hz: f64) -> Self {
        let keep = |hz: f64| (-TAU * hz.min(HIGHEST_CORNER * rate_hz) / rate_hz).exp();
        let top_hz = BAND_HZ
            .1
            .min(CYCLES_OF_CONTACT / voice.mallet.contact().s());
        Self {
            rate_hz,
            gain: voice.contact_gain * voice.strongest_swing() * gain(voice.mallet, rate_hz),
            low: keep(BAND_HZ.0),
            high: keep(top_hz / OF_TWO_POLES),
        }
    }

    /// The noise of a stroke at `start_frame` whose push lasts `length_s`.
    pub(super) fn noise(
        &self,
        length_s: f64,
        speed_m_s: f64,
        start_frame: u64,
        seed: u64,
    ) -> ContactNoise {
        let rise_frames = (RISE * length_s * self.rate_hz).max(1.0);
        ContactNoise {
            contact: *self,
            start_frame,
            rise_frames,
            end_frame: start_frame + (rise_frames + FALLS * FALL_S * self.rate_hz).ceil() as u64,
            speed_m_s,
            dice: ((seed >> 32) as u32).max(1),
            poles: [0.0; 3],
        }
    }
}

/// The height of the noise at `since_s` after the touch, 0 to 1, of a push that rises for `rise_s`.
fn height(since_s: f64, rise_s: f64) -> f64 {
    if since_s < rise_s {
        (FRAC_2_PI * shape(RISE * since_s / rise_s)).powf(POWER)
    } else {
        (-(since_s - rise_s) / FALL_S).exp()
    }
}

/// The standard deviation of a noise that stands at [`LEVEL_DB`] beside a partial of amplitude 1.
///
/// In a window w a partial of amplitude a has |a/2 Σw|², a noise of variance σ² and height e has σ² Σ(w e)².
fn gain(mallet: Mallet, rate_hz: f64) -> f64 {
    let rise_s = RISE * length_s(mallet, USUAL_SPEED_M_S);
    let points = (0..POINTS).map(|k| (k as f64 + 0.5) / POINTS as f64);
    let window = |part: f64| (PI * part).sin().powi(2);
    let sum: f64 = points.clone().map(window).sum::<f64>() / POINTS as f64;
    let noise = points.map(|part| (window(part) * height(part * WINDOW_S, rise_s)).powi(2));
    let noise = noise.sum::<f64>() / POINTS as f64;
    let partial = 0.25 * sum * sum * WINDOW_S * rate_hz;
    (10f64.powf(LEVEL_DB / 10.0) * partial / noise).sqrt()
}

/// The noise of one stroke.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct ContactNoise {
    contact: Contact,
    start_frame: u64,
    rise_frames: f64,
    end_frame: u64,
    speed_m_s: f64,
    dice: u32,
    poles: [f64; 3],
}

impl ContactNoise {
    /// Whether it is over at `frame`.
    pub(super) fn is_over(&self, frame: u64) -> bool {
        frame >= self.end_frame
    }

    /// Adds it to the frames from `frame` on; each comes once, in order.
    pub(super) fn add_to(&mut self, noise: &mut [f32], frame: u64) {
        let Contact {
            rate_hz,
            gain,
            low,
            high,
        } = self.contact;
        let rise_s = self.rise_frames / rate_hz;
        let left = self.end_frame.saturating_sub(frame) as usize;
        for (out, at) in noise.iter_mut().take(left).zip(frame..) {
            let since_s = (at.saturating_sub(self.start_frame) as f64 + 0.5) / rate_hz;
            let thrown = self.speed_m_s * gain * height(since_s, rise_s) * self.throw();
            // Up to the top of the band by two poles, without what is below it.
            let [first, second, below] = &mut self.poles;
            *first = thrown + high * (*first - thrown);
            *second = *first + high * (*second - *first);
            *below = *second + low * (*below - *second);
            *out += (*second - *below) as f32;
        }
    }

    /// White, of standard deviation 1.
    fn throw(&mut self) -> f64 {
        self.dice ^= self.dice << 13;
        self.dice ^= self.dice >> 17;
        self.dice ^= self.dice << 5;
        f64::from(self.dice.cast_signed()) * (3f64.sqrt() / 2f64.powi(31))
    }
}
