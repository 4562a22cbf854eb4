//! What was heard from a bottle, in its own table.

use toml_edit::{Array, InlineTable, Item, TableLike, Value};

use super::{EditError, FINE_DIGITS, GAUGE_DIGITS, USUAL_DIGITS};
use crate::number::rounded;
use crate::set::{HeardPitch, Way};

/// The key in a bottle's table.
const HEARD: &str = "heard";

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

/// Replaces `before`, which is what a bottle's table has, by `now`: from the first that differs.
pub(super) fn replace(
    bottle: &mut dyn TableLike,
    before: &[HeardPitch],
    now: &[HeardPitch],
) -> Result<(), EditError> {
    let same = before.iter().zip(now).take_while(|(a, b)| a == b).count();
    for index in (same..before.len()).rev() {
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
    for pitch in &now[same..] {
        push(bottle, pitch)?;
    }
    if now.is_empty() {
        bottle.remove(HEARD);
    }
    Ok(())
}
