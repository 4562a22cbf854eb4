//! A bottle that stands in no file: what its pitch says of it, as a table for a shelf.

use serde::Serialize;

use super::ListenArgs;
use crate::cli::print::JSON_VERSION;
use crate::cli::print::{print, print_json};
use crate::cli::{Failure, inputs};
use crate::listen::HeardNote;
use crate::listen::together::{Blows, together};
use crate::listen::unknown::{Inferred, Likely, Unknown, UnknownError, inferred};
use crate::number::rounded;
use crate::physics::conditions::Conditions;
use crate::set::read_shelf;
use crate::units::{Length, Volume};

/// What a bottle without a name is called.
const NAMELESS: &str = "found bottle";

/// A way out.
const REMEASURE: &str = "measuring capacity and bore again, and blowing it empty and softly: an overblown bottle sounds its next \
    mode";

#[derive(Clone, Copy, Serialize)]
struct DimensionRow {
    mm: f64,
    plus_minus_mm: f64,
}

#[derive(Serialize)]
struct InferredReport {
    version: u32,
    hz: f64,
    plus_minus_cents: f64,
    temp_c: f64,
    name: String,
    capacity_ml: f64,
    mouth_bore_mm: f64,
    neck_length: DimensionRow,
    neck_bore: DimensionRow,
    body_diameter: DimensionRow,
    height: DimensionRow,
    toml: String,
}

pub(super) fn run(args: &ListenArgs, notes: &[HeardNote]) -> Result<(), Failure> {
    let blows = together(notes).expect("a recording without notes was refused");
    let now = inputs::conditions(&Conditions::default(), &args.room)?;
    let (Some(capacity_ml), Some(mouth_mm)) = (args.capacity_ml, args.mouth_bore_mm) else {
        let because = "--unknown needs --capacity-ml and --mouth-bore-mm";
        return Err(Failure::bad("infer a bottle", because));
    };
    let unknown = Unknown {
        capacity: Volume::from_ml(capacity_ml),
        mouth_bore: Length::from_mm(mouth_mm),
        heard: blows.frequency,
        plus_minus: blows.plus_minus,
    };
    let found = inferred(&unknown, &now).map_err(|error| match error {
        UnknownError::Range { .. } => Failure::bad("infer a bottle", error),
        _ => Failure::cannot("infer a bottle", error).or_try(REMEASURE),
    })?;
    let name = args.name.as_deref().unwrap_or(NAMELESS);
    let text = toml(name, &unknown, &found, &now, &blows);
    // What cannot be read back is no table for a shelf.
    read_shelf(&text)
        .map_err(|error| Failure::cannot("infer a bottle", error).or_try(REMEASURE))?;
    if !args.json {
        return print(&text);
    }
    print_json(&InferredReport {
        version: JSON_VERSION,
        hz: rounded(blows.frequency.hz(), 3),
        plus_minus_cents: rounded(blows.plus_minus.cents(), 2),
        temp_c: rounded(now.temperature().c(), 2),
        name: name.to_owned(),
        capacity_ml,
        mouth_bore_mm: mouth_mm,
        neck_length: DimensionRow::new(found.neck_length),
        neck_bore: DimensionRow::new(found.neck_bore),
        body_diameter: DimensionRow::new(found.body_diameter),
        height: DimensionRow::new(found.height),
        toml: text,
    })
}

impl DimensionRow {
    fn new(likely: Likely) -> Self {
        Self {
            mm: rounded(likely.value.mm(), 1),
            plus_minus_mm: rounded(likely.plus_minus.mm(), 1),
        }
    }
}

/// The table. What it would look like is only said: the estimate that reads the table knows the same.
fn toml(
    name: &str,
    unknown: &Unknown,
    found: &Inferred,
    now: &Conditions,
    blows: &Blows,
) -> String {
    let said = |what: &str, likely: Likely| {
        let d = DimensionRow::new(likely);
        format!("{what} {:.0} ±{:.0} mm", d.mm, d.plus_minus_mm)
    };
    // A quoted string as TOML has it.
    let name = toml_edit::Value::from(name);
    format!(
        "[[bottle]]\n\
         name = {}\n\
         capacity_ml = {}\n\
         mouth_bore_mm = {}\n\
         # Likely, by its pitch and by what bottles look like: {}, {}, {}, {}.\n\
         heard = [{{ fill_ml = 0, hz = {}, temp_c = {}, way = \"blown\" }}]\n\
         remark = \"known by one pitch, {} blown\"\n",
        name.to_string().trim(),
        unknown.capacity.ml(),
        unknown.mouth_bore.mm(),
        said("neck", found.neck_length),
        said("neck bore", found.neck_bore),
        said("body", found.body_diameter),
        said("height", found.height),
        rounded(unknown.heard.hz(), 3),
        rounded(now.temperature().c(), 2),
        if blows.notes.len() == 1 {
            "once".to_owned()
        } else {
            format!("{} times", blows.notes.len())
        },
    )
}
