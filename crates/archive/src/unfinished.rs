//! `unfinished.json`: stands while a commit is being written, and says from which manifest it began.
//!
//! It is written and synced before the first byte that lies beyond what the manifest lists, and removed when the next
//! manifest stands. So bytes beyond the manifest are of two kinds: the tail of a commit that was cut short, which says so
//! here and is cut off by the next writer; and entries that the manifest should list and does not, because it is absent or
//! an older one was put in its place. Those are never touched: [`Error::Unlisted`] says how to go on.

use std::fs;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::disk::{Disk, read_at, sync_folder};
use crate::manifest::Manifest;
use crate::manifest::{Part, Stretch, beyond, is_whole, unlisted};
use crate::originals::zipped;
use crate::{Error, now, originals};

/// A commit that is being written.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Unfinished {
    /// The checksum of the manifest from which it began.
    base: String,
    /// When it began, RFC 3339.
    at: String,
}

impl Unfinished {
    fn path(root: &Path) -> PathBuf {
        root.join("unfinished.json")
    }

    /// Says that bytes beyond `manifest` are about to be written.
    pub(crate) fn announce(root: &Path, manifest: &Manifest, disk: &dyn Disk) -> Result<(), Error> {
        let path = Self::path(root);
        let unfinished = Self {
            base: manifest.checksum().to_owned(),
            at: now(),
        };
        let text = serde_json::to_vec(&unfinished)
            .map_err(|error| Error::damaged(&path, None, error.to_string(), "a note of a commit"))?;
        disk.replace(&path, &text).map_err(Error::io("write", &path))
    }

    /// Takes the announcement away, now that no byte lies beyond the manifest.
    pub(crate) fn clear(root: &Path) -> Result<(), Error> {
        let path = Self::path(root);
        match fs::remove_file(&path) {
            Ok(()) => sync_folder(root).map_err(Error::io("sync", root)),
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(()),
            Err(error) => Err(Error::io("remove", &path)(error)),
        }
    }

    /// Whether a commit that began from this manifest was cut short, or is being written now.
    fn of(root: &Path, manifest: &Manifest) -> bool {
        // An announcement that cannot be read explains nothing.
        let read = fs::read(Self::path(root)).ok();
        let unfinished = read.and_then(|bytes| serde_json::from_slice::<Self>(&bytes).ok());
        unfinished.is_some_and(|unfinished| unfinished.base == manifest.checksum())
    }
}

/// Whether every byte beyond the manifest is the tail of a commit that began from it.
///
/// # Errors
/// [`Error::Unlisted`] when one is not; [`Error::Damaged`] when the notes are not what was committed, and longer.
pub(crate) fn explained(root: &Path, manifest: &Manifest) -> Result<(), Error> {
    let beyond = beyond(root, manifest);
    let notes = &manifest.notes;
    // Somebody has edited them: that is no matter of the manifest.
    if notes.length > 0 && beyond.iter().any(|(name, _)| *name == notes.name) && !is_whole(root, notes) {
        return Err(Error::damaged(
            &root.join(&notes.name),
            None,
            "other bytes than were committed",
            "the notes of the last commit",
        ));
    }
    match beyond.first() {
        Some((name, bytes)) if !Unfinished::of(root, manifest) => Err(Error::Unlisted {
            path: Manifest::path(root),
            found: format!(
                "{bytes} bytes in {name} that it does not list{}",
                match beyond.len() - 1 {
                    0 => String::new(),
                    others => format!(", and more in {others} other files"),
                }
            ),
            expected: "the manifest of the last commit (this one is older or of another archive)".into(),
        }),
        _ => Ok(()),
    }
}

/// Cuts off the tail of a commit that was cut short, and writes directories of ZIP files, which older formats have, again
/// where they are not as committed.
///
/// # Errors
/// [`Error::Unlisted`] before anything is touched, when what lies beyond the manifest is no such tail.
pub(crate) fn restore(root: &Path, manifest: &Manifest, disk: &dyn Disk) -> Result<(), Error> {
    explained(root, manifest)?;
    let last = manifest.originals.len().saturating_sub(1);
    for (number, part) in manifest.originals.iter().enumerate() {
        let path = root.join(&part.name);
        if originals::is_zip(&part.name) && (number == last || length_of(&path)? != part.whole()) {
            restore_zip(&path, part, disk)?;
        }
    }
    for part in manifest
        .originals
        .iter()
        .filter(|part| !originals::is_zip(&part.name))
        .chain(&manifest.records)
        .chain((manifest.notes.length > 0).then_some(&manifest.notes))
    {
        let path = root.join(&part.name);
        if length_of(&path)? != part.length {
            disk.open_at(&path, part.length)
                .map_err(Error::io("cut", &path))?;
        }
    }
    let mut dead: Vec<PathBuf> = unlisted(root, manifest)
        .iter()
        .map(|name| root.join(name))
        .collect();
    if manifest.notes.length == 0 && root.join(&manifest.notes.name).exists() {
        dead.push(root.join(&manifest.notes.name));
    }
    for path in dead {
        fs::remove_file(&path).map_err(Error::io("delete", &path))?;
    }
    Unfinished::clear(root)
}

fn length_of(path: &Path) -> Result<u64, Error> {
    fs::metadata(path)
        .map(|metadata| metadata.len())
        .map_err(Error::io("look at", path))
}

fn restore_zip(path: &Path, part: &Part, disk: &dyn Disk) -> Result<(), Error> {
    let Some(committed) = &part.directory else {
        return Ok(());
    };
    let whole = length_of(path)? == part.whole() && {
        let length = usize::try_from(committed.length).unwrap_or(usize::MAX);
        let found = read_at(path, part.length, length).map_err(Error::io("read", path))?;
        Stretch::of(&found) == *committed
    };
    if whole {
        return Ok(());
    }
    let directory = zipped::directory(&zipped::entries(path, part.length)?, part.length);
    if Stretch::of(&directory) != *committed {
        return Err(Error::damaged(
            path,
            part.length,
            "entries of another directory",
            "those that were committed",
        ));
    }
    let mut tail = disk.open_at(path, part.length).map_err(Error::io("cut", path))?;
    tail.write(&directory).map_err(Error::io("write", path))?;
    tail.sync().map_err(Error::io("sync", path))
}
