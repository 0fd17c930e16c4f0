//! The few things the writer does to a disk, behind one seam so that tests can make any of them fail.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::Path;
use std::sync::Arc;

/// What the writer asks of a disk.
pub(crate) trait Disk: Send + Sync {
    /// Opens a file for writing at byte `at`, made if it is not there; what lies beyond is cut off.
    fn open_at(&self, path: &Path, at: u64) -> io::Result<Box<dyn Tail>>;
    /// Puts `bytes` in the place of the file's content by one atomic rename.
    fn replace(&self, path: &Path, bytes: &[u8]) -> io::Result<()>;
}

/// The end of an append-only file.
pub(crate) trait Tail: Send {
    /// Writes at the end.
    fn write(&mut self, bytes: &[u8]) -> io::Result<()>;
    /// Returns when the bytes are on the disk.
    fn sync(&mut self) -> io::Result<()>;
}

/// The real disk.
pub(crate) struct RealDisk;

impl RealDisk {
    pub(crate) fn shared() -> Arc<dyn Disk> {
        Arc::new(Self)
    }
}

impl Disk for RealDisk {
    fn open_at(&self, path: &Path, at: u64) -> io::Result<Box<dyn Tail>> {
        let mut file = OpenOptions::new()
            .create(true)
            .truncate(false)
            .read(true)
            .write(true)
            .open(path)?;
        let length = file.metadata()?.len();
        if length < at {
            return Err(io::Error::new(
                io::ErrorKind::UnexpectedEof,
                format!("{length} bytes were found, {at} were committed"),
            ));
        }
        if length > at {
            file.set_len(at)?;
        }
        file.seek(SeekFrom::Start(at))?;
        Ok(Box::new(file))
    }

    fn replace(&self, path: &Path, bytes: &[u8]) -> io::Result<()> {
        let folder = path.parent().unwrap_or(Path::new("."));
        let mut name = path.file_name().unwrap_or_default().to_owned();
        name.push(".new");
        let fresh = folder.join(name);
        let mut file = File::create(&fresh)?;
        file.write_all(bytes)?;
        file.sync_all()?;
        drop(file);
        fs::rename(&fresh, path)?;
        sync_folder(folder)
    }
}

impl Tail for File {
    fn write(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.write_all(bytes)
    }

    fn sync(&mut self) -> io::Result<()> {
        self.sync_all()
    }
}

/// Makes the names in a folder durable. Systems on which a folder cannot be opened do so by themselves.
pub(crate) fn sync_folder(folder: &Path) -> io::Result<()> {
    match File::open(folder) {
        Ok(folder) if cfg!(unix) => folder.sync_all(),
        _ => Ok(()),
    }
}

/// `length` bytes of a file from byte `at` on.
pub(crate) fn read_at(path: &Path, at: u64, length: usize) -> io::Result<Vec<u8>> {
    let mut file = File::open(path)?;
    file.seek(SeekFrom::Start(at))?;
    let mut bytes = Vec::new();
    // `take` bounds what a damaged length could ask for by what is there.
    file.take(length as u64).read_to_end(&mut bytes)?;
    if bytes.len() < length {
        return Err(io::Error::new(
            io::ErrorKind::UnexpectedEof,
            format!(
                "{} bytes were found from byte {at} on, {length} were committed",
                bytes.len()
            ),
        ));
    }
    Ok(bytes)
}
