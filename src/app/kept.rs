//! What was heard from the bottles, into the text of a set's file and out of it again.

use toml_edit::{DocumentMut, Item, Value};

use crate::cli::listen::keep::{bottle, entry, push};
use crate::set::{HeardPitch, Set, read_set};

/// The text of a set with `heard`, one list a kind, in place of what it has.
pub(super) fn written(source: &str, heard: &[Vec<HeardPitch>]) -> Result<String, String> {
    let mut document: DocumentMut = source
        .parse()
        .map_err(|error: toml_edit::TomlError| error.to_string())?;
    let before = read_set(source).map_err(|error| error.to_string())?;
    write(&mut document, &before, heard)?;
    Ok(document.to_string())
}

/// Puts `heard` into a document that says `before`: what both have in common stays as it is written.
pub(super) fn write(
    document: &mut DocumentMut,
    before: &Set,
    heard: &[Vec<HeardPitch>],
) -> Result<(), String> {
    for (kind, now) in before.kinds.iter().zip(heard) {
        let same = kind.heard.iter().zip(now).take_while(|(a, b)| a == b);
        let same = same.count();
        if same == kind.heard.len() && same == now.len() {
            continue;
        }
        let table = bottle(document, &kind.name)?;
        for index in (same..kind.heard.len()).rev() {
            match table.get_mut("heard") {
                Some(Item::Value(Value::Array(list))) => {
                    list.remove(index);
                }
                Some(Item::ArrayOfTables(list)) => {
                    list.remove(index);
                }
                _ => return Err(format!("heard of {:?} is not a list", kind.name)),
            }
        }
        for pitch in &now[same..] {
            push(table, &kind.name, entry(pitch))?;
        }
        if now.is_empty() {
            table.remove("heard");
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::set::Way;
    use crate::units::{Frequency, Pressure, Volume};

    const TEXT: &str = "# ours\n[[bottle]] # mine\nname = \"a\"\ncount = 2\ncapacity_ml = 500\nmouth_bore_mm = 18\n\
        neck_length_mm = 60\nbody_diameter_mm = 66 # by calliper\nheard = [\n    { fill_ml = 0, hz = 150 }, # at noon\n]\n\
        [[pour]]\nnote = \"A3\"\nbottle = \"a\"\nfill_ml = 200.0 # by hand\n";

    fn heard() -> Vec<Vec<HeardPitch>> {
        let kinds = read_set(TEXT).expect("a set").kinds;
        kinds.into_iter().map(|kind| kind.heard).collect()
    }

    #[test]
    fn a_pitch_that_is_kept_and_taken_back_leaves_the_comments() {
        let mut more = heard();
        more[0].push(HeardPitch {
            fill: Volume::from_ml(200.0),
            frequency: Frequency::from_hz(221.5),
            temp_c: Some(21.0),
            way: Way::Blown,
            gauge: Pressure::default(),
        });
        let text = written(TEXT, &more).expect("text");
        for line in [
            "# ours",
            "# mine",
            "# by calliper",
            "# by hand",
            "hz = 221.5",
        ] {
            assert!(text.contains(line), "{text}");
        }
        let kinds = read_set(&text).expect("a set").kinds;
        assert_eq!(kinds[0].heard, more[0]);
        let back = written(&text, &heard()).expect("text");
        assert!(
            !back.contains("221.5") && back.contains("# by calliper"),
            "{back}"
        );
        assert_eq!(read_set(&back).expect("a set").kinds[0].heard, heard()[0]);
    }

    #[test]
    fn what_did_not_change_is_written_as_it_was() {
        assert_eq!(written(TEXT, &heard()).expect("text"), TEXT);
    }
}
