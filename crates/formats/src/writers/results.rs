//! Results as a table: one number that was found a row.

use std::collections::BTreeSet;

use curvary_record::{Outcome, Unit};

use super::csv::{CellContent, run_name};
use super::table_schema::{ColumnType, TableField};

/// The columns.
const COLUMNS: [(&str, ColumnType, &str); 19] = [
    ("result", ColumnType::String, "The result, by its name."),
    ("kind", ColumnType::String, "What was done: fit, rate, peaks, …"),
    (
        "run",
        ColumnType::String,
        "The run it is about, by its name; empty where it is about several.",
    ),
    (
        "runs",
        ColumnType::String,
        "All runs it is about, by their names, with blanks between them.",
    ),
    (
        "trace",
        ColumnType::Integer,
        "The curve within its run, from 0, where it is about one.",
    ),
    ("model", ColumnType::String, "The model or procedure."),
    ("parameter", ColumnType::String, "What the number is of."),
    (
        "value",
        ColumnType::Number,
        "The number; empty where the data do not determine it.",
    ),
    ("unit", ColumnType::String, "Its unit, a UCUM code."),
    (
        "standard_error",
        ColumnType::Number,
        "Its standard error, in the same unit.",
    ),
    (
        "low",
        ColumnType::Number,
        "The lower end of its first interval; empty where the data leave it open, or where it was not found.",
    ),
    ("high", ColumnType::Number, "The upper end."),
    (
        "level",
        ColumnType::Number,
        "How often such intervals hold the true value, such as 0.95.",
    ),
    ("termination", ColumnType::String, "How the computation ended."),
    (
        "reason",
        ColumnType::String,
        "Why the number is absent or doubtful.",
    ),
    (
        "by",
        ColumnType::String,
        "The program and version that computed it.",
    ),
    (
        "item",
        ColumnType::Integer,
        "Which of several things of one kind the number belongs to, from 0: the position, height and width of one peak have the same.",
    ),
    ("row", ColumnType::Integer, "The row within the result, from 0."),
    (
        "remarks",
        ColumnType::String,
        "What speaks against the result, or is to be known of it, with semicolons between remarks.",
    ),
];

/// The results of an export, each written once, with whichever of its runs comes first.
#[derive(Debug, Default)]
pub struct Results {
    known: BTreeSet<String>,
}

impl Results {
    /// The columns.
    #[must_use]
    pub fn columns() -> Vec<TableField> {
        let field = |&(name, kind, about): &(&str, ColumnType, &str)| TableField {
            name: name.to_owned(),
            kind,
            title: None,
            description: about.to_owned(),
            unit: None,
        };
        COLUMNS.iter().map(field).collect()
    }

    /// Gives a row for every number that was not given before; a result without any has one row.
    ///
    /// # Errors
    /// What `take` says.
    pub fn each<E>(
        &mut self,
        results: &[Outcome],
        mut take: impl FnMut(&[CellContent<'_>]) -> Result<(), E>,
    ) -> Result<(), E> {
        for result in results {
            if !self.known.insert(result.id.clone()) {
                continue;
            }
            let names: Vec<String> = result.runs.iter().map(|run| run_name(run).into_owned()).collect();
            let all = names.join(" ");
            let number = |value: Option<f64>| value.map_or(CellContent::Empty, CellContent::Number);
            let mut row = [CellContent::Empty; COLUMNS.len()];
            row[0] = CellContent::Text(&result.id);
            row[1] = CellContent::Text(result.kind.as_str());
            if let [one] = names.as_slice() {
                row[2] = CellContent::Text(one);
            }
            row[3] = CellContent::Text(&all);
            row[4] = result
                .trace
                .map_or(CellContent::Empty, |trace| CellContent::Whole(trace.into()));
            row[5] = CellContent::Text(&result.model);
            row[13] = CellContent::Text(&result.termination);
            row[15] = CellContent::Text(&result.by);
            let remarks: Vec<&str> = result
                .remarks
                .iter()
                .map(|remark| remark.message.as_str())
                .collect();
            let remarks = remarks.join("; ");
            if !remarks.is_empty() {
                row[18] = CellContent::Text(&remarks);
            }
            row[17] = CellContent::Whole(0);
            if result.parameters.is_empty() {
                take(&row)?;
            }
            // Where a name comes again, the next thing of its kind begins.
            let (mut item, mut met) = (0, BTreeSet::new());
            for (place, parameter) in (0_i64..).zip(&result.parameters) {
                if !met.insert(parameter.name.as_str()) {
                    item += 1;
                    met = BTreeSet::from([parameter.name.as_str()]);
                }
                row[16] = CellContent::Whole(item);
                row[17] = CellContent::Whole(place);
                let interval = parameter.intervals.first();
                row[6] = CellContent::Text(&parameter.name);
                row[7] = number(parameter.value);
                row[8] = parameter
                    .unit
                    .as_ref()
                    .map_or(CellContent::Empty, |unit| CellContent::Text(Unit::code(unit)));
                row[9] = number(parameter.standard_error);
                row[10] = number(interval.and_then(|interval| interval.low));
                row[11] = number(interval.and_then(|interval| interval.high));
                row[12] = number(interval.map(|interval| interval.level));
                row[14] = parameter
                    .reason
                    .as_deref()
                    .map_or(CellContent::Empty, CellContent::Text);
                take(&row)?;
            }
        }
        Ok(())
    }
}
