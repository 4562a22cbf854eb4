//! Bottles of every kind in one row: blown and struck side by side under one number each.

use super::bank::Bank;
use super::blown_bank::BlownBank;
use super::blown_voice::{BlownVoice, HIGHEST_PART_OF_RATE, VoiceError, check_hz};
use super::event::{Event, EventKind};
use super::stereo;
use super::struck::StruckVoice;
use super::struck_bank::StruckBank;
use crate::units::{Frequency, SampleRate};

/// How a bottle sounds.
#[derive(Clone, Debug, PartialEq)]
pub enum BottleVoice {
    /// Its air, by breath.
    Blown(BlownVoice),
    /// Its wall, by a mallet.
    Struck(StruckVoice),
}

impl From<BlownVoice> for BottleVoice {
    fn from(spec: BlownVoice) -> Self {
        Self::Blown(spec)
    }
}

impl From<StruckVoice> for BottleVoice {
    fn from(voice: StruckVoice) -> Self {
        Self::Struck(voice)
    }
}

impl BottleVoice {
    /// The pitch of its note.
    #[must_use]
    pub fn frequency(&self) -> Frequency {
        match self {
            Self::Blown(spec) => spec.frequency(),
            Self::Struck(voice) => voice.frequency(),
        }
    }

    /// What of it goes to the left and to the right.
    pub(crate) fn sides(&self) -> [f32; 2] {
        let pan = match self {
            Self::Blown(spec) => spec.pan,
            Self::Struck(voice) => voice.pan,
        };
        stereo::sides(pan).map(|side| side as f32)
    }

    /// Whether a mallet makes it sound.
    #[must_use]
    pub fn is_struck(&self) -> bool {
        matches!(self, Self::Struck(_))
    }

    /// The same with its note elsewhere, as checked by the caller.
    pub(super) fn tuned_to(&self, frequency: Frequency, q: f64) -> Self {
        match self {
            Self::Blown(spec) => Self::Blown(spec.tuned_to(frequency, q)),
            Self::Struck(voice) => Self::Struck(voice.tuned_to(frequency, q)),
        }
    }
}

/// Blown and struck bottles, each event going where its bottle is.
///
/// Real time: no allocation, lock, wait or system call; cost is linear in the block and in the sounding bottles. Silent
/// bottles cost nothing. The same voices, seed and events give the same samples bit for bit, in blocks of any length; a row of
/// blown bottles alone gives those of a [`BlownBank`].
///
/// ```
/// use ullage::index::BottleIndex;
/// use ullage::synth::{Attack, BlownVoice, BottleVoice, Event, EventKind, RingingMode, Row, StruckVoice};
/// use ullage::units::{Frequency, SampleRate};
/// let blown = BlownVoice::new(Frequency::from_hz(196.0), 32.0)?;
/// let mode = RingingMode { frequency: Frequency::from_hz(2730.0), q: 900.0, level: 1.0 };
/// let voices = [BottleVoice::from(blown), StruckVoice::new(vec![mode])?.into()];
/// let mut row = Row::new(&voices, SampleRate::from_hz(48_000.0), 7)?;
/// let blow = EventKind::Blow { g: 2.5, attack: Attack::Natural };
/// row.push(Event { at_frames: 0, bottle: BottleIndex::new(0), kind: blow }).expect("room for one");
/// let strike = EventKind::Strike { speed: 1.0 };
/// row.push(Event { at_frames: 9_600, bottle: BottleIndex::new(1), kind: strike }).expect("room for one");
/// let (mut left, mut right) = (vec![0.0; 24_000], vec![0.0; 24_000]);
/// row.add_block(&mut left, &mut right);
/// assert_eq!(row.sounding_count(), 2);
/// # Ok::<(), ullage::synth::VoiceError>(())
/// ```
#[derive(Clone, Debug)]
pub struct Row {
    is_struck: Vec<bool>,
    /// Both banks have a place for every bottle, so that one number means one bottle; what is not theirs stays silent there.
    blown: BlownBank,
    struck: StruckBank,
}

impl Row {
    /// The bottles of `voices` at `rate` (8 to 768 kHz), silent, at frame 0. Allocates; not for the audio thread.
    ///
    /// # Errors
    /// A rate outside its range, or a bottle whose note is above 0.45 of it.
    pub fn new(voices: &[BottleVoice], rate: SampleRate, seed: u64) -> Result<Self, VoiceError> {
        let mut blown = Vec::with_capacity(voices.len());
        let mut struck = Vec::with_capacity(voices.len());
        for voice in voices {
            check_hz(voice.frequency().hz(), HIGHEST_PART_OF_RATE * rate.hz())?;
            match voice {
                BottleVoice::Blown(spec) => {
                    blown.push(spec.clone());
                    struck.push(None);
                }
                BottleVoice::Struck(voice) => {
                    blown.push(BlownVoice::new(Frequency::from_hz(440.0), 1.0)?);
                    struck.push(Some(voice));
                }
            }
        }
        Ok(Self {
            is_struck: voices.iter().map(BottleVoice::is_struck).collect(),
            blown: BlownBank::new(&blown, rate, seed)?,
            struck: StruckBank::new(&struck, rate, seed)?,
        })
    }

    /// The same row without anything that wanders or is thrown anew for each note: for samplers, and to measure pitch and tone.
    /// The breath noise stays. To be called before anything sounds.
    #[must_use]
    pub fn steady(self) -> Self {
        Self {
            blown: self.blown.steady(),
            struck: self.struck.steady(),
            ..self
        }
    }

    /// Makes room for `count` waiting events in all; a new row has room for 4,096 of each kind of bottle. Allocates.
    pub fn reserve_events(&mut self, count: usize) {
        self.blown.reserve_events(count);
        self.struck.reserve_events(count);
    }

    /// Leaves the row as `new` did: silent, at frame 0, nothing waiting, the same noise to come. Real time.
    pub fn reset(&mut self) {
        self.blown.reset();
        self.struck.reset();
    }

    /// Stops everything at once, wherever it is: breath, hands, ringing and what waits. Tuning and bends stay. Real time.
    ///
    /// What sounds is cut off: fade it out first.
    pub fn silence(&mut self) {
        self.blown.silence();
        self.struck.silence();
    }

    /// Writes how far each bottle's air or wall swings, 1 at full swing, as far as `out` reaches; 0 for silent ones. Real time.
    pub fn swings(&self, out: &mut [f32]) {
        self.blown.swings(out);
        self.struck.add_swings(out);
    }

    /// Lines an event up. `Blow` and `Release` pass struck bottles by, `Strike` and `Damp` blown ones. Real time.
    ///
    /// # Errors
    /// Hands the event back if the queue is full, there is no such bottle, or a number in it is out of its range.
    pub fn push(&mut self, event: Event) -> Result<(), Event> {
        match (self.is_struck.get(event.bottle.place()), event.kind) {
            (None, _) => Err(event),
            (Some(true), _) => self.struck.push(event),
            (Some(false), EventKind::Strike { .. } | EventKind::Damp { .. }) => {
                if event.is_sound() { Ok(()) } else { Err(event) }
            }
            (Some(false), _) => self.blown.push(event),
        }
    }

    /// The sample rate.
    #[must_use]
    pub fn rate(&self) -> SampleRate {
        self.blown.rate()
    }

    /// Frames made since `new` or `reset`.
    #[must_use]
    pub fn now_frames(&self) -> u64 {
        self.blown.now_frames()
    }

    /// Bottles in the row, sounding or not.
    #[must_use]
    pub fn bottle_count(&self) -> usize {
        self.is_struck.len()
    }

    /// Bottles that sound now, by breath or still ringing.
    #[must_use]
    pub fn sounding_count(&self) -> usize {
        self.blown.sounding_count() + self.struck.ringing_count()
    }

    /// Whether nothing sounds and nothing waits.
    #[must_use]
    pub fn is_silent(&self) -> bool {
        self.blown.is_silent() && self.struck.is_silent()
    }

    /// Adds the sound of all bottles to `left` and `right`; the shorter of the two says how many frames.
    pub fn add_block(&mut self, left: &mut [f32], right: &mut [f32]) {
        self.add_block_with_taps(left, right, &mut []);
    }

    /// As [`Row::add_block`], and adds each bottle alone, before it is placed, to its slice of `taps` (for stems).
    ///
    /// A bottle without a slice, or with one too short, is left out of the taps, not of the sum.
    pub fn add_block_with_taps(
        &mut self,
        left: &mut [f32],
        right: &mut [f32],
        taps: &mut [&mut [f32]],
    ) {
        self.blown.add_block_with_taps(left, right, taps);
        self.struck.add(left, right, taps);
    }
}
