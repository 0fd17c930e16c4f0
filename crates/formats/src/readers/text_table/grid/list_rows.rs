//! Rows of lists, names with numbers behind them: empty ones between them, those without a reading, and what ends them.

use super::super::scan::leading_number;
use super::super::transposed::begins_block;
use super::*;

impl Grid {
    /// Whether a line behind an empty one is none of a list of names above it, though it has their cells: a key with its colon,
    /// `Room: 3`, where no name has one, or the number of a page, `1 / 1`; or another block of a table on its side.
    pub(in crate::readers::text_table) fn ends_before(&self, text: &str, line: &str) -> bool {
        const LOOK: usize = 64;
        if self.ends_before_block(text, line) {
            return true;
        }
        let in_blanks = self.dialect.sep.byte().is_none() && self.dialect.sep != Delimiter::CommaBlank;
        if !in_blanks || self.kinds.first() != Some(&ColumnKind::Words) || self.rows == 0 {
            return false;
        }
        let ends = |name: &str| name.trim_end().ends_with(':');
        let name = split(line, &self.dialect).into_iter().next();
        let key = name.is_some_and(|range| ends(&line[range]));
        let mut before = self.words(0).iter().take(LOOK).map(|span| &text[span.range()]);
        key && !before.any(ends) || super::super::join::is_furniture(line, &std::collections::BTreeSet::new())
    }

    /// Whether a line begins another block of a table on its side.
    pub(super) fn ends_before_block(&self, text: &str, line: &str) -> bool {
        /// A table of more rows is none on its side.
        const MOST_ROWS: usize = 64;
        self.kinds.first() == Some(&ColumnKind::Words)
            && (1..=MOST_ROWS).contains(&self.rows)
            && self.columns() >= 3
            && begins_block(text, crate::slice::offset_in(text, line))
    }

    /// Whether a line that is no row is the header of another table, of fewer columns or more: `nm;Abs` below a row of conditions.
    pub(super) fn is_other_header(&self, line: &str) -> bool {
        /// A single word may stand between the rows.
        const FEWEST: usize = 2;
        if self.dialect.sep.byte().is_none() {
            return false;
        }
        let cells = split(line, &self.dialect);
        if cells.len() < FEWEST || cells.len() == self.columns() {
            return false;
        }
        let heads: Vec<_> = cells
            .into_iter()
            .map(|range| crate::column_header::read_column_header(line[range].trim()))
            .collect();
        super::super::segments::is_axis(&heads[0]) && heads[1..].iter().all(|head| head.is_of_light())
    }

    /// Whether a line holds nothing but the separators of a row of names and numbers.
    pub(super) fn is_empty_row(&self, line: &str) -> bool {
        /// One row above it may be a key and its value.
        const FEWEST: usize = 2;
        let Some(sep) = self.dialect.sep.byte().map(char::from) else {
            return false;
        };
        self.kinds.first() == Some(&ColumnKind::Words)
            && self.rows >= FEWEST
            && line.contains(sep)
            && line.chars().all(|c| c == sep || c == '"' || c.is_whitespace())
    }

    /// Whether a line is a row of a list of names and numbers in which nothing stands behind the name.
    pub(super) fn is_name_alone(&self, line: &str) -> bool {
        let cells = split(line, &self.dialect);
        let Some((name, others)) = cells.split_first() else {
            return false;
        };
        let name = line[name.clone()].trim();
        self.dialect.sep.byte().is_some()
            && self.rows > 0
            && !self.amid
            && cells.len() == self.columns()
            && self.kinds[0] == ColumnKind::Words
            && self.kinds[1..].iter().all(|kind| *kind == ColumnKind::Figures)
            && name.contains(char::is_alphanumeric)
            && !name.ends_with(':')
            && others.iter().all(|range| line[range.clone()].trim().is_empty())
            && !crate::preamble::is_known(name)
            && !crate::words::is_statistics(name)
            && {
                // `Wavelength (nm);;` below conditions is the header of what follows.
                let head = crate::column_header::read_column_header(name);
                head.quantity.is_none() && head.unit.is_none() && head.held.is_empty()
            }
    }

    /// Reads such a row: its readings are absent.
    pub(super) fn name_without_reading(&mut self, line: &str, cursor: Cursor) {
        let cells = split(line, &self.dialect);
        let row = u32::try_from(self.rows).unwrap_or(u32::MAX);
        for (column, range) in (0_u32..).zip(cells) {
            let span = Span::new(cursor.at + range.start, cursor.at + range.end);
            if column == 0 {
                self.words[0].push(span);
                continue;
            }
            self.fresh.push(f64::NAN);
            self.gaps.push(Gap {
                row,
                column,
                lack: MissingCell::Empty,
                span,
            });
        }
        self.rows += 1;
    }

    /// Whether a row behind an empty one is written as those of the list above: with a name of their form, and numbers with as many
    /// decimals. An empty row is the sign of an end rather than of none: `Limit;0.02` behind it may be a key with its value, and
    /// only a person can tell.
    pub(super) fn is_written_alike(&self, text: &str, row: &str) -> bool {
        let cells = split(row, &self.dialect);
        let alike = |(column, range): (usize, &std::ops::Range<usize>)| {
            let place = self
                .place
                .get(column)
                .and_then(|place| u32::try_from(*place).ok());
            match cell(&row[range.clone()], self.dialect.style) {
                Cell::Number { decimals, .. } => self
                    .changes
                    .iter()
                    .any(|&(_, at, own)| Some(at) == place && own == decimals),
                _ => true,
            }
        };
        let mut numbers = cells
            .iter()
            .enumerate()
            .filter(|(column, _)| self.kinds.get(*column) == Some(&ColumnKind::Figures));
        let name = cells.first().map_or("", |range| &row[range.clone()]);
        self.is_named_alike(text, name) && numbers.all(alike)
    }

    /// The first row behind an empty one that is written otherwise than those above it, as bytes of the text.
    pub(in crate::readers::text_table) fn row_behind_empty(
        &self,
        text: &str,
    ) -> Option<std::ops::Range<usize>> {
        let name = self.words(0).get(self.behind_empty? as usize)?.range();
        let from = text[..name.start].rfind(['\n', '\r']).map_or(0, |end| end + 1);
        Some(from..line_end(text.as_bytes(), name.start).0)
    }

    /// Whether the names of all rows behind an empty one are words of statistics: `slope`, `intercept`, `R2`.
    pub(in crate::readers::text_table) fn all_sum_up_behind_empty(&self, text: &str) -> bool {
        let behind = self
            .behind_empty
            .and_then(|row| self.words(0).get(row as usize..));
        behind.is_some_and(|names| {
            names
                .iter()
                .all(|name| crate::words::is_statistics(text[name.range()].trim()))
        })
    }

    /// Whether a name is of the form of one of the first names of the list, words for words and figures for figures.
    pub(super) fn is_named_alike(&self, text: &str, name: &str) -> bool {
        const LOOK: usize = 64;
        let mut before = self.words(0).iter().take(LOOK);
        before.any(|span| same_outline(&text[span.range()], name))
    }

    /// Whether a row behind another is of the list above: its name stands in front of none of those rows, as it would in another
    /// block, and is no key that is known.
    pub(super) fn goes_on_list(&self, text: &str, row: &str) -> bool {
        const LOOK: usize = 64;
        let cells = split(row, &self.dialect);
        // `Sample;0 h;2 h` is the header of what follows.
        let united = |(column, range): (usize, &std::ops::Range<usize>)| {
            let apart = self.units.get(column).is_none_or(Option::is_none);
            apart
                && matches!(
                    cell(&row[range.clone()], self.dialect.style),
                    Cell::WithUnit { .. }
                )
        };
        if cells.iter().enumerate().skip(1).any(united) {
            return false;
        }
        let name = cells.first().map_or("", |range| row[range.clone()].trim());
        let mut before = self
            .words(0)
            .iter()
            .take(LOOK)
            .map(|span| text[span.range()].trim());
        // Numbers behind names begin another table.
        let numbered = |name: &str| leading_number(name).is_some();
        let alike = numbered(name) == before.clone().any(numbered);
        alike && !before.any(|other| other == name) && !crate::preamble::is_known(name)
    }
}

/// Whether cells that end in front of a column of remarks may be the first row, and are no wavelengths over the rows below.
pub(super) fn may_be_first(line: &str, cells: &[Option<std::ops::Range<usize>>]) -> bool {
    let is_wavelength = |range: &std::ops::Range<usize>| {
        let number = line[range.clone()].trim().parse::<f64>();
        number.is_ok_and(|number| crate::light::IN_PASSING.contains(&number))
    };
    cells.len() >= 2 && !cells.iter().flatten().all(is_wavelength)
}
