//! The text-table reader: exports that nobody described, understood from what stands in them.
//!
//! The work goes in one direction. `scan` cuts the text into words and tables; for each table `dialect` decides
//! separator and decimal sign over many rows at once, and `grid` reads the rows, plain ones quickly. `join` puts
//! together what paper has cut. `columns` and `context` gather what heads, numbers and words tell; `shape` turns
//! a table into curves or into a question. No step guesses: where two readings are plausible, the run carries a
//! [`Question`](curvary_record::Question) with both.

mod axis_lines;
mod binary;
mod blanking;
mod columns;
mod context;
mod curve_numbers;
mod damaged;
mod dialect;
mod document;
mod explain;
mod foot;
mod grid;
mod heads;
mod heard_lines;
mod items;
mod join;
mod labelled;
mod legend;
mod lists;
mod marks;
mod measured_at;
mod number;
mod pages;
mod preamble_fields;
mod questions;
mod records;
mod remarks;
mod scan;
mod segments;
mod series;
pub(crate) mod shape;
mod source_tables;
mod surroundings;
mod titles;
mod transposed;
mod wells;

use curvary_record::{Code, Diagnostic};

use self::binary::not_text;
pub(crate) use self::columns::unit_fits;
use self::explain::ReadTrace;
use self::source_tables::read_lines;
use crate::assume::{AnswerForm, QuestionKind};
use crate::sink::{Sink, SourceLimits, SpanUnit};
use crate::{ExplainedLines, Reader, ReaderInfo, Reading, Recognition, Source, SourcePreview};

/// The reader of text tables.
pub struct TextTable {
    card: ReaderInfo,
}

impl Default for TextTable {
    fn default() -> Self {
        Self {
            card: ReaderInfo {
                id: "built-in/text-table".to_owned(),
                version: "1".to_owned(),
                title: "tables of numbers in text of any shape".to_owned(),
            },
        }
    }
}

impl Reader for TextTable {
    fn card(&self) -> &ReaderInfo {
        &self.card
    }

    fn recognise(&self, glimpse: &SourcePreview<'_>) -> Recognition {
        let head = glimpse.head();
        if head.is_empty() && glimpse.bytes > 0 {
            return Recognition::No(NO_TEXT.to_owned());
        }
        match not_text(head) {
            Some(reason) => Recognition::No(reason),
            None if head.bytes().any(|b| b.is_ascii_digit()) || glimpse.bytes > head.len() => {
                Recognition::Perhaps("text with numbers in it".to_owned())
            }
            None => Recognition::No("no numbers in the text".to_owned()),
        }
    }

    fn read(&self, source: &Source) -> Reading {
        read(source, &self.card)
    }

    fn explain(&self, source: &Source) -> Vec<ExplainedLines> {
        explain(source, &self.card)
    }
}

/// What is asked about tables of text.
pub(crate) fn asked() -> impl Iterator<Item = QuestionKind> {
    let axis = |about| QuestionKind {
        about,
        answers: AnswerForm::Axis,
    };
    [
        axis("x"),
        axis("y"),
        QuestionKind {
            about: "columns",
            answers: AnswerForm::Pieces,
        },
        QuestionKind::one_of("date", ["day-first", "month-first", "year-first"]),
        QuestionKind::one_of("decimal", ["comma", "point"]),
        QuestionKind::one_of("foot", ["row", "key"]),
        QuestionKind::one_of("heads", ["swapped", "as-written"]),
        QuestionKind::one_of("measurement", ["yes", "no"]),
        QuestionKind::one_of("parentheses", ["negative", "absent"]),
        QuestionKind::one_of("ranges", ["start", "middle"]),
        QuestionKind::one_of("rows", ["belong", "apart"]),
        QuestionKind::one_of("shape", ["columns", "packed"]),
        QuestionKind::one_of(
            "times",
            [
                "from-zero",
                "after-interval",
                "next-day",
                "as-written",
                "sixtieths",
                "decimal",
            ],
        ),
        QuestionKind::one_of("wavelength", ["header", "words", "first", "last"]),
    ]
    .into_iter()
}

/// How each part of a source is understood, told by the ordinary reading on its way.
pub(crate) fn explain(source: &Source, card: &ReaderInfo) -> Vec<ExplainedLines> {
    let mut told = ReadTrace::default();
    read_telling(source, card, Some(&mut told));
    explain::parts(source, told)
}

/// Why bytes are not read.
const NO_TEXT: &str = "the bytes are no text";

/// Reads a source under a reader's card.
pub(crate) fn read(source: &Source, card: &ReaderInfo) -> Reading {
    read_telling(source, card, None)
}

/// Reads a source, and where `told` is given, notes how on the way. What only stands in the way of its tables is blanked
/// first.
fn read_telling(source: &Source, card: &ReaderInfo, told: Option<&mut ReadTrace>) -> Reading {
    // Bytes that are plainly no text are not decoded.
    if !source.may_be_text() {
        return Reading::refused(Diagnostic::error(Code::new("not-a-text-table"), NO_TEXT));
    }
    let found = match blanking::cleared(source) {
        None => read_lines(source, told),
        Some(cleared) => {
            let mut found = read_lines(&source.with_blanks(cleared.text), told);
            if !found.runs.is_empty() {
                found.remarks.extend(cleared.remarks);
            }
            for question in cleared.questions {
                if source.assume().settle(&question) {
                    continue;
                }
                for run in &mut found.runs {
                    run.questions.push(question.clone());
                }
            }
            found
        }
    };
    // All tables are decided about together; what became of them goes where every reader puts what it finds.
    let mut sink = Sink::new(source, card, SpanUnit::Text, SourceLimits::WHOLE);
    let mut runs = found.runs.into_iter();
    let mut remarks = found.remarks.into_iter();
    let told = runs
        .try_for_each(|run| sink.understood(run))
        .and_then(|()| remarks.try_for_each(|remark| sink.add_remark(remark)));
    sink.finished(told)
}

#[cfg(test)]
mod tests;
