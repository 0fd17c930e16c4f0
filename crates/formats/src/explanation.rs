//! How the parts of a file were understood, line by line, as the reader that reads it tells it.

use curvary_record::{Quantity, Unit};
use serde::Serialize;

use crate::evidence::{Evidence, SignPlace, TableRole};

/// Lines of a file that were understood in one way.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ExplainedLines {
    /// The first of the lines, from 1.
    pub first: u32,
    /// The last of them; the same as `first` for a single line.
    pub last: u32,
    /// What they were taken for.
    pub taken_for: TakenFor,
    /// What was understood, for people: a phrase without a full stop.
    pub says: String,
    /// Of the rows of a table, its columns; those that follow one another and are alike are told once.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub columns: Vec<ColumnPart>,
    /// What speaks for and against the table being a measurement.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub evidence: Vec<Evidence>,
}

impl ExplainedLines {
    /// Lines without columns.
    #[must_use]
    pub fn new(first: u32, last: u32, taken_for: TakenFor, says: impl Into<String>) -> Self {
        Self {
            first,
            last,
            taken_for,
            says: says.into(),
            columns: Vec::new(),
            evidence: Vec::new(),
        }
    }
}

/// What lines can be taken for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum TakenFor {
    /// The title of the whole.
    Title,
    /// A key with its value, or a value that needs no key.
    Key,
    /// Words, kept as a comment.
    Words,
    /// The heads of columns.
    Heads,
    /// The units of columns, in a row of their own.
    Units,
    /// Rows of a table.
    Rows,
    /// Page numbers, rules, repeated titles and heads: what belongs to the paper and not to the data.
    Paper,
    /// What tells how the file is built: labels of a table, ends of blocks.
    Structure,
    /// Nothing was taken from them.
    LeftOut,
}

impl TakenFor {
    /// The word for it.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Title => "title",
            Self::Key => "key",
            Self::Words => "words",
            Self::Heads => "headers",
            Self::Units => "units",
            Self::Rows => "rows",
            Self::Paper => "page furniture",
            Self::Structure => "structure",
            Self::LeftOut => "left out",
        }
    }
}

/// Columns of a table that follow one another and were understood alike.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ColumnPart {
    /// The first of them, from 1.
    pub first: usize,
    /// The last of them.
    pub last: usize,
    /// The head of the first, as it was spelled; empty without one.
    pub head: String,
    /// The head of the last.
    pub last_head: String,
    /// What they are for.
    pub role: ColumnRole,
    /// What they are of; nothing where that is open or plays no part.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub quantity: Option<Quantity>,
    /// In which unit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit: Option<Unit>,
    /// Why this quantity: a phrase without a full stop; empty where there is none.
    pub quantity_because: String,
    /// Why this unit.
    pub unit_because: String,
    /// What speaks for and against what the first of them may be.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub evidence: Vec<Evidence>,
}

/// What a column is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum ColumnRole {
    /// The curves run over it.
    Axis,
    /// A curve, or a part of the curves.
    Measured,
    /// Its value is held along a curve.
    Held,
    /// It names the rows, or the curves.
    Names,
    /// It counts the rows.
    Counter,
    /// It marks single rows.
    Flags,
    /// Nothing stands in it, or nothing was taken from it.
    LeftOut,
}

impl ColumnRole {
    /// The phrase for it.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Axis => "x axis",
            Self::Measured => "measured",
            Self::Held => "held",
            Self::Names => "names",
            Self::Counter => "counts the rows",
            Self::Flags => "marks single rows",
            Self::LeftOut => "left out",
        }
    }
}

/// Puts parts in the order of their lines, and neighbours together that say the same. A table's rows stay apart: how
/// many there are is told of each stretch.
#[must_use]
pub fn folded(mut parts: Vec<ExplainedLines>) -> Vec<ExplainedLines> {
    parts.sort_by_key(|part| part.first);
    let mut folded: Vec<ExplainedLines> = Vec::with_capacity(parts.len());
    for part in parts {
        match folded.last_mut() {
            Some(last)
                if last.taken_for == part.taken_for
                    && last.says == part.says
                    && part.taken_for != TakenFor::Rows =>
            {
                last.last = last.last.max(part.last);
            }
            _ => folded.push(part),
        }
    }
    folded
}

/// The same of columns.
#[must_use]
pub fn folded_columns(columns: Vec<ColumnPart>) -> Vec<ColumnPart> {
    // Numbers differ from column to column; words and units tell them apart.
    fn signs(part: &ColumnPart) -> impl Iterator<Item = (&'static str, &TableRole, bool)> {
        let told = part
            .evidence
            .iter()
            .filter(|one| matches!(one.kind, SignPlace::Textual | SignPlace::Unit));
        told.map(|one| (one.rule, &one.speaks_for, one.against))
    }
    let mut folded: Vec<ColumnPart> = Vec::with_capacity(columns.len().min(64));
    for column in columns {
        match folded.last_mut() {
            Some(last)
                if last.last + 1 == column.first
                    && last.role == column.role
                    && last.quantity == column.quantity
                    && last.unit == column.unit
                    && last.quantity_because == column.quantity_because
                    && last.unit_because == column.unit_because
                    && signs(last).eq(signs(&column)) =>
            {
                last.last = column.last;
                last.last_head = column.last_head;
            }
            _ => folded.push(column),
        }
    }
    folded
}
