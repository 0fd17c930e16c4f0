//! The next page of a table that paper has cut, read on where it is written as plainly as the pages before it.

use super::super::number::Style;
use super::*;

/// A page with fewer rows is read the ordinary way: its few numbers may have to be weighed.
const FEWEST: usize = 16;

impl Grid {
    /// Whether the numbers of further pages can be read plainly: all columns are of figures without gaps, each with the
    /// same decimals throughout, all but the first with some, and separated by no sign that numbers may have.
    pub(in crate::readers::text_table) fn may_go_on_plainly(&self) -> bool {
        self.rows >= FEWEST
            && self.columns() >= 2
            && self.dialect.pieces.is_none()
            && self.dialect.style == Style::POINT
            && matches!(
                self.dialect.sep,
                Delimiter::Tab | Delimiter::Semicolon | Delimiter::Blank
            )
            && self.kinds.iter().all(|kind| *kind == ColumnKind::Figures)
            && self.gaps.is_empty()
            && self.odd.is_empty()
            && self.notes.is_empty()
            && self.units.iter().all(Option::is_none)
            && self.changes.len() == self.figures.len()
            && self
                .current
                .iter()
                .skip(1)
                .all(|&decimals| decimals > 0 && decimals != u8::MAX)
            && self.fresh.is_empty()
    }

    /// Reads the rows of a page that begins at `from` behind those that are there, and gives where the text goes on. The
    /// page is left alone, and nothing given, where anything in it has to be weighed: its numbers have other decimals,
    /// its first column does not go on in about the step of the page before, or not in that very step where it has to be
    /// `in_step`, its end is none by `ends_at`.
    pub(in crate::readers::text_table) fn read_page(
        &mut self,
        text: &str,
        from: Cursor,
        in_step: bool,
        ends_at: impl Fn(usize) -> bool,
    ) -> Option<Cursor> {
        let bytes = text.as_bytes();
        let (rows, changes) = (self.rows, self.changes.len());
        let current = self.current.clone();
        let mut cursor = from;
        let mut good = true;
        while good && cursor.at < bytes.len() {
            let Some(next) = self.quick_row(bytes, cursor.at) else {
                break;
            };
            self.rows += 1;
            cursor = Cursor {
                at: next,
                line: cursor.line + 1,
            };
            let row = bytes[..next].strip_suffix(b"\n").unwrap_or_default();
            let row = row.strip_suffix(b"\r").unwrap_or(row);
            good = row.last().is_some_and(u8::is_ascii_digit)
                && self.changes.len() == changes
                && self.fresh.len() < FRESH;
        }
        let page = &bytes[from.at..cursor.at];
        let (before, last) = (self.settled(rows - 2, 0), self.settled(rows - 1, 0));
        let steps = self
            .fresh
            .first()
            .map_or(0.0, |new| (new - last) / (last - before));
        if good
            && self.rows - rows >= FEWEST
            && steps > 0.0
            && steps <= 5.0
            && (!in_step || (steps - 1.0).abs() < 0.02)
            && (self.dialect.sep == Delimiter::Tab || memchr::memchr(b'\t', page).is_none())
            && ends_at(cursor.at)
        {
            let first = u32::try_from(rows).unwrap_or(u32::MAX);
            let goes_on = |&(row, line): &(u32, u32)| line + (first - row) == from.line;
            if !self.lines.last().is_some_and(goes_on) {
                self.lines.push((first, from.line));
            }
            self.settle();
            return Some(cursor);
        }
        self.fresh.clear();
        self.rows = rows;
        self.changes.truncate(changes);
        self.current = current;
        None
    }

    /// A number that has been put into its column.
    fn settled(&self, row: usize, place: usize) -> f64 {
        let figures = self.figures.get(place).and_then(|figures| figures.get(row));
        figures.copied().unwrap_or(f64::NAN)
    }
}
