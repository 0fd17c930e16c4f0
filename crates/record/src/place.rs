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

/// Where the lines of a decoded text begin, so that a span becomes a line and a column without counting from its start.
///
/// Lines end at LF, CR LF or a lone CR, freely mixed. Kept is how many lines end in front of each block of the text; the
/// rest is found in the block, so that the table of a large text is made quickly and is small.
#[derive(Clone, Debug)]
pub struct LineTable {
    /// How many lines end in front of each block.
    ended: Vec<u32>,
    count: usize,
}

/// The length of a block in bytes.
const BLOCK: usize = 512;

impl LineTable {
    /// Counts the lines of `text`.
    #[must_use]
    pub fn new(text: &str) -> Self {
        let bytes = text.as_bytes();
        // Behind the last byte no line begins.
        let ends = &bytes[..bytes.len().saturating_sub(1)];
        let mut ended = Vec::with_capacity(bytes.len() / BLOCK + 1);
        let mut count = 0_u32;
        for (block, behind) in ends
            .chunks(BLOCK)
            .zip(bytes.get(1..).unwrap_or_default().chunks(BLOCK))
        {
            ended.push(count);
            count = count.saturating_add(line_ends(block, behind));
        }
        if ended.len() * BLOCK <= bytes.len() {
            ended.push(count);
        }
        Self {
            ended,
            count: count as usize + 1,
        }
    }

    /// How many lines there are; an empty text has one.
    #[must_use]
    pub fn count(&self) -> usize {
        self.count
    }

    /// The span of line `index` (from 0) of `text`, which must be the text this table was made from, with its line end.
    #[must_use]
    pub fn span(&self, text: &str, index: usize) -> Span {
        let bytes = text.as_bytes();
        let nth = u32::try_from(index).unwrap_or(u32::MAX);
        let start = if index == 0 {
            0
        } else if index >= self.count {
            bytes.len()
        } else {
            // The line end in front of it lies in the last block in front of which fewer have ended.
            let block = self.ended.partition_point(|&ended| ended < nth).saturating_sub(1);
            let before = self.ended.get(block).copied().unwrap_or(0);
            let mut ends = ends_in(bytes, block * BLOCK);
            ends.nth((nth - before).saturating_sub(1) as usize)
                .map_or(bytes.len(), |end| end + 1)
        };
        let end = ends_in(bytes, start).next().map_or(bytes.len(), |end| end + 1);
        Span::new(start, end)
    }

    /// The index (from 0) of the line of `text` that holds byte `offset`.
    #[must_use]
    pub fn index_of(&self, text: &str, offset: usize) -> usize {
        let bytes = text.as_bytes();
        let offset = offset.min(bytes.len());
        let block = (offset / BLOCK).min(self.ended.len().saturating_sub(1));
        let before = self.ended.get(block).copied().unwrap_or(0);
        let within = ends_in(bytes, block * BLOCK).take_while(|&end| end < offset);
        before as usize + within.count()
    }

    /// The place of `span` in `text`, which must be the text this table was made from.
    #[must_use]
    pub fn place(&self, text: &str, span: Span) -> Place {
        let bytes = text.as_bytes();
        let index = self.index_of(text, span.start as usize);
        let front = &bytes[..bytes.len().min(span.start as usize)];
        let ends_line =
            |&at: &usize| (bytes[at] == b'\n' || bytes.get(at + 1) != Some(&b'\n')) && at + 1 < bytes.len();
        let end = memchr::memrchr2_iter(b'\n', b'\r', front).find(ends_line);
        Place::behind(text, index, end.map_or(0, |end| end + 1), span)
    }
}

/// How many lines end in a piece of text; `behind` is the same piece one byte further.
fn line_ends(piece: &[u8], behind: &[u8]) -> u32 {
    /// So many can be counted in one byte, and many bytes at a time.
    const LOT: usize = 128;
    let lots = piece.chunks(LOT).zip(behind.chunks(LOT));
    lots.map(|(piece, behind)| {
        let ends = piece.iter().zip(behind).fold(0_u8, |count, (&byte, &next)| {
            count + u8::from((byte == b'\n') | (byte == b'\r') & (next != b'\n'))
        });
        u32::from(ends)
    })
    .sum()
}

/// The places from byte `from` on at which lines end behind which another one begins.
fn ends_in(bytes: &[u8], from: usize) -> impl Iterator<Item = usize> {
    let rest = bytes.get(from..).unwrap_or_default();
    memchr::memchr2_iter(b'\n', b'\r', rest)
        .map(move |at| from + at)
        .filter(|&at| (bytes[at] == b'\n' || bytes.get(at + 1) != Some(&b'\n')) && at + 1 < bytes.len())
}

/// The source line of every point of a trace, run-length coded: points mostly stand one a line.
///
/// Each piece is `[first line, step, count]`.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
pub struct Lines(Vec<(u32, i32, u32)>);

impl Lines {
    /// Gives back room that was made for more: there may be thousands of curves.
    pub fn fit(&mut self) {
        self.0.shrink_to_fit();
    }

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
        let lines: Vec<&str> = (0..table.count())
            .map(|i| &text[table.span(text, i).range()])
            .collect();
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
    fn lines_of_a_long_text_are_those_counted_from_its_start() {
        let mut text = String::new();
        for line in 0..400_usize {
            text.push_str(&"é".repeat(line * 7 % 23));
            text.push_str(&"x".repeat([0, 1, 3, 600][line % 61 % 4] * usize::from(line % 61 < 4)));
            text.push_str(["\n", "\r\n", "\r", "\n\n"][line * 13 % 4]);
        }
        for text in [text.as_str(), &text[1..], text.trim_end()] {
            let table = LineTable::new(text);
            let mut index = 0;
            let mut start = 0;
            for at in (0..text.len()).filter(|&at| text.is_char_boundary(at)) {
                let place = Place::of(text, Span::new(at, at));
                assert_eq!(table.place(text, Span::new(at, at)), place, "byte {at}");
                if place.line as usize != index + 1 {
                    assert_eq!(table.span(text, index), Span::new(start, at), "line {index}");
                    (index, start) = (index + 1, at);
                }
            }
            assert_eq!(table.span(text, index), Span::new(start, text.len()));
            assert_eq!(table.count(), index + 1);
            assert_eq!(table.span(text, index + 1), Span::new(text.len(), text.len()));
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
