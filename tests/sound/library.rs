//! The library as a stranger uses it: a set opened, put on the stage, played to a file or into memory, and refused with
//! errors that say what is wrong.

use std::error::Error;
use std::ops::ControlFlow;

use ullage::file::piece;
use ullage::file::wav::{Bits, read_wav};
use ullage::plan::fit::Hands;
use ullage::set;
use ullage::stage::{
    PieceSpec, PlayError, Quantity, RenderError, SharingSpec, Stage, StageError, StemsBy,
};
use ullage::units::{Pressure, SampleRate};

use crate::common::command::ullage;
use crate::common::files::arg;

const SET: &str = "presets/quay/set.toml";
const PIECE: &str = "presets/quay/piece.mid";

fn bars(to: u64) -> PieceSpec {
    PieceSpec {
        to_bar: Some(to),
        ..PieceSpec::default()
    }
}

#[test]
fn four_lines_render_a_piece_and_the_command_renders_the_same() -> Result<(), Box<dyn Error>> {
    let folder = tempfile::tempdir()?;
    let (ours, theirs) = (folder.path().join("a.wav"), folder.path().join("b.wav"));

    let set = set::open(SET)?;
    for pour in set.sounded()? {
        assert!(pour.error().cents().abs() < 1.0 && pour.plus_minus().cents() > 0.0);
    }
    let stage = Stage::new(&set)?;
    let piece = piece::open(PIECE)?;
    let mastered = stage.render(&stage.programme(&piece)).dry().to_wav(&ours)?;

    assert!(mastered.lufs_after.is_some() && mastered.frames > 48_000 * 30);
    let args = ["audition", SET, "--piece", PIECE, "--dry", "--out"];
    ullage(&[&args[..], &[arg(&theirs)]].concat()).ended(0);
    assert!(std::fs::read(&ours)? == std::fs::read(&theirs)?);
    Ok(())
}

#[test]
fn a_file_is_kept_without_overwrite_and_a_rendering_that_is_stopped_leaves_none()
-> Result<(), Box<dyn Error>> {
    let folder = tempfile::tempdir()?;
    let path = folder.path().join("a.wav");
    let stage = Stage::new(&set::open(SET)?)?;
    let first_bar = stage.programme_of(&piece::open(PIECE)?, &bars(1))?;
    let rendering = || {
        let rate = SampleRate::from_hz(8_000.0);
        stage.render(&first_bar).dry().rate(rate)
    };

    let mut seen = Vec::new();
    let stopped = rendering()
        .watched(|progress| {
            seen.push(progress.done_frames);
            match seen.len() {
                3 => ControlFlow::Break(()),
                _ => ControlFlow::Continue(()),
            }
        })
        .to_wav(&path);
    assert!(matches!(
        stopped,
        Err(RenderError::Stopped {
            done_frames: 3_072,
            ..
        })
    ));
    assert_eq!(seen, [1_024, 2_048, 3_072]);
    assert_eq!(std::fs::read_dir(folder.path())?.count(), 0);

    rendering().to_wav(&path)?;
    let first = std::fs::read(&path)?;
    let again = rendering().seed(2).to_wav(&path);
    assert!(matches!(again, Err(RenderError::File { .. })));
    assert!(std::fs::read(&path)? == first);
    rendering().seed(2).overwrite().to_wav(&path)?;
    assert!(std::fs::read(&path)? != first);
    Ok(())
}

#[test]
fn stems_add_up_to_the_samples_in_memory_at_the_gain_of_the_file() -> Result<(), Box<dyn Error>> {
    let folder = tempfile::tempdir()?;
    let stems = folder.path().join("stems");
    let stage = Stage::new(&set::open(SET)?)?;
    let two_bars = stage.programme_of(&piece::open(PIECE)?, &bars(2))?;
    let rendering = || {
        let rate = SampleRate::from_hz(8_000.0);
        stage.render(&two_bars).dry().rate(rate).bits(Bits::Float32)
    };
    let mastered = rendering()
        .stems(&stems, StemsBy::Player)
        .to_wav(folder.path().join("mix.wav"))?;
    let samples = rendering().to_samples()?;
    assert_eq!(samples.left.len() as u64, mastered.frames);

    let mut sum = vec![0.0f64; 2 * samples.left.len()];
    let mut files = 0;
    for stem in std::fs::read_dir(&stems)? {
        let wav = read_wav(&stem?.path())?;
        for (sum, sample) in sum.iter_mut().zip(&wav.samples) {
            *sum += f64::from(*sample);
        }
        files += 1;
    }
    assert!(files > 1, "{files} players");
    let gain = 10f64.powf(mastered.gain_db / 20.0);
    let both = samples.left.iter().zip(&samples.right);
    let both = both.flat_map(|(left, right)| [*left, *right]);
    for (sum, sample) in sum.iter().zip(both) {
        // A few roundings of 32-bit floats near full scale.
        assert!((sum - gain * f64::from(sample)).abs() < 1e-5);
    }
    Ok(())
}

#[test]
fn what_cannot_be_is_refused_with_its_value_and_its_limits() -> Result<(), Box<dyn Error>> {
    let set = set::open(SET)?;
    let stage = Stage::new(&set)?;
    let piece = piece::open(PIECE)?;
    let error = |spec: PieceSpec| stage.programme_of(&piece, &spec).unwrap_err();

    let tempo = error(PieceSpec {
        tempo_pct: f64::NAN,
        ..PieceSpec::default()
    });
    assert!(matches!(tempo, PlayError::OutOfRange(e)
        if e.quantity == Quantity::Tempo && (e.min, e.max) == (25.0, 400.0)));
    let (first, last, count) = (1, 25, 24);
    assert_eq!(error(bars(25)), PlayError::Bars { first, last, count });
    let track = error(PieceSpec {
        tracks: vec!["brass".into()],
        ..PieceSpec::default()
    });
    assert!(matches!(track, PlayError::NoTrack { tracks, .. } if tracks.len() > 1));
    let solo = error(PieceSpec {
        solo: vec!["C#4".into()],
        ..PieceSpec::default()
    });
    assert!(matches!(solo, PlayError::NoBottle { notes, .. } if notes.len() == 15));

    let refused = stage.clone().with_breath(1.0).unwrap_err();
    assert_eq!(
        (refused.value, refused.min, refused.max),
        (1.0, 1.1, 6.0),
        "{refused}"
    );
    let spec = SharingSpec {
        change_s: 61.0,
        ..SharingSpec::default()
    };
    assert_eq!(spec.check().unwrap_err().quantity, Quantity::Change);
    assert_eq!(SharingSpec::default().hands(), Hands::default());

    // The performance of a larger set.
    let few = Stage::new(&set::open("presets/gases/set.toml")?)?;
    let others = few.render(&stage.programme(&piece)).to_samples();
    assert!(matches!(
        others,
        Err(RenderError::NotOnStage { pours: 3, .. })
    ));
    // In no air that the models know.
    let mut thin = set.conditions.clone();
    thin.room.pressure = Pressure::from_kpa(1.0);
    let silent = Stage::new(&set.heard_in(thin));
    assert!(matches!(silent, Err(StageError::Silent(_))));
    Ok(())
}

#[test]
fn what_was_poured_swells_when_the_room_warms() -> Result<(), Box<dyn Error>> {
    let set = set::open(SET)?;
    let warmer = set.conditions.warmed_by_k(5.0);
    let drift = Stage::new(&set)?.drift(warmer.clone()).unwrap();
    let there = Stage::new(&set.clone().heard_in(warmer))?;
    let here = Stage::new(&set)?;
    let both = there.sounded().iter().zip(here.sounded());
    let moved: f64 = both
        .map(|(a, b)| a.frequency().interval_above(b.frequency()).cents())
        .sum();
    let mean = moved / there.sounded().len() as f64;
    assert!((drift.common_cents - mean).abs() < 1e-6, "{drift:?}");
    Ok(())
}
