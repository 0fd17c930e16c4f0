//! Readings listed under the names of their samples with a mark in front, one below the other.

use curvary_record::{Alternative, Code, Diagnostic, Label, Place, Question};

use super::super::join::form_of;
use super::super::number::{Cell, Style, cell};
use super::super::surroundings::{names_light, names_wavelength};
use super::ends_in_measure;
use crate::slice::lines_with_ends;

/// A line that holds a name, a sign and a reading.
#[derive(Clone)]
struct ListedReading {
    sign: &'static str,
    /// The byte at which the sign stands.
    at: usize,
    /// None where something says that there is no reading.
    decimals: Option<usize>,
    /// Where the name begins, behind a word such as `at` that is none of it.
    from: usize,
}

/// A text with tabs in place of the signs between names and their readings.
pub(super) struct ListedReadings {
    pub(super) text: String,
    /// The line of the first of them, and how many there are.
    first: usize,
    count: usize,
    /// Whether the names tell that they are of samples.
    of_samples: bool,
}

impl ListedReadings {
    fn place(&self) -> Place {
        Place::line(self.first)
    }

    pub(super) fn remark(&self) -> Diagnostic {
        Diagnostic::note(
            Code::new("readings-behind-names"),
            format!(
                "{} lines of a name, a sign and a number were read as a list of readings",
                self.count
            ),
        )
        .at(self.place(), "the first of them")
    }

    /// `Gain factor: 1.25` is as good a line as `mill pond: 1.25`: of names that are in no list nothing is known.
    pub(super) fn question(&self) -> Option<Question> {
        let reading = |(assume, says): (&str, &str)| Alternative {
            assume: assume.to_owned(),
            says: says.to_owned(),
        };
        (!self.of_samples).then(|| Question {
            code: Code::new("is-it-a-measurement"),
            message: "names with a number behind each: nothing tells that these are readings of samples"
                .to_owned(),
            readings: vec![
                reading(("measurement=yes", "they are readings, one of each name")),
                reading(("measurement=no", "they are settings or results: nothing is read")),
            ],
            labels: vec![Label {
                place: self.place(),
                text: "the first of them".to_owned(),
            }],
        })
    }
}

/// Whether names are plainly those of samples: all of one form with figures, `sample 3411`, `sample 3412`, or a blank among them.
fn are_samples<'n>(names: impl Iterator<Item = &'n str> + Clone) -> bool {
    let form = |name: &str| form_of(&name.to_lowercase());
    let forms: std::collections::BTreeSet<String> = names.clone().map(form).collect();
    names.clone().any(|name| crate::words::is_blank(name.trim()))
        || forms.len() == 1 && forms.iter().all(|form| form.contains('0'))
}

/// What leads from a name to its reading.
const SIGNS: [&str; 5] = ["->", "=>", "→", ":", "="];

/// The text with tabs in place of the signs between names and their readings, `sample 3411: 0.424`, `blank = 0.018`, where three
/// lines or more that follow one another are so, all readings have as many decimals, and light is spoken of. Keys whose values
/// are conditions, results, and lines beside a table of numbers are none.
pub(super) fn without_marks_of_keys(text: &str) -> Option<ListedReadings> {
    const FEWEST: usize = 3;
    const LONGEST: usize = 1 << 16;
    /// So many lines of numbers are a table, whose results the list may be.
    const TABLE: usize = 3;
    if text.len() > LONGEST || !begins_sign(text.as_bytes()) {
        return None;
    }
    // In most texts no line is built so, which shows before any word of them is looked up.
    let may_be =
        |line: &str| sign_in(line.trim_end()).is_some_and(|sign| sign.value_in(line).decimals.is_some());
    if !lines_with_signs(text).any(may_be) {
        return None;
    }
    let is_header = |line: &str| SIGNS.iter().any(|sign| names_list(line, sign));
    if !names_wavelength(text) && !text.lines().any(is_header) {
        return None;
    }
    let spoken = names_light(text);
    let lettered = are_lettered(text);
    let plain = |line: &&str| listed(line, false, (spoken, lettered)).filter(|one| one.decimals.is_some());
    lines_with_ends(text).find_map(|line| plain(&line))?;
    let lines: Vec<&str> = lines_with_ends(text).collect();
    let mut found: Vec<Option<ListedReading>> = lines.iter().map(plain).collect();
    let first = found.iter().flatten().next()?.clone();
    let is_place = |line: &str, one: &ListedReading| one.from > 0 && is_at(line[one.from..one.at].trim());
    let at_places = lines
        .iter()
        .zip(&found)
        .find_map(|(line, found)| found.as_ref().map(|one| is_place(line, one)))
        .unwrap_or(false);
    let of_kind = |one: &ListedReading| (one.sign, one.decimals, one.from > 0);
    let alike = found.iter().flatten().all(|one| of_kind(one) == of_kind(&first));
    // `Minze = over` behind a line of the list is of it.
    for place in 1..lines.len() {
        if found[place].is_none() && found[place - 1].is_some() {
            let of_list = |one: &ListedReading| (one.sign, one.from > 0) == (first.sign, first.from > 0);
            let goes_on = lines.get(place + 1).is_some_and(|line| plain(line).is_some());
            found[place] = listed(lines[place], goes_on, (spoken, lettered)).filter(of_list);
        }
    }
    let longest = found.split(Option::is_none).map(<[_]>::len).max().unwrap_or(0);
    let is_row = |line: &&str| {
        let mut words = line.split([' ', '\t', ';', ',']).filter(|word| !word.is_empty());
        let number = |word: &str| word.starts_with(|c: char| c.is_ascii_digit());
        words.next().is_some_and(number) && words.next().is_some_and(number)
    };
    let rows = lines
        .iter()
        .zip(&found)
        .filter(|(line, found)| found.is_none() && is_row(line))
        .count();
    if !alike || longest < FEWEST || rows >= TABLE {
        return None;
    }
    let header = found
        .iter()
        .position(Option::is_some)
        .and_then(|at| at.checked_sub(1))
        .filter(|&at| names_list(lines[at], first.sign));
    let mut names = Vec::new();
    let mut place = None;
    let mut blanked = String::with_capacity(text.len());
    for (number, (line, found)) in lines.into_iter().zip(found).enumerate() {
        match found {
            Some(ListedReading { at, from, sign, .. }) => {
                place.get_or_insert(number + 1);
                names.push(&line[from..at]);
                blanked.extend(std::iter::repeat_n(' ', from));
                blanked.push_str(&line[from..at]);
                // Every byte keeps its place.
                blanked.push('\t');
                blanked.extend(std::iter::repeat_n(' ', sign.len() - 1));
                blanked.push_str(&line[at + sign.len()..]);
            }
            None if header == Some(number) => {
                let at = line.find(first.sign)?;
                blanked.push_str(&line[..at]);
                blanked.push('\t');
                blanked.extend(std::iter::repeat_n(' ', first.sign.len() - 1));
                blanked.push_str(&line[at + first.sign.len()..]);
            }
            None => blanked.push_str(line),
        }
    }
    Some(ListedReadings {
        text: blanked,
        first: place?,
        count: names.len(),
        // What it was read at is said in front of each: `at 400 nm: 0.077`.
        of_samples: at_places || header.is_some() || are_samples(names.into_iter()),
    })
}

/// Whether readings stand behind the letters `A`, `B`, `C` and so on, line by line.
fn are_lettered(text: &str) -> bool {
    const FEWEST: usize = 3;
    let letter = |line: &str| {
        let found = sign_in(line.trim_end())?;
        let name = line[..found.at].trim();
        let reading = found.value_in(line.trim_end()).decimals.is_some();
        let first = name.chars().next().filter(|c| c.is_ascii_uppercase())?;
        (reading && name.len() == 1).then_some(first)
    };
    let letters: Vec<char> = text.lines().filter_map(letter).collect();
    letters.len() >= FEWEST && letters.iter().copied().zip('A'..).all(|(one, next)| one == next)
}

/// The lines of a text in which such a sign may begin, and perhaps others.
fn lines_with_signs(text: &str) -> impl Iterator<Item = &str> {
    let bytes = text.as_bytes();
    // Arrows and dashes are rare.
    let all = memchr::memchr(0xE2, bytes).is_some();
    let mut at = 0;
    std::iter::from_fn(move || {
        let rest = &bytes[at..];
        let sign = if all {
            (!rest.is_empty()).then_some(0)
        } else {
            memchr::memchr3(b':', b'=', b'>', rest)
        }?;
        let start = at + memchr::memrchr(b'\n', &rest[..sign]).map_or(0, |end| end + 1);
        at += memchr::memchr(b'\n', &rest[sign..]).map_or(rest.len(), |end| sign + end + 1);
        Some(&text[start..at])
    })
}

/// Whether a line is the header of such a list, `Sample : Absorbance` above `tea : 0.346`.
fn names_list(line: &str, sign: &str) -> bool {
    let Some((of_names, of_numbers)) = line.split_once(sign) else {
        return false;
    };
    let (of_names, of_numbers) = (of_names.trim(), of_numbers.trim());
    let quantity = |header: &str| crate::column_header::read_column_header(header).quantity;
    let samples = crate::words::field_of(of_names) == Some("sample")
        || quantity(of_names).is_some_and(|of| of.as_str() == "sample");
    samples && quantity(of_numbers).is_some_and(|of| of.is_of_light())
}

/// Whether a sign that leads from a name to its reading may begin in some bytes: arrows and dashes begin with the last of these.
fn begins_sign(bytes: &[u8]) -> bool {
    memchr::memchr3(b':', b'=', b'>', bytes).is_some() || memchr::memchr(0xE2, bytes).is_some()
}

/// The sign in a line that may lead from a name to its reading.
#[derive(Clone, Copy)]
struct ListSign {
    at: usize,
    sign: &'static str,
}

/// What stands behind such a sign.
struct ListedValue<'a> {
    value: &'a str,
    /// What stands behind the number, `A` in `0,412 A`.
    symbol: &'a str,
    /// The decimals of the value, where it may be a reading.
    decimals: Option<usize>,
}

/// The last sign in a line that may lead from a name to its reading.
fn sign_in(line: &str) -> Option<ListSign> {
    // Most lines have none, which shows at once.
    if !begins_sign(line.as_bytes()) {
        return None;
    }
    // A dash between blanks leads to a reading as well: `river — 0,214`.
    let dash = || {
        [("—", " — "), ("–", " – ")]
            .into_iter()
            .find_map(|(sign, apart)| Some((line.rfind(apart)? + 1, sign)))
    };
    let (at, sign) = SIGNS
        .iter()
        .filter_map(|sign| Some((line.rfind(*sign)?, *sign)))
        .max_by_key(|(at, sign)| (at + sign.len(), sign.len()))
        .or_else(dash)?;
    Some(ListSign { at, sign })
}

impl ListSign {
    /// What stands behind it in its line.
    fn value_in(self, line: &str) -> ListedValue<'_> {
        let value = line[self.at + self.sign.len()..].trim();
        // `göl -> 0,412 A`: the symbol behind the number says that light was read.
        let (value, symbol) = value
            .split_once(' ')
            .filter(|(number, _)| number.starts_with(|c: char| c.is_ascii_digit() || c == '-'))
            .map_or((value, ""), |(number, rest)| (number, rest.trim()));
        let digits = value.strip_prefix('-').unwrap_or(value);
        let figures = |part: &str| !part.is_empty() && part.bytes().all(|byte| byte.is_ascii_digit());
        let decimals = digits.split_once(['.', ',']).and_then(|(whole, decimals)| {
            let reading =
                whole.len() == 1 && figures(whole) && whole < "5" && figures(decimals) && decimals.len() >= 2;
            reading.then_some(decimals.len())
        });
        ListedValue {
            value,
            symbol,
            decimals,
        }
    }
}

/// The line of a name, a sign and a reading, or of what says that there is none where it may be `missing`. Light is `spoken` of
/// elsewhere, or the reading has its symbol behind it.
///
/// Where names are `lettered`, `A` is the first of them and no symbol.
fn listed(line: &str, missing: bool, (spoken, lettered): (bool, bool)) -> Option<ListedReading> {
    /// In characters, as keys are at most.
    const LONGEST_NAME: usize = 48;
    let line = line.trim_end();
    let found = sign_in(line)?;
    let (at, sign) = (found.at, found.sign);
    let ListedValue {
        value,
        symbol,
        decimals,
    } = found.value_in(line);
    let by_symbol = || {
        let head = crate::column_header::read_column_header(symbol);
        head.quantity.is_some_and(|quantity| quantity.is_of_light()) && head.held.is_empty()
            || crate::words::quantity_of(symbol).is_some_and(|quantity| quantity.is_of_light())
    };
    if !(symbol.is_empty() && spoken || !symbol.is_empty() && by_symbol()) {
        return None;
    }
    let bullet = line[..at].trim_start().strip_prefix("- ");
    let name = bullet.unwrap_or(&line[..at]).trim();
    let figures = |part: &str| !part.is_empty() && part.bytes().all(|byte| byte.is_ascii_digit());
    let none = || {
        let says = cell(value, Style::POINT);
        let known = crate::preamble::is_known(name);
        !known && (says == Cell::Beyond || missing && says == Cell::Missing)
    };
    if decimals.is_none() && !none() {
        return None;
    }
    // `at 400 nm: 0.077`: what it was read at, and no name.
    let place = name
        .split_once(' ')
        .filter(|(word, place)| crate::words::is(crate::words::WordList::At, word) && is_at(place));
    // `1:10`: how the sample was diluted.
    let diluted = name
        .split_once(':')
        .is_some_and(|(one, other)| one == "1" && figures(other.trim()));
    let named = name.chars().count() <= LONGEST_NAME
        && (diluted
            || name.starts_with(char::is_alphabetic)
                && !name.contains([':', '=', '\t', ';', '|', '\'', '"']))
        && !crate::words::is_statistics(name)
        && !ends_in_measure(name)
        && (lettered && name.len() == 1 || !is_key_of_number(name));
    (named || place.is_some()).then(|| ListedReading {
        sign,
        at,
        decimals,
        from: place
            .map(|(_, place)| place)
            .or_else(|| bullet.map(|_| name))
            .map_or(0, |name| crate::slice::offset_in(line, name)),
    })
}

/// Whether a text is a number with a unit that something is held at, and nothing else: `400 nm`.
fn is_at(text: &str) -> bool {
    let head = crate::column_header::read_column_header(text);
    let held = |held: &curvary_record::Coordinate| held.quantity != curvary_record::Quantity::UNKNOWN;
    head.label.is_none() && head.quantity.is_none() && head.held.iter().any(held)
}

/// Whether a key is of a condition or a date, whose value is no reading.
fn is_key_of_number(name: &str) -> bool {
    use curvary_record::{ValueKind, known_field};
    let numeric =
        |field: &str| known_field(field).is_some_and(|known| !matches!(known.kind, ValueKind::Text));
    if crate::words::is_blank(name) {
        return false;
    }
    if is_at(name) {
        return true;
    }
    crate::words::field_of(name).is_some_and(numeric)
        || crate::words::fields_if_fitting(name)
            .iter()
            .any(|field| numeric(field))
        || crate::words::quantity_of(name).is_some()
}
