//! How liquids are written and printed.

use std::fmt;
use std::str::FromStr;

use super::{Dissolved, Liquid, LiquidError, Strength};

/// What a liquid is made of once its percentage is known, and what that percentage is of.
#[derive(Clone, Copy)]
enum Form {
    /// It comes in one strength.
    Plain(Liquid),
    /// A percentage by volume.
    Spirit(fn(Strength) -> Liquid),
    /// A percentage by mass of the first name, up to the most; the hint says what to do about more.
    Solution {
        of: fn(Dissolved) -> Liquid,
        most_percent: f64,
        hint: &'static str,
        /// What the name means without a percentage.
        bare: Option<Liquid>,
    },
}

/// Names, the printed one first, and what they mean.
type Entry = (&'static [&'static str], Form);

/// Every form that is read.
const FORMS: [Entry; 12] = [
    (&["water"], Form::Plain(Liquid::Water)),
    // A brine of a stated strength is salt water; without one it is as strong as can be.
    (
        &["salt", "salt water"],
        Form::Solution {
            of: Liquid::Salt,
            most_percent: 26.4,
            hint: "; as much as dissolves is \"brine\"",
            bare: None,
        },
    ),
    (
        &["brine", "salt brine"],
        Form::Solution {
            of: Liquid::Salt,
            most_percent: 26.4,
            hint: "; as much as dissolves is \"brine\"",
            bare: Some(Liquid::Brine),
        },
    ),
    (&["sea water", "seawater"], Form::Plain(Liquid::SeaWater)),
    // What else is in a clear spirit does not show on a scale: a gin holds up to 0.1 g of sugar in a litre, a vodka up to
    // 8 g, which is 0.3 % (Regulation (EU) 2019/787).
    (
        &["ethanol", "vodka", "gin", "clear spirit"],
        Form::Spirit(Liquid::Ethanol),
    ),
    (
        &["isopropanol", "rubbing alcohol", "isopropyl alcohol"],
        Form::Spirit(Liquid::Isopropanol),
    ),
    (
        &["glycerol", "glycerine", "glycerin"],
        Form::Solution {
            of: Liquid::Glycerol,
            most_percent: 100.0,
            hint: "",
            bare: None,
        },
    ),
    (
        &["sugar", "sugar syrup", "syrup", "sucrose"],
        Form::Solution {
            of: Liquid::Sugar,
            most_percent: 84.0,
            hint: "; about 67 % dissolves cold",
            bare: None,
        },
    ),
    (
        &[
            "vegetable oil",
            "cooking oil",
            "olive oil",
            "rapeseed oil",
            "sunflower oil",
            "oil",
        ],
        Form::Plain(Liquid::VegetableOil),
    ),
    (
        &["dish soap", "washing-up liquid", "washing up liquid"],
        Form::Plain(Liquid::DishSoap),
    ),
    (&["milk", "whole milk"], Form::Plain(Liquid::Milk)),
    (&["vinegar", "white vinegar"], Form::Plain(Liquid::Vinegar)),
];

/// What people ask for and do not get: the names, and why not, with a way out.
const REFUSED: [(&[&str], &str); 4] = [
    (
        &[
            "soapy water",
            "soap water",
            "suds",
            "soapsuds",
            "bubble mix",
            "coffee",
            "tea",
        ],
        "once its foam is gone it weighs and sounds as water does; try: write \"water\"",
    ),
    (
        &[
            "beer",
            "champagne",
            "cider",
            "cola",
            "fizzy water",
            "lemonade",
            "mineral water",
            "soda",
            "soda water",
            "sparkling water",
            "tonic",
            "tonic water",
        ],
        "while it fizzes its level and its pitch move; try: let it go flat, weigh a litre and write for example \"1.01 kg/l\"",
    ),
    (
        &[
            "acetone",
            "diesel",
            "gasoline",
            "kerosene",
            "mercury",
            "methanol",
            "methylated spirit",
            "methylated spirits",
            "paraffin",
            "petrol",
            "turpentine",
            "white spirit",
        ],
        "it burns or poisons, and bottles are blown and fall over; try: pour water, or sugar in water to make it heavier",
    ),
    (
        &[
            "cream",
            "honey",
            "juice",
            "fruit juice",
            "rum",
            "whisky",
            "whiskey",
            "wine",
        ],
        "one differs from another by more than a tuning allows; try: weigh a litre and write for example \"0.99 kg/l\"",
    ),
];

impl FromStr for Liquid {
    type Err = LiquidError;

    fn from_str(text: &str) -> Result<Self, LiquidError> {
        let text = text.trim();
        if text.starts_with(|c: char| c.is_ascii_digit()) {
            // A share may stand in front, as it does for gases.
            return match text.split_once('%') {
                Some((share, name)) if name.trim().starts_with(char::is_alphabetic) => {
                    format!("{name} {share}%").parse()
                }
                _ => Ok(Self::Weighed(text.parse()?)),
            };
        }
        let name_end = text
            .find(|c: char| c.is_ascii_digit() || c == '%')
            .unwrap_or(text.len());
        let (name, number) = text.split_at(name_end);
        // A sign belongs to the number.
        let (name, negative) = name
            .trim_end()
            .strip_suffix('-')
            .map_or((name, false), |name| (name, true));
        let name = name
            .split_whitespace()
            .collect::<Vec<_>>()
            .join(" ")
            .to_lowercase();
        let known = FORMS
            .iter()
            .find(|(names, _)| names.contains(&name.as_str()));
        let Some((names, form)) = known else {
            if let Some((_, why)) = REFUSED
                .iter()
                .find(|(names, _)| names.contains(&name.as_str()))
            {
                return Err(LiquidError::Refused { name, why });
            }
            return Err(LiquidError::UnknownLiquid {
                nearest: nearest_name(&name),
                name,
                known: Self::KNOWN,
            });
        };
        form.read(names[0], number, negative, text)
    }
}

impl Form {
    fn read(
        self,
        name: &'static str,
        number: &str,
        negative: bool,
        text: &str,
    ) -> Result<Liquid, LiquidError> {
        let percent = read_percent(number).map(|p| if negative { -p } else { p });
        match self {
            Self::Plain(liquid) if number.is_empty() => Ok(liquid),
            Self::Plain(_) => Err(LiquidError::NoStrength { name }),
            Self::Spirit(liquid) => {
                let percent = percent.ok_or_else(|| LiquidError::Strength {
                    text: text.to_owned(),
                })?;
                Ok(liquid(Strength::from_percent(percent)?))
            }
            Self::Solution {
                bare: Some(liquid), ..
            } if number.is_empty() => Ok(liquid),
            Self::Solution {
                of,
                most_percent,
                hint,
                ..
            } => {
                let percent = percent.ok_or_else(|| LiquidError::Share {
                    text: text.to_owned(),
                    name,
                })?;
                if !(0.0..=most_percent).contains(&percent) {
                    return Err(LiquidError::Dissolved {
                        name,
                        percent,
                        most_percent,
                        hint,
                    });
                }
                Ok(of(Dissolved(percent)))
            }
        }
    }
}

/// Reads `40%` or `40 %`.
fn read_percent(number: &str) -> Option<f64> {
    number.trim().strip_suffix('%')?.trim().parse().ok()
}

/// The known name that is spelled most like `name`.
fn nearest_name(name: &str) -> &'static str {
    let names = FORMS.iter().flat_map(|(names, _)| names.iter().copied());
    names
        .max_by(|a, b| strsim::jaro_winkler(a, name).total_cmp(&strsim::jaro_winkler(b, name)))
        .expect("there are known liquids")
}

impl fmt::Display for Liquid {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Water => f.write_str("water"),
            Self::Brine => f.write_str("brine"),
            Self::Salt(share) => write!(f, "salt {}%", share.percent()),
            Self::SeaWater => f.write_str("sea water"),
            Self::Ethanol(strength) => write!(f, "ethanol {}%", strength.percent()),
            Self::Isopropanol(strength) => write!(f, "isopropanol {}%", strength.percent()),
            Self::Glycerol(share) => write!(f, "glycerol {}%", share.percent()),
            Self::Sugar(share) => write!(f, "sugar {}%", share.percent()),
            Self::VegetableOil => f.write_str("vegetable oil"),
            Self::DishSoap => f.write_str("dish soap"),
            Self::Milk => f.write_str("milk"),
            Self::Vinegar => f.write_str("vinegar"),
            Self::Weighed(weighed) => write!(f, "{} kg/l", weighed.kg_per_l()),
        }
    }
}

impl TryFrom<String> for Liquid {
    type Error = LiquidError;

    fn try_from(text: String) -> Result<Self, LiquidError> {
        text.parse()
    }
}

impl From<Liquid> for String {
    fn from(liquid: Liquid) -> Self {
        liquid.to_string()
    }
}
