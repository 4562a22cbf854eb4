//! A bank card beside the bottle, which says how large things are: ISO/IEC 7810 ID-1, 85.60 × 53.98 mm.

use super::TraceError;
use super::background::Difference;
use super::picture::Picture;
use super::sides::Sides;

/// Sides of a card, mm.
const CARD_MM: (f64, f64) = (85.60, 53.98);
/// Least difference from the background, steps.
const LEAST_STEPS: f32 = 12.0;
/// How far from 85.60 : 53.98 its sides may be, and how much of its rectangle it must fill.
const SHAPE: f64 = 0.08;
const FILLED: f64 = 0.88;
/// Fewest coarse pixels of a card's long side.
const LEAST_PIXELS: f64 = 25.0;

/// Millimetres to a fine pixel, by the card.
pub(super) fn mm_per_pixel(picture: &Picture, sides: &Sides) -> Result<f64, TraceError> {
    let coarse = &picture.coarse;
    let mirror = sides
        .frame
        .mirror()
        .scaled(1.0 / picture.ratio.0, 1.0 / picture.ratio.1);
    let difference = Difference::of(coarse, mirror);
    let wide = 2 * difference.half + 1;
    let outline = widths(picture, sides, difference.rows);
    let mut unlike = vec![false; difference.rows * wide];
    let least = LEAST_STEPS.max(4.0 * difference.noise);
    for row in 0..difference.rows {
        for away in 1..=difference.half {
            for side in [-1i64, 1] {
                let beside = away as f64 > outline[row] + 2.0;
                let column = (difference.half as i64 + side * away as i64) as usize;
                unlike[row * wide + column] = beside && difference.at(row, away, side) > least;
            }
        }
    }
    let mut best: Option<(f64, f64)> = None;
    for start in 0..unlike.len() {
        if !unlike[start] {
            continue;
        }
        let piece = piece(&mut unlike, wide, start);
        if let Some((off, pixels)) = card(&piece)
            && best.is_none_or(|(least, _)| off < least)
        {
            best = Some((off, pixels));
        }
    }
    let (_, pixels) = best.ok_or(TraceError::NoCard)?;
    Ok(CARD_MM.0 / (pixels * picture.ratio.0))
}

/// Half widths of the bottle by coarse row.
fn widths(picture: &Picture, sides: &Sides, rows: usize) -> Vec<f64> {
    let mut widths = vec![0.0f64; rows];
    for edge in sides.left.iter().chain(&sides.right) {
        let row = (edge.along / picture.ratio.1).round();
        for near in -2..=2 {
            if let Some(width) = widths.get_mut((row + f64::from(near)).max(0.0) as usize) {
                *width = width.max(edge.across / picture.ratio.0);
            }
        }
    }
    widths
}

/// All that hangs together with a place, taken out of the picture.
fn piece(unlike: &mut [bool], wide: usize, start: usize) -> Vec<(f64, f64)> {
    let mut open = vec![start];
    let mut piece = Vec::new();
    unlike[start] = false;
    while let Some(at) = open.pop() {
        piece.push(((at % wide) as f64, (at / wide) as f64));
        let near = [at.wrapping_sub(1), at + 1, at.wrapping_sub(wide), at + wide];
        for next in near {
            if unlike.get(next) == Some(&true) {
                unlike[next] = false;
                open.push(next);
            }
        }
    }
    piece
}

/// How far from a card's shape a piece is, and the long side of one, coarse pixels.
fn card(piece: &[(f64, f64)]) -> Option<(f64, f64)> {
    if (piece.len() as f64) < 0.5 * LEAST_PIXELS * LEAST_PIXELS {
        return None;
    }
    // The rectangle of least area around it, over its directions.
    let mut best = (f64::MAX, 0.0, 0.0);
    for degrees in 0..90 {
        let (sin, cos) = f64::from(degrees).to_radians().sin_cos();
        let (mut low, mut high) = ((f64::MAX, f64::MAX), (f64::MIN, f64::MIN));
        for &(x, y) in piece {
            let (u, v) = (x * cos + y * sin, y * cos - x * sin);
            low = (low.0.min(u), low.1.min(v));
            high = (high.0.max(u), high.1.max(v));
        }
        let (a, b) = (high.0 - low.0 + 1.0, high.1 - low.1 + 1.0);
        if a * b < best.0 {
            best = (a * b, a.max(b), a.min(b));
        }
    }
    let (area, long, short) = best;
    let off = (long / short / (CARD_MM.0 / CARD_MM.1) - 1.0).abs();
    let filled = piece.len() as f64 / area;
    // Both sides say how large it is.
    let pixels = 0.5 * (long + short * CARD_MM.0 / CARD_MM.1);
    (off < SHAPE && filled > FILLED && pixels > LEAST_PIXELS).then_some((off, pixels))
}
