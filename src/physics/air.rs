//! The air in the room and the breath of the player: how much water and carbon dioxide they hold.
//!
//! Humidity is that of liquid water, below 0 °C too, as weather services have it.

use crate::units::{Pressure, STANDARD_ATMOSPHERE_PA, Temperature};

use super::gas::{Gas, GasError, Mixture, Species, check_state, checked_fraction, checked_share};

/// Carbon dioxide in outdoor air, mole fraction: the 400 ppm of CIPM-2007.
pub const OUTDOOR_CO2: f64 = 0.0004;

/// Mole fraction of nitrogen in dry air, CIPM-2007.
const DRY_N2: f64 = 0.780_84;

/// Mole fraction of argon in dry air, CIPM-2007; breathing leaves it as it is.
const DRY_AR: f64 = 0.009_30;

/// Mole fraction of oxygen and carbon dioxide together in dry air: one grows as the other is used up.
const DRY_O2_AND_CO2: f64 = 1.0 - DRY_N2 - DRY_AR;

/// Most carbon dioxide that may be asked for in a room, mole fraction; ten times what kills.
const MOST_CO2: f64 = 0.2;

/// Vapour pressure of liquid water, Pa.
///
/// exp(A T² + B T + C + D/T), Davis 1992, kept in CIPM-2007; within 0.03 % of CoolProp from 0 to 60 °C.
#[must_use]
pub fn water_vapour_pressure_pa(temperature: Temperature) -> f64 {
    let kelvin = temperature.k();
    (1.237_884_7e-5 * kelvin * kelvin - 1.912_131_6e-2 * kelvin + 33.937_110_47
        - 6343.1645 / kelvin)
        .exp()
}

/// How much more vapour than [`water_vapour_pressure_pa`] a gas at `pressure` holds: the enhancement factor of
/// CIPM-2007.
#[must_use]
pub fn enhancement_factor(temperature: Temperature, pressure: Pressure) -> f64 {
    1.000_62 + 3.14e-8 * pressure.pa() + 5.6e-7 * temperature.c().powi(2)
}

/// Mole fraction of water in a gas saturated with it.
///
/// # Errors
/// A state outside the gas model, or one at which water boils.
pub fn saturated_water_fraction(
    temperature: Temperature,
    pressure: Pressure,
) -> Result<f64, GasError> {
    check_state(temperature, pressure)?;
    let vapour_pa =
        enhancement_factor(temperature, pressure) * water_vapour_pressure_pa(temperature);
    if vapour_pa >= pressure.pa() {
        return Err(GasError::Boils {
            vapour_kpa: Pressure::from_pa(vapour_pa).kpa(),
            celsius: temperature.c(),
            kpa: pressure.kpa(),
        });
    }
    Ok(vapour_pa / pressure.pa())
}

/// Dry air with the mole fraction `co2` of carbon dioxide (0 to 0.2), which stands in for as much oxygen.
///
/// # Errors
/// A fraction outside its range.
pub fn dry_air(co2: f64) -> Result<Mixture, GasError> {
    let co2 = checked_fraction("carbon dioxide in air", co2, MOST_CO2)?;
    dry_mixture(DRY_O2_AND_CO2 - co2, co2)
}

/// Air-like gas with given oxygen and carbon dioxide, air's argon, and nitrogen for the rest.
fn dry_mixture(o2: f64, co2: f64) -> Result<Mixture, GasError> {
    let n2 = 1.0 - DRY_AR - o2 - co2;
    Mixture::new(&[
        (Species::N2, n2),
        (Species::O2, o2),
        (Species::Ar, DRY_AR),
        (Species::Co2, co2),
    ])
}

/// `gas` with relative humidity `humidity` (0 to 1) instead of whatever vapours it held.
///
/// # Errors
/// A humidity outside its range, a state outside the gas model, or one at which water boils.
pub fn moistened(
    gas: &Mixture,
    humidity: f64,
    temperature: Temperature,
    pressure: Pressure,
) -> Result<Mixture, GasError> {
    let humidity = checked_share("relative humidity", humidity)?;
    let water = humidity * saturated_water_fraction(temperature, pressure)?;
    let steam = Mixture::pure(Species::H2o);
    // Pure vapour stays itself: there is no gas to moisten.
    gas.without_vapour()
        .map_or(Ok(steam), |dry| dry.blend(&steam, water))
}

/// `gas` after the water that it cannot hold in this state has condensed on the glass.
///
/// Other vapours are left alone. Steam with no gas in it is left alone too: it has nothing to leave behind.
///
/// # Errors
/// A state outside the gas model.
pub fn condensed(
    gas: &Mixture,
    temperature: Temperature,
    pressure: Pressure,
) -> Result<Mixture, GasError> {
    let most = match saturated_water_fraction(temperature, pressure) {
        // Above the boiling point nothing condenses.
        Err(GasError::Boils { .. }) => return Ok(*gas),
        most => most?,
    };
    let water = gas.fraction(Species::H2o);
    if water <= most || water >= 1.0 {
        return Ok(*gas);
    }
    let keep = (1.0 - most) / (1.0 - water);
    let parts = Species::ALL.map(|species| match species {
        Species::H2o => (species, most),
        other => (other, gas.fraction(other) * keep),
    });
    Mixture::new(&parts)
}

/// The room that the bottles stand in.
///
/// ```
/// use ullage::physics::air::Room;
/// let room = Room::default();
/// let gas = room.air()?.at(room.temperature, room.pressure)?;
/// assert!((gas.sound_speed_m_s() - 343.96).abs() < 0.01);
/// # Ok::<(), ullage::physics::gas::GasError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Room {
    /// Air temperature.
    pub temperature: Temperature,
    /// Air pressure, as a barometer on the spot shows it, not reduced to sea level.
    pub pressure: Pressure,
    /// Relative humidity, 0 to 1.
    pub humidity: f64,
    /// Carbon dioxide in the dry air, mole fraction: 0.0004 outdoors, 0.001 to 0.003 in a full classroom.
    pub co2: f64,
}

impl Default for Room {
    /// 20 °C, one standard atmosphere, 50 % relative humidity, outdoor carbon dioxide.
    fn default() -> Self {
        Self {
            temperature: Temperature::from_c(20.0),
            pressure: Pressure::from_pa(STANDARD_ATMOSPHERE_PA),
            humidity: 0.5,
            co2: OUTDOOR_CO2,
        }
    }
}

impl Room {
    /// What the room's air is made of.
    ///
    /// # Errors
    /// A humidity or carbon dioxide outside its range, a state outside the gas model, or one at which water boils.
    pub fn air(&self) -> Result<Mixture, GasError> {
        moistened(
            &dry_air(self.co2)?,
            self.humidity,
            self.temperature,
            self.pressure,
        )
    }

    /// The room's air in the room's state.
    ///
    /// # Errors
    /// As [`Room::air`].
    pub fn gas(&self) -> Result<Gas, GasError> {
        self.air()?.at(self.temperature, self.pressure)
    }
}

/// A player's breath as it leaves the lips.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Breath {
    /// Its temperature; 30 to 35 °C have been measured.
    pub temperature: Temperature,
    /// Its relative humidity at that temperature, 0 to 1.
    pub humidity: f64,
    /// Oxygen in the dry gas, mole fraction.
    pub oxygen: f64,
    /// Carbon dioxide in the dry gas, mole fraction.
    pub co2: f64,
}

impl Default for Breath {
    /// 34 °C, saturated, 16 % oxygen and 4.5 % carbon dioxide: the middle of published figures for breath at the
    /// lips, which differ by some 10 cents in all.
    fn default() -> Self {
        Self {
            temperature: Temperature::from_c(34.0),
            humidity: 1.0,
            oxygen: 0.16,
            co2: 0.045,
        }
    }
}

impl Breath {
    /// What the breath is made of, warm.
    ///
    /// # Errors
    /// A fraction or a state outside its range.
    pub fn mixture(&self, pressure: Pressure) -> Result<Mixture, GasError> {
        let oxygen = checked_fraction("oxygen in breath", self.oxygen, DRY_O2_AND_CO2)?;
        let co2 = checked_fraction("carbon dioxide in breath", self.co2, MOST_CO2)?;
        moistened(
            &dry_mixture(oxygen, co2)?,
            self.humidity,
            self.temperature,
            pressure,
        )
    }

    /// The breath, warm: what a neck holds while it is blown.
    ///
    /// # Errors
    /// As [`Breath::mixture`].
    pub fn gas(&self, pressure: Pressure) -> Result<Gas, GasError> {
        self.mixture(pressure)?.at(self.temperature, pressure)
    }

    /// The gas of `room` with the share `fraction` (0 to 1) of this breath in it, their temperatures mixed too.
    ///
    /// Heat capacities per mole are taken as equal, and what cannot stay as vapour condenses.
    ///
    /// # Errors
    /// A fraction or a state outside its range.
    pub fn mixed_into(&self, room: &Room, fraction: f64) -> Result<Gas, GasError> {
        let mixed = room.air()?.blend(&self.mixture(room.pressure)?, fraction)?;
        let warmer_k = fraction * (self.temperature.k() - room.temperature.k());
        let temperature = room.temperature.warmed_by_k(warmer_k);
        condensed(&mixed, temperature, room.pressure)?.at(temperature, room.pressure)
    }
}

/// Ordinary breath at `temperature`, saturated there: for the neck while it is blown (34 °C unless known better).
///
/// # Errors
/// A state outside the gas model.
pub fn breath_gas(temperature: Temperature, pressure: Pressure) -> Result<Gas, GasError> {
    Breath {
        temperature,
        ..Breath::default()
    }
    .gas(pressure)
}
