//! `ullage audition`: hear a set before anything is poured.

mod args;
mod report;
mod words;

use std::ops::ControlFlow;
use std::path::Path;

use indicatif::{ProgressBar, ProgressStyle};

pub(super) use words::not_played;

pub use args::Audition;
use args::{BalanceArg, BitsArg, PieceOptions, StemsBy};

use super::Failure;
use super::{compare, inputs, piece_file};
use crate::cli::print::{print, print_json, say};
use crate::cli::rows::none_stuck;
use crate::file::master::Mastered;
use crate::file::wav::Bits;
use crate::physics::reverberation::Listening;
use crate::plan::spelling::{key_of, moved};
use crate::plan::together::Drift;
use crate::set::Set;
use crate::stage::{
    self, Harmony, Performance, PieceSpec, Progress, Quantity, RenderSpec, Rendering, Stage,
    TwoStates,
};
use crate::synth::{Balance, RoomSpec};
use crate::tuning::Key;
use crate::units::{Level, SampleRate};

/// How far the room warms for the drift that is reported, K.
const WARMER_K: f64 = 5.0;
/// Share of warm breath in the necks of bottles that are played.
const PLAYED_NECK: f64 = 0.5;

/// A set that is worked out, and what is played of it.
struct WorkedOut {
    stage: Stage,
    harmony: Harmony,
    performance: Performance,
    /// If the room warms, and if breath warms the necks.
    drifts: [Option<Drift>; 2],
    /// The key of the piece, or that of the set.
    key: Key,
}

/// Refuses a name that promises another kind of sound file than is written.
fn check_name(out: &Path) -> Result<(), Failure> {
    let ending = out.extension().and_then(|e| e.to_str());
    let ending = ending.map(str::to_lowercase);
    match ending.as_deref() {
        Some(
            other @ ("mp3" | "flac" | "ogg" | "opus" | "m4a" | "aac" | "aif" | "aiff" | "wma"),
        ) => {
            let because = format!("what is written is WAV, and .{other} is something else");
            let wav = out.with_extension("wav");
            Err(Failure::bad(format!("write {}", out.display()), because)
                .or_try(format!("--out {}", wav.display())))
        }
        _ => Ok(()),
    }
}

pub(super) fn run(args: &Audition) -> Result<(), Failure> {
    let outside = |error| Failure::outside("render", error);
    Quantity::Breath.check(args.breath).map_err(outside)?;
    spec(args, Listening::default()).check().map_err(outside)?;
    check_name(&args.out)?;
    let mut set = inputs::heard_set(&args.file, &args.room)?;
    set.listening = args.listening.over(set.listening)?;
    let set = args.piece.key.over(set);
    let spec = spec(args, set.listening);
    if set.pours.is_empty() {
        return Err(Failure::bad(
            format!("hear {}", args.file.display()),
            "there is no [[pour]] in it",
        )
        .or_try("add [[pour]] with a note and a bottle"));
    }
    if args.two.is_asked() {
        return two(&set, args, spec);
    }
    let stage = Stage::new(&set)?
        .with_breath(args.breath)
        .map_err(outside)?;
    let harmony = stage.harmony();
    let (performance, key) = match &args.piece.piece {
        Some(path) => piece(&stage, args, path)?,
        None => (stage.audition_of(&harmony), set.key()),
    };
    let conditions = &set.conditions;
    let others = [
        conditions.warmed_by_k(WARMER_K),
        conditions.with_breath_in_neck(PLAYED_NECK),
    ];
    let heard = WorkedOut {
        drifts: others.map(|other| stage.drift(other)),
        stage,
        harmony,
        performance,
        key,
    };
    let mastered = render(heard.stage.render(&heard.performance).with(spec), args)?;
    if args.json {
        print_json(&report::json(&heard, args, &mastered))
    } else {
        print(&report::text(&heard, args, &mastered))
    }
}

/// A piece on the set; what it lacks is said on standard error.
fn piece(stage: &Stage, args: &Audition, path: &Path) -> Result<(Performance, Key), Failure> {
    let opened = piece_file::opened(path, args.piece.broken)?;
    let performance = stage
        .programme_of(&opened, &piece_spec(&args.piece, args.seed))
        .map_err(|error| not_played(path, error))?;
    let key = key_of(&moved(&opened.score, stage.set().transpose));
    if !performance.missing.is_empty() {
        let how = match args.piece.others && args.piece.track.is_empty() {
            true => "sounded as plain tones",
            false => "left silent",
        };
        say!(
            "warning: notes of {} without a bottle are {how}\n{}",
            path.display(),
            args.names
                .speller(key)
                .text(&words::lacking(&performance.missing))
        );
    }
    Ok((performance, key))
}

/// Renders and reports two conditions.
fn two(set: &Set, args: &Audition, spec: RenderSpec) -> Result<(), Failure> {
    if args.piece.piece.is_some() || args.piece.stems.is_some() {
        return Err(Failure::bad(
            "hear two conditions",
            "--before and --after are heard with the bottles in turn, not with a piece or in stems",
        )
        .or_try(
            "render the piece twice, with the room options of each: --temp-c, --gas and the others",
        ));
    }
    let (before, after) = args.two.over(&set.conditions)?;
    let compared = compare::report(set, &before, &after);
    let what = format!("hear every bottle of {}", args.file.display());
    none_stuck(
        &compared.unplaced,
        what,
        "choose conditions that they sound in",
    )?;
    let stage = Stage::new(set)?
        .with_breath(args.breath)
        .map_err(|error| Failure::outside("render", error))?;
    let both = TwoStates::new(&stage, before, after)?;
    let performance = both.programme();
    let mastered = render(both.render(&performance).with(spec), args)?;
    report::two(&compared, &performance, args, &mastered)
}

/// Renders as the options say, with a bar on a terminal and nothing in a pipe.
fn render(rendering: Rendering<'_>, args: &Audition) -> Result<Mastered, Failure> {
    let bar = ProgressBar::new(0);
    bar.set_style(
        ProgressStyle::with_template("rendering {bar:40} {percent}%")
            .expect("the template is well formed"),
    );
    let shown = bar.clone();
    let mut rendering = rendering.watched(move |progress: Progress| {
        shown.set_length(progress.frames);
        shown.set_position(progress.done_frames);
        if progress.done_frames == progress.frames {
            shown.finish_and_clear();
        }
        ControlFlow::Continue(())
    });
    if args.force {
        rendering = rendering.overwrite();
    }
    if let Some(folder) = &args.piece.stems {
        rendering = rendering.stems(folder, args.piece.stems_by.into());
    }
    rendering
        .to_wav(&args.out)
        .map_err(|error| words::not_rendered(&args.out, error))
}

/// The rendering that the options describe.
fn spec(args: &Audition, listening: Listening) -> RenderSpec {
    RenderSpec {
        rate: SampleRate::from_hz(f64::from(args.rate_hz)),
        bits: args.bits.into(),
        balance: args.balance.into(),
        room: (!args.dry).then(|| RoomSpec::from(listening)),
        click: args.piece.click,
        seed: args.seed,
        steady: args.steady,
        lufs: args.lufs,
        level: Level::from_db(args.level_db),
        ..RenderSpec::default()
    }
}

fn piece_spec(options: &PieceOptions, seed: u64) -> PieceSpec {
    PieceSpec {
        tempo_pct: options.tempo_pct,
        from_bar: options.from_bar,
        to_bar: options.to_bar,
        tracks: options.track.clone(),
        solo: options.solo.clone(),
        mute: options.mute.clone(),
        others: options.others,
        scatter_ms: options.humanise_ms,
        seed,
    }
}

impl From<BalanceArg> for Balance {
    fn from(arg: BalanceArg) -> Self {
        match arg {
            BalanceArg::Physical => Self::Physical,
            BalanceArg::Even => Self::Even,
        }
    }
}

impl From<BitsArg> for Bits {
    fn from(arg: BitsArg) -> Self {
        match arg {
            BitsArg::Int16 => Self::Int16,
            BitsArg::Int24 => Self::Int24,
            BitsArg::Float32 => Self::Float32,
        }
    }
}

impl From<StemsBy> for stage::StemsBy {
    fn from(arg: StemsBy) -> Self {
        match arg {
            StemsBy::Bottle => Self::Bottle,
            StemsBy::Player => Self::Player,
        }
    }
}
