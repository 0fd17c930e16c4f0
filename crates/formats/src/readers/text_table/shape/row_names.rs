//! The names of the rows of a table, put together only where they are asked for: a long table has a million of them.

use std::borrow::Cow;

use curvary_record::Span;

/// What stands in the columns that name the rows, row by row.
pub(super) struct RowNames<'a> {
    text: &'a str,
    columns: Vec<&'a [Span]>,
    rows: usize,
}

impl<'a> RowNames<'a> {
    /// The names in such columns of a table of so many rows; `None` where nothing names a row.
    pub(super) fn of(text: &'a str, columns: Vec<&'a [Span]>, rows: usize) -> Option<Self> {
        if columns.is_empty() {
            return None;
        }
        let names = Self { text, columns, rows };
        let any = names.iter().any(|name| !name.is_empty());
        any.then_some(names)
    }

    pub(super) fn len(&self) -> usize {
        self.rows
    }

    /// The name of a row; several parts are joined by strokes.
    pub(super) fn get(&self, row: usize) -> Cow<'a, str> {
        // `&` and `\\\\` between the cells of a typeset table name nothing.
        let part = |spans: &&'a [Span]| {
            let part = self.text[spans.get(row)?.range()].trim();
            part.contains(char::is_alphanumeric).then_some(part)
        };
        let mut parts = self.columns.iter().filter_map(part);
        let first = parts.next().unwrap_or("");
        parts.fold(Cow::Borrowed(first), |name, part| {
            Cow::Owned(format!("{name} / {part}"))
        })
    }

    pub(super) fn iter(&self) -> impl Iterator<Item = Cow<'a, str>> {
        (0..self.rows).map(|row| self.get(row))
    }

    pub(super) fn to_vec(&self) -> Vec<String> {
        self.iter().map(Cow::into_owned).collect()
    }
}
