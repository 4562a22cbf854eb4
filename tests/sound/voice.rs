//! The blown voice, measured on the samples it makes.

use num_complex::Complex64;
use ullage::synth::{Attack, BlownVoice, EventKind, PassiveMode};
use ullage::units::{Frequency, Interval};

use crate::common::measure;
use crate::common::voices::{ask, bank, blow, left, living, seconds, spec, tongue};

const RATES_HZ: [f64; 3] = [44_100.0, 48_000.0, 96_000.0];
const NOTES_HZ: [f64; 6] = [55.0, 110.0, 196.0, 440.0, 783.99, 1100.0];

#[test]
fn a_steady_tone_is_within_a_cent_of_the_bottle() {
    let mut worst = 0.0f64;
    for rate_hz in RATES_HZ {
        for hz in NOTES_HZ {
            let mut bank = bank(&[spec(hz, 32.0)], rate_hz);
            tongue(&mut bank, 0, 0, 3.0);
            let sound = left(&mut bank, seconds(rate_hz, 9.0));
            let measured = measure::pitch_hz(&sound[seconds(rate_hz, 1.0)..], rate_hz, hz);
            let off_cents = measure::cents(measured, hz);
            println!("steady pitch: {rate_hz} Hz, {hz} Hz, Q 32: {off_cents:+.3} cents");
            worst = worst.max(off_cents.abs());
        }
    }
    println!("steady pitch, worst: {worst:.3} cents");
    // voice.md section 3 asks for 1 cent; the breath noise alone makes it wander by some tenths.
    assert!(worst < 1.0, "{worst} cents");
}

#[test]
fn a_released_bottle_rings_down_with_its_own_quality_and_pitch() {
    let mut worst = (0.0f64, 0.0f64);
    for rate_hz in RATES_HZ {
        // A low quality at a high pitch is gone before the breath is: its width is measured instead, below.
        for (hz, q) in [
            (55.0, 32.0),
            (110.0, 60.0),
            (196.0, 32.0),
            (220.0, 8.0),
            (440.0, 16.0),
            (1100.0, 100.0),
            (3000.0, 100.0),
        ] {
            // Overtones die two to four times as fast and would bend the slope: left out.
            let mut bank = bank(&[spec(hz, q).with_overtone_gain(0.0).unwrap()], rate_hz);
            tongue(&mut bank, 0, 0, 4.0);
            let stop = seconds(rate_hz, 1.5);
            ask(&mut bank, stop as u64, 0, EventKind::Release);
            let sound = left(&mut bank, stop + seconds(rate_hz, 0.25 + 20.0 * q / hz));
            // The breath takes 220 ms to end.
            let free = &sound[stop + seconds(rate_hz, 0.225)..];
            let quality = measure::ring_down_q(free, rate_hz, hz, 1.0, 50.0);
            let off = quality / q - 1.0;
            println!(
                "ring-down: {rate_hz} Hz, {hz} Hz, Q {q}: measured {quality:.3} ({:+.2} %)",
                100.0 * off
            );
            // Three windows of sixteen periods must fit into the ring, so only from Q 16 up.
            let periods = (1.2 * q).max(48.0);
            let first = &free[..seconds(rate_hz, periods / hz)];
            let off_cents = if q < 16.0 {
                0.0
            } else {
                measure::cents(measure::pitch_hz(first, rate_hz, hz), hz)
            };
            println!("ring-down pitch: {off_cents:+.4} cents");
            worst = (worst.0.max(off.abs()), worst.1.max(off_cents.abs()));
        }
    }
    println!(
        "ring-down, worst: {:.2} %, {:.3} cents",
        100.0 * worst.0,
        worst.1
    );
    assert!(worst.0 < 0.02, "voice.md section 3: 2 %; {}", worst.0);
    assert!(worst.1 < 1.0, "{} cents", worst.1);
}

#[test]
fn a_soft_breath_hums_with_the_narrowed_width() {
    let rate_hz = 48_000.0;
    for (hz, q, g) in [
        (440.0, 16.0, 0.5),
        (440.0, 16.0, 0.8),
        (880.0, 8.0, 0.5),
        (220.0, 32.0, 0.5),
    ] {
        let spec = spec(hz, q).with_breath_gain(0.0).unwrap();
        let mut bank = bank(&[spec], rate_hz);
        blow(&mut bank, 0, 0, g);
        // Bins a sixteenth of the width, and so long that chance moves the width by 3 % or less.
        let width_hz = hz / q * (1.0 - g);
        let bins = ((16.0 * rate_hz / width_hz) as usize).next_power_of_two();
        let sound = left(
            &mut bank,
            seconds(rate_hz, (2000.0 / width_hz).clamp(100.0, 300.0)),
        );
        let power = measure::spectrum(&sound[seconds(rate_hz, 1.0)..], bins);
        let expected_hz = hz / q * (1.0 - g);
        let reach_hz = 4.0 * expected_hz;
        let width_hz = measure::resonance_width_hz(&power, rate_hz, hz - reach_hz, hz + reach_hz);
        let off = width_hz / expected_hz - 1.0;
        println!(
            "width: {hz} Hz, Q {q}, g {g}: {width_hz:.3} Hz, expected {expected_hz:.3} ({:+.1} %)",
            100.0 * off
        );
        assert!(off.abs() < 0.10, "voice.md section 3: 10 %; {off}");
    }
}

#[test]
fn two_bottles_beat_at_the_difference_of_their_pitches() {
    let rate_hz = 48_000.0;
    for (hz, apart_cents) in [(440.0, 5.0), (196.0, 12.0), (880.0, 8.0)] {
        let other_hz = hz * 2f64.powf(apart_cents / 1200.0);
        let mut bank = bank(&[spec(hz, 32.0), spec(other_hz, 32.0)], rate_hz);
        tongue(&mut bank, 0, 0, 3.0);
        tongue(&mut bank, 0, 1, 3.0);
        let sound = left(&mut bank, seconds(rate_hz, 25.0));
        let expected_hz = other_hz - hz;
        let steady = &sound[seconds(rate_hz, 1.0)..];
        let beats_hz = measure::beats_hz(
            steady,
            rate_hz,
            (hz + other_hz) / 2.0,
            0.5 * expected_hz,
            1.5 * expected_hz,
        );
        let off = beats_hz / expected_hz - 1.0;
        println!(
            "beats: {hz} Hz, {apart_cents} cents: {beats_hz:.4} Hz, expected {expected_hz:.4} ({:+.2} %)",
            100.0 * off
        );
        assert!(off.abs() < 0.02, "voice.md section 3: 2 %; {off}");
    }
}

#[test]
fn the_steady_swing_is_that_of_the_normal_form_as_loud_as_the_jet() {
    for g in [1.5, 2.5, 4.0] {
        let mut bank = bank(
            &[spec(196.0, 32.0).with_overtone_gain(0.0).unwrap()],
            48_000.0,
        );
        tongue(&mut bank, 0, 0, g);
        let sound = left(&mut bank, 240_000);
        let tone = measure::demodulate(&sound[96_000..], 48_000.0, 196.0, 0.1);
        let swing =
            tone.value.iter().map(|(re, im)| re.hypot(*im)).sum::<f64>() / tone.value.len() as f64;
        // As loud as the jet is strong, and of two channels one.
        let expected = ((g - 1.0) / g).sqrt() * g / 2.5 * 0.5f64.sqrt();
        // 3 %: the noise makes it breathe by 1 to 3 % (voice.md's own table).
        assert!(
            (swing / expected - 1.0).abs() < 0.03,
            "g {g}: {swing} for {expected}"
        );
    }
}

/// The time until the envelope first reaches `part` of what it settles on, s.
fn reach_s(sound: &[f32], rate_hz: f64, hz: f64, part: f64) -> f64 {
    let tone = measure::demodulate(sound, rate_hz, hz, 4.0 / hz);
    let level: Vec<f64> = tone.value.iter().map(|(re, im)| re.hypot(*im)).collect();
    let tail = &level[level.len() * 3 / 4..];
    let settled = tail.iter().sum::<f64>() / tail.len() as f64;
    tone.time_s[level.iter().position(|l| *l >= part * settled).unwrap()]
}

#[test]
fn a_tongued_bottle_speaks_sooner_than_breath_alone() {
    let sound = |attack| {
        let mut bank = bank(&[spec(196.0, 32.0)], 48_000.0);
        ask(&mut bank, 0, 0, EventKind::Blow { g: 2.5, attack });
        left(&mut bank, 96_000)
    };
    let natural_s = reach_s(&sound(Attack::Natural), 48_000.0, 196.0, 0.9);
    let tongued_s = reach_s(
        &sound(Attack::Tongued { strength: 1.0 }),
        48_000.0,
        196.0,
        0.9,
    );
    println!("attack to 90 %: natural {natural_s:.3} s, tongued {tongued_s:.3} s");
    // Its breath is there 90 ms sooner, and it has not to grow out of the noise.
    assert!(natural_s > tongued_s + 0.09, "{natural_s} s, {tongued_s} s");
    assert!(tongued_s > 0.05, "{tongued_s} s: no bottle does that");
}

#[test]
fn overtones_are_whole_multiples_with_the_documented_share() {
    let (hz, g) = (440.0, 4.0);
    let mut bank = bank(&[spec(hz, 32.0).with_breath_gain(0.0).unwrap()], 48_000.0);
    tongue(&mut bank, 0, 0, g);
    let sound = left(&mut bank, 240_000);
    // Each overtone's phase is a whole multiple of the fundamental's: multiplied by the fundamental's power,
    // turned back, the noise averages out and the share is left.
    let part =
        |n: i32| measure::demodulate(&sound[48_000..], 48_000.0, f64::from(n) * hz, 0.05).value;
    let first: Vec<_> = part(1)
        .iter()
        .map(|(re, im)| Complex64::new(*re, *im) * 2f64.sqrt())
        .collect();
    for (n, share) in (2..).zip(ullage::synth::overtones(Frequency::from_hz(hz), g)) {
        let (mut along, mut power) = (0.0, 0.0);
        for (overtone, z) in part(n).iter().zip(&first) {
            let turned_back = (z / z.norm()).powi(n).conj();
            let overtone = Complex64::new(overtone.0, overtone.1) * 2f64.sqrt();
            along += (overtone * turned_back).re * z.norm();
            power += z.norm_sqr();
        }
        let measured = along / power;
        println!("overtone {n}: {measured:.5}, documented {share:.5}");
        // 3 %: what is left of the noise in four seconds, at the fourth.
        assert!(
            (measured / share - 1.0).abs() < 0.03,
            "overtone {n}: {measured} for {share}"
        );
    }
}

#[test]
fn a_doubled_breath_raises_the_pitch_as_far_as_asked_and_in_a_steady_bank_not_at_all() {
    let specs: Vec<_> = (0..6)
        .map(|seed| spec(440.0, 32.0).with_seed(seed))
        .collect();
    let pulled = |cents| {
        let pull = |s: &BlownVoice| s.clone().with_breath_pull(Interval::from_cents(cents));
        let specs: Vec<_> = specs.iter().map(|s| pull(s).unwrap()).collect();
        // Each note is off by some cents at first and wanders: the mean of six and of a minute.
        let off = (0..specs.len()).map(|bottle| {
            let mut bank = living(&specs, 48_000.0);
            blow(&mut bank, 0, bottle, 5.0);
            let sound = left(&mut bank, seconds(48_000.0, 60.0));
            let pitch_hz = measure::pitch_hz(&sound[seconds(48_000.0, 15.0)..], 48_000.0, 440.0);
            measure::cents(pitch_hz, 440.0)
        });
        off.sum::<f64>() / 6.0
    };
    for cents in [0.0, 40.0] {
        let off_cents = pulled(cents);
        println!("pulled by {cents}: {off_cents:+.2} cents");
        assert!((off_cents - cents).abs() < 1.5, "{off_cents} for {cents}");
    }
    let mut still = bank(&specs, 48_000.0);
    blow(&mut still, 0, 0, 5.0);
    let sound = left(&mut still, 240_000);
    let off_cents = measure::cents(measure::pitch_hz(&sound[48_000..], 48_000.0, 440.0), 440.0);
    assert!(off_cents.abs() < 0.3, "{off_cents} cents");
}

#[test]
fn a_bend_and_a_new_tuning_arrive_where_they_were_sent() {
    let bend = EventKind::Bend {
        interval: Interval::from_cents(-50.0),
    };
    let tune = EventKind::Tune {
        frequency: Frequency::from_hz(523.25),
        q: 20.0,
    };
    for (kind, hz) in [(bend, 440.0 * 2f64.powf(-50.0 / 1200.0)), (tune, 523.25)] {
        let mut bank = bank(&[spec(440.0, 32.0)], 48_000.0);
        tongue(&mut bank, 0, 0, 3.0);
        ask(&mut bank, 20_001, 0, kind);
        let sound = left(&mut bank, 300_000);
        let off_cents = measure::cents(measure::pitch_hz(&sound[48_000..], 48_000.0, hz), hz);
        assert!(off_cents.abs() < 1.0, "{off_cents} cents from {hz} Hz");
    }
}

#[test]
fn a_passive_mode_rings_down_with_its_own_quality() {
    let mode = PassiveMode {
        frequency: Frequency::from_hz(900.0),
        q: 150.0,
        gain: 30.0,
    };
    let mut bank = bank(
        &[spec(200.0, 5.0).with_modes(vec![mode]).unwrap()],
        48_000.0,
    );
    blow(&mut bank, 0, 0, 0.5);
    ask(&mut bank, 96_000, 0, EventKind::Release);
    let sound = left(&mut bank, 144_000);
    // The breath takes 0.22 s to end; 20 ms later nothing but the mode is left.
    let free = &sound[96_000 + seconds(48_000.0, 0.24)..];
    let quality = measure::ring_down_q(free, 48_000.0, 900.0, 1.0, 35.0);
    // 2 %, as for the main resonance.
    assert!((quality / 150.0 - 1.0).abs() < 0.02, "{quality}");
}
