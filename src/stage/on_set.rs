//! A piece laid on a set for players: who could play what, and what would be lost.

use std::collections::HashMap;

use super::piece::{PlayError, tracks};
use super::ranges::{OutOfRange, Quantity};
use super::ready::Stage;
use crate::index::PourIndex;
use crate::number::rounded;
use crate::plan::fit::{self, Asked, Fit, Hands};
use crate::plan::piece::{Keyed, PlayedPiece, Playing, at_tempo, bar_at, of_tracks, play};
use crate::plan::players::{Shared, Sharing};
use crate::plan::programme::Breath;
use crate::score::{Bar, Score};

/// Who plays, and how fast.
#[derive(Clone, Debug, PartialEq)]
pub struct SharingSpec {
    /// Most bottles that a player holds, 1 or 2.
    pub hands: usize,
    /// Time that a player needs between two bottles, s, 0 to 60.
    pub change_s: f64,
    /// How much of a note may be cut off its end to reach the other bottle, percent of it, 0 to 90.
    pub shorten_pct: f64,
    /// The notes of these tracks are the last to be lost, by their names or places counted from 1.
    pub keep: Vec<String>,
    /// Only these tracks, in the same way; all if none is named.
    pub tracks: Vec<String>,
    /// Tempo, percent of the file's, 25 to 400.
    pub tempo_pct: f64,
}

impl Default for SharingSpec {
    fn default() -> Self {
        let hands = Hands::default();
        Self {
            hands: hands.bottles,
            change_s: hands.change_s,
            shorten_pct: 100.0 * hands.shorten,
            keep: Vec::new(),
            tracks: Vec::new(),
            tempo_pct: 100.0,
        }
    }
}

impl SharingSpec {
    /// Sees whether every value is in its range.
    ///
    /// # Errors
    /// The first that is not.
    pub fn check(&self) -> Result<(), OutOfRange> {
        Quantity::Change.check(self.change_s)?;
        Quantity::Shorter.check(self.shorten_pct)?;
        Quantity::Tempo.check(self.tempo_pct)
    }

    /// What a player can do.
    #[must_use]
    pub fn hands(&self) -> Hands {
        Hands {
            bottles: self.hands,
            change_s: self.change_s,
            shorten: self.shorten_pct / 100.0,
        }
    }
}

/// A note that falls out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LostNote {
    /// Its pour.
    pub pour: PourIndex,
    /// Its bar, counted from 1.
    pub bar: u64,
    /// Its beat, the first of the bar being 1.
    pub beat: f64,
    /// When, s.
    pub at_s: f64,
}

/// A piece on the bottles of a set. Times are those of the tempo asked for.
///
/// ```
/// use ullage::stage::{OnSet, SharingSpec, Stage};
/// let set = ullage::set::open("presets/quay/set.toml")?;
/// let piece = ullage::file::piece::open("presets/quay/piece.mid")?;
/// let on = OnSet::new(Stage::new(&set)?, &piece.score, SharingSpec::default())?;
/// let fewest = on.fewest(&on.sharing());
/// let fit = on.among(fewest.players.len());
/// assert_eq!(on.lost(&fit).len(), 0);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug)]
pub struct OnSet {
    /// The set.
    pub stage: Stage,
    /// The tracks of the piece that are played, at their tempo.
    pub score: Score,
    /// Its bars.
    pub bars: Vec<Bar>,
    /// Every pour with its key.
    pub keyed: Vec<Keyed>,
    /// The piece on them.
    pub played: PlayedPiece,
    /// Who is blown when, in order of the beginning.
    pub breaths: Vec<Breath>,
    hands: Hands,
    /// For each pour the first one into the same bottle.
    bottle_of: Vec<PourIndex>,
    /// For each breath, whether it is the last to be lost.
    first: Vec<bool>,
}

impl OnSet {
    /// Gives every note of `score` its bottle, the piece being moved by [`Set::transpose`](crate::set::Set::transpose).
    ///
    /// # Errors
    /// A value out of range, or a track that is not there.
    pub fn new(stage: Stage, score: &Score, spec: SharingSpec) -> Result<Self, PlayError> {
        spec.check()?;
        let chosen = tracks(score, &spec.tracks)?;
        let kept = tracks(score, &spec.keep)?;
        let score = stage.moved(&of_tracks(score, &chosen));
        let score = at_tempo(&score, spec.tempo_pct / 100.0);
        let keyed = stage.keyed();
        let played = play(&score, "", &keyed, &Playing::whole(stage.breath()));
        let breaths: Vec<Breath> = played.programme.breaths().copied().collect();
        let mut first_keys: HashMap<(u8, u64), bool> = HashMap::new();
        for note in score.notes.iter().filter(|n| kept.contains(&n.track)) {
            first_keys.insert((note.key, note.start_s.to_bits()), true);
        }
        let is_first =
            |b: &Breath| first_keys.contains_key(&(keyed[b.pour].key, b.start_s.to_bits()));
        Ok(Self {
            first: breaths.iter().map(is_first).collect(),
            bars: score.bars_to_the_end(),
            bottle_of: stage.set().bottle_of_pours(),
            hands: spec.hands(),
            stage,
            score,
            keyed,
            played,
            breaths,
        })
    }

    /// What a player can do.
    #[must_use]
    pub fn hands(&self) -> Hands {
        self.hands
    }

    /// Which bottles need two players.
    #[must_use]
    pub fn sharing(&self) -> Sharing {
        let Hands {
            bottles, change_s, ..
        } = self.hands;
        Sharing::of(&self.bottle_of, &self.breaths, change_s, bottles)
    }

    /// Everything, with the fewest players, the blowing shared out as evenly as that allows.
    #[must_use]
    pub fn fewest(&self, sharing: &Sharing) -> Shared {
        fit::fewest(sharing, self.asked(), self.hands)
    }

    /// With so many players.
    #[must_use]
    pub fn among(&self, players: usize) -> Fit {
        fit::fit(self.asked(), players, self.hands)
    }

    fn asked(&self) -> Asked<'_> {
        Asked {
            breaths: &self.breaths,
            bottle_of: &self.bottle_of,
            first: &self.first,
        }
    }

    /// The pours of a player, bottle by bottle, the lowest of each first.
    #[must_use]
    pub fn bottles(&self, pours: &[PourIndex]) -> Vec<Vec<PourIndex>> {
        let mut bottles: Vec<Vec<PourIndex>> = Vec::new();
        for &pour in pours {
            let same = |own: &&mut Vec<PourIndex>| self.bottle_of[own[0]] == self.bottle_of[pour];
            match bottles.iter_mut().find(same) {
                Some(own) => own.push(pour),
                None => bottles.push(vec![pour]),
            }
        }
        for own in &mut bottles {
            own.sort_by_key(|&pour| (self.keyed[pour].key, pour));
        }
        bottles
    }

    /// The note of a pour.
    #[must_use]
    pub fn note(&self, pour: PourIndex) -> String {
        self.stage.set().pours[pour].note.to_string()
    }

    /// The name of a pour's bottle, with its number where there are several of its kind.
    #[must_use]
    pub fn name(&self, pour: PourIndex) -> String {
        let set = self.stage.set();
        let kind = set.kind_of(&set.pours[pour]);
        let same = |index: &PourIndex| {
            self.bottle_of[*index] == *index && set.kind_of(&set.pours[*index]).name == kind.name
        };
        if PourIndex::all(set.pours.len()).filter(same).count() < 2 {
            return kind.name.clone();
        }
        let number = PourIndex::all(self.bottle_of[pour].place() + 1)
            .filter(same)
            .count();
        format!("{} no. {number}", kind.name)
    }

    /// Where a time is, as players count: the bar, and the beat in it with its first being 1.
    #[must_use]
    pub fn place(&self, at_s: f64) -> (u64, f64) {
        let bar = bar_at(&self.bars, at_s);
        let index = usize::try_from(bar - 1).unwrap_or(0);
        let Some(bar_line) = self.bars.get(index) else {
            return (bar, 1.0);
        };
        let quarters = self.score.quarter_at(at_s) - self.score.quarter_at(bar_line.start_s);
        let beats = quarters * f64::from(bar_line.metre.unit) / 4.0;
        (bar, 1.0 + rounded(beats, 3).max(0.0))
    }

    /// The notes that fall out, in order of their beginning.
    #[must_use]
    pub fn lost(&self, fit: &Fit) -> Vec<LostNote> {
        let out = self.breaths.iter().zip(&fit.stop_s);
        let out = out.filter(|(_, stop)| stop.is_none());
        out.map(|(b, _)| {
            let (bar, beat) = self.place(b.start_s);
            LostNote {
                pour: b.pour,
                bar,
                beat,
                at_s: b.start_s,
            }
        })
        .collect()
    }
}
