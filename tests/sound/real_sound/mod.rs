//! Our blown notes beside recordings of real bottles: every figure of `tests/data/real_blown.csv` and of the spreads known beside
//! it, measured on rendered notes. Ours must lie where the real ones lie.
//!
//! `cargo nextest run --test sound real_sound --no-capture` prints the table.

mod measure;
mod rows;

use measure::{Course, Note, cents, correlation, mean, spread};
use rows::{Real, Table};
use ullage::index::BottleIndex;
use ullage::stage::Stage;
use ullage::synth::{
    Attack, Balance, BottleVoice, Command, Engine, EngineSpec, Event, EventKind, PlayedBottle, Row,
    USUAL_BREATH, USUAL_TONGUE,
};
use ullage::units::SampleRate;

use crate::common::measure::pitch_hz;

const RATE: SampleRate = SampleRate::from_hz(48_000.0);
/// A wine bottle at the pitches of the recorded ones, 124 to 186 Hz.
const BOTTLES: &str = r#"
[[bottle]]
name = "wine bottle"
count = 4
capacity_ml = 775
mouth_bore_mm = 18.5
neck_length_mm = 80
body_diameter_mm = 74
[[pour]]
note = "B2"
bottle = "wine bottle"
[[pour]]
note = "C#3"
bottle = "wine bottle"
[[pour]]
note = "D#3"
bottle = "wine bottle"
[[pour]]
note = "F#3"
bottle = "wine bottle"
"#;

/// The bottles as they are rendered, auditioned, exported and played live: all get them here.
fn voices() -> Vec<BottleVoice> {
    let set = ullage::set::read_set(BOTTLES).unwrap();
    let voices = Stage::new(&set).unwrap().voices(Balance::Even, RATE);
    voices.unwrap()
}

/// When a note is blown and let go, s.
type Breath = (f64, f64);

const TONGUED: Attack = Attack::Tongued {
    strength: USUAL_TONGUE,
};

/// One bottle alone, mono, before it is placed.
fn play(row: Row, bottle: usize, g: f64, attack: Attack, breaths: &[Breath], end_s: f64) -> Note {
    let mut row = row;
    let frame = |s: f64| (s * RATE.hz()).round() as u64;
    for &(start_s, stop_s) in breaths {
        let kinds = [
            (start_s, EventKind::Blow { g, attack }),
            (stop_s, EventKind::Release),
        ];
        for (at_s, kind) in kinds {
            let event = Event {
                at_frames: frame(at_s),
                bottle: BottleIndex::new(bottle),
                kind,
            };
            row.push(event).unwrap();
        }
    }
    let frames = frame(end_s) as usize;
    let mut taps = vec![vec![0.0f32; frames]; bottle + 1];
    let mut slices: Vec<&mut [f32]> = taps.iter_mut().map(Vec::as_mut_slice).collect();
    let (mut left, mut right) = (vec![0.0; frames], vec![0.0; frames]);
    row.add_block_with_taps(&mut left, &mut right, &mut slices);
    Note {
        samples: taps[bottle].iter().map(|s| f64::from(*s)).collect(),
        rate_hz: RATE.hz(),
    }
}

fn row(seed: u64) -> Row {
    Row::new(&voices(), RATE, seed).unwrap()
}

/// A note of this bottle held for 20 s, past its attack.
fn held(bottle: usize, seed: u64) -> Note {
    let note = play(
        row(seed),
        bottle,
        USUAL_BREATH,
        TONGUED,
        &[(0.0, 22.0)],
        22.0,
    );
    note.part(2.0, 22.0)
}

/// Every row of a held note, of each bottle, and the middle of the four.
fn of_held(table: &mut Table) {
    let mut all: Vec<Vec<(&str, f64)>> = Vec::new();
    for (bottle, voice) in voices().iter().enumerate() {
        let hz = voice.frequency().hz();
        let note = held(bottle, 11 + bottle as u64);
        let tone = note.tone(hz, 12.0);
        let (pitch, level) = (tone.cents(), tone.level_db());
        let middle = mean(&tone.amplitude);
        let share: Vec<f64> = tone.amplitude.iter().map(|a| 100.0 * a / middle).collect();
        let mut rows = vec![
            ("jitter_cents", spread(&pitch)),
            ("level_db", spread(&level)),
            ("level and pitch, correlation", correlation(&pitch, &level)),
            ("crest_db", crest_db(&note)),
        ];
        let bands = ["0.3 to 1 Hz", "1 to 3 Hz", "3 to 6 Hz", "6 to 12 Hz"];
        for ((name, cents), percent) in bands
            .iter()
            .zip(measure::in_bands(&pitch))
            .zip(measure::in_bands(&share))
        {
            rows.push((rows::leaked(&format!("pitch wander {name}, cents")), cents));
            rows.push((rows::leaked(&format!("level wander {name}, %")), percent));
        }
        let heard = measure::heard(&note, hz);
        let names = ["h2", "h3", "h4", "h5"];
        rows.extend(names.into_iter().zip(heard.harmonics_db));
        let names = [
            "oct_250", "oct_500", "oct_1000", "oct_2000", "oct_4000", "oct_8000",
        ];
        rows.extend(names.into_iter().zip(heard.octaves_db));
        rows.push(("skirt_10_20", heard.skirt_db));
        rows.push(("air modes below 6 kHz", heard.modes.len() as f64));
        let over: Vec<f64> = heard.modes.iter().map(|mode| mode[1]).collect();
        let q: Vec<f64> = heard.modes.iter().map(|mode| mode[2]).collect();
        rows.push(("air modes over the noise, dB", mean(&over)));
        rows.push(("air modes, Q", median(&q)));
        all.push(rows);
    }
    for place in 0..all[0].len() {
        let values: Vec<f64> = all.iter().map(|rows| rows[place].1).collect();
        table.ours(all[0][place].0, median(&values));
    }
}

/// The middle of the crest factors of stretches of 3 s.
fn crest_db(note: &Note) -> f64 {
    let parts = note.samples.chunks_exact(3 * RATE.hz() as usize);
    let crests: Vec<f64> = parts
        .map(|part| {
            let power: Vec<f64> = part.iter().map(|s| s * s).collect();
            let peak = power.iter().fold(0.0f64, |most, p| most.max(*p));
            measure::db(peak / mean(&power))
        })
        .collect();
    median(&crests)
}

fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let middle = sorted.len() / 2;
    if sorted.len() % 2 == 1 {
        sorted[middle]
    } else {
        sorted[middle - 1].midpoint(sorted[middle])
    }
}

const REPEATS: usize = 12;
/// From note to note, how long each is blown, and from when on it is steady, s.
const NOTE_S: (f64, f64, f64) = (4.0, 2.5, 1.0);

/// As many notes of one bottle after each other.
fn repeats(bottle: usize, attack: Attack) -> Vec<Note> {
    let (apart_s, blown_s, _) = NOTE_S;
    let starts: Vec<f64> = (0..REPEATS).map(|k| k as f64 * apart_s).collect();
    let breaths: Vec<Breath> = starts.iter().map(|s| (*s, s + blown_s)).collect();
    let end_s = apart_s * REPEATS as f64;
    let all = play(row(9), bottle, USUAL_BREATH, attack, &breaths, end_s);
    starts.iter().map(|s| all.part(*s, s + apart_s)).collect()
}

/// Every row of how notes begin, end and differ.
fn of_course(table: &mut Table) {
    let voices = voices();
    let mut courses: Vec<Course> = Vec::new();
    let mut differ: Vec<[f64; 3]> = Vec::new();
    let mut q_off: Vec<f64> = Vec::new();
    for (bottle, voice) in voices.iter().enumerate() {
        let hz = voice.frequency().hz();
        let BottleVoice::Blown(blown) = voice else {
            panic!("all are blown")
        };
        let notes = repeats(bottle, TONGUED);
        let (_, stop_s, steady_s) = NOTE_S;
        let here = notes
            .iter()
            .map(|n| measure::course(n, hz, steady_s, stop_s));
        let here: Vec<Course> = here.collect();
        q_off.extend(here.iter().map(|c| 100.0 * (c.q / blown.q() - 1.0).abs()));
        courses.extend(here);
        let steady: Vec<Note> = notes.iter().map(|n| n.part(steady_s, stop_s)).collect();
        let pitches: Vec<f64> = steady.iter().map(|n| cents(n.pitch_hz(hz), hz)).collect();
        let levels = steady.iter().map(|n| mean(&n.tone(hz, 12.0).amplitude));
        let levels: Vec<f64> = levels.map(|a| 20.0 * a.log10()).collect();
        let pairs = (0..REPEATS).flat_map(|a| (0..a).map(move |b| (a, b)));
        let first = |k: usize| notes[k].part(0.0, 1.0).samples;
        let alike: Vec<f64> = pairs
            .map(|(a, b)| correlation(&first(a), &first(b)))
            .collect();
        differ.push([mean(&alike), spread(&levels), spread(&pitches)]);
    }
    let of = |get: fn(&Course) -> f64| courses.iter().map(get).collect::<Vec<f64>>();
    table.ours("attack_ms", 1e3 * median(&of(|c| c.attack_s)));
    table.ours("lead_ms", 1e3 * median(&of(|c| c.lead_s)));
    table.ours("overshoot_db", median(&of(|c| c.overshoot_db)));
    table.ours("cents_at_50pct, spread", spread(&of(|c| c.half_cents)));
    table.ours(
        "ring-down Q off the predicted, %",
        q_off.iter().fold(0.0, |m, q| m.max(*q)),
    );
    for (name, place) in [
        ("repeats: waveforms, correlation", 0),
        ("repeats: level, dB", 1),
        ("repeats: pitch, cents", 2),
    ] {
        let values: Vec<f64> = differ.iter().map(|d| d[place]).collect();
        table.ours(name, mean(&values));
    }
}

/// The rise and the fall of the noise above 3 kHz, the mean of repeats.
fn of_noise(table: &mut Table) {
    let (_, stop_s, steady_s) = NOTE_S;
    for (attack, name) in [
        (TONGUED, "high noise rises, tongued, ms"),
        (Attack::Natural, "high noise rises, untongued, ms"),
    ] {
        let notes = repeats(2, attack);
        let mut power: Vec<f64> = notes[0].high_power();
        for note in &notes[1..] {
            let more = note.high_power();
            power.iter_mut().zip(more).for_each(|(p, more)| *p += more);
        }
        let at = |s: f64| (s * 1e3) as usize;
        let steady = mean(&power[at(steady_s)..at(stop_s)]);
        table.ours(name, 1e3 * measure::rise_s(&power, steady));
        if attack != Attack::Natural {
            let after = power[at(stop_s)..].windows(10);
            let gone = after.map(mean).position(|p| p < 0.01 * steady).unwrap();
            table.ours("noise 20 dB down after the breath, ms", gone as f64 + 5.0);
        }
    }
}

/// How pitch and loudness go with the breath.
fn of_breath(table: &mut Table) {
    let hz = voices()[2].frequency().hz();
    let at = |g: f64| {
        let notes: Vec<(f64, f64)> = (0..8)
            .map(|seed| {
                let note = play(row(30 + seed), 2, g, TONGUED, &[(0.0, 9.0)], 9.0).part(1.0, 9.0);
                let tone = note.tone(hz, 12.0);
                let tone_db = 20.0 * mean(&tone.amplitude).log10();
                let noise_db = measure::heard(&note, hz).octaves_db[2] + tone_db;
                (cents(mean(&tone.hz), hz), noise_db)
            })
            .collect();
        let (pitch, noise): (Vec<f64>, Vec<f64>) = notes.into_iter().unzip();
        (mean(&pitch), mean(&noise))
    };
    let (soft, hard) = (at(1.7), at(3.7));
    table.ours(
        "pitch for a dB of noise, cents",
        (hard.0 - soft.0) / (hard.1 - soft.1),
    );
    let key = |velocity: u8| {
        let spec = EngineSpec {
            room: None,
            steady: true,
            ..EngineSpec::new(vec![PlayedBottle::new(voices()[2].clone(), 60)])
        };
        let mut engine = Engine::new(&spec, RATE).unwrap();
        let bytes = [0x90, 60, velocity];
        engine.push(0, Command::Midi { bytes }).unwrap();
        let frames = 4 * RATE.hz() as usize;
        let (mut left, mut right) = (vec![0.0; frames], vec![0.0; frames]);
        engine.process(&mut left, &mut right);
        let samples = left.iter().map(|s| f64::from(*s)).collect();
        let note = Note {
            samples,
            rate_hz: RATE.hz(),
        }
        .part(1.5, 4.0);
        let heard = measure::heard(&note, hz);
        let tone_db = 20.0 * mean(&note.tone(hz, 12.0).amplitude).log10();
        [
            tone_db,
            heard.harmonics_db[0],
            heard.octaves_db[2] + tone_db,
        ]
    };
    let (soft, hard) = (key(20), key(127));
    table.ours("velocity 20 to 127: level, dB", hard[0] - soft[0]);
    table.ours("velocity 20 to 127: second harmonic, dB", hard[1] - soft[1]);
    table.ours("velocity 20 to 127: noise, dB", hard[2] - soft[2]);
}

#[test]
fn blown_notes_lie_where_recorded_ones_lie() {
    let mut table = Table::new(Real::read());
    of_held(&mut table);
    of_course(&mut table);
    of_noise(&mut table);
    of_breath(&mut table);
    println!("{table}");
    let outside = table.outside();
    assert!(outside.is_empty(), "outside: {}", outside.join(", "));
}

#[test]
fn ten_minutes_of_one_note_keep_the_pitch_of_the_bottle() {
    let hz = voices()[2].frequency().hz();
    let note = play(row(5), 2, USUAL_BREATH, TONGUED, &[(0.0, 600.0)], 600.0);
    let samples: Vec<f32> = note.samples[48_000..].iter().map(|s| *s as f32).collect();
    let off = cents(pitch_hz(&samples, RATE.hz(), hz), hz);
    println!("{off:+.2} cents in ten minutes");
    assert!(off.abs() < 1.0, "{off:+.2} cents");
}

#[test]
fn a_steady_note_wanders_by_no_more_than_its_noise() {
    let hz = voices()[2].frequency().hz();
    let note = play(
        row(5).steady(),
        2,
        USUAL_BREATH,
        TONGUED,
        &[(0.0, 12.0)],
        12.0,
    );
    let tone = note.part(2.0, 12.0).tone(hz, 12.0);
    let (pitch, level) = (spread(&tone.cents()), spread(&tone.level_db()));
    println!("steady: {pitch:.2} cents, {level:.3} dB");
    // The noise on the oscillation itself: 0.4 to 0.6 cents and 0.05 to 0.1 dB.
    assert!(pitch < 1.0 && level < 0.15, "{pitch} cents, {level} dB");
    assert!(cents(mean(&tone.hz), hz).abs() < 0.2);
}
