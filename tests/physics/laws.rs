//! Laws that every bottle keeps, on bottles and in rooms that nobody chose.

use proptest::prelude::*;
use ullage::physics::air::Room;
use ullage::physics::bottle::Bottle;
use ullage::physics::conditions::Conditions;
use ullage::physics::prediction::{Blown, Prediction};
use ullage::physics::struck::{Struck, StruckSpec};
use ullage::units::{Frequency, Pressure, Temperature, Volume};

use crate::common::files::kind;

/// A bottle by its few dimensions, mm, and how often a bottle of this shape is as large in every direction.
#[derive(Clone, Copy, Debug)]
struct Shape {
    body_mm: f64,
    body_length_mm: f64,
    shoulder_mm: f64,
    neck_mm: f64,
    bore_share: f64,
    wall_mm: f64,
}

impl Shape {
    /// Its bore, so that nothing has to be estimated of it: a law is tried on hundreds.
    fn bottle(self, scale: f64) -> Bottle {
        let inside_mm = self.body_mm - 2.0 * self.wall_mm;
        let bore_mm = self.bore_share * inside_mm;
        let foot_mm = self.body_length_mm + self.shoulder_mm;
        let points = [
            [0.0, inside_mm],
            [self.body_length_mm, inside_mm],
            [foot_mm, bore_mm],
            [foot_mm + self.neck_mm, bore_mm],
        ];
        let wall_mm = scale * self.wall_mm;
        let text = format!(
            "name = \"any\"\nprofile_mm = {:?}\nlip_wall_mm = {wall_mm}\nwall_mm = {wall_mm}\n",
            points.map(|point| point.map(|mm| scale * mm)),
        );
        kind(&text).bottle
    }

    /// The same as its owner would measure it, with a ruler.
    fn measured(self) -> Bottle {
        let inside_mm = self.body_mm - 2.0 * self.wall_mm;
        let text = format!(
            "name = \"any\"\nbody_diameter_mm = {}\nbody_length_mm = {}\nshoulder_length_mm = {}\nheight_mm = {}\n\
             mouth_bore_mm = {}\nlip_wall_mm = {}\n",
            self.body_mm,
            self.body_length_mm,
            self.shoulder_mm,
            self.body_length_mm + self.shoulder_mm + self.neck_mm,
            self.bore_share * inside_mm,
            self.wall_mm,
        );
        kind(&text).bottle
    }
}

fn shape() -> impl Strategy<Value = Shape> {
    (
        40.0..120.0,
        40.0..250.0,
        10.0..60.0,
        10.0..90.0,
        0.2..0.6,
        1.5..4.0,
    )
        .prop_map(
            |(body_mm, body_length_mm, shoulder_mm, neck_mm, bore_share, wall_mm)| Shape {
                body_mm,
                body_length_mm,
                shoulder_mm,
                neck_mm,
                bore_share,
                wall_mm,
            },
        )
}

fn room() -> impl Strategy<Value = Conditions> {
    (-10.0..60.0, 0.0..1.0, 50.0..120.0).prop_map(|(temp_c, humidity, pressure_kpa)| Conditions {
        room: Room {
            temperature: Temperature::from_c(temp_c),
            humidity,
            pressure: Pressure::from_kpa(pressure_kpa),
            ..Room::default()
        },
        ..Conditions::default()
    })
}

fn of_capacity(bottle: &Bottle, share: f64) -> Volume {
    Volume::from_m3(bottle.bore().capacity().m3() * share)
}

fn sounds_higher_the_fuller(bottle: &Bottle, room: &Conditions) -> Result<(), TestCaseError> {
    let blown = Blown::new(bottle, room).unwrap();
    let (fullest, _) = blown.fullest().unwrap();
    let hz = |step: i32| {
        let fill = fullest * (f64::from(step) / 12.0);
        blown.fundamental(fill).unwrap().frequency.hz()
    };
    let hz: Vec<f64> = (0..=12).map(hz).collect();
    prop_assert!(hz.windows(2).all(|pair| pair[0] < pair[1]), "{hz:?}");
    Ok(())
}

fn gives_what_it_is_solved_for(
    bottle: &Bottle,
    room: &Conditions,
    share: f64,
) -> Result<(), TestCaseError> {
    let blown = Blown::new(bottle, room).unwrap();
    let (fullest, highest) = blown.fullest().unwrap();
    let lowest = blown.fundamental(Volume::default()).unwrap().frequency;
    let target = Frequency::from_hz(lowest.hz() + (highest.frequency.hz() - lowest.hz()) * share);
    let fill = blown.fill_for(target).unwrap();
    prop_assert!(fill.m3() >= 0.0 && fill <= fullest);
    let off = blown
        .fundamental(fill)
        .unwrap()
        .frequency
        .interval_above(target)
        .cents();
    // A thousandth of a cent, and the microlitre at which the search ends.
    let by_microlitre = 1e-3 * blown.per_ml(fill).unwrap().cents().abs();
    prop_assert!(
        off.abs() < 1e-3 + by_microlitre,
        "{off} cents, {by_microlitre} a microlitre"
    );
    Ok(())
}

fn sounds_lower_the_fuller(shape: Shape) -> Result<(), TestCaseError> {
    let bottle = shape.bottle(1.0);
    let Ok(struck) = Struck::new(&bottle, StruckSpec::default()) else {
        // Out of the shell's range, which it names.
        return Ok(());
    };
    let hz: Vec<f64> = (0..=10)
        .map(|step| {
            let fill = of_capacity(&bottle, 0.08 * f64::from(step));
            struck.pitch(2, fill).unwrap().hz()
        })
        .collect();
    prop_assert!(hz.iter().all(|hz| hz.is_finite() && *hz > 0.0));
    let falls = |pair: &[f64]| pair[1] <= pair[0] * (1.0 + 1e-9);
    prop_assert!(hz.windows(2).all(falls), "{hz:?}");
    prop_assert!(hz[10] < hz[0]);
    Ok(())
}

#[test]
fn a_wide_thin_floor_sounds_no_higher_for_the_first_drop() {
    // It did by 1.6 cents: the first drop took the gas from the floor, and put nothing in its place.
    let shape = Shape {
        body_mm: 118.05,
        body_length_mm: 40.0,
        shoulder_mm: 40.42,
        neck_mm: 83.01,
        bore_share: 0.2,
        wall_mm: 1.5,
    };
    sounds_lower_the_fuller(shape).unwrap();
}

proptest! {
    // Every bottle is estimated from what its owner measured: dearer than a bore that is known.
    #![proptest_config(ProptestConfig { failure_persistence: None, cases: 25, ..ProptestConfig::default() })]

    #[test]
    fn a_bottle_known_by_its_dimensions_keeps_the_laws_too(shape in shape(), room in room(), share in 0.02..0.98) {
        let bottle = shape.measured();
        sounds_higher_the_fuller(&bottle, &room)?;
        gives_what_it_is_solved_for(&bottle, &room, share)?;
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, cases: 200, ..ProptestConfig::default() })]

    #[test]
    fn what_sounds_has_a_pitch_and_a_quality_and_the_rest_says_why(shape in shape(), room in room(), share in 0.0..1.2) {
        let bottle = shape.bottle(1.0);
        match Prediction::new(&bottle, of_capacity(&bottle, share), &room) {
            Ok(found) => {
                for resonance in &found.resonances {
                    prop_assert!(resonance.frequency.hz() > 0.0 && resonance.frequency.hz() < 20_100.0);
                    prop_assert!(resonance.quality > 0.0 && resonance.quality.is_finite());
                }
                let rising = found.resonances.windows(2).all(|r| r[0].frequency < r[1].frequency);
                prop_assert!(rising && found.per_ml.cents().is_finite());
            }
            Err(why) => prop_assert!(share > 0.6 && !why.to_string().is_empty(), "{share}: {why}"),
        }
    }

    #[test]
    fn more_liquid_sounds_higher(shape in shape(), room in room()) {
        sounds_higher_the_fuller(&shape.bottle(1.0), &room)?;
    }

    #[test]
    fn a_solved_fill_gives_the_pitch_that_it_was_solved_for(shape in shape(), room in room(), share in 0.02..0.98) {
        gives_what_it_is_solved_for(&shape.bottle(1.0), &room, share)?;
    }

    #[test]
    fn twice_as_large_sounds_an_octave_lower_but_for_its_losses(shape in shape(), scale in 0.7..1.6) {
        let (small, large) = (shape.bottle(1.0), shape.bottle(scale));
        let room = Conditions::default();
        let note = |bottle| Blown::new(bottle, &room).unwrap().fundamental(Volume::default()).unwrap();
        let (small, large) = (note(&small), note(&large));
        let ratio = large.frequency.hz() * scale / small.frequency.hz();
        // Without losses the ratio is 1. The walls lower a note by about as much as they damp it, 1/2Q; what the mouth
        // radiates damps but hardly lowers it, and is the same share at every scale.
        let by_losses = (0.5 / small.quality - 0.5 / large.quality).abs() + 0.1 * (0.5 / small.quality);
        prop_assert!((ratio - 1.0).abs() < by_losses + 1e-3, "{ratio}, {by_losses}");
    }

    #[test]
    fn warmer_air_sounds_higher_as_the_root_of_its_heat(shape in shape(), low_c in -10.0..40.0) {
        let bottle = shape.bottle(1.0);
        let hz = |temp_c: f64| {
            let room = Room { temperature: Temperature::from_c(temp_c), humidity: 0.0, ..Room::default() };
            let dry = Conditions { room, gas: "dry air".parse().unwrap(), headspace: "dry".parse().unwrap(), ..Conditions::default() };
            Blown::new(&bottle, &dry).unwrap().fundamental(Volume::default()).unwrap().frequency.hz()
        };
        let ratio = hz(low_c + 20.0) / hz(low_c);
        let by_heat = ((low_c + 20.0 + 273.15) / (low_c + 273.15)).sqrt();
        // The walls' drag grows a little with the heat, a few parts in ten thousand.
        prop_assert!((ratio / by_heat - 1.0).abs() < 2e-3, "{ratio} {by_heat}");
    }

    #[test]
    fn a_struck_bottle_sounds_lower_the_fuller_it_is(shape in shape()) {
        sounds_lower_the_fuller(shape)?;
    }
}
