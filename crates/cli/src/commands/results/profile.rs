//! One parameter of kept results over a field of their runs, as a table that `fit` takes.

use curvary_record::{Run, Trace, Unit, Value};

use super::ResultRow;
use crate::commands::find::{csv_failure, short};
use crate::ending::{CommandResult, Ending};
use crate::screen::Screen;

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

/// Prints the table; what is left out of it is told.
pub(super) fn profile(rows: &[ResultRow], over: &str, of: &str, screen: &mut Screen) -> CommandResult {
    let mut units: Option<(Unit, Unit)> = None;
    let mut lines: Vec<[String; 3]> = Vec::new();
    let mut left_out: Vec<String> = Vec::new();
    for row in rows {
        let mut line = || -> Result<[String; 3], String> {
            let (at, at_unit) = row.over.clone().ok_or_else(|| format!("no {over} is known"))?;
            let parameter = row
                .outcome
                .parameter(of)
                .ok_or_else(|| format!("it has no {of}"))?;
            let reason = || {
                parameter
                    .reason
                    .clone()
                    .unwrap_or_else(|| "it has no value".to_owned())
            };
            let value = parameter.value.ok_or_else(reason)?;
            let own = parameter.unit.clone().unwrap_or(Unit::ONE);
            let (x, y) = units.get_or_insert_with(|| (at_unit.clone(), own.clone()));
            let turn = |value: f64, from: &Unit, to: &Unit| {
                from.convert(value, to).map_err(|error| error.to_string())
            };
            let (first, next) = (turn(value, &own, y)?, turn(value + 1.0, &own, y)?);
            let error = parameter.standard_error.map(|error| error * (next - first).abs());
            Ok([
                turn(at, &at_unit, x)?.to_string(),
                first.to_string(),
                error.map(|error| error.to_string()).unwrap_or_default(),
            ])
        };
        match line() {
            Ok(line) => lines.push(line),
            Err(why) => left_out.push(format!("{}: {why}", short(&row.run))),
        }
    }
    if let Some((x, y)) = &units {
        let name = if over == "ph" {
            "pH".to_owned()
        } else {
            over.replace('-', " ")
        };
        let mut writer = csv::WriterBuilder::new()
            .terminator(csv::Terminator::CRLF)
            .from_writer(&mut *screen);
        writer
            .write_record([head(&name, x), head(of, y), "SD".to_owned()])
            .map_err(csv_failure)?;
        for line in &lines {
            writer.write_record(line).map_err(csv_failure)?;
        }
        writer.flush()?;
    }
    for why in &left_out {
        screen.say(format_args!("left out: {why}"));
    }
    Ok(Ending::of(lines.len() as u64, left_out.len() as u64))
}
