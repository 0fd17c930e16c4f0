//! The heads of columns and axes: what a column measures, in which unit, and what is held along it.
//!
//! A head is cut into pieces (at brackets, commas, dashes), each piece is understood alone, and the pieces are put
//! together. What is not understood is the label. Nothing is guessed: `T` is temperature or transmittance and says
//! so, and a bare number is a held coordinate of unknown quantity.

mod computed;
mod derived;
mod levels;
mod phrase;
mod piece;
mod scale;
mod substance;

use std::cell::RefCell;

use curvary_record::unit::{Spelling, spelled};
use curvary_record::{Coordinate, Quantity, Unit};
use hashbrown::HashMap;

pub(crate) use self::computed::computed_by_line;
use self::derived::{absorbed, derived, reciprocal_of_light};
pub(crate) use self::derived::{is_derived, is_derived_of_light};
use self::phrase::{is_link, phrase};
use self::piece::{HeaderPiece, fits, lone_unit, piece, quantities_of, symbol};
pub(crate) use self::scale::{has_unknown_scale, scale_of, without_scale};
use self::substance::without_substance;
use crate::light::IN_PASSING;
use crate::words::{WordList, fold, quantity_of, words_of};

/// What a head says.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ColumnHeader {
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
}

impl ColumnHeader {
    /// Whether it names what photometers measure of light, without doubt.
    pub(crate) fn is_of_light(&self) -> bool {
        self.quantity.as_ref().is_some_and(Quantity::is_of_light)
    }
}

/// Longer texts are prose.
const LONGEST: usize = 160;

/// Pieces are taken apart no deeper than this.
const DEEPEST: usize = 6;

/// Reads a column head. Never fails; what is not understood is the label.
#[must_use]
pub fn read_column_header(text: &str) -> ColumnHeader {
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

/// So many heads are remembered on each thread: more than the widest usual tables have, whose heads are asked for several
/// times one after the other.
const REMEMBERED: usize = 1 << 14;

thread_local! {
    static KNOWN: RefCell<HashMap<String, ColumnHeader>> = RefCell::new(HashMap::new());
}

/// A header; one in capitals whose unit is not known so with its unit in small letters.
fn understand(text: &str) -> ColumnHeader {
    if let Some(difference) = difference_of_two(text) {
        return difference;
    }
    let head = understand_as_written(text);
    if head.quantity.is_some() && head.unit.is_some() {
        return head;
    }
    let again = unit_in_small_letters(text).map(|small| understand_as_written(&small));
    again
        .filter(|again| again.quantity.is_some() && again.unit.is_some())
        .unwrap_or(head)
}

/// `A(sample)-A(blank)`: the difference of two readings of one quantity, each with a name in brackets, is a curve of that quantity
/// under the whole as its name, held at what both are held at.
fn difference_of_two(text: &str) -> Option<ColumnHeader> {
    let text = trimmed(text);
    let at = [")-", ") - ", ")−", ") − "]
        .iter()
        .find_map(|sign| text.find(sign))?;
    let (one, other) = text.split_at(at + 1);
    let other = other.trim_start_matches([' ', '-', '−']);
    let of = |part: &str| {
        let (name, inner) = part.strip_suffix(')')?.split_once('(')?;
        let named = inner.chars().any(char::is_alphabetic) && !inner.contains(['(', ')']);
        let head = understand_as_written(name);
        let light = head.quantity.as_ref().is_some_and(Quantity::is_of_light);
        (named && spelled(inner) == Spelling::None && light && head.unit.is_none() && head.label.is_none())
            .then_some(head)
    };
    let (one, other) = (of(one)?, of(other)?);
    (one.quantity == other.quantity && one.held == other.held).then(|| ColumnHeader {
        label: Some(text.to_owned()),
        ..one
    })
}

/// `ВРЕМЯ (С)` as `ВРЕМЯ (с)`: a header that is written in capitals throughout has its unit in capitals as well.
fn unit_in_small_letters(text: &str) -> Option<String> {
    const SHORTEST: usize = 3;
    let text = trimmed(text);
    let (name, unit) = text.strip_suffix([')', ']'])?.rsplit_once(['(', '['])?;
    let letters = name.chars().filter(|c| c.is_alphabetic()).count();
    let in_capitals = letters >= SHORTEST && !text.chars().any(char::is_lowercase);
    (in_capitals && quantity_of(name.trim()).is_some()).then(|| format!("{}({})", name, unit.to_lowercase()))
}

fn understand_as_written(text: &str) -> ColumnHeader {
    let text = trimmed(text);
    if text.is_empty() {
        return ColumnHeader::default();
    }
    if text.len() > LONGEST {
        return ColumnHeader {
            label: Some(text.to_owned()),
            ..ColumnHeader::default()
        };
    }
    if let Some(coordinate) = coordinate_alone(text) {
        let mut parts = HeaderParts::default();
        parts.add(HeaderPiece::Held(coordinate));
        return parts.into_head();
    }
    if let Some(head) = levels::of_several_amounts(text) {
        return head;
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
    // `at nm`: a small word in front of nothing but a unit.
    if let Some((word, unit)) = text.split_once(' ')
        && phrase::is_link(word)
        && word.len() > 1
        && word.chars().all(char::is_lowercase)
        && !unit.contains(' ')
        && unit.chars().count() > 1
        && spelled(unit) != Spelling::None
    {
        return understand(unit);
    }
    if let Some((plain, substance)) = without_substance(text) {
        let mut head = understand(&plain);
        if head.unit.is_some() {
            let labels = head.label.into_iter().chain([substance.to_owned()]);
            head.label = Some(labels.collect::<Vec<_>>().join(", "));
            return head;
        }
    }
    if let Some(plain) = quotient_without_stroke(text).or_else(|| without_points(text)) {
        return understand(&plain);
    }
    // `T = I/I0`, `A = -log T`: a symbol and how it is computed.
    if let Some((name, rule)) = text.split_once('=')
        && symbol(name.trim()).is_some()
        && (rule.contains("log") || rule.trim_start().starts_with('I') && rule.contains('/'))
    {
        return understand(name);
    }
    if let Some(head) = in_a_cell(text)
        .or_else(|| reciprocal(text))
        .or_else(|| brackets_over_unit(text))
    {
        return head;
    }
    if let Some(head) = slope_in_its_unit(text)
        .or_else(|| temperature_of_a_thing(text))
        .or_else(|| concentration_in_brackets(text))
    {
        return head;
    }
    if let Some(head) = derived(text)
        .or_else(|| reciprocal_of_light(text))
        .or_else(|| absorbed(text))
        .or_else(|| computed::beside_blank(text))
    {
        return head;
    }
    if ends_in_other_unit(text) {
        return ColumnHeader {
            label: Some(text.to_owned()),
            ..ColumnHeader::default()
        };
    }
    if let Some(head) = either(text).or_else(|| symbol_of_no_absorbance(text)) {
        return head;
    }
    if let Some(head) = numbered_word(text) {
        return head;
    }
    let mut parts = HeaderParts::default();
    if is_bare_exponent(text) && quantity_of(text).is_none() && !is_of_axis(text) {
        // `S-1` alone is a name as likely as a unit.
        parts.label(text);
    } else if let Some(piece) = piece(text, true, 0) {
        parts.add(piece);
    } else if let Some(head) = over_a_unit(text) {
        return head;
    } else {
        let in_brackets = text.ends_with([')', ']', '}']);
        for (place, (text, bracketed)) in cut(text).into_iter().enumerate() {
            // `nm (leaf)`: a unit of more than one letter in front of a bracket.
            let bracketed =
                bracketed || place == 0 && in_brackets && matches!(text.trim(), "nm" | "cm-1" | "sec");
            let found = match parts.labels.as_slice() {
                // Behind a word that says nothing `(A)` may be amperes as well.
                [name] if bracketed && in_brackets && is_unknown_word(name) && text.trim() == "A" => {
                    as_unit(text.trim())
                }
                // `T [%] red`: the percent sign in brackets is the unit.
                _ if bracketed && text.trim() == "%" => as_unit(text.trim()),
                _ => piece(text, bracketed, 0),
            };
            match found {
                Some(piece) => parts.add(piece),
                None => parts.label(text),
            }
        }
    }
    // A name is kept as it is written, brackets and all: `Cell 1 (blank)`.
    if parts.is_name_alone() && !text.starts_with(['(', '[', '{']) {
        return ColumnHeader {
            label: Some(text.to_owned()),
            ..ColumnHeader::default()
        };
    }
    parts.into_head()
}

/// Whether what a header names is divided by a time: `ΔA (AU/min)`, `c (mM/s)` are rates.
fn is_rate_of(quantities: &[Quantity], units: &[Unit]) -> bool {
    let like = |unit: &Unit, code: &str| Unit::ucum(code).is_ok_and(|like| unit.converts_to(&like));
    let [unit] = units else { return false };
    match quantities {
        // Absorbance is a number: of `1/min` nothing tells whether a rate constant is meant.
        [one] if *one == Quantity::ABSORBANCE => unit.code().contains("{AU}") && like(unit, "{AU}/s"),
        [one] if *one == Quantity::CONCENTRATION => like(unit, "mol/L/s") || like(unit, "g/L/s"),
        _ => false,
    }
}

/// Whether a header is letters, a hyphen and a digit or two, and as such a unit with an exponent: `s-1`, `S-1`, `Std-1`. Behind a
/// name or in brackets it is a unit; alone it may as well be a numbered name.
pub(crate) fn is_bare_exponent(text: &str) -> bool {
    let text = text.trim();
    text.split_once('-').is_some_and(|(letters, digits)| {
        letters.starts_with(char::is_alphabetic)
            && letters.chars().all(char::is_alphabetic)
            && (1..=2).contains(&digits.len())
            && digits.bytes().all(|byte| byte.is_ascii_digit())
            && spelled(text) != Spelling::None
    })
}

/// Whether a unit is that of an axis of photometry: `cm-1`.
fn is_of_axis(text: &str) -> bool {
    spelled(text).one() == Some(&Unit::PER_CENTIMETRE)
}

/// Whether a text is a value and no unit, though its number is one: `A (1 min)` was measured after a minute.
pub(crate) fn is_one_of_a_unit(text: &str) -> bool {
    text.trim()
        .strip_prefix("1 ")
        .is_some_and(|rest| rest.trim_start().starts_with(char::is_alphabetic))
}

/// `Abs1`, `Ext2`: the word of what was measured, and which of several it is. A number that may be a wavelength says more,
/// and a lone letter with a number may be a name.
fn numbered_word(text: &str) -> Option<ColumnHeader> {
    const SHORTEST: usize = 3;
    let word = text.trim_end_matches(|c: char| c.is_ascii_digit());
    let number = &text[word.len()..];
    let numbered = (1..=2).contains(&number.len())
        && word.chars().count() >= SHORTEST
        && word.chars().all(char::is_alphabetic);
    (numbered && quantity_of(word)?.is_of_light()).then(|| understand(&format!("{word} {number}")))
}

/// `NADH / mM`, `c(NADH) / mM`: a quantity divided by its unit (ISO 80000-1, 7.1.4), under a name that is not known here.
/// Only units that tell of one quantity count: behind a stroke may stand anything.
fn over_a_unit(text: &str) -> Option<ColumnHeader> {
    let (name, unit) = text.rsplit_once(" / ")?;
    let (name, unit) = (name.trim(), unit.trim());
    let telling = unit.chars().count() >= 2
        && spelled(unit).one().is_some_and(|unit| {
            let molar = Unit::ucum("mol/L").is_ok_and(|molar| unit.converts_to(&molar));
            molar || matches!(unit.code(), "nm" | "min" | "ms")
        });
    (telling && !name.is_empty() && !name.ends_with(['/', '*', '·']))
        .then(|| understand(&format!("{name} ({unit})")))
}

/// `m(C)/mg`, `ΔA(mAU)/min`: brackets with a stroke and a unit behind. What stands in them is a unit of which the one behind is the divisor;
/// behind the symbol of an amount it is the substance, where it spells an element (IUPAC Green Book, 2.10.1).
fn brackets_over_unit(text: &str) -> Option<ColumnHeader> {
    /// Symbols of amounts of a substance.
    const AMOUNTS: [&str; 8] = ["m", "n", "c", "V", "w", "ρ", "γ", "β"];
    /// Elements whose symbols are those of units as well.
    const ELEMENTS: [&str; 8] = ["C", "F", "H", "K", "N", "S", "V", "W"];
    /// Units by which readings are divided: of times, lengths, volumes, masses and amounts.
    const DIVISORS: [&str; 5] = ["s", "m", "L", "g", "mol"];
    let (name, unit) = text.rsplit_once(")/").or_else(|| text.rsplit_once(") / "))?;
    let (symbol, inner) = name.split_once('(')?;
    let (symbol, inner) = (symbol.trim(), inner.trim());
    let unit = unit.trim().trim_start_matches('(').trim_end_matches(')');
    let behind = spelled(unit).one()?.clone();
    if symbol.is_empty() || spelled(inner) == Spelling::None {
        return None;
    }
    if AMOUNTS.contains(&symbol) && ELEMENTS.contains(&inner) {
        return Some(understand(&format!("{symbol} {inner} ({unit})")));
    }
    let divides = |code: &&str| Unit::ucum(code).is_ok_and(|like| behind.converts_to(&like));
    let quotient = format!("{inner}/{unit}");
    (DIVISORS.iter().any(divides) && spelled(&quotient) != Spelling::None)
        .then(|| understand(&format!("{symbol} ({quotient})")))
}

/// `E254 (1 cm)`: light absorbed in a cell of that length, which is held. The length is no unit.
fn in_a_cell(text: &str) -> Option<ColumnHeader> {
    let (name, length) = text.strip_suffix([')', ']'])?.rsplit_once(['(', '['])?;
    let number = length
        .trim()
        .strip_suffix("cm")
        .or_else(|| length.trim().strip_suffix("mm"))?;
    let unit = Unit::ucum(&length.trim()[number.len()..]).ok()?;
    let value = piece::number(number.trim())?;
    let mut head = understand(name);
    let of_light = head.quantity.as_ref().is_some_and(Quantity::is_of_light);
    of_light.then(|| {
        head.held.push(Coordinate {
            raw: Some(length.trim().to_owned()),
            ..Coordinate::new(Quantity::named("path-length"), unit, value)
        });
        head
    })
}

/// `1/[S] (1/mM)`, `1/T (1/K)`: the reciprocal of a quantity, under its own name. The reciprocal of a length of light is a
/// wavenumber and known as such.
fn reciprocal(text: &str) -> Option<ColumnHeader> {
    // `1/S`, and not the `1/s` of a rate.
    if let Some("S" | "[S]" | "v" | "V" | "v0") = text.strip_prefix("1/").map(str::trim) {
        return Some(ColumnHeader {
            quantity: Some(Quantity::named(format!(
                "1/[{}]",
                text[2..].trim().trim_matches(['[', ']']).to_lowercase()
            ))),
            ..ColumnHeader::default()
        });
    }
    let (name, unit) = split_unit(text)?;
    let of = name
        .trim()
        .strip_prefix('1')?
        .trim_start()
        .strip_prefix('/')?
        .trim();
    let unit = spelled(unit).one()?.clone();
    let wavenumber = unit.converts_to(&Unit::PER_CENTIMETRE);
    (of.starts_with(|c: char| c.is_alphabetic() || c == '[') && !wavenumber).then(|| ColumnHeader {
        quantity: Some(Quantity::named(name.trim().to_lowercase())),
        unit: Some(unit),
        ..ColumnHeader::default()
    })
}

/// `absorbance.ctrl` as `absorbance ctrl`: points are blanks in a language whose names have no other sign.
fn without_points(text: &str) -> Option<String> {
    let (light, name) = text.split_once('.')?;
    let parted = !text.contains([' ', '_'])
        && light.len() >= 2
        && quantity_of(light).is_some_and(|quantity| quantity.is_of_light())
        && phrase::is_plain_name(name);
    parted.then(|| format!("{light} {name}"))
}

/// `rate_umol_L_min`, `flux_umol_m2_s`: a name and an amount in a volume or an area and a time.
fn quotient_of_three(text: &str) -> Option<String> {
    if text.contains(['/', '(', '[', '^']) {
        return None;
    }
    let mark = if text.contains('_') { '_' } else { ' ' };
    let (rest, time) = text.rsplit_once(mark)?;
    let (rest, size) = rest.rsplit_once(mark)?;
    let (name, amount) = rest.rsplit_once(mark)?;
    let like = |unit: &str, codes: &[&str]| {
        spelled(unit).one().is_some_and(|unit| {
            codes
                .iter()
                .any(|code| Unit::ucum(code).is_ok_and(|like| unit.converts_to(&like)))
        })
    };
    let quotient = format!("{amount}/{size}/{time}");
    (!name.trim().is_empty()
        && like(time, &["s"])
        && like(size, &["L", "m2", "m3", "g"])
        && like(amount, &["mol", "g"])
        && spelled(&quotient) != Spelling::None)
        .then(|| format!("{name} ({quotient})"))
}

/// `[GdnHCl] (M)`: a substance in brackets is its concentration (IUPAC, Quantities, Units and Symbols), where the unit is of one.
fn concentration_in_brackets(text: &str) -> Option<ColumnHeader> {
    let (name, unit) = split_unit(text)?;
    let of = name.strip_prefix('[')?.strip_suffix(']')?;
    let unit = spelled(unit)
        .units()
        .iter()
        .find(|unit| fits(&Quantity::CONCENTRATION, unit))?
        .clone();
    let plain = of.chars().count() >= 2 && !of.contains(['[', ']']) && lone_unit(of).is_none();
    plain.then(|| ColumnHeader {
        quantity: Some(Quantity::CONCENTRATION),
        unit: Some(unit),
        label: Some(of.trim().to_owned()),
        ..ColumnHeader::default()
    })
}

/// `Temp cuve A [°C]`: degrees under a word for a temperature in front of others are of that, whatever the others mean alone.
fn temperature_of_a_thing(text: &str) -> Option<ColumnHeader> {
    let (name, unit) = split_unit(text)?;
    let (first, of) = name.split_once(' ')?;
    let degrees = spelled(unit).one() == Some(&Unit::CELSIUS) && unit.contains(['°', 'º']);
    (degrees && quantity_of(first) == Some(Quantity::TEMPERATURE)).then(|| ColumnHeader {
        quantity: Some(Quantity::TEMPERATURE),
        unit: Some(Unit::CELSIUS),
        label: Some(of.trim().to_owned()),
        ..ColumnHeader::default()
    })
}

/// `slope (AU/min)`: a change of absorbance in a time under a word of statistics is a rate, whatever the word.
fn slope_in_its_unit(text: &str) -> Option<ColumnHeader> {
    let (name, unit) = split_unit(text)?;
    let of_absorbance = |unit: &&Unit| {
        unit.code().contains("{AU}") && Unit::ucum("{AU}/s").is_ok_and(|like| unit.converts_to(&like))
    };
    let unit = spelled(unit).units().iter().find(of_absorbance)?.clone();
    crate::words::is_statistics(name).then(|| ColumnHeader {
        quantity: Some(Quantity::RATE),
        unit: Some(unit),
        label: Some(name.to_owned()),
        ..ColumnHeader::default()
    })
}

/// `DO_mg_L`, `conductivity_uS_cm`, `conc.mg.mL`: a name and the two units of a quotient, whose stroke is left out. The head with it.
fn quotient_without_stroke(text: &str) -> Option<String> {
    if let Some(quotient) = quotient_of_three(text) {
        return Some(quotient);
    }
    // Programs that allow neither blanks nor brackets in a name put a point for each of them: `conc..mg.mL.`.
    let dotted: String;
    let text = if text.contains([' ', '_']) || !text.contains('.') {
        text
    } else {
        let parts: Vec<&str> = text.split('.').filter(|part| !part.is_empty()).collect();
        dotted = parts.join("_");
        &dotted
    };
    let mark = if text.contains('_') { '_' } else { ' ' };
    let (rest, under) = text.rsplit_once(mark)?;
    let (name, over) = rest.rsplit_once(mark)?;
    if name.trim().is_empty() || text.contains(['/', '(', '[', '^']) {
        return None;
    }
    // Letters alone, and two of them above the stroke: the `M` of `abs_M_1` names a sample as likely.
    let letters = |unit: &str| {
        unit.chars()
            .all(|c| c.is_alphabetic() || matches!(c, 'µ' | '2' | '3'))
    };
    let below = spelled(under).one().is_some_and(|unit| {
        ["L", "m", "m2", "m3", "g"]
            .iter()
            .any(|code| Unit::ucum(code).is_ok_and(|like| unit.converts_to(&like)))
    });
    let quotient = format!("{over}/{under}");
    (over.chars().count() >= 2
        && letters(over)
        && letters(under)
        && below
        && spelled(over)
            .one()
            .is_some_and(|unit| !unit.converts_to(&Unit::SECOND))
        && spelled(&quotient) != Spelling::None)
        .then(|| format!("{name}{mark}{quotient}"))
}

/// A number and the letters of its unit and nothing else, `300.5 nm` or `40s`: what all others of a wide table's heads
/// are, found without trying what such a head cannot be.
fn coordinate_alone(text: &str) -> Option<Coordinate> {
    let bytes = text.as_bytes();
    let digits = bytes
        .iter()
        .take_while(|b| b.is_ascii_digit() || matches!(b, b'.' | b','))
        .count();
    let unit = bytes.get(digits..)?.trim_ascii_start();
    let alone = bytes[0].is_ascii_digit() && !unit.is_empty() && unit.iter().all(u8::is_ascii_alphabetic);
    if !alone || quantity_of(text).is_some() {
        return None;
    }
    piece::measured(text)
}

/// Whether a name is one word that is in no list, and no number of a sample.
fn is_unknown_word(name: &str) -> bool {
    name.chars().count() >= 4
        && name.chars().all(char::is_alphabetic)
        && crate::words::word(name) == crate::words::HeaderWord::Unknown
        && crate::words::field_of(name).is_none()
}

/// A sign that is a symbol as well as a unit, taken for the unit.
fn as_unit(text: &str) -> Option<HeaderPiece> {
    let units = spelled(text).units().to_vec();
    (!units.is_empty()).then_some(HeaderPiece::Unit(units))
}

/// `Abs / %T`, `A or T`: a head that names two quantities of light and leaves open which.
fn either(text: &str) -> Option<ColumnHeader> {
    let of_light = |side: &str| -> Option<Quantity> {
        let side = side.trim();
        if matches!(side, "T" | "%T") {
            return Some(Quantity::TRANSMITTANCE);
        }
        let one = match symbol(side).as_deref() {
            Some([one]) => Some(one.clone()),
            Some(_) => None,
            None => quantity_of(side),
        };
        one.filter(Quantity::is_of_light)
    };
    let words = || {
        words_of(WordList::Or)
            .iter()
            .filter(|word| text.contains(word.as_str()))
    };
    let sides = text
        .split_once(['/', '|'])
        .or_else(|| words().find_map(|word| text.split_once(format!(" {word} ").as_str())))?;
    let (one, other) = (of_light(sides.0)?, of_light(sides.1)?);
    (one != other).then(|| ColumnHeader {
        quantities_possible: vec![one, other],
        ..ColumnHeader::default()
    })
}

/// `I (mA)` is an electric current; `d (A)`, the letter of something else, may be in ångströms or in amperes.
fn symbol_of_no_absorbance(text: &str) -> Option<ColumnHeader> {
    let (name, unit) = split_unit(text)?;
    let units = spelled(unit);
    let mut letters = name.chars();
    let (letter, None) = (letters.next()?, letters.next()) else {
        return None;
    };
    let ampere = units.units().iter().find(|unit| unit.code().ends_with('A'))?;
    if letter.eq_ignore_ascii_case(&'i') {
        return Some(ColumnHeader {
            quantity: Some(Quantity::named("current")),
            unit: Some(ampere.clone()),
            ..ColumnHeader::default()
        });
    }
    (letter.is_lowercase() && symbol(name).is_none()).then(|| ColumnHeader {
        quantities_possible: vec![Quantity::ABSORBANCE, Quantity::UNKNOWN],
        units_possible: units.units().to_vec(),
        label: Some(name.to_owned()),
        ..ColumnHeader::default()
    })
}

/// Whether a head states a unit plainly: in brackets, behind a stroke or a comma, or behind a word such as `in`.
pub(crate) fn states_unit(text: &str) -> bool {
    let text = trimmed(text);
    split_unit(text).is_some_and(|(name, unit)| {
        let rest = text[name.len()..].trim_start();
        // `A (1 mM)` tells what was read at, `A (1/cm)` and `ε (10^3 M-1 cm-1)` tell units.
        let value =
            unit.starts_with(|c: char| c.is_ascii_digit()) && !unit.contains('/') && !unit.starts_with("10");
        rest.len() > unit.len() && !rest.starts_with('_') && !value
    })
}

/// Whether a head begins as one of an absorbance and ends in a unit that those do not have, with a word between:
/// `abs. hum. g/m3`.
pub(crate) fn ends_in_other_unit(text: &str) -> bool {
    let mut words = text.split_whitespace();
    let (Some(first), Some(last), Some(before)) = (words.next(), words.next_back(), words.next_back()) else {
        return false;
    };
    // `Abs 15 mg/L` was read at a concentration.
    let at_one = before.replace(',', ".").parse::<f64>().is_ok();
    !at_one
        && last.contains('/')
        && quantity_of(first) == Some(Quantity::ABSORBANCE)
        && spelled(last)
            .units()
            .iter()
            .any(|unit| !unit.converts_to(&Unit::ONE))
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
    // The litre of `mg P/l` is a part of its unit.
    if without_substance(text).is_some() {
        return None;
    }
    // `min.s` is how times are written, and no minute times a second.
    let known = |unit: &str| spelled(unit) != Spelling::None && !piece::clock(unit.trim());
    // A lone 1 counts something; it is no unit.
    let pair = |name: &'_ str, unit: &'_ str| {
        !name.trim().is_empty() && unit.trim() != "1" && !is_one_of_a_unit(unit) && known(unit)
    };
    for (open, close) in [('(', ')'), ('[', ']'), ('<', '>')] {
        if let Some(inner) = text.strip_suffix(close) {
            // The bracket that belongs to the last one: `l/(mol*cm)` may stand inside.
            let at = matching(inner, open, close)?;
            let (name, unit) = (&inner[..at], &inner[at + open.len_utf8()..]);
            return pair(name, unit).then(|| (name.trim(), unit.trim()));
        }
    }
    // `c / µmol/L`: a stroke with blanks parts the name from a unit that has a stroke of its own.
    let blanks = text.bytes().filter(|byte| *byte == b' ').count();
    for link in [" / ", " in ", " en ", " em ", " w ", " i ", " v ", " в "] {
        if blanks >= 2
            && let Some((name, unit)) = text.rsplit_once(link)
            && pair(name, unit)
        {
            return Some((name.trim(), unit.trim()));
        }
    }
    // The photon of `E_photon` is what the energy is of, and counts none.
    let counts = |unit: &str| {
        let word = unit.trim().to_lowercase();
        matches!(
            word.trim_end_matches('s'),
            "photon" | "molecule" | "molec" | "particle"
        )
    };
    for mark in [',', '_', ';'] {
        if let Some((name, unit)) = text.rsplit_once(mark)
            && pair(name, unit)
            && !(mark == '_' && counts(unit))
        {
            return Some((name.trim(), unit.trim()));
        }
    }
    // `time.s`, `t.s`, `Absorbance..AU.`: some languages put dots for blanks and brackets.
    if !text.contains([' ', '/'])
        && let Some((name, unit)) = text.trim_end_matches('.').rsplit_once('.')
        && let name = name.trim_end_matches('.')
        && pair(name, unit)
        && symbol(name)
            .or_else(|| quantity_of(name).map(|quantity| vec![quantity]))
            .unwrap_or_default()
            .iter()
            .any(|quantity| spelled(unit).units().iter().any(|unit| fits(quantity, unit)))
    {
        return Some((name, unit));
    }
    // `mg/L Fe`: the quotient in front of a substance.
    if let Some((unit, name)) = text.split_once(' ')
        && unit.find('/').is_some_and(|at| at > 0)
        && name.chars().all(|c| c.is_alphabetic() || c == ' ')
        && name
            .split(' ')
            .all(|word| symbol(word).is_none_or(|_| word.len() > 1) && quantity_of(word).is_none())
        && let units = spelled(unit)
        && !units.units().is_empty()
        && units
            .units()
            .iter()
            .all(|unit| fits(&Quantity::CONCENTRATION, unit))
    {
        return Some((name.trim(), unit));
    }
    // `std mg/L`: the quotient behind the blank is the unit, and not the litre behind the stroke.
    // `Abs 15 mg/L`: the number in front of it makes it a value, at which was measured.
    let ends_in_number = |name: &str| {
        let last = name.trim().rsplit(' ').next().unwrap_or("");
        last.replace(',', ".").parse::<f64>().is_ok()
    };
    if let Some((name, unit)) = text.rsplit_once(' ')
        && unit.find('/').is_some_and(|at| at > 0)
        && !ends_in_number(name)
        && pair(name, unit)
        && lone_unit(name.trim()).is_none()
    {
        return Some((name.trim(), unit.trim()));
    }
    // `cells/ml` are so many in a volume; `V/ml` is a volume in its unit.
    let count_in_volume = |name: &str, unit: &str| {
        name.trim().chars().all(char::is_lowercase)
            && name.trim().chars().count() >= 2
            && crate::words::word(name) == crate::words::HeaderWord::Unknown
            && !crate::words::is_blank(name)
            && spelled(unit)
                .units()
                .iter()
                .any(|unit| Unit::ucum("L").is_ok_and(|litre| unit.converts_to(&litre)))
    };
    if let Some((name, unit)) = text.split_once('/')
        && pair(name, unit)
        && !count_in_volume(name, unit)
    {
        return Some((name.trim(), unit.trim()));
    }
    let (name, unit) = text.rsplit_once(' ')?;
    // `ml std` are millilitres of a standard: a unit alone has none of its own.
    if lone_unit(name.trim()).is_some() && symbol(name).is_none() && quantity_of(name).is_none() {
        return None;
    }
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
    // `T (%) 20 °C`: a value at which was measured.
    if name.contains([')', ']']) && ends_in_number(name) {
        return None;
    }
    // The `nm-1` of `E / zo m-2 nm-1` is a part of a unit.
    if name.contains('/') {
        return None;
    }
    let capital = unit.len() == 1 && unit.starts_with(|c: char| c.is_ascii_uppercase());
    let lettered = capital && (name.contains(' ') || !can_have());
    (!lettered && !counts(unit) && pair(name, unit)).then(|| (name.trim(), unit.trim()))
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
struct HeaderParts {
    quantities: Vec<Vec<Quantity>>,
    units: Vec<Vec<Unit>>,
    held: Vec<Coordinate>,
    labels: Vec<String>,
    clock: bool,
}

impl HeaderParts {
    /// Whether nothing in it is understood.
    fn is_name_alone(&self) -> bool {
        self.quantities.is_empty()
            && self.units.is_empty()
            && self.held.is_empty()
            && !self.clock
            && self.labels.len() > 1
    }

    fn label(&mut self, text: &str) {
        let text = text.trim();
        // `x 10` behind a quantity is a factor, and names no sample.
        let factor = text.starts_with(|c: char| !c.is_alphabetic() || c == 'x') && scale_of(text).is_some();
        if !text.is_empty() && !factor {
            self.labels.push(text.to_owned());
        }
    }

    fn add(&mut self, piece: HeaderPiece) {
        match piece {
            HeaderPiece::Quantity(quantities) => self.quantities.push(quantities),
            HeaderPiece::Measured(quantities, units) => {
                self.quantities.push(quantities);
                self.units.push(units);
            }
            HeaderPiece::Unit(units) => self.units.push(units),
            HeaderPiece::Held(coordinate) => self.held.push(coordinate),
            HeaderPiece::Clock => self.clock = true,
            HeaderPiece::Several(pieces) => pieces.into_iter().for_each(|piece| self.add(piece)),
            HeaderPiece::Label(text) => self.label(&text),
        }
    }

    fn into_head(mut self) -> ColumnHeader {
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
            if of_light && coordinate.quantity == Quantity::UNKNOWN && IN_PASSING.contains(&coordinate.value)
            {
                coordinate.quantity = Quantity::WAVELENGTH;
                coordinate.unit = Unit::NANOMETRE;
            }
        }
        // `T (%) red`: a symbol of several quantities beside a unit and a name.
        if let ([quantities], [units]) = (self.quantities.as_mut_slice(), self.units.as_slice())
            && quantities.len() > 1
            && units.len() == 1
        {
            let fitting = |quantity: &Quantity| fits(quantity, &units[0]);
            if quantities.iter().any(fitting) {
                quantities.retain(fitting);
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
            _ => self.units.into_iter().flatten().collect(),
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
            if fitting.is_empty() && is_rate_of(&quantities, &units) {
                quantities = vec![Quantity::RATE];
            } else if fitting.is_empty() {
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
            }
        }
        let mut head = ColumnHeader {
            clock: self.clock,
            held: self.held,
            label: (!self.labels.is_empty()).then(|| self.labels.join(", ")),
            ..ColumnHeader::default()
        };
        match quantities.len() {
            1 => head.quantity = quantities.pop(),
            _ => head.quantities_possible = quantities,
        }
        match units.len() {
            1 => head.unit = units.pop(),
            _ => head.units_possible = units,
        }
        head
    }
}

#[cfg(test)]
mod tests;
