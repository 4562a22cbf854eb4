//! A run that is killed at any moment leaves every file as it was or as it was to be, and nothing for ever.
//!
//! Thirty kills by default; `ULLAGE_KILLS=1000` makes it more, `ULLAGE_BIN` takes another build of the program.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant, SystemTime};

use ullage::file::atomic::leftovers;

use crate::common::command::chosen_binary;
use crate::common::dice::Dice;
use crate::common::files::{Folder, arg, preset};

const OLD: &[u8] = b"what was there before\n";

/// What is killed: a name and its arguments, with `{out}` where it writes.
const VICTIMS: &[(&str, &[&str])] = &[
    (
        "fill",
        &["fill", "{quay}/set.toml", "--out", "{out}/set.toml"],
    ),
    (
        "plan",
        &[
            "plan",
            "--shelf",
            "{quay}/shelf.toml",
            "--notes",
            "C5 D5 E5",
            "--out",
            "{out}/set.toml",
        ],
    ),
    (
        "pour",
        &[
            "pour",
            "{quay}/set.toml",
            "--out",
            "{out}/pour.html",
            "--csv",
            "{out}/pour.csv",
        ],
    ),
    (
        "export",
        &[
            "export",
            "{few}/set.toml",
            "--rate-hz",
            "8000",
            "--out",
            "{out}",
        ],
    ),
    (
        "audition",
        &[
            "audition",
            "{few}/set.toml",
            "--rate-hz",
            "8000",
            "--out",
            "{out}/a.wav",
        ],
    ),
];

fn command(args: &[&str], out: &Path) -> Command {
    let (quay, few) = (preset("quay"), preset("classroom"));
    let at = |text: &&str| {
        text.replace("{out}", arg(out))
            .replace("{quay}", arg(&quay))
            .replace("{few}", arg(&few))
    };
    let mut command = Command::new(chosen_binary());
    command.args(args.iter().map(at));
    command
        .arg("--force")
        .stdout(Stdio::null())
        .stderr(Stdio::null());
    command
}

fn files(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .map(|path| {
            (
                PathBuf::from(path.file_name().unwrap()),
                fs::read(path).unwrap(),
            )
        })
        .collect()
}

/// How many runs ended by the kill, and how many files were old and new after them.
#[derive(Default)]
struct Seen {
    killed: u32,
    old: u32,
    new: u32,
}

/// Kills one run after `after` and looks at what is left.
fn kill_one(
    args: &[&str],
    whole: &BTreeMap<PathBuf, Vec<u8>>,
    out: &Path,
    after: Duration,
    seen: &mut Seen,
) {
    for name in whole.keys() {
        fs::write(out.join(name), OLD).unwrap();
    }
    let mut run = command(args, out).spawn().unwrap();
    std::thread::sleep(after);
    run.kill().unwrap();
    seen.killed += u32::from(run.wait().unwrap().code().is_none());
    let parts: Vec<PathBuf> = leftovers(out).unwrap();
    let is_part = |name: &PathBuf| parts.contains(&out.join(name));
    for (name, bytes) in files(out) {
        if is_part(&name) {
            continue;
        }
        let new = whole
            .get(&name)
            .unwrap_or_else(|| panic!("{} was not asked for", name.display()));
        if bytes == OLD {
            seen.old += 1;
        } else {
            assert!(
                bytes == *new,
                "{} is neither old nor new: {} bytes",
                name.display(),
                bytes.len()
            );
            seen.new += 1;
        }
    }
}

#[test]
fn a_killed_run_leaves_old_files_or_new_ones_and_the_next_run_cleans_up() {
    let kills: u32 = std::env::var("ULLAGE_KILLS").map_or(30, |n| n.parse().unwrap());
    let mut dice = Dice(11);
    for (name, args) in VICTIMS {
        let reference = Folder::new();
        let begun = Instant::now();
        assert!(
            command(args, reference.path()).status().unwrap().success(),
            "{name}"
        );
        let took = begun.elapsed();
        let whole = files(reference.path());
        assert!(!whole.is_empty());
        let out = Folder::new();
        let mut seen = Seen::default();
        for _ in 0..kills.div_ceil(VICTIMS.len() as u32) {
            kill_one(
                args,
                &whole,
                out.path(),
                took.mul_f64(1.1 * dice.share()),
                &mut seen,
            );
        }
        let left = leftovers(out.path()).unwrap();
        println!(
            "{name}: {} killed, files old {}, new {}, left over {}",
            seen.killed,
            seen.old,
            seen.new,
            left.len()
        );
        assert!(
            seen.killed > 0,
            "{name}: every run was quicker than its kill"
        );
        // An hour later the next run cleans up.
        for path in left {
            let hour_ago = SystemTime::now() - Duration::from_secs(3600);
            File::options()
                .write(true)
                .open(path)
                .unwrap()
                .set_modified(hour_ago)
                .unwrap();
        }
        assert!(command(args, out.path()).status().unwrap().success());
        assert!(files(out.path()) == whole, "{name}: the next run");
    }
}
