//! SFZ: a text that tells a sampler which recording belongs to which key. Version 1 of the format alone.
//!
//! ```
//! use ullage::stage::Stage;
//! let mut set = ullage::set::open("presets/quay/set.toml")?;
//! set.pours.retain(|pour| pour.note.midi() == 69); // A4 alone
//! let stage = Stage::new(&set)?;
//! let text = ullage::file::sfz::text(&stage.instrument(8_000)?);
//! assert!(text.contains("lokey=69 hikey=69"));
//! // What is let go falls by 60 dB in ln(1000) Q / (π f).
//! let sounded = &stage.sounded()[0];
//! let falls_s = 1_000f64.ln() * sounded.quality() / (std::f64::consts::PI * sounded.frequency().hz());
//! let (_, release) = text.split_once("ampeg_release=").ok_or("no release")?;
//! let release_s: f64 = release.split_whitespace().next().ok_or("no time")?.parse()?;
//! assert!((release_s - falls_s).abs() <= 0.00005 + 1e-9); // written to 0.1 ms
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use std::fmt::Write;

use super::sampler::{Instrument, Layer, Take, wav_name};

/// The text of the SFZ file of `instrument`; its recordings are beside it under their [`wav_name`].
///
/// Tone and noise of a key are regions that sound together; takes come in turn. `loop_end` names the last frame of the loop in this format, and the release time is that of 60 dB: the format
/// leaves open how far its envelopes fall.
#[must_use]
pub fn text(instrument: &Instrument) -> String {
    let name: String = instrument
        .name
        .chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect();
    let mut text = format!("// {name}\n// Each key sounds at its bottle's own pitch.\n");
    for key in &instrument.keys {
        let k = key.key;
        let _ = write!(
            text,
            "\n<group>\nlokey={k} hikey={k} pitch_keycenter={k} tune=0\n"
        );
        text += if key.layers.iter().all(Layer::is_looped) {
            "loop_mode=loop_continuous\n"
        } else {
            "loop_mode=one_shot\n"
        };
        for layer in &key.layers {
            let (low, high) = layer.velocities;
            let _ = write!(
                text,
                "<region>\nsample={}\nlovel={low} hivel={high}",
                wav_name(key, layer)
            );
            if layer.take.of > 1 {
                let Take { number, of } = layer.take;
                let _ = write!(text, " seq_length={of} seq_position={number}");
            }
            if layer.is_looped() {
                let _ = write!(
                    text,
                    " loop_start={} loop_end={} ampeg_release={:.4}",
                    layer.loop_start,
                    layer.loop_end - 1,
                    layer.release_60_db_s
                );
            }
            text.push('\n');
        }
    }
    text
}
