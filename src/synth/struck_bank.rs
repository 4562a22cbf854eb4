//! The struck bottles of a row, and those of them that ring.

use super::bank::{Bank, SILENT_MODE, Timeline};
use super::blown_voice::{HIGHEST_PART_OF_RATE, VoiceError, check_hz};
use super::chance::Chance;
use super::event::{Event, EventKind};
use super::ring_kernel::{Run, Scratch, Strip, run};
use super::struck::StruckVoice;
use super::struck_bottle::StruckBottle;
use crate::index::BottleIndex;
use crate::units::SampleRate;

/// A bottle all of whose modes swing less than this, of full scale, is silent: −130 dB each.
const SILENT_SWING: f32 = 3e-7;

/// A bottle and its modes.
#[derive(Clone, Debug)]
struct Place {
    bottle: StruckBottle,
    strip: Strip,
}

/// A bank of struck bottles, side by side with others that it leaves alone: a place may be empty.
///
/// Real time: no allocation, lock, wait or system call; cost is linear in the block and in the modes of the ringing
/// bottles. Silent bottles cost nothing. The same specs and events give the same samples bit for bit, in blocks of any length and
/// on any instruction set of one processor family.
#[derive(Clone, Debug)]
pub(super) struct StruckBank {
    time: Timeline,
    chance: Chance,
    places: Vec<Option<Place>>,
    /// The bottles that ring, in the order in which they were struck.
    ringing: Vec<BottleIndex>,
    scratch: Box<Scratch>,
}

impl StruckBank {
    /// The bottles of `specs` at `rate`, silent, at frame 0; `seed` is that of their strokes. Allocates.
    ///
    /// # Errors
    /// A bottle whose note is above 0.45 of the rate.
    pub(super) fn new(
        specs: &[Option<&StruckVoice>],
        rate: SampleRate,
        seed: u64,
    ) -> Result<Self, VoiceError> {
        let mut places = Vec::with_capacity(specs.len());
        for spec in specs {
            places.push(match spec {
                None => None,
                Some(spec) => {
                    check_hz(spec.frequency().hz(), HIGHEST_PART_OF_RATE * rate.hz())?;
                    let (bottle, strip) = StruckBottle::new(spec, rate.hz());
                    Some(Place { bottle, strip })
                }
            });
        }
        let count = places.iter().flatten().count();
        Ok(Self {
            time: Timeline::new(count > 0),
            chance: Chance::new(seed),
            ringing: Vec::with_capacity(count),
            scratch: Box::new(Scratch::empty()),
            places,
        })
    }

    /// The same bank with every stroke in the middle of what hands do.
    pub(super) fn steady(mut self) -> Self {
        self.chance = self.chance.steady();
        self
    }

    /// Makes room for `count` waiting events in all. Allocates.
    pub(super) fn reserve_events(&mut self, count: usize) {
        if self.places.iter().any(Option::is_some) {
            self.time.schedule.grow(count);
        }
    }

    pub(super) fn reset(&mut self) {
        self.silence();
        self.time.reset();
        let bottles = self.places.iter_mut().flatten();
        bottles.for_each(|place| place.bottle.reset());
    }

    /// Stops everything at once. Tuning and bends stay.
    pub(super) fn silence(&mut self) {
        self.time.schedule.clear();
        self.ringing.clear();
        for place in self.places.iter_mut().flatten() {
            place.bottle.stop();
            place.strip.stop();
        }
    }

    /// Writes how far each ringing bottle swings over its place in `out`.
    pub(super) fn add_swings(&self, out: &mut [f32]) {
        for &index in &self.ringing {
            if let (Some(place), Some(out)) = (&self.places[index], out.get_mut(index.place())) {
                *out = place.bottle.gain * place.strip.swing(place.bottle.lanes);
            }
        }
    }

    /// Lines an event up, or hands it back.
    pub(super) fn push(&mut self, event: Event) -> Result<(), Event> {
        if !event.is_sound_struck() {
            return Err(event);
        }
        self.time.schedule.push(event)
    }

    pub(super) fn ringing_count(&self) -> usize {
        self.ringing.len()
    }

    pub(super) fn is_silent(&self) -> bool {
        self.ringing.is_empty() && self.time.schedule.next_frame().is_none()
    }
}

impl Bank for StruckBank {
    const EVENT_STEP: u64 = 1;

    fn time(&mut self) -> &mut Timeline {
        &mut self.time
    }

    fn sounds(&self) -> bool {
        !self.ringing.is_empty()
    }

    fn tick(&mut self) {
        let Self { time, places, .. } = self;
        let now_frame = time.now_frame;
        self.ringing.retain(|&index| {
            let Some(Place { bottle, strip }) = &mut places[index] else {
                return false;
            };
            if bottle.moving {
                bottle.steer(strip, now_frame);
            }
            let swing = bottle.gain * strip.quieten(bottle.lanes, SILENT_MODE);
            let rings = swing >= SILENT_SWING || bottle.is_pressed(now_frame);
            if !rings {
                strip.stop();
                bottle.sounding = false;
            }
            rings
        });
    }

    fn happen(&mut self, event: Event) {
        let Some(Some(Place { bottle, strip })) = self.places.get_mut(event.bottle.place()) else {
            return;
        };
        let now_frame = self.time.now_frame;
        let struck = if let EventKind::Strike { speed } = event.kind {
            let thrown = (self.chance, event.bottle.place());
            bottle.strike(speed, now_frame, thrown, strip)
        } else {
            bottle.take(event.kind, now_frame);
            false
        };
        if struck && !bottle.sounding {
            bottle.sounding = true;
            bottle.moving = true;
            self.ringing.push(event.bottle);
        }
        // A silent bottle moves without a sound: it will be right when it is struck.
        if bottle.sounding && bottle.moving {
            bottle.steer(strip, self.time.now_frame);
        }
    }

    fn sound(
        &mut self,
        left: &mut [f32],
        right: &mut [f32],
        taps: &mut [&mut [f32]],
        tap_start: usize,
    ) {
        let frames = left.len();
        self.scratch.begin(frames);
        for &index in &self.ringing {
            let Some(Place { bottle, strip }) = &mut self.places[index] else {
                continue;
            };
            let how = Run {
                frames,
                lanes: bottle.lanes,
                pushes: bottle.press(&mut self.scratch, frames, self.time.now_frame),
                sides: bottle.sides,
            };
            run(strip, &mut self.scratch, how);
            let tap = taps.get_mut(index.place());
            if let Some(tap) = tap.and_then(|tap| tap.get_mut(tap_start..tap_start + frames)) {
                self.scratch.tap(bottle.gain, tap);
            }
        }
        self.scratch.add_to(left, right);
    }
}
