//! Single sources: a file, or a member of a container.

use std::fs::{File, Metadata, OpenOptions};
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

use curvary_formats::{Intake, container, take_in};
use curvary_record::{Code, Diagnostic, Severity};
use rayon::prelude::*;

use crate::flow::{Feed, flow, threads};
use crate::limits::IngestLimits;
use crate::trouble::unusable;
use crate::walk::{LeaveOut, Root, WalkEntry, walk};

/// One source on its way to a desk.
pub struct Piece {
    /// The path under which it goes into reports.
    pub path: String,
    /// Its bytes, or where they are, or why there are none.
    pub content: SourceBytes,
    /// Its length in bytes.
    pub weight: u64,
}

/// The bytes of a source.
pub enum SourceBytes {
    /// In a file that is still to be read.
    InFile(PathBuf),
    /// Out of a container, or of a small file that is read already.
    Here(Vec<u8>),
    /// They cannot be had: where something is all the same, and why.
    Nowhere(Option<PathBuf>, Diagnostic),
}

impl SourceBytes {
    /// The file that they are in, or should be.
    pub(crate) fn place(&self) -> Option<&Path> {
        match self {
            Self::InFile(place) | Self::Nowhere(Some(place), _) => Some(place),
            Self::Here(_) | Self::Nowhere(None, _) => None,
        }
    }

    /// The bytes and their digest; no more than the limits let, however the file grows meanwhile.
    ///
    /// # Errors
    /// Why they cannot be had.
    pub fn bytes(self, path: &str, limits: &IngestLimits) -> Result<Intake, Box<Diagnostic>> {
        match self {
            Self::InFile(place) => {
                bytes(&place, limits).map_err(|error| Box::new(unusable("read", path, &error)))
            }
            Self::Here(bytes) => Ok(bytes.into()),
            Self::Nowhere(_, why) => Err(Box::new(why)),
        }
    }
}

/// Opens a file that was met as one, and looks at what was opened: since it was met, something else may have come into
/// its place, and reading a pipe or a device could wait for ever.
pub(crate) fn opened(place: &Path) -> io::Result<(File, Metadata)> {
    let mut options = OpenOptions::new();
    options.read(true);
    #[cfg(unix)]
    {
        use std::os::unix::fs::OpenOptionsExt;
        // Opening a pipe would wait for somebody who writes. For files it changes nothing.
        options.custom_flags(libc::O_NONBLOCK | libc::O_NOCTTY);
    }
    let file = options.open(place)?;
    let metadata = file.metadata()?;
    if metadata.is_file() {
        Ok((file, metadata))
    } else {
        Err(io::Error::other("a pipe, a device or a folder is in its place"))
    }
}

fn bytes(place: &Path, limits: &IngestLimits) -> io::Result<Intake> {
    let (file, metadata) = opened(place)?;
    let size = usize::try_from(metadata.len().min(limits.file)).unwrap_or(0);
    take_in(file.take(limits.file), size)
}

/// Files of so many bytes at most are read whole when one looks whether they are containers.
const SMALL: u64 = 8 << 10;

/// What a first look at a file gave.
#[derive(Default)]
pub(crate) struct FirstLook {
    /// Whether it may be a container, by its first bytes; the whole decides later.
    pub(crate) container: bool,
    /// All its bytes, where they are few: opening a small file again takes longer than keeping it.
    whole: Option<Vec<u8>>,
}

/// Looks at what was met. Take the file's `stat` before.
pub(crate) fn first_look(met: &WalkEntry, limits: &IngestLimits) -> FirstLook {
    let WalkEntry::File(found) = met else {
        return FirstLook::default();
    };
    let limit = SMALL.min(limits.file);
    let look = |place: &Path| -> io::Result<FirstLook> {
        let (file, metadata) = opened(place)?;
        let size = metadata.len();
        let wanted = if size > limit {
            container::TELLING as u64
        } else {
            limit + 1
        };
        // Room for a byte more than there is, so that the end is met without asking for more.
        let room = usize::try_from(wanted.min(size + 1)).unwrap_or(0);
        let mut start = Vec::with_capacity(room);
        file.take(wanted).read_to_end(&mut start)?;
        Ok(FirstLook {
            container: container::may_be_container(start.get(..container::TELLING).unwrap_or(&start)),
            // One that has grown meanwhile is read when its turn comes.
            whole: Some(start).filter(|start| size <= limit && start.len() as u64 <= limit),
        })
    };
    look(&found.place).unwrap_or_default()
}

/// Hands on a file that was met as one piece, or as a piece a member when it is a container, with the container itself
/// behind them when not all of it can be unpacked, or `always`; `false` when no more is wanted. `path` is the file's path in reports.
pub(crate) fn pieces(
    met: WalkEntry,
    path: String,
    look: FirstLook,
    always: bool,
    limits: &IngestLimits,
    each: &mut dyn FnMut(Piece) -> bool,
) -> bool {
    let nowhere = |path: String, place: Option<PathBuf>, why: Diagnostic| Piece {
        path,
        content: SourceBytes::Nowhere(place, why),
        weight: 0,
    };
    let found = match met {
        WalkEntry::Trouble { why, place, .. } => {
            // What is no file holds nothing that could be kept.
            let place = Some(place).filter(|_| why.severity >= Severity::Error);
            return each(nowhere(path, place, why));
        }
        WalkEntry::File(found) => found,
    };
    if let (false, Some(whole)) = (look.container, look.whole) {
        let weight = whole.len() as u64;
        return each(Piece {
            path,
            content: SourceBytes::Here(whole),
            weight,
        });
    }
    if found.stat.bytes > limits.file {
        let message = format!(
            "the file has {} bytes; at most {} are read",
            found.stat.bytes, limits.file
        );
        let why = Diagnostic::error(Code::new("file-too-large"), message).help("split the file");
        return each(nowhere(path, Some(found.place), why));
    }
    if !look.container {
        return each(Piece {
            path,
            content: SourceBytes::InFile(found.place),
            weight: found.stat.bytes,
        });
    }
    let whole = match bytes(&found.place, limits) {
        Ok(whole) => whole.bytes,
        Err(error) => {
            let why = unusable("read", &path, &error);
            return each(nowhere(path, Some(found.place), why));
        }
    };
    if !container::is_container(&whole) {
        let weight = whole.len() as u64;
        return each(Piece {
            path,
            content: SourceBytes::Here(whole),
            weight,
        });
    }
    // Of a bundle of ours only the originals are read: the tables in it were written from them.
    let originals = container::bundle(&whole).map(|folder| format!("!/{folder}data/originals/"));
    let mut any = originals.is_none();
    let mut is_whole = true;
    let mut members = container::members(path.clone(), whole, limits.container).peekable();
    is_whole &= members.peek().is_some();
    for member in members {
        match member {
            Ok(member) if is_hidden(&member.path) => {}
            Ok(member)
                if originals
                    .as_ref()
                    .is_some_and(|front| !member.path.contains(front)) => {}
            Ok(member) => {
                any = true;
                let weight = member.bytes.len() as u64;
                let piece = Piece {
                    path: member.path,
                    content: SourceBytes::Here(member.bytes),
                    weight,
                };
                if !each(piece) {
                    return false;
                }
            }
            // Told with the container itself, which then is a source of its own.
            Err(_) => is_whole = false,
        }
    }
    if !any {
        let message = "the bundle was packed without the originals, and only those can be kept in an archive";
        let why = Diagnostic::error(Code::new("bundle-without-originals"), message).help(
            "ask for one that was packed with `--originals`; its tables and report can be used as they are",
        );
        return each(nowhere(path, None, why));
    }
    // What cannot be unpacked today, or not without its password, is not thrown away.
    (is_whole && !always)
        || each(Piece {
            path,
            content: SourceBytes::InFile(found.place),
            weight: found.stat.bytes,
        })
}

/// Whether a member of a container is hidden, by the same rule as files in folders.
fn is_hidden(path: &str) -> bool {
    let inner = path.rsplit("!/").next().unwrap_or(path);
    inner
        .split('/')
        .any(|part| part.starts_with('.') || part == "__MACOSX")
}

/// Walks the given paths, works on every source on all cores, and takes what came of them in the order of the files.
///
/// `admit` is asked with the path of every file, in order, before it is opened: what it gives goes in the place of the
/// file's result, and the file is left alone.
///
/// # Errors
/// The first that `take` gives.
pub fn each_piece<T: Send, E>(
    roots: &[Root],
    leave_out: &LeaveOut<'_>,
    limits: &IngestLimits,
    stop: &AtomicBool,
    mut admit: impl FnMut(&str) -> Option<T> + Send,
    work: impl Fn(Piece) -> T + Sync,
    take: impl FnMut(T) -> Result<(), E>,
) -> Result<(), E> {
    flow(
        threads(),
        limits,
        stop,
        |feed: &mut Feed<'_, Piece, T>| {
            walk(roots, leave_out, &mut |met| {
                let looked: Vec<FirstLook> = met
                    .par_iter()
                    .with_min_len(64)
                    .map(|(_, met)| first_look(met, limits))
                    .collect();
                met.into_iter().zip(looked).all(|((_, met), look)| {
                    let path = met.below().to_owned();
                    if let Some(instead) = admit(&path) {
                        return feed.put_done(instead);
                    }
                    pieces(met, path, look, false, limits, &mut |piece| {
                        let weight = piece.weight;
                        feed.put(piece, weight)
                    })
                })
            });
        },
        work,
        take,
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A pipe that nobody writes to, put where a file was met.
    #[cfg(unix)]
    #[test]
    fn what_was_opened_is_looked_at() {
        let pipe = std::env::temp_dir().join(format!("curvary-pipe-{}", std::process::id()));
        let _ = std::fs::remove_file(&pipe);
        let made = std::process::Command::new("mkfifo").arg(&pipe).status();
        assert!(made.expect("mkfifo runs").success());
        let refused = bytes(&pipe, &IngestLimits::USUAL).expect_err("it is no file");
        assert!(refused.to_string().contains("pipe"), "{refused}");
        let met = WalkEntry::File(crate::walk::FoundFile {
            place: pipe.clone(),
            below: "a.csv".into(),
            stat: curvary_archive::Stat::default(),
        });
        let look = first_look(&met, &IngestLimits::USUAL);
        assert!(!look.container && look.whole.is_none());
        assert!(opened(Path::new("/dev/null")).is_err());
        let _ = std::fs::remove_file(&pipe);
    }

    #[test]
    fn small_files_are_read_at_the_first_look() {
        let place = std::env::temp_dir().join(format!("curvary-look-{}", std::process::id()));
        let limits = IngestLimits::USUAL;
        let look = |bytes: &[u8]| {
            std::fs::write(&place, bytes).expect("a file");
            first_look(
                &WalkEntry::File(crate::walk::FoundFile {
                    place: place.clone(),
                    below: "a.csv".into(),
                    stat: curvary_archive::Stat::default(),
                }),
                &limits,
            )
        };
        let text = vec![b'1'; SMALL as usize + 1];
        for length in [0, 1, 500, text.len() - 1] {
            let looked = look(&text[..length]);
            assert_eq!(looked.whole.as_deref(), Some(&text[..length]));
            assert!(!looked.container);
        }
        assert!(look(&text).whole.is_none(), "it is read when its turn comes");
        assert!(look(b"PK\x03\x04").container);
        let _ = std::fs::remove_file(&place);
    }

    #[test]
    fn hidden_members_are_told_by_their_own_path() {
        assert!(is_hidden("/home/.x/a.zip!/__MACOSX/b.txt"));
        assert!(is_hidden("a.zip!/d/.b.txt"));
        assert!(!is_hidden("/home/.x/a.zip!/d/b.txt"));
    }
}
