//! Reading a piece that a command is given, and what is done about a broken one.

use std::path::Path;

use clap::Args;

use super::Failure;
use crate::file::piece::{PieceError, read_piece};
use crate::file::read::bytes;
use crate::file::smf::Percussion;
use crate::plan::piece::bars;
use crate::score::Score;

/// Largest file that is read as a piece, bytes.
const MAX_PIECE_BYTES: u64 = 16 << 20;

/// What to do about a broken piece.
#[derive(Clone, Copy, Debug, Default, Args)]
pub struct BreakOptions {
    /// If the MIDI file is broken, go on with what can be read up to the break
    #[arg(long, requires = "piece")]
    pub up_to_break: bool,
}

/// Reads a piece, without its percussion: a MIDI file or MusicXML, whatever it is called. What is not
/// played as written is told on standard error.
pub fn piece(path: &Path, options: BreakOptions) -> Result<Score, Failure> {
    let bytes = bytes(path, MAX_PIECE_BYTES, "that is read")?;
    let what = || format!("use {}", path.display());
    let read = read_piece(&bytes, Percussion::Skip).map_err(|error| {
        let way_out = match error {
            PieceError::MusicXml(_) => "writing the piece out again as MusicXML, or as a MIDI file",
            _ => "writing the piece out again as a Standard MIDI File or as MusicXML",
        };
        Failure::bad(what(), error).or_try(way_out)
    })?;
    if let Some(error) = &read.broken {
        let there = readable(&read.score);
        let has_notes = !read.score.notes.is_empty();
        if !options.up_to_break || !has_notes {
            let mut way_out = "writing the piece out again as a Standard MIDI File".to_owned();
            if has_notes {
                way_out = format!("--up-to-break to go on with {there}, or {way_out}");
            }
            let because = format!("{error}\n{there} can be read");
            return Err(Failure::bad(what(), because).or_try(way_out));
        }
        let path = path.display();
        eprintln!("warning: {path} is broken and not whole: {error}\n  going on with {there}");
    }
    for remark in &read.remarks {
        eprintln!("note: {}: {remark}", path.display());
    }
    Ok(read.score)
}

/// How much there is of a piece.
fn readable(score: &Score) -> String {
    let many = |count: usize, one: &str| match count {
        1 => format!("1 {one}"),
        count => format!("{count} {one}s"),
    };
    let (notes, bars) = (score.notes.len(), bars(score).len());
    match notes {
        0 => "no note".to_owned(),
        notes => format!("{} in {}", many(notes, "note"), many(bars, "bar")),
    }
}
