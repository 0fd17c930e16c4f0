//! Columns that are padded with blanks to stand one below the other, with cells in which nothing stands: between two columns a tab takes
//! the place of a blank, so that a cell stands under its own header however many are empty beside it. The header of a last column in
//! which nothing stands is blanked: no row reaches to it.

use super::super::number::{Cell, Style, cell};
use super::Blanked;

/// A longer text is the log of a program, whose columns its own reader knows.
const LONGEST: usize = 1 << 20;

/// So many lines at least stand below each other, and so many of them at least have a number in one column.
const FEWEST_LINES: usize = 3;
const FEWEST_NUMBERS: usize = 2;

/// A line with the places of its signs.
struct PaddedLine {
    /// The byte of the text at which each sign begins.
    signs: Vec<(usize, char)>,
    /// Where its cells begin that two blanks or more set apart, in signs.
    starts: Vec<usize>,
}

impl PaddedLine {
    fn of(text: &str, at: usize) -> Self {
        let text = text.trim_end();
        let signs: Vec<(usize, char)> = text
            .char_indices()
            .map(|(place, sign)| (at + place, sign))
            .collect();
        let blank = |place: usize| signs[place].1 == ' ';
        let begins = |place: &usize| {
            let place = *place;
            !blank(place) && (place == 0 || blank(place - 1) && (place == 1 || blank(place - 2)))
        };
        let first = (0..signs.len()).find(|&place| !blank(place));
        let starts = (0..signs.len())
            .filter(|place| begins(place) || first == Some(*place))
            .collect();
        Self { signs, starts }
    }

    fn text(&self, from: usize, to: usize) -> String {
        let signs = self.signs.get(from..to.min(self.signs.len())).unwrap_or(&[]);
        let text: String = signs.iter().map(|(_, sign)| *sign).collect();
        text.trim().to_owned()
    }

    /// What stands in each of these columns; `None` where its cells do not stand in them.
    fn cells(&self, columns: &[usize]) -> Option<Vec<String>> {
        if !self.starts.iter().all(|start| columns.contains(start)) {
            return None;
        }
        let mut cells = Vec::with_capacity(columns.len());
        for (index, &from) in columns.iter().enumerate() {
            let to = columns.get(index + 1).copied().unwrap_or(usize::MAX);
            let inside = index > 0 && from < self.signs.len();
            if inside && self.signs[from - 1].1 != ' ' {
                return None;
            }
            let cell = self.text(from, to);
            // Behind a single blank a number begins a cell, and a word may go on a sentence.
            if inside && !self.starts.contains(&from) && !cell.is_empty() && !is_number(&cell) {
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

/// The text with tabs between such columns, where some of their cells are empty.
pub(super) fn with_tabs_between_columns(text: &str) -> Option<Blanked> {
    if text.len() > LONGEST || !text.contains("  ") {
        return None;
    }
    let mut places: Vec<(usize, u8)> = Vec::new();
    let mut block: Vec<PaddedLine> = Vec::new();
    let mut at = 0;
    let mut tabs = false;
    for line in text.split_inclusive('\n') {
        if line.trim().is_empty() {
            places.extend(between_columns(&block).filter(|_| !tabs).into_iter().flatten());
            block.clear();
            tabs = false;
        } else {
            tabs |= line.contains(['\t', '|']);
            block.push(PaddedLine::of(line, at));
        }
        at += line.len();
    }
    places.extend(between_columns(&block).filter(|_| !tabs).into_iter().flatten());
    if places.is_empty() {
        return None;
    }
    let mut bytes = text.as_bytes().to_vec();
    for (place, byte) in places {
        bytes[place] = byte;
    }
    Some((String::from_utf8(bytes).ok()?, None))
}

/// What takes the place of which bytes of these lines.
fn between_columns(lines: &[PaddedLine]) -> Option<Vec<(usize, u8)>> {
    if lines.len() < FEWEST_LINES {
        return None;
    }
    // A sign that strayed into one line begins no column.
    let begins = |start: usize| lines.iter().filter(|line| line.starts.contains(&start)).count();
    let has_strays = |line: &PaddedLine| {
        line.starts.iter().enumerate().any(|(place, &from)| {
            let to = line.starts.get(place + 1).copied().unwrap_or(usize::MAX);
            let cell = line.text(from, to);
            let sign = |c: char| matches!(c, ',' | ';' | ':' | '.');
            cell.chars().all(sign) || begins(from) == 1 && !cell.contains(char::is_alphanumeric)
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
    let cells: Vec<Option<Vec<String>>> = lines.iter().map(|line| line.cells(columns)).collect();
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
        in_column.filter(|cells| is_number(&cells[column])).count()
    };
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
    let worded = |column: usize| {
        let words = |cells: &&Vec<String>| !cells[column].is_empty() && !is_number(&cells[column]);
        rows().any(|cells| words(&cells))
    };
    let last = columns.len() - 1;
    let lacks = |line: usize| {
        let filled: Vec<bool> = cells[line]
            .iter()
            .flatten()
            .map(|cell| !cell.is_empty())
            .collect();
        let inner = filled.iter().skip_while(|filled| **filled).any(|filled| *filled);
        let header = line < first_row && filled.iter().filter(|filled| **filled).count() > 1;
        let ends = filled.last() == Some(&false);
        inner || ends && (header || worded(last) || reached <= last)
    };
    // `Standard 1` in front of rows, and `Absorbance Tea` over a lone unit, are no two cells.
    let lacking = range.clone().any(|line| filled(&line) < columns.len());
    let names_parted = rows().any(|cells| cells[0].contains(' '));
    let headers = || (*range.start()..first_row).filter_map(|line| cells[line].as_ref());
    let lone_unit = (*range.start()..first_row).any(|line| filled(&line) == 1);
    let worded_header = |cell: &String| {
        let mut words = cell.split(' ');
        cell.contains(' ') && words.all(|word| word.chars().all(char::is_alphabetic))
    };
    let headers_parted = lone_unit && headers().flatten().any(worded_header);
    let apart = lacking && (names_parted || headers_parted);
    if !apart && !range.clone().any(lacks) {
        return None;
    }
    let mut changes = Vec::new();
    for line in range {
        let signs = &lines[line].signs;
        let inside = columns[..reached]
            .iter()
            .skip(1)
            .filter(|from| **from < signs.len());
        changes.extend(inside.map(|from| (signs[from - 1].0, b'\t')));
        let beyond = columns.get(reached).and_then(|from| signs.get(*from..));
        for (at, sign) in beyond.unwrap_or_default() {
            changes.extend((*at..at + sign.len_utf8()).map(|at| (at, b' ')));
        }
    }
    Some(changes)
}
