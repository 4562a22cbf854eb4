//! Bottles that were poured at 20 °C, and what they give at 40 °C.

use std::path::PathBuf;

use super::*;

/// Bottles that are poured at 20 °C: blown with much in it, blown with as much as its note needs, and struck.
pub const POURED: &str = r#"
[room]
temp_c = 20
[striking]
doublet_pct = 0
[[bottle]]
name = "cellar"
count = 3
mouth_bore_mm = 18.5
neck_bore_mm = 22
body_diameter_mm = 75
body_length_mm = 178
shoulder_length_mm = 45
height_mm = 296
[[pour]]
note = "A#3"
bottle = "cellar"
fill_ml = 600
[[pour]]
note = "D3"
bottle = "cellar"
[[pour]]
note = "D#6"
bottle = "cellar"
way = "struck"
fill_ml = 520
"#;
pub const NOTES: [&str; 3] = ["A#3", "D3", "D#6"];
/// Water's density, kg/m³: IAPWS-95 at one atmosphere.
pub const COOL_KG_M3: f64 = 998.207;
pub const WARM_KG_M3: f64 = 992.215;

/// What the notes of [`POURED`] give at 40 °C: their water has the mass that it had at 20 °C.
pub struct Warm {
    pub set: PathBuf,
    /// ml at 20 °C.
    pub cool_ml: [f64; 3],
    /// By `compare`.
    pub hz: [f64; 3],
    _folder: Folder,
}

impl Warm {
    pub fn new() -> Self {
        let (folder, set) = file("set.toml", POURED);
        let filled = json(&["fill", text(&set)]);
        let cool_ml = [600.0, of_note(&filled["pours"], "D3", "fill_ml"), 520.0];
        let (hz, dry) = (
            in_a_warm_file(cool_ml.map(swollen)),
            in_a_warm_file(cool_ml),
        );
        for n in 0..3 {
            let swelling = cents(hz[n], dry[n]);
            println!(
                "{}: {:.4} Hz, {swelling:+.3} cents by swelling",
                NOTES[n], hz[n]
            );
            // Nobody passes by letting nothing swell.
            assert!(swelling.abs() > 100.0 * SAME_CENTS, "{}", NOTES[n]);
        }
        let told = json(&["compare", text(&set), "--after", "temp-c=40"]);
        let by_compare = NOTES.map(|note| of_note(&told["bottles"], note, "after_hz"));
        for n in 0..3 {
            // Our water is within 5 ppm of the table's: 0.003 ml of these, at 6 cents a millilitre at most.
            let off = cents(by_compare[n], hz[n]);
            assert!(off.abs() < 0.02, "{}: {off:+.3} cents by compare", NOTES[n]);
        }
        let warm = Self {
            set,
            cool_ml,
            hz: by_compare,
            _folder: folder,
        };
        #[cfg(feature = "window")]
        {
            let document = window::in_room(&warm.set, 40.0);
            warm.is_heard("the window", |note| window::shown_hz(&document, note));
        }
        warm
    }

    #[track_caller]
    pub fn is_heard(&self, by: &str, hz: impl Fn(&str) -> f64) {
        let off = [0, 1, 2].map(|n| cents(hz(NOTES[n]), self.hz[n]));
        let is_same = off.iter().all(|off| off.abs() < SAME_CENTS);
        assert!(
            is_same,
            "{by}: {NOTES:?} are {off:+.3?} cents from what they are at 40 °C"
        );
    }
}

/// ml at 40 °C of what is so many at 20 °C.
pub fn swollen(ml: f64) -> f64 {
    ml * COOL_KG_M3 / WARM_KG_M3
}

/// What [`POURED`] gives if so much stands in its bottles at 40 °C, by a file that says so: no option, no rule.
fn in_a_warm_file(fills_ml: [f64; 3]) -> [f64; 3] {
    let (head, _) = POURED.split_once("[[pour]]").unwrap();
    let ways = ["blown", "blown", "struck"];
    let pour = |n: usize| {
        let (note, ml, way) = (NOTES[n], fills_ml[n], ways[n]);
        format!(
            "[[pour]]\nnote = \"{note}\"\nbottle = \"cellar\"\nfill_ml = {ml}\nway = \"{way}\"\n"
        )
    };
    let warm = head.replace("temp_c = 20", "temp_c = 40");
    let (_folder, set) = file("warm.toml", warm + &[0, 1, 2].map(pour).concat());
    let told = json(&["predict", text(&set)]);
    // The blown ones come first.
    [0, 1, 2].map(|n| {
        assert_eq!(told["predictions"][n]["way"], ways[n]);
        first_hz(&told["predictions"][n])
    })
}
