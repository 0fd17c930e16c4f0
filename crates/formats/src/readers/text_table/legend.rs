//! Lines that say column by column what a table holds, in place of a header: `first column: wavelength / nm`, `Spalte 2 = E 405`,
//! `The first column is the time in s, the second one the absorbance`.

use std::ops::Range;

use curvary_record::Span;

use super::join::Section;
use super::scan::{HeadRow, TextLine, strip_remark};
use super::segments::RowClass;
use crate::words::{self, WordList};

/// Longer lines, in bytes, are paragraphs: two lines of a page.
const LONGEST: usize = 200;
/// So many lines above a table and below the last one are looked at: a page, which a legend of every column does not leave.
const NEAR: usize = 64;
/// The columns that words count.
const COUNTED: [WordList; 4] = [
    WordList::FirstOf,
    WordList::SecondOf,
    WordList::ThirdOf,
    WordList::FourthOf,
];

/// What one line says of a column, counted from 0.
#[derive(Clone, Debug, PartialEq, Eq)]
struct ColumnLegend {
    column: usize,
    says: Range<usize>,
}

/// Gives tables without headers those that lines around them say column by column; such lines are no words any more. What they say
/// of the first table holds for the others of as many columns. Returns the numbers of these lines.
pub(super) fn take(text: &str, sections: &mut [Section], behind: &mut Vec<TextLine>) -> Vec<u32> {
    let mut all = Vec::new();
    let mut first: Option<Vec<HeadRow>> = None;
    let count = sections.len();
    for (index, section) in sections.iter_mut().enumerate() {
        let heads: Vec<TextLine> = section.table.heads.iter().map(|head| head.line).collect();
        let columns = section.table.grid.columns();
        let is_legend = |line: &TextLine| !of_line(&text[line.span.range()]).is_empty();
        if !heads.iter().all(is_legend) {
            continue;
        }
        let (above, below) = lines_around(section, index + 1 == count, behind);
        let lines: Vec<TextLine> = heads
            .iter()
            .chain(above)
            .chain(below)
            .filter(|line| is_legend(line))
            .copied()
            .collect();
        let found = headers(text, &lines, columns);
        let taken: Vec<u32> = lines.iter().map(|line| line.line).collect();
        if let Some(rows) = found {
            section.words.retain(|line| !taken.contains(&line.line));
            behind.retain(|line| !taken.contains(&line.line));
            first.get_or_insert_with(|| rows.clone());
            section.table.heads = rows;
            all.extend(taken);
        } else if let Some(rows) = first
            .as_ref()
            .filter(|rows| heads.is_empty() && rows.iter().all(|row| row.cells.len() == columns))
        {
            section.table.heads.clone_from(rows);
        }
    }
    all
}

/// The lines near above a table, and below the last one, that may say what it holds.
pub(super) fn lines_around<'a>(
    section: &'a Section,
    is_last: bool,
    behind: &'a [TextLine],
) -> (&'a [TextLine], &'a [TextLine]) {
    let above = &section.words[section.words.len().saturating_sub(NEAR)..];
    let below = if is_last {
        &behind[..behind.len().min(NEAR)]
    } else {
        &[]
    };
    (above, below)
}

/// The columns that a line names, counted from 0, each with what it says of it.
pub(super) fn named(line: &str) -> Vec<(usize, &str)> {
    let found = of_line(line).into_iter();
    found.map(|legend| (legend.column, &line[legend.says])).collect()
}

/// The headers that lines say of a table of so many columns: the last row holds them all, and those in front the places of the other
/// lines.
fn headers(text: &str, lines: &[TextLine], columns: usize) -> Option<Vec<HeadRow>> {
    let mut cells: Vec<Option<Span>> = vec![None; columns];
    let mut rows: Vec<HeadRow> = Vec::new();
    for line in lines {
        let start = line.span.range().start;
        for legend in of_line(&text[line.span.range()]) {
            let cell = cells.get_mut(legend.column)?;
            if cell.is_some() {
                return None;
            }
            *cell = Some(Span::new(start + legend.says.start, start + legend.says.end));
        }
        rows.push(HeadRow {
            line: *line,
            class: RowClass::Header,
            cells: vec![None; columns],
        });
    }
    let tells = |span: &Span| {
        let head = crate::column_header::read_column_header(&text[span.range()]);
        head.quantity.is_some() || head.unit.is_some() || !head.held.is_empty()
    };
    let any = cells.iter().flatten().any(tells);
    rows.last_mut().filter(|_| any)?.cells = cells;
    Some(rows)
}

/// What a line says of columns, from left to right.
fn of_line(line: &str) -> Vec<ColumnLegend> {
    if line.len() > LONGEST {
        return Vec::new();
    }
    let kept = strip_remark(line).1;
    let base = line.find(kept).unwrap_or(0);
    let mut found: Vec<ColumnLegend> = Vec::new();
    let words = words_in(kept);
    let mut at = 0;
    while at < words.len() {
        let key = key_at(kept, &words[at..], !found.is_empty());
        let Some((column, length, behind)) = key else {
            at += 1;
            continue;
        };
        // What stands in front of the first key is no part of a legend, and the words in front of the next one end it.
        if found.is_empty()
            && !words[..at]
                .iter()
                .all(|word| words::is(WordList::Article, &kept[word.clone()]))
        {
            return Vec::new();
        }
        if let Some(last) = found.last_mut() {
            last.says.end = words[at].start.max(last.says.start);
        }
        found.push(ColumnLegend {
            column,
            says: behind..kept.len(),
        });
        at += length;
    }
    for legend in &mut found {
        legend.says = bare(kept, legend.says.clone());
    }
    if found.iter().any(|legend| legend.says.is_empty()) {
        return Vec::new();
    }
    let moved = |legend: ColumnLegend| ColumnLegend {
        says: legend.says.start + base..legend.says.end + base,
        ..legend
    };
    found.into_iter().map(moved).collect()
}

/// The words of a line without the signs behind them.
fn words_in(line: &str) -> Vec<Range<usize>> {
    let mut words = Vec::new();
    let mut at = 0;
    for piece in line.split(|c: char| c.is_whitespace() || matches!(c, ':' | '：' | '=' | ',' | ';' | '|')) {
        if !piece.is_empty() {
            words.push(at..at + piece.len());
        }
        at = (at + piece.len() + 1).min(line.len());
        while !line.is_char_boundary(at) {
            at += 1;
        }
    }
    words
}

/// The column that the first of these words name, how many words do, and where what is said of it begins. `further`: others were
/// named before, so that `the second one` is enough.
fn key_at(line: &str, words: &[Range<usize>], further: bool) -> Option<(usize, usize, usize)> {
    let word = |at: usize| words.get(at).map(|word| line[word.clone()].trim_end_matches('.'));
    let is_column = |at: usize| word(at).is_some_and(|word| words::is(WordList::Column, word));
    let counted = |at: usize| {
        let word = word(at)?;
        COUNTED.iter().position(|list| words::is(*list, word))
    };
    let numbered = |at: usize| {
        let word = word(at)?;
        let number = word
            .parse::<usize>()
            .ok()
            .filter(|number| (1..=99).contains(number));
        let letter = || match word.as_bytes() {
            [letter @ b'A'..=b'Z'] => Some(usize::from(letter - b'A')),
            _ => None,
        };
        number.map(|number| number - 1).or_else(letter)
    };
    let (column, length) = if is_column(0) {
        (numbered(1).or_else(|| counted(1))?, 2)
    } else if is_column(1) && counted(0).is_some() {
        (counted(0)?, 2)
    } else if let Some(column) = word(0).and_then(written_together) {
        (column, 1)
    } else if further && counted(0).is_some() && word(0)?.contains(char::is_alphabetic) {
        let one = usize::from(word(1).is_some_and(|word| words::is(WordList::ColumnAgain, word)));
        (counted(0)?, 1 + one)
    } else {
        return None;
    };
    let end = words.get(length - 1)?.end;
    let rest = &line[end..];
    let at = end + (rest.len() - rest.trim_start().len());
    let marks = [":", "：", "=", "->", "→", "–", "—", "-"];
    if let Some(mark) = marks.iter().find(|mark| line[at..].starts_with(**mark)) {
        return Some((column, length, at + mark.len()));
    }
    let is = word(length).filter(|word| words::is(WordList::ColumnIs, word));
    if is.is_some() {
        return Some((column, length, words.get(length)?.end));
    }
    // `the first column is the time, the second the absorbance`, `1st col. wavelength / nm; 2nd col. absorbance`
    let goes_on = further && word(length).is_some_and(|word| words::is(WordList::Article, word));
    let named = || {
        let text = line[at..].split([',', ';']).next().unwrap_or("");
        let head = crate::column_header::read_column_header(text.trim());
        head.quantity.is_some() || head.unit.is_some()
    };
    (goes_on || length >= 2 && named()).then_some((column, length, end))
}

/// `第1列`, `列2`, `col1`: word and number in one.
fn written_together(word: &str) -> Option<usize> {
    let digits: String = word.chars().filter(char::is_ascii_digit).collect();
    let rest: String = word
        .chars()
        .filter(|c| !c.is_ascii_digit() && *c != '第')
        .collect();
    if digits.is_empty() {
        let counted = COUNTED.iter().position(|list| {
            words::words_of(*list).iter().any(|count| {
                word.strip_prefix(count.as_str())
                    .is_some_and(|rest| words::is(WordList::Column, rest))
            })
        });
        return counted.filter(|_| !word.is_ascii());
    }
    let number = digits
        .parse::<usize>()
        .ok()
        .filter(|number| (1..=99).contains(number))?;
    words::is(WordList::Column, &rest).then(|| number - 1)
}

/// Without articles in front, and without the signs and the `and` at the end.
fn bare(line: &str, range: Range<usize>) -> Range<usize> {
    let mut range = range;
    loop {
        let text = &line[range.clone()];
        let start = range.start + (text.len() - text.trim_start().len());
        let end = range.start
            + text
                .trim_end_matches(|c: char| c.is_whitespace() || matches!(c, ',' | ';' | '.' | '|'))
                .len();
        if start >= end {
            return range.start..range.start;
        }
        let text = &line[start..end];
        let first = text.split_whitespace().next().unwrap_or("");
        let last = text.rsplit(char::is_whitespace).next().unwrap_or("");
        let mut next = start..end;
        if first.len() < text.len() && words::is(WordList::Article, first) {
            next.start += first.len();
        }
        if last.len() < text.len() && (words::is(WordList::And, last) || words::is(WordList::Article, last)) {
            next.end -= last.len();
        }
        if next == range {
            return next;
        }
        range = next;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_that_say_what_columns_hold() {
        let cases: [(&str, &[(usize, &str)]); 14] = [
            ("first column: wavelength / nm", &[(0, "wavelength / nm")]),
            ("# Second column = absorbance", &[(1, "absorbance")]),
            ("erste Spalte: Wellenlänge / nm", &[(0, "Wellenlänge / nm")]),
            (
                "1. Spalte: Zeit in min, 2. Spalte: E 405",
                &[(0, "Zeit in min"), (1, "E 405")],
            ),
            ("colonne 1 : longueur d'onde (nm)", &[(0, "longueur d'onde (nm)")]),
            (
                "primera columna: longitud de onda (nm)",
                &[(0, "longitud de onda (nm)")],
            ),
            (
                "column 1 = time / s; column 2 = A405; column 3 = A650",
                &[(0, "time / s"), (1, "A405"), (2, "A650")],
            ),
            (
                "The first column is the time in s, the second one the absorbance at 405 nm.",
                &[(0, "time in s"), (1, "absorbance at 405 nm")],
            ),
            (
                "1st col. wavelength / nm; 2nd col. absorbance",
                &[(0, "wavelength / nm"), (1, "absorbance")],
            ),
            ("1列目: 波長 (nm)", &[(0, "波長 (nm)")]),
            ("第1列：波長 (nm)", &[(0, "波長 (nm)")]),
            ("第1列: 波長 (nm)", &[(0, "波長 (nm)")]),
            ("The sample of the first column: beet", &[]),
            ("Column 1 was washed with water", &[]),
        ];
        for (line, wanted) in cases {
            let found: Vec<(usize, &str)> = of_line(line)
                .into_iter()
                .map(|legend| (legend.column, &line[legend.says]))
                .collect();
            assert_eq!(found, wanted, "{line}");
        }
    }
}
