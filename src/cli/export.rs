//! `ullage export`: a set's sounds for any sampler or notation program.

use std::path::{Path, PathBuf};

use clap::Args;
use serde::Serialize;

use super::Failure;
use super::args::RoomOptions;
use super::inputs;
use crate::cli::print::JSON_VERSION;
use crate::cli::print::{print, print_json, table};
use crate::file::atomic::{Overwrite, write_whole};
use crate::file::sampler::{Instrument, Key, Layer, safe_name, wav_name};
use crate::file::wav::{Bits, WavError, WavFormat, WavSink};
use crate::file::{mts, sf2, sfz};
use crate::number::rounded;
use crate::set::Set;
use crate::sounding::Sounded;
use crate::stage;
use crate::synth::{Balance, BottleVoice, Looped, VoiceError, record_strike};
use crate::units::{Frequency, SampleRate};
use std::f64::consts::PI;

/// The layers: name, velocities, and breath over the threshold of sounding.
const LAYERS: [(&str, (u8, u8), f64); 2] = [("soft", (1, 63), 1.5), ("hard", (64, 127), 3.5)];
/// Breath over the threshold that stands for a stroke of 1 m/s.
const USUAL_BREATH: f64 = 2.5;
/// Highest sample of the loudest recording; the others keep their loudness beside it. Headroom for chords.
const PEAK: f32 = 0.7;
/// Seed of the breath noise.
const SEED: u64 = 1;
/// Natural logarithm of 1000: a fall of 60 dB.
const LN_60_DB: f64 = 6.907_755_278_982_137;

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
    /// Replace files that are there
    #[arg(long)]
    pub force: bool,
    /// Print one JSON object
    #[arg(long)]
    pub json: bool,
    /// The room.
    #[command(flatten)]
    pub room: RoomOptions,
}

#[derive(Serialize)]
struct Report {
    version: u32,
    files: Vec<String>,
    keys: Vec<Row>,
}

#[derive(Serialize)]
struct Row {
    note: String,
    bottle: String,
    key: u8,
    hz: f64,
    release_s: f64,
    /// Of the hard layer; every layer's is under `layers`.
    loop_start: usize,
    loop_end: usize,
    layers: Vec<RowLayer>,
}

#[derive(Serialize)]
struct RowLayer {
    name: &'static str,
    velocities: (u8, u8),
    loop_start: usize,
    loop_end: usize,
}

pub(super) fn run(args: &ExportArgs) -> Result<(), Failure> {
    let set = inputs::heard_set(&args.file, &args.room)?;
    if set.pours.is_empty() {
        return Err(Failure::bad(
            format!("export {}", args.file.display()),
            "there is no [[pour]] in it",
        )
        .or_try("add [[pour]] with a note and a bottle"));
    }
    one_bottle_a_key(&set)?;
    let sounded = set.sounded()?;
    let instrument = instrument(&set, &sounded, args.rate_hz)
        .map_err(|error| Failure::cannot("voice this set", error).or_try("a higher --rate-hz"))?;
    let files = write(&instrument, &set, &sounded, args)?;
    let report = report(&set, &sounded, &instrument, &files);
    if args.json {
        print_json(&report)
    } else {
        print(&text(&report))
    }
}

fn one_bottle_a_key(set: &Set) -> Result<(), Failure> {
    for (index, pour) in set.pours.iter().enumerate() {
        let before = set.pours[..index]
            .iter()
            .find(|other| other.note.midi() == pour.note.midi());
        if let Some(before) = before {
            return Err(Failure::cannot(
                "give every bottle a key of its own",
                format!(
                    "{} and {} are both key {}",
                    before.note,
                    pour.note,
                    pour.note.midi()
                ),
            )
            .or_try("a set for each of them"));
        }
    }
    Ok(())
}

/// Records every layer of every bottle, and brings all to one loudness.
fn instrument(set: &Set, sounded: &[Sounded], rate_hz: u32) -> Result<Instrument, VoiceError> {
    let rate = SampleRate::from_hz(f64::from(rate_hz));
    let order = stage::from_low_to_high(sounded);
    let voices = stage::voices(set, sounded, &order, Balance::Even, rate)?;
    let mut keys = Vec::with_capacity(voices.len());
    for &index in &order {
        let (pour, resonance) = (&set.pours[index], sounded[index].note());
        keys.push(Key {
            key: pour.note.midi(),
            name: format!("{} {}", pour.note, set.kind_of(pour).name),
            release_60_db_s: LN_60_DB * resonance.quality / (PI * resonance.frequency.hz()),
            layers: layers(&voices[index], rate)?,
        });
    }
    let mut instrument = Instrument {
        name: if set.title.trim().is_empty() {
            "bottles".to_owned()
        } else {
            set.title.clone()
        },
        rate_hz,
        keys,
    };
    level(&mut instrument);
    Ok(instrument)
}

fn layers(voice: &BottleVoice, rate: SampleRate) -> Result<Vec<Layer>, VoiceError> {
    let layer = |(name, velocities, breath): (&'static str, (u8, u8), f64)| {
        let (samples, loop_start, loop_end) = match voice {
            BottleVoice::Blown(spec) => {
                let looped = Looped::record(spec, rate, breath, SEED)?;
                (looped.samples, looped.loop_start, looped.loop_end)
            }
            BottleVoice::Struck(voice) => {
                (record_strike(voice, rate, breath / USUAL_BREATH)?, 0, 0)
            }
        };
        Ok(Layer {
            name,
            velocities,
            samples,
            loop_start,
            loop_end,
        })
    };
    LAYERS.into_iter().map(layer).collect()
}

fn level(instrument: &mut Instrument) {
    let samples = |instrument: &Instrument| -> f32 {
        let layers = instrument.keys.iter().flat_map(|key| &key.layers);
        layers
            .flat_map(|layer| &layer.samples)
            .fold(0.0, |peak, sample| peak.max(sample.abs()))
    };
    let gain = PEAK / samples(instrument).max(f32::MIN_POSITIVE);
    for layer in instrument.keys.iter_mut().flat_map(|key| &mut key.layers) {
        layer.samples.iter_mut().for_each(|sample| *sample *= gain);
    }
}

/// Writes the files, and names them: recordings first, so that no text names one that is not there.
fn write(
    instrument: &Instrument,
    set: &Set,
    sounded: &[Sounded],
    args: &ExportArgs,
) -> Result<Vec<PathBuf>, Failure> {
    let stem = safe_name(&set.title, "bottles");
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
        let bytes = sf2::bytes(instrument)
            .map_err(|error| Failure::cannot("write a SoundFont", error).or_try("--sfz-only"))?;
        texts.push((path("sf2"), bytes));
    }
    if args.mts {
        texts.push((path("syx"), tuning(set, sounded)));
    }
    let wav_paths = wavs.iter().map(|(path, _)| path.clone());
    let files: Vec<PathBuf> = wav_paths
        .chain(texts.iter().map(|(path, _)| path.clone()))
        .collect();
    make_room(&args.out, &files, args.force)?;
    let overwrite = Overwrite::forced(args.force);
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
        .or_try("--force, or another folder after --out")
}

/// Makes the folder, and sees before anything is written whether a file would be in the way.
fn make_room(folder: &Path, files: &[PathBuf], force: bool) -> Result<(), Failure> {
    if !folder.is_dir() {
        std::fs::create_dir(folder).map_err(|error| {
            Failure::cannot(format!("make the folder {}", folder.display()), error)
                .or_try("a folder that is there, or one in a folder that is there")
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

fn tuning(set: &Set, sounded: &[Sounded]) -> Vec<u8> {
    let a4 = Frequency::from_hz(440.0);
    let semitones = |p: &Sounded| 69.0 + p.note().frequency.interval_above(a4).cents() / 100.0;
    let keys: Vec<(u8, f64)> = set
        .pours
        .iter()
        .zip(sounded)
        .map(|(pour, p)| (pour.note.midi(), semitones(p)))
        .collect();
    mts::bulk_dump(&set.title, &keys)
}

fn report(set: &Set, sounded: &[Sounded], instrument: &Instrument, files: &[PathBuf]) -> Report {
    let order = stage::from_low_to_high(sounded);
    let row = |(key, &index): (&Key, &usize)| {
        let layers = key.layers.iter().map(|layer| RowLayer {
            name: layer.name,
            velocities: layer.velocities,
            loop_start: layer.loop_start,
            loop_end: layer.loop_end,
        });
        let hard = key.layers.last().expect("every key has its layers");
        Row {
            note: set.pours[index].note.to_string(),
            bottle: set.kind_of(&set.pours[index]).name.clone(),
            key: key.key,
            hz: rounded(sounded[index].note().frequency.hz(), 4),
            release_s: rounded(key.release_60_db_s, 4),
            loop_start: hard.loop_start,
            loop_end: hard.loop_end,
            layers: layers.collect(),
        }
    };
    Report {
        version: JSON_VERSION,
        files: files.iter().map(|p| p.display().to_string()).collect(),
        keys: instrument.keys.iter().zip(&order).map(row).collect(),
    }
}

fn text(report: &Report) -> String {
    let header = ["note", "bottle", "key", "Hz", "release s"];
    let cells = |r: &Row| {
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
