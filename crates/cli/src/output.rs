//! Runs as files in open formats, for `export` and `convert`.

use std::cell::RefCell;
use std::collections::BTreeSet;
use std::ffi::OsStr;
use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use clap::builder::{PossibleValuesParser, TypedValueParser};
use clap::{Args, ValueEnum};
use curvary_formats::writers::export::{
    self, ExportError, ExportPart, ExportRemarks, ExportedRun, ExportedRuns, Exporter, Files, FormatRoom,
    Output,
};
use curvary_formats::writers::units::Units;
use curvary_formats::writers::{animl, csv, jcamp, json_lines, parquet, tables, wide, xlsx};
use curvary_record::{Code, Diagnostic, Run, Severity};
use rayon::prelude::*;

use crate::drawing::NoTexts;
use crate::ending::Failure;
use crate::half;
use crate::handover::ReportPage;
use crate::screen::{Screen, plural};

/// An open format.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Format {
    /// Tidy CSV, one table of everything, with a Table Schema beside it
    Csv,
    /// CSV for a spreadsheet: one x axis, a column for each curve
    WideCsv,
    /// Runs, curves, points and results as four CSV files in a folder (a Data Package)
    Tables,
    /// A workbook
    Xlsx,
    /// Runs, curves, points and results as four Parquet files in a folder
    Parquet,
    /// JCAMP-DX, the open standard for spectra
    JcampDx,
    /// AnIML, the open XML standard of ASTM
    Animl,
    /// The open schema's JSON
    Json,
    /// The same, a line for each run
    JsonLines,
    /// A report for reading and printing: one HTML file without scripts, or PDF where the file's name ends so
    Report,
    /// Everything for a stranger in one ZIP file: tables, report, README, checksums
    Bundle,
}

/// How JCAMP-DX writes ordinates.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum OrdinateForm {
    /// Plain numbers
    Affn,
    /// Plain numbers, packed
    Pac,
    /// The first digit tells the sign
    Sqz,
    /// Differences
    Dif,
    /// Differences, equal ones counted
    Difdup,
}

/// What is written.
#[derive(Clone, Debug, Args)]
pub(crate) struct OutputOptions {
    /// What to write
    #[arg(long, value_name = "FORMAT")]
    pub(crate) to: Format,
    /// How JCAMP-DX writes ordinates [default: affn]
    #[arg(long, value_name = "FORM")]
    form: Option<OrdinateForm>,
    /// Version of JCAMP-DX [default: 5.01]
    #[arg(long, value_name = "VERSION")]
    jcamp_version: Option<JcampVersion>,
    /// JCAMP-DX in ASCII alone, for old readers: other characters are replaced, and each is named
    #[arg(long)]
    ascii: bool,
    /// JCAMP-DX with a block for each of several scans, for readers that do not know NTUPLES
    #[arg(long)]
    scans_as_blocks: bool,
    /// What becomes of units [default: one-each in tables, as-read elsewhere]
    #[arg(long, value_name = "HOW")]
    units: Option<UnitsOption>,
    /// Let CSV begin with a byte-order mark, for spreadsheets that take it for another encoding otherwise
    #[arg(long)]
    bom: bool,
    /// Let wide CSV have a row for every x that was met, with empty cells, where the axes of the curves differ
    #[arg(long)]
    union: bool,
    /// Title of a report.
    #[arg(skip)]
    pub(crate) title: Option<String>,
    /// What was left out of a report, in words.
    #[arg(skip)]
    pub(crate) left_out: Option<String>,
}

/// What becomes of units.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum UnitsOption {
    /// A quantity that was met in several units is brought to one, where that is exact
    OneEach,
    /// As they were read
    AsRead,
    /// Customary units: nm, s, °C, mol/L, fractions
    Canonical,
}

/// A version of JCAMP-DX.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum JcampVersion {
    /// Of 1988
    #[value(name = "4.24")]
    V424,
    /// Of 1999
    #[value(name = "5.01")]
    V501,
}

impl Format {
    /// What files without an archive can become: all but a bundle, which holds results, notes and origins.
    pub(crate) fn of_files() -> impl TypedValueParser<Value = Self> {
        let values = Self::value_variants().iter().filter_map(|format| {
            let value = format.to_possible_value()?;
            Some(value.hide(*format == Self::Bundle))
        });
        PossibleValuesParser::new(values).try_map(|name| match Self::from_str(&name, false) {
            Ok(Self::Bundle) => Err(
                "a bundle is packed from runs of an archive, since files alone have no results, notes and origins: `curvary add` \
                 the files first, then `curvary export QUERY --to bundle --out NAME.zip`"
                    .to_owned(),
            ),
            other => other,
        })
    }

    /// The ending of its files' names.
    pub(crate) fn ending(self) -> &'static str {
        match self {
            Self::Csv | Self::WideCsv => "csv",
            Self::Tables => "tables",
            Self::Xlsx => "xlsx",
            Self::Parquet => "parquet",
            Self::JcampDx => "jdx",
            Self::Animl => "animl",
            Self::Json => "json",
            Self::JsonLines => "jsonl",
            Self::Report => "html",
            Self::Bundle => "zip",
        }
    }

    /// Whether what is written is one file, and no folder of several.
    pub(crate) fn is_one_file(self) -> bool {
        !matches!(self, Self::Tables | Self::Parquet)
    }

    /// Whether a name that ends so is of a file in this format, where it is one file.
    pub(crate) fn is_ending(self, ending: &OsStr) -> bool {
        if !self.is_one_file() {
            return false;
        }
        let others: &[&str] = match self {
            Self::JcampDx => &["dx"],
            Self::Report => &["htm", "pdf"],
            _ => &[],
        };
        others
            .iter()
            .chain([&self.ending()])
            .any(|own| ending.eq_ignore_ascii_case(own))
    }

    fn units(self) -> Units {
        match self {
            Self::JcampDx | Self::Animl | Self::Json | Self::JsonLines | Self::Report | Self::Bundle => {
                Units::AsRead
            }
            _ => Units::OneEach,
        }
    }
}

/// What becomes of a file that is there already, where one is to be written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum ExistingFile {
    /// It stays, and writing is refused: it may be an original.
    Stays,
    /// It is replaced, since somebody asked for that or it was written by us.
    Replaced,
    /// It is replaced although it is an archive's own: its settings.
    Own,
}

impl ExistingFile {
    /// As the option `--replace` says.
    pub(crate) fn asked(replace: bool) -> Self {
        if replace { Self::Replaced } else { Self::Stays }
    }
}

impl OutputOptions {
    /// A format in its usual form.
    pub(crate) fn of(to: Format) -> Self {
        Self {
            to,
            form: None,
            jcamp_version: None,
            ascii: false,
            scans_as_blocks: false,
            units: None,
            bom: false,
            union: false,
            title: None,
            left_out: None,
        }
    }

    /// Writes runs under other names than their last; gives the files, and remarks on what the format cannot carry. Where it
    /// fails nothing is left behind.
    pub(crate) fn prepare(
        &self,
        target: &Path,
        existing: ExistingFile,
        mut runs: &[Run],
    ) -> io::Result<(Option<OutputFiles>, ExportRemarks)> {
        match self.prepare_all(target, existing, &mut runs) {
            Ok((files, told)) => Ok((Some(files), told)),
            Err(ExportError::Io(error)) => Err(error),
            Err(ExportError::Refused(why)) => Ok((
                None,
                ExportRemarks {
                    remarks: vec![*why],
                    not_carried: None,
                },
            )),
            Err(error @ ExportError::Changed(_)) => Err(io::Error::other(error)),
        }
    }

    /// Writes runs that need not be held all at once; `look` may refuse the files before they have their names.
    pub(crate) fn write_all(
        &self,
        target: &Path,
        existing: ExistingFile,
        subjects: &mut dyn ExportedRuns,
        look: &dyn Fn(&OutputFiles) -> Result<(), ExportError>,
    ) -> Result<ExportRemarks, ExportError> {
        let (files, told) = self.prepare_all(target, existing, subjects)?;
        look(&files)?;
        files.commit()?;
        Ok(told)
    }

    fn prepare_all(
        &self,
        target: &Path,
        existing: ExistingFile,
        subjects: &mut dyn ExportedRuns,
    ) -> Result<(OutputFiles, ExportRemarks), ExportError> {
        if target == Path::new("-") {
            return Err(io::Error::new(
                io::ErrorKind::InvalidInput,
                "`-` names no file: expected a path, since what is written may be several files",
            )
            .into());
        }
        let mut files = OutputFiles::new(target, existing);
        let units = match self.units {
            None => self.to.units(),
            Some(UnitsOption::OneEach) => Units::OneEach,
            Some(UnitsOption::AsRead) => Units::AsRead,
            Some(UnitsOption::Canonical) => Units::Canonical,
        };
        let printed = target
            .extension()
            .is_some_and(|ending| ending.eq_ignore_ascii_case("pdf"));
        let mut exporter = self.exporter(printed);
        let told = export::export(exporter.as_mut(), subjects, units, &mut files)?;
        drop(exporter);
        Ok((files, told))
    }

    fn exporter(&self, printed: bool) -> Box<dyn Exporter> {
        let options = csv::CsvOptions {
            byte_order_mark: self.bom,
            ..csv::CsvOptions::default()
        };
        match self.to {
            Format::Csv => Box::new(export::TidyCsvExporter::new(options)),
            Format::WideCsv => Box::new(wide::Wide::new(self.union, self.bom)),
            Format::Tables => Box::new(tables::Tables::new(options)),
            Format::Xlsx => Box::new(xlsx::Xlsx::default()),
            Format::Parquet => Box::new(parquet::Parquet::default()),
            Format::JcampDx => Box::new(export::JcampDxExporter::new(self.jcamp())),
            Format::Animl => Box::new(animl::AnimlExporter::default()),
            Format::Json => Box::new(json_lines::Json::document()),
            Format::JsonLines => Box::new(json_lines::Json::lines()),
            Format::Report | Format::Bundle => Box::new(ReportExporter::new(self, printed)),
        }
    }

    fn jcamp(&self) -> jcamp::JcampDxOptions {
        let form = match self.form {
            None => jcamp::Form::default(),
            Some(OrdinateForm::Affn) => jcamp::Form::Affn,
            Some(OrdinateForm::Pac) => jcamp::Form::Pac,
            Some(OrdinateForm::Sqz) => jcamp::Form::Sqz,
            Some(OrdinateForm::Dif) => jcamp::Form::Dif,
            Some(OrdinateForm::Difdup) => jcamp::Form::DifDup,
        };
        let version = match self.jcamp_version {
            Some(JcampVersion::V424) => jcamp::Version::V4_24,
            Some(JcampVersion::V501) | None => jcamp::Version::V5_01,
        };
        jcamp::JcampDxOptions {
            form,
            version,
            ascii: self.ascii,
            scans_as_blocks: self.scans_as_blocks,
            ..jcamp::JcampDxOptions::default()
        }
    }
}

/// The exporter of a report. A bundle is no exporter of its own: it is made of runs of an archive by `export` alone.
struct ReportExporter {
    refused: bool,
    /// As PDF.
    printed: bool,
    page: ReportPage,
}

impl ReportExporter {
    fn new(options: &OutputOptions, printed: bool) -> Self {
        let mut page = ReportPage::new(options.title.as_deref().unwrap_or("Measurements"));
        page.left_out(options.left_out.clone());
        Self {
            refused: options.to == Format::Bundle,
            printed,
            page,
        }
    }
}

/// Why files alone become no bundle.
pub(crate) fn no_bundle() -> Diagnostic {
    let why = Diagnostic::error(
        Code::new("bundle-of-an-archive"),
        "a bundle is packed from runs of an archive: files alone have no results, notes and origins",
    );
    why.help("`curvary add` the files first, then `curvary export QUERY --to bundle --out NAME.zip`")
}

impl Exporter for ReportExporter {
    fn room(&self) -> FormatRoom {
        FormatRoom::ALL
    }

    fn see(&mut self, _subject: &ExportedRun<'_>) {}

    fn begin(&mut self, _files: &mut dyn Files) -> Result<(), ExportError> {
        if !self.refused {
            return Ok(());
        }
        Err(ExportError::Refused(Box::new(no_bundle())))
    }

    fn write(&mut self, subject: &ExportedRun<'_>) -> Result<(), ExportError> {
        self.page.add(subject.run, subject.results);
        Ok(())
    }

    fn finish(&mut self, files: &mut dyn Files) -> Result<Vec<Diagnostic>, ExportError> {
        let bytes = if self.printed {
            self.page.pdf()
        } else {
            self.page.html().map(|text| (text.into_bytes(), BTreeSet::new()))
        };
        let (bytes, missing) = bytes.map_err(|failure| match failure {
            Failure::Told { why, .. } => ExportError::Refused(why),
            Failure::Closed => io::Error::other("nobody reads it").into(),
        })?;
        let mut out = files.create(ExportPart::Main)?;
        out.write_all(&bytes)?;
        out.flush()?;
        if missing.is_empty() {
            return Ok(Vec::new());
        }
        let some: String = missing.iter().take(10).collect();
        let why = Diagnostic::warning(
            Code::new("letters-not-printed"),
            format!(
                "{} of the report {} not in the font of the print and stand as empty boxes: {some}",
                plural(missing.len() as u64, "letter"),
                if missing.len() == 1 { "is" } else { "are" }
            ),
        );
        Ok(vec![why.help(
            "with a name that ends in `.html` the report shows every letter",
        )])
    }
}

/// The files of one export: each under another name until all are whole, so that nobody ever finds half of it.
pub(crate) struct OutputFiles {
    target: PathBuf,
    existing: ExistingFile,
    /// Each file under its first name and its last.
    parts: Vec<(PathBuf, PathBuf)>,
    /// Folders that were made for it.
    made: Vec<PathBuf>,
    done: bool,
}

impl OutputFiles {
    /// Files that will be at `target`, or in it.
    pub(crate) fn new(target: &Path, existing: ExistingFile) -> Self {
        Self {
            target: target.to_owned(),
            existing,
            parts: Vec::new(),
            made: Vec::new(),
            done: false,
        }
    }

    fn create_file(&mut self, target: PathBuf) -> io::Result<BufWriter<File>> {
        let folder = folder_of(&target);
        if !folder.is_dir() {
            let missing: Vec<PathBuf> = folder
                .ancestors()
                .take_while(|folder| !folder.as_os_str().is_empty() && !folder.exists())
                .map(Path::to_owned)
                .collect();
            fs::create_dir_all(folder)?;
            self.made.extend(missing);
        }
        may_be_written(&target, self.existing)?;
        if target.is_dir() {
            // No file takes its place, and what would be written beside it must not be left alone there.
            return Err(io::Error::new(
                io::ErrorKind::IsADirectory,
                "a folder of this name is there already, and a file is to be written",
            ));
        }
        let (part, file) = part_of(&target, self.existing)?;
        self.parts.push((part, target));
        Ok(BufWriter::with_capacity(1 << 16, file))
    }

    /// Makes the files durable and gives them their names.
    pub(crate) fn commit(self) -> io::Result<()> {
        commit_all(vec![self]).pop().unwrap_or(Ok(()))
    }

    /// The first file in which something is found, with its last name.
    pub(crate) fn any<T>(
        &self,
        find: impl Fn(File) -> io::Result<Option<T>>,
    ) -> io::Result<Option<(String, T)>> {
        for (part, target) in &self.parts {
            if let Some(found) = find(File::open(part)?)? {
                return Ok(Some((target.display().to_string(), found)));
            }
        }
        Ok(None)
    }

    /// Where the files will be, or in which folder.
    pub(crate) fn target(&self) -> &Path {
        &self.target
    }

    fn sync(&self) -> io::Result<()> {
        self.parts
            .iter()
            .try_for_each(|(part, _)| File::open(part)?.sync_all())
    }

    fn put_in_place(&self) -> io::Result<()> {
        for (at, (part, target)) in self.parts.iter().enumerate() {
            if let Err(error) = put_in_place(part, target, self.existing) {
                // All or none: those that have just got their names lose them again, unless they took the place of others.
                if self.existing == ExistingFile::Stays {
                    for (_, placed) in &self.parts[..at] {
                        let _ = fs::remove_file(placed);
                    }
                }
                return Err(error);
            }
        }
        Ok(())
    }

    fn folders(&self) -> BTreeSet<&Path> {
        self.parts.iter().map(|(_, target)| folder_of(target)).collect()
    }
}

/// Makes the files of several exports durable and gives them their names; one that fails leaves the others alone. To wait for
/// the disk costs more than to write a small file, so it is waited for by several threads, and for each folder once.
pub(crate) fn commit_all(mut all: Vec<OutputFiles>) -> Vec<io::Result<()>> {
    let placed: Vec<io::Result<()>> = if all.len() == 1 {
        all.iter().map(OutputFiles::sync).collect()
    } else {
        all.par_iter().map(OutputFiles::sync).collect()
    };
    let placed: Vec<io::Result<()>> = placed
        .into_iter()
        .zip(&all)
        .map(|(synced, files)| synced.and_then(|()| files.put_in_place()))
        .collect();
    let folders: BTreeSet<&Path> = all.iter().flat_map(OutputFiles::folders).collect();
    let failed: Vec<(PathBuf, io::Error)> = folders
        .into_iter()
        .filter_map(|folder| Some((folder.to_owned(), sync_folder(folder).err()?)))
        .collect();
    all.iter_mut()
        .zip(placed)
        .map(|(files, placed)| {
            placed?;
            // The names are given, whether the disk has them already or not.
            files.done = true;
            let folders = files.folders();
            match failed
                .iter()
                .find(|(folder, _)| folders.contains(folder.as_path()))
            {
                Some((_, error)) => Err(io::Error::new(error.kind(), error.to_string())),
                None => Ok(()),
            }
        })
        .collect()
}

impl Drop for OutputFiles {
    fn drop(&mut self) {
        if self.done {
            return;
        }
        // What is half written is of no use to anybody; a folder goes only if it is empty again.
        for (part, _) in &self.parts {
            let _ = fs::remove_file(part);
        }
        for folder in &self.made {
            let _ = fs::remove_dir(folder);
        }
    }
}

impl Files for OutputFiles {
    fn create(&mut self, part: ExportPart<'_>) -> io::Result<Box<dyn Output>> {
        let target = match part {
            ExportPart::Main => self.target.clone(),
            ExportPart::Schema => schema_beside(&self.target),
            ExportPart::Member(name) => self.target.join(name),
        };
        let described = part == ExportPart::Schema;
        let file = self.create_file(target).map_err(|error| {
            if described {
                of_description(&self.target, error)
            } else {
                error
            }
        })?;
        Ok(Box::new(file))
    }
}

/// Why the description beside a table cannot be written.
fn of_description(target: &Path, error: io::Error) -> io::Error {
    if error.kind() != io::ErrorKind::AlreadyExists {
        return error;
    }
    let path = schema_beside(target);
    io::Error::new(
        error.kind(),
        format!("{error}: {}, which describes the table", path.display()),
    )
}

fn folder_of(target: &Path) -> &Path {
    target
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty())
        .unwrap_or(Path::new("."))
}

/// Tells what a format cannot carry; notes on matters of form only to those who ask for them.
pub(crate) fn report_written(target: &Path, told: &ExportRemarks, screen: &mut Screen) {
    let least = if screen.errors().is_some() {
        Severity::Note
    } else {
        Severity::Warning
    };
    let place = target.display().to_string();
    let all = told.remarks.iter().chain(&told.not_carried);
    for remark in all.filter(|remark| remark.severity >= least) {
        screen.complain(Some(&place), remark, &NoTexts);
    }
    half::report_left(screen);
}

/// Writes a file under another name first, so that nobody ever finds half of it, and makes it durable.
///
/// # Errors
/// [`io::ErrorKind::AlreadyExists`] when there is a file that stays.
pub(crate) fn write(
    target: &Path,
    existing: ExistingFile,
    content: impl FnOnce(&mut BufWriter<File>) -> io::Result<()>,
) -> io::Result<()> {
    prepared(target, existing, content)?.commit()
}

/// Writes a file under another name than its last.
///
/// # Errors
/// [`io::ErrorKind::AlreadyExists`] when there is a file that stays.
pub(crate) fn prepared(
    target: &Path,
    existing: ExistingFile,
    content: impl FnOnce(&mut BufWriter<File>) -> io::Result<()>,
) -> io::Result<OutputFiles> {
    if target == Path::new("-") {
        return Err(io::Error::new(
            io::ErrorKind::InvalidInput,
            "`-` names no file: expected a path, since what is written may be several files",
        ));
    }
    let mut files = OutputFiles::new(target, existing);
    let mut file = files.create_file(target.to_owned())?;
    content(&mut file)?;
    file.flush()?;
    Ok(files)
}

/// Refuses a target at which a file stands that stays.
pub(crate) fn may_be_written(target: &Path, existing: ExistingFile) -> io::Result<()> {
    if existing != ExistingFile::Own
        && let Some(archive) = archive_of(target)
    {
        return Err(io::Error::new(
            // Nobody's permission would change it.
            io::ErrorKind::InvalidInput,
            format!(
                "the archive `{}` keeps its own files there, which nothing else may be written over or beside",
                archive.display()
            ),
        ));
    }
    if existing == ExistingFile::Stays && fs::symlink_metadata(target).is_ok() {
        return Err(there());
    }
    Ok(())
}

/// Refuses a target that cannot be written, before any run is read for it: a file beside it is made and taken away again.
pub(crate) fn try_target(target: &Path, to: Format, existing: ExistingFile) -> io::Result<()> {
    may_be_written(target, existing)?;
    if to == Format::Csv {
        may_be_written(&schema_beside(target), existing).map_err(|error| of_description(target, error))?;
    }
    let Some(name) = target.file_name() else {
        return Ok(());
    };
    let is_there = |folder: &&Path| folder.as_os_str().is_empty() || fs::symlink_metadata(folder).is_ok();
    let folder = folder_of(target).ancestors().find(is_there);
    let (part, _) = part_of(&folder.unwrap_or(Path::new("")).join(name), existing)?;
    fs::remove_file(part)
}

/// Names in the folder of an archive that are its own.
const ARCHIVE: [&str; 11] = [
    "archive.toml",
    "archive.schema.json",
    "archive.lock",
    "unfinished.json",
    "answers.jsonl",
    "answers.applied.jsonl",
    "notes.jsonl",
    "notes",
    "originals",
    "records",
    "index",
];

/// The archive to whose own files a path leads, also by way of a link.
fn archive_of(target: &Path) -> Option<PathBuf> {
    thread_local! {
        /// Where the folder that was asked about last really is: many files go into one.
        static LAST: RefCell<(PathBuf, PathBuf)> = RefCell::default();
    }
    let folder = folder_of(target);
    let known = LAST.with_borrow(|(asked, real)| (asked == folder).then(|| real.clone()));
    let real = match known {
        Some(real) => real,
        None => {
            let real = folder
                .ancestors()
                .find_map(|there| Some(there.canonicalize().ok()?.join(folder.strip_prefix(there).ok()?)))?;
            // One that is not there yet may become a link.
            if folder.is_dir() {
                LAST.set((folder.to_owned(), real.clone()));
            }
            real
        }
    };
    let path = real.join(target.file_name()?);
    path.ancestors().skip(1).take(4).find_map(|root| {
        let first = path.strip_prefix(root).ok()?.components().next()?;
        let name = first.as_os_str().to_string_lossy().to_lowercase();
        let own = ARCHIVE.contains(&name.as_str()) || name.starts_with("manifest.");
        (own && root.join("archive.toml").is_file() && root.join("manifest.json").is_file())
            .then(|| root.to_owned())
    })
}

fn there() -> io::Error {
    io::Error::new(
        io::ErrorKind::AlreadyExists,
        "a file of this name is there already",
    )
}

/// The longest name that usual disks take, in bytes.
const LONGEST_NAME: usize = 255;

/// A fresh file beside the target: one of the same name may be somebody's. What is the archive's own has one fixed name, which its repair
/// knows.
fn part_of(target: &Path, existing: ExistingFile) -> io::Result<(PathBuf, File)> {
    let beside = |ending: &str| {
        let mut part = target.as_os_str().to_owned();
        part.push(ending);
        PathBuf::from(part)
    };
    let mut own = None;
    if existing != ExistingFile::Own {
        // So an older program named what it left.
        half::look_beside(folder_of(target), beside(".part"));
        let length = target.file_name().map_or(0, OsStr::len);
        own = Some(half::ending()).filter(|own| length + own.len() <= LONGEST_NAME);
    }
    let plain = std::iter::once(".part".to_owned());
    let others = plain.chain((1..1000).map(|number| format!(".part{number}")));
    for ending in own.into_iter().chain(others) {
        let part = beside(&ending);
        match File::options().write(true).create_new(true).open(&part) {
            Ok(file) => return Ok((part, file)),
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
            Err(error) => return Err(error),
        }
    }
    Err(there())
}

fn put_in_place(part: &Path, target: &Path, existing: ExistingFile) -> io::Result<()> {
    if existing != ExistingFile::Stays {
        return fs::rename(part, target);
    }
    // A link is refused where a file has appeared meanwhile; not every disk knows links.
    match fs::hard_link(part, target) {
        Ok(()) => fs::remove_file(part),
        Err(error) if error.kind() == io::ErrorKind::AlreadyExists => Err(there()),
        Err(_) => {
            may_be_written(target, existing)?;
            fs::rename(part, target)
        }
    }
}

/// Makes the names in a folder durable, where a folder can be opened.
fn sync_folder(folder: &Path) -> io::Result<()> {
    match File::open(folder) {
        Ok(folder) if cfg!(unix) => folder.sync_all(),
        _ => Ok(()),
    }
}

/// `a.csv` has its description in `a.schema.json`.
fn schema_beside(target: &Path) -> PathBuf {
    target.with_extension("schema.json")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_description_stands_beside_the_table() {
        assert_eq!(
            schema_beside(Path::new("/out/b.txt.csv")),
            Path::new("/out/b.txt.schema.json")
        );
    }

    #[test]
    fn long_names_are_written_as_long_as_a_disk_takes_them() {
        let folder = tempfile::tempdir().expect("a folder");
        for length in [200, 230, 249] {
            let target = folder.path().join("a".repeat(length));
            super::write(&target, ExistingFile::Stays, |file| file.write_all(b"1")).expect("it is written");
        }
        let names = fs::read_dir(folder.path()).expect("it is there");
        assert_eq!(names.count(), 3);
    }

    #[test]
    fn half_a_file_is_never_left_behind() {
        let folder = tempfile::tempdir().expect("a folder");
        let target = folder.path().join("deep/a.csv");
        let stays = ExistingFile::Stays;
        assert!(write(&target, stays, |_| Err(io::Error::other("no"))).is_err());
        assert!(write(&target, stays, |file| file.write_all(b"x")).is_ok());
        let names: Vec<_> = fs::read_dir(folder.path().join("deep"))
            .expect("it is there")
            .collect();
        assert_eq!(names.len(), 1);
    }

    #[test]
    fn what_is_there_stays_unless_it_may_be_replaced() {
        let folder = tempfile::tempdir().expect("a folder");
        let target = folder.path().join("a.csv");
        // Somebody's file may even bear the name under which ours begins.
        let parts = [target.clone(), folder.path().join("a.csv.part")];
        for part in &parts {
            fs::write(part, "measured").expect("it is written");
        }
        let refused = write(&target, ExistingFile::Stays, |file| file.write_all(b"x"));
        assert!(refused.is_err_and(|error| error.kind() == io::ErrorKind::AlreadyExists));
        assert_eq!(fs::read(&target).expect("it stays"), b"measured");
        write(&target, ExistingFile::Replaced, |file| file.write_all(b"x")).expect("it may be replaced");
        assert_eq!(fs::read(&target).expect("it is there"), b"x");
        assert_eq!(fs::read(&parts[1]).expect("it stays"), b"measured");
    }
}
