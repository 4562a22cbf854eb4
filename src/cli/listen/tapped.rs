//! One struck bottle: its partials, which of them is the note, and what to pour.

use serde::Serialize;

use super::ListenArgs;
use super::aims::Aims;
use super::keep;
use super::pouring::{Pouring, poured};
use crate::cli::Failure;
use crate::cli::print::JSON_VERSION;
use crate::cli::print::{print, print_json, table};
use crate::fit::air::Heard;
use crate::fit::wall::{CalibrateStruckError, calibrated_struck};
use crate::listen::advice::Off;
use crate::listen::advice_struck::advice_struck;
use crate::listen::strike::{Expected, Strike};
use crate::listen::taps::{Doublet, Partial};
use crate::number::{rounded, signed};
use crate::physics::conditions::Conditions;
use crate::physics::struck::{Struck, StruckSpec};
use crate::set::{HeardPitch, Kind, Pour, Way};
use crate::tuning::Tuning;
use crate::units::{Frequency, Temperature, Volume};

#[derive(Clone, Copy, Serialize)]
struct Split {
    low_hz: f64,
    high_hz: f64,
    beats_per_s: f64,
}

#[derive(Serialize)]
struct Row {
    hz: f64,
    plus_minus_cents: f64,
    level_db: f64,
    t60_s: f64,
    q: f64,
    /// Waves around, where the model tells them apart.
    #[serde(skip_serializing_if = "Option::is_none")]
    waves: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    doublet: Option<Split>,
}

/// What one struck bottle came to, as JSON.
#[derive(Serialize)]
pub(super) struct Report {
    version: u32,
    way: &'static str,
    hz: f64,
    note: String,
    cents: f64,
    plus_minus_cents: f64,
    taps: usize,
    t60_s: f64,
    q: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    waves: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    doublet: Option<Split>,
    partials: Vec<Row>,
    #[serde(skip_serializing_if = "Option::is_none")]
    bottle: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    target_hz: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    advice: Option<Pouring>,
    #[serde(skip_serializing_if = "Option::is_none")]
    kept: Option<keep::Kept>,
    #[serde(skip)]
    remarks: String,
    #[serde(skip)]
    in_tune: bool,
}

/// A bottle of the set, and which of the partials is which of its.
struct Meant<'a> {
    kind: &'a Kind,
    note: Option<String>,
    fill: Option<Volume>,
    target: Frequency,
    /// Index of the partial that is the note, and its waves.
    found: Option<(usize, u32)>,
    waves: Vec<(usize, u32)>,
    spec: StruckSpec,
}

pub(super) fn run(
    args: &ListenArgs,
    aims: Option<&Aims<'_>>,
    strike: &Strike,
) -> Result<(), Failure> {
    let report = Report::new(args, aims, strike, args.keep)?;
    report.tell(args)
}

/// How a bottle is struck: with the liquid of the set, fitted to what was heard from it when it was tapped.
pub(super) fn spec(kind: &Kind, now: &Conditions) -> Result<StruckSpec, CalibrateStruckError> {
    let temperature = now.temperature();
    let usual = StruckSpec::default();
    let (density, viscosity) = (
        now.liquid.density_kg_m3(temperature),
        now.liquid.viscosity_pa_s(temperature),
    );
    let spec = StruckSpec {
        density_kg_m3: density.unwrap_or(usual.density_kg_m3),
        viscosity_pa_s: viscosity.unwrap_or(usual.viscosity_pa_s),
        ..usual
    };
    let heard = |h: &HeardPitch| Heard {
        fill: h.fill,
        frequency: h.frequency,
        temperature: h.temp_c.map(Temperature::from_c),
    };
    let tapped = kind.heard.iter().filter(|h| h.way == Way::Struck);
    let tapped: Vec<Heard> = tapped.map(heard).collect();
    if tapped.is_empty() {
        return Ok(spec);
    }
    Ok(calibrated_struck(&kind.bottle, &tapped, spec)?.spec)
}

impl Report {
    /// What `strike` comes to, kept in the set's file if that is wanted.
    pub(super) fn new(
        args: &ListenArgs,
        aims: Option<&Aims<'_>>,
        strike: &Strike,
        keep: bool,
    ) -> Result<Self, Failure> {
        let meant = aims.map(|aims| meant(args, aims, strike)).transpose()?;
        let found = meant.as_ref().and_then(|m| m.found);
        let note = found.map_or_else(|| strike.strongest(), |(index, _)| &strike.partials[index]);
        let mut report = Self::of(strike, note);
        match (aims, &meant) {
            (Some(aims), Some(meant)) => report.aim(args, aims, meant, note, keep)?,
            _ => report.name(args, note.frequency),
        }
        report.in_tune = report.cents.abs() <= args.within_cents;
        Ok(report)
    }

    fn of(strike: &Strike, note: &Partial) -> Self {
        Self {
            version: JSON_VERSION,
            way: "struck",
            hz: rounded(note.frequency.hz(), 3),
            note: String::new(),
            cents: 0.0,
            plus_minus_cents: rounded(note.plus_minus.cents().max(0.01), 2),
            taps: strike.taps,
            t60_s: rounded(note.t60.s(), 3),
            q: rounded(note.quality, 0),
            waves: None,
            doublet: note.doublet.as_ref().map(Split::new),
            partials: strike.partials.iter().map(Row::new).collect(),
            bottle: None,
            target_hz: None,
            advice: None,
            kept: None,
            remarks: String::new(),
            in_tune: false,
        }
    }

    fn name(&mut self, args: &ListenArgs, pitch: Frequency) {
        let off = if let Some(hz) = args.target_hz {
            self.note = "target".to_owned();
            self.target_hz = Some(rounded(hz, 3));
            pitch.interval_above(Frequency::from_hz(hz))
        } else {
            let (note, off) = Tuning::default().nearest(pitch);
            self.note = note.to_string();
            off
        };
        self.cents = rounded(off.cents(), 2);
    }

    fn aim(
        &mut self,
        args: &ListenArgs,
        aims: &Aims<'_>,
        meant: &Meant<'_>,
        note: &Partial,
        keep: bool,
    ) -> Result<(), Failure> {
        let name = &meant.kind.name;
        self.bottle = Some(name.clone());
        self.target_hz = Some(rounded(meant.target.hz(), 3));
        let nearest = || aims.set.tuning.nearest(meant.target).0.to_string();
        self.note = meant.note.clone().unwrap_or_else(nearest);
        let off = note.frequency.interval_above(meant.target);
        self.cents = rounded(off.cents(), 2);
        for (index, waves) in &meant.waves {
            self.partials[*index].waves = Some(*waves);
        }
        let Some((_, waves)) = meant.found else {
            self.remarks = format!(
                "none of the partials is where {name:?} should have its note: this is the strongest one, and says nothing of \
                 what to pour\n"
            );
            return Ok(());
        };
        self.waves = Some(waves);
        let what = || format!("say what to pour into {name:?}");
        let struck = Struck::with_waves(&meant.kind.bottle, meant.spec, [waves])
            .map_err(|error| Failure::cannot(what(), error))?;
        let off = Off {
            heard: note.frequency,
            plus_minus: note.plus_minus,
            target: meant.target,
        };
        let density = meant.spec.density_kg_m3;
        let found = advice_struck(&struck, waves, density, poured(args, meant.fill), off)
            .map_err(|error| Failure::cannot(what(), error))?;
        self.advice = Some(Pouring::new(&found));
        if keep {
            let fill = args.fill_ml.map(Volume::from_ml).or(meant.fill);
            let kept = keep::keep(args, aims, meant.kind, fill, note.frequency, Way::Struck)?;
            self.remarks += &kept.text();
            self.kept = Some(kept);
        }
        Ok(())
    }

    /// In one line.
    #[cfg(feature = "live")]
    pub(super) fn line(&self) -> String {
        let advice = self.advice.as_ref();
        let advice = advice.map_or(String::new(), |a| format!(": {}", a.text(self.in_tune)));
        format!("{}{}{advice}", self.pitch(), self.beats())
    }

    fn pitch(&self) -> String {
        let bottle = self.bottle.as_ref();
        let bottle = bottle.map_or(String::new(), |b| format!(" ({b})"));
        format!(
            "{:.1} Hz, {}{bottle} {} cents ±{:.1}",
            self.hz,
            self.note,
            signed(self.cents, 1),
            self.plus_minus_cents
        )
    }

    fn beats(&self) -> String {
        self.doublet.map_or(String::new(), |d| {
            format!(
                ", two modes {:.1} and {:.1} Hz that beat {:.1} times a second",
                d.low_hz, d.high_hz, d.beats_per_s
            )
        })
    }

    pub(super) fn tell(&self, args: &ListenArgs) -> Result<(), Failure> {
        if args.json {
            return print_json(self);
        }
        let taps = if self.taps == 1 { "tap" } else { "taps" };
        let mut out = format!("{}{}\n", self.pitch(), self.beats());
        out += &format!(
            "{} {taps}; it rings for {:.2} s (to -60 dB), Q {:.0}\n",
            self.taps, self.t60_s, self.q
        );
        if let Some(pouring) = &self.advice {
            out += &format!("{}\n", pouring.text(self.in_tune));
        }
        let line = |row: &Row| {
            vec![
                format!("{:.1}", row.hz),
                format!("{:.1}", row.plus_minus_cents),
                format!("{:.0}", row.level_db),
                format!("{:.2}", row.t60_s),
                format!("{:.0}", row.q),
                row.waves.map_or(String::new(), |n| n.to_string()),
                row.doublet
                    .map_or(String::new(), |d| format!("{:.1}", d.beats_per_s)),
            ]
        };
        let header = ["Hz", "± cents", "dB", "ring s", "Q", "waves", "beats/s"];
        let rows = self.partials.iter().map(line).collect();
        print(&(out + &table(&header, rows, &[]) + &self.remarks))
    }
}

impl Split {
    fn new(doublet: &Doublet) -> Self {
        Self {
            low_hz: rounded(doublet.low.hz(), 2),
            high_hz: rounded(doublet.high.hz(), 2),
            beats_per_s: rounded(doublet.beat().hz(), 2),
        }
    }
}

impl Row {
    fn new(partial: &Partial) -> Self {
        Self {
            hz: rounded(partial.frequency.hz(), 3),
            plus_minus_cents: rounded(partial.plus_minus.cents(), 2),
            level_db: rounded(partial.level.db(), 1),
            t60_s: rounded(partial.t60.s(), 3),
            q: rounded(partial.quality, 0),
            waves: None,
            doublet: partial.doublet.as_ref().map(Split::new),
        }
    }
}

/// The bottle asked for, or the one whose note is nearest to one of its own partials.
fn meant<'a>(args: &ListenArgs, aims: &Aims<'a>, strike: &Strike) -> Result<Meant<'a>, Failure> {
    let struck: Vec<(&Pour, Frequency)> = aims
        .asked(args)
        .filter(|(pour, _)| args.note.is_some() || args.bottle.is_some() || pour.way == Way::Struck)
        .collect();
    let aim = args.target_hz.map(Frequency::from_hz);
    let mut best: Option<(f64, Meant<'a>)> = None;
    for (pour, target) in struck {
        let kind = aims.set.kind_of(pour);
        let named = (Some(pour.note.to_string()), pour.fill);
        let this = matched(args, aims, kind, named, aim.unwrap_or(target), strike)?;
        let off = this.found.map_or(1e6, |(index, _)| {
            let pitch = strike.partials[index].frequency;
            pitch.interval_above(this.target).cents().abs()
        });
        if best.as_ref().is_none_or(|(least, _)| off < *least) {
            best = Some((off, this));
        }
    }
    if let Some((_, meant)) = best {
        return Ok(meant);
    }
    // No struck note is planned: the bottle is named, or it is the nearest note's.
    let chosen = aims.chosen(args, strike.strongest().frequency)?;
    let named = (chosen.name, chosen.fill);
    matched(args, aims, chosen.kind, named, chosen.planned, strike)
}

fn matched<'a>(
    args: &ListenArgs,
    aims: &Aims<'a>,
    kind: &'a Kind,
    (note, planned): (Option<String>, Option<Volume>),
    target: Frequency,
    strike: &Strike,
) -> Result<Meant<'a>, Failure> {
    let what = || format!("say how {:?} sounds when it is struck", kind.name);
    let spec = spec(kind, &aims.now).map_err(|error| Failure::cannot(what(), error))?;
    let struck = Struck::new(&kind.bottle, spec).map_err(|error| Failure::cannot(what(), error))?;
    let fill = poured(args, planned).fill;
    let modes = struck
        .modes(fill)
        .map_err(|error| Failure::cannot(what(), error))?;
    let own = struck
        .note(fill)
        .map_err(|error| Failure::cannot(what(), error))?;
    let expected: Vec<Expected> = modes
        .iter()
        .map(|mode| Expected {
            waves: mode.n,
            frequency: mode.frequency,
            level: mode.level,
        })
        .collect();
    let told = strike.told_apart(&expected, struck.plus_minus());
    let is_own = |at: usize| modes[at].n == own.n && modes[at].m == own.m;
    let place = (0..modes.len()).find(|at| is_own(*at));
    let pairs = expected.iter().zip(&told);
    Ok(Meant {
        kind,
        note,
        fill: planned,
        target,
        found: place.and_then(|at| told[at].map(|index| (index, own.n))),
        waves: pairs.filter_map(|(e, i)| Some(((*i)?, e.waves))).collect(),
        spec,
    })
}
