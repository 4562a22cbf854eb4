//! The pages of a part book: one for each player, and one with everybody for who conducts; and all of them in one file.
//!
//! ```
//! use ullage::report::part_html::{conductor_page, part_page};
//! use ullage::report::part::{HeldBottle, PartBook};
//! use ullage::stage::{OnSet, SharingSpec, Stage};
//! let stage = Stage::new(&ullage::set::open("presets/quay/set.toml")?)?;
//! let piece = ullage::file::piece::open("presets/quay/piece.mid")?;
//! let piece = OnSet::new(stage, &piece.score, SharingSpec::default())?;
//! let fit = piece.among(piece.fewest(&piece.sharing()).players.len());
//! let held: Vec<_> = fit.players.iter().map(|own| piece.bottles(own)).collect();
//! let kept: Vec<_> = fit.kept(&piece.breaths).collect();
//! let book = PartBook::new(("Harbour", &piece.score), &held, &kept, |pours| HeldBottle {
//!     notes: pours.iter().map(|&pour| piece.note(pour)).collect(),
//!     name: piece.name(pours[0]),
//! });
//! // What the conductor sees is what the players see: as many blocks as on all their pages.
//! let blocks = |page: &str| page.matches(r#"<rect class="blown"#).count();
//! let of_players: Vec<String> = book.players.iter().map(|part| part_page(&book, part)).collect::<Result<_, _>>()?;
//! let on_pages: usize = of_players.iter().map(|page| blocks(page)).sum();
//! assert_eq!(blocks(&conductor_page(&book)?), on_pages);
//! assert!(on_pages >= piece.breaths.len()); // a note over a bar line has two
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use askama::Template;

use super::bars::{Block, Lane, Measures, rows};
use super::part::{CAUTIONS, PartBook, PartNote, PlayerPart};
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
/// A lane where more than two are below each other, mm: each note of a bottle that slides has its own.
const CLOSE_LANE_MM: f64 = 6.5;
/// The conductor's page, mm.
const ALL: Measures = Measures {
    width_mm: 186.0,
    names_mm: 25.0,
    lane_mm: 7.0,
    quarter_mm: 10.0,
};
/// Players in one row of the conductor's page: as many as a sheet is high.
const MOST_LANES: usize = 30;

/// A page around what is printed on it.
#[derive(Template)]
#[template(path = "paper.html", config = "src/report/askama.toml")]
struct Page<'a> {
    title: String,
    class: &'a str,
    body: String,
}

#[derive(Template)]
#[template(path = "part.html", config = "src/report/askama.toml")]
struct PartBody<'a> {
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
struct ConductorBody<'a> {
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
    let whose = format!("player {}", part.player.number());
    page(book, &whose, "part", part_body(book, part)?)
}

/// The conductor's page.
///
/// # Errors
/// Only what writing to memory can raise.
pub fn conductor_page(book: &PartBook) -> Result<String, askama::Error> {
    page(book, "everybody", "conductor", conductor_body(book)?)
}

/// The conductor's page and then every player's, each beginning on a sheet of its own: printed in one go.
///
/// # Errors
/// Only what writing to memory can raise.
pub fn booklet(book: &PartBook) -> Result<String, askama::Error> {
    let sheet = |class: &str, body: String| {
        format!("<section class=\"{class} sheet\">\n{body}</section>\n")
    };
    let mut body = sheet("conductor", conductor_body(book)?);
    for part in &book.players {
        body += &sheet("part", part_body(book, part)?);
    }
    page(book, "all parts", "booklet", body)
}

fn page(book: &PartBook, whose: &str, class: &str, body: String) -> Result<String, askama::Error> {
    let title = format!("{}: {whose}", shortened(&book.title, TITLE_LETTERS));
    Page { title, class, body }.render()
}

fn part_body(book: &PartBook, part: &PlayerPart) -> Result<String, askama::Error> {
    let mut lanes = Vec::new();
    for (hand, bottle) in part.bottles.iter().enumerate() {
        // Short blocks have no label, and a bottle that slides has many notes: a lane each, the highest above.
        for (note, name) in bottle.notes.iter().enumerate().rev() {
            lanes.push(Lane {
                name: name.clone(),
                blocks: blocks(part, |n| (n.hand, n.note) == (hand, note)),
                hand: Some(hand),
            });
        }
    }
    let measures = Measures {
        lane_mm: if lanes.len() > 2 {
            CLOSE_LANE_MM
        } else {
            OWN.lane_mm
        },
        ..OWN
    };
    let chip = |(hand, b): (usize, &super::part::HeldBottle)| {
        (b.all_notes(), shortened(&b.name, NAME_LETTERS), hand > 0)
    };
    PartBody {
        title: shortened(&book.title, TITLE_LETTERS),
        number: part.player.number(),
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
        rows: rows(&book.bars, &lanes, measures),
    }
    .render()
}

fn conductor_body(book: &PartBook) -> Result<String, askama::Error> {
    let lane = |part: &PlayerPart| Lane {
        name: format!("{}: {}", part.player.number(), notes_of(part)),
        blocks: blocks(part, |_| true),
        hand: None,
    };
    let lanes: Vec<Lane> = book.players.iter().map(lane).collect();
    let line = |part: &PlayerPart| Line {
        number: part.player.number(),
        bottles: bottles_of(part),
        notes: part.notes.len(),
        share_pct: format!("{:.0}", 100.0 * part.load.share),
        longest_s: format!("{:.1}", part.load.longest_run_s),
        heavy: part.heavy(),
    };
    let shown = book.not_played.len().min(MOST_LINES);
    let groups = lanes.chunks(MOST_LANES);
    ConductorBody {
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
    let ranges: Vec<String> = part.bottles.iter().map(|b| b.range()).collect();
    ranges.join(" ")
}

fn bottles_of(part: &PlayerPart) -> String {
    let named = part.bottles.iter();
    let named = named.map(|b| format!("{} in {}", b.all_notes(), shortened(&b.name, NAME_LETTERS)));
    named.collect::<Vec<_>>().join(", ")
}

fn blocks(part: &PlayerPart, mine: impl Fn(&PartNote) -> bool) -> Vec<Block> {
    let own = part.notes.iter().filter(|n| mine(n));
    own.map(|n| Block {
        from_quarter: n.from_quarter,
        to_quarter: n.to_quarter,
        label: part.bottles[n.hand].notes[n.note].clone(),
        hollow: n.hand > 0,
    })
    .collect()
}
