//! What is read of the ways beside blowing: mallets, pressures, floors that slide, pairs joined by a hose.

use super::error::SetError;
use super::problem::{
    BottleProblem, DidYouMean, GaugeProblem, HeardProblem, PairProblem, PourProblem,
};
use super::written::{self, Way};
use super::{Kind, Pair, Pour, Striking};
use crate::index::KindIndex;
use crate::physics::conditions::Conditions;
use crate::physics::joined::{Hose, Joined, Which};
use crate::physics::material::Material;
use crate::physics::sliding::Sliding;
use crate::physics::struck::check_pressure;
use crate::units::{Length, Pressure, Volume};

/// Highest place to strike, mm.
const MAX_STRIKE_MM: f64 = 1_000.0;
/// Widest split of a partial, percent: measured ones reach 1.3.
const MAX_DOUBLET_PCT: f64 = 2.0;
/// Most pairs in a set.
const MAX_PAIRS: usize = 1_000;

/// What strikes; wood halfway up the body where nothing is said.
pub(super) fn striking(written: Option<&written::Striking>) -> Result<Striking, SetError> {
    let mut striking = Striking::default();
    let Some(written) = written else {
        return Ok(striking);
    };
    let inside = |key: &'static str, value: f64, most: f64| {
        if (0.0..=most).contains(&value) {
            Ok(value)
        } else {
            Err(SetError::Striking { key, value, most })
        }
    };
    striking.mallet = written.mallet;
    if let Some(height_mm) = written.height_mm {
        let height_mm = inside("height_mm", height_mm, MAX_STRIKE_MM)?;
        striking.height = Some(Length::from_mm(height_mm));
    }
    if let Some(doublet_pct) = written.doublet_pct {
        striking.doublet_share = inside("doublet_pct", doublet_pct, MAX_DOUBLET_PCT)? / 100.0;
    }
    Ok(striking)
}

/// The pressure at which something was heard.
pub(super) fn heard_gauge(
    written: &written::Heard,
    material: Material,
) -> Result<Pressure, HeardProblem> {
    let (hz, way) = (written.hz, written.way);
    match (way, gauge(written.gauge_bar, way, material)?) {
        (Way::Blown | Way::Struck, _) => Ok(Pressure::default()),
        (Way::Pressurised, Some(gauge)) => Ok(gauge),
        (Way::Pressurised, None) => Err(HeardProblem::NoGauge { hz }),
        (Way::Sliding | Way::Joined, _) => Err(HeardProblem::Way { hz, way }),
    }
}

/// A pressure that may stand where it was written.
fn gauge(
    gauge_bar: Option<f64>,
    way: Way,
    material: Material,
) -> Result<Option<Pressure>, GaugeProblem> {
    let Some(gauge_bar) = gauge_bar else {
        return Ok(None);
    };
    let gauge = Pressure::from_bar(gauge_bar);
    check_pressure(material, gauge).map_err(|error| GaugeProblem::Refused {
        gauge_bar,
        source: Box::new(error),
    })?;
    if way != Way::Pressurised {
        return Err(GaugeProblem::Misplaced { gauge_bar, way });
    }
    Ok(Some(gauge))
}

/// Checks the keys of a pour against its way; tells which bottle of which pair it is.
pub(super) fn check_pour(
    written: &written::Pour,
    kind: KindIndex,
    kinds: &[Kind],
    pairs: &[Pair],
) -> Result<Option<(usize, Which)>, PourProblem> {
    let (way, bottle) = (written.way, &kinds[kind].bottle);
    gauge(written.gauge_bar, way, bottle.material())?;
    if way == Way::Pressurised && bottle.material() != Material::Plastic {
        return Err(PourProblem::NotPlastic {
            bottle: written.bottle.clone(),
        });
    }
    let belongs = |key: &'static str, value: Option<f64>, owner: Way, most_mm: f64| {
        let Some(value) = value else { return Ok(()) };
        if way != owner {
            return Err(PourProblem::Misplaced {
                key,
                value,
                owner,
                way,
            });
        }
        let least_mm = if owner == Way::Joined { -most_mm } else { 0.0 };
        if (least_mm..=most_mm).contains(&value) {
            return Ok(());
        }
        Err(PourProblem::Outside {
            key,
            value,
            least_mm,
            most_mm,
        })
    };
    belongs(
        "travel_mm",
        written.travel_mm,
        Way::Sliding,
        bottle.bore().height().mm(),
    )?;
    let pair = pair_of(written, kind, kinds, pairs)?;
    let highest_mm = pair.map_or(0.0, |(index, _)| {
        let heights = pairs[index]
            .kinds
            .map(|k| kinds[k].bottle.bore().height().mm());
        heights[0].max(heights[1])
    });
    belongs("lift_mm", written.lift_mm, Way::Joined, highest_mm)?;
    match (way, written.fill_ml) {
        (Way::Joined, Some(fill_ml)) => Err(PourProblem::FillOfJoined { fill_ml }),
        _ => Ok(pair),
    }
}

fn pair_of(
    written: &written::Pour,
    kind: KindIndex,
    kinds: &[Kind],
    pairs: &[Pair],
) -> Result<Option<(usize, Which)>, PourProblem> {
    let names = || pairs.iter().map(|p| p.name.as_str());
    let name = match (written.way, &written.joined) {
        (Way::Joined, Some(name)) => name,
        (Way::Joined, None) => {
            let known = names().map(str::to_owned).collect();
            return Err(PourProblem::NoPair { known });
        }
        (way, Some(name)) => {
            let pair = name.clone();
            return Err(PourProblem::MisplacedPair { pair, way });
        }
        (_, None) => return Ok(None),
    };
    let Some(index) = names().position(|known| known == name) else {
        return Err(PourProblem::NoSuchPair {
            pair: name.clone(),
            nearest: DidYouMean::of(name, names()),
        });
    };
    let [first, second] = pairs[index].kinds;
    // Of two alike the one that stays is meant: the other would have the same lifts, turned round.
    if kind == first {
        Ok(Some((index, Which::First)))
    } else if kind == second {
        Ok(Some((index, Which::Second)))
    } else {
        Err(PourProblem::NotOfPair {
            bottle: written.bottle.clone(),
            pair: name.clone(),
            joins: [first, second].map(|k| kinds[k].name.clone()),
        })
    }
}

/// The pairs of a set, each of which holds its liquid.
pub(super) fn pairs(
    written: Vec<written::Joined>,
    kinds: &[Kind],
    conditions: &Conditions,
) -> Result<Vec<Pair>, SetError> {
    if written.len() > MAX_PAIRS {
        return Err(SetError::TooMany {
            what: "joined pairs",
            count: written.len(),
            limit: MAX_PAIRS,
        });
    }
    let mut pairs: Vec<Pair> = Vec::with_capacity(written.len());
    for pair in written {
        let fail = |source: PairProblem| SetError::Pair {
            name: pair.name.clone(),
            source,
        };
        if pair.name.trim().is_empty() {
            return Err(fail(PairProblem::Unnamed));
        }
        if pairs.iter().any(|p| p.name == pair.name) {
            return Err(fail(PairProblem::SameName));
        }
        let named = |key: &'static str, name: &String| {
            let found = kinds.iter().position(|k| k.name == *name);
            found.map(KindIndex::new).ok_or_else(|| {
                fail(PairProblem::NoSuchBottle {
                    key,
                    bottle: name.clone(),
                    nearest: DidYouMean::of(name, kinds.iter().map(|k| k.name.as_str())),
                })
            })
        };
        let both = [named("first", &pair.first)?, named("second", &pair.second)?];
        let (bore, length) = (
            Length::from_mm(pair.hose_bore_mm),
            Length::from_mm(pair.hose_length_mm),
        );
        let hose = Hose::new(bore, length).map_err(|error| fail(PairProblem::Hose(error)))?;
        let (liquid_ml, liquid) = (pair.liquid_ml, Volume::from_ml(pair.liquid_ml));
        Joined::new(both.map(|k| &kinds[k].bottle), hose, liquid, conditions)
            .map_err(|source| fail(PairProblem::Liquid { liquid_ml, source }))?;
        pairs.push(Pair {
            name: pair.name.clone(),
            kinds: both,
            hose,
            liquid,
        });
    }
    Ok(pairs)
}

/// Refuses more bottles than there are. Sliding pours of a kind share one bottle, a pair has one of each of its kinds.
pub(super) fn check_counts(kinds: &[Kind], pairs: &[Pair], pours: &[Pour]) -> Result<(), SetError> {
    for (index, kind) in KindIndex::each(kinds) {
        let of_way = |sort: &dyn Fn(Way) -> bool| {
            let is_it = |p: &&Pour| p.kind == index && sort(p.way);
            pours.iter().filter(is_it).count()
        };
        let alone = of_way(&|way| !matches!(way, Way::Sliding | Way::Joined));
        let sliding = of_way(&|way| way == Way::Sliding).min(1);
        let joined = pairs
            .iter()
            .flat_map(|p| p.kinds)
            .filter(|k| *k == index)
            .count();
        let used = alone + sliding + joined;
        if used > kind.count as usize {
            let hint = if sliding + joined > 0 {
                " (a sliding bottle counts once for all its notes, a joined pair for each of its two bottles)"
            } else {
                ""
            };
            return Err(SetError::TooFewBottles {
                bottle: kind.name.clone(),
                pours: used,
                count: kind.count,
                hint,
            });
        }
    }
    Ok(())
}

/// Refuses sliding floors where none fits.
pub(super) fn check_floors(
    kinds: &[Kind],
    pours: &[Pour],
    conditions: &Conditions,
) -> Result<(), SetError> {
    for (index, kind) in KindIndex::each(kinds) {
        let slides = pours
            .iter()
            .any(|p| p.kind == index && p.way == Way::Sliding);
        if slides && let Err(error) = Sliding::new(&kind.bottle, conditions) {
            return Err(SetError::Value {
                name: kind.name.clone(),
                source: BottleProblem::Sliding(error),
            });
        }
    }
    Ok(())
}
