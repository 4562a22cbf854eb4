//! What was heard from a bottle, in its own table.

use std::ops::Range;

use toml_edit::{Array, InlineTable, Item, TableLike, Value, value};

use super::{EditError, FINE_DIGITS, GAUGE_DIGITS, USUAL_DIGITS};
use crate::number::rounded;
use crate::set::{HeardPitch, Way};
use crate::units::Temperature;

/// The key in a bottle's table.
const HEARD: &str = "heard";

impl HeardPitch {
    /// The same with the temperature noted, to the digits that a file has of it: that of `room` if there was none.
    #[must_use]
    pub fn noted(self, room: Temperature) -> Self {
        let temp_c = self.temp_c.unwrap_or(room.c());
        Self {
            temp_c: Some(rounded(temp_c, USUAL_DIGITS)),
            ..self
        }
    }
}

/// One pitch as it is written.
fn entry(heard: &HeardPitch) -> InlineTable {
    let mut entry = InlineTable::new();
    let fill_ml = rounded(heard.fill.ml(), USUAL_DIGITS);
    entry.insert("fill_ml", fill_ml.into());
    if heard.way == Way::Pressurised {
        let gauge_bar = rounded(heard.gauge.bar(), GAUGE_DIGITS);
        entry.insert("gauge_bar", gauge_bar.into());
    }
    let hz = rounded(heard.frequency.hz(), FINE_DIGITS);
    entry.insert("hz", hz.into());
    if let Some(temp_c) = heard.temp_c {
        entry.insert("temp_c", rounded(temp_c, USUAL_DIGITS).into());
    }
    entry.insert("way", heard.way.name().into());
    entry
}

/// Appends a pitch to a bottle's table.
pub(super) fn push(bottle: &mut dyn TableLike, heard: &HeardPitch) -> Result<(), EditError> {
    let entry = entry(heard);
    match bottle
        .entry(HEARD)
        .or_insert(Item::Value(Value::Array(Array::new())))
    {
        Item::Value(Value::Array(list)) => list.push(entry),
        Item::ArrayOfTables(list) => list.push(entry.into_table()),
        _ => return Err(EditError::Form { name: HEARD }),
    }
    Ok(())
}

/// Writes how warm it was beside the pitch at `index` of a bottle's table.
pub(super) fn note_warmth(
    bottle: &mut dyn TableLike,
    index: usize,
    heard: &HeardPitch,
) -> Result<(), EditError> {
    let Some(temp_c) = heard.temp_c else {
        return Ok(());
    };
    let form = EditError::Form { name: HEARD };
    match bottle.get_mut(HEARD) {
        Some(Item::Value(Value::Array(list))) => {
            let entry = list.get_mut(index).and_then(Value::as_inline_table_mut);
            let entry = entry.ok_or(form)?;
            entry.insert("temp_c", temp_c.into());
            // There is no room for a comment in it.
            entry.fmt();
        }
        Some(Item::ArrayOfTables(list)) => {
            let entry = list.get_mut(index).ok_or(form)?;
            entry.insert("temp_c", value(temp_c));
        }
        _ => return Err(form),
    }
    Ok(())
}

/// Replaces the last pitches of a bottle's table, which are at `old`, by `new`.
pub(super) fn replace(
    bottle: &mut dyn TableLike,
    old: Range<usize>,
    new: &[HeardPitch],
) -> Result<(), EditError> {
    let is_empty = old.start == 0 && new.is_empty();
    for index in old.rev() {
        match bottle.get_mut(HEARD) {
            Some(Item::Value(Value::Array(list))) => {
                list.remove(index);
            }
            Some(Item::ArrayOfTables(list)) => {
                list.remove(index);
            }
            _ => return Err(EditError::Form { name: HEARD }),
        }
    }
    for pitch in new {
        push(bottle, pitch)?;
    }
    if is_empty {
        bottle.remove(HEARD);
    }
    Ok(())
}
