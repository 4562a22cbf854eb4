//! `ullage page`: the set as a page that plays in any browser.

use std::io::Write;
use std::path::PathBuf;

use clap::Args;
use serde::Serialize;

use super::Failure;
use super::inputs;
use super::options::WriteOptions;
use super::piece_file::{self, BreakOptions, KeyOptions};
use crate::cli::print::JSON_VERSION;
use crate::cli::print::{print, print_json};
use crate::file::atomic::{AtomicFile, Overwrite, WriteError};
use crate::number::{count, times};
use crate::page::{PageError, PagePiece, PageSpec, html};
use crate::plan::piece::Missing;
use crate::stage::Stage;

/// Make a page that plays.
///
/// One HTML file for any browser on any computer or phone, to be mailed or put on a stick: each bottle drawn to scale and
/// sounded by its own voice, what sounds together as intervals, pieces to play along with, and what to pour. It loads nothing
/// and sends nothing. It is about 0.2 MB a bottle.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: ullage page presets/quay/set.toml --piece presets/quay/piece.mid --out quay.html"
)]
pub struct PageArgs {
    /// A set
    pub file: PathBuf,
    /// A piece to play along with: a MIDI file or MusicXML; repeatable
    #[arg(long, value_name = "FILE.mid|.musicxml|.mxl")]
    pub piece: Vec<PathBuf>,
    /// If one is broken.
    #[command(flatten)]
    pub broken: BreakOptions,
    /// In which key.
    #[command(flatten)]
    pub key: KeyOptions,
    /// Where to write the page
    #[arg(long, value_name = "FILE.html")]
    pub out: PathBuf,
    /// Without the set's room
    #[arg(long)]
    pub dry: bool,
    /// What is replaced and printed, and the room.
    #[command(flatten)]
    pub write: WriteOptions,
}

#[derive(Serialize)]
struct PageReport {
    version: u32,
    html: PathBuf,
    bytes: usize,
    bottles: usize,
    pieces: Vec<PieceRow>,
}

#[derive(Serialize)]
struct PieceRow {
    title: String,
    notes: usize,
    bars: usize,
    players: usize,
    missing: Vec<Missing>,
}

pub(super) fn run(args: &PageArgs) -> Result<(), Failure> {
    let what = || format!("make a page of {}", args.file.display());
    let set = inputs::heard_set(&args.file, &args.write.print.room)?;
    let set = args.key.over(set);
    if set.pours.is_empty() {
        return Err(Failure::bad(what(), "there is no [[pour]] in it")
            .or_try("add [[pour]] with a note and a bottle"));
    }
    let unwritten = |error| Failure::unwritten(&args.out, error, "--out");
    // Before anything is rendered.
    let mut file =
        AtomicFile::create(&args.out, Overwrite::forced(args.write.force)).map_err(unwritten)?;
    let stage = Stage::new(&set)?;
    let mut pieces = Vec::with_capacity(args.piece.len());
    for path in &args.piece {
        let piece = piece_file::opened(path, args.broken)?;
        let piece = PagePiece::new(&stage, &piece)
            .map_err(|error| Failure::cannot(format!("use {}", path.display()), error))?;
        if piece.on.breaths.is_empty() {
            let because = format!("no note of {} has a bottle", path.display());
            return Err(Failure::cannot(what(), because)
                .or_try("run ullage check for transpositions that have"));
        }
        pieces.push(piece);
    }
    let spec = PageSpec {
        pieces,
        dry: args.dry,
    };
    let page = html(&stage, &spec).map_err(|error| not_made(what(), error))?;
    file.write_all(page.as_bytes())
        .map_err(|error| unwritten(WriteError::from_io(&args.out, error)))?;
    file.commit().map_err(unwritten)?;
    let report = report(args, &stage, &spec, page.len());
    if args.write.print.json {
        print_json(&report)
    } else {
        print(&text(&report))
    }
}

fn not_made(what: String, error: PageError) -> Failure {
    match error {
        PageError::Stage(error) => error.into(),
        PageError::Bottles { .. } => Failure::cannot(what, error)
            .or_try("take a set with fewer bottles, or make several pages"),
        error => Failure::cannot(what, error),
    }
}

fn report(args: &PageArgs, stage: &Stage, spec: &PageSpec, bytes: usize) -> PageReport {
    let row = |piece: &PagePiece| PieceRow {
        title: piece.title.clone(),
        notes: piece.on.breaths.len(),
        bars: piece.on.bars.len(),
        players: piece.on.fewest(&piece.on.sharing()).players.len(),
        missing: piece.on.played.missing.clone(),
    };
    PageReport {
        version: JSON_VERSION,
        html: args.out.clone(),
        bytes,
        bottles: stage.set().pours.len(),
        pieces: spec.pieces.iter().map(row).collect(),
    }
}

fn text(report: &PageReport) -> String {
    let mut out = format!(
        "wrote {}: {}, {:.1} MB; open it in a browser\n",
        report.html.display(),
        count(report.bottles, "bottle"),
        report.bytes as f64 / 1e6
    );
    for piece in &report.pieces {
        let (notes, bars) = (count(piece.notes, "note"), count(piece.bars, "bar"));
        let players = count(piece.players, "player");
        out += &format!("  {}: {notes} in {bars}, for {players}\n", piece.title);
        for missing in &piece.missing {
            let asked = times(missing.times);
            out += &format!("    {}: no bottle, asked for {asked}\n", missing.note);
        }
    }
    out
}
