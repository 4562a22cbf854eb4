//! A display that nobody sees, and the program's window on it.

use std::fs::{self, File};
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

use crate::common::command::chosen_binary;

/// How long a window may take for anything; a busy machine draws it on one core.
const MOST: Duration = Duration::from_secs(60);
/// A window that is forgotten closes by itself.
const OPEN_S: &str = "600";

/// Looks a thousand times a second until it is so; false if that takes too long.
pub fn within(most: Duration, mut is_so: impl FnMut() -> bool) -> bool {
    let since = Instant::now();
    while !is_so() {
        if since.elapsed() > most {
            return false;
        }
        sleep(Duration::from_millis(1));
    }
    true
}

/// A display of its own, gone with this.
pub struct Display {
    server: Child,
    name: String,
}

impl Display {
    /// None where there is no Xvfb to make one, or no xdotool to press keys on it.
    pub fn new([width, height]: [u32; 2]) -> Option<Self> {
        Command::new("xdotool").arg("version").output().ok()?;
        // It takes a number that is free, and says which.
        let mut server = Command::new("Xvfb")
            .args(["-displayfd", "1", "-nolisten", "tcp", "-noreset"])
            .args(["-screen", "0", &format!("{width}x{height}x24")])
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .ok()?;
        let mut number = String::new();
        let mut said = BufReader::new(server.stdout.take()?);
        said.read_line(&mut number).unwrap();
        assert!(!number.trim().is_empty(), "Xvfb has made no display");
        Some(Self {
            server,
            name: format!(":{}", number.trim()),
        })
    }

    fn command(&self, args: &[&str]) -> Command {
        let mut xdotool = Command::new("xdotool");
        xdotool.env("DISPLAY", &self.name).args(args);
        xdotool
    }

    /// Presses, types or asks; what is said, if it went well.
    pub fn xdotool(&self, args: &[&str]) -> Option<String> {
        let done = self.command(args).output().unwrap();
        let said = String::from_utf8(done.stdout).unwrap();
        done.status.success().then(|| said.trim().to_owned())
    }

    /// The same without waiting for it.
    pub fn begin(&self, args: &[&str]) -> Child {
        let quiet = Stdio::null;
        let mut xdotool = self.command(args);
        xdotool.stdout(quiet()).stderr(quiet()).spawn().unwrap()
    }
}

impl Drop for Display {
    fn drop(&mut self) {
        let _ = self.server.kill();
        let _ = self.server.wait();
    }
}

/// The program's window, killed with this.
pub struct Window<'a> {
    display: &'a Display,
    child: Child,
    log: PathBuf,
}

impl<'a> Window<'a> {
    /// Opens it on a file or on none, with a folder for its settings, and gives it the keys.
    pub fn open(display: &'a Display, file: Option<&Path>, settings: &Path) -> Self {
        let log = settings.join("said.log");
        let child = Command::new(chosen_binary())
            .arg("play")
            .args(file)
            .args(["--dry", "--measure", "--for-s", OPEN_S])
            .env("DISPLAY", &display.name)
            .env("XDG_CONFIG_HOME", settings)
            .env("WINIT_X11_SCALE_FACTOR", "1")
            .env_remove("WAYLAND_DISPLAY")
            .env_remove("DBUS_SESSION_BUS_ADDRESS")
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(File::create(&log).unwrap())
            .spawn()
            .unwrap();
        let window = Self {
            display,
            child,
            log,
        };
        let has_drawn = || window.said().contains("first frame");
        assert!(within(MOST, has_drawn), "no frame: {}", window.said());
        let of_pid = window.child.id().to_string();
        let search = [
            "search",
            "--all",
            "--onlyvisible",
            "--pid",
            &of_pid,
            "--name",
            " ullage$",
        ];
        let has_keys = || {
            let found = display.xdotool(&search).unwrap_or_default();
            let Some(id) = found.lines().next() else {
                return false;
            };
            display
                .xdotool(&["windowmove", id, "0", "0", "windowfocus", id])
                .is_some()
        };
        assert!(
            within(MOST, has_keys),
            "it takes no keys: {}",
            window.said()
        );
        window
    }

    /// What it said on standard error.
    pub fn said(&self) -> String {
        fs::read_to_string(&self.log).unwrap_or_default()
    }

    /// Kills it, if it is there still.
    pub fn kill(mut self) {
        self.child.kill().unwrap();
        let ended = self.child.wait().unwrap();
        assert_eq!(
            ended.code(),
            None,
            "it ended before it was killed: {}",
            self.said()
        );
    }

    /// Closes it by its key.
    pub fn close(mut self) {
        self.display.xdotool(&["key", "ctrl+q"]).unwrap();
        let ended = within(MOST, || self.child.try_wait().unwrap().is_some());
        assert!(ended, "it stays open: {}", self.said());
        assert!(self.child.wait().unwrap().success(), "{}", self.said());
    }
}

impl Drop for Window<'_> {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
