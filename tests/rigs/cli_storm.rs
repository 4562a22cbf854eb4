//! Whatever is typed: an answer or an error, never a panic, and nothing written but what was named.
//!
//! Sixty command lines by default; `ULLAGE_CLI_STORM=10000` makes it more, `ULLAGE_BIN` takes another build
//! of the program.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Duration;

use crate::common::command::{chosen_binary, run_within};
use crate::common::dice::Dice;
use crate::common::files::{Folder, arg, preset};

mod offers;

use Kind::{Flag, Number, Out, OutFolder, Piece, Word};
use offers::{COMMANDS, INPUTS, Kind, NOTES, NUMBERS, PIECES};

/// One of these.
fn one<T: Copy>(dice: &mut Dice, of: &[T]) -> T {
    of[dice.below(of.len() as u64) as usize]
}

/// Whether to take something good: nine times in ten, or few lines would get as far as doing anything.
fn good(dice: &mut Dice) -> bool {
    dice.below(10) > 0
}

/// Mostly one of the first three.
fn mostly_early<T: Copy>(dice: &mut Dice, of: &[T]) -> T {
    let early = if good(dice) { 3 } else { of.len() };
    one(dice, &of[..early.min(of.len())])
}

/// A command line, and what it may write.
struct Line {
    args: Vec<String>,
    named: Vec<PathBuf>,
}

fn line(dice: &mut Dice, inputs: &Path, work: &Path) -> Line {
    let (name, takes_file, groups) = one(dice, COMMANDS);
    let mut args = vec![name.to_owned()];
    let mut named = Vec::new();
    let at = |text: &str| text.replace("{in}", arg(inputs));
    if takes_file && dice.below(20) > 0 {
        args.push(at(mostly_early(dice, INPUTS)));
    }
    if name == "plan" && dice.below(20) > 0 {
        args.push("--shelf".to_owned());
        args.push(at(mostly_early(dice, INPUTS)));
        if good(dice) {
            args.extend(["--notes".to_owned(), mostly_early(dice, NOTES).to_owned()]);
        }
    }
    let needed: &[(&str, Option<&str>)] = match name {
        "check" => &[("--piece", None)],
        "parts" => &[("--piece", None), ("--out", Some("made"))],
        "practise" => &[("--piece", None), ("--played", None)],
        "export" | "page" => &[("--out", Some("made"))],
        "compare" => &[("--after", Some("temp-c=4"))],
        _ => &[],
    };
    for (option, value) in needed {
        if good(dice) {
            let value = value.map_or_else(|| at(mostly_early(dice, PIECES)), str::to_owned);
            args.extend([(*option).to_owned(), value]);
            named.push(work.join("made"));
        }
    }
    if name == "audition" {
        // What is written without being named is the documented default.
        named.push(work.join("audition.wav"));
    }
    for _ in 0..dice.below(6) {
        let group = one(dice, groups);
        let (option, kind) = one(dice, group);
        let value = match kind {
            Flag => None,
            Number(value) if good(dice) => Some(value.to_owned()),
            Number(_) => Some(one(dice, NUMBERS).to_owned()),
            Word(words) => Some(at(mostly_early(dice, words))),
            Piece => Some(at(mostly_early(dice, PIECES))),
            Out(file) => {
                let file = one(dice, &[file, file, "ü 瓶.x", "no/such/folder/x", ".", ""]);
                named.push(work.join(file));
                Some(file.to_owned())
            }
            OutFolder => {
                let folder = one(dice, &["made", "made", "no/such/folder", "."]);
                named.push(work.join(folder));
                Some(folder.to_owned())
            }
        };
        match value {
            // Both ways of giving a value.
            Some(value) if dice.below(2) == 0 => args.push(format!("{option}={value}")),
            Some(value) => args.extend([option.to_owned(), value]),
            None => args.push(at(option)),
        }
    }
    Line { args, named }
}

fn tree(folder: &Path, into: &mut BTreeMap<PathBuf, Vec<u8>>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            tree(&path, into);
        } else {
            let bytes = fs::read(&path).unwrap();
            into.insert(path, bytes);
        }
    }
}

fn files(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut all = BTreeMap::new();
    tree(folder, &mut all);
    all
}

/// Runs a line and says what is wrong with what it did.
fn complaint(line: &Line, work: &Path, code_counts: &mut [u32; 3]) -> Option<String> {
    let mut command = Command::new(chosen_binary());
    command.args(&line.args).current_dir(work);
    let run = run_within(&mut command, Duration::from_secs(600));
    let errors = &run.err;
    if errors.contains("panicked") || errors.contains("RUST_BACKTRACE") {
        return Some(format!("a panic: {errors}"));
    }
    let Some(code @ 0..=2) = run.code else {
        return Some(format!("exit code {:?}: {errors}", run.code));
    };
    code_counts[code as usize] += 1;
    let says_what = errors.contains("error:") || errors.contains("\"error\":");
    if code == 2 && !says_what && run.out.is_empty() && !errors.contains("Usage") {
        return Some("no word about what is wrong".to_owned());
    }
    for path in files(work).into_keys() {
        if !line.named.iter().any(|named| path.starts_with(named)) {
            return Some(format!("{} was written and not named", path.display()));
        }
    }
    None
}

#[test]
fn whatever_is_typed_gives_an_answer_or_an_error() {
    let lines: usize = std::env::var("ULLAGE_CLI_STORM").map_or(60, |n| n.parse().unwrap());
    let folder = Folder::new();
    let (inputs, work) = (folder.at("in"), folder.at("work"));
    for name in [
        "quay/set.toml",
        "quay/shelf.toml",
        "quay/piece.mid",
        "quay/piece5.mid",
        "chromatic/set.toml",
        "classroom/set.toml",
    ] {
        let to = inputs.join(name);
        fs::create_dir_all(to.parent().unwrap()).unwrap();
        fs::copy(preset(name), to).unwrap();
    }
    #[cfg(feature = "photographs")]
    fs::write(
        inputs.join("bottle.png"),
        crate::common::photograph::plain_png(),
    )
    .unwrap();
    let before = files(&inputs);
    let mut dice = Dice(23);
    let mut counts = [0; 3];
    let mut complaints = Vec::new();
    for _ in 0..lines {
        fs::create_dir_all(&work).unwrap();
        let line = line(&mut dice, &inputs, &work);
        if let Some(what) = complaint(&line, &work, &mut counts) {
            println!("ullage {:?}\n  {what}", line.args);
            complaints.push((line.args, what));
        }
        fs::remove_dir_all(&work).unwrap();
    }
    println!(
        "{lines} lines: exit code 0 {}, 1 {}, 2 {}",
        counts[0], counts[1], counts[2]
    );
    assert!(before == files(&inputs), "an input was changed");
    assert!(
        complaints.is_empty(),
        "{} of {lines}: {complaints:?}",
        complaints.len()
    );
    // What is good but cannot be done is rare.
    assert!(
        counts.iter().all(|count| *count as usize > lines / 200),
        "{counts:?}"
    );
}

#[test]
fn every_command_and_every_option_is_tried() {
    // What opens a window or a device, changes its input as it should or asks a browser for paper is tried elsewhere.
    let elsewhere = [
        "play",
        "--live",
        "--input",
        "--host",
        "--keep",
        "--buffer-frames",
        "--for-s",
        "--pdf",
        "--browser",
        "--help",
    ];
    let help = |args: &[&str]| {
        let mut command = Command::new(chosen_binary());
        run_within(command.args(args), Duration::from_secs(60)).out
    };
    let first_word = |line: &str| line.split_whitespace().next().map(str::to_owned);
    let top = help(&["--help"]);
    let commands = top
        .lines()
        .filter(|line| line.starts_with("  ") && !line.starts_with("   "));
    let commands: Vec<String> = commands
        .filter_map(first_word)
        .filter(|word| !word.starts_with('-'))
        .collect();
    assert!(commands.len() >= 20, "{top}");
    let mut forgotten = Vec::new();
    for name in commands
        .iter()
        .filter(|name| !elsewhere.contains(&name.as_str()))
    {
        let Some((_, _, groups)) = COMMANDS.iter().find(|command| command.0 == name) else {
            forgotten.push(name.clone());
            continue;
        };
        let told = help(&[name, "--help"]);
        // What explains an option stands farther in.
        let options = told
            .lines()
            .filter_map(|line| line.strip_prefix("      --"));
        let options = options
            .filter_map(first_word)
            .map(|word| format!("--{word}"));
        let tried = |option: &str| {
            groups
                .iter()
                .any(|group| group.iter().any(|offer| offer.0 == option))
        };
        let given =
            |option: &str| ["--shelf", "--piece", "--out", "--played", "--after"].contains(&option);
        for option in options {
            let option = option.as_str();
            if !tried(option) && !given(option) && !elsewhere.contains(&option) {
                forgotten.push(format!("{name} {option}"));
            }
        }
    }
    assert!(forgotten.is_empty(), "{forgotten:?}");
}
