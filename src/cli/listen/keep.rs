//! Keeping what was heard: into the bottle's own table, comments and all.

use serde::Serialize;
use toml_edit::{Array, DocumentMut, InlineTable, Item, TableLike, Value};

use super::aims::Aims;
use super::{ListenArgs, tapped};
use crate::cli::{Failure, inputs};
use crate::file::atomic::{Overwrite, write_whole};
use crate::fit::wall::CalibrateStruckError;
use crate::number::rounded;
use crate::physics::conditions::Conditions;
use crate::physics::prediction::{Prediction, PredictionError};
use crate::physics::struck::Struck;
use crate::set::{self, HeardPitch, Kind, Way};
use crate::units::{Frequency, Pressure, Volume};

/// A pitch so many times the ± away, and at least so many cents, is not kept: it is another bottle's, or another fill's.
const FAR: f64 = 3.0;
const LEAST_FAR_CENTS: f64 = 200.0;

/// How far a pitch may be from what was predicted within `plus_minus_cents`, and still be kept, cents: a fit would bend the
/// bottle to almost anything, and what is so far off is another bottle, or another fill.
pub(crate) fn farthest_cents(plus_minus_cents: f64) -> f64 {
    (FAR * plus_minus_cents).max(LEAST_FAR_CENTS)
}

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
    let entry = entry(&heard_now(fill, pitch, &aims.now, way));
    let text = with_heard(&set::file_text(path)?, &kind.name, entry)
        .map_err(|because| Failure::cannot(what(), because))?;
    // Read back before it is written: a pitch that cannot be this bottle's must not spoil the file.
    let refitted = set::open_text(path, &text)?;
    let after = inputs::kind(&refitted.kinds, &kind.name, path)?;
    let said = |kind: &Kind| match way {
        Way::Struck => {
            struck(kind, fill, &aims.now).map_err(|error| Failure::cannot(what(), error))
        }
        _ => blown(kind, fill, &aims.now).map_err(|error| Failure::cannot(what(), error)),
    };
    let own = inputs::kind(&aims.set.kinds, &kind.name, path)?;
    let (before, after) = (said(own)?, said(after)?);
    let off_cents = pitch.interval_above(Frequency::from_hz(before.hz)).cents();
    let limit_cents = farthest_cents(before.plus_minus_cents);
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

/// What is kept of a pitch heard in the room of `now`, with the digits that a file has.
pub(crate) fn heard_now(fill: Volume, pitch: Frequency, now: &Conditions, way: Way) -> HeardPitch {
    HeardPitch {
        fill: Volume::from_ml(rounded(fill.ml(), 2)),
        frequency: Frequency::from_hz(rounded(pitch.hz(), 3)),
        temp_c: Some(rounded(now.temperature().c(), 2)),
        way,
        gauge: Pressure::default(),
    }
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
