//! The first lines of a table, on which it is decided how it is written.

use std::collections::BTreeSet;

use super::super::dialect::{is_blank, split_wide};
use super::super::grid::{Cursor, line_end};
use super::super::transposed::begins_block;
use super::lines::{LineGlance, change, class_of, hard_marks, is_ruler, parting_of};
use super::rows_behind::MOST_NOTES;

/// How many lines are looked at to decide how a table is written.
pub(super) const SAMPLE: usize = 48;

/// So many rows tell how a table is written where a rule ends it: of three, one that is damaged differs from the other two.
const ENOUGH: usize = 3;

/// Whether two blanks or more part the cells of a row, and nothing the next line that is not blank.
fn is_in_one_piece(below: &str, row: &str) -> bool {
    let pieces = |line: &str| split_wide(line.trim_matches(is_blank)).len();
    let next = below.lines().find(|line| !line.trim_matches(is_blank).is_empty());
    pieces(row) >= 2 && next.is_none_or(|line| pieces(line) == 1)
}

/// The lines from `cursor` on that may be rows of one table: of one class, with at most single blank lines between.
pub(super) fn sample<'t>(
    text: &'t str,
    cursor: Cursor,
    class: LineGlance,
    head: Option<&str>,
) -> Vec<&'t str> {
    let bytes = text.as_bytes();
    let parting = head.and_then(|head| parting_of(head, &text[cursor.at..line_end(bytes, cursor.at).0]));
    let mut rows: Vec<&str> = Vec::with_capacity(SAMPLE);
    let mut marks: Vec<[bool; 3]> = Vec::with_capacity(SAMPLE);
    let mut at = cursor.at;
    let mut blanks = 0;
    let mut notes = 0;
    while at < bytes.len() && rows.len() < SAMPLE {
        let (end, next) = line_end(bytes, at);
        let line = &text[at..end];
        at = next;
        if line.trim_matches(is_blank).is_empty() {
            blanks += 1;
            if blanks > 1 {
                break;
            }
            continue;
        }
        // A line in one piece below a rule, `8 samples measured`, is none of rows that blanks part.
        if rows.len() >= ENOUGH && is_ruler(line) && is_in_one_piece(&text[at.min(bytes.len())..], rows[0]) {
            break;
        }
        // A sentence below a blank line is no row: `Results on sheet 2. Outlet in duplicate.`
        if blanks > 0 && rows.len() >= 2 && is_sentence(line) {
            break;
        }
        if blanks > 0
            && !rows.is_empty()
            && (rows.len() >= 2 && lacks_the_separator(&rows, line) || is_another_header(line))
        {
            break;
        }
        if class == LineGlance::Mixed
            && !rows.is_empty()
            && begins_block(text, crate::slice::offset_in(text, line))
        {
            break;
        }
        // Below rows that are parted as their header is, what lacks the sign is no row of theirs: `3 readings`.
        if let Some(mark) = parting
            && !rows.is_empty()
            && !line.as_bytes().contains(&mark)
            && goes_on_without(text, at, mark)
            && begins_otherwise(line, rows[0])
        {
            break;
        }
        // A note without the sign that parts the cells, `lamp flickered here`, stands between two rows.
        if let [first, ..] = marks[..]
            && first != [false; 3]
            && notes < MOST_NOTES
            && blanks == 0
            && hard_marks(line) == [false; 3]
            && (!line.contains(|c: char| c.is_ascii_digit() || matches!(c, ':' | '='))
                || super::super::join::is_furniture(line, &BTreeSet::new()))
        {
            let (end, _) = line_end(bytes, next);
            let behind = &text[next.min(end)..end];
            if !behind.trim().is_empty()
                && hard_marks(behind) == first
                && class_of(behind) != LineGlance::Words
            {
                notes += 1;
                continue;
            }
        }
        blanks = 0;
        let this = class_of(line);
        let fits = match class {
            LineGlance::Figures => this == LineGlance::Figures,
            _ => this != LineGlance::Words,
        };
        if !fits && !rows.is_empty() {
            // A row of nothing but markers, or one that begins with one, is still a row.
            let first = line.trim_matches(is_blank);
            if !(rows.len() >= 2
                && first.starts_with(['*', '-', '#', '>', '?'])
                && !first.contains(char::is_alphabetic))
            {
                break;
            }
        }
        // Where the hard separators change, another table or another hand begins. One of the first three rows that
        // differs from the other two is damaged.
        let own = hard_marks(line);
        let model = match marks[..] {
            [_, second] if !change(second, own) => Some(second),
            [first, second, third, ..] if change(first, second) => {
                if change(first, third) {
                    Some(second)
                } else {
                    Some(first)
                }
            }
            _ => marks.first().copied(),
        };
        if model.is_some_and(|model| change(model, own)) && rows.len() >= 2 {
            break;
        }
        rows.push(line);
        marks.push(own);
    }
    rows
}

/// Whether a line of words does not begin as a row does, and so is none that was cut off: `3 readings` below `Tea<tab>0.101`.
fn begins_otherwise(line: &str, row: &str) -> bool {
    let worded = |line: &str| line.trim_start().starts_with(char::is_alphabetic);
    line.contains(char::is_alphabetic) && (worded(line) != worded(row) || !worded(row))
}

/// Whether no line from `at` on up to the next blank line has a sign.
fn goes_on_without(text: &str, at: usize, mark: u8) -> bool {
    text[at.min(text.len())..]
        .lines()
        .take_while(|line| !line.trim_matches(is_blank).is_empty())
        .take(SAMPLE)
        .all(|line| !line.as_bytes().contains(&mark))
}

/// Whether a line below a blank one is the header of another table: cells of words, of which one says what was measured, and none
/// is a number.
fn is_another_header(line: &str) -> bool {
    let Some(mark) = ['\t', ';', '|', ',']
        .into_iter()
        .find(|mark| line.contains(*mark))
    else {
        return false;
    };
    let mut cells = line
        .split(mark)
        .map(|cell| cell.trim_matches(|c| is_blank(c) || c == '"'))
        .filter(|cell| !cell.is_empty());
    let worded = |cell: &str| cell.starts_with(|c: char| c.is_alphabetic() || matches!(c, '[' | '(' | '%'));
    let of_light = |cell: &str| {
        let head = crate::column_header::read_column_header(cell);
        head.quantity.is_some_and(|quantity| quantity.is_of_light())
    };
    let mut light = false;
    let mut count = 0;
    let all = cells.all(|cell| {
        count += 1;
        light |= count > 1 && of_light(cell);
        worded(cell)
    });
    all && light && count >= 2
}

/// Whether a line has none of a separator that stands in all rows above it: `Slope 0.0123` below a table with
/// tabs.
fn lacks_the_separator(rows: &[&str], line: &str) -> bool {
    let has = |line: &str, mark: u8| line.as_bytes().contains(&mark);
    let all_have = |mark: u8| rows.iter().all(|row| has(row, mark));
    // A comma in every number parts nothing.
    let decimal = || super::super::dialect::commas_stand_in_numbers(rows);
    let parting = [b'\t', b';', b'|', b',']
        .into_iter()
        .find(|mark| all_have(*mark) && !(*mark == b',' && decimal()));
    // Two blanks or more part cells that hold single ones.
    let wide = |line: &str| line.trim_matches(is_blank).contains("  ");
    let lacks = parting.map_or_else(
        || rows.iter().all(|row| wide(row)) && !wide(line),
        |mark| !has(line, mark),
    );
    // `4414 was spilt` below tabs is no row either.
    let hard = matches!(parting, Some(b'\t' | b';' | b'|'));
    let worded = |c: char| c.is_alphabetic() || c == '(';
    (hard || line.trim_matches(is_blank).starts_with(worded)) && lacks
}

/// Whether a line is a sentence: it begins with a word, ends in a full stop, and has more words than numbers.
fn is_sentence(line: &str) -> bool {
    const FEWEST_WORDS: usize = 4;
    let line = line.trim_matches(is_blank);
    if !line.ends_with('.')
        || !line.starts_with(char::is_alphabetic)
        || line.contains(['\t', ';', '|'])
        || line.contains("  ")
    {
        return false;
    }
    let (words, numbers): (Vec<&str>, Vec<&str>) = line
        .split_whitespace()
        .partition(|word| word.starts_with(char::is_alphabetic));
    words.len() >= FEWEST_WORDS && words.len() > 2 * numbers.len()
}
