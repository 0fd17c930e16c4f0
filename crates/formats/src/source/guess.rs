//! The encoding of bytes that do not say theirs, by how much sense the text makes that they would be.
//!
//! Digits and the letters of English are the same in all these encodings, so a wrong guess changes no number. What
//! differs is whether words keep to the alphabet of one language, whether capitals stand where they may, whether the
//! words are those of the trade, and whether a degree sign, a micro sign and drawn lines stand where they make sense.
//! Windows-1252 is taken when nothing speaks clearly for another. The weights are this project's own, set by the tests
//! below; the common letters are common knowledge about the languages.

use std::collections::HashSet;
use std::sync::LazyLock;

use encoding_rs::Encoding;

use crate::words::spellings;

/// The text of bytes in the encoding that suits them best, and its name.
pub(super) fn guess(bytes: &[u8]) -> (&'static str, String) {
    let sample = informative_lines(bytes);
    let detected = detected(&sample);
    let mut best = (sense(&WESTERN.decode(&sample), WESTERN.tongues), &WESTERN);
    let mut western = best.0;
    for way in &OTHERS {
        let mut score = sense(&way.decode(&sample), way.tongues);
        if score > 0 && Some(way.name) == detected && way.tongues == Tongues::EastAsian {
            score += DETECTED;
        }
        if score > best.0 && score >= western + way.margin {
            best = (score, way);
            if way.tongues == Tongues::Western {
                western = score;
            }
        }
    }
    (best.1.name, best.1.decode(bytes))
}

/// The text of a Japanese mail or export in seven bits, which shifts between sets with escape sequences.
pub(super) fn iso_2022_jp(bytes: &[u8]) -> Option<String> {
    let shifts =
        memchr::memchr_iter(0x1B, bytes).any(|at| matches!(bytes.get(at + 1..at + 3), Some(b"$B" | b"$@")));
    if !shifts {
        return None;
    }
    let (text, bad) = encoding_rs::ISO_2022_JP.decode_without_bom_handling(bytes);
    (!bad).then(|| text.into_owned())
}

/// What the detector of the web says counts for so much among the East Asian encodings, which it tells apart well.
const DETECTED: i32 = 4;

/// Which languages an encoding is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Tongues {
    Western,
    Central,
    Turkish,
    Cyrillic,
    Greek,
    EastAsian,
}

/// One way to decode.
struct Decoding {
    name: &'static str,
    /// `None` for code page 850, which the web does not know.
    encoding: Option<&'static Encoding>,
    tongues: Tongues,
    /// By how much it must be better than the western ones.
    margin: i32,
}

impl Decoding {
    const fn new(encoding: &'static Encoding, name: &'static str, tongues: Tongues, margin: i32) -> Self {
        Self {
            name,
            encoding: Some(encoding),
            tongues,
            margin,
        }
    }

    fn decode(&self, bytes: &[u8]) -> String {
        match self.encoding {
            Some(encoding) => encoding.decode_without_bom_handling(bytes).0.into_owned(),
            None => code_page_850(bytes),
        }
    }
}

static WESTERN: Decoding = Decoding::new(encoding_rs::WINDOWS_1252, "windows-1252", Tongues::Western, 0);

/// The commoner of two that say the same comes first.
static OTHERS: [Decoding; 16] = [
    Decoding::new(encoding_rs::MACINTOSH, "macintosh", Tongues::Western, 1),
    Decoding {
        name: "IBM850",
        encoding: None,
        tongues: Tongues::Western,
        margin: 1,
    },
    Decoding::new(encoding_rs::WINDOWS_1250, "windows-1250", Tongues::Central, 2),
    Decoding::new(encoding_rs::ISO_8859_2, "ISO-8859-2", Tongues::Central, 2),
    Decoding::new(encoding_rs::WINDOWS_1254, "windows-1254", Tongues::Turkish, 2),
    Decoding::new(encoding_rs::WINDOWS_1251, "windows-1251", Tongues::Cyrillic, 3),
    Decoding::new(encoding_rs::KOI8_R, "KOI8-R", Tongues::Cyrillic, 3),
    Decoding::new(encoding_rs::KOI8_U, "KOI8-U", Tongues::Cyrillic, 3),
    Decoding::new(encoding_rs::IBM866, "IBM866", Tongues::Cyrillic, 3),
    Decoding::new(encoding_rs::WINDOWS_1253, "windows-1253", Tongues::Greek, 3),
    Decoding::new(encoding_rs::ISO_8859_7, "ISO-8859-7", Tongues::Greek, 3),
    Decoding::new(encoding_rs::GB18030, "gb18030", Tongues::EastAsian, 4),
    Decoding::new(encoding_rs::BIG5, "Big5", Tongues::EastAsian, 4),
    Decoding::new(encoding_rs::SHIFT_JIS, "Shift_JIS", Tongues::EastAsian, 4),
    Decoding::new(encoding_rs::EUC_JP, "EUC-JP", Tongues::EastAsian, 4),
    Decoding::new(encoding_rs::EUC_KR, "EUC-KR", Tongues::EastAsian, 4),
];

/// The lines that have anything beyond ASCII, as far as they are needed.
fn informative_lines(bytes: &[u8]) -> Vec<u8> {
    const ENOUGH: usize = 1 << 15;
    let mut sample = Vec::new();
    for line in bytes.split(|&byte| matches!(byte, b'\n' | b'\r')) {
        if !line.is_ascii() {
            sample.extend_from_slice(line);
            sample.push(b'\n');
        }
        if sample.len() >= ENOUGH {
            break;
        }
    }
    sample
}

/// What the detector of the web takes the bytes for.
fn detected(bytes: &[u8]) -> Option<&'static str> {
    let mut detector = chardetng::EncodingDetector::new(chardetng::Iso2022JpDetection::Deny);
    detector.feed(bytes, true);
    let name = detector.guess(None, chardetng::Utf8Detection::Deny).name();
    // GBK is the part of GB 18030 that is mostly used.
    Some(if name == "GBK" { "gb18030" } else { name })
}

/// The letters beyond ASCII of each language, in lower case.
const WESTERN_ALPHABETS: [&str; 10] = [
    "äöüßé",
    "éèêëàâçîïôûùœæ",
    "áéíóúñü",
    "àèéìòùî",
    "ãõçáéíóúâêôàü",
    "éèëïöüç",
    "åäöéü",
    "æøåéö",
    "äöåšžé",
    "äöõüšž",
];
const CENTRAL_ALPHABETS: [&str; 5] = [
    "áčďéěíňóřšťúůýžö",
    "áäčďéíĺľňóôŕšťúýžö",
    "ąćęłńóśźż",
    "áéíóöőúüű",
    "ăâîşţșț",
];
const TURKISH_ALPHABETS: [&str; 1] = ["çğıöşüâîûi\u{307}"];

/// How much sense a text makes in the languages of an encoding.
fn sense(text: &str, tongues: Tongues) -> i32 {
    let alphabets: &[&str] = match tongues {
        Tongues::Western => &WESTERN_ALPHABETS,
        Tongues::Central => &CENTRAL_ALPHABETS,
        Tongues::Turkish => &TURKISH_ALPHABETS,
        Tongues::Cyrillic | Tongues::Greek | Tongues::EastAsian => &["éäöü"],
    };
    let signs: Vec<char> = text.chars().collect();
    let mut score = 0;
    let mut latin = vec![0; alphabets.len()];
    let (mut boxes, mut drawn, mut upright) = (0, 0, false);
    let mut at = 0;
    while let Some(&sign) = signs.get(at) {
        if sign.is_ascii() && !sign.is_ascii_alphabetic() {
            at += 1;
            continue;
        }
        let script = script(sign);
        let word: &[char] = signs.get(at..).map_or(&[], |rest| {
            let length = rest
                .iter()
                .take_while(|&&c| self::script(c) == script && script != Script::Sign)
                .count();
            rest.get(..length.max(1)).unwrap_or(&[])
        });
        let before = at
            .checked_sub(1)
            .and_then(|at| signs.get(at))
            .copied()
            .unwrap_or(' ');
        let after = signs.get(at + word.len()).copied().unwrap_or(' ');
        at += word.len().max(1);
        if let '\u{2500}'..='\u{257F}' = sign {
            boxes += 1;
            upright |= !matches!(sign, '─' | '═');
            drawn += i32::from(match sign {
                '│' | '║' => before.is_whitespace() && after.is_whitespace(),
                _ => before == sign || after == sign,
            });
            continue;
        }
        if script == Script::Sign {
            let line = signs.get(at..).unwrap_or(&[]).iter().take_while(|&&c| c != '\n');
            score += match sign {
                '¿' | '¡' if line.clone().any(|c| matches!(c, '?' | '!')) => 4,
                _ => sign_sense(sign, before, after),
            };
            continue;
        }
        if word.iter().all(char::is_ascii) {
            continue;
        }
        // One letter again and again is a line that was drawn.
        if word
            .windows(4)
            .any(|four| four.iter().all(|letter| *letter == four[0]))
        {
            score -= i32::try_from(word.len()).unwrap_or(0);
            continue;
        }
        let spelled: String = word.iter().flat_map(|c| c.to_lowercase()).collect();
        let known = VOCABULARY.contains(spelled.as_str());
        score += match (known, word.len()) {
            (true, 2..=3) => 5,
            (true, 4..) => 8,
            _ => 0,
        };
        // A word of two scripts is none; a Greek letter in front of a Latin one is a symbol (`ΔA`, `λmax`).
        let glued = |c: char| c.is_alphabetic() && !matches!(self::script(c), Script::Sign);
        let mixed = glued(before) || glued(after);
        // UTF-8 that was taken for Windows-1252 once before: `KÃ¼vette`, `Â°C`.
        if matches!(word.last(), Some('Ã' | 'Â')) && matches!(after, '\u{A0}'..='\u{BF}') {
            score += 8;
        }
        let many = i32::try_from(word.len()).unwrap_or(0);
        score += match script {
            Script::Latin => {
                for (score, alphabet) in latin.iter_mut().zip(alphabets) {
                    *score += latin_sense(word, before, alphabet);
                }
                0
            }
            Script::Greek if mixed && word.len() == 1 && !glued(before) => 0,
            Script::Cyrillic | Script::Greek if mixed => -3 * many,
            // So short a word tells nothing, unless it is one of the trade.
            Script::Cyrillic | Script::Greek if word.len() <= 3 => {
                let within = before.is_ascii_digit() && after.is_ascii_digit();
                cased(word) - 2 * i32::from(within)
            }
            Script::Cyrillic => cased(word) + cyrillic_sense(word),
            Script::Greek => cased(word) + greek_sense(word),
            Script::EastAsian => east_asian_sense(word, before, after),
            Script::Sign => 0,
        };
    }
    // A few signs of drawn tables are none; a broken byte of a number may look so, and blanks that do not break look
    // like lines in KOI8.
    score += if drawn >= 4 && upright { drawn } else { -2 * boxes };
    score + latin.into_iter().max().unwrap_or(0)
}

/// The words of the trade that have letters beyond ASCII, and the units and short words that stand beside them.
static VOCABULARY: LazyLock<HashSet<String>> = LazyLock::new(|| {
    let units = [
        "нм",
        "мин",
        "сек",
        "мл",
        "мкл",
        "мкм",
        "мм",
        "мс",
        "моль",
        "ммоль",
        "мкмоль",
        "хв",
    ];
    spellings().into_iter().chain(units.map(str::to_owned)).collect()
});

/// The signs of the East Asian words of the trade.
static EAST_ASIAN_SIGNS: LazyLock<HashSet<char>> = LazyLock::new(|| {
    VOCABULARY
        .iter()
        .flat_map(|word| word.chars())
        .filter(|&sign| script(sign) == Script::EastAsian)
        .collect()
});

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Script {
    Latin,
    Cyrillic,
    Greek,
    EastAsian,
    /// No letter.
    Sign,
}

fn script(sign: char) -> Script {
    match sign {
        // Micro sign and ordinals count as letters to Unicode.
        'µ' | 'º' | 'ª' | '×' | '÷' => Script::Sign,
        'A'..='Z' | 'a'..='z' | '\u{C0}'..='\u{24F}' | '\u{307}' | '\u{1E00}'..='\u{1EFF}' => Script::Latin,
        '\u{370}'..='\u{3FF}' if sign.is_alphabetic() => Script::Greek,
        '\u{400}'..='\u{4FF}' => Script::Cyrillic,
        '\u{3041}'..='\u{30FF}'
        | '\u{3005}'
        | '\u{3400}'..='\u{9FFF}'
        | '\u{AC00}'..='\u{D7A3}'
        | '\u{FF66}'..='\u{FF9F}'
        | '\u{E000}'..='\u{F8FF}'
        | '\u{20000}'..='\u{3FFFF}' => Script::EastAsian,
        _ => Script::Sign,
    }
}

/// How much sense a sign makes between two others.
fn sign_sense(sign: char, before: char, after: char) -> i32 {
    match sign {
        '°' | 'º' if matches!(after, 'C' | 'F' | ' ' | ')' | ']' | 'С') && !before.is_alphabetic() => 4,
        '°' if matches!(after, ',' | ';' | '.' | '\n') && before.is_ascii_digit() => 3,
        // Of the units that take a micro.
        'µ' if "mMlLgsAkKVWEU".contains(after) && !before.is_alphabetic() => 4,
        'µ' if after == 'м' || after == 'М' => 2,
        '²' | '³' | '¹' if after.is_alphabetic() => -3,
        '²' | '³' | '¹' => i32::from(before.is_ascii_alphanumeric() || before == ')'),
        '¼' | '½' | '¾' if !before.is_alphabetic() && !after.is_alphabetic() => 0,
        '±' | '·' | '×' if before.is_alphabetic() => -2,
        '№' if after.is_alphabetic() => 0,
        '±' | '·' | '×' | '№' => 1,
        '«' | '“' | '„' if !before.is_alphanumeric() && after.is_alphanumeric() => 1,
        '»' | '”' if before.is_alphanumeric() && !after.is_alphanumeric() => 1,
        '\u{A0}' if before.is_ascii_digit() => 2,
        '–' | '—' if !before.is_alphanumeric() || before.is_ascii_digit() => 1,
        '–' | '—' | '«' | '»' | '„' | '“' | '”' | '’' | '‘' | '…' | '•' | '€' | '§' | '®' | '™' | '©'
        | '¦' | '\u{A0}' => 0,
        '\u{3000}'..='\u{303F}' | '\u{FF01}'..='\u{FF5E}' | '℃' | '㎝' | '㎚' => 1,
        '\u{FFFD}' => -8,
        sign if sign.is_control() => -4,
        _ => -2,
    }
}

/// How much sense the letters beyond ASCII make in a word, in the alphabet of one language.
fn latin_sense(word: &[char], before: char, alphabet: &str) -> i32 {
    let shouted = word.len() > 1 && word.iter().all(|c| !c.is_lowercase());
    let mut score = 0;
    let mut run = 0;
    for (at, &letter) in word.iter().enumerate() {
        if letter.is_ascii() {
            run = 0;
            continue;
        }
        run += 1;
        let first = at == 0;
        let lower = letter.to_lowercase().next().unwrap_or(letter);
        let next = word.get(at + 1).copied().unwrap_or(' ');
        // `12áAU` was a blank between a number and its unit.
        let torn = first && before.is_ascii_digit()
            || next.is_uppercase() && !shouted
            || run > 1 && !matches!(lower, 'ä' | 'ö') && word.get(at - 1) == Some(&letter)
            || next == letter && !matches!(lower, 'ä' | 'ö');
        // These end Italian words and stand nowhere else, or not in front.
        let misplaced = matches!(lower, 'ì' | 'ò' | 'ù') && at + 1 < word.len() || lower == 'è' && first;
        let unit = word == ['Å'] && matches!(before, '(' | '[' | ' ' | '/');
        score += if unit || word.len() == 1 && lower == 'à' {
            0
        } else if word.len() == 1 || torn || misplaced {
            -1
        } else if letter.is_uppercase() && !first && !shouted {
            -3
        } else if !alphabet.contains(lower) {
            -2
        } else if letter.is_uppercase() && !shouted {
            // Few words begin with the others.
            if "ËÏÛÙÒÌÃÂÊÔÎ".contains(letter) {
                0
            } else {
                2
            }
        } else {
            3
        };
        // No word has so many accents one behind another.
        if run == 3 {
            score -= 9;
        } else if run > 3 {
            score -= 8;
        }
    }
    // A word of nothing but accented letters is no sign of a language.
    if word.iter().any(char::is_ascii) {
        score
    } else {
        score.min(0)
    }
}

/// Whether the capitals of a word stand where they may: in front, everywhere, or nowhere.
fn cased(word: &[char]) -> i32 {
    let rest = word.get(1..).unwrap_or(&[]);
    let lower = rest.iter().all(|c| !c.is_uppercase());
    let upper = word.iter().all(|c| !c.is_lowercase());
    // `мМ`, `мкМ`, `нМ`: units that end in a capital.
    let unit = word.len() <= 3
        && word.last() == Some(&'М')
        && word
            .split_last()
            .is_some_and(|(_, rest)| rest.iter().all(|c| c.is_lowercase()));
    if lower || upper || unit {
        0
    } else {
        -4 * i32::try_from(word.len()).unwrap_or(0)
    }
}

/// How common the letters of a word are in Russian and Ukrainian.
fn cyrillic_sense(word: &[char]) -> i32 {
    let mut score = 0;
    let mut vowels = 0;
    let mut last = ' ';
    let mut run = 0;
    for &letter in word {
        let lower = letter.to_lowercase().next().unwrap_or(letter);
        score += match lower {
            'о' | 'е' | 'а' | 'и' | 'н' | 'т' | 'с' | 'р' | 'в' | 'л' => 3,
            'к' | 'м' | 'д' | 'п' | 'і' => 2,
            'у' | 'я' | 'ы' | 'ь' | 'г' | 'з' | 'б' | 'ч' | 'й' | 'ж' => 1,
            'х' | 'ш' | 'ю' | 'ц' | 'щ' | 'э' | 'ф' | 'ё' | 'ї' | 'є' => 0,
            'ъ' | 'ґ' => -1,
            _ => -4,
        };
        vowels += i32::from("аеиоуыэюяіїєё".contains(lower));
        // No word has one letter three times running; a drawn line has.
        run = if lower == last { run + 1 } else { 1 };
        last = lower;
        if run > 2 {
            score -= 8;
        }
    }
    if vowels == 0 { score.min(0) } else { score }
}

fn greek_sense(word: &[char]) -> i32 {
    let mut score = 0;
    let mut accents = 0;
    for (at, &letter) in word.iter().enumerate() {
        let last = at + 1 == word.len();
        let lower = letter.to_lowercase().next().unwrap_or(letter);
        accents += i32::from(matches!(lower, 'ά' | 'έ' | 'ή' | 'ί' | 'ό' | 'ύ' | 'ώ'));
        score += match letter {
            // The sigma at the end of a word has a form of its own.
            'ς' if !last => -6,
            'σ' if last && at > 0 => -4,
            _ => match lower {
                'α' | 'ο' | 'ι' | 'ε' | 'τ' | 'σ' | 'ς' | 'ν' | 'η' => 3,
                'υ' | 'ρ' | 'π' | 'κ' | 'μ' | 'λ' | 'ά' | 'έ' | 'ή' | 'ί' | 'ό' | 'ύ' | 'ώ' | 'ω' => {
                    2
                }
                'γ' | 'δ' | 'θ' | 'χ' | 'φ' | 'β' => 1,
                _ => -1,
            },
        };
    }
    score - (accents - 1).max(0) * 4
}

fn east_asian_sense(word: &[char], before: char, after: char) -> i32 {
    if word.len() == 1 && (before.is_ascii_alphabetic() || after.is_ascii_alphabetic()) {
        return -2;
    }
    let alone = i32::from(word.len() == 1);
    let mut score = 0;
    for &sign in word {
        score += if EAST_ASIAN_SIGNS.contains(&sign) {
            3 - alone
        } else {
            match sign {
                '\u{3041}'..='\u{30FF}' => 2 - 2 * alone,
                // Half-width katakana are every byte from A1 to DF of Shift_JIS, and seldom used.
                '\u{FF66}'..='\u{FF9F}' => -1,
                '\u{E000}'..='\u{F8FF}' | '\u{3400}'..='\u{4DBF}' | '\u{20000}'..='\u{3FFFF}' => -3,
                _ => -alone,
            }
        };
    }
    score
}

/// Bytes in code page 850, the multilingual page of DOS. The upper half is the table of IBM's registration.
fn code_page_850(bytes: &[u8]) -> String {
    const UPPER: &str = "ÇüéâäàåçêëèïîìÄÅÉæÆôöòûùÿÖÜø£Ø×ƒáíóúñÑªº¿®¬½¼¡«»░▒▓│┤ÁÂÀ©╣║╗╝¢¥┐└┴┬├─┼ãÃ╚╔╩╦╠═╬¤ðÐÊËÈıÍÎÏ┘┌█▄¦Ì▀ÓßÔÒõÕµþÞÚÛÙýÝ¯´\u{AD}±‗¾¶§÷¸°¨·¹³²■\u{A0}";
    let upper: Vec<char> = UPPER.chars().collect();
    bytes
        .iter()
        .map(|&byte| match byte.checked_sub(128) {
            Some(place) => upper.get(usize::from(place)).copied().unwrap_or('\u{FFFD}'),
            None => char::from(byte),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Bytes in an encoding; `None` where a sign has no place in it.
    fn encoded(text: &str, name: &str) -> Option<Vec<u8>> {
        let own: Option<Vec<char>> = match name {
            "IBM850" => Some(
                (128..=255)
                    .flat_map(|b| code_page_850(&[b]).chars().collect::<Vec<_>>())
                    .collect(),
            ),
            // The standard of the web decodes these and writes them, except for the first.
            _ => None,
        };
        if let Some(upper) = own {
            return text
                .chars()
                .map(|c| {
                    if c.is_ascii() {
                        u8::try_from(c).ok()
                    } else {
                        let place = upper.iter().position(|&u| u == c)?;
                        u8::try_from(place + 128).ok()
                    }
                })
                .collect();
        }
        let encoding = Encoding::for_label(name.as_bytes()).expect("a known encoding");
        let (bytes, _, bad) = encoding.encode(text);
        (!bad).then(|| bytes.into_owned())
    }

    /// Invented heads of files: what a person would type into an export, with some words that no list has.
    const TEXTS: [(&str, &[&str], &str); 22] = [
        (
            "de",
            &["windows-1252", "macintosh", "IBM850"],
            "Küvette: 1 cm, Lösungsmittel Wasser, Prüfer Müller-Invented\nWellenlänge (nm);Extinktion\nGröße 5 µm bei 25 °C",
        ),
        (
            "fr",
            &["windows-1252", "macintosh", "IBM850"],
            "Échantillon: bétanine à pH 7, mesuré le 3 février\nLongueur d'onde;Densité optique\nTempérature 25 °C",
        ),
        (
            "es",
            &["windows-1252", "macintosh", "IBM850"],
            "Muestra: betanina número 3, año 2021\nAbsorción según método español; señal",
        ),
        (
            "it",
            &["windows-1252", "macintosh", "IBM850"],
            "Velocità iniziale perché è così, unità\nDensità ottica",
        ),
        (
            "pt",
            &["windows-1252", "macintosh", "IBM850"],
            "Concentração da solução; absorvância\nObservações: não agitar, medição às 10 h",
        ),
        (
            "sv",
            &["windows-1252", "macintosh", "IBM850"],
            "Våglängd;Absorbans\nProv från måndag, lösning nr 3, kyvettlängd 1 cm, mätning",
        ),
        (
            "da",
            &["windows-1252", "IBM850"],
            "Bølgelængde;Absorbans\nPrøve målt på køl, opløsning",
        ),
        (
            "fi",
            &["windows-1252", "IBM850"],
            "Näyte: beetaniini, pitoisuus määritetty\nLämpötila 25 °C, päivämäärä",
        ),
        (
            "nl",
            &["windows-1252", "IBM850"],
            "Extinctiecoëfficiënt; temperatuur 25 °C; geïsoleerd",
        ),
        (
            "cs",
            &["windows-1250", "ISO-8859-2"],
            "Vlnová délka;Absorbance\nMěření vzorku při teplotě 25 °C, rozpouštědlo voda, poznámka: čerstvý roztok",
        ),
        (
            "sk",
            &["windows-1250", "ISO-8859-2"],
            "Vlnová dĺžka;Absorbancia\nMeranie vzorky, rozpúšťadlo voda, čas 5 min, poznámka",
        ),
        (
            "pl",
            &["windows-1250", "ISO-8859-2"],
            "Długość fali;Absorbancja\nStężenie próbki, ślepa próba, grubość kuwety, średnia",
        ),
        (
            "hu",
            &["windows-1250", "ISO-8859-2"],
            "Hullámhossz;Abszorbancia\nHőmérséklet 25 °C, idő, oldószer, küvetta, mérő",
        ),
        (
            "tr",
            &["windows-1254"],
            "Dalga boyu;Soğurma\nSıcaklık 25 °C, süre, çözücü, örnek, geçirgenlik, ışık yolu",
        ),
        (
            "ru",
            &["windows-1251", "KOI8-R", "IBM866"],
            "Длина волны, нм;Оптическая плотность\nОбразец: раствор бетанина, температура 25, кювета 1 см\nДАТА ИЗМЕРЕНИЯ",
        ),
        (
            "uk",
            &["windows-1251", "KOI8-U"],
            "Довжина хвилі, нм;Оптична густина\nЗразок: розчин бетаніну, температура, кювета, примітка: свіжий",
        ),
        (
            "el",
            &["windows-1253", "ISO-8859-7"],
            "Μήκος κύματος;Απορρόφηση\nΔείγμα: διάλυμα, θερμοκρασία 25, χρόνος, σχόλια",
        ),
        (
            "zh-cn",
            &["gb18030"],
            "波长(nm),吸光度\n样品:甜菜红素溶液,温度25,操作员测试,日期",
        ),
        (
            "zh-tw",
            &["Big5"],
            "波長(nm),吸光度\n樣品:甜菜紅素溶液,溫度25,備註:新鮮配製",
        ),
        (
            "ja",
            &["Shift_JIS", "EUC-JP"],
            "波長(nm),吸光度\n試料:ベタニン溶液,温度25,測定者,コメント:新しい溶液です",
        ),
        (
            "table",
            &["IBM850"],
            "┌─────┬─────┐\n│ 400 │ 0.1 │\n│ 410 │ 0.2 │\n└─────┴─────┘",
        ),
        (
            "table-ru",
            &["IBM866"],
            "┌─────┬─────┐\n│ нм  │  A  │\n│ 410 │ 0.2 │\n└─────┴─────┘",
        ),
    ];

    #[test]
    fn texts_are_read_in_their_encoding() {
        let mut wrong = Vec::new();
        for (language, encodings, text) in TEXTS {
            for &name in encodings {
                let bytes = encoded(text, name).unwrap_or_else(|| panic!("{language} in {name}"));
                let (guessed, decoded) = guess(&bytes);
                // Two encodings that give the same text are as good as one another.
                if decoded != text {
                    wrong.push(format!("{language} in {name} as {guessed}: {decoded}"));
                }
            }
        }
        assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    }

    #[test]
    fn single_lines_of_the_trade_are_read_in_their_encoding() {
        let lines: [(&[&str], &[&str]); 10] = [
            (
                &["windows-1252"],
                &[
                    "Temp: 25 °C",
                    "c = 5 µM",
                    "5 µmol/L",
                    "Küvette",
                    "Température",
                    "1 cm²",
                    "±0.01",
                    "à 405 nm",
                    "naïve",
                    "Größe",
                    "400 – 700 nm",
                    "Proben von Frau Ö.",
                    "« 25 °C »",
                    "año",
                    "prøve 1",
                    "0,5 µg/mL ± 0,01",
                    "1·10³",
                    "Ångström",
                    "ÅÄÖ",
                    "lösning på 5 °C",
                    "400¦0.105",
                    "0.12\u{A0}AU",
                    "Ö",
                    "Wavelength (nm)\u{A0}\u{A0}Absorbance",
                    "lamp on for … minutes",
                    "¹ after filtering ² diluted twice",
                    "½ h",
                    "tea «Apricot»",
                    "5 µl Enzym – Kontrolle",
                    "½ verdünnt",
                    "Señal ¿error?",
                ],
            ),
            (
                &["macintosh"],
                &["Temp: 25 °C", "c = 5 µM", "Küvette", "Température", "Größe"],
            ),
            (
                &["IBM850"],
                &["Temp: 25 °C", "c = 5 µM", "Küvette", "Température", "Größe"],
            ),
            (
                &["windows-1250", "ISO-8859-2"],
                &[
                    "Měření",
                    "Długość fali",
                    "Idő",
                    "Hőmérséklet",
                    "Stężenie",
                    "Průměr",
                    "čas (s)",
                    "vzorka: čaj",
                ],
            ),
            (&["windows-1254"], &["Sıcaklık", "Soğurma", "Numune adı"]),
            (
                &["windows-1251", "KOI8-R", "IBM866"],
                &[
                    "Длина волны",
                    "нм",
                    "Время, с",
                    "Температура 25 °С",
                    "ДЛИНА ВОЛНЫ",
                    "Образец",
                    "мин",
                    "раствор",
                ],
            ),
            (&["windows-1253"], &["Μήκος κύματος", "Χρόνος (s)", "ΔΕΙΓΜΑ"]),
            (&["gb18030"], &["波长", "吸光度", "时间(分)", "样品1"]),
            (&["Big5"], &["波長", "吸光度", "樣品1", "備註"]),
            (&["Shift_JIS", "EUC-JP"], &["波長", "吸光度", "時間", "サンプル"]),
        ];
        let mut wrong = Vec::new();
        for (encodings, lines) in lines {
            for name in encodings {
                for line in lines {
                    let Some(bytes) = encoded(line, name) else {
                        continue;
                    };
                    let (guessed, decoded) = guess(&bytes);
                    if decoded != *line {
                        wrong.push(format!("`{line}` in {name} as {guessed}: `{decoded}`"));
                    }
                }
            }
        }
        assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    }

    #[test]
    fn no_guess_changes_a_digit() {
        let table = "\n400.5;0,123\t-1.5E-03 | +7 % \"x\" [1] {2}\n";
        for (language, encodings, text) in TEXTS {
            for name in encodings {
                let bytes = encoded(&format!("{text}{table}"), name).expect("it is of the encoding");
                let decoded = guess(&bytes).1;
                assert!(decoded.ends_with(table), "{language} in {name}: {decoded}");
            }
        }
    }

    proptest::proptest! {
        /// Whatever stands beyond ASCII in them, lines of ASCII stay as they are.
        #[test]
        fn lines_of_ascii_stay(odd in proptest::collection::vec(0x80_u8..=0xFF, 1..40)) {
            let mut bytes = odd;
            bytes.extend_from_slice(b"\n405.0;0.123\n");
            let decoded = guess(&bytes).1;
            proptest::prop_assert!(decoded.ends_with("\n405.0;0.123\n"));
        }
    }

    #[test]
    fn page_850_is_whole() {
        let all: Vec<u8> = (128..=255).collect();
        assert_eq!(code_page_850(&all).chars().count(), 128);
        assert!(!code_page_850(&all).contains('\u{FFFD}'));
    }

    #[test]
    fn seven_bit_japanese_is_read() {
        let (bytes, _, bad) = encoding_rs::ISO_2022_JP.encode("波長(nm),吸光度\n405,0.1\n");
        assert!(!bad);
        assert_eq!(iso_2022_jp(&bytes).as_deref(), Some("波長(nm),吸光度\n405,0.1\n"));
        assert_eq!(iso_2022_jp(b"\x1B[31m405\x1B[0m"), None);
    }
}
