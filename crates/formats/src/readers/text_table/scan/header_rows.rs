//! First rows that are headers, conditions or summaries of the rows below them, though they hold numbers.

use std::ops::Range;

use super::super::columns::parameter;
use super::super::dialect::{Delimiter, Dialect, is_blank, raw_split, split};
use super::super::foot;
use super::super::grid::{Cursor, line_end};
use super::super::heads::is_summary_word;
use super::super::number::{Cell, cell};
use super::super::segments::RowClass;
use super::TextPiece;
use super::lines::{LineGlance, class_of, leading_number, parting_of};

/// Whether the line at `cursor` is the first row below a header, and lacks its readings: `Tea;n.d.` under `Sample;A420`.
pub(super) fn is_row_without_reading(text: &str, cursor: Cursor, above: &[TextPiece]) -> bool {
    let (end, next) = line_end(text.as_bytes(), cursor.at);
    let line = &text[cursor.at..end];
    let Some(TextPiece::Text(head)) = above.last() else {
        return false;
    };
    let head = &text[head.span.range()];
    let Some(mark) = parting_of(head, line) else {
        return false;
    };
    let of_light = |cell: &str| {
        let quantity = crate::column_header::read_column_header(cell.trim()).quantity;
        quantity.is_some_and(|quantity| quantity.is_of_light())
    };
    if !head.split(char::from(mark)).skip(1).any(of_light) {
        return false;
    }
    let mut cells = line
        .split(char::from(mark))
        .map(|cell| cell.trim_matches(is_blank));
    let named = cells
        .next()
        .is_some_and(|name| name.contains(char::is_alphanumeric));
    let (mut markers, mut others) = (0, 0);
    for cell in cells.filter(|cell| !cell.is_empty()) {
        if crate::words::marker(cell).is_some() {
            markers += 1;
        } else {
            others += 1;
        }
    }
    let below = &text[next.min(text.len())..line_end(text.as_bytes(), next.min(text.len())).0];
    named
        && markers > 0
        && others == 0
        && parting_of(head, below).is_some()
        && class_of(below) != LineGlance::Words
}

/// Whether a line is one of the header lines of the last table.
pub(super) fn is_header_again(text: &str, line: &str, above: &[TextPiece]) -> bool {
    /// So many lines at most stand between a table and its header again; looking back farther would cost a log of many lines dear.
    const NEAR: usize = 24;
    let before = above.iter().rev().take(NEAR).find_map(|piece| match piece {
        TextPiece::Table(table) if !table.heads.is_empty() => Some(table),
        _ => None,
    });
    let line = line.trim_end();
    before.is_some_and(|table| {
        table
            .heads
            .iter()
            .any(|head| head.class != RowClass::Summary && text[head.line.span.range()].trim_end() == line)
    })
}

/// Whether the first of these rows is the `min`, `max` or `n` of others that begin with numbers.
pub(super) fn sums_up_below(rows: &[&str], dialect: &Dialect) -> bool {
    let first = |row: &str| {
        let cells = split(row, dialect);
        cells
            .first()
            .map_or(String::new(), |range| row[range.clone()].to_owned())
    };
    let [head, rest @ ..] = rows else { return false };
    let word = first(head);
    if !is_summary_word(&word) && !super::super::segments::is_summary_word(word.trim()) {
        return false;
    }
    let numbered = rest
        .iter()
        .filter(|row| leading_number(&first(row)).is_some())
        .count();
    numbered >= 3 && numbered * 2 > rest.len()
}

/// Whether the first of these rows, below a header that says what runs, are the readings of a blank, `blank;0.001;0.002` above
/// `2;0.101;0.111`: its numbers have as many decimals as those below.
pub(super) fn is_reading_of_none(rows: &[&str], head: Option<&str>, dialect: &Dialect) -> bool {
    const FEWEST_DECIMALS: u8 = 2;
    let ([first, rest @ ..], Some(head)) = (rows, head) else {
        return false;
    };
    let heads = split(head, dialect);
    let runs = heads.first().is_some_and(|range| {
        let head = crate::column_header::read_column_header(head[range.clone()].trim());
        head.quantity == Some(curvary_record::Quantity::CONCENTRATION)
            || super::super::segments::is_axis(&head)
    });
    let decimals = |row: &str| -> Vec<Option<u8>> {
        let cells = split(row, dialect).into_iter().skip(1);
        cells
            .map(|range| match cell(&row[range], dialect.style) {
                Cell::Number { decimals, .. } => Some(decimals),
                _ => None,
            })
            .collect()
    };
    let own = decimals(first);
    let name = split(first, dialect)
        .first()
        .map_or("", |range| first[range.clone()].trim());
    let as_readings = own
        .iter()
        .all(|own| own.is_some_and(|own| own >= FEWEST_DECIMALS));
    runs && !own.is_empty()
        && heads.len() == own.len() + 1
        && crate::words::is_blank(name)
        && as_readings
        && rest.first().is_some_and(|row| decimals(row) == own)
}

/// So many rows of conditions and headers stand over one table.
const MOST_CONDITIONS: usize = 4;

/// Whether the first of these rows holds a condition for each curve and is none of them: `T (°C),25,30,35` over rows that
/// begin with numbers.
pub(super) fn is_condition_of_curves(rows: &[&str], dialect: &Dialect) -> bool {
    let [first, rest @ ..] = rows else { return false };
    let cells = split(first, dialect);
    let Some((key, values)) = cells.split_first() else {
        return false;
    };
    let key = &first[key.clone()];
    let head = crate::column_header::read_column_header(key);
    let known = head.quantity.is_some() || head.unit.is_some() || crate::words::field_of(key).is_some();
    let is_number = |cell: &Range<usize>| cell.is_empty() || leading_number(&first[cell.clone()]).is_some();
    let begins_with_number = |row: &&&str| {
        split(row, dialect)
            .first()
            .is_some_and(|range| leading_number(&row[range.clone()]).is_some())
    };
    if !known || leading_number(key).is_some() || values.len() < 2 || !values.iter().all(is_number) {
        return false;
    }
    // Other rows of conditions and the header may stand below it.
    let above = rest.iter().take_while(|row| !begins_with_number(row)).count();
    let rest = rest.get(above.min(MOST_CONDITIONS)..).unwrap_or(&[]);
    rest.len() >= 2 && rest.iter().filter(begins_with_number).count() * 10 >= rest.len() * 9
}

/// Whether the first of these rows holds numbers of what the line above it names with its unit, and nothing is measured in it:
/// `Strain;0;4;8` under `;Time (h);;`, `No.;Sample;0;5` under `;;Time (min);`.
pub(super) fn is_row_under_parameter(rows: &[&str], head: Option<&str>, dialect: &Dialect) -> bool {
    let (Some(first), Some(head)) = (rows.first(), head) else {
        return false;
    };
    let apart = matches!(dialect.sep, Delimiter::Blank | Delimiter::Wide);
    let over: Vec<&str> = raw_split(
        head.trim_end_matches(['\r', '\n']),
        if apart { Delimiter::Wide } else { dialect.sep },
    )
    .into_iter()
    .map(|cell| head[cell].trim())
    .collect();
    let filled: Vec<usize> = (0..over.len()).filter(|&at| !over[at].is_empty()).collect();
    // Between blanks, and where it stands alone, it may stand over the middle of its numbers.
    let reaches: Vec<Range<usize>> = match filled.as_slice() {
        [alone] => parameter(over[*alone])
            .map(|_| 1..usize::MAX)
            .into_iter()
            .collect(),
        _ if apart => Vec::new(),
        several => several
            .iter()
            .filter(|&&from| from > 0 && parameter(over[from]).is_some())
            .map(|&from| {
                from..several
                    .iter()
                    .copied()
                    .find(|at| *at > from)
                    .unwrap_or(usize::MAX)
            })
            .collect(),
    };
    let mut numbers: Vec<Vec<f64>> = vec![Vec::new(); reaches.len()];
    for (at, range) in split(first, dialect).into_iter().enumerate() {
        let reach = reaches.iter().position(|reach| reach.contains(&at));
        match (cell(&first[range.clone()], dialect.style), reach) {
            (Cell::Number { value, .. }, Some(reach)) => numbers[reach].push(value),
            // What stands in front of them, or beside them, is no number.
            _ if leading_number(&first[range]).is_some() => return false,
            _ => {}
        }
    }
    let runs = |numbers: &Vec<f64>| {
        let pairs = || numbers.windows(2);
        numbers.len() >= 2 && (pairs().all(|pair| pair[0] < pair[1]) || pairs().all(|pair| pair[0] > pair[1]))
    };
    !numbers.is_empty() && numbers.iter().all(runs)
}

/// Whether a row names what runs, or the samples, in one cell, and has a coordinate with its unit in each other: `Time (s),340 nm`.
pub(super) fn names_levels(row: &str, cells: &[Range<usize>], dialect: &Dialect) -> bool {
    let head_of = |range: &Range<usize>| crate::column_header::read_column_header(row[range.clone()].trim());
    let is_level = |range: &Range<usize>| {
        let united = matches!(cell(&row[range.clone()], dialect.style), Cell::WithUnit { .. });
        united
            && head_of(range).held.iter().any(|held| {
                matches!(
                    held.quantity.as_str(),
                    "wavelength" | "time" | "temperature" | "concentration"
                )
            })
    };
    let mut named = cells.iter().filter(|range| !is_level(range));
    let (Some(name), None) = (named.next(), named.next()) else {
        return false;
    };
    let head = head_of(name);
    cells.len() >= 2 && (head.quantity.is_some() || head.unit.is_some())
}

/// Whether the first of these rows tells the columns of the others apart: nothing over the first column, a number with
/// its unit over each of the rest (`;0 µM;5 µM;10 µM`), and no unit in the rows below.
pub(super) fn is_row_of_levels(rows: &[&str], dialect: &Dialect) -> bool {
    /// So many rows below tell that it is a header.
    const SAMPLED: usize = 8;
    let [first, rest @ ..] = rows else { return false };
    let united = |row: &str, range: &Range<usize>| {
        matches!(cell(&row[range.clone()], dialect.style), Cell::WithUnit { .. })
    };
    let cells = split(first, dialect);
    let Some((corner, levels)) = cells.split_first() else {
        return false;
    };
    let named = cells.iter().position(|range| !united(first, range));
    if names_levels(first, &cells, dialect)
        && rest.len() >= 2
        && rest.iter().take(SAMPLED).all(|row| {
            let below = split(row, dialect);
            let mut others = below.iter().enumerate().filter(|(at, _)| Some(*at) != named);
            below.len() == cells.len() && !others.any(|(_, range)| united(row, range))
        })
    {
        return true;
    }
    first[corner.clone()].trim_matches(is_blank).is_empty()
        && levels.len() >= 2
        && levels.iter().all(|range| united(first, range))
        && rest.len() >= 2
        && rest
            .iter()
            .all(|row| !split(row, dialect).iter().any(|range| united(row, range)))
}

/// Whether a line of nothing but `1 2 3` stands over rows that blanks part, of the letters `A`, `B` and as many numbers.
pub(super) fn stands_over_a_plate(text: &str, cursor: Cursor) -> bool {
    const FEWEST: usize = 2;
    let mut lines = text[cursor.at..].lines();
    let Some(header) = lines.next() else { return false };
    let mut count = 0;
    let counts = header.split_whitespace().all(|cell| {
        count += 1;
        cell.parse() == Ok(count)
    });
    if !counts || count < FEWEST || !header.starts_with([' ', '\t']) {
        return false;
    }
    let rows = lines.zip('A'..).take_while(|(line, letter)| {
        let mut cells = line.split_whitespace();
        let named = cells
            .next()
            .is_some_and(|cell| cell.chars().eq(std::iter::once(*letter)));
        named && cells.count() == count
    });
    rows.count() >= FEWEST
}

/// Whether the first of these rows is a header of numbers with an empty corner, ` ;1;2;3` over `A;0.183;0.060`: nothing over
/// the first column, numbers that rise over all others, and the rows below are full.
pub(super) fn is_row_over_others(rows: &[&str], dialect: &Dialect) -> bool {
    const FEWEST: usize = 3;
    if dialect.sep.byte().is_none() {
        return false;
    }
    let [first, rest @ ..] = rows else { return false };
    let cells = raw_split(first, dialect.sep);
    let empty = |row: &str, range: &Range<usize>| row[range.clone()].trim_matches(is_blank).is_empty();
    let Some((corner, others)) = cells.split_first() else {
        return false;
    };
    if !empty(first, corner) || others.len() < FEWEST {
        return false;
    }
    // A line without the sign between the cells ends the rows: `Lamp hours: 812`.
    let parted = |row: &&&str| raw_split(row, dialect.sep).len() > 1;
    let rest = &rest[..rest.iter().take_while(parted).count()];
    let numbers: Vec<f64> = others
        .iter()
        .map_while(|range| match cell(&first[range.clone()], dialect.style) {
            Cell::Number { value, .. } => Some(value),
            _ => None,
        })
        .collect();
    // Behind them may stand `Row mean`, or nothing where each line ends with the sign.
    let worded = others[numbers.len()..].iter().all(|range| {
        matches!(
            cell(&first[range.clone()], dialect.style),
            Cell::Words | Cell::Empty
        )
    });
    let rises = numbers.windows(2).all(|pair| pair[0] < pair[1]);
    // A note among the rows is none of them, and the same header again begins others.
    let full: Vec<&&str> = rest[..foot::without_foot(rest, false)]
        .iter()
        .take_while(|row| row.trim_end() != first.trim_end())
        .filter(|row| raw_split(row, dialect.sep).len() == cells.len())
        .collect();
    let first_cell = |row: &str| {
        raw_split(row, dialect.sep)
            .first()
            .map_or("", |range| row[range.clone()].trim())
            .to_owned()
    };
    // `A`, `B`, `C` name the rows of a plate.
    let lettered = full
        .iter()
        .zip('A'..)
        .all(|(row, letter)| first_cell(row) == letter.to_string());
    let enough = full.len() >= if lettered { 1 } else { 2 };
    worded
        && numbers.len() >= FEWEST
        && rises
        && enough
        && full.iter().all(|row| {
            let below = raw_split(row, dialect.sep);
            below.iter().take(2).all(|range| !empty(row, range))
        })
}

/// Whether the first of these rows, words with numbers behind them, is the head of the others: `Wavelength (nm);420;435`.
pub(super) fn is_head_of_numbers(rows: &[&str], dialect: &Dialect) -> bool {
    let [first, rest @ ..] = rows else { return false };
    // `wavelength/nm  500  505`, and two rows below it `wavelength/nm  520  525`: strips of a curve.
    let name = |row: &str| {
        split(row, dialect)
            .first()
            .map_or("", |range| row[range.clone()].trim())
            .to_owned()
    };
    let own = name(first);
    if rest.len() >= 3 && rest.iter().any(|row| name(row) == own) && rest.iter().all(|row| row != first) {
        return false;
    }
    // In the style of the table: `1,365` is no thousand where the comma is the decimal sign.
    let numbers = |row: &str| -> Vec<f64> {
        split(row, dialect)
            .into_iter()
            .skip(1)
            .filter_map(|range| match cell(&row[range], dialect.style) {
                Cell::Number { value, .. } | Cell::WithUnit { value, .. } => Some(value),
                _ => None,
            })
            .collect()
    };
    let across = numbers(first);
    // `substrate;0 s;30 s;60 s`: a unit behind every number of the first row, and behind none below.
    let with_unit = |row: &str| {
        let cells = split(row, dialect).into_iter().skip(1);
        cells
            .filter(|range| matches!(cell(&row[range.clone()], dialect.style), Cell::WithUnit { .. }))
            .count()
    };
    let rises = across.windows(2).all(|pair| pair[0] < pair[1]);
    // Wavelengths may stand in any order: `664 nm;647 nm;630 nm;750 nm`.
    let wavelengths = || {
        let cells = split(first, dialect).into_iter().skip(1);
        cells
            .map(|range| first[range].trim())
            .filter(|cell| cell.starts_with(|c: char| c.is_ascii_digit()))
            .all(|cell| cell.ends_with("nm"))
    };
    if across.len() >= 2
        && (rises || wavelengths())
        && with_unit(first) == across.len()
        && rest.len() >= 2
        && rest.iter().all(|row| with_unit(row) == 0)
    {
        return true;
    }
    let Some(corner) = split(first, dialect).first().map(|range| &first[range.clone()]) else {
        return false;
    };
    if across.len() < 2 {
        return false;
    }
    let orderly = across.windows(2).all(|w| w[0] < w[1]) || across.windows(2).all(|w| w[0] > w[1]);
    let names = |text: &str| {
        let head = crate::column_header::read_column_header(text);
        // `S0` is a sample as often as a concentration; with its unit it is none.
        let concentration =
            head.quantity == Some(curvary_record::Quantity::CONCENTRATION) && head.unit.is_some();
        let mut quantities = head.quantity.iter().chain(&head.quantities_possible);
        concentration || quantities.any(|q| matches!(q.as_str(), "wavelength" | "wavenumber" | "time"))
    };
    // `nm\s` over a matrix names what runs down and what runs across.
    let both = corner
        .split_once(['\\', '/', '|'])
        .is_some_and(|(down, over)| names(down) && names(over));
    let corner_tells = (names(corner) || both)
        && rest.iter().all(|row| {
            split(row, dialect)
                .first()
                .is_none_or(|range| !names(&row[range.clone()]))
        });
    let light = across
        .iter()
        .all(|&value| crate::light::AMONG_OTHERS.contains(&value))
        && rest
            .iter()
            .all(|row| numbers(row).iter().all(|value| value.abs() < 100.0));
    // `Clock;;1;2;3;4` over the rows of a plate: a count over readings.
    let counts = across
        .iter()
        .enumerate()
        .all(|(at, &value)| value == (at + 1) as f64);
    let readings = || {
        rest.iter()
            .all(|row| numbers(row).iter().any(|value| value.fract() != 0.0))
    };
    corner_tells || (orderly && light && !rest.is_empty()) || counts && rest.len() >= 2 && readings()
}
