//! The card of one note: what to set, and what comes of it, in words.
//!
//! ```
//! use ullage::report::{html::Paper, sheet::Sheet, sheet_card::card};
//! use ullage::units::shown::Units;
//! let set = ullage::set::open("presets/quay/set.toml")?;
//! let jug = card(&Sheet::new(&set).rows[0], Paper::A4, Units::Si);
//! assert_eq!((jug.note.as_str(), jug.ml.as_str()), ("G2", "2489"));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use super::drawing::{drawing, slid_drawing};
use super::html::{NAME_LETTERS, Paper, strip};
use super::sheet::SheetRow;
use super::svg::shortened;
use crate::set::Way;
use crate::sounding::Setting;
use crate::units::shown::Units;
use crate::units::{Length, Mass, Volume};

/// Letters of an owner's note.
const REMARK_LETTERS: usize = 110;

/// One bottle in words; amounts are rounded to what can be poured or read.
#[derive(Clone, Debug)]
pub struct Card {
    /// When it is poured, from one.
    pub order: usize,
    /// Its note.
    pub note: String,
    /// The bottle's name, with its number.
    pub name: String,
    /// What its owner wrote about it.
    pub remark: String,
    /// It is tuned by its liquid.
    pub filled: bool,
    /// Nothing goes into it.
    pub empty: bool,
    /// Liquid, ml.
    pub ml: String,
    /// Liquid, g.
    pub g: String,
    /// Level above the table, mm.
    pub level_mm: String,
    /// Level below the rim, mm.
    pub below_rim_mm: String,
    /// What it is set to, of those that liquid does not tune: the number.
    pub set_to: String,
    /// And what that is.
    pub set_what: String,
    /// More about its way.
    pub extra: Option<String>,
    /// What five cents are in what is set.
    pub tolerance: String,
    /// The pitch aimed at, Hz.
    pub target_hz: String,
    /// The pitch to expect, Hz.
    pub hz: String,
    /// How far that is off its note, if it is.
    pub off: Option<String>,
    /// How sure it is, cents.
    pub plus_minus: String,
    /// What makes it unsure.
    pub doubt: String,
    /// How long it rings.
    pub q: String,
    /// The level stands where the wall slants.
    pub on_shoulder: bool,
    /// The scale of its drawing.
    pub scale: String,
    /// Its drawing, SVG.
    pub drawing: String,
}

/// The card of a row, its amounts in `units`; a strip that is longer than `paper` stands on the shoulder or not all the same.
#[must_use]
pub fn card(row: &SheetRow<'_>, paper: Paper, units: Units) -> Card {
    let sounded = &row.sounded;
    let bottle = &row.kind.bottle;
    let drawn = match row.sounded.setting {
        Setting::Travel(travel) => slid_drawing(bottle, travel),
        Setting::Fill(_) | Setting::Gauge(_) | Setting::Lift(_) => drawing(bottle, row.fill()),
    };
    let off_cents = sounded.error().cents();
    let (set_to, set_what) = set_to(row, units);
    Card {
        order: row.order,
        note: row.said.clone(),
        name: numbered_name(row),
        remark: shortened(&row.kind.remark, REMARK_LETTERS),
        filled: row.is_filled(),
        empty: row.is_empty(),
        ml: amount(sounded.fill, units),
        g: weight(sounded.mass, units),
        level_mm: units.length(row.level()),
        below_rim_mm: units.length(row.below_rim()),
        set_to,
        set_what,
        extra: extra(row, units),
        tolerance: tolerance(row, units),
        target_hz: format!("{:.1}", sounded.target.hz()),
        hz: format!("{:.1}", sounded.frequency().hz()),
        off: (off_cents.abs() >= 0.5).then(|| {
            let way = if off_cents > 0.0 { "above" } else { "below" };
            format!("{:.0} cents {way} its note", off_cents.abs())
        }),
        plus_minus: format!("{:.0}", sounded.plus_minus().cents()),
        doubt: row.doubt(),
        q: format!("{:.0}", sounded.quality()),
        on_shoulder: row.takes_liquid() && strip(row, paper).on_shoulder,
        scale: format!("1 : {}", drawn.scale),
        drawing: drawn.svg,
    }
}

/// The number and what it is, of those that liquid does not tune.
fn set_to(row: &SheetRow<'_>, units: Units) -> (String, String) {
    let far = |mm: f64| {
        let length = units.length(Length::from_mm(mm));
        format!("{length} {}", units.of_length())
    };
    match row.sounded.setting {
        Setting::Fill(_) => (String::new(), String::new()),
        Setting::Gauge(gauge) => (
            format!("{:.2} bar", gauge.bar()),
            "on the pump’s gauge".to_owned(),
        ),
        Setting::Travel(travel) => (far(travel.mm()), "the floor pushed in".to_owned()),
        Setting::Lift(lift) => {
            let way = if lift.mm() < 0.0 { "below" } else { "above" };
            (
                far(lift.mm().abs()),
                format!("the second bottle’s foot {way} the first’s"),
            )
        }
    }
}

fn extra(row: &SheetRow<'_>, units: Units) -> Option<String> {
    let sounded = &row.sounded;
    let mallet = sounded.mallet.map_or("", |m| m.name());
    match sounded.way {
        Way::Blown => None,
        Way::Struck => Some(format!("Strike the body with {mallet}; do not blow.")),
        Way::Pressurised if row.is_empty() => Some(format!(
            "Plastic for carbonated drinks only, nothing in it. Pump by hand, then strike the body with {mallet}."
        )),
        Way::Pressurised => Some(format!(
            "Plastic for carbonated drinks only, {} {} in it first. Pump by hand, then strike the body with {mallet}.",
            amount(sounded.fill, units),
            units.of_volume()
        )),
        Way::Sliding => Some(
            "Blow across the mouth; the strip of marks shows every note of this floor.".to_owned(),
        ),
        Way::Joined => {
            let other = sounded.other?;
            Some(format!(
                "Blow across the mouth. The other bottle gives {:.1} Hz meanwhile.",
                other.resonance.frequency.hz()
            ))
        }
    }
}

/// What five cents are in what is set.
fn tolerance(row: &SheetRow<'_>, shown: Units) -> String {
    let units = row.tolerance_units();
    match (row.sounded.setting, row.tolerance()) {
        (Setting::Fill(_), None) => "Here the amount hardly moves the pitch.".to_owned(),
        (Setting::Fill(_), Some(volume)) => {
            let ml = volume.ml();
            let much = match shown {
                Units::Si if ml < 1.0 => format!("{ml:.2}"),
                _ => shown.volume(volume),
            };
            let unit = shown.of_volume();
            let way = if row.sounded.per_unit.cents() < 0.0 {
                "lower"
            } else {
                "higher"
            };
            if row.is_empty() {
                format!("{much} {unit} in it would make it 5 cents {way}.")
            } else {
                format!("{much} {unit} too much or too little is 5 cents off.")
            }
        }
        (Setting::Gauge(_), _) => {
            format!("{units:.3} bar too much or too little is 5 cents off.")
        }
        (Setting::Travel(_) | Setting::Lift(_), _) => {
            let far = shown.length(Length::from_mm(units));
            format!(
                "{far} {} too far or too near is 5 cents off.",
                shown.of_length()
            )
        }
    }
}

/// A volume with a decimal where a decimal can be poured, without its unit.
pub(super) fn amount(volume: Volume, units: Units) -> String {
    match units {
        Units::Si => decimal(volume.ml()),
        Units::Us | Units::Imperial => units.volume(volume),
    }
}

/// A mass in the same way.
pub(super) fn weight(mass: Mass, units: Units) -> String {
    match units {
        Units::Si => decimal(mass.g()),
        Units::Us | Units::Imperial => units.mass(mass),
    }
}

fn decimal(amount: f64) -> String {
    if amount < 999.95 {
        format!("{amount:.1}")
    } else {
        format!("{amount:.0}")
    }
}

/// A name that fits, its number never cut off.
pub(super) fn numbered_name(row: &SheetRow<'_>) -> String {
    let name = shortened(&row.kind.name, NAME_LETTERS);
    if row.of > 1 {
        format!("{name} no. {}", row.number)
    } else {
        name
    }
}
