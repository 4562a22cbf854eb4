//! What a comparison of two conditions tells, against the line model and published tables.

use serde_json::Value;

use crate::common::command::{self, ullage};
use crate::common::files::{Folder, QUAY_SET, QUAY_SHELF, arg, read};

fn json(args: &[&str]) -> Value {
    command::json(&[&["compare", QUAY_SET], args].concat())
}

fn cents(report: &Value) -> Vec<f64> {
    let rows = report["bottles"].as_array().unwrap();
    rows.iter().map(|r| r["cents"].as_f64().unwrap()).collect()
}

#[test]
fn a_chilled_set_falls_by_three_cents_a_degree_and_stays_together() {
    let report = json(&[
        "--before",
        "temp-c=20",
        "--before",
        "humidity-pct=0",
        "--after",
        "temp-c=10",
        "--after",
        "humidity-pct=0",
    ]);
    let cents = cents(&report);
    assert_eq!(cents.len(), 15);
    // Dry air: 2.95 cents a degree at 20 °C and 3.05 at 10 °C, so 30.0 over these ten. Water shrinks by 0.15 %
    // of its volume, which with much in the bottle is a few cents more; glass is taken as rigid.
    for change in &cents {
        assert!((-37.0..-29.0).contains(change), "{change}");
    }
    let spread = report["together"]["spread_cents"].as_f64().unwrap();
    let most = cents.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let least = cents.iter().copied().fold(f64::INFINITY, f64::min);
    assert!(
        (spread - (most - least)).abs() < 2e-3 && spread < 8.0,
        "{spread}"
    );
    let beside: f64 = report["bottles"]
        .as_array()
        .unwrap()
        .iter()
        .map(|r| r["beside_mean_cents"].as_f64().unwrap())
        .sum();
    assert!(
        beside.abs() < 0.02,
        "what is left beside the mean adds up to {beside}"
    );
}

#[test]
fn another_gas_moves_each_bottle_less_than_all_of_its_air_would_and_the_set_comes_apart() {
    // media.md §5: co2 −441 cents and helium +1861 if all the air were replaced. The air outside the mouth is still the
    // room's, so that each bottle falls short by what moves outside, and wide mouths by most.
    for (name, whole) in [("co2", -441.0), ("helium", 1861.0)] {
        let report = json(&["--after", name]);
        for change in cents(&report) {
            assert!(
                change.signum() == f64::signum(whole) && change.abs() < f64::abs(whole),
                "{name}: {change}"
            );
            assert!(change.abs() > 0.5 * f64::abs(whole), "{name}: {change}");
        }
        let spread = report["together"]["spread_cents"].as_f64().unwrap();
        assert!(spread > 20.0, "{name}: {spread}");
        let cautions = report["cautions"].to_string();
        assert!(cautions.contains("Never breathe in the gas"), "{cautions}");
    }
}

#[test]
fn spirits_are_cautioned_about_and_water_and_air_are_not() {
    let spirit = json(&["--after", "spirit"]);
    assert!(spirit["cautions"].to_string().contains("burns"));
    assert!(
        cents(&spirit).iter().all(|c| (-25.0..0.0).contains(c)),
        "ethanol 40 %: −19 cents at most by table"
    );
    assert_eq!(
        json(&["--after", "chilled"])["cautions"]
            .as_array()
            .unwrap()
            .len(),
        0
    );
}

#[test]
fn the_same_on_both_sides_moves_nothing() {
    let report = json(&["--before", "temp-c=25", "--after", "temp-c=25"]);
    assert!(cents(&report).iter().all(|c| *c == 0.0));
    assert_eq!(report["together"]["spread_cents"], 0.0);
}

#[test]
fn a_comparison_that_says_nothing_or_nonsense_is_refused_with_a_way_out() {
    for (args, told) in [
        (&["compare", QUAY_SET][..], "--after co2"),
        (&["compare", QUAY_SET, "--after", "tepid"], "chilled"),
        (&["compare", QUAY_SET, "--after", "temp-f=40"], "temp-c"),
        (
            &["compare", QUAY_SET, "--after", "temp-c=warm"],
            "not a number",
        ),
        (&["compare", QUAY_SET, "--after", "temp-c=400"], "-10 to 60"),
        (&["compare", QUAY_SET, "--after", "lip-open=2"], "0.05 to 1"),
        (
            &["compare", QUAY_SET, "--after", "gas=phlogiston"],
            "helium",
        ),
        (
            &["compare", QUAY_SET, "--after", "gas=laughing gas"],
            "harms whoever breathes it",
        ),
    ] {
        ullage(args).ended(2).says(told);
    }
}

#[test]
fn a_classs_measurements_stand_beside_what_was_predicted_and_what_a_fit_makes_of_them() {
    let folder = Folder::new();
    let predicted_hz = |ml: &str| {
        let args = [
            "predict",
            QUAY_SHELF,
            "--bottle",
            "long-neck",
            "--fill-ml",
            ml,
        ];
        command::json(&args)["resonances"][0]["hz"]
            .as_f64()
            .unwrap()
    };
    // Forty cents above what is predicted, but for one typing error of a fifth.
    let up = 2f64.powf(40.0 / 1200.0);
    let (empty, half, full) = (
        up * predicted_hz("0"),
        up * predicted_hz("120"),
        1.5 * predicted_hz("200"),
    );
    let table = format!(
        "bottle,fill_ml,hz\nlong-neck,0,{empty:.3}\nlong-neck,120,{half:.3}\nlong-neck,200,{full:.3}\nvial,0,\n"
    );
    let csv = folder.write("class.csv", table);
    let page = folder.at("class.html");
    let args = [
        "compare",
        QUAY_SHELF,
        "--measured",
        arg(&csv),
        "--out",
        arg(&page),
    ];
    let report = command::json(&args);
    let points = report["points"].as_array().unwrap();
    let off: Vec<f64> = points
        .iter()
        .map(|p| p["off_cents"].as_f64().unwrap())
        .collect();
    assert_eq!(off.len(), 3);
    assert!(
        (off[0] - 40.0).abs() < 0.1 && (off[1] - 40.0).abs() < 0.1,
        "{off:?}"
    );
    assert!((off[2] - 701.955).abs() < 0.1, "{off:?}");
    assert_eq!(points[2]["inside"], false);
    // The formula knows no wall; it is another number than the line model's.
    assert!(points.iter().all(|p| {
        (p["off_schoolbook_cents"].as_f64().unwrap() - p["off_cents"].as_f64().unwrap()).abs() > 1.0
    }));
    let html = read(&page);
    assert_eq!(html.matches("<circle").count(), 3);
    assert!(!html.contains("<script") && !html.contains("NaN"));
    // Without the typing error the bottle can be fitted, and comes nearer.
    let csv = folder.write(
        "good.csv",
        format!("bottle;fill_ml;hz\nlong-neck;0;{empty:.3}\nlong-neck;120;{half:.3}\n")
            .replace('.', ","),
    );
    let fitted = &command::json(&["compare", QUAY_SHELF, "--measured", arg(&csv)])["bottles"][0];
    let rms = |key: &str| fitted[key].as_f64().unwrap();
    assert!((rms("rms_cents") - 40.0).abs() < 0.1);
    assert!(rms("fitted_rms_cents") < 20.0, "{fitted}");
    let strange = folder.write("strange.csv", "bottle,fill_ml,hz\njug,0,200\n");
    ullage(&["compare", QUAY_SHELF, "--measured", arg(&strange)])
        .ended(2)
        .says("line 2 measures \"jug\"")
        .says("harbour jug");
}

#[test]
fn the_worksheet_has_blanks_for_every_bottle_and_the_answers_on_a_page_of_their_own() {
    let folder = Folder::new();
    let page = folder.at("worksheet.html");
    ullage(&["compare", QUAY_SHELF, "--worksheet", arg(&page)])
        .ended(0)
        .says("wrote ");
    let html = read(&page);
    let (questions, answers) = html.split_once("<h2>Answers</h2>").unwrap();
    assert_eq!(questions.matches("<section class=\"measure\">").count(), 8);
    assert!(questions.matches("class=\"fill-in\"").count() >= 2 * 8 * 3);
    // The straight line's neck is the real one, nearly straight and 34 mm long, and what moves along with it: less than a mouth of 18
    // and half of a shoulder of 20 mm.
    let neck_mm = |name: &str| -> f64 {
        let before = answers
            .split(&format!(" mm for <bdi>{name}</bdi>"))
            .next()
            .unwrap();
        before.rsplit([' ', '\n']).next().unwrap().parse().unwrap()
    };
    let sauce = neck_mm("jetty sauce");
    assert!(sauce > 34.0 && sauce < 34.0 + 18.0 + 10.0, "{sauce} mm");
    ullage(&["compare", QUAY_SHELF, "--worksheet", arg(&page)])
        .ended(1)
        .says("--force");
}

#[test]
fn what_moves_is_drawn_a_bar_a_bottle_and_not_over_another_drawing() {
    let folder = Folder::new();
    let file = folder.at("chilled.svg");
    let drawing = [
        "compare",
        QUAY_SET,
        "--after",
        "chilled",
        "--svg",
        arg(&file),
    ];
    ullage(&drawing).ended(0).says("wrote ");
    let drawn = read(&file);
    assert_eq!(drawn.matches("class=\"bar\"").count(), 15);
    assert!(drawn.contains(">G2 harbour jug<") && drawn.contains("from as in the file to chilled"));
    assert!(!drawn.contains("NaN") && !drawn.contains("inf"));
    ullage(&drawing).ended(1).says("--force");
}
