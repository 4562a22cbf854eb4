//! What a struck bottle gives at one filling or pressure: its partials, how long they ring and how loud they are.
//!
//! [`Struck`] is to a mallet what `prediction::Blown` is to breath. More liquid sounds lower; more pressure, in plastic
//! only, sounds higher. A bottle known by its dimensions alone is good to two semitones, no better; the pitch heard
//! from it empty and half full makes it good to about a third of a semitone.
//!
//! ```
//! use ullage::physics::struck::{Struck, StruckSpec};
//! use ullage::units::{Frequency, Volume};
//! let shelf = ullage::set::read_shelf(
//!     "[[bottle]]\nname = \"milk\"\nbody_diameter_mm = 83\nbody_length_mm = 121\nshoulder_length_mm = 60\nheight_mm = 214\n\
//!      mouth_bore_mm = 36\nneck_bore_mm = 36\nlip_wall_mm = 3\nmass_g = 314",
//! )?;
//! let struck = Struck::new(&shelf.kinds[0].bottle, StruckSpec::default())?;
//! // What this bottle gave when it was tapped with a spoon: ml of water, Hz (recordings published by the Czech Technical
//! // University, 2024). Dimensions alone are good to two semitones, and say so.
//! for (ml, hz) in [(3.0, 2730.0), (276.8, 2338.0), (449.3, 1817.0), (718.2, 1561.0)] {
//!     let off = struck.note(Volume::from_ml(ml))?.frequency.interval_above(Frequency::from_hz(hz));
//!     assert!(off.cents().abs() < struck.plus_minus().cents());
//! }
//! assert_eq!(struck.plus_minus().semitones(), 2.0);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod curve;

use std::sync::OnceLock;

use super::bottle::Bottle;
use super::liquid::{WATER_KG_M3, WATER_PA_S};
use super::material::Material;
pub use super::pressure::{PLAN_BAR, PRESSURE_CAUTION, REFUSE_BAR, WARN_BAR, check_pressure};
use super::shell::losses::{Around, Losses};
use super::shell::strike::{Mallet, response};
use super::shell::wall::{Mouth, Trim, Wall};
use super::shell::{Column, Contents, Elastic, Mode, Order, Shell, ShellError};
use crate::units::{Duration, Frequency, Interval, Length, Level, Pressure, Volume};

/// Doubt of a bottle about which nothing was heard, cents (95 %). A ring's pitch goes with its wall over the square of its radius:
/// a wall that its mass gives to a tenth is 165 cents, a wall measured to 0.3 of 2.5 mm is 196, and neither says where along the
/// bottle it is thick. The one bottle with published taps is off by less, but it is one.
const UNHEARD_CENTS: f64 = 200.0;
/// Doubt of pressurised plastic before two pressures were heard, cents: no measured pair was found.
const PRESSED_CENTS: f64 = 300.0;
/// Levels nearer to each other than this are a tie, dB: the lowest is the note. Common practice, no source.
pub const TIED_DB: f64 = 3.0;
/// Modes of each number of waves among which the note is sought: those of more half waves are never the strongest.
const MODES_EACH: usize = 2;
/// Modes of each number of waves that are heard.
const HEARD_EACH: usize = 3;
/// Most waves around that are heard; of plastic, whose wall is thin, the note is sought among all of them.
const MOST_WAVES: u32 = 6;
/// Most waves around among which the note of glass, stoneware and metal is sought.
const MOST_WAVES_OF_NOTE: u32 = 4;
/// How far above and below the strike its slope along the wall is taken, mm.
const BESIDE_MM: f64 = 2.0;
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
        "pressure in a bottle that is not plastic is refused: glass is never pressurised (its strength is set by scratches that \
         nobody sees, and it fails without warning, in shards); only plastic is"
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
    /// The partials that were heard as its note when it was tapped; of a bottle that nobody tapped none.
    pub heard: HeardPartials,
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
            heard: HeardPartials::default(),
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
    /// Those among which the note is sought.
    orders: Vec<Order>,
    /// Most waves around of the partials that are heard besides.
    most_waves: u32,
    /// Those besides, worked out when they are first asked for.
    besides: OnceLock<Vec<Order>>,
    strike: Length,
}

/// Which partial of a wall.
///
/// Liquid lowers every partial and tension raises every one, and of those with the same waves around none overtakes another:
/// by its place among them a partial is the same at every fill and pressure, whatever shape it has there.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct ModeKey {
    /// Waves around.
    pub n: u32,
    /// Its place among those with `n` waves around, the lowest being 0.
    pub place: usize,
}

/// Most partials of a bottle that are kept as heard: its note goes over from one to another once or twice as it is filled.
const MOST_HEARD: usize = 3;

/// Partials that were heard as the note of a bottle.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct HeardPartials([Option<ModeKey>; MOST_HEARD]);

impl HeardPartials {
    /// These, each once; what is over the most that are kept is left out.
    #[must_use]
    pub fn new(keys: impl IntoIterator<Item = ModeKey>) -> Self {
        let mut heard = Self::default();
        for key in keys {
            if !heard.has(key)
                && let Some(free) = heard.0.iter_mut().find(|place| place.is_none())
            {
                *free = Some(key);
            }
        }
        heard
    }

    fn has(&self, key: ModeKey) -> bool {
        self.0.contains(&Some(key))
    }
}

/// A partial of a struck bottle.
#[derive(Clone, Debug, PartialEq)]
pub struct ShellMode {
    /// Waves around.
    pub n: u32,
    /// Half waves along.
    pub m: u32,
    /// Its place among those with `n` waves around, the lowest being 0.
    pub place: usize,
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
    /// How much more that is for a stroke a millimetre higher up.
    pub response_per_mm: f64,
    /// Shape and moving mass.
    pub mode: Mode,
}

/// A partial before it is known which is the strongest.
struct Rung {
    place: usize,
    mode: Mode,
    losses: Losses,
    /// How loud the mallet makes it, and a short tap, which has the sign of the wall's motion.
    loud: f64,
    tapped: f64,
    tapped_per_mm: f64,
}

impl ShellMode {
    /// Which partial it is.
    #[must_use]
    pub fn key(&self) -> ModeKey {
        ModeKey {
            n: self.n,
            place: self.place,
        }
    }

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
            Material::Plastic => MOST_WAVES,
            _ => MOST_WAVES_OF_NOTE,
        };
        let some = Self::with_waves(bottle, spec, 2..=most)?;
        Ok(Self {
            most_waves: MOST_WAVES,
            ..some
        })
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
            .collect::<Result<Vec<Order>, _>>()?;
        let strike = spec.strike.unwrap_or_else(|| halfway_up_the_body(&wall));
        Ok(Self {
            bottle,
            spec,
            wall,
            shell,
            most_waves: orders.last().map_or(0, Order::waves),
            orders,
            besides: OnceLock::new(),
            strike,
        })
    }

    /// The same wall with a liquid of another density, kg/m³.
    #[must_use]
    pub fn holding(mut self, density_kg_m3: f64) -> Self {
        self.spec.density_kg_m3 = density_kg_m3;
        self
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

    /// Every partial at a fill, the lowest first: two to six waves around, one to three half waves along.
    ///
    /// # Errors
    /// A fill that is no fill.
    pub fn modes(&self, fill: Volume) -> Result<Vec<ShellMode>, StruckError> {
        self.partials(fill, self.orders.iter().chain(self.besides()?), HEARD_EACH)
    }

    fn besides(&self) -> Result<&[Order], StruckError> {
        if let Some(besides) = self.besides.get() {
            return Ok(besides);
        }
        let known = self.orders.last().map_or(0, Order::waves);
        let more = (known + 1..=self.most_waves).map(|n| self.shell.order(n, self.spec.gauge));
        let more = more.collect::<Result<Vec<_>, _>>()?;
        Ok(self.besides.get_or_init(|| more))
    }

    fn partials<'o>(
        &self,
        fill: Volume,
        orders: impl Iterator<Item = &'o Order>,
        each: usize,
    ) -> Result<Vec<ShellMode>, StruckError> {
        let column = self.column(fill)?;
        let mut found = Vec::new();
        for order in orders {
            let modes = order.modes(&self.contents(column.as_ref()), each)?;
            let rungs = modes.into_iter().enumerate();
            found.extend(rungs.map(|(place, mode)| self.rung(order, mode, place, column.as_ref())));
        }
        let loudest = found.iter().map(|rung| rung.loud).fold(0.0, f64::max);
        let strongest = found.iter().map(|r| r.tapped.abs()).fold(0.0, f64::max);
        let beside_strongest = |tapped: f64| {
            if strongest > 0.0 {
                tapped / strongest
            } else {
                0.0
            }
        };
        let partial = |rung: Rung| ShellMode {
            n: rung.mode.n,
            m: rung.mode.m,
            place: rung.place,
            frequency: rung.mode.frequency,
            quality: rung.losses.quality(),
            losses: rung.losses,
            level: Level::from_gain((rung.loud / loudest).max(1e-9)),
            response: beside_strongest(rung.tapped),
            response_per_mm: beside_strongest(rung.tapped_per_mm),
            mode: rung.mode,
        };
        let mut modes: Vec<ShellMode> = found.into_iter().map(partial).collect();
        modes.sort_by(|a, b| a.frequency.hz().total_cmp(&b.frequency.hz()));
        Ok(modes)
    }

    fn rung(&self, order: &Order, mode: Mode, place: usize, column: Option<&Column>) -> Rung {
        let losses = Losses::of(order, &mode, &self.around(column));
        let tapped_at = |mm: f64| {
            let height = self.strike + Length::from_mm(mm);
            response(order, &mode, height, losses.radiated)
        };
        let tapped = tapped_at(0.0);
        Rung {
            place,
            loud: tapped.abs() * self.spec.mallet.force(mode.frequency),
            tapped,
            tapped_per_mm: (tapped_at(BESIDE_MM) - tapped_at(-BESIDE_MM)) / (2.0 * BESIDE_MM),
            losses,
            mode,
        }
    }

    /// The strongest partial at a fill, the lowest of those that are as strong within 3 dB: what the ear takes for
    /// the note. Of a bottle that was tapped only partials that were heard so count. Its levels are beside those among which it is sought: up to four waves around (six in plastic) and two half
    /// waves along.
    ///
    /// # Errors
    /// As [`Self::modes`].
    pub fn note(&self, fill: Volume) -> Result<ShellMode, StruckError> {
        let sought = self.partials(fill, self.orders.iter(), MODES_EACH)?;
        Ok(self.note_of(&sought)?.clone())
    }

    /// That of partials that were worked out before.
    ///
    /// # Errors
    /// None there at all.
    pub fn note_of<'m>(&self, modes: &'m [ShellMode]) -> Result<&'m ShellMode, StruckError> {
        let known = self.orders.last().map_or(0, Order::waves);
        let low = |mode: &&ShellMode| mode.n <= known && mode.place < MODES_EACH;
        // A cap holds the rim, so that taps of the open bottle say nothing of which is the strongest.
        let open = self.spec.gauge.pa() == 0.0;
        let heard = |mode: &&ShellMode| open && self.spec.heard.has(mode.key());
        let any_heard = modes.iter().any(|mode| low(&mode) && heard(&mode));
        let sought = || {
            let all = modes.iter().filter(low);
            all.filter(move |mode| !any_heard || heard(mode))
        };
        let loudest_db = sought().fold(f64::NEG_INFINITY, |most, mode| most.max(mode.level.db()));
        let strong = sought().find(|mode| mode.level.db() >= loudest_db - TIED_DB);
        Ok(strong.ok_or(ShellError::NoModes { n: 0 })?)
    }

    /// The pitch of a partial if the wall had no tension and all else were as it is.
    ///
    /// # Errors
    /// As [`Self::pitch_of`].
    pub fn slack_pitch(&self, key: ModeKey, fill: Volume) -> Result<Frequency, StruckError> {
        let slack = self.shell.order(key.n, Pressure::default())?;
        self.pitch_in(&slack, key, fill)
    }

    /// The lowest pitch with `n` waves around at a fill, without its losses: the quick way.
    ///
    /// # Errors
    /// As [`Self::modes`], and `n` that is none of its waves.
    pub fn pitch(&self, n: u32, fill: Volume) -> Result<Frequency, StruckError> {
        self.pitch_of(ModeKey { n, place: 0 }, fill)
    }

    /// The same of any partial.
    ///
    /// # Errors
    /// As [`Self::pitch`], and a place that there is not.
    pub fn pitch_of(&self, key: ModeKey, fill: Volume) -> Result<Frequency, StruckError> {
        self.pitch_in(self.order(key.n)?, key, fill)
    }

    fn pitch_in(
        &self,
        order: &Order,
        ModeKey { n, place }: ModeKey,
        fill: Volume,
    ) -> Result<Frequency, StruckError> {
        let column = self.column(fill)?;
        let modes = order.modes(&self.contents(column.as_ref()), place + 1)?;
        Ok(modes.get(place).ok_or(ShellError::NoModes { n })?.frequency)
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
