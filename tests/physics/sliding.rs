//! A floor that slides: against the line model, rising all the way, and marks that give their notes.

use ullage::fit::shape::estimated;
use ullage::physics::bottle::{Bottle, Description, Known, MeasuredTo};
use ullage::physics::conditions::Conditions;
use ullage::physics::dimensions::Dimensions;
use ullage::physics::prediction::Blown;
use ullage::physics::profile::Profile;
use ullage::physics::sliding::{SEAL_QUALITY, Sliding, SlidingError};
use ullage::units::{Frequency, Length};

fn bottle(points: &[[f64; 2]]) -> Bottle {
    estimated(Description {
        known: Known::Bore(Profile::from_diameters_mm(points).unwrap()),
        dimensions: Dimensions::default(),
        lip_wall: Some(Length::from_mm(3.0)),
        measured_to: MeasuredTo::default(),
    })
    .unwrap()
}

/// A tube with a neck, and a plain tube.
fn tubes() -> [Bottle; 2] {
    [
        bottle(&[[0.0, 50.0], [250.0, 50.0], [270.0, 22.0], [310.0, 20.0]]),
        bottle(&[[0.0, 26.0], [400.0, 26.0]]),
    ]
}

#[test]
fn the_pitch_rises_with_the_travel_and_is_the_line_models_of_the_air_that_is_left() {
    let conditions = Conditions::default();
    for tube in tubes() {
        let sliding = Sliding::new(&tube, &conditions).unwrap();
        let blown = Blown::new(&tube, &conditions).unwrap();
        let at = |step: u32| {
            let travel = sliding.stroke() * (f64::from(step) / 100.0);
            (travel, sliding.at(travel).unwrap())
        };
        let glide: Vec<_> = (0..=100).map(at).collect();
        assert!(
            glide
                .windows(2)
                .all(|p| p[1].1.frequency > p[0].1.frequency)
        );
        for (travel, found) in glide {
            // A shorter bottle, built as such: the floor at the travel.
            let points: Vec<[f64; 2]> =
                std::iter::once([0.0, 2.0 * tube.bore().radius_at(travel).mm()])
                    .chain(
                        tube.bore()
                            .points()
                            .iter()
                            .filter(|p| p.height_m > travel.m())
                            .map(|p| [1e3 * p.height_m - travel.mm(), 2e3 * p.radius_m]),
                    )
                    .collect();
            let cut = Profile::from_diameters_mm(&points).unwrap();
            assert!(
                (cut.capacity().ml() + tube.bore().volume_below(travel).ml()
                    - tube.bore().capacity().ml())
                .abs()
                    < 1e-6
            );
            let line = blown.fundamental(tube.bore().volume_below(travel)).unwrap();
            let short = bottle(&points);
            let apart = Blown::new(&short, &conditions)
                .unwrap()
                .fundamental(Default::default())
                .unwrap();
            // The same air by another way round: rounding alone.
            assert!(
                found
                    .frequency
                    .interval_above(apart.frequency)
                    .cents()
                    .abs()
                    < 0.01
            );
            let expected_q = 1.0 / (1.0 / line.quality + 1.0 / SEAL_QUALITY);
            assert!((found.quality / expected_q - 1.0).abs() < 1e-9);
        }
    }
}

#[test]
fn a_mark_gives_its_note_to_a_tenth_of_a_cent_and_notes_out_of_reach_are_refused() {
    let conditions = Conditions::default();
    for tube in tubes() {
        let sliding = Sliding::new(&tube, &conditions).unwrap();
        let (low, high) = sliding.range().unwrap();
        let mut before = Length::from_mm(-1.0);
        for step in 0..=12 {
            let share = f64::from(step) / 12.0;
            let target = Frequency::from_hz(
                low.frequency.hz() * (high.frequency / low.frequency).powf(share),
            );
            let mark = sliding.mark(target.min(high.frequency)).unwrap();
            assert!(
                mark.resonance
                    .frequency
                    .interval_above(target)
                    .cents()
                    .abs()
                    < 0.1
            );
            assert!(mark.travel > before && mark.per_mm.cents() > 0.0);
            before = mark.travel;
        }
        let beyond = sliding
            .mark(Frequency::from_hz(high.frequency.hz() * 1.01))
            .unwrap_err();
        assert!(
            matches!(beyond, SlidingError::OutOfReach { .. }),
            "{beyond}"
        );
        assert!(sliding.at(sliding.stroke() + Length::from_mm(1.0)).is_err());
    }
}

#[test]
fn a_bottle_that_is_nowhere_straight_takes_no_piston() {
    let cone = bottle(&[[0.0, 60.0], [200.0, 30.0]]);
    let error = Sliding::new(&cone, &Conditions::default()).unwrap_err();
    assert!(matches!(error, SlidingError::NotStraight { .. }), "{error}");
}
