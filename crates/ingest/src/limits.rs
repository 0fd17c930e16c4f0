//! How much is opened, held and committed at a time.

use std::time::Duration;

use curvary_formats::container;

/// Limits of one ingest. All of them are told when they are met: nothing is left out in silence.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct IngestLimits {
    /// The longest file that is opened, in bytes: the numbers of a longer one would fill the memory of a small computer.
    pub file: u64,
    /// The longest line of a file that is read, in bytes: a table of one line takes many times its length to be understood,
    /// and no instrument writes one.
    pub line: usize,
    /// Of sources that are longer than this, in bytes, runs are made ready one by one where their reader can hand them out
    /// so: in memory a run of few points is some six times as long as its text.
    pub whole: u64,
    /// The longest layout, or example of one, that is opened, in bytes.
    pub layout: u64,
    /// Bytes of sources under way at any time; a single source that has more goes alone.
    pub under_way: u64,
    /// Sources, or groups of small ones, under way at any time.
    pub things: u64,
    /// Bytes of sources after which what was done is made to count: what is not committed is lost with the power.
    pub commit_bytes: u64,
    /// … and so many files.
    pub commit_files: u64,
    /// … and so many that were read again: what is filed of them waits in memory beside what it takes the place of.
    pub commit_again: u64,
    /// … and so much time: the work that a lost power supply can cost. Where a commit itself takes long, ten times that.
    pub commit_time: Duration,
    /// What is taken out of a container.
    pub container: container::UnpackLimits,
}

impl IngestLimits {
    /// The limits of every command.
    pub const USUAL: Self = Self {
        file: 1 << 30,
        line: 64 << 20,
        whole: 1 << 20,
        layout: 16 << 20,
        under_way: 24 << 20,
        things: 256,
        commit_bytes: 64 << 20,
        commit_files: 20_000,
        commit_again: 4_096,
        commit_time: Duration::from_secs(5),
        container: container::UnpackLimits::USUAL,
    };
}

impl Default for IngestLimits {
    fn default() -> Self {
        Self::USUAL
    }
}
