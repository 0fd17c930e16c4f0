//! Damaged parts put right as far as the archive itself can: nothing is deleted, and everything is told.
//!
//! - The header of a ZIP entry is written again from the directory, which says the same.
//! - A damaged stretch of records becomes a skippable frame (RFC 8878, 3.1.2) of the same length, so that every other record
//!   keeps its place and any program that reads zstd passes over it. What stood there is made again from the originals, by
//!   whoever has the readers.
//! - The same of originals. Those that it held are told as lost by every check until the same files are added again.
//! - Notes that can be read stay; the damaged file is kept as it was.

use std::fs::{self, OpenOptions};
use std::io::{Seek, SeekFrom, Write};
use std::path::Path;

use crate::aside::{Aside, Mended, count};
use crate::disk::{Disk, RealDisk, read_at};
use crate::frames::{FrameDamage, FrameWalk, WalkStep, passed_over, whole_frames};
use crate::manifest::{Manifest, Part, Stretch, hashed, is_whole};
use crate::originals::{self, zipped};
use crate::unfinished::restore;
use crate::{Error, Note};

/// Mends what a manifest lists. Gives what was done, a sentence a line.
pub(crate) fn all(root: &Path, mut manifest: Manifest) -> Result<Mended, Error> {
    let mut done = Vec::new();
    let mut aside = Aside::new(root);
    let mut changed = false;
    for (number, part) in (0_u32..).zip(&mut manifest.originals) {
        if is_whole(root, part) {
            continue;
        }
        if originals::is_zip(&part.name) {
            headers(root, part, &mut done)?;
        } else {
            *part = frames(root, number, part, &mut aside)?;
            changed = true;
        }
    }
    for (number, part) in (0_u32..).zip(&mut manifest.records) {
        if !is_whole(root, part) {
            *part = frames(root, number, part, &mut aside)?;
            changed = true;
        }
    }
    if manifest.notes.length > 0 && !is_whole(root, &manifest.notes) {
        manifest.notes = notes(root, &manifest.notes, &mut aside)?;
        changed = true;
    }
    if changed {
        // The tail of a commit that was cut short is explained by the manifest from which it began, and by no other.
        restore(root, &manifest, &RealDisk)?;
        manifest.commit += 1;
        manifest.write(root, &RealDisk)?;
        done.push("manifest.json: written for the parts as they are now".to_owned());
    }
    done.extend(aside.told);
    Ok(Mended {
        done,
        lost: aside.lost,
    })
}

/// Writes damaged headers of entries again, as the directory has them.
fn headers(root: &Path, part: &Part, done: &mut Vec<String>) -> Result<(), Error> {
    let path = root.join(&part.name);
    let Some(committed) = &part.directory else {
        return Ok(());
    };
    let length = usize::try_from(committed.length).unwrap_or(usize::MAX);
    let listed = read_at(&path, part.length, length)
        .ok()
        .filter(|bytes| Stretch::of(bytes) == *committed)
        .and_then(|bytes| zipped::listed(&bytes))
        .unwrap_or_default();
    let mut mended = 0;
    for entry in listed {
        let header = entry.header();
        let there = read_at(&path, u64::from(entry.at), header.len()).map_err(Error::io("read", &path))?;
        if there != header {
            overwrite(&path, u64::from(entry.at), &header)?;
            mended += 1;
        }
    }
    if mended > 0 {
        done.push(format!(
            "{}: {} written again from the directory",
            part.name,
            count(mended, "header", "headers")
        ));
    }
    Ok(())
}

/// Makes damaged stretches of a part of originals or records such as are passed over. A lost or shortened file keeps what it
/// has.
fn frames(root: &Path, number: u32, part: &Part, aside: &mut Aside<'_>) -> Result<Part, Error> {
    let path = root.join(&part.name);
    let mut length = part.length;
    match fs::metadata(&path) {
        Ok(metadata) if metadata.len() >= length => {}
        Ok(_) => length = whole_frames(&path)?,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
            length = 0;
            RealDisk.replace(&path, b"").map_err(Error::io("write", &path))?;
        }
        Err(error) => return Err(Error::io("look at", &path)(error)),
    }
    if length < part.length {
        aside.told.push(format!(
            "{}: {} of {} bytes are there",
            part.name, length, part.length
        ));
    }
    let mut walk = FrameWalk::new(&path, number, 0, length)?;
    let mut damaged: Vec<FrameDamage> = Vec::new();
    while let Some(step) = walk.next()? {
        if let WalkStep::Damaged(damage) = step {
            damaged.push(damage);
        }
    }
    for damage in damaged {
        aside.keep_some(&path, damage.at, damage.length, "cannot be read")?;
        match passed_over(damage.length) {
            Some(header) => overwrite(&path, damage.at, &header)?,
            // Too short for a frame: only the end of a file can be so.
            None => length = damage.at,
        }
    }
    let there = fs::metadata(&path).map_err(Error::io("look at", &path))?.len();
    if length < part.length && there > length {
        // The beginning of a frame whose end is lost.
        aside.keep(&path, length)?;
        let mut tail = RealDisk
            .open_at(&path, length)
            .map_err(Error::io("write", &path))?;
        tail.sync().map_err(Error::io("sync", &path))?;
    }
    hashed(
        root,
        Part {
            name: part.name.clone(),
            length,
            ..Part::default()
        },
    )
}

/// Keeps the notes that can be read.
fn notes(root: &Path, part: &Part, aside: &mut Aside<'_>) -> Result<Part, Error> {
    let path = root.join(&part.name);
    let bytes = match fs::read(&path) {
        Ok(bytes) => bytes,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Vec::new(),
        Err(error) => return Err(Error::io("read", &path)(error)),
    };
    // Where somebody has edited the file, its lines are not where they were.
    let committed = &bytes[..];
    if !committed.is_empty() {
        let what = "are not what was committed";
        aside.keep_some(&path, 0, committed.len() as u64, what)?;
    }
    let lines = committed.split_inclusive(|&byte| byte == b'\n');
    let (whole, lost): (Vec<&[u8]>, Vec<&[u8]>) =
        lines.partition(|line| line.ends_with(b"\n") && serde_json::from_slice::<Note>(line).is_ok());
    RealDisk
        .replace(&path, &whole.concat())
        .map_err(Error::io("write", &path))?;
    aside.told.push(format!(
        "{}: {} can be read and {} not; look through them with `curvary note --history`, since one may say something else \
         than was written",
        part.name,
        count(whole.len(), "note", "notes"),
        lost.len()
    ));
    let gone = part.length.saturating_sub(committed.len() as u64);
    if gone > 0 {
        let of = part.length;
        aside
            .lost
            .push(format!("{}: {gone} of {of} bytes of notes are gone", part.name));
    }
    if !lost.is_empty() {
        let lost = count(lost.len(), "note", "notes");
        aside
            .lost
            .push(format!("{}: {lost} cannot be read any more", part.name));
    }
    hashed(
        root,
        Part {
            name: part.name.clone(),
            length: whole.iter().map(|line| line.len() as u64).sum(),
            ..Part::default()
        },
    )
}

pub(crate) fn overwrite(path: &Path, at: u64, bytes: &[u8]) -> Result<(), Error> {
    let mut file = OpenOptions::new()
        .write(true)
        .create(true)
        .truncate(false)
        .open(path)
        .map_err(Error::io("open", path))?;
    file.seek(SeekFrom::Start(at))
        .and_then(|_| file.write_all(bytes))
        .and_then(|()| file.sync_all())
        .map_err(Error::io("write", path))
}
