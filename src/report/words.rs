//! Words for a class: doubts as people say them, and what to beware of.
//!
//! ```
//! use ullage::physics::liquid::{Liquid, Strength};
//! use ullage::report::words::{doubt, hazards};
//! let quay = ullage::set::open("presets/quay/set.toml")?;
//! // Water and the air of the room need no warning.
//! assert!(hazards(&quay.conditions).is_empty());
//! // Spirits of 40 % by volume burn in a warm room: their flash point is 26 °C.
//! let mut spirits = quay.conditions.clone();
//! spirits.liquid = Liquid::Ethanol(Strength::from_percent(40.0)?);
//! assert!(hazards(&spirits).iter().any(|words| words.contains("burns")));
//! // Helium drives out the air that is breathed.
//! let helium = ullage::set::change::changed(&quay.conditions, &["gas=helium".parse()?])?;
//! assert!(hazards(&helium).iter().any(|words| words.contains("Never breathe")));
//! // What is least sure of a note, without the key that it has in the file.
//! assert!(quay.sounded()?.iter().all(|sounded| !doubt(&sounded.doubt).contains('_')));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use crate::physics::conditions::Conditions;
use crate::physics::liquid::Liquid;
use crate::physics::recipe::NamedGas;
use crate::sounding::Doubted;
use crate::sounding::Way;
use crate::units::Interval;

/// Names of what is uncertain, as in a file and as people say them.
const NAMES: [(&str, &str); 25] = [
    ("profile_mm", "the inside widths"),
    ("outline_mm", "the outline"),
    ("lip_bore_mm", "the inside width at the very rim"),
    (
        "narrowest_bore_mm",
        "the narrowest inside width of the neck",
    ),
    ("mass_g", "the weight of the bottle"),
    ("mouth_bore_mm", "the inside width of the mouth"),
    ("neck_bore_mm", "the inside width of the neck"),
    ("neck_length_mm", "the length of the neck"),
    ("body_diameter_mm", "the width of the body"),
    ("shoulder_length_mm", "the length of the shoulder"),
    ("height_mm", "the height"),
    ("wall_mm", "the thickness of the wall"),
    ("lip_wall_mm", "the thickness of the lip"),
    ("capacity_ml", "how much the bottle holds"),
    ("never blown", "the pitch, which nobody has heard yet"),
    (
        "never blown with liquid in it",
        "the pitch with something in it, which nobody has heard yet",
    ),
    (
        "never blown nearly full",
        "the pitch when it is nearly full, which nobody has heard yet",
    ),
    ("its outline", "the outline"),
    (
        "a bead in the neck or a flared lip",
        "a narrow or a wide place in the neck",
    ),
    (
        "the form between what was measured",
        "the form between what was measured",
    ),
    ("temperature of the room", "the warmth of the room"),
    ("the model itself", "the calculation itself"),
    (
        "how well a blown pitch repeats",
        "how well a blown pitch repeats",
    ),
    ("the next blow", "how well a blown pitch repeats"),
    ("humidity_pct", "the dampness of the air"),
];

/// What is uncertain, as people say it.
#[must_use]
pub fn doubt(doubt: &Doubted) -> String {
    // What nobody did stands in brackets behind it.
    let bare = doubt
        .dominated_by
        .split(" (never")
        .next()
        .unwrap_or_default();
    let name = NAMES
        .iter()
        .find(|(key, _)| *key == bare)
        .map_or_else(|| bare.replace('_', " "), |(_, name)| (*name).to_owned());
    if doubt.guessed && !bare.starts_with("never") {
        name + ", which nobody has measured"
    } else {
        name
    }
}

/// A remedy or a complaint without the keys of a file in it: what they stand for in their place.
///
/// ```
/// use ullage::report::words::plain;
/// assert_eq!(plain("measure neck_length_mm"), "measure the length of the neck");
/// ```
#[must_use]
pub fn plain(text: &str) -> String {
    // The longer keys first: a neck's bore is not a bore.
    let mut names: Vec<&(&str, &str)> = NAMES.iter().filter(|(key, _)| key.contains('_')).collect();
    names.sort_by_key(|(key, _)| std::cmp::Reverse(key.len()));
    names
        .into_iter()
        .fold(text.to_owned(), |text, (key, name)| text.replace(key, name))
}

/// Names of intervals below the octave, by semitones.
const INTERVALS: [&str; 12] = [
    "unison",
    "semitone",
    "whole tone",
    "minor third",
    "major third",
    "fourth",
    "tritone",
    "fifth",
    "minor sixth",
    "major sixth",
    "minor seventh",
    "major seventh",
];
/// So many octaves.
const OCTAVES: [&str; 6] = [
    "",
    "octave",
    "two octaves",
    "three octaves",
    "four octaves",
    "five octaves",
];
/// Cents from which an interval is said to be narrow or wide, and from which much so: what listeners notice in a chord,
/// and a quarter of a semitone. Taste.
const NARROW_CENTS: (f64, f64) = (5.0, 25.0);

/// What an interval of so many semitones is called.
///
/// ```
/// use ullage::report::words::interval_of;
/// assert_eq!([2, 12, 19, 24].map(interval_of), ["whole tone", "octave", "octave and a fifth", "two octaves"]);
/// ```
#[must_use]
pub fn interval_of(semitones: usize) -> String {
    let (octaves, name) = (semitones / 12, INTERVALS[semitones % 12]);
    let octave = match OCTAVES.get(octaves) {
        Some(words) => (*words).to_owned(),
        None => format!("{octaves} octaves"),
    };
    match (octaves, semitones % 12) {
        (0, _) => name.to_owned(),
        (_, 0) => octave,
        _ => format!("{octave} and a {name}"),
    }
}

/// An interval as musicians call it, with how far it is from the piano's: "whole tone, a little narrow".
///
/// ```
/// use ullage::{report::words::interval, units::Interval};
/// assert_eq!(interval(Interval::from_cents(190.0)), "whole tone, a little narrow");
/// assert_eq!(interval(Interval::from_cents(1902.0)), "octave and a fifth");
/// assert_eq!(interval(Interval::from_cents(-730.0)), "fifth, wide");
/// ```
#[must_use]
pub fn interval(interval: Interval) -> String {
    let cents = interval.cents().abs();
    if !cents.is_finite() {
        return "no interval".to_owned();
    }
    let semitones = (cents / 100.0).round();
    let off = cents - 100.0 * semitones;
    let name = interval_of(semitones as usize);
    let wide = if off > 0.0 { "wide" } else { "narrow" };
    match off.abs() {
        off if off < NARROW_CENTS.0 => name,
        off if off < NARROW_CENTS.1 => format!("{name}, a little {wide}"),
        _ => format!("{name}, {wide}"),
    }
}

/// How far a pitch is from its note, in words: "in tune", "18 cents flat".
///
/// ```
/// use ullage::{report::words::in_tune, units::Interval};
/// assert_eq!(in_tune(Interval::from_cents(-18.2), Interval::from_cents(5.0)), "18 cents flat");
/// assert_eq!(in_tune(Interval::from_cents(3.0), Interval::from_cents(5.0)), "in tune");
/// ```
#[must_use]
pub fn in_tune(off: Interval, within: Interval) -> String {
    let cents = off.cents();
    if cents.abs() <= within.cents() {
        return "in tune".to_owned();
    }
    let way = if cents > 0.0 { "sharp" } else { "flat" };
    let cents = cents.abs().round();
    let unit = if cents == 1.0 { "cent" } else { "cents" };
    format!("{cents:.0} {unit} {way}")
}

/// What to beware of under `conditions` with bottles sounded these `ways`; the last is the closing word.
pub(super) fn cautions(conditions: &Conditions, ways: &[Way]) -> Vec<&'static str> {
    let mut all = vec![
        "Glass is never pumped up or sealed under pressure: it bursts.",
        "Look at every rim first. A chipped or cracked bottle cuts: put it aside.",
    ];
    all.extend(hazards(conditions));
    if ways.is_empty() || ways.iter().any(|way| !way.is_struck()) {
        all.extend([
            "Blowing for long makes dizzy: stop, sit down, breathe as usual.",
            "One mouth for each bottle; wash the rims before somebody else plays.",
        ]);
    }
    all.push("The rules of your school or house come before this sheet.");
    all
}

/// What to beware of in what is filled in: liquids that burn, gases that are no air. None with water and air.
#[must_use]
pub fn hazards(conditions: &Conditions) -> Vec<&'static str> {
    let mut all = Vec::new();
    if matches!(
        conditions.liquid,
        Liquid::Ethanol(_) | Liquid::Isopropanol(_)
    ) {
        all.push(
            "This liquid burns, and the vapour above it inside the bottle can catch fire: no flame, no spark, \
             no hot thing near; open a window; never drink it.",
        );
    }
    let gases = || {
        conditions
            .gas
            .ingredients()
            .chain(conditions.neck_gas.iter().flat_map(|gas| gas.ingredients()))
    };
    if gases().any(|gas| {
        !matches!(
            gas,
            NamedGas::RoomAir | NamedGas::DryAir | NamedGas::Breath | NamedGas::Oxygen
        )
    }) {
        all.push(
            "Never breathe in the gas from these bottles: it takes the place of the air that you need. \
             Open the windows; an adult fills the bottles.",
        );
    }
    if gases().any(|gas| gas == NamedGas::Oxygen) {
        all.push("Oxygen makes fires fierce: no flame, no grease, no spark near these bottles.");
    }
    all
}
