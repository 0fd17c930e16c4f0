//! The furniture of pages: what is printed on each page beside its number, told apart so that it is known as such.

use super::layout::{PrintCell, PrintRow};

/// How many lines at the top and at the bottom of a page may be furniture.
const LINES: usize = 4;
/// How far the same line may lie apart on two pages, in points.
const APART: f64 = 4.0;

/// Parts the lines of page heads and feet that are repeated but for one cell, such as the number of the page: each
/// repeated cell becomes a line of its own. Bare numbers that count the pages are written as page numbers.
pub(super) fn part_furniture(pages: &mut [(usize, Vec<PrintRow>)]) {
    if pages.len() < 2 {
        return;
    }
    let numbered = bare_numbers(pages);
    let repeated: Vec<Vec<Vec<bool>>> = pages
        .iter()
        .enumerate()
        .map(|(page, (_, rows))| {
            rows.iter()
                .enumerate()
                .map(|(at, row)| {
                    if !is_margin(at, rows.len()) {
                        return vec![false; row.cells.len()];
                    }
                    let others = || {
                        pages
                            .iter()
                            .enumerate()
                            .filter(|(other, _)| *other != page)
                            .map(|(_, other)| &other.1)
                    };
                    row.cells
                        .iter()
                        .map(|cell| !cell.text.is_empty() && others().any(|rows| stands_in(cell, row, rows)))
                        .collect()
                })
                .collect()
        })
        .collect();
    for ((page, (_, rows)), repeated) in pages.iter_mut().enumerate().zip(repeated) {
        let mut parted = Vec::with_capacity(rows.len());
        for ((at, row), repeated) in std::mem::take(rows).into_iter().enumerate().zip(repeated) {
            if numbered.contains(&(page, at)) {
                let mut row = row;
                for cell in &mut row.cells {
                    cell.text = format!("- {} -", cell.text);
                }
                parted.push(row);
            } else if is_numbered(&row, &repeated) {
                let same: Vec<PrintCell> = row.cells_where(&repeated, true);
                let own: Vec<PrintCell> = row.cells_where(&repeated, false);
                for cell in same.into_iter().chain(own) {
                    parted.push(row.with_cells(vec![cell]));
                }
            } else {
                parted.push(row);
            }
        }
        *rows = parted;
    }
}

/// Whether words of a line are repeated on other pages, and what is not is the number of the page: never a row of numbers.
fn is_numbered(row: &PrintRow, repeated: &[bool]) -> bool {
    let cells = || {
        row.cells
            .iter()
            .zip(repeated)
            .filter(|(cell, _)| !cell.text.is_empty())
    };
    let words = |text: &str| text.contains(char::is_alphabetic);
    let is_number = |text: &str| {
        let parts: Vec<&str> = text.split('/').map(str::trim).collect();
        parts.len() <= 2
            && parts
                .iter()
                .all(|part| part.len() <= 4 && part.parse::<u16>().is_ok())
    };
    let own = |text: &str| crate::words::is_furniture(text) || is_number(text);
    cells().any(|(cell, again)| *again && words(&cell.text))
        && cells().any(|(_, again)| !*again)
        && cells().all(|(cell, again)| *again || own(&cell.text))
}

fn is_margin(at: usize, rows: usize) -> bool {
    at < LINES || at + LINES >= rows
}

/// Whether a cell stands at the same place of another page.
fn stands_in(cell: &PrintCell, row: &PrintRow, rows: &[PrintRow]) -> bool {
    let near = |other: &&PrintRow| (other.baseline() - row.baseline()).abs() <= APART;
    let margin = |at: usize| is_margin(at, rows.len());
    rows.iter()
        .enumerate()
        .filter(|(at, _)| margin(*at))
        .map(|(_, row)| row)
        .filter(near)
        .flat_map(|other| &other.cells)
        .any(|other| other.text == cell.text && (other.left() - cell.left()).abs() <= APART)
}

/// The lines that hold nothing but a number which goes up by one from page to page, as page and row.
fn bare_numbers(pages: &[(usize, Vec<PrintRow>)]) -> Vec<(usize, usize)> {
    for at_end in [true, false] {
        let found: Vec<(usize, usize, usize, i64)> = pages
            .iter()
            .enumerate()
            .filter_map(|(page, (number, rows))| {
                let at = if at_end { rows.len().checked_sub(1)? } else { 0 };
                let [cell] = rows.get(at)?.cells.as_slice() else {
                    return None;
                };
                let value: i64 = cell.text.parse().ok()?;
                Some((page, at, *number, value))
            })
            .collect();
        let offset = |&(_, _, number, value): &(usize, usize, usize, i64)| {
            i64::try_from(number).ok().map(|number| value - number)
        };
        let counts = found.windows(2).all(|pair| offset(&pair[0]) == offset(&pair[1]));
        if found.len() >= 2 && counts && found.len() + 1 >= pages.len() {
            return found.into_iter().map(|(page, at, _, _)| (page, at)).collect();
        }
    }
    Vec::new()
}
