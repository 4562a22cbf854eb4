//! Left and right: places between them, and blocks through the stereo units of fundsp.

use std::f64::consts::FRAC_PI_4;

use fundsp::MAX_BUFFER_SIZE;
use fundsp::audiounit::AudioUnit;
use fundsp::buffer::BufferVec;

/// What goes to the left and to the right from a place between left (−1) and right (1), at constant power.
pub(super) fn sides(place: f64) -> [f64; 2] {
    let angle = (place + 1.0) * FRAC_PI_4;
    [angle.cos(), angle.sin()]
}

/// Runs a stereo unit over a block in place, in the pieces that fundsp takes.
pub(super) fn process_stereo(
    unit: &mut dyn AudioUnit,
    buffers: (&mut BufferVec, &mut BufferVec),
    left: &mut [f32],
    right: &mut [f32],
    mut mix: impl FnMut(f32, f32) -> f32,
) {
    let (input, output) = buffers;
    for (left, right) in left
        .chunks_mut(MAX_BUFFER_SIZE)
        .zip(right.chunks_mut(MAX_BUFFER_SIZE))
    {
        let size = left.len().min(right.len());
        input.channel_f32_mut(0)[..size].copy_from_slice(&left[..size]);
        input.channel_f32_mut(1)[..size].copy_from_slice(&right[..size]);
        unit.process(size, &input.buffer_ref(), &mut output.buffer_mut());
        for (channel, side) in [left, right].into_iter().enumerate() {
            for (sample, new) in side.iter_mut().zip(output.channel_f32(channel)) {
                *sample = mix(*sample, *new);
            }
        }
    }
}
