//! What a struck bottle gives at one filling or pressure: its partials, how long they ring and how loud they are.
//!
//! [`Struck`] is to a mallet what `prediction::Blown` is to breath. More liquid sounds lower; more pressure, in plastic
//! only, sounds higher. A bottle known by its dimensions alone is good to two semitones, no better; the pitch heard
//! from it empty and half full makes it good to about a third of a semitone.

use super::bottle::Bottle;
use super::liquid::{WATER_KG_M3, WATER_PA_S};
use super::material::Material;
use super::pressed::{Pressed, PressedFit};
pub use super::pressure::{PLAN_BAR, PRESSURE_CAUTION, REFUSE_BAR, WARN_BAR, check_pressure};
use super::shell::losses::{Around, Losses};
use super::shell::strike::{Mallet, response};
use super::shell::wall::{Mouth, Trim, Wall};
use super::shell::{Column, Contents, Elastic, Mode, Order, Shell, ShellError};
use crate::units::{Duration, Frequency, Interval, Length, Level, Pressure, Volume};

/// Doubt of a bottle about which nothing was heard, cents (95 %).
const UNHEARD_CENTS: f64 = 200.0;
/// Doubt of pressurised plastic before two pressures were heard, cents: no measured pair was found.
const PRESSED_CENTS: f64 = 300.0;
/// Levels nearer to each other than this are a tie, dB: the lowest is the note. Common practice, no source.
pub const TIED_DB: f64 = 3.0;
/// Modes of each number of waves.
const MODES_EACH: usize = 2;
/// Width of a solved fill, m³, and how near a solved pitch may be left, cents.
const FILL_WIDTH_M3: f64 = 1e-8;
const NEAR_CENTS: f64 = 0.005;
/// Air at rest around and in the bottle, kg/m³ and m/s: 20 °C; it moves the pitch by a cent in glass.
const AIR_KG_M3: f64 = 1.2;
const SOUND_M_S: f64 = 343.0;
/// Standard atmosphere, for the density of compressed air.
const ATMOSPHERE_PA: f64 = crate::units::STANDARD_ATMOSPHERE_PA;

/// Why a struck bottle gives no answer.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum StruckError {
    /// Pressure in glass, stoneware or metal.
    #[error(
        "{gauge_bar:.2} bar in a bottle that is not plastic is refused: glass is never pressurised (its strength is set by \
         scratches that nobody sees, and it fails without warning, in shards); only plastic is"
    )]
    NeverPressurised {
        /// As asked.
        gauge_bar: f64,
    },
    /// More pressure than anybody should stand beside.
    #[error(
        "{gauge_bar:.2} bar is refused, the limit is {limit_bar} bar: people stand beside the bottle and hit it, a valved cap is \
         weaker than the bottle, and bottles have burst from 8.6 bar"
    )]
    TooMuchPressure {
        /// As asked.
        gauge_bar: f64,
        /// The limit.
        limit_bar: f64,
    },
    /// Less pressure inside than outside, or none that is a number.
    #[error("{gauge_bar} bar is no pressure above the air outside, 0 to {limit_bar} bar")]
    Pressure {
        /// As asked.
        gauge_bar: f64,
        /// The limit.
        limit_bar: f64,
    },
    /// The fill is negative, not a number, or more than the bottle holds.
    #[error("a fill of {fill_ml} ml is outside 0 to {capacity_ml:.1} ml, what the bottle holds")]
    Fill {
        /// As asked.
        fill_ml: f64,
        /// What it holds.
        capacity_ml: f64,
    },
    /// No filling or pressure gives the note.
    #[error(
        "{target_hz:.1} Hz is outside {lowest_hz:.1} to {highest_hz:.1} Hz, what the strongest partial reaches; take another bottle"
    )]
    OutOfReach {
        /// The note.
        target_hz: f64,
        /// The lowest.
        lowest_hz: f64,
        /// The highest.
        highest_hz: f64,
    },
    /// The shell cannot be computed.
    #[error(transparent)]
    Shell(#[from] ShellError),
}

/// How a bottle is struck and what is in it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StruckSpec {
    /// Density of the liquid, kg/m³.
    pub density_kg_m3: f64,
    /// Its viscosity, Pa s.
    pub viscosity_pa_s: f64,
    /// Pressure above the air outside; above 0 the bottle is capped.
    pub gauge: Pressure,
    /// The mallet.
    pub mallet: Mallet,
    /// Where it strikes above the inner floor; halfway up the body if nobody says.
    pub strike: Option<Length>,
    /// Factors on the description, found by fitting.
    pub trim: Trim,
    /// How sure the pitch is (95 %); two semitones unless it was fitted.
    pub plus_minus: Option<Interval>,
    /// Other elastic constants than the material's.
    pub elastic: Option<Elastic>,
    /// Loss factor of what the bottle stands on or hangs from, 0 to 1e-3; a guess from tapped bottles.
    pub support: f64,
}

impl Default for StruckSpec {
    /// Water at 20 °C, a wooden mallet halfway up the body, no pressure.
    fn default() -> Self {
        Self {
            density_kg_m3: WATER_KG_M3,
            viscosity_pa_s: WATER_PA_S,
            gauge: Pressure::default(),
            mallet: Mallet::default(),
            strike: None,
            trim: Trim::default(),
            plus_minus: None,
            elastic: None,
            support: 2.5e-4,
        }
    }
}

/// A bottle ready to be struck at any filling: its wall is worked out once.
#[derive(Clone, Debug)]
pub struct Struck<'a> {
    bottle: &'a Bottle,
    spec: StruckSpec,
    wall: Wall,
    shell: Shell,
    orders: Vec<Order>,
    strike: Length,
}

/// A partial of a struck bottle.
#[derive(Clone, Debug, PartialEq)]
pub struct ShellMode {
    /// Waves around.
    pub n: u32,
    /// Half waves along.
    pub m: u32,
    /// Pitch.
    pub frequency: Frequency,
    /// Q.
    pub quality: f64,
    /// Where its energy goes.
    pub losses: Losses,
    /// Level against the strongest partial, struck as the spec says.
    pub level: Level,
    /// Response to a short tap where the spec says, against the strongest, with the sign of the wall's motion there:
    /// the level without the mallet, -1 to 1.
    pub response: f64,
    /// Shape and moving mass.
    pub mode: Mode,
}

impl ShellMode {
    /// Time to fall by 60 dB: ln 1000 · Q / (π f).
    #[must_use]
    pub fn decay(&self) -> Duration {
        let ln_1000 = 3.0 * std::f64::consts::LN_10;
        Duration::from_s(ln_1000 * self.quality / (std::f64::consts::PI * self.frequency.hz()))
    }
}

impl<'a> Struck<'a> {
    /// `bottle` struck as `spec` says.
    ///
    /// # Errors
    /// Pressure where it is refused, or a wall that is none.
    pub fn new(bottle: &'a Bottle, spec: StruckSpec) -> Result<Self, StruckError> {
        let most = match bottle.material() {
            Material::Plastic => 6,
            _ => 4,
        };
        Self::with_waves(bottle, spec, 2..=most)
    }

    /// The same with some numbers of waves around only, which is faster.
    ///
    /// # Errors
    /// As [`Self::new`].
    pub fn with_waves(
        bottle: &'a Bottle,
        spec: StruckSpec,
        waves: impl IntoIterator<Item = u32>,
    ) -> Result<Self, StruckError> {
        check_pressure(bottle.material(), spec.gauge)?;
        let mouth = if spec.gauge.pa() > 0.0 {
            Mouth::Capped
        } else {
            Mouth::Open
        };
        let wall = Wall::of(bottle, &spec.trim, mouth)?;
        let elastic = spec.elastic.unwrap_or_else(|| bottle.material().elastic());
        let shell = Shell::new(&wall.meridian, elastic);
        let orders = waves
            .into_iter()
            .map(|n| shell.order(n, spec.gauge))
            .collect::<Result<_, _>>()?;
        let strike = spec.strike.unwrap_or_else(|| halfway_up_the_body(&wall));
        Ok(Self {
            bottle,
            spec,
            wall,
            shell,
            orders,
            strike,
        })
    }

    /// The wall that this rests on.
    #[must_use]
    pub fn wall(&self) -> &Wall {
        &self.wall
    }

    /// How sure the pitch is (95 %).
    #[must_use]
    pub fn plus_minus(&self) -> Interval {
        let doubt = if self.spec.gauge.pa() > 0.0 {
            PRESSED_CENTS
        } else {
            UNHEARD_CENTS
        };
        self.spec
            .plus_minus
            .unwrap_or_else(|| Interval::from_cents(doubt))
    }

    /// Every partial at a fill, the lowest first.
    ///
    /// # Errors
    /// A fill that is no fill.
    pub fn modes(&self, fill: Volume) -> Result<Vec<ShellMode>, StruckError> {
        let column = self.column(fill)?;
        let (mut loudest, mut strongest) = (0.0_f64, 0.0_f64);
        let mut found = Vec::new();
        for order in &self.orders {
            for mode in order.modes(&self.contents(column.as_ref()), MODES_EACH)? {
                let losses = Losses::of(order, &mode, &self.around(column.as_ref()));
                let tapped = response(order, &mode, self.strike, losses.radiated);
                let loud = tapped.abs() * self.spec.mallet.force(mode.frequency);
                loudest = loudest.max(loud);
                strongest = strongest.max(tapped.abs());
                found.push((mode, losses, loud, tapped));
            }
        }
        let partial = |(mode, losses, loud, tapped): (Mode, Losses, f64, f64)| ShellMode {
            n: mode.n,
            m: mode.m,
            frequency: mode.frequency,
            quality: losses.quality(),
            losses,
            level: Level::from_gain((loud / loudest).max(1e-9)),
            response: if strongest > 0.0 {
                tapped / strongest
            } else {
                0.0
            },
            mode,
        };
        let mut modes: Vec<ShellMode> = found.into_iter().map(partial).collect();
        modes.sort_by(|a, b| a.frequency.hz().total_cmp(&b.frequency.hz()));
        Ok(modes)
    }

    /// The strongest partial at a fill, the lowest of those that are as strong within 3 dB: what the ear takes for
    /// the note.
    ///
    /// # Errors
    /// As [`Self::modes`].
    pub fn note(&self, fill: Volume) -> Result<ShellMode, StruckError> {
        Ok(self.note_of(&self.modes(fill)?)?.clone())
    }

    /// That of partials that were worked out before.
    ///
    /// # Errors
    /// None there at all.
    pub fn note_of<'m>(&self, modes: &'m [ShellMode]) -> Result<&'m ShellMode, StruckError> {
        let strong = modes.iter().find(|mode| mode.level.db() >= -TIED_DB);
        Ok(strong.ok_or(ShellError::NoModes { n: 0 })?)
    }

    /// The lowest pitch with `n` waves around if the wall had no tension and all else were as it is.
    ///
    /// # Errors
    /// As [`Self::pitch`].
    pub fn slack_pitch(&self, n: u32, fill: Volume) -> Result<Frequency, StruckError> {
        let column = self.column(fill)?;
        let slack = self.shell.order(n, Pressure::default())?;
        let modes = slack.modes(&self.contents(column.as_ref()), 1)?;
        Ok(modes.first().ok_or(ShellError::NoModes { n })?.frequency)
    }

    /// The lowest pitch with `n` waves around at a fill, without its losses: the quick way.
    ///
    /// # Errors
    /// As [`Self::modes`], and `n` that is none of its waves.
    pub fn pitch(&self, n: u32, fill: Volume) -> Result<Frequency, StruckError> {
        let column = self.column(fill)?;
        let order = self.order(n)?;
        let modes = order.modes(&self.contents(column.as_ref()), 1)?;
        let lowest = modes.first().ok_or(ShellError::NoModes { n })?;
        Ok(lowest.frequency)
    }

    /// The fill whose strongest partial is `target`.
    ///
    /// The pitch falls with every millilitre, so there is one.
    ///
    /// # Errors
    /// [`StruckError::OutOfReach`] with what the bottle reaches.
    pub fn fill_for(&self, target: Frequency) -> Result<Volume, StruckError> {
        let full = self.wall.bore.capacity();
        let mut reached = (f64::INFINITY, 0.0_f64);
        for order in &self.orders {
            let n = order.waves();
            let (highest, lowest) = (self.pitch(n, Volume::default())?, self.pitch(n, full)?);
            if lowest.hz() <= target.hz() && target.hz() <= highest.hz() {
                let fill = self.crossed(n, target)?;
                let note = self.note(fill)?;
                if note.n == n && note.frequency.interval_above(target).cents().abs() < 1.0 {
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

    /// Regula falsi in cents, halving every fourth round in case it stalls.
    fn crossed(&self, n: u32, target: Frequency) -> Result<Volume, StruckError> {
        let off = |m3: f64| {
            let pitch = self.pitch(n, Volume::from_m3(m3))?;
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
        self.per_ml_of(self.note(fill)?.n, fill)
    }

    /// The same of the lowest partial with `n` waves around.
    ///
    /// # Errors
    /// As [`Self::pitch`].
    pub fn per_ml_of(&self, n: u32, fill: Volume) -> Result<Interval, StruckError> {
        let full = self.wall.bore.capacity();
        let step = full * 0.01;
        let (low, high) = (
            (fill - step).max(Volume::default()),
            (fill + step).min(full),
        );
        let rise = self.pitch(n, high)?.interval_above(self.pitch(n, low)?);
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

    fn order(&self, n: u32) -> Result<&Order, StruckError> {
        let found = self.orders.iter().find(|order| order.waves() == n);
        let ends = |order: Option<&Order>| order.map_or(0, Order::waves);
        Ok(found.ok_or(ShellError::Waves {
            n,
            least: ends(self.orders.first()),
            most: ends(self.orders.last()),
        })?)
    }

    fn column(&self, fill: Volume) -> Result<Option<Column>, StruckError> {
        let capacity = self.wall.bore.capacity();
        // Trimming moves the capacity a little; a full bottle stays full.
        let most = capacity.max(self.bottle.bore().capacity());
        if !(0.0..=most.m3()).contains(&fill.m3()) {
            return Err(StruckError::Fill {
                fill_ml: fill.ml(),
                capacity_ml: most.ml(),
            });
        }
        if fill.m3() == 0.0 {
            return Ok(None);
        }
        let level = self.wall.bore.level_of(fill.min(capacity));
        Ok(Some(Column::new(
            &self.wall.bore,
            level,
            self.spec.density_kg_m3,
        )?))
    }

    fn contents<'c>(&self, liquid: Option<&'c Column>) -> Contents<'c> {
        let compressed = 1.0 + self.spec.gauge.pa() / ATMOSPHERE_PA;
        Contents {
            gas_outside_kg_m3: AIR_KG_M3,
            gas_inside_kg_m3: AIR_KG_M3 * compressed,
            liquid,
        }
    }

    fn around<'c>(&self, liquid: Option<&'c Column>) -> Around<'c> {
        Around {
            elastic: self
                .spec
                .elastic
                .unwrap_or_else(|| self.bottle.material().elastic()),
            support: self.spec.support,
            liquid: liquid.map(|column| (column, self.spec.viscosity_pa_s)),
            air_kg_m3: AIR_KG_M3,
            sound_m_s: SOUND_M_S,
        }
    }
}

/// Half the height up to which the bore is nearly as wide as anywhere.
fn halfway_up_the_body(wall: &Wall) -> Length {
    let limit_m = 0.97 * wall.bore.widest_radius().m();
    let top = wall.bore.points().iter().rfind(|p| p.radius_m >= limit_m);
    Length::from_m(0.5 * top.map_or(0.0, |p| p.height_m))
}
