//! Lines of keys with their values, conditions and captions, which are no rows though they look like them.

use std::ops::Range;

use curvary_record::Span;

use super::super::dialect::is_blank;
use super::super::foot;
use super::super::grid::{ColumnKind, Cursor, Grid, line_end};
use super::super::number::{Cell, cell};
use super::HeadRow;
use super::lines::{LineGlance, class_of, leading_number};

/// Whether a line and the one above it are keys with a colon, `Sample 2: Malt` below `Sample 1: Tea`.
pub(super) fn is_key_below_key(above: Option<&str>, line: &str) -> bool {
    let is_key = |line: &str| matches!(crate::preamble::pairs(line).first(), Some(pair) if pair.mark == ':');
    above.is_some_and(is_key) && is_key(line)
}

/// Whether a line of a word and a number stands directly over the headers of a wider table: `Ramp;0.5 °C/min` is a key there.
pub(super) fn stands_over_headers(text: &str, cursor: Cursor) -> bool {
    let (end, next) = line_end(text.as_bytes(), cursor.at);
    let (below, _) = line_end(text.as_bytes(), next.min(text.len()));
    let (line, below) = (&text[cursor.at..end], &text[next.min(text.len())..below]);
    class_of(below) == LineGlance::Words
        && ['\t', ';', ',']
            .into_iter()
            .any(|mark| filled(line, mark) >= 2 && filled(below, mark) > filled(line, mark))
}

/// Whether the next line that is not blank is one of words.
pub(super) fn stands_over_words(text: &str, cursor: Cursor) -> bool {
    let (_, next) = line_end(text.as_bytes(), cursor.at);
    let mut below = text[next.min(text.len())..].lines();
    below
        .find(|line| !line.trim_matches(is_blank).is_empty())
        .is_some_and(|line| class_of(line) == LineGlance::Words)
}

/// Whether a line is a known key with its value, or one of several, and the first line below them that is none is the header
/// of a wider table: `Path length,1 mm` over `Tank,420 nm,520 nm` is no row, though it has a word and a number as the rows do.
pub(super) fn is_key_over_headers(text: &str, cursor: Cursor) -> bool {
    const FURTHEST: usize = 24;
    let mut lines = text[cursor.at..]
        .lines()
        .filter(|line| !line.trim_matches(is_blank).is_empty())
        .take(FURTHEST);
    let Some(line) = lines.next() else { return false };
    let Some(delimiter) = ['\t', ';', ','].into_iter().find(|mark| filled(line, *mark) == 2) else {
        return false;
    };
    let is_key = |line: &str| {
        let mut cells = line
            .split(delimiter)
            .map(|cell| cell.trim_matches(is_blank))
            .filter(|cell| !cell.is_empty());
        let key = cells
            .next()
            .unwrap_or_default()
            .trim_end_matches([':', '='])
            .trim_end();
        // `b` and `c` name samples.
        filled(line, delimiter) == 2 && key.chars().count() >= 3 && crate::preamble::is_known(key)
    };
    if !is_key(line) {
        return false;
    }
    let Some(header) = lines.find(|line| !is_key(line)) else {
        return false;
    };
    let Some(row) = lines.next() else { return false };
    // Words over numbers, or numbers with a unit over numbers without one.
    let lettered = |cell: &str| cell.contains(char::is_alphabetic);
    filled(header, delimiter) >= 3
        && header
            .split(delimiter)
            .zip(row.split(delimiter))
            .skip(1)
            .any(|(name, below)| lettered(name) && !lettered(below) && leading_number(below).is_some())
}

/// How many cells of a line hold something, where `delimiter` parts them.
pub(super) fn filled(line: &str, delimiter: char) -> usize {
    line.split(delimiter)
        .filter(|cell| !cell.trim_matches(is_blank).is_empty())
        .count()
}

/// Where the lines begin that end a part of a text, which was read as rows, and are keys with their values.
pub(super) fn foot_of(text: &str, rows: Range<usize>, open_are_keys: bool) -> Option<usize> {
    let part = &text[rows.clone()];
    let mut last: Vec<&str> = part
        .lines()
        .rev()
        .filter(|line| !line.trim_matches(is_blank).is_empty())
        .take(2 * foot::LONGEST)
        .collect();
    last.reverse();
    let body = foot::without_foot(&last, open_are_keys);
    let first = last.get(body)?;
    Some(crate::slice::offset_in(text, first))
}

/// Whether the lowest of the heads over two columns is a key and its value and so are the rows: `Slit;2 nm` over
/// `Averaging;0.1 s`, `Wavelength (nm);278` over `Cell (cm);1`. The unit of a head is that of the numbers below it.
pub(super) fn heads_are_a_key(text: &str, heads: &[HeadRow], grid: &Grid) -> bool {
    let Some([Some(key), Some(value), beside @ ..]) = heads.last().map(|head| head.cells.as_slice()) else {
        return false;
    };
    // Below stands a wider table; the cells beside keys are empty.
    let empty = |column: usize| match grid.kinds[column] {
        ColumnKind::Figures => grid.column(column).all(f64::is_nan),
        ColumnKind::Words => grid.words(column).iter().all(|span| span.start == span.end),
    };
    if !beside.iter().all(Option::is_none) || !(2..grid.columns()).all(empty) {
        return false;
    }
    let value = &text[value.range()];
    let is_key = |span: &Span| {
        let key = text[span.range()].trim();
        let name = crate::column_header::split_unit(key).map_or(key, |(name, _)| name);
        crate::words::field_of(key).is_some() || crate::preamble::is_known(name)
    };
    if is_key(key)
        && matches!(cell(value, grid.dialect.style), Cell::Number { .. })
        && grid.words(0).iter().all(is_key)
    {
        return true;
    }
    let lowest_are_settings =
        heads.len() >= 2 && heads.iter().rev().take(2).all(|head| is_setting(text, head));
    let below_a_key = || {
        heads.last().is_some_and(|head| {
            let above = text[..head.line.span.start as usize].trim_end_matches(['\n', '\r']);
            let line = above.rsplit('\n').next().unwrap_or("");
            is_setting(text, head)
                && crate::preamble::pair_in_blanks(line)
                    .is_some_and(|pair| crate::preamble::is_known(&line[pair.key.clone()]))
        })
    };
    if lowest_are_settings || below_a_key() {
        return true;
    }
    match (cell(value, grid.dialect.style), grid.units.get(1)) {
        (Cell::WithUnit { unit, .. }, Some(Some(below))) => value[unit..].trim() != below.trim(),
        _ => false,
    }
}

/// Whether a row of heads is the key of a setting and its value, `Mode   absorbance`: no column has such a header, and below a
/// second one of them only more can stand, `Scale low   0.000`.
fn is_setting(text: &str, head: &HeadRow) -> bool {
    let [Some(key), Some(_)] = head.cells.as_slice() else {
        return false;
    };
    let field = crate::words::field_of(text[key.range()].trim());
    field.is_some_and(|field| {
        matches!(
            field,
            "accessory"
                | "bandwidth"
                | "baseline"
                | "cycle"
                | "data-type"
                | "detector"
                | "instrument"
                | "integration-time"
                | "lamp"
                | "method"
                | "operator"
                | "scan-speed"
                | "software"
                | "step"
                | "stirring"
                | "title"
        )
    })
}

/// Whether the first words of all rows are keys of known fields: `Temperature  37` is no row of a table.
pub(super) fn all_keys(text: &str, grid: &Grid) -> bool {
    let words = grid.words(0);
    let keys = words.iter().filter(|span| {
        let word = text[span.range()].trim_end_matches([':', '=']).trim();
        let bare = crate::column_header::split_unit(word).map_or(word, |(name, _)| name);
        // `b` and `c` name samples.
        word.chars().count() >= 3 && crate::preamble::is_known(word) || crate::words::field_of(bare).is_some()
    });
    keys.count() * 2 >= words.len()
}

/// Whether a line is nothing but known keys with their values: its first cell is empty or a key.
pub(super) fn is_line_of_keys(line: &str) -> bool {
    let pairs = crate::preamble::pairs(line.trim_matches(|c| is_blank(c) || c == ';'));
    !pairs.is_empty()
        && pairs.iter().all(|pair| {
            let line = line.trim_matches(|c| is_blank(c) || c == ';');
            crate::preamble::is_known(&line[pair.key.clone()]) && !pair.value.is_empty()
        })
}

/// Whether a line states conditions and nothing else: `37 °C; pH 9.8`.
pub(super) fn is_line_of_conditions(line: &str) -> bool {
    const LONGEST: usize = 80;
    let may_be = line.len() <= LONGEST && (line.contains("pH") || line.contains(['°', 'º']));
    let statements = || {
        crate::preamble::statements(line)
            .into_iter()
            .map(|statement| line[statement].trim())
            .filter(|statement| !statement.is_empty())
    };
    may_be && statements().count() >= 2 && statements().all(crate::preamble::is_condition)
}

/// Whether a line says what was measured and at which wavelength, and nothing else: `OD 600 nm`, `Absorbance at 405 nm`. It is no row
/// of a name and a number.
pub(super) fn is_caption(line: &str) -> bool {
    const LONGEST: usize = 48;
    let line = line.trim_matches(is_blank);
    if line.len() > LONGEST
        || !line.ends_with("nm")
        || line.contains(['\t', ';', '|', ','])
        || line.contains("  ")
    {
        return false;
    }
    let head = crate::column_header::read_column_header(line);
    let at = |held: &curvary_record::Coordinate| held.quantity == curvary_record::Quantity::WAVELENGTH;
    head.quantity.is_some_and(|quantity| quantity.is_of_light())
        && head.label.is_none()
        && head.held.len() == 1
        && head.held.iter().all(at)
}

/// Whether a line is a key that is known with a number behind it: `Slit;2 nm`. What follows are more of them.
pub(super) fn is_key_with_number(line: &str) -> bool {
    let pairs = crate::preamble::pairs(line);
    let [pair] = pairs.as_slice() else { return false };
    crate::preamble::is_known(&line[pair.key.clone()])
        && line[pair.value.clone()].starts_with(|c: char| c.is_ascii_digit())
}
