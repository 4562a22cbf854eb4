//! Glides over a fixed time, anchored to absolute frames: what block they are asked in changes nothing.

/// A value on its way from one number to another.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Glide {
    from: f64,
    to: f64,
    start_frame: u64,
    length_frames: u64,
    /// At one speed all the way, not in an S.
    even: bool,
}

impl Glide {
    /// At rest on `value`.
    pub(super) fn resting(value: f64) -> Self {
        Self {
            from: value,
            to: value,
            start_frame: 0,
            length_frames: 1,
            even: false,
        }
    }

    /// The value at an absolute frame: an S, level at both ends, so that neither end is heard; or a straight line.
    pub(super) fn at(&self, frame: u64) -> f64 {
        if self.is_done(frame) {
            return self.to;
        }
        let t = frame.saturating_sub(self.start_frame) as f64 / self.length_frames as f64;
        if self.even {
            return self.from + (self.to - self.from) * t;
        }
        self.from + (self.to - self.from) * t * t * (3.0 - 2.0 * t)
    }

    /// Whether it has arrived.
    pub(super) fn is_done(&self, frame: u64) -> bool {
        self.from == self.to || frame >= self.end_frame()
    }

    /// When it arrives.
    pub(super) fn end_frame(&self) -> u64 {
        self.start_frame.saturating_add(self.length_frames)
    }

    /// Turns towards `to` from wherever it is at `frame`.
    pub(super) fn head_for(&mut self, to: f64, frame: u64, length_frames: u64) {
        *self = Self {
            from: self.at(frame),
            to,
            start_frame: frame,
            length_frames: length_frames.max(1),
            even: false,
        };
    }

    /// The same at one speed, so that one such way after another makes any curve.
    pub(super) fn move_evenly(&mut self, to: f64, frame: u64, length_frames: u64) {
        self.head_for(to, frame, length_frames);
        self.even = true;
    }

    /// Where it is going.
    pub(super) fn target(&self) -> f64 {
        self.to
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_glide_arrives_exactly_and_turns_without_a_jump() {
        let mut glide = Glide::resting(1.0);
        glide.head_for(3.0, 100, 50);
        assert_eq!(glide.at(100), 1.0);
        assert_eq!(glide.at(125), 2.0);
        let before = glide.at(140);
        glide.head_for(0.0, 140, 50);
        assert_eq!(glide.at(140), before);
        assert_eq!(glide.at(190), 0.0);
        assert!(glide.is_done(190) && !glide.is_done(189));
    }

    #[test]
    fn an_even_way_is_straight() {
        let mut glide = Glide::resting(1.0);
        glide.move_evenly(3.0, 100, 50);
        assert_eq!(
            [100, 110, 125, 150].map(|at| glide.at(at)),
            [1.0, 1.4, 2.0, 3.0]
        );
        assert!(glide.is_done(150) && !glide.is_done(149));
    }
}
