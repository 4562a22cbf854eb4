//! From a pitch that was heard to what it says about a bottle of the set, in the room as it is.

use std::sync::Arc;

use crate::cli::listen::pouring::Pouring;
use crate::listen::HeardNote;
use crate::listen::advice::{Off, Poured, advice};
use crate::listen::advice_struck::advice_struck;
use crate::listen::strike::{Expected, Strike};
use crate::physics::prediction::Blown;
use crate::physics::struck::Struck;
use crate::set::{Set, Way};
use crate::sounding::{Partials, Setting, Sounded};
use crate::units::{Frequency, Interval, Length, Volume};

use super::document::Model;
use super::tuner::Heard;

/// Farther than this from every note it is none of the bottles, cents.
const FARTHEST_CENTS: f64 = 350.0;
/// A slope below which turning does nothing, cents a unit.
const LEAST_SLOPE: f64 = 1e-3;

/// What is listened for.
#[derive(Clone, Debug)]
pub(super) struct Scene {
    pub model: Model,
    pub fixed: Arc<Set>,
    /// Least and most that each bottle can be set to.
    pub ranges: Vec<(f64, f64)>,
    pub selected: Option<usize>,
    pub follows: bool,
    pub within_cents: f64,
}

/// A pitch, and what it may be.
struct Pitched {
    index: usize,
    frequency: Frequency,
    plus_minus: Interval,
    aim: Frequency,
}

impl Scene {
    /// A mallet is listened for, not breath.
    pub(super) fn is_struck(&self) -> bool {
        let pour = self.selected.and_then(|index| self.model.pours.get(index));
        pour.is_some_and(|pour| pour.way.is_struck())
    }

    /// The bottles that may be meant.
    fn meant(&self) -> Vec<usize> {
        let struck = self.is_struck();
        let pours = self.model.pours.iter().enumerate();
        pours
            .filter(|(_, pour)| pour.way.is_struck() == struck)
            .map(|(index, _)| index)
            .filter(|index| self.follows || self.selected == Some(*index))
            .collect()
    }

    /// The pitches that are listened for.
    pub(super) fn expected(&self) -> Vec<Frequency> {
        self.meant().into_iter().map(|i| self.aim(i)).collect()
    }

    /// The pitch that a bottle should have in the room as it is: its note's, moved as the room has moved the bottle and what
    /// is in it since it was poured. A wall does not feel the room.
    pub(super) fn aim(&self, index: usize) -> Frequency {
        let (model, pour) = (&self.model, &self.model.pours[index]);
        let planned = model.target(index);
        if pour.way.is_struck() || model.poured_at == model.conditions {
            return planned;
        }
        let pitch = |room, setting: Option<Setting>| {
            let found = self.fixed.source_under(pour, room).at(setting?).ok()?;
            Some(found.frequency)
        };
        let before = pitch(&model.poured_at, pour.setting());
        let now = pitch(&model.conditions, model.setting(index));
        let moved = before.and_then(|before| Some(now?.interval_above(before)));
        planned.raised_by(moved.unwrap_or_default())
    }

    /// What a blown note says.
    pub(super) fn of_note(&self, note: &HeardNote) -> Option<Heard> {
        let off = |aim: Frequency| note.frequency.interval_above(aim).cents().abs();
        let aims = self.meant().into_iter().map(|i| (i, self.aim(i)));
        let (index, aim) = aims.min_by(|a, b| off(a.1).total_cmp(&off(b.1)))?;
        if self.follows && off(aim) > FARTHEST_CENTS {
            return None;
        }
        let pitched = Pitched {
            index,
            frequency: note.frequency,
            plus_minus: note.plus_minus,
            aim,
        };
        Some(match self.model.pours[index].way {
            Way::Blown => self.blown(&pitched),
            _ => self.turned(&pitched, None),
        })
    }

    fn blown(&self, pitched: &Pitched) -> Heard {
        let now = &self.model.conditions;
        let bottle = &self.fixed.kinds[self.model.pours[pitched.index].kind].bottle;
        let mut heard = self.heard(pitched);
        let poured = Poured {
            fill: self.model.fill(pitched.index).unwrap_or_default(),
            sure: false,
        };
        match advice(bottle, now, poured, pitched.off()) {
            Ok(found) => {
                heard.add = Some(found.add.ml());
                heard.advice = Pouring::new(&found).text(heard.in_tune);
            }
            Err(error) => heard.advice = error.to_string(),
        }
        let fill = Blown::new(bottle, now)
            .ok()
            .and_then(|blown| blown.fill_for(pitched.frequency).ok());
        self.with_seems(heard, fill.map(Setting::Fill))
    }

    /// A bottle that is tuned by something else than pouring: so much to turn, by what a unit of it does.
    fn turned(&self, pitched: &Pitched, sounded: Option<Sounded>) -> Heard {
        let index = pitched.index;
        let pour = &self.model.pours[index];
        let mut heard = self.heard(pitched);
        let Some(setting) = self.model.setting(index) else {
            heard.advice = "its note cannot be reached".to_owned();
            return heard;
        };
        let source = self.fixed.source_under(pour, &self.model.conditions);
        let sounded = match sounded {
            Some(sounded) => Ok(sounded),
            None => source.set_to(pitched.aim, setting),
        };
        match sounded {
            Ok(sounded) => {
                let per_unit = sounded.per_unit.cents();
                if per_unit.abs() > LEAST_SLOPE {
                    let add = -heard.off.cents() / per_unit;
                    let plus_minus = (heard.plus_minus.cents() / per_unit).abs();
                    heard.add = Some(add);
                    let range = self.ranges[index];
                    heard.advice = words(setting, add, plus_minus, range, heard.in_tune);
                }
            }
            Err(error) => heard.advice = error.to_string(),
        }
        let seems = source.solved(pitched.frequency).ok().map(|s| s.setting);
        self.with_seems(heard, seems)
    }

    /// What taps say.
    pub(super) fn of_strike(&self, strike: &Strike) -> Option<Heard> {
        let told = self.meant().into_iter().filter_map(|index| {
            let sounded = self.sounded(index)?;
            let own = own_partial(strike, &sounded);
            let aim = self.aim(index);
            let off_cents = own.map_or(1e6, |(at, _)| {
                let pitch = strike.partials[at].frequency;
                pitch.interval_above(aim).cents().abs()
            });
            Some((off_cents, index, aim, own, sounded))
        });
        let (off_cents, index, aim, own, sounded) = told.min_by(|a, b| a.0.total_cmp(&b.0))?;
        if self.follows && off_cents > FARTHEST_CENTS {
            return None;
        }
        let partial = own.map_or_else(|| strike.strongest(), |(at, _)| &strike.partials[at]);
        let pitched = Pitched {
            index,
            frequency: partial.frequency,
            plus_minus: partial.plus_minus,
            aim,
        };
        let Some((_, waves)) = own else {
            let mut heard = self.heard(&pitched);
            heard.advice = "none of its partials is where the note should be: this is the strongest one, and says nothing of \
                            what to pour"
                .to_owned();
            return Some(heard);
        };
        Some(match self.model.pours[index].way {
            Way::Struck => self.struck(&pitched, waves),
            _ => self.turned(&pitched, Some(sounded)),
        })
    }

    fn sounded(&self, index: usize) -> Option<Sounded> {
        let pour = &self.model.pours[index];
        let source = self.fixed.source_under(pour, &self.model.conditions);
        let setting = self.model.setting(index)?;
        source.set_to(self.model.target(index), setting).ok()
    }

    fn struck(&self, pitched: &Pitched, waves: u32) -> Heard {
        let pour = &self.model.pours[pitched.index];
        let bottle = &self.fixed.kinds[pour.kind].bottle;
        let source = self.fixed.source_under(pour, &self.model.conditions);
        let spec = source.spec();
        let mut heard = self.heard(pitched);
        let poured = Poured {
            fill: self.model.fill(pitched.index).unwrap_or_default(),
            sure: false,
        };
        let found = Struck::with_waves(bottle, spec, [waves]).and_then(|struck| {
            advice_struck(&struck, waves, spec.density_kg_m3, poured, pitched.off())
        });
        match found {
            Ok(found) => {
                heard.add = Some(found.add.ml());
                heard.advice = Pouring::new(&found).text(heard.in_tune);
            }
            Err(error) => heard.advice = error.to_string(),
        }
        let seems = source.solved(pitched.frequency).ok().map(|s| s.setting);
        self.with_seems(heard, seems)
    }

    fn heard(&self, pitched: &Pitched) -> Heard {
        let off = pitched.frequency.interval_above(pitched.aim);
        let planned = self.model.target(pitched.index);
        Heard {
            index: pitched.index,
            frequency: pitched.frequency,
            plus_minus: pitched.plus_minus,
            aim: pitched.aim,
            off,
            moved: pitched.aim.interval_above(planned),
            nearest: self.model.tuning.nearest(pitched.frequency),
            sounds: false,
            in_tune: off.cents().abs() <= self.within_cents,
            add: None,
            advice: String::new(),
            seems: None,
            seems_level: None,
        }
    }

    fn with_seems(&self, heard: Heard, seems: Option<Setting>) -> Heard {
        let bore = self.fixed.kinds[self.model.pours[heard.index].kind]
            .bottle
            .bore();
        let seems_level: Option<Length> = match seems {
            Some(Setting::Fill(fill)) => Some(bore.level_of(fill.min(bore.capacity()))),
            Some(Setting::Travel(travel)) => Some(travel),
            _ => None,
        };
        Heard {
            seems,
            seems_level,
            ..heard
        }
    }
}

impl Pitched {
    fn off(&self) -> Off {
        Off {
            heard: self.frequency,
            plus_minus: self.plus_minus,
            target: self.aim,
        }
    }
}

/// Which of the partials is the bottle's note, and the waves around it.
fn own_partial(strike: &Strike, sounded: &Sounded) -> Option<(usize, u32)> {
    let Partials::Wall { modes, note } = &sounded.partials else {
        return None;
    };
    let expected: Vec<Expected> = modes
        .iter()
        .map(|mode| Expected {
            waves: mode.n,
            frequency: mode.frequency,
            level: mode.level,
        })
        .collect();
    let told = strike.told_apart(&expected, sounded.plus_minus());
    Some((told[*note]?, modes[*note].n))
}

/// What to turn, and how far.
fn words(
    setting: Setting,
    add: f64,
    plus_minus: f64,
    (least, most): (f64, f64),
    in_tune: bool,
) -> String {
    if in_tune {
        return "in tune".to_owned();
    }
    let (unit, wanted) = (setting.unit(), setting.value() + add);
    if !(least..=most).contains(&wanted) {
        return format!(
            "cannot be reached by its {}: it would need {wanted:.2} {unit}, and has {least:.1} to {most:.1}",
            setting.name()
        );
    }
    let (size, more) = (add.abs(), add >= 0.0);
    let what = match (setting, more) {
        (Setting::Fill(_), true) => format!("add {size:.1} ml"),
        (Setting::Fill(_), false) => format!("take out {size:.1} ml"),
        (Setting::Gauge(_), true) => format!("pump in {size:.3} bar more"),
        (Setting::Gauge(_), false) => format!("let out {size:.3} bar"),
        (Setting::Travel(_), true) => format!("push the floor in by {size:.1} mm"),
        (Setting::Travel(_), false) => format!("pull the floor out by {size:.1} mm"),
        (Setting::Lift(_), true) => format!("lift the second bottle by {size:.1} mm"),
        (Setting::Lift(_), false) => format!("lower the second bottle by {size:.1} mm"),
    };
    let digits = if unit == "bar" { 3 } else { 1 };
    format!("{what} ±{plus_minus:.digits$}")
}

/// The fill that goes with what was heard: of a bottle under pressure the liquid in it.
pub(super) fn fill_heard(model: &Model, index: usize) -> Volume {
    let planned = model.pours[index].fill;
    model.fill(index).or(planned).unwrap_or_default()
}
