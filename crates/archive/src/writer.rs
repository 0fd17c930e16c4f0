//! The writer's side: prepared in parallel, appended in order, committed at once.

use std::path::{Path, PathBuf};

use curvary_record::{Diagnostic, Digest, Outcome, Run, Verdict};

use crate::lock::{Holder, Lock};
use crate::{Error, Note};

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
    pub fn of(metadata: &std::fs::Metadata) -> Self {
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
}

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
    /// What the operating system says of the file, unless it lies in a container.
    pub stat: Option<Stat>,
    /// How the reading went.
    pub verdict: Verdict,
    /// The reader, unless none knew it.
    pub reader: Option<String>,
    /// Remarks on the file as a whole.
    pub remarks: Vec<Diagnostic>,
    /// The runs it gave.
    pub runs: Vec<Run>,
    /// Whether it was read again, and this reading takes the place of the one before. Without it, bytes that the archive
    /// has already only gain a path.
    pub again: bool,
}

/// What the archive knows of a path.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Known {
    /// The file is as it was; there is nothing to do.
    Unchanged(Digest),
    /// The path is known, but the file may have changed: read its bytes.
    Perhaps(Digest),
    /// The path was never met.
    New,
}

/// Makes sources ready on the caller's threads. Pure: the same sources give the same bytes, and nothing is written.
#[derive(Clone)]
pub struct Preparer {}

/// Sources that are ready to be appended.
pub struct Prepared {}

/// What an append did.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Appended {
    /// Sources whose bytes are new.
    pub new: u64,
    /// Sources whose bytes the archive had already.
    pub had: u64,
    /// Files that have changed since they were met under the same path.
    pub changed: u64,
    /// Runs that were added or read again.
    pub runs: u64,
}

/// The archive, open for writing, with its lock held. Dropping it without a [`commit`](Self::commit) leaves the archive
/// as it was last committed.
pub struct Writer {
    root: PathBuf,
    lock: Lock,
}

impl Preparer {
    /// About how many bytes of sources to prepare at once: enough for neighbours to compress each other's records,
    /// few enough that one record is read without many neighbours.
    pub const BATCH_BYTES: usize = 256 << 10;

    /// Makes sources ready. They stay together: in one zstd frame, in this order.
    ///
    /// # Errors
    /// [`Error::TooLarge`].
    pub fn prepare(&self, additions: Vec<Addition>) -> Result<Prepared, Error> {
        let _ = additions;
        Ok(Prepared {})
    }
}

impl Writer {
    pub(crate) fn open(root: &Path, command: &str) -> Result<Self, Error> {
        Ok(Self {
            root: root.to_owned(),
            lock: Lock::take(root, command)?,
        })
    }

    /// The writer that died and whose lock was taken over, so that people can be told.
    #[must_use]
    pub fn taken_over(&self) -> Option<&Holder> {
        self.lock.taken_over.as_ref()
    }

    /// What is known of a path whose file looks like this. Cheap, and safe to call from many threads.
    #[must_use]
    pub fn known(&self, path: &str, stat: &Stat) -> Known {
        let _ = (path, stat);
        Known::New
    }

    /// Whether the archive has these bytes, so that they need not be read again.
    #[must_use]
    pub fn has(&self, digest: &Digest) -> bool {
        let _ = digest;
        false
    }

    /// What makes sources ready, for any number of threads.
    #[must_use]
    pub fn preparer(&self) -> Preparer {
        Preparer {}
    }

    /// Appends what was prepared. Nothing counts before [`commit`](Self::commit).
    ///
    /// # Errors
    /// When the disk refuses; the archive stays as it was last committed.
    pub fn append(&mut self, prepared: Prepared) -> Result<Appended, Error> {
        let _ = prepared;
        Err(self.unfinished())
    }

    /// Tells that bytes which the archive [`has`](Self::has) were met under a path. Without news nothing is written.
    ///
    /// # Errors
    /// As [`append`](Self::append); [`Error::NoOriginal`] when it has not.
    pub fn met(&mut self, path: &str, digest: &Digest, stat: Option<Stat>) -> Result<Appended, Error> {
        let _ = (path, digest, stat);
        Err(self.unfinished())
    }

    /// Keeps what a computation found. The same outcome twice is kept once.
    ///
    /// # Errors
    /// As [`append`](Self::append).
    pub fn put_outcome(&mut self, outcome: Outcome) -> Result<(), Error> {
        let _ = outcome;
        Err(self.unfinished())
    }

    /// Adds a note.
    ///
    /// # Errors
    /// When the run is not known, or as [`append`](Self::append).
    pub fn note(&mut self, note: Note) -> Result<(), Error> {
        let _ = note;
        Err(self.unfinished())
    }

    /// Bytes of sources appended since the last commit, for deciding when to commit.
    #[must_use]
    pub fn pending(&self) -> u64 {
        0
    }

    /// Makes everything appended so far count: writes and syncs the new tails, then swaps the manifest.
    ///
    /// # Errors
    /// When the disk refuses; the archive stays as it was last committed.
    pub fn commit(&mut self) -> Result<(), Error> {
        Err(self.unfinished())
    }

    /// Commits, tidies the index and gives the lock back.
    ///
    /// # Errors
    /// As [`commit`](Self::commit).
    pub fn finish(mut self) -> Result<(), Error> {
        self.commit()
    }

    fn unfinished(&self) -> Error {
        Error::Index {
            path: self.root.clone(),
            message: "not written yet".into(),
        }
    }
}
