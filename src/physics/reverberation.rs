//! The room that a set is heard in: how loud its walls are beside the bottles, and when its first reflections come.
//!
//! Walls are those of a box. How loud they are altogether is that of a diffuse field; their first reflections come from images of
//! the bottles behind them.
//!
//! ```
//! use ullage::physics::reverberation::{Listening, RoomKind};
//! use ullage::units::{Duration, Length};
//! let near = Listening::new(RoomKind::Small, Some(Length::from_m(0.4)))?;
//! let far = Listening::new(RoomKind::Small, Some(Length::from_m(0.8)))?;
//! // Twice as far the direct sound is 6 dB weaker, the walls as loud as before.
//! let falls = near.direct_to_reverberant().zip(far.direct_to_reverberant());
//! assert!(falls.is_some_and(|(near, far)| (near.db() - far.db() - 6.02).abs() < 0.01));
//! // The floor is first: down and up again, by way of a right angle, at the speed of sound.
//! let floor_m = (0.8f64.powi(2) + (1.2f64 + 1.2).powi(2)).sqrt();
//! let late = far.first_reflections()[0].delay - Duration::from_s((floor_m - 0.8) / 343.2);
//! assert!(late.s().abs() < 1e-9);
//! assert_eq!(Listening::new(RoomKind::Outdoors, None)?.first_reflections().len(), 1);
//! # Ok::<(), ullage::physics::reverberation::ListeningError>(())
//! ```

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::units::{Duration, Length, Level, Volume};

/// First reflections that are heard one by one.
pub const FIRST_REFLECTIONS: usize = 6;
/// Speed of sound in air at 20 °C, m/s: a degree more or less moves a reflection by less than 0.02 ms.
const SOUND_M_S: f64 = 343.2;
/// The distance at which direct sound and walls are as loud, over √(V/T60), m with m³ and s: that of a source without a
/// direction in a diffuse field (Kuttruff, *Room Acoustics*, ch. 5).
const CRITICAL: f64 = 0.057;
/// Sabine's equation: T60 = 0.161 V/A, m and s (Kuttruff, as above).
const SABINE_S_PER_M: f64 = 0.161;
/// Height of mouths and ears above the floor, m: people who sit.
const HEIGHT_M: f64 = 1.2;
/// Where the bottles stand: this part of the length before the wall behind them, this part of the width beside the wall
/// on the left. Off the middle, so that no two reflections come at once. A matter of taste.
const BEHIND: f64 = 0.2;
const BESIDE: f64 = 0.33;
/// Part of the amplitude that grass and gravel send back: a guess.
const GROUND: f64 = 0.6;
/// Images are sought so many reflections deep in each direction.
const DEEPEST: i32 = 2;
/// Nearest listener, m, and the room that one needs before the far wall.
const NEAREST_M: f64 = 0.3;
const BEFORE_WALL_M: f64 = 0.5;
const FARTHEST_OUTDOORS_M: f64 = 50.0;

/// The kinds of room that there are.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum RoomKind {
    /// A living room of 68 m³: 0.9 s.
    #[default]
    Small,
    /// A hall of 2,200 m³: 1.8 s.
    Hall,
    /// No walls; the ground alone.
    Outdoors,
}

impl RoomKind {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Small, Self::Hall, Self::Outdoors];

    /// As it is written in files.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Small => "small",
            Self::Hall => "hall",
            Self::Outdoors => "outdoors",
        }
    }

    /// Its walls; none outdoors. The sizes are a matter of taste.
    #[must_use]
    pub fn walls(self) -> Option<Walls> {
        let of = |[length_m, width_m, height_m]: [f64; 3], decay_s, softness| Walls {
            length: Length::from_m(length_m),
            width: Length::from_m(width_m),
            height: Length::from_m(height_m),
            decay: Duration::from_s(decay_s),
            softness,
        };
        match self {
            Self::Small => Some(of([5.35, 4.6, 2.763], 0.9, 0.3)),
            Self::Hall => Some(of([21.0, 13.0, 8.0], 1.8, 0.3)),
            Self::Outdoors => None,
        }
    }

    /// How far away listeners are where nobody says.
    #[must_use]
    pub fn usual_distance(self) -> Length {
        Length::from_m(match self {
            Self::Small => 0.8,
            Self::Hall => 3.0,
            Self::Outdoors => 2.0,
        })
    }

    /// The nearest and the farthest that a listener may be.
    #[must_use]
    pub fn distances(self) -> (Length, Length) {
        let farthest_m = self.walls().map_or(FARTHEST_OUTDOORS_M, |walls| {
            (1.0 - BEHIND) * walls.length.m() - BEFORE_WALL_M
        });
        // Whole decimetres, as they are told.
        let farthest_m = (farthest_m * 10.0).floor() / 10.0;
        (Length::from_m(NEAREST_M), Length::from_m(farthest_m))
    }
}

/// A box of walls, floor and ceiling.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Walls {
    /// From the wall behind the bottles to the one behind the listener.
    pub length: Length,
    /// From side to side.
    pub width: Length,
    /// From floor to ceiling.
    pub height: Length,
    /// Time to fall by 60 dB.
    pub decay: Duration,
    /// How much softer they are for high notes, 0 to 1.
    pub softness: f64,
}

impl Walls {
    /// The air between them.
    #[must_use]
    pub fn volume(&self) -> Volume {
        Volume::from_m3(self.length.m() * self.width.m() * self.height.m())
    }

    /// Where the direct sound is as loud as the walls: 0.057 √(V/T60).
    #[must_use]
    pub fn critical_distance(&self) -> Length {
        Length::from_m(CRITICAL * (self.volume().m3() / self.decay.s()).sqrt())
    }

    /// The part of the amplitude that a wall sends back, by Sabine's equation; 0 of walls that could not be so dead.
    #[must_use]
    pub fn reflecting(&self) -> f64 {
        let [x, y, z] = [self.length.m(), self.width.m(), self.height.m()];
        let surface_m2 = 2.0 * (x * y + y * z + z * x);
        let absorbing_m2 = SABINE_S_PER_M * self.volume().m3() / self.decay.s();
        (1.0 - absorbing_m2 / surface_m2).max(0.0).sqrt()
    }
}

/// A sound that comes back from walls.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reflection {
    /// After the direct sound.
    pub delay: Duration,
    /// Its amplitude beside the direct sound's.
    pub gain: f64,
    /// Where it comes from: the sine of the angle to the side, −1 (left) to 1 (right).
    pub side: f64,
}

/// Why a listener cannot be there.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ListeningError {
    /// Too near, or behind the wall.
    #[error("a distance of {distance_m} m is outside {min_m} to {max_m} m ({})", kind.name())]
    Distance {
        /// The room.
        kind: RoomKind,
        /// As asked, m.
        distance_m: f64,
        /// The nearest, m.
        min_m: f64,
        /// The farthest, m.
        max_m: f64,
    },
}

/// Where a set is heard from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Listening {
    kind: RoomKind,
    distance: Length,
}

impl Default for Listening {
    fn default() -> Self {
        let kind = RoomKind::default();
        Self {
            kind,
            distance: kind.usual_distance(),
        }
    }
}

impl Listening {
    /// In such a room, at `distance` from the bottles or at the usual one.
    ///
    /// # Errors
    /// A distance outside that room's.
    pub fn new(kind: RoomKind, distance: Option<Length>) -> Result<Self, ListeningError> {
        let distance = distance.unwrap_or(kind.usual_distance());
        let (least, most) = kind.distances();
        if !(least.m()..=most.m()).contains(&distance.m()) {
            return Err(ListeningError::Distance {
                kind,
                distance_m: distance.m(),
                min_m: least.m(),
                max_m: most.m(),
            });
        }
        Ok(Self { kind, distance })
    }

    /// The room.
    #[must_use]
    pub fn kind(&self) -> RoomKind {
        self.kind
    }

    /// From the bottles to the listener.
    #[must_use]
    pub fn distance(&self) -> Length {
        self.distance
    }

    /// The direct sound over all that walls send: 20 log(r_c/d). Nothing where there are no walls.
    #[must_use]
    pub fn direct_to_reverberant(&self) -> Option<Level> {
        let critical = self.kind.walls()?.critical_distance();
        Some(Level::from_gain(critical / self.distance))
    }

    /// The first reflections, at most six, the earliest first.
    #[must_use]
    pub fn first_reflections(&self) -> Vec<Reflection> {
        first_reflections(self.kind.walls().as_ref(), self.distance)
    }
}

/// The first reflections between `walls`, at most six, the earliest first; without walls that of the ground.
///
/// Every wall is a mirror, and mirrors see each other: an image of the bottles for every way through the mirrors (Allen &
/// Berkley, J. Acoust. Soc. Am. 65, 1979). Bottles and ears are alike high, and the listener is straight before them.
#[must_use]
pub fn first_reflections(walls: Option<&Walls>, distance: Length) -> Vec<Reflection> {
    let far_m = distance.m();
    let reflection = |[x, y, z]: [f64; 3], gain: f64| {
        let path_m = (x * x + y * y + z * z).sqrt();
        Reflection {
            delay: Duration::from_s((path_m - far_m) / SOUND_M_S),
            gain: gain * far_m / path_m,
            side: y / path_m,
        }
    };
    let Some(walls) = walls else {
        return vec![reflection([far_m, 0.0, 2.0 * HEIGHT_M], GROUND)];
    };
    let box_m = [walls.length.m(), walls.width.m(), walls.height.m()];
    let source_m = [
        BEHIND * box_m[0],
        BESIDE * box_m[1],
        HEIGHT_M.min(0.5 * box_m[2]),
    ];
    let reflecting = walls.reflecting();
    let mut all = Vec::new();
    let each = || -DEEPEST..=DEEPEST;
    for (i, j, k) in each().flat_map(|i| each().flat_map(move |j| each().map(move |k| (i, j, k)))) {
        let bounces = i.abs() + j.abs() + k.abs();
        if bounces == 0 {
            continue;
        }
        // From the listener to the image; the length is along the line from the bottles to the listener.
        let from = |axis: usize, bounces: i32| {
            image(source_m[axis], box_m[axis], bounces) - source_m[axis]
        };
        let way_m = [from(0, i) - far_m, from(1, j), from(2, k)];
        all.push(reflection(way_m, reflecting.powi(bounces)));
    }
    all.sort_by(|a, b| a.delay.s().total_cmp(&b.delay.s()));
    all.truncate(FIRST_REFLECTIONS);
    all
}

/// Where a source at `at_m` between 0 and `far_m` seems to be after so many bounces, the first of them at the wall at 0 if
/// they are counted below 0.
fn image(at_m: f64, far_m: f64, bounces: i32) -> f64 {
    let even_m = f64::from(bounces) * far_m;
    if bounces % 2 == 0 {
        even_m + at_m
    } else {
        even_m + far_m - at_m
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_image_is_where_mirrors_put_it() {
        // In a corridor of 5 m with the source at 1 m: behind the near wall, behind the far one, and those of those.
        let seen = [-1, 1, -2, 2].map(|bounces| image(1.0, 5.0, bounces));
        assert_eq!(seen, [-1.0, 9.0, -9.0, 11.0]);
    }

    #[test]
    fn at_its_usual_distance_a_room_is_as_loud_as_the_bottles_or_up_to_twice_as_far() {
        for kind in [RoomKind::Small, RoomKind::Hall] {
            let listening = Listening::new(kind, None).expect("the usual distance is within");
            let db = listening.direct_to_reverberant().expect("walls").db();
            assert!((-6.0..=0.0).contains(&db), "{kind:?}: {db} dB");
        }
        let critical_m = RoomKind::Small.walls().map(|w| w.critical_distance().m());
        // 0.057 √(68/0.9)
        assert!(critical_m.is_some_and(|m| (m - 0.4955).abs() < 1e-3));
    }

    #[test]
    fn the_first_reflections_come_in_order_each_weaker_than_the_direct_sound() {
        for kind in RoomKind::ALL {
            let (near, far) = kind.distances();
            for distance in [near, kind.usual_distance(), far] {
                let listening = Listening::new(kind, Some(distance)).expect("within");
                let all = listening.first_reflections();
                assert!(
                    all.windows(2)
                        .all(|two| two[0].delay.s() < two[1].delay.s())
                );
                assert!(
                    all.iter()
                        .all(|r| r.delay.s() > 0.0 && r.gain < 1.0 && r.side.abs() <= 1.0)
                );
            }
            let (least, most) = (near.m() - 0.01, far.m() + 0.01);
            for m in [least, most, f64::NAN] {
                assert!(
                    Listening::new(kind, Some(Length::from_m(m))).is_err(),
                    "{kind:?}: {m} m"
                );
            }
        }
    }

    #[test]
    fn in_the_small_room_they_come_after_2_to_9_ms() {
        let all = Listening::default().first_reflections();
        assert_eq!(all.len(), FIRST_REFLECTIONS);
        assert!(
            all.iter().all(|r| (0.002..0.0095).contains(&r.delay.s())),
            "{all:?}"
        );
    }
}
