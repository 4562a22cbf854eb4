//! Tapped bottles made of damped tones whose pitches are known: how far what is heard lies from them, what doublets are
//! told, and which partial is taken for the note.

use std::f64::consts::TAU;

use ullage::fit::wall::{HeardTap, calibrated_struck};
use ullage::listen::strike::{Expected, Strike, together};
use ullage::listen::taps::{Partial, Tap, TapListener};
use ullage::physics::struck::{Struck, StruckSpec};
use ullage::units::{Duration, Frequency, Interval, Level, SampleRate, Volume};

use crate::common::dice::Dice;
use crate::common::files::{BOTTLE_A, kind, table};
use crate::common::measure::cents;

const RATE_HZ: f64 = 48_000.0;

/// A mode: Hz, seconds to fall by 60 dB, amplitude.
type Mode = (f64, f64, f64);

/// `taps` taps, half a second apart, of a bottle with these modes; each mode as strong as where it is tapped makes it.
fn tapped(modes: &[Mode], taps: usize, noise: f64, dice: &mut Dice) -> Vec<f32> {
    let length = ((0.3 + 0.7 * taps as f64 + 0.6) * RATE_HZ) as usize;
    let mut sound: Vec<f64> = (0..length).map(|_| noise * dice.bell()).collect();
    for tap in 0..taps {
        let from = ((0.3 + 0.7 * tap as f64) * RATE_HZ) as usize;
        for &(hz, t60_s, amplitude) in modes {
            let strength = amplitude * (0.75 + 0.25 * dice.roll());
            let phase = TAU * dice.roll();
            for (n, x) in sound[from..].iter_mut().enumerate() {
                let t = n as f64 / RATE_HZ;
                *x += strength * (-6.907_755 * t / t60_s).exp() * (TAU * hz * t + phase).sin();
            }
        }
        // The mallet's thump, 2 ms.
        for x in &mut sound[from..from + 96] {
            *x += 0.2 * dice.roll();
        }
    }
    sound.into_iter().map(|x| x as f32).collect()
}

fn heard(samples: &[f32]) -> Option<Strike> {
    let mut listener = TapListener::new(SampleRate::from_hz(RATE_HZ)).unwrap();
    for block in samples.chunks(441) {
        listener.push(block);
    }
    listener.finish();
    together(&listener.heard())
}

fn near(strike: &Strike, hz: f64) -> Option<&Partial> {
    let off = |p: &Partial| cents(p.frequency.hz(), hz).abs();
    let best = strike
        .partials
        .iter()
        .min_by(|a, b| off(a).total_cmp(&off(b)))?;
    (off(best) < 60.0).then_some(best)
}

#[test]
fn pitch_and_ring_of_single_modes_are_heard_within_what_is_stated() {
    let mut dice = Dice(3);
    let (mut of, mut covered, mut lost, mut worst, mut worst_ring) = (0, 0, 0, 0.0f64, 0.0f64);
    for case in 0..40 {
        let low = 400.0 * 1.06f64.powi(case);
        let modes = [
            (low, 0.25 + 0.02 * f64::from(case), 0.3),
            (low * 1.27, 0.4, 0.15),
            (low * 1.83, 0.3, 0.08),
        ];
        let noise = [1e-5, 1e-3, 1e-2][case as usize % 3];
        let strike = heard(&tapped(&modes, 3, noise, &mut dice)).unwrap();
        assert_eq!(strike.taps, 3, "{low:.0} Hz");
        for (place, &(hz, t60_s, _)) in modes.iter().enumerate().filter(|(_, m)| m.0 < 8000.0) {
            of += 1;
            let Some(found) = near(&strike, hz) else {
                lost += 1;
                continue;
            };
            let off = cents(found.frequency.hz(), hz);
            covered += usize::from(off.abs() <= found.plus_minus.cents());
            worst = worst.max(off.abs());
            if place == 0 {
                worst_ring = worst_ring.max((found.t60.s() / t60_s - 1.0).abs());
                let q = std::f64::consts::PI * hz * t60_s / 6.907_755;
                assert!((found.quality / q - 1.0).abs() < 0.25, "{hz:.0}: {found:?}");
            }
            assert!(found.doublet.is_none(), "{hz:.0}: {found:?}");
        }
    }
    println!(
        "{of} modes, {lost} lost, worst {worst:.2} cents, worst ring {:.0} %, covered {covered}",
        100.0 * worst_ring
    );
    assert_eq!(lost, 0);
    assert!(worst < 1.5, "{worst} cents");
    assert!(worst_ring < 0.2, "{worst_ring}");
    assert!(covered * 20 >= of * 19, "{covered} of {of}");
}

#[test]
fn two_near_modes_are_told_as_two_with_their_beat() {
    let mut dice = Dice(5);
    println!("split %   Hz        T60 s  found  worst end, cents  worst beat, Hz");
    // A quiet room: noise over the whole band, 65 to 70 dB below the modes.
    for (split, noise) in [(0.002, 1e-4), (0.003, 1e-4), (0.005, 1e-4), (0.01, 1e-4)] {
        for (hz, t60_s) in [(1600.0, 0.6), (2300.0, 0.8), (2700.0, 0.45)] {
            let (mut told, mut worst, mut worst_beat) = (0, 0.0f64, 0.0f64);
            for _ in 0..5 {
                let high = hz * (1.0 + split);
                let modes = [
                    (hz, t60_s, 0.3),
                    (high, t60_s * 1.1, 0.2),
                    (hz * 1.28, 0.5, 0.1),
                ];
                let strike = heard(&tapped(&modes, 4, noise, &mut dice)).unwrap();
                let found = near(&strike, hz).unwrap();
                let Some(doublet) = found.doublet else {
                    continue;
                };
                told += 1;
                let ends = [cents(doublet.low.hz(), hz), cents(doublet.high.hz(), high)];
                worst = ends.iter().fold(worst, |w, e| w.max(e.abs()));
                worst_beat = worst_beat.max((doublet.beat().hz() - (high - hz)).abs());
                let middle = cents(found.frequency.hz(), 0.5 * (hz + high));
                assert!(middle.abs() < 1.0, "{middle} cents");
                let single = near(&strike, hz * 1.28).unwrap();
                assert!(single.doublet.is_none(), "{single:?}");
            }
            println!(
                "{:.1}       {hz:6.0}  {t60_s:6.2}  {told} of 5   {worst:.2}   {worst_beat:.2}",
                100.0 * split
            );
            assert_eq!(told, 5, "{split} at {hz}");
            assert!(
                worst < 1.5 && worst_beat < 0.5,
                "{worst} cents, {worst_beat} Hz"
            );
        }
    }
}

#[test]
fn of_two_clinks_at_once_the_last_is_listened_to() {
    // Two bottles that touch twice within 35 ms, as loudly each time and not at the same place.
    let ring = |t: f64, hz: f64, t60_s: f64| {
        if t < 0.0 {
            0.0
        } else {
            0.3 * (-6.907_755 * t / t60_s).exp() * (TAU * hz * t).sin()
        }
    };
    for (first_hz, second_hz) in [(3_720.0, 3_955.0), (2_100.0, 2_240.0), (5_000.0, 4_700.0)] {
        let at = |n: usize| {
            let t = n as f64 / RATE_HZ - 0.2;
            (ring(t, first_hz, 0.08) + ring(t - 0.035, second_hz, 0.25)) as f32
        };
        let mut listener = TapListener::new(SampleRate::from_hz(RATE_HZ)).unwrap();
        listener.push(&(0..24_000).map(at).collect::<Vec<f32>>());
        listener.finish();
        let taps = listener.heard();
        // The first rings for too short a time to have a pitch.
        assert_eq!(taps.len(), 1, "{taps:?}");
        assert!((taps[0].start.s() - 0.235).abs() < 0.005, "{taps:?}");
        let strike = together(&taps).unwrap();
        let note = strike.strongest();
        let off = cents(note.frequency.hz(), second_hz).abs();
        assert!(
            off <= note.plus_minus_either().cents() && off < 20.0,
            "{second_hz} Hz: {off:.1} cents off, {note:?}"
        );
    }
}

#[test]
fn silence_noise_and_a_blown_note_have_no_tap() {
    let mut dice = Dice(9);
    let noise: Vec<f32> = (0..96_000).map(|_| (0.02 * dice.bell()) as f32).collect();
    assert_eq!(heard(&noise), None);
    assert_eq!(heard(&[0.0; 48_000]), None);
    let swell = |n: usize| {
        let t = n as f64 / RATE_HZ;
        (0.3 * (t / 0.4).min(1.0) * (TAU * 196.0 * t).sin()) as f32
    };
    assert_eq!(heard(&(0..96_000).map(swell).collect::<Vec<f32>>()), None);
    let not_numbers = [f32::NAN, f32::INFINITY, -1e30, 0.1].repeat(9_000);
    let _ = heard(&not_numbers);
}

/// Fill, pitches with two and three waves, and all peaks with their levels.
type Row = (f64, [f64; 2], Vec<(f64, f64)>);

fn measured() -> Vec<Row> {
    let row = |cells: csv::StringRecord| {
        let number = |i: usize| cells[i].parse::<f64>().unwrap();
        let others = cells[10].split_whitespace().map(|hz| hz.parse().unwrap());
        // The file says of the others only that they are above −25 dB.
        let mut peaks: Vec<(f64, f64)> = others.map(|hz| (hz, -18.0)).collect();
        peaks.extend([(number(2), number(4)), (number(3), number(5))]);
        (number(0), [number(2), number(3)], peaks)
    };
    let mut taps = table("struck_bottle_A_water.csv");
    taps.records().map(Result::unwrap).map(row).collect()
}

fn strike_of(peaks: &[(f64, f64)]) -> Strike {
    let mut partials: Vec<Partial> = peaks
        .iter()
        .map(|&(hz, db)| Partial {
            frequency: Frequency::from_hz(hz),
            plus_minus: Interval::from_cents(2.0),
            murk: Interval::default(),
            level: Level::from_db(db),
            t60: Duration::from_s(0.5),
            quality: 600.0,
            doublet: None,
        })
        .collect();
    partials.sort_by(|a, b| a.frequency.hz().total_cmp(&b.frequency.hz()));
    Strike { taps: 1, partials }
}

/// The taps: Vondracek, Czech Technical University, 2024, as measured in the file.
#[test]
fn the_partial_with_two_waves_is_found_among_the_others_of_the_measured_bottle() {
    let bottle = kind(BOTTLE_A).bottle;
    let rows = measured();
    let described = StruckSpec::default();
    let heard = |i: usize| HeardTap {
        fill: Volume::from_ml(rows[i].0),
        frequency: Frequency::from_hz(rows[i].1[0]),
        density_kg_m3: described.density_kg_m3,
    };
    let fitted = calibrated_struck(&bottle, &[heard(0), heard(6)], described).unwrap();
    for (what, spec) in [
        ("described", described),
        ("fitted to two taps", fitted.spec),
    ] {
        let struck = Struck::new(&bottle, spec).unwrap();
        let mut right = [0; 2];
        for (fill_ml, [two, three], peaks) in &rows {
            let modes = struck.modes(Volume::from_ml(*fill_ml)).unwrap();
            let expected: Vec<Expected> = modes
                .iter()
                .map(|m| Expected {
                    waves: m.n,
                    frequency: m.frequency,
                    level: m.level,
                })
                .collect();
            let strike = strike_of(peaks);
            let told = strike.told_apart(&expected, struck.plus_minus());
            for (waves, hz) in [(2, two), (3, three)] {
                let place = modes.iter().position(|m| m.n == waves).unwrap();
                let found = told[place].map(|i| strike.partials[i].frequency.hz());
                println!(
                    "  {fill_ml:5} ml, {waves} waves: model {:.0}, measured {hz:.0}, taken {found:.0?}",
                    modes[place].frequency.hz()
                );
                right[waves as usize - 2] += usize::from(found == Some(*hz));
            }
        }
        println!(
            "{what}: two waves right at {} of {} fills, three at {}",
            right[0],
            rows.len(),
            right[1]
        );
        // Two semitones of doubt let one fill in twelve be mistaken; two taps end that.
        let least = if what == "described" {
            rows.len() - 1
        } else {
            rows.len()
        };
        assert!(right[0] >= least, "{what}: {right:?}");
    }
}

/// A tap with these partials: Hz and dB.
fn tap(loudness_db: f64, partials: &[(f64, f64)]) -> Tap {
    Tap {
        start: Duration::from_s(0.0),
        level: Level::from_db(loudness_db),
        loudness: Level::from_db(loudness_db),
        partials: strike_of(partials).partials,
    }
}

#[test]
fn a_partial_of_one_tap_among_several_is_noise_and_soft_taps_do_not_count() {
    let note = (2_000.0, 0.0);
    for taps in 3..=6 {
        let mut all = vec![tap(-10.0, &[note, (3_100.0, -3.0)])];
        all.resize(taps, tap(-10.0, &[note, (4_500.0, -9.0)]));
        let found = together(&all).unwrap();
        let hz: Vec<f64> = found
            .partials
            .iter()
            .map(|p| p.frequency.hz().round())
            .collect();
        assert_eq!(hz, [2_000.0, 4_500.0], "{taps} taps");
        assert_eq!(found.taps, taps);
    }
    // A spoon put down twice, 16 dB softer, has another pitch.
    let loud = tap(-10.0, &[note]);
    let put_down = tap(-26.0, &[(900.0, 0.0)]);
    let found = together(&[put_down.clone(), loud.clone(), put_down]).unwrap();
    assert_eq!((found.taps, found.partials.len()), (1, 1));
    assert!((found.note().unwrap().frequency.hz() - 2_000.0).abs() < 0.1);
    // What only the loud one of two taps has is less sure than what both have.
    let both = together(&[loud.clone(), loud.clone()]).unwrap();
    let one = together(&[loud, tap(-12.0, &[(5_000.0, 0.0)])]).unwrap();
    let sure = |strike: &Strike| strike.note().unwrap().plus_minus.cents();
    assert!(
        sure(&one) > sure(&both) + 2.0,
        "{} and {}",
        sure(&one),
        sure(&both)
    );
}

#[test]
fn below_700_hz_a_wall_is_one_of_plastic_and_only_where_nothing_rings_above() {
    let with_quality = |partials: &[(f64, f64)], quality: f64| {
        let mut strike = strike_of(partials);
        strike.partials.iter_mut().for_each(|p| p.quality = quality);
        strike
    };
    let note = |strike: &Strike| strike.note().map(|p| p.frequency.hz());
    // A hand that thumps beside a glass that rings.
    let glass = with_quality(&[(310.0, 0.0), (2_400.0, -20.0)], 600.0);
    assert_eq!(note(&glass), Some(2_400.0));
    assert_eq!(note(&with_quality(&[(410.0, 0.0)], 40.0)), Some(410.0));
    assert_eq!(
        note(&with_quality(&[(320.0, 0.0)], 600.0)),
        None,
        "somebody else's tone"
    );
    assert_eq!(note(&with_quality(&[(150.0, 0.0)], 40.0)), None);
    assert_eq!(
        note(&with_quality(&[(2_400.0, 0.0)], 20.0)),
        None,
        "the table"
    );
}
