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

/// An option and the kind of its value.
type Offer = (&'static str, Kind);

#[derive(Clone, Copy)]
enum Kind {
    Flag,
    /// With one that is good.
    Number(&'static str),
    /// The first three are good, mostly.
    Word(&'static [&'static str]),
    Out(&'static str),
    OutFolder,
    Piece,
}

use Kind::{Flag, Number, Out, OutFolder, Piece, Word};

const NUMBERS: &[&str] = &[
    "0",
    "1",
    "2",
    "-1",
    "0.5",
    "1.1",
    "3",
    "17",
    "20",
    "40",
    "60",
    "99.9",
    "100",
    "101",
    "120",
    "250",
    "440",
    "1000",
    "8000",
    "44100",
    "192000",
    "1e9",
    "999999999999999999999",
    "nan",
    "-nan",
    "inf",
    "-inf",
    "1e-300",
    "-0",
    "1e400",
    "0x10",
    "1,5",
    "",
    " ",
    "ten",
    "٣",
    "1e",
    "--",
    "-10",
    "-40",
];
const GASES: &[&str] = &[
    "room air",
    "dry air",
    "breath",
    "co2",
    "helium",
    "argon",
    "nitrogen",
    "30% helium in air",
    "100% co2 in argon",
    "0% co2 in air",
    "140% co2 in air",
    "propane",
    "heluim",
    "",
    "%",
    "30% in air",
    "💨",
];
const LIQUIDS: &[&str] = &[
    "water",
    "brine",
    "salt 20%",
    "sea water",
    "sugar 30%",
    "glycerol 50%",
    "vegetable oil",
    "dish soap",
    "ethanol 40%",
    "isopropanol 70%",
    "ethanol",
    "sugar 400%",
    "salt -3%",
    "mercury",
    "",
    "ethanol nan%",
];
const NOTES: &[&str] = &[
    "C5",
    "G4",
    "C5 D5 E5",
    "C4",
    "A4",
    "G3",
    "C5x3 D5",
    "C4x1000",
    "B#9",
    "H4",
    "C-1",
    "G9",
    "",
    "x",
    "C5+50c",
    "C5 C5 C5",
    "c5",
    "Cb5,D5;E5",
    "🎵",
    "C4x0",
    "C4x99999999999999999999",
];
const NAMES: &[&str] = &[
    "cordial",
    "vial",
    "gull tonic",
    "harbour jug",
    "nobody",
    "",
    "../../etc/passwd",
    "1",
    "0",
    "-1",
    "99",
    "G3",
    "C4=cordial",
    "=",
    "C4=",
    "=vial",
    "A9=vial",
];
const SWEEPS: &[&str] = &[
    "fill-ml=0..300",
    "temp-c=0..40/9",
    "gas=co2:0..1",
    "liquid=ethanol:0..40",
    "temp-c=40..0",
    "fill-ml=0..1e12/1000",
    "humidity-pct=0..100/2",
    "lip-open=0..1",
    "fill-ml=nan..3",
    "=",
    "x=1..2",
    "gas=co2:0..9",
    "pressure-kpa=50..120/1001",
    "",
];
const CHANGES: &[&str] = &[
    "temp-c=4",
    "chilled",
    "in the sun",
    "gas=co2",
    "temp-c=nan",
    "x",
    "=",
    "headspace=dry",
    "temp-c=1000",
    "liquid=oil",
    "",
];
const SHARES: &[&str] = &[
    "dry",
    "room",
    "saturated",
    "0.5",
    "0",
    "1",
    "1.5",
    "-0.1",
    "nan",
    "wet",
];

const ROOM: &[Offer] = &[
    ("--temp-c", Number("24")),
    ("--humidity-pct", Number("40")),
    ("--pressure-kpa", Number("99")),
    ("--gas", Word(GASES)),
    ("--neck-gas", Word(GASES)),
    ("--liquid", Word(LIQUIDS)),
    ("--headspace", Word(SHARES)),
    ("--lip-open", Number("0.7")),
];
const PLAYERS: &[Offer] = &[
    ("--players", Number("5")),
    ("--hands", Number("2")),
    ("--change-s", Number("0.4")),
    ("--shorten-pct", Number("20")),
    ("--keep", Word(NAMES)),
    ("--track", Word(NAMES)),
    ("--tempo-pct", Number("120")),
    ("--piece", Piece),
];
const TUNING: &[Offer] = &[
    ("--a4-hz", Number("442")),
    (
        "--temperament",
        Word(&[
            "equal",
            "just",
            "meantone",
            "pythagorean",
            "0 0 0",
            "odd",
            "",
        ]),
    ),
    ("--tonic", Word(NOTES)),
];

/// A command, whether it takes a file, and its own options.
const COMMANDS: &[(&str, bool, &[&[Offer]])] = &[
    (
        "predict",
        true,
        &[
            ROOM,
            &[
                ("--bottle", Word(NAMES)),
                ("--fill-ml", Number("30")),
                ("--fill-g", Number("30")),
                ("--sweep", Word(SWEEPS)),
                ("--svg", Out("sweep.svg")),
                ("--json", Flag),
                ("--why", Flag),
                ("--force", Flag),
            ],
        ],
    ),
    (
        "plan",
        false,
        &[
            ROOM,
            TUNING,
            &[
                ("--notes", Word(NOTES)),
                (
                    "--scale",
                    Word(&["D dorian", "G major", "H minor", "C", ""]),
                ),
                ("--from", Word(NOTES)),
                ("--to", Word(NOTES)),
                ("--piece", Piece),
                ("--transpose", Number("-3")),
                ("--best-key", Flag),
                (
                    "--key-range",
                    Word(&["-12..12", "0..0", "5..-5", "-999..999", "x", ""]),
                ),
                ("--pin", Word(NAMES)),
                ("--keep-empty", Word(NAMES)),
                ("--max-fill-pct", Number("80")),
                ("--tolerance-cents", Number("8")),
                ("--weight-pour", Number("2")),
                ("--weight-error", Number("0.5")),
                ("--drift", Flag),
                ("--title", Word(NAMES)),
                ("--out", Out("plan.toml")),
                ("--force", Flag),
                ("--json", Flag),
            ],
        ],
    ),
    (
        "fill",
        true,
        &[
            ROOM,
            &[
                ("--out", Out("fill.toml")),
                ("--force", Flag),
                ("--json", Flag),
            ],
        ],
    ),
    ("retune", true, &[ROOM, TUNING, &[("--json", Flag)]]),
    (
        "pour",
        true,
        &[
            ROOM,
            &[
                ("--out", Out("pour.html")),
                ("--csv", Out("pour.csv")),
                ("--paper", Word(&["a4", "letter", "a3"])),
                ("--force", Flag),
                ("--json", Flag),
            ],
        ],
    ),
    (
        "compare",
        true,
        &[&[
            ("--before", Word(CHANGES)),
            ("--after", Word(CHANGES)),
            ("--json", Flag),
        ]],
    ),
    (
        "check",
        true,
        &[ROOM, PLAYERS, &[("--all", Flag), ("--json", Flag)]],
    ),
    (
        "parts",
        true,
        &[
            ROOM,
            PLAYERS,
            &[
                ("--out", OutFolder),
                ("--title", Word(NAMES)),
                ("--force", Flag),
                ("--json", Flag),
            ],
        ],
    ),
    (
        "practise",
        true,
        &[
            PLAYERS,
            &[
                ("--played", Piece),
                ("--player", Number("1")),
                ("--fine-ms", Number("40")),
                ("--reach-ms", Number("250")),
                ("--json", Flag),
            ],
        ],
    ),
    (
        "audition",
        true,
        &[
            ROOM,
            &[
                ("--out", Out("audition.wav")),
                (
                    "--rate-hz",
                    Word(&[
                        "8000", "8001", "7999", "11025", "1", "0", "-8000", "1e4", "10000000",
                    ]),
                ),
                ("--bits", Word(&["16", "24", "32f", "32", "8"])),
                ("--balance", Word(&["even", "physical", "odd"])),
                ("--breath", Number("2")),
                ("--seed", Number("9")),
                ("--lufs", Number("-18")),
                ("--level-db", Number("-3")),
                ("--dry", Flag),
                ("--all", Flag),
                ("--force", Flag),
                ("--json", Flag),
                ("--piece", Piece),
                ("--tempo-pct", Number("120")),
                ("--from-bar", Number("2")),
                ("--to-bar", Number("3")),
                ("--mute", Word(NAMES)),
                ("--solo", Word(NAMES)),
                ("--track", Word(NAMES)),
                ("--stems", OutFolder),
                ("--stems-by", Word(&["bottle", "player", "x"])),
                ("--humanise-ms", Number("12")),
                ("--click", Flag),
            ],
        ],
    ),
    (
        "export",
        true,
        &[
            ROOM,
            &[
                ("--out", OutFolder),
                ("--sf2-only", Flag),
                ("--sfz-only", Flag),
                ("--mts", Flag),
                ("--rate-hz", Word(&["8000", "7999", "0", "1e9", "-1"])),
                ("--force", Flag),
                ("--json", Flag),
            ],
        ],
    ),
    (
        "listen",
        true,
        &[
            ROOM,
            &[
                (
                    "--set",
                    Word(&[
                        "{in}/quay/set.toml",
                        "{in}/classroom/set.toml",
                        "nosuch.toml",
                    ]),
                ),
                ("--note", Word(NOTES)),
                ("--bottle", Word(NAMES)),
                ("--fill-ml", Number("30")),
                ("--target-hz", Number("300")),
                ("--within-cents", Number("6")),
                ("--walk", Flag),
                ("--json", Flag),
            ],
        ],
    ),
    (
        "schema",
        false,
        &[&[("shelf", Flag), ("set", Flag), ("x", Flag)]],
    ),
    (
        "completions",
        false,
        &[&[("bash", Flag), ("fish", Flag), ("x", Flag)]],
    ),
    ("man", false, &[&[("--x", Flag)]]),
    ("help", false, &[&[("plan", Flag), ("x", Flag)]]),
    ("nosuch", false, &[&[("--json", Flag)]]),
];

const INPUTS: &[&str] = &[
    "{in}/quay/set.toml",
    "{in}/quay/set.toml",
    "{in}/quay/set.toml",
    "{in}/quay/shelf.toml",
    "{in}/chromatic/set.toml",
    "{in}/classroom/set.toml",
    "{in}/quay/piece.mid",
    "{in}/quay",
    "nosuch.toml",
    "",
    "-",
];
const PIECES: &[&str] = &[
    "{in}/quay/piece.mid",
    "{in}/quay/piece.mid",
    "{in}/quay/piece5.mid",
    "{in}/quay/set.toml",
    "nosuch.mid",
    "",
];

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
        "export" => &[("--out", Some("made"))],
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
            None => args.push(option.to_owned()),
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
