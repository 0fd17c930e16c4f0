//! Which index is in use, and up to where it has read.
//!
//! An index has a home: the archive's folder `index`, or one in the user's cache where the archive cannot be written
//! (`cache.rs`). `current.json` in it names the folder that is in use and what it was built for. An index is built anew only for
//! causes that are known: there is none, it was built by another version, or the words of the house or rules for names
//! have changed since. Trouble with the disk or a lock is reported and never answered by building anew. A new index grows
//! in a folder of its own and takes the old one's place by one atomic rename of `current.json`.

use std::fs;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

use crate::catalog::Catalog;
use crate::digests::hex;
use crate::disk::{Disk, read_at};
use crate::frames::FrameDamage;
use crate::manifest::{Manifest, Part, begins, is_whole};
use crate::{Error, Settings};

/// Changes whenever what is filed, or how, changes.
const VERSION: u32 = 12;

/// So many bytes tell where records end: checksums of frames are among them.
const END: u64 = 64;

/// What an index was built for, in `current.json`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Current {
    version: u32,
    rules: String,
    pub(crate) folder: String,
}

/// Up to where an index has read, in the engine's own commit.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct IndexCoverage {
    pub(crate) originals: (u32, u64),
    pub(crate) records: (u32, u64),
    pub(crate) notes: u64,
    /// The file of the catalogue that belongs to it.
    pub(crate) catalog: String,
    /// How many bytes of it count; 0 says all, as before there were sections.
    #[serde(default)]
    pub(crate) catalog_bytes: u64,
    /// How many of them are the section that it began with.
    #[serde(default)]
    pub(crate) catalog_first: u64,
    /// Their CRC-32, so that the catalogue of another index is noticed.
    #[serde(default)]
    pub(crate) catalog_sum: u32,
    /// The SHA-256 of the last bytes of records that it covers, which hardly another archive has at the same place. Empty
    /// where there are none, and before it was kept.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub(crate) ends: String,
    /// The notes that it covers, with the digests of their bytes: a copy that went its own way has others of the same
    /// length. `None` where there were none, and before it was kept.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    notes_part: Option<Part>,
    /// Stretches of records that could not be read.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub(crate) lost: Vec<FrameDamage>,
}

impl IndexCoverage {
    /// What an index that has read everything covers.
    pub(crate) fn whole(manifest: &Manifest) -> Self {
        let end = |parts: &[Part]| {
            let last = parts.len().saturating_sub(1);
            (
                u32::try_from(last).unwrap_or(u32::MAX),
                parts.last().map_or(0, |part| part.length),
            )
        };
        Self {
            originals: end(&manifest.originals),
            records: end(&manifest.records),
            notes: manifest.notes.length,
            catalog: String::new(),
            catalog_bytes: 0,
            catalog_first: 0,
            catalog_sum: 0,
            ends: String::new(),
            notes_part: (manifest.notes.length > 0).then(|| manifest.notes.clone()),
            lost: Vec::new(),
        }
    }

    /// The SHA-256 of the last bytes of records that it covers.
    pub(crate) fn end_of(&self, root: &Path, manifest: &Manifest) -> String {
        let (part, length) = self.records;
        let Some(part) = manifest.records.get(part as usize).filter(|_| length > 0) else {
            return String::new();
        };
        let from = length.saturating_sub(END);
        let bytes = read_at(
            &root.join(&part.name),
            from,
            usize::try_from(length - from).unwrap_or(0),
        );
        bytes.map_or_else(|_| String::new(), |bytes| hex(&Sha256::digest(bytes)))
    }

    /// Whether it speaks of these records and notes. What is not as it was committed speaks against itself only.
    pub(crate) fn is_of(&self, root: &Path, manifest: &Manifest) -> bool {
        self.is_of_records(root, manifest) && self.is_of_notes(root, manifest)
    }

    fn is_of_notes(&self, root: &Path, manifest: &Manifest) -> bool {
        let now = &manifest.notes;
        if self.notes > now.length {
            return false;
        }
        match &self.notes_part {
            None => self.notes == 0,
            Some(part) => part.length == self.notes && (begins(root, now, part) || !is_whole(root, now)),
        }
    }

    fn is_of_records(&self, root: &Path, manifest: &Manifest) -> bool {
        let part = manifest.records.get(self.records.0 as usize);
        self.ends.is_empty()
            || self.ends == self.end_of(root, manifest)
            || part.is_some_and(|part| !is_whole(root, part))
    }

    /// The catalogue in bytes of its file; `None` when they are not those that belong to it.
    pub(crate) fn catalog_in(&self, bytes: &[u8]) -> Option<Catalog> {
        let counted = if self.catalog_bytes == 0 {
            bytes
        } else {
            let bytes = bytes.get(..usize::try_from(self.catalog_bytes).ok()?)?;
            (crc32fast::hash(bytes) == self.catalog_sum).then_some(bytes)?
        };
        Catalog::from_bytes(counted)
    }

    /// How many committed bytes of records and notes lie beyond.
    pub(crate) fn behind(&self, manifest: &Manifest) -> u64 {
        let records: u64 = (0_u32..)
            .zip(&manifest.records)
            .filter(|(part, _)| *part >= self.records.0)
            .map(|(part, record)| {
                if part == self.records.0 {
                    record.length.saturating_sub(self.records.1)
                } else {
                    record.length
                }
            })
            .sum();
        records + manifest.notes.length.saturating_sub(self.notes)
    }
}

fn rules(settings: &Settings) -> String {
    let text = serde_json::to_vec(&(&settings.words, &settings.names)).unwrap_or_default();
    hex(&Sha256::digest(text))
}

pub(crate) fn folder(root: &Path) -> PathBuf {
    root.join("index")
}

impl Current {
    fn path(home: &Path) -> PathBuf {
        home.join("current.json")
    }

    /// What the index in a home was built for; `None` when there is none, or it is not for this version and these
    /// rules.
    pub(crate) fn read(home: &Path, settings: &Settings) -> Result<Option<Self>, Error> {
        let path = Self::path(home);
        let bytes = match fs::read(&path) {
            Ok(bytes) => bytes,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(None),
            Err(error) => return Err(Error::io("read", &path)(error)),
        };
        Ok(serde_json::from_slice::<Self>(&bytes)
            .ok()
            .filter(|current| current.version == VERSION && current.rules == rules(settings))
            .filter(|current| home.join(&current.folder).is_dir()))
    }

    /// Makes the next command build the index anew. It may be deleted at any time, so nothing is lost by it.
    pub(crate) fn forget(home: &Path) {
        let _ = fs::remove_file(Self::path(home));
    }

    /// A fresh folder for a new index, beside those that are there.
    pub(crate) fn fresh(home: &Path, settings: &Settings) -> Result<Self, Error> {
        fs::create_dir_all(home).map_err(Error::io("make the folder", home))?;
        for number in 1_u32.. {
            let name = format!("{number:06}");
            match fs::create_dir(home.join(&name)) {
                Ok(()) => {
                    return Ok(Self {
                        version: VERSION,
                        rules: rules(settings),
                        folder: name,
                    });
                }
                Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => {}
                Err(error) => return Err(Error::io("make the folder", &home.join(&name))(error)),
            }
        }
        Err(Error::Index {
            path: home.to_owned(),
            message: "no folder name is free".into(),
            damaged: false,
        })
    }

    pub(crate) fn write(&self, home: &Path, disk: &dyn Disk) -> Result<(), Error> {
        let path = Self::path(home);
        let text = serde_json::to_vec(self).unwrap_or_default();
        disk.replace(&path, &text).map_err(Error::io("write", &path))?;
        // Older folders are of no use; one that cannot be deleted does no harm.
        for entry in fs::read_dir(home).into_iter().flatten().flatten() {
            if entry.path().is_dir() && entry.file_name().to_str() != Some(&self.folder) {
                let _ = fs::remove_dir_all(entry.path());
            }
        }
        Ok(())
    }
}
