//! What may be wrong about a bottle: the pitches of all bottles that are as likely as the one that stands for them.
//!
//! ```
//! use ullage::units::Volume;
//! let set = ullage::set::open("presets/quay/set.toml")?;
//! let bottle = &set.kinds[0].bottle;
//! let doubts = bottle.doubts();
//! let capacity = bottle.bore().capacity();
//! let (low, high) = doubts.range(Volume::default());
//! // The bottle that stands for the others lies among them, and what is unsure when empty is unsure in the same sense when
//! // half full: the step between the two is surer than either.
//! assert!(low.cents() < 0.0 && high.cents() > 0.0);
//! let (empty, half) = (doubts.plus_minus(Volume::default()), doubts.plus_minus(capacity * 0.5));
//! assert!(doubts.between(Volume::default(), capacity * 0.5).cents() < empty.cents().min(half.cents()));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use crate::units::{Interval, Mass, Volume};

/// Largest share of an interval's width left out on either side: 2.5 %.
const TAIL: f64 = 0.025;

/// Something that could be measured to make the pitch surer.
#[derive(Clone, Debug, PartialEq)]
pub struct Measurable {
    /// What is uncertain, as it is called in a file.
    pub what: &'static str,
    /// What would help.
    pub remedy: &'static str,
    /// Nobody measured it.
    pub guessed: bool,
    /// How long that takes, minutes: taste.
    pub minutes: f64,
    /// It is a note: the bottle rests on one then, and what is said of it is the next blow.
    pub blown: bool,
    /// What to do, of the few that say most together: a picture, what it holds, a note.
    pub recommended: Option<&'static str>,
    /// What would be read, each with the error of reading it (one standard deviation).
    pub readings: Vec<Reading>,
}

/// One quantity that could be read, in whatever unit it has.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// Its value in each likely bottle.
    pub values: Vec<f64>,
    /// Error of reading it, one standard deviation.
    pub sigma: f64,
}

/// What a measurement would take from the doubt.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Relief {
    /// What is uncertain.
    pub what: &'static str,
    /// What would help.
    pub remedy: &'static str,
    /// Nobody measured it.
    pub guessed: bool,
    /// How long that takes, minutes.
    pub minutes: f64,
    /// It is a note that is blown.
    pub blown: bool,
    /// The share of the variance of the pitch that goes when it is measured after those before it.
    pub variance_share: f64,
}

/// What the few measurements that say most together would take from the doubt.
#[derive(Clone, Debug, PartialEq)]
pub struct Together {
    /// What to do, in turn.
    pub steps: Vec<&'static str>,
    /// How long all of them take, minutes.
    pub minutes: f64,
    /// The share of the variance of the pitch that goes.
    pub variance_share: f64,
}

/// The pitches of equally likely bottles, against the bottle that stands for them.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Doubts {
    /// Rising, m³.
    fills_m3: Vec<f64>,
    /// One row a fill: cents of every bottle above the one that stands for them.
    cents: Vec<Vec<f64>>,
    /// What could be measured.
    measurable: Vec<Measurable>,
    /// Water to pour before the next level is read.
    next_reading: Option<Mass>,
}

impl Doubts {
    /// Of bottles whose pitches lie `cents` above the one that stands for them: one row for each of `fills`, which rise.
    #[must_use]
    pub fn new(fills: &[Volume], cents: Vec<Vec<f64>>, measurable: Vec<Measurable>) -> Self {
        Self {
            fills_m3: fills.iter().map(|fill| fill.m3()).collect(),
            cents,
            measurable,
            next_reading: None,
        }
    }

    /// The same of a bottle that is filled over a scale, whose next level would say most with so much water in it.
    #[must_use]
    pub fn with_next_reading(self, water: Option<Mass>) -> Self {
        Self {
            next_reading: water,
            ..self
        }
    }

    /// How much water there should be in a bottle that is filled over a scale when its level is read next.
    #[must_use]
    pub fn next_reading(&self) -> Option<Mass> {
        self.next_reading
    }

    /// The share of the variance of the pitch at a fill that goes when this is read.
    #[must_use]
    pub fn share_of(&self, reading: &Reading, fill: Volume) -> f64 {
        let pitch = centred(&self.at(fill));
        let read = Column::new(reading);
        let (whole, spread) = (variance(&pitch), variance(&read.values));
        if whole <= 0.0 || spread <= 0.0 {
            return 0.0;
        }
        covariance(&pitch, &read.values).powi(2) / (whole * (spread + read.error))
    }

    /// Cents of every bottle above the one that stands for them, at a fill.
    fn at(&self, fill: Volume) -> Vec<f64> {
        let Some(last) = self.fills_m3.len().checked_sub(1) else {
            return vec![0.0];
        };
        let above = self
            .fills_m3
            .partition_point(|&f| f <= fill.m3())
            .clamp(1, last.max(1));
        let (low, high) = (above - 1, above.min(last));
        let span = self.fills_m3[high] - self.fills_m3[low];
        let along = if span > 0.0 {
            ((fill.m3() - self.fills_m3[low]) / span).clamp(0.0, 1.0)
        } else {
            0.0
        };
        let pairs = self.cents[low].iter().zip(&self.cents[high]);
        pairs.map(|(a, b)| a + (b - a) * along).collect()
    }

    /// The lowest and the highest pitch that are likely (95 %), against the bottle that stands for the others.
    #[must_use]
    pub fn range(&self, fill: Volume) -> (Interval, Interval) {
        let mut cents = self.at(fill);
        cents.sort_by(f64::total_cmp);
        (
            Interval::from_cents(quantile(&cents, TAIL)),
            Interval::from_cents(quantile(&cents, 1.0 - TAIL)),
        )
    }

    /// Half the width of the interval around the bottle that stands for the others in which 95 % of them lie.
    #[must_use]
    pub fn plus_minus(&self, fill: Volume) -> Interval {
        within(self.at(fill))
    }

    /// How sure the step from the pitch at one fill to that at another is (95 %), in two bottles of this kind alike.
    #[must_use]
    pub fn between(&self, from: Volume, to: Volume) -> Interval {
        let pairs = self.at(from).into_iter().zip(self.at(to));
        within(pairs.map(|(a, b)| b - a).collect())
    }

    /// What measuring would take from the doubt at a fill, each after those before it, those first that take most a minute;
    /// what is left then has the rest of the variance. A note brings `next_blow` with it (95 %), how far the next one may be
    /// from it: nothing for a bottle that rests on one already.
    #[must_use]
    pub fn reliefs(&self, fill: Volume, next_blow: Interval) -> Vec<Relief> {
        let mut pitch = centred(&self.at(fill));
        let whole = variance(&pitch);
        if whole <= 0.0 {
            return Vec::new();
        }
        // Every reading with its error becomes one more column; what is read explains its share of all the others.
        let mut left: Vec<(usize, Vec<Column>)> = self
            .measurable
            .iter()
            .map(|m| m.readings.iter().map(Column::new).collect())
            .enumerate()
            .collect();
        let mut reliefs = Vec::new();
        let repeats = (0.5 * next_blow.cents()).powi(2);
        let mut brought = 0.0;
        while !left.is_empty() {
            let now = variance(&pitch);
            let per_minute = |(index, columns): &(usize, Vec<Column>)| {
                let (mut pitch, mut columns) = (pitch.clone(), columns.clone());
                read_all(&mut columns, &mut [&mut pitch], &mut []);
                let Measurable { minutes, blown, .. } = self.measurable[*index];
                let brings = if blown { repeats } else { brought };
                ((now + brought).sqrt() - (variance(&pitch) + brings).sqrt()) / minutes
            };
            let best = (0..left.len())
                .max_by(|&a, &b| per_minute(&left[a]).total_cmp(&per_minute(&left[b])))
                .expect("something is left");
            let (index, mut columns) = left.remove(best);
            let mut others: Vec<&mut Column> =
                left.iter_mut().flat_map(|(_, c)| c.iter_mut()).collect();
            read_all(&mut columns, &mut [&mut pitch], &mut others);
            let then = variance(&pitch);
            let Measurable {
                what,
                remedy,
                guessed,
                minutes,
                blown,
                ..
            } = self.measurable[index];
            if blown {
                brought = repeats;
            }
            reliefs.push(Relief {
                what,
                remedy,
                guessed,
                minutes,
                blown,
                variance_share: ((now - then) / whole).max(0.0),
            });
        }
        reliefs
    }

    /// What those that are recommended would take from the doubt at a fill, all of them; nothing where no note is among them, or
    /// a note alone.
    #[must_use]
    pub fn together(&self, fill: Volume) -> Option<Together> {
        let mut pitch = centred(&self.at(fill));
        let whole = variance(&pitch);
        let asked = self.measurable.iter().filter(|m| m.recommended.is_some());
        let asked: Vec<_> = asked.collect();
        if whole <= 0.0 || asked.len() < 2 || !asked.iter().any(|m| m.blown) {
            return None;
        }
        let readings = asked.iter().flat_map(|m| &m.readings);
        let mut columns: Vec<Column> = readings.map(Column::new).collect();
        read_all(&mut columns, &mut [&mut pitch], &mut []);
        Some(Together {
            // The note stands first in the list and is blown last.
            steps: asked.iter().rev().filter_map(|m| m.recommended).collect(),
            minutes: asked.iter().map(|m| m.minutes).sum(),
            variance_share: (1.0 - variance(&pitch) / whole).max(0.0),
        })
    }

    /// What is likely of a quantity that was never measured, by its key: its mean and one standard deviation, m.
    #[must_use]
    pub fn likely(&self, key: &str) -> Option<(f64, f64)> {
        let found = self.measurable.iter().find(|m| m.what.starts_with(key))?;
        let values = &found.readings.first()?.values;
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        Some((mean, variance(&centred(values)).sqrt()))
    }
}

/// A quantity in every likely bottle, less its mean, and the variance of reading it.
#[derive(Clone, Debug)]
struct Column {
    values: Vec<f64>,
    error: f64,
}

impl Column {
    fn new(reading: &Reading) -> Self {
        Self {
            values: centred(&reading.values),
            error: reading.sigma * reading.sigma,
        }
    }
}

/// Takes from `pitches` and `others` what reading `columns` one after the other explains of them.
fn read_all(columns: &mut [Column], pitches: &mut [&mut Vec<f64>], others: &mut [&mut Column]) {
    for at in 0..columns.len() {
        let (done, rest) = columns.split_at_mut(at + 1);
        let read = &done[at];
        let spread = variance(&read.values);
        if spread <= 1e-12 * read.error {
            continue;
        }
        // An ensemble's share of a + error: kept so that variances fall as they would on reading it.
        let keep = 1.0 - (read.error / (spread + read.error)).sqrt();
        let explain = |values: &mut [f64]| {
            let slope = covariance(values, &read.values) / spread * keep;
            for (value, x) in values.iter_mut().zip(&read.values) {
                *value -= slope * x;
            }
        };
        for pitch in pitches.iter_mut() {
            explain(pitch);
        }
        for other in rest.iter_mut() {
            explain(&mut other.values);
        }
        for other in others.iter_mut() {
            explain(&mut other.values);
        }
    }
}

fn centred(values: &[f64]) -> Vec<f64> {
    let mean = values.iter().sum::<f64>() / values.len().max(1) as f64;
    values.iter().map(|v| v - mean).collect()
}

fn variance(values: &[f64]) -> f64 {
    covariance(values, values)
}

fn covariance(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>() / a.len().max(1) as f64
}

/// The size that 95 % of the values do not exceed either way.
fn within(mut cents: Vec<f64>) -> Interval {
    for value in &mut cents {
        *value = value.abs();
    }
    cents.sort_by(f64::total_cmp);
    Interval::from_cents(quantile(&cents, 1.0 - 2.0 * TAIL))
}

/// Of sorted values.
fn quantile(sorted: &[f64], share: f64) -> f64 {
    let last = sorted.len() - 1;
    let place = (share * sorted.len() as f64 - 0.5).clamp(0.0, last as f64);
    let low = place as usize;
    let high = (low + 1).min(last);
    sorted[low] + (sorted[high] - sorted[low]) * (place - low as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A pitch that is the sum of two quantities, of 3 and of 4 cents, in four equally likely bottles.
    fn two() -> Doubts {
        let (a, b) = ([3.0, 3.0, -3.0, -3.0], [4.0, -4.0, 4.0, -4.0]);
        let pitch: Vec<f64> = a.iter().zip(b).map(|(a, b)| a + b).collect();
        let measurable = |what, minutes, values: [f64; 4], sigma| Measurable {
            what,
            remedy: "measure it",
            guessed: true,
            minutes,
            blown: false,
            recommended: None,
            readings: vec![Reading {
                values: values.to_vec(),
                sigma,
            }],
        };
        let fills = [Volume::default(), Volume::from_ml(100.0)];
        let twice = pitch.iter().map(|p| 2.0 * p).collect();
        let both = vec![measurable("a", 1.0, a, 0.0), measurable("b", 1.0, b, 4.0)];
        Doubts::new(&fills, vec![pitch, twice], both)
    }

    #[test]
    fn what_is_measured_takes_its_share_of_the_variance() {
        let reliefs = two().reliefs(Volume::default(), Interval::default());
        let share = |what: &str| {
            reliefs
                .iter()
                .find(|r| r.what == what)
                .expect("asked for")
                .variance_share
        };
        // 9 of 25; and of 16 of 25 the half, since it is read no better than it is known.
        assert!((share("a") - 9.0 / 25.0).abs() < 1e-9, "{reliefs:?}");
        assert!((share("b") - 8.0 / 25.0).abs() < 1e-9, "{reliefs:?}");
    }

    #[test]
    fn a_note_that_repeats_worse_than_the_pitch_is_known_comes_last() {
        let first = |next_blow_cents: f64| {
            let mut doubts = two();
            // Half the work, and as much to gain.
            (doubts.measurable[1].blown, doubts.measurable[1].minutes) = (true, 0.5);
            let next_blow = Interval::from_cents(next_blow_cents);
            doubts.reliefs(Volume::default(), next_blow)[0].what
        };
        assert_eq!((first(0.0), first(30.0)), ("b", "a"));
    }

    #[test]
    fn what_is_recommended_takes_together_what_each_takes_after_the_other() {
        let mut doubts = two();
        for measurable in &mut doubts.measurable {
            measurable.recommended = Some(measurable.what);
        }
        // Without a note among them there is nothing to recommend.
        assert_eq!(doubts.together(Volume::default()), None);
        doubts.measurable[1].blown = true;
        let together = doubts.together(Volume::default()).expect("two of them");
        // 9 of 25 and 8 of 25, in a minute each.
        assert!((together.variance_share - 17.0 / 25.0).abs() < 1e-9);
        assert!((together.minutes - 2.0).abs() < 1e-9);
        assert_eq!(together.steps, ["b", "a"]);
    }

    #[test]
    fn what_one_reading_takes_is_what_measuring_it_alone_takes() {
        let doubts = two();
        let reading = |index: usize| &doubts.measurable[index].readings[0];
        let share = |index| doubts.share_of(reading(index), Volume::default());
        assert!((share(0) - 9.0 / 25.0).abs() < 1e-9 && (share(1) - 8.0 / 25.0).abs() < 1e-9);
    }

    #[test]
    fn between_two_fills_only_what_they_do_not_share_is_unsure() {
        let (empty, full) = (Volume::default(), Volume::from_ml(100.0));
        let doubts = two();
        // Seven cents in the worst of four; fourteen when full; the step between them seven.
        assert!((doubts.plus_minus(empty).cents() - 7.0).abs() < 1e-9);
        assert!((doubts.plus_minus(full).cents() - 14.0).abs() < 1e-9);
        assert!((doubts.between(empty, full).cents() - 7.0).abs() < 1e-9);
        assert!((doubts.plus_minus(full * 0.5).cents() - 10.5).abs() < 1e-9);
    }
}
