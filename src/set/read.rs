//! From written text to bottles that can be trusted.

use super::error::SetError;
use super::{HeardPitch, Kind, Pair, Pour, Preset, Set, Shelf, WallFits};
use super::{fitted, ways, written};
use crate::physics::air::Room;
use crate::physics::bottle::{Bottle, Description, Known, MeasuredTo};
use crate::physics::conditions::Conditions;
use crate::physics::dimensions::{Dimensions, Material};
use crate::physics::profile::Profile;
use crate::tuning::NoteName;
use crate::units::{Frequency, Length, Mass, Pressure, Temperature, Volume};

/// Version of the format that is written and read.
pub const FORMAT_VERSION: u32 = 1;
/// Most kinds of bottle in a file.
const MAX_KINDS: usize = 10_000;
/// Most bottles of a kind.
const MAX_COUNT: u32 = 10_000;
/// Most notes in a set.
const MAX_POURS: usize = 1_000;
/// Tables and keys at the top of a file.
const TOP_KEYS: [&str; 10] = [
    "version", "title", "remark", "bottle", "room", "tuning", "filling", "striking", "joined",
    "pour",
];
/// Those that only a set has.
const SET_KEYS: [&str; 6] = ["room", "tuning", "filling", "striking", "joined", "pour"];
/// Pitches that a bottle can be heard at, Hz.
const HEARD_RANGE_HZ: (f64, f64) = (10.0, 20_000.0);

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
    let mut kinds = kinds(shelf.bottle)?;
    fitted(&mut kinds, room)?;
    Ok(Shelf {
        title: shelf.title,
        kinds,
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
    let set: written::Set = parse(text)?;
    check_version(set.version)?;
    let conditions = conditions(&set)?;
    let mut kinds = kinds(set.bottle)?;
    if set.pour.len() > MAX_POURS {
        return Err(SetError::TooMany {
            what: "pours",
            count: set.pour.len(),
            limit: MAX_POURS,
        });
    }
    let striking = ways::striking(set.striking.as_ref())?;
    let pairs = ways::pairs(set.joined, &kinds, &conditions)?;
    let pours = set
        .pour
        .into_iter()
        .enumerate()
        .map(|(index, p)| pour(index + 1, p, &kinds, &pairs));
    let pours = pours.collect::<Result<Vec<_>, _>>()?;
    ways::check_counts(&kinds, &pairs, &pours)?;
    ways::check_floors(&kinds, &pours, &conditions)?;
    fitted(&mut kinds, &conditions)?;
    Ok(Set {
        title: set.title,
        poured_at: conditions.clone(),
        conditions,
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
pub fn read_any(text: &str) -> Result<Preset, SetError> {
    read_any_in(text, &Conditions::default())
}

/// The same, what was heard from the bottles of a shelf having been heard in `shelf_room`.
///
/// # Errors
/// See [`SetError`].
pub fn read_any_in(text: &str, shelf_room: &Conditions) -> Result<Preset, SetError> {
    let table: toml::Table = parse(text)?;
    // A misspelled key counts as the one that it is nearest to, so that the error can name that.
    let meant = |key: &String| nearest(key, TOP_KEYS.into_iter());
    if table
        .keys()
        .filter_map(meant)
        .any(|key| SET_KEYS.contains(&key.as_str()))
    {
        read_set(text).map(|set| Preset::Set(Box::new(set)))
    } else {
        read_shelf_in(text, shelf_room).map(Preset::Shelf)
    }
}

fn parse<T: serde::de::DeserializeOwned>(text: &str) -> Result<T, SetError> {
    toml::from_str(text).map_err(|error| {
        let message = error.to_string();
        let hint = nearest_key(&message)
            .map(|known| format!("did you mean `{known}`?\n"))
            .or_else(|| remedy(&message).map(str::to_owned))
            .unwrap_or_default();
        SetError::Toml {
            message: format!("{}\n{hint}", message.trim_end())
                .trim_end()
                .to_owned(),
        }
    })
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
    known
        .map(|name| {
            (
                strsim::jaro_winkler(&text.to_lowercase(), &name.to_lowercase()),
                name,
            )
        })
        .filter(|(likeness, _)| *likeness > 0.7)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, name)| name.to_owned())
}

fn check_version(version: u32) -> Result<(), SetError> {
    if version == FORMAT_VERSION {
        Ok(())
    } else {
        Err(SetError::Version { version })
    }
}

fn conditions(set: &written::Set) -> Result<Conditions, SetError> {
    let conditions = Conditions {
        room: Room {
            temperature: Temperature::from_c(set.room.temp_c),
            pressure: Pressure::from_kpa(set.room.pressure_kpa),
            humidity: set.room.humidity_pct / 100.0,
            ..Room::default()
        },
        gas: set.filling.gas,
        neck_gas: set.filling.neck_gas,
        liquid: set.filling.liquid,
        headspace: set.filling.headspace,
        lip_open: set.filling.lip_open,
        neck_breath: 0.0,
    };
    conditions.gases()?;
    if !(crate::physics::mouth::MIN_OPEN_SHARE..=1.0).contains(&conditions.lip_open) {
        return Err(SetError::LipOpen {
            lip_open: conditions.lip_open,
        });
    }
    Ok(conditions)
}

fn kinds(bottles: Vec<written::Bottle>) -> Result<Vec<Kind>, SetError> {
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
    let mut kinds = Vec::with_capacity(bottles.len());
    for (index, bottle) in bottles.into_iter().enumerate() {
        if bottle.name.trim().is_empty() {
            return Err(SetError::Unnamed { number: index + 1 });
        }
        if !names.insert(bottle.name.clone()) {
            return Err(SetError::SameName { name: bottle.name });
        }
        kinds.push(kind(bottle)?);
    }
    Ok(kinds)
}

fn kind(written: written::Bottle) -> Result<Kind, SetError> {
    let name = written.name.clone();
    let value = |problem: String| SetError::Value {
        name: name.clone(),
        problem,
    };
    let count = written.count.unwrap_or(1);
    if !(1..=MAX_COUNT).contains(&count) {
        return Err(value(format!(
            "count = {count} is outside 1 to {MAX_COUNT}"
        )));
    }
    let description = description(&written).map_err(&value)?;
    let bottle = Bottle::new(description).map_err(|source| SetError::Bottle {
        name: name.clone(),
        source,
    })?;
    let mut heard = Vec::with_capacity(written.heard.len());
    for pitch in &written.heard {
        heard.push(heard_pitch(pitch, &bottle).map_err(&value)?);
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

fn heard_pitch(written: &written::Heard, bottle: &Bottle) -> Result<HeardPitch, String> {
    let capacity = bottle.bore().capacity();
    if !(0.0..=capacity.ml()).contains(&written.fill_ml) {
        return Err(format!(
            "heard fill_ml = {} is outside 0 to {:.1} ml",
            written.fill_ml,
            capacity.ml()
        ));
    }
    let (low_hz, high_hz) = HEARD_RANGE_HZ;
    if !(low_hz..=high_hz).contains(&written.hz) {
        return Err(format!(
            "heard hz = {} is outside {low_hz} to {high_hz} Hz",
            written.hz
        ));
    }
    if let Some(temp_c) = written.temp_c
        && !(-10.0..=60.0).contains(&temp_c)
    {
        return Err(format!("heard temp_c = {temp_c} is outside -10 to 60 °C"));
    }
    Ok(HeardPitch {
        fill: Volume::from_ml(written.fill_ml),
        frequency: Frequency::from_hz(written.hz),
        temp_c: written.temp_c,
        way: written.way,
        gauge: ways::heard_gauge(written, bottle.material())?,
    })
}

fn description(written: &written::Bottle) -> Result<Description, String> {
    let mm = |length: Option<f64>| length.map(Length::from_mm);
    let known = known(written)?;
    if written.mouth_bore_mm.is_none() && !matches!(known, Known::Bore(_)) {
        return Err(
            "mouth_bore_mm is missing: the inner diameter of the mouth decides the pitch"
                .to_owned(),
        );
    }
    if let Some(lip_wall_mm) = written.lip_wall_mm
        && !(0.0..=50.0).contains(&lip_wall_mm)
    {
        return Err(format!("lip_wall_mm = {lip_wall_mm} is outside 0 to 50"));
    }
    let dimensions = Dimensions {
        capacity: written.capacity_ml.map(Volume::from_ml),
        mouth_bore: Length::from_mm(written.mouth_bore_mm.unwrap_or(0.0)),
        neck_bore: mm(written.neck_bore_mm),
        neck_length: mm(written.neck_length_mm),
        body_diameter: mm(written.body_diameter_mm),
        body_length: mm(written.body_length_mm),
        shoulder_length: mm(written.shoulder_length_mm),
        height: mm(written.height_mm),
        wall: mm(written.wall_mm),
        mass: written.mass_g.map(Mass::from_g),
        material: material(written.material.as_deref().unwrap_or("glass"))?,
    };
    Ok(Description {
        known,
        dimensions,
        lip_wall: mm(written.lip_wall_mm),
        measured_to: measured_to(written)?,
    })
}

fn known(written: &written::Bottle) -> Result<Known, String> {
    match (&written.profile_mm, &written.poured) {
        (Some(_), Some(_)) => Err("give profile_mm or poured, not both".to_owned()),
        (Some(points), None) => Profile::from_diameters_mm(points)
            .map(Known::Bore)
            .map_err(|error| format!("profile_mm: {error}")),
        (None, Some(readings)) => {
            check_readings(readings, written.height_mm)?;
            let reading =
                |&[grams, height_mm]: &[f64; 2]| (Mass::from_g(grams), Length::from_mm(height_mm));
            Ok(Known::Poured(readings.iter().map(reading).collect()))
        }
        (None, None) => Ok(Known::Dimensions),
    }
}

/// Refuses readings that do not rise or go past the mouth, in the numbers that were written.
fn check_readings(readings: &[[f64; 2]], height_mm: Option<f64>) -> Result<(), String> {
    let mut before = [0.0, 0.0];
    for (index, &[grams, level_mm]) in readings.iter().enumerate() {
        let number = index + 1;
        if !(grams > before[0] && level_mm > before[1]) {
            let [grams_before, mm_before] = before;
            return Err(format!(
                "poured: reading {number}, {grams} g at {level_mm} mm, does not lie above the one before it, \
                 {grams_before} g at {mm_before} mm; list them as they were poured"
            ));
        }
        if let Some(height_mm) = height_mm
            && level_mm > height_mm
        {
            return Err(format!(
                "poured: reading {number} at {level_mm} mm is above the mouth at height_mm = {height_mm}"
            ));
        }
        before = [grams, level_mm];
    }
    Ok(())
}

fn material(text: &str) -> Result<Material, String> {
    match text {
        "glass" => Ok(Material::Glass),
        "plastic" => Ok(Material::Plastic),
        "ceramic" => Ok(Material::Ceramic),
        "metal" => Ok(Material::Metal),
        other => {
            let near = nearest(other, ["glass", "plastic", "ceramic", "metal"].into_iter());
            let hint = near.map_or_else(String::new, |near| format!("; did you mean {near:?}?"));
            Err(format!(
                "material = {other:?} is none of glass, plastic, ceramic, metal{hint}"
            ))
        }
    }
}

fn measured_to(written: &written::Bottle) -> Result<MeasuredTo, String> {
    let stated = written.measured_to.unwrap_or_default();
    let checked = |what: &str, value: f64, most: f64| {
        if (0.0..=most).contains(&value) {
            Ok(value)
        } else {
            Err(format!(
                "measured_to {what} = {value} is outside 0 to {most}"
            ))
        }
    };
    Ok(MeasuredTo {
        bore: Length::from_mm(checked("bore_mm", stated.bore_mm, 20.0)?),
        length: Length::from_mm(checked("length_mm", stated.length_mm, 100.0)?),
        capacity_share: checked("capacity_pct", stated.capacity_pct, 10.0)? / 100.0,
        wall: Length::from_mm(checked("wall_mm", stated.wall_mm, 10.0)?),
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
    let Some(kind) = kinds.iter().position(|k| k.name == written.bottle) else {
        let near = nearest(&written.bottle, kinds.iter().map(|k| k.name.as_str()));
        let nearest = near.map_or_else(String::new, |near| format!("; did you mean {near:?}?"));
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
    let problem = |problem: String| SetError::Pour {
        number,
        note: written.note.clone(),
        problem,
    };
    let joined = ways::check_pour(&written, kind, kinds, pairs).map_err(problem)?;
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
