//! Which words of a header line stand over which column.

use std::ops::Range;

use curvary_record::moment::read_date;

use super::super::columns::unit_fits;
use super::super::dialect::{Delimiter, raw_split, split_wide};
use super::super::grid::{ColumnKind, Grid};
use super::super::scan::leading_number;
use super::super::segments::is_axis;
use super::is_unit_alone;
use crate::column_header::read_column_header;
use crate::words::{self, WordList};

/// Whether a line is a known key with a value over each of the curves, `Date,2012-12-19,2012-12-20` over `nm,Abs,Abs`: days, or the
/// same again and again, or names of samples and people. `Operator;Kay;Room;B12` is several keys.
pub(super) fn is_key_over_each(line: &str, grid: &Grid) -> bool {
    let sep = grid.dialect.sep;
    if sep.byte().is_none() || grid.columns() < 3 {
        return false;
    }
    let cells: Vec<&str> = raw_split(line, sep)
        .into_iter()
        .map(|range| line[range].trim().trim_matches('"'))
        .collect();
    let Some((key, values)) = cells.split_first().filter(|_| cells.len() == grid.columns()) else {
        return false;
    };
    let key = key.trim_end_matches(':').trim();
    let Some(field) = words::field_of(key).filter(|_| values.iter().all(|value| !value.is_empty())) else {
        return false;
    };
    let is_day = |value: &&str| read_date(value, None).is_day();
    let is_key = |value: &&str| words::field_of(value).is_some() || value.contains([':', '=']);
    let again = values.windows(2).all(|pair| pair[0] == pair[1]);
    let names = matches!(field, "sample" | "sample-id" | "operator")
        && values.iter().all(|value| value.contains(char::is_alphabetic))
        && values
            .iter()
            .all(|value| read_column_header(value).quantity.is_none());
    !values.iter().any(is_key) && (values.iter().all(is_day) || again || names)
}

/// Whether a line above a header is a key and its value in cells of their own, `Oven;105 °C`, where the table has more columns: a row
/// of names or of conditions has a cell for each of them, or leaves the first one empty. The second cell names nothing that a
/// column may hold.
pub(super) fn is_key_in_cells(line: &str, grid: &Grid) -> bool {
    /// A header of more words is a sentence.
    const LONGEST_HEADER: usize = 4;
    let sep = grid.dialect.sep;
    if sep.byte().is_none() || grid.columns() < 2 {
        return false;
    }
    let cells: Vec<&str> = raw_split(line, sep)
        .into_iter()
        .map(|range| line[range].trim())
        .collect();
    let filled = cells.iter().filter(|cell| !cell.is_empty()).count();
    let [key, value, ..] = cells.as_slice() else {
        return false;
    };
    if filled != 2 || !key.starts_with(char::is_alphabetic) || value.is_empty() {
        return false;
    }
    let (key_head, value_head) = (read_column_header(key), read_column_header(value));
    // A value with its unit, or a sentence, is over no column.
    let stated =
        value.starts_with(|c: char| c.is_ascii_digit()) || value.split_whitespace().count() > LONGEST_HEADER;
    let names = value_head.quantity.is_some()
        || !value_head.quantities_possible.is_empty()
        || value_head.unit.is_some();
    let named = is_axis(&key_head) || key_head.is_of_light() || key_head.unit.is_some();
    let sample = (crate::words::field_of(key).is_some()
        || key_head
            .quantity
            .as_ref()
            .is_some_and(|quantity| quantity.as_str() == "sample"))
        && !is_axis(&key_head);
    let key_alone = key_head.quantity.is_none() && key_head.quantities_possible.is_empty();
    stated || !names && !named && (key_alone || sample)
}

/// Whether a line is of the form of the rows below it, `02.02.2014;0,176;` over others of a date and a reading: a number with as
/// many decimals over the only column of readings.
pub(super) fn is_like_a_row(line: &str, cells: &[Option<Range<usize>>], grid: &Grid) -> bool {
    let figures: Vec<usize> = (0..grid.columns())
        .filter(|&at| grid.kinds[at] == ColumnKind::Figures)
        .collect();
    let &[at] = figures.as_slice() else {
        return are_all_like_readings(line, cells, grid, &figures);
    };
    let Some(cell) = cells.get(at).and_then(|cell| cell.clone()).filter(|_| at > 0) else {
        return false;
    };
    let decimals = |text: &str| {
        text.trim()
            .split_once(['.', ','])
            .map_or(0, |(_, decimals)| decimals.len())
    };
    let number = line[cell.clone()].trim();
    let reading = leading_number(number).is_some_and(|value| value.abs() < 10.0) && decimals(number) >= 2;
    reading
        && super::super::surroundings::are_like_readings(grid)
        && grid.decimals()[grid.place(at)]
            .iter()
            .any(|&(_, digits)| usize::from(digits) == decimals(number))
}

/// Whether the cells over several columns of readings are readings themselves, `A  0.9799  1.0869` above `B  0.2896  0.4283`: each
/// has as many decimals, two or more, as the numbers below it.
fn are_all_like_readings(line: &str, cells: &[Option<Range<usize>>], grid: &Grid, figures: &[usize]) -> bool {
    let changes = grid.decimals();
    let like = |&at: &usize| {
        let number = cells
            .get(at)
            .and_then(|cell| cell.clone())
            .map_or("", |cell| line[cell].trim());
        let digits = number
            .split_once(['.', ','])
            .map_or(0, |(_, decimals)| decimals.len());
        let plain = number
            .bytes()
            .all(|byte| byte.is_ascii_digit() || matches!(byte, b'.' | b',' | b'-'));
        let below = changes[grid.place(at)]
            .first()
            .map_or(0, |&(_, digits)| usize::from(digits));
        plain
            && digits >= 2
            && digits == below
            && leading_number(number).is_some_and(|value| value.abs() < 4.0)
    };
    // `Conc. in mol/L  0.00  0.05  0.10` says what runs across.
    let corner = cells
        .first()
        .and_then(Option::clone)
        .map_or("", |cell| line[cell].trim());
    let head = read_column_header(corner);
    let says = head.unit.is_some() || head.quantity.is_some_and(|quantity| !quantity.is_of_light());
    !says
        && figures.len() >= 2
        && super::super::surroundings::are_like_readings(grid)
        && figures.iter().all(like)
}

/// Whether cells say `key value`: the first is a field's name, and what follows is no head of a column.
pub(super) fn is_statement(texts: &[&str], grid: &Grid) -> bool {
    let [key, rest @ ..] = texts else { return false };
    let key = key.trim_end_matches([':', '=']).trim();
    // `Path (mm)` over a number is a field under its unit.
    let number = |text: &&str| {
        let text = text.trim();
        text.starts_with(|c: char| c.is_ascii_digit())
            && text
                .bytes()
                .all(|b| b.is_ascii_digit() || matches!(b, b'.' | b','))
    };
    let name = crate::column_header::split_unit(key)
        .filter(|_| rest.len() == 1 && rest.iter().all(number))
        .map_or(key, |(name, _)| name);
    let known = crate::words::field_of(key).or_else(|| crate::words::field_of(name));
    // Two numbers behind a name, `Wavelength,340,405`, stand over two columns.
    // So do two words of which none is a unit: `Sample;tea;malt`.
    let words = || {
        rest.iter()
            .all(|text| text.starts_with(char::is_alphabetic) && !is_unit_alone(text))
    };
    if rest.len() > 2 || rest.len() == 2 && (rest.iter().all(number) || words()) || known.is_none() {
        return false;
    }
    // `Wavelength;Green tea` over numbers: the value of what runs would be a number.
    let is_name = |text: &&str| {
        text.starts_with(char::is_alphabetic) && words::marker(text).is_none()
            || read_date(text, None).is_day()
    };
    let key_head = read_column_header(key);
    // Units in the cells below it say that it runs there.
    let of_cells = grid.units.first().and_then(Option::as_deref).is_some_and(|unit| {
        let with_unit = read_column_header(&format!("{key} ({})", unit.trim()));
        key_head.quantity.is_some() && with_unit.quantity == key_head.quantity
    });
    if let [value] = rest
        && ((is_axis(&key_head) || of_cells) && is_name(value)
            || known == Some("sample") && names_a_column_of_readings(value))
    {
        return false;
    }
    !rest.iter().any(|text| {
        let head = crate::column_header::read_column_header(text);
        let names = head.quantity.is_some() || !head.quantities_possible.is_empty();
        names && leading_number(text).is_none()
    })
}

/// Whether a word names a column of readings rather than a sample: `Messung 1`, `Mean`, `540 nm`.
fn names_a_column_of_readings(text: &str) -> bool {
    let word = text.trim_end_matches(|c: char| c.is_ascii_digit() || c == ' ');
    let wavelength = || {
        let head = read_column_header(text);
        head.label.is_none()
            && head
                .held
                .iter()
                .any(|held| held.quantity == curvary_record::Quantity::WAVELENGTH)
    };
    let counted = read_column_header(word).quantity;
    counted.is_some_and(|of| matches!(of.as_str(), "index" | "replicate"))
        || words::word(word) == words::HeaderWord::Generic
        || words::is_statistics(word)
        || words::is(WordList::Series, word)
        || wavelength()
}

/// Splits a line of heads into as many cells as the table has columns. `indent`: characters cut from its front.
pub(super) fn head_cells(
    line: &str,
    grid: &Grid,
    indent: usize,
) -> Option<(Vec<Option<Range<usize>>>, bool)> {
    let columns = grid.columns();
    let sep = grid.dialect.sep;
    let whole = |cells: Vec<Range<usize>>| -> Vec<Option<Range<usize>>> {
        cells
            .into_iter()
            .map(|range| Some(range).filter(|r| !r.is_empty()))
            .collect()
    };
    if sep != Delimiter::Blank && sep != Delimiter::Wide {
        let separator = if sep == Delimiter::CommaBlank && !line.contains(", ") {
            Delimiter::Comma
        } else {
            sep
        };
        let mut cells = raw_split(line, separator);
        while cells.len() > columns && cells.last().is_some_and(Range::is_empty) {
            cells.pop();
        }
        if cells.len() == columns {
            return Some((whole(cells), true));
        }
        // `Tea;Malt` over `420 nm;0.1;0.2`: the first column says by its units, or the names of its rows, what it is of.
        if cells.len() + 1 == columns && cells.len() >= 2 && is_named_by_its_cells(line, &cells, grid) {
            let mut shifted = vec![None];
            shifted.extend(whole(cells));
            return Some((shifted, true));
        }
        // A matrix whose corner cell was not written: `400;401;402` over four columns.
        if cells.len() + 1 == columns
            && cells.len() >= 2
            && cells.iter().all(|c| leading_number(&line[c.clone()]).is_some())
        {
            let mut shifted = vec![None];
            shifted.extend(whole(cells));
            return Some((shifted, true));
        }
        if names_rows_without_head(line, &cells, grid, indent) {
            let mut shifted = vec![None];
            shifted.extend(whole(cells));
            return Some((shifted, true));
        }
        // Group heads: fewer cells than columns, the rest left empty.
        if cells.len() >= 2 && cells.len() < columns {
            let mut padded = whole(cells);
            padded.resize(columns, None);
            return Some((padded, true));
        }
    }
    // Blanks divide the heads of a table in blanks as they divide its rows; elsewhere they may only divide words.
    let blanks = matches!(sep, Delimiter::Blank | Delimiter::Wide);
    let line = if blanks { without_aside(line) } else { line };
    let wide = split_wide(line);
    if blanks && wide.len() == columns {
        return Some((whole(wide), true));
    }
    // Names over all columns but that of the names of the rows, over which nothing stands.
    let named = grid.kinds.first() == Some(&ColumnKind::Words);
    let worded = |cell: &Range<usize>| line[cell.clone()].contains(char::is_alphabetic);
    if blanks && named && indent >= 3 && columns >= 3 && wide.len() + 1 == columns && wide.iter().all(worded)
    {
        let mut shifted = vec![None];
        shifted.extend(whole(wide));
        return Some((shifted, true));
    }
    for other in [
        Delimiter::Tab,
        Delimiter::Semicolon,
        Delimiter::Pipe,
        Delimiter::Comma,
    ] {
        if other == sep {
            continue;
        }
        let cells = raw_split(line, other);
        // `absorbance at 510 nm, 1 cm cell` is a sentence above a table whose cells tabs part.
        let sentence = || {
            other == Delimiter::Comma
                && line.contains(", ")
                && !cells.iter().all(|cell| {
                    let head = read_column_header(line[cell.clone()].trim());
                    head.quantity.is_some() && head.held.is_empty() || head.unit.is_some()
                })
        };
        if cells.len() == columns && !sentence() {
            return Some((whole(cells), false));
        }
    }
    if wide.len() == columns {
        return Some((whole(wide), blanks));
    }
    if let Some(cells) = between_signs(line, columns) {
        return Some((whole(cells), false));
    }
    let words = glue_units(line, raw_split(line, Delimiter::Blank));
    if words.len() == columns {
        return Some((whole(words), blanks));
    }
    if words.len() + 1 == columns
        && words.len() >= 2
        && words.iter().all(|w| leading_number(&line[w.clone()]).is_some())
    {
        let mut shifted = vec![None];
        shifted.extend(whole(words));
        return Some((shifted, blanks));
    }
    if names_rows_without_head(line, &words, grid, indent) {
        let mut shifted = vec![None];
        shifted.extend(whole(words));
        return Some((shifted, blanks));
    }
    if blanks && let Some(cells) = named_groups(line, &words, columns) {
        return Some((whole(cells), true));
    }
    by_position(line, &words, grid, indent).map(|cells| (cells, false))
}

/// Headers of several words between single blanks, `lungime de undă (nm) absorbanță`: the one way to part the words in which each group
/// names a quantity and nothing else.
fn named_groups(line: &str, words: &[Range<usize>], columns: usize) -> Option<Vec<Range<usize>>> {
    const MOST_WORDS: usize = 10;
    const MOST_COLUMNS: usize = 4;
    if !(2..=MOST_COLUMNS).contains(&columns) || !(columns + 1..=MOST_WORDS).contains(&words.len()) {
        return None;
    }
    let group = |from: usize, to: usize| words[from].start..words[to - 1].end;
    let names = |range: &Range<usize>| {
        let head = read_column_header(&line[range.clone()]);
        (is_axis(&head) || head.is_of_light()) && head.label.is_none()
    };
    // Of each count of words from the front, the ways to part them into groups, one more at each turn.
    let mut ways: Vec<(usize, Vec<Range<usize>>)> = vec![(0, Vec::new())];
    for left in (0..columns).rev() {
        let mut next = Vec::new();
        for (from, groups) in &ways {
            let ends = if left == 0 {
                words.len()..words.len() + 1
            } else {
                from + 1..words.len() - left + 1
            };
            for to in ends.filter(|to| to > from) {
                let range = group(*from, to);
                if names(&range) {
                    let mut longer = groups.clone();
                    longer.push(range);
                    next.push((to, longer));
                }
            }
        }
        ways = next;
    }
    match ways.as_mut_slice() {
        [(_, only)] => Some(std::mem::take(only)),
        _ => None,
    }
}

/// Headers between signs that separate nothing else, `time [s] / A(280 nm)`: what runs first, and a quantity in each.
fn between_signs(line: &str, columns: usize) -> Option<Vec<Range<usize>>> {
    [" / ", " - ", " – ", " & "].into_iter().find_map(|sign| {
        let cells: Vec<&str> = line.split(sign).map(str::trim).collect();
        let heads: Vec<_> = cells.iter().map(|cell| read_column_header(cell)).collect();
        // `Time / min` is one header with its unit; `nm / mAU` are two units, and two headers.
        let is_unit_of_first = |cell: &&str| {
            let first = heads.first().and_then(|head| head.quantity.as_ref());
            let unit = curvary_record::unit::spelled(cell);
            is_unit_alone(cell)
                && !is_unit_alone(cells[0])
                && first.is_some_and(|quantity| unit.units().iter().any(|unit| unit_fits(quantity, unit)))
        };
        let named =
            heads.iter().all(|head| head.quantity.is_some()) && !cells.iter().skip(1).any(is_unit_of_first);
        // `absorbance / time (s)` says what was read over what.
        let runs = cells.len() == columns && columns >= 2 && is_axis(heads.first()?);
        (named && runs).then(|| {
            cells
                .iter()
                .map(|cell| crate::slice::range_in(line, cell))
                .collect()
        })
    })
}

/// Whether a header names curves alone, as unknown words, over a first column that needs no header: its cells have the unit of what
/// runs.
fn is_named_by_its_cells(line: &str, cells: &[Range<usize>], grid: &Grid) -> bool {
    let unit = grid.units.first().and_then(Option::as_deref);
    let runs = unit.is_some_and(|unit| is_axis(&read_column_header(&format!("({})", unit.trim()))));
    let name = |range: &Range<usize>| {
        let head = read_column_header(line[range.clone()].trim());
        !line[range.clone()].trim().is_empty() && head.quantity.is_none() && head.unit.is_none()
    };
    runs && cells.iter().all(name)
}

/// Whether a header is short by one since the first column only numbers or names the rows: `nm A` over `1 400 0.12`. It
/// must name what runs and what was measured, and the numbers under what runs must not do for what was measured; or stand over
/// the other columns, flush with their right edges, or in quotes as each of them, as programs print a frame of data.
fn names_rows_without_head(line: &str, cells: &[Range<usize>], grid: &Grid, indent: usize) -> bool {
    if cells.len() + 1 != grid.columns() || cells.len() < 2 || grid.rows < 3 {
        return false;
    }
    let head = |range: &Range<usize>| {
        super::super::columns::head_or_first_word(line[range.clone()].trim_matches('"'))
    };
    let measured = |range: &Range<usize>| head(range).quantity.is_some_and(|q| q.is_of_light());
    let counts = || {
        let first = grid.figure(0, 0);
        (first == 0.0 || first == 1.0)
            && grid
                .column(0)
                .enumerate()
                .all(|(row, value)| value == first + row as f64)
    };
    let words = grid.kinds[0] == ColumnKind::Words;
    if !words && !counts() || grid.kinds[1] != ColumnKind::Figures {
        return false;
    }
    let quoted =
        |range: &Range<usize>| line[range.clone()].starts_with('"') || line[..range.start].ends_with('"');
    let printed = cells.iter().all(quoted) || !words && stand_flush_right(line, cells, grid, indent);
    if printed && cells.iter().any(measured) {
        return true;
    }
    let runs = head(&cells[0])
        .quantity
        .is_some_and(|q| matches!(q.as_str(), "wavelength" | "wavenumber" | "time"));
    let axis: Vec<f64> = grid.column(1).collect();
    let orderly =
        axis.windows(2).all(|pair| pair[0] < pair[1]) || axis.windows(2).all(|pair| pair[0] > pair[1]);
    let beyond = axis.iter().any(|value| *value > 10.0);
    runs && cells[1..].iter().all(measured) && orderly && beyond
}

/// Whether words end where the columns behind the first end, in a table in fixed columns: one after the other, and none over the
/// first.
fn stand_flush_right(line: &str, words: &[Range<usize>], grid: &Grid, indent: usize) -> bool {
    let extents = grid.extents();
    extents.len() == words.len() + 1
        && words.iter().zip(&extents[1..]).all(|(word, (_, end))| {
            let own = indent + line[..word.end].chars().count();
            own.abs_diff(*end) <= 1
        })
        && words.first().is_some_and(|word| {
            let start = indent + line[..word.start].chars().count();
            start + 1 >= extents[0].1
        })
}

/// A line of heads without an aside at its end: `nm  Abs   (one sample, columns continue)`.
fn without_aside(line: &str) -> &str {
    let Some(open) = line.rfind("  (").filter(|_| line.trim_end().ends_with(')')) else {
        return line;
    };
    let inner = line[open + 3..].trim_end().trim_end_matches(')');
    let is_unit = !matches!(
        curvary_record::unit::spelled(inner),
        curvary_record::unit::Spelling::None
    );
    if is_unit || !inner.contains(' ') {
        line
    } else {
        line[..open].trim_end()
    }
}

/// A line without the strokes that it is set off with on both sides: the `nm , A` of `-- nm , A --`.
pub(super) fn undecorated(line: &str) -> &str {
    for stroke in ['-', '=', '~', '*', '_'] {
        let bare = |text: &str| text.starts_with(stroke) && text[1..].starts_with(stroke);
        if bare(line) && line.ends_with(stroke) {
            let inner = line.trim_matches(stroke);
            if inner.starts_with(' ') && inner.ends_with(' ') {
                return inner.trim();
            }
        }
    }
    line
}

/// Puts `(nm)`, `[nm]`, `/ nm` and the like to the word before them.
pub(crate) fn glue_units(line: &str, words: Vec<Range<usize>>) -> Vec<Range<usize>> {
    let mut glued: Vec<Range<usize>> = Vec::with_capacity(words.len());
    let mut open = false;
    let mut joins_next = false;
    for word in words {
        let text = &line[word.clone()];
        let joins = open || joins_next || text.starts_with(['(', '[', '/', '@']);
        match glued.last_mut() {
            Some(last) if joins => last.end = word.end,
            _ => glued.push(word),
        }
        let depth =
            |open: [char; 2], close: [char; 2]| text.matches(open).count() > text.matches(close).count();
        let opened = depth(['(', '['], [')', ']']);
        let closed = text.matches([')', ']']).count() > text.matches(['(', '[']).count();
        open = (open || opened) && !closed;
        joins_next = matches!(text, "/" | "@" | "in") || text.ends_with(['/', '@']) && text.len() > 1;
    }
    glued
}

/// Puts each word over the column of figures nearest to it, for tables in fixed columns.
fn by_position(
    line: &str,
    words: &[Range<usize>],
    grid: &Grid,
    indent: usize,
) -> Option<Vec<Option<Range<usize>>>> {
    let extents = grid.extents();
    if extents.len() != grid.columns() || words.is_empty() {
        return None;
    }
    let mut cells: Vec<Option<Range<usize>>> = vec![None; extents.len()];
    let mut furthest = 0;
    for word in words {
        let start = indent + line[..word.start].chars().count();
        let end = indent + line[..word.end].chars().count();
        let distance = |extent: &(usize, usize)| {
            let middle = (start + end) as f64 / 2.0;
            let over = start < extent.1 && end > extent.0;
            if over {
                0.0
            } else {
                (middle - (extent.0 + extent.1) as f64 / 2.0).abs()
            }
        };
        let column =
            (0..extents.len()).min_by(|&a, &b| distance(&extents[a]).total_cmp(&distance(&extents[b])))?;
        if column < furthest || distance(&extents[column]) > 12.0 {
            return None;
        }
        furthest = column;
        cells[column] = Some(match cells[column].take() {
            Some(front) => front.start..word.end,
            None => word.clone(),
        });
    }
    // At least half the columns must have a head for the line to be one.
    (cells.iter().flatten().count() * 2 >= cells.len()).then_some(cells)
}
