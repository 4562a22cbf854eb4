//! What the pour sheet is made of: each pour solved, and the order in which to pour.

use super::words;
use crate::index::KindIndex;
use crate::physics::liquid::{LiquidError, WATER_KG_M3};
use crate::set::{Kind, Pair, Pour, Set, Way};
use crate::sounding::{Setting, Sounded};
use crate::tuning::{NoteName, Speller};
use crate::units::shown::Units;
use crate::units::{Interval, Length, Mass, Volume};

/// How far off a fill may leave the pitch: what the tolerance in ml stands for.
pub const TOLERANCE: Interval = Interval::from_cents(5.0);

/// Fills below this are an empty bottle, ml: less than a drop.
const EMPTY_ML: f64 = 0.05;

/// What tells one bottle from another: its kind, its pour if it has only one, and its place in a pair.
type OneBottle = (KindIndex, usize, Option<(usize, usize)>);

/// One bottle to pour.
#[derive(Clone, Debug)]
pub struct SheetRow<'a> {
    /// Its kind.
    pub kind: &'a Kind,
    /// The pour as it was read.
    pub pour: &'a Pour,
    /// Which bottle of that kind it is, from one.
    pub number: usize,
    /// How many of that kind are poured.
    pub of: usize,
    /// Its note.
    pub note: NoteName,
    /// The same, as its readers call it.
    pub said: String,
    /// What it is set to and what it gives.
    pub sounded: Sounded,
    /// When it is poured, from one.
    pub order: usize,
}

impl SheetRow<'_> {
    /// Liquid in it.
    #[must_use]
    pub fn fill(&self) -> Volume {
        self.sounded.fill
    }

    /// Nothing goes into it.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.fill().ml() < EMPTY_ML
    }

    /// It is tuned by its liquid: blown or struck, neither pumped up, slid nor lifted.
    #[must_use]
    pub fn is_filled(&self) -> bool {
        matches!(self.sounded.setting, Setting::Fill(_))
    }

    /// Liquid is poured into this bottle, whether that tunes it or not; a joined pair's is the pair's.
    #[must_use]
    pub fn takes_liquid(&self) -> bool {
        !self.is_empty() && self.sounded.way != Way::Joined
    }

    /// Level above the table.
    #[must_use]
    pub fn level(&self) -> Length {
        self.sounded.level
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

    /// How much more or less liquid leaves the pitch within [`TOLERANCE`]; none where liquid hardly moves it, or does not
    /// tune it.
    #[must_use]
    pub fn tolerance(&self) -> Option<Volume> {
        let tolerance = Volume::from_ml(self.tolerance_units());
        let most = self.kind.bottle.bore().capacity();
        (self.is_filled() && tolerance < most).then_some(tolerance)
    }

    /// The same in the unit of its setting.
    #[must_use]
    pub fn tolerance_units(&self) -> f64 {
        TOLERANCE.cents() / self.sounded.per_unit.cents().abs()
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
        words::doubt(&self.sounded.doubt)
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
/// use ullage::set::read_set;
/// use ullage::report::sheet::Sheet;
/// let set = read_set(
///     "[[bottle]]\nname = \"jar\"\ncapacity_ml = 500\nmouth_bore_mm = 18\nneck_length_mm = 60\n\
///      body_diameter_mm = 66\n[[pour]]\nnote = \"C4\"\nbottle = \"jar\"\n",
/// )?;
/// let sheet = Sheet::new(&set);
/// assert_eq!(sheet.rows.len(), 1);
/// assert!(sheet.rows[0].sounded.error().cents().abs() < 0.01);
/// # Ok::<(), ullage::set::SetError>(())
/// ```
#[derive(Clone, Debug)]
pub struct Sheet<'a> {
    /// The set.
    pub set: &'a Set,
    /// The pours, in the set's order.
    pub rows: Vec<SheetRow<'a>>,
    /// What cannot be poured.
    pub unplaced: Vec<Unplaced>,
    /// How notes are called on it.
    pub speller: Speller,
    /// The units of its amounts.
    pub units: Units,
}

impl<'a> Sheet<'a> {
    /// The sheet of a set: fills that it gives are kept, the others solved.
    #[must_use]
    pub fn new(set: &'a Set) -> Self {
        let mut sheet = Self {
            set,
            rows: Vec::new(),
            unplaced: Vec::new(),
            speller: Speller::default(),
            units: Units::default(),
        };
        for pour in &set.pours {
            let kind = set.kind_of(pour);
            match set.sounded_pour(pour) {
                Ok(sounded) => sheet.rows.push(SheetRow {
                    kind,
                    pour,
                    number: 0,
                    of: 0,
                    note: pour.note,
                    said: pour.note.to_string(),
                    sounded,
                    order: 0,
                }),
                Err(reason) => sheet.unplaced.push(Unplaced {
                    note: pour.note,
                    bottle: kind.name.clone(),
                    reason: reason.to_string(),
                }),
            }
        }
        sheet.number();
        sheet
    }

    /// The same with its notes called as `speller` has them.
    #[must_use]
    pub fn said(mut self, speller: Speller) -> Self {
        for row in &mut self.rows {
            row.said = speller.note(&row.note);
        }
        self.speller = speller;
        self
    }

    /// The same with its amounts in these units; the marks of the strips stay millilitres.
    #[must_use]
    pub fn in_units(self, units: Units) -> Self {
        Self { units, ..self }
    }

    /// Counts the bottles of each kind, and puts the fullest first: what is tipped out of one that got
    /// too much goes into the next, which needs less. Those that nothing is poured into come last.
    fn number(&mut self) {
        // The notes of a sliding floor are one bottle's, and so are those of one side of a pair.
        let one_bottle: Vec<OneBottle> = (self.rows.iter().enumerate())
            .map(|(index, row)| match (row.pour.way, row.pour.joined) {
                (Way::Sliding, _) => (row.pour.kind, usize::MAX, None),
                (Way::Joined, Some((pair, which))) => {
                    (row.pour.kind, usize::MAX, Some((pair, which as usize)))
                }
                _ => (row.pour.kind, index, None),
            })
            .collect();
        for (index, row) in self.rows.iter_mut().enumerate() {
            let mut seen = Vec::new();
            let alike = one_bottle.iter().filter(|b| b.0 == one_bottle[index].0);
            for bottle in alike {
                if !seen.contains(bottle) {
                    seen.push(*bottle);
                }
            }
            let place = seen.iter().position(|b| *b == one_bottle[index]);
            row.number = 1 + place.unwrap_or(0);
            row.of = seen.len();
        }
        let mut order: Vec<usize> = (0..self.rows.len()).collect();
        order.sort_by(|&a, &b| {
            let key = |i: usize| (!self.rows[i].takes_liquid() && !self.rows[i].is_filled(), i);
            let ml = |i: usize| self.rows[i].fill().ml();
            let poured = key(a).0.cmp(&key(b).0);
            poured.then_with(|| {
                if key(a).0 {
                    a.cmp(&b)
                } else {
                    ml(b).total_cmp(&ml(a))
                }
            })
        });
        for (place, index) in order.into_iter().enumerate() {
            self.rows[index].order = place + 1;
        }
    }

    /// The rows in the order of pouring.
    #[must_use]
    pub fn in_pouring_order(&self) -> Vec<&SheetRow<'a>> {
        let mut rows: Vec<_> = self.rows.iter().collect();
        rows.sort_by_key(|r| r.order);
        rows
    }

    /// Liquid needed for all of them, that of joined pairs and their hoses counted once.
    #[must_use]
    pub fn total(&self) -> Volume {
        let own = self.rows.iter().filter(|row| row.takes_liquid());
        let alone = own.fold(Volume::default(), |sum, row| sum + row.fill());
        self.pairs().fold(alone, |sum, pair| sum + pair.liquid)
    }

    /// Its mass.
    #[must_use]
    pub fn total_mass(&self) -> Mass {
        let own = self.rows.iter().filter(|row| row.takes_liquid());
        let alone = own.fold(Mass::default(), |sum, row| sum + row.sounded.mass);
        self.pairs()
            .fold(alone, |sum, pair| sum + self.pair_mass(pair))
    }

    /// The pairs that are on the sheet.
    pub fn pairs(&self) -> impl Iterator<Item = &'a Pair> {
        let set = self.set;
        let used = |index: usize| {
            let is_it = move |row: &SheetRow<'_>| row.pour.joined.is_some_and(|(p, _)| p == index);
            self.rows.iter().any(is_it)
        };
        let used: Vec<bool> = (0..set.pairs.len()).map(used).collect();
        set.pairs
            .iter()
            .zip(used)
            .filter_map(|(pair, used)| used.then_some(pair))
    }

    /// Mass of a pair's liquid.
    #[must_use]
    pub fn pair_mass(&self, pair: &Pair) -> Mass {
        let density = self.density_kg_m3().unwrap_or(WATER_KG_M3);
        Mass::from_kg(pair.liquid.m3() * density)
    }

    /// Density of the liquid at the room's temperature, kg/m³.
    ///
    /// # Errors
    /// No density is known there; the grams are then those of water at 20 °C.
    pub fn density_kg_m3(&self) -> Result<f64, LiquidError> {
        let conditions = &self.set.conditions;
        conditions.liquid.density_kg_m3(conditions.temperature())
    }

    /// What to beware of with these bottles, sounded as they are, this liquid and this gas.
    #[must_use]
    pub fn cautions(&self) -> Vec<&'static str> {
        let ways = self.set.ways();
        let mut all = words::cautions(&self.set.conditions, &ways);
        // Those of the rows before the closing word.
        let last = all.pop();
        for caution in self.rows.iter().flat_map(|row| row.sounded.cautions()) {
            if !all.contains(&caution) {
                all.push(caution);
            }
        }
        all.extend(last);
        all
    }
}
