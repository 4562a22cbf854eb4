//! What to pour, as JSON and in words.

use serde::Serialize;

use super::ListenArgs;
use super::aims::{Aims, Chosen};
use crate::cli::Failure;
use crate::listen::advice::{Advice, Off, Poured, Reach, advice};
use crate::number::{rounded, signed};
use crate::set::Set;
use crate::units::Volume;

/// What to pour, as JSON.
#[derive(Clone, Debug, Serialize)]
pub(crate) struct Pouring {
    add_ml: f64,
    add_g: f64,
    plus_minus_ml: f64,
    pub(super) repeat_ml: f64,
    fill_now_ml: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    cannot: Option<String>,
}

/// What is in the bottle, by what is asked and planned.
pub(super) fn poured(args: &ListenArgs, planned: Option<Volume>) -> Poured {
    Poured {
        fill: args
            .fill_ml
            .map(Volume::from_ml)
            .or(planned)
            .unwrap_or_default(),
        sure: args.fill_ml.is_some(),
    }
}

/// What to pour into a blown bottle.
pub(super) fn pouring(
    args: &ListenArgs,
    aims: &Aims<'_>,
    chosen: &Chosen<'_>,
    off: Off,
) -> Result<Pouring, Failure> {
    let poured = poured(args, chosen.fill);
    let found = advice(&chosen.kind.bottle, &aims.now, poured, off).map_err(|error| {
        let what = format!("say what to pour into {:?}", chosen.kind.name);
        Failure::cannot(what, error)
    })?;
    Ok(Pouring::new(&found))
}

/// What the room does, if it is not the plan's.
pub(super) fn rooms(args: &ListenArgs, aims: &Aims<'_>, chosen: Option<&Chosen<'_>>) -> String {
    let set: &Set = aims.set;
    if set.conditions == aims.now {
        return String::new();
    }
    let (plan_c, now_c) = (set.conditions.temperature().c(), aims.now.temperature().c());
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
    let moved = chosen.map_or(String::new(), |chosen| {
        format!(", this one by {} cents", signed(chosen.moved().cents(), 1))
    });
    format!(
        "{room}: all bottles move together{moved}, and that is not poured away; --for-this-room does\n"
    )
}

impl Pouring {
    pub(crate) fn new(advice: &Advice) -> Self {
        let cannot = match advice.reach {
            Reach::LacksAir(lack) => Some(format!("needs {:.0} ml less than empty", lack.ml())),
            Reach::TooFull(full) => Some(format!(
                "above {:.0} ml the bottle no longer sounds",
                full.ml()
            )),
            Reach::EmptyIsTooLow(lacks) => Some(format!(
                "even empty it is {:.0} cents too low",
                lacks.cents()
            )),
            Reach::BrimfulIsTooHigh(lacks) => Some(format!(
                "even full to the brim it is {:.0} cents too high",
                lacks.cents()
            )),
            Reach::Fine => None,
        };
        Self {
            add_ml: rounded(advice.add.ml(), 2),
            add_g: rounded(advice.add_mass.g(), 2),
            plus_minus_ml: rounded(advice.plus_minus.ml(), 2),
            repeat_ml: rounded(advice.repeat.ml(), 1),
            fill_now_ml: rounded(advice.fill_now.ml(), 1),
            cannot: cannot.map(|why| format!("cannot be reached by pouring: {why}")),
        }
    }

    /// In words; `in_tune` needs none.
    pub(crate) fn text(&self, in_tune: bool) -> String {
        if in_tune {
            return "in tune".to_owned();
        }
        if let Some(cannot) = &self.cannot {
            return cannot.clone();
        }
        let (verb, ml, g) = if self.add_ml >= 0.0 {
            ("add", self.add_ml, self.add_g)
        } else {
            ("take out", -self.add_ml, -self.add_g)
        };
        format!("{verb} {ml:.1} ml ({g:.1} g) ±{:.1}", self.plus_minus_ml)
    }
}
