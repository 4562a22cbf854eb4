//! From a programme to a WAV file.

use indicatif::{ProgressBar, ProgressStyle};

use super::super::Failure;
use super::super::args::{Audition, BitsArg};
use super::super::voicing;
use super::Heard;
use super::stems::Stems;
use crate::file::atomic::Overwrite;
use crate::file::master::{MasterError, MasterSpec, Mastered, Mastering};
use crate::file::wav::{Bits, WavError, WavFormat};
use crate::plan::programme::Breath;
use crate::synth::{Attack, Bank, Click, Event, EventKind, Room, RoomSpec, VoiceSpec};
use crate::units::{Level, SampleRate};

/// Frames rendered at a time.
const BLOCK_FRAMES: usize = 1_024;
/// Silence after the last ring-down, s: the room's own.
const TAIL_S: f64 = 1.5;
/// How hard a tongued note begins, 0 to 1.
const TONGUE: f64 = 0.6;
/// The highest true peak, dBTP.
pub(super) const CEILING_DBTP: f64 = -1.0;

/// What the mix and the stems are made of.
pub(super) struct Plan<'a> {
    pub(super) heard: &'a Heard,
    pub(super) specs: Vec<VoiceSpec>,
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
        bank: Some(plan.bank(|_| true)?),
        room,
        click: args.piece.click.then(|| plan.click()),
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
    let specs = voicing::specs(&heard.poured, &heard.order, args.balance.into(), rate)
        .map_err(|error| Failure::cannot("voice this set", error).or_try("a higher --rate-hz"))?;
    let bits = match args.bits {
        BitsArg::Int16 => Bits::Int16,
        BitsArg::Int24 => Bits::Int24,
        BitsArg::Float32 => Bits::Float32,
    };
    let overwrite = Overwrite::forced(args.force);
    Ok(Plan {
        heard,
        specs,
        format: WavFormat {
            bits,
            ..WavFormat::stereo(rate)
        },
        frames: ((heard.programme.end_s() + TAIL_S) * rate.hz()).ceil() as usize,
        seed: args.seed,
        overwrite,
    })
}

impl Plan<'_> {
    /// The bank with what the bottles that `plays` chooses are to do.
    pub(super) fn bank(&self, plays: impl Fn(usize) -> bool) -> Result<Bank, Failure> {
        let rate = self.format.rate;
        let mut bank = Bank::new(&self.specs, rate, self.seed).map_err(|error| {
            Failure::cannot("voice this set", error).or_try("a higher --rate-hz")
        })?;
        let breaths = self.heard.programme.breaths();
        schedule(&mut bank, breaths.filter(|b| plays(b.bottle)).collect())?;
        Ok(bank)
    }

    pub(super) fn click(&self) -> Click {
        let rate = self.format.rate;
        let beats = self.heard.beats.iter();
        let frames = beats.map(|b| ((b.at_s * rate.hz()).round() as u64, b.first));
        Click::new(frames.collect(), rate)
    }
}

fn schedule(bank: &mut Bank, breaths: Vec<&Breath>) -> Result<(), Failure> {
    let rate_hz = bank.rate().hz();
    bank.reserve_events(2 * breaths.len());
    for b in breaths {
        let attack = if b.tongued {
            Attack::Tongued { strength: TONGUE }
        } else {
            Attack::Natural
        };
        let frame = |s: f64| (s * rate_hz).round() as u64;
        let g = b.over_threshold;
        let events = [
            (b.start_s, EventKind::Blow { g, attack }),
            (b.stop_s, EventKind::Release),
        ];
        for (at_s, kind) in events {
            bank.push(Event {
                at_frames: frame(at_s),
                bottle: b.bottle,
                kind,
            })
            .map_err(|event| {
                Failure::cannot("schedule the programme", format!("{event:?} was refused"))
            })?;
        }
    }
    Ok(())
}

/// What makes the samples of a mix or a stem.
#[derive(Default)]
pub(super) struct Source {
    pub(super) bank: Option<Bank>,
    pub(super) room: Option<Room>,
    pub(super) click: Option<Click>,
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
            if let Some(bank) = &mut self.bank {
                bank.add_block(left, right);
            }
            if let Some(room) = &mut self.room {
                room.process(left, right);
            }
            // After the room, so that it stays short.
            if let Some(click) = &mut self.click {
                click.add_block(left, right);
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
