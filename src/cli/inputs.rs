//! Reading what a command is given: files, and the room options over what they say.

use std::fs::File;
use std::io::Read;
use std::path::Path;

use super::Failure;
use super::args::RoomOptions;
use super::calibrated;
use crate::physics::conditions::Conditions;
use crate::preset::{Kind, Preset, PresetError, Set, read_any, read_set};
use crate::units::{Pressure, Temperature};

/// Largest file that is read as a shelf or a set, bytes.
const MAX_FILE_BYTES: u64 = 16 << 20;

fn text(path: &Path) -> Result<String, Failure> {
    let what = format!("read {}", path.display());
    let bytes = at_most(path, MAX_FILE_BYTES, "that a shelf or set may have")?;
    String::from_utf8(bytes).map_err(|error| {
        let at = error.utf8_error().valid_up_to();
        let lines_before = error.as_bytes()[..at].iter().filter(|b| **b == b'\n');
        let line = 1 + lines_before.count();
        Failure::bad(
            &what,
            format!("byte {} (line {line}) is not UTF-8 text", at + 1),
        )
        .or_try("saving it as UTF-8 in the editor, if it is a shelf or a set at all")
    })
}

/// The bytes of a file of at most `limit` bytes.
pub fn bytes(path: &Path, limit: u64) -> Result<Vec<u8>, Failure> {
    at_most(path, limit, "that is read")
}

fn at_most(path: &Path, limit: u64, the_most: &str) -> Result<Vec<u8>, Failure> {
    let what = format!("read {}", path.display());
    let fail = |error: std::io::Error| Failure::bad(&what, error);
    let too_long = |size: String| {
        let because = format!("{size} are more than {limit}, the most {the_most}");
        Err(Failure::bad(&what, because))
    };
    let file = File::open(path).map_err(fail)?;
    let size = file.metadata().map_err(fail)?.len();
    if size > limit {
        return too_long(format!("{size} bytes"));
    }
    // A device says that it has no length and goes on for ever.
    let mut bytes = Vec::new();
    file.take(limit + 1).read_to_end(&mut bytes).map_err(fail)?;
    if bytes.len() as u64 > limit {
        return too_long("its bytes".to_owned());
    }
    Ok(bytes)
}

/// Reads a shelf or a set, its bottles as they were measured: see [`calibrated::preset`].
pub fn preset(path: &Path) -> Result<Preset, Failure> {
    parsed(path, read_any(&text(path)?))
}

/// Reads a set, its bottles fitted to what was heard from them.
pub fn set(path: &Path) -> Result<Set, Failure> {
    set_of(path, &text(path)?)
}

/// A set from text that was read from `path`, its bottles fitted to what was heard from them.
pub fn set_of(path: &Path, text: &str) -> Result<Set, Failure> {
    let mut set = parsed(path, read_set(text))?;
    calibrated::set(&mut set, path)?;
    Ok(set)
}

/// The text of a set's file, for editing.
pub fn set_text(path: &Path) -> Result<String, Failure> {
    text(path)
}

fn parsed<T>(path: &Path, result: Result<T, PresetError>) -> Result<T, Failure> {
    result.map_err(|error| {
        Failure::bad(format!("use {}", path.display()), error)
            .or_try("ullage schema shelf, or ullage schema set, for every key and what it means")
    })
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
