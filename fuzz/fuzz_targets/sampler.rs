//! Any instrument through the SoundFont and SFZ writers: refused, or read back by readers that share nothing
//! with them.
#![no_main]

use std::io::Cursor;
use std::path::Path;

use arbitrary::Arbitrary;
use libfuzzer_sys::fuzz_target;
use ullage::file::sampler::{Holds, Instrument, Key, Layer, Take};
use ullage::file::{sf2, sfz};

#[derive(Arbitrary, Debug)]
struct Any {
    name: String,
    rate_hz: u32,
    keys: Vec<(u8, String, f64, u16, u16, u16)>,
}

fuzz_target!(|any: Any| {
    let key = |(key, name, release, frames, start, end): &(u8, String, f64, u16, u16, u16)| Key {
        key: key % 128,
        name: name.clone(),
        layers: vec![Layer {
            name: "soft".to_owned(),
            holds: [Holds::Tone, Holds::Noise, Holds::Stroke][usize::from(key % 3)],
            take: Take::ONLY,
            velocities: (1, 127),
            release_60_db_s: release.abs().clamp(1e-3, 60.0),
            samples: (0..*frames).map(|n| f32::from(n % 7) / 7.0).collect(),
            loop_start: usize::from(*start),
            loop_end: usize::from(*end),
        }],
    };
    let instrument = Instrument {
        name: any.name,
        rate_hz: any.rate_hz.clamp(8_000, 192_000),
        keys: any.keys.iter().take(8).map(key).collect(),
    };
    if let Ok(bytes) = sf2::bytes(&instrument)
        && !instrument.keys.is_empty()
    {
        let font = rustysynth::SoundFont::new(&mut Cursor::new(bytes)).expect("it reads back");
        assert_eq!(font.get_sample_headers().len(), instrument.keys.len());
    }
    // That reader takes a comment such as `key=A.B` for an opcode, and panics.
    let text = sfz::text(&instrument);
    let plain = text.lines().filter(|line| !line.starts_with("//"));
    let text = plain.collect::<Vec<_>>().join("\n");
    let read = sofiza::Instrument::from_sfz(&text, Path::new("")).expect("it reads back");
    assert_eq!(read.regions(), instrument.keys.len());
});
