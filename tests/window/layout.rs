//! Where things stand: text at twice its size, and nothing that moves while it is used.

use eframe::egui::{Modifiers, Rect};
use egui_kittest::kittest::{NodeT, Queryable, by};
use ullage::app::{
    EditAsk, FileAsk, Gesture, Naming, Panel, Place, PracticeAsk, Purpose, RunAsk, ViewAsk,
};
use ullage::index::PourIndex;
use ullage::units::Volume;

use crate::common::files::read;
use crate::paper::{Rig, rig, rig_of};
use crate::stream::{opened, piece};
use crate::tape;

/// Windows of 900 by 600 and of 1600 by 1000 at 200 %, points.
const TWICE: [[f32; 2]; 2] = [[450.0, 300.0], [800.0, 500.0]];
/// Rounding of what stands in half points.
const HALF: f32 = 0.6;

/// What is written or pressed, and where it is.
fn all(rig: &Rig) -> Vec<(String, Rect)> {
    let nodes = rig.harness.query_all(
        by().predicate(|node| node.label().is_some_and(|label| !label.trim().is_empty())),
    );
    let of = |node: egui_kittest::Node<'_>| {
        let label = node.accesskit_node().label().unwrap_or_default();
        (label, node.rect())
    };
    nodes.map(of).collect()
}

/// What reaches over the left or the right side of the window; bottles of a shelf may, which scrolls there.
fn cut(rig: &Rig, width: f32) -> Vec<String> {
    let is_bottle = |label: &str| label.contains(", blown, ") || label.starts_with("Level of ");
    all(rig)
        .into_iter()
        .filter(|(label, _)| !is_bottle(label))
        .filter(|(_, rect)| rect.left() < -HALF || rect.right() > width + HALF)
        .map(|(label, rect)| format!("{label}: {rect}"))
        .collect()
}

/// A thing that is always in sight.
fn is_in(rig: &Rig, label: &str, size: [f32; 2]) -> bool {
    let window = Rect::from_min_size(Default::default(), size.into()).expand(HALF);
    let rect = rig.harness.get_by_label(label).rect();
    window.contains_rect(rect) && rect.width() > 4.0 && rect.height() > 4.0
}

#[test]
fn text_of_twice_its_size_is_nowhere_cut_and_what_is_always_needed_is_in_sight() {
    for size in TWICE {
        let mut rig = rig_of(size);
        for place in Place::ALL {
            rig.ask(ViewAsk::Place(place));
            rig.harness.run_steps(4);
            assert_eq!(cut(&rig, size[0]), [""; 0], "{place:?} in {size:?}");
            for label in ["Home", "Play", "Mute", "Retry"] {
                assert!(is_in(&rig, label, size), "{label} in {place:?}, {size:?}");
            }
        }
        rig.harness
            .state_mut()
            .open_piece(opened("presets/quay/piece5.mid", piece()));
        for panel in Panel::ALL {
            rig.ask(ViewAsk::Panel(panel));
            rig.harness.run_steps(4);
            assert_eq!(cut(&rig, size[0]), [""; 0], "{panel:?} in {size:?}");
            assert!(is_in(&rig, "Start", size), "{panel:?} in {size:?}");
        }
        // The form's buttons stand under what scrolls.
        rig.ask(FileAsk::New);
        rig.harness.run_steps(4);
        assert_eq!(cut(&rig, size[0]), [""; 0], "the form in {size:?}");
        for label in ["Put it into the crate", "Never mind"] {
            assert!(is_in(&rig, label, size), "{label} in {size:?}");
        }
    }
}

#[test]
fn where_there_is_no_room_for_both_the_shelf_or_a_panel_is_shown() {
    let mut rig = rig_of(TWICE[0]);
    assert!(rig.sees("A4, jetty sauce"));
    rig.ask(ViewAsk::Panel(Panel::Room));
    rig.harness.run_steps(3);
    assert!(!rig.sees("A4, jetty sauce") && rig.sees("Room"));
    rig.ask(ViewAsk::Shelf);
    rig.harness.run_steps(3);
    assert!(rig.sees("A4, jetty sauce"));
    // What is not in the bar is behind "More".
    assert!(!rig.sees("Undo"));
    rig.click("More");
    assert!(rig.sees("Undo") && rig.sees("Stop all sound"));
}

#[test]
fn nothing_moves_when_the_set_is_changed_or_bottles_sound() {
    let mut rig = rig();
    rig.ask(ViewAsk::Panel(Panel::Together));
    rig.harness.run_steps(3);
    let watched = [
        "Undo",
        "Record sound…",
        "Roughness of every pair of bottles",
    ];
    let where_they_are = |rig: &Rig| watched.map(|label| rig.harness.get_by_label(label).rect());
    let before = where_they_are(&rig);
    rig.ask(EditAsk::Fill(
        PourIndex::new(0),
        Volume::from_ml(30.0),
        Gesture::Single,
    ));
    for note in ["A4", "E4", "C4", "G3"] {
        let index = rig.index(note);
        rig.desk.borrow_mut().swings[index] = 0.8;
        rig.harness.run_steps(3);
        assert_eq!(where_they_are(&rig), before, "{note}");
    }
    assert!(rig.session().document().is_changed() && rig.sees("and 2 more"));
}

#[test]
fn the_panel_at_the_side_is_as_wide_whatever_is_in_it() {
    let mut rig = rig();
    let mut edges = Vec::new();
    for panel in Panel::TABS {
        rig.ask(ViewAsk::Panel(panel));
        rig.harness.run_steps(4);
        // The strip of keys ends where the panel begins.
        let strip = rig.harness.get_by_label_contains("Keys: ").rect();
        edges.push(strip.right());
    }
    let first = edges[0];
    assert!(
        edges.iter().all(|edge| (edge - first).abs() < HALF),
        "{edges:?}"
    );
}

#[test]
fn what_is_heard_moves_no_button_of_the_tuner() {
    let mut rig = tape::rig();
    let index = rig.select("A4");
    let button = "The amount is right: learn this bottle";
    let place = |rig: &tape::Rig| rig.harness.get_by_label(button).rect();
    let before = place(&rig);
    rig.click("Listen");
    assert_eq!(place(&rig), before, "the microphone is open");
    let (hz, q) = rig.gives(index, rig.fill(index) + Volume::from_ml(6.0));
    rig.play(&tape::blown(hz, q));
    assert!(rig.sees("Take out"));
    assert_eq!(place(&rig), before, "it was heard");
}

#[test]
fn the_bar_of_a_piece_stands_still_while_it_counts() {
    let mut rig = rig();
    rig.harness
        .state_mut()
        .open_piece(opened("presets/quay/piece5.mid", piece()));
    rig.harness.run_steps(3);
    let place = |rig: &Rig| rig.harness.get_by_label("click on every beat").rect();
    assert!(rig.sees("counting in"));
    let before = place(&rig);
    rig.ask(PracticeAsk::Run(RunAsk::Seek(2)));
    rig.harness.run_steps(2);
    assert!(rig.sees("bar 2."));
    assert_eq!(place(&rig), before);
}

#[test]
fn what_is_typed_takes_the_place_of_the_name_that_is_suggested() {
    let mut rig = rig();
    rig.harness.state_mut().state.naming = Some(Naming {
        purpose: Purpose::SaveAs,
        suggested: rig.path.display().to_string(),
        exists: None,
    });
    rig.harness.run_steps(3);
    let wanted = rig.path.with_file_name("mine.toml");
    let field = rig.harness.get_by_label("File name");
    assert!(field.is_focused());
    field.type_text(&wanted.display().to_string());
    rig.harness.run_steps(2);
    rig.click("OK");
    assert_eq!(rig.session().document().path, wanted);
}

#[test]
fn a_square_of_the_matrix_is_two_bottles_that_are_heard() {
    let mut rig = rig();
    rig.ask(ViewAsk::Panel(Panel::Together));
    rig.harness.run_steps(3);
    let matrix = rig
        .harness
        .get_by_label("Roughness of every pair of bottles")
        .rect();
    // The second row and the first column: the two lowest bottles. The others are scrolled to.
    let count = rig.session().derived().order.len() as f32;
    let side = (matrix.width() - 30.0) / count;
    let at = matrix.min + eframe::egui::vec2(30.0 + 0.5 * side, 1.5 * side);
    rig.forget();
    rig.tap(at, Modifiers::NONE);
    let order = rig.session().derived().order.clone();
    let blown: Vec<PourIndex> = rig.session().active().values().copied().collect();
    let mut wanted = vec![order[0], order[1]];
    wanted.sort_unstable();
    assert_eq!(blown, wanted);
}

#[test]
fn the_sheet_and_the_parts_are_written_beside_the_set() {
    let mut rig = rig();
    rig.harness.state_mut().shows = |page| page.extension().is_some_and(|e| e == "html");
    rig.ask(FileAsk::PrintParts);
    let note = |rig: &Rig| rig.session().state.note.clone();
    assert!(
        note(&rig).is_some_and(|note| note.is_bad),
        "there is no piece"
    );
    rig.harness
        .state_mut()
        .open_piece(opened("presets/quay/piece5.mid", piece()));
    rig.harness.run_steps(2);
    rig.click("Print the parts");
    rig.until("they are written", |rig| {
        note(rig).is_some_and(|note| note.text.contains("Print it at 100 %"))
    });
    let text = note(&rig).unwrap().text;
    assert!(text.contains("The parts of 5 players"), "{text}");
    let folder = rig.folder.at("set-parts");
    let pages = read(folder.join("all-parts.html"));
    for player in 1..=5 {
        assert!(pages.contains(&format!("Player {player}<")), "{player}");
        let own = read(folder.join(format!("player-{player:02}.html")));
        assert!(own.contains(&format!("Player {player}<")));
    }
    assert!(folder.join("everybody.musicxml").exists() && folder.join("everybody.mid").exists());
    rig.ask(FileAsk::PrintSheet);
    rig.until("it is written", |rig| {
        note(rig).is_some_and(|note| note.text.contains("pour sheet"))
    });
    assert!(read(rig.folder.at("set-pour-sheet.html")).contains("jetty sauce"));
}
