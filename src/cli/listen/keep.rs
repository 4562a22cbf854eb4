//! Keeping what was heard: into the bottle's own table, comments and all.

use serde::Serialize;

use super::ListenArgs;
use super::bottles::Bottles;
use crate::cli::{Failure, inputs};
use crate::file::atomic::{Overwrite, write_whole};
use crate::number::rounded;
use crate::set::edit::{EditError, Edited, SetText};
use crate::set::{self, HeardPitch};
use crate::sounding::Sounded;
use crate::tuner::Verdict;
use crate::tuner::keep::{KeepError, keepable};

/// What the fit says with and without what was heard.
#[derive(Clone, Debug, Serialize)]
pub(super) struct KeptRow {
    bottle: String,
    before_hz: f64,
    before_plus_minus_cents: f64,
    after_hz: f64,
    after_plus_minus_cents: f64,
    /// Why the ± has become wider, if it has.
    #[serde(skip_serializing_if = "Option::is_none")]
    wider_because: Option<String>,
}

impl KeptRow {
    fn new(bottle: &str, before: &Sounded, after: &Sounded) -> Self {
        let sure = |sounded: &Sounded| sounded.plus_minus().cents();
        let wider = sure(after) > sure(before) + 0.5;
        Self {
            bottle: bottle.to_owned(),
            before_hz: rounded(before.frequency().hz(), 3),
            before_plus_minus_cents: rounded(sure(before), 1),
            after_hz: rounded(after.frequency().hz(), 3),
            after_plus_minus_cents: rounded(sure(after), 1),
            wider_because: wider.then(|| mostly(after)),
        }
    }

    pub(super) fn text(&self) -> String {
        let mut out = format!(
            "kept: {} at that fill was predicted at {:.2} Hz ±{:.0} cents, and now at {:.2} Hz ±{:.0}\n",
            self.bottle,
            self.before_hz,
            self.before_plus_minus_cents,
            self.after_hz,
            self.after_plus_minus_cents
        );
        if let Some(because) = &self.wider_because {
            out += &format!("    the ± is wider now: {because}\n");
        }
        out
    }
}

/// What a ± is made of.
fn mostly(sounded: &Sounded) -> String {
    match &sounded.air {
        Some(air) => {
            let share = &air.prediction.uncertainty.shares[0];
            format!(
                "{} counts ±{:.0} cents now that the bottle rests on what was heard; {}",
                share.what,
                share.plus_minus.cents(),
                share.remedy
            )
        }
        None => "it rests on fewer pitches than before".to_owned(),
    }
}

/// Appends the pitch of `verdict` to the `heard` of its bottle in the set's file, if the bottle can be fitted to it.
pub(super) fn keep(
    args: &ListenArgs,
    bottles: &Bottles,
    verdict: &Verdict,
) -> Result<KeptRow, Failure> {
    let (judge, set) = (&bottles.judge, bottles.set());
    let path = args.set.as_deref().expect("--keep requires --set");
    let what = || format!("keep what was heard in {}", path.display());
    let found =
        keepable(set, &judge.pour(verdict), verdict.frequency).map_err(|error| match error {
            KeepError::Fill => Failure::bad("keep what was heard", error)
                .or_try("give --fill-ml the millilitres in it"),
            KeepError::Gauge => Failure::bad("keep what was heard", error)
                .or_try("write gauge_bar of that pour into the set's file"),
            KeepError::Far { .. } => Failure::cannot(what(), error)
                .or_try("give --fill-ml what is really in it, or --note the right note"),
            _ => Failure::cannot(what(), error),
        })?;
    let name = &set.kinds[found.kind].name;
    // Read back before it is written: a pitch that cannot be this bottle's must not spoil the file.
    let edited = with_heard(&set::file_text(path)?, name, &found.pitch)
        .map_err(|error| inputs::not_edited(path, what(), error))?;
    let refitted = edited.set.heard_in(set.conditions.clone());
    let after = found
        .after(&refitted)
        .map_err(|error| Failure::cannot(what(), error))?;
    write_whole(path, edited.text.as_bytes(), Overwrite::Yes)
        .map_err(|error| Failure::cannot(what(), error))?;
    Ok(KeptRow::new(name, &found.before, &after))
}

/// The file's text with one more pitch in the table of the bottle called `name`, and what it says then.
fn with_heard(source: &str, name: &str, heard: &HeardPitch) -> Result<Edited, EditError> {
    let mut text = SetText::parse(source)?;
    text.push_heard(name, heard)?;
    text.finish()
}
