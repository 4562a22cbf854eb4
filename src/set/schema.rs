//! The JSON Schema of what people write: the types of [`super::written`], with the ranges that the reader has, the names that it
//! knows, and quantities that may be a text with a unit.
//!
//! ```
//! let shelf = ullage::set::schema::shelf();
//! let material = &shelf["$defs"]["Bottle"]["properties"]["material"];
//! assert_eq!(material["enum"][1], "plastic");
//! ```

use schemars::{JsonSchema, schema_for};
use serde_json::{Map, Value, json};

use super::describe::MATERIALS;
use super::kinds::{HEARD_RANGE_C, HEARD_RANGE_HZ, MAX_COUNT};
use super::written;

/// A number with or without a fraction, as a text begins with it.
const NUMBER: &str = r"^\s*[-+−]?[0-9½¼¾⅛⅜⅝⅞][-0-9.,/½¼¾⅛⅜⅝⅞ ]*\s*";
/// Units of each quantity, as `units::text` reads them.
const LENGTHS: &str = r#"([mM][mM]|[cC][mM]|[mM]|[iI][nN](ch|ches)?|"|″)?\s*$"#;
const VOLUMES: &str = r"((US|us|UK|uk|[iI]mp(erial)?)\s+)?([mM][lL]|cc|[cC][lL]|[dD][lL]|[lL]|lit(re|er)s?|(fl\.?\s*)?oz\.?|pt|pints?)?\s*$";
const TEMPERATURES: &str = r"°?\s*([cCfFkK]|[cC]elsius|[fF]ahrenheit|[kK]elvin)?\s*$";

/// What a number of the file is: its table, its key, and its least and most.
type Range = (&'static str, &'static str, Option<f64>, Option<f64>);

/// Ranges beside those that the types have. Of lengths and volumes whose range depends on the bottle, that they are not below 0.
const RANGES: [Range; 40] = [
    ("Room", "temp_c", Some(-10.0), Some(60.0)),
    ("Room", "humidity_pct", Some(0.0), Some(100.0)),
    ("Room", "pressure_kpa", Some(50.0), Some(120.0)),
    ("Room", "distance_m", Some(0.3), Some(50.0)),
    ("Filling", "lip_open", Some(0.05), Some(1.0)),
    ("Bottle", "count", Some(1.0), Some(MAX_COUNT as f64)),
    ("Bottle", "capacity_ml", Some(0.0), None),
    ("Bottle", "mouth_bore_mm", Some(0.0), Some(1000.0)),
    ("Bottle", "lip_bore_mm", Some(0.0), Some(1000.0)),
    ("Bottle", "narrowest_bore_mm", Some(0.0), Some(1000.0)),
    ("Bottle", "neck_bore_mm", Some(0.0), Some(1000.0)),
    ("Bottle", "neck_length_mm", Some(0.0), Some(2000.0)),
    ("Bottle", "body_diameter_mm", Some(0.0), None),
    ("Bottle", "body_length_mm", Some(0.0), Some(2000.0)),
    ("Bottle", "shoulder_length_mm", Some(0.0), Some(2000.0)),
    ("Bottle", "height_mm", Some(0.0), None),
    ("Bottle", "wall_mm", Some(0.0), Some(30.0)),
    ("Bottle", "lip_wall_mm", Some(0.0), Some(50.0)),
    ("Bottle", "mass_g", Some(0.0), None),
    ("MeasuredTo", "bore_mm", Some(0.0), Some(20.0)),
    ("MeasuredTo", "length_mm", Some(0.0), Some(100.0)),
    ("MeasuredTo", "capacity_pct", Some(0.0), Some(10.0)),
    ("MeasuredTo", "wall_mm", Some(0.0), Some(10.0)),
    ("MeasuredTo", "outline_mm", Some(0.0), Some(20.0)),
    ("MeasuredTo", "outline_pct", Some(0.0), Some(20.0)),
    ("Heard", "fill_ml", Some(0.0), None),
    (
        "Heard",
        "hz",
        Some(HEARD_RANGE_HZ.0),
        Some(HEARD_RANGE_HZ.1),
    ),
    (
        "Heard",
        "temp_c",
        Some(HEARD_RANGE_C.0),
        Some(HEARD_RANGE_C.1),
    ),
    ("Heard", "gauge_bar", Some(0.0), Some(4.0)),
    ("Striking", "height_mm", Some(0.0), Some(1000.0)),
    ("Striking", "doublet_pct", Some(0.0), Some(2.0)),
    ("Joined", "hose_bore_mm", Some(2.0), Some(50.0)),
    ("Joined", "hose_length_mm", Some(50.0), Some(10_000.0)),
    ("Joined", "liquid_ml", Some(0.0), None),
    ("Pour", "fill_ml", Some(0.0), None),
    ("Pour", "gauge_bar", Some(0.0), Some(4.0)),
    ("Pour", "travel_mm", Some(0.0), None),
    ("Pour", "lift_mm", None, None),
    ("Tuning", "a4_hz", Some(380.0), Some(500.0)),
    ("Bottle", "material", None, None),
];

/// The schema of a shelf.
#[must_use]
pub fn shelf() -> Value {
    of::<written::Shelf>()
}

/// The schema of a set.
#[must_use]
pub fn set() -> Value {
    of::<written::Set>()
}

fn of<T: JsonSchema>() -> Value {
    let mut schema = Value::from(schema_for!(T));
    in_prose(&mut schema);
    for (table, key, least, most) in RANGES {
        let place = format!("/$defs/{table}/properties/{key}");
        if let Some(Value::Object(property)) = schema.pointer_mut(&place) {
            bounded(property, key, (least, most));
        }
    }
    schema
}

/// Descriptions without the examples and links that they have for programmers.
fn in_prose(schema: &mut Value) {
    match schema {
        Value::Object(map) => {
            for (key, value) in map.iter_mut() {
                match value {
                    Value::String(text) if key == "description" => *text = prose(text),
                    value => in_prose(value),
                }
            }
        }
        Value::Array(list) => list.iter_mut().for_each(in_prose),
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => {}
    }
}

fn prose(text: &str) -> String {
    let before_code = text.split("\n```").next().unwrap_or_default();
    let told = before_code
        .split("\n\n")
        .take_while(|part| !part.contains("[`"));
    let told: Vec<String> = told.map(|part| part.replace('\n', " ")).collect();
    told.join("\n\n").trim().to_owned()
}

/// A property with its range, the names that it may have, and its unit as a text.
fn bounded(
    property: &mut Map<String, Value>,
    key: &str,
    (least, most): (Option<f64>, Option<f64>),
) {
    // TOML has nothing to write for null: a key is there or not.
    if let Some(Value::Array(types)) = property.get("type") {
        let own = types.iter().find(|t| *t != "null").cloned();
        property.extend(own.map(|own| ("type".to_owned(), own)));
    }
    if key == "material" {
        property.insert("enum".to_owned(), json!(MATERIALS));
    }
    let mut ends = Map::new();
    ends.extend(least.map(|least| ("minimum".to_owned(), json!(least))));
    ends.extend(most.map(|most| ("maximum".to_owned(), json!(most))));
    let units = match key.rsplit_once('_').map(|(_, unit)| unit) {
        Some("mm") => LENGTHS,
        Some("ml") => VOLUMES,
        Some("c") => TEMPERATURES,
        _ => {
            property.extend(ends);
            return;
        }
    };
    property.remove("type");
    property.remove("format");
    ends.insert("type".to_owned(), json!("number"));
    let text = json!({"type": "string", "pattern": format!("{NUMBER}{units}")});
    property.insert("anyOf".to_owned(), json!([ends, text]));
}
