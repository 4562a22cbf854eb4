//! `ullage audition`: hear a set before anything is poured.

pub(super) mod piece;
mod render;
mod report;
mod schedule;
mod stems;
mod two;

use super::Failure;
use super::args::{Audition, BalanceArg};
use super::inputs;
use crate::cli::print::{print, print_json};
use crate::number::signed;
use crate::physics::conditions::Conditions;
use crate::plan::piece::{Beat, Missing, Other};
use crate::plan::programme::{Breath, Programme, Slide, Spoken};
use crate::plan::together::{
    Chord, Drift, Pair, Sounding, Together, drift_cents, together, worst_tuned_pair,
};
use crate::set::Set;
use crate::sounding::Sounded;
use crate::stage::SetRails;
use crate::stage::{self, place_name, sounding, spoken};
use crate::synth::{Balance, BottleVoice, VoiceError};
use crate::units::{Frequency, SampleRate};

/// How far the room warms for the drift that is told, K.
const WARMER_K: f64 = 5.0;
/// Mistuning that nobody hears, cents: common practice, no source.
const IN_TUNE_CENTS: f64 = 1.0;
/// Share of warm breath in the necks of bottles that are played.
const PLAYED_NECK: f64 = 0.5;

/// A set that is worked out: what each bottle gives and how they sit together.
struct Heard {
    set: Set,
    sounded: Vec<Sounded>,
    rails: SetRails,
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

impl Heard {
    /// Every bottle's voice; of two states of a set those of each, alike placed.
    fn voices(&self, balance: Balance, rate: SampleRate) -> Result<Vec<BottleVoice>, VoiceError> {
        let mut all = Vec::with_capacity(self.sounded.len());
        for state in self.sounded.chunks(self.order.len().max(1)) {
            all.extend(stage::voices(&self.set, state, &self.order, balance, rate)?);
        }
        Ok(all)
    }
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
    let set = inputs::heard_set(&args.file, &args.room)?;
    if set.pours.is_empty() {
        return Err(Failure::bad(
            format!("hear {}", args.file.display()),
            "there is no [[pour]] in it",
        )
        .or_try("add [[pour]] with a note and a bottle"));
    }
    if args.two.is_asked() {
        return two::run(set, args);
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
    let sounded = set.sounded()?;
    let rails = SetRails::of(&set, &sounded)?;
    let order = stage::from_low_to_high(&sounded);
    let sounding: Vec<Sounding> = order
        .iter()
        .map(|&index| sounding(&set, &sounded, index, args.breath))
        .collect();
    let together = those_at_once(together(&sounding), &set, &rails);
    let worst = worst(&together);
    let programme = programme(
        (&set, &rails, &sounded),
        &order,
        (&together, worst.as_ref()),
        args.breath,
    );
    let drifts = [
        set.conditions.warmed_by_k(WARMER_K),
        set.conditions.with_breath_in_neck(PLAYED_NECK),
    ]
    .map(|other| drift(&set, &sounded, &other));
    Ok(Heard {
        set,
        sounded,
        rails,
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

/// The pour that [`place_name`] names so.
fn named(set: &Set, name: &str) -> Option<usize> {
    (0..set.pours.len()).find(|&index| place_name(set, index) == name)
}

/// What can sound together: two notes of one slide cannot.
fn those_at_once(mut all: Together, set: &Set, rails: &SetRails) -> Together {
    if rails.rails.is_empty() {
        return all;
    }
    let at_once = |names: &[&String]| {
        let pours: Vec<usize> = names.iter().filter_map(|name| named(set, name)).collect();
        let later =
            |(place, &a): (usize, &usize)| pours[place + 1..].iter().all(|&b| rails.at_once(a, b));
        pours.iter().enumerate().all(later)
    };
    all.pairs.retain(|pair| at_once(&[&pair.a, &pair.b]));
    all.chords
        .retain(|chord| at_once(&chord.bottles.iter().collect::<Vec<_>>()));
    all.worst_tuned_pair = worst_tuned_pair(&all.pairs).cloned();
    all
}

fn programme(
    (set, rails, sounded): (&Set, &SetRails, &[Sounded]),
    order: &[usize],
    (together, worst): (&Together, Option<&Worst>),
    breath: f64,
) -> Programme {
    let bottles: Vec<Spoken> = sounded.iter().map(spoken).collect();
    let find = |name: &String| named(set, name);
    let chords: Vec<(Chord, Vec<usize>)> = together
        .chords
        .iter()
        .filter_map(|chord| {
            let bottles = chord.bottles.iter().map(find).collect::<Option<_>>()?;
            Some((chord.clone(), bottles))
        })
        .collect();
    let worst = worst.and_then(|w| Some((w.title.clone(), [find(&w.pair.a)?, find(&w.pair.b)?])));
    Programme::of(&bottles, order, &slides(rails), (&chords, worst), breath)
}

/// What slides, from its lowest mark to its highest; a pair with one note, or a floor with one, over all of its way.
fn slides(rails: &SetRails) -> Vec<Slide> {
    let of = |rail: &crate::stage::SetRail| {
        let places = rail.marks.iter().map(|mark| mark.1);
        let low = places.clone().fold(1.0, f64::min);
        let high = places.fold(0.0, f64::max);
        Slide {
            title: rail.title.clone(),
            bottles: rail.riders.iter().map(|rider| rider.voice).collect(),
            places: if high > low { (low, high) } else { (0.0, 1.0) },
        }
    };
    rails.rails.iter().map(of).collect()
}

/// How the set moves under other conditions, set as it is.
fn drift(set: &Set, sounded: &[Sounded], other: &Conditions) -> Option<Drift> {
    let before: Vec<Frequency> = sounded.iter().map(Sounded::frequency).collect();
    let after = set
        .pours
        .iter()
        .zip(sounded)
        .map(|(pour, s)| Some(set.source_under(pour, other).at(s.setting).ok()?.frequency));
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
