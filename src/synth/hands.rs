//! What hands, lips and controllers say, turned into what happens to bottles.
//!
//! A key is held by the channel that pressed it; a pointer holds a bottle by itself. A bottle is blown as long as anything
//! holds it; a struck one is struck when it is taken hold of, and rings on by itself. The numbers of MIDI messages are those of the MIDI 1.0 specification.

use super::event::{Attack, EventKind};
use super::manner::{KEYS, Manner, Target, targets};
use super::played::EngineSpec;
use super::rail::Pull;
use crate::index::BottleIndex;
use crate::units::Interval;

/// Channels of MIDI.
const CHANNELS: usize = 16;
/// Breath of a full hand, over the threshold of sounding. A matter of taste.
const FULL_BREATH: f64 = 4.5;
/// The softest key still speaks: its hand, 0 to 1; a bottle speaks from 1 / [`FULL_BREATH`] on. Equal steps of velocity are
/// equal ratios of breath from there to the hardest, which makes 13 dB from velocity 20 to 127 and the usual breath of the middle
/// one: a matter of taste.
const SOFTEST_KEY: f64 = 0.28;
/// The breath of the softest key, over the threshold of sounding.
pub const SOFTEST_HAND: f64 = SOFTEST_KEY * FULL_BREATH;
/// The breath of the hardest key, over the threshold of sounding.
pub const HARDEST_HAND: f64 = FULL_BREATH;
/// The hardest key's tongue, 0 to 1.
const HARDEST_TONGUE: f64 = 0.9;
/// The tongue of a pointer that comes down on a silent bottle.
const POINTER_TONGUE: f64 = 0.5;
/// Speed of a mallet in the softest and the hardest hand, m/s; equal steps of velocity are equal ratios. A matter of taste, of
/// the size that hands reach.
const MALLET_M_S: (f64, f64) = (0.1, 2.0);
/// How far a full modulation wheel shakes the breath, of it.
const SHAKE_DEPTH: f64 = 0.4;
/// Shakes a second: a calm breath vibrato; common practice, no source.
pub(super) const SHAKE_HZ: f64 = 5.0;
/// Bottles of one engine at most.
pub(super) const MOST_BOTTLES: usize = 4096;

/// The breath of [`Command::Blow`](super::Command::Blow) that blows a bottle `over_threshold` times its threshold of
/// sounding: 0 to 1, the inverse of what the engine makes of it; a full hand has no more than 4.5.
#[must_use]
pub fn hand_blowing(over_threshold: f64) -> f32 {
    (over_threshold / FULL_BREATH).clamp(0.0, 1.0) as f32
}

/// The same that strikes a bottle at `speed_m_s`, within what hands reach; never 0, which would not strike.
#[must_use]
pub fn hand_striking(speed_m_s: f64) -> f32 {
    let (soft, hard) = MALLET_M_S;
    let hand = (speed_m_s.max(soft) / soft).ln() / (hard / soft).ln();
    hand.clamp(1e-6, 1.0) as f32
}

/// What a channel's controllers say.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Channel {
    /// Breath controller, once it has been moved.
    breath: Option<f64>,
    expression: f64,
    shake: f64,
    pressure: f64,
    /// −1 to 1.
    bend: f64,
    pedal: bool,
}

impl Channel {
    const REST: Self = Self {
        breath: None,
        expression: 1.0,
        shake: 0.0,
        pressure: 0.0,
        bend: 0.0,
        pedal: false,
    };
}

/// A key of a channel.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Key {
    /// The finger is on it.
    down: bool,
    /// The finger has left it, the pedal holds it.
    pedalled: bool,
    /// 0 to 1.
    velocity: f64,
    /// Its own aftertouch, 0 to 1.
    pressure: f64,
}

/// Who holds a bottle.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Hold {
    /// The pointer's breath, 0 to 1; none at 0.
    pointer: f64,
    /// Keys that hold it.
    keys: u32,
    /// The channel and key that spoke last.
    last: (u8, u8),
    /// The bend that it was last given, cents.
    bend_cents: f64,
}

/// What comes of a message.
pub(super) enum Outcome {
    /// Done, or nothing to do.
    Done,
    /// A key that no bottle has.
    Missing(u8),
    /// The volume controller, 0 to 1.
    Volume(f64),
    /// A rail is to move.
    Pull(Pull),
    /// Everything must be silent at once.
    Silence,
}

/// The state of all hands.
pub(super) struct Hands {
    channels: [Channel; CHANNELS],
    keys: Box<[[Key; KEYS]; CHANNELS]>,
    targets: [Option<Target>; KEYS],
    holds: Vec<Hold>,
    manners: Vec<Manner>,
    listened: u16,
}

impl Hands {
    pub(super) fn new(spec: &EngineSpec) -> Self {
        Self {
            channels: [Channel::REST; CHANNELS],
            keys: Box::new([[Key::default(); KEYS]; CHANNELS]),
            targets: targets(&spec.players, spec.nearest),
            holds: vec![Hold::default(); spec.players.len()],
            manners: spec.players.iter().map(Manner::of).collect(),
            listened: spec.channels,
        }
    }

    pub(super) fn reset(&mut self) {
        self.channels = [Channel::REST; CHANNELS];
        *self.keys = [[Key::default(); KEYS]; CHANNELS];
        self.holds.fill(Hold::default());
    }

    /// Whether any breath is being shaken.
    pub(super) fn is_shaking(&self) -> bool {
        self.channels.iter().any(|c| c.shake > 0.0)
    }

    /// Blows every held bottle of a shaking channel anew; `turn` is where the shake stands, 0 to 1.
    pub(super) fn shake(&self, turn: f64, tell: &mut impl FnMut(BottleIndex, EventKind)) {
        let swing = (std::f64::consts::TAU * turn).sin();
        for (bottle, hold) in BottleIndex::each(&self.holds) {
            let depth = SHAKE_DEPTH * self.channels[hold.last.0 as usize].shake;
            if hold.keys > 0 && depth > 0.0 && !self.manners[bottle].struck {
                let g = self.breath(bottle) * (1.0 + depth * swing);
                tell(bottle, blow(g));
            }
        }
    }

    /// A pointer or a finger on the glass: `breath` 0 to 1.
    pub(super) fn point(
        &mut self,
        bottle: BottleIndex,
        breath: f64,
        tell: &mut impl FnMut(BottleIndex, EventKind),
    ) {
        let Some(hold) = self.holds.get_mut(bottle.place()) else {
            return;
        };
        if !breath.is_finite() || breath <= 0.0 {
            return self.lift(bottle, tell);
        }
        let comes_down = hold.pointer == 0.0;
        let fresh = comes_down && hold.keys == 0;
        hold.pointer = breath.min(1.0);
        if self.manners[bottle].struck {
            if comes_down {
                self.strike(bottle, breath.min(1.0), tell);
            }
            return;
        }
        let g = self.breath(bottle);
        let attack = if fresh {
            tongue(POINTER_TONGUE)
        } else {
            Attack::Natural
        };
        tell(bottle, EventKind::Blow { g, attack });
    }

    /// The pointer leaves a bottle.
    pub(super) fn lift(
        &mut self,
        bottle: BottleIndex,
        tell: &mut impl FnMut(BottleIndex, EventKind),
    ) {
        let Some(hold) = self.holds.get_mut(bottle.place()) else {
            return;
        };
        hold.pointer = 0.0;
        self.tell_breath(bottle, tell);
    }

    /// Takes every finger, pointer and pedal away.
    pub(super) fn all_off(&mut self, tell: &mut impl FnMut(BottleIndex, EventKind)) {
        for channel in 0..CHANNELS {
            self.channels[channel].pedal = false;
            self.keys[channel] = [Key::default(); KEYS];
        }
        for bottle in BottleIndex::all(self.holds.len()) {
            let hold = &mut self.holds[bottle];
            if hold.keys > 0 || hold.pointer > 0.0 {
                (hold.keys, hold.pointer) = (0, 0.0);
                self.tell_breath(bottle, tell);
            }
        }
    }

    /// A message of MIDI 1.0. What is no channel message of a listened channel is passed over.
    pub(super) fn midi(
        &mut self,
        bytes: [u8; 3],
        tell: &mut impl FnMut(BottleIndex, EventKind),
    ) -> Outcome {
        let [status, first, second] = bytes;
        let (first, second) = (first & 0x7f, second & 0x7f);
        let channel = (status & 0x0f) as usize;
        if status < 0x80 || self.listened & (1 << channel) == 0 {
            return Outcome::Done;
        }
        let share = f64::from(second) / 127.0;
        match status & 0xf0 {
            0x90 if second > 0 => return self.press(channel, first, share, tell),
            0x80 | 0x90 => self.leave(channel, first, tell),
            0xa0 => {
                self.keys[channel][first as usize].pressure = share;
                if let Some(bottle) = self.held_bottle(channel, first) {
                    self.tell_breath(bottle, tell);
                }
            }
            0xb0 => return self.control(channel, first, second, tell),
            0xd0 => {
                self.channels[channel].pressure = f64::from(first) / 127.0;
                self.tell_channel(channel, tell);
            }
            0xe0 => {
                let steps = f64::from(first) + 128.0 * f64::from(second) - 8192.0;
                // One step less upwards than downwards: both ends reach the whole bend.
                let most = if steps > 0.0 { 8191.0 } else { 8192.0 };
                let bend = steps / most;
                self.channels[channel].bend = bend;
                self.tell_bends(channel, tell);
                return Outcome::Pull(Pull::Wheel { channel, bend });
            }
            // Programs are passed over: a bottle is a bottle. So is what no channel owns.
            _ => {}
        }
        Outcome::Done
    }

    fn control(
        &mut self,
        channel: usize,
        which: u8,
        value: u8,
        tell: &mut impl FnMut(BottleIndex, EventKind),
    ) -> Outcome {
        let share = f64::from(value) / 127.0;
        let state = &mut self.channels[channel];
        match which {
            1 => state.shake = share,
            2 => state.breath = Some(share),
            11 => state.expression = share,
            7 => return Outcome::Volume(share),
            // General purpose 1.
            16 => {
                let position = share;
                return Outcome::Pull(Pull::Slider { channel, position });
            }
            64 => {
                state.pedal = value >= 64;
                if value < 64 {
                    self.lift_pedal(channel, tell);
                }
                return Outcome::Done;
            }
            120 => return Outcome::Silence,
            121 => {
                // RP-015: volume stays as it is; so does a breath controller, which says what the lips do.
                let breath = state.breath;
                *state = Channel {
                    breath,
                    ..Channel::REST
                };
                self.keys[channel]
                    .iter_mut()
                    .for_each(|key| key.pressure = 0.0);
                self.lift_pedal(channel, tell);
                self.tell_bends(channel, tell);
                self.tell_channel(channel, tell);
                return Outcome::Pull(Pull::Wheel { channel, bend: 0.0 });
            }
            // All notes off, and the four modes that include it.
            123..=127 => {
                for key in 0..KEYS as u8 {
                    self.leave(channel, key, tell);
                }
                return Outcome::Done;
            }
            _ => return Outcome::Done,
        }
        self.tell_channel(channel, tell);
        Outcome::Done
    }

    fn press(
        &mut self,
        channel: usize,
        key: u8,
        velocity: f64,
        tell: &mut impl FnMut(BottleIndex, EventKind),
    ) -> Outcome {
        let Some(Target { bottle, mark }) = self.targets[key as usize] else {
            return Outcome::Missing(key);
        };
        let state = &mut self.keys[channel][key as usize];
        let held = state.down || state.pedalled;
        *state = Key {
            down: true,
            pedalled: false,
            velocity,
            pressure: 0.0,
        };
        let hold = &mut self.holds[bottle];
        hold.keys += u32::from(!held);
        hold.last = (channel as u8, key);
        self.tell_bend(bottle, tell);
        if self.manners[bottle].struck {
            self.strike(bottle, velocity * self.channels[channel].expression, tell);
        } else {
            let g = self.breath(bottle);
            let attack = tongue(HARDEST_TONGUE * velocity);
            tell(bottle, EventKind::Blow { g, attack });
        }
        mark.map_or(Outcome::Done, |position| {
            Outcome::Pull(Pull::Mark {
                bottle,
                position,
                channel,
                bend: self.channels[channel].bend,
            })
        })
    }

    /// A mallet comes down with a hand of 0 to 1; the hand that stopped the bottle is lifted before.
    fn strike(
        &self,
        bottle: BottleIndex,
        hand: f64,
        tell: &mut impl FnMut(BottleIndex, EventKind),
    ) {
        if self.manners[bottle].damped {
            tell(bottle, EventKind::Damp { hand: 0.0 });
        }
        let (soft, hard) = MALLET_M_S;
        let speed = soft * (hard / soft).powf(hand);
        tell(bottle, EventKind::Strike { speed });
    }

    /// A finger leaves a key; the pedal may still hold it.
    fn leave(&mut self, channel: usize, key: u8, tell: &mut impl FnMut(BottleIndex, EventKind)) {
        let pedal = self.channels[channel].pedal;
        let state = &mut self.keys[channel][key as usize];
        if !state.down {
            return;
        }
        state.down = false;
        state.pedalled = pedal;
        if !pedal {
            self.let_go(key, tell);
        }
    }

    fn lift_pedal(&mut self, channel: usize, tell: &mut impl FnMut(BottleIndex, EventKind)) {
        for key in 0..KEYS {
            if std::mem::take(&mut self.keys[channel][key].pedalled) {
                self.let_go(key as u8, tell);
            }
        }
    }

    fn let_go(&mut self, key: u8, tell: &mut impl FnMut(BottleIndex, EventKind)) {
        let Some(Target { bottle, .. }) = self.targets[key as usize] else {
            return;
        };
        let hold = &mut self.holds[bottle];
        hold.keys = hold.keys.saturating_sub(1);
        // Another finger on the same bottle goes on blowing as before.
        if hold.keys == 0 {
            self.tell_breath(bottle, tell);
        }
    }

    fn held_bottle(&self, channel: usize, key: u8) -> Option<BottleIndex> {
        let state = self.keys[channel][key as usize];
        let target = self.targets[key as usize].filter(|_| state.down || state.pedalled);
        target.map(|target| target.bottle)
    }

    /// Breath over threshold that a bottle gets from all that holds it.
    fn breath(&self, bottle: BottleIndex) -> f64 {
        let hold = &self.holds[bottle];
        let mut hand = hold.pointer;
        if hold.keys > 0 {
            let (channel, key) = hold.last;
            let state = &self.channels[channel as usize];
            let key = &self.keys[channel as usize][key as usize];
            let from_key = SOFTEST_KEY.powf(1.0 - key.velocity);
            let base = state.breath.unwrap_or(from_key);
            let pressed = state.pressure.max(key.pressure);
            hand = hand.max((base + (1.0 - base) * pressed) * state.expression);
        }
        FULL_BREATH * hand
    }

    fn tell_breath(&self, bottle: BottleIndex, tell: &mut impl FnMut(BottleIndex, EventKind)) {
        let (hold, manner) = (&self.holds[bottle], &self.manners[bottle]);
        let held = hold.keys > 0 || hold.pointer > 0.0;
        if manner.struck {
            // Neither breath nor pressure reaches a wall; all that is heard of letting go is the hand.
            if manner.damped && !held {
                tell(bottle, EventKind::Damp { hand: 1.0 });
            }
        } else if !held {
            tell(bottle, EventKind::Release);
        } else {
            tell(bottle, blow(self.breath(bottle)));
        }
    }

    /// Tells every bottle that `channel` blows what its controllers say now.
    fn tell_channel(&self, channel: usize, tell: &mut impl FnMut(BottleIndex, EventKind)) {
        for (bottle, hold) in BottleIndex::each(&self.holds) {
            if hold.keys > 0 && hold.last.0 as usize == channel {
                self.tell_breath(bottle, tell);
            }
        }
    }

    fn tell_bends(&mut self, channel: usize, tell: &mut impl FnMut(BottleIndex, EventKind)) {
        for bottle in BottleIndex::all(self.holds.len()) {
            // What still rings after its key bends too.
            if self.holds[bottle].last.0 as usize == channel {
                self.tell_bend(bottle, tell);
            }
        }
    }

    fn tell_bend(&mut self, bottle: BottleIndex, tell: &mut impl FnMut(BottleIndex, EventKind)) {
        let manner = &self.manners[bottle];
        if manner.on_rail {
            return;
        }
        let hold = &mut self.holds[bottle];
        let bend = self.channels[hold.last.0 as usize].bend;
        let (down, up) = manner.bends;
        let cents = bend * if bend < 0.0 { down } else { up };
        if cents != hold.bend_cents {
            hold.bend_cents = cents;
            let interval = Interval::from_cents(cents);
            tell(bottle, EventKind::Bend { interval });
        }
    }
}

fn blow(g: f64) -> EventKind {
    EventKind::Blow {
        g,
        attack: Attack::Natural,
    }
}

fn tongue(strength: f64) -> Attack {
    Attack::Tongued {
        strength: strength.clamp(0.0, 1.0),
    }
}
