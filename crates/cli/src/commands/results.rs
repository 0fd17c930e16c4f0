//! `curvary results`: kept results of many runs as one table, and what runs say together.

use std::collections::{BTreeMap, BTreeSet};
use std::io::Write;

use clap::Args;
use curvary_analysis::study::{DRIFT_MOVES, Pooled, label_of, pool};
use curvary_record::{
    Diagnostic, Outcome, Parameter, Run, Trace, Unit, Value as Said, ValueKind, code, known_field,
};
use serde_json::{Value, json};

use crate::Environment;
use crate::commands::find::{csv_failure, harmless, short};
use crate::ending::{CommandResult, Ending, Failure};
use crate::screen::{ASKED, FAINT, STRONG, Screen, StyledText, plural};
use crate::subject::{ReadingDemand, Subject, Subjects};
use crate::table::{Listing, ListingColumn, Shorten, TableCell, one_line};
use crate::telling;

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
}

/// One result with what is known of its run.
struct ResultRow {
    run: String,
    trace: Option<u32>,
    label: String,
    place: String,
    sample: String,
    celsius: Option<f64>,
    ph: Option<f64>,
    /// What `--by` names, each as it is shown and as it is compared.
    by: Vec<(String, String)>,
    outcome: Outcome,
}

/// What is pooled: the group, the model, the parameter and its unit.
type PoolKey = (Vec<String>, String, String, String);

/// Values with their errors, and the rows they are from.
type Members<'a> = (Vec<(f64, Option<f64>)>, Vec<&'a ResultRow>);

impl ResultRow {
    /// The first of these fields that is not known of the run.
    fn lacks<'a>(&self, by: &'a [String]) -> Option<&'a str> {
        let mut pairs = by.iter().zip(&self.by);
        pairs
            .find(|(_, value)| value.1.is_empty())
            .map(|(key, _)| key.as_str())
    }
}

/// A mean over runs, with what it cannot know.
struct Mean {
    pooled: Pooled,
    /// By how much a drift that no course shows would move it, in its unit; absent where that is not known.
    drift: Option<f64>,
    /// What is to be said beside the statistics.
    said: Vec<String>,
}

impl Mean {
    fn of(pooled: Pooled, rows: &[&ResultRow], name: &str) -> Self {
        let mut said = Vec::new();
        let runs: BTreeSet<&str> = rows.iter().map(|row| row.run.as_str()).collect();
        if runs.len() < rows.len() {
            said.push(format!(
                "the values are of {} of {}",
                plural(rows.len() as u64, "curve"),
                plural(runs.len() as u64, "run")
            ));
        }
        // Drifts of one lamp have one sign: the mean is moved by the mean of what each result would be moved by.
        let moves: Vec<f64> = rows
            .iter()
            .filter_map(|row| {
                row.outcome
                    .statistics
                    .get(&format!("{DRIFT_MOVES}{name}"))
                    .copied()
            })
            .collect();
        let drift = (!moves.is_empty()).then(|| moves.iter().sum::<f64>() / rows.len() as f64);
        if let Some(moved) = drift.filter(|moved| 0.5 * moved.abs() > pooled.standard_error) {
            let (by, part) = (moved.abs(), 100.0 * (moved / pooled.mean).abs());
            said.push(if part > LIKE_THE_CURVE {
                "a drift of the signal would look the same as these curves: the mean and its error are valid only if nothing drifts"
                    .to_owned()
            } else {
                format!(
                    "a drift of the signal that is common to these runs does not average out: one that cannot be seen in any of them \
                     would change the mean by {} ({} %)",
                    telling::rounded(by, Some(by)).0,
                    telling::rounded(part, Some(part)).0
                )
            });
        }
        let without = rows.iter().filter(|row| row.celsius.is_none()).count();
        if without > 0 && without < rows.len() {
            said.push(format!("of {without} of these no temperature is known"));
        }
        let old = rows.iter().filter(|row| row.outcome.is_out_of_date()).count() as u64;
        if old > 0 {
            let are = if old == 1 { "is" } else { "are" };
            said.push(format!(
                "{} of these {are} out of date, and counted all the same",
                plural(old, "result")
            ));
        }
        Self { pooled, drift, said }
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
            let rows: Vec<Vec<ResultRow>> = subjects.iter().map(|subject| self.rows(subject)).collect();
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
        let pooled = if self.mean { self.pooled(&rows) } else { Vec::new() };
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
        Ok(if rows.is_empty() {
            Ending::Nothing
        } else if damaged || pooled.iter().any(|(_, found)| found.is_err()) {
            // A table that lacks what is damaged is no whole one.
            Ending::Partly
        } else {
            Ending::Done
        })
    }

    fn shown<'a>(&'a self, outcome: &'a Outcome) -> impl Iterator<Item = &'a Parameter> {
        outcome
            .parameters
            .iter()
            .filter(|parameter| self.of.is_empty() || self.of.contains(&parameter.name))
    }

    fn rows(&self, subject: &Subject) -> Vec<ResultRow> {
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
                let trace = outcome.trace.and_then(|number| run.traces.get(number as usize));
                ResultRow {
                    run: run.id.to_string(),
                    trace: outcome.trace.map(|number| number + 1),
                    label: trace.map(label_of).unwrap_or_default(),
                    place: subject.place.clone(),
                    sample: said_of(run, trace, "sample").0,
                    celsius: si_of(run, trace, "temperature")
                        .and_then(|kelvin| Unit::KELVIN.convert(kelvin, &Unit::CELSIUS).ok())
                        .map(|celsius| (celsius * 1e9).round() / 1e9),
                    ph: si_of(run, trace, "ph"),
                    by: self.by.iter().map(|key| said_of(run, trace, key)).collect(),
                    outcome: outcome.clone(),
                }
            })
            .collect()
    }

    /// The means, or why there is none: a mean over different temperatures or pH is one of different things.
    fn pooled(&self, rows: &[ResultRow]) -> Vec<(PoolKey, Result<Mean, String>)> {
        // What is compared as the same is shown as it was met first.
        let mut names: BTreeMap<(usize, &str), &str> = BTreeMap::new();
        for row in rows {
            for (at, (shown, compared)) in row.by.iter().enumerate() {
                names.entry((at, compared)).or_insert(shown);
            }
        }
        let mut groups: BTreeMap<PoolKey, Members<'_>> = BTreeMap::new();
        for row in rows.iter().filter(|row| row.lacks(&self.by).is_none()) {
            for parameter in self.shown(&row.outcome) {
                let Some(value) = parameter.value else { continue };
                let own = parameter.unit.clone().unwrap_or(Unit::ONE);
                let by = row.by.iter().enumerate();
                let by: Vec<String> = by
                    .map(|(at, by)| names[&(at, by.1.as_str())].to_owned())
                    .collect();
                let (model, name) = (row.outcome.model.clone(), parameter.name.clone());
                // A constant per minute and one per second are pooled in the unit that was met first.
                let known = groups.keys().find_map(|(of, other, what, code)| {
                    let unit = Unit::ucum(if code.is_empty() { "1" } else { code.as_str() }).ok()?;
                    let alike = *of == by && *other == model && *what == name && own.converts_to(&unit);
                    alike.then(|| (code.clone(), unit))
                });
                let (code, unit) = known.unwrap_or_else(|| {
                    let code = parameter.unit.as_ref().map(|unit| unit.code().to_owned());
                    (code.unwrap_or_default(), own.clone())
                });
                let (Ok(value), Ok(next)) = (own.convert(value, &unit), own.convert(value + 1.0, &unit))
                else {
                    continue;
                };
                let error = parameter.standard_error.map(|error| error * (next - value).abs());
                let group = groups.entry((by, model, name, code)).or_default();
                group.0.push((value, error));
                group.1.push(row);
            }
        }
        groups
            .into_iter()
            .filter_map(|(group, (values, rows))| match apart(&rows) {
                Some(why) => Some((group, Err(why))),
                None => {
                    if values.len() < 2 {
                        return Some((group, Err("one value only".to_owned())));
                    }
                    let pooled = pool(&values).ok()?;
                    let mut mean = Mean::of(pooled, &rows, &group.2);
                    mean.said.extend(same_readings(&values, &rows));
                    Some((group, Ok(mean)))
                }
            })
            .collect()
    }

    /// Runs that stand in no mean, since what `--by` names is not known of them: the field, and the runs.
    fn unknown<'a>(&'a self, rows: &'a [ResultRow]) -> BTreeMap<&'a str, BTreeSet<&'a str>> {
        let mut all: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
        for row in rows.iter().filter(|_| self.mean) {
            if let Some(field) = row.lacks(&self.by) {
                all.entry(field).or_default().insert(row.run.as_str());
            }
        }
        all
    }

    fn as_json(&self, rows: &[ResultRow], pooled: &[(PoolKey, Result<Mean, String>)]) -> Value {
        let unknown = self.unknown(rows).into_iter();
        let left_out: Vec<Value> = unknown
            .map(|(field, runs)| json!({ "unknown": field, "runs": runs }))
            .collect();
        let rows: Vec<Value> = rows
            .iter()
            .map(|row| {
                json!({
                    "result": row.outcome.id,
                    "run": row.run,
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
            .map(|((by, model, name, unit), found)| {
                let by: BTreeMap<&String, &String> = self.by.iter().zip(by).collect();
                let (found, drift, said) = match found {
                    Ok(mean) => (&mean.pooled, mean.drift, &mean.said),
                    Err(why) => {
                        return json!({ "by": by, "model": model, "parameter": name, "unit": unit, "mean": null, "reason": why });
                    }
                };
                json!({
                    "by": by, "model": model, "parameter": name, "unit": unit, "runs": found.count, "mean": found.mean,
                    "standard_error": found.standard_error, "half_width_95": found.half_width,
                    "between_runs_sd": found.between,
                    "homogeneity": found.homogeneity.map(|(q, chance)| json!({ "q": q, "probability": chance })),
                    "drift_moves": drift, "remarks": said,
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
                "trace",
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
                        row.run.clone(),
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

    fn print(
        &self,
        rows: &[ResultRow],
        pooled: &[(PoolKey, Result<Mean, String>)],
        screen: &mut Screen,
    ) -> Result<(), Failure> {
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
                    once(short(&row.run).to_owned()).into(),
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
        for ((by, model, name, unit), found) in pooled {
            let (found, said) = match found {
                Ok(mean) => (&mean.pooled, &mean.said),
                Err(why) => {
                    let group: String = by.iter().map(|value| format!("{value}, ")).collect();
                    let words = format!("{group}{model}, {name}: no mean: {why}");
                    writeln!(screen, "{}", one_line(&words))?;
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
                        "mean over runs, 95 % ± {}; standard deviation between runs {between}; {}",
                        telling::rounded(found.mean, Some(found.half_width)).1,
                        found.words()
                    ))
                )
            )?;
            for words in said {
                writeln!(screen, "  {}", StyledText(ASKED, one_line(words)))?;
            }
        }
        Ok(())
    }
}

/// A field of a trace in SI units: what the trace holds itself counts, else what the run says.
fn si_of(run: &Run, trace: Option<&Trace>, key: &str) -> Option<f64> {
    let held = trace.and_then(|trace| trace.held.iter().find(|held| held.quantity.as_str() == key));
    held.map(|held| held.unit.to_si(held.value))
        .or_else(|| trace?.fields.si(key))
        .or_else(|| run.fields.si(key))
}

/// The same in words, and as it is compared: 310.15 K and 37 °C are one. Both are empty where nothing is known.
pub(crate) fn said_of(run: &Run, trace: Option<&Trace>, key: &str) -> (String, String) {
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

/// Values that are equal to the last digit with their errors come from the same readings, most likely.
fn same_readings(values: &[(f64, Option<f64>)], rows: &[&ResultRow]) -> Option<String> {
    let mut same: Vec<&str> = Vec::new();
    for (at, value) in values.iter().enumerate() {
        let twins = (0..values.len()).filter(|other| {
            *other != at && values[*other] == *value && value.1.is_some() && rows[*other].run != rows[at].run
        });
        if twins.count() > 0 {
            same.push(short(&rows[at].run));
        }
    }
    same.dedup();
    (!same.is_empty()).then(|| {
        format!(
            "{} are equal to the last digit: the same readings may be counted twice",
            same.join(", ")
        )
    })
}

/// Why results are not of one thing: temperatures or pH that differ by more than rounding of what was noted.
fn apart(rows: &[&ResultRow]) -> Option<String> {
    let differ = |values: &mut dyn Iterator<Item = f64>, room: f64| {
        let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
            (low.min(value), high.max(value))
        });
        (high - low > room).then_some((low, high))
    };
    // Half a kelvin changes most rate constants by 3 to 5 %, less than runs differ from day to day.
    if let Some((low, high)) = differ(&mut rows.iter().filter_map(|row| row.celsius), 0.5) {
        return Some(format!(
            "the runs were taken at {} to {} °C; --by temperature pools them apart",
            telling::significant(low),
            telling::significant(high)
        ));
    }
    let (low, high) = differ(&mut rows.iter().filter_map(|row| row.ph), 0.05)?;
    Some(format!(
        "the runs were taken at pH {} to {}; --by ph pools them apart",
        telling::significant(low),
        telling::significant(high)
    ))
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
