//! Any names on the pour sheet, on a class's worksheet and in the table for spreadsheets: they stay text.
#![no_main]

use std::sync::LazyLock;

use libfuzzer_sys::fuzz_target;
use ullage::report::class_page::worksheet;
use ullage::report::html::{Paper, html};
use ullage::report::rows;
use ullage::report::sheet::Sheet;
use ullage::set::{Set, read_set};

/// Title, name of the bottle, remark.
const PLAIN: [&str; 3] = ["title", "jar", "remark"];

static BASE: LazyLock<Set> = LazyLock::new(|| {
    let text = "[[bottle]]\nname = \"jar\"\nremark = \"r\"\ncapacity_ml = 500\nmouth_bore_mm = 18\n\
        neck_length_mm = 60\nbody_diameter_mm = 66\n[[pour]]\nnote = \"C4\"\nbottle = \"jar\"\nfill_ml = 300\n";
    read_set(text).expect("it is a set")
});
static PLAIN_MARKS: LazyLock<[[usize; 2]; 2]> =
    LazyLock::new(|| pages(&named(PLAIN)).map(|page| marks(&page)));

fn named([title, name, remark]: [&str; 3]) -> Set {
    let mut set = BASE.clone();
    set.title = title.to_owned();
    set.kinds[0].name = name.to_owned();
    set.kinds[0].remark = remark.to_owned();
    set
}

fn pages(set: &Set) -> [String; 2] {
    let sheet = html(&Sheet::new(set), Paper::A4).expect("it is written to memory");
    let worksheet = worksheet(&set.title, &set.kinds, &set.conditions).expect("the bottle sounds");
    [sheet, worksheet]
}

/// What text cannot bring in: tags and quotes.
fn marks(page: &str) -> [usize; 2] {
    ['<', '"'].map(|mark| page.matches(mark).count())
}

fuzz_target!(|text: &str| {
    let mut parts = text.splitn(3, '\n');
    let names = PLAIN.map(|_| parts.next().unwrap_or_default());
    // Where there is nothing to show, its place is left out.
    if names.iter().any(|name| name.trim().is_empty()) {
        return;
    }
    let set = named(names);
    for (page, plain) in pages(&set).iter().zip(*PLAIN_MARKS) {
        assert_eq!(marks(page), plain, "{names:?}");
    }
    let table = rows::csv(&Sheet::new(&set)).expect("it is written to memory");
    let mut reader = csv::Reader::from_reader(table.as_bytes());
    let column = reader
        .headers()
        .expect("its first line")
        .iter()
        .position(|h| h == "bottle");
    let record = reader
        .records()
        .next()
        .expect("one pour")
        .expect("it is a table");
    let cell = &record[column.expect("it names the bottle")];
    assert!(
        cell == names[1] || cell.strip_prefix('\'') == Some(names[1]),
        "{cell:?}"
    );
    assert!(
        !cell.trim_start().starts_with(['=', '+', '-', '@']),
        "{cell:?}"
    );
});
