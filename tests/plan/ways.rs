//! Plans over several ways of sounding a bottle, and walls fitted to what was tapped.

use ullage::fit::wall::{HeardTap, tapped_wall};
use ullage::index::CandidateIndex;
use ullage::physics::conditions::Conditions;
use ullage::physics::material::Material;
use ullage::physics::pressed::{HeardPressed, Pressed, PressedError, PressedFit};
use ullage::physics::shell::wall::Trim;
use ullage::physics::struck::{PLAN_BAR, Struck, StruckSpec};
use ullage::physics::wall_fits::WallFits;
use ullage::plan::cost::{FLOOR_PRICE, Weights};
use ullage::plan::problem::{Allowed, Limits, PlanError, Problem, Target};
use ullage::set::{Way, read_shelf};
use ullage::sounding::Setting;
use ullage::units::{Frequency, Interval, Pressure, Volume};

use crate::common::files::glass_and_pop;
use crate::{brute, candidates, targets};

/// Two of glass and one that may be pumped up.
fn bottles() -> String {
    glass_and_pop("count = 2\nlip_wall_mm = 4", "count = 1")
}

fn problem(text: &str, ways: &[Way]) -> Result<Problem, PlanError> {
    let allowed = Allowed {
        ways: ways.to_vec(),
        ..Allowed::default()
    };
    Problem::with_ways(
        candidates(read_shelf(text).unwrap()),
        &Conditions::default(),
        Limits::default(),
        allowed,
        &|| (),
    )
}

#[test]
fn a_plan_over_mixed_ways_is_the_cheapest_and_takes_no_bottle_twice() {
    let problem = problem(&bottles(), &[Way::Blown, Way::Struck, Way::Pressurised]).unwrap();
    let weights = Weights::default();
    for notes in ["A3 C7 G5", "C4 G5 E4 A5", "A6 B6 C7 F#5", "D3 A3 F#5 A6"] {
        let targets = targets(notes);
        let cell = |target: &Target, bottle: CandidateIndex| {
            let options = problem.options(target, bottle).into_iter();
            options.map(|(_, terms)| terms.millionths(&weights)).min()
        };
        let mut sorted = targets.clone();
        sorted.sort_by(|a, b| a.pitch.hz().total_cmp(&b.pitch.hz()));
        let costs: Vec<Vec<_>> = sorted
            .iter()
            .map(|t| CandidateIndex::all(2).map(|b| cell(t, b)).collect())
            .collect();
        let (placed, millionths) = brute(&costs, &mut [2, 1]);
        let assignment = problem.assign(&targets, &[], &weights).unwrap();
        assert_eq!(assignment.placed(), placed, "{notes}");
        assert!(
            (assignment.cost - millionths as f64 / 1e6).abs() < 1e-9,
            "{notes}"
        );
        assert!(placed >= 2, "{notes}: {placed} placed");
        let plan = problem.pour(&assignment);
        for placed in &plan.pours {
            let cents = placed.sounded.error().cents();
            assert!(
                cents.abs() < 1.0,
                "{notes}, {}: {cents}",
                placed.sounded.way
            );
        }
        assert_eq!(plan.pours.len() + plan.unplaced.len(), targets.len());
    }
}

#[test]
fn a_struck_plan_gives_its_notes_by_the_model_itself() {
    let eight = bottles().replacen("count = 2", "count = 8", 1);
    let problem = problem(&eight, &[Way::Struck]).unwrap();
    let probe = |hz: f64| Target {
        note: "A6".parse().unwrap(),
        pitch: Frequency::from_hz(hz),
    };
    let glass = problem.candidates()[0].bottle.clone();
    let struck = Struck::new(&glass, StruckSpec::default()).unwrap();
    let highest = struck.note(Volume::default()).unwrap().frequency;
    let targets: Vec<Target> = (1..=8)
        .map(|i| {
            probe(
                highest
                    .raised_by(Interval::from_cents(-100.0 * f64::from(i)))
                    .hz(),
            )
        })
        .collect();
    let assignment = problem.assign(&targets, &[], &Weights::default()).unwrap();
    let plan = problem.pour(&assignment);
    assert_eq!(plan.pours.len(), 8, "{:?}", plan.unplaced);
    for placed in &plan.pours {
        let Setting::Fill(fill) = placed.sounded.setting else {
            panic!("{:?}", placed.sounded.setting)
        };
        // Poured water at 20 °C is the default of the model as well, to a few hundredths of a cent.
        let heard = struck.note(fill).unwrap().frequency;
        let cents = heard.interval_above(placed.target.pitch).cents();
        assert!(cents.abs() < 1.0, "{cents} cents at {} ml", fill.ml());
    }
}

#[test]
fn only_plastic_is_planned_with_pressure_and_within_the_limit() {
    let problem = problem(&bottles(), &[Way::Pressurised]).unwrap();
    let mut placed = 0;
    for notes in ["D5", "E5", "F#5", "G5", "A5", "B5"] {
        let assignment = problem
            .assign(&targets(notes), &[], &Weights::default())
            .unwrap();
        for pour in problem.pour(&assignment).pours {
            placed += 1;
            let bottle = &problem.candidates()[pour.bottle].bottle;
            assert_eq!(bottle.material(), Material::Plastic);
            let bar = pour.sounded.gauge().bar();
            assert!(bar > 0.0 && bar <= PLAN_BAR, "{bar} bar");
            assert!(!pour.sounded.cautions().is_empty());
        }
    }
    assert!(placed >= 2, "{placed}");
    let bottles = bottles();
    let glass_only = bottles.split("[[bottle]]\nname = \"pop\"").next().unwrap();
    let refused = self::problem(glass_only, &[Way::Pressurised]).unwrap_err();
    assert!(matches!(refused, PlanError::NoneSounds { .. }), "{refused}");
    assert!(
        refused.to_string().contains("glass is never pressurised"),
        "{refused}"
    );
    assert!(matches!(
        self::problem(&bottles, &[Way::Joined]),
        Err(PlanError::Ways { .. })
    ));
    assert!(matches!(
        self::problem(&bottles, &[]),
        Err(PlanError::Ways { .. })
    ));
}

#[test]
fn one_sliding_floor_plays_what_one_filled_bottle_cannot() {
    let one = bottles().replacen("count = 2", "count = 1", 1);
    let notes = targets("A3 B3 C4 D4 E4");
    let blown = problem(&one, &[Way::Blown]).unwrap();
    let weights = Weights::default();
    let alone = blown.assign(&notes, &[], &weights).unwrap();
    assert!(alone.placed() <= 2, "two bottles, {} notes", alone.placed());
    let sliding = problem(&one, &[Way::Blown, Way::Sliding]).unwrap();
    let assignment = sliding.assign(&notes, &[], &weights).unwrap();
    let plan = sliding.pour(&assignment);
    assert_eq!(plan.pours.len(), 5, "{:?}", plan.unplaced);
    let slid: Vec<_> = plan
        .pours
        .iter()
        .filter(|p| p.sounded.way == Way::Sliding)
        .collect();
    assert!(slid.len() >= 3);
    let by_name =
        |p: &&&ullage::plan::search::Placed| sliding.candidates()[p.bottle].name == "glass";
    // Where a floor was put into the glass bottle, that bottle is not poured as well.
    let of_glass = plan.pours.iter().collect::<Vec<_>>();
    let glass: Vec<_> = of_glass.iter().filter(by_name).collect();
    let floors = glass
        .iter()
        .filter(|p| p.sounded.way == Way::Sliding)
        .count();
    assert!(floors == 0 || floors == glass.len());
    assert!(plan.cost >= FLOOR_PRICE);
    for placed in &plan.pours {
        assert!(placed.sounded.error().cents().abs() < 0.1);
    }
}

fn pop() -> ullage::physics::bottle::Bottle {
    candidates(read_shelf(&bottles()).unwrap()).remove(1).bottle
}

/// A bottle of the same description whose wall is 15 % thicker, heard at pressures.
fn thicker(bars: &[f64]) -> (Vec<HeardPressed>, impl Fn(f64) -> Frequency) {
    let hear = |bar: f64| {
        let spec = StruckSpec {
            trim: Trim {
                wall: 1.15,
                ..Trim::default()
            },
            ..StruckSpec::default()
        };
        let bottle = pop();
        let real = Pressed::new(&bottle, spec, PressedFit::default(), Volume::default()).unwrap();
        real.pitch(Pressure::from_bar(bar)).unwrap().0
    };
    let heard = |&bar: &f64| HeardPressed {
        gauge: Pressure::from_bar(bar),
        fill: Volume::default(),
        density_kg_m3: StruckSpec::default().density_kg_m3,
        frequency: hear(bar),
    };
    (bars.iter().map(heard).collect(), hear)
}

#[test]
fn two_heard_pressures_hold_the_pitches_between_them_and_say_how_sure_they_are() {
    let bottle = pop();
    let at = |bars: &[f64]| {
        let (heard, truth) = thicker(bars);
        let fit = match heard.as_slice() {
            [] => PressedFit::default(),
            heard => PressedFit::new(&bottle, heard, StruckSpec::default()).unwrap(),
        };
        let pressed = Pressed::new(&bottle, StruckSpec::default(), fit, Volume::default()).unwrap();
        let note = pressed.at(Pressure::from_bar(1.4)).unwrap();
        let off = note.note.frequency.interval_above(truth(1.4)).cents();
        println!(
            "{bars:?}: {off:.1} cents at 1.4 bar, ±{:.0}, residual {:.2}",
            note.plus_minus.cents(),
            fit.residual().cents()
        );
        (off, note.plus_minus.cents(), fit.residual().cents())
    };
    let (none, one, two) = (at(&[]), at(&[0.8]), at(&[0.8, 2.0]));
    assert!(
        none.0.abs() > 20.0,
        "a bottle that needs no fit proves nothing"
    );
    assert!(two.0.abs() < 8.0 && two.0.abs() < none.0.abs() / 4.0);
    assert!(two.1 < 0.9 * one.1 && one.1 < 0.7 * none.1 && two.1 < 60.0);
    // Within what is heard at all.
    assert!(two.2 < 5.0);
    for (off, plus_minus, _) in [none, one, two] {
        assert!(off.abs() < plus_minus);
    }
}

#[test]
fn a_planned_pressure_is_that_of_the_fitted_bottle() {
    let bottle = pop();
    let (heard, truth) = thicker(&[0.8, 2.0]);
    let fit = PressedFit::new(&bottle, &heard, StruckSpec::default()).unwrap();
    let pressed = Pressed::new(&bottle, StruckSpec::default(), fit, Volume::default()).unwrap();
    let gauge = pressed.pressure_for(truth(1.4)).unwrap();
    assert!((gauge.bar() - 1.4).abs() < 0.05, "{} bar", gauge.bar());
    let mut wrong = heard;
    wrong[1].frequency = wrong[1].frequency.raised_by(Interval::from_cents(500.0));
    let refused = PressedFit::new(&bottle, &wrong, StruckSpec::default());
    assert!(
        matches!(refused, Err(PressedError::Unlike { .. })),
        "{refused:?}"
    );
}

#[test]
fn taps_at_both_ends_are_kept_and_sharpen_a_plan() {
    let mut all = candidates(read_shelf(&bottles()).unwrap());
    let glass = &mut all[0];
    let real = StruckSpec {
        trim: Trim {
            wall: 1.05,
            length: 0.99,
            ..Trim::default()
        },
        ..StruckSpec::default()
    };
    let struck = Struck::new(&glass.bottle, real).unwrap();
    let half = glass.bottle.bore().capacity() * 0.5;
    let hear = |fill: Volume| HeardTap {
        fill,
        frequency: struck.note(fill).unwrap().frequency,
        density_kg_m3: real.density_kg_m3,
    };
    let heard = [hear(Volume::default()), hear(half)];
    let tapped = tapped_wall(&glass.bottle, &heard, StruckSpec::default()).unwrap();
    assert!(tapped.both_ends && tapped.heard == 2);
    let one = tapped_wall(&glass.bottle, &heard[..1], StruckSpec::default()).unwrap();
    assert!(!one.both_ends && one.plus_minus.cents() > tapped.plus_minus.cents());
    let wanted = struck
        .note(glass.bottle.bore().capacity() * 0.4)
        .unwrap()
        .frequency;
    let off = |fits: WallFits| {
        let mut candidate = glass.clone();
        candidate.fits = fits;
        let allowed = Allowed {
            ways: vec![Way::Struck],
            ..Allowed::default()
        };
        let problem = Problem::with_ways(
            vec![candidate],
            &Conditions::default(),
            Limits::default(),
            allowed,
            &|| (),
        )
        .unwrap();
        let target = Target {
            note: "A6".parse().unwrap(),
            pitch: wanted,
        };
        let plan = problem.pour(&problem.assign(&[target], &[], &Weights::default()).unwrap());
        let placed = &plan.pours[0].sounded;
        let truth = struck.note(placed.fill).unwrap().frequency;
        (
            truth.interval_above(wanted).cents().abs(),
            placed.plus_minus().cents(),
        )
    };
    let (fitted, fitted_doubt) = off(WallFits {
        tapped: Some(tapped),
        pressed: None,
    });
    let (described, described_doubt) = off(WallFits::default());
    assert!(
        fitted < 10.0 && fitted < described / 3.0,
        "{fitted} and {described} cents"
    );
    assert!(fitted_doubt < described_doubt);
}

#[test]
fn one_way_more_never_costs_a_note() {
    let shelf = "[[bottle]]\nname = \"pop\"\nmaterial = \"plastic\"\ncapacity_ml = 1560\nmouth_bore_mm = 21.8\nheight_mm = 330\n\n\
                 [[bottle]]\nname = \"wine\"\ncapacity_ml = 775\nmouth_bore_mm = 18.5\nheight_mm = 300\n";
    let blown = problem(shelf, &[Way::Blown]).unwrap();
    let both = problem(shelf, &[Way::Blown, Way::Struck]).unwrap();
    let placed = |problem: &Problem, notes: &str| {
        let assignment = problem
            .assign(&targets(notes), &[], &Weights::default())
            .unwrap();
        let plan = problem.pour(&assignment);
        assert_eq!(
            plan.pours.len(),
            assignment.placed(),
            "{notes}: what is seated can be poured"
        );
        plan.pours.len()
    };
    let mut by_blowing = 0;
    for notes in ["G3", "C3", "E3", "A3 D3", "C4 F3", "Bb3 Eb4", "G4 G3"] {
        let (less, more) = (placed(&blown, notes), placed(&both, notes));
        assert!(
            more >= less,
            "{notes}: {less} blown, {more} blown or struck"
        );
        by_blowing += less;
    }
    assert!(by_blowing > 0, "the bottles reach some of them");
}
