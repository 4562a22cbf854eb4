//! A set as an instrument: the files are loaded into two players that share nothing with the code that
//! writes them, every key is played, and what sounds is measured.

use std::collections::BTreeSet;
use std::f64::consts::PI;
use std::io::Cursor;
use std::path::Path;
use std::sync::Arc;

use serde_json::Value;
use ullage::file::wav::read_wav;

use crate::common::command::{json, ullage};
use crate::common::files::{Folder, arg, read};
use crate::common::measure;
use crate::instrument::{RATE_HZ, VELOCITIES, export, export_all, file, some_bottles};

/// Long enough for every loop of the demo set to come round twice, s.
const HELD_S: f64 = 7.0;
fn rusty_font(path: &Path) -> Arc<rustysynth::SoundFont> {
    let bytes = std::fs::read(path).unwrap();
    Arc::new(rustysynth::SoundFont::new(&mut Cursor::new(bytes)).unwrap())
}

/// A key held for `HELD_S` and let go for 2 s.
fn in_rustysynth(font: &Arc<rustysynth::SoundFont>, key: u8, velocity: u8) -> Vec<f32> {
    let mut settings = rustysynth::SynthesizerSettings::new(RATE_HZ as i32);
    settings.enable_reverb_and_chorus = false;
    let mut player = rustysynth::Synthesizer::new(font, &settings).unwrap();
    let mut sound = Vec::new();
    let mut render = |player: &mut rustysynth::Synthesizer, seconds: f64| {
        let frames = (seconds * RATE_HZ) as usize;
        let (mut left, mut right) = (vec![0.0; frames], vec![0.0; frames]);
        player.render(&mut left, &mut right);
        sound.extend(left);
    };
    player.note_on(0, i32::from(key), i32::from(velocity));
    render(&mut player, HELD_S);
    player.note_off(0, i32::from(key));
    render(&mut player, 2.0);
    sound
}

/// The same in the other player.
fn in_oxisynth(font: &[u8], key: u8, velocity: u8) -> Vec<f32> {
    let mut player = oxisynth::Synth::new(oxisynth::SynthDescriptor {
        sample_rate: RATE_HZ as f32,
        reverb_active: false,
        chorus_active: false,
        gain: 1.0,
        ..Default::default()
    })
    .unwrap();
    let font = oxisynth::SoundFont::load(&mut Cursor::new(font)).unwrap();
    player.add_font(font, true);
    let on = oxisynth::MidiEvent::NoteOn {
        channel: 0,
        key,
        vel: velocity,
    };
    // A key that no zone takes may be refused or play nothing: the caller measures which sound there is.
    let _ = player.send_event(on);
    let mut sound: Vec<f32> = Vec::new();
    sound.extend((0..(HELD_S * RATE_HZ) as usize).map(|_| player.read_next().0));
    let _ = player.send_event(oxisynth::MidiEvent::NoteOff { channel: 0, key });
    sound.extend((0..(2.0 * RATE_HZ) as usize).map(|_| player.read_next().0));
    sound
}

/// What the report says of one key.
struct Known {
    key: u8,
    hz: f64,
    q: f64,
    /// For each layer.
    loops: Vec<(usize, usize)>,
}

fn known(report: &Value) -> Vec<Known> {
    let rows = report["keys"].as_array().unwrap().iter();
    let frame = |layer: &Value, key: &str| layer[key].as_u64().unwrap() as usize;
    let of = |row: &Value| {
        let hz = row["hz"].as_f64().unwrap();
        let layers = row["layers"].as_array().unwrap().iter();
        Known {
            key: row["key"].as_u64().unwrap() as u8,
            hz,
            // −60 dB is a factor of 1000 in amplitude, which falls as exp(−π f t / Q).
            q: row["release_s"].as_f64().unwrap() * PI * hz / 1000f64.ln(),
            loops: layers
                .filter(|l| l["holds"] == "tone")
                .map(|l| (frame(l, "loop_start"), frame(l, "loop_end")))
                .collect(),
        }
    };
    rows.map(of).collect()
}

/// The largest first and second difference between neighbours.
fn steepest(samples: &[f32]) -> [f32; 2] {
    let first = samples.windows(2).map(|w| (w[1] - w[0]).abs());
    let second = samples.windows(3).map(|w| (w[2] - 2.0 * w[1] + w[0]).abs());
    [first.fold(0.0, f32::max), second.fold(0.0, f32::max)]
}

/// Checks one played key; returns cents off and the ratio of the rings.
fn check(sound: &[f32], known: &Known, layer: usize, who: &str) -> (f64, f64) {
    let (start, end) = known.loops[layer];
    let (held, hz, key) = ((HELD_S * RATE_HZ) as usize, known.hz, known.key);
    assert!(2 * end - start < held, "the loop comes round twice");
    let steady = &sound[start..held];
    let level = steady.iter().fold(0.0f32, |a, s| a.max(s.abs()));
    // A soft key is 20 dB down by its velocity and the player halves it: this is only to tell it from silence.
    assert!(level > 0.003, "{who} key {key}: {level}");
    let off = measure::cents(measure::pitch_hz(steady, RATE_HZ, hz), hz);
    assert!(off.abs() < 1.0, "{who} key {key}: {off:+.2} cents");
    // Before the loop first comes round and away from its blended end, against all that follows.
    let own = steepest(&sound[start..end - 12_000]);
    let later = steepest(&sound[end - 12_000..held]);
    for (own, later) in own.iter().zip(later) {
        assert!(
            later < 1.5 * own,
            "{who} key {key}: a click, {later} over {own}"
        );
    }
    let ringing = &sound[held + 480..];
    let ratio = measure::ring_down_q(ringing, RATE_HZ, hz, 3.0, 30.0) / known.q;
    assert!(
        (ratio - 1.0).abs() < 0.25,
        "{who} key {key}: rings {ratio:.4} times as long"
    );
    (off, ratio)
}

fn tell(who: &str, results: &[(f64, f64)]) {
    let worst = results.iter().fold(0.0f64, |a, r| a.max(r.0.abs()));
    let least = results.iter().fold(f64::MAX, |a, r| a.min(r.1));
    let most = results.iter().fold(0.0f64, |a, r| a.max(r.1));
    println!("{who}: worst {worst:.3} cents; rings {least:.4} to {most:.4} times the bottle's");
}

#[test]
fn rustysynth_plays_every_key_in_tune_without_a_click_and_lets_it_ring() {
    let folder = Folder::new();
    let report = export_all(folder.path(), &["--sf2-only"]);
    let font = rusty_font(&file(&report, ".sf2"));
    let mut results = Vec::new();
    let keys = known(&report);
    assert!(keys.len() >= 13);
    for key in &keys {
        for (layer, velocity) in VELOCITIES.into_iter().enumerate() {
            let sound = in_rustysynth(&font, key.key, velocity);
            results.push(check(&sound, key, layer, "rustysynth"));
        }
    }
    tell("rustysynth", &results);
    let own: BTreeSet<u8> = keys.iter().map(|k| k.key).collect();
    for silent in (0..128).filter(|k| !own.contains(k)).step_by(9) {
        let sound = in_rustysynth(&font, silent, 100);
        assert!(sound.iter().all(|s| *s == 0.0), "key {silent} sounds");
    }
}

#[test]
fn oxisynth_plays_every_key_in_tune_without_a_click_and_lets_it_ring() {
    let folder = Folder::new();
    let report = export(folder.path(), &["--sf2-only"]);
    let bytes = std::fs::read(file(&report, ".sf2")).unwrap();
    let mut results = Vec::new();
    let keys = known(&report);
    for key in &keys {
        for (layer, velocity) in VELOCITIES.into_iter().enumerate() {
            let sound = in_oxisynth(&bytes, key.key, velocity);
            results.push(check(&sound, key, layer, "oxisynth"));
        }
    }
    tell("oxisynth", &results);
    let own: BTreeSet<u8> = keys.iter().map(|k| k.key).collect();
    for silent in (0..128).filter(|k| !own.contains(k)).step_by(29) {
        let sound = in_oxisynth(&bytes, silent, 100);
        assert!(sound.iter().all(|s| s.abs() < 1e-6), "key {silent} sounds");
    }
}

#[test]
fn a_set_away_from_equal_temperament_keeps_its_own_pitch() {
    let folder = Folder::new();
    // The fills stay and the room is warm: every bottle is well above its note.
    let report = export(folder.path(), &["--sf2-only", "--temp-c", "31"]);
    let font = rusty_font(&file(&report, ".sf2"));
    for key in known(&report) {
        let equal_hz = 440.0 * 2f64.powf((f64::from(key.key) - 69.0) / 12.0);
        assert!(measure::cents(key.hz, equal_hz) > 15.0, "key {}", key.key);
        check(&in_rustysynth(&font, key.key, 100), &key, 1, "rustysynth");
    }
}

/// The chunks in `bytes`: their names and data.
fn chunks(mut bytes: &[u8]) -> Vec<(String, &[u8])> {
    let mut found = Vec::new();
    while !bytes.is_empty() {
        let size = u32::from_le_bytes(bytes[4..8].try_into().unwrap()) as usize;
        assert_eq!(size % 2, 0);
        let name = String::from_utf8(bytes[..4].to_vec()).unwrap();
        found.push((name, &bytes[8..8 + size]));
        bytes = &bytes[8 + size..];
    }
    found
}

#[test]
fn the_soundfont_is_built_as_its_specification_says() {
    // SoundFont Technical Specification 2.04, sections 4 to 7.
    let folder = Folder::new();
    let report = export(folder.path(), &["--sf2-only"]);
    let bytes = std::fs::read(file(&report, ".sf2")).unwrap();
    let riff = chunks(&bytes);
    assert_eq!((riff.len(), riff[0].0.as_str()), (1, "RIFF"));
    let (form, rest) = riff[0].1.split_at(4);
    assert_eq!(form, b"sfbk");
    let lists = chunks(rest);
    let kinds: Vec<&[u8]> = lists.iter().map(|(_, data)| &data[..4]).collect();
    assert_eq!(kinds, [&b"INFO"[..], b"sdta", b"pdta"]);
    let info = chunks(&lists[0].1[4..]);
    assert_eq!(info[0], ("ifil".to_owned(), &[2, 0, 4, 0][..]));
    for name in ["isng", "INAM"] {
        assert!(info.iter().any(|(n, _)| n == name), "{name}");
    }
    let samples = &chunks(&lists[1].1[4..])[0];
    assert_eq!(samples.0, "smpl");
    let tables = chunks(&lists[2].1[4..]);
    let order = [
        ("phdr", 38),
        ("pbag", 4),
        ("pmod", 10),
        ("pgen", 4),
        ("inst", 22),
        ("ibag", 4),
        ("imod", 10),
        ("igen", 4),
        ("shdr", 46),
    ];
    assert_eq!(tables.len(), order.len());
    for ((name, data), (wanted, size)) in tables.iter().zip(order) {
        assert_eq!((name.as_str(), data.len() % size), (wanted, 0));
    }
    // Soft and hard, tone and noise of each.
    let count = 4 * report["keys"].as_array().unwrap().len();
    let headers: Vec<&[u8]> = tables[8].1.chunks(46).collect();
    assert_eq!(headers.len(), count + 1);
    assert!(headers[count].starts_with(b"EOS\0"));
    let mut next = 0;
    for header in &headers[..count] {
        let number =
            |at: usize| u32::from_le_bytes(header[at..at + 4].try_into().unwrap()) as usize;
        let (start, end, loop_start, loop_end) = (number(20), number(24), number(28), number(32));
        assert_eq!((start, header[19]), (next, 0));
        assert!(start + 8 <= loop_start && loop_start + 48_000 <= loop_end && loop_end + 8 <= end);
        next = end + 46;
        assert!(samples.1[2 * end..2 * next].iter().all(|b| *b == 0));
    }
    assert_eq!(2 * next, samples.1.len());
}

/// The regions of an SFZ text: opcodes and values, those of the group first. Strict: one file of one group level,
/// and no opcode besides those of the published list of SFZ 1 that are in use here.
fn regions(text: &str) -> Vec<Vec<(&str, &str)>> {
    let known = [
        "sample",
        "lokey",
        "hikey",
        "lovel",
        "hivel",
        "pitch_keycenter",
        "tune",
        "loop_mode",
        "loop_start",
        "loop_end",
        "ampeg_release",
        "seq_length",
        "seq_position",
    ];
    let (mut regions, mut group, mut in_region) = (Vec::new(), Vec::new(), false);
    let lines = text.lines().filter(|line| !line.starts_with("//"));
    for word in lines.flat_map(str::split_whitespace) {
        if word == "<group>" {
            group.clear();
            in_region = false;
        } else if word == "<region>" {
            regions.push(group.clone());
            in_region = true;
        } else {
            let (opcode, value) = word.split_once('=').unwrap();
            assert!(known.contains(&opcode), "{opcode}");
            let into = if in_region {
                regions.last_mut().unwrap()
            } else {
                &mut group
            };
            assert!(into.iter().all(|(o, _)| *o != opcode), "{opcode} twice");
            into.push((opcode, value));
        }
    }
    regions
}

#[test]
fn the_sfz_file_has_only_opcodes_of_version_1_and_names_recordings_that_read() {
    let folder = Folder::new();
    let report = export(folder.path(), &["--sfz-only"]);
    let text = read(file(&report, ".sfz"));
    let regions = regions(&text);
    let mut covered = BTreeSet::new();
    for region in &regions {
        let get = |opcode: &str| region.iter().find(|(o, _)| *o == opcode).unwrap().1;
        let number = |opcode: &str| get(opcode).parse::<usize>().unwrap();
        let wav = read_wav(&folder.at(get("sample"))).unwrap();
        assert_eq!(wav.rate.hz(), RATE_HZ);
        let (start, end) = (number("loop_start"), number("loop_end"));
        assert!(start + 48_000 <= end && end + 1 < wav.samples.len());
        // What follows the last frame of the loop is its first.
        assert_eq!(wav.samples[end + 1], wav.samples[start]);
        let key = number("lokey");
        assert_eq!((number("hikey"), number("pitch_keycenter")), (key, key));
        assert_eq!((get("tune"), get("loop_mode")), ("0", "loop_continuous"));
        let rows = known(&report);
        let row = rows.iter().find(|k| usize::from(k.key) == key).unwrap();
        let is_noise = get("sample").contains("-noise-");
        let held = &wav.samples[start..end];
        if is_noise {
            // What is left of the tone in it is less than the noise itself.
            let tone = measure::demodulate(held, RATE_HZ, row.hz, 0.5);
            let strongest = tone.value.iter().map(|(re, im)| re.hypot(*im));
            let left = strongest.fold(0.0, f64::max);
            assert!(left < 2.0 * measure::rms(held), "key {key}: {left}");
        } else {
            let off = measure::cents(measure::pitch_hz(held, RATE_HZ, row.hz), row.hz);
            assert!(off.abs() < 1.0, "key {key}: {off} cents");
            let release_s = get("ampeg_release").parse::<f64>().unwrap();
            let wanted_s = 1000f64.ln() * row.q / (PI * row.hz);
            assert!((release_s / wanted_s - 1.0).abs() < 0.002);
        }
        // Noise in two takes, the tone always the same.
        let takes = region.iter().find(|(o, _)| *o == "seq_length");
        assert_eq!(takes.map(|(_, of)| *of), is_noise.then_some("2"));
        let take = takes.map_or(0, |_| number("seq_position"));
        for velocity in number("lovel")..=number("hivel") {
            let one = (key, velocity, is_noise, take);
            assert!(covered.insert(one), "two layers at once");
        }
    }
    let keys = report["keys"].as_array().unwrap().len();
    // Soft and hard, of each a tone and two noises.
    assert_eq!((regions.len(), covered.len()), (6 * keys, 3 * 127 * keys));
}

#[test]
fn two_takes_of_a_stroke_come_in_turn_and_differ() {
    let folder = Folder::new();
    let set = "presets/struck/set.toml";
    let out = folder.at("out");
    let args = [
        "export",
        set,
        "--sfz-only",
        "--rate-hz",
        "44100",
        "--out",
        arg(&out),
    ];
    let report = json(&args);
    let text = read(file(&report, ".sfz"));
    let regions = regions(&text);
    let keys = report["keys"].as_array().unwrap().len();
    assert_eq!(regions.len(), 4 * keys);
    for two in regions.chunks(2) {
        let get = |region: &Vec<(&str, &str)>, opcode: &str| {
            let found = region.iter().find(|(o, _)| *o == opcode);
            found.map(|(_, value)| (*value).to_owned()).unwrap()
        };
        assert_eq!(get(&two[0], "lovel"), get(&two[1], "lovel"));
        let positions = [0, 1].map(|i| get(&two[i], "seq_position"));
        assert_eq!(positions, ["1", "2"]);
        let takes = [0, 1].map(|i| read_wav(&out.join(get(&two[i], "sample"))).unwrap().samples);
        let alike = measure::correlation(&takes[0][..4_000], &takes[1][..4_000]);
        assert!(takes[0] != takes[1] && alike > 0.0, "{alike}");
    }
}

#[test]
fn the_tuning_dump_holds_the_sets_pitches_and_its_checksum() {
    let folder = Folder::new();
    let report = export(folder.path(), &["--mts", "--sf2-only"]);
    let dump = std::fs::read(file(&report, ".syx")).unwrap();
    assert_eq!(dump.len(), 408);
    assert_eq!(dump[..6], [0xF0, 0x7E, 0x7F, 8, 1, 0]);
    assert_eq!(dump[407], 0xF7);
    // The bytes between the status and the end cancel out, checksum included.
    assert_eq!(dump[1..407].iter().fold(0, |x, b| x ^ b) & 0x7F, 0);
    assert!(dump[1..407].iter().all(|b| *b < 0x80));
    let own = known(&report);
    for (key, bytes) in dump[22..406].chunks(3).enumerate() {
        let [whole, high, low] = [0, 1, 2].map(|i| f64::from(bytes[i]));
        let pitch = whole + (high * 128.0 + low) / 16_384.0;
        let hz = 440.0 * 2f64.powf((pitch - 69.0) / 12.0);
        let equal_hz = 440.0 * 2f64.powf((key as f64 - 69.0) / 12.0);
        let wanted = own.iter().find(|k| usize::from(k.key) == key);
        // Half a step of the format is 0.003 cents; the report's hertz are rounded to 1e-4.
        let off = measure::cents(hz, wanted.map_or(equal_hz, |k| k.hz));
        assert!(off.abs() < 0.005, "key {key}: {off} cents");
    }
}

#[test]
fn files_that_are_there_are_kept_and_only_the_last_folder_is_made() {
    let folder = Folder::new();
    let set = folder.write("one.toml", some_bottles(15));
    let set = arg(&set);
    let out = folder.at("made");
    let export =
        |more: &[&str]| json(&[&["export", set, "--sf2-only", "--out", arg(&out)], more].concat());
    let first = file(&export(&[]), ".sf2");
    std::fs::write(&first, "precious").unwrap();
    ullage(&["export", set, "--out", arg(&out)])
        .ended(1)
        .says("--force");
    assert_eq!(std::fs::read(&first).unwrap(), b"precious");
    let count = std::fs::read_dir(&out).unwrap().count();
    assert_eq!(count, 1, "nothing else was written");
    export(&["--force"]);
    assert!(std::fs::read(&first).unwrap().starts_with(b"RIFF"));
    let deep = folder.at("not/there");
    ullage(&["export", set, "--out", arg(&deep)]).ended(1);
    assert!(!folder.at("not").exists());
}

#[test]
fn a_bottles_name_cannot_lead_out_of_the_folder() {
    let folder = Folder::new();
    let text = some_bottles(4);
    let named = text.replace("\"cordial\"", "\"../../瓶 #define/x\"");
    assert_ne!(text, named);
    let (set, out) = (folder.write("set.toml", named), folder.at("out"));
    let files = [arg(&set), "--out", arg(&out)];
    let report = json(&[&["export", "--rate-hz", "44100"][..], &files].concat());
    let files = report["files"].as_array().unwrap();
    for path in files.iter().map(|f| Path::new(f.as_str().unwrap())) {
        assert_eq!(path.parent().unwrap(), out);
        let name = path.file_name().unwrap().to_str().unwrap();
        assert!(name.is_ascii() && path.exists(), "{path:?}");
    }
    assert_eq!(std::fs::read_dir(&out).unwrap().count(), files.len());
    assert_eq!(folder.count(), 2);
}
