//! In which order measures are played: repeats and their endings written out.

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
}

/// The measures in the order in which they are played.
pub(super) fn played(signs: &[Signs]) -> Result<Vec<usize>, MusicXmlError> {
    let mut order = Vec::with_capacity(signs.len());
    let (mut at, mut from, mut round) = (0, 0, 1u32);
    while let Some(sign) = signs.get(at) {
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
        at += 1;
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
    fn repeats_of_repeats_without_end_are_refused() {
        let signs = vec![Signs {
            backward: Some(60_000),
            ..Signs::default()
        }];
        let error = played(&signs).unwrap_err().to_string();
        assert!(error.contains("50000"), "{error}");
    }
}
