//! What `ullage page` writes and says, and the parts of the sheet that `ullage pour` is asked for.

use crate::common::command::{json, ullage};
use crate::common::files::{Folder, QUAY_SET, arg, preset, read};

/// Two bottles of the quay, lest sound be rendered that nobody measures here.
fn small(folder: &Folder) -> std::path::PathBuf {
    let text = read(QUAY_SET);
    let (head, pours) = text.split_once("[[pour]]").unwrap();
    let two = pours.split("[[pour]]").skip(2).take(2);
    let two: String = two.map(|pour| format!("[[pour]]{pour}")).collect();
    folder.write("set.toml", format!("{head}{two}"))
}

#[test]
fn a_page_is_one_file_with_its_piece_and_says_what_has_no_bottle() {
    let folder = Folder::new();
    let (set, out) = (small(&folder), folder.at("page.html"));
    let piece = preset("quay/piece.mid");
    let args = [
        "page",
        arg(&set),
        "--piece",
        arg(&piece),
        "--out",
        arg(&out),
    ];
    let told = json(&args);
    assert_eq!(
        (told["version"].as_u64(), told["bottles"].as_u64()),
        (Some(1), Some(2))
    );
    let page = read(&out);
    assert_eq!(told["bytes"].as_u64(), Some(page.len() as u64));
    assert_eq!(told["pieces"][0]["bars"], 24);
    assert!(told["pieces"][0]["missing"].as_array().unwrap().len() > 5);
    // G3 and A3: the page's names of intervals are those of the window, as far as the set is wide.
    assert!(page.contains(r#""intervals":["unison","semitone","whole tone"]"#));
    // Small enough to be sent: 5 bottles in 1.5 MB, which is 0.3 MB a bottle.
    assert!(page.len() < 600_000, "{} bytes", page.len());
    // What is there stays.
    ullage(&args).ended(1).says("exists").says("--force");
    assert_eq!(read(&out), page);
    // The same set, piece and build are the same page.
    ullage(&[&args[..], &["--force"]].concat())
        .ended(0)
        .prints("24 bars");
    assert_eq!(read(&out), page);
}

#[test]
fn a_page_of_nothing_is_refused_with_a_way_out() {
    let folder = Folder::new();
    let shelf = folder.write("set.toml", read(QUAY_SET).split("[[pour]]").next().unwrap());
    let out = folder.at("page.html");
    ullage(&["page", arg(&shelf), "--out", arg(&out)])
        .ended(2)
        .says("[[pour]]");
    ullage(&[
        "page",
        QUAY_SET,
        "--out",
        arg(&folder.at("no/such/page.html")),
    ])
    .ended(1)
    .says("try:");
    assert!(!out.exists());
}

#[test]
fn the_sheet_has_the_parts_that_are_asked_for() {
    let folder = Folder::new();
    let sheet = |pages: &str| {
        let out = folder.at(format!("{pages}.html"));
        ullage(&["pour", QUAY_SET, "--out", arg(&out), "--pages", pages]).ended(0);
        read(&out)
    };
    let has = |page: &str| {
        let table = page.contains("Pour in this order");
        let words = [
            "class=\"compact\"",
            "<article>",
            "Strips to cut out",
            "How the pitch moves",
        ];
        (table, words.map(|word| page.contains(word)))
    };
    assert_eq!(has(&sheet("compact")), (false, [true, false, false, false]));
    assert_eq!(
        has(&sheet("cards,strips")),
        (false, [false, true, true, false])
    );
    assert_eq!(
        has(&sheet("table,curves")),
        (true, [false, false, false, true])
    );
    ullage(&["pour", QUAY_SET, "--pages", "cover"])
        .ended(2)
        .says("compact");
}

#[test]
fn a_browser_that_is_not_there_is_named_and_the_old_pdf_stays() {
    let folder = Folder::new();
    let pdf = folder.write("sheet.pdf", "old");
    ullage(&[
        "pour",
        QUAY_SET,
        "--pdf",
        arg(&pdf),
        "--browser",
        "no-such-browser",
        "--force",
    ])
    .ended(1)
    .says("no-such-browser")
    .says("--out FILE.html");
    assert_eq!(read(&pdf), "old");
    ullage(&["pour", QUAY_SET, "--pdf", "x", "--out", "x"])
        .ended(2)
        .says("--out and --pdf name the same file");
}
