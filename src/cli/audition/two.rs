//! A set heard in two conditions, one after the other: chilled, left in the sun, full of another gas.

use serde::Serialize;

use super::super::Failure;
use super::super::altered::Situation;
use super::super::args::Audition;
use super::super::compare::{self, setting_now};
use super::super::rows::none_stuck;
use super::render;
use super::report::{RowPart, in_the_file, row_parts};
use super::{Heard, Together};
use crate::cli::print::{print, print_json};
use crate::file::master::Mastered;
use crate::plan::programme::{Programme, Spoken};
use crate::set::Set;
use crate::sounding::Sounded;
use crate::stage;
use crate::stage::SetRails;

#[derive(Serialize)]
struct Report<'a> {
    #[serde(flatten)]
    compared: &'a compare::Report,
    wav: String,
    rate_hz: u32,
    frames: u64,
    mastered: &'a Mastered,
    parts: Vec<RowPart<'a>>,
}

/// Renders and reports both.
pub(super) fn run(set: Set, args: &Audition) -> Result<(), Failure> {
    if args.piece.piece.is_some() || args.piece.stems.is_some() {
        return Err(Failure::bad(
            "hear two conditions",
            "--before and --after are heard with the bottles in turn, not with a piece or in stems",
        )
        .or_try("a rendering of the piece with the room options of each: --temp-c, --gas and the others"));
    }
    let (before, after) = args.two.over(&set.conditions)?;
    let compared = compare::report(&set, &before, &after);
    let what = format!("hear every bottle of {}", args.file.display());
    none_stuck(&compared.unplaced, what, "conditions that they sound in")?;
    let heard = work_out(set, (&before, &after), args.breath)?;
    let mastered = render::render(&heard, args)?;
    if args.json {
        return print_json(&Report {
            compared: &compared,
            wav: args.out.display().to_string(),
            rate_hz: args.rate_hz,
            frames: mastered.frames,
            mastered: &mastered,
            parts: row_parts(&heard.programme),
        });
    }
    print(&(compare::text(&compared) + &in_the_file(&heard.programme, args, &mastered)))
}

fn work_out(
    set: Set,
    (before, after): (&Situation, &Situation),
    breath: f64,
) -> Result<Heard, Failure> {
    let planned = set.sounded()?;
    let order = stage::from_low_to_high(&planned);
    let (first, first_rails) = state(&set, &planned, before)?;
    let (second, second_rails) = state(&set, &planned, after)?;
    let sounded: Vec<Sounded> = first.into_iter().chain(second).collect();
    let bottles: Vec<Spoken> = sounded.iter().map(stage::spoken).collect();
    let labels = (before.label.as_str(), after.label.as_str());
    let programme = Programme::of_two(&bottles, &order, labels, breath);
    Ok(Heard {
        set,
        sounded,
        rails: first_rails.and_then(second_rails),
        order,
        together: Together {
            pairs: Vec::new(),
            chords: Vec::new(),
            worst_tuned_pair: None,
        },
        worst: None,
        programme,
        written: Vec::new(),
        missing: None,
        beats: Vec::new(),
        others: Vec::new(),
        drifts: [None, None],
    })
}

/// The set as it was planned, in another situation.
fn state(
    set: &Set,
    planned: &[Sounded],
    situation: &Situation,
) -> Result<(Vec<Sounded>, SetRails), Failure> {
    let mut there = set.clone();
    there.conditions = situation.conditions.clone();
    let mut sounded = Vec::with_capacity(planned.len());
    for (pour, plan) in set.pours.iter().zip(planned) {
        let now = setting_now(plan.setting, &set.conditions, &situation.conditions);
        let source = there.source_under(pour, &there.conditions);
        sounded.push(source.set_to(plan.target, now).map_err(|because| {
            let what = format!("sound {} with \"{}\"", pour.note, situation.label);
            Failure::cannot(what, because).or_try("conditions that it sounds in")
        })?);
    }
    let rails = SetRails::of(&there, &sounded)?;
    Ok((sounded, rails))
}
