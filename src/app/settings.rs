//! What is kept between sessions: the keyboard and the looks.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{self, Receiver};
use std::thread;

use serde::{Deserialize, Serialize};

use super::jobs::Told;
use super::keyboard::{Board, Layout};
use super::keys;
use super::state::{Looks, Panel};
use super::trouble::Trouble;
use crate::file::atomic::{Overwrite, WriteError, write_whole};
use crate::tuning::NoteName;

/// The window at the first start, points.
const USUAL_WINDOW: [f32; 2] = [1200.0, 760.0];
/// Files of late that are kept.
const MOST_RECENT: usize = 8;
/// Version of the file.
const VERSION: u32 = 1;

/// Why settings were not read, or not kept.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SettingsError {
    /// The file cannot be read.
    #[error("cannot read {}: {source}", path.display())]
    Read {
        /// The file.
        path: PathBuf,
        /// Why not.
        source: std::io::Error,
    },
    /// The file holds no settings.
    #[error("{} is passed over: {}", path.display(), source.message())]
    Spoiled {
        /// The file.
        path: PathBuf,
        /// What the reader says.
        source: toml::de::Error,
    },
    /// They cannot be written as TOML.
    #[error("they make no file: {0}")]
    Form(#[from] toml::ser::Error),
    /// There is no folder for the file.
    #[error("there is no folder {}: {source}", path.display())]
    Folder {
        /// The folder.
        path: PathBuf,
        /// Why not.
        source: std::io::Error,
    },
    /// The system refuses.
    #[error(transparent)]
    Write(#[from] WriteError),
}

/// The settings as they stand in their file.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Settings {
    /// Version of the file; 1.
    pub version: u32,
    /// "piano" or "row".
    pub layout: String,
    /// How hard keys are struck, 1 to 127.
    pub velocity: u8,
    /// "system", "light" or "dark".
    pub looks: String,
    /// Size of everything.
    pub zoom: f32,
    /// Width and height of the window, points.
    pub window: [f32; 2],
    /// The panel at the side, by its title.
    pub panel: String,
    /// Files of late, the last one first.
    pub recent: Vec<PathBuf>,
    /// Keys with a note of their own.
    pub keys: BTreeMap<String, String>,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            version: VERSION,
            layout: "piano".to_owned(),
            velocity: 96,
            looks: Looks::default().name().to_owned(),
            zoom: 1.0,
            window: USUAL_WINDOW,
            panel: Panel::default().title().to_owned(),
            recent: Vec::new(),
            keys: BTreeMap::new(),
        }
    }
}

impl Settings {
    /// Where they are kept, if the system says where.
    #[must_use]
    pub fn place() -> Option<PathBuf> {
        let folders = directories::ProjectDirs::from("", "", "ullage")?;
        Some(folders.config_dir().join("window.toml"))
    }

    /// Reads them. A file that is missing or cannot be read gives the usual ones, and the reason if there is one.
    #[must_use]
    pub fn read(path: &Path) -> (Self, Option<SettingsError>) {
        let spoiled = |because| (Self::default(), Some(because));
        let path_buf = || path.to_path_buf();
        match std::fs::read_to_string(path) {
            Ok(text) => match toml::from_str(&text) {
                Ok(settings) => (settings, None),
                Err(source) => spoiled(SettingsError::Spoiled {
                    path: path_buf(),
                    source,
                }),
            },
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => (Self::default(), None),
            Err(source) => spoiled(SettingsError::Read {
                path: path_buf(),
                source,
            }),
        }
    }

    /// Writes them, and the folder around them.
    ///
    /// # Errors
    /// See [`SettingsError`].
    pub fn write(&self, path: &Path) -> Result<(), SettingsError> {
        let text = toml::to_string_pretty(self)?;
        if let Some(folder) = path.parent() {
            std::fs::create_dir_all(folder).map_err(|source| SettingsError::Folder {
                path: folder.to_path_buf(),
                source,
            })?;
        }
        Ok(write_whole(path, text.as_bytes(), Overwrite::Yes)?)
    }

    /// The keyboard of these settings; names that are none are passed over.
    #[must_use]
    pub fn board(&self) -> Board {
        let own = self.keys.iter().filter_map(|(key, note)| {
            let note: NoteName = note.parse().ok()?;
            Some((keys::named(key)?, note.midi()))
        });
        Board {
            layout: match self.layout.as_str() {
                "row" => Layout::Row,
                _ => Layout::Piano,
            },
            own: own.collect(),
            ..Board::default()
        }
    }

    /// The looks of these settings.
    #[must_use]
    pub fn looks(&self) -> Looks {
        let named = Looks::ALL
            .into_iter()
            .find(|looks| looks.name() == self.looks);
        named.unwrap_or_default()
    }

    /// The panel of these settings.
    #[must_use]
    pub fn side(&self) -> Panel {
        let named = Panel::ALL
            .into_iter()
            .find(|panel| panel.title() == self.panel);
        named.unwrap_or_default()
    }

    /// The window of these settings, within what any screen has.
    #[must_use]
    pub fn window_size(&self) -> [f32; 2] {
        let [wide, high] = self.window;
        if wide.is_finite() && high.is_finite() {
            [wide.clamp(640.0, 8192.0), high.clamp(480.0, 8192.0)]
        } else {
            USUAL_WINDOW
        }
    }

    /// The settings of a keyboard and looks.
    #[must_use]
    pub fn of(board: &Board, velocity: u8, looks: Looks, zoom: f32) -> Self {
        let named = |(code, note): (&winit::keyboard::KeyCode, &u8)| {
            (keys::name(*code), NoteName::from_midi(*note).to_string())
        };
        Self {
            version: VERSION,
            layout: match board.layout {
                Layout::Piano => "piano",
                Layout::Row => "row",
            }
            .to_owned(),
            velocity: velocity.clamp(1, 127),
            looks: looks.name().to_owned(),
            zoom,
            keys: board.own.iter().map(named).collect(),
            ..Self::default()
        }
    }
}

/// The settings that were kept last, and where.
pub(super) struct KeptSettings {
    last: Settings,
    place: Option<PathBuf>,
}

impl KeptSettings {
    /// Those of the last session; they are kept at `place`, or nowhere.
    pub(super) fn new(last: Settings, place: Option<PathBuf>) -> Self {
        Self { last, place }
    }

    /// Those that were kept last.
    pub(super) fn last(&self) -> &Settings {
        &self.last
    }

    /// The files of late, with this one before all others.
    pub(super) fn with_file(&self, path: &Path) -> Vec<PathBuf> {
        let path = std::path::absolute(path).unwrap_or_else(|_| path.to_path_buf());
        let others = self.last.recent.iter().filter(|other| **other != path);
        let mut recent = vec![path.clone()];
        recent.extend(others.take(MOST_RECENT - 1).cloned());
        recent
    }

    /// Keeps `settings` before it returns: the window closes.
    pub(super) fn keep_at_once(&mut self, settings: Settings) {
        if settings != self.last
            && let Some(place) = &self.place
        {
            // There is nobody left to be told.
            let _ = settings.write(place);
        }
        self.last = settings;
    }

    /// Keeps `settings` if they are others than the last, on a thread of its own; that one has something to say only if it
    /// fails.
    pub(super) fn keep(&mut self, settings: Settings) -> Option<Receiver<Told>> {
        if settings == self.last {
            return None;
        }
        self.last = settings.clone();
        let place = self.place.clone()?;
        let (tell, told) = mpsc::channel();
        let write = move || {
            if let Err(error) = settings.write(&place) {
                let what = format!("keep the settings in {}", place.display());
                let _ = tell.send(Err(Trouble::cannot(what, error)));
            }
        };
        // Without a thread the receiver finds its channel closed.
        let _ = thread::Builder::new()
            .name("ullage-settings".to_owned())
            .spawn(write);
        Some(told)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use winit::keyboard::KeyCode;

    #[test]
    fn what_is_written_reads_back_the_same() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("deep").join("window.toml");
        let mut board = Board {
            layout: Layout::Row,
            ..Board::default()
        };
        board.own.insert(KeyCode::Semicolon, 66);
        let settings = Settings::of(&board, 80, Looks::Dark, 1.5);
        settings.write(&path).expect("written");
        let (read, because) = Settings::read(&path);
        assert!(because.is_none());
        assert_eq!(read, settings);
        assert_eq!(read.board(), board);
        assert_eq!(read.looks(), Looks::Dark);
    }

    #[test]
    fn a_spoiled_file_gives_the_usual_settings_and_says_so() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("window.toml");
        std::fs::write(&path, "velocity = \"loud\"").expect("a file");
        let (read, because) = Settings::read(&path);
        assert_eq!(read, Settings::default());
        assert!(because.is_some_and(|because| because.to_string().contains("window.toml")));
    }
}
