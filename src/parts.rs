//! The parts of a piece: a page, a MIDI file and notation for each player, and the same with everybody for who conducts.
//!
//! What the command writes and what the window prints are the same files.
//!
//! ```
//! use ullage::parts::Parts;
//! use ullage::stage::{OnSet, SharingSpec, Stage};
//! let stage = Stage::new(&ullage::set::open("presets/quay/set.toml")?)?;
//! let piece = ullage::file::piece::open("presets/quay/piece.mid")?;
//! let piece = OnSet::new(stage, &piece.score, SharingSpec::default())?;
//! let parts = Parts::new(&piece, "Harbour", None)?;
//! // The fewest who can play everything lose nothing; each gets a page and two files, and so does the conductor.
//! assert!(parts.book.not_played.is_empty());
//! assert_eq!(parts.files(&piece)?.len(), 3 * (parts.book.players.len() + 1));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use std::collections::BTreeMap;
use std::io::Write;
use std::path::{Path, PathBuf};

use crate::file::atomic::{AtomicFile, Overwrite, WriteError};
use crate::file::musicxml::{Spelled, to_musicxml};
use crate::file::smf::{SmfError, to_smf};
use crate::index::{PlayerIndex, PourIndex};
use crate::number::count;
use crate::plan::fit::Fit;
use crate::plan::programme::Breath;
use crate::plan::spelling::key_of;
use crate::report::part::{HeldBottle, MOST_BARS, PartBook};
use crate::report::part_html::{booklet, conductor_page, part_page};
use crate::score::{Score, ScoreNote, Track, USUAL_VELOCITY};
use crate::stage::OnSet;
use crate::tuning::Speller;

/// Why there are no parts.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PartsError {
    /// None of its notes is in the set.
    #[error("no note of it has a bottle")]
    NoBottle,
    /// It is too long to print.
    #[error("{bars} bars are more than {MOST_BARS}")]
    TooLong {
        /// Bars of the piece.
        bars: usize,
    },
    /// A page cannot be put together.
    #[error("cannot put a page together: {0}")]
    Page(#[from] askama::Error),
    /// Its notes do not go into a MIDI file.
    #[error(transparent)]
    Midi(#[from] SmfError),
    /// The folder for them cannot be made.
    #[error("cannot make the folder {}: {source}", path.display())]
    Folder {
        /// The folder.
        path: PathBuf,
        /// What the system says.
        #[source]
        source: std::io::Error,
    },
    /// One of them cannot be written; none of them is then.
    #[error(transparent)]
    Write(#[from] WriteError),
}

/// A file to be written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PartFile {
    /// Its name, in whatever folder they go into.
    pub name: String,
    /// What is in it.
    pub bytes: Vec<u8>,
}

/// Who plays what of a piece.
#[derive(Clone, Debug)]
pub struct Parts {
    /// The piece shared out.
    pub fit: Fit,
    /// What is printed.
    pub book: PartBook,
    kept: Vec<(PlayerIndex, Breath)>,
}

impl Parts {
    /// Shares the piece out among so many players; among the fewest who can play everything if nothing is said.
    ///
    /// # Errors
    /// A piece of which no note has a bottle, or too long to print.
    pub fn new(piece: &OnSet, title: &str, players: Option<usize>) -> Result<Self, PartsError> {
        if piece.breaths.is_empty() {
            return Err(PartsError::NoBottle);
        }
        let bars = piece.bars.len();
        if bars > MOST_BARS {
            return Err(PartsError::TooLong { bars });
        }
        let sharing = piece.sharing();
        let players = players.unwrap_or_else(|| piece.fewest(&sharing).players.len());
        let fit = piece.among(players);
        let kept: Vec<(PlayerIndex, Breath)> = fit.kept(&piece.breaths).collect();
        let held: Vec<_> = fit.players.iter().map(|own| piece.bottles(own)).collect();
        let mut book = PartBook::new((title, &piece.score), &held, &kept, |pours| {
            in_hands(piece, pours)
        });
        book.change_s = piece.hands().change_s;
        let missing = piece.played.missing.iter().map(|m| {
            let bars: Vec<String> = m.bars.iter().map(u64::to_string).collect();
            format!("{}: no bottle; bar {}", m.note, bars.join(", "))
        });
        book.not_played = missing.chain(lost_lines(piece, &fit)).collect();
        Ok(Self { fit, book, kept })
    }

    /// The same with its notes called as `speller` has them.
    #[must_use]
    pub fn said(mut self, speller: &Speller) -> Self {
        self.book = self.book.said(speller);
        self
    }

    /// Every file: for each player a page, notation and MIDI, and the same of everybody.
    ///
    /// # Errors
    /// What cannot be put together.
    pub fn files(&self, piece: &OnSet) -> Result<Vec<PartFile>, PartsError> {
        let book = &self.book;
        let mut files = Vec::new();
        let mut add = |name: &str, page: String, own: &Score| -> Result<(), PartsError> {
            let notation = to_musicxml(own, &book.title, &spelling(piece));
            let midi = to_smf(own)?;
            let (page_name, files_name) = match name {
                // The page with everybody is the conductor's.
                EVERYBODY => ("conductor", EVERYBODY),
                name => (name, name),
            };
            for (name, ending, bytes) in [
                (page_name, "html", page.into_bytes()),
                (files_name, "musicxml", notation.into_bytes()),
                (files_name, "mid", midi),
            ] {
                let name = format!("{name}.{ending}");
                files.push(PartFile { name, bytes });
            }
            Ok(())
        };
        for part in &book.players {
            let name = format!("player-{:02}", part.player.number());
            let own = self.score(piece, Some(part.player));
            add(&name, part_page(book, part)?, &own)?;
        }
        add(EVERYBODY, conductor_page(book)?, &self.score(piece, None))?;
        Ok(files)
    }

    /// All pages in one, to be printed in one go.
    ///
    /// # Errors
    /// What cannot be put together.
    pub fn booklet(&self) -> Result<PartFile, PartsError> {
        Ok(PartFile {
            name: "all-parts.html".to_owned(),
            bytes: booklet(&self.book)?.into_bytes(),
        })
    }

    /// What is played, a track a player; of one player alone the only track.
    fn score(&self, piece: &OnSet, alone: Option<PlayerIndex>) -> Score {
        let book = &self.book;
        let name = |player: PlayerIndex| {
            let bottles = book.players[player].bottles.iter();
            let notes: Vec<String> = bottles.map(HeldBottle::all_notes).collect();
            Track {
                name: format!("player {}: {}", player.number(), notes.join(" ")),
            }
        };
        let note = |(player, b): &(PlayerIndex, Breath)| {
            let key = piece.keyed[b.pour].key;
            let found = piece.score.notes.partition_point(|n| n.start_s < b.start_s);
            let there = piece.score.notes[found..]
                .iter()
                .take_while(|n| n.start_s == b.start_s);
            let velocity = there.filter(|n| n.key == key).map(|n| n.velocity).max();
            ScoreNote {
                start_s: b.start_s,
                stop_s: b.stop_s,
                key,
                velocity: velocity.unwrap_or(USUAL_VELOCITY),
                track: if alone.is_some() { 0 } else { player.place() },
                channel: 0,
            }
        };
        let tracks = match alone {
            Some(player) => vec![name(player)],
            None => PlayerIndex::all(book.players.len()).map(name).collect(),
        };
        let is_in = |kept: &&(PlayerIndex, Breath)| alone.is_none_or(|player| kept.0 == player);
        let mut score = Score {
            notes: self.kept.iter().filter(is_in).map(note).collect(),
            tracks,
            ..piece.score.clone()
        };
        score.sort();
        score
    }
}

/// What the files with everybody are called.
const EVERYBODY: &str = "everybody";

/// How the notes of a piece are spelled, by its key.
fn spelling(piece: &OnSet) -> impl Fn(u8) -> Spelled + use<> {
    let key = key_of(&piece.score);
    move |midi: u8| {
        let note = key.spelled(midi);
        Spelled {
            step: note.letter(),
            alter: note.alteration(),
            octave: note.octave(),
        }
    }
}

/// What one of the bottles that [`OnSet::bottles`] gives is called.
#[must_use]
pub fn in_hands(on: &OnSet, pours: &[PourIndex]) -> HeldBottle {
    HeldBottle {
        notes: pours.iter().map(|&pour| on.note(pour)).collect(),
        name: pours.first().map_or_else(String::new, |&p| on.name(p)),
    }
}

/// The notes that fall out, a line for each pitch.
#[must_use]
pub fn lost_lines(on: &OnSet, fit: &Fit) -> Vec<String> {
    let mut places: BTreeMap<u8, Vec<String>> = BTreeMap::new();
    for l in on.lost(fit) {
        let key = on.keyed[l.pour].key;
        places
            .entry(key)
            .or_default()
            .push(format!("{}:{}", l.bar, l.beat));
    }
    let spelling = key_of(&on.score);
    let line = |(key, at): (u8, Vec<String>)| {
        let note = spelling.spelled(key);
        format!("{note}: {}, at {}", count(at.len(), "note"), at.join(", "))
    };
    places.into_iter().map(line).collect()
}

/// Writes all files into `folder`, which is made if it is not there: each is refused or opened before any is put in place.
///
/// # Errors
/// The folder, or the first file that is refused.
pub fn write(folder: &Path, files: &[PartFile], overwrite: Overwrite) -> Result<(), PartsError> {
    std::fs::create_dir_all(folder).map_err(|source| PartsError::Folder {
        path: folder.to_path_buf(),
        source,
    })?;
    let mut open = Vec::with_capacity(files.len());
    for PartFile { name, bytes } in files {
        let path = folder.join(name);
        let mut file = AtomicFile::create(&path, overwrite)?;
        file.write_all(bytes)
            .map_err(|error| WriteError::from_io(&path, error))?;
        open.push(file);
    }
    for file in open {
        file.commit()?;
    }
    Ok(())
}
