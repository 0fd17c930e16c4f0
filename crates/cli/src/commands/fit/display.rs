//! How results of fits are shown: as JSON, as tables of predictions, as rankings.

use std::io::Write;
use std::path::Path;

use curvary_analysis::fit::Along;
use curvary_analysis::study::{LawRanking, ReportedCheck, Together, TraceResult};
use curvary_record::{Code, Diagnostic};
use serde_json::{Value, json};

use super::SubjectReport;
use crate::ending::Failure;
use crate::findings::{self, Heading};
use crate::output::{self, ExistingFile};
use crate::screen::{FAINT, STRONG, Screen, StyledText};
use crate::subject::Subject;
use crate::table::{Listing, ListingColumn, one_line};
use crate::telling;

/// A result as `--json` shows it, with what was said of the reading and what was asked of the curve.
pub(super) fn shape(subject: &SubjectReport, found: &TraceResult) -> Value {
    let mut more = Vec::new();
    if !subject.remarks.is_empty() {
        more.push(("remarks_on_reading".to_owned(), json!(subject.remarks)));
    }
    if !found.drawn.predicted.is_empty() {
        let all: Vec<Value> = found.drawn.predicted.iter().map(place).collect();
        more.push(("predicted".to_owned(), Value::Array(all)));
    }
    if !found.drawn.along.is_empty() {
        let drawn = &found.drawn;
        let all: Vec<Value> = drawn
            .used
            .iter()
            .zip(drawn.fitted.iter().zip(&drawn.residuals))
            .map(|(i, (fitted, residual))| json!({ "x": drawn.x[*i], "y": drawn.y[*i], "fitted": fitted, "residual": residual }))
            .collect();
        more.push(("points".to_owned(), Value::Array(all)));
    }
    findings::shape_with(&subject.heading, found, more)
}

fn place(along: &Along) -> Value {
    json!({
        "x": along.x, "y": along.y, "standard_error": along.standard_error,
        "curve": [along.curve.0, along.curve.1], "reading": along.reading.map(|(low, high)| [low, high]),
    })
}

/// The curve at places that were asked for.
pub(super) fn predictions(found: &TraceResult, screen: &mut Screen) -> Result<(), Failure> {
    if found.drawn.predicted.is_empty() {
        return Ok(());
    }
    let mut table = Listing::new([
        ListingColumn::new("  at").right(),
        ListingColumn::new("curve").right(),
        ListingColumn::new(""),
        ListingColumn::new("curve between").rank(1),
        ListingColumn::new("one reading between").rank(2),
    ]);
    for along in &found.drawn.predicted {
        let (y, error) = telling::rounded(along.y, Some(along.standard_error));
        let between = |(low, high): (f64, f64)| {
            let end = |value: f64| telling::rounded(value, Some(along.standard_error)).0;
            format!("{} and {}", end(low), end(high))
        };
        table.row([
            format!("  {}", telling::significant(along.x)).into(),
            y.into(),
            format!("± {error}").into(),
            between(along.curve).into(),
            along.reading.map_or(String::new(), between).into(),
        ]);
    }
    write!(screen, "{}", table.draw(screen.width()))?;
    Ok(())
}

/// Points, fitted values and residuals, a row each.
pub(super) fn write_points(
    path: &Path,
    existing: ExistingFile,
    all: &[(String, TraceResult)],
) -> Result<(), Failure> {
    const HEADS: [&str; 12] = [
        "curve",
        "model",
        "x",
        "y",
        "used",
        "fitted",
        "residual",
        "fitted_standard_error",
        "curve_low",
        "curve_high",
        "reading_low",
        "reading_high",
    ];
    output::write(path, existing, |file| {
        let mut writer = csv::WriterBuilder::new()
            .terminator(csv::Terminator::CRLF)
            .from_writer(file);
        writer.write_record(HEADS)?;
        for (name, found) in all {
            let drawn = &found.drawn;
            for i in 0..drawn.x.len() {
                let at = drawn.used.iter().position(|used| *used == i);
                let text = |value: Option<f64>| value.map_or(String::new(), |value| value.to_string());
                let along = at.and_then(|at| drawn.along.get(at));
                let reading = along.and_then(|along| along.reading);
                writer.write_record([
                    name.clone(),
                    found.outcome.model.clone(),
                    drawn.x[i].to_string(),
                    drawn.y[i].to_string(),
                    if at.is_some() { "yes" } else { "no" }.to_owned(),
                    text(at.map(|at| drawn.fitted[at])),
                    text(at.map(|at| drawn.residuals[at])),
                    text(along.map(|along| along.standard_error)),
                    text(along.map(|along| along.curve.0)),
                    text(along.map(|along| along.curve.1)),
                    text(reading.map(|reading| reading.0)),
                    text(reading.map(|reading| reading.1)),
                ])?;
            }
        }
        writer.flush()
    })
    .map_err(|error| Failure::file("write", path, &error))
}

/// What several runs said together as `--json` shows it.
pub(super) fn of_several(heading: &Heading, together: &Together) -> Value {
    let ranked: Vec<Value> = together
        .ranked
        .iter()
        .map(|(model, difference, weight)| json!({ "model": model, "aicc_difference": difference, "weight": weight }))
        .collect();
    let refused: Vec<Value> = together
        .refused
        .iter()
        .map(|(model, reason)| json!({ "model": model, "reason": reason }))
        .collect();
    let mut more = Vec::new();
    if !ranked.is_empty() {
        more.push(("ranked".to_owned(), json!(ranked)));
        more.push(("refused".to_owned(), json!(refused)));
    }
    let mut all = findings::shape_with(heading, &together.found, more);
    if let Value::Object(all) = &mut all
        && !together.ranked.is_empty()
    {
        all.remove("reason");
    }
    all
}

/// Names by which runs are told apart: their places, with a number where one file has several.
pub(super) fn names_of(subjects: &[Subject]) -> Vec<String> {
    subjects
        .iter()
        .enumerate()
        .map(|(i, subject)| {
            let same = |other: &&Subject| other.place == subject.place;
            if subjects.iter().filter(same).count() < 2 {
                return subject.place.clone();
            }
            let before = subjects[..i].iter().filter(same).count();
            format!("{} (run {})", subject.place, before + 1)
        })
        .collect()
}

/// A report as `--json` shows it, with what was computed to compare.
pub(super) fn checked(subject: &SubjectReport, check: &ReportedCheck) -> Value {
    let mut all = shape(subject, &check.reported);
    if let Value::Object(all) = &mut all {
        let computed: Vec<&curvary_record::Outcome> =
            check.computed.iter().map(|found| &found.outcome).collect();
        all.insert("reproduced".into(), json!(check.reproduced));
        all.insert("verdict".into(), json!(check.verdict));
        all.insert("computed".into(), json!(computed));
    }
    all
}

pub(super) fn comparison(subject: &SubjectReport, compared: &LawRanking) -> Value {
    let mut all = shape(subject, &compared.found);
    if let Value::Object(all) = &mut all {
        let ranked: Vec<Value> = compared
            .ranked
            .iter()
            .map(|(model, difference, weight)| json!({ "model": model, "aicc_difference": difference, "weight": weight }))
            .collect();
        let refused: Vec<Value> = compared
            .refused
            .iter()
            .map(|(model, reason)| json!({ "model": model, "reason": reason }))
            .collect();
        all.insert("ranked".into(), json!(ranked));
        all.insert("refused".into(), json!(refused));
        all.insert("told_apart".into(), json!(compared.told_apart));
        all.insert("verdict".into(), json!(compared.verdict));
        all.remove("reason");
    }
    all
}

pub(super) fn ranking(
    subject: &SubjectReport,
    compared: &LawRanking,
    screen: &mut Screen,
) -> Result<(), Failure> {
    ranked(
        &subject.heading.words(&compared.found),
        &compared.ranked,
        &compared.refused,
        &compared.found.outcome,
        screen,
    )
}

pub(super) fn ranked(
    heading: &str,
    list: &[(String, f64, f64)],
    refused: &[(String, String)],
    outcome: &curvary_record::Outcome,
    screen: &mut Screen,
) -> Result<(), Failure> {
    writeln!(screen, "{}", StyledText(STRONG, one_line(heading)))?;
    let mut table = Listing::new([
        ListingColumn::new("  model"),
        ListingColumn::new("AICc above the best").right(),
        ListingColumn::new("weight").right(),
    ]);
    for (model, difference, weight) in list {
        table.row([
            format!("  {model}").into(),
            format!("{difference:.1}").into(),
            format!("{weight:.3}").into(),
        ]);
    }
    write!(screen, "{}", table.draw(screen.width()))?;
    // What is kept with the result is told with it.
    let kept = |remark: &Diagnostic| remark.code == Code::new("law-not-compared");
    let refused = refused.iter().filter(|_| !outcome.remarks.iter().any(kept));
    for (model, reason) in refused {
        writeln!(screen, "  {model}: {}", StyledText(FAINT, one_line(reason)))?;
    }
    for remark in &outcome.remarks {
        telling::remark(remark, screen)?;
    }
    Ok(())
}
