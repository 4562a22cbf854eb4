//! The predictions of bottles that are not blown, for people.

use super::args::Predict;
use super::predict_way::{Partial, WayRow};
use crate::cli::print::table;
use crate::number::signed;

/// The rows for people.
pub(super) fn text(args: &Predict, rows: &[WayRow]) -> String {
    if rows.is_empty() {
        return String::new();
    }
    let swept = args.sweep.as_ref().map(|s| s.what.key());
    let mut header = vec!["bottle"];
    header.extend(swept.as_deref());
    header.extend([
        "way", "set to", "level mm", "Hz", "note", "cents", "±", "Q", "a step", "c/°C",
    ]);
    let cells = |row: &WayRow| {
        let mut line = vec![row.bottle.clone()];
        line.extend(row.at.map(|at| format!("{at:.3}")));
        line.extend([
            row.way.to_owned(),
            row.set_to(),
            format!("{:.1}", row.level_mm),
            format!("{:.2}", row.resonances[0].hz),
            row.note.name.clone(),
            signed(row.note.cents, 1),
            format!("{:.0}", row.plus_minus_cents),
            format!("{:.0}", row.resonances[0].q),
            row.step(),
            format!("{:.2}", row.cents_per_c),
        ]);
        line
    };
    let at = usize::from(swept.is_some());
    let mut out = table(
        &header,
        rows.iter().map(cells).collect(),
        &[0, 1 + at, 2 + at, 5 + at, 9 + at],
    );
    let single = rows.len() == 1 || args.bottle.is_some() || args.why;
    let mut told = std::collections::BTreeSet::new();
    for row in rows.iter().filter(|row| told.insert(&row.bottle)) {
        out += &row.remarks(single);
    }
    let mut cautions: Vec<&str> = Vec::new();
    for caution in rows.iter().flat_map(|row| &row.cautions) {
        if !cautions.contains(caution) {
            cautions.push(caution);
        }
    }
    if !cautions.is_empty() {
        out += "\n";
    }
    for caution in cautions {
        out += &format!("- {caution}\n");
    }
    out
}

impl WayRow {
    fn set_to(&self) -> String {
        match (self.gauge_bar, self.travel_mm, self.lift_mm) {
            (Some(bar), _, _) => format!("{bar:.2} bar"),
            (_, Some(mm), _) => format!("{mm:.1} mm in"),
            (_, _, Some(mm)) => format!("lift {mm:.1} mm"),
            _ => format!("{:.1} ml", self.fill_ml),
        }
    }

    fn step(&self) -> String {
        match (self.cents_per_ml, self.cents_per_bar, self.cents_per_mm) {
            (Some(cents), _, _) => format!("{cents:.2} c/ml"),
            (_, Some(cents), _) => format!("{cents:.0} c/bar"),
            (_, _, Some(cents)) => format!("{cents:.1} c/mm"),
            _ => String::new(),
        }
    }

    fn remarks(&self, single: bool) -> String {
        let mut out = String::new();
        if let Some(fit) = self.calibration {
            out += &format!(
                "\n{}: its wall is fitted to {} heard, residual {:.0} cents\n",
                self.bottle, fit.heard, fit.residual_cents
            );
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
        out += &format!(
            "\n{}: ±{:.0} cents, most of it from {}: {}, and it would be ±{:.0}\n",
            self.bottle,
            self.plus_minus_cents,
            self.dominated_by,
            self.remedy,
            self.without_it_cents
        );
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
}
