//! The one trait of all exporters, and what drives it.

use std::collections::BTreeSet;
use std::fmt;
use std::io::{self, Seek, Write};

use curvary_record::{Code, Diagnostic, Digest, Outcome, Run, code};

use super::csv::WriteError;
use super::units::{UnitSurvey, Units};

/// A run with what computations found about it.
#[derive(Clone, Copy, Debug)]
pub struct ExportedRun<'a> {
    /// The run.
    pub run: &'a Run,
    /// What was found about it, oldest first. One that speaks of several runs comes with each of them.
    pub results: &'a [Outcome],
    /// The digest of all curves of the run, where only some of them are here.
    pub whole: Option<&'a Digest>,
}

impl<'a> ExportedRun<'a> {
    /// A whole run of which nothing was computed.
    #[must_use]
    pub fn bare(run: &'a Run) -> Self {
        Self {
            run,
            results: &[],
            whole: None,
        }
    }
}

/// Where a file is written.
pub trait Output: Write + Seek + Send {}

impl<T: Write + Seek + Send> Output for T {}

/// Which of an export's files.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ExportPart<'a> {
    /// The file that was named, where an export is one file.
    Main,
    /// The description beside it.
    Schema,
    /// A file in the folder that was named, where an export is a folder.
    Member(&'a str),
}

/// Gives exporters their files. A file is whole once the exporter has finished and dropped it.
pub trait Files {
    /// A new file.
    ///
    /// # Errors
    /// When it cannot be written.
    fn create(&mut self, part: ExportPart<'_>) -> io::Result<Box<dyn Output>>;
}

/// Why an export failed.
#[derive(Debug)]
pub enum ExportError {
    /// A file could not be written.
    Io(io::Error),
    /// The runs do not fit the format as asked; nothing was written yet.
    Refused(Box<Diagnostic>),
    /// The runs changed between the two passes.
    Changed(WriteError),
}

impl fmt::Display for ExportError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Io(error) => error.fmt(f),
            Self::Refused(why) => f.write_str(&why.message),
            Self::Changed(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for ExportError {}

impl From<io::Error> for ExportError {
    fn from(error: io::Error) -> Self {
        Self::Io(error)
    }
}

impl From<serde_json::Error> for ExportError {
    fn from(error: serde_json::Error) -> Self {
        Self::Io(error.into())
    }
}

impl From<WriteError> for ExportError {
    fn from(error: WriteError) -> Self {
        match error {
            WriteError::Io(error) => Self::Io(error),
            error => Self::Changed(error),
        }
    }
}

/// What a format has room for beside numbers, units and the strongest claim of each field.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct FormatRoom {
    /// All claims of a field, with their origins.
    pub all_claims: bool,
    /// What was odd about a run.
    pub remarks: bool,
    /// What computations found.
    pub results: bool,
    /// The fields of runs and curves.
    pub fields: bool,
    /// Marks of single points.
    pub marks: bool,
}

impl FormatRoom {
    /// Everything has room.
    pub const ALL: Self = Self {
        all_claims: true,
        remarks: true,
        results: true,
        fields: true,
        marks: true,
    };
}

/// A format.
pub trait Exporter {
    /// What it has room for.
    fn room(&self) -> FormatRoom;

    /// Looks at a run, before anything is written.
    fn see(&mut self, subject: &ExportedRun<'_>);

    /// Opens the files, every run being seen.
    ///
    /// # Errors
    /// When the runs do not fit the format, or a file cannot be written.
    fn begin(&mut self, files: &mut dyn Files) -> Result<(), ExportError>;

    /// Writes a run.
    ///
    /// # Errors
    /// When it was not seen, or a file cannot be written.
    fn write(&mut self, subject: &ExportedRun<'_>) -> Result<(), ExportError>;

    /// Writes what is left and closes the files; gives remarks on what could not be written as asked.
    ///
    /// # Errors
    /// When a file cannot be written.
    fn finish(&mut self, files: &mut dyn Files) -> Result<Vec<Diagnostic>, ExportError>;
}

/// Runs that can be gone through more than once, in the same order.
pub trait ExportedRuns {
    /// Gives every run in turn.
    ///
    /// # Errors
    /// What `take` says, or that a run cannot be read.
    fn each(
        &mut self,
        take: &mut dyn FnMut(&ExportedRun<'_>) -> Result<(), ExportError>,
    ) -> Result<(), ExportError>;
}

impl ExportedRuns for &[Run] {
    fn each(
        &mut self,
        take: &mut dyn FnMut(&ExportedRun<'_>) -> Result<(), ExportError>,
    ) -> Result<(), ExportError> {
        self.iter().try_for_each(|run| take(&ExportedRun::bare(run)))
    }
}

/// What is to be said of an export.
#[derive(Clone, Debug, Default)]
pub struct ExportRemarks {
    /// What could not be written as asked.
    pub remarks: Vec<Diagnostic>,
    /// What the format has no room for, whatever the runs are.
    pub not_carried: Option<Diagnostic>,
}

/// Writes all runs; says what the format could not carry.
///
/// The runs are gone through three times (units, columns, writing), or twice where units stay as read; none is held longer
/// than it is looked at.
///
/// # Errors
/// As [`Exporter`]; what was half written must be thrown away.
pub fn export(
    exporter: &mut dyn Exporter,
    subjects: &mut dyn ExportedRuns,
    units: Units,
    files: &mut dyn Files,
) -> Result<ExportRemarks, ExportError> {
    let mut survey = UnitSurvey::default();
    if units != Units::AsRead {
        subjects.each(&mut |subject| {
            survey.see(subject.run);
            Ok(())
        })?;
    }
    let plan = survey.plan(units);
    let (mut left, mut stays) = (Omissions::default(), BTreeSet::new());
    let room = exporter.room();
    subjects.each(&mut |subject| {
        let run = plan.apply(subject.run, &mut stays);
        left.see(subject, room);
        exporter.see(&ExportedRun {
            run: &run,
            ..*subject
        });
        Ok(())
    })?;
    exporter.begin(files)?;
    let mut known = BTreeSet::new();
    subjects.each(&mut |subject| {
        let run = plan.apply(subject.run, &mut known);
        exporter.write(&ExportedRun {
            run: &run,
            ..*subject
        })
    })?;
    let mut remarks = exporter.finish(files)?;
    let more = stays.len().saturating_sub(STAYS);
    let mut stays: Vec<String> = stays.into_iter().take(STAYS).collect();
    if more > 0 {
        stays.push(format!("{more} more quantities stay in their own units"));
    }
    remarks.extend(
        stays
            .into_iter()
            .map(|message| Diagnostic::warning(Code::new("unit-stays"), message)),
    );
    Ok(ExportRemarks {
        remarks,
        not_carried: left.not_carried(),
    })
}

/// So many quantities that stay in their own units are told one by one.
const STAYS: usize = 5;

/// What a format leaves behind.
#[derive(Default)]
struct Omissions {
    disputes: u64,
    remarks: u64,
    results: BTreeSet<String>,
    fields: u64,
    marks: u64,
}

impl Omissions {
    fn see(&mut self, subject: &ExportedRun<'_>, room: FormatRoom) {
        let ExportedRun { run, results, .. } = subject;
        let all_fields = || std::iter::once(&run.fields).chain(run.traces.iter().map(|trace| &trace.fields));
        if !room.all_claims {
            self.disputes += all_fields()
                .map(|fields| fields.disputes().count() as u64)
                .sum::<u64>();
        }
        if !room.remarks {
            self.remarks += run.remarks.len() as u64;
        }
        if !room.results {
            self.results
                .extend(results.iter().map(|result| result.id.clone()));
        }
        if !room.fields {
            self.fields += all_fields().map(|fields| fields.len() as u64).sum::<u64>();
        }
        if !room.marks {
            self.marks += run
                .traces
                .iter()
                .map(|trace| trace.saturated.len() as u64)
                .sum::<u64>();
        }
    }

    /// One remark on all of it, since it is the same for a whole export.
    fn not_carried(&self) -> Option<Diagnostic> {
        let kinds = [
            (self.fields, "field", "fields"),
            (
                self.disputes,
                "field of which only the strongest of several claims is written",
                "fields of which only the strongest of several claims is written",
            ),
            (
                self.marks,
                "mark of a point over range",
                "marks of points over range",
            ),
            (self.remarks, "remark", "remarks"),
            (self.results.len() as u64, "result", "results"),
        ];
        let list: Vec<String> = kinds
            .iter()
            .filter(|(count, ..)| *count > 0)
            .map(|(count, one, many)| format!("{count} {}", if *count == 1 { one } else { many }))
            .collect();
        (!list.is_empty()).then(|| {
            Diagnostic::note(
                code::NOT_CARRIED,
                format!("this format has no room for {}", list.join(", ")),
            )
            .help("`--to json` and `--to bundle` carry everything")
        })
    }
}

/// Tidy CSV with its Table Schema beside it.
#[derive(Default)]
pub struct TidyCsvExporter {
    options: super::csv::CsvOptions,
    survey: super::csv::Survey,
    writer: Option<TableWriter>,
}

/// A table being written.
pub(super) type TableWriter = super::csv::CsvWriter<Box<dyn Output>, std::sync::Arc<super::csv::CsvTable>>;

impl TidyCsvExporter {
    /// A tidy table.
    #[must_use]
    pub fn new(options: super::csv::CsvOptions) -> Self {
        Self {
            options,
            survey: super::csv::Survey::new(options),
            writer: None,
        }
    }
}

impl Exporter for TidyCsvExporter {
    fn room(&self) -> FormatRoom {
        FormatRoom {
            fields: true,
            marks: true,
            ..FormatRoom::default()
        }
    }

    fn see(&mut self, subject: &ExportedRun<'_>) {
        self.survey.see(subject.run);
    }

    fn begin(&mut self, files: &mut dyn Files) -> Result<(), ExportError> {
        let table = std::mem::replace(&mut self.survey, super::csv::Survey::new(self.options)).table();
        let mut schema = files.create(ExportPart::Schema)?;
        schema.write_all(table.schema().to_json().as_bytes())?;
        schema.flush()?;
        let out = files.create(ExportPart::Main)?;
        self.writer = Some(super::csv::CsvWriter::new(out, std::sync::Arc::new(table))?);
        Ok(())
    }

    fn write(&mut self, subject: &ExportedRun<'_>) -> Result<(), ExportError> {
        if let Some(writer) = &mut self.writer {
            writer.write(subject.run)?;
        }
        Ok(())
    }

    fn finish(&mut self, _files: &mut dyn Files) -> Result<Vec<Diagnostic>, ExportError> {
        if let Some(writer) = self.writer.take() {
            writer.finish()?;
        }
        Ok(Vec::new())
    }
}

/// JCAMP-DX. Its file begins with the count of its blocks, which are counted in the first pass.
#[derive(Default)]
pub struct JcampDxExporter {
    options: super::jcamp::JcampDxOptions,
    blocks: usize,
    written: usize,
    out: Option<Box<dyn Output>>,
    remarks: Vec<Diagnostic>,
    /// Remarks of one kind beyond those that are told one by one.
    more: std::collections::BTreeMap<Code, u64>,
}

/// So many remarks of one kind are told one by one.
const REMARKS: usize = 1000;

impl JcampDxExporter {
    /// A file of the standard.
    #[must_use]
    pub fn new(options: super::jcamp::JcampDxOptions) -> Self {
        Self {
            options,
            ..Self::default()
        }
    }

    fn keep_remarks(&mut self, remarks: Vec<Diagnostic>) {
        for remark in remarks {
            if self.remarks.contains(&remark) {
                continue;
            }
            if self.remarks.len() < REMARKS {
                self.remarks.push(remark);
            } else {
                *self.more.entry(remark.code).or_default() += 1;
            }
        }
    }
}

impl Exporter for JcampDxExporter {
    fn room(&self) -> FormatRoom {
        FormatRoom {
            fields: true,
            marks: true,
            ..FormatRoom::default()
        }
    }

    fn see(&mut self, subject: &ExportedRun<'_>) {
        self.blocks += super::jcamp::blocks(subject.run, &self.options);
    }

    fn begin(&mut self, files: &mut dyn Files) -> Result<(), ExportError> {
        if self.blocks == 0 {
            let refusal = curvary_jcamp_dx::WriteRefusal::NoSheets;
            return Err(ExportError::Refused(super::jcamp::refused(refusal)));
        }
        self.out = Some(files.create(ExportPart::Main)?);
        Ok(())
    }

    fn write(&mut self, subject: &ExportedRun<'_>) -> Result<(), ExportError> {
        let mut remarks = Vec::new();
        let standard = super::jcamp::standard(&self.options);
        let mut stream = curvary_jcamp_dx::Stream::new(self.blocks, self.written, &standard);
        for sheet in super::jcamp::sheets_of(subject.run, &self.options, &mut remarks) {
            let written = stream
                .sheet(&sheet)
                .map_err(|refusal| ExportError::Refused(super::jcamp::refused(refusal)))?;
            self.written += 1;
            remarks.extend(written.remarks.iter().map(crate::readers::jcamp::diagnostic));
            if let Some(out) = &mut self.out {
                out.write_all(written.text.as_bytes())?;
            }
        }
        self.keep_remarks(remarks);
        Ok(())
    }

    fn finish(&mut self, _files: &mut dyn Files) -> Result<Vec<Diagnostic>, ExportError> {
        if let Some(mut out) = self.out.take() {
            out.flush()?;
        }
        let mut remarks = std::mem::take(&mut self.remarks);
        remarks.extend(std::mem::take(&mut self.more).into_iter().map(|(code, count)| {
            Diagnostic::warning(code, format!("{count} more remarks of this kind on other runs"))
        }));
        Ok(remarks)
    }
}
