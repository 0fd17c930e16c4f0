//! Sources into an archive: walking, choosing a reader, reading in parallel, handing over in order, filing.
//!
//! [`Desk`] reads one source, whatever its bytes are. [`walk()`] finds files, [`Piece`] is one of them or one member of a
//! container, [`flow()`] works on many in bounded memory and gives what came of them in the order they came in;
//! [`each_piece`] is the three together. [`Filing`] keeps what is read in an archive, and `add`, answers and reading
//! again all go through it. How much is opened, held and committed at a time is data: [`Limits`].
//!
//! Nothing here prints, and nothing here asks: what became of each file is a [`Fate`], handed over in order.

mod again;
mod before;
mod desk;
mod fate;
mod filing;
mod flow;
mod limits;
mod names;
mod newer;
mod piece;
mod proposal;
mod shelf;
mod trouble;
mod vocabulary;
mod walk;

pub use again::{Again, Keeping, LOST};
pub use desk::{Desk, Finished, Orders};
pub use fate::Fate;
pub use filing::{Filing, Handed};
pub use flow::{Feed, flow, threads};
pub use limits::Limits;
pub use piece::{Content, Piece, each_piece};
pub use proposal::{NamedFile, Proposal, name_rules};
pub use shelf::{LayoutText, Misfit, Shelf, content, content_beside, hold, understood};
pub use trouble::{Trouble, unusable};
pub use vocabulary::{NOTHING, parts};
pub use walk::{Found, LeaveOut, Met, Root, count, is_archive, is_beside_originals, slashed, spelled, walk};
