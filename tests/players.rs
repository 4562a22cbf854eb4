//! Fitting a piece to the players there are, held against trying every way.
#![allow(clippy::unwrap_used, missing_docs)]

use ullage::plan::fit::{Hands, fit};
use ullage::plan::programme::Breath;

struct Dice(u64);

impl Dice {
    fn below(&mut self, limit: u64) -> u64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1);
        (self.0 >> 33) % limit
    }
}

fn breath(bottle: usize, start_s: f64, stop_s: f64) -> Breath {
    Breath {
        bottle,
        start_s,
        stop_s,
        end_s: stop_s + 0.1,
        tongued: true,
        over_threshold: 2.0,
    }
}

/// A few notes on a grid of quarter seconds, no two of a bottle at once.
fn random_piece(dice: &mut Dice, bottles: usize, notes: u64) -> Vec<Breath> {
    let mut piece: Vec<Breath> = Vec::new();
    for _ in 0..notes {
        let start_s = 0.25 * dice.below(12) as f64;
        let stop_s = start_s + 0.25 * (1 + dice.below(3)) as f64;
        let bottle = dice.below(bottles as u64) as usize;
        let meets = |b: &Breath| b.bottle == bottle && b.start_s < stop_s && start_s < b.stop_s;
        if !piece.iter().any(meets) {
            piece.push(breath(bottle, start_s, stop_s));
        }
    }
    piece.sort_by(|a, b| {
        a.start_s
            .total_cmp(&b.start_s)
            .then(a.bottle.cmp(&b.bottle))
    });
    piece
}

/// Whether one player can play these, in order, cutting as much as may be.
fn can(notes: &[Breath], hands: Hands) -> bool {
    notes.iter().enumerate().all(|(i, a)| {
        notes[i + 1..]
            .iter()
            .filter(|b| b.bottle != a.bottle)
            .all(|b| {
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
                .filter(|b| owner(b.bottle) == player)
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
            let found = fit(&piece, &[], players, hands);
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
                .filter(|b| found.left_out.contains(&b.bottle))
                .count();
            partly += usize::from(found.lost() > outside);
            for player in 0..found.players.len() {
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
    let free = fit(&piece, &[], 1, hands);
    assert_eq!((free.lost(), free.stop_s[0]), (1, None));
    let kept = fit(&piece, &[true, false, false, false], 1, hands);
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
            let found = fit(&piece, &[], players, hands);
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
