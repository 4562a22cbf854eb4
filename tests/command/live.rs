//! `ullage devices` and `ullage play --headless` where there may be neither a sound card nor MIDI.

use std::time::Instant;

use crate::common::command::{json, program, run, ullage};
use crate::common::files::QUAY_SET;

/// A sound card and a keyboard that no machine has.
const NOTHING_THERE: [&str; 5] = [
    "--device",
    "a card that nobody has",
    "--midi",
    "nobody's keyboard",
    "--no-virtual-port",
];

#[test]
fn devices_are_listed_or_said_to_be_missing_a_line_each() {
    ullage(&["devices"])
        .ended(0)
        .prints("outputs:")
        .prints("inputs:")
        .prints("MIDI inputs:");
}

#[test]
fn devices_as_json_have_their_keys() {
    let value = json(&["devices"]);
    assert_eq!(value["version"], 1);
    assert!(value["outputs"].is_array() && value["inputs"].is_array());
    assert!(value["midi_inputs"].is_array());
    for host in value["outputs"].as_array().unwrap() {
        assert!(
            host["host"].is_string() && host["devices"].is_array(),
            "{host}"
        );
    }
}

#[test]
fn playing_without_a_window_ends_when_it_is_told_and_says_what_is_missing() {
    let start = Instant::now();
    let args = ["play", QUAY_SET, "--headless", "--for-s", "1"];
    let text = ullage(&[&args[..], &NOTHING_THERE].concat()).ended(0).err;
    let silent: Vec<&str> = text
        .lines()
        .filter(|line| line.starts_with("no sound: "))
        .collect();
    assert_eq!(silent.len(), 1, "{text}");
    assert!(
        text.contains("bottles:") && text.contains("played for"),
        "{text}"
    );
    let seconds = start.elapsed().as_secs_f64();
    // 20 s: opening may take long on a busy machine, but it must not hang.
    assert!((1.0..20.0).contains(&seconds), "{seconds} s");
}

#[test]
fn numbers_out_of_range_are_refused_with_the_range() {
    for (option, value, range) in [
        ("--level-db", "40", "-60 to 12"),
        ("--buffer-frames", "3", "16 to 8192"),
        ("--rate-hz", "100", "8000 to 192000"),
        ("--for-s", "-1", "0 to 1000000"),
    ] {
        let option = format!("{option}={value}");
        ullage(&["play", QUAY_SET, "--headless", &option])
            .ended(2)
            .says(range);
    }
}

#[test]
fn without_a_display_it_says_so_in_a_line_and_plays_from_midi() {
    let without_display = &mut program();
    for name in ["DISPLAY", "WAYLAND_DISPLAY", "WAYLAND_SOCKET"] {
        without_display.env_remove(name);
    }
    let args = ["play", QUAY_SET, "--for-s", "0.2"];
    let text = run(without_display.args(args).args(NOTHING_THERE))
        .ended(0)
        .err;
    let lines: Vec<&str> = text
        .lines()
        .filter(|line| line.contains("playing from MIDI, as with --headless"))
        .collect();
    assert_eq!(lines.len(), 1, "{text}");
    assert!(text.contains("played for"), "{text}");
}
