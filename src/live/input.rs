//! Which microphone, at which rate, in which format.

use cpal::traits::HostTrait;
use cpal::{Device, Host, SupportedStreamConfigRange};

use super::device::{
    Choice, DeviceWish, FORMATS, MOST_CHANNELS, Offer, OutputError, Way, called, host, name,
    or_nothing,
};

/// Why no sound comes in.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
#[allow(missing_docs, reason = "each message names its own values")]
pub enum InputError {
    /// What an output can fail by as well: the sound system, the rate, the format.
    #[error(transparent)]
    Shared(#[from] OutputError),
    /// No such device.
    #[error("no input of {host} is called {wanted:?}; there is {known}")]
    Device {
        wanted: String,
        host: String,
        known: String,
    },
    /// No device at all.
    #[error("{host} has no input")]
    NoDevice { host: String },
}

/// Settles host, device, format, rate and buffer; opens nothing.
pub(super) fn choose(wish: &DeviceWish) -> Result<Choice, InputError> {
    let host = host(wish.host.as_deref())?;
    let device = device(&host, wish.device.as_deref())?;
    Ok(Offer::of(&host, device, Way::In)?.settled(wish, best)?)
}

fn device(host: &Host, wanted: Option<&str>) -> Result<Device, InputError> {
    let host_name = host.id().to_string();
    let Some(wanted) = wanted else {
        let default = host.default_input_device();
        return default.ok_or(InputError::NoDevice { host: host_name });
    };
    let listed = host.input_devices();
    let listed = listed.map_err(|error| OutputError::system(host_name.clone(), &error))?;
    let devices: Vec<Device> = listed.collect();
    called(&devices, wanted).ok_or_else(|| InputError::Device {
        wanted: wanted.to_owned(),
        host: host_name,
        known: or_nothing(&devices.iter().map(name).collect::<Vec<_>>()),
    })
}

/// The fewest channels, since a microphone has one and all are mixed, then the format.
fn best(ranges: &[SupportedStreamConfigRange], rate_hz: u32) -> Option<SupportedStreamConfigRange> {
    let rank = |range: &SupportedStreamConfigRange| {
        let channels = range.channels();
        let served = (1..=MOST_CHANNELS).contains(&channels);
        let format = FORMATS.iter().position(|f| *f == range.sample_format())?;
        served.then_some((channels, format))
    };
    let fitting = ranges
        .iter()
        .filter(|r| r.contains_rate(rate_hz) && rank(r).is_some());
    fitting.min_by_key(|r| rank(r)).copied()
}

#[cfg(test)]
mod tests {
    use super::*;
    use cpal::{SampleFormat, SupportedBufferSize};

    fn range(channels: u16, format: SampleFormat) -> SupportedStreamConfigRange {
        let buffer = SupportedBufferSize::Range { min: 64, max: 1024 };
        SupportedStreamConfigRange::new(channels, 8_000, 96_000, buffer, format)
    }

    #[test]
    fn one_channel_is_taken_before_two_and_floating_point_before_whole_numbers() {
        let all = [
            range(2, SampleFormat::F32),
            range(1, SampleFormat::I16),
            range(1, SampleFormat::I32),
            range(12, SampleFormat::F32),
        ];
        let taken = best(&all, 48_000).map(|r| (r.channels(), r.sample_format()));
        assert_eq!(taken, Some((1, SampleFormat::I32)));
        assert_eq!(
            best(&all[3..], 48_000),
            None,
            "more channels than are mixed"
        );
        assert_eq!(best(&all, 192_000), None);
    }

    #[test]
    fn a_sound_system_that_is_not_there_is_named() {
        let wish = DeviceWish {
            host: Some("gramophone".to_owned()),
            ..DeviceWish::default()
        };
        let error = choose(&wish).map(|_| ()).map_err(|e| e.to_string());
        assert!(error.expect_err("no such host").contains("gramophone"));
    }
}
