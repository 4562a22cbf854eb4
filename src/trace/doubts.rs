//! What is wrong with a traced picture: each with what to do about it.

use std::fmt;

use super::TraceSpec;
use super::camera::Camera;
use super::outline::Outline;
use super::sides::Sides;

/// What makes an outline doubtful.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum Doubt {
    /// The bottle leans.
    Tilted {
        /// From upright.
        degrees: f64,
    },
    /// The two sides differ.
    Asymmetric {
        /// Share of the heights.
        percent: f64,
        /// Half their difference where they are alike.
        mm: f64,
    },
    /// There is more in the picture than a bottle.
    Busy {
        /// Share of the background.
        percent: f64,
    },
    /// Another line about the same axis is nearly as good.
    Contested {
        /// What it earns over what the outline does.
        percent: f64,
    },
    /// Something on one side: a shadow or a handle.
    OneSided {
        /// Share of the heights.
        percent: f64,
    },
    /// Edges are weak or missing.
    Faint {
        /// Share of the heights at which there is one.
        percent: f64,
    },
    /// The lens was far above the bottle's middle, or below it.
    Steep {
        /// Down on it.
        degrees: f64,
    },
    /// The arcs of lip and base do not say well from where it was taken.
    Arcs {
        /// What all widths together may be off by, one standard deviation.
        percent: f64,
    },
    /// It does not widen and narrow as bottles do.
    NotABottle {
        /// Why.
        why: &'static str,
    },
    /// What it should hold does not fit inside, or far too little does.
    Capacity {
        /// Within the outline.
        outside_ml: f64,
        /// As stated.
        stated_ml: f64,
        /// The wall that would be left.
        wall_mm: f64,
    },
    /// The bottle is small in the picture.
    Small {
        /// Of a pixel.
        mm: f64,
    },
}

impl Doubt {
    /// What to do about it.
    #[must_use]
    pub fn remedy(&self) -> &'static str {
        match self {
            Self::Tilted { .. } => {
                "hold the camera upright, or stand the bottle on something level"
            }
            Self::Asymmetric { .. } => {
                "light it from both sides, and see in the overlay which side is right"
            }
            Self::Busy { .. } => "put a sheet or a bright window behind it",
            Self::Contested { .. } => {
                "look at the overlay: the red line must lie on the glass, not within it or beyond"
            }
            Self::OneSided { .. } => {
                "light it from behind or from both sides; a handle belongs behind the bottle"
            }
            Self::Faint { .. } => "more contrast: dark glass before a bright sheet, no flash",
            Self::Steep { .. } => {
                "hold the camera at half the bottle's height, two metres away, and zoom"
            }
            Self::Arcs { .. } => {
                "stand further back and zoom, and give --focal-mm if the picture does not say it"
            }
            Self::NotABottle { .. } => "look at the overlay, and photograph the bottle alone",
            Self::Capacity { .. } => "check height_mm and capacity_ml, and look at the overlay",
            Self::Small { .. } => "zoom until it fills most of the picture",
        }
    }
}

impl fmt::Display for Doubt {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Tilted { degrees } => write!(f, "the bottle leans by {degrees:.1}°"),
            Self::Asymmetric { percent, mm } => {
                write!(
                    f,
                    "the sides differ at {percent:.0} % of the heights, and by {mm:.1} mm elsewhere"
                )
            }
            Self::Busy { percent } => write!(f, "{percent:.0} % of the background is not plain"),
            Self::Contested { percent } => {
                write!(f, "another outline is {percent:.0} % as likely")
            }
            Self::OneSided { percent } => {
                write!(
                    f,
                    "there is something on one side only at {percent:.0} % of the heights"
                )
            }
            Self::Faint { percent } => {
                write!(f, "an edge was found at only {percent:.0} % of the heights")
            }
            Self::Steep { degrees } => write!(f, "the camera looked down on it at {degrees:.0}°"),
            Self::Arcs { percent } => write!(
                f,
                "lip and base do not say well from where it was taken: all widths are sure to {percent:.1} % only"
            ),
            Self::NotABottle { why } => write!(f, "it does not look like a bottle: {why}"),
            Self::Capacity {
                outside_ml,
                stated_ml,
                wall_mm,
            } => write!(
                f,
                "{outside_ml:.0} ml of outline for {stated_ml:.0} ml would leave a wall of {wall_mm:.1} mm"
            ),
            Self::Small { mm } => write!(f, "a pixel is {mm:.1} mm of the bottle"),
        }
    }
}

/// Glass that a bottle may have, mm, if its outline is right: plastic is thin.
const WALLS_MM: (f64, f64) = (0.2, 8.0);

/// All that is doubtful, the worst first.
pub(super) fn of(
    sides: &Sides,
    camera: &Camera,
    outline: &Outline,
    spec: &TraceSpec,
) -> Vec<Doubt> {
    let mut doubts = Vec::new();
    let mut add = |is: bool, doubt: Doubt| {
        if is {
            doubts.push(doubt);
        }
    };
    if let Some(stated) = spec.capacity {
        let outside_ml = outline.volume().ml();
        let wall_mm = (outside_ml - stated.ml()) * 1e3 / outline.surface_mm2();
        let doubt = Doubt::Capacity {
            outside_ml,
            stated_ml: stated.ml(),
            wall_mm,
        };
        add(!(WALLS_MM.0..=WALLS_MM.1).contains(&wall_mm), doubt);
    }
    let (height, widest) = (outline.height().mm(), outline.widest().mm());
    let mouth = outline.diameter_at(outline.height()).mm();
    let shape = [
        (widest > 1.6 * height, "it is much wider than high"),
        (height > 9.0 * widest, "it is a stick"),
        (mouth < 0.08 * widest, "it comes to a point"),
        (mouth < 9.0, "its lip is under 9 mm wide"),
        (
            mouth > 1.15 * outline.diameter_at(outline.height() * 0.4).mm(),
            "its mouth is its widest part",
        ),
        (outline.steepest_mm() > 6.0, "it widens upwards in a step"),
    ];
    if let Some((_, why)) = shape.iter().find(|(is, _)| *is) {
        add(true, Doubt::NotABottle { why });
    }
    let (unlike, mm) = (outline.unlike(), outline.asymmetry().mm());
    add(
        unlike > 0.06 || mm > 0.8,
        Doubt::Asymmetric {
            percent: 100.0 * unlike,
            mm,
        },
    );
    let seen = &sides.seen;
    add(
        seen.one_sided > 0.12,
        Doubt::OneSided {
            percent: 100.0 * seen.one_sided,
        },
    );
    add(
        seen.rival > 0.8,
        Doubt::Contested {
            percent: 100.0 * seen.rival,
        },
    );
    add(
        seen.busy > 0.05,
        Doubt::Busy {
            percent: 100.0 * seen.busy,
        },
    );
    let both = outline.found.min(seen.both + 0.25);
    add(
        both < 0.9,
        Doubt::Faint {
            percent: 100.0 * outline.found.min(seen.both),
        },
    );
    let degrees = sides.frame.mirror().roll_deg().abs();
    add(degrees > 5.0, Doubt::Tilted { degrees });
    let degrees = camera.elevation_deg();
    add(degrees.abs() > 18.0, Doubt::Steep { degrees });
    let percent = 100.0 * outline.scale_error();
    add(
        camera.misfit > 4.0 || percent > 3.0,
        Doubt::Arcs { percent },
    );
    let mm = camera.mm_per_pixel();
    add(mm > 0.8, Doubt::Small { mm });
    doubts
}
