//! A sound server that a script has started, and what is heard of it.

use std::process::Command;
use std::sync::mpsc;
use std::thread::sleep;
use std::time::{Duration, Instant};

use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use ullage::file::wav::read_wav;

/// What the script that runs this test has set.
pub fn variable(name: &str) -> String {
    std::env::var(name)
        .unwrap_or_else(|_| panic!("{name} is not set: run .ci/live_rig.sh or .ci/window_rig.sh"))
}

/// A note that the script recorded.
pub struct Recording {
    pub sound: Vec<f32>,
    pub rate_hz: f64,
    pub planned_hz: f64,
    /// Where the note begins, frames.
    pub onset: usize,
}

pub fn recording() -> Recording {
    let wav = read_wav(variable("RIG_WAV").as_ref()).unwrap();
    let sound = wav.mono();
    let begins = sound.iter().position(|s| s.abs() > 0.005);
    Recording {
        onset: begins.expect("something was heard"),
        sound,
        rate_hz: wav.rate.hz(),
        planned_hz: variable("RIG_HZ").parse().unwrap(),
    }
}

/// Listens to the port `RIG_OUT`.
pub struct Ear {
    onsets: mpsc::Receiver<Instant>,
    _stream: cpal::Stream,
}

impl Ear {
    pub fn new() -> Self {
        let host = cpal::host_from_id(cpal::HostId::Jack).unwrap();
        let device = host.default_input_device().unwrap();
        let config = cpal::StreamConfig {
            channels: 1,
            sample_rate: 48_000,
            buffer_size: cpal::BufferSize::Default,
        };
        let (heard, onsets) = mpsc::channel();
        let (mut loud, mut quiet_frames) = (false, 0);
        let listen = move |samples: &[f32], _: &_| {
            let now = Instant::now();
            for (i, sample) in samples.iter().enumerate() {
                if sample.abs() > 1e-4 {
                    quiet_frames = 0;
                    if !loud {
                        loud = true;
                        // The period's first sample was made one period ago at the earliest: the time of this
                        // callback is that of its first sample.
                        let _ = heard.send(now + Duration::from_secs_f64(i as f64 / 48_000.0));
                    }
                } else {
                    quiet_frames += 1;
                    loud = loud && quiet_frames < 9600;
                }
            }
        };
        let stream = device
            .build_input_stream(config, listen, |_| {}, None)
            .unwrap();
        stream.play().unwrap();
        let us = format!("cpal_client_{}_in:in_0", std::process::id());
        let connected = Command::new("jack_connect")
            .args([&variable("RIG_OUT"), &us])
            .status();
        assert!(connected.unwrap().success(), "{us}");
        Self {
            onsets,
            _stream: stream,
        }
    }

    /// Presses a key twelve times; milliseconds until it is heard, the least first. Each must come within `most`.
    pub fn delays_ms(&self, most: Duration, mut key: impl FnMut(Key)) -> Vec<f64> {
        let mut delays_ms = Vec::new();
        for round in 0..12u64 {
            sleep(Duration::from_millis(1500 + 7 * round));
            while self.onsets.try_recv().is_ok() {}
            let pressed = Instant::now();
            key(Key::Down);
            let onset = self.onsets.recv_timeout(most).unwrap();
            delays_ms.push(1000.0 * (onset - pressed).as_secs_f64());
            sleep(Duration::from_millis(200));
            key(Key::Up);
        }
        delays_ms.sort_by(f64::total_cmp);
        delays_ms
    }
}

pub enum Key {
    Down,
    Up,
}
