//! A piece that is broken: what could be read is told, and can be gone on with, by every command; and a
//! piece may be MusicXML wherever it may be MIDI.

use ullage::file::smf::{Percussion, from_smf, from_smf_to_the_break};
use ullage::score::{Score, ScoreNote};

use crate::common::command::ullage;
use crate::common::files::{Folder, QUAY_SET, QUAY_SHELF, arg, preset};
use crate::common::pieces::{midi, note, piece, read_midi};

/// Eight notes of the set, one a beat, in one track.
fn eight() -> Vec<u8> {
    let keys = [60, 62, 64, 66, 67, 69, 71, 72];
    let at = |(key, n): (u8, u32)| note(key, 0.5 * f64::from(n), 0.5 * f64::from(n) + 0.4);
    midi(&piece(keys.into_iter().zip(0..).map(at).collect()))
}

/// Where the beginning of a key stands in the file: its status, key and velocity.
fn place_of(bytes: &[u8], key: u8) -> usize {
    let found = bytes.windows(3).position(|w| w == [0x90, key, 80]);
    found.unwrap()
}

#[test]
fn a_file_that_is_cut_off_gives_the_notes_before_the_cut() {
    let whole = eight();
    let all = from_smf(&whole, Percussion::Skip).unwrap();
    // Before the event of the sixth note: five are whole.
    let cut = &whole[..place_of(&whole, 69)];
    let (score, broken) = from_smf_to_the_break(cut, Percussion::Skip).unwrap();
    assert_eq!(score.notes, all.notes[..5]);
    let error = broken.unwrap();
    assert_eq!(from_smf(cut, Percussion::Skip).unwrap_err(), error);
    assert!(
        error.to_string().contains(&format!("byte {}", cut.len())),
        "{error}"
    );
    // Just after it: it is held to the end of what there is.
    let after = &whole[..place_of(&whole, 69) + 3];
    let (score, _) = from_smf_to_the_break(after, Percussion::Skip).unwrap();
    assert_eq!(score.notes.len(), 6);
    assert!((score.notes[5].start_s - 2.5).abs() < 1e-3 && score.notes[5].held_s() == 0.0);
    // Every cut is read without harm, and never gives a note that is not in the file.
    for end in 0..whole.len() {
        if let Ok((score, broken)) = from_smf_to_the_break(&whole[..end], Percussion::Skip) {
            assert!(broken.is_some() && score.notes.len() <= 8);
            let there = |n: &ScoreNote| {
                all.notes
                    .iter()
                    .any(|a| (a.key, a.start_s) == (n.key, n.start_s))
            };
            assert!(score.notes.iter().all(there), "cut at {end}");
        }
    }
    assert!(from_smf_to_the_break(&whole[..10], Percussion::Skip).is_err());
    assert_eq!(
        from_smf_to_the_break(&whole, Percussion::Skip).unwrap(),
        (all, None)
    );
}

#[test]
fn an_event_that_is_none_ends_its_own_track_and_no_other() {
    let demo = preset("quay/piece.mid");
    let all = read_midi(&demo);
    let mut bytes = std::fs::read(&demo).unwrap();
    // In the middle of the last track, a status that the standard does not know.
    let last = (0..bytes.len())
        .rev()
        .find(|&at| bytes[at..].starts_with(b"MTrk"))
        .unwrap();
    let middle = (last + bytes.len()) / 2;
    bytes[middle..middle + 4].copy_from_slice(&[0xF4; 4]);
    let (score, broken) = from_smf_to_the_break(&bytes, Percussion::Skip).unwrap();
    let error = broken.unwrap().to_string();
    let track = all.tracks.len();
    assert!(error.contains(&format!("in track {track}")), "{error}");
    let of = |score: &Score, own: bool| {
        let notes = score.notes.iter();
        notes.filter(|n| (n.track + 1 == track) == own).count()
    };
    assert_eq!(of(&score, false), of(&all, false));
    assert!(0 < of(&score, true) && of(&score, true) < of(&all, true));
}

#[test]
fn every_command_says_how_much_could_be_read_and_goes_on_with_it_when_asked() {
    let folder = Folder::new();
    let at = |name: &str| arg(&folder.at(name)).to_owned();
    let whole = eight();
    let piece = at("cut.mid");
    std::fs::write(&piece, &whole[..place_of(&whole, 69)]).unwrap();
    let (set, shelf) = (QUAY_SET, QUAY_SHELF);
    let (wav, parts) = (at("a.wav"), at("parts"));
    let commands: [&[&str]; 5] = [
        &["check", set, "--piece", &piece],
        &["parts", set, "--out", &parts, "--piece", &piece],
        &["practise", set, "--played", &piece, "--piece", &piece],
        &["audition", set, "--dry", "--out", &wav, "--piece", &piece],
        &["plan", "--shelf", shelf, "--piece", &piece],
    ];
    for command in commands {
        ullage(command)
            .ended(2)
            .says("5 notes in 2 bars can be read")
            .says("--up-to-break");
        ullage(&[command, &["--up-to-break"]].concat())
            .ended(0)
            .says("warning")
            .says("5 notes in 2 bars");
    }
    // Nothing to go on with.
    std::fs::write(&piece, &whole[..30]).unwrap();
    ullage(&["check", set, "--up-to-break", "--piece", &piece])
        .ended(2)
        .says("no note can be read");
}

const AIR: &str = "<score-partwise><part-list><score-part id=\"P\"><part-name>air</part-name></score-part></part-list>\
    <part id=\"P\"><measure number=\"1\"><attributes><divisions>1</divisions></attributes>\n\
    <note><pitch><step>C</step><octave>4</octave></pitch><duration>2</duration></note>\n\
    <note><pitch><step>D</step><octave>4</octave></pitch><duration>2</duration></note>\n\
    </measure></part></score-partwise>";

#[test]
fn every_command_takes_musicxml_by_its_content_and_names_the_line_that_is_wrong() {
    let folder = Folder::new();
    let at = |name: &str| arg(&folder.at(name)).to_owned();
    // The name says MIDI; the content is what counts.
    let piece = at("air.mid");
    std::fs::write(&piece, AIR).unwrap();
    let (set, shelf) = (QUAY_SET, QUAY_SHELF);
    let (wav, parts) = (at("a.wav"), at("parts"));
    let commands: [&[&str]; 5] = [
        &["check", set, "--json", "--piece", &piece],
        &["parts", set, "--out", &parts, "--piece", &piece],
        &["practise", set, "--played", &piece, "--piece", &piece],
        &["audition", set, "--dry", "--out", &wav, "--piece", &piece],
        &["plan", "--shelf", shelf, "--piece", &piece],
    ];
    for command in commands {
        ullage(command).ended(0);
    }
    std::fs::write(&piece, AIR.replace("<step>D", "<step>X")).unwrap();
    for command in commands {
        ullage(command).ended(2).says("line 3: <step> is \"X\"");
    }
    std::fs::write(&piece, "hello").unwrap();
    ullage(commands[0]).says("neither a MIDI file nor MusicXML");
}
