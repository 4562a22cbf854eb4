//! Blown notes made by our own voices, under everything that spoils a recording: how far the heard pitch is
//! from the true one, and whether the stated ± covers it.

use ullage::listen::Listener;
use ullage::listen::together::{Blows, together};
use ullage::synth::EventKind;
use ullage::units::{Frequency, SampleRate};

use crate::common::dice::Dice;
use crate::common::files::data;
use crate::common::measure::rms;
use crate::common::voices::{ask, bank, blow, left, seconds, spec, tongue};

fn heard(samples: &[f32], rate_hz: f64, expected_hz: &[f64]) -> Option<Blows> {
    let expected: Vec<Frequency> = expected_hz.iter().map(|f| Frequency::from_hz(*f)).collect();
    let mut listener = Listener::new(SampleRate::from_hz(rate_hz), &expected).unwrap();
    for block in samples.chunks(441) {
        listener.push(block);
    }
    listener.finish();
    together(&listener.heard())
}

/// A blown note: silence, `length_s` of breath, ring-down.
fn note(hz: f64, rate_hz: f64, length_s: f64, seed: u64) -> Vec<f32> {
    let mut bank = bank(&[spec(hz, 32.0).with_seed(seed)], rate_hz);
    let start = seconds(rate_hz, 0.15) as u64;
    tongue(&mut bank, start, 0, 2.5);
    let stop = start + seconds(rate_hz, length_s) as u64;
    ask(&mut bank, stop, 0, EventKind::Release);
    left(&mut bank, seconds(rate_hz, length_s + 0.5))
}

/// White noise so many dB below the tone (rms against rms, over the whole band).
fn with_noise(samples: &mut [f32], snr_db: f64, seed: u64) {
    let middle = &samples[samples.len() / 3..samples.len() / 2];
    let noise = rms(middle) * 10f64.powf(-snr_db / 20.0);
    let mut dice = Dice(seed);
    samples
        .iter_mut()
        .for_each(|x| *x += (noise * dice.bell()) as f32);
}

fn add_tone(samples: &mut [f32], rate_hz: f64, hz: f64, amplitude: f64) {
    for (n, x) in samples.iter_mut().enumerate() {
        *x += (amplitude * (std::f64::consts::TAU * hz * n as f64 / rate_hz).sin()) as f32;
    }
}

/// What was done to the notes, and what came of it.
struct Row {
    of: usize,
    lost: usize,
    covered: usize,
    worst_cents: f64,
    rms_cents: f64,
    mean_plus_minus: f64,
}

const NOTES_HZ: [f64; 8] = [61.0, 98.0, 146.83, 196.0, 261.63, 392.0, 659.26, 1100.0];

fn table_row(
    name: &str,
    rate_hz: f64,
    length_s: f64,
    spoil: impl Fn(&mut Vec<f32>, f64, u64),
) -> Row {
    let mut row = Row {
        of: 0,
        lost: 0,
        covered: 0,
        worst_cents: 0.0,
        rms_cents: 0.0,
        mean_plus_minus: 0.0,
    };
    for (place, hz) in NOTES_HZ.into_iter().enumerate() {
        for seed in 0..5 {
            let mut samples = note(hz, rate_hz, length_s, 100 * seed + place as u64);
            spoil(&mut samples, hz, seed + 7);
            row.of += 1;
            let Some(blows) = heard(&samples, rate_hz, &[]) else {
                row.lost += 1;
                continue;
            };
            let off = 1200.0 * (blows.frequency.hz() / hz).log2();
            let plus_minus = blows.plus_minus.cents();
            row.covered += usize::from(off.abs() <= plus_minus);
            row.worst_cents = row.worst_cents.max(off.abs());
            row.rms_cents += off * off;
            row.mean_plus_minus += plus_minus;
        }
    }
    let n = (row.of - row.lost) as f64;
    row.rms_cents = (row.rms_cents / n).sqrt();
    row.mean_plus_minus /= n;
    println!(
        "{name:28} {:3} notes, {} lost, rms {:6.2}, worst {:6.2} cents, mean ± {:5.2}, covered {:3}",
        row.of, row.lost, row.rms_cents, row.worst_cents, row.mean_plus_minus, row.covered
    );
    row
}

#[test]
fn the_stated_plus_minus_covers_nineteen_in_twenty_however_the_recording_is_spoiled() {
    let second = 1.2;
    let rows = [
        table_row("clean, 44.1 kHz", 44_100.0, second, |_, _, _| {}),
        table_row("clean, 48 kHz", 48_000.0, second, |_, _, _| {}),
        table_row("clean, 96 kHz", 96_000.0, second, |_, _, _| {}),
        table_row("noise at 20 dB", 48_000.0, second, |s, _, seed| {
            with_noise(s, 20.0, seed)
        }),
        table_row("noise at 10 dB", 48_000.0, second, |s, _, seed| {
            with_noise(s, 10.0, seed)
        }),
        table_row("clicks", 48_000.0, second, |s, _, seed| {
            let mut dice = Dice(seed);
            for _ in 0..6 {
                let at = ((dice.roll() + 1.0) * 0.5 * (s.len() - 40) as f64) as usize;
                s[at..at + 30]
                    .iter_mut()
                    .for_each(|x| *x += dice.roll() as f32);
            }
        }),
        table_row("a neighbour at -12 dB", 48_000.0, second, |s, hz, _| {
            add_tone(s, 48_000.0, hz * 1.26, 0.12);
        }),
        table_row("hum at -20 dB", 48_000.0, second, |s, _, _| {
            add_tone(s, 48_000.0, 50.0, 0.05);
            add_tone(s, 48_000.0, 150.0, 0.02);
        }),
        table_row("clipped", 48_000.0, second, |s, _, _| {
            s.iter_mut().for_each(|x| *x = (*x * 4.0).clamp(-0.9, 0.9));
        }),
        table_row("16 bit, soft", 48_000.0, second, |s, _, _| {
            s.iter_mut()
                .for_each(|x| *x = (*x * 0.01 * 32_768.0).round() / 32_768.0);
        }),
        table_row("0.3 s", 48_000.0, 0.3, |_, _, _| {}),
        table_row("0.3 s, noise at 10 dB", 48_000.0, 0.3, |s, _, seed| {
            with_noise(s, 10.0, seed)
        }),
    ];
    let of: usize = rows.iter().map(|r| r.of).sum();
    let covered: usize = rows.iter().map(|r| r.covered).sum();
    let lost: usize = rows.iter().map(|r| r.lost).sum();
    println!("{covered} of {of} covered, {lost} lost");
    assert_eq!(lost, 0);
    // Noise, clicks, neighbours, hum: no note is taken for another one.
    assert!(rows.iter().all(|r| r.worst_cents < 3.0));
    assert!(covered * 20 >= of * 19, "{covered} of {of}");
    // Half a cent on a clean second, 3 cents at 10 dB. The voice's own phase wanders with its breath noise: that is
    // in the sound, and rms over notes is what the hearing adds to it at most.
    assert!(rows[..3].iter().all(|r| r.rms_cents < 0.5));
    assert!(rows[4].worst_cents < 3.0);
}

#[test]
fn with_a_set_to_expect_no_octave_is_ever_mistaken() {
    let rate_hz = 48_000.0;
    // Two octaves of a set, so that every note's octave is one of its notes as well; cents that it is poured wrong.
    let low_hz = [65.41, 82.41, 98.0, 110.0, 130.81, 164.81, 196.0, 220.0];
    let set: Vec<f64> = low_hz
        .iter()
        .flat_map(|hz| [*hz, 2.0 * hz, 4.0 * hz])
        .collect();
    let off_cents = [-140.0, -35.0, 0.0, 60.0, 140.0];
    // Levels of fundamental, octave, twelfth, double octave, as microphones and players make them.
    let colours: [(&str, [f64; 4]); 4] = [
        ("pure", [1.0, 0.03, 0.01, 0.0]),
        ("bright", [1.0, 0.5, 0.3, 0.1]),
        ("small microphone", [0.5, 0.9, 0.3, 0.1]),
        ("very small microphone", [0.2, 1.0, 0.4, 0.2]),
    ];
    let (mut of, mut wrong) = (0, Vec::new());
    for (place, &hz) in set.iter().enumerate() {
        for (number, off) in off_cents.iter().enumerate() {
            for (name, levels) in colours {
                // Whoever blows a high bottle into a small microphone loses nothing.
                if name.contains("small") && hz > 200.0 {
                    continue;
                }
                let sounds = hz * 2f64.powf(off / 1200.0);
                let mut samples = vec![0.0; 24_000];
                for (harmonic, level) in levels.into_iter().enumerate() {
                    let there = sounds * (harmonic + 1) as f64;
                    add_tone(&mut samples, rate_hz, there, 0.1 * level);
                }
                with_noise(&mut samples, 25.0, (10 * place + number) as u64);
                let found = heard(&samples, rate_hz, &set).map(|b| b.frequency.hz());
                of += 1;
                if found.is_none_or(|hz| (1200.0 * (hz / sounds).log2()).abs() > 50.0) {
                    wrong.push((name, sounds, found));
                }
            }
        }
    }
    println!("{of} notes, {} octaves mistaken", wrong.len());
    assert!(of >= 200, "only {of} cases");
    assert!(wrong.is_empty(), "{wrong:?}");
}

#[test]
fn a_bottle_poured_wrong_is_not_taken_for_another_ones_octave() {
    let rate_hz = 48_000.0;
    // 262 Hz where 330 was meant, in a set that has 523: its octave, 25 dB down as breath makes it, is no note.
    let mut samples = vec![0.0; 48_000];
    add_tone(&mut samples, rate_hz, 261.63, 0.2);
    add_tone(&mut samples, rate_hz, 523.25, 0.2 * 0.056);
    let found = heard(&samples, rate_hz, &[329.63, 523.25]).unwrap();
    let off = 1200.0 * (found.frequency.hz() / 261.63).log2();
    assert!(off.abs() < 1.0, "{off} cents");
}

#[test]
fn two_blows_one_after_the_other_are_two_notes_with_their_times() {
    let rate_hz = 48_000.0;
    let mut bank = bank(&[spec(196.0, 32.0), spec(247.0, 32.0)], rate_hz);
    for (at, bottle) in [(0.2, 0), (1.7, 1)] {
        blow(&mut bank, seconds(rate_hz, at) as u64, bottle, 3.0);
        ask(
            &mut bank,
            seconds(rate_hz, at + 1.0) as u64,
            bottle,
            EventKind::Release,
        );
    }
    let samples = left(&mut bank, seconds(rate_hz, 3.2));
    let mut listener = Listener::new(SampleRate::from_hz(rate_hz), &[]).unwrap();
    listener.push(&samples);
    listener.finish();
    let notes = listener.heard();
    let mut in_blocks = Listener::new(SampleRate::from_hz(rate_hz), &[]).unwrap();
    samples.chunks(333).for_each(|block| in_blocks.push(block));
    in_blocks.finish();
    assert_eq!(
        notes,
        in_blocks.heard(),
        "blocks of any length hear the same"
    );
    assert_eq!(notes.len(), 2, "{notes:?}");
    for (note, (hz, start_s)) in notes.iter().zip([(196.0, 0.2), (247.0, 1.7)]) {
        assert!((note.frequency.hz() - hz).abs() < 0.3, "{note:?}");
        assert!((note.start.s() - start_s).abs() < 0.25, "{note:?}");
        let ring = note.ring.expect("it rang down in silence");
        assert!((ring.quality / 32.0 - 1.0).abs() < 0.15, "{ring:?}");
    }
}

#[test]
fn tones_of_another_program_are_heard_as_another_tracker_hears_them() {
    // File, true pitch, and what librosa's yin hears; commands and settings in tests/data/sox/README.md. 3 cents are what
    // that tracker itself is off by on a plain tone.
    for (name, true_hz, yin_hz) in [
        ("sine_196", 196.37, 196.514),
        ("rich_164", 164.3, 164.405),
        ("vibrato_311", 311.4, 311.557),
        ("decay_220", 220.6, 220.656),
    ] {
        let wav = ullage::file::wav::read_wav(&data(&format!("sox/{name}.wav"))).unwrap();
        let blows = heard(&wav.mono(), wav.rate.hz(), &[]).unwrap();
        let cents = |hz: f64| 1200.0 * (blows.frequency.hz() / hz).log2();
        println!(
            "{name}: {:.3} Hz ±{:.2} cents, {:+.2} from the truth, {:+.2} from yin",
            blows.frequency.hz(),
            blows.plus_minus.cents(),
            cents(true_hz),
            cents(yin_hz)
        );
        assert!(cents(yin_hz).abs() < 3.0, "{name}");
        assert!(
            cents(true_hz).abs() < blows.plus_minus.cents().max(0.5),
            "{name}"
        );
    }
}
