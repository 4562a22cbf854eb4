//! The gas model against reference tables and published formulas.

use std::collections::HashMap;

use ullage::physics::air::{Breath, Room, dry_air, saturated_water_fraction};
use ullage::physics::gas::{Gas, Mixture, Species};
use ullage::units::{Pressure, Temperature};

use crate::common::files;
use crate::gas_oracles::{cipm_density_kg_m3, cramer_sound_speed_m_s, iso_sound_speed_m_s};
use crate::{ATMOSPHERE, lemmon_air};

type Row = HashMap<String, String>;

fn table(file: &str) -> Vec<Row> {
    files::table(file)
        .deserialize()
        .map(Result::unwrap)
        .collect()
}

fn number(row: &Row, column: &str) -> Option<f64> {
    let text = &row[column];
    (!text.is_empty()).then(|| text.parse().unwrap())
}

/// The largest departure in percent, and how many were looked at.
#[derive(Default)]
struct Worst {
    percent: f64,
    rows: usize,
    at: String,
}

impl Worst {
    fn look(&mut self, ours: f64, theirs: Option<f64>, at: &dyn Fn() -> String) {
        let Some(theirs) = theirs else { return };
        self.rows += 1;
        let percent = 100.0 * (ours / theirs - 1.0).abs();
        assert!(percent.is_finite(), "{ours} against {theirs} at {}", at());
        if percent > self.percent {
            self.percent = percent;
            self.at = at();
        }
    }

    fn within(&self, what: &str, limit_percent: f64, rows: usize) {
        println!(
            "{what}: {:.4} % over {} rows, worst at {}",
            self.percent, self.rows, self.at
        );
        assert_eq!(self.rows, rows, "{what}: rows compared");
        assert!(
            self.percent <= limit_percent,
            "{what}: {:.4} % at {}",
            self.percent,
            self.at
        );
    }
}

#[test]
fn pure_gases_follow_the_reference_equations_of_state() {
    let rows = table("gas_pure.csv");
    assert_eq!(rows.len(), 105);
    let [mut c, mut rho, mut gamma, mut kappa, mut cp] = [(); 5].map(|()| Worst::default());
    for row in &rows {
        let gas = pure_row(row);
        let at = || format!("{} at {} °C", row["gas"], row["T_C"]);
        c.look(gas.sound_speed_m_s(), number(row, "c_m_s"), &at);
        rho.look(gas.density_kg_m3(), number(row, "rho_kg_m3"), &at);
        gamma.look(gas.gamma(), number(row, "gamma"), &at);
        kappa.look(gas.kappa(), number(row, "kappa"), &at);
        cp.look(gas.cp_j_kgk(), number(row, "cp_J_kgK"), &at);
    }
    // One number for all of air's attractions: 0.031 % in oxygen and argon, the rest is far better.
    c.within("sound speed, pure", 0.04, 105);
    rho.within("density, pure", 0.05, 105);
    gamma.within("gamma, pure", 0.03, 105);
    kappa.within("kappa, pure", 0.05, 105);
    cp.within("cp, pure", 0.05, 105);
}

#[test]
fn pure_gases_carry_momentum_and_heat_as_the_references_say() {
    // The misfit of each power law on -10 to 60 °C, percent, plus the rounding of the table (five digits).
    let limits = [
        ("air", 0.08, 0.08),
        ("N2", 0.08, 0.08),
        ("O2", 0.09, 0.07),
        ("Ar", 0.09, 0.09),
        ("CO2", 0.06, 0.04),
        ("He", 0.02, 0.01),
    ];
    let rounding_percent = 0.006;
    let rows = table("gas_pure.csv");
    for (name, viscosity_percent, conductivity_percent) in limits {
        let [mut mu, mut k, mut prandtl] = [(); 3].map(|()| Worst::default());
        for row in rows.iter().filter(|row| row["gas"] == name) {
            let gas = pure_row(row);
            let at = || format!("{} °C", row["T_C"]);
            mu.look(gas.viscosity_pa_s(), number(row, "mu_Pa_s"), &at);
            k.look(gas.conductivity_w_mk(), number(row, "k_W_mK"), &at);
            prandtl.look(gas.prandtl(), number(row, "Pr"), &at);
        }
        mu.within(
            &format!("viscosity, {name}"),
            viscosity_percent + rounding_percent,
            15,
        );
        k.within(
            &format!("conductivity, {name}"),
            conductivity_percent + rounding_percent,
            15,
        );
        prandtl.within(&format!("Prandtl number, {name}"), 0.05, 15);
    }
}

fn pure_row(row: &Row) -> Gas {
    let mixture = match row["gas"].as_str() {
        "air" => lemmon_air(),
        "air_mix" => dry_air(0.0004).unwrap(),
        "N2" => Mixture::pure(Species::N2),
        "O2" => Mixture::pure(Species::O2),
        "Ar" => Mixture::pure(Species::Ar),
        "CO2" => Mixture::pure(Species::Co2),
        "He" => Mixture::pure(Species::He),
        other => panic!("{other} in gas_pure.csv"),
    };
    let celsius = number(row, "T_C").unwrap();
    mixture
        .at(
            Temperature::from_c(celsius),
            Pressure::from_pa(number(row, "p_Pa").unwrap()),
        )
        .unwrap()
}

#[test]
fn humid_air_follows_cramer_and_the_international_density_formula() {
    let rows = table("gas_humid.csv");
    assert_eq!(rows.len(), 540);
    let names = [
        "Cramer",
        "CoolProp",
        "CIPM density",
        "second typing of c",
        "x_w",
        "our Cramer",
        "our CIPM",
    ];
    let [
        mut c,
        mut c_coolprop,
        mut rho,
        mut twin,
        mut water,
        mut cramer,
        mut cipm,
    ] = names.map(|_| Worst::default());
    for row in &rows {
        let get = |column| number(row, column).unwrap();
        let (t, p, x) = (get("T_C"), get("p_Pa"), get("x_CO2"));
        let room = Room {
            temperature: Temperature::from_c(t),
            pressure: Pressure::from_pa(p),
            humidity: get("RH"),
            co2: x,
        };
        let (air, gas) = (room.air().unwrap(), room.gas().unwrap());
        let w = air.fraction(Species::H2o);
        let at = || format!("{t} °C, {} kPa, RH {}, CO2 {x}", p / 1e3, room.humidity);
        let wet = (get("x_w") > 1e-3).then(|| get("x_w"));
        water.look(w, wet, &at);
        cramer.look(
            cramer_sound_speed_m_s(t, p, w, x),
            number(row, "c_cramer"),
            &at,
        );
        cipm.look(
            cipm_density_kg_m3(t, p, w, x),
            number(row, "rho_cipm2007"),
            &at,
        );
        if row["cramer_ok"] == "1" {
            c.look(gas.sound_speed_m_s(), number(row, "c_cramer"), &at);
        }
        c_coolprop.look(gas.sound_speed_m_s(), number(row, "c_coolprop"), &at);
        rho.look(gas.density_kg_m3(), number(row, "rho_cipm2007"), &at);
        twin.look(gas.sound_speed_m_s(), number(row, "c_model"), &at);
    }
    let count = |column: &str| rows.iter().filter(|row| !row[column].is_empty()).count();
    let cramer_rows = rows.iter().filter(|row| row["cramer_ok"] == "1").count();
    println!(
        "{cramer_rows} rows in Cramer's range, {} of CoolProp, wet {}",
        count("c_coolprop"),
        water.rows
    );
    assert_eq!((cramer_rows, count("c_coolprop")), (315, 180));
    c.within("sound speed against Cramer", 0.012, 315);
    c_coolprop.within("sound speed against CoolProp humid air", 0.004, 180);
    rho.within("density against CIPM-2007", 0.01, 540);
    // The other typing of the same formulas, printed to four places: a slip in a coefficient would show.
    twin.within("sound speed against the second typing", 0.0001, 540);
    // Printed to seven places: half a digit in 0.00145.
    water.within("water fraction against the table", 0.004, 432);
    cramer.within("our Cramer against the table's", 0.0001, 540);
    cipm.within("our CIPM-2007 against the table's", 0.0001, 540);
}

#[test]
fn the_oracles_give_their_printed_numbers() {
    // Cramer 1993 was made to give 331.45 ± 0.05 m/s in dry air at 0 °C.
    let cramer = cramer_sound_speed_m_s(0.0, 101_325.0, 0.0, 314e-6);
    assert!((cramer - 331.4550).abs() < 0.0001, "{cramer}");
    // CIPM-2007 as printed: 1.19569 and 1.11497 kg/m³; the second is missed by 7e-5, cause unknown.
    let mmhg_pa = 133.322_368;
    for (t, mmhg, printed, tolerance) in
        [(10.0, 730.0, 1.19569, 1e-5), (40.0, 760.0, 1.11497, 1e-4)]
    {
        let p = mmhg * mmhg_pa;
        let w =
            0.4 * saturated_water_fraction(Temperature::from_c(t), Pressure::from_pa(p)).unwrap();
        let ours = cipm_density_kg_m3(t, p, w, 0.0004);
        assert!(
            (ours - printed).abs() < tolerance,
            "{ours} against {printed}"
        );
    }
}

#[test]
fn the_sound_speed_without_humidity_is_15_cents_flat_in_hot_wet_air() {
    let room = Room {
        temperature: Temperature::from_c(30.0),
        humidity: 1.0,
        ..Room::default()
    };
    let wet = room.gas().unwrap().sound_speed_m_s();
    let percent = 100.0 * (1.0 - iso_sound_speed_m_s(30.0) / wet);
    // 0.87 % at 80 kPa, where air holds more water; less at one atmosphere.
    assert!((0.6..0.88).contains(&percent), "{percent} %");
}

#[test]
fn air_with_carbon_dioxide_or_helium_follows_the_multi_fluid_reference() {
    let rows = table("gas_mix.csv");
    assert_eq!(rows.len(), 232);
    let [mut c, mut rho, mut gamma, mut twin, mut mu, mut k] = [(); 6].map(|()| Worst::default());
    let [mut breath_c, mut breath_rho] = [(); 2].map(|()| Worst::default());
    for row in &rows {
        let gas = mixed_row(row);
        let at = || format!("{} {} at {} °C", row["mix"], row["x"], row["T_C"]);
        twin.look(gas.sound_speed_m_s(), number(row, "c_model"), &at);
        if row["mix"].starts_with("breath") {
            breath_c.look(gas.sound_speed_m_s(), number(row, "c_heos"), &at);
            breath_rho.look(gas.density_kg_m3(), number(row, "rho_heos"), &at);
            continue;
        }
        c.look(gas.sound_speed_m_s(), number(row, "c_heos"), &at);
        rho.look(gas.density_kg_m3(), number(row, "rho_heos"), &at);
        gamma.look(gas.gamma(), number(row, "gamma_heos"), &at);
        mu.look(gas.viscosity_pa_s(), number(row, "mu_model"), &at);
        k.look(gas.conductivity_w_mk(), number(row, "k_model"), &at);
    }
    c.within("sound speed, air with CO2 or He", 0.01, 224);
    rho.within("density, air with CO2 or He", 0.05, 224);
    gamma.within("gamma, air with CO2 or He", 0.03, 224);
    // The reference's own water-nitrogen terms are weak.
    breath_c.within("sound speed, breath", 0.02, 8);
    breath_rho.within("density, breath", 0.05, 8);
    twin.within("sound speed against the second typing", 0.001, 232);
    // No reference exists for these; the other typing of Wilke's rule, which takes air as one substance.
    mu.within("viscosity against the second typing", 0.05, 224);
    k.within("conductivity against the second typing", 0.05, 224);
}

fn mixed_row(row: &Row) -> Gas {
    let temperature = Temperature::from_c(number(row, "T_C").unwrap());
    let part = |species| {
        lemmon_air()
            .blend(&Mixture::pure(species), number(row, "x").unwrap())
            .unwrap()
    };
    let mixture = match row["mix"].as_str() {
        "air+CO2" => part(Species::Co2),
        "air+He" => part(Species::He),
        label => {
            // "breath O2=0.16 CO2=0.045 RH=1 xw=0.0528"
            let value = |key: &str| -> f64 {
                let word = label
                    .split(' ')
                    .find_map(|word| word.strip_prefix(key))
                    .unwrap();
                word.parse().unwrap()
            };
            let breath = Breath {
                temperature,
                humidity: value("RH="),
                oxygen: value("O2="),
                co2: value("CO2="),
            };
            let mixture = breath.mixture(ATMOSPHERE).unwrap();
            // The label rounds to four places.
            assert!(
                (mixture.fraction(Species::H2o) - value("xw=")).abs() < 6e-5,
                "{label}"
            );
            mixture
        }
    };
    mixture.at(temperature, ATMOSPHERE).unwrap()
}

#[test]
fn the_check_values_of_the_model_come_out_to_the_last_digit() {
    let room = |celsius: f64, humidity: f64, kpa: f64| Room {
        temperature: Temperature::from_c(celsius),
        pressure: Pressure::from_kpa(kpa),
        humidity,
        co2: 0.0004,
    };
    let at_20 = |mixture: Mixture| mixture.at(Temperature::from_c(20.0), ATMOSPHERE).unwrap();
    let half = |species| at_20(lemmon_air().blend(&Mixture::pure(species), 0.5).unwrap());
    let states = [
        (
            "dry air, 0 °C",
            room(0.0, 0.0, 101.325).gas().unwrap(),
            331.4313,
            1.293_087,
            1.401_839,
        ),
        (
            "dry air, 20 °C",
            room(20.0, 0.0, 101.325).gas().unwrap(),
            343.3369,
            1.204_594,
            1.401_410,
        ),
        (
            "air, 20 °C, 50 %",
            room(20.0, 0.5, 101.325).gas().unwrap(),
            343.9602,
            1.199_350,
            1.400_379,
        ),
        (
            "CO2",
            at_20(Mixture::pure(Species::Co2)),
            266.5565,
            1.839_318,
            1.289_789,
        ),
        (
            "He",
            at_20(Mixture::pure(Species::He)),
            1007.8941,
            0.166_311,
            1.667_378,
        ),
        (
            "Ar",
            at_20(Mixture::pure(Species::Ar)),
            319.0461,
            1.661_316,
            1.668_947,
        ),
        (
            "air and CO2",
            half(Species::Co2),
            298.537,
            1.520_30,
            1.337_24,
        ),
        ("air and He", half(Species::He), 471.323, 0.684_80, 1.501_36),
        (
            "30 °C, wet, 80 kPa",
            room(30.0, 1.0, 80.0).gas().unwrap(),
            352.0365,
            0.901_191,
            1.396_054,
        ),
    ];
    for (name, gas, c, rho, kappa) in states {
        let (c_tolerance, rho_tolerance, kappa_tolerance) = if name.starts_with("air and") {
            (6e-4, 6e-6, 6e-6)
        } else {
            (1e-4, 1e-6, 1e-6)
        };
        println!(
            "{name}: {:.4} {:.6} {:.6}",
            gas.sound_speed_m_s(),
            gas.density_kg_m3(),
            gas.kappa()
        );
        assert!(
            (gas.sound_speed_m_s() - c).abs() < c_tolerance,
            "{name}: {}",
            gas.sound_speed_m_s()
        );
        assert!(
            (gas.density_kg_m3() - rho).abs() < rho_tolerance,
            "{name}: {}",
            gas.density_kg_m3()
        );
        assert!(
            (gas.kappa() - kappa).abs() < kappa_tolerance,
            "{name}: {}",
            gas.kappa()
        );
    }
}
