//! What is asked of the piece that plays along, and keeping its time.

use std::path::Path;
use std::sync::Arc;

use super::files::Purpose;
use super::practice::{AHEAD_S, Clock, OnBottles, PracticeAsk, Practising, RunAsk, Sent};
use super::session::Session;
use super::state::Panel;
use super::trouble::Trouble;
use crate::file::piece::{self, OpenedPiece};
use crate::plan::practice::{MOST_COUNT_IN, Practice, Upcoming};
use crate::plan::spelling::moved;
use crate::synth::Command;

/// What changes does so after this time, s: longer than what is known of the stream is old.
const LEAD_S: f64 = 0.03;

impl Session {
    /// Lays a piece on the set, in place of the one before, and says what of it is not played as written.
    pub fn open_piece(&mut self, piece: OpenedPiece) {
        self.say(said_of(&piece));
        self.stop_practice();
        let OpenedPiece { path, score, .. } = piece;
        let score = moved(&score, self.document().fixed.transpose);
        let practice = Practising::new(path, Arc::new(score), self.on_bottles(), None);
        self.state.practice = Some(practice);
        self.state.panel = Panel::Practice;
    }

    /// Does what was asked of the piece.
    pub(super) fn practise(&mut self, ask: PracticeAsk) {
        match ask {
            PracticeAsk::Choose => self.ask_for(Purpose::Piece),
            PracticeAsk::Open(path) => self.read_piece(&path),
            PracticeAsk::Close => {
                self.stop_practice();
                self.state.practice = None;
            }
            PracticeAsk::Start => {
                if !self.practice_runs() {
                    self.start_practice();
                }
            }
            PracticeAsk::Stop => self.stop_practice(),
            PracticeAsk::Run(ask) => {
                if let Some(mut practice) = self.state.practice.take() {
                    self.change(&mut practice, ask);
                    self.state.practice = Some(practice);
                }
            }
        }
    }

    /// Whether a piece runs.
    pub(super) fn practice_runs(&self) -> bool {
        self.state.practice.as_ref().is_some_and(Practising::runs)
    }

    fn read_piece(&mut self, path: &Path) {
        match piece::open(path) {
            Ok(piece) => self.open_piece(piece),
            Err(error) => self.complain(Trouble::from(error)),
        }
    }

    /// Changes how it is run, wherever it is.
    fn change(&mut self, practice: &mut Practising, ask: RunAsk) {
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
        let there = match changed_run(practice, ask, here) {
            Ok(there) => there,
            Err(trouble) => return self.complain(trouble),
        };
        practice.at_frame = there;
        if practice.clock.is_none() {
            return;
        }
        let origin = turn - there as i64;
        let sent_to = there;
        practice.clock = Some(Clock { origin, sent_to });
        self.playing
            .send_run(0, &[(turn.max(0) as u64, Command::Forget)]);
        let go_on = practice.sounding(there);
        let is_in = |list: &[Upcoming], bottle| list.iter().any(|note| note.pour == bottle);
        let goes_on = |bottle| is_in(&held, bottle) && is_in(&go_on, bottle);
        let over = flying.iter().filter(|note| !goes_on(note.pour));
        let mut sent: Vec<Sent> = over.map(|note| practice.release(note, there)).collect();
        for note in &go_on {
            if goes_on(note.pour) {
                sent.push(practice.release(note, note.stop_frame));
            } else {
                sent.extend(practice.note(note, there));
            }
        }
        self.playing.send_run(origin, &sent);
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
            self.playing.send_run(origin, &practice.note(&note, from));
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
            self.playing
                .send_run(0, &[(turn.max(0) as u64, Command::Forget)]);
            for note in practice.sent_beyond(here, clock.sent_to) {
                self.playing
                    .send_run(clock.origin, &[practice.release(&note, here)]);
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
        let (path, score) = (before.path.clone(), Arc::clone(&before.score));
        let practice = Practising::new(path, score, self.on_bottles(), Some(&before));
        self.state.practice = Some(practice);
    }

    fn on_bottles(&self) -> OnBottles<'_> {
        OnBottles {
            shown: &self.editing.derived.bottles,
            seats: &self.playing.seats,
            rate_hz: self.desk().rate_hz,
        }
    }

    /// The frame of the stream at which a change takes hold.
    fn turn(&self, practice: &Practising) -> i64 {
        let now = self.playing.made_frame(self.playing.sound.clock_s());
        now + practice.frames(LEAD_S) as i64
    }

    /// Sends what is due soon and looks where the run is; for every frame of the window, and between them while it is hidden.
    pub(super) fn keep_time(&mut self) {
        let clock_s = self.playing.keep_pace();
        let rate_hz = self.desk().rate_hz;
        if (self.state.practice.as_ref()).is_some_and(|p| p.rate_hz() != rate_hz) {
            return self.repractise();
        }
        let now = self.playing.made_frame(clock_s);
        let heard = self.playing.heard_frame(clock_s);
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
        for note in practice.coming.iter().filter(|note| note.in_s <= 0.0) {
            self.playing.now_plays(note.pour);
        }
        practice.judge_rounds();
        let length = practice.rehearsal.length_frames();
        let reach = practice.frames(0.5 / practice.rehearsal.run().tempo());
        let ended = length.is_some_and(|end| practice.at_frame > end + reach);
        self.playing.send_run(clock.origin, &sent);
        if ended {
            self.stop_practice();
        }
    }

    /// Looks at the piece while no frame is drawn, since the window is hidden.
    pub fn keep_playing(&mut self) {
        if self.practice_runs() && self.playing.unseen_s() > 0.25 * AHEAD_S {
            self.playing.poll();
            self.keep_time();
        }
    }

    /// A message of MIDI or of the keyboard came.
    pub(super) fn heard_key(&mut self, clock_s: f64, bytes: [u8; 3]) {
        let [status, key, velocity] = bytes;
        if status & 0xf0 == 0x90 && velocity > 0 && self.playing.listens_to(status) {
            self.heard_note(clock_s, key);
        }
    }

    /// Somebody plays a note, on a bottle or a keyboard.
    pub(super) fn heard_note(&mut self, clock_s: f64, key: u8) {
        self.playing.now_plays_key(&self.editing.derived, key);
        let frame = self.playing.heard_frame(clock_s);
        if let Some(practice) = &mut self.state.practice
            && let Some(clock) = practice.clock
            && let Ok(frame) = u64::try_from(frame - clock.origin)
        {
            practice.hear(frame, key);
        }
    }
}

/// That a piece was opened, and what of it is not played as written.
fn said_of(piece: &OpenedPiece) -> String {
    let mut said = format!("opened {}", piece.path.display());
    if let Some(error) = &piece.broken {
        let there = piece.readable();
        said += &format!("\nit is broken and not whole: {error}\ngoing on with {there}");
    }
    for remark in &piece.remarks {
        said += &format!("\n{remark}");
    }
    said
}

/// Changes the run, and gives the frame at which it goes on from the one where it is.
///
/// # Errors
/// A run that cannot be; nothing has changed then.
fn changed_run(practice: &mut Practising, ask: RunAsk, here: u64) -> Result<u64, Trouble> {
    let run = practice.rehearsal.run();
    let bars = practice.rehearsal.bar_count();
    let other = |tempo_pct: f64, looped, count_in: u32| {
        let mut new = Practice::new(tempo_pct, looped, count_in, bars)
            .map_err(|error| Trouble::cannot("run the piece like this", error))?;
        new.click = run.click;
        Ok::<Practice, Trouble>(new)
    };
    let (tempo_pct, looped, count_in) = (100.0 * run.tempo(), run.looped, run.count_in_bars);
    let new = match ask {
        RunAsk::Tempo(tempo_pct) => other(tempo_pct, looped, count_in)?,
        RunAsk::Loop(looped) => other(tempo_pct, looped, count_in)?,
        RunAsk::CountIn(bars) => other(tempo_pct, looped, bars.min(MOST_COUNT_IN))?,
        RunAsk::Click(click) => {
            let mut new = run;
            new.click = click;
            new
        }
        RunAsk::Rewind => {
            practice.judge_from(0, practice.first_bar());
            return Ok(0);
        }
        RunAsk::Seek(bar) => {
            let frame = practice.rehearsal.frame_of_bar(bar, 0).ok_or_else(|| {
                let what = format!("go to bar {bar}");
                Trouble::cannot(what, "it is not among those that are played")
                    .or_try("choose another loop, or none")
            })?;
            practice.judge_from(0, bar);
            return Ok(frame);
        }
        RunAsk::Mine(pour, mine) => {
            practice.set_mine(pour, mine);
            return Ok(here);
        }
        RunAsk::Player(player) => {
            let own = player.and_then(|p| practice.players.get(p.place()).cloned());
            let own = own.unwrap_or_default();
            for pour in practice.pours.clone() {
                practice.set_mine(pour, own.contains(&pour));
            }
            return Ok(here);
        }
    };
    Ok(practice.rerun(new, here))
}
