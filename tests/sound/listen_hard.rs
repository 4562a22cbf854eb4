//! Our own voices in spoiled recordings: whether the stated ± holds what is true, and that nothing is heard where nothing is.
//!
//! A small trial; `ULLAGE_HARD=1000 cargo test --release --test sound -- listen_hard:: --nocapture` is a long one.

use ullage::listen::strike;
use ullage::listen::taps::TapListener;
use ullage::listen::together::together;
use ullage::listen::{HeardNote, Listener, NotBlown};
use ullage::synth::EventKind;
use ullage::units::SampleRate;

use crate::common::dice::Dice;
use crate::common::hard::{Hard, RATE_HZ, blown, hum, kitchen, speech, tapped};
use crate::common::measure::cents;
use crate::common::voices::{ask, blow, left, living, seconds, spec};

/// Makes so many samples of what is no bottle.
type Maker = fn(usize, &mut Dice) -> Vec<f64>;
/// A pitch and its ±, cents.
type Pitch = (f64, f64);

fn count(usual: u64) -> u64 {
    let asked = std::env::var("ULLAGE_HARD").ok();
    asked.map_or(usual, |count| count.parse().unwrap())
}

fn tap_heard(samples: &[f32]) -> Option<Pitch> {
    let mut listener = TapListener::new(SampleRate::from_hz(RATE_HZ)).unwrap();
    samples.chunks(4_096).for_each(|block| listener.push(block));
    listener.finish();
    let strike = strike::together(&listener.heard())?;
    let note = strike.note()?;
    Some((note.frequency.hz(), note.plus_minus_either().cents()))
}

fn notes(samples: &[f32]) -> (Vec<HeardNote>, Vec<NotBlown>) {
    let mut listener = Listener::new(SampleRate::from_hz(RATE_HZ), &[]).unwrap();
    samples.chunks(4_096).for_each(|block| listener.push(block));
    listener.finish();
    (listener.heard_in_all(), listener.refused())
}

fn blow_heard(samples: &[f32]) -> Option<Pitch> {
    let blows = together(&notes(samples).0)?;
    Some((blows.frequency.hz(), blows.plus_minus.cents()))
}

fn nearest(right_hz: &[f64], hz: f64) -> f64 {
    let off = right_hz.iter().map(|right| cents(hz, *right).abs());
    off.fold(f64::INFINITY, f64::min)
}

fn trial(what: &str, of: u64, make: fn(u64) -> Hard, hear: fn(&[f32]) -> Option<Pitch>) {
    let (mut refused, mut inside, mut worst) = (0, 0, 0.0f64);
    for seed in 0..of {
        let hard = make(seed);
        let Some((hz, plus_minus)) = hear(&hard.samples) else {
            refused += 1;
            println!("  {seed} [{}]: refused", hard.how);
            continue;
        };
        let off = nearest(&hard.right_hz, hz);
        worst = worst.max(off);
        if off <= plus_minus {
            inside += 1;
        } else {
            println!(
                "  {seed} [{}]: {off:.1} cents off, ±{plus_minus:.1}",
                hard.how
            );
        }
    }
    let heard = of - refused;
    println!(
        "{what}: {inside} of {heard} inside their ±, {refused} refused, worst {worst:.1} cents"
    );
    assert!(10 * refused <= of, "{refused} refused");
    assert!(worst < 50.0, "{worst} cents: another partial");
    // 96.7 of a hundred tapped and 96.9 blown in 2,147 and 992; of so few as here it may be 85 (three standard deviations of 30).
    let least = if of < 200 { 0.85 } else { 0.93 };
    assert!(inside as f64 >= least * heard as f64, "{inside} of {heard}");
}

#[test]
fn the_plus_minus_of_a_tapped_bottle_holds_in_spoiled_recordings() {
    trial("tapped", count(30), tapped, tap_heard);
}

#[test]
fn the_plus_minus_of_a_blown_bottle_holds_in_spoiled_recordings() {
    trial("blown", count(24), blown, blow_heard);
}

fn as_samples(sound: Vec<f64>) -> Vec<f32> {
    let peak = sound.iter().fold(0.0f64, |peak, x| peak.max(x.abs()));
    sound.iter().map(|x| (0.5 * x / peak) as f32).collect()
}

/// In how many of as many recordings of three seconds something is taken for a bottle.
fn taken(name: &str, make: Maker, of: usize, dice: &mut Dice) -> usize {
    let frames = (3.0 * RATE_HZ) as usize;
    let mut taken = 0;
    for _ in 0..of {
        let (notes, _) = notes(&as_samples(make(frames, dice)));
        for note in &notes {
            println!(
                "{name}: {:.2} Hz ±{:.1}",
                note.frequency.hz(),
                note.plus_minus.cents()
            );
        }
        taken += usize::from(!notes.is_empty());
    }
    println!("{name}: {taken} of {of} taken for a bottle");
    taken
}

#[test]
fn who_speaks_is_not_taken_for_a_bottle() {
    // In the long trial 1 of 260, and 0.2 % of words that others have published.
    let of = count(24) as usize;
    let taken = taken("speech", speech, of, &mut Dice(17));
    assert!(24 * taken <= of, "{taken} of {of}");
}

#[test]
fn a_kitchen_and_hum_are_no_blown_notes() {
    // In the long trial none of 300 and of 600.
    let mut dice = Dice(17);
    let of = count(24) as usize;
    for (name, make) in [("kitchen", kitchen as Maker), ("hum", hum)] {
        let taken = taken(name, make, of, &mut dice);
        assert!(24 * taken <= of, "{name}: {taken} of {of}");
    }
}

#[test]
fn a_bottle_on_a_multiple_of_the_mains_is_heard_beside_their_hum() {
    for (place, hz) in [100.0, 120.0, 150.0, 200.0, 300.0].into_iter().enumerate() {
        let mut bank = living(&[spec(hz, 32.0).with_seed(place as u64)], RATE_HZ);
        blow(&mut bank, seconds(RATE_HZ, 0.3) as u64, 0, 2.5);
        ask(
            &mut bank,
            seconds(RATE_HZ, 1.6) as u64,
            0,
            EventKind::Release,
        );
        let sound = left(&mut bank, seconds(RATE_HZ, 2.2));
        let peak = sound.iter().fold(0.0f32, |peak, x| peak.max(x.abs()));
        let mains = hum(sound.len(), &mut Dice(place as u64 + 1));
        let loudest = mains.iter().fold(0.0f64, |peak, x| peak.max(x.abs()));
        let beside = mains.iter().map(|x| (0.05 * x / loudest) as f32);
        let samples: Vec<f32> = sound
            .iter()
            .zip(beside)
            .map(|(x, y)| 0.5 * x / peak + y)
            .collect();
        let (notes, refused) = notes(&samples);
        let is_it = notes
            .iter()
            .any(|n| cents(n.frequency.hz(), hz).abs() < 60.0);
        assert!(is_it, "{hz} Hz: {notes:?}, {refused:?}");
    }
}

#[test]
fn a_bottle_that_is_blown_hard_softly_or_too_loud_is_no_voice() {
    for (place, hz) in [65.0, 98.0, 185.0, 320.0, 587.0, 1_047.0]
        .into_iter()
        .enumerate()
    {
        for (name, g, gain) in [
            ("softly", 1.3, 0.05),
            ("hard", 6.0, 1.0),
            ("too loud", 2.5, 20.0),
        ] {
            let voice = spec(hz, 32.0).with_seed(place as u64);
            let mut bank = living(&[voice], RATE_HZ);
            blow(&mut bank, seconds(RATE_HZ, 0.3) as u64, 0, g);
            let end = seconds(RATE_HZ, 1.3) as u64;
            ask(&mut bank, end, 0, EventKind::Release);
            let samples: Vec<f32> = left(&mut bank, seconds(RATE_HZ, 1.9))
                .iter()
                .map(|x| (gain * x).clamp(-0.9, 0.9))
                .collect();
            let (notes, refused) = notes(&samples);
            let is_it = notes
                .iter()
                .any(|n| cents(n.frequency.hz(), hz).abs() < 60.0);
            assert!(is_it, "{name}, {hz} Hz: {notes:?}, {refused:?}");
        }
    }
}

#[test]
fn two_bottles_at_once_are_both_named() {
    let tone = |hz: f64, n: usize| (std::f64::consts::TAU * hz * n as f64 / RATE_HZ).sin();
    for (low, high, level) in [
        (196.0, 247.0, 1.0),
        (98.0, 123.0, 1.0),
        (110.0, 165.0, 0.6),
        (440.0, 523.0, 0.4),
    ] {
        let samples: Vec<f32> = (0..96_000)
            .map(|n| {
                (0.3 * (n as f64 / 4_800.0).min(1.0) * (tone(low, n) + level * tone(high, n)))
                    as f32
            })
            .collect();
        let mut heard: Vec<f64> = notes(&samples).0.iter().map(|n| n.frequency.hz()).collect();
        heard.sort_by(f64::total_cmp);
        assert_eq!(heard.len(), 2, "{low} and {high}: {heard:?}");
        assert!(
            cents(heard[0], low).abs() < 1.0 && cents(heard[1], high).abs() < 1.0,
            "{heard:?}"
        );
    }
}

#[test]
fn a_tap_is_no_blown_note_and_says_so() {
    // 2.2 kHz that rings for 0.3 s, as of two bottles that clink.
    let at = |n: usize| {
        let t = n as f64 / RATE_HZ - 0.2;
        let ring =
            |hz: f64, t60_s: f64| (-6.9 * t / t60_s).exp() * (std::f64::consts::TAU * hz * t).sin();
        if t < 0.0 {
            0.0
        } else {
            (0.5 * ring(2_230.0, 0.3) + 0.1 * ring(4_545.0, 0.2)) as f32
        }
    };
    let (notes, refused) = notes(&(0..48_000).map(at).collect::<Vec<f32>>());
    assert!(notes.is_empty(), "{notes:?}");
    assert_eq!(refused, [NotBlown::Tapped]);
}
