//! Writing a piece as MusicXML 4.0: what any notation program opens, a part for each track.
//!
//! Times are put on a grid of twelfths of a quarter note, so that sixteenths and triplets are exact; what lies between is
//! moved to the nearest. Notes that overlap in one track are written as voices, those that begin and end together as chords.

use std::fmt::Write;

use crate::file::markup::escaped;
use crate::score::{Metre, Score, ScoreNote};

/// Parts of a quarter note on the grid.
const DIVISIONS: u32 = 12;
/// Lengths that have a name, on the grid: their name, whether they are dotted, and whether they are of a triplet.
const LENGTHS: [(u32, &str, bool, bool); 13] = [
    (48, "whole", false, false),
    (36, "half", true, false),
    (24, "half", false, false),
    (18, "quarter", true, false),
    (12, "quarter", false, false),
    (9, "eighth", true, false),
    (8, "quarter", false, true),
    (6, "eighth", false, false),
    (4, "eighth", false, true),
    (3, "16th", false, false),
    (2, "16th", false, true),
    (1, "32nd", false, true),
    (0, "", false, false),
];
/// Most voices of a part: what more overlap is cut where the next note begins.
const MOST_VOICES: usize = 4;

/// A note as it is spelled: its letter, semitones up from it, and its octave.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Spelled {
    /// From A to G.
    pub step: char,
    /// Sharps; flats below 0.
    pub alter: i8,
    /// The octave of the letter; middle C is in 4.
    pub octave: i8,
}

/// Writes `score`, called `title`, its keys spelled by `spell`.
///
/// ```
/// use ullage::file::musicxml::{Spelled, from_musicxml, to_musicxml};
/// use ullage::file::{piece, smf::Percussion};
///
/// let score = piece::open("presets/quay/piece.mid")?.score;
/// let sharps = |key: u8| {
///     let steps = [("C", 0), ("C", 1), ("D", 0), ("D", 1), ("E", 0), ("F", 0), ("F", 1), ("G", 0), ("G", 1), ("A", 0), ("A", 1), ("B", 0)];
///     let (step, alter) = steps[usize::from(key % 12)];
///     Spelled { step: step.chars().next().unwrap(), alter, octave: (key / 12) as i8 - 1 }
/// };
/// let text = to_musicxml(&score, "Harbour", &sharps);
/// // What is read back has the same keys, as often.
/// let again = from_musicxml(text.as_bytes(), Percussion::Skip)?.score;
/// let keys = |score: &ullage::score::Score| {
///     let mut keys: Vec<u8> = score.notes.iter().map(|n| n.key).collect();
///     keys.sort_unstable();
///     keys
/// };
/// assert_eq!(keys(&again), keys(&score));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[must_use]
pub fn to_musicxml(score: &Score, title: &str, spell: &dyn Fn(u8) -> Spelled) -> String {
    let by_notes = score.notes.iter().map(|n| n.track + 1).max().unwrap_or(1);
    let parts = by_notes.max(score.tracks.len());
    let mut out = String::from(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
         <!DOCTYPE score-partwise PUBLIC \"-//Recordare//DTD MusicXML 4.0 Partwise//EN\" \
         \"http://www.musicxml.org/dtds/partwise.dtd\">\n<score-partwise version=\"4.0\">\n",
    );
    let _ = writeln!(
        out,
        "<work><work-title>{}</work-title></work>\n<part-list>",
        escaped(title)
    );
    for track in 0..parts {
        let name = score.tracks.get(track).map_or("", |t| t.name.as_str());
        let number = track + 1;
        let _ = writeln!(
            out,
            "<score-part id=\"P{number}\"><part-name>{}</part-name></score-part>",
            escaped(name)
        );
    }
    out.push_str("</part-list>\n");
    let bars = bars(score);
    for track in 0..parts {
        let _ = writeln!(out, "<part id=\"P{}\">", track + 1);
        let part = Part {
            score,
            spell,
            voices: voices(score, track),
            has_tempos: track == 0,
        };
        for (index, bar) in bars.iter().enumerate() {
            let before = index.checked_sub(1).map(|i| bars[i].metre);
            part.measure(&mut out, index + 1, bar, before);
        }
        out.push_str("</part>\n");
    }
    out.push_str("</score-partwise>\n");
    out
}

/// A bar on the grid.
#[derive(Clone, Copy)]
struct Span {
    from: u32,
    to: u32,
    metre: Metre,
}

fn on_grid(quarters: f64) -> u32 {
    // The cast takes what lies before the beginning to the beginning.
    (quarters * f64::from(DIVISIONS)).round() as u32
}

fn bars(score: &Score) -> Vec<Span> {
    let bars = score.bars_to_the_end();
    let begins = |index: usize| {
        let bar = bars.get(index)?;
        Some(on_grid(score.quarter_at(bar.start_s)))
    };
    let span = |index: usize| {
        let (from, metre) = (begins(index)?, bars[index].metre);
        let full = from + on_grid(metre.quarters_per_bar());
        let to = begins(index + 1).unwrap_or(full).max(from + 1);
        Some(Span { from, to, metre })
    };
    (0..bars.len()).filter_map(span).collect()
}

/// Notes that begin and end together.
struct Chord {
    from: u32,
    to: u32,
    keys: Vec<u8>,
}

/// The notes of a track, each voice without two at once.
fn voices(score: &Score, track: usize) -> Vec<Vec<Chord>> {
    let mut voices: Vec<Vec<Chord>> = vec![Vec::new()];
    let own = score
        .notes
        .iter()
        .filter(|n| n.track == track && n.held_s() > 0.0);
    for note in own {
        let (from, to) = times(score, note);
        let last = |voice: &Vec<Chord>| voice.last().map(|c| (c.from, c.to));
        if let Some(voice) = voices.iter_mut().find(|v| last(v) == Some((from, to))) {
            let keys = &mut voice.last_mut().expect("it has a chord").keys;
            if !keys.contains(&note.key) {
                keys.push(note.key);
            }
            continue;
        }
        let is_free = |voice: &Vec<Chord>| voice.last().is_none_or(|c| c.to <= from);
        let place = match voices.iter().position(is_free) {
            Some(place) => place,
            None if voices.len() < MOST_VOICES => {
                voices.push(Vec::new());
                voices.len() - 1
            }
            None => {
                // The one that began first gives way.
                let began = |voice: &Vec<Chord>| voice.last().map_or(0, |c| c.from);
                let place = (0..voices.len()).min_by_key(|&v| began(&voices[v]));
                let place = place.expect("there are voices");
                if let Some(chord) = voices[place].last_mut() {
                    chord.to = from;
                }
                voices[place].retain(|c| c.to > c.from);
                place
            }
        };
        voices[place].push(Chord {
            from,
            to,
            keys: vec![note.key],
        });
    }
    voices
}

/// When a note begins and ends, on the grid; a note is never shorter than a step of it.
fn times(score: &Score, note: &ScoreNote) -> (u32, u32) {
    let at = |seconds: f64| on_grid(score.quarter_at(seconds));
    let from = at(note.start_s);
    (from, at(note.stop_s).max(from + 1))
}

struct Part<'a> {
    score: &'a Score,
    spell: &'a dyn Fn(u8) -> Spelled,
    voices: Vec<Vec<Chord>>,
    has_tempos: bool,
}

impl Part<'_> {
    fn measure(&self, out: &mut String, number: usize, bar: &Span, before: Option<Metre>) {
        let _ = writeln!(out, "<measure number=\"{number}\">");
        self.attributes(out, bar, before);
        if self.has_tempos {
            self.tempos(out, bar);
        }
        for (voice, chords) in self.voices.iter().enumerate() {
            let sounds = chords.iter().any(|c| c.from < bar.to && c.to > bar.from);
            if voice > 0 && !sounds {
                continue;
            }
            if voice > 0 {
                let back = bar.to - bar.from;
                let _ = writeln!(out, "<backup><duration>{back}</duration></backup>");
            }
            self.voice(out, bar, (voice + 1, chords));
        }
        out.push_str("</measure>\n");
    }

    fn attributes(&self, out: &mut String, bar: &Span, before: Option<Metre>) {
        let same = |m: Metre| (m.beats, m.unit) == (bar.metre.beats, bar.metre.unit);
        if before.is_some_and(same) {
            return;
        }
        out.push_str("<attributes>");
        if before.is_none() {
            let _ = write!(out, "<divisions>{DIVISIONS}</divisions>");
            if let Some(key) = self.score.signature {
                let mode = if key.minor { "minor" } else { "major" };
                let _ = write!(
                    out,
                    "<key><fifths>{}</fifths><mode>{mode}</mode></key>",
                    key.fifths
                );
            }
        }
        let _ = write!(
            out,
            "<time><beats>{}</beats><beat-type>{}</beat-type></time>",
            bar.metre.beats, bar.metre.unit
        );
        if before.is_none() {
            let (sign, line) = self.clef();
            let _ = write!(out, "<clef><sign>{sign}</sign><line>{line}</line></clef>");
        }
        out.push_str("</attributes>\n");
    }

    /// The clef that most of the notes need fewest extra lines in.
    fn clef(&self) -> (&'static str, u8) {
        let keys = self.voices.iter().flatten().flat_map(|c| &c.keys);
        let (sum, count) = keys.fold((0u32, 0u32), |(s, n), &key| (s + u32::from(key), n + 1));
        match count > 0 && sum < 57 * count {
            true => ("F", 4),
            false => ("G", 2),
        }
    }

    fn tempos(&self, out: &mut String, bar: &Span) {
        for tempo in &self.score.tempos {
            let at = on_grid(tempo.start_quarter);
            if (bar.from..bar.to).contains(&at) {
                let quarters = tempo.quarters_per_minute();
                let _ = writeln!(
                    out,
                    "<direction placement=\"above\"><direction-type><metronome><beat-unit>quarter</beat-unit>\
                     <per-minute>{quarters:.0}</per-minute></metronome></direction-type><offset>{}</offset>\
                     <sound tempo=\"{quarters:.3}\"/></direction>",
                    at - bar.from
                );
            }
        }
    }

    fn voice(&self, out: &mut String, bar: &Span, (voice, chords): (usize, &[Chord])) {
        let mut at = bar.from;
        for chord in chords.iter().filter(|c| c.from < bar.to && c.to > bar.from) {
            let (from, to) = (chord.from.max(bar.from), chord.to.min(bar.to));
            rest(out, voice, from - at, false);
            let mut begin = from;
            for length in lengths(to - from) {
                let tie = Tie {
                    from_before: begin > chord.from,
                    goes_on: begin + length < chord.to,
                };
                for (place, &key) in chord.keys.iter().enumerate() {
                    let in_chord = if place > 0 { "<chord/>" } else { "" };
                    let what = format!("{in_chord}{}", pitch((self.spell)(key)));
                    note(out, &what, (voice, length), tie);
                }
                begin += length;
            }
            at = to;
        }
        let whole = at == bar.from;
        rest(out, voice, bar.to - at, whole);
    }
}

/// Which way a note is tied.
#[derive(Clone, Copy, Default)]
struct Tie {
    from_before: bool,
    goes_on: bool,
}

fn rest(out: &mut String, voice: usize, length: u32, whole_bar: bool) {
    if length > 0 && whole_bar {
        let _ = writeln!(
            out,
            "<note><rest measure=\"yes\"/><duration>{length}</duration><voice>{voice}</voice></note>"
        );
        return;
    }
    for length in lengths(length) {
        note(out, "<rest/>", (voice, length), Tie::default());
    }
}

/// A length as a sum of those that have names, the longest first.
fn lengths(mut length: u32) -> Vec<u32> {
    let mut parts = Vec::new();
    while length > 0 {
        // Straight ones first: a triplet only where nothing else fits.
        let straight = LENGTHS.iter().filter(|l| l.0 > 0 && l.0.is_multiple_of(3));
        let fits = straight
            .map(|l| l.0)
            .find(|l| *l <= length && (length - l).is_multiple_of(3));
        let any = || LENGTHS.iter().map(|l| l.0).find(|l| *l > 0 && *l <= length);
        let part = fits.or_else(any).expect("a step of the grid has a name");
        parts.push(part);
        length -= part;
    }
    parts
}

fn note(out: &mut String, what: &str, (voice, length): (usize, u32), tie: Tie) {
    let sides = [(tie.from_before, "stop"), (tie.goes_on, "start")];
    let sides = || sides.into_iter().filter(|s| s.0).map(|s| s.1);
    let ties: String = sides()
        .map(|side| format!("<tie type=\"{side}\"/>"))
        .collect();
    let _ = write!(
        out,
        "<note>{what}<duration>{length}</duration>{ties}<voice>{voice}</voice>"
    );
    if let Some((_, name, dotted, triplet)) = LENGTHS.iter().find(|l| l.0 == length) {
        let dot = if *dotted { "<dot/>" } else { "" };
        let _ = write!(out, "<type>{name}</type>{dot}");
        if *triplet {
            out.push_str(
                "<time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes></time-modification>",
            );
        }
    }
    let tied: String = sides()
        .map(|side| format!("<tied type=\"{side}\"/>"))
        .collect();
    if !tied.is_empty() {
        let _ = write!(out, "<notations>{tied}</notations>");
    }
    out.push_str("</note>\n");
}

fn pitch(note: Spelled) -> String {
    let alter = match note.alter {
        0 => String::new(),
        alter => format!("<alter>{alter}</alter>"),
    };
    format!(
        "<pitch><step>{}</step>{alter}<octave>{}</octave></pitch>",
        note.step, note.octave
    )
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;
    use crate::file::musicxml::from_musicxml;
    use crate::file::smf::Percussion;
    use crate::score::{Signature, Tempo, Track};

    fn sharps(key: u8) -> Spelled {
        let steps = [
            ('C', 0),
            ('C', 1),
            ('D', 0),
            ('D', 1),
            ('E', 0),
            ('F', 0),
            ('F', 1),
            ('G', 0),
            ('G', 1),
            ('A', 0),
            ('A', 1),
            ('B', 0),
        ];
        let (step, alter) = steps[usize::from(key % 12)];
        Spelled {
            step,
            alter,
            octave: (key / 12) as i8 - 1,
        }
    }

    fn note(track: usize, key: u8, from_quarter: f64, to_quarter: f64) -> ScoreNote {
        ScoreNote {
            start_s: 0.5 * from_quarter,
            stop_s: 0.5 * to_quarter,
            key,
            velocity: 80,
            track,
            channel: 0,
        }
    }

    /// Beginning and end in quarter notes, and key, of every note of every track.
    fn told(score: &Score) -> Vec<(usize, u64, u64, u8)> {
        let thousandth = |s: f64| (1000.0 * score.quarter_at(s)).round() as u64;
        let one = |n: &ScoreNote| (n.track, thousandth(n.start_s), thousandth(n.stop_s), n.key);
        let mut all: Vec<_> = score.notes.iter().map(one).collect();
        all.sort_unstable();
        all
    }

    #[test]
    fn what_is_written_reads_back_the_same() {
        let third = 1.0 / 3.0;
        let mut score = Score {
            notes: vec![
                // A tie over a bar, triplets, a dotted note after a rest of a sixteenth, a chord, and two voices.
                note(0, 60, 3.0, 5.5),
                note(0, 61, 6.0, 6.0 + third),
                note(0, 62, 6.0 + third, 6.0 + 2.0 * third),
                note(0, 63, 6.0 + 2.0 * third, 7.0),
                note(0, 64, 7.25, 8.0),
                note(0, 60, 8.0, 10.0),
                note(0, 64, 8.0, 10.0),
                note(1, 40, 0.0, 4.0),
                note(1, 47, 1.0, 3.0),
            ],
            metres: vec![
                Metre {
                    start_quarter: 0.0,
                    beats: 4,
                    unit: 4,
                },
                Metre {
                    start_quarter: 8.0,
                    beats: 3,
                    unit: 4,
                },
            ],
            tempos: vec![Tempo::default()],
            signature: Some(Signature {
                fifths: -2,
                minor: true,
            }),
            tracks: vec![
                Track {
                    name: "player 1: <C>".into(),
                },
                Track {
                    name: "player 2".into(),
                },
            ],
            ..Score::default()
        };
        score.sort();
        let text = to_musicxml(&score, "a & b", &sharps);
        let read = from_musicxml(text.as_bytes(), Percussion::Skip).unwrap();
        assert_eq!(told(&read.score), told(&score));
        assert_eq!(read.score.signature, score.signature);
        assert_eq!(read.score.tracks, score.tracks);
        let bars = |score: &Score| {
            score
                .bars_to_the_end()
                .iter()
                .map(|b| b.metre.beats)
                .collect::<Vec<_>>()
        };
        assert_eq!(bars(&read.score), bars(&score));
        assert!(read.remarks.is_empty(), "{:?}", read.remarks);
    }

    #[test]
    fn any_length_is_a_sum_of_lengths_that_have_names() {
        for length in 0..500 {
            let parts = lengths(length);
            assert_eq!(parts.iter().sum::<u32>(), length);
            assert!(parts.iter().all(|p| LENGTHS.iter().any(|l| l.0 == *p)));
        }
        assert_eq!(lengths(15), [12, 3]);
        assert_eq!(lengths(4), [4]);
    }
}
