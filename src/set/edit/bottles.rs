//! Bottles and notes put into a text, changed there and taken out, everything else as its owner wrote it.

use serde::Deserialize;
use toml_edit::{ArrayOfTables, DocumentMut, Item, Table, TableLike, Value};

use super::{EditError, put};
use crate::index::PourIndex;
use crate::set::SetError;
use crate::set::describe::{shelf_of, with_bottle};
use crate::set::read::parse;
use crate::set::written::Bottle;
use crate::sounding::Way;

/// The settings of a pour, which belong to its bottle and its way.
const SETTINGS: [&str; 5] = ["fill_ml", "gauge_bar", "travel_mm", "joined", "lift_mm"];

/// A change of which bottles or notes there are.
#[derive(Clone, Debug)]
pub enum Restructure {
    /// A bottle more, behind the last.
    AddBottle(Box<Bottle>),
    /// The bottle of this name is this one now, which may have another name.
    PutBottle(String, Box<Bottle>),
    /// The bottle of this name is gone, and so are its notes.
    RemoveBottle(String),
    /// The same note once more, behind it.
    DuplicatePour(PourIndex),
    /// A note less.
    RemovePour(PourIndex),
    /// A note gets another kind of bottle; what is in it is to be worked out.
    PourInto(PourIndex, String),
    /// A note is sounded another way; what it is set to is to be worked out.
    PourWay(PourIndex, Way),
}

/// The bottles in a text as they are written, whatever else is in it; none in an empty one.
///
/// ```
/// let shelf = std::fs::read_to_string("presets/quay/shelf.toml")?;
/// assert!(ullage::set::edit::bottles(&shelf)?.iter().any(|bottle| bottle.name == "cordial"));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// [`EditError::Read`].
pub fn bottles(text: &str) -> Result<Vec<Bottle>, EditError> {
    #[derive(Deserialize)]
    struct Bottles {
        #[serde(default)]
        bottle: Vec<Bottle>,
    }
    match parse::<Bottles>(text) {
        Ok(shelf) => Ok(shelf.bottle),
        Err(SetError::Empty) => Ok(Vec::new()),
        Err(error) => Err(EditError::Read(Box::new(error))),
    }
}

/// `text` with `change` made in it, comments and all. It is not read back: a set without bottles is no set.
///
/// # Errors
/// [`EditError`]: no such bottle or pour, or something that is not written as a list of tables.
pub fn restructured(text: &str, change: &Restructure) -> Result<String, EditError> {
    if let Restructure::AddBottle(bottle) = change {
        return added(text, bottle);
    }
    let has_returns = text.contains("\r\n");
    let mut document: DocumentMut = text.parse()?;
    match change {
        Restructure::AddBottle(_) => {}
        Restructure::PutBottle(name, bottle) => put_bottle(&mut document, name, bottle)?,
        Restructure::RemoveBottle(name) => remove_bottle(&mut document, name)?,
        Restructure::DuplicatePour(pour) => {
            let pours = pours(&mut document, *pour)?;
            let copy = row(pours, *pour).clone();
            let place = pour.place() + 1;
            insert(pours, place, copy);
        }
        Restructure::RemovePour(pour) => {
            pours(&mut document, *pour)?.remove(pour.place());
        }
        Restructure::PourInto(pour, bottle) => {
            let table = pours(&mut document, *pour)?.get_mut(pour.place());
            let table = table.ok_or(EditError::Form { name: "pour" })?;
            put(table, "bottle", bottle.as_str());
            unset(table);
        }
        Restructure::PourWay(pour, way) => {
            let table = pours(&mut document, *pour)?.get_mut(pour.place());
            let table = table.ok_or(EditError::Form { name: "pour" })?;
            put(table, "way", way.name());
            unset(table);
        }
    }
    let text = document.to_string();
    Ok(if has_returns && !text.contains("\r\n") {
        text.replace('\n', "\r\n")
    } else {
        text
    })
}

/// A bottle more: behind the other bottles, before the notes.
fn added(text: &str, bottle: &Bottle) -> Result<String, EditError> {
    let mut document: DocumentMut = text.parse()?;
    let alone: DocumentMut = shelf_of(bottle)?.parse()?;
    let new = alone.get("bottle").and_then(Item::as_array_of_tables);
    let mut new = new
        .and_then(|tables| tables.get(0))
        .cloned()
        .ok_or(EditError::Form { name: "bottle" })?;
    let Some(Item::ArrayOfTables(tables)) = document.get_mut("bottle") else {
        return match document.get("bottle") {
            None | Some(Item::None) => Ok(with_bottle(text, bottle)?),
            Some(_) => Err(EditError::Form { name: "bottle" }),
        };
    };
    new.decor_mut().set_prefix("\n");
    new.set_position(None);
    tables.push(new);
    Ok(document.to_string())
}

/// Puts what has changed of a bottle in its place, and its new name wherever the old one stands.
fn put_bottle(document: &mut DocumentMut, name: &str, bottle: &Bottle) -> Result<(), EditError> {
    let alone: DocumentMut = shelf_of(bottle)?.parse()?;
    let new = alone.get("bottle").and_then(Item::as_array_of_tables);
    let new = new
        .and_then(|tables| tables.get(0))
        .ok_or(EditError::Form { name: "bottle" })?;
    let old = table_of(document, name)?;
    let gone: Vec<String> = old
        .iter()
        .map(|(key, _)| key.to_owned())
        .filter(|key| !new.contains_key(key))
        .collect();
    for key in gone {
        old.remove(&key);
    }
    for (key, item) in new {
        match (old.get(key), item) {
            (Some(before), now) if is_same(before, now) => {}
            (_, Item::Value(value)) => put(old, key, value.clone()),
            (_, other) => {
                old.insert(key, other.clone());
            }
        }
    }
    if bottle.name != name {
        rename(document, name, &bottle.name);
    }
    Ok(())
}

/// Whether two items say the same, however they are written.
fn is_same(a: &Item, b: &Item) -> bool {
    let number = |item: &Item| {
        let float = item.as_float();
        float.or_else(|| item.as_integer().map(|n| n as f64))
    };
    match (number(a), number(b)) {
        (Some(a), Some(b)) => a == b,
        _ => a.to_string().trim() == b.to_string().trim() || entries(a) == entries(b),
    }
}

/// Rows of a list as plain text, whether it is written in one line or as tables.
fn entries(item: &Item) -> Option<Vec<String>> {
    let plain = |table: &dyn TableLike| {
        let entry = |(key, item): (&str, &Item)| format!("{key}={}", item.to_string().trim());
        table.iter().map(entry).collect::<Vec<_>>().join(",")
    };
    match item {
        Item::ArrayOfTables(tables) => Some(tables.iter().map(|t| plain(t)).collect()),
        Item::Value(Value::Array(list)) => list
            .iter()
            .map(|value| value.as_inline_table().map(|t| plain(t)))
            .collect(),
        _ => None,
    }
}

fn rename(document: &mut DocumentMut, old: &str, new: &str) {
    for (list, keys) in [("pour", &["bottle"][..]), ("joined", &["first", "second"])] {
        let tables = document
            .get_mut(list)
            .and_then(Item::as_array_of_tables_mut);
        for table in tables.into_iter().flat_map(ArrayOfTables::iter_mut) {
            for key in keys {
                if table.get(key).and_then(Item::as_str) == Some(old) {
                    put(table, key, new);
                }
            }
        }
    }
}

fn remove_bottle(document: &mut DocumentMut, name: &str) -> Result<(), EditError> {
    table_of(document, name)?;
    let is_it = |table: &Table, key: &str| table.get(key).and_then(Item::as_str) == Some(name);
    let mut retain = |list: &str, keys: &'static [&'static str]| {
        let tables = document
            .get_mut(list)
            .and_then(Item::as_array_of_tables_mut);
        if let Some(tables) = tables {
            tables.retain(|table| !keys.iter().any(|key| is_it(table, key)));
        }
    };
    retain("bottle", &["name"]);
    retain("pour", &["bottle"]);
    retain("joined", &["first", "second"]);
    Ok(())
}

fn table_of<'a>(document: &'a mut DocumentMut, name: &str) -> Result<&'a mut Table, EditError> {
    let tables = document
        .get_mut("bottle")
        .and_then(Item::as_array_of_tables_mut)
        .ok_or(EditError::Form { name: "bottle" })?;
    tables
        .iter_mut()
        .find(|table| table.get("name").and_then(Item::as_str) == Some(name))
        .ok_or_else(|| EditError::NoSuchBottle {
            name: name.to_owned(),
        })
}

/// The notes, of which `pour` is one.
fn pours(document: &mut DocumentMut, pour: PourIndex) -> Result<&mut ArrayOfTables, EditError> {
    let pours = document
        .get_mut("pour")
        .and_then(Item::as_array_of_tables_mut)
        .ok_or(EditError::Form { name: "pour" })?;
    if pour.place() < pours.len() {
        Ok(pours)
    } else {
        let (index, count) = (pour, pours.len());
        Err(EditError::NoSuchPour { index, count })
    }
}

fn row(pours: &ArrayOfTables, pour: PourIndex) -> &Table {
    pours.get(pour.place()).expect("it was looked for before")
}

/// Puts a table at a place of a list.
fn insert(tables: &mut ArrayOfTables, place: usize, table: Table) {
    let mut all: Vec<Table> = tables.iter().cloned().collect();
    all.insert(place.min(all.len()), table);
    tables.clear();
    for mut table in all {
        // In the order of the list, and not where it stood before.
        table.set_position(None);
        tables.push(table);
    }
}

/// Forgets what a pour is set to.
fn unset(table: &mut Table) {
    for key in SETTINGS {
        table.remove(key);
    }
}
