//! The acting half of `.ci/lesson_rig.sh`: a lesson from the first bottle to the piece, in a real window and by pointer and keys
//! alone, heard through a real sound server.
//!
//! Nobody can ask a window on a screen where its buttons are. A twin of it is drawn beside it without a display, in the same size:
//! what is pressed is looked for by its label in the twin, pressed there, and pressed at the same place on the screen.
//! Ignored unless asked for: the script starts the server, the display and the window, and sets the variables.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};
use std::thread::sleep;
use std::time::{Duration, Instant};

use eframe::egui::{Key, Modifiers, Pos2, Rect, accesskit::Role};
use egui_kittest::Harness;
use egui_kittest::kittest::{Queryable, by};
use ullage::app::{Document, Panel, Session, ViewAsk, draw};
use ullage::index::PourIndex;
use ullage::set::describe::Question;

use crate::common::measure::{cents, demodulate, pitch_hz, rms};
use crate::common::pieces::{midi, note, piece};
use crate::common::voices::{bank, left, seconds, spec, tongue};
use crate::common::window::{FLASK, SODA, Tape, put_tape_in, silent_session};

const RATE_HZ: f64 = 48_000.0;
/// The window, points and pixels.
const SIZE: [f32; 2] = [1600.0, 1000.0];
/// Time that the window on the screen gets after each press.
const A_MOMENT: Duration = Duration::from_millis(700);
/// What is in tune and what is not is written in these colours in the dark.
const IN_TUNE: [u8; 3] = [98, 190, 242];
const OUT_OF_TUNE: [u8; 3] = [240, 162, 40];

fn variable(name: &str) -> String {
    std::env::var(name).unwrap_or_else(|_| panic!("{name} is not set: run .ci/lesson_rig.sh"))
}

fn xdotool(args: &[&str]) -> String {
    let done = Command::new("xdotool").args(args).output().unwrap();
    assert!(done.status.success(), "xdotool {args:?}: {done:?}");
    String::from_utf8(done.stdout).unwrap().trim().to_owned()
}

/// What comes out of the window, until it is asked for.
struct Listener(Child, PathBuf);

impl Listener {
    fn new(into: PathBuf) -> Self {
        let recorder = Command::new("parec")
            .args(["-d", "spk.monitor", "--latency-msec=20", "--raw"])
            .args(["--format=s16le", "--rate=48000", "--channels=1"])
            .stdout(fs::File::create(&into).unwrap())
            .stderr(Stdio::null())
            .spawn();
        sleep(Duration::from_millis(600));
        Self(recorder.unwrap(), into)
    }

    fn heard(mut self) -> Vec<f32> {
        sleep(Duration::from_millis(300));
        self.0.kill().unwrap();
        self.0.wait().unwrap();
        let bytes = fs::read(&self.1).unwrap();
        let sample = |two: &[u8]| f32::from(i16::from_le_bytes([two[0], two[1]])) / 32768.0;
        bytes.chunks_exact(2).map(sample).collect()
    }
}

struct Lesson {
    window: String,
    work: PathBuf,
    pictures: PathBuf,
    twin: Harness<'static, Session>,
    tape: Arc<Mutex<Tape>>,
}

impl Lesson {
    fn new() -> Self {
        let mut session = silent_session(Document::blank());
        session.shows = |_| true;
        let tape = put_tape_in(&mut session);
        let mut twin = Harness::builder()
            .with_size(SIZE)
            .build_ui_state(draw, session);
        twin.run_steps(5);
        let work = PathBuf::from(variable("RIG_WORK"));
        fs::create_dir_all(work.join("room")).unwrap();
        fs::create_dir_all(work.join("twin")).unwrap();
        Self {
            window: variable("RIG_WINDOW"),
            pictures: PathBuf::from(variable("RIG_PICTURES")),
            work,
            twin,
            tape,
        }
    }

    fn session(&self) -> &Session {
        self.twin.state()
    }

    fn title(&self) -> String {
        xdotool(&["getwindowname", &self.window])
    }

    /// Frames of the twin until something is so of it.
    fn until(&mut self, what: &str, is_so: impl Fn(&Self) -> bool) {
        let since = Instant::now();
        while !is_so(self) {
            assert!(since.elapsed() < Duration::from_secs(60), "never: {what}");
            sleep(Duration::from_millis(3));
            self.twin.run_steps(1);
        }
        self.twin.run_steps(2);
    }

    /// The same of the window's title.
    fn until_titled(&self, what: &str) {
        let since = Instant::now();
        while !self.title().contains(what) {
            let title = self.title();
            assert!(
                since.elapsed() < Duration::from_secs(20),
                "{title:?}, not {what:?}"
            );
            sleep(Duration::from_millis(100));
        }
    }

    fn point(&self, at: Pos2) {
        let place = [at.x, at.y].map(|along| format!("{along:.0}"));
        xdotool(&["mousemove", &place[0], &place[1]]);
    }

    fn press_at(&self, at: Pos2) {
        self.point(at);
        sleep(Duration::from_millis(150));
        xdotool(&["click", "1"]);
        sleep(A_MOMENT);
    }

    /// Presses what is called so.
    fn press(&mut self, label: &str) {
        let node = self.twin.get_by_label(label);
        let at = node.rect().center();
        node.click();
        self.twin.run_steps(4);
        self.press_at(at);
    }

    fn key(&self, name: &str) {
        xdotool(&["key", name]);
        sleep(A_MOMENT);
    }

    /// A key with Control, for both.
    fn with_control(&mut self, key: Key, name: &str) {
        self.twin.key_press_modifiers(Modifiers::COMMAND, key);
        self.twin.run_steps(4);
        self.key(&format!("ctrl+{name}"));
    }

    /// Presses a tab.
    fn tab(&mut self, label: &str) {
        let node = self.twin.get(by().role(Role::Tab).label(label));
        let at = node.rect().center();
        node.click();
        self.twin.run_steps(4);
        self.press_at(at);
    }

    /// Types into a field.
    fn answer(&mut self, label: &str, text: &str) {
        let fields = by().role(Role::TextInput).label(label);
        let field = self.twin.get(fields);
        let at = field.rect().center();
        field.click();
        self.twin.run_steps(2);
        self.twin
            .get(by().role(Role::TextInput).label(label))
            .type_text(text);
        self.twin.run_steps(2);
        self.press_at(at);
        xdotool(&["type", "--delay", "20", text]);
        // What is half typed may be wrong, and what is wrong has a line of its own that moves what is below it.
        sleep(A_MOMENT);
    }

    /// Names a file where both ask for one.
    fn name(&mut self, path: &Path, twins: &Path) {
        self.until("it asks for a name", |lesson| {
            lesson.session().state.naming.is_some()
        });
        sleep(Duration::from_secs(1));
        self.twin
            .get_by_label("File name")
            .type_text(&twins.display().to_string());
        self.twin.run_steps(2);
        self.twin.key_press(Key::Enter);
        self.twin.run_steps(3);
        xdotool(&["type", "--delay", "20", &path.display().to_string()]);
        self.key("Return");
    }

    fn describe(&mut self, answers: &[(Question, &str)]) {
        for (question, text) in answers {
            self.answer(question.asks(), text);
        }
    }

    fn picture(&self, name: &str) {
        // Nothing under the pointer, so that nothing is explained in the picture.
        self.point(Pos2::new(1.0, SIZE[1] - 1.0));
        sleep(Duration::from_millis(700));
        let file = self.pictures.join(format!("{name}.png"));
        let done = Command::new("import")
            .args(["-window", "root"])
            .arg(&file)
            .status();
        assert!(done.unwrap().success(), "{name}");
    }

    /// How many points of a part of the screen are of about each colour.
    fn colours(&self, part: Rect, wanted: [[u8; 3]; 2]) -> [usize; 2] {
        let crop = format!(
            "{:.0}x{:.0}+{:.0}+{:.0}",
            part.width(),
            part.height(),
            part.left(),
            part.top()
        );
        let done = Command::new("import")
            .args(["-window", "root", "-crop", &crop, "-depth", "8", "rgb:-"])
            .output()
            .unwrap();
        assert!(!done.stdout.is_empty(), "{done:?}");
        wanted.map(|colour| {
            let is_it = |point: &&[u8]| {
                let off = point.iter().zip(colour).map(|(a, b)| a.abs_diff(b));
                off.max().unwrap() < 24
            };
            done.stdout.chunks_exact(3).filter(is_it).count()
        })
    }

    fn bottle(&self, index: PourIndex) -> Rect {
        let shown = &self.session().derived().bottles[index];
        let label = format!("{}, {}, blown, ", shown.note, shown.name);
        self.twin.get_by_label_contains(&label).rect()
    }

    /// Somebody blows a bottle in the room: the window's microphone hears it, and the twin's.
    fn blow_in_the_room(&mut self, hz: f64, q: f64) {
        let mut voices = bank(&[spec(hz, q).with_seed(5)], RATE_HZ);
        tongue(&mut voices, 4000, 0, 2.5);
        let mut samples = left(&mut voices, seconds(RATE_HZ, 1.6));
        samples.extend(vec![0.0; seconds(RATE_HZ, 0.5)]);
        let file = self.work.join("blown.raw");
        let bytes = |x: &f32| ((x * 0.8).clamp(-1.0, 1.0) * 32767.0) as i16;
        let bytes: Vec<u8> = samples
            .iter()
            .flat_map(|x| bytes(x).to_le_bytes())
            .collect();
        fs::write(&file, bytes).unwrap();
        let played = Command::new("paplay")
            .args(["--device=spk", "--raw", "--format=s16le", "--rate=48000"])
            .args(["--channels=1"])
            .arg(&file)
            .status();
        assert!(played.unwrap().success());
        self.tape.lock().unwrap().samples.extend(&samples);
        self.until("the tape is at its end", |lesson| {
            lesson.tape.lock().unwrap().samples.is_empty()
        });
        for _ in 0..40 {
            sleep(Duration::from_millis(10));
            self.twin.run_steps(1);
        }
        sleep(Duration::from_millis(800));
    }
}

/// What a key is called by those who press it, by what is printed on it.
fn key_name(printed: &str) -> String {
    let name = match printed {
        "," => "comma",
        "." => "period",
        "/" => "slash",
        ";" => "semicolon",
        "'" => "apostrophe",
        "[" => "bracketleft",
        "]" => "bracketright",
        "-" => "minus",
        "=" => "equal",
        letter => return letter.to_lowercase(),
    };
    name.to_owned()
}

/// How loud a pitch is in a sound, beside all of it.
fn share(sound: &[f32], hz: f64) -> f64 {
    // Long enough that a note two semitones away is not in it.
    let tone = demodulate(sound, RATE_HZ, hz, 0.3);
    let most = tone
        .value
        .iter()
        .map(|(re, im)| re.hypot(*im))
        .fold(0.0, f64::max);
    most / rms(sound).max(1e-9)
}

/// Where `.ci/ear_rig.sh` presses in a window on the set `RIG_SET`.
#[test]
#[ignore = "run by .ci/ear_rig.sh"]
fn places_in_the_tuner() {
    let document = Document::open(variable("RIG_SET").as_ref()).unwrap();
    let mut session = silent_session(document);
    let _tape = put_tape_in(&mut session);
    session.apply(ViewAsk::Panel(Panel::Tuner));
    let mut twin = Harness::builder()
        .with_size(SIZE)
        .build_ui_state(draw, session);
    twin.run_steps(5);
    let say = |what: &str, rect: Rect| {
        let at = rect.center();
        println!("place {what} {:.0} {:.0}", at.x, at.y);
    };
    let tab = by().role(Role::Tab).label("Tuner");
    say("tab", twin.get(tab).rect());
    say("listen", twin.get_by_label("Listen").rect());
    twin.get_by_label("Listen").click();
    twin.run_steps(5);
    let different = twin.get_by_label("The amount is different: draw it so");
    say("different", different.rect());
}

#[test]
#[ignore = "run by .ci/lesson_rig.sh"]
fn a_teacher_makes_hears_pours_prints_and_practises_a_set_in_the_window_alone() {
    let mut lesson = Lesson::new();
    lesson.picture("1-home");
    lesson.press("New from my bottles");
    lesson.describe(&FLASK);
    lesson.picture("2-a-bottle");
    lesson.press("Put it into the crate");
    lesson.press("Add a bottle");
    lesson.describe(&SODA);
    lesson.press("Put it into the crate");
    lesson.until("the crate has its notes", |lesson| {
        lesson.session().making.reach.len() == 2
    });
    lesson.picture("3-crate");
    lesson.press("Choose the notes");
    lesson.press("Work it out");
    lesson.until("it is planned", |lesson| {
        lesson.session().making.planned.is_some()
    });
    sleep(Duration::from_secs(4));
    lesson.picture("4-plan");
    let at = lesson.twin.get_by_label("Use this set").rect().center();
    lesson.press("Use this set");
    for _ in 0..10 {
        // The window's own plan may take longer than the twin's.
        if lesson.title().contains("C major pentatonic") {
            break;
        }
        sleep(Duration::from_secs(2));
        lesson.press_at(at);
    }
    lesson.until_titled("C major pentatonic");

    // Heard: the lowest bottle, by the pointer.
    let order = lesson.session().derived().order.clone();
    let lowest = order[0];
    let hz = lesson.session().derived().bottles[lowest].hz().unwrap();
    let at = lesson.bottle(lowest).center();
    let listener = Listener::new(lesson.work.join("heard.raw"));
    lesson.point(at);
    xdotool(&["mousedown", "1"]);
    sleep(Duration::from_millis(2500));
    lesson.picture("5-heard");
    xdotool(&["mouseup", "1"]);
    let sound = listener.heard();
    let onset = sound
        .iter()
        .position(|x| x.abs() > 0.01)
        .expect("nothing was heard");
    let held = &sound[onset + seconds(RATE_HZ, 0.6)..onset + seconds(RATE_HZ, 2.2)];
    let off = cents(pitch_hz(held, RATE_HZ, hz), hz);
    println!("the lowest bottle sounds {off:+.1} cents from what the twin says");
    // A breath wanders by 6 to 8 cents (sd), slower than this was listened to.
    assert!(off.abs() < 15.0, "{off} cents");
    sleep(Duration::from_secs(2));

    // Saved, by a name that is typed.
    let (set, twins) = (
        lesson.work.join("room/class.toml"),
        lesson.work.join("twin/class.toml"),
    );
    lesson.with_control(Key::S, "s");
    lesson.name(&set, &twins);
    lesson.until_titled("class.toml");
    let saved = Document::open(&set).unwrap();
    assert_eq!(saved.model.pours.len(), order.len());

    // Poured: the lowest with some water in it, judged by the microphone; flat at first, then right.
    lesson.with_control(Key::Num4, "4");
    let has_water = |index: &&PourIndex| {
        let fill = lesson.session().document().model.fill(**index);
        fill.is_some_and(|fill| fill.ml() > 20.0)
    };
    let wet = *order.iter().find(has_water).expect("something is poured");
    let shown = lesson.session().derived().bottles[wet].clone();
    let (target, q) = (shown.target.hz(), shown.pitch.as_ref().unwrap().q);
    lesson.press(&format!("{}  {}", shown.note.plain(), shown.name));
    lesson.press("Listen");
    sleep(Duration::from_secs(3));
    for (name, off_cents, words, is_good) in [
        ("6-flat", -32.0, "flat", false),
        ("7-in-tune", 0.0, "in tune", true),
    ] {
        lesson.blow_in_the_room(target * 2f64.powf(off_cents / 1200.0), q);
        let said = lesson.twin.get_all_by_label_contains(words);
        let largest = said
            .map(|node| node.rect())
            .max_by(|a, b| a.height().total_cmp(&b.height()));
        let part = largest.expect("the twin says so");
        lesson.picture(name);
        let [good, off] = lesson.colours(part, [IN_TUNE, OUT_OF_TUNE]);
        println!("{words}: {good} points in blue, {off} in orange");
        assert!(if is_good {
            good > 40 && off < 5
        } else {
            off > 40 && good < 5
        });
    }
    lesson.press("Stop listening");
    lesson.press("Poured, next");

    // Printed.
    lesson.press("Print the pour sheet");
    let sheet = lesson.work.join("room/class-pour-sheet.html");
    let since = Instant::now();
    while !sheet.exists() {
        assert!(since.elapsed() < Duration::from_secs(10), "no sheet");
        sleep(Duration::from_millis(100));
    }
    assert!(fs::read_to_string(&sheet).unwrap().contains("flask"));

    // A piece on the five lowest notes, practised on the highest of them.
    let keys: Vec<u8> = order[..5]
        .iter()
        .map(|at| lesson.session().derived().bottles[*at].note.midi())
        .collect();
    let tune = [0, 1, 2, 4, 3, 1, 0, 2];
    let notes = (0..).zip(tune).map(|(n, at): (u32, usize)| {
        let from_s = 0.5 * f64::from(n);
        note(keys[at], from_s, from_s + 0.45)
    });
    let file = lesson.work.join("tune.mid");
    fs::write(&file, midi(&piece(notes.collect()))).unwrap();
    lesson.with_control(Key::Num5, "5");
    lesson.tab("Piece");
    lesson.press("Open a piece...");
    lesson.name(&file, &file);
    lesson.until("the piece is open", |lesson| {
        lesson.session().state.practice.is_some()
    });
    sleep(Duration::from_secs(1));
    let own = order[3];
    let shown = lesson.session().derived().bottles[own].clone();
    lesson.press(&shown.note.plain().to_string());
    let (own_key, own_hz) = {
        let keyboard = lesson.session().keyboard.borrow();
        let key = keyboard.hint(shown.note.midi()).expect("it has a key");
        (key_name(&key), shown.hz().unwrap())
    };
    let first_hz = lesson.session().derived().bottles[order[0]].hz().unwrap();
    for (is_played, name) in [(false, "8-left-out"), (true, "9-played")] {
        let listener = Listener::new(lesson.work.join("piece.raw"));
        lesson.key("ctrl+space");
        // A bar is counted in at 120; the note that is left out is the fifth.
        sleep(Duration::from_millis(2000 + 4 * 500 - 450));
        if is_played {
            xdotool(&["keydown", &own_key]);
        }
        sleep(Duration::from_millis(450));
        if is_played {
            xdotool(&["keyup", &own_key]);
        }
        lesson.picture(name);
        sleep(Duration::from_millis(2500));
        let sound = listener.heard();
        let (tune, mine) = (share(&sound, first_hz), share(&sound, own_hz));
        println!("{name}: the piece {tune:.2}, my bottle {mine:.2}");
        assert!(tune > 0.5, "the piece is not heard");
        assert_eq!(mine > 0.35, is_played, "{mine}");
        sleep(Duration::from_secs(1));
    }
    lesson.picture("10-how-it-went");
    lesson.press("Print the parts");
    let pages = lesson.work.join("room/class-parts/all-parts.html");
    let since = Instant::now();
    while !pages.exists() {
        assert!(since.elapsed() < Duration::from_secs(10), "no parts");
        sleep(Duration::from_millis(100));
    }
    sleep(Duration::from_secs(3));
    let shown = fs::read_to_string(lesson.work.join("shown")).unwrap();
    assert!(shown.contains("class-pour-sheet.html") && shown.contains("all-parts.html"));

    // The stage, and a window as small as a school's projector.
    lesson.key("F11");
    lesson.picture("11-stage");
    lesson.key("Escape");
    xdotool(&["windowsize", &lesson.window, "900", "600"]);
    sleep(Duration::from_secs(1));
    for (place, name) in [
        ("5", "12-small-play"),
        ("4", "13-small-pour"),
        ("3", "14-small-plan"),
        ("2", "15-small-crate"),
    ] {
        lesson.key(&format!("ctrl+{place}"));
        lesson.picture(name);
    }
    for _ in 0..7 {
        lesson.key("ctrl+equal");
    }
    lesson.key("ctrl+5");
    lesson.picture("16-small-twice");
    xdotool(&["windowsize", &lesson.window, "1600", "1000"]);
    sleep(Duration::from_secs(1));
    lesson.picture("17-twice");
}
