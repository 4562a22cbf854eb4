//! The page itself: one HTML file with its style, its script and its sound in it.
//!
//! Its policy forbids every connection and every script and style but the two in it, which are named by their hashes. What people
//! wrote is escaped by the template; in the data no `<` is left, so that none can end them.

use askama::Template;
use rayon::prelude::*;
use sha2::{Digest, Sha256};

use super::data::{Beside, Data, RoomClip};
use super::recorded::Recorded;
use super::spec::{PageError, PageSpec};
use crate::index::PourIndex;
use crate::report::drawing::{ScreenDrawing, screen_drawing, slid_screen_drawing};
use crate::report::html::{PairWords, Paper, pairs, room_words};
use crate::report::sheet::{Sheet, SheetRow};
use crate::report::sheet_card::{Card, card};
use crate::sounding::Setting;
use crate::stage::Stage;
use crate::synth::{Balance, Room, RoomSpec};
use crate::units::{Length, SampleRate};

/// Most bottles of a page: at 0.2 MB each it is of a size that can still be sent.
const MOST_BOTTLES: usize = 64;
/// The script, file after file: what comes later uses what comes before.
const SCRIPT: &str = concat!(
    include_str!("script/data.js"),
    include_str!("script/sound.js"),
    include_str!("script/together.js"),
    include_str!("script/piece.js"),
    include_str!("script/player.js"),
    include_str!("script/roll.js"),
    include_str!("script/hands.js"),
    include_str!("script/pieces.js"),
    include_str!("script/pour.js"),
    include_str!("script/page.js"),
);
const STYLE: &str = include_str!("page.css");
/// Samples a second of the room's answer, and how much of its decay is kept: what is left is 50 dB down.
const ROOM_RATE_HZ: u32 = 24_000;
const ROOM_PART: f64 = 50.0 / 60.0;
/// Longest strip on a screen, mm: it is looked at, not cut out.
const STRIP_MM: f64 = 2_000.0;

#[derive(Template)]
#[template(path = "page.html", config = "src/page/askama.toml")]
struct PageHtml {
    title: String,
    room: String,
    policy: String,
    style: String,
    script: &'static str,
    data: String,
    bottles: Vec<Shown>,
    pours: Vec<Shown>,
    pairs: Vec<PairWords>,
    pieces: Vec<String>,
    total: Option<[String; 2]>,
    liquid: String,
    cautions: Vec<&'static str>,
    struck: bool,
    blown: bool,
}

/// A bottle on the page.
#[derive(Clone)]
struct Shown {
    /// From the lowest, from 0.
    place: usize,
    card: Card,
    picture: ScreenDrawing,
    strip: Option<String>,
}

/// The page of a set, as the text of one HTML file.
///
/// # Errors
/// See [`PageError`].
pub fn html(stage: &Stage, spec: &PageSpec) -> Result<String, PageError> {
    let count = stage.set().pours.len();
    if count > MOST_BOTTLES {
        let max = MOST_BOTTLES;
        return Err(PageError::Bottles { count, max });
    }
    let room = match spec.dry {
        true => None,
        false => Some(room(stage)?),
    };
    let beside = Beside {
        id: id(stage),
        pieces: &spec.pieces,
        room: room.as_ref(),
    };
    let data = Data::of(stage, &recordings(stage)?, &beside)?;
    let data = serde_json::to_string(&data).map_err(|error| PageError::Data {
        said: error.to_string(),
    })?;
    page(stage, spec, data).map_err(|error| PageError::Data {
        said: error.to_string(),
    })
}

fn page(stage: &Stage, spec: &PageSpec, data: String) -> Result<String, askama::Error> {
    let sheet = Sheet::new(stage.set());
    let shown = |(place, pour): (usize, &PourIndex)| {
        let row = &sheet.rows[pour.place()];
        Shown {
            place,
            card: card(row, Paper::A4, sheet.units),
            picture: picture(row),
            strip: strip(row),
        }
    };
    let bottles: Vec<Shown> = stage.order().iter().enumerate().map(shown).collect();
    let mut pours = bottles.clone();
    pours.sort_by_key(|shown| shown.card.order);
    let style = style(&bottles);
    let pours_liquid = sheet.total().ml() >= 0.05;
    PageHtml {
        title: stage.set().title.clone(),
        room: room_words(&sheet),
        policy: policy(&style),
        style,
        script: SCRIPT,
        data: data.replace('<', "\\u003c"),
        pieces: spec.pieces.iter().map(|p| p.title.clone()).collect(),
        total: pours_liquid.then(|| {
            [sheet.total().ml(), sheet.total_mass().g()].map(|amount| format!("{amount:.0}"))
        }),
        liquid: stage.set().conditions.liquid.to_string(),
        cautions: sheet.cautions(),
        struck: stage.sounded().iter().any(|s| s.way.is_struck()),
        blown: stage.sounded().iter().any(|s| !s.way.is_struck()),
        pairs: pairs(&sheet),
        bottles,
        pours,
    }
    .render()
}

/// The bottle as it stands before who plays it.
fn picture(row: &SheetRow<'_>) -> ScreenDrawing {
    let bottle = &row.kind.bottle;
    match row.sounded.setting {
        Setting::Travel(travel) => slid_screen_drawing(bottle, travel),
        Setting::Fill(_) | Setting::Gauge(_) | Setting::Lift(_) => {
            screen_drawing(bottle, row.fill())
        }
    }
}

/// What every bottle sounds like, in the order of the set; worked out side by side.
fn recordings(stage: &Stage) -> Result<Vec<Recorded>, PageError> {
    let low = stage.voices(Balance::Even, Recorded::LOW_RATE)?;
    let full = stage.voices(Balance::Even, Recorded::FULL_RATE)?;
    let record = |place: usize| {
        let rate = Recorded::rate(&full[place]);
        let voices = if rate == Recorded::LOW_RATE {
            &low
        } else {
            &full
        };
        Ok(Recorded::of(&voices[place], rate, place as u64 + 1)?)
    };
    (0..full.len()).into_par_iter().map(record).collect()
}

/// What the set's room makes of a click.
fn room(stage: &Stage) -> Result<RoomClip, PageError> {
    let spec = RoomSpec::from(stage.set().listening);
    let mut room = Room::new(spec, SampleRate::from_hz(f64::from(ROOM_RATE_HZ)))?;
    let decay_s = spec.walls.map_or(0.1, |walls| walls.decay.s());
    let frames = (ROOM_PART * decay_s * f64::from(ROOM_RATE_HZ)) as usize;
    let (mut left, mut right) = (vec![0.0f32; frames], vec![0.0f32; frames]);
    (left[0], right[0]) = (1.0, 1.0);
    room.process(&mut left, &mut right);
    let samples = left.into_iter().zip(right).flat_map(|(l, r)| [l, r]);
    Ok(RoomClip {
        rate_hz: ROOM_RATE_HZ,
        samples: samples.map(|s| s.clamp(-1.0, 1.0)).collect(),
    })
}

/// The strip beside the bottle on its card, in one piece.
fn strip(row: &SheetRow<'_>) -> Option<String> {
    if !row.takes_liquid() {
        return None;
    }
    let longest = Length::from_mm(STRIP_MM);
    let strip = crate::report::strip::Strip::new(&row.kind.bottle, row.fill(), longest);
    strip.svgs(&row.note.to_string(), &row.kind.name).pop()
}

/// The style, with the size of every bottle: a policy that forbids style in the elements leaves no other place for it.
fn style(bottles: &[Shown]) -> String {
    let mut style = STYLE.to_owned();
    let highest_mm = bottles
        .iter()
        .map(|b| b.picture.height.mm())
        .fold(1.0, f64::max);
    style += &format!(":root{{--highest:{highest_mm:.1}}}\n");
    for bottle in bottles {
        let (place, width_mm) = (bottle.place, bottle.picture.width.mm());
        let height_mm = bottle.picture.height.mm();
        style += &format!("#b{place} svg{{--wide:{width_mm:.1};--high:{height_mm:.1}}}\n");
    }
    style
}

/// What the page may do: run this script, use this style, show pictures that are in it. No connection, form or frame.
fn policy(style: &str) -> String {
    let hash = |text: &str| {
        use base64::Engine;
        let digest = Sha256::digest(text.as_bytes());
        base64::engine::general_purpose::STANDARD.encode(digest)
    };
    format!(
        "default-src 'none'; script-src 'sha256-{}'; style-src 'sha256-{}'; img-src data:; base-uri 'none'; form-action 'none'",
        hash(SCRIPT),
        hash(style)
    )
}

/// What the browser keeps of a set is kept under this: another set, or another pouring, has another.
fn id(stage: &Stage) -> String {
    let mut digest = Sha256::new();
    digest.update(stage.set().title.as_bytes());
    for (pour, sounded) in stage.set().pours.iter().zip(stage.sounded()) {
        let kind = &stage.set().kind_of(pour).name;
        digest.update(format!("{} {kind} {:.1}\n", pour.note, sounded.fill.ml()));
    }
    let bytes = digest.finalize();
    bytes
        .iter()
        .take(8)
        .map(|byte| format!("{byte:02x}"))
        .collect()
}
