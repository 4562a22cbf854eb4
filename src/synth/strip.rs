//! Thirty-two bottles side by side: the state and the coefficients that [`super::blown_kernel`] runs on.
//!
//! The arrays are laid out by quantity, a row a quantity and a lane a bottle.

use super::breath::Breath;

/// Bottles side by side in one strip.
pub(super) const LANES: usize = 16;

/// Higher air modes that a bottle may have.
pub(super) const MODES: usize = 7;

/// One value a lane.
pub(super) type Row = [f32; LANES];

/// Nothing in every lane.
pub(super) const NONE: Row = [0.0; LANES];

/// A passive air mode in every lane: a two-pole resonator in direct form.
///
/// Of two steps one is damped and the other is not, m ← ρ (t m − m′) and m ← t m − m′, which saves a product; `turn` and
/// `keep` are chosen so that the poles of both steps together are the mode's own, see [`super::colour`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct ModeRows {
    pub one_back: Row,
    pub two_back: Row,
    pub turn: Row,
    pub keep: Row,
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
    /// The damping of four frames at rest, less what the breath gives back.
    pub damp: Row,
    /// The damping of four frames that grows with the square of the state.
    pub limit: Row,
    /// The push of the breath noise on the oscillation.
    pub push: Row,
    /// Half of the breath noise before it is coloured.
    pub noise: Row,
    /// The same through its one pole.
    pub hiss: Row,
    /// Half of the coloured noise of the last frame.
    pub before: Row,
    /// The second, third and fourth overtone.
    pub overtones: [Row; 3],
    /// Half of the second and three quarters of the third.
    pub half_second: Row,
    pub most_third: Row,
    /// The gain to the middle, (left + right) / 2, halved because the state is doubled.
    pub middle: Row,
    /// (left − right) / (left + right).
    pub side: Row,
    pub modes: [ModeRows; MODES],
    /// Modes that any lane has had since the strip was last empty.
    pub modes_in_use: usize,
    /// What moves slowly, and makes the numbers above.
    pub breath: Breath,
}

/// Rows of numbers in a strip: nineteen of its own, five for each mode, and the breath's.
const ROWS: usize = 19 + 5 * MODES + Breath::ROWS;

/// A turn of the swing by some angle in a frame, and what rounding makes of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Turn {
    /// rad.
    pub angle: f64,
    pub one: [f32; 2],
    pub four: [f32; 2],
}

impl Turn {
    /// By `angle`, rad, less than a half turn.
    pub(super) fn by(angle: f64) -> Self {
        let rounded = |angle: f64| [angle.cos() as f32, angle.sin() as f32];
        Self {
            angle,
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
    dice: [u32; 2],
}

impl Strip {
    pub(super) fn silent() -> Self {
        const MODE: ModeRows = ModeRows {
            one_back: NONE,
            two_back: NONE,
            turn: NONE,
            keep: NONE,
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
            damp: NONE,
            limit: NONE,
            push: NONE,
            noise: NONE,
            hiss: NONE,
            before: NONE,
            overtones: [NONE; 3],
            half_second: NONE,
            most_third: NONE,
            middle: NONE,
            side: NONE,
            modes: [MODE; MODES],
            modes_in_use: 0,
            breath: Breath::none(),
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
            damp,
            limit,
            push,
            noise,
            hiss,
            before,
            overtones,
            half_second,
            most_third,
            middle,
            side,
            modes,
            modes_in_use: _,
            breath,
        } = self;
        [
            re,
            im,
            cos,
            sin,
            cos_four,
            sin_four,
            damp,
            limit,
            push,
            noise,
            hiss,
            before,
            half_second,
            most_third,
            middle,
            side,
        ]
        .into_iter()
        .chain(overtones)
        .chain(breath.rows())
        .chain(modes.iter_mut().flat_map(|m| {
            let ModeRows {
                one_back,
                two_back,
                turn,
                keep,
                gain,
            } = m;
            [one_back, two_back, turn, keep, gain]
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
            dice: [self.dice[lane], self.breath.dice[lane]],
        }
    }

    /// Lays the numbers of a lane into lane `into`.
    pub(super) fn set_lane(&mut self, into: usize, lane: &Lane) {
        for (row, number) in self.rows().zip(lane.numbers) {
            row[into] = number;
        }
        [self.dice[into], self.breath.dice[into]] = lane.dice;
    }

    /// Sets where a lane stands: its gain to the middle, (left + right) / 2, and (left − right) / (left + right).
    pub(super) fn place(&mut self, lane: usize, middle: f64, side: f32) {
        self.middle[lane] = (middle / 2.0) as f32;
        self.side[lane] = side;
    }

    /// Gives the air of a lane a swing at once, of full swing, at some angle of its turn, rad.
    pub(super) fn jolt(&mut self, lane: usize, swing: f32, angle: f32) {
        self.re[lane] += 2.0 * swing * angle.cos();
        self.im[lane] += 2.0 * swing * angle.sin();
    }

    /// Sets turn, keep and gain of each mode of a lane.
    pub(super) fn set_modes(&mut self, lane: usize, modes: &[[f32; 3]; MODES]) {
        for (rows, numbers) in self.modes.iter_mut().zip(modes) {
            [rows.turn[lane], rows.keep[lane], rows.gain[lane]] = *numbers;
        }
    }

    /// The largest swing in a lane, of the main resonance, a mode or the breath.
    pub(super) fn swing(&self, lane: usize) -> f32 {
        self.modes.iter().fold(self.main_swing(lane), |most, m| {
            most.max(m.one_back[lane].abs()).max(m.two_back[lane].abs())
        })
    }

    /// The same but for the modes.
    pub(super) fn main_swing(&self, lane: usize) -> f32 {
        let main = self.re[lane].abs().max(self.im[lane].abs()) / 2.0;
        main.max(self.hiss[lane].abs())
    }

    /// Ends the modes and the hiss of a lane that have fallen below `least`, before their numbers get so small that they
    /// are slow.
    pub(super) fn quieten(&mut self, lane: usize, least: f32) {
        for m in &mut self.modes {
            if m.one_back[lane].abs().max(m.two_back[lane].abs()) < least {
                m.one_back[lane] = 0.0;
                m.two_back[lane] = 0.0;
            }
        }
        if self.hiss[lane].abs().max(self.before[lane].abs()) < least {
            self.hiss[lane] = 0.0;
            self.before[lane] = 0.0;
        }
    }

    /// An empty lane computes with zeros, which costs no more than the arithmetic.
    pub(super) fn clear_lane(&mut self, lane: usize) {
        for row in self.rows() {
            row[lane] = 0.0;
        }
        [self.dice[lane], self.breath.dice[lane]] = [0; 2];
    }
}
