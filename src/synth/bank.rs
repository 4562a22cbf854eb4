//! What the banks of blown and of struck bottles share: where they are, what waits, and the way through a block.

use super::blown_kernel::GRID;
use super::event::{Event, Schedule};

/// Events that wait in a new bank at most.
const EVENT_ROOM: usize = 4096;
/// A mode with less is set to nothing while its bottle still rings: far above the smallest normal number.
pub(super) const SILENT_MODE: f32 = 1e-12;

/// The frame that a bank has come to, and the events that wait.
#[derive(Clone, Debug)]
pub(super) struct Timeline {
    pub(super) now_frame: u64,
    pub(super) schedule: Schedule,
}

impl Timeline {
    /// At frame 0, with nothing waiting; `is_used` if anything can happen at all. Allocates.
    pub(super) fn new(is_used: bool) -> Self {
        Self {
            now_frame: 0,
            schedule: Schedule::with_room(if is_used { EVENT_ROOM } else { 0 }),
        }
    }

    /// Back to frame 0, with nothing waiting.
    pub(super) fn reset(&mut self) {
        self.now_frame = 0;
        self.schedule.clear();
    }

    /// The next frame of the grid.
    pub(super) fn next_grid(&self) -> u64 {
        (self.now_frame / GRID as u64 + 1) * GRID as u64
    }

    /// Frames until `turn`, the next event or the end of the block, whichever is first.
    fn stretch_frames(&self, wanted: usize, turn: u64, event_step: u64) -> usize {
        let to_event = self.schedule.next_frame().map_or(u64::MAX, |at| {
            let at = at.max(self.now_frame).next_multiple_of(event_step);
            at - self.now_frame
        });
        let to_turn = turn - self.now_frame;
        (wanted as u64).min(to_event).min(to_turn) as usize
    }
}

/// A bank of bottles. Real time: no allocation, lock, wait or system call.
pub(super) trait Bank {
    /// An event happens at a multiple of so many frames.
    const EVENT_STEP: u64;

    fn time(&mut self) -> &mut Timeline;

    /// Whether any bottle sounds.
    fn sounds(&self) -> bool;

    /// The next frame of the grid at which something may have to be done; what sounds is not rendered beyond it at once.
    fn next_turn(&mut self, _tapped: bool) -> u64 {
        self.time().next_grid()
    }

    /// On the grid: lays moving numbers on their course, and frees what has rung down.
    fn tick(&mut self);

    /// Lets an event happen now.
    fn happen(&mut self, event: Event);

    /// Renders a stretch that ends at [`Self::next_turn`] at the latest, and begins at `tap_start` of the taps.
    fn sound(
        &mut self,
        left: &mut [f32],
        right: &mut [f32],
        taps: &mut [&mut [f32]],
        tap_start: usize,
    );

    /// Adds the sound of all bottles, and each alone to its slice of `taps`.
    fn add(&mut self, left: &mut [f32], right: &mut [f32], taps: &mut [&mut [f32]]) {
        let frames = left.len().min(right.len());
        let mut done = 0;
        while done < frames {
            let now_frame = self.time().now_frame;
            if now_frame.is_multiple_of(GRID as u64) {
                self.tick();
            }
            if now_frame.is_multiple_of(Self::EVENT_STEP) {
                while let Some(event) = self.time().schedule.pop_due(now_frame) {
                    self.happen(event);
                }
            }
            let sounds = self.sounds();
            let turn = if sounds {
                self.next_turn(!taps.is_empty())
            } else {
                u64::MAX
            };
            let stretch = self
                .time()
                .stretch_frames(frames - done, turn, Self::EVENT_STEP);
            if sounds {
                let here = done..done + stretch;
                self.sound(&mut left[here.clone()], &mut right[here], taps, done);
            }
            done += stretch;
            self.time().now_frame += stretch as u64;
        }
    }
}
