//! Rows into a grid, one line after another: a quick way for plain numbers, a careful way (`careful_rows`) for all others.

use super::super::scan::{is_prompt, leading_number, strip_remark};
use super::*;

/// What became of a line.
pub(super) enum LineOutcome {
    Yes,
    /// Numbers, but not as many as the table has columns.
    Odd(usize),
    /// A mean or sum of rows above it.
    Summary,
    /// No row of this table.
    No,
}

/// A line where rows are read.
struct RowLine<'t> {
    text: &'t str,
    /// The line without its end.
    line: &'t str,
    cursor: Cursor,
    /// Where the next line begins.
    behind: Cursor,
    /// Beyond this byte no rows are read.
    end: usize,
}

impl<'t> RowLine<'t> {
    fn at(text: &'t str, cursor: Cursor, end: usize) -> Self {
        let (stop, next) = line_end(&text.as_bytes()[..end], cursor.at);
        Self {
            text,
            line: &text[cursor.at..stop],
            cursor,
            behind: Cursor {
                at: next,
                line: cursor.line + 1,
            },
            end,
        }
    }

    fn is_blank(&self) -> bool {
        self.line.trim_matches(is_blank).is_empty()
    }

    /// Where the first line begins that is not blank, behind one that is.
    fn behind_blanks(&self) -> Cursor {
        let mut cursor = self.behind;
        while cursor.at < self.end {
            let next = Self::at(self.text, cursor, self.end);
            if !next.is_blank() {
                break;
            }
            cursor = next.behind;
        }
        cursor
    }

    /// The line as one that is left out of the table, with so many cells.
    fn odd(&self, cells: Option<u32>) -> OddRow {
        OddRow {
            line: self.cursor.line,
            span: Span::new(self.cursor.at, self.cursor.at + self.line.len()),
            cells,
        }
    }
}

impl Grid {
    /// Reads rows from `from` on, as far as they fit, but not beyond byte `end`. Returns where the next line begins.
    pub(super) fn read_here(&mut self, text: &str, from: Cursor, end: usize) -> Cursor {
        let bytes = &text.as_bytes()[..end];
        let mut cursor = from;
        let plain = self.dialect.pieces.is_none() && self.dialect.sep != Delimiter::CommaBlank;
        #[cfg(test)]
        let plain = plain && !self.careful;
        let quick = plain && self.kinds.iter().all(|kind| *kind == ColumnKind::Figures);
        let parted = self
            .dialect
            .sep
            .byte()
            .filter(|_| plain && self.dialect.sep != Delimiter::Pipe);
        // Where rows were read before, the next one may stand in the line behind them.
        let mut expected_line = self.lines.last().map_or(u32::MAX, |&(first, line)| {
            let rows = u32::try_from(self.rows).unwrap_or(u32::MAX);
            line.saturating_add(rows.saturating_sub(first))
        });
        while cursor.at < end {
            if self.fresh.len() >= FRESH && !self.amid {
                if self.rows * self.figures.len() > MAX_CELLS {
                    break;
                }
                self.settle();
            }
            if cursor.line != expected_line {
                self.lines
                    .push((u32::try_from(self.rows).unwrap_or(u32::MAX), cursor.line));
            }
            let plain_row = if quick {
                self.quick_row(bytes, cursor.at)
            } else {
                None
            };
            let next = plain_row.or_else(|| self.parted_row(bytes, cursor.at, parted?));
            if let Some(at) = next {
                self.rows += 1;
                expected_line = cursor.line + 1;
                cursor = Cursor {
                    at,
                    line: cursor.line + 1,
                };
                continue;
            }
            if cursor.line != expected_line {
                self.lines.pop();
            }
            let line = RowLine::at(text, cursor, end);
            match self.read_line(&line, &mut expected_line) {
                Some(next) => cursor = next,
                None => break,
            }
        }
        cursor
    }

    /// Reads a line that is no plain row, and returns where to go on; `None` where the table ends in front of it.
    fn read_line(&mut self, at: &RowLine, expected_line: &mut u32) -> Option<Cursor> {
        if at.is_blank() {
            let next = self.next_row_of_ours(at)?;
            // What stands behind the other empty lines in front of that row is known already.
            return (!self.ends_before(at.text, next)).then(|| at.behind_blanks());
        }
        // `;` between the rows of a list is an empty line with its separator.
        if self.is_empty_row(at.line)
            && let Some(next) = self.next_of_list(at)
        {
            if !self.is_written_alike(at.text, next) {
                self.behind_empty
                    .get_or_insert(u32::try_from(self.rows).unwrap_or(u32::MAX));
            }
            return Some(at.behind);
        }
        if is_prompt(at.line) || self.ends_before_block(at.text, at.line) {
            return None;
        }
        match self.careful_row(at.line, at.cursor) {
            LineOutcome::Odd(_) | LineOutcome::No if self.is_other_header(at.line) => return None,
            LineOutcome::Yes => self.expect_behind(at.cursor, expected_line),
            // Left out only where the table goes on behind it; else it may begin another table.
            LineOutcome::Odd(cells) => {
                if self.rows == 0 || self.next_row_of_ours(at).is_none() {
                    return None;
                }
                self.odd.push(at.odd(u32::try_from(cells).ok()));
            }
            // At the foot of a table it is no row, and what stands behind it belongs to no table.
            LineOutcome::Summary => {
                self.next_row_of_ours(at)?;
                self.notes.push(RowNote {
                    line: at.cursor.line,
                    what: Noted::Summary,
                });
            }
            LineOutcome::No if self.is_name_alone(at.line) && self.next_of_list(at).is_some() => {
                self.name_alone(at, expected_line);
            }
            LineOutcome::No => {
                let damaged = self.damaged_row(at)?;
                self.odd.push(damaged);
            }
        }
        Some(at.behind)
    }

    /// The next row behind a line, where the rows before it that decide how it is read are here.
    fn next_row_of_ours<'t>(&self, at: &RowLine<'t>) -> Option<&'t str> {
        if self.is_at_seam() {
            return None;
        }
        self.next_row(at.text, at.behind, at.end)
    }

    /// The next row behind a line, where it goes on a list.
    fn next_of_list<'t>(&self, at: &RowLine<'t>) -> Option<&'t str> {
        self.next_row_of_ours(at)
            .filter(|next| self.goes_on_list(at.text, next))
    }

    /// Notes in which line the row stands that was read last, and that the next one is expected behind it.
    fn expect_behind(&mut self, cursor: Cursor, expected_line: &mut u32) {
        if cursor.line != *expected_line {
            self.lines
                .push((u32::try_from(self.rows - 1).unwrap_or(u32::MAX), cursor.line));
        }
        *expected_line = cursor.line + 1;
    }

    /// `Malt;` between rows of a list: its reading lacks. `Set 2;` between `tea` and `malt` is no name, and is told of.
    fn name_alone(&mut self, at: &RowLine, expected_line: &mut u32) {
        let name = split(at.line, &self.dialect).into_iter().next().unwrap_or(0..0);
        if self.is_named_alike(at.text, &at.line[name]) {
            self.name_without_reading(at.line, at.cursor);
            self.expect_behind(at.cursor, expected_line);
        } else {
            self.odd.push(at.odd(Some(1)));
        }
    }

    /// A line that is no row, where it was one before it was damaged: one damaged sign is no end of a table that goes on behind it.
    fn damaged_row(&self, at: &RowLine) -> Option<OddRow> {
        let line = at.line;
        let next = self
            .next_row_of_ours(at)
            .filter(|_| self.rows > 0 && strip_remark(line).0.is_none())?;
        let before = at.text[..at.cursor.at].lines().next_back().unwrap_or("");
        // A row of names that ends behind its name.
        let begins_with_number = |row: &str| {
            let first = split(row, &self.dialect).into_iter().next();
            first.is_some_and(|range| leading_number(&row[range]).is_some())
        };
        let cut = self.kinds.first() == Some(&ColumnKind::Words)
            && begins_with_number(next) == begins_with_number(before)
            && [next, before]
                .iter()
                .any(|row| is_cut_row(line, row, &self.dialect));
        // `5:00 forgot`: the row is there, and its number is not.
        let unread = || self.names_row_without_number(line, before);
        let damaged =
            cut || unread() || resembles(line, next) || resembles(line, before) || self.is_two_rows(line);
        damaged.then(|| at.odd(cut.then_some(1)))
    }

    /// Whether a line has a cell for each column, and the first of them is of the same form as in the row before it, with
    /// figures in it.
    fn names_row_without_number(&self, line: &str, before: &str) -> bool {
        let (cells, model) = (split(line, &self.dialect), split(before, &self.dialect));
        let first = |line: &str, cells: &[std::ops::Range<usize>]| {
            cells.first().map(|range| line[range.clone()].to_owned())
        };
        let (Some(one), Some(other)) = (first(line, &cells), first(before, &model)) else {
            return false;
        };
        self.kinds.first() == Some(&ColumnKind::Words)
            && cells.len() == self.columns()
            && one.contains(|c: char| c.is_ascii_digit())
            && same_outline(&one, &other)
    }

    /// Whether a line is two rows that have lost the line end between them: the last cell of one and the first of the
    /// other have become one cell.
    fn is_two_rows(&self, line: &str) -> bool {
        if self.dialect.sep.byte().is_none() {
            return false;
        }
        let cells: Vec<_> = split(line, &self.dialect).into_iter().map(Some).collect();
        cells.len() + 1 == 2 * self.columns() && self.is_next_x(line, &cells)
    }

    /// Whether the rows before this one, which may decide how it is read, lie in another piece.
    pub(super) fn is_at_seam(&self) -> bool {
        self.amid && self.rows < 2
    }

    /// The first number of the row that is `back` rows from the last one, which must be there.
    pub(super) fn first_figure(&self, back: usize) -> f64 {
        let stride = self.figures.len().max(1);
        let row = self.rows - 1 - back;
        let settled = self.rows - self.fresh.len() / stride;
        if row < settled {
            return self.figures.first().map_or(f64::NAN, |figures| figures[row]);
        }
        self.fresh[(row - settled) * stride]
    }

    /// Whether the first column goes one way over the rows that were read last.
    fn first_column_runs(&self) -> bool {
        const LOOK: usize = 16;
        let numbers: Vec<f64> = (0..self.rows.min(LOOK))
            .map(|back| self.first_figure(back))
            .filter(|number| !number.is_nan())
            .collect();
        numbers.windows(2).all(|pair| pair[1] >= pair[0]) || numbers.windows(2).all(|pair| pair[1] <= pair[0])
    }

    /// Whether a line is the next running number and nothing else, where a sign of its own parts the cells.
    fn ends_behind_next_x(&self, line: &str) -> bool {
        if !self.is_parted_by_signs() || self.columns() < 2 {
            return false;
        }
        let cells: Vec<_> = split(line, &self.dialect).into_iter().map(Some).collect();
        cells.len() == 1 && self.is_next_x(line, &cells)
    }

    /// The next line with something on it, where it is a row of this table and goes on in the direction of its x.
    fn next_row<'a>(&self, text: &'a str, mut cursor: Cursor, end: usize) -> Option<&'a str> {
        let bytes = &text.as_bytes()[..end];
        while cursor.at < end {
            let (stop, next) = line_end(bytes, cursor.at);
            let line = &text[cursor.at..stop];
            if !line.trim_matches(is_blank).is_empty() {
                // A row that ends behind its first number is known by the numbers before it.
                if self.ends_behind_next_x(line) {
                    return Some(line);
                }
                let mut trial = self.empty_like();
                trial.below = self.rows > 0;
                if !matches!(trial.careful_row(line, cursor), LineOutcome::Yes) {
                    return None;
                }
                let step = |grid: &Self, row: usize| {
                    grid.kinds.first() == Some(&ColumnKind::Figures) && row < grid.rows
                };
                // Numbers of cells come again and again in front of the axis, and have no direction.
                if step(&trial, 0) && self.rows >= 2 && self.first_column_runs() {
                    let (before, last, new) = (self.first_figure(1), self.first_figure(0), trial.fresh[0]);
                    let on = (last - before) * (new - last) >= 0.0
                        || new.is_nan()
                        || before.is_nan()
                        || last.is_nan();
                    return on.then_some(line);
                }
                return Some(line);
            }
            cursor = Cursor {
                at: next,
                line: cursor.line + 1,
            };
        }
        None
    }

    /// A row of plain numbers that begins at `at`; returns where the next line begins, or nothing and leaves no trace.
    #[inline]
    pub(super) fn quick_row(&mut self, bytes: &[u8], at: usize) -> Option<usize> {
        let changed = self.changes.len();
        let mut row = std::mem::take(&mut self.row);
        let done = match self.dialect.sep.byte() {
            Some(sep) => self.quick_cells(bytes, at, &mut row, |bytes, at, last| {
                let mut at = at;
                while matches!(bytes.get(at), Some(b' ' | b'\t')) && bytes[at] != sep {
                    at += 1;
                }
                if last {
                    Some(at)
                } else {
                    (bytes.get(at) == Some(&sep)).then_some(at + 1)
                }
            }),
            None => self.quick_cells(bytes, at, &mut row, |bytes, at, _| {
                matches!(bytes.get(at), None | Some(b' ' | b'\t' | b'\r' | b'\n')).then_some(at)
            }),
        };
        let next = done.and_then(|mut at| {
            // Blanks at the end are none of the row's cells, and a separator there closes an empty one.
            while matches!(bytes.get(at), Some(b' ' | b'\t')) {
                at += 1;
            }
            match bytes.get(at) {
                None => Some(at),
                Some(b'\n') => Some(at + 1),
                Some(b'\r') => Some(at + 1 + usize::from(bytes.get(at + 1) == Some(&b'\n'))),
                Some(_) => None,
            }
        });
        if next.is_some() {
            self.fresh.extend_from_slice(&row);
        } else {
            while self.changes.len() > changed {
                if let Some((_, place, _)) = self.changes.pop() {
                    self.current[place as usize] = self.last_decimals(place);
                }
            }
        }
        self.row = row;
        next
    }

    /// The cells of a row, put into `room`.
    #[inline(always)]
    fn quick_cells(
        &mut self,
        bytes: &[u8],
        mut at: usize,
        room: &mut [f64],
        between: impl Fn(&[u8], usize, bool) -> Option<usize>,
    ) -> Option<usize> {
        let decimal = self.dialect.style.decimal;
        let last = room.len() - 1;
        let row = u32::try_from(self.rows).unwrap_or(u32::MAX);
        // A tab that separates is never skipped: behind it may lie an empty cell.
        let tab = if self.dialect.sep == Delimiter::Tab {
            b' '
        } else {
            b'\t'
        };
        for (place, (room, current)) in room.iter_mut().zip(&mut self.current).enumerate() {
            while bytes.get(at).is_some_and(|&b| b == b' ' || b == tab) {
                at += 1;
            }
            let (value, decimals, end) = plain(bytes, at, decimal)?;
            at = between(bytes, end, place == last)?;
            *room = value;
            if *current != decimals {
                *current = decimals;
                self.changes
                    .push((row, u32::try_from(place).unwrap_or(u32::MAX), decimals));
            }
        }
        Some(at)
    }

    /// A row of plain numbers and words between the separators `sep`, quoted or not, that begins at `at`; returns where
    /// the next line begins, or nothing and leaves no trace. What a careful reading would look at twice is left to it.
    fn parted_row(&mut self, bytes: &[u8], mut at: usize, sep: u8) -> Option<usize> {
        let decimal = self.dialect.style.decimal;
        let last = self.kinds.len() - 1;
        let mut numbers = self.row.iter_mut().zip(&mut self.row_decimals);
        let mut words = self.row_words.iter_mut();
        for (column, kind) in self.kinds.iter().enumerate() {
            let quoted = bytes.get(at) == Some(&b'"');
            let start = at + usize::from(quoted);
            at = match kind {
                ColumnKind::Figures => {
                    let (room, room_decimals) = numbers.next()?;
                    let end;
                    (*room, *room_decimals, end) = plain(bytes, start, decimal)?;
                    end
                }
                ColumnKind::Words => {
                    let room = words.next()?;
                    let end = plain_words(bytes, start, if quoted { b'"' } else { sep }, *room)?;
                    *room = (Span::new(start, end), quoted);
                    end
                }
            };
            if quoted {
                if bytes.get(at) != Some(&b'"') {
                    return None;
                }
                at += 1;
            }
            if column < last {
                if bytes.get(at) != Some(&sep) {
                    return None;
                }
                at += 1;
            }
        }
        let next = match bytes.get(at) {
            None => at,
            Some(b'\n') => at + 1,
            Some(b'\r') => at + 1 + usize::from(bytes.get(at + 1) == Some(&b'\n')),
            Some(_) => return None,
        };
        for (words, (span, _)) in self.words.iter_mut().zip(&self.row_words) {
            words.push(*span);
        }
        self.fresh.extend_from_slice(&self.row);
        if self.current != self.row_decimals {
            for place in 0..self.row_decimals.len() {
                let decimals = self.row_decimals[place];
                if self.current[place] != decimals {
                    self.decimals_change(place, decimals);
                }
            }
        }
        Some(next)
    }

    #[cold]
    pub(super) fn decimals_change(&mut self, place: usize, decimals: u8) {
        self.current[place] = decimals;
        let row = u32::try_from(self.rows).unwrap_or(u32::MAX);
        self.changes
            .push((row, u32::try_from(place).unwrap_or(u32::MAX), decimals));
    }

    fn last_decimals(&self, place: u32) -> u8 {
        self.changes
            .iter()
            .rev()
            .find(|&&(_, p, _)| p == place)
            .map_or(u8::MAX, |&(_, _, decimals)| decimals)
    }

    /// Adds a row of which somebody said that it is one, and whether it could be read. Where blanks part the cells, the name in front may have several words.
    pub(in crate::readers::text_table) fn add_row(&mut self, line: &str, cursor: Cursor) -> bool {
        let mut cells = split(line, &self.dialect);
        let more = cells.len().saturating_sub(self.columns());
        if more > 0 && self.dialect.sep.byte().is_none() && self.kinds.first() == Some(&ColumnKind::Words) {
            let name = cells[0].start..cells[more].end;
            cells.splice(..=more, [name]);
        }
        self.lines
            .push((u32::try_from(self.rows).unwrap_or(u32::MAX), cursor.line));
        let cells = cells.into_iter().map(Some).collect();
        let read = matches!(self.row_of_cells(line, cursor, cells), LineOutcome::Yes);
        if !read {
            self.lines.pop();
        }
        self.settle();
        read
    }

    /// A row in any spelling.
    fn careful_row(&mut self, line: &str, cursor: Cursor) -> LineOutcome {
        let cells = split(line, &self.dialect).into_iter().map(Some).collect();
        self.row_of_cells(line, cursor, cells)
    }
}

/// Where words that begin at `start` end: in front of `stop`, or at the end of the line. Nothing where a careful reading
/// would look at them twice: blanks and quotes about words are none of them, and some signs in them are told of.
/// `before` are words of the same column that were plain, and whether they were quoted; most often they stand here again.
#[inline(always)]
fn plain_words(bytes: &[u8], start: usize, stop: u8, before: (Span, bool)) -> Option<usize> {
    /// The signs at which a closer look is taken.
    const TELLING: [bool; 256] = {
        let mut telling = [false; 256];
        telling[b'\n' as usize] = true;
        telling[b'\r' as usize] = true;
        telling[b'+' as usize] = true;
        telling[0xB1] = true;
        telling
    };
    let quoted = stop == b'"';
    let line_end = |byte: u8| matches!(byte, b'\n' | b'\r');
    let (before, alike) = (before.0.range(), before.1 == quoted);
    let again = start + before.len();
    if let Some(&behind) = bytes.get(again)
        && (behind == stop || !quoted && line_end(behind))
        && alike
        && bytes.get(start..again) == bytes.get(before)
    {
        return Some(again);
    }
    let mut end = start;
    loop {
        let Some(&byte) = bytes.get(end) else {
            if quoted {
                return None;
            }
            break;
        };
        if byte == stop {
            break;
        }
        if TELLING[usize::from(byte)] {
            match byte {
                b'+' => return None,
                // `±`
                0xB1 if end > start && bytes[end - 1] == 0xC2 => return None,
                0xB1 => {}
                _ if quoted => return None,
                _ => break,
            }
        }
        end += 1;
    }
    let bare = |byte: &u8| byte.is_ascii_graphic() && !matches!(byte, b'"' | b'\'');
    let words = &bytes[start..end];
    (words.first().is_none_or(bare) && words.last().is_none_or(bare)).then_some(end)
}
