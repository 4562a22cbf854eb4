//! Reading what a command is given: files, and the room options over what they say.

use std::path::Path;

use super::Failure;
use super::options::RoomOptions;
use crate::physics::conditions::Conditions;
use crate::set::change::{self, Change, OutOfRange};
use crate::set::edit::EditError;
use crate::set::{self, Kind, OpenError, Set, ShelfOrSet};
use crate::units::{Pressure, Temperature};

/// Opens a shelf or a set; what was heard from a shelf's bottles was heard in the room of `options`. With the conditions of
/// the file, and `options` over them.
pub fn preset(path: &Path, options: &RoomOptions) -> Result<(ShelfOrSet, Conditions), Failure> {
    let shelf_room = conditions(&Conditions::default(), options)?;
    let preset = set::open_any(path, &shelf_room)?;
    let conditions = match &preset {
        ShelfOrSet::Set(set) => conditions(&set.conditions, options)?,
        ShelfOrSet::Shelf(_) => shelf_room,
    };
    Ok((preset, conditions))
}

/// Opens a set as it sounds in the room of `options`: see [`Set::heard_in`].
pub fn heard_set(path: &Path, options: &RoomOptions) -> Result<Set, Failure> {
    let set = set::open(path)?;
    let conditions = conditions(&set.conditions, options)?;
    Ok(set.heard_in(conditions))
}

/// The conditions of a file with the options over them.
pub fn conditions(base: &Conditions, options: &RoomOptions) -> Result<Conditions, Failure> {
    change::changed(base, &options.changes())
        .map_err(|error| out_of_range("use these room options", &error))
}

/// The failure to do `what` in conditions that nothing sounds in.
pub fn out_of_range(what: &str, error: &OutOfRange) -> Failure {
    match error {
        OutOfRange::Conditions(error) => Failure::bad(what, error),
        OutOfRange::LipOpen { .. } => Failure::bad(what, format!("--{error}")),
    }
}

/// The failure to do `what` with the text of the set in `path`.
pub fn not_edited(path: &Path, what: String, error: EditError) -> Failure {
    match error {
        EditError::Read(source) | EditError::ReadBack(source) => OpenError::Refused {
            path: path.to_path_buf(),
            source,
        }
        .into(),
        error => Failure::cannot(what, error),
    }
}

#[cfg(feature = "window")]
impl From<crate::app::DocumentError> for Failure {
    fn from(error: crate::app::DocumentError) -> Self {
        use crate::app::DocumentError;
        match error {
            DocumentError::Open(error) => error.into(),
            error => Self::cannot("use this set", error),
        }
    }
}

impl RoomOptions {
    /// What was asked for, one change an option.
    pub fn changes(&self) -> Vec<Change> {
        let Self {
            temp_c,
            humidity_pct,
            pressure_kpa,
            gas,
            neck_gas,
            liquid,
            headspace,
            lip_open,
        } = self;
        let temperature = temp_c.map(|c| Change::Temperature(Temperature::from_c(c)));
        let pressure = pressure_kpa.map(|kpa| Change::Pressure(Pressure::from_kpa(kpa)));
        [
            temperature,
            humidity_pct.map(|percent| Change::Humidity(percent / 100.0)),
            pressure,
            gas.map(Change::Gas),
            neck_gas.map(|gas| Change::NeckGas(Some(gas))),
            liquid.map(Change::Liquid),
            headspace.map(Change::Headspace),
            lip_open.map(Change::LipOpen),
        ]
        .into_iter()
        .flatten()
        .collect()
    }
}

/// The kind of bottle called `name`.
pub fn kind<'a>(kinds: &'a [Kind], name: &str, path: &Path) -> Result<&'a Kind, Failure> {
    kinds.iter().find(|k| k.name == name).ok_or_else(|| {
        let names: Vec<&str> = kinds.iter().map(|k| k.name.as_str()).take(20).collect();
        Failure::bad(
            format!("find the bottle {name:?} in {}", path.display()),
            "there is no bottle of that name",
        )
        .or_try(format!(
            "name one of these after --bottle: {}",
            names.join(", ")
        ))
    })
}
