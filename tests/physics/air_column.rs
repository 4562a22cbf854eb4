//! The line model against finite elements: frequency and Q of eight bottle shapes at six fillings.

use serde_json::Value;
use ullage::physics::gas::{Gas, GasProperties};
use ullage::physics::mouth::Mouth;
use ullage::physics::profile::{BorePoint, Profile};
use ullage::physics::resonance::{AirColumn, Gases};
use ullage::units::{Length, Pressure, Temperature, Volume};

use crate::common::measure::cents;

/// The gas of the finite-element values: dry air at 20 °C, CoolProp 8.0.0.
fn reference_air() -> Gas {
    Gas::from_properties(GasProperties {
        temperature: Temperature::from_c(20.0),
        pressure: Pressure::from_pa(101_325.0),
        density_kg_m3: 1.20458,
        sound_speed_m_s: 343.344,
        viscosity_pa_s: 1.82057e-5,
        conductivity_w_mk: 0.025_873_8,
        cp_j_kgk: 1006.14,
        gamma: 1.40197,
    })
}

struct Shape {
    bore: Profile,
    lip_wall: Length,
    brimful_ml: f64,
}

fn shape(name: &str) -> Shape {
    let all: Value = serde_json::from_str(include_str!("../data/bottles_fem.json")).unwrap();
    let bottle = &all["bottles"][name];
    let number = |v: &Value| v.as_f64().unwrap();
    let points = bottle["profile"].as_array().unwrap().iter();
    let points = points.map(|p| BorePoint {
        height_m: number(&p[0]) / 1e3,
        radius_m: number(&p[1]) / 1e3,
    });
    Shape {
        bore: Profile::new(points.collect()).unwrap(),
        lip_wall: Length::from_mm(number(&bottle["lip_wall_mm"])),
        brimful_ml: number(&bottle["brimful_ml"]),
    }
}

impl Shape {
    fn column(&self, level: Length, open_share: f64) -> AirColumn {
        let mouth = Mouth::new(self.bore.mouth_radius(), self.lip_wall, open_share).unwrap();
        AirColumn::new(
            &self.bore,
            level,
            Length::from_m(1.0),
            Gases::all(reference_air()),
            mouth,
        )
        .unwrap()
    }
}

#[derive(Debug, serde::Deserialize)]
struct Row {
    profile: String,
    liquid_ml: f64,
    fill_height_mm: f64,
    air_ml: f64,
    f1_hz: f64,
    q1_total: f64,
    f2_hz: Option<f64>,
}

fn rows() -> Vec<Row> {
    csv::Reader::from_reader(include_str!("../data/bottles_fem.csv").as_bytes())
        .deserialize()
        .map(Result::unwrap)
        .collect()
}

#[test]
fn frequency_and_q_agree_with_finite_elements() {
    let mut rows_seen = 0;
    let (mut squares, mut q_squares, mut typical) = (0.0, 0.0, 0);
    for row in rows() {
        let shape = shape(&row.profile);
        let found = shape
            .column(Length::from_mm(row.fill_height_mm), 1.0)
            .fundamental()
            .unwrap();
        let off_cents = cents(found.frequency.hz(), row.f1_hz);
        let q_off = found.quality / row.q1_total - 1.0;
        let nearly_full = row.air_ml < 0.15 * shape.brimful_ml;
        let hard = nearly_full || row.profile == "step_cylinder_600" || row.q1_total <= 8.0;
        let (cents_limit, q_limit) = if hard { (12.0, 0.15) } else { (5.0, 0.05) };
        println!(
            "{:18} {:5} ml {off_cents:+6.2} cents, Q {:5.1} ({:+5.1} %)",
            row.profile,
            row.liquid_ml,
            row.q1_total,
            100.0 * q_off
        );
        if row.q1_total > 8.0 {
            assert!(
                off_cents.abs() < cents_limit,
                "{row:?}: {off_cents:+.2} cents"
            );
            assert!(q_off.abs() < q_limit, "{row:?}: Q {:+.1} %", 100.0 * q_off);
        }
        if !hard {
            squares += off_cents * off_cents;
            q_squares += q_off * q_off;
            typical += 1;
        }
        rows_seen += 1;
    }
    let count = f64::from(typical);
    println!(
        "rms {:.2} cents, Q {:.2} % over {typical} rows",
        (squares / count).sqrt(),
        100.0 * (q_squares / count).sqrt()
    );
    assert_eq!(rows_seen, 48);
    assert!(typical >= 30);
}

#[test]
fn the_second_resonance_agrees_while_the_body_is_narrow_against_the_wave() {
    let mut seen = 0;
    for row in rows() {
        let Some(f2_hz) = row.f2_hz else { continue };
        let shape = shape(&row.profile);
        let size = std::f64::consts::TAU * f2_hz * shape.bore.widest_radius().m() / 343.344;
        if size >= 1.0 {
            continue;
        }
        let found = shape
            .column(Length::from_mm(row.fill_height_mm), 1.0)
            .resonance(2)
            .unwrap();
        let off_cents = cents(found.frequency.hz(), f2_hz);
        println!(
            "{:18} {:5} ml {off_cents:+6.2} cents at {f2_hz:.0} Hz",
            row.profile, row.liquid_ml
        );
        assert!(off_cents.abs() < 3.0, "{row:?}: {off_cents:+.2} cents");
        seen += 1;
    }
    assert!(seen >= 5, "{seen}");
}

#[test]
fn volume_and_level_are_each_others_inverse_within_a_hundredth_of_a_millilitre() {
    for row in rows() {
        let bore = shape(&row.profile).bore;
        let level = bore.level_of(Volume::from_ml(row.liquid_ml));
        assert!(
            (bore.volume_below(level).ml() - row.liquid_ml).abs() < 1e-6,
            "{row:?}"
        );
        // The file's own level, printed to a micrometre, belongs to its volume.
        assert!(
            (bore.volume_below(Length::from_mm(row.fill_height_mm)).ml() - row.liquid_ml).abs()
                < 0.06,
            "{row:?}"
        );
    }
}

/// The fall in cents when lips leave `open_share` of the mouth of an empty bottle open.
fn lip_bend_cents(name: &str, open_share: f64) -> f64 {
    let shape = shape(name);
    let hz = |open| {
        shape
            .column(Length::from_m(0.0), open)
            .fundamental()
            .unwrap()
            .frequency
            .hz()
    };
    cents(hz(open_share), hz(1.0))
}

#[test]
fn lips_over_part_of_the_mouth_flatten_as_a_thin_aperture_does() {
    // A thin-aperture estimate made apart from this code gave these sizes for a long-necked bottle and
    // for a short one with a wide neck. Its bottles are not named, so the two nearest shapes stand in,
    // and both are estimates: 30 %.
    let published = [
        (
            "longneck_330",
            [(0.8, -22.0), (0.67, -33.0), (0.5, -56.0), (0.33, -97.0)],
        ),
        (
            "milk_1000",
            [(0.8, -52.0), (0.67, -77.0), (0.5, -128.0), (0.33, -214.0)],
        ),
    ];
    for (name, rows) in published {
        for (open_share, expected_cents) in rows {
            let found_cents = lip_bend_cents(name, open_share);
            println!(
                "{name} open {open_share}: {found_cents:+.0}, other estimate {expected_cents:+.0}"
            );
            assert!(
                (found_cents / expected_cents - 1.0).abs() < 0.3,
                "{name} {open_share}: {found_cents:+.1}"
            );
        }
    }
}
