//! What a fit to heard pitches came to, for people and for machines.

use serde::Serialize;

use crate::fit::air::Heard;
use crate::number::{rounded, signed};
use crate::set::Kind;
use crate::units::Volume;
use crate::units::shown::Units;

/// What was fitted, as JSON.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Calibration {
    heard: usize,
    mouth_mm: f64,
    volume_pct: f64,
    residual_cents: f64,
    outliers: Vec<Outlier>,
    #[serde(skip)]
    struck: usize,
    #[serde(skip)]
    volume_fitted: bool,
}

#[derive(Clone, Debug, Serialize)]
struct Outlier {
    fill_ml: f64,
    hz: f64,
}

impl Calibration {
    /// Of the air of a kind, if it was fitted.
    pub(super) fn of(kind: &Kind) -> Option<Self> {
        let fit = kind.air_fit.as_ref()?;
        let outlier = |h: &Heard| Outlier {
            fill_ml: rounded(h.fill.ml(), 3),
            hz: rounded(h.frequency.hz(), 3),
        };
        Some(Self {
            heard: fit.heard,
            mouth_mm: rounded(fit.mouth.mm(), 2),
            volume_pct: rounded(100.0 * fit.volume_share, 2),
            residual_cents: rounded(fit.residual.cents(), 1),
            outliers: fit.outliers.iter().map(outlier).collect(),
            struck: kind.heard.iter().filter(|h| h.way.is_struck()).count(),
            volume_fitted: fit.volume_fitted,
        })
    }

    /// One line, and one for each pitch that was left out.
    pub(super) fn text(&self, name: &str, units: Units) -> String {
        let pitches = if self.heard == 1 { "pitch" } else { "pitches" };
        let volume = if self.volume_fitted || self.volume_pct != 0.0 {
            format!(", volume {} %", signed(self.volume_pct, 1))
        } else {
            String::new()
        };
        let mut out = format!(
            "{name}: fitted to {} heard {pitches}: mouth {} {}{volume}, residual {:.0} cents\n",
            self.heard,
            signed(self.mouth_mm / units.mm(), units.digits()),
            units.of_length(),
            self.residual_cents
        );
        for outlier in &self.outliers {
            out += &format!(
                "    left out: {} Hz at {} {}, which the others contradict; hear it again\n",
                outlier.hz,
                units.volume(Volume::from_ml(outlier.fill_ml)),
                units.of_volume()
            );
        }
        if self.struck > 0 {
            out += &format!(
                "    {} struck not counted: it tells of the wall, not of the air\n",
                self.struck
            );
        }
        out
    }
}
