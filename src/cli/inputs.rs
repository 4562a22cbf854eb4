//! Reading what a command is given: files, and the room options over what they say.

use std::path::Path;

use super::Failure;
use super::args::RoomOptions;
use crate::physics::conditions::Conditions;
use crate::set::{self, Kind, Preset, Set};
use crate::units::{Pressure, Temperature};

/// Opens a shelf or a set; what was heard from a shelf's bottles was heard in the room of `options`. With the conditions of
/// the file, and `options` over them.
pub fn preset(path: &Path, options: &RoomOptions) -> Result<(Preset, Conditions), Failure> {
    let shelf_room = conditions(&Conditions::default(), options)?;
    let preset = set::open_any(path, &shelf_room)?;
    let conditions = match &preset {
        Preset::Set(set) => conditions(&set.conditions, options)?,
        Preset::Shelf(_) => shelf_room,
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
    let mut conditions = base.clone();
    if let Some(temp_c) = options.temp_c {
        conditions.room.temperature = Temperature::from_c(temp_c);
    }
    if let Some(humidity_pct) = options.humidity_pct {
        conditions.room.humidity = humidity_pct / 100.0;
    }
    if let Some(pressure_kpa) = options.pressure_kpa {
        conditions.room.pressure = Pressure::from_kpa(pressure_kpa);
    }
    conditions.gas = options.gas.unwrap_or(conditions.gas);
    conditions.neck_gas = options.neck_gas.or(conditions.neck_gas);
    conditions.liquid = options.liquid.unwrap_or(conditions.liquid);
    conditions.headspace = options.headspace.unwrap_or(conditions.headspace);
    conditions.lip_open = options.lip_open.unwrap_or(conditions.lip_open);
    checked(&conditions, "use these room options")?;
    Ok(conditions)
}

/// Conditions that the gas model and the mouth reach, or the failure to do `what` with them.
pub fn checked(conditions: &Conditions, what: &str) -> Result<(), Failure> {
    conditions
        .gases()
        .map_err(|error| Failure::bad(what, error))?;
    if !(crate::physics::mouth::MIN_OPEN_SHARE..=1.0).contains(&conditions.lip_open) {
        let because = format!("--lip-open {} is outside 0.05 to 1", conditions.lip_open);
        return Err(Failure::bad(what, because));
    }
    Ok(())
}

/// The kind of bottle called `name`.
pub fn kind<'a>(kinds: &'a [Kind], name: &str, path: &Path) -> Result<&'a Kind, Failure> {
    kinds.iter().find(|k| k.name == name).ok_or_else(|| {
        let names: Vec<&str> = kinds.iter().map(|k| k.name.as_str()).take(20).collect();
        Failure::bad(
            format!("find the bottle {name:?} in {}", path.display()),
            "there is none of that name",
        )
        .or_try(format!("--bottle with one of: {}", names.join(", ")))
    })
}
