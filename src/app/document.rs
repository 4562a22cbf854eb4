//! A set and its file: what can be edited, and how it goes back into the file with its comments.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use rayon::prelude::*;
use toml_edit::{DocumentMut, Item, Table, TableLike, Value};

use super::kept;
use crate::cli::Failure;
use crate::file::atomic::{Overwrite, WriteError, write_whole};
use crate::number::rounded;
use crate::physics::conditions::Conditions;
use crate::set::{self, HeardPitch, Pour, Set, read_set};
use crate::sounding::Setting;
use crate::sounding::drift::swollen;
use crate::tuning::Tuning;
use crate::units::{Frequency, Volume};

/// Digits of a fill in a file: hundredths of a millilitre.
const FILL_DIGITS: i32 = 2;
/// Digits of a pressure, and of a travel or a lift.
const GAUGE_DIGITS: i32 = 4;
const MM_DIGITS: i32 = 2;
/// Digits of a room in a file.
const ROOM_DIGITS: i32 = 2;

/// Why a set was not saved.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum DocumentError {
    /// Somebody else has written it since it was read.
    #[error("{} has been changed by another program since it was opened; save it under another name", path.display())]
    Changed {
        /// The file.
        path: PathBuf,
    },
    /// Its text has a form that cannot be edited in place.
    #[error("{because}")]
    Form {
        /// In one line.
        because: String,
    },
    /// The system refuses.
    #[error(transparent)]
    Write(#[from] WriteError),
}

/// What can be edited, and undone.
#[derive(Clone, Debug, PartialEq)]
pub struct Model {
    /// The room, the filling and the lips, now.
    pub conditions: Conditions,
    /// Those in which the fills were poured: what is in the bottles keeps its mass from there.
    pub poured_at: Conditions,
    /// What the notes mean.
    pub tuning: Tuning,
    /// Which note is in which bottle; a fill is the volume at [`Model::poured_at`].
    pub pours: Vec<Pour>,
    /// The pitches heard from each kind of bottle, which [`Document::fixed`] is fitted to.
    pub heard: Vec<Vec<HeardPitch>>,
}

impl Model {
    /// What a bottle is set to now; a fill is swollen by the warmth since it was poured. Nothing where its note cannot be
    /// reached.
    #[must_use]
    pub fn setting(&self, index: usize) -> Option<Setting> {
        Some(match self.pours[index].setting()? {
            Setting::Fill(fill) => Setting::Fill(swollen(fill, &self.poured_at, &self.conditions)),
            other => other,
        })
    }

    /// What is in a bottle now, of those that are tuned by it.
    #[must_use]
    pub fn fill(&self, index: usize) -> Option<Volume> {
        self.setting(index)?.fill()
    }

    /// Changes what a bottle is set to now.
    pub fn set(&mut self, index: usize, setting: Setting) {
        let pour = &mut self.pours[index];
        match setting {
            Setting::Fill(fill) => {
                pour.fill = Some(swollen(fill, &self.conditions, &self.poured_at));
            }
            Setting::Gauge(gauge) => pour.gauge = Some(gauge),
            Setting::Travel(travel) => pour.travel = Some(travel),
            Setting::Lift(lift) => pour.lift = Some(lift),
        }
    }

    /// The pitch that a pour aims at.
    #[must_use]
    pub fn target(&self, index: usize) -> Frequency {
        self.tuning.frequency(&self.pours[index].note)
    }

    /// Every bottle set anew, for the conditions as they are; one whose note is out of reach keeps what it has.
    pub fn pour_again(&mut self, fixed: &Set) {
        let count = self.pours.len();
        let now: Vec<Option<Setting>> = (0..count).map(|i| self.setting(i)).collect();
        self.poured_at = self.conditions.clone();
        let solved: Vec<Option<Setting>> = (0..count)
            .into_par_iter()
            .map(|index| self.solved(index, fixed))
            .collect();
        for (index, (solved, before)) in solved.into_iter().zip(now).enumerate() {
            if let Some(setting) = solved.or(before) {
                self.set(index, setting);
            }
        }
    }

    /// The setting that gives a bottle its note under the conditions as they are.
    #[must_use]
    pub fn solved(&self, index: usize, fixed: &Set) -> Option<Setting> {
        let source = fixed.source_under(&self.pours[index], &self.conditions);
        Some(source.solved(self.target(index)).ok()?.setting)
    }
}

/// A set that was read from a file.
#[derive(Clone, Debug)]
pub struct Document {
    /// Where it is.
    pub path: PathBuf,
    /// What to call it.
    pub title: String,
    /// Its kinds of bottle, fitted to what was heard from them, the pairs of them and what strikes them; without pours.
    pub fixed: Arc<Set>,
    /// As it is now.
    pub model: Model,
    /// As it was opened or saved.
    saved: Model,
    /// The text of the file as it was read or written last.
    source: String,
}

impl Document {
    /// Reads a set.
    ///
    /// # Errors
    /// No such file, no set, or one without pours; the failure says what to do.
    pub fn open(path: &Path) -> Result<Self, Failure> {
        let source = set::file_text(path)?;
        let set = set::open_text(path, &source)?;
        if set.pours.is_empty() {
            let what = format!("play {}", path.display());
            return Err(Failure::bad(what, "there is no [[pour]] in it")
                .or_try("add [[pour]] with a note and a bottle"));
        }
        Ok(Self::new(path, source, set))
    }

    fn new(path: &Path, source: String, set: Set) -> Self {
        let mut set = set;
        let mut model = Model {
            poured_at: set.conditions.clone(),
            conditions: set.conditions.clone(),
            tuning: set.tuning.clone(),
            pours: std::mem::take(&mut set.pours),
            heard: set.kinds.iter().map(|kind| kind.heard.clone()).collect(),
        };
        for index in 0..model.pours.len() {
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
            saved: model.clone(),
            model,
            source,
        }
    }

    /// The same set in another room, from which it counts as opened.
    #[must_use]
    pub fn in_room(mut self, conditions: Conditions) -> Self {
        self.model.conditions = conditions;
        self.saved = self.model.clone();
        self
    }

    /// Whether there is something to save.
    #[must_use]
    pub fn is_changed(&self) -> bool {
        self.model != self.saved
    }

    /// The set as it is now, with the volumes that are in its bottles now.
    #[must_use]
    pub fn set(&self) -> Set {
        let model = &self.model;
        let mut pours = model.pours.clone();
        for (index, pour) in pours.iter_mut().enumerate() {
            if let Some(fill) = model.fill(index) {
                pour.fill = Some(fill);
            }
        }
        Set {
            title: self.title.clone(),
            conditions: model.conditions.clone(),
            tuning: model.tuning.clone(),
            pours,
            ..Set::clone(&self.fixed)
        }
    }

    /// The kinds of bottle fitted to `heard`, one list a kind, in place of what is in the file.
    ///
    /// # Errors
    /// A pitch that no bottle of these dimensions gives, or a file in which it could not be written.
    pub fn refitted(&self, heard: &[Vec<HeardPitch>]) -> Result<Arc<Set>, Failure> {
        let text = kept::written(&self.source, heard)
            .map_err(|because| Failure::cannot("keep what was heard", because))?;
        let set = set::open_text(&self.path, &text)?;
        Ok(Arc::new(Set {
            kinds: set.kinds,
            ..Set::clone(&self.fixed)
        }))
    }

    /// The file's text with what is now: comments, order and everything that did not change stay as they are.
    ///
    /// # Errors
    /// [`DocumentError::Form`], if the pours are no `[[pour]]` tables.
    pub fn text(&self) -> Result<String, DocumentError> {
        let form = |because: String| DocumentError::Form { because };
        let mut document: DocumentMut = self
            .source
            .parse()
            .map_err(|error: toml_edit::TomlError| form(error.to_string()))?;
        let written = read_set(&self.source).map_err(|error| form(error.to_string()))?;
        let now = self.set();
        room(&mut document, &written, &now).map_err(form)?;
        filling(&mut document, &written, &now).map_err(form)?;
        tuning(&mut document, &written, &now).map_err(form)?;
        pours(&mut document, &written, &now).map_err(form)?;
        kept::write(&mut document, &written, &self.model.heard).map_err(form)?;
        let text = document.to_string();
        // Read back before anything is written: the file must never hold what cannot be opened again.
        read_set(&text).map_err(|error| form(error.to_string()))?;
        Ok(text)
    }

    /// Writes the set into its file, if nobody else has changed it.
    ///
    /// # Errors
    /// See [`DocumentError`]; the old file is whole after it.
    pub fn save(&mut self) -> Result<(), DocumentError> {
        let unchanged = std::fs::read(&self.path).map_or(true, |now| now == self.source.as_bytes());
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
        self.source = text;
        self.saved = self.model.clone();
        Ok(())
    }
}

/// Puts `value` where `key` is, keeping the comment behind it.
fn put(table: &mut dyn TableLike, key: &str, value: impl Into<Value>) {
    let mut value = value.into();
    match table.get_mut(key) {
        Some(Item::Value(old)) => {
            *value.decor_mut() = old.decor().clone();
            *old = value;
        }
        _ => {
            table.insert(key, Item::Value(value));
        }
    }
}

fn section<'a>(document: &'a mut DocumentMut, name: &str) -> Result<&'a mut dyn TableLike, String> {
    document
        .entry(name)
        .or_insert(Item::Table(Table::new()))
        .as_table_like_mut()
        .ok_or_else(|| format!("{name} is not written as a table"))
}

fn room(document: &mut DocumentMut, written: &Set, now: &Set) -> Result<(), String> {
    let numbers = |set: &Set| {
        let room = &set.conditions.room;
        [
            ("temp_c", room.temperature.c()),
            ("humidity_pct", 100.0 * room.humidity),
            ("pressure_kpa", room.pressure.kpa()),
        ]
    };
    for ((key, before), (_, after)) in numbers(written).into_iter().zip(numbers(now)) {
        if differ(before, after, ROOM_DIGITS) {
            put(section(document, "room")?, key, rounded(after, ROOM_DIGITS));
        }
    }
    Ok(())
}

fn filling(document: &mut DocumentMut, written: &Set, now: &Set) -> Result<(), String> {
    let (before, after) = (&written.conditions, &now.conditions);
    if before.liquid != after.liquid {
        put(
            section(document, "filling")?,
            "liquid",
            after.liquid.to_string(),
        );
    }
    if before.gas != after.gas {
        put(section(document, "filling")?, "gas", after.gas.to_string());
    }
    if let Some(gas) = after.neck_gas.filter(|_| before.neck_gas != after.neck_gas) {
        put(section(document, "filling")?, "neck_gas", gas.to_string());
    }
    if before.headspace != after.headspace {
        let headspace = after.headspace.to_string();
        put(section(document, "filling")?, "headspace", headspace);
    }
    if differ(before.lip_open, after.lip_open, 3) {
        put(
            section(document, "filling")?,
            "lip_open",
            rounded(after.lip_open, 3),
        );
    }
    Ok(())
}

fn tuning(document: &mut DocumentMut, written: &Set, now: &Set) -> Result<(), String> {
    let (before, after) = (&written.tuning, &now.tuning);
    if differ(before.a4().hz(), after.a4().hz(), 3) {
        put(
            section(document, "tuning")?,
            "a4_hz",
            rounded(after.a4().hz(), 3),
        );
    }
    if before.temperament() != after.temperament() {
        let name = after.temperament().name();
        put(section(document, "tuning")?, "temperament", name);
    }
    Ok(())
}

fn pours(document: &mut DocumentMut, written: &Set, now: &Set) -> Result<(), String> {
    let pours = document.get_mut("pour").ok_or("there is no [[pour]]")?;
    let mut tables: Vec<&mut dyn TableLike> = match pours {
        Item::ArrayOfTables(tables) => tables.iter_mut().map(|t| t as &mut dyn TableLike).collect(),
        Item::Value(Value::Array(list)) => list
            .iter_mut()
            .filter_map(|value| value.as_inline_table_mut())
            .map(|t| t as &mut dyn TableLike)
            .collect(),
        _ => Vec::new(),
    };
    if tables.len() != now.pours.len() {
        return Err("the pours are not written as [[pour]] tables".to_owned());
    }
    for (table, (before, after)) in tables.iter_mut().zip(written.pours.iter().zip(&now.pours)) {
        if before.note != after.note {
            put(*table, "note", after.note.to_string());
        }
        let Some(now) = after.setting() else {
            continue;
        };
        let (key, digits) = written_as(now);
        let same = before
            .setting()
            .is_some_and(|before| !differ(before.value(), now.value(), digits));
        if !same {
            put(*table, key, rounded(now.value(), digits));
        }
    }
    Ok(())
}

/// The key of a setting in a file, and the digits that it is written with.
fn written_as(setting: Setting) -> (&'static str, i32) {
    match setting {
        Setting::Fill(_) => ("fill_ml", FILL_DIGITS),
        Setting::Gauge(_) => ("gauge_bar", GAUGE_DIGITS),
        Setting::Travel(_) => ("travel_mm", MM_DIGITS),
        Setting::Lift(_) => ("lift_mm", MM_DIGITS),
    }
}

fn differ(before: f64, after: f64, digits: i32) -> bool {
    rounded(before, digits) != rounded(after, digits)
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
            .set(0, Setting::Fill(Volume::from_ml(210.125)));
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
        document.model.set(1, Setting::Fill(Volume::from_ml(100.0)));
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
        let before = document.model.fill(0).expect("a fill");
        document.model.conditions.room.temperature = crate::units::Temperature::from_c(35.0);
        let warm = document.model.fill(0).expect("a fill");
        assert!(warm > before);
        document.model.conditions = document.model.poured_at.clone();
        assert_eq!(document.model.fill(0), Some(before));
    }
}
