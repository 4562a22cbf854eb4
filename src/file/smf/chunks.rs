//! The outer shape of the file: a header and tracks, each with its length.
//!
//! Read here and not by the library, which takes a file that is cut short for a shorter piece and
//! cannot say where it broke.

use super::SmfError;
use super::clock::Division;

/// Bytes of a chunk's name and length.
const CHUNK_HEAD: usize = 8;

/// Bytes of the header's three fields.
const HEADER_BYTES: usize = 6;

/// The events of one track, as they stand in the file.
pub struct TrackBytes<'a> {
    /// Where they begin in the file.
    pub offset: usize,
    pub bytes: &'a [u8],
}

/// A file taken apart.
pub struct Chunks<'a> {
    /// Whether the tracks follow one another (format 2) or sound together.
    pub sequential: bool,
    pub division: Division,
    pub tracks: Vec<TrackBytes<'a>>,
    /// Why there are no more tracks than these; the last may be cut short.
    pub broken: Option<SmfError>,
}

impl<'a> Chunks<'a> {
    pub fn read(file: &'a [u8]) -> Result<Self, SmfError> {
        let start = unwrap_riff(file);
        let name = file.get(start..start + 4).unwrap_or_default();
        if name != b"MThd" {
            let found = file.get(start..).unwrap_or_default();
            let found = String::from_utf8_lossy(&found[..found.len().min(4)]).into_owned();
            return Err(SmfError::NotMidi { found });
        }
        let (header_at, header, mut at) = chunk(file, start, "the header")?;
        if header.len() < HEADER_BYTES {
            return Err(SmfError::Header {
                what: "the header's length",
                at: start + 4,
                found: header.len() as i64,
                expected: "6 or more",
            });
        }
        let format = field(header, 0);
        if format > 2 {
            return Err(SmfError::Header {
                what: "the format",
                at: header_at,
                found: i64::from(format),
                expected: "0, 1 or 2",
            });
        }
        let promised = field(header, 2);
        let division = Division::read(field(header, 4), header_at + 4)?;
        let (tracks, mut broken) = tracks(file, &mut at, usize::from(promised));
        if broken.is_none() && tracks.len() < usize::from(promised) {
            broken = Some(SmfError::TrackCount {
                at: header_at,
                promised,
                found: tracks.len(),
            });
        }
        Ok(Self {
            sequential: format == 2,
            division,
            tracks,
            broken,
        })
    }
}

/// The tracks from `at` on, and why they end too early.
fn tracks<'a>(
    file: &'a [u8],
    at: &mut usize,
    promised: usize,
) -> (Vec<TrackBytes<'a>>, Option<SmfError>) {
    let mut tracks = Vec::new();
    while tracks.len() < promised && file.len() > *at {
        let is_track = file[*at..].starts_with(b"MTrk");
        match chunk(file, *at, "a track") {
            Ok((offset, bytes, next)) => {
                // The standard asks readers to pass over chunks that they do not know.
                if is_track {
                    tracks.push(TrackBytes { offset, bytes });
                }
                *at = next;
            }
            Err(error) => {
                let offset = *at + CHUNK_HEAD;
                if let Some(bytes) = file.get(offset..).filter(|_| is_track) {
                    tracks.push(TrackBytes { offset, bytes });
                }
                return (tracks, Some(error));
            }
        }
    }
    (tracks, None)
}

/// Where the MIDI file begins inside a RIFF file of type RMID, or 0.
fn unwrap_riff(file: &[u8]) -> usize {
    if !file.starts_with(b"RIFF") || file.get(8..12) != Some(b"RMID") {
        return 0;
    }
    let mut at = 12;
    while let Some(head) = file.get(at..at + CHUNK_HEAD) {
        if head.starts_with(b"data") {
            return at + CHUNK_HEAD;
        }
        let length = u32::from_le_bytes(head[4..8].try_into().expect("four bytes")) as usize;
        // RIFF chunks are padded to even lengths.
        at += CHUNK_HEAD + length + length % 2;
    }
    0
}

/// The chunk at a place: where its bytes begin, its bytes, and where the next one is.
fn chunk<'a>(
    file: &'a [u8],
    start: usize,
    what: &'static str,
) -> Result<(usize, &'a [u8], usize), SmfError> {
    let truncated = |needed: u64| SmfError::Truncated {
        what,
        start,
        needed,
        length: file.len(),
    };
    let head = file
        .get(start..start + CHUNK_HEAD)
        .ok_or_else(|| truncated(CHUNK_HEAD as u64))?;
    let length = u32::from_be_bytes(head[4..8].try_into().expect("four bytes"));
    let offset = start + CHUNK_HEAD;
    let end = offset.saturating_add(length as usize);
    let bytes = file
        .get(offset..end)
        .ok_or_else(|| truncated(CHUNK_HEAD as u64 + u64::from(length)))?;
    Ok((offset, bytes, end))
}

/// Two bytes of the header, which is long enough.
fn field(header: &[u8], at: usize) -> u16 {
    u16::from_be_bytes([header[at], header[at + 1]])
}
