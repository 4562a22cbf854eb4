//! The struck bottles of a row, and those of them that ring.

use super::blown_kernel::GRID;
use super::blown_voice::{HIGHEST_PART_OF_RATE, VoiceError, check_hz};
use super::event::{Event, Schedule};
use super::ring_kernel::{Run, Scratch, Strip, run};
use super::struck::StruckVoice;
use super::struck_bottle::StruckBottle;
use crate::index::BottleIndex;
use crate::units::SampleRate;

/// Events that wait in a new bank at most.
const EVENT_ROOM: usize = 4096;
/// A bottle all of whose modes swing less than this, of full scale, is silent: −130 dB each.
const SILENT_SWING: f32 = 3e-7;
/// A mode with less is set to nothing while others ring: far above the smallest normal number.
const SILENT_MODE: f32 = 1e-12;

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
    now_frame: u64,
    places: Vec<Option<Place>>,
    /// The bottles that ring, in the order in which they were struck.
    ringing: Vec<BottleIndex>,
    schedule: Schedule,
    scratch: Box<Scratch>,
}

impl StruckBank {
    /// The bottles of `specs` at `rate`, silent, at frame 0. Allocates.
    ///
    /// # Errors
    /// A bottle whose note is above 0.45 of the rate.
    pub(super) fn new(
        specs: &[Option<&StruckVoice>],
        rate: SampleRate,
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
            now_frame: 0,
            ringing: Vec::with_capacity(count),
            schedule: Schedule::with_room(if count == 0 { 0 } else { EVENT_ROOM }),
            scratch: Box::new(Scratch::empty()),
            places,
        })
    }

    /// Makes room for `count` waiting events in all. Allocates.
    pub(super) fn reserve_events(&mut self, count: usize) {
        if self.places.iter().any(Option::is_some) {
            self.schedule.grow(count);
        }
    }

    pub(super) fn reset(&mut self) {
        self.silence();
        self.now_frame = 0;
        let bottles = self.places.iter_mut().flatten();
        bottles.for_each(|place| place.bottle.reset());
    }

    /// Stops everything at once. Tuning and bends stay.
    pub(super) fn silence(&mut self) {
        self.schedule.clear();
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
        self.schedule.push(event)
    }

    pub(super) fn ringing_count(&self) -> usize {
        self.ringing.len()
    }

    pub(super) fn is_silent(&self) -> bool {
        self.ringing.is_empty() && self.schedule.next_frame().is_none()
    }

    /// Adds the sound of all bottles, and each alone to its slice of `taps`.
    pub(super) fn add_block(
        &mut self,
        left: &mut [f32],
        right: &mut [f32],
        taps: &mut [&mut [f32]],
    ) {
        let frames = left.len().min(right.len());
        let mut done = 0;
        while done < frames {
            if self.now_frame.is_multiple_of(GRID as u64) {
                self.tick();
            }
            while let Some(event) = self.schedule.pop_due(self.now_frame) {
                self.happen(event);
            }
            let stretch = self.stretch_frames(frames - done);
            if !self.ringing.is_empty() {
                let here = done..done + stretch;
                self.sound(&mut left[here.clone()], &mut right[here], taps, done);
            }
            done += stretch;
            self.now_frame += stretch as u64;
        }
    }

    /// Frames until the grid, the next event or the end of the block, whichever is first.
    fn stretch_frames(&self, wanted: usize) -> usize {
        let to_event = self
            .schedule
            .next_frame()
            .map_or(u64::MAX, |at| at.saturating_sub(self.now_frame));
        let to_grid = if self.ringing.is_empty() {
            u64::MAX
        } else {
            GRID as u64 - self.now_frame % GRID as u64
        };
        (wanted as u64).min(to_event).min(to_grid) as usize
    }

    /// Renders a stretch of at most one step of the grid.
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
            let pushed = bottle.press(&mut self.scratch.push[..frames], self.now_frame);
            let how = Run {
                frames,
                lanes: bottle.lanes,
                pushed,
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

    /// On the grid: lays moving numbers on their course, and frees what has rung down.
    fn tick(&mut self) {
        let Self {
            now_frame, places, ..
        } = self;
        self.ringing.retain(|&index| {
            let Some(Place { bottle, strip }) = &mut places[index] else {
                return false;
            };
            if bottle.moving {
                bottle.steer(strip, *now_frame);
            }
            let swing = bottle.gain * strip.quieten(bottle.lanes, SILENT_MODE);
            let rings = swing >= SILENT_SWING || bottle.is_pressed(*now_frame);
            if !rings {
                strip.stop();
                bottle.sounding = false;
            }
            rings
        });
    }

    /// Lets an event happen now.
    fn happen(&mut self, event: Event) {
        let Some(Some(Place { bottle, strip })) = self.places.get_mut(event.bottle.place()) else {
            return;
        };
        let struck = bottle.take(event.kind, self.now_frame);
        if struck && !bottle.sounding {
            bottle.sounding = true;
            bottle.moving = true;
            self.ringing.push(event.bottle);
        }
        // A silent bottle moves without a sound: it will be right when it is struck.
        if bottle.sounding && bottle.moving {
            bottle.steer(strip, self.now_frame);
        }
    }
}
