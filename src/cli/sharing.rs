//! A piece on a set and its players: what `check` and `parts` both work out first.

use std::path::Path;

use clap::Args;
use serde_json::{Value, json};

use super::Failure;
use super::audition::not_played;
use super::inputs;
use super::options::RoomOptions;
use super::piece_file::{self, BreakOptions, KeyOptions};
use crate::number::rounded;
use crate::plan::fit::{Fit, Hands};
use crate::report::part::HeldBottle;
use crate::stage::{OnSet, PlayError, SharingSpec, Stage};

/// Who plays, and how fast.
#[derive(Clone, Debug, Args)]
#[command(next_help_heading = "Players")]
pub struct SharingOptions {
    /// Players there are: fits the piece to them and says what is lost [1 to 128]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u8).range(1..=128))]
    pub players: Option<u8>,
    /// Bottles a player can hold
    #[arg(long, value_name = "1|2", default_value_t = 2, value_parser = clap::value_parser!(u8).range(1..=2))]
    pub hands: u8,
    /// Time a player needs between two bottles, s [0 to 60]; the default is common practice
    #[arg(long, value_name = "S", default_value_t = Hands::default().change_s)]
    pub change_s: f64,
    /// How much of a note may be cut off its end to reach the other bottle, percent of it [0 to 90]
    #[arg(long, value_name = "PCT", default_value_t = 0.0)]
    pub shorten_pct: f64,
    /// The notes of this track are the last to be lost, by its name or its place; repeatable
    #[arg(long, value_name = "NAME|N")]
    pub keep: Vec<String>,
    /// Only this track, by its name or its place counted from 1; repeatable
    #[arg(long, value_name = "NAME|N")]
    pub track: Vec<String>,
    /// Tempo, percent of the file's [25 to 400]
    #[arg(long, value_name = "PCT", default_value_t = 100.0)]
    pub tempo_pct: f64,
}

/// What a command about players prints, who they are, and the room of their set.
#[derive(Clone, Debug, Args)]
pub struct RunOptions {
    /// Print one JSON object
    #[arg(long)]
    pub json: bool,
    /// In which key.
    #[command(flatten)]
    pub key: KeyOptions,
    /// Who plays.
    #[command(flatten)]
    pub sharing: SharingOptions,
    /// The room.
    #[command(flatten)]
    pub room: RoomOptions,
}

impl SharingOptions {
    fn spec(&self) -> SharingSpec {
        SharingSpec {
            hands: usize::from(self.hands),
            change_s: self.change_s,
            shorten_pct: self.shorten_pct,
            keep: self.keep.clone(),
            tracks: self.track.clone(),
            tempo_pct: self.tempo_pct,
        }
    }
}

/// Reads a set and a piece and gives every note its bottle.
pub(super) fn read(
    file: &Path,
    piece: &Path,
    broken: BreakOptions,
    options: &RunOptions,
) -> Result<OnSet, Failure> {
    let spec = options.sharing.spec();
    let outside = |error| Failure::outside("share out the piece", error);
    spec.check().map_err(outside)?;
    let set = options.key.over(inputs::heard_set(file, &options.room)?);
    let score = piece_file::piece(piece, broken)?;
    OnSet::new(Stage::new(&set)?, &score, spec).map_err(|error| match error {
        PlayError::OutOfRange(error) => outside(error),
        error => not_played(piece, error),
    })
}

/// A bottle in somebody's hands, for machines.
pub(super) fn held_json(bottle: &HeldBottle) -> Value {
    json!({"note": bottle.all_notes(), "notes": bottle.notes, "bottle": bottle.name})
}

/// The notes that fall out, and where, for machines.
pub(super) fn lost(on: &OnSet, fit: &Fit) -> Vec<Value> {
    let lost = on.lost(fit).into_iter();
    lost.map(|l| {
        json!({
            "note": on.note(l.pour), "bar": l.bar, "beat": l.beat, "at_s": rounded(l.at_s, 3),
        })
    })
    .collect()
}
