//! The set file of a plan: complete in itself, with what each pour will give beside it.

use serde::Deserialize;
use toml_edit::DocumentMut;

use super::plan::Given;
use super::predict::rounded;
use crate::plan::problem::Problem;
use crate::plan::search::{Placed, Plan};
use crate::preset::written::{self, Bottle, Filling, Pour, Room};
use crate::preset::{Preset, Way};

/// The bottles of a file, whatever else is in it: the file has been read and checked before.
#[derive(Deserialize)]
struct Bottles {
    #[serde(default)]
    title: String,
    bottle: Vec<Bottle>,
}

/// The text of the set, for the shelf's own text `source`.
pub(super) fn set_file(
    source: &str,
    title: Option<&str>,
    given: &Given,
    problem: &Problem,
    plan: &Plan,
) -> Result<String, String> {
    let mut shelf: Bottles = toml::from_str(source).map_err(|error| error.to_string())?;
    note_temperatures(&mut shelf.bottle, given);
    let pour = |placed: &Placed| Pour {
        note: placed.target.note.to_string(),
        bottle: problem.candidates()[placed.bottle].name.clone(),
        fill_ml: Some(rounded(placed.poured.prediction.fill.ml(), 2)),
        way: Way::Blown,
    };
    let conditions = &given.conditions;
    let set = written::Set {
        version: 1,
        title: title.map_or(shelf.title, str::to_owned),
        remark: String::new(),
        room: Room {
            temp_c: rounded(conditions.room.temperature.c(), 4),
            humidity_pct: rounded(100.0 * conditions.room.humidity, 4),
            pressure_kpa: rounded(conditions.room.pressure.kpa(), 5),
        },
        tuning: given.tuning.clone(),
        filling: Filling {
            liquid: conditions.liquid,
            gas: conditions.gas,
            neck_gas: conditions.neck_gas,
            headspace: conditions.headspace,
            lip_open: conditions.lip_open,
        },
        bottle: shelf.bottle,
        pour: plan.pours.iter().map(pour).collect(),
    };
    let text = toml::to_string(&set).map_err(|error| error.to_string())?;
    with_comments(&text, plan)
}

/// Notes the room of the set that bottles came from with what was heard in it: the new set has another.
fn note_temperatures(bottles: &mut [Bottle], given: &Given) {
    let Preset::Set(before) = &given.preset else {
        return;
    };
    let (then, now) = (
        before.conditions.temperature(),
        given.conditions.temperature(),
    );
    if then != now {
        let heard = bottles.iter_mut().flat_map(|b| &mut b.heard);
        heard.for_each(|h| h.temp_c = h.temp_c.or(Some(rounded(then.c(), 4))));
    }
}

fn with_comments(text: &str, plan: &Plan) -> Result<String, String> {
    let mut document: DocumentMut = text
        .parse()
        .map_err(|error: toml_edit::TomlError| error.to_string())?;
    let pours = document
        .get_mut("pour")
        .and_then(toml_edit::Item::as_array_of_tables_mut);
    if let Some(pours) = pours {
        for (table, placed) in pours.iter_mut().zip(&plan.pours) {
            table
                .decor_mut()
                .set_prefix(format!("\n# {}\n", comment(placed)));
        }
    }
    Ok(format!(
        "# A bottle set, planned with `ullage plan`; hear it with `ullage audition`.\n\n{document}"
    ))
}

fn comment(placed: &Placed) -> String {
    let poured = &placed.poured;
    let p = &poured.prediction;
    format!(
        "{}, {:.2} Hz: {:.1} g, up to {:.1} mm above the table, gives {:.2} Hz ±{:.0} cents",
        placed.target.note,
        poured.target.hz(),
        poured.mass.g(),
        p.level.mm(),
        p.note().frequency.hz(),
        p.uncertainty.plus_minus.cents()
    )
}
