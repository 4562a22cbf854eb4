//! What bottles look like: twenty-odd numbers, each as likely as bottles show, and the bore that they make.

use super::base::Shape;
use super::nodes::Nodes;
use crate::physics::material::Material;

/// Numbers that make a shape.
pub(super) const UNKNOWNS: usize = 28;
/// A shape in standard deviations of what bottles show; all zero is the commonest.
pub(super) type Theta = [f64; UNKNOWNS];

/// The numbers by name.
pub(super) mod at {
    pub const BODY: usize = 0;
    pub const SLENDER: usize = 1;
    pub const MOUTH: usize = 2;
    pub const NECK: usize = 3;
    pub const TAPER: usize = 4;
    pub const FINISH: usize = 5;
    pub const NECK_MID: usize = 6;
    pub const SHOULDER: usize = 7;
    pub const ROUND: usize = 8;
    pub const HOLLOW: usize = 9;
    pub const EVEN: usize = 10;
    pub const CONE: usize = 11;
    pub const WAIST: usize = 12;
    pub const WAVE: usize = 13;
    pub const BASE: usize = 14;
    pub const WALL: usize = 15;
    pub const BEAD: usize = 16;
    pub const BEAD_AT: usize = 17;
    pub const FLARE: usize = 18;
    pub const FLOOR: usize = 19;
    pub const LIP: usize = 20;
    pub const PLAYER: usize = 21;
    pub const FINISH_LONG: usize = 22;
    pub const WAVE_2: usize = 23;
    pub const SHOULDER_2: usize = 24;
    pub const WAVE_3: usize = 25;
    pub const WAIST_2: usize = 26;
    pub const WAIST_AT: usize = 27;
}

/// Longer tails than a bell: as it near zero, growing faster and faster.
fn tailed(x: f64, tail: f64) -> f64 {
    (tail * x.clamp(-6.0, 6.0)).sinh() / tail
}

/// The smaller of two, rounded where they meet.
fn softer(x: f64, limit: f64) -> f64 {
    let share = (x / limit).clamp(0.0, 50.0);
    x / (1.0 + share.powi(6)).powf(1.0 / 6.0)
}

/// The same, with hardly a rounding.
fn hardly_softer(x: f64, limit: f64) -> f64 {
    let share = (x / limit).clamp(0.0, 50.0);
    if share < 0.7 {
        return x;
    }
    x / (1.0 + share.powi(32)).powf(1.0 / 32.0)
}

/// A number that is never below `least`, rounded over `width`.
pub(super) fn above(x: f64, least: f64, width: f64) -> f64 {
    let over = (x - least) / width;
    if over > 30.0 {
        return x;
    }
    least + width * over.exp().ln_1p()
}

/// The share of the fall from body to neck that a shoulder has made at `t` of its length.
fn fallen(t: f64, round: f64, hollow: f64, even: f64) -> f64 {
    if t <= 0.0 {
        return 0.0;
    }
    if t >= 1.0 {
        return 1.0;
    }
    let down = t.powf(round);
    down / (down + even * (1.0 - t).powf(hollow))
}

/// By how much a lip flares over the throat below it, as a share: of half of all bottles a seventieth, of one in six a
/// twelfth, of one in twenty nearly a quarter, of none more; a guess. Whoever measures a flared lip across its top and says
/// nothing of it is off by as much, always upwards. With one in twenty at a ninth a fifth fewer of such lips were within
/// what is said of a ruler's bottle; with lips of up to a third what is said of it was a tenth wider.
const FLARE: f64 = 0.014;
const FLARE_SPREAD: f64 = 1.8;
const FLARE_MOST: f64 = 0.26;
const SHOULDER_POINTS: usize = 14;
const BODY_POINTS: usize = 10;

/// By how much the lip is wider than the throat, as a share of it.
pub(super) fn flare(x: &Theta) -> f64 {
    softer(
        FLARE * (FLARE_SPREAD * x[at::FLARE].min(3.0)).exp(),
        FLARE_MOST,
    )
}

/// Thickness of body, floor and lip, m.
pub(super) fn walls(x: &Theta, material: Material) -> (f64, f64, f64) {
    let wall = 1e-3 * usual_wall_mm(material) * (0.42 * x[at::WALL]).exp();
    let floor = wall * floor_over_wall(material) * (0.35 * x[at::FLOOR]).exp();
    let lip = 1e-3 * material.usual_lip_wall_mm() * (0.35 * x[at::LIP]).exp();
    (wall, floor, lip)
}

/// The bottle of that many standard deviations.
pub(super) fn shape(x: &Theta, material: Material) -> Shape {
    let (wall, floor, lip) = walls(x, material);
    let body = 33e-3 * (0.7 * x[at::BODY]).exp();
    let mouth = 11e-3 * (0.45 * x[at::MOUTH]).exp();
    // The wider the mouth, the more it is a jar, and jars are squat.
    let jar = above((mouth / body).ln() + 1.0, 0.0, 0.15);
    let height = 2.0 * body * (1.05 - 0.8 * jar + 0.38 * tailed(x[at::SLENDER], 0.65)).exp();
    let over = ((mouth / body).ln() + 0.02).max(0.0);
    let neck_m = softer(height * (-1.7 + 0.75 * x[at::NECK]).exp(), 0.8 * height);
    let flare = flare(x);
    let throat = mouth * (1.0 - flare);
    let slope = above(0.045 + 0.035 * x[at::TAPER], -0.02, 0.012);
    let foot_radius = hardly_softer((throat + slope * neck_m).max(0.5 * throat), 0.995 * body);
    let fall = (body - foot_radius).max(0.0);
    // One in forty is hardly more than a step.
    let sharp = (-1.0 - x[at::SHOULDER]).max(0.0);
    let usual = (0.5 * (x[at::SHOULDER] - sharp * sharp)).exp();
    let long = above(2.0 * usual - 0.35, 0.0, 0.08);
    let shoulder_m = softer(long * fall + 1e-4, 0.93 * (height - neck_m));
    let foot = height - neck_m;
    let body_top = foot - shoulder_m;
    let mut nodes = Nodes::new();
    let lower = Body {
        x,
        radius: body,
        top: body_top,
    };
    lower.push(&mut nodes);
    let top_radius = lower.radius(1.0);
    // Where hardly a body is left below it, the shoulder is the body: a cone.
    let cone = ((0.35 - body_top / height) / 0.25).clamp(0.0, 1.0);
    let round = (2.0 - 0.9 * cone) * (0.42 * x[at::ROUND]).exp();
    // Below one it is a dome, which meets the neck at an angle: one bottle in three.
    let hollow = (1.4 - 0.4 * cone) * (0.75 * x[at::HOLLOW]).exp();
    let even = (0.45 * x[at::EVEN]).exp();
    let bump = 0.03 * tailed(x[at::SHOULDER_2], 0.6);
    for step in 1..=SHOULDER_POINTS {
        let t = step as f64 / SHOULDER_POINTS as f64;
        // Closer together towards the neck, where they count.
        let t = t * (1.6 - 0.6 * t);
        let r = top_radius - (top_radius - foot_radius) * fallen(t, round, hollow, even);
        let wave = 1.0 + bump * (2.0 * std::f64::consts::PI * t).sin();
        nodes.push(body_top + shoulder_m * t, r * wave);
    }
    let neck = Neck {
        x,
        foot,
        height,
        foot_radius,
        throat,
        mouth,
    };
    let narrowest = neck.push(&mut nodes);
    Shape {
        nodes,
        wall,
        floor,
        lip,
        body_top,
        foot,
        foot_radius,
        throat,
        narrowest,
        player: 0.0,
        strained: over / 0.03,
    }
}

struct Body<'a> {
    x: &'a Theta,
    radius: f64,
    top: f64,
}

impl Body<'_> {
    /// Radius at a share of the body's height.
    fn radius(&self, t: f64) -> f64 {
        let x = self.x;
        let cone = 0.014 * tailed(x[at::CONE], 1.0);
        let waist = 0.011 * tailed(x[at::WAIST], 1.2);
        let wave = 0.006 * tailed(x[at::WAVE], 1.0);
        let wave_2 = 0.005 * tailed(x[at::WAVE_2], 1.0);
        let wave_3 = 0.004 * tailed(x[at::WAVE_3], 1.0);
        let waist_2 = 0.006 * tailed(x[at::WAIST_2], 1.1);
        let turn = 2.0 * std::f64::consts::PI * t;
        // A waist as narrow as a hand, near the middle.
        let from = (t - 0.5 - 0.05 * x[at::WAIST_AT]) / 0.16;
        let form = cone * (1.0 - 2.0 * t)
            - waist / (1.0 + from * from + 0.5 * from.powi(4))
            - waist_2 * 0.5 * (1.0 - turn.cos())
            + wave * turn.sin()
            + wave_2 * (2.0 * turn).sin()
            + wave_3 * (3.0 * turn).sin();
        self.radius * (1.0 + form).clamp(0.3, 1.7)
    }

    fn push(&self, nodes: &mut Nodes) {
        let base = softer(
            0.13 * self.radius * (0.45 * self.x[at::BASE]).exp(),
            0.8 * self.top,
        );
        let base = base.min(0.9 * self.radius);
        for step in 0..4 {
            // A quarter of a circle.
            let turn = std::f64::consts::FRAC_PI_2 * f64::from(step) / 4.0;
            let z = base * (1.0 - turn.cos());
            nodes.push(z, self.radius(z / self.top) - base * (1.0 - turn.sin()));
        }
        for step in 0..=BODY_POINTS {
            let z = base + (self.top - base) * step as f64 / BODY_POINTS as f64;
            nodes.push(z, self.radius(z / self.top));
        }
    }
}

struct Neck<'a> {
    x: &'a Theta,
    foot: f64,
    height: f64,
    foot_radius: f64,
    throat: f64,
    mouth: f64,
}

impl Neck<'_> {
    /// Says how narrow it gets.
    fn push(&self, nodes: &mut Nodes) -> f64 {
        let x = self.x;
        let long = self.height - self.foot;
        let finish = softer(18e-3 * (0.35 * x[at::FINISH_LONG]).exp(), 0.5 * long) / long;
        let share = (-0.55 + 0.6 * x[at::FINISH]).exp();
        let at_finish = self.throat + (self.foot_radius - self.throat) * (finish * share).min(1.0);
        let mid = 0.03 * x[at::NECK_MID];
        let plain = |down: f64| {
            // From the mouth down.
            if down < finish {
                self.throat + (at_finish - self.throat) * down / finish
            } else {
                let t = (down - finish) / (1.0 - finish);
                (at_finish + (self.foot_radius - at_finish) * t) * (1.0 + mid * 4.0 * t * (1.0 - t))
            }
        };
        // Rings are as high as necks are narrow: in a wide mouth they count for less.
        let usual = (10e-3 / self.throat).min(1.0);
        let bead = (0.01 * usual * (1.5 * x[at::BEAD].min(3.2)).exp()).min(0.7);
        let where_ = 1.0 / (1.0 + (-1.2 * x[at::BEAD_AT]).exp());
        let wide = (4e-3 / long).min(0.2);
        let flared = (5e-3 / long).min(0.3);
        let centre = wide + (1.0 - 2.0 * wide - flared).max(0.0) * where_ + flared * 0.5;
        let points = [1.0, 0.85, 0.7, 0.55, 0.4];
        let ring = [
            centre + wide,
            centre + 0.5 * wide,
            centre,
            centre - 0.5 * wide,
            centre - wide,
        ];
        let dip = [0.0, 0.5, 1.0, 0.5, 0.0];
        let mut all = [(0.0, 0.0); 14];
        let mut count = 0;
        let mut add = |down: f64, by: f64| {
            all[count] = (down, by);
            count += 1;
        };
        for down in points {
            if down < 0.999 && (down - centre).abs() > wide {
                add(down, 0.0);
            }
        }
        for (down, dip) in ring.into_iter().zip(dip) {
            add(down, dip);
        }
        if (finish - centre).abs() > wide {
            add(finish, 0.0);
        }
        if (flared - centre).abs() > wide {
            add(flared, 0.0);
        }
        let used = &mut all[..count];
        used.sort_unstable_by(|a, b| b.0.total_cmp(&a.0));
        for &(down, by) in used.iter() {
            if down > 0.0 && down < 1.0 {
                nodes.push(self.height - long * down, plain(down) * (1.0 - bead * by));
            }
        }
        nodes.push(self.height, self.mouth);
        self.throat.min(plain(centre) * (1.0 - bead))
    }
}

/// Wall of the body, mm: soda-lime containers 2 to 4.5, PET 0.25 to 0.4 (walls of tapped bottles and of
/// `tests/data/bottles_fem.json`; the others a guess).
fn usual_wall_mm(material: Material) -> f64 {
    match material {
        Material::Glass => 2.5,
        Material::Plastic | Material::Ceramic | Material::Metal => material.usual_wall_mm(),
    }
}

fn floor_over_wall(material: Material) -> f64 {
    match material {
        Material::Glass => 1.4,
        Material::Plastic => 3.0,
        Material::Ceramic => 1.2,
        Material::Metal => 1.0,
    }
}
