//! Tables drawn with a border around every row: `+-----+-----+` above and below each, `|` between the cells.

use curvary_record::Span;

use crate::Source;
use crate::rendering::Rendering;
use crate::slice::offset_in;

/// The cells of a row with their places.
type GridRow = Vec<(String, Span)>;

/// So many borders make a drawn table; one with fewer has no border between its rows.
const FEWEST: usize = 5;

/// Whether a text has a table with a border between all its rows.
pub(super) fn is_drawn(head: &str) -> bool {
    if memchr::memchr(b'+', head.as_bytes()).is_none() {
        return false;
    }
    let (mut borders, mut rows) = (0, 0);
    for line in head.lines().map(str::trim) {
        if is_border(line) {
            borders += 1;
        } else if line.starts_with('|') && line.ends_with('|') {
            rows += 1;
        }
    }
    // With borders only around the table and its header, the rows are many more.
    borders >= FEWEST && borders * 3 > rows
}

fn is_border(line: &str) -> bool {
    line.len() >= 5
        && line.starts_with('+')
        && line.ends_with('+')
        && line.contains(['-', '='])
        && line.chars().all(|sign| matches!(sign, '+' | '-' | '=' | ':'))
}

/// The tables of a text, each with the words above it; words behind the last one go with each.
pub(super) fn tables(source: &Source) -> Vec<Rendering> {
    let text = source.text();
    let place = |span: Span| source.place(span);
    let mut words: Vec<(&str, Span)> = Vec::new();
    // With each table, how many lines of words stand above it.
    let mut tables: Vec<(usize, Vec<GridRow>)> = Vec::new();
    let mut row = GridRow::new();
    let mut open = false;
    for line in text.split_inclusive('\n') {
        let start = offset_in(text, line);
        let bare = line.trim();
        let cells = cells(line, start).filter(|_| bare.starts_with('|'));
        match cells {
            _ if is_border(bare) => {
                if !open {
                    tables.push((words.len(), Vec::new()));
                    open = true;
                }
                if let Some((_, rows)) = tables.last_mut().filter(|_| !row.is_empty()) {
                    rows.push(std::mem::take(&mut row));
                }
            }
            // A cell over several lines is one cell.
            Some(cells) if open => match row.len() {
                0 => row = cells,
                _ => {
                    for (cell, (more, _)) in row.iter_mut().zip(cells) {
                        cell.0 = format!("{} {more}", cell.0).trim().to_owned();
                    }
                }
            },
            _ => {
                open = false;
                row.clear();
                if !bare.is_empty() {
                    words.push((bare, Span::new(start, start + line.trim_end().len())));
                }
            }
        }
    }
    let last = tables.last().map_or(0, |(above, _)| *above);
    let mut from = 0;
    let mut all = Vec::new();
    for (above, rows) in tables {
        let mut rendering = Rendering::default();
        for (line, span) in words[from..above].iter().chain(&words[last..]) {
            rendering.line([(*line, place(*span))]);
        }
        from = above;
        rendering.blank();
        for row in &rows {
            rendering.line(row.iter().map(|(cell, span)| (cell.as_str(), place(*span))));
        }
        if rows.iter().any(|row| row.len() >= 2) {
            all.push(rendering);
        }
    }
    all
}

/// The cells between the bars of a line.
fn cells(line: &str, start: usize) -> Option<GridRow> {
    let inside = line.trim().strip_prefix('|')?.strip_suffix('|')?;
    let cells = inside.split('|').map(|cell| {
        let cell = cell.trim();
        let at = start + offset_in(line, cell);
        (cell.to_owned(), Span::new(at, at + cell.len()))
    });
    Some(cells.collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_border_between_all_rows_makes_a_drawn_table() {
        let drawn = "+---+---+\n| a | b |\n+===+===+\n| 1 | 2 |\n+---+---+\n| 3 | 4 |\n|   | 5 |\n+---+---+\n| 6 | 7 |\n+---+---+\n";
        assert!(is_drawn(drawn));
        let listed = "+---+---+\n| a | b |\n+---+---+\n| 1 | 2 |\n| 3 | 4 |\n| 6 | 7 |\n+---+---+\n";
        assert!(!is_drawn(listed));
        assert_eq!(tables(&Source::new("a.rst", drawn.as_bytes().to_vec())).len(), 1);
    }
}
