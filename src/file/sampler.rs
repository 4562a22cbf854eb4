//! A sampled instrument as plain data: what the SFZ and SoundFont writers are given.
//!
//! ```
//! use ullage::file::sampler::wav_name;
//! use ullage::stage::Stage;
//! let mut set = ullage::set::open("presets/quay/set.toml")?;
//! set.pours.retain(|pour| pour.note.midi() == 69); // A4 alone
//! let stage = Stage::new(&set)?;
//! let instrument = stage.instrument(8_000)?;
//! let (key, layer) = (&instrument.keys[0], &instrument.keys[0].layers[0]);
//! assert_eq!(wav_name(key, layer), "069-a4-jetty-sauce-soft.wav");
//! // A loop of whole waves comes round without a click, and holds the pitch.
//! let loop_s = (layer.loop_end - layer.loop_start) as f64 / f64::from(instrument.rate_hz);
//! let waves = stage.sounded()[0].frequency().hz() * loop_s;
//! // It ends on a frame, half a frame off at most: 440 / 8000 / 2 of a wave.
//! assert!((waves - waves.round()).abs() < 0.03);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

/// What a recording holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Holds {
    /// The tone of a blown bottle, without its breath noise.
    Tone,
    /// Its breath noise alone; sounds together with the tone of the same velocities.
    Noise,
    /// A stroke, all of it.
    Stroke,
}

impl Holds {
    /// In one word.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Tone => "tone",
            Self::Noise => "noise",
            Self::Stroke => "stroke",
        }
    }
}

/// One of several recordings of the same, played in turn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Take {
    /// Counted from 1.
    pub number: u8,
    /// How many there are.
    pub of: u8,
}

impl Take {
    /// The only one.
    pub const ONLY: Self = Self { number: 1, of: 1 };
}

/// One recording of a key, for a range of velocities.
#[derive(Clone, Debug, PartialEq)]
pub struct Layer {
    /// What sets it apart, such as `soft`; plain ASCII, at most 14 characters.
    pub name: String,
    /// What it holds.
    pub holds: Holds,
    /// Which take it is.
    pub take: Take,
    /// Lowest and highest velocity, 1 to 127.
    pub velocities: (u8, u8),
    /// Time in which the sound falls by 60 dB after the key is let go, s.
    pub release_60_db_s: f64,
    /// Mono, 1 is full scale, at the instrument's rate and the key's own pitch.
    pub samples: Vec<f32>,
    /// First frame of the loop.
    pub loop_start: usize,
    /// First frame after the loop; there are at least 8 frames more, like those after the loop's start. 0 for a recording
    /// without a loop, which is played through once.
    pub loop_end: usize,
}

impl Layer {
    /// Whether it is held by a loop; otherwise it is played through once, whenever the key is let go.
    #[must_use]
    pub fn is_looped(&self) -> bool {
        self.loop_end > 0
    }
}

/// One key that sounds.
#[derive(Clone, Debug, PartialEq)]
pub struct Key {
    /// MIDI key, 0 to 127.
    pub key: u8,
    /// Its name, any text.
    pub name: String,
    /// From soft to hard, of each the tone first.
    pub layers: Vec<Layer>,
}

/// A set of keys; every other key is silent.
///
/// The recordings hold the pitch that each key must have. So each is its own root key and no writer tunes
/// anything: a whole number of cents, all that the formats have, would be coarser than the recording.
#[derive(Clone, Debug, PartialEq)]
pub struct Instrument {
    /// Its name, any text.
    pub name: String,
    /// Frames a second of every recording.
    pub rate_hz: u32,
    /// Each key once.
    pub keys: Vec<Key>,
}

/// `text` as part of a file's name that every system takes: small letters, digits and single hyphens, at most 40;
/// `instead` when nothing is left.
#[must_use]
pub fn safe_name(text: &str, instead: &str) -> String {
    const LONGEST: usize = 40;
    let mut name = String::new();
    for c in text.chars() {
        if name.len() >= LONGEST {
            break;
        }
        if c.is_ascii_alphanumeric() {
            name.push(c.to_ascii_lowercase());
        } else if !name.is_empty() && !name.ends_with('-') {
            name.push('-');
        }
    }
    let name = name.trim_end_matches('-');
    if name.is_empty() { instead } else { name }.to_owned()
}

/// The file name of a layer's recording.
#[must_use]
pub fn wav_name(key: &Key, layer: &Layer) -> String {
    // A sharp would become the same hyphen as a gap.
    let name = safe_name(&key.name.replace('#', "s"), "bottle");
    format!("{:03}-{name}-{}.wav", key.key, layer.name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_name_has_no_folder_no_dots_and_no_letters_that_a_disk_refuses() {
        assert_eq!(safe_name("../Große Flasche #2", "x"), "gro-e-flasche-2");
        assert_eq!(safe_name("瓶", "bottle"), "bottle");
        assert_eq!(safe_name(&"a".repeat(300), "x").len(), 40);
    }
}
