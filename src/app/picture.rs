//! A photograph of the bottle that is described: its sides are followed on a thread of its own, and what they measure joins
//! the answers. What was seen wrongly is put right by hand, point by point.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::mpsc::{self, Receiver};
use std::thread;

#[cfg(not(feature = "photographs"))]
use super::blind::{Followed, Grip, Hand};
use super::gesture::Gesture;
use super::history::History;
use crate::index::GripIndex;
#[cfg(feature = "photographs")]
use crate::trace::{Followed, Grip, Hand};
use crate::units::text::length;

/// How the name of a photograph ends.
const PICTURES: [&str; 4] = ["jpg", "jpeg", "png", "webp"];
/// Most pixels of the picture in the window, across or down.
#[cfg(feature = "photographs")]
const SHOWN_PX: u32 = 1_000;

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
#[derive(Clone, Debug)]
pub struct Picture {
    /// Its file.
    pub path: PathBuf,
    /// How far it is.
    pub seen: Seen,
    /// The bottle's part of it, once its sides have been followed.
    pub photo: Option<Arc<Photo>>,
    /// The focal length as on 35 mm film, as it is typed; unknown if nothing.
    pub focal: String,
    /// What is wrong with it.
    pub focal_wrong: Option<String>,
    /// A bank card beside the bottle brings it to scale, not the bottle's height.
    pub by_card: bool,
    /// What is wrong with what brings it to scale.
    pub scale_wrong: Option<String>,
    /// Why the last move of the hand was not taken.
    pub refused: Option<String>,
    hand: Hand,
    moves: History<Hand>,
    followed: Option<Arc<Followed>>,
}

/// What is seen in a photograph.
#[derive(Clone, Debug, PartialEq)]
pub enum Seen {
    /// Its sides are being followed.
    Tracing,
    /// They wait for what brings them to scale.
    Waiting,
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
    /// What a hand can move, from the table up.
    pub grips: Vec<Grip>,
    /// Both ends of the axis, the mouth and the base, pixels of the photograph.
    pub ends: [[f64; 2]; 2],
    /// Where the outline is seen, left and right from the table up, pixels of the photograph.
    pub lines: [Vec<[f64; 2]>; 2],
    /// Pixels to a millimetre at the axis.
    pub px_per_mm: f64,
    /// How far away the camera seems to have been, mm.
    pub distance_mm: f64,
}

/// The bottle's part of a photograph.
#[derive(Clone, Debug, PartialEq)]
pub struct Photo {
    /// Pixels across and down.
    pub size: [usize; 2],
    /// Red, green and blue of each.
    pub rgb: Vec<u8>,
    /// Its left upper corner in the photograph, and its width and height there, pixels of the photograph.
    pub from: [f64; 2],
    /// The latter.
    pub span: [f64; 2],
}

/// What can be asked of a photograph.
#[derive(Clone, Debug, PartialEq)]
pub enum PictureAsk {
    /// The focal length of its lens as it is typed.
    Focal(String),
    /// A bank card brings it to scale, or the height does.
    ByCard(bool),
    /// A hand moves something.
    Move(Moved, Gesture),
    /// Everything as it was seen.
    AsSeen,
}

/// What a hand moves, and where to; pixels of the photograph.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Moved {
    /// The glass is so much further out than it was seen, on both sides.
    Grip(GripIndex, f64),
    /// The upper end of the axis is there.
    Mouth([f64; 2]),
    /// The lower end is there.
    Base([f64; 2]),
}

impl Moved {
    /// Puts it there; what is nowhere stays.
    pub(super) fn put(self, hand: &mut Hand) {
        match self {
            Self::Grip(grip, out_px) if out_px.is_finite() => {
                if let Some(out) = hand.out_px.get_mut(grip.place()) {
                    *out = out_px;
                }
            }
            Self::Mouth(at) if at.iter().all(|px| px.is_finite()) => hand.mouth = Some(at),
            Self::Base(at) if at.iter().all(|px| px.is_finite()) => hand.base = Some(at),
            Self::Grip(..) | Self::Mouth(_) | Self::Base(_) => {}
        }
    }
}

/// What is known of the bottle beside its picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Beside {
    /// Its height, mm.
    pub height_mm: Option<f64>,
    /// What it holds, ml.
    pub capacity_ml: Option<f64>,
}

/// A photograph in which the sides of a bottle have been followed.
pub(super) struct Looked {
    followed: Followed,
    photo: Photo,
    focal_35mm: Option<f64>,
}

/// What a photograph that was looked at has to show, or why nothing.
pub(super) type LookedAt = Result<Box<Looked>, String>;

/// Why a photograph gives no outline, by where that is said.
#[cfg_attr(not(feature = "photographs"), allow(dead_code))]
enum Unmeasured {
    /// Beside what brings it to scale.
    Scale(String),
    /// Beside the focal length.
    Focal(String),
    /// Of all of it.
    All(String),
}

impl Picture {
    /// One that is looked at.
    pub(super) fn new(path: PathBuf) -> Self {
        Self {
            path,
            seen: Seen::Tracing,
            photo: None,
            focal: String::new(),
            focal_wrong: None,
            by_card: false,
            scale_wrong: None,
            refused: None,
            hand: Hand::default(),
            moves: History::default(),
            followed: None,
        }
    }

    /// Whether a hand has moved something.
    #[must_use]
    pub fn is_by_hand(&self) -> bool {
        !self.hand.rests()
    }

    /// How many pixels further out than seen a grip is.
    #[must_use]
    pub fn out_px(&self, grip: GripIndex) -> f64 {
        self.hand.out_px[grip]
    }

    /// Whether a move of the hand can be undone, and redone.
    #[must_use]
    pub fn can_undo_redo(&self) -> (bool, bool) {
        self.moves.can()
    }

    /// Takes what its file shows.
    pub(super) fn looked_at(&mut self, looked: LookedAt, beside: Beside) {
        self.hand = Hand::default();
        self.moves.clear();
        match looked {
            Err(because) => {
                (self.followed, self.photo) = (None, None);
                self.seen = Seen::Wrong(because);
            }
            Ok(looked) => {
                let looked = *looked;
                if let Some(mm) = looked.focal_35mm
                    && self.focal.trim().is_empty()
                {
                    self.focal = format!("{mm} mm");
                }
                self.photo = Some(Arc::new(looked.photo));
                self.followed = Some(Arc::new(looked.followed));
                self.measure(beside);
            }
        }
    }

    /// Measures it anew, with what is known beside it now.
    pub(super) fn measure(&mut self, beside: Beside) {
        let Some(followed) = &self.followed else {
            return;
        };
        (self.focal_wrong, self.scale_wrong, self.refused) = (None, None, None);
        let focal_mm = self.focal_mm();
        let measured = measured(
            followed,
            (beside, self.by_card),
            focal_mm.clone().ok().flatten(),
            &self.hand,
        );
        self.focal_wrong = focal_mm.err();
        self.seen = match measured {
            Ok(None) => Seen::Waiting,
            Ok(Some(found)) => Seen::Outline(Box::new(found)),
            Err(Unmeasured::Scale(because)) => {
                self.scale_wrong = Some(because);
                Seen::Waiting
            }
            Err(Unmeasured::Focal(because)) => {
                self.focal_wrong = Some(because);
                Seen::Waiting
            }
            Err(Unmeasured::All(because)) => Seen::Wrong(because),
        };
    }

    /// The focal length as it is typed; nothing if it is not.
    fn focal_mm(&self) -> Result<Option<f64>, String> {
        let text = self.focal.trim();
        if text.is_empty() {
            return Ok(None);
        }
        length(text)
            .map(|length| Some(length.mm()))
            .map_err(|error| error.to_string())
    }

    /// Lets a hand move something, unless nothing can be measured then; says whether something has changed.
    pub(super) fn moved(
        &mut self,
        beside: Beside,
        gesture: Gesture,
        change: impl FnOnce(&mut Hand),
    ) -> bool {
        let before = self.clone();
        change(&mut self.hand);
        if self.hand == before.hand {
            return false;
        }
        self.measure(beside);
        if let Seen::Wrong(because) = &self.seen
            && matches!(before.seen, Seen::Outline(_))
        {
            let refused = Some(because.clone());
            *self = Self { refused, ..before };
            return false;
        }
        self.moves.keep(before.hand, gesture);
        true
    }

    /// One step of the hand back, or forth; says whether there was one.
    pub(super) fn step(&mut self, beside: Beside, back: bool) -> bool {
        let step = if back {
            self.moves.undo(&self.hand)
        } else {
            self.moves.redo(&self.hand)
        };
        let Some(hand) = step else { return false };
        self.hand = hand;
        self.measure(beside);
        true
    }
}

/// Looks at a photograph on a thread of its own.
pub(super) fn look(path: PathBuf) -> Receiver<LookedAt> {
    let (tell, told) = mpsc::channel();
    let look = move || {
        // The window may be gone by now.
        let _ = tell.send(looked(&path));
    };
    // Without a thread the receiver finds its channel closed.
    let _ = thread::Builder::new()
        .name("ullage-trace".to_owned())
        .spawn(look);
    told
}

#[cfg(feature = "photographs")]
fn looked(path: &Path) -> LookedAt {
    use crate::file::read;
    use crate::trace::MAX_BYTES;

    let bytes = read::bytes(path, MAX_BYTES, "of a picture").map_err(|error| error.to_string())?;
    let (followed, shown) = Followed::shown(&bytes, SHOWN_PX).map_err(|error| in_words(&error))?;
    Ok(Box::new(Looked {
        focal_35mm: followed.focal_35mm(),
        followed,
        photo: Photo {
            size: [shown.picture.width as usize, shown.picture.height as usize],
            rgb: shown.picture.rgb,
            from: shown.from,
            span: shown.size,
        },
    }))
}

/// With a way out.
#[cfg(feature = "photographs")]
fn in_words(error: &crate::trace::TraceError) -> String {
    format!("{error}. Try {}", error.remedy())
}

#[cfg(feature = "photographs")]
fn measured(
    followed: &Followed,
    (beside, by_card): (Beside, bool),
    focal_35mm: Option<f64>,
    hand: &Hand,
) -> Result<Option<Found>, Unmeasured> {
    use crate::number::rounded;
    use crate::trace::{Scale, TraceError, TraceSpec};
    use crate::units::{Length, Volume};

    let scale = match (by_card, beside.height_mm) {
        (true, _) => Scale::BankCard,
        (false, Some(mm)) => Scale::Height(Length::from_mm(mm)),
        (false, None) => return Ok(None),
    };
    let spec = TraceSpec {
        scale,
        focal_35mm,
        capacity: beside.capacity_ml.map(Volume::from_ml),
    };
    let measured = followed.measured(&spec, hand).map_err(|error| {
        let words = in_words(&error);
        match error {
            TraceError::Height { .. } | TraceError::NoCard => Unmeasured::Scale(words),
            TraceError::Focal { .. } => Unmeasured::Focal(words),
            _ => Unmeasured::All(words),
        }
    })?;
    let points = measured.outline.diameters_mm().into_iter();
    Ok(Some(Found {
        outline_mm: points
            .map(|[height, diameter]| [rounded(height, 1), rounded(diameter, 2)])
            .collect(),
        // Two standard deviations.
        radius_mm: rounded((2.0 * measured.outline.radius_error().mm()).min(20.0), 1),
        scale_pct: rounded((200.0 * measured.outline.scale_error()).min(20.0), 1),
        warnings: (measured.doubts.iter())
            .map(|doubt| format!("{doubt}: {}", of_the_window(doubt.remedy())))
            .collect(),
        grips: measured.grips,
        ends: measured.ends,
        lines: measured.lines,
        px_per_mm: measured.px_per_mm,
        distance_mm: measured.view.distance.mm(),
    }))
}

/// A remedy in the words of the window.
#[cfg(feature = "photographs")]
fn of_the_window(remedy: &str) -> String {
    crate::report::words::plain(remedy)
        .replace("--focal-mm", "the focal length")
        .replace("the overlay", "the picture")
}

#[cfg(not(feature = "photographs"))]
fn looked(_path: &Path) -> LookedAt {
    Err("this build reads no photographs. Try one that does".to_owned())
}

#[cfg(not(feature = "photographs"))]
fn measured(
    followed: &Followed,
    _beside: (Beside, bool),
    _focal_35mm: Option<f64>,
    _hand: &Hand,
) -> Result<Option<Found>, Unmeasured> {
    match *followed {}
}
