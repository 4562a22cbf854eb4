//! How heavy the liquids are, against published tables, and what a liquid written as text means.
#![allow(clippy::unwrap_used, missing_docs)]

use proptest::prelude::*;
use ullage::physics::liquid::{Liquid, LiquidError};
use ullage::units::Temperature;

#[track_caller]
fn close(what: &str, ours: f64, printed: f64, tolerance: f64) {
    println!("{what}: {ours:.3} against {printed}");
    assert!(
        (ours - printed).abs() <= tolerance,
        "{what}: {ours:.4} against {printed} ± {tolerance}"
    );
}

proptest! {
    #[test]
    fn more_alcohol_on_the_label_is_more_by_mass_and_lighter(percent in 10.0..98.0f64) {
        for name in ["ethanol", "isopropanol"] {
            let [weak, strong] = [percent, percent + 1.0].map(|p| format!("{name} {p}%").parse::<Liquid>().unwrap());
            prop_assert!(strong.alcohol_mass_fraction() > weak.alcohol_mass_fraction());
            let at = Temperature::from_c(20.0);
            prop_assert!(strong.density_kg_m3(at).unwrap() < weak.density_kg_m3(at).unwrap());
            // The definition of strength by volume: alcohol in a litre of it, over alcohol in a litre of alcohol.
            let pure = format!("{name} 100%").parse::<Liquid>().unwrap().density_kg_m3(at).unwrap();
            let by_volume = weak.alcohol_mass_fraction() * weak.density_kg_m3(at).unwrap() / pure;
            prop_assert!((by_volume * 100.0 - percent).abs() < 1e-9);
        }
    }
}

/// A liquid by its mass fraction of alcohol, through the strength that it would be labelled with.
fn by_mass(name: &str, w: f64) -> Liquid {
    let with = |percent: f64| format!("{name} {percent}%").parse::<Liquid>().unwrap();
    let (mut low, mut high) = (0.0, 100.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if with(middle).alcohol_mass_fraction() < w {
            low = middle
        } else {
            high = middle
        }
    }
    with(high)
}

#[test]
fn liquids_weigh_what_the_tables_say() {
    // Percent and number of rows with a reference. Water: 5 ppm. Ethanol: OIML R 22 itself to its last printed digit,
    // CRC at 20 °C to 0.03 %. Isopropanol: 0.03 % of CRC, 0.14 % of Lebo 1921.
    let groups = [
        ("water", "", 0.0006, 13),
        ("ethanol-water", "OIML", 0.0001, 65),
        ("ethanol-water", "CRC", 0.03, 11),
        ("isopropanol-water", "CRC", 0.03, 12),
        ("isopropanol-water", "Lebo", 0.15, 10),
    ];
    let path = format!("{}/tests/data/liquid.csv", env!("CARGO_MANIFEST_DIR"));
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_path(path)
        .unwrap();
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    for (liquid, source, limit_percent, count) in groups {
        let mut worst = 0.0f64;
        let chosen = rows
            .iter()
            .filter(|row| &row[0] == liquid && row[8].starts_with(source) && !row[4].is_empty());
        let mut seen = 0;
        for row in chosen {
            let [celsius, reference]: [f64; 2] = [1, 4].map(|column| row[column].parse().unwrap());
            let ours = match liquid.strip_suffix("-water") {
                None => Liquid::Water,
                Some(name) => by_mass(name, row[3].parse().unwrap()),
            };
            let density = ours.density_kg_m3(Temperature::from_c(celsius)).unwrap();
            worst = worst.max(100.0 * (density / reference - 1.0).abs());
            seen += 1;
        }
        println!("{liquid}, {source}: {worst:.5} % over {seen} rows");
        assert_eq!(seen, count, "{liquid}, {source}: rows compared");
        assert!(worst <= limit_percent, "{liquid}, {source}: {worst} %");
    }
}

#[test]
fn spirits_and_brine_weigh_what_their_sources_print() {
    let density =
        |liquid: Liquid, celsius: f64| liquid.density_kg_m3(Temperature::from_c(celsius)).unwrap();
    // OIML R 22, pure, as printed.
    for (celsius, printed) in [
        (5.0, 801.99),
        (10.0, 797.76),
        (20.0, 789.24),
        (30.0, 780.65),
        (40.0, 771.93),
    ] {
        close(
            "ethanol",
            density("ethanol 100%".parse().unwrap(), celsius),
            printed,
            0.006,
        );
    }
    // At w = 0.4 a wrong table of cross terms shows.
    close(
        "w 0.4, 20 °C",
        density(by_mass("ethanol", 0.4), 20.0),
        935.145,
        0.0006,
    );
    close(
        "w 0.4, 0 °C",
        density(by_mass("ethanol", 0.4), 0.0),
        949.340,
        0.0006,
    );
    let strengths = [
        ("ethanol 40%", 0.3330, None),
        ("ethanol 70%", 0.6239, None),
        ("ethanol 95%", 0.9241, None),
        ("isopropanol 70%", 0.6272, Some(875.865)),
        ("isopropanol 91%", 0.8757, Some(815.558)),
        ("isopropanol 99%", 0.9855, Some(788.408)),
    ];
    for (text, w, at_20) in strengths {
        let liquid: Liquid = text.parse().unwrap();
        close(text, liquid.alcohol_mass_fraction(), w, 6e-5);
        if let Some(printed) = at_20 {
            // The ends of the curve through the table are free to choose: 0.1 kg/m³.
            close(text, density(liquid, 20.0), printed, 0.1);
        }
    }
    // Saturated brine at 20 °C holds 0.2645 of salt: CRC's 0.26 (1197.2) carried on at its slope of 8.5 per 0.01.
    close(
        "brine",
        density(Liquid::Brine, 20.0),
        1197.2 + 0.45 * 8.5,
        0.4,
    );
}

#[test]
fn liquids_are_read_as_people_write_them() {
    let read = |text: &str| {
        text.parse::<Liquid>()
            .unwrap_or_else(|error| panic!("{text}: {error}"))
            .to_string()
    };
    assert_eq!(read(" Water "), "water");
    assert_eq!(read("brine"), "brine");
    assert_eq!(read("Ethanol 40 %"), "ethanol 40%");
    assert_eq!(read("rubbing alcohol 70%"), "isopropanol 70%");
    for text in ["water", "brine", "ethanol 37.5%", "isopropanol 91%"] {
        assert_eq!(read(text), text);
        let liquid: Liquid = serde_json::from_str(&format!("\"{text}\"")).unwrap();
        assert_eq!(
            serde_json::to_string(&liquid).unwrap(),
            format!("\"{text}\"")
        );
    }
}

#[test]
fn a_liquid_that_makes_no_sense_is_refused_with_a_reason() {
    let fails = |text: &str| text.parse::<Liquid>().unwrap_err();
    assert!(matches!(
        fails("etanol 40%"),
        LiquidError::UnknownLiquid {
            nearest: "ethanol",
            ..
        }
    ));
    assert!(matches!(
        fails("watr"),
        LiquidError::UnknownLiquid {
            nearest: "water",
            ..
        }
    ));
    assert!(matches!(fails("ethanol"), LiquidError::Strength { .. }));
    assert!(matches!(fails("ethanol 40"), LiquidError::Strength { .. }));
    assert!(matches!(
        fails("ethanol 140%"),
        LiquidError::Percentage { percent: 140.0 }
    ));
    assert!(matches!(
        fails("ethanol -4%"),
        LiquidError::Percentage { .. }
    ));
    assert!(matches!(
        fails("water 40%"),
        LiquidError::NoStrength { name: "water" }
    ));
    assert!(fails("").to_string().contains("water, brine"));
    let frozen = Liquid::Water
        .density_kg_m3(Temperature::from_c(-5.0))
        .unwrap_err();
    assert_eq!(
        frozen.to_string(),
        "the density of water is known from 0 to 100 °C, not at -5 °C"
    );
    assert!(
        Liquid::Water
            .density_kg_m3(Temperature::from_k(f64::NAN))
            .is_err()
    );
}
