//! The pages of a part book: one for each player, and one with everybody for who conducts.

use askama::Template;

use super::bars::{Block, Lane, Measures, rows};
use super::part::{CAUTIONS, PartBook, PlayerPart};
use super::svg::shortened;

/// Letters of a title.
const TITLE_LETTERS: usize = 80;
/// Letters of a bottle's name.
const NAME_LETTERS: usize = 30;
/// Lines of what nobody plays.
const MOST_LINES: usize = 40;
/// A player's own page, mm.
const OWN: Measures = Measures {
    width_mm: 186.0,
    names_mm: 17.0,
    lane_mm: 9.8,
    quarter_mm: 10.5,
};
/// The conductor's page, mm.
const ALL: Measures = Measures {
    width_mm: 186.0,
    names_mm: 25.0,
    lane_mm: 7.0,
    quarter_mm: 10.0,
};
/// Players in one row of the conductor's page: as many as a sheet is high.
const MOST_LANES: usize = 30;

#[derive(Template)]
#[template(path = "part.html", config = "src/report/askama.toml")]
struct PartPage<'a> {
    title: String,
    number: usize,
    of: usize,
    bottles: Vec<(String, String, bool)>,
    tempos: String,
    change_s: String,
    bars: usize,
    notes: usize,
    share_pct: String,
    longest_s: String,
    heavy: bool,
    cautions: &'a [&'a str],
    rows: Vec<String>,
}

#[derive(Template)]
#[template(path = "conductor.html", config = "src/report/askama.toml")]
struct ConductorPage<'a> {
    title: String,
    tempos: String,
    bars: usize,
    players: Vec<Line>,
    not_played: &'a [String],
    more: usize,
    cautions: &'a [&'a str],
    groups: Vec<Vec<String>>,
}

/// A player in the conductor's table.
struct Line {
    number: usize,
    bottles: String,
    notes: usize,
    share_pct: String,
    longest_s: String,
    heavy: bool,
}

/// One player's page.
///
/// # Errors
/// Only what writing to memory can raise.
pub fn part_page(book: &PartBook, part: &PlayerPart) -> Result<String, askama::Error> {
    let lane = |(hand, bottle): (usize, &super::part::HeldBottle)| Lane {
        name: bottle.note.clone(),
        blocks: blocks(part, |h| h == hand, |_| bottle.note.clone()),
        hand: Some(hand),
    };
    let lanes: Vec<Lane> = part.bottles.iter().enumerate().map(lane).collect();
    let chip = |(hand, b): (usize, &super::part::HeldBottle)| {
        (b.note.clone(), shortened(&b.name, NAME_LETTERS), hand > 0)
    };
    PartPage {
        title: shortened(&book.title, TITLE_LETTERS),
        number: part.number,
        of: book.players.len(),
        bottles: part.bottles.iter().enumerate().map(chip).collect(),
        tempos: book.tempos.join("; "),
        change_s: format!("{}", book.change_s),
        bars: book.bars.len(),
        notes: part.notes.len(),
        share_pct: format!("{:.0}", 100.0 * part.load.share),
        longest_s: format!("{:.1}", part.load.longest_run_s),
        heavy: part.heavy(),
        cautions: &CAUTIONS,
        rows: rows(&book.bars, &lanes, OWN),
    }
    .render()
}

/// The conductor's page.
///
/// # Errors
/// Only what writing to memory can raise.
pub fn conductor_page(book: &PartBook) -> Result<String, askama::Error> {
    let lane = |part: &PlayerPart| Lane {
        name: format!("{}: {}", part.number, notes_of(part)),
        blocks: blocks(part, |_| true, |hand| part.bottles[hand].note.clone()),
        hand: None,
    };
    let lanes: Vec<Lane> = book.players.iter().map(lane).collect();
    let line = |part: &PlayerPart| Line {
        number: part.number,
        bottles: bottles_of(part),
        notes: part.notes.len(),
        share_pct: format!("{:.0}", 100.0 * part.load.share),
        longest_s: format!("{:.1}", part.load.longest_run_s),
        heavy: part.heavy(),
    };
    let shown = book.not_played.len().min(MOST_LINES);
    let groups = lanes.chunks(MOST_LANES);
    ConductorPage {
        title: shortened(&book.title, TITLE_LETTERS),
        tempos: book.tempos.join("; "),
        bars: book.bars.len(),
        players: book.players.iter().map(line).collect(),
        not_played: &book.not_played[..shown],
        more: book.not_played.len() - shown,
        cautions: &CAUTIONS,
        groups: groups.map(|lanes| rows(&book.bars, lanes, ALL)).collect(),
    }
    .render()
}

fn notes_of(part: &PlayerPart) -> String {
    let notes: Vec<&str> = part.bottles.iter().map(|b| b.note.as_str()).collect();
    notes.join(" ")
}

fn bottles_of(part: &PlayerPart) -> String {
    let named = part.bottles.iter();
    let named = named.map(|b| format!("{} in {}", b.note, shortened(&b.name, NAME_LETTERS)));
    named.collect::<Vec<_>>().join(", ")
}

fn blocks(
    part: &PlayerPart,
    mine: impl Fn(usize) -> bool,
    label: impl Fn(usize) -> String,
) -> Vec<Block> {
    let own = part.notes.iter().filter(|n| mine(n.hand));
    own.map(|n| Block {
        from_quarter: n.from_quarter,
        to_quarter: n.to_quarter,
        label: label(n.hand),
        hollow: n.hand > 0,
    })
    .collect()
}
