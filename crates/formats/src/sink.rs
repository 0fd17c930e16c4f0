//! Where a reader puts what it finds, piece by piece.
//!
//! A reader that knows its form says what stood there: a run begins, a key has a value, a column has cells. A [`Sink`]
//! keeps the order, holds the limits, turns cells into numbers and values into claims with the rules of all readers, and
//! asks where quantity or unit is not said. Plugins speak to it through the worker, built-in readers directly.
//!
//! A reader that decides about all tables of a source together has its runs only at the end. It hands each over as a whole,
//! [`CompletedRun`]; order, limits and what holds of every run are the same.
//!
//! What may not be said ends the reading with a [`ContractViolation`]: nothing of it is used then.

mod cells;
mod input;
mod understood;

use std::collections::BTreeMap;
use std::fmt;

use curvary_record::{
    Alternative, Code, Coordinate, Diagnostic, Fields, KnownQuantity, Label, Lines, Origin, Place, Quantity,
    Question, Run, RunId, Severity, SourceRef, Span, Technique, Trace, Unit, Value, code,
};

use self::cells::{CellMeaning, ColumnNumbers};
pub use self::input::{ColumnInput, CurveInput, FixedCoordinateInput, LocatedText, Values};
pub use self::understood::CompletedRun;
use crate::assume::{is_of_reader, stated_axis};
use crate::{ReaderInfo, Reading, Source, preamble};

/// What spans count.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SpanUnit {
    /// Bytes of the decoded text: places have lines and columns.
    Text,
    /// Bytes of the file.
    Bytes,
}

/// How much of one source may be said.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SourceLimits {
    /// Runs.
    pub runs: usize,
    /// Curves of all runs.
    pub curves: usize,
    /// Points of all columns.
    pub points: usize,
    /// Claims, held coordinates and questions.
    pub statements: usize,
    /// Remarks.
    pub remarks: usize,
    /// Bytes of one text.
    pub text: usize,
    /// Bytes of all texts.
    pub texts: usize,
}

impl SourceLimits {
    /// The limits of every reader.
    pub const USUAL: Self = Self {
        runs: 10_000,
        curves: 100_000,
        points: 16 << 20,
        statements: 200_000,
        remarks: 1_000,
        text: 64 << 10,
        texts: 64 << 20,
    };

    /// The limits of readers that hand over runs as a whole: what the longest file can hold that is read in one piece.
    pub const WHOLE: Self = Self {
        runs: 4 << 20,
        curves: 16 << 20,
        points: 2 << 30,
        statements: 64 << 20,
        remarks: 4 << 20,
        text: 64 << 20,
        texts: 2 << 30,
    };
}

/// What a reader said and may not say.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ContractViolation {
    /// What it was, as a sentence.
    pub why: String,
    /// Whether it would have been right, but for a limit.
    pub too_much: bool,
}

impl fmt::Display for ContractViolation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.why)
    }
}

impl std::error::Error for ContractViolation {}

/// Takes what a reader finds in one source and makes runs of it.
///
/// The order is `begin_run (claim | question | axis | curve)* end_run`, as often as there are runs; a remark may come at
/// any time. See [`SourceLimits`] for how much.
pub struct Sink<'a> {
    source: &'a Source,
    card: &'a ReaderInfo,
    counting: SpanUnit,
    limits: SourceLimits,
    left: SourceLimits,
    reading: Reading,
    /// Runs that were taken out before the reading ended.
    handed: usize,
    open: Option<Run>,
    axis: Option<SinkAxis>,
    /// Cells that were no numbers, of the run that is open.
    unreadable: usize,
    /// The part of the source that things are said in.
    part: Option<String>,
}

/// The axis that curves run over.
struct SinkAxis {
    meaning: CellMeaning,
    numbered: ColumnNumbers,
}

/// Cells that are no numbers are told one by one up to here.
const TOLD: usize = 20;

impl<'a> Sink<'a> {
    /// A sink for what the reader of this card finds in a source.
    #[must_use]
    pub fn new(source: &'a Source, card: &'a ReaderInfo, counting: SpanUnit, limits: SourceLimits) -> Self {
        Self {
            source,
            card,
            counting,
            limits,
            left: limits,
            reading: Reading::default(),
            handed: 0,
            open: None,
            axis: None,
            unreadable: 0,
            part: None,
        }
    }

    /// What is said from now on without a place of its own stands in this part of the source, such as a member of an
    /// archive.
    pub fn within(&mut self, part: &str) {
        self.part = Some(line_of(part));
    }

    /// The source that is read.
    #[must_use]
    pub fn source(&self) -> &'a Source {
        self.source
    }

    /// The name of the next run, and where it comes from.
    fn numbered(&self, lines: Option<(u32, u32)>) -> (RunId, SourceRef) {
        let ordinal = self.handed + self.reading.runs.len();
        let source = SourceRef {
            path: self.source.path().to_owned(),
            digest: self.source.digest().clone(),
            reader: self.card.id.clone(),
            reader_version: self.card.version.clone(),
            encoding: (self.counting == SpanUnit::Text).then(|| self.source.encoding().to_owned()),
            ordinal: u32::try_from(ordinal).unwrap_or(u32::MAX),
            lines,
        };
        (RunId::new(self.source.digest(), ordinal), source)
    }

    /// A run as a whole, from its beginning to its end.
    ///
    /// # Errors
    /// When a run is open, there is too much of something, or columns are what none can be.
    pub fn understood(&mut self, run: CompletedRun) -> Result<(), ContractViolation> {
        if self.open.is_some() {
            return breach("a run was begun before the run before it was ended");
        }
        take(&mut self.left.runs, 1, || format!("{} runs", self.limits.runs))?;
        take(&mut self.left.curves, run.traces.len(), || {
            format!("{} curves", self.limits.curves)
        })?;
        take(&mut self.left.points, run.points(), || {
            format!("{} points", self.limits.points)
        })?;
        take(&mut self.left.statements, run.statements(), || {
            format!("{} claims", self.limits.statements)
        })?;
        take(&mut self.left.remarks, run.remarks.len(), || {
            format!("{} remarks", self.limits.remarks)
        })?;
        for text in run.texts() {
            self.texts(&[text])?;
        }
        run.check()?;
        let (id, source) = self.numbered(run.lines);
        let empty = run.is_empty();
        let run = Run {
            id,
            source,
            technique: run.technique,
            because: run.because,
            fields: run.fields,
            traces: run.traces,
            questions: run.questions,
            remarks: run.remarks,
        };
        if empty {
            self.leave_out(run);
        } else {
            self.reading.runs.push(run);
        }
        Ok(())
    }

    /// A remark on the source, as a whole.
    ///
    /// # Errors
    /// When there are too many.
    pub fn add_remark(&mut self, remark: Diagnostic) -> Result<(), ContractViolation> {
        take(&mut self.left.remarks, 1, || {
            format!("{} remarks", self.limits.remarks)
        })?;
        self.reading.remarks.push(remark);
        Ok(())
    }

    /// What several readings of parts of the source gave: their runs are numbered through, and why one of several parts is
    /// none is told once.
    ///
    /// # Errors
    /// As for [`Sink::understood`] and [`Sink::add_remark`].
    pub fn parts(&mut self, readings: impl IntoIterator<Item = Reading>) -> Result<(), ContractViolation> {
        let mut refused: BTreeMap<String, Diagnostic> = BTreeMap::new();
        let mut failed = false;
        for reading in readings {
            failed |= reading.failed;
            if reading.runs.is_empty() {
                for remark in reading.remarks {
                    refused.entry(remark.message.clone()).or_insert(remark);
                }
                continue;
            }
            for run in reading.runs {
                self.understood(run.into())?;
            }
            for remark in reading.remarks {
                self.add_remark(remark)?;
            }
        }
        let read = !self.reading.runs.is_empty();
        self.reading.failed = failed && !read;
        for mut remark in refused.into_values() {
            if read {
                // A table of something else beside a measurement is no error.
                remark.severity = remark.severity.min(Severity::Warning);
            }
            self.add_remark(remark)?;
        }
        Ok(())
    }

    /// Whether no run was found yet.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.handed == 0 && self.reading.runs.is_empty()
    }

    /// Takes out the runs that were found since the last time. Their numbers go on.
    pub(crate) fn hand_out(&mut self) -> Vec<Run> {
        self.handed += self.reading.runs.len();
        std::mem::take(&mut self.reading.runs)
    }

    /// A run begins. `technique` may be empty: then the axes tell.
    ///
    /// # Errors
    /// When the run before has not ended, or there are too many.
    pub fn begin_run(&mut self, technique: &str, span: Span) -> Result<(), ContractViolation> {
        if self.open.is_some() {
            return breach("a run was begun before the run before it was ended");
        }
        take(&mut self.left.runs, 1, || format!("{} runs", self.limits.runs))?;
        if !technique.is_empty() && !is_name(technique) {
            return breach(format!(
                "`{}` is no technique: expected small letters and hyphens, such as `time-course`",
                shortened(technique)
            ));
        }
        let place = self.place(span);
        // A run that is left out takes no number: the next one has it.
        let (id, source) = self.numbered((place.line > 0).then_some((place.line, place.line)));
        self.open = Some(Run {
            id,
            source,
            technique: if technique.is_empty() {
                Technique::UNKNOWN
            } else {
                known(technique)
            },
            because: vec![format!("`{}` states axes and units", self.card.id)],
            fields: Fields::default(),
            traces: Vec::new(),
            questions: Vec::new(),
            remarks: Vec::new(),
        });
        self.axis = None;
        self.unreadable = 0;
        Ok(())
    }

    /// A key with its value, said of the run.
    ///
    /// # Errors
    /// When no run is open, or there are too many.
    pub fn claim(&mut self, key: LocatedText<'_>, value: LocatedText<'_>) -> Result<(), ContractViolation> {
        self.texts(&[key.text, value.text])?;
        self.count_statement()?;
        let place = self.place(value.span);
        let source = self.source;
        let run = self.run("a claim")?;
        preamble::claim_at(
            &mut run.fields,
            &mut run.questions,
            source,
            key.text,
            value.text,
            place,
        );
        Ok(())
    }

    /// The axis that the next curves run over.
    ///
    /// # Errors
    /// When no run is open, the quantity or the unit cannot be, or there are too many points.
    pub fn axis(&mut self, column: &ColumnInput<'_>) -> Result<(), ContractViolation> {
        self.run("an axis")?;
        let (meaning, numbered) = self.column("x", column)?;
        self.axis = Some(SinkAxis { meaning, numbered });
        Ok(())
    }

    /// A curve over the last axis.
    ///
    /// # Errors
    /// When there is no axis or one of another length, the quantity or the unit cannot be, or there is too much.
    pub fn curve(&mut self, curve: &CurveInput<'_>) -> Result<(), ContractViolation> {
        self.run("a curve")?;
        take(&mut self.left.curves, 1, || {
            format!("{} curves", self.limits.curves)
        })?;
        let length = match &self.axis {
            Some(axis) => axis.numbered.count,
            None => return breach("a curve came before an axis"),
        };
        if length != curve.column.values.len() {
            return breach(format!(
                "a curve of {} values came over an axis of {length}",
                curve.column.values.len()
            ));
        }
        self.texts(&[curve.label])?;
        let (meaning, numbered) = self.column("y", &curve.column)?;
        let mut held = Vec::with_capacity(curve.held.len());
        for one in curve.held {
            held.push(self.held(one)?);
        }
        let mut fields = Fields::default();
        let mut questions = Vec::new();
        for (key, value) in curve.claims {
            self.texts(&[key.text, value.text])?;
            self.count_statement()?;
            let place = self.place(value.span);
            preamble::claim_at(
                &mut fields,
                &mut questions,
                self.source,
                key.text,
                value.text,
                place,
            );
        }
        let Some(axis) = &self.axis else {
            return breach("a curve came before an axis");
        };
        let mut trace = joined(axis, meaning, &numbered);
        trace.label = (!curve.label.trim().is_empty()).then(|| curve.label.trim().to_owned());
        trace.held = held;
        trace.fields = fields;
        let run = self.run("a curve")?;
        if let (Some(first), Some(last)) = (
            trace.lines.get(0),
            trace.lines.get(trace.lines.len().saturating_sub(1)),
        ) {
            let (from, to) = (first.min(last), first.max(last));
            let lines = run.source.lines.get_or_insert((from, to));
            *lines = (lines.0.min(from), lines.1.max(to));
        }
        for question in questions {
            if !run.questions.contains(&question) {
                run.questions.push(question);
            }
        }
        run.traces.push(trace);
        Ok(())
    }

    /// Something odd, with its place.
    ///
    /// # Errors
    /// When the code is no word, or there are too many.
    pub fn remark(
        &mut self,
        severity: Severity,
        code: &str,
        message: &str,
        span: Span,
    ) -> Result<(), ContractViolation> {
        self.texts(&[code, message])?;
        take(&mut self.left.remarks, 1, || {
            format!("{} remarks", self.limits.remarks)
        })?;
        if !is_name(code) {
            return breach(format!(
                "`{}` is no code of a remark: expected small letters and hyphens",
                shortened(code)
            ));
        }
        let mut remark = Diagnostic::new(Code::named(code), severity, line_of(message));
        let place = self.place(span);
        if place != Place::default() {
            remark = remark.at(place, "");
        }
        match &mut self.open {
            Some(run) => run.remarks.push(remark),
            None => self.reading.remarks.push(remark),
        }
        Ok(())
    }

    /// Something that only a person can decide, about the run. `about` is the reader's own word; each answer comes with
    /// what the file says under it.
    ///
    /// # Errors
    /// When no run is open, or a word is none.
    pub fn question(
        &mut self,
        about: &str,
        message: &str,
        answers: &[(&str, &str)],
        span: Span,
    ) -> Result<(), ContractViolation> {
        self.count_statement()?;
        self.texts(&[about, message])?;
        let about = format!("{}/{about}", self.card.id.rsplit('/').next().unwrap_or_default());
        if !is_of_reader(&about) {
            return breach(format!("`{}` is no name of a question", shortened(&about)));
        }
        if answers.len() < 2 || answers.len() > 20 {
            return breach(format!("a question has 2 to 20 answers, found {}", answers.len()));
        }
        let mut readings = Vec::new();
        for (answer, says) in answers {
            self.texts(&[answer, says])?;
            if !is_name(answer) {
                return breach(format!(
                    "`{}` is no answer: expected small letters and hyphens",
                    shortened(answer)
                ));
            }
            readings.push(Alternative {
                assume: format!("{about}={answer}"),
                says: line_of(says),
            });
        }
        let place = self.place(span);
        let mut labels = Vec::new();
        if place != Place::default() {
            labels.push(Label {
                place,
                text: String::new(),
            });
        }
        let question = Question {
            code: Code::new("reader-asks"),
            message: line_of(message),
            readings,
            labels,
        };
        self.ask(question)
    }

    /// The run ends.
    ///
    /// # Errors
    /// When none is open.
    pub fn end_run(&mut self) -> Result<(), ContractViolation> {
        let Some(mut run) = self.open.take() else {
            return breach("a run was ended before one was begun");
        };
        if self.unreadable > TOLD {
            run.remarks.push(Diagnostic::warning(
                Code::new("number-not-readable"),
                format!("and {} more cells are no numbers", self.unreadable - TOLD),
            ));
        }
        if run.traces.iter().all(Trace::is_empty) {
            self.leave_out(run);
            return Ok(());
        }
        if run.technique == Technique::UNKNOWN {
            run.technique = technique_of(&run.traces);
        }
        hold_wavelength(&mut run);
        self.reading.runs.push(run);
        Ok(())
    }

    /// A run without a point is none, and that is told.
    fn leave_out(&mut self, mut run: Run) {
        let why = Diagnostic::error(code::NO_TABLE, "the run has no points");
        let place = run.source.lines.map(|(line, _)| Place::line(line as usize));
        self.reading.remarks.push(match place {
            Some(place) => why.at(place, "it begins here"),
            None => why,
        });
        self.reading.remarks.append(&mut run.remarks);
    }

    /// What was found.
    ///
    /// # Errors
    /// When a run has not ended.
    pub fn finish(mut self) -> Result<Reading, ContractViolation> {
        if self.open.is_some() {
            return breach("the last run was not ended");
        }
        let told = |remark: &Diagnostic| remark.severity == Severity::Error;
        if self.is_empty() && !self.reading.remarks.iter().any(told) {
            self.reading.remarks.push(Diagnostic::error(
                code::NO_TABLE,
                format!("`{}` found no run", self.card.id),
            ));
        }
        Ok(self.reading)
    }

    /// What was found by a reader that is built in. What it may not say is a mistake of its own; too much is the file's.
    #[must_use]
    pub fn finished(self, told: Result<(), ContractViolation>) -> Reading {
        match told.and_then(|()| self.finish()) {
            Ok(reading) => reading,
            Err(breach) if breach.too_much => Reading::refused(
                Diagnostic::error(Code::new("file-too-large"), format!("the file holds {breach}"))
                    .help("split it, for instance into one file a measurement"),
            ),
            Err(breach) => Reading::failed(Diagnostic::error(
                Code::new("reader-failed"),
                format!("the reader said what it may not say: {breach}"),
            )),
        }
    }

    /// What was remarked so far, for a reader that gives up.
    #[must_use]
    pub fn remarks(mut self) -> Vec<Diagnostic> {
        if let Some(run) = self.open {
            self.reading.remarks.extend(run.remarks);
        }
        self.reading.remarks
    }

    fn run(&mut self, what: &str) -> Result<&mut Run, ContractViolation> {
        match &mut self.open {
            Some(run) => Ok(run),
            None => breach(format!("{what} came outside a run")),
        }
    }

    fn ask(&mut self, question: Question) -> Result<(), ContractViolation> {
        if self.source.assume().settle(&question) {
            return Ok(());
        }
        let run = self.run("a question")?;
        if !run.questions.contains(&question) {
            run.questions.push(question);
        }
        Ok(())
    }

    fn count_statement(&mut self) -> Result<(), ContractViolation> {
        take(&mut self.left.statements, 1, || {
            format!("{} claims", self.limits.statements)
        })
    }

    fn texts(&mut self, texts: &[&str]) -> Result<(), ContractViolation> {
        for text in texts {
            if text.len() > self.limits.text {
                return Err(ContractViolation {
                    why: format!(
                        "a text of {} bytes; at most {} are taken",
                        text.len(),
                        self.limits.text
                    ),
                    too_much: true,
                });
            }
            take(&mut self.left.texts, text.len(), || {
                format!("{} bytes of texts", self.limits.texts)
            })?;
        }
        Ok(())
    }

    fn place(&self, span: Span) -> Place {
        match self.counting {
            _ if span.start >= span.end => Place {
                part: self.part.clone(),
                ..Place::default()
            },
            SpanUnit::Text => self.source.place(span),
            SpanUnit::Bytes => Place {
                bytes: Some(span),
                ..Place::default()
            },
        }
    }

    fn held(&mut self, said: &FixedCoordinateInput<'_>) -> Result<Coordinate, ContractViolation> {
        self.texts(&[said.quantity, said.unit, said.value.text])?;
        self.count_statement()?;
        let unit = unit_of(said.unit);
        let quantity = stated(said.quantity, unit.as_ref())?;
        let Some(unit) = unit.or_else(|| customary(&quantity)) else {
            return breach(format!("a held `{quantity}` has no unit"));
        };
        let Some((value, _)) = cells::number(said.value.text.trim(), false) else {
            return breach(format!(
                "a held `{quantity}` has no number: `{}`",
                shortened(said.value.text)
            ));
        };
        let line = self.place(said.value.span).line;
        Ok(Coordinate {
            raw: Some(said.value.text.trim().to_owned()),
            line: (line > 0).then_some(line),
            ..Coordinate::new(quantity, unit, value)
        })
    }

    /// What a column means and holds; what must be asked about it is asked.
    fn column(
        &mut self,
        axis: &str,
        said: &ColumnInput<'_>,
    ) -> Result<(CellMeaning, ColumnNumbers), ContractViolation> {
        self.texts(&[said.header.text, said.quantity, said.unit])?;
        take(&mut self.left.points, said.values.len(), || {
            format!("{} points", self.limits.points)
        })?;
        let (meaning, question) = self.meaning(axis, said)?;
        if let Some(question) = question {
            self.ask(question)?;
        }
        let counting = self.counting;
        let source = self.source;
        let mut unreadable = Vec::new();
        let mut more = 0;
        let numbered = cells::read(said, source, counting, |text, span| {
            if unreadable.len() < TOLD {
                unreadable.push((shortened(text), span));
            } else {
                more += 1;
            }
        })?;
        for (text, span) in unreadable {
            self.unreadable += 1;
            if self.unreadable > TOLD {
                continue;
            }
            let place = self.place(span);
            let remark = Diagnostic::warning(
                Code::new("number-not-readable"),
                format!("`{text}` is no number; the point was left out"),
            );
            let remark = if place == Place::default() {
                remark
            } else {
                remark.at(place, "")
            };
            self.run("a column")?.remarks.push(remark);
        }
        self.unreadable += more;
        Ok((meaning, numbered))
    }

    fn meaning(
        &self,
        axis: &str,
        said: &ColumnInput<'_>,
    ) -> Result<(CellMeaning, Option<Question>), ContractViolation> {
        let head = crate::column_header::read_column_header(said.header.text);
        let stated_unit = unit_of(said.unit).or(head.unit);
        let quantity = if said.quantity.is_empty() {
            head.quantity
        } else {
            Some(stated(said.quantity, stated_unit.as_ref())?)
        };
        let unit = stated_unit.or_else(|| quantity.as_ref().and_then(customary));
        let name = said.header.text.trim();
        let named = (!name.is_empty()).then(|| name.to_owned());
        // A header whose unit cannot be one of its quantity says nothing for sure.
        let quantity = quantity.filter(|quantity| {
            stated_axis(quantity.as_str(), unit.as_ref()).is_ok() || !said.quantity.is_empty()
        });
        if let (Some(quantity), Some(unit)) = (quantity.clone(), unit.clone()) {
            return Ok((
                CellMeaning {
                    quantity,
                    unit,
                    name: named,
                },
                None,
            ));
        }
        if let Some((answered, own)) = self.source.assume().axis(axis)
            && quantity.as_ref().is_none_or(|quantity| *quantity == answered)
            && let Some(unit) = own.or_else(|| unit.clone()).or_else(|| customary(&answered))
        {
            return Ok((
                CellMeaning {
                    quantity: answered,
                    unit,
                    name: named,
                },
                None,
            ));
        }
        let offers: &[&str] = match (quantity.as_ref().map(Quantity::as_str), axis) {
            (Some("time"), _) => &["time:s", "time:min", "time:h"],
            (Some("wavelength"), _) => &["wavelength:nm", "wavelength:um"],
            (Some("transmittance"), _) => &["transmittance:%", "transmittance:1"],
            (Some("reflectance"), _) => &["reflectance:%", "reflectance:1"],
            (Some(_), _) => &[],
            (None, "x") => &["wavelength:nm", "time:s", "time:min", "wavenumber:/cm"],
            (None, _) => &["absorbance:{AU}", "transmittance:%"],
        };
        let what = match &quantity {
            Some(quantity) => format!("the unit of the {quantity} on the {axis} axis is not said"),
            None => format!("what the {axis} axis is of is not said"),
        };
        let question = Question {
            code: code::AXIS_UNKNOWN,
            message: if name.is_empty() {
                what
            } else {
                format!("{what}; its header is `{}`", shortened(name))
            },
            readings: offers
                .iter()
                .map(|offer| Alternative {
                    assume: format!("{axis}={offer}"),
                    says: format!("the {axis} axis is {}", offer.replace(':', " in ")),
                })
                .collect(),
            labels: match self.place(said.header.span) {
                place if place == Place::default() => Vec::new(),
                place => vec![Label {
                    place,
                    text: String::new(),
                }],
            },
        };
        let meaning = CellMeaning {
            quantity: quantity.unwrap_or(Quantity::UNKNOWN),
            unit: unit.unwrap_or(Unit::ONE),
            name: named,
        };
        Ok((meaning, Some(question)))
    }
}

fn breach<T>(why: impl Into<String>) -> Result<T, ContractViolation> {
    Err(ContractViolation {
        why: why.into(),
        too_much: false,
    })
}

fn take(left: &mut usize, count: usize, limit: impl Fn() -> String) -> Result<(), ContractViolation> {
    match left.checked_sub(count) {
        Some(rest) => {
            *left = rest;
            Ok(())
        }
        None => Err(ContractViolation {
            why: format!("more than {} of one file", limit()),
            too_much: true,
        }),
    }
}

/// A name of small letters, digits and hyphens.
fn is_name(text: &str) -> bool {
    let plain = |byte: u8| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'-';
    (1..=60).contains(&text.len()) && text.bytes().all(plain)
}

fn known(technique: &str) -> Technique {
    let known = Technique::ALL
        .into_iter()
        .find(|known| known.as_str() == technique);
    known.unwrap_or_else(|| Technique::named(technique))
}

/// A text for a message: one line, not long, without signs that a terminal would obey.
fn shortened(text: &str) -> String {
    let line = line_of(text);
    match line.char_indices().nth(60) {
        Some((at, _)) => format!("{}…", &line[..at]),
        None => line,
    }
}

fn line_of(text: &str) -> String {
    let flat = |sign: char| if sign.is_control() { ' ' } else { sign };
    text.trim().chars().map(flat).collect()
}

/// The unit of a UCUM code or of what people write; one that is not known here keeps its name as an annotation.
fn unit_of(text: &str) -> Option<Unit> {
    let text = text.trim();
    if text.is_empty() {
        return None;
    }
    let known = Unit::ucum(text).ok();
    let written = || curvary_record::unit::spelled(text).one().cloned();
    let own = || {
        let name: String = text
            .chars()
            .filter(|c| c.is_ascii_graphic() && !matches!(c, '{' | '}'))
            .collect();
        Unit::ucum(&format!("{{{name}}}")).ok()
    };
    known.or_else(written).or_else(own)
}

/// The unit of a quantity that needs none.
fn customary(quantity: &Quantity) -> Option<Unit> {
    match quantity.known() {
        Some(KnownQuantity::Absorbance) => Some(Unit::ABSORBANCE),
        Some(KnownQuantity::Ph) => Some(Unit::PH),
        Some(KnownQuantity::Index) => Some(Unit::ONE),
        _ => None,
    }
}

fn stated(quantity: &str, unit: Option<&Unit>) -> Result<Quantity, ContractViolation> {
    stated_axis(quantity, unit).or_else(|expected| {
        breach(format!(
            "`{}` is not what a column can be of: expected {expected}",
            shortened(quantity)
        ))
    })
}

/// A curve of the points at which both axis and curve have a number.
fn joined(axis: &SinkAxis, meaning: CellMeaning, y: &ColumnNumbers) -> Trace {
    let x = &axis.numbered;
    let lines = |numbered: &ColumnNumbers| !numbered.lines.is_empty();
    let of = if lines(y) { y } else { x };
    let whole = x.absent.is_empty() && y.absent.is_empty();
    let mut trace = Trace {
        label: None,
        x: axis.meaning.column(x.numbers.clone(), x.decimals.clone()),
        y: meaning.column(y.numbers.clone(), y.decimals.clone()),
        held: Vec::new(),
        fields: Fields::default(),
        lines: Lines::default(),
        row_names: Vec::new(),
        absent: 0,
        saturated: Vec::new(),
        number: None,
    };
    let both: Vec<bool> = if whole {
        Vec::new()
    } else {
        (0..x.count).map(|at| x.has(at) && y.has(at)).collect()
    };
    if !whole {
        (trace.x.values, trace.x.decimals) = x.only(&both);
        (trace.y.values, trace.y.decimals) = y.only(&both);
        trace.absent = u32::try_from(x.unreadable + y.unreadable).unwrap_or(u32::MAX);
    }
    for (at, line) in of.lines.iter().enumerate() {
        if whole || both.get(at).copied().unwrap_or(false) {
            trace.lines.push(*line as usize);
        }
    }
    trace
}

fn technique_of(traces: &[Trace]) -> Technique {
    let Some(first) = traces.first() else {
        return Technique::UNKNOWN;
    };
    match first.x.quantity.known() {
        Some(
            KnownQuantity::Wavelength
            | KnownQuantity::Wavenumber
            | KnownQuantity::Energy
            | KnownQuantity::Frequency,
        ) => {
            if traces.len() > 1 && traces.iter().all(|trace| trace.held(&Quantity::TIME).is_some()) {
                Technique::SPECTRAL_TIME_COURSE
            } else {
                Technique::SPECTRUM
            }
        }
        Some(KnownQuantity::Time) => Technique::TIME_COURSE,
        Some(KnownQuantity::Concentration) if first.y.quantity == Quantity::RATE => Technique::RATE_SERIES,
        Some(KnownQuantity::Concentration | KnownQuantity::Index) => Technique::FIXED_WAVELENGTH,
        Some(
            KnownQuantity::TimeOfDay
            | KnownQuantity::Date
            | KnownQuantity::Absorbance
            | KnownQuantity::Transmittance
            | KnownQuantity::Reflectance
            | KnownQuantity::Intensity
            | KnownQuantity::Temperature
            | KnownQuantity::Dilution
            | KnownQuantity::Rate
            | KnownQuantity::Ph
            | KnownQuantity::Item
            | KnownQuantity::Sample
            | KnownQuantity::Flag
            | KnownQuantity::Unknown,
        )
        | None => Technique::UNKNOWN,
    }
}

/// Time courses hold the wavelength that is said of their run.
fn hold_wavelength(run: &mut Run) {
    let Some(claim) = run.fields.get("wavelength") else {
        return;
    };
    let (Value::Number(value), Some(unit)) = (&claim.value, &claim.unit) else {
        return;
    };
    let line = match &claim.origin {
        Origin::Source(place) => Some(place.line).filter(|&line| line > 0),
        _ => None,
    };
    let held = Coordinate {
        raw: Some(claim.raw.clone()),
        line,
        ..Coordinate::new(Quantity::WAVELENGTH, unit.clone(), *value)
    };
    for trace in &mut run.traces {
        if trace.x.quantity == Quantity::TIME && trace.held(&Quantity::WAVELENGTH).is_none() {
            trace.held.push(held.clone());
        }
    }
}

#[cfg(test)]
mod tests;
