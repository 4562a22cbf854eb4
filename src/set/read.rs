//! From written text to bottles that can be trusted.

use super::change::{self, Change, OutOfRange};
use super::error::SetError;
use super::kinds::{Bottles, kinds};
use super::problem::DidYouMean;
use super::{Kind, Pair, Pour, Set, Shelf, ShelfOrSet};
use super::{fitted, mistakes, ways, written};
use crate::index::KindIndex;
use crate::physics::conditions::Conditions;
use crate::physics::reverberation::Listening;
use crate::tuning::NoteName;
use crate::units::{Length, Pressure, Temperature, Volume};

/// Version of the format that is written and read.
pub const FORMAT_VERSION: u32 = 1;
/// Most mistakes of form that are shown at once.
const MOST_MISTAKES: usize = 20;
/// Most notes in a set.
const MAX_POURS: usize = 1_000;
/// How far pieces are moved, semitones.
const TRANSPOSED: std::ops::RangeInclusive<i32> = -48..=48;
/// Tables and keys at the top of a file.
const TOP_KEYS: [&str; 11] = [
    "version",
    "title",
    "remark",
    "transpose",
    "bottle",
    "room",
    "tuning",
    "filling",
    "striking",
    "joined",
    "pour",
];
/// Those that only a set has.
const SET_KEYS: [&str; 7] = [
    "transpose",
    "room",
    "tuning",
    "filling",
    "striking",
    "joined",
    "pour",
];

/// Reads a shelf, its bottles fitted to what was heard from them in the usual room: 20 °C, and lips off the mouth.
///
/// # Errors
/// See [`SetError`].
pub fn read_shelf(text: &str) -> Result<Shelf, SetError> {
    read_shelf_in(text, &Conditions::default())
}

/// The same, what was heard having been heard in `room`.
///
/// # Errors
/// See [`SetError`].
pub fn read_shelf_in(text: &str, room: &Conditions) -> Result<Shelf, SetError> {
    let shelf: written::Shelf = parse(text)?;
    check_version(shelf.version)?;
    let mut bottles = kinds(shelf.bottle)?;
    if !bottles.wrong.is_empty() {
        return Err(mistakes::one_or_all(text, bottles.wrong));
    }
    fitted(&mut bottles.kinds, room)?;
    Ok(Shelf {
        title: shelf.title,
        kinds: bottles.kinds,
    })
}

fn fitted(kinds: &mut [Kind], room: &Conditions) -> Result<(), SetError> {
    fitted::fit(kinds, room).map_err(|(name, source)| SetError::Fit { name, source })
}

/// Reads a set, its bottles fitted to what was heard from them in its own room.
///
/// # Errors
/// See [`SetError`].
pub fn read_set(text: &str) -> Result<Set, SetError> {
    let mut set = read_unfitted(text)?;
    fitted(&mut set.kinds, &set.conditions)?;
    Ok(set)
}

/// The same with its bottles as they are described, whatever was heard from them.
pub(super) fn read_unfitted(text: &str) -> Result<Set, SetError> {
    let set: written::Set = parse(text)?;
    check_version(set.version)?;
    let Bottles {
        kinds,
        refused,
        mut wrong,
    } = kinds(set.bottle)?;
    if set.pour.len() > MAX_POURS {
        return Err(SetError::TooMany {
            what: "pours",
            count: set.pour.len(),
            limit: MAX_POURS,
        });
    }
    if !TRANSPOSED.contains(&set.transpose) {
        wrong.push(SetError::Transpose {
            semitones: set.transpose,
            most: *TRANSPOSED.end(),
        });
    }
    let conditions = or_wrong(conditions(&set.room, &set.filling), &mut wrong);
    let listening = or_wrong(listening(&set.room), &mut wrong);
    let striking = or_wrong(ways::striking(set.striking.as_ref()), &mut wrong);
    // What joins a bottle that is wrong itself cannot be judged.
    let pairs = match refused.is_empty() {
        true => or_wrong(ways::pairs(set.joined, &kinds, &conditions), &mut wrong),
        false => Vec::new(),
    };
    let judged = |pour: &written::Pour| {
        wrong.is_empty() || !(refused.contains(&pour.bottle) || pour.joined.is_some())
    };
    let of_pour =
        |(index, p): (usize, written::Pour)| judged(&p).then(|| pour(index + 1, p, &kinds, &pairs));
    let read: Vec<_> = (set.pour.into_iter().enumerate())
        .filter_map(of_pour)
        .collect();
    let mut pours = Vec::with_capacity(read.len());
    for pour in read {
        match pour {
            Ok(pour) => pours.push(pour),
            Err(error) => wrong.push(error),
        }
    }
    if !wrong.is_empty() {
        return Err(mistakes::one_or_all(text, wrong));
    }
    ways::check_counts(&kinds, &pairs, &pours)?;
    ways::check_floors(&kinds, &pours, &conditions)?;
    Ok(Set {
        title: set.title,
        transpose: set.transpose,
        poured_at: conditions.clone(),
        conditions,
        listening,
        tuning: set.tuning,
        striking,
        kinds,
        pairs,
        pours,
    })
}

/// Reads a shelf or a set, whichever it is: a set has a room, a tuning, a filling or pours. What was heard from the bottles
/// of a shelf was heard in the usual room, as [`read_shelf`] has it.
///
/// # Errors
/// See [`SetError`].
pub fn read_any(text: &str) -> Result<ShelfOrSet, SetError> {
    read_any_in(text, &Conditions::default())
}

/// The same, what was heard from the bottles of a shelf having been heard in `shelf_room`.
///
/// # Errors
/// See [`SetError`].
pub fn read_any_in(text: &str, shelf_room: &Conditions) -> Result<ShelfOrSet, SetError> {
    let table: toml::Table = parse(text)?;
    // A misspelled key counts as the one that it is nearest to, so that the error can name that.
    let meant = |key: &String| nearest(key, TOP_KEYS.into_iter());
    if table
        .keys()
        .filter_map(meant)
        .any(|key| SET_KEYS.contains(&key.as_str()))
    {
        read_set(text).map(|set| ShelfOrSet::Set(Box::new(set)))
    } else {
        read_shelf_in(text, shelf_room).map(ShelfOrSet::Shelf)
    }
}

/// Reads the form of a file, all that is wrong with it at once: what stands where it cannot is taken out and the rest read again.
pub(super) fn parse<T: serde::de::DeserializeOwned>(text: &str) -> Result<T, SetError> {
    let mut messages = Vec::new();
    let mut left = text.to_owned();
    loop {
        let error = match toml::from_str(&left) {
            Ok(read) if messages.is_empty() => return Ok(read),
            Ok(_) => break,
            Err(error) => error,
        };
        if messages.is_empty() {
            stated_version(text).map_or(Ok(()), check_version)?;
        }
        // What is missing now may be what was taken out: the row is passed over.
        let passed_over = !messages.is_empty() && error.message().contains("missing field");
        let shorter = error.span().and_then(|span| match passed_over {
            true => mistakes::without_row(&left, &span),
            false => mistakes::without(&left, &span),
        });
        if !passed_over {
            messages.push(explained(&error));
        }
        match shorter {
            Some(shorter) if messages.len() < MOST_MISTAKES => left = shorter,
            Some(_) | None => break,
        }
    }
    Err(SetError::Toml {
        message: messages.join("\n"),
    })
}

/// The version of the format that a text states. Of another one nothing else can be judged: what it calls its keys is no slip of
/// the finger here.
fn stated_version(text: &str) -> Option<u32> {
    #[derive(serde::Deserialize)]
    struct Stated {
        version: u32,
    }
    toml::from_str(text).ok().map(|Stated { version }| version)
}

/// What the reader says, in fewer words where it is known what was meant.
fn explained(error: &toml::de::Error) -> String {
    let message = error.to_string();
    let message = message.trim_end();
    let (known, hint) = match nearest_key(message) {
        Some(known) => (true, format!("did you mean `{known}`?")),
        None => (false, remedy(message).unwrap_or_default().to_owned()),
    };
    let said = match message.split_once(", expected one of `") {
        Some((said, _)) if known => said,
        _ => message,
    };
    format!("{said}\n{hint}").trim_end().to_owned()
}

/// What to do about a complaint that speaks of the reader's types.
fn remedy(message: &str) -> Option<&'static str> {
    // The complaint is the last line; those above it are the file's own.
    let complaint = message.trim_end().lines().last()?;
    let remedies = [
        (
            "map, expected a sequence",
            "write the table's name in two pairs of brackets, as in [[bottle]]",
        ),
        (
            "expected f64",
            "write a number without quotes or unit, as in 18.5; the unit is in the key",
        ),
        ("expected u32", "write a whole number from 0 up, as in 2"),
        (
            "expected newline",
            "write one key a line, and numbers with a decimal point, as in 54.6",
        ),
        ("duplicate key", "keep one of them; see the line above it"),
    ];
    remedies
        .into_iter()
        .find(|(sign, _)| complaint.contains(sign))
        .map(|(_, remedy)| remedy)
}

/// The known key nearest to the unknown one that a message complains about.
fn nearest_key(message: &str) -> Option<String> {
    let after = message
        .split("unknown field `")
        .nth(1)
        .or_else(|| message.split("unknown variant `").nth(1))?;
    let (unknown, rest) = after.split_once('`')?;
    // What is quoted in the rest are the known keys: every second piece.
    let known = rest.split('`').skip(1).step_by(2);
    nearest(unknown, known)
}

/// The nearest of `known` to `text`, if it is near at all.
pub(crate) fn nearest<'a>(text: &str, known: impl Iterator<Item = &'a str>) -> Option<String> {
    let text = text.to_lowercase();
    known
        .map(|name| (likeness(&text, &name.to_lowercase()), name))
        .filter(|(likeness, _)| *likeness > 0.7)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, name)| name.to_owned())
}

/// 0 to 1; one slip of the finger (a letter wrong, missing, too many, or two swapped) is near, however short the word.
fn likeness(text: &str, name: &str) -> f64 {
    let likeness = strsim::jaro_winkler(text, name);
    match strsim::osa_distance(text, name) {
        0 | 1 => likeness.max(0.9),
        _ => likeness,
    }
}

fn check_version(version: u32) -> Result<(), SetError> {
    if version == FORMAT_VERSION {
        Ok(())
    } else {
        Err(SetError::Version { version })
    }
}

fn conditions(room: &written::Room, filling: &written::Filling) -> Result<Conditions, SetError> {
    let changes = [
        Change::Temperature(Temperature::from_c(room.temp_c)),
        Change::Humidity(room.humidity_pct / 100.0),
        Change::Pressure(Pressure::from_kpa(room.pressure_kpa)),
        Change::Gas(filling.gas),
        Change::NeckGas(filling.neck_gas),
        Change::Liquid(filling.liquid),
        Change::Headspace(filling.headspace),
        Change::LipOpen(filling.lip_open),
    ];
    change::changed(&Conditions::default(), &changes).map_err(|error| match error {
        OutOfRange::Conditions(error) => SetError::Conditions(error),
        OutOfRange::LipOpen { lip_open } => SetError::LipOpen { lip_open },
    })
}

fn listening(room: &written::Room) -> Result<Listening, SetError> {
    let distance = room.distance_m.map(Length::from_m);
    Ok(Listening::new(room.kind.unwrap_or_default(), distance)?)
}

/// What was read, or the usual one while the mistake is kept for the list.
fn or_wrong<T: Default>(read: Result<T, SetError>, wrong: &mut Vec<SetError>) -> T {
    read.unwrap_or_else(|error| {
        wrong.push(error);
        T::default()
    })
}

fn pour(
    number: usize,
    written: written::Pour,
    kinds: &[Kind],
    pairs: &[Pair],
) -> Result<Pour, SetError> {
    let note: NoteName = written
        .note
        .parse()
        .map_err(|source| SetError::Note { number, source })?;
    let found = kinds.iter().position(|k| k.name == written.bottle);
    let Some(kind) = found.map(KindIndex::new) else {
        let nearest = DidYouMean::of(&written.bottle, kinds.iter().map(|k| k.name.as_str()));
        return Err(SetError::NoSuchBottle {
            number,
            note: written.note,
            bottle: written.bottle,
            nearest,
        });
    };
    let capacity_ml = kinds[kind].bottle.bore().capacity().ml();
    if let Some(fill_ml) = written.fill_ml
        && !(0.0..=capacity_ml).contains(&fill_ml)
    {
        return Err(SetError::Fill {
            number,
            note: written.note,
            fill_ml,
            capacity_ml,
            bottle: written.bottle,
        });
    }
    let joined =
        ways::check_pour(&written, kind, kinds, pairs).map_err(|source| SetError::Pour {
            number,
            note: written.note.clone(),
            source: Box::new(source),
        })?;
    Ok(Pour {
        note,
        kind,
        fill: written.fill_ml.map(Volume::from_ml),
        way: written.way,
        gauge: written.gauge_bar.map(Pressure::from_bar),
        travel: written.travel_mm.map(Length::from_mm),
        lift: written.lift_mm.map(Length::from_mm),
        joined,
    })
}
