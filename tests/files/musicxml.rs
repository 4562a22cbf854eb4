//! MusicXML: what is read of it, what is refused with its line, and that it is the same piece as the MIDI
//! file beside it.

use std::io::{Cursor, Write};

use proptest::prelude::*;
use ullage::file::musicxml::{Read, from_musicxml};
use ullage::file::piece::read_piece;
use ullage::file::smf::{Percussion, from_smf, to_smf};
use ullage::score::Score;

fn score(parts: &str, more: &str) -> String {
    format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
         <!DOCTYPE score-partwise PUBLIC \"-//Recordare//DTD MusicXML 4.0 Partwise//EN\" \
         \"http://www.musicxml.org/dtds/partwise.dtd\">\n\
         <score-partwise version=\"4.0\"><part-list>{more}</part-list>{parts}</score-partwise>"
    )
}

/// One part of these measures.
fn part(measures: &[&str]) -> String {
    let measures = measures.iter().enumerate();
    let measures = measures.map(|(n, m)| format!("<measure number=\"{}\">{m}</measure>", n + 1));
    format!("<part id=\"P1\">{}</part>", measures.collect::<String>())
}

const LISTED: &str = "<score-part id=\"P1\"><part-name>air</part-name></score-part>";
const FOUR_FOUR: &str = "<attributes><divisions>2</divisions>\
    <time><beats>4</beats><beat-type>4</beat-type></time></attributes>";

/// A note: step and octave as in `C4`, its length in divisions, and more elements after that.
fn note(name: &str, duration: u32, more: &str) -> String {
    let (step, octave) = name.split_at(1);
    format!(
        "<note><pitch><step>{step}</step><octave>{octave}</octave></pitch>\
         <duration>{duration}</duration>{more}</note>"
    )
}

fn chord(name: &str, duration: u32) -> String {
    note(name, duration, "").replace("<note>", "<note><chord/>")
}

fn read(measures: &[&str]) -> Read {
    let text = score(&part(measures), LISTED);
    from_musicxml(text.as_bytes(), Percussion::Skip).unwrap()
}

fn refused(text: &str) -> String {
    from_musicxml(text.as_bytes(), Percussion::Skip)
        .unwrap_err()
        .to_string()
}

/// Begin, end and key of every note, in the order of the score.
fn times(score: &Score) -> Vec<(f64, f64, u8)> {
    let round = |s: f64| (s * 1e6).round() / 1e6;
    let notes = score.notes.iter();
    notes
        .map(|n| (round(n.start_s), round(n.stop_s), n.key))
        .collect()
}

#[test]
fn notes_chords_voices_and_rests_are_where_they_are_written() {
    let first = [
        FOUR_FOUR,
        &note("C4", 2, ""),
        &chord("E4", 2),
        "<note><rest/><duration>2</duration></note>",
        &note("G4", 4, ""),
        // The second voice from the beginning, after a beat of nothing.
        "<backup><duration>8</duration></backup><forward><duration>2</duration></forward>",
        &note("C3", 6, "<voice>2</voice>"),
    ]
    .concat();
    let read = read(&[&first, &note("A4", 8, "")]);
    let expected = [
        (0.0, 0.5, 60),
        (0.0, 0.5, 64),
        (0.5, 2.0, 48),
        (1.0, 2.0, 67),
        (2.0, 4.0, 69),
    ];
    assert_eq!(times(&read.score), expected);
    assert_eq!(read.score.tracks[0].name, "air");
    assert_eq!(read.score.notes[0].velocity, 80);
    assert!(read.remarks.is_empty(), "{:?}", read.remarks);
}

#[test]
fn ties_join_notes_across_bars_and_in_one_voice_only_with_their_own_pitch() {
    let start = "<tie type=\"start\"/>";
    let both = "<tie type=\"stop\"/><tie type=\"start\"/>";
    let first = [FOUR_FOUR, &note("C4", 4, ""), &note("D4", 4, start)].concat();
    let third = note("D4", 2, "<tie type=\"stop\"/>") + &note("D4", 6, "");
    let read = read(&[&first, &note("D4", 8, both), &third]);
    let expected = [(0.0, 1.0, 60), (1.0, 4.5, 62), (4.5, 6.0, 62)];
    assert_eq!(times(&read.score), expected);
    // A tie that nothing was tied to is a note.
    let lone = self::read(&[&[FOUR_FOUR, &note("C4", 8, both)].concat()]);
    assert_eq!(times(&lone.score), [(0.0, 2.0, 60)]);
}

#[test]
fn tempos_come_from_sound_before_metronome_marks_and_hold_from_where_they_stand() {
    let mark = |unit: &str, minute: &str, sound: &str| {
        format!(
            "<direction><direction-type><metronome><beat-unit>{unit}</beat-unit>\
             <per-minute>{minute}</per-minute></metronome></direction-type>{sound}</direction>"
        )
    };
    let half = mark("half", "60", "<sound tempo=\"60\"/>");
    let dotted = mark(
        "quarter</beat-unit><beat-unit-dot/><beat-unit>x",
        "c. 80",
        "",
    );
    let dotted = dotted.replace("<beat-unit>x</beat-unit>", "");
    let first = [
        FOUR_FOUR,
        &half,
        &note("C4", 4, ""),
        &dotted,
        &note("D4", 4, ""),
    ]
    .concat();
    let second = mark("eighth", "60", "") + &note("E4", 8, "");
    let read = read(&[&first, &second]);
    let tempos: Vec<(f64, f64)> = read
        .score
        .tempos
        .iter()
        .map(|t| (t.start_quarter, t.quarters_per_minute().round()))
        .collect();
    assert_eq!(tempos, [(0.0, 60.0), (2.0, 120.0), (4.0, 30.0)]);
    assert_eq!(read.score.notes[1].start_s, 2.0);
    assert_eq!(read.score.notes[2].start_s, 3.0);
}

#[test]
fn repeats_are_written_out_and_said_so_and_the_bars_count_on() {
    let bar = |left: &str, name: &str, right: &str| [left, &note(name, 8, ""), right].concat();
    let line = |inner: &str| format!("<barline>{inner}</barline>");
    let ending = |n: &str, kind: &str| format!("<ending number=\"{n}\" type=\"{kind}\"/>");
    let back = "<repeat direction=\"backward\"/>";
    let measures = [
        [FOUR_FOUR, &note("C4", 8, "")].concat(),
        bar(&line("<repeat direction=\"forward\"/>"), "D4", ""),
        bar(
            &line(&ending("1", "start")),
            "E4",
            &line(&(ending("1", "stop") + back)),
        ),
        bar(
            &line(&ending("2", "start")),
            "F4",
            &line(&ending("2", "discontinue")),
        ),
        note("G4", 8, ""),
    ];
    let read = read(&measures.each_ref().map(String::as_str));
    let keys: Vec<u8> = read.score.notes.iter().map(|n| n.key).collect();
    assert_eq!(keys, [60, 62, 64, 62, 65, 67]);
    assert_eq!(read.score.duration_s(), 12.0);
    assert!(
        read.remarks[0].contains("6 bars as they are played"),
        "{:?}",
        read.remarks
    );
    // From the beginning again, to the end of the first bar.
    let jump = |what: &str| format!("<direction><sound {what}=\"yes\"/></direction>");
    let first = [FOUR_FOUR, &note("C4", 8, ""), &jump("fine")].concat();
    let back = self::read(&[&first, &(note("D4", 8, "") + &jump("dacapo"))]);
    let keys: Vec<u8> = back.score.notes.iter().map(|n| n.key).collect();
    assert_eq!(keys, [60, 62, 60]);
    let lost = self::read(&[&(note("D4", 8, "") + &jump("dalsegno"))]);
    assert!(
        lost.remarks[0].contains("dal segno is not followed"),
        "{:?}",
        lost.remarks
    );
}

#[test]
fn transposing_parts_sound_where_they_sound_and_staves_by_themselves() {
    let clarinet = "<attributes><divisions>1</divisions><transpose><diatonic>-1</diatonic>\
        <chromatic>-2</chromatic></transpose></attributes>";
    let low = "<attributes><transpose><chromatic>0</chromatic>\
        <octave-change>-1</octave-change></transpose></attributes>";
    let read = read(&[
        &[clarinet, &note("D5", 4, "")].concat(),
        &[low, &note("C4", 4, "")].concat(),
    ]);
    let keys: Vec<u8> = read.score.notes.iter().map(|n| n.key).collect();
    assert_eq!(keys, [72, 48]);
    let second = "<attributes><divisions>1</divisions><transpose number=\"2\">\
        <chromatic>-12</chromatic></transpose></attributes>";
    let staves = self::read(&[&[
        second,
        &note("C4", 4, "<staff>1</staff>"),
        "<backup><duration>4</duration></backup>",
        &note("C4", 4, "<staff>2</staff>"),
    ]
    .concat()]);
    let keys: Vec<u8> = staves.score.notes.iter().map(|n| n.key).collect();
    assert_eq!(keys, [48, 60]);
}

#[test]
fn pick_ups_and_changing_metres_put_the_bar_lines_where_the_measures_are() {
    let three = "<attributes><time><beats>3</beats><beat-type>4</beat-type></time></attributes>";
    let long = "<attributes><time><beats>2</beats><beat-type>4</beat-type></time></attributes>";
    let measures = [
        [FOUR_FOUR, &note("G4", 2, "")].concat(),
        note("C4", 8, ""),
        [three, &note("D4", 6, "")].concat(),
        note("E4", 6, ""),
        // A cadenza: more than the metre holds.
        [long, &note("F4", 10, "")].concat(),
        note("G4", 4, ""),
    ];
    let read = read(&measures.each_ref().map(String::as_str));
    let bars: Vec<f64> = read.score.bars().take(7).map(|bar| bar.start_s).collect();
    assert_eq!(bars, [0.0, 0.5, 2.5, 4.0, 5.5, 8.0, 9.0]);
    let starts: Vec<f64> = read.score.notes.iter().map(|n| n.start_s).collect();
    assert_eq!(starts, bars[..6]);
}

#[test]
fn loudness_is_read_from_marks_sounds_and_notes() {
    let mark = |m: &str| {
        format!(
            "<direction><direction-type><dynamics><{m}/></dynamics></direction-type></direction>"
        )
    };
    let loud = note("E4", 2, "").replace("<note>", "<note dynamics=\"100\">");
    let sound = "<sound dynamics=\"50\"/>";
    let all = [
        FOUR_FOUR,
        &mark("p"),
        &note("C4", 2, ""),
        &mark("ff"),
        &note("D4", 2, ""),
        &loud,
        sound,
        &note("F4", 2, ""),
    ];
    let read = read(&[&all.concat()]);
    let found: Vec<u8> = read.score.notes.iter().map(|n| n.velocity).collect();
    // 100 % of a forte of 90, and half of it.
    assert_eq!(found, [49, 112, 90, 45]);
}

#[test]
fn what_bottles_cannot_play_is_passed_over_and_told() {
    let grace = "<note><grace/><pitch><step>C</step><octave>4</octave></pitch></note>";
    let drum = "<note><unpitched/><duration>2</duration></note>";
    let cue = note("C5", 2, "").replace("<note>", "<note><cue/>");
    let read = read(&[&[FOUR_FOUR, grace, drum, &cue, &note("D4", 4, "")].concat()]);
    assert_eq!(times(&read.score), [(1.0, 2.0, 62)]);
    assert_eq!(read.remarks.len(), 2, "{:?}", read.remarks);
    let drums = LISTED.replace(
        "</score-part>",
        "<midi-instrument id=\"x\"><midi-channel>10</midi-channel></midi-instrument></score-part>",
    );
    let text = score(&part(&[&note("C4", 4, "")]), &drums);
    let of = |p| from_musicxml(text.as_bytes(), p).unwrap().score.notes.len();
    assert_eq!((of(Percussion::Skip), of(Percussion::Read)), (0, 1));
}

#[test]
fn parts_in_divisions_of_their_own_and_bar_by_bar_files_are_one_piece() {
    let second = "<part id=\"P2\"><measure number=\"1\"><attributes><divisions>3</divisions></attributes>\
        <note><rest/><duration>1</duration></note>\
        <note><pitch><step>C</step><alter>1</alter><octave>4</octave></pitch><duration>11</duration></note>\
        </measure></part>";
    let first = part(&[&[FOUR_FOUR, &note("C4", 8, "")].concat()]);
    let listed =
        "<score-part id=\"P1\"/><score-part id=\"P2\"><part-name>low</part-name></score-part>";
    let whole = from_musicxml(
        score(&(first + second), listed).as_bytes(),
        Percussion::Skip,
    )
    .unwrap();
    assert_eq!(times(&whole.score), [(0.0, 2.0, 60), (0.166667, 2.0, 61)]);
    assert_eq!(whole.score.notes[1].track, 1);
    assert_eq!(whole.score.ticks_per_quarter % 6, 0);
    let bar = |p: &str, n: &str| {
        format!("<part id=\"{p}\"><attributes><divisions>1</divisions></attributes>{n}</part>")
    };
    let text = format!(
        "<score-timewise><part-list>{listed}</part-list><measure number=\"1\">{}{}</measure>\
         <measure number=\"2\">{}{}</measure></score-timewise>",
        bar("P1", &note("C4", 4, "")),
        bar("P2", &note("E4", 4, "")),
        bar("P1", &note("D4", 4, "")),
        bar("P2", &note("F4", 4, "")),
    );
    let timewise = from_musicxml(text.as_bytes(), Percussion::Skip)
        .unwrap()
        .score;
    let found: Vec<(f64, usize, u8)> = timewise
        .notes
        .iter()
        .map(|n| (n.start_s, n.track, n.key))
        .collect();
    assert_eq!(
        found,
        [(0.0, 0, 60), (0.0, 1, 64), (2.0, 0, 62), (2.0, 1, 65)]
    );
}

#[test]
fn a_broken_file_is_refused_with_its_line_and_what_is_wrong_there() {
    let bad_note =
        "<note><pitch><step>H</step><octave>4</octave></pitch><duration>1</duration></note>";
    let cases = [
        (
            "<score-partwise><part></score-partwise>".to_owned(),
            "line 1",
        ),
        (
            "<html>\n</html>".to_owned(),
            "line 1: <html> is not a score",
        ),
        (
            score(&part(&["\n\n", bad_note]), LISTED),
            "line 5: <step> is \"H\", and must be A to G",
        ),
        (
            score(
                &part(&[&note("C4", 1, "").replace("<duration>1</duration>", "")]),
                LISTED,
            ),
            "line 3: a <note> without a <duration>",
        ),
        (
            score(&part(&[&note("C4", 1, "").replace(">1<", ">NaN<")]), LISTED),
            "<duration> is \"NaN\"",
        ),
        (
            score(&part(&[&note("C4", 1, "").replace(">4<", ">44<")]), LISTED),
            "<octave> is \"44\", and must be 0 to 9",
        ),
        (
            score(
                &part(&["<attributes><divisions>0</divisions></attributes>"]),
                LISTED,
            ),
            "<divisions>",
        ),
        (
            score(
                &part(&[
                    "<attributes><time><beats>200+200</beats><beat-type>4</beat-type></time></attributes>",
                ]),
                LISTED,
            ),
            "200+200",
        ),
        (
            score(
                &part(&[
                    "<attributes><time><beats>4</beats><beat-type>3</beat-type></time></attributes>",
                ]),
                LISTED,
            ),
            "\"3\"",
        ),
        (
            score(
                &part(&["<barline><repeat direction=\"backward\" times=\"999\"/></barline>"]),
                LISTED,
            ),
            "1 to 99",
        ),
        ("<a>".repeat(200_000), "XML is broken"),
    ];
    for (text, expected) in cases {
        let message = refused(&text);
        assert!(message.contains(expected), "{message} for {expected}");
    }
    // Entities in entities in entities: refused, not expanded.
    let mut laughs = "<!DOCTYPE a [<!ENTITY l0 \"ha\">".to_owned();
    for n in 1..20 {
        laughs += &format!("<!ENTITY l{n} \"{}\">", format!("&l{};", n - 1).repeat(10));
    }
    assert!(refused(&(laughs + "]><a>&l19;</a>")).contains("XML is broken"));
}

fn packed(files: &[(&str, &str)]) -> Vec<u8> {
    let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, text) in files {
        zip.start_file(*name, zip::write::SimpleFileOptions::default())
            .unwrap();
        zip.write_all(text.as_bytes()).unwrap();
    }
    zip.finish().unwrap().into_inner()
}

#[test]
fn a_packed_file_and_utf_16_are_the_same_piece() {
    let text = score(&part(&[&[FOUR_FOUR, &note("C4", 8, "")].concat()]), LISTED);
    let plain = from_musicxml(text.as_bytes(), Percussion::Skip).unwrap();
    let container =
        "<container><rootfiles><rootfile full-path=\"in/air.xml\"/></rootfiles></container>";
    let whole = packed(&[
        ("META-INF/container.xml", container),
        ("other.xml", "<no/>"),
        ("in/air.xml", &text),
    ]);
    assert_eq!(from_musicxml(&whole, Percussion::Skip).unwrap(), plain);
    let without = packed(&[("air.musicxml", &text)]);
    assert_eq!(from_musicxml(&without, Percussion::Skip).unwrap(), plain);
    let missing = packed(&[("META-INF/container.xml", container)]);
    let error = from_musicxml(&missing, Percussion::Skip)
        .unwrap_err()
        .to_string();
    assert!(error.contains("in/air.xml"), "{error}");
    for cut in [5, 40, whole.len() / 2, whole.len() - 1] {
        assert!(
            from_musicxml(&whole[..cut], Percussion::Skip).is_err(),
            "{cut}"
        );
    }
    for little in [true, false] {
        let mut wide = if little {
            vec![0xFF, 0xFE]
        } else {
            vec![0xFE, 0xFF]
        };
        for unit in text.replace("UTF-8", "UTF-16").encode_utf16() {
            wide.extend(if little {
                unit.to_le_bytes()
            } else {
                unit.to_be_bytes()
            });
        }
        assert_eq!(from_musicxml(&wide, Percussion::Skip).unwrap(), plain);
    }
}

/// The demo piece written out here as MusicXML, with ties over the bar lines.
fn as_musicxml(score: &Score) -> String {
    let grid = f64::from(score.ticks_per_quarter);
    let tick = |s: f64| (score.quarter_at(s) * grid).round() as i64;
    let metre = score.metres[0];
    let bar_ticks = (metre.quarters_per_bar() * grid) as i64;
    let count = (tick(score.duration_s()) + bar_ticks - 1) / bar_ticks;
    let mut parts = String::new();
    for track in 0..score.tracks.len() {
        parts += &format!("<part id=\"P{track}\">");
        for bar in 0..count {
            let (from, to) = (bar * bar_ticks, (bar + 1) * bar_ticks);
            parts += &format!("<measure number=\"{}\">", bar + 1);
            if bar == 0 {
                parts += &format!(
                    "<attributes><divisions>{grid}</divisions><time><beats>{}</beats><beat-type>{}</beat-type></time></attributes>",
                    metre.beats, metre.unit
                );
            }
            for tempo in score.tempos.iter().filter(|_| track == 0) {
                let at = (tempo.start_quarter * grid).round() as i64;
                if (from..to).contains(&at) {
                    let go = at - from;
                    let bpm = 60e6 / f64::from(tempo.us_per_quarter);
                    parts += &format!(
                        "<forward><duration>{go}</duration></forward><sound tempo=\"{bpm}\"/><backup><duration>{go}</duration></backup>"
                    );
                }
            }
            for n in score.notes.iter().filter(|n| n.track == track) {
                let (start, stop) = (tick(n.start_s), tick(n.stop_s));
                let (a, b) = (start.max(from), stop.min(to));
                if b <= a {
                    continue;
                }
                let (step, alter) = [
                    ("C", 0),
                    ("C", 1),
                    ("D", 0),
                    ("D", 1),
                    ("E", 0),
                    ("F", 0),
                    ("F", 1),
                    ("G", 0),
                    ("G", 1),
                    ("A", 0),
                    ("A", 1),
                    ("B", 0),
                ][usize::from(n.key % 12)];
                let octave = i32::from(n.key) / 12 - 1;
                let ties = [(a > start, "stop"), (b < stop, "start")];
                let ties: String = ties
                    .iter()
                    .filter(|t| t.0)
                    .map(|t| format!("<tie type=\"{}\"/>", t.1))
                    .collect();
                parts += &format!(
                    "<forward><duration>{}</duration></forward><note dynamics=\"{}\"><pitch><step>{step}</step><alter>{alter}</alter>\
                     <octave>{octave}</octave></pitch><duration>{}</duration>{ties}</note><backup><duration>{}</duration></backup>",
                    a - from,
                    f64::from(n.velocity) / 0.9,
                    b - a,
                    b - from
                );
            }
            parts += &format!("<forward><duration>{bar_ticks}</duration></forward></measure>");
        }
        parts += "</part>";
    }
    let listed = score.tracks.iter().enumerate();
    let listed = listed.map(|(t, track)| {
        format!(
            "<score-part id=\"P{t}\"><part-name>{}</part-name></score-part>",
            track.name
        )
    });
    self::score(&parts, &listed.collect::<String>())
}

#[test]
fn the_demo_pieces_are_the_same_as_midi_and_as_musicxml() {
    for bytes in [
        &include_bytes!("../../presets/quay/piece.mid")[..],
        include_bytes!("../../presets/quay/piece5.mid"),
    ] {
        let midi = from_smf(bytes, Percussion::Skip).unwrap();
        let xml = read_piece(as_musicxml(&midi).as_bytes(), Percussion::Skip).unwrap();
        assert!(
            xml.broken.is_none() && xml.remarks.is_empty(),
            "{:?}",
            xml.remarks
        );
        let names = |s: &Score| s.tracks.iter().map(|t| t.name.clone()).collect::<Vec<_>>();
        assert_eq!(names(&xml.score), names(&midi));
        assert_eq!(xml.score.notes.len(), midi.notes.len());
        for (a, b) in xml.score.notes.iter().zip(&midi.notes) {
            assert_eq!((a.key, a.velocity, a.track), (b.key, b.velocity, b.track));
            assert!(
                (a.start_s - b.start_s).abs() < 1e-6 && (a.stop_s - b.stop_s).abs() < 1e-6,
                "{a:?} {b:?}"
            );
        }
        let bars = |s: &Score| s.bars().take(40).map(|b| b.start_s).collect::<Vec<_>>();
        for (a, b) in bars(&xml.score).iter().zip(bars(&midi)) {
            assert!((a - b).abs() < 1e-6);
        }
        // And it goes out as a MIDI file again.
        let again = from_smf(&to_smf(&xml.score).unwrap(), Percussion::Skip).unwrap();
        assert_eq!(again.notes.len(), midi.notes.len());
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn damage_gives_a_score_or_an_error(places in proptest::collection::vec((0usize..4000, any::<u8>()), 1..20)) {
        let mut bytes = score(&part(&[&[FOUR_FOUR, &note("C4", 4, "<tie type=\"start\"/>"), &chord("E4", 4),
            "<barline><ending number=\"1\" type=\"start\"/><repeat direction=\"backward\"/></barline>"].concat()]), LISTED).into_bytes();
        for (place, byte) in places {
            let place = place % bytes.len();
            bytes[place] = byte;
        }
        let _ = read_piece(&bytes, Percussion::Skip);
    }
}
