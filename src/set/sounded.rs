//! What the bottles of a set sound like: as its file sets them, or as their notes need.

use super::{Kind, Pour, Set, Way};
use crate::physics::conditions::Conditions;
use crate::sounding::{How, PairOf, Setting, Sounded, SoundedError, Source, drift};
use crate::tuning::NoteName;
use crate::units::{Frequency, Interval};

/// A pour that gives no sound.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("cannot sound {note} in {bottle:?}: {source}")]
pub struct SilentPour {
    /// Its note.
    pub note: NoteName,
    /// The name of its bottle.
    pub bottle: String,
    /// How it is sounded.
    pub way: Way,
    /// Why not.
    pub source: SoundedError,
}

/// A note of a set, and what its bottle gives.
#[derive(Clone, Debug, PartialEq)]
pub struct SoundedPour<'a> {
    /// The note.
    pub note: NoteName,
    /// The name of its bottle.
    pub bottle: &'a str,
    /// What the bottle is set to, and all that comes of it.
    pub sounded: Sounded,
}

impl SoundedPour<'_> {
    /// Its pitch.
    #[must_use]
    pub fn frequency(&self) -> Frequency {
        self.sounded.frequency()
    }

    /// How sure the pitch is (95 %).
    #[must_use]
    pub fn plus_minus(&self) -> Interval {
        self.sounded.plus_minus()
    }

    /// How far the pitch is above that of its note.
    #[must_use]
    pub fn error(&self) -> Interval {
        self.sounded.error()
    }
}

impl Set {
    /// The same set heard in `conditions`: what was poured swells and shrinks with its warmth.
    #[must_use]
    pub fn heard_in(self, conditions: Conditions) -> Self {
        Self { conditions, ..self }
    }

    /// The same set poured and heard in `conditions`: the fills are volumes there.
    #[must_use]
    pub fn poured_in(self, conditions: Conditions) -> Self {
        Self {
            poured_at: conditions.clone(),
            conditions,
            ..self
        }
    }

    /// The same bottles with the same in them, every volume stated as it is under `there`: [`Set::poured_at`] moves, and
    /// nothing sounds different.
    #[must_use]
    pub fn restated(mut self, there: &Conditions) -> Self {
        let swollen = |fill| drift::swollen(fill, &self.poured_at, there);
        for pour in &mut self.pours {
            pour.fill = pour.fill.map(swollen);
        }
        for pair in &mut self.pairs {
            pair.liquid = swollen(pair.liquid);
        }
        self.poured_at = there.clone();
        self
    }

    /// The bottle of a pour and how it is sounded, where it is heard.
    #[must_use]
    pub fn source(&self, pour: &Pour) -> Source<'_> {
        self.source_under(pour, &self.conditions)
    }

    /// The same under `conditions`; what is in the bottles has swollen since it was poured.
    #[must_use]
    pub fn source_under<'a>(&'a self, pour: &Pour, conditions: &'a Conditions) -> Source<'a> {
        let Kind { bottle, fits, .. } = &self.kinds[pour.kind];
        let swollen = |fill| drift::swollen(fill, &self.poured_at, conditions);
        let how = match (pour.way, pour.joined) {
            (Way::Struck, _) => How::Struck,
            (Way::Pressurised, _) => How::Pressurised(swollen(pour.fill.unwrap_or_default())),
            (Way::Sliding, _) => How::Sliding,
            // Reading sees to it that a joined pour has its pair.
            (Way::Joined, Some((pair, which))) => {
                let pair = &self.pairs[pair];
                How::Joined(PairOf {
                    bottles: pair.kinds.map(|k| &self.kinds[k].bottle),
                    hose: pair.hose,
                    liquid: swollen(pair.liquid),
                    which,
                })
            }
            (Way::Blown | Way::Joined, _) => How::Blown,
        };
        Source {
            bottle,
            conditions,
            striking: self.striking,
            fits,
            how,
        }
    }

    /// What a pour is set to where it is heard, if its file says.
    #[must_use]
    pub fn setting(&self, pour: &Pour) -> Option<Setting> {
        self.setting_under(pour, &self.conditions)
    }

    /// The same under `conditions`.
    #[must_use]
    pub fn setting_under(&self, pour: &Pour, conditions: &Conditions) -> Option<Setting> {
        pour.setting_under(&self.poured_at, conditions)
    }

    /// A pour as its file sets it, or as its note needs where it was poured if the file does not say.
    ///
    /// # Errors
    /// Out of reach, or a setting that the bottle cannot have.
    pub fn sounded_pour(&self, pour: &Pour) -> Result<Sounded, SoundedError> {
        let target = self.target(pour);
        let here = self.source(pour);
        match self.setting(pour) {
            Some(setting) => here.set_to(target, setting),
            None if self.conditions == self.poured_at => here.solved(target),
            None => {
                let poured = self.source_under(pour, &self.poured_at).solved(target)?;
                here.set_to(
                    target,
                    poured.setting.moved(&self.poured_at, &self.conditions),
                )
            }
        }
    }

    /// Every pour as [`Set::sounded_pour`] has it, in their order.
    ///
    /// # Errors
    /// The first pour that gives no sound, and why not.
    pub fn sounded(&self) -> Result<Vec<Sounded>, SilentPour> {
        let one = |pour: &Pour| {
            self.sounded_pour(pour).map_err(|source| SilentPour {
                note: pour.note,
                bottle: self.kind_of(pour).name.clone(),
                way: pour.way,
                source,
            })
        };
        self.pours.iter().map(one).collect()
    }

    /// The same with the note and the bottle of each.
    ///
    /// # Errors
    /// As [`Set::sounded`].
    pub fn notes(&self) -> Result<Vec<SoundedPour<'_>>, SilentPour> {
        let named = |(pour, sounded): (&Pour, Sounded)| SoundedPour {
            note: pour.note,
            bottle: &self.kinds[pour.kind].name,
            sounded,
        };
        Ok(self.pours.iter().zip(self.sounded()?).map(named).collect())
    }
}

impl Pour {
    /// What it is set to, if its file says.
    #[must_use]
    pub fn setting(&self) -> Option<Setting> {
        match self.way {
            Way::Blown | Way::Struck => self.fill.map(Setting::Fill),
            Way::Pressurised => self.gauge.map(Setting::Gauge),
            Way::Sliding => self.travel.map(Setting::Travel),
            Way::Joined => self.lift.map(Setting::Lift),
        }
    }

    /// The same under `now` of a pour that was made under `poured_at`: a fill swells and shrinks with its warmth.
    #[must_use]
    pub fn setting_under(&self, poured_at: &Conditions, now: &Conditions) -> Option<Setting> {
        Some(self.setting()?.moved(poured_at, now))
    }

    /// What it has of the sort of `setting`, whether it is tuned by it or not: a bottle under pressure has a fill too.
    #[must_use]
    pub fn same_sort(&self, setting: Setting) -> Option<Setting> {
        match setting {
            Setting::Fill(_) => self.fill.map(Setting::Fill),
            Setting::Gauge(_) => self.gauge.map(Setting::Gauge),
            Setting::Travel(_) => self.travel.map(Setting::Travel),
            Setting::Lift(_) => self.lift.map(Setting::Lift),
        }
    }

    /// Sets it.
    pub fn set_to(&mut self, setting: Setting) {
        match setting {
            Setting::Fill(fill) => self.fill = Some(fill),
            Setting::Gauge(gauge) => self.gauge = Some(gauge),
            Setting::Travel(travel) => self.travel = Some(travel),
            Setting::Lift(lift) => self.lift = Some(lift),
        }
    }
}
