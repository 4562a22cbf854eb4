//! What `ullage predict` says of bottles that are struck, pressurised, slid and joined.

use serde::Serialize;

use super::Failure;
use super::args::{Predict, WayArg, striking};
use super::inputs;
use super::predict::{RowNote, RowResonance, given_fill, swept};
use super::rows::{settings, slopes};
use super::sweep::Swept;
use crate::number::rounded;
use crate::physics::conditions::Conditions;
use crate::physics::joined::Which;
use crate::physics::struck::ShellMode;
use crate::set::{Kind, Pour, Set, ShelfOrSet, Striking, Way};
use crate::sounding::{How, PairOf, Setting, Sounded, Source};
use crate::tuning::Tuning;
use crate::units::{Frequency, Length, Pressure, Volume};

/// Kelvins over which the drift with the room's warmth is taken.
const WARMED_K: f64 = 1.0;

/// One prediction as JSON.
#[derive(Serialize)]
pub(super) struct WayRow {
    #[serde(skip)]
    pub for_note: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub version: Option<u32>,
    pub bottle: String,
    pub(super) way: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at: Option<f64>,
    pub(super) temp_c: f64,
    pub(super) capacity_ml: f64,
    pub(super) fill_ml: f64,
    pub(super) air_ml: f64,
    pub(super) level_mm: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) gauge_bar: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) travel_mm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) lift_mm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) mallet: Option<&'static str>,
    /// The note first.
    pub resonances: Vec<RowResonance>,
    pub(super) note: RowNote,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) cents_per_ml: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) cents_per_bar: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) cents_per_mm: Option<f64>,
    pub(super) cents_per_c: f64,
    pub(super) plus_minus_cents: f64,
    pub(super) dominated_by: &'static str,
    pub(super) remedy: &'static str,
    pub(super) without_it_cents: f64,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub(super) partials: Vec<Partial>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) other: Option<Other>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) calibration: Option<WallCalibration>,
    pub(super) cautions: Vec<&'static str>,
}

/// A partial of a wall.
#[derive(Serialize)]
pub(super) struct Partial {
    pub(super) n: u32,
    pub(super) m: u32,
    pub(super) hz: f64,
    pub(super) q: f64,
    pub(super) t60_s: f64,
    pub(super) level_db: f64,
}

/// The other bottle of a pair.
#[derive(Serialize)]
pub(super) struct Other {
    pub(super) bottle: String,
    pub(super) hz: f64,
    pub(super) fill_ml: f64,
    pub(super) level_mm: f64,
}

/// What was fitted of a wall.
#[derive(Clone, Copy, Serialize)]
pub(super) struct WallCalibration {
    pub(super) heard: usize,
    pub(super) residual_cents: f64,
}

/// One thing to predict.
struct Task<'a> {
    source: Source<'a>,
    kind: &'a Kind,
    note: Option<String>,
    setting: Setting,
    other: Option<String>,
}

/// The rows of whatever is not blown.
pub(super) fn rows(
    args: &Predict,
    preset: &mut ShelfOrSet,
    conditions: &Conditions,
    tuning: &Tuning,
) -> Result<Vec<WayRow>, Failure> {
    let striking = striking(preset, args.mallet, args.strike_mm);
    if let ShelfOrSet::Set(set) = preset {
        set.striking = striking;
    }
    let mut rows = Vec::new();
    for task in tasks(args, preset, conditions, striking)? {
        let Some(sweep) = &args.sweep else {
            rows.push(row(&task, task.source.conditions, None, tuning)?);
            continue;
        };
        for at in sweep.values() {
            let before = task.setting.fill().unwrap_or_default();
            let (now, fill) = swept(args, before, conditions, (sweep, at))?;
            let turned = match sweep.what {
                Swept::FillMl => Some(Setting::Fill(fill)),
                _ => sweep.setting(at),
            };
            let setting = match (turned, task.setting) {
                (Some(turned), own) if turned.name() == own.name() => turned,
                (Some(turned), own) => {
                    return Err(Failure::bad(
                        format!("sweep the {} of {:?}", turned.name(), task.kind.name),
                        format!(
                            "a {} bottle is set by its {}",
                            task.source.way(),
                            own.name()
                        ),
                    )
                    .or_try("--way with one that is set by it, or another quantity"));
                }
                (None, Setting::Fill(_)) => Setting::Fill(fill),
                (None, own) => own,
            };
            let source = Source {
                conditions: &now,
                ..task.source
            };
            let task = Task {
                source,
                setting,
                note: task.note.clone(),
                other: task.other.clone(),
                ..task
            };
            rows.push(row(&task, &now, Some(at), tuning)?);
        }
    }
    Ok(rows)
}

/// What to predict: pours that are not blown, or every bottle the way that was asked for.
fn tasks<'a>(
    args: &Predict,
    preset: &'a ShelfOrSet,
    conditions: &'a Conditions,
    striking: Striking,
) -> Result<Vec<Task<'a>>, Failure> {
    let asked = args.way.map(Way::from);
    if asked == Some(Way::Blown) {
        return Ok(Vec::new());
    }
    let named = |kind: &Kind| args.bottle.as_ref().is_none_or(|name| kind.name == *name);
    let mut tasks = Vec::new();
    if let ShelfOrSet::Set(set) = preset {
        let wanted = |p: &&Pour| match asked {
            Some(way) => p.way == way,
            None => p.way != Way::Blown,
        };
        let pours = set.pours.iter().filter(|p| named(set.kind_of(p)));
        for pour in pours.filter(wanted) {
            tasks.push(of_pour(args, set, pour, conditions)?);
        }
    }
    let Some(way) = asked.filter(|_| tasks.is_empty()) else {
        return Ok(tasks);
    };
    if let Some(name) = &args.bottle {
        inputs::kind(preset.kinds(), name, &args.file)?;
    }
    if way == Way::Joined {
        return pairs(args, preset, conditions, striking, &named);
    }
    for kind in preset.kinds().iter().filter(|kind| named(kind)) {
        let fill = given_fill(args, conditions)?.unwrap_or_default();
        let how = match way {
            Way::Pressurised => How::Pressurised(fill),
            Way::Sliding => How::Sliding,
            _ => How::Struck,
        };
        tasks.push(Task {
            source: Source {
                bottle: &kind.bottle,
                conditions,
                striking,
                fits: &kind.fits,
                how,
            },
            kind,
            note: None,
            setting: set_to(args, way, fill, None, &kind.name)?,
            other: None,
        });
    }
    Ok(tasks)
}

fn of_pour<'a>(
    args: &Predict,
    set: &'a Set,
    pour: &Pour,
    conditions: &'a Conditions,
) -> Result<Task<'a>, Failure> {
    let kind = &set.kinds[pour.kind];
    let fill = given_fill(args, conditions)?
        .or(pour.fill)
        .unwrap_or_default();
    let filled = Pour {
        fill: Some(fill),
        ..pour.clone()
    };
    let other = pour.joined.map(|(pair, which)| {
        let kinds = set.pairs[pair].kinds;
        set.kinds[kinds[1 - which as usize]].name.clone()
    });
    Ok(Task {
        source: set.source_under(&filled, conditions),
        kind,
        note: Some(pour.note.to_string()),
        setting: set_to(args, pour.way, fill, pour.setting(), &kind.name)?,
        other,
    })
}

/// Both bottles of every pair, or the named one.
fn pairs<'a>(
    args: &Predict,
    preset: &'a ShelfOrSet,
    conditions: &'a Conditions,
    striking: Striking,
    named: &impl Fn(&Kind) -> bool,
) -> Result<Vec<Task<'a>>, Failure> {
    let mut tasks = Vec::new();
    let ShelfOrSet::Set(set) = preset else {
        return Err(Failure::bad(
            format!("predict a joined pair of {}", args.file.display()),
            "a shelf has no pairs",
        )
        .or_try("a set with a [[joined]] table"));
    };
    for pair in &set.pairs {
        for which in [Which::First, Which::Second] {
            let kind = &set.kinds[pair.kinds[which as usize]];
            if !named(kind) {
                continue;
            }
            let how = How::Joined(PairOf {
                bottles: pair.kinds.map(|k| &set.kinds[k].bottle),
                hose: pair.hose,
                liquid: pair.liquid,
                which,
            });
            tasks.push(Task {
                source: Source {
                    bottle: &kind.bottle,
                    conditions,
                    striking,
                    fits: &kind.fits,
                    how,
                },
                kind,
                note: None,
                setting: set_to(args, Way::Joined, Volume::default(), None, &kind.name)?,
                other: Some(set.kinds[pair.kinds[1 - which as usize]].name.clone()),
            });
        }
    }
    if tasks.is_empty() {
        return Err(Failure::bad(
            format!("predict a joined pair of {}", args.file.display()),
            "no pair of it has that bottle",
        )
        .or_try("a [[joined]] table in the set, or another --bottle"));
    }
    Ok(tasks)
}

/// What was asked for, else what the file says, else nothing in, pushed or lifted.
fn set_to(
    args: &Predict,
    way: Way,
    fill: Volume,
    planned: Option<Setting>,
    name: &str,
) -> Result<Setting, Failure> {
    let asked = match way {
        Way::Blown | Way::Struck => Some(Setting::Fill(fill)),
        Way::Pressurised => args
            .gauge_bar
            .map(|bar| Setting::Gauge(Pressure::from_bar(bar))),
        Way::Sliding => args
            .travel_mm
            .map(|mm| Setting::Travel(Length::from_mm(mm))),
        Way::Joined => args.lift_mm.map(|mm| Setting::Lift(Length::from_mm(mm))),
    };
    match (way, asked.or(planned)) {
        (_, Some(setting)) => Ok(setting),
        (Way::Sliding, None) => Ok(Setting::Travel(Length::default())),
        (Way::Joined, None) => Ok(Setting::Lift(Length::default())),
        // Where it is swept it need not be said.
        (Way::Pressurised, None)
            if args
                .sweep
                .as_ref()
                .is_some_and(|s| s.what == Swept::GaugeBar) =>
        {
            Ok(Setting::Gauge(Pressure::default()))
        }
        _ => Err(Failure::bad(
            format!("predict {name:?} pressurised"),
            "nobody said how much pressure is in it",
        )
        .or_try("--gauge-bar with the bar above the air outside")),
    }
}

fn row(
    task: &Task<'_>,
    conditions: &Conditions,
    at: Option<f64>,
    tuning: &Tuning,
) -> Result<WayRow, Failure> {
    let fail = |error: crate::sounding::SoundedError| {
        let way_out = match task.setting {
            Setting::Fill(_) => "--fill-ml with less, or another bottle",
            Setting::Gauge(_) => "plastic, and --gauge-bar within the limit",
            Setting::Travel(_) => "--travel-mm within the way, or another bottle",
            Setting::Lift(_) => "--lift-mm within the range",
        };
        let what = format!("predict {:?} {}", task.kind.name, task.source.way());
        Failure::cannot(what, error).or_try(way_out)
    };
    // The pitch aimed at is of no matter here.
    let sounded = task
        .source
        .set_to(Frequency::from_hz(1.0), task.setting)
        .map_err(fail)?;
    let warmed = conditions.warmed_by_k(WARMED_K);
    let warmer = Source {
        conditions: &warmed,
        ..task.source
    };
    let rise = warmer.at(task.setting).map_err(fail)?;
    let (name, off) = tuning.nearest(sounded.frequency());
    let [gauge_bar, travel_mm, lift_mm] = settings(sounded.setting);
    let [cents_per_ml, cents_per_bar, cents_per_mm] = slopes(&sounded);
    let capacity = task.kind.bottle.bore().capacity();
    let instead = match task.setting {
        Setting::Travel(travel) => task.kind.bottle.bore().volume_below(travel),
        _ => sounded.fill,
    };
    Ok(WayRow {
        for_note: task.note.clone(),
        version: None,
        bottle: task.kind.name.clone(),
        way: sounded.way.name(),
        at,
        temp_c: rounded(conditions.temperature().c(), 3),
        capacity_ml: rounded(capacity.ml(), 2),
        fill_ml: rounded(sounded.fill.ml(), 3),
        air_ml: rounded((capacity - instead).ml(), 3),
        level_mm: rounded(sounded.level.mm(), 2),
        gauge_bar,
        travel_mm,
        lift_mm,
        mallet: sounded.mallet.map(|m| m.name()),
        resonances: resonances(&sounded),
        note: RowNote {
            name: name.to_string(),
            cents: rounded(off.cents(), 3),
        },
        cents_per_ml,
        cents_per_bar,
        cents_per_mm,
        cents_per_c: rounded(
            rise.frequency.interval_above(sounded.frequency()).cents() / WARMED_K,
            3,
        ),
        plus_minus_cents: rounded(sounded.plus_minus().cents(), 1),
        dominated_by: sounded.doubt.dominated_by,
        remedy: sounded.doubt.remedy,
        without_it_cents: rounded(sounded.doubt.without_it.cents(), 1),
        partials: sounded.modes().iter().map(partial).collect(),
        other: other(task, &sounded),
        calibration: calibration(task, sounded.way),
        cautions: sounded.cautions(),
    })
}

/// The note first, then the others from low to high.
fn resonances(sounded: &Sounded) -> Vec<RowResonance> {
    let note = sounded.note();
    let rest = sounded.resonances().into_iter().filter(|r| *r != note);
    let all = std::iter::once(note).chain(rest);
    all.map(|r| RowResonance {
        hz: rounded(r.frequency.hz(), 4),
        q: rounded(r.quality, 3),
    })
    .collect()
}

fn partial(mode: &ShellMode) -> Partial {
    Partial {
        n: mode.n,
        m: mode.m,
        hz: rounded(mode.frequency.hz(), 3),
        q: rounded(mode.quality, 1),
        t60_s: rounded(mode.decay().s(), 4),
        level_db: rounded(mode.level.db(), 2),
    }
}

fn other(task: &Task<'_>, sounded: &Sounded) -> Option<Other> {
    let (bottle, side) = (task.other.as_ref()?, sounded.other?);
    Some(Other {
        bottle: bottle.clone(),
        hz: rounded(side.resonance.frequency.hz(), 4),
        fill_ml: rounded(side.fill.ml(), 3),
        level_mm: rounded(side.level.mm(), 2),
    })
}

fn calibration(task: &Task<'_>, way: Way) -> Option<WallCalibration> {
    let fits = task.source.fits;
    let (heard, residual) = match way {
        Way::Struck => fits.tapped.map(|t| (t.heard, t.residual))?,
        Way::Pressurised => fits.pressed.map(|p| (p.heard(), p.residual()))?,
        _ => return None,
    };
    Some(WallCalibration {
        heard,
        residual_cents: rounded(residual.cents(), 1),
    })
}

/// Options of another way than what is predicted are refused, not passed over.
pub(super) fn check(args: &Predict) -> Result<(), Failure> {
    let belongs = [
        ("--gauge-bar", args.gauge_bar.is_some(), WayArg::Pressurised),
        ("--travel-mm", args.travel_mm.is_some(), WayArg::Sliding),
        ("--lift-mm", args.lift_mm.is_some(), WayArg::Joined),
    ];
    for (option, given, way) in belongs {
        if given && args.way != Some(way) {
            return Err(Failure::bad(
                format!("use {option}"),
                format!("it belongs to --way {}", Way::from(way)),
            )
            .or_try(format!("--way {}", Way::from(way))));
        }
    }
    Ok(())
}
