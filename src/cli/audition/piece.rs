//! From the options of a piece to what is blown when.

use std::path::Path;

use super::super::Failure;
use super::super::args::{Audition, PieceOptions};
use super::super::piece_file;
use super::Heard;
use crate::plan::humanise::scatter;
use crate::plan::piece::{Keyed, Missing, Other, PlayedPiece, Playing, bars, play};
use crate::plan::programme::Programme;
use crate::score::Score;
use crate::set::Set;
use crate::stage::spoken;

/// Slowest and fastest, percent.
pub(in crate::cli) const TEMPOS_PCT: std::ops::RangeInclusive<f64> = 25.0..=400.0;
/// Widest scatter of the timing, ms.
const MOST_SCATTER_MS: f64 = 200.0;
/// Places named for a missing note.
const PLACES_SHOWN: usize = 6;

/// A piece on the bottles of `heard`; what it lacks is told on standard error.
pub(super) fn piece(heard: &Heard, args: &Audition, path: &Path) -> Result<PlayedPiece, Failure> {
    let score = piece_file::piece(path, args.piece.broken)?;
    let playing = playing(&heard.set, &score, args)?;
    let pours = heard.set.pours.iter().zip(&heard.sounded);
    let keyed: Vec<Keyed> = pours
        .map(|(pour, sounded)| Keyed {
            key: pour.note.midi(),
            spoken: spoken(sounded),
        })
        .collect();
    let played = play(&score, &title(path), &keyed, &playing);
    let what = || format!("play {}", path.display());
    if played.programme.breaths().next().is_none() {
        let because = match (played.asked, played.missing.is_empty()) {
            (0, _) => "there is no note in the tracks and bars asked for".to_owned(),
            (_, true) => "every bottle that has a note of it is left out".to_owned(),
            (asked, false) => {
                let lacking = told(&played.missing);
                format!("none of its {asked} notes has a bottle that is heard\n{lacking}")
            }
        };
        return Err(Failure::cannot(what(), because)
            .or_try("ullage plan --piece, for a set that has its notes"));
    }
    if !played.missing.is_empty() {
        let how = match args.piece.others && args.piece.track.is_empty() {
            true => "sounded as plain tones",
            false => "left silent",
        };
        eprintln!(
            "warning: notes of {} without a bottle are {how}\n{}",
            path.display(),
            told(&played.missing)
        );
    }
    Ok(played)
}

/// What is sounded as plain tones, if that is asked for.
pub(super) fn others(all: &[Other], options: &PieceOptions) -> Vec<Other> {
    let of_tracks = !options.track.is_empty();
    let asked = all.iter().filter(|_| options.others);
    asked.filter(|o| o.missing != of_tracks).copied().collect()
}

/// Moves every breath a little, as hands do.
pub(super) fn humanise(programme: &mut Programme, args: &Audition) {
    let spread_s = args.piece.humanise_ms / 1000.0;
    for part in &mut programme.parts {
        scatter(&mut part.breaths, spread_s, args.seed);
        part.end_s = part.breaths.iter().map(|b| b.end_s).fold(0.0, f64::max);
    }
}

fn title(path: &Path) -> String {
    let name = path.file_name().unwrap_or(path.as_os_str());
    format!("the piece {}", name.to_string_lossy())
}

/// Which, how often and where, a line a note.
fn told(missing: &[Missing]) -> String {
    let line = |m: &Missing| {
        let mut bars: Vec<String> = m.bars.iter().map(u64::to_string).collect();
        if bars.len() > PLACES_SHOWN {
            bars.truncate(PLACES_SHOWN);
            bars.push("…".to_owned());
        }
        let often = match m.times {
            1 => "once".to_owned(),
            times => format!("{times} times"),
        };
        format!("  {:4} {often}, bar {}", m.note, bars.join(", "))
    };
    missing.iter().map(line).collect::<Vec<_>>().join("\n")
}

fn playing(set: &Set, score: &Score, args: &Audition) -> Result<Playing, Failure> {
    let options = &args.piece;
    if !TEMPOS_PCT.contains(&options.tempo_pct) {
        let because = format!("--tempo-pct {} is outside 25 to 400", options.tempo_pct);
        return Err(Failure::bad("play the piece", because));
    }
    if !(0.0..=MOST_SCATTER_MS).contains(&options.humanise_ms) {
        let because = format!("--humanise-ms {} is outside 0 to 200", options.humanise_ms);
        return Err(Failure::bad("play the piece", because));
    }
    Ok(Playing {
        tempo: options.tempo_pct / 100.0,
        bars: bars_asked(score, options)?,
        tracks: tracks(score, &options.track)?,
        silent: silent(set, options)?,
        breath: args.breath,
    })
}

fn bars_asked(score: &Score, options: &PieceOptions) -> Result<Option<(u64, u64)>, Failure> {
    let (from, to) = (options.from_bar, options.to_bar);
    if from.is_none() && to.is_none() {
        return Ok(None);
    }
    let count = bars(score).len() as u64;
    let (first, last) = (from.unwrap_or(1), to.unwrap_or(count));
    if first < 1 || last > count || first > last {
        return Err(Failure::bad(
            "play these bars",
            format!("bars {first} to {last} are not in a piece of bars 1 to {count}"),
        ));
    }
    Ok(Some((first, last)))
}

/// The tracks that names or places mean; none if nothing is asked for.
pub(in crate::cli) fn tracks(score: &Score, asked: &[String]) -> Result<Vec<usize>, Failure> {
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
                let names = score.tracks.iter().zip(1..);
                let names: Vec<String> = names
                    .take(20)
                    .map(|(t, n)| format!("{n} {:?}", t.name))
                    .collect();
                return Err(
                    Failure::bad(format!("find the track {text:?}"), "there is none")
                        .or_try(format!("--track with one of: {}", names.join(", "))),
                );
            }
        }
    }
    Ok(found)
}

/// For each bottle, whether it is left out.
fn silent(set: &Set, options: &PieceOptions) -> Result<Vec<bool>, Failure> {
    let mut silent = vec![!options.solo.is_empty(); set.pours.len()];
    for text in &options.solo {
        meant(set, text)?.for_each(|bottle| silent[bottle] = false);
    }
    for text in &options.mute {
        meant(set, text)?.for_each(|bottle| silent[bottle] = true);
    }
    Ok(silent)
}

/// The bottles that a note or a name means.
fn meant(set: &Set, text: &str) -> Result<impl Iterator<Item = usize> + use<>, Failure> {
    let key = text
        .parse::<crate::tuning::NoteName>()
        .ok()
        .map(|n| n.midi());
    let bottles: Vec<usize> = (0..set.pours.len())
        .filter(|&index| {
            let pour = &set.pours[index];
            key == Some(pour.note.midi()) || set.kind_of(pour).name == text
        })
        .collect();
    if bottles.is_empty() {
        let because = "no note and no bottle of the set is called so";
        let notes: Vec<String> = set.pours.iter().map(|p| p.note.to_string()).collect();
        return Err(Failure::bad(format!("find {text:?}"), because)
            .or_try(format!("one of the notes {}", notes.join(" "))));
    }
    Ok(bottles.into_iter())
}
