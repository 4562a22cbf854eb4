//! MIDI inputs: every one there is, and a port of our own that other programs can play.
//!
//! No system says when a port comes or goes, so a thread looks once a second. A note that sounds when its port
//! goes would sound for ever: it is let go. Each input has its own queue into the callback.

use std::io;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{self, Receiver, RecvTimeoutError, Sender};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use midir::{Ignore, MidiInput, MidiInputConnection, MidiInputPort};
use rtrb::Producer;

use super::bridge::{CommandQueue, Lease};
use super::hush::hush;
use super::message::messages;
use crate::synth::Command;

/// How often ports are looked for.
const LOOK: Duration = Duration::from_secs(1);
/// Longest wait while there is no MIDI at all: every try writes a line to the terminal on some systems.
const LONGEST_WAIT: Duration = Duration::from_secs(32);
/// The name that others see.
const NAME: &str = "ullage";
/// No message yet.
const NEVER: u64 = u64::MAX;

/// The MIDI inputs that are wanted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MidiWish {
    /// Ports whose name contains one of these; every port if there are none.
    pub ports: Vec<String>,
    /// Whether to open a port named `ullage`, where the system can.
    pub virtual_port: bool,
}

impl Default for MidiWish {
    /// Every port, and our own.
    fn default() -> Self {
        Self {
            ports: Vec::new(),
            virtual_port: true,
        }
    }
}

impl MidiWish {
    fn wants(&self, name: &str) -> bool {
        let name = name.to_lowercase();
        self.ports.is_empty()
            || self
                .ports
                .iter()
                .any(|part| name.contains(&part.to_lowercase()))
    }
}

/// An input as it stands.
#[derive(Clone, Debug, PartialEq)]
pub struct MidiPort {
    /// Its name.
    pub name: String,
    /// Whether it is there and connected.
    pub connected: bool,
    /// When it was last heard, s since the desk was set up.
    pub last_s: Option<f64>,
}

/// Why there is no MIDI.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum MidiError {
    /// The system has no sequencer.
    #[error("there is no MIDI on this system (no /dev/snd/seq)")]
    NoSequencer,
    /// The system has one that cannot be reached.
    #[error("there is no MIDI: the MIDI system does not answer")]
    NoAnswer,
}

/// A message that came in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct CameIn {
    pub at_s: f64,
    pub bytes: [u8; 3],
}

/// What one input needs: lent to its callback, and back home when that is dropped.
pub(super) struct Line {
    pub queue: CommandQueue,
    pub heard: Producer<CameIn>,
    /// Channels it has spoken on, a bit each.
    pub channels: u16,
}

impl Line {
    fn hear(&mut self, bytes: &[u8], since: Instant, last_us: &AtomicU64) {
        let at = since.elapsed();
        for bytes in messages(bytes) {
            self.channels |= 1 << (bytes[0] & 0x0F);
            self.queue.send(Command::Midi { bytes });
            // Only for show: if nobody looks, it is lost.
            let _ = self.heard.push(CameIn {
                at_s: at.as_secs_f64(),
                bytes,
            });
        }
        last_us.store(at.as_micros() as u64, Ordering::Relaxed);
    }

    /// Lets go of whatever its port held: pedal up, all notes off.
    fn let_go(&mut self) {
        for channel in (0..16).filter(|channel| self.channels & (1 << channel) != 0) {
            for controller in [64, 123] {
                let bytes = [0xB0 | channel, controller, 0];
                self.queue.send(Command::Midi { bytes });
            }
        }
        self.channels = 0;
    }
}

/// What the thread shows of itself.
#[derive(Clone, Debug, Default)]
pub(super) struct Board {
    pub ports: Vec<(String, bool, Arc<AtomicU64>)>,
    pub because: Option<String>,
}

impl Board {
    pub(super) fn ports(&self) -> Vec<MidiPort> {
        let port = |(name, connected, last_us): &(String, bool, Arc<AtomicU64>)| MidiPort {
            name: name.clone(),
            connected: *connected,
            last_s: match last_us.load(Ordering::Relaxed) {
                NEVER => None,
                us => Some(us as f64 / 1e6),
            },
        };
        self.ports.iter().map(port).collect()
    }
}

/// What the thread is asked for; it ends when nobody is left who could ask.
pub(super) enum Ask {
    /// Close every connection and answer: the server that they share with the sound has died, and as long as one of
    /// them is open no client of this process reaches the next server.
    HangUp(Sender<()>),
    /// Look for ports now.
    Look,
}

/// Starts the thread.
pub(super) fn start(
    lines: Vec<Line>,
    wish: MidiWish,
    since: Instant,
    (board, asked): (Arc<Mutex<Board>>, Receiver<Ask>),
) -> io::Result<JoinHandle<()>> {
    let thread = thread::Builder::new()
        .name("ullage-midi".to_owned())
        .spawn(move || {
            let (home, homecoming) = mpsc::channel();
            let mut patch = Patch {
                lines,
                home,
                homecoming,
                wish,
                since,
                board,
                scan: None,
                own: None,
                inputs: Vec::new(),
            };
            patch.run(&asked);
        })?;
    Ok(thread)
}

type Connection = MidiInputConnection<Lease<Line>>;

struct Input {
    id: String,
    name: String,
    connection: Connection,
}

/// The patch bay.
struct Patch {
    /// Those that are free.
    lines: Vec<Line>,
    home: Sender<Line>,
    homecoming: Receiver<Line>,
    wish: MidiWish,
    since: Instant,
    board: Arc<Mutex<Board>>,
    /// For looking only.
    scan: Option<Scan>,
    own: Option<Connection>,
    inputs: Vec<Input>,
}

struct Scan {
    input: MidiInput,
    /// Sees our own port; when it does not, the MIDI server was restarted and all our ports are dead.
    #[cfg(feature = "jack")]
    output: midir::MidiOutput,
}

impl Scan {
    fn new() -> Result<Self, MidiError> {
        #[cfg(all(target_os = "linux", not(feature = "jack")))]
        if !std::path::Path::new("/dev/snd/seq").exists() {
            // Asking further would only make the ALSA library complain in its own words.
            return Err(MidiError::NoSequencer);
        }
        let because = |_| MidiError::NoAnswer;
        hush();
        let mut input = MidiInput::new("ullage scan").map_err(because)?;
        input.ignore(Ignore::All);
        Ok(Self {
            input,
            #[cfg(feature = "jack")]
            output: midir::MidiOutput::new("ullage scan").map_err(because)?,
        })
    }

    #[cfg(feature = "jack")]
    fn sees_us(&self) -> bool {
        let names = self.output.ports().into_iter();
        names
            .filter_map(|port| self.output.port_name(&port).ok())
            .any(|name| name.starts_with(NAME))
    }

    #[cfg(not(feature = "jack"))]
    fn sees_us(&self) -> bool {
        true
    }
}

impl Patch {
    fn run(&mut self, asked: &Receiver<Ask>) {
        let mut wait = LOOK;
        loop {
            let there = self.look();
            wait = if there {
                LOOK
            } else {
                (wait * 2).min(LONGEST_WAIT)
            };
            match asked.recv_timeout(wait) {
                Ok(Ask::HangUp(done)) => {
                    self.hang_up();
                    // Whoever asked has waited long enough and gone on.
                    let _ = done.send(());
                    // The server has to come back first.
                    wait = LOOK;
                    if let Err(RecvTimeoutError::Disconnected) = asked.recv_timeout(wait) {
                        return;
                    }
                }
                Ok(Ask::Look) => wait = LOOK,
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => return,
            }
        }
    }

    /// Brings connections and ports into line; false if there is no MIDI.
    fn look(&mut self) -> bool {
        if self.own.is_some() && self.scan.as_ref().is_some_and(|scan| !scan.sees_us()) {
            self.hang_up();
        }
        if self.scan.is_none() {
            match Scan::new() {
                Ok(scan) => self.scan = Some(scan),
                Err(error) => {
                    self.show(Some(error.to_string()));
                    return false;
                }
            }
            self.open_own();
        }
        let ports = self.ports();
        self.unplug(&ports);
        for (port, name) in &ports {
            if self.wish.wants(name) && !self.inputs.iter().any(|input| input.id == port.id()) {
                self.plug(port, name);
            }
        }
        self.show(None);
        true
    }

    fn ports(&self) -> Vec<(MidiInputPort, String)> {
        let Some(scan) = &self.scan else {
            return Vec::new();
        };
        let named = |port: MidiInputPort| {
            let name = scan.input.port_name(&port).ok()?;
            Some((port, name))
        };
        scan.input.ports().into_iter().filter_map(named).collect()
    }

    /// Everything is dead: begin anew.
    fn hang_up(&mut self) {
        self.own = None;
        self.inputs.clear();
        self.scan = None;
        self.take_home();
        self.mark_all_gone();
    }

    fn unplug(&mut self, ports: &[(MidiInputPort, String)]) {
        let is_there = |input: &Input| ports.iter().any(|(port, _)| port.id() == input.id);
        let gone: Vec<Input> = self
            .inputs
            .extract_if(.., |input| !is_there(input))
            .collect();
        for input in gone {
            self.mark(&input.name, false);
            // The callback's drop sends the line home.
            drop(input.connection);
        }
        self.take_home();
    }

    fn take_home(&mut self) {
        while let Ok(mut line) = self.homecoming.try_recv() {
            line.let_go();
            self.lines.push(line);
        }
    }

    fn plug(&mut self, port: &MidiInputPort, name: &str) {
        let (Some(line), Ok(mut input)) = (self.lines.pop(), MidiInput::new("ullage in")) else {
            return;
        };
        input.ignore(Ignore::All);
        let (lease, last_us, since) = self.lend(line, name);
        let hear = move |_, bytes: &[u8], lease: &mut Lease<Line>| {
            lease.get().hear(bytes, since, &last_us);
        };
        if let Ok(connection) = input.connect(port, "in", hear, lease) {
            self.inputs.push(Input {
                id: port.id(),
                name: name.to_owned(),
                connection,
            });
            self.mark(name, true);
        }
    }

    fn lend(&self, line: Line, name: &str) -> (Lease<Line>, Arc<AtomicU64>, Instant) {
        let mut board = self.board.lock().unwrap_or_else(PoisonError::into_inner);
        let last_us = match board.ports.iter().find(|(known, ..)| known == name) {
            Some((_, _, last_us)) => Arc::clone(last_us),
            None => {
                let last_us = Arc::new(AtomicU64::new(NEVER));
                board
                    .ports
                    .push((name.to_owned(), false, Arc::clone(&last_us)));
                last_us
            }
        };
        (Lease::new(line, self.home.clone()), last_us, self.since)
    }

    #[cfg(unix)]
    fn open_own(&mut self) {
        use midir::os::unix::VirtualInput;
        if !self.wish.virtual_port {
            return;
        }
        let (Some(line), Ok(mut input)) = (self.lines.pop(), MidiInput::new(NAME)) else {
            return;
        };
        input.ignore(Ignore::All);
        let name = "ullage (our own)";
        let (lease, last_us, since) = self.lend(line, name);
        let hear = move |_, bytes: &[u8], lease: &mut Lease<Line>| {
            lease.get().hear(bytes, since, &last_us);
        };
        self.own = input.create_virtual(NAME, hear, lease).ok();
        self.mark(name, self.own.is_some());
    }

    #[cfg(not(unix))]
    fn open_own(&mut self) {}

    fn mark(&self, name: &str, connected: bool) {
        let mut board = self.board.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(port) = board.ports.iter_mut().find(|(known, ..)| known == name) {
            port.1 = connected;
        }
    }

    fn mark_all_gone(&self) {
        let mut board = self.board.lock().unwrap_or_else(PoisonError::into_inner);
        board.ports.iter_mut().for_each(|port| port.1 = false);
    }

    fn show(&self, because: Option<String>) {
        let mut board = self.board.lock().unwrap_or_else(PoisonError::into_inner);
        board.because = because;
    }
}

/// The MIDI inputs there are, by name.
///
/// # Errors
/// Why there is no MIDI.
pub fn list_midi() -> Result<Vec<String>, MidiError> {
    let scan = Scan::new()?;
    let name = |port| scan.input.port_name(&port).ok();
    Ok(scan.input.ports().into_iter().filter_map(name).collect())
}

#[cfg(test)]
mod tests {
    use super::super::bridge::wires;
    use super::*;

    #[test]
    fn a_port_is_wanted_by_a_part_of_its_name_in_any_case() {
        let mut wish = MidiWish::default();
        assert!(wish.wants("anything"));
        wish.ports = vec!["breath".to_owned(), "KEYS".to_owned()];
        assert!(wish.wants("Breath Controller 1") && wish.wants("stage keys"));
        assert!(!wish.wants("clock"));
    }

    #[test]
    fn a_port_that_goes_lets_go_on_the_channels_it_spoke_on() {
        let (mut inside, mut wires) = wires();
        let (heard, mut shown) = rtrb::RingBuffer::new(8);
        let queue = wires.midi.pop().expect("there are many");
        let mut line = Line {
            queue,
            heard,
            channels: 0,
        };
        let last_us = AtomicU64::new(NEVER);
        line.hear(&[0x92, 60, 100, 0x9F, 61, 100], Instant::now(), &last_us);
        assert_eq!(line.channels, 0b1000_0000_0000_0100);
        assert_eq!(shown.pop().map(|heard| heard.bytes), Ok([0x92, 60, 100]));
        assert_ne!(last_us.load(Ordering::Relaxed), NEVER);
        line.let_go();
        assert_eq!(line.channels, 0);
        let last = inside.sources.last_mut().expect("there are many");
        let sent: Vec<Command> = std::iter::from_fn(|| last.pop().ok())
            .map(|t| t.command)
            .collect();
        let expected = [
            [0x92, 60, 100],
            [0x9F, 61, 100],
            [0xB2, 64, 0],
            [0xB2, 123, 0],
            [0xBF, 64, 0],
            [0xBF, 123, 0],
        ];
        assert_eq!(sent, expected.map(|bytes| Command::Midi { bytes }));
    }
}
