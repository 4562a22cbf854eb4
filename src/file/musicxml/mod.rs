//! MusicXML, the format in which notation programs hand pieces on: text or packed, to a [`Score`].
//!
//! What is read: parts and their names, notes with their chords, ties, voices and staves, rests, metres,
//! tempos (from `sound` and from metronome marks), loudness (from `sound`, from notes, and from marks),
//! transposing instruments, pick-ups, repeats with their endings, jumps, and parts written bar by bar
//! (`score-timewise`). Repeats are written out: bars are counted as they are played. What bottles cannot
//! play is passed over: lyrics, articulation, unpitched percussion, cue notes. What is passed over and
//! would be heard is told in [`Read::remarks`].
//!
//! *MusicXML 4.0*, W3C Music Notation Community Group, 2021.

mod measure;
mod order;
mod packed;
mod unroll;
mod write;

pub use write::{Spelled, to_musicxml};

use roxmltree::{Document, Node, ParsingOptions};

use super::smf::Percussion;
use crate::score::Score;
use measure::Part;

/// The most elements, attributes and texts in a file.
const MOST_NODES: u32 = 8_000_000;

/// A file that is no MusicXML, or is broken.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum MusicXmlError {
    /// It is no XML. The reader's message ends with line and column.
    #[error("the XML is broken: {reason}")]
    Xml {
        /// What is wrong, and where.
        reason: String,
    },
    /// XML of another kind.
    #[error(
        "line {line}: <{found}> is not a score: <score-partwise> or <score-timewise> is expected"
    )]
    NoScore {
        /// Where it is.
        line: u32,
        /// The outermost element.
        found: String,
    },
    /// An element that makes no sense.
    #[error("line {line}: {what}")]
    Element {
        /// Where it is.
        line: u32,
        /// What is wrong there.
        what: String,
    },
    /// More than is read.
    #[error("{what}: more than {limit}, the most that is read")]
    TooMuch {
        /// Of what.
        what: &'static str,
        /// The most.
        limit: u64,
    },
    /// A packed file whose packing is broken.
    #[error("the packed file cannot be unpacked: {reason}")]
    Packed {
        /// What is wrong.
        reason: String,
    },
}

/// What was read.
#[derive(Clone, Debug, PartialEq)]
pub struct Read {
    /// The piece.
    pub score: Score,
    /// What of it is not played as written, each once.
    pub remarks: Vec<String>,
}

/// Whether these bytes begin like MusicXML, packed or as text.
#[must_use]
pub fn looks_like(bytes: &[u8]) -> bool {
    let text = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
    let begins = text.trim_ascii_start().starts_with(b"<");
    begins || packed::is_packed(bytes) || is_utf16(bytes)
}

/// Reads a file, packed or as text.
///
/// # Errors
/// [`MusicXmlError`] names the line and what is wrong there.
///
/// ```
/// use ullage::file::musicxml::from_musicxml;
/// use ullage::file::smf::Percussion;
/// let text = "<score-partwise><part-list><score-part id='P'><part-name>air</part-name></score-part>\
///     </part-list><part id='P'><measure number='1'><attributes><divisions>1</divisions></attributes>\
///     <note><pitch><step>A</step><octave>4</octave></pitch><duration>4</duration></note>\
///     </measure></part></score-partwise>";
/// let read = from_musicxml(text.as_bytes(), Percussion::Skip).unwrap();
/// assert_eq!((read.score.notes[0].key, read.score.notes[0].stop_s), (69, 2.0));
/// ```
pub fn from_musicxml(bytes: &[u8], percussion: Percussion) -> Result<Read, MusicXmlError> {
    if packed::is_packed(bytes) {
        return from_text(&text(&packed::unpacked(bytes)?)?, percussion);
    }
    from_text(&text(bytes)?, percussion)
}

fn is_utf16(bytes: &[u8]) -> bool {
    bytes.starts_with(&[0xFF, 0xFE]) || bytes.starts_with(&[0xFE, 0xFF])
}

/// The text of a file in UTF-8 or, with its mark, UTF-16: what the standard allows.
fn text(bytes: &[u8]) -> Result<String, MusicXmlError> {
    let broken = |reason: String| MusicXmlError::Xml { reason };
    if is_utf16(bytes) {
        let little = bytes[0] == 0xFF;
        let units = bytes[2..].chunks_exact(2).map(|pair| match little {
            true => u16::from_le_bytes([pair[0], pair[1]]),
            false => u16::from_be_bytes([pair[0], pair[1]]),
        });
        return char::decode_utf16(units)
            .collect::<Result<String, _>>()
            .map_err(|error| broken(format!("it is not UTF-16 text: {error}")));
    }
    let bytes = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
    String::from_utf8(bytes.to_vec()).map_err(|error| {
        let at = error.utf8_error().valid_up_to();
        let line = 1 + bytes[..at].iter().filter(|b| **b == b'\n').count();
        broken(format!("byte {at} (line {line}) is not UTF-8 text"))
    })
}

fn from_text(text: &str, percussion: Percussion) -> Result<Read, MusicXmlError> {
    let options = ParsingOptions {
        // Every MusicXML file names its DTD, which is not fetched.
        allow_dtd: true,
        nodes_limit: MOST_NODES,
        ..ParsingOptions::default()
    };
    let document = Document::parse_with_options(text, options).map_err(|error| {
        let reason = match error {
            roxmltree::Error::NodesLimitReached => format!("more than {MOST_NODES} elements"),
            other => format!("line {}: {other}", other.pos().row),
        };
        MusicXmlError::Xml { reason }
    })?;
    let root = document.root_element();
    let timewise = match root.tag_name().name() {
        "score-partwise" => false,
        "score-timewise" => true,
        other => {
            return Err(MusicXmlError::NoScore {
                line: line_of(root),
                found: other.to_owned(),
            });
        }
    };
    let mut parts = Vec::new();
    for (id, measures) in laid_out(root, timewise) {
        parts.push(Part::read(root, &id, &measures)?);
    }
    unroll::unrolled(parts, percussion)
}

/// A measure of a part: its element, and the one that holds its notes.
#[derive(Clone, Copy)]
struct MeasureNode<'a> {
    outer: Node<'a, 'a>,
    inner: Node<'a, 'a>,
}

/// The measures of each part, by its name for itself, in the order of their first appearance.
fn laid_out<'a>(root: Node<'a, 'a>, timewise: bool) -> Vec<(String, Vec<MeasureNode<'a>>)> {
    let mut parts: Vec<(String, Vec<MeasureNode<'a>>)> = Vec::new();
    let mut add = |part: Node<'a, 'a>, nodes: MeasureNode<'a>, count: usize| {
        let id = part.attribute("id").unwrap_or("").to_owned();
        let found = parts.iter().position(|(known, _)| *known == id);
        let index = found.unwrap_or_else(|| {
            parts.push((id, Vec::new()));
            parts.len() - 1
        });
        if parts[index].1.len() <= count {
            parts[index].1.push(nodes);
        }
    };
    if timewise {
        for (count, measure) in children(root, "measure").enumerate() {
            for part in children(measure, "part") {
                let nodes = MeasureNode {
                    outer: measure,
                    inner: part,
                };
                add(part, nodes, count);
            }
        }
    } else {
        for part in children(root, "part") {
            for measure in children(part, "measure") {
                let nodes = MeasureNode {
                    outer: measure,
                    inner: measure,
                };
                add(part, nodes, usize::MAX);
            }
        }
    }
    parts
}

fn children<'a>(node: Node<'a, 'a>, name: &'static str) -> impl Iterator<Item = Node<'a, 'a>> {
    node.children()
        .filter(move |child| child.has_tag_name(name))
}

fn child<'a>(node: Node<'a, 'a>, name: &'static str) -> Option<Node<'a, 'a>> {
    children(node, name).next()
}

fn words<'a>(node: Node<'a, 'a>) -> &'a str {
    node.text().unwrap_or("").trim()
}

fn line_of(node: Node) -> u32 {
    node.document().text_pos_at(node.range().start).row
}

fn wrong(node: Node, what: impl Into<String>) -> MusicXmlError {
    let (line, what) = (line_of(node), what.into());
    MusicXmlError::Element { line, what }
}

/// A finite number inside an element, within limits.
fn number(node: Node, low: f64, high: f64) -> Result<f64, MusicXmlError> {
    let text = node.text().unwrap_or("").trim();
    let value = text
        .parse::<f64>()
        .ok()
        .filter(|v| (low..=high).contains(v));
    value.ok_or_else(|| {
        let name = node.tag_name().name();
        let shown: String = text.chars().take(40).collect();
        wrong(
            node,
            format!("<{name}> is {shown:?}, and must be {low} to {high}"),
        )
    })
}
