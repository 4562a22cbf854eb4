//! What is played of a set so that somebody can judge it by ear: which bottle is blown when.

use std::f64::consts::PI;

use serde::Serialize;

use super::together::Chord;
use crate::physics::resonance::Resonance;

/// Breath on each bottle when they are heard in turn, s: long enough to hear a fluctuation of 1 Hz.
const TURN_S: f64 = 1.6;
/// Shortest note of the scale, s.
const SCALE_S: f64 = 0.45;
/// Breath on a chord, s.
const CHORD_S: f64 = 2.2;
/// Breath on the worst pair, s: long enough to count slow beats.
const PAIR_S: f64 = 4.0;
/// Silence between two things, s.
const PAUSE_S: f64 = 0.25;
/// Most chords that are played.
const MOST_CHORDS: usize = 6;
/// Decay that counts as silence, dB.
const SILENT_DB: f64 = 60.0;

/// One bottle blown once.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Breath {
    /// Which bottle, an index into the set's.
    pub bottle: usize,
    /// The breath begins, s.
    pub start_s: f64,
    /// The breath ends, s.
    pub stop_s: f64,
    /// It has rung down by 60 dB, s.
    pub end_s: f64,
    /// It begins with the tongue.
    pub tongued: bool,
    /// How hard it is blown, over the threshold of sounding; above 1.
    pub over_threshold: f64,
}

/// A stretch of the programme.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Part {
    /// What it is.
    pub title: String,
    /// It begins, s.
    pub start_s: f64,
    /// It ends, s.
    pub end_s: f64,
    /// Who is blown when.
    pub breaths: Vec<Breath>,
}

/// All that is played, in order.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Programme {
    /// The stretches.
    pub parts: Vec<Part>,
}

/// Time in which a resonance falls by 60 dB, s: ln(1000) Q / (π f).
#[must_use]
pub fn ring_s(resonance: Resonance) -> f64 {
    SILENT_DB / 20.0 * std::f64::consts::LN_10 * resonance.quality / (PI * resonance.frequency.hz())
}

/// Time that a bottle takes to speak fully, s.
///
/// Above the threshold a small amplitude grows at π f (g − 1)/Q; from breath noise some 40 dB below full
/// that is ln 100 of these times.
#[must_use]
pub fn speaking_s(resonance: Resonance, breath: f64) -> f64 {
    100f64.ln() * resonance.quality / (PI * resonance.frequency.hz() * (breath - 1.0).max(0.1))
}

impl Programme {
    /// The programme of a set: each bottle in turn, the scale up and down, its smoothest chords, and the
    /// worst-tuned pair. `order` lists the bottles from the lowest note up; `chords` and `worst` hold
    /// indices into `resonances`.
    #[must_use]
    pub fn of(
        resonances: &[Resonance],
        order: &[usize],
        chords: &[(Chord, Vec<usize>)],
        worst: Option<(String, [usize; 2])>,
        breath: f64,
    ) -> Self {
        let mut writer = Writer {
            resonances,
            breath,
            now_s: 0.2,
            programme: Self::default(),
        };
        writer.turns(order);
        if order.len() > 1 {
            writer.scale(order);
        }
        for (chord, bottles) in chords.iter().take(MOST_CHORDS) {
            writer.at_once(format!("chord: {}", chord.name), bottles, CHORD_S);
        }
        if let Some((title, pair)) = worst {
            writer.at_once(title, &pair, PAIR_S);
        }
        writer.programme
    }

    /// When everything has rung down, s.
    #[must_use]
    pub fn end_s(&self) -> f64 {
        self.parts.iter().map(|part| part.end_s).fold(0.0, f64::max)
    }

    /// Every breath, in no particular order.
    pub fn breaths(&self) -> impl Iterator<Item = &Breath> {
        self.parts.iter().flat_map(|part| &part.breaths)
    }
}

/// Writes a programme from its beginning.
struct Writer<'a> {
    resonances: &'a [Resonance],
    breath: f64,
    now_s: f64,
    programme: Programme,
}

impl Writer<'_> {
    fn breath(&self, bottle: usize, length_s: f64, tongued: bool) -> Breath {
        let start_s = self.now_s;
        let stop_s = start_s + length_s;
        Breath {
            bottle,
            start_s,
            stop_s,
            end_s: stop_s + ring_s(self.resonances[bottle]),
            tongued,
            over_threshold: self.breath,
        }
    }

    fn add(&mut self, title: String, breaths: Vec<Breath>) {
        let start_s = breaths.first().map_or(self.now_s, |b| b.start_s);
        let end_s = breaths.iter().map(|b| b.end_s).fold(start_s, f64::max);
        self.now_s = end_s + PAUSE_S;
        self.programme.parts.push(Part {
            title,
            start_s,
            end_s,
            breaths,
        });
    }

    fn turns(&mut self, order: &[usize]) {
        let mut breaths = Vec::with_capacity(order.len());
        for &bottle in order {
            let breath = self.breath(
                bottle,
                TURN_S.max(2.0 * speaking_s(self.resonances[bottle], self.breath)),
                false,
            );
            self.now_s = breath.end_s + PAUSE_S;
            breaths.push(breath);
        }
        self.add("each bottle in turn".to_owned(), breaths);
    }

    fn scale(&mut self, order: &[usize]) {
        let down = order.iter().rev().skip(1);
        let mut breaths = Vec::with_capacity(2 * order.len());
        for &bottle in order.iter().chain(down) {
            // A slow bottle gets the time that it needs to speak.
            let length_s = SCALE_S.max(1.5 * speaking_s(self.resonances[bottle], self.breath));
            let breath = self.breath(bottle, length_s, true);
            self.now_s = breath.stop_s;
            breaths.push(breath);
        }
        self.add("the scale up and down".to_owned(), breaths);
    }

    fn at_once(&mut self, title: String, bottles: &[usize], length_s: f64) {
        let breaths = bottles
            .iter()
            .map(|&bottle| self.breath(bottle, length_s, false))
            .collect();
        self.add(title, breaths);
    }
}
