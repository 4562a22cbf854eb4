//! A piece run for practice: frames follow from beats at any tempo, in any block, through loops and
//! seeks, and a round is judged by what the player was to play.

use ullage::index::PourIndex;
use ullage::physics::resonance::Resonance;
use ullage::plan::piece::Keyed;
use ullage::plan::practice::{BarTally, Deed, Due, Practice, Rehearsal, Strictness};
use ullage::plan::programme::Spoken;
use ullage::score::{Metre, Score, Tempo};
use ullage::units::{Frequency, SampleRate};

use crate::common::files::preset;
use crate::common::pieces::{note, read_midi};

const RATE_HZ: f64 = 48_000.0;

fn bottles(keys: &[u8]) -> Vec<Keyed> {
    let bottle = |&key| Keyed {
        key,
        spoken: Spoken {
            struck: false,
            resonance: Resonance {
                frequency: Frequency::from_hz(300.0),
                quality: 50.0,
            },
        },
    };
    keys.iter().map(bottle).collect()
}

/// Four bars of 2 s: one note in each, the last beat of bar 3 held over into bar 4.
fn four_bars() -> Score {
    Score {
        notes: vec![
            note(60, 0.0, 0.5),
            note(62, 2.0, 2.5),
            note(60, 4.0, 4.5),
            note(62, 5.5, 6.75),
            note(60, 7.0, 8.0),
        ],
        ..Score::default()
    }
}

fn rehearsal(score: &Score, run: Practice) -> Rehearsal {
    let rate = SampleRate::from_hz(RATE_HZ);
    Rehearsal::new(score, &bottles(&[60, 62]), run, rate, 2.5)
}

fn run(tempo_pct: f64, looped: Option<(u64, u64)>, count_in: u32) -> Practice {
    let mut run = Practice::new(tempo_pct, looped, count_in, 4).unwrap();
    run.click = false;
    run
}

fn blown(due: &[Due]) -> Vec<(u64, usize)> {
    let one = |d: &Due| match d.deed {
        Deed::Blow { pour, .. } => Some((d.at_frame, pour.place())),
        _ => None,
    };
    due.iter().filter_map(one).collect()
}

#[test]
fn a_schedule_is_the_same_in_blocks_of_any_length() {
    let score = read_midi(preset("quay/piece5.mid"));
    let keys = score.keys();
    let rate = SampleRate::from_hz(RATE_HZ);
    for (tempo_pct, looped) in [(100.0, None), (25.0, Some((2, 3))), (133.7, Some((1, 1)))] {
        let run = Practice::new(tempo_pct, looped, 2, 4).unwrap();
        let rehearsal = Rehearsal::new(&score, &bottles(&keys), run, rate, 2.5);
        let end = 2_000_000;
        let whole = rehearsal.commands_between(0, end);
        assert!(whole.len() > 30, "{}", whole.len());
        let mut blocks = Vec::new();
        let (mut at, mut step) = (0, 1);
        while at < end {
            let next = (at + step).min(end);
            blocks.extend(rehearsal.commands_between(at, next));
            (at, step) = (next, step * 7 % 4096 + 1);
        }
        assert!(whole == blocks, "{tempo_pct} % {looped:?}");
        // Every breath that begins ends, on its own bottle, before the next.
        let mut held = vec![false; keys.len()];
        for d in whole {
            match d.deed {
                Deed::Blow { pour, .. } => {
                    assert!(!std::mem::replace(&mut held[pour], true), "{d:?}");
                }
                Deed::Release { pour } => {
                    assert!(std::mem::replace(&mut held[pour], false), "{d:?}");
                }
                Deed::Click { .. } => {}
            }
        }
    }
}

#[test]
fn frames_are_those_of_the_beats_at_any_tempo() {
    // A bar of 2 s and, from its middle on, twice as fast: a tempo change inside a bar.
    let mut score = four_bars();
    score.tempos.push(Tempo {
        start_s: 1.0,
        start_quarter: 2.0,
        us_per_quarter: 250_000,
    });
    score.notes = vec![note(60, 0.0, 0.5), note(62, 1.25, 1.5)];
    for tempo_pct in [25.0, 60.0, 100.0, 150.0] {
        let factor = tempo_pct / 100.0;
        let run = Practice::new(tempo_pct, None, 1, 1).unwrap();
        let rehearsal = rehearsal(&score, run);
        let due = rehearsal.commands_between(0, u64::MAX);
        // Counted in as long as the first bar: 1.5 s. The casts round; a frame is allowed nowhere.
        let frame = |s: f64| ((1.5 + s) / factor * RATE_HZ).round() as u64;
        assert_eq!(blown(&due), [(frame(0.0), 0), (frame(1.25), 1)]);
        let clicks: Vec<(u64, bool)> = due
            .iter()
            .filter_map(|d| match d.deed {
                Deed::Click { first } => Some((d.at_frame, first)),
                _ => None,
            })
            .collect();
        let beats = [-1.5, -1.0, -0.5, -0.25, 0.0, 0.5, 1.0, 1.25];
        let expected: Vec<(u64, bool)> = beats
            .iter()
            .zip([true, false, false, false].iter().cycle())
            .map(|(s, first)| (frame(*s), *first))
            .collect();
        assert_eq!(clicks, expected, "{tempo_pct} %");
        assert_eq!(rehearsal.length_frames(), Some(frame(1.5)));
    }
}

#[test]
fn a_loop_comes_round_to_the_frame_for_hours_and_cuts_what_is_held_over_its_end() {
    // Bars 2 and 3 at 70 %: rounds of 4 / 0.7 s, which is no whole number of frames.
    let rehearsal = rehearsal(&four_bars(), run(70.0, Some((2, 3)), 0));
    for round in [0u64, 1, 2, 1_000, 100_000] {
        let at = |s: f64| ((round as f64 * 4.0 + s) / 0.7 * RATE_HZ).round() as u64;
        let due = rehearsal.commands_between(at(0.0), at(4.0));
        assert_eq!(blown(&due), [(at(0.0), 1), (at(2.0), 0), (at(3.5), 1)]);
        let place = rehearsal.place(at(2.0));
        assert_eq!((place.bar, place.round), (3, round));
        assert!((place.beat - 1.0).abs() < 1e-3 && !place.ended && !place.counting_in);
        // The note that is held into bar 4 ends on the bar line, before the round begins anew.
        let over = rehearsal.commands_between(at(4.0), at(4.0) + 1);
        assert_eq!(
            over[0].deed,
            Deed::Release {
                pour: PourIndex::new(1)
            }
        );
        assert_eq!(
            over[1].deed,
            Deed::Blow {
                pour: PourIndex::new(1),
                over_threshold: 2.5
            }
        );
        assert_eq!(rehearsal.frame_of_bar(3, round), Some(at(2.0)));
    }
    // A question without end has an answer.
    let many = rehearsal.commands_between(0, u64::MAX).len();
    assert!((6_000..6_100).contains(&many), "{many}");
    assert_eq!(rehearsal.frame_of_bar(4, 0), None);
    assert_eq!(rehearsal.length_frames(), None);
}

#[test]
fn seeking_and_another_tempo_go_on_from_the_same_place() {
    let slow = rehearsal(&four_bars(), run(50.0, None, 1));
    let frame = slow.frame_of(6.0, 0);
    let held = slow.held_at(frame);
    assert_eq!(held.len(), 1);
    assert_eq!((held[0].pour, held[0].bar), (PourIndex::new(1), 3));
    assert!(slow.held_at(slow.frame_of(2.5, 0)).is_empty());
    assert!(
        slow.held_at(slow.frame_of(2.0, 0)).is_empty(),
        "it begins there"
    );
    let place = slow.place(frame);
    assert!((place.written_s - 6.0).abs() < 1e-4, "{place:?}");
    let quick = slow.clone().with_run(run(125.0, None, 1));
    let there = quick.frame_of(place.written_s, place.round);
    assert_eq!(there, ((2.0 + 6.0) / 1.25 * RATE_HZ).round() as u64);
    for frame in [0, 1, 95_999, 96_000, 123_457, 700_000] {
        let place = slow.place(frame);
        assert_eq!(slow.frame_of(place.written_s, place.round), frame);
    }
    let place = slow.place(0);
    assert!(place.counting_in && place.bar == 1 && place.round == 0);
    assert!(slow.place(slow.length_frames().unwrap()).ended);
}

#[test]
fn a_muted_bottle_is_left_to_the_player_and_still_shown() {
    let mut rehearsal = rehearsal(&four_bars(), run(100.0, Some((1, 4)), 1));
    rehearsal.set_muted(PourIndex::new(0), true);
    rehearsal.set_muted(PourIndex::new(99), true);
    let round = 10 * 48_000;
    assert!(
        blown(&rehearsal.commands_between(0, round))
            .iter()
            .all(|b| b.1 == 1)
    );
    let shown = rehearsal.upcoming(0, round);
    let muted: Vec<u64> = shown
        .iter()
        .filter(|n| n.muted)
        .map(|n| n.start_frame)
        .collect();
    assert_eq!(muted, [2, 6, 9].map(|s| s * 48_000));
}

#[test]
fn a_round_is_judged_in_its_own_bars_whatever_the_tempo_and_across_the_seam() {
    let mut rehearsal = rehearsal(&four_bars(), run(50.0, Some((1, 4)), 1));
    rehearsal.set_muted(PourIndex::new(0), true);
    let frame = |round: u64, s: f64| rehearsal.frame_of(s, round);
    let played = [
        (10, 60),             // while it is counted in: of no account
        (frame(0, 0.01), 60), // in time
        (frame(0, 2.0), 62),  // the bottle of somebody else
        (frame(0, 4.1), 60),  // late
        (frame(0, 7.9), 60),  // belongs to the second round, early; bar 4 is missed
        (frame(1, 4.0), 60),
        (frame(1, 7.0), 60),
    ];
    let tally = |round| rehearsal.tally(&played, round, Strictness::default());
    let counts = |b: &BarTally| (b.bar, b.fine, b.early, b.late, b.missed, b.wrong);
    let first: Vec<_> = tally(0).iter().map(counts).collect();
    assert_eq!(
        first,
        [
            (1, 1, 0, 0, 0, 0),
            (2, 0, 0, 0, 0, 1),
            (3, 0, 0, 1, 0, 0),
            (4, 0, 0, 0, 1, 0),
        ]
    );
    assert!((tally(0)[2].mean_late_ms - 100.0).abs() < 0.1);
    let second: Vec<_> = tally(1).iter().map(counts).collect();
    assert_eq!(
        second,
        [(1, 0, 1, 0, 0, 0), (3, 1, 0, 0, 0, 0), (4, 1, 0, 0, 0, 0)]
    );
    assert!((tally(1)[0].mean_late_ms + 100.0).abs() < 0.1);
}

#[test]
fn a_perfect_pass_of_the_demo_piece_is_all_in_time() {
    let score = read_midi(preset("quay/piece5.mid"));
    let keys = score.keys();
    let count = ullage::plan::piece::bars(&score).len() as u64;
    let run = Practice::new(75.0, None, 1, count).unwrap();
    let rate = SampleRate::from_hz(RATE_HZ);
    let mut rehearsal = Rehearsal::new(&score, &bottles(&keys), run, rate, 2.5);
    PourIndex::all(keys.len()).for_each(|b| rehearsal.set_muted(b, true));
    assert!(blown(&rehearsal.commands_between(0, u64::MAX)).is_empty());
    let played: Vec<(u64, u8)> = rehearsal
        .upcoming(0, u64::MAX)
        .iter()
        .map(|n| (n.start_frame, n.key))
        .collect();
    assert!(played.len() >= 100, "{}", played.len());
    let bars = rehearsal.tally(&played, 0, Strictness::default());
    let sum = |f: fn(&BarTally) -> usize| bars.iter().map(f).sum::<usize>();
    assert_eq!(sum(|b| b.fine), played.len());
    assert_eq!(sum(|b| b.early + b.late + b.missed + b.wrong), 0);
}

#[test]
fn pieces_without_notes_and_odd_metres_do_no_harm() {
    let empty = rehearsal(&Score::default(), Practice::default());
    assert!(blown(&empty.commands_between(0, u64::MAX)).is_empty());
    assert!(
        empty
            .tally(&[(5, 60)], 0, Strictness::default())
            .iter()
            .all(|b| b.written == 0)
    );
    let mut odd = four_bars();
    odd.metres = vec![Metre {
        start_quarter: 0.0,
        beats: 7,
        unit: 8,
    }];
    let count = ullage::plan::piece::bars(&odd).len() as u64;
    for bars in [(1, 1), (count, count), (1, count)] {
        let run = Practice::new(100.0, Some(bars), 4, count).unwrap();
        let rehearsal = rehearsal(&odd, run);
        for frame in [0, 1_000_000, u64::MAX / 2] {
            let place = rehearsal.place(frame);
            assert!((bars.0..=bars.1).contains(&place.bar), "{place:?}");
            let due = rehearsal.commands_between(frame, frame + 64);
            assert!(due.iter().all(|d| d.at_frame >= frame));
        }
    }
}
