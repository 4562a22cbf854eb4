//! What is asked of the piece that plays along, and keeping its time.

use std::path::PathBuf;
use std::sync::Arc;
use std::time::Instant;

use super::files::Purpose;
use super::practice::{AHEAD_S, Clock, PracticeAsk, Practising, Sent};
use super::session::Session;
use super::state::Panel;
use crate::file::piece::{self, PieceOpenError};
use crate::live::{OutputState, When};
use crate::plan::practice::{MOST_COUNT_IN, Practice, Upcoming};
use crate::score::Score;
use crate::synth::Command;

/// What changes does so after this time, s: longer than what is known of the stream is old.
const LEAD_S: f64 = 0.03;

impl Session {
    /// Lays a piece on the set, in place of the one before.
    pub fn open_piece(&mut self, path: PathBuf, score: Score) {
        self.stop_practice();
        let set = (self.derived.bottles.as_slice(), self.voices.as_slice());
        let score = Arc::new(score);
        self.state.practice = Some(Practising::new(path, score, set, self.desk.rate_hz, None));
        self.state.panel = Panel::Practice;
    }

    /// Does what was asked of the piece.
    pub(super) fn practise(&mut self, ask: PracticeAsk) {
        match ask {
            PracticeAsk::Choose => return self.ask_for(Purpose::Piece),
            PracticeAsk::Open(path) => return self.read_piece(path),
            PracticeAsk::Close => {
                self.stop_practice();
                self.state.practice = None;
                return;
            }
            PracticeAsk::Toggle | PracticeAsk::Start | PracticeAsk::Stop => {
                let runs = (self.state.practice.as_ref()).is_some_and(|p| p.clock.is_some());
                match (ask, runs) {
                    (PracticeAsk::Start | PracticeAsk::Toggle, false) => self.start_practice(),
                    (PracticeAsk::Stop | PracticeAsk::Toggle, true) => self.stop_practice(),
                    _ => {}
                }
                return;
            }
            _ => {}
        }
        let Some(mut practice) = self.state.practice.take() else {
            return;
        };
        self.change(&mut practice, ask);
        self.state.practice = Some(practice);
    }

    fn read_piece(&mut self, path: PathBuf) {
        match piece::open(&path) {
            Ok(piece) => {
                let mut said = format!("opened {}", path.display());
                for remark in &piece.remarks {
                    said += &format!("\n{remark}");
                }
                self.say(said);
                self.open_piece(path, piece.score);
            }
            Err(error @ PieceOpenError::Broken { .. }) => self.complain(format!(
                "{error}; write the piece out again as a Standard MIDI File"
            )),
            Err(error @ PieceOpenError::Refused { .. }) => self.complain(format!(
                "{error}; a piece is a Standard MIDI File or MusicXML"
            )),
            Err(error @ PieceOpenError::Read { .. }) => self.complain(error.to_string()),
        }
    }

    /// Changes how it is run, wherever it is.
    fn change(&mut self, practice: &mut Practising, ask: PracticeAsk) {
        let turn = self.turn(practice);
        // Where it goes on, in frames of the run as it was and as it will be.
        let here = practice.clock.map_or(practice.at_frame, |clock| {
            (turn - clock.origin).max(0) as u64
        });
        let (held, flying) = match practice.clock {
            Some(clock) => {
                let flying = practice.sent_beyond(here, clock.sent_to);
                (practice.sounding(here), flying)
            }
            None => (Vec::new(), Vec::new()),
        };
        let there = match self.changed_run(practice, ask, here) {
            Ok(there) => there,
            Err(because) => return self.complain(because),
        };
        practice.at_frame = there;
        if practice.clock.is_none() {
            return;
        }
        let origin = turn - there as i64;
        let sent_to = there;
        practice.clock = Some(Clock { origin, sent_to });
        self.send_run(0, &[(turn.max(0) as u64, Command::Forget)]);
        let go_on = practice.sounding(there);
        let is_in = |list: &[Upcoming], bottle| list.iter().any(|note| note.bottle == bottle);
        let goes_on = |bottle| is_in(&held, bottle) && is_in(&go_on, bottle);
        let over = flying.iter().filter(|note| !goes_on(note.bottle));
        let mut sent: Vec<Sent> = over.map(|note| practice.release(note, there)).collect();
        for note in &go_on {
            if goes_on(note.bottle) {
                sent.push(practice.release(note, note.stop_frame));
            } else {
                sent.extend(practice.note(note, there));
            }
        }
        self.send_run(origin, &sent);
    }

    /// Changes the run, and gives the frame at which it goes on from the one where it is.
    fn changed_run(
        &self,
        practice: &mut Practising,
        ask: PracticeAsk,
        here: u64,
    ) -> Result<u64, String> {
        let run = practice.rehearsal.run();
        let bars = practice.rehearsal.bar_count();
        let other = |tempo_pct: f64, looped, count_in: u32| {
            let mut new = Practice::new(tempo_pct, looped, count_in, bars)
                .map_err(|error| error.to_string())?;
            new.click = run.click;
            Ok::<Practice, String>(new)
        };
        let (tempo_pct, looped, count_in) = (100.0 * run.tempo(), run.looped, run.count_in_bars);
        let new = match ask {
            PracticeAsk::Tempo(tempo_pct) => other(tempo_pct, looped, count_in)?,
            PracticeAsk::Loop(looped) => other(tempo_pct, looped, count_in)?,
            PracticeAsk::CountIn(bars) => other(tempo_pct, looped, bars.min(MOST_COUNT_IN))?,
            PracticeAsk::Click(click) => {
                let mut new = run;
                new.click = click;
                new
            }
            PracticeAsk::Rewind => {
                practice.judge_from(0, practice.first_bar());
                return Ok(0);
            }
            PracticeAsk::Seek(bar) => {
                let Some(frame) = practice.rehearsal.frame_of_bar(bar, 0) else {
                    return Err(format!("bar {bar} is not among those that are played"));
                };
                practice.judge_from(0, bar);
                return Ok(frame);
            }
            PracticeAsk::Mine(pour, mine) => {
                practice.set_mine(pour, mine);
                return Ok(here);
            }
            PracticeAsk::Player(player) => {
                let own = player.and_then(|p| practice.players.get(p).cloned());
                let own = own.unwrap_or_default();
                for pour in practice.pours.clone() {
                    practice.set_mine(pour, own.contains(&pour));
                }
                return Ok(here);
            }
            _ => return Ok(here),
        };
        Ok(practice.rerun(new, here))
    }

    fn start_practice(&mut self) {
        let Some(mut practice) = self.state.practice.take() else {
            return;
        };
        if practice.place().ended {
            practice.at_frame = 0;
        }
        let from = practice.at_frame;
        let place = practice.rehearsal.place(from);
        practice.judge_from(place.round, place.bar);
        let origin = self.turn(&practice) - from as i64;
        let sent_to = from;
        practice.clock = Some(Clock { origin, sent_to });
        for note in practice.sounding(from) {
            self.send_run(origin, &practice.note(&note, from));
        }
        self.state.practice = Some(practice);
        self.keep_time();
    }

    /// Stops at the beginning of the bar, and says how it went.
    pub(super) fn stop_practice(&mut self) {
        let Some(mut practice) = self.state.practice.take() else {
            return;
        };
        if let Some(clock) = practice.clock.take() {
            let turn = self.turn(&practice);
            let here = (turn - clock.origin).max(0) as u64;
            self.send_run(0, &[(turn.max(0) as u64, Command::Forget)]);
            for note in practice.sent_beyond(here, clock.sent_to) {
                self.send_run(clock.origin, &[practice.release(&note, here)]);
            }
            practice.judge_break();
            let place = practice.place();
            let bar = practice.rehearsal.frame_of_bar(place.bar, place.round);
            let begins = place.counting_in || place.ended || place.bar == practice.first_bar();
            practice.at_frame = if begins { 0 } else { bar.unwrap_or(0) };
            practice.coming.clear();
        }
        self.state.practice = Some(practice);
    }

    /// After the bottles have changed: the piece stands, on those that there are now.
    pub(super) fn repractise(&mut self) {
        self.stop_practice();
        let Some(before) = self.state.practice.take() else {
            return;
        };
        let set = (self.derived.bottles.as_slice(), self.voices.as_slice());
        let rate_hz = self.desk.rate_hz;
        let (path, score) = (before.path.clone(), Arc::clone(&before.score));
        self.state.practice = Some(Practising::new(path, score, set, rate_hz, Some(&before)));
    }

    /// The frame of the stream at which a change takes hold.
    fn turn(&self, practice: &Practising) -> i64 {
        let now = self.pace.frame_at(self.sound.clock_s());
        now + practice.frames(LEAD_S) as i64
    }

    fn send_run(&mut self, origin: i64, sent: &[Sent]) {
        for (frame, command) in sent {
            let frame = (origin + *frame as i64).max(0) as u64;
            self.sound.send_at(When::Frame(frame), *command);
        }
    }

    /// Sends what is due soon and looks where the run is; for every frame of the window, and between them while it is hidden.
    pub(super) fn keep_time(&mut self) {
        let clock_s = self.sound.clock_s();
        let (made, rate_hz) = (self.desk.now_frames, self.desk.rate_hz);
        self.pace.see(clock_s, made, rate_hz);
        self.last_look = Instant::now();
        if (self.state.practice.as_ref()).is_some_and(|p| p.rate_hz() != rate_hz) {
            return self.repractise();
        }
        let now = self.pace.frame_at(clock_s);
        let heard = now - self.latency_frames();
        let Some(practice) = &mut self.state.practice else {
            return;
        };
        let Some(clock) = practice.clock else { return };
        let run_now = (now - clock.origin).max(0) as u64;
        let to = (run_now + practice.frames(AHEAD_S)).max(clock.sent_to);
        let sent = practice.due(clock.sent_to, to, run_now);
        practice.clock = Some(Clock {
            sent_to: to,
            ..clock
        });
        practice.at_frame = (heard - clock.origin).max(0) as u64;
        practice.look_ahead();
        practice.judge_rounds();
        let length = practice.rehearsal.length_frames();
        let reach = practice.frames(0.5 / practice.rehearsal.run().tempo());
        let ended = length.is_some_and(|end| practice.at_frame > end + reach);
        self.send_run(clock.origin, &sent);
        if ended {
            self.stop_practice();
        }
    }

    /// Looks at the piece while no frame is drawn, since the window is hidden.
    pub fn keep_playing(&mut self) {
        let runs = (self.state.practice.as_ref()).is_some_and(|p| p.clock.is_some());
        if runs && self.last_look.elapsed().as_secs_f64() > 0.25 * AHEAD_S {
            self.desk = self.sound.poll().clone();
            self.keep_time();
        }
    }

    /// From a command to the ear, frames.
    fn latency_frames(&self) -> i64 {
        match &self.desk.output {
            OutputState::Playing { latency_ms, .. } => {
                (latency_ms / 1e3 * f64::from(self.desk.rate_hz)).round() as i64
            }
            _ => 0,
        }
    }

    /// A message of MIDI or of the keyboard came.
    pub(super) fn heard_key(&mut self, clock_s: f64, bytes: [u8; 3]) {
        let [status, key, velocity] = bytes;
        let listened = self.engine.channels & (1 << (status & 0x0f)) != 0;
        if status & 0xf0 == 0x90 && velocity > 0 && listened {
            self.heard_note(clock_s, key);
        }
    }

    /// Somebody plays a note, on a bottle or a keyboard.
    pub(super) fn heard_note(&mut self, clock_s: f64, key: u8) {
        let frame = self.pace.frame_at(clock_s) - self.latency_frames();
        if let Some(practice) = &mut self.state.practice
            && let Some(clock) = practice.clock
            && let Ok(frame) = u64::try_from(frame - clock.origin)
        {
            practice.hear(frame, key);
        }
    }

    /// The clock at an instant, s.
    pub(super) fn clock_at(&self, at: Instant) -> f64 {
        self.sound.clock_s() - at.elapsed().as_secs_f64()
    }
}
