//! Grids made of whole columns: rows of a table that lies on its side.

use super::*;

/// A column of a grid, with its cells from top to bottom.
#[derive(Clone, Debug)]
pub(in crate::readers::text_table) enum UprightColumn {
    Figures {
        /// NaN where there is no number.
        values: Vec<f64>,
        /// How many digits stand behind the decimal sign of each.
        decimals: Vec<u8>,
        /// The rows without a number, why, and where.
        gaps: Vec<(usize, MissingCell, Span)>,
        /// The unit that stands behind every number.
        unit: Option<String>,
    },
    Words(Vec<Span>),
}

impl Grid {
    /// A grid of these columns, each with the line on which all of it stands. What is told of a row is told of the line `line`.
    pub(in crate::readers::text_table) fn of_columns(
        dialect: Dialect,
        columns: Vec<(u32, UprightColumn)>,
        line: u32,
    ) -> Self {
        let kinds = columns.iter().map(|(_, column)| match column {
            UprightColumn::Figures { .. } => ColumnKind::Figures,
            UprightColumn::Words(_) => ColumnKind::Words,
        });
        let mut grid = Self::new(dialect, kinds.collect());
        for ((line, column), index) in columns.into_iter().zip(0_u32..) {
            let place = grid.place[index as usize];
            grid.lines_across.push(line);
            match column {
                UprightColumn::Words(spans) => {
                    grid.rows = spans.len();
                    grid.words[place] = spans;
                }
                UprightColumn::Figures {
                    values,
                    decimals,
                    gaps,
                    unit,
                } => {
                    grid.rows = values.len();
                    let numbers = values.iter().filter(|value| !value.is_nan()).count();
                    grid.united[index as usize] = u32::try_from(numbers).unwrap_or(u32::MAX);
                    grid.units[index as usize] = unit;
                    let told = |gap: (usize, MissingCell, Span)| Gap {
                        row: u32::try_from(gap.0).unwrap_or(u32::MAX),
                        column: index,
                        lack: gap.1,
                        span: gap.2,
                    };
                    grid.gaps.extend(gaps.into_iter().map(told));
                    for ((row, value), decimals) in (0_u32..).zip(&values).zip(decimals) {
                        if !value.is_nan() && grid.current[place] != decimals {
                            grid.current[place] = decimals;
                            grid.changes
                                .push((row, u32::try_from(place).unwrap_or(u32::MAX), decimals));
                        }
                    }
                    grid.figures[place] = values.into();
                }
            }
        }
        grid.gaps.sort_by_key(|gap| (gap.row, gap.column));
        grid.lines = (0..u32::try_from(grid.rows).unwrap_or(u32::MAX))
            .map(|row| (row, line))
            .collect();
        grid
    }

    /// The line on which all of a column stands, where the table lies on its side.
    pub(in crate::readers::text_table) fn line_of_column(&self, column: usize) -> Option<usize> {
        self.lines_across.get(column).map(|&line| line as usize)
    }

    /// The figures of a row in these columns as a column of their own.
    pub(in crate::readers::text_table) fn upright(
        &self,
        row: usize,
        columns: std::ops::Range<usize>,
    ) -> UprightColumn {
        let changes = self.decimals();
        let decimals_at = |column: usize| {
            let changes = &changes[self.place(column)];
            let before = changes.partition_point(|&(from, _)| from as usize <= row);
            before.checked_sub(1).map_or(0, |last| changes[last].1)
        };
        let gap = |column: usize| self.gaps_of(column).iter().find(|gap| gap.row as usize == row);
        UprightColumn::Figures {
            values: columns.clone().map(|column| self.figure(row, column)).collect(),
            decimals: columns.clone().map(decimals_at).collect(),
            gaps: columns
                .clone()
                .filter_map(|column| gap(column).map(|gap| (column - columns.start, gap.lack, gap.span)))
                .collect(),
            unit: None,
        }
    }
}
