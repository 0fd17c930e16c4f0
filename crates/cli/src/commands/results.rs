//! `curvary results`: kept results of many runs as one table, and what runs say together.

use std::collections::{BTreeMap, BTreeSet};
use std::io::Write;

use clap::Args;
use curvary_analysis::study::{Pooled, label_of, pool};
use curvary_record::{Diagnostic, Outcome as Kept, Parameter, Unit, code};
use serde_json::{Value, json};

use crate::Setting;
use crate::commands::find::{csv_failure, harmless, short};
use crate::ending::{Ending, Failure, Outcome};
use crate::screen::{ASKED, FAINT, STRONG, Screen, Styled, plural};
use crate::subject::{Reading, Subject, Subjects};
use crate::table::{Cell, Column, Shorten, Table, one_line};
use crate::telling;

/// Kept results of many runs as one table: run, sample, temperature, pH, parameters with errors and flags
///
/// Of several results of one trace by one model the last one kept is shown. --mean pools each parameter over the runs: their mean,
/// the scatter between runs, and whether the runs' own errors explain it. --undo takes back the results that are shown: they no
/// longer count anywhere, until the same computation is done again.
#[derive(Debug, Args)]
pub(crate) struct Results {
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
struct Row {
    run: String,
    trace: Option<u32>,
    label: String,
    place: String,
    sample: String,
    celsius: Option<f64>,
    ph: Option<f64>,
    by: Vec<String>,
    outcome: Kept,
}

/// What is pooled: the group, the model, the parameter and its unit.
type Group = (Vec<String>, String, String, String);

/// Values with their errors, and the rows they are from.
type Members<'a> = (Vec<(f64, Option<f64>)>, Vec<&'a Row>);

impl Results {
    /// Does it.
    pub(crate) fn run(self, setting: &Setting, screen: &mut Screen) -> Outcome {
        let asked = self.subjects.asked(setting)?;
        let mut rows: Vec<Row> = Vec::new();
        let mut known: BTreeSet<String> = BTreeSet::new();
        let mut without = 0_u64;
        let mut damaged = false;
        let compute = |subjects: &[Subject]| {
            let rows: Vec<Vec<Row>> = subjects.iter().map(|subject| self.rows(subject)).collect();
            (rows, Vec::new())
        };
        let take = |place: &str, given: Result<Vec<Vec<Row>>, Diagnostic>| {
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
        self.subjects
            .each(&asked, Reading::Whole, "curvary results", compute, take)?;
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
            writeln!(screen, "{}", Styled(FAINT, words))?;
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

    fn shown<'a>(&'a self, outcome: &'a Kept) -> impl Iterator<Item = &'a Parameter> {
        outcome
            .parameters
            .iter()
            .filter(|parameter| self.of.is_empty() || self.of.contains(&parameter.name))
    }

    fn rows(&self, subject: &Subject) -> Vec<Row> {
        let run = &subject.run;
        let mut kept: Vec<&Kept> = Vec::new();
        for outcome in &subject.outcomes {
            let wanted = self.model.is_empty() || self.model.contains(&outcome.model);
            if !wanted || self.shown(outcome).next().is_none() {
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
        let text = |key: &str| {
            run.fields
                .get(key)
                .map(|claim| match (&claim.value, &claim.unit) {
                    (curvary_record::Value::Number(number), Some(unit)) if unit.code() != "1" => {
                        format!("{number} {}", unit.display())
                    }
                    (value, _) => value.to_string(),
                })
                .unwrap_or_default()
        };
        kept.into_iter()
            .map(|outcome| Row {
                run: run.id.to_string(),
                trace: outcome.trace.map(|number| number + 1),
                label: outcome
                    .trace
                    .and_then(|number| run.traces.get(number as usize))
                    .map(label_of)
                    .unwrap_or_default(),
                place: subject.place.clone(),
                sample: text("sample"),
                celsius: run
                    .fields
                    .si("temperature")
                    .and_then(|kelvin| Unit::KELVIN.convert(kelvin, &Unit::CELSIUS).ok())
                    .map(|celsius| (celsius * 1e9).round() / 1e9),
                ph: run.fields.si("ph"),
                by: self.by.iter().map(|key| text(key)).collect(),
                outcome: outcome.clone(),
            })
            .collect()
    }

    /// The means, or why there is none: a mean over different temperatures or pH is one of different things.
    fn pooled(&self, rows: &[Row]) -> Vec<(Group, Result<Pooled, String>)> {
        let mut groups: BTreeMap<Group, Members<'_>> = BTreeMap::new();
        for row in rows {
            for parameter in self.shown(&row.outcome) {
                let unit = parameter
                    .unit
                    .as_ref()
                    .map(|unit| unit.code().to_owned())
                    .unwrap_or_default();
                if let Some(value) = parameter.value {
                    let key = (
                        row.by.clone(),
                        row.outcome.model.clone(),
                        parameter.name.clone(),
                        unit,
                    );
                    let group = groups.entry(key).or_default();
                    group.0.push((value, parameter.standard_error));
                    group.1.push(row);
                }
            }
        }
        groups
            .into_iter()
            .filter_map(|(group, (values, rows))| match apart(&rows) {
                Some(why) => Some((group, Err(why))),
                None => Some((group, Ok(pool(&values).ok()?))),
            })
            .collect()
    }

    fn as_json(&self, rows: &[Row], pooled: &[(Group, Result<Pooled, String>)]) -> Value {
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
                let found = match found {
                    Ok(found) => found,
                    Err(why) => {
                        return json!({ "by": by, "model": model, "parameter": name, "unit": unit, "mean": null, "reason": why });
                    }
                };
                json!({
                    "by": by, "model": model, "parameter": name, "unit": unit, "runs": found.count, "mean": found.mean,
                    "standard_error": found.standard_error, "half_width_95": found.half_width,
                    "between_runs_sd": found.between,
                    "homogeneity": found.homogeneity.map(|(q, chance)| json!({ "q": q, "probability": chance })),
                })
            })
            .collect();
        json!({ "results": rows, "pooled": pooled })
    }

    fn as_csv(&self, rows: &[Row], screen: &mut Screen) -> Result<(), Failure> {
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
                        text(parameter.reason.as_deref().unwrap_or_default()),
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
        rows: &[Row],
        pooled: &[(Group, Result<Pooled, String>)],
        screen: &mut Screen,
    ) -> Result<(), Failure> {
        let mut table = Table::new([
            Column::new("run"),
            Column::new("trace").right().rank(4),
            Column::new("sample").shorten(Shorten::End).rank(3),
            Column::new("temperature").right().rank(2),
            Column::new("pH").right().rank(2),
            Column::new("model").shorten(Shorten::End).rank(1),
            Column::new("parameter"),
            Column::new("value").right(),
            Column::new(""),
            Column::new("unit"),
            Column::new("").shorten(Shorten::End).rank(5),
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
                    Cell::styled(doubt.as_str(), ASKED),
                ]);
            }
        }
        write!(screen, "{}", table.draw(screen.width()))?;
        for ((by, model, name, unit), found) in pooled {
            let found = match found {
                Ok(found) => found,
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
            writeln!(screen, "{}", Styled(STRONG, one_line(head.trim_end())))?;
            let between = if between.is_empty() {
                "0".to_owned()
            } else {
                between
            };
            writeln!(
                screen,
                "  {}",
                Styled(
                    FAINT,
                    one_line(&format!(
                        "mean over runs, 95 % ± {}; standard deviation between runs {between}; {}",
                        telling::rounded(found.mean, Some(found.half_width)).1,
                        found.words()
                    ))
                )
            )?;
        }
        Ok(())
    }
}

/// Why results are not of one thing: temperatures or pH that differ by more than rounding of what was noted.
fn apart(rows: &[&Row]) -> Option<String> {
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
fn take_back(rows: &[Row], setting: &Setting, screen: &mut Screen) -> Outcome {
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

/// Codes of what was odd, each once.
fn flags(outcome: &Kept) -> Vec<String> {
    let mut all: Vec<String> = Vec::new();
    for remark in &outcome.remarks {
        let code = remark.code.as_str().to_owned();
        if remark.severity != curvary_record::Severity::Note && !all.contains(&code) {
            all.push(code);
        }
    }
    all
}
