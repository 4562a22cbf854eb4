//! Each bottle of a piece alone, or each player, in a file of its own.
//!
//! Many bottles side by side cost far less than each by itself, so they are rendered together once more, and what each says alone goes
//! to its file. With the gain of the mix on them, and without the room, the stems add up to the dry mix.

use std::collections::BTreeSet;
use std::panic::resume_unwind;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};

use super::error::RenderError;
use super::mix::{Mix, Source, ahead};
use crate::file::atomic::{Overwrite, sync_folder};
use crate::file::wav::{self, WavError, WavSink};
use crate::index::PourIndex;
use crate::plan::fit::usual_players;
use crate::units::Level;

/// Files that are written side by side: a system lets a program have a few hundred open.
const TOGETHER: usize = 32;
/// Threads that write them. Most of the time they wait for the disk, which does several things at once.
const WRITERS: usize = 4;
/// Frames made at a time, of every bottle.
const STRETCH_FRAMES: usize = 4_096;
/// Stretches that may wait for a thread: files become ready to be written in the same stretch, and meanwhile the bottles go on.
const AHEAD: usize = 3;

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
        let mut bottles = Vec::new();
        for (part, path) in &self.files {
            let source = match part {
                Part::Bottles(those) => {
                    bottles.push((those.as_slice(), path.as_path()));
                    continue;
                }
                Part::Others => Source {
                    others: mix.others(),
                    ..Source::default()
                },
                Part::Click => Source {
                    click: Some(mix.click()),
                    ..Source::default()
                },
            };
            self.one(mix, source, gain, path).map_err(of_stem(path))?;
        }
        let mut batches = bottles.chunks(TOGETHER);
        batches.try_for_each(|files| self.several(mix, files, gain))
    }

    /// Bottles that are rendered together, those of each file into it.
    fn several(
        &self,
        mix: &Mix<'_>,
        files: &[(&[PourIndex], &Path)],
        gain: f32,
    ) -> Result<(), RenderError> {
        let voice_of = &mix.cast.rails.voice_of;
        let mut voices: Vec<PourIndex> = Vec::new();
        let mut stems = Vec::with_capacity(files.len());
        for (bottles, path) in files {
            let mut own: Vec<PourIndex> = bottles.iter().map(|b| voice_of[*b]).collect();
            own.sort_unstable();
            own.dedup();
            let first = voices.len();
            let sides = own.iter().map(|v| mix.sides(*v).map(|side| gain * side));
            stems.push(Stem {
                path,
                sink: self.sink(mix, path).map_err(of_stem(path))?,
                voices: (first..).zip(sides).collect(),
                interleaved: Vec::new(),
            });
            voices.extend(own);
        }
        let mut row = mix.row(|b| files.iter().any(|(bottles, _)| bottles.contains(&b)))?;
        let stretch = move |frames: usize| {
            let mut taps = vec![0.0f32; voices.len() * frames];
            let mut slices: Vec<&mut [f32]> = Vec::new();
            slices.resize_with(row.bottle_count(), Default::default);
            for (voice, tap) in voices.iter().zip(taps.chunks_mut(frames)) {
                slices[voice.place()] = tap;
            }
            let (mut left, mut right) = (vec![0.0; frames], vec![0.0; frames]);
            row.add_block_with_taps(&mut left, &mut right, &mut slices);
            Taps { taps, frames }
        };
        let stretches = (0..mix.frames).step_by(STRETCH_FRAMES);
        let lengths = stretches.map(|from| STRETCH_FRAMES.min(mix.frames - from));
        write_all(stems, (mix.frames, lengths.map(stretch)))
    }

    fn sink(&self, mix: &Mix<'_>, path: &Path) -> Result<WavSink, WavError> {
        let sink = WavSink::create_among(path, mix.format, self.overwrite)?;
        Ok(sink.with_dither_seed(mix.spec.seed))
    }

    fn one(&self, mix: &Mix<'_>, source: Source, gain: f32, path: &Path) -> Result<(), WavError> {
        let mut sink = self.sink(mix, path)?;
        source.each_block(mix.frames, |left, right| {
            for sample in left.iter_mut().chain(right.iter_mut()) {
                *sample *= gain;
            }
            sink.write_block(left, right)
        })?;
        sink.finish()
    }
}

/// A stretch of what every bottle says alone, one after the other.
struct Taps {
    taps: Vec<f32>,
    frames: usize,
}

/// Writes what the stretches say into the stems, and gives each its name.
fn write_all<'a>(
    stems: Vec<Stem<'a>>,
    (frames, stretches): (usize, impl Iterator<Item = Taps> + Send),
) -> Result<(), RenderError> {
    let mut shares: [Vec<Stem<'a>>; WRITERS] = Default::default();
    for (place, stem) in stems.into_iter().enumerate() {
        shares[place % WRITERS].push(stem);
    }
    std::thread::scope(|scope| {
        let (senders, writers): (Vec<_>, Vec<_>) = shares
            .into_iter()
            .map(|stems| {
                let (sender, stretches) = sync_channel(AHEAD);
                (sender, scope.spawn(move || write_share(stems, stretches)))
            })
            .unzip();
        // Who has stopped says why below.
        let hand = |taps: Option<Arc<Taps>>| {
            let took = |sender: &SyncSender<_>| sender.send(taps.clone()).is_ok();
            senders.iter().all(took)
        };
        let mut made = 0;
        let all_took = ahead(scope, stretches).into_iter().all(|taps| {
            made += taps.frames;
            hand(Some(Arc::new(taps)))
        });
        // Less is made when the bottles' thread has panicked, which goes on when this ends.
        if all_took && made == frames {
            hand(None);
        }
        drop(senders);
        let mut folders = BTreeSet::new();
        for writer in writers {
            let written = writer.join().unwrap_or_else(|panic| resume_unwind(panic));
            folders.extend(written?);
        }
        // Once for all of them: each wait for the disk is some milliseconds.
        folders.iter().for_each(|folder| sync_folder(folder));
        Ok(())
    })
}

/// The same of some of the stems, until the end is said; in which folders they are.
fn write_share(
    mut stems: Vec<Stem<'_>>,
    stretches: Receiver<Option<Arc<Taps>>>,
) -> Result<Vec<PathBuf>, RenderError> {
    loop {
        let mut all = stems.iter_mut();
        match stretches.recv() {
            Ok(Some(taps)) => all.try_for_each(|stem| stem.write(&taps))?,
            Ok(None) => break,
            // Somebody else has stopped, and these are not whole.
            Err(_) => return Ok(Vec::new()),
        }
    }
    let all = stems.into_iter();
    // The system takes a while to put away a large file that was there before.
    let finish = |sink: WavSink| {
        let kept = sink.keep()?;
        let folder = kept.folder().to_path_buf();
        kept.name()?;
        Ok(folder)
    };
    all.map(|stem| finish(stem.sink).map_err(of_stem(stem.path)))
        .collect()
}

/// A file on its way.
struct Stem<'a> {
    path: &'a Path,
    sink: WavSink,
    /// Its bottles among those that are rendered together, and what of each goes to the left and to the right.
    voices: Vec<(usize, [f32; 2])>,
    interleaved: Vec<f32>,
}

impl Stem<'_> {
    /// Takes as many frames of its bottles.
    fn write(&mut self, Taps { taps, frames }: &Taps) -> Result<(), RenderError> {
        let tap = |voice: usize| &taps[voice * frames..][..*frames];
        let written = if let [(voice, sides)] = self.voices[..] {
            self.sink.write_placed(tap(voice), sides)
        } else {
            // What was in it is written over.
            self.interleaved.resize(2 * frames, 0.0);
            for (count, &(voice, sides)) in self.voices.iter().enumerate() {
                wav::place((tap(voice), sides), count > 0, &mut self.interleaved);
            }
            self.sink.write_frames(&self.interleaved)
        };
        written.map_err(of_stem(self.path))
    }
}

fn of_stem(path: &Path) -> impl Fn(WavError) -> RenderError {
    |source| RenderError::Stem {
        path: path.to_path_buf(),
        source,
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
