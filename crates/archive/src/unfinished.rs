//! `unfinished.json`: stands while a commit is being written, and says from which manifest it began.
//!
//! It is written and synced before the first byte that lies beyond what the manifest lists, and removed when the next
//! manifest stands. So bytes beyond the manifest are of two kinds: the tail of a commit that was cut short, which says so
//! here and is cut off by the next writer; and entries that the manifest should list and does not, because it is absent or
//! an older one was put in its place. Those are never touched: [`Error::Unlisted`] says how to go on.

use std::fs;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::disk::{Disk, sync_folder};
use crate::indexer::records_name;
use crate::manifest::Manifest;
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

/// Files with bytes beyond what the manifest lists, each with their count.
pub(crate) fn beyond(root: &Path, manifest: &Manifest) -> Vec<(String, u64)> {
    let length = |name: &str| fs::metadata(root.join(name)).map_or(0, |metadata| metadata.len());
    let listed = manifest
        .originals
        .iter()
        .chain(&manifest.records)
        .chain([&manifest.notes])
        .map(|part| (part.name.clone(), length(&part.name).saturating_sub(part.whole())));
    let unlisted = unlisted(root, manifest)
        .into_iter()
        .map(|name| (name.clone(), length(&name)));
    listed.chain(unlisted).filter(|(_, bytes)| *bytes > 0).collect()
}

/// Parts of originals and records that a manifest does not list.
pub(crate) fn unlisted(root: &Path, manifest: &Manifest) -> Vec<String> {
    let mut all = Vec::new();
    for number in u32::try_from(manifest.originals.len()).unwrap_or(u32::MAX).. {
        let there = originals::names(number)
            .into_iter()
            .filter(|name| root.join(name).exists());
        let before = all.len();
        all.extend(there);
        if all.len() == before {
            break;
        }
    }
    let records = u32::try_from(manifest.records.len()).unwrap_or(u32::MAX);
    all.extend(
        (records..)
            .map(records_name)
            .take_while(|name| root.join(name).exists()),
    );
    all
}

/// Whether every byte beyond the manifest is the tail of a commit that began from it.
///
/// # Errors
/// [`Error::Unlisted`] when one is not.
pub(crate) fn explained(root: &Path, manifest: &Manifest) -> Result<(), Error> {
    let beyond = beyond(root, manifest);
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
