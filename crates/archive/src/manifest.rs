//! `manifest.json`: what is committed. Whatever lies on disk beyond it does not count.
//!
//! Each growing file is listed with its committed length and the SHA-256 digests of its stretches. A stretch grows with
//! the commits until it is 16 MB long and never changes afterwards, so a commit hashes little and a check hashes all.

use std::fs::{self, File};
use std::io::Read;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

use crate::digests::hex;
use crate::disk::{Disk, read_at};
use crate::settings::FORMAT;
use crate::{Error, now};

/// A stretch is closed when it has reached this length.
const STRETCH: u64 = 16 << 20;

/// What is committed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Manifest {
    /// The number of the folder's format.
    pub(crate) format: u32,
    /// How many commits there were.
    pub(crate) commit: u64,
    /// When the last one was, RFC 3339.
    pub(crate) at: String,
    /// The parts with originals; ZIP files of older formats without their directories.
    pub(crate) originals: Vec<Part>,
    /// The record parts.
    pub(crate) records: Vec<Part>,
    /// The notes.
    pub(crate) notes: Part,
    /// The SHA-256 of all of the above as compact JSON, so that a damaged manifest is never believed.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    checksum: String,
}

/// One growing file.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Part {
    /// Its name relative to the archive, with `/`.
    pub(crate) name: String,
    /// How many bytes of it are committed.
    pub(crate) length: u64,
    /// Its stretches, in order; together they are `length` long.
    pub(crate) stretches: Vec<Stretch>,
    /// The directory that follows the entries of a ZIP part.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) directory: Option<Stretch>,
}

/// Some bytes and their digest.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Stretch {
    /// How many bytes.
    pub(crate) length: u64,
    /// Their SHA-256, in hexadecimal digits.
    pub(crate) sha256: String,
}

impl Stretch {
    pub(crate) fn of(bytes: &[u8]) -> Self {
        Self {
            length: bytes.len() as u64,
            sha256: hex(&Sha256::digest(bytes)),
        }
    }
}

impl Part {
    /// The length of the whole file when nothing lies beyond what is committed.
    pub(crate) fn whole(&self) -> u64 {
        self.length + self.directory.as_ref().map_or(0, |directory| directory.length)
    }
}

impl Part {
    /// Whether these are all of its bytes.
    ///
    /// # Errors
    /// [`Error::Damaged`] with the first stretch that is not.
    pub(crate) fn compare(&self, path: &Path, bytes: &[u8]) -> Result<(), Error> {
        let mut at = 0;
        for stretch in &self.stretches {
            let end = at + usize::try_from(stretch.length).unwrap_or(usize::MAX);
            let found = Stretch::of(bytes.get(at..end).unwrap_or_default());
            if found != *stretch {
                return Err(Error::damaged(
                    path,
                    at as u64,
                    format!("{} bytes with SHA-256 {}", found.length, found.sha256),
                    format!(
                        "the {} bytes with SHA-256 {} that were committed",
                        stretch.length, stretch.sha256
                    ),
                ));
            }
            at = end;
        }
        Ok(())
    }
}

impl Manifest {
    pub(crate) fn path(root: &Path) -> PathBuf {
        root.join("manifest.json")
    }

    fn previous_path(root: &Path) -> PathBuf {
        root.join("manifest.previous.json")
    }

    pub(crate) fn empty() -> Self {
        Self {
            format: FORMAT,
            commit: 0,
            at: now(),
            originals: Vec::new(),
            records: Vec::new(),
            notes: Part {
                name: "notes.jsonl".into(),
                ..Part::default()
            },
            checksum: String::new(),
        }
    }

    /// Whether this archive is one whose earlier manifest was `earlier`: every part begins with the same bytes. Stretches
    /// that have grown since are read.
    pub(crate) fn continues(&self, root: &Path, earlier: &Self) -> bool {
        let all = |now: &[Part], before: &[Part]| {
            now.len() >= before.len()
                && now
                    .iter()
                    .zip(before)
                    .all(|(now, before)| begins(root, now, before))
        };
        all(&self.originals, &earlier.originals)
            && all(&self.records, &earlier.records)
            && begins(root, &self.notes, &earlier.notes)
    }

    /// What tells this manifest from every other.
    pub(crate) fn checksum(&self) -> &str {
        &self.checksum
    }

    /// The manifest of an archive.
    ///
    /// # Errors
    /// [`Error::Unlisted`] when there is none although there are originals, records or notes.
    pub(crate) fn read(root: &Path) -> Result<Self, Error> {
        let path = Self::path(root);
        let bytes = match fs::read(&path) {
            Ok(bytes) => bytes,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
                // An archive that was just begun has nothing else either.
                let empty = Self::empty();
                return match beyond(root, &empty).first() {
                    None => Ok(empty),
                    Some((name, bytes)) => Err(Error::Unlisted {
                        path,
                        found: format!("no such file, although {name} has {bytes} bytes"),
                        expected: "the manifest that the last commit wrote".into(),
                    }),
                };
            }
            Err(error) => return Err(Error::io("read", &path)(error)),
        };
        Self::parse(&bytes, &path)
    }

    /// What is wrong with the manifest of the commit before. Nothing of the archive needs it.
    pub(crate) fn previous_trouble(root: &Path) -> Option<String> {
        let path = Self::previous_path(root);
        let bytes = match fs::read(&path) {
            Ok(bytes) => bytes,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => return None,
            Err(error) => return Some(error.to_string()),
        };
        match Self::parse(&bytes, &path) {
            Ok(_) => None,
            Err(Error::Damaged { found, .. }) => Some(format!("found {found}")),
            Err(error) => Some(error.to_string()),
        }
    }

    fn parse(bytes: &[u8], path: &Path) -> Result<Self, Error> {
        #[derive(Deserialize)]
        struct Number {
            format: u32,
        }
        let broken =
            |found: String| Error::damaged(path, None, found, "the manifest that the last commit wrote");
        let number: Number = serde_json::from_slice(bytes).map_err(|error| broken(error.to_string()))?;
        if number.format > FORMAT {
            return Err(Error::NewerFormat {
                path: path.to_owned(),
                found: number.format,
                known: FORMAT,
            });
        }
        let mut manifest: Self = serde_json::from_slice(bytes).map_err(|error| broken(error.to_string()))?;
        if manifest.format == 1 && manifest.checksum.is_empty() {
            // Format 1 had none; what was read serves to tell it from others.
            manifest.checksum = manifest.computed(path)?;
            return Ok(manifest);
        }
        let computed = manifest.computed(path)?;
        if manifest.checksum == computed {
            Ok(manifest)
        } else {
            Err(broken(format!(
                "content with SHA-256 {computed}, and the checksum `{}`",
                manifest.checksum
            )))
        }
    }

    fn computed(&self, path: &Path) -> Result<String, Error> {
        let bare = Self {
            checksum: String::new(),
            ..self.clone()
        };
        serde_json::to_vec(&bare)
            .map(|text| hex(&Sha256::digest(text)))
            .map_err(|error| Error::damaged(path, None, error.to_string(), "a manifest"))
    }

    /// Puts this manifest in the place of the one before, which is kept beside it.
    pub(crate) fn write(&mut self, root: &Path, disk: &dyn Disk) -> Result<(), Error> {
        let path = Self::path(root);
        // Format 1 had no checksum; a program that knows no other reads a manifest of format 2 no worse.
        self.format = self.format.max(2);
        self.checksum = self.computed(&path)?;
        let mut text = serde_json::to_vec_pretty(self)
            .map_err(|error| Error::damaged(&path, None, error.to_string(), "a manifest"))?;
        text.push(b'\n');
        // Only one that can be believed is kept.
        if let Some(before) = fs::read(&path)
            .ok()
            .filter(|bytes| Self::parse(bytes, &path).is_ok())
        {
            let previous = Self::previous_path(root);
            disk.replace(&previous, &before)
                .map_err(Error::io("write", &previous))?;
        }
        disk.replace(&path, &text).map_err(Error::io("write", &path))
    }
}

/// The digests of a file as it grows.
pub(crate) struct Hasher {
    closed: Vec<Stretch>,
    open: Sha256,
    open_length: u64,
}

impl Hasher {
    /// Goes on where the part was committed; the last stretch is read again unless it is closed.
    pub(crate) fn resume(path: &Path, part: &Part) -> Result<Self, Error> {
        let mut closed = part.stretches.clone();
        let mut open = Sha256::new();
        let mut open_length = 0;
        if let Some(last) = closed.last().filter(|last| last.length < STRETCH).cloned() {
            closed.pop();
            let length = usize::try_from(last.length).unwrap_or(usize::MAX);
            let bytes = read_at(path, part.length - last.length, length).map_err(Error::io("read", path))?;
            if Stretch::of(&bytes) != last {
                return Err(Error::damaged(
                    path,
                    part.length - last.length,
                    "other bytes than were committed",
                    format!("the {} bytes with SHA-256 {}", last.length, last.sha256),
                ));
            }
            open.update(&bytes);
            open_length = last.length;
        }
        Ok(Self {
            closed,
            open,
            open_length,
        })
    }

    pub(crate) fn update(&mut self, bytes: &[u8]) {
        self.open.update(bytes);
        self.open_length += bytes.len() as u64;
        if self.open_length >= STRETCH {
            let sha256 = hex(&std::mem::take(&mut self.open).finalize());
            self.closed.push(Stretch {
                length: self.open_length,
                sha256,
            });
            self.open_length = 0;
        }
    }

    pub(crate) fn stretches(&self) -> Vec<Stretch> {
        let mut all = self.closed.clone();
        if self.open_length > 0 {
            all.push(Stretch {
                length: self.open_length,
                sha256: hex(&self.open.clone().finalize()),
            });
        }
        all
    }
}

/// Hashes a part and tells each stretch that is not as it was committed: where it begins and what was found.
pub(crate) fn check(
    path: &Path,
    part: &Part,
    told: &mut dyn FnMut(u64),
) -> Result<Vec<(u64, String)>, Error> {
    let mut file = File::open(path).map_err(Error::io("open", path))?;
    let mut wrong = Vec::new();
    let mut at = 0;
    let mut buffer = vec![0; 1 << 20];
    for stretch in part.stretches.iter().chain(&part.directory) {
        let mut hash = Sha256::new();
        let mut left = stretch.length;
        while left > 0 {
            let most = usize::try_from(left).unwrap_or(usize::MAX).min(buffer.len());
            let read = file.read(&mut buffer[..most]).map_err(Error::io("read", path))?;
            if read == 0 {
                wrong.push((at, format!("the file ends {left} bytes early")));
                return Ok(wrong);
            }
            hash.update(&buffer[..read]);
            left -= read as u64;
            told(read as u64);
        }
        let found = hex(&hash.finalize());
        if found != stretch.sha256 {
            wrong.push((at, format!("{} bytes with SHA-256 {found}", stretch.length)));
        }
        at += stretch.length;
    }
    Ok(wrong)
}

/// Whether a part begins with the bytes that it had earlier. Only the stretch that has grown since is read.
pub(crate) fn begins(root: &Path, now: &Part, before: &Part) -> bool {
    let mut at = 0;
    now.length >= before.length
        && before.stretches.iter().enumerate().all(|(number, stretch)| {
            let same = now.stretches.get(number) == Some(stretch) || {
                let length = usize::try_from(stretch.length).unwrap_or(usize::MAX);
                read_at(&root.join(&now.name), at, length).is_ok_and(|bytes| Stretch::of(&bytes) == *stretch)
            };
            at += stretch.length;
            same
        })
}

/// Whether a file holds all that was committed of it.
pub(crate) fn is_whole(root: &Path, part: &Part) -> bool {
    let content = Part {
        directory: None,
        ..part.clone()
    };
    check(&root.join(&part.name), &content, &mut |_| {}).is_ok_and(|wrong| wrong.is_empty())
}

/// The part with the digests of its bytes.
pub(crate) fn hashed(root: &Path, part: Part) -> Result<Part, Error> {
    const STEP: u64 = 1 << 20;
    let path = root.join(&part.name);
    let mut hasher = Hasher::resume(&path, &Part::default())?;
    let mut at = 0;
    while at < part.length {
        let step = STEP.min(part.length - at);
        let bytes = read_at(&path, at, usize::try_from(step).unwrap_or(usize::MAX))
            .map_err(Error::io("read", &path))?;
        hasher.update(&bytes);
        at += step;
    }
    Ok(Part {
        stretches: hasher.stretches(),
        ..part
    })
}

/// The names that a part of originals of a number may have: as it is written today, and as older formats have it.
pub(crate) fn original_names(part: u32) -> [String; 2] {
    let number = part.saturating_add(1);
    [
        format!("originals/{number:06}.tar.zst"),
        format!("originals/{number:06}.zip"),
    ]
}

/// The name of a record part.
pub(crate) fn records_name(part: u32) -> String {
    format!("records/{:06}.jsonl.zst", part + 1)
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
        let there = original_names(number)
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
