//! Which bottle of a set is listened to, by the options.

use std::path::Path;
use std::sync::Arc;

use super::ListenArgs;
use crate::cli::{Failure, inputs};
use crate::index::{KindIndex, PourIndex};
use crate::listen::strike::Strike;
use crate::set::{Pour, Set, Way};
use crate::tuner::{AimAt, Judge, ListenFor, Meant, Reading, Verdict};
use crate::units::{Frequency, Interval, Volume};

/// The bottles of a set that may be meant.
pub(super) struct Bottles {
    pub(super) judge: Arc<Judge>,
}

impl Bottles {
    /// Those that are asked for, in the room of the options.
    pub(super) fn new(args: &ListenArgs, set: Set) -> Result<Self, Failure> {
        let now = inputs::conditions(&set.conditions, &args.room)?;
        let set = set.heard_in(now);
        let listen_for = listen_for(args, &set)?;
        Ok(Self {
            judge: Arc::new(Judge::new(set, &listen_for)),
        })
    }

    pub(super) fn set(&self) -> &Set {
        self.judge.set()
    }

    pub(super) fn of_pitch(&self, reading: Reading) -> Result<Verdict, Failure> {
        self.judge.of_pitch(reading).ok_or_else(none_meant)
    }

    pub(super) fn of_strike(&self, strike: &Strike) -> Result<Verdict, Failure> {
        self.judge.of_strike(strike).ok_or_else(none_meant)
    }
}

fn none_meant() -> Failure {
    Failure::bad("listen", "the set has no bottle that may be meant")
}

/// What is listened for by the options.
pub(super) fn listen_for(args: &ListenArgs, set: &Set) -> Result<ListenFor, Failure> {
    let asked = asked(args, set);
    let (meant, way) = if args.walk {
        (around(set)?, None)
    } else if asked.is_empty() {
        (Meant::Unpoured(unpoured(args, set)?), args.way)
    } else {
        named(args, set, asked)
    };
    if let Meant::Pours(places) = &meant {
        fill_is_known(args, places.iter().map(|at| &set.pours[*at]))?;
    }
    Ok(ListenFor {
        aim: match args.target_hz {
            Some(hz) => AimAt::Pitch(Frequency::from_hz(hz)),
            None if args.for_this_room => AimAt::NoteItself,
            None => AimAt::MovedNote,
        },
        within: Interval::from_cents(args.within_cents),
        way,
        fill: args.fill_ml.map(Volume::from_ml),
        ..ListenFor::new(meant)
    })
}

/// The pours that a note and a bottle name: all without either.
fn asked(args: &ListenArgs, set: &Set) -> Vec<PourIndex> {
    let is_asked = |pour: &Pour| {
        let note = args.note.as_ref().is_none_or(|note| *note == pour.note);
        let named = args.bottle.as_deref();
        note && named.is_none_or(|name| set.kind_of(pour).name == name)
    };
    let pours = PourIndex::all(set.pours.len());
    pours.filter(|at| is_asked(&set.pours[*at])).collect()
}

/// Those of them that are sounded as asked, each in its own way; if none is, all of them, sounded so instead.
fn named(args: &ListenArgs, set: &Set, asked: Vec<PourIndex>) -> (Meant, Option<Way>) {
    let is_struck = |place: &PourIndex| set.pours[*place].way.is_struck();
    let by_mallet = args
        .way
        .map_or_else(|| asked.iter().all(is_struck), Way::is_struck);
    let alike: Vec<PourIndex> = asked
        .iter()
        .copied()
        .filter(|place| is_struck(place) == by_mallet)
        .collect();
    if alike.is_empty() {
        (Meant::Pours(asked), args.way)
    } else {
        (Meant::Pours(alike), None)
    }
}

/// All that can be walked round.
fn around(set: &Set) -> Result<Meant, Failure> {
    let meant = Meant::by_breath(set);
    if meant == Meant::Pours(Vec::new()) {
        return Err(super::walks_by_breath());
    }
    Ok(meant)
}

/// A bottle that is named and has no note in the set.
fn unpoured(args: &ListenArgs, set: &Set) -> Result<KindIndex, Failure> {
    let path = args.set.as_deref().unwrap_or(Path::new(""));
    let (Some(name), None) = (args.bottle.as_deref(), &args.note) else {
        let all: Vec<String> = set.pours.iter().map(|p| p.note.to_string()).collect();
        let what = format!("find that note in {}", path.display());
        return Err(Failure::bad(what, "no pour has that note and bottle")
            .or_try(format!("give --note one of: {}", all.join(", "))));
    };
    inputs::kind(&set.kinds, name, path)?;
    let named = set.kinds.iter().position(|kind| kind.name == name);
    Ok(KindIndex::new(named.expect("the kind was found")))
}

/// A liquid that is given must be that of a bottle that has one of its own.
fn fill_is_known<'a>(
    args: &ListenArgs,
    mut pours: impl Iterator<Item = &'a Pour>,
) -> Result<(), Failure> {
    let has_none = |pour: &Pour| matches!(pour.way, Way::Sliding | Way::Joined);
    match (args.fill_ml, pours.find(|pour| has_none(pour))) {
        (Some(_), Some(pour)) => {
            let because = format!(
                "{} is {}, which no fill of its own tunes",
                pour.note, pour.way
            );
            Err(Failure::bad("listen with --fill-ml", because).or_try("leave it out"))
        }
        _ => Ok(()),
    }
}
