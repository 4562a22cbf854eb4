//! MIDI files: what is read, what is written, and what is refused.

use proptest::prelude::*;
use ullage::file::smf::{Percussion, from_smf, to_smf};
use ullage::score::{Metre, Score, ScoreNote, Tempo, Track};

/// A file from its header fields and the events of its tracks, put together by hand.
fn file(format: u16, division: u16, tracks: &[&[u8]]) -> Vec<u8> {
    let mut bytes = b"MThd\0\0\0\x06".to_vec();
    for field in [format, tracks.len() as u16, division] {
        bytes.extend(field.to_be_bytes());
    }
    for events in tracks {
        bytes.extend(b"MTrk");
        bytes.extend((events.len() as u32).to_be_bytes());
        bytes.extend(*events);
    }
    bytes
}

fn read(bytes: &[u8]) -> Score {
    from_smf(bytes, Percussion::Skip).unwrap()
}

fn refused(bytes: &[u8]) -> String {
    from_smf(bytes, Percussion::Skip).unwrap_err().to_string()
}

/// Begin, end and key of every note.
fn times(score: &Score) -> Vec<(f64, f64, u8)> {
    score
        .notes
        .iter()
        .map(|n| (n.start_s, n.stop_s, n.key))
        .collect()
}

const END: [u8; 4] = [0, 0xFF, 0x2F, 0];
/// Key 60 for 96 ticks.
const NOTE: &[u8] = &[0, 0x90, 60, 100, 96, 0x80, 60, 0, 0, 0xFF, 0x2F, 0];

/// The worked example of *Standard MIDI Files 1.0*, MIDI Manufacturers Association, 1996, appendix
/// "Program fragments and example MIDI files", format 0: four four, tempo 500,000, 96 ticks, and three
/// notes that all end with the bar of 2 s. Its bytes, from memory; its times, by hand.
#[test]
fn the_example_of_the_standard_reads_as_it_sounds() {
    let events = [
        0x00, 0xFF, 0x58, 0x04, 0x04, 0x02, 0x18, 0x08, // four four
        0x00, 0xFF, 0x51, 0x03, 0x07, 0xA1, 0x20, // 500,000 µs
        0x00, 0xC0, 0x05, 0x00, 0xC1, 0x2E, 0x00, 0xC2, 0x46, // programs
        0x00, 0x92, 0x30, 0x60, 0x00, 0x3C, 0x60, // C3 and C4, running status
        0x60, 0x91, 0x43, 0x40, // G4 after a quarter note
        0x60, 0x90, 0x4C, 0x20, // E5 after another
        0x81, 0x40, 0x82, 0x30, 0x40, 0x00, 0x3C, 0x40, // two quarter notes later
        0x00, 0x81, 0x43, 0x40, 0x00, 0x80, 0x4C, 0x40, // all end
        0x00, 0xFF, 0x2F, 0x00,
    ];
    let score = read(&file(0, 96, &[&events]));
    let expected = [
        (0.0, 2.0, 48),
        (0.0, 2.0, 60),
        (0.5, 2.0, 67),
        (1.0, 2.0, 76),
    ];
    assert_eq!(times(&score), expected);
    assert_eq!(score.notes[3].velocity, 0x20);
    assert_eq!(score.notes[3].channel, 0);
    assert_eq!(score.duration_s(), 2.0);
    assert_eq!(score.most_at_once(), 4);
    assert_eq!(score.keys(), [48, 60, 67, 76]);
}

#[test]
fn tempos_in_any_track_hold_for_all_of_them() {
    // 100,000 µs from tick 96 on, in the second track; a note of 192 ticks in the first.
    let note = [&[0, 0x90, 60, 100, 0x81, 0x40, 0x80, 60, 0][..], &END].concat();
    let tempo = [&[0x60, 0xFF, 0x51, 3, 0x01, 0x86, 0xA0][..], &END].concat();
    let score = read(&file(1, 96, &[&note, &tempo]));
    assert_eq!(times(&score), [(0.0, 0.6, 60)]);
    assert_eq!(score.tempos.len(), 2);
    assert_eq!(score.tempos[1].start_s, 0.5);
    assert_eq!(score.tempos[1].quarters_per_minute(), 600.0);
    assert!((score.quarter_at(0.55) - 1.5).abs() < 1e-12);
    assert!((score.seconds_at(1.5) - 0.55).abs() < 1e-12);
}

#[test]
fn the_tracks_of_format_2_follow_one_another_each_at_its_own_tempo() {
    let fast = [&[0, 0xFF, 0x51, 3, 0x01, 0x86, 0xA0][..], NOTE].concat();
    let score = read(&file(2, 96, &[&fast, NOTE]));
    let found = times(&score);
    assert_eq!(found[0], (0.0, 0.1, 60));
    assert!((found[1].0 - 0.1).abs() < 1e-12 && (found[1].1 - 0.6).abs() < 1e-12);
    assert_eq!(score.notes[1].track, 1);
}

#[test]
fn smpte_frames_are_seconds_whatever_the_tempo() {
    let slow = [&[0, 0xFF, 0x51, 3, 0xFF, 0xFF, 0xFF][..], NOTE].concat();
    // 25 frames of 40 ticks: milliseconds. 96 ticks are 0.096 s.
    let score = read(&file(0, 0xE728, &[&slow]));
    assert!((score.notes[0].stop_s - 0.096).abs() < 1e-12);
    // 29 stands for 30 drop-frame, 29.97 a second.
    let score = read(&file(0, 0xE302, &[NOTE]));
    assert!((score.notes[0].stop_s - 48.0 * 1001.0 / 30_000.0).abs() < 1e-12);
}

#[test]
fn bars_follow_the_metre() {
    // Three four from the start, six eight from tick 288, one bar later.
    let events = [
        &[0, 0xFF, 0x58, 4, 3, 2, 24, 8][..],
        &[0x82, 0x20, 0xFF, 0x58, 4, 6, 3, 24, 8],
        &END,
    ]
    .concat();
    let score = read(&file(0, 96, &[&events]));
    let bars: Vec<_> = score.bars().take(3).collect();
    let starts: Vec<f64> = bars.iter().map(|b| b.start_s).collect();
    assert_eq!(starts, [0.0, 1.5, 3.0]);
    assert_eq!(
        (bars[1].number, bars[1].metre.beats, bars[1].metre.unit),
        (2, 6, 8)
    );
}

#[test]
fn percussion_is_left_out_unless_it_is_asked_for() {
    let drum = [&[0, 0x99, 36, 100, 96, 0x89, 36, 0][..], &END].concat();
    let bytes = file(0, 96, &[&drum]);
    assert_eq!(read(&bytes).notes.len(), 0);
    let score = from_smf(&bytes, Percussion::Read).unwrap();
    assert_eq!((score.notes[0].key, score.notes[0].channel), (36, 9));
}

#[test]
fn overlapping_and_unended_notes_of_one_key_are_sorted_out() {
    // On at 0 and 10, off at 20 (velocity 0); the second ends with the track, at 50.
    let events = [
        &[0, 0x90, 60, 100, 10, 60, 90, 10, 60, 0][..],
        &[30, 0xFF, 0x2F, 0],
    ]
    .concat();
    let score = read(&file(0, 500, &[&events]));
    let found: Vec<(f64, f64)> = times(&score)
        .iter()
        .map(|t| (t.0 * 1e3, t.1 * 1e3))
        .collect();
    assert_eq!(found, [(0.0, 20.0), (10.0, 50.0)]);
    // An end without a beginning is passed over.
    let events = [&[0, 0x80, 60, 0][..], NOTE].concat();
    assert_eq!(read(&file(0, 96, &[&events])).notes.len(), 1);
}

#[test]
fn a_file_in_riff_and_unknown_chunks_are_read_through() {
    let plain = file(0, 96, &[NOTE]);
    let mut odd = plain[..14].to_vec();
    odd.extend(b"XFIH\0\0\0\x03abc");
    odd.extend(&plain[14..]);
    assert_eq!(read(&odd), read(&plain));
    let mut riff = b"RIFF\0\0\0\0RMIDdata".to_vec();
    riff.extend((plain.len() as u32).to_le_bytes());
    riff.extend(&plain);
    assert_eq!(read(&riff), read(&plain));
}

#[test]
fn a_broken_file_is_refused_with_the_place_and_the_reason() {
    let whole = file(1, 96, &[NOTE, NOTE]);
    assert_eq!(
        refused(b"ID3\x03rest"),
        "not a MIDI file: it begins with \"ID3\\u{3}\" where \"MThd\" is expected"
    );
    assert!(refused(b"").contains("not a MIDI file"));
    for (bytes, reason) in [
        (
            &whole[..10],
            "the file ends at byte 10 inside the header, which begins at byte 0",
        ),
        (
            &whole[..20],
            "ends at byte 20 inside a track, which begins at byte 14 and needs 8 bytes",
        ),
        (
            &whole[..30],
            "ends at byte 30 inside a track, which begins at byte 14 and needs 20 bytes",
        ),
        (
            &whole[..34],
            "the header at byte 8 promises 2 tracks and the file has 1",
        ),
    ] {
        let message = refused(bytes);
        assert!(message.contains(reason), "{message}");
    }
    for (division, reason) in [
        (
            0,
            "the ticks in a quarter note at byte 12 is 0, and must be 1 or more",
        ),
        (
            0x8004,
            "the SMPTE frame rate at byte 12 is -128, and must be -24",
        ),
        (0xE700, "the ticks in an SMPTE frame at byte 12 is 0"),
    ] {
        let message = refused(&file(0, division, &[NOTE]));
        assert!(message.contains(reason), "{message}");
    }
    assert!(refused(&file(3, 96, &[NOTE])).contains("the format at byte 8 is 3"));
    // A system message inside a track, and a data byte with no status before it.
    let message = refused(&file(1, 96, &[NOTE, &[0, 0x90, 60, 100, 5, 0xF5, 1, 2]]));
    assert_eq!(message, "byte 46, in track 2, does not begin a MIDI event");
    assert!(refused(&file(0, 96, &[&[0, 60, 100, 0]])).contains("byte 22, in track 1"));
}

#[test]
fn values_that_would_stop_time_are_passed_over() {
    let events = [
        &[0, 0xFF, 0x51, 3, 0, 0, 0][..],
        &[0, 0xFF, 0x58, 4, 0, 2, 24, 8],
        &[0, 0xFF, 0x58, 4, 4, 200, 24, 8],
        NOTE,
    ]
    .concat();
    let score = read(&file(0, 96, &[&events]));
    assert_eq!(score.duration_s(), 0.5);
    assert_eq!(score.metres, Score::default().metres);
}

#[test]
fn a_score_that_does_not_fit_is_refused_in_numbers() {
    let mut score = Score {
        ticks_per_quarter: 40_000,
        ..Score::default()
    };
    let message = to_smf(&score).unwrap_err().to_string();
    assert_eq!(
        message,
        "the ticks in a quarter note is 40000, and a MIDI file holds at most 32767"
    );
    score.ticks_per_quarter = 30_000;
    score.notes.push(ScoreNote {
        start_s: 0.0,
        stop_s: 1e5,
        key: 60,
        velocity: 1,
        track: 0,
        channel: 0,
    });
    let message = to_smf(&score).unwrap_err().to_string();
    assert!(message.contains("the last tick is 6000000000"), "{message}");
}

#[test]
fn a_score_made_by_hand_without_tempo_or_metre_is_at_120_in_four_four() {
    let bare = Score {
        tempos: vec![],
        metres: vec![],
        ..Score::default()
    };
    assert_eq!(bare.bars().nth(1), Score::default().bars().nth(1));
    assert_eq!(bare.seconds_at(3.0), 1.5);
    assert_eq!(bare.quarter_at(1.5), 3.0);
    assert_eq!(read(&to_smf(&bare).unwrap()).notes, []);
}

/// A score on its grid: up to 40 notes that do not overlap on a key, tempos and metres that change.
fn any_score() -> impl Strategy<Value = Score> {
    let note = (
        0u64..2000,
        1u64..400,
        0u8..=127,
        1u8..=127,
        0usize..3,
        0u8..9,
    );
    let change = (1u64..3000, 200_000u32..1_500_000, 1u8..12, 0u32..6);
    (
        prop::collection::vec(note, 0..40),
        prop::collection::vec(change, 0..5),
        prop::sample::select(vec![96u16, 480, 960, 1000, 32_767]),
    )
        .prop_map(|(notes, mut changes, ticks_per_quarter)| {
            let mut score = Score {
                ticks_per_quarter,
                ..Score::default()
            };
            let quarter = |tick: u64| tick as f64 / f64::from(ticks_per_quarter);
            changes.sort_unstable();
            changes.dedup_by_key(|c| c.0);
            for (tick, us_per_quarter, beats, power) in changes {
                let start_quarter = quarter(tick);
                let start_s = score.seconds_at(start_quarter);
                score.tempos.push(Tempo {
                    start_s,
                    start_quarter,
                    us_per_quarter,
                });
                score.metres.push(Metre {
                    start_quarter,
                    beats,
                    unit: 1 << power,
                });
            }
            score.tracks = ["tune", "", "ground"]
                .map(|n| Track { name: n.into() })
                .to_vec();
            let mut taken = std::collections::BTreeMap::new();
            for (gap, held, key, velocity, track, channel) in notes {
                let free = taken.entry((track, channel, key)).or_insert(0);
                let start = *free + gap;
                *free = start + held;
                score.notes.push(ScoreNote {
                    start_s: score.seconds_at(quarter(start)),
                    stop_s: score.seconds_at(quarter(start + held)),
                    key,
                    velocity,
                    track,
                    channel,
                });
            }
            score.sort();
            score
        })
}

/// Notes of one time, track and key differ by channel alone, and may change places.
fn settled(mut score: Score) -> Score {
    score.notes.sort_by(|a, b| {
        let by_time = a.start_s.total_cmp(&b.start_s);
        by_time.then((a.track, a.key, a.channel).cmp(&(b.track, b.key, b.channel)))
    });
    score
}

proptest! {
    #[test]
    fn what_was_written_reads_back_the_same(score in any_score()) {
        let again = read(&to_smf(&score).unwrap());
        prop_assert_eq!(settled(again), settled(score));
    }

    #[test]
    fn random_bytes_are_a_score_or_an_error(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        let _ = from_smf(&bytes, Percussion::Read);
    }

    #[test]
    fn a_damaged_file_is_a_score_or_an_error(
        score in any_score(), at in any::<prop::sample::Index>(), byte in any::<u8>(), cut in 0usize..40,
    ) {
        let mut bytes = to_smf(&score).unwrap();
        let place = at.index(bytes.len());
        bytes[place] = byte;
        bytes.truncate(bytes.len() - cut);
        if let Ok(score) = from_smf(&bytes, Percussion::Read) {
            prop_assert!(score.notes.iter().all(|n| n.stop_s >= n.start_s && n.stop_s.is_finite()));
            prop_assert!(score.bars().take(10).all(|b| b.start_s.is_finite()));
            let _ = to_smf(&score);
        }
    }

    #[test]
    fn events_of_any_bytes_are_a_score_or_an_error(
        events in prop::collection::vec(any::<u8>(), 0..200), format in 0u16..3, division in any::<u16>(),
    ) {
        let _ = from_smf(&file(format, division, &[&events, &events]), Percussion::Read);
    }
}

fn piece() -> Score {
    read(include_bytes!("../../presets/quay/piece.mid"))
}

#[test]
fn the_quays_piece_is_a_minute_long_on_its_thirteen_notes() {
    let piece = piece();
    println!("{} notes, {:.2} s", piece.notes.len(), piece.duration_s());
    assert!((57.0..=63.0).contains(&piece.duration_s()));
    // G3 A3 B3 C4 D4 E4 F#4 G4 A4 B4 C5 D5 E5.
    assert_eq!(
        piece.keys(),
        [55, 57, 59, 60, 62, 64, 66, 67, 69, 71, 72, 74, 76]
    );
    let names: Vec<&str> = piece.tracks.iter().map(|t| t.name.as_str()).collect();
    assert_eq!(names, ["tune", "answer", "ground"]);
    assert!(piece.most_at_once() <= 4, "{}", piece.most_at_once());
    assert!((piece.tempos[0].quarters_per_minute() - 96.0).abs() < 1e-9);
}

#[test]
fn the_quays_piece_leaves_its_players_time() {
    let piece = piece();
    let eighth_s = 60.0 / 96.0 / 2.0;
    for note in &piece.notes {
        assert!(note.held_s() > eighth_s - 1e-9, "{note:?}");
    }
    for key in piece.keys() {
        let same: Vec<_> = piece.notes.iter().filter(|n| n.key == key).collect();
        for two in same.windows(2) {
            assert!(two[1].start_s - two[0].start_s > eighth_s - 1e-9, "{two:?}");
            assert!(
                two[1].start_s >= two[0].stop_s,
                "two parts on one bottle: {two:?}"
            );
        }
    }
}

#[test]
fn the_quays_piece_ends_on_a_chord_of_g() {
    let piece = piece();
    let end_s = piece.duration_s();
    let mut last: Vec<u8> = piece
        .notes
        .iter()
        .filter(|n| n.stop_s == end_s)
        .map(|n| n.key)
        .collect();
    last.sort_unstable();
    assert_eq!(last, [55, 59, 62, 67]);
}
