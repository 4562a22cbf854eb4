//! `ullage parts`: a page and a MIDI file for each player, and a page for who conducts.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Args;
use serde_json::{Value, json};

use super::Failure;
use super::options::NamesOptions;
use super::piece_file::BreakOptions;
use super::sharing::{RunOptions, held_json, in_hands, lost, lost_lines, read};
use crate::cli::print::JSON_VERSION;
use crate::cli::print::{print, print_json, say, table};
use crate::file::atomic::{AtomicFile, Overwrite, WriteError};
use crate::file::musicxml::{Spelled, to_musicxml};
use crate::file::smf::to_smf;
use crate::index::PlayerIndex;
use crate::number::{count, rounded};
use crate::plan::fit::Fit;
use crate::plan::programme::Breath;
use crate::plan::spelling::key_of;
use crate::report::part::{CAUTIONS, HeldBottle, MOST_BARS, PartBook};
use crate::report::part_html::{conductor_page, part_page};
use crate::score::{Score, ScoreNote, Track, USUAL_VELOCITY};
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

/// A file to be written.
struct Ready {
    path: PathBuf,
    bytes: Vec<u8>,
}

pub(super) fn run(args: &PartsArgs) -> Result<(), Failure> {
    let piece = read(&args.file, &args.piece, args.broken, &args.run)?;
    let what = || format!("write parts of {}", args.piece.display());
    if piece.breaths.is_empty() {
        return Err(Failure::cannot(what(), "no note of it has a bottle")
            .or_try("run ullage check for the keys in which it can be played"));
    }
    if piece.bars.len() > MOST_BARS {
        let because = format!("{} bars are more than {MOST_BARS}", piece.bars.len());
        return Err(Failure::cannot(what(), because));
    }
    let players = match args.run.sharing.players {
        Some(players) => usize::from(players),
        None => piece.fewest(&piece.sharing()).players.len(),
    };
    let fit = piece.among(players);
    let kept: Vec<(PlayerIndex, Breath)> = fit.kept(&piece.breaths).collect();
    let book = book(args, &piece, &fit, &kept);
    let said = book.clone().said(&args.names.speller(key_of(&piece.score)));
    if !args.leave_out && !book.not_played.is_empty() {
        let because = format!(
            "there are notes that nobody plays (bar:beat)\n{}",
            said.not_played.join("\n")
        );
        return Err(Failure::cannot(what(), because).or_try(
            "add --leave-out to write the parts without them, more players after --players, or --transpose",
        ));
    }
    let files = files(args, &piece, &said, &kept)?;
    write(&args.out, &files, args.force)?;
    warn(args, &said);
    if args.run.json {
        print_json(&report(&piece, &fit, &book, &files))
    } else {
        print(&text(args, &fit, &said))
    }
}

fn book(args: &PartsArgs, piece: &OnSet, fit: &Fit, kept: &[(PlayerIndex, Breath)]) -> PartBook {
    let held: Vec<_> = fit.players.iter().map(|own| piece.bottles(own)).collect();
    let named = || {
        args.piece
            .file_stem()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned()
    };
    let title = args.title.clone().unwrap_or_else(named);
    let mut book = PartBook::new((&title, &piece.score), &held, kept, |pours| {
        in_hands(piece, pours)
    });
    book.change_s = args.run.sharing.change_s;
    let missing = piece.played.missing.iter().map(|m| {
        let bars: Vec<String> = m.bars.iter().map(u64::to_string).collect();
        format!("{}: no bottle; bar {}", m.note, bars.join(", "))
    });
    book.not_played = missing.chain(lost_lines(piece, fit)).collect();
    book
}

fn files(
    args: &PartsArgs,
    piece: &OnSet,
    book: &PartBook,
    kept: &[(PlayerIndex, Breath)],
) -> Result<Vec<Ready>, Failure> {
    let failed = |error: &dyn std::fmt::Display| Failure::cannot("write the parts", error);
    let key = key_of(&piece.score);
    let spell = |midi: u8| {
        let note = key.spelled(midi);
        Spelled {
            step: note.letter(),
            alter: note.alteration(),
            octave: note.octave(),
        }
    };
    let mut files = Vec::new();
    let mut ready = |name: String, bytes: Vec<u8>| {
        let path = args.out.join(name);
        files.push(Ready { path, bytes });
    };
    for part in &book.players {
        let number = part.player.number();
        let page = part_page(book, part).map_err(|e| failed(&e))?;
        ready(format!("player-{number:02}.html"), page.into_bytes());
        let own = score(
            piece,
            book,
            kept.iter().filter(|k| k.0 == part.player),
            Some(part.player),
        );
        let notation = to_musicxml(&own, &book.title, &spell);
        ready(
            format!("player-{number:02}.musicxml"),
            notation.into_bytes(),
        );
        let midi = to_smf(&own).map_err(|e| failed(&e))?;
        ready(format!("player-{number:02}.mid"), midi);
    }
    let page = conductor_page(book).map_err(|e| failed(&e))?;
    ready("conductor.html".to_owned(), page.into_bytes());
    let everybody = score(piece, book, kept.iter(), None);
    let notation = to_musicxml(&everybody, &book.title, &spell);
    ready("everybody.musicxml".to_owned(), notation.into_bytes());
    let midi = to_smf(&everybody).map_err(|e| failed(&e))?;
    ready("everybody.mid".to_owned(), midi);
    Ok(files)
}

/// What is played, a track a player; of one player alone the only track.
fn score<'a>(
    piece: &OnSet,
    book: &PartBook,
    kept: impl Iterator<Item = &'a (PlayerIndex, Breath)>,
    alone: Option<PlayerIndex>,
) -> Score {
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
    let mut score = Score {
        notes: kept.map(note).collect(),
        tracks,
        ..piece.score.clone()
    };
    score.sort();
    score
}

/// Writes all files: each is refused or opened before any is put in place.
fn write(folder: &Path, files: &[Ready], force: bool) -> Result<(), Failure> {
    let overwrite = Overwrite::forced(force);
    let cannot = |path: &Path, error: WriteError| {
        let exists = matches!(error, WriteError::Exists { .. });
        let failure = Failure::cannot(format!("write {}", path.display()), error);
        if exists {
            return failure.or_try("use --force, or another folder after --out");
        }
        failure
    };
    std::fs::create_dir_all(folder)
        .map_err(|error| Failure::cannot(format!("make the folder {}", folder.display()), error))?;
    let mut open = Vec::with_capacity(files.len());
    for Ready { path, bytes } in files {
        let written = AtomicFile::create(path, overwrite).and_then(|mut file| {
            let done = file.write_all(bytes);
            done.map_err(|error| WriteError::from_io(path, error))?;
            Ok(file)
        });
        open.push((path, written.map_err(|error| cannot(path, error))?));
    }
    for (path, file) in open {
        file.commit().map_err(|error| cannot(path, error))?;
    }
    Ok(())
}

fn warn(args: &PartsArgs, book: &PartBook) {
    if !book.not_played.is_empty() {
        say!(
            "warning: notes of {} that nobody plays (bar:beat)\n  {}",
            args.piece.display(),
            book.not_played.join("\n  ")
        );
    }
}

fn report(piece: &OnSet, fit: &Fit, book: &PartBook, files: &[Ready]) -> Value {
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
        "files": files.iter().map(|f| &f.path).collect::<Vec<_>>(),
        "bars": book.bars.len(),
        "players": book.players.iter().map(player).collect::<Vec<_>>(),
        "missing": missing.collect::<Vec<_>>(),
        "lost": lost(piece, fit), "lost_at_least": fit.lost_at_least, "exact": fit.exact,
        "cautions": CAUTIONS,
    })
}

fn text(args: &PartsArgs, fit: &Fit, book: &PartBook) -> String {
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
