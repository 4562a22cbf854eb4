//! `ullage check`: whether a piece can be played with a set, and by how many players.

mod report;

use std::path::PathBuf;

use clap::Args;

use super::Failure;
use super::args::RoomOptions;
use super::audition::sounding;
use super::inputs;
use super::table::{print, print_json};
use super::voicing;
use crate::plan::check::{self, RoughPair, TooFast};
use crate::plan::piece::{Keyed, PlayedPiece, Playing, bars, play};
use crate::plan::players::{Shared, Sharing};
use crate::plan::programme::Breath;
use crate::preset::Set;
use crate::score::{Bar, Score};

/// How hard the bottles are blown at the usual velocity: as `audition` does unless told otherwise.
const BREATH: f64 = 2.5;
/// Slowest change of bottle that is taken, s.
const SLOWEST_CHANGE_S: f64 = 60.0;

/// Say whether a piece can be played with a set, and by how many players.
///
/// A player keeps the same one or two bottles through the piece and blows one at a time. A bottle
/// plays its own key only, one note at a time.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: ullage check presets/quay/set.toml --piece presets/quay/piece.mid --players 6"
)]
pub struct CheckArgs {
    /// A set
    pub file: PathBuf,
    /// The MIDI file to be played
    #[arg(long, value_name = "FILE.mid")]
    pub piece: PathBuf,
    /// Bottles a player can hold
    #[arg(long, value_name = "1|2", default_value_t = 2, value_parser = clap::value_parser!(u8).range(1..=2))]
    pub hands: u8,
    /// Time a player needs between two bottles, s [0 to 60]; the default is common practice
    #[arg(long, value_name = "S", default_value_t = 0.35)]
    pub change_s: f64,
    /// Players there are: says what they cannot play [1 to 128]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u8).range(1..=128))]
    pub players: Option<u8>,
    /// List everything, not only the first few
    #[arg(long)]
    pub all: bool,
    /// Print one JSON object
    #[arg(long)]
    pub json: bool,
    /// The room.
    #[command(flatten)]
    pub room: RoomOptions,
}

/// A piece and a set that have been looked through.
struct Checked {
    set: Set,
    score: Score,
    bars: Vec<Bar>,
    keyed: Vec<Keyed>,
    played: PlayedPiece,
    breaths: Vec<Breath>,
    too_fast: Vec<TooFast>,
    rough: Vec<RoughPair>,
    fewest: Shared,
    lower_bound: usize,
    /// With the players there are.
    among: Option<Shared>,
}

pub(super) fn run(args: &CheckArgs) -> Result<(), Failure> {
    if !(0.0..=SLOWEST_CHANGE_S).contains(&args.change_s) {
        let because = format!("--change-s {} is outside 0 to 60", args.change_s);
        return Err(Failure::bad("check the piece", because));
    }
    let mut set = inputs::set(&args.file)?;
    set.conditions = inputs::conditions(&set.conditions, &args.room)?;
    let checked = check(set, inputs::piece(&args.piece)?, args)?;
    let reasons = checked.reasons();
    if args.json {
        print_json(&report::json(&checked, args, &reasons))?;
    } else {
        print(&report::text(&checked, args))?;
    }
    if reasons.is_empty() {
        return Ok(());
    }
    let what = format!("play {} with {}", args.piece.display(), args.file.display());
    Err(Failure::cannot(what, reasons.join("\n"))
        .or_try("a transposition from the list, more players, or ullage plan --piece"))
}

fn check(set: Set, score: Score, args: &CheckArgs) -> Result<Checked, Failure> {
    let poured = voicing::poured(&set)?;
    let pours = set.pours.iter().zip(&poured);
    let keyed: Vec<Keyed> = pours
        .map(|(pour, poured)| Keyed {
            key: pour.note.midi(),
            resonance: poured.prediction.note(),
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
    let bars = bars(&score);
    let heard = (0..set.pours.len()).map(|index| sounding(&set, &poured, index, BREATH));
    let heard: Vec<_> = heard.collect();
    let hands = usize::from(args.hands);
    let sharing = Sharing::of(keyed.len(), &breaths, args.change_s, hands);
    Ok(Checked {
        too_fast: check::too_fast(&breaths, &keyed, &bars),
        rough: check::rough_pairs(&breaths, &heard, &bars),
        fewest: sharing.fewest(),
        lower_bound: sharing.lower_bound(),
        among: args.players.map(|n| sharing.among(usize::from(n))),
        set,
        score,
        bars,
        keyed,
        played,
        breaths,
    })
}

impl Checked {
    fn name(&self, bottle: usize) -> String {
        self.set.pours[bottle].note.to_string()
    }

    /// Why it cannot be played; nothing if it can.
    fn reasons(&self) -> Vec<String> {
        let mut reasons = Vec::new();
        if self.played.asked == 0 {
            reasons.push("there is no note in the piece".to_owned());
        }
        let range = check::range(&self.score, &self.keyed);
        for (count, side) in [(range.below, "below"), (range.above, "above")] {
            if count > 0 {
                reasons.push(format!("range: {count} notes lie {side} every bottle"));
            }
        }
        let inside: Vec<String> = self
            .played
            .missing
            .iter()
            .map(|m| format!("{} ({} times, from bar {})", m.note, m.times, m.bars[0]))
            .collect();
        if !inside.is_empty() {
            reasons.push(format!("missing notes: {}", inside.join(", ")));
        }
        if let Some(cut) = self.played.cut.first() {
            reasons.push(format!(
                "two notes at once on one bottle: {} times, first {} in bar {}",
                self.played.cut.len(),
                self.name(cut.bottle),
                cut.bar
            ));
        }
        if let Some(fast) = self.too_fast.first() {
            reasons.push(format!(
                "repeated too fast: {} times, first {} in bar {}, {:.0} ms apart where it speaks in {:.0} ms",
                self.too_fast.len(),
                self.name(fast.bottle),
                fast.bar,
                1000.0 * fast.every_s,
                1000.0 * fast.speaks_in_s
            ));
        }
        if let Some(among) = self.among.as_ref().filter(|a| a.lost > 0) {
            let left: Vec<String> = among.left_out.iter().map(|&b| self.name(b)).collect();
            reasons.push(format!(
                "too few players: {} notes are lost, those of {}",
                among.lost,
                left.join(" ")
            ));
        }
        reasons
    }
}
