//! Plain tones for the rest of a piece, to hear the bottles against: a sine for each note, in the middle.

use std::f64::consts::TAU;

use crate::units::{Frequency, SampleRate};

/// Amplitude of a tone played as hard as the key goes: quiet beside a bottle. A matter of taste.
const GAIN: f64 = 0.08;
/// Time to come and to go, s: short, without a click.
const FADES_S: [f64; 2] = [0.010, 0.030];

/// A note for a plain tone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlainNote {
    /// It begins, frames.
    pub start_frame: u64,
    /// It is let go, frames; it fades for 30 ms more.
    pub stop_frame: u64,
    /// Its pitch.
    pub frequency: Frequency,
    /// How hard it is played, 0 to 1.
    pub strength: f64,
}

/// A tone that sounds: a number that turns.
#[derive(Clone, Copy, Debug)]
struct Turning {
    note: PlainNote,
    at: (f64, f64),
    turn: (f64, f64),
}

/// Plain tones at given frames.
///
/// Real time: no allocation, lock, wait or system call; cost is linear in the block and in the tones that
/// sound.
#[derive(Clone, Debug)]
pub struct PlainTones {
    /// In order of their beginning.
    notes: Vec<PlainNote>,
    rate_hz: f64,
    fades: [f64; 2],
    sounding: Vec<Turning>,
    now_frame: u64,
    next: usize,
}

impl PlainTones {
    /// These notes, in any order; a note above half the rate is left out. Allocates.
    #[must_use]
    pub fn new(mut notes: Vec<PlainNote>, rate: SampleRate) -> Self {
        let rate_hz = rate.hz();
        notes.retain(|n| n.frequency.hz() < 0.5 * rate_hz && n.stop_frame > n.start_frame);
        notes.sort_by_key(|n| n.start_frame);
        let fades = FADES_S.map(|s| (s * rate_hz).max(1.0));
        let mut tones = Self {
            sounding: Vec::new(),
            notes,
            rate_hz,
            fades,
            now_frame: 0,
            next: 0,
        };
        tones.sounding.reserve_exact(tones.most_at_once());
        tones
    }

    /// The most tones that sound at one time, their fading included.
    fn most_at_once(&self) -> usize {
        let mut ends = std::collections::BinaryHeap::new();
        let mut most = 0;
        for note in &self.notes {
            while ends
                .peek()
                .is_some_and(|std::cmp::Reverse(end)| *end <= note.start_frame)
            {
                ends.pop();
            }
            ends.push(std::cmp::Reverse(self.end_frame(note)));
            most = most.max(ends.len());
        }
        most
    }

    /// The frame from which a note is silent.
    fn end_frame(&self, note: &PlainNote) -> u64 {
        note.stop_frame.saturating_add(self.fades[1] as u64)
    }

    /// Adds the tones to `left` and `right`; the shorter of the two says how many frames.
    pub fn add_block(&mut self, left: &mut [f32], right: &mut [f32]) {
        let frames = left.len().min(right.len());
        let (from, to) = (self.now_frame, self.now_frame + frames as u64);
        let mut at = from;
        // From one beginning to the next, so that no more sound than there is room for.
        while at < to {
            while let Some(note) = self.notes.get(self.next).filter(|n| n.start_frame <= at) {
                let radians = TAU * note.frequency.hz() / self.rate_hz;
                self.sounding.push(Turning {
                    note: *note,
                    at: (1.0, 0.0),
                    turn: (radians.cos(), radians.sin()),
                });
                self.next += 1;
            }
            let next = self
                .notes
                .get(self.next)
                .map_or(to, |n| n.start_frame.min(to));
            let [begin, end] = [at - from, next - from].map(|frame| frame as usize);
            self.add_stretch(at, &mut left[begin..end], &mut right[begin..end]);
            let fade = self.fades[1] as u64;
            self.sounding
                .retain(|t| t.note.stop_frame.saturating_add(fade) > next);
            at = next;
        }
        self.now_frame = to;
    }

    fn add_stretch(&mut self, at: u64, left: &mut [f32], right: &mut [f32]) {
        for tone in &mut self.sounding {
            let begun = at as f64 - tone.note.start_frame as f64;
            let left_over = tone.note.stop_frame as f64 + self.fades[1].floor() - at as f64;
            let both = left.iter_mut().zip(right.iter_mut());
            for ((l, r), n) in both.zip(0u32..) {
                let n = f64::from(n);
                let rise = (begun + n) / self.fades[0];
                let fall = (left_over - n) / self.fades[1];
                let envelope = rise.min(fall).clamp(0.0, 1.0);
                let sample = (GAIN * tone.note.strength * envelope * tone.at.1) as f32;
                *l += sample;
                *r += sample;
                let ((x, y), (c, s)) = (tone.at, tone.turn);
                tone.at = (x * c - y * s, x * s + y * c);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE_HZ: f64 = 48_000.0;

    fn notes() -> Vec<PlainNote> {
        let note = |start_frame, stop_frame, hz| PlainNote {
            start_frame,
            stop_frame,
            frequency: Frequency::from_hz(hz),
            strength: 1.0,
        };
        vec![
            note(1_000, 9_000, 440.0),
            note(500, 4_000, 300.0),
            note(4_000, 5_000, 300.0),
            note(9_000, 9_000, 200.0),
        ]
    }

    fn render(notes: Vec<PlainNote>, block: usize) -> Vec<f32> {
        let mut tones = PlainTones::new(notes, SampleRate::from_hz(RATE_HZ));
        let room = tones.sounding.capacity();
        let (mut left, mut right) = (vec![0.0f32; 20_000], vec![0.0f32; 20_000]);
        for (l, r) in left.chunks_mut(block).zip(right.chunks_mut(block)) {
            tones.add_block(l, r);
        }
        assert_eq!(left, right);
        assert_eq!(
            tones.sounding.capacity(),
            room,
            "nothing is allocated on the way"
        );
        left
    }

    #[test]
    fn tones_are_the_same_in_blocks_of_any_length_and_silent_before_and_after() {
        let whole = render(notes(), 20_000);
        for block in [1, 7, 64, 1_024] {
            assert_eq!(whole, render(notes(), block), "{block}");
        }
        assert!(whole[..=500].iter().all(|s| *s == 0.0) && whole[502] != 0.0);
        // 30 ms after the last is let go.
        assert!(whole[10_439] != 0.0 && whole[10_440..].iter().all(|s| *s == 0.0));
    }

    #[test]
    fn a_tone_has_its_pitch_and_its_quiet_level() {
        let one = vec![PlainNote {
            start_frame: 0,
            stop_frame: 19_000,
            frequency: Frequency::from_hz(441.0),
            strength: 0.5,
        }];
        let sound = render(one, 64);
        // A sine against the closed form, past its fade.
        let worst = (1_000..18_000).map(|n| {
            let ideal = 0.5 * GAIN * (TAU * 441.0 * f64::from(n) / RATE_HZ).sin();
            (f64::from(sound[n as usize]) - ideal).abs()
        });
        let worst = worst.fold(0.0, f64::max);
        assert!(worst < 1e-7, "{worst}");
    }
}
