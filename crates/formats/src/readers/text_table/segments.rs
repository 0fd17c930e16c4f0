//! What each row above a table is: header, units, a condition or a name for each curve, a sum of the rows, or a title.
//!
//! A line with as many cells as the table has columns is not yet a header. Each row gives signs for what it may be (what
//! stands over the first column, whether the others hold quantities, units, numbers or words, whether it tells columns
//! apart that the header leaves alike); a table says what may stand above what; the best path from the lowest row up
//! decides. An unknown word is no sign, for or against.

use curvary_record::{KnownQuantity, Quantity, Span};

use super::columns::{NumberedNames, quantity_of_unit};
use super::scan::{HeadRow, leading_number};
use crate::column_header::{ColumnHeader, read_column_header};
use crate::words::field_of;

/// What a row above a table is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum RowClass {
    /// It names what the columns hold, or groups of them.
    Header,
    /// It gives the units of the header above it.
    Units,
    /// It holds a condition for each curve: `T (°C),25,30,35`.
    Condition,
    /// It names the sample of each curve, behind a key that means sample.
    Samples,
    /// It names the curves.
    Names,
    /// It speaks of the whole, and stands over columns by chance.
    Title,
    /// It sums up the rows: their mean, their deviation, their count.
    Summary,
}

const CLASSES: [RowClass; 6] = [
    RowClass::Header,
    RowClass::Units,
    RowClass::Condition,
    RowClass::Samples,
    RowClass::Names,
    RowClass::Title,
];

/// How much one sign weighs.
const DECISIVE: i32 = 8;
const STRONG: i32 = 4;
const MODERATE: i32 = 2;
const WEAK: i32 = 1;
/// What cannot be.
const NEVER: i32 = -1000;

/// What stands over the first column.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum FirstColumn {
    Empty,
    /// What may run: a wavelength, a time, by its word or by its unit.
    Axis,
    /// A quantity or field that may be held: temperature, pH, a concentration.
    Condition,
    /// A key that means sample.
    Sample,
    /// A unit alone.
    Unit,
    Number,
    /// What is measured, or a word that says nothing.
    Word,
}

/// The signs of one row.
struct SegmentRow {
    first: FirstColumn,
    /// Of the cells over the other columns, how many hold something.
    filled: usize,
    quantities: usize,
    units: usize,
    numbers: usize,
    /// Cells of words that name neither quantity nor unit nor coordinate.
    names: usize,
    /// All columns but the first have a cell.
    all: bool,
    /// The longest cell, in words.
    words: usize,
    /// Every filled cell, the first one too, is a unit or a dash.
    only_units: bool,
    cells: Vec<String>,
    /// Over which of the columns an axis is named.
    axes: Vec<usize>,
}

impl SegmentRow {
    fn of(text: &str, cells: &[Option<Span>]) -> Self {
        let texts: Vec<&str> = cells
            .iter()
            .map(|cell| cell.map_or("", |span| text[span.range()].trim()))
            .collect();
        let names = NumberedNames::of(texts.iter().copied());
        let heads: Vec<ColumnHeader> = texts
            .iter()
            .map(|text| {
                if names.has(text) {
                    return ColumnHeader {
                        label: Some((*text).to_owned()),
                        ..ColumnHeader::default()
                    };
                }
                read_column_header(text)
            })
            .collect();
        let is_unit = |text: &str| is_unit(text) && !names.has(text);
        let mut row = Self {
            first: texts
                .first()
                .zip(heads.first())
                .map_or(FirstColumn::Empty, |(text, head)| first_of(text, head)),
            filled: 0,
            quantities: 0,
            units: 0,
            numbers: 0,
            names: 0,
            all: true,
            words: texts
                .iter()
                .map(|text| text.split_whitespace().count())
                .max()
                .unwrap_or(0),
            only_units: texts.iter().any(|text| is_unit(text))
                && texts
                    .iter()
                    .all(|text| text.is_empty() || is_unit(text) || is_dash(text)),
            cells: texts.iter().map(|text| (*text).to_owned()).collect(),
            axes: Vec::new(),
        };
        for (at, (text, head)) in texts.iter().zip(&heads).enumerate() {
            if is_axis(head) {
                row.axes.push(at);
            }
            if at == 0 {
                continue;
            }
            row.all &= !text.is_empty();
            if text.is_empty() {
                continue;
            }
            row.filled += 1;
            if leading_number(text).is_some() {
                row.numbers += 1;
            } else if head.quantity.is_some() || !head.quantities_possible.is_empty() {
                row.quantities += 1;
            } else if is_unit(text) || head.unit.is_some() {
                row.units += 1;
            } else if head.held.is_empty() && text.chars().any(char::is_alphabetic) {
                row.names += 1;
            }
        }
        row
    }

    /// Whether it names what runs and what was measured, at least of half its columns.
    fn is_whole(&self) -> bool {
        let runs = matches!(self.first, FirstColumn::Axis | FirstColumn::Condition) || !self.axes.is_empty();
        runs && self.filled > 0 && self.quantities * 2 >= self.filled
    }

    /// Whether it may be the header: what runs is named, and the others are words.
    fn may_be_header(&self) -> bool {
        let runs = matches!(self.first, FirstColumn::Axis | FirstColumn::Unit) || self.is_whole();
        runs && (self.numbers == 0 || self.numbers * 2 < self.filled)
    }

    /// Whether its cells differ where those of a header below or above are alike.
    fn tells_apart(&self, other: &Self) -> bool {
        let pairs = || (1..self.cells.len()).zip(2..self.cells.len());
        let alike = |row: &Self, (a, b): (usize, usize)| row.cells[a] == row.cells[b];
        let cells = self.cells.len() == other.cells.len() && self.filled >= 2;
        cells
            && pairs().any(|pair| alike(other, pair) && !other.cells[pair.0].is_empty() && !alike(self, pair))
    }

    /// What the row itself says for a class.
    fn score(&self, class: RowClass, others: &[&Self]) -> i32 {
        let header = others.iter().find(|row| row.may_be_header());
        let whole = others.iter().any(|row| row.is_whole());
        let apart = others
            .iter()
            .any(|row| row.may_be_header() && self.tells_apart(row));
        let names_only = self.filled > 0 && self.names == self.filled;
        let numbers_only = self.filled > 0 && self.numbers == self.filled;
        match class {
            RowClass::Header => {
                let mut score = 0;
                if self.first == FirstColumn::Axis || self.first == FirstColumn::Unit && self.is_whole() {
                    score += STRONG;
                }
                if self.quantities > 0 && self.quantities * 2 >= self.filled {
                    score += STRONG;
                }
                if self.first == FirstColumn::Empty {
                    score += MODERATE;
                }
                if apart {
                    score += MODERATE;
                }
                if numbers_only && whole {
                    score -= MODERATE;
                }
                score
            }
            RowClass::Units => {
                if self.only_units && self.numbers == 0 {
                    // `nm;A` names as well.
                    if self.is_whole() { STRONG } else { DECISIVE }
                } else {
                    NEVER
                }
            }
            RowClass::Condition => {
                let enough = self.filled >= 2 || self.all;
                if header.is_none() || !numbers_only || !enough {
                    return NEVER;
                }
                match self.first {
                    FirstColumn::Condition => DECISIVE,
                    FirstColumn::Axis if whole => DECISIVE + WEAK,
                    FirstColumn::Unit if whole => STRONG,
                    FirstColumn::Word => MODERATE,
                    _ => NEVER,
                }
            }
            RowClass::Samples => {
                let held = self
                    .cells
                    .iter()
                    .skip(1)
                    .all(|cell| !read_column_header(cell).held.is_empty());
                let named = self.filled >= 2 || self.all && self.filled > 0;
                if self.first == FirstColumn::Sample
                    && header.is_some()
                    && named
                    && !(held && self.numbers == 0)
                {
                    DECISIVE
                } else {
                    NEVER
                }
            }
            RowClass::Names => {
                if header.is_none() || !names_only || !self.all {
                    return NEVER;
                }
                match self.first {
                    FirstColumn::Empty => MODERATE + WEAK + if apart { MODERATE } else { 0 },
                    FirstColumn::Word if apart => MODERATE + WEAK,
                    _ => NEVER,
                }
            }
            // What sums up is known by its word before the others are weighed.
            RowClass::Summary => NEVER,
            RowClass::Title => {
                // Words over the first column, which the header names already. `A405, plate 2` over the first two of many columns is a
                // sentence with a comma.
                let few = !self.all && (self.filled + 1) * 2 < self.cells.len();
                let headed = few && others.iter().any(|row| row.first == FirstColumn::Axis && row.all);
                if !(whole || headed)
                    || self.first != FirstColumn::Word
                    || self.quantities > 0
                    || self.units > 0
                {
                    return NEVER;
                }
                // A word over another column of what runs begins a table beside the first.
                let begins_block = |row: &Self| {
                    let first = row.cells.first();
                    let again = |at: &usize| row.axes.contains(at) || row.cells.get(*at) == first;
                    (1..self.cells.len()).any(|at| !self.cells[at].is_empty() && again(&at))
                };
                if others.iter().any(|row| begins_block(row)) {
                    return NEVER;
                }
                let mut score = STRONG;
                if self.words >= 3 {
                    score += MODERATE;
                }
                if !self.all {
                    score += MODERATE;
                }
                if self.numbers > 0 {
                    score -= MODERATE;
                }
                if apart && self.all {
                    score -= DECISIVE;
                }
                score
            }
        }
    }
}

/// What one row may stand above another costs; `None` where it never does.
fn step(below: Option<RowClass>, above: RowClass) -> Option<i32> {
    use RowClass::{Condition, Header, Names, Samples, Title, Units};
    match (below, above) {
        // Above a title nothing belongs to the table.
        (Some(Title), Title) => Some(0),
        (Some(Title), _) => None,
        (Some(Header), Units) => Some(-MODERATE),
        (Some(Units), Units) => Some(-STRONG),
        (Some(Condition | Samples | Names), Header) => Some(-WEAK),
        _ => Some(0),
    }
}

/// The class of each row, from top to bottom, and how far the next best reading of it lies behind.
pub(super) fn classify(text: &str, heads: &[HeadRow]) -> Vec<(RowClass, i32)> {
    if heads.len() < 2 {
        return heads.iter().map(|_| (RowClass::Header, DECISIVE)).collect();
    }
    let rows: Vec<SegmentRow> = heads
        .iter()
        .map(|head| SegmentRow::of(text, &head.cells))
        .collect();
    let scores: Vec<[i32; CLASSES.len()]> = rows
        .iter()
        .enumerate()
        .map(|(at, row)| {
            let others: Vec<&SegmentRow> = rows
                .iter()
                .enumerate()
                .filter(|(other, _)| *other != at)
                .map(|(_, row)| row)
                .collect();
            CLASSES.map(|class| row.score(class, &others))
        })
        .collect();
    let Some((best, path)) = best_path(&scores, None) else {
        return heads.iter().map(|_| (RowClass::Header, 0)).collect();
    };
    path.iter()
        .enumerate()
        .map(|(at, class)| {
            let second = best_path(&scores, Some((at, *class))).map_or(NEVER, |(score, _)| score);
            (*class, best - second)
        })
        .collect()
}

/// The best path from the lowest row up that has a header, without `barred`, a class at a row.
fn best_path(
    scores: &[[i32; CLASSES.len()]],
    barred: Option<(usize, RowClass)>,
) -> Option<(i32, Vec<RowClass>)> {
    // Of each class, with a header below it or not, the best path that ends there.
    let mut paths: Vec<(i32, bool, Vec<RowClass>)> = vec![(0, false, Vec::new())];
    for (at, row) in scores.iter().enumerate().rev() {
        let mut next: Vec<(i32, bool, Vec<RowClass>)> = Vec::new();
        for (score, headed, path) in &paths {
            for (class, own) in CLASSES.into_iter().zip(row) {
                if *own <= NEVER || barred == Some((at, class)) || class == RowClass::Title && !headed {
                    continue;
                }
                let Some(cost) = step(path.last().copied(), class) else {
                    continue;
                };
                let headed = *headed || class == RowClass::Header;
                let score = score + own + cost;
                let same = |other: &&mut (i32, bool, Vec<RowClass>)| {
                    other.1 == headed && other.2.last() == Some(&class)
                };
                let mut longer = path.clone();
                longer.push(class);
                match next.iter_mut().find(same) {
                    Some(other) if other.0 >= score => {}
                    Some(other) => *other = (score, headed, longer),
                    None => next.push((score, headed, longer)),
                }
            }
        }
        paths = next;
    }
    // Of equal paths the first holds, whose classes stand first.
    let (score, _, mut path) = paths
        .into_iter()
        .filter(|(_, headed, _)| *headed)
        .reduce(|best, other| if other.0 > best.0 { other } else { best })?;
    path.reverse();
    Some((score, path))
}

fn first_of(text: &str, head: &ColumnHeader) -> FirstColumn {
    if text.is_empty() {
        return FirstColumn::Empty;
    }
    if leading_number(text).is_some() {
        return FirstColumn::Number;
    }
    let bare = crate::column_header::split_unit(text).map_or(text, |(name, _)| name);
    let bare = bare.trim_end_matches([':', '=']).trim();
    let field = field_of(bare);
    if matches!(field, Some("sample" | "sample-id")) {
        return FirstColumn::Sample;
    }
    // `pH` is a unit as well.
    if head
        .quantity
        .as_ref()
        .is_some_and(|quantity| quantity.known() == Some(KnownQuantity::Ph))
    {
        return FirstColumn::Condition;
    }
    if is_unit(text) {
        return FirstColumn::Unit;
    }
    match head.quantity.as_ref().map(Quantity::as_str) {
        Some("wavelength" | "wavenumber" | "energy" | "time") => return FirstColumn::Axis,
        Some("temperature" | "ph" | "concentration") => return FirstColumn::Condition,
        Some(_) => return FirstColumn::Word,
        None => {}
    }
    match head.unit.as_ref().and_then(quantity_of_unit) {
        Some(quantity) if matches!(quantity.as_str(), "temperature" | "concentration") => {
            FirstColumn::Condition
        }
        Some(quantity) if !quantity.is_of_light() => FirstColumn::Axis,
        _ if field.is_some() => FirstColumn::Condition,
        _ => FirstColumn::Word,
    }
}

/// Whether a head names what may run: a wavelength, a wavenumber, an energy or a time, by its word or by its unit.
pub(super) fn is_axis(head: &ColumnHeader) -> bool {
    let quantity = head.quantity.clone();
    let quantity = quantity.or_else(|| head.unit.as_ref().and_then(quantity_of_unit));
    let runs = |q: Quantity| matches!(q.as_str(), "wavelength" | "wavenumber" | "energy" | "time");
    head.held.is_empty() && quantity.is_some_and(runs)
}

/// Whether a line sums up the rows of a table above it: a word for it, and behind it nothing but numbers.
pub(super) fn is_summary_line(line: &str, after_summary: bool) -> bool {
    let line = line.trim();
    let cells: Vec<&str> = match ['\t', ';', '|', ',']
        .into_iter()
        .find(|mark| line.contains(*mark))
    {
        Some(mark) => line.split(mark).collect(),
        None => line.split_whitespace().collect(),
    };
    let mut cells = cells
        .into_iter()
        .map(|cell| cell.trim().trim_matches('"'))
        .filter(|cell| !cell.is_empty());
    let Some(word) = cells.next() else { return false };
    let word = word.trim_end_matches([':', '=']).trim();
    let mut numbers = 0;
    for cell in cells {
        // `min;25 °C;37 °C` is a header.
        if leading_number(cell).is_none()
            || !read_column_header(cell).held.is_empty() && cell.contains(char::is_alphabetic)
        {
            return false;
        }
        numbers += 1;
    }
    numbers > 0 && (is_summary_word(word) || after_summary && super::heads::is_summary_word(word))
}

/// Whether a word says that the numbers behind it sum up others, and is no key.
pub(super) fn is_summary_word(word: &str) -> bool {
    word.chars().count() >= 2 && crate::words::is_statistics(word) && field_of(word).is_none()
}

/// Whether a cell is a unit and nothing else, in brackets or not.
fn is_unit(text: &str) -> bool {
    let bare = text.trim().trim_matches(['(', ')', '[', ']', '<', '>']);
    bare.chars().any(|c| !c.is_ascii_digit())
        && !matches!(
            curvary_record::unit::spelled(bare),
            curvary_record::unit::Spelling::None
        )
}

/// Whether a cell only says that nothing stands in it.
pub(super) fn is_dash(text: &str) -> bool {
    matches!(text.trim(), "-" | "–" | "—" | "/" | "." | "1")
}
