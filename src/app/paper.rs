//! The pour sheet as a page to print: written beside the set, and shown by whatever shows pages here.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::mpsc::{self, Receiver};
use std::thread;

use super::jobs::Told;
use super::session::Session;
use super::trouble::Trouble;
use crate::file::atomic::{Overwrite, write_whole};
use crate::report::html::{Paper, html};
use crate::report::sheet::Sheet;
use crate::set::Set;

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
        let place = sheet_place(&document.path, &document.called());
        let job = written(document.set(), place);
        self.jobs.follow(job);
    }
}

/// Where the sheet goes: beside the set's file, or among what is thrown away if it has none.
fn sheet_place(set: &Path, called: &str) -> PathBuf {
    if !set.as_os_str().is_empty() {
        let stem = set.file_stem().unwrap_or_default().to_string_lossy();
        return set.with_file_name(format!("{stem}-pour-sheet.html"));
    }
    let plain = |c: char| if c.is_alphanumeric() { c } else { '-' };
    let name: String = called.to_lowercase().chars().map(plain).collect();
    std::env::temp_dir().join(format!("{name}-pour-sheet.html"))
}

fn written(set: Set, place: PathBuf) -> Receiver<Told> {
    let (tell, told) = mpsc::channel();
    let write = move || {
        let _ = tell.send(write(&set, &place));
    };
    // Without a thread the receiver finds its channel closed.
    let _ = thread::Builder::new()
        .name("ullage-sheet".to_owned())
        .spawn(write);
    told
}

fn write(set: &Set, place: &Path) -> Told {
    let cannot = |error: &dyn std::fmt::Display| {
        Trouble::cannot(format!("write {}", place.display()), error)
            .or_try("save the set in another folder")
    };
    let sheet = Sheet::new(set);
    let page = html(&sheet, Paper::A4).map_err(|error| cannot(&error))?;
    write_whole(place, page.as_bytes(), Overwrite::Yes).map_err(|error| cannot(&error))?;
    let (program, before) = SHOWS;
    let shown = Command::new(program)
        .args(before)
        .arg(place)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn();
    let text = format!("The pour sheet is in {}.", place.display());
    Ok(match shown {
        Ok(mut child) => {
            // Nobody else waits for it, and an end that nobody asks for stays in the system's list.
            let _ = child.wait();
            format!("{text} Print it at 100 %.")
        }
        Err(_) => format!("{text} Open it in a browser and print it at 100 %."),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_sheet_stands_beside_the_set() {
        let place = sheet_place(Path::new("sets/fair.toml"), "The fair");
        assert_eq!(place, Path::new("sets/fair-pour-sheet.html"));
        let place = sheet_place(Path::new(""), "C major/minor");
        assert!(place.ends_with("c-major-minor-pour-sheet.html"));
    }
}
