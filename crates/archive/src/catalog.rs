//! Every source and path the archive knows, small enough to load in milliseconds.
//!
//! It lies in the index folder as one binary file and can be rebuilt from the records and the originals. The
//! index's own commit names the file that belongs to it, so both always speak of the same records.

use std::collections::BTreeSet;
use std::io::{self, BufReader, BufWriter, Read, Write};

use hashbrown::HashTable;

use crate::frames::At;
use crate::originals::OriginalLocation;
use std::fs;

/// What the archive knows of one source.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct CatalogSource {
    pub(crate) digest: [u8; 32],
    /// Its length.
    pub(crate) bytes: u64,
    /// How many runs its newest reading gave.
    pub(crate) runs: u32,
    /// How many paths lead to it today; a source to which none leads is superseded.
    pub(crate) current: u32,
    /// Where its bytes lie.
    pub(crate) held: OriginalLocation,
    /// Its newest record.
    pub(crate) record: At,
}

/// What the archive knows of one path.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct PathEntry {
    /// Where its text is in [`Catalog::text`].
    start: u64,
    length: u32,
    /// The source that stands there today.
    pub(crate) source: u32,
    /// How the file looked, all zeros when it was in a container.
    pub(crate) stat: Stat,
}

/// The catalogue.
#[derive(Default)]
pub(crate) struct Catalog {
    text: Vec<u8>,
    pub(crate) sources: Vec<CatalogSource>,
    pub(crate) paths: Vec<PathEntry>,
    /// Every (source, path) that was ever met, in order.
    links: Vec<(u32, u32)>,
    by_digest: HashTable<u32>,
    by_path: HashTable<u32>,
    /// Paths of each source, made when first asked for.
    linked: std::sync::OnceLock<Vec<LinkedPaths>>,
    pub(crate) dirty: bool,
    /// How much of it the sections have that were made so far.
    written: Lengths,
    /// What has changed of that since.
    changed_sources: BTreeSet<u32>,
    changed_paths: BTreeSet<u32>,
}

/// Paths of a source, in the order in which they were met. Most have one, which takes no list of its own.
#[derive(Clone, Debug, Default)]
struct LinkedPaths {
    first: Option<u32>,
    #[allow(
        clippy::box_collection,
        reason = "a list in place would take as much room as the list of all sources has without it"
    )]
    more: Option<Box<Vec<u32>>>,
}

impl LinkedPaths {
    fn push(&mut self, path: u32) {
        match self.first {
            None => self.first = Some(path),
            Some(_) => self.more.get_or_insert_default().push(path),
        }
    }

    fn iter(&self) -> impl Iterator<Item = u32> + '_ {
        let more = self.more.iter().flat_map(|more| more.iter().copied());
        self.first.into_iter().chain(more)
    }
}

/// How much there is.
#[derive(Clone, Copy, Debug, Default)]
struct Lengths {
    text: usize,
    sources: usize,
    paths: usize,
    links: usize,
}

const MAGIC: &[u8; 8] = b"cvknown3";

/// How a catalogue began that was one piece, before there were sections.
const MAGIC_IN_ONE: &[u8; 8] = b"cvknown2";

/// So many bytes of a section are packed or unpacked at once.
const AT_ONCE: usize = 32 << 10;

/// A number of an entry: how it is taken out, and how it is put back.
type EntryColumn<T> = (fn(&T) -> u64, fn(&mut T, u64));

/// The numbers of a source, in the order in which they are written.
const SOURCE_COLUMNS: [EntryColumn<CatalogSource>; 10] = [
    (|source| source.bytes, |source, value| source.bytes = value),
    (
        |source| source.record.frame,
        |source, value| source.record.frame = value,
    ),
    (
        |source| u64::from(source.runs),
        |source, value| source.runs = small(value),
    ),
    (
        |source| u64::from(source.current),
        |source, value| source.current = small(value),
    ),
    (
        |source| u64::from(source.held.part) << 32 | u64::from(source.held.at),
        |source, value| {
            source.held.part = small(value >> 32);
            source.held.at = small(value & 0xFFFF_FFFF);
        },
    ),
    (
        |source| u64::from(source.held.within),
        |source, value| source.held.within = small(value),
    ),
    (
        |source| u64::from(source.record.part),
        |source, value| source.record.part = small(value),
    ),
    (
        |source| u64::from(source.record.packed),
        |source, value| source.record.packed = small(value),
    ),
    (
        |source| u64::from(source.record.line),
        |source, value| source.record.line = small(value),
    ),
    (
        |source| u64::from(source.record.length),
        |source, value| source.record.length = small(value),
    ),
];

/// The numbers of a path.
const PATH_COLUMNS: [EntryColumn<PathEntry>; 7] = [
    (|path| path.start, |path, value| path.start = value),
    (
        |path| u64::from(path.length),
        |path, value| path.length = small(value),
    ),
    (
        |path| u64::from(path.source),
        |path, value| path.source = small(value),
    ),
    (|path| path.stat.bytes, |path, value| path.stat.bytes = value),
    (
        |path| path.stat.modified.cast_unsigned(),
        |path, value| path.stat.modified = value.cast_signed(),
    ),
    (
        |path| path.stat.changed.cast_unsigned(),
        |path, value| path.stat.changed = value.cast_signed(),
    ),
    (|path| path.stat.inode, |path, value| path.stat.inode = value),
];

/// A number of 32 bits; one that has more is damaged and leads nowhere.
fn small(value: u64) -> u32 {
    u32::try_from(value).unwrap_or(u32::MAX)
}

fn put_column(out: &mut dyn Write, values: impl Iterator<Item = u64>) -> io::Result<()> {
    let mut before = 0_u64;
    for value in values {
        out.write_all(&value.wrapping_sub(before).to_le_bytes())?;
        before = value;
    }
    Ok(())
}

/// So many bytes that are written, under zstd.
fn packed(length: usize, write: impl FnOnce(&mut dyn Write) -> io::Result<()>) -> io::Result<Vec<u8>> {
    let mut packer = zstd::stream::Encoder::new(Vec::new(), 1)?;
    packer.set_pledged_src_size(Some(length as u64))?;
    let mut out = BufWriter::with_capacity(AT_ONCE, packer);
    write(&mut out)?;
    out.into_inner().map_err(io::IntoInnerError::into_error)?.finish()
}

impl CatalogSource {
    /// A source of which nothing else is known.
    pub(crate) fn of(digest: [u8; 32]) -> Self {
        Self {
            digest,
            bytes: 0,
            runs: 0,
            current: 0,
            held: OriginalLocation::NOWHERE,
            record: At::default(),
        }
    }
}

impl PathEntry {
    const NOWHERE: Self = Self {
        start: 0,
        length: 0,
        source: u32::MAX,
        stat: Stat {
            bytes: 0,
            modified: 0,
            changed: 0,
            inode: 0,
        },
    };
}

fn digest_hash(digest: &[u8; 32]) -> u64 {
    let mut first = [0; 8];
    first.copy_from_slice(&digest[..8]);
    u64::from_le_bytes(first)
}

/// FNV-1a over eight bytes at a time, mixed at the end: the paths of one archive are no attack.
pub(crate) fn path_hash(path: &[u8]) -> u64 {
    let mut hash = 0xcbf2_9ce4_8422_2325_u64;
    let mut eights = path.chunks_exact(8);
    for eight in &mut eights {
        let mut word = [0; 8];
        word.copy_from_slice(eight);
        hash = (hash ^ u64::from_le_bytes(word)).wrapping_mul(0x9e37_79b9_7f4a_7c15);
        hash ^= hash >> 32;
    }
    for &byte in eights.remainder() {
        hash = (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3);
    }
    hash = (hash ^ (hash >> 29)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    hash ^ (hash >> 32)
}

impl Catalog {
    fn text_of(&self, path: &PathEntry) -> &[u8] {
        let start = usize::try_from(path.start).unwrap_or(usize::MAX);
        self.text
            .get(start..start.saturating_add(path.length as usize))
            .unwrap_or(b"")
    }

    /// The text of a path.
    pub(crate) fn path_text(&self, path: u32) -> String {
        self.paths.get(path as usize).map_or_else(String::new, |path| {
            String::from_utf8_lossy(self.text_of(path)).into_owned()
        })
    }

    /// The number of the source with a digest.
    pub(crate) fn source(&self, digest: &[u8; 32]) -> Option<u32> {
        self.by_digest
            .find(digest_hash(digest), |&index| {
                self.sources[index as usize].digest == *digest
            })
            .copied()
    }

    /// The number of a path.
    pub(crate) fn path(&self, path: &str) -> Option<u32> {
        self.by_path
            .find(path_hash(path.as_bytes()), |&index| {
                self.text_of(&self.paths[index as usize]) == path.as_bytes()
            })
            .copied()
    }

    /// Every path of a source, first met first.
    pub(crate) fn paths_of(&self, source: u32) -> Vec<String> {
        let linked = self.linked.get_or_init(|| {
            let mut all = vec![LinkedPaths::default(); self.sources.len()];
            for &(source, path) in &self.links {
                if let Some(paths) = all.get_mut(source as usize) {
                    paths.push(path);
                }
            }
            all
        });
        linked.get(source as usize).map_or_else(Vec::new, |paths| {
            paths.iter().map(|path| self.path_text(path)).collect()
        })
    }

    /// The path under which a source was met first.
    pub(crate) fn first_path_of(&self, source: u32) -> Option<String> {
        self.paths_of(source).into_iter().next()
    }

    /// Every source that stands nowhere today, with each path at which it stood.
    pub(crate) fn superseded(&self) -> Vec<(u32, u32)> {
        let superseded = |link: &&(u32, u32)| self.sources[link.0 as usize].current == 0;
        self.links.iter().filter(superseded).copied().collect()
    }

    /// Whether the original of these bytes is kept: it may have been lost, though it is known what was read of it.
    pub(crate) fn keeps(&self, digest: &[u8; 32]) -> bool {
        self.source(digest)
            .is_some_and(|index| self.sources[index as usize].held != OriginalLocation::NOWHERE)
    }

    /// Adds a source, or its newer reading. Gives its number and whether it is new.
    pub(crate) fn add_source(&mut self, source: CatalogSource) -> (u32, bool) {
        self.dirty = true;
        if let Some(index) = self.source(&source.digest) {
            let known = &mut self.sources[index as usize];
            known.runs = source.runs;
            known.bytes = source.bytes;
            known.record = source.record;
            known.held = source.held;
            self.source_changed(index);
            return (index, false);
        }
        let index = u32::try_from(self.sources.len()).unwrap_or(u32::MAX);
        self.sources.push(source);
        if let Some(linked) = self.linked.get_mut() {
            linked.push(LinkedPaths::default());
        }
        self.by_digest
            .insert_unique(digest_hash(&source.digest), index, |&index| {
                digest_hash(&self.sources[index as usize].digest)
            });
        (index, true)
    }

    fn source_changed(&mut self, source: u32) {
        if (source as usize) < self.written.sources {
            self.changed_sources.insert(source);
        }
    }

    /// Tells that a source stands at a path. Gives the source that stood there before, when it is another.
    pub(crate) fn link(&mut self, path: &str, source: u32, stat: Option<Stat>) -> Option<u32> {
        self.dirty = true;
        let index = match self.path(path) {
            Some(index) => index,
            None => {
                let index = u32::try_from(self.paths.len()).unwrap_or(u32::MAX);
                self.paths.push(PathEntry {
                    start: self.text.len() as u64,
                    length: u32::try_from(path.len()).unwrap_or(u32::MAX),
                    source: u32::MAX,
                    stat: Stat::default(),
                });
                self.text.extend_from_slice(path.as_bytes());
                let (paths, text) = (&self.paths, &self.text);
                self.by_path
                    .insert_unique(path_hash(path.as_bytes()), index, |&index| {
                        let path = &paths[index as usize];
                        let start = usize::try_from(path.start).unwrap_or(usize::MAX);
                        path_hash(&text[start..start + path.length as usize])
                    });
                index
            }
        };
        let entry = &mut self.paths[index as usize];
        if let Some(stat) = stat {
            entry.stat = stat;
        }
        let before = std::mem::replace(&mut entry.source, source);
        if (index as usize) < self.written.paths && (stat.is_some() || before != source) {
            self.changed_paths.insert(index);
        }
        if before == source {
            return None;
        }
        self.sources[source as usize].current += 1;
        self.source_changed(source);
        let fresh = (source, index);
        match self.linked.get_mut() {
            Some(linked) => {
                if !linked[source as usize].iter().any(|path| path == index) {
                    linked[source as usize].push(index);
                    self.links.push(fresh);
                }
            }
            // Only a path that has led elsewhere can have led here before.
            None if before != u32::MAX && self.links.contains(&fresh) => {}
            None => self.links.push(fresh),
        }
        if before == u32::MAX {
            return None;
        }
        let old = &mut self.sources[before as usize];
        old.current = old.current.saturating_sub(1);
        self.source_changed(before);
        Some(before)
    }

    /// What was added and changed since the last section was made, or everything when there was none: column by column,
    /// each number as what it adds to the one above it, under zstd. The sections of a catalogue, one behind the other, are
    /// the catalogue, so a commit costs what it adds and not what is there. It is made again, with what came in between, until
    /// [`written`](Self::written) says that it counts.
    pub(crate) fn section(&self) -> Vec<u8> {
        self.section_of(self.written, &self.changed_sources, &self.changed_paths)
    }

    /// The whole catalogue as one section.
    pub(crate) fn whole(&self) -> Vec<u8> {
        self.section_of(Lengths::default(), &BTreeSet::new(), &BTreeSet::new())
    }

    /// Tells that the section that was made last counts.
    pub(crate) fn written(&mut self) {
        self.written = self.lengths();
        self.changed_sources.clear();
        self.changed_paths.clear();
        self.dirty = false;
    }

    fn section_of(&self, from: Lengths, sources: &BTreeSet<u32>, paths: &BTreeSet<u32>) -> Vec<u8> {
        let (new_sources, new_paths) = (&self.sources[from.sources..], &self.paths[from.paths..]);
        let (text, links) = (&self.text[from.text..], &self.links[from.links..]);
        let lengths = [
            text.len(),
            new_sources.len(),
            new_paths.len(),
            links.len(),
            sources.len(),
            paths.len(),
        ];
        let changed = sources.len() * (SOURCE_COLUMNS.len() + 1) + paths.len() * (PATH_COLUMNS.len() + 1);
        let numbers = lengths.len()
            + new_sources.len() * SOURCE_COLUMNS.len()
            + new_paths.len() * PATH_COLUMNS.len()
            + links.len() * 2
            + changed;
        let length = text.len() + new_sources.len() * 32 + numbers * 8;
        // It is packed as it is put together: unpacked it takes as much room as the catalogue itself.
        let packed = packed(length, |out| {
            for length in lengths {
                out.write_all(&(length as u64).to_le_bytes())?;
            }
            out.write_all(text)?;
            for source in new_sources {
                out.write_all(&source.digest)?;
            }
            for column in SOURCE_COLUMNS {
                put_column(out, new_sources.iter().map(column.0))?;
            }
            for column in PATH_COLUMNS {
                put_column(out, new_paths.iter().map(column.0))?;
            }
            put_column(out, links.iter().map(|link| u64::from(link.0)))?;
            put_column(out, links.iter().map(|link| u64::from(link.1)))?;
            put_column(out, sources.iter().map(|&source| u64::from(source)))?;
            put_column(out, paths.iter().map(|&path| u64::from(path)))?;
            for column in SOURCE_COLUMNS {
                let changed = sources.iter().map(|&source| &self.sources[source as usize]);
                put_column(out, changed.map(column.0))?;
            }
            for column in PATH_COLUMNS {
                let changed = paths.iter().map(|&path| &self.paths[path as usize]);
                put_column(out, changed.map(column.0))?;
            }
            Ok(())
        });
        let packed = packed.unwrap_or_default();
        let mut all = MAGIC.to_vec();
        all.extend_from_slice(&(length as u64).to_le_bytes());
        all.extend_from_slice(&(packed.len() as u64).to_le_bytes());
        all.extend_from_slice(&packed);
        let sum = crc32fast::hash(&all);
        all.extend_from_slice(&sum.to_le_bytes());
        all
    }

    fn lengths(&self) -> Lengths {
        Lengths {
            text: self.text.len(),
            sources: self.sources.len(),
            paths: self.paths.len(),
            links: self.links.len(),
        }
    }

    /// The catalogue from its sections; `None` when they are damaged.
    pub(crate) fn from_bytes(bytes: &[u8]) -> Option<Self> {
        let mut catalog = Self::default();
        let mut rest = bytes;
        if bytes.starts_with(MAGIC_IN_ONE) {
            catalog.take_all(bytes)?;
            rest = &[];
        }
        while !rest.is_empty() || bytes.is_empty() {
            rest = catalog.take_section(rest)?;
        }
        catalog.written = catalog.lengths();
        catalog.hash_all();
        Some(catalog)
    }

    /// Takes a section in; gives what stands behind it.
    fn take_section<'a>(&mut self, bytes: &'a [u8]) -> Option<&'a [u8]> {
        let mut cursor = CatalogCursor(bytes);
        if cursor.take(8)? != MAGIC {
            return None;
        }
        let length = usize::try_from(cursor.u64()?).ok()?;
        let packed_length = usize::try_from(cursor.u64()?).ok()?;
        let packed = cursor.take(packed_length)?;
        let content = &bytes[..24 + packed_length];
        let sum = cursor.take(4)?.try_into().ok()?;
        if crc32fast::hash(content) != u32::from_le_bytes(sum) {
            return None;
        }
        self.take_content(SectionContent::new(packed, length)?, 6)?;
        Some(cursor.0)
    }

    /// Takes a catalogue in that is one piece.
    fn take_all(&mut self, bytes: &[u8]) -> Option<()> {
        let (content, sum) = bytes.split_last_chunk::<4>()?;
        if crc32fast::hash(content) != u32::from_le_bytes(*sum) {
            return None;
        }
        let mut cursor = CatalogCursor(content.get(MAGIC_IN_ONE.len()..)?);
        let length = usize::try_from(cursor.u64()?).ok()?;
        self.take_content(SectionContent::new(cursor.0, length)?, 4)
    }

    /// Takes in what a section says, which begins with so many lengths: without the last two, nothing has changed of what
    /// was there.
    fn take_content(&mut self, mut cursor: SectionContent<'_>, said: usize) -> Option<()> {
        let most_entries = cursor.left / 16;
        let mut lengths = [0_usize; 6];
        for length in &mut lengths[..said] {
            *length = usize::try_from(cursor.u64()?).ok()?;
        }
        let [text, sources, paths, links, changed_sources, changed_paths] = lengths;
        // Each entry takes at least sixteen bytes, so wrong lengths cannot ask for more memory than there are bytes.
        let most = sources
            .max(paths)
            .max(links)
            .max(changed_sources)
            .max(changed_paths);
        if most > most_entries {
            return None;
        }
        let from = self.lengths();
        cursor.append(text, &mut self.text)?;
        self.sources.reserve(sources);
        for _ in 0..sources {
            let mut digest = [0; 32];
            cursor.fill(&mut digest)?;
            self.sources.push(CatalogSource::of(digest));
        }
        self.paths.resize(from.paths + paths, PathEntry::NOWHERE);
        self.links.resize(from.links + links, (0, 0));
        for column in SOURCE_COLUMNS {
            cursor.column(&mut self.sources[from.sources..], column.1)?;
        }
        for column in PATH_COLUMNS {
            cursor.column(&mut self.paths[from.paths..], column.1)?;
        }
        cursor.column(&mut self.links[from.links..], |link, value| link.0 = small(value))?;
        cursor.column(&mut self.links[from.links..], |link, value| link.1 = small(value))?;
        let (mut which_sources, mut which_paths) = (vec![0_u32; changed_sources], vec![0_u32; changed_paths]);
        cursor.column(&mut which_sources, |which, value| *which = small(value))?;
        cursor.column(&mut which_paths, |which, value| *which = small(value))?;
        if which_sources.iter().any(|&which| which as usize >= from.sources)
            || which_paths.iter().any(|&which| which as usize >= from.paths)
        {
            return None;
        }
        for column in SOURCE_COLUMNS {
            let all = &mut self.sources;
            cursor.column(&mut which_sources, |which, value| {
                column.1(&mut all[*which as usize], value)
            })?;
        }
        for column in PATH_COLUMNS {
            let all = &mut self.paths;
            cursor.column(&mut which_paths, |which, value| {
                column.1(&mut all[*which as usize], value)
            })?;
        }
        let inside = |path: &PathEntry| {
            (path.source as usize) < self.sources.len()
                && path
                    .start
                    .checked_add(u64::from(path.length))
                    .is_some_and(|end| end <= self.text.len() as u64)
        };
        let linked = |link: &(u32, u32)| {
            (link.0 as usize) < self.sources.len() && (link.1 as usize) < self.paths.len()
        };
        let changed = which_paths.iter().map(|&path| &self.paths[path as usize]);
        (self.paths[from.paths..].iter().chain(changed).all(inside)
            && self.links[from.links..].iter().all(linked))
        .then_some(())
    }

    fn hash_all(&mut self) {
        let sources = &self.sources;
        self.by_digest = HashTable::with_capacity(sources.len());
        for (index, source) in (0..).zip(sources) {
            self.by_digest
                .insert_unique(digest_hash(&source.digest), index, |&index: &u32| {
                    digest_hash(&sources[index as usize].digest)
                });
        }
        let mut by_path = HashTable::with_capacity(self.paths.len());
        let hash = |index: &u32| path_hash(self.text_of(&self.paths[*index as usize]));
        for index in (0..).take(self.paths.len()) {
            by_path.insert_unique(hash(&index), index, hash);
        }
        self.by_path = by_path;
    }
}

struct CatalogCursor<'a>(&'a [u8]);

impl<'a> CatalogCursor<'a> {
    fn take(&mut self, length: usize) -> Option<&'a [u8]> {
        let (taken, rest) = self.0.split_at_checked(length)?;
        self.0 = rest;
        Some(taken)
    }

    fn u64(&mut self) -> Option<u64> {
        Some(u64::from_le_bytes(self.take(8)?.try_into().ok()?))
    }
}

/// What a section says, unpacked a little at a time: all of it takes as much room as the catalogue itself.
struct SectionContent<'a> {
    unpacker: BufReader<zstd::stream::Decoder<'static, &'a [u8]>>,
    /// How many bytes of it are still to come.
    left: usize,
}

impl<'a> SectionContent<'a> {
    /// Bytes under zstd that say how long they are.
    fn new(packed: &'a [u8], length: usize) -> Option<Self> {
        // zstd packs at most some 30,000 to one.
        if length / 32_768 > packed.len() {
            return None;
        }
        Some(Self {
            unpacker: BufReader::with_capacity(AT_ONCE, zstd::stream::Decoder::with_buffer(packed).ok()?),
            left: length,
        })
    }

    fn fill(&mut self, bytes: &mut [u8]) -> Option<()> {
        self.left = self.left.checked_sub(bytes.len())?;
        self.unpacker.read_exact(bytes).ok()
    }

    /// Puts so many bytes behind some.
    fn append(&mut self, length: usize, bytes: &mut Vec<u8>) -> Option<()> {
        // Before there is room for them: a wrong length must not cost memory.
        if length > self.left {
            return None;
        }
        let from = bytes.len();
        bytes.resize(from + length, 0);
        self.fill(&mut bytes[from..])
    }

    fn u64(&mut self) -> Option<u64> {
        let mut bytes = [0; 8];
        self.fill(&mut bytes)?;
        Some(u64::from_le_bytes(bytes))
    }

    fn column<T>(&mut self, entries: &mut [T], mut put: impl FnMut(&mut T, u64)) -> Option<()> {
        let mut value = 0_u64;
        let mut bytes = vec![0; AT_ONCE.min(entries.len() * 8)];
        for some in entries.chunks_mut(AT_ONCE / 8) {
            let steps = bytes.get_mut(..some.len() * 8)?;
            self.fill(steps)?;
            for (entry, step) in some.iter_mut().zip(steps.as_chunks::<8>().0) {
                value = value.wrapping_add(u64::from_le_bytes(*step));
                put(entry, value);
            }
        }
        Some(())
    }
}

/// What the operating system says of a file, enough to tell that it has not changed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Stat {
    /// Length in bytes.
    pub bytes: u64,
    /// Time of the last change of the content, in nanoseconds since 1970.
    pub modified: i64,
    /// Time of the last change of the entry, in nanoseconds since 1970; 0 where there is none.
    pub changed: i64,
    /// Number of the file on its disk; 0 where there is none.
    pub inode: u64,
}

impl Stat {
    /// What `metadata` says.
    #[must_use]
    pub fn of(metadata: &fs::Metadata) -> Self {
        let modified = metadata
            .modified()
            .ok()
            .and_then(|time| time.duration_since(std::time::UNIX_EPOCH).ok())
            .and_then(|since| i64::try_from(since.as_nanos()).ok())
            .unwrap_or(0);
        let mut stat = Self {
            bytes: metadata.len(),
            modified,
            ..Self::default()
        };
        #[cfg(unix)]
        {
            use std::os::unix::fs::MetadataExt;
            stat.inode = metadata.ino();
            stat.changed = metadata
                .ctime()
                .saturating_mul(1_000_000_000)
                .saturating_add(metadata.ctime_nsec());
        }
        stat
    }

    /// Whether a file that looks so can be believed unchanged when it looks the same again.
    pub(crate) fn tells(&self) -> bool {
        *self != Self::default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn source(n: u8) -> CatalogSource {
        CatalogSource {
            bytes: u64::from(n),
            runs: 1,
            ..CatalogSource::of([n; 32])
        }
    }

    #[test]
    fn a_changed_file_leaves_its_old_source_behind() {
        let mut catalog = Catalog::default();
        let (a, _) = catalog.add_source(source(1));
        let (b, _) = catalog.add_source(source(2));
        assert_eq!(catalog.link("x/a.txt", a, None), None);
        assert_eq!(catalog.link("x/a.txt", b, None), Some(a));
        assert_eq!((catalog.sources[0].current, catalog.sources[1].current), (0, 1));
        assert_eq!(catalog.link("x/a.txt", a, None), Some(b));
        assert_eq!(catalog.paths_of(a), ["x/a.txt"]);
        assert_eq!(catalog.paths_of(b), ["x/a.txt"]);
        assert!(!catalog.add_source(source(1)).1);
    }

    #[test]
    fn bytes_and_back_and_no_panic_on_damage() {
        let mut catalog = Catalog::default();
        for n in 0..50 {
            let (index, _) = catalog.add_source(source(n));
            let stat = Stat {
                bytes: 5,
                modified: -7,
                changed: 8,
                inode: 9,
            };
            catalog.link(&format!("folder/file{n}.txt"), index, Some(stat));
        }
        let bytes = catalog.whole();
        let again = Catalog::from_bytes(&bytes).expect("it reads");
        assert_eq!(again.whole(), bytes);
        assert_eq!(again.path("folder/file7.txt"), Some(7));
        assert_eq!(again.path("folder/file70.txt"), None);
        assert_eq!(again.source(&[9; 32]), Some(9));
        for cut in 0..bytes.len() {
            assert!(Catalog::from_bytes(&bytes[..cut]).is_none());
        }
    }

    /// The catalogue of an archive that was made before there were sections.
    #[test]
    fn a_catalogue_in_one_piece_is_read() {
        let mut catalog = Catalog::default();
        for n in 0..5 {
            let (index, _) = catalog.add_source(source(n));
            catalog.link(&format!("file{n}.txt"), index, None);
        }
        let section = catalog.whole();
        let unpacked = zstd::bulk::decompress(&section[24..section.len() - 4], 1 << 16).expect("it unpacks");
        // Four lengths, and no columns behind those of the links.
        let old = [&unpacked[..32], &unpacked[48..]].concat();
        let mut bytes = MAGIC_IN_ONE.to_vec();
        bytes.extend((old.len() as u64).to_le_bytes());
        bytes.extend(zstd::bulk::compress(&old, 1).expect("it packs"));
        bytes.extend(crc32fast::hash(&bytes).to_le_bytes());
        let again = Catalog::from_bytes(&bytes).expect("it reads");
        assert_eq!((&again.sources, &again.paths), (&catalog.sources, &catalog.paths));
        assert_eq!(again.whole(), section);
        for at in 0..bytes.len() {
            let mut damaged = bytes.clone();
            damaged[at] ^= 1;
            assert!(Catalog::from_bytes(&damaged).is_none(), "byte {at}");
        }
    }

    #[test]
    fn sections_behind_each_other_are_the_catalogue() {
        let mut catalog = Catalog::default();
        let mut bytes = Vec::new();
        let mut longest = 0;
        for round in 0..6_u8 {
            for n in 0..30 {
                // Some are new, some have another content, some only look another way, some are read again.
                let digest = if n % 3 == 0 { n } else { n ^ (round << 5) };
                let (index, _) = catalog.add_source(CatalogSource {
                    runs: u32::from(round),
                    ..source(digest)
                });
                let stat = Stat {
                    inode: u64::from(round),
                    ..Stat::default()
                };
                let place = if n % 5 == 0 { n + 30 * round } else { n };
                catalog.link(&format!("file{place}.txt"), index, (n % 2 == 0).then_some(stat));
            }
            let section = catalog.section();
            assert_eq!(catalog.section(), section, "as long as it does not count");
            catalog.written();
            longest = longest.max(section.len());
            bytes.extend(section);
            let again = Catalog::from_bytes(&bytes).expect("it reads");
            assert_eq!((&again.sources, &again.paths), (&catalog.sources, &catalog.paths));
            assert_eq!((&again.links, &again.text), (&catalog.links, &catalog.text));
            assert_eq!(again.path("file7.txt"), catalog.path("file7.txt"));
            let (whole, lengths) = (again.whole(), catalog.lengths());
            assert!(Catalog::from_bytes(&whole).is_some_and(|whole| whole.sources == catalog.sources));
            assert_eq!(again.lengths().sources, lengths.sources);
        }
        assert!(bytes.len() > longest, "there are several sections");
        let empty = catalog.section();
        assert!(Catalog::from_bytes(&[bytes.as_slice(), &empty].concat()).is_some());
        for at in 0..bytes.len() {
            let mut damaged = bytes.clone();
            damaged[at] ^= 1;
            assert!(Catalog::from_bytes(&damaged).is_none(), "byte {at}");
        }
    }
}
