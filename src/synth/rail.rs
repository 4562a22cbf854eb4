//! Rails: what slides. A floor in a bottle is a rail with one bottle on it, a pair joined by a hose one with two.
//!
//! A rail stands somewhere from 0 to 1, and each bottle on it has its pitch and quality there.

use super::blown_voice::{HIGHEST_HZ, VoiceError, amount, check_hz, check_q};
use super::event::EventKind;
use super::smooth::Glide;
use crate::index::BottleIndex;
use crate::units::Frequency;

/// Places of one curve at least and at most.
const PLACES: (usize, usize) = (2, 4097);
/// [`RailCurve::traced`] takes places so near that the pitch halfway is off by less, cents.
const TRACED_TO_CENTS: f64 = 0.25;
/// Time for a wheel, a controller or a pointer to arrive, s: as any bend.
pub(super) const FOLLOW_S: f64 = 0.030;
/// Time between two places that the bottles are told while a rail moves, s: straight in cents between them.
pub const SLIDE_STEP_S: f64 = 0.005;
/// Longest way from mark to mark, s.
const LONGEST_S: f64 = 10.0;

/// Pitch and quality of one bottle along a rail.
///
/// ```
/// use ullage::synth::RailCurve;
/// use ullage::units::Frequency;
/// let curve = RailCurve::new(&[(Frequency::from_hz(200.0), 30.0), (Frequency::from_hz(400.0), 30.0)])?;
/// let (middle, q) = curve.at(0.5);
/// assert!((middle.hz() - 282.84).abs() < 0.01 && (q - 30.0).abs() < 1e-9);
/// assert!((curve.position_of(middle).expect("it is between the ends") - 0.5).abs() < 1e-6);
/// # Ok::<(), ullage::synth::VoiceError>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct RailCurve {
    /// ln Hz and ln q at evenly spaced places.
    logs: Vec<[f64; 2]>,
}

impl RailCurve {
    /// A curve through 2 to 4097 evenly spaced places from position 0 to 1: frequency (20 to 4000 Hz) and quality (1 to
    /// 2000). Between them the pitch is straight in cents.
    ///
    /// # Errors
    /// Too few or too many places, or one with a frequency or quality outside its range.
    pub fn new(places: &[(Frequency, f64)]) -> Result<Self, VoiceError> {
        let (min, max) = PLACES;
        if !(min..=max).contains(&places.len()) {
            return Err(VoiceError::Places {
                count: places.len(),
                min,
                max,
            });
        }
        let mut logs = Vec::with_capacity(places.len());
        for &(frequency, q) in places {
            logs.push([check_hz(frequency.hz(), HIGHEST_HZ)?.ln(), check_q(q)?.ln()]);
        }
        Ok(Self { logs })
    }

    /// The curve of `at`, which is asked for the pitch and quality at positions from 0 to 1, at so many places that the
    /// pitch halfway between two of them is right within a quarter of a cent (or at 4097).
    ///
    /// # Errors
    /// What `at` refuses, or a place outside the range of a voice.
    pub fn traced<E: From<VoiceError>>(
        mut at: impl FnMut(f64) -> Result<(Frequency, f64), E>,
    ) -> Result<Self, E> {
        let mut places: Vec<(Frequency, f64)> = (0..=8)
            .map(|i| at(f64::from(i) / 8.0))
            .collect::<Result<_, E>>()?;
        loop {
            let steps = places.len() - 1;
            let mut finer = Vec::with_capacity(2 * steps + 1);
            let mut worst_cents = 0.0f64;
            for (index, pair) in places.windows(2).enumerate() {
                let middle = at((index as f64 + 0.5) / steps as f64)?;
                let straight_hz = (pair[0].0.hz() * pair[1].0.hz()).sqrt();
                let off = middle.0.interval_above(Frequency::from_hz(straight_hz));
                worst_cents = worst_cents.max(off.cents().abs());
                finer.extend([pair[0], middle]);
            }
            finer.push(places[steps]);
            places = finer;
            if worst_cents < TRACED_TO_CENTS || places.len() >= PLACES.1 {
                return Ok(Self::new(&places)?);
            }
        }
    }

    /// Frequency and quality at a position; beyond 0 to 1 those of the nearer end.
    #[must_use]
    pub fn at(&self, position: f64) -> (Frequency, f64) {
        let [log_hz, log_q] = self.logs_at(position);
        (Frequency::from_hz(log_hz.exp()), log_q.exp())
    }

    /// Where the bottle has `frequency`: the first such place if there are several, none if there is none.
    #[must_use]
    pub fn position_of(&self, frequency: Frequency) -> Option<f64> {
        let log_hz = frequency.hz().ln();
        let steps = (self.logs.len() - 1) as f64;
        self.logs.windows(2).enumerate().find_map(|(index, pair)| {
            let ([from, _], [to, _]) = (pair[0], pair[1]);
            if !(from.min(to)..=from.max(to)).contains(&log_hz) {
                return None;
            }
            let share = if from == to {
                0.0
            } else {
                (log_hz - from) / (to - from)
            };
            Some((index as f64 + share) / steps)
        })
    }

    fn logs_at(&self, position: f64) -> [f64; 2] {
        let steps = self.logs.len() - 1;
        let place = position.clamp(0.0, 1.0) * steps as f64;
        let index = (place as usize).min(steps - 1);
        let (from, to, share) = (self.logs[index], self.logs[index + 1], place - index as f64);
        [0, 1].map(|i| from[i] * (1.0 - share) + to[i] * share)
    }
}

/// A bottle's place on a rail.
#[derive(Clone, Debug, PartialEq)]
pub struct OnRail {
    /// The rail's number in [`EngineSpec::rails`](super::EngineSpec::rails). Two bottles with one number are moved by one
    /// hand: a joined pair.
    pub rail: u16,
    /// Its pitch along the rail.
    pub curve: RailCurve,
    /// Keys that move the rail and make this bottle sound, and the position (0 to 1) of each.
    pub marks: Vec<(u8, f64)>,
}

/// How a rail is moved.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rail {
    /// Time from mark to mark, 0 to 10 s; 0 is at once.
    pub portamento_s: f64,
    /// Where it stands at the start, 0 to 1.
    pub start: f64,
}

impl Default for Rail {
    /// 0.15 s from mark to mark (a matter of taste), standing at 0.
    fn default() -> Self {
        Self {
            portamento_s: 0.15,
            start: 0.0,
        }
    }
}

impl Rail {
    /// Whether its numbers are in range.
    pub(super) fn check(&self) -> Result<(), VoiceError> {
        amount("a portamento in s", self.portamento_s, 0.0, LONGEST_S)?;
        amount("a rail's position", self.start, 0.0, 1.0).map(|_| ())
    }
}

impl OnRail {
    /// Whether its marks are in range.
    pub(super) fn check(&self) -> Result<(), VoiceError> {
        for (_, position) in &self.marks {
            amount("a mark's position", *position, 0.0, 1.0)?;
        }
        Ok(())
    }
}

/// What a hand does to rails.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Pull {
    /// A mark's key: the rail of a bottle goes there in its own time.
    Mark {
        bottle: BottleIndex,
        position: f64,
        channel: usize,
        bend: f64,
    },
    /// A channel's wheel, −1 to 1, around the last mark.
    Wheel { channel: usize, bend: f64 },
    /// A channel's slider, 0 to 1.
    Slider { channel: usize, position: f64 },
}

/// One rail at work.
#[derive(Clone, Debug, PartialEq)]
struct Moved {
    spec: Rail,
    way: Glide,
    /// Where it stands without the wheel.
    mark: f64,
    /// The channel that moved it last.
    channel: Option<usize>,
    /// Whether its bottles must be told.
    moving: bool,
    /// Whether they must be told at once.
    fresh: bool,
}

impl Moved {
    fn new(spec: Rail) -> Self {
        Self {
            spec,
            way: Glide::resting(spec.start),
            mark: spec.start,
            channel: None,
            moving: false,
            fresh: false,
        }
    }

    fn go(&mut self, position: f64, frame: u64, frames: u64) {
        self.way.head_for(position.clamp(0.0, 1.0), frame, frames);
        (self.moving, self.fresh) = (true, true);
    }

    /// The mark, moved by the wheel over what is left of the way on that side.
    fn bent(&self, bend: f64) -> f64 {
        let left = if bend < 0.0 {
            self.mark
        } else {
            1.0 - self.mark
        };
        self.mark + bend * left
    }
}

/// A bottle on a rail.
#[derive(Clone, Debug, PartialEq)]
struct Rider {
    bottle: BottleIndex,
    rail: usize,
    curve: RailCurve,
    /// How far a `Tune` has moved all of it, ln.
    off: [f64; 2],
}

/// All rails of an engine.
///
/// Real time: no allocation, lock, wait or system call.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Rails {
    rate_hz: f64,
    rails: Vec<Moved>,
    riders: Vec<Rider>,
}

impl Rails {
    pub(super) fn new<'a>(
        rails: &[Rail],
        bottles: impl Iterator<Item = Option<&'a OnRail>>,
        rate_hz: f64,
    ) -> Self {
        let mut riders = Vec::new();
        for (bottle, on) in (0..).map(BottleIndex::new).zip(bottles) {
            riders.extend(on.map(|on| Rider {
                bottle,
                rail: usize::from(on.rail),
                curve: on.curve.clone(),
                off: [0.0; 2],
            }));
        }
        let needed = riders.iter().map(|r| r.rail + 1).max().unwrap_or(0);
        let mut rails: Vec<Moved> = rails.iter().map(|rail| Moved::new(*rail)).collect();
        while rails.len() < needed {
            rails.push(Moved::new(Rail::default()));
        }
        Self {
            rate_hz,
            rails,
            riders,
        }
    }

    pub(super) fn reset(&mut self) {
        for rail in &mut self.rails {
            *rail = Moved::new(rail.spec);
        }
        self.riders
            .iter_mut()
            .for_each(|rider| rider.off = [0.0; 2]);
    }

    fn frames(&self, seconds: f64) -> u64 {
        (seconds * self.rate_hz).round() as u64
    }

    pub(super) fn pull(&mut self, pull: Pull, frame: u64) {
        let follow = self.frames(FOLLOW_S);
        match pull {
            Pull::Mark {
                bottle,
                position,
                channel,
                bend,
            } => {
                let Some(rider) = self.riders.iter().find(|rider| rider.bottle == bottle) else {
                    return;
                };
                let index = rider.rail;
                let frames = self.frames(self.rails[index].spec.portamento_s);
                let rail = &mut self.rails[index];
                (rail.mark, rail.channel) = (position, Some(channel));
                rail.go(rail.bent(bend), frame, frames);
            }
            Pull::Wheel { channel, bend } => {
                let theirs = |rail: &&mut Moved| rail.channel == Some(channel);
                for rail in self.rails.iter_mut().filter(theirs) {
                    rail.go(rail.bent(bend), frame, follow);
                }
            }
            Pull::Slider { channel, position } => {
                let theirs = |rail: &&mut Moved| rail.channel.is_none_or(|last| last == channel);
                for rail in self.rails.iter_mut().filter(theirs) {
                    rail.mark = position;
                    rail.go(position, frame, follow);
                }
            }
        }
    }

    /// A pointer puts a rail somewhere; returns whether there is such a rail and place.
    pub(super) fn slide(&mut self, rail: u16, position: f64, frame: u64) -> bool {
        let follow = self.frames(FOLLOW_S);
        let Some(rail) = self.rails.get_mut(usize::from(rail)) else {
            return false;
        };
        if !(0.0..=1.0).contains(&position) {
            return false;
        }
        rail.mark = position;
        rail.go(position, frame, follow);
        true
    }

    /// A bottle has been tuned: its whole curve has moved with it.
    pub(super) fn tuned(&mut self, bottle: BottleIndex, frequency: Frequency, q: f64) {
        for rider in self.riders.iter_mut().filter(|r| r.bottle == bottle) {
            let [log_hz, log_q] = rider.curve.logs_at(self.rails[rider.rail].way.target());
            rider.off = [frequency.hz().ln() - log_hz, q.ln() - log_q];
        }
    }

    /// Frames from `frame` until the bottles must be told where they are.
    pub(super) fn frames_to_step(&self, frame: u64) -> u64 {
        if self.rails.iter().any(|rail| rail.moving) {
            let step = self.frames(SLIDE_STEP_S).max(1);
            step - frame % step
        } else {
            u64::MAX
        }
    }

    /// Tells the bottles of moving rails the next piece of their way, if one begins at `frame`.
    pub(super) fn step(&mut self, frame: u64, tell: &mut impl FnMut(BottleIndex, EventKind)) {
        let step = self.frames(SLIDE_STEP_S).max(1);
        for (index, rail) in self.rails.iter_mut().enumerate() {
            if !(rail.moving && (rail.fresh || frame.is_multiple_of(step))) {
                continue;
            }
            let on_grid = (frame / step + 1) * step;
            let next = on_grid.min(rail.way.end_frame()).max(frame + 1);
            let position = rail.way.at(next);
            for rider in self.riders.iter().filter(|rider| rider.rail == index) {
                let [log_hz, log_q] = rider.curve.logs_at(position);
                tell(
                    rider.bottle,
                    EventKind::Glide {
                        frequency: Frequency::from_hz((log_hz + rider.off[0]).exp()),
                        q: (log_q + rider.off[1]).exp(),
                        over_s: (next - frame) as f64 / self.rate_hz,
                    },
                );
            }
            rail.fresh = false;
            rail.moving = !rail.way.is_done(next);
        }
    }
}
