//! What the pour sheet is made of: each pour solved, and the order in which to pour.

use super::words;
use crate::physics::liquid::LiquidError;
use crate::plan::fill::Poured;
use crate::preset::{Kind, Pour, Set};
use crate::tuning::NoteName;
use crate::units::{Interval, Length, Mass, Volume};

/// How far off a fill may leave the pitch: what the tolerance in ml stands for.
pub const TOLERANCE: Interval = Interval::from_cents(5.0);

/// Fills below this are an empty bottle, ml: less than a drop.
const EMPTY_ML: f64 = 0.05;

/// One bottle to pour.
#[derive(Clone, Debug)]
pub struct Row<'a> {
    /// Its kind.
    pub kind: &'a Kind,
    /// Which bottle of that kind it is, from one.
    pub number: usize,
    /// How many of that kind are poured.
    pub of: usize,
    /// Its note.
    pub note: NoteName,
    /// What is poured and what it gives.
    pub poured: Poured,
    /// When it is poured, from one.
    pub order: usize,
}

impl Row<'_> {
    /// Liquid in it.
    #[must_use]
    pub fn fill(&self) -> Volume {
        self.poured.prediction.fill
    }

    /// Nothing goes into it.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.fill().ml() < EMPTY_ML
    }

    /// Level above the table.
    #[must_use]
    pub fn level(&self) -> Length {
        self.poured.prediction.level
    }

    /// Rim above the table.
    #[must_use]
    pub fn rim(&self) -> Length {
        self.kind.bottle.bore().height() + self.kind.bottle.floor()
    }

    /// Level below the rim.
    #[must_use]
    pub fn below_rim(&self) -> Length {
        self.rim() - self.level()
    }

    /// How much more or less liquid leaves the pitch within [`TOLERANCE`]; none where liquid hardly moves it.
    #[must_use]
    pub fn tolerance(&self) -> Option<Volume> {
        let tolerance =
            Volume::from_ml(TOLERANCE.cents() / self.poured.prediction.per_ml.cents().abs());
        (tolerance.m3() < self.kind.bottle.bore().capacity().m3()).then_some(tolerance)
    }

    /// The bottle's name, with its number where several of its kind are poured.
    #[must_use]
    pub fn name(&self) -> String {
        if self.of > 1 {
            format!("{} no. {}", self.kind.name, self.number)
        } else {
            self.kind.name.clone()
        }
    }

    /// What makes the pitch uncertain, in words.
    #[must_use]
    pub fn doubt(&self) -> String {
        words::doubt(self.poured.prediction.uncertainty.dominant())
    }
}

/// A pour that cannot be made.
#[derive(Clone, Debug, PartialEq)]
pub struct Unplaced {
    /// Its note.
    pub note: NoteName,
    /// The bottle that it was meant for.
    pub bottle: String,
    /// Why not.
    pub reason: String,
}

/// A set ready for the sink.
///
/// ```
/// use ullage::preset::read_set;
/// use ullage::report::sheet::Sheet;
/// let set = read_set(
///     "[[bottle]]\nname = \"jar\"\ncapacity_ml = 500\nmouth_bore_mm = 18\nneck_length_mm = 60\n\
///      body_diameter_mm = 66\n[[pour]]\nnote = \"C4\"\nbottle = \"jar\"\n",
/// )?;
/// let sheet = Sheet::new(&set);
/// assert_eq!(sheet.rows.len(), 1);
/// assert!(sheet.rows[0].poured.error().cents().abs() < 0.01);
/// # Ok::<(), ullage::preset::PresetError>(())
/// ```
#[derive(Clone, Debug)]
pub struct Sheet<'a> {
    /// The set.
    pub set: &'a Set,
    /// The pours, in the set's order.
    pub rows: Vec<Row<'a>>,
    /// What cannot be poured.
    pub unplaced: Vec<Unplaced>,
}

impl<'a> Sheet<'a> {
    /// The sheet of a set: fills that it gives are kept, the others solved.
    #[must_use]
    pub fn new(set: &'a Set) -> Self {
        let mut sheet = Self {
            set,
            rows: Vec::new(),
            unplaced: Vec::new(),
        };
        for pour in &set.pours {
            let kind = set.kind_of(pour);
            match poured(set, pour) {
                Ok(poured) => sheet.rows.push(Row {
                    kind,
                    number: 0,
                    of: 0,
                    note: pour.note,
                    poured,
                    order: 0,
                }),
                Err(reason) => sheet.unplaced.push(Unplaced {
                    note: pour.note,
                    bottle: kind.name.clone(),
                    reason,
                }),
            }
        }
        sheet.number();
        sheet
    }

    /// Counts the bottles of each kind, and puts the fullest first: what is tipped out of one that got
    /// too much goes into the next, which needs less.
    fn number(&mut self) {
        let names: Vec<&str> = self.rows.iter().map(|r| r.kind.name.as_str()).collect();
        for (index, row) in self.rows.iter_mut().enumerate() {
            let name = names[index];
            row.number = 1 + names[..index].iter().filter(|n| **n == name).count();
            row.of = names.iter().filter(|n| **n == name).count();
        }
        let mut order: Vec<usize> = (0..self.rows.len()).collect();
        order.sort_by(|&a, &b| {
            let ml = |i: usize| self.rows[i].fill().ml();
            ml(b).total_cmp(&ml(a))
        });
        for (place, index) in order.into_iter().enumerate() {
            self.rows[index].order = place + 1;
        }
    }

    /// The rows in the order of pouring.
    #[must_use]
    pub fn in_pouring_order(&self) -> Vec<&Row<'a>> {
        let mut rows: Vec<_> = self.rows.iter().collect();
        rows.sort_by_key(|r| r.order);
        rows
    }

    /// Liquid needed for all of them.
    #[must_use]
    pub fn total(&self) -> Volume {
        self.rows
            .iter()
            .fold(Volume::default(), |sum, row| sum + row.fill())
    }

    /// Its mass.
    #[must_use]
    pub fn total_mass(&self) -> Mass {
        self.rows
            .iter()
            .fold(Mass::default(), |sum, row| sum + row.poured.mass)
    }

    /// Density of the liquid at the room's temperature, kg/m³.
    ///
    /// # Errors
    /// No density is known there; the grams are then those of water at 20 °C.
    pub fn density_kg_m3(&self) -> Result<f64, LiquidError> {
        let conditions = &self.set.conditions;
        conditions.liquid.density_kg_m3(conditions.temperature())
    }

    /// What to beware of with these bottles, this liquid and this gas.
    #[must_use]
    pub fn cautions(&self) -> Vec<&'static str> {
        words::cautions(&self.set.conditions)
    }
}

fn poured(set: &Set, pour: &Pour) -> Result<Poured, String> {
    if pour.way != crate::preset::Way::Blown {
        return Err(format!("it is {}", pour.way));
    }
    let (bottle, target) = (&set.kind_of(pour).bottle, set.target(pour));
    Poured::planned_or_solved(bottle, target, pour.fill, &set.conditions)
        .map_err(|error| error.to_string())
}
