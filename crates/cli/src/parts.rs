//! Files converted piece by piece into one set of Parquet files, by as many workers as there are.
//!
//! A set is a folder with `runs/`, `curves/` and `points/`, in each a Parquet file for every part, and `manifests/`, in
//! which a part says what it was made of. A part is named by the content of its files, and what is in the set already is
//! left out, so that the same list may be worked on many times, by several workers at once and again after one was
//! killed: every file counts once. A part without a manifest was cut short; the next worker takes it away.

use std::collections::{BTreeMap, BTreeSet, HashSet};
use std::fs::{self, File};
use std::io::{self, BufRead as _, Cursor, Write as _};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use curvary_formats::writers::export::{
    self, ExportError, ExportPart, ExportedRun, ExportedRuns, Files, Output,
};
use curvary_formats::writers::parquet::Parquet;
use curvary_formats::writers::units::Units;
use curvary_ingest::FileReport;
use curvary_record::{Code, Diagnostic, Digest, Run, Verdict};
use serde::{Deserialize, Serialize};

use crate::ending::Failure;
use crate::output::{ExistingFile, OutputFiles};

/// The tables of a set. Files alone have no results.
const TABLES: [&str; 3] = ["runs", "curves", "points"];
const MANIFESTS: &str = "manifests";
/// So many points are held at most before a part is written; 16 bytes each, and as much again while it is.
const POINTS: u64 = 4 << 20;

/// What a part was made of.
#[derive(Debug, Serialize, Deserialize)]
pub(crate) struct PartManifest {
    /// The program and its version.
    curvary: String,
    /// The part's name.
    part: String,
    runs: u64,
    points: u64,
    /// Its files below the folder of the set.
    files: Vec<String>,
    /// What was read, in the order of the list.
    pub(crate) sources: Vec<PartSource>,
}

/// A file of a part.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(crate) struct PartSource {
    /// Its path as it was listed.
    pub(crate) path: String,
    /// The digest of its bytes.
    pub(crate) digest: Digest,
    verdict: Verdict,
    runs: u64,
    points: u64,
    /// Why nothing came of it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    because: Option<String>,
}

/// The paths of a list, one a line; `-` is standard input.
pub(crate) fn listed(list: &Path) -> Result<Vec<PathBuf>, Failure> {
    let fail = |error: io::Error| Failure::file("read the list", list, &error);
    let text = if list == Path::new("-") {
        let lines: io::Result<Vec<String>> = io::stdin().lock().lines().collect();
        lines.map_err(fail)?.join("\n")
    } else {
        fs::read_to_string(list).map_err(fail)?
    };
    let paths: Vec<PathBuf> = text
        .lines()
        .filter(|line| !line.trim().is_empty())
        .map(PathBuf::from)
        .collect();
    if paths.is_empty() {
        let message = format!("the list `{}` names no file", list.display());
        let why = Diagnostic::error(Code::new("command-line"), message);
        return Err(Failure::wrong(why.help("write one path on each line")));
    }
    Ok(paths)
}

/// All manifests of a set, by the names of their files.
pub(crate) fn manifests(folder: &Path) -> Result<Vec<PartManifest>, Failure> {
    let mut all = Vec::new();
    for path in manifests_of(folder).map_err(|error| Failure::file("read the parts of", folder, &error))? {
        all.push(manifest(&path).map_err(|error| Failure::file("read the manifest", &path, &error))?);
    }
    Ok(all)
}

fn manifests_of(folder: &Path) -> io::Result<BTreeSet<PathBuf>> {
    let mut all = BTreeSet::new();
    for entry in fs::read_dir(folder.join(MANIFESTS))? {
        let path = entry?.path();
        if path.extension().is_some_and(|ending| ending == "json") {
            all.insert(path);
        }
    }
    Ok(all)
}

fn manifest(path: &Path) -> io::Result<PartManifest> {
    Ok(serde_json::from_slice(&fs::read(path)?)?)
}

/// Digests of the files of a set, for several threads.
#[derive(Clone, Default)]
pub(crate) struct KnownDigests(Arc<Mutex<BTreeSet<String>>>);

impl KnownDigests {
    /// Whether a file is in the set already.
    pub(crate) fn has(&self, digest: &Digest) -> bool {
        let known = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        known.contains(digest.as_str())
    }
}

/// A set that parts are added to.
pub(crate) struct PartSet {
    folder: PathBuf,
    /// Digests of all files in it, as far as its manifests have been read.
    known: KnownDigests,
    read: BTreeSet<PathBuf>,
    most: usize,
    waiting: Vec<(PartSource, Vec<Run>)>,
    /// The digests of those that wait.
    here: HashSet<String>,
    points: u64,
    /// Parts written by this worker.
    pub(crate) written: u64,
}

impl PartSet {
    /// Opens or begins a set; a part has at most so many files.
    pub(crate) fn open(folder: &Path, most: usize) -> Result<Self, Failure> {
        let fail = |error: io::Error| Failure::file("use", folder, &error);
        let other = |folder: &Path| -> io::Result<bool> {
            Ok(folder.is_dir() && !folder.join(MANIFESTS).is_dir() && fs::read_dir(folder)?.next().is_some())
        };
        if other(folder).map_err(fail)? {
            let message = format!(
                "the folder `{}` holds something else than parts",
                folder.display()
            );
            let why = Diagnostic::error(Code::new("output-there"), message);
            return Err(Failure::wrong(why.help("name a new folder with `--out`")));
        }
        for name in [MANIFESTS].iter().chain(&TABLES) {
            fs::create_dir_all(folder.join(name)).map_err(fail)?;
        }
        let mut set = Self {
            folder: folder.to_owned(),
            known: KnownDigests::default(),
            read: BTreeSet::new(),
            most: most.max(1),
            waiting: Vec::new(),
            here: HashSet::new(),
            points: 0,
            written: 0,
        };
        let lock = set.lock().map_err(fail)?;
        set.look().map_err(fail)?;
        drop(lock);
        Ok(set)
    }

    /// The files that are in the set already.
    pub(crate) fn known(&self) -> KnownDigests {
        self.known.clone()
    }

    fn has(&self, digest: &Digest) -> bool {
        self.known.has(digest)
    }

    /// Takes what was read of a file; writes a part where enough is there.
    pub(crate) fn take(&mut self, fate: &FileReport, runs: Vec<Run>) -> Result<(), Failure> {
        let Some(digest) = &fate.digest else { return Ok(()) };
        // Two files of the list may have the same bytes.
        if self.has(digest) || !self.here.insert(digest.to_string()) {
            return Ok(());
        }
        let points = runs.iter().map(|run| run.points() as u64).sum();
        let reason = fate.remarks.iter().max_by_key(|remark| remark.severity);
        let source = PartSource {
            path: fate.path.clone(),
            digest: digest.clone(),
            verdict: fate.verdict,
            runs: runs.len() as u64,
            points,
            because: reason
                .filter(|_| runs.is_empty())
                .map(|remark| remark.message.clone()),
        };
        self.waiting.push((source, runs));
        self.points += points;
        if self.waiting.len() >= self.most || self.points >= POINTS {
            self.write()?;
        }
        Ok(())
    }

    /// Writes what is left.
    pub(crate) fn finish(mut self) -> Result<u64, Failure> {
        self.write()?;
        Ok(self.written)
    }

    fn write(&mut self) -> Result<(), Failure> {
        let waiting = std::mem::take(&mut self.waiting);
        self.here.clear();
        self.points = 0;
        let folder = self.folder.clone();
        self.commit(waiting).map_err(|error| match error {
            ExportError::Io(error) => Failure::file("write a part to", &folder, &error),
            ExportError::Refused(why) => Failure::nothing(*why),
            error @ ExportError::Changed(_) => {
                Failure::file("write a part to", &folder, &io::Error::other(error))
            }
        })
    }

    /// Writes a part beside the others, and gives it its name if no other worker has had one of its files meanwhile;
    /// else it is written again without that file.
    fn commit(&mut self, mut waiting: Vec<(PartSource, Vec<Run>)>) -> Result<(), ExportError> {
        loop {
            waiting.retain(|(source, _)| !self.has(&source.digest));
            if waiting.is_empty() {
                return Ok(());
            }
            let files = self.prepare(&waiting)?;
            let lock = self.lock()?;
            self.look()?;
            if waiting.iter().all(|(source, _)| !self.has(&source.digest)) {
                files.commit()?;
                self.look()?;
                self.written += 1;
                drop(lock);
                return Ok(());
            }
            drop(lock);
        }
    }

    /// The files of a part, whole and not yet under their last names.
    fn prepare(&self, waiting: &[(PartSource, Vec<Run>)]) -> Result<OutputFiles, ExportError> {
        let part = name_of(waiting.iter().map(|(source, _)| source.digest.as_str()));
        let mut files = OutputFiles::new(&self.folder, ExistingFile::Replaced);
        let mut written = Vec::new();
        if waiting.iter().any(|(_, runs)| !runs.is_empty()) {
            let mut inside = Inside {
                files: &mut files,
                part: &part,
                written: &mut written,
            };
            export::export(
                &mut Parquet::part(),
                &mut PendingRuns(waiting),
                Units::Canonical,
                &mut inside,
            )?;
        }
        let sources: Vec<PartSource> = waiting.iter().map(|(source, _)| source.clone()).collect();
        let manifest = PartManifest {
            curvary: format!("curvary {}", env!("CARGO_PKG_VERSION")),
            part: part.clone(),
            runs: sources.iter().map(|source| source.runs).sum(),
            points: sources.iter().map(|source| source.points).sum(),
            files: written,
            sources,
        };
        // The last file to get its name: a part with a manifest is whole.
        let mut out = files.create(ExportPart::Member(&format!("{MANIFESTS}/{part}.json")))?;
        serde_json::to_writer_pretty(&mut out, &manifest)?;
        out.write_all(b"\n")?;
        out.flush()?;
        Ok(files)
    }

    /// Holds the set for one worker; it is free again when the file is closed, also where a worker is killed.
    fn lock(&self) -> io::Result<File> {
        let file = File::options()
            .create(true)
            .truncate(false)
            .write(true)
            .open(self.folder.join(MANIFESTS).join(".lock"))?;
        file.lock()?;
        Ok(file)
    }

    /// Reads manifests that are new, and takes away parts that were cut short. Only with the lock.
    fn look(&mut self) -> io::Result<()> {
        let all = manifests_of(&self.folder)?;
        let mut known = self.known.0.lock().unwrap_or_else(PoisonError::into_inner);
        for path in all.difference(&self.read) {
            let manifest = manifest(path)?;
            known.extend(manifest.sources.iter().map(|source| source.digest.to_string()));
        }
        drop(known);
        let whole: BTreeSet<&std::ffi::OsStr> = all.iter().filter_map(|path| path.file_stem()).collect();
        for table in TABLES {
            for entry in fs::read_dir(self.folder.join(table))? {
                let path = entry?.path();
                let ours = path.extension().is_some_and(|ending| ending == "parquet");
                if ours && path.file_stem().is_none_or(|stem| !whole.contains(stem)) {
                    fs::remove_file(&path)?;
                }
            }
        }
        self.read = all;
        Ok(())
    }
}

/// The runs of a part that is to be written.
struct PendingRuns<'w>(&'w [(PartSource, Vec<Run>)]);

impl ExportedRuns for PendingRuns<'_> {
    fn each(
        &mut self,
        take: &mut dyn FnMut(&ExportedRun<'_>) -> Result<(), ExportError>,
    ) -> Result<(), ExportError> {
        let mut runs = self.0.iter().flat_map(|(_, runs)| runs);
        runs.try_for_each(|run| take(&ExportedRun::bare(run)))
    }
}

/// The name of a part of these files.
fn name_of<'d>(digests: impl Iterator<Item = &'d str>) -> String {
    let sorted: BTreeSet<&str> = digests.collect();
    let all: Vec<&str> = sorted.into_iter().collect();
    let digest = Digest::of(all.join("\n").as_bytes());
    let digits = digest.as_str().trim_start_matches("sha256:");
    format!("part-{}", digits.get(..16).unwrap_or(digits))
}

/// The files of one part, each in the folder of its table.
struct Inside<'w> {
    files: &'w mut OutputFiles,
    part: &'w str,
    written: &'w mut Vec<String>,
}

impl Files for Inside<'_> {
    fn create(&mut self, part: ExportPart<'_>) -> io::Result<Box<dyn Output>> {
        let table = match part {
            ExportPart::Member(name) => name.trim_end_matches(".parquet"),
            ExportPart::Main | ExportPart::Schema => "",
        };
        if !TABLES.contains(&table) {
            // Files alone have no results.
            return Ok(Box::new(Cursor::new(Vec::new())));
        }
        let name = format!("{table}/{}.parquet", self.part);
        let out = self.files.create(ExportPart::Member(&name))?;
        self.written.push(name);
        Ok(out)
    }
}

/// What the manifests of a set say of each path: the digest of what was read there. A member of a container is told by
/// its own path.
pub(crate) fn expected(folder: &Path) -> Result<BTreeMap<String, Digest>, Failure> {
    let all = manifests(folder)?;
    let sources = all.into_iter().flat_map(|manifest| manifest.sources);
    Ok(sources.map(|source| (source.path, source.digest)).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_part_is_named_by_its_content_in_any_order() {
        let name = |all: &[&str]| name_of(all.iter().copied());
        assert_eq!(name(&["a", "b"]), name(&["b", "a", "b"]));
        assert_ne!(name(&["a", "b"]), name(&["a", "c"]));
    }
}
