//! What is played of a set, and when.

use crate::plan::piece::{Beat, Missing, Other};
use crate::plan::programme::{Breath, Programme};

/// What is played, and when: a programme of a set's own, or a piece on it.
///
/// ```
/// use ullage::stage::Stage;
/// let set = ullage::set::open("presets/quay/set.toml")?;
/// let turns = Stage::new(&set)?.audition_programme();
/// assert_eq!(turns.programme.parts[0].title, "each bottle in turn");
/// assert!(turns.end_s() > 30.0 && turns.missing.is_empty());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Performance {
    /// Who is blown when.
    pub programme: Programme,
    /// The same as it is written, before its timing was scattered: who plays what must not hang on a few milliseconds.
    pub written: Vec<Breath>,
    /// Of a piece: the notes that no bottle has, the lowest first.
    pub missing: Vec<Missing>,
    /// Of a piece: every beat, to click on.
    pub beats: Vec<Beat>,
    /// Of a piece: what is sounded as plain tones.
    pub others: Vec<Other>,
}

impl From<Programme> for Performance {
    fn from(programme: Programme) -> Self {
        Self {
            written: programme.breaths().copied().collect(),
            programme,
            ..Self::default()
        }
    }
}

impl Performance {
    /// When the last bottle has rung down, or the last plain tone has ended, s.
    #[must_use]
    pub fn end_s(&self) -> f64 {
        let others_end_s = self.others.iter().map(|other| other.stop_s);
        others_end_s.fold(self.programme.end_s(), f64::max)
    }
}
