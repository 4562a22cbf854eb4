//! The window, drawn without a display and heard by a notebook in place of a sound card.

use std::cell::RefCell;
use std::collections::VecDeque;
use std::path::PathBuf;
use std::rc::Rc;

use eframe::egui::{self, Event, Key, Modifiers, Pos2, TouchDeviceId, TouchId, TouchPhase};
use egui_kittest::{Harness, kittest::Queryable};
use tempfile::TempDir;
use ullage::app::{
    Ask, Document, Drift, EngineOptions, Gesture, KeySink, Naming, Panel, Press, Purpose, RoomAsk,
    Session, Settings, Setup, Sound, draw,
};
use ullage::file::smf::{Percussion, from_smf};
use ullage::file::wav::read_wav;
use ullage::live::{
    Desk, DeskState, DeviceWish, MidiWish, OutputState, RecordError, Recorded, Sink,
};
use ullage::synth::{Command, EngineSpec, Meters};
use ullage::units::{Level, Temperature, Volume};
use winit::keyboard::KeyCode;

/// What was asked of the sound.
#[derive(Default)]
struct Heard {
    commands: Vec<Command>,
    replaced: usize,
    retried: usize,
    outputs: Vec<DeviceWish>,
}

#[derive(Clone, Default)]
struct Notebook(Rc<RefCell<Heard>>);

impl KeySink for Notebook {
    fn send(&mut self, command: Command) -> bool {
        self.0.borrow_mut().commands.push(command);
        true
    }
}

struct Paper {
    book: Notebook,
    state: Rc<RefCell<DeskState>>,
    now: DeskState,
}

impl Sound for Paper {
    fn send(&mut self, command: Command) -> bool {
        KeySink::send(&mut self.book, command)
    }
    fn poll(&mut self) -> &DeskState {
        self.now = self.state.borrow().clone();
        &self.now
    }
    fn heard(&mut self) -> Vec<(f64, [u8; 3])> {
        self.state.borrow_mut().heard.drain(..).collect()
    }
    fn clock_s(&self) -> f64 {
        0.0
    }
    fn keys(&mut self) -> Option<Box<dyn KeySink>> {
        Some(Box::new(self.book.clone()))
    }
    fn replace(&mut self, _spec: EngineSpec) {
        self.book.0.borrow_mut().replaced += 1;
    }
    fn choose_output(&mut self, wish: DeviceWish) {
        self.book.0.borrow_mut().outputs.push(wish);
    }
    fn retry(&mut self) {
        self.book.0.borrow_mut().retried += 1;
    }
    fn record(&mut self, _sink: Sink) -> Result<(), RecordError> {
        Err(RecordError::Running)
    }
    fn end_record(&mut self) {}
    fn recorded(&mut self) -> Option<Recorded> {
        None
    }
}

/// A window over a copy of the demo set.
struct Rig {
    harness: Harness<'static, Session>,
    book: Notebook,
    desk: Rc<RefCell<DeskState>>,
    path: PathBuf,
    _folder: TempDir,
}

fn silent(bottles: usize) -> DeskState {
    DeskState {
        output: OutputState::Silent {
            because: "no card in a test".to_owned(),
        },
        rate_hz: 48_000,
        now_frames: 0,
        load: 0.0,
        dropouts: 0,
        queue_full: 0,
        meters: Meters::default(),
        swings: vec![0.0; bottles],
        midi: Vec::new(),
        midi_because: None,
        heard: VecDeque::new(),
    }
}

fn setup(document: Document, sound: Box<dyn Sound>, output: DeviceWish) -> Session {
    Session::new(Setup {
        document,
        engine: EngineOptions {
            level: Level::from_db(-12.0),
            dry: true,
            nearest: false,
            channels: u16::MAX,
        },
        output,
        sound,
        settings: Settings::default(),
        settings_place: None,
    })
}

fn rig_of(size: [f32; 2]) -> Rig {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("set.toml");
    std::fs::copy("presets/quay/set.toml", &path).unwrap();
    let document = Document::open(&path).unwrap();
    let desk = Rc::new(RefCell::new(silent(document.model.pours.len())));
    let book = Notebook::default();
    let paper = Paper {
        book: book.clone(),
        state: Rc::clone(&desk),
        now: desk.borrow().clone(),
    };
    let session = setup(document, Box::new(paper), DeviceWish::default());
    let mut harness = Harness::builder().with_size(size).build_ui_state(
        |ui: &mut egui::Ui, session: &mut Session| draw(ui, session),
        session,
    );
    // Enough frames for every bottle's slower numbers.
    harness.run_steps(12);
    book.0.borrow_mut().commands.clear();
    Rig {
        harness,
        book,
        desk,
        path,
        _folder: folder,
    }
}

fn rig() -> Rig {
    rig_of([1200.0, 760.0])
}

impl Rig {
    fn heard(&self) -> Vec<Command> {
        self.book.0.borrow().commands.clone()
    }

    fn forget(&self) {
        self.book.0.borrow_mut().commands.clear();
    }

    fn session(&self) -> &Session {
        self.harness.state()
    }

    fn ask(&mut self, ask: Ask) {
        self.harness.state_mut().apply(ask);
    }

    fn press(&self, code: KeyCode, down: bool, repeat: bool) {
        self.session().keyboard.borrow_mut().press(Press {
            code,
            down,
            repeat,
            synthetic: false,
        });
    }

    fn index(&self, note: &str) -> usize {
        let bottles = &self.session().derived.bottles;
        bottles
            .iter()
            .position(|b| b.note.to_string() == note)
            .unwrap()
    }

    fn centre(&self, label: &str) -> Pos2 {
        self.harness.get_by_label_contains(label).rect().center()
    }

    fn sees(&self, text: &str) -> bool {
        self.harness
            .query_all_by_label_contains(text)
            .next()
            .is_some()
    }

    fn click(&mut self, label: &str) {
        self.harness.get_by_label(label).click();
        self.harness.run_steps(3);
    }
}

fn midi(bytes: [u8; 3]) -> Command {
    Command::Midi { bytes }
}

#[test]
fn a_key_sounds_before_any_frame_and_ends_when_it_comes_up() {
    let rig = rig();
    let code = rig.session().keyboard.borrow().board.key_of(69).unwrap();
    rig.press(code, true, false);
    assert_eq!(rig.heard(), [midi([0x90, 69, 96])]);
    rig.press(code, false, false);
    assert_eq!(rig.heard()[1..], [midi([0x80, 69, 0])]);
}

#[test]
fn auto_repeat_adds_nothing() {
    let rig = rig();
    let code = rig.session().keyboard.borrow().board.key_of(69).unwrap();
    rig.press(code, true, false);
    for _ in 0..50 {
        rig.press(code, true, true);
    }
    assert_eq!(rig.heard().len(), 1);
}

#[test]
fn keys_that_were_held_when_the_window_comes_back_stay_silent_until_pressed_again() {
    let rig = rig();
    let board = rig.session().keyboard.clone();
    let code = board.borrow().board.key_of(69).unwrap();
    rig.press(code, true, false);
    board.borrow_mut().all_off();
    assert_eq!(rig.heard().len(), 2, "leaving the window ends the note");
    board.borrow_mut().press(Press {
        code,
        down: true,
        repeat: false,
        synthetic: true,
    });
    // X says this one without a sign of repeating.
    rig.press(code, true, false);
    assert_eq!(rig.heard().len(), 2);
    rig.press(code, false, false);
    rig.press(code, true, false);
    assert_eq!(rig.heard().len(), 3);
}

#[test]
fn two_keys_of_one_note_end_it_together() {
    let rig = rig();
    let board = rig.session().keyboard.clone();
    board.borrow_mut().board.own.insert(KeyCode::KeyL, 69);
    let other = KeyCode::KeyK;
    board.borrow_mut().board.own.insert(other, 69);
    rig.press(KeyCode::KeyL, true, false);
    rig.press(other, true, false);
    rig.press(KeyCode::KeyL, false, false);
    let off = midi([0x80, 69, 0]);
    assert!(!rig.heard().contains(&off));
    rig.press(other, false, false);
    assert!(rig.heard().contains(&off));
}

#[test]
fn while_text_is_typed_no_key_plays() {
    let mut rig = rig();
    rig.harness.get_by_label("Note").focus();
    rig.harness.run_steps(3);
    let code = rig.session().keyboard.borrow().board.key_of(69).unwrap();
    rig.press(code, true, false);
    assert_eq!(rig.heard(), []);
    rig.harness.get_by_label_contains("A4, jetty sauce").focus();
    rig.harness.run_steps(3);
    rig.press(code, false, false);
    rig.press(code, true, false);
    assert_eq!(rig.heard(), [midi([0x90, 69, 96])]);
}

#[test]
fn a_hand_on_a_bottle_blows_it_harder_the_higher_it_is_and_lets_go() {
    let mut rig = rig();
    let index = rig.index("A4") as u16;
    let rect = rig.harness.get_by_label_contains("A4, jetty sauce").rect();
    let low = Pos2::new(rect.center().x, rect.bottom() - 4.0);
    let high = Pos2::new(rect.center().x, rect.top() + 4.0);
    rig.harness.drag_at(low);
    rig.harness.run_steps(2);
    rig.harness.hover_at(high);
    rig.harness.run_steps(2);
    rig.harness.drop_at(high);
    rig.harness.run_steps(2);
    let breaths: Vec<f32> = rig
        .heard()
        .iter()
        .filter_map(|command| match command {
            Command::Blow { bottle, breath } if *bottle == index => Some(*breath),
            _ => None,
        })
        .collect();
    assert_eq!(breaths.len(), 2, "{:?}", rig.heard());
    assert!(breaths[0] < 0.3 && breaths[1] > 0.9, "{breaths:?}");
    assert_eq!(
        rig.heard().last(),
        Some(&Command::Release { bottle: index })
    );
    assert!(rig.session().state.blown.is_empty());
}

#[test]
fn two_fingers_blow_two_bottles() {
    let mut rig = rig();
    let (one, other) = (rig.centre("A4, jetty sauce"), rig.centre("C4, cordial"));
    let touch = |number, phase, pos| Event::Touch {
        device_id: TouchDeviceId(1),
        id: TouchId(number),
        phase,
        pos,
        force: None,
    };
    rig.harness.event(touch(1, TouchPhase::Start, one));
    rig.harness.event(touch(2, TouchPhase::Start, other));
    rig.harness.run_steps(2);
    assert_eq!(rig.session().state.blown.len(), 2);
    rig.harness.event(touch(1, TouchPhase::End, one));
    rig.harness.run_steps(2);
    let left = rig.index("C4");
    let blown: Vec<usize> = rig.session().state.blown.iter().map(|b| b.0).collect();
    assert_eq!(blown, [left]);
    rig.harness.event(touch(2, TouchPhase::Cancel, other));
    rig.harness.run_steps(2);
    assert!(rig.session().state.blown.is_empty());
}

#[test]
fn a_level_that_is_dragged_up_sounds_higher_at_once_and_is_one_step_to_undo() {
    let mut rig = rig();
    let index = rig.index("A4");
    let before = rig.session().derived.bottles[index].clone();
    let grip = rig.centre("Level of A4 in");
    rig.harness.drag_at(grip);
    rig.harness.run_steps(2);
    let mut last_hz = before.hz().unwrap();
    for up in [4.0, 8.0, 12.0] {
        rig.forget();
        rig.harness.hover_at(grip - egui::vec2(0.0, up));
        rig.harness.run_steps(2);
        let tuned: Vec<f64> = rig
            .heard()
            .iter()
            .filter_map(|command| match command {
                Command::Tune {
                    bottle, frequency, ..
                } if usize::from(*bottle) == index => Some(frequency.hz()),
                _ => None,
            })
            .collect();
        let shown = rig.session().derived.bottles[index].hz().unwrap();
        assert_eq!(tuned, [shown], "what sounds is what is shown");
        assert!(shown > last_hz, "{shown} after {last_hz}");
        last_hz = shown;
    }
    rig.harness.drop_at(grip - egui::vec2(0.0, 12.0));
    rig.harness.run_steps(2);
    let after = rig.session().derived.bottles[index].fill;
    rig.forget();
    rig.ask(Ask::Undo);
    assert_eq!(rig.session().derived.bottles[index].fill, before.fill);
    assert_eq!(rig.session().can_undo_redo(), (false, true));
    assert!(
        matches!(rig.heard()[..], [Command::Tune { frequency, .. }] if (frequency.hz() - before.hz().unwrap()).abs() < 1e-9)
    );
    rig.ask(Ask::Redo);
    let again = rig.session().derived.bottles[index].fill;
    assert!((again.ml() - after.ml()).abs() < 1e-9);
}

#[test]
fn the_bottle_with_the_focus_is_filled_and_blown_by_keys() {
    let mut rig = rig();
    let index = rig.index("A4");
    let before_ml = rig.session().derived.bottles[index].fill.ml();
    rig.harness.get_by_label_contains("A4, jetty sauce").focus();
    rig.harness.run_steps(2);
    assert_eq!(rig.session().state.selected, Some(index));
    rig.harness.key_press(Key::ArrowUp);
    rig.harness.run_steps(2);
    let after_ml = rig.session().derived.bottles[index].fill.ml();
    assert!(
        (after_ml - before_ml - 1.0).abs() < 1e-9,
        "{before_ml} to {after_ml}"
    );
    rig.harness
        .key_press_modifiers(Modifiers::SHIFT, Key::ArrowDown);
    rig.harness.run_steps(2);
    let after_ml = rig.session().derived.bottles[index].fill.ml();
    assert!(
        (after_ml - before_ml + 9.0).abs() < 1e-9,
        "{before_ml} to {after_ml}"
    );
    rig.forget();
    rig.harness.key_down(Key::Space);
    rig.harness.run_steps(2);
    rig.harness.key_up(Key::Space);
    rig.harness.run_steps(2);
    let bottle = index as u16;
    assert!(
        matches!(rig.heard()[..], [Command::Blow { bottle: b, .. }, Command::Release { .. }] if b == bottle),
        "{:?}",
        rig.heard()
    );
}

#[test]
fn a_change_is_marked_and_saved_with_the_comments() {
    let mut rig = rig();
    assert!(!rig.session().document.is_changed());
    let index = rig.index("A4");
    rig.ask(Ask::Fill(index, Volume::from_ml(90.0), Gesture::Single));
    rig.harness.run_steps(2);
    assert!(rig.session().document.is_changed());
    assert!(rig.sees("unsaved"));
    rig.click("Save");
    assert!(!rig.sees("unsaved"));
    assert!(!rig.session().document.is_changed());
    let text = std::fs::read_to_string(&rig.path).unwrap();
    assert!(text.contains("fill_ml = 90.0"), "{text}");
    let original = std::fs::read_to_string("presets/quay/set.toml").unwrap();
    let other: Vec<(&str, &str)> = original
        .lines()
        .zip(text.lines())
        .filter(|(a, b)| a != b)
        .collect();
    assert_eq!(other, [("fill_ml = 101.45", "fill_ml = 90.0")]);
}

#[test]
fn closing_with_changes_asks_first() {
    let mut rig = rig();
    rig.ask(Ask::Fill(0, Volume::from_ml(90.0), Gesture::Single));
    rig.ask(Ask::Close);
    rig.harness.run_steps(3);
    assert!(!rig.session().state.quit);
    assert!(rig.sees("There are changes that are not saved"));
    rig.click("Stay");
    assert!(rig.session().state.leaving.is_none());
    rig.ask(Ask::Close);
    rig.harness.run_steps(3);
    rig.click("Save and go on");
    assert!(rig.session().state.quit);
    assert!(!rig.session().document.is_changed());
}

#[test]
fn a_key_without_a_bottle_is_named() {
    let mut rig = rig();
    rig.desk.borrow_mut().meters.missing_key = Some(70);
    rig.harness.run_steps(2);
    assert!(rig.sees("no bottle for A#4"));
}

#[test]
fn without_a_card_it_says_so_and_tries_again_when_asked() {
    let mut rig = rig();
    assert!(rig.sees("no sound: no card in a test"));
    rig.harness.get_by_label("Retry").click();
    rig.harness.run_steps(2);
    assert_eq!(rig.book.0.borrow().retried, 1);
}

#[test]
fn warmth_moves_every_bottle_and_pouring_again_puts_it_right() {
    let mut rig = rig();
    let warm = RoomAsk::Temperature(Temperature::from_c(29.0));
    rig.ask(Ask::Room(warm, Gesture::Single));
    let count = rig.session().derived.bottles.len();
    let tunes = rig
        .heard()
        .iter()
        .filter(|c| matches!(c, Command::Tune { .. }))
        .count();
    assert_eq!(tunes, count);
    // The sound speed rises by 0.17 % a kelvin, 3 cents; the water swells by a quarter of a percent, which in a bottle
    // that is nearly full is as much as a millilitre and some ten cents.
    for bottle in &rig.session().derived.bottles {
        let cents = bottle.pitch.as_ref().unwrap().cents;
        assert!(
            (28.0..60.0).contains(&cents),
            "{} is off by {cents}",
            bottle.note
        );
    }
    rig.ask(Ask::Drift(Drift::PourAgain));
    for bottle in &rig.session().derived.bottles {
        let cents = bottle.pitch.as_ref().unwrap().cents;
        assert!(cents.abs() < 0.01, "{} is off by {cents}", bottle.note);
    }
}

#[test]
fn a_gas_that_nobody_knows_changes_nothing_and_is_said() {
    let mut rig = rig();
    let gas = RoomAsk::Gas("phlogiston".to_owned());
    rig.ask(Ask::Room(gas, Gesture::Single));
    rig.harness.run_steps(2);
    assert!(!rig.session().document.is_changed());
    assert!(rig.sees("phlogiston"));
    rig.ask(Ask::Room(
        RoomAsk::Gas("helium".to_owned()),
        Gesture::Single,
    ));
    rig.ask(Ask::Panel(Panel::Room));
    rig.harness.run_steps(2);
    assert_eq!(rig.book.0.borrow().replaced, 1);
    assert!(rig.sees("Never breathe in the gas"));
}

#[test]
fn equal_temperament_is_heard_and_nothing_is_changed() {
    let mut rig = rig();
    rig.ask(Ask::Equal(true));
    let a4 = rig.index("A4") as u16;
    let heard = rig.heard();
    let a4_hz = heard.iter().find_map(|command| match command {
        Command::Tune {
            bottle, frequency, ..
        } if *bottle == a4 => Some(frequency.hz()),
        _ => None,
    });
    assert_eq!(a4_hz, Some(440.0));
    assert!(!rig.session().document.is_changed());
}

#[test]
fn what_sounds_together_is_shown_with_its_beats() {
    let mut rig = rig();
    let (low, high) = (rig.index("A4"), rig.index("E4"));
    rig.desk.borrow_mut().swings[low] = 0.8;
    rig.desk.borrow_mut().swings[high] = 0.8;
    rig.ask(Ask::Panel(Panel::Together));
    rig.harness.run_steps(2);
    assert!(rig.sees("E4 A4") && rig.sees("4:3") && rig.sees("a second"));
}

#[test]
fn every_panel_is_drawn_in_the_smallest_window() {
    for size in [[640.0, 480.0], [800.0, 600.0], [3840.0, 2160.0]] {
        let mut rig = rig_of(size);
        for panel in Panel::ALL {
            rig.ask(Ask::Panel(panel));
            rig.harness.run_steps(2);
            for note in ["G2", "E5"] {
                let rect = rig
                    .harness
                    .get_by_label_contains(&format!("{note}, "))
                    .rect();
                assert!(
                    rect.width() > 5.0 && rect.height() > 20.0,
                    "{note} in {size:?}: {rect:?}"
                );
            }
        }
    }
}

#[test]
fn another_file_is_opened_and_a_bad_one_is_refused() {
    let mut rig = rig();
    let bad = rig.path.with_file_name("bad.toml");
    std::fs::write(&bad, "this is no set").unwrap();
    rig.ask(Ask::OpenFile(bad));
    rig.harness.run_steps(2);
    assert!(rig.sees("bad.toml"));
    assert_eq!(rig.session().document.path, rig.path);
    let other = PathBuf::from("presets/chromatic/set.toml");
    rig.ask(Ask::OpenFile(other.clone()));
    rig.harness.run_steps(2);
    assert_eq!(rig.session().document.path, other);
    assert_eq!(rig.book.0.borrow().replaced, 1);
}

#[test]
fn a_file_is_named_in_the_window_where_there_is_no_dialog_and_never_replaced_unasked() {
    let mut rig = rig();
    let other = rig.path.with_file_name("other.toml");
    std::fs::write(&other, "somebody's").unwrap();
    rig.harness.state_mut().state.naming = Some(Naming {
        purpose: Purpose::SaveAs,
        suggested: other.display().to_string(),
        exists: None,
    });
    rig.harness.run_steps(3);
    rig.click("OK");
    assert_eq!(std::fs::read_to_string(&other).unwrap(), "somebody's");
    assert!(rig.sees("It exists already"));
    rig.click("Replace it");
    assert_eq!(rig.session().document.path, other);
    assert!(Document::open(&other).is_ok());
}

#[test]
fn a_note_gets_a_key_of_its_own() {
    let mut rig = rig();
    rig.click("Give it a key");
    let note = rig.session().derived.bottles[rig.session().state.selected.unwrap()]
        .note
        .midi();
    rig.forget();
    rig.press(KeyCode::Slash, true, false);
    rig.press(KeyCode::Slash, false, false);
    assert_eq!(rig.heard(), [], "the key is being chosen, not played");
    rig.harness.run_steps(3);
    rig.press(KeyCode::Slash, true, false);
    assert_eq!(rig.heard(), [midi([0x90, note, 96])]);
}

#[test]
fn what_is_played_is_written_down_as_a_midi_file() {
    let mut rig = rig();
    let path = rig.path.with_file_name("take.mid");
    rig.harness.state_mut().state.naming = Some(Naming {
        purpose: Purpose::Smf,
        suggested: path.display().to_string(),
        exists: None,
    });
    rig.harness.run_steps(3);
    rig.click("OK");
    let code = rig.session().keyboard.borrow().board.key_of(69).unwrap();
    rig.press(code, true, false);
    let index = rig.index("C4");
    rig.ask(Ask::Blow(index, 0.5));
    rig.ask(Ask::LetGo(index));
    rig.press(code, false, false);
    rig.desk
        .borrow_mut()
        .heard
        .push_back((0.25, [0x90, 67, 80]));
    rig.desk.borrow_mut().heard.push_back((0.50, [0x80, 67, 0]));
    rig.harness.run_steps(2);
    rig.click("Stop recording");
    for _ in 0..200 {
        rig.harness.run_steps(1);
        if rig.sees("messages in") {
            break;
        }
        std::thread::sleep(std::time::Duration::from_millis(10));
    }
    let score = from_smf(&std::fs::read(&path).unwrap(), Percussion::Skip).unwrap();
    let mut keys: Vec<u8> = score.notes.iter().map(|note| note.key).collect();
    keys.sort_unstable();
    assert_eq!(keys, [60, 67, 69]);
    let g4 = score.notes.iter().find(|note| note.key == 67).unwrap();
    assert!((g4.start_s - 0.25).abs() < 1e-3 && (g4.stop_s - 0.5).abs() < 1e-3);
}

#[test]
fn what_sounds_is_written_down_as_a_wav_file() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("set.toml");
    std::fs::copy("presets/quay/set.toml", &path).unwrap();
    let document = Document::open(&path).unwrap();
    let nowhere = DeviceWish {
        device: Some("a card that nobody has".to_owned()),
        ..DeviceWish::default()
    };
    let no_midi = MidiWish {
        ports: vec!["nobody's keyboard".to_owned()],
        virtual_port: false,
    };
    let desk = Desk::start(EngineSpec::new(Vec::new()), nowhere.clone(), no_midi);
    let mut session = setup(document, Box::new(desk), nowhere);
    // Opened again, so that the desk gets the set's bottles.
    session.apply(Ask::OpenFile(path.clone()));
    let wav = path.with_extension("wav");
    session.state.naming = Some(Naming {
        purpose: Purpose::Wav,
        suggested: String::new(),
        exists: None,
    });
    session.apply(Ask::Named(wav.display().to_string()));
    session.apply(Ask::Blow(7, 0.8));
    let until = |session: &mut Session, what: &str, done: &dyn Fn(&Session) -> bool| {
        for _ in 0..2000 {
            session.poll();
            if done(session) {
                return;
            }
            std::thread::sleep(std::time::Duration::from_millis(10));
        }
        panic!("{what}");
    };
    until(&mut session, "the bottle sounds", &|s| s.swings()[7] > 0.3);
    session.apply(Ask::StopRecording);
    until(&mut session, "the file is written", &|s| {
        s.state.taking.is_empty()
    });
    let sound = read_wav(&wav).unwrap().mono();
    let peak = sound.iter().fold(0.0f32, |most, s| most.max(s.abs()));
    assert!(peak > 0.01, "{peak}");
}
