//! From a set to the bottles' voices: what the commands that sound share.

use super::Failure;
use crate::physics::resonance::Resonance;
use crate::plan::fill::Poured;
use crate::preset::{Set, Way};
use crate::synth::{Balance, HIGHEST_PART_OF_RATE, PassiveMode, VoiceError, VoiceSpec};
use crate::units::SampleRate;

/// How far to the sides the row of bottles reaches, 0 to 1.
const ROW_WIDTH: f64 = 0.7;
/// Loudness of the modes above the note beside it: a matter of taste, each half of the one below.
const MODE_GAIN: f64 = 0.5;
/// Breath heard beside the tone, over the voice's own: 40 dB below a full tone. A matter of taste.
const BREATH_GAIN: f64 = 2.5;

/// Every pour of a set with the fill it names, or else the fill that its note needs.
pub(super) fn poured(set: &Set) -> Result<Vec<Poured>, Failure> {
    only_blown(set, "sound this set")?;
    let mut poured = Vec::with_capacity(set.pours.len());
    for pour in &set.pours {
        let (bottle, target) = (&set.kind_of(pour).bottle, set.target(pour));
        let result = Poured::planned_or_solved(bottle, target, pour.fill, &set.conditions);
        poured.push(result.map_err(|because| {
            Failure::cannot(
                format!("sound {} in {:?}", pour.note, set.kind_of(pour).name),
                because,
            )
            .or_try("another bottle for this note, or less in it")
        })?);
    }
    Ok(poured)
}

/// Refuses sets with bottles that are not blown, for commands that know only those.
pub(super) fn only_blown(set: &Set, what: &str) -> Result<(), Failure> {
    let Some(pour) = set.pours.iter().find(|p| p.way != Way::Blown) else {
        return Ok(());
    };
    Err(Failure::cannot(
        what,
        format!(
            "{} in {:?} is {}, and this command knows blown bottles only",
            pour.note,
            set.kind_of(pour).name,
            pour.way
        ),
    )
    .or_try("a set of the blown ones alone; ullage pour, fill and marks know every way"))
}

/// The pours as they stand in a row.
pub(super) fn from_low_to_high(poured: &[Poured]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..poured.len()).collect();
    let hz = |index: usize| note(&poured[index]).frequency.hz();
    order.sort_by(|&a, &b| hz(a).total_cmp(&hz(b)));
    order
}

pub(super) fn note(poured: &Poured) -> Resonance {
    poured.prediction.note()
}

/// Every bottle's voice, placed in a row from left to right as they stand from low to high.
pub(super) fn specs(
    poured: &[Poured],
    order: &[usize],
    balance: Balance,
    rate: SampleRate,
) -> Result<Vec<VoiceSpec>, VoiceError> {
    let places = order.len().max(2) - 1;
    let mut specs = Vec::with_capacity(poured.len());
    for (index, poured) in poured.iter().enumerate() {
        let place = order.iter().position(|&i| i == index).unwrap_or(0);
        let pan = ROW_WIDTH * (2.0 * place as f64 / places as f64 - 1.0);
        let highest_hz = HIGHEST_PART_OF_RATE * rate.hz();
        let above = poured
            .prediction
            .resonances
            .iter()
            .skip(1)
            .filter(|r| r.frequency.hz() < highest_hz);
        let modes = above.zip(1..).map(|(r, order)| PassiveMode {
            frequency: r.frequency,
            q: r.quality.max(1.0),
            gain: MODE_GAIN.powi(order),
        });
        let resonance = note(poured);
        specs.push(
            VoiceSpec::new(resonance.frequency, resonance.quality)?
                .with_modes(modes.collect())?
                .with_radiation_gain(balance.gain(resonance.frequency))?
                .with_breath_gain(BREATH_GAIN)?
                .with_pan(pan)?,
        );
    }
    Ok(specs)
}
