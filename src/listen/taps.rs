//! Struck bottles in a stream of sound: when one was tapped, and its partials with their pitches and decays.
//!
//! A tap is a sudden rise of what lies above 800 Hz, from which it falls again. What follows until the next one, or until it
//! has died away, is searched for the peaks of its spectrum, and each peak is taken apart into the damped tones that make it.

use super::ListenError;
use super::blown::RATES_HZ;
use super::onset::{FRAME_S, Onsets};
use super::partials::partials;
use crate::units::{Duration, Frequency, Interval, Level, SampleRate};

/// Two taps are at least so far apart, s.
const APART_S: f64 = 0.02;
/// The mallet is on the wall for so long, s: its thump is not the bottle's.
const CONTACT_S: f64 = 0.004;
/// Longest and shortest stretch that is looked at, s.
const LONGEST_S: f64 = 0.8;
const SHORTEST_S: f64 = 0.05;
/// The stretch ends when it is so much softer than its beginning: −60 dB.
const DIED_AWAY: f64 = 1e-6;
/// It is loudest within so many frames of its rise, 75 ms: two modes that beat, or a recorder that turns the level down.
const LOUDEST_WITHIN: usize = 30;
/// And is softer by so much where its pitch has been heard, after 0.35 s or where it ends: 4 dB.
const FALLEN: f64 = 0.4;
const HEARD_FRAMES: usize = 140;

/// Two modes of a wall that is not quite round.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Doublet {
    /// The lower.
    pub low: Frequency,
    /// The higher.
    pub high: Frequency,
    /// How much louder the higher one is, by its energy; negative if the lower one is louder.
    pub high_over_low: Level,
}

impl Doublet {
    /// The louder of the two, as it was tapped.
    #[must_use]
    pub fn louder(&self) -> Frequency {
        if self.high_over_low.db() > 0.0 {
            self.high
        } else {
            self.low
        }
    }

    /// How far the two lie apart.
    #[must_use]
    pub fn apart(&self) -> Interval {
        self.high.interval_above(self.low)
    }

    /// Swellings a second.
    #[must_use]
    pub fn beat(&self) -> Frequency {
        Frequency::from_hz(self.high.hz() - self.low.hz())
    }
}

/// A partial of a tapped bottle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Partial {
    /// Its pitch; of a doublet the middle, which does not depend on where the bottle was tapped.
    pub frequency: Frequency,
    /// Half the width of the 95 % interval around it.
    pub plus_minus: Interval,
    /// How far the middle may lie from it besides, for what sounds there and is in no model: a room, a word, a third mode. Nothing
    /// where the tones that were found are all there is. Of one tap; taps that are put together have it in their `plus_minus`.
    pub murk: Interval,
    /// Against the strongest.
    pub level: Level,
    /// Time to fall by 60 dB; of a doublet its stronger mode's.
    pub t60: Duration,
    /// π f over the rate at which its amplitude decays.
    pub quality: f64,
    /// Its two modes, if it has split.
    pub doublet: Option<Doublet>,
}

impl Partial {
    /// Half the width of an interval in which both of its modes lie: which of them is heard depends on where it is tapped.
    #[must_use]
    pub fn plus_minus_either(&self) -> Interval {
        let half_apart = self.doublet.map_or(0.0, |pair| 0.5 * pair.apart().cents());
        Interval::from_cents(self.plus_minus.cents() + half_apart)
    }
}

/// A tap.
#[derive(Clone, Debug, PartialEq)]
pub struct Tap {
    /// When, from the start of the stream.
    pub start: Duration,
    /// Level of the strongest partial beside a full-scale tone, over the time in which its pitch is heard.
    pub level: Level,
    /// Level of all that lies above 800 Hz in its first 75 ms.
    pub loudness: Level,
    /// The lowest first; never empty.
    pub partials: Vec<Partial>,
}

/// Hears taps in a stream: takes blocks of any length, gives the taps in them. Memory is bounded.
///
/// ```
/// use ullage::listen::taps::TapListener;
/// use ullage::units::SampleRate;
/// let mut listener = TapListener::new(SampleRate::from_hz(48_000.0))?;
/// let ring = |n: usize| {
///     let t = n as f32 / 48_000.0 - 0.2;
///     if t < 0.0 { 0.0 } else { 0.5 * (-8.0 * t).exp() * (t * 2000.0 * 6.2831853).sin() }
/// };
/// listener.push(&(0..60_000).map(ring).collect::<Vec<f32>>());
/// listener.finish();
/// let taps = listener.heard();
/// assert!((taps[0].partials[0].frequency.hz() - 2000.0).abs() < 0.1);
/// # Ok::<(), ullage::listen::ListenError>(())
/// ```
#[derive(Debug)]
pub struct TapListener {
    rate_hz: f64,
    frame: usize,
    onsets: Onsets,
    /// Samples from `first` on.
    kept: Vec<f64>,
    first: u64,
    /// First sample of the next frame.
    next: u64,
    ringing: Option<Ringing>,
    heard: Vec<Tap>,
}

/// A tap that is ringing.
#[derive(Debug)]
struct Ringing {
    /// Its first sample.
    at: u64,
    /// Its frames' energies above 800 Hz.
    energies: Vec<f64>,
    loudest: f64,
}

impl TapListener {
    /// Listens at `rate` (8 to 768 kHz).
    ///
    /// # Errors
    /// A rate outside its range.
    pub fn new(rate: SampleRate) -> Result<Self, ListenError> {
        let (min_hz, max_hz) = RATES_HZ;
        let rate_hz = rate.hz();
        if !(min_hz..=max_hz).contains(&rate_hz) {
            return Err(ListenError::Rate {
                rate_hz,
                min_hz,
                max_hz,
            });
        }
        Ok(Self {
            rate_hz,
            frame: ((FRAME_S * rate_hz) as usize).max(8),
            onsets: Onsets::new(rate_hz),
            kept: Vec::new(),
            first: 0,
            next: 0,
            ringing: None,
            heard: Vec::new(),
        })
    }

    /// Takes the next samples, mono, full scale 1.
    pub fn push(&mut self, block: &[f32]) {
        let finite = |x: &f32| if x.is_finite() { f64::from(*x) } else { 0.0 };
        self.kept.extend(block.iter().map(finite));
        while self.next + self.frame as u64 <= self.first + self.kept.len() as u64 {
            self.look();
            self.next += self.frame as u64;
        }
        self.forget();
    }

    /// The stream has ended: a tap that still rings is given.
    pub fn finish(&mut self) {
        let end = self.first + self.kept.len() as u64;
        self.close(end);
    }

    /// The taps that have rung out since the last call, in the order of their beginnings.
    pub fn heard(&mut self) -> Vec<Tap> {
        std::mem::take(&mut self.heard)
    }

    /// One frame.
    fn look(&mut self) {
        let from = (self.next - self.first) as usize;
        let (energy, is_onset) = self.onsets.look(&self.kept[from..from + self.frame]);
        let apart = (APART_S * self.rate_hz) as u64;
        let is_apart = self
            .ringing
            .as_ref()
            .is_none_or(|ringing| self.next - ringing.at > apart);
        if is_onset && is_apart {
            self.close(self.next);
            self.ringing = Some(Ringing {
                at: self.next,
                energies: vec![energy],
                loudest: energy,
            });
        } else if let Some(ringing) = &mut self.ringing {
            ringing.energies.push(energy);
            ringing.loudest = ringing.loudest.max(energy);
            let rung_s = (self.next - ringing.at) as f64 / self.rate_hz;
            if rung_s > LONGEST_S || energy < DIED_AWAY * ringing.loudest {
                self.close(self.next + self.frame as u64);
            }
        }
    }

    /// Ends the tap that rings at sample `end`.
    fn close(&mut self, end: u64) {
        let Some(ringing) = self.ringing.take().filter(Ringing::falls) else {
            return;
        };
        let from = (ringing.at - self.first) as usize;
        let to = ((end - self.first) as usize).min(self.kept.len());
        let stretch = &self.kept[from..to];
        // The rise is somewhere in the first frames: their loudest sample is it.
        let rise = stretch.iter().take(4 * self.frame).enumerate();
        let peak = rise.fold(
            (0, 0.0),
            |best: (usize, f64), (i, x)| {
                if x.abs() > best.1 { (i, x.abs()) } else { best }
            },
        );
        let begin = peak.0 + (CONTACT_S * self.rate_hz) as usize;
        let Some(ring) = stretch.get(begin..) else {
            return;
        };
        if (ring.len() as f64) < SHORTEST_S * self.rate_hz {
            return;
        }
        if let Some((level, partials)) = partials(ring, self.rate_hz) {
            self.heard.push(Tap {
                loudness: ringing.loudness(),
                start: Duration::from_s((ringing.at + peak.0 as u64) as f64 / self.rate_hz),
                level,
                partials,
            });
        }
    }

    fn forget(&mut self) {
        let needed = self.ringing.as_ref().map_or(self.next, |r| r.at);
        let useless = (needed - self.first) as usize;
        if useless > self.frame * 64 {
            self.kept.drain(..useless);
            self.first = needed;
        }
    }
}

impl Ringing {
    fn loudness(&self) -> Level {
        let first = &self.energies[..self.energies.len().min(LOUDEST_WITHIN)];
        let mean = first.iter().sum::<f64>() / first.len().max(1) as f64;
        // A full-scale tone has a mean square of a half.
        Level::from_db(10.0 * (2.0 * mean).max(1e-12).log10())
    }

    /// It is loudest near its beginning, and softer where its pitch has been heard.
    fn falls(&self) -> bool {
        let count = self.energies.len().min(HEARD_FRAMES);
        let heard = &self.energies[..count];
        let mean = |frames: &[f64]| frames.iter().sum::<f64>() / frames.len().max(1) as f64;
        // Quarters, or the first 75 ms and as much at the end.
        let part = (count / 4).clamp(1, LOUDEST_WITHIN);
        mean(&heard[count - part..]) < FALLEN * mean(&heard[..part])
    }
}
