//! The apostrophe by which spreadsheets say that a cell is text: `'240` with a tab and `'0.087` behind it.

use super::Blanked;

/// So many numbers at least stand behind such a mark.
const FEWEST: usize = 6;

/// The text with blanks in place of the marks, where most cells of numbers have one. A quotation mark that is closed in its cell is none.
pub(super) fn without_text_marks(text: &str) -> Option<Blanked> {
    let bytes = text.as_bytes();
    let begins_cell =
        |at: usize| at == 0 || matches!(bytes[at - 1], b'\n' | b'\r' | b'\t' | b';' | b',' | b'|');
    let is_number = |at: usize| {
        let digits = usize::from(matches!(bytes.get(at), Some(b'-' | b'+' | b'.' | b',')));
        bytes.get(at + digits).is_some_and(u8::is_ascii_digit)
    };
    let mut marks = memchr::memchr_iter(b'\'', bytes).filter(|&at| begins_cell(at));
    // Most texts have no such sign.
    let first = marks.next()?;
    let ends = |byte: &u8| matches!(byte, b'\n' | b'\r' | b'\t' | b';' | b'|');
    let is_closed = |at: usize| {
        let cell = &bytes[at + 1..];
        let end = cell.iter().position(ends).unwrap_or(cell.len());
        cell[..end].contains(&b'\'')
    };
    let all: Vec<usize> = std::iter::once(first).chain(marks).collect();
    let numbers = all.iter().filter(|&&at| is_number(at + 1)).count();
    if numbers < FEWEST || all.iter().any(|&at| is_closed(at)) {
        return None;
    }
    // Every number that begins a cell has one: others would stand for something else.
    let bare = memchr::memchr_iter(b'\t', bytes)
        .filter(|&at| is_number(at + 1))
        .count();
    if bare > 0 {
        return None;
    }
    let mut plain = bytes.to_vec();
    for at in all {
        plain[at] = b' ';
    }
    Some((String::from_utf8(plain).ok()?, None))
}
