//! Recordings as they go wrong: our own voices in a room, speech and a kitchen beside them, too loud, or by telephone.

use std::f64::consts::{PI, TAU};

use ullage::index::BottleIndex;
use ullage::physics::reverberation::Walls;
use ullage::synth::{
    Attack, BlownBank, BlownVoice, BottleVoice, Event, EventKind, RingingMode, Room, RoomSpec, Row,
    StruckVoice, USUAL_BREATH,
};
use ullage::units::{Duration, Frequency, Interval, Length, SampleRate};

use super::dice::Dice;

pub const RATE_HZ: f64 = 48_000.0;

/// A recording and what is in it.
pub struct Hard {
    pub samples: Vec<f32>,
    /// Pitches that are right, Hz: of a tapped bottle all partials that are as strong as the strongest within 4.5 dB, of
    /// blown ones each.
    pub right_hz: Vec<f64>,
    /// What was done to it.
    pub how: String,
}

/// Evenly between two values.
fn between(dice: &mut Dice, low: f64, high: f64) -> f64 {
    low + (high - low) * dice.share()
}

/// A quarter of a century of dice for one recording.
fn dice_of(seed: u64) -> Dice {
    let mut dice = Dice(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ 0x2545_F491_4F6C_DD1D);
    (0..8).for_each(|_| {
        dice.share();
    });
    dice
}

/// One to four taps of a bottle of glass.
pub fn tapped(seed: u64) -> Hard {
    let mut dice = dice_of(seed);
    let low_hz = 900.0 * 4f64.powf(dice.share());
    let mut modes_hz = vec![low_hz];
    for _ in 0..4 {
        let last = modes_hz[modes_hz.len() - 1];
        modes_hz.push(last * between(&mut dice, 1.2, 1.5));
    }
    modes_hz.retain(|hz| *hz < 8_000.0);
    let loudest = dice.below(2) as usize;
    let mode = |dice: &mut Dice, place: usize, hz: f64| RingingMode {
        frequency: Frequency::from_hz(hz),
        q: 300.0 * 5f64.powf(dice.share()),
        level: if place == loudest {
            1.0
        } else {
            between(dice, 0.1, 0.7)
        },
    };
    let modes: Vec<RingingMode> = modes_hz
        .iter()
        .enumerate()
        .map(|(place, hz)| mode(&mut dice, place, *hz))
        .collect();
    let voice = StruckVoice::new(modes)
        .unwrap()
        .with_split(0.01 * dice.share())
        .unwrap()
        .with_seed(seed)
        .evened();
    let rate = SampleRate::from_hz(RATE_HZ);
    let mut row = Row::new(&[BottleVoice::from(voice)], rate, seed).unwrap();
    let taps = if dice.share() < 0.4 {
        1
    } else {
        2 + dice.below(3)
    };
    let (mut at_s, mut first_s) = (between(&mut dice, 0.3, 0.8), 0.0);
    let mut fastest = 0.0;
    for _ in 0..taps {
        let speed = between(&mut dice, 0.4, 1.6);
        if speed > fastest {
            (fastest, first_s) = (speed, at_s);
        }
        strike(&mut row, at_s, speed);
        at_s += between(&mut dice, 0.35, 0.9);
    }
    let frames = ((at_s + 0.8) * RATE_HZ) as usize;
    let (mut left, mut right) = (vec![0.0f32; frames], vec![0.0f32; frames]);
    row.add_block(&mut left, &mut right);
    let clean: Vec<f64> = left.iter().map(|x| f64::from(*x)).collect();
    spoiled(clean, &mut dice, |filtered| {
        strongest(filtered, first_s, &modes_hz)
    })
}

fn strike(row: &mut Row, at_s: f64, speed: f64) {
    let event = Event {
        at_frames: (at_s * RATE_HZ) as u64,
        bottle: BottleIndex::new(0),
        kind: EventKind::Strike { speed },
    };
    row.push(event).unwrap();
}

/// Those of `modes_hz` that have as much energy as the strongest within 4.5 dB, 4 to 350 ms after a tap: by plain sums.
fn strongest(samples: &[f64], tap_s: f64, modes_hz: &[f64]) -> Vec<f64> {
    let at = |s: f64| ((tap_s + s) * RATE_HZ) as usize;
    let heard = &samples[at(0.004)..at(0.35).min(samples.len())];
    let power = |hz: f64| {
        let (mut re, mut im) = (0.0, 0.0);
        for (n, x) in heard.iter().enumerate().step_by(2) {
            let (sin, cos) = (TAU * hz * n as f64 / RATE_HZ).sin_cos();
            re += x * cos;
            im += x * sin;
        }
        re * re + im * im
    };
    let energy = |hz: &f64| {
        (-12..=12)
            .map(|step| power(hz + 2.5 * f64::from(step)))
            .sum::<f64>()
    };
    let energies: Vec<f64> = modes_hz.iter().map(energy).collect();
    let most = energies.iter().copied().fold(0.0, f64::max);
    let those = modes_hz
        .iter()
        .zip(energies)
        .filter(|(_, e)| *e > 0.35 * most);
    those.map(|(hz, _)| *hz).collect()
}

/// One to three blows of a bottle, or of two at once.
pub fn blown(seed: u64) -> Hard {
    let mut dice = dice_of(seed ^ 0xB10);
    let hz = 65.0 * 17f64.powf(dice.share());
    let mut all_hz = vec![hz];
    if dice.share() < 0.15 {
        // No octave, no twelfth, and far enough for two tones.
        all_hz.push(
            hz.max(90.0) * [1.19, 1.26, 1.34, 1.41, 1.5, 1.59, 1.68, 1.78][dice.below(8) as usize],
        );
    }
    let mut sound: Vec<f64> = Vec::new();
    let mut right_hz = Vec::new();
    let blows = 1 + dice.below(3);
    let length_s = between(&mut dice, 0.6, 2.5);
    for (place, hz) in all_hz.iter().enumerate() {
        let level = if place == 0 {
            1.0
        } else {
            between(&mut dice, 0.4, 1.0)
        };
        let (one, right) = blows_of(*hz, blows, length_s, &mut dice);
        right_hz.push(right);
        sound.resize(sound.len().max(one.len()), 0.0);
        for (sum, x) in sound.iter_mut().zip(one) {
            *sum += level * x;
        }
    }
    spoiled(sound, &mut dice, |_| right_hz)
}

/// As many breaths, which differ and wander as a player's do, and the pitch of the bottle under such a breath.
fn blows_of(hz: f64, blows: u64, length_s: f64, dice: &mut Dice) -> (Vec<f64>, f64) {
    const PULL_CENTS: f64 = 27.0;
    let voice = BlownVoice::new(Frequency::from_hz(hz), between(dice, 22.0, 45.0))
        .unwrap()
        .with_breath_pull(Interval::from_cents(PULL_CENTS))
        .unwrap()
        .with_seed(dice.below(1 << 30));
    let rate = SampleRate::from_hz(RATE_HZ);
    let mut bank = BlownBank::new(&[voice], rate, 7).unwrap();
    let g = between(dice, 1.6, 4.0);
    let mut at_s = 0.4;
    for _ in 0..blows {
        for (s, kind) in [
            (
                at_s,
                EventKind::Blow {
                    g,
                    attack: Attack::Natural,
                },
            ),
            (at_s + length_s, EventKind::Release),
        ] {
            let event = Event {
                at_frames: (s * RATE_HZ) as u64,
                bottle: BottleIndex::new(0),
                kind,
            };
            bank.push(event).unwrap();
        }
        at_s += length_s + 0.5;
    }
    let frames = (at_s * RATE_HZ) as usize;
    let (mut left, mut right) = (vec![0.0f32; frames], vec![0.0f32; frames]);
    bank.add_block(&mut left, &mut right);
    let octaves = PULL_CENTS / 1200.0 * (g / USUAL_BREATH).log2();
    let sound = left.iter().map(|x| f64::from(*x)).collect();
    (sound, hz * octaves.exp2())
}

/// A clean recording in a room, by telephone, with what sounds beside it, and too loud; each only sometimes.
fn spoiled(clean: Vec<f64>, dice: &mut Dice, right: impl FnOnce(&[f64]) -> Vec<f64>) -> Hard {
    let mut sound = clean;
    let mut how = Vec::new();
    let peak = |sound: &[f64]| sound.iter().fold(0.0f64, |p, x| p.max(x.abs()));
    let gain = 0.5 / peak(&sound).max(1e-9);
    sound.iter_mut().for_each(|x| *x *= gain);
    if dice.share() < 0.6 {
        how.push("room");
        in_a_room(&mut sound, dice);
    }
    let by_phone = dice.share() < 0.3;
    let phone = by_phone.then(|| (between(dice, 60.0, 250.0), between(dice, 3_400.0, 8_000.0)));
    if let Some((low_hz, high_hz)) = phone {
        how.push("phone");
        band(&mut sound, low_hz, high_hz);
    }
    let right_hz = right(&sound);
    let loud = rms_of_loud(&sound);
    let mut beside = vec![0.0; sound.len()];
    add_noise(
        &mut beside,
        loud * 10f64.powf(-between(dice, 12.0, 50.0) / 20.0),
        dice,
    );
    if dice.share() < 0.35 {
        how.push("speech");
        let level = loud * 10f64.powf(-between(dice, 14.0, 36.0) / 20.0);
        add(&mut beside, &speech(sound.len(), dice), level);
    }
    if dice.share() < 0.35 {
        how.push("kitchen");
        let level = loud * 10f64.powf(-between(dice, 14.0, 36.0) / 20.0);
        add(&mut beside, &kitchen(sound.len(), dice), level);
    }
    if dice.share() < 0.2 {
        how.push("hum");
        let level = loud * 10f64.powf(-between(dice, 16.0, 40.0) / 20.0);
        add(&mut beside, &hum(sound.len(), dice), level);
    }
    if let Some((low_hz, high_hz)) = phone {
        band(&mut beside, low_hz, high_hz);
    }
    sound.iter_mut().zip(&beside).for_each(|(x, y)| *x += y);
    let over = if dice.share() < 0.2 {
        how.push("clipped");
        between(dice, 1.1, 4.0)
    } else {
        between(dice, 0.05, 0.9)
    };
    let gain = over / peak(&sound);
    let samples = sound
        .iter()
        .map(|x| (x * gain).clamp(-1.0, 1.0) as f32)
        .collect();
    Hard {
        samples,
        right_hz,
        how: how.join(" "),
    }
}

fn add(sound: &mut [f64], other: &[f64], level: f64) {
    let gain = level / rms_of_loud(other).max(1e-9);
    sound
        .iter_mut()
        .zip(other)
        .for_each(|(x, y)| *x += gain * y);
}

/// Of the loudest twentieth of a second.
fn rms_of_loud(sound: &[f64]) -> f64 {
    let pieces = sound.chunks((0.05 * RATE_HZ) as usize);
    let power = pieces.map(|p| p.iter().map(|x| x * x).sum::<f64>() / p.len() as f64);
    power.fold(0.0, f64::max).sqrt()
}

fn in_a_room(sound: &mut [f64], dice: &mut Dice) {
    let spec = RoomSpec {
        walls: Some(Walls {
            length: Length::from_m(between(dice, 2.5, 8.0)),
            width: Length::from_m(between(dice, 2.5, 8.0)),
            height: Length::from_m(between(dice, 2.2, 3.5)),
            decay: Duration::from_s(between(dice, 0.3, 1.2)),
            softness: between(dice, 0.3, 0.9),
        }),
        distance: Length::from_m(0.5),
        wet: Some(between(dice, 0.1, 0.6)),
    };
    let mut room = Room::new(spec, SampleRate::from_hz(RATE_HZ)).unwrap();
    let mut left: Vec<f32> = sound.iter().map(|x| *x as f32).collect();
    let mut right = left.clone();
    room.process(&mut left, &mut right);
    sound
        .iter_mut()
        .zip(left)
        .for_each(|(x, y)| *x = f64::from(y));
}

/// Two poles on either side.
fn band(sound: &mut [f64], low_hz: f64, high_hz: f64) {
    let pole = |hz: f64| (-TAU * hz / RATE_HZ).exp();
    for _ in 0..2 {
        let (low, high) = (pole(low_hz), pole(high_hz));
        let (mut slow, mut smooth) = (0.0, 0.0);
        for x in sound.iter_mut() {
            slow = low * slow + (1.0 - low) * *x;
            smooth = high * smooth + (1.0 - high) * (*x - slow);
            *x = smooth;
        }
    }
}

/// Half white, half red.
fn add_noise(sound: &mut [f64], rms: f64, dice: &mut Dice) {
    let (tilt, mut red) = (dice.share(), 0.0);
    for x in sound {
        let white = dice.bell();
        red = 0.98 * red + 0.2 * white;
        *x += rms * (tilt * white + (1.0 - tilt) * red);
    }
}

/// Syllables of a voice: pulses of a pitch that glides, through three formants, and consonants of noise between.
pub fn speech(frames: usize, dice: &mut Dice) -> Vec<f64> {
    let mut out = vec![0.0; frames];
    let voice_hz = between(dice, 85.0, 240.0);
    let mut at = (0.2 * dice.share() * RATE_HZ) as usize;
    while at < frames {
        let length = (between(dice, 0.1, 0.35) * RATE_HZ) as usize;
        let formants = [
            (between(dice, 280.0, 800.0), 70.0),
            (between(dice, 900.0, 2_300.0), 100.0),
            (between(dice, 2_400.0, 3_200.0), 150.0),
        ];
        let (from, to) = (between(dice, 0.85, 1.2), between(dice, 0.8, 1.15));
        let end = (at + length).min(frames);
        let mut phase = 0.0;
        let mut source: Vec<f64> = (0..end - at)
            .map(|n| {
                let share = n as f64 / length as f64;
                phase += voice_hz * (from + (to - from) * share) / RATE_HZ;
                let pulse = if phase >= 1.0 { 1.0 } else { 0.0 };
                phase -= f64::floor(phase);
                (pulse + 0.01 * dice.roll()) * (PI * share).sin()
            })
            .collect();
        let mut sum = vec![0.0; source.len()];
        for (place, (hz, width_hz)) in formants.into_iter().enumerate() {
            let ring = resonant(&source, hz, width_hz);
            sum.iter_mut()
                .zip(ring)
                .for_each(|(x, y)| *x += y / (1.0 + place as f64));
        }
        source.clear();
        out[at..end].iter_mut().zip(sum).for_each(|(x, y)| *x += y);
        // A consonant.
        let noisy = (end + (between(dice, 0.02, 0.1) * RATE_HZ) as usize).min(frames);
        let loud = between(dice, 0.0, 0.6);
        for x in &mut out[end.min(noisy)..noisy] {
            *x += loud * dice.roll();
        }
        at = noisy + (dice.share() * dice.share() * 0.5 * RATE_HZ) as usize;
    }
    out
}

fn resonant(source: &[f64], hz: f64, width_hz: f64) -> Vec<f64> {
    let radius = (-PI * width_hz / RATE_HZ).exp();
    let (a, b) = (2.0 * radius * (TAU * hz / RATE_HZ).cos(), -radius * radius);
    let (mut y1, mut y2) = (0.0, 0.0);
    let gain = 1.0 - radius;
    let next = |x: &f64| {
        let y = gain * 10.0 * x + a * y1 + b * y2;
        (y2, y1) = (y1, y);
        y
    };
    source.iter().map(next).collect()
}

/// Plates and cutlery: short clinks, and a rattle.
pub fn kitchen(frames: usize, dice: &mut Dice) -> Vec<f64> {
    let mut out = vec![0.0; frames];
    let events = 1 + frames as u64 / 30_000;
    for _ in 0..events {
        let at = (dice.share() * frames as f64) as usize;
        let loud = between(dice, 0.1, 1.0);
        for _ in 0..1 + dice.below(3) {
            let (hz, t60_s) = (between(dice, 900.0, 8_000.0), between(dice, 0.02, 0.25));
            let phase = TAU * dice.share();
            let end = (at + (t60_s * RATE_HZ) as usize).min(frames);
            for (n, x) in out[at.min(end)..end].iter_mut().enumerate() {
                let t = n as f64 / RATE_HZ;
                *x += loud * (-6.9 * t / t60_s).exp() * (TAU * hz * t + phase).sin();
            }
        }
        let rattle = (at + (between(dice, 0.005, 0.08) * RATE_HZ) as usize).min(frames);
        for x in &mut out[at.min(rattle)..rattle] {
            *x += 0.3 * loud * dice.roll();
        }
    }
    out
}

/// Of the mains, with its overtones.
pub fn hum(frames: usize, dice: &mut Dice) -> Vec<f64> {
    let mains_hz = if dice.share() < 0.5 { 50.0 } else { 60.0 } * (1.0 + 0.001 * dice.roll());
    let levels: Vec<f64> = (0..6).map(|_| dice.share()).collect();
    let at = |n: usize| {
        let turn = TAU * mains_hz * n as f64 / RATE_HZ;
        let one = |(i, level): (usize, &f64)| level * ((i + 1) as f64 * turn).sin();
        levels.iter().enumerate().map(one).sum()
    };
    (0..frames).map(at).collect()
}
