//! `curvary results`: kept results of many runs as one table, and what runs say together.

mod means;
mod profile;

use std::collections::{BTreeMap, BTreeSet};
use std::io::Write;

use clap::Args;
use curvary_analysis::study::{DRIFT_MOVES, label_of};
use curvary_record::{
    Diagnostic, Outcome, Parameter, Run, Trace, Unit, Value as Said, ValueKind, code, known_field,
};
use serde_json::{Value, json};

use crate::Environment;
use crate::commands::find::{csv_failure, harmless, short};
use crate::ending::{CommandResult, Ending, Failure};
use crate::screen::{ASKED, FAINT, STRONG, Screen, StyledText, plural};
use crate::subject::{ReadingDemand, Selection, Subject, Subjects};
use crate::table::{Listing, ListingColumn, Shorten, TableCell, one_line};
use crate::telling;
pub(crate) use means::taken_apart;
use means::{MeanKey, MeanRow, means};
use profile::{number_of, profile};

/// Kept results of many runs as one table: run, sample, temperature, pH, parameters with errors and flags
///
/// Of several results of one trace by one model the last one kept is shown. --mean pools each parameter over the runs: their mean,
/// the scatter between runs, and whether the runs' own errors explain it. --undo takes back the results that are shown: they no
/// longer count anywhere, until the same computation is done again.
#[derive(Debug, Args)]
pub(crate) struct ResultsCommand {
    #[command(flatten)]
    subjects: Subjects,
    /// Parameters shown; all if not given
    #[arg(long, value_name = "NAME", value_delimiter = ',')]
    of: Vec<String>,
    /// Results of these models only
    #[arg(long, value_name = "NAME", value_delimiter = ',')]
    model: Vec<String>,
    /// Show earlier results of the same trace and model too
    #[arg(long)]
    all: bool,
    /// Pool each parameter over the runs shown
    #[arg(long)]
    mean: bool,
    /// Pool runs apart by these fields, such as sample,temperature
    #[arg(long, value_name = "FIELD", value_delimiter = ',', requires = "mean")]
    by: Vec<String>,
    /// Take back the results that are shown; shows them first
    #[arg(long, conflicts_with_all = ["mean", "csv", "json"])]
    undo: bool,
    /// Do it without the preview of --undo
    #[arg(long, requires = "undo")]
    yes: bool,
    /// Print CSV: one parameter a line
    #[arg(long, conflicts_with = "json")]
    csv: bool,
    /// With --csv and one parameter --of: a table of the parameter over this field, such as ph, with its errors (`SD`), which `fit` takes
    #[arg(long, value_name = "FIELD", requires = "csv", requires = "of")]
    over: Option<String>,
}

/// One result with what is known of its run.
struct ResultRow {
    /// The runs it is of.
    runs: Vec<String>,
    trace: Option<u32>,
    label: String,
    place: String,
    sample: String,
    celsius: Option<f64>,
    ph: Option<f64>,
    /// The day it was measured on, where the run says it.
    day: Option<String>,
    /// What `--over` names, with its unit.
    over: Option<(f64, Unit)>,
    /// What `--by` names, each as it is shown and as it is compared.
    by: Vec<(String, String)>,
    outcome: Outcome,
}

impl ResultRow {
    /// The first of its runs.
    fn first(&self) -> &str {
        self.runs.first().map_or("", String::as_str)
    }

    /// The run as it is shown; of several, how many.
    fn named(&self) -> String {
        match self.runs.as_slice() {
            [run] => short(run).to_owned(),
            several => format!("{} runs", several.len()),
        }
    }

    /// The first of these fields that is not known of the run.
    fn lacks<'a>(&self, by: &'a [String]) -> Option<&'a str> {
        let mut pairs = by.iter().zip(&self.by);
        pairs
            .find(|(_, value)| value.1.is_empty())
            .map(|(key, _)| key.as_str())
    }
}

/// A drift that would change a number by more than so many hundredths cannot be told from the course itself.
const LIKE_THE_CURVE: f64 = 50.0;

impl ResultsCommand {
    /// Does it.
    pub(crate) fn run(self, setting: &Environment, screen: &mut Screen) -> CommandResult {
        let asked = self.subjects.asked(setting)?;
        let mut rows: Vec<ResultRow> = Vec::new();
        let mut known: BTreeSet<String> = BTreeSet::new();
        let mut without = 0_u64;
        let mut damaged = false;
        let compute = |subjects: &[Subject]| {
            let rows: Vec<Vec<ResultRow>> = subjects
                .iter()
                .map(|subject| self.rows(subject, &asked))
                .collect();
            (rows, Vec::new())
        };
        let take = |place: &str, given: Result<Vec<Vec<ResultRow>>, Diagnostic>| {
            match given {
                Err(why) => {
                    damaged |= why.code == code::ARCHIVE_DAMAGED;
                    screen.complain(Some(place), &why, &crate::drawing::NoTexts);
                }
                Ok(given) => {
                    for own in given {
                        without += u64::from(own.is_empty());
                        // A result over several runs is kept with each of them.
                        rows.extend(own.into_iter().filter(|row| known.insert(row.outcome.id.clone())));
                    }
                }
            }
            Ok(())
        };
        let kept = self
            .subjects
            .each(&asked, ReadingDemand::Whole, "curvary results", compute, take)?;
        kept.say(screen);
        if self.undo && self.yes && !self.subjects.dry_run && !rows.is_empty() {
            return take_back(&rows, setting, screen);
        }
        let pooled = if self.mean {
            let known: Vec<&ResultRow> = rows.iter().filter(|row| row.lacks(&self.by).is_none()).collect();
            means(&known, |row| self.shown(&row.outcome))
        } else {
            Vec::new()
        };
        if let Some(over) = &self.over {
            let [of] = self.of.as_slice() else {
                return Err(Failure::usage("--over takes one parameter: name it with --of"));
            };
            return profile(&rows, over, of, screen);
        }
        if self.csv {
            self.as_csv(&rows, screen)?;
        } else if self.subjects.json {
            screen.json(&self.as_json(&rows, &pooled))?;
        } else {
            self.print(&rows, &pooled, screen)?;
        }
        if self.undo && !rows.is_empty() {
            let all = plural(rows.len() as u64, "result");
            let again = if self.yes {
                "without --dry-run"
            } else {
                "with --yes"
            };
            let words = format!("{all} would be taken back; say it again {again}");
            writeln!(screen, "{}", StyledText(FAINT, words))?;
        }
        if without > 0 {
            screen.say(format_args!("{} without such a result", plural(without, "run")));
        }
        // A table that lacks what is damaged is no whole one, and neither is a mean that lacks a result.
        let lacking = damaged
            || !self.unknown(&rows).is_empty()
            || pooled
                .iter()
                .any(|row| row.found.is_err() || !row.left_out.is_empty());
        Ok(
            if rows.is_empty() || self.mean && pooled.iter().all(|row| row.found.is_err()) {
                Ending::Nothing
            } else if lacking {
                Ending::Partly
            } else {
                Ending::Done
            },
        )
    }

    fn shown<'a>(&'a self, outcome: &'a Outcome) -> impl Iterator<Item = &'a Parameter> {
        outcome
            .parameters
            .iter()
            .filter(|parameter| self.of.is_empty() || self.of.contains(&parameter.name))
    }

    fn rows(&self, subject: &Subject, asked: &Selection) -> Vec<ResultRow> {
        let run = &subject.run;
        let mut kept: Vec<&Outcome> = Vec::new();
        for outcome in &subject.outcomes {
            let wanted = self.model.is_empty() || self.model.contains(&outcome.model);
            if !wanted || !subject.means(outcome.trace) || self.shown(outcome).next().is_none() {
                continue;
            }
            if !self.all {
                kept.retain(|before| {
                    (before.trace, &before.kind, &before.model, &before.runs)
                        != (outcome.trace, &outcome.kind, &outcome.model, &outcome.runs)
                });
            }
            kept.push(outcome);
        }
        kept.into_iter()
            .map(|outcome| {
                if outcome.runs.len() > 1 {
                    return self.of_several(subject, outcome, asked);
                }
                let trace = outcome.trace.and_then(|number| run.traces.get(number as usize));
                let (celsius, ph) = at(run, trace);
                ResultRow {
                    runs: vec![run.id.to_string()],
                    trace: outcome.trace.map(|number| number + 1),
                    label: trace.map(label_of).unwrap_or_default(),
                    place: subject.place.clone(),
                    sample: value_of(run, trace, "sample").0,
                    celsius,
                    ph,
                    day: Some(value_of(run, trace, "date").1).filter(|day| !day.is_empty()),
                    over: self.over.as_ref().and_then(|key| number_of(run, trace, key)),
                    by: self.by.iter().map(|key| value_of(run, trace, key)).collect(),
                    outcome: outcome.clone(),
                }
            })
            .collect()
    }

    /// A result over several runs: it has only what all of them have.
    fn of_several(&self, subject: &Subject, outcome: &Outcome, asked: &Selection) -> ResultRow {
        let others: Vec<Option<Run>> = outcome
            .runs
            .iter()
            .map(|id| {
                if *id == subject.run.id {
                    Some(subject.run.clone())
                } else {
                    asked.look_up(id).ok().map(|(run, _)| run)
                }
            })
            .collect();
        let run = |run: &Option<Run>, key: &str| {
            run.as_ref()
                .map_or_else(Default::default, |run| value_of(run, None, key))
        };
        let said = |key: &str| {
            let mut all = others.iter().map(|other| run(other, key));
            let first = all.next().unwrap_or_default();
            if all.all(|other| other.1 == first.1) {
                first
            } else {
                Default::default()
            }
        };
        let own = |key: &str| said(key).1.parse::<f64>().ok();
        let celsius = own("temperature").and(at(&subject.run, None).0);
        ResultRow {
            runs: outcome.runs.iter().map(ToString::to_string).collect(),
            trace: None,
            label: String::new(),
            place: subject.place.clone(),
            sample: said("sample").0,
            celsius,
            ph: own("ph"),
            day: Some(said("date").1).filter(|day| !day.is_empty()),
            over: None,
            by: self.by.iter().map(|key| said(key)).collect(),
            outcome: outcome.clone(),
        }
    }

    /// Runs that stand in no mean, since what `--by` names is not known of them: the field, and the runs.
    fn unknown<'a>(&'a self, rows: &'a [ResultRow]) -> BTreeMap<&'a str, BTreeSet<&'a str>> {
        let mut all: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
        for row in rows.iter().filter(|_| self.mean) {
            if let Some(field) = row.lacks(&self.by) {
                all.entry(field)
                    .or_default()
                    .extend(row.runs.iter().map(String::as_str));
            }
        }
        all
    }

    fn as_json(&self, rows: &[ResultRow], pooled: &[MeanRow]) -> Value {
        let unknown = self.unknown(rows).into_iter();
        let left_out: Vec<Value> = unknown
            .map(|(field, runs)| json!({ "unknown": field, "runs": runs }))
            .collect();
        let rows: Vec<Value> = rows
            .iter()
            .map(|row| {
                json!({
                    "result": row.outcome.id,
                    "run": row.runs.first(),
                    "runs": row.runs,
                    "trace": row.trace,
                    "label": row.label,
                    "source": row.place,
                    "sample": row.sample,
                    "temperature_Cel": row.celsius,
                    "ph": row.ph,
                    "kind": row.outcome.kind,
                    "model": row.outcome.model,
                    "parameters": self.shown(&row.outcome).collect::<Vec<_>>(),
                    "flags": flags(&row.outcome),
                })
            })
            .collect();
        let pooled: Vec<Value> = pooled
            .iter()
            .map(|row| {
                let by: BTreeMap<&String, &String> = self.by.iter().zip(&row.of.by).collect();
                let left_out: Vec<Value> = row
                    .left_out
                    .iter()
                    .map(|out| json!({ "run": out.run, "trace": out.trace, "reason": out.reason.to_string() }))
                    .collect();
                let (model, name, unit) = (&row.of.model, &row.of.parameter, &row.of.unit);
                let mean = match &row.found {
                    Ok(mean) => mean,
                    Err(why) => {
                        return json!({
                            "by": by, "model": model, "parameter": name, "unit": unit, "mean": null, "reason": why.to_string(),
                            "left_out": left_out,
                        });
                    }
                };
                let found = &mean.pooled;
                json!({
                    "by": by, "model": model, "parameter": name, "unit": unit, "runs": found.count, "mean": found.mean,
                    "standard_error": found.standard_error, "half_width_95": found.half_width,
                    "between_runs_sd": found.between,
                    "between_runs_sd_95": { "low": found.between_interval.0, "high": found.between_interval.1 },
                    "homogeneity": found.homogeneity.map(|(q, chance)| json!({ "q": q, "probability": chance })),
                    "drift_moves": mean.drift, "drift_not_known_of": mean.drift_unknown, "remarks": mean.said,
                    "left_out": left_out,
                })
            })
            .collect();
        if self.by.is_empty() {
            return json!({ "results": rows, "pooled": pooled });
        }
        json!({ "results": rows, "pooled": pooled, "left_out": left_out })
    }

    fn as_csv(&self, rows: &[ResultRow], screen: &mut Screen) -> Result<(), Failure> {
        let mut writer = csv::WriterBuilder::new()
            .terminator(csv::Terminator::CRLF)
            .from_writer(screen);
        writer
            .write_record([
                "result",
                "run",
                "trace_from_1",
                "label",
                "source",
                "sample",
                "temperature_Cel",
                "ph",
                "kind",
                "model",
                "parameter",
                "value",
                "standard_error",
                "low",
                "high",
                "level",
                "unit",
                "doubt",
                "flags",
            ])
            .map_err(csv_failure)?;
        let number = |value: Option<f64>| value.map(|value| value.to_string()).unwrap_or_default();
        let text = |text: &str| harmless(&curvary_record::Value::Text(text.to_owned()));
        for row in rows {
            let flags = flags(&row.outcome).join(" ");
            for parameter in self.shown(&row.outcome) {
                let interval = parameter.intervals.first();
                writer
                    .write_record([
                        row.outcome.id.clone(),
                        row.runs.join(" "),
                        row.trace.map(|trace| trace.to_string()).unwrap_or_default(),
                        text(&row.label),
                        text(&row.place),
                        text(&row.sample),
                        number(row.celsius),
                        number(row.ph),
                        row.outcome.kind.to_string(),
                        text(&row.outcome.model),
                        parameter.name.clone(),
                        number(parameter.value),
                        number(parameter.standard_error),
                        number(interval.and_then(|interval| interval.low)),
                        number(interval.and_then(|interval| interval.high)),
                        number(interval.map(|interval| interval.level)),
                        parameter
                            .unit
                            .as_ref()
                            .map(|unit| unit.code().to_owned())
                            .unwrap_or_default(),
                        text(&doubt(&row.outcome, parameter)),
                        flags.clone(),
                    ])
                    .map_err(csv_failure)?;
            }
        }
        writer.flush()?;
        Ok(())
    }

    fn print(&self, rows: &[ResultRow], pooled: &[MeanRow], screen: &mut Screen) -> Result<(), Failure> {
        let mut table = Listing::new([
            ListingColumn::new("run"),
            ListingColumn::new("trace").right().rank(4),
            ListingColumn::new("sample").shorten(Shorten::End).rank(3),
            ListingColumn::new("temperature").right().rank(2),
            ListingColumn::new("pH").right().rank(2),
            ListingColumn::new("model").shorten(Shorten::End).rank(1),
            ListingColumn::new("parameter"),
            ListingColumn::new("value").right(),
            ListingColumn::new(""),
            ListingColumn::new("unit"),
            ListingColumn::new("").shorten(Shorten::End).rank(5),
        ]);
        for row in rows {
            for (place, parameter) in self.shown(&row.outcome).enumerate() {
                // What holds for the whole result is said once.
                let once = |text: String| if place == 0 { text } else { String::new() };
                let (value, error, unit) = telling::value(parameter);
                let doubt = match (&parameter.reason, place) {
                    (Some(reason), _) => one_line(reason),
                    (None, 0) => flags(&row.outcome).join(" "),
                    (None, _) => String::new(),
                };
                table.row([
                    once(row.named()).into(),
                    once(row.trace.map(|trace| trace.to_string()).unwrap_or_default()).into(),
                    once(one_line(&row.sample)).into(),
                    once(
                        row.celsius
                            .map(|celsius| format!("{} °C", telling::significant(celsius)))
                            .unwrap_or_default(),
                    )
                    .into(),
                    once(row.ph.map(telling::significant).unwrap_or_default()).into(),
                    once(one_line(&row.outcome.model)).into(),
                    parameter.name.clone().into(),
                    value.into(),
                    error.into(),
                    unit.into(),
                    TableCell::styled(doubt.as_str(), ASKED),
                ]);
            }
        }
        write!(screen, "{}", table.draw(screen.width()))?;
        for (field, runs) in self.unknown(rows) {
            let names: Vec<&str> = runs.iter().map(|run| short(run)).collect();
            let many = plural(runs.len() as u64, "run");
            let words = format!(
                "left out of the means: {many} of which no {field} is known ({})",
                names.join(", ")
            );
            writeln!(screen, "{}", StyledText(ASKED, one_line(&words)))?;
        }
        for row in pooled {
            let MeanKey {
                by,
                model,
                parameter: name,
                unit,
            } = &row.of;
            let left_out: Vec<String> = row
                .left_out
                .iter()
                .map(|out| {
                    let trace = out
                        .trace
                        .map_or_else(String::new, |trace| format!(", trace {trace}"));
                    format!("left out of it: {}{trace}: {}", short(&out.run), out.reason)
                })
                .collect();
            let (found, said) = match &row.found {
                Ok(mean) => (&mean.pooled, &mean.said),
                Err(why) => {
                    let group: String = by.iter().map(|value| format!("{value}, ")).collect();
                    let words = format!("{group}{model}, {name}: no mean: {why}");
                    writeln!(screen, "{}", one_line(&words))?;
                    for words in left_out {
                        writeln!(screen, "  {}", StyledText(ASKED, one_line(&words)))?;
                    }
                    continue;
                }
            };
            let (mean, error) = telling::rounded(found.mean, Some(found.standard_error));
            let unit = Unit::ucum(unit).map(|unit| unit.display()).unwrap_or_default();
            let group = if by.is_empty() {
                String::new()
            } else {
                format!("{}, ", by.join(", "))
            };
            let head = format!("{group}{model}, {name}: {mean} ± {error} {unit}");
            let (_, between) = telling::rounded(found.mean, Some(found.between));
            writeln!(screen, "{}", StyledText(STRONG, one_line(head.trim_end())))?;
            let between = if between.is_empty() {
                "0".to_owned()
            } else {
                between
            };
            writeln!(
                screen,
                "  {}",
                StyledText(
                    FAINT,
                    one_line(&format!(
                        "mean over runs, 95 % ± {}; standard deviation between runs {between} (95 % {} to {}); {}",
                        telling::rounded(found.mean, Some(found.half_width)).1,
                        of_scatter(found.between_interval.0),
                        of_scatter(found.between_interval.1),
                        found.words()
                    ))
                )
            )?;
            for words in said.iter().chain(&left_out) {
                writeln!(screen, "  {}", StyledText(ASKED, one_line(words)))?;
            }
        }
        Ok(())
    }
}

/// An end of the interval of a scatter, in two figures.
fn of_scatter(value: f64) -> String {
    if value > 0.0 {
        telling::rounded(value, Some(0.5 * value)).0
    } else {
        "0".to_owned()
    }
}

/// A field of a trace in SI units: what the trace holds itself counts, else what the run says.
fn si_of(run: &Run, trace: Option<&Trace>, key: &str) -> Option<f64> {
    let held = trace.and_then(|trace| trace.held.iter().find(|held| held.quantity.as_str() == key));
    held.map(|held| held.unit.to_si(held.value))
        .or_else(|| trace?.fields.si(key))
        .or_else(|| run.fields.si(key))
}

/// The temperature in °C and the pH of a curve, where they are known.
fn at(run: &Run, trace: Option<&Trace>) -> (Option<f64>, Option<f64>) {
    let celsius = si_of(run, trace, "temperature")
        .and_then(|kelvin| Unit::KELVIN.convert(kelvin, &Unit::CELSIUS).ok())
        .map(|celsius| (celsius * 1e9).round() / 1e9);
    (celsius, si_of(run, trace, "ph"))
}

/// The same of a trace that is not taken out of its run.
pub(crate) fn taken_at(run: &Run, trace: &Trace) -> (Option<f64>, Option<f64>) {
    at(run, Some(trace))
}

/// The same in words, and as it is compared: 310.15 K and 37 °C are one. Both are empty where nothing is known.
pub(crate) fn value_of(run: &Run, trace: Option<&Trace>, key: &str) -> (String, String) {
    let shown = |value: &dyn std::fmt::Display, unit: Option<&Unit>| match unit {
        Some(unit) if unit.code() != "1" => format!("{value} {}", unit.display()),
        _ => value.to_string(),
    };
    let held = trace.and_then(|trace| trace.held.iter().find(|held| held.quantity.as_str() == key));
    let claim = trace
        .and_then(|trace| trace.fields.get(key))
        .or_else(|| run.fields.get(key));
    let text = match (held, claim) {
        (Some(held), _) => shown(&held.value, Some(&held.unit)),
        (None, Some(claim)) => match &claim.value {
            Said::Number(number) => shown(number, claim.unit.as_ref()),
            value => value.to_string(),
        },
        (None, None) => String::new(),
    };
    let is_number = matches!(
        known_field(key).map(|known| known.kind),
        Some(ValueKind::Number(_))
    );
    let compared = match si_of(run, trace, key).filter(|_| is_number) {
        Some(si) => format!("{si:.9e}"),
        None => text.clone(),
    };
    (text, compared)
}

/// Takes results back: notes say of each of their runs that they do not count.
fn take_back(rows: &[ResultRow], setting: &Environment, screen: &mut Screen) -> CommandResult {
    let archive = setting.archive.open()?;
    let mut writer = archive.write("curvary results")?;
    for row in rows {
        for run in &row.outcome.runs {
            let mut note = curvary_archive::Note::about(run);
            note.undo.push(format!("result:{}", row.outcome.id));
            writer.note(note)?;
        }
    }
    writer.finish()?;
    let all = plural(rows.len() as u64, "result");
    writeln!(
        screen,
        "{all} taken back; the same computation done again lets them count again"
    )?;
    Ok(Ending::Done)
}

/// What is doubtful of one number: why it is, and what a drift that cannot be seen would do to it.
fn doubt(outcome: &Outcome, parameter: &Parameter) -> String {
    let mut all: Vec<String> = parameter.reason.iter().cloned().collect();
    let moved = outcome
        .statistics
        .get(&format!("{DRIFT_MOVES}{}", parameter.name));
    let not_seen = outcome
        .remarks
        .iter()
        .any(|remark| remark.code.as_str() == telling::DRIFT);
    if let (Some(moved), Some(error), true) = (moved, parameter.standard_error, not_seen)
        && 0.5 * moved.abs() > error
    {
        let by = telling::rounded(moved.abs(), Some(moved.abs())).0;
        all.push(match parameter.value {
            Some(value) if moved.abs() * 100.0 <= LIKE_THE_CURVE * value.abs() => {
                format!("a drift that cannot be seen in the points would change it by {by}")
            }
            _ => "a drift of the signal would look the same as this curve".to_owned(),
        });
    }
    all.join("; ")
}

/// Codes of what was odd, each once.
pub(crate) fn flags(outcome: &Outcome) -> Vec<String> {
    let mut all: Vec<String> = Vec::new();
    for remark in &outcome.remarks {
        let code = remark.code.as_str().to_owned();
        let weighs = remark.severity != curvary_record::Severity::Note || code == telling::DRIFT;
        if weighs && !all.contains(&code) {
            all.push(code);
        }
    }
    all
}
