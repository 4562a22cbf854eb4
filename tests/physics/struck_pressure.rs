//! Sealed plastic under pressure: what rises, and what is refused.

use ullage::physics::bottle::Bottle;
use ullage::physics::material::Material;
use ullage::physics::pressed::{Pressed, PressedFit};
use ullage::physics::shell::{Contents, End, Meridian, Shell};
use ullage::physics::struck::{Struck, StruckError, StruckSpec};
use ullage::set::read_set;
use ullage::units::{Frequency, Length, Pressure, Volume};

use crate::common::files::kind;

fn shelf(material: &str, wall_mm: f64) -> String {
    format!("[[bottle]]\n{}", table(material, wall_mm))
}

fn table(material: &str, wall_mm: f64) -> String {
    format!(
        "name = \"test\"\nmaterial = \"{material}\"\nbody_diameter_mm = 108\nbody_length_mm = 180\n\
         shoulder_length_mm = 90\nheight_mm = 300\nmouth_bore_mm = 22\nneck_bore_mm = 22\nwall_mm = {wall_mm}"
    )
}

fn bottle(material: &str, wall_mm: f64) -> Bottle {
    kind(&table(material, wall_mm)).bottle
}

fn at_bar(bar: f64) -> StruckSpec {
    StruckSpec {
        gauge: Pressure::from_pa(1e5 * bar),
        ..StruckSpec::default()
    }
}

/// The two-litre type of the notes on struck bottles: R 54, wall 0.30, body 170 mm, 4 GPa, with the gas; another program's.
/// How its ends were held is not stated: a stiff base and a shoulder that keeps the body round fit all eighteen values. Tolerance
/// 2 %: Poisson's ratio and the ends.
#[test]
fn a_plastic_tube_under_pressure_rings_as_another_program_has_it() {
    let ends = [End::Clamped, End::Diaphragm];
    let meridian = Meridian::cylinder(0.054, 0.170, 0.30e-3, 90, ends).unwrap();
    let shell = Shell::new(&meridian, Material::Plastic.elastic());
    let table = [
        (0.0, [989.0, 597.0, 405.0]),
        (0.25, [1018.0, 741.0, 739.0]),
        (0.5, [1045.0, 859.0, 961.0]),
        (1.0, [1096.0, 1051.0, 1287.0]),
        (2.0, [1184.0, 1341.0, 1748.0]),
        (3.0, [1259.0, 1562.0, 2090.0]),
    ];
    for (bar, printed) in table {
        for (n, printed) in (2..).zip(printed) {
            let contents = Contents {
                gas_outside_kg_m3: 1.2,
                gas_inside_kg_m3: 1.2 * (1.0 + bar / 1.013),
                liquid: None,
            };
            let order = shell.order(n, Pressure::from_pa(1e5 * bar)).unwrap();
            let hz = order.modes(&contents, 1).unwrap()[0].frequency.hz();
            let percent = 100.0 * (hz / printed - 1.0);
            assert!(percent.abs() < 2.0, "{bar} bar, n {n}: {percent:.1} %");
        }
    }
}

#[test]
fn glass_is_never_pressurised_and_plastic_only_so_far() {
    let glass = bottle("glass", 2.0);
    let refused = Struck::new(&glass, at_bar(0.1));
    assert!(matches!(refused, Err(StruckError::NeverPressurised { .. })));
    let plastic = bottle("plastic", 0.3);
    assert!(matches!(
        Struck::new(&plastic, at_bar(4.1)),
        Err(StruckError::TooMuchPressure { .. })
    ));
    assert!(Struck::new(&plastic, at_bar(-0.1)).is_err());
    assert!(Struck::new(&plastic, at_bar(f64::NAN)).is_err());
}

#[test]
fn what_is_pumped_up_has_its_caution_and_a_second_one_from_1_5_bar_on() {
    let cautions = |bar: f64| {
        let pour = format!(
            "[[pour]]\nnote = \"A4\"\nbottle = \"test\"\nway = \"pressurised\"\ngauge_bar = {bar}"
        );
        let set = read_set(&format!("{}\n{pour}", shelf("plastic", 0.3))).unwrap();
        let sounded = set.sounded().unwrap();
        let said = |what: &str| sounded[0].cautions().iter().any(|c| c.contains(what));
        (said("undamaged plastic"), said("3 m away"))
    };
    assert_eq!(cautions(1.4), (true, false));
    assert_eq!(cautions(1.5), (true, true));
}

/// Where the note is not the lowest partial with its number of waves.
#[test]
fn a_bar_more_raises_a_note_by_what_it_raises_its_own_partial() {
    let (plastic, fill) = (bottle("plastic", 0.3), Volume::from_ml(900.0));
    let mut higher = 0;
    for strike_mm in [70.0, 150.0] {
        let spec = StruckSpec {
            strike: Some(Length::from_mm(strike_mm)),
            ..StruckSpec::default()
        };
        let pressed = Pressed::new(&plastic, spec, PressedFit::default(), fill).unwrap();
        for bar in [0.6, 1.2, 2.0] {
            let at = |bar: f64| pressed.at(Pressure::from_bar(bar)).unwrap();
            let told = at(bar);
            let note = &told.note;
            let same = |bar: f64| {
                let mut partials = at(bar).partials.into_iter();
                let same = partials.find(|m| (m.n, m.m) == (note.n, note.m));
                same.unwrap().frequency
            };
            let found = same(bar + 0.02).interval_above(same(bar - 0.02)).cents() / 0.04;
            let slope = told.per_bar.cents();
            println!(
                "{strike_mm} mm, {bar} bar: n {} m {}, {slope:.0} and {found:.0} cents a bar",
                note.n, note.m
            );
            // The slope is taken over 0.02 bar to one side of it, where the curve bends.
            assert!((slope - found).abs() < 0.05 * found.abs());
            higher += u32::from(note.m > 1);
        }
    }
    assert!(higher > 2, "{higher} notes have more than one half wave");
}

#[test]
fn a_pressure_solved_for_a_note_gives_it() {
    let plastic = bottle("plastic", 0.3);
    let empty = Volume::default();
    let note = |bar: f64| {
        let note = Struck::new(&plastic, at_bar(bar))
            .unwrap()
            .note(empty)
            .unwrap();
        println!(
            "{bar} bar: n {} m {} {:.0} Hz, T60 {:.2} s",
            note.n,
            note.m,
            note.frequency.hz(),
            note.decay().s()
        );
        note.frequency
    };
    let notes = [0.5, 1.0, 1.5, 2.0, 2.4].map(note);
    assert!(notes.windows(2).all(|pair| pair[0].hz() < pair[1].hz()));
    let target = Frequency::from_hz(0.5 * (notes[2].hz() + notes[3].hz()));
    let open = Struck::new(&plastic, StruckSpec::default()).unwrap();
    let gauge = open.pressure_for(target, empty).unwrap();
    let got = Struck::new(&plastic, at_bar(gauge.pa() / 1e5))
        .unwrap()
        .note(empty)
        .unwrap();
    let cents = got.frequency.interval_above(target).cents();
    assert!(
        cents.abs() < 1.0,
        "{cents} cents at {} bar",
        gauge.pa() / 1e5
    );
    let high = open.pressure_for(Frequency::from_hz(9000.0), empty);
    assert!(
        matches!(high, Err(StruckError::OutOfReach { .. })),
        "{high:?}"
    );
}
