//! One piece of a head: a quantity, a unit, both, a coordinate that is held, or a name.

use super::*;
use crate::words::{self, WordList};
use curvary_record::KnownQuantity;

/// What one piece of a head says.
#[derive(Clone, Debug)]
pub(super) enum HeaderPiece {
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
    Several(Vec<HeaderPiece>),
    /// A name.
    Label(String),
}

/// Takes one piece apart. `sure` when nothing else stands around it but brackets or commas, so that a mere unit is
/// one. `None` when nothing in it is understood.
pub(super) fn piece(text: &str, sure: bool, depth: usize) -> Option<HeaderPiece> {
    let text = trimmed(text);
    if text.is_empty() || depth > DEEPEST {
        return None;
    }
    if clock(text) {
        return Some(HeaderPiece::Clock);
    }
    if let Some(quantities) = symbol(text) {
        return Some(HeaderPiece::Quantity(quantities));
    }
    if let Some(found) = rate(text) {
        return Some(found);
    }
    if let Some(quantity) = quantity_of(text) {
        return Some(named(text, quantity));
    }
    if let Some(value) = number(text) {
        return Some(HeaderPiece::Held(held(Quantity::UNKNOWN, Unit::ONE, value, text)));
    }
    if let Some(coordinate) = measured(text) {
        return Some(HeaderPiece::Held(coordinate));
    }
    if let Some(coordinate) = counted_time(text) {
        return Some(HeaderPiece::Held(coordinate));
    }
    if let Some(found) = at_wavelength(text) {
        return Some(found);
    }
    if let Some(found) = assigned(text) {
        return Some(found);
    }
    if sure && let Some(units) = lone_unit(text) {
        return Some(HeaderPiece::Unit(units));
    }
    if let Some((name, unit)) = split_unit(text)
        && let Some(found) = with_unit(name, unit, depth)
    {
        return Some(found);
    }
    if let Some(found) = over_unit_of_axis(text) {
        return Some(found);
    }
    if let Some(found) = glued(text) {
        return Some(found);
    }
    // `abs-1`, `A595-2`: replicates of one quantity.
    if let Some((name, number)) = text.rsplit_once('-')
        && (1..=2).contains(&number.len())
        && number.bytes().all(|b| b.is_ascii_digit())
        && let Some(found) = at_wavelength(name)
    {
        return Some(HeaderPiece::Several(vec![
            found,
            HeaderPiece::Label(text.to_owned()),
        ]));
    }
    if let Some((name, number)) = text.rsplit_once('-')
        && (1..=2).contains(&number.len())
        && number.bytes().all(|b| b.is_ascii_digit())
        && let Some(quantity) = quantity_of(name).filter(Quantity::is_of_light)
    {
        return Some(HeaderPiece::Several(vec![
            named(name, quantity),
            HeaderPiece::Label(text.to_owned()),
        ]));
    }
    phrase(text, depth).or_else(|| {
        let spaced = spaced(text)?;
        piece(&spaced, sure, depth + 1)
    })
}

/// Signs of Chinese and Japanese, which are written without blanks between words.
pub(super) fn is_ideograph(sign: char) -> bool {
    matches!(sign, '\u{3005}' | '\u{3041}'..='\u{30FF}' | '\u{3400}'..='\u{9FFF}')
}

/// The text with blanks between ideographs and Latin letters or digits: `450nm吸光度` is `450nm 吸光度`.
pub(super) fn spaced(text: &str) -> Option<String> {
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
pub(super) fn named(text: &str, quantity: Quantity) -> HeaderPiece {
    let units: Vec<Unit> = match fold(text).as_str() {
        "mau" | "mod" | "mabs" => vec![Unit::MILLIABSORBANCE],
        "au" => vec![Unit::ABSORBANCE],
        folded if folded.contains('%') || folded.contains("percent") || folded.contains("pct") => {
            vec![Unit::PERCENT]
        }
        _ => return HeaderPiece::Quantity(vec![quantity]),
    };
    HeaderPiece::Measured(vec![quantity], units)
}

/// Symbols of one letter, where case matters (IUPAC Green Book, chapter 2, and common practice).
pub(super) fn symbol(text: &str) -> Option<Vec<Quantity>> {
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
pub(super) fn symbol_with_unit(text: &str) -> Option<Vec<Quantity>> {
    Some(match text {
        "S" | "s" | "I" | "C" | "P" | "B" => vec![Quantity::CONCENTRATION],
        // The Celsius temperature (IUPAC Green Book, 2.11).
        "t" => vec![Quantity::TEMPERATURE],
        "v" | "V" | "k" => vec![Quantity::RATE],
        "W" | "E" => vec![Quantity::ENERGY],
        "nu" | "nubar" => vec![Quantity::WAVENUMBER],
        _ => return None,
    })
}

/// `dA/dt`, `ΔA/min`, `µM/min`, `E/min`: a change per time.
pub(super) fn rate(text: &str) -> Option<HeaderPiece> {
    if let Some(first) = text.split_once('/').map(|(over, _)| over.trim()) {
        let under = text[text.find('/')? + 1..].trim();
        // An absorbance per time is a rate: `A/min`, `E/s`, `Abs/min`.
        let absorbance = symbol(first) == Some(vec![Quantity::ABSORBANCE])
            || quantity_of(first) == Some(Quantity::ABSORBANCE);
        let time = spelled(under)
            .one()
            .cloned()
            .filter(|unit| unit.converts_to(&Unit::SECOND));
        // `dA290/min`
        if let Some(time) = &time
            && let Some(HeaderPiece::Several(pieces)) =
                at_wavelength(first).or_else(|| at_wavelength(first.strip_prefix(['d', 'Δ'])?))
            && let [HeaderPiece::Quantity(quantities), held] = pieces.as_slice()
            && *quantities == [Quantity::ABSORBANCE]
        {
            let unit = Unit::ucum(&format!("{}/{time}", Unit::ABSORBANCE)).ok()?;
            return Some(HeaderPiece::Several(vec![
                HeaderPiece::Measured(vec![Quantity::RATE], vec![unit]),
                held.clone(),
            ]));
        }
        if let Some(time) = time.filter(|_| absorbance) {
            let over = match spelled(first).one() {
                Some(unit) if *unit == Unit::MILLIABSORBANCE => Unit::MILLIABSORBANCE,
                _ => Unit::ABSORBANCE,
            };
            let unit = Unit::ucum(&format!("{over}/{time}")).ok()?;
            return Some(HeaderPiece::Measured(vec![Quantity::RATE], vec![unit]));
        }
    }
    None
}

/// Whether a unit is one that a quantity can have.
pub(super) fn fits(quantity: &Quantity, unit: &Unit) -> bool {
    let like = |code: &str| Unit::ucum(code).is_ok_and(|other| unit.converts_to(&other));
    let pure = like("1");
    // Counts in a second are light that was counted, and no rate of a reaction.
    if unit.code().contains("{counts}") {
        return !matches!(quantity.known(), Some(KnownQuantity::Rate));
    }
    match quantity.known() {
        Some(KnownQuantity::Wavelength) => like("nm"),
        Some(KnownQuantity::Wavenumber) => like("/cm"),
        Some(KnownQuantity::Energy) => like("eV") || like("kJ/mol"),
        Some(KnownQuantity::Time) => like("s"),
        Some(KnownQuantity::Absorbance) => pure && *unit != Unit::PERCENT || like("[arb'U]"),
        Some(KnownQuantity::Transmittance | KnownQuantity::Reflectance) => {
            pure && *unit != Unit::ABSORBANCE && *unit != Unit::MILLIABSORBANCE
        }
        Some(KnownQuantity::Temperature) => like("K"),
        Some(KnownQuantity::Concentration) => {
            like("mol/L")
                || like("g/L")
                || like("U/mL")
                || like("[iU]/mL")
                || like("mol/kg")
                || pure && *unit != Unit::ABSORBANCE
        }
        Some(KnownQuantity::Rate) => [
            "/s", "mol/L/s", "mol/s", "mol/s/g", "g/s", "g/L/s", "U/mL", "[iU]/mL", "[iU]/s",
        ]
        .into_iter()
        .any(like),
        Some(KnownQuantity::Ph) => like("[pH]"),
        Some(KnownQuantity::Index | KnownQuantity::Sample | KnownQuantity::Flag | KnownQuantity::Date) => {
            false
        }
        Some(KnownQuantity::TimeOfDay) => like("s"),
        Some(
            KnownQuantity::Frequency
            | KnownQuantity::Intensity
            | KnownQuantity::Dilution
            | KnownQuantity::Item
            | KnownQuantity::Unknown,
        )
        | None => true,
    }
}

/// The quantities whose usual unit this is.
pub(super) fn quantities_of(unit: &Unit) -> Vec<Quantity> {
    thread_local! {
        static FOUND: RefCell<HashMap<Unit, Vec<Quantity>>> = RefCell::new(HashMap::new());
    }
    FOUND.with_borrow_mut(|found| {
        if let Some(quantities) = found.get(unit) {
            return quantities.clone();
        }
        if found.len() >= REMEMBERED {
            found.clear();
        }
        let quantities = quantities_by_dimension(unit);
        found.insert(unit.clone(), quantities.clone());
        quantities
    })
}

fn quantities_by_dimension(unit: &Unit) -> Vec<Quantity> {
    let like = |code: &str| Unit::ucum(code).is_ok_and(|other| unit.converts_to(&other));
    if *unit == Unit::PERCENT {
        return vec![Quantity::TRANSMITTANCE, Quantity::REFLECTANCE];
    }
    if unit.code().contains("{counts}") {
        return Vec::new();
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
pub(super) fn lone_unit(text: &str) -> Option<Vec<Unit>> {
    let units = spelled(text).units().to_vec();
    if units.is_empty() {
        return None;
    }
    let everyday = super::is_one_of_a_unit(text)
        || words::is(WordList::Everyday, text)
        || fold(text).is_empty()
        || text == "-"
        || text.chars().count() == 1
            && !matches!(
                text,
                "s" | "h" | "M" | "K" | "C" | "S" | "%" | "Å" | "℃" | "秒" | "分"
            );
    (!everyday).then_some(units)
}

/// A name beside a unit: both must fit.
pub(super) fn with_unit(name: &str, unit: &str, depth: usize) -> Option<HeaderPiece> {
    // `c (N)`: normal solutions, not newtons. How many moles those are depends on the reaction.
    let of_concentration = || {
        symbol(name) == Some(vec![Quantity::CONCENTRATION])
            || quantity_of(name) == Some(Quantity::CONCENTRATION)
    };
    if unit == "N" && of_concentration() {
        return Some(HeaderPiece::Several(vec![
            HeaderPiece::Quantity(vec![Quantity::CONCENTRATION]),
            HeaderPiece::Label(unit.to_owned()),
        ]));
    }
    let units = spelled(unit).units().to_vec();
    let inner = symbol_with_unit(name)
        .filter(|quantities| units.iter().any(|unit| quantities.iter().any(|q| fits(q, unit))))
        .map(HeaderPiece::Quantity)
        .or_else(|| piece(name, false, depth + 1));
    match inner {
        Some(HeaderPiece::Quantity(quantities)) => Some(together(quantities, units)),
        Some(HeaderPiece::Several(mut pieces)) => {
            let last = pieces
                .iter()
                .position(|piece| matches!(piece, HeaderPiece::Quantity(_)))?;
            let HeaderPiece::Quantity(quantities) = pieces[last].clone() else {
                return None;
            };
            let joined = together(quantities, units);
            matches!(joined, HeaderPiece::Measured(..)).then(|| {
                pieces[last] = joined;
                HeaderPiece::Several(pieces)
            })
        }
        // `A (AU)` twice over: the unit said again.
        Some(HeaderPiece::Measured(quantities, own)) if units.iter().any(|unit| own.contains(unit)) => {
            Some(HeaderPiece::Measured(quantities, own))
        }
        // `T cell C`, `temperature block (°C)`: where it was measured, between the word and its unit.
        None if let Some((first, place)) = name.split_once([' ', '_'])
            && symbol(first)
                .or_else(|| quantity_of(first).map(|quantity| vec![quantity]))
                .is_some_and(|quantities| quantities.contains(&Quantity::TEMPERATURE)) =>
        {
            let found = together(vec![Quantity::TEMPERATURE], units);
            let place = HeaderPiece::Label(place.to_owned());
            matches!(found, HeaderPiece::Measured(..)).then(|| HeaderPiece::Several(vec![found, place]))
        }
        // `cell_temp_C`, `storage time (d)`: where or of what it was measured, in front of the word.
        None if let Some((place, last)) = name.rsplit_once([' ', '_'])
            && let Some(quantity) = quantity_of(last)
            && (quantity == Quantity::TEMPERATURE || quantity == Quantity::TIME && are_few_words(place))
            && matches!(
                together(vec![quantity.clone()], units.clone()),
                HeaderPiece::Measured(..)
            ) =>
        {
            let found = together(vec![quantity], units);
            Some(HeaderPiece::Several(vec![
                HeaderPiece::Label(place.to_owned()),
                found,
            ]))
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
            Some(HeaderPiece::Several(vec![
                HeaderPiece::Label(name.to_owned()),
                HeaderPiece::Unit(units),
            ]))
        }
        _ => None,
    }
}

/// Whether a text is one or two words that name no quantity of their own.
fn are_few_words(text: &str) -> bool {
    let word = |word: &str| word.chars().all(char::is_alphabetic) && quantity_of(word).is_none();
    text.split_whitespace().count() <= 2 && text.split_whitespace().all(word)
}

/// Quantities and units that fit each other; a contradiction keeps the unit and says that the quantity is open.
pub(super) fn together(quantities: Vec<Quantity>, units: Vec<Unit>) -> HeaderPiece {
    let fitting: Vec<Quantity> = quantities
        .iter()
        .filter(|quantity| units.iter().any(|unit| fits(quantity, unit)))
        .cloned()
        .collect();
    if fitting.is_empty() {
        return HeaderPiece::Several(vec![HeaderPiece::Quantity(quantities), HeaderPiece::Unit(units)]);
    }
    let units = units
        .into_iter()
        .filter(|unit| fitting.iter().any(|quantity| fits(quantity, unit)))
        .collect();
    HeaderPiece::Measured(fitting, units)
}

/// A number in a head: digits with at most one decimal sign, point or comma.
pub(super) fn number(text: &str) -> Option<f64> {
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

pub(super) fn held(quantity: Quantity, unit: Unit, value: f64, raw: &str) -> Coordinate {
    Coordinate {
        raw: Some(raw.to_owned()),
        ..Coordinate::new(quantity, unit, value)
    }
}

/// A number with its unit, `405 nm` or `0,5min`, as a held coordinate; the unit must tell the quantity.
pub(super) fn measured(text: &str) -> Option<Coordinate> {
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
    // `10 m` may be a depth as well as minutes.
    let metre = |unit: &Unit| unit.code() == "m";
    if spelling.units().len() > 1 && spelling.units().iter().any(metre) {
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
        [(quantity, unit), ..] if *quantity == Quantity::WAVELENGTH && *unit == Unit::NANOMETRE => IN_PASSING
            .contains(&value)
            .then(|| held(quantity.clone(), unit.clone(), value, text)),
        _ => None,
    }
}

/// `A405`, `OD600`, `Abs405nm`, `Abs_405`, `A 405 nm`, `ΔA340`, `405nm Abs`: an absorbance at a wavelength.
pub(super) fn at_wavelength(text: &str) -> Option<HeaderPiece> {
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
        || !IN_PASSING.contains(&value)
        || whole < 3
        || digits.starts_with('0')
    {
        return None;
    }
    let quantity = match named(word, quantities[0].clone()) {
        HeaderPiece::Measured(_, units) => HeaderPiece::Measured(quantities, units),
        _ => HeaderPiece::Quantity(quantities),
    };
    Some(HeaderPiece::Several(vec![
        quantity,
        HeaderPiece::Held(held(Quantity::WAVELENGTH, Unit::NANOMETRE, value, rest)),
    ]))
}

/// `t=30 s`, `T = 37 °C`, `λ=405 nm`, `pH 7`, `pH=7,4`, `[S] = 5 µM`: a held coordinate under its name.
pub(super) fn assigned(text: &str) -> Option<HeaderPiece> {
    if let Some(rest) = text.strip_prefix("pH").or_else(|| text.strip_prefix("PH")) {
        let value = number(rest.trim_start_matches([' ', '=', ':']).trim())?;
        return (0.0..=14.0)
            .contains(&value)
            .then(|| HeaderPiece::Held(held(Quantity::PH, Unit::PH, value, text)));
    }
    let (name, value) = text.split_once('=')?;
    let (name, value) = (name.trim(), value.trim());
    let quantities = symbol(name)
        .or_else(|| symbol_with_unit(name))
        .or_else(|| quantity_of(name).map(|quantity| vec![quantity]))?;
    if let Some(coordinate) = measured(value) {
        return quantities
            .contains(&coordinate.quantity)
            .then_some(HeaderPiece::Held(coordinate));
    }
    // Without a unit only the quantity is known, and the unit is asked for.
    let value = number(value)?;
    match quantities.as_slice() {
        [one] if matches!(one.as_str(), "ph" | "index") => None,
        _ => Some(HeaderPiece::Held(held(Quantity::UNKNOWN, Unit::ONE, value, text))),
    }
}

/// `day 3`, `Woche 2`: the word of a length of time, and how many had passed.
pub(super) fn counted_time(text: &str) -> Option<Coordinate> {
    const SHORTEST: usize = 3;
    let (word, number) = text.split_once(' ')?;
    let value = number_of_times(number)?;
    let unit = spelled(word).one()?.clone();
    // `min 1` may be the least of several, and `sec 1` the section.
    // A tag may be stuck to a sample, and `Std 1` is a standard.
    let said = word.chars().count() >= SHORTEST
        && !words::is(WordList::StandardSample, word)
        && word.chars().all(char::is_alphabetic)
        && !word.eq_ignore_ascii_case("tag");
    let long = unit.converts_to(&Unit::SECOND) && unit.to_si(1.0) >= 3600.0;
    (said && long).then(|| held(Quantity::TIME, unit, value, text))
}

/// A whole number without a sign.
fn number_of_times(text: &str) -> Option<f64> {
    let digits = !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    number(text).filter(|_| digits)
}

/// `mm:ss`, `hh:mm:ss`, `min:s`, `h:min:s`, `mm:ss.f`: the form of clock times.
pub(super) fn clock(text: &str) -> bool {
    if !text.contains([':', '.']) {
        return false;
    }
    let lower = text.to_lowercase();
    // A point in place of the colon, as some write minutes and seconds.
    if matches!(
        lower.as_str(),
        "min.s" | "min.ss" | "min.sec" | "mm.ss" | "m.ss" | "h.min" | "hh.mm" | "h.mm"
    ) {
        return true;
    }
    if lower.contains(':')
        && [WordList::MinutesAndSeconds, WordList::HoursAndMinutes]
            .iter()
            .any(|list| words::is(*list, &lower))
    {
        return true;
    }
    let parts: Vec<&str> = lower.split([':', '.', ',']).collect();
    parts.len() <= 4
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
pub(super) fn glued(text: &str) -> Option<HeaderPiece> {
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
                found @ HeaderPiece::Measured(..) => Some(found),
                _ => None,
            };
        }
    }
    None
}

/// `Vlnk / nm`: an unknown name over a unit of wavelengths or wavenumbers, as quantities are written with their units.
/// Other quotients may be rates: `drops / min`.
fn over_unit_of_axis(text: &str) -> Option<HeaderPiece> {
    let (name, unit) = text.split_once('/')?;
    let name = name.trim();
    let words = name.chars().filter(|c| c.is_alphabetic()).count() >= 3 && !name.contains(char::is_numeric);
    let units = lone_unit(unit.trim())?;
    let of_axis = |unit: &Unit| matches!(quantities_of(unit).as_slice(), [one] if *one == Quantity::WAVELENGTH || *one == Quantity::WAVENUMBER);
    (words && units.iter().all(of_axis)).then(|| {
        HeaderPiece::Several(vec![
            HeaderPiece::Label(name.to_owned()),
            HeaderPiece::Unit(units),
        ])
    })
}

/// A held coordinate that is sure even among other words.
pub(super) fn coordinate(text: &str) -> Option<HeaderPiece> {
    measured(text).map(HeaderPiece::Held).or_else(|| {
        assigned(text)
            .filter(|piece| matches!(piece, HeaderPiece::Held(c) if c.quantity != Quantity::UNKNOWN))
    })
}
