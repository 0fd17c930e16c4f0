//! Sources made ready on any number of threads: their records as lines in frames, their originals packed, what is filed of
//! their runs. The same sources give the same bytes, and nothing is written here.

use std::collections::{HashMap, HashSet};
use std::hash::{DefaultHasher, Hash, Hasher};
use std::io::{BufWriter, Write};
use std::ops::Range;
use std::path::Path;
use std::sync::{Arc, PoisonError, RwLock};

use curvary_record::stored::{ModelRun, PathRecord, Record, RunTree, SourceRecord, StoredLine, StoredRun};
use curvary_record::{Diagnostic, Digest, Family, Run, RunId, Verdict};
use serde::Serialize;

use super::name_hash;
use crate::catalog::{Catalog, Stat};
use crate::decimal::DecimalFormatter;
use crate::digests::digest_bytes;
use crate::facts::{Facts, RunContext};
use crate::frames::At;
use crate::index::{FiledDocuments, IndexFields};
use crate::originals;
use crate::originals::tarred::{self, Packing};
use crate::{Error, Settings, frames};

/// One source to add: its bytes and what a reader made of them.
#[derive(Clone, Debug)]
pub struct Addition {
    /// The path under which the archive shall know it, with `/` between folders; inside a container
    /// `outer.zip!/inner.txt`. It must be the same each time the same file is added.
    pub path: String,
    /// The bytes.
    pub bytes: Vec<u8>,
    /// Their digest.
    pub digest: Digest,
    /// What the operating system says of the file, unless it lies in a container. Take it *before* reading the bytes, so
    /// that a change in between is noticed next time.
    pub stat: Option<Stat>,
    /// How the reading went.
    pub verdict: Verdict,
    /// The reader, unless none knew it.
    pub reader: Option<String>,
    /// Remarks on the file as a whole.
    pub remarks: Vec<Diagnostic>,
    /// How it is written.
    pub family: Option<Family>,
    /// The runs it gave; their names must be those of [`RunId::new`] for the digest, in order.
    pub runs: Vec<Run>,
    /// Whether it was read again, and this reading takes the place of the one before. Without it, bytes that the archive
    /// has already only gain a path.
    pub again: bool,
}

/// Makes sources ready on the caller's threads. The same sources give the same bytes, and nothing is written.
#[derive(Clone)]
pub struct Preparer {
    pub(super) settings: Arc<Settings>,
    pub(super) catalog: Arc<RwLock<Catalog>>,
    pub(super) names: Arc<RwLock<Option<HashSet<u64>>>>,
    pub(super) fields: IndexFields,
}

/// A run of more points gets a frame of its own: at two bytes a point, the letter and a digit of a step, it fills one.
const LONG: usize = frames::FRAME_BYTES / 2;

/// A packed frame with the stretch of lines that it holds.
pub(super) type PackedFrame = (Range<usize>, Vec<u8>);

/// So many runs that others may be like are kept at a time: a folder that several programs wrote into in turn has few kinds, and a
/// frame has few dozens of runs that say all of it.
const MODELS: usize = 16;

/// A run in the open frame that others may be like.
struct WrittenModel {
    kind: u64,
    run: ModelRun,
    /// The number and the length of its line.
    number: u32,
    length: usize,
}

/// What runs of one program have in common: what they are of, their curves and the names of their fields. Runs of other kinds may
/// be alike too, and two of one kind need not be.
fn kind_of(run: &Run) -> u64 {
    let mut kind = DefaultHasher::new();
    run.technique.as_str().hash(&mut kind);
    run.source.reader.hash(&mut kind);
    run.traces.len().hash(&mut kind);
    if let Some(trace) = run.traces.first() {
        trace.x.quantity.as_str().hash(&mut kind);
        trace.y.quantity.as_str().hash(&mut kind);
    }
    for (key, _) in run.fields.iter() {
        key.as_str().hash(&mut kind);
    }
    kind.finish()
}

/// Lines of records, packed into frames as they come: each frame is closed at the first line end at which it is long
/// enough. Of the lines themselves no more than one frame is held.
#[derive(Default)]
pub(super) struct LineFrames {
    /// Where the open frame begins, counted in bytes of all lines.
    from: usize,
    open: Vec<u8>,
    /// How many lines that has.
    count: u32,
    /// The runs that the next ones may be like, one of each kind, the one that was written last behind all others.
    models: Vec<WrittenModel>,
    packed: Vec<PackedFrame>,
}

impl LineFrames {
    /// Frames whose lines are counted from `from` on.
    fn beginning(from: usize) -> Self {
        Self {
            from,
            ..Self::default()
        }
    }

    /// Adds a record; gives where its line is.
    pub(super) fn put(&mut self, record: Record) -> Result<Range<usize>, Error> {
        match record {
            Record::Run(run) if RunTree::is_of_use(&run.0) => self.put_run(run.0),
            Record::Run(run) if run.0.points() > LONG => self.put_long(run.0),
            Record::Run(run) => {
                let line = put_line(&mut self.open, &StoredLine::from(run.0))?;
                self.placed(line)
            }
            record => {
                let line = put_line(&mut self.open, &record)?;
                self.placed(line)
            }
        }
    }

    /// Adds a run: where much of it stands in one above, only what differs.
    fn put_run(&mut self, run: Run) -> Result<Range<usize>, Error> {
        #[derive(Serialize)]
        #[serde(rename_all = "kebab-case")]
        enum LineOfRun<'r> {
            Run(&'r serde_json::Value),
            Like(&'r serde_json::Value),
        }
        let kind = kind_of(&run);
        let run = RunTree::of(run).map_err(|error| no_record(&error))?;
        let own = self.models.iter().position(|model| model.kind == kind);
        let nearest = own.map_or_else(|| self.models.last(), |own| self.models.get(own));
        if let Some(model) = nearest
            && let Some(said) = model.run.difference(&run, self.count - model.number)
        {
            let line = put_line(&mut self.open, &LineOfRun::Like(&said))?;
            if line.len() * 2 <= model.length {
                return self.placed(line);
            }
            self.open.truncate(line.start);
        }
        let line = put_line(&mut self.open, &LineOfRun::Run(run.whole()))?;
        // It takes the place of the one of its kind, or else of the oldest.
        if let Some(gone) = own.or_else(|| (self.models.len() == MODELS).then_some(0)) {
            self.models.remove(gone);
        }
        self.models.push(WrittenModel {
            kind,
            run: run.into_model(),
            number: self.count,
            length: line.len(),
        });
        self.placed(line)
    }

    /// Adds a long run in a frame of its own. Its line is written twice, to know its length and to pack it, and never held.
    fn put_long(&mut self, run: Run) -> Result<Range<usize>, Error> {
        self.close()?;
        let line = StoredLine::from(run);
        let mut length = LineLength(0);
        write_line(&mut length, &line)?;
        let frame = frames::pack_written(length.0, |packer| {
            let mut packer = BufWriter::with_capacity(frames::FRAME_BYTES, packer);
            write_line(&mut packer, &line).map_err(std::io::Error::other)?;
            packer.flush()
        });
        let frame = frame.map_err(Error::io("pack", Path::new("records")))?;
        let place = self.from..self.from + length.0;
        self.from = place.end;
        self.packed.push((place.clone(), frame));
        Ok(place)
    }

    fn placed(&mut self, line: Range<usize>) -> Result<Range<usize>, Error> {
        self.count += 1;
        let place = self.from + line.start..self.from + line.end;
        if self.open.len() >= frames::FRAME_BYTES {
            self.close()?;
        }
        Ok(place)
    }

    fn close(&mut self) -> Result<(), Error> {
        self.models.clear();
        self.count = 0;
        if self.open.is_empty() {
            return Ok(());
        }
        let frame = frames::pack(&self.open)
            .map_err(|message| Error::damaged(Path::new("records"), None, message, "a zstd frame"))?;
        let to = self.from + self.open.len();
        self.packed.push((self.from..to, frame));
        self.from = to;
        self.open.clear();
        Ok(())
    }

    /// The frames.
    pub(super) fn finish(mut self) -> Result<Vec<PackedFrame>, Error> {
        self.close()?;
        Ok(self.packed)
    }
}

/// The records of packed frames, unpacked frame by frame.
pub(super) struct UnpackedRecords<'f> {
    frames: &'f [PackedFrame],
    last: Option<(usize, HashMap<usize, Record>)>,
}

impl<'f> UnpackedRecords<'f> {
    pub(super) fn new(frames: &'f [PackedFrame]) -> Self {
        Self { frames, last: None }
    }

    /// Takes the record of a line out.
    pub(super) fn take(&mut self, line: &Range<usize>) -> Result<Record, Error> {
        let wrong = || Error::damaged(Path::new("records"), None, "a line in no frame", "a zstd frame");
        let which = self.frames.partition_point(|(range, _)| range.end <= line.start);
        let (range, frame) = self.frames.get(which).ok_or_else(wrong)?;
        if self.last.as_ref().is_none_or(|(last, _)| *last != which) {
            let lines =
                zstd::stream::decode_all(&frame[..]).map_err(Error::io("unpack", Path::new("records")))?;
            let mut records = HashMap::new();
            for (at, record) in frames::records(At::default(), &lines) {
                let record =
                    record.map_err(|error| Error::damaged(Path::new("records"), None, error, "a record"))?;
                records.insert(range.start + at.line as usize, record);
            }
            self.last = Some((which, records));
        }
        let records = self.last.as_mut().map(|(_, records)| records);
        records
            .and_then(|records| records.remove(&line.start))
            .ok_or_else(wrong)
    }
}

/// Sources that are ready to be appended.
pub struct PreparedSources {
    pub(super) sources: Vec<PreparedSource>,
    /// The lines of all records, one source behind the other, packed: each frame with the stretch of lines that it holds.
    pub(super) frames: Vec<PackedFrame>,
    /// The originals of sources that were new when they were prepared, in frames.
    pub(super) originals: Vec<Vec<u8>>,
}

impl PreparedSources {
    /// How many they are.
    #[must_use]
    pub fn count(&self) -> usize {
        self.sources.len()
    }
}

pub(super) struct PreparedSource {
    pub(super) record: SourceRecord,
    pub(super) digest: [u8; 32],
    pub(super) path: PathRecord,
    pub(super) stat: Option<Stat>,
    pub(super) again: bool,
    /// Its place among the packed originals, unless the archive had it already.
    pub(super) original: Option<tarred::Packed>,
    /// The name that it has there.
    pub(super) name: String,
    /// Where its lines are: the source, the path, the runs.
    pub(super) source_line: Range<usize>,
    pub(super) path_line: Range<usize>,
    pub(super) runs: Vec<(RunId, Range<usize>)>,
    /// What is filed of each.
    pub(super) documents: FiledDocuments,
}

impl Preparer {
    /// About how many bytes of sources to prepare at once: enough for neighbours to compress each other's records,
    /// few enough that one record is read without many neighbours.
    pub const BATCH_BYTES: usize = 256 << 10;

    /// Makes sources ready. They stay together in this order.
    ///
    /// # Errors
    /// [`Error::TooLarge`]; [`Error::Damaged`] when a digest or a run's name is not of its source.
    pub fn prepare(&self, additions: Vec<Addition>) -> Result<PreparedSources, Error> {
        let mut sources = Vec::with_capacity(additions.len());
        let mut lines = LineFrames::default();
        let mut packing = Packing::default();
        let mut taken = HashSet::new();
        for addition in additions {
            sources.push(self.one(addition, &mut lines, &mut packing, &mut taken)?);
        }
        Ok(PreparedSources {
            sources,
            frames: lines.finish()?,
            originals: packing.finish()?,
        })
    }

    /// Begins with a source whose runs come one by one, so that not all of them must be held. It stays alone.
    ///
    /// # Errors
    /// [`Error::Damaged`] when the digest is none.
    pub fn by_runs(&self, path: &str, digest: &Digest) -> Result<SourceByRuns<'_>, Error> {
        Ok(SourceByRuns {
            preparer: self,
            key: key_of(path, digest)?,
            digest: digest.clone(),
            paths: [path.to_owned()],
            family: None,
            // What is said of the source as a whole is known last and stands first.
            lines: LineFrames::beginning(usize::MAX / 2),
            runs: Vec::new(),
            documents: FiledDocuments::default(),
        })
    }

    fn one(
        &self,
        mut addition: Addition,
        lines: &mut LineFrames,
        packing: &mut Packing,
        taken: &mut HashSet<u64>,
    ) -> Result<PreparedSource, Error> {
        let runs = std::mem::take(&mut addition.runs);
        let key = key_of(&addition.path, &addition.digest)?;
        for (ordinal, run) in runs.iter().enumerate() {
            named_right(&addition.path, &addition.digest, ordinal, run)?;
        }
        let count = runs.len();
        let paths = [addition.path.clone()];
        let family = addition.family.as_ref().map(Family::id);
        let mut ready = self.source(addition, key, count, lines, packing, taken)?;
        ready.runs.reserve_exact(count);
        for run in runs {
            self.document(&run, &paths, family.as_deref(), &mut ready.documents);
            let id = run.id.clone();
            let line = lines.put(Record::Run(Box::new(StoredRun(run))))?;
            ready.runs.push((id, line));
        }
        Ok(ready)
    }

    /// Writes what is filed of a run.
    fn document(&self, run: &Run, paths: &[String], family: Option<&str>, documents: &mut FiledDocuments) {
        let around = RunContext {
            settings: &self.settings,
            paths,
            superseded: false,
            notes: &[],
            outcomes: &[],
            family: family.map(str::to_owned),
        };
        let facts = Facts::of(run, &around);
        documents.put(|document| self.fields.run(&facts, document));
    }

    /// A source that gave so many runs, which follow.
    fn source(
        &self,
        addition: Addition,
        key: [u8; 32],
        runs: usize,
        lines: &mut LineFrames,
        packing: &mut Packing,
        taken: &mut HashSet<u64>,
    ) -> Result<PreparedSource, Error> {
        let Addition {
            path,
            bytes,
            digest,
            stat,
            verdict,
            reader,
            remarks,
            family,
            runs: _,
            again,
        } = addition;
        let record = SourceRecord {
            digest: digest.clone(),
            bytes: bytes.len() as u64,
            verdict,
            reader,
            runs: u32::try_from(runs).unwrap_or(u32::MAX),
            family,
            remarks,
        };
        let source_line = lines.put(Record::Source(record.clone()))?;
        let (replaces, known, lost) = {
            let catalog = self.catalog.read().unwrap_or_else(PoisonError::into_inner);
            let known = catalog.keeps(&key);
            let lost = !known && catalog.source(&key).is_some();
            (replaced(&catalog, &path, &key), known, lost)
        };
        let path = PathRecord {
            path,
            digest,
            replaces,
        };
        let path_line = lines.put(Record::Path(path.clone()))?;
        let mut name = originals::entry_name(&path.path);
        let mut original = None;
        if !known {
            let used = self.names.read().unwrap_or_else(PoisonError::into_inner);
            let used = used.as_ref().is_some_and(|used| used.contains(&name_hash(&name)));
            if used || !taken.insert(name_hash(&name)) {
                name = originals::version_name(&name, &key);
            }
            original = Some(packing.put(&name, &bytes, stat.map(|stat| stat.modified))?);
        }
        Ok(PreparedSource {
            record,
            digest: key,
            path,
            stat,
            // What is read of an original that was lost and comes back takes the place of what was read of it before.
            again: again || lost,
            original,
            name,
            source_line,
            path_line,
            runs: Vec::new(),
            documents: FiledDocuments::default(),
        })
    }
}

/// A source whose runs are made ready one by one.
pub struct SourceByRuns<'p> {
    preparer: &'p Preparer,
    digest: Digest,
    key: [u8; 32],
    paths: [String; 1],
    family: Option<Family>,
    lines: LineFrames,
    runs: Vec<(RunId, Range<usize>)>,
    documents: FiledDocuments,
}

impl SourceByRuns<'_> {
    /// How the source is written, for the runs from now on.
    pub fn written_as(&mut self, family: Option<Family>) {
        self.family = family;
    }

    /// Makes the next run ready.
    ///
    /// # Errors
    /// [`Error::Damaged`] when its name is not that of its source and place.
    pub fn run(&mut self, run: Run) -> Result<(), Error> {
        named_right(&self.paths[0], &self.digest, self.runs.len(), &run)?;
        let family = self.family.as_ref().map(Family::id);
        self.preparer
            .document(&run, &self.paths, family.as_deref(), &mut self.documents);
        let id = run.id.clone();
        let line = self.lines.put(Record::Run(Box::new(StoredRun(run))))?;
        self.runs.push((id, line));
        Ok(())
    }

    /// Makes the source itself ready, of which all runs have come.
    ///
    /// # Errors
    /// [`Error::TooLarge`]; [`Error::Damaged`] when `addition` is another source, or brings runs of its own.
    pub fn finish(self, addition: Addition) -> Result<PreparedSources, Error> {
        if addition.digest != self.digest || !addition.runs.is_empty() {
            let found = "another source than the one begun with";
            return Err(Error::damaged(
                Path::new(&self.paths[0]),
                None,
                found,
                "the same source",
            ));
        }
        let mut head = LineFrames::default();
        let mut packing = Packing::default();
        let count = self.runs.len();
        let mut ready = self.preparer.source(
            addition,
            self.key,
            count,
            &mut head,
            &mut packing,
            &mut HashSet::new(),
        )?;
        ready.runs = self.runs;
        ready.documents = self.documents;
        let mut frames = head.finish()?;
        frames.extend(self.lines.finish()?);
        Ok(PreparedSources {
            sources: vec![ready],
            frames,
            originals: packing.finish()?,
        })
    }
}

fn key_of(path: &str, digest: &Digest) -> Result<[u8; 32], Error> {
    digest_bytes(digest.as_str()).ok_or_else(|| {
        let found = format!("the digest `{digest}`");
        Error::damaged(
            Path::new(path),
            None,
            found,
            "`sha256:` and 64 hexadecimal digits",
        )
    })
}

fn named_right(path: &str, digest: &Digest, ordinal: usize, run: &Run) -> Result<(), Error> {
    if run.id == RunId::new(digest, ordinal) && run.source.digest == *digest {
        return Ok(());
    }
    let found = format!("a run named {}", run.id);
    Err(Error::damaged(
        Path::new(path),
        None,
        found,
        "the name that its source and place give it",
    ))
}

/// The digest of what stands at a path today, when that is something else.
pub(super) fn replaced(catalog: &Catalog, path: &str, digest: &[u8; 32]) -> Option<Digest> {
    let before = &catalog.sources[catalog.paths[catalog.path(path)? as usize].source as usize].digest;
    (before != digest).then(|| crate::digests::digest_named(before))
}

pub(super) fn put_line(lines: &mut Vec<u8>, record: &impl Serialize) -> Result<Range<usize>, Error> {
    let from = lines.len();
    write_line(&mut *lines, record)?;
    Ok(from..lines.len())
}

fn write_line(mut lines: impl Write, record: &impl Serialize) -> Result<(), Error> {
    let mut writer = serde_json::Serializer::with_formatter(&mut lines, DecimalFormatter::default());
    record.serialize(&mut writer).map_err(|error| no_record(&error))?;
    lines
        .write_all(b"\n")
        .map_err(|error| no_record(&serde_json::Error::io(error)))
}

/// Counts what is written.
struct LineLength(usize);

impl Write for LineLength {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0 += bytes.len();
        Ok(bytes.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

fn no_record(error: &serde_json::Error) -> Error {
    Error::damaged(Path::new("records"), None, error.to_string(), "a record")
}

/// Packs lines into frames, each closed at the first line end at which it is long enough.
pub(super) fn pack_frames(
    lines: &[u8],
    ends: impl Iterator<Item = usize>,
) -> Result<Vec<PackedFrame>, Error> {
    let mut packed = LineFrames::default();
    let mut from = 0;
    for end in ends {
        let start = packed.open.len();
        packed.open.extend_from_slice(&lines[from..end]);
        packed.placed(start..packed.open.len())?;
        from = end;
    }
    packed.finish()
}

#[cfg(test)]
mod tests {
    use curvary_record::{Claim, Column, Fields, Origin, Place, Quantity, SourceRef, Technique, Trace, Unit};

    use super::*;

    /// A run of one of several programs.
    fn run(program: usize, number: u32) -> Run {
        let digest = Digest::of(&number.to_le_bytes());
        let mut fields = Fields::default();
        for key in 0..program * 3 + 2 {
            let text = if key == 0 {
                format!("sample {number}")
            } else {
                format!("value of {key}")
            };
            let claim = Claim::text(text, Origin::Source(Place::line(1)));
            fields.claim(format!("house-{key}"), claim);
        }
        let x: Vec<f64> = (0..40).map(f64::from).collect();
        let y: Vec<f64> = (0..40)
            .map(|point| f64::from(point * number % 97) / 100.0)
            .collect();
        let x = Column::new(Quantity::TIME, Unit::SECOND, x);
        let y = Column::new(Quantity::ABSORBANCE, Unit::ABSORBANCE, y);
        Run {
            id: RunId::new(&digest, 0),
            source: SourceRef {
                path: format!("{number}.txt"),
                digest,
                reader: "built-in/text-table".into(),
                reader_version: "1".into(),
                encoding: None,
                ordinal: 0,
                lines: Some((2, 41)),
            },
            technique: Technique::TIME_COURSE,
            because: vec![format!("program {program} says so: {}", "because ".repeat(40))],
            fields,
            traces: vec![Trace::new(x, y).expect("of one length")],
            questions: Vec::new(),
            remarks: Vec::new(),
        }
    }

    #[test]
    fn files_of_several_programs_in_turn_are_like_the_last_of_their_own() {
        let mut lines = LineFrames::default();
        let runs: Vec<Run> = (0..40_u32)
            .map(|number| run(number as usize % 8, number))
            .collect();
        let mut places = Vec::new();
        for run in &runs {
            let record = Record::Run(Box::new(StoredRun(run.clone())));
            places.push(lines.put(record).expect("it is written"));
        }
        let frames = lines.finish().expect("they are packed");
        let text = zstd::stream::decode_all(&frames[0].1[..]).expect("zstd");
        let whole = String::from_utf8(text).expect("UTF-8");
        let like = whole.lines().filter(|line| line.starts_with("{\"like\""));
        // All but the first of each, at least.
        assert!(frames.len() == 1 && like.count() >= 32, "{whole}");
        let mut records = UnpackedRecords::new(&frames);
        for (run, place) in runs.into_iter().zip(&places) {
            let record = records.take(place).expect("it is read");
            assert_eq!(record, Record::Run(Box::new(StoredRun(run))));
        }
    }
}
