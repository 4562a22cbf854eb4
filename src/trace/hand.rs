//! What a hand puts right in a traced picture: the ends of the axis, and how far out the glass is at some heights.

/// Points of an outline that a hand can move, evenly spaced over its height.
pub const GRIPS: usize = 16;

/// How far from the edge of the glass a hand puts a point, one standard deviation, as a share of the bottle's height. A
/// guess: a point of a screen that shows the bottle 500 points high.
pub const BY_HAND: f64 = 0.002;

/// What a hand has put elsewhere than it was seen. All in pixels of the photograph as [`Followed`](super::Followed) has it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Hand {
    /// The upper end of the axis, to the right and down; as seen if nothing.
    pub mouth: Option<[f64; 2]>,
    /// The lower end.
    pub base: Option<[f64; 2]>,
    /// How much further out the glass is on both sides than was seen, grip by grip.
    pub out_px: [f64; GRIPS],
}

impl Hand {
    /// Whether everything is as it was seen.
    #[must_use]
    pub fn rests(&self) -> bool {
        *self == Self::default()
    }

    /// The ends of the axis, of which `seen` were seen.
    pub(super) fn ends(&self, seen: [[f64; 2]; 2]) -> [[f64; 2]; 2] {
        [self.mouth.unwrap_or(seen[0]), self.base.unwrap_or(seen[1])]
    }
}

/// Where a grip is, as a share of the height.
pub(super) fn share(grip: usize) -> f64 {
    (grip as f64 + 0.5) / GRIPS as f64
}

/// What lies between the grips, straight from one to the next, at a share of the height.
pub(super) fn out_at(out: &[f64; GRIPS], share: f64) -> f64 {
    let place = (share * GRIPS as f64 - 0.5).clamp(0.0, (GRIPS - 1) as f64);
    let low = (place as usize).min(GRIPS - 2);
    out[low] + (place - low as f64) * (out[low + 1] - out[low])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_grip_moves_what_is_around_it_and_nothing_beyond_its_neighbours() {
        let mut out = [0.0; GRIPS];
        out[5] = 3.0;
        assert!((out_at(&out, share(5)) - 3.0).abs() < 1e-12);
        assert!((out_at(&out, 0.5 * (share(5) + share(6))) - 1.5).abs() < 1e-12);
        for far in [0.0, share(4), share(6), 1.0] {
            assert_eq!(out_at(&out, far), 0.0, "{far}");
        }
        // Beyond the last one both ends go along with it.
        out[GRIPS - 1] = 2.0;
        assert_eq!(out_at(&out, 1.0), 2.0);
    }
}
