//! Wide CSV for people at spreadsheets: one running axis, a column for each curve.
//!
//! The axes of all curves must agree number by number; otherwise nothing is written, unless the union of them is asked
//! for, in which a curve has empty cells where it was not measured. Nothing is interpolated.

use std::collections::BTreeMap;
use std::io::Write;

use curvary_record::{Code, Column, Diagnostic, Trace, write_decimal};

use super::csv::{push_text, run_name};
use super::export::{ExportError, ExportPart, ExportedRun, Exporter, Files, FormatRoom};
use super::table_schema::{ColumnType, TableField, TableSchema};

/// One column of the table.
struct WideColumn {
    head: String,
    about: String,
    /// The axis; the same as that of the first curve where there is none.
    x: Option<Column>,
    y: Column,
}

/// So many curves have a column: a spreadsheet takes 16,384 columns, and the first is the axis.
const MOST_CURVES: usize = 16_383;
/// So many numbers are held at most, in 8 to 21 bytes each.
const MOST_NUMBERS: usize = 50_000_000;

/// The exporter. It holds the numbers of all curves, since a row has one of each, and therefore takes no more than
/// 16,383 curves and 50 million numbers: more are refused before anything is written.
#[derive(Default)]
pub struct Wide {
    union: bool,
    byte_order_mark: bool,
    curves: Vec<WideColumn>,
    /// Numbers of all curves that were seen, held or not.
    numbers: usize,
    /// Curves that were seen, held or not.
    seen: usize,
}

impl Wide {
    /// A wide table; with `union` the axes need not agree.
    #[must_use]
    pub fn new(union: bool, byte_order_mark: bool) -> Self {
        Self {
            union,
            byte_order_mark,
            ..Self::default()
        }
    }

    /// Why the curves cannot stand side by side; `union` says whether a row for every x that was met would help.
    fn refused(message: String, union: bool) -> ExportError {
        ExportError::Refused(Box::new(Diagnostic::error(Code::new("axes-differ"), message).help(if union {
            "take runs of one kind, or `--union` for a row for every x that was met, or `--to csv`, which needs no common axis"
        } else {
            "take runs over one x quantity in one unit, or `--to csv`, which needs no common axis"
        })))
    }

    /// The axis of a curve.
    fn axis<'c>(&'c self, curve: &'c WideColumn) -> Option<&'c Column> {
        curve.x.as_ref().or(self.curves.first()?.x.as_ref())
    }

    fn too_many(&self) -> Option<ExportError> {
        let message = if self.seen > MOST_CURVES {
            format!(
                "there are {} curves, and a spreadsheet has room for {MOST_CURVES} beside the axis",
                self.seen
            )
        } else if self.numbers > MOST_NUMBERS {
            format!(
                "there are {} numbers, and a table with a column for each curve is made of at most {MOST_NUMBERS}",
                self.numbers
            )
        } else {
            return None;
        };
        let why = Diagnostic::error(Code::new("too-many-curves"), message);
        Some(ExportError::Refused(Box::new(why.help(
            "narrow the query, or use `--to csv`, `--to tables` or `--to parquet`, which take any number",
        ))))
    }

    /// Whether all curves run over the same numbers; refuses axes of different quantities or units.
    fn agree(&self) -> Result<bool, ExportError> {
        let (Some(first), Some(axis)) = (
            self.curves.first(),
            self.curves.first().and_then(|c| c.x.as_ref()),
        ) else {
            return Ok(true);
        };
        let others = || {
            self.curves
                .iter()
                .filter_map(|curve| Some((curve, curve.x.as_ref()?)))
        };
        let told = |axis: &Column| format!("{} in `{}`", axis.quantity, axis.unit);
        if let Some((other, x)) = others().find(|(_, x)| x.quantity != axis.quantity || x.unit != axis.unit) {
            return Err(Self::refused(
                format!(
                    "the curves do not run over one axis: `{}` runs over {}, `{}` over {}",
                    first.head,
                    told(axis),
                    other.head,
                    told(x)
                ),
                false,
            ));
        }
        match others().nth(1) {
            None => Ok(true),
            Some(_) if self.union => {
                let twice = others().find(|(_, x)| {
                    let mut seen: Vec<u64> = x.values.iter().map(|x| (x + 0.0).to_bits()).collect();
                    seen.sort_unstable();
                    seen.windows(2).any(|pair| pair[0] == pair[1])
                });
                match twice {
                    None => Ok(false),
                    Some((curve, _)) => Err(Self::refused(
                        format!(
                            "`{}` was measured twice at one x, which has one cell in a row",
                            curve.head
                        ),
                        false,
                    )),
                }
            }
            Some((other, x)) => Err(Self::refused(
                format!(
                    "the axes do not agree: `{}` has {} points, `{}` has {}, and not all of the same x",
                    first.head,
                    axis.values.len(),
                    other.head,
                    x.values.len()
                ),
                true,
            )),
        }
    }

    /// Gives the rows one after another: x as it was written, and for each curve its number there.
    fn each_row(
        &self,
        agree: bool,
        mut take: impl FnMut(&str, &mut dyn Iterator<Item = Option<String>>) -> Result<(), ExportError>,
    ) -> Result<(), ExportError> {
        let Some(axis) = self.curves.first().and_then(|first| first.x.as_ref()) else {
            return Ok(());
        };
        if agree {
            let mut columns: Vec<_> = self.curves.iter().map(|curve| curve.y.texts()).collect();
            for x in axis.texts() {
                take(&x, &mut columns.iter_mut().map(Iterator::next))?;
            }
            return Ok(());
        }
        let mut rows: BTreeMap<OrderedNumber, String> = BTreeMap::new();
        for x in self.curves.iter().filter_map(|curve| curve.x.as_ref()) {
            for (&value, text) in x.values.iter().zip(x.texts()) {
                rows.entry(OrderedNumber(value + 0.0)).or_insert(text);
            }
        }
        let falling = axis.values.first() > axis.values.last();
        let in_order = |one: f64, other: f64| {
            let rising = one.total_cmp(&other);
            if falling { rising.reverse() } else { rising }
        };
        let mut columns: Vec<CurveCursor<'_>> = self
            .curves
            .iter()
            .filter_map(|curve| {
                let x = self.axis(curve)?;
                let mut order: Vec<u32> = (0..u32::try_from(x.values.len()).ok()?).collect();
                order.sort_by(|&one, &other| in_order(x.values[one as usize], x.values[other as usize]));
                Some(CurveCursor {
                    x,
                    y: &curve.y,
                    order,
                    decimals: curve.y.decimals.iter().collect(),
                    next: 0,
                })
            })
            .collect();
        let mut row =
            |value: f64, text: &str| take(text, &mut columns.iter_mut().map(|cursor| cursor.take(value)));
        if falling {
            rows.iter().rev().try_for_each(|(x, text)| row(x.0, text))
        } else {
            rows.iter().try_for_each(|(x, text)| row(x.0, text))
        }
    }
}

/// The points of a curve in the order of the rows, and which of them comes next.
struct CurveCursor<'a> {
    x: &'a Column,
    y: &'a Column,
    order: Vec<u32>,
    decimals: Vec<u8>,
    next: usize,
}

impl CurveCursor<'_> {
    /// The reading at this `x`, where the next point stands there.
    fn take(&mut self, x: f64) -> Option<String> {
        let at = *self.order.get(self.next)? as usize;
        if self.x.values[at] + 0.0 != x {
            return None;
        }
        self.next += 1;
        Some(write_decimal(self.y.values[at], self.decimals.get(at).copied()))
    }
}

/// Numbers of a column, which are never NaN, in their order.
#[derive(Clone, Copy, PartialEq)]
struct OrderedNumber(f64);

impl Eq for OrderedNumber {}

impl PartialOrd for OrderedNumber {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for OrderedNumber {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        self.0.total_cmp(&other.0)
    }
}

/// `absorbance, betanin, 405 nm (bafd90fc9920124c/1)`: what a person looks for first, and a name that no other has.
fn head(subject: &ExportedRun<'_>, number: u32, trace: &Trace) -> String {
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
    format!(
        "{} ({}/{})",
        parts.join(", "),
        run_name(&subject.run.id),
        number + 1
    )
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
    fn room(&self) -> FormatRoom {
        FormatRoom::default()
    }

    fn see(&mut self, subject: &ExportedRun<'_>) {
        for (index, trace) in subject
            .run
            .traces
            .iter()
            .enumerate()
            .filter(|(_, trace)| !trace.is_empty())
        {
            self.seen += 1;
            self.numbers += trace.len();
            if self.seen > MOST_CURVES || self.numbers > MOST_NUMBERS {
                // It will be refused: nothing more is held.
                self.curves.truncate(1);
                continue;
            }
            let shared = self
                .curves
                .first()
                .and_then(|first| first.x.as_ref())
                .is_some_and(|x| {
                    x.quantity == trace.x.quantity
                        && x.unit == trace.x.unit
                        && x.values.as_ref() == trace.x.values.as_ref()
                });
            let number = subject.run.trace_number(index);
            self.curves.push(WideColumn {
                head: head(subject, number, trace),
                about: format!(
                    "Run {}, curve {}, from {}.",
                    subject.run.id,
                    number + 1,
                    subject.run.source.path
                ),
                x: (!shared).then(|| trace.x.clone()),
                y: trace.y.clone(),
            });
        }
    }

    fn begin(&mut self, files: &mut dyn Files) -> Result<(), ExportError> {
        if let Some(why) = self.too_many() {
            return Err(why);
        }
        let agree = self.agree()?;
        let field = |name: String, about: String, unit: &Column| TableField {
            name,
            kind: ColumnType::Number,
            title: None,
            description: about,
            unit: Some(unit.unit.code().to_owned()),
        };
        let Some(axis) = self.curves.first().and_then(|first| first.x.as_ref()) else {
            return Ok(());
        };
        let mut fields = vec![field(with_unit(axis), "The x axis.".to_owned(), axis)];
        fields.extend(
            self.curves
                .iter()
                .map(|curve| field(curve.head.clone(), curve.about.clone(), &curve.y)),
        );
        let mut out = files.create(ExportPart::Main)?;
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
        let mut schema = files.create(ExportPart::Schema)?;
        schema.write_all(TableSchema::new(fields).to_json().as_bytes())?;
        schema.flush()?;
        line.extend_from_slice(b"\r\n");
        self.each_row(agree, |x, row| {
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
            Ok(())
        })?;
        out.write_all(&line)?;
        out.flush()?;
        Ok(())
    }

    fn write(&mut self, _subject: &ExportedRun<'_>) -> Result<(), ExportError> {
        Ok(())
    }

    fn finish(&mut self, _files: &mut dyn Files) -> Result<Vec<Diagnostic>, ExportError> {
        Ok(Vec::new())
    }
}

#[cfg(test)]
mod tests {
    use curvary_record::{Digest, Fields, Quantity, Run, RunId, SourceRef, Technique, Unit};

    use super::*;

    /// A run of as many curves.
    fn run(curves: usize) -> Run {
        let digest = Digest::of(b"");
        let column = |quantity, unit| Column::new(quantity, unit, vec![1.0]);
        let trace = || {
            Trace::new(
                column(Quantity::TIME, Unit::SECOND),
                column(Quantity::ABSORBANCE, Unit::ABSORBANCE),
            )
            .expect("one length")
        };
        Run {
            id: RunId::new(&digest, 0),
            source: SourceRef {
                path: "a.txt".into(),
                digest,
                reader: "r".into(),
                reader_version: "1".into(),
                encoding: None,
                ordinal: 0,
                lines: None,
            },
            technique: Technique::TIME_COURSE,
            because: Vec::new(),
            fields: Fields::default(),
            traces: (0..curves).map(|_| trace()).collect(),
            questions: Vec::new(),
            remarks: Vec::new(),
        }
    }

    /// What is refused is not held either.
    #[test]
    fn more_curves_than_a_spreadsheet_has_columns_are_refused() {
        let mut wide = Wide::new(false, false);
        let run = run(MOST_CURVES);
        let subject = ExportedRun {
            run: &run,
            results: &[],
            whole: None,
        };
        wide.see(&subject);
        assert!(wide.too_many().is_none());
        assert_eq!(wide.curves.iter().filter(|curve| curve.x.is_some()).count(), 1);
        wide.see(&subject);
        assert!(
            matches!(wide.too_many(), Some(ExportError::Refused(why)) if why.message.contains("32766 curves"))
        );
        assert!(wide.curves.len() <= 1);
    }
}
