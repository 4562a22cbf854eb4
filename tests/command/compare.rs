//! What a comparison of two conditions tells, against the line model and published tables.

use serde_json::Value;

use crate::common::command::{self, ullage};
use crate::common::files::QUAY_SET;

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
            "no number",
        ),
        (&["compare", QUAY_SET, "--after", "temp-c=400"], "-10 to 60"),
        (&["compare", QUAY_SET, "--after", "lip-open=2"], "0.05 to 1"),
        (
            &["compare", QUAY_SET, "--after", "gas=laughing gas"],
            "helium",
        ),
    ] {
        ullage(args).ended(2).says(told);
    }
}
