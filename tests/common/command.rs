//! The program as it is typed.

use std::ffi::OsStr;
use std::fs::File;
use std::io::Seek;
use std::path::PathBuf;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::Value;

/// How a command ended and what it printed.
pub struct Run {
    line: String,
    pub code: Option<i32>,
    pub out: String,
    pub err: String,
}

impl Run {
    /// Fails unless this is the exit code.
    #[track_caller]
    pub fn ended(self, code: i32) -> Self {
        let Self { line, err, .. } = &self;
        assert_eq!(self.code, Some(code), "{line}\n{err}");
        self
    }

    /// Fails unless standard error has these words.
    #[track_caller]
    pub fn says(self, words: &str) -> Self {
        let Self { line, err, .. } = &self;
        let said = err.contains(words) || self.failure().contains(words);
        assert!(said, "no {words:?}: {line}\n{err}");
        self
    }

    /// What failed, as who reads the object of `--json` sees it; nothing where there is no such object.
    fn failure(&self) -> String {
        let last = self.err.lines().last().unwrap_or_default();
        let object: Value = serde_json::from_str(last).unwrap_or_default();
        let texts = ["what", "because", "try"].map(|key| object["error"][key].as_str());
        texts.into_iter().flatten().collect::<Vec<_>>().join("\n")
    }

    /// Fails unless standard output has these words.
    #[track_caller]
    pub fn prints(self, words: &str) -> Self {
        let Self { line, out, .. } = &self;
        assert!(out.contains(words), "no {words:?}: {line}\n{out}");
        self
    }

    /// The object that was printed, however the command ended.
    #[track_caller]
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.out).unwrap_or_else(|e| {
            let Self { line, out, err, .. } = self;
            panic!("{e}: {line}\n{out}\n{err}")
        })
    }
}

/// The program of this build.
pub fn binary() -> PathBuf {
    env!("CARGO_BIN_EXE_ullage").into()
}

/// The program of this build, or that which `ULLAGE_BIN` names.
pub fn chosen_binary() -> PathBuf {
    std::env::var_os("ULLAGE_BIN").map_or_else(binary, PathBuf::from)
}

/// Runs `command` and waits for its end.
pub fn run(command: &mut Command) -> Run {
    let output = command.output().unwrap();
    Run {
        line: format!("{command:?}"),
        code: output.status.code(),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

/// Runs `command`, which must end within `limit`.
#[track_caller]
pub fn run_within(command: &mut Command, limit: Duration) -> Run {
    // Into files: whatever the command has started could keep a pipe open after its end.
    let [mut out, mut err] = [(); 2].map(|()| tempfile::tempfile().unwrap());
    let mut child = command
        .stdin(Stdio::null())
        .stdout(out.try_clone().unwrap())
        .stderr(err.try_clone().unwrap())
        .spawn()
        .unwrap();
    let since = Instant::now();
    let status = loop {
        if let Some(status) = child.try_wait().unwrap() {
            break status;
        }
        if since.elapsed() > limit {
            child.kill().unwrap();
            child.wait().unwrap();
            panic!("not ended after {limit:?}: {command:?}");
        }
        std::thread::sleep(Duration::from_millis(2));
    };
    let text = |file: &mut File| {
        file.rewind().unwrap();
        std::io::read_to_string(file).unwrap()
    };
    Run {
        line: format!("{command:?}"),
        code: status.code(),
        out: text(&mut out),
        err: text(&mut err),
    }
}

/// The program, to be run in the crate's folder.
pub fn program() -> Command {
    let mut program = Command::new(binary());
    program.current_dir(env!("CARGO_MANIFEST_DIR"));
    program
}

/// Runs the program.
pub fn ullage<A: AsRef<OsStr>>(args: &[A]) -> Run {
    run(program().args(args))
}

/// The object that a command prints with `--json`; it must go well.
#[track_caller]
pub fn json(args: &[&str]) -> Value {
    ullage(&[args, &["--json"]].concat()).ended(0).json()
}
