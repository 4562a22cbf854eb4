//! Every edit of the text of a set: what changes is put in its place, and everything else stays as its owner wrote it, byte for
//! byte, comments and all.
//!
//! A [`SetText`] is edited by what is meant, not by keys; [`SetText::finish`] reads the result back before it is handed out,
//! so that no file is ever written that cannot be opened again. A number is touched only if it is another one with the digits
//! that a file has of it. A shelf's text is a set's without notes, and can be edited the same.
//!
//! ```
//! use ullage::index::PourIndex;
//! use ullage::set::edit::SetText;
//! use ullage::sounding::Setting;
//! use ullage::units::Volume;
//!
//! let text = std::fs::read_to_string("presets/quay/set.toml")?;
//! let mut edit = SetText::parse(&text)?;
//! edit.change(&"temp-c=24".parse()?)?;
//! edit.set_pour(PourIndex::new(0), Setting::Fill(Volume::from_ml(123.0)))?;
//! let edited = edit.finish()?;
//! assert!(edited.text.contains("fill_ml = 123.0"));
//! assert!((edited.set.conditions.temperature().c() - 24.0).abs() < 1e-9);
//! assert_eq!(SetText::parse(&text)?.finish()?.text, text);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod bottles;
mod error;
mod heard;
mod planned;
#[cfg(test)]
mod tests;

use toml_edit::{Array, DocumentMut, Item, Table, TableLike, Value};

pub use bottles::{Restructure, bottles, restructured};
pub use error::EditError;
pub use planned::{PlannedPour, PlannedSet, planned};

use super::change::{Change, Key};
use super::read::{read_set, read_unfitted};
use super::{HeardPitch, Set};
use crate::index::{KindIndex, PourIndex};
use crate::number::rounded;
use crate::physics::conditions::Conditions;
use crate::sounding::Setting;
use crate::tuning::{NoteName, Temperament, Tuning};
use crate::units::{Temperature, Volume};

/// Digits in a file of a volume of liquid, ml, of a travel or a lift, mm, and of a condition in its unit.
const USUAL_DIGITS: i32 = 2;
/// Digits of a pressure, bar.
const GAUGE_DIGITS: i32 = 4;
/// Digits of a pitch, Hz, and of the share that lips leave open.
const FINE_DIGITS: i32 = 3;

/// The text of a set while it is edited.
#[derive(Clone, Debug)]
pub struct SetText {
    document: DocumentMut,
    /// What it says now; the bottles as described.
    set: Set,
    /// Its lines end as some systems end them, all of them; what takes the text apart makes them plain.
    has_returns: bool,
}

/// An edited text, and what it says.
#[derive(Clone, Debug)]
pub struct Edited {
    /// The text.
    pub text: String,
    /// Read back from it: checked, and fitted to what was heard.
    pub set: Set,
}

/// How a setting is written in a file: its key, and its value as far as it can be set.
#[must_use]
pub fn in_file(setting: Setting) -> (&'static str, f64) {
    let (key, digits) = match setting {
        Setting::Fill(_) => ("fill_ml", USUAL_DIGITS),
        Setting::Gauge(_) => ("gauge_bar", GAUGE_DIGITS),
        Setting::Travel(_) => ("travel_mm", USUAL_DIGITS),
        Setting::Lift(_) => ("lift_mm", USUAL_DIGITS),
    };
    (key, rounded(setting.value(), digits))
}

impl SetText {
    /// Reads the text of a set, or of a shelf.
    ///
    /// # Errors
    /// [`EditError::Read`].
    pub fn parse(text: &str) -> Result<Self, EditError> {
        Ok(Self {
            set: read_unfitted(text).map_err(|error| EditError::Read(Box::new(error)))?,
            document: text.parse()?,
            has_returns: text.contains('\n')
                && text.matches('\n').count() == text.matches("\r\n").count(),
        })
    }

    /// Writes one change of the room, the filling or the lips. A pitch without a temperature was heard at that of the file:
    /// where the file's changes, it is written beside the pitch.
    ///
    /// # Errors
    /// [`EditError::Form`].
    pub fn change(&mut self, change: &Change) -> Result<(), EditError> {
        let (section, key) = change.key().in_file();
        let before = change.key().of(&self.set.conditions);
        if written(&before) == written(change) {
            return Ok(());
        }
        let table = self.section(section)?;
        match written(change) {
            Written::Number(number) => put(table, key, number),
            Written::Name(name) => put(table, key, name),
            Written::Nothing => {
                table.remove(key);
            }
        }
        if change.key() == Key::TempC {
            self.note_warmth()?;
        }
        change.apply(&mut self.set.conditions);
        Ok(())
    }

    /// How warm the room is.
    #[must_use]
    pub fn temperature(&self) -> Temperature {
        self.set.conditions.temperature()
    }

    fn note_warmth(&mut self) -> Result<(), EditError> {
        let now = self.temperature();
        for kind in 0..self.set.kinds.len() {
            for pitch in 0..self.set.kinds[kind].heard.len() {
                let heard = self.set.kinds[kind].heard[pitch];
                if heard.temp_c.is_none() {
                    let noted = heard.noted(now);
                    heard::note_warmth(self.row("bottle", kind)?, pitch, &noted)?;
                    self.set.kinds[kind].heard[pitch] = noted;
                }
            }
        }
        Ok(())
    }

    /// Writes the room, the filling and the lips.
    ///
    /// # Errors
    /// As [`SetText::change`].
    pub fn set_conditions(&mut self, now: &Conditions) -> Result<(), EditError> {
        Key::ALL
            .into_iter()
            .try_for_each(|key| self.change(&key.of(now)))
    }

    /// Writes what the notes mean.
    ///
    /// # Errors
    /// [`EditError::Form`].
    pub fn set_tuning(&mut self, now: &Tuning) -> Result<(), EditError> {
        let before = self.set.tuning.clone();
        let [a4_before, a4] = [&before, now].map(|t| rounded(t.a4().hz(), FINE_DIGITS));
        if a4_before != a4 {
            put(self.section("tuning")?, "a4_hz", a4);
        }
        if before.temperament() != now.temperament() {
            let value: Value = match now.temperament() {
                Temperament::Cents(cents) => Array::from_iter(cents.iter().copied()).into(),
                named => named.name().into(),
            };
            put(self.section("tuning")?, "temperament", value);
        }
        if before.tonic() != now.tonic() {
            put(self.section("tuning")?, "tonic", now.tonic().to_string());
        }
        self.set.tuning = now.clone();
        Ok(())
    }

    /// Writes another note for a pour.
    ///
    /// # Errors
    /// [`EditError::NoSuchPour`].
    pub fn set_note(&mut self, pour: PourIndex, note: NoteName) -> Result<(), EditError> {
        self.check_pour(pour)?;
        if self.set.pours[pour].note != note {
            put(self.row("pour", pour.place())?, "note", note.to_string());
            self.set.pours[pour].note = note;
        }
        Ok(())
    }

    /// Writes what a pour is set to.
    ///
    /// # Errors
    /// [`EditError::NoSuchPour`]; a setting that the pour cannot have is refused by [`SetText::finish`].
    pub fn set_pour(&mut self, pour: PourIndex, setting: Setting) -> Result<(), EditError> {
        self.check_pour(pour)?;
        let before = self.set.pours[pour].same_sort(setting);
        if before.map(in_file) != Some(in_file(setting)) {
            let (key, value) = in_file(setting);
            put(self.row("pour", pour.place())?, key, value);
            self.set.pours[pour].set_to(setting);
        }
        Ok(())
    }

    /// Writes how much liquid is in a pair, an index into [`Set::pairs`].
    ///
    /// # Errors
    /// [`EditError::NoSuchPair`].
    pub fn set_liquid(&mut self, pair: usize, liquid: Volume) -> Result<(), EditError> {
        let count = self.set.pairs.len();
        let before = self.set.pairs.get(pair);
        let before = before.ok_or(EditError::NoSuchPair { index: pair, count })?;
        let [before, now] = [before.liquid, liquid].map(|v| rounded(v.ml(), USUAL_DIGITS));
        if before != now {
            put(self.row("joined", pair)?, "liquid_ml", now);
            self.set.pairs[pair].liquid = liquid;
        }
        Ok(())
    }

    /// Adds a pitch to those heard from the bottle called `name`.
    ///
    /// # Errors
    /// [`EditError::NoSuchBottle`], [`EditError::Form`].
    pub fn push_heard(&mut self, name: &str, heard: &HeardPitch) -> Result<(), EditError> {
        let kind = self.kind(name)?;
        heard::push(self.row("bottle", kind.place())?, heard)?;
        self.set.kinds[kind].heard.push(*heard);
        Ok(())
    }

    /// Writes what was heard from the bottle called `name`, in place of what it has; what both have in common at the
    /// beginning stays as it is written. Those without a temperature were heard at that of the text.
    ///
    /// # Errors
    /// [`EditError::NoSuchBottle`], [`EditError::Form`].
    pub fn set_heard(&mut self, name: &str, heard: &[HeardPitch]) -> Result<(), EditError> {
        let kind = self.kind(name)?;
        let now = self.temperature();
        let before = &self.set.kinds[kind].heard;
        let is_same = |(a, b): &(&HeardPitch, &HeardPitch)| a.noted(now) == b.noted(now);
        let same = before.iter().zip(heard).take_while(is_same).count();
        let old = same..before.len();
        if same == old.end.max(heard.len()) {
            return Ok(());
        }
        heard::replace(self.row("bottle", kind.place())?, old, &heard[same..])?;
        let kept = &mut self.set.kinds[kind].heard;
        kept.truncate(same);
        kept.extend_from_slice(&heard[same..]);
        Ok(())
    }

    /// The edited text, read back.
    ///
    /// # Errors
    /// [`EditError::ReadBack`], if what was written into it makes no set.
    pub fn finish(self) -> Result<Edited, EditError> {
        let text = self.text();
        let set = read_set(&text).map_err(|error| EditError::ReadBack(Box::new(error)))?;
        Ok(Edited { text, set })
    }

    fn text(&self) -> String {
        let text = self.document.to_string();
        if self.has_returns {
            text.replace('\n', "\r\n")
        } else {
            text
        }
    }

    fn check_pour(&self, index: PourIndex) -> Result<(), EditError> {
        let count = self.set.pours.len();
        if index.place() < count {
            Ok(())
        } else {
            Err(EditError::NoSuchPour { index, count })
        }
    }

    fn kind(&self, name: &str) -> Result<KindIndex, EditError> {
        let found = self.set.kinds.iter().position(|kind| kind.name == name);
        let found = found.map(KindIndex::new);
        found.ok_or_else(|| EditError::NoSuchBottle {
            name: name.to_owned(),
        })
    }

    /// The table called `name`, empty if there was none.
    fn section(&mut self, name: &'static str) -> Result<&mut dyn TableLike, EditError> {
        self.document
            .entry(name)
            .or_insert(Item::Table(Table::new()))
            .as_table_like_mut()
            .ok_or(EditError::Form { name })
    }

    /// One table of the list called `name`, whether it is written as `[[name]]` or as `name = [{ … }]`.
    fn row(&mut self, name: &'static str, index: usize) -> Result<&mut dyn TableLike, EditError> {
        let row = match self.document.get_mut(name) {
            Some(Item::ArrayOfTables(tables)) => tables.get_mut(index).map(|t| t as _),
            Some(Item::Value(Value::Array(list))) => list
                .get_mut(index)
                .and_then(Value::as_inline_table_mut)
                .map(|t| t as _),
            _ => None,
        };
        row.ok_or(EditError::Form { name })
    }
}

/// A condition as it is written.
#[derive(PartialEq)]
enum Written {
    Number(f64),
    Name(String),
    /// Its key is left out.
    Nothing,
}

fn written(change: &Change) -> Written {
    let digits = match change.key() {
        Key::LipOpen => FINE_DIGITS,
        _ => USUAL_DIGITS,
    };
    match (change, change.number()) {
        (_, Some(number)) => Written::Number(rounded(number, digits)),
        (Change::NeckGas(None), _) => Written::Nothing,
        _ => Written::Name(change.value()),
    }
}

/// Puts `value` where `key` is, keeping the comment behind it.
fn put(table: &mut dyn TableLike, key: &str, value: impl Into<Value>) {
    let mut value = value.into();
    match table.get_mut(key) {
        Some(Item::Value(old)) => {
            *value.decor_mut() = old.decor().clone();
            *old = value;
        }
        _ => {
            table.insert(key, Item::Value(value));
        }
    }
}
