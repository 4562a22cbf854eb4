//! Struck bottles in a stream of sound: when one was tapped, and its partials with their pitches and decays.
//!
//! A tap is a sudden rise. What follows until the next one, or until it has died away, is searched for the peaks of its
//! spectrum, and each peak is taken apart into the damped tones that make it.

use realfft::RealFftPlanner;

use super::ListenError;
use super::blown::RATES_HZ;
use super::damped::{Band, damped, half_width_hz};
use super::phase::CLOCK_CENTS;
use crate::units::{Duration, Frequency, Interval, LN_60_DB, Level, SampleRate};

/// Frames whose energy is watched, s.
const FRAME_S: f64 = 0.004;
/// Frames before a tap that it must rise above.
const BEFORE: usize = 8;
/// By so much: 9 dB.
const RISE: f64 = 8.0;
/// Softer than this is no tap, mean square, full scale 1: −66 dB.
const SOFTEST: f64 = 2.5e-7;
/// Two taps are at least so far apart, s.
const APART_S: f64 = 0.08;
/// The mallet is on the wall for so long, s: its thump is not the bottle's.
const CONTACT_S: f64 = 0.004;
/// Longest and shortest stretch that is looked at, s.
const LONGEST_S: f64 = 1.5;
const SHORTEST_S: f64 = 0.06;
/// The stretch ends when it is so much softer than its beginning: −60 dB.
const DIED_AWAY: f64 = 1e-6;
/// Pitches that a struck bottle's partials can have, Hz.
const RANGE_HZ: (f64, f64) = (150.0, 9_000.0);
/// Softest partial beside the strongest, dB.
const SOFTEST_PARTIAL_DB: f64 = -36.0;
/// Most partials.
const MOST_PARTIALS: usize = 10;
/// Shortest spectrum, s: bins of 1 Hz.
const SPECTRUM_S: f64 = 1.0;

/// Two modes of a wall that is not quite round.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Doublet {
    /// The lower.
    pub low: Frequency,
    /// The higher.
    pub high: Frequency,
}

impl Doublet {
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
    /// Against the strongest.
    pub level: Level,
    /// Time to fall by 60 dB; of a doublet its stronger mode's.
    pub t60: Duration,
    /// π f over the rate at which its amplitude decays.
    pub quality: f64,
    /// Its two modes, if it has split.
    pub doublet: Option<Doublet>,
}

/// A tap.
#[derive(Clone, Debug, PartialEq)]
pub struct Tap {
    /// When, from the start of the stream.
    pub start: Duration,
    /// Level of the strongest partial beside a full-scale tone.
    pub level: Level,
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
    /// Samples from `first` on.
    kept: Vec<f64>,
    first: u64,
    /// First sample of the next frame.
    next: u64,
    /// Mean squares of the last frames.
    before: Vec<f64>,
    /// First sample of the tap that is ringing, and its loudest frame.
    ringing: Option<(u64, f64)>,
    heard: Vec<Tap>,
    last: f64,
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
            kept: Vec::new(),
            first: 0,
            next: 0,
            before: Vec::new(),
            ringing: None,
            heard: Vec::new(),
            last: 0.0,
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

    /// One frame. Rumble and breath are low, a mallet is not: the differences of samples are watched.
    fn look(&mut self) {
        let from = (self.next - self.first) as usize;
        let mut sum = 0.0;
        for &x in &self.kept[from..from + self.frame] {
            sum += (x - self.last).powi(2);
            self.last = x;
        }
        let now = sum / self.frame as f64;
        let usual = self.before.iter().sum::<f64>() / self.before.len().max(1) as f64;
        let is_apart = self
            .ringing
            .is_none_or(|(at, _)| (self.next - at) as f64 > APART_S * self.rate_hz);
        if now > SOFTEST && now > RISE * usual && is_apart && self.before.len() >= BEFORE / 2 {
            self.close(self.next);
            self.ringing = Some((self.next, now));
        } else if let Some((at, loudest)) = &mut self.ringing {
            *loudest = loudest.max(now);
            let (at, loudest) = (*at, *loudest);
            let rung_s = (self.next - at) as f64 / self.rate_hz;
            if rung_s > LONGEST_S || now < DIED_AWAY * loudest {
                self.close(self.next + self.frame as u64);
            }
        }
        self.before.push(now);
        if self.before.len() > BEFORE {
            self.before.remove(0);
        }
    }

    /// Ends the tap that rings at sample `end`.
    fn close(&mut self, end: u64) {
        let Some((at, _)) = self.ringing.take() else {
            return;
        };
        let from = (at - self.first) as usize;
        let to = ((end - self.first) as usize).min(self.kept.len());
        let stretch = &self.kept[from..to];
        // The rise is somewhere in the first two frames: their loudest sample is it.
        let rise = stretch.iter().take(2 * self.frame).enumerate();
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
                start: Duration::from_s((at + peak.0 as u64) as f64 / self.rate_hz),
                level,
                partials,
            });
        }
    }

    fn forget(&mut self) {
        let needed = self.ringing.map_or(self.next, |(at, _)| at);
        let useless = (needed - self.first) as usize;
        if useless > self.frame * 32 {
            self.kept.drain(..useless);
            self.first = needed;
        }
    }
}

/// The partials of a ring, and the level of the strongest.
fn partials(ring: &[f64], rate_hz: f64) -> Option<(Level, Vec<Partial>)> {
    let mut found: Vec<(f64, Band)> = Vec::new();
    let peaks = peaks(ring, rate_hz);
    for hz in peaks {
        let near = |(_, band): &(f64, Band)| {
            let middle_hz = middle_hz(band);
            (middle_hz - hz).abs() < half_width_hz(middle_hz)
        };
        if found.len() >= MOST_PARTIALS || found.iter().any(near) {
            continue;
        }
        if let Some(band) = damped(ring, rate_hz, hz) {
            let amplitude = band.tones.iter().fold(0.0, |a: f64, t| a.max(t.amplitude));
            found.push((amplitude, band));
        }
    }
    let strongest = found.iter().map(|(a, _)| *a).fold(0.0, f64::max);
    let floor = strongest * 10f64.powf(SOFTEST_PARTIAL_DB / 20.0);
    found.retain(|(amplitude, _)| *amplitude >= floor && *amplitude > 0.0);
    let mut partials: Vec<Partial> = found
        .iter()
        .map(|(amplitude, band)| partial(amplitude / strongest, band))
        .collect();
    partials.sort_by(|a, b| a.frequency.hz().total_cmp(&b.frequency.hz()));
    (!partials.is_empty()).then(|| (Level::from_gain(strongest), partials))
}

fn middle_hz(band: &Band) -> f64 {
    band.tones.iter().map(|t| t.hz).sum::<f64>() / band.tones.len() as f64
}

fn partial(share: f64, band: &Band) -> Partial {
    let hz = middle_hz(band);
    let strong = band
        .tones
        .iter()
        .max_by(|a, b| a.amplitude.total_cmp(&b.amplitude))
        .expect("a band has a tone");
    let frequency = Frequency::from_hz(hz);
    let edge = Frequency::from_hz(hz + band.middle_plus_minus_hz);
    let cents = edge.interval_above(frequency).cents();
    Partial {
        frequency,
        plus_minus: Interval::from_cents(cents.hypot(CLOCK_CENTS)),
        level: Level::from_gain(share),
        t60: Duration::from_s(LN_60_DB / strong.rate_per_s),
        quality: std::f64::consts::PI * strong.hz / strong.rate_per_s,
        doublet: match band.tones[..] {
            [low, high] => Some(Doublet {
                low: Frequency::from_hz(low.hz),
                high: Frequency::from_hz(high.hz),
            }),
            _ => None,
        },
    }
}

/// Peaks of the spectrum, the highest first.
fn peaks(ring: &[f64], rate_hz: f64) -> Vec<f64> {
    let size = ring
        .len()
        .max((SPECTRUM_S * rate_hz) as usize)
        .next_power_of_two();
    let mut planner = RealFftPlanner::<f64>::new();
    let forward = planner.plan_fft_forward(size);
    let mut input = forward.make_input_vec();
    let mut output = forward.make_output_vec();
    // It rings from its beginning: half a Hann window, falling.
    for (i, (slot, x)) in input.iter_mut().zip(ring).enumerate() {
        let turn = std::f64::consts::PI * i as f64 / ring.len() as f64;
        *slot = x * (0.5 + 0.5 * turn.cos());
    }
    if forward.process(&mut input, &mut output).is_err() {
        return Vec::new();
    }
    let power: Vec<f64> = output.iter().map(|z| z.norm_sqr()).collect();
    let bin_hz = rate_hz / size as f64;
    let from = (RANGE_HZ.0 / bin_hz) as usize;
    let to = ((RANGE_HZ.1.min(0.45 * rate_hz)) / bin_hz) as usize;
    let highest = power[from..to].iter().copied().fold(0.0, f64::max);
    let floor = highest * 10f64.powf(SOFTEST_PARTIAL_DB / 10.0);
    let mut peaks: Vec<(f64, f64)> = Vec::new();
    for k in from.max(1)..to {
        let tops = power[k] >= power[k - 1] && power[k] > power[k + 1];
        // The skirt of a stronger one has peaks of its own, where it meets another's.
        let around = (half_width_hz(k as f64 * bin_hz) / bin_hz) as usize;
        if tops && power[k] > floor && floor > 0.0 {
            let near = &power[k.saturating_sub(around)..(k + around).min(power.len())];
            let mean = near.iter().sum::<f64>() / near.len() as f64;
            if power[k] > 3.0 * mean {
                peaks.push((k as f64 * bin_hz, power[k]));
            }
        }
    }
    peaks.sort_by(|a, b| b.1.total_cmp(&a.1));
    peaks.truncate(4 * MOST_PARTIALS);
    peaks.into_iter().map(|(hz, _)| hz).collect()
}
