//! What is asked of a plan, and what comes of it.

use std::path::Path;
use std::sync::Arc;

use super::files::Purpose;
use super::making::{PlanAsk, PlanField, WantedFrom, Wish, Wishes};
use super::planning::{Planning, Task};
use super::session::Session;
use super::state::Place;
use super::trouble::Trouble;
use crate::file::piece;
use crate::plan::keys::Moved;
use crate::plan::spelling::key_of;
use crate::plan::wanted::{checked, parse_wanted, scale};
use crate::tuning::{NoteName, PitchClass, Tuning};
use crate::units::Frequency;

/// Bottles from which on "as far as they go" is an octave and a half, and not all that they could.
const SPAN_SEMITONES: u8 = 19;

impl Session {
    /// Does what was asked of the plan.
    pub(super) fn plan(&mut self, ask: PlanAsk) {
        match ask {
            PlanAsk::Wish(wish) => self.wish(wish),
            PlanAsk::ChoosePiece => self.ask_for(Purpose::PlannedPiece),
            PlanAsk::Piece(path) => self.plan_piece(&path),
            PlanAsk::Begin => self.begin_plan(),
            PlanAsk::Cancel => {
                if let Some(planning) = self.planning.take() {
                    planning.stop();
                }
                self.making.progress = None;
            }
            PlanAsk::InKey(place) => {
                let Some(planned) = &self.making.planned else {
                    return;
                };
                let Some(key) = planned.keys.get(place) else {
                    return;
                };
                let begun = Planning::in_key(planned, key.semitones);
                self.follow_plan(begun);
            }
            PlanAsk::Use => {
                let Some(planned) = self.making.planned.take() else {
                    return;
                };
                self.editing.adopt(planned.document);
                self.state.selected = None;
                self.rebuild();
                self.settle_place();
                self.state.selected = self.derived().order.first().copied();
                self.state.place = Place::Play;
                self.say("This is the set now. Undo brings the one before back.");
            }
        }
    }

    fn wish(&mut self, wish: Wish) {
        let wishes = &mut self.making.wishes;
        match wish {
            Wish::From(from) => wishes.from = from,
            Wish::Tonic(tonic) => wishes.tonic = tonic,
            Wish::Scale(scale) => wishes.scale = scale,
            Wish::Lowest(text) => wishes.ends[0] = text,
            Wish::Highest(text) => wishes.ends[1] = text,
            Wish::Notes(text) => wishes.notes = text,
            Wish::Way(way, true) => {
                wishes.ways.insert(way);
            }
            Wish::Way(way, false) => {
                wishes.ways.remove(&way);
            }
            Wish::Temperament(temperament) => wishes.temperament = temperament,
            Wish::A4(text) => wishes.a4 = text,
        }
        wishes.problems.clear();
    }

    fn plan_piece(&mut self, path: &Path) {
        let opened = match piece::open(path) {
            Ok(opened) => opened,
            Err(error) => return self.complain(Trouble::from(error)),
        };
        let key = key_of(&opened.score);
        let notes = opened.score.keys().into_iter();
        let notes = notes.map(|midi| key.spelled(midi)).collect();
        let wishes = &mut self.making.wishes;
        match checked(notes, "this piece") {
            Ok(notes) => {
                wishes.piece = Some((path.to_path_buf(), notes, key));
                wishes.from = WantedFrom::Piece;
                wishes.problems.clear();
            }
            Err(error) => {
                wishes.problems.insert(PlanField::Piece, error.to_string());
            }
        }
    }

    fn begin_plan(&mut self) {
        self.plan(PlanAsk::Cancel);
        let task = match self.task() {
            Ok(task) => task,
            Err((field, because)) => {
                let problems = &mut self.making.wishes.problems;
                problems.insert(field, because);
                return;
            }
        };
        self.making.planned = None;
        self.follow_plan(Planning::begin(task));
    }

    fn follow_plan(&mut self, begun: std::io::Result<Planning>) {
        match begun {
            Ok(planning) => {
                self.making.progress = Some(planning.progress());
                self.planning = Some(planning);
            }
            Err(error) => self.complain(Trouble::cannot("begin a plan", error)),
        }
    }

    /// Looks how the plan stands; once a frame.
    pub(super) fn poll_plan(&mut self) {
        let Some(planning) = &self.planning else {
            return;
        };
        let ended = planning.ended();
        self.making.progress = Some(planning.progress());
        let Some(ended) = ended else { return };
        self.planning = None;
        self.making.progress = None;
        match ended {
            Ok(Some(planned)) => self.making.planned = Some(planned),
            Ok(None) => {}
            Err(trouble) => self.complain(trouble),
        }
    }

    /// What is to be planned, or what is wrong and where.
    fn task(&self) -> Result<Task, (PlanField, String)> {
        let wishes = &self.making.wishes;
        let document = self.document();
        if wishes.ways.is_empty() {
            let because = "Choose at least one way of playing them.".to_owned();
            return Err((PlanField::Ways, because));
        }
        let (wanted, title) = self.wanted(wishes)?;
        let hz: f64 = (wishes.a4.trim().trim_end_matches("Hz").trim())
            .replace(',', ".")
            .parse()
            .map_err(|_| {
                let because = format!("{:?} is not a pitch in hertz, such as 440", wishes.a4);
                (PlanField::A4, because)
            })?;
        let tonic = wishes.tonic.parse().unwrap_or_default();
        let a4 = Frequency::from_hz(hz);
        let tuning = Tuning::new(a4, wishes.temperament.clone(), tonic)
            .map_err(|error| (PlanField::A4, error.to_string()))?;
        let source = document.text();
        let source = source.map_err(|error| (PlanField::Notes, error.to_string()))?;
        Ok(Task {
            source,
            set: Arc::new(document.set()),
            conditions: document.model.conditions.clone(),
            tuning,
            ways: wishes.ways.iter().copied().collect(),
            wanted,
            title,
            is_piece: wishes.from == WantedFrom::Piece,
        })
    }

    /// The notes that are wanted, and what to call them.
    fn wanted(&self, wishes: &Wishes) -> Result<(Moved, String), (PlanField, String)> {
        match wishes.from {
            WantedFrom::Scale => {
                let text = format!("{} {}", wishes.tonic, wishes.scale);
                let notes = self.scale(wishes, &text)?;
                Ok((Moved::of(notes), text))
            }
            WantedFrom::Notes => {
                let notes = parse_wanted(&wishes.notes)
                    .map_err(|error| (PlanField::Notes, error.to_string()))?;
                Ok((Moved::of(notes), "My notes".to_owned()))
            }
            WantedFrom::Piece => {
                let Some((path, notes, key)) = &wishes.piece else {
                    return Err((PlanField::Piece, "Choose a piece first.".to_owned()));
                };
                let name = path.file_stem().unwrap_or_default().to_string_lossy();
                let moved = Moved {
                    notes: notes.clone(),
                    key: *key,
                    transpose: 0,
                };
                Ok((moved, name.into_owned()))
            }
        }
    }

    /// The notes of the scale between its ends; where one is open, as far as the bottles go and as many as there are.
    fn scale(&self, wishes: &Wishes, text: &str) -> Result<Vec<NoteName>, (PlanField, String)> {
        let wrong = |error: &dyn std::fmt::Display| (PlanField::Ends, error.to_string());
        let end = |text: &str| -> Result<Option<NoteName>, (PlanField, String)> {
            match text.trim() {
                "" => Ok(None),
                text => text.parse().map(Some).map_err(|error| wrong(&error)),
            }
        };
        let (from, to) = (end(&wishes.ends[0])?, end(&wishes.ends[1])?);
        let count: usize = self
            .document()
            .fixed
            .kinds
            .iter()
            .map(|k| k.count as usize)
            .sum();
        let reach = self.reach_keys();
        let tonic = wishes
            .tonic
            .parse()
            .map_err(|error: crate::tuning::NoteError| wrong(&error))?;
        let low = from.map_or_else(|| lowest_tonic(reach.0, tonic), |note| note.midi());
        let high = to.map_or_else(
            || reach.1.min(low.saturating_add(SPAN_SEMITONES)),
            |n| n.midi(),
        );
        let low = NoteName::from_midi(low);
        let high = NoteName::from_midi(high.max(low.midi()).min(127));
        let mut notes = scale(text, low, high).map_err(|error| wrong(&error))?;
        if to.is_none() {
            notes.truncate(count.max(1));
        }
        Ok(notes)
    }

    /// The lowest and the highest key that the bottles reach, as far as that is worked out.
    fn reach_keys(&self) -> (u8, u8) {
        let near = |pitch: Frequency| f64::from(Tuning::default().nearest(pitch).0.midi());
        let known: Vec<_> = self.making.reach.values().flatten().collect();
        let low = known
            .iter()
            .map(|r| near(r.lowest))
            .fold(f64::MAX, f64::min);
        let high = known.iter().map(|r| near(r.highest)).fold(0.0, f64::max);
        if known.is_empty() {
            return (55, 72);
        }
        ((low + 1.0).min(127.0) as u8, high as u8)
    }
}

/// The lowest key from `low` up that is the tonic, if it is within a fifth; else `low` itself.
fn lowest_tonic(low: u8, tonic: PitchClass) -> u8 {
    let found = (low..=low.saturating_add(7).min(127)).find(|key| key % 12 == tonic.number());
    found.unwrap_or(low)
}
