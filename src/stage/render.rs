//! From a performance to a file, to stems, or to samples in memory.

use std::ops::ControlFlow;
use std::path::{Path, PathBuf};

use super::error::RenderError;
use super::mix::Mix;
use super::performance::Performance;
use super::ready::Stage;
use super::spec::RenderSpec;
use super::stems::{Stems, StemsBy};
use super::voices::Cast;
use crate::file::atomic::Overwrite;
use crate::file::master::{MasterError, MasterSpec, Mastered, Mastering};
use crate::file::wav::Bits;
use crate::synth::RoomSpec;
use crate::units::{Level, SampleRate};

/// How far a rendering has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Progress {
    /// Frames that are made.
    pub done_frames: u64,
    /// Frames in all.
    pub frames: u64,
}

/// Samples as the stage makes them: neither brought to a loudness nor held under a ceiling, which are a file's.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Samples {
    /// The left channel, 1 is full scale.
    pub left: Vec<f32>,
    /// The right one, as long.
    pub right: Vec<f32>,
}

/// A rendering that has been described and not begun; it begins with [`Rendering::to_wav`] or [`Rendering::to_samples`].
///
/// ```
/// use std::ops::ControlFlow;
/// use ullage::stage::{PieceSpec, Stage};
/// use ullage::units::SampleRate;
/// # let folder = tempfile::tempdir()?;
/// # let path = folder.path().join("two-bars.wav");
/// let set = ullage::set::open("presets/quay/set.toml")?;
/// let piece = ullage::file::piece::open("presets/quay/piece.mid")?;
/// let stage = Stage::new(&set)?;
/// let two_bars = stage.programme_of(&piece, &PieceSpec { to_bar: Some(2), ..Default::default() })?;
/// let mut blocks = 0;
/// let mastered = stage
///     .render(&two_bars)
///     .rate(SampleRate::from_hz(8_000.0))
///     .level_lufs(-23.0)
///     .watched(|_progress| {
///         blocks += 1;
///         ControlFlow::Continue(())
///     })
///     .to_wav(&path)?;
/// assert!(mastered.true_peak_db.is_some_and(|peak| peak <= -1.0) && blocks > 10);
/// assert!(stage.render(&two_bars).to_wav(&path).is_err(), "what is there stays, without overwrite()");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[must_use = "nothing is rendered before to_wav or to_samples"]
pub struct Rendering<'a> {
    cast: Cast<'a>,
    performance: &'a Performance,
    spec: RenderSpec,
    overwrite: Overwrite,
    stems: Option<(PathBuf, StemsBy)>,
    watch: Box<dyn FnMut(Progress) -> ControlFlow<()> + 'a>,
}

impl std::fmt::Debug for Rendering<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Rendering")
            .field("spec", &self.spec)
            .field("overwrite", &self.overwrite)
            .field("stems", &self.stems)
            .finish_non_exhaustive()
    }
}

impl Stage {
    /// A rendering of `performance`, as [`RenderSpec::default`] has it but in the set's own room, until something else is said.
    pub fn render<'a>(&'a self, performance: &'a Performance) -> Rendering<'a> {
        Rendering::of(self.cast(), performance)
    }
}

impl<'a> Rendering<'a> {
    pub(super) fn of(cast: Cast<'a>, performance: &'a Performance) -> Self {
        Self {
            cast,
            performance,
            spec: RenderSpec {
                room: Some(cast.set.listening.into()),
                ..RenderSpec::default()
            },
            overwrite: Overwrite::No,
            stems: None,
            watch: Box::new(|_| ControlFlow::Continue(())),
        }
    }

    /// As `spec` has it, in place of all that was said.
    pub fn with(self, spec: RenderSpec) -> Self {
        Self { spec, ..self }
    }

    /// Without the room.
    pub fn dry(mut self) -> Self {
        self.spec.room = None;
        self
    }

    /// In this room.
    pub fn room(mut self, room: RoomSpec) -> Self {
        self.spec.room = Some(room);
        self
    }

    /// At a loudness of so many LUFS, −40 to −9, as far as the ceiling lets it.
    pub fn level_lufs(mut self, lufs: f64) -> Self {
        self.spec.lufs = lufs;
        self
    }

    /// With other breath noise, and other breaths and strokes.
    pub fn seed(mut self, seed: u64) -> Self {
        self.spec.seed = seed;
        self
    }

    /// Without anything that wanders or differs from note to note: every pitch as predicted.
    pub fn steady(mut self) -> Self {
        self.spec.steady = true;
        self
    }

    /// At so many samples a second.
    pub fn rate(mut self, rate: SampleRate) -> Self {
        self.spec.rate = rate;
        self
    }

    /// With samples stored so.
    pub fn bits(mut self, bits: Bits) -> Self {
        self.spec.bits = bits;
        self
    }

    /// With a click on every beat of the piece.
    pub fn click(mut self) -> Self {
        self.spec.click = true;
        self
    }

    /// Files that are there are replaced.
    pub fn overwrite(mut self) -> Self {
        self.overwrite = Overwrite::Yes;
        self
    }

    /// Beside the file each bottle alone, or each player, as a file of its own in `folder`: without the room, at the gain of
    /// the mix.
    pub fn stems(mut self, folder: impl Into<PathBuf>, by: StemsBy) -> Self {
        self.stems = Some((folder.into(), by));
        self
    }

    /// Calls `watch` after every block of the mix; a break ends the rendering, and nothing is written.
    pub fn watched(self, watch: impl FnMut(Progress) -> ControlFlow<()> + 'a) -> Self {
        Self {
            watch: Box::new(watch),
            ..self
        }
    }

    /// Renders to a WAV file, brought to its loudness. The file appears when it is whole; the stems follow it.
    ///
    /// # Errors
    /// See [`RenderError`]. What can be refused is refused before anything is rendered.
    pub fn to_wav(mut self, path: impl AsRef<Path>) -> Result<Mastered, RenderError> {
        let path = path.as_ref();
        let of_file = |source: MasterError| RenderError::File {
            path: path.to_path_buf(),
            source,
        };
        let mix = Mix::new(self.cast, self.performance, &self.spec)?;
        let length = mix.format.check_length(mix.frames as u64);
        length.map_err(|error| of_file(error.into()))?;
        let stems = match &self.stems {
            Some((folder, by)) => Some(Stems::of(&mix, folder, *by, self.overwrite)?),
            None => None,
        };
        let spec = MasterSpec {
            target_lufs: self.spec.lufs + self.spec.level.db(),
            ceiling_dbtp: self.spec.ceiling_dbtp,
            dither_seed: self.spec.seed,
            ..MasterSpec::new(mix.format)
        };
        let mut mastering = Mastering::begin(path, spec, self.overwrite).map_err(of_file)?;
        each_watched(&mix, &mut self.watch, |left, right| {
            mastering.push(left, right).map_err(of_file)
        })?;
        let mastered = mastering.finish().map_err(of_file)?;
        if let Some(stems) = stems {
            stems.write(&mix, Level::from_db(mastered.gain_db))?;
        }
        Ok(mastered)
    }

    /// Renders into memory, 8 bytes a frame, without the loudness and the ceiling of a file; stems are of files alone.
    ///
    /// # Errors
    /// See [`RenderError`].
    pub fn to_samples(mut self) -> Result<Samples, RenderError> {
        let mix = Mix::new(self.cast, self.performance, &self.spec)?;
        let length = mix.format.check_length(mix.frames as u64);
        length.map_err(RenderError::TooLong)?;
        let mut samples = Samples::default();
        each_watched(&mix, &mut self.watch, |left, right| {
            samples.left.extend_from_slice(left);
            samples.right.extend_from_slice(right);
            Ok(())
        })?;
        Ok(samples)
    }
}

/// Hands everything to `take`, a block at a time, for as long as `watch` lets it go on.
fn each_watched(
    mix: &Mix<'_>,
    watch: &mut dyn FnMut(Progress) -> ControlFlow<()>,
    mut take: impl FnMut(&[f32], &[f32]) -> Result<(), RenderError>,
) -> Result<(), RenderError> {
    let mut progress = Progress {
        done_frames: 0,
        frames: mix.frames as u64,
    };
    mix.everything()?
        .each_block_ahead(mix.frames, |left, right| {
            take(left, right)?;
            progress.done_frames += left.len() as u64;
            match watch(progress) {
                ControlFlow::Continue(()) => Ok(()),
                ControlFlow::Break(()) => Err(RenderError::Stopped {
                    done_frames: progress.done_frames,
                    frames: progress.frames,
                }),
            }
        })
}
