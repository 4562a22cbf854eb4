//! `ullage play`: a set, live, in a window; without one MIDI in, sound out.

mod headless;

use std::path::PathBuf;
use std::time::{Duration, Instant};

use super::Failure;
use super::inputs;
use super::options::{ListeningOptions, RoomOptions};
use super::piece_file::{BreakOptions, KeyOptions};
use super::print::say;
#[cfg(feature = "window")]
use crate::app::{Document, Start};
use crate::live::{DeviceWish, MidiWish};
use crate::set::Set;
use crate::stage::{EngineOptions, Stage};
use crate::synth::EngineSpec;
use crate::units::Level;

/// Lowest and highest master level, dB: what the engine takes.
const LEVELS_DB: std::ops::RangeInclusive<f64> = -60.0..=12.0;
/// Rates that a card may be asked for, Hz.
const RATES_HZ: std::ops::RangeInclusive<u32> = 8_000..=192_000;
/// Callbacks that a card may be asked for, frames.
const BUFFERS_FRAMES: std::ops::RangeInclusive<u32> = 16..=8_192;

/// Play a set live: in a window, or from MIDI alone
///
/// In the window blow the bottles with the mouse, with fingers or with the computer's keys, and drag their levels.
/// Plays every MIDI input that comes and goes, and opens one of its own named ullage, for a sequencer or a notation
/// program to play. A ceiling of -6 dBFS is always on; still, begin softly with headphones.
#[derive(Clone, Debug, clap::Args)]
#[command(after_help = "Example: ullage play\n\
                  Example: ullage play presets/quay/set.toml\n\
                  Example: ullage play presets/quay/set.toml --piece presets/quay/piece5.mid\n\
                  Example: ullage play presets/quay/set.toml --headless --host jack")]
pub struct PlayArgs {
    /// A set, or a shelf of bottles [default: the window asks]
    pub file: Option<PathBuf>,
    /// A piece that plays along, a MIDI file or MusicXML; mute bottles in the window to practise them
    #[arg(
        long,
        value_name = "FILE.mid|.musicxml|.mxl",
        conflicts_with = "headless"
    )]
    pub piece: Option<PathBuf>,
    /// If it is broken.
    #[command(flatten)]
    pub broken: BreakOptions,
    /// In which key.
    #[command(flatten)]
    pub key: KeyOptions,
    /// No window: MIDI in, sound out, until Ctrl-C
    #[arg(long)]
    pub headless: bool,
    /// The output, by its name or a part of it; see `ullage devices` [default: the system's]
    #[arg(long, value_name = "NAME")]
    pub device: Option<String>,
    /// The sound system, such as alsa or jack [default: the system's]
    #[arg(long, value_name = "NAME")]
    pub host: Option<String>,
    /// Samples a second [8000 to 192000; default: 48000 if the device has it]
    #[arg(long, value_name = "HZ")]
    pub rate_hz: Option<u32>,
    /// Frames a callback: fewer are quicker, more are safer [16 to 8192; default: 256, and more where the sound breaks up]
    #[arg(long, value_name = "N")]
    pub buffer_frames: Option<u32>,
    /// Only MIDI inputs whose name has this in it; repeatable [default: every one]
    #[arg(long, value_name = "NAME")]
    pub midi: Vec<String>,
    /// Open no MIDI port of our own
    #[arg(long)]
    pub no_virtual_port: bool,
    /// Only this MIDI channel [1 to 16]; repeatable [default: every one]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u8).range(1..=16))]
    pub channel: Vec<u8>,
    /// A key without a bottle goes to the nearest one
    #[arg(long)]
    pub nearest: bool,
    /// Leave the room out
    #[arg(long)]
    pub dry: bool,
    /// Where it is heard from.
    #[command(flatten)]
    pub listening: ListeningOptions,
    /// Level, dB, under the ceiling [-60 to 12]
    #[arg(
        long,
        value_name = "DB",
        default_value_t = -12.0,
        allow_negative_numbers = true
    )]
    pub level_db: f64,
    /// Stop after so many seconds [0 to 1000000; default: when the window is closed, or at Ctrl-C]
    #[arg(long, value_name = "S")]
    pub for_s: Option<f64>,
    /// Say on standard error how long the window's first frame took
    #[arg(long, hide = true)]
    pub measure: bool,
    /// Print one JSON object at the end: what was heard, and how well the card kept up
    #[arg(long, requires = "headless")]
    pub json: bool,
    /// The room.
    #[command(flatten)]
    pub room: RoomOptions,
}

impl PlayArgs {
    /// The output that is asked for.
    #[must_use]
    pub fn output(&self) -> DeviceWish {
        DeviceWish {
            host: self.host.clone(),
            device: self.device.clone(),
            rate_hz: self.rate_hz,
            buffer_frames: self.buffer_frames,
        }
    }

    /// The MIDI inputs that are asked for.
    #[must_use]
    pub fn midi(&self) -> MidiWish {
        MidiWish {
            ports: self.midi.clone(),
            virtual_port: !self.no_virtual_port,
        }
    }

    /// How the engine is set up.
    #[must_use]
    pub fn engine(&self) -> EngineOptions {
        let bits = self.channel.iter().map(|channel| 1u16 << (channel - 1));
        EngineOptions {
            level: Level::from_db(self.level_db),
            dry: self.dry,
            nearest: self.nearest,
            channels: bits.reduce(|all, bit| all | bit).unwrap_or(u16::MAX),
        }
    }

    fn check(&self) -> Result<(), Failure> {
        if self.headless && self.file.is_none() {
            return Err(no_set());
        }
        let outside = |what: &str, value: String, range: String| {
            Err(Failure::bad(
                "play",
                format!("{what} {value} is outside {range}"),
            ))
        };
        if !LEVELS_DB.contains(&self.level_db) {
            return outside("--level-db", self.level_db.to_string(), "-60 to 12".into());
        }
        if let Some(hz) = self.rate_hz.filter(|hz| !RATES_HZ.contains(hz)) {
            return outside("--rate-hz", hz.to_string(), "8000 to 192000".into());
        }
        if let Some(n) = self.buffer_frames.filter(|n| !BUFFERS_FRAMES.contains(n)) {
            return outside("--buffer-frames", n.to_string(), "16 to 8192".into());
        }
        match self.for_s {
            Some(s) if !(0.0..=1e6).contains(&s) => {
                outside("--for-s", s.to_string(), "0 to 1000000".into())
            }
            _ => Ok(()),
        }
    }
}

pub(super) fn run(args: &PlayArgs) -> Result<(), Failure> {
    let since = Instant::now();
    args.check()?;
    if !args.headless {
        match window(args, since)? {
            Opened::Closed => return Ok(()),
            Opened::Not(because) => {
                say!("{because}: playing from MIDI, as with --headless");
                if args.piece.is_some() {
                    say!("the piece of --piece plays in the window only");
                }
            }
        }
    }
    let (set, spec) = headless_engine(args)?;
    headless::run(args, &set, spec)
}

/// The set in the room that is asked for, and what plays it without a window.
fn headless_engine(args: &PlayArgs) -> Result<(Set, EngineSpec), Failure> {
    let file = args.file.as_ref().ok_or_else(no_set)?;
    let mut set = inputs::heard_set(file, &args.room)?;
    set.listening = args.listening.over(set.listening)?;
    if set.pours.is_empty() {
        let what = format!("play {}", file.display());
        return Err(Failure::bad(what, "there is no [[pour]] in it")
            .or_try("add [[pour]] with a note and a bottle"));
    }
    let spec = Stage::new(&set)?.engine(&args.engine())?.spec;
    Ok((set, spec))
}

/// The failure to play nothing.
fn no_set() -> Failure {
    Failure::bad("play without a window", "no set is named")
        .or_try("run ullage play SET.toml --headless")
}

/// What became of the window.
enum Opened {
    /// It was there, and has been closed.
    #[cfg_attr(
        not(feature = "window"),
        expect(dead_code, reason = "there is no window to close")
    )]
    Closed,
    /// It could not be opened.
    Not(String),
}

#[cfg(feature = "window")]
fn window(args: &PlayArgs, since: Instant) -> Result<Opened, Failure> {
    match crate::app::run(start(args, since)?) {
        Ok(()) => Ok(Opened::Closed),
        Err(error) => Ok(Opened::Not(error.to_string())),
    }
}

/// What the window is opened with.
#[cfg(feature = "window")]
fn start(args: &PlayArgs, since: Instant) -> Result<Start, Failure> {
    let document = match &args.file {
        Some(file) => Document::open(file)?,
        None => Document::blank(),
    };
    let conditions = inputs::conditions(&document.model.conditions, &args.room)?;
    let listening = args.listening.over(document.fixed.listening)?;
    let piece = args.piece.as_ref();
    let piece = piece.map(|path| super::piece_file::opened(path, args.broken));
    Ok(Start {
        piece: piece.transpose()?,
        document: args
            .key
            .over_document(document.in_room(conditions).heard_from(listening)),
        engine: args.engine(),
        output: args.output(),
        midi: args.midi(),
        measure: args.measure.then_some(since),
        open_for: args.for_s.map(Duration::from_secs_f64),
    })
}

#[cfg(not(feature = "window"))]
fn window(_args: &PlayArgs, _since: Instant) -> Result<Opened, Failure> {
    Ok(Opened::Not("this build has no window".to_owned()))
}

#[cfg(all(test, feature = "window"))]
mod tests {
    use clap::Parser;

    use super::*;
    use crate::app::Derived;
    use crate::cli::commands::{Cli, Command};

    /// Poured at 20 °C: blown with much in it, with as much as its note needs, and struck.
    const POURED: &str = "[[bottle]]\nname = \"cellar\"\ncount = 3\nmouth_bore_mm = 18.5\nneck_bore_mm = 22\n\
        body_diameter_mm = 75\nbody_length_mm = 178\nshoulder_length_mm = 45\nheight_mm = 296\n\
        [[pour]]\nnote = \"A#3\"\nbottle = \"cellar\"\nfill_ml = 600\n\
        [[pour]]\nnote = \"D3\"\nbottle = \"cellar\"\n\
        [[pour]]\nnote = \"D#6\"\nbottle = \"cellar\"\nfill_ml = 520\nway = \"struck\"\n";

    #[test]
    fn what_of_a_piece_is_not_played_as_written_goes_to_the_window() {
        let grace = "<score-partwise><part-list><score-part id=\"P\"/></part-list><part id=\"P\"><measure number=\"1\">\
            <attributes><divisions>1</divisions></attributes>\
            <note><grace/><pitch><step>C</step><octave>4</octave></pitch></note>\
            <note><pitch><step>D</step><octave>4</octave></pitch><duration>4</duration></note>\
            </measure></part></score-partwise>";
        let folder = tempfile::tempdir().expect("a folder");
        let piece = folder.path().join("grace.musicxml");
        std::fs::write(&piece, grace).expect("a file");
        let piece = piece.to_str().expect("a name");
        let cli = Cli::parse_from(["ullage", "play", "presets/quay/set.toml", "--piece", piece]);
        let Command::Play(args) = cli.command else {
            panic!("it is no play");
        };
        let start = start(&args, Instant::now()).expect("it can be opened");
        let remarks = start.piece.expect("the piece").remarks;
        assert!(
            remarks.iter().any(|said| said.contains("grace notes")),
            "{remarks:?}"
        );
    }

    #[test]
    fn a_warm_room_sounds_the_same_with_a_window_and_without() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("set.toml");
        std::fs::write(&path, POURED).expect("a file");
        let file = path.to_str().expect("a name");
        let cli = Cli::parse_from(["ullage", "play", file, "--headless", "--temp-c", "40"]);
        let Command::Play(args) = cli.command else {
            panic!("it is no play");
        };
        let (_, spec) = headless_engine(&args).expect("it can be played");
        let document = Document::open(&path).expect("a set");
        let now = inputs::conditions(&document.model.conditions, &args.room).expect("a room");
        let document = document.in_room(now);
        let shown = Derived::new(&document.model, &document.fixed).bottles;
        assert_eq!((spec.players.len(), shown.len()), (3, 3));
        let off = |(player, shown): (&crate::synth::PlayedBottle, &crate::app::Shown)| {
            let window = shown.pitch.as_ref().expect("it sounds").frequency;
            player.voice.frequency().interval_above(window).cents()
        };
        let off: Vec<f64> = spec.players.iter().zip(&shown).map(off).collect();
        let is_same = off.iter().all(|off| off.abs() < 0.01);
        assert!(
            is_same,
            "without a window it is {off:.3?} cents from the window"
        );
    }
}
