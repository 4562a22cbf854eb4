//! Where in a file its mistakes stand, and all of them at once.

use std::ops::Range;

use toml_edit::{Document, Item, Table, TableLike, Value};

use super::error::{Mistake, SetError};
use super::place::Place;

/// What is wrong with `text`: one thing as it is, several with their places.
pub(super) fn one_or_all(text: &str, mut wrong: Vec<SetError>) -> SetError {
    match wrong.pop() {
        Some(only) if wrong.is_empty() => only,
        Some(last) => {
            wrong.push(last);
            all(text, wrong)
        }
        None => SetError::Empty,
    }
}

/// The same error with its place in `text`, if it has one.
pub(super) fn placed(text: &str, error: SetError) -> SetError {
    let place = Document::parse(text)
        .ok()
        .and_then(|document| span(document.as_table(), &error))
        .and_then(|span| Place::of(text, &span));
    match place {
        Some(place) => SetError::Mistakes {
            all: vec![Mistake {
                source: error,
                place: Some(place),
            }],
        },
        None => error,
    }
}

fn all(text: &str, wrong: Vec<SetError>) -> SetError {
    let document = Document::parse(text).ok();
    let place = |error: &SetError| {
        let span = span(document.as_ref()?.as_table(), error)?;
        Place::of(text, &span)
    };
    let mut all: Vec<Mistake> = wrong
        .into_iter()
        .map(|source| Mistake {
            place: place(&source),
            source,
        })
        .collect();
    all.sort_by_key(|mistake| mistake.place.as_ref().map(|p| (p.line, p.column)));
    SetError::Mistakes { all }
}

/// The same text with blanks for the key and the value that `at` lies in, so that everything else stays in its place; nothing
/// where the text is no TOML, or no key has it.
pub(super) fn without(text: &str, at: &Range<usize>) -> Option<String> {
    let document = Document::parse(text).ok()?;
    blanked(text, &around(document.as_table(), at)?)
}

/// The same without the whole table of a list, such as one `[[pour]]`, that `at` lies in.
pub(super) fn without_row(text: &str, at: &Range<usize>) -> Option<String> {
    let document = Document::parse(text).ok()?;
    let lists = document
        .iter()
        .filter_map(|(_, item)| item.as_array_of_tables());
    let mut rows = lists.flat_map(|list| list.iter()).filter_map(row_span);
    blanked(
        text,
        &rows.find(|row| row.start <= at.start && at.start < row.end)?,
    )
}

/// From a table's brackets to the end of its last value.
fn row_span(table: &Table) -> Option<Range<usize>> {
    let head = table.span()?;
    let values = table.iter().filter_map(|(_, item)| item.span());
    let end = values.map(|span| span.end).fold(head.end, usize::max);
    Some(head.start..end)
}

fn blanked(text: &str, part: &Range<usize>) -> Option<String> {
    let blank_of = |c: char| match c {
        '\n' => "\n".to_owned(),
        _ => " ".repeat(c.len_utf8()),
    };
    let blank: String = text.get(part.clone())?.chars().map(blank_of).collect();
    Some([text.get(..part.start)?, &blank, text.get(part.end..)?].concat())
}

/// From the key to the end of the value, of the innermost that has `at` in its key or its value.
fn around(table: &dyn TableLike, at: &Range<usize>) -> Option<Range<usize>> {
    let inside = |item: &Item| match item {
        Item::Table(table) => around(table, at),
        Item::None | Item::Value(_) => None,
        Item::ArrayOfTables(tables) => tables.iter().find_map(|table| around(table, at)),
    };
    table.iter().find_map(|(key, item)| {
        inside(item).or_else(|| {
            // Tables in brackets are not taken out whole: too much would go with them.
            let is_value = item.is_value();
            let whole = of_key(table, key).filter(|_| is_value)?;
            (whole.start <= at.start && at.end <= whole.end).then_some(whole)
        })
    })
}

/// What of the file a mistake is about.
fn span(root: &Table, error: &SetError) -> Option<Range<usize>> {
    match error {
        SetError::Version { .. } => of_key(root, "version"),
        SetError::Transpose { .. } => of_key(root, "transpose"),
        SetError::Unnamed { number } => of_row(root, "bottle", number.checked_sub(1)?, "name"),
        SetError::SameName { name } => {
            let second = named(root, "bottle", name).nth(1)?;
            of_row(root, "bottle", second, "name")
        }
        SetError::Bottle { name, source } => {
            let index = named(root, "bottle", name).next()?;
            of_row(root, "bottle", index, &source.to_string())
        }
        SetError::Value { name, source } => {
            let index = named(root, "bottle", name).next()?;
            of_row(root, "bottle", index, &source.to_string())
        }
        SetError::TooFewBottles { bottle, .. } => {
            let index = named(root, "bottle", bottle).next()?;
            of_row(root, "bottle", index, "count")
        }
        SetError::Note { number, .. } => of_row(root, "pour", number.checked_sub(1)?, "note"),
        SetError::NoSuchBottle { number, .. } => {
            of_row(root, "pour", number.checked_sub(1)?, "bottle")
        }
        SetError::Fill { number, .. } => of_row(root, "pour", number.checked_sub(1)?, "fill_ml"),
        SetError::Pour { number, source, .. } => {
            of_row(root, "pour", number.checked_sub(1)?, &source.to_string())
        }
        SetError::Pair { name, source } => {
            let index = named(root, "joined", name).next()?;
            of_row(root, "joined", index, &source.to_string())
        }
        SetError::LipOpen { .. } => in_table(root, "filling", "lip_open"),
        SetError::Listening(_) => in_table(root, "room", "distance_m"),
        SetError::Striking { key, .. } => in_table(root, "striking", key),
        // The reader has shown where, or it is about the whole file.
        SetError::Toml { .. }
        | SetError::Empty
        | SetError::TooMany { .. }
        | SetError::Fit { .. }
        | SetError::Conditions(_)
        | SetError::Mistakes { .. } => None,
    }
}

/// The places in a list of tables of those called `name`.
fn named<'a>(root: &'a Table, list: &'static str, name: &'a str) -> impl Iterator<Item = usize> {
    (0..)
        .map_while(move |index| row(root, list, index))
        .enumerate()
        .filter(move |(_, table)| table.get("name").and_then(Item::as_str) == Some(name))
        .map(|(index, _)| index)
}

/// One table of a list, whether it is written as `[[list]]` or as `list = [{ … }]`.
fn row<'a>(root: &'a Table, list: &str, index: usize) -> Option<&'a dyn TableLike> {
    match root.get(list)? {
        Item::ArrayOfTables(tables) => tables.get(index).map(|table| table as &dyn TableLike),
        Item::Value(Value::Array(rows)) => {
            let table = rows.get(index)?.as_inline_table()?;
            Some(table as &dyn TableLike)
        }
        Item::None | Item::Value(_) | Item::Table(_) => None,
    }
}

/// The key of a row that `message` speaks of first, else its name or its first one.
fn of_row(root: &Table, list: &str, index: usize, message: &str) -> Option<Range<usize>> {
    let table = row(root, list, index)?;
    let is_of_word = |c: char| c.is_ascii_alphanumeric() || c == '_';
    let mut words = message.split(|c: char| !is_of_word(c));
    let spoken_of = words.find(|word| !word.is_empty() && table.contains_key(word));
    let first = table.iter().next().map(|(key, _)| key);
    let name = table.contains_key("name").then_some("name");
    of_key(table, spoken_of.or(name).or(first)?)
}

fn in_table(root: &Table, table: &str, key: &str) -> Option<Range<usize>> {
    of_key(root.get(table)?.as_table_like()?, key)
}

/// From a key to the end of its value.
fn of_key(table: &dyn TableLike, key: &str) -> Option<Range<usize>> {
    let (key, value) = table.get_key_value(key)?;
    let from = key.span()?;
    let to = value.span().map_or(from.end, |value| value.end);
    Some(from.start..to.max(from.end))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::super::{SetError, read_set, read_shelf};

    const JAR: &str =
        "capacity_ml = 500\nmouth_bore_mm = 18\nneck_length_mm = 60\nbody_diameter_mm = 66\n";

    #[test]
    fn every_bottle_and_every_pour_that_is_wrong_is_shown_where_it_stands() {
        let text = format!(
            "version = 1\n[[bottle]]\nname = \"jar\"\n{JAR}[[bottle]]\nname = \"tin\"\nmaterial = \"tinn\"\n{JAR}\
             [[bottle]]\nname = \"jug\"\ncount = 0\n{JAR}[[pour]]\nnote = \"C4\"\nbottle = \"jra\"\n\
             [[pour]]\nnote = \"H4\"\nbottle = \"jar\"\n[[pour]]\nnote = \"D4\"\nbottle = \"tin\"\n"
        );
        let error = read_set(&text).unwrap_err();
        let SetError::Mistakes { all } = &error else {
            panic!("{error}");
        };
        let line_of = |wanted: &str| 1 + text.lines().position(|line| line == wanted).unwrap();
        let lines: Vec<usize> = all.iter().map(|m| m.place.as_ref().unwrap().line).collect();
        // What is poured into a bottle that is wrong itself is not complained about.
        let wanted = [
            "material = \"tinn\"",
            "count = 0",
            "bottle = \"jra\"",
            "note = \"H4\"",
        ];
        assert_eq!(lines, wanted.map(line_of), "{error}");
        let said = error.to_string();
        assert!(
            said.contains("| count = 0\n   | ^^^^^^^^^\nbottle \"jug\": count = 0 is outside"),
            "{said}"
        );
    }

    #[test]
    fn every_key_and_value_that_cannot_be_is_shown_and_nothing_that_follows_from_them() {
        let text = "version = 1\n[[bottle]]\nname = \"jar\"\ncapacity_ml = \"twelve\"\nheigth_mm = 20\n\
                    mouth_bore_mm = 18\n[room]\ntemp = 3\n[[pour]]\nnote = 5\nbottle = \"jar\"\n";
        let said = read_set(text).unwrap_err().to_string();
        let lines = said
            .lines()
            .filter(|line| line.starts_with("TOML parse error"));
        assert_eq!(lines.count(), 4, "{said}");
        for words in [
            "did you mean `height_mm`?",
            "did you mean `temp_c`?",
            "capacity_ml = \"twelve\"",
            "note = 5",
        ] {
            assert!(said.contains(words), "no {words:?}: {said}");
        }
    }

    #[test]
    fn one_mistake_is_what_it_is() {
        let text = format!("[[bottle]]\nname = \"jar\"\ncount = 0\n{JAR}");
        let error = read_shelf(&text).unwrap_err();
        assert!(matches!(error, SetError::Value { .. }), "{error}");
        let placed = super::placed(&text, error).to_string();
        assert!(
            placed.starts_with("line 3, column 1\n  |\n3 | count = 0\n  | ^^^^^^^^^\n"),
            "{placed}"
        );
    }

    #[test]
    fn letters_of_several_bytes_do_not_move_the_caret() {
        let text = format!(
            "# 瓶\nbottle = [{{ name = \"瓶\", count = 0, {} }}]\n",
            JAR.trim_end().replace('\n', ", ")
        );
        let error = read_shelf(&text).unwrap_err();
        let said = super::placed(&text, error).to_string();
        let mut lines = said.lines().skip(2);
        let (shown, carets) = (lines.next().unwrap(), lines.next().unwrap());
        let at = shown.chars().position(|c| c == 'c').unwrap();
        assert_eq!(carets.chars().position(|c| c == '^'), Some(at), "{said}");
    }
}
