//! Speed of solving a bottle, inverting a fill, and planning a large shelf: plain lines, as ratios.
//!
//! The reference is the schoolbook formula on the same machine in the same run. Every number is the best of
//! several rounds, so that other work on the machine does not count.
#![allow(clippy::unwrap_used)]

use std::hint::black_box;
use std::time::Instant;

use ullage::physics::air::Room;
use ullage::physics::bottle::Bottle;
use ullage::physics::conditions::Conditions;
use ullage::physics::prediction::{Blown, Prediction, schoolbook_pitch};
use ullage::plan::cost::Weights;
use ullage::plan::problem::{Candidate, Limits, Problem, Target};
use ullage::set::read_shelf;
use ullage::tuning::{NoteName, Tuning};
use ullage::units::{Frequency, Length, Volume};

/// Seconds that one call takes: `calls` in seven hundred rounds, and the best round. A short round is over before a busy
/// machine takes the processor away.
fn seconds<T>(calls: u32, mut call: impl FnMut() -> T) -> f64 {
    let round = |call: &mut dyn FnMut() -> T| {
        let start = Instant::now();
        for _ in 0..calls.div_ceil(100) {
            black_box(call());
        }
        start.elapsed().as_secs_f64() / f64::from(calls.div_ceil(100))
    };
    (0..700)
        .map(|_| round(&mut call))
        .fold(f64::INFINITY, f64::min)
}

fn bottle(keys: &str) -> Bottle {
    let text = format!("[[bottle]]\nname = \"bench\"\n{keys}");
    read_shelf(&text).unwrap().kinds.remove(0).bottle
}

/// A half-litre bottle cut open and measured at forty heights.
fn forty_points() -> Bottle {
    let points: Vec<String> = (0..40)
        .map(|i| {
            let along = f64::from(i) / 39.0;
            let bore = 19.0 + 47.0 / (1.0 + ((along - 0.62) * 22.0).exp());
            format!("[{:.2}, {:.3}]", 240.0 * along, bore)
        })
        .collect();
    bottle(&format!(
        "lip_wall_mm = 4\nprofile_mm = [{}]",
        points.join(", ")
    ))
}

/// A shelf of `kinds` bottles no two of which are alike, from 60 ml to 5 l.
fn shelf(kinds: u32) -> Vec<Candidate> {
    let kind = |index: u32| {
        let along = f64::from(index) / f64::from(kinds);
        let capacity_ml = 60.0 * (5000.0_f64 / 60.0).powf(along);
        let body_mm = 11.0 * capacity_ml.cbrt() * 0.75;
        let keys = format!(
            "capacity_ml = {capacity_ml:.3}\nmouth_bore_mm = {:.3}\nneck_length_mm = {:.3}\nbody_diameter_mm = {body_mm:.3}\nlip_wall_mm = 3",
            16.0 + 10.0 * along,
            25.0 + f64::from(index % 7) * 6.0,
        );
        Candidate {
            name: format!("bottle {index:04}"),
            bottle: bottle(&keys),
            count: 1,
            keep_empty: false,
            fits: Default::default(),
        }
    };
    (0..kinds).map(kind).collect()
}

/// A hundred pitches, half a semitone apart from C3 up.
fn targets() -> Vec<Target> {
    let target = |index: u8| {
        let cents = if index.is_multiple_of(2) { "" } else { "+50c" };
        let name = NoteName::from_midi(48 + index / 2);
        let note: NoteName = format!("{name}{cents}").parse().unwrap();
        let pitch = Tuning::default().frequency(&note);
        Target { note, pitch }
    };
    (0..100).map(target).collect()
}

/// Processor seconds of this program so far, on all cores; nothing where there is no `/proc`.
fn processor_s() -> Option<f64> {
    let text = std::fs::read_to_string("/proc/self/stat").ok()?;
    // Behind the name in brackets: user and system time are the 12th and 13th, in hundredths.
    let behind = text.rsplit(')').next()?;
    let ticks = behind.split_whitespace().skip(11).take(2);
    Some(ticks.filter_map(|t| t.parse::<f64>().ok()).sum::<f64>() / 100.0)
}

fn main() {
    let conditions = Conditions::default();
    let gas = Room::default().gas().unwrap();
    let (radius, neck) = (Length::from_mm(9.5), Length::from_mm(80.0));
    let mut air_ml = 300.0;
    let schoolbook_s = seconds(1_000_000, || {
        air_ml = if air_ml > 400.0 { 300.0 } else { air_ml + 1e-3 };
        schoolbook_pitch(gas, black_box(radius), neck, Volume::from_ml(air_ml))
    });
    println!(
        "schoolbook formula (reference): {:.1} ns",
        1e9 * schoolbook_s
    );

    let report = |what: &str, s: f64, limit_us: f64| {
        println!(
            "{what}: {:.2} µs, {:.0} times the reference; the aim is {limit_us} µs or less",
            1e6 * s,
            s / schoolbook_s
        );
    };
    for (what, bottle) in [
        ("pitch and Q, 40-point profile", forty_points()),
        (
            "pitch and Q, a few dimensions",
            bottle(
                "capacity_ml = 500\nmouth_bore_mm = 19\nneck_length_mm = 60\nbody_diameter_mm = 66",
            ),
        ),
    ] {
        let blown = Blown::new(&bottle, &conditions).unwrap();
        let mut fill_ml = 100.0;
        let solve_s = seconds(2_000, || {
            fill_ml = if fill_ml > 200.0 {
                100.0
            } else {
                fill_ml + 0.05
            };
            blown.fundamental(Volume::from_ml(fill_ml))
        });
        report(what, solve_s, 20.0);
        let mut hz = 230.0;
        let invert_s = seconds(200, || {
            hz = if hz > 300.0 { 230.0 } else { hz + 0.3 };
            blown.fill_for(Frequency::from_hz(hz))
        });
        report("    fill inverted", invert_s, 200.0);
        let whole_s = seconds(20, || {
            Prediction::new(&bottle, Volume::from_ml(150.0), &conditions)
        });
        println!(
            "    whole prediction with its uncertainty: {:.0} µs",
            1e6 * whole_s
        );
    }

    let (shelf, targets) = (shelf(1_000), targets());
    let before_s = processor_s();
    let started = Instant::now();
    let problem = Problem::new(shelf, &conditions, Limits::default(), &|| ()).unwrap();
    let surveyed_s = started.elapsed().as_secs_f64();
    let assignment = problem.assign(&targets, &[], &Weights::default()).unwrap();
    let assigned_s = started.elapsed().as_secs_f64();
    let plan = problem.pour(&assignment);
    let planned_s = started.elapsed().as_secs_f64();
    println!(
        "plan of 1,000 unlike bottles and 100 notes: {planned_s:.3} s, {:.0} times the reference; the aim is 1 s or less \
         ({} placed; curves {surveyed_s:.3} s, assignment {:.3} s, fills {:.3} s)",
        planned_s / schoolbook_s,
        plan.pours.len(),
        assigned_s - surveyed_s,
        planned_s - assigned_s,
    );
    if let (Some(before_s), Some(after_s)) = (before_s, processor_s()) {
        println!(
            "    processor time on all cores: {:.2} s",
            after_s - before_s
        );
    }
}
