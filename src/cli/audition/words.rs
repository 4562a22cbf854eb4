//! What goes wrong with a piece and with a rendering, in the words of the options.

use std::path::Path;

use crate::cli::Failure;
use crate::file::master::MasterError;
use crate::file::wav::WavError;
use crate::number::times;
use crate::plan::piece::Missing;
use crate::stage::{PlayError, RenderError};

/// Places named for a missing note.
const PLACES_SHOWN: usize = 6;
/// Tracks named where another was asked for.
const TRACKS_SHOWN: usize = 20;

/// A piece that is not played with the set.
pub(in crate::cli) fn not_played(path: &Path, error: PlayError) -> Failure {
    let way_out = "ullage plan --piece, for a set that has its notes";
    let what = || format!("play {}", path.display());
    match error {
        PlayError::OutOfRange(error) => Failure::outside("play the piece", error),
        PlayError::Bars { .. } => Failure::bad("play these bars", error),
        PlayError::NoTrack { asked, tracks } => {
            let names = tracks.iter().zip(1..).take(TRACKS_SHOWN);
            let names: Vec<String> = names.map(|(name, n)| format!("{n} {name:?}")).collect();
            Failure::bad(format!("find the track {asked:?}"), "there is none")
                .or_try(format!("give --track one of: {}", names.join(", ")))
        }
        PlayError::NoBottle { asked, notes } => {
            let because = "no note and no bottle of the set is called so";
            let notes: Vec<String> = notes.iter().map(ToString::to_string).collect();
            Failure::bad(format!("find {asked:?}"), because)
                .or_try(format!("name one of the notes {}", notes.join(" ")))
        }
        PlayError::NoNote | PlayError::AllLeftOut => Failure::cannot(what(), error).or_try(way_out),
        PlayError::NoneHeard { ref missing, .. } => {
            let because = format!("{error}\n{}", lacking(missing));
            Failure::cannot(what(), because).or_try(way_out)
        }
    }
}

/// A rendering that was not made; `out` is where it was to go.
pub(super) fn not_rendered(out: &Path, error: RenderError) -> Failure {
    match error {
        RenderError::OutOfRange(error) => Failure::outside("render", error),
        RenderError::Voice(error) => {
            Failure::cannot("voice this set", error).or_try("raise --rate-hz")
        }
        RenderError::Room(error) => Failure::cannot("build the room", error).or_try("add --dry"),
        RenderError::Event(event) => {
            Failure::cannot("schedule the programme", format!("{event:?} was refused"))
        }
        RenderError::File { path, source } => match source {
            MasterError::Wav(WavError::Write(error)) => Failure::unwritten(&path, error, "--out"),
            MasterError::Target { .. } => Failure::bad("render", source)
                .or_try("bring --level-db nearer to 0: it is added to --lufs"),
            source => Failure::cannot(format!("write {}", path.display()), source),
        },
        RenderError::Folder { path, source } => {
            Failure::cannot(format!("make the folder {}", path.display()), source)
        }
        RenderError::StemExists { path } => {
            let what = format!("write {}", path.display());
            Failure::cannot(what, "a file with that name already exists")
                .or_try("use --force, or another folder after --stems")
        }
        RenderError::Stem { path, source } => {
            Failure::cannot(format!("write {}", path.display()), source)
        }
        error @ (RenderError::NotOnStage { .. }
        | RenderError::TooLong(_)
        | RenderError::Stopped { .. }) => {
            Failure::cannot(format!("write {}", out.display()), error)
        }
    }
}

/// Which notes have no bottle, how often and where, a line a note.
pub(super) fn lacking(missing: &[Missing]) -> String {
    let line = |m: &Missing| {
        let mut bars: Vec<String> = m.bars.iter().map(u64::to_string).collect();
        if bars.len() > PLACES_SHOWN {
            bars.truncate(PLACES_SHOWN);
            bars.push("…".to_owned());
        }
        let often = times(m.times);
        format!("  {:4} {often}, bar {}", m.note, bars.join(", "))
    };
    missing.iter().map(line).collect::<Vec<_>>().join("\n")
}
