//! A click on every beat, to play along with.

use std::f64::consts::TAU;

use crate::units::SampleRate;

/// Pitch of the click that begins a bar, and of the others, Hz. A matter of taste.
const PITCHES_HZ: [f64; 2] = [2_000.0, 1_500.0];
/// Time in which it falls by a factor of e, s.
const DECAY_S: f64 = 0.004;
/// Its length, s: it has fallen by 60 dB.
const LENGTH_S: f64 = 7.0 * DECAY_S;
/// Its peak beside a full tone.
const GAIN: f64 = 0.25;
/// Live clicks that sound at the same time at most.
const MOST_AT_A_TIME: usize = 4;

/// Clicks at given frames.
///
/// Real time: no allocation, lock, wait or system call; cost is linear in the block.
#[derive(Clone, Debug)]
pub struct Click {
    /// What begins a bar, and what does not.
    sounds: [Vec<f32>; 2],
    /// When, and whether it begins a bar; in order.
    at_frames: Vec<(u64, bool)>,
    now_frame: u64,
    /// The first that has not ended.
    next: usize,
}

impl Click {
    /// Clicks at `at_frames` (and whether each begins a bar), in any order. Allocates.
    #[must_use]
    pub fn new(mut at_frames: Vec<(u64, bool)>, rate: SampleRate) -> Self {
        at_frames.sort_unstable();
        Self {
            sounds: sounds(rate),
            at_frames,
            now_frame: 0,
            next: 0,
        }
    }

    /// Adds the clicks to `left` and `right`; the shorter of the two says how many frames.
    pub fn add_block(&mut self, left: &mut [f32], right: &mut [f32]) {
        let frames = left.len().min(right.len());
        let end_frame = self.now_frame + frames as u64;
        let length = self.sounds[0].len() as u64;
        while let Some((at, _)) = self.at_frames.get(self.next) {
            if at + length > self.now_frame {
                break;
            }
            self.next += 1;
        }
        let due = self.at_frames[self.next..].iter();
        for &(at, first) in due.take_while(|(at, _)| *at < end_frame) {
            let sound = &self.sounds[usize::from(!first)];
            let begun = self.now_frame.saturating_sub(at) as usize;
            let place = at.saturating_sub(self.now_frame) as usize;
            let samples = sound.iter().skip(begun);
            for ((l, r), s) in left[place..frames]
                .iter_mut()
                .zip(&mut right[place..frames])
                .zip(samples)
            {
                *l += s;
                *r += s;
            }
        }
        self.now_frame = end_frame;
    }
}

/// What begins a bar, and what does not.
fn sounds(rate: SampleRate) -> [Vec<f32>; 2] {
    let frames = (LENGTH_S * rate.hz()).ceil() as usize;
    PITCHES_HZ.map(|hz| {
        let sample = |frame: usize| {
            let t_s = frame as f64 / rate.hz();
            (GAIN * (-t_s / DECAY_S).exp() * (TAU * hz * t_s).sin()) as f32
        };
        (0..frames).map(sample).collect()
    })
}

/// Clicks that come as they are asked for.
///
/// Real time: no allocation, lock, wait or system call; cost is linear in the block.
pub(super) struct LiveClick {
    sounds: [Vec<f32>; 2],
    /// Which sound, and how much of it is over.
    running: [Option<(usize, usize)>; MOST_AT_A_TIME],
}

impl LiveClick {
    /// Silent. Allocates.
    pub(super) fn new(rate: SampleRate) -> Self {
        Self {
            sounds: sounds(rate),
            running: [None; MOST_AT_A_TIME],
        }
    }

    /// Begins one at the next frame; false if too many sound.
    pub(super) fn begin(&mut self, first: bool) -> bool {
        let free = self.running.iter_mut().find(|place| place.is_none());
        free.map(|place| *place = Some((usize::from(!first), 0)))
            .is_some()
    }

    /// Silence at once.
    pub(super) fn reset(&mut self) {
        self.running = [None; MOST_AT_A_TIME];
    }

    /// Adds what sounds to `left` and `right`.
    pub(super) fn add_block(&mut self, left: &mut [f32], right: &mut [f32]) {
        for place in &mut self.running {
            let Some((which, over)) = place else { continue };
            let sound = &self.sounds[*which];
            let sides = left.iter_mut().zip(right.iter_mut());
            for ((l, r), s) in sides.zip(&sound[*over..]) {
                *l += s;
                *r += s;
            }
            *over += left.len().min(right.len());
            if *over >= sound.len() {
                *place = None;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_click_is_the_same_in_blocks_of_any_length_and_begins_on_its_frame() {
        let rate = SampleRate::from_hz(48_000.0);
        let at = vec![(5_000, false), (1_000, true), (1_100, false)];
        let render = |block: usize| {
            let mut click = Click::new(at.clone(), rate);
            let (mut left, mut right) = (vec![0.0f32; 8_000], vec![0.0f32; 8_000]);
            for (l, r) in left.chunks_mut(block).zip(right.chunks_mut(block)) {
                click.add_block(l, r);
            }
            assert_eq!(left, right);
            left
        };
        let whole = render(8_000);
        assert_eq!(whole, render(7));
        assert_eq!(whole, render(1_024));
        assert_eq!(whole.iter().position(|s| *s != 0.0), Some(1_001));
        assert_eq!(whole[3_000..=5_000].iter().find(|s| **s != 0.0), None);
        assert!(whole[5_001] != 0.0 && whole[7_000] == 0.0);
    }
}
