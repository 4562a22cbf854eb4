//! Thirty-two bottles side by side: the state and the coefficients that [`super::blown_kernel`] runs on.
//!
//! The arrays are laid out by quantity, a row a quantity and a lane a bottle.

/// Bottles side by side in one strip.
pub(super) const LANES: usize = 32;

/// Higher air modes that a bottle may have.
pub(super) const MODES: usize = 3;

/// One value a lane.
pub(super) type Row = [f32; LANES];

/// What moves with the breath, in the order of [`Strip::glide`].
pub(super) const GLIDES: usize = 9;

/// The damping per frame at rest, less what the breath gives back: a quarter of what four frames take.
pub(super) const DAMP: usize = 0;
/// The damping per frame that grows with the square of the state.
pub(super) const LIMIT: usize = 1;
/// The push of the breath noise on the oscillation.
pub(super) const PUSH: usize = 2;
/// The breath that is heard beside the tone.
pub(super) const HISS: usize = 3;
/// The second overtone.
pub(super) const SECOND: usize = 4;
/// Half of it.
pub(super) const HALF_SECOND: usize = 5;
/// The third overtone.
pub(super) const THIRD: usize = 6;
/// Three quarters of it.
pub(super) const MOST_THIRD: usize = 7;
/// The fourth overtone.
pub(super) const FOURTH: usize = 8;

/// A passive air mode in every lane: a two-pole resonator in direct form.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct ModeRows {
    pub one_back: Row,
    pub two_back: Row,
    pub turn: Row,
    pub loss: Row,
    pub gain: Row,
}

/// The state and the coefficients of the bottles in one strip.
///
/// On a cache line of its own: a vector that straddles two lines costs twice, and three times in a store.
#[derive(Clone, Debug, PartialEq)]
#[repr(align(64))]
pub(super) struct Strip {
    /// Twice the real part of the swing z: Re zⁿ is a polynomial in it with whole coefficients.
    pub re: Row,
    /// Twice its imaginary part.
    pub im: Row,
    /// The turn of one frame: cos θ and sin θ.
    pub cos: Row,
    pub sin: Row,
    /// The turn of four frames.
    pub cos_four: Row,
    pub sin_four: Row,
    pub dice: [u32; LANES],
    pub hiss: Row,
    pub glide: [Row; GLIDES],
    /// What each glide moves in four frames.
    pub step: [Row; GLIDES],
    /// The gain to the middle, (left + right) / 2, halved because the state is doubled.
    pub middle: Row,
    /// (left − right) / (left + right).
    pub side: Row,
    pub modes: [ModeRows; MODES],
    /// Modes that any lane has had since the strip was last empty.
    pub modes_in_use: usize,
}

/// Rows of numbers in a strip: nine of its own, two for each glide, five for each mode.
const ROWS: usize = 9 + 2 * GLIDES + 5 * MODES;

/// A turn of the swing by some angle in a frame, and what rounding makes of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Turn {
    one: [f32; 2],
    four: [f32; 2],
}

impl Turn {
    /// By `angle`, rad, less than a half turn.
    pub(super) fn by(angle: f64) -> Self {
        let rounded = |angle: f64| [angle.cos() as f32, angle.sin() as f32];
        Self {
            one: rounded(angle),
            four: rounded(4.0 * angle),
        }
    }

    /// By how much four frames lengthen the swing, less one: rounding leaves a turn that is not quite one. The damping
    /// takes it back.
    pub(super) fn stretch(&self) -> f64 {
        let [cos, sin] = self.four.map(f64::from);
        cos.hypot(sin) - 1.0
    }
}

/// The numbers of one lane, out of their strip.
#[derive(Clone, Copy, Debug)]
pub(super) struct Lane {
    numbers: [f32; ROWS],
    dice: u32,
}

impl Strip {
    pub(super) fn silent() -> Self {
        const NONE: Row = [0.0; LANES];
        const MODE: ModeRows = ModeRows {
            one_back: NONE,
            two_back: NONE,
            turn: NONE,
            loss: NONE,
            gain: NONE,
        };
        Self {
            re: NONE,
            im: NONE,
            cos: NONE,
            sin: NONE,
            cos_four: NONE,
            sin_four: NONE,
            dice: [0; LANES],
            hiss: NONE,
            glide: [NONE; GLIDES],
            step: [NONE; GLIDES],
            middle: NONE,
            side: NONE,
            modes: [MODE; MODES],
            modes_in_use: 0,
        }
    }

    /// Every row of numbers, so that a lane can be moved or cleared without naming them twice.
    fn rows(&mut self) -> impl Iterator<Item = &mut Row> {
        let Self {
            re,
            im,
            cos,
            sin,
            cos_four,
            sin_four,
            dice: _,
            hiss,
            glide,
            step,
            middle,
            side,
            modes,
            modes_in_use: _,
        } = self;
        [re, im, cos, sin, cos_four, sin_four, hiss, middle, side]
            .into_iter()
            .chain(glide)
            .chain(step)
            .chain(modes.iter_mut().flat_map(|m| {
                let ModeRows {
                    one_back,
                    two_back,
                    turn,
                    loss,
                    gain,
                } = m;
                [one_back, two_back, turn, loss, gain]
            }))
    }

    /// The numbers of one lane, to be laid into another.
    pub(super) fn lane(&mut self, lane: usize) -> Lane {
        let mut numbers = [0.0; ROWS];
        for (number, row) in numbers.iter_mut().zip(self.rows()) {
            *number = row[lane];
        }
        Lane {
            numbers,
            dice: self.dice[lane],
        }
    }

    /// Lays the numbers of a lane into lane `into`.
    pub(super) fn set_lane(&mut self, into: usize, lane: &Lane) {
        for (row, number) in self.rows().zip(lane.numbers) {
            row[into] = number;
        }
        self.dice[into] = lane.dice;
    }

    /// Sets the moving numbers of a lane and stops them there.
    pub(super) fn hold(&mut self, lane: usize, glide: &[f32; GLIDES], turn: Turn) {
        for ((row, step), number) in self.glide.iter_mut().zip(&mut self.step).zip(glide) {
            row[lane] = *number;
            step[lane] = 0.0;
        }
        self.turn(lane, turn);
    }

    /// Sets how far a lane turns in a frame.
    pub(super) fn turn(&mut self, lane: usize, turn: Turn) {
        [self.cos[lane], self.sin[lane]] = turn.one;
        [self.cos_four[lane], self.sin_four[lane]] = turn.four;
    }

    /// Sets where a lane stands: its gain to the middle, (left + right) / 2, and (left − right) / (left + right).
    pub(super) fn place(&mut self, lane: usize, middle: f64, side: f32) {
        self.middle[lane] = (middle / 2.0) as f32;
        self.side[lane] = side;
    }

    /// Gives the air of a lane a swing at once, of full swing.
    pub(super) fn jolt(&mut self, lane: usize, swing: f32) {
        self.im[lane] += 2.0 * swing;
    }

    /// Sets turn, loss and gain of each mode of a lane.
    pub(super) fn set_modes(&mut self, lane: usize, modes: &[[f32; 3]; MODES]) {
        for (rows, numbers) in self.modes.iter_mut().zip(modes) {
            [rows.turn[lane], rows.loss[lane], rows.gain[lane]] = *numbers;
        }
    }

    /// The largest swing in a lane, of the main resonance or a mode.
    pub(super) fn swing(&self, lane: usize) -> f32 {
        let main = self.re[lane].abs().max(self.im[lane].abs()) / 2.0;
        self.modes.iter().fold(main, |most, m| {
            most.max(m.one_back[lane].abs()).max(m.two_back[lane].abs())
        })
    }

    /// Ends the modes of a lane that have rung below `least`, before their numbers get so small that they are slow.
    pub(super) fn quieten_modes(&mut self, lane: usize, least: f32) {
        for m in &mut self.modes {
            if m.one_back[lane].abs().max(m.two_back[lane].abs()) < least {
                m.one_back[lane] = 0.0;
                m.two_back[lane] = 0.0;
            }
        }
    }

    /// An empty lane computes with zeros, which costs no more than the arithmetic.
    pub(super) fn clear_lane(&mut self, lane: usize) {
        for row in self.rows() {
            row[lane] = 0.0;
        }
        self.dice[lane] = 0;
    }
}
