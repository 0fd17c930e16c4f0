//! A line at which a table may begin, with what stands above it and the rows behind it.

use super::super::dialect::Dialect;
use super::super::foot;
use super::super::surroundings::with_following;
use super::header_rows::{
    is_condition_of_curves, is_head_of_numbers, is_reading_of_none, is_row_of_levels, is_row_over_others,
    is_row_under_parameter, stands_over_a_plate, sums_up_below,
};
use super::key_lines::{is_key_below_key, is_key_over_headers, stands_over_headers, stands_over_words};
use super::lines::{LineGlance, hard_marks, is_ruler_piece, strip_remark};
use super::sample::sample;
use super::{Effort, TextPiece};
use crate::Assumptions;
use crate::readers::text_table::grid::Cursor;

/// A line at which a table may begin.
pub(super) struct TableStart<'a> {
    pub(super) text: &'a str,
    pub(super) cursor: Cursor,
    pub(super) class: LineGlance,
    pub(super) above: &'a [TextPiece],
    pub(super) assume: &'a Assumptions,
    /// The line above, as it stands.
    pub(super) head_line: Option<&'a str>,
    /// The line above without the sign of a remark.
    pub(super) head_above: Option<&'a str>,
    /// The rows that would be the first ones.
    pub(super) sample: Vec<&'a str>,
}

impl<'a> TableStart<'a> {
    pub(super) fn at(
        text: &'a str,
        cursor: Cursor,
        class: LineGlance,
        above: &'a [TextPiece],
        assume: &'a Assumptions,
        effort: &mut Effort,
    ) -> Self {
        let head_line = match above.iter().rev().find(|piece| !is_ruler_piece(text, piece)) {
            Some(TextPiece::Text(line)) => Some(&text[line.span.range()]),
            _ => None,
        };
        let head_above = head_line.map(|line| strip_remark(line).1);
        let mut sample = sample(text, cursor, class, head_above);
        effort.weighed += sample.iter().map(|row| row.len()).sum::<usize>();
        // The header again, as behind a page break, is no row.
        if let Some(again) =
            head_above.and_then(|head| sample.iter().position(|row| row.trim() == head.trim()))
        {
            sample.truncate(again);
        }
        // So is one that stands again itself: `Sample;400;420`.
        if let Some(again) = sample.iter().skip(1).position(|row| *row == sample[0]) {
            sample.truncate(again + 1);
        }
        Self {
            text,
            cursor,
            class,
            above,
            assume,
            head_line,
            head_above,
            sample,
        }
    }

    /// Whether it is a key that stands over headers, or alone.
    pub(super) fn is_key(&self) -> bool {
        if self.class != LineGlance::Mixed {
            return false;
        }
        if self.is_keys_in_cells() {
            return true;
        }
        let alone = || {
            self.head_above.is_none()
                || stands_over_headers(self.text, self.cursor)
                || self
                    .sample
                    .first()
                    .is_none_or(|line| is_key_below_key(self.head_above, line))
        };
        self.sample.len() < 2 && alone()
            || is_key_over_headers(self.text, self.cursor)
            || foot::is_key_above(&self.text[self.cursor.at..], self.head_above)
    }

    /// Whether it is several known keys in cells, each with its condition, `Temperature;25.0 °C;pH;7.0`, where a line of words stands
    /// below: such a row is none of a table.
    fn is_keys_in_cells(&self) -> bool {
        let line = self.sample.first().copied().unwrap_or("");
        let conditions = || {
            let pairs = crate::preamble::pairs(line);
            pairs.len() >= 2
                && pairs.iter().all(|pair| {
                    let value = &line[pair.value.clone()];
                    crate::preamble::is_known(&line[pair.key.clone()])
                        && value.contains(|c: char| c.is_ascii_digit())
                })
        };
        line.contains(['\t', ';', '|']) && conditions() && stands_over_words(self.text, self.cursor)
    }

    /// Whether keys at the foot are said to be such where they leave it open.
    pub(super) fn open_are_keys(&self) -> bool {
        self.assume.get("foot") == Some("key")
    }

    /// Keys with their values below the rows, `Limit;0.8`, are none of them, and say nothing of their columns.
    pub(super) fn leave_out_foot(&mut self) {
        let body = foot::without_foot(&self.sample, self.open_are_keys());
        if body > 0 {
            self.sample.truncate(body);
        }
    }

    /// Whether most rows are keys with several values, `A520: 0.01; 0.06`: the first value stands behind a key, and is none of its
    /// name.
    pub(super) fn is_list_of_keys(&self) -> bool {
        let keyed = || {
            let rows = self.sample.iter();
            rows.filter(|row| begins_with_key_and_number(row)).count()
        };
        self.class == LineGlance::Mixed && keyed() * 2 > self.sample.len()
    }

    /// Whether it is a caption: `Group 1` above rows that a sign of its own parts.
    pub(super) fn is_caption(&self) -> bool {
        let marked = |row: &&str| hard_marks(row) != [false; 3];
        self.class == LineGlance::Mixed
            && self.sample.len() >= 2
            && !marked(&self.sample[0])
            && marked(&self.sample[1])
            && self.sample.iter().filter(|row| marked(row)).count() * 2 > self.sample.len()
    }

    /// Whether it is a header, a condition of each curve or a sum rather than a first row, the cells being parted as `dialect` has
    /// it. One that is `named` as a sample among others is a row.
    pub(super) fn is_header(&self, dialect: &Dialect, named: bool) -> bool {
        let Self {
            text,
            cursor,
            class,
            sample,
            head_above,
            ..
        } = self;
        let begins_with_words = *class == LineGlance::Mixed
            && !named
            && (is_head_of_numbers(sample, dialect)
                || sums_up_below(sample, dialect)
                || is_condition_of_curves(sample, dialect)
                    && !is_reading_of_none(sample, *head_above, dialect)
                || sample.len() == 1
                    && is_condition_of_curves(&with_following(text, *cursor, sample), dialect));
        begins_with_words
            || is_row_under_parameter(sample, self.head_line, dialect)
            || is_row_of_levels(sample, dialect)
            || sample.len() < FEWEST_BELOW_LEVELS
                && is_row_of_levels(&with_following(text, *cursor, &sample[..1]), dialect)
            || *class == LineGlance::Figures && stands_over_a_plate(text, *cursor)
            || is_row_over_others(&with_following(text, *cursor, &sample[..1]), dialect)
    }
}

/// A row of levels and so many below it tell that it is one; names in front of those keep them out of the sample.
const FEWEST_BELOW_LEVELS: usize = 3;

/// Whether the first of several cells is a key, a mark and a number: `A520, Tea: 0.01 ; 0.06 ; 0.10`.
fn begins_with_key_and_number(row: &str) -> bool {
    let Some(cell) = row
        .split([';', '\t', '|'])
        .next()
        .filter(|cell| cell.len() < row.trim_end().len())
    else {
        return false;
    };
    let Some((key, value)) = cell.split_once([':', '=']) else {
        return false;
    };
    let decimal = value.contains(['.', ',']) && value.trim().parse::<f64>().is_ok()
        || value.trim().replace(',', ".").parse::<f64>().is_ok() && value.contains(['.', ',']);
    key.trim_start().starts_with(char::is_alphabetic) && decimal && value.starts_with(' ')
}
