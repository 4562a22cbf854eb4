//! The pour sheet as a browser prints it, measured on the printed page. Needs chromium and pdftoppm (of
//! poppler-utils); without them the test says that it was left out.

use std::path::Path;
use std::process::Command;
use std::time::Duration;

use ullage::report::html::{Paper, html};
use ullage::report::sheet::Sheet;
use ullage::set::Set;

use crate::common::command::run_within;
use crate::common::files::{Folder, set};

/// A picture read from a PPM file: rows of red, green, blue.
struct Picture {
    width: usize,
    height: usize,
    rgb: Vec<u8>,
}

impl Picture {
    fn read(path: &Path) -> Self {
        let bytes = std::fs::read(path).unwrap();
        let mut fields = Vec::new();
        let mut at = 0;
        while fields.len() < 4 {
            let end = at
                + bytes[at..]
                    .iter()
                    .position(u8::is_ascii_whitespace)
                    .unwrap();
            fields.push(String::from_utf8_lossy(&bytes[at..end]).into_owned());
            at = end + 1;
        }
        assert_eq!((fields[0].as_str(), fields[3].as_str()), ("P6", "255"));
        let (width, height) = (fields[1].parse().unwrap(), fields[2].parse().unwrap());
        Self {
            width,
            height,
            rgb: bytes[at..].to_vec(),
        }
    }

    fn at(&self, x: usize, y: usize) -> [u8; 3] {
        let from = 3 * (y * self.width + x);
        [self.rgb[from], self.rgb[from + 1], self.rgb[from + 2]]
    }

    fn is_orange(&self, x: usize, y: usize) -> bool {
        let [r, g, b] = self.at(x, y);
        r > 170 && (40..150).contains(&g) && b < 100
    }

    fn is_black(&self, x: usize, y: usize) -> bool {
        self.at(x, y).iter().all(|&c| c < 128)
    }

    /// Rows from the middle of each level line down to the middle of the foot line under it.
    fn levels(&self, px_per_mm: f64) -> Vec<f64> {
        let px = |mm: f64| (mm * px_per_mm) as usize;
        let mut found: Vec<(usize, usize, usize)> = Vec::new();
        for y in 0..self.height {
            let mut x = 0;
            while x < self.width {
                let start = x;
                while x < self.width && self.is_orange(x, y) {
                    x += 1;
                }
                // A strip is 28 mm wide; the level in a drawing 50 mm.
                if (px(27.0)..px(29.0)).contains(&(x - start)) {
                    match found
                        .iter_mut()
                        .find(|f| f.0.abs_diff(start) < 3 && f.2 + 1 == y)
                    {
                        Some(line) => line.2 = y,
                        None => found.push((start, y, y)),
                    }
                }
                x += 1;
            }
        }
        let foot = |&(start, top, bottom): &(usize, usize, usize)| {
            // Between the numbers and the name a strip is white from the level to its foot.
            let x = start + px(21.0);
            let first = (bottom + 3..self.height)
                .find(|&y| self.is_black(x, y))
                .unwrap();
            let after = (first..self.height)
                .find(|&y| !self.is_black(x, y))
                .unwrap();
            let middle = |a: usize, b: usize| (a + b) as f64 / 2.0;
            middle(first, after - 1) - middle(top, bottom)
        };
        found.iter().map(foot).collect()
    }
}

fn there(program: &str) -> bool {
    Command::new(program)
        .arg("--version")
        .output()
        .is_ok_and(|o| o.status.success())
        || Command::new(program)
            .arg("-v")
            .output()
            .is_ok_and(|o| o.status.success())
}

/// Prints the sheet of `set` to PDF with a browser, and gives the pages as pictures of 300 dots an inch.
fn printed(set: &Set, paper: Paper, folder: &Path) -> Vec<Picture> {
    let at = |name: &str| folder.join(name).display().to_string();
    std::fs::write(
        folder.join("s.html"),
        html(&Sheet::new(set), paper).unwrap(),
    )
    .unwrap();
    let flags = "--headless --no-sandbox --disable-gpu --disable-quic --no-first-run \
                 --disable-background-networking --disable-component-update --disable-sync --no-pdf-header-footer";
    let mut args: Vec<String> = flags.split_whitespace().map(str::to_owned).collect();
    args.push(format!("--user-data-dir={}", at("user")));
    args.push(format!("--print-to-pdf={}", at("s.pdf")));
    args.push(format!("file://{}", at("s.html")));
    let most = Duration::from_secs(120);
    run_within(Command::new("chromium").args(args), most).ended(0);
    let pages = ["-r", "300", &at("s.pdf"), &at("page")];
    run_within(Command::new("pdftoppm").args(pages), most).ended(0);
    let mut pages: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap().path())
        .filter(|p| p.extension().is_some_and(|e| e == "ppm"))
        .collect();
    pages.sort();
    pages.iter().map(|p| Picture::read(p)).collect()
}

#[test]
fn a_browser_prints_every_strip_whole_and_true_within_0_3_mm() {
    if !there("chromium") || !there("pdftoppm") {
        println!("left out: chromium and pdftoppm are needed to measure the printed strips");
        return;
    }
    const PX_PER_MM: f64 = 300.0 / 25.4;
    let set = set("quay");
    let mut expected: Vec<f64> = Sheet::new(&set)
        .rows
        .iter()
        .map(|r| r.level().mm())
        .collect();
    expected.sort_by(f64::total_cmp);
    for (paper, most_pages) in [(Paper::A4, 12), (Paper::Letter, 13)] {
        let folder = Folder::new();
        let pages = printed(&set, paper, folder.path());
        assert!(pages.len() <= most_pages, "{} pages", pages.len());
        let (width_mm, height_mm) = paper.size_mm();
        // A page is rounded to whole dots.
        assert!((pages[0].width as f64 / PX_PER_MM - width_mm).abs() < 0.3);
        assert!((pages[0].height as f64 / PX_PER_MM - height_mm).abs() < 0.3);
        let mut measured: Vec<f64> = pages
            .iter()
            .flat_map(|page| page.levels(PX_PER_MM))
            .map(|px| px / PX_PER_MM)
            .collect();
        measured.sort_by(f64::total_cmp);
        assert_eq!(
            measured.len(),
            expected.len(),
            "a strip is cut by a page or missing"
        );
        let worst = measured
            .iter()
            .zip(&expected)
            .map(|(measured, expected)| (measured - expected).abs())
            .fold(0.0, f64::max);
        crate::found(&format!(
            "{paper:?}: {} pages, strips true within {worst:.3} mm",
            pages.len()
        ));
        assert!(
            worst < 0.3,
            "{worst} mm: measured {measured:?}, expected {expected:?}"
        );
    }
}
