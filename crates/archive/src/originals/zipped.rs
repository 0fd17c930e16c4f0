//! `originals/000001.zip`: the parts of archives up to format 3, each source an entry of a plain ZIP file.
//!
//! Such parts are read, and never written to. A ZIP file is its entries, one behind the other, and then a directory of
//! them; an entry says in its own header all that the directory says of it, so a directory can be written again from the
//! entries alone, byte for byte. Our own readers never look at the directory: they know each entry's place from the index,
//! which is rebuilt from the entries' headers.
//!
//! An entry carries the SHA-256 digest of its bytes in an extra field of its own (identifier `0x7663`, 32 bytes; other
//! programs pass over extra fields they do not know, as APPNOTE.TXT 4.5 asks).
//!
//! Source: PKWARE APPNOTE.TXT 6.3, sections 4.3.7 (local header), 4.3.12 (directory), 4.3.16 (its end).

use std::fs::File;
use std::io::{BufReader, Read, Seek, SeekFrom};
use std::path::Path;

use sha2::Digest as _;

use libdeflater::Decompressor;

use crate::Error;
use crate::disk::read_at;
use crate::manifest::{Part, Stretch};

const LOCAL: u32 = 0x0403_4b50;
const CENTRAL: u32 = 0x0201_4b50;
const END: u32 = 0x0605_4b50;
const LOCAL_BYTES: usize = 30;
const EXTRA: u16 = 0x7663;
/// Bit 11: names are UTF-8.
const FLAGS: u16 = 1 << 11;
/// An entry of a part, as its header tells.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct ZipEntry {
    pub(crate) name: String,
    pub(crate) digest: [u8; 32],
    method: u16,
    crc: u32,
    packed: u32,
    size: u32,
    modified: (u16, u16),
    /// Where its local header begins.
    pub(crate) at: u32,
}

impl ZipEntry {
    /// Where the next entry begins.
    pub(crate) fn end(&self) -> u64 {
        u64::from(self.at) + LOCAL_BYTES as u64 + self.name.len() as u64 + 36 + u64::from(self.packed)
    }

    /// The bytes in front of the packed source.
    pub(crate) fn header(&self) -> Vec<u8> {
        let mut bytes = Vec::with_capacity(LOCAL_BYTES + self.name.len() + 36);
        put32(&mut bytes, LOCAL);
        self.put_common(&mut bytes);
        bytes.extend_from_slice(self.name.as_bytes());
        self.put_extra(&mut bytes);
        bytes
    }

    fn put_common(&self, bytes: &mut Vec<u8>) {
        for word in [20, FLAGS, self.method, self.modified.0, self.modified.1] {
            put16(bytes, word);
        }
        for word in [self.crc, self.packed, self.size] {
            put32(bytes, word);
        }
        put16(bytes, u16::try_from(self.name.len()).unwrap_or(u16::MAX));
        put16(bytes, 36);
    }

    fn put_extra(&self, bytes: &mut Vec<u8>) {
        put16(bytes, EXTRA);
        put16(bytes, 32);
        bytes.extend_from_slice(&self.digest);
    }

    /// Reads the header at the front of `bytes`, which stands at `at`.
    fn parse(bytes: &[u8], at: u32) -> Option<Self> {
        let word = |from: usize| Some(u16::from_le_bytes(bytes.get(from..from + 2)?.try_into().ok()?));
        let long = |from: usize| Some(u32::from_le_bytes(bytes.get(from..from + 4)?.try_into().ok()?));
        if long(0)? != LOCAL || word(6)? != FLAGS || word(28)? != 36 {
            return None;
        }
        let name = bytes.get(LOCAL_BYTES..LOCAL_BYTES + usize::from(word(26)?))?;
        let extra = LOCAL_BYTES + name.len();
        if word(extra)? != EXTRA || word(extra + 2)? != 32 {
            return None;
        }
        Some(Self {
            name: std::str::from_utf8(name).ok()?.to_owned(),
            digest: bytes.get(extra + 4..extra + 36)?.try_into().ok()?,
            method: word(8)?,
            modified: (word(10)?, word(12)?),
            crc: long(14)?,
            packed: long(18)?,
            size: long(22)?,
            at,
        })
    }

    /// The source's bytes, checked against their length and CRC-32.
    pub(crate) fn unpack(&self, path: &Path, packed: &[u8]) -> Result<Vec<u8>, Error> {
        let wrong = |found: &str| {
            Error::damaged(
                path,
                u64::from(self.at),
                format!("{found} in the entry `{}`", self.name),
                "the bytes that were added",
            )
        };
        let bytes = match self.method {
            0 => packed.to_vec(),
            8 => {
                let mut bytes = vec![0; self.size as usize];
                let length = Decompressor::new()
                    .deflate_decompress(packed, &mut bytes)
                    .map_err(|_| wrong("damaged deflate data"))?;
                bytes.truncate(length);
                bytes
            }
            _ => return Err(wrong("an unknown method of compression")),
        };
        if bytes.len() != self.size as usize {
            return Err(wrong("another length"));
        }
        if crc32fast::hash(&bytes) != self.crc {
            return Err(wrong("another CRC-32"));
        }
        Ok(bytes)
    }
}

/// The directory of a part whose entries end at byte `end`.
pub(crate) fn directory(entries: &[ZipEntry], end: u64) -> Vec<u8> {
    let mut bytes = Vec::with_capacity(entries.iter().map(|entry| entry.name.len() + 82).sum::<usize>() + 22);
    for entry in entries {
        put32(&mut bytes, CENTRAL);
        // Made by version 2.0 on a Unix-like system, so that the mode bits below are heeded.
        put16(&mut bytes, 3 << 8 | 20);
        entry.put_common(&mut bytes);
        for word in [0, 0, 0] {
            put16(&mut bytes, word);
        }
        // A plain file that all may read.
        put32(&mut bytes, 0o100_644 << 16);
        put32(&mut bytes, entry.at);
        bytes.extend_from_slice(entry.name.as_bytes());
        entry.put_extra(&mut bytes);
    }
    let length = u32::try_from(bytes.len()).unwrap_or(u32::MAX);
    let count = u16::try_from(entries.len()).unwrap_or(u16::MAX);
    put32(&mut bytes, END);
    for word in [0, 0, count, count] {
        put16(&mut bytes, word);
    }
    put32(&mut bytes, length);
    put32(&mut bytes, u32::try_from(end).unwrap_or(u32::MAX));
    put16(&mut bytes, 0);
    bytes
}

fn put16(bytes: &mut Vec<u8>, word: u16) {
    bytes.extend_from_slice(&word.to_le_bytes());
}

fn put32(bytes: &mut Vec<u8>, word: u32) {
    bytes.extend_from_slice(&word.to_le_bytes());
}

/// Every entry of a part whose entries are `length` long, from their headers.
pub(crate) fn entries(path: &Path, length: u64) -> Result<Vec<ZipEntry>, Error> {
    let mut all = Vec::new();
    let mut file = BufReader::with_capacity(64 << 10, File::open(path).map_err(Error::io("open", path))?);
    let mut at = 0;
    while at < length {
        let entry = header_at(&mut file, path, at)?;
        let end = entry.end();
        if end > length {
            return Err(Error::damaged(
                path,
                at,
                "an entry that ends beyond what was committed",
                "a whole entry",
            ));
        }
        let here = file.stream_position().map_err(Error::io("read", path))?;
        let step = i64::try_from(end).unwrap_or(i64::MAX) - i64::try_from(here).unwrap_or(0);
        file.seek_relative(step).map_err(Error::io("read", path))?;
        at = end;
        all.push(entry);
    }
    Ok(all)
}

/// Every committed entry of a part: from its directory where that is as it was committed, which a damaged header cannot
/// disturb, else from the entries' headers.
pub(crate) fn entries_of(root: &Path, part: &Part) -> Result<Vec<ZipEntry>, Error> {
    let path = root.join(&part.name);
    if let Some(committed) = &part.directory {
        let length = usize::try_from(committed.length).unwrap_or(usize::MAX);
        let listed = read_at(&path, part.length, length)
            .ok()
            .filter(|bytes| Stretch::of(bytes) == *committed)
            .and_then(|bytes| listed(&bytes));
        if let Some(listed) = listed {
            return Ok(listed);
        }
    }
    entries(&path, part.length)
}

/// The entries that a directory lists; `None` when it is no directory of ours.
pub(crate) fn listed(directory: &[u8]) -> Option<Vec<ZipEntry>> {
    let word = |from: usize| {
        Some(u16::from_le_bytes(
            directory.get(from..from + 2)?.try_into().ok()?,
        ))
    };
    let long = |from: usize| {
        Some(u32::from_le_bytes(
            directory.get(from..from + 4)?.try_into().ok()?,
        ))
    };
    let (mut all, mut from) = (Vec::new(), 0);
    while long(from)? == CENTRAL {
        let name_length = usize::from(word(from + 28)?);
        let name = directory.get(from + 46..from + 46 + name_length)?;
        let extra = from + 46 + name_length;
        if word(from + 30)? != 36 || word(extra)? != EXTRA || word(extra + 2)? != 32 {
            return None;
        }
        all.push(ZipEntry {
            name: std::str::from_utf8(name).ok()?.to_owned(),
            digest: directory.get(extra + 4..extra + 36)?.try_into().ok()?,
            method: word(from + 10)?,
            modified: (word(from + 12)?, word(from + 14)?),
            crc: long(from + 16)?,
            packed: long(from + 20)?,
            size: long(from + 24)?,
            at: long(from + 42)?,
        });
        from = extra + 36;
    }
    (long(from)? == END).then_some(all)
}

/// The entries of a part whose length nobody tells, up to the first that is not whole: its header cannot be read, or its
/// bytes do not agree with its digest and nothing whole follows.
pub(crate) fn whole_entries(path: &Path) -> Result<Vec<ZipEntry>, Error> {
    let length = std::fs::metadata(path).map_err(Error::io("look at", path))?.len();
    if let Some(listed) = listed_at_end(path, length) {
        return Ok(listed);
    }
    let mut file = File::open(path).map_err(Error::io("open", path))?;
    let mut all = Vec::new();
    let mut at = 0;
    loop {
        file.seek(SeekFrom::Start(at)).map_err(Error::io("read", path))?;
        match header_at(&mut file, path, at) {
            Ok(entry) if entry.end() <= length => {
                at = entry.end();
                all.push(entry);
            }
            _ => break,
        }
    }
    // A damaged original among whole ones stays, for `verify` to tell; a last one that is not whole was being written.
    while let Some(last) = all.last() {
        let whole = read(path, u64::from(last.at))
            .is_ok_and(|(entry, bytes)| sha2::Sha256::digest(&bytes).as_slice() == entry.digest);
        if whole {
            break;
        }
        all.pop();
    }
    Ok(all)
}

/// What the directory at the very end of a file lists, when there is a whole one that ends with the file.
fn listed_at_end(path: &Path, length: u64) -> Option<Vec<ZipEntry>> {
    let end = read_at(path, length.checked_sub(22)?, 22).ok()?;
    let long = |from: usize| Some(u32::from_le_bytes(end.get(from..from + 4)?.try_into().ok()?));
    let (size, begin) = (u64::from(long(12)?), u64::from(long(16)?));
    if long(0)? != END || begin + size + 22 != length {
        return None;
    }
    let bytes = read_at(path, begin, usize::try_from(size + 22).ok()?).ok()?;
    let all = listed(&bytes)?;
    // One that leaves no gap and says all that we would say.
    let mut at = 0;
    let joined = all.iter().all(|entry| {
        let here = u64::from(entry.at) == at;
        at = entry.end();
        here
    });
    (joined && at == begin && directory(&all, begin) == bytes).then_some(all)
}

fn header_at(file: &mut impl Read, path: &Path, at: u64) -> Result<ZipEntry, Error> {
    let mut bytes = vec![0; LOCAL_BYTES];
    file.read_exact(&mut bytes).map_err(Error::io("read", path))?;
    let rest = usize::from(u16::from_le_bytes([bytes[26], bytes[27]])) + 36;
    bytes.resize(LOCAL_BYTES + rest, 0);
    file.read_exact(&mut bytes[LOCAL_BYTES..])
        .map_err(Error::io("read", path))?;
    u32::try_from(at)
        .ok()
        .and_then(|at| ZipEntry::parse(&bytes, at))
        .ok_or_else(|| Error::damaged(path, at, "other bytes", "the header of a ZIP entry"))
}

/// The entry that begins at `at`, and its source's bytes.
pub(crate) fn read(path: &Path, at: u64) -> Result<(ZipEntry, Vec<u8>), Error> {
    let mut file = File::open(path).map_err(Error::io("open", path))?;
    file.seek(SeekFrom::Start(at)).map_err(Error::io("read", path))?;
    let entry = header_at(&mut file, path, at)?;
    let from = entry.end() - u64::from(entry.packed);
    let packed = read_at(path, from, entry.packed as usize).map_err(Error::io("read", path))?;
    let bytes = entry.unpack(path, &packed)?;
    Ok((entry, bytes))
}
