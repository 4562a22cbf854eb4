//! A piece fitted to the players there are: who holds which bottles, and which notes fall out.
//!
//! A player holds one or two bottles all through. Of two bottles in one pair of hands, a note falls out
//! when the player cannot get from the one to the other in time; which notes to leave so that the most
//! are kept is found exactly for every pair, by going through its notes once. The pairs are then given
//! out so that the fewest notes are lost and, among equals, so that the blowing is shared most evenly.
//! Up to [`MOST_EXACT`] bottles that is the best of all ways; beyond, a good way that cannot be bettered
//! by one change, and a bound on what the best could keep.
//!
//! Notes on one bottle, as of a floor that slides, go to one player and follow each other without a change.
//!
//! ```
//! use ullage::index::PourIndex;
//! use ullage::plan::fit::{Asked, Hands, fit};
//!
//! let set = ullage::set::open("presets/quay/set.toml")?;
//! let piece = ullage::file::piece::open("presets/quay/piece.mid")?;
//! let written = ullage::stage::Stage::new(&set)?.programme(&piece).written;
//! let asked = Asked { breaths: &written, bottle_of: &set.bottle_of_pours(), first: &[] };
//! let hands = Hands { bottles: 1, ..Hands::default() };
//! // One player with one bottle does best with the one that is asked for most often.
//! let times = |pour| written.iter().filter(|breath| breath.pour == pour).count();
//! let alone = fit(asked, 1, hands);
//! assert_eq!(Some(alone.kept(&written).count()), PourIndex::all(set.pours.len()).map(times).max());
//! // A player for every bottle loses nothing.
//! assert_eq!(fit(asked, set.pours.len(), hands).lost(), 0);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use std::collections::{BTreeMap, BTreeSet};

use super::players::{MOST_EXACT, Shared, Sharing, in_order, in_turn};
use super::programme::{Breath, SAME_S};
use crate::index::{PlayerIndex, PourIndex};

/// Rounds of bettering a way by single changes.
const MOST_ROUNDS: usize = 200;

/// What a player can do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hands {
    /// Most bottles a player holds, 1 or 2.
    pub bottles: usize,
    /// Time from the end of a note to the beginning of one on the other bottle, s; 0 or more.
    pub change_s: f64,
    /// Share of a note that may be cut off its end to get to the other bottle in time, 0 to 1.
    pub shorten: f64,
}

impl Default for Hands {
    /// Two bottles, 0.35 s from one to the other, and every note whole: common practice, no source.
    fn default() -> Self {
        Self {
            bottles: 2,
            change_s: 0.35,
            shorten: 0.0,
        }
    }
}

/// A piece fitted to a number of players.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Fit {
    /// The notes of each player's bottles, those of one bottle together; nobody is without.
    pub players: Vec<Vec<PourIndex>>,
    /// For each breath, when it ends as it is played; `None` if it falls out.
    pub stop_s: Vec<Option<f64>>,
    /// The notes of the bottles that nobody holds.
    pub left_out: Vec<PourIndex>,
    /// However the bottles are given out, at least so many notes fall out. Counts notes that are to be
    /// kept first only if there are none such.
    pub lost_at_least: usize,
    /// No way loses less.
    pub exact: bool,
}

impl Fit {
    /// How many notes fall out.
    #[must_use]
    pub fn lost(&self) -> usize {
        self.stop_s.iter().filter(|stop| stop.is_none()).count()
    }

    /// The breaths that are played, each as long as it is, and who plays it.
    pub fn kept<'a>(
        &'a self,
        breaths: &'a [Breath],
    ) -> impl Iterator<Item = (PlayerIndex, Breath)> + 'a {
        breaths.iter().zip(&self.stop_s).filter_map(|(b, stop_s)| {
            let player = self.players.iter().position(|p| p.contains(&b.pour))?;
            let stop_s = (*stop_s)?;
            let end_s = b.end_s - b.stop_s + stop_s;
            Some((
                PlayerIndex::new(player),
                Breath {
                    stop_s,
                    end_s,
                    ..*b
                },
            ))
        })
    }
}

/// What is to be played.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Asked<'a> {
    /// The breaths, in order of their beginning.
    pub breaths: &'a [Breath],
    /// For each note of the set, the first one on the same bottle.
    pub bottle_of: &'a [PourIndex],
    /// For each breath, whether it is among the last to be lost; those that it does not reach are not.
    pub first: &'a [bool],
}

/// Fits what is asked for to `players`, who can do what `hands` says.
#[must_use]
pub fn fit(asked: Asked<'_>, players: usize, hands: Hands) -> Fit {
    let table = Table::of(asked, hands);
    let players = players.min(table.bottles.len());
    let (groups, best) = if table.bottles.len() <= MOST_EXACT {
        (table.exactly(players), true)
    } else {
        (table.nearly(players), false)
    };
    table.fit(groups, players, best)
}

/// Everything, with the fewest players who can play it, the blowing shared out as evenly as that allows.
///
/// Player 1 holds the bottle that comes first in the set, player 2 the first of those that are left, and so on: whoever
/// numbers players counts them as they come from here.
#[must_use]
pub fn fewest(sharing: &Sharing, asked: Asked<'_>, hands: Hands) -> Shared {
    let fewest = sharing.fewest();
    let blown = sharing.notes.iter().filter(|notes| **notes > 0).count();
    if blown > MOST_EXACT {
        return fewest;
    }
    let whole = Hands {
        shorten: 0.0,
        ..hands
    };
    let all_alike = Asked {
        first: &[],
        ..asked
    };
    let even = fit(all_alike, fewest.players.len(), whole);
    if even.lost() > 0 || !even.exact {
        return fewest;
    }
    Shared {
        players: even.players,
        ..fewest
    }
}

/// The same with what a player usually can do, as `check` has it unless something else is asked for: who holds which notes.
#[must_use]
pub fn usual_players(breaths: &[Breath], bottle_of: &[PourIndex]) -> Vec<Vec<PourIndex>> {
    let hands = Hands::default();
    let sharing = Sharing::of(bottle_of, breaths, hands.change_s, hands.bottles);
    let asked = Asked {
        breaths,
        bottle_of,
        first: &[],
    };
    fewest(&sharing, asked, hands).players
}

/// How much a player keeps, and how hard it is: kept notes first, then the square of the blowing time.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Worth {
    kept: u64,
    strain: f64,
}

impl Worth {
    fn and(self, other: Self) -> Self {
        Self {
            kept: self.kept + other.kept,
            strain: self.strain + other.strain,
        }
    }

    fn beats(self, other: Self) -> bool {
        // A difference of strain below a millionth is the order of adding up.
        self.kept > other.kept
            || (self.kept == other.kept && self.strain < other.strain * (1.0 - 1e-6) - 1e-9)
    }
}

/// Bottles of one player, as places in the table: one, or two.
type Group = (usize, Option<usize>);

/// What every bottle and every pair is worth.
struct Table {
    breaths: Vec<Breath>,
    hands: Hands,
    /// The notes of the bottles that are blown.
    bottles: Vec<Vec<PourIndex>>,
    /// The breaths of each, in order.
    own: Vec<Vec<usize>>,
    weights: Vec<u64>,
    /// By the places of two bottles; the diagonal is one alone.
    worth: Vec<Vec<Worth>>,
}

impl Table {
    fn of(asked: Asked<'_>, hands: Hands) -> Self {
        let Asked {
            bottle_of, first, ..
        } = asked;
        let breaths = in_turn(asked.breaths, bottle_of);
        let mut own: BTreeMap<PourIndex, Vec<usize>> = BTreeMap::new();
        for (index, b) in breaths.iter().enumerate() {
            own.entry(bottle_of[b.pour]).or_default().push(index);
        }
        let order = |a: &Breath, b: &Breath| {
            let by_start = a.start_s.total_cmp(&b.start_s);
            by_start.then(a.stop_s.total_cmp(&b.stop_s))
        };
        let mut notes = Vec::with_capacity(own.len());
        for list in own.values_mut() {
            list.sort_by(|&a, &b| order(&breaths[a], &breaths[b]));
            let each: BTreeSet<PourIndex> = list.iter().map(|&i| breaths[i].pour).collect();
            notes.push(each.into_iter().collect());
        }
        // One note to be kept outweighs all the others together.
        let much = breaths.len() as u64 + 1;
        let weight = |i: usize| if first.get(i) == Some(&true) { much } else { 1 };
        let mut table = Self {
            weights: (0..breaths.len()).map(weight).collect(),
            breaths,
            hands,
            bottles: notes,
            own: own.into_values().collect(),
            worth: Vec::new(),
        };
        let count = table.bottles.len();
        let row = |a| (0..count).map(|b| table.worth_of(a, b)).collect();
        table.worth = (0..count).map(row).collect();
        table
    }

    fn worth_of(&self, a: usize, b: usize) -> Worth {
        let kept = self.play((a, (a != b).then_some(b)));
        let blown_s: f64 = kept
            .iter()
            .map(|&(i, stop_s)| stop_s - self.breaths[i].start_s)
            .sum();
        Worth {
            kept: kept.iter().map(|&(i, _)| self.weights[i]).sum(),
            strain: blown_s * blown_s,
        }
    }

    /// The earliest that a note can be left for the other bottle, s.
    fn free_s(&self, index: usize) -> f64 {
        let b = &self.breaths[index];
        b.stop_s - self.hands.shorten * (b.stop_s - b.start_s)
    }

    /// The best that one player can do: which breaths, and when each ends.
    ///
    /// Going through the notes in order, the most that can be kept up to each note and with it is its
    /// own weight and the most of those after which it can be reached. The notes of one bottle follow
    /// each other, so the ones that are left in time are the first so many.
    fn play(&self, (a, b): Group) -> Vec<(usize, f64)> {
        let lists = [Some(&self.own[a]), b.map(|b| &self.own[b])];
        let mut order: Vec<(usize, usize)> = Vec::new();
        for (hand, list) in lists.iter().enumerate() {
            order.extend(list.iter().flat_map(|list| list.iter().map(|&i| (hand, i))));
        }
        order.sort_by(|x, y| {
            self.breaths[x.1]
                .start_s
                .total_cmp(&self.breaths[y.1].start_s)
        });
        // Of each hand, in order: the best that ends with this note or an earlier one, and which that is.
        let mut best: [Vec<(u64, usize)>; 2] = [Vec::new(), Vec::new()];
        let mut steps: Vec<(u64, Option<usize>)> = Vec::with_capacity(order.len());
        let mut passed = [0usize; 2];
        for (step, &(hand, index)) in order.iter().enumerate() {
            let other = 1 - hand;
            let from_s = self.breaths[index].start_s - self.hands.change_s + SAME_S;
            let others = lists[other].map_or(&[][..], Vec::as_slice);
            while passed[hand] < best[other].len() && self.free_s(others[passed[hand]]) <= from_s {
                passed[hand] += 1;
            }
            let same = best[hand].last().copied();
            let crossed = passed[hand].checked_sub(1).map(|last| best[other][last]);
            let before = [same, crossed].into_iter().flatten().max_by_key(|b| b.0);
            let total = self.weights[index] + before.map_or(0, |b| b.0);
            steps.push((total, before.map(|b| b.1)));
            let so_far = same.filter(|b| b.0 >= total).unwrap_or((total, step));
            best[hand].push(so_far);
        }
        let ends = best.iter().filter_map(|list| list.last());
        let mut at = ends.max_by_key(|b| b.0).map(|b| b.1);
        let mut kept = Vec::new();
        // By when each bottle has to be left for what comes on the other.
        let mut leave_s = [f64::INFINITY; 2];
        while let Some(step) = at {
            let (hand, index) = order[step];
            let stop_s = self.breaths[index].stop_s.min(leave_s[hand]);
            // No earlier than it may be, whatever the last bit says.
            kept.push((index, stop_s.max(self.free_s(index))));
            leave_s[1 - hand] = self.breaths[index].start_s - self.hands.change_s;
            at = steps[step].1;
        }
        kept.reverse();
        kept
    }

    /// The best of all ways: for every number of players and every set of bottles still to be given
    /// out, the lowest of them stays on the table, goes to a player alone, or with each of the others.
    fn exactly(&self, players: usize) -> Vec<Group> {
        let count = self.bottles.len();
        let masks = 1usize << count;
        let mut best = vec![vec![Worth::default(); masks]; players + 1];
        for k in 1..=players {
            for mask in 1..masks {
                let (_, worth) = self.choice(&best, k, mask);
                best[k][mask] = worth;
            }
        }
        let (mut groups, mut k, mut mask) = (Vec::new(), players, masks - 1);
        while k > 0 && mask > 0 {
            let low = mask.trailing_zeros() as usize;
            mask &= mask - 1;
            if let (Some(group), _) = self.choice(&best, k, mask | 1 << low) {
                groups.push(group);
                k -= 1;
                mask &= group.1.map_or(!0, |b| !(1 << b));
            }
        }
        groups
    }

    fn choice(&self, best: &[Vec<Worth>], k: usize, mask: usize) -> (Option<Group>, Worth) {
        let low = mask.trailing_zeros() as usize;
        let rest = mask & (mask - 1);
        let mut found = (None, best[k][rest]);
        let mut consider = |group: Group, left: usize| {
            let worth = self.value(group).and(best[k - 1][left]);
            if worth.beats(found.1) {
                found = (Some(group), worth);
            }
        };
        consider((low, None), rest);
        let others = (low + 1..self.bottles.len()).filter(|b| rest >> b & 1 == 1);
        for other in others.filter(|_| self.hands.bottles > 1) {
            consider((low, Some(other)), rest & !(1 << other));
        }
        found
    }

    fn value(&self, (a, b): Group) -> Worth {
        self.worth[a][b.unwrap_or(a)]
    }

    /// A good way: the bottles with most notes first, then exchanges while one betters it.
    fn nearly(&self, players: usize) -> Vec<Group> {
        let count = self.bottles.len();
        let mut order: Vec<usize> = (0..count).collect();
        order.sort_by_key(|&b| std::cmp::Reverse(self.worth[b][b].kept));
        // Places: two a player, and the rest on the table.
        let seats = if self.hands.bottles > 1 {
            2 * players
        } else {
            players
        };
        let mut places: Vec<Option<usize>> = vec![None; seats.max(count)];
        for (place, bottle) in order.into_iter().enumerate() {
            places[place] = Some(bottle);
        }
        let player_of =
            |place: usize| (place < seats).then(|| PlayerIndex::new(place % players.max(1)));
        let group = |places: &[Option<usize>], player: PlayerIndex| {
            let second = (self.hands.bottles > 1)
                .then(|| places[player.place() + players])
                .flatten();
            match (places[player.place()], second) {
                (Some(a), b) => Some((a, b)),
                (None, Some(b)) => Some((b, None)),
                (None, None) => None,
            }
        };
        let worth = |places: &[Option<usize>], of: [Option<PlayerIndex>; 2]| {
            let of = [of[0], of[1].filter(|_| of[0] != of[1])];
            let all = of.into_iter().flatten().filter_map(|p| group(places, p));
            all.map(|g| self.value(g))
                .fold(Worth::default(), Worth::and)
        };
        for _ in 0..MOST_ROUNDS {
            let mut bettered = false;
            for x in 0..seats {
                for y in x + 1..places.len() {
                    let both = [player_of(x), player_of(y)];
                    let before = worth(&places, both);
                    places.swap(x, y);
                    if worth(&places, both).beats(before) {
                        bettered = true;
                    } else {
                        places.swap(x, y);
                    }
                }
            }
            if !bettered {
                break;
            }
        }
        let held = PlayerIndex::all(players).filter_map(|p| group(&places, p));
        held.collect()
    }

    /// At least so much is lost: no more bottles can be held than there are hands, and no player keeps
    /// more than the best pair of one of those bottles.
    fn surely_lost(&self, players: usize) -> u64 {
        let most = |mut all: Vec<u64>, count: usize| -> u64 {
            all.sort_unstable_by_key(|&kept| std::cmp::Reverse(kept));
            all.into_iter().take(count).sum()
        };
        let count = self.bottles.len();
        let alone: Vec<u64> = (0..count).map(|b| self.worth[b][b].kept).collect();
        let total: u64 = alone.iter().sum();
        let by_hands = most(alone, players * self.hands.bottles);
        let pairs = (0..count).map(|a| {
            let others = (0..count).filter(|&b| b == a || self.hands.bottles > 1);
            others.map(|b| self.worth[a][b].kept).max().unwrap_or(0)
        });
        // Every player has a bottle of the list, no two the same one.
        let by_pairs = most(pairs.collect(), players);
        total - total.min(by_hands).min(by_pairs)
    }

    fn fit(&self, groups: Vec<Group>, players: usize, best: bool) -> Fit {
        let mut stop_s = vec![None; self.breaths.len()];
        let mut held = Vec::new();
        for &group in &groups {
            for (index, stop) in self.play(group) {
                stop_s[index] = Some(stop);
            }
            let places = [Some(group.0), group.1].into_iter().flatten();
            let notes = places.flat_map(|p| &self.bottles[p]).copied();
            held.push(notes.collect::<Vec<_>>());
        }
        in_order(&mut held);
        let left_out = self.bottles.iter().flatten().copied();
        let left_out = left_out.filter(|b| held.iter().all(|h| !h.contains(b)));
        let mut fit = Fit {
            left_out: left_out.collect(),
            players: held,
            stop_s,
            lost_at_least: 0,
            exact: false,
        };
        let equal = self.weights.iter().all(|&w| w == 1);
        let surely = self.surely_lost(players);
        let lost = fit.lost();
        let bound = if equal {
            usize::try_from(surely).unwrap_or(0)
        } else {
            0
        };
        fit.exact = best || lost == 0 || (equal && bound == lost);
        fit.lost_at_least = if fit.exact && equal { lost } else { bound };
        fit
    }
}
