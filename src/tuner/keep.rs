//! Whether a pitch that was heard is worth keeping, so that its bottle can be fitted to it, and what comes of that.
//!
//! ```
//! use ullage::tuner::keep::{KeepError, keepable};
//! use ullage::units::Interval;
//!
//! let set = ullage::set::open("presets/quay/set.toml")?;
//! let pour = &set.pours[0];
//! let cents = |cents| set.target(pour).raised_by(Interval::from_cents(cents));
//! let found = keepable(&set, pour, cents(15.0))?;
//! assert_eq!(found.pitch.temp_c, Some(19.0));
//! // That is another bottle, or another fill.
//! assert!(matches!(keepable(&set, pour, cents(-450.0)), Err(KeepError::Far { .. })));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use crate::index::KindIndex;
use crate::number::rounded;
use crate::physics::conditions::Conditions;
use crate::set::{HeardPitch, Pour, Set, Way};
use crate::sounding::drift::swollen;
use crate::sounding::{Setting, Sounded, SoundedError};
use crate::units::{Frequency, Pressure, Volume};

/// A pitch so many times the ± away, and at least so many cents, is not kept: it is another bottle's, or another fill's.
const FAR: f64 = 3.0;
const LEAST_FAR_CENTS: f64 = 200.0;

/// Why a pitch is not kept.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum KeepError {
    /// A floor that slides.
    #[error("what a bottle with a sliding floor gives is not kept: mark where its notes are")]
    Sliding,
    /// A joined pair.
    #[error("what a joined pair gives is not kept: mark where its notes are")]
    Joined,
    /// Another gas than the room's air.
    #[error("what is kept must be heard with the room's air in the bottle")]
    Gas,
    /// Neither the set nor anybody else says what it was set to.
    #[error("nobody said how much is in the bottle")]
    Fill,
    /// The same of a pressure.
    #[error("nobody said what pressure is in the bottle")]
    Gauge,
    /// The bottle gives no note as it is.
    #[error(transparent)]
    Silent(#[from] SoundedError),
    /// Too far from what the bottle should give.
    #[error(
        "{heard_hz:.2} Hz is {off_cents:+.0} cents from what {bottle:?} gives {as_set}; the limit is {limit_cents:.0} cents"
    )]
    Far {
        /// As heard.
        heard_hz: f64,
        /// From what the bottle should give.
        off_cents: f64,
        /// Its name.
        bottle: String,
        /// With what in it.
        as_set: String,
        /// Farthest that is kept.
        limit_cents: f64,
    },
}

/// A pitch that is worth keeping.
#[derive(Clone, Debug, PartialEq)]
pub struct Keepable {
    /// The kind of bottle that it was heard from, one of [`Set::kinds`].
    pub kind: KindIndex,
    /// As it is kept, with the digits that a file has.
    pub pitch: HeardPitch,
    /// What the bottle gives by what was known before.
    pub before: Sounded,
    pour: Pour,
}

/// Why nothing that is heard from a bottle sounded this way is kept, whatever it is.
#[must_use]
pub fn never_kept(way: Way, now: &Conditions) -> Option<KeepError> {
    match way {
        Way::Sliding => Some(KeepError::Sliding),
        Way::Joined => Some(KeepError::Joined),
        Way::Blown => (now.gas != Conditions::default().gas).then_some(KeepError::Gas),
        Way::Struck | Way::Pressurised => None,
    }
}

/// What is kept of `heard`, a pitch of `pour` where `set` is heard now.
///
/// # Errors
/// See [`KeepError`].
pub fn keepable(set: &Set, pour: &Pour, heard: Frequency) -> Result<Keepable, KeepError> {
    if let Some(never) = never_kept(pour.way, &set.conditions) {
        return Err(never);
    }
    let setting = set.setting(pour).ok_or(match pour.way {
        Way::Pressurised => KeepError::Gauge,
        Way::Blown | Way::Struck | Way::Sliding | Way::Joined => KeepError::Fill,
    })?;
    let before = set.source(pour).set_to(set.target(pour), setting)?;
    let off_cents = heard.interval_above(before.frequency()).cents();
    let limit_cents = farthest_cents(before.plus_minus().cents());
    if off_cents.abs() > limit_cents {
        return Err(KeepError::Far {
            heard_hz: heard.hz(),
            off_cents,
            bottle: set.kind_of(pour).name.clone(),
            as_set: match setting {
                Setting::Gauge(gauge) => format!("at {:.3} bar", gauge.bar()),
                other => format!("with {:.1} {} in it", other.value(), other.unit()),
            },
            limit_cents,
        });
    }
    Ok(Keepable {
        kind: pour.kind,
        pitch: as_kept(set, pour, heard),
        before,
        pour: pour.clone(),
    })
}

impl Keepable {
    /// What the bottle gives in `refitted`, the same set fitted to what was kept as well.
    ///
    /// # Errors
    /// It gives no note there.
    pub fn after(&self, refitted: &Set) -> Result<Sounded, SoundedError> {
        let source = refitted.source(&self.pour);
        source.set_to(self.before.target, self.before.setting)
    }
}

/// How far a pitch may be from what was predicted within `plus_minus_cents`, and still be kept, cents: a fit would bend the
/// bottle to almost anything, and what is so far off is another bottle, or another fill.
fn farthest_cents(plus_minus_cents: f64) -> f64 {
    (FAR * plus_minus_cents).max(LEAST_FAR_CENTS)
}

fn as_kept(set: &Set, pour: &Pour, heard: Frequency) -> HeardPitch {
    let now = &set.conditions;
    let poured = pour.fill.unwrap_or_default();
    let fill = swollen(poured, &set.poured_at, now);
    let gauge = match pour.way {
        Way::Pressurised => pour.gauge.unwrap_or_default(),
        Way::Blown | Way::Struck | Way::Sliding | Way::Joined => Pressure::default(),
    };
    HeardPitch {
        fill: Volume::from_ml(rounded(fill.ml(), 2)),
        frequency: Frequency::from_hz(rounded(heard.hz(), 3)),
        temp_c: Some(rounded(now.temperature().c(), 2)),
        way: pour.way,
        gauge,
    }
}
