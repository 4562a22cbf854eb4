//! What is played of a set so that somebody can judge it by ear: which bottle is blown or struck when, and what slides.
//!
//! ```
//! use ullage::plan::programme::ring_s;
//!
//! let stage = ullage::stage::Stage::new(&ullage::set::open("presets/quay/set.toml")?)?;
//! let (spoken, audition) = (stage.spoken(), stage.audition_programme().programme);
//! for two in audition.parts[0].breaths.windows(2) {
//!     // A resonance takes 2.2 over its bandwidth to fall by 60 dB, as in room acoustics; 2.2 is 2.199 rounded.
//!     let resonance = spoken[two[0].pour].resonance;
//!     let by_bandwidth_s = 2.2 / (resonance.frequency.hz() / resonance.quality);
//!     assert!((ring_s(resonance) / by_bandwidth_s - 1.0).abs() < 1e-3);
//!     // Bottles heard in turn do not ring into each other.
//!     assert!(two[1].start_s > two[0].stop_s + by_bandwidth_s);
//! }
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use std::f64::consts::PI;

use serde::Serialize;

use crate::index::PourIndex;
use crate::physics::resonance::Resonance;

/// How hard bottles are blown where nothing else is asked for, over the threshold of sounding: a matter of taste, within
/// what players do. On a struck bottle it stands for a stroke of 1 m/s.
pub const USUAL_BREATH: f64 = 2.5;
/// Two times that differ by less are the same, s.
pub(super) const SAME_S: f64 = 1e-9;
/// Breath on each bottle when they are heard in turn, s: long enough to hear a fluctuation of 1 Hz.
const TURN_S: f64 = 1.6;
/// Shortest note of the scale, s.
const SCALE_S: f64 = 0.45;
/// Breath on a chord, s.
const CHORD_S: f64 = 2.2;
/// Breath on the worst pair, s: long enough to count slow beats.
const PAIR_S: f64 = 4.0;
/// A unison is heard for so many of its beats, but no longer than this, s.
const UNISON_BEATS: f64 = 4.0;
const LONGEST_UNISON_S: f64 = 12.0;
/// Time of a slide from one end to the other, s: slow enough to follow.
const SLIDE_S: f64 = 3.0;
/// Rest on either end of a slide, s.
const SLIDE_REST_S: f64 = 0.8;
/// Silence between two things, s.
const PAUSE_S: f64 = 0.25;
/// Most chords, and most unisons, that are played.
const MOST_CHORDS: usize = 6;
const MOST_UNISONS: usize = 6;
/// Decay that counts as silence, dB.
const SILENT_DB: f64 = 60.0;

/// A bottle as it is played.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spoken {
    /// What it sounds like.
    pub resonance: Resonance,
    /// A mallet makes it sound, not breath.
    pub struck: bool,
}

impl Spoken {
    /// Time that it takes to speak fully, s; a struck one speaks at once.
    #[must_use]
    pub fn speaking_s(self, breath: f64) -> f64 {
        if self.struck {
            0.0
        } else {
            speaking_s(self.resonance, breath)
        }
    }

    /// When it has rung down by 60 dB, of one played from `start_s` to `stop_s`, s: a struck one rings from its stroke.
    #[must_use]
    pub fn silent_s(self, start_s: f64, stop_s: f64) -> f64 {
        let from_s = if self.struck { start_s } else { stop_s };
        from_s + ring_s(self.resonance)
    }
}

/// Something that slides from one end of its way to the other: a floor, or one of a joined pair.
#[derive(Clone, Debug, PartialEq)]
pub struct Slide {
    /// What to call it.
    pub title: String,
    /// The bottles that are blown meanwhile; the first of them stands for what slides.
    pub pours: Vec<PourIndex>,
    /// Lowest and highest place that is gone to, 0 to 1 of the way.
    pub places: (f64, f64),
}

/// A stretch in which something slides.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gliding {
    /// The bottle that stands for what slides.
    pub pour: PourIndex,
    /// It begins to move, s.
    pub start_s: f64,
    /// It has arrived, s.
    pub stop_s: f64,
    /// From where, 0 to 1 of the way.
    pub from: f64,
    /// To where.
    pub to: f64,
}

/// One bottle blown or struck once.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Breath {
    /// Which of the set's pours.
    #[serde(rename = "bottle")]
    pub pour: PourIndex,
    /// The breath begins, s.
    pub start_s: f64,
    /// The breath ends, s; of a struck bottle that is the stroke itself, or the end of its written note.
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
    /// What slides when, beyond what the notes themselves ask for.
    #[serde(skip)]
    pub glides: Vec<Gliding>,
}

/// All that is played, in order.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Programme {
    /// The stretches.
    pub parts: Vec<Part>,
}

/// Bottles that are heard at once.
#[derive(Clone, Debug, PartialEq)]
pub struct AtOnce {
    /// What to call them.
    pub title: String,
    /// Which of the set's pours.
    pub pours: Vec<PourIndex>,
}

/// Two bottles of one key.
#[derive(Clone, Debug, PartialEq)]
pub struct Unison {
    /// The two.
    pub both: AtOnce,
    /// How often they beat in a second.
    pub beats_per_s: f64,
}

/// What is heard of a set after its bottles in turn and its scale.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Highlights {
    /// What slides.
    pub slides: Vec<Slide>,
    /// Its pairs of one key; the first few are played.
    pub unisons: Vec<Unison>,
    /// Its chords by their names, the smoothest first; the first few are played.
    pub chords: Vec<AtOnce>,
    /// The worst-tuned pair.
    pub worst: Option<AtOnce>,
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
    /// The programme of a set: each bottle in turn, the scale up and down, what slides, its unisons, its smoothest chords, and
    /// the worst-tuned pair. `order` lists the bottles from the lowest note up.
    #[must_use]
    pub fn of(
        bottles: &[Spoken],
        order: &[PourIndex],
        highlights: &Highlights,
        breath: f64,
    ) -> Self {
        let mut writer = Writer::new(bottles, breath);
        writer.turns(order);
        if order.len() > 1 {
            writer.scale("the scale up and down".to_owned(), order);
        }
        for slide in &highlights.slides {
            writer.slide(slide);
        }
        for unison in highlights.unisons.iter().take(MOST_UNISONS) {
            let Unison { both, beats_per_s } = unison;
            // As long as it takes to count the beats.
            let length_s = (UNISON_BEATS / beats_per_s).clamp(PAIR_S, LONGEST_UNISON_S);
            writer.at_once(both.title.clone(), &both.pours, length_s);
        }
        for chord in highlights.chords.iter().take(MOST_CHORDS) {
            writer.at_once(format!("chord: {}", chord.title), &chord.pours, CHORD_S);
        }
        if let Some(pair) = &highlights.worst {
            writer.at_once(pair.title.clone(), &pair.pours, PAIR_S);
        }
        writer.programme
    }

    /// Two states of one set after each other: the scale before, the scale after, then every bottle before and after.
    /// `bottles` holds all of them before and then all of them after, in the same order; `order` lists the first half
    /// from the lowest note up.
    #[must_use]
    pub fn of_two(
        bottles: &[Spoken],
        order: &[PourIndex],
        (before, after): (&str, &str),
        breath: f64,
    ) -> Self {
        let half = bottles.len() / 2;
        let later: Vec<PourIndex> = order.iter().map(|bottle| bottle.counted_on(half)).collect();
        let mut writer = Writer::new(bottles, breath);
        writer.scale(format!("before, {before}: the scale"), order);
        writer.scale(format!("after, {after}: the scale"), &later);
        let each = order.iter().zip(&later).flat_map(|(a, b)| [*a, *b]);
        writer.in_turn(
            "each bottle, before and after".to_owned(),
            &each.collect::<Vec<_>>(),
        );
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
    bottles: &'a [Spoken],
    breath: f64,
    now_s: f64,
    programme: Programme,
}

impl<'a> Writer<'a> {
    fn new(bottles: &'a [Spoken], breath: f64) -> Self {
        Self {
            bottles,
            breath,
            now_s: 0.2,
            programme: Programme::default(),
        }
    }

    fn breath(&self, pour: PourIndex, length_s: f64, tongued: bool) -> Breath {
        let spoken = self.bottles[pour];
        let start_s = self.now_s;
        let stop_s = if spoken.struck {
            start_s
        } else {
            start_s + length_s
        };
        Breath {
            pour,
            start_s,
            stop_s,
            end_s: spoken.silent_s(start_s, stop_s),
            tongued,
            over_threshold: self.breath,
        }
    }

    fn add(&mut self, title: String, breaths: Vec<Breath>, glides: Vec<Gliding>) {
        let start_s = breaths.first().map_or(self.now_s, |b| b.start_s);
        let end_s = breaths.iter().map(|b| b.end_s).fold(start_s, f64::max);
        self.now_s = end_s + PAUSE_S;
        self.programme.parts.push(Part {
            title,
            start_s,
            end_s,
            breaths,
            glides,
        });
    }

    fn turns(&mut self, order: &[PourIndex]) {
        self.in_turn("each bottle in turn".to_owned(), order);
    }

    fn in_turn(&mut self, title: String, order: &[PourIndex]) {
        let mut breaths = Vec::with_capacity(order.len());
        for &bottle in order {
            let speaks_s = self.bottles[bottle].speaking_s(self.breath);
            let breath = self.breath(bottle, TURN_S.max(2.0 * speaks_s), false);
            self.now_s = breath.end_s + PAUSE_S;
            breaths.push(breath);
        }
        self.add(title, breaths, Vec::new());
    }

    fn scale(&mut self, title: String, order: &[PourIndex]) {
        let down = order.iter().rev().skip(1);
        let mut breaths = Vec::with_capacity(2 * order.len());
        for &bottle in order.iter().chain(down) {
            // A slow bottle gets the time that it needs to speak.
            let length_s = SCALE_S.max(1.5 * self.bottles[bottle].speaking_s(self.breath));
            breaths.push(self.breath(bottle, length_s, true));
            self.now_s += length_s;
        }
        self.add(title, breaths, Vec::new());
    }

    fn at_once(&mut self, title: String, bottles: &[PourIndex], length_s: f64) {
        let breaths = bottles
            .iter()
            .map(|&bottle| self.breath(bottle, length_s, false))
            .collect();
        self.add(title, breaths, Vec::new());
    }

    /// From the lowest place to the highest and back, blown all the while.
    fn slide(&mut self, slide: &Slide) {
        let Some(&stands_for) = slide.pours.first() else {
            return;
        };
        let speaks_s = |&bottle: &PourIndex| self.bottles[bottle].speaking_s(self.breath);
        let slowest_s = slide.pours.iter().map(speaks_s).fold(0.0, f64::max);
        let rest_s = SLIDE_REST_S.max(1.5 * slowest_s);
        let up_s = self.now_s + rest_s;
        let down_s = up_s + SLIDE_S + SLIDE_REST_S;
        let (low, high) = slide.places;
        let glide = |start_s: f64, from: f64, to: f64| Gliding {
            pour: stands_for,
            start_s,
            stop_s: start_s + SLIDE_S,
            from,
            to,
        };
        let glides = vec![glide(up_s, low, high), glide(down_s, high, low)];
        let length_s = down_s + SLIDE_S + SLIDE_REST_S - self.now_s;
        let breaths = slide
            .pours
            .iter()
            .map(|&bottle| self.breath(bottle, length_s, false))
            .collect();
        self.add(slide.title.clone(), breaths, glides);
    }
}
