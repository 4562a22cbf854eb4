//! From a programme to a WAV file.

use indicatif::{ProgressBar, ProgressStyle};

use super::super::Failure;
use super::Heard;
use super::args::{Audition, BitsArg};
use super::schedule::schedule;
use super::stems::Stems;
use crate::file::atomic::Overwrite;
use crate::file::master::{MasterError, MasterSpec, Mastered, Mastering};
use crate::file::wav::{Bits, WavError, WavFormat};
use crate::plan::piece::Other;
use crate::synth::{BottleVoice, Click, PlainNote, PlainTones, Room, RoomSpec, Row};
use crate::tuning::NoteName;
use crate::units::{Level, SampleRate};

/// Frames rendered at a time.
const BLOCK_FRAMES: usize = 1_024;
/// Silence after the last ring-down, s: the room's own.
const TAIL_S: f64 = 1.5;
/// The highest true peak, dBTP.
pub(super) const CEILING_DBTP: f64 = -1.0;

/// What the mix and the stems are made of.
pub(super) struct Plan<'a> {
    pub(super) heard: &'a Heard,
    pub(super) voices: Vec<BottleVoice>,
    pub(super) format: WavFormat,
    pub(super) frames: usize,
    pub(super) seed: u64,
    pub(super) overwrite: Overwrite,
}

pub(super) fn render(heard: &Heard, args: &Audition) -> Result<Mastered, Failure> {
    let fail = |error: MasterError| match error {
        MasterError::Wav(WavError::Write(error)) => Failure::unwritten(&args.out, error, "--out"),
        MasterError::Target { .. } => {
            Failure::bad("render", error).or_try("--level-db nearer to 0: it is added to --lufs")
        }
        error => Failure::cannot(format!("write {}", args.out.display()), error),
    };
    let plan = plan(heard, args)?;
    plan.format
        .check_length(plan.frames as u64)
        .map_err(|error| fail(error.into()))?;
    let stems = args.piece.stems.as_deref();
    let stems = stems.map(|folder| Stems::of(&plan, folder, args));
    let stems = stems.transpose()?;
    let spec = MasterSpec {
        target_lufs: args.lufs + args.level_db,
        ceiling_dbtp: CEILING_DBTP,
        dither_seed: args.seed,
        ..MasterSpec::new(plan.format)
    };
    let rate = plan.format.rate;
    let mut mastering = Mastering::begin(&args.out, spec, plan.overwrite).map_err(fail)?;
    let room = if args.dry {
        None
    } else {
        Some(
            Room::new(RoomSpec::default(), rate)
                .map_err(|error| Failure::cannot("build the room", error).or_try("--dry"))?,
        )
    };
    let source = Source {
        row: Some(plan.row(|_| true)?),
        room,
        click: args.piece.click.then(|| plan.click()),
        others: plan.others(),
    };
    play(source, plan.frames, &mut mastering).map_err(fail)?;
    let mastered = mastering.finish().map_err(fail)?;
    if let Some(stems) = stems {
        stems.write(&plan, Level::from_db(mastered.gain_db))?;
    }
    Ok(mastered)
}

fn plan<'a>(heard: &'a Heard, args: &Audition) -> Result<Plan<'a>, Failure> {
    let rate = SampleRate::from_hz(f64::from(args.rate_hz));
    let voices = heard
        .voices(args.balance.into(), rate)
        .map_err(|error| Failure::cannot("voice this set", error).or_try("a higher --rate-hz"))?;
    let bits = match args.bits {
        BitsArg::Int16 => Bits::Int16,
        BitsArg::Int24 => Bits::Int24,
        BitsArg::Float32 => Bits::Float32,
    };
    let overwrite = Overwrite::forced(args.force);
    let others_end_s = heard.others.iter().map(|o| o.stop_s);
    let end_s = others_end_s.fold(heard.programme.end_s(), f64::max);
    Ok(Plan {
        heard,
        voices,
        format: WavFormat {
            bits,
            ..WavFormat::stereo(rate)
        },
        frames: ((end_s + TAIL_S) * rate.hz()).ceil() as usize,
        seed: args.seed,
        overwrite,
    })
}

impl Plan<'_> {
    /// The row with what the bottles that `plays` chooses are to do.
    pub(super) fn row(&self, plays: impl Fn(usize) -> bool) -> Result<Row, Failure> {
        let rate = self.format.rate;
        let mut row = Row::new(&self.voices, rate, self.seed).map_err(|error| {
            Failure::cannot("voice this set", error).or_try("a higher --rate-hz")
        })?;
        let heard = self.heard;
        schedule(
            &mut row,
            &self.voices,
            (&heard.programme, &heard.rails),
            plays,
        )?;
        Ok(row)
    }

    /// The rest of the piece, at the pitches of the set's tuning; nothing if there is nothing of it.
    pub(super) fn others(&self) -> Option<PlainTones> {
        let rate = self.format.rate;
        let frame = |s: f64| (s * rate.hz()).round() as u64;
        let note = |o: &Other| PlainNote {
            start_frame: frame(o.start_s),
            stop_frame: frame(o.stop_s),
            frequency: self.heard.set.tuning.frequency(&NoteName::from_midi(o.key)),
            strength: f64::from(o.velocity) / 127.0,
        };
        let notes: Vec<PlainNote> = self.heard.others.iter().map(note).collect();
        (!notes.is_empty()).then(|| PlainTones::new(notes, rate))
    }

    pub(super) fn click(&self) -> Click {
        let rate = self.format.rate;
        let beats = self.heard.beats.iter();
        let frames = beats.map(|b| ((b.at_s * rate.hz()).round() as u64, b.first));
        Click::new(frames.collect(), rate)
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

fn play(source: Source, frames: usize, mastering: &mut Mastering) -> Result<(), MasterError> {
    let progress = progress(frames);
    source.each_block(frames, |left, right| {
        mastering.push(left, right)?;
        progress.inc(left.len() as u64);
        Ok::<(), MasterError>(())
    })?;
    progress.finish_and_clear();
    Ok(())
}

/// A bar on a terminal, nothing in a pipe.
fn progress(frames: usize) -> ProgressBar {
    let bar = ProgressBar::new(frames as u64);
    bar.set_style(
        ProgressStyle::with_template("rendering {bar:40} {percent}%")
            .expect("the template is well formed"),
    );
    bar
}
