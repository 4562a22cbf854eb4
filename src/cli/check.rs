//! `ullage check`: whether a piece can be played with a set, and by how many players.

mod report;

use std::path::PathBuf;

use clap::Args;

use super::Failure;
use super::options::NamesOptions;
use super::piece_file::BreakOptions;
use super::sharing::{RunOptions, SharingOptions, read};
use crate::cli::print::{print, print_json};
use crate::number::{count as notes, times};
use crate::parts::lost_lines;
use crate::plan::check::{self, Clash, RingsOn, RoughPair, TooFast};
use crate::plan::fit::Fit;
use crate::plan::players::Shared;
use crate::plan::spelling::key_of;
use crate::stage::OnSet;

/// Say whether a piece can be played with a set, and by how many players.
///
/// A player keeps the same one or two bottles through the piece and blows one at a time. A bottle
/// plays its own key only, one note at a time; a sliding or joined one plays all of its keys, for one player.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: ullage check presets/quay/set.toml --piece presets/quay/piece.mid --players 6"
)]
pub struct CheckArgs {
    /// A set
    pub file: PathBuf,
    /// The piece to be played: a MIDI file or MusicXML
    #[arg(long, value_name = "FILE.mid|.musicxml|.mxl")]
    pub piece: PathBuf,
    /// If it is broken.
    #[command(flatten)]
    pub broken: BreakOptions,
    /// List everything, not only the first few
    #[arg(long)]
    pub all: bool,
    /// How notes are called.
    #[command(flatten)]
    pub names: NamesOptions,
    /// What is printed, who plays, and the room.
    #[command(flatten)]
    pub run: RunOptions,
}

/// A piece and a set that have been looked through.
struct Checked {
    on: OnSet,
    too_fast: Vec<TooFast>,
    rough: Vec<RoughPair>,
    rings_on: Vec<RingsOn>,
    clashes: Vec<Clash>,
    fewest: Shared,
    lower_bound: usize,
    /// With the players there are.
    among: Option<Fit>,
}

pub(super) fn run(args: &CheckArgs) -> Result<(), Failure> {
    let on = read(&args.file, &args.piece, args.broken, &args.run)?;
    let checked = Checked::new(on, &args.run.sharing);
    let reasons = checked.reasons();
    if args.run.json {
        print_json(&report::json(&checked, args, &reasons))?;
    } else {
        print(&report::text(&checked, args))?;
    }
    if reasons.is_empty() {
        return Ok(());
    }
    let what = format!("play {} with {}", args.piece.display(), args.file.display());
    let said = args.names.speller(key_of(&checked.on.score));
    Err(Failure::cannot(what, said.text(&reasons.join("\n")))
        .or_try("play what the list says can be played, add players, or run ullage plan --piece"))
}

impl Checked {
    fn new(on: OnSet, options: &SharingOptions) -> Self {
        let heard = on.stage.sounding();
        let sharing = on.sharing();
        Self {
            too_fast: check::too_fast(&on.breaths, &on.keyed, &on.bars),
            rings_on: check::rings_on(&on.breaths, &on.keyed, &on.bars),
            clashes: check::clashes(&on.breaths, &on.stage.rails().rail_of, &on.bars),
            rough: check::rough_pairs(&on.breaths, &heard, &on.bars),
            fewest: on.fewest(&sharing),
            lower_bound: sharing.lower_bound(),
            among: options.players.map(|n| on.among(usize::from(n))),
            on,
        }
    }

    /// Why it cannot be played; nothing if it can.
    fn reasons(&self) -> Vec<String> {
        let mut reasons = Vec::new();
        if self.on.played.asked == 0 {
            reasons.push("there is no note in the piece".to_owned());
        }
        let range = check::range(&self.on.score, &self.on.keyed);
        for (count, side) in [(range.below, "below"), (range.above, "above")] {
            if count > 0 {
                let lie = if count == 1 { "lies" } else { "lie" };
                reasons.push(format!(
                    "range: {} {lie} {side} every bottle",
                    notes(count, "note")
                ));
            }
        }
        let inside: Vec<String> = self
            .on
            .played
            .missing
            .iter()
            .map(|m| format!("{} ({}, from bar {})", m.note, times(m.times), m.bars[0]))
            .collect();
        if !inside.is_empty() {
            reasons.push(format!("missing notes: {}", inside.join(", ")));
        }
        if let Some(cut) = self.on.played.cut.first() {
            reasons.push(format!(
                "two notes at once on one bottle: {}, first {} in bar {}",
                times(self.on.played.cut.len()),
                self.on.note(cut.pour),
                cut.bar
            ));
        }
        if let Some(clash) = self.clashes.first() {
            reasons.push(format!(
                "two notes at once of what slides: {}, first {} under {} in bar {}",
                times(self.clashes.len()),
                self.on.note(clash.other),
                self.on.note(clash.pour),
                clash.bar
            ));
        }
        if let Some(fast) = self.too_fast.first() {
            reasons.push(format!(
                "repeated too fast: {}, first {} in bar {}, {:.0} ms apart where it speaks in {:.0} ms",
                times(self.too_fast.len()),
                self.on.note(fast.pour),
                fast.bar,
                1000.0 * fast.every_s,
                1000.0 * fast.speaks_in_s
            ));
        }
        if let Some(among) = self.among.as_ref().filter(|a| a.lost() > 0) {
            let lines = lost_lines(&self.on, among).join("; ");
            let lost = among.lost();
            reasons.push(format!(
                "too few players: {} lost (bar:beat): {lines}",
                notes(lost, "note")
            ));
        }
        reasons
    }
}
