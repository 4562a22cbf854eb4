//! Two bottles on one hose: the liquid is all there, the surfaces are level, one rises while the other falls.

use ullage::physics::bottle::Bottle;
use ullage::physics::conditions::Conditions;
use ullage::physics::joined::{Hose, Joined, JoinedError, Which};
use ullage::physics::prediction::Blown;
use ullage::units::{Length, Volume};

use crate::common::files::shelf;

fn bottles() -> Vec<Bottle> {
    let shelf = shelf("quay");
    let named = |name: &str| {
        shelf
            .kinds
            .iter()
            .find(|k| k.name == name)
            .unwrap()
            .bottle
            .clone()
    };
    vec![named("tide bottle"), named("cordial"), named("long-neck")]
}

fn hose() -> Hose {
    Hose::new(Length::from_mm(8.0), Length::from_mm(900.0)).unwrap()
}

#[test]
fn at_every_lift_the_liquid_is_all_there_and_the_surfaces_are_level() {
    let (all, conditions) = (bottles(), Conditions::default());
    for pair in [[&all[0], &all[1]], [&all[1], &all[2]], [&all[1], &all[1]]] {
        let liquid = Volume::from_ml(
            0.45 * (pair[0].bore().capacity().ml() + pair[1].bore().capacity().ml()),
        );
        let joined = Joined::new(pair, hose(), liquid, &conditions).unwrap();
        let (least, most) = joined.lift_range();
        assert!(most.mm() - least.mm() > 50.0);
        let mut before: Option<(f64, f64)> = None;
        for step in 0..=40 {
            let lift = least + (most - least) * (f64::from(step) / 40.0);
            let both = joined.at(lift.min(most)).unwrap();
            // The levels alone, measured in the bores, must hold what was poured: to 1e-9 of it.
            let held = |bottle: &Bottle, level: Length| {
                bottle.bore().volume_below(level - bottle.floor()).m3()
            };
            let total = held(pair[0], both.first.level)
                + held(pair[1], both.second.level)
                + hose().volume().m3();
            assert!(
                (total / liquid.m3() - 1.0).abs() < 1e-9,
                "{total} of {}",
                liquid.m3()
            );
            let uneven_mm = (both.first.level - both.second.level - lift).mm();
            assert!(uneven_mm.abs() < 1e-6, "{uneven_mm} mm");
            let now = (
                both.first.resonance.frequency.hz(),
                both.second.resonance.frequency.hz(),
            );
            if let Some(before) = before {
                assert!(
                    now.0 > before.0 && now.1 < before.1,
                    "{now:?} after {before:?}"
                );
            }
            before = Some(now);
            // Each is the line model's bottle with that much in it.
            let alone = Blown::new(pair[0], &conditions)
                .unwrap()
                .fundamental(both.first.fill)
                .unwrap();
            assert_eq!(alone, both.first.resonance);
        }
        for beyond in [least - Length::from_mm(1.0), most + Length::from_mm(1.0)] {
            assert!(matches!(joined.at(beyond), Err(JoinedError::Lift { .. })));
        }
    }
}

#[test]
fn two_alike_on_one_table_share_the_liquid_and_sound_alike() {
    let all = bottles();
    let pair = [&all[1], &all[1]];
    let joined = Joined::new(pair, hose(), Volume::from_ml(500.0), &Conditions::default()).unwrap();
    let both = joined.at(Length::default()).unwrap();
    assert!((both.first.fill - both.second.fill).ml().abs() < 1e-6);
    let each_ml = (500.0 - hose().volume().ml()) / 2.0;
    assert!(
        (both.first.fill.ml() - each_ml).abs() < 1e-6,
        "the hose has its share"
    );
}

#[test]
fn a_mark_gives_its_note_on_the_bottle_that_was_asked() {
    let all = bottles();
    let joined = Joined::new(
        [&all[0], &all[1]],
        hose(),
        Volume::from_ml(600.0),
        &Conditions::default(),
    )
    .unwrap();
    let (least, most) = joined.lift_range();
    let middle = joined.at((least + most) * 0.5).unwrap();
    for (which, target) in [
        (Which::First, middle.first.resonance.frequency),
        (Which::Second, middle.second.resonance.frequency),
    ] {
        let mark = joined.mark(which, target).unwrap();
        assert!(
            (mark.lift - middle.lift).mm().abs() < 0.05,
            "{:?}",
            mark.lift.mm()
        );
        let again = joined.at(mark.lift).unwrap();
        assert!((again.first.fill - mark.first.fill).ml().abs() < 1e-6);
    }
}

#[test]
fn too_much_too_little_and_a_hose_of_no_size_are_refused() {
    let all = bottles();
    for liquid_ml in [10.0, 1e5, f64::NAN] {
        let error = Joined::new(
            [&all[0], &all[1]],
            hose(),
            Volume::from_ml(liquid_ml),
            &Conditions::default(),
        );
        assert!(matches!(error, Err(JoinedError::Liquid { .. })));
    }
    assert!(Hose::new(Length::from_mm(0.0), Length::from_mm(100.0)).is_err());
    assert!(Hose::new(Length::from_mm(f64::NAN), Length::from_mm(100.0)).is_err());
}
