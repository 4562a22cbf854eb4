//! What is heard of a set against what was planned: of which bottle it is, how far off, and what to pour or to turn.
//!
//! A [`Judge`] holds a set as it stands in the room, and makes of a pitch or of taps a [`Verdict`]. [`Listening`] is the loop
//! from sound as it comes to verdicts, [`Round`] goes round a set bottle by bottle, and [`keep`] says whether a pitch is
//! worth fitting the bottle to. Nothing here opens a device, reads a file or has a thread.
//!
//! | file | holds |
//! |---|---|
//! | [`aims`] | the pitch that each bottle should have in the room as it is |
//! | [`meant`] | what is listened for |
//! | [`judge`] | of a pitch or of taps what they say |
//! | [`verdict`] | that, as plain data |
//! | [`advice`] | what to do, as numbers, and in the words that every front end says alike |
//! | [`pouring`], [`tapped`] | what to pour into a blown bottle, and into a struck one |
//! | [`walk`], [`round`] | round a set, by pitches alone and with what each says |
//! | [`keep`] | whether a pitch is kept |
//! | [`hearing`] | the loop |
//! | [`filling`] | a pour followed by ear, from the empty bottle to the blown note |

pub mod advice;
pub mod aims;
pub mod filling;
pub mod hearing;
pub mod judge;
pub mod keep;
pub mod meant;
pub mod pouring;
pub mod round;
pub mod tapped;
pub mod verdict;
pub mod walk;

pub use advice::{Advice, Turning};
pub use aims::{Aim, AimAt};
pub use hearing::{HeardTone, Listening, Told, Tone};
pub use judge::Judge;
pub use keep::{KeepError, Keepable};
pub use meant::{ListenFor, Meant};
pub use round::{HeardOnRound, Round};
pub use verdict::{Reading, Recognised, TunerError, Verdict};
