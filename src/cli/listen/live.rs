//! Listening through a microphone: a line that follows what sounds, and one for each note that has ended.

use std::io::{IsTerminal, Write};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use clap::Args;
use serde::Serialize;

use super::blown::BlownReport;
use super::bottles::Bottles;
use super::pouring::Poured;
use super::round::{self, RoundTold};
use super::tapped::TappedReport;
use super::{ListenArgs, by_mallet, expected, pouring, pouring_live};
use crate::cli::Failure;
use crate::cli::print::say;
use crate::listen::HeardNote;
use crate::listen::strike;
use crate::listen::taps::Tap;
use crate::listen::together::together;
use crate::live::{DeviceWish, Ear, EarState, InputState};
use crate::set;
use crate::tuner::filling::{Filling, Step};
use crate::tuner::{HeardTone, Listening, Told, Tone, Verdict};

/// Rates that a card may be asked for, Hz.
const RATES_HZ: std::ops::RangeInclusive<u32> = 8_000..=192_000;
/// Callbacks that a card may be asked for, frames.
const BUFFERS_FRAMES: std::ops::RangeInclusive<u32> = 16..=8_192;
/// How often the microphone is looked at.
const LOOK: Duration = Duration::from_millis(20);
/// How often the line is drawn anew.
const REDRAW: Duration = Duration::from_millis(120);
/// The microphone.
#[derive(Clone, Debug, Default, Args)]
#[command(next_help_heading = "Microphone options")]
pub struct LiveOptions {
    /// Listen through the microphone until Ctrl-C; it is never opened without this
    #[arg(long, conflicts_with_all = ["file", "unknown"])]
    pub live: bool,
    /// The input, by its name or a part of it; see `ullage devices` [default: the system's]
    #[arg(long, value_name = "NAME", requires = "live")]
    pub input: Option<String>,
    /// The sound system, such as alsa or jack [default: the system's]
    #[arg(long, value_name = "NAME", requires = "live")]
    pub host: Option<String>,
    /// Samples a second [8000 to 192000; default: 48000 if the device has it]
    #[arg(long, value_name = "HZ", requires = "live")]
    pub rate_hz: Option<u32>,
    /// Frames a callback [16 to 8192; default: 256]
    #[arg(long, value_name = "N", requires = "live")]
    pub buffer_frames: Option<u32>,
    /// Stop after so many seconds
    #[arg(long, value_name = "S", requires = "live")]
    pub for_s: Option<f64>,
}

impl LiveOptions {
    fn wish(&self) -> DeviceWish {
        DeviceWish {
            host: self.host.clone(),
            device: self.input.clone(),
            rate_hz: self.rate_hz,
            buffer_frames: self.buffer_frames,
        }
    }

    pub(super) fn check(&self, args: &ListenArgs) -> Result<(), Failure> {
        let outside = |what: &str, value: String, range: &str| {
            let because = format!("{what} {value} is outside {range}");
            Err(Failure::bad("listen", because))
        };
        if let Some(hz) = self.rate_hz.filter(|hz| !RATES_HZ.contains(hz)) {
            return outside("--rate-hz", hz.to_string(), "8000 to 192000");
        }
        if let Some(n) = self.buffer_frames.filter(|n| !BUFFERS_FRAMES.contains(n)) {
            return outside("--buffer-frames", n.to_string(), "16 to 8192");
        }
        if self.live && args.keep && args.note.is_none() && args.bottle.is_none() {
            let because = "--keep with --live must know which bottle it is";
            return Err(Failure::bad("listen", because).or_try("add --note or --bottle"));
        }
        match self.for_s {
            Some(s) if !(0.0..=1e6).contains(&s) => {
                outside("--for-s", s.to_string(), "0 to 1000000")
            }
            _ => Ok(()),
        }
    }
}

/// The loop of the tuner, and what is told of it.
struct Session<'a> {
    args: &'a ListenArgs,
    bottles: Option<&'a Bottles>,
    round: Option<RoundTold>,
    listening: Listening,
    /// What sounds now, in a line.
    sounds: Option<String>,
    notes: Vec<HeardNote>,
    taps: Vec<Tap>,
    /// The pour that came before the notes, if it was followed.
    filling: Option<Filling>,
    screen: Screen,
}

/// Where the lines go. Standard output has the notes, standard error what becomes of the device.
struct Screen {
    is_terminal: bool,
    drawn: Option<Instant>,
    told: Option<InputState>,
    clipped: u64,
    lost: u64,
    dropouts: u32,
    /// Nobody reads any more.
    closed: bool,
}

/// The open microphone, until somebody stops it.
struct Microphone {
    ear: Ear,
    stop: Arc<AtomicBool>,
    start: Instant,
    limit_s: f64,
    samples: Vec<f32>,
}

impl Microphone {
    fn open(args: &ListenArgs) -> Result<Self, Failure> {
        let stop = Arc::new(AtomicBool::new(false));
        let asked = Arc::clone(&stop);
        ctrlc::set_handler(move || asked.store(true, Ordering::Relaxed))
            .map_err(|error| Failure::cannot("take Ctrl-C", error))?;
        let ear = Ear::start(args.live.wish())
            .map_err(|error| Failure::cannot("listen through a microphone", error))?;
        Ok(Self {
            ear,
            stop,
            start: Instant::now(),
            limit_s: args.live.for_s.unwrap_or(f64::INFINITY),
            samples: Vec::new(),
        })
    }

    /// It is still wanted.
    fn is_wanted(&self) -> bool {
        let runs_s = self.start.elapsed().as_secs_f64();
        !self.stop.load(Ordering::Relaxed) && runs_s < self.limit_s
    }

    /// Waits for a look, and takes what was heard meanwhile.
    fn look(&mut self, screen: &mut Screen) -> Result<EarState, Failure> {
        thread::sleep(LOOK);
        let state = self.read();
        if let InputState::Deaf {
            because,
            again: false,
        } = &state.state
        {
            screen.clear_line();
            return Err(
                Failure::cannot("listen through a microphone", because).or_try(
                    "run ullage devices to see which inputs there are, or record to a WAV file",
                ),
            );
        }
        screen.tell(&state);
        Ok(state)
    }

    fn read(&mut self) -> EarState {
        self.samples.clear();
        self.ear.read(&mut self.samples);
        self.ear.poll()
    }
}

pub(super) fn run(args: &ListenArgs, bottles: Option<&Bottles>) -> Result<(), Failure> {
    let mut microphone = Microphone::open(args)?;
    let session = Session::new(args, bottles)?;
    session.follow(&mut microphone)
}

/// Follows a pour, and then listens to the note that is blown.
pub(super) fn run_pouring(args: &ListenArgs, set: &Path) -> Result<(), Failure> {
    let poured = Poured::open(args, set)?;
    let bottles = Bottles::new(args, set::open(set)?)?;
    let mut microphone = Microphone::open(args)?;
    let mut session = Session::new(args, Some(&bottles))?;
    session.filling = follow_pour(args, &poured, &mut microphone, &mut session.screen)?;
    session.follow(&mut microphone)
}

/// Until the bottle is to be blown, or nobody wants to hear any more.
fn follow_pour(
    args: &ListenArgs,
    poured: &Poured,
    microphone: &mut Microphone,
    screen: &mut Screen,
) -> Result<Option<Filling>, Failure> {
    let how = args.pouring.how(args, true);
    let (mut following, mut told, mut said) = (None::<(u32, Filling)>, pouring::Told::new(), None);
    while microphone.is_wanted() && !screen.closed {
        let state = microphone.look(screen)?;
        let Some(rate) = microphone.ear.rate() else {
            continue;
        };
        // A stream that begins anew has lost what was poured meanwhile: so has what follows it.
        if following
            .as_ref()
            .is_none_or(|(stream, _)| *stream != state.stream)
        {
            following = Some((state.stream, poured.filling(&how, rate)?));
            told = pouring::Told::new();
        }
        let Some((_, filling)) = &mut following else {
            continue;
        };
        filling.hear_each(&microphone.samples, |now| told.take(now));
        let (step, Some(now)) = (filling.step(), filling.reading()) else {
            continue;
        };
        if said != Some(step) {
            said = Some(step);
            screen.say(args.json, &pouring_live::Said::new(step, now), step.words())?;
        }
        if screen.is_terminal && screen.is_due() {
            screen.redraw(&pouring_live::line(step, now));
        }
        if step == Step::Blow {
            break;
        }
    }
    screen.clear_line();
    if following.is_some() {
        let report = told.report(poured);
        screen.say(args.json, &report, report.text().trim_end())?;
    }
    told.write(args, poured, following.as_ref().map(|(_, filling)| filling))?;
    Ok(following.map(|(_, filling)| filling))
}

impl<'a> Session<'a> {
    fn new(args: &'a ListenArgs, bottles: Option<&'a Bottles>) -> Result<Self, Failure> {
        let round = match bottles {
            Some(bottles) if args.walk => Some(RoundTold::new(args, bottles)?),
            _ => None,
        };
        let mut listening = Listening::new(by_mallet(args, bottles), expected(args, bottles));
        if let (Some(bottles), None) = (bottles, &round) {
            // Nothing was heard yet that could be told anew.
            let _ = listening.listen_for(bottles.judge.clone());
        }
        Ok(Self {
            args,
            bottles,
            round,
            listening,
            sounds: None,
            notes: Vec::new(),
            taps: Vec::new(),
            filling: None,
            screen: Screen {
                is_terminal: std::io::stdout().is_terminal() && !args.json,
                drawn: None,
                told: None,
                clipped: 0,
                lost: 0,
                dropouts: 0,
                closed: false,
            },
        })
    }

    /// Listens until nobody wants it any more.
    fn follow(mut self, microphone: &mut Microphone) -> Result<(), Failure> {
        while microphone.is_wanted() {
            let state = microphone.look(&mut self.screen)?;
            self.take(&microphone.ear, &state, &microphone.samples)?;
            self.draw(&state);
            if self.screen.closed {
                break;
            }
        }
        // The note that sounds is still wanted.
        let state = microphone.read();
        self.take(&microphone.ear, &state, &microphone.samples)?;
        self.finish()
    }

    /// Listens to what the microphone had. A stream that begins, at a rate that may be another, is listened to anew.
    fn take(&mut self, ear: &Ear, state: &EarState, samples: &[f32]) -> Result<(), Failure> {
        let Some(rate) = ear.rate() else {
            return Ok(());
        };
        let told = self
            .listening
            .hear(rate, state.stream, samples)
            .map_err(|error| Failure::cannot("listen at this rate", error))?;
        self.tell(told)
    }

    fn tell(&mut self, told: Vec<Told>) -> Result<(), Failure> {
        for told in told {
            match told {
                Told::Heard(heard) if heard.sounds => {
                    self.sounds = self.line(&heard);
                }
                Told::Heard(heard) => {
                    let HeardTone { tone, verdict, .. } = *heard;
                    match tone {
                        Tone::Blown(note) => self.note(note, verdict.as_ref())?,
                        Tone::Tapped(tap) => self.tap(tap, verdict.as_ref())?,
                    }
                }
                Told::Silent | Told::Nothing => self.sounds = None,
                Told::Clock(_) => {}
            }
        }
        Ok(())
    }

    fn blown(&self, note: HeardNote, verdict: Option<&Verdict>) -> Result<BlownReport, Failure> {
        let blows = together(&[note]).expect("there is a note");
        match (self.bottles, verdict) {
            (Some(bottles), Some(verdict)) => {
                BlownReport::judged(self.args, bottles, verdict, &blows)
            }
            _ => BlownReport::of_blows(self.args, self.bottles, &blows, false),
        }
    }

    fn note(&mut self, note: HeardNote, verdict: Option<&Verdict>) -> Result<(), Failure> {
        self.sounds = None;
        if let Some(round) = &mut self.round {
            let Some(heard) = round.hear(&note)? else {
                return Ok(());
            };
            let next = round.awaited();
            self.screen.say(self.args.json, &heard, &heard.line())?;
            if !self.args.json {
                let words = next.map_or("all in tune".to_owned(), |n| format!("next: {n}"));
                self.screen.line(&words)?;
            }
            return Ok(());
        }
        let report = self.blown(note, verdict)?;
        self.screen.say(self.args.json, &report, &report.line())?;
        if let Some(mut filling) = self.filling.take() {
            let learnt = pouring_live::Learnt::new(&filling.blown(note.frequency));
            self.screen.say(self.args.json, &learnt, &learnt.line())?;
        }
        self.notes.push(note);
        Ok(())
    }

    fn tap(&mut self, tap: Tap, verdict: Option<&Verdict>) -> Result<(), Failure> {
        let Some(strike) = strike::together(std::slice::from_ref(&tap)) else {
            return Ok(());
        };
        let report = match (self.bottles, verdict) {
            (Some(bottles), Some(verdict)) => TappedReport::judged(bottles, verdict, &strike)?,
            // What is no bottle is passed over.
            _ if strike.note().is_none() => return Ok(()),
            _ => TappedReport::of_strike(self.args, self.bottles, &strike, false)?,
        };
        self.screen.say(self.args.json, &report, &report.line())?;
        self.taps.push(tap);
        Ok(())
    }

    /// What sounds, in a line, on a terminal; what cannot be judged has none.
    fn line(&self, heard: &HeardTone) -> Option<String> {
        let Tone::Blown(note) = heard.tone else {
            return None;
        };
        if !self.screen.is_terminal {
            return None;
        }
        let report = self.blown(note, heard.verdict.as_ref()).ok()?;
        Some(report.line())
    }

    /// Follows on a terminal what sounds now.
    fn draw(&mut self, state: &EarState) {
        if !self.screen.is_terminal || !self.screen.is_due() {
            return;
        }
        let level = format!("{:4.0} dB", state.level_db);
        let waits = || match self.round.as_ref().map(RoundTold::awaited) {
            Some(Some(note)) => format!("blow {note}"),
            Some(None) => "all in tune; Ctrl-C to end".to_owned(),
            None => "listening; Ctrl-C to end".to_owned(),
        };
        let told = self.sounds.clone().unwrap_or_else(waits);
        self.screen.redraw(&format!("{level} | {told}"));
    }

    fn finish(mut self) -> Result<(), Failure> {
        let told = self.listening.end();
        self.tell(told)?;
        self.screen.clear_line();
        if let Some(round) = &self.round {
            let summary = round.summary();
            let words = round::sum(&summary);
            return self.screen.say(
                self.args.json,
                &serde_json::json!({ "summary": summary }),
                words.trim_end(),
            );
        }
        if !self.args.keep || self.bottles.is_none() {
            return Ok(());
        }
        let nothing = || {
            let because = "nothing was heard";
            Failure::cannot("keep what was heard", because)
        };
        if by_mallet(self.args, self.bottles) {
            let strike = strike::together(&self.taps).ok_or_else(nothing)?;
            return TappedReport::of_strike(self.args, self.bottles, &strike, true)?
                .print(self.args);
        }
        let blows = together(&self.notes).ok_or_else(nothing)?;
        BlownReport::of_blows(self.args, self.bottles, &blows, true)?.print(self.args)
    }
}

impl Screen {
    /// One object, or one line.
    fn say(&mut self, json: bool, object: &impl Serialize, line: &str) -> Result<(), Failure> {
        if !json {
            return self.line(line);
        }
        let text =
            serde_json::to_string(object).map_err(|error| Failure::cannot("write JSON", error))?;
        self.line(&text)
    }

    fn line(&mut self, text: &str) -> Result<(), Failure> {
        self.clear_line();
        let mut out = std::io::stdout().lock();
        match writeln!(out, "{text}").and_then(|()| out.flush()) {
            Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => self.closed = true,
            Err(error) => return Err(Failure::cannot("print", error)),
            Ok(()) => {}
        }
        Ok(())
    }

    fn is_due(&self) -> bool {
        self.drawn.is_none_or(|at| at.elapsed() >= REDRAW)
    }

    fn redraw(&mut self, text: &str) {
        let mut out = std::io::stdout().lock();
        // A line that is not drawn is no reason to stop listening.
        let _ = write!(out, "\r\x1b[K{text}").and_then(|()| out.flush());
        self.drawn = Some(Instant::now());
    }

    fn clear_line(&mut self) {
        if self.is_terminal && self.drawn.take().is_some() {
            let mut out = std::io::stdout().lock();
            let _ = write!(out, "\r\x1b[K").and_then(|()| out.flush());
        }
    }

    /// What has become of the device, once.
    fn tell(&mut self, state: &EarState) {
        if self.told.as_ref() != Some(&state.state) {
            match &state.state {
                InputState::Opening => {}
                InputState::Listening {
                    host,
                    device,
                    rate_hz,
                    channels,
                    ..
                } => self.warn(&format!(
                    "listening: {device} ({host}), {rate_hz} Hz, {channels} channels"
                )),
                InputState::Deaf { because, .. } => self.warn(&format!("no sound: {because}")),
            }
            self.told = Some(state.state.clone());
        }
        if state.clipped > 0 && self.clipped == 0 {
            self.warn("too loud: the microphone is clipped; turn it down or go away from it");
        }
        if state.lost > self.lost {
            self.warn(&format!("{} frames lost", state.lost - self.lost));
        }
        if state.dropouts > self.dropouts {
            self.warn("the sound card was late: a gap in the sound");
        }
        (self.clipped, self.lost, self.dropouts) = (state.clipped, state.lost, state.dropouts);
    }

    fn warn(&mut self, text: &str) {
        self.clear_line();
        say!("{text}");
    }
}
