//! Is everything still as it was committed?

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

use curvary_record::stored::Record;
use curvary_record::{Digest, RunId};
use serde::Serialize;

use crate::answer::{StoredAnswers, applied};
use crate::current::{Current, folder};
use crate::digests::{digest_bytes, digest_named};
use crate::frames::{self, FrameWalk, WalkStep};
use crate::index::Index;
use crate::lock;
use crate::manifest::{Manifest, Part, Stretch, check};
use crate::note::NoteBook;
use crate::originals::{self, zipped};
use crate::query::Query;
use crate::{Error, Settings, debris};

/// What a check of the whole archive found.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct VerifyReport {
    /// Originals whose bytes agree with their digests.
    pub originals: u64,
    /// Records that were read.
    pub records: u64,
    /// Runs among them that count today.
    pub runs: u64,
    /// What is not as it should be; empty when all is well.
    pub problems: Vec<VerifyProblem>,
    /// Sources that must be read again since their records are lost; their originals are whole.
    #[serde(skip)]
    pub again: Vec<Digest>,
    /// What is worth knowing and does no harm, such as the tail of a commit that was cut short.
    pub remarks: Vec<String>,
}

/// Something on disk that is not what was committed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct VerifyProblem {
    /// The file, relative to the archive.
    pub file: String,
    /// Where in it.
    pub at: Option<u64>,
    /// What was found.
    pub found: String,
    /// What was expected.
    pub expected: String,
    /// Whether `Archive::repair` can put it right.
    pub repairable: bool,
}

struct Check<'a> {
    root: &'a Path,
    found: VerifyReport,
    /// The first paths of sources whose originals are not there.
    lost: BTreeMap<[u8; 32], String>,
    done: u64,
    all: u64,
    told: &'a mut dyn FnMut(u64, u64),
}

impl Check<'_> {
    fn problem(
        &mut self,
        file: &str,
        at: Option<u64>,
        found: impl Into<String>,
        expected: impl Into<String>,
        repairable: bool,
    ) {
        self.found.problems.push(VerifyProblem {
            file: file.to_owned(),
            at,
            found: found.into(),
            expected: expected.into(),
            repairable,
        });
    }

    fn step(&mut self, bytes: u64) {
        self.done += bytes;
        (self.told)(self.done.min(self.all), self.all);
    }

    /// Turns an error about one file into a problem.
    fn trouble(&mut self, part: &Part, error: Error) {
        match error {
            Error::Damaged {
                at, found, expected, ..
            } => self.problem(&part.name, at, found, expected, false),
            error => self.problem(
                &part.name,
                None,
                error.to_string(),
                "a file that can be read",
                false,
            ),
        }
    }

    /// Compares a file's bytes with the digests of its stretches. Gives whether its content can be looked at.
    fn bytes(&mut self, part: &Part) -> bool {
        let path = self.root.join(&part.name);
        let length = match fs::metadata(&path) {
            Ok(metadata) => metadata.len(),
            Err(error) => {
                self.problem(
                    &part.name,
                    None,
                    error.to_string(),
                    format!("a file of {} bytes", part.whole()),
                    false,
                );
                return false;
            }
        };
        if length < part.length {
            self.problem(
                &part.name,
                Some(length),
                format!("a file of {length} bytes"),
                format!("at least the {} bytes that were committed", part.length),
                false,
            );
            return false;
        }
        if length > part.whole() {
            self.found.remarks.push(format!(
                "{}: {} bytes lie beyond what was committed; the next command that writes cuts them off",
                part.name,
                length - part.whole()
            ));
        }
        let content = Part {
            directory: None,
            ..part.clone()
        };
        let mut done = 0;
        match check(&path, &content, &mut |bytes| done += bytes) {
            Ok(wrong) => {
                for (at, found) in wrong {
                    self.problem(
                        &part.name,
                        Some(at),
                        found,
                        "the bytes that were committed",
                        false,
                    );
                }
            }
            Err(error) => self.trouble(part, error),
        }
        self.step(done);
        true
    }

    /// Unpacks every original of a part. Gives the digests of those that are whole.
    fn originals(&mut self, number: u32, part: &Part, digests: &mut BTreeSet<[u8; 32]>) {
        if originals::is_zip(&part.name) {
            return self.zipped(part, digests);
        }
        let members = match originals::members(self.root, number, part) {
            Ok(members) => members,
            Err(error) => return self.trouble(part, error),
        };
        for damage in members.damaged {
            let found = format!("{} damaged bytes", damage.length);
            self.problem(&part.name, Some(damage.at), found, "a frame of originals", false);
        }
        self.found.originals += members.all.len() as u64;
        digests.extend(members.all.iter().map(|member| member.digest));
        self.step(part.length);
    }

    /// The same of a ZIP file, in which each entry tells its digest.
    fn zipped(&mut self, part: &Part, digests: &mut BTreeSet<[u8; 32]>) {
        let path = self.root.join(&part.name);
        let entries = match zipped::entries_of(self.root, part) {
            Ok(entries) => entries,
            Err(error) => return self.trouble(part, error),
        };
        for entry in &entries {
            match zipped::read(&path, u64::from(entry.at)) {
                Ok((_, bytes)) => {
                    let found = Digest::of(&bytes);
                    if digest_bytes(found.as_str()) == Some(entry.digest) {
                        self.found.originals += 1;
                        digests.insert(entry.digest);
                    } else {
                        let expected = digest_named(&entry.digest).to_string();
                        self.problem(
                            &part.name,
                            Some(u64::from(entry.at)),
                            found.as_str(),
                            expected,
                            false,
                        );
                    }
                }
                Err(error) => self.trouble(part, error),
            }
        }
        let directory = zipped::directory(&entries, part.length);
        let length = directory.len();
        if part.directory.as_ref() != Some(&Stretch::of(&directory)) {
            self.problem(
                &part.name,
                Some(part.length),
                "entries of another directory",
                "those that were committed",
                false,
            );
        }
        let there = crate::disk::read_at(&path, part.length, length).unwrap_or_default();
        if there != directory {
            self.found.remarks.push(format!(
                "{}: its directory was being written when a command was cut short; the next command that writes puts it right",
                part.name
            ));
        }
        self.step(part.length);
    }
}

/// Checks a whole archive.
pub(crate) fn all(
    root: &Path,
    settings: &Settings,
    manifest: &Manifest,
    told: &mut dyn FnMut(u64, u64),
) -> Result<VerifyReport, Error> {
    let length = |parts: &[Part]| parts.iter().map(|part| part.length).sum::<u64>();
    let all = 2 * (length(&manifest.originals) + length(&manifest.records)) + manifest.notes.length;
    let mut check = Check {
        root,
        found: VerifyReport::default(),
        lost: BTreeMap::new(),
        done: 0,
        all,
        told,
    };
    let mut originals = BTreeSet::new();
    for (number, part) in (0_u32..).zip(&manifest.originals) {
        if check.bytes(part) {
            check.originals(number, part, &mut originals);
        }
    }
    if manifest.notes.length > 0
        && check.bytes(&manifest.notes)
        && check
            .found
            .problems
            .iter()
            .all(|problem| problem.file != manifest.notes.name)
        && let Err(error) = NoteBook::read(root, &manifest.notes)
    {
        check.trouble(&manifest.notes, error);
    }
    match StoredAnswers::read(root) {
        Ok(answers) => {
            let waiting = answers.unapplied();
            if let Some(found) = waiting.unreadable.clone() {
                check.problem(applied::NAME, None, found, "answers that can be read", false);
            }
            let remark = waiting.advice().map(|advice| format!("answers.jsonl: {advice}"));
            check.found.remarks.extend(remark);
        }
        Err(error) => {
            let found = error.to_string();
            check.problem("answers.jsonl", None, found, "answers that can be read", false);
        }
    }
    check.found.remarks.extend(strangers(root, manifest));
    let left = debris::left(root);
    if !left.is_empty() && lock::writer(root).is_none() {
        check.found.remarks.push(format!(
            "left behind by commands that were cut short, and never read: {}; `curvary verify --repair` moves them into aside/",
            left.join(", ")
        ));
    }
    let previous = Manifest::previous_trouble(root);
    check.found.remarks.extend(previous.map(|found| {
        format!(
            "manifest.previous.json: {found}; nothing needs it, and the next command that writes keeps a whole one there"
        )
    }));
    // The runs that count: those of the newest reading of each source.
    let mut sources: BTreeMap<[u8; 32], (u32, BTreeSet<String>)> = BTreeMap::new();
    for (number, part) in (0_u32..).zip(&manifest.records) {
        if check.bytes(part)
            && let Err(error) = records(&mut check, number, part, &originals, &mut sources)
        {
            check.trouble(part, error);
        }
        check.step(part.length);
    }
    for digest in sources.keys().filter(|digest| !originals.contains(*digest)) {
        let found = match check.lost.get(digest) {
            Some(path) => format!("no whole original of `{path}`"),
            None => "no whole original".to_owned(),
        };
        let expected = format!(
            "the bytes of {}: add the same file again, or mend from a backup",
            digest_named(digest)
        );
        check.problem("originals", None, found, expected, false);
    }
    for digest in originals.iter().filter(|digest| !sources.contains_key(*digest)) {
        let expected = format!("what became of {}", digest_named(digest));
        check.problem("records", None, "no record", expected, true);
        check.found.again.push(digest_named(digest));
    }
    for (digest, (runs, names)) in &sources {
        if names.len() != *runs as usize {
            let expected = format!("the {runs} runs of {}", digest_named(digest));
            let whole = originals.contains(digest);
            check.problem("records", None, format!("{} runs", names.len()), expected, whole);
            if whole {
                check.found.again.push(digest_named(digest));
            }
        }
    }
    check.found.runs = sources.values().map(|(_, names)| names.len() as u64).sum();
    index(&mut check, settings, manifest, &sources)?;
    Ok(check.found)
}

/// Files with names like those of the archive that are none of it, such as a sync service leaves where two people wrote.
fn strangers(root: &Path, manifest: &Manifest) -> Option<String> {
    const STEMS: [&str; 5] = ["notes", "answers", "manifest", "archive", "unfinished"];
    const OWN: [&str; 9] = [
        "answers.applied.jsonl",
        "answers.jsonl",
        "archive.lock",
        "archive.toml",
        "manifest.json",
        "manifest.json.new",
        "manifest.previous.json",
        "notes.jsonl",
        "unfinished.json",
    ];
    let parts: BTreeSet<&str> = manifest
        .originals
        .iter()
        .chain(&manifest.records)
        .map(|part| part.name.as_str())
        .collect();
    // What a commit that is under way has begun is told elsewhere.
    let begun = crate::manifest::unlisted(root, manifest);
    let names = |folder: &str| {
        let entries = fs::read_dir(root.join(folder)).into_iter().flatten().flatten();
        let files = entries.filter(|entry| entry.path().is_file());
        files
            .map(|entry| entry.file_name().to_string_lossy().into_owned())
            .collect::<Vec<_>>()
    };
    let passing = debris::passing(root);
    let mut all: Vec<String> = names("")
        .into_iter()
        .filter(|name| !OWN.contains(&name.as_str()) && !passing.contains(name))
        .filter(|name| STEMS.iter().any(|stem| name.starts_with(stem)))
        .collect();
    for folder in ["originals", "records"] {
        let inside = names(folder).into_iter().map(|name| format!("{folder}/{name}"));
        all.extend(inside.filter(|name| !parts.contains(name.as_str()) && !begun.contains(name)));
    }
    all.sort();
    (!all.is_empty()).then(|| {
        format!(
            "no part of the archive, and never read: {}; if somebody else wrote them, look what they hold",
            all.join(", ")
        )
    })
}

fn records(
    check: &mut Check<'_>,
    number: u32,
    part: &Part,
    originals: &BTreeSet<[u8; 32]>,
    sources: &mut BTreeMap<[u8; 32], (u32, BTreeSet<String>)>,
) -> Result<(), Error> {
    let path = check.root.join(&part.name);
    let mut damaged = false;
    let mut walk = FrameWalk::new(&path, number, 0, part.length)?;
    while let Some(step) = walk.next()? {
        let (frame, bytes) = match step {
            WalkStep::Frame(frame, bytes) => (frame, bytes),
            WalkStep::Damaged(damage) => {
                damaged = true;
                check.problem(
                    &part.name,
                    Some(damage.at),
                    format!("{} damaged bytes", damage.length),
                    "zstd frames of records",
                    true,
                );
                continue;
            }
        };
        for (at, record) in frames::records(frame, &bytes) {
            let wrong = |found: String| Error::damaged(&path, at.frame, found, "a record");
            let record = record.map_err(wrong)?;
            check.found.records += 1;
            match record {
                Record::Source(source) => {
                    let key = digest_bytes(source.digest.as_str())
                        .ok_or_else(|| wrong(source.digest.to_string()))?;
                    sources.insert(key, (source.runs, BTreeSet::new()));
                }
                Record::Run(run) => {
                    let run = &run.0;
                    let of = digest_bytes(run.source.digest.as_str()).and_then(|key| sources.get_mut(&key));
                    let named = RunId::new(&run.source.digest, run.source.ordinal as usize) == run.id;
                    match of {
                        Some((_, names)) if named => {
                            if !names.insert(run.id.as_str().to_owned()) {
                                return Err(wrong(format!("the run {} for a second time", run.id)));
                            }
                        }
                        // Its source's record stood in a damaged stretch, and is told as missing.
                        _ if damaged => {}
                        _ => return Err(wrong(format!("the run {} without its source", run.id))),
                    }
                }
                Record::Path(met) => {
                    let key = digest_bytes(met.digest.as_str()).filter(|key| !originals.contains(key));
                    if let Some(key) = key {
                        check.lost.entry(key).or_insert(met.path);
                    }
                }
                Record::Outcome(_) | Record::Missed(_) => {}
            }
        }
    }
    Ok(())
}

/// Compares the index with the records of a manifest. What does not agree says nothing where somebody writes meanwhile: the
/// index is then about a later commit.
fn index(
    check: &mut Check<'_>,
    settings: &Settings,
    manifest: &Manifest,
    sources: &BTreeMap<[u8; 32], (u32, BTreeSet<String>)>,
) -> Result<(), Error> {
    let before = check.found.problems.len();
    let compared = index_as_it_is(check, settings, manifest, sources);
    if compared.is_ok() && check.found.problems.len() == before {
        return Ok(());
    }
    let later = || Manifest::read(check.root).is_ok_and(|now| now.commit != manifest.commit);
    let writer = lock::writer(check.root);
    // A lock of another machine may have been left there long ago: it explains nothing away.
    if writer.as_ref().is_none_or(|writer| !writer.is_here()) && !later() {
        if writer.is_some() {
            check
                .found
                .remarks
                .push("index: by its lock somebody may be writing on another machine; verify again when that is over".into());
        }
        return compared;
    }
    check.found.problems.truncate(before);
    check
        .found
        .remarks
        .push("index: somebody writes to the archive; it was not compared with the records".into());
    Ok(())
}

fn index_as_it_is(
    check: &mut Check<'_>,
    settings: &Settings,
    manifest: &Manifest,
    sources: &BTreeMap<[u8; 32], (u32, BTreeSet<String>)>,
) -> Result<(), Error> {
    let Some(current) = Current::read(&folder(check.root), settings)? else {
        check
            .found
            .remarks
            .push("index: there is none for these records and rules; it is built when first needed".into());
        return Ok(());
    };
    let path = folder(check.root).join(&current.folder);
    let checked = Index::open(&path).and_then(|index| {
        index.check()?;
        let covered = index.covered()?;
        Ok((index, covered))
    });
    let (index, covered) = match checked {
        Ok(both) => both,
        Err(error) => {
            check.problem(
                "index",
                None,
                error.to_string(),
                "an index that can be read",
                true,
            );
            return Ok(());
        }
    };
    let catalog = path.join(&covered.catalog);
    let known = fs::read(&catalog).map_err(|error| error.to_string());
    let known = known.and_then(|bytes| {
        let catalog = covered.catalog_in(&bytes);
        catalog.ok_or_else(|| "other bytes than belong to the index".to_owned())
    });
    if let Err(found) = known {
        let file = format!("index/{}/{}", current.folder, covered.catalog);
        check.problem(&file, None, found, "the catalogue of the index", true);
        return Ok(());
    }
    if covered.behind(manifest) > 0 {
        check.found.remarks.push(format!(
            "index: {} committed bytes are not filed yet; the next command completes it",
            covered.behind(manifest)
        ));
        return Ok(());
    }
    let mut query = Query::everything();
    query.superseded = true;
    let mut filed = BTreeMap::new();
    for (id, _) in index.every_run(&query)? {
        *filed.entry(id).or_insert(0_u32) += 1;
    }
    for (id, count) in filed.iter().filter(|(_, count)| **count != 1) {
        check.problem(
            "index",
            None,
            format!("the run {id} {count} times"),
            "each run once",
            true,
        );
    }
    let every: BTreeSet<&String> = sources.values().flat_map(|(_, names)| names).collect();
    if filed.len() != every.len() || !filed.keys().all(|id| every.contains(id)) {
        let missing = every.iter().filter(|id| !filed.contains_key(**id)).count();
        let strange = filed.keys().filter(|id| !every.contains(*id)).count();
        let found = format!("{missing} runs missing and {strange} that no record knows");
        check.problem("index", None, found, "exactly the runs of the records", true);
    }
    Ok(())
}
