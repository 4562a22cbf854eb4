//! The blown bottles of a set, and the ones that sound side by side in strips.

use super::bank::{Bank, SILENT_MODE, Timeline};
use super::blown_kernel::{self, EIGHT, GRID, Run};
use super::blown_voice::{BlownVoice, HIGHEST_PART_OF_RATE, VoiceError, check_hz};
use super::bottle::Bottle;
use super::breath::{self, Pass, WANDER_STEPS, Wander};
use super::colour;
use super::event::{Event, EventKind};
use super::lone_kernel::{self, LONGEST, Lone, Part};
use super::said::{self, Adding, Scratch, TOGETHER};
use super::strip::{LANES, Strip};
use crate::index::BottleIndex;
use crate::units::SampleRate;
use std::ops::Range;

/// Lowest and highest sample rate, Hz.
const RATES_HZ: (f64, f64) = (8_000.0, 768_000.0);
/// A bottle with no breath and less swing than this, of full swing, is silent: −120 dB.
const SILENT_SWING: f32 = 1e-6;
/// Frames from one look for what has fallen silent to the next.
const LOOK_FRAMES: u64 = 16 * GRID as u64;

/// What the control side has to do with a lane on the grid.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Unrest {
    /// Nothing: its breath is the strip's.
    Blown,
    /// Its pitch moves.
    Sliding,
    /// No breath: see whether it has fallen silent.
    Ringing,
}

/// A bank of blown bottles.
///
/// Real time: no allocation, lock, wait or system call; cost is linear in the block and in the sounding bottles.
/// Silent bottles cost nothing. An event happens at the next multiple of eight frames, at most seven late. The same
/// specs, seed and events give the same samples bit for bit, in blocks of any length, on every processor that fuses
/// products with sums.
///
/// ```
/// use ullage::index::BottleIndex;
/// use ullage::synth::{Attack, BlownBank, BlownVoice, Event, EventKind};
/// use ullage::units::{Frequency, SampleRate};
/// let spec = BlownVoice::new(Frequency::from_hz(196.0), 32.0)?;
/// let mut bank = BlownBank::new(&[spec], SampleRate::from_hz(48_000.0), 7)?;
/// let attack = Attack::Tongued { strength: 0.5 };
/// let (bottle, kind) = (BottleIndex::new(0), EventKind::Blow { g: 2.5, attack });
/// bank.push(Event { at_frames: 0, bottle, kind }).expect("room for one");
/// let (mut left, mut right) = (vec![0.0; 24_000], vec![0.0; 24_000]);
/// bank.add_block(&mut left, &mut right);
/// assert!(left.iter().any(|sample| sample.abs() > 0.3));
/// # Ok::<(), ullage::synth::VoiceError>(())
/// ```
#[derive(Clone, Debug)]
pub struct BlownBank {
    rate: SampleRate,
    /// What is left of the noise one of its samples later.
    keep: f32,
    /// What wanders, and whether anything does.
    wander: Wander,
    steady: bool,
    time: Timeline,
    bottles: Vec<Bottle>,
    strips: Vec<Strip>,
    /// The frame up to which breath is on its way in each [`breath::WIDE`] lanes.
    moves_until: Vec<u64>,
    /// The bottle of each lane in use; its length is the number of sounding bottles.
    owners: Vec<BottleIndex>,
    /// For each lane in use, what the control side has to do with it.
    unrest: Vec<Unrest>,
    scratch: Box<Scratch>,
    lone: Box<Lone>,
}

impl BlownBank {
    /// The bottles of `specs` at `rate` (8 to 768 kHz), silent, at frame 0. Allocates; not for the audio thread.
    ///
    /// # Errors
    /// A rate outside its range, or a bottle that rings above 0.45 of it.
    pub fn new(specs: &[BlownVoice], rate: SampleRate, seed: u64) -> Result<Self, VoiceError> {
        let (min_hz, max_hz) = RATES_HZ;
        let hz = rate.hz();
        if !(min_hz..=max_hz).contains(&hz) {
            return Err(VoiceError::SampleRate { hz, min_hz, max_hz });
        }
        for spec in specs {
            check_hz(spec.hz, HIGHEST_PART_OF_RATE * hz)?;
        }
        let bottles = specs
            .iter()
            .enumerate()
            .map(|(place, spec)| Bottle::new(spec, hz, seed, place))
            .collect();
        Ok(Self {
            rate,
            keep: colour::noise_left(hz) as f32,
            wander: Wander::at(hz),
            steady: false,
            time: Timeline::new(true),
            bottles,
            strips: vec![Strip::silent(); specs.len().div_ceil(LANES)],
            moves_until: vec![0; specs.len().div_ceil(breath::WIDE)],
            owners: Vec::with_capacity(specs.len()),
            unrest: Vec::with_capacity(specs.len()),
            scratch: Box::new(Scratch::empty()),
            lone: Box::new(Lone::empty()),
        })
    }

    /// The same bank without anything that wanders or is thrown anew for each note: for samplers, and to measure pitch and tone.
    /// The breath noise stays. To be called before anything sounds.
    #[must_use]
    pub fn steady(mut self) -> Self {
        self.steady = true;
        self.bottles.iter_mut().for_each(Bottle::steady);
        self
    }

    /// Makes room for `count` waiting events in all; a new bank has room for 4,096. Allocates.
    pub fn reserve_events(&mut self, count: usize) {
        self.time.schedule.grow(count);
    }

    /// Leaves the bank as `new` did: silent, at frame 0, nothing waiting, the same noise to come. Real time.
    pub fn reset(&mut self) {
        self.settle();
        self.time.reset();
        self.bottles.iter_mut().for_each(Bottle::reset);
        for lane in 0..self.owners.len() {
            self.strips[lane / LANES].clear_lane(lane % LANES);
            self.strips[lane / LANES].modes_in_use = 0;
        }
        self.moves_until.fill(0);
        self.owners.clear();
        self.unrest.clear();
    }

    /// Stops everything at once, wherever it is: breath, ringing and what waits. Tuning and bends stay. Real time.
    ///
    /// What sounds is cut off: fade it out first.
    pub fn silence(&mut self) {
        self.settle();
        self.time.schedule.clear();
        while let Some(last) = self.owners.len().checked_sub(1) {
            self.bottles[self.owners[last]].stop();
            self.free(last);
        }
    }

    /// Writes how far each bottle's air swings, 1 at full swing and more under a hard breath, as far as `out` reaches; 0 for silent ones. Real time.
    pub fn swings(&self, out: &mut [f32]) {
        out.fill(0.0);
        for (lane, &owner) in self.owners.iter().enumerate() {
            if let Some(swing) = out.get_mut(owner.place()) {
                let (strip, l) = (&self.strips[lane / LANES], lane % LANES);
                // The modes of a bottle alone are elsewhere.
                *swing = match self.lone.swing() {
                    Some(modes) => strip.main_swing(l).max(modes),
                    None => strip.swing(l),
                };
            }
        }
    }

    /// Lines an event up. Real time.
    ///
    /// # Errors
    /// Hands the event back if the queue is full, there is no such bottle, or a number in it is out of its range.
    pub fn push(&mut self, event: Event) -> Result<(), Event> {
        if event.bottle.place() >= self.bottles.len() || !event.is_sound() {
            return Err(event);
        }
        self.time.schedule.push(event)
    }

    /// The sample rate.
    #[must_use]
    pub fn rate(&self) -> SampleRate {
        self.rate
    }

    /// Frames made since `new` or `reset`.
    #[must_use]
    pub fn now_frames(&self) -> u64 {
        self.time.now_frame
    }

    /// Bottles in the bank, sounding or not.
    #[must_use]
    pub fn bottle_count(&self) -> usize {
        self.bottles.len()
    }

    /// Bottles that sound now, by breath or still ringing.
    #[must_use]
    pub fn sounding_count(&self) -> usize {
        self.owners.len()
    }

    /// Whether nothing sounds and nothing waits.
    #[must_use]
    pub fn is_silent(&self) -> bool {
        self.owners.is_empty() && self.time.schedule.next_frame().is_none()
    }

    /// Adds the sound of all bottles to `left` and `right`; the shorter of the two says how many frames.
    pub fn add_block(&mut self, left: &mut [f32], right: &mut [f32]) {
        self.add_block_with_taps(left, right, &mut []);
    }

    /// As [`BlownBank::add_block`], and adds each bottle alone, before it is placed, to its slice of `taps` (for stems).
    ///
    /// A bottle without a slice, or with one too short, is left out of the taps, not of the sum.
    pub fn add_block_with_taps(
        &mut self,
        left: &mut [f32],
        right: &mut [f32],
        taps: &mut [&mut [f32]],
    ) {
        self.add(left, right, taps);
    }

    /// Lays the pitch of a lane on its way to the next step of the grid, or to rest.
    fn slide(&mut self, lane: usize) {
        let (now, next) = (self.time.now_frame, self.time.next_grid());
        let bottle = &self.bottles[self.owners[lane]];
        let (strip, l) = (&mut self.strips[lane / LANES], lane % LANES);
        if bottle.is_in_place(now) {
            bottle.slide(strip, l, now, now);
            self.unrest[lane] = at_rest(bottle);
        } else {
            bottle.slide(strip, l, next, now.midpoint(next));
        }
        breath::number(strip, l, 0.0);
    }

    /// Brings back into its strip what the loop of a bottle alone holds.
    fn settle(&mut self) {
        if let Some(strip) = self.strips.first_mut() {
            self.lone.settle(strip);
        }
    }

    /// Whether there is but one bottle, to be run without empty neighbours. At other rates than the usual ones it has them.
    fn is_alone(&self, tapped: bool) -> bool {
        self.owners.len() == 1 && !tapped && colour::per_four(self.rate.hz()) == lone_kernel::NOISE
    }

    /// Whether a lane has fallen silent.
    fn has_ended(&mut self, lane: usize) -> bool {
        let bottle = &self.bottles[self.owners[lane]];
        let (strip, l) = (&mut self.strips[lane / LANES], lane % LANES);
        if bottle.is_blown() || self.time.now_frame < bottle.moves_until {
            return false;
        }
        strip.quieten(l, SILENT_MODE);
        strip.swing(l) < SILENT_SWING
    }

    /// Gives a silent bottle the next lane.
    fn wake(&mut self, index: BottleIndex) -> usize {
        let lane = self.owners.len();
        self.owners.push(index);
        self.unrest.push(Unrest::Blown);
        let bottle = &mut self.bottles[index];
        bottle.lane = Some(lane);
        let (strip, l) = (&mut self.strips[lane / LANES], lane % LANES);
        bottle.wake(strip, l, self.time.now_frame);
        lane
    }

    /// Lets breath begin, change or end.
    fn breathe(&mut self, event: Event) -> Option<usize> {
        let (index, now) = (event.bottle, self.time.now_frame);
        let blows = match event.kind {
            EventKind::Blow { g, attack } if Bottle::is_breath(g) => Some((g, attack)),
            _ => None,
        };
        let is_new = self.bottles[index].lane.is_none();
        let lane = match self.bottles[index].lane {
            Some(lane) => lane,
            None if blows.is_some() => self.wake(index),
            None => return None,
        };
        let bottle = &mut self.bottles[index];
        let (strip, l) = (&mut self.strips[lane / LANES], lane % LANES);
        match blows {
            Some(blows) => bottle.blow((strip, l), blows, is_new, now),
            None => bottle.release(strip, l, now),
        }
        Some(lane)
    }

    /// Takes a silent bottle's lane away; the last lane moves into the gap.
    fn free(&mut self, lane: usize) {
        let (strip, l) = (lane / LANES, lane % LANES);
        let index = self.owners[lane];
        self.bottles[index].dice = self.strips[strip].dice[l];
        self.bottles[index].lane = None;
        let last = self.owners.len() - 1;
        let (last_strip, last_l) = (last / LANES, last % LANES);
        if lane != last {
            let numbers = self.strips[last_strip].lane(last_l);
            self.strips[strip].set_lane(l, &numbers);
            let moved = &mut self.bottles[self.owners[last]];
            moved.lane = Some(lane);
            let modes = &mut self.strips[strip].modes_in_use;
            *modes = (*modes).max(moved.modes.count);
            let moves_until = &mut self.moves_until[lane / breath::WIDE];
            *moves_until = (*moves_until).max(moved.moves_until);
        }
        self.strips[last_strip].clear_lane(last_l);
        if last_l == 0 {
            self.strips[last_strip].modes_in_use = 0;
        }
        self.owners.swap_remove(lane);
        self.unrest.swap_remove(lane);
    }
}

impl Bank for BlownBank {
    const EVENT_STEP: u64 = EIGHT as u64;

    fn time(&mut self) -> &mut Timeline {
        &mut self.time
    }

    fn sounds(&self) -> bool {
        !self.owners.is_empty()
    }

    fn next_turn(&mut self, tapped: bool) -> u64 {
        let now = self.time.now_frame;
        // Between its turns nothing happens to a bottle alone that neither slides nor has breath on its way.
        let rests = self.is_alone(tapped)
            && self.unrest[0] != Unrest::Sliding
            && now >= self.moves_until[0];
        if rests {
            (now / LONGEST as u64 + 1) * LONGEST as u64
        } else {
            self.time.next_grid()
        }
    }

    fn tick(&mut self) {
        let now = self.time.now_frame;
        if now.is_multiple_of(LOOK_FRAMES) && any(&self.unrest, |unrest| unrest != Unrest::Blown) {
            self.settle();
            let mut lane = 0;
            while lane < self.owners.len() {
                if self.has_ended(lane) {
                    self.free(lane);
                } else {
                    lane += 1;
                }
            }
        }
        let wanders = now.is_multiple_of(WANDER_STEPS * GRID as u64) && !self.steady;
        let in_use = self.owners.len().div_ceil(breath::WIDE);
        for (part, until) in self.moves_until.iter().take(in_use).enumerate() {
            let moves = now < *until;
            if moves || wanders {
                let pass = Pass {
                    part,
                    moves,
                    wanders,
                    wander: self.wander,
                };
                breath::pass(&mut self.strips[part * breath::WIDE / LANES], pass);
            }
        }
        if any(&self.unrest, |unrest| unrest == Unrest::Sliding) {
            for lane in 0..self.owners.len() {
                if self.unrest[lane] == Unrest::Sliding {
                    self.slide(lane);
                }
            }
        }
    }

    fn happen(&mut self, event: Event) {
        self.settle();
        let now = self.time.now_frame;
        let lane = match event.kind {
            EventKind::Blow { .. } | EventKind::Release => self.breathe(event),
            EventKind::Bend { .. } | EventKind::Tune { .. } | EventKind::Glide { .. } => {
                let bottle = &mut self.bottles[event.bottle];
                bottle.bend(event.kind, now);
                bottle.lane
            }
            // What is blown is not struck, and a hand on the wall does not reach the air.
            EventKind::Strike { .. } | EventKind::Damp { .. } => None,
        };
        // A silent bottle moves without a sound: it will be right when it is blown.
        let Some(lane) = lane else { return };
        let bottle = &self.bottles[event.bottle];
        let moves_until = &mut self.moves_until[lane / breath::WIDE];
        *moves_until = (*moves_until).max(bottle.moves_until);
        if bottle.is_in_place(now) {
            self.unrest[lane] = at_rest(bottle);
            breath::number(&mut self.strips[lane / LANES], lane % LANES, 0.0);
        } else {
            self.unrest[lane] = Unrest::Sliding;
            self.slide(lane);
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
        // Where in its eight the stretch begins, and how many of its last frames belong to an eight that goes on.
        let start = (self.time.now_frame % EIGHT as u64) as usize;
        let left_over = (start + frames) % EIGHT;
        let noise_per_four = colour::per_four(self.rate.hz());
        let eights = (start + frames) / EIGHT;
        if self.is_alone(!taps.is_empty()) {
            let strip = &mut self.strips[0];
            let part = Part {
                eights,
                first: 0,
                keep: self.keep,
            };
            lone_kernel::run(strip, &mut self.lone, part);
            if left_over > 0 {
                lone_kernel::look_ahead(strip, &mut self.lone, part);
            }
            lone_kernel::add_to(&self.lone, start, left, right);
            return;
        }
        self.settle();
        let together = self.owners.chunks(LANES * TOGETHER);
        for (index, (owners, strips)) in together.zip(self.strips.chunks_mut(TOGETHER)).enumerate()
        {
            let of_strips = strips.iter_mut().zip(owners.chunks(LANES));
            for (place, (strip, owners)) in of_strips.enumerate() {
                let said = self.scratch.said_mut(place);
                let run = Run {
                    eights,
                    first: 0,
                    lanes: owners.len(),
                    modes: strip.modes_in_use,
                    noise_per_four,
                    keep: self.keep,
                };
                blown_kernel::run(strip, said, run);
                if left_over > 0 {
                    blown_kernel::look_ahead(strip, said, run);
                }
                if !taps.is_empty() {
                    let here = tap_start..tap_start + frames;
                    tap(owners, &self.bottles, &said[start..], taps, here);
                }
            }
            let adding = Adding {
                begins: index == 0,
                lanes: owners.len(),
                frames: start + frames,
            };
            said::add_up(&mut self.scratch, strips, adding);
        }
        said::gather(&self.scratch, start, left, right);
    }
}

/// What the control side has to do with a bottle whose pitch has arrived.
fn at_rest(bottle: &Bottle) -> Unrest {
    if bottle.is_blown() {
        Unrest::Blown
    } else {
        Unrest::Ringing
    }
}

/// Whether any is as asked: counted to the end, sixteen at once, which is quicker than stopping at the first.
fn any(unrest: &[Unrest], asked: impl Fn(Unrest) -> bool) -> bool {
    let count = |part: &[Unrest]| part.iter().map(|u| u8::from(asked(*u))).sum::<u8>();
    unrest.chunks(LANES).any(|part| count(part) > 0)
}

/// Adds each bottle alone to its tap.
fn tap(
    owners: &[BottleIndex],
    bottles: &[Bottle],
    said: &[[f32; LANES]],
    taps: &mut [&mut [f32]],
    here: Range<usize>,
) {
    for (lane, &owner) in owners.iter().enumerate() {
        let Some(slice) = taps
            .get_mut(owner.place())
            .and_then(|t| t.get_mut(here.clone()))
        else {
            continue;
        };
        for (sample, said) in slice.iter_mut().zip(said) {
            *sample += bottles[owner].gain * said[lane];
        }
    }
}
