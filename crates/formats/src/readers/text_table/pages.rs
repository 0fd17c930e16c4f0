//! Pages of a report that are all written alike: what stands between two of them is looked at once, and the pages that
//! follow are read on as rows of the same table.
//!
//! This is a short way to what the ordinary one finds: there each page is a table of its own, which `join` puts behind
//! the one before. A page that could be read otherwise, by a single sign, goes the ordinary way.

use std::cell::OnceCell;
use std::collections::BTreeSet;

use curvary_record::Span;

use super::dialect::is_blank;
use super::grid::{Cursor, line_end};
use super::join::{goes_on, head_texts, is_furniture, is_like_row, is_title_of_page, squeeze};
use super::scan::{ScannedTable, TextLine, TextPiece, strip_remark};

/// No more lines than these stand between two pages.
const MOST_LINES: usize = 12;

/// A longer number counts no pages.
const LONGEST_COUNT: usize = 5;

/// A line between two pages.
struct PageLine<'t> {
    text: &'t str,
    sort: LineSort,
    /// Whether it is one of the words between the pages, and neither a header nor a rule beside one.
    is_words: bool,
    /// Whether it may be a row, once this was asked.
    doubtful: OnceCell<bool>,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum LineSort {
    Blank,
    /// The same on every page.
    Same,
    /// The same but for its numbers: those of pages.
    Numbered,
    /// Words that say nothing of a field of the run, the same but for their numbers.
    Title,
}

/// What stands between two pages.
pub(super) struct PageBreak<'t> {
    lines: Vec<PageLine<'t>>,
    /// Whether there is a title among them: then none of them may look like a row, and a page goes on only in the very
    /// step of the one before.
    titled: bool,
}

impl<'t> PageBreak<'t> {
    /// What stands between the last table of `above`, which ends at byte `from`, and `table`, whose first row begins at
    /// byte `to`: where `table` goes on with the one before it, and nothing but the furniture of paper and the headers
    /// lies between. `above` has no headers of `table` any more; its lines in front of the first table, which pages repeat,
    /// are gathered once, `in_front`.
    pub(super) fn between(
        text: &'t str,
        from: usize,
        to: usize,
        above: &[TextPiece],
        table: &ScannedTable,
        in_front: &mut Option<BTreeSet<String>>,
    ) -> Option<Self> {
        if table.heads.is_empty() || table.open.is_some() || !table.grid.may_go_on_plainly() {
            return None;
        }
        let before = above
            .iter()
            .rposition(|piece| matches!(piece, TextPiece::Table(_)))?;
        let Some(TextPiece::Table(last)) = above.get(before) else {
            return None;
        };
        if last.grid.kinds != table.grid.kinds
            || !last.grid.may_go_on_plainly()
            || goes_on(last, table, 0).is_none()
            || head_texts(text, last) != head_texts(text, table)
        {
            return None;
        }
        let words: Vec<u32> = above[before..]
            .iter()
            .filter_map(|piece| match piece {
                TextPiece::Text(line) => Some(line.span.start),
                _ => None,
            })
            .collect();
        let in_front = in_front.get_or_insert_with(|| {
            let lines = above.iter().map_while(|piece| match piece {
                TextPiece::Text(line) => Some(squeeze(&text[line.span.range()])),
                TextPiece::Blank => Some(String::new()),
                TextPiece::Table(_) => None,
            });
            lines.collect()
        });
        let none = BTreeSet::new();
        let mut lines = Vec::new();
        let mut at = from;
        while at < to {
            let (end, next) = line_end(text.as_bytes(), at);
            let line = &text[at..end];
            let is_words = u32::try_from(at).is_ok_and(|at| words.contains(&at));
            let counts = || {
                let numbers = line.split(|c: char| !c.is_ascii_digit());
                line.contains(|c: char| c.is_ascii_digit())
                    && numbers.into_iter().all(|number| number.len() <= LONGEST_COUNT)
            };
            let sort = if line.trim_matches(is_blank).is_empty() {
                LineSort::Blank
            } else if strip_remark(line).0.is_some() || lines.len() == MOST_LINES {
                return None;
            } else if is_words && counts() && is_furniture(line, &none) {
                LineSort::Numbered
            } else if !is_words || is_furniture(line, in_front) {
                LineSort::Same
            } else if is_title_of_page(line, table) {
                LineSort::Title
            } else {
                return None;
            };
            lines.push(PageLine {
                text: line,
                sort,
                is_words,
                doubtful: OnceCell::new(),
            });
            at = next;
        }
        let titled = lines.iter().any(|line| line.sort == LineSort::Title);
        Some(Self { lines, titled })
    }

    /// Reads the pages that begin behind the same lines, from `cursor` on, into `table`; gives where the text goes on.
    pub(super) fn read_on(&self, text: &str, mut cursor: Cursor, table: &mut ScannedTable) -> Cursor {
        while let Some((first, words)) = self.at(text, cursor, table) {
            let ends_at = |behind| self.begins_at(text, behind);
            let Some(after) = table.grid.read_page(text, first, self.titled, ends_at) else {
                break;
            };
            table.last_line = after.line.saturating_sub(1);
            table.joined.extend(words);
            cursor = after;
        }
        cursor
    }

    /// Where the first row stands behind these lines, if they stand at `cursor`, and the words among them.
    fn at(
        &self,
        text: &str,
        mut cursor: Cursor,
        table: &ScannedTable,
    ) -> Option<(Cursor, impl Iterator<Item = TextLine> + use<>)> {
        let mut words = [None; MOST_LINES];
        for (line, room) in self.lines.iter().zip(&mut words) {
            if cursor.at >= text.len() {
                return None;
            }
            let (end, next) = line_end(text.as_bytes(), cursor.at);
            let other = &text[cursor.at..end];
            let weighed = || match line.sort {
                LineSort::Blank => false,
                LineSort::Same => line.is_words && is_like_row(other, table),
                LineSort::Numbered | LineSort::Title => !is_title_of_page(other, table),
            };
            // The same words stand on most pages.
            let doubtful = || match line.text == other {
                true => *line.doubtful.get_or_init(weighed),
                false => weighed(),
            };
            if !line.is(other) || self.titled && doubtful() {
                return None;
            }
            *room = line.is_words.then(|| TextLine {
                span: Span::new(cursor.at, end),
                line: cursor.line,
            });
            cursor = Cursor {
                at: next,
                line: cursor.line + 1,
            };
        }
        Some((cursor, words.into_iter().flatten()))
    }

    /// Whether these lines begin at byte `at`, up to the first that is not blank; or nothing more stands there.
    fn begins_at(&self, text: &str, mut at: usize) -> bool {
        if text[at..].trim_start().is_empty() {
            return true;
        }
        for line in &self.lines {
            let (end, next) = line_end(text.as_bytes(), at);
            if !line.is(&text[at..end]) {
                return false;
            }
            if line.sort != LineSort::Blank {
                return true;
            }
            at = next;
        }
        false
    }
}

impl PageLine<'_> {
    /// Whether another line is the same, but for the numbers of pages.
    fn is(&self, other: &str) -> bool {
        match self.sort {
            LineSort::Blank => other.trim_matches(is_blank).is_empty(),
            LineSort::Same => other == self.text,
            LineSort::Numbered | LineSort::Title => same_but_for_counts(self.text, other),
        }
    }
}

/// Whether two lines are the same but for their whole numbers, none of which is longer than counts of pages are.
pub(super) fn same_but_for_counts(one: &str, other: &str) -> bool {
    let (mut one, mut other) = (one.as_bytes(), other.as_bytes());
    let number = |text: &[u8]| text.iter().take_while(|byte| byte.is_ascii_digit()).count();
    let counts = 1..=LONGEST_COUNT;
    loop {
        match (number(one), number(other)) {
            (0, 0) => match (one.split_first(), other.split_first()) {
                (None, None) => return true,
                (Some((a, one_rest)), Some((b, other_rest))) if a == b => {
                    (one, other) = (one_rest, other_rest);
                }
                _ => return false,
            },
            (a, b) if counts.contains(&a) && counts.contains(&b) => (one, other) = (&one[a..], &other[b..]),
            _ => return false,
        }
    }
}

#[cfg(test)]
mod tests;
