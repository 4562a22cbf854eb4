//! The layers hold: no folder of `src/` names one that it may not know.
//!
//! This table is the rule; the code is read for paths that break it, from the crate's root or by way
//! of `super`. What a macro puts together would escape.
#![allow(clippy::unwrap_used)]

mod circles;

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// Folder, and what of ours it may import besides itself. `*` is everything.
const MAY_IMPORT: &[(&str, &[&str])] = &[
    ("index", &[]),
    ("number", &[]),
    ("units", &[]),
    ("tuning", &["units"]),
    ("score", &["units"]),
    ("physics", &["units"]),
    ("sounding", &["units", "physics"]),
    ("fit", &["units", "physics"]),
    ("file", &["units", "score"]),
    ("trace", &["index", "units"]),
    (
        "set",
        &[
            "index", "number", "units", "tuning", "physics", "sounding", "fit", "file",
        ],
    ),
    (
        "plan",
        &["index", "units", "tuning", "score", "physics", "sounding"],
    ),
    ("synth", &["index", "units", "score", "physics"]),
    (
        "stage",
        &[
            "index", "number", "units", "tuning", "score", "physics", "sounding", "fit", "file",
            "set", "plan", "synth",
        ],
    ),
    ("live", &["index", "units", "score", "synth"]),
    (
        "report",
        &[
            "index", "number", "units", "tuning", "score", "physics", "sounding", "file", "set",
            "plan",
        ],
    ),
    ("listen", &["units", "physics", "fit"]),
    ("pouring", &["units", "physics"]),
    (
        "tuner",
        &[
            "index", "number", "units", "tuning", "score", "physics", "sounding", "fit", "file",
            "set", "plan", "synth", "stage", "listen", "pouring",
        ],
    ),
    (
        "parts",
        &[
            "index", "number", "units", "tuning", "score", "physics", "sounding", "fit", "file",
            "set", "plan", "synth", "stage", "report",
        ],
    ),
    (
        "page",
        &[
            "index", "number", "units", "tuning", "score", "physics", "sounding", "fit", "file",
            "set", "plan", "synth", "stage", "report",
        ],
    ),
    ("app", &["*"]),
    ("cli", &["*"]),
    // The two that join everything: the crate's front page and the program's first lines.
    ("lib", &["*"]),
    ("main", &["*"]),
];

/// So few files would mean that the folder was not found, or not read to its end.
const FEWEST_FILES: usize = 12;

/// `code` without comments, so that prose and doc links break no rule. Text in quotes that looks like
/// a comment is cut too, which can only hide a path on the same line behind `//` in a string.
fn without_comments(code: &str) -> String {
    let mut plain = String::new();
    for line in code.lines() {
        plain.push_str(line.split("//").next().unwrap_or(""));
        plain.push('\n');
    }
    plain
}

/// The first names that follow the crate's root in `code`: of a group, all of them. The root is
/// `depth` times `super` from the file's own code, and once more from its tests.
fn imports(code: &str, depth: usize) -> BTreeSet<String> {
    let code = without_comments(code);
    let mut found = BTreeSet::new();
    let up = |times| "super::".repeat(times);
    for root in ["crate::", "ullage::", &up(depth), &up(depth + 1)] {
        for (at, _) in code.match_indices(root).filter(|_| !root.is_empty()) {
            let before = code[..at].chars().next_back();
            if before.is_some_and(|c| c.is_alphanumeric() || c == '_') {
                continue;
            }
            let rest = code[at + root.len()..].trim_start();
            match rest.strip_prefix('{') {
                Some(group) => found.extend(first_names(group)),
                None => found.extend(name_at(rest)),
            }
        }
    }
    found
}

fn name_at(text: &str) -> Option<String> {
    let name: String = text
        .trim_start()
        .chars()
        .take_while(|c| c.is_alphanumeric() || *c == '_')
        .collect();
    (!name.is_empty()).then_some(name)
}

/// The first name of each path in a group, inner groups left out: of `a::{b, c}, d}` it is a and d.
fn first_names(group: &str) -> Vec<String> {
    let (mut depth, mut names, mut from) = (0, Vec::new(), 0);
    for (i, c) in group.char_indices() {
        match c {
            '{' => depth += 1,
            '}' if depth > 0 => depth -= 1,
            '}' | ',' if depth == 0 => {
                names.extend(name_at(&group[from..i]));
                from = i + 1;
                if c == '}' {
                    break;
                }
            }
            _ => {}
        }
    }
    names
}

/// The rules that a file of `folder`, `depth` modules under the root, breaks; as sentences.
fn broken_rules(folder: &str, depth: usize, code: &str) -> Vec<String> {
    let Some((_, allowed)) = MAY_IMPORT.iter().find(|(name, _)| *name == folder) else {
        return vec![format!("{folder} is not in the table of layers")];
    };
    let is_layer = |name: &str| MAY_IMPORT.iter().any(|(layer, _)| *layer == name);
    let fine = |name: &String| name == folder || allowed.iter().any(|a| a == name || *a == "*");
    imports(code, depth)
        .into_iter()
        .filter(|name| is_layer(name) && !fine(name))
        .map(|name| format!("{folder} may not import {name}"))
        .collect()
}

fn rust_files(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            rust_files(&path, found);
        } else if path.extension().is_some_and(|e| e == "rs") {
            found.push(path);
        }
    }
}

/// `units` for `src/units.rs`, `file` for `src/file/wav.rs`.
fn layer_of(path: &Path, src: &Path) -> String {
    let inside = path.strip_prefix(src).unwrap();
    let first = inside.components().next().unwrap();
    let name = Path::new(first.as_os_str());
    name.file_stem().unwrap().to_str().unwrap().to_owned()
}

/// How many times `super` leads from this file's code to the crate's root.
fn depth_of(path: &Path, src: &Path) -> usize {
    let parts = path.strip_prefix(src).unwrap().components().count();
    let is_root = matches!(
        path.file_name().unwrap().to_str(),
        Some("mod.rs" | "lib.rs" | "main.rs")
    );
    if is_root { parts - 1 } else { parts }
}

#[test]
fn no_file_imports_what_its_layer_may_not() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    rust_files(&src, &mut files);
    let mut broken = Vec::new();
    let mut layers = BTreeSet::new();
    for path in &files {
        let layer = layer_of(path, &src);
        let code = fs::read_to_string(path).unwrap();
        let rules = broken_rules(&layer, depth_of(path, &src), &code).into_iter();
        broken.extend(rules.map(|rule| format!("{}: {rule}", path.display())));
        layers.insert(layer);
    }
    println!("{} files of {} layers read", files.len(), layers.len());
    assert!(
        files.len() >= FEWEST_FILES,
        "only {} files found",
        files.len()
    );
    for layer in ["units", "physics", "plan", "synth", "file", "cli"] {
        assert!(layers.contains(layer), "{layer} was not read");
    }
    assert!(broken.is_empty(), "{}", broken.join("\n"));
}

#[test]
fn a_line_that_breaks_the_rule_is_found_however_it_is_written() {
    for line in [
        "use crate::set::Shelf;",
        "use crate::{units::Length, set::Shelf};",
        "use crate::{\n    units::{Length, Volume},\n    set,\n};",
        "pub(crate) use crate::{physics::{self, air::{Air}}, set::Set};",
        "fn f() -> crate::set::Shelf { todo!() }",
        "use ullage::set::Shelf;",
        "use super::super::set::Shelf;",
        "mod tests { use super::super::super::{units, set::Shelf}; }",
        "let x = f::<crate::set::Shelf>();",
    ] {
        assert_eq!(
            broken_rules("plan", 2, line),
            ["plan may not import set"],
            "{line}"
        );
    }
    assert_eq!(
        broken_rules("extra", 2, ""),
        ["extra is not in the table of layers"]
    );
}

#[test]
fn a_line_that_keeps_the_rule_passes() {
    for line in [
        "use crate::{units::{Length, synth}, physics};",
        "use crate::plan::cost::Cost;",
        "/// See [`crate::set::Shelf`].",
        "use super::search;",
        "use super::set;",
        "use mycrate::set::Shelf;",
        "pub use crate::score;",
    ] {
        assert_eq!(
            broken_rules("plan", 2, line),
            Vec::<String>::new(),
            "{line}"
        );
    }
    assert!(broken_rules("cli", 2, "use crate::{plan, synth, app};").is_empty());
}

#[test]
fn the_table_has_no_circle() {
    // Each row may name only rows above it; so no order of imports can come back to its start.
    for (i, (folder, allowed)) in MAY_IMPORT.iter().enumerate() {
        for name in allowed.iter().filter(|name| **name != "*") {
            let at = MAY_IMPORT.iter().position(|(layer, _)| layer == name);
            assert!(at.is_some_and(|at| at < i), "{folder} names {name}");
        }
    }
}
