//! The loop of the tuner: sound in, as it comes; out of it what was heard, and what that says about a bottle.
//!
//! Has no thread and no microphone: whoever has sound pushes it in, and takes what is told.
//!
//! ```
//! use ullage::index::{BottleIndex, PourIndex};
//! use ullage::synth::{Attack, BlownBank, BlownVoice, Event, EventKind};
//! use ullage::tuner::{Judge, ListenFor, Listening, Meant, Told};
//! use ullage::units::SampleRate;
//!
//! // The lowest bottle of the demo set is blown for a second, and rings down.
//! let set = ullage::set::open("presets/quay/set.toml")?;
//! let note = set.sounded_pour(&set.pours[0])?.note();
//! let rate = SampleRate::from_hz(48_000.0);
//! let mut bank = BlownBank::new(&[BlownVoice::new(note.frequency, note.quality)?], rate, 2)?;
//! for (at_frames, kind) in [
//!     (0, EventKind::Blow { g: 2.5, attack: Attack::Natural }),
//!     (48_000, EventKind::Release),
//! ] {
//!     bank.push(Event { at_frames, bottle: BottleIndex::new(0), kind }).expect("the queue has room");
//! }
//! let (mut sound, mut right) = (vec![0.0; 72_000], vec![0.0; 72_000]);
//! bank.add_block(&mut sound, &mut right);
//! sound.resize(96_000, 0.0);
//!
//! let mut listening = Listening::new(false, Vec::new());
//! let first = Meant::Pours(vec![PourIndex::new(0)]);
//! let mut told = listening.listen_for(Judge::new(set, &ListenFor::new(first)).into());
//! told.extend(listening.hear(rate, 1, &sound)?);
//! let verdicts = told.iter().filter_map(|told| match told {
//!     Told::Heard(heard) if !heard.sounds => heard.verdict.as_ref(),
//!     _ => None,
//! });
//! for verdict in verdicts {
//!     println!("{}: {:+.1} cents, {}", verdict.note, verdict.off.cents(), verdict.to_do());
//!     // No breath is quite like another.
//!     assert!(verdict.off.cents().abs() < verdict.plus_minus.cents());
//! }
//! # assert!(told.iter().any(|told| matches!(told, Told::Heard(heard) if !heard.sounds)));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use std::sync::Arc;

use super::judge::Judge;
use super::verdict::{Reading, Verdict};
use crate::index::PourIndex;
use crate::listen::strike::together;
use crate::listen::taps::{Tap, TapListener};
use crate::listen::{HeardNote, ListenError, Listener};
use crate::units::{Duration, Frequency, SampleRate};

/// Softer than this is no tone worth a look, dB.
const SOFTEST_DB: f64 = -66.0;
/// What sounds is looked at so often, s.
const LOOK_S: f64 = 0.1;
/// A tap so much softer than the loudest of the last seconds is something else, dB, s.
const SOFTEST_TAP_DB: f64 = -15.0;
const LOUDEST_FOR_S: f64 = 5.0;
/// A pitch listened for that moves by less is still the same, cents.
const SAME_CENTS: f64 = 30.0;

/// What a bottle was heard by.
#[derive(Clone, Debug, PartialEq)]
pub enum Tone {
    /// Breath.
    Blown(HeardNote),
    /// A mallet.
    Tapped(Tap),
}

/// A tone, and what it says.
#[derive(Clone, Debug, PartialEq)]
pub struct HeardTone {
    /// The tone.
    pub tone: Tone,
    /// What it says of a bottle; nothing without a judge.
    pub verdict: Option<Verdict>,
    /// It sounds still.
    pub sounds: bool,
    /// It is not only judged anew, and was not told of while it sounded.
    pub is_new: bool,
    /// How much sound had been listened to.
    pub at: Duration,
}

/// What the loop has to say.
#[derive(Clone, Debug, PartialEq)]
pub enum Told {
    /// A tone.
    Heard(Box<HeardTone>),
    /// What sounded sounds no more.
    Silent,
    /// What was heard before is none of the bottles that are asked for now.
    Nothing,
    /// So much sound was listened to.
    Clock(Duration),
}

/// To breath or to a mallet.
#[derive(Debug)]
enum Ears {
    Blown(Box<Listener>),
    Tapped(Box<TapListener>),
}

/// Listens to sound as it comes.
#[derive(Debug)]
pub struct Listening {
    judge: Option<Arc<Judge>>,
    by_mallet: bool,
    expected: Vec<Frequency>,
    /// Those of a stream.
    ears: Option<(u32, Ears)>,
    /// What was heard last, and the pour that it was.
    last: Option<Last>,
    clock_s: f64,
    looked_s: f64,
    /// When the loudest tap of late was, s, and how loud, dB.
    loudest: Option<(f64, f64)>,
    told: Vec<Told>,
}

#[derive(Debug)]
struct Last {
    pour: Option<PourIndex>,
    tone: Tone,
    sounds: bool,
}

impl Listening {
    /// To taps or to breath, for the pitches that are expected, if any; without anybody who judges.
    #[must_use]
    pub fn new(by_mallet: bool, expected: Vec<Frequency>) -> Self {
        Self {
            judge: None,
            by_mallet,
            expected,
            ears: None,
            last: None,
            clock_s: 0.0,
            looked_s: 0.0,
            loudest: None,
            told: Vec::new(),
        }
    }

    /// Listens for what `judge` has from now on, and judges anew what was heard last.
    #[must_use]
    pub fn listen_for(&mut self, judge: Arc<Judge>) -> Vec<Told> {
        let expected = judge.expected();
        let is_near =
            |(a, b): (&Frequency, &Frequency)| a.interval_above(*b).cents().abs() < SAME_CENTS;
        let same = expected.len() == self.expected.len()
            && expected.iter().zip(&self.expected).all(is_near);
        let hears_taps = matches!(self.ears, Some((_, Ears::Tapped(_))));
        if !same || judge.by_mallet() != hears_taps {
            self.close();
            self.expected = expected;
        }
        self.by_mallet = judge.by_mallet();
        self.judge = Some(judge);
        if let Some(last) = self.last.take() {
            match self.judged(&last.tone) {
                Some(verdict) if verdict.pour == last.pour => {
                    self.tell(last.tone, Some(verdict), last.sounds, false);
                }
                Some(_) | None => self.told.push(Told::Nothing),
            }
        }
        self.take()
    }

    /// Takes the next samples, mono, full scale 1. A `stream` that is not the last one's begins anew, at a rate of its own.
    ///
    /// # Errors
    /// A rate at which nothing can be heard.
    pub fn hear(
        &mut self,
        rate: SampleRate,
        stream: u32,
        samples: &[f32],
    ) -> Result<Vec<Told>, ListenError> {
        if self.ears.as_ref().is_none_or(|(known, _)| *known != stream) {
            self.close();
            self.ears = Some((stream, self.open(rate)?));
        }
        let piece = (LOOK_S * rate.hz()) as usize;
        for piece in samples.chunks(piece.max(1)) {
            match &mut self.ears {
                Some((_, Ears::Blown(listener))) => listener.push(piece),
                Some((_, Ears::Tapped(listener))) => listener.push(piece),
                None => {}
            }
            self.clock_s += piece.len() as f64 / rate.hz();
            self.ended();
            self.now();
        }
        let clock = Duration::from_s(self.clock_s);
        self.told.push(Told::Clock(clock));
        Ok(self.take())
    }

    /// The stream has ended: what sounds still is told of.
    #[must_use]
    pub fn end(&mut self) -> Vec<Told> {
        self.close();
        self.take()
    }

    /// Forgets what was heard, and who judges it.
    pub fn forget(&mut self) {
        (self.ears, self.last, self.judge) = (None, None, None);
    }

    fn take(&mut self) -> Vec<Told> {
        std::mem::take(&mut self.told)
    }

    fn open(&self, rate: SampleRate) -> Result<Ears, ListenError> {
        Ok(if self.by_mallet {
            Ears::Tapped(Box::new(TapListener::new(rate)?))
        } else {
            Ears::Blown(Box::new(Listener::new(rate, &self.expected)?))
        })
    }

    /// The stream has ended, or something else is listened for.
    fn close(&mut self) {
        match &mut self.ears {
            Some((_, Ears::Blown(listener))) => listener.finish(),
            Some((_, Ears::Tapped(listener))) => listener.finish(),
            None => return,
        }
        self.ended();
        self.ears = None;
        self.silent();
    }

    fn judged(&self, tone: &Tone) -> Option<Verdict> {
        let judge = self.judge.as_ref()?;
        match tone {
            Tone::Blown(note) => judge.of_pitch(Reading::from(note)),
            Tone::Tapped(tap) => {
                let strike = together(std::slice::from_ref(tap))?;
                let verdict = judge.of_strike(&strike)?;
                let is_known = verdict
                    .recognised
                    .as_ref()
                    .is_some_and(|r| r.note.is_some());
                (is_known || strike.note().is_some()).then_some(verdict)
            }
        }
    }

    /// It is not much softer than what was tapped a moment ago.
    fn is_loud(&mut self, tap: &Tap) -> bool {
        let (now_s, db) = (self.clock_s, tap.loudness.db());
        let recent = self
            .loudest
            .filter(|(at_s, _)| now_s - at_s < LOUDEST_FOR_S);
        if recent.is_none_or(|(_, loudest_db)| db > loudest_db) {
            self.loudest = Some((now_s, db));
        }
        recent.is_none_or(|(_, loudest_db)| db >= loudest_db + SOFTEST_TAP_DB)
    }

    /// Judges and tells of `tone`, unless there is somebody who says that it is none of the bottles.
    fn heard(&mut self, tone: Tone, sounds: bool, is_new: bool) -> bool {
        let verdict = self.judged(&tone);
        let is_meant = verdict.is_some() || self.judge.is_none();
        if is_meant {
            self.tell(tone, verdict, sounds, is_new);
        }
        is_meant
    }

    fn tell(&mut self, tone: Tone, verdict: Option<Verdict>, sounds: bool, is_new: bool) {
        self.last = Some(Last {
            pour: verdict.as_ref().and_then(|verdict| verdict.pour),
            tone: tone.clone(),
            sounds,
        });
        let heard = HeardTone {
            tone,
            verdict,
            sounds,
            is_new,
            at: Duration::from_s(self.clock_s),
        };
        self.told.push(Told::Heard(Box::new(heard)));
    }

    /// Tells of what has ended.
    fn ended(&mut self) {
        let tones: Vec<Tone> = match &mut self.ears {
            Some((_, Ears::Blown(listener))) => {
                let notes = listener.heard().into_iter().filter(is_worth_it);
                notes.map(Tone::Blown).collect()
            }
            Some((_, Ears::Tapped(listener))) => {
                let taps = listener.heard();
                let loud = taps.into_iter().filter(|tap| self.is_loud(tap));
                loud.map(Tone::Tapped).collect()
            }
            None => Vec::new(),
        };
        for tone in tones {
            // What sounds has been told of already.
            let is_new = matches!(tone, Tone::Tapped(_));
            self.heard(tone, false, is_new);
        }
    }

    /// Tells of what sounds.
    fn now(&mut self) {
        if self.clock_s - self.looked_s < 0.99 * LOOK_S {
            return;
        }
        self.looked_s = self.clock_s;
        let now = match &self.ears {
            Some((_, Ears::Blown(listener))) => listener.now(),
            Some((_, Ears::Tapped(_))) | None => None,
        };
        let told = now
            .filter(is_worth_it)
            .is_some_and(|note| self.heard(Tone::Blown(note), true, true));
        if !told {
            self.silent();
        }
    }

    fn silent(&mut self) {
        if let Some(last) = self.last.as_mut().filter(|last| last.sounds) {
            last.sounds = false;
            self.told.push(Told::Silent);
        }
    }
}

fn is_worth_it(note: &HeardNote) -> bool {
    note.is_clear() && note.level.db() >= SOFTEST_DB
}
