//! The page that plays in Firefox, which has other code for everything that is heard. Left out where it is not installed.

use std::io::{Read, Write};
use std::net::TcpListener;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use crate::browser::Opened;
use crate::common::files::Folder;
use crate::firefox::Firefox;
use crate::page::{NASTY, clicks, nasty, on_the_beat, quay, sounds_true};

/// The browser with a page in it, or a word that it is left out.
fn opened(page: &str) -> Option<(Firefox, Folder)> {
    let Some(mut firefox) = Firefox::start() else {
        println!("left out: firefox is needed to open the page in another browser");
        return None;
    };
    let folder = Folder::new();
    let path = folder.write("page.html", page);
    firefox.open_file(&path);
    Some((firefox, folder))
}

#[test]
fn another_browser_sounds_the_same_and_keeps_the_beat() {
    let Some((mut firefox, _folder)) = opened(quay()) else {
        return;
    };
    sounds_true(&mut firefox);
    // Its offline context cannot be held on the way (Chromium's can), so that all is handed over at once.
    on_the_beat(&firefox.samples(&clicks("player.pump(241);")));
    crate::found("Firefox sounds the page as Chromium does");
}

#[test]
fn another_browser_is_played_by_keys_and_fingers_and_keeps_what_is_ticked() {
    let Some((mut firefox, folder)) = opened(quay()) else {
        return;
    };
    let held = |firefox: &mut Firefox| {
        let places =
            firefox.eval("[...page.hands.held.values()].map(({ place }) => place).sort().join()");
        places.as_str().unwrap().to_owned()
    };
    firefox.key("z", true);
    firefox.key("x", true);
    assert_eq!(held(&mut firefox), "0,1");
    firefox.let_go();
    assert_eq!(held(&mut firefox), "");
    let points = firefox.eval(
        "[2, 5].map((place) => { const { left, top, width, height } = \
         document.querySelector(`#b${place} .picture`).getBoundingClientRect(); return [left + width / 2, top + height / 2]; })",
    );
    let points = points.as_array().unwrap().iter();
    let points: Vec<(f64, f64)> = points
        .map(|at| (at[0].as_f64().unwrap(), at[1].as_f64().unwrap()))
        .collect();
    firefox.touch(&points);
    assert_eq!(held(&mut firefox), "2,5");
    firefox.let_go();
    assert_eq!(held(&mut firefox), "");
    firefox.eval("document.getElementById('tab-pour').click()");
    firefox.eval("document.querySelector('input[data-poured=\"7\"]').click()");
    firefox.open_file(&folder.at("page.html"));
    assert_eq!(
        firefox.eval("document.getElementById('poured').textContent"),
        "1 of 15 done"
    );
}

#[test]
fn another_browser_takes_names_for_text_and_reaches_nobody() {
    let page = nasty();
    let Some((mut firefox, _folder)) = opened(&page) else {
        return;
    };
    let server = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = server.local_addr().unwrap();
    let asked = Arc::new(AtomicUsize::new(0));
    let counted = Arc::clone(&asked);
    std::thread::spawn(move || {
        for stream in server.incoming() {
            let mut stream = stream.unwrap();
            let mut order = [0; 4096];
            let _ = stream.read(&mut order);
            counted.fetch_add(1, Ordering::SeqCst);
            let head = format!(
                "HTTP/1.1 200 OK\r\nContent-Type: text/html\r\nContent-Length: {}\r\nConnection: close\r\n\r\n",
                page.len()
            );
            let _ = stream
                .write_all(head.as_bytes())
                .and_then(|()| stream.write_all(page.as_bytes()));
        }
    });
    // From a file, and from a plain server, which is asked for the page alone.
    for orders in [0, 1] {
        if orders == 1 {
            firefox.open(&format!("http://{address}/page.html"));
        }
        assert_eq!(firefox.eval("typeof window.hacked"), "undefined");
        assert_eq!(
            firefox.eval("document.querySelector('h1').textContent"),
            NASTY
        );
        assert_eq!(firefox.eval("document.images.length"), 0);
        let reach = format!(
            "fetch('http://{address}/other', {{ mode: 'no-cors' }}).then(() => 'reached', () => 'held')"
        );
        assert_eq!(firefox.eval(&reach), "held");
        let picture = format!(
            "new Promise((done) => {{ const picture = new Image(); picture.onload = picture.onerror = () => done(true); \
             picture.src = 'http://{address}/picture'; }})"
        );
        firefox.eval(&picture);
        assert_eq!(asked.load(Ordering::SeqCst), orders);
        let strange = "(() => { const script = document.createElement('script'); script.textContent = 'window.strange = 1'; \
                       document.body.append(script); return typeof window.strange; })()";
        assert_eq!(firefox.eval(strange), "undefined");
    }
}
