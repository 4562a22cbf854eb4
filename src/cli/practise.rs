//! `ullage practise`: how a pass that was recorded compares with the piece, bar by bar.

use std::ffi::OsStr;
use std::path::{Path, PathBuf};

use clap::Args;
use serde_json::json;

use super::Failure;
use super::listen::{mono, recording};
use super::piece_file;
use super::piece_file::BreakOptions;
use super::sharing::{RunOptions, read};
use crate::cli::print::JSON_VERSION;
use crate::cli::print::{print, print_json, table};
use crate::listen::beginnings::begun;
use crate::number::rounded;
use crate::plan::practice::{BarTally, Strictness, Struck, drift, judge, laid_over};
use crate::score::ScoreNote;
use crate::stage::OnSet;
use crate::units::Frequency;

/// Largest times off that are taken, ms.
const MOST_MS: f64 = 2_000.0;

/// Say what was early, late, missed and wrong in a recorded pass, and from where it ran away or fell behind.
///
/// What was played is a MIDI file whose first bar is the piece's, or a recording of blown bottles, which may begin
/// anywhere and go at half to twice the tempo; the set's own bottles are heard in it, best from close by. Only notes that a bottle has are
/// asked for; with `--players` and `--player`, only those of that player.
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  ullage practise presets/quay/set.toml --piece presets/quay/piece.mid --played presets/quay/piece5.mid\n  \
                  ullage practise set.toml --piece carol.mid --players 4 --player 2 --played phone.m4a"
)]
pub struct PractiseArgs {
    /// A set
    pub file: PathBuf,
    /// The piece that is practised: a MIDI file or MusicXML
    #[arg(long, value_name = "FILE.mid|.musicxml|.mxl")]
    pub piece: PathBuf,
    /// If it is broken.
    #[command(flatten)]
    pub broken: BreakOptions,
    /// What was played: MIDI, or a recording of it (WAV; FLAC, MP3, M4A and others where they are built in)
    #[arg(long, value_name = "PLAYED.mid|.wav|.m4a")]
    pub played: PathBuf,
    /// Only this player's notes, as parts counts the players [default: everybody's]
    #[arg(long, value_name = "N", requires = "players", value_parser = clap::value_parser!(u8).range(1..))]
    pub player: Option<u8>,
    /// Farthest off that counts as in time, ms
    #[arg(long, value_name = "MS", default_value_t = 50.0)]
    pub fine_ms: f64,
    /// Farthest off that counts as this note at all, ms
    #[arg(long, value_name = "MS", default_value_t = 300.0)]
    pub reach_ms: f64,
    /// What is printed, who plays, and the room.
    #[command(flatten)]
    pub run: RunOptions,
}

pub(super) fn run(args: &PractiseArgs) -> Result<(), Failure> {
    if !(0.0 <= args.fine_ms && args.fine_ms <= args.reach_ms && args.reach_ms <= MOST_MS) {
        let (fine, reach) = (args.fine_ms, args.reach_ms);
        let because =
            format!("--fine-ms {fine} and --reach-ms {reach} are not in order within 0 to 2000");
        return Err(Failure::bad("judge the pass", because));
    }
    let piece = read(&args.file, &args.piece, args.broken, &args.run)?;
    let written = written(&piece, args)?;
    let Played {
        struck: played,
        tempo,
    } = played(&piece, &written, args)?;
    let starts_s: Vec<f64> = piece.bars.iter().map(|bar| bar.start_s).collect();
    let strictness = Strictness {
        fine_s: args.fine_ms / 1000.0,
        reach_s: args.reach_ms / 1000.0,
    };
    let bars = judge(&written, &played, &starts_s, strictness);
    let least_s = strictness.fine_s.max(Strictness::default().fine_s);
    let drift = drift(&bars, &starts_s, least_s);
    if args.run.json {
        let bars: Vec<_> = bars
            .iter()
            .map(|b| BarTally {
                mean_late_ms: rounded(b.mean_late_ms, 2),
                ..*b
            })
            .collect();
        return print_json(&json!({
            "version": JSON_VERSION, "bars": bars, "written": written.len(), "played": played.len(),
            "fine_ms": args.fine_ms, "reach_ms": args.reach_ms, "drift": drift, "tempo_pct": tempo.map(|t| rounded(100.0 * t, 1)),
        }));
    }
    let drift = drift.map_or_else(String::new, |drift| format!("\n{drift}\n"));
    let tempo = tempo.map_or_else(String::new, |tempo| {
        format!("\nplayed at {:.0} % of the tempo\n", 100.0 * tempo)
    });
    print(&(text(&bars) + &tempo + &drift))
}

/// What was played, in the piece's time.
struct Played {
    struck: Vec<Struck>,
    /// Times the written tempo, of a recording.
    tempo: Option<f64>,
}

fn played(piece: &OnSet, written: &[Struck], args: &PractiseArgs) -> Result<Played, Failure> {
    if is_written(&args.played) {
        let score = piece_file::piece(&args.played, args.broken)?;
        let struck = |note: &ScoreNote| Struck {
            at_s: note.start_s,
            key: note.key,
        };
        return Ok(Played {
            struck: score.notes.iter().map(struck).collect(),
            tempo: None,
        });
    }
    let blown: Vec<_> = (piece.keyed.iter())
        .filter(|keyed| !keyed.spoken.struck)
        .collect();
    let pitches: Vec<Frequency> = blown.iter().map(|k| k.spoken.resonance.frequency).collect();
    let (wav, _) = recording(&args.played)?;
    let struck: Vec<Struck> = begun(&mono(&wav), wav.rate, &pitches)
        .iter()
        .map(|note| Struck {
            at_s: note.at.s(),
            key: blown[note.bottle].key,
        })
        .collect();
    let laid = laid_over(written, &struck).ok_or_else(|| {
        let because = format!(
            "none of the {} notes that are heard in it is written in the piece",
            struck.len()
        );
        let what = format!("judge {}", args.played.display());
        Failure::cannot(what, because)
            .or_try("check that it is this piece, on this set, in this key (--transpose)")
    })?;
    Ok(Played {
        struck: laid.struck,
        tempo: Some(laid.tempo),
    })
}

/// Whether it is a file of notes and not of sound.
fn is_written(path: &Path) -> bool {
    let kind = path.extension().and_then(OsStr::to_str).unwrap_or_default();
    let written = ["mid", "midi", "musicxml", "mxl", "xml"];
    kind.is_empty() || written.iter().any(|known| kind.eq_ignore_ascii_case(known))
}

fn written(piece: &OnSet, args: &PractiseArgs) -> Result<Vec<Struck>, Failure> {
    let struck = |b: &crate::plan::programme::Breath| Struck {
        at_s: b.start_s,
        key: piece.keyed[b.pour].key,
    };
    let (Some(players), Some(player)) = (args.run.sharing.players, args.player) else {
        return Ok(piece.breaths.iter().map(struck).collect());
    };
    let fit = piece.among(usize::from(players));
    let count = fit.players.len();
    if usize::from(player) > count {
        let because = format!("there is no player {player}, only 1 to {count}");
        return Err(Failure::bad("judge the pass", because));
    }
    let own = fit
        .kept(&piece.breaths)
        .filter(|k| k.0.number() == usize::from(player));
    Ok(own.map(|(_, b)| struck(&b)).collect())
}

fn text(bars: &[BarTally]) -> String {
    let header = [
        "bar",
        "written",
        "in time",
        "early",
        "late",
        "missed",
        "wrong",
        "late by ms",
    ];
    let row = |name: String, b: &BarTally| {
        let counts = [b.written, b.fine, b.early, b.late, b.missed, b.wrong];
        let mut row = vec![name];
        row.extend(counts.map(|n| n.to_string()));
        row.push(format!("{:.0}", b.mean_late_ms + 0.0));
        row
    };
    let mut rows: Vec<Vec<String>> = bars.iter().map(|b| row(b.bar.to_string(), b)).collect();
    rows.push(row("all".to_owned(), &BarTally::sum(bars)));
    table(&header, rows, &[])
}
