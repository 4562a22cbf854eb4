//! Beside the code: what tells one failure from another, and what is cleaned up.
#![allow(clippy::unwrap_used)]
use super::*;

#[test]
fn a_full_disk_is_told_from_other_failures() {
    let path = Path::new("a.wav");
    let full = io::Error::from(io::ErrorKind::StorageFull);
    assert!(matches!(
        WriteError::from_io(path, full),
        WriteError::DiskFull { .. }
    ));
    let other = io::Error::from(io::ErrorKind::Interrupted);
    assert!(matches!(
        WriteError::from_io(path, other),
        WriteError::Io { .. }
    ));
}

#[test]
fn a_folder_that_is_missing_or_refuses_us_is_told_from_other_failures() {
    let sorted = |kind| {
        denied_or_io(
            Path::new("out/a.wav"),
            Path::new("out"),
            io::Error::from(kind),
        )
    };
    for kind in [
        io::ErrorKind::PermissionDenied,
        io::ErrorKind::ReadOnlyFilesystem,
    ] {
        let error = sorted(kind);
        assert!(
            matches!(&error, WriteError::NoPermission { denied, .. } if denied == Path::new("out"))
        );
        let message = "cannot write out/a.wav: no permission to write to out";
        assert_eq!(error.to_string(), message);
    }
    let message = "cannot write out/a.wav: there is no folder out";
    assert_eq!(sorted(io::ErrorKind::NotFound).to_string(), message);
    assert!(matches!(
        sorted(io::ErrorKind::StorageFull),
        WriteError::DiskFull { .. }
    ));
}

#[test]
fn a_bare_name_is_written_to_the_working_folder() {
    assert_eq!(folder_of(Path::new("a.wav")), Path::new("."));
    assert_eq!(folder_of(Path::new("out/a.wav")), Path::new("out"));
}

#[cfg(unix)]
#[test]
fn what_a_killed_run_left_is_removed_but_nothing_that_is_young_or_being_written() {
    let folder = tempfile::tempdir().unwrap();
    let old = std::time::SystemTime::now() - 2 * ABANDONED_AFTER;
    let mut busy = AtomicFile::create(&folder.path().join("busy.txt"), Overwrite::No).unwrap();
    busy.write_all(b"half").unwrap();
    busy.temp.as_file().set_modified(old).unwrap();
    for (name, is_old) in [
        (".ullage-dead.part", true),
        (".ullage-new.part", false),
        ("notes.part", true),
        (".ullage-notes.txt", true),
    ] {
        let file = File::create(folder.path().join(name)).unwrap();
        if is_old {
            file.set_modified(old).unwrap();
        }
    }
    write_whole(&folder.path().join("next.txt"), b"next", Overwrite::No).unwrap();
    let here = |name: &str| folder.path().join(name).exists();
    assert!(!here(".ullage-dead.part"));
    assert!(here(".ullage-new.part") && here("notes.part") && here(".ullage-notes.txt"));
    busy.commit().unwrap();
    assert_eq!(fs::read(folder.path().join("busy.txt")).unwrap(), b"half");
}

#[test]
fn a_file_that_appears_meanwhile_is_kept() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("late.txt");
    let mut file = AtomicFile::create(&path, Overwrite::No).unwrap();
    file.write_all(b"ours").unwrap();
    fs::write(&path, b"theirs").unwrap();
    assert!(matches!(file.commit(), Err(WriteError::Exists { .. })));
    assert_eq!(fs::read(&path).unwrap(), b"theirs");
    assert!(leftovers(folder.path()).unwrap().is_empty());
}
