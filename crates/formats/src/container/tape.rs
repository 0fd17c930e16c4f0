//! Tar archives (POSIX.1-1988 ustar, and the pax and GNU forms that the library knows).

use std::io::Cursor;

use curvary_record::Diagnostic;

use super::{ContainerStep, SharedBytes, UnpackLimits, over_limit, remark, safe, spelled};

/// Where the magic of a tar header stands, and its first bytes (POSIX.1-1988, 10.1.1).
const MAGIC_AT: usize = 257;
const MAGIC: &[u8] = b"ustar";

/// Whether bytes begin with a tar header.
pub(super) fn is_tape(bytes: &[u8]) -> bool {
    bytes.get(MAGIC_AT..MAGIC_AT + MAGIC.len()) == Some(MAGIC)
}

/// A tar archive with its members found.
pub(super) struct TarFile {
    bytes: SharedBytes,
    members: std::vec::IntoIter<TarEntry>,
}

struct TarEntry {
    name: String,
    kind: EntryKind,
    /// Where its bytes begin, and how many there are.
    at: u64,
    length: u64,
}

enum EntryKind {
    File,
    Link,
    Other,
}

impl TarFile {
    /// Finds the members; where the archive is damaged, those in front, with a remark.
    pub(super) fn open(path: &str, bytes: SharedBytes, most: usize) -> (Self, Option<Diagnostic>) {
        let mut found = Vec::new();
        let mut damaged = None;
        let mut archive = tar::Archive::new(Cursor::new(bytes.clone()));
        match archive.entries_with_seek() {
            Ok(entries) => {
                for entry in entries.take(most.saturating_add(1)) {
                    let entry = match entry {
                        Ok(entry) => entry,
                        Err(error) => {
                            damaged = Some(error);
                            break;
                        }
                    };
                    let kind = entry.header().entry_type();
                    if kind.is_dir() || kind.is_pax_global_extensions() {
                        continue;
                    }
                    found.push(TarEntry {
                        name: spelled(&entry.path_bytes()),
                        kind: if kind.is_file() {
                            EntryKind::File
                        } else if kind.is_symlink() || kind.is_hard_link() {
                            EntryKind::Link
                        } else {
                            EntryKind::Other
                        },
                        at: entry.raw_file_position(),
                        length: entry.size(),
                    });
                }
            }
            Err(error) => damaged = Some(error),
        }
        let damaged = damaged.map(|error| {
            remark(
                "container-damaged",
                path,
                format!("the tar archive cannot be read further ({error}); what stands in front is read"),
            )
            .help("copy the container again from where it came")
        });
        let members = found.into_iter();
        (Self { bytes, members }, damaged)
    }

    pub(super) fn step(&mut self, outer: &str, limits: UnpackLimits, left: u64) -> ContainerStep {
        let Some(entry) = self.members.next() else {
            return ContainerStep::End;
        };
        let shown = format!("{outer}!/{}", entry.name);
        match entry.kind {
            EntryKind::File => {}
            EntryKind::Link => {
                return ContainerStep::Remark(remark(
                    "container-link",
                    &shown,
                    "the member is a link to another file, and no file itself",
                ));
            }
            EntryKind::Other => {
                return ContainerStep::Remark(remark(
                    "container-method",
                    &shown,
                    "the member is no plain file (a device, or stored with holes); it is left out",
                ));
            }
        }
        let Some(inner) = safe(&entry.name) else {
            return ContainerStep::Remark(
                remark(
                    "container-path",
                    &shown,
                    "the member's path leads out of its folder, or has signs that no path may have",
                )
                .help("unpack the container by hand into an empty folder, look at it, and add the folder"),
            );
        };
        let path = format!("{outer}!/{inner}");
        let limit = limits.member.min(left);
        if entry.length > limit {
            return ContainerStep::Remark(*over_limit(&path, limit, left, limits));
        }
        let range = || {
            let from = usize::try_from(entry.at).ok()?;
            let length = usize::try_from(entry.length).ok()?;
            self.bytes.as_ref().get(from..from.checked_add(length)?)
        };
        match range() {
            Some(bytes) => ContainerStep::Member(path, bytes.to_vec()),
            None => ContainerStep::Remark(remark(
                "container-damaged",
                &path,
                "the archive ends in the middle of the member; it is left out",
            )),
        }
    }
}
