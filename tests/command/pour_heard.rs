//! What `ullage listen --pouring` promises: a track of a recorded pour, its files, and what it refuses.

use std::path::PathBuf;

use crate::common::command::{self, ullage};
use crate::common::files::{Folder, QUAY_SET, arg, read};
use crate::common::pours::{Bore, RATE_HZ, Scene, pour};

/// A pour into a bottle of the quay set, up to this share of what it holds, as a WAV file; and what is in it then, ml.
fn recorded(folder: &Folder, name: &str, share: f64) -> (PathBuf, String, f64) {
    let set = ullage::set::open(QUAY_SET).unwrap();
    let planned = set
        .pours
        .iter()
        .find(|pour| set.kind_of(pour).name == name)
        .unwrap();
    let bottle = &set.kind_of(planned).bottle;
    let mut scene = Scene::new(11, 45.0, 18.0);
    scene.to_ml = share * bottle.bore().capacity().ml();
    let poured = pour(&Bore::open(bottle, &set.conditions), &scene);
    let path = folder.path().join("pour.wav");
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: RATE_HZ as u32,
        bits_per_sample: 32,
        sample_format: hound::SampleFormat::Float,
    };
    let mut writer = hound::WavWriter::create(&path, spec).unwrap();
    for sample in &poured.samples {
        writer.write_sample(*sample).unwrap();
    }
    writer.finalize().unwrap();
    (path, planned.note.to_string(), scene.to_ml)
}

#[test]
fn a_recorded_pour_comes_to_a_fill_a_table_and_a_picture() {
    let folder = Folder::new();
    let (path, note, truth_ml) = recorded(&folder, "cordial", 0.3);
    let (csv, svg) = (folder.path().join("t.csv"), folder.path().join("t.svg"));
    let args = [
        "listen",
        arg(&path),
        "--pouring",
        QUAY_SET,
        "--note",
        &note,
        "--track",
        arg(&csv),
        "--svg",
        arg(&svg),
    ];
    let told = command::json(&args);
    let (fill, half) = (
        told["fill_ml"].as_f64().unwrap(),
        told["fill_plus_minus_ml"].as_f64().unwrap(),
    );
    assert!((fill - truth_ml).abs() < half + 10.0, "{told}");
    // At least 3 % of 512 ml.
    assert!(half > 15.0, "{told}");
    let rows = read(&csv);
    assert!(rows.starts_with("at_s,state,fill_ml,low_ml,high_ml,flow_ml_s,call\n"));
    assert!(rows.lines().count() > 150 && rows.contains(",waiting,") && rows.contains(",pouring,"));
    assert!(read(&svg).contains("class=\"band\""));
    ullage(&args).ended(1).says("--force");
    ullage(&[&args[..], &["--force"]].concat())
        .ended(0)
        .prints("the scale and the blown note decide");
}

#[test]
fn a_pour_that_cannot_be_followed_is_refused_with_a_way_out() {
    let folder = Folder::new();
    let (path, note, _) = recorded(&folder, "cordial", 0.1);
    let with = |more: &[&str]| {
        ullage(&[&["listen", arg(&path), "--pouring", QUAY_SET][..], more].concat())
    };
    with(&["--note", "C#1"]).ended(2).says("--note with one of");
    with(&["--note", &note, "--start-ml", "500"])
        .ended(2)
        .says("--start-ml");
    with(&["--note", &note, "--early-percent", "60"])
        .ended(2)
        .says("0 to 50");
    with(&["--note", &note, "--set", QUAY_SET]).ended(2);
    ullage(&["listen", arg(&path), "--funnel"])
        .ended(2)
        .says("--pouring");
}
