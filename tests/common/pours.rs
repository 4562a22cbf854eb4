//! Pours that never were: what a microphone hears of water running into a bottle in a kitchen.
//!
//! Shares nothing with what follows pours but the line model of the air column. Bubbles and impacts are noise and a shower
//! of clicks; they ring the air modes, which move with the fill; everything else a kitchen has is added.

use std::f64::consts::{PI, TAU};

use ullage::physics::bottle::Bottle;
use ullage::physics::conditions::Conditions;
use ullage::physics::prediction::Blown;
use ullage::units::Volume;

/// Samples a second.
pub const RATE_HZ: f64 = 16_000.0;
/// The fill moves once in so many samples.
const STEP: usize = 32;
/// Modes that ring.
const MODES: usize = 4;
/// The room alone, before the pour, s.
pub const ROOM_S: f64 = 1.3;
/// Levels of the modes below the first, dB: those of published pours were 12-23, 6-18 and 2-14 dB over the noise.
const BELOW_DB: [f64; MODES] = [0.0, 5.0, 9.0, 12.0];
/// Below this the noise of kitchens often hides the first mode, Hz, and how much of it, dB.
const HIDDEN: (f64, f64) = (250.0, 5.0);
/// Air modes during a pour against those at rest: means and deviations, cents; github.com/anbarsode/GW_jug.
const POURED_CENTS: [(f64, f64); 2] = [(-19.0, 15.0), (-10.0, 12.0)];

/// What is poured, and where.
#[derive(Clone, Debug)]
pub struct Scene {
    pub seed: u64,
    /// Mean flow, ml/s.
    pub flow_ml_s: f64,
    /// The first mode's peak over the noise, dB.
    pub snr_db: f64,
    /// How far the bottle is from its model at most, cents.
    pub off_cents: f64,
    /// In it already, and where the pour ends, ml.
    pub from_ml: f64,
    pub to_ml: f64,
    /// Pauses: after so many seconds of pouring, for so long.
    pub pauses_s: Vec<(f64, f64)>,
    /// Hum, other bottles ringing in the room, clinks.
    pub hum: bool,
    pub others: bool,
    pub clinks: bool,
    /// A funnel lowers the first mode by so much, and the others by a third of that.
    pub funnel_cents: f64,
    /// The pourer slows down to this share after so many seconds of pouring.
    pub slows: Option<(f64, f64)>,
}

impl Scene {
    pub fn new(seed: u64, flow_ml_s: f64, snr_db: f64) -> Self {
        Self {
            seed,
            flow_ml_s,
            snr_db,
            off_cents: 100.0,
            from_ml: 0.0,
            to_ml: f64::INFINITY,
            pauses_s: Vec::new(),
            hum: true,
            others: false,
            clinks: true,
            funnel_cents: 0.0,
            slows: None,
        }
    }
}

/// What is heard, and what was true.
pub struct Poured {
    pub samples: Vec<f32>,
    /// The fill at every step, ml.
    fills_ml: Vec<f64>,
    /// Of the flow, ml/s.
    flows_ml_s: Vec<f64>,
    /// How far the bottle itself is above its model, cents: the first mode at rest.
    pub off_cents: f64,
}

impl Poured {
    pub fn fill_ml(&self, at_s: f64) -> f64 {
        self.fills_ml[Self::step(at_s).min(self.fills_ml.len() - 1)]
    }

    pub fn flow(&self, at_s: f64) -> f64 {
        self.flows_ml_s[Self::step(at_s).min(self.flows_ml_s.len() - 1)]
    }

    pub fn flows(&self, at_s: f64) -> bool {
        self.flow(at_s) > 0.0
    }

    fn step(at_s: f64) -> usize {
        (at_s.max(0.0) * RATE_HZ) as usize / STEP
    }
}

/// Noise, quick: a multiplied counter, four sixteenths of a bell.
struct Noise(u64);

impl Noise {
    fn bits(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0
    }
    fn share(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1u64 << 53) as f64
    }
    fn even(&mut self, from: f64, to: f64) -> f64 {
        from + (to - from) * self.share()
    }
    fn bell(&mut self) -> f64 {
        let b = self.bits();
        let sum: u64 = (0..4).map(|n| (b >> (16 * n)) & 0xffff).sum();
        (sum as f64 / 65_535.0 - 2.0) * 3f64.sqrt()
    }
}

/// A walk about 0 of deviation 1 that forgets over `s`.
struct Walk(f64);

impl Walk {
    fn step(&mut self, noise: &mut Noise, s: f64) -> f64 {
        let keep = (-(STEP as f64) / RATE_HZ / s).exp();
        self.0 = keep * self.0 + (1.0 - keep * keep).sqrt() * noise.bell();
        self.0
    }
}

/// Two poles, with a peak of 1.
#[derive(Clone, Copy, Default)]
struct Ring {
    a1: f64,
    a2: f64,
    gain: f64,
    y1: f64,
    y2: f64,
}

impl Ring {
    fn tune(&mut self, hz: f64, q: f64) {
        let r = (-PI * hz / (q * RATE_HZ)).exp();
        let theta = TAU * hz / RATE_HZ;
        (self.a1, self.a2) = (2.0 * r * theta.cos(), r * r);
        self.gain = (1.0 - r) * (1.0 - 2.0 * r * (2.0 * theta).cos() + r * r).sqrt();
    }
    fn ring(&mut self, x: f64) -> f64 {
        let y = self.gain * x + self.a1 * self.y1 - self.a2 * self.y2;
        (self.y2, self.y1) = (self.y1, y);
        y
    }
}

/// The modes of a bottle over its fills, as logarithms.
pub struct Bore {
    fills_ml: Vec<f64>,
    logs: Vec<[f64; MODES]>,
}

impl Bore {
    /// As it is blown: lips on the mouth as the conditions say.
    pub fn blown(bottle: &Bottle, conditions: &Conditions) -> Self {
        let blown = Blown::new(bottle, conditions).unwrap();
        let (mut fills_ml, mut logs) = (Vec::new(), Vec::new());
        for n in 0..200 {
            let fill = bottle.bore().capacity() * (0.97 * f64::from(n) / 199.0);
            let Ok(column) = blown.column(fill) else {
                break;
            };
            let found = column.resonances(MODES);
            if found.is_empty() {
                break;
            }
            let mut row = [f64::NAN; MODES];
            for (to, mode) in row.iter_mut().zip(found) {
                *to = mode.frequency.hz().ln();
            }
            fills_ml.push(fill.ml());
            logs.push(row);
        }
        Self { fills_ml, logs }
    }

    /// As it is poured into: mouth open.
    pub fn open(bottle: &Bottle, conditions: &Conditions) -> Self {
        let open = Conditions {
            lip_open: 1.0,
            ..conditions.clone()
        };
        Self::blown(bottle, &open)
    }

    pub fn fullest_ml(&self) -> f64 {
        self.fills_ml[self.fills_ml.len() - 1]
    }

    /// The fill at which the lowest mode, moved by `off_cents`, is at `hz`.
    pub fn fill_for(&self, hz: f64, off_cents: f64) -> f64 {
        let wanted = hz.ln() - off_cents / 1200.0 * 2f64.ln();
        let above = self.logs.iter().position(|row| row[0] >= wanted);
        match above {
            Some(0) => self.fills_ml[0],
            None => self.fullest_ml(),
            Some(n) => {
                let (a, b) = (self.logs[n - 1][0], self.logs[n][0]);
                let share = (wanted - a) / (b - a);
                self.fills_ml[n - 1] + share * (self.fills_ml[n] - self.fills_ml[n - 1])
            }
        }
    }

    pub fn hz(&self, mode: usize, fill_ml: f64) -> f64 {
        let above = self.fills_ml.partition_point(|ml| *ml < fill_ml);
        let n = above.clamp(1, self.fills_ml.len() - 1);
        let share = (fill_ml - self.fills_ml[n - 1]) / (self.fills_ml[n] - self.fills_ml[n - 1]);
        let (a, b) = (self.logs[n - 1][mode], self.logs[n][mode]);
        (a + share * (b - a)).exp()
    }
}

/// Everything that a pour is made of, drawn once.
struct Drawn {
    errors_cents: [f64; MODES],
    qualities: [f64; MODES],
    levels_db: [f64; MODES],
    hiss: f64,
    rumble: f64,
    /// Frequency, amplitude.
    hum: Vec<(f64, f64)>,
    others: Vec<(Ring, f64)>,
}

fn drawn(scene: &Scene, noise: &mut Noise) -> (Drawn, f64) {
    let off = noise.even(-scene.off_cents, scene.off_cents);
    let mut errors_cents = [0.0; MODES];
    let poured: Vec<f64> = POURED_CENTS
        .iter()
        .map(|(mean, sd)| mean + sd * noise.bell())
        .collect();
    let other = (0.6 * off + 0.5 * noise.even(-scene.off_cents, scene.off_cents))
        .clamp(-scene.off_cents, scene.off_cents);
    for (mode, cents) in errors_cents.iter_mut().enumerate() {
        *cents = match mode {
            0 => off + poured[0] - scene.funnel_cents,
            _ => other + poured[1] + 5.0 * noise.bell() - scene.funnel_cents / 3.0,
        };
    }
    let hiss = 10f64.powf(noise.even(-2.0, 8.0) / 10.0);
    let rumble = noise.even(3.0, 30.0);
    let floor = |hz: f64| 1.0 + rumble / (1.0 + (hz / 300.0).powi(2)) + hiss;
    let mut hum = Vec::new();
    if scene.hum {
        for n in 1..=14 {
            let hz = 50.0 * f64::from(n) * (1.0 + 1e-3 * noise.bell());
            let db = noise.even(-12.0, 14.0) - f64::from(n);
            // A tone in a window of 128 ms stands so far over noise of this density, 11.7 Hz wide.
            let power = floor(hz) * 2.0 / RATE_HZ * 11.7 * 10f64.powf(db / 10.0);
            hum.push((hz, (2.0 * power).sqrt()));
        }
    }
    let mut others = Vec::new();
    if scene.others {
        for _ in 0..3 {
            let hz = noise.even(150.0, 1_200.0);
            let mut ring = Ring::default();
            ring.tune(hz, 40.0);
            let db = noise.even(3.0, 12.0);
            others.push((ring, (floor(hz) * 10f64.powf(db / 10.0)).sqrt()));
        }
    }
    let drawn = Drawn {
        errors_cents,
        qualities: std::array::from_fn(|_| noise.even(11.0, 22.0)),
        levels_db: std::array::from_fn(|mode| scene.snr_db - BELOW_DB[mode] + 2.0 * noise.bell()),
        hiss,
        rumble,
        hum,
        others,
    };
    (drawn, off)
}

/// The flow over time, and the fill that comes of it.
fn flows(scene: &Scene, until_ml: f64, noise: &mut Noise) -> (Vec<f64>, Vec<f64>) {
    let step_s = STEP as f64 / RATE_HZ;
    let (mut flows, mut fills) = (Vec::new(), Vec::new());
    let (mut quick, mut slow) = (Walk(noise.bell()), Walk(0.0));
    let (mut fill, mut poured_s, mut at_s, mut resting_s) = (scene.from_ml, 0.0, 0.0, 0.0);
    let mut pauses = scene.pauses_s.iter().copied().peekable();
    while fill < until_ml && at_s < 240.0 {
        let wander = 0.15 * quick.step(noise, 0.8) + 0.15 * slow.step(noise, 4.0);
        if let Some((_, long_s)) = pauses.next_if(|(after_s, _)| poured_s >= *after_s) {
            resting_s = long_s;
        }
        let slowed = scene.slows.map_or(1.0, |(after_s, share)| {
            1.0 + (share - 1.0) * ((poured_s - after_s) / 0.4).clamp(0.0, 1.0)
        });
        let rise = (poured_s / 0.2).clamp(0.05, 1.0);
        let flow = if at_s < ROOM_S || resting_s > 0.0 {
            resting_s -= step_s;
            0.0
        } else {
            poured_s += step_s;
            scene.flow_ml_s * wander.exp() * rise * slowed
        };
        fill += flow * step_s;
        at_s += step_s;
        flows.push(flow);
        fills.push(fill);
    }
    (flows, fills)
}

/// The sound of it.
pub fn pour(bore: &Bore, scene: &Scene) -> Poured {
    let mut noise = Noise(scene.seed.wrapping_mul(0x2545_f491_4f6c_dd1d) | 1);
    for _ in 0..8 {
        noise.bits();
    }
    let (mut made, off_cents) = drawn(scene, &mut noise);
    let until_ml = scene.to_ml.min(0.995 * bore.fullest_ml());
    let (flows_ml_s, fills_ml) = flows(scene, until_ml, &mut noise);
    let mut rings = [Ring::default(); MODES];
    let mut levels = [0.0; MODES];
    let mut waves: [Walk; MODES] = std::array::from_fn(|_| Walk(noise.bell()));
    let mut tilt = Walk(noise.bell());
    let (mut low, mut clink, mut bubble) = (0.0, 0.0, 0.0f64);
    let pole = (-TAU * 300.0 / RATE_HZ).exp();
    let mut samples = Vec::with_capacity(flows_ml_s.len() * STEP);
    for (step, (flow, fill)) in flows_ml_s.iter().zip(&fills_ml).enumerate() {
        let tilted_cents = 8.0 * tilt.step(&mut noise, 2.0);
        for mode in 0..MODES {
            let hz =
                bore.hz(mode, *fill) * ((made.errors_cents[mode] + tilted_cents) / 1200.0).exp2();
            if !(30.0..0.45 * RATE_HZ).contains(&hz) {
                levels[mode] = 0.0;
                continue;
            }
            rings[mode].tune(hz, made.qualities[mode]);
            let hidden = if mode == 0 && hz < HIDDEN.0 {
                HIDDEN.1
            } else {
                0.0
            };
            let db = made.levels_db[mode] - hidden + 2.0 * waves[mode].step(&mut noise, 0.7);
            let floor = 1.0 + made.rumble / (1.0 + (hz / 300.0).powi(2)) + made.hiss;
            levels[mode] = (floor * 10f64.powf(db / 10.0)).sqrt();
        }
        let pours = f64::from(*flow > 0.0);
        if scene.clinks && noise.share() < 0.4 * STEP as f64 / RATE_HZ {
            clink = noise.even(2.0, 12.0) * (1.0 + made.hiss).sqrt();
        }
        for n in 0..STEP {
            let at_s = (step * STEP + n) as f64 / RATE_HZ;
            // Half of what rings the modes is noise, half a shower of some ninety clicks a second.
            if noise.share() < 90.0 / RATE_HZ {
                bubble = noise.bell() * (0.5 * RATE_HZ / 90.0).sqrt();
            }
            let push = pours * (noise.bell() * 0.5f64.sqrt() + bubble);
            bubble = 0.0;
            low = pole * low + (1.0 - pole) * noise.bell() * made.rumble.sqrt();
            let mut sum = noise.bell() + low + pours * noise.bell() * made.hiss.sqrt();
            for mode in 0..MODES {
                sum += levels[mode] * rings[mode].ring(push);
            }
            for (hz, height) in &made.hum {
                sum += height * (TAU * hz * at_s).sin();
            }
            for (ring, height) in &mut made.others {
                sum += *height * ring.ring(noise.bell());
            }
            sum += clink * noise.bell();
            clink *= 1.0 - 1.0 / (0.02 * RATE_HZ);
            samples.push((0.01 * sum) as f32);
        }
    }
    Poured {
        samples,
        fills_ml,
        flows_ml_s,
        off_cents,
    }
}

/// Six bottles and more of the presets, from 100 ml to 1.5 l.
pub const BOTTLES: [(&str, &str); 8] = [
    ("presets/quay/set.toml", "cordial"),
    ("presets/quay/set.toml", "long-neck"),
    ("presets/quay/set.toml", "tide bottle"),
    ("presets/quay/set.toml", "lock-keeper"),
    ("presets/quay/set.toml", "jetty sauce"),
    ("presets/quay/set.toml", "ferry flask"),
    ("presets/chromatic/set.toml", "breakwater cider"),
    ("presets/chromatic/set.toml", "gull tonic"),
];

/// The fill of a bottle for a share of what it holds.
pub fn share_of(bottle: &Bottle, share: f64) -> Volume {
    bottle.bore().capacity() * share
}
