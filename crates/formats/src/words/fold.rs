//! Words without regard to case, accents and signs.

/// The word as it is compared: lower case, accents off, every run of blanks and marks one blank, none at the ends.
///
/// `Wellenlänge`, `WELLENLANGE` and `wellen-länge` differ only in the blank; `ß` is `ss`; signs that carry meaning
/// (`%`, `#`, `[`, `]`, `<`, `>`, `+`, Greek letters, digits) stay.
#[must_use]
pub fn fold(text: &str) -> String {
    crate::work::looks_at(text.len());
    let mut folded = String::with_capacity(text.len());
    let mut blank = false;
    let mut push = |folded: &mut String, plain: Option<Plain>| match plain {
        Some(Plain::Nothing) => {}
        None => blank = true,
        Some(plain) => {
            if blank && !folded.is_empty() {
                folded.push(' ');
            }
            blank = false;
            match plain {
                Plain::Sign(sign) => folded.push(sign),
                Plain::Text(text) => folded.push_str(text),
                Plain::Nothing => {}
            }
        }
    };
    for sign in text.chars() {
        // The usual case first.
        if sign.is_ascii() {
            let kept =
                sign.is_ascii_alphanumeric() || matches!(sign, '%' | '#' | '[' | ']' | '<' | '>' | '+' | '*');
            push(&mut folded, kept.then(|| Plain::Sign(sign.to_ascii_lowercase())));
        } else {
            for sign in sign.to_lowercase() {
                push(&mut folded, plain(sign));
            }
        }
    }
    folded
}

/// What a sign in lower case is folded to.
enum Plain {
    Sign(char),
    Text(&'static str),
    Nothing,
}

/// The folded form of a sign in lower case; `None` for a mark that parts words.
fn plain(sign: char) -> Option<Plain> {
    Some(Plain::Text(match sign {
        'á' | 'à' | 'â' | 'ä' | 'ã' | 'å' | 'ą' | 'ā' | 'ă' => "a",
        'é' | 'è' | 'ê' | 'ë' | 'ę' | 'ē' | 'ě' => "e",
        'í' | 'ì' | 'î' | 'ï' | 'ī' | 'ı' => "i",
        'ó' | 'ò' | 'ô' | 'ö' | 'õ' | 'ø' | 'ō' | 'ő' => "o",
        'ú' | 'ù' | 'û' | 'ü' | 'ū' | 'ů' | 'ű' => "u",
        'ý' | 'ÿ' => "y",
        'ñ' | 'ń' | 'ň' => "n",
        'ç' | 'ć' | 'č' => "c",
        'ď' => "d",
        'ğ' => "g",
        'ł' | 'ĺ' | 'ľ' => "l",
        'ř' | 'ŕ' => "r",
        'ś' | 'š' | 'ş' | 'ș' => "s",
        'ť' | 'ț' => "t",
        'ź' | 'ż' | 'ž' => "z",
        'ß' => "ss",
        'ά' => "α",
        'έ' => "ε",
        'ή' => "η",
        'ί' | 'ϊ' | 'ΐ' => "ι",
        'ό' => "ο",
        'ύ' | 'ϋ' | 'ΰ' => "υ",
        'ώ' => "ω",
        // The sigma at the end of a word, which capitals do not tell apart.
        'ς' => "σ",
        'ё' => "е",
        'й' => "и",
        'ї' => "і",
        'æ' => "ae",
        'œ' => "oe",
        '∆' => "δ",
        'µ' => "μ",
        '₀' => "0",
        // Combining accents, as some systems write letters in two parts.
        '\u{300}'..='\u{36F}' => return Some(Plain::Nothing),
        '°' | '∞' | '№' | '²' | '℃' | '℉' => return Some(Plain::Sign(sign)),
        // Units in one sign, `㎚`.
        '\u{3371}'..='\u{33DF}' => return Some(Plain::Sign(sign)),
        sign => return sign.is_alphanumeric().then_some(Plain::Sign(sign)),
    }))
}
