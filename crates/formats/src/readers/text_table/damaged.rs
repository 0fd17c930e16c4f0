//! What a damaged row looks like: a line that one lost, doubled or exchanged sign keeps from being a row.

use curvary_record::{Code, Diagnostic, Place};

use super::dialect::{Delimiter, Dialect, is_blank, raw_split, split};
use super::foot;
use super::grid::{ColumnKind, Cursor, Grid};
use super::join::{Section, row_cut};
use super::number::{Cell, cell};
use super::scan::{ScannedTable, TextLine, strip_remark};
use crate::Source;

/// A line in its outline: each run of digits, of letters and of blanks is one sign, all other signs stand as they are.
fn outline(line: &str) -> Vec<u8> {
    let mut outline: Vec<u8> = Vec::with_capacity(line.len() / 2);
    for byte in line.trim().bytes() {
        let sign = match byte {
            b'0'..=b'9' => b'0',
            b' ' => b' ',
            _ if byte.is_ascii_alphabetic() || byte >= 0x80 => b'a',
            _ => byte,
        };
        let in_run = matches!(sign, b'0' | b' ' | b'a') && outline.last() == Some(&sign);
        if !in_run {
            outline.push(sign);
        }
    }
    outline
}

/// Whether two texts have the same outline.
pub(super) fn same_outline(one: &str, other: &str) -> bool {
    outline(one) == outline(other)
}

fn digits(line: &str) -> usize {
    line.bytes().filter(u8::is_ascii_digit).count()
}

/// So many signs of the outlines may differ: a digit that became a letter in the midst of a number changes two.
const MOST: usize = 2;
/// Results of a fit below a table are few: a slope, an intercept, their errors, a measure of the fit.
const MOST_RESULTS: usize = 8;

/// Whether two outlines differ by no more than [`MOST`] signs that are lost, added or exchanged.
fn nearly_same(one: &[u8], other: &[u8]) -> bool {
    if one.len().abs_diff(other.len()) > MOST {
        return false;
    }
    // Distances of Levenshtein, of which only a band about the diagonal can be small enough.
    const BAND: usize = 2 * MOST + 1;
    let far = MOST + 1;
    let mut row: [usize; BAND] = std::array::from_fn(|at| at.checked_sub(MOST).unwrap_or(far));
    for (i, sign) in one.iter().enumerate() {
        let mut next = [far; BAND];
        for at in 0..BAND {
            // The column of this place of the band, counted from one.
            let Some(j) = (i + 1 + at).checked_sub(MOST) else {
                continue;
            };
            if j > other.len() {
                continue;
            }
            let exchanged = match j.checked_sub(1).and_then(|j| other.get(j)) {
                Some(theirs) => row[at] + usize::from(theirs != sign),
                None => far,
            };
            let lost = row.get(at + 1).map_or(far, |&above| above + 1);
            let added = match at.checked_sub(1) {
                Some(left) if j > 0 => next[left] + 1,
                _ => far,
            };
            next[at] = exchanged.min(lost).min(added).min(far);
        }
        if next.iter().all(|&distance| distance > MOST) {
            return false;
        }
        row = next;
    }
    let end = other.len() + MOST - one.len();
    row.get(end).is_some_and(|&distance| distance <= MOST)
}

/// Whether a line looks like `row`, a row of a table, or like two of them on one line, with one sign damaged.
pub(super) fn resembles(line: &str, row: &str) -> bool {
    let (has, wanted) = (digits(line), digits(row));
    if wanted == 0 || has * 10 < wanted * 6 || line.len() > 3 * row.len() + 16 {
        return false;
    }
    let (line, row) = (outline(line), outline(row));
    nearly_same(&line, &row) || nearly_same(&line, &[row.as_slice(), &row].concat())
}

/// Whether a line is the first cell of a row and nothing else: a row that was cut behind it. `row` is one of the table's,
/// whose first cell looks the same. Only where a sign of its own parts the cells.
pub(super) fn is_cut_row(line: &str, row: &str, dialect: &Dialect) -> bool {
    let hard = dialect.sep.byte().is_some() || dialect.sep == Delimiter::CommaBlank;
    // Separators behind the cell close empty ones: nothing was cut.
    let line = line.trim_matches(|c| c != '\t' && is_blank(c));
    if !hard || line.is_empty() || raw_split(line, dialect.sep).len() != 1 {
        return false;
    }
    let cells = raw_split(row, dialect.sep);
    let first = cells.first().map_or("", |range| &row[range.clone()]);
    if cells.len() < 2 || first.is_empty() {
        return false;
    }
    // The name may have run together with the value behind it: `S4OVER`.
    let value = |text: &str| matches!(cell(text, dialect.style), Cell::Missing | Cell::Beyond);
    let runs_on = || {
        let ends = line.char_indices().skip(1).map(|(at, _)| at);
        cells.len() == 2
            && first.contains(|c: char| c.is_ascii_digit())
            && ends
                .filter(|&at| value(&line[at..]))
                .any(|at| outline(&line[..at]) == outline(first))
    };
    outline(line) == outline(first) || runs_on()
}

/// Whether a line has all cells of a row, of which only the first holds something: a name of the form that those of the table have.
fn is_row_without_readings(line: &str, grid: &Grid, text: &str) -> bool {
    if grid.dialect.sep.byte().is_none() {
        return false;
    }
    let cells = raw_split(line, grid.dialect.sep);
    let held = |range: &std::ops::Range<usize>| line[range.clone()].contains(char::is_alphanumeric);
    // `lot 15;n.m.` says in its own way that nothing was read.
    const LONGEST: usize = 6;
    let says_nothing = |range: &std::ops::Range<usize>| {
        let cell = line[range.clone()].trim();
        cell.chars().count() <= LONGEST && !cell.contains(|c: char| c.is_ascii_digit())
    };
    let numbered = || line[cells[0].clone()].contains(|c: char| c.is_ascii_digit());
    let alone = cells.len() == grid.columns()
        && held(&cells[0])
        && (!cells[1..].iter().any(held) || numbered() && cells[1..].iter().all(says_nothing));
    let named = || {
        let name = &line[cells[0].clone()];
        grid.words(0)
            .iter()
            .any(|span| same_outline(&text[span.range()], name))
    };
    alone && named()
}

/// Whether a line has about as many cells as a row of a table and nearly all of them hold numbers: a row that lost a sign
/// somewhere, however many of its cells are empty or hold markers. Only where a sign of its own parts the cells.
fn has_cells_of_row(line: &str, grid: &Grid) -> bool {
    let hard = grid.dialect.sep.byte().is_some() || grid.dialect.sep == Delimiter::CommaBlank;
    let cells = split(line, &grid.dialect);
    let numbers = cells.iter().filter(|range| {
        let cell = cell(&line[(*range).clone()], grid.dialect.style);
        matches!(cell, Cell::Number { .. } | Cell::Missing | Cell::Beyond)
    });
    hard && cells.len() >= 4
        && cells.len().abs_diff(grid.columns()) <= 1
        && numbers.count() + 1 >= cells.len()
}

/// Whether a line introduces readings: it names a quantity of light, and a wavelength.
fn names_light(line: &str) -> bool {
    line.contains("nm") && super::surroundings::names_light(line)
}

/// Whether a line above a table is a damaged row of it and no row of heads: it looks like `row`, its first one, and its
/// numbers go with those in the columns below or beside them.
pub(super) fn is_row_of(line: &str, row: &str, grid: &Grid) -> bool {
    // `pH:,7.0,7.0,7.0` is a condition of each curve.
    let key = line.split([',', ';', '\t', '|']).next().unwrap_or("").trim();
    let keyed =
        key.ends_with([':', '=']) && crate::preamble::is_known(key.trim_end_matches([':', '=']).trim_end());
    // `absorbance at 543 nm` is as long as `river bank  0.168`, and introduces it.
    let introduces = row.trim_start().starts_with(char::is_alphabetic) && names_light(line);
    if keyed || introduces || !resembles(line, row) {
        return false;
    }
    let ranges: Vec<Option<(f64, f64)>> = (0..grid.columns())
        .map(|column| {
            if grid.kinds[column] != ColumnKind::Figures {
                return None;
            }
            let numbers = || grid.column(column).filter(|value| !value.is_nan());
            let (least, most) = (numbers().reduce(f64::min)?, numbers().reduce(f64::max)?);
            // The first number of a column may lie a step beyond the others.
            let margin = (most - least) * 0.5;
            Some((least - margin, most + margin))
        })
        .collect();
    let goes_with = |column: usize, value: f64| {
        // The second of two rows on one line.
        let column = if column > ranges.len() {
            column - ranges.len()
        } else {
            column
        };
        let near = column.saturating_sub(1)..(column + 2).min(ranges.len());
        ranges
            .get(near)
            .unwrap_or_default()
            .iter()
            .flatten()
            .any(|&(least, most)| (least..=most).contains(&value))
    };
    let (mut numbers, mut fitting) = (0, 0);
    for (column, range) in split(line, &grid.dialect).into_iter().enumerate() {
        if let Cell::Number { value, .. } = cell(&line[range], grid.dialect.style) {
            numbers += 1;
            fitting += usize::from(goes_with(column, value));
        }
    }
    fitting * 2 > numbers || numbers == 0
}

/// Whether a line begins with a word for a blank where the rows begin with numbers: readings of their own, whole as they are.
fn names_blank(line: &str, grid: &Grid) -> bool {
    let first = split(line, &grid.dialect).into_iter().next();
    grid.kinds.first() == Some(&ColumnKind::Figures)
        && first.is_some_and(|range| crate::words::is_blank(line[range].trim()))
}

/// Takes the lines next to a table that look like rows of it, and are none, out of the words, and tells of them. They
/// name nothing, whatever stands in them.
pub(super) fn take_beside_tables(source: &Source, sections: &mut [Section], behind: &mut Vec<TextLine>) {
    let text = source.text();
    for index in 0..sections.len() {
        let grid = &sections[index].table.grid;
        if grid.rows == 0 {
            continue;
        }
        // Most tables have no line beside them, and none of their rows is looked up.
        let row = |row: usize| text[source.lines().span(grid.line(row) - 1).range()].trim_end();
        let of_table = |nth: usize, line: &TextLine| {
            let line = &text[line.span.range()];
            let introduces = || row(nth).trim_start().starts_with(char::is_alphabetic) && names_light(line);
            strip_remark(line).0.is_none()
                && !crate::words::is_furniture(line)
                && !super::join::is_date(line)
                && !introduces()
                && (resembles(line, row(nth)) || has_cells_of_row(line, grid))
                && !names_blank(line, grid)
        };
        let first = 0;
        let above = sections[index].words.iter().rev();
        // A line of the rows themselves, of a record, is none above them.
        let begins = sections[index].table.first_line;
        let above: Vec<u32> = above
            .take_while(|line| line.line < begins && of_table(first, line))
            .map(|line| line.line)
            .collect();
        let lost_above = above.len();
        let last = grid.rows - 1;
        let of_names = grid.kinds.first() == Some(&ColumnKind::Words);
        let words_below = sections
            .get(index + 1)
            .map_or(behind.as_slice(), |next| &next.words);
        // A row of names that was cut behind its name stands at once below the last row.
        let cut = words_below
            .first()
            .filter(|line| {
                of_names
                    && line.line as usize == grid.line(last) + 1
                    && is_cut_row(&text[line.span.range()], row(last), &grid.dialect)
            })
            .map(|line| line.line);
        // So do those of which nothing but the name is written.
        let empty: Vec<u32> = words_below
            .iter()
            .take_while(|line| {
                cut.is_none()
                    && of_names
                    && is_row_without_readings(&text[line.span.range()], &sections[index].table.grid, text)
            })
            .map(|line| line.line)
            .collect();
        // `slope,0.0187` over `R2,0.9994` below numbers are results.
        let are_results = grid.kinds.first() == Some(&ColumnKind::Figures)
            && words_below
                .iter()
                .take(MOST_RESULTS)
                .any(|line| foot::begins_with_statistics(&text[line.span.range()]));
        let below: Vec<u32> = words_below
            .iter()
            .skip(usize::from(cut.is_some()) + empty.len())
            .take_while(|line| !are_results && of_table(last, line))
            .map(|line| line.line)
            .collect();
        let taken: Vec<u32> = above
            .iter()
            .chain(&below)
            .copied()
            .chain(cut)
            .chain(empty.iter().copied())
            .collect();
        sections[index].table.grid.lost_above = lost_above;
        sections[index].words.retain(|line| !taken.contains(&line.line));
        match sections.get_mut(index + 1) {
            Some(next) => next.words.retain(|line| !taken.contains(&line.line)),
            None => behind.retain(|line| !taken.contains(&line.line)),
        }
        take_rows_aside(source, sections, index, behind);
        sections[index].remarks.extend(cut.map(row_cut));
        sections[index].remarks.extend(empty.first().map(|line| {
            let message = match empty.len() {
                1 => "1 row at the end of the table has a name and no reading".to_owned(),
                rows => format!("{rows} rows at the end of the table have names and no readings"),
            };
            Diagnostic::note(Code::new("empty-cell"), message)
                .at(Place::line(*line as usize), "the first of them")
        }));
        for (lines, where_they_stand, nearest) in [
            (above.as_slice(), "above", "the last"),
            (&below, "below", "the first"),
        ] {
            let Some(&line) = lines.first() else { continue };
            let message = match lines.len() {
                1 => format!(
                    "a line directly {where_they_stand} the table looks like a damaged row of it, and was left out"
                ),
                n => format!(
                    "{n} lines directly {where_they_stand} the table look like damaged rows of it, and were left out"
                ),
            };
            let label = if lines.len() == 1 {
                "this line".to_owned()
            } else {
                format!("{nearest} of them")
            };
            sections[index].remarks.push(
                Diagnostic::warning(Code::new("row-does-not-fit"), message)
                    .at(Place::line(line as usize), label)
                    .help("compare it with the original"),
            );
        }
    }
}

/// The same where blanks part the cells: a name of any words, and behind it as many readings as the table has columns but one.
fn is_named_row_aside(line: &str, grid: &Grid, changes: &[Vec<(u32, u8)>]) -> bool {
    let words: Vec<&str> = line.split_whitespace().collect();
    let readings = words
        .iter()
        .rev()
        .take_while(|word| matches!(cell(word, grid.dialect.style), Cell::Number { decimals: 2.., .. }))
        .count();
    let (name, numbers) = words.split_at(words.len() - readings);
    let Some(first) = name
        .first()
        .filter(|first| first.starts_with(char::is_alphabetic))
    else {
        return false;
    };
    let sums_up = super::segments::is_summary_word(first)
        || super::heads::is_summary_word(first)
        || crate::words::is_statistics(first);
    let columns = grid.columns() - readings.min(grid.columns())..grid.columns();
    let alike = columns.zip(numbers).all(|(column, number)| {
        let digits = |digits: &u8| matches!(cell(number, grid.dialect.style), Cell::Number { decimals, .. } if decimals == *digits);
        grid.kinds[column] == ColumnKind::Figures
            && changes[grid.place(column)].iter().any(|(_, own)| digits(own))
    });
    !sums_up && readings + 1 == grid.columns() && alike
}

/// Takes the lines around a table that have all cells of its rows, and are none of it, out of the words.
fn take_rows_aside(source: &Source, sections: &mut [Section], index: usize, behind: &mut Vec<TextLine>) {
    let text = source.text();
    let answer = source.assume().get("rows");
    let grid = &sections[index].table.grid;
    let digits = std::cell::OnceCell::new();
    let below = match sections.get(index + 1) {
        Some(next) => next.words.as_slice(),
        None => behind.as_slice(),
    };
    let lines: Vec<TextLine> = sections[index]
        .words
        .iter()
        .chain(below)
        .filter(|line| {
            is_row_aside(
                &text[line.span.range()],
                grid,
                digits.get_or_init(|| grid.decimals()),
            )
        })
        .copied()
        .collect();
    let aside: Vec<u32> = lines.iter().map(|line| line.line).collect();
    if aside.is_empty() {
        return;
    }
    sections[index].words.retain(|line| !aside.contains(&line.line));
    match sections.get_mut(index + 1) {
        Some(next) => next.words.retain(|line| !aside.contains(&line.line)),
        None => behind.retain(|line| !aside.contains(&line.line)),
    }
    match answer {
        Some("belong") => sections[index].rows_added = lines,
        Some(_) => {}
        None => sections[index].rows_aside = aside,
    }
}

/// Puts the lines of which somebody said that they belong to a table among its rows. Names in place of the numbers that run make
/// them readings of their own, behind the table and under its other headers. Returns their numbers.
pub(super) fn add_rows(text: &str, sections: &mut Vec<Section>) -> Vec<u32> {
    let mut all = Vec::new();
    let mut index = 0;
    while index < sections.len() {
        let lines = std::mem::take(&mut sections[index].rows_added);
        let table = &mut sections[index].table;
        index += 1;
        if lines.is_empty() {
            continue;
        }
        all.extend(lines.iter().map(|line| line.line));
        let cursor = |line: &TextLine| Cursor {
            at: line.span.range().start,
            line: line.line,
        };
        let first = table.grid.line(0) as u32;
        let named = table.grid.kinds.first() == Some(&ColumnKind::Words);
        let mut kinds = table.grid.kinds.clone();
        if let Some(kind) = kinds.first_mut() {
            *kind = ColumnKind::Words;
        }
        let empty = || {
            if named {
                table.grid.empty_like()
            } else {
                Grid::new(table.grid.dialect.clone(), kinds.clone())
            }
        };
        let (mut above, mut below) = (empty(), empty());
        let mut unread = Vec::new();
        for line in &lines {
            let part = if named && line.line < first {
                &mut above
            } else {
                &mut below
            };
            if !part.add_row(&text[line.span.range()], cursor(line)) {
                unread.push(line.line);
            }
        }
        if let Some(line) = unread.first() {
            sections[index - 1].remarks.push(
                Diagnostic::warning(
                    Code::new("row-does-not-fit"),
                    format!(
                        "{} that were said to be rows could not be read as such, and were left out",
                        unread.len()
                    ),
                )
                .at(Place::line(*line as usize), "the first of them"),
            );
        }
        let table = &mut sections[index - 1].table;
        if named {
            if above.rows > 0 {
                std::mem::swap(&mut above, &mut table.grid);
                table.first_line = table.grid.line(0) as u32;
                table.grid.append(above);
            }
            if below.rows > 0 {
                table.last_line = below.line(below.rows - 1) as u32;
                table.grid.append(below);
            }
        } else if below.rows > 0 {
            let mut heads = table.heads.clone();
            for cell in heads.iter_mut().filter_map(|head| head.cells.first_mut()) {
                *cell = None;
            }
            let table = ScannedTable {
                first_line: below.line(0) as u32,
                last_line: below.line(below.rows - 1) as u32,
                grid: below,
                heads,
                open: None,
                unmatched_head: None,
                joined: Vec::new(),
            };
            sections.insert(index, Section::of_rows(table));
            index += 1;
        }
    }
    all
}

/// Whether a line has a cell for each column of a table, words where it has words, and numbers with as many decimals as the
/// readings where it has readings. Rows that sum up others are none.
pub(super) fn is_row_aside(line: &str, grid: &Grid, changes: &[Vec<(u32, u8)>]) -> bool {
    const FEWEST_COLUMNS: usize = 3;
    if grid.columns() < FEWEST_COLUMNS || strip_remark(line).0.is_some() {
        return false;
    }
    if grid.dialect.sep.byte().is_none() {
        return is_named_row_aside(line, grid, changes);
    }
    let cells = split(line, &grid.dialect);
    let first = cells.first().map_or("", |range| line[range.clone()].trim());
    let sums_up = || {
        super::segments::is_summary_word(first)
            || super::heads::is_summary_word(first)
            || crate::words::is_statistics(first)
    };
    if cells.len() != grid.columns() || sums_up() {
        return false;
    }
    let (mut readings, mut figures) = (0, 0);
    for (column, range) in cells.into_iter().enumerate() {
        let text = line[range].trim();
        match (grid.kinds[column], cell(text, grid.dialect.style)) {
            (ColumnKind::Words, Cell::Words) => {}
            // Readings of a blank, which was read at no place of its own.
            (ColumnKind::Figures, Cell::Words) if column == 0 && crate::words::is_blank(text) => {}
            // A name in place of the number that runs.
            (ColumnKind::Figures, Cell::Words) if column == 0 && text.starts_with(char::is_alphabetic) => {}
            (ColumnKind::Words, Cell::Number { decimals: 0, .. }) => {}
            (ColumnKind::Figures, Cell::Number { decimals, .. }) => {
                let below = &changes[grid.place(column)];
                let like = below
                    .iter()
                    .any(|&(_, digits)| u32::from(digits) == u32::from(decimals));
                readings += usize::from(decimals >= 2 && like);
                figures += 1;
            }
            (ColumnKind::Figures, Cell::Empty | Cell::Missing | Cell::Beyond) => figures += 1,
            _ => return false,
        }
    }
    // `standard (100 %),0.531,,,,,` is a remark.
    readings > 0 && readings * 2 >= figures
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn damaged_rows_are_told_from_titles() {
        for (line, row) in [
            ("402.00.6347", "401.0,0.6135"),
            ("420.0.15", "421.0,0.16"),
            ("x22.0;0.2688", "421.0;0.2001"),
            ("4l1\t0.3", "412\t0.4"),
            ("400.0:0.5200", "400.0;0.5100"),
            ("10:08:30\t0..5789", "10:09:30\t0.5701"),
            ("420.0,0.3537422.0,0.2688", "418.0,0.4001"),
            ("\"400\"\"0.5200\"", "\"401\",\"0.5100\""),
            ("4500.8152", "460,0.8201"),
        ] {
            assert!(resembles(line, row), "{line} {row}");
        }
        for (line, row) in [
            ("- 3 -", "400 0.5"),
            ("Spectrum 2", "400.0,0.5200"),
            ("12", "400,0.52"),
            ("Temperature: 37.5", "400.0,0.5200"),
            ("2 of 3", "400 0.5"),
            ("10 min", "400 0.52"),
            ("nm,Abs 1,Abs 2", "400,0.1,0.2"),
        ] {
            assert!(!resembles(line, row), "{line} {row}");
        }
    }

    /// The band gives the same as the whole table of distances.
    #[test]
    fn the_band_is_wide_enough() {
        let whole = |one: &[u8], other: &[u8]| {
            let mut row: Vec<usize> = (0..=other.len()).collect();
            for (i, sign) in one.iter().enumerate() {
                let mut next = vec![i + 1];
                for (j, theirs) in other.iter().enumerate() {
                    let exchanged = row[j] + usize::from(theirs != sign);
                    next.push(exchanged.min(row[j + 1] + 1).min(next[j] + 1));
                }
                row = next;
            }
            row[other.len()]
        };
        let mut seed = 3_u64;
        let mut word = || -> Vec<u8> {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(11);
            let length = (seed >> 60) % 7;
            (0..length)
                .map(|n| b'a' + ((seed >> (20 + n)) % 2) as u8)
                .collect()
        };
        for _ in 0..5000 {
            let (one, other) = (word(), word());
            assert_eq!(
                nearly_same(&one, &other),
                whole(&one, &other) <= MOST,
                "{one:?} {other:?}"
            );
        }
    }
}
