//! What stands beside the table of a sheet: results, sums and small tables that somebody put to its right.
//!
//! A sheet is cut at columns that are empty from top to bottom. The strip with the most rows of numbers is the table; a
//! strip that begins with the same header goes on with it (pairs of columns, pages side by side), and so does one whose
//! rows are those of the table (a column was left free for looks). What is left stands for itself: keys with values are
//! said of the sheet, and other blocks are tables of their own.

use std::collections::{BTreeMap, BTreeSet};

use super::SheetCells;
use crate::readers::is_plain_number;
use crate::words::is_statistics;

/// A sheet in parts.
pub(super) struct Regions {
    /// The table with all that belongs to it.
    pub(super) table: SheetCells,
    /// Keys and values beside it: the row, the columns of the key and of the value, both texts.
    pub(super) pairs: Vec<CellPair>,
    /// Tables beside it.
    pub(super) beside: Vec<SheetCells>,
}

/// A key and its value, with the row and the columns in which they stand.
pub(super) struct CellPair {
    pub(super) row: u32,
    pub(super) key: (u32, String),
    pub(super) value: (u32, String),
}

/// A strip of columns and its rows of numbers.
struct Strip {
    cells: SheetCells,
    /// The rows that have a number.
    numbers: BTreeSet<u32>,
}

impl Strip {
    fn first_header(&self) -> Option<&str> {
        let start = *self.numbers.first()?;
        // The words directly above the first number of the first column.
        let column = self.cells.values().filter_map(|row| Some(row.first()?.0)).min()?;
        let above = self.cells.range(..start).rev();
        let mut headers = above.filter_map(|(_, row)| row.iter().find(|cell| cell.0 == column));
        headers
            .find(|cell| !is_plain_number(&cell.1))
            .map(|cell| cell.1.trim())
    }

    fn width(&self) -> usize {
        let columns: BTreeSet<u32> = self.cells.values().flatten().map(|cell| cell.0).collect();
        columns.len()
    }

    /// Whether each row is a word and its value, perhaps with a unit.
    fn is_keys(&self) -> bool {
        (2..=3).contains(&self.width())
            && self.cells.values().all(|row| {
                (2..=3).contains(&row.len())
                    && !is_plain_number(&row[0].1)
                    && (row.len() == 2 || !is_plain_number(&row[2].1))
            })
            && self.cells.values().any(|row| is_plain_number(&row[1].1))
    }

    /// Blocks of rows with an empty row between.
    fn blocks(self) -> Vec<SheetCells> {
        let mut blocks: Vec<SheetCells> = Vec::new();
        let mut before = None;
        for (row, cells) in self.cells {
            if before.is_none_or(|before| before + 1 < row) {
                blocks.push(SheetCells::new());
            }
            before = Some(row);
            if let Some(block) = blocks.last_mut() {
                block.insert(row, cells);
            }
        }
        blocks
    }
}

fn strip(cells: SheetCells) -> Strip {
    let numbers = cells
        .iter()
        .filter(|(_, row)| row.iter().any(|cell| is_plain_number(&cell.1)))
        .map(|(row, _)| *row)
        .collect();
    Strip { cells, numbers }
}

/// Takes a sheet apart.
pub(super) fn regions(cells: SheetCells) -> Regions {
    let mut whole = Regions {
        table: SheetCells::new(),
        pairs: Vec::new(),
        beside: Vec::new(),
    };
    let mut strips = strips(cells);
    let Some(main) = (0..strips.len()).max_by_key(|&at| (strips[at].numbers.len(), usize::MAX - at)) else {
        return whole;
    };
    let model = (
        strips[main].numbers.clone(),
        strips[main].first_header().map(str::to_owned),
    );
    let top = model.0.first().copied().unwrap_or(0);
    for (at, one) in std::mem::take(&mut strips).into_iter().enumerate() {
        if at == main || !stands_apart(&one, &model, top) {
            for (row, cells) in one.cells {
                whole.table.entry(row).or_default().extend(cells);
            }
            continue;
        }
        for block in one.blocks() {
            let block = strip(block);
            if block.is_keys() {
                whole
                    .pairs
                    .extend(block.cells.into_iter().filter_map(|(row, cells)| {
                        let mut cells = cells.into_iter();
                        let (key, mut value) = (cells.next()?, cells.next()?);
                        if let Some((_, unit)) = cells.next() {
                            value.1 = format!("{} {unit}", value.1);
                        }
                        Some(CellPair { row, key, value })
                    }));
            } else {
                whole.beside.push(block.cells);
            }
        }
    }
    whole
}

/// The strips of a sheet between columns that are empty from top to bottom.
fn strips(cells: SheetCells) -> Vec<Strip> {
    let columns: BTreeSet<u32> = cells.values().flatten().map(|cell| cell.0).collect();
    let mut starts: BTreeMap<u32, usize> = BTreeMap::new();
    let (mut before, mut count) = (None, 0);
    for column in columns {
        if before.is_some_and(|before| before + 1 < column) {
            count += 1;
        }
        before = Some(column);
        starts.insert(column, count);
    }
    let mut strips: Vec<SheetCells> = (0..=count).map(|_| SheetCells::new()).collect();
    for (row, line) in cells {
        for cell in line {
            let at = starts.get(&cell.0).copied().unwrap_or(0);
            strips[at].entry(row).or_default().push(cell);
        }
    }
    strips
        .into_iter()
        .map(strip)
        .filter(|strip| !strip.cells.is_empty())
        .collect()
}

/// Whether a strip is none of the table's: it has a header and rows of its own, or keys beside the table's rows.
fn stands_apart(one: &Strip, (rows, header): &(BTreeSet<u32>, Option<String>), top: u32) -> bool {
    if rows.len() < 3 || one.numbers.is_empty() || one.width() < 2 {
        return false;
    }
    // In the lines above the table a free column parts keys from keys.
    let beside = one.cells.keys().any(|row| *row + 1 >= top);
    let copy = Strip {
        cells: one.cells.clone(),
        numbers: one.numbers.clone(),
    };
    let blocks_of_keys: Vec<bool> = copy
        .blocks()
        .into_iter()
        .map(|block| strip(block).is_keys())
        .collect();
    let keys = beside && one.cells.len() < rows.len() && !blocks_of_keys.contains(&false);
    let same_rows = one.numbers.first() == rows.first()
        && one.numbers.last() == rows.last()
        && !blocks_of_keys.contains(&true);
    let same_header = match (one.first_header(), header) {
        (Some(own), Some(header)) => own.eq_ignore_ascii_case(header),
        (None, None) => true,
        _ => false,
    };
    keys || beside
        && !same_rows
        && !same_header
        && one.first_header().is_some()
        && one.numbers.len() < rows.len()
}

/// Whether a block sums up what stands elsewhere: a word of its cells says so.
pub(super) fn sums_up(cells: &SheetCells) -> bool {
    cells.values().flatten().any(|(_, text)| {
        let mut words = text
            .split(|c: char| !c.is_alphanumeric())
            .filter(|word| !word.is_empty());
        // Short ones are units and symbols as well: `min`, `s`.
        !is_plain_number(text) && words.any(|word| word.len() > 3 && is_statistics(word))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sheet(rows: &[&str]) -> SheetCells {
        let mut cells = SheetCells::new();
        for (row, line) in (0..).zip(rows) {
            for (column, cell) in (0..).zip(line.split('|')) {
                if !cell.is_empty() {
                    cells.entry(row).or_default().push((column, cell.to_owned()));
                }
            }
        }
        cells
    }

    #[test]
    fn results_beside_a_table_are_keys_and_tables() {
        let parts = regions(sheet(&[
            "Time (s)|A|||[S]|rate",
            "0|0.1|||0.1|0.01",
            "5|0.2|||0.2|0.02",
            "10|0.3|||",
            "15|0.4|||Km|0.64|mM",
            "20|0.5|||Vmax|0.7|",
        ]));
        assert_eq!(parts.table.len(), 6);
        assert!(parts.table.values().all(|row| row.len() == 2));
        assert_eq!(parts.beside.len(), 1);
        let pairs: Vec<_> = parts
            .pairs
            .iter()
            .map(|pair| (pair.key.1.as_str(), pair.value.1.as_str()))
            .collect();
        assert_eq!(pairs, [("Km", "0.64 mM"), ("Vmax", "0.7")]);
    }

    #[test]
    fn a_free_column_in_a_table_and_pairs_of_columns_stay() {
        for rows in [
            &["nm|A||B", "400|1||2", "410|1||2", "420|1||2", "430|1||"][..],
            &["nm|A||nm|B", "400|1||400|2", "410|1||410|2", "420|1||", "430|1||"][..],
            &[
                "Sample|x||T|37",
                "",
                "nm|A|||",
                "400|1|||",
                "410|1|||",
                "420|1|||",
            ][..],
        ] {
            let parts = regions(sheet(rows));
            assert!(parts.beside.is_empty() && parts.pairs.is_empty(), "{rows:?}");
        }
    }
}
