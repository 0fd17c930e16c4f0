//! The root of an archive made again from what it lists: originals, records and notes.

use std::fs;
use std::path::Path;

use crate::answer::applied;
use crate::aside::{Aside, Mended, count};
use crate::disk::{Disk, RealDisk, read_at};
use crate::frames::whole_frames;
use crate::lock::Lock;
use crate::manifest::{Manifest, Part, Stretch};
use crate::manifest::{hashed, original_names, records_name};
use crate::originals::{self, zipped};
use crate::unfinished::{self, Unfinished};
use crate::{Error, Settings, debris, mend};

/// Writes the first `archive.toml` and the manifest of nothing.
pub(crate) fn begin(root: &Path, name: &str) -> Result<(), Error> {
    let settings = Settings::path(root);
    let text = Settings::first(name);
    // The settings last: a folder is an archive as soon as they are there.
    Manifest::empty().write(root, &RealDisk)?;
    RealDisk
        .replace(&settings, text.as_bytes())
        .map_err(Error::io("write", &settings))
}

/// See [`crate::Archive::rebuild`].
pub(crate) fn rebuild(root: &Path) -> Result<Mended, Error> {
    let remains = [Manifest::path(root), root.join("originals"), root.join("records")];
    if !Settings::path(root).exists() && !remains.iter().any(|remains| remains.exists()) {
        return Err(Error::NoArchive {
            path: root.to_owned(),
        });
    }
    let _lock = Lock::take(root, "curvary: making the manifest again")?;
    let mut left = Aside::new(root);
    debris::put_aside(root, &mut left)?;
    let mut done = left.told;
    let settings = Settings::path(root);
    if !settings.exists() {
        let name = root
            .file_name()
            .and_then(|name| name.to_str())
            .unwrap_or("archive");
        RealDisk
            .replace(&settings, Settings::first(name).as_bytes())
            .map_err(Error::io("write", &settings))?;
        done.push("archive.toml: written anew, without the words and rules that the lost one had".to_owned());
    }
    if let Ok(manifest) = Manifest::read(root)
        && matches!(
            unfinished::explained(root, &manifest),
            // Notes that are not what was committed are mended like any other part.
            Ok(()) | Err(Error::Damaged { .. })
        )
    {
        let mended = mend::all(root, manifest)?;
        if !mended.lost.is_empty() {
            // Of a file whose newest reading is lost an earlier one may count.
            applied::forget(root)?;
        }
        done.extend(mended.done);
        return Ok(Mended {
            done,
            lost: mended.lost,
        });
    }
    let mut manifest = Manifest::empty();
    let mut aside = Aside::new(root);
    for number in 0.. {
        let mut names = original_names(number).into_iter();
        let Some(name) = names.find(|name| root.join(name).exists()) else {
            break;
        };
        let part = if originals::is_zip(&name) {
            zip_part(root, name, &mut aside)?
        } else {
            let length = whole_frames(&root.join(&name))?;
            plain_part(root, name, length, &mut aside)?
        };
        manifest.originals.push(part);
    }
    for number in 0.. {
        let name = records_name(number);
        let path = root.join(&name);
        if !path.exists() {
            break;
        }
        let length = whole_frames(&path)?;
        manifest.records.push(plain_part(root, name, length, &mut aside)?);
    }
    let notes = root.join(&manifest.notes.name);
    if notes.exists() {
        let bytes = fs::read(&notes).map_err(Error::io("read", &notes))?;
        // A line without its end was being written.
        let length = bytes
            .iter()
            .rposition(|&byte| byte == b'\n')
            .map_or(0, |at| at + 1);
        manifest.notes = plain_part(root, manifest.notes.name.clone(), length as u64, &mut aside)?;
    }
    // What was committed last is not known, and so is which reading of a file counts.
    applied::forget(root)?;
    manifest.commit = 1;
    aside.keep(&Manifest::path(root), 0)?;
    manifest.write(root, &RealDisk)?;
    Unfinished::clear(root)?;
    done.push(format!(
        "manifest.json: made again from {} and {}",
        count(
            manifest.originals.len(),
            "file of originals",
            "files of originals"
        ),
        count(manifest.records.len(), "file of records", "files of records")
    ));
    done.extend(aside.told);
    Ok(Mended {
        done,
        lost: aside.lost,
    })
}

/// A ZIP part as its whole entries tell it. What follows them and is not their directory is moved aside.
fn zip_part(root: &Path, name: String, aside: &mut Aside<'_>) -> Result<Part, Error> {
    let path = root.join(&name);
    let entries = zipped::whole_entries(&path)?;
    let length = entries.last().map_or(0, zipped::ZipEntry::end);
    let directory = zipped::directory(&entries, length);
    let there = read_at(&path, length, directory.len()).unwrap_or_default();
    let whole = fs::metadata(&path).map_err(Error::io("look at", &path))?.len();
    let as_it_should = there == directory && whole == length + directory.len() as u64;
    if !as_it_should {
        aside.keep(&path, length)?;
    }
    let part = Part {
        name,
        length,
        ..Part::default()
    };
    let part = hashed(root, part)?;
    if !as_it_should {
        let mut tail = RealDisk
            .open_at(&path, length)
            .map_err(Error::io("write", &path))?;
        tail.write(&directory).map_err(Error::io("write", &path))?;
        tail.sync().map_err(Error::io("sync", &path))?;
    }
    Ok(Part {
        directory: Some(Stretch::of(&directory)),
        ..part
    })
}

/// The first `length` bytes of a file as a part. What follows is moved aside.
fn plain_part(root: &Path, name: String, length: u64, aside: &mut Aside<'_>) -> Result<Part, Error> {
    let path = root.join(&name);
    if fs::metadata(&path).map_err(Error::io("look at", &path))?.len() > length {
        aside.keep(&path, length)?;
        let mut tail = RealDisk
            .open_at(&path, length)
            .map_err(Error::io("write", &path))?;
        tail.sync().map_err(Error::io("sync", &path))?;
    }
    hashed(
        root,
        Part {
            name,
            length,
            ..Part::default()
        },
    )
}
