//! `curvary demo`: the whole job on the demonstration data, as the commands that do it.

use std::io::Write;
use std::path::PathBuf;

use clap::Args;
use curvary_archive::{Archive, FindOptions};
use curvary_record::{Code, Diagnostic};

use crate::commands::find::short;
use crate::ending::{CommandResult, Ending, Failure};
use crate::screen::{STRONG, Screen, StyledText};

/// Do the whole job on the demonstration data, printing the commands that do it
///
/// Reads the invented exports in demo-data and leaves an archive and exports in demo-out that may be opened, searched
/// and thrown away.
#[derive(Debug, Args)]
pub(crate) struct DemoCommand {
    /// The demonstration data
    #[arg(long, value_name = "DIR", default_value = "demo-data")]
    data: PathBuf,
    /// The folder to leave everything in
    #[arg(long, value_name = "DIR", default_value = "demo-out")]
    out: PathBuf,
}

/// The courses of beet red near 37 °C: the query that the demonstration follows.
const QUERY: [&str; 3] = ["betanin", "temperature:36..38C", "technique:time-course"];

impl DemoCommand {
    /// Does it.
    pub(crate) fn run(self, screen: &mut Screen) -> CommandResult {
        if !self.data.is_dir() {
            let message = format!("the demonstration data are not in `{}`", self.data.display());
            let why = Diagnostic::error(Code::new("no-demo-data"), message);
            return Err(Failure::nothing(why.help(
                "give the command in curvary's own folder, or name theirs with `--data`",
            )));
        }
        narrate(
            screen,
            "Everything in a folder of old exports goes into an archive.",
        )?;
        screen.complain_later();
        let data = self.data.display().to_string();
        let added = act(&self.in_out(["add", data.as_str()]), screen);
        let deliberate = screen.complaints();
        added?;
        self.find(screen)?;
        self.compute(screen)?;
        self.hand_over(screen)?;
        narrate(screen, "And all of it is still what was committed.")?;
        act(&self.in_out(["verify"]), screen)?;
        narrate(
            screen,
            "Some files of the demonstration are wrong on purpose, to show what happens then. These were refused, each with its reason:",
        )?;
        screen.message_drawn(&deliberate);
        narrate(
            screen,
            "And others leave something open on purpose: what is not sure is asked, never guessed.",
        )?;
        let ending = act(&self.in_out(["worklist"]), screen)?;
        self.next_steps(screen)?;
        Ok(ending)
    }

    /// A command over the demonstration's own archive.
    fn in_out<'w>(&self, words: impl IntoIterator<Item = &'w str>) -> Vec<String> {
        let words = words.into_iter().map(str::to_owned);
        words
            .chain(["--archive".to_owned(), self.out.display().to_string()])
            .collect()
    }

    fn exported(&self, name: &str) -> String {
        format!("{}/exports/{name}", self.out.display())
    }

    fn find(&self, screen: &mut Screen) -> Result<(), Failure> {
        narrate(
            screen,
            "Runs are found by words, numbers with units, and dates, over all the years.",
        )?;
        act(&self.in_out(["find"].into_iter().chain(QUERY)), screen)?;
        act(&self.in_out(["find", "--facets"]), screen)?;
        if let Some(run) = first(&self.out.display().to_string())? {
            narrate(screen, "Each says where it came from, line by line.")?;
            act(&self.in_out(["show", short(&run)]), screen)?;
        }
        Ok(())
    }

    fn compute(&self, screen: &mut Screen) -> Result<(), Failure> {
        narrate(
            screen,
            "What the runs were made for is computed, with how sure it is, and kept.",
        )?;
        let model = ["--model", "first-order+offset"];
        let fit = ["fit"].into_iter().chain(QUERY).chain(model);
        act(&self.in_out(fit), screen)?;
        let lines = ["temperature", "sample:betanin", "technique:time-course"];
        act(&self.in_out(lines.into_iter().chain(model)), screen)?;
        let rates = [
            "rates",
            "enzyme:phosphatase",
            "date:2021",
            "--law",
            "michaelis-menten",
        ];
        act(&self.in_out(rates), screen)?;
        act(&self.in_out(["find", "result.km:<1mM"]), screen)?;
        Ok(())
    }

    fn hand_over(&self, screen: &mut Screen) -> Result<(), Failure> {
        narrate(
            screen,
            "Any runs are handed on in open formats, with every digit as it was.",
        )?;
        let courses = [QUERY[0], "temperature:37C", "date:2016"];
        for (what, to, name) in [
            (&QUERY[..], "csv", "betanin.csv"),
            (&["technique:spectrum"][..], "jcamp-dx", "spectra.jdx"),
            (&courses[..], "wide-csv", "for a spreadsheet.csv"),
            (&QUERY[..], "report", "report.html"),
            (&QUERY[..], "bundle", "handover.zip"),
        ] {
            let file = self.exported(name);
            let words = ["export"].into_iter().chain(what.iter().copied());
            let words = words.chain(["--to", to, "--out", file.as_str(), "--replace"]);
            act(&self.in_out(words), screen)?;
        }
        Ok(())
    }

    fn next_steps(&self, screen: &mut Screen) -> Result<(), Failure> {
        narrate(screen, "Now open")?;
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
            writeln!(screen, "  {}  {what}", self.exported(name))?;
        }
        narrate(screen, "and try")?;
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
            let words = self.in_out(words.iter().copied());
            let shown: Vec<String> = words.iter().map(|word| for_shell(word)).collect();
            writeln!(screen, "  curvary {}", shown.join(" "))?;
        }
        Ok(())
    }
}

fn narrate(screen: &mut Screen, text: &str) -> Result<(), Failure> {
    writeln!(screen, "\n{}", StyledText(STRONG, text))?;
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
