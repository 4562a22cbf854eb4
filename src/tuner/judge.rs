//! From a pitch or from taps that were heard to what they say about a bottle of a set, in the room as it is.
//!
//! ```
//! use ullage::index::PourIndex;
//! use ullage::tuner::{Judge, ListenFor, Meant, Reading};
//! use ullage::units::Interval;
//!
//! let set = ullage::set::open("presets/quay/set.toml")?;
//! let g3 = PourIndex::all(set.pours.len()).find(|at| set.pours[*at].note.to_string() == "G3");
//! let g3 = g3.expect("it is planned");
//! let target = set.target(&set.pours[g3]);
//! let judge = Judge::new(set, &ListenFor::new(Meant::Pours(vec![g3])));
//! // A fifth of a semitone sharp: there is too much in it.
//! let reading = Reading {
//!     frequency: target.raised_by(Interval::from_cents(20.0)),
//!     plus_minus: Interval::from_cents(0.5),
//! };
//! let verdict = judge.of_pitch(reading).expect("one bottle is meant");
//! assert!((verdict.off.cents() - 20.0).abs() < 1e-6 && !verdict.in_tune);
//! assert!(verdict.to_do().starts_with("take out "), "{}", verdict.to_do());
//! # Ok::<(), ullage::set::OpenError>(())
//! ```

use super::advice::{Advice, Turning};
use super::aims::{Aim, AimAt, aim, set_to};
use super::meant::{ListenFor, Meant};
use super::pouring::{Contents, Off, pouring};
use super::tapped::{LEAST_SLOPE, pouring_struck};
use super::verdict::{Reading, Recognised, TunerError, Verdict};
use super::walk::FARTHEST_CENTS;
use crate::index::{KindIndex, PourIndex};
use crate::listen::strike::{Expected, Strike};
use crate::physics::prediction::Blown;
use crate::set::{Pour, Set, Way};
use crate::sounding::drift::swollen;
use crate::sounding::{Partials, Setting, Sounded, SoundedError};
use crate::units::{Frequency, Interval, Length, Volume};

/// A pitch so far from a bottle's note is another bottle's, cents.
const ANOTHER_CENTS: f64 = 300.0;

/// Judges what is heard by a set, which stands in the room in which it is heard.
#[derive(Clone, Debug)]
pub struct Judge {
    set: Set,
    /// Of the pours that may be meant.
    bottles: Vec<Candidate>,
    /// A pitch farther from all of them is none of them.
    farthest: Option<Interval>,
    unpoured: Option<KindIndex>,
    aim: AimAt,
    within: Interval,
    way: Option<Way>,
    fill: Option<Volume>,
}

/// A bottle that may be meant.
#[derive(Clone, Debug)]
struct Candidate {
    /// Its place in the set, if it has one.
    place: Option<PourIndex>,
    /// As it stands.
    pour: Pour,
    aim: Aim,
}

/// A reading of one bottle.
struct Pitched<'a> {
    bottle: &'a Candidate,
    reading: Reading,
}

impl Judge {
    /// By `set`, as it stands in [`Set::conditions`].
    ///
    /// # Panics
    /// A place or a kind that the set does not have.
    #[must_use]
    pub fn new(set: Set, listen_for: &ListenFor) -> Self {
        let ListenFor {
            ref meant,
            aim,
            within,
            way,
            fill,
        } = *listen_for;
        let (pours, farthest, unpoured) = match meant {
            Meant::Pours(pours) => (&pours[..], None, None),
            Meant::NearPours(pours) => (&pours[..], Some(FARTHEST_CENTS), None),
            Meant::Unpoured(kind) => (&[][..], None, Some(*kind)),
        };
        let mut judge = Self {
            set,
            bottles: Vec::new(),
            farthest: farthest.map(Interval::from_cents),
            unpoured,
            aim,
            within,
            way,
            fill,
        };
        let bottle =
            |place: &PourIndex| judge.candidate(Some(*place), judge.set.pours[*place].clone());
        judge.bottles = pours.iter().map(bottle).collect();
        judge
    }

    /// The set.
    #[must_use]
    pub fn set(&self) -> &Set {
        &self.set
    }

    /// How many pours may be meant.
    #[must_use]
    pub fn count(&self) -> usize {
        self.bottles.len()
    }

    /// Taps are listened for, not breath.
    #[must_use]
    pub fn by_mallet(&self) -> bool {
        match self.unpoured {
            Some(_) => self.way.is_some_and(Way::is_struck),
            None => self
                .bottles
                .first()
                .is_some_and(|bottle| bottle.pour.way.is_struck()),
        }
    }

    /// The pitches that are listened for, which tell octaves apart: what each of the pours that may be meant aims at.
    #[must_use]
    pub fn expected(&self) -> Vec<Frequency> {
        self.bottles.iter().map(|bottle| bottle.aim.now).collect()
    }

    /// What a pitch says: of the bottle that is nearest, if any is meant.
    #[must_use]
    pub fn of_pitch(&self, reading: Reading) -> Option<Verdict> {
        if let Some(bottle) = self.unpoured(reading.frequency) {
            return Some(self.judged(&Pitched {
                bottle: &bottle,
                reading,
            }));
        }
        let off = |bottle: &Candidate| bottle.off(reading.frequency).cents().abs();
        let nearest = self
            .bottles
            .iter()
            .min_by(|a, b| off(a).total_cmp(&off(b)))?;
        if self.is_too_far(off(nearest)) {
            return None;
        }
        Some(self.judged(&Pitched {
            bottle: nearest,
            reading,
        }))
    }

    /// The same of the one at this place among the pours that may be meant.
    ///
    /// # Panics
    /// No such place; see [`Self::count`].
    #[must_use]
    pub fn of_bottle(&self, place: usize, reading: Reading) -> Verdict {
        self.judged(&Pitched {
            bottle: &self.bottles[place],
            reading,
        })
    }

    /// What taps say: of the bottle one of whose own partials is nearest to where it should be, if any is meant.
    #[must_use]
    pub fn of_strike(&self, strike: &Strike) -> Option<Verdict> {
        if let Some(bottle) = self.unpoured(strike.strongest().frequency) {
            return Some(self.struck(strike, &bottle, self.recognised(strike, &bottle)));
        }
        let told = self.bottles.iter().map(|bottle| {
            let known = self.recognised(strike, bottle);
            // One whose own partial was not heard is meant only where there is no other.
            let off_cents = match &known {
                Ok(Some((known, _))) => match known.note {
                    Some((at, _)) => bottle.off(strike.partials[at].frequency).cents().abs(),
                    None => 1e6,
                },
                Ok(None) => 2e6,
                Err(_) => 3e6,
            };
            (off_cents, bottle, known)
        });
        let (off_cents, bottle, known) = told.min_by(|a, b| a.0.total_cmp(&b.0))?;
        if self.is_too_far(off_cents) {
            return None;
        }
        Some(self.struck(strike, bottle, known))
    }

    /// The pour that a verdict is about, as it stands: with what is surely in it, and sounded as it was.
    #[must_use]
    pub fn pour(&self, verdict: &Verdict) -> Pour {
        let of_it = |bottle: &&Candidate| bottle.place == verdict.pour;
        match self.bottles.iter().find(of_it) {
            Some(bottle) => bottle.pour.clone(),
            None => Pour {
                note: verdict.note,
                kind: verdict.kind,
                fill: self.fill_as_poured(),
                way: verdict.way,
                gauge: None,
                travel: None,
                lift: None,
                joined: None,
            },
        }
    }

    fn is_too_far(&self, off_cents: f64) -> bool {
        self.farthest
            .is_some_and(|farthest| off_cents > farthest.cents())
    }

    /// What is surely in the bottle, as a volume where the set was poured.
    fn fill_as_poured(&self) -> Option<Volume> {
        let (now, then) = (&self.set.conditions, &self.set.poured_at);
        self.fill.map(|fill| swollen(fill, now, then))
    }

    fn candidate(&self, place: Option<PourIndex>, mut pour: Pour) -> Candidate {
        pour.way = self.way.unwrap_or(pour.way);
        let aim = aim(&self.set, &pour, self.aim);
        pour.fill = self.fill_as_poured().or(pour.fill);
        Candidate { place, pour, aim }
    }

    /// The bottle without a pour, aiming at the note that is nearest to `pitch`.
    fn unpoured(&self, pitch: Frequency) -> Option<Candidate> {
        let near = match self.aim {
            AimAt::Pitch(wanted) => wanted,
            AimAt::MovedNote | AimAt::NoteItself => pitch,
        };
        let pour = Pour {
            note: self.set.tuning.nearest(near).0,
            kind: self.unpoured?,
            fill: None,
            way: Way::default(),
            gauge: None,
            travel: None,
            lift: None,
            joined: None,
        };
        Some(self.candidate(None, pour))
    }

    /// What a bottle is set to now, by what is said and planned; one without a pour is empty unless somebody says more.
    fn setting(&self, bottle: &Candidate) -> Option<Setting> {
        match (bottle.place, bottle.pour.fill) {
            (None, None) => Some(Setting::Fill(Volume::default())),
            _ => set_to(&self.set, &bottle.pour),
        }
    }

    fn contents(&self, bottle: &Candidate) -> Contents {
        let setting = self.setting(bottle);
        Contents {
            fill: setting.and_then(Setting::fill).unwrap_or_default(),
            sure: self.fill.is_some(),
        }
    }

    /// Farther than this from its note, and from what it gives as it is set, a pitch is another bottle's.
    fn is_another(&self, pitched: &Pitched<'_>) -> bool {
        let (bottle, heard) = (pitched.bottle, pitched.reading.frequency);
        let is_far = |off: Interval| off.cents().abs() > ANOTHER_CENTS;
        let as_set = || {
            let source = self.set.source(&bottle.pour);
            let gives = source.at(self.setting(bottle)?).ok()?;
            Some(heard.interval_above(gives.frequency))
        };
        bottle.place.is_some() && is_far(bottle.off(heard)) && as_set().is_none_or(is_far)
    }

    /// Where a bottle seems to be set to is worked out for one that is blown without what takes long.
    fn judged(&self, pitched: &Pitched<'_>) -> Verdict {
        let pour = &pitched.bottle.pour;
        if self.is_another(pitched) {
            let off = pitched.bottle.off(pitched.reading.frequency);
            let seems = self.set.source(pour).solved(pitched.reading.frequency).ok();
            let advice = Ok(Advice::AnotherBottle(off));
            return self.verdict(pitched, advice, seems.map(|s| s.setting));
        }
        if pour.way != Way::Blown {
            return self.turned(pitched, None);
        }
        let (set, bottle) = (&self.set, &self.set.kind_of(pour).bottle);
        let contents = self.contents(pitched.bottle);
        let advice = pouring(bottle, &set.conditions, contents, pitched.off());
        let blown = Blown::new(bottle, &set.conditions).ok();
        let fill = blown.and_then(|blown| blown.fill_for(pitched.reading.frequency).ok());
        let advice = advice.map(Advice::Pour).map_err(TunerError::from);
        self.verdict(pitched, advice, fill.map(Setting::Fill))
    }

    /// A bottle that is tuned by something else than pouring: so much to turn, by what a unit of it does.
    fn turned(&self, pitched: &Pitched<'_>, sounded: Option<&Sounded>) -> Verdict {
        let (bottle, off) = (pitched.bottle, pitched.off());
        let source = self.set.source(&bottle.pour);
        let advice = || {
            let Some(now) = self.setting(bottle) else {
                return Ok(Advice::Unset);
            };
            let per_unit = match sounded {
                Some(sounded) => sounded.per_unit,
                None => source.set_to(off.target, now)?.per_unit,
            };
            let per_unit = per_unit.cents();
            if per_unit.abs() <= LEAST_SLOPE {
                return Ok(Advice::Idle(now));
            }
            let off_cents = off.heard.interval_above(off.target).cents();
            Ok(Advice::Turn(Turning {
                now,
                add: now.with_value(-off_cents / per_unit),
                plus_minus: now.with_value((off.plus_minus.cents() / per_unit).abs()),
                range: source.range()?,
            }))
        };
        let seems = source.solved(off.heard).ok().map(|s| s.setting);
        self.verdict(pitched, advice(), seems)
    }

    /// A bottle that was tapped, and which of the partials were recognised.
    fn struck(
        &self,
        strike: &Strike,
        bottle: &Candidate,
        known: Result<Option<(Recognised, Sounded)>, SoundedError>,
    ) -> Verdict {
        let note = match &known {
            Ok(Some((known, _))) => known.note,
            Ok(None) | Err(_) => None,
        };
        let partial = note.map_or_else(|| strike.strongest(), |(at, _)| &strike.partials[at]);
        let pitched = Pitched {
            bottle,
            reading: Reading {
                frequency: partial.frequency,
                plus_minus: partial.plus_minus,
            },
        };
        let (known, sounded) = match known {
            Ok(Some(found)) => found,
            Ok(None) => return self.verdict(&pitched, Ok(Advice::Unset), None),
            Err(error) => return self.verdict(&pitched, Err(error.into()), None),
        };
        let verdict = match (known.note, bottle.pour.way) {
            (None, _) => self.verdict(&pitched, Ok(Advice::NotItsNote), None),
            (Some((_, key)), Way::Struck) => {
                let source = self.set.source(&bottle.pour);
                let contents = self.contents(bottle);
                let found = pouring_struck(&source, key, contents, pitched.off());
                let advice = found.map(Advice::Pour).map_err(TunerError::from);
                let seems = source.solved(partial.frequency).ok().map(|s| s.setting);
                self.verdict(&pitched, advice, seems)
            }
            (Some(_), _) => self.turned(&pitched, Some(&sounded)),
        };
        Verdict {
            recognised: Some(known),
            ..verdict
        }
    }

    /// Which of the partials is which of the bottle's; `None` where nobody knows what the bottle is set to.
    fn recognised(
        &self,
        strike: &Strike,
        bottle: &Candidate,
    ) -> Result<Option<(Recognised, Sounded)>, SoundedError> {
        let Some(setting) = self.setting(bottle) else {
            return Ok(None);
        };
        let source = self.set.source(&bottle.pour);
        let sounded = source.set_to(self.set.target(&bottle.pour), setting)?;
        Ok(Some((Recognised::of(strike, &sounded), sounded)))
    }

    fn verdict(
        &self,
        pitched: &Pitched<'_>,
        advice: Result<Advice, TunerError>,
        seems: Option<Setting>,
    ) -> Verdict {
        let Candidate { place, pour, aim } = pitched.bottle;
        let Reading {
            frequency,
            plus_minus,
        } = pitched.reading;
        let off = pitched.bottle.off(frequency);
        let bore = self.set.kind_of(pour).bottle.bore();
        let seems_level: Option<Length> = match seems {
            Some(Setting::Fill(fill)) => Some(bore.level_of(fill.min(bore.capacity()))),
            Some(Setting::Travel(travel)) => Some(travel),
            Some(Setting::Gauge(_) | Setting::Lift(_)) | None => None,
        };
        Verdict {
            pour: *place,
            kind: pour.kind,
            way: pour.way,
            note: pour.note,
            frequency,
            plus_minus,
            aim: aim.now,
            moved: aim.moved(),
            off,
            nearest: self.set.tuning.nearest(frequency),
            in_tune: off.cents().abs() <= self.within.cents(),
            advice,
            seems,
            seems_level,
            recognised: None,
        }
    }
}

impl Candidate {
    fn off(&self, pitch: Frequency) -> Interval {
        pitch.interval_above(self.aim.now)
    }
}

impl Pitched<'_> {
    fn off(&self) -> Off {
        Off {
            heard: self.reading.frequency,
            plus_minus: self.reading.plus_minus,
            target: self.bottle.aim.now,
        }
    }
}

impl Recognised {
    /// Which of the partials of `strike` is which of the wall's.
    fn of(strike: &Strike, sounded: &Sounded) -> Self {
        let Partials::Wall { modes, note } = &sounded.partials else {
            return Self::default();
        };
        let expected: Vec<Expected> = modes
            .iter()
            .map(|mode| Expected {
                waves: mode.n,
                frequency: mode.frequency,
                level: mode.level,
            })
            .collect();
        let told = strike.told_apart(&expected, sounded.plus_minus());
        let known = modes.iter().zip(&told);
        Self {
            note: told[*note].map(|at| (at, modes[*note].key())),
            waves: known
                .filter_map(|(mode, at)| Some(((*at)?, mode.n)))
                .collect(),
        }
    }
}
