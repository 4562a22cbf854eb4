//! The fill of a bottle against time while it was poured into, as it was heard: a picture that stands alone, and a table.
//!
//! ```
//! use ullage::report::pour_track::{PourTrack, TrackPoint};
//! use ullage::units::{Duration, Volume};
//! let heard = |s: f64, ml: f64| TrackPoint {
//!     at: Duration::from_s(s),
//!     fill: Some([ml - 10.0, ml, ml + 10.0].map(Volume::from_ml)),
//!     flow_ml_s: 30.0,
//!     state: "pouring",
//!     call: "pour",
//! };
//! let unheard = TrackPoint { fill: None, state: "deaf", ..heard(1.0, 0.0) };
//! let track = PourTrack {
//!     title: "G3 in cordial".to_owned(),
//!     capacity: Volume::from_ml(512.0),
//!     mark: Volume::from_ml(230.0),
//!     stop: None,
//!     points: vec![heard(0.0, 20.0), heard(0.5, 35.0), unheard, heard(1.5, 65.0), heard(2.0, 80.0)],
//! };
//! // The band breaks where nothing could be heard.
//! assert_eq!(track.svg().matches("<polygon").count(), 2);
//! assert_eq!(track.csv().lines().nth(1), Some("0.00,pouring,20.0,10.0,30.0,30.0,pour"));
//! assert_eq!(track.csv().lines().nth(3), Some("1.00,deaf,,,,30.0,pour"));
//! ```

use std::fmt::Write;

use super::plots::round_step;
use super::svg::{Svg, shortened};
use crate::units::{Duration, Volume};

/// Size of the picture, mm.
const SIZE_MM: (f64, f64) = (180.0, 110.0);
/// Room at the left, right, top and bottom of the axes, mm.
const LEFT_MM: f64 = 19.0;
const RIGHT_MM: f64 = 30.0;
const TOP_MM: f64 = 12.0;
const BOTTOM_MM: f64 = 15.0;
/// Longest title.
const TITLE: usize = 60;
/// Rules for a picture without a page.
const STYLE: &str = "text{font-family:'Liberation Sans',Arial,Helvetica,sans-serif;fill:#000}\
    .paper{fill:#fff}.grid{stroke:#ccc;stroke-width:.2}.axis{stroke:#000;stroke-width:.4}\
    .band{fill:#004a8f;fill-opacity:.2}.curve{fill:none;stroke:#004a8f;stroke-width:.6;stroke-linejoin:round}\
    .mark{stroke:#b0003a;stroke-width:.4}.stop{stroke:#b0003a;stroke-width:.4;stroke-dasharray:2 1}\
    .number{font-size:3.5px}.title{font-size:4.2px}.middle{text-anchor:middle}.end{text-anchor:end}";

/// One moment of a pour.
#[derive(Clone, Debug, PartialEq)]
pub struct TrackPoint {
    /// When.
    pub at: Duration,
    /// The lower end of the band, the fill, and the upper end; nothing where it could not be heard.
    pub fill: Option<[Volume; 3]>,
    /// Flow, ml/s.
    pub flow_ml_s: f64,
    /// How it was heard, in a word.
    pub state: &'static str,
    /// What was called out, in a word.
    pub call: &'static str,
}

/// A pour as it was heard.
#[derive(Clone, Debug, PartialEq)]
pub struct PourTrack {
    /// Of what.
    pub title: String,
    /// What the bottle holds.
    pub capacity: Volume,
    /// Where to stop.
    pub mark: Volume,
    /// When that was said.
    pub stop: Option<Duration>,
    /// In the order of time.
    pub points: Vec<TrackPoint>,
}

impl PourTrack {
    /// A row for each moment: seconds, how it was heard, millilitres with the ends of the 95 % band, ml/s, the call.
    #[must_use]
    pub fn csv(&self) -> String {
        let mut out = String::from("at_s,state,fill_ml,low_ml,high_ml,flow_ml_s,call\n");
        for point in &self.points {
            let _ = write!(out, "{:.2},{},", point.at.s(), point.state);
            let _ = match point.fill {
                Some([low, fill, high]) => {
                    write!(out, "{:.1},{:.1},{:.1}", fill.ml(), low.ml(), high.ml())
                }
                None => write!(out, ",,"),
            };
            let _ = writeln!(out, ",{:.1},{}", point.flow_ml_s, point.call);
        }
        out
    }

    /// The picture.
    #[must_use]
    pub fn svg(&self) -> String {
        let label = format!("Fill against time: {}", shortened(&self.title, TITLE));
        let mut svg = Svg::new(SIZE_MM.0, SIZE_MM.1, &label);
        svg.style(STYLE);
        svg.rect("paper", (0.0, 0.0), SIZE_MM.0, SIZE_MM.1);
        svg.text("title", (LEFT_MM, 7.0), &shortened(&self.title, TITLE));
        let plane = Plane::of(self);
        plane.axes(&mut svg);
        for run in self.points.split(|point| point.fill.is_none()) {
            plane.run(&mut svg, run);
        }
        let (left, right) = (LEFT_MM, SIZE_MM.0 - RIGHT_MM);
        let y = plane.y(self.mark.ml());
        svg.line("mark", (left, y), (right, y));
        let text = format!("mark {:.0} ml", self.mark.ml());
        svg.text("number", (right + 1.5, y + 1.2), &text);
        if let Some(stop) = self.stop {
            let x = plane.x(stop.s());
            svg.line("stop", (x, TOP_MM), (x, SIZE_MM.1 - BOTTOM_MM));
            svg.text("number middle", (x, TOP_MM - 1.0), "stop");
        }
        svg.finish()
    }
}

/// How seconds and millilitres lie on paper.
struct Plane {
    from_s: f64,
    to_s: f64,
    top_ml: f64,
}

impl Plane {
    fn of(track: &PourTrack) -> Self {
        let at_s = |point: Option<&TrackPoint>| point.map_or(0.0, |point| point.at.s());
        let from_s = at_s(track.points.first());
        Self {
            from_s,
            to_s: at_s(track.points.last()).max(from_s + 0.1),
            top_ml: track.capacity.ml().max(1.0),
        }
    }

    fn x(&self, at_s: f64) -> f64 {
        let share = (at_s - self.from_s) / (self.to_s - self.from_s);
        LEFT_MM + share * (SIZE_MM.0 - LEFT_MM - RIGHT_MM)
    }

    fn y(&self, ml: f64) -> f64 {
        let foot = SIZE_MM.1 - BOTTOM_MM;
        foot - ml / self.top_ml * (foot - TOP_MM)
    }

    fn axes(&self, svg: &mut Svg) {
        let (foot, right) = (SIZE_MM.1 - BOTTOM_MM, SIZE_MM.0 - RIGHT_MM);
        let step_ml = round_step(self.top_ml / 5.0);
        for n in 0..=(self.top_ml / step_ml) as usize {
            let ml = step_ml * n as f64;
            let y = self.y(ml);
            svg.line("grid", (LEFT_MM, y), (right, y));
            svg.text("number end", (LEFT_MM - 1.5, y + 1.2), &format!("{ml:.0}"));
        }
        let step_s = round_step((self.to_s - self.from_s) / 6.0);
        let first = (self.from_s / step_s).ceil() as i64;
        for n in first..=(self.to_s / step_s) as i64 {
            let at_s = step_s * n as f64;
            let x = self.x(at_s);
            svg.line("grid", (x, TOP_MM), (x, foot));
            let text = if step_s < 1.0 {
                format!("{at_s:.1}")
            } else {
                format!("{at_s:.0}")
            };
            svg.text("number middle", (x, foot + 4.5), &text);
        }
        svg.line("axis", (LEFT_MM, foot), (right, foot));
        svg.line("axis", (LEFT_MM, TOP_MM), (LEFT_MM, foot));
        let middle = 0.5 * (LEFT_MM + right);
        svg.text("number middle", (middle, foot + 10.5), "time, s");
        svg.text_upwards("number middle", (5.0, 0.5 * (TOP_MM + foot)), "liquid, ml");
    }

    /// What was heard without a gap: the band, and the fill in it.
    fn run(&self, svg: &mut Svg, run: &[TrackPoint]) {
        let ends = |end: usize| {
            run.iter().filter_map(move |point| {
                let fill = point.fill?;
                Some((self.x(point.at.s()), self.y(fill[end].ml())))
            })
        };
        if run.len() < 2 {
            return;
        }
        let around: Vec<(f64, f64)> = ends(0).chain(ends(2).rev()).collect();
        svg.polygon("band", &around);
        let curve: Vec<(f64, f64)> = ends(1).collect();
        svg.polyline("curve", &curve);
    }
}
