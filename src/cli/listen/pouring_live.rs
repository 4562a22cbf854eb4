//! What is called out while a pour is followed.

use serde::Serialize;

use crate::number::rounded;
use crate::pouring::Reading;
use crate::tuner::filling::{Step, unheard};

/// What is called out, as JSON.
#[derive(Clone, Copy, Debug, Serialize)]
pub(super) struct Said {
    at_s: f64,
    say: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    fill_ml: Option<f64>,
}

impl Said {
    pub(super) fn new(step: Step, now: &Reading) -> Self {
        Self {
            at_s: rounded(now.at.s(), 2),
            say: step.words(),
            fill_ml: now.fill.map(|band| rounded(band.fill.ml(), 1)),
        }
    }
}

/// What the blown note says of the bottle, with what was heard of the pour.
#[derive(Clone, Copy, Debug, Serialize)]
pub(super) struct Learnt {
    learnt_off_cents: f64,
    learnt_plus_minus_cents: f64,
}

impl Learnt {
    pub(super) fn new(reading: &Reading) -> Self {
        Self {
            learnt_off_cents: rounded(reading.off.cents(), 0),
            learnt_plus_minus_cents: rounded(reading.off_plus_minus.cents(), 0),
        }
    }

    pub(super) fn line(&self) -> String {
        format!(
            "learnt from pour and note: {:+.0} cents ±{:.0} from its model; next time: --off-cents {:.0}",
            self.learnt_off_cents, self.learnt_plus_minus_cents, self.learnt_off_cents
        )
    }
}

/// What there is to say now, in a line.
pub(super) fn line(step: Step, now: &Reading) -> String {
    let told = match (now.fill, unheard(now.state)) {
        (Some(band), None) => format!(
            "{:4.0} ml ±{:.0} of {:.0}, {:.0} ml/s, {:.0} s left",
            band.fill.ml(),
            0.5 * (band.high - band.low).ml(),
            now.mark.ml(),
            now.flow_ml_s,
            now.left.s()
        ),
        (_, Some(words)) => words.to_owned(),
        (None, None) => String::new(),
    };
    format!("{:>8} | {told}", step.words())
}
