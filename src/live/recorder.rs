//! Recording what is played: the callback hands every block to a thread that has time.
//!
//! What becomes of the sound is the sink's business: this folder knows no file format.

use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::thread::{self, JoinHandle};
use std::time::Duration;

use rtrb::{Consumer, Producer, RingBuffer};

/// Sound that waits for a slow disk, s.
const ROOM_S: usize = 8;
/// How often the thread looks, ms.
const LOOK_MS: u64 = 20;
/// Frames handed to the sink at a time.
const PIECE_FRAMES: usize = 4096;

/// Takes the left and the right of each stretch of sound, in order. It is dropped when the recording ends.
pub type Sink = Box<dyn FnMut(&[f32], &[f32]) + Send>;

/// The callback's end.
pub struct Tap {
    ring: Producer<[f32; 2]>,
    lost: Arc<AtomicU64>,
}

impl Tap {
    /// Hands a block on. Real time; what finds no room is lost and counted.
    pub(super) fn hear(&mut self, left: &[f32], right: &[f32]) {
        for (&left, &right) in left.iter().zip(right) {
            if self.ring.push([left, right]).is_err() {
                self.lost.fetch_add(1, Ordering::Relaxed);
            }
        }
    }
}

/// What was recorded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Recorded {
    /// Frames that the sink got.
    pub frames: u64,
    /// Frames that found no room, because the sink was slow for seconds.
    pub lost_frames: u64,
}

/// A recording that runs.
pub struct Recorder {
    thread: JoinHandle<u64>,
    lost: Arc<AtomicU64>,
}

impl Recorder {
    /// Starts the thread that feeds `sink`; the tap goes to the callback.
    ///
    /// # Errors
    /// The system gives no thread.
    pub(super) fn start(rate_hz: u32, sink: Sink) -> io::Result<(Tap, Self)> {
        let (ring, heard) = RingBuffer::new(ROOM_S * rate_hz as usize);
        let lost = Arc::new(AtomicU64::new(0));
        let thread = thread::Builder::new()
            .name("ullage-recorder".to_owned())
            .spawn(move || feed(heard, sink))?;
        let tap = Tap {
            ring,
            lost: Arc::clone(&lost),
        };
        Ok((tap, Self { thread, lost }))
    }

    /// Whether the tap is gone and everything is with the sink.
    pub(super) fn is_done(&self) -> bool {
        self.thread.is_finished()
    }

    /// Waits for the end, which comes when the tap is dropped.
    pub(super) fn finish(self) -> Recorded {
        Recorded {
            // A sink that panicked got nothing that counts.
            frames: self.thread.join().unwrap_or(0),
            lost_frames: self.lost.load(Ordering::Relaxed),
        }
    }
}

fn feed(mut heard: Consumer<[f32; 2]>, mut sink: Sink) -> u64 {
    let (mut left, mut right) = (Vec::new(), Vec::new());
    let mut frames = 0;
    loop {
        // Asked before looking: what was pushed before the tap was dropped is still there.
        let ended = heard.is_abandoned();
        left.clear();
        right.clear();
        while left.len() < PIECE_FRAMES
            && let Ok([l, r]) = heard.pop()
        {
            left.push(l);
            right.push(r);
        }
        if left.is_empty() {
            if ended {
                return frames;
            }
            thread::sleep(Duration::from_millis(LOOK_MS));
            continue;
        }
        frames += left.len() as u64;
        sink(&left, &right);
    }
}
