//! `ullage audition`: hear a set before anything is poured.

pub(super) mod piece;
mod render;
mod report;
mod stems;

use super::Failure;
use super::args::{Audition, BalanceArg};
use super::inputs;
use super::predict::signed;
use super::table::{print, print_json};
use super::voicing::{self, note};
use crate::physics::conditions::Conditions;
use crate::physics::prediction::Blown;
use crate::physics::resonance::Resonance;
use crate::plan::fill::Poured;
use crate::plan::piece::{Beat, Missing, Other};
use crate::plan::programme::{Breath, Programme};
use crate::plan::roughness::Partial;
use crate::plan::together::{Chord, Drift, Pair, Sounding, Together, drift_cents, together};
use crate::preset::Set;
use crate::synth::{Balance, overtones};
use crate::units::Frequency;

/// How far the room warms for the drift that is told, K.
const WARMER_K: f64 = 5.0;
/// Mistuning that nobody hears, cents: common practice, no source.
const IN_TUNE_CENTS: f64 = 1.0;
/// Share of warm breath in the necks of bottles that are played.
const PLAYED_NECK: f64 = 0.5;

/// A set that is worked out: what each bottle gives and how they sit together.
struct Heard {
    set: Set,
    poured: Vec<Poured>,
    order: Vec<usize>,
    together: Together,
    worst: Option<Worst>,
    programme: Programme,
    /// Of a piece: the breaths as they are written, before they are humanised.
    written: Vec<Breath>,
    /// Of a piece: the notes that no bottle has.
    missing: Option<Vec<Missing>>,
    beats: Vec<Beat>,
    /// Of a piece: what is sounded as plain tones.
    others: Vec<Other>,
    /// If the room warms, and if breath warms the necks.
    drifts: [Option<Drift>; 2],
}

/// The pair that is played last, and why.
struct Worst {
    pair: Pair,
    title: String,
}

/// The worst-tuned pair; in a set that is in tune with its notes, the consonance that its temperament
/// treats worst.
fn worst(together: &Together) -> Option<Worst> {
    let off = |pair: &Pair| pair.interval.off_equal_cents.abs();
    if let Some(pair) = together
        .worst_tuned_pair
        .clone()
        .filter(|pair| off(pair) >= IN_TUNE_CENTS)
    {
        let title = format!(
            "worst-tuned pair: {} and {}, {} cents off",
            pair.a_note,
            pair.b_note,
            signed(pair.interval.off_equal_cents, 1)
        );
        return Some(Worst { pair, title });
    }
    let consonant = |pair: &&Pair| pair.interval.just.upper <= 6 && pair.beats.is_some();
    let pair = together.pairs.iter().filter(consonant).max_by(|a, b| {
        a.interval
            .off_just_cents
            .abs()
            .total_cmp(&b.interval.off_just_cents.abs())
    })?;
    let title = format!(
        "all in tune; farthest from just: {} and {}, {} cents from {}",
        pair.a_note,
        pair.b_note,
        signed(pair.interval.off_just_cents, 1),
        pair.interval.just
    );
    Some(Worst {
        pair: pair.clone(),
        title,
    })
}

pub(super) fn run(args: &Audition) -> Result<(), Failure> {
    check(args)?;
    let mut set = inputs::set(&args.file)?;
    set.conditions = inputs::conditions(&set.conditions, &args.room)?;
    if set.pours.is_empty() {
        return Err(Failure::bad(
            format!("hear {}", args.file.display()),
            "there is no [[pour]] in it",
        )
        .or_try("add [[pour]] with a note and a bottle"));
    }
    let mut heard = work_out(set, args)?;
    if let Some(path) = &args.piece.piece {
        let played = piece::piece(&heard, args, path)?;
        heard.written = played.programme.breaths().copied().collect();
        heard.programme = played.programme;
        piece::humanise(&mut heard.programme, args);
        heard.missing = Some(played.missing);
        heard.beats = played.beats;
        heard.others = piece::others(&played.others, &args.piece);
    }
    let rendered = render::render(&heard, args)?;
    if args.json {
        print_json(&report::json(&heard, args, &rendered))
    } else {
        print(&report::text(&heard, args, &rendered))
    }
}

fn check(args: &Audition) -> Result<(), Failure> {
    let within = |what: &str, value: f64, low: f64, high: f64| {
        if (low..=high).contains(&value) {
            Ok(())
        } else {
            Err(Failure::bad(
                "render",
                format!("{what} {value} is outside {low} to {high}"),
            ))
        }
    };
    within("--breath", args.breath, 1.1, crate::synth::HARDEST_BREATH)?;
    within("--rate-hz", f64::from(args.rate_hz), 8_000.0, 192_000.0)?;
    within("--lufs", args.lufs, -40.0, -9.0)?;
    within("--level-db", args.level_db, -60.0, 20.0)
}

fn work_out(set: Set, args: &Audition) -> Result<Heard, Failure> {
    let poured = voicing::poured(&set)?;
    let order = voicing::from_low_to_high(&poured);
    let sounding: Vec<Sounding> = order
        .iter()
        .map(|&index| sounding(&set, &poured, index, args.breath))
        .collect();
    let together = together(&sounding);
    let resonances: Vec<Resonance> = poured.iter().map(note).collect();
    let worst = worst(&together);
    let programme = programme(
        &set,
        &order,
        &resonances,
        (&together, worst.as_ref()),
        args.breath,
    );
    let drifts = [
        set.conditions.warmed_by_k(WARMER_K),
        set.conditions.with_breath_in_neck(PLAYED_NECK),
    ]
    .map(|other| drift(&set, &poured, &other));
    Ok(Heard {
        set,
        poured,
        order,
        together,
        worst,
        programme,
        written: Vec::new(),
        missing: None,
        beats: Vec::new(),
        others: Vec::new(),
        drifts,
    })
}

/// Names a pour so that two bottles of a kind stay apart.
fn place_name(set: &Set, index: usize) -> String {
    format!(
        "{} ({})",
        set.kind_of(&set.pours[index]).name,
        set.pours[index].note
    )
}

/// A pour as it sounds with others.
pub(super) fn sounding(set: &Set, poured: &[Poured], index: usize, breath: f64) -> Sounding {
    let pitch = note(&poured[index]).frequency;
    let mut amplitudes = vec![1.0];
    amplitudes.extend(overtones(pitch, breath));
    Sounding {
        name: place_name(set, index),
        note: set.pours[index].note,
        pitch,
        partials: Partial::whole(pitch.hz(), &amplitudes),
    }
}

fn programme(
    set: &Set,
    order: &[usize],
    resonances: &[Resonance],
    (together, worst): (&Together, Option<&Worst>),
    breath: f64,
) -> Programme {
    let find = |name: &str| (0..set.pours.len()).find(|&index| place_name(set, index) == name);
    let chords: Vec<(Chord, Vec<usize>)> = together
        .chords
        .iter()
        .filter_map(|chord| {
            Some((
                chord.clone(),
                chord
                    .bottles
                    .iter()
                    .map(|name| find(name))
                    .collect::<Option<_>>()?,
            ))
        })
        .collect();
    let worst = worst.and_then(|w| Some((w.title.clone(), [find(&w.pair.a)?, find(&w.pair.b)?])));
    Programme::of(resonances, order, &chords, worst, breath)
}

/// How the set moves under other conditions with its fills as they are.
fn drift(set: &Set, poured: &[Poured], other: &Conditions) -> Option<Drift> {
    let before: Vec<Frequency> = poured.iter().map(|p| note(p).frequency).collect();
    let after = set.pours.iter().zip(poured).map(|(pour, p)| {
        let blown = Blown::new(&set.kind_of(pour).bottle, other).ok()?;
        Some(blown.fundamental(p.prediction.fill).ok()?.frequency)
    });
    drift_cents(&before, &after.collect::<Option<Vec<_>>>()?)
}

impl From<BalanceArg> for Balance {
    fn from(arg: BalanceArg) -> Self {
        match arg {
            BalanceArg::Physical => Self::Physical,
            BalanceArg::Even => Self::Even,
        }
    }
}
