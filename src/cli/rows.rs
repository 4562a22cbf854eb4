//! Rows that several commands print alike: a poured note, and a note that could not be poured.

use std::collections::BTreeSet;
use std::fmt;

use serde::Serialize;

use super::Failure;
use crate::cli::print::table;
use crate::number::{rounded, signed};
use crate::set::{Pour, Set};
use crate::sounding::{Setting, Sounded};
use crate::tuning::{Speller, Tuning};
use crate::units::shown::Units;
use crate::units::{Frequency, Length, Mass, Volume};

/// A poured note.
#[derive(Serialize)]
pub struct PourRow {
    /// The note.
    pub note: String,
    target_hz: f64,
    /// Its bottle.
    pub bottle: String,
    way: &'static str,
    fill_ml: f64,
    fill_g: f64,
    level_mm: f64,
    #[serde(flatten)]
    setting: SettingColumns,
    hz: f64,
    q: f64,
    error_cents: f64,
    /// 95 %.
    pub plus_minus_cents: f64,
    /// What is least sure.
    pub dominated_by: &'static str,
    /// What the ± would be without that.
    pub without_it_cents: f64,
    /// What would help.
    pub remedy: &'static str,
    #[serde(flatten)]
    slope: SlopeColumns,
    /// What the bottle gives from end to end.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub range: Option<RangeRow>,
    #[serde(skip_serializing_if = "Option::is_none")]
    other_hz: Option<f64>,
    /// What to beware of.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub cautions: Vec<&'static str>,
    /// As they were worked out: what is rounded twice can differ from the same number on paper.
    #[serde(skip)]
    amounts: Amounts,
}

/// The lowest and the highest note of a bottle, each the nearest to its pitch.
#[derive(Clone, Debug, Serialize)]
pub struct RangeRow {
    low: String,
    low_hz: f64,
    high: String,
    high_hz: f64,
}

impl RangeRow {
    /// The notes of `tuning` nearest to these pitches.
    #[must_use]
    pub fn of([low, high]: [Frequency; 2], tuning: &Tuning) -> Self {
        let named = |pitch| tuning.nearest(pitch).0.to_string();
        Self {
            low: named(low),
            low_hz: rounded(low.hz(), 3),
            high: named(high),
            high_hz: rounded(high.hz(), 3),
        }
    }

    /// From note to note.
    #[must_use]
    pub fn text(&self, speller: &Speller) -> String {
        let [low, high] = [&self.low, &self.high].map(|note| speller.text(note));
        format!("{low} to {high}")
    }
}

/// The cell of a range; empty where there is none.
pub fn range_cell(range: Option<&RangeRow>, speller: &Speller) -> String {
    range.map_or_else(String::new, |range| range.text(speller))
}

/// What goes in, and how high it stands.
#[derive(Clone, Copy)]
struct Amounts {
    volume: Volume,
    mass: Mass,
    level: Length,
}

/// What a bottle is set to where that is no fill, each in a column of its own.
#[derive(Clone, Copy, Debug, Default, Serialize)]
pub struct SettingColumns {
    /// Pressure above the air outside, bar.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub gauge_bar: Option<f64>,
    /// How far the floor is pushed in, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub travel_mm: Option<f64>,
    /// How far the second of a pair is lifted, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lift_mm: Option<f64>,
}

impl SettingColumns {
    /// A setting in its column; a fill has one elsewhere.
    #[must_use]
    pub fn of(setting: Setting) -> Self {
        let mut columns = Self::default();
        match setting {
            Setting::Fill(_) => {}
            Setting::Gauge(gauge) => columns.gauge_bar = Some(rounded(gauge.bar(), 4)),
            Setting::Travel(travel) => columns.travel_mm = Some(rounded(travel.mm(), 2)),
            Setting::Lift(lift) => columns.lift_mm = Some(rounded(lift.mm(), 2)),
        }
        columns
    }

    /// With its unit; nothing where it is a fill.
    #[must_use]
    pub fn text(&self, units: Units) -> String {
        let length = |mm: f64| {
            format!(
                "{} {}",
                units.length(Length::from_mm(mm)),
                units.of_length()
            )
        };
        match (self.gauge_bar, self.travel_mm, self.lift_mm) {
            (Some(bar), _, _) => format!("{bar:.2} bar"),
            (_, Some(mm), _) => format!("in {}", length(mm)),
            (_, _, Some(mm)) => format!("lift {}", length(mm)),
            (None, None, None) => String::new(),
        }
    }
}

/// The columns of a setting: bar, travel and lift, mm.
pub fn settings(setting: Setting) -> [Option<f64>; 3] {
    let SettingColumns {
        gauge_bar,
        travel_mm,
        lift_mm,
    } = SettingColumns::of(setting);
    [gauge_bar, travel_mm, lift_mm]
}

/// One of [`settings`] with its unit; nothing where it is a fill.
pub fn set_to([gauge_bar, travel_mm, lift_mm]: [Option<f64>; 3]) -> String {
    let columns = SettingColumns {
        gauge_bar,
        travel_mm,
        lift_mm,
    };
    columns.text(Units::Si)
}

/// How far the pitch rises for a millilitre, a bar or a millimetre more: whichever the bottle is set by.
#[derive(Clone, Copy, Debug, Default, Serialize)]
pub struct SlopeColumns {
    /// Of a fill.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cents_per_ml: Option<f64>,
    /// Of a pressure.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cents_per_bar: Option<f64>,
    /// Of a travel or a lift.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cents_per_mm: Option<f64>,
}

impl SlopeColumns {
    /// The slope in its column.
    #[must_use]
    pub fn of(sounded: &Sounded) -> Self {
        let cents = Some(rounded(sounded.per_unit.cents(), 3));
        let mut columns = Self::default();
        match sounded.setting {
            Setting::Fill(_) => columns.cents_per_ml = cents,
            Setting::Gauge(_) => columns.cents_per_bar = cents,
            Setting::Travel(_) | Setting::Lift(_) => columns.cents_per_mm = cents,
        }
        columns
    }
}

impl PourRow {
    /// The row of `note` in `bottle`.
    pub fn new(note: String, bottle: String, sounded: &Sounded) -> Self {
        let doubt = &sounded.doubt;
        let amounts = Amounts {
            volume: sounded.fill,
            mass: sounded.mass,
            level: sounded.level,
        };
        Self {
            note,
            target_hz: rounded(sounded.target.hz(), 4),
            bottle,
            way: sounded.way.name(),
            fill_ml: rounded(amounts.volume.ml(), 3),
            fill_g: rounded(amounts.mass.g(), 2),
            level_mm: rounded(amounts.level.mm(), 2),
            amounts,
            setting: SettingColumns::of(sounded.setting),
            hz: rounded(sounded.frequency().hz(), 4),
            q: rounded(sounded.quality(), 3),
            error_cents: rounded(sounded.error().cents(), 3),
            plus_minus_cents: rounded(doubt.plus_minus.cents(), 1),
            dominated_by: doubt.dominated_by,
            without_it_cents: rounded(doubt.without_it.cents(), 1),
            remedy: doubt.remedy,
            slope: SlopeColumns::of(sounded),
            range: None,
            other_hz: sounded
                .other
                .map(|o| rounded(o.resonance.frequency.hz(), 4)),
            cautions: sounded.cautions(),
        }
    }

    fn slope(&self, units: Units) -> String {
        let slope = &self.slope;
        match (slope.cents_per_ml, slope.cents_per_bar, slope.cents_per_mm) {
            (Some(cents), _, _) => format!("{:.2}", cents * units.ml()),
            (_, Some(cents), _) => format!("{cents:.0}/bar"),
            (_, _, Some(cents)) => format!("{cents:.1}/mm"),
            (None, None, None) => String::new(),
        }
    }
}

/// Poured notes for people; ways and settings have columns where not all are blown.
pub fn pour_table(rows: &[PourRow], speller: &Speller, units: Units) -> String {
    let mixed = rows.iter().any(|r| r.way != "blown");
    let with_range = rows.iter().any(|r| r.range.is_some());
    let mut header = vec!["note", "target Hz", "bottle"];
    if mixed {
        header.extend(["way", "set to"]);
    }
    let heads = [
        format!("fill {}", units.of_volume()),
        format!("fill {}", units.of_mass()),
        format!("level {}", units.of_length()),
        format!("c/{}", units.of_volume()),
    ];
    let [volume, mass, level, slope] = heads.each_ref().map(String::as_str);
    header.extend([volume, mass, level, "Hz", "cents", "±", "Q", slope]);
    if with_range {
        header.push("range");
    }
    let cells = |r: &PourRow| {
        let mut line = vec![
            speller.text(&r.note),
            format!("{:.2}", r.target_hz),
            r.bottle.clone(),
        ];
        if mixed {
            line.extend([r.way.to_owned(), r.setting.text(units)]);
        }
        line.extend([
            units.volume(r.amounts.volume),
            units.mass(r.amounts.mass),
            units.length(r.amounts.level),
            format!("{:.2}", r.hz),
            signed(r.error_cents, 2),
            format!("{:.0}", r.plus_minus_cents),
            format!("{:.1}", r.q),
            r.slope(units),
        ]);
        if with_range {
            line.push(range_cell(r.range.as_ref(), speller));
        }
        line
    };
    let mut left = if mixed { vec![0, 2, 3, 4] } else { vec![0, 2] };
    left.extend(with_range.then(|| header.len() - 1));
    table(&header, rows.iter().map(cells).collect(), &left)
}

/// Every caution of the rows, once each, a line each.
pub fn cautions_text(rows: &[PourRow]) -> String {
    once_each(rows.iter().flat_map(|row| &row.cautions))
}

/// Lines that may come several times, once each, below an empty one; nothing where there are none.
pub fn once_each<'a>(lines: impl Iterator<Item = &'a &'static str>) -> String {
    let mut seen = BTreeSet::new();
    let text: String = lines
        .filter(|line| seen.insert(**line))
        .map(|line| format!("- {line}\n"))
        .collect();
    match text.is_empty() {
        true => text,
        false => format!("\n{text}"),
    }
}

/// A note whose bottle cannot give it.
#[derive(Serialize)]
pub struct Stuck {
    /// The note.
    pub note: String,
    /// Its bottle.
    pub bottle: String,
    /// Why not.
    pub reason: String,
}

impl Stuck {
    /// A pour of `set`, and why it is stuck.
    pub fn of(set: &Set, pour: &Pour, because: impl fmt::Display) -> Self {
        Self {
            note: pour.note.to_string(),
            bottle: set.kind_of(pour).name.clone(),
            reason: because.to_string(),
        }
    }
}

/// Nothing is stuck, or the failure that says what is.
pub fn none_stuck(stuck: &[Stuck], what: String, way_out: &str) -> Result<(), Failure> {
    if stuck.is_empty() {
        return Ok(());
    }
    let line = |s: &Stuck| format!("{} in {:?}: {}", s.note, s.bottle, s.reason);
    let lines: Vec<String> = stuck.iter().map(line).collect();
    Err(Failure::cannot(what, lines.join("\n")).or_try(way_out))
}
