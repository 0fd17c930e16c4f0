//! The tables of one source become runs: each is shaped with what is said of it, and all are decided about together.

use curvary_record::{Code, Diagnostic, Place, Severity};

use super::binary::not_text;
use super::document::{Statements, TableStatements, TextDocument, pieces};
use super::explain::{ReadTrace, TableTrace, Use};
use super::join::Section;
use super::marks::{self, BlockMark};
use super::preamble_fields::Preamble;
use super::remarks::{
    columns_change, cut_off, first_row_lost, not_known, noted, numbers_aside, odd_rows, of_other_table,
    summed_up, under_a_factor,
};
use super::scan::TextLine;
use super::segments::RowClass;
use super::shape::{RunDraft, TableReading, shape};
use super::titles::is_derived;
use super::{questions, series};
use crate::Source;
use crate::sink::CompletedRun;

/// What the tables of a source are, before it is handed over.
pub(super) struct SourceTables {
    pub(super) runs: Vec<CompletedRun>,
    pub(super) remarks: Vec<Diagnostic>,
}

impl SourceTables {
    fn refused(reason: Diagnostic) -> Self {
        Self {
            runs: Vec::new(),
            remarks: vec![reason],
        }
    }
}

/// Reads the tables of a source, and where `told` is given, notes how on the way.
pub(super) fn read_lines(source: &Source, mut told: Option<&mut ReadTrace>) -> SourceTables {
    let text = source.text();
    if let Some(reason) = not_text(source.glimpse().head()) {
        return SourceTables::refused(Diagnostic::error(Code::new("not-a-text-table"), reason));
    }
    if let Some(why) = under_a_factor(text) {
        return SourceTables::refused(why);
    }
    let (pieces, unsought) = pieces(source, told.is_some());
    if let Some(told) = told.as_deref_mut() {
        told.pieces.clone_from(&pieces);
    }
    let Some(mut document) = TextDocument::of(source, pieces, told.as_deref_mut()) else {
        let none = Diagnostic::error(Code::new("no-table"), "no table of numbers was found")
            .help("if there is one, a layout can say where it stands and what its columns are");
        return SourceTables {
            runs: Vec::new(),
            remarks: std::iter::once(none).chain(unsought).collect(),
        };
    };
    let mut statements = Statements::hear(source, &mut document);
    if let Some(told) = told.as_deref_mut() {
        let Statements { first, trailer, .. } = &statements;
        told.fields.extend([first.fields.clone(), trailer.fields.clone()]);
        let conditions = document.conditions.iter();
        told.tables
            .extend(conditions.map(|row| TableTrace::of(&row.section.table, Use::Conditions, source)));
    }
    let mut reading = ReadTables::new(source, &document, unsought);
    for (index, section) in document.sections.iter().enumerate() {
        let before = index.checked_sub(1).map(|before| &document.sections[before]);
        reading
            .remarks
            .extend(before.and_then(|before| columns_change(before, section)));
        let (said, remarks) = statements.of_table(source, &document, index);
        reading.remarks.extend(remarks);
        let context = document.context_of(source, index, &said);
        let mut columns = (Vec::new(), Vec::new());
        let columns_told = told.is_some().then_some(&mut columns);
        let shaped = shape(source, &section.table, &context, columns_told);
        if let Some(told) = told.as_deref_mut() {
            told.fields.extend(said.own.iter().map(|own| own.fields.clone()));
            told.tables
                .push(TableTrace::of(&section.table, Use::of(&shaped), source).with(columns));
        }
        reading.take(index, shaped, said);
    }
    reading.finish(&statements)
}

/// The tables of a document as they are read one after another.
struct ReadTables<'a> {
    source: &'a Source,
    document: &'a TextDocument,
    runs: Vec<CompletedRun>,
    remarks: Vec<Diagnostic>,
    /// Why tables are no measurements.
    others: Vec<Diagnostic>,
    /// A few rows of which nothing tells what they are, and what is told of them beside a measurement.
    unknown: Vec<(CompletedRun, Diagnostic)>,
    /// What keys say in front of tables that are no measurements, behind the last one that is.
    of_no_table: Vec<Preamble>,
    /// Keys of tables that were left out.
    keys_left: Vec<TextLine>,
}

impl<'a> ReadTables<'a> {
    fn new(source: &'a Source, document: &'a TextDocument, remarks: Vec<Diagnostic>) -> Self {
        Self {
            source,
            document,
            runs: Vec::new(),
            remarks,
            others: Vec::new(),
            unknown: Vec::new(),
            of_no_table: Vec::new(),
            keys_left: Vec::new(),
        }
    }

    /// Takes what a table was shaped to.
    fn take(&mut self, index: usize, shaped: TableReading, said: TableStatements) {
        let read_before = self.runs.len();
        match shaped {
            TableReading::Other(reason) => {
                let first_line = self.document.sections[index].table.first_line;
                self.others.push(
                    Diagnostic::error(
                        Code::new("not-a-measurement"),
                        format!("a table is no measurement of absorbance: {reason}"),
                    )
                    .at(Place::line(first_line as usize), "it begins here"),
                );
            }
            TableReading::Runs(drafts) => self.take_runs(index, drafts, said.all),
        }
        self.take_keys_before(index, self.runs.len() > read_before);
    }

    /// Takes the runs of one table.
    fn take_runs(&mut self, index: usize, drafts: Vec<RunDraft>, mut said: Preamble) {
        let section = &self.document.sections[index];
        // What was said side by side and belongs to no table of its own is said of the run.
        if drafts.len() != said.beside.len() {
            for fields in std::mem::take(&mut said.beside) {
                said.claim_all(&fields);
            }
        }
        for mut draft in drafts {
            if let Some(mark) = self.document.marks.get(index) {
                hold(mark, &mut draft);
            }
            if draft.traces.is_empty() && draft.questions.is_empty() {
                continue;
            }
            let known = draft.known;
            let run = run(self.source, section, draft, &said);
            if known || section.table.grid.rows >= SUBSTANTIAL {
                let before = self.runs.last_mut().filter(|_| section.on_next_page);
                let left = match before {
                    Some(before) => series::next_page(before, run),
                    None => Some(run),
                };
                self.runs.extend(left);
            } else {
                self.unknown.push((run, not_known(&section.table)));
            }
        }
    }

    /// Puts aside the keys between a table and the one before it, until it is known whose they are.
    fn take_keys_before(&mut self, index: usize, measured: bool) {
        let text = self.source.text();
        let keys = self.document.keys_before(text, index);
        if measured {
            self.of_no_table.clear();
        } else if !keys.is_empty()
            && !self.runs.is_empty()
            && is_derived(text, &self.document.sections[index])
        {
            self.of_no_table.push(Preamble::hear(self.source, keys));
        } else {
            self.keys_left.extend(keys);
        }
    }

    /// Keys below a measurement that stand in front of what was worked out from it, a list of peaks, are as good as those behind.
    fn give_keys_to_last_run(&mut self) {
        let Some(run) = self.runs.last_mut() else { return };
        for keys in &self.of_no_table {
            let mut own = Preamble {
                fields: std::mem::take(&mut run.fields),
                questions: std::mem::take(&mut run.questions),
                ..Preamble::default()
            };
            own.inherit(keys);
            (run.fields, run.questions) = (own.fields, own.questions);
        }
    }

    /// Decides about all tables together.
    fn finish(mut self, statements: &Statements) -> SourceTables {
        let document = self.document;
        self.give_keys_to_last_run();
        self.remarks.extend(of_other_table(self.source, &self.keys_left));
        // A few rows of which nothing tells what they are: beside a measurement they are told, alone they are asked about.
        if self.runs.is_empty() {
            self.runs.extend(self.unknown.into_iter().map(|(run, _)| run));
        } else {
            self.others.extend(self.unknown.into_iter().map(|(_, told)| told));
        }
        if self.runs.is_empty() {
            if self.others.is_empty() {
                self.others.push(Diagnostic::error(
                    Code::new("no-table"),
                    "the tables hold no curve",
                ));
            }
            self.others.extend(self.remarks);
            return SourceTables {
                runs: Vec::new(),
                remarks: self.others,
            };
        }
        if !document.marks.is_empty() && self.others.is_empty() {
            self.runs = series::scans(self.runs, &statements.of_all().fields);
        }
        self.remarks.extend(summed_up(&document.summaries));
        let above = document.sections.iter().flat_map(|section| &section.words);
        self.remarks
            .extend(numbers_aside(self.source.text(), above.chain(&document.behind)));
        // A table of something else beside a measurement is told, but it is no error.
        for mut other in self.others {
            other.severity = Severity::Warning;
            self.remarks.push(other);
        }
        SourceTables {
            runs: self.runs,
            remarks: self.remarks,
        }
    }
}

/// Holds what the line in front of a block says along all curves of it.
fn hold(mark: &BlockMark, draft: &mut RunDraft) {
    for trace in &mut draft.traces {
        if marks::holds(mark, &trace.x.quantity) && trace.held(&mark.held.quantity).is_none() {
            trace.held.push(mark.held.clone());
        }
    }
}

/// From this count of rows on, a table of which nothing is known is asked about beside a measurement, too.
const SUBSTANTIAL: usize = 8;

fn run(source: &Source, section: &Section, draft: RunDraft, said: &Preamble) -> CompletedRun {
    let fields = if draft.fields.is_empty() {
        said.fields.clone()
    } else {
        let mut own = Preamble {
            fields: draft.fields,
            ..Preamble::default()
        };
        own.inherit(said);
        own.fields
    };
    let mut remarks = draft.remarks;
    remarks.extend(section.remarks.iter().cloned());
    remarks.extend(cut_off(source, section));
    let summaries = section
        .table
        .heads
        .iter()
        .filter(|head| head.class == RowClass::Summary);
    remarks.extend(summed_up(
        &summaries.map(|head| head.line.line).collect::<Vec<_>>(),
    ));
    for (column, unit, cells) in section.table.grid.units_in_some_cells() {
        remarks.push(
            Diagnostic::warning(
                Code::new("unit-in-some-cells"),
                format!(
                    "the unit `{unit}` stands behind {cells} of the numbers of column {}, and behind the others none: all were read alike",
                    column + 1
                ),
            )
            .at(Place::line(section.table.first_line as usize), "its table begins here"),
        );
    }
    remarks.extend(first_row_lost(source, section));
    remarks.extend(noted(section));
    remarks.extend(odd_rows(source, section));
    let mut questions = draft.questions;
    questions.extend(questions::of_rows(source, section));
    questions.extend(said.questions.iter().cloned());
    CompletedRun {
        technique: draft.technique,
        because: draft.because,
        fields,
        traces: draft.traces,
        questions: questions::one_each(questions),
        remarks,
        lines: Some((section.table.first_line, section.table.last_line)),
    }
}
