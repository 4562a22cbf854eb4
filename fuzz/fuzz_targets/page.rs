//! Any names on the page that plays: they stay text, and the script reads them as they were. Of one small bottle that is struck,
//! which is rendered in a hundredth of a second.
#![no_main]

use std::sync::LazyLock;

use libfuzzer_sys::fuzz_target;
use ullage::page::{PagePiece, PageSpec, html};
use ullage::score::{Score, ScoreNote, Track};
use ullage::set::{Set, read_set};
use ullage::stage::{OnSet, SharingSpec, Stage};

/// Title, name of the bottle, title of the piece.
const PLAIN: [&str; 3] = ["title", "jar", "piece"];
const DATA: &str = "<script type=\"application/json\" id=\"data\">";

static BASE: LazyLock<Set> = LazyLock::new(|| {
    let text = "[[bottle]]\nname = \"jar\"\nheight_mm = 120\nbody_length_mm = 60\nmouth_bore_mm = 18\n\
        body_diameter_mm = 36\nwall_mm = 2\n[[pour]]\nnote = \"C9\"\nbottle = \"jar\"\nfill_ml = 20\nway = \"struck\"\n";
    read_set(text).expect("it is a set")
});
static PLAIN_MARKS: LazyLock<[usize; 2]> = LazyLock::new(|| marks(&page(PLAIN)));

fn page([title, name, piece]: [&str; 3]) -> String {
    let mut set = BASE.clone();
    set.title = title.to_owned();
    set.kinds[0].name = name.to_owned();
    let stage = Stage::new(&set).expect("it sounds");
    let note = ScoreNote {
        start_s: 0.0,
        stop_s: 0.5,
        key: 120,
        velocity: 80,
        track: 0,
        channel: 0,
    };
    let score = Score {
        notes: vec![note],
        tracks: vec![Track::default()],
        ..Score::default()
    };
    let on = OnSet::new(stage.clone(), &score, SharingSpec::default()).expect("it has the note");
    let spec = PageSpec {
        pieces: vec![PagePiece {
            title: piece.to_owned(),
            on,
        }],
        dry: true,
    };
    html(&stage, &spec).expect("one bottle makes a page")
}

/// What stands between the tags of the data.
fn data(page: &str) -> &str {
    let (_, data) = page.split_once(DATA).expect("its tag");
    data.split_once("</script>").expect("its end").0
}

/// What text cannot bring in: tags anywhere, and quotes outside the data.
fn marks(page: &str) -> [usize; 2] {
    let quotes = page.matches('"').count() - data(page).matches('"').count();
    [page.matches('<').count(), quotes]
}

fuzz_target!(|text: &str| {
    let mut parts = text.splitn(3, '\n');
    let names = PLAIN.map(|_| parts.next().unwrap_or_default());
    // Where there is nothing to show, its place is left out.
    if names.iter().any(|name| name.trim().is_empty()) {
        return;
    }
    let page = page(names);
    assert_eq!(marks(&page), *PLAIN_MARKS, "{names:?}");
    let read: serde_json::Value = serde_json::from_str(data(&page)).expect("it is JSON");
    let said = [
        &read["title"],
        &read["bottles"][0]["name"],
        &read["pieces"][0]["title"],
    ];
    assert_eq!(said.map(|value| value.as_str()), names.map(Some));
});
