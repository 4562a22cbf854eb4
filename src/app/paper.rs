//! The pour sheet and the parts as pages to print: written beside the set, and shown by whatever shows pages here.

use std::fmt::Display;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::sync::mpsc::{self, Receiver};
use std::thread;
use std::time::{Duration, Instant};

use super::jobs::Told;
use super::session::Session;
use super::trouble::Trouble;
use crate::file::atomic::{Overwrite, write_whole};
use crate::number::count;
use crate::parts::{self, Parts};
use crate::report::html::{Paper, html};
use crate::report::sheet::Sheet;
use crate::score::Score;
use crate::set::Set;
use crate::stage::{OnSet, SharingSpec, Stage};

/// What finds nothing to show a page with says so in this time.
const FAILS_WITHIN: Duration = Duration::from_secs(2);
/// What shows a page, by the system: its program and what stands before the page.
#[cfg(target_os = "macos")]
const SHOWS: (&str, &[&str]) = ("open", &[]);
#[cfg(target_os = "windows")]
const SHOWS: (&str, &[&str]) = ("explorer", &[]);
#[cfg(not(any(target_os = "macos", target_os = "windows")))]
const SHOWS: (&str, &[&str]) = ("xdg-open", &[]);

impl Session {
    /// Writes the sheet on a thread of its own, and shows it.
    pub(super) fn print_sheet(&mut self) {
        let document = self.document();
        if document.model.pours.is_empty() {
            return self.complain(
                Trouble::cannot("print a pour sheet", "there are no notes in this set yet")
                    .or_try("plan them first"),
            );
        }
        let place = beside(&document.path, &document.called(), "pour-sheet.html");
        let (set, shows) = (document.set(), self.shows);
        let print = move || print_sheet(&set, &place, shows);
        self.jobs.follow(on_thread(print));
    }

    /// Writes every player's part of the piece on a thread of its own, and shows the pages.
    pub(super) fn print_parts(&mut self) {
        let Some(practice) = &self.state.practice else {
            return self.complain(
                Trouble::cannot("print parts", "there is no piece to play")
                    .or_try("open one under Play, in the panel Piece"),
            );
        };
        let document = self.document();
        let folder = beside(&document.path, &document.called(), "parts");
        let title = practice.path.file_stem().unwrap_or_default();
        let printed = Printed {
            // The piece of the window is moved already.
            set: Set {
                transpose: 0,
                ..document.set()
            },
            score: Arc::clone(&practice.score),
            title: title.to_string_lossy().into_owned(),
            folder,
        };
        let shows = self.shows;
        self.jobs.follow(on_thread(move || printed.print(shows)));
    }
}

/// What shows a page; false if nothing does.
type Shows = fn(&Path) -> bool;

/// What is printed of a piece.
struct Printed {
    set: Set,
    score: Arc<Score>,
    title: String,
    folder: PathBuf,
}

impl Printed {
    fn print(&self, shows: Shows) -> Told {
        let cannot = |error: &dyn Display| Trouble::cannot("print the parts", error);
        let stage = Stage::new(&self.set).map_err(|error| cannot(&error))?;
        let piece = OnSet::new(stage, &self.score, SharingSpec::default());
        let piece = piece.map_err(|error| cannot(&error))?;
        let parts = Parts::new(&piece, &self.title, None).map_err(|error| cannot(&error))?;
        let mut files = parts.files(&piece).map_err(|error| cannot(&error))?;
        let pages = parts.booklet().map_err(|error| cannot(&error))?;
        let shown = self.folder.join(&pages.name);
        files.push(pages);
        parts::write(&self.folder, &files, Overwrite::Yes).map_err(|error| {
            let what = format!("write into {}", self.folder.display());
            Trouble::cannot(what, error).or_try("save the set in another folder")
        })?;
        let players = count(parts.book.players.len(), "player");
        let mut text = format!("The parts of {players} are in {}.", self.folder.display());
        if !parts.book.not_played.is_empty() {
            text += " Notes that nobody plays are listed on the first page.";
        }
        Ok(format!("{text} {}", how_to_print(shows(&shown))))
    }
}

/// Where what is printed goes: beside the set's file, or among what is thrown away if it has none.
fn beside(set: &Path, called: &str, what: &str) -> PathBuf {
    if !set.as_os_str().is_empty() {
        let stem = set.file_stem().unwrap_or_default().to_string_lossy();
        return set.with_file_name(format!("{stem}-{what}"));
    }
    let plain = |c: char| if c.is_alphanumeric() { c } else { '-' };
    let name: String = called.to_lowercase().chars().map(plain).collect();
    std::env::temp_dir().join(format!("{name}-{what}"))
}

fn on_thread(print: impl FnOnce() -> Told + Send + 'static) -> Receiver<Told> {
    let (tell, told) = mpsc::channel();
    let write = move || {
        // The window may be gone by now.
        let _ = tell.send(print());
    };
    // Without a thread the receiver finds its channel closed.
    let _ = thread::Builder::new()
        .name("ullage-paper".to_owned())
        .spawn(write);
    told
}

fn print_sheet(set: &Set, place: &Path, shows: Shows) -> Told {
    let cannot = |error: &dyn Display| {
        Trouble::cannot(format!("write {}", place.display()), error)
            .or_try("save the set in another folder")
    };
    let sheet = Sheet::new(set);
    let page = html(&sheet, Paper::A4).map_err(|error| cannot(&error))?;
    write_whole(place, page.as_bytes(), Overwrite::Yes).map_err(|error| cannot(&error))?;
    let how = how_to_print(shows(place));
    Ok(format!("The pour sheet is in {}. {how}", place.display()))
}

/// Shows a page; says whether something here does.
pub(super) fn show(page: &Path) -> bool {
    let (program, before) = SHOWS;
    let shown = Command::new(program)
        .args(before)
        .arg(page)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn();
    let Ok(mut child) = shown else {
        return false;
    };
    let end = Instant::now() + FAILS_WITHIN;
    while Instant::now() < end {
        match child.try_wait() {
            // Windows' explorer never says that it went well.
            Ok(Some(status)) => return status.success() || cfg!(target_os = "windows"),
            Ok(None) => thread::sleep(Duration::from_millis(50)),
            Err(_) => return false,
        }
    }
    // It shows the page itself. Somebody has to wait for it: an end that nobody asks for stays in the system's list.
    thread::spawn(move || child.wait());
    true
}

fn how_to_print(is_shown: bool) -> &'static str {
    if is_shown {
        "Print it at 100 %."
    } else {
        "Open it in a browser and print it at 100 %."
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_printed_stands_beside_the_set() {
        let place = beside(Path::new("sets/fair.toml"), "The fair", "pour-sheet.html");
        assert_eq!(place, Path::new("sets/fair-pour-sheet.html"));
        let place = beside(Path::new("sets/fair.toml"), "The fair", "parts");
        assert_eq!(place, Path::new("sets/fair-parts"));
        let place = beside(Path::new(""), "C major/minor", "pour-sheet.html");
        assert!(place.ends_with("c-major-minor-pour-sheet.html"));
    }
}
