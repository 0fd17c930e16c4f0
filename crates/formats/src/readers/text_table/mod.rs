//! The text-table reader: exports that nobody described, understood from what stands in them.
//!
//! The work goes in one direction. `scan` cuts the text into words and tables; for each table `dialect` decides
//! separator and decimal sign over many rows at once, and `grid` reads the rows, plain ones quickly. `join` puts
//! together what paper has cut. `columns` and `context` gather what heads, numbers and words tell; `shape` turns
//! a table into curves or into a question. No step guesses: where two readings are plausible, the run carries a
//! [`Question`](curvary_record::Question) with both.

mod binary;
mod blanking;
mod columns;
mod context;
mod curve_numbers;
mod damaged;
mod dialect;
mod explain;
mod foot;
mod grid;
mod heads;
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
mod surroundings;
mod titles;
mod transposed;
mod wells;

use std::collections::BTreeSet;

use curvary_record::{Claim, Code, Diagnostic, Origin, Place};

use self::binary::not_text;
pub(crate) use self::columns::unit_fits;
use self::context::Context;
use self::explain::{ReadTrace, TableTrace, Use};
use self::grid::Noted;
use self::join::{Section, sections};
use self::preamble_fields::{OF_ONE_TABLE, Preamble};
use self::remarks::{
    columns_change, cut_off, first_row_lost, not_known, noted, numbers_aside, odd_rows, of_other_table,
    summed_up, under_a_factor,
};
use self::scan::{TextLine, scan_within, strip_remark};
use self::segments::RowClass;
use self::shape::{RunDraft, TableReading, shape};
use self::titles::{
    is_derived, is_row_of_conditions, keys_behind, keys_behind_table, own_title, take_summaries, titles,
    without_checks,
};
use self::wells::WellNames;
use crate::assume::{AnswerForm, QuestionKind};
use crate::explanation::TakenFor;
use crate::preamble;
use crate::sink::{CompletedRun, Sink, SourceLimits, SpanUnit};
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

/// What the tables of a source are, before it is handed over.
struct SourceTables {
    runs: Vec<CompletedRun>,
    remarks: Vec<Diagnostic>,
}

impl SourceTables {
    fn refused(reason: Diagnostic) -> Self {
        Self {
            runs: Vec::new(),
            remarks: vec![reason],
        }
    }
}

#[expect(clippy::too_many_lines, reason = "one decision after another over one state")]
fn read_lines(source: &Source, mut told: Option<&mut ReadTrace>) -> SourceTables {
    let text = source.text();
    if let Some(reason) = not_text(source.glimpse().head()) {
        return SourceTables::refused(Diagnostic::error(Code::new("not-a-text-table"), reason));
    }
    if let Some(why) = under_a_factor(text) {
        return SourceTables::refused(why);
    }
    // For those who ask, each page of a report is told for itself.
    let by_page = told.is_some();
    let mut scanned = scan_within(text, source, 2, by_page);
    if !scanned
        .pieces
        .iter()
        .any(|piece| matches!(piece, scan::TextPiece::Table(_)))
    {
        // Where no table stands, a single column whose axis is only told may.
        scanned = scan_within(text, source, 1, by_page);
    }
    let unsought = scanned.unsought.map(|line| {
        Diagnostic::warning(
            Code::new("tables-not-sought"),
            "too many lines with figures are rows of no table: from here on no more were looked for one",
        )
        .at(Place::line(line as usize), "from this line on")
        .help("cut the file before its tables, or let a layout say where they begin (`after`)")
    });
    let too_wide = scanned.too_wide.map(|(line, columns)| {
        let most = grid::MAX_COLUMNS;
        Diagnostic::warning(
            Code::new("table-too-wide"),
            format!("a line has {columns} cells, and no table of more than {most} columns is read: it was left out"),
        )
        .at(Place::line(line as usize), "this line")
    });
    let untold = unsought.into_iter().chain(too_wide);
    let pieces = scanned.pieces;
    if let Some(told) = told.as_deref_mut() {
        told.pieces.clone_from(&pieces);
    }
    let (mut sections, mut behind) = sections(text, pieces);
    let sums = |section: &Section| {
        let mut notes = section.table.grid.notes.iter();
        notes.any(|note| matches!(note.what, Noted::Summary))
    };
    let summed: Vec<bool> = sections.iter().map(sums).collect();
    let mut summaries = take_summaries(text, &mut behind, summed.last() == Some(&true));
    for (section, before) in sections.iter_mut().skip(1).zip(&summed) {
        summaries.extend(take_summaries(text, &mut section.words, *before));
    }
    if sections.is_empty() {
        let none = Diagnostic::error(Code::new("no-table"), "no table of numbers was found")
            .help("if there is one, a layout can say where it stands and what its columns are");
        return SourceTables {
            runs: Vec::new(),
            remarks: std::iter::once(none).chain(untold).collect(),
        };
    }
    damaged::take_beside_tables(source, &mut sections, &mut behind);
    let legends = legend::take(text, &mut sections, &mut behind);
    let added = damaged::add_rows(text, &mut sections);
    let (wells, of_wells) = wells::take(text, &mut sections, &mut behind);
    if let Some(told) = told.as_deref_mut() {
        told.take(&legends, TakenFor::Heads, "says what a column holds");
        told.take(
            &added,
            TakenFor::Rows,
            "1 row that was said to belong to the table",
        );
        told.take(&of_wells, TakenFor::Key, "says what stands in the wells");
    }
    let (sections, behind) = keys_behind(text, sections, behind);
    // What stands in front of the first table speaks of all; what stands above a later one, of that one.
    let mut sections = sections;
    let marks = marks::marks(text, &mut sections, source.assume());
    let titles = if marks.is_empty() {
        titles(text, &mut sections)
    } else {
        marks.iter().map(|mark| mark.line).collect()
    };
    let mut preamble = Preamble::hear(source, &sections[0].words);
    let (behind, of_check): (Vec<TextLine>, Vec<TextLine>) = without_checks(text, behind);
    let mut trailer = Preamble::hear(source, &behind);
    for line in &of_check {
        let said = strip_remark(&text[line.span.range()]).1.trim().to_owned();
        trailer.fields.claim(
            "comment",
            Claim::text(said, Origin::Source(source.place(line.span))),
        );
    }
    let (conditions, sections): (Vec<_>, Vec<_>) = sections
        .into_iter()
        .zip(wells)
        .partition(|(section, _)| is_row_of_conditions(text, section));
    let conditions: Vec<Section> = conditions.into_iter().map(|(section, _)| section).collect();
    let (sections, wells): (Vec<Section>, Vec<WellNames>) = sections.into_iter().unzip();
    for section in &conditions {
        preamble.hear_row(source, section);
    }
    if let Some(told) = told.as_deref_mut() {
        told.fields
            .extend([preamble.fields.clone(), trailer.fields.clone()]);
        told.tables.extend(
            conditions
                .iter()
                .map(|section| TableTrace::of(&section.table, Use::Conditions, source)),
        );
    }
    let mut reading = SourceTables {
        runs: Vec::new(),
        remarks: untold.collect(),
    };
    let mut others: Vec<Diagnostic> = Vec::new();
    let mut unknown: Vec<(CompletedRun, Diagnostic)> = Vec::new();
    // What later tables say otherwise than the first lines holds for these tables, and nothing is known of the others.
    let mut changed: BTreeSet<&'static str> = BTreeSet::new();
    // What keys say in front of tables that are no measurements, behind the last one that is, and of those that were left out.
    let mut of_no_table: Vec<Preamble> = Vec::new();
    let mut keys_left: Vec<TextLine> = Vec::new();
    for (index, section) in sections.iter().enumerate() {
        let before = index.checked_sub(1).map(|before| &sections[before]);
        reading
            .remarks
            .extend(before.and_then(|before| columns_change(before, section)));
        let own = if index == 0 {
            None
        } else {
            Some(Preamble::hear(source, &section.words))
        };
        let mut said = own.clone().unwrap_or_else(|| preamble.clone());
        let mut set_aside = Vec::new();
        if index > 0 {
            let (mut fields, remarks) = said.set_apart(source, &section.words, &preamble);
            reading.remarks.extend(remarks);
            for field in OF_ONE_TABLE {
                let (own, first) = (said.fields.get(field), preamble.fields.get(field));
                match own {
                    Some(own) if first.is_some_and(|first| first.value != own.value) => {
                        changed.insert(field);
                    }
                    None if changed.contains(field) => fields.push(field),
                    _ => {}
                }
            }
            said.inherit_but(&preamble, &fields);
            set_aside = fields;
        }
        said.inherit(&trailer);
        let keyed = |title: &TextLine| {
            marks.is_empty() && !preamble::pairs(strip_remark(&text[title.span.range()]).1).is_empty()
        };
        if let Some(title) = titles.get(index).filter(|title| keyed(title)) {
            let mut own = Preamble::hear(source, std::slice::from_ref(title));
            own.inherit(&said);
            said = own;
        } else if let Some(title) = titles.get(index) {
            let place = source.place(title.span);
            let title = strip_remark(&text[title.span.range()]).1.to_owned();
            said.title(title, Origin::Source(place));
        }
        let titled = titles.get(index).is_some_and(|title| !keyed(title));
        if let Some(title) = own_title(text, &sections[0], section).filter(|_| {
            index > 0 && !titled && own.as_ref().is_some_and(|own| own.fields.get("title").is_none())
        }) {
            let place = source.place(title.span);
            let title = strip_remark(&text[title.span.range()]).1.trim().to_owned();
            said.retitle(title, Origin::Source(place));
        }
        let mut lines = section.words.clone();
        if index > 0 {
            lines.extend(&sections[0].words);
        }
        lines.extend(&behind);
        lines.extend(titles.get(index));
        lines.extend(conditions.iter().flat_map(|section| &section.words));
        // What the lines of a later table say of the wavelength outweighs what the first lines say.
        let own_lines: Vec<TextLine> = section.words.iter().chain(titles.get(index)).copied().collect();
        let own_lines = if index > 0 { own_lines.as_slice() } else { &[] };
        let mut context = Context::gather(text, &lines, own_lines, &said.fields);
        if set_aside.contains(&"wavelength") {
            context.wavelength = None;
            context.disputed = None;
        }
        context.sentinels.extend(&source.hints().missing);
        context.beside.clone_from(&said.beside);
        context.wells.clone_from(&wells[index]);
        let mut columns = (Vec::new(), Vec::new());
        let shaped = shape(
            source,
            &section.table,
            &context,
            told.is_some().then_some(&mut columns),
        );
        if let Some(told) = told.as_deref_mut() {
            told.fields.extend(own.into_iter().map(|own| own.fields));
            told.tables
                .push(TableTrace::of(&section.table, Use::of(&shaped), source).with(columns));
        }
        let keys = if index > 0 {
            keys_behind_table(text, &section.words)
        } else {
            &[]
        };
        let read_before = reading.runs.len();
        match shaped {
            TableReading::Other(reason) => others.push(
                Diagnostic::error(
                    Code::new("not-a-measurement"),
                    format!("a table is no measurement of absorbance: {reason}"),
                )
                .at(Place::line(section.table.first_line as usize), "it begins here"),
            ),
            TableReading::Runs(drafts) => {
                // What was said side by side and belongs to no table of its own is said of the run.
                if drafts.len() != said.beside.len() {
                    for fields in std::mem::take(&mut said.beside) {
                        said.claim_all(&fields);
                    }
                }
                for mut draft in drafts {
                    if let Some(mark) = marks.get(index) {
                        hold(mark, &mut draft);
                    }
                    if draft.traces.is_empty() && draft.questions.is_empty() {
                        continue;
                    }
                    let known = draft.known;
                    let run = run(source, section, draft, &said);
                    if known || section.table.grid.rows >= SUBSTANTIAL {
                        let before = reading.runs.last_mut().filter(|_| section.on_next_page);
                        let left = match before {
                            Some(before) => series::next_page(before, run),
                            None => Some(run),
                        };
                        reading.runs.extend(left);
                    } else {
                        unknown.push((run, not_known(&section.table)));
                    }
                }
            }
        }
        if reading.runs.len() > read_before {
            of_no_table.clear();
        } else if !keys.is_empty() && !reading.runs.is_empty() && is_derived(text, section) {
            of_no_table.push(Preamble::hear(source, keys));
        } else {
            keys_left.extend(keys);
        }
    }
    // Keys below a measurement that stand in front of what was worked out from it, a list of peaks, are as good as those behind.
    if let Some(run) = reading.runs.last_mut() {
        for keys in &of_no_table {
            let mut own = Preamble {
                fields: std::mem::take(&mut run.fields),
                questions: std::mem::take(&mut run.questions),
                ..Preamble::default()
            };
            own.inherit(keys);
            (run.fields, run.questions) = (own.fields, own.questions);
        }
    }
    reading.remarks.extend(of_other_table(source, &keys_left));
    // A few rows of which nothing tells what they are: beside a measurement they are told, alone they are asked about.
    if reading.runs.is_empty() {
        reading.runs.extend(unknown.into_iter().map(|(run, _)| run));
    } else {
        others.extend(unknown.into_iter().map(|(_, told)| told));
    }
    if reading.runs.is_empty() {
        if others.is_empty() {
            others.push(Diagnostic::error(
                Code::new("no-table"),
                "the tables hold no curve",
            ));
        }
        others.extend(reading.remarks);
        return SourceTables {
            runs: Vec::new(),
            remarks: others,
        };
    }
    if !marks.is_empty() && others.is_empty() {
        let mut of_all = preamble.clone();
        of_all.inherit(&trailer);
        reading.runs = series::scans(reading.runs, &of_all.fields);
    }
    reading.remarks.extend(summed_up(&summaries));
    let words = sections.iter().flat_map(|section| &section.words).chain(&behind);
    reading.remarks.extend(numbers_aside(text, words));
    // A table of something else beside a measurement is told, but it is no error.
    for mut other in others {
        other.severity = curvary_record::Severity::Warning;
        reading.remarks.push(other);
    }
    reading
}

/// Holds what the line in front of a block says along all curves of it.
fn hold(mark: &marks::BlockMark, draft: &mut RunDraft) {
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

#[cfg(test)]
mod tests;
