//! A year of saving: shelves as nobody has them are planned, saved, opened and saved again, and nothing moves.
//!
//! A small trial; `ULLAGE_YEAR=1000 cargo test --release --test files -- year:: --nocapture` is a long one.

use std::fmt::Write;

use ullage::file::atomic::{Overwrite, write_whole};
use ullage::physics::conditions::Conditions;
use ullage::physics::prediction::Blown;
use ullage::plan::cost::Weights;
use ullage::plan::problem::{Allowed, Candidate, Limits, Problem, Target};
use ullage::set::change::changed;
use ullage::set::edit::{PlannedPour, PlannedSet, SetText, planned};
use ullage::set::{self, Kind, ShelfOrSet, Striking, Way, read_any_in, read_shelf};
use ullage::tuning::{NoteName, Temperament, Tuning};
use ullage::units::{Frequency, Volume};

use crate::common::dice::Dice;
use crate::common::files::{Folder, read};

/// Shelves of the small trial.
const FEW: u64 = 24;
/// What stands in names, titles and remarks.
const WORDS: [&str; 12] = [
    "tide", "quay", "grün", "No. 7", "it's", "#3", "a = b", "\\", "[[pour]]", "☂", "\"old\"", "  ",
];

/// One of them.
fn one<'a, T: ?Sized>(dice: &mut Dice, of: &[&'a T]) -> &'a T {
    of[dice.below(of.len() as u64) as usize]
}

/// Whether it is so, this often.
fn in_one_of(dice: &mut Dice, times: u64) -> bool {
    dice.below(times) == 0
}

fn between(dice: &mut Dice, low: f64, high: f64) -> f64 {
    low + (high - low) * dice.share()
}

/// A text as TOML has it, one way or the other.
fn quoted(dice: &mut Dice, text: &str) -> String {
    match !text.contains('\'') && in_one_of(dice, 2) {
        true => format!("'{text}'"),
        false => format!("\"{}\"", text.replace('\\', "\\\\").replace('"', "\\\"")),
    }
}

fn words(dice: &mut Dice) -> String {
    let count = 1 + dice.below(3);
    let words: Vec<&str> = (0..count).map(|_| one(dice, &WORDS)).collect();
    words.join(" ")
}

/// A length as somebody writes it: so many digits, or in another unit.
fn length(dice: &mut Dice, mm: f64) -> String {
    match dice.below(6) {
        0 => format!("{mm:.0}"),
        1 => format!("{mm:.2}"),
        2 => format!("\"{:.2} cm\"", mm / 10.0),
        3 => format!("\"{:.2} in\"", mm / 25.4),
        _ => format!("{mm:.1}"),
    }
}

/// One kind of bottle. Sizes are rolled one by one, and not every bottle of them can be made.
fn bottle(dice: &mut Dice, number: u64) -> String {
    let name = format!("{} {number}", words(dice));
    let body_mm = between(dice, 45.0, 110.0);
    let wall_mm = between(dice, 0.4, 3.5);
    let mouth_mm = between(dice, 14.0, 0.4 * body_mm);
    let [body_length_mm, shoulder_mm, neck_mm] =
        [(70.0, 200.0), (15.0, 60.0), (20.0, 70.0)].map(|(low, high)| between(dice, low, high));
    let mut text = format!("[[bottle]]\nname = {}\n", quoted(dice, &name));
    let sizes = [
        ("body_diameter_mm", body_mm),
        ("body_length_mm", body_length_mm),
        ("shoulder_length_mm", shoulder_mm),
        ("height_mm", body_length_mm + shoulder_mm + neck_mm),
        ("mouth_bore_mm", mouth_mm),
    ];
    for (key, mm) in sizes {
        let _ = write!(text, "{key} = {}", length(dice, mm));
        text += match in_one_of(dice, 5) {
            true => "   # measured twice\n",
            false => "\n",
        };
    }
    if in_one_of(dice, 2) {
        let _ = writeln!(
            text,
            "neck_bore_mm = {:.1}",
            mouth_mm + between(dice, 0.0, 5.0)
        );
    }
    if in_one_of(dice, 2) {
        let _ = writeln!(text, "wall_mm = {wall_mm:.1}");
    }
    if in_one_of(dice, 3) {
        let _ = writeln!(text, "count = {}", 1 + dice.below(4));
    }
    if in_one_of(dice, 4) {
        let _ = writeln!(
            text,
            "material = \"{}\"",
            one(dice, &["glass", "plastic", "ceramic", "metal"])
        );
    }
    if in_one_of(dice, 4) {
        let remark = words(dice);
        let _ = writeln!(text, "remark = {}", quoted(dice, &remark));
    }
    text + "\n"
}

/// A pitch that the bottle of a shelf's text was heard at, near the one it is said to have.
fn heard(dice: &mut Dice, bottle: &str) -> Option<String> {
    let kind = read_shelf(bottle).ok()?.kinds.pop()?;
    let conditions = Conditions::default();
    let fill = Volume::from_ml((0.4 * dice.share() * kind.bottle.bore().capacity().ml()).round());
    let said = Blown::new(&kind.bottle, &conditions)
        .ok()?
        .fundamental(fill)
        .ok()?;
    let hz = said.frequency.hz() * 2f64.powf(20.0 * dice.roll() / 1200.0);
    let temp = match in_one_of(dice, 2) {
        true => format!(", temp_c = {:.1}", between(dice, 15.0, 28.0)),
        false => String::new(),
    };
    Some(format!(
        "heard = [{{ fill_ml = {}, hz = {hz:.1}{temp} }}] # blown softly\n\n",
        fill.ml()
    ))
}

/// The text of a shelf.
fn shelf(dice: &mut Dice) -> String {
    let mut text = "# Ours.\nversion = 1\n".to_owned();
    let title = words(dice);
    let _ = writeln!(text, "title = {}\n", quoted(dice, &title));
    for number in 0..1 + dice.below(5) {
        let bottle = bottle(dice, number);
        let heard = match in_one_of(dice, 3) {
            true => heard(dice, &bottle),
            false => None,
        };
        match heard {
            Some(heard) => text += &format!("{}\n{heard}", bottle.trim_end()),
            None => text += &bottle,
        }
    }
    match in_one_of(dice, 4) {
        true => text.replace('\n', "\r\n"),
        false => text,
    }
}

/// What is asked of the bottles.
struct Asked {
    notes: Vec<NoteName>,
    tuning: Tuning,
    ways: Vec<Way>,
    title: Option<String>,
    transpose: i32,
}

impl Asked {
    fn rolled(dice: &mut Dice) -> Self {
        let count = 2 + dice.below(7);
        let notes = (0..count)
            .map(|_| NoteName::from_midi(45 + dice.below(34) as u8))
            .collect();
        let ways: &[Way] = match dice.below(12) {
            0 => &[Way::Struck],
            1 => &[Way::Blown, Way::Sliding],
            _ => &[Way::Blown],
        };
        Self {
            notes,
            tuning: tuning(dice),
            ways: ways.to_vec(),
            title: in_one_of(dice, 2).then(|| words(dice)),
            transpose: dice.below(25) as i32 - 12,
        }
    }

    /// The text of the set that is planned with the bottles in `source`, as the command writes it; nothing where no bottle can be
    /// made, or none sounds.
    fn planned(&self, source: &str, room: &Conditions) -> Option<String> {
        let given = read_any_in(source, room).ok()?;
        let candidate = |kind: &Kind| Candidate {
            name: kind.name.clone(),
            bottle: kind.bottle.clone(),
            count: kind.count,
            keep_empty: false,
            fits: kind.fits.clone(),
        };
        let allowed = Allowed {
            ways: self.ways.clone(),
            striking: Striking::default(),
        };
        let candidates = given.kinds().iter().map(candidate).collect();
        let problem =
            Problem::with_ways(candidates, room, Limits::default(), allowed, &|| ()).ok()?;
        let target = |note: &NoteName| Target {
            note: *note,
            pitch: self.tuning.frequency(note),
        };
        let targets: Vec<Target> = self.notes.iter().map(target).collect();
        let assignment = problem.assign(&targets, &[], &Weights::default()).unwrap();
        let plan = problem.pour(&assignment);
        let set = PlannedSet {
            title: self.title.as_deref(),
            transpose: self.transpose,
            conditions: room,
            tuning: &self.tuning,
            striking: Striking::default(),
            heard_at: match &given {
                ShelfOrSet::Set(before) => Some(before.conditions.temperature()),
                ShelfOrSet::Shelf(_) => None,
            },
            pours: plan
                .pours
                .iter()
                .map(|placed| PlannedPour {
                    note: placed.target.note,
                    bottle: &problem.candidates()[placed.bottle].name,
                    sounded: &placed.sounded,
                })
                .collect(),
        };
        Some(planned(source, &set).unwrap_or_else(|error| panic!("{error}\n{source}")))
    }
}

fn tuning(dice: &mut Dice) -> Tuning {
    let temperament = match dice.below(4) {
        0 => Temperament::Just,
        1 => Temperament::Pythagorean,
        _ => Temperament::Equal,
    };
    let a4 = Frequency::from_hz((4150.0 + dice.below(510) as f64) / 10.0);
    let tonic = one(dice, &["C", "D", "Eb", "F#", "A"]).parse().unwrap();
    Tuning::new(a4, temperament, tonic).unwrap()
}

/// A room, to the digits that somebody writes.
fn room(dice: &mut Dice) -> Conditions {
    let changes = [
        format!("temp-c={:.1}", between(dice, 8.0, 34.0)),
        format!("humidity-pct={:.1}", between(dice, 5.0, 95.0)),
        format!("pressure-kpa={:.1}", between(dice, 80.0, 103.0)),
        format!("lip-open={:.2}", between(dice, 0.6, 1.0)),
        format!(
            "liquid={}",
            one(dice, &["water", "brine", "ethanol 40%", "sugar 12.5%"])
        ),
    ];
    let count = dice.below(1 + changes.len() as u64) as usize;
    let changes: Vec<_> = changes[..count]
        .iter()
        .map(|c| c.parse().unwrap())
        .collect();
    changed(&Conditions::default(), &changes).unwrap()
}

/// Everything that is known of a set is written again into the text that it came from.
fn saved_again(text: &str) -> String {
    let known = set::read_set(text).unwrap();
    let mut edit = SetText::parse(text).unwrap();
    edit.set_conditions(&known.conditions).unwrap();
    edit.set_tuning(&known.tuning).unwrap();
    for (place, pour) in ullage::index::PourIndex::all(known.pours.len()).zip(&known.pours) {
        edit.set_note(place, pour.note).unwrap();
        edit.set_pour(place, pour.setting().unwrap()).unwrap();
    }
    edit.finish().unwrap().text
}

#[test]
fn a_set_that_was_planned_is_the_same_file_however_often_it_is_opened_and_saved() {
    let asked = std::env::var("ULLAGE_YEAR").ok();
    let shelves: u64 = asked.map_or(FEW, |n| n.parse().unwrap());
    let folder = Folder::new();
    let (mut sets, mut pours) = (0, 0);
    for seed in 0..shelves {
        let mut dice = Dice(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ 0x5851_F42D);
        let source = shelf(&mut dice);
        let (room, asked) = (room(&mut dice), Asked::rolled(&mut dice));
        let Some(text) = asked.planned(&source, &room) else {
            continue;
        };
        let path = folder.at(format!("{seed}.toml"));
        write_whole(&path, text.as_bytes(), Overwrite::No).unwrap();
        let opened = set::open(&path).unwrap_or_else(|error| panic!("{seed}: {error}\n{text}"));
        write_whole(&path, saved_again(&read(&path)).as_bytes(), Overwrite::Yes).unwrap();
        assert_eq!(read(&path), text, "{seed}: saved again");
        // Planned once more, from the set and in its own room.
        let again = asked.planned(&text, &opened.conditions).unwrap();
        assert_eq!(again, text, "{seed}: planned again from\n{source}");
        sets += 1;
        pours += opened.pours.len() as u64;
    }
    println!("{sets} sets of {pours} pours from {shelves} shelves");
    assert!(
        10 * sets >= 6 * shelves && pours > 2 * sets,
        "{sets} sets, {pours} pours"
    );
}
