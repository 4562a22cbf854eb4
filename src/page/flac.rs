//! Recordings as FLAC (RFC 9639): the one kind of sound that is small, without loss at a loop's ends, and read by every browser.

use flacenc::component::BitRepr;
use flacenc::error::Verify;

/// Why a recording was not written.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("a recording cannot be written as FLAC: {said}")]
pub struct FlacError {
    /// What the encoder said.
    said: String,
}

impl FlacError {
    fn of(error: &dyn std::fmt::Debug) -> Self {
        Self {
            said: format!("{error:?}"),
        }
    }
}

/// Samples of one channel or several, one after the other, each −1 to 1, at 16 bits.
///
/// # Errors
/// What the encoder says; of such samples nothing is expected.
///
/// ```
/// let bytes = ullage::page::flac(&[0.0, 0.5, 0.0, -0.5], 1, 24_000)?;
/// assert_eq!(&bytes[..4], b"fLaC");
/// # Ok::<(), ullage::page::FlacError>(())
/// ```
pub fn flac(samples: &[f32], channels: usize, rate_hz: u32) -> Result<Vec<u8>, FlacError> {
    let whole = |sample: &f32| i32::from((sample * 32_767.0).round() as i16);
    let whole: Vec<i32> = samples.iter().map(whole).collect();
    let config = flacenc::config::Encoder::default()
        .into_verified()
        .map_err(|(_, error)| FlacError::of(&error))?;
    let source = flacenc::source::MemSource::from_samples(&whole, channels, 16, rate_hz as usize);
    let stream = flacenc::encode_with_fixed_block_size(&config, source, config.block_size)
        .map_err(|error| FlacError::of(&error))?;
    let mut sink = flacenc::bitsink::ByteSink::new();
    stream
        .write(&mut sink)
        .map_err(|error| FlacError::of(&error))?;
    Ok(sink.as_slice().to_vec())
}
