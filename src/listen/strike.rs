//! Several taps of one bottle as one set of partials, and which of them is the note that a plan means.
//!
//! ```
//! use std::f64::consts::TAU;
//! use ullage::listen::{strike, taps::TapListener};
//! use ullage::units::SampleRate;
//! // A bottle tapped twice, 1 s apart. It is not quite round: its note is two modes, 2000 and 2006 Hz.
//! let rings = |n: usize| {
//!     let t = n as f64 / 48_000.0 % 1.0 - 0.2;
//!     let mode = |hz: f64| 0.3 * (-8.0 * t).exp() * (TAU * hz * t).sin();
//!     if t < 0.0 { 0.0 } else { (mode(2000.0) + mode(2006.0)) as f32 }
//! };
//! let mut listener = TapListener::new(SampleRate::from_hz(48_000.0))?;
//! listener.push(&(0..96_000).map(rings).collect::<Vec<f32>>());
//! listener.finish();
//! let note = *strike::together(&listener.heard()).ok_or("no tap was heard")?.strongest();
//! // They beat six times a second, and the note lies in the middle; 0.1 Hz is a tenth of a cent.
//! let beat = note.doublet.ok_or("one mode only")?.beat();
//! assert!((beat.hz() - 6.0).abs() < 0.1 && (note.frequency.hz() - 2003.0).abs() < 0.1);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use super::taps::{Doublet, Partial, Tap};
use crate::physics::struck::TIED_DB;
use crate::units::{Duration, Frequency, Interval, Level};

/// Partials of two taps within this are the same, cents.
const SAME_CENTS: f64 = 35.0;
/// How far a partial may lie from the model's pattern once that was moved as a whole, cents (one standard deviation): a
/// compromise. Wide enough for the tapped bottle of `struck_bottle_A_water.csv`, whose n = 3 lies 80 to 150 cents above
/// where the fit of n = 2 has it; narrow enough to keep neighbours, 200 cents and more away, apart.
const PATTERN_CENTS: f64 = 40.0;
/// Farther than this from the pattern a partial is another one, cents.
const FARTHEST_CENTS: f64 = 120.0;
/// Partials of the model that are softer do not say where the pattern lies: few of them are heard, and many are near one that is, dB.
const FAINT_DB: f64 = -25.0;
/// Steps in which the pattern is moved, cents.
const STEP_CENTS: f64 = 2.0;
/// A partial that seems to be one mode is so sure at best (95 %), cents: the other of two may be silent where the bottle was tapped.
/// Of one tap, and of several that agree. Half of a split of 0 to 1 %, by trial: of 274 single taps that seemed so 7 in a hundred lay farther off.
const ONE_MODE_CENTS: f64 = 6.0;
const ONE_MODE_AGREED_CENTS: f64 = 2.5;
/// What only one of several taps has is that much less sure, cents; a guess, and the trials bear it out.
const UNAGREED_CENTS: f64 = 6.0;
/// A tap so much softer than the loudest one is something else: a spoon put down, a word, dB.
const SOFTEST_TAP_DB: f64 = -15.0;
/// A wall of glass has no note below, Hz: what is there is a hand, a table, or the air. One of plastic may have, and is
/// heard so where nothing rings above it.
const LOWEST_GLASS_HZ: f64 = 700.0;

/// Poorer than this it is no wall of glass but the mallet or the table: glass has 300 and more.
const LEAST_GLASS_QUALITY: f64 = 60.0;
/// And better than this, or lower, it is no wall of plastic but the air, or somebody else's tone: taste.
const MOST_PLASTIC_QUALITY: f64 = 150.0;
const LOWEST_PLASTIC_HZ: f64 = 200.0;
/// A pitch that is less sure is none, cents.
const UNSURE_CENTS: f64 = 50.0;

/// What one or more taps of a bottle came to.
#[derive(Clone, Debug, PartialEq)]
pub struct Strike {
    /// How many taps.
    pub taps: usize,
    /// The partials of all, the lowest first.
    pub partials: Vec<Partial>,
}

/// One partial that a model expects.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Expected {
    /// Waves around.
    pub waves: u32,
    /// Where.
    pub frequency: Frequency,
    /// How loud beside the strongest.
    pub level: Level,
}

/// A partial of one tap, and the energy with which it was heard.
#[derive(Clone, Copy)]
struct Weighed {
    partial: Partial,
    tap: usize,
    energy: f64,
}

/// The partials of `taps` together; `None` without taps. Taps that are 15 dB softer than the loudest one do not count, and
/// a partial that a third of the taps or fewer have is noise, unless those are the loud ones.
#[must_use]
pub fn together(taps: &[Tap]) -> Option<Strike> {
    let loudest_db = loudest(taps.iter().map(|tap| tap.loudness));
    let is_loud = |tap: &&Tap| tap.loudness.db() >= loudest_db + SOFTEST_TAP_DB;
    let taps: Vec<&Tap> = taps.iter().filter(is_loud).collect();
    let energies: Vec<f64> = taps.iter().map(|tap| power(tap.loudness)).collect();
    let least_energy = 0.5 * energies.iter().sum::<f64>();
    let mut groups = grouped(&taps);
    groups.retain(|group| {
        let has = |tap: &usize| group.iter().any(|one| one.tap == *tap);
        let those: Vec<usize> = (0..taps.len()).filter(has).collect();
        let is_agreed = taps.len() < 3 || 3 * those.len() > taps.len();
        is_agreed || those.iter().map(|tap| energies[*tap]).sum::<f64>() > least_energy
    });
    let mut partials: Vec<Partial> = groups.iter().map(|g| merged(g, taps.len())).collect();
    let loudest_db = loudest(partials.iter().map(|partial| partial.level));
    for partial in &mut partials {
        partial.level = Level::from_db(partial.level.db() - loudest_db);
    }
    partials.sort_by(|a, b| a.frequency.hz().total_cmp(&b.frequency.hz()));
    (!partials.is_empty()).then_some(Strike {
        taps: taps.len(),
        partials,
    })
}

fn power(level: Level) -> f64 {
    level.gain().powi(2)
}

fn loudest(levels: impl Iterator<Item = Level>) -> f64 {
    levels.map(Level::db).fold(f64::NEG_INFINITY, f64::max)
}

/// Partials of several taps that are the same, those of the loud taps first.
fn grouped(taps: &[&Tap]) -> Vec<Vec<Weighed>> {
    let mut all: Vec<Weighed> = Vec::new();
    for (place, tap) in taps.iter().enumerate() {
        all.extend(tap.partials.iter().map(|partial| Weighed {
            partial: *partial,
            tap: place,
            energy: power(tap.level) * power(partial.level),
        }));
    }
    all.sort_by(|a, b| b.energy.total_cmp(&a.energy));
    let mut groups: Vec<Vec<Weighed>> = Vec::new();
    for one in all {
        let near = |group: &&mut Vec<Weighed>| {
            let first = group[0].partial.frequency;
            let cents = one.partial.frequency.interval_above(first).cents();
            cents.abs() < SAME_CENTS
        };
        match groups.iter_mut().find(near) {
            Some(group) => group.push(one),
            None => groups.push(vec![one]),
        }
    }
    groups
}

/// One partial of several taps. Where some taps show both modes of a doublet and others one, those that show both decide.
fn merged(group: &[Weighed], taps: usize) -> Partial {
    let split: Vec<Weighed> = group
        .iter()
        .filter(|one| one.partial.doublet.is_some())
        .copied()
        .collect();
    let used = if split.is_empty() { group } else { &split[..] };
    let first = used[0].partial.frequency;
    let cents = |one: &Weighed| one.partial.frequency.interval_above(first).cents();
    let trust = |one: &Weighed| one.partial.plus_minus.cents().max(0.05).powi(-2);
    let sum: f64 = used.iter().map(trust).sum();
    let mean = used.iter().map(|one| trust(one) * cents(one)).sum::<f64>() / sum;
    let count = used.len() as f64;
    let between = if used.len() > 1 {
        let square: f64 = used.iter().map(|one| (cents(one) - mean).powi(2)).sum();
        super::phase::student(used.len() - 1) * (square / (count - 1.0) / count).sqrt()
    } else if taps > 1 {
        UNAGREED_CENTS
    } else {
        0.0
    };
    // What is beside the tones is there in every tap, and does not become less by tapping again.
    let murk = used.iter().map(|one| one.partial.murk.cents()).sum::<f64>() / count;
    let hidden = match (split.is_empty(), taps) {
        (true, 1) => ONE_MODE_CENTS,
        (true, _) => ONE_MODE_AGREED_CENTS + murk,
        (false, _) => murk,
    };
    let median = |value: &dyn Fn(&Partial) -> f64| {
        super::phase::median(
            &mut used
                .iter()
                .map(|one| value(&one.partial))
                .collect::<Vec<f64>>(),
        )
    };
    let energy: f64 = group.iter().map(|one| one.energy).sum();
    Partial {
        frequency: first.raised_by(Interval::from_cents(mean)),
        plus_minus: Interval::from_cents(between.hypot(hidden).hypot(sum.sqrt().recip())),
        murk: Interval::default(),
        level: Level::from_gain(energy.max(1e-30).sqrt()),
        t60: Duration::from_s(median(&|p: &Partial| p.t60.s())),
        quality: median(&|p: &Partial| p.quality),
        doublet: doublet(&split),
    }
}

/// The two modes of several taps that show both.
fn doublet(split: &[Weighed]) -> Option<Doublet> {
    let pairs = || {
        split
            .iter()
            .filter_map(|one| Some((one.partial.doublet?, one.energy)))
    };
    let median = |value: &dyn Fn(&Doublet) -> f64| {
        let mut values: Vec<f64> = pairs().map(|(pair, _)| value(&pair)).collect();
        Frequency::from_hz(super::phase::median(&mut values))
    };
    let (mut low, mut high) = (0.0, 0.0);
    for (pair, energy) in pairs() {
        let ratio = power(pair.high_over_low);
        low += energy / (1.0 + ratio);
        high += energy * ratio / (1.0 + ratio);
    }
    (!split.is_empty()).then(|| Doublet {
        low: median(&|pair| pair.low.hz()),
        high: median(&|pair| pair.high.hz()),
        high_over_low: Level::from_gain((high / low).max(1e-12).sqrt()),
    })
}

impl Strike {
    /// The strongest partial, the lowest of those that are as strong within 3 dB: what the ear takes for the note where
    /// nothing is known of the bottle. Below 700 Hz only where nothing rings above.
    #[must_use]
    pub fn strongest(&self) -> &Partial {
        let walls = self
            .partials
            .iter()
            .filter(|p| p.frequency.hz() >= LOWEST_GLASS_HZ);
        let loudest_db = loudest(walls.clone().map(|p| p.level));
        let strong = |p: &&Partial| p.level.db() >= loudest_db - TIED_DB;
        let lowest = walls.clone().find(strong);
        let any = || self.partials.iter().find(|p| p.level.db() >= -TIED_DB);
        lowest.or_else(any).unwrap_or(&self.partials[0])
    }

    /// The strongest partial, where it may be a wall's: its pitch is sure enough, it rings as a wall does, and it is not as
    /// low as a hand's thump. `None` where what was heard is no bottle.
    #[must_use]
    pub fn note(&self) -> Option<&Partial> {
        let partial = self.strongest();
        let (hz, quality) = (partial.frequency.hz(), partial.quality);
        let rings = if hz >= LOWEST_GLASS_HZ {
            quality >= LEAST_GLASS_QUALITY
        } else {
            hz >= LOWEST_PLASTIC_HZ && quality <= MOST_PLASTIC_QUALITY
        };
        (rings && partial.plus_minus.cents() <= UNSURE_CENTS).then_some(partial)
    }

    /// Which of the partials are which of the model's: for each of `expected` its partial, if it was heard. The model's
    /// pattern is moved as a whole, by as much as it may be off (`doubt`, 95 %), to where most of it meets what was heard.
    #[must_use]
    pub fn told_apart(&self, expected: &[Expected], doubt: Interval) -> Vec<Option<usize>> {
        let deviation = (0.5 * doubt.cents()).max(STEP_CENTS);
        let moves = (2.5 * deviation / STEP_CENTS) as i32;
        let score = |moved: f64| {
            let meets: f64 = expected
                .iter()
                .filter(|e| e.level.db() >= FAINT_DB)
                .map(|e| weight(e.level) * self.nearest(e, moved).map_or(0.0, |(_, fit)| fit))
                .sum();
            meets * (-0.5 * (moved / deviation).powi(2)).exp()
        };
        let best = (-moves..=moves)
            .map(|step| f64::from(step) * STEP_CENTS)
            .map(|moved| (moved, score(moved)))
            .max_by(|a, b| a.1.total_cmp(&b.1));
        let moved = best.map_or(0.0, |(moved, _)| moved);
        let mut found: Vec<Option<usize>> = expected
            .iter()
            .map(|e| self.nearest(e, moved).map(|(index, _)| index))
            .collect();
        self.one_each(&mut found, expected, moved);
        found
    }

    /// A partial that two of the model's claim goes to the nearer.
    fn one_each(&self, found: &mut [Option<usize>], expected: &[Expected], moved: f64) {
        let off = |e: &Expected, index: usize| {
            let there = e.frequency.raised_by(Interval::from_cents(moved));
            self.partials[index]
                .frequency
                .interval_above(there)
                .cents()
                .abs()
        };
        for i in 0..found.len() {
            for j in 0..found.len() {
                if let (true, Some(a), Some(b)) = (i != j, found[i], found[j])
                    && a == b
                    && off(&expected[i], a) > off(&expected[j], b)
                {
                    found[i] = None;
                }
            }
        }
    }

    /// The partial that is most likely `expected`, and how well it fits.
    fn nearest(&self, expected: &Expected, moved: f64) -> Option<(usize, f64)> {
        let there = expected.frequency.raised_by(Interval::from_cents(moved));
        let fit = |partial: &Partial| {
            let cents = partial.frequency.interval_above(there).cents();
            let near = (-0.5 * (cents / PATTERN_CENTS).powi(2)).exp();
            (cents.abs() < FARTHEST_CENTS).then_some(near * weight(partial.level))
        };
        let fits = self.partials.iter().enumerate();
        fits.filter_map(|(index, partial)| Some((index, fit(partial)?)))
            .max_by(|a, b| a.1.total_cmp(&b.1))
    }
}

/// What a level counts: the loud ones more, the soft ones not for nothing.
fn weight(level: Level) -> f64 {
    level.gain().powf(0.35)
}
