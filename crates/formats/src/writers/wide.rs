//! Wide CSV for people at spreadsheets: one running axis, a column for each curve.
//!
//! The axes of all curves must agree number by number; otherwise nothing is written, unless the union of them is asked
//! for, in which a curve has empty cells where it was not measured. Nothing is interpolated.

use std::collections::BTreeMap;
use std::io::Write;

use curvary_record::{Code, Column, Diagnostic, Trace, write_decimal};

use super::csv::{push_text, run_name};
use super::export::{ExportError, Exporter, Files, Part, Room, Subject};
use super::table_schema::{ColumnType, TableField, TableSchema};

/// One column of the table.
struct Curve {
    head: String,
    about: String,
    x: Column,
    y: Column,
}

/// The exporter. It holds the numbers of all curves, since a row has one of each.
#[derive(Default)]
pub struct Wide {
    union: bool,
    byte_order_mark: bool,
    curves: Vec<Curve>,
}

impl Wide {
    /// A wide table; with `union` the axes need not agree.
    #[must_use]
    pub fn new(union: bool, byte_order_mark: bool) -> Self {
        Self {
            union,
            byte_order_mark,
            curves: Vec::new(),
        }
    }

    fn refused(message: String) -> ExportError {
        ExportError::Refused(Box::new(
            Diagnostic::error(Code::new("axes-differ"), message).help(
                "take runs of one kind, or `--union` for a row for every x that was met, or `--to csv`, which needs no common axis",
            ),
        ))
    }

    /// Whether all curves run over the same numbers; refuses axes of different quantities or units.
    fn agree(&self) -> Result<bool, ExportError> {
        let Some(first) = self.curves.first() else {
            return Ok(true);
        };
        let axis = |curve: &Curve| format!("{} in `{}`", curve.x.quantity, curve.x.unit);
        if let Some(other) = self
            .curves
            .iter()
            .find(|curve| curve.x.quantity != first.x.quantity || curve.x.unit != first.x.unit)
        {
            return Err(Self::refused(format!(
                "the curves do not run over one axis: `{}` runs over {}, `{}` over {}",
                first.head,
                axis(first),
                other.head,
                axis(other)
            )));
        }
        let other = self
            .curves
            .iter()
            .find(|curve| curve.x.values.as_ref() != first.x.values.as_ref());
        match other {
            None => Ok(true),
            Some(_) if self.union => {
                let twice = self.curves.iter().find(|curve| {
                    let mut seen: Vec<u64> = curve.x.values.iter().map(|x| (x + 0.0).to_bits()).collect();
                    seen.sort_unstable();
                    seen.windows(2).any(|pair| pair[0] == pair[1])
                });
                match twice {
                    None => Ok(false),
                    Some(curve) => Err(Self::refused(format!(
                        "`{}` was measured twice at one x, which has one cell in a row",
                        curve.head
                    ))),
                }
            }
            Some(other) => Err(Self::refused(format!(
                "the axes do not agree: `{}` has {} points, `{}` has {}, and not all of the same x",
                first.head,
                first.x.values.len(),
                other.head,
                other.x.values.len()
            ))),
        }
    }

    /// The rows: x as it was written, and for each curve its number there.
    fn rows(&self, agree: bool) -> Vec<(String, Vec<Option<String>>)> {
        let texts = |column: &Column| column.texts().collect::<Vec<String>>();
        if agree {
            let Some(first) = self.curves.first() else {
                return Vec::new();
            };
            let columns: Vec<Vec<String>> = self.curves.iter().map(|curve| texts(&curve.y)).collect();
            return texts(&first.x)
                .into_iter()
                .enumerate()
                .map(|(at, x)| (x, columns.iter().map(|column| column.get(at).cloned()).collect()))
                .collect();
        }
        let mut rows: BTreeMap<Ordered, (String, Vec<Option<String>>)> = BTreeMap::new();
        for (at, curve) in self.curves.iter().enumerate() {
            for ((&x, text), y) in curve.x.values.iter().zip(curve.x.texts()).zip(curve.y.texts()) {
                let row = rows
                    .entry(Ordered(x + 0.0))
                    .or_insert_with(|| (text, vec![None; self.curves.len()]));
                row.1[at] = Some(y);
            }
        }
        let falling = self.curves.first().is_some_and(|curve| {
            let values = curve.x.values.as_ref();
            values.first() > values.last()
        });
        let mut rows: Vec<_> = rows.into_values().collect();
        if falling {
            rows.reverse();
        }
        rows
    }
}

/// Numbers of a column, which are never NaN, in their order.
#[derive(Clone, Copy, PartialEq)]
struct Ordered(f64);

impl Eq for Ordered {}

impl PartialOrd for Ordered {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Ordered {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        self.0.total_cmp(&other.0)
    }
}

/// `absorbance, betanin, 405 nm (bafd90fc9920124c/0)`: what a person looks for first, and a name that no other has.
fn head(subject: &Subject<'_>, index: usize, trace: &Trace) -> String {
    let mut parts = vec![with_unit(&trace.y)];
    let sample = trace.fields.text("sample").or(subject.run.fields.text("sample"));
    parts.extend(sample.map(str::to_owned));
    if let Some(label) = trace
        .label
        .as_deref()
        .filter(|label| !label.is_empty() && Some(*label) != sample)
    {
        parts.push(label.to_owned());
    }
    for held in &trace.held {
        let value = write_decimal(held.value, None);
        parts.push(format!("{value} {}", held.unit.display()).trim_end().to_owned());
    }
    format!("{} ({}/{index})", parts.join(", "), run_name(&subject.run.id))
}

fn with_unit(column: &Column) -> String {
    let unit = column.unit.display();
    if unit.is_empty() || column.unit.slug().is_empty() {
        column.quantity.to_string()
    } else {
        format!("{} in {unit}", column.quantity)
    }
}

impl Exporter for Wide {
    fn room(&self) -> Room {
        Room::default()
    }

    fn see(&mut self, subject: &Subject<'_>) {
        for (index, trace) in subject
            .run
            .traces
            .iter()
            .enumerate()
            .filter(|(_, trace)| !trace.is_empty())
        {
            self.curves.push(Curve {
                head: head(subject, index, trace),
                about: format!(
                    "Run {}, curve {index}, from {}.",
                    subject.run.id, subject.run.source.path
                ),
                x: trace.x.clone(),
                y: trace.y.clone(),
            });
        }
    }

    fn begin(&mut self, files: &mut dyn Files) -> Result<(), ExportError> {
        let agree = self.agree()?;
        let field = |name: String, about: String, unit: &Column| TableField {
            name,
            kind: ColumnType::Number,
            title: None,
            description: about,
            unit: Some(unit.unit.code().to_owned()),
        };
        let Some(first) = self.curves.first() else {
            return Ok(());
        };
        let mut fields = vec![field(with_unit(&first.x), "The x axis.".to_owned(), &first.x)];
        fields.extend(
            self.curves
                .iter()
                .map(|curve| field(curve.head.clone(), curve.about.clone(), &curve.y)),
        );
        let mut out = files.create(Part::Main)?;
        let mut line = Vec::new();
        if self.byte_order_mark {
            line.extend_from_slice("\u{FEFF}".as_bytes());
        }
        for (at, column) in fields.iter().enumerate() {
            if at > 0 {
                line.push(b',');
            }
            push_text(&mut line, &column.name);
        }
        let mut schema = files.create(Part::Schema)?;
        schema.write_all(TableSchema::new(fields).to_json().as_bytes())?;
        schema.flush()?;
        line.extend_from_slice(b"\r\n");
        for (x, row) in self.rows(agree) {
            line.extend_from_slice(x.as_bytes());
            for cell in row {
                line.push(b',');
                line.extend_from_slice(cell.unwrap_or_default().as_bytes());
            }
            line.extend_from_slice(b"\r\n");
            if line.len() > 1 << 16 {
                out.write_all(&line)?;
                line.clear();
            }
        }
        out.write_all(&line)?;
        out.flush()?;
        Ok(())
    }

    fn write(&mut self, _subject: &Subject<'_>) -> Result<(), ExportError> {
        Ok(())
    }

    fn finish(&mut self, _files: &mut dyn Files) -> Result<Vec<Diagnostic>, ExportError> {
        Ok(Vec::new())
    }
}
