//! Samples as integers of 24 bits, three bytes each.

/// Samples that are rounded before they are packed: they lie in the nearest cache.
const TOGETHER: usize = 256;
const BYTES: usize = 3;

/// Rounds samples and packs them, the lowest byte first. Both slices are of one length.
///
/// Of single bytes the compiler makes no vectors: two samples are one number that is written whole, and the next two over the end of it.
#[multiversion::multiversion(targets("x86_64+avx2", "aarch64+neon"))]
pub(super) fn pack(samples: &[f32], places: &mut [[u8; BYTES]]) {
    let mut steps = [0u32; TOGETHER];
    for (samples, places) in samples.chunks(TOGETHER).zip(places.chunks_mut(TOGETHER)) {
        let steps = &mut steps[..samples.len()];
        for (steps, x) in steps.iter_mut().zip(samples) {
            *steps = rounded(*x);
        }
        let (pairs, _) = steps.as_chunks::<2>();
        let bytes = places.as_flattened_mut();
        // Over the end of the last one there is nothing of ours.
        let over = pairs.len().saturating_sub(1);
        for (place, &[a, b]) in pairs[..over].iter().enumerate() {
            let both = u64::from(a) | u64::from(b) << 24;
            bytes[2 * BYTES * place..][..8].copy_from_slice(&both.to_le_bytes());
        }
        for (place, steps) in places.iter_mut().zip(steps).skip(2 * over) {
            place.copy_from_slice(&steps.to_le_bytes()[..BYTES]);
        }
    }
}

/// The same of one sound that goes to two sides, a frame of both after the other.
#[multiversion::multiversion(targets("x86_64+avx2", "aarch64+neon"))]
pub(super) fn pack_placed(sound: &[f32], sides: [f32; 2], places: &mut [[u8; 2 * BYTES]]) {
    // One side after the other: of both at once the compiler makes no vectors either.
    let mut steps = [[0u32; TOGETHER]; 2];
    for (sound, places) in sound.chunks(TOGETHER).zip(places.chunks_mut(TOGETHER)) {
        for (steps, side) in steps.iter_mut().zip(sides) {
            for (steps, x) in steps.iter_mut().zip(sound) {
                *steps = rounded(side * x);
            }
        }
        let [left, right] = &steps;
        let both = |(l, r): (&u32, &u32)| (u64::from(*l) | u64::from(*r) << 24).to_le_bytes();
        let (last, bytes) = (sound.len() - 1, places.as_flattened_mut());
        for (place, frame) in left[..last].iter().zip(right).map(both).enumerate() {
            bytes[2 * BYTES * place..][..8].copy_from_slice(&frame);
        }
        let frame = both((&left[last], &right[last]));
        bytes[2 * BYTES * last..].copy_from_slice(&frame[..2 * BYTES]);
    }
}

/// The nearest step, halves to the even one, as the last 24 bits of a number; clamped. One step is 2⁻²³ of full scale.
///
/// From 2²³ to 2²⁴ a number of f32 is whole, and its last 23 bits count from there: what is positive is lifted to 2²³, what is
/// negative to 2²⁴, and the bit above is that of the sign, or of a negative sample that has been rounded to zero. The instruction
/// for rounding is not on every processor, and `as` looks at every number once more.
#[inline(always)]
fn rounded(x: f32) -> u32 {
    const FULL: f32 = (1 << 23) as f32;
    // 2²³ − 1 is exact in f32.
    let steps = (x * FULL).clamp(-FULL, FULL - 1.0);
    let sign = steps.to_bits() >> 31 << 23;
    let lifted = steps + f32::from_bits(FULL.to_bits() + sign);
    (lifted.to_bits() ^ sign) & 0xFF_FFFF
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is packed of a sample.
    fn packed(x: f32) -> i32 {
        let mut place = [[0; BYTES]];
        pack(&[x], &mut place);
        let [a, b, c] = place[0];
        i32::from_le_bytes([0, a, b, c]) >> 8
    }

    #[test]
    fn what_is_too_loud_is_clamped_and_never_wraps() {
        for (x, expected) in [
            (1.0, 8_388_607),
            (-1.0, -8_388_608),
            (1e30, 8_388_607),
            (-1e30, -8_388_608),
            (0.0, 0),
            (-0.0, 0),
            (-f32::MIN_POSITIVE, 0),
        ] {
            assert_eq!(packed(x), expected, "{x}");
        }
    }

    #[test]
    fn a_step_is_the_nearest_and_halves_go_to_the_even_one() {
        let full = f64::from(1 << 23);
        let halves = (-9..9).map(|i| (f64::from(i) + 0.5) / full);
        let edges = [-1.0, -1.0 + 0.5 / full, 1.0 - 0.5 / full, 1.0 - 1.0 / full];
        let spread = (-40_000..40_000).map(|i| f64::from(i) / 39_999.3);
        for x in halves.chain(edges).chain(spread) {
            let x = x as f32;
            let nearest = (f64::from(x) * full).round_ties_even();
            let expected = nearest.clamp(-full, full - 1.0) as i32;
            assert_eq!(packed(x), expected, "{x}");
        }
    }

    #[test]
    fn many_together_are_what_each_is_alone() {
        let sound: Vec<f32> = (0..1_000).map(|i| (i as f32 * 0.37).sin()).collect();
        for count in (0..12).chain([255, 256, 257, 258, 259, 511, 513, 1_000]) {
            let mut places = vec![[0xAA; BYTES]; count + 1];
            pack(&sound[..count], &mut places[..count]);
            for (place, x) in places.iter().zip(&sound[..count]) {
                let mut alone = [[0; BYTES]];
                pack(&[*x], &mut alone);
                assert_eq!(*place, alone[0], "{x} of {count}");
            }
            assert_eq!(places[count], [0xAA; BYTES]);

            let sides = [0.3, 0.9];
            let both = sound[..count]
                .iter()
                .flat_map(|x| sides.map(|side| side * x));
            let mut whole = vec![[0; BYTES]; 2 * count];
            pack(&both.collect::<Vec<f32>>(), &mut whole);
            let mut placed = vec![[0xAA; 2 * BYTES]; count + 1];
            pack_placed(&sound[..count], sides, &mut placed[..count]);
            assert_eq!(placed[..count].as_flattened(), whole.as_flattened());
            assert_eq!(placed[count], [0xAA; 2 * BYTES]);
        }
    }
}
