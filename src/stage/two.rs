//! A set heard in two conditions, one after the other: chilled, left in the sun, full of another gas.

use super::error::StageError;
use super::performance::Performance;
use super::rails::SetRails;
use super::ready::Stage;
use super::render::Rendering;
use super::voices::{Cast, spoken};
use crate::physics::conditions::Conditions;
use crate::plan::programme::{Programme, Spoken};
use crate::sounding::Sounded;

/// What holds, with a name.
#[derive(Clone, Debug, PartialEq)]
pub struct Situation {
    /// What to call it.
    pub label: String,
    /// What holds.
    pub conditions: Conditions,
}

/// A set in two states: the bottles stay as they were poured, and what is in them swells and shrinks.
///
/// ```
/// use ullage::stage::{Situation, Stage, TwoStates};
/// let set = ullage::set::open("presets/quay/set.toml")?;
/// let stage = Stage::new(&set)?;
/// let before = Situation { label: "as it is".into(), conditions: set.conditions.clone() };
/// let after = Situation { label: "warm".into(), conditions: set.conditions.warmed_by_k(15.0) };
/// let both = TwoStates::new(&stage, before, after)?;
/// let performance = both.programme();
/// assert_eq!(performance.programme.parts[1].title, "after, warm: the scale");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug)]
pub struct TwoStates<'a> {
    stage: &'a Stage,
    labels: [String; 2],
    /// All of the first state, then all of the second.
    sounded: Vec<Sounded>,
    rails: SetRails,
}

impl<'a> TwoStates<'a> {
    /// The set on `stage` moved to `before` and to `after`.
    ///
    /// # Errors
    /// A bottle that does not sound in one of them.
    pub fn new(stage: &'a Stage, before: Situation, after: Situation) -> Result<Self, StageError> {
        let (first, first_rails) = moved(stage, &before)?;
        let (second, second_rails) = moved(stage, &after)?;
        Ok(Self {
            stage,
            labels: [before.label, after.label],
            sounded: first.into_iter().chain(second).collect(),
            rails: first_rails.and_then(second_rails),
        })
    }

    /// The scale before and after, then every bottle before and after.
    #[must_use]
    pub fn programme(&self) -> Performance {
        let bottles: Vec<Spoken> = self.sounded.iter().map(spoken).collect();
        let [before, after] = &self.labels;
        let (order, breath) = (self.stage.order(), self.stage.breath());
        Programme::of_two(&bottles, order, (before, after), breath).into()
    }

    /// A rendering of `performance`, as [`Stage::render`] has it.
    pub fn render<'b>(&'b self, performance: &'b Performance) -> Rendering<'b> {
        let cast = Cast {
            set: self.stage.set(),
            sounded: &self.sounded,
            order: self.stage.order(),
            rails: &self.rails,
        };
        Rendering::of(cast, performance)
    }
}

/// The set as it was planned, in another situation.
fn moved(stage: &Stage, situation: &Situation) -> Result<(Vec<Sounded>, SetRails), StageError> {
    let set = stage.set();
    let there = set.clone().heard_in(situation.conditions.clone());
    let mut sounded = Vec::with_capacity(set.pours.len());
    for (pour, plan) in there.pours.iter().zip(stage.sounded()) {
        let now = plan.setting.moved(&set.conditions, &there.conditions);
        let moved = there.source(pour).set_to(plan.target, now);
        sounded.push(moved.map_err(|source| StageError::SilentThere {
            note: pour.note,
            situation: situation.label.clone(),
            source,
        })?);
    }
    let rails = SetRails::of(&there, &sounded)?;
    Ok((sounded, rails))
}
