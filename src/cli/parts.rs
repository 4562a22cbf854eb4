//! `ullage parts`: a page and a MIDI file for each player, and a page for who conducts.

use std::path::PathBuf;

use clap::Args;
use serde_json::{Value, json};

use super::Failure;
use super::options::NamesOptions;
use super::piece_file::BreakOptions;
use super::sharing::{RunOptions, held_json, lost, read};
use crate::cli::print::JSON_VERSION;
use crate::cli::print::{print, print_json, say, table};
use crate::file::atomic::{Overwrite, WriteError};
use crate::number::{count, rounded};
use crate::parts::{PartFile, Parts, PartsError, write};
use crate::plan::spelling::key_of;
use crate::report::part::CAUTIONS;
use crate::stage::OnSet;

/// Write each player's part: a page to print, a MIDI file, and MusicXML for notation programs.
///
/// Shares the bottles out as `check` does: with the fewest players who can play everything, or with
/// `--players` so that the fewest notes are lost.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: ullage parts presets/quay/set.toml --piece presets/quay/piece.mid --out parts"
)]
pub struct PartsArgs {
    /// A set
    pub file: PathBuf,
    /// The piece to be played: a MIDI file or MusicXML
    #[arg(long, value_name = "FILE.mid|.musicxml|.mxl")]
    pub piece: PathBuf,
    /// If it is broken.
    #[command(flatten)]
    pub broken: BreakOptions,
    /// The folder to write into
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,
    /// What the piece is called on the pages [default: the file's name]
    #[arg(long, value_name = "TEXT")]
    pub title: Option<String>,
    /// How notes are called.
    #[command(flatten)]
    pub names: NamesOptions,
    /// Write them even if there are notes that nobody plays
    #[arg(long)]
    pub leave_out: bool,
    /// Replace existing files
    #[arg(long)]
    pub force: bool,
    /// What is printed, who plays, and the room.
    #[command(flatten)]
    pub run: RunOptions,
}

pub(super) fn run(args: &PartsArgs) -> Result<(), Failure> {
    let piece = read(&args.file, &args.piece, args.broken, &args.run)?;
    let what = || format!("write parts of {}", args.piece.display());
    let named = || {
        let stem = args.piece.file_stem().unwrap_or_default();
        stem.to_string_lossy().into_owned()
    };
    let title = args.title.clone().unwrap_or_else(named);
    let players = args.run.sharing.players.map(usize::from);
    let parts = Parts::new(&piece, &title, players).map_err(|error| {
        let failure = Failure::cannot(what(), &error);
        match error {
            PartsError::NoBottle => {
                failure.or_try("run ullage check for the keys in which it can be played")
            }
            _ => failure,
        }
    })?;
    let said = parts
        .clone()
        .said(&args.names.speller(key_of(&piece.score)));
    if !args.leave_out && !parts.book.not_played.is_empty() {
        let because = format!(
            "there are notes that nobody plays (bar:beat)\n{}",
            said.book.not_played.join("\n")
        );
        return Err(Failure::cannot(what(), because).or_try(
            "add --leave-out to write the parts without them, more players after --players, or --transpose",
        ));
    }
    let failed = |error: PartsError| Failure::cannot("write the parts", error);
    let files = said.files(&piece).map_err(failed)?;
    write(&args.out, &files, Overwrite::forced(args.force)).map_err(unwritten)?;
    warn(args, &said);
    if args.run.json {
        print_json(&report(args, &piece, &parts, &files))
    } else {
        print(&text(args, &said))
    }
}

fn unwritten(error: PartsError) -> Failure {
    match error {
        PartsError::Folder { path, source } => {
            Failure::cannot(format!("make the folder {}", path.display()), source)
        }
        PartsError::Write(error) => {
            let exists = matches!(error, WriteError::Exists { .. });
            let failure = Failure::cannot("write the parts", error);
            if exists {
                failure.or_try("use --force, or another folder after --out")
            } else {
                failure
            }
        }
        error => Failure::cannot("write the parts", error),
    }
}

fn warn(args: &PartsArgs, parts: &Parts) {
    let book = &parts.book;
    if !book.not_played.is_empty() {
        say!(
            "warning: notes of {} that nobody plays (bar:beat)\n  {}",
            args.piece.display(),
            book.not_played.join("\n  ")
        );
    }
}

fn report(args: &PartsArgs, piece: &OnSet, parts: &Parts, files: &[PartFile]) -> Value {
    let Parts { fit, book, .. } = parts;
    let player = |part: &crate::report::part::PlayerPart| {
        let bottles = part.bottles.iter().map(held_json);
        json!({
            "player": part.player.number(), "bottles": bottles.collect::<Vec<_>>(),
            "notes": part.notes.len(), "blowing_share": rounded(part.load.share, 3),
            "longest_run_s": rounded(part.load.longest_run_s, 2), "heavy": part.heavy(),
        })
    };
    let missing = piece.played.missing.iter();
    let missing = missing.map(|m| json!({"note": m.note, "times": m.times, "bars": m.bars}));
    json!({
        "version": JSON_VERSION,
        "files": files.iter().map(|f| args.out.join(&f.name)).collect::<Vec<_>>(),
        "bars": book.bars.len(),
        "players": book.players.iter().map(player).collect::<Vec<_>>(),
        "missing": missing.collect::<Vec<_>>(),
        "lost": lost(piece, fit), "lost_at_least": fit.lost_at_least, "exact": fit.exact,
        "cautions": CAUTIONS,
    })
}

fn text(args: &PartsArgs, parts: &Parts) -> String {
    let Parts { fit, book, .. } = parts;
    let row = |part: &crate::report::part::PlayerPart| {
        let bottles = part.bottles.iter();
        let bottles: Vec<String> = bottles
            .map(|b| format!("{} in {}", b.all_notes(), b.name))
            .collect();
        vec![
            part.player.number().to_string(),
            bottles.join(", "),
            part.notes.len().to_string(),
            format!("{:.0}", 100.0 * part.load.share),
            format!("{:.1}", part.load.longest_run_s),
            if part.heavy() { "heavy" } else { "" }.to_owned(),
        ]
    };
    let header = ["player", "bottles", "notes", "% blowing", "longest s", ""];
    let mut out = table(&header, book.players.iter().map(row).collect(), &[1, 5]);
    let lost = fit.lost();
    if lost > 0 {
        let sure = match fit.exact {
            true => "no way loses fewer".to_owned(),
            false => format!("no way loses fewer than {}", fit.lost_at_least),
        };
        let are = if lost == 1 { "is" } else { "are" };
        out += &format!("\n{} {are} lost; {sure}.\n", count(lost, "note"));
    }
    for caution in CAUTIONS {
        out += &format!("- {caution}\n");
    }
    out + &format!(
        "\nwritten to {}: print the .html pages at 100 %, on A4\n",
        args.out.display()
    )
}
