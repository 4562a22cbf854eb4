//! Predictions for people: one table, and what it has no column for.

use std::collections::BTreeSet;

use super::PredictArgs;
use super::row::{BlownColumns, Fitted, Partial, PredictedRow, ShareRow, TableRow};
use super::sweep::Swept;
use crate::cli::print::table;
use crate::cli::rows::{once_each, range_cell};
use crate::number::signed;
use crate::physics::vapour::Headspace;
use crate::tuning::Speller;
use crate::units::shown::Units;
use crate::units::{Frequency, Length, Mass, Volume};

/// The rows for people; ways and settings have columns where not all are blown.
pub(super) fn text(
    args: &PredictArgs,
    rows: &[PredictedRow],
    headspace: &Headspace,
    speller: &Speller,
) -> String {
    let all_blown = rows.iter().all(|row| row.blown.is_some());
    let mut out = match all_blown {
        true => blown_table(args, rows, speller),
        false => table_of_ways(args, rows, speller),
    };
    let liquid_is_swept =
        (args.sweep.as_ref()).is_some_and(|sweep| matches!(sweep.what, Swept::Liquid(_)));
    if all_blown && liquid_is_swept && *headspace == Headspace::Room {
        out += "\nthe vapour over the liquid is left out; --headspace saturated counts it\n";
    }
    if let Some(path) = &args.svg {
        out += &format!("\ndrawn in {}\n", path.display());
    }
    let single = rows.len() == 1 || args.bottle.is_some() || args.why;
    let mut seen = BTreeSet::new();
    for row in rows {
        if seen.insert((&row.bottle, row.way)) {
            out += &match &row.blown {
                Some(blown) => row.blown_remarks(blown, single, args),
                None => row.remarks(single, args.units.units),
            };
        }
    }
    out + &once_each(rows.iter().flat_map(|row| row.cautions.iter().flatten()))
}

fn blown_table(args: &PredictArgs, rows: &[PredictedRow], speller: &Speller) -> String {
    let swept = args.sweep.as_ref().map(|s| s.what.key());
    let mut header = vec!["bottle"];
    header.extend(swept.as_deref());
    let units = args.units.units;
    let heads = [
        format!("fill {}", units.of_volume()),
        format!("air {}", units.of_volume()),
        format!("level {}", units.of_length()),
        format!("c/{}", units.of_volume()),
        format!("c/{} bore", units.of_length()),
    ];
    let [fill, air, level, per_volume, per_bore] = heads.each_ref().map(String::as_str);
    header.extend([
        fill, air, level, "Hz", "note", "cents", "±", "Q", per_volume, "c/°C", per_bore,
    ]);
    let with_range = rows.iter().any(|row| row.range.is_some());
    if with_range {
        header.push("range");
    }
    let cells = |row: &PredictedRow| {
        let mut line = vec![row.bottle.clone()];
        line.extend(row.at.map(|at| format!("{at:.3}")));
        let first = &row.resonances[0];
        line.extend([
            units.volume(Volume::from_ml(row.fill_ml)),
            units.volume(Volume::from_ml(row.air_ml)),
            units.length(Length::from_mm(row.level_mm)),
            format!("{:.2}", first.hz),
            speller.text(&row.note.name),
            signed(row.note.cents, 1),
            row.sure.trim_start_matches('±').to_owned(),
            format!("{:.1}", first.q),
            format!(
                "{:.2}",
                units.ml() * row.slope.cents_per_ml.unwrap_or_default()
            ),
            format!("{:.2}", row.cents_per_c),
            signed(units.mm() * row.cents_per_mm_bore.unwrap_or_default(), 0),
        ]);
        if with_range {
            line.push(range_cell(row.range.as_ref(), speller));
        }
        line
    };
    let note_column = if swept.is_some() { 6 } else { 5 };
    let cells = rows.iter().map(cells).collect();
    let mut left = vec![0, note_column];
    left.extend(with_range.then(|| header.len() - 1));
    table(&header, cells, &left)
}

fn table_of_ways(args: &PredictArgs, rows: &[PredictedRow], speller: &Speller) -> String {
    let swept = args.sweep.as_ref().map(|s| s.what.key());
    let mut header = vec!["bottle"];
    header.extend(swept.as_deref());
    let units = args.units.units;
    let level = format!("level {}", units.of_length());
    header.extend([
        "way", "set to", &*level, "Hz", "note", "cents", "±", "Q", "a step", "c/°C",
    ]);
    let with_range = rows.iter().any(|row| row.range.is_some());
    if with_range {
        header.push("range");
    }
    let cells = |row: &PredictedRow| {
        let mut line = vec![row.bottle.clone()];
        line.extend(row.at.map(|at| format!("{at:.3}")));
        line.extend([
            row.way.to_owned(),
            row.set_to(units),
            units.length(Length::from_mm(row.level_mm)),
            format!("{:.2}", row.resonances[0].hz),
            speller.text(&row.note.name),
            signed(row.note.cents, 1),
            row.sure.trim_start_matches('±').to_owned(),
            format!("{:.0}", row.resonances[0].q),
            row.step(),
            format!("{:.2}", row.cents_per_c),
        ]);
        if with_range {
            line.push(range_cell(row.range.as_ref(), speller));
        }
        line
    };
    let at = usize::from(swept.is_some());
    let mut left = vec![0, 1 + at, 2 + at, 5 + at, 9 + at];
    left.extend(with_range.then(|| header.len() - 1));
    table(&header, rows.iter().map(cells).collect(), &left)
}

/// What to measure next, what the plus-minus is made of, and what is not in it.
fn reasons(blown: &BlownColumns) -> String {
    let mut out = String::new();
    if let Some(few) = &blown.together {
        let (steps, minutes) = (few.steps.join(", "), few.minutes);
        let then = few.then_plus_minus_cents;
        out += &format!("    best: {steps} ({minutes:.0} min in all): ±{then:.0}\n");
    }
    let next = blown.next();
    if next.is_empty() {
        out += "    nothing that can be measured in minutes makes it surer\n";
    } else {
        out += "    to be surer, first what gains most for its time:\n";
    }
    for (index, (share, minutes, then_cents)) in next.into_iter().enumerate() {
        let then = if index == 0 { "" } else { "then " };
        let remedy = share.remedy;
        out += &format!("      {then}{remedy} ({minutes:.0} min): ±{then_cents:.0}\n");
    }
    out += "    what the ± is made of:\n";
    for share in &blown.uncertainty {
        out += &format!("    ±{:6.1}  {}\n", share.plus_minus_cents, share.what);
    }
    out += "    the same for every bottle that one person blows, so not in the ±:\n";
    for habit in &blown.player {
        let (what, cents, basis) = (habit.what, signed(habit.cents, 0), habit.basis);
        out += &format!("      {what}: {cents} cents ({basis})\n");
    }
    let TableRow { cents, q_pct } = blown.on_table;
    out += &format!(
        "    on a wide table instead of held clear: {} cents, Q {} %\n",
        signed(cents, 0),
        signed(q_pct, 0)
    );
    out
}

impl PredictedRow {
    fn set_to(&self, units: Units) -> String {
        let text = self.setting.text(units);
        if text.is_empty() {
            let fill = units.volume(Volume::from_ml(self.fill_ml));
            return format!("{fill} {}", units.of_volume());
        }
        text
    }

    fn step(&self) -> String {
        let slope = &self.slope;
        match (slope.cents_per_ml, slope.cents_per_bar, slope.cents_per_mm) {
            (Some(cents), _, _) => format!("{cents:.2} c/ml"),
            (_, Some(cents), _) => format!("{cents:.0} c/bar"),
            (_, _, Some(cents)) => format!("{cents:.1} c/mm"),
            (None, None, None) => String::new(),
        }
    }

    /// Scaled bodies, what would sharpen the prediction, and the modes above.
    fn blown_remarks(&self, blown: &BlownColumns, single: bool, args: &PredictArgs) -> String {
        let (why, units) = (args.why, args.units.units);
        let mut out = String::new();
        if let Some(fitted) = &self.calibration {
            out += &format!("\n{}", fitted.text(&self.bottle, units));
        }
        if single {
            let least = |share: &&ShareRow| share.what == self.dominated_by;
            let share = blown.uncertainty.iter().find(least);
            out += &self.doubt(share.map_or("", |share| share.remedy));
            if let Some(water_g) = blown.next_reading_g {
                // To the gram: it is where to stop pouring, not what was measured.
                let water = match units {
                    Units::Si => format!("{water_g:.0}"),
                    Units::Us | Units::Imperial => units.mass(Mass::from_g(water_g)),
                };
                let of = units.of_mass();
                out += &format!("    the next level to read: with {water} {of} of water in it\n");
            }
            let modes: Vec<String> = self.resonances[1..]
                .iter()
                .map(|r| format!("{:.0} Hz (Q {:.0})", r.hz, r.q))
                .collect();
            let modes = match modes.is_empty() {
                true => "none".to_owned(),
                false => modes.join(", "),
            };
            out += &format!("    modes above the note: {modes}\n");
            let schoolbook = Frequency::from_hz(blown.schoolbook_hz);
            let above = schoolbook.interval_above(Frequency::from_hz(self.resonances[0].hz));
            out += &format!(
                "    the schoolbook formula says {:.1} Hz, {:+.0} cents: it knows no shoulder\n",
                blown.schoolbook_hz,
                above.cents()
            );
        }
        if why {
            out += &reasons(blown);
        }
        out
    }

    /// Fits, the other bottle of a pair, what would sharpen the prediction, and a wall's partials.
    fn remarks(&self, single: bool, units: Units) -> String {
        let mut out = String::new();
        if let Some(fitted) = &self.calibration {
            out += &format!("\n{}", fitted.text(&self.bottle, units));
        }
        if let Some(other) = &self.other {
            out += &format!(
                "\n{}: beside it {} gives {:.2} Hz, {:.1} ml in it\n",
                self.bottle, other.bottle, other.hz, other.fill_ml
            );
        }
        if !single {
            return out;
        }
        out += &self.doubt(self.remedy.unwrap_or_default());
        if let Some(mallet) = self.mallet {
            let header = ["n", "m", "Hz", "Q", "T60 s", "dB"];
            let cells = |p: &Partial| {
                vec![
                    p.n.to_string(),
                    p.m.to_string(),
                    format!("{:.1}", p.hz),
                    format!("{:.0}", p.q),
                    format!("{:.2}", p.t60_s),
                    format!("{:.1}", p.level_db),
                ]
            };
            out += &format!(
                "    struck with {mallet}; its partials (n waves around, m half waves up):\n"
            );
            out += &table(&header, self.partials.iter().map(cells).collect(), &[]);
        }
        out
    }

    fn doubt(&self, remedy: &str) -> String {
        // What nobody did is no source of an error in itself.
        let from = match self.dominated_by.starts_with("never") {
            true => format!("{} yet", self.dominated_by),
            false => format!("most of it from {}", self.dominated_by),
        };
        format!(
            "\n{}: {} cents, {from}: {remedy}, and it would be ±{:.0}\n",
            self.bottle, self.sure, self.without_it_cents
        )
    }
}

impl Fitted {
    fn text(&self, bottle: &str, units: Units) -> String {
        match self {
            Self::Air(calibration) => calibration.text(bottle, units),
            Self::Wall {
                heard,
                residual_cents,
            } => format!(
                "{bottle}: its wall is fitted to {heard} heard, residual {residual_cents:.0} cents\n"
            ),
        }
    }
}
