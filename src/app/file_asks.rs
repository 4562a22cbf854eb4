//! Files: sets and pieces that are opened, what is saved, and what is written down while it is played.

use std::path::{Path, PathBuf};

use super::ask::{FileAsk, LeaveAsk, TakeAsk};
use super::document::Document;
use super::examples::EXAMPLES;
use super::files::{Answer, Purpose, is_piece};
use super::form::BottleForm;
use super::making::PlanAsk;
use super::picture::is_picture;
use super::practice::{PracticeAsk, RunAsk};
use super::session::Session;
use super::state::{Leaving, Naming, Place};
use super::take::WavTake;
use super::trouble::Trouble;
use crate::physics::conditions::Conditions;
use crate::set::file_text;
use crate::synth::Command;

impl Session {
    /// Does what was asked of files.
    pub(super) fn file(&mut self, ask: FileAsk) {
        match ask {
            FileAsk::New => self.leave_for(Leaving::New),
            FileAsk::Example(place) => self.leave_for(Leaving::Example(place)),
            FileAsk::PrintSheet => self.print_sheet(),
            FileAsk::PrintParts => self.print_parts(),
            FileAsk::Recover => self.recover(),
            FileAsk::ForgetDraft => self.draft.remove(),
            FileAsk::Choose => self.ask_for(Purpose::Open),
            FileAsk::Open(path) if is_piece(&path) => self.practise(PracticeAsk::Open(path)),
            FileAsk::Open(path) if is_picture(&path) => self.picture(path),
            FileAsk::Open(path) => self.leave_for(Leaving::For(path)),
            FileAsk::Save => {
                if self.document().is_unnamed() {
                    self.ask_for(Purpose::SaveAs);
                } else if self.document().is_changed() {
                    self.save();
                } else {
                    self.say("Everything is saved already.");
                }
            }
            FileAsk::SaveAs => self.ask_for(Purpose::SaveAs),
            FileAsk::Named(text) => self.named(&text),
            FileAsk::Unnamed => {
                self.state.naming = None;
                self.state.leaving = None;
            }
        }
    }

    /// Does what was asked of a set that is to be closed.
    pub(super) fn leave(&mut self, ask: LeaveAsk) {
        match ask {
            LeaveAsk::Close => self.leave_for(Leaving::Window),
            LeaveAsk::Anyway => self.go(),
            LeaveAsk::SaveFirst if self.document().is_unnamed() => self.ask_for(Purpose::SaveAs),
            LeaveAsk::SaveFirst => {
                if self.save() {
                    self.go();
                }
            }
            LeaveAsk::Stay => self.state.leaving = None,
        }
    }

    /// Does what was asked of what is written down.
    pub(super) fn take(&mut self, ask: TakeAsk) {
        match ask {
            TakeAsk::Sound => self.ask_for(Purpose::Wav),
            TakeAsk::Keys => self.ask_for(Purpose::Smf),
            TakeAsk::Stop => {
                if self.takes.has_sound() {
                    self.playing.sound.end_record();
                }
                if let Some(job) = self.takes.end_keys() {
                    self.jobs.follow(job);
                }
                self.state.taking = self.takes.taking();
            }
        }
    }

    /// Leaves the set, at once if there is nothing to save.
    fn leave_for(&mut self, leaving: Leaving) {
        self.state.leaving = Some(leaving);
        if !self.document().is_changed() {
            self.go();
        }
    }

    /// Does what leaving was for.
    fn go(&mut self) {
        match self.state.leaving.take() {
            Some(Leaving::Window) => {
                self.draft.remove();
                self.state.quit = true;
            }
            Some(Leaving::For(path)) => self.open(&path),
            Some(Leaving::Example(place)) => self.open_example(place),
            Some(Leaving::New) => {
                self.open_document(Document::blank());
                self.state.place = Place::Crate;
                self.making.form = Some(BottleForm::new(Conditions::default()));
            }
            None => {}
        }
    }

    /// Opens another set in place of this one; the old one stays if that fails.
    fn open(&mut self, path: &Path) {
        let document = match Document::open(path) {
            Ok(document) => document,
            Err(error) => {
                return self.complain(Trouble::from(error));
            }
        };
        self.open_document(document);
        self.remember_file();
        self.say(format!("Opened {}", path.display()));
    }

    fn open_example(&mut self, place: usize) {
        let Some(example) = EXAMPLES.get(place) else {
            return;
        };
        match Document::example(example.text) {
            Ok(document) => self.open_document(document),
            Err(error) => self.complain(Trouble::from(error)),
        }
    }

    /// Goes on with this set or crate; nothing can be undone then.
    fn open_document(&mut self, document: Document) {
        self.editing.open(document);
        self.making.form = None;
        self.making.forget();
        self.state.note = None;
        self.state.place = Place::Play;
        self.state.tuner.forget();
        self.hearing.forget();
        self.state.pouring.now = None;
        self.state.pouring.learnt.clear();
        self.state.leaving = None;
        self.state.tone = None;
        self.playing.sound.send(Command::Tone { frequency: None });
        self.practise(RunAsk::Player(None).into());
        self.state.selected = None;
        self.rebuild();
        self.settle_place();
    }

    /// Asks for a file in a dialog, unless one is open.
    pub(super) fn ask_for(&mut self, purpose: Purpose) {
        let beside = self.beside();
        self.jobs.ask_for(purpose, beside);
        self.state.asking = self.jobs.is_asking();
    }

    /// The set's file, or where it would be if it has none yet.
    fn beside(&self) -> PathBuf {
        let document = self.document();
        if !document.is_unnamed() {
            return document.path.clone();
        }
        let plain = |c: char| if c.is_alphanumeric() { c } else { '-' };
        let name: String = document
            .called()
            .to_lowercase()
            .chars()
            .map(plain)
            .collect();
        let folders = directories::UserDirs::new();
        let folder = folders.and_then(|folders| {
            let documents = folders.document_dir().map(Path::to_path_buf);
            documents.filter(|path| path.is_dir())
        });
        folder.unwrap_or_default().join(format!("{name}.toml"))
    }

    /// Asks for a file in the window itself.
    fn ask_here(&mut self, purpose: Purpose) {
        let suggested = purpose.suggested(&self.beside());
        self.state.naming = Some(Naming {
            purpose,
            suggested: suggested.display().to_string(),
            exists: None,
        });
    }

    fn named(&mut self, text: &str) {
        let Some(naming) = &mut self.state.naming else {
            return;
        };
        let path = PathBuf::from(text.trim());
        let purpose = naming.purpose;
        let replaces = !purpose.is_read() && path.exists();
        if replaces && naming.exists.as_ref() != Some(&path) {
            naming.exists = Some(path);
            return;
        }
        self.state.naming = None;
        self.chosen(purpose, path);
    }

    fn save(&mut self) -> bool {
        match self.editing.document.save() {
            Ok(()) => {
                self.say(format!("Saved {}", self.document().path.display()));
                self.remember_file();
                true
            }
            Err(error) => {
                self.complain(Trouble::from(error));
                self.state.leaving = None;
                false
            }
        }
    }

    fn save_as(&mut self, path: &Path) {
        match self.editing.document.save_as(path) {
            Ok(()) => {
                self.say(format!("Saved {}", path.display()));
                self.remember_file();
                if self.state.leaving.is_some() {
                    self.go();
                }
            }
            Err(error) => {
                self.state.leaving = None;
                self.complain(Trouble::from(error));
            }
        }
    }

    /// Looks what the threads have to say.
    pub(super) fn poll_files(&mut self) {
        if let Some((purpose, answer)) = self.jobs.answered() {
            self.state.asking = false;
            match answer {
                Answer::Chosen(path) => self.chosen(purpose, path),
                Answer::Nothing => self.state.leaving = None,
                Answer::NoDialog => self.ask_here(purpose),
            }
        }
        if let Some(outputs) = self.jobs.outputs() {
            self.state.outputs = outputs;
            self.state.looking = false;
        }
        let mut told = self.jobs.written();
        self.playing.sound.recorded();
        if let Some(how) = self.takes.sound_told() {
            self.state.taking = self.takes.taking();
            told.push(how);
        } else if self.takes.is_at_another_rate(self.desk().rate_hz) {
            self.playing.sound.end_record();
        }
        for how in told {
            match how {
                Ok(text) => self.say(text),
                Err(trouble) => self.complain(trouble),
            }
        }
    }

    /// A file was chosen or named.
    fn chosen(&mut self, purpose: Purpose, path: PathBuf) {
        match purpose {
            Purpose::Open => self.file(FileAsk::Open(path)),
            Purpose::Piece => self.practise(PracticeAsk::Open(path)),
            Purpose::PlannedPiece => self.plan(PlanAsk::Piece(path)),
            Purpose::SaveAs => self.save_as(&path),
            Purpose::Wav => {
                if let Err(trouble) = self.record(&path) {
                    self.complain(trouble);
                }
            }
            Purpose::Smf => self.takes.keys(&path, self.playing.sound.clock_s()),
        }
        self.state.taking = self.takes.taking();
    }

    /// Writes the sound into a file from now on.
    fn record(&mut self, path: &Path) -> Result<(), Trouble> {
        let begun = WavTake::begin(path, self.desk().rate_hz);
        let (take, sink) = begun.map_err(|error| Trouble::unwritten(path, error))?;
        let recording = self.playing.sound.record(sink);
        recording.map_err(|error| Trouble::cannot("record the sound", error))?;
        self.takes.sound(take);
        Ok(())
    }

    /// Keeps what is unsaved, and forgets it when it is saved.
    pub(super) fn keep_draft(&mut self) {
        let (document, revision) = (&self.editing.document, self.editing.derived.revision);
        if document.is_changed() {
            self.draft.keep(document, revision);
        } else if self.draft.is_written() {
            self.draft.remove();
        }
    }

    /// Goes on with the unsaved work that was found.
    fn recover(&mut self) {
        let Some(place) = self.draft.found() else {
            return;
        };
        let opened = file_text(place)
            .map_err(Trouble::from)
            .and_then(|text| Document::unsaved(&text).map_err(Trouble::from));
        match opened {
            Ok(document) => {
                self.draft.take_up();
                self.open_document(document);
                self.say("This is the work that was not saved. Save it under a name.");
            }
            Err(trouble) => self.complain(trouble),
        }
    }
}
