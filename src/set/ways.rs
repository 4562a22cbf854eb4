//! What is read of the ways beside blowing: mallets, pressures, floors that slide, pairs joined by a hose.

use super::error::SetError;
use super::read::nearest;
use super::written::{self, Way};
use super::{Kind, Pair, Pour, Striking};
use crate::physics::conditions::Conditions;
use crate::physics::joined::{Hose, Joined, Which};
use crate::physics::material::Material;
use crate::physics::sliding::Sliding;
use crate::physics::struck::{REFUSE_BAR, check_pressure};
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
    let inside = |what: &str, value: f64, most: f64| {
        if (0.0..=most).contains(&value) {
            Ok(value)
        } else {
            Err(SetError::Striking {
                problem: format!("{what} = {value} is outside 0 to {most}"),
            })
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
) -> Result<Pressure, String> {
    let gauge = gauge(written.gauge_bar, written.way, material)
        .map_err(|problem| format!("heard {problem}"))?;
    match (written.way, gauge) {
        (Way::Blown | Way::Struck, _) => Ok(Pressure::default()),
        (Way::Pressurised, Some(gauge)) => Ok(gauge),
        (Way::Pressurised, None) => Err(format!(
            "heard hz = {} with way = \"pressurised\" needs its gauge_bar",
            written.hz
        )),
        (Way::Sliding | Way::Joined, _) => Err(format!(
            "heard hz = {} has way = \"{}\"; what is heard is blown, struck or pressurised",
            written.hz, written.way
        )),
    }
}

/// A pressure that may stand where it was written.
fn gauge(gauge_bar: Option<f64>, way: Way, material: Material) -> Result<Option<Pressure>, String> {
    let Some(bar) = gauge_bar else {
        return Ok(None);
    };
    let gauge = Pressure::from_bar(bar);
    check_pressure(material, gauge).map_err(|error| format!("gauge_bar = {bar}: {error}"))?;
    if way != Way::Pressurised {
        return Err(format!(
            "gauge_bar = {bar} belongs to way = \"pressurised\", and this is {way}"
        ));
    }
    Ok(Some(gauge))
}

/// Checks the keys of a pour against its way; tells which bottle of which pair it is.
pub(super) fn check_pour(
    written: &written::Pour,
    kind: usize,
    kinds: &[Kind],
    pairs: &[Pair],
) -> Result<Option<(usize, Which)>, String> {
    let (way, bottle) = (written.way, &kinds[kind].bottle);
    gauge(written.gauge_bar, way, bottle.material())?;
    if way == Way::Pressurised && bottle.material() != Material::Plastic {
        return Err(format!(
            "way = \"pressurised\" is refused for {:?}, which is not plastic: glass is never pressurised; write \
             material = \"plastic\" if it is a bottle sold for carbonated drinks, 0 to {REFUSE_BAR} bar",
            written.bottle
        ));
    }
    let belongs = |key: &str, value: Option<f64>, owner: Way, most_mm: f64| match value {
        Some(value) if way != owner => Err(format!(
            "{key} = {value} belongs to way = \"{owner}\", and this is {way}"
        )),
        Some(value) if !(value.abs() <= most_mm && (owner == Way::Joined || value >= 0.0)) => {
            let least_mm = if owner == Way::Joined { -most_mm } else { 0.0 };
            Err(format!(
                "{key} = {value} is outside {least_mm:.0} to {most_mm:.0} mm"
            ))
        }
        _ => Ok(()),
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
    if let (Way::Joined, Some(fill_ml)) = (way, written.fill_ml) {
        return Err(format!(
            "fill_ml = {fill_ml} is not for way = \"joined\": the lift decides it; the pair has liquid_ml"
        ));
    }
    Ok(pair)
}

fn pair_of(
    written: &written::Pour,
    kind: usize,
    kinds: &[Kind],
    pairs: &[Pair],
) -> Result<Option<(usize, Which)>, String> {
    let names = || pairs.iter().map(|p| p.name.as_str());
    let name = match (written.way, &written.joined) {
        (Way::Joined, Some(name)) => name,
        (Way::Joined, None) => {
            let known: Vec<&str> = names().collect();
            let hint = if known.is_empty() {
                "add a [[joined]] table".to_owned()
            } else {
                format!("the pairs are {}", known.join(", "))
            };
            return Err(format!(
                "way = \"joined\" needs joined = \"the pair's name\"; {hint}"
            ));
        }
        (way, Some(name)) => {
            return Err(format!(
                "joined = {name:?} belongs to way = \"joined\", and this is {way}"
            ));
        }
        (_, None) => return Ok(None),
    };
    let Some(index) = names().position(|known| known == name) else {
        let near = nearest(name, names());
        let hint = near.map_or_else(String::new, |near| format!("; did you mean {near:?}?"));
        return Err(format!("there is no joined pair {name:?}{hint}"));
    };
    let [first, second] = pairs[index].kinds;
    // Of two alike the one that stays is meant: the other would have the same lifts, turned round.
    let which = if kind == first {
        Which::First
    } else if kind == second {
        Which::Second
    } else {
        return Err(format!(
            "{:?} is no bottle of the pair {name:?}, which joins {:?} and {:?}",
            written.bottle, kinds[first].name, kinds[second].name
        ));
    };
    Ok(Some((index, which)))
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
        let fail = |problem: String| SetError::Pair {
            name: pair.name.clone(),
            problem,
        };
        if pair.name.trim().is_empty() {
            return Err(fail("it has no name; give it one".to_owned()));
        }
        if pairs.iter().any(|p| p.name == pair.name) {
            return Err(fail("two pairs have this name".to_owned()));
        }
        let named = |key: &str, name: &String| {
            kinds.iter().position(|k| k.name == *name).ok_or_else(|| {
                let near = nearest(name, kinds.iter().map(|k| k.name.as_str()));
                let hint =
                    near.map_or_else(String::new, |near| format!("; did you mean {near:?}?"));
                fail(format!("{key}: there is no bottle {name:?}{hint}"))
            })
        };
        let both = [named("first", &pair.first)?, named("second", &pair.second)?];
        let (bore, length) = (
            Length::from_mm(pair.hose_bore_mm),
            Length::from_mm(pair.hose_length_mm),
        );
        let hose = Hose::new(bore, length).map_err(|error| fail(error.to_string()))?;
        let liquid = Volume::from_ml(pair.liquid_ml);
        Joined::new(both.map(|k| &kinds[k].bottle), hose, liquid, conditions)
            .map_err(|error| fail(format!("liquid_ml = {}: {error}", pair.liquid_ml)))?;
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
    for (index, kind) in kinds.iter().enumerate() {
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
    for (index, kind) in kinds.iter().enumerate() {
        let slides = pours
            .iter()
            .any(|p| p.kind == index && p.way == Way::Sliding);
        if slides && let Err(error) = Sliding::new(&kind.bottle, conditions) {
            return Err(SetError::Value {
                name: kind.name.clone(),
                problem: format!("way = \"sliding\": {error}"),
            });
        }
    }
    Ok(())
}
