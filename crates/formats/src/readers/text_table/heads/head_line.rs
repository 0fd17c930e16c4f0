//! A line above a table, weighed as heads of its columns.

use std::collections::BTreeSet;
use std::ops::Range;

use curvary_record::Span;

use super::super::dialect::{Delimiter, is_blank, raw_split, split_wide};
use super::super::grid::{ColumnKind, Grid};
use super::super::join::is_furniture;
use super::super::scan::{TextLine, leading_number, strip_remark};
use super::super::segments::is_axis;
use super::cells::{
    glue_units, head_cells, is_key_in_cells, is_key_over_each, is_like_a_row, is_statement, undecorated,
};
use super::titles::is_caption_between_stars;
use crate::column_header::read_column_header;
use crate::preamble::{self, KeyValueSpan};
use crate::words::{self, WordList};

/// Where a line stands above a table.
#[derive(Clone, Copy)]
pub(super) struct HeadPlace {
    /// No other line of heads stands between it and the table.
    pub(super) nearest: bool,
    /// A blank line does.
    pub(super) after_blank: bool,
    /// Units of the columns stand below it.
    pub(super) over_units: bool,
}

/// A line that may be heads of the columns of a table.
struct HeadLine<'a> {
    raw: &'a str,
    /// The sign of a remark in front of it.
    mark: Option<&'a str>,
    /// Whether that sign is the header of the first column.
    numbers_first: bool,
    /// What would be the heads.
    kept: &'a str,
    grid: &'a Grid,
    place: HeadPlace,
}

/// The cells of a line of heads.
struct HeadCells<'a> {
    texts: Vec<&'a str>,
    /// Whether they were parted as the table is.
    exact: bool,
    /// Whether some columns have no head.
    padded: bool,
}

/// The cells of a line as heads of the columns of a table, where they can be.
pub(super) fn map_heads(
    text: &str,
    line: TextLine,
    grid: &Grid,
    place: HeadPlace,
) -> Option<Vec<Option<Span>>> {
    let raw = &text[line.span.range()];
    if is_caption_between_stars(raw) {
        return None;
    }
    let head_line = HeadLine::of(raw, grid, place);
    if head_line.introduces() || is_furniture(head_line.kept, &BTreeSet::new()) {
        return None;
    }
    let over_all = head_line.is_over_each_column();
    if head_line.speaks_of_the_run(over_all) {
        return None;
    }
    let kept = head_line.kept;
    let offset = raw.find(kept).unwrap_or(0);
    let (cells, exact) = head_cells(kept, grid, offset)?;
    if cells.len() != grid.columns() || cells.iter().all(Option::is_none) || is_like_a_row(kept, &cells, grid)
    {
        return None;
    }
    let heads = HeadCells {
        texts: cells.iter().flatten().map(|range| &kept[range.clone()]).collect(),
        exact,
        padded: cells.iter().any(Option::is_none),
    };
    if head_line.states(&heads, over_all) || !head_line.names_columns(&heads) || head_line.is_prose(&heads) {
        return None;
    }
    let base = line.span.start as usize + offset;
    Some(
        cells
            .into_iter()
            .map(|range| range.map(|r| Span::new(base + r.start, base + r.end)))
            .collect(),
    )
}

/// What stands behind a word in front of the headers of all columns, one of which runs and the others were measured: `@axis nm absorbance`,
/// `<columns>Wavelength/nm;Absorbance/AU</columns>`, and the `C` of a comment of Fortran. The word itself says nothing of a column.
pub(super) fn behind_lead_in<'a>(kept: &'a str, raw: &str, grid: &Grid) -> Option<&'a str> {
    if grid.columns() < 2 {
        return None;
    }
    let (word, rest) = match kept.strip_prefix('<').and_then(|tag| tag.split_once('>')) {
        Some((name, rest)) => (name, rest.split("</").next().unwrap_or(rest)),
        None => kept.split_once(char::is_whitespace)?,
    };
    // Any other word may belong to the header behind it: `log A nm`.
    let is_comment = word == "C" && raw.starts_with("C ");
    let bare = word.trim_matches(|c: char| !c.is_alphanumeric());
    let of_columns = bare.is_empty()
        || [WordList::Column, WordList::AxisWord, WordList::UnitWord]
            .iter()
            .any(|list| words::is(*list, bare));
    if !(is_comment || of_columns) || all_columns(kept, grid) {
        return None;
    }
    let rest = rest.trim();
    all_columns(rest, grid).then_some(rest)
}

/// Whether a line has a header for each column, one that runs and others that were measured, however it is parted.
fn all_columns(line: &str, grid: &Grid) -> bool {
    let of = |cells: Vec<Range<usize>>| {
        let heads: Vec<_> = cells
            .iter()
            .map(|cell| read_column_header(line[cell.clone()].trim()))
            .collect();
        heads.len() == grid.columns()
            && heads.iter().filter(|head| is_axis(head)).count() == 1
            && heads.iter().all(|head| is_axis(head) || head.is_of_light())
    };
    let parted = [
        grid.dialect.sep,
        Delimiter::Tab,
        Delimiter::Semicolon,
        Delimiter::Comma,
    ];
    parted.into_iter().any(|sep| of(raw_split(line, sep)))
        || of(glue_units(line, split_wide(line)))
        || of(glue_units(line, raw_split(line, Delimiter::Blank)))
}

/// Whether a text names a quantity.
fn names_quantity(text: &str) -> bool {
    read_column_header(text).quantity.is_some()
}

impl<'a> HeadLine<'a> {
    /// A line without what stands around its heads.
    fn of(raw: &'a str, grid: &'a Grid, place: HeadPlace) -> Self {
        let (mark, mut kept) = strip_remark(raw);
        // `#;name;A260`: over as many columns the sign is the header of the first, and marks no remark.
        // Between blanks it does so over numbers of rows alone.
        let counts = || {
            let mut numbers = grid.column(0).enumerate();
            grid.kinds.first() == Some(&ColumnKind::Figures)
                && numbers.all(|(row, number)| number == (row + 1) as f64)
        };
        let numbers_first = mark == Some("#") && (grid.dialect.sep.byte().is_some() || counts()) && {
            let cells = raw_split(raw.trim(), grid.dialect.sep);
            cells.len() == grid.columns()
                && raw
                    .trim()
                    .get(cells[0].clone())
                    .is_some_and(|cell| cell.trim() == "#")
        };
        if numbers_first {
            kept = raw.trim();
        }
        // A tab in front of the heads is a head left empty.
        if mark.is_none() && grid.dialect.sep == Delimiter::Tab {
            kept = raw.trim_matches(|c| c != '\t' && is_blank(c));
        }
        kept = undecorated(kept);
        // `# columns: t_min absorbance`; `Column: Vydac C18` names one of another kind.
        if let Some((key, rest)) = kept.split_once(':')
            && words::is(
                WordList::Column,
                key.rsplit([';', ',', '.']).next().unwrap_or(key).trim(),
            )
            && rest.contains(char::is_alphabetic)
            && (mark.is_some() || rest.split_whitespace().any(names_quantity))
        {
            kept = rest.trim();
        }
        kept = behind_lead_in(kept, raw, grid).unwrap_or(kept);
        Self {
            raw,
            mark,
            numbers_first,
            kept,
            grid,
            place,
        }
    }

    /// Whether it introduces a table, `Readings, 1 cm cell:` and a blank line, and names none of its columns.
    fn introduces(&self) -> bool {
        self.place.after_blank && self.kept.ends_with(':')
    }

    /// Whether a key stands in it with a value over each of the other columns.
    fn is_over_each_column(&self) -> bool {
        let (kept, grid) = (self.kept, self.grid);
        self.is_condition_over_columns()
            || self.place.over_units && raw_split(kept, grid.dialect.sep).len() == grid.columns()
            || is_key_over_each(kept, grid)
    }

    /// `hours of ageing:,0,100,300`: a key, and a number over each of the other columns.
    fn is_condition_over_columns(&self) -> bool {
        const FEWEST_COLUMNS: usize = 4;
        let (kept, columns) = (self.kept, self.grid.columns());
        if columns < FEWEST_COLUMNS || self.grid.dialect.sep.byte().is_none() {
            return false;
        }
        let cells = raw_split(kept, self.grid.dialect.sep);
        let filled = |cell: &Range<usize>| !kept[cell.clone()].trim().is_empty();
        // `λ = 234 nm,T = 25 °C,d = 1 cm`: each is another key with its value. The same again and again stands over columns.
        let keys: Vec<&str> = cells
            .iter()
            .filter_map(|cell| Some(kept[cell.clone()].split_once('=')?.0.trim()))
            .collect();
        let apart = keys.iter().enumerate().all(|(at, key)| !keys[..at].contains(key));
        if keys.len() >= 2 && apart && kept[cells[0].clone()].contains('=') {
            return false;
        }
        // Cells of a sheet that were merged are empty but for the first: `Temperatur;25 °C;;37 °C;`.
        cells.len() == columns
            && filled(&cells[1])
            && cells[1..].iter().filter(|cell| filled(cell)).count() >= 2
            && cells[1..].iter().filter(|cell| filled(cell)).all(|cell| {
                let cell = &kept[cell.clone()];
                leading_number(cell).is_some() || preamble::is_condition(cell)
            })
    }

    /// Whether it is a statement about the run: `Sample: betanin, one spectrum`, however many commas it has.
    fn speaks_of_the_run(&self, over_all: bool) -> bool {
        let (kept, grid) = (self.kept, self.grid);
        let HeadPlace {
            nearest, over_units, ..
        } = self.place;
        let stated = preamble::pairs(kept);
        let several = grid.columns() > 1;
        if !over_all && several && stated.iter().any(|pair| self.is_stated(pair)) {
            return true;
        }
        // `Cell;2 mm` is of the run.
        let condition = |pair: &KeyValueSpan| {
            preamble::is_known(&kept[pair.key.clone()]) && preamble::is_condition(&kept[pair.value.clone()])
        };
        if !nearest && !over_units {
            let condition = several && matches!(stated.as_slice(), [pair] if condition(pair));
            if condition || is_key_in_cells(kept, grid) {
                return true;
            }
        }
        // `Sample;leaf;pH;7` is several of them, and `Temperature;25;°C` one with its unit in a cell.
        // `c = 0 mM`, `c = 1 mM` stand over columns.
        let key = |pair: &KeyValueSpan| &kept[pair.key.clone()];
        let apart = stated
            .iter()
            .enumerate()
            .all(|(at, pair)| stated[..at].iter().all(|other| key(other) != key(pair)));
        let known = |pair: &KeyValueSpan| {
            let key = &kept[pair.key.clone()];
            words::field_of(key).is_some()
                || apart && pair.mark == '=' && preamble::goes_with(key, &kept[pair.value.clone()])
        };
        let in_cells = stated.len() >= 2 || stated.iter().any(|pair| pair.says.is_some());
        !over_all && in_cells && several && stated.iter().all(known)
    }

    /// Whether a key with a colon states something. A header may end with a colon over columns that it spans:
    /// `absorbance at time (min):,,,`.
    fn is_stated(&self, pair: &KeyValueSpan) -> bool {
        let kept = self.kept;
        let spans = kept[pair.value.clone()]
            .trim_matches(|c| matches!(c, ',' | ';' | '\t' | ' '))
            .is_empty()
            && !self.raw.starts_with(['\t', ';', ',', '|'])
            && self.grid.dialect.sep.byte().is_some();
        pair.mark == ':'
            && !spans
            && (!self.place.nearest || words::field_of(&kept[pair.key.clone()]).is_some())
    }

    /// Whether its cells state something, or are too long for heads of some of the columns.
    fn states(&self, heads: &HeadCells, over_all: bool) -> bool {
        const MOST_WORDS: usize = 5;
        let texts = &heads.texts;
        let columns = self.grid.columns();
        let first = texts.first().copied().unwrap_or("");
        let HeadPlace {
            nearest, after_blank, ..
        } = self.place;
        !over_all && first.ends_with([':', '=']) && texts.len() <= 3 && columns <= 3
            || (texts.len() <= 2 && first.contains(": "))
            || (!nearest || after_blank || columns == 2) && !over_all && is_statement(texts, self.grid)
            || heads.padded
                && texts
                    .iter()
                    .any(|text| text.split_whitespace().count() > MOST_WORDS)
    }

    fn is_remark(&self) -> bool {
        !self.numbers_first && self.mark.is_some()
    }

    /// Whether its cells are names of columns, or numbers over them.
    fn names_columns(&self, heads: &HeadCells) -> bool {
        let texts = &heads.texts;
        let columns = self.grid.columns();
        let has_words = texts.iter().any(|text| text.chars().any(char::is_alphabetic));
        // `<>` in the corner of a plate says nothing.
        let corner = texts
            .first()
            .is_some_and(|text| !text.contains(char::is_alphanumeric));
        let numbers = heads.numbers() + usize::from(corner);
        if !has_words && (numbers < texts.len() || columns == 2 || self.is_remark()) {
            return false;
        }
        // Words that were fitted over the columns by other means than the table's own must say what they are.
        let named = heads.named();
        if !heads.are_sure() && self.is_remark()
            || !heads.exact && !self.place.over_units && (named * 2 < texts.len() || !self.place.nearest)
        {
            return false;
        }
        // `Spectrum B` above `nm Abs` is a title: names over columns stand apart.
        let title = !self.place.nearest
            && named < texts.len()
            && matches!(self.grid.dialect.sep, Delimiter::Blank | Delimiter::Wide)
            && texts.len() == columns
            && split_wide(self.kept).len() < columns;
        !title
    }

    /// Whether it is prose that happens to have as many words as the table has columns.
    fn is_prose(&self, heads: &HeadCells) -> bool {
        const MOST_WORDS: usize = 6;
        if heads.are_sure() {
            return false;
        }
        let texts = &heads.texts;
        matches!(self.grid.dialect.sep, Delimiter::Blank | Delimiter::Wide)
            && (self.place.after_blank
                || texts.len() > MOST_WORDS
                || self.raw.trim_end().ends_with(['.', ':']))
            || !self.place.nearest
                && texts
                    .iter()
                    .any(|text| text.split_whitespace().count() > MOST_WORDS)
    }
}

impl HeadCells<'_> {
    /// How many name a quantity.
    fn named(&self) -> usize {
        self.texts.iter().filter(|text| names_quantity(text)).count()
    }

    /// How many are numbers.
    fn numbers(&self) -> usize {
        let texts = self.texts.iter();
        texts.filter(|text| leading_number(text).is_some()).count()
    }

    /// Whether they are heads beyond doubt: one names a quantity, or half of them are numbers.
    fn are_sure(&self) -> bool {
        self.texts.iter().any(|text| names_quantity(text)) || self.numbers() * 2 >= self.texts.len().max(2)
    }
}
