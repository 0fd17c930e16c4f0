//! Runs as files in open formats, for `export` and `convert`.

use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use curvary_formats::writers::{csv, jcamp};
use curvary_record::{Diagnostic, Run, Severity};

use crate::drawing::NoTexts;
use crate::screen::Screen;

/// An open format.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Format {
    /// Tidy CSV, with a Table Schema beside it
    Csv,
    /// JCAMP-DX, the open standard for spectra
    JcampDx,
    /// The open schema's JSON
    Json,
}

/// How JCAMP-DX writes ordinates.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Form {
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
#[derive(Clone, Copy, Debug, Args)]
pub(crate) struct OutputOptions {
    /// What to write
    #[arg(long, value_name = "FORMAT")]
    pub(crate) to: Format,
    /// How JCAMP-DX writes ordinates [default: affn]
    #[arg(long, value_name = "FORM")]
    form: Option<Form>,
    /// Version of JCAMP-DX [default: 5.01]
    #[arg(long, value_name = "VERSION")]
    jcamp_version: Option<JcampVersion>,
    /// JCAMP-DX in ASCII alone, for old readers: other characters are replaced, and each is told
    #[arg(long)]
    ascii: bool,
    /// JCAMP-DX with a block for each of several scans, for readers that do not know NTUPLES
    #[arg(long)]
    scans_as_blocks: bool,
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
    /// The ending of its files' names.
    pub(crate) fn ending(self) -> &'static str {
        match self {
            Self::Csv => "csv",
            Self::JcampDx => "jdx",
            Self::Json => "json",
        }
    }
}

/// What becomes of a file that is there already, where one is to be written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Existing {
    /// It stays, and writing is refused: it may be an original.
    Stays,
    /// It is replaced, since somebody asked for that or it was written by us.
    Replaced,
}

impl Existing {
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
        }
    }

    /// Writes runs as one file; gives remarks on what the format cannot carry.
    pub(crate) fn write(
        &self,
        target: &Path,
        existing: Existing,
        runs: &[Run],
    ) -> io::Result<Vec<Diagnostic>> {
        match self.to {
            Format::Csv => write_csv(target, existing, runs).map(|()| Vec::new()),
            Format::JcampDx => self.write_jcamp(target, existing, runs),
            Format::Json => {
                write(target, existing, |file| {
                    serde_json::to_writer(&mut *file, &serde_json::json!({ "runs": runs }))?;
                    file.write_all(b"\n")
                })?;
                Ok(Vec::new())
            }
        }
    }

    fn write_jcamp(&self, target: &Path, existing: Existing, runs: &[Run]) -> io::Result<Vec<Diagnostic>> {
        let form = match self.form {
            None => jcamp::Form::default(),
            Some(Form::Affn) => jcamp::Form::Affn,
            Some(Form::Pac) => jcamp::Form::Pac,
            Some(Form::Sqz) => jcamp::Form::Sqz,
            Some(Form::Dif) => jcamp::Form::Dif,
            Some(Form::Difdup) => jcamp::Form::DifDup,
        };
        let version = match self.jcamp_version {
            Some(JcampVersion::V424) => jcamp::Version::V4_24,
            Some(JcampVersion::V501) | None => jcamp::Version::V5_01,
        };
        let options = jcamp::Options {
            form,
            version,
            ascii: self.ascii,
            scans_as_blocks: self.scans_as_blocks,
            ..jcamp::Options::default()
        };
        match jcamp::write(runs, &options) {
            Ok(written) => {
                write(target, existing, |file| file.write_all(written.text.as_bytes()))?;
                Ok(written.remarks)
            }
            Err(why) => Ok(vec![*why]),
        }
    }
}

/// Tells what a format cannot carry; notes on matters of form only to those who ask for them.
pub(crate) fn tell(target: &Path, remarks: &[Diagnostic], screen: &mut Screen) {
    let least = if screen.errors().is_some() {
        Severity::Note
    } else {
        Severity::Warning
    };
    let place = target.display().to_string();
    for remark in remarks.iter().filter(|remark| remark.severity >= least) {
        screen.complain(Some(&place), remark, &NoTexts);
    }
}

/// Writes a file under another name first, so that nobody ever finds half of it, and makes it durable.
///
/// # Errors
/// [`io::ErrorKind::AlreadyExists`] when there is a file that stays.
pub(crate) fn write(
    target: &Path,
    existing: Existing,
    content: impl FnOnce(&mut BufWriter<File>) -> io::Result<()>,
) -> io::Result<()> {
    if target == Path::new("-") {
        return Err(io::Error::new(
            io::ErrorKind::InvalidInput,
            "`-` names no file: expected a path, since what is written may be several files",
        ));
    }
    let folder = target
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty())
        .unwrap_or(Path::new("."));
    fs::create_dir_all(folder)?;
    may_be_written(target, existing)?;
    let (part, file) = part_of(target)?;
    let mut file = BufWriter::with_capacity(1 << 16, file);
    let written = content(&mut file)
        .and_then(|()| file.flush())
        .and_then(|()| file.get_ref().sync_all());
    drop(file);
    written
        .and_then(|()| put_in_place(&part, target, existing))
        .and_then(|()| sync_folder(folder))
        .inspect_err(|_| {
            // What is half written is of no use to anybody.
            let _ = fs::remove_file(&part);
        })
}

/// Refuses a target at which a file stands that stays.
pub(crate) fn may_be_written(target: &Path, existing: Existing) -> io::Result<()> {
    if existing == Existing::Stays && fs::symlink_metadata(target).is_ok() {
        return Err(there());
    }
    Ok(())
}

fn there() -> io::Error {
    io::Error::new(
        io::ErrorKind::AlreadyExists,
        "a file of this name is there already",
    )
}

/// A fresh file beside the target: one of the same name may be somebody's.
fn part_of(target: &Path) -> io::Result<(PathBuf, File)> {
    for number in 0_u32.. {
        let mut part = target.as_os_str().to_owned();
        part.push(match number {
            0 => ".part".to_owned(),
            number => format!(".part{number}"),
        });
        let part = PathBuf::from(part);
        match File::options().write(true).create_new(true).open(&part) {
            Ok(file) => return Ok((part, file)),
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists && number < 1000 => {}
            Err(error) => return Err(error),
        }
    }
    Err(there())
}

fn put_in_place(part: &Path, target: &Path, existing: Existing) -> io::Result<()> {
    if existing == Existing::Replaced {
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

/// Writes runs as tidy CSV, and the table's description beside it.
fn write_csv(target: &Path, existing: Existing, runs: &[Run]) -> io::Result<()> {
    let schema = schema_beside(target);
    // Both or none.
    may_be_written(&schema, existing).map_err(|error| {
        io::Error::new(
            error.kind(),
            format!("{error}: {}, which describes the table", schema.display()),
        )
    })?;
    let mut survey = csv::Survey::new(csv::Options::default());
    for run in runs {
        survey.see(run);
    }
    let table = survey.table();
    write(target, existing, |file| {
        let mut writer = csv::Writer::new(file, &table).map_err(other)?;
        for run in runs {
            writer.write(run).map_err(other)?;
        }
        writer.finish().map_err(other)?;
        Ok(())
    })?;
    write(&schema, existing, |file| {
        file.write_all(table.schema().to_json().as_bytes())
    })
}

/// `a.csv` has its description in `a.schema.json`.
fn schema_beside(target: &Path) -> PathBuf {
    target.with_extension("schema.json")
}

fn other(error: csv::WriteError) -> io::Error {
    match error {
        csv::WriteError::Io(error) => error,
        error => io::Error::other(error),
    }
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
    fn half_a_file_is_never_left_behind() {
        let folder = tempfile::tempdir().expect("a folder");
        let target = folder.path().join("deep/a.csv");
        let stays = Existing::Stays;
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
        let refused = write(&target, Existing::Stays, |file| file.write_all(b"x"));
        assert!(refused.is_err_and(|error| error.kind() == io::ErrorKind::AlreadyExists));
        assert_eq!(fs::read(&target).expect("it stays"), b"measured");
        write(&target, Existing::Replaced, |file| file.write_all(b"x")).expect("it may be replaced");
        assert_eq!(fs::read(&target).expect("it is there"), b"x");
        assert_eq!(fs::read(&parts[1]).expect("it stays"), b"measured");
    }
}
