//! A photograph of a bottle in the window: it is traced, brought to scale, and put right by hand.

use eframe::egui::{Key, Modifiers, Pos2, Vec2, vec2};
use egui_kittest::kittest::{NodeT, Queryable};
use ullage::app::{BottleForm, CrateAsk, EditAsk, FileAsk, Found, PictureAsk, Place, Seen};
use ullage::index::GripIndex;
use ullage::physics::bottle::Known;
use ullage::set::describe::Question;

use crate::common::photograph::{Outside, Shot};
use crate::paper::{Rig, rig_of_nothing};

/// Height of the bottle, mm, and the lens as on 35 mm film, mm.
const HEIGHT_MM: f64 = 200.0;
const LENS_MM: f64 = 165.0;

/// A bottle 70 mm wide with a neck of 28 mm.
fn outside() -> Outside {
    let radius = |z: f64| match z {
        z if z < 120.0 => 35.0,
        z => 14.0 + 21.0 * ((170.0 - z) / 50.0).clamp(0.0, 1.0),
    };
    let heights = (0..=HEIGHT_MM as usize).map(|z| z as f64);
    heights.map(|z| (z, radius(z))).collect()
}

fn shot() -> Shot {
    Shot {
        size: (450, 600),
        focal_35mm: LENS_MM,
        ..Shot::good(outside())
    }
}

/// A window on which this picture was dropped.
fn dropped(bytes: impl AsRef<[u8]>, name: &str) -> Rig {
    let mut rig = rig_of_nothing();
    let photo = rig.folder.write(name, bytes);
    rig.ask(FileAsk::Open(photo));
    rig.harness.run_steps(2);
    rig
}

/// The same once the picture has been measured, with what is known of it.
fn measured() -> Rig {
    let mut rig = dropped(shot().jpeg(), "green.jpg");
    answer(&mut rig, Question::Height, "200 mm");
    rig.until("it is traced", is_traced);
    rig.harness.run_steps(3);
    rig
}

fn answer(rig: &mut Rig, question: Question, text: &str) {
    rig.ask(CrateAsk::Answer(question, text.to_owned()));
    rig.harness.run_steps(2);
}

fn form(rig: &Rig) -> &BottleForm {
    rig.session().making.form.as_ref().unwrap()
}

fn seen(rig: &Rig) -> &Seen {
    &form(rig).picture.as_ref().unwrap().seen
}

fn is_traced(rig: &Rig) -> bool {
    matches!(seen(rig), Seen::Outline(_))
}

fn found(rig: &Rig) -> Found {
    match seen(rig) {
        Seen::Outline(found) => Found::clone(found),
        other => panic!("{other:?}"),
    }
}

/// What is known of it, once what follows the hand has been worked out.
fn lowest_hz(rig: &mut Rig) -> f64 {
    rig.until("it is worked out", |rig| form(rig).is_settled());
    form(rig).known.as_ref().unwrap().1.lowest.hz()
}

/// Outer diameter at a height, mm.
fn diameter_mm(found: &Found, height_mm: f64) -> f64 {
    let points = &found.outline_mm;
    let above = points.iter().position(|p| p[0] >= height_mm).unwrap();
    let ([z0, d0], [z1, d1]) = (points[above.saturating_sub(1)], points[above]);
    d0 + (d1 - d0) * (height_mm - z0) / (z1 - z0).max(1e-9)
}

/// Volume within the outline, ml.
fn outline_ml(found: &Found) -> f64 {
    let cone = |pair: &[[f64; 2]]| {
        let ([z0, d0], [z1, d1]) = (pair[0], pair[1]);
        std::f64::consts::PI / 12.0 * (z1 - z0) * (d0 * d0 + d0 * d1 + d1 * d1)
    };
    1e-3 * found.outline_mm.windows(2).map(cone).sum::<f64>()
}

/// The grip nearest to a height, and its name on one side.
fn grip_at(found: &Found, side: &str, height_mm: f64) -> (GripIndex, String) {
    let off = |at: &GripIndex| (found.grips[*at].height.mm() - height_mm).abs();
    let all = GripIndex::all(found.grips.len());
    let nearest = all.min_by(|a, b| off(a).total_cmp(&off(b))).unwrap();
    let height_mm = found.grips[nearest].height.mm();
    (nearest, format!("{side} edge at {height_mm:.0} mm"))
}

fn place(rig: &Rig, label: &str) -> Pos2 {
    rig.harness.get_by_label(label).rect().center()
}

/// Points of the screen to a millimetre of the bottle.
fn points_to_a_mm(rig: &Rig, found: &Found) -> f32 {
    let ends = ["Mouth, end of the axis", "Base, end of the axis"].map(|end| place(rig, end).y);
    (ends[1] - ends[0]) / HEIGHT_MM as f32 * {
        let high_px = found.ends[1][1] - found.ends[0][1];
        (found.px_per_mm * HEIGHT_MM / high_px) as f32
    }
}

fn drag(rig: &mut Rig, label: &str, way: Vec2) {
    let from = place(rig, label);
    rig.harness.drag_at(from);
    rig.harness.run_steps(1);
    for part in [0.3, 0.7, 1.0] {
        rig.harness.hover_at(from + part * way);
        rig.harness.run_steps(2);
    }
    rig.harness.drop_at(from + way);
    rig.harness.run_steps(2);
}

#[test]
fn a_photograph_is_measured_as_soon_as_the_height_is_known_and_needs_no_mouth() {
    let mut rig = dropped(shot().jpeg(), "Green.JPG");
    assert_eq!(rig.session().state.place, Place::Crate);
    rig.until("its sides are followed", |rig| *seen(rig) == Seen::Waiting);
    rig.harness.run_steps(2);
    assert!(rig.sees("Green.JPG") && rig.sees("Say how high"));
    answer(&mut rig, Question::Height, "200 mm");
    assert!(rig.sees("It is traced.") && rig.sees("red line"));
    let at_200 = found(&rig);
    let widest_mm = diameter_mm(&at_200, 60.0);
    // The picture does not say its lens, so that all widths together are less sure than their edges: as it says itself (95 %).
    let sure_mm = 2.0 * at_200.radius_mm + 0.01 * at_200.scale_pct * 70.0;
    assert!(
        (widest_mm - 70.0).abs() < sure_mm,
        "{widest_mm} ± {sure_mm}"
    );
    assert!(sure_mm < 5.0, "{sure_mm}");
    // Another height is another scale, and the picture need not be looked at again.
    answer(&mut rig, Question::Height, "220 mm");
    let at_220 = found(&rig);
    let ratio = diameter_mm(&at_220, 66.0) / widest_mm;
    assert!((ratio - 1.1).abs() < 0.01, "{ratio}");
    assert_eq!(at_220.outline_mm.last().unwrap()[0], 220.0);
    answer(&mut rig, Question::Height, "200 mm");
    assert!(found(&rig) == at_200);
    answer(&mut rig, Question::Name, "green");
    answer(&mut rig, Question::Capacity, "470 ml");
    rig.click("Put it into the crate");
    let kinds = &rig.session().document().fixed.kinds;
    assert_eq!(kinds.len(), 1);
    let known = &kinds[0].bottle.described().known;
    assert!(matches!(known, Known::Outline(_)), "{known:?}");
}

#[test]
fn a_point_of_the_body_dragged_out_makes_room_and_the_note_lower_and_undo_takes_it_back_exactly() {
    let mut rig = measured();
    let (before, hz) = (found(&rig), lowest_hz(&mut rig));
    assert!((12..=20).contains(&before.grips.len()));
    let photo = form(&rig).picture.as_ref().unwrap().photo.clone().unwrap();
    assert!(photo.size.iter().all(|px| *px <= 1_000), "{:?}", photo.size);
    let (grip, name) = grip_at(&before, "Right", 70.0);
    let out = vec2(3.0 * points_to_a_mm(&rig, &before), 0.0);
    drag(&mut rig, &name, out);
    let dropped_at = std::time::Instant::now();
    let (after, lower_hz) = (found(&rig), lowest_hz(&mut rig));
    let worked_out_s = dropped_at.elapsed().as_secs_f64();
    // Both sides go 3 mm out, to half a point of the screen of 0.5 mm.
    let wider_mm = 2.0 * (after.grips[grip].radius.mm() - before.grips[grip].radius.mm());
    assert!((wider_mm - 6.0).abs() < 0.5, "{wider_mm}");
    let at_mm = before.grips[grip].height.mm();
    let by_outline_mm = diameter_mm(&after, at_mm) - diameter_mm(&before, at_mm);
    assert!((by_outline_mm - 6.0).abs() < 0.6, "{by_outline_mm}");
    // A wedge around the body, as high as from one neighbour to the other: π D · 3 mm · 12.5 mm.
    let more_ml = outline_ml(&after) - outline_ml(&before);
    let wedge_ml = 1e-3 * std::f64::consts::PI * 70.0 * 3.0 * HEIGHT_MM / before.grips.len() as f64;
    assert!(
        (more_ml / wedge_ml - 1.0).abs() < 0.15,
        "{more_ml} {wedge_ml}"
    );
    // A resonator with more air behind the same neck: f ∝ 1/√V. What the shape makes of it besides is small.
    let fall = lower_hz / hz;
    let by_volume = (outline_ml(&before) / outline_ml(&after)).sqrt();
    println!("{hz:.2} Hz to {lower_hz:.2} Hz: {fall:.4}, by the volume alone {by_volume:.4}");
    println!("worked out {:.0} ms after", 1e3 * worked_out_s);
    assert!(
        fall < 1.0 && (fall - by_volume).abs() < 0.5 * (1.0 - by_volume),
        "{fall} {by_volume}"
    );
    // What a hand has put there is less sure, and says so.
    assert!(after.grips[grip].by_hand && after.radius_mm > before.radius_mm);
    rig.harness.hover_at(place(&rig, &name));
    rig.harness.run_steps(2);
    assert!(rig.sees("by hand") && rig.sees("a guess"));
    // Elsewhere nothing has moved.
    let far = grip_at(&before, "Left", 180.0).0;
    assert_eq!(after.grips[far].radius, before.grips[far].radius);
    // The whole drag is one step.
    assert_eq!(rig.session().can_undo_redo(), (true, false));
    rig.harness.key_press_modifiers(Modifiers::COMMAND, Key::Z);
    rig.harness.run_steps(3);
    assert_eq!(lowest_hz(&mut rig), hz);
    assert!(found(&rig) == before);
    assert_eq!(rig.session().can_undo_redo(), (false, true));
    rig.ask(EditAsk::Redo);
    rig.harness.run_steps(2);
    assert_eq!(lowest_hz(&mut rig), lower_hz);
    rig.click("Back to what was seen");
    assert_eq!(lowest_hz(&mut rig), hz);
    assert!(found(&rig) == before);
    rig.ask(EditAsk::Undo);
    assert!(found(&rig) == after);
}

#[test]
fn a_wider_neck_sounds_higher() {
    let mut rig = measured();
    let (before, hz) = (found(&rig), lowest_hz(&mut rig));
    let (_, name) = grip_at(&before, "Left", 180.0);
    let out = vec2(-2.0 * points_to_a_mm(&rig, &before), 0.0);
    drag(&mut rig, &name, out);
    let higher_hz = lowest_hz(&mut rig);
    println!("{hz:.1} Hz to {higher_hz:.1} Hz");
    assert!(higher_hz > hz);
}

fn is_focused(rig: &Rig, label: &str) -> bool {
    rig.harness
        .get_by_label(label)
        .accesskit_node()
        .is_focused()
}

#[test]
fn the_arrows_go_from_point_to_point_and_move_them() {
    let mut rig = measured();
    let before = found(&rig);
    let (grip, name) = grip_at(&before, "Left", 70.0);
    let radius_mm = |rig: &Rig, grip: GripIndex| found(rig).grips[grip].radius.mm();
    rig.harness.get_by_label(&name).focus();
    rig.harness.run_steps(2);
    // To the left is outwards on the left side: 0.2 mm, and 1 mm with Shift.
    rig.harness.key_press(Key::ArrowLeft);
    rig.harness.run_steps(2);
    let out_mm = radius_mm(&rig, grip) - before.grips[grip].radius.mm();
    assert!((out_mm - 0.2).abs() < 0.01, "{out_mm}");
    rig.harness
        .key_press_modifiers(Modifiers::SHIFT, Key::ArrowRight);
    rig.harness.run_steps(2);
    let out_mm = radius_mm(&rig, grip) - before.grips[grip].radius.mm();
    assert!((out_mm + 0.8).abs() < 0.02, "{out_mm}");
    // Up goes to the next point, whose arrows move it and not this one.
    rig.harness.key_press(Key::ArrowUp);
    rig.harness.run_steps(2);
    let next = grip.counted_on(1);
    let next_mm = before.grips[next].height.mm();
    let next_name = format!("Left edge at {next_mm:.0} mm");
    assert!(is_focused(&rig, &next_name));
    rig.harness.key_press(Key::ArrowLeft);
    rig.harness.run_steps(2);
    assert!(radius_mm(&rig, next) > before.grips[next].radius.mm());
    // Back by Tab, as far as the window draws by itself, and moved by the first press.
    rig.harness.key_press_modifiers(Modifiers::SHIFT, Key::Tab);
    rig.harness.run();
    rig.harness.key_press(Key::ArrowLeft);
    rig.harness.run();
    let back_mm = radius_mm(&rig, grip) - before.grips[grip].radius.mm();
    assert!((back_mm - out_mm - 0.2).abs() < 0.02, "{back_mm}");
    assert!(is_focused(&rig, &name));
    // Each press is a step of its own.
    for _ in 0..4 {
        rig.harness.key_press_modifiers(Modifiers::COMMAND, Key::Z);
        rig.harness.run_steps(2);
    }
    assert!(found(&rig) == before);
    assert_eq!(rig.session().can_undo_redo(), (false, true));
}

#[test]
fn an_axis_that_is_longer_in_the_picture_makes_the_bottle_narrower() {
    let mut rig = measured();
    let before = found(&rig);
    // As high as before, in 5 mm more of the picture: all widths are 200 / 205 of what they were.
    let down = vec2(0.0, 5.0 * points_to_a_mm(&rig, &before));
    drag(&mut rig, "Base, end of the axis", down);
    let after = found(&rig);
    let ratio = diameter_mm(&after, 60.0) / diameter_mm(&before, 60.0);
    assert!((ratio - 200.0 / 205.0).abs() < 0.01, "{ratio}");
    // An end that makes the bottle lean too far is not taken, and that is said.
    let across = vec2(60.0 * points_to_a_mm(&rig, &before), 0.0);
    drag(&mut rig, "Mouth, end of the axis", across);
    assert!(rig.sees("leans by") && is_traced(&rig));
    rig.harness.run_steps(1);
    rig.click("Back to what was seen");
    assert!(found(&rig) == before);
}

#[test]
fn the_lens_says_how_far_away_the_camera_was_and_so_how_wide_the_bottle_is() {
    // From half a metre: the fronts of lip and foot look further apart than the axis between them is high.
    let lens_mm = 0.25 * LENS_MM;
    let near = Shot {
        distance: 500.0,
        focal_35mm: lens_mm,
        ..shot()
    };
    let mut rig = dropped(near.jpeg(), "near.jpg");
    answer(&mut rig, Question::Height, "200");
    rig.until("it is traced", is_traced);
    rig.harness.run_steps(2);
    assert!(rig.sees("Telephones usually have"));
    let focal = |rig: &mut Rig, mm: f64| {
        rig.ask(CrateAsk::Picture(PictureAsk::Focal(format!("{mm} mm"))));
        rig.harness.run_steps(2);
        let found = found(rig);
        let width_mm = diameter_mm(&found, 60.0);
        println!(
            "{mm} mm: {width_mm:.2} mm wide, {:.0} mm away",
            found.distance_mm
        );
        (width_mm, found.distance_mm)
    };
    let (right_mm, near_mm) = focal(&mut rig, lens_mm);
    assert!(!rig.sees("Telephones usually have"));
    assert!((near_mm / 500.0 - 1.0).abs() < 0.1 && (right_mm - 70.0).abs() < 1.0);
    // Taken for one that was made with a long lens: what is seen is as large, so that the distance goes as the lens; and who
    // stands far away sees no more of a bottle's height by its round foot, so that it is taken for a slimmer one.
    let (wrong_mm, far_mm) = focal(&mut rig, LENS_MM);
    assert!((far_mm / near_mm / 4.0 - 1.0).abs() < 0.15);
    assert!(wrong_mm < right_mm && (wrong_mm - 70.0).abs() > (right_mm - 70.0).abs());
}

/// A JPEG with the focal length as on 35 mm film in it. Exif 2.3, tags 8769 and A405.
fn with_lens(jpeg: &[u8], focal_mm: u16) -> Vec<u8> {
    let entry = |tag: u16, kind: u16, value: u32| {
        let mut entry = [tag.to_le_bytes(), kind.to_le_bytes()].concat();
        entry.extend(1u32.to_le_bytes());
        entry.extend(value.to_le_bytes());
        entry
    };
    let mut exif = b"Exif\0\0II*\0\x08\0\0\0\x01\0".to_vec();
    exif.extend(entry(0x8769, 4, 26));
    exif.extend(0u32.to_le_bytes());
    exif.extend(1u16.to_le_bytes());
    exif.extend(entry(0xa405, 3, focal_mm.into()));
    exif.extend(0u32.to_le_bytes());
    let length = u16::try_from(exif.len() + 2).unwrap();
    let head = [&[0xff, 0xe1], &length.to_be_bytes()[..]].concat();
    [&jpeg[..2], &head, &exif, &jpeg[2..]].concat()
}

#[test]
fn the_lens_that_the_camera_wrote_down_is_in_its_field() {
    let mut rig = dropped(with_lens(&shot().jpeg(), 165), "green.jpg");
    answer(&mut rig, Question::Height, "200");
    rig.until("it is traced", is_traced);
    rig.harness.run_steps(2);
    assert_eq!(form(&rig).picture.as_ref().unwrap().focal, "165 mm");
    assert!(!rig.sees("Telephones usually have"));
    let distance_mm = found(&rig).distance_mm;
    assert!((distance_mm / 2_000.0 - 1.0).abs() < 0.1, "{distance_mm}");
}

#[test]
fn what_is_wrong_with_a_number_stands_beside_it_and_nothing_is_put_into_the_crate() {
    let mut rig = measured();
    let picture = |rig: &Rig| form(rig).picture.clone().unwrap();
    let ask = |rig: &mut Rig, ask: PictureAsk| {
        rig.ask(CrateAsk::Picture(ask));
        rig.harness.run_steps(2);
    };
    ask(&mut rig, PictureAsk::Focal("wide".to_owned()));
    assert!(rig.sees("does not begin with a number"));
    assert!(picture(&rig).focal_wrong.unwrap().contains("\"wide\""));
    answer(&mut rig, Question::Name, "green");
    answer(&mut rig, Question::Capacity, "470 ml");
    rig.click("Put it into the crate");
    assert!(rig.session().document().fixed.kinds.is_empty());
    assert!(rig.sees("The focal length cannot be used"));
    ask(&mut rig, PictureAsk::Focal("5 mm".to_owned()));
    assert!(rig.sees("outside 10 to 1000 mm"));
    ask(&mut rig, PictureAsk::Focal(String::new()));
    assert!(picture(&rig).focal_wrong.is_none() && is_traced(&rig));
    answer(&mut rig, Question::Height, "2 mm");
    assert!(rig.sees("outside 20 to 1000 mm") && *seen(&rig) == Seen::Waiting);
    answer(&mut rig, Question::Height, "200 mm");
    assert!(is_traced(&rig) && !rig.sees("outside 20 to 1000 mm"));
    // What is doubtful stands there in words, with no key of a file and no option of a command.
    answer(&mut rig, Question::Capacity, "3 l");
    assert!(rig.sees("would leave a wall of"));
    let warnings = found(&rig).warnings;
    assert!(!warnings.is_empty());
    for warning in &warnings {
        assert!(
            !warning.contains('_') && !warning.contains("--"),
            "{warning}"
        );
    }
    answer(&mut rig, Question::Capacity, "470 ml");
    assert!(!rig.sees("would leave a wall of"));
    // No card stands there.
    ask(&mut rig, PictureAsk::ByCard(true));
    assert!(rig.sees("no bank card") && rig.sees("Try the height instead"));
    ask(&mut rig, PictureAsk::ByCard(false));
    assert!(is_traced(&rig));
}

#[test]
fn a_bank_card_beside_the_bottle_gives_its_height() {
    let shot = Shot {
        card: true,
        size: (700, 700),
        focal_35mm: 150.0,
        ..Shot::good(outside())
    };
    let mut rig = dropped(shot.jpeg(), "card.jpg");
    rig.ask(CrateAsk::Picture(PictureAsk::ByCard(true)));
    rig.until("it is traced", is_traced);
    let height_mm = found(&rig).outline_mm.last().unwrap()[0];
    // A pixel is 0.6 mm, and the card is 140 pixels long.
    assert!((height_mm / HEIGHT_MM - 1.0).abs() < 0.02, "{height_mm}");
}

#[test]
fn what_is_no_photograph_of_a_bottle_is_said_with_a_way_out_and_can_be_forgotten() {
    let mut rig = dropped(b"nothing", "noise.png");
    rig.until("it is refused", |rig| rig.sees("It cannot be traced"));
    assert!(rig.sees("Try a JPEG, PNG or WebP as the camera wrote it"));
    rig.click("Look at it again");
    rig.until("it is refused again", |rig| rig.sees("It cannot be traced"));
    rig.click("Forget the picture");
    assert!(form(&rig).picture.is_none() && form(&rig).bottle.outline_mm.is_none());
    // A picture of a wall.
    let mut wall = shot();
    wall.outside.truncate(2);
    let mut rig = dropped(wall.jpeg(), "wall.jpg");
    answer(&mut rig, Question::Height, "200");
    rig.until("it is refused", |rig| rig.sees("It cannot be traced"));
    assert!(rig.sees("Try a plain bright background") || rig.sees("Try a picture as the camera"));
}
