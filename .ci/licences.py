#!/usr/bin/env python3
"""Writes the list of what is inside the program, and the notices that go along with it.

    .ci/licences.py            after any change of Cargo.toml or Cargo.lock
    .ci/licences.py --check    changes nothing, and fails where it would

It asks cargo which crates end up in the program, for each system and each feature, and reads their licences from cargo's own
copies. What it writes, `src/cli/licences/`, is compiled in: `ullage --licences` prints it.
"""

import collections
import csv
import io
import json
import pathlib
import re
import subprocess
import sys
import tomllib

ROOT = pathlib.Path(__file__).resolve().parent.parent
FOLDER = ROOT / "src/cli/licences"
# One of each: processors make no difference that is worth a row.
SYSTEMS = {
    "linux": "x86_64-unknown-linux-gnu",
    "macos": "aarch64-apple-darwin",
    "windows": "x86_64-pc-windows-msvc",
}
# From the smallest: a crate belongs to the first that brings it in, and to those that do not contain that one.
FEATURES = {"photographs": [], "recordings": [], "live": [], "window": ["live"], "jack": ["live"]}
# Of several licences to choose from, the first of these: the shortest that ask for no more than their notice.
PREFERRED = ["MIT", "ISC", "Zlib", "BSD-3-Clause", "BSD-2-Clause", "Unlicense", "Apache-2.0", "BSL-1.0", "MPL-2.0"]
# How the text of each begins to be itself.
MARKS = {
    "MIT": r"Permission is hereby granted, free of charge, to any\s+person obtaining a copy\s+of this software",
    "ISC": r"Permission to use, copy, modify, and(/or)? distribute this software for any",
    "Zlib": r"provided 'as-is', without any express or implied",
    "BSD-3-Clause": r"Redistribution and use in source and binary forms",
    "BSD-2-Clause": r"Redistribution and use in source and binary forms",
    "Unlicense": r"free and unencumbered software released into the public domain",
    "Apache-2.0": r"Apache License\s+Version 2\.0",
    "BSL-1.0": r"Boost Software License",
    "MPL-2.0": r"Mozilla Public License,? [Vv]ersion 2\.0",
    "Unicode-3.0": r"UNICODE LICENSE V3",
    "OFL-1.1": r"SIL Open Font License",
    "Ubuntu-font-1.0": r"UBUNTU FONT LICENCE Version 1\.0",
}
TITLES = {
    "MIT": "MIT License",
    "ISC": "ISC License",
    "Zlib": "zlib License",
    "BSD-3-Clause": "BSD License, three clauses",
    "BSD-2-Clause": "BSD License, two clauses",
    "Unlicense": "The Unlicense",
    "Apache-2.0": "Apache License, Version 2.0",
    "MPL-2.0": "Mozilla Public License, Version 2.0",
    "Unicode-3.0": "Unicode License V3",
}
# What is inside without being a crate: fonts that a crate embeds, and what the compiler adds. Versions as in the fonts themselves.
Font = collections.namedtuple("Font", "version licence source file holder feature")
ICONS = ("https://github.com/jslegers/emoji-icon-font", "emoji-icon-font-mit-license.txt", "")
FONTS = {
    "Hack": Font("3.003", "MIT AND Bitstream-Vera", "https://github.com/source-foundry/Hack", "Hack-Regular.txt", "", None),
    "Ubuntu Light": Font("0.83", "Ubuntu-font-1.0", "https://design.ubuntu.com/font", "UFL.txt", "Copyright 2011 Canonical Ltd.", None),
    "egui icons": Font("1.1", "MIT", *ICONS, None),
    "Noto Emoji": Font("1.05", "OFL-1.1", "https://fonts.google.com/noto", "OFL.txt", "Copyright 2013 Google Inc.", "monochrome_emoji_fonts"),
    "emoji icon font": Font("1.1", "MIT", *ICONS, "monochrome_emoji_fonts"),
}
FONT_CRATE = "epaint_default_fonts"
STANDARD = ("Rust standard library", "", "MIT OR Apache-2.0", "https://github.com/rust-lang/rust", "", "")
HEADER = ["name", "version", "licence", "source", "features", "systems"]

Crate = collections.namedtuple("Crate", "name version")


def cargo(*args):
    command = ["cargo", *args, "--locked", "--offline"]
    ran = subprocess.run(command, cwd=ROOT, capture_output=True, text=True)
    if ran.returncode != 0:
        sys.exit(f"{' '.join(command)}: {ran.stderr.strip()}\ntry: cargo fetch --locked")
    return ran.stdout


def tree(feature, target, edges):
    """The crates of a build with one feature, as cargo names them."""
    args = ["tree", "--edges", edges, "--no-default-features", "--features", feature, "--target", target]
    lines = cargo(*args, "--prefix", "none", "--format", "{p}").splitlines()
    found = set()
    for line in lines:
        name, version = line.split()[:2]
        found.add(Crate(name, version.removeprefix("v")))
    return found


def inside():
    """Each crate that ends up in the program: the features that bring it in, and the systems on which they do."""
    features, systems = collections.defaultdict(set), collections.defaultdict(set)
    for system, target in SYSTEMS.items():
        always = tree("", target, "normal,no-proc-macro")
        for crate in always:
            features[crate].add("")
            systems[crate].add(system)
        with_feature = {f: tree(f, target, "normal,no-proc-macro") - always for f in FEATURES}
        for feature, crates in with_feature.items():
            for crate in crates:
                systems[crate].add(system)
                if not any(crate in with_feature[smaller] for smaller in FEATURES[feature]):
                    features[crate].add(feature)
    return features, systems


def beyond():
    """Every crate that the lock file ties to the program without its tests: those above, and what only builds it or is for
    systems that are not listed."""
    lock = tomllib.loads((ROOT / "Cargo.lock").read_text())["package"]
    by_name = collections.defaultdict(list)
    for package in lock:
        by_name[package["name"]].append(package)
    manifest = tomllib.loads((ROOT / "Cargo.toml").read_text())
    tables = [manifest["dependencies"]] + [t.get("dependencies", {}) for t in manifest.get("target", {}).values()]
    named = {value.get("package", key) if isinstance(value, dict) else key for t in tables for key, value in t.items()}

    def find(entry):
        name, *version = entry.split()[:2]
        return next(p for p in by_name[name] if not version or p["version"] == version[0])

    own = next(p for p in lock if p["name"] == manifest["package"]["name"])
    waiting = [find(entry) for entry in own["dependencies"] if entry.split()[0] in named]
    seen = {}
    while waiting:
        package = waiting.pop()
        crate = Crate(package["name"], package["version"])
        if crate in seen:
            continue
        source = package.get("source", "")
        if source != "registry+https://github.com/rust-lang/crates.io-index":
            sys.exit(f"{crate.name} {crate.version} comes from {source or 'a folder'}: the list knows crates.io only")
        seen[crate] = package
        waiting += [find(entry) for entry in package.get("dependencies", [])]
    return set(seen)


def rows(features, systems, packages):
    listed = []
    for crate in sorted(beyond() | set(features)):
        if crate.name == "ullage":
            continue
        licence = packages[crate]["license"].replace("/", " OR ") if crate in packages else ""
        brought = "" if "" in features.get(crate, ()) else " ".join(f for f in FEATURES if f in features.get(crate, ()))
        where = " ".join(s for s in SYSTEMS if s in systems.get(crate, ())) or "none"
        listed.append((crate.name, crate.version, licence, "", brought, "" if where == " ".join(SYSTEMS) else where))
    fonts = [(name, f.version, f.licence, f.source, "window", "") for name, f in fonts_inside().items()]
    return [*listed, *fonts, STANDARD]


def fonts_inside():
    edges = cargo("tree", "--edges", "normal,features", "--features", ",".join(FEATURES), "--target", SYSTEMS["linux"], "--invert", FONT_CRATE)
    return {name: f for name, f in FONTS.items() if f.feature is None or f'{FONT_CRATE} feature "{f.feature}"' in edges}


def chosen(expression):
    """The licences of an SPDX expression under which the crate is taken: all that AND joins, one of those that OR joins."""
    tokens = re.findall(r"\(|\)|[^\s()]+", expression.replace("/", " OR "))

    def either():
        options = [both()]
        while tokens and tokens[0] == "OR":
            tokens.pop(0)
            options.append(both())

        def rank(ids):
            return max(PREFERRED.index(i) if i in PREFERRED else len(PREFERRED) for i in ids)

        return min(options, key=rank)

    def both():
        ids = one()
        while tokens and tokens[0] == "AND":
            tokens.pop(0)
            ids = ids + one()
        return ids

    def one():
        token = tokens.pop(0)
        if token == "(":
            ids = either()
            tokens.pop(0)
            return ids
        if tokens and tokens[0] == "WITH":
            tokens.pop(0)
            return [f"{token} WITH {tokens.pop(0)}"]
        return [token]

    return either()


COPYRIGHT = re.compile(r"^\W*(portions )?(copyright|©)\b(?! notice| holder| owner| law| licen[cs]e| or | and )", re.I)


def parted(text):
    """A licence's text without its copyright lines, and those lines."""
    kept, notices = [], []
    for line in text.splitlines():
        if COPYRIGHT.match(line) and "[yyyy]" not in line and "{yyyy}" not in line:
            notices.append(" ".join(line.strip(" \t*#-=").split()))
        else:
            kept.append(line.rstrip())
    return "\n".join(kept), notices


def plain(text):
    """What makes two texts the same: their words."""
    words = re.findall(r"[a-z0-9]+", text.lower())
    text = " ".join(words)
    # Titles and addresses that some copies have and others have not.
    for extra in ("the mit license mit", "mit license", "the mit license", "all rights reserved", "isc license", "bsd 3 clause license", "http opensource org licenses mit"):
        text = re.sub(rf"^{extra} ", "", text)
    return text


def files(folder):
    """The files of a crate that may be its licences, the folder's own first."""
    named = re.compile(r"(?i)^(un)?licen[cs]e|^copying|^notice|licen[cs]e\.txt$")
    found = [p for p in sorted(folder.iterdir()) if p.is_file() and named.search(p.name)]
    for sub in folder.iterdir():
        if sub.is_dir() and re.match(r"(?i)licen[cs]es?$", sub.name):
            found += sorted(p for p in sub.iterdir() if p.is_file())
    return found


def text_of(path):
    return path.read_text(encoding="utf-8", errors="replace").replace("\ufeff", "").strip("\n")


class Notices:
    """Texts of licences, and whom each of them names for which crates."""

    def __init__(self):
        self.bodies = collections.defaultdict(dict)
        self.named = collections.defaultdict(lambda: collections.defaultdict(set))
        self.bare = collections.defaultdict(set)

    def add(self, licence, text, name):
        body, notices = parted(text)
        key = plain(body)
        if licence == "Apache-2.0":
            # Its appendix says how to use it, and is missing from some copies.
            key, body = "", re.split(r"(?i)\n\s*APPENDIX: ", body)[0]
        if licence == "MPL-2.0":
            key = ""  # Copies differ in how lists are marked.
        self.bodies[licence].setdefault(key, body.strip("\n"))
        for notice in notices or [""]:
            self.named[licence, key][notice].add(name)

    def add_bare(self, licence, name, holder):
        self.bare[licence].add((name, holder))

    def text(self, elsewhere):
        """All of it; a text that no crate has for itself is taken from `elsewhere`, one that could have been taken by it."""
        parts = []
        for licence in sorted({*self.bodies, *self.bare}):
            keys = self.bodies[licence]
            if not keys:
                text = next((text for text in elsewhere if re.search(MARKS[licence], text)), None)
                if text is None:
                    sys.exit(f"no crate has the text of {licence}; {sorted(self.bare[licence])} need it")
                keys[plain(text)] = text
            often = max(keys, key=lambda k: sum(map(len, self.named[licence, k].values())))
            for holder_of in self.bare[licence]:
                self.named[licence, often][holder_of[1]].add(holder_of[0])
            for number, key in enumerate(sorted(keys, key=lambda k: (k != often, k)), 1):
                title = TITLES.get(licence, licence)
                title += f" ({number} of {len(keys)} wordings)" if len(keys) > 1 else ""
                parts.append(section(title, keys[key], self.named[licence, key]))
        return "\n\n".join(parts)


def section(title, body, named):
    lines = [title, "=" * len(title), "", body.strip("\n"), "", "For:"]
    for notice, names in sorted(named.items(), key=lambda pair: (min(pair[1]), pair[0])):
        lines.append(f"- {', '.join(sorted(names))}" + (f": {notice}" if notice else ""))
    return re.sub(r"\n{3,}", "\n\n", "\n".join(lines))


def notices(features, packages):
    found = Notices()
    extra, every = [], []
    for crate in sorted(features):
        if crate.name == "ullage":
            continue
        package = packages[crate]
        folder = pathlib.Path(package["manifest_path"]).parent
        own = [(path, text_of(path)) for path in files(folder)]
        every += [text for _, text in own]
        for licence in chosen(package["license"]):
            plainly = licence.split(" WITH ")[0]
            if crate.name == FONT_CRATE and licence in ("OFL-1.1", "Ubuntu-font-1.0"):
                continue  # Its fonts have notices of their own.
            texts = [text for path, text in own if re.search(MARKS[plainly], text) and not third_party(path)]
            for text in texts:
                found.add(licence, text, crate.name)
            if not texts:
                people = ", ".join(package["authors"]) or f"the authors of {package['repository'] or crate.name}"
                found.add_bare(licence, crate.name, "by " + re.sub(r"\s*<[^>]*>", "", people))
        extra += [(f"Notices of {crate.name}", text) for path, text in own if third_party(path)]
    # The compiler's library comes without a crate.
    found.add_bare("MIT", STANDARD[0], "by the Rust project's contributors")
    fonts = next(pathlib.Path(p["manifest_path"]).parent for c, p in packages.items() if c.name == FONT_CRATE) / "fonts"
    for name, font in fonts_inside().items():
        extra.append((f"Font: {name}", "\n\n".join(filter(None, [font.holder, text_of(fonts / font.file)]))))
    merged = collections.OrderedDict()
    for title, text in extra:
        merged.setdefault(plain(text), (title, text))
    sections = [f"{title}\n{'=' * len(title)}\n\n{text}" for title, text in merged.values()]
    return "\n\n".join([found.text(every), *sections]) + "\n"


def third_party(path):
    return bool(re.search(r"(?i)third|notice", path.name))


def main():
    features, systems = inside()
    metadata = json.loads(cargo("metadata", "--format-version", "1", "--all-features"))
    packages = {Crate(p["name"], p["version"]): p for p in metadata["packages"]}
    table = io.StringIO()
    writer = csv.writer(table, lineterminator="\n")
    writer.writerow(HEADER)
    writer.writerows(rows(features, systems, packages))
    made = {"inside.csv": table.getvalue(), "notices.txt": notices(features, packages)}
    stale = [name for name, text in made.items() if not (FOLDER / name).exists() or (FOLDER / name).read_text() != text]
    if "--check" in sys.argv[1:]:
        if stale:
            sys.exit(f"{', '.join(stale)} is not what Cargo.lock asks for\ntry: .ci/licences.py")
    else:
        FOLDER.mkdir(exist_ok=True)
        for name in stale:
            (FOLDER / name).write_text(made[name])
    count = sum(1 for line in made["inside.csv"].splitlines()[1:] if not line.endswith(",none"))
    print(f"{count} crates and fonts inside, {len(made['notices.txt'])} bytes of notices; {'written: ' + ', '.join(stale) if stale else 'as they were'}")


main()
