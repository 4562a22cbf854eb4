//! From a programme to events: who is blown, struck and slid at which frame.

use super::error::RenderError;
use super::rails::{SetRail, SetRails};
use crate::index::{BottleIndex, PourIndex};
use crate::plan::programme::{Breath, Gliding, Programme, USUAL_BREATH};
use crate::synth::{Attack, BottleVoice, Event, EventKind, Row, SLIDE_STEP_S, USUAL_TONGUE};

/// Time from mark to mark of what slides, s: as when it is played live.
const PORTAMENTO_S: f64 = 0.15;
/// Notes of one bottle with a shorter gap between them are one breath, s: what rounding makes of no gap.
const ONE_BREATH_S: f64 = 0.001;

/// What is to happen on a stage.
#[derive(Clone, Copy, Debug)]
pub(super) struct Script<'a> {
    /// Who sounds.
    pub(super) voices: &'a [BottleVoice],
    /// Who is blown when.
    pub(super) programme: &'a Programme,
    /// What slides.
    pub(super) rails: &'a SetRails,
}

impl Script<'_> {
    /// Hands `row` what the pours that `plays` chooses do.
    ///
    /// # Errors
    /// An event that the row does not take.
    pub(super) fn hand_to(
        &self,
        row: &mut Row,
        plays: impl Fn(PourIndex) -> bool,
    ) -> Result<(), RenderError> {
        let Self {
            voices,
            programme,
            rails,
        } = *self;
        let mut score = Score {
            rate_hz: row.rate().hz(),
            events: Vec::new(),
        };
        let mut by_voice: Vec<Vec<&Breath>> = vec![Vec::new(); voices.len()];
        for breath in programme.breaths().filter(|b| plays(b.pour)) {
            by_voice[rails.voice_of[breath.pour]].push(breath);
        }
        for (pour, mut breaths) in PourIndex::all(voices.len()).zip(by_voice) {
            let voice = voice_of(pour);
            breaths.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
            let struck = voices[voice].is_struck();
            for (place, breath) in breaths.iter().enumerate() {
                if struck {
                    let speed = breath.over_threshold / USUAL_BREATH;
                    score.at(breath.start_s, voice, EventKind::Strike { speed });
                } else {
                    let goes_on = rails.rail_of[pour].is_some()
                        && breaths
                            .get(place + 1)
                            .is_some_and(|next| next.start_s <= breath.stop_s + ONE_BREATH_S);
                    score.blow(breath, voice, goes_on);
                }
            }
        }
        for (number, rail) in rails.rails.iter().enumerate() {
            // A rail moves for everybody on it, whoever of them is heard.
            let on_it = |pour: PourIndex| rails.rail_of[pour] == Some(number);
            let mut moves = moves(programme, rails, &on_it);
            moves.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
            score.slide(rail, &moves);
        }
        score.hand_to(row)
    }
}

/// Where a pour is in a row, which has a voice for every one.
fn voice_of(pour: PourIndex) -> BottleIndex {
    BottleIndex::new(pour.place())
}

/// What is to happen, in no order yet.
struct Score {
    rate_hz: f64,
    events: Vec<Event>,
}

impl Score {
    fn at(&mut self, at_s: f64, bottle: BottleIndex, kind: EventKind) {
        let at_frames = (at_s * self.rate_hz).round() as u64;
        self.events.push(Event {
            at_frames,
            bottle,
            kind,
        });
    }

    fn blow(&mut self, breath: &Breath, voice: BottleIndex, goes_on: bool) {
        let attack = if breath.tongued {
            Attack::Tongued {
                strength: USUAL_TONGUE,
            }
        } else {
            Attack::Natural
        };
        let g = breath.over_threshold;
        self.at(breath.start_s, voice, EventKind::Blow { g, attack });
        if !goes_on {
            self.at(breath.stop_s, voice, EventKind::Release);
        }
    }

    /// Moves every bottle of a rail along its curve. A move that another cuts short goes as far as it comes.
    fn slide(&mut self, rail: &SetRail, moves: &[Gliding]) {
        let mut at: Option<f64> = None;
        for (place, next) in moves.iter().enumerate() {
            let cut_s = moves.get(place + 1).map_or(f64::INFINITY, |m| m.start_s);
            let from = at.unwrap_or(next.from);
            let time_s = (next.stop_s - next.start_s).max(0.0);
            let steps = (time_s / SLIDE_STEP_S).ceil().max(1.0) as usize;
            for step in 0..steps {
                let start_s = next.start_s + time_s * step as f64 / steps as f64;
                if start_s >= cut_s {
                    break;
                }
                let to = from + (next.to - from) * (step + 1) as f64 / steps as f64;
                let over_s = time_s / steps as f64;
                for rider in &rail.riders {
                    let (frequency, q) = rider.curve.at(to);
                    let kind = EventKind::Glide {
                        frequency,
                        q,
                        over_s,
                    };
                    self.at(start_s, voice_of(rider.voice), kind);
                }
                at = Some(to);
            }
        }
    }

    fn hand_to(mut self, row: &mut Row) -> Result<(), RenderError> {
        self.events.sort_by_key(|event| event.at_frames);
        row.reserve_events(self.events.len());
        for event in self.events {
            row.push(event).map_err(RenderError::Event)?;
        }
        Ok(())
    }
}

/// Where a rail goes and when: to each note's mark, and along what the programme slides.
///
/// A note that follows another without a gap is slid to as it begins; before one that begins by itself the rail is
/// there already.
fn moves(
    programme: &Programme,
    rails: &SetRails,
    on_it: &impl Fn(PourIndex) -> bool,
) -> Vec<Gliding> {
    let mut found = Vec::new();
    for part in &programme.parts {
        let slid: Vec<Gliding> = part
            .glides
            .iter()
            .filter(|glide| on_it(glide.pour))
            .copied()
            .collect();
        if let Some(first) = slid.first() {
            found.push(standing(first.pour, part.start_s, first.from));
            found.extend(slid);
            continue;
        }
        let mut breaths: Vec<&Breath> = part.breaths.iter().filter(|b| on_it(b.pour)).collect();
        breaths.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
        let mut before_s = f64::NEG_INFINITY;
        for breath in breaths {
            let Some((_, place)) = rails.place(breath.pour) else {
                continue;
            };
            let gap_s = breath.start_s - before_s;
            found.push(if gap_s > ONE_BREATH_S {
                standing(breath.pour, breath.start_s, place)
            } else {
                Gliding {
                    pour: breath.pour,
                    start_s: breath.start_s,
                    stop_s: breath.start_s + PORTAMENTO_S,
                    from: place,
                    to: place,
                }
            });
            before_s = before_s.max(breath.stop_s);
        }
    }
    found
}

/// The rail is at `place` when the note begins.
fn standing(pour: PourIndex, at_s: f64, place: f64) -> Gliding {
    Gliding {
        pour,
        start_s: at_s,
        stop_s: at_s,
        from: place,
        to: place,
    }
}
