//! A page printed as PDF by a browser that is there, with nothing on the screen.

use std::io;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// Programs that print so, by their usual names.
const BROWSERS: [&str; 4] = ["chromium", "chromium-browser", "chrome", "google-chrome"];
/// How long one may take, s: a set of 64 bottles takes 4 s on a slow machine.
const MOST_S: u64 = 120;
/// A page, not a place to go to: nothing is fetched.
const FLAGS: [&str; 8] = [
    "--headless",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-pdf-header-footer",
];

/// Why there is no PDF.
#[derive(Debug, thiserror::Error)]
pub enum PdfError {
    /// None is installed.
    #[error("no browser that prints was found: {}", BROWSERS.join(", "))]
    NoBrowser,
    /// The one that was named cannot be run, or a file beside it cannot be written.
    #[error("cannot run {}: {source}", program.display())]
    NotRun {
        /// Its program.
        program: PathBuf,
        /// Why not.
        source: io::Error,
    },
    /// It did not print.
    #[error("{} ended without a page", program.display())]
    NothingPrinted {
        /// Its program.
        program: PathBuf,
    },
    /// It did not end.
    #[error("{} was stopped after {} s without a page", program.display(), MOST_S)]
    TooLong {
        /// Its program.
        program: PathBuf,
    },
}

/// `html` printed by `browser`, or by the first that is found.
///
/// # Errors
/// See [`PdfError`].
pub fn printed(html: &str, browser: Option<&Path>) -> Result<Vec<u8>, PdfError> {
    let Some(browser) = browser else {
        for name in BROWSERS {
            match printed_by(Path::new(name), html) {
                Err(PdfError::NotRun { source, .. })
                    if source.kind() == io::ErrorKind::NotFound => {}
                other => return other,
            }
        }
        return Err(PdfError::NoBrowser);
    };
    printed_by(browser, html)
}

fn printed_by(browser: &Path, html: &str) -> Result<Vec<u8>, PdfError> {
    let not_run = |source| PdfError::NotRun {
        program: browser.to_path_buf(),
        source,
    };
    let folder = tempfile::tempdir().map_err(not_run)?;
    std::fs::write(folder.path().join("sheet.html"), html).map_err(not_run)?;
    // Browsers do not open their sandbox for the superuser, as in a container. The page has no script.
    for unboxed in [false, true] {
        run(browser, folder.path(), unboxed)?;
        match std::fs::read(folder.path().join("sheet.pdf")) {
            Ok(pdf) if pdf.starts_with(b"%PDF") => return Ok(pdf),
            _ => {}
        }
    }
    Err(PdfError::NothingPrinted {
        program: browser.to_path_buf(),
    })
}

/// Lets it print `sheet.html` of a folder to `sheet.pdf` beside it.
fn run(browser: &Path, folder: &Path, unboxed: bool) -> Result<(), PdfError> {
    let at = |name: &str| folder.join(name).display().to_string();
    let mut command = Command::new(browser);
    command
        .args(FLAGS)
        .args(unboxed.then_some("--no-sandbox"))
        .arg(format!("--user-data-dir={}", at("user")))
        .arg(format!("--print-to-pdf={}", at("sheet.pdf")))
        .arg(at("sheet.html"))
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null());
    let not_run = |source| PdfError::NotRun {
        program: browser.to_path_buf(),
        source,
    };
    let mut child = command.spawn().map_err(not_run)?;
    let begun = Instant::now();
    while child.try_wait().map_err(not_run)?.is_none() {
        if begun.elapsed() > Duration::from_secs(MOST_S) {
            // It may have ended since; then there is nothing to stop.
            let _ = child.kill();
            let _ = child.wait();
            return Err(PdfError::TooLong {
                program: browser.to_path_buf(),
            });
        }
        std::thread::sleep(Duration::from_millis(50));
    }
    Ok(())
}
