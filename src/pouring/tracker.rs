//! The whole ear: samples in, every 20 ms what is in the bottle, and when to stop.

use super::evidence::Evidence;
use super::gate::Gate;
use super::modes::Modes;
use super::particles::{Guess, Particles, Prior};
use super::reading::{Band, Call, Hearing, Mark, Reading};
use super::spectrum::{HOP_S, Spectrum};
use super::trust::Trust;
use crate::units::{Duration, Frequency, Interval, SampleRate, Volume};

/// Rates that can be listened at, Hz.
const RATES_HZ: (f64, f64) = (11_025.0, 192_000.0);
/// The room is listened to for so long before the pour, s.
const ROOM_S: f64 = 1.0;
/// What the ear itself is late by, s: half a window, half a step, and the cloud's own inertia.
const EAR_LATE_S: f64 = 0.15;
/// A start that is known is known this well, as a share of the capacity.
const START_SPREAD: f64 = 0.01;
/// One that is not: anything from empty up to this.
const UNKNOWN_SPREAD: f64 = 0.25;
/// Air modes while water falls in stand so far from where they stand at rest, cents: the lowest, and the others. Measured on
/// a conical jug: mean of 18 pairs of the lowest mode −19, and −10 of the second
/// (github.com/anbarsode/GW_jug, `measured_freqs.txt`).
const POURED_CENTS: [f64; 2] = [-19.0, -10.0];
/// A funnel in the mouth lowers the lowest mode by as much as a longer neck, the others less. Guessed, with a wide spread.
const FUNNEL_CENTS: [f64; 2] = [-200.0, -80.0];
const FUNNEL_SPREAD_CENTS: f64 = 150.0;
/// A pour moves the lowest mode by more or less than its mean, cents: how far a blown note and the pour may disagree.
const BLOWN_CENTS: f64 = 25.0;
/// How well the best known bottle is known while it is poured into, cents.
const LEAST_SPREAD_CENTS: f64 = 20.0;
/// And the worst: more is another bottle.
const MOST_SPREAD_CENTS: f64 = 200.0;

/// Why a pour cannot be followed.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PouringError {
    /// The rate.
    #[error("{rate_hz} samples a second are outside {} to {}", RATES_HZ.0, RATES_HZ.1)]
    Rate {
        /// As given.
        rate_hz: f64,
    },
    /// The start.
    #[error(
        "a start at {start_ml} ml is outside 0 to {fullest_ml:.0} ml, the most that can be followed in this bottle"
    )]
    Start {
        /// As given.
        start_ml: f64,
        /// The end of the table.
        fullest_ml: f64,
    },
    /// The mark.
    #[error(
        "a mark at {mark_ml:.1} ml is outside 0 to {fullest_ml:.0} ml, the most that can be followed in this bottle"
    )]
    Mark {
        /// As given, or as the note needs.
        mark_ml: f64,
        /// The end of the table.
        fullest_ml: f64,
    },
    /// A share or a time that makes no sense.
    #[error("{what} {value} is outside {least} to {most}")]
    Range {
        /// Which.
        what: &'static str,
        /// As given.
        value: f64,
        /// Least.
        least: f64,
        /// Most.
        most: f64,
    },
}

/// What is poured, and how.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PourSpec {
    /// Where to stop.
    pub mark: Mark,
    /// What is in it already; nothing if nobody knows.
    pub start: Option<Volume>,
    /// How far the bottle may be from its model: half the width of its 95 % interval.
    pub plus_minus: Interval,
    /// How far it is known to sound above its model, from a pour before.
    pub off: Interval,
    /// It is poured through a funnel.
    pub funnel: bool,
    /// The first second is the room before the pour. Without it pauses are not told from a quiet stream.
    pub room_first: bool,
    /// Stop so much early on purpose, as a share of the mark, 0 to 0.5: adding is easy, taking out is not.
    pub early: f64,
    /// From the word to the end of the stream, 0 to 2 s: a person's reaction, and the water in the air.
    pub reaction: Duration,
    /// Of the particles' dice.
    pub seed: u64,
}

impl PourSpec {
    /// Into an empty bottle up to `mark`, known by ruler: stopping 5 % early, with 0.3 s to react.
    #[must_use]
    pub fn new(mark: Mark) -> Self {
        Self {
            mark,
            start: Some(Volume::default()),
            plus_minus: Interval::from_cents(160.0),
            off: Interval::default(),
            funnel: false,
            room_first: true,
            early: 0.05,
            reaction: Duration::from_s(0.3),
            seed: 1,
        }
    }

    fn prior(&self, capacity_ml: f64) -> Prior {
        let fill_ml = match self.start {
            Some(start) => (start.ml(), START_SPREAD * capacity_ml),
            None => (0.0, UNKNOWN_SPREAD * capacity_ml),
        };
        let spread = (0.5 * self.plus_minus.cents()).clamp(LEAST_SPREAD_CENTS, MOST_SPREAD_CENTS);
        let (funnel, funnel_spread) = match self.funnel {
            true => (FUNNEL_CENTS, FUNNEL_SPREAD_CENTS),
            false => ([0.0; 2], 0.0),
        };
        Prior {
            fill_ml,
            error_cents: std::array::from_fn(|n| POURED_CENTS[n] + funnel[n] + self.off.cents()),
            spread_cents: spread.hypot(funnel_spread),
        }
    }

    /// How far the lowest mode stands from the blown note for being poured into, cents.
    fn poured_cents(&self) -> f64 {
        POURED_CENTS[0] + if self.funnel { FUNNEL_CENTS[0] } else { 0.0 }
    }
}

/// A rate that can be listened at.
pub(super) fn rate_of(rate: SampleRate) -> Result<SampleRate, PouringError> {
    let rate_hz = rate.hz();
    let fits = (RATES_HZ.0..=RATES_HZ.1).contains(&rate_hz);
    fits.then_some(rate).ok_or(PouringError::Rate { rate_hz })
}

/// Follows one pour.
///
/// *Real time: no allocation, lock, wait or system call after `new`; cost is linear in the block.*
pub struct Tracker {
    modes: Modes,
    spec: PourSpec,
    spectrum: Spectrum,
    evidence: Evidence,
    particles: Particles,
    gate: Gate,
    trust: Trust,
    guess: Guess,
    call: Call,
    poured_s: f64,
}

impl std::fmt::Debug for Tracker {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let mut told = f.debug_struct("Tracker");
        told.field("spec", &self.spec).field("guess", &self.guess);
        told.finish_non_exhaustive()
    }
}

impl Tracker {
    /// Ready for a pour into the bottle of `modes`, heard at `rate`.
    ///
    /// # Errors
    /// A rate outside 11,025 to 192,000 Hz; a start or a mark beyond the table; an early stop or a reaction out of range.
    pub fn new(modes: Modes, spec: PourSpec, rate: SampleRate) -> Result<Self, PouringError> {
        let rate = rate_of(rate)?;
        let fullest_ml = modes.fullest().ml();
        let start_ml = spec.start.unwrap_or_default().ml();
        if !(0.0..=fullest_ml).contains(&start_ml) {
            return Err(PouringError::Start {
                start_ml,
                fullest_ml,
            });
        }
        if let Mark::Fill(mark) = spec.mark
            && !(mark.ml() > 0.0 && mark.ml() <= fullest_ml)
        {
            return Err(PouringError::Mark {
                mark_ml: mark.ml(),
                fullest_ml,
            });
        }
        let range = |what, value: f64, most: f64| match (0.0..=most).contains(&value) {
            true => Ok(()),
            false => Err(PouringError::Range {
                what,
                value,
                least: 0.0,
                most,
            }),
        };
        range("an early stop of", spec.early, 0.5)?;
        range("a reaction of", spec.reaction.s(), 2.0)?;
        let mut tracker = Self {
            spectrum: Spectrum::new(rate),
            evidence: Evidence::new(),
            particles: Particles::new(&modes, spec.seed),
            gate: Gate::new(spec.room_first, ROOM_S),
            trust: Trust::new(),
            guess: Guess::default(),
            call: Call::Pour,
            poured_s: 0.0,
            modes,
            spec,
        };
        tracker.begin();
        Ok(tracker)
    }

    fn begin(&mut self) {
        self.particles
            .scatter(&self.spec.prior(self.modes.capacity().ml()));
        self.guess = self.particles.guess();
        self.call = Call::Pour;
        self.poured_s = 0.0;
    }

    /// Begins anew, as `new` left it but for the dice.
    pub fn reset(&mut self) {
        self.spectrum.reset();
        self.gate.reset();
        self.trust = Trust::new();
        self.begin();
    }

    /// What is followed.
    #[must_use]
    pub fn modes(&self) -> &Modes {
        &self.modes
    }

    /// As it was asked for.
    #[must_use]
    pub fn spec(&self) -> &PourSpec {
        &self.spec
    }

    /// Takes the next samples, mono, full scale 1; `tell` is given a reading every 20 ms.
    pub fn hear(&mut self, samples: &[f32], mut tell: impl FnMut(&Reading)) {
        for sample in samples {
            if self.spectrum.take(*sample) {
                let reading = self.frame();
                tell(&reading);
            }
        }
    }

    fn frame(&mut self) -> Reading {
        let is_room = matches!(self.gate.state(), Hearing::Room | Hearing::Waiting);
        let places = self.particles.places_of(&self.guess);
        self.spectrum.frame((!is_room).then_some(&places));
        let state = self.gate.take(self.spectrum.level);
        if state == Hearing::Pouring {
            // What ran in before it was noticed.
            for _ in 0..(self.gate.late_s / HOP_S) as usize {
                self.particles.step();
            }
            self.evidence.weigh(&self.spectrum.powers);
            self.particles.step();
            self.particles.weigh(&self.evidence);
            self.trust.take(&self.particles);
            self.guess = self.particles.guess();
            self.poured_s += HOP_S;
        }
        self.reading(state)
    }

    fn reading(&mut self, state: Hearing) -> Reading {
        let guess = self.guess;
        let flowing = state == Hearing::Pouring;
        let flow_ml_s = if flowing { guess.flow_ml_s } else { 0.0 };
        let late_ml = flow_ml_s * EAR_LATE_S;
        let band = self.trust.band(&guess, self.modes.capacity().ml());
        let state = match (flowing, band) {
            (true, None) => Hearing::Deaf,
            _ => state,
        };
        let fullest_ml = self.modes.fullest().ml();
        let fill = band.map(|(low_ml, high_ml)| {
            let at = |ml: f64| Volume::from_ml((ml + late_ml).clamp(0.0, fullest_ml));
            Band {
                low: at(low_ml),
                fill: at(guess.fill_ml),
                high: at(high_ml),
            }
        });
        let (mark_ml, left_ml) = self.left(late_ml);
        let left_s = left_ml / guess.flow_ml_s.max(1e-3);
        if state == Hearing::Pouring {
            self.advise(left_s);
        }
        Reading {
            at: Duration::from_s(self.spectrum.heard_s()),
            state,
            fill,
            flow_ml_s,
            mark: Volume::from_ml(mark_ml),
            left: Duration::from_s(left_s.max(0.0)),
            call: self.call,
            off: Interval::from_cents(guess.error_cents - self.spec.poured_cents()),
            off_plus_minus: Interval::from_cents(2.0 * guess.error_spread_cents),
            clearness: self.trust.clearness(),
            clipped: self.spectrum.clipped,
        }
    }

    /// The fill to stop at, and how much is missing from it now, both ml. A note's mark moves with what is learnt of the
    /// bottle, and fill and error are weighed together: what is missing is known better than either.
    fn left(&mut self, late_ml: f64) -> (f64, f64) {
        let keep = 1.0 - self.spec.early;
        match self.spec.mark {
            Mark::Fill(mark) => {
                let mark_ml = mark.ml() * keep;
                (mark_ml, mark_ml - self.guess.fill_ml - late_ml)
            }
            Mark::Note(target) => {
                let poured_cents = self.spec.poured_cents();
                let (modes, particles) = (&self.modes, &mut self.particles);
                let mark_ml = |error_cents: f64| {
                    let off = Interval::from_cents(error_cents - poured_cents);
                    modes.fill_for(target, off).ml() * keep
                };
                let left_ml = particles.median_left(mark_ml);
                (mark_ml(self.guess.error_cents), left_ml - late_ml)
            }
        }
    }

    fn advise(&mut self, left_s: f64) {
        const SLOWER_S: f64 = 2.0;
        let react_s = self.spec.reaction.s();
        let next = if left_s <= react_s {
            Call::Stop
        } else if left_s <= SLOWER_S + react_s {
            Call::Slower
        } else {
            Call::Pour
        };
        // Once said, it stands.
        self.call = self.call.max(next);
        self.particles.slower = self.call >= Call::Slower;
    }

    /// The note that the bottle would give now, by what was heard.
    #[must_use]
    pub fn note(&self) -> Option<Frequency> {
        let off = Interval::from_cents(self.guess.error_cents - self.spec.poured_cents());
        let note = self.modes.note(Volume::from_ml(self.guess.fill_ml))?;
        Some(note.raised_by(off))
    }

    /// Takes the note that was blown after the pour: of all that the pour may have been, what gives this note stays. Neither
    /// fill nor bottle is known exactly then, but what the bottle learns from it is good for the next pour.
    pub fn blown(&mut self, note: Frequency) -> Reading {
        let poured_cents = self.spec.poured_cents();
        let modes = &self.modes;
        self.particles.weigh_by(|fill_ml, error_cents| {
            let off = Interval::from_cents(error_cents - poured_cents);
            let given = modes.note(Volume::from_ml(fill_ml))?.raised_by(off);
            Some(given.interval_above(note).cents() / BLOWN_CENTS)
        });
        self.guess = self.particles.guess();
        self.reading(Hearing::Paused)
    }
}
