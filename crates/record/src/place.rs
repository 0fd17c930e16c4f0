//! Where something stood: spans of decoded text, lines and columns, and the source line of every point.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A range of bytes of a decoded source.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
pub struct Span {
    /// First byte.
    pub start: u32,
    /// One past the last byte.
    pub end: u32,
}

impl Span {
    /// The span from `start` up to `end`; offsets beyond 4 GiB are held at the limit.
    #[must_use]
    pub fn new(start: usize, end: usize) -> Self {
        let clamp = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
        Self {
            start: clamp(start),
            end: clamp(end),
        }
    }

    /// The bytes as a range for slicing.
    #[must_use]
    pub fn range(self) -> std::ops::Range<usize> {
        self.start as usize..self.end as usize
    }
}

/// A place in a file as a person finds it: line and column count from one, columns in characters.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Place {
    /// The file, when it is another than the source of the run that carries the place.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub file: Option<String>,
    /// The part of the source in which lines are counted, where it has parts: "page 3", "sheet `data`".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub part: Option<String>,
    /// Line, from 1; 0 when the place is the file as a whole.
    pub line: u32,
    /// Column in characters, from 1; 0 when the place is the line as a whole.
    #[serde(default)]
    pub column: u32,
    /// The bytes of the decoded text.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub span: Option<Span>,
    /// The bytes of the file, where it was read as bytes and not as text; there is no line then.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bytes: Option<Span>,
}

impl Place {
    /// A whole line of the run's own source.
    #[must_use]
    pub fn line(line: usize) -> Self {
        Self {
            line: u32::try_from(line).unwrap_or(u32::MAX),
            ..Self::default()
        }
    }

    /// The place of `span` in `text`, by counting the lines in front of it. For many places a [`LineTable`] is quicker.
    #[must_use]
    pub fn of(text: &str, span: Span) -> Self {
        let bytes = text.as_bytes();
        let front = &bytes[..bytes.len().min(span.start as usize)];
        let (mut lines, mut start) = (0, 0);
        for at in memchr::memchr2_iter(b'\n', b'\r', front) {
            let ends_line = bytes[at] == b'\n' || bytes.get(at + 1) != Some(&b'\n');
            if ends_line && at + 1 < bytes.len() {
                lines += 1;
                start = at + 1;
            }
        }
        Self::behind(text, lines, start, span)
    }

    /// The place of a span in the line `index` (from 0), which begins at byte `start`.
    fn behind(text: &str, index: usize, start: usize, span: Span) -> Self {
        let before = text.get(start..span.start as usize).unwrap_or("");
        let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
        Self {
            file: None,
            part: None,
            line: count(index + 1),
            column: count(before.chars().count() + 1),
            span: Some(span),
            bytes: None,
        }
    }
}

/// The starts of all lines of a decoded text, so that a span becomes a line and a column without counting again.
///
/// Lines end at LF, CR LF or a lone CR, freely mixed.
#[derive(Clone, Debug)]
pub struct LineTable {
    starts: Vec<u32>,
    len: u32,
}

impl LineTable {
    /// Finds every line start of `text`.
    #[must_use]
    pub fn new(text: &str) -> Self {
        let bytes = text.as_bytes();
        let mut starts = Vec::with_capacity(bytes.len() / 16 + 1);
        starts.push(0);
        for at in memchr::memchr2_iter(b'\n', b'\r', bytes) {
            let ends_line = bytes[at] == b'\n' || bytes.get(at + 1) != Some(&b'\n');
            if ends_line && at + 1 < bytes.len() {
                starts.push(u32::try_from(at + 1).unwrap_or(u32::MAX));
            }
        }
        Self {
            starts,
            len: u32::try_from(bytes.len()).unwrap_or(u32::MAX),
        }
    }

    /// How many lines there are; an empty text has one.
    #[must_use]
    pub fn count(&self) -> usize {
        self.starts.len()
    }

    /// The span of line `index` (from 0) with its line end.
    #[must_use]
    pub fn span(&self, index: usize) -> Span {
        let start = self.starts.get(index).copied().unwrap_or(self.len);
        let end = self.starts.get(index + 1).copied().unwrap_or(self.len);
        Span { start, end }
    }

    /// The index (from 0) of the line that holds byte `offset`.
    #[must_use]
    pub fn index_of(&self, offset: usize) -> usize {
        let offset = u32::try_from(offset).unwrap_or(u32::MAX);
        self.starts
            .partition_point(|&start| start <= offset)
            .saturating_sub(1)
    }

    /// The place of `span` in `text`, which must be the text this table was made from.
    #[must_use]
    pub fn place(&self, text: &str, span: Span) -> Place {
        let index = self.index_of(span.start as usize);
        Place::behind(text, index, self.span(index).start as usize, span)
    }
}

/// The source line of every point of a trace, run-length coded: points mostly stand one a line.
///
/// Each piece is `[first line, step, count]`.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
pub struct Lines(Vec<(u32, i32, u32)>);

impl Lines {
    /// Adds the line of the next point.
    pub fn push(&mut self, line: usize) {
        let line = u32::try_from(line).unwrap_or(u32::MAX);
        if let Some((first, step, count)) = self.0.last_mut() {
            let gap = i64::from(line) - i64::from(*first);
            if *count == 1 {
                if let Ok(gap) = i32::try_from(gap) {
                    *step = gap;
                    *count = 2;
                    return;
                }
            } else if gap == i64::from(*step) * i64::from(*count) {
                *count += 1;
                return;
            }
        }
        self.0.push((line, 0, 1));
    }

    /// Adds `count` points that stand on lines `first`, `first + step`, …
    pub fn push_run(&mut self, first: usize, step: i32, count: usize) {
        let first = u32::try_from(first).unwrap_or(u32::MAX);
        let count = u32::try_from(count).unwrap_or(u32::MAX);
        if count > 0 {
            self.0.push((first, if count == 1 { 0 } else { step }, count));
        }
    }

    /// How many points have a line.
    #[must_use]
    pub fn len(&self) -> usize {
        self.0.iter().map(|&(_, _, count)| count as usize).sum()
    }

    /// Whether no point has a line.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// The line of point `index` (from 0).
    #[must_use]
    pub fn get(&self, index: usize) -> Option<u32> {
        let mut left = index;
        for &(first, step, count) in &self.0 {
            if left < count as usize {
                let line = i64::from(first) + i64::from(step) * i64::try_from(left).ok()?;
                return u32::try_from(line).ok();
            }
            left -= count as usize;
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_end_at_lf_crlf_and_cr() {
        let text = "a\nb\r\nc\rd";
        let table = LineTable::new(text);
        let lines: Vec<&str> = (0..table.count()).map(|i| &text[table.span(i).range()]).collect();
        assert_eq!(lines, ["a\n", "b\r\n", "c\r", "d"]);
        assert_eq!(table.place(text, Span::new(5, 6)).line, 3);
        for text in [text, "a\r\n", "\n\r\n\r", ""] {
            let table = LineTable::new(text);
            for at in 0..text.len() + 2 {
                let span = Span::new(at, at);
                assert_eq!(
                    Place::of(text, span),
                    table.place(text, span),
                    "byte {at} of {text:?}"
                );
            }
        }
    }

    #[test]
    fn columns_count_characters() {
        let text = "°C: 37\n";
        let table = LineTable::new(text);
        let at = text.find("37").expect("it is there");
        assert_eq!(table.place(text, Span::new(at, at + 2)).column, 5);
    }

    #[test]
    fn lines_of_points_are_run_length_coded() {
        let wanted = [3_u32, 4, 5, 9, 12, 15, 15, 15, 2];
        let mut lines = Lines::default();
        for line in wanted {
            lines.push(line as usize);
        }
        assert_eq!(lines.len(), wanted.len());
        for (index, line) in wanted.iter().enumerate() {
            assert_eq!(lines.get(index), Some(*line));
        }
        assert!(lines.0.len() <= 4, "{lines:?}");
        assert_eq!(lines.get(wanted.len()), None);
    }
}
