//! A piece played with a set: which part of it, by which bottles.

use super::performance::Performance;
use super::ranges::{OutOfRange, Quantity};
use super::ready::Stage;
use crate::file::piece::OpenedPiece;
use crate::index::PourIndex;
use crate::plan::humanise::scatter;
use crate::plan::piece::{Missing, Other, PlayedPiece, Playing, play};
use crate::plan::spelling::moved;
use crate::score::Score;
use crate::set::Set;
use crate::tuning::NoteName;

/// Which part of a piece is played, and by which bottles.
#[derive(Clone, Debug, PartialEq)]
pub struct PieceSpec {
    /// Tempo, percent of the file's, 25 to 400.
    pub tempo_pct: f64,
    /// The first bar, counted from 1; the piece's own if nothing.
    pub from_bar: Option<u64>,
    /// The last bar; notes held over its end are cut there.
    pub to_bar: Option<u64>,
    /// The tracks that are played, by their names or places counted from 1; all if none is named.
    pub tracks: Vec<String>,
    /// Only these bottles, by their notes or names; all if none is named.
    pub solo: Vec<String>,
    /// Without these bottles, by their notes or names.
    pub mute: Vec<String>,
    /// The rest of the piece sounds as plain tones: the tracks that are not played, or the notes that no bottle has.
    pub others: bool,
    /// How far the timing is scattered, as people's is: standard deviation in ms, 0 to 200.
    pub scatter_ms: f64,
    /// Seed of the scatter.
    pub seed: u64,
}

impl Default for PieceSpec {
    /// All of it, as it is written, by every bottle.
    fn default() -> Self {
        Self {
            tempo_pct: 100.0,
            from_bar: None,
            to_bar: None,
            tracks: Vec::new(),
            solo: Vec::new(),
            mute: Vec::new(),
            others: false,
            scatter_ms: 0.0,
            seed: 1,
        }
    }
}

/// Why a piece cannot be played so.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PlayError {
    /// A tempo, a scatter, or something of the players.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
    /// Bars that are not there.
    #[error("bars {first} to {last} are not in a piece of bars 1 to {count}")]
    Bars {
        /// The first that was asked for.
        first: u64,
        /// The last.
        last: u64,
        /// Bars of the piece.
        count: u64,
    },
    /// A track that is not there.
    #[error("there is no track {asked:?} in the piece")]
    NoTrack {
        /// As it was asked for.
        asked: String,
        /// The names of those that are there.
        tracks: Vec<String>,
    },
    /// A bottle that is not there.
    #[error("no note and no bottle of the set is called {asked:?}")]
    NoBottle {
        /// As it was asked for.
        asked: String,
        /// The notes of the set.
        notes: Vec<NoteName>,
    },
    /// Nothing is asked for.
    #[error("there is no note in the tracks and bars asked for")]
    NoNote,
    /// Nobody plays.
    #[error("every bottle that has a note of it is left out")]
    AllLeftOut,
    /// The set does not have it.
    #[error("none of its {asked} notes has a bottle that is heard")]
    NoneHeard {
        /// Notes asked for.
        asked: usize,
        /// What has no bottle, the lowest first.
        missing: Vec<Missing>,
    },
}

impl Stage {
    /// All of a piece as it is written, by every bottle. A note that no bottle has stays silent and is among the
    /// [`Performance::missing`].
    #[must_use]
    pub fn programme(&self, piece: &OpenedPiece) -> Performance {
        let playing = Playing::whole(self.breath());
        let played = play(
            &self.moved(&piece.score),
            &piece.title(),
            &self.keyed(),
            &playing,
        );
        performed(played, &PieceSpec::default())
    }

    /// A piece as `spec` has it.
    ///
    /// # Errors
    /// See [`PlayError`]: bars, tracks or bottles that are not there, or nothing that would sound.
    ///
    /// ```
    /// use ullage::stage::{PieceSpec, Stage};
    /// let set = ullage::set::open("presets/quay/set.toml")?;
    /// let piece = ullage::file::piece::open("presets/quay/piece.mid")?;
    /// let spec = PieceSpec { to_bar: Some(2), mute: vec!["G2".into()], ..PieceSpec::default() };
    /// let two_bars = Stage::new(&set)?.programme_of(&piece, &spec)?;
    /// assert!(two_bars.written.iter().all(|breath| breath.start_s < 8.0));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn programme_of(
        &self,
        piece: &OpenedPiece,
        spec: &PieceSpec,
    ) -> Result<Performance, PlayError> {
        let playing = self.playing(&piece.score, spec)?;
        let played = play(
            &self.moved(&piece.score),
            &piece.title(),
            &self.keyed(),
            &playing,
        );
        if played.programme.breaths().next().is_none() {
            return Err(match (played.asked, played.missing.is_empty()) {
                (0, _) => PlayError::NoNote,
                (_, true) => PlayError::AllLeftOut,
                (asked, false) => PlayError::NoneHeard {
                    asked,
                    missing: played.missing,
                },
            });
        }
        Ok(performed(played, spec))
    }

    /// A piece as this set plays it: moved by [`Set::transpose`].
    pub(super) fn moved(&self, score: &Score) -> Score {
        moved(score, self.set().transpose)
    }

    fn playing(&self, score: &Score, spec: &PieceSpec) -> Result<Playing, PlayError> {
        Quantity::Tempo.check(spec.tempo_pct)?;
        Quantity::Scatter.check(spec.scatter_ms)?;
        Ok(Playing {
            tempo: spec.tempo_pct / 100.0,
            bars: bars(score, spec)?,
            tracks: tracks(score, &spec.tracks)?,
            silent: silent(self.set(), spec)?,
            breath: self.breath(),
        })
    }
}

/// What was laid on the bottles, with the timing of people.
fn performed(played: PlayedPiece, spec: &PieceSpec) -> Performance {
    let written = played.programme.breaths().copied().collect();
    let mut programme = played.programme;
    for part in &mut programme.parts {
        scatter(&mut part.breaths, spec.scatter_ms / 1000.0, spec.seed);
        part.end_s = part.breaths.iter().map(|b| b.end_s).fold(0.0, f64::max);
    }
    let of_tracks = !spec.tracks.is_empty();
    let sounds = |other: &Other| spec.others && other.missing != of_tracks;
    Performance {
        programme,
        written,
        missing: played.missing,
        beats: played.beats,
        others: played.others.into_iter().filter(sounds).collect(),
    }
}

fn bars(score: &Score, spec: &PieceSpec) -> Result<Option<(u64, u64)>, PlayError> {
    if spec.from_bar.is_none() && spec.to_bar.is_none() {
        return Ok(None);
    }
    let count = score.bars_to_the_end().len() as u64;
    let (first, last) = (spec.from_bar.unwrap_or(1), spec.to_bar.unwrap_or(count));
    if first < 1 || last > count || first > last {
        return Err(PlayError::Bars { first, last, count });
    }
    Ok(Some((first, last)))
}

/// The tracks that names, or places counted from 1, mean; none if nothing is asked for.
pub(super) fn tracks(score: &Score, asked: &[String]) -> Result<Vec<usize>, PlayError> {
    let mut found = Vec::new();
    for text in asked {
        let named: Vec<usize> = (0..score.tracks.len())
            .filter(|&t| score.tracks[t].name.eq_ignore_ascii_case(text.trim()))
            .collect();
        let place = text.trim().parse::<usize>().ok();
        let placed = place.filter(|n| (1..=score.tracks.len()).contains(n));
        match placed {
            _ if !named.is_empty() => found.extend(named),
            Some(number) => found.push(number - 1),
            None => {
                return Err(PlayError::NoTrack {
                    asked: text.clone(),
                    tracks: score.tracks.iter().map(|t| t.name.clone()).collect(),
                });
            }
        }
    }
    Ok(found)
}

/// For each bottle, whether it is left out.
fn silent(set: &Set, spec: &PieceSpec) -> Result<Vec<bool>, PlayError> {
    let mut silent = vec![!spec.solo.is_empty(); set.pours.len()];
    for text in &spec.solo {
        meant(set, text)?.for_each(|bottle| silent[bottle] = false);
    }
    for text in &spec.mute {
        meant(set, text)?.for_each(|bottle| silent[bottle] = true);
    }
    Ok(silent)
}

/// The bottles that a note or a name means.
fn meant(set: &Set, text: &str) -> Result<impl Iterator<Item = PourIndex> + use<>, PlayError> {
    let key = text.parse::<NoteName>().ok().map(|n| n.midi());
    let bottles: Vec<PourIndex> = PourIndex::all(set.pours.len())
        .filter(|&index| {
            let pour = &set.pours[index];
            key == Some(pour.note.midi()) || set.kind_of(pour).name == text
        })
        .collect();
    if bottles.is_empty() {
        return Err(PlayError::NoBottle {
            asked: text.to_owned(),
            notes: set.pours.iter().map(|p| p.note).collect(),
        });
    }
    Ok(bottles.into_iter())
}
