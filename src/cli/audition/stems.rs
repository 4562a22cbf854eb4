//! Each bottle of a piece alone, or each player, in a file of its own.
//!
//! A bottle sounds the same in any company, so each is rendered by itself, and several at a time. With
//! the gain of the mix on them, and without the room, the stems add up to the dry mix.

use std::path::{Path, PathBuf};

use rayon::prelude::*;

use super::super::Failure;
use super::args::{Audition, StemsBy};
use super::render::{Plan, Source};
use crate::file::atomic::Overwrite;
use crate::file::wav::{WavError, WavSink};
use crate::plan::players::Sharing;
use crate::units::Level;

/// What a player can do who is not described: as `check` takes it.
const CHANGE_S: f64 = 0.35;
const HANDS: usize = 2;

/// What a stem holds.
enum Part {
    Bottles(Vec<usize>),
    Click,
    Others,
}

/// The files to be written.
pub(super) struct Stems {
    files: Vec<(Part, PathBuf)>,
}

impl Stems {
    /// A file for each bottle or player, and one for the click. What can be refused is
    /// refused here, before anything is rendered.
    pub(super) fn of(plan: &Plan, folder: &Path, args: &Audition) -> Result<Self, Failure> {
        let heard = plan.heard;
        let mut files = Vec::new();
        for (place, bottles) in groups(plan, args.piece.stems_by).into_iter().enumerate() {
            let text = match (args.piece.stems_by, bottles.as_slice()) {
                (StemsBy::Bottle, &[bottle, ..]) => {
                    let pour = &heard.set.pours[bottle];
                    format!("{} {}", pour.note, heard.set.kind_of(pour).name)
                }
                (_, bottles) => {
                    let notes = bottles.iter().map(|&b| heard.set.pours[b].note.to_string());
                    format!("player {}", notes.collect::<Vec<_>>().join(" "))
                }
            };
            let name = format!("{:02}-{}.wav", place + 1, plain(&text));
            files.push((Part::Bottles(bottles), folder.join(name)));
        }
        if args.piece.click {
            files.push((Part::Click, folder.join("click.wav")));
        }
        if !heard.others.is_empty() {
            files.push((Part::Others, folder.join("others.wav")));
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
            let source = match part {
                Part::Bottles(bottles) => Source {
                    row: Some(plan.row(|b| bottles.contains(&b))?),
                    ..Source::default()
                },
                Part::Others => Source {
                    others: plan.others(),
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

/// The pours of each stem: every bottle's that is blown, from the lowest up, or every player's. Notes of one sliding
/// bottle stay together.
fn groups(plan: &Plan, by: StemsBy) -> Vec<Vec<usize>> {
    let heard = plan.heard;
    let voice_of = &heard.rails.voice_of;
    // As they are written: who plays what must not hang on a few milliseconds of humanised timing.
    let breaths = &heard.written;
    if by == StemsBy::Player {
        let shared = Sharing::of(voice_of, breaths, CHANGE_S, HANDS).fewest();
        return shared.players;
    }
    let blown = |voice: &usize| breaths.iter().any(|b| voice_of[b.bottle] == *voice);
    let pours_of = |voice| {
        (0..voice_of.len())
            .filter(|p| voice_of[*p] == voice)
            .collect()
    };
    let voices = heard.order.iter().copied();
    voices.filter(blown).map(pours_of).collect()
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
