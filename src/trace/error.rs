//! Why a picture gives no outline.

/// Why a picture gives no outline.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum TraceError {
    /// It is no picture of a kind that is read, or a broken one.
    #[error("it is not a JPEG, PNG or WebP that can be read: {source}")]
    Picture {
        /// What the reader says.
        source: image::ImageError,
    },
    /// Too many pixels.
    #[error("{width} × {height} pixels are more than {} million", super::MAX_PIXELS / 1_000_000)]
    TooLarge {
        /// Pixels across.
        width: u32,
        /// Pixels down.
        height: u32,
    },
    /// Too few pixels.
    #[error("{width} × {height} pixels are too few: at least 120 each way")]
    TooSmall {
        /// Pixels across.
        width: u32,
        /// Pixels down.
        height: u32,
    },
    /// A height that no bottle has.
    #[error("a bottle of {height_mm} mm is outside 20 to 1000 mm")]
    Height {
        /// As given.
        height_mm: f64,
    },
    /// A focal length that no camera has.
    #[error("a focal length of {mm} mm (as on 35 mm film) is outside 10 to 1000 mm")]
    Focal {
        /// As given.
        mm: f64,
    },
    /// Nothing in the picture is its own mirror image.
    #[error("nothing in the picture has two sides that mirror each other")]
    NoMirror,
    /// Nothing stands out from the background.
    #[error("nothing stands out from the background along the middle of the bottle")]
    NoBottle,
    /// It leans too far.
    #[error("the bottle leans by {degrees:.0}°, more than 8°")]
    Tilted {
        /// From upright.
        degrees: f64,
    },
    /// It is not all in the picture.
    #[error("the bottle is cut off at the {edge} of the picture")]
    CutOff {
        /// Which edge.
        edge: &'static str,
    },
    /// So small that pixels are millimetres.
    #[error("the bottle is {pixels} pixels high in the picture; at least 100 are needed")]
    TooFar {
        /// Its height.
        pixels: usize,
    },
    /// No camera sees a bottle so.
    #[error("no camera would see a bottle of that size like this")]
    Camera,
    /// There is no card beside the bottle.
    #[error("there is no bank card (85.6 × 54 mm) in the picture beside the bottle")]
    NoCard,
    /// What was found has no plausible outline.
    #[error("what was found has no outline of a bottle")]
    Outline,
    /// The overlay could not be encoded.
    #[error("the overlay could not be written: {source}")]
    Overlay {
        /// What the writer says.
        source: image::ImageError,
    },
}

impl TraceError {
    /// What to try instead.
    #[must_use]
    pub fn remedy(&self) -> &'static str {
        match self {
            Self::Picture { .. } => "a JPEG, PNG or WebP as the camera wrote it",
            Self::TooLarge { .. } => {
                "a smaller picture: 3,000 pixels along the bottle are more than enough"
            }
            Self::TooSmall { .. } | Self::TooFar { .. } => {
                "a picture as the camera wrote it, with the bottle filling most of it"
            }
            Self::Height { .. } => "the height in millimetres",
            Self::Focal { .. } => "the focal length as on 35 mm film, or none",
            Self::NoCard => {
                "the height instead, or a card that stands in one colour clear of the bottle"
            }
            Self::CutOff { .. } => "a picture with some background all around the bottle",
            Self::Tilted { .. } => "holding the camera upright",
            Self::NoMirror
            | Self::NoBottle
            | Self::Camera
            | Self::Outline
            | Self::Overlay { .. } => {
                "a plain bright background, the bottle upright and alone, all of it in the picture"
            }
        }
    }
}
