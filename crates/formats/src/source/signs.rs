//! Signs that stand for plain ones: full-width forms, digits of other scripts, look-alikes of the minus sign, lines of
//! tables drawn with box characters, and the codes that colour a terminal.
//!
//! They are made plain once, in the decoded text, so that no reader has to know them. Nothing else is changed: what
//! could be read in two ways stays as it is. Code points are those of the Unicode Standard.

use curvary_record::{Code, Diagnostic};

/// Whether a text has signs that [`plain`] would change. Quick on text that is plain ASCII, or nearly.
pub(super) fn has_odd(text: &str) -> bool {
    let bytes = text.as_bytes();
    if memchr::memchr3(ESCAPE, STX, ETX, bytes).is_some() {
        return true;
    }
    // Most pieces are ASCII, which is seen many bytes at a time.
    bytes
        .chunks(64)
        .enumerate()
        .filter(|(_, piece)| !piece.is_ascii())
        .any(|(nth, piece)| {
            piece
                .iter()
                .enumerate()
                .filter(|&(_, &byte)| byte >= 0xC2)
                .any(|(at, _)| {
                    text.get(nth * 64 + at..)
                        .and_then(|rest| rest.chars().next())
                        .is_some_and(|sign| kind(sign).is_some())
                })
        })
}

const ESCAPE: u8 = 0x1B;
/// What a serial line sends in front of a text and behind it (ISO/IEC 646).
const STX: u8 = 0x02;
const ETX: u8 = 0x03;

/// What sort of odd sign it is; the order is that of the remark.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum SignKind {
    Wide,
    Digit,
    Mark,
    Minus,
    Raised,
    Box,
    Direction,
    Frame,
}

impl SignKind {
    /// What people call several of them.
    fn name(self) -> &'static str {
        match self {
            Self::Wide => "full-width signs",
            Self::Digit => "digits of another script",
            Self::Mark => "Arabic marks",
            Self::Minus => "hyphens in the place of minus signs",
            Self::Raised => "raised decimal points",
            Self::Box => "drawn lines",
            Self::Direction => "marks of the direction of writing",
            Self::Frame => "frames of a serial line",
        }
    }
}

fn kind(sign: char) -> Option<SignKind> {
    Some(match sign {
        '\u{FF01}'..='\u{FF5E}' | '\u{3000}' => SignKind::Wide,
        // Arabic-Indic, Persian, Devanagari, Bengali and Thai digits.
        '\u{660}'..='\u{669}'
        | '\u{6F0}'..='\u{6F9}'
        | '\u{966}'..='\u{96F}'
        | '\u{9E6}'..='\u{9EF}'
        | '\u{E50}'..='\u{E59}' => SignKind::Digit,
        // Percent sign, decimal sign, thousands sign, comma and semicolon.
        '\u{66A}'..='\u{66C}' | '\u{60C}' | '\u{61B}' => SignKind::Mark,
        // Hyphen, no-break hyphen, figure dash, superscript minus, modifier minus, heavy minus. The minus sign itself,
        // the en dash and the small hyphen-minus are known to the readers.
        '\u{2010}'..='\u{2012}' | '\u{207B}' | '\u{2D7}' | '\u{2796}' => SignKind::Minus,
        '·' => SignKind::Raised,
        '\u{2500}'..='\u{257F}' | '¦' => SignKind::Box,
        '\u{200E}' | '\u{200F}' | '\u{61C}' | '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}' => {
            SignKind::Direction
        }
        '\u{2}' | '\u{3}' => SignKind::Frame,
        _ => return None,
    })
}

/// The value of a digit of another script.
fn digit(sign: char) -> Option<char> {
    [0x660, 0x6F0, 0x966, 0x9E6, 0xE50, 0xFF10]
        .into_iter()
        .find_map(|zero| char::from_digit(u32::from(sign).checked_sub(zero).filter(|n| *n < 10)?, 10))
}

/// Whether a sign is a line between cells.
fn is_upright(sign: char) -> bool {
    matches!(sign, '¦' | '│' | '┃' | '║' | '┆' | '┇' | '┊' | '┋' | '╎' | '╏')
}

/// Whether each line that is not empty, three at least, stands between STX and ETX. A lone one is a damaged byte of a number, and what
/// is left of that is no number.
fn is_framed(text: &str) -> bool {
    const FEWEST: usize = 3;
    let lines = || text.lines().map(str::trim_end).filter(|line| !line.is_empty());
    let framed = |line: &str| {
        let inside = line
            .strip_prefix(char::from(STX))
            .and_then(|line| line.strip_suffix(char::from(ETX)));
        inside.is_some_and(|inside| !inside.contains([char::from(STX), char::from(ETX)]))
    };
    memchr::memchr(STX, text.as_bytes()).is_some() && lines().count() >= FEWEST && lines().all(framed)
}

/// Of each line, whether its raised points are decimal points: it holds nothing but numbers, and so do others with such points. One
/// or two may be damaged figures; beside words, `3·100 µL`, `1·10⁵`, the sign multiplies.
fn raised_lines(text: &str) -> Vec<bool> {
    const FEWEST: usize = 3;
    if !text.contains('·') {
        return vec![false; text.split('\n').count()];
    }
    let of_numbers = |sign: char| {
        sign.is_ascii_digit()
            || sign.is_whitespace()
            || matches!(sign, '·' | '.' | ',' | ';' | '|' | '-' | '+' | '*')
    };
    let raised: Vec<bool> = text
        .split('\n')
        .map(|line| line.contains('·') && line.chars().all(of_numbers))
        .collect();
    if raised.iter().filter(|raised| **raised).count() >= FEWEST {
        raised
    } else {
        vec![false; raised.len()]
    }
}

/// The text with plain signs, and a remark on what was changed.
pub(super) fn plain(text: String, remarks: &mut Vec<Diagnostic>) -> String {
    let text = without_codes(text, remarks);
    if !has_odd(&text) {
        return text;
    }
    let signs: Vec<char> = text.chars().collect();
    let digit_at = |at: Option<usize>| {
        at.and_then(|at| signs.get(at))
            .is_some_and(|&sign| sign.is_ascii_digit() || digit(sign).is_some())
    };
    let drawn_at = |at: Option<usize>| {
        at.and_then(|at| signs.get(at))
            .is_some_and(|sign| matches!(sign, '\u{2500}'..='\u{257F}'))
    };
    let mut plain = String::with_capacity(text.len());
    let mut changed: Vec<SignKind> = Vec::new();
    let raised = raised_lines(&text);
    let framed = is_framed(&text);
    let mut line = 0;
    for (at, &sign) in signs.iter().enumerate() {
        line += usize::from(sign == '\n');
        let Some(kind) = kind(sign) else {
            plain.push(sign);
            continue;
        };
        let before = at.checked_sub(1);
        let one = match kind {
            SignKind::Wide if sign == '\u{3000}' => Some(' '),
            // The full-width forms of ASCII lie in its order.
            SignKind::Wide => char::from_u32(u32::from(sign) - 0xFF01 + 0x21),
            SignKind::Digit => digit(sign),
            SignKind::Raised => (raised[line] && digit_at(before) && digit_at(Some(at + 1))).then_some('.'),
            SignKind::Mark => match sign {
                '\u{66A}' => Some('%'),
                '\u{60C}' => Some(','),
                '\u{61B}' => Some(';'),
                '\u{66B}' if digit_at(Some(at + 1)) => Some('.'),
                // Before three digits it parts thousands, and is nothing to a number.
                '\u{66C}'
                    if digit_at(before)
                        && (1..=3).all(|n| digit_at(Some(at + n)))
                        && !digit_at(Some(at + 4)) =>
                {
                    changed.push(kind);
                    continue;
                }
                _ => Some(sign),
            },
            SignKind::Minus => {
                let next = signs.get(at + 1);
                let number = digit_at(Some(at + 1))
                    || matches!(next, Some('.' | ',' | '\u{66B}')) && digit_at(Some(at + 2));
                // An exponent's sign belongs to what stands before it: `10⁻3`.
                let alone = before
                    .and_then(|at| signs.get(at))
                    .is_none_or(|sign| !sign.is_alphanumeric());
                Some(if number && (alone || sign != '\u{207B}') {
                    '-'
                } else {
                    sign
                })
            }
            // A corner beside a number would be a sign of it.
            SignKind::Box if !is_upright(sign) && !drawn_at(before) && !drawn_at(Some(at + 1)) => Some(sign),
            SignKind::Box => Some(match sign {
                sign if is_upright(sign) => '|',
                '─' | '━' | '═' | '┄' | '┅' | '┈' | '┉' | '╌' | '╍' => '-',
                _ => '+',
            }),
            SignKind::Frame if !framed => Some(sign),
            SignKind::Direction | SignKind::Frame => {
                changed.push(kind);
                continue;
            }
        };
        let one = one.unwrap_or(sign);
        if one != sign {
            changed.push(kind);
        }
        plain.push(one);
    }
    if changed.is_empty() {
        return text;
    }
    let count = changed.len();
    changed.sort_unstable();
    changed.dedup();
    let names: Vec<&str> = changed.into_iter().map(SignKind::name).collect();
    let told = match count {
        1 => "1 sign was read as the plain one it stands for".to_owned(),
        count => format!("{count} signs were read as the plain ones they stand for"),
    };
    remarks.push(Diagnostic::note(
        Code::new("signs-made-plain"),
        format!("{told}: {}", names.join(", ")),
    ));
    plain
}

/// The text without the codes of a terminal that colour it (ECMA-48: `ESC [`, parameters, a last sign), and with
/// blanks for those that move to the right. A code that moves elsewhere stays: what it does to a number cannot be told.
fn without_codes(text: String, remarks: &mut Vec<Diagnostic>) -> String {
    if memchr::memchr(ESCAPE, text.as_bytes()).is_none() {
        return text;
    }
    let mut bare = String::with_capacity(text.len());
    let mut rest = text.as_str();
    let mut taken = 0_usize;
    while let Some(at) = rest.find('\u{1B}') {
        bare.push_str(&rest[..at]);
        rest = &rest[at..];
        let fresh = bare.rsplit('\n').next().is_none_or(|line| line.trim().is_empty());
        match code(rest, fresh) {
            Some((length, blanks)) => {
                taken += 1;
                bare.extend(std::iter::repeat_n(' ', blanks));
                rest = &rest[length..];
            }
            None => {
                bare.push('\u{1B}');
                rest = &rest[1..];
            }
        }
    }
    bare.push_str(rest);
    if taken == 0 {
        return text;
    }
    remarks.push(Diagnostic::note(
        Code::new("terminal-codes"),
        format!("{taken} codes that colour a terminal were taken out of the text"),
    ));
    bare
}

/// The length of the code at the start of a text, and the blanks that it stands for. `fresh` when nothing stands before
/// it on its line.
fn code(text: &str, fresh: bool) -> Option<(usize, usize)> {
    let bytes = text.as_bytes();
    // The choice of a set of characters: `ESC ( B`.
    if let [ESCAPE, b'(' | b')', b'B' | b'0' | b'A', ..] = bytes {
        return Some((3, 0));
    }
    let parameters = bytes.strip_prefix(b"\x1B[")?;
    let length = parameters
        .iter()
        .take(32)
        .take_while(|byte| matches!(byte, 0x20..=0x3F))
        .count();
    let (said, last) = (parameters.get(..length)?, *parameters.get(length)?);
    let blanks = match last {
        b'm' | b'h' | b'l' => 0,
        // What lies behind is cleared; what lies before as well only where there is nothing.
        b'K' | b'J' if fresh || matches!(said, b"" | b"0") => 0,
        b'G' if fresh && matches!(said, b"" | b"1") => 0,
        b'C' => std::str::from_utf8(said)
            .ok()?
            .parse()
            .unwrap_or(1_usize)
            .clamp(1, 500),
        _ => return None,
    };
    Some((length + 3, blanks))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn made(text: &str) -> (String, Vec<String>) {
        let mut remarks = Vec::new();
        let text = plain(text.to_owned(), &mut remarks);
        (
            text,
            remarks.iter().map(|remark| remark.code.to_string()).collect(),
        )
    }

    #[test]
    fn odd_signs_are_made_plain() {
        for (odd, wanted) in [
            ("波長（ｎｍ）：４０５", "波長(nm):405"),
            ("a\u{3000}b", "a b"),
            ("٤٠٠\t٠٫١٢٣", "400\t0.123"),
            ("۴۰۰؛۰٫۵", "400;0.5"),
            ("١٬٢٣٤", "1234"),
            ("\u{2010}0.5 \u{207B}.5 \u{2012}3", "-0.5 -.5 -3"),
            ("│ 400 ║ 0.1 ¦", "| 400 | 0.1 |"),
            ("├───┼───┤", "+---+---+"),
            ("\u{200F}٥", "5"),
        ] {
            assert!(has_odd(odd), "{odd}");
            assert_eq!(
                made(odd),
                (wanted.to_owned(), vec!["signs-made-plain".to_owned()]),
                "{odd}"
            );
        }
    }

    #[test]
    fn what_is_plain_or_not_sure_stays() {
        for text in [
            "405 nm; 0.12 µmol °C \u{2212}0.5",
            "cm\u{207B}1",
            "state\u{2010}of\u{2010}the\u{2010}art",
            "١٬٢٣٤٥",
            "温度",
            "┤5 ─5",
            "",
        ] {
            let wanted = if text.starts_with('١') {
                "1\u{66C}2345"
            } else {
                text
            };
            assert_eq!(made(text).0, wanted);
        }
        assert!(!has_odd("405 nm; 0.12 µmol °C \u{2212}0.5"));
    }

    #[test]
    fn odd_signs_are_seen_anywhere() {
        for length in 0..140 {
            let text = format!("{}°：{}", "x".repeat(length), "y".repeat(70));
            assert!(has_odd(&text), "{length}");
        }
    }

    #[test]
    fn colours_are_taken_out_and_moves_are_not_guessed() {
        let (text, codes) = made("\u{1B}[1;31m400\u{1B}[0m\u{1B}[5C0.12\u{1B}[K\n");
        assert_eq!(
            (text.as_str(), codes),
            ("400     0.12\n", vec!["terminal-codes".to_owned()])
        );
        assert_eq!(
            made("400\u{1B}[3D0.12"),
            ("400\u{1B}[3D0.12".to_owned(), Vec::new())
        );
        assert_eq!(made("\u{1B}[2K\u{1B}[1G 400 1").0, " 400 1");
        assert_eq!(made("400\u{1B}[2K").0, "400\u{1B}[2K");
        for cut in ["\u{1B}", "\u{1B}[", "\u{1B}[1;", "\u{1B}[é"] {
            assert_eq!(made(cut).0, cut);
        }
    }
}
