//! How much heavier the air of a slice is where the bore widens or narrows: the flare factor on its inertance.
//!
//! Flow spreads over a wider bore by waves that die out along it, the radial modes of the wide side: the n-th in b/γₙ,
//! γₙ the zeros of J1 (3.83, 7.02, 10.2 …), b its radius. What the air gets heavier by is settled by how far they
//! reach:
//!
//! - into a long wide side: 0.82 a (1 − 1.31 α + 0.31 α³), the flanged end of a tube in a wider one (Karal 1953;
//!   Ingard, J. Acoust. Soc. Am. 25, 1953), α the ratio of the radii;
//! - into a shallow one, a squat jar or a bottle nearly full: they reach the floor, come back, and each is coth(γₙ h/b)
//!   times as heavy at the depth h. Between radii rather than lengths: by 8 J1(γₙα) J2(γₙα) / (γₙ² J0²(γₙ)) more for
//!   every step of the radius;
//! - through a short one, a bulge or a rib: they meet those of its other end, of the opposite sign: tanh(γ₁ d/2b);
//! - a wide side that lies beyond a length of straight narrow tube is not met at all.

use std::sync::LazyLock;

use super::mouth::STEP_END_CORRECTION;

/// Zeros of J1, Abramowitz & Stegun table 9.5: as many radial modes as a cavity a sixth of its radius deep needs.
const ZEROS: [f64; 3] = [3.831_706, 7.015_587, 10.173_468];
/// Depth in radii beyond which the floor is not felt: coth is then within 0.0001 of 1.
const DEEP: f64 = 1.3;
/// Shallowest depth in radii that the three modes are asked for.
const SHALLOW: f64 = 0.05;
/// Points of the table of radial modes over the ratio of radii.
const POINTS: usize = 65;
/// How much longer than its change of radius a piece of bore must be to count as tube. Fitted with `REACH`, to finite
/// volumes on beads in a neck.
const TUBE: f64 = 2.5;
/// Radii of tube in which the memory of a wider one before it falls to 1/e: the first radial mode's.
const REACH: f64 = 1.0 / ZEROS[0];
/// Half of the first radial mode's wave number in radii, for both ends of a short wide piece.
const THROUGH: f64 = 0.5 * ZEROS[0];

/// Such a piece so long that its ends do not meet: tanh is within 0.0001 of 1.
const LONG: f64 = 5.0;

/// One cut through the column: height and radius, m.
type Cut = (f64, f64);

/// The flare factor of each slice between `nodes`, none thinner than `step_m` for its change of radius.
pub(super) fn factors(nodes: &[Cut], step_m: f64) -> Vec<f64> {
    let mut flared: Vec<f64> = vec![1.0; nodes.len() - 1];
    narrowing(nodes, step_m, &mut flared);
    widening(nodes, step_m, &mut flared);
    flared
}

/// Slices that narrow upwards: their wide side lies below, down to the floor or the liquid.
fn narrowing(nodes: &[Cut], step_m: f64, flared: &mut [f64]) {
    let mut side = WideSide::at(nodes[0]);
    for (index, pair) in nodes.windows(2).enumerate() {
        let (low, high) = (pair[0], pair[1]);
        if high.1 < low.1 {
            let radius_m = (low.1 * high.1).sqrt();
            let closed = side.closes_at(radius_m).map(|at_m| low.0 - at_m);
            let depth = (high.0 - nodes[0].0) / side.widest_m;
            let floor = if closed.is_none() && nodes[0].1 >= radius_m {
                depth
            } else {
                DEEP
            };
            flared[index] = factor(low, high, step_m, &side, closed, floor);
        }
        side.passes(low, high);
    }
}

/// Slices that widen upwards, from the mouth down.
fn widening(nodes: &[Cut], step_m: f64, flared: &mut [f64]) {
    let upside = |(height_m, radius_m): Cut| (-height_m, radius_m);
    let mut side = WideSide::at(upside(nodes[nodes.len() - 1]));
    for (index, pair) in nodes.windows(2).enumerate().rev() {
        let (low, high) = (pair[0], pair[1]);
        if high.1 > low.1 {
            let closed = side
                .closes_at((low.1 * high.1).sqrt())
                .map(|at_m| -high.0 - at_m);
            flared[index] = factor(upside(high), upside(low), step_m, &side, closed, DEEP);
        }
        side.passes(upside(high), upside(low));
    }
}

/// The flare factor of the slice from `wide` to `narrow`. `closed` is how far away its wide side narrows again,
/// `floor` how many of its radii away it ends.
fn factor(
    wide: Cut,
    narrow: Cut,
    step_m: f64,
    side: &WideSide,
    closed: Option<f64>,
    floor: f64,
) -> f64 {
    let fall_m = wide.1 - narrow.1;
    let height_m = (narrow.0 - wide.0).max(step_m * fall_m.min(1.0));
    let slope = fall_m / height_m;
    let wall = (1.0 + slope * slope).sqrt();
    let ratio = (wide.1 * narrow.1).sqrt() / side.widest_m;
    let steep = 1.0 - 1.0 / (wall * wall);
    let long = STEP_END_CORRECTION * (1.0 - ratio.powi(3) * (0.64 + 0.18 * ratio * ratio));
    let gentle = (1.0 - long) / (wall * wall);
    let through = match closed.map(|length_m| THROUGH * length_m / side.widest_m) {
        Some(length) if length < LONG => length.tanh(),
        _ => 1.0,
    };
    1.0 + ((long + gentle) * through + steep * shallow(ratio, floor)) * (wall - 1.0)
}

/// What a floor `depth` radii away adds, at a ratio of radii.
fn shallow(ratio: f64, depth: f64) -> f64 {
    if depth >= DEEP {
        return 0.0;
    }
    let place = ratio.clamp(0.0, 1.0) * (POINTS - 1) as f64;
    let below = (place as usize).min(POINTS - 2);
    let share = place - below as f64;
    let depth = depth.max(SHALLOW);
    let of_mode = |(zero, row): (&f64, &[f64; POINTS])| {
        let comes_back = 2.0 / ((2.0 * zero * depth).exp_m1());
        comes_back * (row[below] + share * (row[below + 1] - row[below]))
    };
    ZEROS.iter().zip(RADIAL.iter()).map(of_mode).sum()
}

/// 8 J1(γα) J2(γα) / (γ² J0²(γ)) of each mode, over α from 0 to 1.
static RADIAL: LazyLock<[[f64; POINTS]; ZEROS.len()]> = LazyLock::new(|| {
    ZEROS.map(|zero| {
        let end = bessel(0, zero);
        std::array::from_fn(|point| {
            let x = zero * point as f64 / (POINTS - 1) as f64;
            8.0 * bessel(1, x) * bessel(2, x) / (zero * end).powi(2)
        })
    })
});

/// Jₙ(x) by its integral, Abramowitz & Stegun 9.1.21: of a whole period, so that few points are exact.
fn bessel(order: i32, x: f64) -> f64 {
    const PARTS: usize = 64;
    let at = |part: usize| {
        let turn = std::f64::consts::TAU * part as f64 / PARTS as f64;
        (f64::from(order) * turn - x * turn.sin()).cos()
    };
    (0..PARTS).map(at).sum::<f64>() / PARTS as f64
}

/// e^−x to a hundredth up to 0.5, which is as much as one slice is long; an exponential takes longer than all the rest.
fn faded(x: f64) -> f64 {
    1.0 / (1.0 + x * (1.0 + 0.5 * x))
}

/// What a slice meets on its wide side, learnt by walking up to it from there.
struct WideSide {
    /// The widest radius that is still felt, m.
    widest_m: f64,
    /// Cuts that nothing narrower has followed, the narrowest first, each with the next one after it.
    rising: Vec<(Cut, Cut)>,
}

impl WideSide {
    fn at(start: Cut) -> Self {
        Self {
            widest_m: start.1,
            rising: Vec::new(),
        }
    }

    /// Where the bore was last as narrow as this: the height on the way here.
    fn closes_at(&mut self, radius_m: f64) -> Option<f64> {
        while self.rising.last().is_some_and(|(cut, _)| cut.1 >= radius_m) {
            self.rising.pop();
        }
        let &(narrow, next) = self.rising.last()?;
        let share = ((radius_m - narrow.1) / (next.1 - narrow.1)).clamp(0.0, 1.0);
        Some(narrow.0 + share * (next.0 - narrow.0))
    }

    fn passes(&mut self, from: Cut, to: Cut) {
        let change_m = (to.1 - from.1).abs();
        let tube_m = (to.0 - from.0 - TUBE * change_m).max(0.0);
        if self.widest_m <= to.1 {
            self.widest_m = to.1;
        } else if tube_m > 0.0 {
            self.widest_m = to.1 + (self.widest_m - to.1) * faded(tube_m / (REACH * to.1));
        }
        if to.1 > from.1 {
            self.rising.push((from, to));
        }
    }
}
