//! Splits a text into lines and labelled records.

use smol_str::SmolStr;

use crate::label::{LabelKind, kind_of, short_label};
use crate::remark::{Code, Notes, Span, quote};

/// One line: its number and its bytes without the line end.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Line {
    pub(crate) number: u32,
    pub(crate) start: usize,
    pub(crate) end: usize,
}

/// The lines of a stretch of text. LF, CR LF and a single CR each end a line.
pub(crate) struct RecordLines<'t> {
    bytes: &'t [u8],
    at: usize,
    end: usize,
    number: u32,
    lone_cr: bool,
}

impl<'t> RecordLines<'t> {
    pub(crate) fn new(source: &RecordSource<'t>, from: usize, end: usize, number: u32) -> Self {
        Self {
            bytes: source.text.as_bytes(),
            at: from,
            end,
            number,
            lone_cr: source.lone_cr,
        }
    }
}

impl Iterator for RecordLines<'_> {
    type Item = Line;

    #[inline]
    fn next(&mut self) -> Option<Line> {
        if self.at >= self.end {
            return None;
        }
        let rest = &self.bytes[self.at..self.end];
        let found = if self.lone_cr {
            memchr::memchr2(b'\n', b'\r', rest)
        } else {
            memchr::memchr(b'\n', rest)
        };
        let start = self.at;
        let mut end = found.map_or(self.end, |at| start + at);
        let mut next = (end + 1).min(self.end);
        if self.lone_cr && end + 1 < self.end && self.bytes[end] == b'\r' && self.bytes[end + 1] == b'\n' {
            next = end + 2;
        } else if end > start && self.bytes[end - 1] == b'\r' {
            end -= 1;
        }
        if found.is_none() {
            next = self.end;
        }
        let number = self.number;
        self.number += 1;
        self.at = next;
        Some(Line { number, start, end })
    }
}

/// The text with what has to be known of all of it.
#[derive(Clone, Copy)]
pub(crate) struct RecordSource<'t> {
    pub(crate) text: &'t str,
    /// Some line ends with a CR alone.
    lone_cr: bool,
}

impl<'t> RecordSource<'t> {
    pub(crate) fn new(text: &'t str) -> Self {
        let bytes = text.as_bytes();
        let lone_cr = memchr::memchr_iter(b'\r', bytes).any(|at| bytes.get(at + 1) != Some(&b'\n'));
        Self { text, lone_cr }
    }

    /// Number of line ends in `from..to`, where `to` stands at the start of a line.
    fn line_ends(&self, from: usize, to: usize) -> u32 {
        let bytes = &self.text.as_bytes()[from..to];
        let mut count = memchr::memchr_iter(b'\n', bytes).count();
        if self.lone_cr {
            count += memchr::memchr_iter(b'\r', bytes)
                .filter(|at| bytes.get(at + 1) != Some(&b'\n'))
                .count();
        }
        u32::try_from(count).unwrap_or(u32::MAX)
    }
}

/// A record as it stands in the text; its value is `text[value..end]`.
#[derive(Clone, Debug)]
pub(crate) struct RawRecord<'t> {
    pub(crate) label: SmolStr,
    pub(crate) spelled: &'t str,
    pub(crate) kind: LabelKind,
    pub(crate) line: u32,
    pub(crate) start: usize,
    pub(crate) value: usize,
    pub(crate) end: usize,
}

impl RawRecord<'_> {
    pub(crate) fn head(&self) -> Span {
        Span {
            start: self.start,
            end: self.value,
        }
    }
}

fn is_blank(byte: u8) -> bool {
    matches!(byte, b' ' | b'\t' | 0x0C | 0x0B | 0x1A | 0x00)
}

/// The records of a text, one after the other. Only the last one is held.
pub(crate) struct Records<'t> {
    source: RecordSource<'t>,
    finder: memchr::memmem::Finder<'static>,
    /// The record whose end is still looked for.
    open: Option<RawRecord<'t>>,
    /// Whether a record was found.
    any: bool,
    /// Where the text begins, behind a byte order mark.
    start: usize,
    /// Where to look on.
    from: usize,
    /// How far lines were counted, and the number of the line there.
    counted: usize,
    line: u32,
    ended: bool,
}

impl<'t> Records<'t> {
    pub(crate) fn new(source: RecordSource<'t>, notes: &mut Notes<'t>) -> Self {
        let text = source.text;
        let start = if text.starts_with('\u{feff}') {
            notes.add(
                Code::ByteOrderMark,
                1,
                Span { start: 0, end: 3 },
                "a byte order mark".into(),
                "",
            );
            3
        } else {
            0
        };
        if let Some(at) = memchr::memchr2(0x00, 0x1A, text.as_bytes()) {
            let number = 1 + source.line_ends(0, at);
            notes.add(
                Code::ControlCharacter,
                number,
                Span {
                    start: at,
                    end: at + 1,
                },
                quote(&text[at..=at]),
                "text",
            );
        }
        Self {
            source,
            finder: memchr::memmem::Finder::new(b"##"),
            open: None,
            any: false,
            start,
            from: start,
            counted: 0,
            line: 1,
            ended: false,
        }
    }

    /// The next record; its end is known, since the one behind it was found.
    pub(crate) fn next(&mut self, notes: &mut Notes<'t>) -> Option<RawRecord<'t>> {
        let bytes = self.source.text.as_bytes();
        while !self.ended {
            let Some(hit) = self.finder.find(&bytes[self.from..]) else {
                self.ended = true;
                if !self.any {
                    text_before(&self.source, self.start, bytes.len(), notes);
                }
                break;
            };
            let at = self.from + hit;
            self.from = at + 1;
            let before = bytes[self.start..at].iter().rposition(|b| !is_blank(*b));
            if before.is_some_and(|b| !matches!(bytes[self.start + b], b'\n' | b'\r')) {
                continue;
            }
            self.line += self.source.line_ends(self.counted, at);
            self.counted = at;
            if !std::mem::replace(&mut self.any, true) {
                text_before(&self.source, self.start, at, notes);
            }
            let found = self.record(at, notes);
            self.from = found.value;
            let last = self.open.replace(found);
            if let Some(mut last) = last {
                last.end = at;
                return Some(last);
            }
        }
        self.open.take()
    }

    /// The record that begins at byte `at`; its end is that of the text.
    fn record(&self, at: usize, notes: &mut Notes<'t>) -> RawRecord<'t> {
        let text = self.source.text;
        let bytes = text.as_bytes();
        let from = at + 2;
        let stop = memchr::memchr2(b'\n', b'\r', &bytes[from..]).map_or(bytes.len(), |n| from + n);
        let (spelled, label, value) = match memchr::memchr(b'=', &bytes[from..stop]) {
            Some(n) => (
                &text[from..from + n],
                short_label(&text[from..from + n]),
                from + n + 1,
            ),
            None => {
                let words = text[from..stop].split("$$").next().unwrap_or("");
                let label = short_label(words);
                let span = Span { start: at, end: stop };
                let ends = matches!(label.as_str(), "END" | "ENDNTUPLES");
                let end_of_text = stop == bytes.len() && "END".starts_with(label.as_str());
                if !ends && !end_of_text {
                    notes.add(
                        Code::LabelWithoutEquals,
                        self.line,
                        span,
                        quote(&text[at..stop]),
                        "a label and =",
                    );
                }
                if ends {
                    (words.trim(), label, stop)
                } else {
                    ("", SmolStr::default(), from)
                }
            }
        };
        RawRecord {
            kind: kind_of(&label),
            label,
            spelled: spelled.trim(),
            line: self.line,
            start: at,
            value,
            end: bytes.len(),
        }
    }
}

fn text_before<'t>(source: &RecordSource<'t>, from: usize, to: usize, notes: &mut Notes<'t>) {
    let stray = RecordLines::new(source, from, to, 1).find(|line| !blank(source.text, line));
    if let Some(line) = stray {
        let span = Span {
            start: line.start,
            end: line.end,
        };
        let found = quote(&source.text[line.start..line.end]);
        notes.add(Code::TextBeforeFirstLabel, line.number, span, found, "##TITLE=");
    }
}

fn blank(text: &str, line: &Line) -> bool {
    text[line.start..line.end].bytes().all(is_blank)
}

/// The text of a value that stands on one line, without a comment; what [`text_value`] gives, as it stands in the source.
pub(crate) fn one_line<'t>(source: &RecordSource<'t>, from: usize, to: usize) -> Option<&'t str> {
    let trim = |c: char| c.is_whitespace() || matches!(c, '\0' | '\u{1a}');
    let value = source.text[from..to].trim_matches(trim);
    memchr::memchr3(b'\n', b'\r', b'$', value.as_bytes())
        .is_none()
        .then_some(value)
}

/// The text of a value without comments, and the comments. Lines are trimmed and joined by line feeds.
pub(crate) fn text_value(source: &RecordSource<'_>, from: usize, to: usize) -> (String, Vec<String>) {
    let mut value = String::with_capacity(to.saturating_sub(from) + 1);
    let mut comments = Vec::new();
    // Few values have comments.
    let commented = memchr::memchr(b'$', &source.text.as_bytes()[from..to]).is_some();
    for line in RecordLines::new(source, from, to, 0) {
        let whole = &source.text[line.start..line.end];
        let (text, comment) = match commented.then(|| whole.find("$$")).flatten() {
            Some(at) => (&whole[..at], Some(&whole[at + 2..])),
            None => (whole, None),
        };
        let trim = |c: char| c.is_whitespace() || matches!(c, '\0' | '\u{1a}');
        if let Some(comment) = comment {
            comments.push(comment.trim_matches(trim).to_owned());
        }
        value.push_str(text.trim_matches(trim));
        value.push('\n');
    }
    value.truncate(value.trim_end().len());
    let lead = value.len() - value.trim_start().len();
    value.drain(..lead);
    (value, comments)
}
