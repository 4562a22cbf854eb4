//! Plans: the most notes, then the cheapest, whatever the order of the bottles; scales and lists of notes.

use proptest::prelude::*;
use ullage::index::CandidateIndex;
use ullage::physics::conditions::Conditions;
use ullage::physics::prediction::Blown;
use ullage::plan::cost::{Terms, Weights};
use ullage::plan::problem::{Candidate, Limits, Pin, PlanError, Problem, TOLERANCE_CENTS, Target};
use ullage::plan::search::cheapest;
use ullage::plan::wanted::{WantedError, parse_wanted, scale, scale_names};
use ullage::units::Volume;

use crate::common::files::shelf;
use crate::{brute, candidates, targets};

proptest! {
    #![proptest_config(ProptestConfig::with_cases(600))]
    #[test]
    fn the_search_finds_what_trying_every_plan_finds(
        costs in (1usize..6, 1usize..6).prop_flat_map(|(rows, columns)| {
            let cell = prop_oneof![2 => Just(None), 3 => (0i64..2_000_000).prop_map(Some), 1 => (0i64..3).prop_map(Some)];
            proptest::collection::vec(proptest::collection::vec(cell, columns), rows)
        }),
        counts in proptest::collection::vec(0u32..3, 6),
    ) {
        let counts = &counts[..costs[0].len()];
        let chosen = cheapest(&costs, counts);
        let mut used = vec![0u32; counts.len()];
        let mut found = (0, 0);
        for (row, column) in chosen.iter().enumerate() {
            if let Some(column) = *column {
                used[column] += 1;
                found.0 += 1;
                found.1 += costs[row][column].expect("only what is open");
            }
        }
        prop_assert!(used.iter().zip(counts).all(|(used, count)| used <= count));
        prop_assert_eq!(found, brute(&costs, &mut counts.to_vec()));
    }
}

fn quay() -> Vec<Candidate> {
    candidates(shelf("quay"))
}

fn problem(candidates: Vec<Candidate>) -> Problem {
    Problem::new(
        candidates,
        &Conditions::default(),
        Limits::default(),
        &|| (),
    )
    .unwrap()
}

#[test]
fn a_real_shelf_gets_the_plan_that_trying_every_plan_finds() {
    let problem = problem(quay());
    let targets = targets("G2 D3 G3 D4 x2 B4 D5");
    let weights = Weights::default();
    let cell = |target: &Target, bottle| Some(problem.terms(target, bottle)?.millionths(&weights));
    let bottles = problem.candidates().len();
    let costs: Vec<Vec<_>> = targets
        .iter()
        .map(|t| CandidateIndex::all(bottles).map(|b| cell(t, b)).collect())
        .collect();
    let mut counts: Vec<u32> = problem.candidates().iter().map(|c| c.count).collect();
    let (placed, millionths) = brute(&costs, &mut counts);
    let assignment = problem.assign(&targets, &[], &weights).unwrap();
    assert_eq!(assignment.placed(), placed);
    assert!((assignment.cost - millionths as f64 / 1e6).abs() < 1e-9);
}

#[test]
fn the_order_of_the_bottles_makes_no_difference() {
    let targets = targets("G2 D3 G3 A3 B3 C4 D4 x2 E4 F#4 C9");
    let told = |candidates: Vec<Candidate>| {
        let problem = problem(candidates);
        let plan = problem.pour(&problem.assign(&targets, &[], &Weights::default()).unwrap());
        let pours: Vec<_> = plan
            .pours
            .iter()
            .map(|p| (problem.candidates()[p.bottle].name.clone(), p.sounded.fill))
            .collect();
        (pours, plan.unplaced, plan.cost)
    };
    let straight = told(quay());
    let mut backwards = quay();
    backwards.reverse();
    assert_eq!(straight, told(backwards));
    let mut turned = quay();
    turned.rotate_left(4);
    assert_eq!(straight, told(turned));
}

#[test]
fn every_poured_bottle_gives_its_note_by_the_exact_solver() {
    let problem = problem(quay());
    let assignment = problem
        .assign(
            &targets("G2 D3 G3 B3 D4 F#4 A4 D5"),
            &[],
            &Weights::default(),
        )
        .unwrap();
    let plan = problem.pour(&assignment);
    assert_eq!(plan.pours.len(), 8);
    let (empty, poured): (Vec<_>, Vec<_>) =
        (plan.pours.iter()).partition(|p| p.sounded.fill == Volume::default());
    assert!(poured.len() > empty.len());
    for placed in poured {
        // A microlitre is the width of a solved fill; 20 cents a millilitre would make it 0.02 cents.
        assert!(placed.sounded.error().cents().abs() < 0.02, "{placed:?}");
    }
    for placed in empty {
        // Nothing can be taken out of it: it gives its own note, and that is near enough.
        let sharp = placed.sounded.error().cents();
        assert!((0.0..=TOLERANCE_CENTS).contains(&sharp), "{placed:?}");
    }
}

#[test]
fn what_the_search_reads_off_its_curves_is_close_to_the_exact_price() {
    let problem = problem(quay());
    let weights = Weights::default();
    let assignment = problem
        .assign(
            &targets("G2 D3 G3 A3 B3 C4 D4 E4 F#4 G4 A4 B4 D5"),
            &[],
            &weights,
        )
        .unwrap();
    let plan = problem.pour(&assignment);
    let mut exact = 0.0;
    for placed in &plan.pours {
        let p = &placed.sounded.air.as_ref().unwrap().prediction;
        let bottle = &problem.candidates()[placed.bottle].bottle;
        let blown = Blown::new(bottle, problem.conditions()).unwrap();
        let full_l = blown.fullest().unwrap().0.l();
        let terms = Terms {
            cents_per_step: p.per_ml.cents(),
            quality: p.note().quality,
            fullness: p.fill.l() / full_l,
            liquid_l: p.fill.l(),
            plus_minus_cents: p.uncertainty.plus_minus.cents(),
            error_cents: placed.sounded.error().cents(),
        };
        exact += terms.cost(&weights);
    }
    // The curves have twelve points a bottle: 5 % of the price, far less than between one bottle and the next.
    assert!(
        (plan.cost / exact - 1.0).abs() < 0.05,
        "{} and {exact}",
        plan.cost
    );
}

#[test]
fn a_pinned_note_is_played_by_its_bottle_and_the_rest_make_room() {
    let problem = problem(quay());
    let pin = Pin {
        note: "D4".parse().unwrap(),
        bottle: "cordial".into(),
    };
    let assignment = problem
        .assign(&targets("G3 D4 E4"), &[pin], &Weights::default())
        .unwrap();
    let bottle = |index: usize| &problem.candidates()[assignment.bottle_of[index].unwrap()].name;
    assert_eq!(bottle(1), "cordial");
    assert_eq!(assignment.placed(), 3);
}

#[test]
fn pins_that_contradict_are_refused() {
    let problem = problem(quay());
    let pins = |pins: &[(&str, &str)]| {
        let pins: Vec<Pin> = pins
            .iter()
            .map(|(note, bottle)| Pin {
                note: note.parse().unwrap(),
                bottle: (*bottle).into(),
            })
            .collect();
        problem.assign(&targets("G2 G3 A3"), &pins, &Weights::default())
    };
    let twice = pins(&[("G3", "cordial"), ("G3", "tide bottle")]);
    assert!(matches!(
        twice,
        Err(PlanError::PinnedNote {
            pins: 2,
            wanted: 1,
            ..
        })
    ));
    let unwanted = pins(&[("C7", "cordial")]);
    assert!(matches!(
        unwanted,
        Err(PlanError::PinnedNote { wanted: 0, .. })
    ));
    let crowded = pins(&[("G2", "harbour jug"), ("G3", "harbour jug")]);
    assert!(matches!(
        crowded,
        Err(PlanError::PinnedBottle {
            pins: 2,
            count: 1,
            ..
        })
    ));
    let nobody = pins(&[("G3", "cordail")]).unwrap_err().to_string();
    assert!(nobody.contains("cordial"), "{nobody}");
}

#[test]
fn every_scale_is_the_one_of_the_textbook() {
    let notes = |name: &str, from: &str, to: &str| {
        let notes = scale(name, from.parse().unwrap(), to.parse().unwrap()).unwrap();
        notes
            .iter()
            .map(ToString::to_string)
            .collect::<Vec<_>>()
            .join(" ")
    };
    assert_eq!(notes("D dorian", "D3", "D4"), "D3 E3 F3 G3 A3 B3 C4 D4");
    assert_eq!(
        notes("Bb major", "A3", "Bb4"),
        "A3 Bb3 C4 D4 Eb4 F4 G4 A4 Bb4"
    );
    assert_eq!(notes("G minor", "G3", "G4"), "G3 A3 Bb3 C4 D4 Eb4 F4 G4");
    assert_eq!(
        notes("A harmonic minor", "A3", "A4"),
        "A3 B3 C4 D4 E4 F4 G#4 A4"
    );
    assert_eq!(notes("E phrygian", "E3", "E4"), "E3 F3 G3 A3 B3 C4 D4 E4");
    assert_eq!(notes("F lydian", "F3", "F4"), "F3 G3 A3 B3 C4 D4 E4 F4");
    assert_eq!(notes("G mixolydian", "G3", "G4"), "G3 A3 B3 C4 D4 E4 F4 G4");
    assert_eq!(notes("C major pentatonic", "C4", "C5"), "C4 D4 E4 G4 A4 C5");
    assert_eq!(notes("A minor-pentatonic", "A3", "A4"), "A3 C4 D4 E4 G4 A4");
    assert_eq!(notes("C whole tone", "C4", "C5"), "C4 D4 E4 F#4 G#4 A#4 C5");
    assert_eq!(notes("C chromatic", "C4", "C5").split(' ').count(), 13);
    assert_eq!(notes("A blues", "A3", "A4").split(' ').count(), 7);
    assert_eq!(scale_names().len(), 13);
}

#[test]
fn an_unknown_scale_names_the_nearest() {
    let (from, to) = ("D3".parse().unwrap(), "D4".parse().unwrap());
    let error = scale("D dorain", from, to).unwrap_err().to_string();
    assert!(error.contains("did you mean \"dorian\""), "{error}");
    assert!(matches!(
        scale("D dorian", to, from),
        Err(WantedError::Ends { .. })
    ));
    assert!(matches!(
        scale("H major", from, to),
        Err(WantedError::Note(_))
    ));
}

#[test]
fn notes_are_counted_by_the_x_behind_them() {
    let told = |text: &str| {
        let notes = parse_wanted(text).unwrap();
        notes.iter().map(ToString::to_string).collect::<Vec<_>>()
    };
    assert_eq!(told("C4 x3, D4"), ["C4", "C4", "C4", "D4"]);
    assert_eq!(told("C4x2"), ["C4", "C4"]);
    assert_eq!(told("F#4-14c"), ["F#4-14c"]);
    for bad in ["", "x3", "C4 x0", "C4 x1001", "H4", "C4 xx"] {
        assert!(parse_wanted(bad).is_err(), "{bad:?}");
    }
}
