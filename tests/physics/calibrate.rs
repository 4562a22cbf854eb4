//! Bottles fitted to pitches that were heard from them.

use proptest::prelude::*;
use ullage::fit::air::{CalibrateError, Calibrated, Heard, REPEAT_CENTS, calibrated};
use ullage::physics::bottle::Bottle;
use ullage::physics::conditions::Conditions;
use ullage::physics::prediction::{Blown, Prediction};
use ullage::units::{Frequency, Interval, Length, Temperature, Volume};

use crate::common::files::kind;
use crate::common::measure::cents;

fn bottle(text: &str) -> Bottle {
    kind(&format!("name = \"a\"\n{text}")).bottle
}

/// A half litre with a long neck, `bore_mm` wider and `neck_mm` longer than it was measured.
fn long_neck(bore_mm: f64, neck_mm: f64) -> Bottle {
    bottle(&format!(
        "mouth_bore_mm = {}\nneck_bore_mm = {}\nneck_length_mm = {}\nbody_diameter_mm = 66\n\
         shoulder_length_mm = 30\ncapacity_ml = 500\nlip_wall_mm = 4",
        18.0 + bore_mm,
        20.0 + bore_mm,
        60.0 + neck_mm
    ))
}

fn hz(bottle: &Bottle, fill_ml: f64, conditions: &Conditions) -> f64 {
    let blown = Blown::new(bottle, conditions).unwrap();
    blown
        .fundamental(Volume::from_ml(fill_ml))
        .unwrap()
        .frequency
        .hz()
}

fn heard(fill_ml: f64, hz: f64) -> Heard {
    Heard {
        fill: Volume::from_ml(fill_ml),
        frequency: Frequency::from_hz(hz),
        temperature: Some(Temperature::from_c(20.0)),
    }
}

fn fitted(bottle: &Bottle, heard: &[Heard]) -> Calibrated {
    calibrated(bottle, heard, &Conditions::default()).unwrap_or_else(|e| panic!("{e}"))
}

/// Pitch of a bottle at a fill, Hz, and its ± in cents.
fn predicted(bottle: &Bottle, fill_ml: f64) -> (f64, f64) {
    let p = Prediction::new(bottle, Volume::from_ml(fill_ml), &Conditions::default()).unwrap();
    (p.note().frequency.hz(), p.uncertainty.plus_minus.cents())
}

#[test]
fn a_bottle_fitted_to_one_pitch_gives_that_pitch_as_nearly_as_it_is_heard() {
    let measured = long_neck(0.0, 0.0);
    let (before_hz, before) = predicted(&measured, 120.0);
    for off_cents in [-90.0, -15.0, 0.0, 40.0, 90.0] {
        let target = Frequency::from_hz(before_hz).raised_by(Interval::from_cents(off_cents));
        let found = fitted(&measured, &[heard(120.0, target.hz())]);
        let after_hz = hz(&found.bottle, 120.0, &Conditions::default());
        let left = cents(after_hz, target.hz());
        // Two errors of 15 cents and of half the ± before share what is between them; 3 cents: the ± is not a bell curve's.
        let heard_share = 15f64.powi(2) / (15f64.powi(2) + (0.5 * before).powi(2));
        let expected = -off_cents * heard_share;
        println!("{off_cents:+.0}: {left:+.1} left, {expected:+.1} expected of a bell curve");
        assert!(
            (left - expected).abs() < 3.0 + 0.1 * off_cents.abs(),
            "{off_cents}: {left}"
        );
        assert!(!found.fit.volume_fitted);
        assert!(
            found.fit.volume_share.abs() < 0.01,
            "the capacity was weighed: {:?}",
            found.fit
        );
    }
}

#[test]
fn two_pitches_say_how_large_a_body_is_that_nobody_filled() {
    // Nothing but a ruler: the wall is open, and with it a few percent of the volume.
    let measured = bottle(
        "mouth_bore_mm = 18\nneck_bore_mm = 20\nneck_length_mm = 60\nbody_diameter_mm = 66\nheight_mm = 245\n\
         shoulder_length_mm = 30\nlip_wall_mm = 4",
    );
    let truth = measured.adjusted(Length::from_mm(1.0), 1.02).unwrap();
    let room = Conditions::default();
    let both: Vec<Heard> = [0.0, 400.0]
        .map(|ml| heard(ml, hz(&truth, ml, &room)))
        .into();
    let found = fitted(&measured, &both);
    for h in &both {
        let off = cents(hz(&found.bottle, h.fill.ml(), &room), h.frequency.hz());
        assert!(off.abs() < 15.0, "{} ml: {off}", h.fill.ml());
    }
    let share = truth.bore().capacity() / measured.bore().capacity() - 1.0;
    assert!(found.fit.volume_fitted, "{:?}", found.fit);
    println!("{:?}, truth {share}", found.fit);
    assert!(
        (found.fit.volume_share - share).abs() < 0.6 * share,
        "{:?} {share}",
        found.fit
    );
}

#[test]
fn pitches_at_nearly_one_fill_leave_the_volume_alone() {
    let measured = long_neck(0.0, 0.0);
    let room = Conditions::default();
    // 15 cents apart in opposite directions: a volume fitted to that would run to its end.
    let pitches = [
        heard(0.0, hz(&measured, 0.0, &room) * 1.005),
        heard(20.0, hz(&measured, 20.0, &room) * 0.995),
    ];
    let found = fitted(&measured, &pitches);
    assert!(found.fit.volume_share.abs() < 0.01, "{:?}", found.fit);
    // Half of 17.3 cents either way.
    assert!(
        (found.fit.residual.cents() - 8.65).abs() < 2.0,
        "{:?}",
        found.fit
    );
}

#[test]
fn of_two_pitches_that_no_bottle_gives_one_is_named_and_nothing_is_fitted() {
    let measured = long_neck(0.0, 0.0);
    let room = Conditions::default();
    let pitches = [
        heard(0.0, hz(&measured, 0.0, &room)),
        heard(350.0, hz(&measured, 350.0, &room) * 1.4),
    ];
    let error = calibrated(&measured, &pitches, &room).unwrap_err();
    let CalibrateError::Contradicted { fill_ml, cents, .. } = error else {
        panic!("{error}")
    };
    // 1.4 is 582 cents; the dimensions know which of them it is.
    assert_eq!(fill_ml, 350.0);
    assert!((cents - 582.0).abs() < 60.0, "{cents}");
}

#[test]
fn a_slip_of_the_pen_among_three_pitches_is_named_and_refused() {
    let measured = bottle("mouth_bore_mm = 18\nneck_length_mm = 60\ncapacity_ml = 500");
    let room = Conditions::default();
    let pitches = [heard(0.0, 60.0), heard(200.0, 222.9), heard(300.0, 290.0)];
    let error = calibrated(&measured, &pitches, &room).unwrap_err();
    assert!(
        error.to_string().contains("60 Hz was heard with 0.0 ml"),
        "{error}"
    );
}

#[test]
fn one_wrong_pitch_among_five_is_named_and_left_out() {
    let measured = long_neck(0.0, 0.0);
    let truth = long_neck(0.3, 1.0);
    let room = Conditions::default();
    let mut pitches: Vec<Heard> = [0.0, 80.0, 160.0, 240.0, 320.0]
        .map(|ml| heard(ml, hz(&truth, ml, &room)))
        .into();
    let without_wrong: Vec<Heard> = [0, 1, 2, 4].map(|i| pitches[i]).into();
    pitches[3] = heard(240.0, pitches[3].frequency.hz() * 1.08);
    let found = fitted(&measured, &pitches);
    assert_eq!(found.fit.outliers, [pitches[3]]);
    assert_eq!(found.bottle, fitted(&measured, &without_wrong).bottle);
}

#[test]
fn a_pitch_from_a_warmer_room_says_the_same_of_the_bottle() {
    let measured = long_neck(0.0, 0.0);
    let truth = measured.adjusted(Length::from_mm(-1.0), 1.0).unwrap();
    let (room, warm) = (
        Conditions::default(),
        Conditions::default().warmed_by_k(9.0),
    );
    let noted = |conditions: &Conditions| Heard {
        temperature: Some(conditions.temperature()),
        ..heard(0.0, hz(&truth, 0.0, conditions))
    };
    let (here, found) = (
        fitted(&measured, &[noted(&room)]),
        fitted(&measured, &[noted(&warm)]),
    );
    let off = cents(hz(&found.bottle, 0.0, &room), hz(&here.bottle, 0.0, &room));
    assert!(off.abs() < 0.5, "{off}");
    // Not noted: the room's is taken, which is the same as hearing it there.
    let assumed = Heard {
        temperature: None,
        ..noted(&warm)
    };
    let there = calibrated(&measured, &[assumed], &warm).unwrap();
    let off = cents(hz(&there.bottle, 0.0, &room), hz(&found.bottle, 0.0, &room));
    assert!(off.abs() < 3.0, "{off}");
    assert!(
        predicted(&there.bottle, 0.0).1 > predicted(&found.bottle, 0.0).1,
        "less sure without a thermometer"
    );
}

#[test]
fn a_pitch_that_is_not_this_bottles_is_refused_with_what_it_would_take() {
    let measured = long_neck(0.0, 0.0);
    let error = calibrated(&measured, &[heard(0.0, 700.0)], &Conditions::default()).unwrap_err();
    assert!(
        matches!(error, CalibrateError::OutOfReach { .. }),
        "{error}"
    );
    assert!(
        error
            .to_string()
            .contains("700 Hz was heard with 0.0 ml in it"),
        "{error}"
    );
    let error = calibrated(&measured, &[], &Conditions::default()).unwrap_err();
    assert_eq!(error, CalibrateError::NothingHeard);
}

#[test]
fn one_pitch_makes_every_fill_surer_and_more_pitches_surer_still() {
    let room = Conditions::default();
    // Nothing but the main dimensions: the shoulder is a guess, and most of the doubt.
    let measured =
        bottle("mouth_bore_mm = 18\nneck_length_mm = 60\nbody_diameter_mm = 66\ncapacity_ml = 500");
    let truth = measured.adjusted(Length::from_mm(1.5), 1.0).unwrap();
    let at = |fills: &[f64]| -> Vec<Heard> {
        fills
            .iter()
            .map(|&ml| heard(ml, hz(&truth, ml, &room)))
            .collect()
    };
    let one = fitted(&measured, &at(&[0.0]));
    for fill_ml in [0.0, 100.0, 200.0, 300.0] {
        let (before, after) = (
            predicted(&measured, fill_ml).1,
            predicted(&one.bottle, fill_ml).1,
        );
        println!("{fill_ml:5} ml: ±{before:.1} measured, ±{after:.1} with one pitch");
        assert!(after < before, "{fill_ml} ml: {before} {after}");
    }
    // At the fill itself only what was heard (30), the next blow (30), the model (5) and a thermometer (1 K, 3 cents) are left.
    let left = |heard: f64| (heard.powi(2) + 30f64.powi(2) + 5f64.powi(2) + 3f64.powi(2)).sqrt();
    // A tenth: 200 bottles say their widest twentieth no better.
    let alone = predicted(&one.bottle, 0.0).1;
    assert!(
        (alone / left(30.0) - 1.0).abs() < 0.15,
        "{alone} against {}",
        left(30.0)
    );
    let four = fitted(&measured, &at(&[0.0, 0.0, 0.0, 0.0]));
    let alone = predicted(&four.bottle, 0.0).1;
    assert!(
        (alone / left(15.0) - 1.0).abs() < 0.15,
        "{alone} against {}",
        left(15.0)
    );
    let spread = fitted(&measured, &at(&[0.0, 200.0, 350.0]));
    for fill_ml in [200.0, 300.0] {
        assert!(predicted(&spread.bottle, fill_ml).1 < predicted(&one.bottle, fill_ml).1);
    }
}

#[test]
fn a_mismeasured_bottle_fitted_when_empty_keeps_its_word_at_every_fill() {
    let room = Conditions::default();
    for (bore_mm, neck_mm) in [(0.4, -2.0), (-0.4, 2.0), (0.4, 2.0), (-0.4, -2.0)] {
        let truth = long_neck(bore_mm, neck_mm);
        let measured = long_neck(0.0, 0.0);
        let found = fitted(&measured, &[heard(0.0, hz(&truth, 0.0, &room))]);
        let mut worst: f64 = 0.0;
        for fill_ml in [50.0, 100.0, 150.0, 200.0, 250.0, 300.0, 350.0, 400.0] {
            let true_hz = hz(&truth, fill_ml, &room);
            let (hz, plus_minus) = predicted(&found.bottle, fill_ml);
            let off = cents(hz, true_hz).abs();
            let before = cents(predicted(&measured, fill_ml).0, true_hz).abs();
            assert!(
                off <= plus_minus,
                "{bore_mm} {neck_mm} {fill_ml} ml: {off} over ±{plus_minus}"
            );
            assert!(
                off < before.max(5.0),
                "{fill_ml} ml: {off} now, {before} before"
            );
            worst = worst.max(off);
        }
        println!(
            "bore {bore_mm:+} neck {neck_mm:+}: {:?}, worst {worst:.1} cents",
            found.fit.mouth
        );
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    #[test]
    fn the_order_of_the_pitches_is_irrelevant(
        order in Just(vec![0usize, 1, 2, 3, 4]).prop_shuffle(),
        off in prop::collection::vec(-40.0..40.0f64, 5),
    ) {
        let measured = long_neck(0.0, 0.0);
        let room = Conditions::default();
        let pitch = |index: usize| {
            let fill_ml = 70.0 * index as f64;
            let raised = Interval::from_cents(off[index]);
            heard(fill_ml, Frequency::from_hz(hz(&measured, fill_ml, &room)).raised_by(raised).hz())
        };
        let sorted: Vec<Heard> = (0..5).map(pitch).collect();
        let shuffled: Vec<Heard> = order.into_iter().map(pitch).collect();
        prop_assert_eq!(fitted(&measured, &sorted), fitted(&measured, &shuffled));
    }
}

/// Fill and pitch of one of the published bottles, those that gate.
fn published(text: &str, name: &str, full_ml: f64, least_air_ml: f64) -> Vec<(f64, f64)> {
    let row = |line: &str| {
        let mut cells = line.split(',');
        let (bottle, air_ml, hz) = (cells.next()?, cells.next()?, cells.next()?);
        let flagged = cells.next().is_some_and(|flag| !flag.is_empty());
        let air_ml: f64 = (bottle == name).then(|| air_ml.parse().ok())??;
        (!flagged && air_ml >= least_air_ml).then(|| (full_ml - air_ml, hz.parse().unwrap()))
    };
    text.lines().filter_map(row).collect()
}

/// What came of a fit to some of the rows, for the others.
struct Coverage {
    of: usize,
    /// Within the stated ±.
    within: usize,
    /// Within the stated ± with the repeat of the single pitch that it is compared with.
    within_repeat: usize,
    rms_cents: f64,
}

fn coverage(name: &str, assumed: &Bottle, rows: &[(f64, f64)], on: &[f64]) -> Coverage {
    let pitch = |&(fill_ml, hz): &(f64, f64)| Heard {
        temperature: None,
        ..heard(fill_ml, hz)
    };
    let (used, others): (Vec<_>, Vec<_>) = rows.iter().partition(|r| on.contains(&r.0));
    assert_eq!(used.len(), on.len(), "every point to fit is there");
    let found = fitted(assumed, &used.iter().map(pitch).collect::<Vec<_>>());
    println!("{name} on {on:?}: {:?}", found.fit);
    let mut told = Coverage {
        of: others.len(),
        within: 0,
        within_repeat: 0,
        rms_cents: 0.0,
    };
    for &(fill_ml, heard_hz) in &others {
        let (hz, plus_minus) = predicted(&found.bottle, fill_ml);
        let off = cents(hz, heard_hz);
        told.within += usize::from(off.abs() <= plus_minus);
        told.within_repeat += usize::from(off.abs() <= plus_minus.hypot(REPEAT_CENTS));
        told.rms_cents += off * off / told.of as f64;
        println!("  {fill_ml:5} ml {heard_hz:6} Hz {off:+6.1} ±{plus_minus:.1}");
    }
    told.rms_cents = told.rms_cents.sqrt();
    let Coverage {
        of,
        within,
        within_repeat,
        rms_cents,
    } = told;
    println!(
        "  {within} of {of} within, {within_repeat} with their own repeat, rms {rms_cents:.1} cents"
    );
    told
}

/// Nine in ten of the others lie within the stated ±.
fn keeps_its_word(told: &Coverage) -> bool {
    told.within * 10 >= told.of * 9
}

/// The dimensions that are assumed behind the published half litres: none were given, so that they are
/// doubted by as much as bottles of that kind differ.
fn assumed_half_litre() -> Bottle {
    bottle(
        "mouth_bore_mm = 18\nneck_bore_mm = 18\nneck_length_mm = 60\nbody_diameter_mm = 62\n\
         shoulder_length_mm = 30\ncapacity_ml = 500\nlip_wall_mm = 4\n\
         measured_to = { bore_mm = 2, length_mm = 10, capacity_pct = 3 }",
    )
}

const SEVENTEEN: &str = include_str!("../data/blown_glass_half_litre_17pt.csv");
const TEN: &str = include_str!("../data/blown_two_glass_bottles_10pt.csv");

#[test]
fn published_half_litre_a_lies_within_what_a_fit_to_one_or_two_pitches_says() {
    let rows = published(SEVENTEEN, "glass_half_litre_A", 500.0, 0.0);
    assert_eq!(rows.len(), 17);
    for on in [&[0.0][..], &[0.0, 200.0], &[0.0, 250.0], &[0.0, 300.0]] {
        let told = coverage("A", &assumed_half_litre(), &rows, on);
        assert!(
            keeps_its_word(&told),
            "{on:?}: {} of {}",
            told.within,
            told.of
        );
        // Measured 15.5 on one pitch, 15.5, 13.4 and 13.7 on two: the printed 1 Hz alone is up to 12 cents, a repeat 20.
        assert!(told.rms_cents < 17.0, "{on:?}: {}", told.rms_cents);
    }
}

#[test]
fn published_half_litre_b_lies_within_what_a_fit_to_one_pitch_says() {
    let told = coverage("B", &assumed_half_litre(), &half_litre_b(), &[0.0]);
    assert!(keeps_its_word(&told), "{} of {}", told.within, told.of);
}

/// 505 ml is the first air volume that is printed; the 55 ml point does not gate.
fn half_litre_b() -> Vec<(f64, f64)> {
    let rows = published(TEN, "glass_half_litre_B", 505.0, 60.0);
    assert_eq!(rows.len(), 9);
    rows
}

#[test]
fn published_half_litre_b_lies_within_what_a_fit_to_two_pitches_says() {
    // Measured: 20 of 21. The source itself has 148 and 150 Hz, 23 cents apart, for the empty bottle.
    let (mut of, mut within) = (0, 0);
    for middle_ml in [200.0, 250.0, 300.0] {
        let told = coverage(
            "B",
            &assumed_half_litre(),
            &half_litre_b(),
            &[0.0, middle_ml],
        );
        (of, within) = (of + told.of, within + told.within);
        assert!(told.rms_cents < 50.0, "{middle_ml}: {}", told.rms_cents);
    }
    assert!(10 * within >= 9 * of, "{within} of {of}");
}

#[test]
fn published_large_bottle_needs_two_pitches_since_its_shape_is_not_known() {
    // Printed is the volume of the cavity, 930 ml when empty, and that the opening is considerably larger
    // and the neck shorter than the half litre's. Assumed: 30 mm bore, 60 mm neck that widens by nothing,
    // whose 42 ml the cavity may or may not count: a tenth of the capacity is open. Two points flagged hard to sound do not gate.
    let assumed = bottle(
        "mouth_bore_mm = 30\nneck_bore_mm = 30\nneck_length_mm = 60\nbody_diameter_mm = 90\ncapacity_ml = 972\n\
         measured_to = { bore_mm = 4, length_mm = 15, capacity_pct = 10 }",
    );
    let rows = published(TEN, "glass_large", 930.0, 0.0);
    assert_eq!(rows.len(), 8);
    // The empty note alone falls short: 5 of 7 within the stated ±, 127 cents rms. The curve rises as if
    // there were some 100 ml more air, or the empty note were lower: the source's text has 159 Hz
    // for it where its table has 164.5, 59 cents apart.
    let alone = coverage("large", &assumed, &rows, &[0.0]);
    let (mut of, mut within) = (0, 0);
    for middle_ml in [300.0, 400.0, 500.0] {
        let told = coverage("large", &assumed, &rows, &[0.0, middle_ml]);
        (of, within) = (of + told.of, within + told.within);
        // Measured 21, 38 and 29: a law of two parameters fitted to all points leaves 20 to 25.
        assert!(told.rms_cents < 40.0, "{} cents", told.rms_cents);
        assert!(told.rms_cents < alone.rms_cents / 2.0);
    }
    // Measured 17 of 18.
    assert!(within >= 17, "{within} of {of}");
}

/// The pitches of the published half litre kept one by one, as `listen --keep` does: what is said of the rest gets better.
#[test]
fn each_pitch_that_is_kept_makes_the_rest_of_the_published_curve_surer() {
    let assumed = assumed_half_litre();
    let rows = published(SEVENTEEN, "glass_half_litre_A", 500.0, 100.0);
    // As one would pour: empty, then half, then between, and the rest as it comes.
    let first = [500.0, 250.0, 350.0, 150.0];
    let air = |row: &(f64, f64)| 500.0 - row.0;
    let mut order: Vec<(f64, f64)> = Vec::new();
    for wanted in first {
        order.extend(rows.iter().find(|row| (air(row) - wanted).abs() < 1e-9));
    }
    order.extend(rows.iter().filter(|row| !first.contains(&air(row))));
    assert_eq!(order.len(), rows.len());
    let rest = |bottle: &Bottle, kept: usize| {
        let off = |row: &(f64, f64)| {
            let (hz, plus_minus) = predicted(bottle, row.0);
            (cents(hz, row.1), plus_minus)
        };
        let offs: Vec<(f64, f64)> = order[kept..].iter().map(off).collect();
        let count = offs.len() as f64;
        let rms = (offs.iter().map(|(c, _)| c * c).sum::<f64>() / count).sqrt();
        let stated = offs.iter().map(|(_, pm)| pm).sum::<f64>() / count;
        let inside = offs.iter().filter(|(c, pm)| c.abs() <= *pm).count();
        (rms, stated, inside, offs.len())
    };
    println!("kept  rest: rms cents  mean ±  covered");
    let mut all = Vec::new();
    for kept in 0..=12 {
        let told = if kept == 0 {
            rest(&assumed, 0)
        } else {
            let pitches: Vec<Heard> = order[..kept].iter().map(|r| heard(r.0, r.1)).collect();
            rest(&fitted(&assumed, &pitches).bottle, kept)
        };
        println!(
            "{kept:4}       {:6.1}       {:5.1}   {} of {}",
            told.0, told.1, told.2, told.3
        );
        all.push(told);
    }
    // One pitch takes most of the error away, and more do not bring it back; what is stated shrinks and is kept.
    assert!(
        all[1].0 < 0.5 * all[0].0 || all[0].0 < 20.0,
        "{:.1} to {:.1}",
        all[0].0,
        all[1].0
    );
    assert!(
        all[4].0 <= all[1].0 + 3.0,
        "{:.1} to {:.1}",
        all[1].0,
        all[4].0
    );
    assert!(all[4].1 < all[1].1 && all[1].1 < all[0].1);
    let (inside, of) = all[1..]
        .iter()
        .fold((0, 0), |sum, told| (sum.0 + told.2, sum.1 + told.3));
    assert!(inside * 20 >= of * 19, "{inside} of {of}");
}
