//! A set with all its bottles worked out: what each sounds like, in which order they stand, and what slides.

use super::error::StageError;
use super::rails::SetRails;
use super::ranges::{OutOfRange, Quantity};
use super::voices::{Cast, partials, spoken, wander};
use crate::index::PourIndex;
use crate::physics::conditions::Conditions;
use crate::plan::piece::Keyed;
use crate::plan::programme::{Spoken, USUAL_BREATH};
use crate::plan::together::{Drift, Sounding, drift_cents};
use crate::set::Set;
use crate::sounding::Sounded;
use crate::synth::{Balance, BottleVoice, VoiceError};
use crate::units::{Frequency, SampleRate};

/// A set ready to be played, where it is heard: the one way from a set to any sound of it.
///
/// ```
/// use ullage::stage::Stage;
/// let set = ullage::set::open("presets/quay/set.toml")?;
/// let stage = Stage::new(&set)?;
/// let lowest = stage.order()[0];
/// assert_eq!(stage.set().pours[lowest].note.to_string(), "G2");
/// assert!((stage.sounded()[lowest].frequency().hz() - 98.0).abs() < 1.0);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug)]
pub struct Stage {
    set: Set,
    sounded: Vec<Sounded>,
    order: Vec<PourIndex>,
    rails: SetRails,
    breath: f64,
}

impl Stage {
    /// Works out every bottle of `set`, of which it keeps a copy, at the usual breath of 2.5 times the threshold.
    ///
    /// # Errors
    /// A bottle that gives no sound, or one that slides and has no pitch somewhere on its way.
    pub fn new(set: &Set) -> Result<Self, StageError> {
        let sounded = set.sounded()?;
        Ok(Self {
            rails: SetRails::of(set, &sounded)?,
            order: from_low_to_high(&sounded),
            sounded,
            set: set.clone(),
            breath: USUAL_BREATH,
        })
    }

    /// The same blown with `over_threshold` times the threshold of sounding, 1.1 to 6; of a piece its usual notes.
    ///
    /// # Errors
    /// A breath outside that.
    pub fn with_breath(self, over_threshold: f64) -> Result<Self, OutOfRange> {
        Quantity::Breath.check(over_threshold)?;
        Ok(Self {
            breath: over_threshold,
            ..self
        })
    }

    /// The set.
    #[must_use]
    pub fn set(&self) -> &Set {
        &self.set
    }

    /// What each pour sounds like, in their order.
    #[must_use]
    pub fn sounded(&self) -> &[Sounded] {
        &self.sounded
    }

    /// The pours as they stand in a row, the lowest first.
    #[must_use]
    pub fn order(&self) -> &[PourIndex] {
        &self.order
    }

    /// What slides.
    #[must_use]
    pub fn rails(&self) -> &SetRails {
        &self.rails
    }

    /// How hard the bottles are blown, over the threshold of sounding.
    #[must_use]
    pub fn breath(&self) -> f64 {
        self.breath
    }

    /// Names a pour so that no two are called the same: the bottle, and the note in brackets; a number behind it where
    /// several bottles of a kind have the note.
    ///
    /// # Panics
    /// If there is no pour of this index.
    #[must_use]
    pub fn place_name(&self, pour: PourIndex) -> String {
        let own = &self.set.pours[pour];
        let is_same = |other: &PourIndex| {
            let other = &self.set.pours[*other];
            (other.kind, other.note) == (own.kind, own.note)
        };
        let name = format!("{} ({})", self.set.kind_of(own).name, own.note);
        let all = || PourIndex::all(self.set.pours.len()).filter(is_same);
        if all().count() < 2 {
            return name;
        }
        let number = all().take_while(|other| *other <= pour).count();
        format!("{name} no. {number}")
    }

    /// Every pour as it is played.
    #[must_use]
    pub fn spoken(&self) -> Vec<Spoken> {
        self.sounded.iter().map(spoken).collect()
    }

    /// Every pour with its key.
    #[must_use]
    pub fn keyed(&self) -> Vec<Keyed> {
        let pours = self.set.pours.iter().zip(&self.sounded);
        pours
            .map(|(pour, sounded)| Keyed {
                key: pour.note.midi(),
                spoken: spoken(sounded),
            })
            .collect()
    }

    /// Every pour as it sounds with others, in their order.
    #[must_use]
    pub fn sounding(&self) -> Vec<Sounding> {
        let pours = PourIndex::each(&self.sounded);
        pours
            .map(|(pour, sounded)| Sounding {
                name: self.place_name(pour),
                note: self.set.pours[pour].note,
                pitch: sounded.frequency(),
                wander: wander(sounded),
                partials: partials(sounded, self.breath),
            })
            .collect()
    }

    /// Every pour's voice, placed in a row from left to right as they stand from low to high.
    ///
    /// # Errors
    /// A pitch or a Q that no voice has at `rate`.
    ///
    /// ```
    /// use ullage::stage::Stage;
    /// use ullage::synth::{Balance, Row};
    /// use ullage::units::SampleRate;
    /// let set = ullage::set::open("presets/struck/set.toml")?;
    /// let rate = SampleRate::from_hz(48_000.0);
    /// let voices = Stage::new(&set)?.voices(Balance::Even, rate)?;
    /// let row = Row::new(&voices, rate, 1)?;
    /// assert_eq!(row.bottle_count(), set.pours.len());
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn voices(
        &self,
        balance: Balance,
        rate: SampleRate,
    ) -> Result<Vec<BottleVoice>, VoiceError> {
        self.cast().voices(balance, rate)
    }

    /// How the set moves when it is heard in `other` conditions: what was poured swells and shrinks with its warmth.
    /// Nothing where a bottle does not sound there.
    #[must_use]
    pub fn drift(&self, other: Conditions) -> Option<Drift> {
        let there = self.set.clone().heard_in(other);
        let before: Vec<Frequency> = self.sounded.iter().map(Sounded::frequency).collect();
        let pours = there.pours.iter().zip(&self.sounded);
        let after = pours.map(|(pour, here)| {
            // One that the file does not set was solved for where it was poured.
            let setting = there
                .setting(pour)
                .unwrap_or_else(|| here.setting.moved(&self.set.conditions, &there.conditions));
            Some(there.source(pour).at(setting).ok()?.frequency)
        });
        drift_cents(&before, &after.collect::<Option<Vec<_>>>()?)
    }

    /// Who can be heard.
    pub(super) fn cast(&self) -> Cast<'_> {
        Cast {
            set: &self.set,
            sounded: &self.sounded,
            order: &self.order,
            rails: &self.rails,
        }
    }
}

/// The pours as they stand in a row.
fn from_low_to_high(sounded: &[Sounded]) -> Vec<PourIndex> {
    let mut order: Vec<PourIndex> = PourIndex::all(sounded.len()).collect();
    let hz = |index: PourIndex| sounded[index].frequency().hz();
    order.sort_by(|&a, &b| hz(a).total_cmp(&hz(b)));
    order
}
