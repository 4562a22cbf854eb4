//! What runs in the sound card's callback, without a card: any callback size gives the same samples, a storm
//! through the queues allocates nothing, and what is full says so.
//!
//! The guard aborts the whole test process on the first allocation, so a failure there is a crash that names its size.

use std::time::Instant;

use assert_no_alloc::assert_no_alloc;
use ullage::index::BottleIndex;
use ullage::live::{COMMAND_ROOM, Install, Renderer, Retired, When};
use ullage::synth::{BlownVoice, Command, Engine, EngineSpec, PlayedBottle};
use ullage::units::{Frequency, Interval, Level, SampleRate};

use crate::common::dice::Dice;

const RATE_HZ: u32 = 48_000;
const BOTTLES: u16 = 12;

fn spec() -> EngineSpec {
    let player = |i: u16| PlayedBottle {
        bend_down: Interval::from_cents(80.0),
        bend_up: Interval::from_cents(30.0),
        ..PlayedBottle::new(
            BlownVoice::new(Frequency::from_hz(130.0 + 20.0 * f64::from(i)), 25.0).unwrap(),
            48 + i as u8,
        )
    };
    EngineSpec::new((0..BOTTLES).map(player).collect())
}

fn engine() -> Engine {
    Engine::new(&spec(), SampleRate::from_hz(f64::from(RATE_HZ))).unwrap()
}

struct Storm(Dice);

impl Storm {
    fn command(&mut self) -> Command {
        let bottle = BottleIndex::new(self.0.below(u64::from(BOTTLES) + 1) as usize);
        match self.0.below(10) {
            0..=3 => Command::Midi {
                bytes: [
                    0x80 + self.0.below(112) as u8,
                    self.0.below(128) as u8,
                    self.0.below(128) as u8,
                ],
            },
            4 | 5 => Command::Midi {
                bytes: [0x90, 48 + self.0.below(14) as u8, self.0.below(128) as u8],
            },
            6 => Command::Blow {
                bottle,
                breath: self.0.below(101) as f32 / 100.0,
            },
            7 => Command::Tune {
                bottle,
                frequency: Frequency::from_hz(100.0 + self.0.below(500) as f64),
                q: 20.0,
            },
            8 => Command::Level(Level::from_db(-(self.0.below(40) as f64))),
            _ if self.0.below(20) == 0 => Command::Silence,
            _ => Command::Release { bottle },
        }
    }

    /// Commands of a bit more than a second, at any frame.
    fn score(&mut self) -> Vec<(u64, Command)> {
        let mut score: Vec<_> = (0..300)
            .map(|_| (self.0.below(50_000), self.command()))
            .collect();
        score.sort_by_key(|(frame, _)| *frame);
        score
    }
}

/// Stereo, from one engine in one go.
fn long_render(score: &[(u64, Command)], frames: usize) -> Vec<f32> {
    fundsp::denormal::prevent_denormals();
    let mut engine = engine();
    for &(frame, command) in score {
        engine.push(frame, command).unwrap();
    }
    let (mut left, mut right) = (vec![0.0; frames], vec![0.0; frames]);
    engine.process(&mut left, &mut right);
    left.into_iter()
        .zip(right)
        .flat_map(|(l, r)| [l, r])
        .collect()
}

fn live_render(score: &[(u64, Command)], frames: usize, sizes: &[usize]) -> Vec<f32> {
    let (mut renderer, mut wires) = Renderer::wired(&spec(), RATE_HZ).unwrap();
    for &(frame, command) in score {
        assert!(wires.desk.send_at(When::Frame(frame), command));
    }
    let mut out = vec![0.0f32; 2 * frames];
    let (mut done, mut sizes) = (0, sizes.iter().cycle());
    while done < frames {
        let count = (*sizes.next().unwrap()).min(frames - done);
        renderer.fill(&mut out[2 * done..2 * (done + count)], 2);
        done += count;
    }
    out
}

#[test]
fn callbacks_of_any_size_give_what_one_long_render_gives_bit_for_bit() {
    let score = Storm(Dice(3)).score();
    let frames = 55_001;
    let expected = long_render(&score, frames);
    let loudest = expected.iter().fold(0.0f32, |most, s| most.max(s.abs()));
    assert!(loudest > 0.05, "the storm sounds: {loudest}");
    for sizes in [
        &[1][..],
        &[7],
        &[64],
        &[170],
        &[341],
        &[1365],
        &[1, 1365, 63, 64, 65, 170],
    ] {
        let heard = live_render(&score, frames, sizes);
        let same = expected
            .iter()
            .zip(&heard)
            .all(|(a, b)| a.to_bits() == b.to_bits());
        assert!(same, "callbacks of {sizes:?}");
    }
}

#[test]
fn one_channel_gets_the_mean_and_eight_get_two_and_silence_in_every_format() {
    let score = [(
        0,
        Command::Midi {
            bytes: [0x90, 50, 100],
        },
    )];
    let frames = 24_000;
    let stereo = live_render(&score, frames, &[256]);
    let fill = |channels: usize| {
        let (renderer, mut wires) = Renderer::wired(&spec(), RATE_HZ).unwrap();
        wires.desk.send_at(When::Frame(0), score[0].1);
        (renderer, vec![0.0f32; channels * frames])
    };
    let (mut renderer, mut mono) = fill(1);
    renderer.fill(&mut mono, 1);
    let mean = stereo
        .chunks(2)
        .zip(&mono)
        .all(|(s, m)| 0.5 * (s[0] + s[1]) == *m);
    assert!(mean, "mono is the mean");
    let (mut renderer, mut eight) = fill(8);
    renderer.fill(&mut eight, 8);
    let first_two = stereo
        .chunks(2)
        .zip(eight.chunks(8))
        .all(|(s, e)| s == &e[..2]);
    assert!(first_two && eight.chunks(8).all(|e| e[2..].iter().all(|s| *s == 0.0)));
    // Half a step of 16 bits: 1/65 536; and the middle of the unsigned range is silence.
    let (mut renderer, _) = fill(2);
    let mut signed = vec![0i16; 2 * frames];
    renderer.fill(&mut signed, 2);
    let off = |(s, i): (&f32, &i16)| (f64::from(*s) - f64::from(*i) / 32_768.0).abs();
    let worst = stereo.iter().zip(&signed).map(off).fold(0.0, f64::max);
    assert!(worst <= 1.0 / 32_768.0, "{worst}");
    let (mut renderer, _) = fill(2);
    let mut unsigned = vec![0u16; 2 * frames];
    renderer.fill(&mut unsigned, 2);
    let off = |(s, u): (&i16, &u16)| (i32::from(*s) + 32_768 - i32::from(*u)).abs();
    let worst = signed.iter().zip(&unsigned).map(off).max();
    assert!(worst <= Some(1), "{worst:?}");
    let (mut renderer, _) = fill(2);
    let mut wide = vec![0i32; 2 * frames];
    renderer.fill(&mut wide, 2);
    let off = |(s, i): (&f32, &i32)| (f64::from(*s) - f64::from(*i) / 2_147_483_648.0).abs();
    let worst = stereo.iter().zip(&wide).map(off).fold(0.0, f64::max);
    // A float of 24 bits near full scale is that coarse.
    assert!(worst <= 1.0 / 16_777_216.0, "{worst}");
}

#[test]
fn a_storm_through_every_queue_allocates_nothing() {
    let (mut renderer, mut wires) = Renderer::wired(&spec(), RATE_HZ).unwrap();
    let mut replacements: Vec<Box<Engine>> = (0..8).map(|_| Box::new(engine())).collect();
    let mut storm = Storm(Dice(5));
    let mut out = vec![0.0f32; 2 * 2048];
    let (mut loudest, mut sent, mut reports) = (0.0f32, 0u32, 0);
    // Room is made beforehand: what the callback gives up is dropped after the storm.
    let mut retired = Vec::with_capacity(16);
    assert_no_alloc(|| {
        for round in 0..1500 {
            for _ in 0..storm.0.below(12) {
                let command = storm.command();
                let port = storm.0.below(wires.midi.len() as u64) as usize;
                sent += u32::from(match storm.0.below(3) {
                    0 => wires.desk.send(command),
                    1 => wires.keys.send(command),
                    _ => wires.midi[port].send(command),
                });
            }
            if round % 150 == 149
                && let Some(engine) = replacements.pop()
            {
                assert!(wires.owner.installs.push(Install::Engine(engine)).is_ok());
            }
            let frames = 1 + storm.0.below(2048) as usize;
            renderer.fill(&mut out[..2 * frames], 2);
            loudest = out[..2 * frames]
                .iter()
                .fold(loudest, |most, s| most.max(s.abs()));
            while let Ok(back) = wires.owner.retired.pop() {
                retired.push(back);
            }
            while wires.reports.pop().is_ok() {
                reports += 1;
            }
        }
    });
    assert!(sent > 5000, "only {sent} commands went in");
    assert!(reports > 1000, "only {reports} reports came out");
    let engines = retired
        .iter()
        .filter(|r| matches!(r, Retired::Engine(_)))
        .count();
    assert_eq!(engines, 8, "every replaced engine came back");
    // The ceiling of −6 dBFS; two engines sound at once while one fades into the other.
    assert!(loudest > 0.05 && loudest <= 1.01, "{loudest}");
}

#[test]
fn a_full_queue_refuses_is_counted_and_is_empty_after_one_callback() {
    let (mut renderer, mut wires) = Renderer::wired(&spec(), RATE_HZ).unwrap();
    let blow = Command::Midi {
        bytes: [0x90, 50, 100],
    };
    let sent = (0..COMMAND_ROOM + 50)
        .filter(|_| wires.keys.send(blow))
        .count();
    assert_eq!(sent, COMMAND_ROOM);
    assert_eq!(wires.full.load(std::sync::atomic::Ordering::Relaxed), 50);
    renderer.fill(&mut [0.0f32; 2 * 64], 2);
    assert!(wires.keys.send(blow));
}

#[test]
fn a_command_that_is_sent_at_once_is_heard_from_the_next_block_on() {
    let (mut renderer, mut wires) = Renderer::wired(&spec(), RATE_HZ).unwrap();
    let mut out = vec![0.0f32; 2 * 4800];
    renderer.fill(&mut out, 2);
    assert!(
        out.iter().all(|s| *s == 0.0),
        "silence before the first note"
    );
    wires.midi[7].send_at(
        When::Now,
        Command::Midi {
            bytes: [0x90, 50, 127],
        },
    );
    renderer.fill(&mut out, 2);
    let first = out.chunks(2).position(|frame| frame[0] != 0.0).unwrap();
    // The block under way is 64 frames at most, and the ceiling looks 5 ms (240 frames) ahead.
    assert!(first <= 64 + 245, "first heard at frame {first}");
}

#[test]
fn notes_between_two_callbacks_keep_their_distance() {
    // Two notes that came 5 and 25 ms after a callback, in callbacks of 50 ms: 20 ms apart in the sound, not together. When
    // the renderer looked at the clock is known to lie between two looks of our own, however busy the machine is.
    let (mut renderer, mut wires) = Renderer::wired(&spec(), RATE_HZ).unwrap();
    let mut out = vec![0.0f32; 2 * 2400];
    let onset = |out: &[f32]| out.chunks(2).position(|frame| frame[0].abs() > 1e-6);
    let frames = |time: std::time::Duration| time.as_secs_f64() * f64::from(RATE_HZ);
    let mut note = |wait_ms| {
        let before = Instant::now();
        renderer.fill(&mut out, 2);
        let after = Instant::now();
        let came = after + std::time::Duration::from_millis(wait_ms);
        let bytes = [0x90, 50, 127];
        wires.midi[7].send_at(When::After(came), Command::Midi { bytes });
        renderer.fill(&mut out, 2);
        let heard = onset(&out);
        wires.keys.send_at(When::Now, Command::Silence);
        for _ in 0..20 {
            renderer.fill(&mut out, 2);
        }
        (heard, frames(came - after), frames(came - before))
    };
    // On a machine that stood still between two looks, the note may fall behind its callback: then once more.
    let in_time = |(_, least, most): &(_, f64, f64)| most - least < 960.0;
    let both = (0..100)
        .map(|_| [5, 25].map(&mut note))
        .find(|both| both.iter().all(in_time))
        .expect("the machine does not stand still for 20 ms a hundred times over");
    let [
        (Some(first), first_least, first_most),
        (Some(second), second_least, second_most),
    ] = both
    else {
        panic!("a note was not heard: {both:?}");
    };
    let apart = second as f64 - first as f64;
    let (least, most) = (second_least - first_most, second_most - first_least);
    // A frame of rounding either way for each.
    assert!(
        (least - 2.0..=most + 2.0).contains(&apart),
        "{apart} frames apart, expected {least} to {most}"
    );
}

#[test]
fn another_set_comes_in_without_a_click() {
    let (mut renderer, mut wires) = Renderer::wired(&spec(), RATE_HZ).unwrap();
    wires.desk.send(Command::Midi {
        bytes: [0x90, 50, 60],
    });
    let mut out = vec![0.0f32; 2 * 48_000];
    renderer.fill(&mut out, 2);
    let steepest = |out: &[f32]| {
        let left: Vec<f32> = out.chunks(2).map(|frame| frame[0]).collect();
        left.windows(2)
            .map(|pair| (pair[1] - pair[0]).abs())
            .fold(0.0, f32::max)
    };
    let playing = steepest(&out[48_000..]);
    assert!(playing > 0.0);
    assert!(
        wires
            .owner
            .installs
            .push(Install::Engine(Box::new(engine())))
            .is_ok()
    );
    renderer.fill(&mut out, 2);
    let swapping = steepest(&out);
    // A note that is turned off in 30 ms is never steeper than the note itself, but for its breath.
    assert!(swapping < 1.5 * playing, "{swapping} against {playing}");
    let tail = &out[2 * 4800..];
    assert!(tail.iter().all(|s| *s == 0.0), "the new set is silent");
    assert!(matches!(wires.owner.retired.pop(), Ok(Retired::Engine(_))));
}
