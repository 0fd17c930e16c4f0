//! Texts for writing: nothing in them may be taken for a label or a comment, and lines have 80 columns.

use crate::remark::{Code, Place, Remark, quote};

/// What to do with characters outside of ASCII, which the standard does not allow.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum NonAscii {
    /// Keep them, with a remark. The text is UTF-8 then.
    #[default]
    Keep,
    /// Replace them (`°` by `deg`, `µ` by `u`, unknown ones by `?`), with a remark.
    Transliterate,
}

pub(crate) fn remark(code: Code, found: String, expected: impl Into<String>) -> Remark {
    Remark {
        code,
        place: Place::default(),
        found,
        expected: expected.into(),
    }
}

/// Makes a text safe: no control characters, no `$$`, ASCII if asked for. Line feeds stay.
pub(crate) fn safe(label: &str, text: &str, non_ascii: NonAscii, remarks: &mut Vec<Remark>) -> String {
    let mut out = String::with_capacity(text.len());
    let mut changed = false;
    let mut foreign = String::new();
    for c in text.replace("\r\n", "\n").replace('\r', "\n").chars() {
        match c {
            '\n' => out.push('\n'),
            '\t' => out.push(' '),
            '$' if out.ends_with('$') => {
                changed = true;
                out.push_str(" $");
            }
            c if c.is_control() => changed = true,
            c if c.is_ascii() => out.push(c),
            c => {
                if !foreign.contains(c) {
                    foreign.push(c);
                }
                match non_ascii {
                    NonAscii::Keep => out.push(c),
                    NonAscii::Transliterate => out.push_str(ascii(c)),
                }
            }
        }
    }
    if changed {
        remarks.push(remark(
            Code::TextChanged,
            format!("{label}={}", quote(text)),
            "text without $$ and control characters",
        ));
    }
    if !foreign.is_empty() {
        let done = match non_ascii {
            NonAscii::Keep => "kept",
            NonAscii::Transliterate => "replaced",
        };
        remarks.push(remark(
            Code::TextNotAscii,
            format!("{foreign:?} in {label} ({done})"),
            "printable ASCII",
        ));
    }
    out
}

/// Writes `##LABEL= value`, wrapped at blanks to 80 columns. No line after the first starts with `##`.
pub(crate) fn record(label: &str, value: &str, columns: usize, out: &mut String, remarks: &mut Vec<Remark>) {
    let mut first = true;
    let (mut wrapped, mut changed, mut long) = (false, false, false);
    for line in value.trim().split('\n') {
        let mut rest = line.trim();
        loop {
            let head = if first {
                format!("##{label}= ")
            } else {
                String::new()
            };
            let mut safe_rest = String::new();
            if !first && rest.starts_with("##") {
                safe_rest = format!("# {}", &rest[1..]);
                changed = true;
            }
            let text = if safe_rest.is_empty() { rest } else { &safe_rest };
            let room = columns.saturating_sub(head.chars().count());
            let mut taken = text;
            if text.chars().count() > room {
                let limit = text.char_indices().nth(room).map_or(text.len(), |(at, _)| at);
                let at_limit = text[limit..].starts_with(' ').then_some(limit);
                let cut = at_limit
                    .or_else(|| text[..limit].rfind(' '))
                    .or_else(|| text.find(' '));
                match cut.filter(|at| *at > 0) {
                    Some(at) => {
                        taken = &text[..at];
                        wrapped = true;
                    }
                    None => long = true,
                }
            }
            long |= taken.chars().count() > room;
            out.push_str(&head);
            out.push_str(taken);
            if taken.is_empty() && first {
                out.truncate(out.trim_end().len());
            }
            out.push_str("\r\n");
            first = false;
            let used = taken.len();
            let after = text[used..].trim_start();
            if after.is_empty() {
                break;
            }
            let after = after.len();
            rest = &rest[rest.len() - after..];
        }
    }
    let found = || format!("{label}={}", quote(value));
    if wrapped {
        remarks.push(remark(
            Code::TextWrapped,
            found(),
            format!("at most {columns} columns"),
        ));
    }
    if changed {
        remarks.push(remark(Code::TextChanged, found(), "no line that starts with ##"));
    }
    if long {
        remarks.push(remark(
            Code::LineTooLong,
            found(),
            format!("at most {columns} columns"),
        ));
    }
}

fn ascii(c: char) -> &'static str {
    match c {
        'µ' | 'μ' => "u",
        '°' | 'º' => "deg",
        '±' => "+-",
        '×' => "x",
        '·' | '⋅' => ".",
        '²' => "^2",
        '³' => "^3",
        '¹' => "^1",
        '⁻' | '−' | '–' | '—' | '‐' | '‑' => "-",
        'ä' => "ae",
        'ö' => "oe",
        'ü' => "ue",
        'Ä' => "Ae",
        'Ö' => "Oe",
        'Ü' => "Ue",
        'ß' => "ss",
        'à' | 'á' | 'â' | 'ã' | 'å' => "a",
        'ç' => "c",
        'è' | 'é' | 'ê' | 'ë' => "e",
        'ì' | 'í' | 'î' | 'ï' => "i",
        'ñ' => "n",
        'ò' | 'ó' | 'ô' | 'õ' | 'ø' => "o",
        'ù' | 'ú' | 'û' => "u",
        'À' | 'Á' | 'Â' | 'Ã' => "A",
        '\u{c5}' | '\u{212b}' => "A",
        'É' | 'È' | 'Ê' => "E",
        'α' => "alpha",
        'β' => "beta",
        'γ' => "gamma",
        'δ' => "delta",
        'ε' => "epsilon",
        'λ' => "lambda",
        'π' => "pi",
        'Δ' | '∆' => "Delta",
        'Ω' => "Ohm",
        '‘' | '’' => "'",
        '“' | '”' | '„' => "\"",
        '…' => "...",
        '≤' => "<=",
        '≥' => ">=",
        '≈' => "~",
        '\u{a0}' | '\u{2009}' | '\u{202f}' => " ",
        _ => "?",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn written(value: &str) -> (String, Vec<Code>) {
        let mut remarks = Vec::new();
        let text = safe("NAMES", value, NonAscii::Transliterate, &mut remarks);
        let mut out = String::new();
        record("NAMES", &text, 80, &mut out, &mut remarks);
        (out, remarks.iter().map(|r| r.code).collect())
    }

    #[test]
    fn texts_open_no_record_and_no_comment() {
        let (out, codes) = written("a\n  ##END=\nb $$$ c");
        assert_eq!(out, "##NAMES= a\r\n# #END=\r\nb $ $ $ c\r\n");
        assert_eq!(codes, [Code::TextChanged, Code::TextChanged]);
    }

    #[test]
    fn long_texts_are_wrapped_at_blanks() {
        let (out, codes) = written(&"word ".repeat(40));
        assert!(out.lines().all(|l| l.len() <= 80), "{out}");
        assert_eq!(out.split_whitespace().filter(|w| *w == "word").count(), 40);
        assert_eq!(codes, [Code::TextWrapped]);
        // A wrapped line must not start a record either.
        let (out, _) = written(&format!("{} ##END= x", "y".repeat(70)));
        assert!(out.lines().skip(1).all(|l| !l.starts_with("##")), "{out}");
        let (_, codes) = written(&"z".repeat(100));
        assert_eq!(codes, [Code::LineTooLong]);
    }

    #[test]
    fn foreign_characters_are_told() {
        assert_eq!(
            written("37 °C, 5 µM ☃"),
            ("##NAMES= 37 degC, 5 uM ?\r\n".into(), vec![Code::TextNotAscii])
        );
    }
}
