//! The heads of columns and axes: what a column measures, in which unit, and what is held along it.
//!
//! A head is cut into pieces (at brackets, commas, dashes), each piece is understood alone, and the pieces are put
//! together. What is not understood is the label. Nothing is guessed: `T` is temperature or transmittance and says
//! so, and a bare number is a held coordinate of unknown quantity.

use std::cell::RefCell;
use std::collections::HashMap;

use curvary_record::unit::{Spelling, spelled};
use curvary_record::{Coordinate, Quantity, Unit};

use crate::words::{fold, quantity_of};

/// What a head says.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Head {
    /// What the column measures, where the head says so without doubt.
    pub quantity: Option<Quantity>,
    /// What it may measure, likeliest first, where the head leaves it open (`T`, `%`).
    pub quantities_possible: Vec<Quantity>,
    /// The unit, where the head says so without doubt.
    pub unit: Option<Unit>,
    /// The units it may be in, likeliest first, where a spelling means several (`NM`).
    pub units_possible: Vec<Unit>,
    /// Coordinates that stay the same along the column (`A405`, `0.5 min`); of [`Quantity::UNKNOWN`] for a bare number.
    pub held: Vec<Coordinate>,
    /// What is left: the name of a sample, a replicate.
    pub label: Option<String>,
    /// Whether the values are clock times (`mm:ss`).
    pub clock: bool,
    /// Why it was understood so, as a sentence without a full stop.
    pub why: String,
}

impl Head {
    /// Whether the head was understood to say anything but a label.
    #[must_use]
    pub fn says_something(&self) -> bool {
        self.quantity.is_some()
            || self.unit.is_some()
            || self.clock
            || !self.held.is_empty()
            || !self.quantities_possible.is_empty()
            || !self.units_possible.is_empty()
    }
}

/// Longer texts are prose.
const LONGEST: usize = 160;
/// Pieces are taken apart no deeper than this.
const DEEPEST: usize = 6;
/// The wavelengths, in nanometres, that a bare number beside an absorbance may mean (`A405`): the range of
/// UV-visible instruments with some room.
const WAVELENGTHS: std::ops::RangeInclusive<f64> = 185.0..=1100.0;

/// Reads a column head. Never fails; what is not understood is the label.
#[must_use]
pub fn read_head(text: &str) -> Head {
    if text.len() > LONGEST {
        return understand(text);
    }
    // The same heads stand in thousands of files, and taking one apart is dear.
    KNOWN.with_borrow_mut(|known| {
        if let Some(head) = known.get(text) {
            return head.clone();
        }
        if known.len() >= REMEMBERED {
            known.clear();
        }
        let head = understand(text);
        known.insert(text.to_owned(), head.clone());
        head
    })
}

/// So many heads are remembered on each thread.
const REMEMBERED: usize = 2048;

thread_local! {
    static KNOWN: RefCell<HashMap<String, Head>> = RefCell::new(HashMap::new());
}

fn understand(text: &str) -> Head {
    let text = trimmed(text);
    if text.is_empty() {
        return Head {
            why: "the head is empty".to_owned(),
            ..Head::default()
        };
    }
    if text.len() > LONGEST {
        return Head {
            label: Some(text.to_owned()),
            why: "the head is too long to be more than a label".to_owned(),
            ..Head::default()
        };
    }
    // `conc_mg_per_L`, `mg per L`: a quotient in words, for programs that allow no stroke in a name.
    for per in ["_per_", " per "] {
        if let Some((over, under)) = text.split_once(per)
            && !over.is_empty()
            && !under.contains(' ')
            && let Some((_, unit)) = split_unit(&format!("{over}/{under}"))
            && unit.contains('/')
        {
            return understand(&format!("{over}/{under}"));
        }
    }
    if let Some(head) = reckoned(text).or_else(|| absorbed(text)) {
        return head;
    }
    if ends_in_other_unit(text) {
        return Head {
            label: Some(text.to_owned()),
            why: format!("`{text}` ends in a unit that absorbances do not have"),
            ..Head::default()
        };
    }
    if let Some((name @ ("I" | "i"), unit)) = split_unit(text)
        && let Some(ampere) = spelled(unit)
            .units()
            .iter()
            .find(|unit| unit.code().ends_with('A'))
    {
        return Head {
            quantity: Some(Quantity::named("current")),
            unit: Some(ampere.clone()),
            why: format!("`{name}` in amperes is an electric current"),
            ..Head::default()
        };
    }
    let mut parts = Parts::default();
    if let Some(piece) = piece(text, true, 0) {
        parts.add(piece);
    } else {
        for (text, bracketed) in cut(text) {
            match piece(text, bracketed, 0) {
                Some(piece) => parts.add(piece),
                None => parts.label(text),
            }
        }
    }
    parts.into_head(text)
}

/// The power of ten that a head says its numbers are scaled by: 3 for `A x 1000`, `A·10³` and `10^3 A`, -3 for
/// `A (10^-3)` and `A / 10-3`. Whether the numbers were multiplied by it or are still to be, no head says.
pub(crate) fn scale_of(text: &str) -> Option<i32> {
    let mut plain = String::with_capacity(text.len());
    let mut raised = false;
    for sign in trimmed(text).chars() {
        let low = match sign {
            '⁻' => Some('-'),
            '⁺' => Some('+'),
            sign => "⁰¹²³⁴⁵⁶⁷⁸⁹"
                .chars()
                .position(|c| c == sign)
                .and_then(|n| char::from_digit(u32::try_from(n).ok()?, 10)),
        };
        if low.is_some() && !raised {
            plain.push('^');
        }
        raised = low.is_some();
        plain.push(match low.unwrap_or(sign) {
            '−' | '–' => '-',
            '×' | '·' | '⋅' | '∙' => '*',
            sign => sign,
        });
    }
    let plain = plain.replace("**", "^");
    // `(10^-3)`: brackets part the head; what stands in one, or behind a sign, is looked at alone.
    let pieces = plain.split(['(', ')', '[', ']', ',', ';']).map(str::trim);
    pieces.filter(|piece| !piece.is_empty()).find_map(|piece| {
        let behind = ["*", " x ", " x", " X ", "/"].iter().find_map(|mark| {
            let (before, factor) = piece.rsplit_once(mark)?;
            let power = power_of_ten(factor.trim())?;
            // `1/10` is a dilution, and a lone `/ 100` as well.
            let slash = *mark == "/" && !factor.contains(['^', '-']);
            (!slash && !before.trim().ends_with(|c: char| c.is_ascii_digit())).then_some(power)
        });
        let alone = || {
            power_of_ten(piece.trim_start_matches(['*', 'x', ' ']))
                .filter(|_| piece.contains(['^', '*']) || piece.starts_with('x') || piece.starts_with("10-"))
        };
        let before = || {
            let (factor, name) = piece.split_once([' ', '*'])?;
            let name = name.trim_start_matches(['*', ' ']);
            let measured = symbol(name)
                .or_else(|| quantity_of(name).map(|quantity| vec![quantity]))
                .is_some_and(|quantities| quantities.iter().all(Quantity::is_of_light));
            power_of_ten(factor).filter(|_| measured)
        };
        behind.or_else(alone).or_else(before)
    })
}

/// `10`, `1000`, `10^3`, `10-3`, `1e-3`, `1E3`.
fn power_of_ten(text: &str) -> Option<i32> {
    let text = text.trim();
    if let Some(zeros) = text.strip_prefix('1')
        && !zeros.is_empty()
        && zeros.len() <= 6
        && zeros.bytes().all(|b| b == b'0')
    {
        return i32::try_from(zeros.len()).ok();
    }
    let exponent = text
        .strip_prefix("10^")
        .or_else(|| {
            text.strip_prefix("10")
                .filter(|rest| rest.starts_with(['-', '+']))
        })
        .or_else(|| text.strip_prefix("1e"))
        .or_else(|| text.strip_prefix("1E"))?;
    let power: i32 = exponent.trim().trim_start_matches('+').parse().ok()?;
    (1..=12).contains(&power.abs()).then_some(power)
}

/// A logarithm or a derivative, `ln(A500)`, `dA/dλ`, `1st derivative`: what was reckoned from a quantity is another one,
/// and is called as its head calls it. A change per time (`dA/dt`) is a rate and is read as such.
fn reckoned(text: &str) -> Option<Head> {
    let of = logarithm_of(text).or_else(|| (is_derivative(text) || is_complement(text)).then_some(""))?;
    // The `(A)` of `ln(A)` is no unit of a `ln`.
    let parted = split_unit(text)
        .filter(|(name, _)| logarithm_of(name).is_some() || is_derivative(name) || is_complement(name));
    let (name, unit) = parted.map_or((text, None), |(name, unit)| (name, spelled(unit).one().cloned()));
    let quantity = Quantity::named(name.to_lowercase().replace('%', "").replace(" - ", "-"));
    Some(Head {
        unit,
        held: if of.is_empty() {
            Vec::new()
        } else {
            understand(of).held
        },
        why: format!("`{text}` was reckoned from a quantity"),
        quantity: Some(quantity),
        ..Head::default()
    })
}

/// `% absorption`: the share of the light that was absorbed, the absorptance of the IUPAC, and no absorbance.
fn absorbed(text: &str) -> Option<Head> {
    let folded = fold(text);
    let name = folded
        .strip_prefix("% ")
        .or_else(|| folded.strip_suffix(" %"))
        .or_else(|| folded.strip_prefix("percent "))
        .or_else(|| folded.strip_prefix('%'))?;
    let absorbance = name.len() >= 3 && quantity_of(name) == Some(Quantity::ABSORBANCE);
    absorbance.then(|| Head {
        quantity: Some(Quantity::named("absorptance".to_owned())),
        unit: Some(Unit::PERCENT),
        why: format!("`{text}` is a share of the light, in percent"),
        ..Head::default()
    })
}

/// Whether a head begins as one of an absorbance and ends in a unit that those do not have, with a word between:
/// `abs. hum. g/m3`.
pub(crate) fn ends_in_other_unit(text: &str) -> bool {
    let mut words = text.split_whitespace();
    let (Some(first), Some(last), Some(_)) = (words.next(), words.next_back(), words.next()) else {
        return false;
    };
    last.contains('/')
        && quantity_of(first) == Some(Quantity::ABSORBANCE)
        && spelled(last)
            .units()
            .iter()
            .any(|unit| !unit.converts_to(&Unit::ONE))
}

/// Whether a head is of a logarithm, a derivative or a complement of something.
pub(crate) fn is_reckoned(text: &str) -> bool {
    let text = trimmed(text);
    text.len() <= LONGEST && reckoned(text).is_some()
}

/// A name without a factor of ten behind it: the `eps` of `eps x 10-3`. What the factor means is asked elsewhere.
pub(crate) fn without_scale(name: &str) -> &str {
    let name = name.trim();
    for mark in [" x ", " X ", "×", "*", "·", " /", "/"] {
        if let Some((before, behind)) = name.split_once(mark)
            && (behind.trim_start().starts_with("10") || behind.trim_start().starts_with("1e"))
            && scale_of(name).is_some()
        {
            return before.trim();
        }
    }
    name
}

/// Whether a head is of a logarithm or a derivative of what spectrometers measure: never a running axis.
pub(crate) fn is_reckoned_of_light(text: &str) -> bool {
    let text = trimmed(text);
    text.len() <= LONGEST
        && (is_derivative(text)
            || is_complement(text)
            || logarithm_of(text).is_some_and(|of| {
                let head = understand(of);
                head.quantity
                    .iter()
                    .chain(&head.quantities_possible)
                    .any(Quantity::is_of_light)
            }))
}

/// What a logarithm or a root is of: the `A500` of `ln(A500)`, `log A500` or `-lg A500`.
fn logarithm_of(text: &str) -> Option<&str> {
    let bare = text.trim_start_matches(['-', '−', '–']).trim_start();
    let end = bare
        .find(|c: char| !c.is_ascii_alphabetic())
        .unwrap_or(bare.len());
    let (word, rest) = bare.split_at(end);
    let rest = rest.trim_start_matches(['₁', '₀', '_']);
    let rest = rest.strip_prefix("10").unwrap_or(rest);
    let is_log = |word: &str| {
        matches!(
            word,
            "ln" | "Ln" | "LN" | "log" | "Log" | "LOG" | "lg" | "sqrt" | "Sqrt" | "SQRT" | "exp"
        )
    };
    if is_log(word) {
        let of = rest.trim_start();
        let inner = of.trim_matches(['(', ')', '[', ']']).trim();
        // `Log 7` and `log file` are names.
        let said = || {
            let head = understand(inner);
            let other = matches!(crate::words::word(inner), crate::words::Word::Other(_));
            other || head.quantity.is_some() || !head.quantities_possible.is_empty()
        };
        return (!inner.is_empty() && (of.starts_with(['(', '[']) || said())).then_some(inner);
    }
    // `lnA`, `logE`, `lnA500`.
    let of = ["ln", "log", "Ln", "Log"]
        .iter()
        .find_map(|log| bare.strip_prefix(log))
        .filter(|of| of.starts_with(['A', 'E', 'T', 'O']))?;
    let head = understand(of);
    head.quantity
        .as_ref()
        .is_some_and(Quantity::is_of_light)
        .then_some(of)
}

/// `1 - T`, `100 - %T`: what is left of the light.
fn is_complement(text: &str) -> bool {
    ["100", "1"].iter().any(|whole| {
        let rest = text.strip_prefix(whole).map_or("", str::trim_start);
        let of = rest.trim_start_matches(['-', '−', '–']);
        of.len() < rest.len()
            && (matches!(of.trim(), "T" | "R")
                || quantity_of(of)
                    .is_some_and(|q| q == Quantity::TRANSMITTANCE || q == Quantity::REFLECTANCE))
    })
}

/// `dA/dλ`, `d²A/dλ²`, `dA/dT`, `1st derivative of A`.
fn is_derivative(text: &str) -> bool {
    let folded = fold(text);
    let named = folded.split(' ').any(|word| {
        [
            "deriv",
            "ableitung",
            "derivee",
            "afgeleide",
            "pochodna",
            "turev",
            "производн",
            "похідн",
            "παραγωγ",
        ]
        .iter()
        .any(|stem| word.starts_with(stem))
            || ["导数", "導数", "導數", "微分"]
                .iter()
                .any(|stem| word.contains(stem))
    });
    if named {
        return true;
    }
    let squeezed: String = text
        .chars()
        .filter(|c| !c.is_whitespace() && !matches!(c, '²' | '^' | '2' | '(' | ')' | '[' | ']'))
        .collect();
    let differential = |part: &str| -> Option<String> {
        let mut signs = part.chars();
        matches!(signs.next(), Some('d' | 'δ' | 'Δ' | '∆' | '∂')).then(|| signs.collect())
    };
    let Some((over, under)) = squeezed.split_once('/') else {
        return false;
    };
    let (Some(over), Some(under)) = (differential(over), differential(under)) else {
        return false;
    };
    let measured = |name: &str| {
        let letters = name.trim_end_matches(|c: char| c.is_ascii_digit());
        matches!(letters, "A" | "E" | "T" | "D" | "R")
            || quantity_of(letters).is_some_and(|quantity| quantity.is_of_light())
    };
    let end = under
        .find(|c: char| !c.is_alphabetic() && c != '\u{303}')
        .unwrap_or(under.len());
    measured(&over)
        && matches!(
            &under[..end],
            "λ" | "lambda" | "nm" | "wl" | "WL" | "ν" | "ν̃" | "T"
        )
}

/// A name and the text of its unit: `Temp. (°C)`, `Wavelength/nm`, `Zeit in min`, `lambda, nm`, `time_s`.
///
/// The unit's text is one that [`spelled`] knows. A whole that is a unit itself (`ΔA/min`) has no name.
#[must_use]
pub fn split_unit(text: &str) -> Option<(&str, &str)> {
    let text = trimmed(text);
    if text.len() > LONGEST {
        return None;
    }
    let known = |unit: &str| spelled(unit) != Spelling::None;
    // A lone 1 counts something; it is no unit.
    let pair = |name: &'_ str, unit: &'_ str| !name.trim().is_empty() && unit.trim() != "1" && known(unit);
    for (open, close) in [('(', ')'), ('[', ']'), ('<', '>')] {
        if let Some(inner) = text.strip_suffix(close) {
            // The bracket that belongs to the last one: `l/(mol*cm)` may stand inside.
            let at = matching(inner, open, close)?;
            let (name, unit) = (&inner[..at], &inner[at + open.len_utf8()..]);
            return pair(name, unit).then(|| (name.trim(), unit.trim()));
        }
    }
    // `c / µmol/L`: a stroke with blanks parts the name from a unit that has a stroke of its own.
    for link in [" / ", " in ", " en ", " em ", " w ", " i ", " v ", " в "] {
        if let Some((name, unit)) = text.rsplit_once(link)
            && pair(name, unit)
        {
            return Some((name.trim(), unit.trim()));
        }
    }
    for mark in [',', '_', ';'] {
        if let Some((name, unit)) = text.rsplit_once(mark)
            && pair(name, unit)
        {
            return Some((name.trim(), unit.trim()));
        }
    }
    // `std mg/L`: the quotient behind the blank is the unit, and not the litre behind the stroke.
    if let Some((name, unit)) = text.rsplit_once(' ')
        && unit.find('/').is_some_and(|at| at > 0)
        && pair(name, unit)
        && lone_unit(name.trim()).is_none()
    {
        return Some((name.trim(), unit.trim()));
    }
    if let Some((name, unit)) = text.split_once('/')
        && pair(name, unit)
    {
        return Some((name.trim(), unit.trim()));
    }
    let (name, unit) = text.rsplit_once(' ')?;
    // The `A` of `T% sample A` is the sample's, and no ampere; `Sample C` is no temperature. A capital letter apart is a
    // unit only beside a quantity that can have it: `Temp C`.
    let can_have = || {
        let quantities = symbol(name).or_else(|| quantity_of(name).map(|quantity| vec![quantity]));
        let units = spelled(unit);
        quantities
            .unwrap_or_default()
            .iter()
            .any(|quantity| units.units().iter().any(|unit| fits(quantity, unit)))
    };
    let capital = unit.len() == 1 && unit.starts_with(|c: char| c.is_ascii_uppercase());
    let lettered = capital && (name.contains(' ') || !can_have());
    (!lettered && pair(name, unit)).then(|| (name.trim(), unit.trim()))
}

/// The place of the bracket that the end of `inner` (without its last bracket) closes.
fn matching(inner: &str, open: char, close: char) -> Option<usize> {
    let mut depth = 0_usize;
    for (at, sign) in inner.char_indices().rev() {
        if sign == close {
            depth += 1;
        } else if sign == open {
            if depth == 0 {
                return Some(at);
            }
            depth -= 1;
        }
    }
    None
}

fn trimmed(text: &str) -> &str {
    text.trim()
        .trim_matches(|c: char| matches!(c, '"' | '\u{FEFF}' | '“' | '”'))
        .trim()
        .trim_end_matches([':', '=', '*', '†', '‡'])
        .trim_end()
}

/// What one piece of a head says.
#[derive(Clone, Debug)]
enum Piece {
    /// A quantity, or several it may be.
    Quantity(Vec<Quantity>),
    /// A quantity with a unit beside it: both fit.
    Measured(Vec<Quantity>, Vec<Unit>),
    /// A unit alone, with the quantities it may be of.
    Unit(Vec<Unit>),
    /// A held coordinate.
    Held(Coordinate),
    /// Clock times.
    Clock,
    /// Several of these, with what was left between them.
    Several(Vec<Piece>),
    /// A name.
    Label(String),
}

/// Takes one piece apart. `sure` when nothing else stands around it but brackets or commas, so that a mere unit is
/// one. `None` when nothing in it is understood.
fn piece(text: &str, sure: bool, depth: usize) -> Option<Piece> {
    let text = trimmed(text);
    if text.is_empty() || depth > DEEPEST {
        return None;
    }
    if clock(text) {
        return Some(Piece::Clock);
    }
    if let Some(quantities) = symbol(text) {
        return Some(Piece::Quantity(quantities));
    }
    if let Some(found) = rate(text) {
        return Some(found);
    }
    if let Some(quantity) = quantity_of(text) {
        return Some(named(text, quantity));
    }
    if let Some(value) = number(text) {
        return Some(Piece::Held(held(Quantity::UNKNOWN, Unit::ONE, value, text)));
    }
    if let Some(coordinate) = measured(text) {
        return Some(Piece::Held(coordinate));
    }
    if let Some(found) = at_wavelength(text) {
        return Some(found);
    }
    if let Some(found) = assigned(text) {
        return Some(found);
    }
    if sure && let Some(units) = lone_unit(text) {
        return Some(Piece::Unit(units));
    }
    if let Some((name, unit)) = split_unit(text)
        && let Some(found) = with_unit(name, unit, depth)
    {
        return Some(found);
    }
    if let Some(found) = glued(text) {
        return Some(found);
    }
    // `abs-1`, `abs-2`: replicates of one quantity.
    if let Some((name, number)) = text.rsplit_once('-')
        && (1..=2).contains(&number.len())
        && number.bytes().all(|b| b.is_ascii_digit())
        && let Some(quantity) = quantity_of(name).filter(Quantity::is_of_light)
    {
        return Some(Piece::Several(vec![
            named(name, quantity),
            Piece::Label(text.to_owned()),
        ]));
    }
    phrase(text, depth).or_else(|| {
        let spaced = spaced(text)?;
        piece(&spaced, sure, depth + 1)
    })
}

/// Signs of Chinese and Japanese, which are written without blanks between words.
fn is_ideograph(sign: char) -> bool {
    matches!(sign, '\u{3005}' | '\u{3041}'..='\u{30FF}' | '\u{3400}'..='\u{9FFF}')
}

/// The text with blanks between ideographs and Latin letters or digits: `450nm吸光度` is `450nm 吸光度`.
fn spaced(text: &str) -> Option<String> {
    let mut spaced = String::with_capacity(text.len() + 4);
    let mut last = ' ';
    for sign in text.chars() {
        let parted = |one: char, other: char| is_ideograph(one) && other.is_ascii_alphanumeric();
        if parted(last, sign) || parted(sign, last) {
            spaced.push(' ');
        }
        spaced.push(sign);
        last = sign;
    }
    (spaced.len() > text.len()).then_some(spaced)
}

/// A word of a quantity; those that are units too bring the unit along.
fn named(text: &str, quantity: Quantity) -> Piece {
    let units: Vec<Unit> = match fold(text).as_str() {
        "mau" | "mod" | "mabs" => vec![Unit::MILLIABSORBANCE],
        "au" => vec![Unit::ABSORBANCE],
        folded if folded.contains('%') || folded.contains("percent") || folded.contains("pct") => {
            vec![Unit::PERCENT]
        }
        _ => return Piece::Quantity(vec![quantity]),
    };
    Piece::Measured(vec![quantity], units)
}

/// Symbols of one letter, where case matters (IUPAC Green Book, chapter 2, and common practice).
fn symbol(text: &str) -> Option<Vec<Quantity>> {
    Some(match text {
        "t" => vec![Quantity::TIME],
        // The second of each pair is the Cyrillic letter, the third the Greek one.
        "A" | "А" | "Α" | "E" | "Е" | "D" | "A." | "E." => vec![Quantity::ABSORBANCE],
        "T" | "Т" | "Τ" => vec![Quantity::TEMPERATURE, Quantity::TRANSMITTANCE, Quantity::TIME],
        "R" => vec![Quantity::REFLECTANCE],
        "λ" | "Λ" => vec![Quantity::WAVELENGTH],
        "ν" | "ν̃" | "ṽ" | "σ" => vec![Quantity::WAVENUMBER],
        "θ" | "ϑ" => vec![Quantity::TEMPERATURE],
        "c" => vec![Quantity::CONCENTRATION],
        "%" => vec![Quantity::TRANSMITTANCE, Quantity::REFLECTANCE],
        _ => return None,
    })
}

/// Symbols that say something only together with a fitting unit: `S / mM`, `v (µM/min)`.
fn symbol_with_unit(text: &str) -> Option<Vec<Quantity>> {
    Some(match text {
        "S" | "s" | "I" | "C" | "P" | "B" => vec![Quantity::CONCENTRATION],
        "v" | "V" | "k" => vec![Quantity::RATE],
        "W" | "E" => vec![Quantity::ENERGY],
        _ => return None,
    })
}

/// `dA/dt`, `ΔA/min`, `µM/min`, `E/min`: a change per time.
fn rate(text: &str) -> Option<Piece> {
    if let Some(first) = text.split_once('/').map(|(over, _)| over.trim()) {
        let under = text[text.find('/')? + 1..].trim();
        // An absorbance per time is a rate: `A/min`, `E/s`, `Abs/min`.
        let absorbance = symbol(first) == Some(vec![Quantity::ABSORBANCE])
            || quantity_of(first) == Some(Quantity::ABSORBANCE);
        let time = spelled(under)
            .one()
            .cloned()
            .filter(|unit| unit.converts_to(&Unit::SECOND));
        if let Some(time) = time.filter(|_| absorbance) {
            let over = match spelled(first).one() {
                Some(unit) if *unit == Unit::MILLIABSORBANCE => Unit::MILLIABSORBANCE,
                _ => Unit::ABSORBANCE,
            };
            let unit = Unit::ucum(&format!("{over}/{time}")).ok()?;
            return Some(Piece::Measured(vec![Quantity::RATE], vec![unit]));
        }
    }
    None
}

/// Whether a unit is one that a quantity can have.
fn fits(quantity: &Quantity, unit: &Unit) -> bool {
    let like = |code: &str| Unit::ucum(code).is_ok_and(|other| unit.converts_to(&other));
    let pure = like("1");
    match quantity.as_str() {
        "wavelength" => like("nm"),
        "wavenumber" => like("/cm"),
        "energy" => like("eV") || like("kJ/mol"),
        "time" => like("s"),
        "absorbance" => pure && *unit != Unit::PERCENT || like("[arb'U]"),
        "transmittance" | "reflectance" => {
            pure && *unit != Unit::ABSORBANCE && *unit != Unit::MILLIABSORBANCE
        }
        "temperature" => like("K"),
        "concentration" => {
            like("mol/L")
                || like("g/L")
                || like("U/mL")
                || like("[iU]/mL")
                || like("mol/kg")
                || pure && *unit != Unit::ABSORBANCE
        }
        "rate" => [
            "/s", "mol/L/s", "mol/s", "mol/s/g", "g/s", "g/L/s", "U/mL", "[iU]/mL", "[iU]/s",
        ]
        .into_iter()
        .any(like),
        "ph" => like("[pH]"),
        "index" | "sample" | "flag" | "date" => false,
        "time-of-day" => like("s"),
        _ => true,
    }
}

/// The quantities whose usual unit this is.
fn quantities_of(unit: &Unit) -> Vec<Quantity> {
    let like = |code: &str| Unit::ucum(code).is_ok_and(|other| unit.converts_to(&other));
    if *unit == Unit::PERCENT {
        return vec![Quantity::TRANSMITTANCE, Quantity::REFLECTANCE];
    }
    if *unit == Unit::ABSORBANCE || *unit == Unit::MILLIABSORBANCE {
        return vec![Quantity::ABSORBANCE];
    }
    // Millimetres measure cells and rain, not light.
    if like("nm") && unit.to_si(1.0) > 1e-5 {
        return Vec::new();
    }
    // Something per nanometre is a slope of a spectrum.
    if like("/cm") && unit.to_si(1.0) > 1e8 {
        return Vec::new();
    }
    let table = [
        ("nm", Quantity::WAVELENGTH),
        ("/cm", Quantity::WAVENUMBER),
        ("eV", Quantity::ENERGY),
        ("s", Quantity::TIME),
        ("K", Quantity::TEMPERATURE),
        ("mol/L", Quantity::CONCENTRATION),
        ("g/L", Quantity::CONCENTRATION),
        ("[pH]", Quantity::PH),
        ("mol/L/s", Quantity::RATE),
        ("/s", Quantity::RATE),
        ("mol/s/g", Quantity::RATE),
    ];
    table
        .into_iter()
        .find(|(code, _)| like(code))
        .map(|(_, quantity)| vec![quantity])
        .unwrap_or_default()
}

/// A head, or a bracket, that is nothing but a unit. Words of everyday language that are units elsewhere are not.
fn lone_unit(text: &str) -> Option<Vec<Unit>> {
    let units = spelled(text).units().to_vec();
    let everyday = matches!(
        fold(text).as_str(),
        "1" | ""
            | "tag"
            | "day"
            | "dag"
            | "bar"
            | "std"
            | "ora"
            | "hora"
            | "saat"
            | "m"
            | "d"
            | "g"
            | "l"
            | "u"
            | "n"
            | "w"
    ) || text == "-"
        || text.chars().count() == 1
            && !matches!(
                text,
                "s" | "h" | "M" | "K" | "C" | "S" | "%" | "Å" | "℃" | "秒" | "分"
            );
    (!everyday && !units.is_empty()).then_some(units)
}

/// A name beside a unit: both must fit.
fn with_unit(name: &str, unit: &str, depth: usize) -> Option<Piece> {
    let units = spelled(unit).units().to_vec();
    let inner = symbol_with_unit(name)
        .filter(|quantities| units.iter().any(|unit| quantities.iter().any(|q| fits(q, unit))))
        .map(Piece::Quantity)
        .or_else(|| piece(name, false, depth + 1));
    match inner {
        Some(Piece::Quantity(quantities)) => Some(together(quantities, units)),
        Some(Piece::Several(mut pieces)) => {
            let last = pieces
                .iter()
                .position(|piece| matches!(piece, Piece::Quantity(_)))?;
            let Piece::Quantity(quantities) = pieces[last].clone() else {
                return None;
            };
            let joined = together(quantities, units);
            matches!(joined, Piece::Measured(..)).then(|| {
                pieces[last] = joined;
                Piece::Several(pieces)
            })
        }
        // `A (AU)` twice over: the unit said again.
        Some(Piece::Measured(quantities, own)) if units.iter().any(|unit| own.contains(unit)) => {
            Some(Piece::Measured(quantities, own))
        }
        // `gallic acid mg/L`, as `gallic acid (mg/L)`: the unit is one of concentrations alone, the rest is a name.
        // `A 0.02 mol/L` is an absorbance at that concentration: a name has neither numbers nor words of the trade.
        None if unit.contains('/')
            && name.split_whitespace().all(|word| {
                word.starts_with(char::is_alphabetic) && symbol(word).is_none() && quantity_of(word).is_none()
            })
            && !units.is_empty()
            && units
                .iter()
                .all(|unit| quantities_of(unit) == [Quantity::CONCENTRATION]) =>
        {
            Some(Piece::Several(vec![
                Piece::Label(name.to_owned()),
                Piece::Unit(units),
            ]))
        }
        _ => None,
    }
}

/// Quantities and units that fit each other; a contradiction keeps the unit and says that the quantity is open.
fn together(quantities: Vec<Quantity>, units: Vec<Unit>) -> Piece {
    let fitting: Vec<Quantity> = quantities
        .iter()
        .filter(|quantity| units.iter().any(|unit| fits(quantity, unit)))
        .cloned()
        .collect();
    if fitting.is_empty() {
        return Piece::Several(vec![Piece::Quantity(quantities), Piece::Unit(units)]);
    }
    let units = units
        .into_iter()
        .filter(|unit| fitting.iter().any(|quantity| fits(quantity, unit)))
        .collect();
    Piece::Measured(fitting, units)
}

/// A number in a head: digits with at most one decimal sign, point or comma.
fn number(text: &str) -> Option<f64> {
    let digits = text.strip_prefix(['+', '-', '−']).unwrap_or(text);
    let well_formed = digits.starts_with(|c: char| c.is_ascii_digit())
        && digits.ends_with(|c: char| c.is_ascii_digit())
        && digits
            .bytes()
            .all(|b| b.is_ascii_digit() || matches!(b, b'.' | b','))
        && digits.matches(['.', ',']).count() <= 1
        && digits.len() <= 12;
    // `1,234` may be a thousand and more: not a number that a head may be read by.
    let grouped = digits
        .split_once(',')
        .is_some_and(|(before, behind)| behind.len() == 3 && before.len() <= 3 && !before.starts_with('0'));
    if !well_formed || grouped {
        return None;
    }
    let sign = if digits.len() == text.len() || text.starts_with('+') {
        ""
    } else {
        "-"
    };
    format!("{sign}{}", digits.replace(',', ".")).parse().ok()
}

fn held(quantity: Quantity, unit: Unit, value: f64, raw: &str) -> Coordinate {
    Coordinate {
        raw: Some(raw.to_owned()),
        ..Coordinate::new(quantity, unit, value)
    }
}

/// A number with its unit, `405 nm` or `0,5min`, as a held coordinate; the unit must tell the quantity.
fn measured(text: &str) -> Option<Coordinate> {
    let end = text
        .char_indices()
        .find(|&(at, c)| {
            !(c.is_ascii_digit() || matches!(c, '.' | ',') || at == 0 && matches!(c, '+' | '-' | '−'))
        })
        .map(|(at, _)| at)?;
    let (digits, unit) = (text[..end].trim(), text[end..].trim());
    // `1/cm` is a unit.
    if unit.starts_with('/') {
        return None;
    }
    let value = number(digits)?;
    let spelling = spelled(unit);
    // `5 perc` is five minutes in Hungarian and five percent elsewhere.
    if spelling.units().len() > 1 && spelling.units().contains(&Unit::PERCENT) {
        return None;
    }
    let mut meanings: Vec<(Quantity, Unit)> = Vec::new();
    for unit in spelling.units() {
        for quantity in quantities_of(unit) {
            // A held absorbance or rate is no coordinate, and a percentage may be many things.
            let coordinate = matches!(
                quantity.as_str(),
                "wavelength" | "wavenumber" | "time" | "temperature" | "concentration" | "energy" | "ph"
            );
            if coordinate {
                meanings.push((quantity, unit.clone()));
            }
        }
    }
    match meanings.as_slice() {
        [(quantity, unit)] => Some(held(quantity.clone(), unit.clone(), value, text)),
        // `340 NM` is a wavelength, `5 NM` may be a concentration: by the range of the instrument, else unknown.
        [(quantity, unit), ..] if *quantity == Quantity::WAVELENGTH && *unit == Unit::NANOMETRE => {
            WAVELENGTHS
                .contains(&value)
                .then(|| held(quantity.clone(), unit.clone(), value, text))
        }
        _ => None,
    }
}

/// `A405`, `OD600`, `Abs405nm`, `Abs_405`, `A 405 nm`, `ΔA340`, `405nm Abs`: an absorbance at a wavelength.
fn at_wavelength(text: &str) -> Option<Piece> {
    let start = text.find(|c: char| c.is_ascii_digit())?;
    let (word, rest) = text.split_at(start);
    let word = word.trim_end_matches([' ', '_', '@', '-', '.']).trim_end();
    let of_light = |name: &str| {
        symbol(name)
            .or_else(|| quantity_of(name).map(|quantity| vec![quantity]))
            .filter(|quantities| matches!(quantities.as_slice(), [one] if one.is_of_light()))
    };
    let quantities = of_light(word)?;
    let end = rest
        .find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | ',')))
        .unwrap_or(rest.len());
    let (digits, unit) = (rest[..end].trim_end_matches(['.', ',']), rest[end..].trim());
    let value = number(digits)?;
    let bare = unit.is_empty() || matches!(unit, "_" | ".");
    let whole = digits.split(['.', ',']).next().unwrap_or("").len();
    if !(bare || spelled(unit).units().first() == Some(&Unit::NANOMETRE))
        || !WAVELENGTHS.contains(&value)
        || whole < 3
        || digits.starts_with('0')
    {
        return None;
    }
    let quantity = match named(word, quantities[0].clone()) {
        Piece::Measured(_, units) => Piece::Measured(quantities, units),
        _ => Piece::Quantity(quantities),
    };
    Some(Piece::Several(vec![
        quantity,
        Piece::Held(held(Quantity::WAVELENGTH, Unit::NANOMETRE, value, rest)),
    ]))
}

/// `t=30 s`, `T = 37 °C`, `λ=405 nm`, `pH 7`, `pH=7,4`, `[S] = 5 µM`: a held coordinate under its name.
fn assigned(text: &str) -> Option<Piece> {
    if let Some(rest) = text.strip_prefix("pH").or_else(|| text.strip_prefix("PH")) {
        let value = number(rest.trim_start_matches([' ', '=', ':']).trim())?;
        return (0.0..=14.0)
            .contains(&value)
            .then(|| Piece::Held(held(Quantity::PH, Unit::PH, value, text)));
    }
    let (name, value) = text.split_once('=')?;
    let (name, value) = (name.trim(), value.trim());
    let quantities = symbol(name)
        .or_else(|| symbol_with_unit(name))
        .or_else(|| quantity_of(name).map(|quantity| vec![quantity]))?;
    if let Some(coordinate) = measured(value) {
        return quantities
            .contains(&coordinate.quantity)
            .then_some(Piece::Held(coordinate));
    }
    // Without a unit only the quantity is known, and the unit is asked for.
    let value = number(value)?;
    match quantities.as_slice() {
        [one] if matches!(one.as_str(), "ph" | "index") => None,
        _ => Some(Piece::Held(held(Quantity::UNKNOWN, Unit::ONE, value, text))),
    }
}

/// `mm:ss`, `hh:mm:ss`, `min:s`, `h:min:s`, `mm:ss.f`: the form of clock times.
fn clock(text: &str) -> bool {
    let lower = text.to_lowercase();
    let parts: Vec<&str> = lower.split([':', '.', ',']).collect();
    lower.contains(':')
        && parts.len() <= 4
        && parts.iter().all(|part| {
            matches!(
                part.trim(),
                "h" | "hh"
                    | "m"
                    | "mm"
                    | "min"
                    | "s"
                    | "ss"
                    | "sec"
                    | "f"
                    | "ff"
                    | "fff"
                    | "hhh"
                    | "sss"
                    | "0"
                    | "00"
            )
        })
}

/// `Wavelengthnm`, `Timesec`, `Zeitmin`: a word of a quantity with its unit glued on.
fn glued(text: &str) -> Option<Piece> {
    // Words of two signs are whole words where each sign is one.
    let whole = |name: &str| name.chars().count() >= if name.contains(is_ideograph) { 2 } else { 3 };
    for unit in ["cm-1", "nm", "sec", "min", "AU", "µM", "uM", "mM", "°C", "℃"] {
        if let Some(name) = text.strip_suffix(unit) {
            // With its unit `T` is a temperature and nothing else: `T°C`.
            let quantity = if name.trim() == "T" && unit == "°C" {
                Quantity::TEMPERATURE
            } else {
                quantity_of(name).filter(|_| whole(name))?
            };
            let units = spelled(unit).units().to_vec();
            return match together(vec![quantity], units) {
                found @ Piece::Measured(..) => Some(found),
                _ => None,
            };
        }
    }
    None
}

/// Words between a quantity and its wavelength or unit.
fn is_link(word: &str) -> bool {
    matches!(
        fold(word).as_str(),
        "at" | "bei"
            | "a"
            | "bij"
            | "en"
            | "em"
            | "przy"
            | "vid"
            | "ved"
            | "pri"
            | "при"
            | "στα"
            | "of"
            | "in"
            | "von"
            | "der"
            | "de"
            | "des"
            | "du"
            | "della"
            | "do"
            | "da"
            | ""
            | "l"
            | "longueur"
    ) || word == "@"
}

/// A phrase of several words: `Absorbance at 405 nm`, `405 nm betanin`, `betanin pH 7`, `Time s`, `Probe 1 Abs`.
fn phrase(text: &str, depth: usize) -> Option<Piece> {
    // Brackets, commas and dashes part a head; its pieces come here one by one.
    if depth > DEEPEST
        || text.contains(['(', ')', '[', ']', '{', '}', ';', '|', '–', '—'])
        || text.contains(", ")
    {
        return None;
    }
    if let Some((before, behind)) = text.split_once('@') {
        let spaced = format!("{} at {}", before.trim(), behind.trim());
        return phrase(&spaced, depth + 1).filter(|_| depth < DEEPEST);
    }
    // Underscores are blanks where there are no others.
    if !text.contains(' ') && text.contains('_') {
        let spaced = text.replace('_', " ");
        return piece(&spaced, false, depth + 1);
    }
    let words: Vec<&str> = text.split(' ').filter(|word| !word.is_empty()).collect();
    if words.len() < 2 || words.len() > 12 {
        return None;
    }
    // `t x 60 s` tells a scale, and nothing that is held.
    let scaled = |pair: &[&str]| matches!(pair, ["x" | "X" | "×" | "*" | "·", factor] if factor.starts_with(|c: char| c.is_ascii_digit()));
    if words.windows(2).any(scaled) {
        return None;
    }
    let mut found: Vec<Piece> = Vec::new();
    let mut left: Vec<&str> = Vec::new();
    let mut at = 0;
    let mut coordinates = 0;
    while at < words.len() {
        let two = (at + 1 < words.len()).then(|| format!("{} {}", words[at], words[at + 1]));
        let coordinate = two
            .as_deref()
            .and_then(|two| coordinate(two).map(|piece| (piece, 2)))
            .or_else(|| coordinate(words[at]).map(|piece| (piece, 1)));
        if let Some((piece, length)) = coordinate {
            found.push(piece);
            coordinates += 1;
            at += length;
        } else {
            left.push(words[at]);
            at += 1;
        }
    }
    // Of what is left, a quantity stands at the front or at the end.
    let words_left = left.clone();
    // `sample A` ends with a name, however much `a` is a link.
    let letter = |word: &str| word.len() == 1 && word.starts_with(|c: char| c.is_ascii_uppercase());
    // Links stand in front of coordinates; without one, `chlorophyll a` ends with a name as well.
    while coordinates > 0 && left.last().is_some_and(|word| is_link(word) && !letter(word)) && left.len() > 1
    {
        left.pop();
    }
    if left.is_empty() {
        return Some(Piece::Several(found)).filter(|_| coordinates > 0);
    }
    let whole = left.join(" ");
    // `10 µM inhibitor`, `time 30 s`, `25 °C temperature`: the word names what is held, and not the column.
    let named_held = quantity_of(&whole).filter(|quantity| {
        found
            .iter()
            .any(|piece| matches!(piece, Piece::Held(held) if held.quantity == *quantity))
    });
    if let Some(quantity) = named_held {
        // Which substance is held is worth a label; that a time is one is said by its unit.
        if quantity == Quantity::CONCENTRATION {
            found.push(Piece::Label(whole));
        }
        return Some(Piece::Several(found));
    }
    let alone = symbol(&whole)
        .map(Piece::Quantity)
        .or_else(|| quantity_of(&whole).map(|quantity| named(&whole, quantity)))
        .or_else(|| {
            (left.len() < words.len())
                .then(|| piece(&whole, false, depth + 1))
                .flatten()
        });
    if let Some(piece) = alone {
        found.insert(0, piece);
        return Some(Piece::Several(found));
    }
    // `E 340 sample 1` is `E340 sample 1`.
    if let [first, second, rest @ ..] = words.as_slice()
        && !rest.is_empty()
        && second.len() == 3
        && symbol(first).is_some()
        && let Some(found) = at_wavelength(&format!("{first}{second}"))
    {
        return Some(Piece::Several(vec![found, Piece::Label(rest.join(" "))]));
    }
    // `WT OD600`: a name before the reading at a wavelength.
    if let [names @ .., last] = words.as_slice()
        && !names.is_empty()
        && names
            .iter()
            .all(|name| quantity_of(name).is_none() && symbol(name).is_none())
        && let Some(found) = at_wavelength(last)
    {
        return Some(Piece::Several(vec![found, Piece::Label(names.join(" "))]));
    }
    // `A595 b`: a reading at a wavelength with its replicate.
    if let [first, rest @ ..] = words.as_slice()
        && !rest.is_empty()
        && let Some(found) = at_wavelength(first)
    {
        return Some(Piece::Several(vec![found, Piece::Label(rest.join(" "))]));
    }
    for split in 1..left.len() {
        let (front, back) = (
            left[..left.len() - split].join(" "),
            left[left.len() - split..].join(" "),
        );
        // The longest quantity in front (`Abs. betanin`), then the longest at the end (`betanin Abs`).
        for (name, rest) in [(&front, &back), (&back, &front)] {
            if let Some(quantity) = quantity_of(name).filter(|q| q.is_of_light() && name.chars().count() > 1)
            {
                found.insert(0, named(name, quantity));
                found.push(Piece::Label(rest.clone()));
                return Some(Piece::Several(found));
            }
        }
    }
    (coordinates > 0).then(|| {
        found.push(Piece::Label(words_left.join(" ")));
        Piece::Several(found)
    })
}

/// A held coordinate that is sure even among other words.
fn coordinate(text: &str) -> Option<Piece> {
    measured(text).map(Piece::Held).or_else(|| {
        assigned(text).filter(|piece| matches!(piece, Piece::Held(c) if c.quantity != Quantity::UNKNOWN))
    })
}

/// The pieces of a head: what stands in brackets, and what stands between them, cut at commas, semicolons and dashes.
fn cut(text: &str) -> Vec<(&str, bool)> {
    let mut pieces = Vec::new();
    let mut depth = 0_usize;
    let mut start = 0;
    for (at, sign) in text.char_indices() {
        match sign {
            '(' | '[' | '{' => {
                if depth == 0 {
                    outside(&text[start..at], &mut pieces);
                    start = at + 1;
                }
                depth += 1;
            }
            ')' | ']' | '}' if depth > 0 => {
                depth -= 1;
                if depth == 0 {
                    pieces.push((&text[start..at], true));
                    start = at + 1;
                }
            }
            _ => {}
        }
    }
    if depth == 0 {
        outside(&text[start..], &mut pieces);
    } else {
        // An open bracket that never closes: its inside is a piece all the same.
        pieces.push((&text[start..], true));
    }
    pieces.retain(|(text, _)| !text.trim().is_empty());
    pieces
}

fn outside<'a>(text: &'a str, pieces: &mut Vec<(&'a str, bool)>) {
    let mut start = 0;
    let bytes = text.as_bytes();
    for (at, sign) in text.char_indices() {
        let spaced = at > 0 && bytes[at - 1] == b' ' && text[at + sign.len_utf8()..].starts_with(' ');
        let next_digit = text[at + sign.len_utf8()..].starts_with(|c: char| c.is_ascii_digit());
        let cuts = match sign {
            ';' | '|' | '–' | '—' | '\n' | '\t' => true,
            '-' => spaced,
            // A comma between digits is a decimal sign.
            ',' => !(next_digit && text[..at].ends_with(|c: char| c.is_ascii_digit())),
            _ => false,
        };
        if cuts {
            pieces.push((&text[start..at], true));
            start = at + sign.len_utf8();
        }
    }
    pieces.push((&text[start..], start > 0));
}

#[derive(Default)]
struct Parts {
    quantities: Vec<Vec<Quantity>>,
    units: Vec<Vec<Unit>>,
    held: Vec<Coordinate>,
    labels: Vec<String>,
    clock: bool,
}

impl Parts {
    fn label(&mut self, text: &str) {
        let text = text.trim();
        // `x 10` behind a quantity is a factor, and names no sample.
        let factor = text.starts_with(|c: char| !c.is_alphabetic() || c == 'x') && scale_of(text).is_some();
        if !text.is_empty() && !factor {
            self.labels.push(text.to_owned());
        }
    }

    fn add(&mut self, piece: Piece) {
        match piece {
            Piece::Quantity(quantities) => self.quantities.push(quantities),
            Piece::Measured(quantities, units) => {
                self.quantities.push(quantities);
                self.units.push(units);
            }
            Piece::Unit(units) => self.units.push(units),
            Piece::Held(coordinate) => self.held.push(coordinate),
            Piece::Clock => self.clock = true,
            Piece::Several(pieces) => pieces.into_iter().for_each(|piece| self.add(piece)),
            Piece::Label(text) => self.label(&text),
        }
    }

    fn into_head(mut self, text: &str) -> Head {
        let mut why = Vec::new();
        // `Probe 1 (Abs)`: a sample's number is a label, and the quantity is the other.
        if self.quantities.len() > 1 {
            self.quantities
                .retain(|quantities| !matches!(quantities.as_slice(), [one] if matches!(one.as_str(), "sample" | "index" | "flag")));
        }
        self.quantities.dedup();
        // A bracket with a bare number beside an absorbance: `Abs (405)`.
        let of_light =
            matches!(self.quantities.as_slice(), [one] if matches!(one.as_slice(), [q] if q.is_of_light()));
        for coordinate in &mut self.held {
            if of_light && coordinate.quantity == Quantity::UNKNOWN && WAVELENGTHS.contains(&coordinate.value)
            {
                coordinate.quantity = Quantity::WAVELENGTH;
                coordinate.unit = Unit::NANOMETRE;
            }
        }
        // `Position (nm)`: what counts or names has no unit, so the word is a name and the unit tells the quantity.
        let nameless = |quantity: &Quantity| matches!(quantity.as_str(), "index" | "sample" | "flag");
        if !self.units.is_empty()
            && matches!(self.quantities.as_slice(), [one] if one.len() == 1 && one.iter().all(nameless))
        {
            self.quantities.clear();
        }
        let mut quantities = match self.quantities.len() {
            0 => Vec::new(),
            1 => self.quantities.remove(0),
            _ => {
                why.push("it names several quantities".to_owned());
                let mut all: Vec<Quantity> = Vec::new();
                for quantity in self.quantities.into_iter().flatten() {
                    if !all.contains(&quantity) {
                        all.push(quantity);
                    }
                }
                all
            }
        };
        let mut units: Vec<Unit> = match self.units.len() {
            0 => Vec::new(),
            1 => self.units.remove(0),
            _ if self.units.iter().all(|units| *units == self.units[0]) => self.units.remove(0),
            _ => {
                why.push("it names several units".to_owned());
                self.units.into_iter().flatten().collect()
            }
        };
        if quantities.is_empty() && !units.is_empty() {
            for quantity in units.iter().flat_map(quantities_of) {
                if !quantities.contains(&quantity) {
                    quantities.push(quantity);
                }
            }
            // `Zorp (A)`: absorbance, or a current in amperes; `Zorp (a.u.)`: absorbance, or anything in arbitrary units.
            let doubled = units.len() > 1
                && units
                    .iter()
                    .any(|unit| matches!(unit.code(), "A" | "mA" | "[arb'U]"));
            if doubled && !self.labels.is_empty() {
                quantities.push(Quantity::UNKNOWN);
            }
        } else if !units.is_empty() {
            let fitting: Vec<Quantity> = quantities
                .iter()
                .filter(|quantity| units.iter().any(|unit| fits(quantity, unit)))
                .cloned()
                .collect();
            if fitting.is_empty() {
                let names: Vec<&str> = quantities.iter().map(Quantity::as_str).collect();
                why.push(format!("`{}` is no unit of {}", units[0], names.join(" or ")));
                quantities = units.iter().flat_map(quantities_of).chain(quantities).collect();
                quantities.dedup();
                if quantities.len() < 2 {
                    // Nothing that the unit is of: the quantity stays open.
                    quantities.push(Quantity::UNKNOWN);
                }
            } else {
                quantities = fitting;
                units.retain(|unit| quantities.iter().any(|quantity| fits(quantity, unit)));
            }
        }
        if self.clock {
            let time = quantities.is_empty() || quantities.contains(&Quantity::TIME);
            if time {
                quantities = vec![Quantity::TIME];
                why.push("its values are clock times".to_owned());
            }
        }
        let mut head = Head {
            clock: self.clock,
            held: self.held,
            label: (!self.labels.is_empty()).then(|| self.labels.join(", ")),
            ..Head::default()
        };
        match quantities.len() {
            1 => head.quantity = quantities.pop(),
            _ => head.quantities_possible = quantities,
        }
        match units.len() {
            1 => head.unit = units.pop(),
            _ => head.units_possible = units,
        }
        head.why = reason(text, &head, why);
        head
    }
}

/// Why a head was understood so, in words.
fn reason(text: &str, head: &Head, mut more: Vec<String>) -> String {
    let mut says: Vec<String> = Vec::new();
    if let Some(quantity) = &head.quantity {
        says.push(quantity.to_string());
    }
    if !head.quantities_possible.is_empty() {
        let names: Vec<&str> = head.quantities_possible.iter().map(Quantity::as_str).collect();
        says.push(format!("perhaps {}", names.join(" or ")));
    }
    if let Some(unit) = &head.unit {
        says.push(format!("in {unit}"));
    }
    if !head.units_possible.is_empty() {
        let names: Vec<&str> = head.units_possible.iter().map(Unit::code).collect();
        says.push(format!("in {}", names.join(" or ")));
    }
    for coordinate in &head.held {
        if coordinate.quantity == Quantity::UNKNOWN {
            says.push(format!("at {} of what it does not say", coordinate.value));
        } else {
            says.push(format!(
                "at {} {} ({})",
                coordinate.value, coordinate.unit, coordinate.quantity
            ));
        }
    }
    if says.is_empty() && more.is_empty() {
        return format!("the head `{text}` is a name");
    }
    let mut sentence = format!("the head `{text}` says {}", says.join(", "));
    if says.is_empty() {
        sentence = format!("the head `{text}` is not clear");
    }
    if !more.is_empty() {
        sentence.push_str(": ");
        sentence.push_str(&std::mem::take(&mut more).join("; "));
    }
    sentence
}

#[cfg(test)]
mod tests;
