//! The encoder by itself: what a disk that fills up does to it, and what it does to samples.
#![allow(clippy::unwrap_used)]

use super::*;

/// Takes `room` bytes, then is full, as a disk is.
#[derive(Debug)]
struct FullAfter {
    room: usize,
}

impl Write for FullAfter {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        if self.room == 0 {
            return Err(io::ErrorKind::StorageFull.into());
        }
        let taken = bytes.len().min(self.room);
        self.room -= taken;
        Ok(taken)
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Seek for FullAfter {
    fn seek(&mut self, _: SeekFrom) -> io::Result<u64> {
        Ok(0)
    }
}

fn format(bits: Bits, channels: u16) -> WavFormat {
    WavFormat {
        rate: SampleRate::from_hz(48_000.0),
        bits,
        channels,
    }
}

#[test]
fn a_disk_that_fills_at_any_byte_is_an_error_and_named() {
    let sound = vec![0.25; 20_000];
    let whole = {
        let mut encoder = Encoder::new(
            Cursor::new(Vec::new()),
            format(Bits::Int24, 2),
            SMALL_BLOCK_BYTES,
        )
        .unwrap();
        encoder.write(&sound).unwrap();
        encoder.finish().unwrap().into_inner().len()
    };
    // The two length fields are written again at the end: 8 bytes on top.
    for room in (0..whole + 8).step_by(977) {
        let failed = Encoder::new(
            FullAfter { room },
            format(Bits::Int24, 2),
            SMALL_BLOCK_BYTES,
        )
        .and_then(|mut e| {
            e.write(&sound)?;
            e.finish()
        });
        let error = failed.expect_err("a full disk").at(Path::new("a.wav"));
        assert!(
            matches!(error, WavError::Write(WriteError::DiskFull { .. })),
            "{room} bytes of room: {error:?}"
        );
    }
    let room = whole + 8;
    let mut encoder = Encoder::new(
        FullAfter { room },
        format(Bits::Int24, 2),
        SMALL_BLOCK_BYTES,
    )
    .unwrap();
    encoder.write(&sound).unwrap();
    encoder.finish().unwrap();
}

#[test]
fn what_is_too_loud_for_16_bits_is_clamped_and_never_wraps() {
    let mut dither = Dither::seeded(1);
    for _ in 0..1000 {
        assert_eq!(dither.next_int16(1.5), i16::MAX);
        assert_eq!(dither.next_int16(-1.5), i16::MIN);
    }
}

#[test]
fn an_odd_number_of_data_bytes_is_padded() {
    let mut encoder = Encoder::new(
        Cursor::new(Vec::new()),
        format(Bits::Int24, 1),
        SMALL_BLOCK_BYTES,
    )
    .unwrap();
    encoder.write(&[0.1, 0.2, 0.3]).unwrap();
    let bytes = encoder.finish().unwrap().into_inner();
    assert_eq!(bytes.len() % 2, 0);
    let riff = u32::from_le_bytes(bytes[4..8].try_into().unwrap());
    assert_eq!(riff as usize + 8, bytes.len());
    let at = bytes.len() - 10 - 4;
    assert_eq!(bytes[at..at + 4], 9u32.to_le_bytes());
}

/// The bytes of a file made of pieces, in this format.
fn bytes_of(format: WavFormat, make: impl FnOnce(&mut Encoder<Cursor<Vec<u8>>>)) -> Vec<u8> {
    let mut encoder = Encoder::new(Cursor::new(Vec::new()), format, SMALL_BLOCK_BYTES).unwrap();
    encoder.dither = Dither::seeded(5);
    make(&mut encoder);
    encoder.finish().unwrap().into_inner()
}

/// Silence, sample by sample.
fn pack_silence(encoder: &mut Encoder<Cursor<Vec<u8>>>, samples: usize) {
    let channels = usize::from(encoder.format.channels);
    let bytes = encoder.format.frame_bytes() as usize / channels;
    for _ in 0..samples {
        let _ = encoder.dither.next_int16(0.0);
        encoder.block.more(bytes).fill(0);
        encoder.write_if_full().unwrap();
    }
    encoder.frames += (samples / channels) as u64;
}

#[test]
fn silence_gives_the_same_bytes_however_it_is_said() {
    let block_frames = SMALL_BLOCK_BYTES as u64 / 3;
    let lengths = [1, 700, block_frames, 3 * block_frames + 5];
    for (bits, channels) in [
        (Bits::Int16, 2),
        (Bits::Int24, 1),
        (Bits::Int24, 2),
        (Bits::Float32, 2),
    ] {
        let format = format(bits, channels);
        let samples = |frames: u64| frames as usize * usize::from(channels);
        let sound = vec![0.3; samples(100)];
        for (first, last) in lengths
            .iter()
            .flat_map(|a| lengths.iter().map(move |b| (*a, *b)))
        {
            let said = bytes_of(format, |encoder| {
                encoder.write_silence(first).unwrap();
                encoder.write(&sound).unwrap();
                encoder.write_silence(last).unwrap();
            });
            let written = bytes_of(format, |encoder| {
                pack_silence(encoder, samples(first));
                encoder.write(&sound).unwrap();
                pack_silence(encoder, samples(last));
            });
            assert!(said == written, "{bits:?} {channels}: {first}, {last}");
            let frames = first + 100 + last;
            assert!(said.len() as u64 >= frames * format.frame_bytes());
        }
    }
    // A file that ends where a block ends.
    let header = empty_wav(format(Bits::Float32, 1)).unwrap().len() as u64;
    let to_the_end = (2 * SMALL_BLOCK_BYTES as u64 - header) / 4;
    let said = bytes_of(format(Bits::Float32, 1), |e| {
        e.write_silence(to_the_end).unwrap()
    });
    assert_eq!(said.len(), 2 * SMALL_BLOCK_BYTES);
}

#[test]
fn samples_that_go_over_the_end_of_a_block_are_whole() {
    let sound: Vec<f32> = (0..300_001).map(|i| (i as f32 * 0.37).sin()).collect();
    for parts in [1, 7, 8, 1_021, 300_001] {
        let bytes = bytes_of(format(Bits::Int24, 1), |encoder| {
            for part in sound.chunks(parts) {
                encoder.write(part).unwrap();
            }
        });
        let data = &bytes[bytes.len() - 1 - 3 * sound.len()..];
        let mut whole = vec![[0; 3]; sound.len()];
        int24::pack(&sound, &mut whole);
        assert!(data[..3 * sound.len()] == *whole.as_flattened());
    }
}
