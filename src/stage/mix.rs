//! From a performance to blocks of samples: everybody together, or some of them alone.

use super::error::RenderError;
use super::performance::Performance;
use super::schedule::Script;
use super::spec::RenderSpec;
use super::voices::Cast;
use crate::file::wav::WavFormat;
use crate::index::PourIndex;
use crate::plan::piece::Other;
use crate::synth::{BottleVoice, Click, PlainNote, PlainTones, Room, Row};
use crate::tuning::NoteName;

/// Frames rendered at a time.
const BLOCK_FRAMES: usize = 1_024;
/// Silence after the last ring-down, s: the room's own.
const TAIL_S: f64 = 1.5;

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
        Ok(Self {
            frames: ((performance.end_s() + TAIL_S) * spec.rate.hz()).ceil() as usize,
            cast,
            performance,
            spec,
            format,
            voices,
        })
    }

    /// Everything at once, in the room.
    pub(super) fn everything(&self) -> Result<Source, RenderError> {
        let room = self.spec.room.map(|room| Room::new(room, self.spec.rate));
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
    pub(super) room: Option<Room>,
    pub(super) click: Option<Click>,
    pub(super) others: Option<PlainTones>,
}

impl Source {
    /// Hands `frames` frames to `take`, a block at a time.
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
            if let Some(room) = &mut self.room {
                room.process(left, right);
            }
            // After the room, so that it stays short.
            if let Some(click) = &mut self.click {
                click.add_block(left, right);
            }
            if let Some(others) = &mut self.others {
                others.add_block(left, right);
            }
            take(left, right)?;
            done += count;
        }
        Ok(())
    }
}
