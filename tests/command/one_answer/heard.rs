//! A bottle that is listened to, by the command and by the tuner.

use ullage::index::PourIndex;
use ullage::listen::strike::Strike;
use ullage::listen::taps::Partial;
use ullage::set::read_set;
use ullage::sounding::{Setting, Sounded};
use ullage::tuner::aims::aims;
use ullage::tuner::{Advice, AimAt, Judge, ListenFor, Meant};
use ullage::units::{Duration, Interval, Volume};

use super::poured::{POURED, Warm, swollen};
use super::sound::{blown, recording};
use super::*;

#[test]
fn listen_aims_in_a_warm_room_at_what_was_poured_in_a_cool_one() {
    let warm = Warm::new();
    let cool = json(&["compare", text(&warm.set), "--after", "temp-c=40"]);
    for (n, note) in ["A#3", "D3"].into_iter().enumerate() {
        let (_folder, wav) = recording(&blown(warm.hz[n]));
        let args = ["listen", text(&wav), "--set", text(&warm.set)];
        let told = json(&[&args[..], &["--note", note, "--temp-c", "40"]].concat());
        let moved = told["room_cents"].as_f64().unwrap();
        let expected = of_note(&cool["bottles"], note, "cents");
        assert!(
            (moved - expected).abs() < SAME_CENTS,
            "{note}: {moved} and {expected} cents"
        );
    }
}

#[test]
fn what_is_kept_of_a_warm_bottle_is_the_volume_that_it_has_now() {
    let warm = Warm::new();
    let (_folder, wav) = recording(&blown(warm.hz[0]));
    let args = ["listen", text(&wav), "--set", text(&warm.set)];
    json(&[&args[..], &["--note", "A#3", "--temp-c", "40", "--keep"]].concat());
    let kept = read_set(&std::fs::read_to_string(&warm.set).unwrap()).unwrap();
    let heard = &kept.kinds[0].heard;
    assert_eq!((heard.len(), heard[0].temp_c), (1, Some(40.0)));
    let now_ml = swollen(warm.cool_ml[0]);
    // Kept to a hundredth of a millilitre.
    let off_ml = heard[0].fill.ml() - now_ml;
    assert!(
        off_ml.abs() < 0.02,
        "{:.2} ml kept, {now_ml:.2} in it",
        heard[0].fill.ml()
    );
}

/// [`POURED`] with its third bottle struck with wood high up: more than one half wave stands on its wall then.
fn struck_high_up() -> String {
    let (_, bottles) = POURED.split_once("doublet_pct = 0\n").unwrap();
    let strike = "[striking]\nmallet = \"wood\"\nheight_mm = 150\ndoublet_pct = 0\n";
    strike.to_owned() + &bottles.replace("D#6", "A#7")
}

/// Every partial of a bottle that is tapped, heard well.
fn strike_of(sounded: &Sounded) -> Strike {
    let partial = |mode: &ullage::physics::struck::ShellMode| Partial {
        frequency: mode.frequency,
        plus_minus: Interval::from_cents(0.5),
        murk: Interval::default(),
        level: mode.level,
        t60: Duration::from_s(1.0),
        quality: mode.quality,
        doublet: None,
    };
    Strike {
        taps: 3,
        partials: sounded.modes().iter().map(partial).collect(),
    }
}

#[test]
fn what_is_said_of_a_struck_bottle_is_of_the_partial_that_is_its_note() {
    let set = read_set(&struck_high_up()).unwrap();
    let pour = &set.pours[2];
    let poured = set.sounded_pour(pour).unwrap();
    let note = poured.mode().unwrap();
    assert!(note.m > 1, "n {} m {}", note.n, note.m);
    // Ten millilitres more were poured, and somebody knows.
    let more = poured.fill + Volume::from_ml(10.0);
    let source = set.source(pour);
    let heard = source.set_to(poured.target, Setting::Fill(more)).unwrap();
    let listen_for = ListenFor {
        aim: AimAt::Pitch(poured.frequency()),
        fill: Some(more),
        ..ListenFor::new(Meant::Pours(vec![PourIndex::new(2)]))
    };
    let judge = Judge::new(set.clone(), &listen_for);
    let verdict = judge.of_strike(&strike_of(&heard)).unwrap();
    assert_eq!(verdict.frequency, heard.frequency());
    let Ok(Advice::Pour(told)) = &verdict.advice else {
        panic!("{verdict:?}");
    };
    assert!((told.add.ml() + 10.0).abs() < 0.1, "{told:?}");
    // And by its slope: half the way's bend.
    let by_slope_ml = -verdict.off.cents() / poured.per_unit.cents();
    assert!((by_slope_ml + 10.0).abs() < 1.5, "{by_slope_ml} ml");
    // It holds what it is heard to hold.
    let seems_ml = verdict.seems.unwrap().value();
    assert!((seems_ml - more.ml()).abs() < 0.1, "{seems_ml} ml");
}

#[test]
fn the_room_moves_the_aim_of_every_bottle_by_as_much_as_its_pitch() {
    let mut ways = std::collections::BTreeSet::new();
    for name in ["quay", "struck", "plastic", "slide", "pair"] {
        let set = ullage::set::open(format!("presets/{name}/set.toml")).unwrap();
        let warm = set.clone().heard_in(set.conditions.warmed_by_k(20.0));
        let aims = aims(&warm, AimAt::MovedNote);
        let pitches = set
            .sounded()
            .unwrap()
            .into_iter()
            .zip(warm.sounded().unwrap());
        for ((pour, aim), (then, now)) in set.pours.iter().zip(aims).zip(pitches) {
            let moved = now.frequency().interval_above(then.frequency()).cents();
            let off = aim.moved().cents() - moved;
            assert!(
                off.abs() < 1e-6,
                "{name} {}: {off} of {moved} cents",
                pour.note
            );
            assert_eq!(aim.planned, set.target(pour));
            ways.insert(pour.way);
        }
    }
    assert_eq!(ways.len(), 5, "{ways:?}");
}

#[cfg(feature = "window")]
mod beside_the_tuner {
    use std::path::Path;

    use ullage::app::Document;

    use super::super::sound::tapped;
    use super::super::window::{in_room, tuner};
    use super::*;
    use crate::common::command::ullage;

    /// What `listen` prints.
    fn told(args: &[&str]) -> String {
        let run = ullage(&[&["listen"][..], args].concat());
        run.out + &run.err
    }

    /// The row of a note, as `predict` has it of a set.
    fn predicted(set: &str, place: usize, temp_c: &str) -> Value {
        let told = json(&["predict", set, "--temp-c", temp_c]);
        told["predictions"][place].clone()
    }

    #[test]
    fn a_struck_bottle_is_listened_to_as_the_set_strikes_it() {
        let (_, bottles) = POURED.split_once("doublet_pct = 0\n").unwrap();
        // Wood halfway up the body, which nobody need say, makes another partial the strongest than either of these.
        for (mallet, height_mm, note) in [("metal", 89, "C8"), ("wood", 150, "A#7")] {
            let strike =
                format!("mallet = \"{mallet}\"\nheight_mm = {height_mm}\ndoublet_pct = 0\n");
            let struck = "[striking]\n".to_owned() + &strike + &bottles.replace("D#6", note);
            let (_folder, set) = file("set.toml", struck);
            let row = predicted(text(&set), 2, "20");
            let wood = ["--mallet", "wood", "--strike-mm", "89"];
            let usual = json(&[&["predict", text(&set)][..], &wood].concat());
            let usual = usual["predictions"][2].clone();
            let (hz, apart) = (first_hz(&row), cents(first_hz(&row), first_hz(&usual)));
            assert!(apart.abs() > 100.0, "{row}");
            let sound = tapped(&row);
            let heard = tuner(Document::open(&set).unwrap(), note, &sound);
            assert!(cents(heard.frequency.hz(), hz).abs() < 1.0, "{heard:?}");
            let (_folder, wav) = recording(&sound);
            let told = json(&["listen", text(&wav), "--set", text(&set), "--note", note]);
            let off = cents(told["hz"].as_f64().unwrap(), hz);
            assert!(
                off.abs() < 1.0,
                "{mallet}: {off:+.0} cents from the note of the set, {hz} Hz: {told}"
            );
        }
    }

    /// A wall does not feel the room, and is tapped.
    #[test]
    fn a_pumped_bottle_aims_in_a_warm_room_at_what_is_predicted_there() {
        let set = "presets/plastic/set.toml";
        let row = predicted(set, 0, "35");
        let hz = first_hz(&row);
        let sound = tapped(&row);
        let heard = tuner(in_room(Path::new(set), 35.0), "E5", &sound);
        assert!(
            cents(heard.aim.hz(), hz).abs() < 1.0 && heard.in_tune,
            "{heard:?}"
        );
        let (_folder, wav) = recording(&sound);
        let args = ["listen", text(&wav), "--set", set, "--note", "E5"];
        let told = json(&[&args[..], &["--way", "struck", "--temp-c", "35"]].concat());
        let aim = cents(told["target_hz"].as_f64().unwrap(), hz);
        assert!(
            aim.abs() < 1.0,
            "it aims {aim:+.1} cents from what is predicted: {told}"
        );
        let off = told["cents"].as_f64().unwrap();
        assert!(
            off.abs() < 1.0,
            "{off:+.1} cents off what it is to be: {told}"
        );
    }

    #[test]
    fn what_is_tuned_by_no_liquid_is_told_the_same_by_listen_as_by_the_tuner() {
        for (set, place, note) in [("plastic", 0, "E5"), ("slide", 3, "C4"), ("pair", 0, "A3")] {
            let set = format!("presets/{set}/set.toml");
            let row = predicted(&set, place, "35");
            // 20 cents sharp of what it gives in that room.
            let sharp = 2f64.powf(20.0 / 1200.0);
            let sound = match row["partials"].as_array() {
                Some(_) => tapped(&sharper(&row, sharp)),
                None => blown(sharp * first_hz(&row)),
            };
            let heard = tuner(in_room(Path::new(&set), 35.0), note, &sound);
            let off = heard.off.cents();
            assert!((off - 20.0).abs() < 1.0, "{set}: {off} {heard:?}");
            let to_do = heard.to_do();
            let (what, _) = to_do.split_once(" ±").unwrap();
            let (_folder, wav) = recording(&sound);
            let args = [text(&wav), "--set", &set, "--temp-c", "35", "--note", note];
            let said = told(&args);
            assert!(
                said.contains(what),
                "{set}: the tuner says {what:?}, and listen\n{said}"
            );
        }
    }

    /// What is in it has swollen and grown lighter.
    #[test]
    fn a_struck_bottle_aims_in_a_warm_room_at_what_is_predicted_there() {
        let (_folder, set) = file("set.toml", POURED);
        let [cool, warm] = ["20", "40"].map(|temp_c| predicted(text(&set), 2, temp_c));
        let moved = cents(first_hz(&warm), first_hz(&cool));
        assert!(
            moved < -10.0 * SAME_CENTS,
            "nobody passes by moving nothing: {moved} cents"
        );
        let sound = tapped(&warm);
        let heard = tuner(in_room(&set, 40.0), "D#6", &sound);
        let (_folder, wav) = recording(&sound);
        let args = ["listen", text(&wav), "--set", text(&set), "--note", "D#6"];
        let told = json(&[&args[..], &["--temp-c", "40"]].concat());
        let note_hz = read_set(POURED)
            .unwrap()
            .tuning
            .frequency(&"D#6".parse().unwrap())
            .hz();
        let aims = [heard.aim.hz(), told["target_hz"].as_f64().unwrap()];
        for (who, hz) in ["the tuner", "listen"].into_iter().zip(aims) {
            let off = cents(hz, note_hz) - moved;
            assert!(
                off.abs() < SAME_CENTS,
                "{who}: {off:+.3} of {moved:+.3} cents"
            );
        }
    }

    fn sharper(row: &Value, times: f64) -> Value {
        let mut row = row.clone();
        for partial in row["partials"].as_array_mut().unwrap() {
            partial["hz"] = (times * partial["hz"].as_f64().unwrap()).into();
        }
        row
    }

    #[test]
    fn a_walk_says_nothing_of_liquid_where_a_floor_slides() {
        let set = "presets/slide/set.toml";
        let hz = first_hz(&predicted(set, 3, "35"));
        let (_folder, wav) = recording(&blown(hz * 2f64.powf(20.0 / 1200.0)));
        let said = told(&[text(&wav), "--set", set, "--temp-c", "35", "--walk"]);
        assert!(said.contains("pull the floor out by"), "{said}");
        assert!(!said.contains(" ml ("), "{said}");
    }
}
