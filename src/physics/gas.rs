//! What a gas does to a pitch: the sound speed, density and losses of a mixture at a temperature and pressure.
//!
//! One model serves every gas a bottle may hold (room air, breath, carbon dioxide, helium, argon, alcohol
//! vapour): an ideal-gas mixture whose heat capacity follows its molecular vibrations, corrected by the second
//! virial coefficient. Sound speed is the zero-frequency one: at bottle pitches all that is left of relaxation
//! is under a cent, and only in bone-dry air.

use crate::units::{Pressure, Temperature};

use super::{transport, virial};

/// Molar gas constant, J/(mol K), exact in the SI since 2019.
pub(super) const GAS_CONSTANT_J_MOLK: f64 = 8.314_462_618;

/// Coldest and warmest state that the model answers for, °C. The heat capacities are fitted on -10 to 60 °C and
/// follow the reference within 0.2 % well past these ends.
pub const TEMPERATURE_RANGE_C: (f64, f64) = (-40.0, 120.0);

/// Lowest and highest pressure that the model answers for, kPa: the third virial term is still negligible.
pub const PRESSURE_RANGE_KPA: (f64, f64) = (20.0, 400.0);

/// How far mole fractions may miss a sum of one and still be taken as rounded rather than wrong.
const SUM_TOLERANCE: f64 = 1e-6;

/// Why a gas cannot be worked out.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum GasError {
    /// The model is not fitted there.
    #[error("gas temperature {celsius} °C is outside {min_c} to {max_c} °C")]
    Temperature {
        /// Asked for, °C.
        celsius: f64,
        /// Lowest, °C.
        min_c: f64,
        /// Highest, °C.
        max_c: f64,
    },
    /// The model is not fitted there.
    #[error("gas pressure {kpa} kPa is outside {min_kpa} to {max_kpa} kPa")]
    Pressure {
        /// Asked for, kPa.
        kpa: f64,
        /// Lowest, kPa.
        min_kpa: f64,
        /// Highest, kPa.
        max_kpa: f64,
    },
    /// A share of something is not a number between its limits.
    #[error("{what} {value} is outside {min} to {max}")]
    Fraction {
        /// What the number is.
        what: &'static str,
        /// Asked for, a ratio.
        value: f64,
        /// Lowest, a ratio.
        min: f64,
        /// Highest, a ratio.
        max: f64,
    },
    /// The mole fractions of a mixture are not a whole.
    #[error("mole fractions sum to {sum}, not to 1 within {tolerance}")]
    Sum {
        /// What they sum to.
        sum: f64,
        /// How far it may miss one.
        tolerance: f64,
    },
    /// The vapour pressure reaches the pressure of the gas.
    #[error(
        "vapour pressure {vapour_kpa:.2} kPa at {celsius} °C leaves no room for gas at {kpa} kPa: it would boil"
    )]
    Boils {
        /// Vapour pressure, kPa.
        vapour_kpa: f64,
        /// Temperature, °C.
        celsius: f64,
        /// Pressure of the gas, kPa.
        kpa: f64,
    },
}

/// A molecule that a gas in a bottle may be made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Species {
    /// Nitrogen.
    N2,
    /// Oxygen.
    O2,
    /// Argon.
    Ar,
    /// Carbon dioxide.
    Co2,
    /// Helium.
    He,
    /// Water vapour.
    H2o,
    /// Ethanol vapour.
    Ethanol,
    /// 2-propanol vapour, of rubbing alcohol.
    Isopropanol,
}

impl Species {
    /// Every species, in the order in which a mixture stores them.
    pub const ALL: [Self; 8] = [
        Self::N2,
        Self::O2,
        Self::Ar,
        Self::Co2,
        Self::He,
        Self::H2o,
        Self::Ethanol,
        Self::Isopropanol,
    ];

    /// Molar mass, kg/mol, as in CoolProp 8.0.0 (2-propanol: chemicals 1.5.2).
    #[must_use]
    pub const fn molar_mass_kg_mol(self) -> f64 {
        match self {
            Self::N2 => 28.013_48e-3,
            Self::O2 => 31.998_8e-3,
            Self::Ar => 39.948e-3,
            Self::Co2 => 44.009_8e-3,
            Self::He => 4.002_602e-3,
            Self::H2o => 18.015_27e-3,
            Self::Ethanol => 46.068_44e-3,
            Self::Isopropanol => 60.095_02e-3,
        }
    }

    /// Whether it condenses on the wall of a bottle at everyday temperatures.
    #[must_use]
    pub const fn is_vapour(self) -> bool {
        matches!(self, Self::H2o | Self::Ethanol | Self::Isopropanol)
    }

    /// Heat capacity of the ideal gas at constant pressure, over R.
    ///
    /// Translation and rotation plus an Einstein function for each vibration (characteristic temperatures of
    /// N2 and O2 from ISO 9613-1); the small offsets, the lower modes of CO2 and the polynomial of ethanol are
    /// fitted to CoolProp 8.0.0, that of 2-propanol to the TRC set of chemicals 1.5.2. Misfit on -10 to 60 °C:
    /// 0.023 % or less.
    fn ideal_cp_over_r(self, kelvin: f64) -> f64 {
        let vibration = |theta_k: f64| {
            let u = theta_k / kelvin;
            let bound = (-u).exp();
            u * u * bound / (1.0 - bound).powi(2)
        };
        let celsius = Temperature::from_k(kelvin).c();
        match self {
            Self::N2 => 3.501_13 + vibration(3352.0),
            Self::O2 => 3.502_12 + vibration(2239.1),
            Self::Ar | Self::He => 2.5,
            // The bending mode counts twice.
            Self::Co2 => 3.5 + 2.0 * vibration(959.28) + vibration(1926.21) + vibration(3380.0),
            Self::H2o => 4.0125 + vibration(2295.0) + vibration(5262.0) + vibration(5404.0),
            Self::Ethanol => 7.392_22 + (0.017_651_1 + 1.4035e-5 * celsius) * celsius,
            Self::Isopropanol => 10.059_394 + (0.028_414_18 - 6.149_72e-6 * celsius) * celsius,
        }
    }
}

/// What a gas is made of, by mole (which is by volume, for a gas). The fractions sum to one.
///
/// ```
/// use ullage::physics::gas::{Mixture, Species};
/// use ullage::units::{Pressure, Temperature};
///
/// let carbon_dioxide = Mixture::pure(Species::Co2);
/// let gas = carbon_dioxide.at(Temperature::from_c(20.0), Pressure::from_kpa(101.325))?;
/// assert!((gas.sound_speed_m_s() - 266.56).abs() < 0.01);
/// # Ok::<(), ullage::physics::gas::GasError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mixture {
    fractions: [f64; Species::ALL.len()],
}

impl Mixture {
    /// A mixture of `parts`, mole fractions from 0 to 1. A species named twice counts with both its shares.
    ///
    /// # Errors
    /// A fraction outside 0 to 1, or a sum that misses 1 by more than a millionth.
    pub fn new(parts: &[(Species, f64)]) -> Result<Self, GasError> {
        let mut fractions = [0.0; Species::ALL.len()];
        for &(species, fraction) in parts {
            fractions[species as usize] += checked_share("mole fraction", fraction)?;
        }
        let sum: f64 = fractions.iter().sum();
        if (sum - 1.0).abs() > SUM_TOLERANCE {
            return Err(GasError::Sum {
                sum,
                tolerance: SUM_TOLERANCE,
            });
        }
        Ok(Self {
            fractions: fractions.map(|fraction| fraction / sum),
        })
    }

    /// Nothing but `species`.
    #[must_use]
    pub fn pure(species: Species) -> Self {
        let mut fractions = [0.0; Species::ALL.len()];
        fractions[species as usize] = 1.0;
        Self { fractions }
    }

    /// The mole fraction of `species`, 0 to 1.
    #[must_use]
    pub fn fraction(&self, species: Species) -> f64 {
        self.fractions[species as usize]
    }

    /// This gas with `fraction_of_other` (by mole, 0 to 1) of it replaced by `other`.
    ///
    /// # Errors
    /// A fraction outside 0 to 1.
    pub fn blend(&self, other: &Self, fraction_of_other: f64) -> Result<Self, GasError> {
        let share = checked_share("fraction of the other gas", fraction_of_other)?;
        let mut fractions = self.fractions;
        for (mine, theirs) in fractions.iter_mut().zip(other.fractions) {
            *mine += share * (theirs - *mine);
        }
        Ok(Self { fractions })
    }

    /// The part that never condenses, as a gas of its own; nothing if there is no such part.
    #[must_use]
    pub fn without_vapour(&self) -> Option<Self> {
        let dry = |species: &Species| !species.is_vapour();
        let total: f64 = Species::ALL
            .iter()
            .filter(|s| dry(s))
            .map(|&s| self.fraction(s))
            .sum();
        let mut fractions = [0.0; Species::ALL.len()];
        for &species in Species::ALL.iter().filter(|s| dry(s)) {
            fractions[species as usize] = self.fraction(species) / total;
        }
        (total > 0.0).then_some(Self { fractions })
    }

    /// Mean molar mass, kg/mol.
    #[must_use]
    pub fn molar_mass_kg_mol(&self) -> f64 {
        self.mean(Species::molar_mass_kg_mol)
    }

    /// The gas in one state, -40 to 120 °C and 20 to 400 kPa.
    ///
    /// Sound speed within 0.03 % (half a cent) of the reference equations of state for the pure gases on -10 to
    /// 60 °C at one atmosphere, and within 0.011 % of Cramer (1993) in humid air; viscosity and conductivity of
    /// mixtures are good to a few percent. It does not ask whether vapour would condense there: see
    /// [`condensed`](super::air::condensed).
    ///
    /// # Errors
    /// A temperature or a pressure outside the range.
    pub fn at(&self, temperature: Temperature, pressure: Pressure) -> Result<Gas, GasError> {
        check_state(temperature, pressure)?;
        let kelvin = temperature.k();
        let pressure_pa = pressure.pa();
        let thermal_j_mol = GAS_CONSTANT_J_MOLK * kelvin;
        let molar_mass_kg_mol = self.molar_mass_kg_mol();

        let ideal_cp_over_r = self.mean(|species| species.ideal_cp_over_r(kelvin));
        let ideal_gamma = ideal_cp_over_r / (ideal_cp_over_r - 1.0);
        // B, T B' and T² B'': the second virial coefficient and its slopes, all in m³/mol.
        let b = virial::second_virial(self, kelvin);

        // The acoustic virial coefficient, m³/mol.
        let excess = ideal_gamma - 1.0;
        let acoustic =
            2.0 * b.value + 2.0 * excess * b.slope + excess.powi(2) / ideal_gamma * b.curvature;
        let ideal_c2 = ideal_gamma * thermal_j_mol / molar_mass_kg_mol;
        let sound_speed_m_s = (ideal_c2 * (1.0 + acoustic * pressure_pa / thermal_j_mol)).sqrt();

        let compressibility = 1.0 + b.value * pressure_pa / thermal_j_mol;
        let density_kg_m3 = pressure_pa * molar_mass_kg_mol / (compressibility * thermal_j_mol);

        let ideal_cp = ideal_cp_over_r * GAS_CONSTANT_J_MOLK;
        let cp = ideal_cp - pressure_pa * b.curvature / kelvin;
        let cv =
            ideal_cp - GAS_CONSTANT_J_MOLK - pressure_pa * (2.0 * b.slope + b.curvature) / kelvin;

        let transport = transport::of_mixture(self, kelvin);
        Ok(Gas::from_properties(GasProperties {
            temperature,
            pressure,
            density_kg_m3,
            sound_speed_m_s,
            viscosity_pa_s: transport.viscosity_pa_s,
            conductivity_w_mk: transport.conductivity_w_mk,
            cp_j_kgk: cp / molar_mass_kg_mol,
            gamma: cp / cv,
        }))
    }

    /// The mean of a property of the species, weighted by mole.
    fn mean(&self, property: impl Fn(Species) -> f64) -> f64 {
        Species::ALL
            .iter()
            .map(|&species| self.fraction(species) * property(species))
            .sum()
    }
}

/// The properties that a [`Gas`] is made of when they come from elsewhere than [`Mixture::at`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GasProperties {
    /// Temperature.
    pub temperature: Temperature,
    /// Static pressure.
    pub pressure: Pressure,
    /// Density, kg/m³.
    pub density_kg_m3: f64,
    /// Sound speed of a free plane wave, m/s.
    pub sound_speed_m_s: f64,
    /// Shear viscosity, Pa s.
    pub viscosity_pa_s: f64,
    /// Thermal conductivity, W/(m K).
    pub conductivity_w_mk: f64,
    /// Specific heat at constant pressure, J/(kg K).
    pub cp_j_kgk: f64,
    /// Ratio of specific heats cp/cv.
    pub gamma: f64,
}

/// A gas in one state: the numbers that the sound in a bottle needs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gas {
    properties: GasProperties,
}

impl Gas {
    /// A gas with properties measured or computed elsewhere, taken as they are.
    #[must_use]
    pub const fn from_properties(properties: GasProperties) -> Self {
        Self { properties }
    }

    /// Temperature.
    #[must_use]
    pub const fn temperature(&self) -> Temperature {
        self.properties.temperature
    }

    /// Static pressure.
    #[must_use]
    pub const fn pressure(&self) -> Pressure {
        self.properties.pressure
    }

    /// Density, kg/m³: the inertia of the neck.
    #[must_use]
    pub const fn density_kg_m3(&self) -> f64 {
        self.properties.density_kg_m3
    }

    /// Sound speed of a free plane wave, m/s.
    #[must_use]
    pub const fn sound_speed_m_s(&self) -> f64 {
        self.properties.sound_speed_m_s
    }

    /// Shear viscosity, Pa s.
    #[must_use]
    pub const fn viscosity_pa_s(&self) -> f64 {
        self.properties.viscosity_pa_s
    }

    /// Thermal conductivity, W/(m K).
    #[must_use]
    pub const fn conductivity_w_mk(&self) -> f64 {
        self.properties.conductivity_w_mk
    }

    /// Specific heat at constant pressure, J/(kg K).
    #[must_use]
    pub const fn cp_j_kgk(&self) -> f64 {
        self.properties.cp_j_kgk
    }

    /// Ratio of specific heats cp/cv: for the thermal boundary layer. The spring of the gas wants
    /// [`kappa`](Self::kappa), which differs by 0.04 % in air and 0.5 % in carbon dioxide.
    #[must_use]
    pub const fn gamma(&self) -> f64 {
        self.properties.gamma
    }

    /// Isentropic exponent ρc²/p.
    #[must_use]
    pub const fn kappa(&self) -> f64 {
        self.bulk_modulus_pa() / self.pressure().pa()
    }

    /// Isentropic bulk modulus ρc², Pa: the spring of the body.
    #[must_use]
    pub const fn bulk_modulus_pa(&self) -> f64 {
        self.density_kg_m3() * self.sound_speed_m_s() * self.sound_speed_m_s()
    }

    /// Kinematic viscosity μ/ρ, m²/s.
    #[must_use]
    pub const fn kinematic_viscosity_m2_s(&self) -> f64 {
        self.viscosity_pa_s() / self.density_kg_m3()
    }

    /// Thermal diffusivity k/(ρ cp), m²/s.
    #[must_use]
    pub const fn thermal_diffusivity_m2_s(&self) -> f64 {
        self.conductivity_w_mk() / (self.density_kg_m3() * self.cp_j_kgk())
    }

    /// Prandtl number μ cp/k.
    #[must_use]
    pub const fn prandtl(&self) -> f64 {
        self.viscosity_pa_s() * self.cp_j_kgk() / self.conductivity_w_mk()
    }
}

/// `value` if it is a share from nothing to all.
pub(super) fn checked_share(what: &'static str, value: f64) -> Result<f64, GasError> {
    checked_fraction(what, value, 1.0)
}

/// `value` if it lies from 0 to `max`; not a number is outside.
pub(super) fn checked_fraction(what: &'static str, value: f64, max: f64) -> Result<f64, GasError> {
    if (0.0..=max).contains(&value) {
        Ok(value)
    } else {
        Err(GasError::Fraction {
            what,
            value,
            min: 0.0,
            max,
        })
    }
}

/// Refuses a state that the model is not fitted for.
pub(super) fn check_state(temperature: Temperature, pressure: Pressure) -> Result<(), GasError> {
    let (min_c, max_c) = TEMPERATURE_RANGE_C;
    let (min_kpa, max_kpa) = PRESSURE_RANGE_KPA;
    // Compared in kelvin and pascal, where the ends were built the same way and come out exactly.
    let warm_enough =
        temperature >= Temperature::from_c(min_c) && temperature <= Temperature::from_c(max_c);
    if !warm_enough {
        return Err(GasError::Temperature {
            celsius: temperature.c(),
            min_c,
            max_c,
        });
    }
    let dense_enough =
        pressure >= Pressure::from_kpa(min_kpa) && pressure <= Pressure::from_kpa(max_kpa);
    if !dense_enough {
        return Err(GasError::Pressure {
            kpa: pressure.kpa(),
            min_kpa,
            max_kpa,
        });
    }
    Ok(())
}
