//! The engine: bottles, hands, room and ceiling in one piece, the same for the sound card and for a file.

use std::collections::VecDeque;
use std::f64::consts::TAU;

use super::blown_voice::{HIGHEST_HZ, LOWEST_HZ, VoiceError};
use super::ceiling::Ceiling;
use super::click::LiveClick;
use super::event::{Event, EventKind};
use super::hands::{Hands, MOST_BOTTLES, Outcome, SHAKE_HZ};
use super::played::{Command, EngineError, EngineSpec, LEVELS_DB, Meters};
use super::rail::Rails;
use super::room::Room;
use super::row::{BottleVoice, Row};
use super::smooth::Glide;
use crate::index::BottleIndex;
use crate::units::{Frequency, Level, SampleRate};

/// Commands that wait at most.
const COMMAND_ROOM: usize = 4096;
/// Events that one command may cause in every bottle.
const EVENTS_A_BOTTLE: usize = 8;
/// Time for a level to arrive, s.
const LEVEL_S: f64 = 0.030;
/// Time to fade everything out when it must be silent, s.
const SILENCE_S: f64 = 0.005;
/// Time for the plain tone to come, to go and to move, s.
const TONE_S: f64 = 0.020;
/// The plain tone beside a full bottle.
const TONE_GAIN: f64 = 0.2;
/// Time between two steps of a shaken breath, s: the breath takes as long to arrive.
const SHAKE_STEP_S: f64 = 0.020;
/// Sound that is made at a time.
const PIECE_FRAMES: usize = 64;

/// The plain tone.
struct Tone {
    turn: f64,
    hz: Glide,
    gain: Glide,
}

impl Tone {
    fn silent() -> Self {
        Self {
            turn: 0.0,
            hz: Glide::resting(440.0),
            gain: Glide::resting(0.0),
        }
    }
}

/// Bottles that can be played.
///
/// Real time: no allocation, lock, wait or system call; cost is linear in the block and in the sounding bottles. The same
/// spec and commands at the same frames give the same samples, in blocks of any length.
///
/// ```
/// use ullage::synth::{BlownVoice, Command, Engine, EngineSpec, PlayedBottle};
/// use ullage::units::{Frequency, Interval, SampleRate};
/// let player = PlayedBottle {
///     bend_down: Interval::from_cents(60.0),
///     bend_up: Interval::from_cents(20.0),
///     ..PlayedBottle::new(BlownVoice::new(Frequency::from_hz(196.0), 32.0)?, 55)
/// };
/// let mut engine = Engine::new(&EngineSpec::new(vec![player]), SampleRate::from_hz(48_000.0))?;
/// engine.push(0, Command::Midi { bytes: [0x90, 55, 100] }).expect("room for one");
/// let (mut left, mut right) = (vec![0.0; 24_000], vec![0.0; 24_000]);
/// engine.process(&mut left, &mut right);
/// assert!(left.iter().any(|sample| sample.abs() > 0.05));
/// # Ok::<(), ullage::synth::EngineError>(())
/// ```
pub struct Engine {
    rate: SampleRate,
    row: Row,
    hands: Hands,
    rails: Rails,
    room: Option<Room>,
    ceiling: Ceiling,
    top: f32,
    start_gain: f64,
    /// The master level and the volume controller.
    level: Glide,
    volume: Glide,
    /// Down while everything is being silenced, and the frame when that is done.
    open: Glide,
    silent_at: Option<u64>,
    tone: Tone,
    click: LiveClick,
    waiting: VecDeque<(u64, Command)>,
    now_frame: u64,
    meters: Meters,
}

impl Engine {
    /// The engine of `spec` at `rate`, silent, at frame 0. Allocates.
    ///
    /// # Errors
    /// Too many bottles; a bottle, room, ceiling or level outside its range.
    pub fn new(spec: &EngineSpec, rate: SampleRate) -> Result<Self, EngineError> {
        let count = spec.players.len();
        if count > MOST_BOTTLES {
            return Err(EngineError::Bottles {
                count,
                max: MOST_BOTTLES,
            });
        }
        let db = spec.level.db();
        if !(LEVELS_DB.0..=LEVELS_DB.1).contains(&db) {
            return Err(EngineError::Level { db });
        }
        let mut row = Row::new(&voices(spec)?, rate, spec.seed)?;
        if spec.steady {
            row = row.steady();
        }
        row.reserve_events(COMMAND_ROOM + EVENTS_A_BOTTLE * count);
        let on_rails = spec.players.iter().map(|p| p.rail.as_ref());
        let room = spec.room.map(|room| Room::new(room, rate)).transpose()?;
        Ok(Self {
            rate,
            row,
            hands: Hands::new(spec),
            rails: Rails::new(&spec.rails, on_rails, rate.hz()),
            room,
            ceiling: Ceiling::new(spec.ceiling, rate)?,
            top: spec.ceiling.gain() as f32,
            start_gain: spec.level.gain(),
            level: Glide::resting(spec.level.gain()),
            volume: Glide::resting(1.0),
            open: Glide::resting(1.0),
            silent_at: None,
            tone: Tone::silent(),
            click: LiveClick::new(rate),
            waiting: VecDeque::with_capacity(COMMAND_ROOM),
            now_frame: 0,
            meters: Meters::default(),
        })
    }

    /// Leaves the engine as `new` did. Allocates, see [`Ceiling::reset`]; for the audio thread there is [`Command::Silence`].
    pub fn reset(&mut self) {
        self.row.reset();
        self.hands.reset();
        self.rails.reset();
        if let Some(room) = &mut self.room {
            room.reset();
        }
        self.ceiling.reset();
        self.level = Glide::resting(self.start_gain);
        self.volume = Glide::resting(1.0);
        self.open = Glide::resting(1.0);
        self.silent_at = None;
        self.tone = Tone::silent();
        self.click.reset();
        self.waiting.clear();
        self.now_frame = 0;
        self.meters = Meters::default();
    }

    /// Frames made since `new` or `reset`.
    #[must_use]
    pub fn now_frames(&self) -> u64 {
        self.now_frame
    }

    /// The sample rate.
    #[must_use]
    pub fn rate(&self) -> SampleRate {
        self.rate
    }

    /// Bottles, sounding or not.
    #[must_use]
    pub fn bottle_count(&self) -> usize {
        self.row.bottle_count()
    }

    /// Frames by which the ceiling makes everything late.
    #[must_use]
    pub fn delay_frames(&self) -> usize {
        self.ceiling.delay_frames()
    }

    /// Lines a command up for a frame; one already past happens at once. Those of one frame happen in the order they came.
    ///
    /// # Errors
    /// Hands the command back if the queue is full; that is counted.
    pub fn push(&mut self, at_frames: u64, command: Command) -> Result<(), Command> {
        if command == Command::Forget {
            self.forget(at_frames);
            return Ok(());
        }
        if self.waiting.len() >= COMMAND_ROOM {
            self.meters.refused = self.meters.refused.saturating_add(1);
            return Err(command);
        }
        let place = self.waiting.partition_point(|(at, _)| *at <= at_frames);
        self.waiting.insert(place, (at_frames, command));
        Ok(())
    }

    /// Takes back what pointers and clicks were to do from a frame on.
    fn forget(&mut self, from_frame: u64) {
        self.waiting.retain(|(at, command)| {
            let of_pointers = matches!(
                command,
                Command::Blow { .. }
                    | Command::Release { .. }
                    | Command::Slide { .. }
                    | Command::Click { .. }
            );
            *at < from_frame || !of_pointers
        });
    }

    /// Replaces `left` and `right` by what sounds; the shorter of the two says how many frames.
    pub fn process(&mut self, left: &mut [f32], right: &mut [f32]) {
        let frames = left.len().min(right.len());
        let mut done = 0;
        while done < frames {
            while let Some(&(at, command)) = self.waiting.front()
                && at <= self.now_frame
            {
                self.waiting.pop_front();
                self.obey(command);
            }
            self.shake();
            let (now, row, refused) = (self.now_frame, &mut self.row, &mut self.meters.refused);
            self.rails.step(now, &mut |bottle, kind| {
                tell(row, now, refused, bottle, kind)
            });
            let count = self.stretch_frames(frames - done);
            let here = done..done + count;
            self.sound(&mut left[here.clone()], &mut right[here]);
            done += count;
        }
    }

    /// Frames until the next command, the next step of a shake or a rail, the end of a fade or the end of the piece.
    fn stretch_frames(&self, wanted: usize) -> usize {
        let until = |frame: u64| frame.saturating_sub(self.now_frame);
        let command = self.waiting.front().map_or(u64::MAX, |(at, _)| until(*at));
        let silence = self.silent_at.map_or(u64::MAX, until);
        let step = self.shake_step_frames();
        let shake = step - self.now_frame % step;
        let most = wanted.min(PIECE_FRAMES) as u64;
        let slide = self.rails.frames_to_step(self.now_frame);
        most.min(command).min(silence.max(1)).min(shake).min(slide) as usize
    }

    fn shake_step_frames(&self) -> u64 {
        (SHAKE_STEP_S * self.rate.hz()).round().max(1.0) as u64
    }

    fn shake(&mut self) {
        if !self.now_frame.is_multiple_of(self.shake_step_frames()) || !self.hands.is_shaking() {
            return;
        }
        let turn = (self.now_frame as f64 / self.rate.hz() * SHAKE_HZ).fract();
        let (now, row, refused) = (self.now_frame, &mut self.row, &mut self.meters.refused);
        self.hands.shake(turn, &mut |bottle, kind| {
            tell(row, now, refused, bottle, kind)
        });
    }

    fn obey(&mut self, command: Command) {
        let now = self.now_frame;
        let level_frames = self.frames(LEVEL_S);
        let (row, refused) = (&mut self.row, &mut self.meters.refused);
        let mut tell = |bottle: BottleIndex, kind| tell(row, now, refused, bottle, kind);
        match command {
            Command::Midi { bytes } => match self.hands.midi(bytes, &mut tell) {
                Outcome::Done => {}
                Outcome::Missing(key) => {
                    self.meters.missing_key = Some(key);
                    self.meters.missing_count = self.meters.missing_count.saturating_add(1);
                }
                // 40 log10: the response that the MIDI level 1 sound developers' guide recommends.
                Outcome::Volume(share) => self.volume.head_for(share * share, now, level_frames),
                Outcome::Pull(pull) => self.rails.pull(pull, now),
                Outcome::Silence => self.silence(),
            },
            Command::Blow { bottle, breath } => {
                self.hands.point(bottle, f64::from(breath), &mut tell);
            }
            Command::Release { bottle } => self.hands.lift(bottle, &mut tell),
            Command::Tune {
                bottle,
                frequency,
                q,
            } => {
                tell(bottle, EventKind::Tune { frequency, q });
                self.rails.tuned(bottle, frequency, q);
            }
            Command::Slide { rail, position } => {
                if !self.rails.slide(rail, f64::from(position), now) {
                    *refused = refused.saturating_add(1);
                }
            }
            Command::Level(level) => {
                let (least, most) = LEVELS_DB;
                if level.db().is_nan() {
                    *refused = refused.saturating_add(1);
                    return;
                }
                let gain = Level::from_db(level.db().clamp(least, most)).gain();
                self.level.head_for(gain, now, level_frames);
            }
            Command::Wet(wet) => {
                if let Some(room) = &mut self.room {
                    room.set_wet(wet);
                }
            }
            Command::Tone { frequency } => self.sing(frequency),
            Command::AllOff => {
                self.hands.all_off(&mut tell);
                self.sing(None);
            }
            Command::Silence => self.silence(),
            Command::Click { first } => {
                if !self.click.begin(first) {
                    *refused = refused.saturating_add(1);
                }
            }
            // Done when it is lined up.
            Command::Forget => {}
        }
    }

    fn frames(&self, seconds: f64) -> u64 {
        (seconds * self.rate.hz()).round().max(1.0) as u64
    }

    fn sing(&mut self, frequency: Option<Frequency>) {
        let (now, frames) = (self.now_frame, self.frames(TONE_S));
        let hz = frequency.map(Frequency::hz);
        let Some(hz) = hz.filter(|hz| (LOWEST_HZ..=HIGHEST_HZ).contains(hz)) else {
            return self.tone.gain.head_for(0.0, now, frames);
        };
        if self.tone.gain.at(now) == 0.0 {
            self.tone.hz = Glide::resting(hz);
        } else {
            self.tone.hz.head_for(hz, now, frames);
        }
        self.tone.gain.head_for(TONE_GAIN, now, frames);
    }

    fn silence(&mut self) {
        let frames = self.frames(SILENCE_S);
        self.open.head_for(0.0, self.now_frame, frames);
        self.silent_at = Some(self.now_frame + frames);
    }

    /// The fade has come to its end: nothing is left to ring.
    fn fall_silent(&mut self) {
        self.silent_at = None;
        self.hands.all_off(&mut |_, _| {});
        self.row.silence();
        self.tone = Tone::silent();
        self.click.reset();
        if let Some(room) = &mut self.room {
            room.reset();
        }
        self.open = Glide::resting(1.0);
    }

    /// Makes a stretch in which no command falls.
    fn sound(&mut self, left: &mut [f32], right: &mut [f32]) {
        if self.silent_at.is_some_and(|at| at <= self.now_frame) {
            self.fall_silent();
        }
        left.fill(0.0);
        right.fill(0.0);
        self.row.add_block(left, right);
        if let Some(room) = &mut self.room {
            room.process(left, right);
        }
        self.add_tone(left, right);
        self.click.add_block(left, right);
        self.turn_down(left, right);
        let before = peak(left).max(peak(right));
        if before > self.top {
            let over_db = 20.0 * (before / self.top).log10();
            self.meters.limited_db = self.meters.limited_db.max(over_db);
        }
        self.ceiling.process(left, right);
        self.meters.peak_left = self.meters.peak_left.max(peak(left));
        self.meters.peak_right = self.meters.peak_right.max(peak(right));
        self.now_frame += left.len() as u64;
    }

    fn add_tone(&mut self, left: &mut [f32], right: &mut [f32]) {
        let tone = &mut self.tone;
        if tone.gain.target() == 0.0 && tone.gain.is_done(self.now_frame) {
            return;
        }
        for ((left, right), frame) in left.iter_mut().zip(right).zip(self.now_frame..) {
            tone.turn = (tone.turn + tone.hz.at(frame) / self.rate.hz()).fract();
            let sample = (tone.gain.at(frame) * (TAU * tone.turn).sin()) as f32;
            *left += sample;
            *right += sample;
        }
    }

    fn turn_down(&self, left: &mut [f32], right: &mut [f32]) {
        let gains = [&self.level, &self.volume, &self.open];
        if gains.iter().all(|gain| gain.is_done(self.now_frame)) {
            let gain = gains.iter().map(|gain| gain.target()).product::<f64>() as f32;
            left.iter_mut()
                .chain(right)
                .for_each(|sample| *sample *= gain);
            return;
        }
        for ((left, right), frame) in left.iter_mut().zip(right).zip(self.now_frame..) {
            let gain = gains.iter().map(|gain| gain.at(frame)).product::<f64>() as f32;
            *left *= gain;
            *right *= gain;
        }
    }

    /// What there is to show; the peaks and the limiting begin anew.
    pub fn meters(&mut self) -> Meters {
        self.meters.sounding = self.row.sounding_count() as u16;
        let meters = self.meters;
        self.meters.peak_left = 0.0;
        self.meters.peak_right = 0.0;
        self.meters.limited_db = 0.0;
        meters
    }

    /// Writes how far each bottle's air swings now, 0 to 1 and a little above, as far as `out` reaches.
    pub fn swings(&self, out: &mut [f32]) {
        self.row.swings(out);
    }
}

/// The voices of an engine, those on rails where their rail stands at the start.
fn voices(spec: &EngineSpec) -> Result<Vec<BottleVoice>, VoiceError> {
    for rail in &spec.rails {
        rail.check()?;
    }
    let mut voices = Vec::with_capacity(spec.players.len());
    for player in &spec.players {
        voices.push(match &player.rail {
            None => player.voice.clone(),
            Some(on) => {
                on.check()?;
                let rail = spec.rails.get(usize::from(on.rail)).copied();
                let (frequency, q) = on.curve.at(rail.unwrap_or_default().start);
                player.voice.tuned_to(frequency, q)
            }
        });
    }
    Ok(voices)
}

fn tell(row: &mut Row, at_frames: u64, refused: &mut u32, bottle: BottleIndex, kind: EventKind) {
    let event = Event {
        at_frames,
        bottle,
        kind,
    };
    if row.push(event).is_err() {
        *refused = refused.saturating_add(1);
    }
}

fn peak(samples: &[f32]) -> f32 {
    samples
        .iter()
        .fold(0.0, |most, sample| most.max(sample.abs()))
}
