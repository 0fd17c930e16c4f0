//! Printed reports: the text of PDF documents, its lines and tables put together again from the places of the letters.
//!
//! A library interprets the pages and says which letter stands where ([`glyphs`]); words and lines are put together here
//! ([`words`]), then cells and columns of the page ([`layout`]). All of it is written out plainly and understood as any
//! other table. Places are those of the print: the page, the line on it, the cell in the line.
//!
//! What was recovered so is marked: the run has the field `recovered-from` and a remark. Text that lies hidden behind a
//! picture was recognised by a machine, and is asked about. A sign that a font does not tell is never guessed.

mod curves;
mod glyphs;
mod layout;
mod margin;
mod unfold;
mod words;

use std::collections::BTreeSet;
use std::sync::Arc;

use curvary_record::{
    Alternative, Claim, Code, Diagnostic, Label, Origin, Place, Question, Run, Severity, Span, code,
};

use self::curves::PrintedPlot;
use self::glyphs::ReportRefusal;
use self::layout::PrintRow;
use crate::assume::QuestionKind;
use crate::rendering::Rendering;
use crate::sink::{
    ColumnInput, ContractViolation, CurveInput, LocatedText, Sink, SourceLimits, SpanUnit, Values,
};
use crate::{ExplainedLines, Reader, ReaderInfo, Reading, Recognition, Source, SourcePreview};

/// The reader of printed reports.
pub struct Print {
    card: ReaderInfo,
}

impl Default for Print {
    fn default() -> Self {
        Self {
            card: ReaderInfo {
                id: "built-in/print".to_owned(),
                version: "1".to_owned(),
                title: "printed reports with a text layer (PDF)".to_owned(),
            },
        }
    }
}

/// What an answer to the question about hidden text is about.
const HIDDEN_TEXT: &str = "hidden-text";
/// The answers to it.
const HIDDEN_TEXT_ANSWERS: [&str; 2] = ["read", "left-out"];
/// What is said of curves that are drawn beside printed numbers, and the answers to it.
const DRAWN_CURVE: &str = "drawn-curve";
const DRAWN_CURVE_ANSWERS: [&str; 2] = ["digitised", "left-out"];

/// What is asked about prints.
pub(crate) fn asked() -> impl Iterator<Item = QuestionKind> {
    [
        QuestionKind::one_of(HIDDEN_TEXT, HIDDEN_TEXT_ANSWERS),
        QuestionKind::one_of(DRAWN_CURVE, DRAWN_CURVE_ANSWERS),
    ]
    .into_iter()
}

impl Reader for Print {
    fn card(&self) -> &ReaderInfo {
        &self.card
    }

    fn recognise(&self, glimpse: &SourcePreview<'_>) -> Recognition {
        if is_document(glimpse.start) {
            Recognition::Yes("a PDF document".to_owned())
        } else {
            Recognition::No("no PDF document".to_owned())
        }
    }

    fn read(&self, source: &Source) -> Reading {
        let report = match PrintedReport::open(source) {
            Ok(report) => report,
            Err(why) => return Reading::refused(*why),
        };
        // Text was never decoded here.
        let mut sink = Sink::new(source, &self.card, SpanUnit::Bytes, SourceLimits::WHOLE);
        let told = self.hand_over(source, report, &mut sink);
        sink.finished(told)
    }

    fn explain(&self, source: &Source) -> Vec<ExplainedLines> {
        PrintedReport::open(source).map_or_else(
            |_| Vec::new(),
            |report| report.rendering.explain(source, &self.card),
        )
    }
}

impl Print {
    /// The tables of a report, and the curves of it that are wanted.
    fn hand_over(
        &self,
        source: &Source,
        report: PrintedReport,
        sink: &mut Sink<'_>,
    ) -> Result<(), ContractViolation> {
        let empty = report.rendering.is_empty();
        let mut reading = if empty {
            Reading::default()
        } else {
            report.rendering.read(source, &self.card)
        };
        let settled = source.assume().get(HIDDEN_TEXT).is_some();
        for run in &mut reading.runs {
            mark(run, &report, settled);
        }
        if empty && report.remarks.is_empty() {
            reading.remarks.push(Diagnostic::error(
                code::NO_TABLE,
                "no page of the document has any text",
            ));
        }
        let printed = !reading.runs.is_empty();
        for run in std::mem::take(&mut reading.runs) {
            sink.understood(run.into())?;
        }
        let curves = self.digitise(source, &report, printed, sink)?;
        if !printed && !sink.is_empty() {
            // That there is no table is no error any more.
            reading.remarks.retain(|remark| remark.code != code::NO_TABLE);
        }
        for remark in reading.remarks.into_iter().chain(curves) {
            sink.add_remark(remark)?;
        }
        let read = !sink.is_empty();
        for mut remark in report.remarks {
            if empty {
                remark.severity = Severity::Error;
            } else if read {
                remark.severity = remark.severity.min(Severity::Warning);
            }
            sink.add_remark(remark)?;
        }
        Ok(())
    }

    /// Measures the curves that are drawn, where no numbers are printed, or where it is wanted beside them; what is to be
    /// told of those that were not.
    fn digitise(
        &self,
        source: &Source,
        report: &PrintedReport,
        printed: bool,
        sink: &mut Sink<'_>,
    ) -> Result<Vec<Diagnostic>, ContractViolation> {
        let wanted = source.assume().get(DRAWN_CURVE);
        let mut remarks = Vec::new();
        if wanted.is_some() || !printed {
            remarks.extend(report.not_measured.iter().map(|(page, why)| {
                Diagnostic::note(
                    Code::new("curve-not-digitised"),
                    format!("a curve that is drawn on page {page} was not measured: {why}"),
                )
            }));
        }
        let Some((page, _)) = report.plots.first() else {
            return Ok(remarks);
        };
        match wanted {
            Some("left-out") => return Ok(remarks),
            Some(_) => {}
            None if !printed => {}
            None => {
                remarks.push(
                    Diagnostic::note(
                        Code::new("curve-not-digitised"),
                        format!(
                            "a curve is drawn on page {page}; it was not measured, since numbers are printed"
                        ),
                    )
                    .help(format!(
                        "`--assume {DRAWN_CURVE}=digitised` measures it too, as a run of its own"
                    )),
                );
                return Ok(remarks);
            }
        }
        // What is wrong with a drawing is no harm to the numbers that are printed.
        let mut drawn = Sink::new(source, &self.card, SpanUnit::Bytes, SourceLimits::USUAL);
        let measured = report.plots.iter().try_for_each(|(page, plot)| {
            let said = report.beside_plots.iter().filter(|(other, _)| other == page);
            digitised(&mut drawn, *page, plot, said.map(|(_, text)| text.as_str()))
        });
        match measured.and_then(|()| drawn.finish()) {
            Ok(digitised) => {
                for run in digitised.runs {
                    sink.understood(run.into())?;
                }
                remarks.extend(digitised.remarks);
            }
            Err(breach) => remarks.push(Diagnostic::warning(
                Code::new("curve-not-digitised"),
                format!("the curves that are drawn were not measured: {breach}"),
            )),
        }
        Ok(remarks)
    }
}

/// A plot as a run, with what is written beside it.
fn digitised<'t>(
    sink: &mut Sink<'_>,
    page: usize,
    plot: &PrintedPlot,
    said: impl Iterator<Item = &'t str>,
) -> Result<(), ContractViolation> {
    sink.within(&format!("page {page}"));
    sink.begin_run("", Span::default())?;
    sink.claim(LocatedText::of("recovered-from"), LocatedText::of("drawn curve"))?;
    for text in said {
        let (key, value) = text.split_once(':').unwrap_or(("comment", text));
        sink.claim(LocatedText::of(key.trim()), LocatedText::of(value.trim()))?;
    }
    for (key, scale) in [("resolution of x", &plot.x), ("resolution of y", &plot.y)] {
        sink.claim(LocatedText::of(key), LocatedText::of(&scale.resolution_text()))?;
    }
    sink.remark(
        Severity::Note,
        "digitised",
        "measured from a drawn curve against the ticks of its axes: these are the corners of a line, and no readings",
        Span::default(),
    )?;
    if plot.curves.len() > 1 {
        sink.remark(
            Severity::Warning,
            "curves-not-named",
            "several curves are drawn; which of them is which is not known here: compare them with the picture",
            Span::default(),
        )?;
    }
    for (at, curve) in plot.curves.iter().enumerate() {
        let xs: Vec<String> = curve.iter().map(|point| plot.x.text(point.x)).collect();
        let ys: Vec<String> = curve.iter().map(|point| plot.y.text(point.y)).collect();
        let xs: Vec<LocatedText<'_>> = xs.iter().map(|text| LocatedText::of(text)).collect();
        let ys: Vec<LocatedText<'_>> = ys.iter().map(|text| LocatedText::of(text)).collect();
        sink.axis(&ColumnInput {
            header: LocatedText::of(&plot.x.title),
            values: Values::Texts(&xs),
            ..ColumnInput::default()
        })?;
        let label = format!("curve {}", at + 1);
        sink.curve(&CurveInput {
            label: if plot.curves.len() > 1 { &label } else { "" },
            column: ColumnInput {
                header: LocatedText::of(&plot.y.title),
                values: Values::Texts(&ys),
                ..ColumnInput::default()
            },
            ..CurveInput::default()
        })?;
    }
    sink.end_run()
}

/// The text of a printed report as its reader sees it: a line for each line, tabs between cells.
///
/// # Errors
/// When the document cannot be opened.
pub fn printed_text(source: &Source) -> Result<String, Box<Diagnostic>> {
    Ok(PrintedReport::open(source)?.rendering.text().to_owned())
}

/// Whether bytes begin as those of a PDF document.
pub(super) fn is_document(bytes: &[u8]) -> bool {
    bytes.starts_with(b"%PDF-")
}

/// A report, written out.
struct PrintedReport {
    rendering: Rendering,
    remarks: Vec<Diagnostic>,
    /// The lines, counted through all pages, that lie hidden.
    hidden: BTreeSet<u32>,
    /// The page of each line, counted through all pages from 1.
    pages: Vec<usize>,
    /// What is drawn, with its page.
    plots: Vec<(usize, PrintedPlot)>,
    /// What is written on pages with plots, cell by cell, but at the axes; with the page.
    beside_plots: Vec<(usize, String)>,
    /// Curves that could not be measured: the page and why.
    not_measured: Vec<(usize, &'static str)>,
}

impl PrintedReport {
    fn open(source: &Source) -> Result<Self, Box<Diagnostic>> {
        let bytes = Arc::new(source.bytes().to_vec());
        let pages = glyphs::pages(&bytes).map_err(|refusal| Box::new(diagnostic(refusal)))?;
        let left_out = source.assume().get(HIDDEN_TEXT) == Some("left-out");
        let mut remarks = PageRemarks::default();
        let mut of_pages = Vec::new();
        let (mut of_plots, mut beside_plots, mut not_measured) = (Vec::new(), Vec::new(), Vec::new());
        for page in pages {
            remarks.look_at(&page);
            let drawn = curves::drawn(&page);
            let written = words::written(&page);
            if let Some((text, count)) = written.turned {
                remarks.turned.push((page.number, text, count));
            }
            if written.sideways {
                remarks.sideways.push(page.number);
            }
            let mut rows = layout::rows(drawn.without_ticks(written.lines));
            if !drawn.plots.is_empty() {
                let cells = rows.iter().flat_map(|row| &row.cells);
                let is_title = |text: &str| drawn.plots.iter().any(|plot| plot.x.title == text);
                let said = cells
                    .map(|cell| cell.text.clone())
                    .filter(|text| !text.is_empty() && !is_title(text));
                beside_plots.extend(said.map(|text| (page.number, text)));
            }
            of_plots.extend(drawn.plots.into_iter().map(|plot| (page.number, plot)));
            not_measured.extend(drawn.reasons.into_iter().map(|why| (page.number, why)));
            if left_out {
                rows.retain(|row| !row.hidden);
            }
            of_pages.push((page.number, rows));
        }
        margin::part_furniture(&mut of_pages);
        let mut report = Self {
            rendering: Rendering::default(),
            remarks: Vec::new(),
            hidden: BTreeSet::new(),
            pages: Vec::new(),
            plots: of_plots,
            beside_plots,
            not_measured,
        };
        for (number, rows) in &of_pages {
            report.add_page(*number, rows, &mut remarks);
        }
        report.remarks = remarks.diagnostics();
        Ok(report)
    }

    fn add_page(&mut self, page: usize, rows: &[PrintRow], remarks: &mut PageRemarks) {
        let before = u32::try_from(self.pages.len()).unwrap_or(u32::MAX);
        let lines = rows.iter().map(|row| row.line).max().unwrap_or(0);
        self.pages.extend(std::iter::repeat_n(page, lines));
        for row in rows {
            if row.apart {
                self.rendering.blank();
            }
            let place = |column: usize| Place {
                column: u32::try_from(column + 1).unwrap_or(u32::MAX),
                ..place(page, row.line)
            };
            let line = u32::try_from(row.line).unwrap_or(u32::MAX);
            let through = before.saturating_add(line);
            if row.hidden {
                self.hidden.insert(through);
            }
            if row.cells.iter().any(|cell| cell.text.contains(words::UNKNOWN)) {
                remarks.unknown.push(place(0));
            }
            let cells = row.cells.iter().enumerate();
            let cells = cells.map(|(column, cell)| (cell.text.as_str(), place(column)));
            self.rendering.line_through(through, cells);
        }
    }
}

/// A line of a page.
fn place(page: usize, line: usize) -> Place {
    Place {
        part: Some(format!("page {page}")),
        ..Place::line(line)
    }
}

/// Marks a run as recovered from print.
fn mark(run: &mut Run, report: &PrintedReport, settled: bool) {
    let (first, last) = run.source.lines.unwrap_or((1, 1));
    let page = |line: u32| report.pages.get((line as usize).saturating_sub(1)).copied();
    let pages = match (page(first), page(last)) {
        (Some(first), Some(last)) if first != last => format!("pages {first} to {last}"),
        (Some(page), _) | (None, Some(page)) => format!("page {page}"),
        (None, None) => "the report".to_owned(),
    };
    let origin = Origin::Source(Place {
        part: Some(pages.clone()),
        ..Place::default()
    });
    let hidden = report.hidden.range(first..=last).next();
    let what = if hidden.is_some() {
        "recognised text"
    } else {
        "print"
    };
    run.fields.claim("recovered-from", Claim::text(what, origin));
    run.remarks.push(Diagnostic::note(
        Code::new("recovered-from-print"),
        format!("{pages} of a printed report: the numbers have the digits that were printed, and no more"),
    ));
    if let Some(&line) = hidden
        && !settled
    {
        run.questions.push(question(page(line).unwrap_or(1)));
    }
}

/// The question that text hidden behind a picture raises.
fn question(page: usize) -> Question {
    let says = [
        "the numbers are those that a machine recognised; compare them with the picture first",
        "text that is not printed itself is left out",
    ];
    let readings = HIDDEN_TEXT_ANSWERS.iter().zip(says);
    Question {
        code: Code::new("hidden-text"),
        message: "the text lies hidden behind a picture: it was recognised by a machine, which may have mistaken digits"
            .to_owned(),
        readings: readings
            .map(|(answer, says)| Alternative {
                assume: format!("{HIDDEN_TEXT}={answer}"),
                says: says.to_owned(),
            })
            .collect(),
        labels: vec![Label {
            place: place(page, 0),
            text: "the first such line is here".to_owned(),
        }],
    }
}

/// Why a report was not read at all.
fn diagnostic(refusal: ReportRefusal) -> Diagnostic {
    let too_large = |what: String| {
        Diagnostic::error(Code::new("file-too-large"), what)
            .help("print the pages with the measurement alone into a document of their own")
    };
    match refusal {
        ReportRefusal::Encrypted => Diagnostic::error(
            Code::new("document-encrypted"),
            "the document is encrypted, with or without a password for opening it",
        )
        .help("save it without protection, or print it anew into a document"),
        ReportRefusal::Damaged => Diagnostic::error(
            Code::new("document-damaged"),
            "the document is damaged: its pages are not found",
        )
        .help("open it with a viewer; if that works, print it anew into a document"),
        ReportRefusal::Objects => too_large(format!(
            "the document has more than {} objects",
            unfold::MOST_OBJECTS
        )),
        ReportRefusal::Unfolded => too_large(format!(
            "the streams of the document unfold to more than {} MiB",
            unfold::MOST_UNFOLDED >> 20
        )),
        ReportRefusal::Pages(count) => too_large(format!(
            "the document has {count} pages, and at most {} are read",
            glyphs::MOST_PAGES
        )),
        ReportRefusal::Glyphs => too_large("the document has more letters than any report".to_owned()),
        ReportRefusal::Steps => too_large("the pages of the document take too long to draw".to_owned()),
    }
}

/// What is to be told of the pages.
#[derive(Default)]
struct PageRemarks {
    pictures: Vec<usize>,
    damaged: Vec<usize>,
    sideways: Vec<usize>,
    /// Page, beginning of the text, letters.
    turned: Vec<(usize, String, usize)>,
    unknown: Vec<Place>,
}

impl PageRemarks {
    fn look_at(&mut self, page: &glyphs::PrintedPage) {
        if page.damaged {
            self.damaged.push(page.number);
        }
        if page.glyphs.is_empty() && page.pictures > 0 {
            self.pictures.push(page.number);
        }
    }

    fn diagnostics(self) -> Vec<Diagnostic> {
        let mut all = Vec::new();
        if !self.pictures.is_empty() {
            let what = format!(
                "{} without any text",
                counted(&self.pictures, "only a picture", "only pictures")
            );
            all.push(
                Diagnostic::warning(Code::new("page-is-picture"), what)
                    .help("ask for the numbers as a file, or type them from the picture"),
            );
        }
        if !self.damaged.is_empty() {
            let what = format!(
                "{} to the end",
                counted(
                    &self.damaged,
                    "damaged and was not read",
                    "damaged and were not read"
                )
            );
            all.push(
                Diagnostic::warning(Code::new("page-damaged"), what).help(
                    "compare its end with the original; print the document anew if a viewer shows more",
                ),
            );
        }
        if let Some(first) = self.unknown.first() {
            let what = match self.unknown.len() {
                1 => "a line has signs of which the font does not say what they are".to_owned(),
                n => format!("{n} lines have signs of which the font does not say what they are"),
            };
            all.push(
                Diagnostic::warning(Code::new("sign-unknown"), what)
                    .at(first.clone(), "the first of them")
                    .help("no number with such a sign is read; type it from the print"),
            );
        }
        if let Some((page, text, _)) = self.turned.first() {
            let count: usize = self.turned.iter().map(|turned| turned.2).sum();
            let what = format!(
                "{count} letters run in another direction than the lines and were left out: `{text}`"
            );
            all.push(
                Diagnostic::note(Code::new("text-turned"), what).at(place(*page, 0), "the first of them"),
            );
        }
        if !self.sideways.is_empty() {
            let what = format!(
                "{} rotated on the page and read so",
                counted(&self.sideways, "written", "written")
            );
            all.push(Diagnostic::note(Code::new("page-sideways"), what));
        }
        all
    }
}

/// `page 2 is …`, `pages 2, 3 and 7 are …`.
fn counted(pages: &[usize], one: &str, several: &str) -> String {
    match pages {
        [page] => format!("page {page} is {one}"),
        [first @ .., last] if pages.len() <= 6 => {
            let first: Vec<String> = first.iter().map(ToString::to_string).collect();
            format!("pages {} and {last} are {several}", first.join(", "))
        }
        [first, .., last] => format!("{} pages from {first} to {last} are {several}", pages.len()),
        [] => String::new(),
    }
}
