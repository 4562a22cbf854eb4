//! A page that plays: a set in any browser, in one file that loads nothing.
//!
//! [`html`] writes it. In it are the bottles drawn to scale, each with its sound as the engine renders it ([`Recorded`], as
//! [`flac()`]), the pieces to play along with, and the cards for the sink. What it does is in `script/`, one file a matter:
//!
//! | file | holds |
//! |---|---|
//! | `data.js` | what is read of the set, and what a breath makes of the sound |
//! | `sound.js` | bottles sounded: the nodes of a note, its ring-down, room and ceiling |
//! | `together.js` | intervals in words |
//! | `piece.js` | a piece in time: bars, loops, what comes next, how a pass went; no clock, no sound |
//! | `player.js` | a piece sounded ahead of the context's clock |
//! | `roll.js` | notes coming down, and the line over the bars |
//! | `hands.js` | fingers, keys and MIDI |
//! | `pieces.js`, `pour.js`, `page.js` | the parts of the page |
//!
//! The script's own tests are `tests/page/*.test.js`; `tests/rigs/page.rs` opens pages in browsers and measures what is heard.
//!
//! ```
//! # use ullage::set::read_set;
//! use ullage::page::{PageSpec, html};
//! use ullage::stage::Stage;
//! # let text = "[[bottle]]\nname = \"<jar>\"\ncapacity_ml = 500\nmouth_bore_mm = 18\nneck_length_mm = 60\n\
//! #     body_diameter_mm = 66\n[[pour]]\nnote = \"C4\"\nbottle = \"<jar>\"\n";
//! # let set = read_set(text)?;
//! let page = html(&Stage::new(&set)?, &PageSpec::default())?;
//! // One bottle is a fraction of a megabyte; nothing is loaded, and names are text.
//! assert!(page.len() < 700_000, "{} bytes", page.len());
//! assert!(!page.contains(" src=") && !page.contains("url(") && !page.contains("<jar>"));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod data;
mod flac;
mod html;
mod looped;
mod recorded;
mod spec;

pub use flac::{FlacError, flac};
pub use html::html;
pub use recorded::{Clip, Recorded};
pub use spec::{PageError, PagePiece, PageSpec};
