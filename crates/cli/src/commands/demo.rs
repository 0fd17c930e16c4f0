//! `curvary demo`: the whole job on the demonstration data, as the commands that do it.

use std::io::Write;
use std::path::PathBuf;

use clap::Args;
use curvary_archive::{Archive, FindOptions};
use curvary_record::{Code, Diagnostic};

use crate::commands::find::short;
use crate::ending::{CommandResult, Ending, Failure};
use crate::screen::{STRONG, Screen, Styled};

/// Do the whole job on the demonstration data, printing the commands that do it
///
/// Reads the invented exports in demo-data and leaves an archive and exports in demo-out that may be opened, searched
/// and thrown away.
#[derive(Debug, Args)]
pub(crate) struct Demo {
    /// The demonstration data
    #[arg(long, value_name = "DIR", default_value = "demo-data")]
    data: PathBuf,
    /// The folder to leave everything in
    #[arg(long, value_name = "DIR", default_value = "demo-out")]
    out: PathBuf,
}

/// The courses of beet red near 37 °C: the query that the demonstration follows.
const QUERY: [&str; 3] = ["betanin", "temperature:36..38C", "technique:time-course"];

impl Demo {
    /// Does it.
    #[expect(clippy::too_many_lines, reason = "what is shown, step by step")]
    pub(crate) fn run(self, screen: &mut Screen) -> CommandResult {
        if !self.data.is_dir() {
            let message = format!("the demonstration data are not in `{}`", self.data.display());
            let why = Diagnostic::error(Code::new("no-demo-data"), message);
            return Err(Failure::nothing(why.help(
                "give the command in curvary's own folder, or name theirs with `--data`",
            )));
        }
        let (data, out) = (self.data.display().to_string(), self.out.display().to_string());
        let in_out = |words: &[&str]| -> Vec<String> {
            words
                .iter()
                .copied()
                .chain(["--archive", &out])
                .map(str::to_owned)
                .collect()
        };
        tell(
            screen,
            "Everything in a folder of old exports goes into an archive.",
        )?;
        screen.complain_later();
        let added = act(&in_out(&["add", &data]), screen);
        let deliberate = screen.complaints();
        added?;
        tell(
            screen,
            "Runs are found by words, numbers with units, and dates, over all the years.",
        )?;
        let query: Vec<&str> = ["find"].into_iter().chain(QUERY).collect();
        act(&in_out(&query), screen)?;
        act(&in_out(&["find", "--facets"]), screen)?;
        if let Some(run) = first(&out)? {
            tell(screen, "Each says where it came from, line by line.")?;
            act(&in_out(&["show", short(&run)]), screen)?;
        }
        tell(
            screen,
            "What the runs were made for is computed, with how sure it is, and kept.",
        )?;
        let compute = |words: &[&str]| in_out(words);
        let fit: Vec<&str> = ["fit"]
            .into_iter()
            .chain(QUERY)
            .chain(["--model", "first-order+offset"])
            .collect();
        act(&compute(&fit), screen)?;
        act(
            &compute(&[
                "temperature",
                "sample:betanin",
                "technique:time-course",
                "--model",
                "first-order+offset",
            ]),
            screen,
        )?;
        act(
            &compute(&[
                "rates",
                "enzyme:phosphatase",
                "date:2021",
                "--law",
                "michaelis-menten",
            ]),
            screen,
        )?;
        act(&compute(&["find", "result.km:<1mM"]), screen)?;
        tell(
            screen,
            "Any runs are handed on in open formats, with every digit as it was.",
        )?;
        let (table, spectra) = (
            format!("{out}/exports/betanin.csv"),
            format!("{out}/exports/spectra.jdx"),
        );
        let export = |what: &[&str], to: &str, file: &str| {
            let words: Vec<&str> = ["export"]
                .into_iter()
                .chain(what.iter().copied())
                .chain(["--to", to, "--out", file, "--replace"])
                .collect();
            in_out(&words)
        };
        act(&export(&QUERY, "csv", &table), screen)?;
        act(&export(&["technique:spectrum"], "jcamp-dx", &spectra), screen)?;
        let opened = |name: &str| format!("{out}/exports/{name}");
        let courses = [QUERY[0], "temperature:37C", "date:2016"];
        act(
            &export(&courses, "wide-csv", &opened("for a spreadsheet.csv")),
            screen,
        )?;
        act(&export(&QUERY, "report", &opened("report.html")), screen)?;
        act(&export(&QUERY, "bundle", &opened("handover.zip")), screen)?;
        tell(screen, "And all of it is still what was committed.")?;
        act(&in_out(&["verify"]), screen)?;
        tell(
            screen,
            "Some files of the demonstration are wrong on purpose, to show what happens then. These were refused, each with its reason:",
        )?;
        screen.say_drawn(&deliberate);
        tell(
            screen,
            "And others leave something open on purpose: what is not sure is asked, never guessed.",
        )?;
        let ending = act(&in_out(&["worklist"]), screen)?;
        tell(screen, "Now open")?;
        for (name, what) in [
            (
                "report.html",
                "conditions, curves over each other, fits with residuals: in a browser",
            ),
            (
                "for a spreadsheet.csv",
                "time, and a column for each course: in a spreadsheet",
            ),
            ("handover.zip", "what a collaborator is given, with a README"),
        ] {
            writeln!(screen, "  {}  {what}", opened(name))?;
        }
        tell(screen, "and try")?;
        for words in [
            &["find", "temp:30..40C"][..],
            &["results", "sample:betanin"],
            &[
                "export",
                "enzyme:phosphatase",
                "--to",
                "xlsx",
                "--out",
                "phosphatase.xlsx",
            ],
        ] {
            let shown: Vec<String> = in_out(words).iter().map(|word| for_shell(word)).collect();
            writeln!(screen, "  curvary {}", shown.join(" "))?;
        }
        Ok(ending)
    }
}

fn tell(screen: &mut Screen, text: &str) -> Result<(), Failure> {
    writeln!(screen, "\n{}", Styled(STRONG, text))?;
    Ok(())
}

/// Prints a command and does it. One that could not be done ends the demonstration.
fn act(words: &[String], screen: &mut Screen) -> CommandResult {
    let shown: Vec<String> = words.iter().map(|word| for_shell(word)).collect();
    writeln!(screen, "\n$ curvary {}", shown.join(" "))?;
    match crate::perform(words, screen)? {
        Ending::Nothing => Err(Failure::nothing(Diagnostic::error(
            Code::new("demo-stopped"),
            format!(
                "the demonstration stopped: `curvary {}` could do nothing",
                shown.join(" ")
            ),
        ))),
        ending => Ok(ending),
    }
}

/// A word as a shell would need it.
fn for_shell(word: &str) -> String {
    let plain = |c: char| c.is_alphanumeric() || "-_./:=,%".contains(c);
    if word.chars().all(plain) {
        word.to_owned()
    } else {
        format!("'{word}'")
    }
}

/// The first run of the query whose meaning is sure.
fn first(out: &str) -> Result<Option<String>, Failure> {
    let archive = Archive::open(out.as_ref())?;
    let query = archive.query(&QUERY.join(" "))?;
    let found = archive.find(&query, &FindOptions::default())?;
    let sure = found.hits.iter().find(|hit| hit.summary.questions.is_empty());
    Ok(sure.map(|hit| hit.id.to_string()))
}
