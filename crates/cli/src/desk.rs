//! How the command line says what a desk is to do, and how what a desk found is told.

use std::path::{Path, PathBuf};

use clap::Args;
use curvary_formats::Assumptions;
use curvary_ingest::{FileReading, FileReport, Ingest, IngestOptions, LayoutText, Root};
use curvary_record::{Diagnostic, Severity};

use crate::drawing::{self, NoTexts, Texts};
use crate::ending::Failure;
use crate::plugins;
use crate::screen::{Errors, Progress, Screen, plural};

/// How files are read.
#[derive(Clone, Debug, Default, Args)]
pub(crate) struct ReadingOptions {
    /// Read every file with this reader, instead of asking which one knows it
    #[arg(long, value_name = "ID", help_heading = "Reading")]
    pub(crate) reader: Option<String>,
    /// Settle a question, as in decimal=comma or x=wavelength:nm; may be given several times
    #[arg(long, value_name = "ABOUT=ANSWER", help_heading = "Reading")]
    pub(crate) assume: Vec<String>,
    /// Use the layouts of this folder, beside those in the archive's folder `layouts`; may be given several times
    #[arg(long, value_name = "DIR", help_heading = "Reading")]
    pub(crate) layouts: Vec<PathBuf>,
}

/// Which files the options are about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum OptionScope {
    /// Files that were named one by one: answers may write out what was not offered.
    Named,
    /// Whatever is in folders: only what was offered is answered.
    Folders,
}

impl OptionScope {
    /// The scope of paths on the command line.
    pub(crate) fn of(paths: &[PathBuf]) -> Self {
        if paths.iter().all(|path| path.is_file()) {
            Self::Named
        } else {
            Self::Folders
        }
    }
}

impl ReadingOptions {
    /// Whether the command line says anything of how to read.
    pub(crate) fn is_given(&self) -> bool {
        self.reader.is_some() || !self.assume.is_empty() || !self.layouts.is_empty()
    }

    /// The desk at which files are read so, with the layouts of an archive (its folder).
    pub(crate) fn desk(&self, archive: Option<&Path>, scope: OptionScope) -> Result<Ingest, Failure> {
        let assume = assumptions(&self.assume)?;
        let orders = IngestOptions {
            reader: self.reader.clone(),
            assume: match scope {
                OptionScope::Named => assume.precise(),
                OptionScope::Folders => assume,
            },
            layouts: self.layouts.clone(),
            plugins: plugins::allowed()?.entries().to_vec(),
        };
        Ok(Ingest::new(orders, archive)?)
    }
}

/// Settled questions from `about=answer` texts.
pub(crate) fn assumptions(texts: &[String]) -> Result<Assumptions, Failure> {
    let mut assume = Assumptions::none();
    for text in texts {
        assume.add(text).map_err(Failure::usage)?;
    }
    Ok(assume)
}

impl Texts for LayoutText {
    fn text(&self, file: Option<&str>) -> Option<&str> {
        self.text_in(file)
    }
}

/// Tells which layouts and plugins cannot be used, and why.
pub(crate) fn complain(desk: &Ingest, screen: &mut Screen) {
    for misfit in desk.misfits() {
        screen.complain(None, &misfit.why, &misfit.text);
    }
}

/// Tells what is to be said of readers when the work is done.
pub(crate) fn sum_up(desk: &Ingest, screen: &mut Screen) {
    for why in desk.summaries() {
        screen.complain(None, &why, &NoTexts);
    }
}

/// Every remark and question of a source as they are to be shown.
pub(crate) fn drawn(finished: &FileReading, fate: &FileReport, errors: Errors) -> String {
    let path = Some(finished.source.path());
    let mut text = remarks(path, &fate.remarks, &finished.source, errors);
    for question in finished.reading.runs.iter().flat_map(|run| run.questions.iter()) {
        text.push_str(&drawing::question(path, question, &finished.source, errors));
    }
    text
}

fn remarks(path: Option<&str>, remarks: &[Diagnostic], texts: &dyn Texts, errors: Errors) -> String {
    remarks
        .iter()
        .map(|remark| drawing::draw(path, remark, texts, errors))
        .collect()
}

/// What is shown of each file's remarks while many are read: all of them where that was asked for, else the first few
/// errors in short.
#[derive(Default)]
pub(crate) struct Complaints {
    /// Errors that could have been shown so far.
    met: usize,
}

/// Complaints that are shown before the rest is only counted.
const SHOWN: usize = 10;

impl Complaints {
    /// Shows what was drawn of a file; without it, its errors in short.
    pub(crate) fn show(&mut self, fate: &FileReport, drawn: Option<String>, screen: &mut Screen) {
        if let Some(errors) = screen.errors() {
            let path = Some(fate.path.as_str());
            let text = drawn.unwrap_or_else(|| remarks(path, &fate.remarks, &NoTexts, errors));
            if !text.is_empty() {
                screen.message_drawn(&text);
            }
            return;
        }
        let errors = fate
            .remarks
            .iter()
            .filter(|remark| remark.severity == Severity::Error);
        for remark in errors {
            self.met += 1;
            if self.met <= SHOWN {
                screen.message_drawn(&format!("{}\n", drawing::short(Some(&fate.path), remark)));
            }
        }
    }

    /// Shows what the output of a file cannot carry.
    pub(crate) fn lost(&mut self, fate: &FileReport, lost: &[Diagnostic], screen: &mut Screen) {
        for remark in lost {
            self.met += 1;
            if self.met <= SHOWN || screen.errors().is_some() {
                screen.message_drawn(&format!("{}\n", drawing::short(Some(&fate.path), remark)));
            }
        }
    }

    /// Says how many were not shown.
    pub(crate) fn end(&self, screen: &mut Screen) {
        if self.met > SHOWN {
            screen.say(format_args!(
                "and {} more; `--errors short` shows all of them, `--report FILE` keeps them",
                plural((self.met - SHOWN) as u64, "complaint")
            ));
        }
    }
}

/// A count of files in a thread of its own, for a progress bar that is seen.
pub(crate) fn count_aside(
    progress: &Progress,
    roots: Vec<Root>,
    leave_out: impl Fn(&Path, bool) -> bool + Send + Sync + 'static,
) {
    if progress.visible() {
        let total = progress.total();
        std::thread::spawn(move || total(curvary_ingest::count(&roots, &leave_out)));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wrong_assumptions_are_wrong_command_lines() {
        assert!(matches!(
            assumptions(&["decimal=dot".to_owned()]),
            Err(Failure::Told { .. })
        ));
    }
}
