//! What stands where on a plate: a second grid of letters and numbers with names in place of readings, or lines such as
//! `A1-A3: blank`.

use std::collections::BTreeMap;

use super::dialect::{Dialect, split};
use super::grid::ColumnKind;
use super::join::Section;
use super::scan::{ScannedTable, TextLine, strip_remark};
use crate::words::{self, WordList};

/// The names of wells, by the letter of the row and the number of the column.
pub(super) type WellNames = BTreeMap<(char, u32), String>;

/// Longer names, in characters, are remarks: half a line, as for names of rows elsewhere.
const LONGEST_NAME: usize = 40;
/// Plates have no more columns: one of 1536 wells has 32 rows of 48 (ANSI/SLAS 4-2004).
const MOST_COLUMNS: u32 = 48;

/// What lines say of wells, and which lines they are.
#[derive(Clone, Debug, Default)]
struct WellKey {
    names: WellNames,
    lines: Vec<u32>,
    /// The section whose table it is, where it is one of numbers.
    table: Option<usize>,
}

/// The names of the wells of each section, out of lines that are then no words any more; and the numbers of these lines.
pub(super) fn take(
    text: &str,
    sections: &mut Vec<Section>,
    behind: &mut Vec<TextLine>,
) -> (Vec<WellNames>, Vec<u32>) {
    let mut names = vec![WellNames::new(); sections.len()];
    let plates: Vec<Option<Plate>> = sections
        .iter()
        .map(|section| Plate::of(text, &section.table))
        .collect();
    if plates.iter().all(Option::is_none) {
        return (names, Vec::new());
    }
    // The words above each section, and those behind the last one.
    let count = sections.len();
    let mut keys: Vec<Option<WellKey>> = Vec::with_capacity(count + 1);
    for block in 0..=count {
        let words = match sections.get(block) {
            Some(section) => section.words.as_slice(),
            None => behind.as_slice(),
        };
        let plate = plates.get(block).and_then(Option::as_ref);
        let above = block.checked_sub(1).and_then(|above| plates[above].as_ref());
        let key = [above, plate]
            .into_iter()
            .flatten()
            .find_map(|plate| plate.key(text, words));
        keys.push(key);
    }
    number_keys(text, sections, &plates, &mut keys);
    let written = keys.iter().flatten().count();
    // Keys stand in front of their plates where the first one does.
    let is_key = |plate: usize| keys.iter().flatten().any(|key| key.table == Some(plate));
    let first_plate = (0..count).find(|plate| plates[*plate].is_some() && !is_key(*plate));
    let first_key = keys.iter().position(Option::is_some);
    let in_front = first_key
        .zip(first_plate)
        .is_some_and(|(key, plate)| key <= plate);
    let last_plate = (0..count)
        .rev()
        .find(|plate| plates[*plate].is_some() && !is_key(*plate));
    // One key above all plates or below all of them is that of all.
    let of_all = first_key.filter(|&key| {
        let above = first_plate.is_some_and(|first| key <= first);
        written == 1 && (above || last_plate.is_some_and(|last| key > last))
    });
    for (index, plate) in plates.iter().enumerate() {
        let Some(plate) = plate else { continue };
        let own = of_all.unwrap_or(if in_front { index } else { index + 1 });
        let key = keys[own].as_ref().filter(|key| plate.has(&key.names));
        if let Some(key) = key {
            names[index].clone_from(&key.names);
        }
    }
    let used = |key: &&WellKey| names.contains(&key.names);
    let taken: Vec<u32> = keys
        .iter()
        .flatten()
        .filter(used)
        .flat_map(|key| key.lines.clone())
        .collect();
    let tables: Vec<usize> = keys
        .iter()
        .flatten()
        .filter(used)
        .filter_map(|key| key.table)
        .collect();
    for section in sections.iter_mut() {
        section.words.retain(|line| !taken.contains(&line.line));
    }
    behind.retain(|line| !taken.contains(&line.line));
    // A grid of concentrations says what stands in the wells of another, and is no measurement itself.
    for table in tables.into_iter().rev() {
        let section = sections.remove(table);
        names.remove(table);
        match sections.get_mut(table) {
            Some(next) => next.words.splice(..0, section.words).for_each(drop),
            None => behind.splice(..0, section.words).for_each(drop),
        }
    }
    (names, taken)
}

/// Grids of numbers under a title of another quantity with its unit, `Concentration (mM)`, of the wells of a plate before or behind
/// them: keys in the place of the words they stand in.
fn number_keys(text: &str, sections: &[Section], plates: &[Option<Plate>], keys: &mut [Option<WellKey>]) {
    for (index, plate) in plates.iter().enumerate() {
        let Some(plate) = plate else { continue };
        let title = sections[index].words.last();
        let unit = title.and_then(|line| Some((line, unit_of_title(&text[line.span.range()])?)));
        let Some((title, unit)) = unit else { continue };
        let same = |other: usize| {
            let of = plates.get(other).and_then(Option::as_ref);
            of.is_some_and(|other| other.rows == plate.rows && other.columns == plate.columns)
        };
        let (above, below) = (index.checked_sub(1).is_some_and(same), same(index + 1));
        let block = if above { index } else { index + 1 };
        if !(above || below) || keys[block].is_some() {
            continue;
        }
        let table = &sections[index].table;
        let mut key = WellKey {
            table: Some(index),
            lines: vec![title.line],
            ..WellKey::default()
        };
        for (row, letter) in plate.rows.iter().enumerate() {
            for (at, column) in plate.columns.iter().enumerate() {
                let value = table.grid.figure(row, at + 1);
                if !value.is_nan() {
                    key.names.insert((*letter, *column), format!("{value} {unit}"));
                }
            }
        }
        keys[block] = Some(key);
    }
}

/// The unit of a title that names a quantity other than of light, with its unit: `Concentration (mM)`, `Dose / µg/mL`.
fn unit_of_title(line: &str) -> Option<String> {
    let (_, kept) = strip_remark(line);
    let head = crate::column_header::read_column_header(kept.trim().trim_end_matches(':'));
    let other = head
        .quantity
        .as_ref()
        .is_some_and(|quantity| *quantity == curvary_record::Quantity::CONCENTRATION);
    head.unit
        .filter(|_| other && head.held.is_empty())
        .map(|unit| unit.display())
}

/// A grid with letters in front of its rows and numbers over its columns.
struct Plate {
    rows: Vec<char>,
    columns: Vec<u32>,
    dialect: Dialect,
}

impl Plate {
    fn of(text: &str, table: &ScannedTable) -> Option<Self> {
        const FEWEST_COLUMNS: usize = 2;
        let grid = &table.grid;
        let [ColumnKind::Words, rest @ ..] = grid.kinds.as_slice() else {
            return None;
        };
        let figures = rest.iter().filter(|kind| **kind == ColumnKind::Figures).count();
        if figures < FEWEST_COLUMNS || grid.rows > usize::from(b'Z' - b'A') + 1 {
            return None;
        }
        let rows: Option<Vec<char>> = grid
            .words(0)
            .iter()
            .map(|span| letter(text[span.range()].trim()))
            .collect();
        let heads = table.heads.last()?;
        let columns: Vec<u32> = heads
            .cells
            .iter()
            .skip(1)
            .flatten()
            .map_while(|span| text[span.range()].trim().parse().ok())
            .filter(|number| *number <= MOST_COLUMNS)
            .collect();
        let rows = rows.filter(|rows| rows.windows(2).all(|pair| pair[0] < pair[1]))?;
        let counts = columns.windows(2).all(|pair| pair[1] == pair[0] + 1);
        (counts && columns.len() >= FEWEST_COLUMNS).then(|| Self {
            rows,
            columns,
            dialect: grid.dialect.clone(),
        })
    }

    /// Whether names are those of wells that it has.
    fn has(&self, names: &WellNames) -> bool {
        !names.is_empty()
            && names
                .keys()
                .all(|(row, column)| self.rows.contains(row) && self.columns.contains(column))
    }

    /// What lines say of its wells.
    fn key(&self, text: &str, words: &[TextLine]) -> Option<WellKey> {
        let key = self.grid(text, words).unwrap_or_else(|| lines(text, words));
        Some(key).filter(|key| self.has(&key.names))
    }

    /// A grid of the same numbers and letters with names in it.
    fn grid(&self, text: &str, words: &[TextLine]) -> Option<WellKey> {
        let cells = |line: &TextLine| -> Vec<&str> {
            let line = &text[line.span.range()];
            split(line, &self.dialect)
                .into_iter()
                .map(|range| line[range].trim())
                .collect()
        };
        let is_header = |line: &TextLine| {
            let cells = cells(line);
            let numbers = cells.iter().filter_map(|cell| cell.parse::<u32>().ok());
            cells.iter().filter(|cell| !cell.is_empty()).count() <= self.columns.len() + 1
                && numbers.eq(self.columns.iter().copied())
        };
        let header = words.iter().position(is_header)?;
        // Where blanks part the cells an empty corner is no cell.
        let first = cells(&words[header])
            .iter()
            .position(|cell| cell.parse::<u32>().is_ok())?;
        let shift = usize::from(first == 0);
        let mut key = WellKey {
            lines: vec![words[header].line],
            ..WellKey::default()
        };
        for line in &words[header + 1..] {
            let row = cells(line);
            let Some(letter) = row
                .first()
                .and_then(|cell| letter(cell))
                .filter(|letter| self.rows.contains(letter))
            else {
                break;
            };
            key.lines.push(line.line);
            for (at, &column) in self.columns.iter().enumerate() {
                let name = row.get(first + shift + at).copied().unwrap_or("");
                // Where a sentence stands in a cell, the grid holds something else.
                if name.chars().count() > LONGEST_NAME {
                    return None;
                }
                if name.contains(char::is_alphanumeric) {
                    key.names.insert((letter, column), name.to_owned());
                }
            }
        }
        (key.lines.len() > 1).then_some(key)
    }
}

/// Wells, and the name of what stands in them.
type NamedWells<'t> = (Vec<(char, u32)>, &'t str);

/// What single lines say of wells: `A1: blank`, `A1-A3 = std 1; B1: serum`.
fn lines(text: &str, words: &[TextLine]) -> WellKey {
    let mut key = WellKey::default();
    for line in words {
        let (_, kept) = strip_remark(&text[line.span.range()]);
        let statements: Option<Vec<NamedWells>> = kept
            .split([';', '\t'])
            .filter(|statement| !statement.trim().is_empty())
            .map(|statement| {
                // `A1..A3 blank`, too.
                let marked = statement.split_once([':', '=']);
                let (wells, name) = marked.or_else(|| statement.trim().split_once(' '))?;
                let name = name.trim().trim_end_matches(['.', ',']);
                let named = name.contains(char::is_alphanumeric) && name.chars().count() <= LONGEST_NAME;
                Some((wells_of(wells)?, name)).filter(|_| named)
            })
            .collect();
        let Some(statements) = statements.filter(|statements| !statements.is_empty()) else {
            continue;
        };
        key.lines.push(line.line);
        for (wells, name) in statements {
            for well in wells {
                // Two lines that say otherwise of one well are both left as they stand.
                if key
                    .names
                    .insert(well, name.to_owned())
                    .is_some_and(|other| other != name)
                {
                    return WellKey::default();
                }
            }
        }
    }
    key
}

/// The wells of `A1`, `A1, A2`, `A1-A3` and `A1 to B2`, the last two being all between these corners.
fn wells_of(text: &str) -> Option<Vec<(char, u32)>> {
    let mut wells = Vec::new();
    for part in text.split([',', '+', '&']) {
        let part = part.replace("..", "-");
        let words: Vec<&str> = part.split_whitespace().collect();
        let corners: Vec<&str> = match words.as_slice() {
            [first, to, last] if words::is(WordList::RangeTo, to) => vec![first, last],
            _ => part.split(['-', '–', '—', '…']).map(str::trim).collect(),
        };
        let corners: Vec<(char, u32)> = corners.into_iter().map(well).collect::<Option<_>>()?;
        let (first, last) = match corners.as_slice() {
            [one] => (*one, *one),
            [first, last] => (*first, *last),
            _ => return None,
        };
        for row in first.0..=last.0 {
            wells.extend((first.1..=last.1).map(|column| (row, column)));
        }
    }
    Some(wells).filter(|wells| !wells.is_empty())
}

/// `A1`, `H12`.
fn well(text: &str) -> Option<(char, u32)> {
    let mut chars = text.chars();
    let row = chars
        .next()
        .and_then(|row| letter(row.encode_utf8(&mut [0; 4])))?;
    let digits = chars.as_str();
    let plain = !digits.is_empty() && digits.bytes().all(|byte| byte.is_ascii_digit());
    let column = digits
        .parse()
        .ok()
        .filter(|column| plain && (1..=MOST_COLUMNS).contains(column))?;
    Some((row, column))
}

/// The one letter that names a row of a plate.
fn letter(text: &str) -> Option<char> {
    match text.as_bytes() {
        [letter @ b'A'..=b'Z'] => Some(char::from(*letter)),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wells_by_their_corners() {
        assert_eq!(wells_of("A1"), Some(vec![('A', 1)]));
        assert_eq!(wells_of("A1-A3"), Some(vec![('A', 1), ('A', 2), ('A', 3)]));
        assert_eq!(
            wells_of("A1 to B2"),
            Some(vec![('A', 1), ('A', 2), ('B', 1), ('B', 2)])
        );
        assert_eq!(wells_of("A1..A2"), Some(vec![('A', 1), ('A', 2)]));
        assert_eq!(wells_of("A1, C2"), Some(vec![('A', 1), ('C', 2)]));
        assert_eq!(wells_of("A405"), None);
        assert_eq!(wells_of("pH"), None);
        assert_eq!(wells_of("B1-A2"), None);
    }
}
