//! The heads of a table, and what each of them says of the column below it.

use curvary_record::{Coordinate, Quantity, Span};

use super::super::grid::Grid;
use super::super::scan::{HeadRow, ScannedTable};
use super::super::segments::{RowClass, is_dash};
use super::coordinates::{CoordinateCell, PartedCoordinates};
use super::forms::NumberedNames;
use super::headers::{KeyedCell, beside_heads, condition_over, spread_groups, understand_heads};
use super::units::{bare_unit, hear_other};
use super::{Column, leave_doubtful};
use crate::column_header::read_column_header;

/// The heads of a table, with the cells that stand over several columns over each of them.
pub(super) struct TableHeads<'a> {
    text: &'a str,
    grid: &'a Grid,
    heads: &'a [HeadRow],
    rows: Vec<Vec<Option<Span>>>,
    /// What stands lowest over the first column says what runs; what stands above it may be a condition of each curve.
    lowest: Option<String>,
    parted: Option<PartedCoordinates>,
    /// The names in each row that alone would be numbers with their units.
    names: Vec<NumberedNames>,
}

impl<'a> TableHeads<'a> {
    pub(super) fn of(text: &'a str, table: &'a ScannedTable) -> Self {
        let rows = spread_groups(text, table);
        let lowest = rows
            .iter()
            .rev()
            .find_map(|row| row.first().copied().flatten())
            .map(|span| text[span.range()].trim().to_owned());
        let cells_of = |row: &Vec<Option<Span>>| {
            let cells = row.iter().flatten().map(|span| &text[span.range()]);
            NumberedNames::of(cells)
        };
        Self {
            text,
            grid: &table.grid,
            heads: &table.heads,
            lowest,
            parted: PartedCoordinates::of(text, table, &rows),
            names: rows.iter().map(cells_of).collect(),
            rows,
        }
    }

    /// Whether a head is a name among others of its row.
    fn is_name(&self, head: &str) -> bool {
        self.names.iter().any(|names| names.has(head))
    }

    /// What the cell of a row of heads over a column is beside coordinates that stand in two rows.
    fn coordinate(&self, level: usize, index: usize) -> CoordinateCell<'_> {
        self.parted
            .as_ref()
            .map_or(CoordinateCell::Other, |parted| parted.takes(level, index))
    }

    /// Gives a column its heads, and takes what they say.
    pub(super) fn describe(&self, column: &mut Column) {
        let conditions = self.give_heads(column);
        understand_heads(column, |head| self.is_name(head));
        for one in conditions {
            column
                .held
                .retain(|other| other.quantity != Quantity::UNKNOWN && other.quantity != one.quantity);
            column.held.push(one);
        }
        leave_doubtful(column, self.grid.dialect.style);
        if !column.heads.last().is_some_and(|(head, _)| self.is_name(head)) {
            hear_other(column);
        }
        self.take_keyed(column);
    }

    /// Gives a column the heads over it; what is returned are conditions under which its curve was taken.
    fn give_heads(&self, column: &mut Column) -> Vec<Coordinate> {
        let (text, index) = (self.text, column.index);
        let mut conditions: Vec<Coordinate> = Vec::new();
        for (level, (row, head)) in self.rows.iter().zip(self.heads).enumerate() {
            let Some(span) = row[index] else { continue };
            let cell = &text[span.range()];
            match self.coordinate(level, index) {
                CoordinateCell::Other => {}
                CoordinateCell::Corner => {
                    column.heads.push((bare_unit(cell).to_owned(), span));
                    continue;
                }
                CoordinateCell::Number(said) => {
                    column.heads.push((said.to_owned(), span));
                    continue;
                }
                CoordinateCell::Unit => continue,
            }
            match head.class {
                RowClass::Units if is_dash(cell) => {}
                RowClass::Header | RowClass::Units | RowClass::Title => {
                    // `[s]` in a row of units is the second; alone it would be a concentration, [S].
                    let cell = if head.class == RowClass::Units {
                        bare_unit(cell)
                    } else {
                        cell
                    };
                    // A quote within quotes is doubled (RFC 4180, 2).
                    column.heads.push((cell.replace("\"\"", "\""), span));
                    conditions.extend(row[0].filter(|_| index > 0).and_then(|key| {
                        condition_over(&text[key.range()], cell, self.lowest.as_deref(), self.grid)
                    }));
                }
                RowClass::Condition | RowClass::Samples | RowClass::Names | RowClass::Summary => {}
            }
        }
        if index == 0 {
            column.heads.extend(self.unit_beside_conditions(column));
        }
        conditions
    }

    /// The unit of what runs, where it stands in front of a condition of each curve: `min` before `1 cm`, `1 cm`.
    fn unit_beside_conditions(&self, column: &Column) -> Option<(String, Span)> {
        let (name, _) = column.heads.last()?;
        let alone = read_column_header(name);
        let rows = self.rows.iter().zip(self.heads);
        let conditions = rows.filter(|(_, head)| head.class == RowClass::Condition);
        conditions.filter_map(|(row, _)| row[0]).find_map(|span| {
            let unit = bare_unit(&self.text[span.range()]);
            let with_unit = read_column_header(&format!("{name} ({unit})"));
            let is_its_unit = alone.unit.is_none()
                && alone.quantity.is_some()
                && with_unit.quantity == alone.quantity
                && with_unit.unit.is_some();
            is_its_unit.then(|| (unit.to_owned(), span))
        })
    }

    /// Takes what rows of samples, names and conditions say of a column behind the first, under the key in front of them.
    fn take_keyed(&self, column: &mut Column) {
        let index = column.index;
        for (level, (row, head)) in self.rows.iter().zip(self.heads).enumerate() {
            if let (Some(span), 1..) = (row[index], index)
                && self.coordinate(level, index) == CoordinateCell::Other
            {
                let key = row[0].map_or("", |key| self.text[key.range()].trim());
                let of_key = KeyedCell {
                    key,
                    text: self.text[span.range()].trim(),
                    span,
                    line: head.line.line,
                };
                beside_heads(column, head.class, &of_key, self.grid);
            }
        }
    }
}
