//! Sets that come with the program, and the small pictures of sets that one begins with.

use std::path::{Path, PathBuf};
use std::sync::mpsc::{self, Receiver};
use std::thread;

use super::derived::Derived;
use super::document::Document;
use super::panels::glass::Outline;
use crate::sounding::Setting;
use crate::tuning::NoteName;
use crate::units::Length;

/// A set that comes with the program.
#[derive(Clone, Copy, Debug)]
pub struct Example {
    /// What to call it.
    pub name: &'static str,
    /// What is in it, in a few words.
    pub words: &'static str,
    /// Its text.
    pub text: &'static str,
}

/// They, the easiest to follow first.
pub const EXAMPLES: [Example; 8] = [
    Example {
        name: "A class of five",
        words: "Five alike, water only",
        text: include_str!("../../presets/classroom/set.toml"),
    },
    Example {
        name: "A school band",
        words: "Fifteen notes, nine kinds",
        text: include_str!("../../presets/quay/set.toml"),
    },
    Example {
        name: "Every semitone",
        words: "A chromatic row",
        text: include_str!("../../presets/chromatic/set.toml"),
    },
    Example {
        name: "Struck",
        words: "Tapped with a mallet",
        text: include_str!("../../presets/struck/set.toml"),
    },
    Example {
        name: "Plastic under pressure",
        words: "Pumped up and tapped",
        text: include_str!("../../presets/plastic/set.toml"),
    },
    Example {
        name: "A floor that slides",
        words: "Many notes from one bottle",
        text: include_str!("../../presets/slide/set.toml"),
    },
    Example {
        name: "A pair with a hose",
        words: "Lift one, both change",
        text: include_str!("../../presets/pair/set.toml"),
    },
    Example {
        name: "Other gases",
        words: "Tuned by what is in the air",
        text: include_str!("../../presets/gases/set.toml"),
    },
];

/// A bottle of a small picture.
#[derive(Clone, Debug)]
pub struct Drawn {
    /// Its shape.
    pub(super) outline: Outline,
    /// How far it is filled.
    pub(super) level: Length,
    /// That is a floor, and no liquid.
    pub(super) is_floor: bool,
}

/// A small picture of a set.
#[derive(Clone, Debug)]
pub struct Small {
    /// Its bottles from the lowest note up.
    pub bottles: Vec<Drawn>,
    /// Its lowest and its highest note.
    pub notes: Option<(NoteName, NoteName)>,
    /// What to call it.
    pub called: String,
}

impl Small {
    /// Of a set or a crate.
    #[must_use]
    pub fn of(document: &Document, derived: &Derived) -> Self {
        let set = &document.fixed;
        let places = document.set().bottle_of_pours();
        let first = |pour: &&crate::index::PourIndex| places[pour.place()] == **pour;
        let of_pour = |pour: &crate::index::PourIndex| {
            let shown = &derived.bottles[*pour];
            Drawn {
                outline: Outline::of(&set.kinds[document.model.pours[*pour].kind].bottle),
                level: shown.level,
                is_floor: matches!(shown.knob.now, Setting::Travel(_)),
            }
        };
        let mut bottles: Vec<Drawn> = derived.order.iter().filter(first).map(of_pour).collect();
        if bottles.is_empty() {
            let empty = |kind: &crate::set::Kind| Drawn {
                outline: Outline::of(&kind.bottle),
                level: Length::default(),
                is_floor: false,
            };
            bottles = set.kinds.iter().map(empty).collect();
        }
        let note = |at: Option<&crate::index::PourIndex>| Some(derived.bottles[*at?].note.plain());
        let notes = note(derived.order.first()).zip(note(derived.order.last()));
        Self {
            bottles,
            notes,
            called: document.called(),
        }
    }

    fn of_document(document: &Document) -> Self {
        Self::of(document, &Derived::new(&document.model, &document.fixed))
    }
}

/// What one begins with, as it is known so far.
#[derive(Clone, Debug, Default)]
pub struct Gallery {
    /// A picture for each of [`EXAMPLES`].
    pub examples: Vec<Option<Small>>,
    /// Files of late, and a picture of each; nothing for one that is not there or is no set any more.
    pub recent: Vec<(PathBuf, Option<Small>)>,
}

/// A picture that was worked out.
enum Told {
    Example(usize, Option<Small>),
    Recent(usize, Option<Small>),
}

/// Works the pictures out on a thread of its own.
pub(super) struct Painting {
    told: Receiver<Told>,
}

impl Painting {
    /// Of the examples and of `recent`, one after the other; none if the system gives no thread.
    pub(super) fn begin(recent: Vec<PathBuf>) -> (Gallery, Self) {
        let gallery = Gallery {
            examples: vec![None; EXAMPLES.len()],
            recent: recent.iter().map(|path| (path.clone(), None)).collect(),
        };
        let (tell, told) = mpsc::channel();
        let paint = move || {
            let opened = |path: &Path| Document::open(path).ok();
            let of_files = recent.iter().enumerate().map(|(place, path)| {
                Told::Recent(place, opened(path).as_ref().map(Small::of_document))
            });
            let of_examples = EXAMPLES.iter().enumerate().map(|(place, example)| {
                let document = Document::example(example.text).ok();
                Told::Example(place, document.as_ref().map(Small::of_document))
            });
            for picture in of_files.chain(of_examples) {
                if tell.send(picture).is_err() {
                    return;
                }
            }
        };
        // Without a thread the receiver finds its channel closed.
        let _ = thread::Builder::new()
            .name("ullage-pictures".to_owned())
            .spawn(paint);
        (gallery, Self { told })
    }

    /// Takes what has been painted; says whether more comes.
    pub(super) fn hang(&self, gallery: &mut Gallery) -> bool {
        loop {
            match self.told.try_recv() {
                Ok(Told::Example(place, small)) => gallery.examples[place] = small,
                Ok(Told::Recent(place, small)) => gallery.recent[place].1 = small,
                Err(mpsc::TryRecvError::Empty) => return true,
                Err(mpsc::TryRecvError::Disconnected) => return false,
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_example_opens_and_is_drawn() {
        for example in EXAMPLES {
            let document = Document::example(example.text).expect(example.name);
            assert!(document.is_unnamed() && !document.is_changed());
            let small = Small::of_document(&document);
            assert!(!small.bottles.is_empty() && small.notes.is_some());
        }
    }
}
