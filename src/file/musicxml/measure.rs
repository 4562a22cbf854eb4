//! One part, measure by measure in the order of the file, in quarter notes.

use std::collections::{BTreeMap, BTreeSet};

use roxmltree::Node;

use super::order::{Back, Signs};
use super::{MeasureNode, MusicXmlError, child, children, number, words, wrong};
use crate::score::{Signature, USUAL_VELOCITY};

/// The most measures of a part, and the most notes of a part.
const MOST_MEASURES: usize = 20_000;
const MOST_NOTES: usize = 1_000_000;
/// The most divisions of a quarter note: the format's own.
const MOST_DIVISIONS: f64 = 16_383.0;
/// The longest note and the longest measure, quarter notes.
const LONGEST_QUARTERS: f64 = 4_096.0;
/// Tempos that are taken, quarter notes a minute.
const TEMPOS: (f64, f64) = (1.0, 2_000.0);
/// What MusicXML measures loudness in percent of: the velocity of a forte. MusicXML 4.0, `sound`.
const FORTE_VELOCITY: f64 = 90.0;
/// Marks of loudness as velocities. Common practice, no source.
const MARKS: [(&str, f64); 9] = [
    ("pppp", 8.0),
    ("ppp", 16.0),
    ("pp", 33.0),
    ("p", 49.0),
    ("mp", 64.0),
    ("mf", 80.0),
    ("f", 96.0),
    ("ff", 112.0),
    ("fff", 126.0),
];

/// A note as it is written, its place in its measure.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Written {
    pub start_quarter: f64,
    pub quarters: f64,
    pub key: u8,
    pub velocity: u8,
    pub channel: u8,
    /// It goes on from a note before it, and into one after it.
    pub tied: (bool, bool),
}

/// A measure of one part.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Measure {
    pub notes: Vec<Written>,
    /// Where a tempo begins, and quarter notes a minute.
    pub tempos: Vec<(f64, f64)>,
    /// How much of it is filled, quarter notes.
    pub filled_quarters: f64,
    /// The metre that holds: beats and their unit.
    pub metre: (u8, u8),
    pub signs: Signs,
}

/// One part.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Part {
    pub name: String,
    pub measures: Vec<Measure>,
    /// Ticks in a quarter note that its lengths are counted in, each once.
    pub divisions: BTreeSet<u32>,
    /// The first key signature, as it sounds.
    pub signature: Option<Signature>,
    pub remarks: BTreeSet<String>,
}

impl Part {
    pub(super) fn read(
        root: Node,
        id: &str,
        measures: &[MeasureNode],
    ) -> Result<Self, MusicXmlError> {
        if measures.len() > MOST_MEASURES {
            let what = "measures of a part";
            let limit = MOST_MEASURES as u64;
            return Err(MusicXmlError::TooMuch { what, limit });
        }
        let listed = child(root, "part-list").into_iter();
        let mut listed = listed.flat_map(|list| children(list, "score-part"));
        let listed = listed.find(|part| part.attribute("id") == Some(id));
        let mut reading = Reading::new(listed);
        let mut read = Vec::with_capacity(measures.len());
        for nodes in measures {
            read.push(reading.measure(*nodes)?);
        }
        let name = listed.and_then(|part| child(part, "part-name"));
        Ok(Self {
            name: name.map(words).unwrap_or_default().to_owned(),
            measures: read,
            divisions: reading.all_divisions,
            signature: reading.signature,
            remarks: reading.remarks,
        })
    }
}

/// What holds from one measure to the next.
struct Reading {
    divisions: f64,
    all_divisions: BTreeSet<u32>,
    metre: (u8, u8),
    signature: Option<Signature>,
    /// Semitones from what is written to what sounds, by staff; 0 for all.
    transposed: BTreeMap<u32, f64>,
    velocity: f64,
    channel: u8,
    ending: Option<BTreeSet<u32>>,
    notes: usize,
    remarks: BTreeSet<String>,
    /// Of the measure that is being read.
    now: Measure,
    cursor: f64,
    chord_at: f64,
}

impl Reading {
    fn new(listed: Option<Node>) -> Self {
        let midi = listed.and_then(|part| child(part, "midi-instrument"));
        let channel = midi.and_then(|midi| child(midi, "midi-channel"));
        let channel = channel.and_then(|c| words(c).parse::<u8>().ok());
        Self {
            divisions: 1.0,
            all_divisions: BTreeSet::new(),
            metre: (4, 4),
            signature: None,
            transposed: BTreeMap::new(),
            velocity: f64::from(USUAL_VELOCITY),
            channel: channel.filter(|c| (1..=16).contains(c)).unwrap_or(1) - 1,
            ending: None,
            notes: 0,
            remarks: BTreeSet::new(),
            now: Measure::default(),
            cursor: 0.0,
            chord_at: 0.0,
        }
    }

    fn measure(&mut self, nodes: MeasureNode) -> Result<Measure, MusicXmlError> {
        self.now = Measure::default();
        (self.cursor, self.chord_at) = (0.0, 0.0);
        let mut ending_stops = false;
        for node in nodes.inner.children().filter(Node::is_element) {
            match node.tag_name().name() {
                "attributes" => self.attributes(node)?,
                "note" => self.note(node)?,
                "backup" => self.go(node, -1.0)?,
                "forward" => self.go(node, 1.0)?,
                "direction" => self.direction(node)?,
                "sound" => self.sound(node, node)?,
                "barline" => ending_stops |= self.barline(node)?,
                _ => {}
            }
        }
        self.now.metre = self.metre;
        self.now.signs.ending.clone_from(&self.ending);
        if ending_stops {
            self.ending = None;
        }
        if self.now.filled_quarters > LONGEST_QUARTERS {
            let what = format!("a measure of {} quarter notes", self.now.filled_quarters);
            return Err(wrong(nodes.outer, what));
        }
        Ok(std::mem::take(&mut self.now))
    }

    fn attributes(&mut self, node: Node) -> Result<(), MusicXmlError> {
        if let Some(divisions) = child(node, "divisions") {
            self.divisions = number(divisions, 1e-3, MOST_DIVISIONS)?;
            self.all_divisions
                .insert(self.divisions.round().max(1.0) as u32);
        }
        if let Some(time) = child(node, "time")
            && let (Some(beats), Some(unit)) = (child(time, "beats"), child(time, "beat-type"))
        {
            // "3+2" is a bar of five.
            let terms = words(beats).split('+').map(|t| t.trim().parse::<u8>().ok());
            let sum = terms.map(|t| t.map(u64::from)).sum::<Option<u64>>();
            let sum = sum
                .and_then(|sum| u8::try_from(sum).ok())
                .filter(|b| *b > 0);
            let unit_of = words(unit).parse::<u8>().ok();
            let unit_of = unit_of.filter(|u| u.is_power_of_two() && *u <= 128);
            self.metre = match (sum, unit_of) {
                (Some(beats), Some(unit)) => (beats, unit),
                _ => {
                    let (b, u) = (words(beats), words(unit));
                    return Err(wrong(time, format!("a metre of {b:?} over {u:?}")));
                }
            };
        }
        for transpose in children(node, "transpose") {
            let get = |name| child(transpose, name).map_or(Ok(0.0), |n| number(n, -120.0, 120.0));
            let semitones = get("chromatic")? + 12.0 * get("octave-change")?;
            let staff = transpose.attribute("number").and_then(|n| n.parse().ok());
            if staff.is_none() {
                self.transposed.clear();
            }
            self.transposed.insert(staff.unwrap_or(0), semitones);
        }
        if self.signature.is_none() {
            self.signature = child(node, "key").and_then(|key| self.sounding(key));
        }
        Ok(())
    }

    /// A key signature as it sounds; nothing for one that is none of the usual.
    fn sounding(&self, key: Node) -> Option<Signature> {
        let fifths: i32 = words(child(key, "fifths")?).parse().ok()?;
        let minor = child(key, "mode").is_some_and(|mode| words(mode) == "minor");
        let semitones = self.transposed.get(&0).copied().unwrap_or(0.0).round();
        // A semitone is seven fifths, folded back to six accidentals at most. The cast is of a small whole number.
        let sounding = match semitones as i32 {
            0 => fifths,
            semitones => (fifths + 7 * semitones + 5).rem_euclid(12) - 5,
        };
        let fifths = i8::try_from(sounding)
            .ok()
            .filter(|f| (-7..=7).contains(f))?;
        Some(Signature { fifths, minor })
    }

    fn quarters(&self, node: Node) -> Result<f64, MusicXmlError> {
        let Some(duration) = child(node, "duration") else {
            let name = node.tag_name().name();
            return Err(wrong(node, format!("a <{name}> without a <duration>")));
        };
        let most = LONGEST_QUARTERS * MOST_DIVISIONS;
        let quarters = number(duration, 0.0, most)? / self.divisions;
        match quarters <= LONGEST_QUARTERS {
            true => Ok(quarters),
            false => Err(wrong(
                duration,
                format!("a length of {quarters} quarter notes"),
            )),
        }
    }

    fn go(&mut self, node: Node, sign: f64) -> Result<(), MusicXmlError> {
        self.cursor += sign * self.quarters(node)?;
        // A backup over the bar line is rounding, or damage that the notes of this measure survive.
        self.cursor = self.cursor.max(0.0);
        self.now.filled_quarters = self.now.filled_quarters.max(self.cursor);
        Ok(())
    }

    fn note(&mut self, node: Node) -> Result<(), MusicXmlError> {
        if child(node, "grace").is_some() {
            self.remarks.insert("grace notes are left out".to_owned());
            return Ok(());
        }
        let quarters = self.quarters(node)?;
        let start = match child(node, "chord") {
            Some(_) => self.chord_at,
            None => self.cursor,
        };
        self.chord_at = start;
        self.cursor = self.cursor.max(start + quarters);
        self.now.filled_quarters = self.now.filled_quarters.max(self.cursor);
        let silent = child(node, "rest").is_some() || child(node, "cue").is_some();
        let Some(pitch) = child(node, "pitch").filter(|_| !silent) else {
            if child(node, "unpitched").is_some() {
                self.remarks
                    .insert("unpitched percussion is left out".to_owned());
            }
            return Ok(());
        };
        self.notes += 1;
        if self.notes > MOST_NOTES {
            let what = "notes of a part";
            let limit = MOST_NOTES as u64;
            return Err(MusicXmlError::TooMuch { what, limit });
        }
        let staff = child(node, "staff").and_then(|staff| words(staff).parse::<u32>().ok());
        let key = self.key(pitch, staff.unwrap_or(1))?;
        let tied = |kind| children(node, "tie").any(|tie| tie.attribute("type") == Some(kind));
        let own = node.attribute("dynamics").and_then(percent);
        self.now.notes.push(Written {
            start_quarter: start,
            quarters,
            key,
            velocity: own.unwrap_or(self.velocity).round().clamp(1.0, 127.0) as u8,
            channel: self.channel,
            tied: (tied("stop"), tied("start")),
        });
        Ok(())
    }

    /// The key that sounds.
    fn key(&mut self, pitch: Node, staff: u32) -> Result<u8, MusicXmlError> {
        let (Some(step), Some(octave)) = (child(pitch, "step"), child(pitch, "octave")) else {
            return Err(wrong(pitch, "a <pitch> without <step> and <octave>"));
        };
        let above_c = match words(step) {
            "C" => 0.0,
            "D" => 2.0,
            "E" => 4.0,
            "F" => 5.0,
            "G" => 7.0,
            "A" => 9.0,
            "B" => 11.0,
            other => {
                let shown: String = other.chars().take(40).collect();
                return Err(wrong(
                    step,
                    format!("<step> is {shown:?}, and must be A to G"),
                ));
            }
        };
        let alter = child(pitch, "alter").map_or(Ok(0.0), |alter| number(alter, -12.0, 12.0))?;
        if alter.fract() != 0.0 {
            let remark = "pitches between two keys are taken to the nearest key";
            self.remarks.insert(remark.to_owned());
        }
        let of_staff = self.transposed.get(&staff).or(self.transposed.get(&0));
        // Middle C is C4, key 60.
        let written = 12.0 * (number(octave, 0.0, 9.0)? + 1.0) + above_c + alter;
        let key = (written + of_staff.copied().unwrap_or(0.0)).round();
        match (0.0..=127.0).contains(&key) {
            true => Ok(key as u8),
            false => Err(wrong(
                pitch,
                format!("a pitch of key {key}, outside 0 to 127"),
            )),
        }
    }

    fn direction(&mut self, node: Node) -> Result<(), MusicXmlError> {
        let sounds: Vec<Node> = children(node, "sound").collect();
        let spoken = |name| sounds.iter().any(|sound| sound.attribute(name).is_some());
        for kind in children(node, "direction-type") {
            if let Some(mark) = child(kind, "dynamics").filter(|_| !spoken("dynamics")) {
                let marks = mark.children().map(|m| m.tag_name().name());
                let mut known = marks.filter_map(|m| MARKS.iter().find(|k| k.0 == m));
                self.velocity = known.next_back().map_or(self.velocity, |k| k.1);
            }
            if let Some(metronome) = child(kind, "metronome").filter(|_| !spoken("tempo"))
                && let Some(quarters_a_minute) = metronome_mark(metronome)
            {
                self.tempo(node, quarters_a_minute);
            }
        }
        sounds
            .into_iter()
            .try_for_each(|sound| self.sound(sound, node))
    }

    /// Takes what `sound` says; `at` is the element that says where.
    fn sound(&mut self, sound: Node, at: Node) -> Result<(), MusicXmlError> {
        if let Some(text) = sound.attribute("tempo") {
            let tempo = text.trim().parse::<f64>().ok();
            let tempo = tempo.filter(|t| t.is_finite() && *t >= 0.0);
            let Some(tempo) = tempo else {
                let shown: String = text.chars().take(40).collect();
                return Err(wrong(sound, format!("a tempo of {shown:?}")));
            };
            self.tempo(at, tempo);
        }
        if let Some(velocity) = sound.attribute("dynamics").and_then(percent) {
            self.velocity = velocity;
        }
        let has = |name| sound.attribute(name).is_some_and(|value| value != "no");
        let signs = &mut self.now.signs;
        if has("dacapo") {
            signs.back = Some(Back::Beginning);
        } else if has("dalsegno") {
            signs.back = Some(Back::Segno);
        }
        signs.segno |= has("segno");
        signs.coda |= has("coda");
        signs.to_coda |= has("tocoda");
        signs.fine |= has("fine");
        Ok(())
    }

    fn tempo(&mut self, at: Node, quarters_a_minute: f64) {
        if !(TEMPOS.0..=TEMPOS.1).contains(&quarters_a_minute) {
            let remark = format!("a tempo of {quarters_a_minute} is not one to play at");
            self.remarks.insert(remark);
            return;
        }
        let offset = child(at, "offset").filter(|o| o.attribute("sound") == Some("yes"));
        let offset = offset.and_then(|o| words(o).parse::<f64>().ok());
        let offset = offset.filter(|o| o.is_finite()).unwrap_or(0.0) / self.divisions;
        let start = (self.cursor + offset).clamp(0.0, LONGEST_QUARTERS);
        self.now.tempos.push((start, quarters_a_minute));
    }

    /// True if an ending stops with this measure.
    fn barline(&mut self, node: Node) -> Result<bool, MusicXmlError> {
        let mut stops = false;
        if let Some(ending) = child(node, "ending") {
            match ending.attribute("type") {
                Some("start") => {
                    let text = ending.attribute("number").unwrap_or("1");
                    let rounds = text.split([',', ' ']).filter_map(|n| n.trim().parse().ok());
                    let rounds: BTreeSet<u32> = rounds.filter(|n| (1..=99).contains(n)).collect();
                    // An ending without a number that can be read is played every time.
                    self.ending = (!rounds.is_empty()).then_some(rounds);
                }
                _ => stops = true,
            }
        }
        if let Some(repeat) = child(node, "repeat") {
            match repeat.attribute("direction") {
                Some("forward") => self.now.signs.forward = true,
                Some("backward") => {
                    let times = repeat.attribute("times").map_or(Ok(2), str::parse::<u32>);
                    let times = times.ok().filter(|t| (1..=99).contains(t));
                    let Some(times) = times else {
                        return Err(wrong(repeat, "a <repeat> whose times are not 1 to 99"));
                    };
                    self.now.signs.backward = Some(times);
                }
                _ => return Err(wrong(repeat, "a <repeat> neither forward nor backward")),
            }
        }
        Ok(stops)
    }
}

/// A velocity from percent of a forte.
fn percent(text: &str) -> Option<f64> {
    let percent = text.trim().parse::<f64>().ok()?;
    (0.0..=1_000.0)
        .contains(&percent)
        .then(|| percent / 100.0 * FORTE_VELOCITY)
}

/// Quarter notes a minute of a metronome mark: a note with its dots, and a number.
fn metronome_mark(node: Node) -> Option<f64> {
    let unit = match words(child(node, "beat-unit")?) {
        "breve" => 8.0,
        "whole" => 4.0,
        "half" => 2.0,
        "quarter" => 1.0,
        "eighth" => 0.5,
        "16th" => 0.25,
        "32nd" => 0.125,
        _ => return None,
    };
    // A dot adds half, two add three quarters.
    let dots = children(node, "beat-unit-dot").take(4).count() as i32;
    let dotted = unit * (2.0 - 0.5f64.powi(dots));
    // "c. 92" and "88-92": the first number.
    let text = words(child(node, "per-minute")?);
    let digit = |c: char| c.is_ascii_digit() || c == '.';
    let from = &text[text.find(|c: char| c.is_ascii_digit())?..];
    let end = from.find(|c| !digit(c)).unwrap_or(from.len());
    let per_minute = from[..end].trim_end_matches('.').parse::<f64>().ok()?;
    Some(dotted * per_minute)
}
