//! `curvary find`: the runs that match a query, or those whose curves are alike.

use std::collections::{BTreeMap, BTreeSet};
use std::io::Write;

use clap::Args;
use curvary_archive::{AlikeFound, AlikeOptions, FacetName, Fact, FindOptions, Found, Hit, Summary};
use curvary_record::{Value, known_fields};
use serde::Serialize;

use crate::Setting;
use crate::ending::{Ending, Failure, Outcome};
use crate::likeness::LikeOptions;
use crate::screen::{ASKED, FAINT, STRONG, Screen, Styled, count, plural};
use crate::table::{Cell, Column, Shorten, Table, one_line};

/// Find runs by words, fields, numbers with units, dates, and by the shape of their curves
///
/// A query is words and terms: betanin sample:"red beet" temperature:36..38C ph:>=7 date:2019..2021-06 wavelength:405nm
/// technique:time-course reader:jcamp-dx has:result -comment:practice. Terms are joined by and; or and parentheses
/// work. Numbers are compared in SI, whatever unit the source wrote. Without a query every run is listed.
///
/// With --like the runs that match are ordered by how alike their curves are to the one of RUN or FILE, which is left out
/// itself. Likeness is Pearson's correlation coefficient of the absorbances over the range that both cover, told to four
/// decimals; concentration and an even baseline do not matter to it. The curves run straight between their points, and
/// every stretch of the range weighs alike. Of a run with several traces the most alike counts. Curves are compared
/// where the common range is at least half of the longer one and holds ten points of each; transmittance is turned into
/// absorbance, wavenumbers and energies into wavelengths; time courses are compared over time. Likeness ranks, it does not
/// identify: the same shape is no proof of the same substance.
#[derive(Debug, Args)]
pub(crate) struct Find {
    /// Words and terms
    #[arg(value_name = "QUERY")]
    query: Vec<String>,
    /// Print JSON: total, behind and a list of runs with their fields
    #[arg(long, group = "form")]
    json: bool,
    /// Print CSV: one run a line, one field a column
    #[arg(long, group = "form")]
    csv: bool,
    /// Print the runs' names alone, one a line
    #[arg(long, group = "form")]
    ids: bool,
    /// Order by a field, or by points, traces, technique, reader or path; -FIELD turns it round
    #[arg(long, value_name = "FIELD", allow_hyphen_values = true)]
    sort: Option<String>,
    /// How many runs to give at most; 0 for all [default: 50 in a table, else all]
    #[arg(long, value_name = "N")]
    limit: Option<usize>,
    /// How many runs to leave out in front
    #[arg(long, value_name = "N", default_value_t = 0)]
    skip: usize,
    /// Show the text around the words that were found
    #[arg(long)]
    snippets: bool,
    /// Count the matching runs by technique, year, sample, reader and verdict
    #[arg(long, conflicts_with_all = ["csv", "ids", "sort", "limit", "skip"])]
    facets: bool,
    #[command(flatten)]
    likeness: LikeOptions,
}

/// How many runs a table shows unless another number is asked for.
const PAGE: usize = 50;
/// How many values a facet shows.
const VALUES: usize = 12;

impl Find {
    /// Does it.
    pub(crate) fn run(self, setting: &Setting, screen: &mut Screen) -> Outcome {
        let archive = setting.archive.open()?;
        let query = archive.query(&super::query(&self.query))?;
        if self.facets {
            let names = [
                FacetName::Technique,
                FacetName::Year,
                FacetName::Sample,
                FacetName::Reader,
                FacetName::Verdict,
            ];
            let facets = archive.facets(&query, &names, VALUES)?;
            return self.facets(&facets, screen);
        }
        let as_table = !(self.json || self.csv || self.ids);
        let limit = self.limit.unwrap_or(if as_table { PAGE } else { 0 });
        if let Some(word) = &self.likeness.like {
            let (curve, but) = self.likeness.curve(word, setting)?;
            let options = AlikeOptions {
                least: self.likeness.least,
                limit,
                skip: self.skip,
                but: Some(but),
            };
            let found = archive.alike(&curve, &query, &options)?;
            return self.tell(&Told::alike(&found), screen);
        }
        let options = FindOptions {
            sort: self
                .sort
                .as_deref()
                .map(|sort| super::plain(sort).parse().unwrap_or_else(|never| match never {})),
            limit,
            skip: self.skip,
            snippets: self.snippets || self.json,
        };
        let found = archive.find(&query, &options)?;
        self.tell(&Told::found(&found), screen)
    }

    /// Prints the answer in the form that was asked for.
    fn tell(&self, told: &Told<'_>, screen: &mut Screen) -> Outcome {
        if self.json {
            screen.json(told)?;
        } else if self.csv {
            as_csv(told, screen)?;
        } else if self.ids {
            for run in &told.runs {
                writeln!(screen, "{}", run.run)?;
            }
        } else {
            self.table(told, screen)?;
        }
        if told.behind > 0 {
            screen.say(format_args!(
                "{} of records are not searchable yet: another process writes, or the index could not be written",
                crate::screen::megabytes(told.behind)
            ));
        }
        Ok(Ending::Done)
    }

    fn facets(&self, facets: &curvary_archive::Facets, screen: &mut Screen) -> Outcome {
        if self.json {
            screen.json(facets)?;
            return Ok(Ending::Done);
        }
        for (name, values) in facets {
            let name = serde_json::to_value(name).ok();
            let name = name
                .as_ref()
                .and_then(serde_json::Value::as_str)
                .unwrap_or_default();
            writeln!(screen, "{}", Styled(STRONG, name))?;
            for value in values {
                writeln!(screen, "  {:>7}  {}", count(value.count), one_line(&value.value))?;
            }
        }
        Ok(Ending::Done)
    }

    fn table(&self, told: &Told<'_>, screen: &mut Screen) -> Result<(), Failure> {
        let mut table = Table::new([
            Column::new("run"),
            Column::new("likeness").right(),
            Column::new("trace").shorten(Shorten::End).rank(2),
            Column::new("date").rank(3),
            Column::new("technique").rank(4),
            Column::new("sample").shorten(Shorten::End),
            Column::new("temperature").right().rank(5),
            Column::new("pH").right().rank(6),
            Column::new("points").right().rank(7),
            Column::new("").rank(1),
            Column::new("path").shorten(Shorten::Beginning),
        ]);
        for run in &told.runs {
            let summary = run.summary;
            let field = |key: &str| summary.fields.get(key).map(fact).unwrap_or_default();
            let mark = match (summary.questions.is_empty(), summary.disputes.is_empty()) {
                (false, _) => "asked",
                (true, false) => "disputed",
                (true, true) => "",
            };
            let path = summary.paths.first().map(String::as_str).unwrap_or_default();
            let (likeness, trace) = match &run.alike {
                Some(alike) if summary.traces > 1 => (alike.shown(), alike.named()),
                Some(alike) => (alike.shown(), String::new()),
                None => (String::new(), String::new()),
            };
            table.row([
                Cell::styled(short(run.run), STRONG),
                likeness.into(),
                trace.into(),
                field("date").into(),
                summary.technique.as_str().into(),
                field("sample").into(),
                field("temperature").into(),
                field("ph").into(),
                count(summary.points).into(),
                Cell::styled(mark, ASKED),
                Cell::styled(path, FAINT),
            ]);
        }
        if !told.runs.is_empty() {
            write!(screen, "{}", table.draw(screen.width()))?;
        }
        for run in &told.runs {
            if let Some(snippet) = run.snippet {
                writeln!(
                    screen,
                    "{}",
                    Styled(FAINT, format!("{}  {}", short(run.run), one_line(snippet)))
                )?;
            }
        }
        let shown = told.runs.len();
        let mut total = plural(told.total as u64, "run");
        if let Some(compared) = &told.compared {
            total = format!(
                "{total} alike by {} or more, {} less alike; {} had nothing to compare (another quantity, too little common range, no shape)",
                self.likeness.least,
                count(compared.less_alike as u64),
                count(compared.nothing_to_compare as u64),
            );
        }
        if shown < told.total {
            screen.say(format_args!(
                "{} of {total}; `--limit 0` shows all",
                count(shown as u64)
            ));
        } else {
            screen.say(total);
        }
        Ok(())
    }
}

/// How much of a run's name a table shows: enough to tell runs apart, and a beginning of a name is a name.
pub(crate) fn short(id: &str) -> &str {
    id.get(..8).unwrap_or(id)
}

/// A value with its unit, as people write it.
pub(crate) fn fact(fact: &Fact) -> String {
    with_unit(&fact.value, fact.unit.as_ref())
}

/// A value with its unit, as people write it.
pub(crate) fn with_unit(value: &Value, unit: Option<&curvary_record::Unit>) -> String {
    match unit.map(curvary_record::Unit::code) {
        None | Some("1" | "{AU}" | "[pH]") => value.to_string(),
        Some("Cel") => format!("{value} °C"),
        Some("%") => format!("{value} %"),
        Some(code) => format!("{value} {code}"),
    }
}

/// An answer, as `--json` shows it.
#[derive(Serialize)]
struct Told<'a> {
    total: usize,
    #[serde(flatten)]
    compared: Option<Compared>,
    behind: u64,
    runs: Vec<ToldRun<'a>>,
}

/// What became of the runs that are not among the alike.
#[derive(Serialize)]
struct Compared {
    less_alike: usize,
    nothing_to_compare: usize,
}

#[derive(Serialize)]
struct ToldRun<'a> {
    run: &'a str,
    #[serde(flatten)]
    alike: Option<Alike<'a>>,
    #[serde(flatten)]
    summary: &'a Summary,
    #[serde(skip_serializing_if = "Option::is_none")]
    snippet: Option<&'a str>,
}

/// How alike, and which trace.
#[derive(Serialize)]
struct Alike<'a> {
    likeness: f64,
    /// By number, from 1.
    trace: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    label: Option<&'a str>,
}

impl Alike<'_> {
    fn shown(&self) -> String {
        format!("{:.4}", self.likeness)
    }

    fn named(&self) -> String {
        format!("{} {}", self.trace, self.label.unwrap_or_default())
            .trim_end()
            .to_owned()
    }
}

impl<'a> Told<'a> {
    fn found(found: &'a Found) -> Self {
        let runs = found.hits.iter().map(|hit| ToldRun::of(hit, None));
        Self {
            total: found.total,
            compared: None,
            behind: found.behind,
            runs: runs.collect(),
        }
    }

    fn alike(found: &'a AlikeFound) -> Self {
        let runs = found.hits.iter().map(|one| {
            let alike = Alike {
                likeness: one.likeness,
                trace: one.trace + 1,
                label: one.label.as_deref(),
            };
            ToldRun::of(&one.hit, Some(alike))
        });
        Self {
            total: found.total,
            compared: Some(Compared {
                less_alike: found.less,
                nothing_to_compare: found.nothing,
            }),
            behind: found.behind,
            runs: runs.collect(),
        }
    }
}

impl<'a> ToldRun<'a> {
    fn of(hit: &'a Hit, alike: Option<Alike<'a>>) -> Self {
        Self {
            run: hit.id.as_str(),
            alike,
            summary: &hit.summary,
            snippet: hit.snippet.as_deref(),
        }
    }
}

/// One run a line. Numbers stand under the field's name with the unit, as in the tidy CSV of `export`.
fn as_csv(told: &Told<'_>, screen: &mut Screen) -> Result<(), Failure> {
    let heads = |key: &str, fact: &Fact| match (&fact.value, &fact.unit) {
        (Value::Number(_) | Value::Range { .. }, Some(unit)) if unit.code() != "1" => {
            format!("{}_{}", key.replace('-', "_"), unit.code())
        }
        _ => key.replace('-', "_"),
    };
    let mut columns: BTreeSet<(usize, String)> = BTreeSet::new();
    // Known fields come first, in their order; those of the house follow by name.
    let rank = |key: &str| {
        known_fields()
            .iter()
            .position(|known| known.key == key)
            .unwrap_or(usize::MAX)
    };
    for run in &told.runs {
        columns.extend(
            run.summary
                .fields
                .iter()
                .map(|(key, fact)| (rank(key), heads(key, fact))),
        );
    }
    let mut writer = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(screen);
    let compared: &[&str] = if told.compared.is_some() {
        &["likeness", "trace", "label"]
    } else {
        &[]
    };
    let fixed = [
        "technique",
        "traces",
        "points",
        "questions",
        "disputes",
        "results",
        "reader",
        "path",
    ];
    let all = ["run"]
        .iter()
        .chain(compared)
        .chain(&fixed)
        .copied()
        .chain(columns.iter().map(|(_, head)| head.as_str()));
    writer.write_record(all).map_err(csv_failure)?;
    for run in &told.runs {
        let summary = run.summary;
        let fields: BTreeMap<String, String> = summary
            .fields
            .iter()
            .map(|(key, fact)| (heads(key, fact), harmless(&fact.value)))
            .collect();
        let (traces, points) = (summary.traces.to_string(), summary.points.to_string());
        let (questions, disputes, results) = (
            summary.questions.join(" "),
            summary.disputes.join(" "),
            summary.results.join(" "),
        );
        let path = harmless(&Value::Text(summary.paths.first().cloned().unwrap_or_default()));
        let alike = run.alike.as_ref().map_or_else(Vec::new, |alike| {
            let label = harmless(&Value::Text(alike.label.unwrap_or_default().to_owned()));
            vec![alike.shown(), alike.trace.to_string(), label]
        });
        let front = [
            summary.technique.as_str(),
            &traces,
            &points,
            &questions,
            &disputes,
            &results,
            &summary.reader,
            &path,
        ];
        let behind = columns
            .iter()
            .map(|(_, head)| fields.get(head).map_or("", String::as_str));
        writer
            .write_record(
                std::iter::once(run.run)
                    .chain(alike.iter().map(String::as_str))
                    .chain(front)
                    .chain(behind),
            )
            .map_err(csv_failure)?;
    }
    writer.flush()?;
    Ok(())
}

/// A cell; a text that a spreadsheet would run as a formula gets an apostrophe in front.
pub(crate) fn harmless(value: &Value) -> String {
    match value {
        Value::Text(text)
            if text
                .trim_start_matches('\'')
                .starts_with(['=', '+', '-', '@', '\t', '\r', '\n']) =>
        {
            format!("'{text}")
        }
        value => value.to_string(),
    }
}

pub(crate) fn csv_failure(error: csv::Error) -> Failure {
    std::io::Error::from(error).into()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn formulas_are_made_harmless_and_numbers_are_left_alone() {
        assert_eq!(harmless(&Value::Text("=1+1".into())), "'=1+1");
        assert_eq!(harmless(&Value::Number(-1.5)), "-1.5");
        assert_eq!(harmless(&Value::Text("beet".into())), "beet");
    }
}
