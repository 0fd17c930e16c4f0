//! `curvary find`: the runs that match a query, or those whose curves are alike.

use std::collections::{BTreeMap, BTreeSet};
use std::io::Write;

use clap::Args;
use clap_complete::ArgValueCompleter;
use curvary_archive::{
    AlikeFound, AlikeOptions, Archive, FacetName, Fact, FindOptions, Hit, RunOrder, SearchResult, Summary,
};
use curvary_record::{Outcome, Value, known_fields};
use serde::Serialize;

use crate::Environment;
use crate::ending::{CommandResult, Ending, Failure};
use crate::likeness::LikeOptions;
use crate::screen::{ASKED, FAINT, STRONG, Screen, StyledText, count, plural};
use crate::subject;
use crate::table::{Listing, ListingColumn, Shorten, TableCell, one_line};
use crate::{completing, last, telling, why};

/// Find runs by words, fields, numbers with units, dates, and by the shape of their curves
///
/// A query is words and terms: betanin sample:"beet juice" temp:36..38C ph:>=7 year:2019..2021 wavelength:535nm
/// technique:time-course has:result -comment:practice. Terms are joined by and; or and parentheses work. betan* finds words
/// that begin so. Numbers are compared whatever unit the source wrote. A field may be cut short where it is clear which is
/// meant. `curvary fields` lists the fields with examples. Without a query every run is listed.
///
/// The runs that were listed are `@last` in the next command, as in: curvary fit @last --model first-order
///
/// With --like the runs that match are ordered by how alike their curves are to the one of RUN or FILE, which is left out
/// itself. Likeness is Pearson's correlation coefficient of the absorbances over the range that both cover, to four
/// decimals; concentration and an even baseline do not matter to it. The curves run straight between their points, and
/// every stretch of the range weighs alike. Of a run with several traces the most alike counts. Curves are compared
/// where the common range is at least half of the longer one and holds ten points of each; transmittance is turned into
/// absorbance, wavenumbers and energies into wavelengths; time courses are compared over time. Likeness ranks, it does not
/// identify: the same shape is no proof of the same substance.
#[derive(Debug, Args)]
pub(crate) struct FindCommand {
    /// Words and terms
    #[arg(value_name = "QUERY", add = ArgValueCompleter::new(completing::query))]
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
    /// Show these as columns too: fields, or numbers of results as in result.k
    #[arg(long, value_name = "FIELD", value_delimiter = ',')]
    show: Vec<String>,
    /// Order by a field, a number of results as in result.k, or points, traces, technique, reader, path; -FIELD turns it round
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
    /// Count the matching runs by technique, year, sample, tag, reader and state
    #[arg(long, conflicts_with_all = ["csv", "ids", "sort", "limit", "skip"])]
    facets: bool,
    #[command(flatten)]
    likeness: LikeOptions,
}

/// How many runs a table shows unless another number is asked for.
const PAGE: usize = 50;
/// How many values a facet shows.
const VALUES: usize = 12;

impl FindCommand {
    /// Does it.
    pub(crate) fn run(self, setting: &Environment, screen: &mut Screen) -> CommandResult {
        let archive = setting.archive.open()?;
        let query = subject::query(&archive, &self.query)?;
        let sort: Option<RunOrder> = self
            .sort
            .as_deref()
            .map(|sort| super::plain(sort).parse().unwrap_or_else(|never| match never {}));
        let sort = sort.map(|sort| RunOrder {
            key: field_named(&archive, &sort.key).unwrap_or(sort.key),
            ..sort
        });
        let extra = self.extra(&archive, sort.as_ref())?;
        if self.facets {
            let names = [
                FacetName::Technique,
                FacetName::Year,
                FacetName::Sample,
                FacetName::Tag,
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
            last::keep(
                &archive,
                query.text(),
                found.hits.iter().map(|one| one.hit.id.as_str()),
            );
            let told = FindJson::alike(&found).with(&archive, &extra)?;
            return self.print_hits(&archive, &told, &extra, screen);
        }
        let options = FindOptions {
            sort,
            limit,
            skip: self.skip,
            snippets: self.snippets || self.json,
        };
        let found = archive.find(&query, &options)?;
        self.remember(&archive, &query, &options, &found)?;
        let told = FindJson::found(&found).with(&archive, &extra)?;
        self.print_hits(&archive, &told, &extra, screen)
    }

    /// Keeps the runs for `@last`: all that match, unless fewer were asked for.
    fn remember(
        &self,
        archive: &Archive,
        query: &curvary_archive::Query,
        options: &FindOptions,
        found: &SearchResult,
    ) -> Result<(), Failure> {
        let asked_for_fewer = self.limit.is_some_and(|limit| limit > 0) || self.skip > 0;
        if asked_for_fewer || found.hits.len() == found.total {
            last::keep(
                archive,
                query.text(),
                found.hits.iter().map(|hit| hit.id.as_str()),
            );
            return Ok(());
        }
        let options = FindOptions {
            limit: last::MOST,
            snippets: false,
            ..options.clone()
        };
        let all = archive.names_in_order(query, &options)?;
        last::keep(archive, query.text(), all.iter().map(|id| id.as_str()));
        Ok(())
    }

    /// The columns beside the usual ones: those that were asked for, and what the order goes by.
    fn extra(&self, archive: &Archive, sort: Option<&RunOrder>) -> Result<Vec<String>, Failure> {
        let mut extra: Vec<String> = Vec::new();
        for key in &self.show {
            let key = field_named(archive, key)?;
            if !extra.contains(&key) {
                extra.push(key);
            }
        }
        if let Some(sort) = sort.filter(|sort| !USUAL.contains(&sort.key.as_str()))
            && let Ok(key) = field_named(archive, &sort.key)
            && !extra.contains(&key)
        {
            extra.push(key);
        }
        extra.retain(|key| !USUAL.contains(&key.as_str()));
        Ok(extra)
    }

    /// Prints the answer in the form that was asked for.
    fn print_hits(
        &self,
        archive: &Archive,
        told: &FindJson<'_>,
        extra: &[String],
        screen: &mut Screen,
    ) -> CommandResult {
        if self.json {
            screen.json(told)?;
        } else if self.csv {
            as_csv(told, screen)?;
        } else if self.ids {
            for run in &told.runs {
                writeln!(screen, "{}", run.run)?;
            }
        } else {
            self.table(told, extra, screen)?;
        }
        if told.total == 0 {
            for why in why::nothing(archive, &super::query(&self.query)) {
                screen.say(format_args!("  {why}"));
            }
        }
        if told.behind > 0 {
            screen.say(format_args!(
                "{} of records are not searchable yet: another process writes, or the index could not be written",
                crate::screen::megabytes(told.behind)
            ));
        }
        Ok(Ending::Done)
    }

    fn facets(&self, facets: &curvary_archive::Facets, screen: &mut Screen) -> CommandResult {
        if self.json {
            screen.json(facets)?;
            return Ok(Ending::Done);
        }
        for (name, values) in facets.iter().filter(|(_, values)| !values.is_empty()) {
            let name = serde_json::to_value(name).ok();
            let name = name
                .as_ref()
                .and_then(serde_json::Value::as_str)
                .unwrap_or_default();
            writeln!(screen, "{}", StyledText(STRONG, name))?;
            for value in values {
                writeln!(screen, "  {:>7}  {}", count(value.count), one_line(&value.value))?;
            }
        }
        Ok(Ending::Done)
    }

    fn table(&self, told: &FindJson<'_>, extra: &[String], screen: &mut Screen) -> Result<(), Failure> {
        let mut columns = vec![
            ListingColumn::new("run"),
            ListingColumn::new("likeness").right(),
            ListingColumn::new("trace").shorten(Shorten::End).rank(2),
            ListingColumn::new("date").rank(3),
            ListingColumn::new("technique").shorten(Shorten::End).rank(4),
            ListingColumn::new("sample").shorten(Shorten::End),
            ListingColumn::new("temp").right().rank(5),
            ListingColumn::new("pH").right().rank(6),
        ];
        columns.extend(extra.iter().map(|key| ListingColumn::new(key.clone()).right()));
        columns.extend([
            ListingColumn::new("points").right().rank(7),
            ListingColumn::new("").rank(1),
            ListingColumn::new("path").shorten(Shorten::Middle).least(24),
        ]);
        let mut table = Listing::new(columns);
        for run in &told.runs {
            let summary = run.summary;
            let field = |key: &str| summary.fields.get(key).map(fact).unwrap_or_default();
            let mark = match (summary.questions.is_empty(), summary.disputes.is_empty()) {
                (false, _) => "in-question",
                (true, false) => "disputed",
                (true, true) => "",
            };
            let path = match summary.paths.as_slice() {
                [] => String::new(),
                [one] => one.clone(),
                [first, others @ ..] => format!("{first} (and {} more)", others.len()),
            };
            let (likeness, trace) = match &run.alike {
                Some(alike) if summary.traces > 1 => (alike.shown(), alike.named()),
                Some(alike) => (alike.shown(), String::new()),
                None => (String::new(), String::new()),
            };
            let mut cells: Vec<TableCell> = vec![
                TableCell::styled(short(run.run), STRONG),
                likeness.into(),
                trace.into(),
                field("date").into(),
                summary.technique.as_str().into(),
                field("sample").into(),
                field("temperature").into(),
                field("ph").into(),
            ];
            cells.extend(run.shown.iter().map(|text| TableCell::from(text.as_str())));
            cells.extend([
                count(summary.points).into(),
                TableCell::styled(mark, ASKED),
                TableCell::styled(path, FAINT),
            ]);
            table.row(cells);
        }
        if !told.runs.is_empty() {
            write!(screen, "{}", table.draw(screen.width()))?;
        }
        for run in &told.runs {
            if let Some(snippet) = run.snippet {
                writeln!(
                    screen,
                    "{}",
                    StyledText(FAINT, format!("{}  {}", short(run.run), one_line(snippet)))
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
        } else if told.total == 0 {
            screen.say("no run answers");
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

/// Columns that every listing has.
const USUAL: [&str; 8] = [
    "date",
    "technique",
    "sample",
    "temperature",
    "ph",
    "points",
    "path",
    "run",
];

/// The field that a word means: `result.k`, a field or its beginning, or one that only this archive has.
fn field_named(archive: &Archive, word: &str) -> Result<String, Failure> {
    let lower = word.to_lowercase();
    let usual = ["points", "traces", "technique", "reader", "path", "year"];
    if usual.contains(&lower.as_str()) || lower.strip_prefix("result.").is_some_and(|name| !name.is_empty()) {
        return Ok(lower);
    }
    if let Some(field) = known_fields().iter().find(|field| field.key == lower) {
        return Ok(field.key.to_owned());
    }
    let local = archive.house_words()?;
    if let Some(own) = local.iter().find(|own| own.to_lowercase() == lower) {
        return Ok(own.clone());
    }
    let mut begin = known_fields()
        .iter()
        .filter(|field| field.key.starts_with(&lower));
    if let (Some(field), None) = (begin.next(), begin.next()) {
        return Ok(field.key.to_owned());
    }
    // The query language finds the nearest right word and says so.
    archive.query(&format!("\"{}\":x", word.replace('"', "")))?;
    Ok(lower)
}

/// What a run has in a column that was asked for.
fn shown(key: &str, hit: &FoundRunJson<'_>, outcomes: &[Outcome]) -> String {
    if let Some(name) = key.strip_prefix("result.") {
        return result(name, outcomes);
    }
    match key {
        "reader" => hit.summary.reader.clone(),
        "traces" => count(hit.summary.traces),
        "year" => hit
            .summary
            .fields
            .get("date")
            .map(fact)
            .unwrap_or_default()
            .chars()
            .take(4)
            .collect(),
        _ => hit.summary.fields.get(key).map(fact).unwrap_or_default(),
    }
}

/// What a listing does not repeat of a result: the error holds it already, or nearly every course has it. `results` shows all.
const IN_THE_ERROR: [&str; 2] = ["drift-not-excluded", "errors-correlated"];

/// The numbers of this name that were kept last: one with its error, several from the smallest to the largest.
fn result(name: &str, outcomes: &[Outcome]) -> String {
    let named = |outcome: &Outcome| {
        let mut own = outcome.parameters.iter();
        own.find(|one| one.name.to_lowercase() == name && one.value.is_some())
            .cloned()
    };
    let Some(newest) = outcomes.iter().rev().find(|outcome| named(outcome).is_some()) else {
        return String::new();
    };
    let mut of_traces: BTreeMap<Option<u32>, curvary_record::Parameter> = BTreeMap::new();
    let alike = |outcome: &&Outcome| outcome.model == newest.model && outcome.kind == newest.kind;
    for outcome in outcomes.iter().filter(alike) {
        if let Some(parameter) = named(outcome) {
            of_traces.insert(outcome.trace, parameter);
        }
    }
    let mut flags: Vec<String> = Vec::new();
    for outcome in outcomes
        .iter()
        .filter(alike)
        .filter(|outcome| named(outcome).is_some())
    {
        let newest = outcomes
            .iter()
            .rev()
            .filter(alike)
            .find(|other| other.trace == outcome.trace);
        let own = newest.filter(|newest| newest.id == outcome.id);
        for flag in own.into_iter().flat_map(super::results::flags) {
            if !flags.contains(&flag) && !IN_THE_ERROR.contains(&flag.as_str()) {
                flags.push(flag);
            }
        }
    }
    let flags = if flags.is_empty() {
        String::new()
    } else {
        format!(" ({})", flags.join(", "))
    };
    let mut all: Vec<curvary_record::Parameter> = of_traces.into_values().collect();
    all.sort_by(|a, b| a.value.unwrap_or(0.0).total_cmp(&b.value.unwrap_or(0.0)));
    match all.as_slice() {
        [] => String::new(),
        [one] => {
            let (value, error, unit) = telling::value(one);
            [value, error, unit]
                .into_iter()
                .filter(|part| !part.is_empty())
                .collect::<Vec<_>>()
                .join(" ")
                + &flags
        }
        [first, .., end] => {
            let (low, _, unit) = telling::value(first);
            let (high, _, _) = telling::value(end);
            format!("{low} to {high} {unit} ({}){flags}", all.len())
        }
    }
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
        Some(_) => match unit.map(curvary_record::Unit::display).unwrap_or_default() {
            shown if shown.is_empty() => value.to_string(),
            shown => format!("{value} {shown}"),
        },
    }
}

/// An answer, as `--json` shows it.
#[derive(Serialize)]
struct FindJson<'a> {
    total: usize,
    #[serde(flatten)]
    compared: Option<ComparisonCounts>,
    behind: u64,
    runs: Vec<FoundRunJson<'a>>,
}

/// What became of the runs that are not among the alike.
#[derive(Serialize)]
struct ComparisonCounts {
    less_alike: usize,
    nothing_to_compare: usize,
}

#[derive(Serialize)]
struct FoundRunJson<'a> {
    run: &'a str,
    #[serde(flatten)]
    alike: Option<Alike<'a>>,
    #[serde(flatten)]
    summary: &'a Summary,
    #[serde(skip_serializing_if = "Option::is_none")]
    snippet: Option<&'a str>,
    /// What stands in the columns that were asked for.
    #[serde(skip)]
    shown: Vec<String>,
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

impl<'a> FindJson<'a> {
    fn found(found: &'a SearchResult) -> Self {
        let runs = found.hits.iter().map(|hit| FoundRunJson::of(hit, None));
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
            FoundRunJson::of(&one.hit, Some(alike))
        });
        Self {
            total: found.total,
            compared: Some(ComparisonCounts {
                less_alike: found.less,
                nothing_to_compare: found.nothing,
            }),
            behind: found.behind,
            runs: runs.collect(),
        }
    }
}

impl FindJson<'_> {
    /// The same with the columns that were asked for.
    fn with(mut self, archive: &Archive, extra: &[String]) -> Result<Self, Failure> {
        let of_results = extra.iter().any(|key| key.starts_with("result."));
        for run in &mut self.runs {
            let outcomes = if of_results && !run.summary.results.is_empty() {
                archive.outcomes(&curvary_record::RunId::named(run.run))?
            } else {
                Vec::new()
            };
            run.shown = extra.iter().map(|key| shown(key, run, &outcomes)).collect();
        }
        Ok(self)
    }
}

impl<'a> FoundRunJson<'a> {
    fn of(hit: &'a Hit, alike: Option<Alike<'a>>) -> Self {
        Self {
            run: hit.id.as_str(),
            alike,
            summary: &hit.summary,
            snippet: hit.snippet.as_deref(),
            shown: Vec::new(),
        }
    }
}

/// One run a line. Numbers stand under the field's name with the unit, as in the tidy CSV of `export`.
fn as_csv(told: &FindJson<'_>, screen: &mut Screen) -> Result<(), Failure> {
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
