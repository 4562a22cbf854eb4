//! A class's measurements, as a spreadsheet saves them: bottle, filling, pitch.
//!
//! ```
//! use ullage::file::class_data::read;
//!
//! // German spreadsheets part columns with semicolons and write decimal commas.
//! let german = read("Bottle;fill ml;Hz\ncordial;0;142,5\ncordial;100;160\n")?;
//! let english = read("bottle,fill_ml,hz\ncordial,0,142.5\ncordial,100,160\n")?;
//! assert_eq!(german, english);
//! assert_eq!(german[0].frequency.hz(), 142.5);
//! # Ok::<(), ullage::file::class_data::ClassDataError>(())
//! ```

use crate::units::{Frequency, Temperature, Volume};

/// Most rows that are read.
const MOST_ROWS: usize = 10_000;
/// Most bytes of such a file.
pub const MOST_BYTES: u64 = 4_000_000;
/// Pitches that are taken, Hz.
const RANGE_HZ: (f64, f64) = (10.0, 20_000.0);
/// Most liquid that is taken, ml.
const MOST_ML: f64 = 100_000.0;
/// Warmths that are taken, °C.
const RANGE_C: (f64, f64) = (-10.0, 60.0);

/// One pitch that was measured.
#[derive(Clone, Debug, PartialEq)]
pub struct Measured {
    /// Its line in the file, counted from 1.
    pub line: u64,
    /// The bottle's name.
    pub bottle: String,
    /// Liquid in it.
    pub fill: Volume,
    /// The pitch.
    pub frequency: Frequency,
    /// How warm it was; the room's where nobody noted it.
    pub temperature: Option<Temperature>,
}

/// Why a table of measurements is refused.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ClassDataError {
    /// Not a table.
    #[error("{0}")]
    Csv(#[from] csv::Error),
    /// A column that is needed is missing.
    #[error(
        "there is no column {column:?}; the first line names the columns: bottle,fill_ml,hz (and temp_c if it was noted)"
    )]
    NoColumn {
        /// Its name.
        column: &'static str,
    },
    /// A cell is not a number, or out of range.
    #[error("line {line}: {column} = {text:?} is not a number from {min} to {max}")]
    Number {
        /// Counted from 1.
        line: u64,
        /// The column.
        column: &'static str,
        /// As written.
        text: String,
        /// The least that is taken.
        min: f64,
        /// The most.
        max: f64,
    },
    /// A row does not say which bottle.
    #[error("line {line} has no bottle's name")]
    NoName {
        /// Counted from 1.
        line: u64,
    },
    /// Nothing in it.
    #[error("there are no measurements in it")]
    Empty,
    /// More than a class measures.
    #[error("it has more than {limit} rows")]
    TooMany {
        /// The limit.
        limit: usize,
    },
}

/// Reads the text of a table: columns parted by commas, semicolons or tabs, the first line naming them in any order.
/// Rows without a pitch are passed over: a class does not fill every line of its worksheet.
///
/// # Errors
/// See [`ClassDataError`].
pub fn read(text: &str) -> Result<Vec<Measured>, ClassDataError> {
    // Some spreadsheets end lines with a return alone, which nothing below would count.
    let text = text.replace("\r\n", "\n").replace('\r', "\n");
    let text = text.trim_start_matches('\u{feff}');
    let head = text.lines().find(|l| !l.trim().is_empty()).unwrap_or("");
    let separator = [b';', b'\t']
        .into_iter()
        .find(|s| head.contains(char::from(*s)));
    let mut table = csv::ReaderBuilder::new()
        .delimiter(separator.unwrap_or(b','))
        .flexible(true)
        .comment(Some(b'#'))
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let columns = Columns::of(table.headers()?)?;
    let mut rows = Vec::new();
    for record in table.records() {
        let record = record?;
        if let Some(row) = columns.row(&record)? {
            if rows.len() == MOST_ROWS {
                return Err(ClassDataError::TooMany { limit: MOST_ROWS });
            }
            rows.push(row);
        }
    }
    if rows.is_empty() {
        return Err(ClassDataError::Empty);
    }
    Ok(rows)
}

/// Where each quantity stands.
struct Columns {
    bottle: usize,
    fill_ml: usize,
    hz: usize,
    temp_c: Option<usize>,
}

impl Columns {
    fn of(header: &csv::StringRecord) -> Result<Self, ClassDataError> {
        let plain = |text: &str| -> String {
            let letters = text.chars().filter(|c| c.is_alphanumeric());
            letters.collect::<String>().to_lowercase()
        };
        let place = |column: &'static str| {
            let found = header.iter().position(|text| plain(text) == plain(column));
            found.ok_or(ClassDataError::NoColumn { column })
        };
        Ok(Self {
            bottle: place("bottle")?,
            fill_ml: place("fill_ml")?,
            hz: place("hz")?,
            temp_c: place("temp_c").ok(),
        })
    }

    fn row(&self, record: &csv::StringRecord) -> Result<Option<Measured>, ClassDataError> {
        let line = record.position().map_or(0, csv::Position::line);
        let cell = |column: usize| record.get(column).unwrap_or("");
        if cell(self.hz).is_empty() {
            return Ok(None);
        }
        let number = |column, text: &str, (min, max): (f64, f64)| {
            let parsed = text.replace(',', ".").parse::<f64>().ok();
            let inside = parsed.filter(|value| (min..=max).contains(value));
            inside.ok_or_else(|| ClassDataError::Number {
                line,
                column,
                text: text.to_owned(),
                min,
                max,
            })
        };
        let bottle = cell(self.bottle).to_owned();
        if bottle.is_empty() {
            return Err(ClassDataError::NoName { line });
        }
        let noted = self.temp_c.map(cell).filter(|text| !text.is_empty());
        let temp_c = noted
            .map(|text| number("temp_c", text, RANGE_C))
            .transpose()?;
        Ok(Some(Measured {
            line,
            bottle,
            fill: Volume::from_ml(number("fill_ml", cell(self.fill_ml), (0.0, MOST_ML))?),
            frequency: Frequency::from_hz(number("hz", cell(self.hz), RANGE_HZ)?),
            temperature: temp_c.map(Temperature::from_c),
        }))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;

    #[test]
    fn columns_may_stand_in_any_order_and_blank_pitches_are_passed_over() {
        let text = "\u{feff}Hz\tTemp (C)\tFill (ml)\tBottle\n# of Tuesday\n\t\t100\tjar\n151.2\t19.5\t120\t jar \n";
        let rows = read(text).unwrap();
        assert_eq!(rows.len(), 1);
        assert_eq!(rows[0].bottle, "jar");
        assert_eq!(rows[0].fill.ml().round(), 120.0);
        assert!((rows[0].temperature.unwrap().c() - 19.5).abs() < 1e-9);
    }

    #[test]
    fn lines_may_end_as_any_system_ends_them() {
        let text = "bottle;fill_ml;hz\njar, green;0;142,5\njar, green;100;high\n";
        for end in ["\n", "\r\n", "\r"] {
            let error = read(&text.replace('\n', end)).unwrap_err().to_string();
            assert!(error.starts_with("line 3: hz"), "{end:?}: {error}");
        }
    }

    #[test]
    fn what_is_wrong_is_named_with_its_line_and_its_limits() {
        for (text, said) in [
            ("", "no column \"bottle\""),
            ("bottle,fill_ml\njar,1\n", "no column \"hz\""),
            ("bottle,fill_ml,hz\n", "no measurements"),
            ("bottle,fill_ml,hz\njar,1,\n", "no measurements"),
            (
                "bottle,fill_ml,hz\njar,1,high\n",
                "line 2: hz = \"high\" is not a number from 10 to 20000",
            ),
            (
                "bottle,fill_ml,hz\njar,-1,200\n",
                "line 2: fill_ml = \"-1\"",
            ),
            ("bottle,fill_ml,hz\njar,nan,200\n", "line 2: fill_ml"),
            ("bottle,fill_ml,hz\n,1,200\n", "line 2 has no bottle's name"),
        ] {
            let error = read(text).unwrap_err().to_string();
            assert!(error.contains(said), "{text:?}: {error}");
        }
        let long = "jar,1,200\n".repeat(MOST_ROWS + 1);
        let error = read(&format!("bottle,fill_ml,hz\n{long}")).unwrap_err();
        assert!(matches!(error, ClassDataError::TooMany { .. }));
    }
}
