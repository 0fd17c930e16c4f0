//! Columns that are padded with blanks to stand one below the other, with cells in which nothing stands: between two columns a tab takes
//! the place of a blank, so that a cell stands under its own header however many are empty beside it. The header of a last column in
//! which nothing stands is blanked, and told of: no row reaches to it.

use std::collections::HashMap;
use std::ops::Range;

use curvary_record::{Code, Diagnostic, Place};

use super::super::number::{Cell, Style, cell};
use super::Blanked;
use crate::slice::lines_with_ends;

/// Of a longer text the cells are not held at once: they take several times its room.
const LONGEST: usize = 1 << 24;

/// So many lines at least stand below each other, and so many of them at least have a number in one column.
const FEWEST_LINES: usize = 3;
const FEWEST_NUMBERS: usize = 2;

/// A line with the places of its signs.
struct PaddedLine<'t> {
    line: &'t str,
    /// The byte of the text at which it begins.
    at: usize,
    /// The byte of the line at which each sign begins, and its end, where a sign has more bytes than one.
    bytes: Option<Vec<usize>>,
    /// Where its cells begin that two blanks or more set apart, in signs.
    starts: Vec<usize>,
}

impl<'t> PaddedLine<'t> {
    fn of(text: &'t str, at: usize) -> Self {
        let line = text.trim_end();
        let bytes = (!line.is_ascii()).then(|| {
            let signs = line.char_indices().map(|(byte, _)| byte);
            signs.chain([line.len()]).collect()
        });
        let (mut starts, mut blanks, mut empty) = (Vec::new(), 2, true);
        for (place, sign) in line.chars().enumerate() {
            if sign == ' ' {
                blanks += 1;
                continue;
            }
            if blanks >= 2 || empty {
                starts.push(place);
            }
            (blanks, empty) = (0, false);
        }
        Self {
            line,
            at,
            bytes,
            starts,
        }
    }

    /// How many signs it has.
    fn len(&self) -> usize {
        self.bytes
            .as_ref()
            .map_or(self.line.len(), |bytes| bytes.len() - 1)
    }

    /// The byte of the line at which a sign begins.
    fn byte(&self, place: usize) -> usize {
        let place = place.min(self.len());
        self.bytes.as_ref().map_or(place, |bytes| bytes[place])
    }

    fn text(&self, from: usize, to: usize) -> &'t str {
        self.line[self.byte(from)..self.byte(to)].trim()
    }

    /// The cells that two blanks or more set apart.
    fn parted(&self) -> impl Iterator<Item = (usize, &'t str)> {
        self.starts.iter().enumerate().map(|(place, &from)| {
            let to = self.starts.get(place + 1).copied().unwrap_or(usize::MAX);
            (from, self.text(from, to))
        })
    }

    /// Whether it has two numbers at least: a key and its value has one.
    fn has_readings(&self) -> bool {
        self.parted().filter(|(_, cell)| is_number(cell)).nth(1).is_some()
    }

    /// What stands in each of these columns; `None` where its cells do not stand in them.
    fn cells(&self, columns: &[usize]) -> Option<Vec<&'t str>> {
        if !self
            .starts
            .iter()
            .all(|start| columns.binary_search(start).is_ok())
        {
            return None;
        }
        let mut cells = Vec::with_capacity(columns.len());
        for (index, &from) in columns.iter().enumerate() {
            let to = columns.get(index + 1).copied().unwrap_or(usize::MAX);
            let inside = index > 0 && from < self.len();
            if inside && self.line.as_bytes()[self.byte(from) - 1] != b' ' {
                return None;
            }
            let cell = self.text(from, to);
            // Behind a single blank a number begins a cell, and a word may go on a sentence.
            let starts = self.starts.binary_search(&from).is_ok();
            if inside && !starts && !cell.is_empty() && !is_number(cell) {
                return None;
            }
            cells.push(cell);
        }
        Some(cells)
    }
}

fn is_number(text: &str) -> bool {
    [Style::POINT, Style::COMMA]
        .into_iter()
        .any(|style| matches!(cell(text, style), Cell::Number { .. }))
}

/// Lines without a blank one between them.
#[derive(Default)]
struct PaddedBlock<'t> {
    /// Each line, and the byte of the text at which it begins.
    lines: Vec<(&'t str, usize)>,
    /// Something else than blanks parts their cells.
    has_tabs: bool,
    /// The first line with as many cells as none before it, how many these are, and the last line with as many.
    widest: (usize, usize, usize),
    /// How many lines have as many cells.
    as_wide: usize,
}

impl<'t> PaddedBlock<'t> {
    fn push(&mut self, line: &'t str, at: usize) {
        let place = self.lines.len();
        self.has_tabs |= memchr::memchr2(b'\t', b'|', line.as_bytes()).is_some();
        let cells = cells_apart(line);
        let (_, most, last) = &mut self.widest;
        if cells > *most {
            (self.widest, self.as_wide) = ((place, cells, place), 1);
        } else if cells == *most {
            *last = place;
            self.as_wide += 1;
        }
        self.lines.push((line, at));
    }

    /// Whether it is plain that no cell is empty, as in nearly all tables: lines of as many cells each, with at most a few
    /// lines of a single cell around them. It says what [`between_columns`] would find out by the places of all cells.
    fn is_full(&self) -> bool {
        const MOST_AROUND: usize = 8;
        let (first, most, last) = self.widest;
        let around = self.lines.len() - self.as_wide;
        if most < 2 {
            return true;
        }
        if last + 1 - first != self.as_wide || around > MOST_AROUND {
            return false;
        }
        let model = PaddedLine::of(self.lines[first].0, 0);
        let of_one_cell = |line: &str| {
            let cells = PaddedLine::of(line, 0).cells(&model.starts);
            cells.is_none_or(|cells| cells.iter().filter(|cell| !cell.is_empty()).count() < 2)
        };
        let outside = self.lines[..first].iter().chain(&self.lines[last + 1..]);
        let named = |cell: &str| cell.contains(char::is_alphanumeric);
        model.parted().all(|(_, cell)| named(cell)) && outside.into_iter().all(|(line, _)| of_one_cell(line))
    }
}

/// How many cells two blanks or more set apart in a line.
fn cells_apart(line: &str) -> usize {
    let (mut cells, mut blanks) = (0, 2);
    for &byte in line.trim_end().as_bytes() {
        if byte == b' ' {
            blanks += 1;
            continue;
        }
        cells += usize::from(blanks >= 2);
        blanks = 0;
    }
    cells
}

/// The text with tabs between such columns, where some of their cells are empty.
pub(super) fn with_tabs_between_columns(text: &str) -> Option<Blanked> {
    if text.len() > LONGEST || !text.contains("  ") {
        return None;
    }
    let mut parted = Parted::default();
    let mut block = PaddedBlock::default();
    let mut at = 0;
    for line in lines_with_ends(text) {
        if line.trim().is_empty() {
            parted.take(&block);
            block = PaddedBlock::default();
        } else {
            block.push(line, at);
        }
        at += line.len();
    }
    parted.take(&block);
    if parted.changes.is_empty() {
        return None;
    }
    let mut bytes = text.as_bytes().to_vec();
    for (place, byte) in parted.changes {
        bytes[place] = byte;
    }
    let remark = parted.over_nothing.map(|header| {
        let line = text[..header.start].matches('\n').count() + 1;
        let message = format!("nothing stands in the column under `{}`", text[header].trim());
        Diagnostic::note(Code::new("column-left-out"), message).at(Place::line(line), "its header")
    });
    Some((String::from_utf8(bytes).ok()?, remark))
}

/// What takes the place of which bytes of the text, and the first header that stands over a column in which nothing stands.
#[derive(Default)]
struct Parted {
    changes: Vec<(usize, u8)>,
    over_nothing: Option<Range<usize>>,
}

impl Parted {
    fn take(&mut self, block: &PaddedBlock<'_>) {
        if block.has_tabs || block.is_full() {
            return;
        }
        let lines: Vec<PaddedLine<'_>> = block
            .lines
            .iter()
            .map(|&(line, at)| PaddedLine::of(line, at))
            .collect();
        if let Some(parted) = between_columns(&lines) {
            self.changes.extend(parted.changes);
            self.over_nothing = self.over_nothing.take().or(parted.over_nothing);
        }
    }
}

/// What takes the place of which bytes of these lines.
fn between_columns(lines: &[PaddedLine<'_>]) -> Option<Parted> {
    if lines.len() < FEWEST_LINES {
        return None;
    }
    // A sign that strayed into one line begins no column.
    let mut begins: HashMap<usize, usize> = HashMap::new();
    for start in lines.iter().flat_map(|line| &line.starts) {
        *begins.entry(*start).or_default() += 1;
    }
    let has_strays = |line: &PaddedLine<'_>| {
        line.parted().any(|(from, cell)| {
            let sign = |c: char| matches!(c, ',' | ';' | ':' | '.');
            !cell.contains(char::is_alphanumeric) && (cell.chars().all(sign) || begins[&from] == 1)
        })
    };
    // Of lines with as many cells the first.
    let model = (0..lines.len())
        .rev()
        .filter(|&line| !has_strays(&lines[line]))
        .max_by_key(|&line| lines[line].starts.len())?;
    let columns = &lines[model].starts;
    if columns.len() < 2 {
        return None;
    }
    let cells: Vec<Option<Vec<&str>>> = lines.iter().map(|line| line.cells(columns)).collect();
    let filled = |line: &usize| {
        let cells = cells[*line].as_ref();
        cells.map_or(0, |cells| cells.iter().filter(|cell| !cell.is_empty()).count())
    };
    // From the fullest line on, up and down; a line of one cell at either end is a title or a note.
    let above = (0..model).rev().take_while(|line| cells[*line].is_some()).last();
    let below = (model..lines.len())
        .take_while(|line| cells[*line].is_some())
        .last()?;
    let mut range = above.unwrap_or(model)..=below;
    while range.clone().next().is_some_and(|line| filled(&line) < 2) {
        range = range.start() + 1..=*range.end();
    }
    while range.clone().next_back().is_some_and(|line| filled(&line) < 2) {
        range = *range.start()..=range.end().checked_sub(1)?;
    }
    let numbers = |column: usize| {
        let in_column = range.clone().filter_map(|line| cells[line].as_ref());
        in_column.filter(|cells| is_number(cells[column])).count()
    };
    // A line of readings that stands in none of the columns would be parted otherwise than those around it.
    if (0..lines.len()).any(|line| !range.contains(&line) && lines[line].has_readings()) {
        return None;
    }
    let of_numbers = (1..columns.len()).any(|column| numbers(column) >= FEWEST_NUMBERS);
    if range.clone().count() < FEWEST_LINES || !of_numbers {
        return None;
    }
    // What stands over the last columns alone is their header.
    let first_row = range.clone().find(|line| {
        let cells = cells[*line].iter().flatten();
        cells.skip(1).any(|cell| is_number(cell))
    })?;
    let rows = || (first_row..=*range.end()).filter_map(|line| cells[line].as_ref());
    let empty = |column: usize| rows().all(|cells| cells[column].is_empty());
    let reached = (0..columns.len()).rev().find(|column| !empty(*column))? + 1;
    // A last reading that lacks is known by the numbers in front of it, and a unit alone stands under the first header.
    let worded = |column: usize| rows().any(|cells| !cells[column].is_empty() && !is_number(cells[column]));
    let last = columns.len() - 1;
    let last_worded = worded(last);
    let lacks = |line: usize| {
        let filled: Vec<bool> = cells[line]
            .iter()
            .flatten()
            .map(|cell| !cell.is_empty())
            .collect();
        let inner = filled.iter().skip_while(|filled| **filled).any(|filled| *filled);
        let header = line < first_row && filled.iter().filter(|filled| **filled).count() > 1;
        let ends = filled.last() == Some(&false);
        inner || ends && (header || last_worded || reached <= last)
    };
    // `Standard 1` in front of rows, and `Absorbance Tea` over a lone unit, are no two cells.
    let lacking = range.clone().any(|line| filled(&line) < columns.len());
    let names_parted = rows().any(|cells| cells[0].contains(' '));
    let headers = || (*range.start()..first_row).filter_map(|line| cells[line].as_ref());
    let lone_unit = (*range.start()..first_row).any(|line| filled(&line) == 1);
    let worded_header = |cell: &&str| {
        let mut words = cell.split(' ');
        cell.contains(' ') && words.all(|word| word.chars().all(char::is_alphabetic))
    };
    let headers_parted = lone_unit && headers().flatten().any(worded_header);
    let apart = lacking && (names_parted || headers_parted);
    if !apart && !range.clone().any(lacks) {
        return None;
    }
    // What stands over the last columns alone is their header, to which no row reaches. One that states something of its own, `pH 7.4`,
    // is none.
    let over_nothing = || headers().flat_map(|cells| &cells[reached..]);
    let states = |cell: &&str| cell.contains(|c: char| c.is_ascii_digit() || matches!(c, ':' | '='));
    if over_nothing().any(states) {
        return None;
    }
    let mut parted = Parted::default();
    for line in &lines[range] {
        let columns_here = columns.iter().take(reached).skip(1);
        let inside = columns_here.filter(|from| **from < line.len());
        parted
            .changes
            .extend(inside.map(|from| (line.at + line.byte(*from) - 1, b'\t')));
        if let Some(beyond) = columns.get(reached).filter(|from| **from < line.len()) {
            let bytes = line.at + line.byte(*beyond)..line.at + line.line.len();
            parted.over_nothing.get_or_insert(bytes.clone());
            parted.changes.extend(bytes.map(|at| (at, b' ')));
        }
    }
    Some(parted)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parted(text: &str) -> Option<String> {
        with_tabs_between_columns(text).map(|(text, _)| text.replace(' ', "").replace('\t', "|"))
    }

    #[test]
    fn cells_that_stand_empty() {
        let cases = [
            (
                "nm    Tea     Malt\n400   0.101   0.201\n410           0.202\n420   0.103   0.203\n",
                Some("nm|Tea|Malt\n400|0.101|0.201\n410||0.202\n420|0.103|0.203\n"),
            ),
            // Nothing lacks.
            (
                "nm    Tea     Malt\n400   0.101   0.201\n410   0.102   0.202\n420   0.103   0.203\n",
                None,
            ),
            // A row a blank off its columns would be parted otherwise than the others.
            (
                "nm    Tea     Malt    Hop\n400   0.101   0.201   0.301\n410           0.202   0.302\n420           0.203   0.303\n430    0.104   0.204  0.304\n",
                None,
            ),
            // No row reaches to a last header; one that states something is none.
            (
                "nm    A       Tea\n400   0.101\n410   0.102\n420   0.103\n",
                Some("nm|A\n400|0.101\n410|0.102\n420|0.103\n"),
            ),
            (
                "nm    A       pH 7.4\n400   0.101\n410   0.102\n420   0.103\n",
                None,
            ),
        ];
        for (text, wanted) in cases {
            assert_eq!(parted(text).as_deref(), wanted, "{text}");
        }
    }
}
