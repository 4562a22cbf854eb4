//! The page that plays, opened in browsers and measured outside of them. Needs chromium; what else it uses is said where it is left
//! out. `ULLAGE_AXE=axe.min.js` of the package axe-core lets its rules be looked at, `ULLAGE_SHOTS=FOLDER` keeps pictures of it.

use std::f64::consts::TAU;
use std::io::{Read, Write};
use std::net::TcpListener;
use std::path::Path;
use std::sync::OnceLock;

use serde_json::Value;

use ullage::page::{PagePiece, PageSpec, html};
use ullage::set::read_set;
use ullage::stage::Stage;

use crate::browser::{Browser, Opened};
use crate::common::files::{Folder, preset, set};

const RATE_HZ: f64 = 48_000.0;
/// What a title, a name and a remark may be that means harm.
pub const NASTY: &str =
    "</script><script>window.hacked = 1</script><img src=x onerror='window.hacked = 1'>";

/// The quay's page with its piece, made once.
pub fn quay() -> &'static str {
    static PAGE: OnceLock<String> = OnceLock::new();
    PAGE.get_or_init(|| page(&Stage::new(&set("quay")).unwrap()))
}

fn page(stage: &Stage) -> String {
    let piece = ullage::file::piece::open(preset("quay/piece.mid")).unwrap();
    let pieces = vec![PagePiece::new(stage, &piece).unwrap()];
    html(stage, &PageSpec { pieces, dry: false }).unwrap()
}

/// A browser with a page in it, or a word that it is left out.
fn opened(page: &str) -> Option<(Browser, Folder)> {
    let Some(mut browser) = Browser::chromium() else {
        println!("left out: chromium is needed to open the page");
        return None;
    };
    let folder = Folder::new();
    let path = folder.write("page.html", page);
    browser.open_file(&path);
    Some((browser, folder))
}

/// Level and phase of what swings at `hz` about a moment, so many periods long.
fn tone_over(periods: f64, samples: &[f32], at_s: f64, hz: f64) -> (f64, f64) {
    let (middle, half) = (at_s * RATE_HZ, (periods / 2.0 * RATE_HZ / hz).round());
    let (mut re, mut im, mut all) = (0.0, 0.0, 0.0);
    let frames = (middle - half).ceil() as usize..=(middle + half) as usize;
    for frame in frames {
        let off = frame as f64 - middle;
        let weight = (TAU / 4.0 * off / half).cos().powi(2);
        let (sin, cos) = (TAU * hz * frame as f64 / RATE_HZ).sin_cos();
        re += weight * f64::from(samples[frame]) * cos;
        im -= weight * f64::from(samples[frame]) * sin;
        all += weight;
    }
    (20.0 * (2.0 * re.hypot(im) / all).log10(), im.atan2(re))
}

fn largest_step(samples: &[f32]) -> f32 {
    samples
        .windows(2)
        .map(|two| (two[1] - two[0]).abs())
        .fold(0.0, f32::max)
}

/// The same of four periods.
fn tone_at(samples: &[f32], at_s: f64, hz: f64) -> (f64, f64) {
    tone_over(4.0, samples, at_s, hz)
}

/// Half a turn to either side.
fn turn(angle: f64) -> f64 {
    (angle + TAU / 2.0).rem_euclid(TAU) - TAU / 2.0
}

#[test]
fn a_bottle_has_its_pitch_a_loop_that_is_not_heard_and_its_own_ring() {
    let Some((mut browser, _folder)) = opened(quay()) else {
        return;
    };
    sounds_true(&mut browser);
}

/// Measures some of the quay's bottles as a browser sounds them.
pub fn sounds_true(browser: &mut impl Opened) {
    assert_eq!(browser.eval("page.context.sampleRate"), RATE_HZ);
    let bottles = browser.eval("page.data.bottles.map(({ hz, q, clips }) => [hz, q, ...clips[0].looped.map((f) => f / 24000)])");
    for place in [0, 3, 7, 11, 14] {
        let number = |which: usize| bottles[place][which].as_f64().unwrap();
        let (hz, q, loop_start_s, loop_end_s) = (number(0), number(1), number(2), number(3));
        let (blown_s, seam_s) = (0.1, 0.1 + loop_end_s);
        let let_go_s = seam_s + 0.9;
        let rendered = format!(
            "await (async () => {{ const context = new OfflineAudioContext(1, {} * 48000, 48000); \
             const instrument = new Instrument(context, page.data, page.instrument.buffers); \
             instrument.play({place}, undefined, {blown_s}).release({let_go_s}); \
             return (await context.startRendering()).getChannelData(0); }})()",
            (let_go_s + 1.0).ceil()
        );
        let samples = browser.samples(&rendered);
        // The whole loop, from a moment after the seam back to the same moment before it.
        let loop_s = loop_end_s - loop_start_s;
        let after_s = seam_s + 0.4;
        // Long enough that the breath's noise, whose loop is another, moves it by a few hundredths of a dB.
        let [before, after] =
            [after_s - loop_s, after_s].map(|at_s| tone_over(24.0, &samples, at_s, hz));
        let cents = 1200.0 * (turn(after.1 - before.1) / (TAU * hz * loop_s)).ln_1p() / 2f64.ln();
        assert!(cents.abs() < 1.0, "{hz} Hz is {cents} cents off");
        assert!(
            (after.0 - before.0).abs() < 0.1,
            "{hz} Hz: one round is as loud as the next, {} and {} dB",
            before.0,
            after.0
        );
        // Where the blend begins, what ends and what comes again are so nearly in step that together they lose less than half
        // a dB; and of a tone that wanders, the seam is no quieter than it is elsewhere.
        let blend_s = seam_s - 0.06;
        let [comes, ends] = [blend_s - loop_s, blend_s].map(|at_s| tone_at(&samples, at_s, hz).1);
        let apart = turn((ends - comes) - (after.1 - before.1));
        let lost_db = -20.0 * (apart / 2.0).cos().log10();
        assert!(
            lost_db < 0.5,
            "{hz} Hz: {apart} rad apart, {lost_db} dB lost"
        );
        let quietest = |from_s: f64, to_s: f64| {
            let steps = ((to_s - from_s) / 0.005) as usize;
            let level = |step| tone_at(&samples, from_s + 0.005 * step as f64, hz).0;
            (0..steps).map(level).fold(f64::INFINITY, f64::min)
        };
        let here = quietest(seam_s - 0.07, seam_s + 0.03);
        let elsewhere = quietest(seam_s - loop_s + 0.05, seam_s - 0.1);
        assert!(
            here > elsewhere - 0.5,
            "{hz} Hz falls to {here} dB at the seam, {elsewhere} dB elsewhere"
        );
        let frame = |s: f64| (s * RATE_HZ) as usize;
        let own = largest_step(&samples[frame(seam_s - 2.0)..frame(seam_s - 0.1)]);
        let at_seam = largest_step(&samples[frame(seam_s - 0.01)..frame(seam_s + 0.01)]);
        let at_end = largest_step(&samples[frame(let_go_s - 0.01)..frame(let_go_s + 0.03)]);
        assert!(
            at_seam <= own * 1.05 && at_end <= own * 1.05,
            "{at_seam} or {at_end} is above {own}"
        );
        // Two levels of the ring-down, two time constants apart.
        let fall_s = q / (TAU / 2.0 * hz);
        let from_s = let_go_s + 0.02 + 2.0 / hz;
        let [first, last] = [from_s, from_s + 2.0 * fall_s].map(|at_s| tone_at(&samples, at_s, hz));
        let measured = TAU / 2.0 * hz * 2.0 * fall_s / ((first.0 - last.0) / 20.0 * 10f64.ln());
        assert!(
            (measured / q - 1.0).abs() < 0.03,
            "Q {measured}, not {q}, at {hz} Hz"
        );
        // The breath is heard at once: 30 dB under the tone.
        let loudest = samples.iter().fold(0.0f32, |most, s| most.max(s.abs()));
        let first = samples
            .iter()
            .position(|s| s.abs() > 0.03 * loudest)
            .unwrap();
        let late_s = first as f64 / RATE_HZ - blown_s;
        assert!((0.0..0.015).contains(&late_s), "heard after {late_s} s");
    }
}

#[test]
fn a_piece_of_four_minutes_stays_on_its_beat() {
    let Some((mut browser, _folder)) = opened(quay()) else {
        return;
    };
    // Handed over by the page's player as it goes; the context stops for it as a clock would call it.
    let samples = browser.samples(&clicks(
        "player.pump(AHEAD_S.shown); \
         for (let at = 0.25; at < 240.5; at += 0.25) context.suspend(at).then(() => { player.pump(at + AHEAD_S.shown); context.resume(); });",
    ));
    on_the_beat(&samples);
}

/// A click a second for four minutes, at 8,000 samples a second, by the page's player: the script `pumps` it.
pub fn clicks(pumps: &str) -> String {
    format!(
        "await (async () => {{ \
         const beats = Array.from({{ length: 240 }}, (_, beat) => [beat, beat % 4 === 0]); \
         const bars_s = Array.from({{ length: 61 }}, (_, bar) => 4 * bar); \
         const piece = {{ title: '', end_s: 240, bars_s, beats, notes: [[0, 0, 1, 2.5]], players: [], missing: [] }}; \
         const context = new OfflineAudioContext(1, 241 * 8000, 8000); \
         const instrument = new Instrument(context, page.data, page.instrument.buffers); \
         const spec = {{ tempo: 1, from: 1, to: 60, loop: false, countIn: 0, click: true, wait: false, mine: new Set([0]) }}; \
         const player = new Player(instrument, piece, spec); \
         {pumps} \
         return (await context.startRendering()).getChannelData(0); }})()"
    )
}

/// Whether those clicks are where they belong.
pub fn on_the_beat(samples: &[f32]) {
    let mut worst_s = 0.0f64;
    for beat in 0..240 {
        let due = ((0.12 + f64::from(beat)) * 8000.0) as usize;
        let around = &samples[due - 400..due + 800];
        let found = around.iter().position(|s| s.abs() > 0.01);
        let found = found.unwrap_or_else(|| panic!("beat {beat} is missing"));
        worst_s = worst_s.max(((found as f64 - 400.0) / 8000.0).abs());
    }
    assert!(worst_s < 0.005, "a beat is {worst_s} s off");
}

/// The page of a bottle whose names mean harm.
pub fn nasty() -> String {
    let text = format!(
        "title = \"{NASTY}\"\n[[bottle]]\nname = \"{NASTY}\"\nremark = \"{NASTY}\"\ncapacity_ml = 500\nmouth_bore_mm = 18\n\
         neck_length_mm = 60\nbody_diameter_mm = 66\n[[pour]]\nnote = \"C4\"\nbottle = \"{NASTY}\"\n"
    );
    let stage = Stage::new(&read_set(&text).unwrap()).unwrap();
    html(&stage, &PageSpec::default()).unwrap()
}

#[test]
fn names_are_text_and_nothing_is_fetched_or_run_from_elsewhere() {
    let page = nasty();
    let Some((mut browser, folder)) = opened(&page) else {
        return;
    };
    let check = |browser: &mut Browser| {
        assert_eq!(browser.eval("typeof window.hacked"), "undefined");
        assert_eq!(
            browser.eval("document.querySelector('h1').textContent"),
            NASTY
        );
        assert_eq!(browser.eval("page.data.bottles[0].name"), NASTY);
        assert_eq!(browser.eval("document.images.length"), 0);
        let asked = |event: &&Value| {
            let address = event["params"]["request"]["url"]
                .as_str()
                .unwrap_or_default();
            event["method"] == "Network.requestWillBeSent" && !address.starts_with("data:")
        };
        assert_eq!(
            browser.events.iter().filter(asked).count(),
            1,
            "but for itself it asks for nothing"
        );
        // A browser says so itself when a policy stops its own script or style.
        let said = browser
            .events
            .iter()
            .filter(|event| event["method"] == "Log.entryAdded");
        assert_eq!(
            said.map(|event| &event["params"]["entry"]["text"])
                .collect::<Vec<_>>(),
            Vec::<&Value>::new()
        );
        let held = "fetch(location.href).then(() => 'fetched', () => 'held')";
        assert_eq!(browser.eval(held), "held");
        let strange = "(() => { const script = document.createElement('script'); script.textContent = 'window.strange = 1'; \
                       document.body.append(script); return typeof window.strange; })()";
        assert_eq!(browser.eval(strange), "undefined");
        let evaluated = "(() => { try { return new Function('return 1')(); } catch (error) { return error.name; } })()";
        assert_eq!(browser.eval(evaluated), "EvalError");
    };
    check(&mut browser);
    // From a plain server too.
    let server = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = server.local_addr().unwrap();
    let body = std::fs::read(folder.at("page.html")).unwrap();
    std::thread::spawn(move || {
        for stream in server.incoming() {
            let mut stream = stream.unwrap();
            let mut asked = [0; 4096];
            let _ = stream.read(&mut asked);
            let head = format!(
                "HTTP/1.1 200 OK\r\nContent-Type: text/html\r\nContent-Length: {}\r\nConnection: close\r\n\r\n",
                body.len()
            );
            let _ = stream
                .write_all(head.as_bytes())
                .and_then(|()| stream.write_all(&body));
        }
    });
    browser.open(&format!("http://{address}/page.html"));
    check(&mut browser);
}

#[test]
fn it_is_played_by_keys_and_fingers_and_keeps_what_is_ticked() {
    let Some((mut browser, folder)) = opened(quay()) else {
        return;
    };
    browser.size(390, 844, true);
    let sounding = |browser: &mut Browser| {
        let list = browser.eval(
            "new Promise((done) => setTimeout(() => done(page.instrument.sounding().join()), 60))",
        );
        list.as_str().unwrap().to_owned()
    };
    // The lowest two by their keys, then by two fingers; the third by the space bar where the focus is.
    browser.key("KeyZ", true);
    browser.key("KeyX", true);
    assert_eq!(sounding(&mut browser), "0,1");
    let now = browser.eval("new Promise((done) => setTimeout(() => done(document.getElementById('now').textContent), 200))");
    assert!(
        now.as_str()
            .unwrap()
            .starts_with("G2 D3: fifth, 700 cents, beats "),
        "{now}"
    );
    browser.key("KeyZ", false);
    browser.key("KeyX", false);
    assert_eq!(sounding(&mut browser), "");
    let middle = "((place) => { const { left, top, width, height } = document.querySelector(`#b${place} .picture`).getBoundingClientRect(); \
                  return [left + width / 2, top + height / 2]; })";
    let mut point = |place: usize| {
        let at = browser.eval(&format!("{middle}({place})"));
        (at[0].as_f64().unwrap(), at[1].as_f64().unwrap())
    };
    let (first, second) = (point(2), point(5));
    browser.touch("touchStart", &[first, second]);
    assert_eq!(sounding(&mut browser), "2,5");
    // One finger slides on to the next bottle.
    let next = {
        let at = browser.eval(&format!("{middle}(3)"));
        (at[0].as_f64().unwrap(), at[1].as_f64().unwrap())
    };
    browser.touch("touchMove", &[next, second]);
    assert_eq!(sounding(&mut browser), "3,5");
    browser.touch("touchEnd", &[]);
    assert_eq!(sounding(&mut browser), "");
    browser.eval("document.getElementById('b2').focus()");
    browser.key("Space", true);
    assert_eq!(sounding(&mut browser), "2");
    browser.key("Space", false);
    // Escape silences what a key still holds.
    browser.key("KeyZ", true);
    assert_eq!(sounding(&mut browser), "0");
    browser.key("Escape", true);
    assert_eq!(sounding(&mut browser), "");
    browser.key("Escape", false);
    browser.key("KeyZ", false);
    // What is ticked stays ticked.
    browser.eval("document.getElementById('tab-pour').click()");
    browser.eval("document.querySelector('input[data-poured=\"7\"]').click()");
    browser.open_file(&folder.at("page.html"));
    assert_eq!(
        browser.eval("document.querySelector('input[data-poured=\"7\"]').checked"),
        true
    );
    assert_eq!(
        browser.eval("document.getElementById('poured').textContent"),
        "1 of 15 done"
    );
    // Nothing sticks out of a phone's screen, on any part of the page.
    for part in ["play", "pieces", "pour", "care"] {
        browser.eval(&format!("document.getElementById('tab-{part}').click()"));
        assert_eq!(
            browser.eval("document.documentElement.scrollWidth"),
            390,
            "{part}"
        );
    }
    accessible(&mut browser);
    shots(&mut browser);
}

/// Looks at every part, light and dark, by the rules of axe-core, where that is there.
fn accessible(browser: &mut Browser) {
    let Ok(axe) = std::env::var("ULLAGE_AXE") else {
        println!("left out: ULLAGE_AXE names no axe.min.js to look for what shuts people out");
        return;
    };
    browser.eval(&format!("{}; true", std::fs::read_to_string(axe).unwrap()));
    for scheme in ["light", "dark"] {
        browser.likes(scheme, "no-preference");
        for part in ["play", "pieces", "pour", "care"] {
            browser.eval(&format!("document.getElementById('tab-{part}').click()"));
            let found = browser.eval("axe.run().then(({ violations }) => violations.map(({ id, nodes }) => `${id}: ${nodes[0].html}`))");
            assert_eq!(found, serde_json::json!([]), "{part}, {scheme}");
        }
    }
    crate::found("axe-core finds nothing");
}

/// Keeps pictures of every part, on a phone and on a desk, light and dark, where a folder is named for them.
fn shots(browser: &mut Browser) {
    let Ok(folder) = std::env::var("ULLAGE_SHOTS") else {
        return;
    };
    for (screen, width, height) in [("phone", 390, 844), ("desk", 1280, 800)] {
        browser.size(width, height, screen == "phone");
        for scheme in ["light", "dark"] {
            browser.likes(scheme, "no-preference");
            for part in ["play", "pieces", "pour", "care"] {
                browser.eval(&format!("document.getElementById('tab-{part}').click()"));
                let picture = browser.call(
                    "Page.captureScreenshot",
                    &serde_json::json!({"format": "png"}),
                );
                use base64::Engine;
                let engine = base64::engine::general_purpose::STANDARD;
                let bytes = engine.decode(picture["data"].as_str().unwrap()).unwrap();
                std::fs::write(
                    Path::new(&folder).join(format!("{screen}-{scheme}-{part}.png")),
                    bytes,
                )
                .unwrap();
            }
        }
    }
}
