//! Bottles and notes put into a text, changed there and taken out, everything else as its owner wrote it.

use serde::Deserialize;
use toml_edit::{ArrayOfTables, DocumentMut, Item, Table};

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
    let plain = restructured_plain(text, change)?;
    let has_returns = text.contains("\r\n") && !plain.contains("\r\n");
    Ok(if has_returns {
        plain.replace('\n', "\r\n")
    } else {
        plain
    })
}

fn restructured_plain(text: &str, change: &Restructure) -> Result<String, EditError> {
    if let Restructure::AddBottle(bottle) = change {
        return added(text, bottle);
    }
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
    Ok(document.to_string())
}

/// A bottle more: behind the other bottles, before the notes.
fn added(text: &str, bottle: &Bottle) -> Result<String, EditError> {
    let mut document: DocumentMut = text.parse()?;
    let mut new = normal(bottle)?;
    let Some(Item::ArrayOfTables(tables)) = document.get_mut("bottle") else {
        return match document.get("bottle") {
            None | Some(Item::None) => Ok(with_bottle(text, bottle)?),
            Some(_) => Err(EditError::Form { name: "bottle" }),
        };
    };
    let lists = new.iter().filter(|(_, item)| item.is_array_of_tables());
    let lists: Vec<String> = lists.map(|(key, _)| key.to_owned()).collect();
    for key in lists {
        // In one line, so that a bottle stays one table.
        if let Some(Ok(value)) = new.remove(&key).map(Item::into_value) {
            new.insert(&key, Item::Value(value));
        }
    }
    new.decor_mut().set_prefix("\n");
    new.set_position(None);
    tables.push(new);
    Ok(document.to_string())
}

/// Puts what has changed of a bottle in its place, and its new name wherever the old one stands.
fn put_bottle(document: &mut DocumentMut, name: &str, bottle: &Bottle) -> Result<(), EditError> {
    let before = bottles(&document.to_string())?;
    let before = before.iter().find(|bottle| bottle.name == name);
    let before = before.ok_or_else(|| EditError::NoSuchBottle {
        name: name.to_owned(),
    })?;
    // Both as one writer has them: what differs then has changed, however it was written.
    let (before, now) = (normal(before)?, normal(bottle)?);
    let table = table_of(document, name)?;
    for (key, _) in before.iter().filter(|(key, _)| !now.contains_key(key)) {
        table.remove(key);
    }
    for (key, item) in &now {
        let is_same = before
            .get(key)
            .is_some_and(|old| old.to_string() == item.to_string());
        if is_same {
            continue;
        }
        // Lists of tables go into one line, so that a bottle stays one table.
        let value = item.clone().into_value();
        put(
            table,
            key,
            value.map_err(|_| EditError::Form { name: "bottle" })?,
        );
    }
    if bottle.name != name {
        rename(document, name, &bottle.name);
    }
    Ok(())
}

/// A bottle's table as the writer of TOML has it.
fn normal(bottle: &Bottle) -> Result<Table, EditError> {
    let alone: DocumentMut = shelf_of(bottle)?.parse()?;
    let tables = alone.get("bottle").and_then(Item::as_array_of_tables);
    let table = tables.and_then(|tables| tables.get(0)).cloned();
    table.ok_or(EditError::Form { name: "bottle" })
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

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;
    use crate::set::read_set;

    const TEXT: &str = "# ours\n[[bottle]] # tall\nname = \"a\"\ncount = 2\ncapacity_ml = 500 # weighed\nmouth_bore_mm = 18\n\
        neck_length_mm = 60\nbody_diameter_mm = 66\nheard = [{ fill_ml = 0, hz = 145 }]\n\n[[pour]] # first\nnote = \"A3\"\n\
        bottle = \"a\" # by the door\nfill_ml = 200.0 # by hand\n";

    fn of(text: &str) -> Bottle {
        bottles(text).unwrap().swap_remove(0)
    }

    #[test]
    fn a_bottle_that_is_put_back_as_it_was_changes_no_byte() {
        let put = Restructure::PutBottle("a".to_owned(), Box::new(of(TEXT)));
        assert_eq!(restructured(TEXT, &put).unwrap(), TEXT);
    }

    #[test]
    fn only_what_changes_of_a_bottle_is_written() {
        let mut bottle = of(TEXT);
        bottle.name = "b".to_owned();
        bottle.neck_length_mm = Some(61.5);
        bottle.count = None;
        let put = Restructure::PutBottle("a".to_owned(), Box::new(bottle));
        let wanted = TEXT
            .replace("name = \"a\"", "name = \"b\"")
            .replace("bottle = \"a\"", "bottle = \"b\"")
            .replace("= 60", "= 61.5")
            .replace("count = 2\n", "");
        assert_eq!(restructured(TEXT, &put).unwrap(), wanted);
    }

    #[test]
    fn a_bottle_more_stands_behind_the_others_and_before_the_notes() {
        let mut bottle = of(TEXT);
        bottle.name = "b".to_owned();
        let text = restructured(TEXT, &Restructure::AddBottle(Box::new(bottle))).unwrap();
        let set = read_set(&text).unwrap();
        let names: Vec<&str> = set.kinds.iter().map(|kind| kind.name.as_str()).collect();
        assert_eq!(names, ["a", "b"]);
        assert_eq!(set.kinds[1].heard, set.kinds[0].heard);
        assert!(
            text.find("\"b\"").unwrap() < text.find("[[pour]]").unwrap(),
            "{text}"
        );
        let gone = restructured(&text, &Restructure::RemoveBottle("b".to_owned())).unwrap();
        assert_eq!(read_set(&gone).unwrap(), read_set(TEXT).unwrap());
        let none = restructured(TEXT, &Restructure::RemoveBottle("a".to_owned())).unwrap();
        assert!(
            !none.contains("[[pour]]") && bottles(&none).unwrap().is_empty(),
            "{none}"
        );
    }

    #[test]
    fn notes_are_duplicated_removed_and_given_other_ways() {
        let first = PourIndex::new(0);
        let two = restructured(TEXT, &Restructure::DuplicatePour(first)).unwrap();
        assert_eq!(read_set(&two).unwrap().pours.len(), 2);
        let one = restructured(&two, &Restructure::RemovePour(PourIndex::new(1))).unwrap();
        assert_eq!(read_set(&one).unwrap(), read_set(TEXT).unwrap());
        let struck = restructured(TEXT, &Restructure::PourWay(first, Way::Struck)).unwrap();
        let pour = &read_set(&struck).unwrap().pours[0];
        assert_eq!((pour.way, pour.fill), (Way::Struck, None));
        assert!(restructured(TEXT, &Restructure::RemovePour(PourIndex::new(1))).is_err());
    }

    #[test]
    fn lines_end_as_they_did() {
        let text = TEXT.replace('\n', "\r\n");
        let put = Restructure::PutBottle("a".to_owned(), Box::new(of(TEXT)));
        assert_eq!(restructured(&text, &put).unwrap(), text);
    }
}
