//! The numbers of the sheet, flat: the same for JSON and CSV.

use serde::Serialize;

use super::sheet::{Row, Sheet};

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
    /// Rise of the pitch with liquid.
    pub cents_per_ml: f64,
}

fn rounded(value: f64, digits: i32) -> f64 {
    let scale = 10f64.powi(digits);
    (value * scale).round() / scale
}

impl From<&Row<'_>> for FlatRow {
    fn from(row: &Row<'_>) -> Self {
        let (poured, p) = (&row.poured, &row.poured.prediction);
        Self {
            order: row.order,
            note: row.note.to_string(),
            target_hz: rounded(poured.target.hz(), 4),
            bottle: row.kind.name.clone(),
            number: row.number,
            way: "blown",
            fill_ml: rounded(p.fill.ml(), 3),
            fill_g: rounded(poured.mass.g(), 2),
            level_mm: rounded(row.level().mm(), 2),
            below_rim_mm: rounded(row.below_rim().mm(), 2),
            tolerance_ml: row.tolerance().map(|v| rounded(v.ml(), 3)),
            hz: rounded(p.note().frequency.hz(), 4),
            q: rounded(p.note().quality, 3),
            error_cents: rounded(poured.error().cents(), 3),
            plus_minus_cents: rounded(p.uncertainty.plus_minus.cents(), 1),
            dominated_by: row.doubt(),
            cents_per_ml: rounded(p.per_ml.cents(), 3),
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
