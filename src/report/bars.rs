//! Notes as blocks over the bars they are in: our own plain notation.
//!
//! A row of bars is a picture of the page's width. A block is as wide as its note is long, and stands in
//! the lane of its bottle or player. Several bars in which nobody plays are one box with their count. What is
//! blown with the second bottle is hollow, so that a copy without colours can be read.

use super::part::BarSpan;
use super::svg::Svg;

/// Two places that differ by less are the same, quarter notes.
const SAME_QUARTERS: f64 = 1e-6;

/// How large things are, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Measures {
    pub(super) width_mm: f64,
    /// Room for the names of the lanes.
    pub(super) names_mm: f64,
    pub(super) lane_mm: f64,
    /// Aimed at; a bar too long for the page makes it less.
    pub(super) quarter_mm: f64,
}

/// Room for the bars' numbers above the lanes and for the beats below, mm.
const ABOVE_MM: f64 = 6.0;
const BELOW_MM: f64 = 4.8;
/// Width of the box of silent bars, mm.
const REST_MM: f64 = 34.0;
/// Narrowest beat that is numbered, mm.
const BEAT_MM: f64 = 3.2;

/// One note in a lane.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Block {
    pub(super) from_quarter: f64,
    pub(super) to_quarter: f64,
    pub(super) label: String,
    pub(super) hollow: bool,
}

/// A bottle's or a player's line.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Lane {
    pub(super) name: String,
    pub(super) blocks: Vec<Block>,
    /// Which of a player's bottles it belongs to; nothing where it is a player's.
    pub(super) hand: Option<usize>,
}

/// A bar, or several in which nobody plays.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Cell {
    first: usize,
    count: usize,
    silent: bool,
    width_mm: f64,
}

impl Cell {
    /// A box with a count; one silent bar is drawn like any other.
    fn is_box(&self) -> bool {
        self.silent && self.count > 1
    }
}

/// The rows of a part, from above.
pub(super) fn rows(bars: &[BarSpan], lanes: &[Lane], measures: Measures) -> Vec<String> {
    let room_mm = measures.width_mm - measures.names_mm - 1.0;
    let longest = bars.iter().map(quarters).fold(1.0, f64::max);
    let quarter_mm = measures.quarter_mm.min(room_mm / longest);
    let mut rows: Vec<Vec<Cell>> = Vec::new();
    let mut used_mm = f64::INFINITY;
    for cell in cells(bars, lanes, quarter_mm) {
        if used_mm + cell.width_mm > room_mm + 1e-6 {
            rows.push(Vec::new());
            used_mm = 0.0;
        }
        used_mm += cell.width_mm;
        rows.last_mut().expect("a row was begun").push(cell);
    }
    let last = rows.len().saturating_sub(1);
    rows.iter_mut()
        .take(last)
        .for_each(|row| fill(row, room_mm));
    let mut metre = None;
    let drawn = rows.iter().map(|row| {
        let mut drawing = BarRow::new(bars, lanes, row, measures, quarter_mm);
        drawing.draw(&mut metre);
        drawing.svg.finish()
    });
    drawn.collect()
}

fn quarters(bar: &BarSpan) -> f64 {
    bar.to_quarter - bar.from_quarter
}

/// Widens the boxes of silent bars so that the row ends where the others do; beats keep their width.
fn fill(row: &mut [Cell], room_mm: f64) {
    let used_mm: f64 = row.iter().map(|cell| cell.width_mm).sum();
    let boxes = row.iter().filter(|cell| cell.is_box()).count();
    let more_mm = (room_mm - used_mm).max(0.0) / boxes.max(1) as f64;
    for cell in row.iter_mut().filter(|cell| cell.is_box()) {
        cell.width_mm += more_mm;
    }
}

fn cells(bars: &[BarSpan], lanes: &[Lane], quarter_mm: f64) -> Vec<Cell> {
    let mut busy = vec![false; bars.len()];
    for block in lanes.iter().flat_map(|lane| &lane.blocks) {
        let first = bars.partition_point(|b| b.to_quarter <= block.from_quarter + SAME_QUARTERS);
        let touched = bars.iter().enumerate().skip(first);
        let touched =
            touched.take_while(|(_, b)| b.from_quarter < block.to_quarter - SAME_QUARTERS);
        touched.for_each(|(index, _)| busy[index] = true);
    }
    let mut cells: Vec<Cell> = Vec::new();
    for (index, bar) in bars.iter().enumerate() {
        match cells.last_mut() {
            Some(rest) if rest.silent && !busy[index] => {
                rest.count += 1;
                rest.width_mm = REST_MM;
            }
            _ => cells.push(Cell {
                first: index,
                count: 1,
                silent: !busy[index],
                width_mm: quarters(bar) * quarter_mm,
            }),
        }
    }
    cells
}

/// A row being drawn.
struct BarRow<'a> {
    bars: &'a [BarSpan],
    lanes: &'a [Lane],
    cells: &'a [Cell],
    measures: Measures,
    quarter_mm: f64,
    svg: Svg,
}

impl<'a> BarRow<'a> {
    fn new(
        bars: &'a [BarSpan],
        lanes: &'a [Lane],
        cells: &'a [Cell],
        measures: Measures,
        quarter_mm: f64,
    ) -> Self {
        let height_mm = ABOVE_MM + measures.lane_mm * lanes.len() as f64 + BELOW_MM;
        let number = |index: usize| bars[index].number;
        let first = cells.first().map_or(0, |c| number(c.first));
        let last = cells.last().map_or(0, |c| number(c.first + c.count - 1));
        let label = format!("bars {first} to {last}");
        Self {
            bars,
            lanes,
            cells,
            measures,
            quarter_mm,
            svg: Svg::new(measures.width_mm, height_mm, &label),
        }
    }

    fn bottom_mm(&self) -> f64 {
        ABOVE_MM + self.measures.lane_mm * self.lanes.len() as f64
    }

    fn draw(&mut self, metre: &mut Option<(u8, u8)>) {
        let left_mm = self.measures.names_mm;
        let width_mm: f64 = self.cells.iter().map(|c| c.width_mm).sum();
        for (index, lane) in self.lanes.iter().enumerate() {
            let top_mm = self.top_mm(index);
            let class = if index % 2 == 0 { "lane" } else { "lane odd" };
            self.svg
                .rect(class, (left_mm, top_mm), width_mm, self.measures.lane_mm);
            let foot_mm = top_mm + 0.5 * self.measures.lane_mm + 1.6;
            self.svg.text("who", (left_mm - 1.5, foot_mm), &lane.name);
        }
        let mut x_mm = left_mm;
        for cell in self.cells {
            self.cell(cell, x_mm, metre);
            x_mm += cell.width_mm;
        }
        self.changes();
        self.svg
            .line("barline", (x_mm, ABOVE_MM), (x_mm, self.bottom_mm()));
    }

    fn top_mm(&self, lane: usize) -> f64 {
        ABOVE_MM + self.measures.lane_mm * lane as f64
    }

    fn cell(&mut self, cell: &Cell, x_mm: f64, metre: &mut Option<(u8, u8)>) {
        let bar = self.bars[cell.first];
        let bottom_mm = self.bottom_mm();
        self.svg
            .line("barline", (x_mm, ABOVE_MM), (x_mm, bottom_mm));
        let mut number = bar.number.to_string();
        if cell.count > 1 {
            let last = self.bars[cell.first + cell.count - 1].number;
            number = format!("{number} to {last}");
        }
        let now = (bar.beats, bar.unit);
        if metre.replace(now) != Some(now) {
            number += &format!(" ({}/{})", now.0, now.1);
        }
        self.svg
            .text("number", (x_mm + 0.8, ABOVE_MM - 1.6), &number);
        if cell.is_box() {
            let inner_mm = bottom_mm - ABOVE_MM;
            self.svg.rect(
                "rest",
                (x_mm + 1.2, ABOVE_MM + 0.8),
                cell.width_mm - 2.4,
                inner_mm - 1.6,
            );
            let middle = (x_mm + 0.5 * cell.width_mm, ABOVE_MM + 0.5 * inner_mm + 2.4);
            self.svg
                .text("count", (middle.0 - 4.0, middle.1), &cell.count.to_string());
            self.svg
                .text("restwords", (middle.0 - 2.5, middle.1), "bars rest");
            // What changes inside is told after the rest.
            let last = self.bars[cell.first + cell.count - 1];
            *metre = Some((last.beats, last.unit));
            return;
        }
        self.beats(&bar, x_mm);
        for lane in 0..self.lanes.len() {
            self.blocks(lane, &bar, x_mm);
        }
    }

    fn beats(&mut self, bar: &BarSpan, x_mm: f64) {
        let beat_mm = 4.0 / f64::from(bar.unit.max(1)) * self.quarter_mm;
        let bottom_mm = self.bottom_mm();
        for beat in 0..bar.beats {
            let at_mm = x_mm + f64::from(beat) * beat_mm;
            if at_mm > x_mm + quarters(bar) * self.quarter_mm - 0.1 {
                break;
            }
            if beat > 0 {
                self.svg.line("beat", (at_mm, ABOVE_MM), (at_mm, bottom_mm));
            }
            if beat_mm >= BEAT_MM {
                let at = (at_mm + 0.4, bottom_mm + 3.8);
                self.svg.text("beatnumber", at, &(beat + 1).to_string());
            }
        }
    }

    fn blocks(&mut self, lane: usize, bar: &BarSpan, x_mm: f64) {
        let top_mm = self.top_mm(lane);
        let lanes = self.lanes;
        // Blocks of a lane follow one another.
        let all = &lanes[lane].blocks;
        let first = all.partition_point(|b| b.to_quarter <= bar.from_quarter + SAME_QUARTERS);
        for block in &all[first..] {
            if block.from_quarter >= bar.to_quarter - SAME_QUARTERS {
                break;
            }
            let begins = block.from_quarter >= bar.from_quarter - SAME_QUARTERS;
            let from = block.from_quarter.max(bar.from_quarter) - bar.from_quarter;
            let to = block.to_quarter.min(bar.to_quarter) - bar.from_quarter;
            // A hair of paper between a note and the next.
            let wide_mm = ((to - from) * self.quarter_mm - 0.4).max(0.5);
            let at = (x_mm + from * self.quarter_mm, top_mm + 1.0);
            let class = if block.hollow {
                "blown second"
            } else {
                "blown"
            };
            let tall_mm = self.measures.lane_mm - 2.0;
            self.svg.rect(class, at, wide_mm, tall_mm);
            let needed_mm = 2.1 * block.label.chars().count() as f64 + 1.0;
            if begins && wide_mm >= needed_mm {
                let class = if block.hollow {
                    "label second"
                } else {
                    "label"
                };
                let foot = (at.0 + 0.9, top_mm + 0.5 * self.measures.lane_mm + 1.3);
                self.svg.text(class, foot, &block.label);
            }
        }
    }

    /// A thin line from the end of a note to the next on the other bottle in the same hands.
    fn changes(&mut self) {
        let lanes = self.lanes;
        if lanes.iter().all(|lane| lane.hand == lanes[0].hand) {
            return;
        }
        let mut all: Vec<(usize, &Block)> = Vec::new();
        for (index, lane) in lanes.iter().enumerate() {
            all.extend(lane.blocks.iter().map(|b| (index, b)));
        }
        all.sort_by(|a, b| a.1.from_quarter.total_cmp(&b.1.from_quarter));
        let hand = |at: (usize, &Block)| lanes[at.0].hand;
        for pair in all.windows(2).filter(|pair| hand(pair[0]) != hand(pair[1])) {
            let from_mm = self.x_mm(pair[0].1.to_quarter, true);
            let to_mm = self.x_mm(pair[1].1.from_quarter, false);
            if let (Some(from_mm), Some(to_mm)) = (from_mm, to_mm)
                && to_mm >= from_mm
                && !self.rests_between(from_mm, to_mm)
            {
                let middle = |lane| self.top_mm(lane) + 0.5 * self.measures.lane_mm;
                let (from, to) = ((from_mm, middle(pair[0].0)), (to_mm, middle(pair[1].0)));
                self.svg.line("change", from, to);
            }
        }
    }

    /// Whether silent bars stand between two places of this row: there is time enough then.
    fn rests_between(&self, from_mm: f64, to_mm: f64) -> bool {
        let mut x_mm = self.measures.names_mm;
        self.cells.iter().any(|cell| {
            let inside = cell.silent && (from_mm..to_mm).contains(&x_mm);
            x_mm += cell.width_mm;
            inside
        })
    }

    /// Where a place in the piece is in this row; an end on a bar line belongs to the bar before.
    fn x_mm(&self, quarter: f64, end: bool) -> Option<f64> {
        let mut x_mm = self.measures.names_mm;
        let shift = if end { -SAME_QUARTERS } else { SAME_QUARTERS };
        for cell in self.cells {
            let bar = self.bars[cell.first];
            let inside = (bar.from_quarter..bar.to_quarter).contains(&(quarter + shift));
            if inside && !cell.silent {
                return Some(x_mm + (quarter - bar.from_quarter) * self.quarter_mm);
            }
            x_mm += cell.width_mm;
        }
        None
    }
}
