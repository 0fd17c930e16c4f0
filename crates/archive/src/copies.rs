//! Copies of an archive: made while others write, added to part by part, compared with the digests on the way, and used to
//! mend damage bit for bit.
//!
//! A copy is an archive like any other. What is committed of a part never changes afterwards, so a copy takes what the
//! manifest lists at one moment, and the next copy only what has been added since. Its own manifest is put in place last:
//! until then the copy is what it was.

use std::collections::BTreeSet;
use std::fs::{self, File};
use std::io::{Read, Seek, SeekFrom};
use std::path::Path;

use serde::Serialize;

use crate::Note;
use crate::answer::applied;
use crate::disk::{Disk, RealDisk, read_at, sync_folder};
use crate::lock::Lock;
use crate::manifest::{Hasher, Manifest, Part, Stretch};
use crate::manifest::{begins, is_whole};
use crate::mend::overwrite;
use crate::originals::zipped;
use crate::unfinished::{self, Unfinished};
use crate::{Archive, Error, Settings};

/// What a copy took.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct CopyReport {
    /// The number of the commit that the copy holds.
    pub commit: u64,
    /// Bytes that were copied.
    pub bytes: u64,
    /// Bytes that the copy had already.
    pub had: u64,
}

/// What stands in a folder into which an archive is to be copied.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CopyTarget {
    /// Nothing, or no such folder.
    Free,
    /// A copy of this archive that was cut short: the same again completes it.
    Begun,
    /// All that this archive holds, and nothing else was committed there since.
    Done,
    /// Something else.
    Taken,
}

/// What a copy writes before it has anything.
const FIRST: [&str; 2] = ["archive.lock", "manifest.json.new"];

/// Bytes that are copied at once.
const STEP: usize = 1 << 20;

/// What belongs to one place alone, or is copied by itself.
const OWN: [&str; 11] = [
    "answers.applied.jsonl",
    "answers.jsonl",
    "archive.lock",
    "archive.toml",
    "index",
    "manifest.json",
    "manifest.previous.json",
    "unfinished.json",
    "notes.jsonl",
    "originals",
    "records",
];

impl Archive {
    /// Copies what is committed into the folder `to`, which is absent, empty, or an earlier copy of this archive. Others
    /// may write meanwhile. `told` hears of progress: bytes done, bytes in all.
    ///
    /// # Errors
    /// [`Error::NoCopy`] when the folder holds something else; [`Error::Damaged`] when a part is not what was committed:
    /// damage is never copied over what is whole. Either way the copy stays as it was.
    pub fn copy_to(&self, to: &Path, told: &mut dyn FnMut(u64, u64)) -> Result<CopyReport, Error> {
        self.copy_on(to, &RealDisk, told)
    }

    pub(crate) fn copy_on(
        &self,
        to: &Path,
        disk: &dyn Disk,
        told: &mut dyn FnMut(u64, u64),
    ) -> Result<CopyReport, Error> {
        let decided = Decided::read(&self.root)?;
        let mut manifest = decided.manifest;
        let before = prepare(&self.root, &manifest, to, disk)?;
        let _lock = Lock::take(to, "curvary backup")?;
        Unfinished::announce(to, &before, disk)?;
        let parts = |manifest: &Manifest| {
            let parts = manifest.originals.iter().chain(&manifest.records);
            parts.chain([&manifest.notes]).cloned().collect::<Vec<Part>>()
        };
        let earlier = parts(&before);
        let all = parts(&manifest);
        let bytes = all.iter().map(|part| part.length).sum();
        let mut copied = CopyReport {
            commit: manifest.commit,
            ..CopyReport::default()
        };
        for part in all.iter().filter(|part| part.length > 0) {
            let had = earlier.iter().find(|had| had.name == part.name).cloned();
            let had = had.unwrap_or_else(|| Part {
                name: part.name.clone(),
                ..Part::default()
            });
            copied.had += had.length;
            let done = copied.bytes + copied.had;
            let mut step = |more: u64| told(done + more, bytes);
            copied.bytes += add_part(&self.root, part, to, &had, disk, &mut step)?;
        }
        copied.bytes += rest(&self.root, to, disk)?;
        // Until all is there, nothing says which answers the copy rests on.
        let resting = to.join(applied::NAME);
        if fs::read(&resting).ok() != decided.applied {
            applied::forget(to)?;
        }
        if let Some(bytes) = &decided.answers {
            copied.bytes += put(&to.join("answers.jsonl"), bytes, disk)?;
        }
        if before != manifest {
            manifest.write(to, disk)?;
        }
        if let Some(bytes) = &decided.applied {
            copied.bytes += put(&resting, bytes, disk)?;
        }
        // A folder without it is no archive, so that nobody takes a copy that was cut short for one without runs.
        let settings = (Settings::path(&self.root), Settings::path(to));
        copied.bytes += tree(&settings.0, &settings.1, disk)?;
        Unfinished::clear(to)?;
        sync_folder(to).map_err(Error::io("sync", to))?;
        Ok(copied)
    }

    /// What stands in a folder into which this archive is to be copied for the first time.
    #[must_use]
    pub fn copy_in(&self, to: &Path) -> CopyTarget {
        let mut names = match fs::read_dir(to) {
            Ok(entries) => entries.flatten().map(|entry| entry.file_name()),
            Err(_) => return CopyTarget::Free,
        };
        if names.all(|name| FIRST.iter().any(|first| name == *first)) {
            return CopyTarget::Free;
        }
        match Manifest::read(to) {
            // The settings come last, see `copy_on`.
            Ok(there) if !Settings::path(to).exists() && (there.commit == 0 || there == self.manifest) => {
                CopyTarget::Begun
            }
            Ok(there) if there == self.manifest => CopyTarget::Done,
            _ => CopyTarget::Taken,
        }
    }

    /// Mends an archive from a copy of it: where a stretch of a part is not what was committed and the copy's bytes make it
    /// so, they take its place. Gives what was done, a sentence a line.
    ///
    /// # Errors
    /// When another process writes, a manifest cannot be read, or the disk refuses.
    pub fn mend_from(root: &Path, copy: &Path) -> Result<Vec<String>, Error> {
        let manifest = Manifest::read(root)?;
        unfinished::explained(root, &manifest)?;
        let _lock = Lock::take(root, "curvary: mending from a copy")?;
        let mut done = Vec::new();
        let of_copy = Manifest::read(copy)?;
        let held = |name: &str| {
            let parts = of_copy.originals.iter().chain(&of_copy.records);
            let parts = parts.chain([&of_copy.notes]);
            parts.rev().find(|part| part.name == name).cloned()
        };
        let parts = manifest.originals.iter().chain(&manifest.records);
        for part in parts.chain([&manifest.notes]).filter(|part| part.length > 0) {
            if is_whole(root, part) {
                continue;
            }
            let Some(held) = held(&part.name) else { continue };
            // What was lost was not read with the answers that came since; this is said also where the mending is cut short.
            let begin = || match part.name.starts_with("originals/") {
                true => applied::forget(root),
                false => Ok(()),
            };
            let mended = mend_part(root, part, copy, &held, &begin)?;
            if mended > 0 {
                done.push(format!(
                    "{}: {mended} bytes are again what was committed, from {}",
                    part.name,
                    copy.display()
                ));
            }
        }
        if is_of_one(root, &manifest, &of_copy) {
            done.extend(lost_files(root, copy)?);
            done.extend(earlier_notes(root, &manifest.notes, copy, &of_copy.notes)?);
        }
        Ok(done)
    }
}

/// What is committed at one moment, with the answers of that moment.
struct Decided {
    manifest: Manifest,
    answers: Option<Vec<u8>>,
    /// Which of them the records rest on; none where that is not known.
    applied: Option<Vec<u8>>,
}

impl Decided {
    /// Others may write meanwhile; what was read is of one moment when both files of answers are the same before and after it.
    fn read(root: &Path) -> Result<Self, Error> {
        let said = |name: &str| {
            let path = root.join(name);
            match fs::read(&path) {
                Ok(bytes) => Ok(Some(bytes)),
                Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(None),
                Err(error) => Err(Error::io("read", &path)(error)),
            }
        };
        // Where it cannot be read, nobody knows what the copy rests on, and the copy says so.
        let both = || Ok::<_, Error>((said("answers.jsonl")?, said(applied::NAME).unwrap_or_default()));
        let mut before = both()?;
        for _ in 0..LOOKS {
            let manifest = Archive::open(root)?.manifest;
            let now = both()?;
            if now == before {
                return Ok(Self {
                    manifest,
                    answers: now.0,
                    applied: now.1,
                });
            }
            before = now;
        }
        // It is not known then what the copy rests on, and the copy says so.
        Ok(Self {
            manifest: Archive::open(root)?.manifest,
            answers: before.0,
            applied: None,
        })
    }
}

/// How often a moment is looked for in which nobody changes the answers.
const LOOKS: u32 = 20;

/// Whether a manifest is that of an earlier copy: its originals are the first of the archive's.
fn is_of_one(root: &Path, manifest: &Manifest, of_copy: &Manifest) -> bool {
    let pairs = manifest.originals.iter().zip(&of_copy.originals);
    !of_copy.originals.is_empty()
        && of_copy.originals.len() <= manifest.originals.len()
        && pairs
            .into_iter()
            .all(|(part, had)| part.name == had.name && begins(root, part, had))
}

/// Brings back what people and the program decided, where such a file is gone.
fn lost_files(root: &Path, copy: &Path) -> Result<Vec<String>, Error> {
    let mut done = Vec::new();
    for name in ["archive.toml", "answers.jsonl"] {
        let (here, there) = (root.join(name), copy.join(name));
        if !here.exists() && there.is_file() {
            let bytes = fs::read(&there).map_err(Error::io("read", &there))?;
            RealDisk
                .replace(&here, &bytes)
                .map_err(Error::io("write", &here))?;
            done.push(format!("{name}: was gone, and is that of {} now", copy.display()));
        }
    }
    Ok(done)
}

/// Brings back the notes that an earlier copy holds, where the file ends before them or is gone. What was noted later is
/// told by the repair.
fn earlier_notes(root: &Path, part: &Part, copy: &Path, held: &Part) -> Result<Option<String>, Error> {
    let path = root.join(&part.name);
    let there = fs::metadata(&path).map_or(0, |metadata| metadata.len());
    if there >= held.length || held.length > part.length || !is_whole(copy, held) {
        return Ok(None);
    }
    let from = copy.join(&held.name);
    let length = usize::try_from(held.length).unwrap_or(usize::MAX);
    let bytes = read_at(&from, 0, length).map_err(Error::io("read", &from))?;
    let own = read_at(&path, 0, usize::try_from(there).unwrap_or(0)).unwrap_or_default();
    if !bytes.starts_with(&own) {
        return Ok(None);
    }
    overwrite(&path, 0, &bytes)?;
    Ok(Some(format!(
        "{}: {} bytes are back, from {}",
        part.name,
        held.length - there,
        copy.display()
    )))
}

/// Looks at the folder of a copy, and begins one where there is none. Gives what the copy holds.
fn prepare(root: &Path, manifest: &Manifest, to: &Path, disk: &dyn Disk) -> Result<Manifest, Error> {
    let other = |found: String| Error::NoCopy {
        path: to.to_owned(),
        found,
    };
    fs::create_dir_all(to).map_err(Error::io("make the folder", to))?;
    let real = |path: &Path| fs::canonicalize(path).map_err(Error::io("look at", path));
    let (here, there) = (real(root)?, real(to)?);
    if there.starts_with(&here) || here.starts_with(&there) {
        return Err(other(
            "the archive itself, or a folder around or inside it".into(),
        ));
    }
    let names = fs::read_dir(to).map_err(Error::io("look at", to))?.flatten();
    if !Manifest::path(to).exists() {
        let strange = names
            .map(|entry| entry.file_name())
            // What a first copy leaves that found the disk full.
            .filter(|name| FIRST.iter().all(|first| name != first));
        if let Some(strange) = strange.min() {
            return Err(other(format!("`{}`", strange.to_string_lossy())));
        }
        Manifest::empty().write(to, disk)?;
        return Manifest::read(to);
    }
    let before = Manifest::read(to)?;
    unfinished::explained(to, &before)?;
    // Originals never change once they are committed, so an earlier copy begins as they do.
    for (had, part) in before.originals.iter().zip(&manifest.originals) {
        if !begins_with(root, part, had)? {
            must_be_whole(root, part)?;
            return Err(other(format!("another archive: its {} differs", had.name)));
        }
    }
    let newer = before.commit > manifest.commit
        || before.originals.len() > manifest.originals.len()
        || before.records.len() > manifest.records.len();
    if newer {
        return Err(other(format!(
            "commit {}, while the archive is at commit {}",
            before.commit, manifest.commit
        )));
    }
    // Records and notes change at a repair; what the copy has of them then is taken anew.
    let mut kept = before.clone();
    for (had, part) in kept.records.iter_mut().zip(&manifest.records) {
        if !begins_with(root, part, had)? {
            must_be_whole(root, part)?;
            *had = afresh(to, had)?;
        }
    }
    if kept.notes.length > 0 && !begins_with(root, &manifest.notes, &kept.notes)? {
        must_be_whole(root, &manifest.notes)?;
        let own = own_notes(root, &manifest.notes, to, &kept.notes)?;
        if own > 0 {
            return Err(other(format!(
                "a copy that went its own way: {own} of its notes {} not in the archive",
                if own == 1 { "is" } else { "are" }
            )));
        }
        kept.notes = afresh(to, &kept.notes)?;
    }
    if kept != before {
        kept.write(to, disk)?;
    }
    Ok(kept)
}

/// How many notes of a copy the archive has not.
fn own_notes(root: &Path, part: &Part, to: &Path, had: &Part) -> Result<usize, Error> {
    let lines = |folder: &Path, part: &Part| {
        let path = folder.join(&part.name);
        let length = usize::try_from(part.length).unwrap_or(usize::MAX);
        read_at(&path, 0, length).map_err(Error::io("read", &path))
    };
    let (here, there) = (lines(root, part)?, lines(to, had)?);
    let here: BTreeSet<&[u8]> = here.split(|&byte| byte == b'\n').collect();
    let own = there
        .split(|&byte| byte == b'\n')
        .filter(|line| !here.contains(line));
    Ok(own
        .filter(|line| serde_json::from_slice::<Note>(line).is_ok())
        .count())
}

/// Moves a part of a copy aside, since the archive has another one in its place now.
fn afresh(to: &Path, had: &Part) -> Result<Part, Error> {
    let folder = to.join("aside");
    fs::create_dir_all(&folder).map_err(Error::io("make the folder", &folder))?;
    let path = to.join(&had.name);
    let stamp = crate::now().replace([':', '-'], "");
    let name = had.name.replace('/', "-");
    let kept = folder.join(format!("{stamp}-{name}"));
    match fs::rename(&path, &kept) {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
            return Err(Error::io("move", &path)(error));
        }
        _ => {}
    }
    Ok(Part {
        name: had.name.clone(),
        ..Part::default()
    })
}

/// Whether the committed bytes of a part begin with those that a copy has.
fn begins_with(root: &Path, part: &Part, had: &Part) -> Result<bool, Error> {
    if had.length > part.length {
        return Ok(false);
    }
    let path = root.join(&part.name);
    let mut at = 0;
    for (number, stretch) in had.stretches.iter().enumerate() {
        if part.stretches.get(number) != Some(stretch) {
            // The last one has grown since.
            let length = usize::try_from(stretch.length).unwrap_or(usize::MAX);
            let bytes = read_at(&path, at, length).map_err(Error::io("read", &path))?;
            if Stretch::of(&bytes) != *stretch {
                return Ok(false);
            }
        }
        at += stretch.length;
    }
    Ok(true)
}

/// A part that is not what was committed is no ground to believe anything of a copy.
fn must_be_whole(root: &Path, part: &Part) -> Result<(), Error> {
    if is_whole(root, part) {
        return Ok(());
    }
    Err(Error::damaged(
        &root.join(&part.name),
        None,
        "other bytes than were committed",
        "bytes that agree with the manifest; the copy was left as it was",
    ))
}

/// Adds to a part of a copy what it has not; gives how many bytes that was.
fn add_part(
    root: &Path,
    part: &Part,
    to: &Path,
    had: &Part,
    disk: &dyn Disk,
    told: &mut dyn FnMut(u64),
) -> Result<u64, Error> {
    let (source, target) = (root.join(&part.name), to.join(&part.name));
    if let Some(folder) = target.parent() {
        fs::create_dir_all(folder).map_err(Error::io("make the folder", folder))?;
    }
    if had.length == part.length && had.directory == part.directory && is_whole(to, had) {
        return Ok(0);
    }
    let mut hasher = Hasher::resume(&target, had)?;
    let mut file = File::open(&source).map_err(Error::io("open", &source))?;
    file.seek(SeekFrom::Start(had.length))
        .map_err(Error::io("read", &source))?;
    let mut tail = disk
        .open_at(&target, had.length)
        .map_err(Error::io("open", &target))?;
    let mut left = part.length - had.length;
    let mut buffer = vec![0; STEP];
    while left > 0 {
        let most = usize::try_from(left).unwrap_or(usize::MAX).min(STEP);
        file.read_exact(&mut buffer[..most])
            .map_err(Error::io("read", &source))?;
        tail.write(&buffer[..most]).map_err(Error::io("write", &target))?;
        hasher.update(&buffer[..most]);
        left -= most as u64;
        told(part.length - had.length - left);
    }
    if hasher.stretches() != part.stretches {
        return Err(Error::damaged(
            &source,
            None,
            "other bytes than were committed",
            "bytes that agree with the manifest; the copy was left as it was",
        ));
    }
    if let Some(committed) = &part.directory {
        let directory = zipped::directory(&zipped::entries(&target, part.length)?, part.length);
        if Stretch::of(&directory) != *committed {
            let found = "entries of another directory";
            return Err(Error::damaged(
                &source,
                part.length,
                found,
                "those that were committed",
            ));
        }
        tail.write(&directory).map_err(Error::io("write", &target))?;
    }
    tail.sync().map_err(Error::io("sync", &target))?;
    if let Some(folder) = target.parent() {
        sync_folder(folder).map_err(Error::io("sync", folder))?;
    }
    Ok(part.length - had.length)
}

/// Copies everything else that stands in the archive's folder, such as `layouts`.
fn rest(root: &Path, to: &Path, disk: &dyn Disk) -> Result<u64, Error> {
    let mut copied = 0;
    let mut names = BTreeSet::new();
    for entry in fs::read_dir(root).map_err(Error::io("look at", root))?.flatten() {
        names.insert(entry.file_name());
    }
    for name in names {
        if !OWN.iter().any(|own| name == *own) {
            copied += tree(&root.join(&name), &to.join(&name), disk)?;
        }
    }
    Ok(copied)
}

fn tree(from: &Path, to: &Path, disk: &dyn Disk) -> Result<u64, Error> {
    let metadata = fs::symlink_metadata(from).map_err(Error::io("look at", from))?;
    if metadata.is_dir() {
        fs::create_dir_all(to).map_err(Error::io("make the folder", to))?;
        let mut copied = 0;
        for entry in fs::read_dir(from).map_err(Error::io("look at", from))?.flatten() {
            copied += tree(&entry.path(), &to.join(entry.file_name()), disk)?;
        }
        return Ok(copied);
    }
    if !metadata.is_file() {
        return Ok(0);
    }
    let bytes = fs::read(from).map_err(Error::io("read", from))?;
    put(to, &bytes, disk)
}

/// Writes a file of a copy, unless it is there; gives how many bytes were written.
fn put(to: &Path, bytes: &[u8], disk: &dyn Disk) -> Result<u64, Error> {
    if fs::read(to).is_ok_and(|there| there == bytes) {
        return Ok(0);
    }
    disk.replace(to, bytes).map_err(Error::io("write", to))?;
    Ok(bytes.len() as u64)
}

/// Puts bytes of a copy in the place of damaged ones, stretch by stretch, wherever that gives what was committed.
/// `begin` is called before any is written.
fn mend_part(
    root: &Path,
    part: &Part,
    copy: &Path,
    held: &Part,
    begin: &dyn Fn() -> Result<(), Error>,
) -> Result<u64, Error> {
    let (path, other) = (root.join(&part.name), copy.join(&part.name));
    let there = |path: &Path| fs::metadata(path).map_or(0, |metadata| metadata.len());
    // Behind the entries that an older copy holds stands a directory of its own.
    let of_copy = if held.length == part.length {
        held.whole()
    } else {
        held.length
    };
    let read = |path: &Path, end: u64, at: u64, length: u64| {
        let length = there(path).min(end).saturating_sub(at).min(length);
        read_at(path, at, usize::try_from(length).unwrap_or(usize::MAX)).unwrap_or_default()
    };
    let (mut at, mut mended) = (0, 0);
    for stretch in part.stretches.iter().chain(&part.directory) {
        let own = read(&path, u64::MAX, at, stretch.length);
        if Stretch::of(&own) != *stretch {
            let mut bytes = read(&other, of_copy, at, stretch.length);
            // A copy that is older ends before this stretch does; the rest may be whole here.
            bytes.extend_from_slice(own.get(bytes.len()..).unwrap_or_default());
            if Stretch::of(&bytes) == *stretch {
                begin()?;
                overwrite(&path, at, &bytes)?;
                mended += stretch.length;
            }
        }
        at += stretch.length;
    }
    Ok(mended)
}
