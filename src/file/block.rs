//! Large files, written in large blocks past the system's cache.
//!
//! A file gets its name when all of it is on the disk, and then it is read by another program or by nobody. On its way through the
//! system's cache it would be copied once more, push from there what others read, and reach the disk at the end in one piece, while
//! nobody has anything else to do. The system takes blocks past its cache that are whole pages from their beginning to their end.

use std::fs::File;

/// A multiple of every page that a disk is written in, bytes.
const PAGE_BYTES: usize = 4096;
/// Bytes of a file that are written at a time: a quarter as many take half as long again.
pub(super) const BLOCK_BYTES: usize = 1 << 20;
/// The same of a file that is written beside many others, which the disk does several of at once.
pub(super) const SMALL_BLOCK_BYTES: usize = 1 << 18;
/// A sample that begins in a block may end in the next one, bytes.
const SLACK_BYTES: usize = 8;

/// A block of bytes that is filled from its beginning, which is that of a page in memory too.
pub(super) struct Block {
    bytes: Vec<u8>,
    from: usize,
    size: usize,
    filled: usize,
}

impl Block {
    pub(super) fn new(size: usize) -> Self {
        let bytes = vec![0; size + SLACK_BYTES + PAGE_BYTES];
        let from = bytes.as_ptr().align_offset(PAGE_BYTES);
        Self {
            // A system without such a thing says so by a number that is far too large.
            from: if from < PAGE_BYTES { from } else { 0 },
            bytes,
            size,
            filled: 0,
        }
    }

    /// Room for so many more bytes, [`Self::left`] and a sample at most.
    pub(super) fn more(&mut self, count: usize) -> &mut [u8] {
        let from = self.from + self.filled;
        self.filled += count;
        &mut self.bytes[from..from + count]
    }

    /// Bytes of a full one.
    pub(super) fn size(&self) -> usize {
        self.size
    }

    /// Bytes until it is full.
    pub(super) fn left(&self) -> usize {
        self.size.saturating_sub(self.filled)
    }

    /// What is in it, without what belongs to the next one.
    pub(super) fn filled(&self) -> &[u8] {
        &self.bytes[self.from..][..self.filled.min(self.size)]
    }

    /// Goes on with the next one.
    pub(super) fn next(&mut self) {
        let over = self.filled.saturating_sub(self.size);
        let end = self.from + self.size;
        self.bytes.copy_within(end..end + over, self.from);
        self.filled = over;
    }

    /// Whether there is nothing but zeros in it.
    pub(super) fn is_silent(&self) -> bool {
        let (rows, rest) = self.filled().as_chunks::<64>();
        rows.iter()
            .all(|row| row.iter().fold(0, |any, byte| any | byte) == 0)
            && rest.iter().all(|byte| *byte == 0)
    }
}

impl std::fmt::Debug for Block {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Block")
            .field("filled", &self.filled)
            .finish_non_exhaustive()
    }
}

/// Whether bytes may go past the cache from now on: whole pages of them, at the beginning of a page of the file.
pub(super) fn is_whole(bytes: &[u8]) -> bool {
    bytes.len().is_multiple_of(PAGE_BYTES) && bytes.as_ptr().align_offset(PAGE_BYTES) == 0
}

/// Writes past the cache, or no longer; whether that is so now. Not every file system can.
#[cfg(target_os = "linux")]
pub(super) fn pass_cache(file: &File, pass: bool) -> bool {
    use rustix::fs::{OFlags, fcntl_getfl, fcntl_setfl};
    let set = fcntl_getfl(file).and_then(|mut flags| {
        flags.set(OFlags::DIRECT, pass);
        fcntl_setfl(file, flags)
    });
    set.is_ok() && pass
}

#[cfg(not(target_os = "linux"))]
pub(super) fn pass_cache(_file: &File, _pass: bool) -> bool {
    false
}
