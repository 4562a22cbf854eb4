//! The text of a set that was planned: complete in itself, with what each pour will give beside it.

use serde::Deserialize;
use toml_edit::{DocumentMut, Item, Table, Value, value};

use super::{EditError, in_file};
use crate::number::rounded;
use crate::physics::conditions::Conditions;
use crate::set::Striking;
use crate::set::read::{FORMAT_VERSION, parse, read_set};
use crate::set::written::{self, Bottle, Filling, Room};
use crate::sounding::{Setting, Sounded};
use crate::tuning::{NoteName, Tuning};
use crate::units::Temperature;

/// Digits of what is written of a room, a strike's height and a split: a plan rests on all of them.
const ROOM_DIGITS: i32 = 4;
const PRESSURE_DIGITS: i32 = 5;
const HEIGHT_DIGITS: i32 = 2;

/// What a plan makes of the bottles of a shelf.
#[derive(Clone, Debug)]
pub struct PlannedSet<'a> {
    /// What to call it; the shelf's own title if nothing is said.
    pub title: Option<&'a str>,
    /// How far pieces are moved to be played with it, semitones.
    pub transpose: i32,
    /// The room, the filling and the lips.
    pub conditions: &'a Conditions,
    /// What the notes mean.
    pub tuning: &'a Tuning,
    /// What strikes those that are struck.
    pub striking: Striking,
    /// How warm it was where the bottles' own pitches were heard, if their file says.
    pub heard_at: Option<Temperature>,
    /// The notes, in their order.
    pub pours: Vec<PlannedPour<'a>>,
}

/// A note that was placed.
#[derive(Clone, Copy, Debug)]
pub struct PlannedPour<'a> {
    /// The note.
    pub note: NoteName,
    /// The name of its bottle.
    pub bottle: &'a str,
    /// What it is set to, and what it gives.
    pub sounded: &'a Sounded,
}

/// The bottles of a file, whatever else is in it: the file has been read and checked before.
#[derive(Deserialize)]
struct Bottles {
    #[serde(default)]
    title: String,
    #[serde(default)]
    room: Room,
    bottle: Vec<Bottle>,
}

/// The first lines of what is written here.
const HEAD: &str = "# A bottle set that was planned. What each pour will give stands above it.";
/// Lists that a plan writes anew.
const ANEW: [&str; 2] = ["pour", "joined"];

/// The text of the set that `planned` makes of the bottles in `source`, the text of a shelf or a set. The bottles stay as
/// they are written there, comments and all, and so do comments at the top and beside what the set keeps.
///
/// # Errors
/// [`EditError::Read`] for a source without bottles, [`EditError::ReadBack`] for a plan that makes no set.
pub fn planned(source: &str, planned: &PlannedSet<'_>) -> Result<String, EditError> {
    let shelf: Bottles = parse(source).map_err(|error| EditError::Read(Box::new(error)))?;
    let set = written::Set {
        version: FORMAT_VERSION,
        title: planned.title.map_or(shelf.title, str::to_owned),
        remark: String::new(),
        transpose: planned.transpose,
        room: Room {
            kind: shelf.room.kind,
            distance_m: shelf.room.distance_m,
            ..room(planned.conditions)
        },
        tuning: planned.tuning.clone(),
        filling: filling(planned.conditions),
        striking: planned.is_struck().then(|| striking(&planned.striking)),
        bottle: shelf.bottle,
        joined: Vec::new(),
        pour: planned.pours.iter().map(pour).collect(),
    };
    let text = with_comments(&toml::to_string(&set)?, source, planned)?;
    read_set(&text).map_err(|error| EditError::ReadBack(Box::new(error)))?;
    Ok(text)
}

impl PlannedSet<'_> {
    /// Whether a mallet is needed.
    fn is_struck(&self) -> bool {
        self.pours.iter().any(|p| p.sounded.way.is_struck())
    }
}

fn room(conditions: &Conditions) -> Room {
    Room {
        temp_c: rounded(conditions.room.temperature.c(), ROOM_DIGITS),
        humidity_pct: rounded(100.0 * conditions.room.humidity, ROOM_DIGITS),
        pressure_kpa: rounded(conditions.room.pressure.kpa(), PRESSURE_DIGITS),
        ..Room::default()
    }
}

fn filling(conditions: &Conditions) -> Filling {
    Filling {
        liquid: conditions.liquid,
        gas: conditions.gas,
        neck_gas: conditions.neck_gas,
        headspace: conditions.headspace,
        lip_open: conditions.lip_open,
    }
}

fn striking(striking: &Striking) -> written::Striking {
    written::Striking {
        mallet: striking.mallet,
        height_mm: striking.height.map(|h| rounded(h.mm(), HEIGHT_DIGITS)),
        doublet_pct: Some(rounded(100.0 * striking.doublet_share, ROOM_DIGITS)),
    }
}

fn pour(planned: &PlannedPour<'_>) -> written::Pour {
    let setting = planned.sounded.setting;
    let (_, value) = in_file(setting);
    let only = |way: bool| way.then_some(value);
    written::Pour {
        note: planned.note.to_string(),
        bottle: planned.bottle.to_owned(),
        fill_ml: only(matches!(setting, Setting::Fill(_))),
        way: planned.sounded.way,
        gauge_bar: only(matches!(setting, Setting::Gauge(_))),
        travel_mm: only(matches!(setting, Setting::Travel(_))),
        joined: None,
        lift_mm: only(matches!(setting, Setting::Lift(_))),
    }
}

/// How warm it was where the bottles' pitches were heard, °C, if the new set is in another room.
fn heard_at_c(planned: &PlannedSet<'_>) -> Option<f64> {
    let now = planned.conditions.temperature();
    let then = planned.heard_at.filter(|then| *then != now)?;
    Some(rounded(then.c(), ROOM_DIGITS))
}

fn with_comments(text: &str, source: &str, planned: &PlannedSet<'_>) -> Result<String, EditError> {
    let mut document: DocumentMut = text.parse()?;
    let source: DocumentMut = source.replace("\r\n", "\n").parse()?;
    carry(source.as_table(), document.as_table_mut());
    carry_bottles(&source, &mut document, heard_at_c(planned));
    let pours = document
        .get_mut("pour")
        .and_then(Item::as_array_of_tables_mut);
    if let Some(pours) = pours {
        for (table, pour) in pours.iter_mut().zip(&planned.pours) {
            table
                .decor_mut()
                .set_prefix(format!("\n# {}\n", comment(pour)));
        }
    }
    let before = document.to_string();
    // Planned again, it has them already.
    let before = before.trim_start().trim_start_matches(HEAD).trim_start();
    Ok(format!("{HEAD}\n\n{before}"))
}

/// Comments of what stands in both, but for what is written anew.
fn carry(from: &Table, to: &mut Table) {
    let keys: Vec<String> = to.iter().map(|(key, _)| key.to_owned()).collect();
    for key in keys.iter().filter(|key| !ANEW.contains(&key.as_str())) {
        let Some((old_key, old)) = from.get_key_value(key) else {
            continue;
        };
        if let Some(mut new_key) = to.key_mut(key) {
            *new_key.leaf_decor_mut() = old_key.leaf_decor().clone();
        }
        match (old, to.get_mut(key)) {
            (Item::Value(old), Some(Item::Value(new))) => *new.decor_mut() = old.decor().clone(),
            (Item::Table(old), Some(Item::Table(new))) => {
                *new.decor_mut() = old.decor().clone();
                carry(old, new);
            }
            _ => {}
        }
    }
}

/// The bottles as they are written in `source`, with how warm it was beside what was heard from them.
fn carry_bottles(source: &DocumentMut, document: &mut DocumentMut, temp_c: Option<f64>) {
    let old = source.get("bottle").and_then(Item::as_array_of_tables);
    let new = document
        .get_mut("bottle")
        .and_then(Item::as_array_of_tables_mut);
    let (Some(old), Some(new)) = (old, new) else {
        return;
    };
    for (old, new) in old.iter().zip(new.iter_mut()) {
        let mut kept = old.clone();
        kept.set_position(new.position());
        unplaced(&mut kept);
        if let Some(temp_c) = temp_c {
            note_temperature(&mut kept, temp_c);
        }
        *new = kept;
    }
}

/// Writes how warm it was beside each pitch that was heard, where nothing is said of it.
fn note_temperature(bottle: &mut Table, temp_c: f64) {
    match bottle.get_mut("heard") {
        Some(Item::ArrayOfTables(heard)) => {
            for pitch in heard.iter_mut() {
                pitch.entry("temp_c").or_insert(value(temp_c));
            }
        }
        Some(Item::Value(Value::Array(heard))) => {
            let pitches = heard.iter_mut().filter_map(Value::as_inline_table_mut);
            for pitch in pitches {
                if !pitch.contains_key("temp_c") {
                    pitch.insert("temp_c", temp_c.into());
                    // The blank before the brace would stand before the comma.
                    pitch.fmt();
                }
            }
        }
        None | Some(Item::None | Item::Table(_) | Item::Value(_)) => {}
    }
}

/// Tables in a bottle stand behind it, wherever they stood in the file that it comes from.
fn unplaced(table: &mut Table) {
    for (_, item) in table.iter_mut() {
        match item {
            Item::Table(inner) => {
                inner.set_position(None);
                unplaced(inner);
            }
            Item::ArrayOfTables(tables) => {
                for inner in tables.iter_mut() {
                    inner.set_position(None);
                    unplaced(inner);
                }
            }
            Item::None | Item::Value(_) => {}
        }
    }
}

fn comment(PlannedPour { note, sounded, .. }: &PlannedPour<'_>) -> String {
    let set_to = match sounded.setting {
        Setting::Fill(_) => format!(
            "{:.1} g, up to {:.1} mm above the table,",
            sounded.mass.g(),
            sounded.level.mm()
        ),
        Setting::Gauge(gauge) => format!("{:.2} bar above the air outside", gauge.bar()),
        Setting::Travel(travel) => format!("the floor {:.1} mm in", travel.mm()),
        Setting::Lift(lift) => format!("a lift of {:.1} mm", lift.mm()),
    };
    format!(
        "{note}, {:.2} Hz: {set_to} gives {:.2} Hz ±{:.0} cents",
        sounded.target.hz(),
        sounded.frequency().hz(),
        sounded.plus_minus().cents()
    )
}
