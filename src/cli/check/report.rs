//! What was found, as text and as JSON.

use serde_json::{Value, json};

use super::super::predict::{JSON_VERSION, rounded};
use super::super::table::table;
use super::{CheckArgs, Checked};
use crate::plan::check::{busiest_bar, nearest, range, transpositions};
use crate::plan::players::{MOST_EXACT, Shared, load};

/// Lines of a list in the text.
const SHOWN: usize = 6;
/// From here on a player is warned: this share of the time, or this long without a rest. Common
/// practice, no source.
const HEAVY_SHARE: f64 = 0.5;
const HEAVY_RUN_S: f64 = 15.0;
const CAUTION: &str =
    "Long blowing makes dizzy: rest when light-headed, sit down, and share the heavy parts out.";

pub(super) fn json(c: &Checked, args: &CheckArgs, reasons: &[String]) -> Value {
    let rough = c.rough.iter().map(|p| {
        json!({
            "a_note": p.pair.a_note.to_string(), "b_note": p.pair.b_note.to_string(),
            "roughness": rounded(p.pair.roughness, 4),
            "off_equal_cents": rounded(p.pair.interval.off_equal_cents, 2),
            "together_s": rounded(p.together_s, 3), "bar": p.bar,
        })
    });
    let fast = c.too_fast.iter().map(|t| {
        json!({
            "note": c.name(t.bottle), "bar": t.bar, "at_s": rounded(t.at_s, 3),
            "every_s": rounded(t.every_s, 4), "speaks_in_s": rounded(t.speaks_in_s, 4),
        })
    });
    let at_once = c.played.cut.iter();
    let at_once = at_once.map(|k| json!({"note": c.name(k.bottle), "bar": k.bar}));
    let among = c.among.as_ref().map(|shared| {
        let lost: Vec<String> = shared.left_out.iter().map(|&b| c.name(b)).collect();
        json!({
            "count": args.players, "lost_notes": shared.lost, "left_out": lost,
            "exact": shared.exact, "who": who(c, shared),
        })
    });
    json!({
        "version": JSON_VERSION,
        "playable": reasons.is_empty(),
        "reasons": reasons,
        "missing": missing(c),
        "range": range(&c.score, &c.keyed),
        "players": {
            "fewest": c.fewest.players.len(), "hands": args.hands, "change_s": args.change_s,
            "who": who(c, &c.fewest), "given": among, "caution": CAUTION,
        },
        "transpositions": transpositions(&c.score, &c.keyed),
        "bound": {"lower": c.lower_bound, "exact": c.fewest.exact, "most_exact": MOST_EXACT},
        "busiest_bar": busiest_bar(&c.score, &c.bars),
        "rough_pairs": rough.collect::<Vec<_>>(),
        "too_fast": fast.collect::<Vec<_>>(),
        "two_at_once": at_once.collect::<Vec<_>>(),
    })
}

fn missing(c: &Checked) -> Vec<Value> {
    let row = |m: &crate::plan::piece::Missing| {
        let nearest = nearest(&c.keyed, m.key).map(|(bottle, semitones)| {
            let kind = &c.set.kind_of(&c.set.pours[bottle]).name;
            json!({"note": c.name(bottle), "bottle": kind, "semitones": semitones})
        });
        json!({
            "note": m.note, "key": m.key, "times": m.times, "bars": m.bars, "at_s": m.at_s,
            "nearest": nearest,
        })
    };
    c.played.missing.iter().map(row).collect()
}

/// Each player's bottles and breath.
fn who(c: &Checked, shared: &Shared) -> Vec<Value> {
    let duration_s = c.score.duration_s();
    let row = |(held, number): (&Vec<usize>, usize)| {
        let load = load(held, &c.breaths, duration_s);
        let notes = c.breaths.iter().filter(|b| held.contains(&b.bottle));
        let bottles = held
            .iter()
            .map(|&b| json!({"note": c.name(b), "bottle": c.set.kind_of(&c.set.pours[b]).name}));
        json!({
            "player": number, "bottles": bottles.collect::<Vec<_>>(), "notes": notes.count(),
            "blowing_share": rounded(load.share, 3), "longest_run_s": rounded(load.longest_run_s, 2),
            "heavy": load.share > HEAVY_SHARE || load.longest_run_s > HEAVY_RUN_S,
        })
    };
    shared.players.iter().zip(1..).map(row).collect()
}

pub(super) fn text(c: &Checked, args: &CheckArgs) -> String {
    let some = if args.all { usize::MAX } else { SHOWN };
    let range = range(&c.score, &c.keyed);
    let ends = |ends: &Option<[String; 2]>| {
        let none = || "nothing".to_owned();
        ends.as_ref()
            .map_or_else(none, |[low, high]| format!("{low} to {high}"))
    };
    let mut out = format!(
        "{} notes, {}; the set has {}\n",
        c.played.asked,
        ends(&range.piece),
        ends(&range.set)
    );
    if let Some(busiest) = busiest_bar(&c.score, &c.bars) {
        out += &format!(
            "Busiest: bar {} with {} notes\n",
            busiest.bar, busiest.notes
        );
    }
    for m in c.played.missing.iter().take(some) {
        let bars: Vec<String> = m.bars.iter().take(some).map(u64::to_string).collect();
        out += &format!(
            "Missing {}: {} times, bar {}",
            m.note,
            m.times,
            bars.join(", ")
        );
        if let Some((bottle, semitones)) = nearest(&c.keyed, m.key) {
            out += &format!("; nearest is {} ({semitones:+})", c.name(bottle));
        }
        out += "\n";
    }
    out += "\nTranspositions with the fewest missing notes:\n";
    for t in transpositions(&c.score, &c.keyed).iter().take(some) {
        out += &format!(
            "  {:+3}: {} notes of {} keys missing\n",
            t.semitones, t.missing_notes, t.missing_keys
        );
    }
    out += "\nRoughest at once:\n";
    for p in c.rough.iter().take(some) {
        let (a, b) = (p.pair.a_note, p.pair.b_note);
        let (rough, s) = (p.pair.roughness, p.together_s);
        out += &format!(
            "  {a} {b}: roughness {rough:.3}, {s:.1} s, from bar {}\n",
            p.bar
        );
    }
    out += &players(c, args);
    out + CAUTION + "\n"
}

fn players(c: &Checked, args: &CheckArgs) -> String {
    let sure = if c.fewest.exact {
        "fewer cannot".to_owned()
    } else {
        format!(
            "a good way, not surely the best; fewer than {} cannot",
            c.lower_bound
        )
    };
    let mut out = format!(
        "\nPlayers: {} ({sure}), {} bottles each at most, {} s to change\n",
        c.fewest.players.len(),
        args.hands,
        args.change_s
    );
    out += &loads(c, &c.fewest);
    if let (Some(count), Some(shared)) = (args.players, &c.among) {
        let lost: Vec<String> = shared.left_out.iter().map(|&b| c.name(b)).collect();
        let lost = if lost.is_empty() {
            "nothing".to_owned()
        } else {
            lost.join(" ")
        };
        out += &format!(
            "With {count}: {} notes lost, left out: {lost}\n",
            shared.lost
        );
        out += &loads(c, shared);
    }
    out
}

fn loads(c: &Checked, shared: &Shared) -> String {
    let row = |row: Value| {
        let bottles = row["bottles"].as_array().into_iter().flatten();
        let bottles: Vec<&str> = bottles.filter_map(|b| b["note"].as_str()).collect();
        let heavy = row["heavy"].as_bool().unwrap_or(false);
        vec![
            row["player"].to_string(),
            bottles.join(" "),
            row["notes"].to_string(),
            format!(
                "{:.0}",
                100.0 * row["blowing_share"].as_f64().unwrap_or(0.0)
            ),
            row["longest_run_s"].to_string(),
            if heavy { "heavy" } else { "" }.to_owned(),
        ]
    };
    let header = ["player", "bottles", "notes", "% blowing", "longest s", ""];
    table(
        &header,
        who(c, shared).into_iter().map(row).collect(),
        &[1, 5],
    )
}
