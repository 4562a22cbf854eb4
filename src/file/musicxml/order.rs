//! In which order measures are played: repeats and their endings written out, jumps followed.
//!
//! A jump back to the beginning or to the sign is taken once, when the repeats before it are done. After it
//! repeats are not made again, of endings the last is played, and the piece ends at its Fine or goes from
//! the To Coda on to the coda. Common practice, no source.

use std::collections::BTreeSet;

use super::MusicXmlError;

/// The most measures that are played; a file with more is broken, or made to do harm.
const MOST_PLAYED: usize = 50_000;

/// What the bar lines of a measure say, over all parts.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Signs {
    /// A repeat begins here.
    pub forward: bool,
    /// A repeat ends here: how often what it repeats is played.
    pub backward: Option<u32>,
    /// It is played in these rounds only.
    pub ending: Option<BTreeSet<u32>>,
    /// After it the piece goes back to the beginning, or to the sign.
    pub back: Option<Back>,
    /// The sign stands here.
    pub segno: bool,
    /// After a jump back the piece goes from its end to the coda, or is over.
    pub to_coda: bool,
    pub fine: bool,
    /// The coda begins here.
    pub coda: bool,
}

/// Where a jump goes back to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Back {
    Beginning,
    Segno,
}

/// Jumps whose other end is missing, so that they are not followed.
pub(super) fn loose(signs: &[Signs]) -> Vec<&'static str> {
    let any = |is: fn(&Signs) -> bool| signs.iter().any(is);
    let mut loose = Vec::new();
    if any(|s| s.back == Some(Back::Segno)) && !any(|s| s.segno) {
        loose.push("dal segno");
    }
    if any(|s| s.to_coda) && !any(|s| s.coda) {
        loose.push("to coda");
    }
    loose
}

/// The measures in the order in which they are played.
pub(super) fn played(signs: &[Signs]) -> Result<Vec<usize>, MusicXmlError> {
    let mut order = Vec::with_capacity(signs.len());
    let (mut at, mut from, mut round) = (0, 0, 1u32);
    let mut jumped = false;
    while let Some(sign) = signs.get(at) {
        if jumped {
            round = last_round(signs, at, at).unwrap_or(1);
        }
        let after_ending = at > from && signs[at - 1].ending.is_some() && sign.ending.is_none();
        if after_ending || (sign.forward && at != from) {
            (from, round) = (at, 1);
        }
        if sign
            .ending
            .as_ref()
            .is_some_and(|rounds| !rounds.contains(&round))
        {
            at += 1;
            continue;
        }
        if order.len() >= MOST_PLAYED {
            let what = "measures with their repeats";
            let limit = MOST_PLAYED as u64;
            return Err(MusicXmlError::TooMuch { what, limit });
        }
        order.push(at);
        if jumped {
            let coda = signs.iter().position(|s| s.coda).filter(|_| sign.to_coda);
            at = coda.filter(|coda| *coda > at).unwrap_or(at + 1);
            if sign.fine {
                break;
            }
            continue;
        }
        if let Some(times) = sign.backward {
            if round < last_round(signs, from, at).unwrap_or(times) {
                (at, round) = (from, round + 1);
                continue;
            }
            // Endings that follow belong to this repeat still.
            if signs.get(at + 1).is_none_or(|next| next.ending.is_none()) {
                (from, round) = (at + 1, 1);
            }
        }
        let back = sign.back.and_then(|back| match back {
            Back::Beginning => Some(0),
            Back::Segno => signs.iter().position(|s| s.segno),
        });
        jumped = back.is_some();
        at = back.unwrap_or(at + 1);
    }
    Ok(order)
}

/// The last round that an ending of the repeat from `from` names, if its end at `at` is in an ending.
fn last_round(signs: &[Signs], from: usize, at: usize) -> Option<u32> {
    signs[at].ending.as_ref()?;
    let before = (from..=at).filter_map(|m| signs[m].ending.as_ref());
    let after = signs[at + 1..].iter().map_while(|s| s.ending.as_ref());
    before.chain(after).flatten().copied().max()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    /// One word a measure: `|:` and `:|` for repeats, `x3` for three times, `1` or `1,2` for endings.
    fn order(text: &str) -> String {
        let sign = |word: &str| {
            let mut sign = Signs::default();
            for mark in word.split(' ').filter(|m| !m.is_empty()) {
                match mark {
                    "|:" => sign.forward = true,
                    ":|" => sign.backward = Some(2),
                    ":|3" => sign.backward = Some(3),
                    "DC" => sign.back = Some(Back::Beginning),
                    "DS" => sign.back = Some(Back::Segno),
                    "S" => sign.segno = true,
                    "to" => sign.to_coda = true,
                    "coda" => sign.coda = true,
                    "fine" => sign.fine = true,
                    "." => {}
                    rounds => {
                        sign.ending = Some(rounds.split(',').map(|r| r.parse().unwrap()).collect());
                    }
                }
            }
            sign
        };
        let signs: Vec<Signs> = text.split('/').map(|w| sign(w.trim())).collect();
        let name = |m: usize| char::from(b'A' + m as u8);
        played(&signs).unwrap().into_iter().map(name).collect()
    }

    #[test]
    fn repeats_and_endings_are_played_as_they_are_read() {
        assert_eq!(order(". / . / ."), "ABC");
        assert_eq!(order(". / :| / ."), "ABABC");
        assert_eq!(order(". / |: / :| / ."), "ABCBCD");
        assert_eq!(order("|: / :|3 / ."), "ABABABC");
        assert_eq!(order("|: / 1 :| / 2 / ."), "ABACD");
        assert_eq!(order("|: / 1 / 1 :| / 2 / 2 / ."), "ABCADEF");
        // The second ending with a repeat sign of its own ends the repeat.
        assert_eq!(order("|: / 1 :| / 2 :| / ."), "ABACD");
        assert_eq!(order("|: / 1,2 :| / 3 / ."), "ABABACD");
        // One repeat after another, with and without its opening sign.
        assert_eq!(order(". :| / . :| / ."), "AABBC");
        assert_eq!(order("|: / 1 :| / 2 / |: / 1 :| / 2"), "ABACDEDF");
        assert_eq!(order("|: / |: / :|"), "ABCBC");
    }

    #[test]
    fn jumps_are_taken_once_without_the_repeats_and_end_where_they_are_to() {
        assert_eq!(order(". / . fine / . / DC"), "ABCDAB");
        assert_eq!(order(". / S / . / DS"), "ABCDBCD");
        assert_eq!(order(". / to / . DC / coda"), "ABCABD");
        assert_eq!(order(". / S / to / DS / coda / ."), "ABCDBCEF");
        assert_eq!(order("|: / :| / fine / DC"), "ABABCDABC");
        assert_eq!(order("|: / 1 :| / 2 / fine / DC"), "ABACDEACD");
        // A jump in a repeat waits until it is done.
        assert_eq!(order("|: / :| DC"), "ABABAB");
        // What has no other end is not followed.
        assert_eq!(order(". / DS"), "AB");
        assert_eq!(order(". to / DC"), "ABAB");
        let sign = |back| Signs {
            back,
            to_coda: true,
            ..Signs::default()
        };
        assert_eq!(loose(&[sign(Some(Back::Segno))]), ["dal segno", "to coda"]);
        assert!(
            loose(&[
                sign(Some(Back::Beginning)),
                Signs {
                    coda: true,
                    ..Signs::default()
                }
            ])
            .is_empty()
        );
    }

    #[test]
    fn any_signs_come_to_an_end() {
        let mut dice = 7u64;
        let mut below = |limit: u64| {
            // Knuth's congruential generator, from memory.
            dice = dice
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (dice >> 33) % limit
        };
        for _ in 0..20_000 {
            let count = 1 + below(8);
            let signs: Vec<Signs> = (0..count)
                .map(|_| Signs {
                    forward: below(3) == 0,
                    backward: (below(3) == 0).then_some(1 + below(3) as u32),
                    ending: (below(3) == 0)
                        .then(|| (0..=below(2)).map(|_| 1 + below(3) as u32).collect()),
                    back: (below(4) == 0).then_some(if below(2) == 0 {
                        Back::Beginning
                    } else {
                        Back::Segno
                    }),
                    segno: below(4) == 0,
                    to_coda: below(4) == 0,
                    fine: below(4) == 0,
                    coda: below(4) == 0,
                })
                .collect();
            let order = played(&signs).unwrap();
            assert!(order.len() <= 6 * signs.len(), "{signs:?}");
            assert!(order.iter().all(|m| *m < signs.len()));
        }
    }

    #[test]
    fn repeats_of_repeats_without_end_are_refused() {
        let signs = vec![Signs {
            backward: Some(60_000),
            ..Signs::default()
        }];
        let error = played(&signs).unwrap_err().to_string();
        assert!(error.contains("50000"), "{error}");
    }
}
