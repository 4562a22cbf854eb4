//! Blown bottles in a stream of sound: when one sounds, and at what pitch.
//!
//! Short frames get a coarse pitch; frames that agree become a note, and the note its fine pitch from its
//! phase. What is expected, if anything is, tells octaves apart. Where several bottles sound at once each is a note; taps,
//! voices and hum are none.

use super::ListenError;
use super::chord::{Chord, is_multiple};
use super::coarse::{AGREE_CENTS, Coarse, Detector};
use super::decimate::Decimator;
use super::octave::{is_expected, told_apart};
use super::onset::{FRAME_S, Onsets};
use super::phase::{median, refined};
use super::refusal::{NotBlown, Suspect};
use super::ring::{Ring, ring_down};
use crate::units::{Duration, Frequency, Interval, Level, SampleRate};

/// Frames that must agree before a note is believed.
const FRAMES_TO_BEGIN: usize = 3;
/// Frames without the note that end it.
const FRAMES_TO_END: usize = 4;
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
/// Shorter than this is no note, s.
const LEAST_S: f64 = 0.145;
/// A note so much softer than the loudest sound of a recording is beside it, dB.
const SOFTEST_DB: f64 = 22.0;
/// Beside another bottle a pitch is so many times less sure than its own scatter says, by trial.
const BESIDE_ANOTHER: f64 = 1.3;
/// After a tap a wall may ring for so long, s.
const RINGS_S: f64 = 2.0;
/// A pitch that wanders by more is a voice's, cents (95 %).
const UNSTEADY_CENTS: f64 = 30.0;
/// A note whose pitch is less sure than this is a slip between two bottles, or two at once, cents.
const CLEAR_CENTS: f64 = 20.0;

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
    /// Its octave is the one that is expected, and another one by the sound alone.
    pub by_expectation: bool,
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
    refused: Vec<NotBlown>,
    taps: Taps,
    /// Amplitude of a tone as loud as the loudest frame.
    loudest: f64,
}

/// When something was tapped last.
#[derive(Debug)]
struct Taps {
    rate_hz: f64,
    onsets: Onsets,
    /// Samples that do not make a frame yet.
    frame: Vec<f64>,
    size: usize,
    /// Samples so far.
    at: u64,
    last_s: Vec<f64>,
}

impl Taps {
    fn new(rate_hz: f64) -> Self {
        let size = ((FRAME_S * rate_hz) as usize).max(8);
        Self {
            rate_hz,
            onsets: Onsets::new(rate_hz),
            frame: Vec::with_capacity(size),
            size,
            at: 0,
            last_s: Vec::new(),
        }
    }

    fn push(&mut self, block: &[f32]) {
        for x in block {
            self.frame
                .push(if x.is_finite() { f64::from(*x) } else { 0.0 });
            if self.frame.len() < self.size {
                continue;
            }
            let (_, is_onset) = self.onsets.look(&self.frame);
            self.frame.clear();
            if is_onset {
                self.last_s.push(self.at as f64 / self.rate_hz);
                let from_s = self.last_s[self.last_s.len() - 1] - LONGEST_S - RINGS_S;
                self.last_s.retain(|at_s| *at_s > from_s);
            }
            self.at += self.size as u64;
        }
    }

    /// One was tapped so that its ring may be a note that began at `start_s`.
    fn may_ring(&self, start_s: f64) -> bool {
        let is_near = |at_s: &f64| (start_s - RINGS_S..start_s + 0.1).contains(at_s);
        self.last_s.iter().any(is_near)
    }
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
            refused: Vec::new(),
            taps: Taps::new(rate_hz),
            loudest: 0.0,
        })
    }

    /// Takes the next samples, mono, full scale 1.
    pub fn push(&mut self, block: &[f32]) {
        self.taps.push(block);
        self.decimator.push(block, &mut self.kept);
        let frame = self.detector.frame();
        while self.next + frame as u64 <= self.first + self.kept.len() as u64 {
            let from = (self.next - self.first) as usize;
            let samples = &self.kept[from..from + frame];
            let power = samples.iter().map(|x| x * x).sum::<f64>() / frame as f64;
            self.loudest = self.loudest.max((2.0 * power).sqrt());
            let look = self.detector.look(samples);
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

    /// Of a recording that was listened to whole: the notes that are not much softer than the loudest sound in it, which is
    /// what it was made for.
    pub fn heard_in_all(&mut self) -> Vec<HeardNote> {
        let softest_db = 20.0 * self.loudest.max(1e-9).log10() - SOFTEST_DB;
        let mut notes = self.heard();
        notes.retain(|note| note.level.db() >= softest_db);
        notes
    }

    /// Why other tones that have ended since the last call are no blown notes.
    pub fn refused(&mut self) -> Vec<NotBlown> {
        std::mem::take(&mut self.refused)
    }

    /// The note that is sounding now, by its last half second; `None` in silence or in the first moments.
    #[must_use]
    pub fn now(&self) -> Option<HeardNote> {
        let sounding = self.sounding.as_ref().filter(|s| s.missed.is_empty())?;
        let span = (NOW_S * self.decimator.rate_hz()) as u64;
        let from = sounding.from.max(sounding.to.saturating_sub(span));
        let of = Measured {
            from,
            coarse_hz: sounding.running_hz(),
            room_hz: None,
        };
        let note = self.measured(sounding, &of)?;
        let chord = Chord::of(self.samples(from, sounding.to), self.decimator.rate_hz());
        let refused = self.refusal(sounding, &note, &chord);
        refused.is_none().then_some(note)
    }

    /// One frame, with its pitch.
    fn take(&mut self, at: u64, look: Option<Coarse>) {
        let end = at + self.detector.frame() as u64;
        let Some(sounding) = &mut self.sounding else {
            self.gather(at, look);
            return;
        };
        let running_hz = sounding.running_hz();
        if let Some(hz) = look.and_then(|look| look.agreeing(running_hz)) {
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
        let look = match self.run.last() {
            None => look,
            Some((_, before)) => match look.near(before.hz) {
                Some(near) => near,
                None => {
                    self.run.clear();
                    look
                }
            },
        };
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

    /// Ends the note that sounds: one note for each bottle, or the reason why it is none.
    fn close(&mut self) {
        let Some(sounding) = self.sounding.take() else {
            return;
        };
        let rate_hz = self.decimator.rate_hz();
        let attack = (ATTACK_S * rate_hz) as u64;
        let short = (SHORT_S * rate_hz) as u64;
        let from = if sounding.to - sounding.from > short {
            sounding.from + attack
        } else {
            sounding.from
        };
        if ((sounding.to - sounding.from) as f64) < LEAST_S * rate_hz {
            return;
        }
        let chord = Chord::of(self.samples(from, sounding.to), rate_hz);
        for coarse_hz in pitches(&chord, median(&mut sounding.pitches_hz.clone())) {
            let of = Measured {
                from,
                coarse_hz,
                room_hz: chord.room_around(coarse_hz),
            };
            let Some(note) = self.measured(&sounding, &of) else {
                continue;
            };
            match self.refusal(&sounding, &note, &chord) {
                None => self.heard.push(note),
                Some(because) => self.refused.push(because),
            }
        }
    }

    /// What is kept of the stream between two samples.
    fn samples(&self, from: u64, to: u64) -> &[f64] {
        let place = |at: u64| ((at.max(self.first) - self.first) as usize).min(self.kept.len());
        &self.kept[place(from)..place(to).max(place(from))]
    }

    /// The end of the frame that ended a note: what comes later in the same block is another one.
    fn seen(&self) -> u64 {
        self.next + self.detector.frame() as u64
    }

    fn refusal(&self, sounding: &Sounding, note: &HeardNote, chord: &Chord) -> Option<NotBlown> {
        let hz = note.frequency.hz();
        let is_main = sounding
            .pitches_hz
            .last()
            .is_some_and(|last| cents(*last, hz).abs() < AGREE_CENTS);
        let suspect = Suspect {
            samples: self.samples(sounding.from, self.seen()),
            held: self.samples(sounding.from, sounding.to),
            rate_hz: self.decimator.rate_hz(),
            hz,
            plus_minus_cents: note.plus_minus.cents(),
            pitches_hz: if is_main { &sounding.pitches_hz } else { &[] },
            start: note.start,
            may_ring: self.taps.may_ring(note.start.s()),
            chord,
            is_expected: is_expected(&self.expected_hz, hz),
        };
        let is_unsteady = note.plus_minus.cents() > UNSTEADY_CENTS;
        suspect.refused().or(is_unsteady.then_some(NotBlown::Voice))
    }

    /// The pitch of a note from a sample of the stream on.
    fn measured(&self, sounding: &Sounding, of: &Measured) -> Option<HeardNote> {
        let rate_hz = self.decimator.rate_hz();
        let end = sounding.to.min(self.first + self.kept.len() as u64);
        let samples = self.samples(of.from, end);
        if samples.is_empty() {
            return None;
        }
        let hz = told_apart(&self.expected_hz, samples, rate_hz, of.coarse_hz);
        // What has no steady phase is no tone.
        let fine = refined(samples, rate_hz, hz, of.room_hz)?;
        let beside = of.room_hz.map_or(1.0, |_| BESIDE_ANOTHER);
        // A clear ring-down is still the note: its end is looked for well before the last good frame.
        let tail_from = end.saturating_sub((TAIL_S * rate_hz) as u64).max(of.from);
        let tail = self.samples(tail_from, self.seen());
        let time =
            |at: u64| Duration::from_s((at as f64 / rate_hz - self.decimator.delay_s()).max(0.0));
        Some(HeardNote {
            frequency: Frequency::from_hz(fine.hz),
            plus_minus: Interval::from_cents(beside * fine.plus_minus_cents),
            start: time(sounding.from),
            end: time(end),
            level: Level::from_gain(fine.amplitude.max(1e-9)),
            clarity: sounding.clarity / sounding.pitches_hz.len() as f64,
            ring: ring_down(tail, rate_hz, fine.hz, fine.amplitude),
            by_expectation: hz != of.coarse_hz,
        })
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

/// Where a note is measured.
struct Measured {
    /// First sample.
    from: u64,
    coarse_hz: f64,
    /// Another bottle sounds so far away, Hz.
    room_hz: Option<f64>,
}

/// The pitches of a stretch whose frames had `coarse_hz`: that of each bottle. A pitch that none of its tones has is what
/// two bottles have in common, and no note.
fn pitches(chord: &Chord, coarse_hz: f64) -> Vec<f64> {
    let is_main = |hz: f64| cents(hz, coarse_hz).abs() < AGREE_CENTS;
    let supports =
        |hz: f64| is_main(hz) || is_multiple(hz, coarse_hz) || is_multiple(coarse_hz, hz);
    let others = || chord.bottles.iter().map(|tone| tone.hz);
    let is_real = chord.bottles.len() < 2 || others().any(is_main) || others().all(supports);
    // With another beside it the coarse pitch is drawn aside.
    let own_hz = others().find(|hz| chord.bottles.len() > 1 && is_main(*hz));
    let mut found = if is_real {
        vec![own_hz.unwrap_or(coarse_hz)]
    } else {
        Vec::new()
    };
    found.extend(others().filter(|hz| !is_real || !supports(*hz)));
    found
}

fn cents(hz: f64, reference_hz: f64) -> f64 {
    Frequency::from_hz(hz)
        .interval_above(Frequency::from_hz(reference_hz))
        .cents()
}
