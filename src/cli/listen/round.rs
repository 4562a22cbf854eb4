//! Round a whole set by one recording.

use serde::Serialize;

use super::{Chosen, ListenArgs, Pouring, inputs, pouring, rooms};
use crate::cli::Failure;
use crate::cli::predict::{JSON_VERSION, rounded, signed};
use crate::cli::table::{print, print_json, table};
use crate::listen::HeardNote;
use crate::listen::advice::Off;
use crate::listen::walk::{Standing, Walk, is_clear};
use crate::preset::Set;
use crate::units::{Frequency, Interval};

#[derive(Serialize)]
struct Heard {
    start_s: f64,
    hz: f64,
    plus_minus_cents: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    note: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    bottle: Option<String>,
    cents: f64,
    in_tune: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    advice: Option<Pouring>,
}

#[derive(Serialize)]
struct Summary {
    note: String,
    bottle: String,
    heard: bool,
    in_tune: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    cents: Option<f64>,
}

#[derive(Serialize)]
struct Report {
    version: u32,
    heard: Vec<Heard>,
    summary: Vec<Summary>,
}

pub(super) fn run(args: &ListenArgs, set: &Set, notes: &[HeardNote]) -> Result<(), Failure> {
    let now = inputs::conditions(&set.conditions, &args.room)?;
    let targets: Vec<Frequency> = set.pours.iter().map(|p| set.target(p)).collect();
    let mut walk = Walk::new(&targets, Interval::from_cents(args.within_cents));
    let mut heard = Vec::new();
    for note in notes.iter().filter(|note| is_clear(note)) {
        let step = walk.hear(note);
        let mut row = Heard {
            start_s: rounded(note.start.s(), 2),
            hz: rounded(note.frequency.hz(), 3),
            plus_minus_cents: rounded(note.plus_minus.cents(), 2),
            note: None,
            bottle: None,
            cents: rounded(step.off.cents(), 2),
            in_tune: step.in_tune,
            advice: None,
        };
        if let Some(index) = step.bottle {
            let pour = &set.pours[index];
            let chosen = Chosen {
                kind: set.kind_of(pour),
                name: Some(pour.note.to_string()),
                fill: pour.fill,
                target: targets[index],
            };
            let off = Off {
                heard: note.frequency,
                plus_minus: note.plus_minus,
                target: chosen.target,
            };
            row.advice = Some(pouring(args, &chosen, &now, off)?);
            row.bottle = Some(chosen.kind.name.clone());
            row.note = chosen.name;
        }
        heard.push(row);
    }
    let summary = summary(set, &walk);
    if args.json {
        return print_json(&Report {
            version: JSON_VERSION,
            heard,
            summary,
        });
    }
    print(&(text(&heard, &summary) + &rooms(args, set, &now)))
}

fn summary(set: &Set, walk: &Walk) -> Vec<Summary> {
    let row = |(pour, standing): (&crate::preset::Pour, &Standing)| Summary {
        note: pour.note.to_string(),
        bottle: set.kind_of(pour).name.clone(),
        heard: *standing != Standing::Unheard,
        in_tune: matches!(standing, Standing::InTune(_)),
        cents: match standing {
            Standing::Unheard => None,
            Standing::Off(off) | Standing::InTune(off) => Some(rounded(off.cents(), 2)),
        },
    };
    set.pours.iter().zip(walk.standings()).map(row).collect()
}

fn text(heard: &[Heard], summary: &[Summary]) -> String {
    let name = |note: &Option<String>| note.clone().unwrap_or_else(|| "none of the set".to_owned());
    let line = |row: &Heard| {
        vec![
            format!("{:.1}", row.start_s),
            name(&row.note),
            row.bottle.clone().unwrap_or_default(),
            format!("{:.2}", row.hz),
            signed(row.cents, 1),
            format!("{:.1}", row.plus_minus_cents),
            row.advice
                .as_ref()
                .map_or(String::new(), |a| a.text(row.in_tune)),
        ]
    };
    let header = ["at s", "note", "bottle", "Hz", "cents", "±", "what to do"];
    let mut out = table(&header, heard.iter().map(line).collect(), &[1, 2, 6]);
    let in_tune = summary.iter().filter(|s| s.in_tune).count();
    out += &format!("\n{in_tune} of {} in tune\n", summary.len());
    let rest = |word: &str, rows: Vec<&Summary>| {
        let names: Vec<String> = rows
            .iter()
            .map(|s| format!("{} ({})", s.note, s.bottle))
            .collect();
        if names.is_empty() {
            String::new()
        } else {
            format!("{word}: {}\n", names.join(", "))
        }
    };
    out += &rest(
        "not yet",
        summary.iter().filter(|s| s.heard && !s.in_tune).collect(),
    );
    out += &rest("not heard", summary.iter().filter(|s| !s.heard).collect());
    out
}
