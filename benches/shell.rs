//! Speed of a struck bottle: one level, a fill curve, a fill solved for a note.
//!
//! Every number is the best of several rounds, so that other work on the machine does not count.
#![allow(clippy::unwrap_used)]

use std::hint::black_box;
use std::time::Instant;

use ullage::physics::bottle::Bottle;
use ullage::physics::struck::{Struck, StruckSpec};
use ullage::set::read_shelf;
use ullage::units::Frequency;

/// Milliseconds that one call takes: the best of seven.
fn milliseconds<T>(mut call: impl FnMut() -> T) -> f64 {
    (0..7)
        .map(|_| {
            let start = Instant::now();
            black_box(call());
            1e3 * start.elapsed().as_secs_f64()
        })
        .fold(f64::INFINITY, f64::min)
}

fn bottle() -> Bottle {
    let text = "[[bottle]]\nname = \"milk\"\nbody_diameter_mm = 83\nbody_length_mm = 121\nshoulder_length_mm = 60\n\
        height_mm = 214\nmouth_bore_mm = 36\nneck_bore_mm = 36\nmass_g = 314\nlip_wall_mm = 3";
    read_shelf(text).unwrap().kinds.remove(0).bottle
}

fn main() {
    let bottle = bottle();
    let full = bottle.bore().capacity();
    let made_ms = milliseconds(|| Struck::new(&bottle, StruckSpec::default()).unwrap());
    println!("a bottle made ready, n = 2 to 4: {made_ms:.2} ms");
    let struck = Struck::new(&bottle, StruckSpec::default()).unwrap();
    let level_ms = milliseconds(|| struck.modes(full * 0.5).unwrap());
    println!("one level, six partials with Q and level: {level_ms:.2} ms; the aim is 5 ms or less");
    let fill = |i: i32| full * (f64::from(i) / 39.0);
    let curve_ms = milliseconds(|| {
        (0..40)
            .map(|i| struck.pitch(2, fill(i)).unwrap().hz())
            .sum::<f64>()
    });
    println!("fill curve, 40 levels, n = 2: {curve_ms:.2} ms; the aim is 100 ms or less");
    let whole_ms = milliseconds(|| {
        (0..20)
            .map(|i| struck.modes(fill(2 * i)).unwrap().len())
            .sum::<usize>()
    });
    println!("    20 levels with all partials: {whole_ms:.2} ms");
    let solved_ms = milliseconds(|| struck.fill_for(Frequency::from_hz(2093.0)).unwrap());
    println!("a fill solved for a note: {solved_ms:.2} ms");
}
