//! The measuring half of `.ci/live_rig.sh`: what was recorded from a sound server, and how long a key takes.
//!
//! Ignored unless asked for: it needs a server that runs. The script starts one and sets the variables.

use std::thread::sleep;
use std::time::Duration;

use crate::common::measure::{cents, pitch_hz};
use crate::jack::{Ear, Key, recording, variable};

#[test]
#[ignore = "run by .ci/live_rig.sh"]
fn pitch_of_a_recording_is_the_planned_one() {
    let heard = recording();
    let (sound, rate_hz, onset) = (&heard.sound, heard.rate_hz, heard.onset);
    // The middle of the note: the attack is over after 0.3 s, and it is held for more than 2 s.
    let from = onset + (0.4 * rate_hz) as usize;
    let to = (from + (1.2 * rate_hz) as usize).min(sound.len());
    let held = &sound[from..to];
    assert!(
        held.len() as f64 > 0.8 * rate_hz,
        "only {} frames",
        held.len()
    );
    let gaps = held
        .windows(64)
        .step_by(64)
        .filter(|w| w.iter().all(|s| *s == 0.0))
        .count();
    let heard_hz = pitch_hz(held, rate_hz, heard.planned_hz);
    let off_cents = cents(heard_hz, heard.planned_hz);
    println!("heard {heard_hz:.3} Hz, {off_cents:+.2} cents off, {gaps} gaps");
    // Every breath has a pitch of its own, 8 cents (rms) from the bottle's, and wanders: three of those. A wrong rate is 147 off.
    assert!(off_cents.abs() < 25.0, "{off_cents} cents");
    assert_eq!(gaps, 0, "stretches of silence inside the note");
}

#[test]
#[ignore = "run by .ci/live_rig.sh"]
fn time_from_key_to_sample_is_two_periods_and_the_ceiling() {
    let ear = Ear::new();
    let midi = midir::MidiOutput::new("rigkeys").unwrap();
    let wanted = variable("RIG_MIDI");
    let ports = midi.ports();
    let port = ports
        .iter()
        .find(|p| midi.port_name(p).is_ok_and(|name| name == wanted));
    let mut keys = midi.connect(port.unwrap(), "out").unwrap();
    sleep(Duration::from_millis(300));
    // Whoever played before may have gone in the middle of a note.
    keys.send(&[0xB0, 123, 0]).unwrap();
    let key: u8 = variable("RIG_KEY").parse().unwrap();
    let delays_ms = ear.delays_ms(Duration::from_secs(1), |to| {
        let message = match to {
            Key::Down => [0x90, key, 110],
            Key::Up => [0x80, key, 0],
        };
        keys.send(&message).unwrap();
    });
    let (least, median, most) = (delays_ms[0], delays_ms[6], delays_ms[11]);
    println!("key to sample: median {median:.1} ms, {least:.1} to {most:.1} ms");
    // 10 ms and the card's own buffer of 256 frames (5.3 ms) out, and as much for the way in that the measuring adds.
    assert!(median < 10.0 + 2.0 * 5.34, "{median} ms");
}
