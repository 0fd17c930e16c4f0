//! `originals/`: every source bit for bit, in files that any program opens.
//!
//! A part is a tar file in many small zstd frames (`000001.tar.zst`, `tarred.rs`); up to format 3 it was a ZIP file
//! (`000001.zip`, `zipped.rs`), which is still read wherever there is one.

pub(crate) mod tarred;
pub(crate) mod zipped;

use std::path::Path;

use sha2::{Digest as _, Sha256};

use crate::Error;
use crate::frames::FrameDamage;
use crate::manifest::Part;

/// The largest source.
pub(crate) const LARGEST: u64 = 0xF000_0000;

/// Where an original lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct OriginalLocation {
    /// Number of the part, from 0; [`u32::MAX`] where it is not known.
    pub(crate) part: u32,
    /// First byte of the frame, or of the ZIP entry.
    pub(crate) at: u32,
    /// Where it begins in the unpacked frame.
    pub(crate) within: u32,
}

impl OriginalLocation {
    /// The place of what was not found.
    pub(crate) const NOWHERE: Self = Self {
        part: u32::MAX,
        at: 0,
        within: 0,
    };
}

/// An original that a part holds.
pub(crate) struct OriginalMember {
    pub(crate) digest: [u8; 32],
    pub(crate) held: OriginalLocation,
}

/// What a part holds.
#[derive(Default)]
pub(crate) struct Members {
    pub(crate) all: Vec<OriginalMember>,
    /// Stretches that cannot be read.
    pub(crate) damaged: Vec<FrameDamage>,
}

/// Whether a part is a ZIP file.
pub(crate) fn is_zip(name: &str) -> bool {
    name.ends_with(".zip")
}

/// Everything that was committed of a part.
pub(crate) fn members(root: &Path, number: u32, part: &Part) -> Result<Members, Error> {
    if !is_zip(&part.name) {
        return tarred::members(&root.join(&part.name), number, part.length);
    }
    let member = |entry: zipped::ZipEntry| OriginalMember {
        digest: entry.digest,
        held: OriginalLocation {
            part: number,
            at: entry.at,
            within: 0,
        },
    };
    let entries = zipped::entries_of(root, part)?;
    Ok(Members {
        all: entries.into_iter().map(member).collect(),
        damaged: Vec::new(),
    })
}

/// The name and the bytes of an original, as they are found: whoever asks compares the digest.
pub(crate) fn read(path: &Path, held: OriginalLocation) -> Result<(String, Vec<u8>), Error> {
    if is_zip(&path.to_string_lossy()) {
        zipped::read(path, u64::from(held.at)).map(|(entry, bytes)| (entry.name, bytes))
    } else {
        tarred::read(path, held)
    }
}

pub(crate) fn digest(bytes: &[u8]) -> [u8; 32] {
    Sha256::digest(bytes).into()
}

/// A path as the name of a member: relative, with `/`, and without anything that leads out of a folder.
///
/// A byte that is no UTF-8, `\xE9` in a path, is `%E9` here: a backslash parts folders in the eyes of some programs.
pub(crate) fn entry_name(path: &str) -> String {
    let mut name = String::with_capacity(path.len());
    let path = without_bytes(path);
    for part in path.split(['/', '\\']) {
        let part = part.trim_end_matches(':');
        if matches!(part, "" | "." | "..") {
            continue;
        }
        if !name.is_empty() {
            name.push('/');
        }
        name.extend(part.chars().filter(|sign| !sign.is_control()));
    }
    if name.is_empty() {
        name.push_str("unnamed");
    }
    // A ZIP name has at most 65,535 bytes; the end tells most.
    while name.len() > 60_000 {
        let cut = name.char_indices().nth(1).map_or(name.len(), |(at, _)| at);
        name.drain(..cut.max(name.floor_char_boundary(name.len() - 60_000)));
    }
    name
}

fn without_bytes(path: &str) -> std::borrow::Cow<'_, str> {
    let is_byte = |rest: &str| {
        let digits = rest.as_bytes().get(..2);
        digits.is_some_and(|two| two.iter().all(|byte| matches!(byte, b'0'..=b'9' | b'A'..=b'F')))
    };
    let mut parts = path.split("\\x");
    let mut name = parts.next().unwrap_or_default().to_owned();
    let mut changed = false;
    for part in parts {
        changed |= is_byte(part);
        name.push_str(if is_byte(part) { "%" } else { "\\x" });
        name.push_str(part);
    }
    if changed { name.into() } else { path.into() }
}

/// The name with eight digits of the digest before its ending, for bytes that another version's name is taken by.
pub(crate) fn version_name(name: &str, digest: &[u8; 32]) -> String {
    let mark = crate::digests::hex(&digest[..4]);
    let file = name.rfind('/').map_or(0, |slash| slash + 1);
    match name[file..].rfind('.').filter(|&dot| dot > 0) {
        Some(dot) => format!("{}~{mark}{}", &name[..file + dot], &name[file + dot..]),
        None => format!("{name}~{mark}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_never_lead_out_of_a_folder() {
        assert_eq!(entry_name("../../etc/a.txt"), "etc/a.txt");
        assert_eq!(entry_name("C:\\data\\b.txt"), "C/data/b.txt");
        assert_eq!(entry_name("/"), "unnamed");
        assert_eq!(entry_name("/media/a\\xE9.txt"), "media/a%E9.txt");
        assert_eq!(entry_name("data\\x\\xyz.txt"), "data/x/xyz.txt");
        assert_eq!(entry_name("a.zip!/in/c.txt"), "a.zip!/in/c.txt");
        assert_eq!(version_name("d.e/f.txt", &[0xab; 32]), "d.e/f~abababab.txt");
        assert_eq!(version_name("d.e/f", &[0xab; 32]), "d.e/f~abababab");
        let long = "ä".repeat(40_000);
        assert!(entry_name(&long).len() <= 60_000);
    }
}
