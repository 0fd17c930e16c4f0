//! Whether the first bytes of a source are those of a text.

use super::NO_TEXT;
use crate::source::{frames, is_control};

/// Why a text is of another kind, by its first characters.
pub(super) fn not_text(head: &str) -> Option<String> {
    let start = head.trim_start_matches(|c: char| c.is_whitespace() || c == '\u{FEFF}');
    let lower = start
        .get(..start.len().min(64))
        .or(start.get(..0))
        .unwrap_or("")
        .to_ascii_lowercase();
    if start.is_empty() {
        return Some("the file is empty".to_owned());
    }
    if looks_binary(head) {
        return Some(NO_TEXT.to_owned());
    }
    if lower.starts_with("<!doctype")
        || lower.starts_with("<html")
        || lower.starts_with("<?xml")
        || lower.starts_with("<svg")
    {
        return Some("a web page or markup".to_owned());
    }
    if (start.starts_with('{') || start.starts_with("[{") || start.starts_with("[\n"))
        && !is_map_over_lines(start)
    {
        return Some("structured data of a program (JSON)".to_owned());
    }
    if lower.starts_with("##title")
        || (lower.starts_with("##")
            && lower
                .lines()
                .next()
                .is_some_and(|line| line.contains('=') && lower.contains("jcamp")))
    {
        return Some("labelled records of JCAMP-DX".to_owned());
    }
    if lower.starts_with("%pdf") || lower.starts_with("{\\rtf") {
        return Some("a formatted document".to_owned());
    }
    None
}

/// Whether a text begins with one map of a line, `{"sample": "betanin"}`, behind which lines follow that are none.
fn is_map_over_lines(start: &str) -> bool {
    const LOOK: usize = 8;
    let mut lines = start.lines().filter(|line| !line.trim().is_empty()).take(LOOK);
    let first = lines.next().map_or("", str::trim);
    let mut others = lines.peekable();
    first.starts_with('{')
        && first.ends_with('}')
        && !first[1..].contains(['{', '['])
        && others.peek().is_some()
        && others.all(|line| !line.contains(['{', '}', '[', ']']))
}

/// Whether more than one character in twenty is no text, by the first two thousand bytes.
fn looks_binary(head: &str) -> bool {
    let mut end = head.len().min(2048);
    while !head.is_char_boundary(end) {
        end -= 1;
    }
    let head = &head[..end];
    let any = |piece: &&[u8]| {
        piece.iter().fold(false, |any, &b| {
            any | (b < 0x20) & (b != b'\n') & (b != b'\t') | (b == 0x7F)
        })
    };
    // Most pieces of text have none, which is seen many bytes at a time.
    let odd = head
        .as_bytes()
        .chunks(64)
        .filter(any)
        .flatten()
        .filter(|&&b| is_control(b))
        .count()
        .saturating_sub(frames(head.as_bytes()))
        + if head.is_ascii() {
            0
        } else {
            head.matches('\u{FFFD}').count()
        };
    odd * 20 > end
}
