//! Each bottle of a piece alone, in a file of its own.
//!
//! A bottle sounds the same in any company, so each is rendered by itself, and several at a time. With
//! the gain of the mix on them, and without the room, the stems add up to the dry mix.

use std::path::{Path, PathBuf};

use rayon::prelude::*;

use super::super::Failure;
use super::super::args::Audition;
use super::render::{Plan, Source};
use crate::file::atomic::Overwrite;
use crate::file::wav::{WavError, WavSink};
use crate::units::Level;

/// What a stem holds.
#[derive(Clone, Copy)]
enum Part {
    Bottle(usize),
    Click,
}

/// The files to be written.
pub(super) struct Stems {
    files: Vec<(Part, PathBuf)>,
}

impl Stems {
    /// A file for each bottle that is blown, lowest first, and one for the click. What can be refused is
    /// refused here, before anything is rendered.
    pub(super) fn of(plan: &Plan, folder: &Path, args: &Audition) -> Result<Self, Failure> {
        let heard = plan.heard;
        let mut files = Vec::new();
        for (place, &bottle) in heard.order.iter().enumerate() {
            if heard.programme.breaths().all(|b| b.bottle != bottle) {
                continue;
            }
            let pour = &heard.set.pours[bottle];
            let text = format!("{} {}", pour.note, heard.set.kind_of(pour).name);
            let name = format!("{:02}-{}.wav", place + 1, plain(&text));
            files.push((Part::Bottle(bottle), folder.join(name)));
        }
        if args.piece.click {
            files.push((Part::Click, folder.join("click.wav")));
        }
        let there = files.iter().find(|(_, path)| path.exists());
        if let Some((_, path)) = there.filter(|_| plan.overwrite == Overwrite::No) {
            let what = format!("write {}", path.display());
            let because = "a file of this name is there";
            return Err(
                Failure::cannot(what, because).or_try("--force, or another folder after --stems")
            );
        }
        std::fs::create_dir_all(folder).map_err(|error| {
            Failure::cannot(format!("make the folder {}", folder.display()), error)
        })?;
        Ok(Self { files })
    }

    pub(super) fn write(&self, plan: &Plan, gain: Level) -> Result<(), Failure> {
        let gain = gain.gain() as f32;
        self.files.par_iter().try_for_each(|(part, path)| {
            let source = match *part {
                Part::Bottle(bottle) => Source {
                    bank: Some(plan.bank(|b| b == bottle)?),
                    ..Source::default()
                },
                Part::Click => Source {
                    click: Some(plan.click()),
                    ..Source::default()
                },
            };
            one(plan, source, gain, path)
                .map_err(|error| Failure::cannot(format!("write {}", path.display()), error))
        })
    }
}

fn one(plan: &Plan, source: Source, gain: f32, path: &Path) -> Result<(), WavError> {
    let mut sink = WavSink::create(path, plan.format, plan.overwrite)?.with_dither_seed(plan.seed);
    source.each_block(plan.frames, |left, right| {
        for sample in left.iter_mut().chain(right.iter_mut()) {
            *sample *= gain;
        }
        sink.write_block(left, right)
    })?;
    sink.finish()
}

/// A name for a file on any system: letters, digits and dashes, `#` as `s`.
fn plain(text: &str) -> String {
    let fit = |c: char| match c {
        '#' => 's',
        c if c.is_alphanumeric() || c == '-' => c,
        _ => '-',
    };
    text.chars().take(60).map(fit).collect()
}
