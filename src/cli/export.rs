//! `ullage export`: a set's sounds for any sampler or notation program.

use std::path::{Path, PathBuf};

use clap::Args;
use serde::Serialize;

use super::Failure;
use super::inputs;
use super::options::WriteOptions;
use crate::cli::print::JSON_VERSION;
use crate::cli::print::{print, print_json, table};
use crate::file::atomic::{Overwrite, write_whole};
use crate::file::sampler::{Holds, Instrument, Key, Layer, safe_name, wav_name};
use crate::file::wav::{Bits, WavError, WavFormat, WavSink};
use crate::file::{sf2, sfz};
use crate::index::PourIndex;
use crate::number::rounded;
use crate::stage::{SampledError, Stage};
use crate::units::SampleRate;

/// Write a set's sounds for samplers and notation programs: SFZ, SoundFont, tuning.
#[derive(Debug, Args)]
#[command(after_help = "Example: ullage export presets/quay/set.toml --out quay --mts")]
pub struct ExportArgs {
    /// A set
    pub file: PathBuf,
    /// The folder to write in; it is made if it is missing
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,
    /// Only the SoundFont
    #[arg(long, conflicts_with = "sfz_only")]
    pub sf2_only: bool,
    /// Only the SFZ file and its recordings
    #[arg(long)]
    pub sfz_only: bool,
    /// The tuning, too, as a MIDI Tuning Standard bulk dump (.syx)
    #[arg(long)]
    pub mts: bool,
    /// Samples a second [8000 to 192000]
    #[arg(long, value_name = "HZ", default_value_t = 48_000,
          value_parser = clap::value_parser!(u32).range(8_000..=192_000))]
    pub rate_hz: u32,
    /// What is replaced and printed, and the room.
    #[command(flatten)]
    pub write: WriteOptions,
}

#[derive(Serialize)]
struct ExportReport {
    version: u32,
    files: Vec<String>,
    keys: Vec<ExportRow>,
}

#[derive(Serialize)]
struct ExportRow {
    note: String,
    bottle: String,
    key: u8,
    hz: f64,
    release_s: f64,
    /// Of the hard tone; every layer's is under `layers`.
    loop_start: usize,
    loop_end: usize,
    layers: Vec<RowLayer>,
}

#[derive(Serialize)]
struct RowLayer {
    name: String,
    /// tone, noise or stroke.
    holds: &'static str,
    /// Counted from 1; takes of one name but for their number are played in turn.
    take: u8,
    takes: u8,
    velocities: (u8, u8),
    loop_start: usize,
    loop_end: usize,
}

pub(super) fn run(args: &ExportArgs) -> Result<(), Failure> {
    let set = inputs::heard_set(&args.file, &args.write.print.room)?;
    if set.pours.is_empty() {
        return Err(Failure::bad(
            format!("export {}", args.file.display()),
            "there is no [[pour]] in it",
        )
        .or_try("add [[pour]] with a note and a bottle"));
    }
    let stage = Stage::new(&set)?;
    let instrument = stage.instrument(args.rate_hz).map_err(not_sampled)?;
    let files = write(&instrument, &stage, args)?;
    let report = report(&stage, &instrument, &files);
    if args.write.print.json {
        print_json(&report)
    } else {
        print(&text(&report))
    }
}

fn not_sampled(error: SampledError) -> Failure {
    match error {
        SampledError::OutOfRange(error) => Failure::outside("record this set", error),
        SampledError::SameKey { .. } => {
            Failure::cannot("give every bottle a key of its own", error)
                .or_try("make a set for each of them")
        }
        SampledError::Voice(error) => {
            Failure::cannot("voice this set", error).or_try("raise --rate-hz")
        }
    }
}

/// Writes the files, and names them: recordings first, so that no text names one that is not there.
fn write(
    instrument: &Instrument,
    stage: &Stage,
    args: &ExportArgs,
) -> Result<Vec<PathBuf>, Failure> {
    let stem = safe_name(&stage.set().title, "bottles");
    let path = |extension: &str| args.out.join(format!("{stem}.{extension}"));
    let mut texts: Vec<(PathBuf, Vec<u8>)> = Vec::new();
    let mut wavs: Vec<(PathBuf, &Layer)> = Vec::new();
    if !args.sf2_only {
        for key in &instrument.keys {
            let named = |layer| (args.out.join(wav_name(key, layer)), layer);
            wavs.extend(key.layers.iter().map(named));
        }
        texts.push((path("sfz"), sfz::text(instrument).into_bytes()));
    }
    if !args.sfz_only {
        let bytes = sf2::bytes(instrument).map_err(|error| {
            Failure::cannot("write a SoundFont", error).or_try("add --sfz-only")
        })?;
        texts.push((path("sf2"), bytes));
    }
    if args.mts {
        texts.push((path("syx"), stage.tuning_dump()));
    }
    let wav_paths = wavs.iter().map(|(path, _)| path.clone());
    let files: Vec<PathBuf> = wav_paths
        .chain(texts.iter().map(|(path, _)| path.clone()))
        .collect();
    make_room(&args.out, &files, args.write.force)?;
    let overwrite = Overwrite::forced(args.write.force);
    for (path, layer) in &wavs {
        write_wav(path, layer, instrument.rate_hz, overwrite)
            .map_err(|error| not_written(path, error))?;
    }
    for (path, bytes) in &texts {
        write_whole(path, bytes, overwrite).map_err(|error| not_written(path, error))?;
    }
    Ok(files)
}

fn not_written(path: &Path, error: impl std::fmt::Display) -> Failure {
    Failure::cannot(format!("write {}", path.display()), error)
        .or_try("use --force, or another folder after --out")
}

/// Makes the folder, and sees before anything is written whether a file would be in the way.
fn make_room(folder: &Path, files: &[PathBuf], force: bool) -> Result<(), Failure> {
    if !folder.is_dir() {
        std::fs::create_dir(folder).map_err(|error| {
            Failure::cannot(format!("make the folder {}", folder.display()), error)
                .or_try("name an existing folder, or a new one in an existing folder")
        })?;
    }
    match files.iter().find(|path| !force && path.exists()) {
        Some(path) => Err(not_written(path, "it exists already")),
        None => Ok(()),
    }
}

fn write_wav(
    path: &Path,
    layer: &Layer,
    rate_hz: u32,
    overwrite: Overwrite,
) -> Result<(), WavError> {
    let format = WavFormat {
        rate: SampleRate::from_hz(f64::from(rate_hz)),
        bits: Bits::Int24,
        channels: 1,
    };
    let mut sink = WavSink::create(path, format, overwrite)?;
    sink.write_frames(&layer.samples)?;
    sink.finish()
}

fn report(stage: &Stage, instrument: &Instrument, files: &[PathBuf]) -> ExportReport {
    let (set, sounded) = (stage.set(), stage.sounded());
    let row = |(key, &index): (&Key, &PourIndex)| {
        let layers = key.layers.iter().map(|layer| RowLayer {
            name: layer.name.clone(),
            holds: layer.holds.name(),
            take: layer.take.number,
            takes: layer.take.of,
            velocities: layer.velocities,
            loop_start: layer.loop_start,
            loop_end: layer.loop_end,
        });
        let mut tones = key.layers.iter();
        let hard = tones.rfind(|layer| layer.holds != Holds::Noise);
        let hard = hard.expect("every key has its layers");
        ExportRow {
            note: set.pours[index].note.to_string(),
            bottle: set.kind_of(&set.pours[index]).name.clone(),
            key: key.key,
            hz: rounded(sounded[index].note().frequency.hz(), 4),
            release_s: rounded(hard.release_60_db_s, 4),
            loop_start: hard.loop_start,
            loop_end: hard.loop_end,
            layers: layers.collect(),
        }
    };
    ExportReport {
        version: JSON_VERSION,
        files: files.iter().map(|p| p.display().to_string()).collect(),
        keys: instrument.keys.iter().zip(stage.order()).map(row).collect(),
    }
}

fn text(report: &ExportReport) -> String {
    let header = ["note", "bottle", "key", "Hz", "release s"];
    let cells = |r: &ExportRow| {
        vec![
            r.note.clone(),
            r.bottle.clone(),
            r.key.to_string(),
            format!("{:.2}", r.hz),
            format!("{:.2}", r.release_s),
        ]
    };
    let rows = report.keys.iter().map(cells).collect();
    let files = report.files.iter().map(|file| format!("wrote {file}\n"));
    table(&header, rows, &[0, 1]) + "\n" + &files.collect::<String>()
}
