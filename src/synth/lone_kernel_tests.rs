//! Beside the code: a bottle alone against the same bottle in a strip.
use super::*;
use crate::synth::blown_kernel::{self, Run};
use crate::synth::said::{self, Adding, Scratch};
use crate::synth::strip::Turn;

const KEEP: f32 = 0.4;

/// A strip in whose first lane a bottle swings, breathes and has the first `count` of its air modes, each another one.
fn one(count: usize) -> Strip {
    let mut strip = Strip::silent();
    strip.modes_in_use = count;
    strip.jolt(0, 0.7, 1.3);
    strip.dice[0] = 0x9E37_79B9;
    strip.place(0, 0.5, 0.3);
    let turn = Turn::by(0.09);
    [strip.cos[0], strip.sin[0]] = turn.one;
    [strip.cos_four[0], strip.sin_four[0]] = turn.four;
    (strip.damp[0], strip.limit[0]) = (-0.004, 0.0032);
    (strip.push[0], strip.noise[0]) = (3e-12, 2e-12);
    for (row, overtone) in strip.overtones.iter_mut().zip([0.06, 0.02, 0.008]) {
        row[0] = overtone;
    }
    (strip.half_second[0], strip.most_third[0]) = (0.03, 0.015);
    let mut modes = [[0.0; 3]; MODES];
    for (k, mode) in modes.iter_mut().enumerate().take(count) {
        *mode = [1.9 - 0.5 * k as f32, 0.97 - 0.02 * k as f32, 0.5];
    }
    strip.set_modes(0, &modes);
    strip
}

/// What both sides hear of `stretches` among empty lanes.
fn in_a_strip(strip: &mut Strip, stretches: usize) -> Vec<[f32; 2]> {
    let mut scratch = Scratch::empty();
    let run = Run {
        eights: GRID / EIGHT,
        first: 0,
        lanes: 1,
        modes: strip.modes_in_use,
        noise_per_four: NOISE,
        keep: KEEP,
    };
    let mut heard = Vec::new();
    for _ in 0..stretches {
        blown_kernel::run(strip, scratch.said_mut(0), run);
        let adding = Adding {
            begins: true,
            lanes: 1,
            frames: GRID,
        };
        said::add_up(&mut scratch, std::slice::from_ref(strip), adding);
        let (mut left, mut right) = ([0.0; GRID], [0.0; GRID]);
        said::gather(&scratch, 0, &mut left, &mut right);
        heard.extend(left.into_iter().zip(right).map(|(l, r)| [l, r]));
    }
    heard
}

/// The same alone, in parts of one, two and one eights, with a look ahead after each.
fn alone(strip: &mut Strip, stretches: usize) -> Vec<[f32; 2]> {
    let mut lone = Lone::empty();
    let mut heard = Vec::new();
    for _ in 0..stretches {
        for (first, eights) in [(0, 1), (1, 2), (3, 1)] {
            let part = Part {
                eights,
                first,
                keep: KEEP,
            };
            run(strip, &mut lone, part);
            look_ahead(strip, &mut lone, part);
        }
        let (mut left, mut right) = ([0.0; GRID], [0.0; GRID]);
        add_to(&lone, 0, &mut left, &mut right);
        heard.extend(left.into_iter().zip(right).map(|(l, r)| [l, r]));
    }
    lone.settle(strip);
    heard
}

#[test]
fn a_bottle_alone_is_the_same_as_one_among_empty_lanes() {
    for count in [0, 1, 4, MODES] {
        let (mut among, mut by_itself) = (one(count), one(count));
        let (heard, said) = (in_a_strip(&mut among, 5), alone(&mut by_itself, 5));
        assert!(heard.iter().any(|sides| sides[0].abs() > 0.1));
        assert_eq!(heard, said, "{count} modes");
        assert_eq!(among, by_itself, "{count} modes");
    }
}
