//! Beside the code: a strip against its definitions, whatever the width of the instructions, and half of one.
use super::*;
use crate::synth::said::{Adding, Scratch, add_up, gather};
use crate::synth::strip::Turn;
use num_complex::Complex64;

const KEEP: f32 = 0.4;

/// A strip in which every lane swings, breathes and has all its air modes.
fn busy() -> Strip {
    let mut strip = Strip::silent();
    strip.modes_in_use = MODES;
    for l in 0..LANES {
        let part = l as f64 / LANES as f64;
        strip.jolt(l, 0.9 - 0.5 * part as f32, 1.3);
        strip.dice[l] = 0x9E37_79B9 ^ (l as u32 * 77);
        strip.place(l, 0.5, 1.0 - 2.0 * part as f32);
        let turn = Turn::by(0.01 + 0.4 * part);
        [strip.cos[l], strip.sin[l]] = turn.one;
        [strip.cos_four[l], strip.sin_four[l]] = turn.four;
        strip.damp[l] = -0.008 + 0.016 * part as f32;
        strip.limit[l] = 0.0032;
        strip.push[l] = 3e-12;
        strip.noise[l] = 2e-12;
        strip.before[l] = 1e-3;
        for (row, overtone) in strip.overtones.iter_mut().zip([0.06, 0.02, 0.008]) {
            row[l] = overtone;
        }
        [strip.half_second[l], strip.most_third[l]] = [0.03, 0.015];
        strip.set_modes(l, &[[1.9 - 3.0 * part as f32, 0.97, 0.5]; MODES]);
    }
    strip
}

fn whole(noise_per_four: usize) -> Run {
    Run {
        eights: GRID / EIGHT,
        first: 0,
        lanes: LANES,
        modes: MODES,
        noise_per_four,
        keep: KEEP,
    }
}

/// Straight lines from sample to sample of the noise, at each frame.
fn lines_of(noise: &[f64], before: f64, frames: usize) -> Vec<f64> {
    let apart = frames / noise.len();
    let at = |place: usize| if place == 0 { before } else { noise[place - 1] };
    (1..=frames)
        .map(|frame| {
            let (place, over) = (frame / apart, frame % apart);
            let here = at(place);
            if over == 0 {
                here
            } else {
                here + (at(place + 1) - here) * over as f64 / apart as f64
            }
        })
        .collect()
}

/// The same, one lane and one frame after the other, in complex numbers of f64 and by the definitions.
fn plainly(strip: &Strip, l: usize, per_four: usize) -> Vec<f64> {
    let number = |row: &Row| f64::from(row[l]);
    let mut z = Complex64::new(number(&strip.re), number(&strip.im)) / 2.0;
    let mut dice = strip.dice[l];
    let mut hiss = number(&strip.hiss);
    let mut modes = [[0.0; 2]; MODES];
    let turn = Complex64::new(number(&strip.cos), number(&strip.sin));
    let turn_four = Complex64::new(number(&strip.cos_four), number(&strip.sin_four));
    let middle = 2.0 * number(&strip.middle);
    let [second, third, fourth] = [0, 1, 2].map(|n| number(&strip.overtones[n]));
    let (mut tone, mut noise) = (Vec::new(), Vec::new());
    for _ in 0..GRID / EIGHT {
        let mut whites = Vec::new();
        for _ in 0..per_four {
            dice = throw(dice);
            whites.extend([dice, dice << 16].map(|half| f64::from(half.cast_signed())));
        }
        for (step, white) in whites.iter().enumerate() {
            let drive = 2.0 * number(&strip.noise) * white;
            hiss = f64::from(KEEP) * hiss + drive;
            let mut say = hiss;
            for (mode, rows) in modes.iter_mut().zip(&strip.modes) {
                let mut next = number(&rows.turn) * mode[0] - mode[1];
                if step % 2 == 0 {
                    next *= number(&rows.keep);
                }
                if step == 0 {
                    next += number(&rows.gain) * drive;
                }
                *mode = [next, mode[0]];
                say += next;
            }
            noise.push(say);
        }
        let pushes = match per_four {
            1 => [whites[0], whites[1]],
            2 => [whites[0] + whites[1], whites[2] + whites[3]],
            _ => [whites[0] + whites[1], whites[4] + whites[5]],
        };
        for push in pushes {
            let damp = number(&strip.damp) + number(&strip.limit) * 4.0 * z.norm_sqr();
            for frame in 0..FOUR {
                let now = z * turn.powu(frame as u32);
                let overtones = 2.0
                    * (second * now.powu(2).re + third * now.powu(3).re + fourth * now.powu(4).re);
                // The tone and what of the third overtone is linear in it fade within the four; the rest waits.
                let linear = middle - 6.0 * third * now.norm_sqr();
                let faded = linear * now.re * frame as f64 * damp / 4.0;
                tone.push(middle * now.re + overtones - faded);
            }
            z *= turn_four * (1.0 - damp);
            z.im += number(&strip.push) * push / 2.0;
        }
    }
    let lines = lines_of(&noise, 2.0 * number(&strip.before), GRID);
    tone.iter()
        .zip(lines)
        .map(|(tone, noise)| tone + noise)
        .collect()
}

#[test]
fn a_strip_is_what_the_definitions_say_within_the_rounding_of_single_precision() {
    let start = busy();
    let mut worst = 0.0f64;
    for per_four in [1, 2, 4] {
        let (mut strip, mut said) = (start.clone(), [NONE; GRID]);
        run(&mut strip, &mut said, whole(per_four));
        for l in 0..LANES {
            let plain = plainly(&start, l, per_four);
            let most = plain.iter().fold(0.0f64, |most, say| most.max(say.abs()));
            assert!(most > 0.02, "lane {l}: {most}");
            for (said, plain) in said.iter().zip(plain) {
                worst = worst.max((f64::from(said[l]) - plain).abs());
            }
        }
    }
    // Six or so operations of half a unit of 2⁻²⁴ each, and the recurrence of Re z triples what the first turn
    // leaves; the modes ring up to 30 times what drives them.
    assert!(worst < 1e-5, "{worst:e}");
    assert!(worst > 0.0);
}

#[test]
fn the_widest_instructions_give_the_samples_of_the_narrowest_bit_for_bit() {
    let (mut strip, mut said) = (busy(), [NONE; GRID]);
    run(&mut strip, &mut said, whole(2));
    let (mut plain, mut plain_said) = (busy(), [NONE; GRID]);
    if fuses() {
        stretch::<MODES, 2, true>(&mut plain, &mut plain_said, whole(2));
    } else {
        stretch::<MODES, 2, false>(&mut plain, &mut plain_said, whole(2));
    }
    assert_eq!(strip, plain);
    assert_eq!(said, plain_said);
}

#[cfg(target_arch = "x86_64")]
fn fuses() -> bool {
    is_x86_feature_detected!("fma") && is_x86_feature_detected!("avx2")
}

#[cfg(not(target_arch = "x86_64"))]
fn fuses() -> bool {
    cfg!(target_arch = "aarch64")
}

#[test]
fn half_a_strip_is_the_same_as_a_whole_one_with_empty_lanes() {
    let heard = |lanes: usize| {
        let (mut strip, mut scratch) = (Strip::silent(), Scratch::empty());
        // What another strip said there is not to be heard again.
        *scratch.said_mut(0) = [[0.25; LANES]; GRID];
        for l in 0..5 {
            strip.set_lane(l, &busy().lane(l));
        }
        let asked = Run { lanes, ..whole(2) };
        run(&mut strip, scratch.said_mut(0), asked);
        let adding = Adding {
            begins: true,
            lanes,
            frames: GRID,
        };
        add_up(&mut scratch, &[strip], adding);
        let (mut left, mut right) = ([0.0; GRID], [0.0; GRID]);
        gather(&scratch, 0, &mut left, &mut right);
        assert!(left.iter().any(|said| said.abs() > 0.1));
        (left, right)
    };
    assert_eq!(heard(5), heard(LANES));
}

#[test]
fn a_turn_says_how_much_its_rounding_lengthens_the_swing() {
    let turn = Turn::by(0.123_456);
    let [cos, sin] = turn.four.map(f64::from);
    assert!((cos * cos + sin * sin - (1.0 + turn.stretch()).powi(2)).abs() < 1e-15);
    assert!(turn.stretch().abs() < 1e-7);
}
