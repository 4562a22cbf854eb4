//! Blown bottles in a stream of sound: when one sounds, and at what pitch.
//!
//! Short frames get a coarse pitch; frames that agree become a note, and the note its fine pitch from its
//! phase. What is expected, if anything is, tells octaves apart.

use super::ListenError;
use super::coarse::{Coarse, Detector, RANGE_HZ, amplitude};
use super::decimate::Decimator;
use super::phase::{Fine, median, refined};
use super::ring::{Ring, ring_down};
use crate::units::{Duration, Frequency, Interval, Level, SampleRate};

/// Frames that must agree before a note is believed.
const FRAMES_TO_BEGIN: usize = 3;
/// Frames without the note that end it.
const FRAMES_TO_END: usize = 4;
/// Frames agree within this, cents.
const AGREE_CENTS: f64 = 80.0;
/// Frames of which the running pitch is the median.
const RUNNING_FRAMES: usize = 8;
/// The breath takes a moment to settle: so much of a note's beginning is not measured, s.
const ATTACK_S: f64 = 0.06;
/// A note shorter than this is measured from its beginning, s.
const SHORT_S: f64 = 0.35;
/// A note longer than this is measured in pieces, s.
const LONGEST_S: f64 = 30.0;
/// The pitch now is that of so much of the note, s.
const NOW_S: f64 = 0.5;
/// The ring-down begins at most so long before a note is lost, s.
const TAIL_S: f64 = 2.0;
/// A frame's own pitch is this good, cents; common practice, no source.
const COARSE_CENTS: f64 = 15.0;
/// Farther than this from everything expected, a pitch is looked at for octaves, cents: a bottle that is poured a tone
/// and a half wrong is still the one expected.
const ASTRAY_CENTS: f64 = 300.0;
/// A fundamental that a small microphone hardly hears is still so strong beside its octave: −20 dB.
const LOWER_EVIDENCE: f64 = 0.1;
/// And another of its partials: −34 dB.
const EVIDENCE: f64 = 0.02;
/// Length of sound in which that is looked for, s.
const EVIDENCE_S: f64 = 0.4;

/// A note whose pitch is less sure than this is a slip between two bottles, or two at once, cents.
const CLEAR_CENTS: f64 = 10.0;

/// A bottle that was heard.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeardNote {
    /// Its pitch.
    pub frequency: Frequency,
    /// Half the width of the 95 % interval around it, by the note's own scatter and length.
    pub plus_minus: Interval,
    /// When it began, from the start of the stream.
    pub start: Duration,
    /// When it ended.
    pub end: Duration,
    /// Level of the tone beside a full-scale one.
    pub level: Level,
    /// How periodic it is: 1 is a pure tone.
    pub clarity: f64,
    /// How it rang down, where that could be heard.
    pub ring: Option<Ring>,
}

impl HeardNote {
    /// How long it was.
    #[must_use]
    pub fn length(&self) -> Duration {
        self.end - self.start
    }

    /// Its pitch is sure enough to be one bottle's: a slip between two, or two at once, are not.
    #[must_use]
    pub fn is_clear(&self) -> bool {
        self.plus_minus.cents() <= CLEAR_CENTS
    }
}

/// A note that is sounding.
#[derive(Clone, Debug)]
struct Sounding {
    /// First sample of its first frame, counted from the start of the stream.
    from: u64,
    /// End of its last good frame.
    to: u64,
    /// Pitches of its good frames.
    pitches_hz: Vec<f64>,
    clarity: f64,
    /// Frames since the last good one.
    missed: Vec<(u64, Option<Coarse>)>,
}

impl Sounding {
    fn running_hz(&self) -> f64 {
        let from = self.pitches_hz.len().saturating_sub(RUNNING_FRAMES);
        median(&mut self.pitches_hz[from..].to_vec())
    }
}

/// Hears blown bottles in a stream: takes blocks of any length, gives the notes in them.
///
/// Memory is bounded: half a minute of a note is kept at most, a longer one is given in pieces.
///
/// ```
/// use ullage::listen::Listener;
/// use ullage::units::SampleRate;
/// let mut listener = Listener::new(SampleRate::from_hz(48_000.0), &[])?;
/// let tone: Vec<f32> = (0..48_000).map(|n| 0.3 * (n as f32 * 196.0 / 48_000.0 * 6.2831853).sin()).collect();
/// listener.push(&tone);
/// listener.finish();
/// let heard = listener.heard();
/// assert!((heard[0].frequency.hz() - 196.0).abs() < 0.01);
/// # Ok::<(), ullage::listen::ListenError>(())
/// ```
#[derive(Debug)]
pub struct Listener {
    decimator: Decimator,
    detector: Detector,
    expected_hz: Vec<f64>,
    /// Samples at the lower rate, from `first` on.
    kept: Vec<f64>,
    first: u64,
    /// First sample of the next frame.
    next: u64,
    run: Vec<(u64, Coarse)>,
    sounding: Option<Sounding>,
    heard: Vec<HeardNote>,
}

/// Lowest and highest sample rate, Hz.
pub(super) const RATES_HZ: (f64, f64) = (8_000.0, 768_000.0);

impl Listener {
    /// Listens at `rate` (8 to 768 kHz); `expected` are the pitches of the set, if there is one.
    ///
    /// # Errors
    /// A rate outside its range.
    pub fn new(rate: SampleRate, expected: &[Frequency]) -> Result<Self, ListenError> {
        let (min_hz, max_hz) = RATES_HZ;
        let rate_hz = rate.hz();
        if !(min_hz..=max_hz).contains(&rate_hz) {
            return Err(ListenError::Rate {
                rate_hz,
                min_hz,
                max_hz,
            });
        }
        let decimator = Decimator::new(rate_hz);
        let detector = Detector::new(decimator.rate_hz());
        Ok(Self {
            detector,
            decimator,
            expected_hz: expected.iter().map(|f| f.hz()).collect(),
            kept: Vec::new(),
            first: 0,
            next: 0,
            run: Vec::new(),
            sounding: None,
            heard: Vec::new(),
        })
    }

    /// Takes the next samples, mono, full scale 1.
    pub fn push(&mut self, block: &[f32]) {
        self.decimator.push(block, &mut self.kept);
        let frame = self.detector.frame();
        while self.next + frame as u64 <= self.first + self.kept.len() as u64 {
            let from = (self.next - self.first) as usize;
            let look = self.detector.look(&self.kept[from..from + frame]);
            self.take(self.next, look);
            self.next += self.detector.hop() as u64;
        }
        self.forget();
    }

    /// The stream has ended: a note that still sounds is given.
    pub fn finish(&mut self) {
        self.close();
        self.run.clear();
    }

    /// The notes that have ended since the last call, in the order of their beginnings.
    pub fn heard(&mut self) -> Vec<HeardNote> {
        std::mem::take(&mut self.heard)
    }

    /// The note that is sounding now, by its last half second; `None` in silence or in the first moments.
    #[must_use]
    pub fn now(&self) -> Option<HeardNote> {
        let sounding = self.sounding.as_ref().filter(|s| s.missed.is_empty())?;
        let span = (NOW_S * self.decimator.rate_hz()) as u64;
        let from = sounding.from.max(sounding.to.saturating_sub(span));
        self.measured(sounding, from, sounding.running_hz())
    }

    /// One frame, with its pitch.
    fn take(&mut self, at: u64, look: Option<Coarse>) {
        let end = at + self.detector.frame() as u64;
        let Some(sounding) = &mut self.sounding else {
            self.gather(at, look);
            return;
        };
        let running_hz = sounding.running_hz();
        if let Some(hz) = look.and_then(|look| agreeing(look.hz, running_hz)) {
            sounding.pitches_hz.push(hz);
            sounding.clarity += look.map_or(0.0, |look| look.clarity);
            sounding.missed.clear();
            sounding.to = end;
            let longest = (LONGEST_S * self.decimator.rate_hz()) as u64;
            if end - sounding.from > longest {
                self.close();
            }
            return;
        }
        sounding.missed.push((at, look));
        if sounding.missed.len() >= FRAMES_TO_END {
            let missed = std::mem::take(&mut sounding.missed);
            self.close();
            // They may be the beginning of another note.
            for (at, look) in missed {
                self.take(at, look);
            }
        }
    }

    /// Frames that agree begin a note.
    fn gather(&mut self, at: u64, look: Option<Coarse>) {
        let Some(look) = look else {
            self.run.clear();
            return;
        };
        let agrees = self
            .run
            .last()
            .is_none_or(|(_, before)| cents(look.hz, before.hz).abs() < AGREE_CENTS);
        if !agrees {
            self.run.clear();
        }
        self.run.push((at, look));
        if self.run.len() >= FRAMES_TO_BEGIN {
            let run = std::mem::take(&mut self.run);
            self.sounding = Some(Sounding {
                from: run[0].0,
                to: at + self.detector.frame() as u64,
                pitches_hz: run.iter().map(|(_, look)| look.hz).collect(),
                clarity: run.iter().map(|(_, look)| look.clarity).sum(),
                missed: Vec::new(),
            });
        }
    }

    /// Ends the note that sounds.
    fn close(&mut self) {
        let Some(sounding) = self.sounding.take() else {
            return;
        };
        let attack = (ATTACK_S * self.decimator.rate_hz()) as u64;
        let short = (SHORT_S * self.decimator.rate_hz()) as u64;
        let from = if sounding.to - sounding.from > short {
            sounding.from + attack
        } else {
            sounding.from
        };
        let coarse_hz = median(&mut sounding.pitches_hz.clone());
        let note = self.measured(&sounding, from, coarse_hz);
        self.heard.extend(note);
    }

    /// The pitch of a note from sample `from` of the stream on.
    fn measured(&self, sounding: &Sounding, from: u64, coarse_hz: f64) -> Option<HeardNote> {
        let rate_hz = self.decimator.rate_hz();
        let end = sounding.to.min(self.first + self.kept.len() as u64);
        let place = |at: u64| (at.max(self.first) - self.first) as usize;
        let samples = self.kept.get(place(from)..place(end))?;
        let hz = self.told_apart(samples, coarse_hz);
        let fine = refined(samples, rate_hz, hz).unwrap_or_else(|| Fine {
            hz,
            plus_minus_cents: COARSE_CENTS,
            amplitude: amplitude(samples, rate_hz, hz),
        });
        // A clear ring-down is still the note: its end is looked for well before the last good frame.
        let tail_from = end.saturating_sub((TAIL_S * rate_hz) as u64).max(from);
        // Up to the frame that ended it: what comes later in the same block is another note.
        let seen = place(self.next + self.detector.frame() as u64).min(self.kept.len());
        let tail = &self.kept[place(tail_from)..seen];
        let time =
            |at: u64| Duration::from_s((at as f64 / rate_hz - self.decimator.delay_s()).max(0.0));
        Some(HeardNote {
            frequency: Frequency::from_hz(fine.hz),
            plus_minus: Interval::from_cents(fine.plus_minus_cents),
            start: time(sounding.from),
            end: time(end),
            level: Level::from_gain(fine.amplitude.max(1e-9)),
            clarity: sounding.clarity / sounding.pitches_hz.len() as f64,
            ring: ring_down(tail, rate_hz, fine.hz, fine.amplitude),
        })
    }

    /// `hz`, or the note that is expected and has it as a harmonic, or that it was mistaken for half of.
    fn told_apart(&self, samples: &[f64], hz: f64) -> f64 {
        if self.expected_hz.is_empty() {
            return hz;
        }
        let astray = |hz: f64| {
            let off = self.expected_hz.iter().map(|e| cents(hz, *e).abs());
            off.fold(f64::INFINITY, f64::min)
        };
        let rate_hz = self.decimator.rate_hz();
        // No longer than this: of a coarse pitch's harmonics a narrower look would miss the peak.
        let most = (EVIDENCE_S * rate_hz) as usize;
        let middle = samples.len().saturating_sub(most) / 2;
        let looked = &samples[middle..(middle + most).min(samples.len())];
        let strength = |hz: f64| {
            if (RANGE_HZ.0..=RANGE_HZ.1).contains(&hz) {
                amplitude(looked, rate_hz, hz)
            } else {
                0.0
            }
        };
        let own = strength(hz);
        let is_expected = astray(hz) <= ASTRAY_CENTS;
        // Of a lower note: its fundamental is there, and where this one would do as well, a partial that only it has.
        for (ratio, partial) in [(0.5, 1.5), (1.0 / 3.0, 2.0 / 3.0)] {
            let lower = ratio * hz;
            let is_there = strength(lower) > LOWER_EVIDENCE * own;
            let is_its_own = || strength(partial * hz) > EVIDENCE * own;
            if is_there && astray(lower) <= ASTRAY_CENTS && (!is_expected || is_its_own()) {
                return lower;
            }
        }
        // Of a higher note: nothing to speak of sounds here.
        for ratio in [2.0, 3.0] {
            let higher = ratio * hz;
            let is_stronger = strength(higher) > own;
            if !is_expected && is_stronger && astray(higher) <= ASTRAY_CENTS {
                return higher;
            }
        }
        hz
    }

    /// Drops what no note needs any more.
    fn forget(&mut self) {
        let run_from = self.run.first().map_or(self.next, |(at, _)| *at);
        let needed = self.sounding.as_ref().map_or(run_from, |s| s.from);
        let useless = (needed - self.first) as usize;
        // Not at every block: moving the rest has its price.
        if useless > self.detector.frame() * 4 {
            self.kept.drain(..useless);
            self.first = needed;
        }
    }
}

/// `hz` itself if it agrees with the running pitch, or a slip to the octave below put right. An octave above is no
/// slip: McLeod's method errs downwards, and a bottle blown over hum of half its pitch must end the hum.
fn agreeing(hz: f64, running_hz: f64) -> Option<f64> {
    [1.0, 2.0]
        .into_iter()
        .map(|ratio| ratio * hz)
        .find(|hz| cents(*hz, running_hz).abs() < AGREE_CENTS)
}

fn cents(hz: f64, reference_hz: f64) -> f64 {
    Frequency::from_hz(hz)
        .interval_above(Frequency::from_hz(reference_hz))
        .cents()
}
