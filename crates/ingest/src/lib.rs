//! Sources into an archive: walking, choosing a reader, reading in parallel, handing over in order, filing.
//!
//! [`Ingest`] reads one source, whatever its bytes are. [`walk()`] finds files, [`Piece`] is one of them or one member of a
//! container, [`flow()`] works on many in bounded memory and gives what came of them in the order they came in;
//! [`each_piece`] is the three together. [`Filing`] keeps what is read in an archive, and `add`, answers and reading
//! again all go through it. How much is opened, held and committed at a time is data: [`IngestLimits`].
//!
//! Nothing here prints, and nothing here asks: what became of each file is a [`FileReport`], handed over in order.
//!
//! ```
//! use curvary_ingest::{Ingest, IngestOptions};
//! use curvary_record::Verdict;
//!
//! // Without an archive: nothing is kept.
//! let ingest = Ingest::new(IngestOptions::default(), None).expect("no folder is named");
//! let text = b"Wavelength (nm),Absorbance\n400,0.12\n401,0.13\n402,0.15\n".to_vec();
//! let read = ingest.read("beet.csv", text.into());
//! assert_eq!(read.verdict(), Verdict::Read);
//! assert_eq!(read.reading.runs.len(), 1);
//! ```

mod again;
mod before;
mod desk;
mod file_report;
mod filing;
mod flow;
mod layout_set;
mod limits;
mod names;
mod newer;
mod piece;
mod proposal;
mod trouble;
mod vocabulary;
mod walk;

pub use again::{KeepMode, LOST, RereadSource};
pub use desk::{FileReading, Ingest, IngestOptions};
pub use file_report::FileReport;
pub use filing::{Bystanders, FiledFile, Filing, may_rest_on};
pub use flow::{Feed, flow, threads};
pub use layout_set::{LayoutSet, LayoutText, Misfit, content, content_beside, hold, understood};
pub use limits::IngestLimits;
pub use piece::{Piece, SourceBytes, each_piece};
pub use proposal::{NamedFile, Proposal, name_rules};
pub use trouble::{Trouble, unusable};
pub use vocabulary::{NOTHING, parts};
pub use walk::{
    FoundFile, LeaveOut, Root, WalkEntry, count, is_archive, is_beside_originals, slashed, spelled, walk,
};
