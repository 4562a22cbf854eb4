//! A rendering, described.

use super::ranges::{OutOfRange, Quantity};
use crate::file::wav::Bits;
use crate::synth::{Balance, RoomSpec};
use crate::units::{Level, SampleRate};

/// What a rendering is like. The same spec, performance, set and build give the same samples bit for bit; in a room, whose
/// transforms use what the processor has, on one kind of processor.
///
/// ```
/// use ullage::stage::{RenderSpec, Stage};
/// use ullage::units::SampleRate;
/// let set = ullage::set::open("presets/quay/set.toml")?;
/// let piece = ullage::file::piece::open("presets/quay/piece.mid")?;
/// let stage = Stage::new(&set)?;
/// let spec = RenderSpec { rate: SampleRate::from_hz(8_000.0), room: None, click: true, ..RenderSpec::default() };
/// let first_bar = ullage::stage::PieceSpec { to_bar: Some(1), ..Default::default() };
/// let samples = stage.render(&stage.programme_of(&piece, &first_bar)?).with(spec).to_samples()?;
/// assert!(samples.left.iter().any(|sample| sample.abs() > 0.01));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct RenderSpec {
    /// Samples a second, 8,000 to 192,000; of a file a whole number.
    pub rate: SampleRate,
    /// How a file's sample is stored.
    pub bits: Bits,
    /// How loud low notes are against high ones.
    pub balance: Balance,
    /// The room they stand in; dry if there is none.
    pub room: Option<RoomSpec>,
    /// A click on every beat of a piece.
    pub click: bool,
    /// Seed of the breath noise, of all that is thrown anew for each note, and of a file's dither.
    pub seed: u64,
    /// Without anything that wanders or differs from note to note.
    pub steady: bool,
    /// Loudness that a file aims at, LUFS (ITU-R BS.1770), −40 to −9.
    pub lufs: f64,
    /// On top of that, −60 to 20 dB; the sum of the two is −60 to −5.
    pub level: Level,
    /// The highest true peak of a file, dBTP, −40 to 0.
    pub ceiling_dbtp: f64,
}

impl Default for RenderSpec {
    /// 48 kHz, 24 bits, evened out, in a small room, at −20 LUFS under −1 dBTP.
    fn default() -> Self {
        Self {
            rate: SampleRate::from_hz(48_000.0),
            bits: Bits::default(),
            balance: Balance::default(),
            room: Some(RoomSpec::default()),
            click: false,
            seed: 1,
            steady: false,
            lufs: -20.0,
            level: Level::from_db(0.0),
            ceiling_dbtp: -1.0,
        }
    }
}

impl RenderSpec {
    /// Sees whether it can be rendered, before anything is worked out.
    ///
    /// # Errors
    /// The first value out of its range.
    pub fn check(&self) -> Result<(), OutOfRange> {
        Quantity::Rate.check(self.rate.hz())?;
        Quantity::Loudness.check(self.lufs)?;
        Quantity::Level.check(self.level.db())
    }
}
