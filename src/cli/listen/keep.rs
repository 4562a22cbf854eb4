//! Keeping what was heard: into the bottle's own table, comments and all.

use std::path::Path;

use serde::Serialize;
use toml_edit::{Array, DocumentMut, InlineTable, Item, Value};

use crate::cli::predict::rounded;
use crate::cli::{Failure, inputs};
use crate::file::atomic::{Overwrite, write_whole};
use crate::physics::conditions::Conditions;
use crate::physics::prediction::Prediction;
use crate::preset::{Kind, Set};
use crate::units::{Frequency, Volume};

/// What the fit says with and without what was heard.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Kept {
    bottle: String,
    before_hz: f64,
    before_plus_minus_cents: f64,
    after_hz: f64,
    after_plus_minus_cents: f64,
}

impl Kept {
    pub(super) fn text(&self) -> String {
        format!(
            "kept: {} at that fill was predicted at {:.2} Hz ±{:.0} cents, and now at {:.2} Hz ±{:.0}\n",
            self.bottle,
            self.before_hz,
            self.before_plus_minus_cents,
            self.after_hz,
            self.after_plus_minus_cents
        )
    }
}

/// Appends a pitch to the `heard` of a bottle in the file of `set`, if the bottle can be fitted to it.
pub(super) fn keep(
    path: &Path,
    set: &Set,
    kind: &Kind,
    fill: Volume,
    pitch: Frequency,
    now: &Conditions,
) -> Result<Kept, Failure> {
    let what = || format!("keep what was heard in {}", path.display());
    let text = with_heard(&inputs::set_text(path)?, &kind.name, fill, pitch, now)
        .map_err(|because| Failure::cannot(what(), because))?;
    // Read back before it is written: a pitch that cannot be this bottle's must not spoil the file.
    let refitted = inputs::set_of(path, &text)?;
    let after = inputs::kind(&refitted.kinds, &kind.name, path)?;
    let said = |kind: &Kind, room: &Conditions| {
        Prediction::new(&kind.bottle, fill, room).map_err(|error| Failure::cannot(what(), error))
    };
    let own = inputs::kind(&set.kinds, &kind.name, path)?;
    let (before, after) = (said(own, now)?, said(after, now)?);
    write_whole(path, text.as_bytes(), Overwrite::Yes)
        .map_err(|error| Failure::cannot(what(), error))?;
    let numbers = |p: &Prediction| {
        let plus_minus = p.uncertainty.plus_minus.cents();
        (rounded(p.note().frequency.hz(), 3), rounded(plus_minus, 1))
    };
    let ((before_hz, before_pm), (after_hz, after_pm)) = (numbers(&before), numbers(&after));
    Ok(Kept {
        bottle: kind.name.clone(),
        before_hz,
        before_plus_minus_cents: before_pm,
        after_hz,
        after_plus_minus_cents: after_pm,
    })
}

/// The file's text with one more pitch in the table of the bottle called `name`.
fn with_heard(
    source: &str,
    name: &str,
    fill: Volume,
    pitch: Frequency,
    now: &Conditions,
) -> Result<String, String> {
    let mut document: DocumentMut = source
        .parse()
        .map_err(|error: toml_edit::TomlError| error.to_string())?;
    let tables = document
        .get_mut("bottle")
        .and_then(Item::as_array_of_tables_mut)
        .ok_or("the bottles are not written as [[bottle]] tables")?;
    let table = tables
        .iter_mut()
        .find(|table| table.get("name").and_then(Item::as_str) == Some(name))
        .ok_or_else(|| format!("no [[bottle]] is called {name:?}"))?;
    let mut entry = InlineTable::new();
    entry.insert("fill_ml", rounded(fill.ml(), 2).into());
    entry.insert("hz", rounded(pitch.hz(), 3).into());
    entry.insert("temp_c", rounded(now.temperature().c(), 2).into());
    entry.insert("way", "blown".into());
    match table
        .entry("heard")
        .or_insert(Item::Value(Value::Array(Array::new())))
    {
        Item::Value(Value::Array(heard)) => heard.push(entry),
        Item::ArrayOfTables(heard) => heard.push(entry.into_table()),
        _ => return Err(format!("heard of {name:?} is not a list")),
    }
    Ok(document.to_string())
}
