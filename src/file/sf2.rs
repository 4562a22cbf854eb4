//! SoundFont 2.04: one file with every recording of an instrument, 16 bits.
//!
//! Written from the SoundFont Technical Specification 2.04 (E-mu Systems, 2006): three lists in a RIFF form, INFO with
//! what it is, sdta with the samples end to end, pdta with nine tables that each end in a terminal record. One preset
//! (bank 0, programme 0) holds one instrument; each layer of each key is a zone of it, tone and noise beside each other. The
//! format knows no takes in turn: of several the first is in it.
//!
//! ```
//! use rustysynth::{SoundFont, Synthesizer, SynthesizerSettings};
//! let mut set = ullage::set::open("presets/quay/set.toml")?;
//! set.pours.retain(|pour| pour.note.midi() == 69); // A4 alone
//! let instrument = ullage::stage::Stage::new(&set)?.instrument(16_000)?;
//! let bytes = ullage::file::sf2::bytes(&instrument)?;
//! // A synthesiser that knows nothing of bottles holds the key for three seconds; the first is the attack.
//! let font = std::sync::Arc::new(SoundFont::new(&mut bytes.as_slice())?);
//! let mut synthesiser = Synthesizer::new(&font, &SynthesizerSettings::new(16_000))?;
//! synthesiser.note_on(0, 69, 120);
//! let (mut left, mut right) = (vec![0.0; 48_000], vec![0.0; 48_000]);
//! synthesiser.render(&mut left, &mut right);
//! let power = |hz: f64| {
//!     let turn = |n: usize| std::f64::consts::TAU * hz * n as f64 / 16_000.0;
//!     let sum = |wave: fn(f64) -> f64| (16_000..48_000).map(|n| f64::from(left[n]) * wave(turn(n))).sum::<f64>();
//!     sum(f64::sin).powi(2) + sum(f64::cos).powi(2)
//! };
//! // Two seconds tell half a hertz apart.
//! let loudest = (400..=480).map(f64::from).max_by(|a, b| power(*a).total_cmp(&power(*b)));
//! assert_eq!(loudest, Some(440.0));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use super::sampler::{Instrument, Key, Layer};

/// Zero frames after every recording: the specification's least (7.10).
const ZEROS: usize = 46;
/// Length of every name in the tables, bytes; the last is always zero.
const NAME_BYTES: usize = 20;
/// Full scale of a sample.
const FULL: f32 = 32_767.0;
/// The fall that `releaseVolEnv` is taken to time, over the one that [`Layer::release_60_db_s`] times, dB.
///
/// The specification says 100 dB (8.1.3, generator 38). The players that were measured fall by 96 dB (fluidsynth 2.3.1 and
/// oxisynth 0.1.0, the range of 16 bits) or 80 dB (rustysynth 1.3.8) in that time. With 96, two of them ring as the bottle
/// does, the third a fifth longer, and one that keeps to the letter 4 % shorter.
const RELEASE_DB: f64 = 96.0 / 60.0;

// Generators (8.1.3).
const KEY_RANGE: u16 = 43;
const VEL_RANGE: u16 = 44;
const RELEASE_VOL_ENV: u16 = 38;
const INSTRUMENT: u16 = 41;
const SAMPLE_MODES: u16 = 54;
const SAMPLE_ID: u16 = 53;
const OVERRIDING_ROOT_KEY: u16 = 58;
/// `sampleModes` 1: the loop goes on after the key is let go; 0: played through once.
const LOOP_ALWAYS: u16 = 1;
const LOOP_NEVER: u16 = 0;
/// Release of what is played through once, s: long, so that letting the key go does not damp it.
const ONCE_RELEASE_S: f64 = 60.0;
const MONO: u16 = 1;

/// Why an instrument does not fit into a SoundFont.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
#[allow(missing_docs, reason = "each message names its own numbers")]
pub enum Sf2Error {
    /// RIFF counts bytes in 32 bits.
    #[error("{frames} frames of sound are more than {max}, the most in a SoundFont")]
    TooLong { frames: usize, max: usize },
    /// Tables are numbered in 16 bits.
    #[error("{zones} recordings are more than {max}, the most in a SoundFont's one instrument")]
    TooMany { zones: usize, max: usize },
    /// A loop outside its recording.
    #[error(
        "a loop from {start} to {end} with 8 frames around it is not in a recording of {frames} frames"
    )]
    Loop {
        start: usize,
        end: usize,
        frames: usize,
    },
}

/// The bytes of the SoundFont of `instrument`.
///
/// # Errors
/// Too much sound for 32-bit lengths, more recordings than 16-bit numbers count, or a loop outside its recording.
pub fn bytes(instrument: &Instrument) -> Result<Vec<u8>, Sf2Error> {
    check(instrument)?;
    let mut form = b"sfbk".to_vec();
    form.extend(list(b"INFO", info(instrument)));
    form.extend(list(b"sdta", chunk(b"smpl", samples(instrument))));
    form.extend(list(b"pdta", tables(instrument)));
    Ok(chunk(b"RIFF", form))
}

fn layers(instrument: &Instrument) -> impl Iterator<Item = (&Key, &Layer)> {
    let keys = instrument.keys.iter();
    let all = keys.flat_map(|key| key.layers.iter().map(move |layer| (key, layer)));
    all.filter(|(_, layer)| layer.take.number == 1)
}

fn check(instrument: &Instrument) -> Result<(), Sf2Error> {
    // Room is left for the tables, which are far smaller.
    const MAX_FRAMES: usize = (u32::MAX as usize - (64 << 20)) / 2;
    // Four generators a zone, numbered in 16 bits.
    const MAX_ZONES: usize = u16::MAX as usize / 8;
    let frames = layers(instrument)
        .map(|(_, layer)| layer.samples.len() + ZEROS)
        .sum();
    if frames > MAX_FRAMES {
        return Err(Sf2Error::TooLong {
            frames,
            max: MAX_FRAMES,
        });
    }
    let zones = layers(instrument).count();
    if zones > MAX_ZONES {
        return Err(Sf2Error::TooMany {
            zones,
            max: MAX_ZONES,
        });
    }
    for (_, layer) in layers(instrument).filter(|(_, layer)| layer.is_looped()) {
        let (start, end) = (layer.loop_start, layer.loop_end);
        let frames = layer.samples.len();
        // Players read up to 8 frames on either side of a loop (7.10), and 32 is its least length.
        if start < 8 || end < start + 32 || end + 8 > frames {
            return Err(Sf2Error::Loop { start, end, frames });
        }
    }
    Ok(())
}

fn info(instrument: &Instrument) -> Vec<u8> {
    let mut info = chunk(b"ifil", [2u16, 4].map(u16::to_le_bytes).concat());
    info.extend(chunk(b"isng", text("EMU8000")));
    info.extend(chunk(b"INAM", text(&instrument.name)));
    info.extend(chunk(b"ISFT", text("ullage")));
    info
}

fn samples(instrument: &Instrument) -> Vec<u8> {
    let mut data = Vec::new();
    for (_, layer) in layers(instrument) {
        // `as` saturates: what is too loud is clipped, not wrapped.
        let steps = layer.samples.iter().map(|x| (x * FULL).round() as i16);
        data.extend(steps.flat_map(i16::to_le_bytes));
        data.extend([0; 2 * ZEROS]);
    }
    data
}

/// The nine tables, in the order that the specification wants.
fn tables(instrument: &Instrument) -> Vec<u8> {
    let (mut bags, mut generators, mut headers) = (Vec::new(), Vec::new(), Vec::new());
    let (mut count, mut at) = (0u16, 0usize);
    for ((key, layer), sample) in layers(instrument).zip(0u16..) {
        bags.extend(words(&[count, 0]));
        for (generator, amount) in zone(key, layer, sample) {
            generators.extend(words(&[generator, amount]));
            count += 1;
        }
        headers.extend(header(key, layer, at, instrument.rate_hz));
        at += layer.samples.len() + ZEROS;
    }
    bags.extend(words(&[count, 0]));
    generators.extend(words(&[0, 0]));
    headers.extend(name("EOS"));
    headers.extend([0; 26]);
    let zones = layers(instrument).count() as u16;
    let preset = |title: &str, bag: u16| {
        // ShelfOrSet, bank, first bag; library, genre and morphology are reserved.
        [name(title), words(&[0, 0, bag]), vec![0; 12]].concat()
    };
    let inst = |title: &str, bag: u16| [name(title), words(&[bag])].concat();
    [
        chunk(
            b"phdr",
            [preset(&instrument.name, 0), preset("EOP", 1)].concat(),
        ),
        chunk(b"pbag", words(&[0, 0, 1, 0])),
        chunk(b"pmod", vec![0; 10]),
        chunk(b"pgen", words(&[INSTRUMENT, 0, 0, 0])),
        chunk(
            b"inst",
            [inst(&instrument.name, 0), inst("EOI", zones)].concat(),
        ),
        chunk(b"ibag", bags),
        chunk(b"imod", vec![0; 10]),
        chunk(b"igen", generators),
        chunk(b"shdr", headers),
    ]
    .concat()
}

/// The generators of a zone: the key range first, the velocity range second, the sample last.
fn zone(key: &Key, layer: &Layer, sample: u16) -> [(u16, u16); 6] {
    let range = |low: u8, high: u8| u16::from_le_bytes([low, high]);
    let (low, high) = layer.velocities;
    let (release_s, mode) = if layer.is_looped() {
        (layer.release_60_db_s, LOOP_ALWAYS)
    } else {
        (ONCE_RELEASE_S, LOOP_NEVER)
    };
    [
        (KEY_RANGE, range(key.key, key.key)),
        (VEL_RANGE, range(low, high)),
        (RELEASE_VOL_ENV, release(release_s)),
        (SAMPLE_MODES, mode),
        (OVERRIDING_ROOT_KEY, u16::from(key.key)),
        (SAMPLE_ID, sample),
    ]
}

/// A release in timecents, 1200 log₂ of the seconds that the whole fall takes; from −12000 to 8000.
fn release(release_60_db_s: f64) -> u16 {
    let timecents = 1200.0 * (RELEASE_DB * release_60_db_s).log2();
    (timecents.round().clamp(-12_000.0, 8_000.0) as i16).cast_unsigned()
}

fn header(key: &Key, layer: &Layer, at: usize, rate_hz: u32) -> Vec<u8> {
    let frame = |offset: usize| ((at + offset) as u32).to_le_bytes();
    // The layer's name must survive the cut.
    let kept = NAME_BYTES - 2 - layer.name.len();
    let title: String = key.name.chars().take(kept).collect();
    let mut header = name(&format!("{title} {}", layer.name));
    for offset in [0, layer.samples.len(), layer.loop_start, layer.loop_end] {
        header.extend(frame(offset));
    }
    header.extend(rate_hz.to_le_bytes());
    // The root key, no pitch correction; no linked sample.
    header.extend([key.key, 0]);
    header.extend(words(&[0, MONO]));
    header
}

fn words(values: &[u16]) -> Vec<u8> {
    values.iter().flat_map(|v| v.to_le_bytes()).collect()
}

fn plain(c: char) -> u8 {
    if matches!(c, ' '..='~') {
        c as u8
    } else {
        b'?'
    }
}

/// A name of 20 bytes, filled up with zeros.
fn name(text: &str) -> Vec<u8> {
    let mut bytes: Vec<u8> = text.chars().map(plain).take(NAME_BYTES - 1).collect();
    bytes.resize(NAME_BYTES, 0);
    bytes
}

/// Text of INFO: at most 256 bytes, ended by one or two zeros so that their number is even.
fn text(text: &str) -> Vec<u8> {
    let mut bytes: Vec<u8> = text.chars().map(plain).take(254).collect();
    bytes.push(0);
    if bytes.len() % 2 == 1 {
        bytes.push(0);
    }
    bytes
}

/// A chunk; its data is of even length, so none needs a pad byte.
fn chunk(id: &[u8; 4], data: Vec<u8>) -> Vec<u8> {
    debug_assert!(data.len().is_multiple_of(2));
    let mut bytes = id.to_vec();
    bytes.extend((data.len() as u32).to_le_bytes());
    bytes.extend(data);
    bytes
}

fn list(kind: &[u8; 4], data: Vec<u8>) -> Vec<u8> {
    chunk(b"LIST", [kind.to_vec(), data].concat())
}
