//! `originals/000001.tar.zst`: sources in a tar file, and that in many zstd frames behind each other.
//!
//! Small exports resemble their neighbours: packed together they take half of what each takes by itself. A frame holds
//! [`FRAME_BYTES`] of whole members, or one longer member, and unpacks by itself (RFC 8878, 3.1), with its length and a
//! checksum; `zstd -dc` shows the whole, a tar file (POSIX.1-2024, pax, "ustar Interchange Format"; names of more than 100
//! bytes as GNU tar writes them) without the blocks of zeros at its end, which every program does without. To append is to
//! write further frames: nothing that was committed is ever touched.
//!
//! The place of a member, its frame and where it begins in that, is kept in the index. Without it the frames are walked
//! over; the digests are computed from the bytes, so nothing is believed that is not so.

use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::path::Path;

use super::{LARGEST, Members, OriginalLocation, OriginalMember, digest};
use crate::Error;
use crate::frames::{FrameWalk, WalkStep, pack, pack_pieces};

/// A part that is this long gets no further frame.
pub(crate) const PART_BYTES: u64 = 256 << 20;
/// A frame that holds this many bytes is closed. Of exports of 5 kB, frames of 256 kB take 2 % less, of 64 kB 3 % more; an
/// original costs the unpacking of half a frame, and a damaged frame is lost as a whole.
const FRAME_BYTES: usize = 128 << 10;
/// A part is shorter than 4 GiB, so that every place in it has 32 bits.
const BLOCK: usize = 512;

/// Members that are packed into frames.
#[derive(Default)]
pub(crate) struct Packing {
    open: Vec<u8>,
    frames: Vec<Vec<u8>>,
}

/// A member's place among the frames that were packed with it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Packed {
    /// The number of the frame, from 0.
    pub(crate) frame: usize,
    /// Where it begins in the unpacked frame.
    pub(crate) within: u32,
}

impl Packing {
    /// Adds a member. `modified` is the time of its last change in nanoseconds since 1970.
    pub(crate) fn put(&mut self, name: &str, bytes: &[u8], modified: Option<i64>) -> Result<Packed, Error> {
        if bytes.len() as u64 > LARGEST {
            return Err(Error::TooLarge {
                path: name.to_owned(),
                bytes: bytes.len() as u64,
            });
        }
        let mut header = tar::Header::new_gnu();
        header.set_entry_type(tar::EntryType::Regular);
        header.set_size(bytes.len() as u64);
        header.set_mode(0o644);
        header.set_uid(0);
        header.set_gid(0);
        header.set_mtime(u64::try_from(modified.unwrap_or(0) / 1_000_000_000).unwrap_or(0));
        let wrong = Error::io("pack", Path::new(name));
        if bytes.len() >= FRAME_BYTES {
            // A frame of its own, without another copy of the bytes.
            self.close()?;
            let mut head = Vec::new();
            append(&mut head, &mut header, name, &[])
                .and_then(|()| {
                    let padding = vec![0; bytes.len().next_multiple_of(BLOCK) - bytes.len()];
                    pack_pieces(&[&head, bytes, &padding])
                })
                .map(|frame| self.frames.push(frame))
                .map_err(wrong)?;
            return Ok(Packed {
                frame: self.frames.len() - 1,
                within: 0,
            });
        }
        let packed = Packed {
            frame: self.frames.len(),
            within: u32::try_from(self.open.len()).unwrap_or(u32::MAX),
        };
        append(&mut self.open, &mut header, name, bytes).map_err(wrong)?;
        if self.open.len() >= FRAME_BYTES {
            self.close()?;
        }
        Ok(packed)
    }

    fn close(&mut self) -> Result<(), Error> {
        if !self.open.is_empty() {
            let frame = pack(&self.open)
                .map_err(|message| Error::damaged(Path::new("originals"), None, message, "a zstd frame"))?;
            self.frames.push(frame);
            self.open = Vec::new();
        }
        Ok(())
    }

    /// The frames.
    pub(crate) fn finish(mut self) -> Result<Vec<Vec<u8>>, Error> {
        self.close()?;
        Ok(self.frames)
    }
}

/// Writes a member behind others: its header with the names, its bytes, and zeros up to a whole block.
fn append(open: &mut Vec<u8>, header: &mut tar::Header, name: &str, bytes: &[u8]) -> std::io::Result<()> {
    let mut builder = tar::Builder::new(std::mem::take(open));
    let put = builder.append_data(header, name, bytes);
    // Taken out before the builder closes the file with its blocks of zeros.
    *open = std::mem::take(builder.get_mut());
    put
}

/// The members of unpacked frames, each with its name, its bytes and the time of its last change in nanoseconds.
pub(crate) fn unpacked(frame: &[u8]) -> Result<Vec<(String, Vec<u8>, i64)>, Error> {
    let wrong = |error: std::io::Error| Error::io("unpack", Path::new("originals"))(error);
    let text = zstd::stream::decode_all(frame).map_err(wrong)?;
    let mut all = Vec::new();
    for entry in tar::Archive::new(&text[..]).entries().map_err(wrong)? {
        let mut entry = entry.map_err(wrong)?;
        let mut bytes = Vec::new();
        entry.read_to_end(&mut bytes).map_err(wrong)?;
        let seconds = i64::try_from(entry.header().mtime().map_err(wrong)?).unwrap_or(0);
        all.push((name_of(&entry), bytes, seconds.saturating_mul(1_000_000_000)));
    }
    Ok(all)
}

fn name_of<R: Read>(entry: &tar::Entry<'_, R>) -> String {
    String::from_utf8_lossy(&entry.path_bytes()).into_owned()
}

/// Every member of a part that is `length` bytes long, with the digest of its bytes.
pub(crate) fn members(path: &Path, number: u32, length: u64) -> Result<Members, Error> {
    let mut found = Members::default();
    let mut walk = FrameWalk::new(path, number, 0, length)?;
    while let Some(step) = walk.next()? {
        let (frame, text) = match step {
            WalkStep::Frame(frame, text) => (frame, text),
            WalkStep::Damaged(damage) => {
                found.damaged.push(damage);
                continue;
            }
        };
        let wrong = |error: std::io::Error| {
            let found = format!("{error} in a frame whose checksum is right");
            Error::damaged(path, frame.frame, found, "members of a tar file")
        };
        let mut within = 0;
        for entry in tar::Archive::new(&text[..]).entries().map_err(wrong)? {
            let entry = entry.map_err(wrong)?;
            let from = usize::try_from(entry.raw_file_position()).unwrap_or(usize::MAX);
            let size = usize::try_from(entry.size()).unwrap_or(usize::MAX);
            let bytes = text.get(from..from.saturating_add(size));
            let bytes = bytes.ok_or_else(|| wrong(std::io::ErrorKind::UnexpectedEof.into()))?;
            found.all.push(OriginalMember {
                digest: digest(bytes),
                held: OriginalLocation {
                    part: number,
                    at: u32::try_from(frame.frame).unwrap_or(u32::MAX),
                    within: u32::try_from(within).unwrap_or(u32::MAX),
                },
            });
            within = from + size.next_multiple_of(BLOCK);
        }
    }
    Ok(found)
}

/// Whether the frame at a byte agrees with its checksum.
pub(crate) fn is_whole(path: &Path, at: u32) -> bool {
    let unpacked = || {
        let mut file = File::open(path)?;
        file.seek(SeekFrom::Start(u64::from(at)))?;
        let mut text = zstd::stream::read::Decoder::new(file)?.single_frame();
        std::io::copy(&mut text, &mut std::io::sink())
    };
    unpacked().is_ok_and(|bytes| bytes > 0)
}

/// The name and the bytes of a member.
pub(crate) fn read(path: &Path, held: OriginalLocation) -> Result<(String, Vec<u8>), Error> {
    let wrong = |error: std::io::Error| {
        let at = u64::from(held.at);
        Error::damaged(
            path,
            at,
            error.to_string(),
            "the original that the index points to",
        )
    };
    let mut file = File::open(path).map_err(Error::io("open", path))?;
    file.seek(SeekFrom::Start(u64::from(held.at)))
        .map_err(Error::io("read", path))?;
    let mut text = zstd::stream::read::Decoder::new(file)
        .map_err(wrong)?
        .single_frame();
    let within = u64::from(held.within);
    let passed = std::io::copy(&mut (&mut text).take(within), &mut std::io::sink()).map_err(wrong)?;
    if passed < within {
        return Err(wrong(std::io::ErrorKind::UnexpectedEof.into()));
    }
    let mut archive = tar::Archive::new(text);
    let entry = archive.entries().map_err(wrong)?.next();
    let mut entry = entry
        .ok_or_else(|| wrong(std::io::ErrorKind::UnexpectedEof.into()))?
        .map_err(wrong)?;
    let mut bytes = Vec::new();
    let size = entry.size();
    entry.read_to_end(&mut bytes).map_err(wrong)?;
    if bytes.len() as u64 != size {
        return Err(wrong(std::io::ErrorKind::UnexpectedEof.into()));
    }
    Ok((name_of(&entry), bytes))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn members_come_back_from_any_program_that_reads_tar() {
        let long = format!("{}/ä.txt", "folder/".repeat(60));
        let mut sources: Vec<(String, Vec<u8>)> = (0..200_u32)
            .map(|n| {
                let name = if n % 50 == 7 {
                    format!("{n}{long}")
                } else {
                    format!("box/run-{n:03}.txt")
                };
                let text: String = (0..n * 3)
                    .map(|point| format!("{point},0.{:04}\n", point * 37 % 9999))
                    .collect();
                (name, text.into_bytes())
            })
            .collect();
        let long: Vec<u8> = (0..300_001_u32)
            .map(|n| u8::try_from(n / 7 % 251).expect("small"))
            .collect();
        sources.insert(90, ("box/long.bin".to_owned(), long));
        let mut packing = Packing::default();
        let mut places = Vec::new();
        for (name, bytes) in &sources {
            places.push(
                packing
                    .put(name, bytes, Some(1_615_734_566_000_000_000))
                    .expect("it packs"),
            );
        }
        let frames = packing.finish().expect("it packs");
        assert!(frames.len() > 2, "{}", frames.len());
        let folder = std::env::temp_dir().join(format!("curvary-tarred-{}", std::process::id()));
        std::fs::create_dir_all(&folder).expect("a folder");
        let path = folder.join("000001.tar.zst");
        std::fs::write(&path, frames.concat()).expect("it is written");
        let begins = |frame: usize| frames[..frame].iter().map(Vec::len).sum::<usize>();
        let found = members(&path, 0, begins(frames.len()) as u64).expect("it reads");
        assert_eq!((found.all.len(), found.damaged.len()), (201, 0));
        for (((name, bytes), place), member) in sources.iter().zip(&places).zip(&found.all) {
            let held = OriginalLocation {
                part: 0,
                at: u32::try_from(begins(place.frame)).expect("small"),
                within: place.within,
            };
            assert_eq!((member.held, member.digest), (held, digest(bytes)));
            assert_eq!(
                read(&path, held).expect("it reads"),
                (name.clone(), bytes.clone())
            );
        }
        // As a whole, by the library alone.
        let whole = zstd::stream::decode_all(&std::fs::read(&path).expect("it is there")[..]).expect("zstd");
        let names: Vec<String> = tar::Archive::new(&whole[..])
            .entries()
            .expect("tar")
            .map(|entry| name_of(&entry.expect("an entry")))
            .collect();
        assert!(names.iter().eq(sources.iter().map(|(name, _)| name)));
        let _ = std::fs::remove_dir_all(&folder);
    }
}
