//! What each bottle gives as it stands: everything about it that is shown or sounded.
//!
//! Two steps. The pitch of every bottle follows each change at once: some tens of microseconds a bottle. What takes
//! a hundred times as long, how sure it is and how fast it moves, is worked out a few bottles a frame while the hand rests.
//!
//! Blown bottles take a short way through here; every other way of sounding is worked out as the planner has it.

use rayon::prelude::*;

use crate::index::PourIndex;
use crate::physics::conditions::ConditionsError;
use crate::physics::joined::Joined;
use crate::physics::prediction::{Blown, LEAST_AIR};
use crate::physics::resonance::Gases;
use crate::physics::sliding::Sliding;
use crate::physics::struck::PLAN_BAR;
use crate::plan::roughness::Partial;
use crate::plan::together::{BLOWN_WANDER, Sounding};
use crate::report::words::doubt;
use crate::set::{Kind, Pour, Set, Way};
use crate::sounding::drift::drift;
use crate::sounding::{Setting, Sounded, SoundedError};
use crate::stage::{partials, wander};
use crate::synth::overtones;
use crate::tuning::NoteName;
use crate::units::{Frequency, Interval, Length, Pressure, Volume};

use super::document::Model;

/// Breath over threshold at which overtones are shown: a middling one.
const SHOWN_BREATH: f64 = 3.0;

/// Why a bottle is silent.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SilentBottle {
    /// Nothing sounds in such a room, or of such a gas.
    #[error(transparent)]
    Conditions(#[from] ConditionsError),
    /// It gives nothing as it stands, or its note is out of its reach.
    #[error(transparent)]
    Sounded(#[from] SoundedError),
    /// Nothing was poured or turned.
    #[error("nothing is set yet")]
    Unset,
}

/// A bottle's voice.
#[derive(Clone, Debug, PartialEq)]
pub struct Pitch {
    /// What it gives.
    pub frequency: Frequency,
    /// How long it rings.
    pub q: f64,
    /// How far it is above its target, cents.
    pub cents: f64,
    /// How far it wanders while it sounds, standard deviation.
    pub wander: Interval,
    /// Its partials, the fundamental first.
    pub partials: Vec<Partial>,
}

/// What takes longer to work out.
#[derive(Clone, Debug, PartialEq)]
pub struct More {
    /// How sure the pitch is (95 %), cents.
    pub plus_minus_cents: f64,
    /// The same in words, or both ends where one is much farther away.
    pub sure: String,
    /// What that comes from most.
    pub doubt: String,
    /// Rise for a millilitre, a bar or a millimetre more: see [`Shown::knob`].
    pub cents_per_unit: f64,
    /// Rise for a kelvin; nothing at the edge of what can be worked out.
    pub cents_per_k: Option<f64>,
    /// What rings beside the note, Hz.
    pub modes_hz: Vec<f64>,
    /// Mass of what is poured, g.
    pub mass_g: f64,
}

/// What a bottle is tuned by, and how far that goes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Knob {
    /// What it is set to.
    pub now: Setting,
    /// The least and the most, in the unit of [`Setting::value`].
    pub range: (f64, f64),
}

impl Knob {
    /// The same turned to `value`, within the range.
    #[must_use]
    pub fn turned_to(self, value: f64) -> Setting {
        let value = value.clamp(self.range.0, self.range.1.max(self.range.0));
        match self.now {
            Setting::Fill(_) => Setting::Fill(Volume::from_ml(value)),
            Setting::Gauge(_) => Setting::Gauge(Pressure::from_bar(value)),
            Setting::Travel(_) => Setting::Travel(Length::from_mm(value)),
            Setting::Lift(_) => Setting::Lift(Length::from_mm(value)),
        }
    }
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
    /// What it is tuned by.
    pub knob: Knob,
    /// What to beware of with it, sounded this way.
    pub cautions: Vec<&'static str>,
    /// Level above the inner floor; of a floor that slides, its face.
    pub level: Length,
    /// Level above the inner floor that gives the note, once it is worked out and if there is one.
    pub aim: Option<Length>,
    /// What it gives, or why it gives nothing.
    pub pitch: Result<Pitch, SilentBottle>,
    /// The rest, once it is worked out.
    pub more: Option<More>,
}

impl Shown {
    /// The pitch, if there is one.
    #[must_use]
    pub fn hz(&self) -> Option<f64> {
        self.pitch.as_ref().ok().map(|pitch| pitch.frequency.hz())
    }

    /// It sounds, and the rest is not worked out yet.
    fn waits(&self) -> bool {
        self.more.is_none() && self.pitch.is_ok()
    }

    /// As it sounds with others; `place` tells two of a name apart.
    #[must_use]
    pub fn sounding(&self) -> Option<Sounding> {
        let pitch = self.pitch.as_ref().ok()?;
        Some(Sounding {
            name: format!("{} ({})", self.name, self.note),
            note: self.note,
            pitch: pitch.frequency,
            wander: pitch.wander,
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
    pub order: Vec<PourIndex>,
    /// Counts up with every change.
    pub revision: u64,
}

impl Derived {
    /// Works everything out that is needed at once.
    #[must_use]
    pub fn new(model: &Model, fixed: &Set) -> Self {
        let mut derived = Self::default();
        derived.update(model, fixed);
        derived
    }

    /// The same for a changed model.
    pub fn update(&mut self, model: &Model, fixed: &Set) {
        let gases = model.conditions.gases();
        self.bottles = (0..model.pours.len())
            .into_par_iter()
            .map(|index| shown(model, PourIndex::new(index), fixed, &gases))
            .collect();
        let target = |index: &PourIndex| self.bottles[*index].target.hz();
        let mut order: Vec<PourIndex> = PourIndex::all(self.bottles.len()).collect();
        order.sort_by(|a, b| target(a).total_cmp(&target(b)));
        self.order = order;
        self.revision += 1;
    }

    /// One bottle whose fill has changed.
    pub fn update_one(&mut self, index: PourIndex, model: &Model, fixed: &Set) {
        let gases = model.conditions.gases();
        let aim = self.bottles[index].aim;
        self.bottles[index] = shown(model, index, fixed, &gases);
        // The room is the same, and so is the level that gives the note.
        self.bottles[index].aim = aim;
        self.revision += 1;
    }

    /// The keys of the notes, from low to high, each once.
    pub(super) fn keys(&self) -> Vec<u8> {
        let mut keys: Vec<u8> = self.bottles.iter().map(|b| b.note.midi()).collect();
        keys.sort_unstable();
        keys.dedup();
        keys
    }

    /// Whether there are bottles of which the rest is not worked out yet.
    pub(super) fn is_waiting(&self) -> bool {
        self.bottles.iter().any(Shown::waits)
    }

    /// Works out the rest of up to `count` bottles, `first` before all others.
    pub fn refine(&mut self, first: Option<PourIndex>, count: usize, model: &Model, fixed: &Set) {
        let waits = |index: &PourIndex| self.bottles[*index].waits();
        let next: Vec<PourIndex> = first
            .into_iter()
            .chain(PourIndex::all(self.bottles.len()))
            .filter(|index| index.place() < self.bottles.len())
            .filter(waits)
            .take(count)
            .collect();
        for &index in &next {
            let bottle = &mut self.bottles[index];
            let kind = &fixed.kinds[model.pours[index].kind];
            match more(model, index, fixed, bottle) {
                Ok(more) => bottle.more = Some(more),
                Err(error) => bottle.pitch = Err(error.into()),
            }
            if bottle.aim.is_none() {
                let bore = kind.bottle.bore();
                bottle.aim = match model.solved(index, fixed) {
                    Some(Setting::Fill(fill)) => Some(bore.level_of(fill)),
                    Some(Setting::Travel(travel)) => Some(travel),
                    _ => None,
                };
            }
        }
    }
}

fn shown(
    model: &Model,
    index: PourIndex,
    fixed: &Set,
    gases: &Result<Gases, ConditionsError>,
) -> Shown {
    let pour = &model.pours[index];
    let kind = &fixed.kinds[pour.kind];
    let bore = kind.bottle.bore();
    let most = bore.capacity() * (1.0 - LEAST_AIR);
    let target = model.target(index);
    let setting = model.setting(index);
    let mut cautions = Vec::new();
    let (mut fill, mut level) = (Volume::default(), Length::default());
    if let Some(Setting::Fill(now)) = setting {
        (fill, level) = (now, bore.level_of(now.min(bore.capacity())));
    }
    let pitch = match (pour.way, setting) {
        (_, None) => Err(out_of_reach(model, index, fixed)),
        (Way::Blown, Some(_)) => blown(kind, fill, target, gases, model.conditions.lip_open),
        (_, Some(setting)) => {
            let source = fixed.source_under(pour, &model.conditions);
            source
                .set_to(target, setting)
                .map(|sounded| {
                    cautions = sounded.cautions();
                    fill = sounded.fill;
                    level = match setting {
                        Setting::Travel(travel) => travel,
                        _ => bore.level_of(fill.min(bore.capacity())),
                    };
                    of_sounded(&sounded)
                })
                .map_err(SilentBottle::from)
        }
    };
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
        knob: knob(model, pour, fixed, setting, most),
        cautions,
        level,
        aim: None,
        pitch,
        more: None,
    }
}

/// What `pour` is tuned by, and its range; a range of nothing where that cannot be worked out.
fn knob(model: &Model, pour: &Pour, fixed: &Set, setting: Option<Setting>, most: Volume) -> Knob {
    let (nothing, range) = match pour.way {
        Way::Blown | Way::Struck => (Setting::Fill(Volume::default()), Some((0.0, most.ml()))),
        Way::Pressurised => (Setting::Gauge(Pressure::default()), Some((0.0, PLAN_BAR))),
        Way::Sliding => {
            let bottle = &fixed.kinds[pour.kind].bottle;
            let sliding = Sliding::new(bottle, &model.conditions).ok();
            let range = sliding.map(|sliding| (0.0, sliding.stroke().mm()));
            (Setting::Travel(Length::default()), range)
        }
        Way::Joined => {
            let pair = pour.joined.map(|(pair, _)| &fixed.pairs[pair]);
            let range = pair.and_then(|pair| {
                let bottles = pair.kinds.map(|kind| &fixed.kinds[kind].bottle);
                let joined = Joined::new(bottles, pair.hose, pair.liquid, &model.conditions);
                let (least, most) = joined.ok()?.lift_range();
                Some((least.mm(), most.mm()))
            });
            (Setting::Lift(Length::default()), range)
        }
    };
    let now = setting.unwrap_or(nothing);
    Knob {
        now,
        range: range.unwrap_or((now.value(), now.value())),
    }
}

/// The voice of a bottle that the planner worked out.
fn of_sounded(sounded: &Sounded) -> Pitch {
    Pitch {
        frequency: sounded.frequency(),
        q: sounded.quality(),
        cents: sounded.error().cents(),
        wander: wander(sounded),
        partials: partials(sounded, SHOWN_BREATH),
    }
}

fn blown(
    kind: &Kind,
    fill: Volume,
    target: Frequency,
    gases: &Result<Gases, ConditionsError>,
    lip_open: f64,
) -> Result<Pitch, SilentBottle> {
    let gases = gases.clone()?;
    let found = Blown::with_gases(&kind.bottle, gases, lip_open)
        .and_then(|blown| blown.fundamental(fill))
        .map_err(SoundedError::from)?;
    let mut amplitudes = vec![1.0];
    amplitudes.extend(overtones(found.frequency, SHOWN_BREATH));
    Ok(Pitch {
        frequency: found.frequency,
        q: found.quality,
        cents: found.frequency.interval_above(target).cents(),
        wander: BLOWN_WANDER,
        partials: Partial::whole(found.frequency.hz(), &amplitudes),
    })
}

fn out_of_reach(model: &Model, index: PourIndex, fixed: &Set) -> SilentBottle {
    let source = fixed.source_under(&model.pours[index], &model.conditions);
    match source.solved(model.target(index)) {
        Err(error) => error.into(),
        Ok(_) => SilentBottle::Unset,
    }
}

fn more(model: &Model, index: PourIndex, fixed: &Set, shown: &Shown) -> Result<More, SoundedError> {
    let source = fixed.source_under(&model.pours[index], &model.conditions);
    let setting = shown.knob.now;
    let sounded = source.set_to(shown.target, setting)?;
    let warmer = drift(&source, setting, &[1.0]).ok();
    let note = sounded.frequency();
    Ok(More {
        plus_minus_cents: sounded.plus_minus().cents(),
        sure: sounded.doubt.text(),
        doubt: doubt(&sounded.doubt),
        cents_per_unit: sounded.per_unit.cents(),
        cents_per_k: warmer.and_then(|moved| Some(moved.first().copied()??.cents())),
        modes_hz: sounded
            .resonances()
            .iter()
            .filter(|r| r.frequency != note)
            .map(|r| r.frequency.hz())
            .collect(),
        mass_g: sounded.mass.g(),
    })
}
