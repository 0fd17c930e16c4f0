//! What a repair cannot read is moved aside and told, never deleted.

use std::fs;
use std::path::{Path, PathBuf};

use crate::disk::{Disk, RealDisk, read_at, sync_folder};
use crate::{Error, now};

/// Where bytes go that are no whole entries.
pub(crate) struct Aside<'a> {
    root: &'a Path,
    /// What was moved, a sentence a file.
    pub(crate) told: Vec<String>,
    /// What was committed and cannot be had any more.
    pub(crate) lost: Vec<String>,
}

/// What a repair did, a sentence each.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Mended {
    /// What is as it should be again, and what was moved.
    pub done: Vec<String>,
    /// What was committed and cannot be had any more.
    pub lost: Vec<String>,
}

impl<'a> Aside<'a> {
    pub(crate) fn new(root: &'a Path) -> Self {
        Self {
            root,
            told: Vec::new(),
            lost: Vec::new(),
        }
    }

    /// Copies what a file holds from byte `from` on into `aside/`. An absent file has nothing.
    pub(crate) fn keep(&mut self, path: &Path, from: u64) -> Result<(), Error> {
        let whole = fs::metadata(path).map_or(0, |metadata| metadata.len());
        if whole > from {
            self.keep_some(path, from, whole - from, "were no whole entry")?;
        }
        Ok(())
    }

    /// Copies a whole file into `aside/`, also an empty one.
    pub(crate) fn keep_all(&mut self, path: &Path, what: &str) -> Result<(), Error> {
        let whole = fs::metadata(path).map_or(0, |metadata| metadata.len());
        self.keep_some(path, 0, whole, what)
    }

    /// Copies some bytes of a file into `aside/`, and tells what they were.
    pub(crate) fn keep_some(&mut self, path: &Path, from: u64, length: u64, what: &str) -> Result<(), Error> {
        let folder = self.root.join("aside");
        fs::create_dir_all(&folder).map_err(Error::io("make the folder", &folder))?;
        let name = path.file_name().and_then(|name| name.to_str()).unwrap_or("part");
        let kept = free(&folder, name);
        let bytes = read_at(path, from, usize::try_from(length).unwrap_or(usize::MAX))
            .map_err(Error::io("read", path))?;
        RealDisk
            .replace(&kept, &bytes)
            .map_err(Error::io("write", &kept))?;
        sync_folder(self.root).map_err(Error::io("sync", self.root))?;
        self.told.push(format!(
            "{name}: {length} bytes from byte {from} on {what} and are kept in aside/{}",
            kept.file_name().unwrap_or_default().to_string_lossy()
        ));
        Ok(())
    }
}

/// Moves whatever stands at a path into `aside/`, as it is.
pub(crate) fn put(root: &Path, path: &Path) -> Result<(), Error> {
    let folder = root.join("aside");
    fs::create_dir_all(&folder).map_err(Error::io("make the folder", &folder))?;
    let name = path.file_name().and_then(|name| name.to_str()).unwrap_or("part");
    fs::rename(path, free(&folder, name)).map_err(Error::io("move aside", path))?;
    sync_folder(root).map_err(Error::io("sync", root))
}

/// A name in `aside/` that nothing has yet.
fn free(folder: &Path, name: &str) -> PathBuf {
    let stamp = now().replace([':', '-'], "");
    (0..)
        .map(|number| folder.join(format!("{stamp}-{number}-{name}")))
        .find(|kept| !kept.exists())
        .unwrap_or_else(|| folder.join(name))
}

/// So many of something, in words.
pub(crate) fn count(number: usize, one: &str, several: &str) -> String {
    format!("{number} {}", if number == 1 { one } else { several })
}
