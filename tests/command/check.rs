//! Whether a piece can be played, as a user asks it: the demo can, pieces made to fail say why, and the
//! sharing out of the bottles is held against trying every way.

use std::path::Path;

use serde_json::Value;
use ullage::index::PourIndex;
use ullage::plan::players::{Sharing, load};
use ullage::plan::programme::Breath;
use ullage::score::ScoreNote;

use crate::common::command::{Run, ullage};
use crate::common::dice::Dice;
use crate::common::files::{Folder, QUAY_SET, arg, preset};
use crate::common::pieces::{midi, note, piece};

/// Whether a piece can be played with the demo set.
fn run(piece: &Path, more: &[&str]) -> Run {
    let args = ["check", QUAY_SET, "--piece", arg(piece)];
    ullage(&[&args, more].concat())
}

fn demo(more: &[&str]) -> Run {
    run(&preset("quay/piece.mid"), &[&["--json"], more].concat())
}

/// Checks a piece of these notes.
fn checked(notes: Vec<ScoreNote>, more: &[&str]) -> (Run, Value) {
    let folder = Folder::new();
    let written = folder.write("written.mid", midi(&piece(notes)));
    let run = run(&written, &[&["--json"], more].concat());
    let report = run.json();
    (run, report)
}

/// The one reason that a piece cannot be played.
fn only_reason((run, report): &(Run, Value)) -> String {
    assert_eq!(run.code, Some(1), "{}", run.err);
    let reasons = report["reasons"].as_array().unwrap();
    assert_eq!(reasons.len(), 1, "{reasons:?}");
    let reason = reasons[0].as_str().unwrap().to_owned();
    assert!(run.err.contains(&reason), "{}", run.err);
    reason
}

#[test]
fn the_demo_piece_can_be_played_with_the_demo_set() {
    let report = demo(&[]).ended(0).json();
    for key in "version missing range players transpositions bound busiest_bar rough_pairs too_fast"
        .split(' ')
    {
        assert!(!report[key].is_null(), "{key}");
    }
    for key in ["missing", "too_fast", "two_at_once", "reasons"] {
        assert_eq!(report[key], serde_json::json!([]), "{key}");
    }
    assert_eq!(report["transpositions"][0]["semitones"], 0);
    assert_eq!(report["transpositions"][0]["missing_notes"], 0);
    assert_eq!(report["transpositions"].as_array().unwrap().len(), 49);
    assert_eq!(report["bound"]["exact"], true);
    let who = report["players"]["who"].as_array().unwrap();
    assert_eq!(report["players"]["fewest"], who.len());
    let held: Vec<&Value> = who
        .iter()
        .flat_map(|w| w["bottles"].as_array().unwrap())
        .collect();
    assert_eq!(held.len(), 13, "the keys of the piece, each once");
    let notes: u64 = who.iter().map(|w| w["notes"].as_u64().unwrap()).sum();
    assert_eq!(notes, 189);
}

#[test]
fn one_hand_needs_a_player_a_bottle_and_no_change_time_needs_no_more_than_some() {
    let fewest = |more: &[&str]| demo(more).json()["players"]["fewest"].as_u64().unwrap();
    assert_eq!(fewest(&["--hands", "1"]), 13);
    let (quick, usual, slow) = (
        fewest(&["--change-s", "0"]),
        fewest(&[]),
        fewest(&["--change-s", "5"]),
    );
    println!("{quick} players at 0 s, {usual} at 0.35 s, {slow} at 5 s");
    assert!(7 <= quick && quick < usual && usual <= slow && slow <= 13);
}

#[test]
fn a_note_that_no_bottle_has_is_missing_with_its_places_and_its_neighbour() {
    let notes = vec![note(60, 0.0, 0.5), note(61, 2.0, 2.5), note(61, 6.0, 6.5)];
    let found = checked(notes, &[]);
    let reason = only_reason(&found);
    let report = found.1;
    assert!(
        reason.contains("missing") && reason.contains("Db4 (2 times, from bar 2)"),
        "{reason}"
    );
    assert_eq!(report["missing"][0]["bars"], serde_json::json!([2, 4]));
    assert_eq!(report["missing"][0]["nearest"]["note"], "C4");
    assert_eq!(report["missing"][0]["nearest"]["semitones"], -1);
    // Counted here from the keys of the set.
    let set = [43, 50, 55, 57, 59, 60, 62, 64, 66, 67, 69, 71, 72, 74, 76];
    for row in report["transpositions"].as_array().unwrap() {
        let by = row["semitones"].as_i64().unwrap();
        let lacking = [60, 61, 61].iter().filter(|k| !set.contains(&(*k + by)));
        assert_eq!(row["missing_notes"], lacking.count(), "{row}");
    }
}

#[test]
fn notes_outside_the_set_are_out_of_range_on_the_side_they_are() {
    let (run, report) = checked(vec![note(60, 0.0, 0.5), note(90, 1.0, 1.5)], &[]);
    run.ended(1);
    assert_eq!(report["range"]["above"], 1);
    assert_eq!(report["range"]["below"], 0);
    assert_eq!(report["range"]["piece"], serde_json::json!(["C4", "F#6"]));
    let reasons = report["reasons"][0].as_str().unwrap();
    assert!(reasons.contains("1 note lies above"), "{reasons}");
    let (_, low) = checked(vec![note(60, 0.0, 0.5), note(30, 1.0, 1.5)], &[]);
    assert_eq!(low["range"]["below"], 1);
}

#[test]
fn a_note_repeated_before_its_bottle_speaks_is_too_fast() {
    // C4 has Q 52.4 at 261.6 Hz and takes ln(100) 52.4 / (pi 261.6 1.5) = 0.1958 s to speak at breath 2.5.
    let repeated = |every_s: f64| {
        let notes = (0..8).map(|i| f64::from(i) * every_s);
        notes.map(|s| note(60, s, s + 0.5 * every_s)).collect()
    };
    let found = checked(repeated(0.15), &[]);
    let reason = only_reason(&found);
    let report = found.1;
    assert!(
        reason.contains("too fast: 7 times, first C4 in bar 1"),
        "{reason}"
    );
    let speaks_in_s = report["too_fast"][0]["speaks_in_s"].as_f64().unwrap();
    assert!((speaks_in_s - 0.1958).abs() < 0.002, "{speaks_in_s}");
    checked(repeated(0.25), &[]).0.ended(0);
}

#[test]
fn two_notes_at_once_on_one_bottle_cannot_be_played() {
    let upper = ScoreNote {
        track: 1,
        ..note(60, 1.0, 1.5)
    };
    let reason = only_reason(&checked(vec![note(60, 0.0, 2.0), upper], &[]));
    assert!(
        reason.contains("two notes at once on one bottle"),
        "{reason}"
    );
    assert!(reason.contains("C4 in bar 1"), "{reason}");
}

#[test]
fn too_few_players_lose_the_bottles_with_the_fewest_notes() {
    // A chord of three, one note of it only once: everybody blows at once.
    let mut notes = vec![note(67, 0.0, 0.5)];
    for bar in 0..3 {
        let s = 2.0 * f64::from(bar);
        notes.extend([note(60, s, s + 0.5), note(64, s, s + 0.5)]);
    }
    let found = checked(notes.clone(), &["--players", "2"]);
    let reason = only_reason(&found);
    let report = found.1;
    assert!(
        reason.contains("too few players: 1 note lost (bar:beat): G4: 1 note, at 1:1"),
        "{reason}"
    );
    assert_eq!(report["players"]["fewest"], 3);
    assert_eq!(report["bound"]["lower"], 3);
    checked(notes, &["--players", "3"]).0.ended(0);
}

#[test]
fn what_is_blown_at_once_is_listed_with_the_roughest_first_and_how_long() {
    let notes = vec![
        note(60, 0.0, 1.0),
        note(62, 0.5, 1.5),
        note(60, 4.0, 5.0),
        note(67, 4.0, 4.75),
    ];
    let (_, report) = checked(notes, &[]);
    let pairs = report["rough_pairs"].as_array().unwrap();
    assert_eq!(pairs.len(), 2);
    assert_eq!(
        (&pairs[0]["a_note"], &pairs[0]["b_note"]),
        (&"C4".into(), &"D4".into())
    );
    assert_eq!((&pairs[0]["bar"], &pairs[1]["bar"]), (&1.into(), &3.into()));
    for (pair, together_s) in pairs.iter().zip([0.5, 0.75]) {
        assert!((pair["together_s"].as_f64().unwrap() - together_s).abs() < 0.003);
    }
    assert!(pairs[0]["roughness"].as_f64() > pairs[1]["roughness"].as_f64());
    assert_eq!(
        report["busiest_bar"],
        serde_json::json!({"bar": 1, "notes": 2})
    );
}

#[test]
fn a_piece_in_one_voice_has_no_list_of_what_sounds_at_once() {
    let printed = |second: f64| {
        let folder = Folder::new();
        let notes = vec![note(60, 0.0, 1.0), note(62, second, second + 1.0)];
        run(&folder.write("written.mid", midi(&piece(notes))), &[]).out
    };
    let (apart, at_once) = (printed(2.0), printed(0.5));
    assert!(apart.contains("No two notes sound at once.") && !apart.contains("Roughest"));
    assert!(at_once.contains("Roughest at once:\n  C4 D4"));
}

#[test]
fn a_broken_file_names_its_byte_and_bad_options_are_bad_usage() {
    let folder = Folder::new();
    let bytes = std::fs::read(preset("quay/piece.mid")).unwrap();
    let cut = folder.write("cut.mid", &bytes[..60]);
    run(&cut, &["--json"]).ended(2).says("byte 60");
    for more in [
        ["--hands", "3"],
        ["--change-s", "-1"],
        ["--players", "0"],
        ["--change-s", "NaN"],
    ] {
        demo(&more).ended(2);
    }
    assert!(only_reason(&checked(Vec::new(), &[])).contains("no note"));
}

fn breath(bottle: usize, start_s: f64, stop_s: f64) -> Breath {
    Breath {
        pour: PourIndex::new(bottle),
        start_s,
        stop_s,
        end_s: stop_s,
        tongued: true,
        over_threshold: 2.5,
    }
}

/// Every note on a bottle of its own.
fn alone(bottles: usize) -> Vec<PourIndex> {
    PourIndex::all(bottles).collect()
}

/// A random piece for `bottles`, each with one voice.
fn random_piece(dice: &mut Dice, bottles: usize) -> Vec<Breath> {
    let mut breaths = Vec::new();
    for bottle in 0..bottles {
        let mut now_s = 0.0;
        for _ in 0..dice.below(3) {
            now_s += 0.25 * (1.0 + dice.below(16) as f64);
            let stop_s = now_s + 0.25 * (1.0 + dice.below(3) as f64);
            breaths.push(breath(bottle, now_s, stop_s));
            now_s = stop_s;
        }
    }
    breaths
}

/// Whether one player can play these bottles, straight from the notes.
fn one_can(breaths: &[Breath], held: &[PourIndex], change_s: f64) -> bool {
    let own: Vec<&Breath> = breaths.iter().filter(|b| held.contains(&b.pour)).collect();
    own.iter().all(|a| {
        let others = own.iter().filter(|b| b.pour != a.pour);
        others
            .filter(|b| b.start_s >= a.start_s)
            .all(|b| b.start_s >= a.stop_s + change_s)
    })
}

/// Fewest notes lost by `players`, by trying every player and nobody for every bottle.
fn brute(breaths: &[Breath], bottles: usize, players: usize, hands: usize, change_s: f64) -> usize {
    let ways = (players + 1).pow(bottles as u32);
    let lost = |way: usize| {
        let mut held = vec![Vec::new(); players + 1];
        let mut rest = way;
        for bottle in PourIndex::all(bottles) {
            held[rest % (players + 1)].push(bottle);
            rest /= players + 1;
        }
        let nobody = held.pop().unwrap();
        let notes = |b: &PourIndex| breaths.iter().filter(|x| x.pour == *b).count();
        let can = held.iter().all(|h| {
            h.iter().filter(|b| notes(b) > 0).count() <= hands && one_can(breaths, h, change_s)
        });
        can.then(|| nobody.iter().map(notes).sum::<usize>())
    };
    (0..ways).filter_map(lost).min().unwrap()
}

#[test]
fn sharing_out_is_as_good_as_the_best_of_all_ways_on_small_pieces() {
    let mut dice = Dice(11);
    let (mut shared_bottles, mut lossy) = (0, 0);
    for _ in 0..240 {
        let (bottles, hands) = (2 + dice.below(4) as usize, 1 + dice.below(2) as usize);
        let breaths = random_piece(&mut dice, bottles);
        let sharing = Sharing::of(&alone(bottles), &breaths, 0.35, hands);
        let fewest = sharing.fewest();
        assert!(fewest.exact && fewest.lost == 0);
        assert!(sharing.lower_bound() <= fewest.players.len());
        shared_bottles += usize::from(fewest.players.iter().any(|p| p.len() == 2));
        for held in &fewest.players {
            assert!(held.len() <= hands && one_can(&breaths, held, 0.35));
        }
        for players in 1..=bottles.min(4) {
            let among = sharing.among(players);
            let best = brute(&breaths, bottles, players, hands, 0.35);
            assert!(among.exact);
            assert_eq!(among.lost, best, "{players} players, {sharing:?}");
            assert_eq!(best == 0, players >= fewest.players.len(), "{sharing:?}");
            lossy += usize::from(best > 0);
        }
    }
    println!("{shared_bottles} pieces with a shared bottle, {lossy} cases with a loss");
    assert!(shared_bottles >= 20 && lossy >= 40);
}

#[test]
fn a_large_set_is_shared_out_greedily_and_says_what_it_knows() {
    // Twenty bottles in turn: two each would do, and the greedy way finds it.
    let in_turn: Vec<Breath> = (0..20)
        .map(|b| breath(b, b as f64, b as f64 + 0.5))
        .collect();
    let fewest = Sharing::of(&alone(20), &in_turn, 0.35, 2).fewest();
    assert_eq!((fewest.players.len(), fewest.exact), (10, true));
    // Forty bottles at random: every note is played, and the answer is called exact only at the bound.
    let mut dice = Dice(5);
    let piece = random_piece(&mut dice, 40);
    let sharing = Sharing::of(&alone(40), &piece, 0.35, 2);
    let fewest = sharing.fewest();
    assert_eq!(fewest.lost, 0);
    assert_eq!(fewest.exact, fewest.players.len() == sharing.lower_bound());
    assert!(
        fewest
            .players
            .iter()
            .all(|held| one_can(&piece, held, 0.35))
    );
    let played: usize = fewest.players.iter().map(Vec::len).sum();
    assert_eq!(played, sharing.notes.iter().filter(|n| **n > 0).count());
}

#[test]
fn breath_is_counted_by_share_and_by_the_longest_run_without_a_rest() {
    let piece = [
        breath(0, 0.0, 1.0),
        breath(1, 1.4, 2.0),
        breath(0, 2.5, 3.0),
        breath(2, 0.0, 9.0),
    ];
    let load = load(&[0, 1].map(PourIndex::new), &piece, 10.0);
    assert!((load.share - 0.21).abs() < 1e-12, "{load:?}");
    // A gap of 0.4 s is no rest, one of 0.5 s is.
    assert!((load.longest_run_s - 2.0).abs() < 1e-12, "{load:?}");
}

#[test]
fn two_notes_at_once_are_one_breath() {
    let piece = [
        breath(0, 0.0, 4.0),
        breath(1, 0.0, 1.0),
        breath(2, 4.3, 5.0),
    ];
    let load = load(&[0, 1, 2].map(PourIndex::new), &piece, 10.0);
    assert!((load.share - 0.47).abs() < 1e-12, "{load:?}");
    assert!((load.longest_run_s - 5.0).abs() < 1e-12, "{load:?}");
}
