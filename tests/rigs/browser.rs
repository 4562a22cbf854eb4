//! A browser with nothing on the screen, spoken to through the pipe that it has for developers' tools.

use std::fs::File;
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use serde_json::{Value, json};

use crate::common::files::Folder;

/// How long an answer may take.
pub const MOST: Duration = Duration::from_secs(90);

/// A page that is open in a browser.
pub trait Opened {
    /// What an expression is worth in the page, once it is known.
    #[track_caller]
    fn eval(&mut self, expression: &str) -> Value;

    /// What an expression is worth that gives samples as `Float32Array`.
    #[track_caller]
    fn samples(&mut self, expression: &str) -> Vec<f32> {
        let text = self.eval(&format!(
            "(async () => {{ const bytes = new Uint8Array(({expression}).buffer); let text = ''; \
             for (let i = 0; i < bytes.length; i += 32768) text += String.fromCharCode(...bytes.subarray(i, i + 32768)); \
             return btoa(text); }})()"
        ));
        use base64::Engine;
        let engine = base64::engine::general_purpose::STANDARD;
        let bytes = engine.decode(text.as_str().unwrap()).unwrap();
        let four = bytes.chunks_exact(4);
        four.map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]]))
            .collect()
    }
}

/// A browser and the page that is open in it.
pub struct Browser {
    child: Child,
    to: File,
    from: Receiver<Value>,
    session: Value,
    sent: u64,
    /// What it said that was no answer.
    pub events: Vec<Value>,
    _folder: Folder,
}

impl Browser {
    /// Chromium; none where it is not installed.
    pub fn chromium() -> Option<Self> {
        let there = Command::new("chromium").arg("--version").output();
        if !there.is_ok_and(|o| o.status.success()) {
            return None;
        }
        let folder = Folder::new();
        let (to, from) = (folder.at("to"), folder.at("from"));
        let made = Command::new("mkfifo").args([&to, &from]).status();
        assert!(made.is_ok_and(|status| status.success()), "no pipe");
        // It reads orders from its third channel and answers on its fourth; a shell opens them for it.
        let script = "to=$1; from=$2; shift 2; exec chromium \"$@\" 3<\"$to\" 4>\"$from\"";
        let flags = "--headless --no-sandbox --disable-gpu --disable-quic --no-first-run --mute-audio \
                     --disable-background-networking --disable-component-update --disable-sync \
                     --remote-debugging-pipe --autoplay-policy=no-user-gesture-required";
        let child = Command::new("sh")
            .args(["-c", script, "sh"])
            .args([&to, &from])
            .args(flags.split_whitespace())
            .arg(format!("--user-data-dir={}", folder.at("user").display()))
            .arg("about:blank")
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let to = File::options().write(true).open(&to).unwrap();
        let from = messages(File::open(&from).unwrap());
        let mut browser = Self {
            child,
            to,
            from,
            session: Value::Null,
            sent: 0,
            events: Vec::new(),
            _folder: folder,
        };
        browser.attach();
        Some(browser)
    }

    /// Takes hold of its first page.
    fn attach(&mut self) {
        let targets = self.call("Target.getTargets", &json!({}));
        let all = targets["targetInfos"].as_array().unwrap();
        let page = all.iter().find(|target| target["type"] == "page").unwrap();
        let at = json!({"targetId": page["targetId"], "flatten": true});
        self.session = self.call("Target.attachToTarget", &at)["sessionId"].clone();
        for part in ["Page", "Runtime", "Network", "Log"] {
            self.call(&format!("{part}.enable"), &json!({}));
        }
    }

    /// What it answers to an order.
    #[track_caller]
    pub fn call(&mut self, method: &str, params: &Value) -> Value {
        self.sent += 1;
        let mut order = json!({"id": self.sent, "method": method, "params": params});
        if !self.session.is_null() {
            order["sessionId"] = self.session.clone();
        }
        self.to.write_all(order.to_string().as_bytes()).unwrap();
        self.to.write_all(&[0]).unwrap();
        self.to.flush().unwrap();
        let begun = Instant::now();
        while begun.elapsed() < MOST {
            let Ok(message) = self.from.recv_timeout(MOST) else {
                break;
            };
            if message["id"] != self.sent {
                self.events.push(message);
                continue;
            }
            assert!(message["error"].is_null(), "{method}: {}", message["error"]);
            return message["result"].clone();
        }
        panic!("{method} was not answered");
    }

    /// Opens a page, and waits until it has read its sound.
    pub fn open(&mut self, address: &str) {
        self.events.clear();
        self.call("Page.navigate", &json!({"url": address}));
        let is_open = |event: &Value| event["method"] == "Page.loadEventFired";
        while !self.events.iter().any(is_open) {
            match self.from.recv_timeout(MOST) {
                Ok(message) => self.events.push(message),
                Err(_) => panic!("{address} did not open"),
            }
        }
        self.eval("page.loaded.then(() => true)");
    }

    pub fn open_file(&mut self, path: &Path) {
        self.open(&format!("file://{}", path.display()));
    }

    /// A screen of this size; of a phone twice as fine.
    pub fn size(&mut self, width: u32, height: u32, phone: bool) {
        let fine = if phone { 2 } else { 1 };
        let params =
            json!({"width": width, "height": height, "deviceScaleFactor": fine, "mobile": phone});
        self.call("Emulation.setDeviceMetricsOverride", &params);
        let touch = json!({"enabled": phone, "maxTouchPoints": 5});
        self.call("Emulation.setTouchEmulationEnabled", &touch);
    }

    /// Light or dark, and whether things may move.
    pub fn likes(&mut self, scheme: &str, motion: &str) {
        let features = json!({"features": [
            {"name": "prefers-color-scheme", "value": scheme}, {"name": "prefers-reduced-motion", "value": motion},
        ]});
        self.call("Emulation.setEmulatedMedia", &features);
    }

    /// Presses a key, or lets it go.
    pub fn key(&mut self, code: &str, down: bool) {
        let kind = if down { "keyDown" } else { "keyUp" };
        self.call(
            "Input.dispatchKeyEvent",
            &json!({"type": kind, "code": code, "key": code}),
        );
    }

    /// Fingers on the screen, where they are now.
    pub fn touch(&mut self, kind: &str, points: &[(f64, f64)]) {
        let points = points.iter().zip(1..);
        let points: Vec<Value> = points
            .map(|((x, y), id)| json!({"x": x, "y": y, "id": id}))
            .collect();
        let params = json!({"type": kind, "touchPoints": points});
        self.call("Input.dispatchTouchEvent", &params);
    }
}

impl Opened for Browser {
    #[track_caller]
    fn eval(&mut self, expression: &str) -> Value {
        let params = json!({
            "expression": expression, "awaitPromise": true, "returnByValue": true, "userGesture": true,
            "allowUnsafeEvalBlockedByCSP": false,
        });
        let answer = self.call("Runtime.evaluate", &params);
        let thrown = &answer["exceptionDetails"];
        assert!(thrown.is_null(), "{expression}: {thrown}");
        answer["result"]["value"].clone()
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        // Its helpers end with it; it may be gone already.
        let close = format!("{}\0", json!({"id": u32::MAX, "method": "Browser.close"}));
        let _ = self.to.write_all(close.as_bytes());
        for _ in 0..100 {
            if self.child.try_wait().is_ok_and(|ended| ended.is_some()) {
                return;
            }
            std::thread::sleep(Duration::from_millis(50));
        }
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// The messages of a pipe, read on a thread of their own so that waiting for one can end.
fn messages(pipe: File) -> Receiver<Value> {
    let (tell, told) = channel();
    std::thread::spawn(move || {
        let mut pipe = BufReader::new(pipe);
        let mut message = Vec::new();
        while pipe.read_until(0, &mut message).is_ok_and(|read| read > 0) {
            message.pop();
            let Ok(value) = serde_json::from_slice(&message) else {
                return;
            };
            if tell.send(value).is_err() {
                return;
            }
            message.clear();
        }
    });
    told
}
