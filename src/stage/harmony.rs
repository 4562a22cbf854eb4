//! How the bottles of a set sit together, and what is played so that somebody can judge it by ear.

use super::performance::Performance;
use super::rails::SetRail;
use super::ready::Stage;
use crate::index::PourIndex;
use crate::number::signed;
use crate::plan::programme::{AtOnce, Highlights, Programme, Slide, Unison};
use crate::plan::together::{Pair, Together, together, worst_tuned_pair};

/// Mistuning that nobody hears, cents: common practice, no source.
const IN_TUNE_CENTS: f64 = 1.0;

/// How the bottles of a set sit together, those that can sound at once.
#[derive(Clone, Debug, PartialEq)]
pub struct Harmony {
    /// Every pair and every chord.
    pub together: Together,
    /// The pair to listen to last.
    pub worst: Option<WorstPair>,
}

impl Harmony {
    /// The pairs of one key.
    pub fn unisons(&self) -> impl Iterator<Item = &Pair> {
        let pairs = self.together.pairs.iter();
        pairs.filter(|pair| pair.a_note.midi() == pair.b_note.midi())
    }
}

/// The pair that is played last, and why: the worst-tuned one; in a set that is in tune with its notes, the consonance that
/// its temperament treats worst.
#[derive(Clone, Debug, PartialEq)]
pub struct WorstPair {
    /// The two.
    pub pair: Pair,
    /// What to call it.
    pub title: String,
}

impl WorstPair {
    fn of(together: &Together) -> Option<Self> {
        let off = |pair: &Pair| pair.interval.off_equal_cents.abs();
        if let Some(pair) = together
            .worst_tuned_pair
            .clone()
            .filter(|pair| off(pair) >= IN_TUNE_CENTS)
        {
            let title = format!(
                "worst-tuned pair: {} and {}, {} cents off",
                pair.a_note,
                pair.b_note,
                signed(pair.interval.off_equal_cents, 1)
            );
            return Some(Self { pair, title });
        }
        let consonant = |pair: &&Pair| pair.interval.just.upper <= 6 && pair.beats.is_some();
        let pair = together.pairs.iter().filter(consonant).max_by(|a, b| {
            a.interval
                .off_just_cents
                .abs()
                .total_cmp(&b.interval.off_just_cents.abs())
        })?;
        let title = format!(
            "all in tune; farthest from just: {} and {}, {} cents from {}",
            pair.a_note,
            pair.b_note,
            signed(pair.interval.off_just_cents, 1),
            pair.interval.just
        );
        Some(Self {
            pair: pair.clone(),
            title,
        })
    }
}

impl Stage {
    /// How the bottles sit together, those that can sound at once: two notes of one slide cannot.
    ///
    /// ```
    /// use ullage::stage::Stage;
    /// let set = ullage::set::open("presets/quay/set.toml")?;
    /// let harmony = Stage::new(&set)?.harmony();
    /// assert_eq!(harmony.together.pairs.len(), 15 * 14 / 2);
    /// println!("{}", harmony.worst.expect("fifteen bottles have a worst pair").title);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    #[must_use]
    pub fn harmony(&self) -> Harmony {
        let order = self.order();
        let sounding = self.sounding();
        let sounding: Vec<_> = order.iter().map(|&pour| sounding[pour].clone()).collect();
        let together = self.those_at_once(together(&sounding));
        let worst = WorstPair::of(&together);
        Harmony { together, worst }
    }

    /// What is played of a set to judge it by ear: each bottle in turn, the scale up and down, what slides, its unisons, the
    /// smoothest chords, and the pair to listen to.
    #[must_use]
    pub fn audition_programme(&self) -> Performance {
        self.audition_of(&self.harmony())
    }

    /// The same with what [`Stage::harmony`] gave.
    #[must_use]
    pub fn audition_of(&self, harmony: &Harmony) -> Performance {
        let chords = harmony.together.chords.iter();
        let chords = chords.filter_map(|chord| self.at_once(&chord.name, &chord.bottles));
        let worst = harmony.worst.as_ref();
        let highlights = Highlights {
            slides: self.rails().rails.iter().map(slide).collect(),
            unisons: harmony
                .unisons()
                .filter_map(|pair| self.unison(pair))
                .collect(),
            chords: chords.collect(),
            worst: worst.and_then(|w| self.at_once(&w.title, [&w.pair.a, &w.pair.b])),
        };
        let (order, breath) = (self.order(), self.breath());
        Programme::of(&self.spoken(), order, &highlights, breath).into()
    }

    fn unison(&self, pair: &Pair) -> Option<Unison> {
        let beats_per_s = pair.beats.map_or(0.0, |beats| beats.beats_per_s);
        let title = format!(
            "unison: {} and {}, {beats_per_s:.2} beats a second",
            pair.a, pair.b
        );
        Some(Unison {
            both: self.at_once(&title, [&pair.a, &pair.b])?,
            beats_per_s,
        })
    }

    /// The pours of these names, if there are all of them.
    fn at_once<'a>(
        &self,
        title: &str,
        names: impl IntoIterator<Item = &'a String>,
    ) -> Option<AtOnce> {
        Some(AtOnce {
            title: title.to_owned(),
            pours: names
                .into_iter()
                .map(|name| self.named(name))
                .collect::<Option<_>>()?,
        })
    }

    /// The pour that [`Stage::place_name`] names so.
    fn named(&self, name: &str) -> Option<PourIndex> {
        PourIndex::all(self.set().pours.len()).find(|&pour| self.place_name(pour) == name)
    }

    fn those_at_once(&self, mut all: Together) -> Together {
        let rails = self.rails();
        if rails.rails.is_empty() {
            return all;
        }
        let at_once = |names: &[&String]| {
            let pours: Vec<PourIndex> = names.iter().filter_map(|name| self.named(name)).collect();
            let later = |(place, &a): (usize, &PourIndex)| {
                pours[place + 1..].iter().all(|&b| rails.at_once(a, b))
            };
            pours.iter().enumerate().all(later)
        };
        all.pairs.retain(|pair| at_once(&[&pair.a, &pair.b]));
        all.chords
            .retain(|chord| at_once(&chord.bottles.iter().collect::<Vec<_>>()));
        all.worst_tuned_pair = worst_tuned_pair(&all.pairs).cloned();
        all
    }
}

/// What slides, from its lowest mark to its highest; a pair with one note, or a floor with one, over all of its way.
fn slide(rail: &SetRail) -> Slide {
    let places = rail.marks.iter().map(|mark| mark.1);
    let low = places.clone().fold(1.0, f64::min);
    let high = places.fold(0.0, f64::max);
    Slide {
        title: rail.title.clone(),
        pours: rail.riders.iter().map(|rider| rider.voice).collect(),
        places: if high > low { (low, high) } else { (0.0, 1.0) },
    }
}
