//! What the page's script reads: the set in numbers, as one JSON object.
//!
//! Bottles are counted from the lowest to the highest, as they stand in the page. `data.js` names the same fields.

use std::collections::HashMap;

use rayon::prelude::*;
use serde::Serialize;

use super::flac::{FlacError, flac};
use super::recorded::{Clip, Recorded, STROKES_M_S};
use super::spec::PagePiece;
use crate::index::PourIndex;
use crate::number::rounded;
use crate::plan::piece::Beat;
use crate::plan::together::{Sounding, pair, together};
use crate::report::words::interval_of;
use crate::stage::Stage;
use crate::synth::{Dynamics, HARDEST_HAND, SOFTEST_HAND, USUAL_BREATH};

/// Breaths between the softest and the usual one, and between that and the hardest, that the page is given; between them it draws
/// straight lines.
const BREATHS: usize = 6;
/// Chords that are named at most.
const MOST_CHORDS: usize = 400;

/// All of it.
#[derive(Serialize)]
pub(super) struct Data {
    version: u32,
    title: String,
    /// For what the browser keeps: another set has another.
    id: String,
    bottles: Vec<BottleData>,
    breaths: Vec<BreathData>,
    /// Speeds of the mallet in the recorded strokes, m/s.
    strokes_m_s: [f64; 2],
    pairs: Vec<PairData>,
    /// Names of intervals by semitones, up to the widest of the set.
    intervals: Vec<String>,
    chords: Vec<ChordData>,
    pieces: Vec<PieceData>,
    room: Option<ClipData>,
}

/// One bottle.
#[derive(Serialize)]
struct BottleData {
    note: String,
    name: String,
    key: u8,
    hz: f64,
    target_hz: f64,
    q: f64,
    struck: bool,
    /// From left, −1, to right, 1.
    pan: f64,
    /// A blown one's tone and noise, or a struck one's soft and hard stroke.
    clips: [ClipData; 2],
}

/// A recording.
#[derive(Serialize)]
pub(super) struct ClipData {
    rate_hz: u32,
    /// First frame of the loop, and the first after it.
    looped: Option<[usize; 2]>,
    gain: f64,
    /// FLAC in base64.
    flac: String,
}

/// What a breath makes of the sound, against the usual one.
#[derive(Serialize)]
struct BreathData {
    g: f64,
    tone: f64,
    noise: f64,
    overtones_db: f64,
    cents: f64,
}

/// Two bottles together, low and high: places of the bottles, cents, cents off just, the just ratio, and the slowest and fastest
/// beats a second; no beats at all if those are missing.
#[derive(Serialize)]
struct PairData(usize, usize, f64, f64, String, Option<[f64; 2]>);

#[derive(Serialize)]
struct ChordData {
    name: String,
    bottles: Vec<usize>,
}

/// A piece on the bottles, in its written time.
#[derive(Serialize)]
struct PieceData {
    title: String,
    end_s: f64,
    /// Beginnings of the bars, and the end of the last.
    bars_s: Vec<f64>,
    /// Every beat, and whether it begins a bar.
    beats: Vec<(f64, bool)>,
    /// Bottle, beginning, end, breath over the threshold.
    notes: Vec<(usize, f64, f64, f64)>,
    /// The bottles of each player.
    players: Vec<Vec<usize>>,
    /// What no bottle has: note, times.
    missing: Vec<(String, usize)>,
}

/// What is not a bottle of its own: the set's name and what the browser keeps it under, the pieces, and the room.
pub(super) struct Beside<'a> {
    pub(super) id: String,
    pub(super) pieces: &'a [PagePiece],
    pub(super) room: Option<&'a RoomClip>,
}

/// What a room makes of a click.
pub(super) struct RoomClip {
    pub(super) rate_hz: u32,
    /// Left and right in turn.
    pub(super) samples: Vec<f32>,
}

impl Data {
    /// Of a set, with what was recorded of each of its pours.
    ///
    /// # Errors
    /// What the encoder says.
    pub(super) fn of(
        stage: &Stage,
        recorded: &[Recorded],
        beside: &Beside<'_>,
    ) -> Result<Self, FlacError> {
        let bottle = |(place, &pour): (usize, &PourIndex)| {
            let count = stage.order().len();
            bottle(stage, pour, (place, count), &recorded[pour.place()])
        };
        // Writing them takes longer than recording them.
        let in_order: Vec<(usize, &PourIndex)> = stage.order().iter().enumerate().collect();
        let bottles: Result<_, FlacError> = in_order.into_par_iter().map(bottle).collect();
        let places: HashMap<PourIndex, usize> = stage.order().iter().copied().zip(0..).collect();
        let room = beside.room.map(|room| {
            Ok(ClipData {
                rate_hz: room.rate_hz,
                looped: None,
                gain: 1.0,
                flac: base64(&flac(&room.samples, 2, room.rate_hz)?),
            })
        });
        Ok(Self {
            version: 1,
            title: stage.set().title.clone(),
            id: beside.id.clone(),
            bottles: bottles?,
            breaths: breaths(),
            strokes_m_s: STROKES_M_S,
            pairs: pairs(stage),
            intervals: intervals(stage),
            chords: chords(stage),
            pieces: beside.pieces.iter().map(|p| piece(p, &places)).collect(),
            room: room.transpose()?,
        })
    }
}

fn bottle(
    stage: &Stage,
    pour: PourIndex,
    (place, count): (usize, usize),
    recorded: &Recorded,
) -> Result<BottleData, FlacError> {
    let (own, sounded) = (&stage.set().pours[pour], &stage.sounded()[pour]);
    let (struck, clips) = match recorded {
        Recorded::Blown { tone, noise } => (false, [clip(tone)?, clip(noise)?]),
        Recorded::Struck {
            strokes: [soft, hard],
        } => (true, [clip(soft)?, clip(hard)?]),
    };
    Ok(BottleData {
        note: own.note.to_string(),
        name: stage.set().kind_of(own).name.clone(),
        key: own.note.midi(),
        hz: rounded(sounded.note().frequency.hz(), 4),
        target_hz: rounded(sounded.target.hz(), 4),
        q: rounded(sounded.note().quality, 2),
        struck,
        pan: rounded(crate::stage::pan(place, count), 3),
        clips,
    })
}

fn clip(clip: &Clip) -> Result<ClipData, FlacError> {
    Ok(ClipData {
        rate_hz: clip.rate_hz,
        looped: clip
            .looped
            .as_ref()
            .map(|looped| [looped.start, looped.end]),
        gain: rounded(f64::from(clip.gain), 7),
        flac: base64(&flac(&clip.samples, 1, clip.rate_hz)?),
    })
}

fn base64(bytes: &[u8]) -> String {
    use base64::Engine;
    base64::engine::general_purpose::STANDARD.encode(bytes)
}

fn breaths() -> Vec<BreathData> {
    let at = |step: usize| {
        let part = step as f64 / BREATHS as f64;
        // The usual one is among them, and is the recording itself.
        let g = if step <= BREATHS {
            SOFTEST_HAND * (USUAL_BREATH / SOFTEST_HAND).powf(part)
        } else {
            USUAL_BREATH * (HARDEST_HAND / USUAL_BREATH).powf(part - 1.0)
        };
        let is = Dynamics::at(g);
        BreathData {
            g: rounded(g, 4),
            tone: rounded(is.tone, 4),
            noise: rounded(is.noise, 4),
            overtones_db: rounded(is.overtones.db(), 2),
            cents: rounded(is.pull.cents(), 2),
        }
    };
    (0..=2 * BREATHS).map(at).collect()
}

/// Every pair, the lower place first.
fn pairs(stage: &Stage) -> Vec<PairData> {
    let sounding = in_order(stage);
    let mut all = Vec::new();
    for (low, lower) in sounding.iter().enumerate() {
        for (high, higher) in sounding.iter().enumerate().skip(low + 1) {
            let both = pair(lower, higher);
            all.push(PairData(
                low,
                high,
                rounded(both.interval.interval_cents, 1),
                rounded(both.interval.off_just_cents, 1),
                both.interval.just.to_string(),
                both.beats
                    .map(|b| [b.least_per_s, b.most_per_s].map(|b| rounded(b, 1))),
            ));
        }
    }
    all
}

fn intervals(stage: &Stage) -> Vec<String> {
    let pours = stage.set().pours.iter();
    let keys: Vec<usize> = pours.map(|pour| usize::from(pour.note.midi())).collect();
    let low = keys.iter().min().copied().unwrap_or(0);
    let high = keys.iter().max().copied().unwrap_or(0);
    (0..=high - low).map(interval_of).collect()
}

fn chords(stage: &Stage) -> Vec<ChordData> {
    let sounding = in_order(stage);
    let place = |name: &String| sounding.iter().position(|s| s.name == *name);
    let chords = together(&sounding).chords.into_iter().take(MOST_CHORDS);
    chords
        .map(|chord| ChordData {
            bottles: chord.bottles.iter().filter_map(place).collect(),
            name: chord.name,
        })
        .collect()
}

fn in_order(stage: &Stage) -> Vec<Sounding> {
    let all = stage.sounding();
    let order = stage.order().iter();
    order.map(|pour| all[pour.place()].clone()).collect()
}

fn piece(piece: &PagePiece, places: &HashMap<PourIndex, usize>) -> PieceData {
    let on = &piece.on;
    let mut bars_s: Vec<f64> = on.bars.iter().map(|bar| bar.start_s).collect();
    let notes_end_s = on.score.duration_s();
    let end_s = on
        .score
        .bars()
        .nth(on.bars.len())
        .map_or(notes_end_s, |bar| bar.start_s);
    bars_s.push(end_s);
    let seconds = |s: f64| rounded(s, 5);
    let shared = on.fewest(&on.sharing());
    let player = |pours: &Vec<PourIndex>| {
        let mut own: Vec<usize> = pours.iter().map(|pour| places[pour]).collect();
        own.sort_unstable();
        own
    };
    PieceData {
        title: piece.title.clone(),
        end_s: seconds(end_s),
        bars_s: bars_s.into_iter().map(seconds).collect(),
        beats: (on.played.beats.iter())
            .map(|&Beat { at_s, first }| (seconds(at_s), first))
            .collect(),
        notes: (on.breaths.iter())
            .map(|b| {
                let (start_s, stop_s) = (seconds(b.start_s), seconds(b.stop_s));
                (
                    places[&b.pour],
                    start_s,
                    stop_s,
                    rounded(b.over_threshold, 2),
                )
            })
            .collect(),
        players: shared.players.iter().map(player).collect(),
        missing: (on.played.missing.iter())
            .map(|missing| (missing.note.clone(), missing.times))
            .collect(),
    }
}
