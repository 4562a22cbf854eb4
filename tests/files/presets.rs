//! The presets: each one loads, its fills are in tune, and the quay's are what the tour tells of them.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use ullage::index::KindIndex;
use ullage::physics::dimensions::Material;
use ullage::set::{Set, ShelfOrSet, Way, read_any};

use crate::common::files::{preset, read, set, shelf};
use crate::common::pieces::read_midi;

/// Fewest files below `presets/`: fewer would mean that the folder was not found.
const FEWEST_FILES: usize = 5;
/// A pitch this far off its target cannot be heard beside it; the file's last digit, 0.01 ml, is 0.4
/// cents in the smallest bottle at its fullest.
const IN_TUNE_CENTS: f64 = 0.5;
/// A ring below this is more breath than note; blown bottles have 20 to 60.
const LEAST_QUALITY: f64 = 15.0;

fn toml_files(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            toml_files(&path, found);
        } else if path.extension().is_some_and(|e| e == "toml") {
            found.push(path);
        }
    }
}

/// Every shelf and set, with its path.
fn presets() -> Vec<(PathBuf, ShelfOrSet)> {
    let mut paths = Vec::new();
    toml_files(&preset(""), &mut paths);
    assert!(paths.len() >= FEWEST_FILES, "{paths:?}");
    let read = |path: PathBuf| {
        let text = read(&path);
        let preset = read_any(&text).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
        (path, preset)
    };
    paths.into_iter().map(read).collect()
}

fn sets() -> Vec<(PathBuf, Set)> {
    let only_sets = |(path, preset)| match preset {
        ShelfOrSet::Set(set) => Some((path, *set)),
        ShelfOrSet::Shelf(_) => None,
    };
    presets().into_iter().filter_map(only_sets).collect()
}

/// Key numbers of a set's notes, in order.
fn keys(set: &Set) -> Vec<u8> {
    let mut keys: Vec<u8> = set.pours.iter().map(|p| p.note.midi()).collect();
    keys.sort_unstable();
    keys
}

#[test]
fn every_pour_of_every_set_is_in_tune_and_rings() {
    let sets = sets();
    assert_eq!(sets.len(), 8);
    let mut ways = BTreeSet::new();
    for (path, set) in sets {
        assert!(!set.pours.is_empty());
        ways.extend(set.ways());
        for pour in &set.pours {
            let place = format!("{}, {}", path.display(), pour.note);
            assert!(pour.setting().is_some(), "{place}: not set");
            let sounded = set
                .sounded_pour(pour)
                .unwrap_or_else(|error| panic!("{place}: {error}"));
            let off_cents = sounded.error().cents();
            assert!(
                off_cents.abs() < IN_TUNE_CENTS,
                "{place}: {off_cents} cents"
            );
            let quality = sounded.quality();
            assert!(quality >= LEAST_QUALITY, "{place}: Q {quality}");
        }
    }
    assert_eq!(ways.into_iter().collect::<Vec<_>>(), Way::ALL);
}

#[test]
fn every_preset_has_the_capacity_and_the_sizes_that_its_file_states() {
    let mut stated = 0;
    for (path, preset) in presets() {
        for kind in preset.kinds() {
            let (bottle, given) = (&kind.bottle, kind.bottle.described().dimensions);
            let place = format!("{}, {}", path.display(), kind.name);
            let near = |what: &str, has_mm: f64, stated_mm: f64, most_mm: f64| {
                assert!(
                    (has_mm - stated_mm).abs() < most_mm,
                    "{place}: {what} {has_mm} of {stated_mm}"
                );
            };
            if let Some(capacity) = given.capacity {
                stated += 1;
                let share = bottle.bore().capacity() / capacity - 1.0;
                assert!(share.abs() < 0.02, "{place}: {share}");
            }
            // What a ruler and a calliper may be off, and as much again.
            if let Some(height) = given.height {
                near(
                    "height",
                    (bottle.bore().height() + bottle.floor()).mm(),
                    height.mm(),
                    2.0,
                );
            }
            if given.mouth_bore.m() > 0.0 && given.lip_bore.is_none() {
                near(
                    "mouth",
                    2.0 * bottle.bore().mouth_radius().mm(),
                    given.mouth_bore.mm(),
                    0.6,
                );
            }
        }
    }
    assert!(stated >= 20, "{stated} bottles");
}

#[test]
fn the_quay_has_eight_kinds_from_a_vial_to_a_jug_in_glass_and_plastic() {
    let shelf = shelf("quay");
    assert!(shelf.kinds.len() >= 8);
    let capacities_ml: Vec<f64> = shelf
        .kinds
        .iter()
        .map(|k| k.bottle.bore().capacity().ml())
        .collect();
    let least_ml = capacities_ml.iter().copied().fold(f64::INFINITY, f64::min);
    let most_ml = capacities_ml.iter().copied().fold(0.0, f64::max);
    assert!((55.0..75.0).contains(&least_ml), "{least_ml} ml");
    assert!((4500.0..5500.0).contains(&most_ml), "{most_ml} ml");
    for material in [Material::Glass, Material::Plastic] {
        assert!(
            shelf.kinds.iter().any(|k| k.bottle.material() == material),
            "{material:?}"
        );
    }
}

#[test]
fn the_quays_shelf_and_set_have_the_same_bottles() {
    assert_eq!(shelf("quay").kinds, set("quay").kinds);
    assert_eq!(shelf("chromatic").kinds, set("chromatic").kinds);
}

#[test]
fn the_quays_set_spans_more_than_an_octave_and_a_half() {
    let keys = keys(&set("quay"));
    assert!(keys.len() >= 13, "{} notes", keys.len());
    assert!(keys[keys.len() - 1] - keys[0] >= 18, "{keys:?}");
}

#[test]
fn every_note_of_the_quays_piece_is_in_its_set() {
    let score = read_midi(preset("quay/piece.mid"));
    let wanted: BTreeSet<u8> = score.keys().into_iter().collect();
    let there: BTreeSet<u8> = keys(&set("quay")).into_iter().collect();
    assert!(wanted.len() >= 8, "{wanted:?}");
    let missing: Vec<_> = wanted.difference(&there).collect();
    assert!(missing.is_empty(), "keys {missing:?} are in no bottle");
}

#[test]
fn the_chromatic_set_has_every_key_from_g3_to_g5_from_six_kinds_or_more() {
    let set = set("chromatic");
    assert_eq!(keys(&set), (55..=79).collect::<Vec<u8>>());
    let used: BTreeSet<KindIndex> = set.pours.iter().map(|p| p.kind).collect();
    assert!(used.len() >= 6, "{} kinds", used.len());
}

#[test]
fn the_classroom_set_is_five_notes_from_five_bottles_of_one_kind_by_household_measures() {
    let set = set("classroom");
    let notes: Vec<String> = set.pours.iter().map(|p| p.note.to_string()).collect();
    assert_eq!(notes, ["C5", "D5", "E5", "G5", "A5"]);
    assert_eq!((set.kinds.len(), set.kinds[0].count), (1, 5));
    let given = &set.kinds[0].bottle.described().dimensions;
    assert!(
        given.capacity.is_some() && given.wall.is_none(),
        "nobody measures a wall at home"
    );
}
