//! The measuring half of `.ci/window_rig.sh`: keys pressed on a real window, heard through a real sound server.
//!
//! Ignored unless asked for: it needs a display and a server that run. The script starts them and sets the variables.

use std::process::Command;
use std::time::{Duration, Instant};

use crate::common::measure::{cents, pitch_hz, rms};
use crate::jack::{Ear, Key, recording, variable};

/// The script holds the key for `RIG_HELD_S` at least, in a recording that goes on for a second after.
#[test]
#[ignore = "run by .ci/window_rig.sh"]
fn a_held_key_is_one_note_at_the_planned_pitch_that_rings_down_when_it_is_let_go() {
    let heard = recording();
    let (sound, rate_hz, onset) = (&heard.sound, heard.rate_hz, heard.onset);
    let held_s: f64 = variable("RIG_HELD_S").parse().unwrap();
    let at = |seconds: f64| (seconds * rate_hz) as usize;
    let held = &sound[onset + at(0.4)..onset + at(held_s - 0.2)];
    let heard_hz = pitch_hz(held, rate_hz, heard.planned_hz);
    let off_cents = cents(heard_hz, heard.planned_hz);
    println!("heard {heard_hz:.3} Hz, {off_cents:+.2} cents off");
    // Every breath has a pitch of its own, 8 cents (rms) from the bottle's, and wanders: three of those. A wrong rate is 147 off.
    assert!(off_cents.abs() < 25.0, "{off_cents} cents");
    // A repeat would tongue the note anew: a puff every 40 ms, which is a level that jumps.
    let levels: Vec<f64> = held.chunks(at(0.02)).map(rms).collect();
    let mean = levels.iter().sum::<f64>() / levels.len() as f64;
    let widest = levels
        .iter()
        .map(|level| (level / mean - 1.0).abs())
        .fold(0.0, f64::max);
    println!("the level wanders by {:.1} %", 100.0 * widest);
    assert!(widest < 0.25, "the level jumps by {:.0} %", 100.0 * widest);
    let step = at(0.02);
    let loud = sound
        .chunks(step)
        .rposition(|chunk| rms(chunk) > 0.5 * mean)
        .unwrap();
    let end = (loud + 1) * step;
    let lasted_s = (end - onset) as f64 / rate_hz;
    let after = |from_s: f64| {
        let from = end + at(from_s);
        20.0 * (rms(sound
            .get(from..from + at(0.1))
            .expect("the recording goes on"))
            / mean)
            .log10()
    };
    let fall = [0.0, 0.1, 0.2, 0.4, 0.6].map(after);
    println!("sounded for {lasted_s:.2} s, then fell: {fall:.0?} dB");
    assert!(lasted_s > held_s - 0.2, "{lasted_s} s");
    // A Q of 30 at 440 Hz falls by 400 dB a second; what is left is the breath, which stops too.
    assert!(fall[3] < -40.0, "{fall:?} dB");
}

#[test]
#[ignore = "run by .ci/window_rig.sh"]
fn time_from_the_keyboard_to_the_sample() {
    let ear = Ear::new();
    let key = variable("RIG_KEY");
    let xdotool = |what: &str| Command::new("xdotool").args([what, &key]).status().unwrap();
    // What it costs to start the tool that presses, without a press.
    let mut starts_ms: Vec<f64> = (0..8)
        .map(|_| {
            let since = Instant::now();
            Command::new("xdotool")
                .arg("getmouselocation")
                .output()
                .unwrap();
            1000.0 * since.elapsed().as_secs_f64()
        })
        .collect();
    starts_ms.sort_by(f64::total_cmp);
    let delays_ms = ear.delays_ms(Duration::from_secs(2), |to| {
        xdotool(match to {
            Key::Down => "keydown",
            Key::Up => "keyup",
        });
    });
    let (least, median, most) = (delays_ms[0], delays_ms[6], delays_ms[11]);
    println!(
        "key to sample: median {median:.1} ms, {least:.1} to {most:.1} ms; of that the tool that presses: {:.1} ms",
        starts_ms[4]
    );
    // The quickest, since a busy machine makes the rest wait: two periods, the ceiling, and a frame being drawn.
    assert!(least - starts_ms[0] < 50.0, "{least} ms");
}
