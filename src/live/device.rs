//! Which sound card, at which rate, in which format; and what there is to choose from.

use super::hush::hush;
use crate::synth::EngineError;
use cpal::traits::{DeviceTrait, HostTrait};
use cpal::{
    BufferSize, Device, Host, HostId, SampleFormat, StreamConfig, SupportedBufferSize,
    SupportedStreamConfig, SupportedStreamConfigRange,
};

/// Frames a callback, unless asked otherwise: 5.3 ms at 48 kHz.
pub(super) const BUFFER_FRAMES: u32 = 256;
/// Rate taken if the device has it, and assumed where there is none, Hz.
pub(super) const RATE_HZ: u32 = 48_000;
/// The most channels that are opened.
pub(super) const MOST_CHANNELS: u16 = 8;
/// Formats that are served, the best first.
pub(super) const FORMATS: [SampleFormat; 6] = [
    SampleFormat::F32,
    SampleFormat::I32,
    SampleFormat::I24,
    SampleFormat::I16,
    SampleFormat::U16,
    SampleFormat::F64,
];

/// The sound card's output or input that is wanted; what is left open is chosen.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct DeviceWish {
    /// The sound system, such as `alsa` or `jack`.
    pub host: Option<String>,
    /// The device, by its name or its identifier, or a part of one.
    pub device: Option<String>,
    /// Samples a second; 48 kHz if left open and the device has it.
    pub rate_hz: Option<u32>,
    /// Frames a callback, within what the device can; if left open 256, and more where the sound breaks up with that.
    pub buffer_frames: Option<u32>,
}

/// Why no sound comes out.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
#[allow(missing_docs, reason = "each message names its own values")]
pub enum OutputError {
    /// No such sound system in this program.
    #[error("no sound system is called {wanted:?}; there is {known}")]
    Host { wanted: String, known: String },
    /// The system's own words.
    #[error("{what}: {because}")]
    System { what: String, because: String },
    /// No such device.
    #[error("no output of {host} is called {wanted:?}; there is {known}")]
    Device {
        wanted: String,
        host: String,
        known: String,
    },
    /// No device at all.
    #[error("{host} has no output")]
    NoDevice { host: String },
    /// The device does not run at this rate.
    #[error("{device} does not run at {rate_hz} Hz, only at {known}")]
    Rate {
        device: String,
        rate_hz: u32,
        known: String,
    },
    /// Neither format nor channels that could be served.
    #[error("{device} has no format of 1 to {MOST_CHANNELS} channels that could be served")]
    Format { device: String },
    /// The set cannot be played at the device's rate.
    #[error(transparent)]
    Engine(#[from] EngineError),
}

impl OutputError {
    pub(super) fn system(what: impl Into<String>, because: &cpal::Error) -> Self {
        Self::System {
            what: what.into(),
            because: because.to_string(),
        }
    }
}

/// An output that is settled but not open.
pub(super) struct Choice {
    pub device: Device,
    pub host_name: String,
    pub device_name: String,
    pub format: SampleFormat,
    pub config: StreamConfig,
}

pub(super) fn name(device: &Device) -> String {
    match device.description() {
        Ok(description) => description.name().to_owned(),
        Err(_) => device.to_string(),
    }
}

pub(super) fn identifier(device: &Device) -> String {
    device
        .id()
        .map_or_else(|_| String::new(), |id| id.id().to_owned())
}

/// Lists names in a sentence.
pub(super) fn or_nothing(names: &[String]) -> String {
    const SHOWN: usize = 12;
    match names.len() {
        0 => "none".to_owned(),
        n if n > SHOWN => format!("{} and {} more", names[..SHOWN].join(", "), n - SHOWN),
        _ => names.join(", "),
    }
}

pub(super) fn host(wanted: Option<&str>) -> Result<Host, OutputError> {
    hush();
    let Some(wanted) = wanted else {
        return Ok(cpal::default_host());
    };
    let known = cpal::available_hosts();
    let found = known
        .iter()
        .find(|id| id.name().eq_ignore_ascii_case(wanted));
    let Some(id) = found else {
        let names: Vec<String> = known.iter().map(HostId::to_string).collect();
        return Err(OutputError::Host {
            wanted: wanted.to_owned(),
            known: or_nothing(&names),
        });
    };
    cpal::host_from_id(*id).map_err(|error| OutputError::system(id.to_string(), &error))
}

fn device(host: &Host, wanted: Option<&str>) -> Result<Device, OutputError> {
    let host_name = host.id().to_string();
    let Some(wanted) = wanted else {
        let default = host.default_output_device();
        return default.ok_or(OutputError::NoDevice { host: host_name });
    };
    let listed = host.output_devices();
    let listed = listed.map_err(|error| OutputError::system(host_name.clone(), &error))?;
    let devices: Vec<Device> = listed.collect();
    called(&devices, wanted).ok_or_else(|| OutputError::Device {
        wanted: wanted.to_owned(),
        host: host_name,
        known: or_nothing(&devices.iter().map(name).collect::<Vec<_>>()),
    })
}

/// The device of that name or identifier, or else the first that has it in either.
pub(super) fn called(devices: &[Device], wanted: &str) -> Option<Device> {
    let lower = wanted.to_lowercase();
    let exact = |d: &&Device| identifier(d) == wanted || name(d).eq_ignore_ascii_case(wanted);
    let part = |d: &&Device| {
        name(d).to_lowercase().contains(&lower) || identifier(d).to_lowercase().contains(&lower)
    };
    let found = devices
        .iter()
        .find(exact)
        .or_else(|| devices.iter().find(part));
    found.cloned()
}

/// How gladly a range is taken: two channels before one before more, then the format.
fn rank(range: &SupportedStreamConfigRange) -> Option<(u16, usize)> {
    let channels = match range.channels() {
        2 => 0,
        1 => 1,
        more if (1..=MOST_CHANNELS).contains(&more) => more,
        _ => return None,
    };
    let format = FORMATS.iter().position(|f| *f == range.sample_format())?;
    Some((channels, format))
}

fn best(ranges: &[SupportedStreamConfigRange], rate_hz: u32) -> Option<SupportedStreamConfigRange> {
    let fitting = ranges
        .iter()
        .filter(|r| r.contains_rate(rate_hz) && rank(r).is_some());
    fitting.min_by_key(|r| rank(r)).copied()
}

pub(super) fn rates(ranges: &[SupportedStreamConfigRange]) -> String {
    let mut rates: Vec<String> = Vec::new();
    for range in ranges {
        let (low, high) = (range.min_sample_rate(), range.max_sample_rate());
        let rate = if low == high {
            format!("{low} Hz")
        } else {
            format!("{low} to {high} Hz")
        };
        if !rates.contains(&rate) {
            rates.push(rate);
        }
    }
    or_nothing(&rates)
}

/// `frames` within what the device can.
pub(super) fn within(frames: u32, range: &SupportedBufferSize) -> u32 {
    match *range {
        SupportedBufferSize::Range { min, max } if min <= max => frames.clamp(min, max),
        _ => frames,
    }
}

/// Settles host, device, format, rate and buffer.
pub(super) fn choose(wish: &DeviceWish) -> Result<Choice, OutputError> {
    let host = host(wish.host.as_deref())?;
    let device = device(&host, wish.device.as_deref())?;
    Offer::of(&host, device, Way::Out)?.settled(wish, best)
}

/// A device, and what it says that it can.
pub(super) struct Offer {
    device: Device,
    host_name: String,
    device_name: String,
    /// Rate it usually runs at, Hz.
    usual_hz: u32,
    ranges: Vec<SupportedStreamConfigRange>,
}

impl Offer {
    /// Asks a device. It may be listed and not be there: this is where it shows.
    pub(super) fn of(host: &Host, device: Device, way: Way) -> Result<Self, OutputError> {
        let device_name = name(&device);
        let because = |error| OutputError::system(device_name.clone(), &error);
        let usual = way.usual(&device).map_err(because)?;
        let ranges = way.ranges(&device).map_err(because)?;
        Ok(Self {
            device,
            host_name: host.id().to_string(),
            device_name,
            usual_hz: usual.sample_rate(),
            ranges,
        })
    }

    /// Settles rate, format and buffer: `best` takes the range that is liked most of those that have a rate.
    pub(super) fn settled(
        self,
        wish: &DeviceWish,
        best: impl Fn(&[SupportedStreamConfigRange], u32) -> Option<SupportedStreamConfigRange>,
    ) -> Result<Choice, OutputError> {
        let wanted = wish.rate_hz.unwrap_or(RATE_HZ);
        let found = match best(&self.ranges, wanted) {
            Some(range) => Some((range, wanted)),
            None if wish.rate_hz.is_some() => {
                return Err(OutputError::Rate {
                    device: self.device_name,
                    rate_hz: wanted,
                    known: rates(&self.ranges),
                });
            }
            None => best(&self.ranges, self.usual_hz).map(|range| (range, self.usual_hz)),
        };
        let Some((range, rate_hz)) = found else {
            return Err(OutputError::Format {
                device: self.device_name,
            });
        };
        let frames = wish.buffer_frames.unwrap_or(BUFFER_FRAMES);
        let config = StreamConfig {
            channels: range.channels(),
            sample_rate: rate_hz,
            buffer_size: BufferSize::Fixed(within(frames, range.buffer_size())),
        };
        Ok(Choice {
            device: self.device,
            host_name: self.host_name,
            device_name: self.device_name,
            format: range.sample_format(),
            config,
        })
    }
}

/// A sound card's way in or out, as it is listed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DeviceInfo {
    /// Its name.
    pub name: String,
    /// What `--device` takes too, and does not change.
    pub id: String,
    /// Whether the system takes it if none is named.
    pub is_default: bool,
    /// Channels it usually has; nothing if the device does not answer.
    pub channels: Option<u16>,
    /// Rate it usually runs at, Hz.
    pub rate_hz: Option<u32>,
    /// Lowest and highest rate, Hz.
    pub rates_hz: Option<(u32, u32)>,
    /// Fewest and most frames a callback, if it says so.
    pub buffer_frames: Option<(u32, u32)>,
}

/// A sound system and its devices.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HostInfo {
    /// Its name.
    pub host: String,
    /// Whether it is taken if none is named.
    pub is_default: bool,
    /// Its devices, or why they cannot be listed.
    pub devices: Result<Vec<DeviceInfo>, NotListed>,
}

/// Why the devices of a sound system cannot be listed, in its own words.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(transparent)]
pub struct NotListed(#[from] cpal::Error);

/// Into the program, or out of it.
#[derive(Clone, Copy, PartialEq)]
pub(super) enum Way {
    In,
    Out,
}

impl Way {
    /// How a device usually runs.
    fn usual(self, device: &Device) -> Result<SupportedStreamConfig, cpal::Error> {
        match self {
            Self::In => device.default_input_config(),
            Self::Out => device.default_output_config(),
        }
    }

    /// All that a device can.
    fn ranges(self, device: &Device) -> Result<Vec<SupportedStreamConfigRange>, cpal::Error> {
        Ok(match self {
            Self::In => device.supported_input_configs()?.collect(),
            Self::Out => device.supported_output_configs()?.collect(),
        })
    }
}

/// The outputs of every sound system. May take a second.
#[must_use]
pub fn list_outputs() -> Vec<HostInfo> {
    list(Way::Out)
}

/// The inputs of every sound system; as [`list_outputs`].
#[must_use]
pub fn list_inputs() -> Vec<HostInfo> {
    list(Way::In)
}

fn list(way: Way) -> Vec<HostInfo> {
    hush();
    let usual = cpal::default_host().id();
    let info = |id: HostId| HostInfo {
        host: id.to_string(),
        is_default: id == usual,
        devices: devices(id, way).map_err(NotListed::from),
    };
    cpal::available_hosts().into_iter().map(info).collect()
}

fn devices(id: HostId, way: Way) -> Result<Vec<DeviceInfo>, cpal::Error> {
    let host = cpal::host_from_id(id)?;
    let (usual, listed) = match way {
        Way::Out => (
            host.default_output_device(),
            host.output_devices()?.collect::<Vec<_>>(),
        ),
        Way::In => (host.default_input_device(), host.input_devices()?.collect()),
    };
    let usual = usual.map(|device| identifier(&device));
    Ok(listed
        .iter()
        .map(|device| info(device, way, usual.as_deref()))
        .collect())
}

fn info(device: &Device, way: Way, usual: Option<&str>) -> DeviceInfo {
    let config = way.usual(device).ok();
    let ranges = way.ranges(device).unwrap_or_default();
    let lowest = ranges
        .iter()
        .map(SupportedStreamConfigRange::min_sample_rate)
        .min();
    let highest = ranges
        .iter()
        .map(SupportedStreamConfigRange::max_sample_rate)
        .max();
    let id = identifier(device);
    DeviceInfo {
        name: name(device),
        is_default: usual == Some(id.as_str()),
        id,
        channels: config.map(|c| c.channels()),
        rate_hz: config.map(|c| c.sample_rate()),
        rates_hz: lowest.zip(highest),
        buffer_frames: config.and_then(|c| match *c.buffer_size() {
            SupportedBufferSize::Range { min, max } => Some((min, max)),
            SupportedBufferSize::Unknown => None,
        }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn range(channels: u16, rates: (u32, u32), format: SampleFormat) -> SupportedStreamConfigRange {
        let buffer = SupportedBufferSize::Range { min: 64, max: 1024 };
        SupportedStreamConfigRange::new(channels, rates.0, rates.1, buffer, format)
    }

    #[test]
    fn two_channels_of_floating_point_are_taken_before_all_else() {
        let all = [
            range(1, (8_000, 96_000), SampleFormat::F32),
            range(2, (8_000, 96_000), SampleFormat::I16),
            range(2, (44_100, 48_000), SampleFormat::F32),
            range(8, (8_000, 96_000), SampleFormat::F32),
        ];
        let taken = best(&all, 48_000).map(|r| (r.channels(), r.sample_format()));
        assert_eq!(taken, Some((2, SampleFormat::F32)));
        let taken = best(&all, 96_000).map(|r| (r.channels(), r.sample_format()));
        assert_eq!(taken, Some((2, SampleFormat::I16)));
        assert_eq!(best(&all, 192_000), None);
    }

    #[test]
    fn nine_channels_and_formats_that_are_not_served_are_passed_over() {
        let all = [
            range(9, (48_000, 48_000), SampleFormat::F32),
            range(2, (48_000, 48_000), SampleFormat::DsdU8),
        ];
        assert_eq!(best(&all, 48_000), None);
    }

    #[test]
    fn the_buffer_is_brought_within_what_the_device_can() {
        let range = SupportedBufferSize::Range { min: 64, max: 1024 };
        assert_eq!([16, 256, 4096].map(|n| within(n, &range)), [64, 256, 1024]);
        assert_eq!(within(16, &SupportedBufferSize::Unknown), 16);
    }

    #[test]
    fn a_sound_system_that_is_not_there_is_named_with_those_that_are() {
        let wish = DeviceWish {
            host: Some("gramophone".to_owned()),
            ..DeviceWish::default()
        };
        let error = choose(&wish).map(|_| ()).map_err(|e| e.to_string());
        let error = error.expect_err("no such host");
        assert!(
            error.contains("gramophone") && error.contains("there is"),
            "{error}"
        );
    }
}
