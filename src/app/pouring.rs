//! What there is to see of a bottle that is poured into by ear: plain data, and what can be asked of it.

use std::collections::BTreeMap;

use crate::index::{KindIndex, PourIndex};
use crate::pouring::Reading;
use crate::tuner::filling::{HowFilled, Step};
use crate::units::{Interval, Volume};

/// What can be asked.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum PourAsk {
    /// Follow a pour into the selected bottle; the microphone is opened for it.
    Begin,
    /// Follow it no longer.
    End,
    /// So much is in it already.
    Start(Volume),
    /// It is poured through a funnel.
    Funnel(bool),
    /// Stop at the millilitres that are planned.
    ByMl(bool),
    /// A beep at the end, for those who wear headphones.
    Beep(bool),
}

/// How a pour stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PourNow {
    /// Into which bottle.
    pub index: PourIndex,
    /// What is to be done.
    pub step: Step,
    /// What is heard, once anything is.
    pub reading: Option<Reading>,
    /// What the blown note has said of the bottle: how far above its model, and the ±.
    pub learnt: Option<(Interval, Interval)>,
}

/// Pouring by ear.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Pouring {
    /// How the next one is poured.
    pub how: HowFilled,
    /// A beep at the end, through headphones: the microphone would hear it otherwise.
    pub beep: bool,
    /// The one that is followed.
    pub now: Option<PourNow>,
    /// What was learnt of the bottles, by kind.
    pub learnt: BTreeMap<KindIndex, (Interval, Interval)>,
}
