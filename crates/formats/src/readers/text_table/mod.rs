//! The text-table reader: exports that nobody described, understood from what stands in them.
//!
//! The work goes in one direction. `scan` cuts the text into words and tables; for each table `dialect` decides
//! separator and decimal sign over many rows at once, and `grid` reads the rows, plain ones quickly. `join` puts
//! together what paper has cut. `columns` and `context` gather what heads, numbers and words tell; `shape` turns
//! a table into curves or into a question. No step guesses: where two readings are plausible, the run carries a
//! [`Question`] with both.

mod blanking;
mod columns;
mod context;
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
mod marks;
mod measured_at;
mod number;
mod pages;
mod questions;
mod records;
mod scan;
mod segments;
mod series;
pub(crate) mod shape;
mod surroundings;
mod wells;

use std::collections::{BTreeSet, HashSet};

use curvary_record::{Claim, Code, Diagnostic, Fields, Origin, Place, Quantity, Question, Span, moment};

pub(crate) use self::columns::unit_fits;
use self::context::Context;
use self::explain::{ReadTrace, TableTrace, Use};
use self::grid::Noted;
use self::join::{Section, sections};
use self::scan::{TextLine, scan_within, strip_remark};
use self::segments::RowClass;
use self::shape::{RunDraft, TableReading, shape};
use self::wells::WellNames;
use crate::assume::{AnswerForm, QuestionKind};
use crate::explanation::TakenFor;
use crate::preamble;
use crate::sink::{CompletedRun, Sink, SourceLimits, SpanUnit};
use crate::source::is_control;
use crate::words::WordList;
use crate::{ExplainedLines, Reader, ReaderInfo, Reading, Recognition, Source, SourcePreview};

/// Lines of words beyond this count are not searched for keys and values.
const MAX_WORD_LINES: usize = 4000;

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

/// Why a text is of another kind, by its first characters.
fn not_text(head: &str) -> Option<String> {
    let start = head.trim_start_matches(|c: char| c.is_whitespace() || c == '\u{FEFF}');
    let lower = start
        .get(..start.len().min(64))
        .or(start.get(..0))
        .unwrap_or("")
        .to_ascii_lowercase();
    if start.is_empty() {
        return Some("the file is empty".to_owned());
    }
    if looks_binary(head) {
        return Some(NO_TEXT.to_owned());
    }
    if lower.starts_with("<!doctype")
        || lower.starts_with("<html")
        || lower.starts_with("<?xml")
        || lower.starts_with("<svg")
    {
        return Some("a web page or markup".to_owned());
    }
    if start.starts_with('{') || start.starts_with("[{") || start.starts_with("[\n") {
        return Some("structured data of a program (JSON)".to_owned());
    }
    if lower.starts_with("##title")
        || (lower.starts_with("##")
            && lower
                .lines()
                .next()
                .is_some_and(|line| line.contains('=') && lower.contains("jcamp")))
    {
        return Some("labelled records of JCAMP-DX".to_owned());
    }
    if lower.starts_with("%pdf") || lower.starts_with("{\\rtf") {
        return Some("a formatted document".to_owned());
    }
    None
}

/// Whether more than one character in twenty is no text, by the first two thousand bytes.
fn looks_binary(head: &str) -> bool {
    let mut end = head.len().min(2048);
    while !head.is_char_boundary(end) {
        end -= 1;
    }
    let head = &head[..end];
    let any = |piece: &&[u8]| {
        piece.iter().fold(false, |any, &b| {
            any | (b < 0x20) & (b != b'\n') & (b != b'\t') | (b == 0x7F)
        })
    };
    // Most pieces of text have none, which is seen many bytes at a time.
    let odd = head
        .as_bytes()
        .chunks(64)
        .filter(any)
        .flatten()
        .filter(|&&b| is_control(b))
        .count()
        + if head.is_ascii() {
            0
        } else {
            head.matches('\u{FFFD}').count()
        };
    odd * 20 > end
}

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

/// Why a text is not read whose numbers stand under a common factor, as consoles print matrices: taken as they stand they
/// would be wrong by it.
fn under_a_factor(text: &str) -> Option<Diagnostic> {
    memchr::memchr_iter(b'*', text.as_bytes()).find_map(|at| {
        if !text[at + 1..].trim_start_matches([' ', '\t', '\r']).starts_with('\n') {
            return None;
        }
        let start = text[..at].rfind('\n').map_or(0, |end| end + 1);
        let power = super::common_factor(&text[start..=at])?;
        let message = format!("the numbers below are to be multiplied by 10 to the power of {power}, and where that ends is not said");
        Some(
            Diagnostic::error(Code::new("common-factor"), message)
                .at(Place::of(text, Span::new(start, at + 1)), "the factor is here")
                .help("write the numbers out without a common factor, or print the matrix under its name, as `M =`"),
        )
    })
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

/// Whether a table that is no measurement was worked out from the one before it: a list of its peaks, or of its wavelengths. A
/// column of another trade, a price, tells that it was not.
fn is_derived(text: &str, section: &Section) -> bool {
    let heads = || {
        let cells = section.table.heads.iter().flat_map(|head| &head.cells);
        cells.flatten().map(|cell| &text[cell.range()])
    };
    let titles = section
        .words
        .iter()
        .map(|line| strip_remark(&text[line.span.range()]).1);
    let titles = titles.filter(|line| preamble::pairs(line).is_empty());
    let of_peaks = |words: &str| {
        words
            .split(|c: char| !c.is_alphabetic())
            .any(|word| crate::words::begins(WordList::Peak, &word.to_lowercase()))
    };
    let of_light = |head: &str| {
        let quantity = crate::column_header::read_column_header(head).quantity;
        quantity.is_some_and(|quantity| quantity.is_of_light() || quantity == Quantity::WAVELENGTH)
    };
    let of_another_trade = |head: &str| matches!(crate::words::word(head), crate::words::HeaderWord::Other(quantity) if crate::words::is_of_another_trade(&quantity));
    !heads().any(of_another_trade)
        && (titles.into_iter().any(of_peaks) || heads().any(|head| of_peaks(head) || of_light(head)))
}

/// A remark on keys above a table of something else: what they say is said of that, and of no measurement.
fn of_other_table(source: &Source, lines: &[TextLine]) -> Option<Diagnostic> {
    let first = lines.first()?;
    let said: Vec<&str> = lines
        .iter()
        .map(|line| strip_remark(&source.text()[line.span.range()]).1.trim())
        .collect();
    Some(
        Diagnostic::note(
            Code::new("keys-of-another-table"),
            format!(
                "what stands above a table that is no measurement was taken for no field of a run: {}",
                said.join("; ")
            ),
        )
        .at(source.place(first.span), "the first of these lines")
        .help("note what holds for the run"),
    )
}

/// Of the lines between a table and the next one, the first ones that are known keys with their values, as far as no heading
/// parts them from the table before.
fn keys_behind_table<'l>(text: &str, lines: &'l [TextLine]) -> &'l [TextLine] {
    let stated = |line: &&TextLine| {
        let kept = strip_remark(&text[line.span.range()]).1;
        let pairs = preamble::pairs(kept);
        !pairs.is_empty()
            && pairs
                .iter()
                .all(|pair| crate::words::field_of(&kept[pair.key.clone()]).is_some())
    };
    &lines[..lines.iter().take_while(stated).count()]
}

/// Takes the lines directly behind a table that sum it up, `Mean;0.45`, out of the words, and gives their numbers.
/// `summed`: its last rows do so already.
fn take_summaries(text: &str, words: &mut Vec<TextLine>, summed: bool) -> Vec<u32> {
    let mut lines = Vec::new();
    for line in words.iter() {
        if !segments::is_summary_line(&text[line.span.range()], summed || !lines.is_empty()) {
            break;
        }
        lines.push(line.line);
    }
    words.drain(..lines.len());
    lines
}

/// A remark on lines around a table that sum it up.
fn summed_up(lines: &[u32]) -> Option<Diagnostic> {
    let first = *lines.first()?;
    let rows = if lines.len() == 1 { "row" } else { "rows" };
    Some(
        Diagnostic::note(
            Code::new("statistics-row"),
            format!("{} {rows} left out as a summary of other rows", lines.len()),
        )
        .at(Place::line(first as usize), "the first of them"),
    )
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

fn not_known(table: &scan::ScannedTable) -> Diagnostic {
    Diagnostic::warning(
        Code::new("not-a-measurement"),
        "nothing says what a few rows of numbers are: they were left out",
    )
    .at(Place::line(table.first_line as usize), "they begin here")
}

/// Whether a table is a single row of conditions under their names: `Sample,Temperature,pH` over `betanin,37,7.0`.
fn is_row_of_conditions(text: &str, section: &Section) -> bool {
    let table = &section.table;
    let Some(head) = table.heads.last().filter(|_| table.grid.rows == 1) else {
        return false;
    };
    let (mut fields, mut others, mut axes) = (0, 0, 0);
    for span in head.cells.iter().flatten() {
        let key = &text[span.range()];
        let bare = crate::column_header::split_unit(key).map_or(key, |(name, _)| name);
        match crate::words::field_of(bare) {
            Some("wavelength") => axes += 1,
            Some(_) => fields += 1,
            None => others += 1,
        }
        let measured = crate::column_header::read_column_header(key).quantity;
        axes += usize::from(measured.is_some_and(|q| q.is_of_light() || q == Quantity::RATE));
    }
    axes == 0 && fields > others && fields >= 2
}

/// The titles of a series, `Cycle 1 (0 min)`, `Cycle 2 (2 min)`, where the line above every table is one: each begins
/// with the same word. They are taken out of the words, since each speaks of its own table alone.
fn titles(text: &str, sections: &mut [Section]) -> Vec<TextLine> {
    let first_word = |section: &Section| -> Option<(String, TextLine)> {
        let line = *section.words.last()?;
        let kept = strip_remark(&text[line.span.range()]).1;
        let word: String = kept.chars().take_while(|c| c.is_alphabetic()).collect();
        let title = word.chars().count() >= 3
            && kept.chars().count() <= 80
            && preamble::pairs(kept)
                .iter()
                .all(|pair| crate::words::field_of(&kept[pair.key.clone()]).is_none())
            && !join::is_furniture(kept, &BTreeSet::new());
        title.then(|| (word.to_lowercase(), line))
    };
    let found: Option<Vec<(String, TextLine)>> = sections.iter().map(first_word).collect();
    let Some(found) = found.filter(|found| found.len() >= 2) else {
        return Vec::new();
    };
    let texts: BTreeSet<&str> = found.iter().map(|(_, line)| &text[line.span.range()]).collect();
    if texts.len() < found.len() || found.iter().any(|(word, _)| *word != found[0].0) {
        return Vec::new();
    }
    for section in sections.iter_mut() {
        section.words.pop();
    }
    found.into_iter().map(|(_, line)| line).collect()
}

/// Where each table has its keys behind it and not in front, gives each table its own.
fn keys_behind(
    text: &str,
    mut sections: Vec<Section>,
    behind: Vec<TextLine>,
) -> (Vec<Section>, Vec<TextLine>) {
    let keys = |lines: &[TextLine]| -> BTreeSet<&'static str> {
        lines
            .iter()
            .flat_map(|line| {
                let (_, kept) = strip_remark(&text[line.span.range()]);
                preamble::pairs(kept)
                    .into_iter()
                    .filter_map(|pair| crate::words::field_of(&kept[pair.key]))
                    .collect::<Vec<_>>()
            })
            .collect()
    };
    if sections.len() < 2 {
        return (sections, behind);
    }
    let last = keys(&behind);
    let in_front = sections
        .first()
        .is_some_and(|section| !keys(&section.words).is_empty());
    if in_front
        || !last.contains("sample")
        || !sections[1..].iter().all(|section| keys(&section.words) == last)
    {
        return (sections, behind);
    }
    for index in 0..sections.len() - 1 {
        let own = std::mem::take(&mut sections[index + 1].words);
        sections[index].words.extend(own);
    }
    if let Some(section) = sections.last_mut() {
        section.words.extend(behind);
    }
    (sections, Vec::new())
}

/// A remark where a table follows upon another in the very next line with other columns: mostly a damaged row.
fn columns_change(before: &Section, section: &Section) -> Option<Diagnostic> {
    let (first, second) = (&before.table, &section.table);
    let (had, has) = (first.grid.columns(), second.grid.columns());
    let at_once =
        section.words.is_empty() && second.heads.is_empty() && second.first_line <= first.last_line + 2;
    (at_once && had != has).then(|| {
        Diagnostic::warning(
            Code::new("columns-change"),
            format!("{has} columns follow upon {had} in the next line: a damaged row, or another table"),
        )
        .at(Place::line(second.first_line as usize), "from here on")
        .help("compare these lines with the original")
    })
}

/// A remark on lines that hold several numbers and nothing else, but belong to no table: a lone row under a title, or
/// numbers that only the program that wrote them understood.
fn numbers_aside<'a>(text: &str, lines: impl Iterator<Item = &'a TextLine>) -> Option<Diagnostic> {
    let is_aside = |line: &&TextLine| {
        let line = text[line.span.range()].trim();
        let cells = line.split([' ', '\t', ';', '|']).filter(|cell| !cell.is_empty());
        let number = |cell: &str| {
            cell.contains(|c: char| c.is_ascii_digit())
                && cell
                    .chars()
                    .all(|c| c.is_ascii_digit() || matches!(c, '.' | ',' | '-' | '+'))
        };
        let mut count = 0;
        for cell in cells {
            if !number(cell) {
                return false;
            }
            count += 1;
        }
        count >= 2 && !matches!(moment::read(line, None).date, moment::DateReading::Read(_))
    };
    let aside: Vec<u32> = lines.filter(is_aside).map(|line| line.line).collect();
    let first = *aside.first()?;
    let (lines, they) = if aside.len() == 1 {
        ("1 line of numbers belongs".to_owned(), "it was")
    } else {
        (format!("{} lines of numbers belong", aside.len()), "they were")
    };
    Some(
        Diagnostic::warning(
            Code::new("numbers-aside"),
            format!("{lines} to no table: {they} left aside"),
        )
        .at(Place::line(first as usize), "the first of them"),
    )
}

/// A remark on a number that the end of the file has cut, where it looks cut.
fn cut_off(source: &Source, section: &Section) -> Option<Diagnostic> {
    let text = source.text();
    if text.ends_with(['\n', '\r']) {
        return None;
    }
    let lines = source.lines().count();
    if !(lines..=lines + 1).contains(&(section.table.last_line as usize + 1)) {
        return None;
    }
    if section.table.last_line as usize + 1 == lines {
        // `59` behind the last row: the beginning of another one.
        let span = source.lines().span(lines - 1);
        let rest = text[span.range()].trim();
        let begun = !rest.is_empty()
            && rest.bytes().all(|b| {
                b.is_ascii_digit() || b.is_ascii_whitespace() || matches!(b, b'.' | b',' | b';' | b'-' | b'+')
            });
        return begun.then(|| {
            Diagnostic::warning(
                Code::new("cut-off"),
                format!("the file ends in the middle of its last row: `{rest}` was left out"),
            )
            .at(source.place(span), "the end of the file")
            .help("compare it with the original")
        });
    }
    let grid = &section.table.grid;
    let span = source.lines().span(section.table.last_line as usize - 1);
    let line = &text[span.range()];
    let cells = dialect::split(line, &grid.dialect);
    let last = cells.last().cloned()?;
    let digits = |line: &str, range: &std::ops::Range<usize>| {
        line[range.clone()]
            .rsplit(char::from(grid.dialect.style.decimal))
            .next()
            .filter(|_| line[range.clone()].contains(char::from(grid.dialect.style.decimal)))
            .map_or(0, |tail| tail.bytes().take_while(u8::is_ascii_digit).count())
    };
    let before = grid.rows.checked_sub(2).map(|row| grid.line(row))?;
    let above = source.lines().span(before - 1);
    let above = text[above.range()].trim_end();
    let above_cells = dialect::split(above, &grid.dialect);
    let usual = above_cells.last().map_or(0, |range| digits(above, range));
    let short = cells.len() < above_cells.len()
        || digits(line, &last) < usual
        || line.ends_with(['e', 'E', '-', '+', '.', ',']);
    short.then(|| {
        Diagnostic::warning(
            Code::new("cut-off"),
            "the file ends in the middle of a line: its last number may be incomplete",
        )
        .at(
            source.place(Span::new(
                span.start as usize + last.start,
                span.start as usize + last.end,
            )),
            "the end of the file",
        )
        .help("compare it with the original; a note can leave the point out")
    })
}

/// The lines of a letter's head, `From: …`, `Date: …`, `ExportedRun: …`: its date and its writer are not the measurement's.
fn head_of_letter(text: &str, lines: &[TextLine]) -> Option<std::ops::RangeInclusive<u32>> {
    let key = |line: &TextLine| {
        let line = text[line.span.range()].trim_start_matches(['>', ' ']);
        let (key, _) = line.split_once(':')?;
        let key = key.trim().to_lowercase();
        [WordList::LetterFrom, WordList::LetterSubject]
            .into_iter()
            .position(|list| crate::words::words_of(list).contains(&key))
    };
    let first = lines.iter().position(|line| key(line).is_some())?;
    let block: Vec<&TextLine> = lines[first..]
        .iter()
        .zip(lines[first].line..)
        .take_while(|(line, number)| line.line == *number && text[line.span.range()].contains(':'))
        .map(|(line, _)| line)
        .collect();
    let has = |which: usize| block.iter().any(|line| key(line) == Some(which));
    // A writer and a subject; `From: 400 nm` alone is a setting.
    (has(0) && has(1)).then(|| lines[first].line..=block.last().map_or(lines[first].line, |line| line.line))
}

/// Lines behind the last table, and those among them that stand under a title of their own over a check of the instrument, as far as
/// they follow upon each other: their keys are none of the run.
fn without_checks(text: &str, behind: Vec<TextLine>) -> (Vec<TextLine>, Vec<TextLine>) {
    let mut last: Option<u32> = None;
    behind.into_iter().partition(|line| {
        let apart =
            is_title_of_check(&text[line.span.range()]) || last.is_some_and(|last| line.line == last + 1);
        last = apart.then_some(line.line);
        !apart
    })
}

/// Whether a line is a title over what was measured to check the instrument, `QC check`: a few words that state nothing.
fn is_title_of_check(line: &str) -> bool {
    const MOST_WORDS: usize = 4;
    let (_, kept) = strip_remark(line);
    let kept = kept.trim_end_matches([':', '-', '=', ' ', ';', ',', '\t']);
    let words = || {
        kept.split(|c: char| !(c.is_alphanumeric() || c == '-'))
            .filter(|word| !word.is_empty())
    };
    kept.len() <= 60
        && words().count() <= MOST_WORDS
        && words().any(|word| crate::words::begins(WordList::OfCheck, &word.to_lowercase()))
        && !kept.contains(|c: char| c.is_ascii_digit() || matches!(c, '.' | ';' | ',' | '\t' | '(' | '|'))
        && preamble::pairs(kept).is_empty()
}

/// What lines of words say: claims, questions about them, and what is left as comment.
#[derive(Clone, Default)]
struct Preamble {
    fields: Fields,
    questions: Vec<Question>,
    /// What lines say of several runs side by side, from left to right: `Sample: left      Sample: right`.
    beside: Vec<Fields>,
}

/// What may change from table to table.
const OF_ONE_TABLE: [&str; 6] = [
    "sample",
    "sample-id",
    "temperature",
    "ph",
    "concentration",
    "replicate",
];

impl Preamble {
    #[expect(clippy::too_many_lines, reason = "one decision after another over one state")]
    fn hear(source: &Source, lines: &[TextLine]) -> Self {
        let text = source.text();
        let mut said = Self::default();
        let mut comments: Vec<(String, Span)> = Vec::new();
        let mut passing = preamble::Passing::default();
        let mut prose = Vec::new();
        let none = BTreeSet::new();
        let letter = head_of_letter(text, lines);
        // What stands on every page of a report: lines that said nothing new the first time, and the last number of a page.
        let mut heard: HashSet<&str> = HashSet::new();
        let mut page: Option<&str> = None;
        let claims = |fields: &Fields| -> usize { fields.iter().map(|(_, claims)| claims.len()).sum() };
        for line in lines.iter().take(MAX_WORD_LINES) {
            let raw = &text[line.span.range()];
            if page.is_some_and(|page| pages::same_but_for_counts(page, raw)) || heard.contains(raw) {
                continue;
            }
            if letter.as_ref().is_some_and(|head| head.contains(&line.line)) {
                if comments.len() < 24 {
                    comments.push((raw.trim().to_owned(), line.span));
                }
                continue;
            }
            let (_, bare) = strip_remark(raw);
            // `Sample: leaf      Page 1/4`: what stands before the page's number is said of the run.
            let kept = join::without_page(bare)
                .filter(|front| {
                    preamble::pairs(front)
                        .iter()
                        .any(|pair| !pair.value.is_empty() && preamble::is_known(&front[pair.key.clone()]))
                })
                .unwrap_or(bare);
            let furniture = join::is_furniture(kept, &none);
            if (kept.is_empty() || furniture || scan::is_ruler(kept))
                && letter.is_none()
                && kept.len() == bare.len()
            {
                page = Some(raw);
            }
            // Words with a page behind them are words: `Notebook 7, p. 12`.
            if kept.is_empty() || scan::is_ruler(kept) || furniture && !join::has_words_before_page(kept) {
                continue;
            }
            // `READINGS AT 630 nm      page 1`: the page is none of the words.
            let kept = if furniture {
                join::without_page(kept).unwrap_or(kept)
            } else {
                kept
            };
            let base = line.span.start as usize + raw.find(kept).unwrap_or(0);
            let mut pairs = preamble::pairs(kept);
            if pairs.is_empty() {
                pairs.extend(preamble::pair_in_blanks(kept));
            }
            if pairs.is_empty() {
                prose.push((line.line, base..base + kept.len()));
                let before = (claims(&said.fields), passing.len());
                let whole = preamble::claim_free(&mut said.fields, source, base..base + kept.len());
                passing.take(source, base..base + kept.len());
                let new = (claims(&said.fields), passing.len()) != before;
                if !whole && !new && comments.len() >= 24 && letter.is_none() {
                    heard.insert(raw);
                }
                if !whole && comments.len() < 24 {
                    let padding = |c: char| c.is_whitespace() || matches!(c, ';' | '|' | ',');
                    let bare = kept.trim_end_matches(padding);
                    let inner = bare.strip_prefix('"').and_then(|bare| bare.strip_suffix('"'));
                    let bare = inner.filter(|inner| !inner.contains('"')).unwrap_or(bare);
                    // Words of the paper are set apart by blanks that say nothing.
                    let words = if furniture {
                        bare.split_whitespace().collect::<Vec<_>>().join(" ")
                    } else {
                        bare.trim().to_owned()
                    };
                    comments.push((words, Span::new(base, base + kept.len())));
                }
                continue;
            }
            // `the next 3 values are wrong:` is a key to nothing.
            if pairs.iter().all(|pair| pair.value.is_empty()) && comments.len() < 24 {
                let bare = kept.trim_end_matches([',', ';', '|', '\t', ' ']);
                comments.push((bare.to_owned(), Span::new(base, base + bare.len())));
                continue;
            }
            // Words in front of the first key are kept.
            let lead = kept[..pairs[0].key.start].trim();
            if lead.chars().filter(|c| c.is_alphabetic()).count() >= 3 && comments.len() < 24 {
                preamble::claim_free(&mut said.fields, source, base..base + pairs[0].key.start);
                passing.take(source, base..base + pairs[0].key.start);
                let lead = lead.trim_end_matches([',', ';', '|', ' ', '-', '*']).to_owned();
                comments.push((lead, Span::new(base, base + pairs[0].key.start)));
            }
            let key = |pair: &preamble::KeyValueSpan| crate::words::field_of(&kept[pair.key.clone()]);
            let beside = pairs.len() >= 2
                && key(&pairs[0]).is_some()
                && pairs.iter().all(|pair| key(pair) == key(&pairs[0]));
            for (place, pair) in pairs.into_iter().enumerate() {
                if beside && said.beside.len() <= place {
                    said.beside.push(Fields::default());
                }
                let fields = if beside {
                    &mut said.beside[place]
                } else {
                    &mut said.fields
                };
                preamble::claim_pair(fields, &mut said.questions, source, base, &pair);
                let conditions = crate::words::field_of(&kept[pair.key.clone()]).is_some_and(|field| {
                    matches!(
                        field,
                        "title" | "comment" | "buffer" | "solvent" | "cell" | "method"
                    )
                });
                let cell = crate::words::fields_if_fitting(&kept[pair.key.clone()]).contains(&"cell");
                let told = crate::words::is(WordList::OfConditions, &kept[pair.key.clone()]);
                if conditions || cell || told {
                    let heard = passing.len();
                    passing.take(source, base + pair.value.start..base + pair.value.end);
                    if preamble::is_kept_apart(&kept[pair.key.clone()]) {
                        passing.leave_out_temperatures(heard);
                    }
                }
                // The sentence behind a value that ends with its own.
                if kept[pair.value.end..].starts_with(". ") {
                    let behind = kept[pair.value.end..].split("  ").next().map_or(0, str::len);
                    passing.take(source, base + pair.value.end + 2..base + pair.value.end + behind);
                }
            }
        }
        preamble::take_prose(&mut passing, source, prose);
        passing.settle(&mut said.fields);
        let first_is_title = comments.first().is_some_and(|(_, span)| {
            lines
                .first()
                .is_some_and(|line| line.span.start <= span.start && line.line <= 3)
                // What stands over a later column is no title.
                && !lines.first().is_some_and(|line| {
                    let raw = &text[line.span.range()];
                    raw.starts_with([',', '\t', '|']) || raw.starts_with(";;")
                })
        });
        for (index, (comment, span)) in comments.into_iter().enumerate() {
            // A lone number may be the count of the points; `1:10` and `100 %` are more.
            if comment
                .chars()
                .all(|c| c.is_ascii_digit() || !c.is_alphanumeric() && !matches!(c, ':' | '%' | '/'))
                || !comment.contains(char::is_alphanumeric)
            {
                continue;
            }
            let key = if index == 0 && first_is_title && said.fields.get("title").is_none() {
                "title"
            } else {
                "comment"
            };
            let origin = Origin::Source(source.place(span));
            said.fields.claim(key, Claim::text(comment, origin));
        }
        said
    }

    /// Takes a row of conditions under their names as claims.
    fn hear_row(&mut self, source: &Source, section: &Section) {
        let text = source.text();
        let grid = &section.table.grid;
        let Some(head) = section.table.heads.last() else {
            return;
        };
        let span = source.lines().span(grid.line(0) - 1);
        let line = &text[span.range()];
        for (key, value) in head.cells.iter().zip(dialect::split(line, &grid.dialect)) {
            let Some(key) = key else { continue };
            let value = span.start as usize + value.start..span.start as usize + value.end;
            preamble::claim(&mut self.fields, &mut self.questions, source, key.range(), value);
        }
    }

    /// Takes a title of the run's own; one that speaks of the whole file becomes a comment.
    fn title(&mut self, title: String, origin: Origin) {
        let mut own = Self::default();
        own.fields.claim("title", Claim::text(title, origin));
        for (key, claims) in self.fields.iter() {
            let key = if key.as_str() == "title" {
                "comment"
            } else {
                key.as_str()
            };
            for claim in claims {
                own.fields.claim(key, claim.clone());
            }
        }
        self.fields = own.fields;
    }

    /// Takes a title in the place of the one that stands above another table.
    fn retitle(&mut self, title: String, origin: Origin) {
        self.fields.remove("title");
        for comment in self.fields.remove("comment") {
            if !matches!(&comment.value, curvary_record::Value::Text(said) if *said == title) {
                self.fields.claim("comment", comment);
            }
        }
        self.fields.claim("title", Claim::text(title, origin));
    }

    fn claim_all(&mut self, fields: &Fields) {
        for (key, claims) in fields.iter() {
            for claim in claims {
                self.fields.claim(key.as_str(), claim.clone());
            }
        }
    }

    /// Takes what the lines above a later table say against the preamble: the fields that are not to be taken over from it,
    /// since the lines leave open which value holds, and remarks on them.
    fn set_apart(
        &mut self,
        source: &Source,
        lines: &[TextLine],
        preamble: &Self,
    ) -> (Vec<&'static str>, Vec<Diagnostic>) {
        let ranges: Vec<_> = lines
            .iter()
            .take(MAX_WORD_LINES)
            .map(|line| line.span.range())
            .collect();
        let (mut open, mut remarks) = (Vec::new(), Vec::new());
        for contrast in preamble::contrasts(source, &ranges, &preamble.fields, &self.fields) {
            if let Some(own) = contrast.own {
                self.fields.claim(contrast.field, own);
                continue;
            }
            open.push(contrast.field);
            let raw = source.text().get(contrast.at.clone()).unwrap_or("");
            let stated = preamble
                .fields
                .get(contrast.field)
                .map_or("", |claim| claim.raw.as_str());
            remarks.push(
                Diagnostic::warning(
                    Code::new("condition-changes"),
                    format!(
                        "a line above a later table names `{raw}`: the {} of the first lines, `{stated}`, is not taken for that table",
                        contrast.field
                    ),
                )
                .at(Place::of(source.text(), Span::new(contrast.at.start, contrast.at.end)), "this value")
                .help("note what holds for the run"),
            );
        }
        (open, remarks)
    }

    /// Takes over what another block says, for keys of which this one says nothing.
    fn inherit(&mut self, other: &Self) {
        self.inherit_but(other, &[]);
    }

    /// Takes over what `other` says, but for some fields.
    fn inherit_but(&mut self, other: &Self, without: &[&str]) {
        for (key, claims) in other.fields.iter() {
            if without.contains(&key.as_str()) {
                continue;
            }
            if !self.fields.all(key.as_str()).is_empty() && key.as_str() != "comment" {
                continue;
            }
            for claim in claims {
                self.fields.claim(key.as_str(), claim.clone());
            }
        }
        for question in &other.questions {
            if !self.questions.contains(question) {
                self.questions.push(question.clone());
            }
        }
    }
}

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

/// The line above a later table that stands where the title of the first one stands: the tables have the same headers, and the lines
/// between title and header are keys of the same names.
fn own_title(text: &str, first: &Section, section: &Section) -> Option<TextLine> {
    let kept = |line: &TextLine| strip_remark(&text[line.span.range()]).1.trim();
    let keys = |line: &TextLine| -> Vec<String> {
        let line = kept(line);
        let pairs = preamble::pairs(line);
        pairs
            .into_iter()
            .map(|pair| line[pair.key].to_lowercase())
            .collect()
    };
    let heads = join::head_texts(text, &section.table);
    let same = !heads.is_empty() && heads == join::head_texts(text, &first.table);
    let title = first
        .words
        .iter()
        .position(|line| keys(line).is_empty() && !scan::is_ruler(kept(line)))?;
    let form = &first.words[title..];
    let own = section
        .words
        .get(section.words.len().checked_sub(form.len())?..)?;
    let alike = form.iter().zip(own).all(|(one, other)| keys(one) == keys(other));
    let line = *own.first()?;
    let said = kept(&line);
    let is_title = said != kept(&form[0])
        && said.contains(char::is_alphabetic)
        && !join::is_furniture(said, &BTreeSet::new())
        && form.iter().filter(|line| keys(line).is_empty()).count() == 1;
    (same && alike && is_title).then_some(line)
}

/// Remarks on the rows that were left out since they do not fit: one each, and one for the rest of many.
fn odd_rows<'a>(source: &'a Source, section: &'a Section) -> impl Iterator<Item = Diagnostic> + 'a {
    /// So many are told one by one.
    const EACH: usize = 20;
    let odd = &section.table.grid.odd;
    let columns = section.table.grid.columns();
    let each = odd.iter().take(EACH).map(move |odd| {
        let message = match odd.cells {
            Some(1) => "a line holds only the first cell of a row, and was left out".to_owned(),
            Some(cells) => format!("a row of {cells} cells in a table of {columns} columns was left out"),
            None => {
                "a damaged row was left out: its cells are no numbers in the style of the table".to_owned()
            }
        };
        Diagnostic::warning(Code::new("row-does-not-fit"), message).at(source.place(odd.span), "this row")
    });
    let rest = odd.get(EACH).map(|first| {
        Diagnostic::warning(
            Code::new("row-does-not-fit"),
            format!(
                "{} more rows do not fit the table and were left out",
                odd.len() - EACH
            ),
        )
        .at(source.place(first.span), "the first of them")
    });
    each.chain(rest)
}

/// A remark on a line of nothing but figures and signs directly above a table, which is mostly its first row, damaged;
/// a date, a time and a mere count stand there too.
fn first_row_lost(source: &Source, section: &Section) -> Option<Diagnostic> {
    let line = section.words.last()?;
    let first = section
        .table
        .heads
        .first()
        .map_or(section.table.first_line, |head| head.line.line);
    let text = source.text()[line.span.range()].trim();
    let figures = text.starts_with(|c: char| c.is_ascii_digit() || matches!(c, '-' | '+' | '.'))
        && !text.contains(|c: char| c.is_alphabetic() || matches!(c, ':' | '/'))
        && text.bytes().filter(u8::is_ascii_digit).count() >= 4
        && text.bytes().any(|byte| !byte.is_ascii_digit());
    let dated = !matches!(
        curvary_record::moment::read(text, None).date,
        curvary_record::moment::DateReading::No
    );
    (line.line + 1 == first && figures && !dated).then(|| {
        Diagnostic::warning(
            Code::new("row-does-not-fit"),
            "a line directly above the table looks like its first row, damaged, and was left out",
        )
        .at(source.place(line.span), "this line")
        .help("compare it with the original")
    })
}

/// Remarks on rows that were read in a way worth telling.
fn noted(section: &Section) -> impl Iterator<Item = Diagnostic> + '_ {
    let notes = &section.table.grid.notes;
    let of = |what: fn(&Noted) -> bool| -> Vec<u32> {
        notes
            .iter()
            .filter(|note| what(&note.what))
            .map(|note| note.line)
            .collect()
    };
    let told = [
        (
            of(|what| matches!(what, Noted::Touching)),
            "numbers-touch",
            "whose numbers touch, parted at their signs: each part stands under a column of its own",
        ),
        (
            of(|what| matches!(what, Noted::Converted)),
            "units-change",
            "with a number in another unit than the first of its column: it was converted",
        ),
        (
            of(|what| matches!(what, Noted::Aside)),
            "words-behind-row",
            "with words behind the last column, which were left aside",
        ),
        (
            of(|what| matches!(what, Noted::Marked)),
            "number-marked",
            "with a mark beside a number, such as a star or a remark in brackets: the number was kept as it stands",
        ),
        (
            of(|what| matches!(what, Noted::Summary)),
            "statistics-row",
            "left out as a summary of other rows",
        ),
        (
            of(|what| matches!(what, Noted::Uncertainty)),
            "uncertainty-aside",
            "with an uncertainty behind a number (± or in brackets), which was left aside",
        ),
    ];
    told.into_iter().filter_map(|(lines, code, what)| {
        let first = *lines.first()?;
        let count = lines.len();
        let rows = if count == 1 { "row" } else { "rows" };
        Some(
            Diagnostic::note(Code::new(code), format!("{count} {rows} {what}"))
                .at(Place::line(first as usize), "the first of them"),
        )
    })
}

#[cfg(test)]
mod tests;
