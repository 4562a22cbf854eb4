//! Struck bottles against one that was tapped while it was filled, and the laws that every one follows.
#![allow(clippy::unwrap_used, missing_docs)]

use ullage::physics::bottle::Bottle;
use ullage::physics::struck::{Struck, StruckSpec};
use ullage::preset::read_shelf;
use ullage::units::{Frequency, Volume};

/// Bottle A by its photograph: 83 mm outside, body to 121 and shoulder to 181 of 214 mm, a neck whose bore and one wall are
/// 39 mm, 314 g; nominally 750 ml.
const BOTTLE_A: &str = "body_diameter_mm = 83\nbody_length_mm = 121\nshoulder_length_mm = 60\nheight_mm = 214\n\
    mouth_bore_mm = 36\nneck_bore_mm = 36\nmass_g = 314\nlip_wall_mm = 3";

fn bottle(keys: &str) -> Bottle {
    let text = format!("[[bottle]]\nname = \"test\"\n{keys}");
    read_shelf(&text).unwrap().kinds.remove(0).bottle
}

/// Fill in ml and the pitches with two and three waves around, Hz.
fn tapped() -> Vec<[f64; 3]> {
    let path = format!(
        "{}/tests/data/struck_bottle_A_water.csv",
        env!("CARGO_MANIFEST_DIR")
    );
    let text = std::fs::read_to_string(path).unwrap();
    text.lines()
        .filter(|line| !line.starts_with('#'))
        .skip(1)
        .map(|line| {
            let cells: Vec<&str> = line.split(',').collect();
            [0, 2, 3].map(|i| cells[i].parse().unwrap())
        })
        .collect()
}

#[test]
fn print_a() {
    let bottle = bottle(BOTTLE_A);
    let spec = StruckSpec {
        density_kg_m3: 997.0,
        ..StruckSpec::default()
    };
    let struck = Struck::new(&bottle, spec).unwrap();
    println!(
        "capacity {} wall {} mass {}",
        bottle.bore().capacity().ml(),
        struck.wall().body.mm(),
        struck.wall().mass.g()
    );
    for [ml, two, three] in tapped() {
        let fill = Volume::from_ml(ml);
        let c = |n, hz| {
            struck
                .pitch(n, fill)
                .unwrap()
                .interval_above(Frequency::from_hz(hz))
                .cents()
        };
        let modes = struck.modes(fill).unwrap();
        let l: Vec<String> = modes
            .iter()
            .map(|m| {
                format!(
                    "({},{}) {:.0} {:.0}dB {:.2}s rad{:.1e}",
                    m.n,
                    m.m,
                    m.frequency.hz(),
                    m.level.db(),
                    m.decay().s(),
                    m.losses.radiated
                )
            })
            .collect();
        println!(
            "{ml}: n2 {:+.0} n3 {:+.0} | {}",
            c(2, two),
            c(3, three),
            l.join("; ")
        );
    }
}
