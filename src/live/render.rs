//! What runs in the sound card's callback: blocks of the engine, handed out in whatever size is asked for.
//!
//! Cards ask for 1, 170, 341 or 1365 frames, and change their minds while playing. The engine always runs in
//! blocks of 64, and a block not used up waits for the next callback; so the sound is the same for every card,
//! and commands take effect at the same places.

use std::f32::consts::PI;
use std::time::{Duration, Instant};

use cpal::{FromSample, SizedSample};

use super::bridge::{Inside, Install, Report, Retired, Timed, When, Wires, wires};
use super::recorder::Tap;
use crate::synth::{Command, Engine};

/// Frames of a block.
pub const BLOCK_FRAMES: usize = 64;
/// Time in which an engine that is replaced fades out, s.
const FADE_S: f64 = 0.030;
/// Time between reports, s.
const REPORT_S: f64 = 0.010;
/// A pause between callbacks after which the one before says nothing about time.
const LONG_AGO: Duration = Duration::from_millis(250);

/// An engine on its way out.
struct Leaving {
    engine: Box<Engine>,
    frame: usize,
}

/// A callback's start: the clock by which commands are placed.
#[derive(Clone, Copy)]
struct Tick {
    before: Option<Instant>,
    frame: u64,
    frames: u64,
}

/// The engine behind a card's callback.
///
/// Real time: no allocation, lock, wait or system call (the clock is read without one on the systems served);
/// cost is linear in the frames asked for.
///
/// ```no_run
/// use ullage::live::{Renderer, When};
/// use ullage::synth::{Command, EngineSpec};
/// let spec = EngineSpec::new(Vec::new());
/// let (mut renderer, mut wires) = Renderer::wired(&spec, 48_000)?;
/// wires.desk.send_at(When::Frame(4800), Command::AllOff);
/// let mut stereo = vec![0.0f32; 2 * 341];
/// renderer.fill(&mut stereo, 2);
/// # Ok::<(), ullage::synth::EngineError>(())
/// ```
pub struct Renderer {
    engine: Option<Box<Engine>>,
    /// The stream's frame at which the engine's own count began.
    engine_frame: u64,
    leaving: Option<Leaving>,
    tap: Option<Tap>,
    inside: Inside,
    block: [[f32; BLOCK_FRAMES]; 2],
    used: usize,
    /// Frames made, and frames handed out.
    made: u64,
    given: u64,
    rate_hz: u32,
    started: Option<Instant>,
    tick: Tick,
    load: f32,
    told: u64,
    swings: Vec<f32>,
}

impl Renderer {
    /// A renderer with the engine of `spec` at `rate_hz`, and the other ends of its queues. Allocates.
    ///
    /// # Errors
    /// A spec that no engine can be built of.
    pub fn wired(
        spec: &crate::synth::EngineSpec,
        rate_hz: u32,
    ) -> Result<(Self, Wires), crate::synth::EngineError> {
        let rate = crate::units::SampleRate::from_hz(f64::from(rate_hz));
        let engine = Engine::new(spec, rate)?;
        let (mut renderer, wires) = Self::empty(rate_hz);
        renderer.take_engine(Box::new(engine), rate_hz);
        Ok((renderer, wires))
    }

    /// A renderer without an engine: silent.
    pub(super) fn empty(rate_hz: u32) -> (Self, Wires) {
        let (inside, wires) = wires();
        let swings = vec![0.0; inside.gauges.bottles()];
        let renderer = Self {
            engine: None,
            engine_frame: 0,
            leaving: None,
            tap: None,
            inside,
            block: [[0.0; BLOCK_FRAMES]; 2],
            used: BLOCK_FRAMES,
            made: 0,
            given: 0,
            rate_hz,
            started: None,
            tick: Tick {
                before: None,
                frame: 0,
                frames: 0,
            },
            load: 0.0,
            told: 0,
            swings,
        };
        (renderer, wires)
    }

    /// Puts an engine in at once. For the owner, while no callback runs; frees the one before.
    pub(super) fn take_engine(&mut self, engine: Box<Engine>, rate_hz: u32) {
        self.engine_frame = self.made - engine.now_frames();
        self.engine = Some(engine);
        self.leaving = None;
        self.rate_hz = rate_hz;
    }

    /// The rate that it was made for, Hz.
    #[must_use]
    pub fn rate_hz(&self) -> u32 {
        self.rate_hz
    }

    pub(super) fn has_engine(&self) -> bool {
        self.engine.is_some()
    }

    /// Frames by which the engine makes everything late.
    pub(super) fn delay_frames(&self) -> usize {
        self.engine
            .as_ref()
            .map_or(0, |engine| engine.delay_frames())
    }

    /// Forgets when the last callback was: the stream begins anew.
    pub(super) fn rest(&mut self) {
        self.started = None;
    }

    /// What the sound system says about the time from the callback to the air.
    pub(super) fn show_delay(&self, delay: Duration) {
        let delay_us = delay.as_micros().min(u128::from(u64::MAX)) as u64;
        self.inside.gauges.show_delay_us(delay_us);
    }

    /// Fills `interleaved` for a card of `channels`: one gets the mean of left and right, more than two get
    /// left, right and silence.
    pub fn fill<T: SizedSample + FromSample<f32>>(
        &mut self,
        interleaved: &mut [T],
        channels: usize,
    ) {
        // The card's thread is not ours: whoever runs on it may have left this as they like.
        fundsp::denormal::prevent_denormals();
        let start = Instant::now();
        let channels = channels.max(1);
        let asked = interleaved.len() / channels;
        let frames = asked as u64;
        self.tick = Tick {
            before: self
                .started
                .filter(|&at| start.duration_since(at) < LONG_AGO),
            frame: self.given,
            frames,
        };
        self.started = Some(start);
        let made = self.made;
        let mut rest = interleaved;
        while rest.len() >= channels {
            if self.used == BLOCK_FRAMES {
                self.make_block();
            }
            let count = (BLOCK_FRAMES - self.used).min(rest.len() / channels);
            let (now, later) = rest.split_at_mut(count * channels);
            self.hand_out(now, channels);
            rest = later;
            self.used += count;
            self.given += count as u64;
        }
        // A card that asks for single frames gets 63 of them for nothing: a block's work counts over a block's time.
        let frames = frames.max(self.made - made).max(1);
        let time_s = frames as f64 / f64::from(self.rate_hz);
        self.load = self
            .load
            .max((start.elapsed().as_secs_f64() / time_s) as f32);
        self.inside.gauges.count_callback(asked);
    }

    fn hand_out<T: SizedSample + FromSample<f32>>(&self, out: &mut [T], channels: usize) {
        let [left, right] = &self.block;
        let sides = left[self.used..].iter().zip(&right[self.used..]);
        for (frame, (&left, &right)) in out.chunks_exact_mut(channels).zip(sides) {
            match frame {
                [mono] => *mono = T::from_sample(0.5 * (left + right)),
                [first, second, rest @ ..] => {
                    *first = T::from_sample(left);
                    *second = T::from_sample(right);
                    rest.fill(T::EQUILIBRIUM);
                }
                [] => {}
            }
        }
    }

    fn make_block(&mut self) {
        self.take_installs();
        self.take_commands();
        let [left, right] = &mut self.block;
        match &mut self.engine {
            Some(engine) => engine.process(left, right),
            None => {
                left.fill(0.0);
                right.fill(0.0);
            }
        }
        self.used = 0;
        self.made += BLOCK_FRAMES as u64;
        self.fade_out();
        if let Some(tap) = &mut self.tap {
            tap.hear(&self.block[0], &self.block[1]);
        }
        self.report();
    }

    fn take_installs(&mut self) {
        while let Ok(install) = self.inside.installs.peek() {
            // One fade at a time; and whatever is given up must find room, or be kept until it does.
            let swaps = matches!(install, Install::Engine(_) | Install::Nothing);
            if (swaps && self.leaving.is_some()) || self.inside.retired.is_full() {
                return;
            }
            match self.inside.installs.pop() {
                Ok(Install::Engine(engine)) => self.swap(Some(engine)),
                Ok(Install::Nothing) => self.swap(None),
                Ok(Install::Tap(tap)) => {
                    if let Some(old) = std::mem::replace(&mut self.tap, tap) {
                        let _ = self.inside.retired.push(Retired::Tap(old));
                    }
                }
                Ok(Install::Command(command)) => self.ask(When::Now, command),
                Err(_) => return,
            }
        }
    }

    fn swap(&mut self, engine: Option<Box<Engine>>) {
        let old = std::mem::replace(&mut self.engine, engine);
        self.engine_frame = self.made;
        self.leaving = old.map(|engine| Leaving { engine, frame: 0 });
    }

    fn take_commands(&mut self) {
        for source in 0..self.inside.sources.len() {
            while let Ok(Timed { when, command }) = self.inside.sources[source].pop() {
                self.ask(when, command);
            }
        }
    }

    fn ask(&mut self, when: When, command: Command) {
        let at = self.frame_of(when).saturating_sub(self.engine_frame);
        if let Some(engine) = &mut self.engine {
            // A full queue is counted by the engine; nobody here could do better.
            let _ = engine.push(at, command);
        }
    }

    /// The stream's frame of a time. What came between the last two callbacks is spread over this one as it came.
    fn frame_of(&self, when: When) -> u64 {
        match (when, self.tick.before) {
            (When::Now, _) | (When::After(_), None) => self.made,
            (When::Frame(frame), _) => frame,
            (When::After(at), Some(before)) => {
                let after_s = at.saturating_duration_since(before).as_secs_f64();
                let frames = (after_s * f64::from(self.rate_hz)) as u64;
                self.tick.frame + frames.min(self.tick.frames)
            }
        }
    }

    fn fade_out(&mut self) {
        let Some(leaving) = &mut self.leaving else {
            return;
        };
        let length = (FADE_S * f64::from(self.rate_hz)) as usize;
        if leaving.frame < length {
            let (mut left, mut right) = ([0.0; BLOCK_FRAMES], [0.0; BLOCK_FRAMES]);
            leaving.engine.process(&mut left, &mut right);
            for i in 0..BLOCK_FRAMES {
                let part = ((leaving.frame + i) as f32 / length as f32).min(1.0);
                let gain = 0.5 + 0.5 * (PI * part).cos();
                self.block[0][i] += gain * left[i];
                self.block[1][i] += gain * right[i];
            }
            leaving.frame += BLOCK_FRAMES;
        } else if !self.inside.retired.is_full()
            && let Some(left) = self.leaving.take()
        {
            let _ = self.inside.retired.push(Retired::Engine(left.engine));
        }
    }

    fn report(&mut self) {
        let every = (REPORT_S * f64::from(self.rate_hz)) as u64;
        if self.made - self.told < every || self.inside.reports.is_full() {
            return;
        }
        self.told = self.made;
        let mut report = Report {
            load: std::mem::take(&mut self.load),
            now_frames: self.made,
            ..Report::default()
        };
        if let Some(engine) = &mut self.engine {
            report.meters = engine.meters();
            let count = engine.bottle_count().min(self.swings.len());
            engine.swings(&mut self.swings[..count]);
            self.inside.gauges.show_swings(&self.swings[..count]);
        }
        let _ = self.inside.reports.push(report);
    }
}
