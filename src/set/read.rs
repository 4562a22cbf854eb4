//! From written text to bottles that can be trusted.

use rayon::prelude::*;

use super::change::{self, Change, OutOfRange};
use super::error::SetError;
use super::problem::{BottleProblem, DidYouMean, HeardProblem};
use super::{HeardPitch, Kind, Pair, Pour, Set, Shelf, ShelfOrSet, WallFits};
use super::{fitted, mistakes, ways, written};
use crate::fit::shape::estimated;
use crate::index::KindIndex;
use crate::physics::bottle::{Bottle, Description, Known, MeasuredTo};
use crate::physics::conditions::Conditions;
use crate::physics::dimensions::{Dimensions, Material};
use crate::physics::profile::Profile;
use crate::physics::reverberation::Listening;
use crate::tuning::NoteName;
use crate::units::{Frequency, Length, Mass, Pressure, Temperature, Volume};

/// Version of the format that is written and read.
pub const FORMAT_VERSION: u32 = 1;
/// Most mistakes of form that are shown at once.
const MOST_MISTAKES: usize = 20;
/// Most kinds of bottle in a file.
const MAX_KINDS: usize = 10_000;
/// Most bottles of a kind.
pub(super) const MAX_COUNT: u32 = 10_000;
/// What a bottle is of.
pub(super) const MATERIALS: [&str; 4] = ["glass", "plastic", "ceramic", "metal"];
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
/// Pitches that a bottle can be heard at, Hz.
pub(super) const HEARD_RANGE_HZ: (f64, f64) = (10.0, 20_000.0);
/// Rooms that somebody listens in, °C.
pub(super) const HEARD_RANGE_C: (f64, f64) = (-10.0, 60.0);
/// Fewest points of an outline.
pub(super) const FEWEST_OUTLINE: usize = 8;
/// Thickest wall around a mouth, mm.
const MAX_LIP_WALL_MM: f64 = 50.0;

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

/// The bottles of a file.
struct Bottles {
    kinds: Vec<Kind>,
    /// The names of those that are wrong.
    refused: Vec<String>,
    /// Why.
    wrong: Vec<SetError>,
}

fn kinds(bottles: Vec<written::Bottle>) -> Result<Bottles, SetError> {
    if bottles.is_empty() {
        return Err(SetError::Empty);
    }
    if bottles.len() > MAX_KINDS {
        return Err(SetError::TooMany {
            what: "kinds of bottle",
            count: bottles.len(),
            limit: MAX_KINDS,
        });
    }
    let mut names = std::collections::HashSet::new();
    let mut read = Bottles {
        kinds: Vec::with_capacity(bottles.len()),
        refused: Vec::new(),
        wrong: Vec::new(),
    };
    let named = |(index, bottle): (usize, written::Bottle)| {
        if bottle.name.trim().is_empty() {
            return Err(SetError::Unnamed { number: index + 1 });
        }
        let name = bottle.name.clone();
        if names.insert(name.clone()) {
            Ok(bottle)
        } else {
            Err(SetError::SameName { name })
        }
    };
    let named: Vec<_> = bottles.into_iter().enumerate().map(named).collect();
    // The shape of each is estimated, which takes a while: side by side, and told in the order of the file.
    let estimated = named.into_par_iter().map(|bottle| {
        let bottle = bottle.map_err(|error| (error, None))?;
        let name = bottle.name.clone();
        kind(bottle).map_err(|error| (error, Some(name)))
    });
    for kind in estimated.collect::<Vec<_>>() {
        match kind {
            Ok(kind) => read.kinds.push(kind),
            Err((error, name)) => {
                read.wrong.push(error);
                read.refused.extend(name);
            }
        }
    }
    Ok(read)
}

fn kind(written: written::Bottle) -> Result<Kind, SetError> {
    let name = written.name.clone();
    let value = |source: BottleProblem| SetError::Value {
        name: name.clone(),
        source,
    };
    let count = written.count.unwrap_or(1);
    if !(1..=MAX_COUNT).contains(&count) {
        return Err(value(BottleProblem::Count { count }));
    }
    let description = description(&written).map_err(&value)?;
    let bottle = estimated(description).map_err(|source| SetError::Bottle {
        name: name.clone(),
        source,
    })?;
    let mut heard = Vec::with_capacity(written.heard.len());
    for pitch in &written.heard {
        heard.push(heard_pitch(pitch, &bottle).map_err(|problem| value(problem.into()))?);
    }
    Ok(Kind {
        name: written.name,
        count,
        bottle,
        heard,
        air_fit: None,
        fits: WallFits::default(),
        remark: written.remark,
    })
}

fn heard_pitch(written: &written::Heard, bottle: &Bottle) -> Result<HeardPitch, HeardProblem> {
    let (fill_ml, hz) = (written.fill_ml, written.hz);
    let capacity_ml = bottle.bore().capacity().ml();
    if !(0.0..=capacity_ml).contains(&fill_ml) {
        return Err(HeardProblem::Fill {
            fill_ml,
            capacity_ml,
        });
    }
    if !(HEARD_RANGE_HZ.0..=HEARD_RANGE_HZ.1).contains(&hz) {
        return Err(HeardProblem::Pitch { hz });
    }
    if let Some(temp_c) = written.temp_c
        && !(HEARD_RANGE_C.0..=HEARD_RANGE_C.1).contains(&temp_c)
    {
        return Err(HeardProblem::Temperature { temp_c });
    }
    Ok(HeardPitch {
        fill: Volume::from_ml(written.fill_ml),
        frequency: Frequency::from_hz(written.hz),
        temp_c: written.temp_c,
        way: written.way,
        gauge: ways::heard_gauge(written, bottle.material())?,
    })
}

fn description(written: &written::Bottle) -> Result<Description, BottleProblem> {
    let mm = |length: Option<f64>| length.map(Length::from_mm);
    let known = known(written)?;
    if written.mouth_bore_mm.is_none() && !matches!(known, Known::Bore(_) | Known::Outline(_)) {
        return Err(BottleProblem::NoMouth);
    }
    if let Some(lip_wall_mm) = written.lip_wall_mm {
        inside("lip_wall_mm", lip_wall_mm, MAX_LIP_WALL_MM)?;
    }
    let dimensions = Dimensions {
        capacity: written.capacity_ml.map(Volume::from_ml),
        mouth_bore: Length::from_mm(written.mouth_bore_mm.unwrap_or(0.0)),
        lip_bore: mm(written.lip_bore_mm),
        narrowest_bore: mm(written.narrowest_bore_mm),
        neck_bore: mm(written.neck_bore_mm),
        neck_length: mm(written.neck_length_mm),
        body_diameter: mm(written.body_diameter_mm),
        body_length: mm(written.body_length_mm),
        shoulder_length: mm(written.shoulder_length_mm),
        height: mm(written.height_mm),
        wall: mm(written.wall_mm),
        mass: written.mass_g.map(Mass::from_g),
        square: written.square,
        material: material(written.material.as_deref().unwrap_or("glass"))?,
    };
    Ok(Description {
        known,
        dimensions,
        lip_wall: mm(written.lip_wall_mm),
        measured_to: measured_to(written)?,
    })
}

/// `value` of `key`, unless it is outside 0 to `most`.
fn inside(key: &'static str, value: f64, most: f64) -> Result<f64, BottleProblem> {
    if (0.0..=most).contains(&value) {
        Ok(value)
    } else {
        Err(BottleProblem::Outside { key, value, most })
    }
}

fn known(written: &written::Bottle) -> Result<Known, BottleProblem> {
    match (&written.profile_mm, &written.poured, &written.outline_mm) {
        (Some(_), Some(_), _) => Err(BottleProblem::ProfileAndPoured),
        (Some(_), _, Some(_)) | (_, Some(_), Some(_)) => Err(BottleProblem::OutlineAndOther),
        (None, None, Some(points)) => outline(points),
        (Some(points), None, None) => Ok(Known::Bore(Profile::from_diameters_mm(points)?)),
        (None, Some(readings), None) => {
            check_readings(readings, written.height_mm)?;
            let reading =
                |&[grams, height_mm]: &[f64; 2]| (Mass::from_g(grams), Length::from_mm(height_mm));
            Ok(Known::Poured(readings.iter().map(reading).collect()))
        }
        (None, None, None) => Ok(Known::Dimensions),
    }
}

/// Outer diameters from the table up: the rules of a bore hold for them too.
fn outline(points: &[[f64; 2]]) -> Result<Known, BottleProblem> {
    if points.len() < FEWEST_OUTLINE {
        return Err(BottleProblem::OutlineFew {
            points: points.len(),
        });
    }
    Profile::from_diameters_mm(points).map_err(BottleProblem::Outline)?;
    let point = |&[height_mm, diameter_mm]: &[f64; 2]| {
        (Length::from_mm(height_mm), Length::from_mm(diameter_mm))
    };
    Ok(Known::Outline(points.iter().map(point).collect()))
}

/// Refuses readings that do not rise or go past the mouth, in the numbers that were written.
fn check_readings(readings: &[[f64; 2]], height_mm: Option<f64>) -> Result<(), BottleProblem> {
    let mut before = [0.0, 0.0];
    for (index, &reading) in readings.iter().enumerate() {
        let ([grams, level_mm], number) = (reading, index + 1);
        if !(grams > before[0] && level_mm > before[1]) {
            return Err(BottleProblem::ReadingOrder {
                number,
                reading,
                before,
            });
        }
        if let Some(height_mm) = height_mm
            && level_mm > height_mm
        {
            return Err(BottleProblem::ReadingTooHigh {
                number,
                level_mm,
                height_mm,
            });
        }
        before = reading;
    }
    Ok(())
}

fn material(text: &str) -> Result<Material, BottleProblem> {
    match text {
        "glass" => Ok(Material::Glass),
        "plastic" => Ok(Material::Plastic),
        "ceramic" => Ok(Material::Ceramic),
        "metal" => Ok(Material::Metal),
        other => Err(BottleProblem::Material {
            material: other.to_owned(),
            nearest: DidYouMean::of(other, MATERIALS.into_iter()),
        }),
    }
}

fn measured_to(written: &written::Bottle) -> Result<MeasuredTo, BottleProblem> {
    let stated = written.measured_to.unwrap_or_default();
    Ok(MeasuredTo {
        bore: Length::from_mm(inside("measured_to bore_mm", stated.bore_mm, 20.0)?),
        length: Length::from_mm(inside("measured_to length_mm", stated.length_mm, 100.0)?),
        capacity_share: inside("measured_to capacity_pct", stated.capacity_pct, 10.0)? / 100.0,
        wall: Length::from_mm(inside("measured_to wall_mm", stated.wall_mm, 10.0)?),
        outline: Length::from_mm(inside("measured_to outline_mm", stated.outline_mm, 20.0)?),
        outline_share: inside("measured_to outline_pct", stated.outline_pct, 20.0)? / 100.0,
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
