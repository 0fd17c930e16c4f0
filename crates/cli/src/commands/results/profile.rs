//! One parameter of kept results over a field of their runs, as a table that `fit` takes.

use curvary_analysis::study::{DriftEffect, SD_IN_COMMON};
use curvary_record::unit::Incommensurable;
use curvary_record::{Run, Trace, Unit, Value};

use std::collections::BTreeSet;

use super::means::{NoValue, in_unit};
use super::{ResultRow, flags};
use crate::commands::find::{csv_failure, short};
use crate::ending::{CommandResult, Ending, Failure};
use crate::screen::{Screen, plural};

/// A field of a trace that is a number, with the unit in which it is stated: what the trace holds itself counts, else what the run says.
pub(super) fn number_of(run: &Run, trace: Option<&Trace>, key: &str) -> Option<(f64, Unit)> {
    let held = trace.and_then(|trace| trace.held.iter().find(|held| held.quantity.as_str() == key));
    if let Some(held) = held {
        return Some((held.value, held.unit.clone()));
    }
    let claim = trace
        .and_then(|trace| trace.fields.get(key))
        .or_else(|| run.fields.get(key))?;
    match claim.value {
        Value::Number(number) => Some((number, claim.unit.clone().unwrap_or(Unit::ONE))),
        _ => None,
    }
}

/// A head such as `temperature (Cel)` or `k (1/s)`.
fn head(name: &str, unit: &Unit) -> String {
    match unit.code() {
        "1" | "[pH]" => name.to_owned(),
        code if code.starts_with('/') => format!("{name} (1{code})"),
        _ => format!("{name} ({})", unit.display()),
    }
}

/// A value at a place, its error, and what it has of one that is common to all.
struct ProfileLine {
    at: f64,
    value: f64,
    error: Option<f64>,
    shared: f64,
}

impl ProfileLine {
    /// Place, value, its own error and that in common.
    fn cells(&self) -> [String; 4] {
        let own = self
            .error
            .map(|error| (error * error - self.shared * self.shared).max(0.0).sqrt());
        [
            self.at.to_string(),
            self.value.to_string(),
            own.map(|own| own.to_string()).unwrap_or_default(),
            self.shared.to_string(),
        ]
    }
}

/// Why a result gives no line.
#[derive(Debug, thiserror::Error)]
enum NoProfileLine {
    /// Its run has not the field that the others are laid over.
    #[error("no {0} is known")]
    NoField(String),
    /// It has not the parameter.
    #[error("it has no {0}")]
    NoParameter(String),
    /// The value cannot stand in the column.
    #[error(transparent)]
    Value(#[from] NoValue),
    /// A unit is of another dimension than that of the column.
    #[error(transparent)]
    Unit(#[from] Incommensurable),
}

/// Prints the table; what is left out of it is told, and what the results in it hold against themselves.
pub(super) fn profile(rows: &[ResultRow], over: &str, of: &str, screen: &mut Screen) -> CommandResult {
    // Constants of several laws, or a rate and a constant of one name, are several things.
    let with = rows.iter().filter(|row| row.outcome.parameter(of).is_some());
    let models: BTreeSet<&str> = with.map(|row| row.outcome.model.as_str()).collect();
    if models.len() > 1 {
        let models: Vec<&str> = models.into_iter().collect();
        return Err(Failure::usage(format!(
            "the results with `{of}` are of {}: name one with --model",
            models.join(" and ")
        )));
    }
    let (mut doubts, mut in_common) = (Vec::<String>::new(), 0_u64);
    let mut units: Option<(Unit, Unit)> = None;
    let mut lines: Vec<ProfileLine> = Vec::new();
    let mut left_out: Vec<String> = Vec::new();
    for row in rows {
        let mut line = || -> Result<ProfileLine, NoProfileLine> {
            let (at, at_unit) = row
                .over
                .clone()
                .ok_or_else(|| NoProfileLine::NoField(over.to_owned()))?;
            let parameter = row
                .outcome
                .parameter(of)
                .ok_or_else(|| NoProfileLine::NoParameter(of.to_owned()))?;
            let own = parameter.unit.clone().unwrap_or(Unit::ONE);
            let (x, y) = units.clone().unwrap_or_else(|| (at_unit.clone(), own.clone()));
            let at = at_unit.convert(at, &x)?;
            let (value, error) = in_unit(parameter, &own, &y, &row.outcome.kind)?;
            // A result that is left out gives the columns no unit.
            units = Some((x, y));
            let reason = parameter
                .reason
                .as_ref()
                .map(|reason| format!("{of} is {reason}"));
            let odd: Vec<String> = reason.into_iter().chain(flags(&row.outcome)).collect();
            let shared = match DriftEffect::of(&row.outcome, of) {
                // A difference, in the unit of the column.
                DriftEffect::Stated(moved) => {
                    in_common += 1;
                    own.conversion(units.as_ref().map_or(&own, |units| &units.1))?
                        .of_difference(moved)
                }
                _ => 0.0,
            };
            if !odd.is_empty() {
                doubts.push(format!("{}: {}", short(row.first()), odd.join("; ")));
            }
            Ok(ProfileLine {
                at,
                value,
                error,
                shared,
            })
        };
        match line() {
            Ok(line) => lines.push(line),
            Err(why) => left_out.push(format!("{}: {why}", short(row.first()))),
        }
    }
    // In the order of the field: a column that goes back and forth would not be known as what runs.
    lines.sort_by(|one, other| one.at.total_cmp(&other.at));
    if let Some((x, y)) = &units {
        let name = if over == "ph" {
            "pH".to_owned()
        } else {
            over.replace('-', " ")
        };
        let mut writer = csv::WriterBuilder::new()
            .terminator(csv::Terminator::CRLF)
            .from_writer(&mut *screen);
        // A head without a unit beside `SD` would pass for that of what runs.
        let heads = [
            head(&name, x),
            head(of, y),
            "SD".to_owned(),
            head(SD_IN_COMMON, y),
        ];
        let columns = if in_common > 0 { 4 } else { 3 };
        writer.write_record(&heads[..columns]).map_err(csv_failure)?;
        for line in &lines {
            writer
                .write_record(&line.cells()[..columns])
                .map_err(csv_failure)?;
        }
        writer.flush()?;
    }
    for what in &doubts {
        screen.say(format_args!("in the table all the same: {what}"));
    }
    if in_common > 0 {
        screen.say(format_args!(
            "the drift that was stated moves {} alike: `SD` holds the errors without it, and `{SD_IN_COMMON}` what one standard deviation of \
             it does to each; `fit --weights SD --common '{SD_IN_COMMON}'` takes both along",
            plural(in_common, "value")
        ));
    }
    for why in &left_out {
        screen.say(format_args!("left out: {why}"));
    }
    Ok(Ending::of(lines.len() as u64, left_out.len() as u64))
}
