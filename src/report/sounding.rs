//! From a set as it was read to the sources that sound it.

use crate::physics::conditions::Conditions;
use crate::plan::sounded::{How, PairOf, Setting, Sounded, SoundedError, Source};
use crate::preset::{Pour, Set, Way};

/// The bottle of a pour and how it is sounded, under `conditions`.
#[must_use]
pub fn source<'a>(set: &'a Set, pour: &Pour, conditions: &'a Conditions) -> Source<'a> {
    let kind = &set.kinds[pour.kind];
    let how = match (pour.way, pour.joined) {
        (Way::Struck, _) => How::Struck,
        (Way::Pressurised, _) => How::Pressurised(pour.fill.unwrap_or_default()),
        (Way::Sliding, _) => How::Sliding,
        // Reading sees to it that a joined pour has its pair.
        (Way::Joined, Some((pair, which))) => {
            let pair = &set.pairs[pair];
            How::Joined(PairOf {
                bottles: pair.kinds.map(|k| &set.kinds[k].bottle),
                hose: pair.hose,
                liquid: pair.liquid,
                which,
            })
        }
        (Way::Blown | Way::Joined, _) => How::Blown,
    };
    Source {
        bottle: &kind.bottle,
        conditions,
        striking: set.striking,
        fits: &kind.fits,
        how,
    }
}

/// What a pour is set to, where its file says.
#[must_use]
pub fn setting(pour: &Pour) -> Option<Setting> {
    match pour.way {
        Way::Blown | Way::Struck => pour.fill.map(Setting::Fill),
        Way::Pressurised => pour.gauge.map(Setting::Gauge),
        Way::Sliding => pour.travel.map(Setting::Travel),
        Way::Joined => pour.lift.map(Setting::Lift),
    }
}

/// A pour as its file sets it, or as its note needs where the file does not say.
///
/// # Errors
/// Out of reach, or a setting that the bottle cannot have.
pub fn sounded(set: &Set, pour: &Pour) -> Result<Sounded, SoundedError> {
    source(set, pour, &set.conditions).planned_or_solved(set.target(pour), setting(pour))
}
