//! Shelves and sets as people write them in TOML: every field as in the file, units in every name.
//!
//! Nothing is checked here beyond types and known keys; [`super::read_any`] turns these into bottles that
//! the rest of the program trusts.
//!
//! ```
//! use ullage::set::{read_shelf, written};
//!
//! let shelf = written::Shelf {
//!     version: 1,
//!     title: "under the sink".into(),
//!     remark: String::new(),
//!     bottle: vec![written::Bottle {
//!         name: "half litre".into(),
//!         capacity_ml: Some(500.0),
//!         mouth_bore_mm: Some(18.0),
//!         neck_length_mm: Some(60.0),
//!         body_diameter_mm: Some(66.0),
//!         ..Default::default()
//!     }],
//! };
//! let text = toml::to_string(&shelf)?;
//! assert_eq!(read_shelf(&text)?.kinds[0].count, 1);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::quantity;
use crate::physics::liquid::Liquid;
use crate::physics::recipe::GasRecipe;
use crate::physics::reverberation::RoomKind;
use crate::physics::shell::strike::Mallet;
use crate::physics::vapour::Headspace;
pub use crate::sounding::Way;
use crate::tuning::Tuning;

fn one() -> u32 {
    1
}

#[expect(
    clippy::trivially_copy_pass_by_ref,
    reason = "serde hands it over by reference"
)]
fn is_zero(semitones: &i32) -> bool {
    *semitones == 0
}

/// A headspace by name, or as a bare number.
fn name_or_share<'de, D: serde::Deserializer<'de>>(input: D) -> Result<Headspace, D::Error> {
    struct NameOrShare;
    impl serde::de::Visitor<'_> for NameOrShare {
        type Value = Headspace;
        fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
            f.write_str(
                "\"dry\", \"room\", \"saturated\" or a number from 0 (room) to 1 (saturated)",
            )
        }
        fn visit_str<E: serde::de::Error>(self, text: &str) -> Result<Headspace, E> {
            text.parse().map_err(E::custom)
        }
        fn visit_f64<E: serde::de::Error>(self, share: f64) -> Result<Headspace, E> {
            share.to_string().parse().map_err(E::custom)
        }
        fn visit_i64<E: serde::de::Error>(self, share: i64) -> Result<Headspace, E> {
            share.to_string().parse().map_err(E::custom)
        }
    }
    input.deserialize_any(NameOrShare)
}

/// Pairs of numbers; a list of another length is refused, which serde's own reader of arrays does not do.
fn pairs<'de, D: serde::Deserializer<'de>>(input: D) -> Result<Option<Vec<[f64; 2]>>, D::Error> {
    #[derive(Deserialize)]
    #[serde(try_from = "Vec<f64>")]
    struct Pair([f64; 2]);
    #[derive(thiserror::Error, Debug)]
    #[error("each entry is a pair of numbers, as in [60, 23.5], and this one has {count}")]
    struct NotAPair {
        count: usize,
    }
    impl TryFrom<Vec<f64>> for Pair {
        type Error = NotAPair;
        fn try_from(numbers: Vec<f64>) -> Result<Self, NotAPair> {
            let count = numbers.len();
            let pair = <[f64; 2]>::try_from(numbers);
            pair.map(Self).map_err(|_| NotAPair { count })
        }
    }
    let pairs: Vec<Pair> = Vec::deserialize(input)?;
    Ok(Some(pairs.into_iter().map(|pair| pair.0).collect()))
}

fn name_or_share_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
    schemars::json_schema!({
        "oneOf": [
            { "type": "string", "enum": ["dry", "room", "saturated"] },
            { "type": "number", "minimum": 0, "maximum": 1 }
        ]
    })
}

/// A shelf: the bottles in the crate.
#[derive(Clone, Debug, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Shelf {
    /// Version of this format; 1.
    #[serde(default = "one")]
    pub version: u32,
    /// What to call it.
    #[serde(default)]
    pub title: String,
    /// Anything worth a note.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub remark: String,
    /// The kinds of bottle.
    #[serde(default)]
    pub bottle: Vec<Bottle>,
}

/// A set: a shelf's bottles with notes and fillings, the room and the tuning. Complete in itself.
#[derive(Clone, Debug, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Set {
    /// Version of this format; 1.
    #[serde(default = "one")]
    pub version: u32,
    /// What to call it.
    #[serde(default)]
    pub title: String,
    /// Anything worth a note.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub remark: String,
    /// Semitones up, below 0 down, that a piece is moved to be played with this set; -48 to 48.
    #[serde(default, skip_serializing_if = "is_zero")]
    #[schemars(range(min = -48, max = 48))]
    pub transpose: i32,
    /// The air in the room, and what the room does to the sound.
    #[serde(default)]
    pub room: Room,
    /// What the notes mean.
    #[serde(default)]
    pub tuning: Tuning,
    /// What fills the bottles and how they are blown.
    #[serde(default)]
    pub filling: Filling,
    /// What strikes those that are struck, and where.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub striking: Option<Striking>,
    /// The kinds of bottle.
    #[serde(default)]
    pub bottle: Vec<Bottle>,
    /// Bottles joined in pairs by a hose.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub joined: Vec<Joined>,
    /// Which note is poured into which bottle.
    #[serde(default)]
    pub pour: Vec<Pour>,
}

/// The air in the room, and what the room does to the sound.
#[derive(Clone, Copy, Debug, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Room {
    /// Temperature, °C; -10 to 60.
    #[serde(deserialize_with = "quantity::celsius")]
    pub temp_c: f64,
    /// Relative humidity, percent; 0 to 100.
    pub humidity_pct: f64,
    /// Air pressure, kPa; 50 to 120.
    pub pressure_kpa: f64,
    /// What it is for the ear: small (default), hall or outdoors.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub kind: Option<RoomKind>,
    /// From the bottles to the listener, m; 0.3 to 3.7 in a small room (default 0.8), to 16.3 in a hall (3), to 50 outdoors (2).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub distance_m: Option<f64>,
}

impl Default for Room {
    fn default() -> Self {
        Self {
            temp_c: 20.0,
            humidity_pct: 50.0,
            pressure_kpa: 101.325,
            kind: None,
            distance_m: None,
        }
    }
}

/// What fills the bottles and how they are blown.
#[derive(Clone, Debug, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Filling {
    /// What is poured: water, brine, "salt 20%", "sea water", "sugar 30%", "glycerol 50%" (percent by mass), "ethanol 40%",
    /// "isopropanol 70%" (percent by volume), "vegetable oil", "dish soap", milk, vinegar, or what a litre weighs, "1.05 kg/l".
    pub liquid: Liquid,
    /// Gas above it: room air, dry air, breath, co2, helium, argon, nitrogen, or a blend such as "30% helium in air".
    pub gas: GasRecipe,
    /// Gas in the neck, if another.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub neck_gas: Option<GasRecipe>,
    /// Vapour of the liquid in the gas above it: dry, room, saturated, or a share from 0 to 1.
    #[serde(deserialize_with = "name_or_share")]
    #[schemars(schema_with = "name_or_share_schema")]
    pub headspace: Headspace,
    /// Share of the mouth's area that the lips leave open; 0.05 to 1.
    pub lip_open: f64,
}

impl Default for Filling {
    fn default() -> Self {
        Self {
            liquid: Liquid::Water,
            gas: GasRecipe::default(),
            neck_gas: None,
            headspace: Headspace::Room,
            lip_open: 1.0,
        }
    }
}

/// One kind of bottle, by whatever its owner can measure.
#[derive(Clone, Debug, Default, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Bottle {
    /// Its name, unique in the file.
    pub name: String,
    /// How many there are; 1 to 10000.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub count: Option<u32>,
    /// glass (default), plastic, ceramic or metal.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub material: Option<String>,
    /// Inner diameters: height above the inner floor and bore, mm, from the floor up.
    #[serde(deserialize_with = "pairs", skip_serializing_if = "Option::is_none")]
    pub profile_mm: Option<Vec<[f64; 2]>>,
    /// Water poured, g, and level above the table, mm, seen while filling over a scale.
    #[serde(deserialize_with = "pairs", skip_serializing_if = "Option::is_none")]
    pub poured: Option<Vec<[f64; 2]>>,
    /// Outer diameters: height above the table and diameter, mm, from the foot to the rim, as a photograph shows them.
    #[serde(deserialize_with = "pairs", skip_serializing_if = "Option::is_none")]
    pub outline_mm: Option<Vec<[f64; 2]>>,
    /// Brimful capacity, ml.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[serde(deserialize_with = "quantity::maybe_ml")]
    pub capacity_ml: Option<f64>,
    /// Inner diameter of the mouth, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[serde(deserialize_with = "quantity::maybe_mm")]
    pub mouth_bore_mm: Option<f64>,
    /// Inner diameter at the very rim, where that flares out over the mouth, mm; mouth_bore_mm is then the one below it.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[serde(deserialize_with = "quantity::maybe_mm")]
    pub lip_bore_mm: Option<f64>,
    /// Narrowest inner diameter of the neck, mm, where a bead or a step makes it narrower than the mouth; that of the mouth if
    /// it was looked for and there is none.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[serde(deserialize_with = "quantity::maybe_mm")]
    pub narrowest_bore_mm: Option<f64>,
    /// Inner diameter at the foot of the neck, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[serde(deserialize_with = "quantity::maybe_mm")]
    pub neck_bore_mm: Option<f64>,
    /// From the end of the shoulder to the mouth, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[serde(deserialize_with = "quantity::maybe_mm")]
    pub neck_length_mm: Option<f64>,
    /// The body is square: body_diameter_mm is across its flats.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub square: bool,
    /// Outer diameter of the body, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[serde(deserialize_with = "quantity::maybe_mm")]
    pub body_diameter_mm: Option<f64>,
    /// From the table to where the shoulder begins, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[serde(deserialize_with = "quantity::maybe_mm")]
    pub body_length_mm: Option<f64>,
    /// From where the shoulder begins to where the neck begins, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[serde(deserialize_with = "quantity::maybe_mm")]
    pub shoulder_length_mm: Option<f64>,
    /// From the table to the mouth, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[serde(deserialize_with = "quantity::maybe_mm")]
    pub height_mm: Option<f64>,
    /// Wall of the body, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[serde(deserialize_with = "quantity::maybe_mm")]
    pub wall_mm: Option<f64>,
    /// Wall around the mouth, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[serde(deserialize_with = "quantity::maybe_mm")]
    pub lip_wall_mm: Option<f64>,
    /// Mass of the empty bottle, g.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mass_g: Option<f64>,
    /// How well it was measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub measured_to: Option<MeasuredTo>,
    /// Pitches already heard from it.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub heard: Vec<Heard>,
    /// Anything worth a note.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub remark: String,
}

/// Largest errors (95 %) of what was measured.
#[derive(Clone, Copy, Debug, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct MeasuredTo {
    /// Of inner diameters, mm.
    #[serde(deserialize_with = "quantity::mm")]
    pub bore_mm: f64,
    /// Of lengths, heights and outer diameters, mm.
    #[serde(deserialize_with = "quantity::mm")]
    pub length_mm: f64,
    /// Of the capacity, percent.
    pub capacity_pct: f64,
    /// Of wall thicknesses, mm.
    #[serde(deserialize_with = "quantity::mm")]
    pub wall_mm: f64,
    /// Of the radii of an outline, mm.
    #[serde(deserialize_with = "quantity::mm")]
    pub outline_mm: f64,
    /// Of all radii of an outline together, percent.
    pub outline_pct: f64,
}

impl Default for MeasuredTo {
    fn default() -> Self {
        Self {
            bore_mm: 0.3,
            length_mm: 1.0,
            capacity_pct: 1.0,
            wall_mm: 0.3,
            outline_mm: 1.0,
            outline_pct: 2.0,
        }
    }
}

/// A pitch heard from a bottle.
#[derive(Clone, Copy, Debug, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Heard {
    /// Liquid in it, ml.
    #[serde(deserialize_with = "quantity::ml")]
    pub fill_ml: f64,
    /// Its pitch, Hz.
    pub hz: f64,
    /// Temperature at the time, °C; the room's where it is missing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[serde(deserialize_with = "quantity::maybe_celsius")]
    pub temp_c: Option<f64>,
    /// How it was sounded: blown, struck or pressurised.
    #[serde(default)]
    pub way: Way,
    /// Pressure above the air outside, bar; with way = "pressurised" only.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gauge_bar: Option<f64>,
}

/// What strikes the bottles, and where.
#[derive(Clone, Copy, Debug, Default, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Striking {
    /// What the mallet's head is of: "soft felt", rubber, wood (default) or metal, which chips glass.
    pub mallet: Mallet,
    /// Where it strikes, above the inner floor, mm; halfway up the body where it is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[serde(deserialize_with = "quantity::maybe_mm")]
    pub height_mm: Option<f64>,
    /// How far apart the two pitches of an uneven wall are, percent; 0 to 2.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub doublet_pct: Option<f64>,
}

/// Two bottles joined at their feet by a hose.
#[derive(Clone, Debug, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Joined {
    /// Its name, unique among the pairs.
    pub name: String,
    /// Name of the bottle that stays on the table.
    pub first: String,
    /// Name of the bottle that is lifted.
    pub second: String,
    /// Inner diameter of the hose, mm; 2 to 50.
    #[serde(deserialize_with = "quantity::mm")]
    pub hose_bore_mm: f64,
    /// Length of the hose, mm; 50 to 10000.
    #[serde(deserialize_with = "quantity::mm")]
    pub hose_length_mm: f64,
    /// Liquid in both and in the hose, ml.
    #[serde(deserialize_with = "quantity::ml")]
    pub liquid_ml: f64,
}

/// One note of a set.
#[derive(Clone, Debug, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Pour {
    /// The note, as "F#4" or "F#4-14c".
    pub note: String,
    /// Name of the bottle.
    pub bottle: String,
    /// Liquid in it, ml; solved for by `ullage fill` where it is missing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[serde(deserialize_with = "quantity::maybe_ml")]
    pub fill_ml: Option<f64>,
    /// How it is sounded: blown, struck, pressurised, sliding or joined.
    #[serde(default)]
    pub way: Way,
    /// Pressure above the air outside, bar; with way = "pressurised", plastic only.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gauge_bar: Option<f64>,
    /// How far the floor is pushed in, mm; with way = "sliding".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[serde(deserialize_with = "quantity::maybe_mm")]
    pub travel_mm: Option<f64>,
    /// The pair that the bottle belongs to; with way = "joined".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub joined: Option<String>,
    /// How far the foot of the pair's second bottle is above that of its first, mm; with way = "joined".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[serde(deserialize_with = "quantity::maybe_mm")]
    pub lift_mm: Option<f64>,
}
