//! `curvary show`: all that is known of a run.

use std::io::Write;

use clap::Args;
use clap_complete::ArgValueCompleter;
use curvary_archive::View;
use curvary_record::{Claim, Column, Coordinate, Key, Origin, Outcome as Result_, Place, Run, Trace};
use serde::Serialize;

use crate::Environment;
use crate::commands::find::with_unit;
use crate::drawing::{self, NoTexts};
use crate::ending::{CommandResult, Ending, Failure};
use crate::screen::{ASKED, BAD, Errors, FAINT, STRONG, Screen, StyledText, count, plural};
use crate::sketch::{SketchAxes, SketchCurve, sketch};
use crate::subject::{named, no_run};
use crate::table::one_line;
use crate::{comparison, questions, telling};

/// Show a run: its fields with their origins, disputes, traces with a small drawing, results and open questions
///
/// Several runs are set side by side, what differs first; `--each` shows them one after another.
#[derive(Debug, Args)]
pub(crate) struct ShowCommand {
    /// Runs by name or a beginning of it, files, a query, or `@last`
    #[arg(value_name = "RUN|FILE|QUERY", required = true, add = ArgValueCompleter::new(crate::completing::subject))]
    runs: Vec<String>,
    /// Show several runs one after another, each in full
    #[arg(long)]
    each: bool,
    /// Print a JSON list of the runs in the open schema, each with paths, notes and results
    #[arg(long)]
    json: bool,
}

/// A run as `--json` shows it.
#[derive(Serialize)]
struct ShowJson<'a> {
    #[serde(flatten)]
    run: &'a Run,
    paths: &'a [String],
    superseded: bool,
    notes: &'a [curvary_archive::Note],
    results: &'a [Result_],
}

/// How many traces are listed one by one.
const TRACES: usize = 12;
/// How wide and high a drawing is, in characters.
pub(crate) const DRAWING: (usize, usize) = (56, 10);

impl ShowCommand {
    /// Does it.
    pub(crate) fn run(self, setting: &Environment, screen: &mut Screen) -> CommandResult {
        let archive = setting.archive.open()?;
        let mut runs = named(&archive, &self.runs)?;
        if runs.is_empty() {
            return Err(no_run(Some(&archive), &self.runs, "shown"));
        }
        let all = runs.len();
        if !self.json && all > MOST {
            runs.truncate(MOST);
        }
        let views = runs
            .iter()
            .map(|run| archive.run(run.as_str()))
            .collect::<Result<Vec<View>, _>>()?;
        if self.json {
            let shapes: Vec<ShowJson<'_>> = views
                .iter()
                .map(|view| ShowJson {
                    run: &view.run,
                    paths: &view.paths,
                    superseded: view.superseded,
                    notes: &view.notes,
                    results: &view.outcomes,
                })
                .collect();
            screen.json(&shapes)?;
            return Ok(Ending::Done);
        }
        if views.len() > 1 && !self.each {
            comparison::side_by_side(&views, screen)?;
            more(all, screen);
            return Ok(Ending::Done);
        }
        for (index, view) in views.iter().enumerate() {
            if index > 0 {
                writeln!(screen)?;
            }
            show(view, screen)?;
        }
        more(all, screen);
        Ok(Ending::Done)
    }
}

/// Says that there are more runs than are shown.
fn more(all: usize, screen: &mut Screen) {
    if all > MOST {
        screen.say(format_args!(
            "{MOST} of {all} runs are shown; `curvary find` lists all of them"
        ));
    }
}

/// Most runs that are shown at once.
const MOST: usize = 6;

fn show(view: &View, screen: &mut Screen) -> Result<(), Failure> {
    let run = &view.run;
    write!(screen, "{}  {}", StyledText(STRONG, &run.id), run.technique)?;
    if run.in_question() {
        write!(screen, "  {}", StyledText(ASKED, "in question"))?;
    }
    if view.superseded {
        write!(
            screen,
            "  {}",
            StyledText(ASKED, "a newer version of its file is in the archive")
        )?;
    }
    writeln!(screen)?;
    for (index, path) in view.paths.iter().enumerate() {
        let lines = run.source.lines.filter(|_| index == 0);
        let lines = lines
            .map(|(first, last)| format!(", lines {first} to {last}"))
            .unwrap_or_default();
        writeln!(screen, "  {}{lines}", one_line(path))?;
    }
    let encoding = run
        .source
        .encoding
        .as_deref()
        .map(|encoding| format!(", {encoding}"))
        .unwrap_or_default();
    let reader = format!(
        "read by {} {}{encoding}",
        run.source.reader, run.source.reader_version
    );
    writeln!(screen, "  {}", StyledText(FAINT, reader))?;
    fields(run, screen)?;
    traces(run, screen)?;
    for result in &view.outcomes {
        let of = result
            .trace
            .and_then(|number| run.traces.get(number as usize))
            .map(curvary_analysis::study::label_of)
            .filter(|label| !label.is_empty())
            .map(|label| format!(" of {label}"))
            .unwrap_or_default();
        telling::print_outcome(
            &format!("result: {}{of}", result.kind.as_str().replace('-', " ")),
            result,
            screen,
        )?;
    }
    questions(run, screen)?;
    for remark in &run.remarks {
        let path = view.paths.first().map(String::as_str);
        let how = screen.errors().unwrap_or(Errors::Short);
        write!(screen, "{}", drawing::draw(path, remark, &NoTexts, how))?;
    }
    Ok(())
}

fn fields(run: &Run, screen: &mut Screen) -> Result<(), Failure> {
    if run.fields.is_empty() {
        return Ok(());
    }
    writeln!(screen, "{}", StyledText(STRONG, "fields"))?;
    let disputed: Vec<&Key> = run.fields.disputes().map(|(key, _)| key).collect();
    let widest = run
        .fields
        .iter()
        .map(|(key, _)| key.as_str().chars().count())
        .max()
        .unwrap_or(0)
        .min(28);
    for (key, claims) in run.fields.iter() {
        for (index, claim) in claims.iter().enumerate() {
            let name = if index == 0 { key.as_str() } else { "" };
            let value = one_line(&value(claim));
            let mark = if index > 0 && disputed.contains(&key) && !claims[0].agrees(claim) {
                "disputes: "
            } else {
                ""
            };
            let origin = origin(key, claim);
            writeln!(
                screen,
                "  {}  {}{value}  {}",
                one_line(&format!("{name:<widest$}")) + &" ".repeat(if name.is_empty() { widest } else { 0 }),
                StyledText(BAD, mark),
                StyledText(FAINT, origin)
            )?;
        }
    }
    Ok(())
}

/// A claim's value with its unit and uncertainty.
pub(crate) fn value(claim: &Claim) -> String {
    let mut text = with_unit(&claim.value, claim.unit.as_ref());
    if let Some(plus_minus) = claim.plus_minus {
        text.push_str(&format!(" ± {plus_minus}"));
    }
    text
}

/// Who said a claim, and how it was spelled there.
fn origin(key: &Key, claim: &Claim) -> String {
    let mut text = match &claim.origin {
        Origin::Note { at, author } => {
            let author = author
                .as_deref()
                .map(|author| format!(" by {author}"))
                .unwrap_or_default();
            let at = at.as_deref().map(|at| format!(", {at}")).unwrap_or_default();
            format!("note{author}{at}")
        }
        Origin::Source(place) if place.line > 0 => match &place.part {
            Some(part) => {
                let row = if part.starts_with("page ") { "line" } else { "row" };
                format!("{part}, {row} {}, column {}", place.line, place.column)
            }
            None => format!("line {}", place.line),
        },
        Origin::Source(Place { part: Some(part), .. }) => part.clone(),
        Origin::Source(_) => "the file".to_owned(),
        Origin::Name { rule, part } => format!("name `{part}` (rule {rule})"),
        Origin::Layout { layout } => format!("layout {layout}"),
        Origin::Derived { step, .. } => format!("derived: {step}"),
    };
    let spelled = claim
        .spelled
        .as_deref()
        .filter(|spelled| *spelled != key.as_str());
    if let Some(spelled) = spelled {
        text.push_str(&format!(", as `{spelled}`"));
    }
    if claim.raw != claim.value.to_string() {
        text.push_str(&format!(", `{}`", claim.raw));
    }
    one_line(&text)
}

fn traces(run: &Run, screen: &mut Screen) -> Result<(), Failure> {
    let many = run.traces.len();
    writeln!(
        screen,
        "{}",
        StyledText(
            STRONG,
            format!(
                "{}, {}",
                plural(many as u64, "trace"),
                plural(run.points() as u64, "point")
            )
        )
    )?;
    for trace in run.traces.iter().take(TRACES) {
        writeln!(screen, "  {}", one_line(&line(trace)))?;
        if let Some(names) = names_of_points(trace) {
            writeln!(screen, "    {}", StyledText(FAINT, one_line(&names)))?;
        }
    }
    if many > TRACES {
        writeln!(
            screen,
            "  {}",
            StyledText(
                FAINT,
                format!("and {}", plural((many - TRACES) as u64, "more trace"))
            )
        )?;
    }
    // Curves over the same axes share a drawing; the first curve says which axes.
    let Some(first) = run.traces.iter().find(|trace| trace.len() > 1) else {
        return Ok(());
    };
    let like = |a: &Column, b: &Column| a.quantity == b.quantity && a.unit == b.unit;
    let alike: Vec<&Trace> = run
        .traces
        .iter()
        .filter(|trace| like(&trace.x, &first.x) && like(&trace.y, &first.y))
        .collect();
    let curves: Vec<SketchCurve<'_>> = alike
        .iter()
        .map(|trace| SketchCurve {
            x: &trace.x.values,
            y: &trace.y.values,
        })
        .collect();
    let axes = SketchAxes {
        x: axis(&first.x),
        y: axis(&first.y),
    };
    let columns = screen
        .width()
        .map_or(DRAWING.0, |width| DRAWING.0.min(width.saturating_sub(24)));
    if let Some(drawn) = sketch(&curves, &axes, columns, DRAWING.1) {
        for row in drawn.lines() {
            writeln!(screen, "  {row}")?;
        }
        if alike.len() > 1 {
            writeln!(
                screen,
                "  {}",
                StyledText(
                    FAINT,
                    format!("{} drawn over each other", plural(alike.len() as u64, "trace"))
                )
            )?;
        }
    }
    Ok(())
}

/// So many names of points are shown of a trace.
const NAMES: usize = 12;

/// The names beside the points of a trace, in their order.
fn names_of_points(trace: &Trace) -> Option<String> {
    let some: Vec<&str> = trace.row_names.iter().take(NAMES).map(String::as_str).collect();
    if some.iter().all(|name| name.is_empty()) {
        return None;
    }
    let more = match trace.row_names.len() - some.len() {
        0 => String::new(),
        more => format!(", and {} more", count(more as u64)),
    };
    Some(format!("names: {}{more}", some.join(", ")))
}

/// A trace in one line: label, axes with their range, what is held, what is absent.
fn line(trace: &Trace) -> String {
    let mut text = String::new();
    if let Some(label) = &trace.label {
        text.push_str(&format!("{label}: "));
    }
    text.push_str(&format!("{} over {}", axis(&trace.y), axis(&trace.x)));
    let ends = trace.x.values.first().zip(trace.x.values.last());
    if let Some((first, last)) = ends {
        let mut texts = trace.x.texts();
        let first = texts.next().unwrap_or_else(|| first.to_string());
        let last = texts.last().unwrap_or_else(|| last.to_string());
        text.push_str(&format!(" {first} to {last}"));
    }
    text.push_str(&format!(", {}", plural(trace.len() as u64, "point")));
    for coordinate in &trace.held {
        text.push_str(&format!(", at {}", held(coordinate)));
    }
    if trace.absent > 0 {
        text.push_str(&format!(", {} absent", count(u64::from(trace.absent))));
    }
    if !trace.saturated.is_empty() {
        text.push_str(&format!(", {} saturated", count(trace.saturated.len() as u64)));
    }
    for (key, claims) in trace.fields.iter() {
        if let Some(claim) = claims.first() {
            text.push_str(&format!(", {key} {}", value(claim)));
        }
    }
    text
}

pub(crate) fn axis(column: &Column) -> String {
    match column.unit.code() {
        "1" | "{AU}" | "[pH]" => column.quantity.to_string(),
        "Cel" => format!("{} (°C)", column.quantity),
        _ => format!("{} ({})", column.quantity, column.unit.display()),
    }
}

fn held(coordinate: &Coordinate) -> String {
    let value = curvary_record::Value::Number(coordinate.value);
    format!(
        "{} {}",
        coordinate.quantity,
        with_unit(&value, Some(&coordinate.unit))
    )
}

fn questions(run: &Run, screen: &mut Screen) -> Result<(), Failure> {
    for question in &run.questions {
        writeln!(
            screen,
            "{} {}",
            StyledText(ASKED, format!("question[{}]:", question.code)),
            one_line(&question.message)
        )?;
        for reading in &question.readings {
            writeln!(
                screen,
                "  {}  {}",
                questions::plainly(&reading.assume),
                StyledText(FAINT, one_line(&reading.says))
            )?;
        }
        if let Some(reading) = question.readings.first() {
            let answer = questions::quoted(&format!("assume:{}", questions::plainly(&reading.assume)));
            let settle = format!("settle it with `curvary note {} {answer}`", run.id);
            writeln!(screen, "  {}", StyledText(FAINT, settle))?;
        }
    }
    Ok(())
}
