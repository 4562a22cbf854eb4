//! What the bottles of a set are to sound like in the room as it is now.

use std::path::Path;

use super::ListenArgs;
use crate::cli::{Failure, inputs};
use crate::listen::advice::target_now;
use crate::physics::bottle::Bottle;
use crate::physics::conditions::Conditions;
use crate::physics::prediction::Blown;
use crate::set::{Kind, Pour, Set, Way};
use crate::units::{Frequency, Interval, Volume};

/// A set's targets now.
pub(super) struct Aims<'a> {
    pub(super) set: &'a Set,
    pub(super) now: Conditions,
    /// One a pour.
    pub(super) targets: Vec<Frequency>,
}

/// The bottle that is listened to.
pub(super) struct Chosen<'a> {
    pub(super) kind: &'a Kind,
    pub(super) name: Option<String>,
    pub(super) fill: Option<Volume>,
    /// Now.
    pub(super) target: Frequency,
    /// In the room that was planned for.
    pub(super) planned: Frequency,
}

impl<'a> Aims<'a> {
    /// Works them out: the note's pitch, moved as the room moves the bottle, unless that is not wanted.
    pub(super) fn new(args: &ListenArgs, set: &'a Set) -> Result<Self, Failure> {
        let now = inputs::conditions(&set.conditions, &args.room)?;
        let target = |pour: &Pour| {
            let bottle = &set.kind_of(pour).bottle;
            let planned = set.target(pour);
            if args.for_this_room || pour.way == Way::Struck {
                planned
            } else {
                moved(bottle, pour.fill, planned, [&set.conditions, &now])
            }
        };
        let targets = set.pours.iter().map(target).collect();
        Ok(Self { set, now, targets })
    }

    /// The pitches of the pours that are asked for.
    pub(super) fn expected(&self, args: &ListenArgs) -> Vec<Frequency> {
        let asked = self.asked(args);
        asked.map(|(_, target)| target).collect()
    }

    /// The pours that a note and a bottle name, with their targets.
    pub(super) fn asked<'s>(
        &'s self,
        args: &'s ListenArgs,
    ) -> impl Iterator<Item = (&'a Pour, Frequency)> + 's {
        let set = self.set;
        let fits = move |pour: &Pour| {
            let note = args.note.as_ref().is_none_or(|note| *note == pour.note);
            let named = args.bottle.as_deref();
            note && named.is_none_or(|name| set.kind_of(pour).name == name)
        };
        let pours = set.pours.iter().zip(self.targets.iter().copied());
        pours.filter(move |(pour, _)| fits(pour))
    }

    /// The pour at a place of the set.
    pub(super) fn at(&self, index: usize) -> Chosen<'a> {
        self.chosen_pour(&self.set.pours[index], self.targets[index])
    }

    fn chosen_pour(&self, pour: &'a Pour, target: Frequency) -> Chosen<'a> {
        Chosen {
            kind: self.set.kind_of(pour),
            name: Some(pour.note.to_string()),
            fill: pour.fill,
            target,
            planned: self.set.target(pour),
        }
    }

    /// The pour asked for, or the one whose note is nearest to `pitch`.
    pub(super) fn chosen(
        &self,
        args: &ListenArgs,
        pitch: Frequency,
    ) -> Result<Chosen<'a>, Failure> {
        let aim = args.target_hz.map(Frequency::from_hz);
        let off = |target: Frequency| pitch.interval_above(target).cents().abs();
        let nearest = self
            .asked(args)
            .min_by(|a, b| off(a.1).total_cmp(&off(b.1)));
        if let Some((pour, target)) = nearest {
            if !matches!(pour.way, Way::Blown | Way::Struck) {
                let bottle = &self.set.kind_of(pour).name;
                let what = format!("say how to correct {} in {bottle:?}", pour.note);
                let because = format!("it is {}, and what is set there is no fill", pour.way);
                return Err(Failure::cannot(what, because)
                    .or_try("ullage marks or predict, which say what a millimetre or a bar does"));
            }
            let mut chosen = self.chosen_pour(pour, target);
            if let Some(aim) = aim {
                (chosen.target, chosen.planned) = (aim, aim);
            }
            return Ok(chosen);
        }
        self.unpoured(args, pitch, aim)
    }

    /// A bottle that is named and has no note in the set: its aim is the note that is nearest.
    fn unpoured(
        &self,
        args: &ListenArgs,
        pitch: Frequency,
        aim: Option<Frequency>,
    ) -> Result<Chosen<'a>, Failure> {
        let set = self.set;
        let path = args.set.as_deref().unwrap_or(Path::new(""));
        let (Some(name), None) = (args.bottle.as_deref(), &args.note) else {
            let all: Vec<String> = set.pours.iter().map(|p| p.note.to_string()).collect();
            let what = format!("find that note in {}", path.display());
            return Err(Failure::bad(what, "no pour has that note and bottle")
                .or_try(format!("--note with one of: {}", all.join(", "))));
        };
        let kind = inputs::kind(&set.kinds, name, path)?;
        let planned = set.tuning.frequency(&set.tuning.nearest(pitch).0);
        let rooms = [&set.conditions, &self.now];
        let target = match aim {
            Some(aim) => aim,
            None if args.for_this_room => planned,
            None => moved(&kind.bottle, None, planned, rooms),
        };
        Ok(Chosen {
            kind,
            name: None,
            fill: None,
            target,
            planned: aim.unwrap_or(planned),
        })
    }
}

impl Chosen<'_> {
    /// How far the room has moved it.
    pub(super) fn moved(&self) -> Interval {
        self.target.interval_above(self.planned)
    }
}

/// `planned` in another room. Where the bottle does not sound at that fill, as an empty one moves.
fn moved(
    bottle: &Bottle,
    fill: Option<Volume>,
    planned: Frequency,
    rooms: [&Conditions; 2],
) -> Frequency {
    if rooms[0] == rooms[1] {
        return planned;
    }
    let solved = || Blown::new(bottle, rooms[0]).ok()?.fill_for(planned).ok();
    let fill = fill.or_else(solved).unwrap_or_default();
    target_now(bottle, fill, planned, rooms)
        .or_else(|_| target_now(bottle, Volume::default(), planned, rooms))
        .unwrap_or(planned)
}
