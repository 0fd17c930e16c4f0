//! An index in the user's own cache, for an archive that can be read and not written: on read-only media, as another user,
//! or while somebody else writes and there is no index yet.
//!
//! ```text
//! CACHE/curvary/index/NAME/  lock, manifest.json that the index was built for, and what else a home of an index holds
//! ```
//!
//! NAME is made from where the archive is and what its records begin with. An index in the cache is used only while the
//! archive's manifest continues the one it was built for: archives on memory sticks take turns at one place.

use std::fs::{self, OpenOptions};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use sha2::{Digest as _, Sha256};

use crate::digests::hex;
use crate::disk::{Disk, RealDisk, read_at};
use crate::indexer::Indexer;
use crate::manifest::Manifest;
use crate::{Error, Settings};

/// The user's folder for what may be deleted at any time.
#[must_use]
pub fn user_cache() -> Option<PathBuf> {
    let folder = |name: &str| {
        std::env::var_os(name)
            .filter(|value| !value.is_empty())
            .map(PathBuf::from)
    };
    if let Some(own) = folder("XDG_CACHE_HOME").filter(|own| own.is_absolute()) {
        return Some(own);
    }
    if cfg!(windows) {
        folder("LOCALAPPDATA")
    } else if cfg!(target_os = "macos") {
        folder("HOME").map(|home| home.join("Library/Caches"))
    } else {
        folder("HOME").map(|home| home.join(".cache"))
    }
}

/// How many bytes of the records tell one archive from another.
const BEGINNING: usize = 64;

fn home(root: &Path, manifest: &Manifest) -> Option<PathBuf> {
    let place = fs::canonicalize(root).unwrap_or_else(|_| root.to_owned());
    let mut hash = Sha256::new();
    hash.update(place.as_os_str().as_encoded_bytes());
    if let Some(part) = manifest.records.first() {
        let length = usize::try_from(part.length).unwrap_or(BEGINNING).min(BEGINNING);
        hash.update(read_at(&root.join(&part.name), 0, length).unwrap_or_default());
    }
    let name = hex(&hash.finalize());
    Some(user_cache()?.join("curvary").join("index").join(name.get(..32)?))
}

/// Brings the index in the user's cache up to what is committed, built anew where it must be, and gives its home.
///
/// # Errors
/// When there is no such folder, it cannot be written, or another program has been at work in it for long.
pub(crate) fn bring_up(
    root: &Path,
    settings: &Settings,
    manifest: &Manifest,
    anew: bool,
) -> Result<PathBuf, Error> {
    let home = home(root, manifest).ok_or_else(|| Error::Index {
        path: root.to_owned(),
        message: "the archive cannot be written, and the user has no folder for caches".into(),
        damaged: false,
    })?;
    fs::create_dir_all(&home).map_err(Error::io("make the folder", &home))?;
    let path = home.join("lock");
    let lock = OpenOptions::new()
        .create(true)
        .truncate(false)
        .write(true)
        .open(&path);
    let lock = lock.map_err(Error::io("open", &path))?;
    // Whoever holds it brings the same index up; a disk without locks has one user here.
    let _ = lock.lock();
    let listed = home.join("manifest.json");
    let continues = fs::read(&listed)
        .ok()
        .and_then(|bytes| serde_json::from_slice::<Manifest>(&bytes).ok())
        .is_some_and(|earlier| manifest.continues(root, &earlier));
    let mut indexer = Indexer::open(
        root,
        &home,
        RealDisk::shared(),
        Arc::new(settings.clone()),
        manifest,
        anew || !continues,
    )?;
    indexer.finish()?;
    let text = serde_json::to_vec(manifest)
        .map_err(|error| Error::damaged(&listed, None, error.to_string(), "a manifest"))?;
    RealDisk
        .replace(&listed, &text)
        .map_err(Error::io("write", &listed))?;
    Ok(home)
}
