//! What rings after a tap: the peaks of its spectrum, each taken apart into the damped tones that make it.

use realfft::RealFftPlanner;

use super::damped::{Band, Tone, damped, half_width_hz};
use super::phase::CLOCK_CENTS;
use super::taps::{Doublet, Partial};
use crate::units::{Duration, Frequency, Interval, LN_60_DB, Level};

/// What counts of a ring is the time in which an ear takes its pitch, s.
const HEARD_S: f64 = 0.35;
/// Its tones are followed so much longer for their decay, s.
const FOLLOWED_S: f64 = 0.75;
/// The pitch is looked at once more without so much of its beginning, s.
const SKIPPED_S: f64 = 0.04;
/// What of the way from a fitted tone to its peak counts as doubt; a guess, and the recordings of `real_recordings.csv` bear it
/// out.
const BESIDE_SHARE: f64 = 1.5;
/// Pitches that a struck bottle's partials can have, Hz.
const RANGE_HZ: (f64, f64) = (150.0, 9_000.0);
/// Softest partial beside the strongest, dB.
const SOFTEST_PARTIAL_DB: f64 = -36.0;
/// Most partials.
const MOST_PARTIALS: usize = 10;
/// Shortest spectrum, s: bins of 1 Hz.
const SPECTRUM_S: f64 = 1.0;
/// A peak stands out by so much above what lies around it.
const STANDS_OUT: f64 = 3.0;
/// What cannot be taken apart is told with the pitch of its peak if it is at most so much softer than the strongest, dB.
const BARE_PEAK_DB: f64 = -12.0;
/// And is so sure, as a share of what its length in the spectrum can resolve; a guess, and the trials bear it out.
const BARE_SHARE: f64 = 0.25;
/// Where the tones of a partial leave so much over, beside what is there, nothing is sure of a second mode, and its middle may lie
/// so far off (95 %); where they leave less than the other, it is as they say. Fitted to 2,147 taps of our voices in rooms, with
/// speech, kitchens and hum beside them, by telephone and too loud: in the first 1,200, and the others bear it out.
const MURKY_DB: (f64, f64) = (-30.0, -15.0);
const MURKY_CENTS: f64 = 3.5;
/// Poorer than this it is the mallet's thump or the table, not a wall.
const LEAST_QUALITY: f64 = 12.0;

/// The partials of a ring, and the level of the strongest, by the energy that each has while its pitch is heard.
pub(super) fn partials(ring: &[f64], rate_hz: f64) -> Option<(Level, Vec<Partial>)> {
    let heard = &ring[..ring.len().min((HEARD_S * rate_hz) as usize)];
    let followed = &ring[..ring.len().min((FOLLOWED_S * rate_hz) as usize)];
    let spectrum = Spectrum::new(heard, rate_hz)?;
    let mut found: Vec<(f64, Partial)> = Vec::new();
    let peaks = spectrum.peaks();
    let highest = peaks.first()?.power;
    for peak in &peaks {
        let is_near = |(_, known): &(f64, Partial)| {
            let known_hz = known.frequency.hz();
            (known_hz - peak.hz).abs() < half_width_hz(known_hz)
        };
        if found.len() >= MOST_PARTIALS || found.iter().any(is_near) {
            continue;
        }
        let is_strong = peak.power > highest * 10f64.powf(BARE_PEAK_DB / 10.0);
        let partial = match damped(followed, rate_hz, peak.hz) {
            Some(band) => of_band(
                &band,
                strays_hz(followed, rate_hz, &band).hypot(beside_hz(&band, peak.hz)),
            ),
            None if is_strong => spectrum.bare(heard, peak.hz)?,
            None => continue,
        };
        if partial.quality >= LEAST_QUALITY {
            found.push((spectrum.energy_around(partial.frequency.hz()), partial));
        }
    }
    let strongest = found.iter().map(|(energy, _)| *energy).fold(0.0, f64::max);
    if strongest <= 0.0 {
        return None;
    }
    let mut partials: Vec<Partial> = Vec::new();
    for (energy, partial) in found {
        let level = Level::from_db(10.0 * (energy / strongest).log10());
        if level.db() >= SOFTEST_PARTIAL_DB {
            partials.push(Partial { level, ..partial });
        }
    }
    partials.sort_by(|a, b| a.frequency.hz().total_cmp(&b.frequency.hz()));
    Some((Level::from_gain(spectrum.amplitude(strongest)), partials))
}

fn middle_hz(band: &Band) -> f64 {
    band.tones.iter().map(|t| t.hz).sum::<f64>() / band.tones.len() as f64
}

/// How far the pitch of a part of the ring lies from that of the whole: a recorder that turns the level down, another tap and
/// a third mode are in no model of damped tones, and show so.
fn strays_hz(followed: &[f64], rate_hz: f64, band: &Band) -> f64 {
    let whole_hz = middle_hz(band);
    let skipped = (SKIPPED_S * rate_hz) as usize;
    let part = followed.get(skipped..).unwrap_or(&[]);
    let later = damped(part, rate_hz, whole_hz);
    let later_hz = later.filter(|later| later.tones.len() == band.tones.len());
    later_hz.map_or(0.0, |later| (middle_hz(&later) - whole_hz).abs())
}

/// How far the peak of the spectrum lies from the tones that were fitted to it: by little if they are all that there is.
fn beside_hz(band: &Band, peak_hz: f64) -> f64 {
    let off = band.tones.iter().map(|tone| (tone.hz - peak_hz).abs());
    BESIDE_SHARE * off.fold(f64::INFINITY, f64::min)
}

fn of_band(band: &Band, strays_hz: f64) -> Partial {
    let middle_hz = middle_hz(band);
    let energy = |tone: &Tone| tone.amplitude * tone.amplitude / tone.rate_per_s;
    let strong = band
        .tones
        .iter()
        .max_by(|a, b| energy(a).total_cmp(&energy(b)))
        .expect("a band has a tone");
    Partial {
        frequency: Frequency::from_hz(middle_hz),
        plus_minus: plus_minus(middle_hz, band.middle_plus_minus_hz.hypot(strays_hz)),
        murk: murk(band.left_share),
        level: Level::from_db(0.0),
        t60: Duration::from_s(LN_60_DB / strong.rate_per_s),
        quality: std::f64::consts::PI * strong.hz / strong.rate_per_s,
        doublet: match band.tones[..] {
            [low, high] => Some(Doublet {
                low: Frequency::from_hz(low.hz),
                high: Frequency::from_hz(high.hz),
                high_over_low: Level::from_db(10.0 * (energy(&high) / energy(&low)).log10()),
            }),
            _ => None,
        },
    }
}

/// What may be off where the tones leave so much over.
fn murk(left_share: f64) -> Interval {
    let (clear_db, murky_db) = MURKY_DB;
    let left_db = 10.0 * left_share.max(1e-12).log10();
    let share = (left_db - clear_db) / (murky_db - clear_db);
    Interval::from_cents(MURKY_CENTS * share.clamp(0.0, 1.0))
}

fn plus_minus(hz: f64, plus_minus_hz: f64) -> Interval {
    let edge = Frequency::from_hz(hz + plus_minus_hz);
    let cents = edge.interval_above(Frequency::from_hz(hz)).cents();
    Interval::from_cents(cents.hypot(CLOCK_CENTS))
}

/// A peak of the spectrum.
#[derive(Clone, Copy, Debug)]
struct Peak {
    hz: f64,
    power: f64,
}

/// Power by frequency.
struct Spectrum {
    power: Vec<f64>,
    bin_hz: f64,
    length_s: f64,
    /// Sum of the window and of its squares.
    window: (f64, f64),
    rate_hz: f64,
}

impl Spectrum {
    fn new(heard: &[f64], rate_hz: f64) -> Option<Self> {
        let size = heard
            .len()
            .max((SPECTRUM_S * rate_hz) as usize)
            .next_power_of_two();
        let mut planner = RealFftPlanner::<f64>::new();
        let forward = planner.plan_fft_forward(size);
        let mut input = forward.make_input_vec();
        let mut output = forward.make_output_vec();
        let mut window = (0.0, 0.0);
        // It rings from its beginning: half a Hann window, falling.
        for (i, (slot, x)) in input.iter_mut().zip(heard).enumerate() {
            let turn = std::f64::consts::PI * i as f64 / heard.len() as f64;
            let weight = 0.5 + 0.5 * turn.cos();
            *slot = x * weight;
            window.0 += weight;
            window.1 += weight * weight;
        }
        forward.process(&mut input, &mut output).ok()?;
        Some(Self {
            power: output.iter().map(|z| z.norm_sqr()).collect(),
            bin_hz: rate_hz / size as f64,
            length_s: heard.len() as f64 / rate_hz,
            window,
            rate_hz,
        })
    }

    fn around(&self, hz: f64) -> &[f64] {
        let half = half_width_hz(hz);
        let bin = |hz: f64| (hz.max(0.0) / self.bin_hz) as usize;
        &self.power[bin(hz - half)..(bin(hz + half) + 1).min(self.power.len())]
    }

    /// What the band around `hz` has.
    fn energy_around(&self, hz: f64) -> f64 {
        self.around(hz).iter().sum()
    }

    /// The amplitude of a steady tone with so much energy in the spectrum.
    fn amplitude(&self, energy: f64) -> f64 {
        // Parseval: a tone of amplitude a has a²/4 on this side, times the squares of the window.
        let bins = self.rate_hz / self.bin_hz;
        (4.0 * energy / (bins * self.window.1)).sqrt()
    }

    /// The highest first.
    fn peaks(&self) -> Vec<Peak> {
        let power = &self.power;
        let from = (RANGE_HZ.0 / self.bin_hz) as usize;
        let to = ((RANGE_HZ.1.min(0.45 * self.rate_hz)) / self.bin_hz) as usize;
        let highest = power[from..to].iter().copied().fold(0.0, f64::max);
        let floor = highest * 10f64.powf(SOFTEST_PARTIAL_DB / 10.0);
        let mut peaks: Vec<Peak> = Vec::new();
        for k in from.max(1)..to {
            let tops = power[k] >= power[k - 1] && power[k] > power[k + 1];
            if !tops || power[k] <= floor || floor <= 0.0 {
                continue;
            }
            let hz = k as f64 * self.bin_hz;
            // The skirt of a stronger one has peaks of its own, where it meets another's.
            let near = self.around(hz);
            let mean = near.iter().sum::<f64>() / near.len() as f64;
            if power[k] > STANDS_OUT * mean {
                peaks.push(Peak {
                    hz,
                    power: power[k],
                });
            }
        }
        peaks.sort_by(|a, b| b.power.total_cmp(&a.power));
        peaks.truncate(4 * MOST_PARTIALS);
        peaks
    }

    /// A peak that is no damped tone, as where a recorder turns the level down: its pitch as far as the spectrum has it.
    fn bare(&self, heard: &[f64], hz: f64) -> Option<Partial> {
        let rate_per_s = decay(heard, self.rate_hz, hz)?;
        Some(Partial {
            frequency: Frequency::from_hz(hz),
            plus_minus: plus_minus(hz, BARE_SHARE / self.length_s),
            murk: murk(1.0),
            level: Level::from_db(0.0),
            t60: Duration::from_s(LN_60_DB / rate_per_s),
            quality: std::f64::consts::PI * hz / rate_per_s,
            doublet: None,
        })
    }
}

/// How fast the tone at `hz` dies away between the two halves of what is heard of it, nepers a second; `None` if it does not.
fn decay(heard: &[f64], rate_hz: f64, hz: f64) -> Option<f64> {
    let half = heard.len() / 2;
    let first = super::coarse::amplitude(&heard[..half], rate_hz, hz);
    let second = super::coarse::amplitude(&heard[half..2 * half], rate_hz, hz);
    let fall = (first / second).ln();
    (second > 0.0 && fall > 0.0).then(|| fall * rate_hz / half.max(1) as f64)
}
