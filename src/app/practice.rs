//! A piece that plays along: where it is, what is to be sent when, what comes next and how it went. Plain data.
//!
//! [`Practising`] lays a [`Rehearsal`] on the bottles that sound. Its frames are those of the run; [`Clock`] says at which
//! frame of the sound card's stream the run begins. What is to be done is sent some time ahead with its frame, so that
//! neither the rate of frames nor a window that is held up is heard; every end is sent before its beginning, so
//! that nothing is left sounding.

use std::collections::HashMap;
use std::path::PathBuf;
use std::sync::Arc;

use super::derived::Shown;
use super::playing::Seat;
use crate::index::{PlayerIndex, PourIndex};
use crate::physics::resonance::Resonance;
use crate::plan::fit::usual_players;
use crate::plan::piece::{Keyed, Playing, play};
use crate::plan::practice::{BarTally, Deed, Place, Practice, Rehearsal, Strictness, Upcoming};
use crate::plan::programme::{Breath, Spoken, USUAL_BREATH};
use crate::score::Score;
use crate::synth::{Command, hand_blowing, hand_striking};
use crate::units::SampleRate;

/// What is due within this time is sent, s: a window that is held up for as long is not heard.
pub(super) const AHEAD_S: f64 = 0.6;
/// A click that is later than this is left out, s.
const LATE_CLICK_S: f64 = 0.03;
/// Notes are shown so long before they come, s.
pub(super) const SHOWN_S: f64 = 2.0;

/// What can be asked of the piece.
#[derive(Clone, Debug, PartialEq)]
pub enum PracticeAsk {
    /// Choose a file.
    Choose,
    /// Open this file.
    Open(PathBuf),
    /// No piece any more.
    Close,
    /// Go on from where it is.
    Start,
    /// Stop, at the beginning of the bar.
    Stop,
    /// A change of how it is run.
    Run(RunAsk),
}

/// A change of how the piece is run, or of where it is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum RunAsk {
    /// Back to the beginning.
    Rewind,
    /// To the beginning of a bar, counted from 1.
    Seek(u64),
    /// Percent of the written tempo, 25 to 150.
    Tempo(f64),
    /// The first bar and the last that are repeated.
    Loop(Option<(u64, u64)>),
    /// Bars counted in.
    CountIn(u32),
    /// Every beat is clicked.
    Click(bool),
    /// A pour of the set is left to who practises, or taken back.
    Mine(PourIndex, bool),
    /// The bottles of a player and no others; of nobody.
    Player(Option<PlayerIndex>),
}

impl From<RunAsk> for PracticeAsk {
    fn from(ask: RunAsk) -> Self {
        Self::Run(ask)
    }
}

/// When the run is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Clock {
    /// The stream's frame at the run's frame 0; may be before the stream.
    pub origin: i64,
    /// All before this frame of the run has been sent.
    pub sent_to: u64,
}

/// A note that comes or sounds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Coming {
    /// The pour of the set.
    pub pour: PourIndex,
    /// It begins in so long, s; below 0 it sounds.
    pub in_s: f32,
    /// It lasts so long, s.
    pub lasts_s: f32,
    /// It is left to who practises.
    pub mine: bool,
}

/// How a pass went.
#[derive(Clone, Debug, PartialEq)]
pub struct Passed {
    /// The round, from 0.
    pub round: u64,
    /// Bar by bar.
    pub bars: Vec<BarTally>,
}

/// What is sent, at its frame of the run.
pub(super) type Sent = (u64, Command);

/// The bottles that a piece is laid on, as they sound now.
#[derive(Clone, Copy)]
pub(super) struct OnBottles<'a> {
    /// For each pour of the set what it gives.
    pub(super) shown: &'a [Shown],
    /// For each pour its seat in the engine.
    pub(super) seats: &'a [Option<Seat>],
    /// Samples a second of the stream.
    pub(super) rate_hz: u32,
}

/// A bottle of the rehearsal in the engine.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Seated {
    seat: Seat,
    struck: bool,
}

/// What is judged next.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Judging {
    /// The round, from 0.
    round: u64,
    /// Its first bar that was whole.
    from_bar: u64,
}

/// A piece on the bottles of the set.
#[derive(Clone, Debug, PartialEq)]
pub struct Practising {
    /// Its file.
    pub path: PathBuf,
    /// The piece.
    pub score: Arc<Score>,
    /// How it is run, on the bottles that sound.
    pub rehearsal: Rehearsal,
    /// For each bottle of the rehearsal its pour in the set.
    pub pours: Vec<PourIndex>,
    /// The pours of each player's bottles: as few players as can do it.
    pub players: Vec<Vec<PourIndex>>,
    /// Where it is, as it is heard: frames of the run.
    pub at_frame: u64,
    /// Nothing while it stands.
    pub clock: Option<Clock>,
    /// What comes, while it runs.
    pub coming: Vec<Coming>,
    /// How the last pass went.
    pub passed: Option<Passed>,
    rate_hz: u32,
    /// For each bottle of the rehearsal where it is in the engine.
    seated: Vec<Seated>,
    /// What was played, by frames of the run.
    played: Vec<(u64, u8)>,
    judging: Judging,
}

impl Practising {
    /// A piece on the bottles that have a seat. `before` gives what is kept: how it is run, and whose bottles are whose.
    pub(super) fn new(
        path: PathBuf,
        score: Arc<Score>,
        on: OnBottles<'_>,
        before: Option<&Self>,
    ) -> Self {
        let (mut pours, mut seated, mut keyed) = (Vec::new(), Vec::new(), Vec::new());
        for (pour, (shown, seat)) in
            PourIndex::all(on.shown.len()).zip(on.shown.iter().zip(on.seats))
        {
            let (Ok(pitch), &Some(seat)) = (&shown.pitch, seat) else {
                continue;
            };
            let struck = shown.way.is_struck();
            let resonance = Resonance {
                frequency: pitch.frequency,
                quality: pitch.q,
            };
            pours.push(pour);
            seated.push(Seated { seat, struck });
            keyed.push(Keyed {
                key: shown.note.midi(),
                spoken: Spoken { resonance, struck },
            });
        }
        let run = before.map_or_else(Practice::default, |b| b.rehearsal.run());
        let rate = SampleRate::from_hz(f64::from(on.rate_hz));
        let mut rehearsal = Rehearsal::new(&score, &keyed, run, rate, USUAL_BREATH);
        for (place, pour) in PourIndex::each(&pours) {
            rehearsal.set_muted(place, before.is_some_and(|b| b.is_mine(*pour)));
        }
        let players = players(&score, &keyed, &bottle_of(&seated));
        let players = players
            .into_iter()
            .map(|own| own.iter().map(|&b| pours[b]).collect());
        Self {
            path,
            players: players.collect(),
            score,
            rehearsal,
            pours,
            at_frame: 0,
            clock: None,
            coming: Vec::new(),
            passed: before.and_then(|b| b.passed.clone()),
            rate_hz: on.rate_hz,
            seated,
            played: Vec::new(),
            judging: Judging::default(),
        }
    }

    /// Whether it runs.
    #[must_use]
    pub fn runs(&self) -> bool {
        self.clock.is_some()
    }

    /// Samples a second that its frames are counted in.
    #[must_use]
    pub fn rate_hz(&self) -> u32 {
        self.rate_hz
    }

    /// Where it is.
    #[must_use]
    pub fn place(&self) -> Place {
        self.rehearsal.place(self.at_frame)
    }

    /// Whether a bottle of the set is left to who practises.
    #[must_use]
    pub fn is_mine(&self, pour: PourIndex) -> bool {
        self.place_of(pour)
            .is_some_and(|place| self.rehearsal.muted()[place])
    }

    /// A pour of the set among those of the rehearsal.
    fn place_of(&self, pour: PourIndex) -> Option<PourIndex> {
        let place = self.pours.iter().position(|p| *p == pour);
        place.map(PourIndex::new)
    }

    /// Leaves a bottle to who practises, or takes it back.
    pub(super) fn set_mine(&mut self, pour: PourIndex, mine: bool) {
        if let Some(place) = self.place_of(pour) {
            self.rehearsal.set_muted(place, mine);
        }
    }

    /// The first bar that is run.
    #[must_use]
    pub fn first_bar(&self) -> u64 {
        self.rehearsal.run().looped.map_or(1, |(first, _)| first)
    }

    pub(super) fn frames(&self, seconds: f64) -> u64 {
        (seconds * f64::from(self.rate_hz)).round() as u64
    }

    /// Forgets what was played and judges from the bar on that is whole.
    pub(super) fn judge_from(&mut self, round: u64, bar: u64) {
        self.played.clear();
        self.judging = Judging {
            round,
            from_bar: bar,
        };
    }

    /// Runs it otherwise, from `frame` of the run as it is: gives the frame of the same place in the new run.
    pub(super) fn rerun(&mut self, run: Practice, frame: u64) -> u64 {
        let place = self.rehearsal.place(frame);
        let looped = run.looped != self.rehearsal.run().looped;
        let new = self.rehearsal.clone().with_run(run);
        let old = std::mem::replace(&mut self.rehearsal, new);
        let new = &self.rehearsal;
        if !looped {
            for (at, _) in &mut self.played {
                let place = old.place(*at);
                *at = new.frame_of(place.written_s, place.round);
            }
            // At the beginning there is all of the count-in, however long.
            return if frame == 0 {
                0
            } else {
                new.frame_of(place.written_s, place.round)
            };
        }
        let (first, last) = run.looped.unwrap_or((1, self.rehearsal.bar_count()));
        let inside = (first..=last).contains(&place.bar) && !place.counting_in;
        let to = if inside {
            new.frame_of(place.written_s, 0)
        } else {
            0
        };
        self.judge_from(0, if inside { place.bar + 1 } else { first });
        to
    }

    /// A note of the run as its bottle plays it: cut short by the next one of the same sliding bottle; nothing if another
    /// of that begins with it.
    fn cut(&self, note: Upcoming) -> Option<Upcoming> {
        let seat = self.seated[note.pour].seat;
        let mut stop_frame = note.stop_frame.max(note.start_frame + 1);
        if seat.place.is_some() {
            for other in self.rehearsal.upcoming(note.start_frame, stop_frame) {
                let same = self.seated[other.pour].seat.bottle == seat.bottle;
                if !same || other.muted || other.pour == note.pour {
                    continue;
                }
                if other.start_frame == note.start_frame && other.pour < note.pour {
                    return None;
                }
                if other.start_frame > note.start_frame {
                    stop_frame = stop_frame.min(other.start_frame);
                }
            }
        }
        Some(Upcoming { stop_frame, ..note })
    }

    /// The notes that sound at a frame and began before it.
    pub(super) fn sounding(&self, frame: u64) -> Vec<Upcoming> {
        let held = self.rehearsal.held_at(frame).into_iter();
        held.filter_map(|note| self.cut(note))
            .filter(|note| note.stop_frame > frame)
            .collect()
    }

    /// The notes that have been sent and may sound from a frame on: what the stream's reports do not tell yet may have
    /// begun.
    pub(super) fn sent_beyond(&self, frame: u64, sent_to: u64) -> Vec<Upcoming> {
        let notes = self.rehearsal.upcoming(frame, sent_to.max(frame + 1));
        let sent = |n: &Upcoming| !n.muted && n.start_frame < sent_to && n.stop_frame > frame;
        notes.into_iter().filter(sent).collect()
    }

    pub(super) fn release(&self, note: &Upcoming, at_frame: u64) -> Sent {
        let bottle = self.seated[note.pour].seat.bottle;
        (at_frame, Command::Release { bottle })
    }

    /// A note from a frame on: its end, then what begins it.
    pub(super) fn note(&self, note: &Upcoming, at_frame: u64) -> Vec<Sent> {
        let Seated { seat, struck } = self.seated[note.pour];
        let Seat { bottle, place } = seat;
        let mut sent = vec![self.release(note, note.stop_frame)];
        if let Some((rail, position)) = place {
            let position = position as f32;
            sent.push((at_frame, Command::Slide { rail, position }));
        }
        let breath = if struck {
            // The usual breath is a mallet at 1 m/s, as `audition` has it.
            hand_striking(note.over_threshold / USUAL_BREATH)
        } else {
            hand_blowing(note.over_threshold)
        };
        sent.push((at_frame, Command::Blow { bottle, breath }));
        sent
    }

    /// All that begins from a frame on and before another, and how it ends, when the run is at `now`: what is over by
    /// then is left out.
    pub(super) fn due(&self, from_frame: u64, to_frame: u64, now: u64) -> Vec<Sent> {
        let mut sent = Vec::new();
        for due in self.rehearsal.commands_between(from_frame, to_frame) {
            if let Deed::Click { first } = due.deed
                && due.at_frame + self.frames(LATE_CLICK_S) >= now
            {
                sent.push((due.at_frame, Command::Click { first }));
            }
        }
        let notes = self.rehearsal.upcoming(from_frame, to_frame).into_iter();
        let begins = |n: &Upcoming| !n.muted && (from_frame..to_frame).contains(&n.start_frame);
        for note in notes.filter(begins).filter_map(|note| self.cut(note)) {
            if note.stop_frame > now {
                sent.extend(self.note(&note, note.start_frame));
            }
        }
        sent
    }

    /// Looks what comes, from where it is.
    pub(super) fn look_ahead(&mut self) {
        let now = self.at_frame;
        let seconds = |frame: u64| ((frame as f64 - now as f64) / f64::from(self.rate_hz)) as f32;
        let notes = self.rehearsal.upcoming(now, now + self.frames(SHOWN_S));
        let coming = notes.iter().filter(|n| n.stop_frame > now).map(|n| Coming {
            pour: self.pours[n.pour],
            in_s: seconds(n.start_frame),
            lasts_s: seconds(n.stop_frame) - seconds(n.start_frame),
            mine: n.muted,
        });
        self.coming = coming.collect();
    }

    /// Somebody played a key at a frame of the run.
    pub(super) fn hear(&mut self, frame: u64, key: u8) {
        self.played.push((frame, key));
    }

    /// Judges the round that is over, once nothing played now could belong to it.
    pub(super) fn judge_rounds(&mut self) {
        let strictness = Strictness::default();
        let Judging { round, from_bar } = self.judging;
        let run = self.rehearsal.run();
        let end = match run.looped {
            None if round > 0 => return,
            None => self.rehearsal.length_frames(),
            Some((first, _)) => self.rehearsal.frame_of_bar(first, round + 1),
        };
        let reach = self.frames(strictness.reach_s / run.tempo());
        if end.is_some_and(|end| self.at_frame > end + reach) {
            self.pass(round, |bar| bar >= from_bar);
            let begins = self.rehearsal.frame_of_bar(self.first_bar(), round + 1);
            let begins = begins.unwrap_or(0).saturating_sub(reach);
            self.played.retain(|(at, _)| *at >= begins);
            self.judging = Judging {
                round: round + 1,
                from_bar: self.first_bar(),
            };
        }
    }

    /// Judges the whole bars of a run that is broken off.
    pub(super) fn judge_break(&mut self) {
        let place = self.place();
        let Judging { round, from_bar } = self.judging;
        if round > place.round {
            return;
        }
        if place.ended || round < place.round {
            self.pass(round, |bar| bar >= from_bar);
        } else if !place.counting_in {
            self.pass(round, |bar| (from_bar..place.bar).contains(&bar));
        }
    }

    fn pass(&mut self, round: u64, whole: impl Fn(u64) -> bool) {
        if !self.rehearsal.muted().contains(&true) {
            return;
        }
        let mut bars = self
            .rehearsal
            .tally(&self.played, round, Strictness::default());
        bars.retain(|tally| whole(tally.bar));
        if !bars.is_empty() {
            self.passed = Some(Passed { round, bars });
        }
    }
}

/// The fewest players that can play it, each with the bottles in hand; at the written tempo.
fn players(score: &Score, keyed: &[Keyed], bottle_of: &[PourIndex]) -> Vec<Vec<PourIndex>> {
    let played = play(score, "", keyed, &Playing::whole(USUAL_BREATH));
    let breaths: Vec<Breath> = played.programme.breaths().copied().collect();
    usual_players(&breaths, bottle_of)
}

/// For each note the first one on the same bottle.
fn bottle_of(seated: &[Seated]) -> Vec<PourIndex> {
    let mut firsts = HashMap::new();
    let first = |(place, seated): (PourIndex, &Seated)| {
        let first = firsts.entry(seated.seat.bottle).or_insert(place);
        *first
    };
    PourIndex::each(seated).map(first).collect()
}
