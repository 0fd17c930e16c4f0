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
    pub(crate) fn write(&self, target: &Path, runs: &[Run]) -> io::Result<Vec<Diagnostic>> {
        match self.to {
            Format::Csv => write_csv(target, runs).map(|()| Vec::new()),
            Format::JcampDx => self.write_jcamp(target, runs),
            Format::Json => {
                write(target, |file| {
                    serde_json::to_writer(&mut *file, &serde_json::json!({ "runs": runs }))?;
                    file.write_all(b"\n")
                })?;
                Ok(Vec::new())
            }
        }
    }

    fn write_jcamp(&self, target: &Path, runs: &[Run]) -> io::Result<Vec<Diagnostic>> {
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
                write(target, |file| file.write_all(written.text.as_bytes()))?;
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

/// Writes a file under another name first, so that nobody ever finds half of it.
pub(crate) fn write(
    target: &Path,
    content: impl FnOnce(&mut BufWriter<File>) -> io::Result<()>,
) -> io::Result<()> {
    if target == Path::new("-") {
        return Err(io::Error::new(
            io::ErrorKind::InvalidInput,
            "`-` names no file: expected a path, since what is written may be several files",
        ));
    }
    if let Some(folder) = target.parent().filter(|folder| !folder.as_os_str().is_empty()) {
        fs::create_dir_all(folder)?;
    }
    let mut part = target.as_os_str().to_owned();
    part.push(".part");
    let part = PathBuf::from(part);
    let mut file = BufWriter::with_capacity(1 << 16, File::create(&part)?);
    let written = content(&mut file).and_then(|()| file.flush());
    drop(file);
    written.and_then(|()| fs::rename(&part, target)).inspect_err(|_| {
        // What is half written is of no use to anybody.
        let _ = fs::remove_file(&part);
    })
}

/// Writes runs as tidy CSV, and the table's description beside it.
fn write_csv(target: &Path, runs: &[Run]) -> io::Result<()> {
    let mut survey = csv::Survey::new(csv::Options::default());
    for run in runs {
        survey.see(run);
    }
    let table = survey.table();
    write(target, |file| {
        let mut writer = csv::Writer::new(file, &table).map_err(other)?;
        for run in runs {
            writer.write(run).map_err(other)?;
        }
        writer.finish().map_err(other)?;
        Ok(())
    })?;
    write(&schema_beside(target), |file| {
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
        assert!(write(&target, |_| Err(io::Error::other("no"))).is_err());
        assert!(write(&target, |file| file.write_all(b"x")).is_ok());
        let names: Vec<_> = fs::read_dir(folder.path().join("deep"))
            .expect("it is there")
            .collect();
        assert_eq!(names.len(), 1);
    }
}
