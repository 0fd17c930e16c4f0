//! Every source and path the archive knows, small enough to load in milliseconds.
//!
//! It lies in the index folder as one binary file and can be rebuilt from the records and the originals. The
//! index's own commit names the file that belongs to it, so both always speak of the same records.

use hashbrown::HashTable;

use crate::frames::At;
use crate::originals::Held;
use crate::writer::Stat;

/// What the archive knows of one source.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Source {
    pub(crate) digest: [u8; 32],
    /// Its length.
    pub(crate) bytes: u64,
    /// How many runs its newest reading gave.
    pub(crate) runs: u32,
    /// How many paths lead to it today; a source to which none leads is superseded.
    pub(crate) current: u32,
    /// Where its bytes lie.
    pub(crate) held: Held,
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
    pub(crate) sources: Vec<Source>,
    pub(crate) paths: Vec<PathEntry>,
    /// Every (source, path) that was ever met, in order.
    links: Vec<(u32, u32)>,
    by_digest: HashTable<u32>,
    by_path: HashTable<u32>,
    /// Paths of each source, made when first asked for.
    linked: std::sync::OnceLock<Vec<Vec<u32>>>,
    pub(crate) dirty: bool,
}

const MAGIC: &[u8; 8] = b"cvknown2";

/// A number of an entry: how it is taken out, and how it is put back.
type Column<T> = (fn(&T) -> u64, fn(&mut T, u64));

/// The numbers of a source, in the order in which they are written.
const SOURCE_COLUMNS: [Column<Source>; 10] = [
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
const PATH_COLUMNS: [Column<PathEntry>; 7] = [
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

fn put_column(bytes: &mut Vec<u8>, values: impl Iterator<Item = u64>) {
    let mut before = 0_u64;
    for value in values {
        bytes.extend_from_slice(&value.wrapping_sub(before).to_le_bytes());
        before = value;
    }
}

impl Source {
    /// A source of which nothing else is known.
    pub(crate) fn of(digest: [u8; 32]) -> Self {
        Self {
            digest,
            bytes: 0,
            runs: 0,
            current: 0,
            held: Held::NOWHERE,
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
            let mut all = vec![Vec::new(); self.sources.len()];
            for &(source, path) in &self.links {
                if let Some(paths) = all.get_mut(source as usize) {
                    paths.push(path);
                }
            }
            all
        });
        linked.get(source as usize).map_or_else(Vec::new, |paths| {
            paths.iter().map(|&path| self.path_text(path)).collect()
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

    /// Adds a source, or its newer reading. Gives its number and whether it is new.
    pub(crate) fn add_source(&mut self, source: Source) -> (u32, bool) {
        self.dirty = true;
        if let Some(index) = self.source(&source.digest) {
            let known = &mut self.sources[index as usize];
            known.runs = source.runs;
            known.bytes = source.bytes;
            known.record = source.record;
            return (index, false);
        }
        let index = u32::try_from(self.sources.len()).unwrap_or(u32::MAX);
        self.sources.push(source);
        if let Some(linked) = self.linked.get_mut() {
            linked.push(Vec::new());
        }
        self.by_digest
            .insert_unique(digest_hash(&source.digest), index, |&index| {
                digest_hash(&self.sources[index as usize].digest)
            });
        (index, true)
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
        if before == source {
            return None;
        }
        self.sources[source as usize].current += 1;
        let fresh = (source, index);
        match self.linked.get_mut() {
            Some(linked) => {
                if !linked[source as usize].contains(&index) {
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
        Some(before)
    }

    /// The whole catalogue as bytes: column by column, each number as what it adds to the one above it, under zstd.
    pub(crate) fn to_bytes(&self) -> Vec<u8> {
        let mut bytes = Vec::with_capacity(
            40 + self.text.len() + self.sources.len() * 120 + self.paths.len() * 48 + self.links.len() * 16,
        );
        for length in [
            self.text.len(),
            self.sources.len(),
            self.paths.len(),
            self.links.len(),
        ] {
            bytes.extend_from_slice(&(length as u64).to_le_bytes());
        }
        bytes.extend_from_slice(&self.text);
        for source in &self.sources {
            bytes.extend_from_slice(&source.digest);
        }
        for column in SOURCE_COLUMNS {
            put_column(&mut bytes, self.sources.iter().map(column.0));
        }
        for column in PATH_COLUMNS {
            put_column(&mut bytes, self.paths.iter().map(column.0));
        }
        put_column(&mut bytes, self.links.iter().map(|link| u64::from(link.0)));
        put_column(&mut bytes, self.links.iter().map(|link| u64::from(link.1)));
        let packed = zstd::bulk::compress(&bytes, 1).unwrap_or_default();
        let mut all = MAGIC.to_vec();
        all.extend_from_slice(&(bytes.len() as u64).to_le_bytes());
        all.extend_from_slice(&packed);
        let sum = crc32fast::hash(&all);
        all.extend_from_slice(&sum.to_le_bytes());
        all
    }

    /// The catalogue from its bytes; `None` when they are damaged.
    pub(crate) fn from_bytes(bytes: &[u8]) -> Option<Self> {
        let (content, sum) = bytes.split_last_chunk::<4>()?;
        if crc32fast::hash(content) != u32::from_le_bytes(*sum) {
            return None;
        }
        let mut cursor = Cursor(content);
        if cursor.take(8)? != MAGIC {
            return None;
        }
        let length = usize::try_from(cursor.u64()?).ok()?;
        // zstd packs at most some 30,000 to one.
        if length / 32_768 > cursor.0.len() {
            return None;
        }
        let unpacked = zstd::bulk::decompress(cursor.0, length).ok()?;
        let mut cursor = Cursor(&unpacked);
        let mut lengths = [0_usize; 4];
        for length in &mut lengths {
            *length = usize::try_from(cursor.u64()?).ok()?;
        }
        let [text, sources, paths, links] = lengths;
        // Each entry takes at least sixteen bytes, so wrong lengths cannot ask for more memory than there are bytes.
        if sources.max(paths).max(links) > unpacked.len() / 16 {
            return None;
        }
        let mut catalog = Self {
            text: cursor.take(text)?.to_vec(),
            sources: Vec::with_capacity(sources),
            paths: vec![PathEntry::NOWHERE; paths],
            links: vec![(0, 0); links],
            ..Self::default()
        };
        for digest in cursor.take(sources.checked_mul(32)?)?.as_chunks::<32>().0 {
            catalog.sources.push(Source::of(*digest));
        }
        for column in SOURCE_COLUMNS {
            cursor.column(&mut catalog.sources, column.1)?;
        }
        for column in PATH_COLUMNS {
            cursor.column(&mut catalog.paths, column.1)?;
        }
        cursor.column(&mut catalog.links, |link, value| link.0 = small(value))?;
        cursor.column(&mut catalog.links, |link, value| link.1 = small(value))?;
        let inside = |path: &PathEntry| {
            (path.source as usize) < sources
                && path
                    .start
                    .checked_add(u64::from(path.length))
                    .is_some_and(|end| end <= text as u64)
        };
        let linked = |link: &(u32, u32)| (link.0 as usize) < sources && (link.1 as usize) < paths;
        if !catalog.paths.iter().all(inside) || !catalog.links.iter().all(linked) {
            return None;
        }
        catalog.hash_all();
        Some(catalog)
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

struct Cursor<'a>(&'a [u8]);

impl<'a> Cursor<'a> {
    fn take(&mut self, length: usize) -> Option<&'a [u8]> {
        let (taken, rest) = self.0.split_at_checked(length)?;
        self.0 = rest;
        Some(taken)
    }

    fn u64(&mut self) -> Option<u64> {
        Some(u64::from_le_bytes(self.take(8)?.try_into().ok()?))
    }

    fn column<T>(&mut self, entries: &mut [T], put: impl Fn(&mut T, u64)) -> Option<()> {
        let mut value = 0_u64;
        for entry in entries {
            value = value.wrapping_add(self.u64()?);
            put(entry, value);
        }
        Some(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn source(n: u8) -> Source {
        Source {
            bytes: u64::from(n),
            runs: 1,
            ..Source::of([n; 32])
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
        let bytes = catalog.to_bytes();
        let again = Catalog::from_bytes(&bytes).expect("it reads");
        assert_eq!(again.to_bytes(), bytes);
        assert_eq!(again.path("folder/file7.txt"), Some(7));
        assert_eq!(again.path("folder/file70.txt"), None);
        assert_eq!(again.source(&[9; 32]), Some(9));
        for cut in 0..bytes.len() {
            assert!(Catalog::from_bytes(&bytes[..cut]).is_none());
        }
    }
}
