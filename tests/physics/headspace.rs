//! What the gas above a liquid takes up: from dry over the room's air to saturated.

use proptest::prelude::*;
use ullage::physics::air::{Room, dry_air, moistened};
use ullage::physics::gas::{GasError, Mixture, Species};
use ullage::physics::liquid::Liquid;
use ullage::physics::vapour::Headspace;
use ullage::units::{Pressure, Temperature};

use crate::ATMOSPHERE;

#[test]
fn a_headspace_goes_from_dry_over_room_to_saturated() {
    let room = Room::default();
    let air = room.air().unwrap();
    let over = |headspace: Headspace, liquid: &str| {
        headspace
            .above(
                liquid.parse().unwrap(),
                &air,
                room.temperature,
                room.pressure,
            )
            .unwrap()
    };
    for liquid in ["water", "brine", "ethanol 40%", "isopropanol 70%"] {
        assert_eq!(over(Headspace::Room, liquid), air);
        assert_eq!(over(Headspace::Part(0.0), liquid), air);
        let (whole, saturated) = (
            over(Headspace::Part(1.0), liquid),
            over(Headspace::Saturated, liquid),
        );
        for species in Species::ALL {
            assert!((whole.fraction(species) - saturated.fraction(species)).abs() < 1e-15);
        }
    }
    let dry = over(Headspace::Dry, "water");
    assert_eq!(dry.fraction(Species::H2o), 0.0);
    let kept = dry.fraction(Species::N2) - dry_air(room.co2).unwrap().fraction(Species::N2);
    assert!(kept.abs() < 1e-12);
    // Saturated over water is air at 100 % humidity: two ways to the same gas.
    let humid = moistened(&air, 1.0, room.temperature, room.pressure).unwrap();
    assert!(
        (over(Headspace::Saturated, "water").fraction(Species::H2o) - humid.fraction(Species::H2o))
            .abs()
            < 1e-12
    );
}

#[test]
fn a_boiling_liquid_and_a_part_beyond_the_whole_are_refused() {
    let air = Room::default().air().unwrap();
    let above = |headspace: Headspace, celsius: f64, kpa: f64| {
        headspace.above(
            Liquid::Water,
            &air,
            Temperature::from_c(celsius),
            Pressure::from_kpa(kpa),
        )
    };
    assert!(matches!(
        above(Headspace::Saturated, 110.0, 101.325),
        Err(GasError::Boils { .. })
    ));
    assert!(above(Headspace::Saturated, 110.0, 300.0).is_ok());
    assert!(matches!(
        above(Headspace::Part(1.5), 20.0, 101.325),
        Err(GasError::Fraction { .. })
    ));
    assert!(matches!(
        above(Headspace::Part(f64::NAN), 20.0, 101.325),
        Err(GasError::Fraction { .. })
    ));
    assert!(above(Headspace::Saturated, 200.0, 101.325).is_err());
}

#[test]
fn a_headspace_reads_back_as_it_was_printed() {
    for (text, headspace) in [
        ("dry", Headspace::Dry),
        ("Room", Headspace::Room),
        ("saturated", Headspace::Saturated),
        ("0.25", Headspace::Part(0.25)),
    ] {
        let read: Headspace = text.parse().unwrap();
        assert_eq!(read, headspace);
        assert_eq!(read.to_string().parse::<Headspace>().unwrap(), read);
    }
    for bad in ["wet", "1.5", "-0.1", "nan", ""] {
        assert!(bad.parse::<Headspace>().is_err(), "{bad}");
    }
}

proptest! {
    #[test]
    fn vapour_leaves_the_lasting_gases_in_proportion_and_the_whole_one(
        strength in 0.0..=100.0f64, celsius in -10.0..60.0f64, part in 0.0..=1.0f64, helium in 0.0..=1.0f64,
    ) {
        let base = Room::default().air().unwrap().blend(&Mixture::pure(Species::He), helium).unwrap();
        for name in ["ethanol", "isopropanol"] {
            let liquid = format!("{name} {strength}%").parse().unwrap();
            let gas = Headspace::Part(part).above(liquid, &base, Temperature::from_c(celsius), ATMOSPHERE).unwrap();
            let sum: f64 = Species::ALL.iter().map(|&species| gas.fraction(species)).sum();
            prop_assert!((sum - 1.0).abs() < 1e-12);
            let cross = gas.fraction(Species::Ar) * base.fraction(Species::N2) - gas.fraction(Species::N2) * base.fraction(Species::Ar);
            prop_assert!(cross.abs() < 1e-14);
        }
    }
}
