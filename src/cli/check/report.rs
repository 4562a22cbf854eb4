//! What was found, as text and as JSON.

use serde_json::{Value, json};

use super::super::sharing::{held_json, lost};
use super::{CheckArgs, Checked};
use crate::cli::print::JSON_VERSION;
use crate::cli::print::table;
use crate::index::{PlayerIndex, PourIndex};
use crate::number::{count, rounded, times};
use crate::parts::{in_hands, lost_lines};
use crate::plan::check::{busiest_bar, nearest, range, transpositions};
use crate::plan::fit::Fit;
use crate::plan::moves::{Move, moves};
use crate::plan::players::{MOST_EXACT, load};
use crate::plan::programme::Breath;
use crate::plan::spelling::key_of;
use crate::report::part::{HEAVY_RUN_S, HEAVY_SHARE};
use crate::tuning::Speller;

/// Lines of a list in the text.
const SHOWN: usize = 6;
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
            "note": c.on.note(t.pour), "bar": t.bar, "at_s": rounded(t.at_s, 3),
            "every_s": rounded(t.every_s, 4), "speaks_in_s": rounded(t.speaks_in_s, 4),
        })
    });
    let rings_on = c.rings_on.iter().map(|r| {
        json!({
            "note": c.on.note(r.pour), "times": r.times, "bar": r.bar,
            "rings_s": rounded(r.rings_s, 3), "shortest_s": rounded(r.shortest_s, 3),
        })
    });
    let clashes = c.clashes.iter().map(|k| {
        json!({
            "note": c.on.note(k.other), "under": c.on.note(k.pour), "bar": k.bar,
            "at_s": rounded(k.at_s, 3),
        })
    });
    let at_once = c.on.played.cut.iter();
    let at_once = at_once.map(|k| json!({"note": c.on.note(k.pour), "bar": k.bar}));
    let among = c.among.as_ref().map(|fit| {
        let left: Vec<String> = fit.left_out.iter().map(|&b| c.on.note(b)).collect();
        json!({
            "count": args.run.sharing.players, "lost_notes": fit.lost(), "left_out": left,
            "lost": lost(&c.on, fit), "lost_at_least": fit.lost_at_least,
            "exact": fit.exact, "who": who_of_fit(c, fit),
        })
    });
    json!({
        "version": JSON_VERSION,
        "transpose": c.on.stage.set().transpose,
        "key": key_of(&c.on.score).to_string(),
        "playable": reasons.is_empty(),
        "reasons": reasons,
        "missing": missing(c),
        "range": range(&c.on.score, &c.on.keyed),
        "players": {
            "fewest": c.fewest.players.len(), "hands": args.run.sharing.hands, "change_s": args.run.sharing.change_s,
            "who": who(c, &c.fewest.players, &c.on.breaths), "given": among, "caution": CAUTION,
        },
        "transpositions": transpositions(&c.on.score, &c.on.keyed),
        "moves": moves(&c.on.score, &c.on.keyed),
        "bound": {"lower": c.lower_bound, "exact": c.fewest.exact, "most_exact": MOST_EXACT},
        "busiest_bar": busiest_bar(&c.on.score, &c.on.bars),
        "rough_pairs": rough.collect::<Vec<_>>(),
        "too_fast": fast.collect::<Vec<_>>(),
        "two_at_once": at_once.collect::<Vec<_>>(),
        "rings_on": rings_on.collect::<Vec<_>>(),
        "slide_clashes": clashes.collect::<Vec<_>>(),
    })
}

fn missing(c: &Checked) -> Vec<Value> {
    let row = |m: &crate::plan::piece::Missing| {
        let nearest = nearest(&c.on.keyed, m.key).map(|(bottle, semitones)| {
            json!({"note": c.on.note(bottle), "bottle": c.on.name(bottle), "semitones": semitones})
        });
        json!({
            "note": m.note, "key": m.key, "times": m.times, "bars": m.bars, "at_s": m.at_s,
            "nearest": nearest,
        })
    };
    c.on.played.missing.iter().map(row).collect()
}

/// Each player's bottles and breath.
fn who(c: &Checked, players: &[Vec<PourIndex>], breaths: &[Breath]) -> Vec<Value> {
    let duration_s = c.on.score.duration_s();
    let row = |(player, held): (PlayerIndex, &Vec<PourIndex>)| {
        let load = load(held, breaths, duration_s);
        let notes = breaths.iter().filter(|b| held.contains(&b.pour));
        let bottles = c.on.bottles(held);
        let bottles = bottles.iter().map(|b| held_json(&in_hands(&c.on, b)));
        json!({
            "player": player.number(), "bottles": bottles.collect::<Vec<_>>(), "notes": notes.count(),
            "blowing_share": rounded(load.share, 3), "longest_run_s": rounded(load.longest_run_s, 2),
            "heavy": load.share > HEAVY_SHARE || load.longest_run_s > HEAVY_RUN_S,
        })
    };
    PlayerIndex::each(players).map(row).collect()
}

fn who_of_fit(c: &Checked, fit: &Fit) -> Vec<Value> {
    let kept: Vec<Breath> = fit.kept(&c.on.breaths).map(|(_, breath)| breath).collect();
    who(c, &fit.players, &kept)
}

pub(super) fn text(c: &Checked, args: &CheckArgs) -> String {
    let speller = args.names.speller(key_of(&c.on.score));
    speller.text(&piece_text(c, args, &speller)) + &players(c, args, &speller) + CAUTION + "\n"
}

/// What there is to say of the piece and the set; nothing in it is somebody's name for a bottle.
fn piece_text(c: &Checked, args: &CheckArgs, speller: &Speller) -> String {
    let some = if args.all { usize::MAX } else { SHOWN };
    let range = range(&c.on.score, &c.on.keyed);
    let ends = |ends: &Option<[String; 2]>| {
        let none = || "nothing".to_owned();
        ends.as_ref()
            .map_or_else(none, |[low, high]| format!("{low} to {high}"))
    };
    let mut out = format!(
        "{}, {}; the set has {}\n",
        count(c.on.played.asked, "note"),
        ends(&range.piece),
        ends(&range.set)
    );
    let key = speller.key(key_of(&c.on.score));
    out += &match c.on.stage.set().transpose {
        0 => format!("Key: {key}\n"),
        semitones => format!("Key: {key}, moved by {semitones:+} semitones\n"),
    };
    if let Some(busiest) = busiest_bar(&c.on.score, &c.on.bars) {
        out += &format!(
            "Busiest: bar {} with {}\n",
            busiest.bar,
            count(busiest.notes, "note")
        );
    }
    let missing: usize = c.on.played.missing.iter().map(|m| m.times).sum();
    if missing > 0 {
        out += &format!(
            "No bottle for {missing} of {}\n",
            count(c.on.played.asked, "note")
        );
    }
    for m in c.on.played.missing.iter().take(some) {
        let bars: Vec<String> = m.bars.iter().take(some).map(u64::to_string).collect();
        out += &format!(
            "Missing {}: {}, bar {}",
            m.note,
            times(m.times),
            bars.join(", ")
        );
        if let Some((bottle, semitones)) = nearest(&c.on.keyed, m.key) {
            out += &format!("; nearest is {} ({semitones:+})", c.on.note(bottle));
        }
        out += "\n";
    }
    out += "\nWhat could be played, the least lost first (semitones up):\n";
    for way in moves(&c.on.score, &c.on.keyed).iter().take(some) {
        let by = match way.semitones {
            0 => "as it is".to_owned(),
            semitones => format!("{semitones:+}, {}", speller.key(way.in_key)),
        };
        out += &format!("  {by:>19}: {}\n", told(way));
    }
    for r in c.rings_on.iter().take(some) {
        out += &format!(
            "{} rings on for {:.2} s over {} notes as short as {:.2} s, from bar {}: stop it with a hand\n",
            c.on.note(r.pour),
            r.rings_s,
            r.times,
            r.shortest_s,
            r.bar
        );
    }
    out += if c.rough.is_empty() {
        "\nNo two notes sound at once.\n"
    } else {
        "\nRoughest at once:\n"
    };
    for p in c.rough.iter().take(some) {
        let (a, b) = (p.pair.a_note, p.pair.b_note);
        let (rough, s) = (p.pair.roughness, p.together_s);
        out += &format!(
            "  {a} {b}: roughness {rough:.3}, {s:.1} s, from bar {}\n",
            p.bar
        );
    }
    out
}

/// A way to play the piece, and what it costs.
fn told(way: &Move) -> String {
    let list = |moved: bool| {
        let those = way.affected.iter().filter(|a| a.to.is_some() == moved);
        let shown = those.map(|a| match &a.to {
            Some(to) => format!("{} as {to}", a.note),
            None => a.note.clone(),
        });
        let shown: Vec<String> = shown.collect();
        match shown.len() {
            0..=SHOWN => shown.join(", "),
            more => format!("{} and {} more", shown[..SHOWN].join(", "), more - SHOWN),
        }
    };
    let mut parts = Vec::new();
    if way.lost_notes == 0 {
        let all = way.kept_notes + way.moved_notes;
        parts.push(format!("all {}", count(all, "note")));
    } else {
        let lost = way.lost_notes;
        parts.push(format!(
            "{}, {lost} lost ({})",
            count(way.kept_notes + way.moved_notes, "note"),
            list(false)
        ));
    }
    if way.moved_notes > 0 {
        parts.push(format!(
            "{} moved by octaves ({})",
            way.moved_notes,
            list(true)
        ));
    }
    if way.shared_notes > 0 {
        parts.push(format!(
            "{} on a bottle that is blown already",
            way.shared_notes
        ));
    }
    parts.join("; ")
}

fn players(c: &Checked, args: &CheckArgs, speller: &Speller) -> String {
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
        args.run.sharing.hands,
        args.run.sharing.change_s
    );
    out += &loads(who(c, &c.fewest.players, &c.on.breaths), speller);
    if let (Some(players), Some(fit)) = (args.run.sharing.players, &c.among) {
        let sure = match (fit.exact, fit.lost()) {
            (_, 0) => String::new(),
            (true, _) => "; no way loses fewer".to_owned(),
            (false, _) => format!("; no way loses fewer than {}", fit.lost_at_least),
        };
        out += &format!("With {players}: {} lost{sure}\n", count(fit.lost(), "note"));
        for line in lost_lines(&c.on, fit) {
            out += &format!("  {}\n", speller.text(&line));
        }
        out += &loads(who_of_fit(c, fit), speller);
    }
    out
}

/// A bottle by its note; one with several notes by its name, and they follow.
fn shown(bottle: &Value, speller: &Speller) -> Option<String> {
    let (note, name) = (
        speller.text(bottle["note"].as_str()?),
        bottle["bottle"].as_str()?,
    );
    let several = bottle["notes"].as_array()?.len() > 1;
    Some(match several {
        true => format!("{name} ({note})"),
        false => note,
    })
}

fn loads(who: Vec<Value>, speller: &Speller) -> String {
    let row = |row: Value| {
        let bottles = row["bottles"].as_array().into_iter().flatten();
        let bottles: Vec<String> = bottles.filter_map(|b| shown(b, speller)).collect();
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
    table(&header, who.into_iter().map(row).collect(), &[1, 5])
}
