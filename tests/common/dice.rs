//! Numbers that look random and are the same every time.

/// A plain congruential generator with its seed. Knuth, from memory.
pub struct Dice(pub u64);

impl Dice {
    fn turn(&mut self) -> u64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        // The low bits repeat soon.
        self.0 >> 33
    }

    /// 0 to `limit` − 1.
    pub fn below(&mut self, limit: u64) -> u64 {
        self.turn() % limit
    }

    /// 0 to 1.
    pub fn share(&mut self) -> f64 {
        self.turn() as f64 / f64::from(1u32 << 31)
    }

    /// −1 to 1.
    pub fn roll(&mut self) -> f64 {
        2.0 * self.share() - 1.0
    }

    /// Around 0 as a bell: twelve rolls, for a deviation of 1.
    pub fn bell(&mut self) -> f64 {
        (0..12).map(|_| self.roll()).sum::<f64>() / 2.0
    }
}
