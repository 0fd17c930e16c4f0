//! What a layout tells the text-table reader beyond answers to its questions.

use curvary_record::{Coordinate, Quantity, Unit};

/// What is told of tables and their columns; nothing, unless a layout reads.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Hints {
    /// Tables are looked for from this byte of the text on; above it are words.
    pub(crate) from: usize,
    /// No table goes on from this byte on; below it are words.
    pub(crate) to: Option<usize>,
    /// Numbers that stand for a missing value.
    pub(crate) missing: Vec<f64>,
    /// Columns of every table.
    pub(crate) columns: Vec<ColumnHint>,
}

/// Which column is meant.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum ColumnSelector {
    /// The one under this head.
    Head(String),
    /// The one at this place, from 0.
    Index(usize),
}

impl ColumnSelector {
    fn words(&self) -> String {
        match self {
            Self::Head(head) => format!("with the header `{head}`"),
            Self::Index(index) => format!("at place {}", index + 1),
        }
    }

    /// Whether it is the column at a place, from 0, under these heads.
    pub(crate) fn is<'a>(&self, index: usize, mut heads: impl Iterator<Item = &'a str>) -> bool {
        match self {
            Self::Head(head) => heads.any(|text| text.trim() == head.trim()),
            Self::Index(place) => *place == index,
        }
    }
}

/// Why a column that a layout names cannot be meant.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("the layout names a column {}, and there {}", .selector.words(), if *.several { "are several" } else { "is none" })]
pub(crate) struct HintFault {
    pub(crate) selector: ColumnSelector,
    /// Whether it fits several columns, and not none.
    pub(crate) several: bool,
}

/// What a column is of.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct ColumnHint {
    /// Which one.
    pub(crate) which: ColumnSelector,
    /// Nothing, where the column is to be left out.
    pub(crate) meaning: Option<HintMeaning>,
}

/// A column's quantity and unit, its sample, and the coordinates that are held along it.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct HintMeaning {
    pub(crate) quantity: Quantity,
    pub(crate) unit: Unit,
    pub(crate) sample: Option<String>,
    pub(crate) held: Vec<Coordinate>,
}
