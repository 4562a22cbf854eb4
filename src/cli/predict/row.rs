//! A prediction as JSON: the same row for every way, with the columns that the way has.

use serde::Serialize;

use super::task::Task;
use crate::cli::Failure;
use crate::cli::calibration::Calibration;
use crate::cli::rows::{RangeRow, SettingColumns, SlopeColumns};
use crate::number::rounded;
use crate::physics::bottle::Bottle;
use crate::physics::conditions::Conditions;
use crate::physics::player::{Habit, habits, on_table};
use crate::physics::prediction::Prediction;
use crate::physics::struck::ShellMode;
use crate::physics::uncertainty::Share;
use crate::set::Kind;
use crate::sounding::{Setting, Sounded, SoundedError, Source, Way};
use crate::tuning::Tuning;
use crate::units::Frequency;

/// Kelvins over which the drift with the room's warmth is taken.
const WARMED_K: f64 = 1.0;

/// A bottle set in some way, before its sound is worked out.
pub(super) struct Predicted<'t> {
    pub source: Source<'t>,
    pub setting: Setting,
}

/// One prediction.
#[derive(Serialize)]
pub(super) struct PredictedRow {
    #[serde(skip)]
    pub for_note: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub version: Option<u32>,
    pub bottle: String,
    pub way: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at: Option<f64>,
    temp_c: f64,
    pub capacity_ml: f64,
    pub fill_ml: f64,
    pub air_ml: f64,
    pub level_mm: f64,
    #[serde(flatten)]
    pub setting: SettingColumns,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mallet: Option<&'static str>,
    /// The note first.
    pub resonances: Vec<ResonanceRow>,
    pub note: NearestNote,
    #[serde(flatten)]
    pub slope: SlopeColumns,
    pub cents_per_c: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cents_per_mm_bore: Option<f64>,
    /// What the bottle gives from end to end; left out of a sweep.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub range: Option<RangeRow>,
    pub plus_minus_cents: f64,
    /// The ends below and above which 2.5 % lie each, against the pitch.
    pub low_cents: f64,
    pub high_cents: f64,
    /// As people read it: the plus-minus, or both ends where one is much farther away.
    #[serde(skip)]
    pub sure: String,
    pub dominated_by: &'static str,
    /// Of a blown bottle each source of doubt has its own.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub remedy: Option<&'static str>,
    pub without_it_cents: f64,
    #[serde(flatten)]
    pub blown: Option<BlownColumns>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub partials: Vec<Partial>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub other: Option<Other>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub calibration: Option<Fitted>,
    /// Of those that are not blown.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cautions: Option<Vec<&'static str>>,
}

/// A resonance.
#[derive(Serialize)]
pub(super) struct ResonanceRow {
    pub hz: f64,
    pub q: f64,
}

/// The nearest note of the tuning, and how far above it the pitch is.
#[derive(Serialize)]
pub(super) struct NearestNote {
    pub name: String,
    pub cents: f64,
}

/// What only a blown bottle has.
#[derive(Serialize)]
pub(super) struct BlownColumns {
    pub uncertainty: Vec<ShareRow>,
    /// Of a bottle known by `poured`: water with which the next level says most, g.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub next_reading_g: Option<f64>,
    /// What a picture, the brim and a note do together, where they are missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub together: Option<TogetherRow>,
    pub schoolbook_hz: f64,
    /// What a player does to all bottles alike; in no plus-minus.
    pub player: Vec<HabitRow>,
    /// What a wide table under it does.
    pub on_table: TableRow,
}

/// The few measurements that say most together.
#[derive(Serialize)]
pub(super) struct TogetherRow {
    /// What to do, in turn.
    pub steps: Vec<&'static str>,
    /// How long all of them take.
    pub minutes: f64,
    pub then_plus_minus_cents: f64,
}

/// Something that a player does.
#[derive(Serialize)]
pub(super) struct HabitRow {
    pub what: &'static str,
    pub cents: f64,
    pub basis: &'static str,
}

/// What a table does to a bottle that stands on it.
#[derive(Serialize)]
pub(super) struct TableRow {
    pub cents: f64,
    pub q_pct: f64,
}

/// A source of doubt.
#[derive(Serialize)]
pub(super) struct ShareRow {
    pub what: &'static str,
    pub plus_minus_cents: f64,
    guessed: bool,
    pub remedy: &'static str,
    /// Minutes that it takes to measure, and what the plus-minus is then, what gains more for its time being measured before.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub minutes: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub then_plus_minus_cents: Option<f64>,
}

/// A partial of a wall.
#[derive(Serialize)]
pub(super) struct Partial {
    pub n: u32,
    pub m: u32,
    pub hz: f64,
    pub q: f64,
    pub t60_s: f64,
    pub level_db: f64,
}

/// The other bottle of a pair.
#[derive(Serialize)]
pub(super) struct Other {
    pub bottle: String,
    pub hz: f64,
    pub fill_ml: f64,
    level_mm: f64,
}

/// What was fitted to pitches heard.
#[derive(Serialize)]
#[serde(untagged)]
pub(super) enum Fitted {
    Air(Calibration),
    Wall { heard: usize, residual_cents: f64 },
}

impl Predicted<'_> {
    /// Works it out.
    pub(super) fn row(&self, task: &Task<'_>, tuning: &Tuning) -> Result<PredictedRow, Failure> {
        let fail = |error: SoundedError| self.silent(task, error);
        // The pitch aimed at is of no matter here.
        let any = Frequency::from_hz(1.0);
        let sounded = self.source.set_to(any, self.setting).map_err(fail)?;
        let air = sounded.air.as_ref().filter(|_| sounded.way == Way::Blown);
        let prediction = air.map(|poured| &poured.prediction);
        let per_kelvin_cents = match prediction {
            Some(prediction) => prediction.per_kelvin.cents(),
            None => self.rise_cents(&sounded).map_err(fail)? / WARMED_K,
        };
        let conditions = self.source.conditions;
        let (name, off) = tuning.nearest(sounded.frequency());
        let capacity = task.kind.bottle.bore().capacity();
        let instead = match self.setting {
            Setting::Travel(travel) => task.kind.bottle.bore().volume_below(travel),
            Setting::Fill(_) | Setting::Gauge(_) | Setting::Lift(_) => sounded.fill,
        };
        Ok(PredictedRow {
            for_note: task.pour.map(|pour| pour.note.to_string()),
            version: None,
            bottle: task.kind.name.clone(),
            way: sounded.way.name(),
            at: None,
            temp_c: rounded(conditions.temperature().c(), 3),
            capacity_ml: rounded(capacity.ml(), 2),
            fill_ml: rounded(sounded.fill.ml(), 3),
            air_ml: rounded((capacity - instead).ml(), 3),
            level_mm: rounded(sounded.level.mm(), 2),
            setting: SettingColumns::of(sounded.setting),
            mallet: sounded.mallet.map(|m| m.name()),
            resonances: resonances(&sounded),
            note: NearestNote {
                name: name.to_string(),
                cents: rounded(off.cents(), 3),
            },
            slope: SlopeColumns::of(&sounded),
            cents_per_c: rounded(per_kelvin_cents, 3),
            cents_per_mm_bore: prediction.map(|p| rounded(p.per_mm_bore.cents(), 3)),
            range: None,
            plus_minus_cents: rounded(sounded.plus_minus().cents(), 1),
            low_cents: rounded(sounded.doubt.ends[0].cents(), 1),
            high_cents: rounded(sounded.doubt.ends[1].cents(), 1),
            sure: sounded.doubt.text(),
            dominated_by: sounded.doubt.dominated_by,
            remedy: prediction.is_none().then_some(sounded.doubt.remedy),
            without_it_cents: rounded(sounded.doubt.without_it.cents(), 1),
            blown: prediction
                .map(|p| BlownColumns::of(p, &task.kind.bottle, conditions))
                .transpose()
                .map_err(fail)?,
            partials: sounded.modes().iter().map(Partial::of).collect(),
            other: other(task, &sounded),
            calibration: Fitted::of(task.kind, sounded.way),
            cautions: prediction.is_none().then(|| sounded.cautions()),
        })
    }

    /// The same with what the bottle gives from end to end.
    pub(super) fn row_with_range(
        &self,
        task: &Task<'_>,
        tuning: &Tuning,
    ) -> Result<PredictedRow, Failure> {
        let mut row = self.row(task, tuning)?;
        // A bottle that sounds as it is set need not sound at both of its ends.
        let reach = self.source.reach().ok().flatten();
        row.range = reach.map(|ends| RangeRow::of(ends, tuning));
        Ok(row)
    }

    /// How far the pitch rises when everything warms.
    fn rise_cents(&self, sounded: &Sounded) -> Result<f64, SoundedError> {
        let warmed = self.source.conditions.warmed_by_k(WARMED_K);
        let warmer = self.source.under(&warmed).at(self.setting)?;
        Ok(warmer.frequency.interval_above(sounded.frequency()).cents())
    }

    fn silent(&self, task: &Task<'_>, error: SoundedError) -> Failure {
        let (name, way) = (&task.kind.name, task.way);
        let what = match (way, self.setting) {
            (Way::Blown, Setting::Fill(fill)) => {
                format!("predict {name:?} with {:.1} ml in it", fill.ml())
            }
            _ => format!("predict {name:?} {way}"),
        };
        Failure::cannot(what, error).or_try(match self.setting {
            Setting::Fill(_) => "use --fill-ml with less, or another bottle",
            Setting::Gauge(_) => "use plastic, and --gauge-bar within the limit",
            Setting::Travel(_) => "keep --travel-mm within the stroke, or use another bottle",
            Setting::Lift(_) => "keep --lift-mm within the range",
        })
    }
}

/// The note first, then the others from low to high.
fn resonances(sounded: &Sounded) -> Vec<ResonanceRow> {
    let note = sounded.note();
    let rest = sounded.resonances().into_iter().filter(|r| *r != note);
    let all = std::iter::once(note).chain(rest);
    all.map(|r| ResonanceRow {
        hz: rounded(r.frequency.hz(), 4),
        q: rounded(r.quality, 3),
    })
    .collect()
}

fn other(task: &Task<'_>, sounded: &Sounded) -> Option<Other> {
    let (bottle, side) = (task.other()?, sounded.other?);
    Some(Other {
        bottle: bottle.to_owned(),
        hz: rounded(side.resonance.frequency.hz(), 4),
        fill_ml: rounded(side.fill.ml(), 3),
        level_mm: rounded(side.level.mm(), 2),
    })
}

impl BlownColumns {
    fn of(
        prediction: &Prediction,
        bottle: &Bottle,
        conditions: &Conditions,
    ) -> Result<Self, SoundedError> {
        let next_reading = bottle.doubts().next_reading();
        let uncertainty = &prediction.uncertainty;
        let row = |share: &Share| ShareRow {
            what: share.what,
            plus_minus_cents: rounded(share.plus_minus.cents(), 1),
            guessed: share.guessed,
            remedy: share.remedy,
            minutes: share.step.map(|step| step.minutes),
            then_plus_minus_cents: share.step.map(|step| rounded(step.then.cents(), 1)),
        };
        let habits = habits(bottle, prediction.fill, conditions)?;
        let table = on_table(bottle, prediction.fill, conditions)?;
        let habit = |habit: Habit| HabitRow {
            what: habit.what,
            cents: rounded(habit.moves.cents(), 1),
            basis: habit.basis,
        };
        Ok(Self {
            uncertainty: uncertainty.shares.iter().map(row).collect(),
            next_reading_g: next_reading.map(|water| rounded(water.g(), 0)),
            together: uncertainty.together.as_ref().map(|few| TogetherRow {
                steps: few.steps.clone(),
                minutes: few.minutes,
                then_plus_minus_cents: rounded(few.then.cents(), 1),
            }),
            schoolbook_hz: rounded(prediction.schoolbook.hz(), 2),
            player: habits.map(habit).into(),
            on_table: TableRow {
                cents: rounded(table.moves.cents(), 1),
                q_pct: rounded(100.0 * table.quality_share, 1),
            },
        })
    }

    /// What to measure, first what gains most for its time.
    pub(super) fn next(&self) -> Vec<(&ShareRow, f64, f64)> {
        let step = |row: &'_ ShareRow| Some((row.minutes?, row.then_plus_minus_cents?));
        let mut next: Vec<_> = (self.uncertainty.iter())
            .filter_map(|row| step(row).map(|(minutes, then)| (row, minutes, then)))
            .collect();
        next.sort_by(|a, b| b.2.total_cmp(&a.2));
        next
    }
}

impl Partial {
    fn of(mode: &ShellMode) -> Self {
        Self {
            n: mode.n,
            m: mode.m,
            hz: rounded(mode.frequency.hz(), 3),
            q: rounded(mode.quality, 1),
            t60_s: rounded(mode.decay().s(), 4),
            level_db: rounded(mode.level.db(), 2),
        }
    }
}

impl Fitted {
    /// What of a kind's fits this way rests on.
    fn of(kind: &Kind, way: Way) -> Option<Self> {
        let (heard, residual) = match way {
            Way::Blown => return Calibration::of(kind).map(Self::Air),
            Way::Struck => kind.fits.tapped.map(|t| (t.heard, t.residual))?,
            Way::Pressurised => kind.fits.pressed.map(|p| (p.heard(), p.residual()))?,
            Way::Sliding | Way::Joined => return None,
        };
        Some(Self::Wall {
            heard,
            residual_cents: rounded(residual.cents(), 1),
        })
    }
}
