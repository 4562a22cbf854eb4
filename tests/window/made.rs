//! A set is made in the window: bottles described, notes planned, poured, and taken back.

use egui_kittest::kittest::Queryable;
use ullage::app::{
    BottleForm, CrateAsk, Document, EditAsk, FileAsk, Gesture, LeaveAsk, Naming, Place, PlanAsk,
    PlanField, Purpose, ShelfAsk, ViewAsk, WantedFrom, Wish,
};
use ullage::index::{KindIndex, PourIndex};
use ullage::set::Way;
use ullage::set::describe::Question;
use ullage::units::Volume;

use crate::common::files::read;
use crate::common::window::{FLASK, SODA};
use crate::paper::{Rig, rig, rig_of, rig_of_nothing};

/// Describes a bottle by its answers, and puts it into the crate.
fn describe(rig: &mut Rig, answers: &[(Question, &str)]) {
    for (question, text) in answers {
        rig.ask(CrateAsk::Answer(*question, (*text).to_owned()));
    }
    rig.harness.run_steps(2);
    rig.click("Put it into the crate");
}

/// A crate of two kinds, typed in.
fn crate_of_two() -> Rig {
    let mut rig = rig_of_nothing();
    assert_eq!(rig.session().state.place, Place::Start);
    rig.click("New from my bottles");
    describe(&mut rig, &FLASK);
    rig.click("Add a bottle");
    describe(&mut rig, &SODA);
    rig
}

#[test]
fn two_kinds_are_typed_in_planned_used_and_taken_back() {
    let mut rig = crate_of_two();
    let names: Vec<(&str, u32)> = (rig.session().document().fixed.kinds.iter())
        .map(|kind| (kind.name.as_str(), kind.count))
        .collect();
    assert_eq!(names, [("flask", 4), ("soda", 6)]);
    rig.until("every bottle has its notes", |rig| {
        rig.session().making.reach.len() == 2
    });
    assert!(rig.sees("cents") && rig.sees("Surer"));
    rig.click("Choose the notes");
    assert_eq!(rig.session().state.place, Place::Plan);
    rig.click("Work it out");
    rig.until("it is planned", |rig| {
        rig.session().making.planned.is_some()
    });
    let planned = rig.session().making.planned.as_ref().unwrap();
    let count = planned.document.model.pours.len();
    assert!(count >= 5 && planned.left_out.is_empty(), "{planned:?}");
    assert!(rig.sees("Keys that fit these bottles best"));
    rig.click("Use this set");
    assert_eq!(rig.session().state.place, Place::Play);
    assert_eq!(rig.session().document().model.pours.len(), count);
    // Every note of the pentatonic on C, in tune as it was worked out.
    for bottle in &rig.session().derived().bottles {
        assert!(
            [0, 2, 4, 7, 9].contains(&(bottle.note.midi() % 12)),
            "{}",
            bottle.note
        );
        let cents = bottle.pitch.as_ref().unwrap().cents;
        assert!(cents.abs() < 5.0, "{}: {cents}", bottle.note);
    }
    assert!(rig.session().document().is_unnamed() && rig.session().document().is_changed());
    rig.ask(EditAsk::Undo);
    assert_eq!(rig.session().state.place, Place::Crate);
    assert_eq!(rig.session().document().fixed.kinds.len(), 2);
    assert!(rig.session().document().model.pours.is_empty());
    rig.ask(EditAsk::Redo);
    assert_eq!(rig.session().document().model.pours.len(), count);
}

#[test]
fn a_set_without_a_file_asks_for_one_before_it_is_left() {
    let mut rig = crate_of_two();
    rig.ask(LeaveAsk::Close);
    rig.harness.run_steps(2);
    assert!(!rig.session().state.quit && rig.sees("There are changes that are not saved"));
    rig.ask(LeaveAsk::Stay);
    let path = rig.folder.at("mine.toml");
    rig.harness.state_mut().state.naming = Some(Naming {
        purpose: Purpose::SaveAs,
        suggested: path.display().to_string(),
        exists: None,
    });
    rig.harness.run_steps(3);
    rig.click("OK");
    let saved = Document::open(&path).unwrap();
    assert_eq!(saved.fixed.kinds.len(), 2);
    assert!(!rig.session().document().is_changed());
    let text = read(&path);
    assert!(text.contains("# Bottles in the crate.") && text.contains("capacity_ml = 354.9"));
}

#[test]
fn a_mistake_stands_beside_its_field_and_nothing_is_put_into_the_crate() {
    let mut rig = rig_of_nothing();
    rig.ask(FileAsk::New);
    rig.harness.run_steps(2);
    let form = |rig: &Rig| rig.session().making.form.clone().unwrap();
    rig.ask(CrateAsk::Answer(Question::Capacity, "12 in".to_owned()));
    rig.ask(CrateAsk::Answer(Question::Mouth, "wide".to_owned()));
    rig.harness.run_steps(2);
    let problems = form(&rig).problems;
    assert!(problems[&Question::Capacity].contains("fl oz"));
    assert!(problems[&Question::Mouth].contains("does not begin with a number"));
    assert!(rig.sees("does not begin with a number"));
    rig.ask(CrateAsk::Keep);
    assert!(form(&rig).problems[&Question::Name].contains("needed"));
    assert!(rig.session().document().fixed.kinds.is_empty());
    // What contradicts itself is said of the field that does, in words and not in keys.
    for (question, text) in [
        (Question::Name, "odd"),
        (Question::Capacity, "300 ml"),
        (Question::Mouth, "18 mm"),
        (Question::Height, "200 mm"),
        (Question::Count, "0"),
    ] {
        rig.ask(CrateAsk::Answer(question, text.to_owned()));
    }
    let BottleForm {
        problems, trouble, ..
    } = form(&rig);
    assert!(
        problems.contains_key(&Question::Count),
        "{problems:?} {trouble:?}"
    );
    assert!(!problems[&Question::Count].contains('_'));
}

#[test]
fn a_bottle_is_edited_duplicated_counted_and_removed_with_every_comment_kept() {
    let mut rig = rig();
    rig.ask(ViewAsk::Place(Place::Crate));
    rig.harness.run_steps(2);
    let cordial = |rig: &Rig| {
        let kinds = &rig.session().document().fixed.kinds;
        kinds
            .iter()
            .position(|kind| kind.name == "cordial")
            .map(KindIndex::new)
    };
    let before = rig.session().document().text().unwrap();
    let kind = cordial(&rig).unwrap();
    rig.ask(CrateAsk::Edit(kind));
    rig.ask(CrateAsk::Answer(Question::Name, "squash".to_owned()));
    rig.ask(CrateAsk::Keep);
    assert!(cordial(&rig).is_none());
    let text = rig.session().document().text().unwrap();
    assert!(text.contains("name = \"squash\"") && text.contains("bottle = \"squash\""));
    assert!(!text.contains("\"cordial\""));
    let remarks = |text: &str| text.lines().filter(|line| line.starts_with('#')).count();
    assert_eq!(remarks(&text), remarks(&before));
    // Nothing else has changed: no number is written anew.
    assert_eq!(text.replace("squash", "cordial"), before);
    rig.ask(EditAsk::Undo);
    assert_eq!(rig.session().document().text().unwrap(), before);
    rig.ask(CrateAsk::Duplicate(kind));
    assert!(
        rig.session()
            .document()
            .text()
            .unwrap()
            .contains("name = \"cordial 2\"")
    );
    let pours = rig.session().document().model.pours.len();
    assert_eq!(pours, 15, "a bottle more is no note more");
    rig.ask(EditAsk::Undo);
    let own = |rig: &Rig, kind: KindIndex| {
        let pours = rig.session().document().model.pours.iter();
        pours.filter(|pour| pour.kind == kind).count()
    };
    let of_it = own(&rig, kind);
    assert!(of_it > 0);
    rig.ask(CrateAsk::Remove(kind));
    assert_eq!(rig.session().document().model.pours.len(), 15 - of_it);
    assert!(cordial(&rig).is_none());
    rig.ask(EditAsk::Undo);
    assert_eq!(rig.session().document().text().unwrap(), before);
    // Fewer than there are notes in it is refused, and said.
    rig.ask(CrateAsk::Count(kind, 1));
    rig.harness.run_steps(2);
    assert!(
        rig.session()
            .state
            .note
            .as_ref()
            .is_some_and(|note| note.is_bad)
            || of_it <= 1
    );
}

#[test]
fn notes_of_the_shelf_come_go_and_change_their_bottles_and_ways() {
    let mut rig = rig();
    let index = rig.index("A4");
    rig.ask(EditAsk::Shelf(ShelfAsk::Duplicate(index)));
    let a4 = |rig: &Rig| {
        let bottles = rig.session().derived().bottles.iter();
        bottles.filter(|b| b.note.to_string() == "A4").count()
    };
    assert_eq!(a4(&rig), 2);
    rig.ask(EditAsk::Undo);
    assert_eq!(a4(&rig), 1);
    rig.ask(EditAsk::Shelf(ShelfAsk::Remove(index)));
    assert_eq!(a4(&rig), 0);
    rig.ask(EditAsk::Undo);
    // C4 into a kind of which there is one left over.
    let index = rig.index("C4");
    let document = rig.session().document();
    let own = document.model.pours[index].kind;
    let used = |kind| {
        document
            .model
            .pours
            .iter()
            .filter(|pour| pour.kind == kind)
            .count()
    };
    let other = KindIndex::each(&document.fixed.kinds)
        .find(|(at, kind)| *at != own && used(*at) < kind.count as usize)
        .map(|(at, _)| at)
        .unwrap();
    rig.ask(EditAsk::Shelf(ShelfAsk::Into(index, other)));
    assert_eq!(rig.session().document().model.pours[index].kind, other);
    rig.ask(EditAsk::Undo);
    assert_eq!(rig.session().document().model.pours[index].kind, own);
    // Glass rings far above A4: it is struck from then on, and that it cannot is said.
    let index = rig.index("A4");
    rig.ask(EditAsk::Shelf(ShelfAsk::Way(index, Way::Struck)));
    assert_eq!(rig.session().document().model.pours[index].way, Way::Struck);
    let note = rig.session().state.note.clone().unwrap();
    assert!(note.is_bad && note.text.contains("A4"), "{}", note.text);
}

#[test]
fn what_is_wrong_with_a_plan_stands_beside_its_field_and_a_plan_can_be_stopped() {
    let mut rig = crate_of_two();
    rig.ask(ViewAsk::Place(Place::Plan));
    rig.ask(PlanAsk::Wish(Wish::From(WantedFrom::Notes)));
    rig.ask(PlanAsk::Wish(Wish::Notes("C4 H4".to_owned())));
    rig.ask(PlanAsk::Begin);
    rig.harness.run_steps(2);
    assert!(
        rig.session()
            .making
            .wishes
            .problems
            .contains_key(&PlanField::Notes)
    );
    assert!(rig.sees("letter from A to G"));
    rig.ask(PlanAsk::Wish(Wish::Notes("C4 D4".to_owned())));
    rig.ask(PlanAsk::Wish(Wish::A4("loud".to_owned())));
    rig.ask(PlanAsk::Begin);
    assert!(
        rig.session()
            .making
            .wishes
            .problems
            .contains_key(&PlanField::A4)
    );
    rig.ask(PlanAsk::Wish(Wish::A4("442 Hz".to_owned())));
    rig.ask(PlanAsk::Wish(Wish::Way(Way::Blown, false)));
    rig.ask(PlanAsk::Begin);
    assert!(
        rig.session()
            .making
            .wishes
            .problems
            .contains_key(&PlanField::Ways)
    );
    rig.ask(PlanAsk::Wish(Wish::Way(Way::Blown, true)));
    rig.ask(PlanAsk::Begin);
    assert!(rig.session().making.progress.is_some());
    rig.ask(PlanAsk::Cancel);
    for _ in 0..20 {
        rig.harness.run_steps(1);
        std::thread::sleep(std::time::Duration::from_millis(5));
    }
    assert!(rig.session().making.planned.is_none() && rig.session().making.progress.is_none());
}

#[test]
fn a_note_that_no_bottle_reaches_is_named_with_what_would_help_and_no_command() {
    let mut rig = crate_of_two();
    rig.ask(ViewAsk::Place(Place::Plan));
    rig.ask(PlanAsk::Wish(Wish::From(WantedFrom::Notes)));
    rig.ask(PlanAsk::Wish(Wish::Notes("C1 C4".to_owned())));
    rig.ask(PlanAsk::Begin);
    rig.until("it is planned", |rig| {
        rig.session().making.planned.is_some()
    });
    let planned = rig.session().making.planned.as_ref().unwrap();
    assert_eq!(planned.left_out.len(), 1);
    assert_eq!(planned.left_out[0].note, "C1");
    let all = format!("{:?}", planned.left_out);
    assert!(all.contains("semitones up") && !all.contains("--"), "{all}");
    assert!(rig.sees("What would help"));
    // Another of the keys that were tried, by its name.
    let place = planned
        .keys
        .iter()
        .position(|key| key.semitones != 0)
        .unwrap();
    let key = planned.keys[place].clone();
    rig.ask(PlanAsk::InKey(place));
    rig.until("it is in the other key", |rig| {
        let planned = rig.session().making.planned.as_ref();
        planned.is_some_and(|planned| planned.semitones == key.semitones)
    });
    let planned = rig.session().making.planned.as_ref().unwrap();
    assert_eq!(planned.document.model.pours.len(), key.placed);
}

#[test]
fn every_place_is_drawn_in_the_smallest_window_and_bottles_are_poured_one_after_the_other() {
    let mut small = rig_of([640.0, 480.0]);
    for place in Place::ALL {
        small.ask(ViewAsk::Place(place));
        small.harness.run_steps(3);
        assert_eq!(small.session().state.place, place);
    }
    let mut rig = rig();
    rig.ask(ViewAsk::Place(Place::Pour));
    rig.ask(ViewAsk::Select(rig.index("G2")));
    rig.harness.run_steps(2);
    assert!(rig.sees("0 of 15 poured") && rig.sees("above the table"));
    rig.click("Poured, next");
    assert!(rig.sees("1 of 15 poured"));
    assert_eq!(rig.session().state.selected, Some(rig.index("D3")));
}

#[test]
fn an_example_opens_without_a_file_and_is_left_without_a_question() {
    let mut rig = rig_of_nothing();
    rig.until("the pictures hang", |rig| {
        let gallery = &rig.session().gallery;
        gallery.examples.iter().all(Option::is_some)
    });
    rig.harness.get_by_label_contains("A class of five").click();
    rig.harness.run_steps(3);
    assert_eq!(rig.session().state.place, Place::Play);
    assert_eq!(rig.session().document().model.pours.len(), 5);
    assert!(!rig.session().document().is_changed());
    rig.ask(EditAsk::Fill(
        PourIndex::new(0),
        Volume::from_ml(30.0),
        Gesture::Single,
    ));
    assert!(rig.session().document().is_changed());
    rig.ask(LeaveAsk::Close);
    rig.harness.run_steps(2);
    assert!(
        !rig.session().state.quit,
        "what was changed of it is not lost unasked"
    );
}
