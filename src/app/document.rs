//! A set and its file: what can be edited and undone, and when it is read and written.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use rayon::prelude::*;

use crate::file::atomic::{Overwrite, WriteError, write_whole};
use crate::index::PourIndex;
use crate::physics::conditions::Conditions;
use crate::physics::reverberation::Listening;
use crate::set::edit::{EditError, Restructure, SetText, bottles, restructured};
use crate::set::{self, HeardPitch, OpenError, Pour, Set, SetError, Striking, Way};
use crate::set::{read_set, written};
use crate::sounding::{Setting, drift::swollen};
use crate::tuning::Tuning;
use crate::units::{Frequency, Volume};

/// Why a set was not opened, changed or saved.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum DocumentError {
    /// Its file cannot be opened, or is no set.
    #[error(transparent)]
    Open(#[from] OpenError),
    /// Its bottles cannot be fitted to what was heard of them.
    #[error("cannot keep what was heard: {0}")]
    Refit(#[source] EditError),
    /// Somebody else has written it since it was read.
    #[error("{} has been changed by another program since it was opened", path.display())]
    Changed {
        /// The file.
        path: PathBuf,
    },
    /// It is no set.
    #[error("cannot use it: {0}")]
    Set(#[source] SetError),
    /// It has no file yet.
    #[error("it has no file yet")]
    Unnamed,
    /// Its text cannot hold what it is now.
    #[error("cannot write it into the file's text: {0}")]
    Edit(#[source] EditError),
    /// The system refuses.
    #[error(transparent)]
    Write(#[from] WriteError),
}

/// The half of a [`Set`] that can be edited, and undone. The other half, its bottles, is [`Document::fixed`].
#[derive(Clone, Debug, PartialEq)]
pub struct Model {
    /// The room, the filling and the lips, now: [`Set::conditions`].
    pub conditions: Conditions,
    /// Those in which what is set was set: [`Set::poured_at`]. What a pair or a bottle under pressure holds is not set, and
    /// is as it was poured by [`Document::fixed`].
    pub poured_at: Conditions,
    /// What the notes mean.
    pub tuning: Tuning,
    /// Which note is in which bottle; a fill is the volume at [`Model::poured_at`].
    pub pours: Vec<Pour>,
    /// The pitches heard from each kind of bottle, which [`Document::fixed`] is fitted to.
    pub heard: Vec<Vec<HeardPitch>>,
}

impl Model {
    /// Takes it out of `set`, which keeps the bottles.
    fn of(set: &mut Set) -> Self {
        Self {
            poured_at: set.poured_at.clone(),
            conditions: set.conditions.clone(),
            tuning: set.tuning.clone(),
            pours: std::mem::take(&mut set.pours),
            heard: set.kinds.iter().map(|kind| kind.heard.clone()).collect(),
        }
    }

    /// The set that it makes with the bottles of `fixed`.
    fn on(&self, fixed: &Set) -> Set {
        let mut pours = self.pours.clone();
        // All that is set was set at `poured_at`; the liquid under a pressure stands beside the pairs', where it was poured.
        let beside = |pour: &&mut Pour| !matches!(pour.way, Way::Blown | Way::Struck);
        for pour in pours.iter_mut().filter(beside) {
            let poured = |fill| swollen(fill, &fixed.poured_at, &self.poured_at);
            pour.fill = pour.fill.map(poured);
        }
        Set {
            conditions: self.conditions.clone(),
            tuning: self.tuning.clone(),
            pours,
            ..Set::clone(fixed).restated(&self.poured_at)
        }
    }

    /// What a bottle is set to now, as [`Set::setting`] has it. Nothing where its note cannot be reached.
    #[must_use]
    pub fn setting(&self, index: PourIndex) -> Option<Setting> {
        self.pours[index].setting_under(&self.poured_at, &self.conditions)
    }

    /// What is in a bottle now, of those that are tuned by it.
    #[must_use]
    pub fn fill(&self, index: PourIndex) -> Option<Volume> {
        self.setting(index)?.fill()
    }

    /// Changes what a bottle is set to now.
    pub fn set(&mut self, index: PourIndex, setting: Setting) {
        self.pours[index].set_to(setting.moved(&self.conditions, &self.poured_at));
    }

    /// The pitch that a pour aims at.
    #[must_use]
    pub fn target(&self, index: PourIndex) -> Frequency {
        self.tuning.frequency(&self.pours[index].note)
    }

    /// Every bottle set anew, for the conditions as they are; one whose note is out of reach keeps what it has.
    pub fn pour_again(&mut self, fixed: &Set) {
        let count = self.pours.len();
        let now: Vec<Option<Setting>> = PourIndex::all(count).map(|i| self.setting(i)).collect();
        self.poured_at = self.conditions.clone();
        let solved: Vec<Option<Setting>> = (0..count)
            .into_par_iter()
            .map(|index| self.solved(PourIndex::new(index), fixed))
            .collect();
        for (index, (solved, before)) in PourIndex::all(count).zip(solved.into_iter().zip(now)) {
            if let Some(setting) = solved.or(before) {
                self.set(index, setting);
            }
        }
    }

    /// The setting that gives a bottle its note under the conditions as they are.
    #[must_use]
    pub fn solved(&self, index: PourIndex, fixed: &Set) -> Option<Setting> {
        let source = fixed.source_under(&self.pours[index], &self.conditions);
        Some(source.solved(self.target(index)).ok()?.setting)
    }
}

/// What a new crate begins with.
const EMPTY_CRATE: &str = "# Bottles in the crate.\nversion = 1\n";

/// A set, or a crate of bottles that has no notes yet, and its file.
#[derive(Clone, Debug)]
pub struct Document {
    /// Where it is; empty as long as it has no file.
    pub path: PathBuf,
    /// What to call it.
    pub title: String,
    /// Its kinds of bottle, fitted to what was heard from them, the pairs of them and what strikes them; without pours.
    pub fixed: Arc<Set>,
    /// As it is now.
    pub model: Model,
    /// As the text has it.
    saved: Arc<Model>,
    /// The text that its changes are written into.
    source: Arc<str>,
    /// The text of the file as it was read or written last.
    on_disk: Arc<str>,
}

impl Document {
    /// Reads a set or a shelf.
    ///
    /// # Errors
    /// [`DocumentError::Open`].
    pub fn open(path: &Path) -> Result<Self, DocumentError> {
        let source = set::file_text(path)?;
        let set = set::open_text(path, &source)?;
        Ok(Self::new(path, source, set))
    }

    /// An empty crate that has no file.
    #[must_use]
    pub fn blank() -> Self {
        let conditions = Conditions::default();
        let set = Set {
            title: String::new(),
            transpose: 0,
            poured_at: conditions.clone(),
            conditions,
            listening: Listening::default(),
            tuning: Tuning::default(),
            striking: Striking::default(),
            kinds: Vec::new(),
            pairs: Vec::new(),
            pours: Vec::new(),
        };
        Self::new(Path::new(""), EMPTY_CRATE.to_owned(), set)
    }

    /// A set or a shelf from its text, which has no file: an example, of which nothing is lost when it is left.
    ///
    /// # Errors
    /// [`DocumentError::Set`].
    pub fn example(text: &str) -> Result<Self, DocumentError> {
        let set = read_set(text).map_err(DocumentError::Set)?;
        Ok(Self::new(Path::new(""), text.to_owned(), set))
    }

    /// The same of a text that nobody has saved yet.
    ///
    /// # Errors
    /// [`DocumentError::Set`].
    pub fn unsaved(text: &str) -> Result<Self, DocumentError> {
        Ok(Self {
            on_disk: Arc::from(""),
            ..Self::example(text)?
        })
    }

    /// Whether it has no file yet.
    #[must_use]
    pub fn is_unnamed(&self) -> bool {
        self.path.as_os_str().is_empty()
    }

    /// What to call it: its title, else its file's name.
    #[must_use]
    pub fn called(&self) -> String {
        if !self.title.is_empty() {
            return self.title.clone();
        }
        match self.path.file_name() {
            Some(name) => name.to_string_lossy().into_owned(),
            None if self.fixed.kinds.is_empty() => "Empty crate".to_owned(),
            None => "New set".to_owned(),
        }
    }

    /// The same with other bottles or notes.
    ///
    /// # Errors
    /// [`DocumentError::Edit`] or [`DocumentError::Set`].
    pub fn restructured(&self, change: &Restructure) -> Result<Self, DocumentError> {
        let text = restructured(&self.text()?, change).map_err(DocumentError::Edit)?;
        let mut set = match read_set(&text) {
            Ok(set) => set,
            Err(SetError::Empty) => Set::clone(&Self::blank().fixed),
            Err(error) => return Err(DocumentError::Set(error)),
        };
        (set.listening, set.transpose) = (self.fixed.listening, self.fixed.transpose);
        Ok(Self {
            title: self.title.clone(),
            on_disk: Arc::clone(&self.on_disk),
            ..Self::new(&self.path, text, set)
        })
    }

    /// The bottles as they are written in its text.
    ///
    /// # Errors
    /// [`DocumentError::Edit`].
    pub fn written_bottles(&self) -> Result<Vec<written::Bottle>, DocumentError> {
        bottles(&self.text()?).map_err(DocumentError::Edit)
    }

    /// An earlier or later state of it, beside the file as it is now.
    pub(super) fn beside_file_of(mut self, now: &Self) -> Self {
        if self.path == now.path {
            self.on_disk = Arc::clone(&now.on_disk);
        }
        self
    }

    fn new(path: &Path, source: String, set: Set) -> Self {
        let mut set = set;
        let mut model = Model::of(&mut set);
        for index in PourIndex::all(model.pours.len()) {
            if model.setting(index).is_none()
                && let Some(setting) = model.solved(index, &set)
            {
                model.set(index, setting);
            }
        }
        Self {
            path: path.to_path_buf(),
            title: set.title.clone(),
            fixed: Arc::new(set),
            saved: Arc::new(model.clone()),
            model,
            on_disk: source.as_str().into(),
            source: source.into(),
        }
    }

    /// The same set in another room, from which it counts as opened.
    #[must_use]
    pub fn in_room(mut self, conditions: Conditions) -> Self {
        self.model.conditions = conditions;
        self.saved = Arc::new(self.model.clone());
        self
    }

    /// The same set playing pieces moved by semitones.
    #[must_use]
    pub fn playing_moved(mut self, semitones: i32) -> Self {
        Arc::make_mut(&mut self.fixed).transpose = semitones;
        self
    }

    /// The same set heard from elsewhere; its file keeps its own place.
    #[must_use]
    pub fn heard_from(mut self, listening: Listening) -> Self {
        Arc::make_mut(&mut self.fixed).listening = listening;
        self
    }

    /// Whether there is something to save.
    #[must_use]
    pub fn is_changed(&self) -> bool {
        self.source != self.on_disk || self.model != *self.saved
    }

    /// The set as it is now.
    #[must_use]
    pub fn set(&self) -> Set {
        self.model.on(&self.fixed)
    }

    /// The kinds of bottle fitted to `heard`, one list a kind, in place of what is in the file.
    ///
    /// # Errors
    /// [`DocumentError::Refit`]: a pitch that no bottle of these dimensions gives, or a file in which it could not be
    /// written.
    pub fn refitted(&self, heard: &[Vec<HeardPitch>]) -> Result<Arc<Set>, DocumentError> {
        let refit = || {
            let mut text = SetText::parse(&self.source)?;
            self.set_heard(&mut text, heard)?;
            text.finish()
        };
        let set = refit().map_err(DocumentError::Refit)?.set;
        Ok(Arc::new(Set {
            kinds: set.kinds,
            ..Set::clone(&self.fixed)
        }))
    }

    /// The file's text with what is now: comments, order and everything that did not change stay as they are.
    ///
    /// # Errors
    /// [`DocumentError::Edit`].
    pub fn text(&self) -> Result<String, DocumentError> {
        if self.fixed.kinds.is_empty() {
            return Ok(self.source.to_string());
        }
        let edit = || {
            let mut text = SetText::parse(&self.source)?;
            // A file has one room: what is in the bottles is stated as it is there.
            let now = self.set().restated(&self.model.conditions);
            text.set_conditions(&now.conditions)?;
            text.set_tuning(&now.tuning)?;
            for (index, pair) in now.pairs.iter().enumerate() {
                text.set_liquid(index, pair.liquid)?;
            }
            for (index, pour) in PourIndex::each(&now.pours) {
                text.set_note(index, pour.note)?;
                let fill = pour.fill.map(Setting::Fill);
                for setting in fill.into_iter().chain(pour.setting()) {
                    text.set_pour(index, setting)?;
                }
            }
            self.set_heard(&mut text, &self.model.heard)?;
            text.finish()
        };
        Ok(edit().map_err(DocumentError::Edit)?.text)
    }

    /// Writes what was heard; what has no temperature was heard in the room that the file had when it was opened.
    fn set_heard(&self, text: &mut SetText, heard: &[Vec<HeardPitch>]) -> Result<(), EditError> {
        let (then, now) = (self.fixed.poured_at.temperature(), text.temperature());
        let noted = |pitch: &HeardPitch| match then == now {
            true => *pitch,
            false => pitch.noted(then),
        };
        for (kind, heard) in self.fixed.kinds.iter().zip(heard) {
            let heard: Vec<HeardPitch> = heard.iter().map(noted).collect();
            text.set_heard(&kind.name, &heard)?;
        }
        Ok(())
    }

    /// Writes the set into its file, if nobody else has changed it.
    ///
    /// # Errors
    /// See [`DocumentError`]; the old file is whole after it. [`DocumentError::Unnamed`] if there is none yet.
    pub fn save(&mut self) -> Result<(), DocumentError> {
        if self.is_unnamed() {
            return Err(DocumentError::Unnamed);
        }
        let is_known = |now: Vec<u8>| now == self.on_disk.as_bytes();
        let unchanged = std::fs::read(&self.path).map_or(true, is_known);
        if !unchanged {
            return Err(DocumentError::Changed {
                path: self.path.clone(),
            });
        }
        self.write(&self.path.clone())
    }

    /// Writes the set into another file and goes on with that one.
    ///
    /// # Errors
    /// See [`DocumentError`].
    pub fn save_as(&mut self, path: &Path) -> Result<(), DocumentError> {
        self.write(path)?;
        self.path = path.to_path_buf();
        Ok(())
    }

    fn write(&mut self, path: &Path) -> Result<(), DocumentError> {
        let text = self.text()?;
        write_whole(path, text.as_bytes(), Overwrite::Yes)?;
        self.source = text.into();
        self.on_disk = Arc::clone(&self.source);
        self.saved = Arc::new(self.model.clone());
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "# ours\n[room]\ntemp_c = 20 # by the window\n[[bottle]]\nname = \"a\"\ncount = 2\n\
        capacity_ml = 500\nmouth_bore_mm = 18\nneck_length_mm = 60\nbody_diameter_mm = 66\n\
        [[pour]] # first\nnote = \"A3\"\nbottle = \"a\"\nfill_ml = 200.0 # by hand\n\
        [[pour]]\nnote = \"B3\"\nbottle = \"a\"\nfill_ml = 230\n";

    fn document() -> (tempfile::TempDir, Document) {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("set.toml");
        std::fs::write(&path, TEXT).expect("a file");
        let document = Document::open(&path).expect("a set");
        (folder, document)
    }

    #[test]
    fn what_did_not_change_is_written_as_it_was() {
        let (_folder, document) = document();
        assert_eq!(document.text().expect("text"), TEXT);
    }

    #[test]
    fn a_changed_fill_keeps_every_comment() {
        let (_folder, mut document) = document();
        document.model.conditions.room.temperature = crate::units::Temperature::from_c(25.0);
        // Poured in that warmth: what was in it before would have swollen.
        document
            .model
            .set(PourIndex::new(0), Setting::Fill(Volume::from_ml(210.125)));
        let text = document.text().expect("text");
        for line in [
            "# ours",
            "temp_c = 25.0 # by the window",
            "[[pour]] # first",
        ] {
            assert!(text.contains(line), "{text}");
        }
        assert!(
            text.contains("fill_ml = 210.13 # by hand")
                || text.contains("fill_ml = 210.12 # by hand"),
            "{text}"
        );
    }

    #[test]
    fn a_file_that_another_program_has_changed_is_not_overwritten() {
        let (_folder, mut document) = document();
        let theirs = TEXT.replace("200.0", "201.0");
        std::fs::write(&document.path, &theirs).expect("a file");
        document
            .model
            .set(PourIndex::new(1), Setting::Fill(Volume::from_ml(100.0)));
        assert!(matches!(
            document.save(),
            Err(DocumentError::Changed { .. })
        ));
        let kept = std::fs::read_to_string(&document.path).expect("a file");
        assert_eq!(kept, theirs);
    }

    #[test]
    fn what_warmth_does_to_a_fill_is_undone_by_cold() {
        let (_folder, mut document) = document();
        let before = document.model.fill(PourIndex::new(0)).expect("a fill");
        document.model.conditions.room.temperature = crate::units::Temperature::from_c(35.0);
        let warm = document.model.fill(PourIndex::new(0)).expect("a fill");
        assert!(warm > before);
        document.model.conditions = document.model.poured_at.clone();
        assert_eq!(document.model.fill(PourIndex::new(0)), Some(before));
    }

    /// Whether what is played, shown and written of every pour of `document` is the same: what is in the bottles has swollen
    /// once, wherever one looks.
    fn agrees(document: &Document) {
        let Document { model, fixed, .. } = document;
        let played = document.set();
        let text = document.text().expect("text");
        let read = crate::set::read_set(&text).expect("a set");
        for (index, pour) in PourIndex::each(&played.pours) {
            let Some(setting) = model.setting(index) else {
                continue;
            };
            assert_eq!(played.setting(pour), Some(setting), "{}", pour.note);
            let source = fixed.source_under(&model.pours[index], &model.conditions);
            let shown = source.at(setting).expect("a pitch").frequency;
            let sounds = played.sounded_pour(pour).expect("a pitch").frequency();
            let cents = sounds.interval_above(shown).cents();
            assert!(cents.abs() < 1e-6, "{}: {cents} cents", pour.note);
            let written = read.sounded_pour(&read.pours[index]).expect("a pitch");
            let cents = written.frequency().interval_above(shown).cents();
            // Half of a file's last digit: of the setting, and a little for what else was rounded.
            let half_digit = match setting {
                Setting::Gauge(_) => 0.5e-4,
                Setting::Fill(_) | Setting::Travel(_) | Setting::Lift(_) => 0.5e-2,
            };
            let limit = 1.1 * half_digit * written.per_unit.cents().abs() + 0.05;
            let note = pour.note;
            assert!(
                cents.abs() < limit,
                "{note}: {cents} cents in the file, of {limit}"
            );
        }
    }

    #[test]
    fn what_is_in_the_bottles_swells_once_whether_it_is_played_shown_or_written() {
        let mut sets = 0;
        for folder in std::fs::read_dir("presets").expect("the presets") {
            let path = folder.expect("a folder").path().join("set.toml");
            if !path.exists() {
                continue;
            }
            sets += 1;
            let mut document = Document::open(&path).expect("a set");
            document.model.conditions = document.model.conditions.warmed_by_k(8.0);
            agrees(&document);
            let fixed = document.fixed.clone();
            document.model.pour_again(&fixed);
            document.model.conditions = document.model.conditions.warmed_by_k(-14.0);
            agrees(&document);
        }
        assert!(sets > 3, "{sets} sets");
    }

    #[test]
    fn a_crate_without_notes_is_opened_and_kept_as_it_is() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("set.toml");
        let bottles = TEXT.split("[[pour]]").next().expect("the bottles");
        std::fs::write(&path, bottles).expect("a file");
        let opened = Document::open(&path).expect("a crate");
        assert!(opened.set().pours.is_empty() && !opened.set().kinds.is_empty());
        assert!(!opened.is_changed());
    }
}
