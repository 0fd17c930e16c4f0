//! `records/000001.jsonl.zst`: one JSON record a line, in many small zstd frames.
//!
//! Each frame decompresses by itself (RFC 8878, 3.1: frames may be joined freely), so one record is read without its
//! neighbours, and `zstd -dc` still shows the whole file. The place of a record is kept in the index; without it the
//! frames are found by walking over the file.

use std::collections::VecDeque;
use std::fs::File;
use std::io::{self, Read, Write};
use std::path::Path;
use std::sync::{Arc, Mutex, MutexGuard, OnceLock, PoisonError};

use curvary_record::stored::{self, ModelRun, Record};
use serde::{Deserialize, Serialize};
use zstd::zstd_safe::{self, CParameter, Strategy};

use crate::Error;
use crate::disk::read_at;

/// A part that is this long gets no further frame.
pub(crate) const PART_BYTES: u64 = 256 << 20;
/// A frame that holds this many bytes of lines is closed. Runs that a query finds lie anywhere, and each costs the
/// unpacking of a whole frame. Of exports of 5 kB the records took 0.16, 0.15 and 0.145 of the text with 64, 128 and 256 kB,
/// when each run said all of it.
pub(crate) const FRAME_BYTES: usize = 128 << 10;
/// Level 1 with matches of seven bytes or more: shorter ones cost more than the digits they stand for. Exports of 5 kB pack
/// to 0.18 of the text so, to 0.19 at plain level 1, to 0.24 at level 3 (zstd 1.5, frames of 128 kB), and the quickest; their
/// records to 3 to 5 % less than with matches of four and five bytes or at levels 2 to 6.
const PARAMETERS: [CParameter; 4] = [
    CParameter::WindowLog(19),
    CParameter::HashLog(14),
    CParameter::MinMatch(7),
    CParameter::Strategy(Strategy::ZSTD_fast),
];
/// No frame is larger when it is unpacked: one record of the largest source, in the worst case.
const LARGEST_FRAME: u64 = 32 << 30;

/// Where a record stands: part, frame, line.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub(crate) struct At {
    /// Number of the part, from 0.
    pub(crate) part: u32,
    /// First byte of the frame.
    pub(crate) frame: u64,
    /// Length of the frame.
    pub(crate) packed: u32,
    /// First byte of the line in the unpacked frame.
    pub(crate) line: u32,
    /// Length of the line, without its line end.
    pub(crate) length: u32,
}

/// Compresses bytes into one frame, with their length and a checksum.
pub(crate) fn pack(bytes: &[u8]) -> Result<Vec<u8>, String> {
    thread_local! {
        static PACK: std::cell::RefCell<Option<zstd::bulk::Compressor<'static>>> = const { std::cell::RefCell::new(None) };
    }
    PACK.with_borrow_mut(|slot| {
        let packer = match slot {
            Some(packer) => packer,
            None => {
                let mut packer = zstd::bulk::Compressor::new(1)?;
                packer.include_checksum(true)?;
                packer.include_contentsize(true)?;
                for parameter in PARAMETERS {
                    packer.set_parameter(parameter)?;
                }
                slot.insert(packer)
            }
        };
        // The library makes room for what cannot be packed at all, and a long source waits with hundreds of frames.
        packer.compress(bytes).map(|mut packed| {
            packed.shrink_to_fit();
            packed
        })
    })
    .map_err(|error| error.to_string())
}

/// The same of bytes that lie in pieces, of which no copy is made.
pub(crate) fn pack_pieces(pieces: &[&[u8]]) -> io::Result<Vec<u8>> {
    let length = pieces.iter().map(|piece| piece.len()).sum();
    pack_written(length, |packer| {
        pieces.iter().try_for_each(|piece| packer.write_all(piece))
    })
}

/// The same of so many bytes that are written.
pub(crate) fn pack_written(
    length: usize,
    write: impl FnOnce(&mut dyn Write) -> io::Result<()>,
) -> io::Result<Vec<u8>> {
    let mut packer = zstd::stream::Encoder::new(Vec::new(), 1)?;
    for parameter in PARAMETERS {
        packer.set_parameter(parameter)?;
    }
    packer.include_checksum(true)?;
    packer.include_contentsize(true)?;
    packer.set_pledged_src_size(Some(length as u64))?;
    write(&mut packer)?;
    let mut packed = packer.finish()?;
    packed.shrink_to_fit();
    Ok(packed)
}

fn unpack(path: &Path, at: u64, packed: &[u8]) -> Result<Vec<u8>, Error> {
    let wrong = |found: String| Error::damaged(path, at, found, "a zstd frame of records");
    let length = zstd_safe::get_frame_content_size(packed)
        .ok()
        .flatten()
        .filter(|&length| length <= LARGEST_FRAME)
        .and_then(|length| usize::try_from(length).ok())
        .ok_or_else(|| wrong("a damaged frame header".into()))?;
    // zstd packs at most some 30,000 to one; a header that promises more is damaged and must not cost memory.
    if length / 32_768 > packed.len() {
        return Err(wrong(format!("a frame header that promises {length} bytes")));
    }
    thread_local! {
        static UNPACK: std::cell::RefCell<Option<zstd::bulk::Decompressor<'static>>> = const { std::cell::RefCell::new(None) };
    }
    UNPACK
        .with_borrow_mut(|slot| {
            let unpacker = match slot {
                Some(unpacker) => unpacker,
                None => slot.insert(zstd::bulk::Decompressor::new()?),
            };
            unpacker.decompress(packed, length)
        })
        .map_err(|error| wrong(error.to_string()))
}

/// Reads single records, and keeps the frames it unpacked last: neighbours mostly lie in one.
#[derive(Default)]
pub(crate) struct FrameReader {
    kept: Mutex<FrameCache>,
    models: Models,
}

/// The runs that others were like last.
#[derive(Default)]
struct Models(Mutex<ModelCache>);

/// A frame by its part and its first byte.
type FramePlace = (u32, u64);

/// Unpacked frames. A command may have three such readers: one that asks, one under the lock, and one that files.
type FrameCache = Recent<FramePlace, FrameLines<Vec<u8>>, { 4 << 20 }>;

/// Runs that others are like, by their frame and the first byte of their line; a tree takes some ten times its line.
type ModelCache = Recent<(FramePlace, usize), ModelRun, { 1 << 20 }>;

/// What was used last, the last of all at the end; of so many bytes of text that `MOST` is not passed but by a single one.
struct Recent<K, V, const MOST: usize> {
    kept: VecDeque<(K, usize, Arc<V>)>,
    bytes: usize,
}

impl<K, V, const MOST: usize> Default for Recent<K, V, MOST> {
    fn default() -> Self {
        Self {
            kept: VecDeque::new(),
            bytes: 0,
        }
    }
}

impl FrameReader {
    /// The record at `at`. Threads may read at the same time: nothing is locked while a frame is unpacked.
    pub(crate) fn record(&self, path: &Path, at: At) -> Result<Record, Error> {
        const EXPECTED: &str = "the record that the index points to";
        let which = (at.part, at.frame);
        let known = self.kept().get(which);
        let lines = match known {
            Some(lines) => lines,
            None => {
                let packed = read_at(path, at.frame, at.packed as usize).map_err(Error::io("read", path))?;
                let lines = Arc::new(FrameLines::of(unpack(path, at.frame, &packed)?));
                self.kept().put(which, lines.bytes.len(), Arc::clone(&lines));
                lines
            }
        };
        let line = lines
            .bytes
            .get(at.line as usize..)
            .and_then(|rest| rest.get(..at.length as usize))
            .ok_or_else(|| Error::damaged(path, at.frame, "a shorter frame", EXPECTED))?;
        let model = |above| self.models.model(&lines, at, above);
        stored::read(line, model).map_err(|error| Error::damaged(path, at.frame, error, EXPECTED))
    }

    fn kept(&self) -> MutexGuard<'_, FrameCache> {
        self.kept.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Models {
    /// The run that stands so many lines above the one at `at`, in the lines of its frame.
    fn model<B: AsRef<[u8]>>(&self, lines: &FrameLines<B>, at: At, above: u32) -> Option<Arc<ModelRun>> {
        let (from, line) = lines.above(at.line as usize, above)?;
        let which = ((at.part, at.frame), from);
        if let Some(model) = self.kept().get(which) {
            return Some(model);
        }
        let model = Arc::new(ModelRun::in_line(line)?);
        self.kept().put(which, line.len(), Arc::clone(&model));
        Some(model)
    }

    fn kept(&self) -> MutexGuard<'_, ModelCache> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl<K: PartialEq, V, const MOST: usize> Recent<K, V, MOST> {
    fn get(&mut self, which: K) -> Option<Arc<V>> {
        // The last one is asked for again most of all.
        let place = self.kept.iter().rposition(|(known, ..)| *known == which)?;
        let found = self.kept.remove(place)?;
        let value = Arc::clone(&found.2);
        self.kept.push_back(found);
        Some(value)
    }

    fn put(&mut self, which: K, bytes: usize, value: Arc<V>) {
        self.bytes += bytes;
        self.kept.push_back((which, bytes, value));
        while self.bytes > MOST && self.kept.len() > 1 {
            if let Some((_, bytes, _)) = self.kept.pop_front() {
                self.bytes -= bytes;
            }
        }
    }
}

/// Walks over the frames of a part from byte `from` up to the committed `length`.
pub(crate) struct FrameWalk<'a> {
    path: &'a Path,
    part: u32,
    file: File,
    /// Bytes read.
    buffer: Vec<u8>,
    /// How many of them were walked over.
    passed: usize,
    /// Where the next one stands in the file.
    at: u64,
    left: u64,
}

/// How much is read at once.
const WINDOW: usize = 4 << 20;

impl<'a> FrameWalk<'a> {
    pub(crate) fn new(path: &'a Path, part: u32, from: u64, length: u64) -> Result<Self, Error> {
        use std::io::{Seek, SeekFrom};
        let mut file = File::open(path).map_err(Error::io("open", path))?;
        file.seek(SeekFrom::Start(from))
            .map_err(Error::io("read", path))?;
        Ok(Self {
            path,
            part,
            file,
            buffer: Vec::new(),
            passed: 0,
            at: from,
            left: length.saturating_sub(from),
        })
    }

    /// The next frame, or the stretch up to the next whole one.
    pub(crate) fn next(&mut self) -> Result<Option<WalkStep>, Error> {
        loop {
            let ahead = self.ahead();
            if ahead.is_empty() && self.left == 0 {
                return Ok(None);
            }
            let packed = zstd_safe::find_frame_compressed_size(ahead)
                .ok()
                .filter(|&packed| packed > 0 && packed <= ahead.len());
            match packed {
                Some(packed) if is_passed_over(ahead) => self.pass(packed),
                Some(packed) => {
                    let unpacked = unpack(self.path, self.at, &ahead[..packed]);
                    let Ok(lines) = unpacked else {
                        self.fill(usize::MAX)?;
                        return Ok(Some(WalkStep::Damaged(self.damaged())));
                    };
                    let at = At {
                        part: self.part,
                        frame: self.at,
                        packed: u32::try_from(packed).unwrap_or(u32::MAX),
                        line: 0,
                        length: 0,
                    };
                    self.pass(packed);
                    return Ok(Some(WalkStep::Frame(at, lines)));
                }
                None if self.left == 0 => return Ok(Some(WalkStep::Damaged(self.damaged()))),
                None => self.fill(WINDOW.max(ahead.len()))?,
            }
        }
    }

    fn ahead(&self) -> &[u8] {
        self.buffer.get(self.passed..).unwrap_or_default()
    }

    fn pass(&mut self, bytes: usize) {
        self.passed += bytes;
        self.at += bytes as u64;
    }

    /// Reads so many bytes more, or all that are left.
    fn fill(&mut self, most: usize) -> Result<(), Error> {
        let most = usize::try_from(self.left).unwrap_or(usize::MAX).min(most);
        self.buffer.drain(..self.passed);
        self.passed = 0;
        let had = self.buffer.len();
        self.buffer.resize(had + most, 0);
        let mut read = 0;
        while read < most {
            let more = self
                .file
                .read(&mut self.buffer[had + read..])
                .map_err(Error::io("read", self.path))?;
            if more == 0 {
                // The file is shorter than what was committed.
                self.left = (had + read) as u64;
                break;
            }
            read += more;
        }
        self.buffer.truncate(had + read);
        self.left = if read < most { 0 } else { self.left - read as u64 };
        Ok(())
    }

    /// Passes over what is no whole frame, now that all the rest is in the buffer.
    fn damaged(&mut self) -> FrameDamage {
        let ahead = self.ahead();
        let length = next_whole(self.path, ahead).unwrap_or(ahead.len());
        let damage = FrameDamage {
            part: self.part,
            at: self.at,
            length: length as u64,
        };
        self.pass(length);
        damage
    }
}

/// What a walk meets.
pub(crate) enum WalkStep {
    /// A frame: the place of its first line and its lines.
    Frame(At, Vec<u8>),
    /// Bytes that are no whole frame.
    Damaged(FrameDamage),
}

/// A stretch of a record part that cannot be read.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct FrameDamage {
    /// Number of the part, from 0.
    pub(crate) part: u32,
    /// Its first byte.
    pub(crate) at: u64,
    /// How many bytes.
    pub(crate) length: u64,
}

/// Where the next whole frame begins behind the first byte of `bytes`.
fn next_whole(path: &Path, bytes: &[u8]) -> Option<usize> {
    memchr::memmem::find_iter(bytes, &MAGIC)
        .filter(|&at| at > 0)
        .find(|&at| {
            let rest = &bytes[at..];
            zstd_safe::find_frame_compressed_size(rest)
                .ok()
                .filter(|&packed| packed > 0 && packed <= rest.len())
                .is_some_and(|packed| unpack(path, at as u64, &rest[..packed]).is_ok())
        })
}

/// Whether a skippable frame begins here (RFC 8878, 3.1.2): every program that reads zstd passes over it.
fn is_passed_over(bytes: &[u8]) -> bool {
    bytes
        .get(..4)
        .is_some_and(|four| (0x50..=0x5F).contains(&four[0]) && four[1..] == [0x2A, 0x4D, 0x18])
}

/// The first eight bytes of a skippable frame that is `length` bytes long altogether; `None` when it would be too short or
/// too long for one.
pub(crate) fn passed_over(length: u64) -> Option<[u8; 8]> {
    let content = u32::try_from(length.checked_sub(8)?).ok()?.to_le_bytes();
    let mut header = [0x50, 0x2A, 0x4D, 0x18, 0, 0, 0, 0];
    header[4..].copy_from_slice(&content);
    Some(header)
}

/// The first bytes of a zstd frame (RFC 8878, 3.1.1).
const MAGIC: [u8; 4] = [0x28, 0xB5, 0x2F, 0xFD];

/// Where the last whole frame of a file ends. Damaged frames in front of it are passed over.
pub(crate) fn whole_frames(path: &Path) -> Result<u64, Error> {
    let bytes = std::fs::read(path).map_err(Error::io("read", path))?;
    let (mut at, mut end) = (0, 0);
    while at < bytes.len() {
        let packed = zstd_safe::find_frame_compressed_size(&bytes[at..])
            .ok()
            .filter(|&packed| packed > 0 && at + packed <= bytes.len())
            .filter(|&packed| {
                is_passed_over(&bytes[at..]) || unpack(path, at as u64, &bytes[at..at + packed]).is_ok()
            });
        match packed {
            Some(packed) => {
                at += packed;
                end = at;
            }
            None => {
                let next = memchr::memmem::find(&bytes[at + 1..], &MAGIC);
                at = next.map_or(bytes.len(), |next| at + 1 + next);
            }
        }
    }
    Ok(end as u64)
}

/// The lines of an unpacked frame.
struct FrameLines<B> {
    bytes: B,
    /// Where each begins, from the first time that one is counted.
    starts: OnceLock<Vec<usize>>,
}

impl<B: AsRef<[u8]>> FrameLines<B> {
    fn of(bytes: B) -> Self {
        Self {
            bytes,
            starts: OnceLock::new(),
        }
    }

    /// Where the line begins that stands so many lines above the one that begins at `from`, and the line itself. All starts are
    /// found at once: a frame may hold thousands of lines that are like its first, and none of them counts its way back.
    fn above(&self, from: usize, above: u32) -> Option<(usize, &[u8])> {
        let bytes = self.bytes.as_ref();
        let starts = self.starts.get_or_init(|| {
            let behind = memchr::memchr_iter(b'\n', bytes).map(|end| end + 1);
            std::iter::once(0).chain(behind).collect()
        });
        let own = starts.binary_search(&from).ok()?;
        let place = own.checked_sub(usize::try_from(above).ok()?)?;
        let (start, next) = (*starts.get(place)?, *starts.get(place + 1)?);
        Some((start, bytes.get(start..next)?.strip_suffix(b"\n")?))
    }
}

/// The records of a frame, each with its place, or with what is wrong with its line.
pub(crate) fn records(frame: At, bytes: &[u8]) -> impl Iterator<Item = (At, Result<Record, String>)> {
    let (all, models) = (FrameLines::of(bytes), Models::default());
    lines(frame, bytes).map(move |(at, line)| {
        let record = stored::read(line, |above| models.model(&all, at, above));
        (at, record.map_err(String::from))
    })
}

/// The lines of a frame, each with its place.
fn lines(frame: At, bytes: &[u8]) -> impl Iterator<Item = (At, &[u8])> {
    let mut from = 0;
    bytes.split_inclusive(|&byte| byte == b'\n').map(move |line| {
        let bare = line.strip_suffix(b"\n").unwrap_or(line);
        let at = At {
            line: u32::try_from(from).unwrap_or(u32::MAX),
            length: u32::try_from(bare.len()).unwrap_or(u32::MAX),
            ..frame
        };
        from += line.len();
        (at, bare)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_counted_upwards_from_a_line() {
        let lines = FrameLines::of(b"one\n\nthree\nfour".as_slice());
        assert_eq!(lines.above(11, 1), Some((5, b"three".as_slice())));
        assert_eq!(lines.above(11, 2), Some((4, b"".as_slice())));
        assert_eq!(lines.above(11, 3), Some((0, b"one".as_slice())));
        assert_eq!(lines.above(11, 4), None);
        assert_eq!(lines.above(0, 1), None);
        // No line begins there.
        assert_eq!(lines.above(12, 1), None);
    }
}
