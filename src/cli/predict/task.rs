//! What is predicted: which bottle, in which way, and what is in it in the room where it is heard.

use super::PredictArgs;
use super::row::Predicted;
use crate::cli::Failure;
use crate::cli::inputs;
use crate::physics::conditions::Conditions;
use crate::physics::joined::Which;
use crate::set::{Kind, Pair, Pour, Set, ShelfOrSet};
use crate::sounding::drift::swollen;
use crate::sounding::{PairOf, Setting, Source, Striking, Wall, Way};
use crate::units::{Length, Pressure, Volume};

/// The file, the room, and what was asked.
pub(super) struct Subject<'a> {
    pub args: &'a PredictArgs,
    preset: &'a ShelfOrSet,
    /// Where it is heard.
    pub conditions: &'a Conditions,
    /// Where the file has it poured.
    poured_at: &'a Conditions,
    striking: Striking,
}

/// One bottle to predict.
pub(super) struct Task<'a> {
    pub kind: &'a Kind,
    /// How it is sounded.
    pub way: Way,
    /// What the set says of it.
    pub pour: Option<&'a Pour>,
    joined: Option<HalfPair<'a>>,
}

/// One bottle of a joined pair.
struct HalfPair<'a> {
    pair: &'a Pair,
    which: Which,
    kinds: [&'a Kind; 2],
}

impl Task<'_> {
    /// The name of the other bottle of its pair.
    pub(super) fn other(&self) -> Option<&str> {
        let joined = self.joined.as_ref()?;
        Some(&joined.kinds[1 - joined.which as usize].name)
    }
}

impl<'a> Subject<'a> {
    pub(super) fn new(
        args: &'a PredictArgs,
        preset: &'a ShelfOrSet,
        conditions: &'a Conditions,
    ) -> Self {
        let poured_at = match preset {
            ShelfOrSet::Set(set) => &set.poured_at,
            ShelfOrSet::Shelf(_) => conditions,
        };
        Self {
            args,
            preset,
            conditions,
            poured_at,
            striking: args.striking.over(preset),
        }
    }

    /// Every pour of a set that is asked for, or every bottle where no pour is.
    pub(super) fn tasks(&self) -> Result<Vec<Task<'a>>, Failure> {
        if let Some(name) = &self.args.bottle {
            inputs::kind(self.preset.kinds(), name, &self.args.file)?;
        }
        let mut tasks = Vec::new();
        if let ShelfOrSet::Set(set) = self.preset {
            tasks.extend(self.pours(set));
        }
        if !tasks.is_empty() {
            return Ok(tasks);
        }
        match self.args.way.unwrap_or_default() {
            Way::Joined => self.pairs(),
            way => {
                let kinds = self.preset.kinds().iter();
                let task = |kind: &'a Kind| Task {
                    kind,
                    way,
                    pour: None,
                    joined: None,
                };
                Ok(kinds.filter(|kind| self.is_asked(kind)).map(task).collect())
            }
        }
    }

    fn is_asked(&self, kind: &Kind) -> bool {
        let name = self.args.bottle.as_ref();
        name.is_none_or(|name| kind.name == *name)
    }

    /// The pours as they are sounded, or those of the way that was asked for. Every bottle can be blown.
    fn pours(&self, set: &'a Set) -> Vec<Task<'a>> {
        let asked = self.args.way;
        let wanted = |p: &&Pour| {
            let way = asked.is_none_or(|way| way == Way::Blown || way == p.way);
            way && self.is_asked(set.kind_of(p))
        };
        let task = |pour: &'a Pour| {
            let way = asked.unwrap_or(pour.way);
            let joined = pour.joined.filter(|_| way == Way::Joined);
            Task {
                kind: set.kind_of(pour),
                way,
                pour: Some(pour),
                joined: joined.map(|(pair, which)| HalfPair::of(set, &set.pairs[pair], which)),
            }
        };
        let mut tasks: Vec<Task<'a>> = set.pours.iter().filter(wanted).map(task).collect();
        // A sweep over the bottle of a name is one curve where it is blown, whichever its notes are.
        if self.args.bottle.is_some() && self.args.sweep.is_some() {
            let mut seen = false;
            tasks.retain(|task| task.way != Way::Blown || !std::mem::replace(&mut seen, true));
        }
        tasks
    }

    /// Both bottles of every pair, or the named one.
    fn pairs(&self) -> Result<Vec<Task<'a>>, Failure> {
        let refused = |because: &str, way_out: &str| {
            let what = format!("predict a joined pair of {}", self.args.file.display());
            Failure::bad(what, because).or_try(way_out)
        };
        let ShelfOrSet::Set(set) = self.preset else {
            return Err(refused(
                "a shelf has no pairs",
                "use a set with a [[joined]] table",
            ));
        };
        let both = set
            .pairs
            .iter()
            .flat_map(|pair| [Which::First, Which::Second].map(|which| (pair, which)));
        let task = |(pair, which)| {
            let half = HalfPair::of(set, pair, which);
            Task {
                kind: half.kinds[which as usize],
                way: Way::Joined,
                pour: None,
                joined: Some(half),
            }
        };
        let tasks: Vec<Task<'a>> = both
            .map(task)
            .filter(|task| self.is_asked(task.kind))
            .collect();
        if tasks.is_empty() {
            return Err(refused(
                "no pair of it has that bottle",
                "add a [[joined]] table to the set, or name another --bottle",
            ));
        }
        Ok(tasks)
    }

    /// A task under `now`: as it is set there, or as it is `turned`.
    pub(super) fn at<'t>(
        &self,
        task: &'t Task<'a>,
        now: &'t Conditions,
        turned: Option<Setting>,
    ) -> Result<Predicted<'t>, Failure> {
        let fill = self.fill(task, now)?;
        let setting = match turned {
            Some(turned) => turned,
            None => self.setting(task, fill)?,
        };
        let source = self.source(task, now, fill);
        Ok(Predicted { source, setting })
    }

    /// Liquid in it under `now`: what was asked for is measured there; what the file says has swollen since it was
    /// poured, and what was weighed keeps its grams.
    fn fill(&self, task: &Task<'_>, now: &Conditions) -> Result<Volume, Failure> {
        if let Some(fill_g) = self.args.fill_g {
            let density = now.liquid.density_kg_m3(now.temperature());
            let density = density.map_err(|error| Failure::bad("weigh the liquid", error))?;
            return Ok(Volume::from_m3(fill_g / 1000.0 / density));
        }
        if let Some(fill_ml) = self.args.fill_ml {
            return Ok(Volume::from_ml(fill_ml));
        }
        let poured = task.pour.and_then(|pour| pour.fill);
        Ok(poured.map_or_else(Volume::default, |fill| swollen(fill, self.poured_at, now)))
    }

    /// What was asked for, else what the file says, else nothing in, pushed or lifted.
    fn setting(&self, task: &Task<'_>, fill: Volume) -> Result<Setting, Failure> {
        let args = self.args;
        let planned = |of: fn(&Pour) -> Option<Length>| task.pour.and_then(of).unwrap_or_default();
        Ok(match task.way {
            Way::Blown | Way::Struck => Setting::Fill(fill),
            Way::Pressurised => {
                let asked = args.gauge_bar.map(Pressure::from_bar);
                let gauge = asked.or(task.pour.and_then(|pour| pour.gauge));
                Setting::Gauge(gauge.ok_or_else(|| {
                    let what = format!("predict {:?} pressurised", task.kind.name);
                    Failure::bad(what, "its pressure is not known")
                        .or_try("give --gauge-bar, the pressure above the air outside")
                })?)
            }
            Way::Sliding => {
                let asked = args.travel_mm.map(Length::from_mm);
                Setting::Travel(asked.unwrap_or_else(|| planned(|pour| pour.travel)))
            }
            Way::Joined => {
                let asked = args.lift_mm.map(Length::from_mm);
                Setting::Lift(asked.unwrap_or_else(|| planned(|pour| pour.lift)))
            }
        })
    }

    fn source<'t>(&self, task: &'t Task<'a>, now: &'t Conditions, fill: Volume) -> Source<'t> {
        let bottle = &task.kind.bottle;
        let wall = Wall {
            striking: self.striking,
            fits: &task.kind.fits,
        };
        match (task.way, &task.joined) {
            (Way::Struck, _) => Source::struck(bottle, now, wall),
            (Way::Pressurised, _) => Source::pressurised(bottle, now, wall, fill),
            (Way::Sliding, _) => Source::sliding(bottle, now),
            (Way::Joined, Some(half)) => {
                let pair = PairOf {
                    bottles: half.kinds.map(|kind| &kind.bottle),
                    hose: half.pair.hose,
                    liquid: swollen(half.pair.liquid, self.poured_at, now),
                    which: half.which,
                };
                Source::joined(pair, now)
            }
            // Tasks of the joined way are made with their pair.
            (Way::Blown | Way::Joined, _) => Source::blown(bottle, now),
        }
    }
}

impl<'a> HalfPair<'a> {
    fn of(set: &'a Set, pair: &'a Pair, which: Which) -> Self {
        Self {
            pair,
            which,
            kinds: pair.kinds.map(|kind| &set.kinds[kind]),
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use clap::Parser;

    use super::*;
    use crate::cli::commands::{Cli, Command};
    use crate::physics::liquid::Liquid;
    use crate::set::read_any;
    use crate::units::Temperature;

    const SET: &str = "version = 1\n[[bottle]]\nname = \"jar\"\ncount = 2\ncapacity_ml = 500\nmouth_bore_mm = 18\n\
                       neck_length_mm = 60\nbody_diameter_mm = 66\n[[pour]]\nnote = \"C4\"\nbottle = \"jar\"\n\
                       fill_ml = 200\n[[pour]]\nnote = \"D4\"\nbottle = \"jar\"\nfill_ml = 250\n";

    /// The fills of what is predicted of the set in a room of 40 °C, ml.
    fn fills_ml(options: &[&str]) -> Vec<f64> {
        let typed = [
            &["ullage", "predict", "jar.toml", "--temp-c", "40"],
            options,
        ]
        .concat();
        let Command::Predict(args) = Cli::try_parse_from(typed).unwrap().command else {
            panic!("predict was typed");
        };
        let preset = read_any(SET).unwrap();
        let ShelfOrSet::Set(set) = &preset else {
            panic!("it has notes");
        };
        let warm = inputs::conditions(&set.conditions, &args.room).unwrap();
        let subject = Subject::new(&args, &preset, &warm);
        let tasks = subject.tasks().unwrap();
        let fill = |task: &Task<'_>| subject.at(task, &warm, None).unwrap().setting.value();
        tasks.iter().map(fill).collect()
    }

    #[test]
    fn what_the_file_has_in_a_bottle_swells_where_it_is_heard_and_what_is_asked_for_does_not() {
        let density = |c| Liquid::Water.density_kg_m3(Temperature::from_c(c)).unwrap();
        let swells = density(20.0) / density(40.0);
        assert!(swells > 1.005, "water is thinner at 40 °C");
        let swollen = fills_ml(&[]);
        assert_eq!(swollen.len(), 2);
        for (ml, poured_ml) in swollen.into_iter().zip([200.0, 250.0]) {
            assert!((ml / (poured_ml * swells) - 1.0).abs() < 1e-12, "{ml} ml");
        }
        assert_eq!(fills_ml(&["--way", "struck"]), [0.0]);
        assert_eq!(fills_ml(&["--fill-ml", "200"]), [200.0, 200.0]);
        let weighed = fills_ml(&["--fill-g", "200", "--bottle", "jar"]);
        let expected_ml = 1e6 * 0.2 / density(40.0);
        assert!(
            (weighed[0] / expected_ml - 1.0).abs() < 1e-12,
            "{weighed:?}"
        );
    }
}
