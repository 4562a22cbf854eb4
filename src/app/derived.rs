//! What each bottle gives as it stands: everything about it that is shown or sounded.
//!
//! Two steps. The pitch of every bottle follows each change at once: some tens of microseconds a bottle. What takes
//! a hundred times as long, how sure it is and how fast it moves, is worked out a few bottles a frame while the hand rests.
//!
//! Ways of sounding other than blowing are worked out here too, each in a function beside [`blown`].

use rayon::prelude::*;

use crate::physics::conditions::Conditions;
use crate::physics::prediction::Blown;
use crate::physics::resonance::Gases;
use crate::plan::fill::Poured;
use crate::plan::roughness::Partial;
use crate::plan::together::Sounding;
use crate::preset::{Kind, Way};
use crate::report::words::doubt;
use crate::synth::overtones;
use crate::tuning::NoteName;
use crate::units::{Frequency, Interval, Length, Volume};

use super::document::Model;

/// Breath over threshold at which overtones are shown: a middling one.
const SHOWN_BREATH: f64 = 3.0;
/// Air left above the highest level that can be drawn, as a share of the capacity.
const LEAST_AIR: f64 = 0.02;

/// A bottle's voice.
#[derive(Clone, Debug, PartialEq)]
pub struct Pitch {
    /// What it gives.
    pub frequency: Frequency,
    /// How long it rings.
    pub q: f64,
    /// How far it is above its target, cents.
    pub cents: f64,
    /// Its partials, the fundamental first.
    pub partials: Vec<Partial>,
}

/// What takes longer to work out.
#[derive(Clone, Debug, PartialEq)]
pub struct More {
    /// How sure the pitch is (95 %), cents.
    pub plus_minus_cents: f64,
    /// What that comes from most.
    pub doubt: String,
    /// Rise for a millilitre more.
    pub cents_per_ml: f64,
    /// Rise for a kelvin.
    pub cents_per_k: f64,
    /// Air modes above the note, Hz.
    pub modes_hz: Vec<f64>,
    /// Mass of what is poured, g.
    pub mass_g: f64,
}

/// What is shown of one bottle.
#[derive(Clone, Debug, PartialEq)]
pub struct Shown {
    /// Its note.
    pub note: NoteName,
    /// The name of its kind.
    pub name: String,
    /// How it is sounded.
    pub way: Way,
    /// The pitch aimed at.
    pub target: Frequency,
    /// The equal-tempered pitch of its key at the same A.
    pub equal: Frequency,
    /// What is in it.
    pub fill: Volume,
    /// The most that it can be drawn full.
    pub most: Volume,
    /// Level above the inner floor.
    pub level: Length,
    /// Level above the inner floor that gives the note, once it is worked out and if there is one.
    pub aim: Option<Length>,
    /// What it gives, or why it gives nothing.
    pub pitch: Result<Pitch, String>,
    /// The rest, once it is worked out.
    pub more: Option<More>,
}

impl Shown {
    /// The pitch, if there is one.
    #[must_use]
    pub fn hz(&self) -> Option<f64> {
        self.pitch.as_ref().ok().map(|pitch| pitch.frequency.hz())
    }

    /// As it sounds with others; `place` tells two of a name apart.
    #[must_use]
    pub fn sounding(&self) -> Option<Sounding> {
        let pitch = self.pitch.as_ref().ok()?;
        Some(Sounding {
            name: format!("{} ({})", self.name, self.note),
            note: self.note,
            pitch: pitch.frequency,
            partials: pitch.partials.clone(),
        })
    }
}

/// What is shown of a set.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Derived {
    /// In the order of the pours.
    pub bottles: Vec<Shown>,
    /// From low to high.
    pub order: Vec<usize>,
    /// Counts up with every change.
    pub revision: u64,
}

impl Derived {
    /// Works everything out that is needed at once.
    #[must_use]
    pub fn new(model: &Model, kinds: &[Kind]) -> Self {
        let mut derived = Self::default();
        derived.update(model, kinds);
        derived
    }

    /// The same for a changed model.
    pub fn update(&mut self, model: &Model, kinds: &[Kind]) {
        let gases = model.conditions.gases().map_err(|error| error.to_string());
        self.bottles = (0..model.pours.len())
            .into_par_iter()
            .map(|index| shown(model, index, kinds, &gases))
            .collect();
        self.order = (0..self.bottles.len()).collect();
        let target = |index: &usize| self.bottles[*index].target.hz();
        let mut order = std::mem::take(&mut self.order);
        order.sort_by(|a, b| target(a).total_cmp(&target(b)));
        self.order = order;
        self.revision += 1;
    }

    /// One bottle whose fill has changed.
    pub fn update_one(&mut self, index: usize, model: &Model, kinds: &[Kind]) {
        let gases = model.conditions.gases().map_err(|error| error.to_string());
        let aim = self.bottles[index].aim;
        self.bottles[index] = shown(model, index, kinds, &gases);
        // The room is the same, and so is the level that gives the note.
        self.bottles[index].aim = aim;
        self.revision += 1;
    }

    /// Works out the rest of up to `count` bottles, `first` before all others; false if nothing is left to do.
    pub fn refine(
        &mut self,
        first: Option<usize>,
        count: usize,
        model: &Model,
        kinds: &[Kind],
    ) -> bool {
        let waits = |index: &usize| {
            let bottle = &self.bottles[*index];
            bottle.more.is_none() && bottle.pitch.is_ok()
        };
        let next: Vec<usize> = first
            .into_iter()
            .chain(0..self.bottles.len())
            .filter(|index| *index < self.bottles.len())
            .filter(waits)
            .take(count)
            .collect();
        for &index in &next {
            let bottle = &mut self.bottles[index];
            let kind = &kinds[model.pours[index].kind];
            match more(kind, bottle, &model.conditions) {
                Ok(more) => bottle.more = Some(more),
                Err(because) => bottle.pitch = Err(because),
            }
            if bottle.aim.is_none() {
                let solved = model.solved(index, kinds);
                bottle.aim = solved.map(|fill| kind.bottle.bore().level_of(fill));
            }
        }
        !next.is_empty()
    }
}

fn shown(model: &Model, index: usize, kinds: &[Kind], gases: &Result<Gases, String>) -> Shown {
    let pour = &model.pours[index];
    let kind = &kinds[pour.kind];
    let bore = kind.bottle.bore();
    let most = bore.capacity() * (1.0 - LEAST_AIR);
    let target = model.target(index);
    let fill = model.fill(index);
    let pitch = match (&pour.way, fill) {
        (Way::Blown, Some(fill)) => blown(kind, fill, target, gases, model.conditions.lip_open),
        (Way::Blown, None) => Err(out_of_reach(model, index, kinds)),
        (Way::Struck, _) => Err("struck bottles are not shown here yet".to_owned()),
    };
    let fill = fill.unwrap_or_default();
    let above_a4 = f64::from(pour.note.midi()) - 69.0;
    Shown {
        note: pour.note,
        name: kind.name.clone(),
        way: pour.way,
        target,
        equal: model
            .tuning
            .a4()
            .raised_by(Interval::from_semitones(above_a4)),
        fill,
        most,
        level: bore.level_of(fill.min(bore.capacity())),
        aim: None,
        pitch,
        more: None,
    }
}

fn blown(
    kind: &Kind,
    fill: Volume,
    target: Frequency,
    gases: &Result<Gases, String>,
    lip_open: f64,
) -> Result<Pitch, String> {
    let gases = gases.clone()?;
    let found = Blown::with_gases(&kind.bottle, gases, lip_open)
        .and_then(|blown| blown.fundamental(fill))
        .map_err(|error| error.to_string())?;
    let mut amplitudes = vec![1.0];
    amplitudes.extend(overtones(found.frequency, SHOWN_BREATH));
    Ok(Pitch {
        frequency: found.frequency,
        q: found.quality,
        cents: found.frequency.interval_above(target).cents(),
        partials: Partial::whole(found.frequency.hz(), &amplitudes),
    })
}

fn out_of_reach(model: &Model, index: usize, kinds: &[Kind]) -> String {
    let bottle = &kinds[model.pours[index].kind].bottle;
    match Poured::solved(bottle, model.target(index), &model.conditions) {
        Err(error) => error.to_string(),
        Ok(_) => "nothing is poured yet".to_owned(),
    }
}

fn more(kind: &Kind, shown: &Shown, conditions: &Conditions) -> Result<More, String> {
    let poured = Poured::with_fill(&kind.bottle, shown.target, shown.fill, conditions)
        .map_err(|error| error.to_string())?;
    let prediction = &poured.prediction;
    let uncertainty = &prediction.uncertainty;
    Ok(More {
        plus_minus_cents: uncertainty.plus_minus.cents(),
        doubt: doubt(uncertainty.dominant()),
        cents_per_ml: prediction.per_ml.cents(),
        cents_per_k: prediction.per_kelvin.cents(),
        modes_hz: prediction.resonances[1..]
            .iter()
            .map(|r| r.frequency.hz())
            .collect(),
        mass_g: poured.mass.g(),
    })
}
