//! What slides in a set: which pours are notes of one bottle, and which bottles one hand moves.

use super::error::{RailError, StageError};
use crate::index::{KindIndex, PourIndex};
use crate::physics::joined::{Joined, Which};
use crate::physics::sliding::Sliding;
use crate::set::{Pair, Set, Way};
use crate::sounding::{Setting, Sounded};
use crate::synth::RailCurve;
use crate::units::Length;

/// A bottle that is moved along a rail.
#[derive(Clone, Debug)]
pub struct Rider {
    /// The pour whose voice plays it: the first of its notes.
    pub voice: PourIndex,
    /// Its pitch along the rail.
    pub curve: RailCurve,
}

/// A floor that slides, or a pair that is lifted.
#[derive(Clone, Debug)]
pub struct SetRail {
    /// What to call it.
    pub title: String,
    /// The bottle, or the two.
    pub riders: Vec<Rider>,
    /// Each note's pour and its place, 0 to 1 of the way.
    pub marks: Vec<(PourIndex, f64)>,
}

/// The rails of a set.
#[derive(Clone, Debug, Default)]
pub struct SetRails {
    /// In the order of their first pours.
    pub rails: Vec<SetRail>,
    /// For each pour the pour whose voice plays it, as [`Set::bottle_of_pours`] has them.
    pub voice_of: Vec<PourIndex>,
    /// For each pour its rail.
    pub rail_of: Vec<Option<usize>>,
}

/// What makes two pours share a rail: the kind that slides, or the pair.
#[derive(Clone, Copy, PartialEq)]
enum Shared {
    Kind(KindIndex),
    Pair(usize),
}

impl SetRails {
    /// Works out what slides in `set`, whose pours are set as `sounded`.
    ///
    /// # Errors
    /// A bottle that has no pitch somewhere on its way.
    pub fn of(set: &Set, sounded: &[Sounded]) -> Result<Self, StageError> {
        let mut found = Self {
            rails: Vec::new(),
            voice_of: set.bottle_of_pours(),
            rail_of: vec![None; set.pours.len()],
        };
        let mut shared: Vec<Shared> = Vec::new();
        for (index, pour) in PourIndex::each(&set.pours) {
            let own = match (pour.way, pour.joined) {
                (Way::Sliding, _) => Shared::Kind(pour.kind),
                (Way::Joined, Some((pair, _))) => Shared::Pair(pair),
                _ => continue,
            };
            let place = shared.iter().position(|s| *s == own).unwrap_or_else(|| {
                shared.push(own);
                shared.len() - 1
            });
            found.rail_of[index] = Some(place);
        }
        for (place, own) in shared.into_iter().enumerate() {
            let pours: Vec<PourIndex> = PourIndex::all(set.pours.len())
                .filter(|&index| found.rail_of[index] == Some(place))
                .collect();
            let rail = match own {
                Shared::Kind(kind) => floor(set, kind, &pours, sounded),
                Shared::Pair(pair) => lifted(set, &set.pairs[pair], &pours, sounded),
            };
            let rail = rail.map_err(|source| StageError::Rail {
                bottle: set.kind_of(&set.pours[pours[0]]).name.clone(),
                source,
            })?;
            found.rails.push(rail);
        }
        Ok(found)
    }

    /// The rails of two states of one set, the pours of `later` counted on from those of `self`.
    #[must_use]
    pub fn and_then(mut self, later: Self) -> Self {
        let (pours, rails) = (self.voice_of.len(), self.rails.len());
        let moved = |mut rail: SetRail| {
            for rider in &mut rail.riders {
                rider.voice = rider.voice.counted_on(pours);
            }
            rail.marks
                .iter_mut()
                .for_each(|mark| mark.0 = mark.0.counted_on(pours));
            rail
        };
        self.rails.extend(later.rails.into_iter().map(moved));
        self.voice_of
            .extend(later.voice_of.iter().map(|voice| voice.counted_on(pours)));
        self.rail_of
            .extend(later.rail_of.iter().map(|rail| rail.map(|r| r + rails)));
        self
    }

    /// Whether two pours can sound at once: notes of one slide cannot.
    #[must_use]
    pub fn at_once(&self, a: PourIndex, b: PourIndex) -> bool {
        self.rail_of[a].is_none() || self.rail_of[a] != self.rail_of[b]
    }

    /// The place of a pour on its rail.
    #[must_use]
    pub fn place(&self, pour: PourIndex) -> Option<(&SetRail, f64)> {
        let rail = &self.rails[self.rail_of[pour]?];
        let mark = rail.marks.iter().find(|(index, _)| *index == pour)?;
        Some((rail, mark.1))
    }
}

/// Which bottle of a pair a pour is.
fn side(set: &Set, pour: PourIndex) -> Option<Which> {
    set.pours[pour].joined.map(|(_, which)| which)
}

/// The places of pours between two ends.
fn marks(
    pours: &[PourIndex],
    sounded: &[Sounded],
    (from, to): (Length, Length),
) -> Vec<(PourIndex, f64)> {
    let place = |&index: &PourIndex| {
        let at = match sounded[index].setting {
            Setting::Travel(at) | Setting::Lift(at) => at,
            Setting::Fill(_) | Setting::Gauge(_) => from,
        };
        let share = (at - from).m() / (to - from).m();
        (index, share.clamp(0.0, 1.0))
    };
    pours.iter().map(place).collect()
}

fn floor(
    set: &Set,
    kind: KindIndex,
    pours: &[PourIndex],
    sounded: &[Sounded],
) -> Result<SetRail, RailError> {
    let sliding = Sliding::new(&set.kinds[kind].bottle, &set.conditions)?;
    let ends = (Length::default(), sliding.stroke());
    let curve = RailCurve::traced(|place| {
        let at = sliding.at(ends.1 * place)?;
        Ok::<_, RailError>((at.frequency, at.quality))
    })?;
    Ok(SetRail {
        title: format!("the floor of {} slides", set.kinds[kind].name),
        riders: vec![Rider {
            voice: pours[0],
            curve,
        }],
        marks: marks(pours, sounded, ends),
    })
}

fn lifted(
    set: &Set,
    pair: &Pair,
    pours: &[PourIndex],
    sounded: &[Sounded],
) -> Result<SetRail, RailError> {
    let bottles = pair.kinds.map(|kind| &set.kinds[kind].bottle);
    let joined = Joined::new(bottles, pair.hose, pair.liquid, &set.conditions)?;
    let ends = joined.lift_range();
    let mut riders = Vec::new();
    for which in [Which::First, Which::Second] {
        let own = |index: &&PourIndex| side(set, **index) == Some(which);
        // A bottle without a note of its own is not blown.
        let Some(&voice) = pours.iter().find(own) else {
            continue;
        };
        let curve = RailCurve::traced(|place| {
            // Exactly the ends at the ends.
            let lift = (ends.0 + (ends.1 - ends.0) * place).max(ends.0).min(ends.1);
            let both = joined.at(lift)?;
            let at = match which {
                Which::First => both.first.resonance,
                Which::Second => both.second.resonance,
            };
            Ok::<_, RailError>((at.frequency, at.quality))
        })?;
        riders.push(Rider { voice, curve });
    }
    Ok(SetRail {
        title: format!("{} is lifted and lowered", set.kinds[pair.kinds[1]].name),
        riders,
        marks: marks(pours, sounded, ends),
    })
}
