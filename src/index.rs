//! Which of several: a kind of index for each kind of list, so that none is taken for another.
//!
//! ```
//! use ullage::index::BottleIndex;
//! let hertz = vec![261.6, 293.7, 329.6];
//! let second = BottleIndex::new(1);
//! assert_eq!(hertz[second], 293.7);
//! assert!(BottleIndex::each(&hertz).all(|(at, hz)| hertz[at] == *hz));
//! assert_eq!(BottleIndex::all(hertz.len()).last(), Some(BottleIndex::new(2)));
//! ```

use std::fmt;
use std::ops::{Index, IndexMut};

use serde::Serialize;

macro_rules! index {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(
            Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize,
        )]
        #[serde(transparent)]
        pub struct $name(usize);

        impl $name {
            /// The one at `place`, counted from 0.
            #[must_use]
            pub const fn new(place: usize) -> Self {
                Self(place)
            }

            /// Its place, counted from 0.
            #[must_use]
            pub const fn place(self) -> usize {
                self.0
            }

            /// The one `count` places on.
            #[must_use]
            pub const fn counted_on(self, count: usize) -> Self {
                Self(self.0 + count)
            }

            /// Each of `list` with its index.
            pub fn each<T>(
                list: &[T],
            ) -> impl DoubleEndedIterator<Item = (Self, &T)> + ExactSizeIterator + Clone {
                list.iter()
                    .enumerate()
                    .map(|(place, item)| (Self(place), item))
            }

            /// All of a list of `count`, in its order.
            pub fn all(
                count: usize,
            ) -> impl DoubleEndedIterator<Item = Self> + ExactSizeIterator + Clone {
                (0..count).map(Self)
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                self.0.fmt(f)
            }
        }

        impl<T> Index<$name> for [T] {
            type Output = T;

            fn index(&self, at: $name) -> &T {
                &self[at.0]
            }
        }

        impl<T> IndexMut<$name> for [T] {
            fn index_mut(&mut self, at: $name) -> &mut T {
                &mut self[at.0]
            }
        }

        impl<T> Index<$name> for Vec<T> {
            type Output = T;

            fn index(&self, at: $name) -> &T {
                &self[at.0]
            }
        }

        impl<T> IndexMut<$name> for Vec<T> {
            fn index_mut(&mut self, at: $name) -> &mut T {
                &mut self[at.0]
            }
        }
    };
}

index! {
    /// A bottle of a bank, a row or an engine: one voice. The notes of a floor that slides are one bottle.
    BottleIndex
}

index! {
    /// A pour of a set: one of its notes in a bottle. The notes of a floor that slides are as many pours into one bottle. Of
    /// two states of a set the later one's pours are counted on.
    PourIndex
}

index! {
    /// One of a shelf's or a set's kinds of bottle, in the order of its file.
    KindIndex
}

index! {
    /// One of the kinds of bottle that a plan chooses from, in the order of their names: not a [`KindIndex`], which counts
    /// in the order of a file.
    CandidateIndex
}

index! {
    /// One of the points of a traced outline that a hand can move, from the table up.
    GripIndex
}

index! {
    /// A player: a pair of hands among those that share the bottles out.
    PlayerIndex
}

impl PlayerIndex {
    /// As players are counted on paper, from 1.
    #[must_use]
    pub const fn number(self) -> usize {
        self.0 + 1
    }
}
