//! A run as it is seen: what was stored, with everything that was said about it since.

use curvary_record::{Outcome, Run};

use crate::Note;

/// A run with the words of the house, the rules for names over all its paths, and the notes laid over it.
#[derive(Clone, Debug, PartialEq)]
pub struct View {
    /// The run; its fields hold the claims of every origin, strongest first.
    pub run: Run,
    /// Every path under which its source was met, first met first.
    pub paths: Vec<String>,
    /// Whether a newer version has taken the source's place under all of its paths.
    pub superseded: bool,
    /// The notes about it, oldest first.
    pub notes: Vec<Note>,
    /// What computations found about it, oldest first.
    pub outcomes: Vec<Outcome>,
}
