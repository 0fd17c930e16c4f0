//! Files that only ever grow, and the parts that they fill one after another.

use std::fs;
use std::path::{Path, PathBuf};

use crate::Error;
use crate::disk::{Disk, Tail, sync_folder};
use crate::manifest::{Hasher, Part};

/// A growing file.
pub(crate) struct AppendFile {
    /// Number of the part.
    pub(crate) part: u32,
    path: PathBuf,
    name: String,
    tail: Box<dyn Tail>,
    hasher: Hasher,
    pub(crate) length: u64,
    pub(crate) grown: bool,
}

impl AppendFile {
    /// Goes on with a part, or begins it.
    pub(crate) fn open(root: &Path, disk: &dyn Disk, number: u32, part: &Part) -> Result<Self, Error> {
        let path = root.join(&part.name);
        if let Some(folder) = path.parent().filter(|folder| !folder.exists()) {
            fs::create_dir_all(folder).map_err(Error::io("make the folder", folder))?;
            sync_folder(root).map_err(Error::io("sync", root))?;
        }
        let hasher = Hasher::resume(&path, part)?;
        let tail = disk
            .open_at(&path, part.length)
            .map_err(Error::io("open", &path))?;
        Ok(Self {
            part: number,
            path,
            name: part.name.clone(),
            tail,
            hasher,
            length: part.length,
            grown: false,
        })
    }

    pub(crate) fn write(&mut self, bytes: &[u8]) -> Result<(), Error> {
        self.tail.write(bytes).map_err(Error::io("write", &self.path))?;
        self.hasher.update(bytes);
        self.length += bytes.len() as u64;
        self.grown = true;
        Ok(())
    }

    pub(crate) fn sync(&mut self) -> Result<(), Error> {
        self.tail.sync().map_err(Error::io("sync", &self.path))?;
        let folder = self.path.parent().unwrap_or(Path::new("."));
        sync_folder(folder).map_err(Error::io("sync", folder))?;
        self.grown = false;
        Ok(())
    }

    pub(crate) fn part(&self) -> Part {
        Part {
            name: self.name.clone(),
            length: self.length,
            stretches: self.hasher.stretches(),
            directory: None,
        }
    }
}

/// Parts of one kind: frames are put at the end of the last one until that is full.
pub(crate) struct Parts {
    /// The name of a part.
    name: fn(u32) -> String,
    /// A part that is this long gets no further frame.
    most: u64,
    open: Option<AppendFile>,
    /// Parts that were filled since the last commit.
    full: Vec<(u32, Part)>,
}

impl Parts {
    pub(crate) fn new(name: fn(u32) -> String, most: u64) -> Self {
        Self {
            name,
            most,
            open: None,
            full: Vec::new(),
        }
    }

    /// Writes a frame behind what was `committed` and written since; gives the number of its part and where it begins.
    pub(crate) fn put(
        &mut self,
        root: &Path,
        disk: &dyn Disk,
        committed: &[Part],
        frame: &[u8],
    ) -> Result<(u32, u64), Error> {
        let open = match self.open.take() {
            Some(open) => open,
            None => {
                let last = u32::try_from(committed.len().saturating_sub(1)).unwrap_or(u32::MAX);
                match committed.last() {
                    // A part of another kind is full.
                    Some(part) if part.name != (self.name)(last) => self.begin(root, disk, last + 1)?,
                    Some(part) => AppendFile::open(root, disk, last, part)?,
                    None => self.begin(root, disk, last)?,
                }
            }
        };
        let mut open = open;
        if open.length > 0 && open.length + frame.len() as u64 > self.most {
            if open.grown {
                open.sync()?;
                self.full.push((open.part, open.part()));
            }
            open = self.begin(root, disk, open.part + 1)?;
        }
        let at = open.length;
        let written = open.write(frame);
        let part = open.part;
        self.open = Some(open);
        written.map(|()| (part, at))
    }

    fn begin(&self, root: &Path, disk: &dyn Disk, number: u32) -> Result<AppendFile, Error> {
        let part = Part {
            name: (self.name)(number),
            ..Part::default()
        };
        AppendFile::open(root, disk, number, &part)
    }

    pub(crate) fn has_grown(&self) -> bool {
        !self.full.is_empty() || self.open.as_ref().is_some_and(|open| open.grown)
    }

    /// Syncs what has grown and lists it.
    pub(crate) fn commit(&mut self, listed: &mut Vec<Part>) -> Result<(), Error> {
        let mut grown = std::mem::take(&mut self.full);
        if let Some(open) = self.open.as_mut().filter(|open| open.grown) {
            open.sync()?;
            grown.push((open.part, open.part()));
        }
        for (number, part) in grown {
            let number = number as usize;
            if listed.len() <= number {
                listed.resize(number + 1, Part::default());
            }
            listed[number] = part;
        }
        Ok(())
    }

    /// Closes the file, whatever was written to it.
    pub(crate) fn close(&mut self) {
        self.open = None;
        self.full.clear();
    }
}
