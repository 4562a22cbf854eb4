//! The set file of a plan: complete in itself, with what each pour will give beside it.

use serde::Deserialize;
use toml_edit::DocumentMut;

use super::fill::written as written_setting;
use super::plan::Given;
use crate::number::rounded;
use crate::plan::problem::Problem;
use crate::plan::search::{Placed, Plan};
use crate::set::Preset;
use crate::set::written::{self, Bottle, Filling, Pour, Room};
use crate::sounding::Setting;

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
    let pour = |placed: &Placed| {
        let setting = placed.sounded.setting;
        let (_, value) = written_setting(setting);
        let only = |is_it: bool| is_it.then_some(value);
        Pour {
            note: placed.target.note.to_string(),
            bottle: problem.candidates()[placed.bottle].name.clone(),
            fill_ml: only(matches!(setting, Setting::Fill(_))),
            way: placed.sounded.way,
            gauge_bar: only(matches!(setting, Setting::Gauge(_))),
            travel_mm: only(matches!(setting, Setting::Travel(_))),
            joined: None,
            lift_mm: only(matches!(setting, Setting::Lift(_))),
        }
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
        striking: struck(plan).then_some(written::Striking {
            mallet: given.striking.mallet,
            height_mm: given.striking.height.map(|h| rounded(h.mm(), 2)),
            doublet_pct: Some(rounded(100.0 * given.striking.doublet_share, 4)),
        }),
        bottle: shelf.bottle,
        joined: Vec::new(),
        pour: plan.pours.iter().map(pour).collect(),
    };
    let text = toml::to_string(&set).map_err(|error| error.to_string())?;
    with_comments(&text, plan)
}

/// Whether a mallet is needed.
fn struck(plan: &Plan) -> bool {
    plan.pours.iter().any(|p| p.sounded.way.is_struck())
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
    let sounded = &placed.sounded;
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
        "{}, {:.2} Hz: {set_to} gives {:.2} Hz ±{:.0} cents",
        placed.target.note,
        sounded.target.hz(),
        sounded.frequency().hz(),
        sounded.plus_minus().cents()
    )
}
