//! A struck bottle heard as physics predicts it.

use ullage::physics::shell::strike::Mallet;
use ullage::physics::struck::{ShellMode, Struck, StruckSpec};
use ullage::synth::{BottleVoice, EventKind, Row, StruckVoice};
use ullage::units::{SampleRate, Volume};

use crate::common::files::{BOTTLE_A, kind};
use crate::common::measure;
use crate::common::voices::{ask, left};

const RATE_HZ: f64 = 48_000.0;

fn stroke(voice: StruckVoice) -> Vec<f32> {
    let tones = voice.with_contact_gain(0.0).unwrap();
    let voice = BottleVoice::from(tones.with_pan(-1.0).unwrap());
    let row = Row::new(&[voice], SampleRate::from_hz(RATE_HZ), 7).unwrap();
    let mut row = row.steady();
    ask(&mut row, 0, 0, EventKind::Strike { speed: 1.0 });
    left(&mut row, 24_000)
}

/// The swing of a partial just after a stroke of some 5 ms at most.
fn swing(sound: &[f32], mode: &ShellMode) -> f64 {
    let tone = measure::demodulate(&sound[240..], RATE_HZ, mode.frequency.hz(), 0.02);
    let (re, im) = tone.value[0];
    // Back to the stroke: the middle of the window is 15 ms after it.
    let lost = std::f64::consts::PI * mode.frequency.hz() * 0.015 / mode.quality;
    re.hypot(im) * lost.exp()
}

#[test]
fn its_pitch_its_ring_and_its_balance_are_those_that_physics_predicts() {
    let bottle = kind(BOTTLE_A).bottle;
    for fill_ml in [0.0, 250.0, 500.0] {
        let fill = Volume::from_ml(fill_ml);
        let struck = Struck::new(&bottle, StruckSpec::default()).unwrap();
        let (modes, note) = (struck.modes(fill).unwrap(), struck.note(fill).unwrap());
        let loudest = modes.iter().map(|m| m.response.abs()).fold(0.0, f64::max);
        assert!((loudest - 1.0).abs() < 1e-12);
        let voice = StruckVoice::from_modes(&modes)
            .unwrap()
            .with_split(0.0)
            .unwrap();
        let off = voice.frequency().interval_above(note.frequency).cents();
        assert!(
            off.abs() < 1e-6,
            "{fill_ml} ml: the voice has another note, {off} cents off"
        );
        let sound = stroke(voice.clone().evened());
        let peak = sound.iter().fold(0.0f32, |most, s| most.max(s.abs()));
        assert!((0.1..0.7).contains(&peak), "{peak}");
        let free = &sound[480..];
        // A window long enough to leave the other partials out.
        let tone = measure::demodulate(free, RATE_HZ, note.frequency.hz(), 0.06);
        let steps = tone.value.windows(2).take(6).zip(tone.time_s.windows(2));
        let turns = steps.map(|(z, t)| {
            let (a, b) = (z[0], z[1]);
            (a.0 * b.1 - a.1 * b.0).atan2(a.0 * b.0 + a.1 * b.1) / (t[1] - t[0])
        });
        let off_hz = turns.sum::<f64>() / 6.0 / std::f64::consts::TAU;
        let cents = measure::cents(note.frequency.hz() + off_hz, note.frequency.hz());
        println!(
            "{fill_ml} ml: {:.1} Hz, Q {:.0}: {cents:+.3} cents",
            note.frequency.hz(),
            note.quality
        );
        assert!(cents.abs() < 1.0, "{cents} cents");
        // Partial by partial as loud as the response and the mallet's force say; physics has the envelope of a half sine's spectrum
        // for it, the voice a pulse, and wood's contact is as long as a period of 3 kHz, where the two differ most.
        for (mallet, tolerance_db) in [(Mallet::Wood, 6.0), (Mallet::Metal, 3.0)] {
            let sound = stroke(voice.clone().with_mallet(mallet));
            for mode in modes
                .iter()
                .filter(|m| m.response.abs() > 0.1 && m.frequency.hz() < 6000.0)
            {
                let near =
                    |other: &ShellMode| (other.frequency.hz() - mode.frequency.hz()).abs() < 120.0;
                if modes.iter().filter(|other| near(other)).count() > 1 {
                    continue; // Two partials in one window cannot be told apart.
                }
                let asked = mode.response.abs() * mallet.force(mode.frequency);
                let off_db = 20.0 * (swing(&sound, mode) / asked).log10();
                println!(
                    "  {mallet:?} ({}, {}) {:.0} Hz: off {off_db:+.1} dB",
                    mode.n,
                    mode.m,
                    mode.frequency.hz()
                );
                assert!(off_db.abs() < tolerance_db, "{off_db} dB");
            }
        }
    }
}
