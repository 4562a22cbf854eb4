//! Timing as people have it: every note a little early or late, the same way for the same seed.
//!
//! ```
//! use ullage::plan::humanise::scatter;
//!
//! let stage = ullage::stage::Stage::new(&ullage::set::open("presets/quay/set.toml")?)?;
//! let written = stage.programme(&ullage::file::piece::open("presets/quay/piece.mid")?).written;
//! let (sd_s, mut off_s) = (0.01, Vec::new());
//! for seed in 0..20 {
//!     let mut played = written.clone();
//!     scatter(&mut played, sd_s, seed);
//!     // The first notes cannot be early: they are left out.
//!     let later = written.iter().zip(&played).filter(|(w, _)| w.start_s > 2.0 * sd_s);
//!     off_s.extend(later.map(|(w, p)| (p.start_s - w.start_s).abs()));
//! }
//! // A normal distribution has 68.27 % within one standard deviation and 95.45 % within two, where it is cut off.
//! let near = off_s.iter().filter(|off_s| **off_s < sd_s).count() as f64 / off_s.len() as f64;
//! let standard_error = (0.715 * 0.285 / off_s.len() as f64).sqrt();
//! assert!((near - 0.6827 / 0.9545).abs() < 3.0 * standard_error);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use std::collections::HashMap;
use std::f64::consts::TAU;

use super::programme::Breath;
use crate::index::PourIndex;

/// No note is farther off than so many standard deviations.
const FARTHEST: f64 = 2.0;
/// Shortest note that is left, s.
const SHORTEST_S: f64 = 0.02;

/// Moves every breath by its own normally distributed time of standard deviation `sd_s`, seconds, cut
/// off at twice that. Breaths, in order of their beginning, keep their length, their order on a bottle
/// and the time they ring; none begins before 0.
pub fn scatter(breaths: &mut [Breath], sd_s: f64, seed: u64) {
    let mut dice = Dice(seed);
    // Where the last breath of each bottle is.
    let mut last: HashMap<PourIndex, usize> = HashMap::new();
    for index in 0..breaths.len() {
        let off_s = sd_s * dice.normal();
        let b = breaths[index];
        let ring_s = b.end_s - b.stop_s;
        let mut start_s = (b.start_s + off_s).max(0.0);
        if let Some(before) = last.insert(b.pour, index).map(|i| &mut breaths[i]) {
            start_s = start_s.max(before.start_s + SHORTEST_S);
            if before.stop_s > start_s {
                before.end_s -= before.stop_s - start_s;
                before.stop_s = start_s;
            }
        }
        let stop_s = start_s + (b.stop_s - b.start_s).max(SHORTEST_S);
        breaths[index] = Breath {
            start_s,
            stop_s,
            end_s: stop_s + ring_s,
            ..b
        };
    }
}

/// A counter, well mixed: Steele, Lea & Flood, *Fast splittable pseudorandom number generators*, 2014.
struct Dice(u64);

impl Dice {
    /// From 0 on, below 1.
    fn even(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Standard normal, drawn again while it is too far off. Box & Muller, 1958.
    fn normal(&mut self) -> f64 {
        loop {
            let (u, v) = (1.0 - self.even(), self.even());
            let drawn = (-2.0 * u.ln()).sqrt() * (TAU * v).cos();
            if drawn.abs() <= FARTHEST {
                return drawn;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn piece(count: u32) -> Vec<Breath> {
        let breath = |i: u32| Breath {
            pour: PourIndex::new((i % 3) as usize),
            start_s: 1.0 + 0.5 * f64::from(i),
            stop_s: 1.4 + 0.5 * f64::from(i),
            end_s: 1.6 + 0.5 * f64::from(i),
            tongued: true,
            over_threshold: 2.0,
        };
        (0..count).map(breath).collect()
    }

    #[test]
    fn one_seed_gives_one_timing_and_another_another() {
        let moved = |seed| {
            let mut breaths = piece(50);
            scatter(&mut breaths, 0.02, seed);
            breaths
        };
        assert_eq!(moved(7), moved(7));
        assert_ne!(moved(7), moved(8));
        let mut still = piece(50);
        scatter(&mut still, 0.0, 7);
        for (a, b) in still.iter().zip(piece(50)) {
            assert!((a.start_s - b.start_s).abs() < 1e-12 && (a.stop_s - b.stop_s).abs() < 1e-12);
        }
    }

    #[test]
    fn the_scatter_is_as_wide_as_asked_and_never_more_than_twice_that() {
        let (mut breaths, sd_s) = (piece(4000), 0.02);
        scatter(&mut breaths, sd_s, 1);
        let off = breaths
            .iter()
            .zip(piece(4000))
            .map(|(a, b)| a.start_s - b.start_s);
        let off: Vec<f64> = off.collect();
        assert!(off.iter().all(|o| o.abs() <= 2.0 * sd_s + 1e-12));
        let mean = off.iter().sum::<f64>() / 4000.0;
        let sd = (off.iter().map(|o| o * o).sum::<f64>() / 4000.0).sqrt();
        // Cut off at two, a normal distribution keeps 0.880 of its standard deviation; 4000 draws give
        // it to some 1 %, 4 % are allowed.
        assert!((sd / sd_s / 0.880 - 1.0).abs() < 0.04, "{}", sd / sd_s);
        assert!(mean.abs() < 4.0 * sd / 4000f64.sqrt(), "{mean}");
    }

    #[test]
    fn notes_of_a_bottle_keep_their_order_and_do_not_meet() {
        let mut breaths = piece(300);
        scatter(&mut breaths, 0.6, 3);
        for pour in PourIndex::all(3) {
            let own: Vec<&Breath> = breaths.iter().filter(|b| b.pour == pour).collect();
            assert!(own.windows(2).all(|w| w[0].stop_s <= w[1].start_s));
            assert!(
                own.iter()
                    .all(|b| b.start_s >= 0.0 && b.stop_s > b.start_s && b.end_s > b.stop_s)
            );
        }
    }
}
