//! One writer at a time, by a lock that names its holder.
//!
//! The file `archive.lock` carries the operating system's own lock, which ends with the process that holds it, and
//! says in JSON who that is. So a crashed writer is told by two signs together: nobody holds the lock, and the file
//! still names somebody. On the same machine it is taken over and reported. A holder on another machine is believed, since
//! not every shared disk carries locks from one machine to another; [`unlock`] is for those who know better.

use std::fs::{File, OpenOptions, TryLockError};
use std::io::{Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use crate::Error;
use crate::holder::Holder;

/// The lock, held until it is dropped.
pub(crate) struct Lock {
    file: File,
    /// The holder that died and left the lock behind.
    pub(crate) taken_over: Option<Holder>,
}

impl Lock {
    pub(crate) fn path(root: &Path) -> PathBuf {
        root.join("archive.lock")
    }

    pub(crate) fn take(root: &Path, command: &str) -> Result<Self, Error> {
        let path = Self::path(root);
        let mut file = OpenOptions::new()
            .create(true)
            .truncate(false)
            .read(true)
            .write(true)
            .open(&path)
            .map_err(Error::io("open the lock", &path))?;
        let carried = match file.try_lock() {
            Ok(()) => true,
            Err(TryLockError::WouldBlock) => {
                return Err(Error::Locked {
                    path,
                    holder: named(&mut file).unwrap_or_default().into(),
                });
            }
            // A disk without locks: the name in the file is all there is.
            Err(TryLockError::Error(error)) if error.kind() == std::io::ErrorKind::Unsupported => false,
            Err(TryLockError::Error(error)) => return Err(Error::io("lock", &path)(error)),
        };
        let before = named(&mut file);
        if let Some(holder) = &before {
            let gone = holder.is_here() && (carried || !alive(holder.pid));
            if !gone {
                return Err(Error::Locked {
                    path,
                    holder: holder.clone().into(),
                });
            }
        }
        let text = serde_json::to_string(&Holder::this(command)).unwrap_or_default();
        rewrite(&mut file, text.as_bytes()).map_err(Error::io("write the lock", &path))?;
        Ok(Self {
            file,
            taken_over: before,
        })
    }
}

impl Drop for Lock {
    fn drop(&mut self) {
        // Should this fail, the next writer finds our name and that we are gone.
        let _ = rewrite(&mut self.file, b"");
        let _ = self.file.unlock();
    }
}

/// Whether who runs this may take the lock, so far as that shows without taking it. A disk may refuse all the same.
pub(crate) fn may_be_taken(root: &Path) -> bool {
    match OpenOptions::new().write(true).open(Lock::path(root)) {
        Ok(_) => true,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
            std::fs::metadata(root).is_ok_and(|folder| !folder.permissions().readonly())
        }
        Err(_) => false,
    }
}

/// What `Archive::unlock` found and did.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Unlocked {
    /// Nobody held the lock.
    Free,
    /// It was left behind by this one, and is free now.
    Freed(Holder),
}

/// Frees a lock that was left behind. That its holder is gone is certain where it ran on this machine; of one on another
/// machine the caller must know it (`gone`).
///
/// # Errors
/// [`Error::Locked`] when the holder is at work, or may be.
pub(crate) fn unlock(root: &Path, gone: bool) -> Result<Unlocked, Error> {
    let path = Lock::path(root);
    let mut file = match OpenOptions::new().read(true).write(true).open(&path) {
        Ok(file) => file,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(Unlocked::Free),
        Err(error) => return Err(Error::io("open the lock", &path)(error)),
    };
    let carried = match file.try_lock() {
        Ok(()) => true,
        Err(TryLockError::WouldBlock) => {
            return Err(Error::Locked {
                path,
                holder: named(&mut file).unwrap_or_default().into(),
            });
        }
        Err(TryLockError::Error(error)) if error.kind() == std::io::ErrorKind::Unsupported => false,
        Err(TryLockError::Error(error)) => return Err(Error::io("lock", &path)(error)),
    };
    let Some(holder) = named(&mut file) else {
        return Ok(Unlocked::Free);
    };
    let here = holder.is_here();
    if here && !carried && alive(holder.pid) || !here && !gone {
        return Err(Error::Locked {
            path,
            holder: holder.into(),
        });
    }
    rewrite(&mut file, b"").map_err(Error::io("write the lock", &path))?;
    Ok(Unlocked::Freed(holder))
}

/// Another process that writes, as far as the file of the lock says: one on another machine is believed. The lock itself is
/// not touched, since a look at it must stop nobody.
pub(crate) fn writer(root: &Path) -> Option<Holder> {
    let holder = named(&mut File::open(Lock::path(root)).ok()?)?;
    let at_work = !holder.is_here() || holder.pid != std::process::id() && alive(holder.pid);
    at_work.then_some(holder)
}

fn rewrite(file: &mut File, bytes: &[u8]) -> std::io::Result<()> {
    file.set_len(0)?;
    file.seek(SeekFrom::Start(0))?;
    file.write_all(bytes)
}

fn named(file: &mut File) -> Option<Holder> {
    let mut text = String::new();
    file.seek(SeekFrom::Start(0)).ok()?;
    file.take(4096).read_to_string(&mut text).ok()?;
    serde_json::from_str(&text).ok()
}

/// Whether a process of this host lives; where that cannot be told, it is believed to.
fn alive(pid: u32) -> bool {
    let processes = Path::new("/proc");
    !processes.join("self").exists() || processes.join(pid.to_string()).exists()
}
