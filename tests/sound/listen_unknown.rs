//! Bottles whose shape is known, inferred from capacity, mouth and pitch alone.

use std::collections::BTreeMap;

use serde_json::Value;
use ullage::fit::air::{Heard, calibrated};
use ullage::listen::unknown::{Unknown, inferred};
use ullage::physics::air::Room;
use ullage::physics::conditions::Conditions;
use ullage::physics::prediction::Prediction;
use ullage::units::{Frequency, Interval, Length, Volume};

use crate::common::files::kind;

/// Dry air at 20 °C, as the figures were computed in.
fn dry() -> Conditions {
    Conditions {
        room: Room {
            humidity: 0.0,
            ..Room::default()
        },
        ..Conditions::default()
    }
}

struct Known {
    capacity_ml: f64,
    mouth_mm: f64,
    neck_mm: f64,
    height_mm: f64,
    /// Fill and pitch, the empty one first.
    heard: Vec<(f64, f64)>,
}

/// The eight shapes of the file and their pitches by finite elements.
fn known() -> BTreeMap<String, Known> {
    let shapes: Value = serde_json::from_str(include_str!("../data/bottles_fem.json")).unwrap();
    let mut all = BTreeMap::new();
    for (name, shape) in shapes["bottles"].as_object().unwrap() {
        let points: Vec<(f64, f64)> = shape["profile"]
            .as_array()
            .unwrap()
            .iter()
            .map(|p| (p[0].as_f64().unwrap(), p[1].as_f64().unwrap()))
            .collect();
        let (height, mouth) = *points.last().unwrap();
        // The neck: where the bore has come down to within 65 % of the mouth's and stays there.
        let foot = points.iter().rposition(|(_, r)| *r > 1.65 * mouth);
        let foot_mm = foot.map_or(0.0, |i| points[i + 1].0);
        let rows = include_str!("../data/bottles_fem.csv").lines();
        let mut heard: Vec<(f64, f64)> = rows
            .map(|line| line.split(',').collect::<Vec<_>>())
            .filter(|cells| cells[0] == name)
            .map(|cells| (cells[2].parse().unwrap(), cells[5].parse().unwrap()))
            .collect();
        heard.dedup_by(|a, b| a.0 == b.0);
        let known = Known {
            capacity_ml: shape["brimful_ml"].as_f64().unwrap(),
            mouth_mm: 2.0 * mouth,
            neck_mm: height - foot_mm,
            height_mm: height,
            heard,
        };
        all.insert(name.clone(), known);
    }
    all
}

#[test]
fn the_neck_and_the_other_fills_of_known_bottles_lie_within_what_is_stated() {
    let now = dry();
    let all = known();
    assert!(all.len() >= 8);
    let (mut of, mut covered, mut necks, mut squares) = (0, 0, 0, 0.0);
    let mut refused = Vec::new();
    let mut tubes = 0;
    println!("bottle            neck mm: true  inferred ±     other fills: rms cents, covered");
    for (name, known) in &all {
        if known.neck_mm > 0.5 * known.height_mm {
            println!("{name:18} a tube, and no bottle");
            tubes += 1;
            continue;
        }
        let (fill, hz) = known.heard[0];
        assert_eq!(fill, 0.0, "{name}");
        let unknown = Unknown {
            capacity: Volume::from_ml(known.capacity_ml),
            mouth_bore: Length::from_mm(known.mouth_mm),
            heard: Frequency::from_hz(hz),
            plus_minus: Interval::from_cents(0.5),
        };
        let found = match inferred(&unknown, &now) {
            Ok(found) => found,
            Err(error) => {
                println!("{name:18} {:5.0}  refused: {error}", known.neck_mm);
                refused.push(name.clone());
                continue;
            }
        };
        let (neck, plus_minus) = (
            found.neck_length.value.mm(),
            found.neck_length.plus_minus.mm(),
        );
        necks += usize::from((neck - known.neck_mm).abs() <= plus_minus);
        let text = format!(
            "name = \"x\"\ncapacity_ml = {}\nmouth_bore_mm = {}",
            known.capacity_ml, known.mouth_mm,
        );
        let bottle = kind(&text).bottle;
        let heard = Heard {
            fill: Volume::default(),
            frequency: Frequency::from_hz(hz),
            temperature: Some(now.temperature()),
        };
        let fitted = calibrated(&bottle, &[heard], &now).unwrap().bottle;
        let (mut this, mut inside, mut count) = (0.0, 0, 0);
        // To nine tenths full: above that the shoulder's shape, which nobody knows, is all there is.
        for &(fill_ml, hz) in known
            .heard
            .iter()
            .skip(1)
            .filter(|(ml, _)| *ml < 0.85 * known.capacity_ml)
        {
            let said = Prediction::new(&fitted, Volume::from_ml(fill_ml), &now).unwrap();
            let off = 1200.0 * (said.note().frequency.hz() / hz).log2();
            this += off * off;
            count += 1;
            inside += usize::from(off.abs() <= said.uncertainty.plus_minus.cents());
        }
        (of, covered, squares) = (of + count, covered + inside, squares + this);
        println!(
            "{name:18} {:5.0}     {neck:6.1} ±{plus_minus:4.1}    {:5.1}   {inside} of {count}",
            known.neck_mm,
            (this / count as f64).sqrt()
        );
    }
    let rms = (squares / of as f64).sqrt();
    println!(
        "necks within ±: {necks} of {}; other fills: rms {rms:.1} cents, {covered} of {of} covered",
        all.len()
    );
    assert!(refused.is_empty(), "{refused:?}");
    assert!(all.len() - tubes >= 6, "{tubes} tubes");
    // Measured 5 of 6: of the litre of milk, whose wide neck is half a shoulder, it says 28 ± 19 mm, and 51 are true.
    assert!(necks + 1 >= all.len() - tubes, "{necks} necks");
    assert!(covered * 20 >= of * 19, "{covered} of {of}");
    assert!(rms < 40.0, "{rms}");
}
