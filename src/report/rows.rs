//! The numbers of the sheet, flat: the same for JSON and CSV.
//!
//! ```
//! use ullage::report::{rows, sheet::Sheet};
//! let set = ullage::set::open("presets/quay/set.toml")?;
//! let flat = rows::flat(&Sheet::new(&set));
//! for row in &flat {
//!     // Water at 19 °C: 998.4 kg/m³. The grams are rounded to 0.01, the millilitres to 0.001.
//!     assert!((row.fill_g - 0.9984 * row.fill_ml).abs() < 0.006 + 0.0001 * row.fill_ml, "{row:?}");
//!     // More liquid leaves less air, which sounds higher.
//!     assert!(row.cents_per_ml > Some(0.0));
//! }
//! // A table for a spreadsheet: a heading and a line for each bottle, with as many cells.
//! let csv = rows::csv(&Sheet::new(&set))?;
//! assert_eq!(csv.lines().count(), 1 + flat.len());
//! // A bottle that somebody named so stays a name there.
//! assert_eq!(rows::without_formula("=1+1"), "'=1+1");
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use serde::Serialize;

use super::sheet::{Sheet, SheetRow};
use crate::number::rounded;
use crate::sounding::Setting;

/// One bottle's numbers, rounded to what can be poured or heard.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FlatRow {
    /// When it is poured, from one.
    pub order: usize,
    /// Its note.
    pub note: String,
    /// Pitch aimed at.
    pub target_hz: f64,
    /// Name of the bottle's kind, as in the file.
    pub bottle: String,
    /// Which of that kind, from one.
    pub number: usize,
    /// How it is sounded.
    pub way: &'static str,
    /// Liquid in it.
    pub fill_ml: f64,
    /// The same on a scale.
    pub fill_g: f64,
    /// Pressure above the air outside; of those that are pumped up.
    pub gauge_bar: Option<f64>,
    /// How far the floor is pushed in; of those that slide.
    pub travel_mm: Option<f64>,
    /// How far the pair's second bottle is above the first; of those that are joined.
    pub lift_mm: Option<f64>,
    /// What strikes it; of those that are struck.
    pub mallet: Option<&'static str>,
    /// Level above the table.
    pub level_mm: f64,
    /// Level below the rim.
    pub below_rim_mm: f64,
    /// More or less liquid that moves the pitch by five cents; none where liquid hardly moves it.
    pub tolerance_ml: Option<f64>,
    /// Pitch expected.
    pub hz: f64,
    /// How long it rings: 2π times the energy held over the energy lost in one period.
    pub q: f64,
    /// How far the expected pitch is above the one aimed at.
    pub error_cents: f64,
    /// How sure the expected pitch is (95 %).
    pub plus_minus_cents: f64,
    /// What that comes from most.
    pub dominated_by: String,
    /// Rise of the pitch with liquid; of those that it tunes.
    pub cents_per_ml: Option<f64>,
    /// Rise of the pitch with pressure.
    pub cents_per_bar: Option<f64>,
    /// Rise of the pitch with travel or lift.
    pub cents_per_mm: Option<f64>,
}

impl From<&SheetRow<'_>> for FlatRow {
    fn from(row: &SheetRow<'_>) -> Self {
        let sounded = &row.sounded;
        let cents = Some(rounded(sounded.per_unit.cents(), 3));
        let (mut gauge_bar, mut travel_mm, mut lift_mm) = (None, None, None);
        let (mut cents_per_ml, mut cents_per_bar, mut cents_per_mm) = (None, None, None);
        match sounded.setting {
            Setting::Fill(_) => cents_per_ml = cents,
            Setting::Gauge(gauge) => {
                (gauge_bar, cents_per_bar) = (Some(rounded(gauge.bar(), 4)), cents);
            }
            Setting::Travel(travel) => {
                (travel_mm, cents_per_mm) = (Some(rounded(travel.mm(), 2)), cents);
            }
            Setting::Lift(lift) => (lift_mm, cents_per_mm) = (Some(rounded(lift.mm(), 2)), cents),
        }
        Self {
            order: row.order,
            note: row.note.to_string(),
            target_hz: rounded(sounded.target.hz(), 4),
            bottle: row.kind.name.clone(),
            number: row.number,
            way: sounded.way.name(),
            fill_ml: rounded(sounded.fill.ml(), 3),
            fill_g: rounded(sounded.mass.g(), 2),
            gauge_bar,
            travel_mm,
            lift_mm,
            mallet: sounded.mallet.map(|m| m.name()),
            level_mm: rounded(row.level().mm(), 2),
            below_rim_mm: rounded(row.below_rim().mm(), 2),
            tolerance_ml: row.tolerance().map(|v| rounded(v.ml(), 3)),
            hz: rounded(sounded.frequency().hz(), 4),
            q: rounded(sounded.quality(), 3),
            error_cents: rounded(sounded.error().cents(), 3),
            plus_minus_cents: rounded(sounded.plus_minus().cents(), 1),
            dominated_by: row.doubt(),
            cents_per_ml,
            cents_per_bar,
            cents_per_mm,
        }
    }
}

/// The rows of a sheet, in the set's order.
#[must_use]
pub fn flat(sheet: &Sheet<'_>) -> Vec<FlatRow> {
    sheet.rows.iter().map(FlatRow::from).collect()
}

/// The rows as CSV with a header, UTF-8, lines ended as RFC 4180 says.
///
/// # Errors
/// What the CSV writer says; it writes to memory, so nothing is expected.
pub fn csv(sheet: &Sheet<'_>) -> Result<String, csv::Error> {
    let mut writer = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::new());
    for mut row in flat(sheet) {
        row.bottle = without_formula(&row.bottle);
        writer.serialize(row)?;
    }
    let bytes = writer.into_inner().map_err(|error| error.into_error())?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

/// `text` that no spreadsheet takes for a formula: one that starts like one gets an apostrophe before it,
/// also where blanks hide its start. OWASP, *CSV Injection*.
#[must_use]
pub fn without_formula(text: &str) -> String {
    let starts_one = text
        .trim_start()
        .starts_with(['=', '+', '-', '@', '＝', '＋', '－', '＠'])
        || text.starts_with(['\t', '\r', '\n']);
    if starts_one {
        format!("'{text}")
    } else {
        text.to_owned()
    }
}
