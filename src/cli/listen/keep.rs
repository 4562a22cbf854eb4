//! Keeping what was heard: into the bottle's own table, comments and all.

use serde::Serialize;
use toml_edit::{Array, DocumentMut, InlineTable, Item, Value};

use super::aims::Aims;
use super::{ListenArgs, tapped};
use crate::cli::predict::rounded;
use crate::cli::{Failure, inputs};
use crate::file::atomic::{Overwrite, write_whole};
use crate::physics::conditions::Conditions;
use crate::physics::prediction::{Prediction, PredictionError};
use crate::physics::struck::Struck;
use crate::plan::calibrate_struck::CalibrateStruckError;
use crate::preset::{Kind, Way};
use crate::units::{Frequency, Volume};

/// A pitch so many times the ± away, and at least so many cents, is not kept: it is another bottle's, or another fill's.
const FAR: f64 = 3.0;
const LEAST_FAR_CENTS: f64 = 200.0;

/// What the fit says with and without what was heard.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Kept {
    bottle: String,
    before_hz: f64,
    before_plus_minus_cents: f64,
    after_hz: f64,
    after_plus_minus_cents: f64,
    /// Why the ± has become wider, if it has.
    #[serde(skip_serializing_if = "Option::is_none")]
    wider_because: Option<String>,
}

/// A pitch with its ±, and what its ± is made of.
struct Said {
    hz: f64,
    plus_minus_cents: f64,
    mostly: String,
}

impl Kept {
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

/// Appends a pitch to the `heard` of a bottle in the set's file, if the bottle can be fitted to it.
pub(super) fn keep(
    args: &ListenArgs,
    aims: &Aims<'_>,
    kind: &Kind,
    fill: Option<Volume>,
    pitch: Frequency,
    way: Way,
) -> Result<Kept, Failure> {
    let fill = fill.ok_or_else(|| {
        let because = "nobody said how much is in the bottle";
        Failure::bad("keep what was heard", because).or_try("--fill-ml with the millilitres in it")
    })?;
    let path = args.set.as_deref().expect("--keep requires --set");
    let what = || format!("keep what was heard in {}", path.display());
    let entry = entry(fill, pitch, &aims.now, way);
    let text = with_heard(&inputs::set_text(path)?, &kind.name, entry)
        .map_err(|because| Failure::cannot(what(), because))?;
    // Read back before it is written: a pitch that cannot be this bottle's must not spoil the file.
    let refitted = inputs::set_of(path, &text)?;
    let after = inputs::kind(&refitted.kinds, &kind.name, path)?;
    let said = |kind: &Kind| match way {
        Way::Struck => {
            struck(kind, fill, &aims.now).map_err(|error| Failure::cannot(what(), error))
        }
        _ => blown(kind, fill, &aims.now).map_err(|error| Failure::cannot(what(), error)),
    };
    let own = inputs::kind(&aims.set.kinds, &kind.name, path)?;
    let (before, after) = (said(own)?, said(after)?);
    // The fit would bend the bottle to almost anything; what is so far off is another bottle, or another fill.
    let off_cents = pitch.interval_above(Frequency::from_hz(before.hz)).cents();
    let limit_cents = (FAR * before.plus_minus_cents).max(LEAST_FAR_CENTS);
    if off_cents.abs() > limit_cents {
        let because = format!(
            "{:.2} Hz is {off_cents:+.0} cents from what {:?} gives with {:.1} ml in it; the limit is {limit_cents:.0} cents",
            pitch.hz(),
            kind.name,
            fill.ml()
        );
        return Err(Failure::cannot(what(), because)
            .or_try("--fill-ml with what is really in it, or --note with the right one"));
    }
    write_whole(path, text.as_bytes(), Overwrite::Yes)
        .map_err(|error| Failure::cannot(what(), error))?;
    let wider = after.plus_minus_cents > before.plus_minus_cents + 0.5;
    Ok(Kept {
        bottle: kind.name.clone(),
        before_hz: rounded(before.hz, 3),
        before_plus_minus_cents: rounded(before.plus_minus_cents, 1),
        after_hz: rounded(after.hz, 3),
        after_plus_minus_cents: rounded(after.plus_minus_cents, 1),
        wider_because: wider.then_some(after.mostly),
    })
}

fn blown(kind: &Kind, fill: Volume, room: &Conditions) -> Result<Said, PredictionError> {
    let prediction = Prediction::new(&kind.bottle, fill, room)?;
    let share = prediction.uncertainty.dominant();
    Ok(Said {
        hz: prediction.note().frequency.hz(),
        plus_minus_cents: prediction.uncertainty.plus_minus.cents(),
        mostly: format!(
            "{} counts ±{:.0} cents now that the bottle rests on what was heard; {}",
            share.what,
            share.plus_minus.cents(),
            share.remedy
        ),
    })
}

fn struck(kind: &Kind, fill: Volume, room: &Conditions) -> Result<Said, CalibrateStruckError> {
    let spec = tapped::spec(kind, room)?;
    let struck = Struck::new(&kind.bottle, spec)?;
    Ok(Said {
        hz: struck.note(fill)?.frequency.hz(),
        plus_minus_cents: struck.plus_minus().cents(),
        mostly: "it rests on fewer pitches than before".to_owned(),
    })
}

fn entry(fill: Volume, pitch: Frequency, now: &Conditions, way: Way) -> InlineTable {
    let mut entry = InlineTable::new();
    entry.insert("fill_ml", rounded(fill.ml(), 2).into());
    entry.insert("hz", rounded(pitch.hz(), 3).into());
    entry.insert("temp_c", rounded(now.temperature().c(), 2).into());
    let way = if way == Way::Struck {
        "struck"
    } else {
        "blown"
    };
    entry.insert("way", way.into());
    entry
}

/// The file's text with one more pitch in the table of the bottle called `name`.
fn with_heard(source: &str, name: &str, entry: InlineTable) -> Result<String, String> {
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
