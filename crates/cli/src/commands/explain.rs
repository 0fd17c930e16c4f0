//! `curvary explain`: how a file would be read and why, or what a diagnostic code means.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Args;
use curvary_formats::container;
use curvary_formats::evidence::{self, Evidence, EvidenceTarget};
use curvary_formats::explanation::{ColumnPart, ColumnRole, TakenFor};
use curvary_formats::{ExplainedLines, ReaderChoice, Recognition, Source};
use curvary_ingest::{FileReading, Ingest, IngestLimits, SourceBytes};
use curvary_record::{Code, Diagnostic, Run};
use serde::Serialize;

use crate::Environment;
use crate::desk::{self, OptionScope, ReadingOptions};
use crate::ending::{CommandResult, Ending, Failure};
use crate::screen::{ASKED, Errors, FAINT, GOOD, STRONG, Screen, StyledText, plural};
use crate::{codes, drawing, report};

/// Show how a file would be read and why, or what a diagnostic code means
///
/// Of a file: what each reader says to it and, for the one that is chosen, how each part of the file was understood,
/// line by line, with the evidence for it. Nothing is stored.
#[derive(Debug, Args)]
pub(crate) struct ExplainCommand {
    /// A file, or the code of a diagnostic
    #[arg(value_name = "FILE|CODE", required_unless_present_any = ["codes", "rules"])]
    what: Option<String>,
    /// List the rules of evidence by which tables are understood, each with an example
    #[arg(long, conflicts_with = "codes")]
    rules: bool,
    /// List all codes
    #[arg(long)]
    codes: bool,
    /// Print JSON: readers with their answers, the one chosen, the parts of the file, verdict, reasons, remarks and questions
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    reading: ReadingOptions,
}

impl ExplainCommand {
    /// Does it.
    pub(crate) fn run(self, setting: &Environment, screen: &mut Screen) -> CommandResult {
        if self.rules {
            return self.rules(screen);
        }
        let Some(what) = self.what.as_deref().filter(|_| !self.codes) else {
            for code in codes::all() {
                writeln!(screen, "{code}")?;
            }
            return Ok(Ending::Done);
        };
        let path = PathBuf::from(what);
        if path.is_file() {
            return self.file(&path, setting, screen);
        }
        if let Some(page) = codes::page(what) {
            if self.json {
                screen.json(&serde_json::json!({ "code": what, "page": page }))?;
            } else {
                writeln!(screen, "{}\n\n{page}", StyledText(STRONG, what))?;
            }
            return Ok(Ending::Done);
        }
        let message = format!("`{what}` is neither a file nor the code of a diagnostic");
        let mut why = Diagnostic::error(Code::new("command-line"), message);
        let near = codes::nearest(what);
        if !near.is_empty() {
            why = why.help(format!("the nearest codes are {}", near.join(", ")));
        }
        Err(Failure::wrong(why))
    }

    fn rules(&self, screen: &mut Screen) -> CommandResult {
        let rules = evidence::rules();
        if self.json {
            screen.json(&rules)?;
            return Ok(Ending::Done);
        }
        for rule in rules {
            let side = if rule.against { "against" } else { "for" };
            writeln!(
                screen,
                "{} ({}, {}, {side})\n  {}",
                StyledText(STRONG, rule.id),
                rule.kind.as_str(),
                rule.weight.as_str(),
                rule.says
            )?;
            let about = match rule.about {
                EvidenceTarget::Table => "the table".to_owned(),
                EvidenceTarget::Column(column) => format!("column {column}"),
            };
            for line in rule.example.lines() {
                writeln!(screen, "    {}", StyledText(FAINT, line.replace('\t', "    ")))?;
            }
            writeln!(screen, "  {about}: {side} `{}`", rule.speaks_for)?;
        }
        Ok(Ending::Done)
    }

    fn file(&self, path: &Path, setting: &Environment, screen: &mut Screen) -> CommandResult {
        let desk = self
            .reading
            .desk(setting.archive.there().as_deref(), OptionScope::Named)?;
        desk::complain(&desk, screen);
        let name = path.display().to_string();
        let taken = SourceBytes::InFile(path.to_owned())
            .bytes(&name, &IngestLimits::default())
            .map_err(|why| Failure::nothing(*why))?;
        if container::is_container(&taken.bytes) {
            let why = Diagnostic::error(
                Code::new("command-line"),
                format!("`{name}` is a container of files"),
            );
            return Err(Failure::wrong(why.help(
                "unpack it and explain one of its files; `curvary add` reads it is",
            )));
        }
        let source = desk.source(&name, taken);
        let answers = answers(&desk, &source);
        let parts = match desk.readers().choose(&source, desk.asked()) {
            ReaderChoice::One(reader, _) => reader.explain(&source),
            ReaderChoice::None | ReaderChoice::Several(_) => Vec::new(),
        };
        let finished = desk.read_source(source);
        if self.json {
            screen.json(&ExplainJson::new(&answers, &parts, &finished))?;
        } else {
            print_explanation(&answers, &parts, &finished, screen)?;
        }
        Ok(if finished.reading.runs.is_empty() {
            Ending::Nothing
        } else {
            Ending::Done
        })
    }
}

/// One reader's answer.
#[derive(Serialize)]
struct ReaderAnswer {
    reader: String,
    /// `yes`, `perhaps` or `no`.
    knows: &'static str,
    because: String,
    chosen: bool,
}

fn answers(desk: &Ingest, source: &Source) -> Vec<ReaderAnswer> {
    let chosen = match desk.readers().choose(source, desk.asked()) {
        ReaderChoice::One(reader, _) => Some(reader.card().id.clone()),
        ReaderChoice::None | ReaderChoice::Several(_) => None,
    };
    let answer = |candidate: curvary_formats::Candidate<'_>| {
        let (knows, because) = match candidate.recognition {
            Recognition::Yes(why) => ("yes", why),
            Recognition::Perhaps(why) => ("perhaps", why),
            Recognition::No(why) => ("no", why),
        };
        let reader = candidate.reader.card().id.clone();
        ReaderAnswer {
            chosen: chosen.as_ref() == Some(&reader),
            reader,
            knows,
            because,
        }
    };
    desk.readers().ask(source).into_iter().map(answer).collect()
}

/// The answer as `--json` shows it.
#[derive(Serialize)]
struct ExplainJson<'a> {
    path: &'a str,
    encoding: &'a str,
    lines: usize,
    readers: &'a [ReaderAnswer],
    /// How the lines were understood.
    parts: &'a [ExplainedLines],
    verdict: &'a str,
    remarks: &'a [Diagnostic],
    runs: Vec<ExplainedRunJson<'a>>,
}

#[derive(Serialize)]
struct ExplainedRunJson<'a> {
    technique: &'a str,
    lines: Option<(u32, u32)>,
    traces: usize,
    points: usize,
    because: &'a [String],
    questions: &'a [curvary_record::Question],
    remarks: &'a [Diagnostic],
    fields: &'a curvary_record::Fields,
}

impl<'a> ExplainJson<'a> {
    fn new(readers: &'a [ReaderAnswer], parts: &'a [ExplainedLines], finished: &'a FileReading) -> Self {
        let FileReading { source, reading, .. } = finished;
        let run = |run: &'a Run| ExplainedRunJson {
            technique: run.technique.as_str(),
            lines: run.source.lines,
            traces: run.traces.len(),
            points: run.points(),
            because: &run.because,
            questions: &run.questions,
            remarks: &run.remarks,
            fields: &run.fields,
        };
        Self {
            path: source.path(),
            encoding: source.encoding(),
            lines: lines_of(source),
            readers,
            parts,
            verdict: reading.verdict().as_str(),
            remarks: &reading.remarks,
            runs: reading.runs.iter().map(run).collect(),
        }
    }
}

/// How many lines a source has. Bytes that nobody took for text are not decoded to count them.
fn lines_of(source: &Source) -> usize {
    if source.may_be_text() || source.is_decoded() {
        source.lines().count()
    } else {
        1
    }
}

fn print_explanation(
    answers: &[ReaderAnswer],
    parts: &[ExplainedLines],
    finished: &FileReading,
    screen: &mut Screen,
) -> Result<(), Failure> {
    let FileReading { source, reading, .. } = finished;
    writeln!(
        screen,
        "{}: {}, {}",
        StyledText(STRONG, source.path()),
        source.encoding(),
        plural(lines_of(source) as u64, "line")
    )?;
    writeln!(screen, "{}", StyledText(STRONG, "what the readers say"))?;
    for answer in answers {
        let style = match answer.knows {
            "yes" => GOOD,
            "perhaps" => ASKED,
            _ => FAINT,
        };
        let chosen = if answer.chosen { " (chosen)" } else { "" };
        writeln!(
            screen,
            "  {} {}{chosen}: {}",
            StyledText(style, format!("{:<7}", answer.knows)),
            answer.reader,
            answer.because
        )?;
    }
    lines_text(parts, screen)?;
    let (style, verdict) = report::verdict_word(reading.verdict());
    writeln!(
        screen,
        "{} {}",
        StyledText(STRONG, "verdict"),
        StyledText(style, verdict)
    )?;
    let errors = screen.errors().unwrap_or(Errors::Full);
    for remark in &reading.remarks {
        write!(
            screen,
            "{}",
            drawing::draw(Some(source.path()), remark, source, errors)
        )?;
    }
    for (index, run) in reading.runs.iter().enumerate() {
        run_text(index, run, source, errors, screen)?;
    }
    Ok(())
}

/// How the lines were understood, a part a line, and below the rows of a table its columns.
fn lines_text(parts: &[ExplainedLines], screen: &mut Screen) -> Result<(), Failure> {
    if parts.is_empty() {
        return Ok(());
    }
    writeln!(screen, "{}", StyledText(STRONG, "how the lines were understood"))?;
    let lines = |part: &ExplainedLines| match part.last {
        last if last == part.first => last.to_string(),
        last => format!("{}-{last}", part.first),
    };
    let width = parts.iter().map(|part| lines(part).len()).max().unwrap_or(0);
    for part in parts {
        let style = match part.taken_for {
            TakenFor::LeftOut => ASKED,
            TakenFor::Paper | TakenFor::Structure => FAINT,
            _ => GOOD,
        };
        writeln!(
            screen,
            "  {:>width$}  {} {}",
            lines(part),
            StyledText(style, format!("{:<9}", part.taken_for.as_str())),
            drawing::clean(&part.says)
        )?;
        for one in &part.evidence {
            writeln!(
                screen,
                "  {:>width$}            {}",
                "",
                StyledText(FAINT, evidence_text(one))
            )?;
        }
        if let Some(layouts) = layouts_text(&part.evidence) {
            writeln!(
                screen,
                "  {:>width$}            {}",
                "",
                StyledText(FAINT, layouts)
            )?;
        }
        for column in &part.columns {
            writeln!(
                screen,
                "  {:>width$}            {}",
                "",
                drawing::clean(&column_text(column))
            )?;
            for one in &column.evidence {
                writeln!(
                    screen,
                    "  {:>width$}              {}",
                    "",
                    StyledText(FAINT, evidence_text(one))
                )?;
            }
        }
    }
    Ok(())
}

/// `may hold curves over one column (1 strong), tables side by side (1 strong)`: the ways in which a table may hold its
/// curves, the likeliest first, with what speaks for each.
fn layouts_text(evidence: &[Evidence]) -> Option<String> {
    let mut ledger = evidence::Ledger::default();
    for one in evidence {
        ledger.note(one.clone());
    }
    let layouts: Vec<String> = ledger
        .hypotheses(EvidenceTarget::Table)
        .into_iter()
        .filter_map(|(role, balance)| match role {
            evidence::TableRole::Template(template) => {
                let name = template.says().trim_start_matches("layout: ");
                Some(format!("{name} ({})", balance.says()))
            }
            _ => None,
        })
        .collect();
    (!layouts.is_empty()).then(|| drawing::clean(&format!("layouts: {}", layouts.join(", "))))
}

/// `for x axis: wavelength, strong: the unit belongs to one quantity (unit-of-the-trade)`.
fn evidence_text(one: &Evidence) -> String {
    let side = if one.against { "against" } else { "for" };
    let says = evidence::rule(one.rule).unwrap_or_default();
    let text = format!(
        "{side} `{}`, {}: {says} ({})",
        one.speaks_for,
        one.weight.as_str(),
        one.rule
    );
    drawing::clean(&text)
}

/// `` column 2 `Absorbance`: measured, absorbance (its head says so) in {AU} (the customary one) ``.
fn column_text(column: &ColumnPart) -> String {
    let head = |head: &str| {
        if head.is_empty() {
            String::new()
        } else {
            format!(" `{head}`")
        }
    };
    let mut text = if column.first == column.last {
        format!("column {}{}", column.first, head(&column.head))
    } else if column.head.is_empty() {
        format!("columns {} to {}", column.first, column.last)
    } else {
        format!(
            "columns {} to {},{} to{}",
            column.first,
            column.last,
            head(&column.head),
            head(&column.last_head)
        )
    };
    text.push_str(&format!(": {}", column.role.as_str()));
    let because = |why: &str| {
        if why.is_empty() {
            String::new()
        } else {
            format!(" ({why})")
        }
    };
    match &column.quantity {
        Some(quantity) if column.role != ColumnRole::LeftOut => {
            text.push_str(&format!(", {quantity}{}", because(&column.quantity_because)));
        }
        _ => text.push_str(&because(&column.quantity_because)),
    }
    if let Some(unit) = &column.unit {
        let shown = unit.display();
        if !shown.is_empty() {
            text.push_str(&format!(" in {shown}{}", because(&column.unit_because)));
        }
    }
    text
}

fn run_text(
    index: usize,
    run: &Run,
    source: &Source,
    errors: Errors,
    screen: &mut Screen,
) -> Result<(), Failure> {
    let lines = run
        .source
        .lines
        .map(|(first, last)| format!(", lines {first} to {last}"))
        .unwrap_or_default();
    writeln!(
        screen,
        "{} {}, {}, {}{lines}",
        StyledText(STRONG, format!("run {}:", index + 1)),
        run.technique,
        plural(run.traces.len() as u64, "trace"),
        plural(run.points() as u64, "point"),
    )?;
    for reason in &run.because {
        writeln!(screen, "  because {}", drawing::clean(reason))?;
    }
    for (key, claims) in run.fields.iter() {
        for claim in claims {
            let place = match &claim.origin {
                curvary_record::Origin::Source(place) if place.line > 0 => format!("line {}", place.line),
                _ => String::new(),
            };
            let spelled = claim
                .spelled
                .as_deref()
                .filter(|spelled| *spelled != key.as_str());
            let spelled = spelled
                .map(|spelled| format!(" (as `{}`)", drawing::clean(spelled)))
                .unwrap_or_default();
            let unit = claim
                .unit
                .as_ref()
                .map(|unit| format!(" {}", unit.display()))
                .filter(|unit| unit != " ")
                .unwrap_or_default();
            let value = drawing::clean(&claim.value.to_string());
            writeln!(
                screen,
                "  {key} = {value}{unit}{spelled}  {}",
                StyledText(FAINT, place)
            )?;
        }
    }
    for question in &run.questions {
        write!(
            screen,
            "{}",
            drawing::question(Some(source.path()), question, source, errors)
        )?;
    }
    for remark in &run.remarks {
        write!(
            screen,
            "{}",
            drawing::draw(Some(source.path()), remark, source, errors)
        )?;
    }
    Ok(())
}
