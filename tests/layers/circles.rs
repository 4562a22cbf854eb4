//! No circle of files is larger than a parent with its children.
//!
//! Files of one folder may know each other by way of the folder's own front; two folders, or files of different
//! families, may not lean on each other in a ring. Read from the text: what a macro puts together would escape.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

use super::{rust_files, without_comments};

/// A module's path from the crate's root: `["file", "smf", "chunks"]`.
type Module = Vec<String>;

/// The files of a crate by module, with what each of them names.
struct Crate {
    files: BTreeMap<Module, String>,
    /// What a module hands on under a name: the path that it stands for.
    handed_on: BTreeMap<(Module, String), Vec<String>>,
}

impl Crate {
    fn read(src: &Path) -> Self {
        let mut paths = Vec::new();
        rust_files(src, &mut paths);
        let code = paths
            .iter()
            .filter(|p| !p.ends_with("main.rs"))
            .map(|path| {
                let inside = path.strip_prefix(src).unwrap().with_extension("");
                let mut module: Module = inside
                    .iter()
                    .map(|part| part.to_str().unwrap().to_owned())
                    .collect();
                if matches!(module.last().map(String::as_str), Some("mod" | "lib")) {
                    module.pop();
                }
                (module, fs::read_to_string(path).unwrap())
            });
        Self::of(code)
    }

    fn of(code: impl Iterator<Item = (Module, String)>) -> Self {
        // Tests may know more than what they test.
        let plain = |text: String| {
            let text = without_comments(&text);
            let end = text.find("\nmod tests {").unwrap_or(text.len());
            text[..end].to_owned()
        };
        let files: BTreeMap<Module, String> = code.map(|(m, text)| (m, plain(text))).collect();
        let mut handed_on = BTreeMap::new();
        for (module, text) in &files {
            for tree in uses(text) {
                for path in paths_of(&[], tree) {
                    let name = path.last().cloned().unwrap_or_default();
                    handed_on.insert((module.clone(), name), path);
                }
            }
        }
        Self { files, handed_on }
    }

    /// The file that `path`, written in `own`, leads into.
    fn target(&self, own: &Module, path: &[String], depth: usize) -> Option<Module> {
        let mut at: Module = match path.first().map(String::as_str) {
            Some("crate") => Vec::new(),
            Some("super") => own[..own.len().saturating_sub(1)].to_vec(),
            _ => own.clone(),
        };
        let roots = ["crate", "self", "super"];
        let mut rest = &path[usize::from(roots.contains(&path.first()?.as_str()))..];
        while let Some(name) = rest.first() {
            if name == "super" {
                at.pop();
                rest = &rest[1..];
                continue;
            }
            let inner: Module = at.iter().cloned().chain([name.clone()]).collect();
            if self.files.contains_key(&inner) {
                at = inner;
                rest = &rest[1..];
                continue;
            }
            // A name that the module hands on leads to where it comes from.
            return match self.handed_on.get(&(at.clone(), name.clone())) {
                Some(from) if depth < 8 => self.target(&at, from, depth + 1),
                _ => Some(at),
            };
        }
        Some(at)
    }

    /// What each file names, itself left out.
    fn edges(&self) -> BTreeMap<&Module, BTreeSet<&Module>> {
        let edges = |(own, text): (&'_ Module, &'_ String)| {
            let found = paths_in(text, own, &self.files);
            let targets = found
                .iter()
                .filter_map(|path| self.target(own, path, 0))
                .filter(|target| target != own);
            targets.collect::<BTreeSet<Module>>()
        };
        self.files
            .iter()
            .map(|(own, text)| {
                let named = edges((own, text));
                let known = named.iter().filter_map(|m| self.files.get_key_value(m));
                (own, known.map(|(module, _)| module).collect())
            })
            .collect()
    }

    /// Every ring of files that reach each other, as sorted lists of two and more.
    fn circles(&self) -> Vec<Vec<&Module>> {
        let edges = self.edges();
        let reach: BTreeMap<&Module, BTreeSet<&Module>> = edges
            .keys()
            .map(|&from| (from, reachable(from, &edges)))
            .collect();
        let mut seen: BTreeSet<&Module> = BTreeSet::new();
        let mut circles = Vec::new();
        for (&from, reached) in &reach {
            if seen.contains(from) {
                continue;
            }
            let ring: Vec<&Module> = reached
                .iter()
                .copied()
                .filter(|to| reach[to].contains(from))
                .collect();
            if ring.len() > 1 {
                seen.extend(&ring);
                circles.push(ring);
            }
        }
        circles
    }
}

fn reachable<'a>(
    from: &'a Module,
    edges: &BTreeMap<&'a Module, BTreeSet<&'a Module>>,
) -> BTreeSet<&'a Module> {
    let (mut found, mut open) = (BTreeSet::new(), vec![from]);
    while let Some(at) = open.pop() {
        open.extend(edges[at].iter().copied().filter(|to| found.insert(*to)));
    }
    found
}

/// One folder's front and the files beside it, or files side by side in one folder.
fn is_family(circle: &[&Module]) -> bool {
    let Some(shortest) = circle.iter().min_by_key(|module| module.len()) else {
        return true;
    };
    let folder = |depth: usize| {
        let inside = |m: &&Module| m.len() <= depth + 1 && m.starts_with(&shortest[..depth]);
        circle.iter().all(inside)
    };
    folder(shortest.len()) || (!shortest.is_empty() && folder(shortest.len() - 1))
}

/// What stands between each `use` and its semicolon: what a module takes in, its children can have of it.
fn uses(text: &str) -> Vec<&str> {
    let mut found = Vec::new();
    for (at, _) in text.match_indices("use ") {
        let begins = text[..at]
            .chars()
            .next_back()
            .is_none_or(|c| c.is_whitespace() || c == ')');
        if begins {
            let tree = &text[at + "use ".len()..];
            found.push(tree.split(';').next().unwrap_or(""));
        }
    }
    found
}

/// Every path of a tree such as `a::{b, c::{d, e}}` that stands behind `base`.
fn paths_of(base: &[String], tree: &str) -> Vec<Vec<String>> {
    let tree = tree.trim();
    let (head, group) = match tree.find('{') {
        Some(at) => (&tree[..at], Some(&tree[at + 1..])),
        None => (tree.split(" as ").next().unwrap_or(tree), None),
    };
    let names = head.split("::").map(str::trim).filter(|n| !n.is_empty());
    let path: Vec<String> = base
        .iter()
        .cloned()
        .chain(names.map(str::to_owned))
        .collect();
    let Some(group) = group else {
        return if path.is_empty() {
            Vec::new()
        } else {
            vec![path]
        };
    };
    let (mut depth, mut from, mut found) = (0, 0, Vec::new());
    for (at, c) in group.char_indices() {
        match c {
            '{' => depth += 1,
            '}' if depth > 0 => depth -= 1,
            '}' | ',' if depth == 0 => {
                if !group[from..at].trim().is_empty() {
                    found.extend(paths_of(&path, &group[from..at]));
                }
                from = at + 1;
                if c == '}' {
                    break;
                }
            }
            _ => {}
        }
    }
    found
}

/// Every path in `text` that begins at the crate's root, one module up, here, or with a child of `own`.
fn paths_in(text: &str, own: &Module, files: &BTreeMap<Module, String>) -> Vec<Vec<String>> {
    let mut found = Vec::new();
    for (at, _) in text.match_indices("::") {
        let first = text[..at]
            .rfind(|c: char| !c.is_alphanumeric() && c != '_')
            .map_or(0, |before| before + 1);
        // `pub(in crate::app)` says who may see something, and leans on nobody.
        let begins = !text[..first].ends_with("::") && !text[..first].ends_with("in ");
        let name = &text[first..at];
        let child = || {
            let inner: Module = own.iter().cloned().chain([name.to_owned()]).collect();
            files.contains_key(&inner)
        };
        if !begins || !(matches!(name, "crate" | "super" | "self") || child()) {
            continue;
        }
        let end = end_of_path(&text[first..]);
        found.extend(paths_of(&[], &text[first..first + end]));
    }
    found
}

/// Where a path ends that may end in a group.
fn end_of_path(text: &str) -> usize {
    let mut depth = 0;
    for (at, c) in text.char_indices() {
        match c {
            '{' if depth > 0 || text[..at].trim_end().ends_with("::") => depth += 1,
            '}' if depth > 1 => depth -= 1,
            '}' if depth == 1 => return at + 1,
            c if depth > 0 || c.is_alphanumeric() || c == '_' || c == ':' => {}
            _ => return at,
        }
    }
    text.len()
}

#[test]
fn no_circle_of_files_is_larger_than_a_parent_with_its_children() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let read = Crate::read(&src);
    let edges: usize = read.edges().values().map(BTreeSet::len).sum();
    println!("{} files, {edges} imports between them", read.files.len());
    assert!(edges > read.files.len(), "only {edges} imports were found");
    let name = |module: &&Module| module.join("/");
    let broken: Vec<String> = read
        .circles()
        .into_iter()
        .filter(|circle| !is_family(circle))
        .map(|circle| circle.iter().map(name).collect::<Vec<_>>().join(", "))
        .collect();
    assert!(broken.is_empty(), "circles:\n{}", broken.join("\n"));
}

/// A crate of a few lines.
fn small(files: &[(&str, &str)]) -> Crate {
    let module = |path: &str| path.split('/').map(str::to_owned).collect::<Module>();
    Crate::of(
        files
            .iter()
            .map(|(path, text)| (module(path), (*text).to_owned())),
    )
}

#[test]
fn a_circle_between_families_is_found_however_it_is_written() {
    for back in [
        "use crate::a::x::Thing;",
        "use crate::{a::{x, y}};",
        "use super::super::a::x;",
        "fn f() -> crate::a::x::Thing { todo!() }",
        "use crate::a::Handed;",
    ] {
        let read = small(&[
            ("a", "pub use x::Handed;\nmod x;"),
            ("a/x", "use crate::b::z::Other;"),
            ("b", ""),
            ("b/z", back),
        ]);
        let found: Vec<_> = read
            .circles()
            .into_iter()
            .filter(|c| !is_family(c))
            .collect();
        assert_eq!(found.len(), 1, "{back}");
    }
}

#[test]
fn a_folder_with_its_front_is_a_family_and_one_way_is_no_circle() {
    let family = small(&[
        ("a", "mod x; mod y; pub use x::One;"),
        ("a/x", "use super::y::Two;"),
        ("a/y", "use super::One;"),
    ]);
    assert_eq!(family.circles().len(), 1);
    assert!(family.circles().iter().all(|circle| is_family(circle)));
    let one_way = small(&[
        ("a", ""),
        ("a/x", "use crate::b::z;"),
        ("b", ""),
        ("b/z", ""),
    ]);
    assert!(one_way.circles().is_empty());
}
