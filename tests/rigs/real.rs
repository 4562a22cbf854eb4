//! Recordings of real bottles that others have published: what is heard in them against another analysis of the same files.
//!
//! Ignored unless asked for: the recordings are not ours to pass on. Clone the three repositories that
//! `tests/data/real_recordings.csv` names into one folder, and
//! `ULLAGE_RECORDINGS=FOLDER cargo test --test rigs -- --ignored --nocapture real::`.

use std::path::PathBuf;

use crate::common::command::ullage;
use crate::common::files::table;
use crate::common::measure::cents;

/// Louder peaks than this beside the strongest may be the note as well, dB: a tie.
const TIED_DB: f64 = -3.0;

struct Row {
    kind: String,
    file: String,
    /// Pitches that are right.
    right_hz: Vec<f64>,
}

fn rows() -> Vec<Row> {
    let row = |cells: csv::StringRecord| {
        let mut right_hz = vec![cells[2].parse().unwrap()];
        for peak in cells[3].split_whitespace() {
            let (hz, db) = peak.split_once(':').unwrap();
            if db.parse::<f64>().unwrap() >= TIED_DB {
                right_hz.push(hz.parse().unwrap());
            }
        }
        Row {
            kind: cells[0].to_owned(),
            file: cells[1].to_owned(),
            right_hz,
        }
    };
    let mut rows = table("real_recordings.csv");
    rows.records().map(Result::unwrap).map(row).collect()
}

/// What came of the recordings of one kind.
#[derive(Default)]
struct Sum {
    of: usize,
    refused: usize,
    near: usize,
    beyond: Vec<String>,
    worst_cents: f64,
}

fn hear(rows: &[Row], kind: &str, way: &str) -> Sum {
    let folder = PathBuf::from(std::env::var_os("ULLAGE_RECORDINGS").expect("ULLAGE_RECORDINGS"));
    let mut sum = Sum::default();
    for row in rows.iter().filter(|row| row.kind == kind) {
        sum.of += 1;
        let path = folder.join(&row.file);
        assert!(path.exists(), "{} is not there", path.display());
        let run = ullage(&["listen", path.to_str().unwrap(), "--way", way, "--json"]);
        if run.code != Some(0) {
            println!(
                "{}: refused: {}",
                row.file,
                run.err.lines().nth(1).unwrap_or("")
            );
            sum.refused += 1;
            continue;
        }
        let told = run.json();
        let (hz, plus_minus) = (
            told["hz"].as_f64().unwrap(),
            told["plus_minus_cents"].as_f64().unwrap(),
        );
        let off = row.right_hz.iter().map(|right| cents(hz, *right));
        let off = off.min_by(|a, b| a.abs().total_cmp(&b.abs())).unwrap();
        println!("{}: {hz:.2} Hz ±{plus_minus:.1}, {off:+.1} cents", row.file);
        sum.near += usize::from(off.abs() <= 20.0);
        sum.worst_cents = sum.worst_cents.max(off.abs());
        if off.abs() > plus_minus {
            sum.beyond.push(row.file.clone());
        }
    }
    println!(
        "{kind}, {way}: {} of {} within 20 cents, {} refused, worst {:.1} cents, beyond their ±: {:?}",
        sum.near, sum.of, sum.refused, sum.worst_cents, sum.beyond
    );
    sum
}

#[test]
#[ignore = "needs recordings that are not ours"]
fn real_taps_and_blows_are_heard_as_another_analysis_has_them() {
    let rows = rows();
    let taps = hear(&rows, "tap", "struck");
    assert_eq!(taps.of, 25);
    assert!(taps.near + taps.refused >= 24 && taps.refused <= 4);
    assert!(taps.beyond.is_empty(), "{:?}", taps.beyond);
    let clinks = hear(&rows, "clink", "struck");
    assert_eq!(clinks.of, 13);
    assert!(clinks.near >= 12);
    assert!(clinks.beyond.is_empty(), "{:?}", clinks.beyond);
    let blown = hear(&rows, "blown", "blown");
    assert_eq!((blown.of, blown.refused), (5, 0));
    assert!(blown.worst_cents < 7.0);
}

#[test]
#[ignore = "needs recordings that are not ours"]
fn real_taps_are_not_taken_for_blown_notes() {
    let rows = rows();
    let sums = ["tap", "clink"].map(|kind| hear(&rows, kind, "blown"));
    assert!(sums.iter().all(|sum| sum.refused == sum.of));
}
