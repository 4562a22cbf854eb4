//! A bore as a handful of points, and its note without losses: what is worked out thousands of times for one bottle.

use std::f64::consts::PI;

/// Most points of a bore here.
pub(super) const MOST: usize = 96;
/// Flanged end correction of a step, in radii of the smaller side: as the line model's.
const STEP_END: f64 = 0.82;
/// Longest slice where the bore flares, and where it is straight, m.
const SLICE_M: f64 = 5e-3;
const STRAIGHT_M: f64 = 20e-3;
/// Largest change of radius across a slice, as a share of the smaller radius.
const SLICE_FLARE: f64 = 0.25;

/// Points of a bore from the inner floor to the mouth, m, and the volume below each, m³.
#[derive(Clone, Copy, Debug)]
pub(super) struct Nodes {
    pub count: usize,
    pub z: [f64; MOST],
    pub r: [f64; MOST],
    pub below: [f64; MOST],
}

impl Nodes {
    pub(super) fn new() -> Self {
        Self {
            count: 0,
            z: [0.0; MOST],
            r: [0.0; MOST],
            below: [0.0; MOST],
        }
    }

    /// The next point up; heights never fall.
    pub(super) fn push(&mut self, z: f64, r: f64) {
        let at = self.count;
        if at == MOST {
            return;
        }
        let r = r.clamp(0.6e-3, 0.49);
        let (z, below) = if at == 0 {
            (z, 0.0)
        } else {
            let (z0, r0) = (self.z[at - 1], self.r[at - 1]);
            let z = z.max(z0);
            (z, self.below[at - 1] + frustum(r0, r, z - z0))
        };
        self.z[at] = z;
        self.r[at] = r;
        self.below[at] = below;
        self.count += 1;
    }

    pub(super) fn capacity(&self) -> f64 {
        self.below[self.count - 1]
    }

    pub(super) fn height(&self) -> f64 {
        self.z[self.count - 1]
    }

    pub(super) fn widest(&self) -> f64 {
        self.r[..self.count]
            .iter()
            .fold(0.0, |most, &r| r.max(most))
    }

    /// Inner radius at a height.
    pub(super) fn radius_at(&self, z: f64) -> f64 {
        let above = self.z[..self.count].partition_point(|&x| x <= z);
        if above == 0 {
            return self.r[0];
        }
        if above == self.count {
            return self.r[self.count - 1];
        }
        let span = self.z[above] - self.z[above - 1];
        let share = if span > 0.0 {
            (z - self.z[above - 1]) / span
        } else {
            1.0
        };
        self.r[above - 1] + (self.r[above] - self.r[above - 1]) * share
    }

    /// Level of a volume above the inner floor; beyond the mouth as if its bore went on.
    pub(super) fn level_of(&self, volume: f64) -> f64 {
        if volume <= 0.0 {
            return 0.0;
        }
        let above = self.below[..self.count].partition_point(|&v| v <= volume);
        if above == self.count {
            let r = self.r[self.count - 1];
            return self.height() + (volume - self.capacity()) / (PI * r * r);
        }
        let (r0, r1) = (self.r[above - 1], self.r[above]);
        let share = (volume - self.below[above - 1]) / (self.below[above] - self.below[above - 1]);
        let rise = (r1 - r0) / r0;
        let part = if rise.abs() < 1e-6 {
            share
        } else {
            let growth = (1.0 + rise).powi(3) - 1.0;
            ((1.0 + share * growth).cbrt() - 1.0) / rise
        };
        self.z[above - 1] + (self.z[above] - self.z[above - 1]) * part
    }

    /// The lowest resonance without losses above a level, rad/s squared; `sound` in m/s, the mouth lengthened by `end_m`.
    /// None where less than a millimetre of air is left.
    pub(super) fn note_squared(&self, level: f64, sound: f64, end_m: f64) -> Option<f64> {
        let height = self.height();
        if height - level < 1e-3 {
            return None;
        }
        let mut line = Line::default();
        let first = self.z[..self.count].partition_point(|&x| x <= level);
        let mut low = (level, self.radius_at(level));
        let mut widest_below = low.1;
        for at in first..self.count {
            let high = (self.z[at], self.r[at]);
            // Where the bore widens upwards, the wide side is above.
            let wide_above = if high.1 > low.1 {
                self.r[at..self.count]
                    .iter()
                    .fold(0.0, |most: f64, &r| r.max(most))
            } else {
                0.0
            };
            line.add(low, high, widest_below, wide_above);
            widest_below = widest_below.max(high.1);
            low = high;
        }
        line.note(end_m / (PI * low.1 * low.1))
            .map(|x| x * sound * sound)
    }
}

/// Inertances (1/m) and compliances (m³) of the slices, density and sound left out.
struct Line {
    count: usize,
    inertance: [f64; 320],
    compliance: [f64; 320],
}

impl Default for Line {
    fn default() -> Self {
        Self {
            count: 0,
            inertance: [0.0; 320],
            compliance: [0.0; 320],
        }
    }
}

impl Line {
    fn add(&mut self, low: (f64, f64), high: (f64, f64), widest_below: f64, wide_above: f64) {
        let (dz, dr) = ((high.0 - low.0).max(1e-6), high.1 - low.1);
        let longest = if dr.abs() < 0.02 * dz {
            STRAIGHT_M
        } else {
            SLICE_M
        };
        let pieces = (dz / longest)
            .max(dr.abs() / (SLICE_FLARE * low.1.min(high.1)))
            .ceil()
            .clamp(1.0, 24.0);
        let slope = dr / dz;
        let wall = (1.0 + slope * slope).sqrt();
        let step = dz / pieces;
        let mut r0 = low.1;
        let mut widest = widest_below;
        for piece in 1..=pieces as usize {
            if self.count == 320 {
                return;
            }
            let r1 = low.1 + dr * piece as f64 / pieces;
            let flare = if slope == 0.0 {
                1.0
            } else {
                widest = widest.max(r0);
                let wide = if slope <= 0.0 { widest } else { wide_above };
                let share = (r0 * r1).sqrt() / wide;
                let end = STEP_END * (1.0 - 0.62 * share * share * share);
                1.0 + (end + (1.0 - end) / (wall * wall)) * (wall - 1.0)
            };
            self.inertance[self.count] = flare * step / (PI * r0 * r1);
            self.compliance[self.count] = frustum(r0, r1, step);
            self.count += 1;
            r0 = r1;
        }
    }

    /// k² at which the pressure outside the mouth vanishes, 1/m².
    fn note(&self, mouth: f64) -> Option<f64> {
        // To first order in k² the pressure left is 1 − k² Σ inertance · compliance below it.
        let mut below = 0.0;
        let mut sum = 0.0;
        for at in 0..self.count {
            sum += self.inertance[at] * (below + 0.5 * self.compliance[at]);
            below += self.compliance[at];
        }
        sum += mouth * below;
        if sum.is_nan() || sum <= 0.0 {
            return None;
        }
        let left = |x: f64| {
            let (mut pressure, mut flow) = (1.0, 0.0);
            for at in 0..self.count {
                let half = 0.5 * self.compliance[at];
                flow += half * pressure;
                pressure -= x * self.inertance[at] * flow;
                flow += half * pressure;
            }
            pressure - x * mouth * flow
        };
        // The first guess is low, by a fifth for a plain tube.
        let (mut x0, mut y0) = (0.0, 1.0);
        let mut x1 = 1.0 / sum;
        for _ in 0..8 {
            let y1 = left(x1);
            if (y1 - y0).abs() < 1e-14 {
                break;
            }
            let x2 = (x1 - y1 * (x1 - x0) / (y1 - y0)).clamp(0.5 * x1, 1.6 * x1);
            (x0, y0) = (x1, y1);
            let done = (x2 / x1 - 1.0).abs() < 1e-5;
            x1 = x2;
            if done {
                break;
            }
        }
        (x1.is_finite() && x1 > 0.0).then_some(x1)
    }
}

fn frustum(r0: f64, r1: f64, dz: f64) -> f64 {
    PI * dz * (r0 * r0 + r0 * r1 + r1 * r1) / 3.0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tube(height: f64, radius: f64) -> Nodes {
        let mut nodes = Nodes::new();
        nodes.push(0.0, radius);
        nodes.push(height, radius);
        nodes
    }

    #[test]
    fn a_plain_tube_sounds_a_quarter_of_a_wave() {
        let squared = tube(0.2, 0.01)
            .note_squared(0.0, 340.0, 0.0)
            .expect("there is air");
        // ω = 2π c / 4 L; ten slices miss it by a thousandth.
        let quarter = PI * 340.0 / (2.0 * 0.2);
        assert!(
            (squared.sqrt() / quarter - 1.0).abs() < 2e-3,
            "{}",
            squared.sqrt() / quarter
        );
        assert!(tube(0.2, 0.01).note_squared(0.1995, 340.0, 0.0).is_none());
    }

    #[test]
    fn a_level_and_the_volume_below_it_are_each_others_inverse() {
        let mut cone = Nodes::new();
        for (z, r) in [(0.0, 0.04), (0.1, 0.04), (0.16, 0.01), (0.22, 0.009)] {
            cone.push(z, r);
        }
        for z in [0.02, 0.1, 0.13, 0.159, 0.2] {
            let mut below = Nodes::new();
            for at in (0..cone.count).filter(|&at| cone.z[at] < z) {
                below.push(cone.z[at], cone.r[at]);
            }
            below.push(z, cone.radius_at(z));
            assert!((cone.level_of(below.capacity()) - z).abs() < 1e-9, "{z}");
        }
    }
}
