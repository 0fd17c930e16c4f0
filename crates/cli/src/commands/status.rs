//! `curvary status`, and `curvary` alone: an archive at a glance.

use curvary_record::code;
use std::collections::BTreeMap;
use std::io::Write;

use clap::Args;
use curvary_archive::{Archive, FacetCount, FacetName, FindOptions, Worklist};
use serde::Serialize;

use crate::Environment;
use crate::commands::find::short;
use crate::commands::worklist;
use crate::ending::{CommandResult, Ending, Failure};
use crate::screen::{ASKED, FAINT, STRONG, Screen, StyledText, count, plural};
use crate::table::{Listing, ListingColumn, Shorten, TableCell, one_line};
use crate::telling;

/// Show an archive at a glance: runs, years, techniques, samples, tags, what is open, and the last results
///
/// `curvary` alone does the same.
#[derive(Debug, Default, Args)]
pub(crate) struct StatusCommand {
    /// Print JSON: archive, name, files, runs, years, techniques, samples, tags, duplicates, open and results
    #[arg(long)]
    json: bool,
}

/// How many samples and tags are named.
const NAMED: usize = 6;
/// How many results are shown.
const RESULTS: usize = 5;

/// An archive at a glance, as `--json` shows it.
#[derive(Serialize)]
struct ArchiveGlance {
    archive: String,
    name: String,
    files: u64,
    runs: u64,
    years: Vec<FacetCount>,
    techniques: Vec<FacetCount>,
    samples: Vec<FacetCount>,
    tags: Vec<FacetCount>,
    duplicates: u64,
    open: OpenWork,
    results: Vec<Last>,
}

/// What needs a person.
#[derive(Default, Serialize)]
struct OpenWork {
    in_question: u64,
    questions: u64,
    keys: u64,
    unread: u64,
    disputes: u64,
    nameless: u64,
    /// Runs that were read with warnings: something is missing from them or doubtful.
    warned: u64,
}

/// A result that was kept.
#[derive(Serialize)]
struct Last {
    run: String,
    runs: usize,
    sample: String,
    model: String,
    parameter: String,
    value: String,
}

impl StatusCommand {
    /// Does it.
    pub(crate) fn run(self, setting: &Environment, screen: &mut Screen) -> CommandResult {
        let archive = setting.archive.open()?;
        let glance = ArchiveGlance::of(&archive)?;
        if self.json {
            screen.json(&glance)?;
        } else {
            glance.print(screen)?;
        }
        Ok(Ending::Done)
    }
}

/// What to do where there is no archive yet.
pub(crate) fn first_steps(screen: &mut Screen) -> CommandResult {
    writeln!(
        screen,
        "{}\n",
        StyledText(
            STRONG,
            "No archive is named, and no folder from here upwards is one."
        )
    )?;
    for (command, what) in [
        (
            "curvary add FOLDER --archive lab",
            "begins an archive from a folder of exports",
        ),
        ("curvary demo", "shows the whole job on invented data"),
        ("curvary explain FILE", "shows how a file would be read"),
        (
            "curvary help",
            "lists the commands; `curvary help COMMAND` says more of one",
        ),
    ] {
        writeln!(screen, "  {command:<34}  {}", StyledText(FAINT, what))?;
    }
    Ok(Ending::Done)
}

impl ArchiveGlance {
    fn of(archive: &Archive) -> Result<Self, Failure> {
        let everything = archive.query("")?;
        let names = [
            FacetName::Technique,
            FacetName::Year,
            FacetName::Sample,
            FacetName::Tag,
        ];
        let mut facets = archive.facets(&everything, &names, 0)?;
        let mut of = |name: FacetName| facets.remove(&name).unwrap_or_default();
        let mut years = of(FacetName::Year);
        years.sort_by(|a, b| a.value.cmp(&b.value));
        let many = |query: &str| -> Result<u64, Failure> {
            let options = FindOptions {
                limit: 1,
                ..FindOptions::default()
            };
            Ok(archive.find(&archive.query(query)?, &options)?.total as u64)
        };
        let list = archive.worklist(&[], 1)?;
        let open = worklist::open(archive)?;
        let is_key = |asked: &&curvary_archive::OpenItem| {
            matches!(asked.about, curvary_archive::OpenItemKind::Key { .. })
        };
        let keys = open.iter().filter(is_key).count() as u64;
        Ok(Self {
            archive: archive.root().display().to_string(),
            name: archive.settings().name.clone(),
            files: archive.sources()?.len() as u64,
            runs: many("")?,
            years,
            techniques: of(FacetName::Technique),
            samples: of(FacetName::Sample),
            tags: of(FacetName::Tag),
            duplicates: many("is:duplicate")?,
            open: OpenWork {
                in_question: many("is:in-question")?,
                questions: open.len() as u64 - keys,
                keys,
                unread: unread(&list),
                disputes: list.disputes.iter().map(|group| group.count).sum(),
                nameless: list.nameless,
                warned: many("has:warning")?,
            },
            results: results(archive)?,
        })
    }

    fn print(&self, screen: &mut Screen) -> Result<(), Failure> {
        let name = StyledText(STRONG, one_line(&self.name));
        // An archive in a folder of its own name is named once.
        if self.archive == self.name {
            writeln!(screen, "{name}")?;
        } else {
            writeln!(screen, "{name}  {}", StyledText(FAINT, one_line(&self.archive)))?;
        }
        writeln!(
            screen,
            "{} of {}",
            plural(self.runs, "run"),
            plural(self.files, "file")
        )?;
        line(screen, "years", years(&self.years))?;
        line(screen, "techniques", listed(&self.techniques, usize::MAX))?;
        line(screen, "samples", listed(&self.samples, NAMED))?;
        line(screen, "tags", listed(&self.tags, NAMED))?;
        if self.duplicates > 0 {
            let words = format!("{} (`curvary find is:duplicate`)", plural(self.duplicates, "run"));
            line(screen, "duplicates", words)?;
        }
        self.print_open(screen)?;
        if self.results.is_empty() {
            return Ok(());
        }
        writeln!(screen, "{}", StyledText(STRONG, "last results"))?;
        let mut table = Listing::new([
            ListingColumn::new(""),
            ListingColumn::new("").shorten(Shorten::End),
            ListingColumn::new("").shorten(Shorten::End),
            ListingColumn::new(""),
        ]);
        for last in &self.results {
            let run = match last.runs {
                1 => last.run.clone(),
                several => format!("{several} runs"),
            };
            table.row([
                format!("  {run}").into(),
                last.sample.as_str().into(),
                TableCell::styled(last.model.as_str(), FAINT),
                format!("{} {}", last.parameter, last.value).into(),
            ]);
        }
        write!(screen, "{}", table.draw(screen.width()))?;
        Ok(())
    }

    fn print_open(&self, screen: &mut Screen) -> Result<(), Failure> {
        let open = &self.open;
        let mut parts: Vec<String> = Vec::new();
        for (number, noun) in [
            (open.questions, "question"),
            (open.keys, "key of this laboratory"),
            (open.unread, "file not read"),
            (open.disputes, "dispute"),
            (open.nameless, "run without a sample name"),
        ] {
            if number > 0 {
                parts.push(match noun.split_once(' ') {
                    Some((first, rest)) => format!("{} {rest}", plural(number, first)),
                    None => plural(number, noun),
                });
            }
        }
        let warned = match open.warned {
            0 => String::new(),
            some => format!("{} (`curvary find has:warning`)", plural(some, "run")),
        };
        if parts.is_empty() {
            writeln!(screen, "nothing is open")?;
            return line(screen, "warnings", warned);
        }
        for (at, line) in wrapped(&parts.join(", "), screen.width(), 14).iter().enumerate() {
            let name = if at == 0 { "open" } else { "" };
            writeln!(screen, "  {name:<10}  {}", StyledText(ASKED, line))?;
        }
        writeln!(
            screen,
            "  {:<10}  {}",
            "",
            StyledText(FAINT, "`curvary worklist` lists it")
        )?;
        line(screen, "warnings", warned)
    }
}

/// A line of the overview, where there is anything to say.
fn line(screen: &mut Screen, name: &str, words: String) -> Result<(), Failure> {
    if !words.is_empty() {
        for (at, line) in wrapped(&one_line(&words), screen.width(), 14).iter().enumerate() {
            writeln!(screen, "  {:<10}  {line}", if at == 0 { name } else { "" })?;
        }
    }
    Ok(())
}

/// Files that were not read and that nobody has said to be no measurement.
fn unread(list: &Worklist) -> u64 {
    let groups = list
        .unread
        .iter()
        .filter(|group| group.code != code::LEFT_OUT.as_str());
    groups.map(|group| group.count).sum()
}

/// A list cut into lines after its commas, so that with `indent` in front none is wider than the terminal.
fn wrapped(text: &str, width: Option<usize>, indent: usize) -> Vec<String> {
    let room = width.map_or(usize::MAX, |width| width.saturating_sub(indent).max(20));
    let mut lines: Vec<String> = Vec::new();
    for part in text.split_inclusive(", ") {
        match lines.last_mut() {
            Some(line) if line.chars().count() + part.trim_end().chars().count() <= room => {
                line.push_str(part)
            }
            _ => lines.push(part.to_owned()),
        }
    }
    lines.iter().map(|line| line.trim_end().to_owned()).collect()
}

fn listed(counts: &[FacetCount], most: usize) -> String {
    let shown = counts
        .iter()
        .take(most)
        .map(|one| format!("{} ({})", one.value, count(one.count)));
    let mut parts: Vec<String> = shown.collect();
    if counts.len() > parts.len() {
        parts.push(format!("and {} more", counts.len() - parts.len()));
    }
    parts.join(", ")
}

/// Each year with its runs; a long row of years by its ends.
fn years(counts: &[FacetCount]) -> String {
    match counts {
        [first, .., last] if counts.len() > 10 => {
            let runs: u64 = counts.iter().map(|one| one.count).sum();
            format!(
                "{} to {}, {} years ({} runs with a date)",
                first.value,
                last.value,
                counts.len(),
                count(runs)
            )
        }
        _ => listed(counts, usize::MAX),
    }
}

fn results(archive: &Archive) -> Result<Vec<Last>, Failure> {
    let mut all = Vec::new();
    let mut samples: BTreeMap<String, String> = BTreeMap::new();
    for outcome in archive.latest_outcomes(RESULTS)? {
        let Some(run) = outcome.runs.first() else { continue };
        if !samples.contains_key(run.as_str()) {
            let sample = archive
                .run(run.as_str())?
                .run
                .fields
                .text("sample")
                .unwrap_or_default()
                .to_owned();
            samples.insert(run.as_str().to_owned(), sample);
        }
        let leading = outcome
            .parameters
            .iter()
            .find(|one| one.value.is_some() && LEADING.contains(&one.name.as_str()));
        let Some(parameter) = leading.or_else(|| outcome.parameters.iter().find(|one| one.value.is_some()))
        else {
            continue;
        };
        let (value, error, unit) = telling::value(parameter);
        let words = [value, error, unit].into_iter().filter(|part| !part.is_empty());
        all.push(Last {
            run: short(run.as_str()).to_owned(),
            runs: outcome.runs.len(),
            sample: samples.get(run.as_str()).cloned().unwrap_or_default(),
            model: outcome.model.clone(),
            parameter: parameter.name.clone(),
            value: words.collect::<Vec<_>>().join(" "),
        });
    }
    Ok(all)
}

/// Parameters that a person looks for first.
const LEADING: [&str; 6] = ["k", "Km", "Ea", "rate", "IC50", "concentration"];
