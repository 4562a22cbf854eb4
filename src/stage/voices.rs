//! From a set to its bottles' voices.

use super::rails::SetRails;
use crate::index::PourIndex;
use crate::physics::prediction::Blown;
use crate::physics::resonance::Resonance;
use crate::plan::programme::Spoken;
use crate::plan::roughness::Partial;
use crate::plan::together::BLOWN_WANDER;
use crate::set::{Set, Way};
use crate::sounding::{Partials, Sounded};
use crate::synth::{
    Balance, BlownVoice, BottleVoice, HIGHEST_MODE_HZ, HIGHEST_PART_OF_RATE, HIGHEST_Q, MOST_MODES,
    PassiveMode, StruckVoice, VoiceError, overtones,
};
use crate::units::{Frequency, Interval, Level, SampleRate};

/// How far to the sides the row of bottles reaches, 0 to 1.
const ROW_WIDTH: f64 = 0.7;
/// Noise in the first mode above the note, dB beside the tone at the usual breath, and how much less there is in each of the
/// next: set so that they stand out of the noise as far as those of recorded bottles do, 6 to 23 dB.
const MODE_DB: f64 = -39.0;
const NEXT_MODE_DB: f64 = -2.0;
/// The air of a struck bottle beside its note: barely there, as measured of an empty bottle; a guess.
const STRUCK_AIR: f64 = 0.02;
/// Widest split of a struck bottle's pairs that a voice has.
const WIDEST_SPLIT: f64 = 0.01;

/// Those who are heard together: the bottles of a set, or those of several states of it, one state after the other and
/// alike placed.
#[derive(Clone, Copy, Debug)]
pub(super) struct Cast<'a> {
    /// The set.
    pub(super) set: &'a Set,
    /// Every pour, of several states all of the first and then all of the next.
    pub(super) sounded: &'a [Sounded],
    /// The pours of one state from the lowest note up.
    pub(super) order: &'a [PourIndex],
    /// What slides.
    pub(super) rails: &'a SetRails,
}

impl Cast<'_> {
    /// Every voice, placed in a row from left to right as they stand from low to high.
    ///
    /// # Errors
    /// A pitch or a Q that no voice has at `rate`.
    pub(super) fn voices(
        &self,
        balance: Balance,
        rate: SampleRate,
    ) -> Result<Vec<BottleVoice>, VoiceError> {
        let mut voices = Vec::with_capacity(self.sounded.len());
        for state in self.sounded.chunks(self.order.len().max(1)) {
            for (index, sounded) in PourIndex::each(state) {
                let place = self.order.iter().position(|&i| i == index).unwrap_or(0);
                let pan = pan(place, self.order.len());
                voices.push(if sounded.way.is_struck() {
                    struck(self.set, index, sounded)?.with_pan(pan)?.into()
                } else {
                    blown((self.set, index), sounded, balance, rate)?
                        .with_pan(pan)?
                        .into()
                });
            }
        }
        Ok(voices)
    }
}

/// Where one of so many bottles stands in their row, -1 to 1: one alone in the middle.
///
/// ```
/// assert_eq!(ullage::stage::pan(0, 1), 0.0);
/// assert_eq!(ullage::stage::pan(0, 15), -ullage::stage::pan(14, 15));
/// ```
#[must_use]
pub fn pan(place: usize, count: usize) -> f64 {
    if count < 2 {
        return 0.0;
    }
    ROW_WIDTH * (2.0 * place as f64 / (count - 1) as f64 - 1.0)
}

/// A pour as it is played.
pub(super) fn spoken(sounded: &Sounded) -> Spoken {
    Spoken {
        resonance: sounded.note(),
        struck: sounded.way.is_struck(),
    }
}

/// How far the pitch of a pour wanders while it sounds, standard deviation: a player's breath does, a wall does not.
///
/// ```
/// let set = ullage::set::open("presets/struck/set.toml")?;
/// assert_eq!(ullage::stage::wander(&set.sounded()?[0]).cents(), 0.0);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[must_use]
pub fn wander(sounded: &Sounded) -> Interval {
    match &sounded.partials {
        Partials::Air(_) => BLOWN_WANDER,
        Partials::Wall { .. } => Interval::from_cents(0.0),
    }
}

/// The partials of a bottle, its note the first: overtones of a breath of `breath` times the threshold, or the wall's own.
///
/// ```
/// let set = ullage::set::open("presets/quay/set.toml")?;
/// let lowest = &set.sounded()?[0];
/// let partials = ullage::stage::partials(lowest, 2.5);
/// assert_eq!(partials[0].hz, lowest.frequency().hz());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
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

fn blown(
    (set, index): (&Set, PourIndex),
    sounded: &Sounded,
    balance: Balance,
    rate: SampleRate,
) -> Result<BlownVoice, VoiceError> {
    let resonance = sounded.note();
    let highest_hz = (HIGHEST_PART_OF_RATE * rate.hz()).min(HIGHEST_MODE_HZ);
    let modes = colours(set, index, sounded).into_iter().zip(0i32..);
    let carried = modes.filter(|(mode, _)| mode.frequency.hz() < highest_hz);
    let modes = carried.map(|(mode, place)| PassiveMode {
        frequency: mode.frequency,
        q: mode.quality.clamp(1.0, HIGHEST_Q),
        gain: Level::from_db(MODE_DB + NEXT_MODE_DB * f64::from(place)).gain(),
    });
    BlownVoice::new(resonance.frequency, resonance.quality)?
        .with_modes(modes.collect())?
        .with_radiation_gain(balance.gain(resonance.frequency))
}

/// The modes that colour the breath of a bottle, from the lowest up: as many as a voice has, or as ring. Of a set that is heard
/// elsewhere they move as the note does.
fn colours(set: &Set, index: PourIndex, sounded: &Sounded) -> Vec<Resonance> {
    let bottle = &set.kind_of(&set.pours[index]).bottle;
    let fill = sounded.air.as_ref().map(|air| air.prediction.fill);
    let line = || {
        let blown = Blown::new(bottle, &set.conditions).ok()?;
        blown.resonances(fill?, 1 + MOST_MODES).ok()
    };
    let all = line().unwrap_or_else(|| sounded.resonances());
    let Some(note) = all.first() else {
        return Vec::new();
    };
    let moved = sounded.frequency().hz() / note.frequency.hz();
    let above = all.iter().skip(1).map(|mode| Resonance {
        frequency: Frequency::from_hz(moved * mode.frequency.hz()),
        ..*mode
    });
    above.collect()
}

fn struck(set: &Set, index: PourIndex, sounded: &Sounded) -> Result<StruckVoice, VoiceError> {
    let mut voice = StruckVoice::from_modes(sounded.modes())?
        .with_mallet(sounded.mallet.unwrap_or_default())
        .with_split(set.striking.doublet_share.clamp(0.0, WIDEST_SPLIT))?
        .with_seed(index.place() as u64);
    voice = voice.with_note(sounded.frequency());
    if let Some(air) = air_of(set, index, sounded) {
        voice = voice.with_air_beside_note(air.frequency, air.quality.max(1.0), STRUCK_AIR)?;
    }
    Ok(voice.evened())
}

/// The air above the liquid of an open struck bottle; nothing where it does not ring.
fn air_of(set: &Set, index: PourIndex, sounded: &Sounded) -> Option<Resonance> {
    if sounded.way != Way::Struck {
        return None;
    }
    let bottle = &set.kind_of(&set.pours[index]).bottle;
    let blown = Blown::new(bottle, &set.conditions).ok()?;
    blown.fundamental(sounded.fill).ok()
}
