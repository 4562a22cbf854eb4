//! The measuring half of `.ci/live_rig.sh`: what was recorded from a sound server, and how long a key takes.
//!
//! Ignored unless asked for: it needs a server that runs. The script starts one and sets the variables.

use std::process::Command;
use std::sync::mpsc;
use std::thread::sleep;
use std::time::{Duration, Instant};

use crate::common::measure::{cents, pitch_hz};
use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use ullage::file::wav::read_wav;

fn variable(name: &str) -> String {
    std::env::var(name).unwrap_or_else(|_| panic!("{name} is not set: run .ci/live_rig.sh"))
}

#[test]
#[ignore = "run by .ci/live_rig.sh"]
fn pitch_of_a_recording_is_the_planned_one() {
    let wav = read_wav(variable("RIG_WAV").as_ref()).unwrap();
    let rate_hz = wav.rate.hz();
    let planned_hz: f64 = variable("RIG_HZ").parse().unwrap();
    let sound = wav.mono();
    let onset = sound
        .iter()
        .position(|s| s.abs() > 0.005)
        .expect("something was heard");
    // The middle of the note: the attack is over after 0.3 s, and it is held for more than 2 s.
    let from = onset + (0.4 * rate_hz) as usize;
    let to = (from + (1.2 * rate_hz) as usize).min(sound.len());
    let held = &sound[from..to];
    assert!(
        held.len() as f64 > 0.8 * rate_hz,
        "only {} frames",
        held.len()
    );
    let gaps = held
        .windows(64)
        .step_by(64)
        .filter(|w| w.iter().all(|s| *s == 0.0))
        .count();
    let heard_hz = pitch_hz(held, rate_hz, planned_hz);
    let off_cents = cents(heard_hz, planned_hz);
    println!("heard {heard_hz:.3} Hz, {off_cents:+.2} cents off, {gaps} gaps");
    // What the program promises for its sound; the recording's 16 bits are far below that.
    assert!(off_cents.abs() < 2.0, "{off_cents} cents");
    assert_eq!(gaps, 0, "stretches of silence inside the note");
}

#[test]
#[ignore = "run by .ci/live_rig.sh"]
fn time_from_key_to_sample_is_two_periods_and_the_ceiling() {
    let host = cpal::host_from_id(cpal::HostId::Jack).unwrap();
    let device = host.default_input_device().unwrap();
    let config = cpal::StreamConfig {
        channels: 1,
        sample_rate: 48_000,
        buffer_size: cpal::BufferSize::Default,
    };
    let (heard, onsets) = mpsc::channel();
    let mut loud = false;
    let mut quiet_frames = 0;
    let stream = device
        .build_input_stream(
            config,
            move |samples: &[f32], _: &_| {
                let now = Instant::now();
                for (i, sample) in samples.iter().enumerate() {
                    if sample.abs() > 1e-4 {
                        quiet_frames = 0;
                        if !loud {
                            loud = true;
                            // The period's first sample was made one period ago at the earliest: the time of this
                            // callback is that of its first sample.
                            let at = now + Duration::from_secs_f64(i as f64 / 48_000.0);
                            let _ = heard.send(at);
                        }
                    } else {
                        quiet_frames += 1;
                        loud = loud && quiet_frames < 9600;
                    }
                }
            },
            |_| {},
            None,
        )
        .unwrap();
    stream.play().unwrap();
    let us = format!("cpal_client_{}_in:in_0", std::process::id());
    let connected = Command::new("jack_connect")
        .args([&variable("RIG_OUT"), &us])
        .status();
    assert!(connected.unwrap().success(), "{us}");
    let midi = midir::MidiOutput::new("rigkeys").unwrap();
    let wanted = variable("RIG_MIDI");
    let ports = midi.ports();
    let port = ports
        .iter()
        .find(|p| midi.port_name(p).is_ok_and(|name| name == wanted));
    let mut keys = midi.connect(port.unwrap(), "out").unwrap();
    sleep(Duration::from_millis(300));
    // Whoever played before may have gone in the middle of a note.
    keys.send(&[0xB0, 123, 0]).unwrap();
    let key: u8 = variable("RIG_KEY").parse().unwrap();
    let mut delays_ms = Vec::new();
    for round in 0..12u64 {
        sleep(Duration::from_millis(1500 + 7 * round));
        while onsets.try_recv().is_ok() {}
        let pressed = Instant::now();
        keys.send(&[0x90, key, 110]).unwrap();
        let onset = onsets.recv_timeout(Duration::from_secs(1)).unwrap();
        delays_ms.push(1000.0 * (onset - pressed).as_secs_f64());
        sleep(Duration::from_millis(200));
        keys.send(&[0x80, key, 0]).unwrap();
    }
    delays_ms.sort_by(f64::total_cmp);
    let (least, median, most) = (delays_ms[0], delays_ms[6], delays_ms[11]);
    println!("key to sample: median {median:.1} ms, {least:.1} to {most:.1} ms");
    // 10 ms and the card's own buffer of 256 frames (5.3 ms) out, and as much for the way in that the measuring adds.
    assert!(median < 10.0 + 2.0 * 5.34, "{median} ms");
}
