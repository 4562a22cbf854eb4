//! Who plays which bottle: the fewest players that a piece can do with, and what fewer would lose.
//!
//! A player keeps the same one or two bottles through the piece, blows one at a time, and needs a moment
//! to bring the other to the lips. Two bottles whose notes overlap, or follow faster than that, need two
//! players. Sharing out the bottles is then a colouring of the graph of such pairs, with few bottles to
//! a colour; small sets are searched to the end, larger ones greedily.
//!
//! A floor that slides and either bottle of a joined pair is one bottle however many notes it has: they all go to one
//! player, and none of them needs a change. What is shared out is bottles; what is told is their notes.
//!
//! ```
//! use ullage::plan::players::Sharing;
//! use ullage::stage::{OnSet, SharingSpec, Stage};
//!
//! let set = ullage::set::open("presets/quay/set.toml")?;
//! let piece = ullage::file::piece::open("presets/quay/piece.mid")?;
//! let on = OnSet::new(Stage::new(&set)?, &piece.score, SharingSpec::default())?;
//! let change_s = 0.35;
//! let shared = Sharing::of(&set.bottle_of_pours(), &on.breaths, change_s, 2).fewest();
//! // One mouth blows one bottle at a time, and has time to change.
//! let mut blown = 0;
//! assert!(shared.players.len() >= piece.score.most_at_once());
//! for player in &shared.players {
//!     let own: Vec<_> = on.breaths.iter().filter(|breath| player.contains(&breath.pour)).collect();
//!     assert!(own.windows(2).all(|two| two[0].pour == two[1].pour || two[1].start_s - two[0].stop_s > change_s - 1e-6));
//!     blown += own.len();
//! }
//! assert_eq!(blown, on.breaths.len());
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use std::collections::BTreeSet;

use serde::Serialize;

use super::programme::{Breath, SAME_S};
use crate::index::{PlayerIndex, PourIndex};

/// Most bottles that are shared out exactly.
pub const MOST_EXACT: usize = 16;
/// Steps after which a search gives up and says so.
const MOST_STEPS: u64 = 5_000_000;
/// A rest that lets a player breathe, s. Common practice, no source.
pub const REST_S: f64 = 0.5;

/// Bottles to be shared out, each by the first of the set's notes that is played on it.
#[derive(Clone, Debug, PartialEq)]
pub struct Sharing {
    /// Most bottles a player holds; 1 or more.
    pub hands: usize,
    /// How often each bottle is blown; one that never is needs no player.
    pub notes: Vec<usize>,
    /// For every two bottles, whether they need two players. Symmetric.
    pub apart: Vec<Vec<bool>>,
    /// Which of the set's notes are blown on each bottle.
    pub blown_as: Vec<Vec<PourIndex>>,
}

/// A way to share the bottles out.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Shared {
    /// The notes of each player's bottles, those of one bottle together.
    pub players: Vec<Vec<PourIndex>>,
    /// The notes of the bottles that nobody plays.
    pub left_out: Vec<PourIndex>,
    /// How often those are asked for.
    pub lost: usize,
    /// Nothing better exists.
    pub exact: bool,
}

/// How much a player blows.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Load {
    /// Share of the piece spent blowing, 0 to 1.
    pub share: f64,
    /// The longest stretch without a rest of half a second, s.
    pub longest_run_s: f64,
}

/// The breaths as one mouth at each bottle blows them: the next note of a bottle ends the one before.
pub(super) fn in_turn(breaths: &[Breath], bottle_of: &[PourIndex]) -> Vec<Breath> {
    let mut cut = breaths.to_vec();
    let mut order: Vec<usize> = (0..cut.len()).collect();
    order.sort_by(|&a, &b| breaths[b].start_s.total_cmp(&breaths[a].start_s));
    // Of each bottle, going backwards: the last beginning, and the one after it. Of two notes that begin at once
    // neither ends the other: such a piece cannot be played, and `check` says so.
    let mut begins_s = vec![(f64::INFINITY, f64::INFINITY); bottle_of.len()];
    for index in order {
        let breath = &mut cut[index];
        let (first_s, next_s) = &mut begins_s[bottle_of[breath.pour]];
        if breath.start_s < *first_s {
            (*first_s, *next_s) = (breath.start_s, *first_s);
        }
        breath.stop_s = breath.stop_s.min(*next_s);
    }
    cut
}

/// Puts players in the order in which they are counted everywhere: by the first of their notes in the set.
pub(super) fn in_order(players: &mut [Vec<PourIndex>]) {
    players.sort_by_key(|notes| notes.iter().min().copied());
}

impl Sharing {
    /// Which bottles of a programme need two players, if changing bottle takes `change_s` seconds. `bottle_of` says for
    /// each note of the set which is the first on the same bottle.
    #[must_use]
    pub fn of(bottle_of: &[PourIndex], breaths: &[Breath], change_s: f64, hands: usize) -> Self {
        let bottles = bottle_of.len();
        let mut blown: Vec<Vec<(f64, f64)>> = vec![Vec::new(); bottles];
        let mut blown_as = vec![BTreeSet::new(); bottles];
        for b in in_turn(breaths, bottle_of) {
            blown[bottle_of[b.pour]].push((b.start_s, b.stop_s));
            blown_as[bottle_of[b.pour]].insert(b.pour);
        }
        for list in &mut blown {
            list.sort_by(|a, b| a.0.total_cmp(&b.0));
        }
        let mut apart = vec![vec![false; bottles]; bottles];
        for a in PourIndex::all(bottles) {
            for b in PourIndex::all(a.place()) {
                let met = too_near(&blown[a], &blown[b], change_s);
                (apart[a][b], apart[b][a]) = (met, met);
            }
        }
        Self {
            hands: hands.max(1),
            notes: blown.iter().map(Vec::len).collect(),
            apart,
            blown_as: blown_as
                .into_iter()
                .map(|notes| notes.into_iter().collect())
                .collect(),
        }
    }

    /// No fewer players can do: by the bottles that all need different players, and by the hands.
    #[must_use]
    pub fn lower_bound(&self) -> usize {
        let order = self.order();
        let mut largest = 0;
        for &first in &order {
            let mut clique = vec![first];
            for &next in &order {
                if clique.iter().all(|&c| self.apart[c][next]) {
                    clique.push(next);
                }
            }
            largest = largest.max(clique.len());
        }
        largest.max(order.len().div_ceil(self.hands))
    }

    /// The fewest players who can play everything.
    #[must_use]
    pub fn fewest(&self) -> Shared {
        let bottles = self.order().len();
        let mut all_exact = true;
        for players in self.lower_bound()..bottles {
            let shared = self.among_losing(players, 1);
            all_exact &= shared.exact;
            if shared.lost == 0 {
                let exact = all_exact || players == self.lower_bound();
                return self.told(Shared { exact, ..shared });
            }
        }
        self.told(Shared {
            players: self.order().into_iter().map(|b| vec![b]).collect(),
            exact: all_exact || bottles == self.lower_bound(),
            ..Shared::default()
        })
    }

    /// What `players` can play so that the fewest notes are lost.
    #[must_use]
    pub fn among(&self, players: usize) -> Shared {
        self.told(self.among_losing(players, usize::MAX))
    }

    /// The notes in place of the bottles.
    fn told(&self, shared: Shared) -> Shared {
        let notes = |bottles: &Vec<PourIndex>| {
            let each = bottles.iter().map(|&b| &self.blown_as[b]);
            each.flatten().copied().collect()
        };
        let mut players: Vec<Vec<PourIndex>> = shared.players.iter().map(notes).collect();
        in_order(&mut players);
        Shared {
            players,
            left_out: notes(&shared.left_out),
            ..shared
        }
    }

    /// As [`Self::among`], not looking for less good ways than `limit` notes lost.
    fn among_losing(&self, players: usize, limit: usize) -> Shared {
        let order = self.order();
        let greedy = self.greedy(&order, players);
        if greedy.lost == 0 || order.len() > MOST_EXACT {
            let exact = greedy.lost == 0;
            return Shared { exact, ..greedy };
        }
        let mut search = Search {
            sharing: self,
            order: &order,
            most: players,
            limit: limit.min(greedy.lost),
            best: greedy,
            now: Shared::default(),
            steps: 0,
        };
        search.step(0);
        Shared {
            exact: search.steps <= MOST_STEPS,
            ..search.best
        }
    }

    /// The bottles that are played, those with most notes first.
    fn order(&self) -> Vec<PourIndex> {
        let mut order: Vec<PourIndex> = PourIndex::all(self.notes.len())
            .filter(|&b| self.notes[b] > 0)
            .collect();
        order.sort_by_key(|&b| (std::cmp::Reverse(self.notes[b]), b));
        order
    }

    fn fits(&self, held: &[PourIndex], bottle: PourIndex) -> bool {
        held.len() < self.hands && held.iter().all(|&h| !self.apart[h][bottle])
    }

    fn greedy(&self, order: &[PourIndex], most: usize) -> Shared {
        let mut shared = Shared::default();
        for &bottle in order {
            let players = &mut shared.players;
            if let Some(held) = players.iter_mut().find(|held| self.fits(held, bottle)) {
                held.push(bottle);
            } else if players.len() < most {
                players.push(vec![bottle]);
            } else {
                shared.left_out.push(bottle);
                shared.lost += self.notes[bottle];
            }
        }
        shared
    }
}

/// Whether notes of two bottles overlap or lie closer than `change_s`; both lists in order.
fn too_near(one: &[(f64, f64)], other: &[(f64, f64)], change_s: f64) -> bool {
    let (mut i, mut j) = (0, 0);
    while let (Some(a), Some(b)) = (one.get(i), other.get(j)) {
        let gap_s = (b.0 - a.1).max(a.0 - b.1);
        if gap_s < change_s - SAME_S {
            return true;
        }
        if a.1 < b.1 {
            i += 1;
        } else {
            j += 1;
        }
    }
    false
}

/// Branch and bound: each bottle in turn to every player who can hold it, to a new one, or to nobody.
struct Search<'a> {
    sharing: &'a Sharing,
    order: &'a [PourIndex],
    most: usize,
    /// Only ways that lose less are looked for.
    limit: usize,
    best: Shared,
    now: Shared,
    steps: u64,
}

impl Search<'_> {
    fn step(&mut self, place: usize) {
        self.steps += 1;
        if self.steps > MOST_STEPS || self.now.lost + self.surely_lost(place) >= self.limit {
            return;
        }
        let Some(&bottle) = self.order.get(place) else {
            self.limit = self.now.lost;
            self.best = self.now.clone();
            return;
        };
        for player in PlayerIndex::all(self.now.players.len()) {
            if self.sharing.fits(&self.now.players[player], bottle) {
                self.now.players[player].push(bottle);
                self.step(place + 1);
                self.now.players[player].pop();
            }
        }
        if self.now.players.len() < self.most {
            self.now.players.push(vec![bottle]);
            self.step(place + 1);
            self.now.players.pop();
        }
        let notes = self.sharing.notes[bottle];
        self.now.left_out.push(bottle);
        self.now.lost += notes;
        self.step(place + 1);
        self.now.left_out.pop();
        self.now.lost -= notes;
    }

    /// Notes lost whatever is done with the bottles from `place` on: there are not hands enough, and
    /// the bottles with the fewest notes come last.
    fn surely_lost(&self, place: usize) -> usize {
        let held: usize = self.now.players.iter().map(Vec::len).sum();
        let free = (self.most * self.sharing.hands).saturating_sub(held);
        let over = (self.order.len() - place).saturating_sub(free);
        let last = self.order.iter().rev().take(over);
        last.map(|&b| self.sharing.notes[b]).sum()
    }
}

/// How much the player of these notes blows in a piece of `duration_s` seconds.
#[must_use]
pub fn load(notes: &[PourIndex], breaths: &[Breath], duration_s: f64) -> Load {
    let own = breaths.iter().filter(|b| notes.contains(&b.pour));
    let mut own: Vec<(f64, f64)> = own.map(|b| (b.start_s, b.stop_s)).collect();
    own.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (mut blown_s, mut longest_run_s) = (0.0, 0.0f64);
    let mut run: Option<(f64, f64)> = None;
    for (start_s, stop_s) in own {
        // Two notes at once are one breath.
        let last_s = run.map_or(f64::NEG_INFINITY, |(_, last_s)| last_s);
        blown_s += (stop_s - start_s.max(last_s)).max(0.0);
        let begun_s = match run {
            Some((begun_s, _)) if start_s - last_s < REST_S => begun_s,
            _ => start_s,
        };
        longest_run_s = longest_run_s.max(stop_s - begun_s);
        run = Some((begun_s, stop_s.max(last_s)));
    }
    Load {
        share: if duration_s > 0.0 {
            blown_s / duration_s
        } else {
            0.0
        },
        longest_run_s,
    }
}
