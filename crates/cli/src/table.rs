//! Listings in columns, fitted to the terminal.

use std::borrow::Cow;

use anstyle::Style;
use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

use crate::screen::{STRONG, StyledText};

/// What is left out of a cell that is too long.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Shorten {
    /// Nothing: the column is dropped before it is shortened.
    Never,
    /// The end, as of a sentence.
    End,
    /// The middle, as of a path whose folder matters too.
    Middle,
}

/// One column of a listing.
#[derive(Clone, Debug)]
pub(crate) struct ListingColumn {
    head: Cow<'static, str>,
    right: bool,
    shorten: Shorten,
    /// Columns of high rank are dropped first where there is no room.
    rank: u8,
    /// A column that is shortened keeps at least this many characters.
    least: usize,
}

impl ListingColumn {
    /// A column of words that always stands.
    pub(crate) fn new(head: impl Into<Cow<'static, str>>) -> Self {
        Self {
            head: head.into(),
            right: false,
            shorten: Shorten::Never,
            rank: 0,
            least: LEAST,
        }
    }

    /// Numbers stand under each other at the right.
    pub(crate) fn right(mut self) -> Self {
        self.right = true;
        self
    }

    /// How a long cell is shortened.
    pub(crate) fn shorten(mut self, shorten: Shorten) -> Self {
        self.shorten = shorten;
        self
    }

    /// Columns of high rank are dropped first where there is no room.
    pub(crate) fn rank(mut self, rank: u8) -> Self {
        self.rank = rank;
        self
    }

    /// How many characters are kept at least where it is shortened.
    pub(crate) fn least(mut self, least: usize) -> Self {
        self.least = least;
        self
    }
}

/// One cell: its text and how it is shown.
pub(crate) struct TableCell(String, Style);

impl<T: Into<String>> From<T> for TableCell {
    fn from(text: T) -> Self {
        Self(text.into(), Style::new())
    }
}

impl TableCell {
    /// A text in a style.
    pub(crate) fn styled(text: impl Into<String>, style: Style) -> Self {
        Self(text.into(), style)
    }
}

/// A listing.
pub(crate) struct Listing {
    columns: Vec<ListingColumn>,
    rows: Vec<Vec<TableCell>>,
}

/// A column that is shortened keeps at least this many characters.
const LEAST: usize = 12;
/// Columns of this rank and above go before a path is made short.
const EXPENDABLE: u8 = 7;
/// A path of this width says where a file is.
const ROOMY: usize = 40;
/// A column of which fewer than one row in so many has something is left out first.
const SPARSE: usize = 4;
/// The gap between columns.
const GAP: usize = 2;

impl Listing {
    /// An empty listing.
    pub(crate) fn new(columns: impl IntoIterator<Item = ListingColumn>) -> Self {
        Self {
            columns: columns.into_iter().collect(),
            rows: Vec::new(),
        }
    }

    /// Adds a row with a cell for each column.
    pub(crate) fn row(&mut self, cells: impl IntoIterator<Item = TableCell>) {
        let row: Vec<TableCell> = cells
            .into_iter()
            .map(|cell| TableCell(one_line(&cell.0), cell.1))
            .collect();
        debug_assert_eq!(row.len(), self.columns.len(), "a cell for each column");
        self.rows.push(row);
    }

    /// The listing as lines no wider than `width`. Columns in which no row has anything are left out.
    pub(crate) fn draw(&self, width: Option<usize>) -> String {
        let widest = |index: usize| {
            let cells = self.rows.iter().map(|row| row[index].0.width());
            cells.max().unwrap_or(0)
        };
        let mut shown: Vec<(usize, usize)> = (0..self.columns.len())
            .map(|index| (index, widest(index)))
            .filter(|&(_, width)| width > 0)
            .map(|(index, width)| (index, width.max(self.columns[index].head.width())))
            .collect();
        if let Some(width) = width {
            self.fit(&mut shown, width);
        }
        let mut text = String::new();
        if self.columns.iter().any(|column| !column.head.is_empty()) {
            self.line(&mut text, &shown, |index| (&*self.columns[index].head, STRONG));
        }
        for row in &self.rows {
            self.line(&mut text, &shown, |index| (row[index].0.as_str(), row[index].1));
        }
        text
    }

    /// Makes the listing fit: leaves out columns that hardly any row fills, shortens texts, then what may be dropped, and
    /// paths in the middle last.
    fn fit(&self, shown: &mut Vec<(usize, usize)>, width: usize) {
        let over = |shown: &[(usize, usize)]| {
            let total: usize = shown.iter().map(|&(_, width)| width + GAP).sum();
            total.saturating_sub(GAP).saturating_sub(width)
        };
        let is_path = |index: usize| self.columns[index].shorten == Shorten::Middle;
        let is_text = |index: usize| self.columns[index].shorten == Shorten::End;
        let sparse = |index: usize| {
            let filled = self.rows.iter().filter(|row| !row[index].0.is_empty()).count();
            filled * SPARSE < self.rows.len()
        };
        let take = |shown: &mut Vec<(usize, usize)>, may: &dyn Fn(usize) -> bool| {
            while over(shown) > 0 {
                let ranked = shown.iter().enumerate().filter(|(_, (index, _))| may(*index));
                let last = ranked.filter(|(_, (index, _))| self.columns[*index].rank > 0);
                match last
                    .max_by_key(|(_, (index, _))| self.columns[*index].rank)
                    .map(|(at, _)| at)
                {
                    Some(at) => drop(shown.remove(at)),
                    None => return,
                }
            }
        };
        let cut =
            |shown: &mut [(usize, usize)], may: &dyn Fn(usize) -> bool, least: &dyn Fn(usize) -> usize| {
                // A little at a time, so that two long columns share the loss.
                while let over @ 1.. = over(shown) {
                    let long = shown
                        .iter_mut()
                        .filter(|(index, width)| may(*index) && *width > least(*index))
                        .max_by_key(|(_, width)| *width);
                    match long {
                        Some((index, width)) => *width -= over.min(4).min(*width - least(*index)),
                        None => return,
                    }
                }
            };
        let whole = shown.clone();
        take(shown, &sparse);
        cut(shown, &is_path, &|_| ROOMY);
        cut(shown, &is_text, &|index| self.columns[index].least);
        take(shown, &|index| self.columns[index].rank >= EXPENDABLE);
        cut(shown, &is_path, &|index| self.columns[index].least);
        take(shown, &|_| true);
        cut(shown, &|index| is_path(index) || is_text(index), &|_| LEAST);
        // What a column that was left out frees, a path may have.
        let total: usize = shown.iter().map(|&(_, width)| width + GAP).sum();
        let free = width.saturating_sub(total.saturating_sub(GAP));
        if let Some((index, width)) = shown.iter_mut().find(|(index, _)| is_path(*index)) {
            let was = whole
                .iter()
                .find(|(other, _)| other == index)
                .map_or(*width, |one| one.1);
            *width = was.min(*width + free);
        }
    }

    fn line<'a>(
        &'a self,
        text: &mut String,
        shown: &[(usize, usize)],
        cell: impl Fn(usize) -> (&'a str, Style),
    ) {
        let start = text.len();
        for (at, &(index, width)) in shown.iter().enumerate() {
            if at > 0 {
                text.push_str("  ");
            }
            let column = &self.columns[index];
            let (content, style) = cell(index);
            let content = shorten(content, width, column.shorten);
            let blank = " ".repeat(width.saturating_sub(content.width()));
            if column.right {
                text.push_str(&blank);
            }
            if !content.is_empty() {
                text.push_str(&StyledText(style, &content).to_string());
            }
            if !column.right {
                text.push_str(&blank);
            }
        }
        let end = text[start..].trim_end_matches(' ').len() + start;
        text.truncate(end);
        text.push('\n');
    }
}

/// A text on one line, without control characters: a cell of a source must not steer the terminal.
pub(crate) fn one_line(text: &str) -> String {
    if !text.chars().any(char::is_control) {
        return text.to_owned();
    }
    text.chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect::<String>()
        .trim()
        .to_owned()
}

/// `text` in at most `width` columns, with `…` where something is left out.
pub(crate) fn shorten(text: &str, width: usize, how: Shorten) -> String {
    if text.width() <= width || how == Shorten::Never {
        return text.to_owned();
    }
    let room = width.saturating_sub(1);
    let take = |chars: &mut dyn Iterator<Item = char>| {
        let mut used = 0;
        let mut kept = String::new();
        for c in chars {
            used += c.width().unwrap_or(0);
            if used > room {
                break;
            }
            kept.push(c);
        }
        kept
    };
    match how {
        Shorten::Middle => {
            let front = room / 3;
            let mut used = 0;
            let begin: String = text
                .chars()
                .take_while(|c| {
                    used += c.width().unwrap_or(0);
                    used <= front
                })
                .collect();
            let room = room.saturating_sub(begin.width());
            let mut used = 0;
            let end: Vec<char> = text
                .chars()
                .rev()
                .take_while(|c| {
                    used += c.width().unwrap_or(0);
                    used <= room
                })
                .collect();
            let end: String = end.into_iter().rev().collect();
            format!("{begin}…{end}")
        }
        _ => format!("{}…", take(&mut text.chars())),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table() -> Listing {
        let mut table = Listing::new([
            ListingColumn::new("run"),
            ListingColumn::new("points").right().rank(2),
            ListingColumn::new("empty"),
            ListingColumn::new("path").shorten(Shorten::Middle).rank(1),
        ]);
        table.row(["a1".into(), "7".into(), "".into(), "2019/betanin/37C.txt".into()]);
        table.row(["b2".into(), "1,200".into(), "".into(), "µ\u{1b}[31m.txt".into()]);
        table
    }

    fn plain(text: &str) -> String {
        anstream::adapter::strip_str(text).to_string()
    }

    #[test]
    fn all_is_shown_where_there_is_room() {
        let drawn = plain(&table().draw(None));
        assert_eq!(
            drawn,
            "run  points  path\na1        7  2019/betanin/37C.txt\nb2    1,200  µ [31m.txt\n"
        );
    }

    #[test]
    fn long_cells_are_shortened_before_columns_are_dropped() {
        let drawn = plain(&table().draw(Some(28)));
        assert!(drawn.contains("2019…in/37C.txt\n"), "{drawn}");
        let drawn = plain(&table().draw(Some(20)));
        assert!(!drawn.contains("points"), "{drawn}");
        assert!(drawn.lines().all(|line| line.width() <= 20), "{drawn}");
    }

    #[test]
    fn wide_characters_count_twice() {
        assert_eq!(shorten("測定測定", 5, Shorten::End), "測定…");
        assert_eq!(shorten("abc", 3, Shorten::End), "abc");
        assert_eq!(
            shorten("2017/Praktikum/Betanin.txt", 16, Shorten::Middle),
            "2017/…etanin.txt"
        );
    }
}
