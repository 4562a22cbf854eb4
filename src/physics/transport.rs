//! Viscosity and heat conduction of a gas: what the boundary layers on the glass take from the sound.
//!
//! Pure gases follow a power law of temperature; mixtures follow Wilke's rule for viscosity and, with the same
//! weights, Wassiljewa's for conduction (weights of Mason and Saxena).

use super::gas::{Mixture, Species};
use crate::units::ZERO_CELSIUS_K;

/// Where the power laws are anchored, K (0 °C).
const ANCHOR_K: f64 = ZERO_CELSIUS_K;

/// Viscosity and conductivity.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Transport {
    /// Shear viscosity, Pa s.
    pub viscosity_pa_s: f64,
    /// Thermal conductivity, W/(m K).
    pub conductivity_w_mk: f64,
}

/// v = v0 (T/273.15 K)^n for viscosity (Pa s) and conductivity (W/(m K)).
#[derive(Clone, Copy, Debug)]
struct PowerLaw {
    viscosity: (f64, f64),
    conductivity: (f64, f64),
}

/// Air as one substance, fitted like the species.
const AIR: PowerLaw = PowerLaw {
    viscosity: (1.722_18e-5, 0.7812),
    conductivity: (2.436_50e-2, 0.8457),
};

/// The mole fractions of [`AIR`] and its molar mass in kg/mol: Lemmon et al. 2000, dry air without CO2.
const AIR_PARTS: [(Species, f64); 3] = [
    (Species::N2, 0.7812),
    (Species::O2, 0.2096),
    (Species::Ar, 0.0092),
];
const AIR_MOLAR_MASS_KG_MOL: f64 = 28.9586e-3;

/// Fitted to CoolProp 8.0.0 over -10 to 60 °C within 0.1 % (water vapour, 0 to 60 °C: 0.4 %); 2-propanol to the
/// DIPPR correlations in thermo 0.6.1. The references themselves are good to one or two percent.
const fn power_law(species: Species) -> PowerLaw {
    let (viscosity, conductivity) = match species {
        Species::N2 => ((1.663_19e-5, 0.7740), (2.400_57e-2, 0.8345)),
        Species::O2 => ((1.914_73e-5, 0.8030), (2.435_42e-2, 0.8914)),
        Species::Ar => ((2.102_12e-5, 0.8345), (1.648_69e-2, 0.8355)),
        Species::Co2 => ((1.371_15e-5, 0.9573), (1.474_65e-2, 1.3719)),
        Species::He => ((1.869_38e-5, 0.6837), (1.461_93e-1, 0.6910)),
        Species::H2o => ((8.911_69e-6, 0.9945), (1.671_01e-2, 1.1354)),
        Species::Ethanol => ((8.004_66e-6, 1.0490), (1.299_89e-2, 1.7971)),
        Species::Isopropanol => ((6.964_21e-6, 1.1069), (1.296_14e-2, 1.7419)),
    };
    PowerLaw {
        viscosity,
        conductivity,
    }
}

impl PowerLaw {
    fn at(self, kelvin: f64) -> Transport {
        let law =
            |(at_anchor, exponent): (f64, f64)| at_anchor * (kelvin / ANCHOR_K).powf(exponent);
        Transport {
            viscosity_pa_s: law(self.viscosity),
            conductivity_w_mk: law(self.conductivity),
        }
    }
}

/// One substance of a mixture, as Wilke's rule sees it.
#[derive(Clone, Copy, Debug)]
struct Part {
    share: f64,
    molar_mass_kg_mol: f64,
    pure: Transport,
}

/// Viscosity and conductivity of the mixture at low pressure.
///
/// v = Σ x_i v_i / Σ x_j φ_ij. Saturated air at 20 °C comes out 0.5 % low in viscosity and 0.7 % low in
/// conductivity against CoolProp; in air with much helium the rule itself is uncertain by some percent.
pub(super) fn of_mixture(mixture: &Mixture, kelvin: f64) -> Transport {
    let parts = parts(mixture, kelvin);
    let mut total = Transport::default();
    for i in &parts {
        let crowd: f64 = parts.iter().map(|j| j.share * hindrance(i, j)).sum();
        total.viscosity_pa_s += i.share * i.pure.viscosity_pa_s / crowd;
        total.conductivity_w_mk += i.share * i.pure.conductivity_w_mk / crowd;
    }
    total
}

/// φ_ij = (1 + √(μ_i/μ_j) (M_j/M_i)^¼)² / √(8 (1 + M_i/M_j)): how much j gets in the way of i.
fn hindrance(i: &Part, j: &Part) -> f64 {
    let mass_ratio = i.molar_mass_kg_mol / j.molar_mass_kg_mol;
    let viscosity_ratio = i.pure.viscosity_pa_s / j.pure.viscosity_pa_s;
    (1.0 + viscosity_ratio.sqrt() / mass_ratio.sqrt().sqrt()).powi(2)
        / (8.0 * (1.0 + mass_ratio)).sqrt()
}

/// The mixture as air, as much as it can make, and what is left over of each species.
///
/// Air is fitted as a whole, so whatever stands in air's proportions is best taken as air; pure argon, or
/// argon added to air, is then still argon, with no jump between.
fn parts(mixture: &Mixture, kelvin: f64) -> Vec<Part> {
    let air_share = AIR_PARTS
        .iter()
        .map(|&(s, in_air)| mixture.fraction(s) / in_air)
        .fold(1.0, f64::min);
    let in_air = |species| {
        AIR_PARTS
            .iter()
            .find(|&&(s, _)| s == species)
            .map_or(0.0, |&(_, x)| x * air_share)
    };
    let air = Part {
        share: air_share,
        molar_mass_kg_mol: AIR_MOLAR_MASS_KG_MOL,
        pure: AIR.at(kelvin),
    };
    let rest = Species::ALL.iter().map(|&species| Part {
        share: (mixture.fraction(species) - in_air(species)).max(0.0),
        molar_mass_kg_mol: species.molar_mass_kg_mol(),
        pure: power_law(species).at(kelvin),
    });
    std::iter::once(air)
        .chain(rest)
        .filter(|part| part.share > 0.0)
        .collect()
}
