//! Why a liquid could not be read, weighed or stirred.

use super::Liquid;

/// Why a liquid could not be read or weighed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum LiquidError {
    /// No liquid is called that.
    #[error("no liquid is called \"{name}\"; the nearest is \"{nearest}\" (known: {known})")]
    UnknownLiquid {
        /// As written.
        name: String,
        /// The known name that is spelled most like it.
        nearest: &'static str,
        /// Every known form.
        known: &'static str,
    },
    /// One that is known by name, and not poured here.
    #[error("no \"{name}\" here: {why}")]
    Refused {
        /// As written.
        name: String,
        /// Why not, and a way out.
        why: &'static str,
    },
    /// A density that cannot be read.
    #[error("\"{text}\" is no density: write kg/l or g/ml after the number, as in \"1.05 kg/l\"")]
    Density {
        /// As written.
        text: String,
    },
    /// A density that no liquid for a bottle has.
    #[error("{kg_per_l} kg/l is outside {min_kg_per_l} to {max_kg_per_l} kg/l")]
    DensityOutside {
        /// As written.
        kg_per_l: f64,
        /// The lightest.
        min_kg_per_l: f64,
        /// The heaviest.
        max_kg_per_l: f64,
    },
    /// An alcohol without its strength, or one that is no number.
    #[error(
        "\"{text}\" needs a strength in percent by volume after the name, as in \"ethanol 40%\""
    )]
    Strength {
        /// As written.
        text: String,
    },
    /// A solution without its share, or one that is no number.
    #[error("\"{text}\" needs a share in percent by mass after the name, as in \"{name} 20%\"")]
    Share {
        /// As written.
        text: String,
        /// The liquid.
        name: &'static str,
    },
    /// A liquid that comes in one strength only.
    #[error("\"{name}\" takes no percentage")]
    NoStrength {
        /// The liquid.
        name: &'static str,
    },
    /// The strength is no share.
    #[error("{percent} % by volume is outside 0 to 100 %")]
    Percentage {
        /// As written.
        percent: f64,
    },
    /// More than dissolves, or more than the formulas reach.
    #[error("{percent} % by mass of {name} is outside 0 to {most_percent} %{hint}")]
    Dissolved {
        /// What is dissolved.
        name: &'static str,
        /// As written.
        percent: f64,
        /// The most.
        most_percent: f64,
        /// A way out, or nothing.
        hint: &'static str,
    },
    /// No data there, or the liquid freezes or boils.
    #[error("the density of {liquid} is known from {min_c} to {max_c} °C, not at {celsius} °C")]
    Temperature {
        /// The liquid.
        liquid: Liquid,
        /// Asked for, °C.
        celsius: f64,
        /// Lowest, °C.
        min_c: f64,
        /// Highest, °C.
        max_c: f64,
    },
}
