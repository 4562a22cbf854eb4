//! Any text as a class's measurements: rows within their limits or an error. What was read is read the same when it is written
//! as another spreadsheet has it.
#![no_main]

use libfuzzer_sys::fuzz_target;
use ullage::file::class_data::{Measured, read};

/// The rows with semicolons and decimal commas.
fn german(rows: &[Measured]) -> String {
    let comma = |number: f64| number.to_string().replace('.', ",");
    let mut writer = csv::WriterBuilder::new()
        .delimiter(b';')
        // A name that begins with # would be a comment.
        .quote_style(csv::QuoteStyle::Always)
        .from_writer(Vec::new());
    let mut record = |cells: [&str; 4]| writer.write_record(cells).expect("it is memory");
    record(["Hz", "temp_c", "Bottle", "fill ml"]);
    for row in rows {
        // A unit and back may be off by the last bit, and a limit is a limit.
        let temp_c = row
            .temperature
            .map(|t| comma(t.c().clamp(-10.0, 60.0)))
            .unwrap_or_default();
        let [hz, fill_ml] = [row.frequency.hz(), row.fill.ml().clamp(0.0, 100_000.0)].map(comma);
        record([&hz, &temp_c, &row.bottle, &fill_ml]);
    }
    let bytes = writer.into_inner().expect("it is memory");
    String::from_utf8(bytes).expect("it was text")
}

fuzz_target!(|text: &str| {
    let Ok(rows) = read(text) else {
        return;
    };
    assert!(!rows.is_empty());
    for row in &rows {
        assert!((10.0..=20_000.0).contains(&row.frequency.hz()), "{row:?}");
        assert!((0.0..=100_000.1).contains(&row.fill.ml()), "{row:?}");
        assert!(!row.bottle.is_empty() && row.line >= 2, "{row:?}");
    }
    let again = read(&german(&rows)).expect("what was written reads back");
    assert_eq!(again.len(), rows.len());
    for (again, row) in again.iter().zip(&rows) {
        assert_eq!(again.bottle, row.bottle);
        let same = |a: f64, b: f64| (a - b).abs() <= 1e-9 * b.abs().max(1.0);
        assert!(same(again.frequency.hz(), row.frequency.hz()));
        assert!(same(again.fill.ml(), row.fill.ml()));
        assert_eq!(again.temperature.is_some(), row.temperature.is_some());
    }
});
