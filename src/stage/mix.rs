//! From a performance to blocks of samples: everybody together, or some of them alone.

use std::sync::mpsc::{Receiver, sync_channel};

use super::convolved::Convolved;
use super::error::RenderError;
use super::performance::Performance;
use super::schedule::Script;
use super::spec::RenderSpec;
use super::voices::Cast;
use crate::file::wav::WavFormat;
use crate::index::PourIndex;
use crate::plan::piece::Other;
use crate::synth::{BottleVoice, Click, PlainNote, PlainTones, Room, RoomError, RoomSpec, Row};
use crate::tuning::NoteName;
use crate::units::SampleRate;

/// Frames handed on at a time.
const BLOCK_FRAMES: usize = 1_024;
/// Frames made at a time without a room.
const STRETCH_FRAMES: usize = 8_192;
/// Stretches that may wait between one thread and the next.
const AHEAD: usize = 2;
/// Silence after the last ring-down, s; in a room as long as its walls ring, and this.
const TAIL_S: f64 = 0.6;

/// What the mix and the stems are made of.
pub(super) struct Mix<'a> {
    pub(super) cast: Cast<'a>,
    pub(super) performance: &'a Performance,
    pub(super) spec: &'a RenderSpec,
    pub(super) format: WavFormat,
    pub(super) frames: usize,
    voices: Vec<BottleVoice>,
}

impl<'a> Mix<'a> {
    /// Voices everybody, and sees whether all of it can be rendered.
    ///
    /// # Errors
    /// A value out of range, a bottle that no voice reaches, or one that is not on the stage.
    pub(super) fn new(
        cast: Cast<'a>,
        performance: &'a Performance,
        spec: &'a RenderSpec,
    ) -> Result<Self, RenderError> {
        spec.check()?;
        all_on_stage(performance, cast.rails.voice_of.len())?;
        let voices = cast.voices(spec.balance, spec.rate)?;
        let format = WavFormat {
            bits: spec.bits,
            ..WavFormat::stereo(spec.rate)
        };
        let walls = spec.room.and_then(|room| room.walls);
        let tail_s = TAIL_S + walls.map_or(0.0, |walls| walls.decay.s());
        Ok(Self {
            frames: ((performance.end_s() + tail_s) * spec.rate.hz()).ceil() as usize,
            cast,
            performance,
            spec,
            format,
            voices,
        })
    }

    /// Everything at once, in the room.
    pub(super) fn everything(&self) -> Result<Source, RenderError> {
        let room = self.spec.room.map(|room| Around::new(room, self.spec.rate));
        let room = room.transpose()?;
        Ok(Source {
            row: Some(self.row(|_| true)?),
            room,
            click: self.spec.click.then(|| self.click()),
            others: self.others(),
        })
    }

    /// The row with what the bottles that `plays` chooses are to do.
    pub(super) fn row(&self, plays: impl Fn(PourIndex) -> bool) -> Result<Row, RenderError> {
        let mut row = Row::new(&self.voices, self.spec.rate, self.spec.seed)?;
        if self.spec.steady {
            row = row.steady();
        }
        let script = Script {
            voices: &self.voices,
            programme: &self.performance.programme,
            rails: self.cast.rails,
        };
        script.hand_to(&mut row, plays)?;
        Ok(row)
    }

    /// What of a bottle goes to the left and to the right.
    pub(super) fn sides(&self, voice: PourIndex) -> [f32; 2] {
        self.voices[voice.place()].sides()
    }

    /// The rest of the piece, at the pitches of the set's tuning; nothing if there is nothing of it.
    pub(super) fn others(&self) -> Option<PlainTones> {
        let rate = self.spec.rate;
        let frame = |s: f64| (s * rate.hz()).round() as u64;
        let note = |o: &Other| PlainNote {
            start_frame: frame(o.start_s),
            stop_frame: frame(o.stop_s),
            frequency: self.cast.set.tuning.frequency(&NoteName::from_midi(o.key)),
            strength: f64::from(o.velocity) / 127.0,
        };
        let notes: Vec<PlainNote> = self.performance.others.iter().map(note).collect();
        (!notes.is_empty()).then(|| PlainTones::new(notes, rate))
    }

    pub(super) fn click(&self) -> Click {
        let rate = self.spec.rate;
        let beats = self.performance.beats.iter();
        let frames = beats.map(|b| ((b.at_s * rate.hz()).round() as u64, b.first));
        Click::new(frames.collect(), rate)
    }
}

/// Sees that a performance is of no more bottles than there are: another set's may be.
fn all_on_stage(performance: &Performance, pours: usize) -> Result<(), RenderError> {
    let programme = &performance.programme;
    let glides = programme.parts.iter().flat_map(|part| &part.glides);
    let breaths = programme.breaths().chain(&performance.written);
    let mut all = glides.map(|g| g.pour).chain(breaths.map(|b| b.pour));
    match all.find(|pour| pour.place() >= pours) {
        Some(pour) => Err(RenderError::NotOnStage { pour, pours }),
        None => Ok(()),
    }
}

/// What makes the samples of a mix or a stem.
#[derive(Default)]
pub(super) struct Source {
    pub(super) row: Option<Row>,
    pub(super) room: Option<Around>,
    pub(super) click: Option<Click>,
    pub(super) others: Option<PlainTones>,
}

/// The room of a mix.
pub(super) enum Around {
    /// Over stretches of sound.
    Convolved(Box<Convolved>),
    /// One that rings too long for that.
    Running(Box<Room>),
}

impl Around {
    fn new(spec: RoomSpec, rate: SampleRate) -> Result<Self, RoomError> {
        Ok(match Convolved::new(spec, rate)? {
            Some(room) => Self::Convolved(Box::new(room)),
            None => Self::Running(Box::new(Room::new(spec, rate)?)),
        })
    }

    /// Frames that it takes at a time.
    fn stretch_frames(&self) -> usize {
        match self {
            Self::Convolved(room) => room.stretch_frames(),
            Self::Running(_) => STRETCH_FRAMES,
        }
    }

    fn process(&mut self, left: &mut [f32], right: &mut [f32]) {
        match self {
            Self::Convolved(room) => room.process(left, right),
            Self::Running(room) => room.process(left, right),
        }
    }
}

impl Source {
    /// Hands `frames` frames to `take`, a block at a time, all on this thread. The room, if there is one, takes no part: it
    /// is for whole mixes, see [`Source::each_block_ahead`].
    pub(super) fn each_block<E>(
        mut self,
        frames: usize,
        mut take: impl FnMut(&mut [f32], &mut [f32]) -> Result<(), E>,
    ) -> Result<(), E> {
        let (mut left, mut right) = ([0.0f32; BLOCK_FRAMES], [0.0f32; BLOCK_FRAMES]);
        let mut done = 0;
        while done < frames {
            let count = BLOCK_FRAMES.min(frames - done);
            let (left, right) = (&mut left[..count], &mut right[..count]);
            left.fill(0.0);
            right.fill(0.0);
            if let Some(row) = &mut self.row {
                row.add_block(left, right);
            }
            add_beside(&mut self.click, &mut self.others, left, right);
            take(left, right)?;
            done += count;
        }
        Ok(())
    }

    /// The same with the room, and ahead of `take`: the bottles and the room are on threads of their own, a few stretches
    /// in front.
    pub(super) fn each_block_ahead<E>(
        self,
        frames: usize,
        mut take: impl FnMut(&mut [f32], &mut [f32]) -> Result<(), E>,
    ) -> Result<(), E> {
        let Self {
            row,
            room,
            mut click,
            mut others,
        } = self;
        let around = room.as_ref();
        let stretch_frames = around.map_or(STRETCH_FRAMES, Around::stretch_frames);
        let stretches = frames.div_ceil(stretch_frames);
        let silence = move || [vec![0.0f32; stretch_frames], vec![0.0f32; stretch_frames]];
        std::thread::scope(|scope| {
            let dry = ahead(scope, {
                let mut row = row;
                (0..stretches).map(move |_| {
                    let [mut left, mut right] = silence();
                    if let Some(row) = &mut row {
                        row.add_block(&mut left, &mut right);
                    }
                    [left, right]
                })
            });
            let heard = match room {
                None => dry,
                Some(mut room) => ahead(
                    scope,
                    dry.into_iter().map(move |[mut left, mut right]| {
                        room.process(&mut left, &mut right);
                        [left, right]
                    }),
                ),
            };
            let mut left_over = frames;
            for [mut left, mut right] in heard {
                let count = left_over.min(stretch_frames);
                left_over -= count;
                let left = left[..count].chunks_mut(BLOCK_FRAMES);
                for (left, right) in left.zip(right[..count].chunks_mut(BLOCK_FRAMES)) {
                    // After the room, so that they stay short.
                    add_beside(&mut click, &mut others, left, right);
                    take(left, right)?;
                }
            }
            Ok(())
        })
    }
}

/// Makes stretches on a thread of its own, at most [`AHEAD`] that nobody has taken yet. It ends with the receiver.
pub(super) fn ahead<'scope, T: Send + 'scope>(
    scope: &'scope std::thread::Scope<'scope, '_>,
    stretches: impl Iterator<Item = T> + Send + 'scope,
) -> Receiver<T> {
    let (sender, receiver) = sync_channel(AHEAD);
    scope.spawn(move || {
        for stretch in stretches {
            if sender.send(stretch).is_err() {
                return;
            }
        }
    });
    receiver
}

/// What is heard beside the bottles.
fn add_beside(
    click: &mut Option<Click>,
    others: &mut Option<PlainTones>,
    left: &mut [f32],
    right: &mut [f32],
) {
    if let Some(click) = click {
        click.add_block(left, right);
    }
    if let Some(others) = others {
        others.add_block(left, right);
    }
}
