//! Keeping what was heard: into the bottle's own table, comments and all.

use serde::Serialize;
use toml_edit::{Array, DocumentMut, InlineTable, Item, TableLike, Value};

use super::ListenArgs;
use super::bottles::Bottles;
use crate::cli::Failure;
use crate::file::atomic::{Overwrite, write_whole};
use crate::number::rounded;
use crate::set::{self, HeardPitch, Way};
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
            let share = air.prediction.uncertainty.dominant();
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
                .or_try("--fill-ml with the millilitres in it"),
            KeepError::Gauge => Failure::bad("keep what was heard", error)
                .or_try("gauge_bar of that pour in the set's file"),
            KeepError::Far { .. } => Failure::cannot(what(), error)
                .or_try("--fill-ml with what is really in it, or --note with the right one"),
            _ => Failure::cannot(what(), error),
        })?;
    let name = &set.kinds[found.kind].name;
    let text = with_heard(&set::file_text(path)?, name, entry(&found.pitch))
        .map_err(|because| Failure::cannot(what(), because))?;
    // Read back before it is written: a pitch that cannot be this bottle's must not spoil the file.
    let refitted = set::open_text(path, &text)?.heard_in(set.conditions.clone());
    let after = found
        .after(&refitted)
        .map_err(|error| Failure::cannot(what(), error))?;
    write_whole(path, text.as_bytes(), Overwrite::Yes)
        .map_err(|error| Failure::cannot(what(), error))?;
    Ok(KeptRow::new(name, &found.before, &after))
}

/// One of the `heard` of a bottle, as it is written.
pub(crate) fn entry(heard: &HeardPitch) -> InlineTable {
    let mut entry = InlineTable::new();
    entry.insert("fill_ml", rounded(heard.fill.ml(), 2).into());
    if heard.way == Way::Pressurised {
        entry.insert("gauge_bar", rounded(heard.gauge.bar(), 4).into());
    }
    entry.insert("hz", rounded(heard.frequency.hz(), 3).into());
    if let Some(temp_c) = heard.temp_c {
        entry.insert("temp_c", rounded(temp_c, 2).into());
    }
    entry.insert("way", heard.way.name().into());
    entry
}

/// The file's text with one more pitch in the table of the bottle called `name`.
fn with_heard(source: &str, name: &str, entry: InlineTable) -> Result<String, String> {
    let mut document: DocumentMut = source
        .parse()
        .map_err(|error: toml_edit::TomlError| error.to_string())?;
    push(bottle(&mut document, name)?, name, entry)?;
    Ok(document.to_string())
}

/// The table of the bottle called `name`.
pub(crate) fn bottle<'a>(
    document: &'a mut DocumentMut,
    name: &str,
) -> Result<&'a mut dyn TableLike, String> {
    let tables = document
        .get_mut("bottle")
        .and_then(Item::as_array_of_tables_mut)
        .ok_or("the bottles are not written as [[bottle]] tables")?;
    let table = tables
        .iter_mut()
        .find(|table| table.get("name").and_then(Item::as_str) == Some(name));
    Ok(table.ok_or_else(|| format!("no [[bottle]] is called {name:?}"))?)
}

/// Appends `entry` to the `heard` of a bottle's table.
pub(crate) fn push(
    table: &mut dyn TableLike,
    name: &str,
    entry: InlineTable,
) -> Result<(), String> {
    match table
        .entry("heard")
        .or_insert(Item::Value(Value::Array(Array::new())))
    {
        Item::Value(Value::Array(heard)) => heard.push(entry),
        Item::ArrayOfTables(heard) => heard.push(entry.into_table()),
        _ => return Err(format!("heard of {name:?} is not a list")),
    }
    Ok(())
}
