//! Writing a file so that it is there whole or not at all.
//!
//! The bytes go to a hidden file in the target's folder; only when all of them are on the disk does
//! that file take the target's name, in one step of the file system. Whatever goes wrong before, the
//! old file is untouched and the hidden one is removed, at Ctrl-C too. A run that is killed outright cannot remove
//! it: a `.ullage-….part` stays behind then, which the next run that writes into this folder removes.

use std::collections::BTreeSet;
use std::ffi::OsString;
use std::fs::{self, File, Metadata, OpenOptions};
use std::io::{self, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use tempfile::NamedTempFile;

use super::block::{is_whole, pass_cache};

/// Age from which a hidden file may be taken for one of a killed run. Younger ones may be about to be locked.
const ABANDONED_AFTER: Duration = Duration::from_secs(60);

/// Links followed before we call it a loop; the limit that Linux itself uses.
const MAX_LINKS: usize = 40;

/// What to do with a file that is already there.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Overwrite {
    /// Leave it alone and fail.
    #[default]
    No,
    /// Replace it, keeping its permissions.
    Yes,
}

impl Overwrite {
    /// Replaces what is there if `force` says so.
    #[must_use]
    pub const fn forced(force: bool) -> Self {
        if force { Self::Yes } else { Self::No }
    }
}

/// Why a file could not be written. Every message names the path.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum WriteError {
    /// The file exists and [`Overwrite::No`] was asked for.
    #[error("{} exists already", path.display())]
    Exists {
        /// The file.
        path: PathBuf,
    },
    /// The path names a folder.
    #[error("{} is a folder, not a file", path.display())]
    IsFolder {
        /// The folder.
        path: PathBuf,
    },
    /// The path names a device, a pipe or a socket, which cannot be replaced by a file.
    #[error("{} is a device or a pipe, not a file", path.display())]
    NotPlain {
        /// The device.
        path: PathBuf,
    },
    /// The path has no file name in it.
    #[error("{:?} has no file name in it", path.display().to_string())]
    NoName {
        /// The path.
        path: PathBuf,
    },
    /// The folder to write in does not exist.
    #[error("cannot write {}: there is no folder {}", path.display(), folder.display())]
    NoFolder {
        /// The file asked for.
        path: PathBuf,
        /// The folder that is missing.
        folder: PathBuf,
    },
    /// The folder, or the file itself, may not be written to.
    #[error("cannot write {}: no permission to write to {}", path.display(), denied.display())]
    NoPermission {
        /// The file asked for.
        path: PathBuf,
        /// What refuses: the folder, or the file when it is marked read-only.
        denied: PathBuf,
    },
    /// The disk, or the share of it that this user may fill, is full.
    #[error("cannot write {}: the disk is full", path.display())]
    DiskFull {
        /// The file asked for.
        path: PathBuf,
        /// What the system said.
        #[source]
        source: io::Error,
    },
    /// Symbolic links that lead back to themselves.
    #[error("{} is a symbolic link that leads nowhere: more than {limit} links in a row", path.display())]
    LinkLoop {
        /// The file asked for.
        path: PathBuf,
        /// How many links were followed.
        limit: usize,
    },
    /// Anything else that the system reports.
    #[error("cannot write {}", path.display())]
    Io {
        /// The file asked for.
        path: PathBuf,
        /// What the system said.
        #[source]
        source: io::Error,
    },
}

impl WriteError {
    /// Sorts a failure of the system while writing `path` into the kinds a person can act on.
    #[must_use]
    pub fn from_io(path: &Path, source: io::Error) -> Self {
        let path = path.to_path_buf();
        match source.kind() {
            io::ErrorKind::StorageFull
            | io::ErrorKind::QuotaExceeded
            | io::ErrorKind::WriteZero => Self::DiskFull { path, source },
            _ => Self::Io { path, source },
        }
    }
}

/// The hidden files that this process is writing.
static UNFINISHED: Mutex<BTreeSet<PathBuf>> = Mutex::new(BTreeSet::new());

/// A hidden file's place among those being written, until it has its name or is gone.
#[derive(Debug)]
struct Unfinished(PathBuf);

impl Unfinished {
    fn new(path: &Path) -> Self {
        unfinished().insert(path.to_path_buf());
        Self(path.to_path_buf())
    }
}

impl Drop for Unfinished {
    fn drop(&mut self) {
        unfinished().remove(&self.0);
    }
}

fn unfinished() -> MutexGuard<'static, BTreeSet<PathBuf>> {
    // A set of paths is whole after any panic.
    UNFINISHED.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Removes what is half written, then does `last`, before which no other file is begun: for a program that has to end.
pub fn abandon_all(last: impl FnOnce()) {
    let now = unfinished();
    for path in now.iter() {
        let _ = fs::remove_file(path);
    }
    last();
}

/// A file being written. It appears under its name at [`commit`](Self::commit); dropped before, it
/// leaves nothing behind.
///
/// ```
/// use std::io::Write;
/// use ullage::file::atomic::{AtomicFile, Overwrite};
/// # let folder = tempfile::tempdir().unwrap();
/// let path = folder.path().join("pour.txt");
/// let mut file = AtomicFile::create(&path, Overwrite::No)?;
/// file.write_all(b"C4: 212 ml\n").unwrap();
/// assert!(!path.exists());
/// file.commit()?;
/// assert!(path.exists());
/// # Ok::<(), ullage::file::atomic::WriteError>(())
/// ```
#[derive(Debug)]
pub struct AtomicFile {
    temp: NamedTempFile,
    /// Dropped after `temp`, which removes the file.
    listed: Unfinished,
    /// As the user wrote it, for messages.
    asked: PathBuf,
    /// With symbolic links followed: the file that is really replaced.
    target: PathBuf,
    overwrite: Overwrite,
    passes_cache: bool,
}

/// A file that is on the disk and has no name yet.
#[derive(Debug)]
pub(crate) struct Kept(AtomicFile);

impl AtomicFile {
    /// Starts a file that will be called `path`. Everything that can be refused is refused here,
    /// before any work is done; a symbolic link is followed, so that the link stays and the file it
    /// points to is replaced.
    ///
    /// # Errors
    ///
    /// See [`WriteError`]; the disk being full shows only later, in the writes or in `commit`.
    pub fn create(path: &Path, overwrite: Overwrite) -> Result<Self, WriteError> {
        if path.file_name().is_none() {
            let path = path.to_path_buf();
            return Err(if path.is_dir() {
                WriteError::IsFolder { path }
            } else {
                WriteError::NoName { path }
            });
        }
        let target = follow_links(path)?;
        let old = existing(path, &target, overwrite)?;
        remove_abandoned(folder_of(&target));
        let temp = open_temp(path, folder_of(&target))?;
        let listed = Unfinished::new(temp.path());
        if let Some(old) = &old {
            keep_mode(temp.as_file(), old).map_err(|e| WriteError::from_io(path, e))?;
        }
        Ok(Self {
            temp,
            listed,
            asked: path.to_path_buf(),
            target,
            overwrite,
            passes_cache: false,
        })
    }

    /// Takes whole pages past the system's cache, see [`block`](super::block), for as long as nothing else is written.
    pub(super) fn past_cache(mut self) -> Self {
        self.passes_cache = pass_cache(self.temp.as_file(), true);
        self
    }

    /// The folder that the bytes are in until they are committed, and after.
    #[must_use]
    pub fn folder(&self) -> &Path {
        folder_of(&self.target)
    }

    /// Puts every byte on the disk, then gives the file its name.
    ///
    /// # Errors
    ///
    /// [`WriteError::Exists`] when a file of that name has appeared meanwhile and must not be
    /// replaced; [`WriteError::DiskFull`] and [`WriteError::Io`] from the system. The old file is
    /// whole after any of them.
    pub fn commit(self) -> Result<(), WriteError> {
        let folder = self.folder().to_path_buf();
        self.keep()?.name()?;
        sync_folder(&folder);
        Ok(())
    }

    /// Puts every byte on the disk: the first half of [`Self::commit`].
    pub(crate) fn keep(self) -> Result<Kept, WriteError> {
        // Without this a power cut soon after the rename can leave a file of the right name and no content.
        let synced = self.temp.as_file().sync_all();
        synced.map_err(|e| WriteError::from_io(&self.asked, e))?;
        Ok(Kept(self))
    }
}

impl Kept {
    /// The folder that it is in, and will be.
    pub(crate) fn folder(&self) -> &Path {
        self.0.folder()
    }

    /// Gives it its name. When all of a folder have theirs, [`sync_folder`] is due.
    pub(crate) fn name(self) -> Result<(), WriteError> {
        let AtomicFile {
            temp,
            listed: _listed,
            asked,
            target,
            overwrite,
            ..
        } = self.0;
        match overwrite {
            Overwrite::Yes => match temp.persist(&target) {
                Ok(_) => Ok(()),
                Err(e) => Err(WriteError::from_io(&asked, e.error)),
            },
            Overwrite::No => rename_to_new(temp, &asked, &target),
        }
    }
}

impl Write for AtomicFile {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        if self.passes_cache && is_whole(bytes) {
            match self.temp.as_file_mut().write(bytes) {
                // Larger pages than ours, or none: then as everything else is written.
                Err(e) if e.kind() == io::ErrorKind::InvalidInput => {}
                written => return written,
            }
        }
        if self.passes_cache {
            self.passes_cache = pass_cache(self.temp.as_file(), false);
        }
        self.temp.as_file_mut().write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.temp.as_file_mut().flush()
    }
}

impl Seek for AtomicFile {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        self.temp.as_file_mut().seek(to)
    }
}

/// Writes `bytes` as the whole content of `path`, atomically.
///
/// # Errors
///
/// As [`AtomicFile::create`] and [`AtomicFile::commit`].
pub fn write_whole(path: &Path, bytes: &[u8], overwrite: Overwrite) -> Result<(), WriteError> {
    let mut file = AtomicFile::create(path, overwrite)?;
    file.write_all(bytes)
        .map_err(|e| WriteError::from_io(path, e))?;
    file.commit()
}

fn folder_of(target: &Path) -> &Path {
    match target.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

/// The file that a write to `path` would reach. A link to a file that does not exist yet is followed
/// too, which is why the system's own resolver does not do here.
fn follow_links(path: &Path) -> Result<PathBuf, WriteError> {
    let mut target = path.to_path_buf();
    for _ in 0..MAX_LINKS {
        match fs::symlink_metadata(&target) {
            Ok(meta) if meta.is_symlink() => {
                let link = fs::read_link(&target).map_err(|e| WriteError::from_io(path, e))?;
                target = folder_of(&target).join(link);
            }
            _ => return Ok(target),
        }
    }
    Err(WriteError::LinkLoop {
        path: path.to_path_buf(),
        limit: MAX_LINKS,
    })
}

/// What is at `target` now, if it may be replaced; `None` when nothing is there.
fn existing(
    asked: &Path,
    target: &Path,
    overwrite: Overwrite,
) -> Result<Option<Metadata>, WriteError> {
    let path = asked.to_path_buf();
    let meta = match fs::metadata(target) {
        Ok(meta) => meta,
        Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(None),
        Err(e) => return Err(denied_or_io(asked, folder_of(target), e)),
    };
    if meta.is_dir() {
        Err(WriteError::IsFolder { path })
    } else if !meta.is_file() {
        // A rename would put a plain file where the device was: as root, even in place of /dev/null.
        Err(WriteError::NotPlain { path })
    } else if overwrite == Overwrite::No {
        Err(WriteError::Exists { path })
    } else if meta.permissions().readonly() {
        // The rename would succeed; but somebody marked this file to be left alone.
        let denied = target.to_path_buf();
        Err(WriteError::NoPermission { path, denied })
    } else {
        Ok(Some(meta))
    }
}

fn open_temp(asked: &Path, folder: &Path) -> Result<NamedTempFile, WriteError> {
    let mut builder = tempfile::Builder::new();
    // A fixed prefix, not the target's name: that could make a name too long for the file system.
    builder.prefix(".ullage-").suffix(".part");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        // The library would make it private to its owner; this is what any program asks for, and the
        // system then applies the user's mask.
        builder.permissions(fs::Permissions::from_mode(0o666));
    }
    let temp = builder
        .tempfile_in(folder)
        .map_err(|e| denied_or_io(asked, folder, e))?;
    // The system lets go of it when this process ends, however it ends. Where nothing can be locked, nothing is removed
    // either.
    #[cfg(unix)]
    let _ = temp.as_file().try_lock();
    Ok(temp)
}

/// Removes what killed runs have left in `folder`: hidden files of some age that no process holds locked.
///
/// Whatever goes wrong here is no reason not to write.
#[cfg(unix)]
fn remove_abandoned(folder: &Path) {
    let is_abandoned = |path: &PathBuf| -> io::Result<bool> {
        let meta = fs::symlink_metadata(path)?;
        let age = meta.modified()?.elapsed().unwrap_or_default();
        if !meta.is_file() || age < ABANDONED_AFTER {
            return Ok(false);
        }
        Ok(OpenOptions::new()
            .write(true)
            .open(path)?
            .try_lock()
            .is_ok())
    };
    for path in leftovers(folder).unwrap_or_default() {
        if is_abandoned(&path).unwrap_or(false) {
            let _ = fs::remove_file(path);
        }
    }
}

/// Elsewhere a lock would keep the owner itself out: they stay.
#[cfg(not(unix))]
fn remove_abandoned(_folder: &Path) {}

/// Sorts a failure to reach or to use `folder`.
fn denied_or_io(asked: &Path, folder: &Path, error: io::Error) -> WriteError {
    let path = asked.to_path_buf();
    match error.kind() {
        io::ErrorKind::NotFound | io::ErrorKind::NotADirectory => WriteError::NoFolder {
            path,
            folder: folder.to_path_buf(),
        },
        io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => {
            WriteError::NoPermission {
                path,
                denied: folder.to_path_buf(),
            }
        }
        _ => WriteError::from_io(asked, error),
    }
}

/// Gives the new file the mode and, where we may, the owner of the one it replaces.
fn keep_mode(file: &File, old: &Metadata) -> io::Result<()> {
    #[cfg(unix)]
    {
        use std::os::unix::fs::{MetadataExt, fchown};
        let new = file.metadata()?;
        if (new.uid(), new.gid()) != (old.uid(), old.gid()) {
            // Only root can give a file away; for others the new file is simply theirs.
            let _ = fchown(file, Some(old.uid()), Some(old.gid()));
        }
    }
    file.set_permissions(old.permissions())
}

/// Renames without replacing. Some file systems (exFAT, for one) can do that neither by a flag nor by
/// a hard link; there we look first and then rename.
fn rename_to_new(temp: NamedTempFile, asked: &Path, target: &Path) -> Result<(), WriteError> {
    let Err(failure) = temp.persist_noclobber(target) else {
        return Ok(());
    };
    let path = asked.to_path_buf();
    if failure.error.kind() == io::ErrorKind::AlreadyExists || target.exists() {
        return Err(WriteError::Exists { path });
    }
    match failure.file.persist(target) {
        Ok(_) => Ok(()),
        Err(e) => Err(WriteError::from_io(asked, e.error)),
    }
}

/// Makes the new name itself last. Not every system lets a folder be synced; the file is safe anyway.
pub(crate) fn sync_folder(folder: &Path) {
    #[cfg(unix)]
    if let Ok(opened) = File::open(folder) {
        let _ = opened.sync_all();
    }
    #[cfg(not(unix))]
    let _ = folder;
}

/// The hidden files that a killed run has left in `folder`, for whoever wants to offer a clean-up.
///
/// # Errors
///
/// What the system says when the folder cannot be listed.
pub fn leftovers(folder: &Path) -> io::Result<Vec<PathBuf>> {
    let ours = |name: &OsString| {
        let name = name.to_string_lossy();
        name.starts_with(".ullage-") && name.ends_with(".part")
    };
    let mut found = Vec::new();
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        if ours(&entry.file_name()) {
            found.push(entry.path());
        }
    }
    found.sort();
    Ok(found)
}

#[cfg(test)]
#[path = "atomic_tests.rs"]
mod tests;
