//! What one struck bottle is, for its voice: checked once here, then trusted.

use super::blown_voice::{LOWEST_HZ, VoiceError, amount, check_hz};
use super::noise::splitmix64;
use super::pulse::reaching;
use super::stroke::Stroke;
use crate::physics::shell::strike::Mallet;
use crate::physics::struck::ShellMode;
use crate::units::Frequency;

/// Highest frequency of a ringing mode, Hz.
pub const HIGHEST_STRUCK_HZ: f64 = 20_000.0;
/// Highest quality of a ringing mode; the lowest is 1. Glass reaches more than 1000.
pub const HIGHEST_STRUCK_Q: f64 = 20_000.0;
/// Ringing modes that one voice may have, the air mode beside them.
pub const MOST_RINGING_MODES: usize = 15;
/// The split of a bottle nobody measured, of the pitch: 7 cents. Measured ones reach 1.3 % (20 cents) and beat 10 to
/// 40 times a second; this keeps the pair one note for a pitch that is asked to a few cents.
pub const USUAL_SPLIT: f64 = 0.004;

/// Largest split: 1 %.
const MOST_SPLIT: f64 = 0.01;
/// Each mode's own split is this part of the voice's or more: their causes (a seam, a thick side) differ from mode to mode.
const LEAST_OF_SPLIT: f64 = 0.25;
/// The smaller member of a pair has at least this part of the level: nobody strikes exactly on a node.
const LEAST_OF_PAIR: f64 = 0.2;
/// Highest level of a mode and highest gain of a voice.
const MOST_LEVEL: f64 = 100.0;
const MOST_GAIN: f64 = 10_000.0;
/// Levels nearer to each other than this are a tie, as a ratio: 3 dB, as `physics::struck` has it.
const TIE: f64 = 0.707;
/// Modes this far below the strongest are left out: −60 dB.
const LEAST_LEVEL: f64 = 1e-3;
/// What [`StruckVoice::evened`] makes of a stroke: beside a full blown tone of about 0.85.
const EVEN_SWING: f64 = 0.5;
pub(super) const USUAL_SPEED_M_S: f64 = 1.0;
/// Draws for the side on which a pair's axis lies are numbered from here, beyond those for its split and its share.
const SIDES: u64 = 2 * MOST_RINGING_MODES as u64;
/// Waves around of a mode of which nobody says how many: the fewest that a wall has.
const FEWEST_WAVES: u32 = 2;

/// A mode that rings when it is struck.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RingingMode {
    /// The frequency of its free ring-down, 20 to 20,000 Hz; above 0.45 of the sample rate it is left out.
    pub frequency: Frequency,
    /// Its quality, 1 to 20,000.
    pub q: f64,
    /// Its response to a short tap: the swing that a unit of momentum gives it, −100 to 100. The mallet is *not* in
    /// it: what its length of contact leaves out is left out by the pulse as it is played.
    pub level: f64,
}

impl RingingMode {
    fn checked(self) -> Result<Self, VoiceError> {
        check_hz(self.frequency.hz(), HIGHEST_STRUCK_HZ)?;
        if !(1.0..=HIGHEST_STRUCK_Q).contains(&self.q) {
            return Err(VoiceError::Quality {
                q: self.q,
                min: 1.0,
                max: HIGHEST_STRUCK_Q,
            });
        }
        amount("a mode's level", self.level, -MOST_LEVEL, MOST_LEVEL)?;
        Ok(self)
    }
}

/// A mode of the wall, with what strokes in other places make of it.
#[derive(Clone, Copy, Debug, PartialEq)]
struct WallMode {
    ringing: RingingMode,
    /// Waves around.
    waves: u32,
    /// How much more its level is a millimetre higher up.
    level_per_mm: f64,
}

impl WallMode {
    fn of(ringing: RingingMode) -> Self {
        Self {
            ringing,
            waves: FEWEST_WAVES,
            level_per_mm: 0.0,
        }
    }
}

/// Which part of a stroke a lane takes.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Share {
    Whole,
    /// One of a pair: cos² or sin² of the angle from the axis of the pair, by the waves around.
    Cosine {
        waves: u32,
        axis_rad: f64,
    },
    Sine {
        waves: u32,
        axis_rad: f64,
    },
}

/// What rings by itself: a mode, or one of its pair. Its level is that of the whole mode.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Lane {
    pub mode: RingingMode,
    level_per_mm: f64,
    share: Share,
    /// It is the air's, not a wall's.
    pub is_air: bool,
}

impl Lane {
    /// Nothing.
    pub(super) const SILENT: Self = Self {
        mode: RingingMode {
            frequency: Frequency::from_hz(0.0),
            q: 1.0,
            level: 0.0,
        },
        level_per_mm: 0.0,
        share: Share::Whole,
        is_air: false,
    };

    /// How strongly a stroke drives it.
    pub(super) fn drive(&self, stroke: &Stroke) -> f64 {
        let level = self.mode.level + self.level_per_mm * stroke.height_mm;
        let turn = |waves: u32, axis_rad: f64| f64::from(waves) * stroke.angle_rad + axis_rad;
        level
            * match self.share {
                Share::Whole => 1.0,
                Share::Cosine { waves, axis_rad } => turn(waves, axis_rad).cos().powi(2),
                Share::Sine { waves, axis_rad } => turn(waves, axis_rad).sin().powi(2),
            }
    }
}

/// The air in a struck bottle.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Air {
    mode: RingingMode,
    /// Its swing beside the note's, whatever strikes; if nothing, its level counts as a wall's.
    beside_note: Option<f64>,
}

/// One struck bottle, of glass or of pressurised plastic, as its voice needs it.
///
/// ```
/// use ullage::physics::shell::strike::Mallet;
/// use ullage::synth::{RingingMode, StruckVoice};
/// use ullage::units::Frequency;
/// let mode = |hz, level| RingingMode { frequency: Frequency::from_hz(hz), q: 900.0, level };
/// let voice = StruckVoice::new(vec![mode(2730.0, 1.0), mode(3599.0, -0.4)])?.with_mallet(Mallet::Rubber);
/// assert_eq!(voice.frequency().hz(), 2730.0);
/// assert!(StruckVoice::new(vec![]).is_err());
/// # Ok::<(), ullage::synth::VoiceError>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct StruckVoice {
    modes: Vec<WallMode>,
    air: Option<Air>,
    pub(super) mallet: Mallet,
    pub(super) gain: f64,
    pub(super) pan: f64,
    pub(super) damp_on_release: bool,
    pub(super) contact_gain: f64,
    split: f64,
    pub(super) seed: u64,
    note: Option<RingingMode>,
}

impl StruckVoice {
    /// A bottle with these modes, 1 to [`MOST_RINGING_MODES`], struck with wood, in the middle, at gain 1, each mode
    /// split by up to [`USUAL_SPLIT`], left to ring when its key is let go. No two strokes are alike; since nobody says how
    /// the modes lie in the wall, each is taken to have two waves around and to be alike all the way up.
    ///
    /// # Errors
    /// No mode or too many, or one with a frequency, quality or level outside its range.
    pub fn new(modes: Vec<RingingMode>) -> Result<Self, VoiceError> {
        if !(1..=MOST_RINGING_MODES).contains(&modes.len()) {
            return Err(VoiceError::RingingModes {
                count: modes.len(),
                max: MOST_RINGING_MODES,
            });
        }
        for mode in &modes {
            mode.checked()?;
        }
        Ok(Self::of(modes.into_iter().map(WallMode::of).collect()))
    }

    fn of(modes: Vec<WallMode>) -> Self {
        Self {
            modes,
            air: None,
            mallet: Mallet::default(),
            gain: 1.0,
            pan: 0.0,
            damp_on_release: false,
            contact_gain: 1.0,
            split: USUAL_SPLIT,
            seed: 0,
            note: None,
        }
    }

    /// The partials of a bottle, each at its response where it is struck (the shape there counted, the mallet not: set
    /// that with [`Self::with_mallet`]). Those above 20 kHz, of no quality or 60 dB below the strongest are left out,
    /// and the weakest of too many.
    ///
    /// # Errors
    /// Nothing is left.
    pub fn from_modes(partials: &[ShellMode]) -> Result<Self, VoiceError> {
        let strongest = partials
            .iter()
            .fold(0.0f64, |most, p| most.max(p.response.abs()));
        let mut modes: Vec<WallMode> = partials
            .iter()
            .map(|p| WallMode {
                ringing: RingingMode {
                    frequency: p.frequency,
                    q: p.quality.min(HIGHEST_STRUCK_Q),
                    level: p.response / strongest,
                },
                waves: p.n,
                level_per_mm: p.response_per_mm / strongest,
            })
            .filter(|mode| {
                mode.ringing.checked().is_ok() && mode.ringing.level.abs() >= LEAST_LEVEL
            })
            .collect();
        let level = |mode: &WallMode| mode.ringing.level.abs();
        modes.sort_by(|a, b| level(b).total_cmp(&level(a)));
        modes.truncate(MOST_RINGING_MODES);
        let hz = |mode: &WallMode| mode.ringing.frequency.hz();
        modes.sort_by(|a, b| hz(a).total_cmp(&hz(b)));
        if modes.is_empty() {
            return Err(VoiceError::RingingModes {
                count: 0,
                max: MOST_RINGING_MODES,
            });
        }
        Ok(Self::of(modes))
    }

    /// The air in the bottle, which a stroke excites weakly: one mode, not split, level as of the others.
    ///
    /// # Errors
    /// A frequency, quality or level outside its range.
    pub fn with_air_mode(mut self, mode: RingingMode) -> Result<Self, VoiceError> {
        self.air = Some(Air {
            mode: mode.checked()?,
            beside_note: None,
        });
        Ok(self)
    }

    /// The same, swinging `share` of what the note does, 0 to 1, with any mallet: what strikes the wall reaches the air through
    /// it alone.
    ///
    /// # Errors
    /// A frequency, quality or share outside its range.
    pub fn with_air_beside_note(
        mut self,
        frequency: Frequency,
        q: f64,
        share: f64,
    ) -> Result<Self, VoiceError> {
        let mode = RingingMode {
            frequency,
            q,
            level: 0.0,
        };
        self.air = Some(Air {
            mode: mode.checked()?,
            beside_note: Some(amount("the air's share", share, 0.0, 1.0)?),
        });
        Ok(self)
    }

    /// What strikes.
    #[must_use]
    pub fn with_mallet(mut self, mallet: Mallet) -> Self {
        self.mallet = mallet;
        self
    }

    /// How loud the touch of the mallet itself is beside the tones, over the usual, 0 to 100.
    ///
    /// # Errors
    /// A gain outside its range.
    pub fn with_contact_gain(mut self, gain: f64) -> Result<Self, VoiceError> {
        self.contact_gain = amount("a contact's gain", gain, 0.0, MOST_LEVEL)?;
        Ok(self)
    }

    /// How far the two of each pair are apart at most, 0 to 0.01 of the pitch. No bottle is round: each mode is a pair of
    /// two near ones, which beat. Each pair is drawn from a quarter of this to all of it.
    ///
    /// # Errors
    /// A split outside its range.
    pub fn with_split(mut self, split: f64) -> Result<Self, VoiceError> {
        self.split = amount("a split", split, 0.0, MOST_SPLIT)?;
        Ok(self)
    }

    /// What the splits are drawn with: one seed, one bottle.
    #[must_use]
    pub fn with_seed(mut self, seed: u64) -> Self {
        self.seed = seed;
        self
    }

    /// With the gain at which a stroke of 1 m/s swings to about half of full scale with this mallet.
    #[must_use]
    pub fn evened(mut self) -> Self {
        let swing: f64 = self.modes.iter().map(|m| self.swing(&m.ringing)).sum();
        if swing > 0.0 {
            self.gain = (EVEN_SWING / swing).min(MOST_GAIN);
        }
        self
    }

    /// The place between left (−1) and right (1), at constant power.
    ///
    /// # Errors
    /// A place outside −1 to 1.
    pub fn with_pan(mut self, pan: f64) -> Result<Self, VoiceError> {
        self.pan = amount("a pan", pan, -1.0, 1.0)?;
        Ok(self)
    }

    /// Whether a hand stops it when its key is let go; otherwise it rings on.
    #[must_use]
    pub fn with_damp_on_release(mut self, damp: bool) -> Self {
        self.damp_on_release = damp;
        self
    }

    /// The mode that is the note and what a `Tune` speaks of: the one nearest to `frequency`. Without this it is the
    /// strongest for the mallet, the lowest of those within 3 dB.
    #[must_use]
    pub fn with_note(mut self, frequency: Frequency) -> Self {
        let away = |mode: &RingingMode| mode.frequency.interval_above(frequency).cents().abs();
        let modes = self.modes.iter().map(|mode| mode.ringing);
        self.note = modes.min_by(|a, b| away(a).total_cmp(&away(b)));
        self
    }

    /// The pitch of its note: the middle of the pair.
    #[must_use]
    pub fn frequency(&self) -> Frequency {
        self.note().frequency
    }

    /// The quality of its note.
    #[must_use]
    pub fn q(&self) -> f64 {
        self.note().q
    }

    /// The modes as they sound after a stroke where it is usually struck: the pairs apart, the air last. Fixed by the seed.
    #[must_use]
    pub fn ringing(&self) -> Vec<RingingMode> {
        let lanes = self.lanes().into_iter();
        lanes
            .map(|lane| RingingMode {
                level: lane.drive(&Stroke::USUAL),
                ..lane.mode
            })
            .collect()
    }

    /// The same for strokes anywhere.
    pub(super) fn lanes(&self) -> Vec<Lane> {
        let mut all = Vec::with_capacity(2 * MOST_RINGING_MODES + 1);
        for (mode_number, mode) in (0..).zip(&self.modes) {
            let lane = |mode, share, level_per_mm| Lane {
                mode,
                level_per_mm,
                share,
                is_air: false,
            };
            if self.split == 0.0 {
                all.push(lane(mode.ringing, Share::Whole, mode.level_per_mm));
                continue;
            }
            let draw = |which: u64| {
                let mixed = splitmix64(splitmix64(self.seed) ^ which);
                (mixed >> 11) as f64 / (1u64 << 53) as f64
            };
            let split =
                self.split * (LEAST_OF_SPLIT + (1.0 - LEAST_OF_SPLIT) * draw(2 * mode_number));
            let share = LEAST_OF_PAIR + (1.0 - 2.0 * LEAST_OF_PAIR) * draw(2 * mode_number + 1);
            let side = if draw(SIDES + mode_number) < 0.5 {
                1.0
            } else {
                -1.0
            };
            let (waves, axis_rad) = (mode.waves, side * share.sqrt().acos());
            for (apart, share) in [
                (-0.5, Share::Cosine { waves, axis_rad }),
                (0.5, Share::Sine { waves, axis_rad }),
            ] {
                let member = RingingMode {
                    frequency: mode.ringing.frequency * (1.0 + apart * split),
                    ..mode.ringing
                };
                all.push(lane(member, share, mode.level_per_mm));
            }
        }
        all.extend(self.air_mode().map(|mode| Lane {
            mode,
            level_per_mm: 0.0,
            share: Share::Whole,
            is_air: true,
        }));
        all
    }

    /// The air, with its level as a wall's mode has it.
    fn air_mode(&self) -> Option<RingingMode> {
        let Air { mode, beside_note } = self.air?;
        let Some(share) = beside_note else {
            return Some(mode);
        };
        let reached = reaching(self.mallet, USUAL_SPEED_M_S, mode.frequency);
        let swing = share * self.swing(&self.note());
        let level = (swing / reached.max(f64::MIN_POSITIVE)).min(MOST_LEVEL);
        Some(RingingMode { level, ..mode })
    }

    /// The frequency of its lowest mode, Hz.
    pub(super) fn lowest_hz(&self) -> f64 {
        let all = self.modes.iter().map(|mode| mode.ringing.frequency.hz());
        all.fold(f64::INFINITY, f64::min)
    }

    /// The swing of its strongest mode after a stroke of 1 m/s.
    pub(super) fn strongest_swing(&self) -> f64 {
        let swings = self.modes.iter().map(|mode| self.swing(&mode.ringing));
        swings.fold(0.0, f64::max)
    }

    fn swing(&self, mode: &RingingMode) -> f64 {
        mode.level.abs() * reaching(self.mallet, USUAL_SPEED_M_S, mode.frequency)
    }

    fn note(&self) -> RingingMode {
        let strongest = self.strongest_swing();
        let modes = || self.modes.iter().map(|mode| mode.ringing);
        let strong = modes().filter(|mode| self.swing(mode) >= TIE * strongest);
        let lowest = strong.min_by(|a, b| a.frequency.hz().total_cmp(&b.frequency.hz()));
        self.note
            .or(lowest)
            .unwrap_or_else(|| self.modes[0].ringing)
    }

    /// The same bottle with its note at `frequency` and `q`: all modes move with it, within their range.
    pub(super) fn tuned_to(&self, frequency: Frequency, q: f64) -> Self {
        let note = self.note();
        let (ratio, q_ratio) = (frequency.hz() / note.frequency.hz(), q / note.q);
        let moved = |mode: RingingMode| RingingMode {
            frequency: Frequency::from_hz(
                (mode.frequency.hz() * ratio).clamp(LOWEST_HZ, HIGHEST_STRUCK_HZ),
            ),
            q: (mode.q * q_ratio).clamp(1.0, HIGHEST_STRUCK_Q),
            ..mode
        };
        Self {
            modes: self
                .modes
                .iter()
                .map(|&mode| WallMode {
                    ringing: moved(mode.ringing),
                    ..mode
                })
                .collect(),
            note: Some(moved(note)),
            ..self.clone()
        }
    }
}
