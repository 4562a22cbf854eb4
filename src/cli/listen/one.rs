//! One blown bottle: its pitch, and what to pour.

use serde::Serialize;

use super::aims::Aims;
use super::pouring::{Pouring, pouring, rooms};
use super::{ListenArgs, keep};
use crate::cli::Failure;
use crate::cli::print::JSON_VERSION;
use crate::cli::print::{print, print_json};
use crate::listen::HeardNote;
use crate::listen::advice::Off;
use crate::listen::together::{Blows, together};
use crate::number::{rounded, signed};
use crate::set::Way;
use crate::tuning::Tuning;
use crate::units::{Frequency, Volume};

/// What one blown bottle came to, as JSON.
#[derive(Serialize)]
pub(super) struct Report {
    version: u32,
    way: &'static str,
    hz: f64,
    note: String,
    cents: f64,
    plus_minus_cents: f64,
    blows: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    q: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    decay_s: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    bottle: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    target_hz: Option<f64>,
    /// Of which the room's.
    #[serde(skip_serializing_if = "Option::is_none")]
    room_cents: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    advice: Option<Pouring>,
    #[serde(skip_serializing_if = "Option::is_none")]
    kept: Option<keep::Kept>,
    #[serde(skip)]
    remarks: String,
    #[serde(skip)]
    in_tune: bool,
}

pub(super) fn run(
    args: &ListenArgs,
    aims: Option<&Aims<'_>>,
    notes: &[HeardNote],
) -> Result<(), Failure> {
    let blows = together(notes).expect("a recording without notes was refused");
    let mut report = Report::new(args, aims, &blows)?;
    if let (Some(aims), true) = (aims, args.keep) {
        report.keep(args, aims, &blows)?;
    }
    report.tell(args)
}

impl Report {
    /// What `blows` come to.
    pub(super) fn new(
        args: &ListenArgs,
        aims: Option<&Aims<'_>>,
        blows: &Blows,
    ) -> Result<Self, Failure> {
        let ring = blows.notes.iter().rev().find_map(|n| n.ring);
        let mut report = Self {
            version: JSON_VERSION,
            way: "blown",
            hz: rounded(blows.frequency.hz(), 4),
            note: String::new(),
            cents: 0.0,
            plus_minus_cents: rounded(blows.plus_minus.cents().max(0.01), 2),
            blows: blows.notes.len(),
            q: ring.map(|r| rounded(r.quality, 1)),
            decay_s: ring.map(|r| rounded(r.decay.s(), 4)),
            bottle: None,
            target_hz: None,
            room_cents: None,
            advice: None,
            kept: None,
            remarks: String::new(),
            in_tune: false,
        };
        match aims {
            Some(aims) => report.aim(args, aims, blows)?,
            None => report.name(args, blows.frequency),
        }
        report.in_tune = report.cents.abs() <= args.within_cents;
        Ok(report)
    }

    /// Without a set: the nearest note, or a pitch that was asked for.
    fn name(&mut self, args: &ListenArgs, pitch: Frequency) {
        let (note, off) = match args.target_hz {
            Some(hz) => {
                let target = Frequency::from_hz(hz);
                self.target_hz = Some(rounded(hz, 3));
                ("target".to_owned(), pitch.interval_above(target))
            }
            None => {
                let (note, off) = Tuning::default().nearest(pitch);
                (note.to_string(), off)
            }
        };
        self.note = note;
        self.cents = rounded(off.cents(), 2);
    }

    fn aim(&mut self, args: &ListenArgs, aims: &Aims<'_>, blows: &Blows) -> Result<(), Failure> {
        let chosen = aims.chosen(args, blows.frequency)?;
        self.bottle = Some(chosen.kind.name.clone());
        self.target_hz = Some(rounded(chosen.target.hz(), 3));
        let moved = chosen.moved().cents();
        self.room_cents = (moved != 0.0).then(|| rounded(moved, 2));
        let tuning = &aims.set.tuning;
        let nearest = || tuning.nearest(chosen.planned).0.to_string();
        self.note = chosen.name.clone().unwrap_or_else(nearest);
        let off = blows.frequency.interval_above(chosen.target);
        self.cents = rounded(off.cents(), 2);
        let off = Off {
            heard: blows.frequency,
            plus_minus: blows.plus_minus,
            target: chosen.target,
        };
        self.advice = Some(pouring(args, aims, &chosen, off)?);
        self.remarks = rooms(args, aims, Some(&chosen));
        Ok(())
    }

    /// Writes the pitch into the set's file.
    pub(super) fn keep(
        &mut self,
        args: &ListenArgs,
        aims: &Aims<'_>,
        blows: &Blows,
    ) -> Result<(), Failure> {
        let chosen = aims.chosen(args, blows.frequency)?;
        let fill = args.fill_ml.map(Volume::from_ml).or(chosen.fill);
        let kept = keep::keep(args, aims, chosen.kind, fill, blows.frequency, Way::Blown)?;
        self.remarks += &kept.text();
        self.kept = Some(kept);
        Ok(())
    }

    /// In one line.
    #[cfg(feature = "live")]
    pub(super) fn line(&self) -> String {
        let advice = self.advice.as_ref();
        let advice = advice.map_or(String::new(), |a| format!(": {}", a.text(self.in_tune)));
        format!("{}{advice}", self.pitch())
    }

    fn pitch(&self) -> String {
        let bottle = self.bottle.as_ref();
        let bottle = bottle.map_or(String::new(), |b| format!(" ({b})"));
        format!(
            "{:.2} Hz, {}{bottle} {} cents ±{:.1}",
            self.hz,
            self.note,
            signed(self.cents, 1),
            self.plus_minus_cents
        )
    }

    pub(super) fn tell(&self, args: &ListenArgs) -> Result<(), Failure> {
        if args.json {
            return print_json(self);
        }
        let mut out = format!("{}\n", self.pitch());
        if let Some(q) = self.q {
            out += &format!("it rang down with Q {q:.0}\n");
        }
        if let Some(pouring) = &self.advice {
            out += &format!("{}\n", pouring.text(self.in_tune));
            out += &format!(
                "another blow may differ by as much as {:.0} ml does: blow it more than once\n",
                pouring.repeat_ml
            );
        }
        print(&(out + &self.remarks))
    }
}
