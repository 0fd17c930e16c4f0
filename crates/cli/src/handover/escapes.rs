//! Texts as they read once their escapes are undone: a name stays the same name as `M.\u0020Example` in JSON, as
//! `M.&#32;Example` in XML and HTML, as `M.%20Example` in an address, and with its quotes doubled in CSV.

use std::borrow::Cow;

/// So many layers of escapes are undone: JSON within a page within an address are three.
const LAYERS: usize = 4;

/// So many bytes may stand for one byte of a value: an `&` written as `\u0026` whose backslash is `%5C`, and more of that kind.
pub(super) const LONGEST_ESCAPE: usize = 48;

/// The text, and then the text with one layer of its escapes undone after the other, as long as that changes it: with each `+` as
/// a blank, as in the query of an address, and then with each as itself.
pub(super) fn layers(text: &str) -> impl Iterator<Item = Cow<'_, str>> {
    let first = Some(Cow::Borrowed(text));
    let blanks = std::iter::successors(first, |text| undone(text, Plus::Blank).map(Cow::Owned));
    let plain = text.contains('+').then(|| undone(text, Plus::Itself)).flatten();
    let signs = std::iter::successors(plain.map(Cow::Owned), |text| {
        undone(text, Plus::Itself).map(Cow::Owned)
    });
    blanks.take(LAYERS + 1).chain(signs.take(LAYERS))
}

/// What a `+` stands for.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Plus {
    Blank,
    Itself,
}

/// One layer of escapes undone; nothing where there are none. What only looks like an escape stays as it is.
fn undone(text: &str, plus: Plus) -> Option<String> {
    let bytes = text.as_bytes();
    let mut out: Option<Vec<u8>> = None;
    let (mut at, mut copied) = (0, 0);
    while at < bytes.len() {
        let meaning = match bytes[at] {
            b'\\' => backslash(&bytes[at..]),
            b'&' => entity(&text[at..]),
            b'%' => percent(&bytes[at..]),
            b'"' if bytes.get(at + 1) == Some(&b'"') => Some((2, b"\"".to_vec())),
            // A blank in the query of an address.
            b'+' if plus == Plus::Blank && at > 0 && !bytes[at - 1].is_ascii_whitespace() => {
                Some((1, b" ".to_vec()))
            }
            _ => None,
        };
        let Some((length, meaning)) = meaning else {
            at += 1;
            continue;
        };
        let out = out.get_or_insert_with(|| Vec::with_capacity(bytes.len()));
        out.extend_from_slice(&bytes[copied..at]);
        out.extend_from_slice(&meaning);
        at += length;
        copied = at;
    }
    let mut out = out?;
    out.extend_from_slice(&bytes[copied..]);
    Some(String::from_utf8_lossy(&out).into_owned())
}

/// An escape of JSON (RFC 8259, 7), with its length; a blank stands for the signs that nobody sees.
fn backslash(bytes: &[u8]) -> Option<(usize, Vec<u8>)> {
    let sign = *bytes.get(1)?;
    if sign != b'u' {
        let meaning = match sign {
            b'"' | b'\\' | b'/' => sign,
            b'n' | b't' | b'r' | b'f' | b'b' => b' ',
            _ => return None,
        };
        return Some((2, vec![meaning]));
    }
    let unit = |from: usize| -> Option<u32> {
        let digits = std::str::from_utf8(bytes.get(from..from + 4)?).ok()?;
        u32::from_str_radix(digits, 16).ok()
    };
    let first = unit(2)?;
    let second = || (bytes.get(6..8) == Some(b"\\u")).then(|| unit(8)).flatten();
    let (code, length) = match (first, second()) {
        // Beyond the basic plane a sign takes two units.
        (0xd800..=0xdbff, Some(low @ 0xdc00..=0xdfff)) => {
            (0x10000 + ((first - 0xd800) << 10) + (low - 0xdc00), 12)
        }
        _ => (first, 6),
    };
    Some((length, char::from_u32(code)?.to_string().into_bytes()))
}

/// A reference to a character by its number or its name, as in XML and HTML.
fn entity(text: &str) -> Option<(usize, Vec<u8>)> {
    /// The longest name that HTML knows, with its signs around.
    const LONGEST: usize = 33;
    let end = text.bytes().take(LONGEST).position(|byte| byte == b';')?;
    let reference = text.get(..=end)?;
    let name = reference.get(1..end)?;
    if name.is_empty()
        || !name
            .bytes()
            .all(|byte| byte.is_ascii_alphanumeric() || byte == b'#')
    {
        return None;
    }
    let meaning = htmlescape::decode_html(reference).ok()?;
    Some((end + 1, meaning.into_bytes()))
}

/// A byte in an address (RFC 3986, 2.1).
fn percent(bytes: &[u8]) -> Option<(usize, Vec<u8>)> {
    let digits = std::str::from_utf8(bytes.get(1..3)?).ok()?;
    let hexadecimal = digits.bytes().all(|byte| byte.is_ascii_hexdigit());
    let byte = u8::from_str_radix(digits, 16).ok().filter(|_| hexadecimal)?;
    Some((3, vec![byte]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn escapes_of_one_text_are_that_text() {
        for escaped in [
            r"M. Gr\u00f6\u00dfe & Söhne",
            "M. Gr&ouml;&szlig;e &amp; S&#246;hne",
            "M. Gr&#xF6;&#xdf;e &#38; S&#xf6;hne",
            "M.%20Gr%C3%B6%C3%9Fe%20%26%20S%c3%b6hne",
            "M.+Gr%C3%B6%C3%9Fe %26 S%C3%B6hne",
            // Twice: a page within JSON, JSON within an address.
            r"M. Gr\u0026ouml;\u0026szlig;e \u0026amp; S\u0026#246;hne",
            "M. Gr%5Cu00f6%5Cu00dfe %26 S%5Cu00f6hne",
        ] {
            // A plus sign is read as itself, too.
            assert!(
                layers(escaped).any(|text| text == "M. Größe & Söhne"),
                "{escaped}"
            );
        }
        assert_eq!(
            layers(r#""an ""old"" \"dye\"""#).nth(1).unwrap(),
            r#""an "old" "dye"""#
        );
        assert_eq!(layers(r"\ud83e\uddea").last().unwrap(), "\u{1f9ea}");
    }

    /// A name may have a sign that an address uses for a blank.
    #[test]
    fn a_plus_may_be_one() {
        let mut all = layers("Anna+Karl M&uuml;ller");
        assert!(all.any(|text| text == "Anna+Karl Müller"));
    }

    #[test]
    fn what_only_looks_like_one_stays() {
        for text in [
            "5 % of 20 & more; so",
            r"C:\data",
            "100%",
            r"\u12",
            r"\ud800 ",
            "&;",
            "&nothing;",
            "%zz",
            "+5",
        ] {
            assert_eq!(layers(text).count(), 1, "{text}");
        }
    }
}
