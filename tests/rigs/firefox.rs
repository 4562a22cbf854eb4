//! Firefox with nothing on the screen, spoken to through the socket that it opens when it is asked to. Its protocol, Marionette, is
//! a length, a colon and an array in JSON, to and fro.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::{Value, json};

use crate::browser::{MOST, Opened};
use crate::common::files::Folder;

/// Its program's names.
const NAMES: [&str; 2] = ["firefox-esr", "firefox"];
/// Any port that is free; sound without a press, as the other browser is asked for; nothing asked of its makers.
const PREFERENCES: &str = "user_pref(\"marionette.port\", 0);\n\
     user_pref(\"media.autoplay.default\", 0);\n\
     user_pref(\"remote.prefs.recommended\", true);\n\
     user_pref(\"app.update.enabled\", false);\n\
     user_pref(\"browser.shell.checkDefaultBrowser\", false);\n\
     user_pref(\"datareporting.policy.dataSubmissionEnabled\", false);\n";

/// A program that ends with its owner.
struct Running(Child);

impl Drop for Running {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// The browser and the page that is open in it.
pub struct Firefox {
    socket: BufReader<TcpStream>,
    sent: u64,
    _running: Running,
    _folder: Folder,
}

impl Firefox {
    /// None where it is not installed.
    pub fn start() -> Option<Self> {
        let there = |name: &&str| {
            let asked = Command::new(name).arg("--version").output();
            asked.is_ok_and(|o| o.status.success())
        };
        let name = NAMES.into_iter().find(there)?;
        let folder = Folder::new();
        let profile = folder.at("profile");
        std::fs::create_dir(&profile).unwrap();
        std::fs::write(profile.join("user.js"), PREFERENCES).unwrap();
        let child = Command::new(name)
            .args(["--headless", "--no-remote", "--marionette", "--profile"])
            .arg(&profile)
            .arg("about:blank")
            // What it keeps beside its profile goes with the folder too.
            .env("HOME", folder.path())
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let running = Running(child);
        let stream = connected(&profile.join("MarionetteActivePort"));
        stream.set_read_timeout(Some(MOST)).unwrap();
        let mut firefox = Self {
            socket: BufReader::new(stream),
            sent: 0,
            _running: running,
            _folder: folder,
        };
        let hello = firefox.message();
        assert_eq!(hello["marionetteProtocol"], 3, "{hello}");
        let any = json!({"capabilities": {"alwaysMatch": {}}});
        firefox.call("WebDriver:NewSession", &any);
        let most_ms = MOST.as_millis() as u64;
        let most = json!({"script": most_ms, "pageLoad": most_ms});
        firefox.call("WebDriver:SetTimeouts", &most);
        Some(firefox)
    }

    /// What it says next.
    #[track_caller]
    fn message(&mut self) -> Value {
        let mut length = Vec::new();
        self.socket.read_until(b':', &mut length).unwrap();
        length.pop();
        let length: usize = String::from_utf8(length).unwrap().parse().unwrap();
        let mut text = vec![0; length];
        self.socket.read_exact(&mut text).unwrap();
        serde_json::from_slice(&text).unwrap()
    }

    /// What it answers to an order.
    #[track_caller]
    pub fn call(&mut self, order: &str, params: &Value) -> Value {
        self.sent += 1;
        let text = json!([0, self.sent, order, params]).to_string();
        write!(self.socket.get_mut(), "{}:{text}", text.len()).unwrap();
        let answer = self.message();
        assert_eq!(answer[1], self.sent, "{order}: {answer}");
        assert!(answer[2].is_null(), "{order}: {}", answer[2]);
        answer[3].clone()
    }

    /// Opens a page, and waits until it has read its sound.
    #[track_caller]
    pub fn open(&mut self, address: &str) {
        self.call("WebDriver:Navigate", &json!({"url": address}));
        self.eval("page.loaded.then(() => true)");
    }

    #[track_caller]
    pub fn open_file(&mut self, path: &Path) {
        self.open(&format!("file://{}", path.display()));
    }

    /// Presses a key by the sign on it, or lets it go.
    pub fn key(&mut self, sign: &str, down: bool) {
        let kind = if down { "keyDown" } else { "keyUp" };
        let action = json!({"type": kind, "value": sign});
        self.act(&[json!({"type": "key", "id": "keys", "actions": [action]})]);
    }

    /// Fingers that touch the screen, each at its place, and stay there.
    pub fn touch(&mut self, points: &[(f64, f64)]) {
        let finger = |(at, &(x, y)): (usize, &(f64, f64))| {
            let moved = json!({"type": "pointerMove", "x": x.round(), "y": y.round()});
            let pressed = json!({"type": "pointerDown", "button": 0});
            json!({
                "type": "pointer", "id": format!("finger {at}"), "parameters": {"pointerType": "touch"},
                "actions": [moved, pressed],
            })
        };
        let fingers: Vec<Value> = points.iter().enumerate().map(finger).collect();
        self.act(&fingers);
    }

    /// Lets every key and every finger go.
    pub fn let_go(&mut self) {
        self.call("WebDriver:ReleaseActions", &json!({}));
    }

    fn act(&mut self, actions: &[Value]) {
        self.call("WebDriver:PerformActions", &json!({"actions": actions}));
    }
}

impl Opened for Firefox {
    #[track_caller]
    fn eval(&mut self, expression: &str) -> Value {
        // It runs beside the page's script, which shows what it has to whoever looks in from there.
        let script = format!(
            "const done = arguments[arguments.length - 1]; const {{ page, Instrument, Player }} = window.ullage; \
             (async () => ({expression}))().then((value) => done({{ value }}), (error) => done({{ thrown: String(error) }}));"
        );
        let params = json!({"script": script, "args": [], "sandbox": null});
        let answer = self.call("WebDriver:ExecuteAsyncScript", &params)["value"].clone();
        let thrown = &answer["thrown"];
        assert!(thrown.is_null(), "{expression}: {thrown}");
        answer["value"].clone()
    }
}

/// A socket to the port that the browser writes into a file when it is ready.
fn connected(port_file: &Path) -> TcpStream {
    let begun = Instant::now();
    while begun.elapsed() < MOST {
        let port = std::fs::read_to_string(port_file).unwrap_or_default();
        if let Ok(port) = port.trim().parse::<u16>() {
            return TcpStream::connect(("127.0.0.1", port)).unwrap();
        }
        std::thread::sleep(Duration::from_millis(100));
    }
    panic!("the browser opened no port");
}
