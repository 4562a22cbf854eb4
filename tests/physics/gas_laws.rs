//! Laws that every gas mixture keeps, and the states and mixtures that are refused.

use proptest::prelude::*;
use ullage::physics::air::{Breath, Room, condensed, moistened, saturated_water_fraction};
use ullage::physics::gas::{Gas, GasError, GasProperties, Mixture, Species};
use ullage::units::{Pressure, Temperature};

use crate::{ATMOSPHERE, lemmon_air};

#[test]
fn a_gas_keeps_the_properties_it_is_given() {
    let gas = Gas::from_properties(GasProperties {
        temperature: Temperature::from_c(20.0),
        pressure: Pressure::from_pa(100_000.0),
        density_kg_m3: 1.2,
        sound_speed_m_s: 340.0,
        viscosity_pa_s: 1.8e-5,
        conductivity_w_mk: 0.024,
        cp_j_kgk: 1000.0,
        gamma: 1.4,
    });
    let close = |ours: f64, theirs: f64| (ours / theirs - 1.0).abs() < 1e-12;
    assert!(close(gas.bulk_modulus_pa(), 138_720.0));
    assert!(close(gas.kappa(), 1.3872));
    assert!(close(gas.kinematic_viscosity_m2_s(), 1.5e-5));
    assert!(close(gas.thermal_diffusivity_m2_s(), 2e-5));
    assert!(close(gas.prandtl(), 0.75));
    assert!(close(gas.gamma(), 1.4));
}

#[test]
fn a_state_outside_the_model_is_refused_with_its_limits() {
    let air = lemmon_air();
    let hot = air.at(Temperature::from_c(130.0), ATMOSPHERE).unwrap_err();
    assert!(
        matches!(
            hot,
            GasError::Temperature {
                min_c: -40.0,
                max_c: 120.0,
                ..
            }
        ),
        "{hot}"
    );
    let vacuum = air
        .at(Temperature::from_c(20.0), Pressure::from_kpa(5.0))
        .unwrap_err();
    assert_eq!(
        vacuum.to_string(),
        "gas pressure 5 kPa is outside 20 to 400 kPa"
    );
    assert!(air.at(Temperature::from_k(f64::NAN), ATMOSPHERE).is_err());
    assert!(
        air.at(Temperature::from_c(20.0), Pressure::from_pa(f64::NAN))
            .is_err()
    );
    for (celsius, kpa) in [(-40.0, 20.0), (120.0, 400.0)] {
        assert!(
            air.at(Temperature::from_c(celsius), Pressure::from_kpa(kpa))
                .is_ok()
        );
    }
}

#[test]
fn a_mixture_that_is_not_a_whole_is_refused() {
    let short = Mixture::new(&[(Species::N2, 0.7), (Species::O2, 0.2)]).unwrap_err();
    assert!(matches!(short, GasError::Sum { .. }), "{short}");
    for bad in [-0.1, 1.1, f64::NAN] {
        assert!(
            Mixture::new(&[(Species::N2, 1.0), (Species::O2, bad)]).is_err(),
            "{bad}"
        );
        assert!(lemmon_air().blend(&lemmon_air(), bad).is_err(), "{bad}");
        assert!(
            Room {
                humidity: bad,
                ..Room::default()
            }
            .air()
            .is_err(),
            "{bad}"
        );
        assert!(
            Room {
                co2: bad,
                ..Room::default()
            }
            .air()
            .is_err(),
            "{bad}"
        );
    }
}

fn any_mixture() -> impl Strategy<Value = Mixture> {
    prop::array::uniform8(0.0..1.0f64).prop_filter_map("no gas at all", |weights| {
        let sum: f64 = weights.iter().sum();
        let parts = Species::ALL
            .iter()
            .zip(weights)
            .map(|(&species, w)| (species, w / sum))
            .collect::<Vec<_>>();
        Mixture::new(&parts).ok()
    })
}

fn sum(mixture: &Mixture) -> f64 {
    Species::ALL
        .iter()
        .map(|&species| mixture.fraction(species))
        .sum()
}

proptest! {
    #[test]
    fn a_gas_blended_with_itself_is_itself(mixture in any_mixture(), share in 0.0..=1.0f64) {
        prop_assert_eq!(mixture.blend(&mixture, share).unwrap(), mixture);
    }

    #[test]
    fn the_fractions_of_every_blend_sum_to_one(a in any_mixture(), b in any_mixture(), share in 0.0..=1.0f64) {
        let blend = a.blend(&b, share).unwrap();
        prop_assert!((sum(&blend) - 1.0).abs() < 1e-12);
        prop_assert!(Species::ALL.iter().all(|&species| blend.fraction(species) >= 0.0));
    }

    #[test]
    fn sound_is_faster_in_warmer_gas_and_everything_stays_positive(
        a in 0usize..6, b in 0usize..6, share in 0.0..=1.0f64, celsius in -40.0..119.0f64, kpa in 20.0..400.0f64,
    ) {
        let gases = [lemmon_air(), Mixture::pure(Species::Co2), Mixture::pure(Species::He), Mixture::pure(Species::Ar),
            Mixture::pure(Species::O2), Mixture::pure(Species::N2)];
        let gas = gases[a].blend(&gases[b], share).unwrap();
        let at = |celsius| gas.at(Temperature::from_c(celsius), Pressure::from_kpa(kpa)).unwrap();
        let (cold, warm) = (at(celsius), at(celsius + 1.0));
        prop_assert!(warm.sound_speed_m_s() > cold.sound_speed_m_s());
        prop_assert!(warm.density_kg_m3() < cold.density_kg_m3());
        prop_assert!(warm.viscosity_pa_s() > cold.viscosity_pa_s() && cold.viscosity_pa_s() > 0.0);
        prop_assert!(cold.gamma() > 1.0 && cold.kappa() > 1.0);
        prop_assert!((0.3..0.9).contains(&cold.prandtl()), "Prandtl number {}", cold.prandtl());
    }

    #[test]
    fn nothing_above_saturation_survives_cooling(celsius in -20.0..40.0f64, humidity in 0.0..=1.0f64) {
        let cold = Temperature::from_c(celsius);
        let breath = Breath { humidity, ..Breath::default() }.mixture(ATMOSPHERE).unwrap();
        let cooled = condensed(&breath, cold, ATMOSPHERE).unwrap();
        let most = saturated_water_fraction(cold, ATMOSPHERE).unwrap();
        prop_assert!(cooled.fraction(Species::H2o) <= most * (1.0 + 1e-12));
        prop_assert!((sum(&cooled) - 1.0).abs() < 1e-12);
        // The rest keeps its proportions.
        let ratio = |mixture: &Mixture| mixture.fraction(Species::Co2) / mixture.fraction(Species::N2);
        prop_assert!((ratio(&cooled) / ratio(&breath) - 1.0).abs() < 1e-12);
    }
}

#[test]
fn moistening_replaces_the_moisture_that_was_there() {
    let room = Room::default();
    let wet = moistened(&room.air().unwrap(), 1.0, room.temperature, room.pressure).unwrap();
    let most = saturated_water_fraction(room.temperature, room.pressure).unwrap();
    assert!((wet.fraction(Species::H2o) - most).abs() < 1e-15);
    let boiling = moistened(
        &room.air().unwrap(),
        1.0,
        Temperature::from_c(110.0),
        room.pressure,
    )
    .unwrap_err();
    assert!(matches!(boiling, GasError::Boils { .. }), "{boiling}");
}
