//! Channel messages out of the bytes that a MIDI input delivers.

/// The channel messages in `bytes`, in order. Some systems pack several into one delivery; clocks, sensing and
/// system exclusive data are passed over, wherever they stand, and so is what makes no whole message.
///
/// MIDI 1.0 detailed specification. Running status is resolved by the system before it comes here.
pub(super) fn messages(bytes: &[u8]) -> impl Iterator<Item = [u8; 3]> + '_ {
    let mut rest = bytes;
    std::iter::from_fn(move || {
        while let Some((&status, after)) = rest.split_first() {
            rest = after;
            let Some(count) = data_bytes(status) else {
                continue;
            };
            let mut message = [status, 0, 0];
            if take_data(&mut rest, &mut message[1..=count]) {
                return Some(message);
            }
        }
        None
    })
}

/// Data bytes of a channel message; nothing for a data byte or a system message.
fn data_bytes(status: u8) -> Option<usize> {
    match status {
        0x80..=0xBF | 0xE0..=0xEF => Some(2),
        0xC0..=0xDF => Some(1),
        _ => None,
    }
}

/// Takes data bytes off the front of `rest`; real-time messages between them are passed over. False if another
/// message begins before there are enough.
fn take_data(rest: &mut &[u8], data: &mut [u8]) -> bool {
    for place in data {
        loop {
            match rest.split_first() {
                Some((&byte, after)) if byte < 0x80 => {
                    *place = byte;
                    *rest = after;
                    break;
                }
                Some((0xF8..=0xFF, after)) => *rest = after,
                _ => return false,
            }
        }
    }
    true
}

#[cfg(test)]
mod tests {
    use super::*;

    fn all(bytes: &[u8]) -> Vec<[u8; 3]> {
        messages(bytes).collect()
    }

    #[test]
    fn several_messages_of_one_delivery_are_all_heard() {
        let bytes = [0x90, 60, 100, 0xC1, 5, 0xE2, 0, 64, 0x80, 60, 0];
        let expected = [[0x90, 60, 100], [0xC1, 5, 0], [0xE2, 0, 64], [0x80, 60, 0]];
        assert_eq!(all(&bytes), expected);
    }

    #[test]
    fn a_clock_in_the_middle_of_a_note_disturbs_nothing() {
        assert_eq!(all(&[0x90, 0xF8, 60, 0xFE, 100]), [[0x90, 60, 100]]);
    }

    #[test]
    fn exclusive_data_and_halves_of_messages_are_passed_over() {
        let bytes = [
            0xF0, 0x7E, 60, 100, 0xF7, 0x90, 60, 0x91, 61, 90, 12, 13, 0x90,
        ];
        assert_eq!(all(&bytes), [[0x91, 61, 90]]);
    }

    #[test]
    fn any_bytes_give_only_whole_channel_messages() {
        let mut state = 1u32;
        let bytes: Vec<u8> = (0..20_000)
            .map(|_| {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (state >> 24) as u8
            })
            .collect();
        let heard = all(&bytes);
        assert!(heard.len() > 500, "only {} messages", heard.len());
        for [status, first, second] in heard {
            assert!((0x80..0xF0).contains(&status) && first < 0x80 && second < 0x80);
        }
    }
}
