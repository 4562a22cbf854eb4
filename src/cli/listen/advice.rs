//! What to do, as JSON, and what the room does, in words.

use serde::Serialize;

use super::ListenArgs;
use crate::cli::Failure;
use crate::number::{rounded, signed};
use crate::set::Set;
use crate::sounding::Setting;
use crate::tuner::pouring::Pouring;
use crate::tuner::{Advice, Turning, Verdict};
use crate::units::Interval;

/// What to do, as JSON; in words [`Verdict::to_do`] has it.
#[derive(Clone, Debug, Serialize)]
#[serde(untagged)]
pub(super) enum AdviceRow {
    Pour(PouringRow),
    Turn(TurningRow),
}

/// What to pour.
#[derive(Clone, Debug, Serialize)]
pub(super) struct PouringRow {
    add_ml: f64,
    add_g: f64,
    plus_minus_ml: f64,
    pub(super) repeat_ml: f64,
    fill_now_ml: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    cannot: Option<String>,
}

/// What to turn, in the unit of what tunes the bottle.
#[derive(Clone, Debug, Default, Serialize)]
pub(super) struct TurningRow {
    #[serde(skip_serializing_if = "Option::is_none")]
    add_bar: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    plus_minus_bar: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    add_mm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    plus_minus_mm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    cannot: Option<String>,
}

impl AdviceRow {
    fn new(advice: &Advice) -> Self {
        let cannot = advice.cannot();
        match advice {
            Advice::Pour(pouring) => Self::Pour(PouringRow::new(pouring, cannot)),
            Advice::Turn(turning) => Self::Turn(TurningRow::new(turning, cannot)),
            Advice::Idle(_) | Advice::Unset | Advice::NotItsNote | Advice::AnotherBottle(_) => {
                Self::Turn(TurningRow {
                    cannot,
                    ..TurningRow::default()
                })
            }
        }
    }

    /// What another blow may differ by, of those that are tuned by pouring.
    pub(super) fn repeat_ml(&self) -> Option<f64> {
        match self {
            Self::Pour(pouring) => Some(pouring.repeat_ml),
            Self::Turn(_) => None,
        }
    }
}

impl PouringRow {
    fn new(pouring: &Pouring, cannot: Option<String>) -> Self {
        Self {
            add_ml: rounded(pouring.add.ml(), 2),
            add_g: rounded(pouring.add_mass.g(), 2),
            plus_minus_ml: rounded(pouring.plus_minus.ml(), 2),
            repeat_ml: rounded(pouring.repeat.ml(), 1),
            fill_now_ml: rounded(pouring.fill_now.ml(), 1),
            cannot,
        }
    }
}

impl TurningRow {
    fn new(turning: &Turning, cannot: Option<String>) -> Self {
        let (add, plus_minus) = (turning.add.value(), turning.plus_minus.value());
        match turning.add {
            Setting::Gauge(_) => Self {
                add_bar: Some(rounded(add, 4)),
                plus_minus_bar: Some(rounded(plus_minus, 4)),
                cannot,
                ..Self::default()
            },
            Setting::Travel(_) | Setting::Lift(_) | Setting::Fill(_) => Self {
                add_mm: Some(rounded(add, 2)),
                plus_minus_mm: Some(rounded(plus_minus, 2)),
                cannot,
                ..Self::default()
            },
        }
    }
}

/// What to do by `verdict`, about the bottle called `name`.
pub(super) fn advice_row(verdict: &Verdict, name: &str) -> Result<AdviceRow, Failure> {
    match &verdict.advice {
        Ok(advice) => Ok(AdviceRow::new(advice)),
        Err(error) => Err(Failure::cannot(
            format!("say what to pour into {name:?}"),
            error,
        )),
    }
}

/// What the room does, if it is not the plan's; `moved` is how far it has moved the bottle in question.
pub(super) fn rooms(args: &ListenArgs, set: &Set, moved: Option<Interval>) -> String {
    if set.poured_at == set.conditions {
        return String::new();
    }
    let (plan_c, now_c) = (
        set.poured_at.temperature().c(),
        set.conditions.temperature().c(),
    );
    let room = if (plan_c - now_c).abs() < 0.05 {
        "the set was planned for other conditions than these".to_owned()
    } else {
        format!("the set was planned for {plan_c:.1} °C, and it is {now_c:.1} °C now")
    };
    if args.for_this_room || args.target_hz.is_some() {
        return format!(
            "{room}: poured for this room it is out of tune with whatever was poured for the plan's\n"
        );
    }
    let moved = moved.map_or(String::new(), |moved| {
        format!(", this one by {} cents", signed(moved.cents(), 1))
    });
    format!(
        "{room}: all bottles move together{moved}, and that is not poured away; --for-this-room does\n"
    )
}
