//! What the program says is inside, against the lock file that it was built from.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use serde::Deserialize;

use crate::common::command::{Run, ullage};
use crate::common::files::read;

/// Where crates come from.
const REGISTRY: &str = "registry+https://github.com/rust-lang/crates.io-index";

type Crate = (String, String);

#[derive(Deserialize)]
struct Lock {
    package: Vec<Package>,
}

#[derive(Deserialize)]
struct Package {
    name: String,
    version: String,
    #[serde(default)]
    source: String,
    #[serde(default)]
    dependencies: Vec<String>,
}

#[derive(Deserialize)]
struct Manifest {
    dependencies: toml::Table,
    target: BTreeMap<String, Target>,
}

#[derive(Deserialize)]
struct Target {
    dependencies: toml::Table,
}

fn in_crate(file: &str) -> String {
    read(Path::new(env!("CARGO_MANIFEST_DIR")).join(file))
}

/// Every crate that the lock file ties to the program when its tests are left out.
fn locked() -> BTreeSet<Crate> {
    let lock: Lock = toml::from_str(&in_crate("Cargo.lock")).unwrap();
    let manifest: Manifest = toml::from_str(&in_crate("Cargo.toml")).unwrap();
    let tables = std::iter::once(&manifest.dependencies)
        .chain(manifest.target.values().map(|target| &target.dependencies));
    let wanted: BTreeSet<&str> = tables.flat_map(|t| t.keys().map(String::as_str)).collect();
    // An entry is a name, with a version where there are several of it.
    let find = |entry: &str| -> &Package {
        let mut words = entry.split(' ');
        let (name, version) = (words.next().unwrap(), words.next());
        let is_it = |p: &&Package| p.name == name && version.is_none_or(|v| p.version == v);
        lock.package.iter().find(is_it).unwrap()
    };
    let own = find(env!("CARGO_PKG_NAME"));
    let direct = own.dependencies.iter().map(|entry| find(entry));
    let mut waiting: Vec<&Package> = direct
        .filter(|p| wanted.contains(p.name.as_str()))
        .collect();
    assert_eq!(waiting.len(), wanted.len());
    let mut found = BTreeSet::new();
    while let Some(package) = waiting.pop() {
        if found.insert((package.name.clone(), package.version.clone())) {
            assert_eq!(package.source, REGISTRY, "{}", package.name);
            waiting.extend(package.dependencies.iter().map(|entry| find(entry)));
        }
    }
    found
}

/// The columns of what was made of it: all of them texts.
fn listed() -> Vec<BTreeMap<String, String>> {
    let text = in_crate("src/cli/licences/inside.csv");
    let mut rows = csv::Reader::from_reader(text.as_bytes());
    rows.deserialize().map(Result::unwrap).collect()
}

/// Names in the first column of the printed table.
fn printed(run: &Run) -> BTreeSet<String> {
    let rows = run
        .out
        .lines()
        .skip_while(|line| !line.starts_with("name "));
    let rows = rows.skip(1).take_while(|line| !line.is_empty());
    // Names of fonts have blanks in them, but not two.
    rows.map(|row| row.split("  ").next().unwrap().to_owned())
        .collect()
}

#[test]
fn the_list_of_what_is_inside_has_every_crate_of_the_lock_file_in_its_version_and_no_other() {
    let crates = listed().into_iter().filter(|row| row["source"].is_empty());
    let listed: BTreeSet<Crate> = crates
        .map(|row| (row["name"].clone(), row["version"].clone()))
        .collect();
    let locked = locked();
    assert!(locked.len() > 300, "{}", locked.len());
    let missing: Vec<_> = locked.difference(&listed).collect();
    let gone: Vec<_> = listed.difference(&locked).collect();
    assert!(
        missing.is_empty() && gone.is_empty(),
        "run .ci/licences.py: {missing:?} are not listed, {gone:?} are no longer there"
    );
}

#[test]
fn what_is_listed_is_what_this_build_has_and_each_with_a_licence() {
    let run = ullage(&["--licences"]).ended(0);
    let names = printed(&run);
    for (name, is_inside) in [
        ("serde", true),
        ("Rust standard library", true),
        ("kamadak-exif", cfg!(feature = "photographs")),
        ("symphonia", cfg!(feature = "recordings")),
        ("cpal", cfg!(feature = "live")),
        ("egui", cfg!(feature = "window")),
        ("Hack", cfg!(feature = "window")),
        ("jack", cfg!(feature = "jack")),
        ("alsa", cfg!(all(feature = "live", target_os = "linux"))),
        ("windows-sys", cfg!(windows)),
        // What builds it, and what tests it.
        ("serde_derive", false),
        ("cc", false),
        ("criterion", false),
        ("jsonschema", false),
    ] {
        assert_eq!(names.contains(name), is_inside, "{name} in {names:?}");
    }
    assert!(names.len() > 100, "{}", names.len());
    for row in listed().iter().filter(|row| row["systems"] != "none") {
        assert!(!row["licence"].is_empty(), "{row:?}");
    }
}

#[test]
fn the_notices_name_everything_that_is_inside_and_have_the_texts() {
    let run = ullage(&["--licences=texts"]).ended(0);
    let (_, notices) = run.out.split_once("Where there is a choice").unwrap();
    // Each text ends in those whom it is for: "- serde, syn: Copyright …".
    let named = notices.lines().filter_map(|line| line.strip_prefix("- "));
    let mut named: BTreeSet<&str> = named
        .flat_map(|line| line.split(": ").next().unwrap().split(", "))
        .collect();
    named.extend(
        notices
            .lines()
            .filter_map(|line| line.strip_prefix("Font: ")),
    );
    let unnamed: Vec<String> = printed(&run)
        .into_iter()
        .filter(|name| !named.contains(name.as_str()))
        .collect();
    assert!(unnamed.is_empty(), "run .ci/licences.py: {unnamed:?}");
    for words in [
        "Permission is hereby granted, free of charge",
        "TERMS AND CONDITIONS FOR USE, REPRODUCTION, AND DISTRIBUTION",
        "Redistribution and use in source and binary forms",
        "Mozilla Public License",
        "UBUNTU FONT LICENCE Version 1.0",
    ] {
        assert!(notices.contains(words), "{words:?} in {notices}");
    }
    assert!(run.out.contains(in_crate("LICENSE").trim()));
}

#[test]
fn licences_are_asked_for_alone() {
    for args in [
        &["--licences", "plan"][..],
        &["--licences=all"],
        &["plan", "--licences"],
    ] {
        ullage(args).ended(2);
    }
}
