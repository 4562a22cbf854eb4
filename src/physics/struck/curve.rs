//! How the pitch of a struck bottle moves with what is in it, and what gives a note.

use super::{MODES_EACH, ModeKey, Struck, StruckError};
use crate::physics::pressed::{Pressed, PressedFit};
use crate::units::{Frequency, Interval, Pressure, Volume};

/// Width of a solved fill, m³, and how near a solved pitch may be left, cents.
const FILL_WIDTH_M3: f64 = 1e-8;
const NEAR_CENTS: f64 = 0.005;

impl Struck<'_> {
    /// The fill whose strongest partial is `target`, sought among the lowest partials of each number of waves first.
    ///
    /// The pitch of each falls with every millilitre, so there is one at most of each.
    ///
    /// # Errors
    /// [`StruckError::OutOfReach`] with what the bottle reaches.
    pub fn fill_for(&self, target: Frequency) -> Result<Volume, StruckError> {
        let full = self.wall.bore.capacity();
        let mut reached = (f64::INFINITY, 0.0_f64);
        for place in 0..MODES_EACH {
            for order in &self.orders {
                let n = order.waves();
                if let Some(fill) = self.fill_of(ModeKey { n, place }, target)? {
                    return Ok(fill);
                }
            }
        }
        for share in [0.0, 0.25, 0.5, 0.75, 1.0] {
            let hz = self.note(full * share)?.frequency.hz();
            reached = (reached.0.min(hz), reached.1.max(hz));
        }
        Err(StruckError::OutOfReach {
            target_hz: target.hz(),
            lowest_hz: reached.0,
            highest_hz: reached.1,
        })
    }

    /// The fill at which a partial is both `target` and the strongest, if there is one.
    fn fill_of(&self, key: ModeKey, target: Frequency) -> Result<Option<Volume>, StruckError> {
        let highest = self.pitch_of(key, Volume::default())?;
        let lowest = self.pitch_of(key, self.wall.bore.capacity())?;
        if !(lowest.hz()..=highest.hz()).contains(&target.hz()) {
            return Ok(None);
        }
        let fill = self.crossed(key, target)?;
        let note = self.note(fill)?;
        let is_there = note.frequency.interval_above(target).cents().abs() < 1.0;
        Ok((note.key() == key && is_there).then_some(fill))
    }

    /// Regula falsi in cents, halving every fourth round in case it stalls.
    fn crossed(&self, key: ModeKey, target: Frequency) -> Result<Volume, StruckError> {
        let off = |m3: f64| {
            let pitch = self.pitch_of(key, Volume::from_m3(m3))?;
            Ok::<_, StruckError>(pitch.interval_above(target).cents())
        };
        let (mut low_m3, mut high_m3) = (0.0, self.wall.bore.capacity().m3());
        let (mut low_cents, mut high_cents) = (off(low_m3)?, off(high_m3)?);
        let mut round = 0;
        while high_m3 - low_m3 > FILL_WIDTH_M3 {
            round += 1;
            let halve = round % 4 == 0 || low_cents <= high_cents;
            let share = if halve {
                0.5
            } else {
                (low_cents / (low_cents - high_cents)).clamp(0.001, 0.999)
            };
            let middle_m3 = low_m3 + (high_m3 - low_m3) * share;
            let cents = off(middle_m3)?;
            if cents.abs() < NEAR_CENTS {
                return Ok(Volume::from_m3(middle_m3));
            }
            if cents > 0.0 {
                (low_m3, low_cents) = (middle_m3, cents);
                // Illinois: an end that stays counts half, so that the other moves as well.
                high_cents *= 0.5;
            } else {
                (high_m3, high_cents) = (middle_m3, cents);
                low_cents *= 0.5;
            }
        }
        Ok(Volume::from_m3(0.5 * (low_m3 + high_m3)))
    }

    /// How far the strongest partial rises for a millilitre more: below zero.
    ///
    /// # Errors
    /// As [`Self::note`].
    pub fn per_ml(&self, fill: Volume) -> Result<Interval, StruckError> {
        self.per_ml_of(self.note(fill)?.key(), fill)
    }

    /// The same of any partial.
    ///
    /// # Errors
    /// As [`Self::pitch_of`].
    pub fn per_ml_of(&self, key: ModeKey, fill: Volume) -> Result<Interval, StruckError> {
        let full = self.wall.bore.capacity();
        let step = full * 0.01;
        let (low, high) = (
            (fill - step).max(Volume::default()),
            (fill + step).min(full),
        );
        let rise = self
            .pitch_of(key, high)?
            .interval_above(self.pitch_of(key, low)?);
        Ok(Interval::from_cents(rise.cents() / (high - low).ml()))
    }

    /// The pressure above the air outside whose strongest partial is `target`, at a fill; plastic only, and no more than
    /// 2.4 bar.
    ///
    /// # Errors
    /// Another material, or [`StruckError::OutOfReach`].
    pub fn pressure_for(&self, target: Frequency, fill: Volume) -> Result<Pressure, StruckError> {
        Pressed::new(self.bottle, self.spec, PressedFit::default(), fill)?.pressure_for(target)
    }
}
