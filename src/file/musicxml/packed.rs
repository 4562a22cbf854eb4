//! Packed files (.mxl): a ZIP archive whose `META-INF/container.xml` names the score.

use std::io::{Cursor, Read};

use zip::ZipArchive;

use super::{MusicXmlError, child, text};

/// The most that is unpacked, bytes: what is larger was packed to do harm.
const MOST_BYTES: u64 = 64 << 20;
const CONTAINER: &str = "META-INF/container.xml";

pub(super) fn is_packed(bytes: &[u8]) -> bool {
    bytes.starts_with(b"PK\x03\x04")
}

/// The bytes of the score in a packed file.
pub(super) fn unpacked(bytes: &[u8]) -> Result<Vec<u8>, MusicXmlError> {
    let mut archive = ZipArchive::new(Cursor::new(bytes)).map_err(|error| broken(&error))?;
    let name = if archive.index_for_name(CONTAINER).is_some() {
        let container = file(&mut archive, CONTAINER)?;
        root_file(&text(&container)?)?
    } else {
        // Files without a table of contents are about; the first score is the one.
        let names = archive.file_names();
        let mut scores = names.filter(|n| n.ends_with(".xml") || n.ends_with(".musicxml"));
        scores
            .next()
            .map(str::to_owned)
            .ok_or_else(|| broken(&"there is no score in it"))?
    };
    file(&mut archive, &name)
}

fn broken(reason: &dyn std::fmt::Display) -> MusicXmlError {
    MusicXmlError::Packed {
        reason: reason.to_string(),
    }
}

fn file(archive: &mut ZipArchive<Cursor<&[u8]>>, name: &str) -> Result<Vec<u8>, MusicXmlError> {
    let file = archive
        .by_name(name)
        .map_err(|error| broken(&format!("{name}: {error}")))?;
    let mut bytes = Vec::new();
    // What the archive says of its lengths is not relied on.
    let mut limited = file.take(MOST_BYTES + 1);
    let done = limited.read_to_end(&mut bytes);
    done.map_err(|error| broken(&format!("{name}: {error}")))?;
    if bytes.len() as u64 > MOST_BYTES {
        let what = "bytes unpacked";
        let limit = MOST_BYTES;
        return Err(MusicXmlError::TooMuch { what, limit });
    }
    Ok(bytes)
}

/// The first root file is the score.
fn root_file(container: &str) -> Result<String, MusicXmlError> {
    let document = roxmltree::Document::parse(container)
        .map_err(|error| broken(&format!("{CONTAINER}: {error}")))?;
    let files = child(document.root_element(), "rootfiles");
    let first = files.and_then(|files| child(files, "rootfile"));
    let path = first.and_then(|first| first.attribute("full-path").map(str::to_owned));
    path.ok_or_else(|| broken(&format!("{CONTAINER} names no <rootfile>")))
}
