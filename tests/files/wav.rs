//! Sound files: what was written is there, reads back the same, and nothing that goes wrong loses the
//! old file or leaves a part of a new one.

use std::fs;
use std::path::{Path, PathBuf};

use ullage::file::atomic::{self, AtomicFile, Overwrite, WriteError};
use ullage::file::wav::{Bits, WavError, WavFormat, WavSink, read_wav};
use ullage::units::SampleRate;

use crate::common::files::Folder;
use crate::sounds::{format, test_sound, write};

const OLD: &[u8] = b"an old file that somebody still needs";

fn u16_at(bytes: &[u8], at: usize) -> u16 {
    u16::from_le_bytes(bytes[at..at + 2].try_into().unwrap())
}

fn u32_at(bytes: &[u8], at: usize) -> u32 {
    u32::from_le_bytes(bytes[at..at + 4].try_into().unwrap())
}

/// A second reader, by hand from the format's description (IBM & Microsoft, Multimedia Programming
/// Interface and Data Specifications 1.0, 1991): the tag of the coding and the bytes of the sound.
fn by_hand(bytes: &[u8], format: WavFormat) -> (u16, &[u8]) {
    assert_eq!(&bytes[0..4], b"RIFF");
    assert_eq!(u32_at(bytes, 4) as usize + 8, bytes.len());
    assert_eq!(&bytes[8..16], b"WAVEfmt ");
    let fmt_len = u32_at(bytes, 16) as usize;
    let (rate, bits, channels) = (
        format.rate.hz() as u32,
        format.bits.count(),
        format.channels,
    );
    let frame = channels * bits / 8;
    assert_eq!(u16_at(bytes, 22), channels);
    assert_eq!(u32_at(bytes, 24), rate);
    assert_eq!(u32_at(bytes, 28), rate * u32::from(frame));
    assert_eq!(u16_at(bytes, 32), frame);
    assert_eq!(u16_at(bytes, 34), bits);
    let tag = match u16_at(bytes, 20) {
        // The extensible form keeps the tag in the first two bytes of its identifier.
        0xFFFE => u16_at(bytes, 44),
        tag => tag,
    };
    let data = 20 + fmt_len;
    assert_eq!(&bytes[data..data + 4], b"data");
    let len = u32_at(bytes, data + 4) as usize;
    (tag, &bytes[data + 8..data + 8 + len])
}

/// Nothing in `folder` but `names`: no hidden part of a file either.
fn assert_only(folder: &Path, names: &[&str]) {
    let mut found: Vec<String> = fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    found.sort();
    assert_eq!(found, names);
}

fn old_file(folder: &Folder) -> PathBuf {
    folder.write("old.wav", OLD)
}

#[test]
fn every_format_reads_back_the_same() {
    let folder = Folder::new();
    // Half a step of 24 bits for rounding. 16 bits: half a step, and up to one of dither. The last
    // figure is for the reader's own f32.
    let cases = [
        (Bits::Int16, 1.5 / 32_768.0),
        (Bits::Int24, 0.5 / 8_388_608.0 + 6e-8),
        (Bits::Float32, 0.0),
    ];
    for channels in [1, 2] {
        let sound = test_sound(10_007, channels);
        for (bits, tolerance) in cases {
            let path = folder.at(format!("{bits:?}{channels}.wav"));
            write(&path, format(bits, channels), &sound);
            let back = read_wav(&path).unwrap();
            assert_eq!(back.rate, SampleRate::from_hz(44_100.0));
            assert_eq!((back.channels, back.frames()), (channels, 10_007));
            for (i, (a, b)) in sound.iter().zip(&back.samples).enumerate() {
                assert!((a - b).abs() <= tolerance, "{bits:?}: sample {i}: {a}, {b}");
            }
        }
    }
}

#[test]
fn the_bytes_are_what_the_format_says() {
    let folder = Folder::new();
    let sound = [0.5f32, -0.5, 0.25, -1.0, 0.0, 1.0];
    for bits in [Bits::Int16, Bits::Int24, Bits::Float32] {
        let path = folder.at(format!("{bits:?}.wav"));
        write(&path, format(bits, 2), &sound);
        let bytes = fs::read(&path).unwrap();
        let (tag, data) = by_hand(&bytes, format(bits, 2));
        let step = usize::from(bits.count() / 8);
        assert_eq!(data.len(), sound.len() * step);
        for (sample, raw) in sound.iter().zip(data.chunks_exact(step)) {
            match bits {
                Bits::Int16 => {
                    let got = f32::from(i16::from_le_bytes(raw.try_into().unwrap()));
                    assert!((got - sample * 32_768.0).abs() <= 1.5, "{got} for {sample}");
                }
                Bits::Int24 => {
                    let got = i32::from_le_bytes([0, raw[0], raw[1], raw[2]]) >> 8;
                    assert_eq!(got, ((sample * 8_388_608.0) as i32).min(8_388_607));
                }
                Bits::Float32 => {
                    assert_eq!(f32::from_le_bytes(raw.try_into().unwrap()), *sample);
                }
            }
        }
        assert_eq!(tag, if bits == Bits::Float32 { 3 } else { 1 });
    }
}

#[test]
fn integer_files_written_again_are_the_same_but_for_dither() {
    let folder = Folder::new();
    let first = folder.at("first.wav");
    write(&first, format(Bits::Int24, 2), &test_sound(999, 2));
    let second = folder.at("second.wav");
    write(
        &second,
        format(Bits::Int24, 2),
        &read_wav(&first).unwrap().samples,
    );
    assert_eq!(fs::read(first).unwrap(), fs::read(second).unwrap());
}

#[test]
fn block_size_does_not_show_in_the_file_and_one_seed_is_one_file() {
    let folder = Folder::new();
    let left: Vec<f32> = test_sound(2_055, 1);
    let right: Vec<f32> = left.iter().map(|x| -x).collect();
    let written = |name: &str, blocks: &[usize], seed| {
        let path = folder.at(name);
        let sink = WavSink::create(&path, format(Bits::Int16, 2), Overwrite::No).unwrap();
        let mut sink = sink.with_dither_seed(seed);
        let mut from = 0;
        for &block in blocks {
            let to = from + block;
            sink.write_block(&left[from..to], &right[from..to]).unwrap();
            from = to;
        }
        assert_eq!(sink.frames(), 2_055);
        sink.finish().unwrap();
        fs::read(path).unwrap()
    };
    let whole = written("a.wav", &[2_055], 7);
    assert_eq!(whole, written("b.wav", &[1, 7, 64, 441, 511, 1_031], 7));
    assert_ne!(whole, written("c.wav", &[2_055], 8));
}

#[test]
fn a_dropped_sink_leaves_no_file_and_keeps_the_old_one() {
    let folder = Folder::new();
    let old = old_file(&folder);
    for path in [&old, &folder.at("new.wav")] {
        let mut sink = WavSink::create(path, format(Bits::Int24, 2), Overwrite::Yes).unwrap();
        sink.write_frames(&test_sound(50_000, 2)).unwrap();
        drop(sink);
        assert_eq!(fs::read(&old).unwrap(), OLD);
        assert_only(folder.path(), &["old.wav"]);
    }
}

#[test]
fn a_killed_run_leaves_the_old_file_and_a_part_that_can_be_told() {
    let folder = Folder::new();
    let old = old_file(&folder);
    let mut sink = WavSink::create(&old, format(Bits::Int24, 2), Overwrite::Yes).unwrap();
    sink.write_frames(&test_sound(50_000, 2)).unwrap();
    // No destructor runs when a process is killed.
    std::mem::forget(sink);
    assert_eq!(fs::read(&old).unwrap(), OLD);
    let left = atomic::leftovers(folder.path()).unwrap();
    assert_eq!(left.len(), 1);
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 2);
}

#[test]
fn an_existing_file_is_replaced_only_on_request() {
    let folder = Folder::new();
    let path = old_file(&folder);
    let refused = WavSink::create(&path, format(Bits::Int16, 1), Overwrite::No);
    let error = refused.expect_err("the file is there");
    assert!(matches!(error, WavError::Write(WriteError::Exists { .. })));
    assert_eq!(
        error.to_string(),
        format!("{} exists already", path.display())
    );
    assert_eq!(fs::read(&path).unwrap(), OLD);

    let mut sink = WavSink::create(&path, format(Bits::Int16, 1), Overwrite::Yes).unwrap();
    sink.write_frames(&[0.5]).unwrap();
    sink.finish().unwrap();
    assert_eq!(read_wav(&path).unwrap().frames(), 1);
    assert_only(folder.path(), &["old.wav"]);
}

#[test]
fn a_target_that_cannot_be_is_told_apart_before_any_work() {
    let folder = Folder::new();
    let create = |path: &Path| AtomicFile::create(path, Overwrite::Yes).expect_err("not writable");
    let missing = folder.at("no/such/a.wav");
    assert!(
        matches!(create(&missing), WriteError::NoFolder { folder, .. } if folder.ends_with("no/such"))
    );
    assert!(matches!(create(folder.path()), WriteError::IsFolder { .. }));
    assert!(matches!(
        create(Path::new("..")),
        WriteError::IsFolder { .. }
    ));
    assert!(matches!(create(Path::new("")), WriteError::NoName { .. }));
    let old = old_file(&folder);
    let under_a_file = old.join("a.wav");
    assert!(matches!(create(&under_a_file), WriteError::NoFolder { .. }));
    assert_eq!(fs::read(&old).unwrap(), OLD);
    assert_only(folder.path(), &["old.wav"]);
}

#[cfg(unix)]
mod on_unix {
    use super::*;
    use std::os::unix::fs::{PermissionsExt, symlink};

    fn mode(path: &Path) -> u32 {
        fs::metadata(path).unwrap().permissions().mode() & 0o7777
    }

    fn set_mode(path: &Path, mode: u32) {
        fs::set_permissions(path, fs::Permissions::from_mode(mode)).unwrap();
    }

    #[test]
    fn a_folder_that_refuses_us_is_named() {
        let folder = Folder::new();
        set_mode(folder.path(), 0o555);
        let path = folder.at("a.wav");
        let probe = fs::File::create(folder.at("probe")).is_ok();
        // Root may write anywhere; /proc refuses even root, though with a reason of its own.
        let error = if probe {
            println!("running as root: the case of a folder without permission is not tried");
            AtomicFile::create(Path::new("/proc/a.wav"), Overwrite::No)
                .expect_err("not a folder to write in")
        } else {
            let error = AtomicFile::create(&path, Overwrite::No).expect_err("no permission");
            assert!(
                matches!(&error, WriteError::NoPermission { denied, .. } if denied == folder.path())
            );
            error
        };
        assert!(error.to_string().starts_with("cannot write "));
        set_mode(folder.path(), 0o755);
    }

    #[test]
    fn a_file_marked_read_only_is_left_alone() {
        let folder = Folder::new();
        let path = old_file(&folder);
        set_mode(&path, 0o444);
        let error = AtomicFile::create(&path, Overwrite::Yes).expect_err("read-only");
        assert!(matches!(&error, WriteError::NoPermission { denied, .. } if *denied == path));
    }

    #[test]
    fn a_device_is_not_replaced_by_a_file() {
        let error =
            AtomicFile::create(Path::new("/dev/null"), Overwrite::Yes).expect_err("a device");
        assert!(matches!(error, WriteError::NotPlain { .. }));
    }

    #[test]
    fn a_link_stays_and_the_file_behind_it_is_replaced() {
        let folder = Folder::new();
        let old = old_file(&folder);
        fs::create_dir(folder.at("links")).unwrap();
        let link = folder.at("links/link.wav");
        symlink("../old.wav", &link).unwrap();
        let refused = AtomicFile::create(&link, Overwrite::No).expect_err("it is there");
        assert!(matches!(refused, WriteError::Exists { .. }));
        atomic::write_whole(&link, b"new", Overwrite::Yes).unwrap();
        assert!(fs::symlink_metadata(&link).unwrap().is_symlink());
        assert_eq!(fs::read(old).unwrap(), b"new");

        let dangling = folder.at("links/dangling.wav");
        symlink("../later.wav", &dangling).unwrap();
        atomic::write_whole(&dangling, b"later", Overwrite::No).unwrap();
        assert_eq!(fs::read(folder.at("later.wav")).unwrap(), b"later");

        let circle = folder.at("circle.wav");
        symlink("circle.wav", &circle).unwrap();
        let error = AtomicFile::create(&circle, Overwrite::Yes).expect_err("a circle");
        assert!(matches!(error, WriteError::LinkLoop { limit: 40, .. }));
    }

    #[test]
    fn a_new_file_has_the_usual_mode_and_a_replaced_one_keeps_its_own() {
        let folder = Folder::new();
        let usual = folder.at("usual");
        fs::write(&usual, b"").unwrap();
        let new = folder.at("new");
        atomic::write_whole(&new, b"x", Overwrite::No).unwrap();
        assert_eq!(mode(&new), mode(&usual));
        for kept in [0o600, 0o664, 0o755] {
            set_mode(&new, kept);
            atomic::write_whole(&new, b"y", Overwrite::Yes).unwrap();
            assert_eq!(mode(&new), kept);
        }
    }
}

/// A file system of 1 MiB, mounted for one test; `None` where that needs rights we lack.
#[cfg(target_os = "linux")]
struct SmallDisk(Folder);

#[cfg(target_os = "linux")]
impl SmallDisk {
    fn mount() -> Option<Self> {
        let folder = Folder::new();
        let done = std::process::Command::new("mount")
            .args(["-t", "tmpfs", "-o", "size=1m", "tmpfs"])
            .arg(folder.path())
            .stderr(std::process::Stdio::null())
            .status();
        done.is_ok_and(|s| s.success()).then_some(Self(folder))
    }
}

#[cfg(target_os = "linux")]
impl Drop for SmallDisk {
    fn drop(&mut self) {
        let _ = std::process::Command::new("umount")
            .arg(self.0.path())
            .status();
    }
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_leaves_the_old_file_whole_and_no_part_of_a_new_one() {
    let Some(disk) = SmallDisk::mount() else {
        println!(
            "not tried: mounting a small disk needs root; a writer that fills up is tried beside the encoder"
        );
        return;
    };
    let path = old_file(&disk.0);
    let mut sink = WavSink::create(&path, format(Bits::Float32, 2), Overwrite::Yes).unwrap();
    let block = test_sound(4_096, 2);
    let failed = (0..100).try_for_each(|_| sink.write_frames(&block));
    let error = failed.expect_err("3 MiB do not fit in 1 MiB");
    assert!(
        matches!(error, WavError::Write(WriteError::DiskFull { .. })),
        "{error:?}"
    );
    assert!(error.to_string().contains("the disk is full"));
    drop(sink);
    assert_eq!(fs::read(&path).unwrap(), OLD);
    assert_only(disk.0.path(), &["old.wav"]);
}

#[test]
fn a_sound_too_long_for_the_format_is_refused_before_it_is_rendered() {
    let format = WavFormat::stereo(SampleRate::from_hz(48_000.0));
    // 2^32 bytes at 288,000 bytes a second are 4.14 hours.
    let four_hours = 4 * 3_600 * 48_000;
    format.check_length(four_hours).unwrap();
    let error = format
        .check_length(five_hours())
        .expect_err("more than 4 GiB");
    assert_eq!(
        error.to_string(),
        "5.00 hours do not fit in a WAV file of this format: its 4 GiB hold 4.14 hours"
    );
}

fn five_hours() -> u64 {
    5 * 3_600 * 48_000
}

#[test]
fn a_format_or_a_block_that_makes_no_sense_is_refused() {
    let folder = Folder::new();
    let path = folder.at("a.wav");
    let create = |rate_hz, channels| {
        let format = WavFormat {
            rate: SampleRate::from_hz(rate_hz),
            bits: Bits::Int16,
            channels,
        };
        WavSink::create(&path, format, Overwrite::No)
    };
    for rate_hz in [0.0, -1.0, 44_100.5, 1e9, f64::NAN, f64::INFINITY] {
        assert!(
            matches!(create(rate_hz, 2), Err(WavError::Rate { .. })),
            "{rate_hz}"
        );
    }
    for channels in [0, 3, u16::MAX] {
        assert!(matches!(
            create(48_000.0, channels),
            Err(WavError::Channels { .. })
        ));
    }
    let mut sink = create(48_000.0, 2).unwrap();
    assert!(matches!(
        sink.write_block(&[0.0], &[]),
        Err(WavError::Uneven { left: 1, right: 0 })
    ));
    assert!(matches!(
        sink.write_frames(&[0.0; 3]),
        Err(WavError::Ragged { .. })
    ));
    sink.write_block(&[0.0; 5], &[0.0; 5]).unwrap();
    let error = sink
        .write_block(&[0.0, 0.0], &[0.0, f32::NAN])
        .expect_err("not a number");
    assert_eq!(
        error.to_string(),
        "sample 6 of channel 1 is NaN, not a finite number"
    );
    assert_eq!(sink.frames(), 5);
    drop(sink);
    assert_only(folder.path(), &[]);
}
