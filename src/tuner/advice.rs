//! What to do with a bottle that was heard, as numbers, and in the words that every front end says alike.
//!
//! ```
//! use ullage::sounding::Setting;
//! use ullage::tuner::advice::{Advice, Turning};
//! use ullage::units::Length;
//!
//! let mm = |mm| Setting::Travel(Length::from_mm(mm));
//! let turning = Turning {
//!     now: mm(40.0),
//!     add: mm(-3.0),
//!     plus_minus: mm(0.2),
//!     range: (mm(0.0), mm(120.0)),
//! };
//! assert_eq!(Advice::Turn(turning).to_string(), "pull the floor out by 3.0 mm ±0.2");
//! ```

use std::fmt;

use super::pouring::{Pouring, Reach};
use crate::number::rounded;
use crate::sounding::Setting;
use crate::units::Interval;

/// What to do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Advice {
    /// Pour, or take out.
    Pour(Pouring),
    /// Pump, push, pull, lift or lower.
    Turn(Turning),
    /// Nothing: it is tuned by this, which hardly moves its pitch where it stands.
    Idle(Setting),
    /// Nothing: nothing that it can be set to gives its note, and nobody said what it is set to.
    Unset,
    /// Nothing: none of the partials that were heard is the one that has its note.
    NotItsNote,
    /// Nothing: it is another bottle, so far above the note of this one.
    AnotherBottle(Interval),
}

/// How far to turn what tunes a bottle by something else than liquid. All settings are of the same kind.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Turning {
    /// What it is set to.
    pub now: Setting,
    /// To add; negative is back.
    pub add: Setting,
    /// Half the width of the 95 % interval around that, by the hearing's own.
    pub plus_minus: Setting,
    /// The least and the most that it can be set to.
    pub range: (Setting, Setting),
}

impl Turning {
    /// What it is to be set to.
    #[must_use]
    pub fn wanted(&self) -> Setting {
        self.now.with_value(self.now.value() + self.add.value())
    }

    /// It can be turned so far.
    #[must_use]
    pub fn is_in_reach(&self) -> bool {
        let (least, most) = self.range;
        (least.value()..=most.value()).contains(&self.wanted().value())
    }
}

/// What to do, or why nothing can be done.
enum Words {
    Do(String),
    Cannot(String),
}

impl Advice {
    /// What to add, if turning or pouring says anything.
    #[must_use]
    pub fn add(&self) -> Option<Setting> {
        match self {
            Self::Pour(pouring) => Some(Setting::Fill(pouring.add)),
            Self::Turn(turning) => Some(turning.add),
            Self::Idle(_) | Self::Unset | Self::NotItsNote | Self::AnotherBottle(_) => None,
        }
    }

    /// Why it cannot be brought into tune so, in words.
    #[must_use]
    pub fn cannot(&self) -> Option<String> {
        match self.words() {
            Words::Cannot(because) => Some(because),
            Words::Do(_) => None,
        }
    }

    /// What to do, or why nothing can be done.
    fn words(&self) -> Words {
        match self {
            Self::Pour(pouring) => match lack(pouring.reach) {
                Some(lack) => Words::Cannot(format!("cannot be reached by pouring: {lack}")),
                None => Words::Do(to_pour(pouring)),
            },
            Self::Turn(turning) if turning.is_in_reach() => Words::Do(to_turn(turning)),
            Self::Turn(turning) => {
                let (wanted, (least, most)) = (turning.wanted(), turning.range);
                let (name, unit) = (wanted.name(), wanted.unit());
                Words::Cannot(format!(
                    "cannot be reached by its {name}: it would need {:.2} {unit}, and has {:.1} to {:.1}",
                    wanted.value(),
                    least.value(),
                    most.value()
                ))
            }
            Self::Idle(setting) => {
                let name = setting.name();
                Words::Cannot(format!("its {name} hardly moves its pitch here"))
            }
            Self::Unset => Words::Cannot("its note cannot be reached".to_owned()),
            Self::NotItsNote => Words::Cannot(
                "none of its partials is where the note should be: this is the strongest one, and says nothing of what to pour"
                    .to_owned(),
            ),
            Self::AnotherBottle(off) => {
                let side = if off.cents() > 0.0 { "above" } else { "below" };
                Words::Cannot(format!(
                    "this is not that bottle: it sounds {:.0} cents {side} its note",
                    off.cents().abs()
                ))
            }
        }
    }
}

impl fmt::Display for Advice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (Words::Do(words) | Words::Cannot(words)) = self.words();
        f.write_str(&words)
    }
}

fn lack(reach: Reach) -> Option<String> {
    Some(match reach {
        Reach::Fine => return None,
        Reach::LacksAir(lack) => format!("needs {:.0} ml less than empty", lack.ml()),
        Reach::TooFull(full) => format!("above {:.0} ml the bottle no longer sounds", full.ml()),
        Reach::EmptyIsTooLow(lacks) => {
            format!("even empty it is {:.0} cents too low", lacks.cents())
        }
        Reach::BrimfulIsTooHigh(lacks) => {
            format!(
                "even full to the brim it is {:.0} cents too high",
                lacks.cents()
            )
        }
    })
}

fn to_pour(pouring: &Pouring) -> String {
    let ml = rounded(pouring.add.ml(), 2);
    let (g, plus_minus) = (
        rounded(pouring.add_mass.g(), 2),
        rounded(pouring.plus_minus.ml(), 2),
    );
    let (verb, ml, g) = if ml >= 0.0 {
        ("add", ml, g)
    } else {
        ("take out", -ml, -g)
    };
    format!("{verb} {ml:.1} ml ({g:.1} g) ±{plus_minus:.1}")
}

fn to_turn(turning: &Turning) -> String {
    let (add, plus_minus) = (turning.add.value(), turning.plus_minus.value());
    let (size, more) = (add.abs(), add >= 0.0);
    match (turning.add, more) {
        (Setting::Fill(_), true) => format!("add {size:.1} ml ±{plus_minus:.1}"),
        (Setting::Fill(_), false) => format!("take out {size:.1} ml ±{plus_minus:.1}"),
        (Setting::Gauge(_), true) => format!("pump in {size:.3} bar more ±{plus_minus:.3}"),
        (Setting::Gauge(_), false) => format!("let out {size:.3} bar ±{plus_minus:.3}"),
        (Setting::Travel(_), true) => {
            format!("push the floor in by {size:.1} mm ±{plus_minus:.1}")
        }
        (Setting::Travel(_), false) => {
            format!("pull the floor out by {size:.1} mm ±{plus_minus:.1}")
        }
        (Setting::Lift(_), true) => {
            format!("lift the second bottle by {size:.1} mm ±{plus_minus:.1}")
        }
        (Setting::Lift(_), false) => {
            format!("lower the second bottle by {size:.1} mm ±{plus_minus:.1}")
        }
    }
}
