//! Fitting a piece to the players there are, held against trying every way; and what slides is one bottle in one pair of
//! hands, wherever players are told of.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use serde_json::{Value, json};
use ullage::index::{PlayerIndex, PourIndex};
use ullage::plan::fit::{Asked, Hands, fit};
use ullage::plan::players::Sharing;
use ullage::plan::programme::Breath;
use ullage::set::{ShelfOrSet, Way, read_any};

use crate::common::command::Run;
use crate::common::dice::Dice;
use crate::common::files::{Folder, arg, preset, read};
use crate::common::pieces::{midi, note, piece, read_midi};

fn breath(bottle: usize, start_s: f64, stop_s: f64) -> Breath {
    Breath {
        pour: PourIndex::new(bottle),
        start_s,
        stop_s,
        end_s: stop_s + 0.1,
        tongued: true,
        over_threshold: 2.0,
    }
}

/// Every note on a bottle of its own.
fn alone(bottles: usize) -> Vec<PourIndex> {
    PourIndex::all(bottles).collect()
}

/// These breaths, all alike.
fn asked<'a>(breaths: &'a [Breath], bottle_of: &'a [PourIndex]) -> Asked<'a> {
    Asked {
        breaths,
        bottle_of,
        first: &[],
    }
}

/// A few notes on a grid of quarter seconds, no two of a bottle at once.
fn random_piece(dice: &mut Dice, bottles: usize, notes: u64) -> Vec<Breath> {
    let mut piece: Vec<Breath> = Vec::new();
    for _ in 0..notes {
        let start_s = 0.25 * dice.below(12) as f64;
        let stop_s = start_s + 0.25 * (1 + dice.below(3)) as f64;
        let bottle = dice.below(bottles as u64) as usize;
        let meets =
            |b: &Breath| b.pour.place() == bottle && b.start_s < stop_s && start_s < b.stop_s;
        if !piece.iter().any(meets) {
            piece.push(breath(bottle, start_s, stop_s));
        }
    }
    piece.sort_by(|a, b| a.start_s.total_cmp(&b.start_s).then(a.pour.cmp(&b.pour)));
    piece
}

/// Whether one player can play these, in order, cutting as much as may be.
fn can(notes: &[Breath], hands: Hands) -> bool {
    notes.iter().enumerate().all(|(i, a)| {
        notes[i + 1..].iter().filter(|b| b.pour != a.pour).all(|b| {
            let free_s = a.stop_s - hands.shorten * (a.stop_s - a.start_s);
            free_s + hands.change_s <= b.start_s + 1e-9
        })
    })
}

/// The most notes that can be kept, by trying every owner of every bottle and every choice of notes.
fn brute(piece: &[Breath], bottles: usize, players: usize, hands: Hands) -> usize {
    let mut best = 0;
    let ways = (players + 1).pow(bottles as u32);
    for way in 0..ways {
        let owner = |bottle: usize| way / (players + 1).pow(bottle as u32) % (players + 1);
        let held = |player| (0..bottles).filter(|&b| owner(b) == player).count();
        if (0..players).any(|player| held(player) > hands.bottles) {
            continue;
        }
        let kept = (0..players).map(|player| {
            let own: Vec<Breath> = piece
                .iter()
                .copied()
                .filter(|b| owner(b.pour.place()) == player)
                .collect();
            let subsets = (0..1u32 << own.len()).filter(|set| {
                let some = own.iter().enumerate().filter(|(i, _)| set >> i & 1 == 1);
                can(&some.map(|(_, b)| *b).collect::<Vec<_>>(), hands)
            });
            subsets
                .map(|set| set.count_ones() as usize)
                .max()
                .unwrap_or(0)
        });
        best = best.max(kept.sum());
    }
    best
}

#[test]
fn no_way_of_giving_out_bottles_and_leaving_notes_loses_fewer() {
    let mut dice = Dice(3);
    let (mut lossy, mut partly) = (0, 0);
    for round in 0..150 {
        let bottles = 2 + dice.below(3) as usize;
        let piece = random_piece(&mut dice, bottles, 9);
        let hands = Hands {
            bottles: 1 + dice.below(2) as usize,
            change_s: 0.25 * dice.below(3) as f64,
            shorten: 0.5 * dice.below(2) as f64,
        };
        for players in 1..=2 {
            let found = fit(asked(&piece, &alone(bottles)), players, hands);
            let best = brute(&piece, bottles, players, hands);
            assert!(found.exact);
            assert_eq!(
                piece.len() - found.lost(),
                best,
                "round {round}: {piece:?} {hands:?}"
            );
            assert_eq!(found.lost_at_least, found.lost());
            lossy += usize::from(found.lost() > 0);
            let outside = piece
                .iter()
                .filter(|b| found.left_out.contains(&b.pour))
                .count();
            partly += usize::from(found.lost() > outside);
            for player in PlayerIndex::all(found.players.len()) {
                let own = found.kept(&piece).filter(|k| k.0 == player);
                let own: Vec<Breath> = own.map(|k| k.1).collect();
                let whole = Hands {
                    shorten: 0.0,
                    ..hands
                };
                assert!(
                    can(&own, whole),
                    "what is kept is playable as it is cut: {own:?}"
                );
            }
        }
    }
    println!("{lossy} cases lose something, {partly} of them notes of a bottle that is held");
    assert!(lossy >= 40 && partly >= 20);
}

#[test]
fn notes_to_be_kept_first_are_lost_last() {
    // Two bottles at once, three times; the one with the single note first is to be kept.
    let mut piece = vec![breath(0, 0.0, 1.0)];
    piece.extend((0..3).map(|i| breath(1, 0.25 * f64::from(i), 0.25 * f64::from(i + 1))));
    let hands = Hands {
        bottles: 2,
        change_s: 0.1,
        shorten: 0.0,
    };
    let own = alone(2);
    let free = fit(asked(&piece, &own), 1, hands);
    assert_eq!((free.lost(), free.stop_s[0]), (1, None));
    let first = &[true, false, false, false];
    let asked = Asked {
        first,
        ..asked(&piece, &own)
    };
    let kept = fit(asked, 1, hands);
    assert_eq!((kept.lost(), kept.stop_s[0]), (3, Some(1.0)));
}

#[test]
fn a_large_piece_is_fitted_within_its_bound() {
    let mut dice = Dice(8);
    let hands = Hands {
        bottles: 2,
        change_s: 0.35,
        shorten: 0.0,
    };
    for bottles in [20, 40] {
        let piece = random_piece(&mut dice, bottles, 150);
        let mut before = usize::MAX;
        for players in [1, 4, 8, bottles] {
            let found = fit(asked(&piece, &alone(bottles)), players, hands);
            println!(
                "{bottles} bottles, {players} players: {} lost, at least {}",
                found.lost(),
                found.lost_at_least
            );
            assert!(found.lost_at_least <= found.lost() && found.lost() <= before);
            assert_eq!(found.exact, found.lost_at_least == found.lost());
            before = found.lost();
        }
        assert_eq!(before, 0, "a player for every bottle");
    }
}

#[test]
fn notes_of_one_bottle_are_shared_out_as_if_they_were_one_note() {
    let mut dice = Dice(5);
    let (mut slid, mut lossy, mut shared) = (0, 0, 0);
    for round in 0..150 {
        // Up to four bottles, each with up to three notes, in any order.
        let bottles = 2 + dice.below(3) as usize;
        let mut bottle_of: Vec<PourIndex> = Vec::new();
        let mut number_of: Vec<usize> = Vec::new();
        for note in 0..3 * bottles {
            let number = dice.below(bottles as u64) as usize;
            let first = number_of.iter().position(|&n| n == number);
            bottle_of.push(PourIndex::new(first.unwrap_or(note)));
            number_of.push(number);
        }
        let one_a_bottle = random_piece(&mut dice, bottles, 9);
        // The same piece, each breath on any of its bottle's notes.
        let mut piece = Vec::new();
        let mut as_one = Vec::new();
        for b in &one_a_bottle {
            let notes: Vec<usize> = (0..number_of.len())
                .filter(|&n| number_of[n] == b.pour.place())
                .collect();
            if !notes.is_empty() {
                let note = notes[dice.below(notes.len() as u64) as usize];
                let pour = PourIndex::new(note);
                piece.push(Breath { pour, ..*b });
                as_one.push(*b);
            }
        }
        let hands = Hands {
            bottles: 1 + dice.below(2) as usize,
            change_s: 0.25 * dice.below(3) as f64,
            shorten: 0.5 * dice.below(2) as f64,
        };
        let whole = |players: &[Vec<PourIndex>]| {
            for (player, own) in players.iter().enumerate() {
                let held: BTreeSet<PourIndex> = own.iter().map(|&n| bottle_of[n]).collect();
                assert!(held.len() <= hands.bottles, "round {round}: {players:?}");
                let others = players.iter().enumerate().filter(|(p, _)| *p != player);
                let elsewhere = others
                    .flat_map(|(_, own)| own)
                    .find(|n| held.contains(&bottle_of[**n]));
                assert_eq!(
                    elsewhere, None,
                    "round {round}: {players:?} of {bottle_of:?}"
                );
            }
        };
        for players in 1..=3 {
            let found = fit(asked(&piece, &bottle_of), players, hands);
            whole(&found.players);
            let best = brute(&as_one, bottles, players, hands);
            assert_eq!(
                piece.len() - found.lost(),
                best,
                "round {round}: {piece:?} {hands:?}"
            );
            assert_eq!(
                found.kept(&piece).count(),
                best,
                "every note that is kept has its player"
            );
            lossy += usize::from(found.lost() > 0);
        }
        let of = |piece: &[Breath], bottle_of: &[PourIndex]| {
            let sharing = Sharing::of(bottle_of, piece, hands.change_s, hands.bottles);
            (sharing.fewest(), sharing.among(1), sharing.lower_bound())
        };
        let (found, expected) = (of(&piece, &bottle_of), of(&as_one, &alone(bottles)));
        whole(&found.0.players);
        assert_eq!(found.0.players.len(), expected.0.players.len());
        assert_eq!((found.1.lost, found.2), (expected.1.lost, expected.2));
        let used: BTreeSet<PourIndex> = piece.iter().map(|b| b.pour).collect();
        let told: Vec<PourIndex> = found.0.players.concat();
        assert_eq!(told.len(), used.len(), "each note once");
        assert_eq!(told.into_iter().collect::<BTreeSet<_>>(), used);
        let fewer = used
            .iter()
            .map(|&n| bottle_of[n])
            .collect::<BTreeSet<_>>()
            .len();
        slid += usize::from(fewer < used.len());
        shared += usize::from(found.0.players.len() < fewer);
    }
    println!(
        "{slid} pieces on what slides, {shared} with two bottles in one pair of hands, {lossy} cases lose something"
    );
    assert!(slid >= 60 && shared >= 10 && lossy >= 40);
}

#[test]
fn the_next_note_of_a_slide_ends_the_one_before_and_needs_no_change() {
    let hands = Hands {
        bottles: 1,
        change_s: 5.0,
        shorten: 0.0,
    };
    // Played legato on a keyboard: each key is let go 20 ms after the next is down.
    let piece = [
        breath(0, 0.0, 0.52),
        breath(1, 0.5, 1.02),
        breath(2, 1.0, 1.5),
    ];
    let found = fit(asked(&piece, &[PourIndex::new(0); 3]), 1, hands);
    assert_eq!(found.players, [[0, 1, 2].map(PourIndex::new)]);
    assert_eq!(found.stop_s, [Some(0.5), Some(1.0), Some(1.5)]);
    // On three bottles it takes three players.
    assert_eq!(fit(asked(&piece, &alone(3)), 1, hands).lost(), 2);
    // Two at once are not the players' matter, and are left as they are.
    let at_once = [breath(0, 0.0, 1.0), breath(1, 0.0, 0.5)];
    let found = fit(asked(&at_once, &[PourIndex::new(0); 2]), 1, hands);
    assert_eq!(found.stop_s, [Some(1.0), Some(0.5)]);
}

#[test]
fn what_slides_is_one_bottle_and_every_other_pour_its_own() {
    let bottles = |file: &str| match read_any(&read(preset(file))) {
        Ok(ShelfOrSet::Set(set)) => set.bottle_of_pours(),
        other => panic!("{file}: {other:?}"),
    };
    assert_eq!(bottles("slide/set.toml"), [PourIndex::new(0); 7]);
    assert_eq!(
        bottles("pair/set.toml"),
        [0, 0, 0, 3, 3].map(PourIndex::new)
    );
    let mut others = 0;
    for folder in std::fs::read_dir(preset("")).unwrap() {
        let path = folder.unwrap().path().join("set.toml");
        let Ok(text) = std::fs::read_to_string(&path) else {
            continue;
        };
        let ShelfOrSet::Set(set) = read_any(&text).unwrap() else {
            continue;
        };
        let moves = |way: Way| matches!(way, Way::Sliding | Way::Joined);
        if !set.ways().into_iter().any(moves) {
            assert_eq!(set.bottle_of_pours(), alone(set.pours.len()), "{path:?}");
            others += 1;
        }
    }
    assert!(others >= 2, "{others} sets");
}

/// A piece of these keys from these times on, each `long_s`; in a folder of its own.
fn written(notes: &[(u8, f64)], long_s: f64) -> (Folder, PathBuf) {
    let folder = Folder::new();
    let at = |&(key, start_s): &(u8, f64)| note(key, start_s, start_s + long_s);
    let score = piece(notes.iter().map(at).collect());
    let path = folder.write("piece.mid", midi(&score));
    (folder, path)
}

fn ullage(command: &str, set: &str, piece: &Path, more: &[&str]) -> Run {
    let set = preset(set);
    let args = [command, arg(&set), "--piece", arg(piece)];
    crate::common::command::ullage(&[&args, more].concat())
}

/// The notes of the slide preset, up and down without a rest, four a second.
fn scale() -> Vec<(u8, f64)> {
    let keys = [55, 57, 59, 60, 62, 64, 66, 64, 62, 60, 59, 57, 55];
    keys.into_iter()
        .zip((0..).map(|i| 0.25 * f64::from(i)))
        .collect()
}

const SLIDE_NOTES: [&str; 7] = ["G3", "A3", "B3", "C4", "D4", "E4", "F#4"];

#[test]
fn a_scale_on_a_slide_takes_one_player_with_one_bottle() {
    let (_folder, piece) = written(&scale(), 0.25);
    let check = |more: &[&str]| ullage("check", "slide/set.toml", &piece, more);
    for more in [
        &["--json", "--players", "2"][..],
        &[
            "--json",
            "--players",
            "1",
            "--hands",
            "1",
            "--change-s",
            "9",
        ],
    ] {
        let report = check(more).ended(0).json();
        let players = &report["players"];
        assert_eq!(players["fewest"], 1);
        assert_eq!(
            report["bound"],
            json!({"lower": 1, "exact": true, "most_exact": 16})
        );
        for who in [&players["who"], &players["given"]["who"]] {
            assert_eq!(who.as_array().unwrap().len(), 1, "{who}");
            assert_eq!(
                who[0]["bottles"],
                json!([{"bottle": "slide bottle", "note": SLIDE_NOTES.join(" "), "notes": SLIDE_NOTES}])
            );
            assert_eq!(who[0]["notes"], 13);
        }
        assert_eq!(players["given"]["lost_notes"], 0);
    }
    let text = check(&[]).out;
    assert!(
        text.contains("slide bottle (G3 A3 B3 C4 D4 E4 F#4)"),
        "{text}"
    );
    assert_eq!(text.matches("slide bottle").count(), 1, "{text}");
}

#[test]
fn the_two_bottles_of_a_pair_are_two_and_no_more() {
    let who = |gap_s: f64, more: &[&str]| {
        // Three notes of the near one, then two of the far one.
        let keys = [(57, 0.0), (59, 0.25), (60, 0.5), (62, 0.75 + gap_s)];
        let (_folder, piece) = written(&keys, 0.25);
        let output = ullage(
            "check",
            "pair/set.toml",
            &piece,
            &[&["--json"], more].concat(),
        );
        let told = output.ended(0).json();
        let row = |who: &Value| {
            let held = who["bottles"].as_array().unwrap().iter();
            let name = |b: &Value| format!("{}: {}", b["bottle"], b["note"]).replace('"', "");
            held.map(name).collect::<Vec<_>>()
        };
        let who = told["players"]["who"].as_array().unwrap();
        who.iter().map(row).collect::<Vec<_>>()
    };
    let (near, far) = ("near well: A3 B3 C4".to_owned(), "far well: D4".to_owned());
    let mut quick = who(0.0, &[]);
    quick.sort_by_key(Vec::len);
    assert_eq!(quick.concat(), [near.clone(), far.clone()]);
    assert_eq!(quick.len(), 2, "no time to change");
    assert_eq!(who(1.0, &[]), [[near, far]]);
    assert_eq!(who(1.0, &["--hands", "1"]).len(), 2);
}

#[test]
fn the_part_of_a_slide_has_all_its_notes_and_a_line_for_each() {
    let (folder, piece) = written(&scale(), 0.25);
    let out = folder.at("parts");
    let more = ["--json", "--out", arg(&out), "--players", "3"];
    let told = ullage("parts", "slide/set.toml", &piece, &more)
        .ended(0)
        .json();
    let players = told["players"].as_array().unwrap();
    assert_eq!(players.len(), 1, "{players:?}");
    assert_eq!(players[0]["bottles"][0]["notes"], json!(SLIDE_NOTES));
    let part = read_midi(out.join("player-01.mid"));
    assert_eq!(part.notes, read_midi(&piece).notes);
    let page = read(out.join("player-01.html"));
    // The piece is short: one row, one line for each note, the highest above; no way to another bottle.
    let lines = page.split(r#"<text class="who""#).skip(1);
    let lines: Vec<&str> = lines.map(|t| t.split(['>', '<']).nth(1).unwrap()).collect();
    let from_above: Vec<&str> = SLIDE_NOTES.into_iter().rev().collect();
    assert_eq!(lines, from_above.repeat(lines.len() / 7));
    assert_eq!(page.matches(r#"<rect class="blown""#).count(), 13);
    assert!(!page.contains(r#"<line class="change""#) && !page.contains(r#"class="blown second""#));
    assert_eq!(page.matches("slide bottle").count(), 1);
    let page = read(out.join("conductor.html"));
    assert!(
        page.contains("1: G3–F#4") || page.contains("1: G3–F&#35;4"),
        "{page}"
    );
}

#[test]
fn who_practises_a_slide_is_asked_for_all_its_notes() {
    let (_folder, piece) = written(&scale(), 0.25);
    let practise = |player: &str| {
        let played = arg(&piece);
        let more = [
            "--json",
            "--played",
            played,
            "--players",
            "2",
            "--player",
            player,
        ];
        ullage("practise", "slide/set.toml", &piece, &more)
    };
    assert_eq!(practise("1").ended(0).json()["written"], 13);
    practise("2")
        .ended(2)
        .says("there is no player 2, only 1 to 1");
}

#[test]
fn the_stems_of_the_players_keep_a_slide_whole() {
    let (folder, piece) = written(&scale(), 0.25);
    let (out, stems) = (folder.at("mix.wav"), folder.at("stems"));
    let more = [
        "--json",
        "--dry",
        "--stems-by",
        "player",
        "--stems",
        arg(&stems),
        "--out",
        arg(&out),
    ];
    ullage("audition", "slide/set.toml", &piece, &more).ended(0);
    let files = std::fs::read_dir(&stems).unwrap();
    let names: Vec<_> = files
        .map(|f| f.unwrap().file_name().into_string().unwrap())
        .collect();
    assert_eq!(names, ["01-player-G3-A3-B3-C4-D4-E4-Fs4.wav"]);
}
