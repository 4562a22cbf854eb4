//! `ullage devices` and `ullage play --headless` where there may be neither a sound card nor MIDI.

use std::time::Instant;

use assert_cmd::Command;

fn ullage() -> Command {
    Command::new(env!("CARGO_BIN_EXE_ullage"))
}

#[test]
fn devices_are_listed_or_said_to_be_missing_a_line_each() {
    let told = ullage().arg("devices").assert().success();
    let text = String::from_utf8_lossy(&told.get_output().stdout).into_owned();
    for word in ["outputs:", "inputs:", "MIDI inputs:"] {
        assert!(text.contains(word), "no {word} in {text}");
    }
}

#[test]
fn devices_as_json_have_their_keys() {
    let told = ullage().args(["devices", "--json"]).assert().success();
    let value: serde_json::Value = serde_json::from_slice(&told.get_output().stdout).unwrap();
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
    let args = [
        "play",
        "presets/quay/set.toml",
        "--headless",
        "--for-s",
        "1",
    ];
    let told = ullage()
        .args(args)
        .args([
            "--device",
            "a card that nobody has",
            "--midi",
            "nobody's keyboard",
        ])
        .arg("--no-virtual-port")
        .assert()
        .success();
    let text = String::from_utf8_lossy(&told.get_output().stderr).into_owned();
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
        let args = ["play", "presets/quay/set.toml", "--headless", &option];
        let told = ullage().args(args).assert().code(2);
        let text = String::from_utf8_lossy(&told.get_output().stderr).into_owned();
        assert!(text.contains(range), "{text}");
    }
}

#[test]
fn without_a_display_it_says_so_in_a_line_and_plays_from_midi() {
    let args = ["play", "presets/quay/set.toml", "--for-s", "0.2"];
    let told = ullage()
        .args(args)
        .args(["--device", "a card that nobody has", "--no-virtual-port"])
        .args(["--midi", "nobody's keyboard"])
        .env_remove("DISPLAY")
        .env_remove("WAYLAND_DISPLAY")
        .env_remove("WAYLAND_SOCKET")
        .assert()
        .success();
    let text = String::from_utf8_lossy(&told.get_output().stderr).into_owned();
    let lines: Vec<&str> = text
        .lines()
        .filter(|line| line.contains("playing from MIDI, as with --headless"))
        .collect();
    assert_eq!(lines.len(), 1, "{text}");
    assert!(text.contains("played for"), "{text}");
}
