//! A piece on a set and its players: what `check` and `parts` both work out first.

use std::collections::HashMap;
use std::path::Path;

use clap::Args;
use serde_json::{Value, json};

use super::Failure;
use super::args::RoomOptions;
use super::audition::piece::{TEMPOS_PCT, tracks};
use super::inputs;
use super::piece_file::{self, BreakOptions};
use crate::number::rounded;
use crate::plan::fit::{Fit, Hands, fit};
use crate::plan::piece::{Keyed, PlayedPiece, Playing, at_tempo, bar_at, bars, of_tracks, play};
use crate::plan::players::{MOST_EXACT, Shared, Sharing};
use crate::plan::programme::Breath;
use crate::report::part::HeldBottle;
use crate::score::{Bar, Score};
use crate::set::Set;
use crate::sounding::Sounded;
use crate::stage;

/// How hard the bottles are blown at the usual velocity: as `audition` does unless told otherwise.
pub(super) const BREATH: f64 = 2.5;
/// Slowest change of bottle that is taken, s.
const SLOWEST_CHANGE_S: f64 = 60.0;
/// Most of a note that may be cut off, percent.
const MOST_SHORTER_PCT: f64 = 90.0;

/// Who plays, and how fast.
#[derive(Clone, Debug, Args)]
#[command(next_help_heading = "Players")]
pub struct SharingOptions {
    /// Players there are: fits the piece to them and says what is lost [1 to 128]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u8).range(1..=128))]
    pub players: Option<u8>,
    /// Bottles a player can hold
    #[arg(long, value_name = "1|2", default_value_t = 2, value_parser = clap::value_parser!(u8).range(1..=2))]
    pub hands: u8,
    /// Time a player needs between two bottles, s [0 to 60]; the default is common practice
    #[arg(long, value_name = "S", default_value_t = 0.35)]
    pub change_s: f64,
    /// How much of a note may be cut off its end to reach the other bottle, percent of it [0 to 90]
    #[arg(long, value_name = "PCT", default_value_t = 0.0)]
    pub shorten_pct: f64,
    /// The notes of this track are the last to be lost, by its name or its place; repeatable
    #[arg(long, value_name = "NAME|N")]
    pub keep: Vec<String>,
    /// Only this track, by its name or its place counted from 1; repeatable
    #[arg(long, value_name = "NAME|N")]
    pub track: Vec<String>,
    /// Tempo, percent of the file's [25 to 400]
    #[arg(long, value_name = "PCT", default_value_t = 100.0)]
    pub tempo_pct: f64,
}

impl SharingOptions {
    fn check(&self) -> Result<(), Failure> {
        let within = |what: &str, value: f64, low: f64, high: f64| {
            if (low..=high).contains(&value) {
                return Ok(());
            }
            let because = format!("{what} {value} is outside {low} to {high}");
            Err(Failure::bad("share out the piece", because))
        };
        within("--change-s", self.change_s, 0.0, SLOWEST_CHANGE_S)?;
        within("--shorten-pct", self.shorten_pct, 0.0, MOST_SHORTER_PCT)?;
        within(
            "--tempo-pct",
            self.tempo_pct,
            *TEMPOS_PCT.start(),
            *TEMPOS_PCT.end(),
        )
    }

    fn hands(&self) -> Hands {
        Hands {
            bottles: usize::from(self.hands),
            change_s: self.change_s,
            shorten: self.shorten_pct / 100.0,
        }
    }
}

/// A piece on the bottles of a set. Times are those of the tempo asked for.
pub(super) struct OnSet {
    pub(super) set: Set,
    pub(super) sounded: Vec<Sounded>,
    pub(super) score: Score,
    pub(super) bars: Vec<Bar>,
    pub(super) keyed: Vec<Keyed>,
    pub(super) played: PlayedPiece,
    pub(super) breaths: Vec<Breath>,
    /// For each pour the first one into the same bottle.
    bottle_of: Vec<usize>,
    /// For each breath, whether it is the last to be lost.
    first: Vec<bool>,
}

/// A bottle in somebody's hands, for machines.
pub(super) fn held_json(bottle: &HeldBottle) -> Value {
    json!({"note": bottle.all_notes(), "notes": bottle.notes, "bottle": bottle.name})
}

impl OnSet {
    /// Reads both and gives every note its bottle.
    pub(super) fn read(
        file: &Path,
        (piece, broken): (&Path, BreakOptions),
        options: &SharingOptions,
        room: &RoomOptions,
    ) -> Result<Self, Failure> {
        options.check()?;
        let set = inputs::heard_set(file, room)?;
        let score = piece_file::piece(piece, broken)?;
        let chosen = tracks(&score, &options.track)?;
        let kept = tracks(&score, &options.keep)?;
        let score = at_tempo(&of_tracks(&score, &chosen), options.tempo_pct / 100.0);
        let sounded = set.sounded()?;
        let keyed: Vec<Keyed> = (set.pours.iter().zip(&sounded))
            .map(|(pour, sounded)| Keyed {
                key: pour.note.midi(),
                spoken: stage::spoken(sounded),
            })
            .collect();
        let playing = Playing {
            tempo: 1.0,
            bars: None,
            tracks: Vec::new(),
            silent: Vec::new(),
            breath: BREATH,
        };
        let played = play(&score, "", &keyed, &playing);
        let breaths: Vec<Breath> = played.programme.breaths().copied().collect();
        let mut first_keys: HashMap<(u8, u64), bool> = HashMap::new();
        for note in score.notes.iter().filter(|n| kept.contains(&n.track)) {
            first_keys.insert((note.key, note.start_s.to_bits()), true);
        }
        let is_first =
            |b: &Breath| first_keys.contains_key(&(keyed[b.bottle].key, b.start_s.to_bits()));
        Ok(Self {
            first: breaths.iter().map(is_first).collect(),
            bars: bars(&score),
            bottle_of: set.bottle_of_pours(),
            set,
            sounded,
            score,
            keyed,
            played,
            breaths,
        })
    }

    pub(super) fn sharing(&self, options: &SharingOptions) -> Sharing {
        let hands = usize::from(options.hands);
        Sharing::of(&self.bottle_of, &self.breaths, options.change_s, hands)
    }

    /// Everything, with the fewest players, the blowing shared out as evenly as that allows.
    pub(super) fn fewest(&self, sharing: &Sharing, options: &SharingOptions) -> Shared {
        let fewest = sharing.fewest();
        let whole = Hands {
            shorten: 0.0,
            ..options.hands()
        };
        let blown = (&self.breaths[..], &self.bottle_of[..]);
        let even = fit(blown, &[], fewest.players.len(), whole);
        let bottles = (0..).zip(&self.bottle_of).filter(|(i, b)| i == *b).count();
        if even.lost() > 0 || !even.exact || bottles > MOST_EXACT {
            return fewest;
        }
        Shared {
            players: even.players,
            ..fewest
        }
    }

    /// With so many players.
    pub(super) fn among(&self, players: usize, options: &SharingOptions) -> Fit {
        let blown = (&self.breaths[..], &self.bottle_of[..]);
        fit(blown, &self.first, players, options.hands())
    }

    /// The pours of a player, bottle by bottle, the lowest of each first.
    pub(super) fn bottles(&self, pours: &[usize]) -> Vec<Vec<usize>> {
        let mut bottles: Vec<Vec<usize>> = Vec::new();
        for &pour in pours {
            let same = |own: &&mut Vec<usize>| self.bottle_of[own[0]] == self.bottle_of[pour];
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

    /// What one of these bottles is called.
    pub(super) fn held(&self, pours: &[usize]) -> HeldBottle {
        HeldBottle {
            notes: pours.iter().map(|&pour| self.note(pour)).collect(),
            name: pours.first().map_or_else(String::new, |&p| self.name(p)),
        }
    }

    pub(super) fn note(&self, bottle: usize) -> String {
        self.set.pours[bottle].note.to_string()
    }

    /// The name of a pour's bottle, with its number where there are several of its kind.
    pub(super) fn name(&self, pour: usize) -> String {
        let kind = self.set.kind_of(&self.set.pours[pour]);
        let same = |index: &usize| {
            self.bottle_of[*index] == *index
                && self.set.kind_of(&self.set.pours[*index]).name == kind.name
        };
        if (0..self.set.pours.len()).filter(same).count() < 2 {
            return kind.name.clone();
        }
        let number = (0..=self.bottle_of[pour]).filter(same).count();
        format!("{} no. {number}", kind.name)
    }

    /// Where a time is, as players count: the bar, and the beat in it with its first being 1.
    pub(super) fn place(&self, at_s: f64) -> (u64, f64) {
        let bar = bar_at(&self.bars, at_s);
        let index = usize::try_from(bar - 1).unwrap_or(0);
        let Some(bar_line) = self.bars.get(index) else {
            return (bar, 1.0);
        };
        let quarters = self.score.quarter_at(at_s) - self.score.quarter_at(bar_line.start_s);
        let beats = quarters * f64::from(bar_line.metre.unit) / 4.0;
        (bar, 1.0 + rounded(beats, 3).max(0.0))
    }

    /// The notes that fall out, and where.
    pub(super) fn lost(&self, fit: &Fit) -> Vec<Value> {
        let out = self.breaths.iter().zip(&fit.stop_s);
        let out = out.filter(|(_, stop)| stop.is_none());
        out.map(|(b, _)| {
            let (bar, beat) = self.place(b.start_s);
            json!({"note": self.note(b.bottle), "bar": bar, "beat": beat, "at_s": rounded(b.start_s, 3)})
        })
        .collect()
    }

    /// The notes that fall out, a line for each pitch.
    pub(super) fn lost_lines(&self, fit: &Fit) -> Vec<String> {
        let mut places: std::collections::BTreeMap<u8, Vec<String>> = Default::default();
        for (b, _) in self
            .breaths
            .iter()
            .zip(&fit.stop_s)
            .filter(|(_, stop)| stop.is_none())
        {
            let (bar, beat) = self.place(b.start_s);
            let key = self.keyed[b.bottle].key;
            places.entry(key).or_default().push(format!("{bar}:{beat}"));
        }
        let line = |(key, at): (u8, Vec<String>)| {
            let note = crate::tuning::NoteName::from_midi(key);
            format!("{note}: {} notes, at {}", at.len(), at.join(", "))
        };
        places.into_iter().map(line).collect()
    }
}
