//! Each bottle of a piece alone, or each player, in a file of its own.
//!
//! A bottle sounds the same in any company, so each is rendered by itself, and several at a time. With
//! the gain of the mix on them, and without the room, the stems add up to the dry mix.

use std::path::{Path, PathBuf};

use rayon::prelude::*;

use super::error::RenderError;
use super::mix::{Mix, Source};
use crate::file::atomic::Overwrite;
use crate::file::wav::{WavError, WavSink};
use crate::index::PourIndex;
use crate::plan::fit::usual_players;
use crate::units::Level;

/// What is in a file of its own.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum StemsBy {
    /// Each bottle.
    #[default]
    Bottle,
    /// Each player's bottles together: the fewest players that can play it, with two bottles each.
    Player,
}

/// What a stem holds.
enum Part {
    Bottles(Vec<PourIndex>),
    Click,
    Others,
}

/// The files to be written.
pub(super) struct Stems {
    files: Vec<(Part, PathBuf)>,
    overwrite: Overwrite,
}

impl Stems {
    /// A file for each bottle or player, and one for the click. What can be refused is refused here, before anything is
    /// rendered.
    pub(super) fn of(
        mix: &Mix<'_>,
        folder: &Path,
        by: StemsBy,
        overwrite: Overwrite,
    ) -> Result<Self, RenderError> {
        let set = mix.cast.set;
        let mut files = Vec::new();
        for (place, bottles) in groups(mix, by).into_iter().enumerate() {
            // Of several states the pours are counted on.
            let pour = |pour: PourIndex| &set.pours[pour.place() % set.pours.len()];
            let text = match (by, bottles.as_slice()) {
                (StemsBy::Bottle, &[bottle, ..]) => {
                    let pour = pour(bottle);
                    format!("{} {}", pour.note, set.kind_of(pour).name)
                }
                (_, bottles) => {
                    let notes = bottles.iter().map(|&b| pour(b).note.to_string());
                    format!("player {}", notes.collect::<Vec<_>>().join(" "))
                }
            };
            let name = format!("{:02}-{}.wav", place + 1, plain(&text));
            files.push((Part::Bottles(bottles), folder.join(name)));
        }
        if mix.spec.click {
            files.push((Part::Click, folder.join("click.wav")));
        }
        if !mix.performance.others.is_empty() {
            files.push((Part::Others, folder.join("others.wav")));
        }
        let there = files.iter().find(|(_, path)| path.exists());
        if let Some((_, path)) = there.filter(|_| overwrite == Overwrite::No) {
            return Err(RenderError::StemExists { path: path.clone() });
        }
        std::fs::create_dir_all(folder).map_err(|source| RenderError::Folder {
            path: folder.to_path_buf(),
            source,
        })?;
        Ok(Self { files, overwrite })
    }

    pub(super) fn write(&self, mix: &Mix<'_>, gain: Level) -> Result<(), RenderError> {
        let gain = gain.gain() as f32;
        self.files.par_iter().try_for_each(|(part, path)| {
            let source = match part {
                Part::Bottles(bottles) => Source {
                    row: Some(mix.row(|b| bottles.contains(&b))?),
                    ..Source::default()
                },
                Part::Others => Source {
                    others: mix.others(),
                    ..Source::default()
                },
                Part::Click => Source {
                    click: Some(mix.click()),
                    ..Source::default()
                },
            };
            self.one(mix, source, gain, path)
                .map_err(|source| RenderError::Stem {
                    path: path.clone(),
                    source,
                })
        })
    }

    fn one(&self, mix: &Mix<'_>, source: Source, gain: f32, path: &Path) -> Result<(), WavError> {
        let sink = WavSink::create(path, mix.format, self.overwrite)?;
        let mut sink = sink.with_dither_seed(mix.spec.seed);
        source.each_block(mix.frames, |left, right| {
            for sample in left.iter_mut().chain(right.iter_mut()) {
                *sample *= gain;
            }
            sink.write_block(left, right)
        })?;
        sink.finish()
    }
}

/// The pours of each stem: every bottle's that is blown, from the lowest up, or every player's. Notes of one sliding
/// bottle stay together.
fn groups(mix: &Mix<'_>, by: StemsBy) -> Vec<Vec<PourIndex>> {
    let voice_of = &mix.cast.rails.voice_of;
    // As they are written: who plays what must not hang on a few milliseconds of humanised timing.
    let breaths = &mix.performance.written;
    if by == StemsBy::Player {
        return usual_players(breaths, voice_of);
    }
    let blown = |voice: &PourIndex| breaths.iter().any(|b| voice_of[b.pour] == *voice);
    let pours_of = |voice| {
        PourIndex::all(voice_of.len())
            .filter(|p| voice_of[*p] == voice)
            .collect()
    };
    let state = mix.cast.order.len();
    let states = (0..voice_of.len()).step_by(state.max(1));
    let voices = states.flat_map(|first| {
        mix.cast
            .order
            .iter()
            .map(move |pour| pour.counted_on(first))
    });
    voices.filter(blown).map(pours_of).collect()
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
