//! A window that is killed while it saves: its set is as it was or as it was to be, and nothing that was changed is lost.
//!
//! On a display of its own, left out where there is no Xvfb or no xdotool. Four kills by default; `ULLAGE_KILLS=300` makes it more,
//! `ULLAGE_BIN` takes another build of the program.

use std::collections::BTreeSet;
use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::thread::sleep;
use std::time::{Duration, Instant, SystemTime};

use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use ullage::app::{Document, FileAsk, Session, Settings, Setup, draw};
use ullage::file::atomic::leftovers;
use ullage::live::DeviceWish;
use ullage::set::read_set;

use crate::common::dice::Dice;
use crate::common::files::{Folder, preset, read};
use crate::common::window::{NoCard, setup, without_card};
use crate::display::{Display, Window, within};
use crate::found;

/// The window, points and pixels.
const SIZE: [u32; 2] = [800, 600];
/// Time that the window gets after a key, and for what it writes by itself.
const A_MOMENT: Duration = Duration::from_millis(300);
const A_WHILE: Duration = Duration::from_secs(2);
const MOST: Duration = Duration::from_secs(60);
/// From the first byte of a save to its last takes some milliseconds: a kill that waits for the first one comes within this.
const OF_A_SAVE: Duration = Duration::from_millis(10);

/// A folder with a set in it, and one for the window's settings.
struct Desk {
    folder: Folder,
    set: PathBuf,
    old: String,
    /// With a millilitre more in the lowest bottle.
    new: String,
}

impl Desk {
    fn new() -> Self {
        let folder = Folder::new();
        for name in ["sets", "settings/ullage"] {
            fs::create_dir_all(folder.at(name)).unwrap();
        }
        let settings = Settings {
            window: SIZE.map(|side| side as f32),
            ..Settings::default()
        };
        let desk = Self {
            set: folder.at("sets/set.toml"),
            old: read(preset("classroom/set.toml")),
            new: String::new(),
            folder,
        };
        settings.write(&desk.settings_file()).unwrap();
        desk
    }

    fn settings(&self) -> PathBuf {
        self.folder.at("settings")
    }

    fn settings_file(&self) -> PathBuf {
        self.folder.at("settings/ullage/window.toml")
    }

    fn draft(&self) -> Option<String> {
        fs::read_to_string(self.folder.at("settings/ullage/unsaved.toml")).ok()
    }

    fn sets(&self) -> &Path {
        self.set.parent().unwrap()
    }

    fn open<'a>(&self, display: &'a Display) -> Window<'a> {
        fs::write(&self.set, &self.old).unwrap();
        Window::open(display, Some(&self.set), &self.settings())
    }

    /// Pours a millilitre into the lowest bottle by the keys, and waits for the draft of it.
    fn change(&self, display: &Display) {
        // F6 goes to the shelf by way of the tabs, one frame each: if a frame was missed it is somewhere else, where Up changes
        // nothing of the set.
        for _ in 0..6 {
            for key in ["F6", "F6", "Up"] {
                display.xdotool(&["key", key]).unwrap();
                sleep(A_MOMENT);
            }
            if within(A_WHILE, || self.draft().is_some()) {
                return;
            }
        }
        panic!("no key changes the set");
    }

    /// A window without a display that begins where the killed one left everything.
    fn next(&self) -> Session {
        let document = Document::blank();
        let sound = Box::new(NoCard(without_card(&document)));
        let (settings, because) = Settings::read(&self.settings_file());
        assert!(because.is_none(), "the settings are spoiled: {because:?}");
        Session::new(Setup {
            settings,
            settings_place: Some(self.settings_file()),
            ..setup(document, sound, DeviceWish::default())
        })
    }

    /// Everything in the set's folder but what killed runs left.
    fn names(&self) -> BTreeSet<PathBuf> {
        let left = leftovers(self.sets()).unwrap();
        let entries = fs::read_dir(self.sets()).unwrap();
        let paths = entries.map(|entry| entry.unwrap().path());
        paths.filter(|path| !left.contains(path)).collect()
    }
}

/// When it is killed.
enum Moment {
    /// So long after the key that saves.
    After(Duration),
    /// So long after the first sign of a save in the folder.
    InSave(Duration),
}

/// What was left by the kills.
#[derive(Default)]
struct Seen {
    old: u32,
    new: u32,
    drafts: u32,
}

/// Opens a window, changes the set, saves it, and kills the window at that moment.
fn kill_one(desk: &Desk, display: &Display, moment: &Moment, seen: &mut Seen) {
    let window = desk.open(display);
    desk.change(display);
    let before = leftovers(desk.sets()).unwrap();
    let mut press = display.begin(&["key", "ctrl+s"]);
    match moment {
        Moment::After(time) => sleep(*time),
        Moment::InSave(time) => {
            let begins = || {
                // What is left over may also become less: it is cleaned up by every save.
                leftovers(desk.sets()).unwrap() != before || read(&desk.set) != desk.old
            };
            assert!(within(MOST, begins), "it does not save: {}", window.said());
            sleep(*time);
        }
    }
    window.kill();
    press.wait().unwrap();

    let text = read(&desk.set);
    let is_old = text == desk.old;
    assert!(
        is_old || text == desk.new,
        "neither old nor new: {} bytes",
        text.len()
    );
    assert_eq!(desk.names(), BTreeSet::from([desk.set.clone()]));
    let draft = desk.draft();
    assert!(
        draft.as_ref().is_none_or(|draft| *draft == desk.new),
        "the draft is not what was on the screen: {draft:?}"
    );
    assert!(
        draft.is_some() || !is_old,
        "what was changed is neither in the file nor in the draft"
    );
    seen.old += u32::from(is_old);
    seen.new += u32::from(!is_old);
    seen.drafts += u32::from(draft.is_some());

    let mut next = desk.next();
    if draft.is_some() {
        next.apply(FileAsk::Recover);
        assert_eq!(next.document().text().unwrap(), desk.new);
        assert!(next.document().is_changed(), "it counts as saved");
    }
    next.apply(FileAsk::ForgetDraft);
    assert!(desk.draft().is_none());
}

/// Saves once and closes; how long that took from the key to the file.
fn save_whole(desk: &Desk, display: &Display) -> Duration {
    let window = desk.open(display);
    desk.change(display);
    let begun = Instant::now();
    display.begin(&["key", "ctrl+s"]).wait().unwrap();
    let saved = within(MOST, || read(&desk.set) != desk.old);
    let took = begun.elapsed();
    assert!(saved, "it does not save: {}", window.said());
    let is_gone = within(MOST, || desk.draft().is_none());
    assert!(is_gone, "what is saved is kept as unsaved");
    window.close();
    took
}

/// As an hour later.
fn grow_old(files: Vec<PathBuf>) {
    let hour_ago = SystemTime::now() - Duration::from_secs(3600);
    for path in files {
        let file = File::options().write(true).open(path).unwrap();
        file.set_modified(hour_ago).unwrap();
    }
}

/// The draft of a killed window is offered by the next, and becomes a file there.
fn take_up_on_screen(desk: &Desk, display: &Display) {
    let window = desk.open(display);
    desk.change(display);
    window.kill();
    let window = Window::open(display, None, &desk.settings());
    // A twin of it, drawn without a display, says where what is pressed stands.
    let mut twin = Harness::builder()
        .with_size(SIZE.map(|side| side as f32))
        .build_ui_state(draw, desk.next());
    twin.run_steps(5);
    let at = twin.get_by_label("Go on with it").rect().center();
    sleep(A_WHILE);
    let [x, y] = [at.x, at.y].map(|along| format!("{along:.0}"));
    display.xdotool(&["mousemove", &x, &y]).unwrap();
    sleep(A_MOMENT);
    display.xdotool(&["click", "1"]).unwrap();
    sleep(A_WHILE);
    display.xdotool(&["key", "ctrl+s"]).unwrap();
    sleep(A_WHILE);
    let named = desk.folder.at("named.toml");
    let typed = named.display().to_string();
    display.xdotool(&["type", "--delay", "20", &typed]).unwrap();
    sleep(A_MOMENT);
    display.xdotool(&["key", "Return"]).unwrap();
    assert!(
        within(A_WHILE, || named.exists()),
        "nothing was taken up: {}",
        window.said()
    );
    assert_eq!(read(&named), desk.new);
    assert!(within(MOST, || desk.draft().is_none()));
    window.close();
}

#[test]
fn a_window_killed_while_it_saves_leaves_the_old_set_or_the_new_and_loses_nothing() {
    let Some(display) = Display::new(SIZE) else {
        println!("left out: a window takes Xvfb and xdotool (Debian: xvfb xdotool)");
        return;
    };
    let kills: u32 = std::env::var("ULLAGE_KILLS").map_or(4, |n| n.parse().unwrap());
    let mut desk = Desk::new();
    let took = save_whole(&desk, &display);
    desk.new = read(&desk.set);
    let [old, new] = [&desk.old, &desk.new].map(|text| read_set(text).unwrap());
    let fills = |set: &ullage::set::Set| -> f64 {
        let fills = set.pours.iter().filter_map(|pour| pour.fill);
        fills.map(|fill| fill.ml()).sum()
    };
    assert!((fills(&new) - fills(&old) - 1.0).abs() < 0.01);

    let mut dice = Dice(17);
    let mut seen = Seen::default();
    for kill in 0..kills {
        let share = dice.share();
        let moment = match kill % 2 {
            0 => Moment::InSave(OF_A_SAVE.mul_f64(share)),
            _ => Moment::After(took.mul_f64(1.5 * share)),
        };
        kill_one(&desk, &display, &moment, &mut seen);
    }
    let parts = leftovers(desk.sets()).unwrap();
    found(&format!(
        "windows killed while they save: {kills}, sets old {}, new {}, drafts {}, left over {}",
        seen.old,
        seen.new,
        seen.drafts,
        parts.len()
    ));
    take_up_on_screen(&desk, &display);
    // An hour later the next save cleans up.
    grow_old(parts);
    save_whole(&desk, &display);
    assert_eq!(read(&desk.set), desk.new);
    assert!(leftovers(desk.sets()).unwrap().is_empty());
}
