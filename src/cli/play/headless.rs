//! Playing without a window: what happens is told on standard error, a line for each thing that changes.

use std::io::{IsTerminal, Write};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use serde_json::json;

use super::super::Failure;
use super::PlayArgs;
use crate::cli::print::{print_json, say};
use crate::live::{Desk, DeskState, OutputState};
use crate::set::Set;
use crate::synth::{Command, EngineSpec};
use crate::tuning::NoteName;

/// Version of the JSON object.
const VERSION: u32 = 1;
/// How often the state is looked at.
const LOOK: Duration = Duration::from_millis(20);
/// How often the status line is drawn anew.
const REDRAW: Duration = Duration::from_millis(200);
/// Time for the bottles to ring down at the end.
const RING_DOWN: Duration = Duration::from_millis(1500);
/// Time that they get at least, so that the last reports are in.
const LEAST_RING_DOWN: Duration = Duration::from_millis(60);

/// What has been told, so that it is told once.
#[derive(Default)]
struct Told {
    output: Option<OutputState>,
    midi_because: Option<String>,
    ports: Vec<(String, bool)>,
    missing_count: u32,
    drawn: Option<Instant>,
    is_terminal: bool,
}

/// What adds up over a session.
#[derive(Default)]
struct Session {
    notes: u32,
    worst_load: f32,
    peak: f32,
    dropouts: u32,
    queue_full: u32,
    missing: u32,
    times_lost: u32,
    is_lost: bool,
    last_playing: Option<OutputState>,
}

pub(super) fn run(args: &PlayArgs, set: &Set, spec: EngineSpec) -> Result<(), Failure> {
    let stop = Arc::new(AtomicBool::new(false));
    let asked = Arc::clone(&stop);
    ctrlc::set_handler(move || asked.store(true, Ordering::Relaxed))
        .map_err(|error| Failure::cannot("take Ctrl-C", error))?;
    let notes: Vec<String> = set.pours.iter().map(|pour| pour.note.to_string()).collect();
    say!("{} bottles: {}", notes.len(), notes.join(" "));
    let mut desk = Desk::start(spec, args.output(), args.midi());
    let mut session = Session::default();
    let mut told = Told {
        is_terminal: std::io::stderr().is_terminal(),
        ..Told::default()
    };
    let start = Instant::now();
    let time_is_up = || {
        args.for_s
            .is_some_and(|s| start.elapsed().as_secs_f64() >= s)
    };
    while !stop.load(Ordering::Relaxed) && !time_is_up() {
        thread::sleep(LOOK);
        step(&mut desk, &mut session, &mut told);
    }
    desk.send(Command::AllOff);
    let end = Instant::now();
    while end.elapsed() < RING_DOWN {
        thread::sleep(LOOK);
        step(&mut desk, &mut session, &mut told);
        if end.elapsed() > LEAST_RING_DOWN && desk.poll().meters.sounding == 0 {
            break;
        }
    }
    drop(desk);
    told.clear_line();
    finish(args, &session, start.elapsed())
}

fn step(desk: &mut Desk, session: &mut Session, told: &mut Told) {
    let state = desk.poll();
    session.add(state);
    told.tell(state);
    desk.state_mut().heard.clear();
}

fn finish(args: &PlayArgs, session: &Session, time: Duration) -> Result<(), Failure> {
    if args.json {
        let playing = match &session.last_playing {
            Some(OutputState::Playing {
                host,
                device,
                rate_hz,
                buffer_frames,
                grown_from,
                latency_ms,
            }) => json!({
                "host": host, "device": device, "rate_hz": rate_hz,
                "buffer_frames": buffer_frames, "buffer_grown_from": grown_from,
                "latency_ms": latency_ms,
            }),
            _ => json!(null),
        };
        return print_json(&json!({
            "version": VERSION,
            "time_s": time.as_secs_f64(),
            "output": playing,
            "notes": session.notes,
            "missing": session.missing,
            "worst_load": session.worst_load,
            "peak": session.peak,
            "dropouts": session.dropouts,
            "queue_full": session.queue_full,
            "times_lost": session.times_lost,
        }));
    }
    say!(
        "played for {:.1} s: {} notes, {} dropouts, worst load {:.0} %",
        time.as_secs_f64(),
        session.notes,
        session.dropouts,
        100.0 * session.worst_load
    );
    Ok(())
}

impl Session {
    fn add(&mut self, state: &DeskState) {
        let is_note = |bytes: &[u8; 3]| bytes[0] & 0xF0 == 0x90 && bytes[2] > 0;
        self.notes += state
            .heard
            .iter()
            .filter(|(_, bytes)| is_note(bytes))
            .count() as u32;
        self.peak = self
            .peak
            .max(state.meters.peak_left)
            .max(state.meters.peak_right);
        (self.dropouts, self.queue_full) = (state.dropouts, state.queue_full);
        self.missing = state.meters.missing_count;
        match &state.output {
            OutputState::Playing { .. } => {
                self.worst_load = self.worst_load.max(state.load);
                self.last_playing = Some(state.output.clone());
            }
            OutputState::Silent { .. } if self.last_playing.is_some() && !self.is_lost => {
                self.times_lost += 1;
            }
            _ => {}
        }
        self.is_lost = match state.output {
            OutputState::Opening => self.is_lost,
            OutputState::Playing { .. } => false,
            OutputState::Silent { .. } => true,
        };
    }
}

impl Told {
    fn clear_line(&self) {
        if self.is_terminal && self.drawn.is_some() {
            let _ = write!(std::io::stderr(), "\r\x1b[K");
        }
    }

    fn line(&mut self, text: &str) {
        self.clear_line();
        say!("{text}");
        self.drawn = None;
    }

    fn tell(&mut self, state: &DeskState) {
        if self.output.as_ref() != Some(&state.output) {
            if let Some(text) = output_line(&state.output) {
                self.line(&text);
            }
            self.output = Some(state.output.clone());
        }
        if self.midi_because != state.midi_because {
            if let Some(because) = &state.midi_because {
                self.line(&format!("MIDI: {because}"));
            }
            self.midi_because.clone_from(&state.midi_because);
        }
        self.tell_ports(state);
        if state.meters.missing_count != self.missing_count {
            self.missing_count = state.meters.missing_count;
            if let Some(key) = state.meters.missing_key {
                self.line(&format!("no bottle for {}", NoteName::from_midi(key)));
            }
        }
        if self.is_terminal && self.drawn.is_none_or(|at| at.elapsed() >= REDRAW) {
            eprint!("\r\x1b[K{}", status(state));
            // A line that is not drawn is no reason to stop playing.
            let _ = std::io::stderr().flush();
            self.drawn = Some(Instant::now());
        }
    }

    fn tell_ports(&mut self, state: &DeskState) {
        for port in &state.midi {
            let now = (port.name.clone(), port.connected);
            let before = self.ports.iter().position(|(name, _)| *name == port.name);
            match before {
                Some(at) if self.ports[at] == now => continue,
                Some(at) => self.ports[at] = now,
                None if !port.connected => continue,
                None => self.ports.push(now),
            }
            let what = if port.connected {
                "listening to"
            } else {
                "gone:"
            };
            self.line(&format!("MIDI: {what} {}", port.name));
        }
    }
}

fn output_line(output: &OutputState) -> Option<String> {
    match output {
        OutputState::Opening => None,
        OutputState::Silent { because } => Some(format!("no sound: {because}")),
        OutputState::Playing {
            host,
            device,
            rate_hz,
            buffer_frames,
            grown_from,
            latency_ms,
        } => {
            let why = match grown_from {
                Some(from) => format!(" instead of {from}, since the sound broke up"),
                None => String::new(),
            };
            Some(format!(
                "sound: {device} ({host}), {rate_hz} Hz, {buffer_frames} frames a callback{why}, \
                 {latency_ms:.0} ms from key to ear"
            ))
        }
    }
}

fn status(state: &DeskState) -> String {
    let place = match &state.output {
        OutputState::Playing { device, .. } => device.as_str(),
        OutputState::Silent { .. } => "no sound",
        OutputState::Opening => "opening",
    };
    let place: String = place.chars().take(24).collect();
    format!(
        "{place} | load {:3.0} % | dropouts {} | sounding {}",
        100.0 * state.load,
        state.dropouts,
        state.meters.sounding
    )
}
