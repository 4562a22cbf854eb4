//! A photograph of the bottle that is described: it is traced on a thread of its own, and its outline joins the answers.

use std::path::{Path, PathBuf};
use std::sync::mpsc::{self, Receiver};
use std::thread;

/// How the name of a photograph ends.
const PICTURES: [&str; 4] = ["jpg", "jpeg", "png", "webp"];

/// Whether a file is a photograph, by its name.
pub(super) fn is_picture(path: &Path) -> bool {
    let ending = path.extension().and_then(|ending| ending.to_str());
    ending.is_some_and(|ending| {
        PICTURES
            .iter()
            .any(|picture| ending.eq_ignore_ascii_case(picture))
    })
}

/// A photograph and what is seen in it.
#[derive(Clone, Debug, PartialEq)]
pub struct Picture {
    /// Its file.
    pub path: PathBuf,
    /// How far it is.
    pub seen: Seen,
}

/// What is seen in a photograph.
#[derive(Clone, Debug, PartialEq)]
pub enum Seen {
    /// It waits for the height of the bottle.
    Waiting,
    /// It is being traced.
    Tracing,
    /// The outline of a bottle.
    Outline(Box<Found>),
    /// None, and why.
    Wrong(String),
}

/// An outline that was found.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// Heights above the table and outer diameters, mm.
    pub outline_mm: Vec<[f64; 2]>,
    /// Its largest errors (95 %): of the radii, mm, and of all of them together, percent.
    pub radius_mm: f64,
    /// The latter.
    pub scale_pct: f64,
    /// What is doubtful, and what to do about it.
    pub warnings: Vec<String>,
    /// Pixels across and down of the picture with the outline over it.
    pub size: [usize; 2],
    /// Red, green and blue of each.
    pub rgb: Vec<u8>,
}

/// What is known of the bottle beside its picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Beside {
    /// Its height, mm.
    pub height_mm: f64,
    /// What it holds, ml.
    pub capacity_ml: Option<f64>,
}

/// Traces a photograph on a thread of its own.
pub(super) fn look(path: PathBuf, beside: Beside) -> Receiver<Seen> {
    let (tell, told) = mpsc::channel();
    let look = move || {
        let seen = match found(&path, beside) {
            Ok(found) => Seen::Outline(Box::new(found)),
            Err(because) => Seen::Wrong(because),
        };
        // The window may be gone by now.
        let _ = tell.send(seen);
    };
    // Without a thread the receiver finds its channel closed.
    let _ = thread::Builder::new()
        .name("ullage-trace".to_owned())
        .spawn(look);
    told
}

#[cfg(feature = "photographs")]
fn found(path: &Path, beside: Beside) -> Result<Found, String> {
    use crate::file::read;
    use crate::number::rounded;
    use crate::trace::{MAX_BYTES, Scale, TraceSpec, trace};
    use crate::units::{Length, Volume};

    /// Most pixels of the picture in the window, across or down.
    const SHOWN_PX: u32 = 1_000;

    let bytes = read::bytes(path, MAX_BYTES, "of a picture").map_err(|error| error.to_string())?;
    let spec = TraceSpec {
        scale: Scale::Height(Length::from_mm(beside.height_mm)),
        focal_35mm: None,
        capacity: beside.capacity_ml.map(Volume::from_ml),
    };
    let traced = trace(&bytes, &spec).map_err(|error| error.to_string())?;
    let points = traced.outline.diameters_mm().into_iter();
    let overlay = traced.overlay_rgb(SHOWN_PX);
    Ok(Found {
        outline_mm: points
            .map(|[height, diameter]| [rounded(height, 1), rounded(diameter, 2)])
            .collect(),
        // Two standard deviations.
        radius_mm: rounded((2.0 * traced.outline.radius_error().mm()).min(20.0), 1),
        scale_pct: rounded((200.0 * traced.outline.scale_error()).min(20.0), 1),
        warnings: (traced.doubts.iter())
            .map(|doubt| format!("{doubt}: {}", crate::report::words::plain(doubt.remedy())))
            .collect(),
        size: [overlay.width as usize, overlay.height as usize],
        rgb: overlay.rgb,
    })
}

#[cfg(not(feature = "photographs"))]
fn found(_path: &Path, _beside: Beside) -> Result<Found, String> {
    Err("this build reads no photographs".to_owned())
}
