//! `curvary export`: runs out of the archive in open formats.

use std::io::Write;
use std::path::PathBuf;

use clap::Args;
use curvary_archive::{Archive, FindOptions};
use curvary_record::{Code, Diagnostic, RunId, Severity};

use crate::Setting;
use crate::ending::{Ending, Failure, Outcome};
use crate::output::{self, Existing, OutputOptions};
use crate::screen::{ASKED, Screen, Styled, plural};

/// Write runs out of the archive in an open format
///
/// Runs in question are left out, and told, unless --even-in-question.
#[derive(Debug, Args)]
pub(crate) struct Export {
    /// Runs by name, or a query
    #[arg(required = true, value_name = "RUN|QUERY")]
    what: Vec<String>,
    #[command(flatten)]
    output: OutputOptions,
    /// The file to write
    #[arg(long, value_name = "PATH")]
    out: PathBuf,
    /// Write runs too whose meaning a person has not decided yet
    #[arg(long)]
    even_in_question: bool,
    /// Take the place of a file that is there already
    #[arg(long)]
    replace: bool,
}

impl Export {
    /// Does it.
    pub(crate) fn run(self, setting: &Setting, screen: &mut Screen) -> Outcome {
        let archive = setting.archive.open()?;
        let names = chosen(&archive, &self.what)?;
        if self.out.exists() && !self.replace {
            let why = Diagnostic::error(
                Code::new("output-there"),
                format!("`{}` is there already", self.out.display()),
            );
            return Err(Failure::nothing(
                why.help("name another file, or take its place with `--replace`"),
            ));
        }
        let mut runs = Vec::with_capacity(names.len());
        let mut asked = Vec::new();
        for name in &names {
            let run = archive.run(name.as_str())?.run;
            if run.in_question() && !self.even_in_question {
                asked.push(run.id);
            } else {
                runs.push(run);
            }
        }
        if !asked.is_empty() {
            left_out(&asked, screen);
        }
        if runs.is_empty() {
            let message = if names.is_empty() {
                "no run matches"
            } else {
                "every run that matches is in question"
            };
            return Err(Failure::nothing(
                Diagnostic::error(
                    Code::new("nothing-to-export"),
                    format!("{message}, so nothing was written"),
                )
                .help("`curvary find` shows what matches, `curvary worklist` what is in question"),
            ));
        }
        let remarks = self
            .output
            .write(&self.out, Existing::asked(self.replace), &runs)
            .map_err(|error| Failure::file("write", &self.out, &error))?;
        output::tell(&self.out, &remarks, screen);
        if remarks.iter().any(|remark| remark.severity == Severity::Error) {
            return Ok(Ending::Nothing);
        }
        writeln!(
            screen,
            "{}, {} to {}",
            plural(runs.len() as u64, "run"),
            plural(runs.iter().map(|run| run.points() as u64).sum(), "point"),
            self.out.display()
        )?;
        // What the format could not carry is an error to whoever wants it so.
        let warned = remarks.iter().any(|remark| remark.severity == Severity::Warning);
        let ending = match Ending::of(runs.len() as u64, asked.len() as u64) {
            Ending::Done if setting.strict && warned => Ending::Partly,
            ending => ending,
        };
        Ok(ending)
    }
}

/// The runs that the words name: a run's name or a beginning of it each, else one query together.
pub(crate) fn chosen(archive: &Archive, what: &[String]) -> Result<Vec<RunId>, Failure> {
    let looks_like_name =
        |word: &String| word.len() >= 4 && word.bytes().all(|byte| byte.is_ascii_hexdigit());
    if what.iter().all(looks_like_name) {
        let names: Result<Vec<RunId>, curvary_archive::Error> =
            what.iter().map(|word| archive.resolve(word)).collect();
        match names {
            Ok(names) => return Ok(names),
            // A word such as `cafe` may be meant as a word.
            Err(curvary_archive::Error::NoRun { .. }) => {}
            Err(error) => return Err(error.into()),
        }
    }
    let query = archive.query(&super::query(what))?;
    let found = archive.find(&query, &FindOptions::default())?;
    Ok(found.hits.into_iter().map(|hit| hit.id).collect())
}

fn left_out(asked: &[RunId], screen: &mut Screen) {
    let names: Vec<&str> = asked.iter().take(5).map(RunId::as_str).collect();
    let more = if asked.len() > names.len() { ", …" } else { "" };
    screen.say(format_args!(
        "{} {} in question and {} left out: {}{more}; `curvary show RUN` says what is asked, `--even-in-question` writes them too",
        Styled(ASKED, plural(asked.len() as u64, "run")),
        if asked.len() == 1 { "is" } else { "are" },
        if asked.len() == 1 { "was" } else { "were" },
        names.join(", ")
    ));
}
