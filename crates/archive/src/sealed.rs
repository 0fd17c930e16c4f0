//! The files of the index engine with a checksum for each block, looked at when the block is read.
//!
//! The engine keeps one checksum a file, and comparing it means reading the file. Here every file is followed by the CRC-32
//! of each of its blocks, so that only what is read is checked, once, and what an answer is made of was checked. Small
//! files that are replaced as a whole carry one CRC-32 at their end. The engine's names are unique, and the file's own name is
//! under its checksum, so that a whole file of another index in its place is noticed too.
//!
//! ```text
//! block 0, block 1, …   CRC-32 of each block   length of the blocks (8)   CRC-32 of the name and those (4)   mark (8)
//! ```

use std::fmt;
use std::io::{self, Write};
use std::ops::Range;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

use tantivy::HasLen;
use tantivy::directory::error::{DeleteError, LockError, OpenDirectoryError, OpenReadError, OpenWriteError};
use tantivy::directory::{
    AntiCallToken, Directory, DirectoryLock, FileHandle, Lock, MmapDirectory, OwnedBytes, TerminatingWrite,
    WatchCallback, WatchHandle, WritePtr,
};

/// The length of a block in bytes. A look-up in a dictionary reads one or two; the checksums take a quarter of a
/// thousandth of the index.
const BLOCK: usize = 16 << 10;
/// Stands at the end of every file, so that one without checksums is told from a damaged one.
const MARK: &[u8; 8] = b"cvseal02";
/// Stands at the end of files whose name is not under the checksum, as they were written before.
const MARK_WITHOUT_NAME: &[u8; 8] = b"cvseal01";
/// Length of the blocks, checksum of the checksums, mark.
const TAIL: usize = 8 + 4 + 8;

/// A folder of sealed files.
#[derive(Clone)]
pub(crate) struct Sealed {
    inner: MmapDirectory,
    damaged: Arc<AtomicBool>,
}

impl fmt::Debug for Sealed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.inner.fmt(f)
    }
}

impl Sealed {
    pub(crate) fn open(path: &Path) -> Result<Self, OpenDirectoryError> {
        Ok(Self {
            inner: MmapDirectory::open(path)?,
            damaged: Arc::new(AtomicBool::new(false)),
        })
    }

    /// Whether something was read that is not what was written.
    pub(crate) fn is_damaged(&self) -> bool {
        self.damaged.load(Ordering::Relaxed)
    }

    /// Reads every block of a file.
    pub(crate) fn check(&self, path: &Path) -> io::Result<()> {
        let file = self.get_file_handle(path).map_err(io::Error::other)?;
        file.read_bytes(0..file.len()).map(drop)
    }

    fn wrong(&self, path: &Path, what: &str) -> io::Error {
        self.damaged.store(true, Ordering::Relaxed);
        io::Error::new(
            io::ErrorKind::InvalidData,
            format!("{}: {what}, expected the bytes that were written", path.display()),
        )
    }

    fn unreadable(&self, path: &Path, what: &str) -> OpenReadError {
        OpenReadError::wrap_io_error(self.wrong(path, what), path.to_owned())
    }
}

impl Directory for Sealed {
    fn get_file_handle(&self, path: &Path) -> Result<Arc<dyn FileHandle>, OpenReadError> {
        let inner = self.inner.get_file_handle(path).inspect_err(|error| {
            if matches!(error, OpenReadError::FileDoesNotExist(_)) {
                self.damaged.store(true, Ordering::Relaxed);
            }
        })?;
        let whole = inner
            .read_bytes(0..inner.len())
            .map_err(|error| OpenReadError::wrap_io_error(error, path.to_owned()))?;
        let (length, sums) = parts(path, &whole).ok_or_else(|| self.unreadable(path, "no whole file"))?;
        let sums = sums.chunks_exact(4).map(number).collect::<Vec<u32>>();
        Ok(Arc::new(SealedFile {
            content: whole.slice(0..length),
            checked: (0..sums.len().div_ceil(64)).map(|_| AtomicU64::new(0)).collect(),
            sums,
            name: path.display().to_string(),
            folder: self.clone(),
        }))
    }

    fn delete(&self, path: &Path) -> Result<(), DeleteError> {
        self.inner.delete(path)
    }

    fn exists(&self, path: &Path) -> Result<bool, OpenReadError> {
        self.inner.exists(path)
    }

    fn open_write(&self, path: &Path) -> Result<WritePtr, OpenWriteError> {
        let inner = self.inner.open_write(path)?;
        Ok(WritePtr::new(Box::new(Sealer {
            inner,
            begun: begun(path),
            sums: Vec::new(),
            open: crc32fast::Hasher::new(),
            filled: 0,
            length: 0,
        })))
    }

    fn atomic_read(&self, path: &Path) -> Result<Vec<u8>, OpenReadError> {
        let mut bytes = self.inner.atomic_read(path)?;
        let content = bytes
            .split_last_chunk::<4>()
            .filter(|(content, sum)| crc32fast::hash(content) == u32::from_le_bytes(**sum))
            .map(|(content, _)| content.len());
        match content {
            Some(length) => {
                bytes.truncate(length);
                Ok(bytes)
            }
            None => Err(self.unreadable(path, "another checksum")),
        }
    }

    fn atomic_write(&self, path: &Path, data: &[u8]) -> io::Result<()> {
        let mut sealed = data.to_vec();
        sealed.extend_from_slice(&crc32fast::hash(data).to_le_bytes());
        self.inner.atomic_write(path, &sealed)
    }

    fn sync_directory(&self) -> io::Result<()> {
        self.inner.sync_directory()
    }

    fn acquire_lock(&self, lock: &Lock) -> Result<DirectoryLock, LockError> {
        match self.inner.acquire_lock(lock) {
            // Who may only read cannot open the lock's file, and needs none: a file that goes meanwhile is noticed.
            Err(LockError::IoError(error))
                if lock.is_blocking
                    && matches!(
                        error.kind(),
                        io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem
                    ) =>
            {
                Ok(DirectoryLock::from(Box::new(())))
            }
            locked => locked,
        }
    }

    fn watch(&self, callback: WatchCallback) -> tantivy::Result<WatchHandle> {
        self.inner.watch(callback)
    }
}

fn number(four: &[u8]) -> u32 {
    four.iter()
        .rev()
        .fold(0, |number, &byte| number << 8 | u32::from(byte))
}

/// The beginning of the checksum of checksums: the file's name.
fn begun(path: &Path) -> crc32fast::Hasher {
    let mut hash = crc32fast::Hasher::new();
    hash.update(path.file_name().unwrap_or_default().as_encoded_bytes());
    hash
}

/// The length of the blocks and their checksums; `None` when the file does not end as it should.
fn parts<'w>(path: &Path, whole: &'w [u8]) -> Option<(usize, &'w [u8])> {
    let (front, tail) = whole.split_at_checked(whole.len().checked_sub(TAIL)?)?;
    let length = usize::try_from(u64::from_le_bytes(tail.get(..8)?.try_into().ok()?)).ok()?;
    let sums = front.get(length..)?;
    let mut hash = match tail.get(12..)? {
        mark if mark == MARK => begun(path),
        mark if mark == MARK_WITHOUT_NAME => crc32fast::Hasher::new(),
        _ => return None,
    };
    hash.update(sums);
    hash.update(tail.get(..8)?);
    let whole = sums.len() == 4 * length.div_ceil(BLOCK) && hash.finalize() == number(tail.get(8..12)?);
    whole.then_some((length, sums))
}

/// A file whose blocks are checked when they are first read.
struct SealedFile {
    content: OwnedBytes,
    sums: Vec<u32>,
    /// A bit for each block that was found to be whole.
    checked: Vec<AtomicU64>,
    name: String,
    folder: Sealed,
}

impl fmt::Debug for SealedFile {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "SealedFile({})", self.name)
    }
}

impl HasLen for SealedFile {
    fn len(&self) -> usize {
        self.content.len()
    }
}

impl FileHandle for SealedFile {
    fn read_bytes(&self, range: Range<usize>) -> io::Result<OwnedBytes> {
        let wrong = |what: &str| self.folder.wrong(Path::new(&self.name), what);
        if range.start > range.end || range.end > self.content.len() {
            return Err(wrong("a place beyond the end of the file"));
        }
        for block in range.start / BLOCK..range.end.div_ceil(BLOCK) {
            let (word, bit) = (&self.checked[block / 64], 1 << (block % 64));
            if word.load(Ordering::Relaxed) & bit != 0 {
                continue;
            }
            let bytes = &self.content[block * BLOCK..self.content.len().min((block + 1) * BLOCK)];
            if crc32fast::hash(bytes) != self.sums[block] {
                return Err(wrong("other bytes"));
            }
            word.fetch_or(bit, Ordering::Relaxed);
        }
        Ok(self.content.slice(range))
    }
}

/// Writes a file with its checksums.
struct Sealer {
    inner: WritePtr,
    /// The checksum of the file's name.
    begun: crc32fast::Hasher,
    sums: Vec<u8>,
    /// The checksum of the block that is being filled, and how much of it is filled.
    open: crc32fast::Hasher,
    filled: usize,
    length: u64,
}

impl Write for Sealer {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let written = self.inner.write(bytes)?;
        let mut left = bytes.get(..written).unwrap_or(bytes);
        self.length += written as u64;
        while !left.is_empty() {
            let (now, later) = left.split_at(left.len().min(BLOCK - self.filled));
            self.open.update(now);
            self.filled += now.len();
            if self.filled == BLOCK {
                self.close();
            }
            left = later;
        }
        Ok(written)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.inner.flush()
    }
}

impl Sealer {
    fn close(&mut self) {
        let sum = std::mem::take(&mut self.open).finalize();
        self.sums.extend_from_slice(&sum.to_le_bytes());
        self.filled = 0;
    }
}

impl TerminatingWrite for Sealer {
    fn terminate_ref(&mut self, token: AntiCallToken) -> io::Result<()> {
        if self.filled > 0 {
            self.close();
        }
        self.sums.extend_from_slice(&self.length.to_le_bytes());
        self.begun.update(&self.sums);
        let sum = self.begun.clone().finalize();
        self.inner.write_all(&self.sums)?;
        self.inner.write_all(&sum.to_le_bytes())?;
        self.inner.write_all(MARK)?;
        self.inner.terminate_ref(token)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_flipped_bit_of_a_file_is_noticed() {
        let folder = tempfile_folder("bits");
        let (name, small) = (Path::new("a.bin"), Path::new("b.json"));
        let sealed = Sealed::open(&folder).expect("a folder");
        let content: Vec<u8> = (0..40_000_u32)
            .map(|n| u8::try_from(n * 7 % 251).expect("small"))
            .collect();
        let mut file = sealed.open_write(name).expect("it is new");
        file.write_all(&content).expect("it writes");
        file.terminate().expect("it ends");
        sealed.atomic_write(small, b"{\"a\": 1}").expect("it writes");
        assert!(sealed.check(name).is_ok() && !sealed.is_damaged());
        let part = sealed.get_file_handle(name).expect("it opens");
        assert_eq!(
            part.read_bytes(16_000..33_000).expect("it reads").as_slice(),
            &content[16_000..33_000]
        );
        assert_eq!(sealed.atomic_read(small).expect("it reads"), b"{\"a\": 1}");
        for (name, step) in [(name, 97), (small, 1)] {
            let path = folder.join(name);
            let whole = std::fs::read(&path).expect("its bytes");
            for at in (0..whole.len() * 8).step_by(step) {
                let mut flipped = whole.clone();
                flipped[at / 8] ^= 1 << (at % 8);
                // A new file, since the old one is still mapped.
                std::fs::remove_file(&path).expect("it goes");
                std::fs::write(&path, &flipped).expect("it writes");
                let again = Sealed::open(&folder).expect("a folder");
                let read = if name == small {
                    again.atomic_read(name).is_ok()
                } else {
                    again.check(name).is_ok()
                };
                assert!(!read && again.is_damaged(), "bit {at} of {}", path.display());
            }
        }
        let _ = std::fs::remove_dir_all(&folder);
    }

    #[test]
    fn a_file_under_another_name_is_noticed() {
        let folder = tempfile_folder("names");
        let sealed = Sealed::open(&folder).expect("a folder");
        for (name, mark) in [("a.bin", MARK), ("b.bin", MARK_WITHOUT_NAME)] {
            let mut file = sealed.open_write(Path::new(name)).expect("it is new");
            file.write_all(&[7; 40_000]).expect("it writes");
            file.terminate().expect("it ends");
            if mark == MARK_WITHOUT_NAME {
                let mut bytes = std::fs::read(folder.join(name)).expect("its bytes");
                let (content, end) = (40_000, bytes.len() - 12);
                let sum = crc32fast::hash(&bytes[content..end]);
                bytes.truncate(end);
                bytes.extend(sum.to_le_bytes());
                bytes.extend(mark);
                std::fs::write(folder.join(name), bytes).expect("it writes");
            }
            assert!(sealed.check(Path::new(name)).is_ok(), "{name}");
        }
        std::fs::rename(folder.join("a.bin"), folder.join("c.bin")).expect("it moves");
        assert!(sealed.check(Path::new("c.bin")).is_err() && sealed.is_damaged());
        let _ = std::fs::remove_dir_all(&folder);
    }

    fn tempfile_folder(of: &str) -> std::path::PathBuf {
        let folder = std::env::temp_dir().join(format!("curvary-sealed-{of}-{}", std::process::id()));
        let _ = std::fs::remove_dir_all(&folder);
        std::fs::create_dir_all(&folder).expect("a folder");
        folder
    }
}
