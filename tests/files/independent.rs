//! The exported instrument in the hands of programs that are not ours: fluidsynth as Debian ships it plays
//! the SoundFont, and a reader of SFZ from the registry (sofiza 0.3) reads the SFZ file.

use std::process::Command;

use serde_json::Value;
use sofiza::{Opcode, loop_mode};
use ullage::file::wav::read_wav;
use ullage::score::ScoreNote;

use crate::common::command::run;
use crate::common::files::Folder;
use crate::common::measure;
use crate::common::pieces::{self, midi, piece};
use crate::instrument::{RATE_HZ, VELOCITIES, export, file};

/// How long a key is held and how far apart keys begin, s.
const HELD_S: f64 = 4.0;
const EVERY_S: f64 = 6.0;
/// Every key of the report, each in both layers, one after another.
fn played(report: &Value) -> Vec<(ScoreNote, f64)> {
    let keys = report["keys"].as_array().unwrap().iter();
    let each = keys.flat_map(|key| VELOCITIES.map(|velocity| (key, velocity)));
    let note = |((key, velocity), n): ((&Value, u8), u32)| {
        let start_s = EVERY_S * f64::from(n);
        let number = key["key"].as_u64().unwrap() as u8;
        let note = ScoreNote {
            velocity,
            ..pieces::note(number, start_s, start_s + HELD_S)
        };
        (note, key["hz"].as_f64().unwrap())
    };
    each.zip(0..).map(note).collect()
}

#[test]
fn fluidsynth_plays_every_key_of_the_soundfont_within_a_cent_of_the_plan() {
    let version = Command::new("fluidsynth").arg("--version").output();
    let Ok(version) = version else {
        println!("SKIPPED: there is no fluidsynth here");
        return;
    };
    let version = String::from_utf8_lossy(&version.stdout).into_owned();
    println!("{}", version.lines().next().unwrap_or("fluidsynth"));
    let folder = Folder::new();
    let report = export(folder.path(), &[]);
    let notes = played(&report);
    assert!(notes.len() >= 8);
    let score = piece(notes.iter().map(|n| n.0).collect());
    let (written, wav) = (folder.write("all.mid", midi(&score)), folder.at("all.wav"));
    // No shell, no effects; a fast rendering of the file and nothing on a sound card.
    let options = "-ni -q -R 0 -C 0 -g 1 -r 48000 -T wav -F".split(' ');
    let files = [&wav, &file(&report, ".sf2"), &written];
    run(Command::new("fluidsynth").args(options).args(files)).ended(0);
    let sound = read_wav(&wav).unwrap();
    assert_eq!(sound.rate.hz(), RATE_HZ);
    let sound = sound.channel(0);
    let (mut worst, mut sum) = (0.0f64, 0.0);
    for (note, hz) in &notes {
        let at = |s: f64| ((note.start_s + s) * RATE_HZ) as usize;
        // Past the attack, to a moment before the key is let go.
        let steady = &sound[at(1.0)..at(HELD_S - 0.05)];
        let level = steady.iter().fold(0.0f32, |l, s| l.max(s.abs()));
        assert!(
            level > 0.003,
            "key {} at {}: {level}",
            note.key,
            note.velocity
        );
        let off = measure::cents(measure::pitch_hz(steady, RATE_HZ, *hz), *hz);
        assert!(
            off.abs() < 1.0,
            "key {} at {}: {off:+.2} cents",
            note.key,
            note.velocity
        );
        worst = worst.max(off.abs());
        sum += off.abs();
    }
    println!(
        "{} notes: mean {:.3}, worst {worst:.3} cents",
        notes.len(),
        sum / notes.len() as f64
    );
}

#[test]
fn another_reader_of_sfz_finds_the_same_regions() {
    let folder = Folder::new();
    let report = export(folder.path(), &[]);
    let path = file(&report, ".sfz");
    let read = sofiza::Instrument::from_file(&path).unwrap();
    let keys = report["keys"].as_array().unwrap();
    assert_eq!(
        (read.groups(), read.regions()),
        // Soft and hard, of each a tone and two noises.
        (keys.len(), 6 * keys.len())
    );
    for (group, key) in keys.iter().enumerate() {
        let number = key["key"].as_u64().unwrap() as u8;
        let of_group = |name: &str| read.groups[group].opcodes.get(name);
        assert_eq!(of_group("lokey"), Some(&Opcode::lokey(number)));
        assert_eq!(of_group("hikey"), Some(&Opcode::hikey(number)));
        assert_eq!(
            of_group("pitch_keycenter"),
            Some(&Opcode::pitch_keycenter(number))
        );
        assert_eq!(
            of_group("loop_mode"),
            Some(&Opcode::loop_mode(loop_mode::loop_continuous))
        );
        let regions = read.regions.iter().filter(|r| r.group() == Some(group));
        for (region, layer) in regions.zip(key["layers"].as_array().unwrap()) {
            let of = |name: &str| region.opcodes.get(name).unwrap();
            let [low, high] = [0, 1].map(|i| layer["velocities"][i].as_u64().unwrap() as u8);
            assert_eq!(
                (of("lovel"), of("hivel")),
                (&Opcode::lovel(low), &Opcode::hivel(high))
            );
            let takes = layer["takes"].as_u64().unwrap();
            let wanted = (takes > 1).then(|| layer["take"].as_u64().unwrap());
            let position = region.opcodes.get("seq_position");
            let position = position.map(|opcode| match opcode {
                Opcode::seq_position(position) => u64::from(*position),
                other => panic!("{other:?}"),
            });
            assert_eq!(position, wanted);
            // It passes over the points of a loop; export.rs beside it reads them.
            let Opcode::sample(sample) = of("sample") else {
                panic!("no sample");
            };
            assert!(folder.at(sample).is_file(), "{sample:?}");
        }
    }
}
