//! The rows of a table with the heads above them, and whether they tell that it is one.

use std::ops::Range;

use curvary_record::unit::{Spelling, spelled};
use curvary_record::{Code, Span};

use super::super::columns::clock_of;
use super::super::dialect::{Delimiter, Dialect, raw_split};
use super::super::grid::{ColumnKind, Cursor, Grid};
use super::super::heads::{glue_units, unmatched_head};
use super::super::surroundings::{are_like_percents, are_like_readings, lines_of_light_above};
use super::column_kinds::{kinds_of, split_all};
use super::key_lines::{all_keys, foot_of, heads_are_a_key, is_key_with_number, is_line_of_keys};
use super::lines::{LineGlance, leading_number};
use super::rows_behind::uncut;
use super::sample::SAMPLE;
use super::sample_cells::SampleCells;
use super::signs::{OpenSigns, groups_of_three, later_evidence};
use super::table::{heads_over, next_line_like, unwrap};
use super::table_start::TableStart;
use super::{Effort, HeadRow, ScannedTable, TextPiece};
use crate::column_header::read_column_header;

/// So many bytes behind the first row are searched for the header again before the rows are read.
const NEAR_HEADER: usize = 1 << 14;

/// The rows of a table and its heads.
pub(super) struct TableBody<'s, 'a> {
    start: &'s TableStart<'a>,
    first: SampleCells,
    grid: Grid,
    /// Where the text goes on behind the rows.
    after: Cursor,
    /// Beyond this byte no rows were read.
    end: usize,
    heads: Vec<HeadRow>,
    /// Whether the rows begin with words that are no times.
    words_first: bool,
    /// Whether a head names a quantity.
    worded: bool,
    /// The header of a list of samples that names their wavelength without a unit.
    of_samples: Option<HeadRow>,
}

impl<'s, 'a> TableBody<'s, 'a> {
    /// Reads the rows, and maps the heads above them; `None` where no row fits.
    pub(super) fn read(start: &'s TableStart<'a>, first: SampleCells, effort: &mut Effort) -> Option<Self> {
        let text = start.text;
        let end = uncut(text, &first.dialect).max(start.cursor.at);
        let (mut grid, mut after) = read_rows(start, &first, end, effort);
        grid.doubt_numbers(text, start.cursor);
        if grid.rows == 0 {
            return None;
        }
        leave_names_at_the_end(text, &mut grid, &mut after);
        let heads = heads_over(text, &grid, start.cursor, start.above);
        let worded = heads.iter().any(|head| {
            let mut cells = head.cells.iter().flatten();
            cells.any(|span| read_column_header(&text[span.range()]).quantity.is_some())
        });
        // Clock times and lengths of time run as well as numbers do.
        let clocked = grid.rows >= 4 && grid.kinds[0] == ColumnKind::Words && {
            let cells = grid.words(0);
            let cells = cells.get(..SAMPLE).unwrap_or(cells);
            clock_of(text, cells, grid.dialect.style, None, false).is_some()
        };
        let mut body = Self {
            words_first: grid.kinds[0] == ColumnKind::Words && !clocked,
            start,
            first,
            grid,
            after,
            end,
            heads,
            worded,
            of_samples: None,
        };
        body.of_samples = body.header_of_samples();
        Some(body)
    }

    /// Whether it is a table, and no sentences, headers or keys with their values.
    pub(super) fn is_table(&self) -> bool {
        self.tells_enough()
            && !(self.words_first && (self.is_prose() || self.first.have_many_words()))
            && !self.is_key_with_unit()
            && !self.is_keys_behind_empty_cell()
            && !self.is_caption_with_number()
            && !self.is_headed_by_key()
            && !self.is_keys_with_values()
    }

    /// Whether it is prose. Words between separators that stand in no sentence, under heads that say what they are, are none however
    /// many.
    fn is_prose(&self) -> bool {
        self.first.sentences && !(self.worded && self.first.are_parted())
    }

    /// The header of a list of samples at a wavelength that has no unit, `Sample;540`: a person is asked.
    fn header_of_samples(&self) -> Option<HeadRow> {
        let is_list = self.words_first
            && self.first.are_parted()
            && self.heads.is_empty()
            && self.grid.rows >= 3
            && !self.is_prose()
            && are_like_readings(&self.grid);
        match self.start.above.last() {
            Some(TextPiece::Text(line)) if is_list => {
                super::table::header_of_samples(self.start.text, *line, &self.grid)
            }
            _ => None,
        }
    }

    /// Whether there are rows enough. A single row, or rows that begin with words, need a head that says what they are.
    fn tells_enough(&self) -> bool {
        let rows = self.grid.rows;
        if self.words_first {
            return self.worded
                || self.has_numbered_heads()
                || (self.first.figures >= 2 && rows >= 3 && !self.is_prose())
                || self.is_list_of_readings()
                || self.row_tells()
                || self.of_samples.is_some();
        }
        let headed = self.worded && !of_results_alone(self.start.text, &self.heads);
        (rows >= 2 || headed || self.has_numbered_heads())
            && (self.start.class != LineGlance::Mixed || rows >= 2)
    }

    /// Whether numbers stand over most columns, and the line is none of the form of the rows.
    fn has_numbered_heads(&self) -> bool {
        let text = self.start.text;
        // A line of the same form as the rows, `tap  0.268` above `well  0.159`, is one of them.
        let like_row = |span: &Span| {
            let cell = text[span.range()].trim();
            let decimals = cell
                .split_once(['.', ','])
                .map_or(0, |(_, decimals)| decimals.len());
            decimals >= 2 && leading_number(cell).is_some_and(|value| value.abs() < 10.0)
        };
        self.heads.iter().any(|head| {
            let numbers = || {
                let cells = head.cells.iter().flatten();
                cells.filter(|span| leading_number(&text[span.range()]).is_some())
            };
            numbers().count() * 2 > self.first.columns
                && !(numbers().all(like_row) && are_like_readings(&self.grid))
        })
    }

    /// Whether it is a list of names with readings, of which the lines above speak.
    fn is_list_of_readings(&self) -> bool {
        let (text, above, rows) = (self.start.text, self.start.above, self.grid.rows);
        (self.first.are_parted() || self.first.columns == 2)
            && rows >= 3
            && !self.is_prose()
            && (are_like_readings(&self.grid) || are_like_percents(&self.grid, text, above))
            && lines_of_light_above(text, above, &text[self.after.at..], rows >= 3)
    }

    /// Whether a row alone says what it holds: `Ext. 810 nm;0,005;0,061` under the names of samples.
    fn row_tells(&self) -> bool {
        let full = self.heads.last().is_some_and(|head| {
            head.cells.len() == self.first.columns && head.cells.iter().skip(1).all(Option::is_some)
        });
        self.first.are_parted()
            && self.first.columns >= 3
            && full
            && self.grid.words(0).iter().any(|span| self.names_light(span))
    }

    /// Whether a cell names what is measured of light.
    fn names_light(&self, span: &Span) -> bool {
        read_column_header(&self.start.text[span.range()])
            .quantity
            .is_some_and(|quantity| quantity.is_of_light())
    }

    /// Whether it is a key, its number and its unit in cells of their own.
    fn is_key_with_unit(&self) -> bool {
        if !(self.words_first && self.grid.rows == 1 && self.first.figures == 1 && self.first.wordy >= 2) {
            return false;
        }
        let last = &self.start.sample[0][self.first.last_of_first()];
        !last.is_empty() && spelled(last.trim()) != Spelling::None
    }

    /// Whether it is `;Wellenlänge;405 nm`, keys and values behind an empty cell.
    fn is_keys_behind_empty_cell(&self) -> bool {
        let sample = &self.start.sample;
        self.grid.rows <= 3
            && !self.words_first
            && sample.len() <= 3
            && sample.iter().all(|row| is_line_of_keys(row))
    }

    /// Whether it is `run 1` under a title of two words, which is no sample with a reading of one, or `3 readings` under
    /// `A at 450 nm`.
    fn is_caption_with_number(&self) -> bool {
        self.first.wordy > 0
            && self.grid.rows == 1
            && self.first.figures == 1
            && self.first.dialect.sep == Delimiter::Blank
    }

    /// Whether what seem to be its heads are a key.
    fn is_headed_by_key(&self) -> bool {
        self.words_first && self.grid.rows <= 6 && heads_are_a_key(self.start.text, &self.heads, &self.grid)
    }

    /// Whether it is keys with their values, and no names with readings. A key has one value: `reference  0.512  0.514` is a row.
    fn is_keys_with_values(&self) -> bool {
        let (columns, rows) = (self.first.columns, self.grid.rows);
        if !self.words_first || self.row_tells() {
            return false;
        }
        let pairs = columns == 2 && self.first.figures == 1;
        let readings = || rows >= 2 && are_like_readings(&self.grid);
        // `Check  Abs 700 nm` over readings of two rows or more: a key has no header that says what was measured.
        if pairs && readings() && self.is_headed_by_light() {
            return false;
        }
        // Under headers that name what was measured, `blank` and `sample` are names, in a table of three columns or more.
        let several = || {
            columns > 2
                && (self.is_headed_by_light()
                    || self.first.figures >= 2 && self.grid.gaps.is_empty() && readings())
        };
        let below_a_key = || rows <= 2 && self.start.head_above.is_some_and(is_key_with_number);
        (pairs || rows <= 6 && !several()) && (all_keys(self.start.text, &self.grid) || below_a_key())
    }

    /// Whether each column has a head, and one of them names what was measured.
    fn is_headed_by_light(&self) -> bool {
        // A separator at the end of each line leaves a column in which nothing stands.
        let empty = |at: usize| match self.grid.kinds[at] {
            ColumnKind::Words => self.grid.words(at).iter().all(|span| span.start == span.end),
            ColumnKind::Figures => self.grid.column(at).all(f64::is_nan),
        };
        let named = |(at, cell): (usize, &Option<Span>)| cell.is_some() || empty(at);
        let whole = self.heads.last().is_some_and(|head| {
            head.cells.len() == self.first.columns && head.cells.iter().enumerate().all(named)
        });
        let mut cells = self.heads.iter().flat_map(|head| head.cells.iter().flatten());
        whole && cells.any(|span| self.names_light(span))
    }

    /// The table, and where the text goes on behind it. Signs that the first rows leave open are decided by all rows where these
    /// tell.
    pub(super) fn finish(mut self) -> Option<(ScannedTable, Cursor)> {
        let (text, above) = (self.start.text, self.start.above);
        let first_line = self.grid.line(0) as u32;
        let last_line = self.grid.line(self.grid.rows - 1) as u32;
        let open = self.settle_signs()?;
        let open = self.part_groups_of_three(open);
        let mut heads = self.heads;
        heads.extend(self.of_samples.filter(|_| heads.is_empty()));
        let (grid, heads) = unwrap(self.grid, heads);
        let unmatched_head = if heads.is_empty() {
            unmatched_head(text, above)
        } else {
            None
        };
        Some((
            ScannedTable {
                grid,
                heads,
                first_line,
                last_line,
                open,
                unmatched_head,
                joined: Vec::new(),
            },
            self.after,
        ))
    }

    /// The signs that are open still. An undecided decimal sign is decided by the whole table where a later row tells.
    fn settle_signs(&mut self) -> Option<OpenSigns> {
        let open = self.first.open.take();
        let Some((_, readings)) = &open else {
            return Some(None);
        };
        let (text, from, end) = (self.start.text, self.start.cursor, self.after.at);
        let Some(dialect) = later_evidence(text, from, end, readings) else {
            return Some(open);
        };
        if dialect != self.grid.dialect {
            self.grid = SampleCells::grid_under(self.start, dialect)?;
            self.after = self.grid.read(text, from, end);
            self.grid.doubt_numbers(text, from);
        }
        Some(None)
    }

    /// The signs that are open still, where digits in groups of three, `1 234`, may be two numbers: as many heads as there are
    /// columns without the groups settle it.
    fn part_groups_of_three(&mut self, open: OpenSigns) -> OpenSigns {
        let TableStart {
            text, cursor, sample, ..
        } = self.start;
        let columns = self.first.columns;
        if open.is_some() || self.start.assume.get("decimal").is_some() {
            return open;
        }
        let group = groups_of_three(sample, &self.grid.dialect)?;
        let settled = self.start.head_above.is_some_and(|line| {
            let words = glue_units(line, raw_split(line, Delimiter::Blank));
            let named = |range: &Range<usize>| read_column_header(&line[range.clone()]).quantity.is_some();
            words.len() + 1 == columns && words.iter().all(named)
        });
        if !settled || self.grid.dialect.sep != Delimiter::Blank {
            let dialect = self.grid.dialect.clone();
            return Some((Code::new("columns-run-together"), vec![dialect]));
        }
        let mut pieces = vec![1; columns - 1];
        pieces[group - 1] = 2;
        let dialect = Dialect {
            pieces: Some(pieces),
            ..self.grid.dialect.clone()
        };
        let kinds = kinds_of(sample, &split_all(sample, &dialect), &dialect, columns - 1);
        self.grid = Grid::new(dialect, kinds);
        self.after = self.grid.read(text, *cursor, self.end);
        self.heads = heads_over(text, &self.grid, *cursor, self.start.above);
        None
    }
}

/// Reads the rows of a table, not beyond `end`, nor beyond its header where that stands again, nor beyond the keys at its foot.
fn read_rows(start: &TableStart, first: &SampleCells, end: usize, effort: &mut Effort) -> (Grid, Cursor) {
    let (text, cursor, head_above) = (start.text, start.cursor, start.head_above);
    let mut grid = first.grid(&start.sample, first.kinds.clone());
    // A header of numbers that soon stands again ends the rows: they are not read beyond it, and then once more.
    let near = head_above.and_then(|head| {
        let to = text.floor_char_boundary((cursor.at + NEAR_HEADER).min(end));
        next_line_like(text, head, cursor.at..to)
    });
    let mut after = grid.read(text, cursor, near.unwrap_or(end));
    effort.read += after.at - cursor.at;
    // A header of numbers that stands again among the rows was read as one of them.
    if let Some(again) = head_above.and_then(|head| next_line_like(text, head, cursor.at..after.at)) {
        grid = first.grid(&start.sample, grid.kinds);
        after = grid.read(text, cursor, again);
    }
    let open_are_keys = start.open_are_keys();
    let behind_empty = grid.row_behind_empty(text).filter(|_| open_are_keys);
    let foot = foot_of(text, cursor.at..after.at, open_are_keys)
        .into_iter()
        .chain(behind_empty.map(|row| row.start))
        .min();
    if let Some(foot) = foot.filter(|foot| *foot > cursor.at) {
        grid = first.grid(&start.sample, grid.kinds);
        after = grid.read(text, cursor, foot);
    }
    (grid, after)
}

/// Names at the end of a table of numbers, `unknown 1,0.305`, are none of its rows.
fn leave_names_at_the_end(text: &str, grid: &mut Grid, after: &mut Cursor) {
    const SHORTEST_NAME: usize = 3;
    let last = grid.line(grid.rows - 1) as u32;
    let is_name = |line: &str| {
        let name = line.trim_start();
        name.chars().take_while(|c| c.is_alphabetic()).count() >= SHORTEST_NAME
    };
    if grid.kinds[0] == ColumnKind::Figures
        && let Some(at) = grid.odd.iter().position(|odd| odd.line > last)
        && grid.odd[at..].iter().all(|odd| is_name(&text[odd.span.range()]))
    {
        *after = Cursor {
            at: grid.odd[at].span.start as usize,
            line: grid.odd[at].line,
        };
        grid.odd.truncate(at);
    }
}

/// Whether headers name what was worked out of a fit, `(Intercept)  conc`, and nothing that was read.
fn of_results_alone(text: &str, heads: &[HeadRow]) -> bool {
    let cells = || heads.iter().flat_map(|head| head.cells.iter().flatten());
    let bracketed = |span: &Span| text[span.range()].trim().starts_with('(');
    cells().count() >= 2
        && cells().any(bracketed)
        && !cells().any(|span| {
            let head = crate::column_header::read_column_header(text[span.range()].trim());
            head.quantity.is_some_and(|quantity| quantity.is_of_light())
        })
}
