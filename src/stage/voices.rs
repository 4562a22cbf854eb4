//! From a set to its bottles' voices.

use crate::physics::prediction::Blown;
use crate::physics::resonance::Resonance;
use crate::plan::programme::Spoken;
use crate::plan::roughness::Partial;
use crate::plan::together::Sounding;
use crate::set::{Set, Way};
use crate::sounding::{Partials, Sounded};
use crate::synth::{
    Balance, BottleVoice, HIGHEST_PART_OF_RATE, PassiveMode, RingingMode, StruckVoice, VoiceError,
    VoiceSpec, overtones,
};
use crate::units::SampleRate;

/// How far to the sides the row of bottles reaches, 0 to 1.
const ROW_WIDTH: f64 = 0.7;
/// Loudness of the modes above the note beside it: a matter of taste, each half of the one below.
const MODE_GAIN: f64 = 0.5;
/// Breath heard beside the tone, over the voice's own: 40 dB below a full tone. A matter of taste.
const BREATH_GAIN: f64 = 2.5;
/// The air of a struck bottle beside its strongest partial: barely there, as measured of an empty bottle; a guess.
const STRUCK_AIR: f64 = 0.02;
/// Widest split of a struck bottle's pairs that a voice has.
const WIDEST_SPLIT: f64 = 0.01;

/// The pours as they stand in a row.
#[must_use]
pub fn from_low_to_high(sounded: &[Sounded]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..sounded.len()).collect();
    let hz = |index: usize| sounded[index].frequency().hz();
    order.sort_by(|&a, &b| hz(a).total_cmp(&hz(b)));
    order
}

/// A pour as it is played.
#[must_use]
pub fn spoken(sounded: &Sounded) -> Spoken {
    Spoken {
        resonance: sounded.note(),
        struck: sounded.way.is_struck(),
    }
}

/// Names a pour so that two bottles of a kind stay apart.
#[must_use]
pub fn place_name(set: &Set, index: usize) -> String {
    format!(
        "{} ({})",
        set.kind_of(&set.pours[index]).name,
        set.pours[index].note
    )
}

/// A pour as it sounds with others.
#[must_use]
pub fn sounding(set: &Set, sounded: &[Sounded], index: usize, breath: f64) -> Sounding {
    Sounding {
        name: place_name(set, index),
        note: set.pours[index].note,
        pitch: sounded[index].frequency(),
        partials: partials(&sounded[index], breath),
    }
}

/// The partials of a bottle, its note the first: overtones of a breath of `breath` times the threshold, or the wall's own.
#[must_use]
pub fn partials(sounded: &Sounded, breath: f64) -> Vec<Partial> {
    let pitch = sounded.frequency();
    match &sounded.partials {
        Partials::Air(_) => {
            let mut amplitudes = vec![1.0];
            amplitudes.extend(overtones(pitch, breath));
            Partial::whole(pitch.hz(), &amplitudes)
        }
        Partials::Wall { modes, note } => {
            let mut partials = vec![Partial {
                hz: pitch.hz(),
                amplitude: modes[*note].level.gain(),
            }];
            let others = modes.iter().enumerate().filter(|(place, _)| place != note);
            partials.extend(others.map(|(_, mode)| Partial {
                hz: mode.frequency.hz(),
                amplitude: mode.level.gain(),
            }));
            partials
        }
    }
}

/// Every pour's voice, placed in a row from left to right as they stand from low to high in `order`.
///
/// # Errors
/// A pitch or a Q that no voice has at `rate`.
pub fn voices(
    set: &Set,
    sounded: &[Sounded],
    order: &[usize],
    balance: Balance,
    rate: SampleRate,
) -> Result<Vec<BottleVoice>, VoiceError> {
    let places = order.len().max(2) - 1;
    let mut voices = Vec::with_capacity(sounded.len());
    for (index, sounded) in sounded.iter().enumerate() {
        let place = order.iter().position(|&i| i == index).unwrap_or(0);
        let pan = ROW_WIDTH * (2.0 * place as f64 / places as f64 - 1.0);
        voices.push(if sounded.way.is_struck() {
            struck(set, index, sounded)?.with_pan(pan)?.into()
        } else {
            blown(sounded, balance, rate)?.with_pan(pan)?.into()
        });
    }
    Ok(voices)
}

fn blown(sounded: &Sounded, balance: Balance, rate: SampleRate) -> Result<VoiceSpec, VoiceError> {
    let highest_hz = HIGHEST_PART_OF_RATE * rate.hz();
    let resonances = sounded.resonances();
    let above = resonances
        .iter()
        .skip(1)
        .filter(|r| r.frequency.hz() < highest_hz);
    let modes = above.zip(1..).map(|(r, order)| PassiveMode {
        frequency: r.frequency,
        q: r.quality.max(1.0),
        gain: MODE_GAIN.powi(order),
    });
    let resonance = sounded.note();
    VoiceSpec::new(resonance.frequency, resonance.quality)?
        .with_modes(modes.collect())?
        .with_radiation_gain(balance.gain(resonance.frequency))?
        .with_breath_gain(BREATH_GAIN)
}

fn struck(set: &Set, index: usize, sounded: &Sounded) -> Result<StruckVoice, VoiceError> {
    let mut voice = StruckVoice::from_modes(sounded.modes())?
        .with_mallet(sounded.mallet.unwrap_or_default())
        .with_split(set.striking.doublet_share.clamp(0.0, WIDEST_SPLIT))?
        .with_seed(index as u64);
    voice = voice.with_note(sounded.frequency());
    if let Some(air) = air_of(set, index, sounded) {
        voice = voice.with_air_mode(RingingMode {
            frequency: air.frequency,
            q: air.quality.max(1.0),
            level: STRUCK_AIR,
        })?;
    }
    Ok(voice.evened())
}

/// The air above the liquid of an open struck bottle; nothing where it does not ring.
fn air_of(set: &Set, index: usize, sounded: &Sounded) -> Option<Resonance> {
    if sounded.way != Way::Struck {
        return None;
    }
    let bottle = &set.kind_of(&set.pours[index]).bottle;
    let blown = Blown::new(bottle, &set.conditions).ok()?;
    blown.fundamental(sounded.fill).ok()
}
