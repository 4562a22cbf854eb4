//! From a programme to a WAV file.

use indicatif::{ProgressBar, ProgressStyle};

use super::super::Failure;
use super::super::args::{Audition, BitsArg};
use super::super::voicing;
use super::Heard;
use crate::file::atomic::Overwrite;
use crate::file::master::{MasterError, MasterSpec, Mastered, Mastering};
use crate::file::wav::{Bits, WavFormat};
use crate::plan::programme::Breath;
use crate::synth::{Attack, Bank, Event, EventKind, Room, RoomSpec};
use crate::units::SampleRate;

/// Frames rendered at a time.
const BLOCK_FRAMES: usize = 1_024;
/// Silence after the last ring-down, s: the room's own.
const TAIL_S: f64 = 1.5;
/// How hard a tongued note begins, 0 to 1.
const TONGUE: f64 = 0.6;
/// The highest true peak, dBTP.
pub(super) const CEILING_DBTP: f64 = -1.0;

pub(super) fn render(heard: &Heard, args: &Audition) -> Result<Mastered, Failure> {
    let fail = |error: MasterError| {
        Failure::cannot(format!("write {}", args.out.display()), error)
            .or_try("--force, or another name after --out")
    };
    let rate = SampleRate::from_hz(f64::from(args.rate_hz));
    let specs = voicing::specs(&heard.poured, &heard.order, args.balance.into(), rate)
        .map_err(|error| Failure::cannot("voice this set", error).or_try("a higher --rate-hz"))?;
    let mut bank = Bank::new(&specs, rate, args.seed)
        .map_err(|error| Failure::cannot("voice this set", error).or_try("a higher --rate-hz"))?;
    schedule(&mut bank, heard, args.breath)?;
    let bits = match args.bits {
        BitsArg::Int16 => Bits::Int16,
        BitsArg::Int24 => Bits::Int24,
        BitsArg::Float32 => Bits::Float32,
    };
    let spec = MasterSpec {
        target_lufs: args.lufs + args.level_db,
        ceiling_dbtp: CEILING_DBTP,
        dither_seed: args.seed,
        ..MasterSpec::new(WavFormat {
            bits,
            ..WavFormat::stereo(rate)
        })
    };
    let overwrite = if args.force {
        Overwrite::Yes
    } else {
        Overwrite::No
    };
    let mut mastering = Mastering::begin(&args.out, spec, overwrite).map_err(fail)?;
    let frames = ((heard.programme.end_s() + TAIL_S) * rate.hz()).ceil() as usize;
    let room = if args.dry {
        None
    } else {
        Some(
            Room::new(RoomSpec::default(), rate)
                .map_err(|error| Failure::cannot("build the room", error).or_try("--dry"))?,
        )
    };
    play(&mut bank, frames, room, &mut mastering).map_err(fail)?;
    mastering.finish().map_err(fail)
}

fn schedule(bank: &mut Bank, heard: &Heard, breath: f64) -> Result<(), Failure> {
    let rate_hz = bank.rate().hz();
    let breaths: Vec<&Breath> = heard.programme.breaths().collect();
    bank.reserve_events(2 * breaths.len());
    for b in breaths {
        let attack = if b.tongued {
            Attack::Tongued { strength: TONGUE }
        } else {
            Attack::Natural
        };
        let frame = |s: f64| (s * rate_hz).round() as u64;
        let events = [
            (b.start_s, EventKind::Blow { g: breath, attack }),
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

fn play(
    bank: &mut Bank,
    frames: usize,
    mut room: Option<Room>,
    mastering: &mut Mastering,
) -> Result<(), MasterError> {
    let progress = progress(frames);
    let (mut left, mut right) = ([0.0f32; BLOCK_FRAMES], [0.0f32; BLOCK_FRAMES]);
    let mut done = 0;
    while done < frames {
        let count = BLOCK_FRAMES.min(frames - done);
        let (left, right) = (&mut left[..count], &mut right[..count]);
        left.fill(0.0);
        right.fill(0.0);
        bank.add_block(left, right);
        if let Some(room) = &mut room {
            room.process(left, right);
        }
        mastering.push(left, right)?;
        done += count;
        progress.set_position(done as u64);
    }
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
