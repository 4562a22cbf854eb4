//! The pour sheet: its numbers are those of physics, its strips are true on paper, and no name breaks it.

use std::collections::BTreeMap;

use ullage::physics::prediction::Blown;
use ullage::report::drawing::drawing;
use ullage::report::html::{Paper, html};
use ullage::report::rows::{csv, flat, without_formula};
use ullage::report::sheet::Sheet;
use ullage::report::strip::Strip;
use ullage::report::svg::shortened;
use ullage::set::{Set, read_set};
use ullage::units::{Length, Volume};

use crate::common::command::{Run, json, ullage};
use crate::common::files::{Folder, QUAY_SET, arg, read, set};

fn quay() -> Set {
    set("quay")
}

/// A set of one bottle poured to a given fill, with a filling section before it.
fn one(name: &str, filling: &str, shape: &str, fill_ml: f64) -> Set {
    let name = toml::Value::String(name.to_owned());
    read_set(&format!(
        "[filling]\n{filling}\n[[bottle]]\nname = {name}\n{shape}\n\
         [[pour]]\nnote = \"A3\"\nbottle = {name}\nfill_ml = {fill_ml}\n"
    ))
    .unwrap_or_else(|e| panic!("{e}"))
}

const JAR: &str =
    "capacity_ml = 500\nmouth_bore_mm = 18\nneck_length_mm = 60\nbody_diameter_mm = 66";
/// 700 mm high, so that its strip is longer than any page.
const TALL: &str = "profile_mm = [[0, 60], [560, 60], [600, 30], [700, 30]]\nwall_mm = 3";

/// The values of an attribute in the elements of a class, in the order of the picture.
fn attribute(svg: &str, class: &str, name: &str) -> Vec<f64> {
    let tag = format!("class=\"{class}\"");
    let value = |line: &str| {
        let from = line.find(&format!("{name}=\"")).unwrap() + name.len() + 2;
        let rest = &line[from..];
        rest[..rest.find('"').unwrap()].parse().unwrap()
    };
    svg.lines()
        .filter(|l| l.contains(&tag))
        .map(value)
        .collect()
}

#[test]
fn grams_are_millilitres_times_the_density_at_the_rooms_temperature() {
    let mut set = quay();
    for temp_c in [4.0, 19.0, 38.0] {
        set.conditions.room.temperature = ullage::units::Temperature::from_c(temp_c);
        let sheet = Sheet::new(&set);
        assert_eq!(sheet.rows.len(), 15);
        // Kell's water, from the table in physics/liquid.rs; a hundredth of a gram is what rounding leaves.
        let g_per_ml = sheet.density_kg_m3().unwrap() / 1000.0;
        for row in flat(&sheet) {
            assert!(
                (row.fill_g - row.fill_ml * g_per_ml).abs() < 0.01,
                "{row:?}"
            );
        }
    }
}

#[test]
fn the_total_is_the_sum_of_the_rows() {
    let set = quay();
    let sheet = Sheet::new(&set);
    let ml: f64 = sheet.rows.iter().map(|r| r.fill().ml()).sum();
    assert!(ml > 1000.0);
    assert!((sheet.total().ml() - ml).abs() < 1e-6);
    assert!(
        html(&sheet, Paper::A4)
            .unwrap()
            .contains(&format!("<b>{ml:.0} ml</b>"))
    );
}

#[test]
fn the_fullest_bottle_is_poured_first_and_every_bottle_once() {
    let set = quay();
    let sheet = Sheet::new(&set);
    let ml: Vec<f64> = sheet
        .in_pouring_order()
        .iter()
        .map(|r| r.fill().ml())
        .collect();
    assert!(ml.windows(2).all(|pair| pair[0] >= pair[1]), "{ml:?}");
    let mut orders: Vec<usize> = sheet.rows.iter().map(|r| r.order).collect();
    orders.sort_unstable();
    assert_eq!(orders, (1..=15).collect::<Vec<_>>());
}

#[test]
fn level_and_distance_to_the_rim_make_the_height_of_the_bottle() {
    let set = quay();
    for row in &Sheet::new(&set).rows {
        let height = row.kind.bottle.bore().height() + row.kind.bottle.floor();
        assert!((row.level() + row.below_rim() - height).mm().abs() < 1e-9);
    }
}

#[test]
fn the_tolerance_moves_the_pitch_by_five_cents() {
    let set = quay();
    for row in &Sheet::new(&set).rows {
        let tolerance = row.tolerance().unwrap();
        let blown = Blown::new(&row.kind.bottle, &set.conditions).unwrap();
        let pitch = |fill: Volume| blown.fundamental(fill).unwrap().frequency;
        let up = pitch(row.fill() + tolerance).interval_above(pitch(row.fill() - tolerance));
        // The tolerance is a slope, and over ten cents the curve leaves it by less than a twentieth.
        assert!(
            (up.cents() - 10.0).abs() < 0.5,
            "{}: {} cents",
            row.name(),
            up.cents()
        );
    }
}

#[test]
fn marks_of_a_strip_stand_at_the_levels_of_their_millilitres() {
    let set = quay();
    for row in &Sheet::new(&set).rows {
        let bottle = &row.kind.bottle;
        let strip = Strip::new(bottle, row.fill(), Paper::A4.longest_strip());
        assert!(
            strip.marks.len() > 4 && strip.pieces.len() == 1,
            "{}",
            row.name()
        );
        let svg = &strip.svgs("A3", "x")[0];
        let foot_mm = attribute(svg, "table", "y1")[0];
        let drawn: Vec<f64> = attribute(svg, "mark", "y1")
            .iter()
            .map(|y| foot_mm - y)
            .collect();
        assert_eq!(drawn.len(), strip.marks.len());
        for (drawn_mm, mark) in drawn.iter().zip(&strip.marks) {
            // Undo the level: the volume below the drawn height is what the mark says.
            let inside = Length::from_mm(*drawn_mm) - bottle.floor();
            let below_ml = bottle.bore().volume_below(inside).ml();
            let area_mm2 = 3.2 * bottle.bore().widest_radius().mm().powi(2);
            // Coordinates have three decimals: half a micrometre of the widest area, and as much of the foot's.
            assert!((below_ml - mark.fill.ml()).abs() < 0.0011 * area_mm2 / 1000.0 + 1e-9);
        }
        let level_mm = foot_mm - attribute(svg, "level", "y1")[0];
        assert!((level_mm - row.level().mm()).abs() < 0.0011);
    }
}

#[test]
fn the_drawn_level_is_the_level_at_the_drawings_scale() {
    let set = quay();
    for row in &Sheet::new(&set).rows {
        let drawn = drawing(&row.kind.bottle, row.fill());
        let paper_mm =
            attribute(&drawn.svg, "table", "y1")[0] - attribute(&drawn.svg, "level", "y1")[0];
        // Coordinates have three decimals.
        assert!((paper_mm * drawn.scale - row.level().mm()).abs() < 0.0011 * drawn.scale);
    }
}

#[test]
fn a_strip_longer_than_the_page_is_cut_into_pieces_that_fit_and_join() {
    for fill_ml in [900.0, 1200.0, 1500.0, 1590.0] {
        let set = one("tall", "", TALL, fill_ml);
        let bottle = &set.kinds[0].bottle;
        for paper in [Paper::A4, Paper::Letter] {
            let longest_mm = paper.longest_strip().mm();
            let strip = Strip::new(bottle, Volume::from_ml(fill_ml), paper.longest_strip());
            assert!(strip.pieces.len() > 1);
            assert_eq!(strip.pieces[0].from.mm(), 0.0);
            assert!(
                (strip.pieces[strip.pieces.len() - 1].to - strip.length)
                    .mm()
                    .abs()
                    < 1e-9
            );
            for pair in strip.pieces.windows(2) {
                assert_eq!(pair[0].to, pair[1].from);
                assert!((pair[0].to - strip.level).mm().abs() > 9.9);
            }
            let mut marks = 0;
            for (index, piece) in strip.pieces.iter().enumerate() {
                let svg = &strip.svgs("A3", "tall")[index];
                assert!((piece.to - piece.from).mm() + 8.0 <= longest_mm);
                marks += attribute(svg, "mark", "y1").len();
            }
            assert_eq!(
                marks,
                strip.marks.len(),
                "no mark is lost at a joint or drawn twice"
            );
            let page = html(&Sheet::new(&set), paper).unwrap();
            assert!(page.contains("A strip longer than the page comes in parts"));
            assert!(page.contains(&format!("A3, part 2 of {}", strip.pieces.len())));
        }
    }
    let page = html(&Sheet::new(&quay()), Paper::A4).unwrap();
    assert!(!page.contains("comes in parts"));
}

#[test]
fn no_name_becomes_part_of_the_page() {
    let long = "long ".repeat(400);
    let names = [
        "<script>alert(1)</script>",
        "\"quoted\" & 'so'",
        "flaša ﬁn 瓶 قنينة",
        "🍾🥛👩‍🔬",
        "</style></svg><b>",
        "a\u{0}b\u{202e}c",
        long.as_str(),
        "{{ title }}",
        "]]>",
    ];
    for name in names {
        let mut set = one(
            name,
            "",
            &format!("remark = {}\n{JAR}", toml::Value::from(name)),
            200.0,
        );
        set.title = name.to_owned();
        let page = html(&Sheet::new(&set), Paper::A4).unwrap();
        for bad in ["<script", "\"quoted\"", "</style></svg>", "\u{0}"] {
            assert!(!page.contains(bad), "{bad:?} of {name:?} is in the page");
        }
        assert_eq!(page.matches("<svg").count(), page.matches("</svg>").count());
        assert!(page.len() < 60_000, "{} bytes", page.len());
    }
    let page = html(&Sheet::new(&one("🍾 瓶", "", JAR, 200.0)), Paper::A4).unwrap();
    assert!(page.contains("🍾 瓶"));
}

#[test]
fn a_long_name_is_cut_between_characters_with_a_sign() {
    assert_eq!(shortened("瓶瓶瓶瓶", 3), "瓶瓶…");
    assert_eq!(shortened("jar", 3), "jar");
}

#[test]
fn the_page_loads_nothing_and_runs_nothing() {
    let page = html(&Sheet::new(&quay()), Paper::Letter).unwrap();
    let page = page.replace("http://www.w3.org/2000/svg", "");
    for bad in [
        "http:",
        "https:",
        "<script",
        "src=",
        "@import",
        "url(",
        "<link",
        "<iframe",
        "javascript:",
    ] {
        assert!(!page.contains(bad), "{bad}");
    }
}

#[test]
fn a_name_that_looks_like_a_formula_is_text_in_a_spreadsheet() {
    for (name, safe) in [
        ("=1+1", "'=1+1"),
        ("+49", "'+49"),
        ("-3", "'-3"),
        ("@x", "'@x"),
        (" =cmd()", "' =cmd()"),
        ("\t=1", "'\t=1"),
        ("jar", "jar"),
        ("a=b", "a=b"),
    ] {
        assert_eq!(without_formula(name), safe);
    }
    let name = "=HYPERLINK(\"x\",\"y\"), \"q\"";
    let set = one(name, "", JAR, 200.0);
    let sheet = Sheet::new(&set);
    let text = csv(&sheet).unwrap();
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let rows: Vec<BTreeMap<String, String>> = reader.deserialize().map(Result::unwrap).collect();
    assert_eq!(rows.len(), 1);
    assert_eq!(rows[0]["bottle"], format!("'{name}"));
    assert_eq!(rows[0]["fill_ml"], "200.0");
    assert_eq!(flat(&sheet)[0].bottle, name, "JSON keeps the name as it is");
}

#[test]
fn cautions_come_where_they_belong() {
    let cautions = |filling: &str| {
        Sheet::new(&one("jar", filling, JAR, 200.0))
            .cautions()
            .join("\n")
    };
    let (plain, spirit, gas) = (
        cautions(""),
        cautions("liquid = \"ethanol 40%\""),
        cautions("gas = \"30% helium in air\""),
    );
    for always in [
        "Glass is never",
        "chipped",
        "dizzy",
        "One mouth",
        "rules of your school",
    ] {
        assert!(
            [&plain, &spirit, &gas].iter().all(|c| c.contains(always)),
            "{always}"
        );
    }
    assert!(spirit.contains("burns") && !plain.contains("burns") && !gas.contains("burns"));
    let inhaling = "Never breathe in";
    assert!(gas.contains(inhaling) && !plain.contains(inhaling) && !spirit.contains(inhaling));
}

#[test]
fn json_csv_and_page_of_one_run_agree() {
    let folder = Folder::new();
    let (page, rows) = (folder.at("s.html"), folder.at("s.csv"));
    let files = ["--out", arg(&page), "--csv", arg(&rows)];
    let report = json(&[&["pour", QUAY_SET][..], &files].concat());
    let mut reader = csv::Reader::from_path(&rows).unwrap();
    let rows = report["rows"].as_array().unwrap();
    assert_eq!(rows.len(), 15);
    assert_eq!(report["version"], 1);
    let sum: f64 = rows.iter().map(|r| r["fill_ml"].as_f64().unwrap()).sum();
    assert!((sum - report["total_ml"].as_f64().unwrap()).abs() < 0.02);
    let written: Vec<BTreeMap<String, String>> = reader.deserialize().map(Result::unwrap).collect();
    let page = read(page);
    assert_eq!(written.len(), 15);
    for (row, line) in rows.iter().zip(&written) {
        assert_eq!(row["note"], line["note"].as_str());
        for key in [
            "fill_ml",
            "fill_g",
            "level_mm",
            "plus_minus_cents",
            "tolerance_ml",
        ] {
            assert_eq!(
                row[key].as_f64().unwrap(),
                line[key].parse::<f64>().unwrap()
            );
        }
        // A row is rounded to hundredths before it is rounded to tenths here.
        let level_mm = row["level_mm"].as_f64().unwrap();
        let level = |off: f64| format!("{:.1} mm</b> above the table", level_mm + off);
        let is_there = [-0.005, 0.005].map(|off| page.contains(&level(off)));
        assert!(is_there[0] || is_there[1], "{}", level(0.0));
    }
}

#[test]
fn a_file_that_is_there_is_kept_without_force_and_then_neither_is_written() {
    let folder = Folder::new();
    let (page, rows) = (folder.at("s.html"), folder.write("s.csv", "mine"));
    let pour = |files: [&str; 2], more: &[&str]| -> Run {
        let args = ["pour", QUAY_SET, "--out", files[0], "--csv", files[1]];
        ullage(&[&args[..], more].concat())
    };
    let files = [arg(&page), arg(&rows)];
    pour(files, &[]).ended(1).says("--force");
    assert_eq!(read(&rows), "mine");
    assert!(!page.exists());
    pour(files, &["--force"]).ended(0);
    assert!(page.exists() && read(&rows).starts_with("order,"));
    let same = folder.at("x");
    pour([arg(&same); 2], &[]).ended(2);
}

#[test]
fn another_room_solves_the_fills_anew() {
    let rows = |args: &[&str]| -> Vec<(f64, f64)> {
        let report = json(&[&["pour", QUAY_SET], args].concat());
        let rows = report["rows"].as_array().unwrap().clone();
        rows.iter()
            .map(|r| {
                (
                    r["fill_ml"].as_f64().unwrap(),
                    r["error_cents"].as_f64().unwrap(),
                )
            })
            .collect()
    };
    let (cool, warm) = (rows(&[]), rows(&["--temp-c", "28"]));
    for ((cool_ml, _), (warm_ml, error)) in cool.into_iter().zip(warm) {
        assert!(
            warm_ml < cool_ml,
            "warm air sounds higher, so that less liquid is needed"
        );
        assert!(error.abs() < 0.01);
    }
}
