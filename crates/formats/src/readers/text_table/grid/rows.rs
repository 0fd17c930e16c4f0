//! Rows into a grid: a quick way for plain numbers, a careful way for all others.

use super::super::scan::{is_prompt, leading_number, strip_remark};
use super::*;

/// What became of a line.
enum LineOutcome {
    Yes,
    /// Numbers, but not as many as the table has columns.
    Odd(usize),
    /// A mean or sum of rows above it.
    Summary,
    /// No row of this table.
    No,
}

impl Grid {
    /// Reads rows from `from` on, as far as they fit, but not beyond byte `end`. Returns where the next line begins.
    #[expect(clippy::too_many_lines, reason = "one decision after another over one state")]
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
            if quick && let Some(next) = self.quick_row(bytes, cursor.at) {
                self.rows += 1;
                expected_line = cursor.line + 1;
                cursor = Cursor {
                    at: next,
                    line: cursor.line + 1,
                };
                continue;
            }
            if let Some(sep) = parted
                && let Some(next) = self.parted_row(bytes, cursor.at, sep)
            {
                self.rows += 1;
                expected_line = cursor.line + 1;
                cursor = Cursor {
                    at: next,
                    line: cursor.line + 1,
                };
                continue;
            }
            if cursor.line != expected_line {
                self.lines.pop();
            }
            let (line_end, next) = line_end(bytes, cursor.at);
            let line = &text[cursor.at..line_end];
            let behind = Cursor {
                at: next,
                line: cursor.line + 1,
            };
            let next = |grid: &Self| grid.next_row(text, behind, end).filter(|_| !grid.is_at_seam());
            if line.trim_matches(is_blank).is_empty() {
                if next(self).is_none_or(|next| self.ends_before(text, next)) {
                    break;
                }
                // What stands behind the other empty lines in front of that row is known already.
                cursor = behind;
                while cursor.at < end {
                    let (stop, next) = super::line_end(bytes, cursor.at);
                    if !text[cursor.at..stop].trim_matches(is_blank).is_empty() {
                        break;
                    }
                    cursor = Cursor {
                        at: next,
                        line: cursor.line + 1,
                    };
                }
                continue;
            }
            // `;` between the rows of a list is an empty line with its separator.
            if self.is_empty_row(line)
                && let Some(next) = next(self).filter(|next| self.goes_on_list(text, next))
            {
                if !self.is_written_alike(text, next) {
                    self.behind_empty
                        .get_or_insert(u32::try_from(self.rows).unwrap_or(u32::MAX));
                }
                cursor = behind;
                continue;
            }
            if is_prompt(line) || self.ends_before_block(text, line) {
                break;
            }
            match self.careful_row(line, cursor) {
                LineOutcome::Yes => {
                    if cursor.line != expected_line {
                        self.lines
                            .push((u32::try_from(self.rows - 1).unwrap_or(u32::MAX), cursor.line));
                    }
                    expected_line = cursor.line + 1;
                }
                LineOutcome::Odd(cells) => {
                    // Left out only where the table goes on behind it; else it may begin another table.
                    if self.rows == 0 || self.is_at_seam() || self.next_row(text, behind, end).is_none() {
                        break;
                    }
                    self.odd.push(OddRow {
                        line: cursor.line,
                        span: Span::new(cursor.at, line_end),
                        cells: u32::try_from(cells).ok(),
                    });
                }
                // At the foot of a table it is no row, and what stands behind it belongs to no table.
                LineOutcome::Summary => {
                    if self.is_at_seam() || self.next_row(text, behind, end).is_none() {
                        break;
                    }
                    self.notes.push(RowNote {
                        line: cursor.line,
                        what: Noted::Summary,
                    });
                }
                // `Malt;` between rows of a list: its reading lacks. `Set 2;` between `tea` and `malt` is no name, and is told of.
                LineOutcome::No
                    if self.is_name_alone(line)
                        && next(self).is_some_and(|next| self.goes_on_list(text, next)) =>
                {
                    let name = split(line, &self.dialect).into_iter().next().unwrap_or(0..0);
                    if self.is_named_alike(text, &line[name]) {
                        self.name_without_reading(line, cursor);
                        if cursor.line != expected_line {
                            self.lines
                                .push((u32::try_from(self.rows - 1).unwrap_or(u32::MAX), cursor.line));
                        }
                        expected_line = cursor.line + 1;
                    } else {
                        self.odd.push(OddRow {
                            line: cursor.line,
                            span: Span::new(cursor.at, line_end),
                            cells: Some(1),
                        });
                    }
                }
                // One damaged sign is no end of a table that goes on behind it.
                LineOutcome::No => {
                    let next = self
                        .next_row(text, behind, end)
                        .filter(|_| self.rows > 0 && !self.is_at_seam() && strip_remark(line).0.is_none());
                    let before = text[..cursor.at].lines().next_back().unwrap_or("");
                    let Some(next) = next else { break };
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
                    if !(cut
                        || unread()
                        || resembles(line, next)
                        || resembles(line, before)
                        || self.is_two_rows(line))
                    {
                        break;
                    }
                    self.odd.push(OddRow {
                        line: cursor.line,
                        span: Span::new(cursor.at, line_end),
                        cells: cut.then_some(1),
                    });
                }
            }
            cursor = behind;
        }
        cursor
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
    fn is_at_seam(&self) -> bool {
        self.amid && self.rows < 2
    }

    /// The first number of the row that is `back` rows from the last one, which must be there.
    fn first_figure(&self, back: usize) -> f64 {
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
        let hard = self.dialect.sep.byte().is_some() || self.dialect.sep == Delimiter::CommaBlank;
        if !hard || self.columns() < 2 {
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
    fn decimals_change(&mut self, place: usize, decimals: u8) {
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

    /// The same of a line in cells.
    #[expect(clippy::too_many_lines, reason = "one decision after another over one state")]
    fn row_of_cells(
        &mut self,
        line: &str,
        cursor: Cursor,
        mut cells: Vec<Option<std::ops::Range<usize>>>,
    ) -> LineOutcome {
        let columns = self.columns();
        let hard = self.dialect.sep.byte().is_some() || self.dialect.sep == Delimiter::CommaBlank;
        while hard
            && cells.len() > columns
            && cells
                .last()
                .is_some_and(|c| c.as_ref().is_none_or(|r| r.is_empty()))
        {
            cells.pop();
        }
        // Words behind the last column are somebody's remark on the row.
        let words = |range: &std::ops::Range<usize>| {
            let text = &line[range.clone()];
            // `<- stirred`
            !text.contains(char::is_alphanumeric) && (text.is_empty() || text.contains(['<', '>']))
                || text.contains(char::is_alphabetic) && matches!(cell(text, self.dialect.style), Cell::Words)
        };
        let said = |range: &std::ops::Range<usize>| {
            let text = &line[range.clone()];
            text.is_empty() || text.contains(char::is_alphabetic)
        };
        let remark = |range: &std::ops::Range<usize>| line[range.clone()].starts_with(['#', '!']);
        let beyond = cells.get(columns..).unwrap_or_default();
        let aside = (self.rows > 0 || self.below)
            && !beyond.is_empty()
            && (beyond[0].as_ref().is_some_and(remark)
                || beyond.iter().flatten().all(words) && beyond.iter().flatten().any(said))
            // Where single blanks separate, the line may be a sentence that begins with numbers.
            && (hard || self.below || self.dialect.sep == Delimiter::Wide || self.is_next_x(line, &cells));
        if aside {
            cells.truncate(columns);
        }
        let mut touching = false;
        if cells.len() != columns && self.is_at_seam() {
            return LineOutcome::No;
        }
        let before_padding = cells.len();
        if cells.len() < columns {
            let only_words_lack = self.kinds[cells.len()..]
                .iter()
                .all(|kind| *kind == ColumnKind::Words);
            let ends_early =
                hard && self.dialect.pieces.is_none() && (cells.len() >= 2 || self.is_next_x(line, &cells));
            let by_blanks = matches!(self.dialect.sep, Delimiter::Blank | Delimiter::Wide);
            if ends_early
                || only_words_lack
                    && by_blanks
                    && (self.rows > 0 || super::list_rows::may_be_first(line, &cells))
            {
                cells.resize(columns, None);
            } else if let Some(parted) = self.parted(line, &cells) {
                cells = parted;
                touching = true;
            } else if let Some(placed) = self
                .placed(line, &cells)
                .filter(|_| cells.len() > 1 || self.rows > 0)
            {
                cells = placed;
            }
        }
        let read = |range: &std::ops::Range<usize>| cell(&line[range.clone()], self.dialect.style);
        let length = |column: usize, range: &std::ops::Range<usize>| {
            let known = self.units[column].as_deref()?;
            duration_in(&line[range.clone()], known, self.dialect.style)
        };
        if cells.len() != columns {
            let figures = cells
                .iter()
                .flatten()
                .filter(|range| !matches!(read(range), Cell::Words))
                .count();
            let odd = figures == cells.len() && figures > 0 && !cells.is_empty();
            return if odd {
                LineOutcome::Odd(cells.len())
            } else {
                LineOutcome::No
            };
        }
        let early = columns - before_padding.min(columns);
        // First look, then take: a line that is no row leaves no trace.
        let mut seen: Vec<Cell> = Vec::with_capacity(columns);
        let (mut good, mut bad, mut empty) = (0, 0, 0);
        // Columns whose cell is a length of time in other units than those before it.
        let mut lengths: Vec<usize> = Vec::new();
        // Columns whose number has a mark beside it, `0.612 (repeat)`, and those where it is doubted, `ca. 0.6`.
        let (mut marked, mut doubtful): (Vec<usize>, Vec<usize>) = (Vec::new(), Vec::new());
        for (column, range) in cells.iter().enumerate() {
            let found = match range {
                Some(range) if self.kinds[column] == ColumnKind::Figures => match read(range) {
                    Cell::Words
                        if column == 0 && self.rows == 0 && is_start_of_times(&line[range.clone()]) =>
                    {
                        Cell::Number {
                            value: 0.0,
                            decimals: 0,
                        }
                    }
                    Cell::Clock { .. } if let Some((value, decimals)) = length(column, range) => {
                        lengths.push(column);
                        Cell::Number { value, decimals }
                    }
                    Cell::Words => match marked_number(&line[range.clone()], self.dialect.style) {
                        Some(number) if number.doubtful => {
                            doubtful.push(column);
                            Cell::Missing
                        }
                        Some(number) => {
                            marked.push(column);
                            Cell::Number {
                                value: number.value,
                                decimals: number.decimals,
                            }
                        }
                        None => Cell::Words,
                    },
                    found => found,
                },
                Some(range) if range.is_empty() => Cell::Empty,
                Some(_) => Cell::Words,
                None => Cell::Empty,
            };
            if self.kinds[column] == ColumnKind::Figures {
                match found {
                    Cell::Number { .. } => good += 1,
                    Cell::WithUnit { unit, .. } => {
                        let text = range.as_ref().map_or("", |r| &line[r.clone()][unit..]);
                        let known = self.units[column].as_deref();
                        if known.map_or(text != EXTINCTION, |known| {
                            known == text || like_units(text, known)
                        }) {
                            good += 1
                        } else {
                            bad += 1
                        }
                    }
                    Cell::Bracketed { .. } => good += 1,
                    Cell::Empty => empty += 1,
                    Cell::Missing | Cell::Beyond => good += 1,
                    Cell::Clock { .. } | Cell::Words => bad += 1,
                }
            }
            seen.push(found);
        }
        // Where a delimiter is lost, all cells behind it stand under the wrong columns.
        if early > 0
            && hard
            && (bad > 0 || self.leaves_its_step(&seen) || self.stand_beside(line, &cells, &seen))
        {
            return LineOutcome::Odd(before_padding);
        }
        // `*** page 2 ***` has four cells too.
        if bad > 0
            && line.contains(char::is_alphabetic)
            && super::super::join::is_furniture(line, &std::collections::BTreeSet::new())
        {
            return LineOutcome::No;
        }
        let x_is_words = self.kinds[0] == ColumnKind::Figures
            && matches!(seen.first(), Some(Cell::Words | Cell::Clock { .. }));
        let first = cells
            .first()
            .and_then(Option::as_ref)
            .map_or("", |range| &line[range.clone()]);
        if x_is_words
            && good > 0
            && bad <= 1
            && hard
            && (self.rows > 0 || self.amid)
            && crate::words::is_statistics(first)
        {
            return LineOutcome::Summary;
        }
        if good == 0 && (bad > 0 || empty > 0)
            || bad > good
            || (x_is_words && (self.rows > 0 || self.amid) && good <= 2)
        {
            return LineOutcome::No;
        }
        let row = u32::try_from(self.rows).unwrap_or(u32::MAX);
        for (column, found) in seen.into_iter().enumerate() {
            let place = self.place[column];
            let range = cells[column].clone().unwrap_or(line.len()..line.len());
            let span = Span::new(cursor.at + range.start, cursor.at + range.end);
            if self.kinds[column] == ColumnKind::Words {
                self.words[place].push(span);
                continue;
            }
            let (value, decimals, lack) = match found {
                Cell::Number { value, decimals } => {
                    if lengths.contains(&column) {
                        self.united[column] += 1;
                        self.notes.push(RowNote {
                            line: cursor.line,
                            what: Noted::Converted,
                        });
                    }
                    (value, Some(decimals), None)
                }
                Cell::WithUnit {
                    value,
                    decimals,
                    unit,
                } => {
                    let text = &line[range.start + unit..range.end];
                    // Behind numbers without a unit, `0.69%` is a damaged `0.695`, and no unit of the column.
                    let late = self.units[column].is_none()
                        && (self.current[place] != u8::MAX
                            || self.bare_before.get(place) == Some(&true)
                            || text == EXTINCTION);
                    let known =
                        (!late).then(|| self.units[column].get_or_insert_with(|| text.to_owned()).as_str());
                    match known {
                        Some(known) if known == text => {
                            self.united[column] += 1;
                            (value, Some(decimals), None)
                        }
                        Some(known)
                            if let Some((value, decimals)) = converted(value, decimals, text, known) =>
                        {
                            self.united[column] += 1;
                            self.notes.push(RowNote {
                                line: cursor.line,
                                what: Noted::Converted,
                            });
                            (value, Some(decimals), None)
                        }
                        _ => (f64::NAN, None, Some(MissingCell::Unreadable)),
                    }
                }
                Cell::Bracketed { value, decimals } => match self.dialect.brackets {
                    Brackets::Negative => (-value, Some(decimals), None),
                    Brackets::Open => (f64::NAN, None, Some(MissingCell::Bracketed)),
                    Brackets::Absent => (f64::NAN, None, Some(MissingCell::Unreadable)),
                },
                Cell::Empty if cells[column].is_none() && hard => (f64::NAN, None, Some(MissingCell::Short)),
                Cell::Empty => (f64::NAN, None, Some(MissingCell::Empty)),
                Cell::Missing if doubtful.contains(&column) => (f64::NAN, None, Some(MissingCell::Doubtful)),
                Cell::Missing => (f64::NAN, None, Some(MissingCell::Missing)),
                Cell::Beyond => (f64::NAN, None, Some(MissingCell::Beyond)),
                Cell::Clock { .. } | Cell::Words => (f64::NAN, None, Some(MissingCell::Unreadable)),
            };
            self.fresh.push(value);
            if let Some(decimals) = decimals.filter(|&d| d != self.current[place]) {
                self.decimals_change(place, decimals);
            }
            if let Some(lack) = lack {
                let column = u32::try_from(column).unwrap_or(u32::MAX);
                self.gaps.push(Gap {
                    row,
                    column,
                    lack,
                    span,
                });
            }
        }
        self.rows += 1;
        let concise = line.contains('(')
            && cells
                .iter()
                .zip(&self.kinds)
                .filter(|(_, kind)| **kind == ColumnKind::Figures)
                .filter_map(|(range, _)| range.clone())
                .any(|range| has_concise(&line[range], self.dialect.style));
        let uncertain = line.contains(['±', '+'])
            && cells.iter().flatten().any(|range| {
                let text = &line[range.clone()];
                ["±", "+/-", "+-"]
                    .iter()
                    .filter_map(|mark| text.find(mark))
                    .any(|at| {
                        at > 0
                            && text.is_char_boundary(at - 1)
                            && is_uncertainty(&text[at - 1..], self.dialect.style)
                    })
            });
        for (is, what) in [
            (touching, Noted::Touching),
            (aside, Noted::Aside),
            (!marked.is_empty(), Noted::Marked),
            (uncertain || concise, Noted::Uncertainty),
        ] {
            if is {
                self.notes.push(RowNote {
                    line: cursor.line,
                    what,
                });
            }
        }
        LineOutcome::Yes
    }

    /// Whether the first cell of a row that ends early has other decimals than those above it and does not go on in
    /// their steps: two cells that have become one.
    fn leaves_its_step(&self, seen: &[Cell]) -> bool {
        let (Some(&Cell::Number { value, decimals }), Some(&ColumnKind::Figures)) =
            (seen.first(), self.kinds.first())
        else {
            return false;
        };
        if self.rows < 2 || self.current.first() == Some(&decimals) {
            return false;
        }
        let (before, last) = (self.first_figure(1), self.first_figure(0));
        let steps = (value - last) / (last - before);
        !(steps > 0.0 && steps < 3.5)
    }

    /// Whether numbers of a row that ends early are written like those of the next column and not like those of their
    /// own; or a name in front ends like a number of the column behind it.
    fn stand_beside(&self, line: &str, cells: &[Option<std::ops::Range<usize>>], seen: &[Cell]) -> bool {
        const LOOK: usize = 4096;
        let decimals_of = |column: usize| -> Option<u8> {
            let figures = self.kinds.get(column) == Some(&ColumnKind::Figures);
            let decimals = self.current.get(*self.place.get(column)?).copied();
            decimals.filter(|&decimals| figures && decimals != u8::MAX)
        };
        // Or they have decimals under whole numbers, and the next column has decimals.
        let never_had = |column: usize| {
            let place = self
                .place
                .get(column)
                .and_then(|&place| u32::try_from(place).ok());
            let changes = self.changes.iter().rev().take(LOOK);
            changes
                .filter(|(_, at, _)| Some(*at) == place)
                .all(|&(_, _, decimals)| decimals == 0)
        };
        let shifted = seen.iter().enumerate().any(|(column, found)| match found {
            Cell::Number { decimals, .. } if column > 0 => {
                let (own, next) = (decimals_of(column), decimals_of(column + 1));
                own.is_some_and(|own| own != *decimals) && next == Some(*decimals)
                    || self.rows >= 2
                        && *decimals > 0
                        && own == Some(0)
                        && next.is_some_and(|next| next > 0)
                        && never_had(column)
            }
            _ => false,
        });
        let glued = || {
            let front = cells.first()?.as_ref().map(|range| &line[range.clone()])?;
            // The next column may have had no number yet; then the others tell.
            let decimals = (1..self.columns())
                .find_map(decimals_of)
                .filter(|&decimals| decimals > 0)?;
            let (name, behind) = front.rsplit_once(char::from(self.dialect.style.decimal))?;
            let number = behind.len() == usize::from(decimals)
                && behind.bytes().all(|byte| byte.is_ascii_digit())
                && name.ends_with(|c: char| c.is_ascii_digit());
            Some(number)
        };
        shifted || self.kinds.first() == Some(&ColumnKind::Words) && glued() == Some(true)
    }

    /// Whether a row begins with the next running number: it goes on in the direction of the two before it, by no more
    /// than a few steps.
    fn is_next_x(&self, line: &str, cells: &[Option<std::ops::Range<usize>>]) -> bool {
        let Some(Some(range)) = cells.first() else {
            return false;
        };
        let Cell::Number { value, .. } = cell(&line[range.clone()], self.dialect.style) else {
            return false;
        };
        if self.rows < 2 || self.kinds.first() != Some(&ColumnKind::Figures) {
            return false;
        }
        let (before, last) = (self.first_figure(1), self.first_figure(0));
        let steps = (value - last) / (last - before);
        steps > 0.0 && steps < 3.5
    }

    /// The cells of a row in fixed columns whose numbers touch, since a sign fills the blank between them:
    /// `0.9905-0.0031`. Only where each then stands under a column of its own.
    fn parted(
        &self,
        line: &str,
        cells: &[Option<std::ops::Range<usize>>],
    ) -> Option<Vec<Option<std::ops::Range<usize>>>> {
        if self.dialect.sep != Delimiter::Blank || self.extents.is_empty() {
            return None;
        }
        let mut parted = Vec::with_capacity(self.columns());
        for range in cells.iter().flatten() {
            let bytes = line.as_bytes();
            let mut start = range.start;
            for at in range.start + 1..range.end {
                if matches!(bytes[at], b'-' | b'+') && bytes[at - 1].is_ascii_digit() {
                    parted.push(Some(start..at));
                    start = at;
                }
            }
            parted.push(Some(start..range.end));
        }
        let is_number = |range: &std::ops::Range<usize>| {
            matches!(
                cell(&line[range.clone()], self.dialect.style),
                Cell::Number { .. }
            )
        };
        let fits = parted.len() == self.columns() && parted.iter().flatten().all(is_number);
        self.placed(line, &parted).filter(|_| fits)
    }

    /// Puts the cells of a row with holes under the columns over which they stand, where that is sure.
    fn placed(
        &self,
        line: &str,
        cells: &[Option<std::ops::Range<usize>>],
    ) -> Option<Vec<Option<std::ops::Range<usize>>>> {
        if self.extents.is_empty() || cells.is_empty() || line.contains('\t') {
            return None;
        }
        // `Series 2` among columns that wide gaps part is a caption.
        let wide = self.extents.windows(2).all(|pair| pair[1].0 - pair[0].1 >= 2);
        let touch = || {
            let ranges: Vec<_> = cells.iter().flatten().collect();
            ranges.windows(2).any(|pair| pair[1].start == pair[0].end + 1)
        };
        if wide && touch() {
            return None;
        }
        let mut placed = vec![None; self.columns()];
        for range in cells.iter().flatten() {
            let (start, end) = (chars(line, range.start), chars(line, range.end));
            let mut over = self
                .extents
                .iter()
                .enumerate()
                .filter(|(_, extent)| start < extent.1 && end > extent.0);
            let (column, _) = over.next()?;
            if over.next().is_some() || placed[column].is_some() {
                return None;
            }
            placed[column] = Some(range.clone());
        }
        Some(placed)
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

/// Whether one unit, as it stands in a cell, can be converted into another.
fn like_units(text: &str, known: &str) -> bool {
    converted(1.0, 0, text, known).is_some()
}

/// A number in the unit `from` in the unit `to`, both as they stand in cells, where that is exact in decimals: by a
/// power of ten or a whole factor.
fn converted(value: f64, decimals: u8, from: &str, to: &str) -> Option<(f64, u8)> {
    let (from, to) = (unit_in_cells(from)?, unit_in_cells(to)?);
    let factor = from.convert(1.0, &to).ok()?;
    if from.convert(0.0, &to).ok()? != 0.0 || factor.is_nan() || factor <= 0.0 {
        return None;
    }
    let shift = factor.log10().round();
    if (factor / 10_f64.powf(shift) - 1.0).abs() < 1e-12 {
        // The decimal digits move; nothing is rounded but the result.
        let shift = shift as i32;
        let value: f64 = format!("{value}e{shift}").parse().ok()?;
        let decimals = i32::from(decimals) - shift;
        return Some((value, u8::try_from(decimals.clamp(0, 255)).unwrap_or(0)));
    }
    let whole = factor.round();
    ((factor / whole - 1.0).abs() < 1e-12).then_some((value * whole, decimals))
}
