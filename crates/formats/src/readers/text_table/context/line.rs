//! What one line of words says: quantities, units and wavelengths, and of what kind the measurement was.

use curvary_record::{Quantity, Unit};

use super::{Context, LONGEST_TITLE, is_of_other_things, names_another_wavelength};
use crate::column_header::{computed_by_line, read_column_header, scale_of};
use crate::preamble;
use crate::readers::text_table::scan::leading_number;
use crate::words::{self, WordList};

/// A line from this many bytes on is prose, and states no form of the numbers.
const LONGEST_FACT: usize = 100;

/// So many words behind one that denies are denied.
const REACH_OF_A_NEGATION: usize = 4;

/// `dell'`, `nell'`, `sull'`: the longest words of Italian and French that lose their last letter before a vowel.
const LONGEST_ARTICLE: usize = 4;

/// A line as it stands, and in small letters.
struct SpokenLine<'l> {
    written: &'l str,
    lower: &'l str,
    /// What blanks part, in small letters.
    parts: Vec<&'l str>,
}

impl SpokenLine<'_> {
    fn has(&self, sign: u8) -> bool {
        self.written.as_bytes().contains(&sign)
    }
}

impl Context {
    /// Takes in all that one line says.
    pub(super) fn hear_all(&mut self, line: &str) {
        if is_of_other_things(line) {
            return;
        }
        self.hear_scale(line);
        if let Some(computed) = computed_by_line(line) {
            self.computed = Some(computed);
        }
        self.hear_axes(line);
        self.axis_in_words.hear(line);
        self.hear_bracketed(line);
        self.hear_titled(line);
        self.hear_other_quantities(line);
        self.hear_phrases(line);
        self.hear_measured_at(line);
        let lower = line.to_lowercase();
        let line = SpokenLine {
            written: line,
            lower: &lower,
            parts: lower.split_whitespace().collect(),
        };
        self.hear_missing(&line);
        self.hear_wavelengths_behind_at(&line);
        self.hear_forms(&line);
        self.hear_words(&line);
        self.hear_terms(&line);
    }

    /// Takes in a factor of ten in front of which all values stand, `absorbance × 1000`.
    fn hear_scale(&mut self, line: &str) {
        if !line.contains('0') || line.len() >= LONGEST_TITLE || scale_of(line).is_none() {
            return;
        }
        let measured = read_column_header(line)
            .quantity
            // `All absorbances are multiplied by 10`
            .or_else(|| line.split_whitespace().take(4).find_map(words::quantity_of));
        if measured.is_some_and(|quantity| quantity.is_of_light()) {
            self.scaled = Some(line.trim().to_owned());
        }
    }

    /// Takes in optical quantities beyond ours, and a header of another trade.
    fn hear_other_quantities(&mut self, line: &str) {
        if let Some((quantity, initials)) = words::optical_in(line) {
            self.abbreviated.push((initials, quantity.clone()));
            self.others.insert(quantity);
        }
        if let words::HeaderWord::Other(quantity) = words::word(line)
            && words::is_of_another_trade(&quantity)
            // `tel 0555-12 34` below a letter is no header.
            && !line.contains(|c: char| c.is_ascii_digit())
        {
            self.of_another_trade = Some(line.trim().to_owned());
        }
    }

    /// Takes in phrases about an axis, and the symbol in front of them: `A, time in min`.
    fn hear_phrases(&mut self, line: &str) {
        let stated_before = self.stated.len();
        let statements = preamble::statements(line)
            .into_iter()
            .map(|statement| line[statement].trim_matches('"'));
        for statement in statements {
            // `absorbance vs reaction time (hours)` names both axes.
            let parts = statement.split(':').flat_map(|part| part.split(" vs "));
            for phrase in parts.flat_map(|part| part.split(" vs. ")) {
                self.hear_phrase(statement, phrase);
            }
            if let Some(over) = behind_versus(statement) {
                self.hear_phrase(statement, over);
            }
        }
        // `Brazilwood, A vs nm`
        let over = line.split_once(" vs ").or_else(|| line.split_once(" vs. "));
        if let Some((front, behind)) = over
            && matches!(front.rsplit([' ', ',', ';']).next(), Some("A" | "E"))
            && read_column_header(behind.split([',', ';', '(']).next().unwrap_or(behind).trim())
                .quantity
                .is_some_and(|quantity| matches!(quantity.as_str(), "wavelength" | "wavenumber" | "time"))
        {
            self.quantities.insert(Quantity::ABSORBANCE);
        }
        // The symbol in front of what it was measured over.
        let symbol = line.split_once(',').map_or("", |(front, _)| front.trim());
        if self.stated.len() > stated_before && matches!(symbol, "A" | "E") {
            self.quantities.insert(Quantity::ABSORBANCE);
        }
    }

    /// Takes in one phrase of a statement. A phrase about an axis is short; a sentence may name a quantity and a unit that do not go
    /// together.
    fn hear_phrase(&mut self, statement: &str, phrase: &str) {
        if phrase.split_whitespace().count() > 5 || phrase.len() < 4 {
            return;
        }
        let head = read_column_header(phrase.trim());
        // `Lamp change: 340 nm` says something else.
        if !statement.contains(": ")
            && !statement.contains('=')
            && !statement.trim_end().ends_with(':')
            && !names_another_wavelength(&phrase.to_lowercase())
        {
            self.hear_wavelength(&head);
        }
        // `E 540 nm`: what was measured, and where.
        let at_wavelength = head.held.iter().any(|held| held.quantity == Quantity::WAVELENGTH);
        if let Some(quantity) = head
            .quantity
            .as_ref()
            .filter(|q| at_wavelength && q.is_of_light())
        {
            self.quantities.insert(quantity.clone());
        }
        if let (Some(quantity), Some(unit), true) = (head.quantity, head.unit, head.held.is_empty()) {
            self.stated.push((quantity, unit));
        }
    }

    /// Takes in words that join what was measured and the wavelength: `A405`, `OD600`.
    fn hear_measured_at(&mut self, line: &str) {
        for word in line.split_whitespace() {
            let word = word.trim_matches(|c: char| !c.is_alphanumeric());
            if !(4..=8).contains(&word.len()) || !word.ends_with(|c: char| c.is_ascii_digit()) {
                continue;
            }
            let head = read_column_header(word);
            if let (Some(quantity), [held]) = (head.quantity, head.held.as_slice())
                && held.quantity == Quantity::WAVELENGTH
            {
                self.quantities.insert(quantity);
                self.heard.push((held.value, held.unit.clone()));
            }
        }
    }

    /// Takes in the numbers that are declared to stand for missing values.
    fn hear_missing(&mut self, line: &SpokenLine) {
        let digits = line.written.bytes().any(|byte| byte.is_ascii_digit());
        if !digits || !words::contains(WordList::Missing, line.lower) {
            return;
        }
        let number =
            |word: &&str| leading_number(word.trim_matches(|c: char| !(c.is_ascii_digit() || c == '-')));
        self.sentinels.extend(line.parts.iter().filter_map(number));
    }

    /// Takes in wavelengths behind a preposition: `at 405 nm`.
    fn hear_wavelengths_behind_at(&mut self, line: &SpokenLine) {
        for (index, word) in line.parts.iter().enumerate() {
            let said = words::words_of(WordList::At).iter().any(|at| at == word);
            let (number, unit) = (line.parts.get(index + 1), line.parts.get(index + 2));
            let joined = number.and_then(|n| n.trim_end_matches([',', '.', ';', ')']).strip_suffix("nm"));
            let apart = number
                .filter(|_| unit.is_some_and(|u| u.trim_end_matches([',', '.', ';', ')', ':']) == "nm"))
                .copied();
            if said
                && !names_another_wavelength(line.lower)
                && let Some(value) = joined
                    .or(apart)
                    .and_then(|n| n.replace(',', ".").parse::<f64>().ok())
                && crate::light::IN_WORDS.contains(&value)
            {
                self.heard.push((value, Unit::NANOMETRE));
            }
        }
    }

    /// Takes in how numbers are written: times in minutes and seconds, transmittance as a fraction or in percent.
    fn hear_forms(&mut self, line: &SpokenLine) {
        let lower = line.lower;
        self.minutes_and_seconds |= line.has(b':') && words::contains(WordList::MinutesAndSeconds, lower);
        self.fraction |= lower.len() <= LONGEST_FACT
            && words::contains(WordList::Fraction, lower)
            && (lower.contains("trans") || lower.contains("refl") || lower.contains("i/i"));
        if line.has(b'%') && (lower.contains("%t") || lower.contains("% t")) {
            self.percent = true;
            self.quantities.insert(Quantity::TRANSMITTANCE);
        }
    }

    /// Takes in single words: units, kinds of measurement, and quantities that are not denied, as in `no es la absorbancia`.
    fn hear_words(&mut self, line: &SpokenLine) {
        let mut denied = 0_usize;
        let sign_of_word = |c: char| c.is_alphanumeric() || matches!(c, '%' | 'µ' | 'λ' | '-' | '/' | '\'');
        for word in line.lower.split(|c: char| !sign_of_word(c)) {
            if word.is_empty() {
                continue;
            }
            let word = without_article(word);
            self.hear_unit(word);
            self.spectrum |= words::begins(WordList::Spectrum, word);
            self.kinetics |= words::begins(WordList::Kinetics, word);
            self.cells |= words::ends(WordList::CellEnd, word);
            self.peaks |= words::begins(WordList::Peak, word) || matches!(word, "pic" | "pics");
            if words::is(WordList::Negation, word) {
                denied = REACH_OF_A_NEGATION;
            } else if word.starts_with(|c: char| c.is_ascii_digit()) {
                // `sample no 5`
                denied = 0;
            } else {
                denied = denied.saturating_sub(1);
            }
            if denied == 0
                && word.chars().count() >= 2
                // `em função do comprimento`: `DO` is a symbol in capitals alone.
                && (!words::is(WordList::Genitive, word) || line.written.contains(&word.to_uppercase()))
            {
                match words::quantity_of(word) {
                    Some(quantity) => self.quantities.extend([quantity]),
                    None => self.quantities.extend(words::quantities_in_unspaced(word)),
                }
            }
        }
    }

    /// Takes in a word that is a unit of wavelength or time.
    fn hear_unit(&mut self, word: &str) {
        let unit = match word {
            "nm" | "нм" => Unit::NANOMETRE,
            _ if words::is(WordList::Second, word) => Unit::SECOND,
            _ if words::is(WordList::Minute, word) => Unit::MINUTE,
            _ => return,
        };
        self.units.insert(unit);
    }

    /// Takes in terms of two or three words: `optical density`, `longueur d'onde`, kinds of kinetics.
    fn hear_terms(&mut self, line: &SpokenLine) {
        let SpokenLine { lower, parts, .. } = line;
        if parts.len() < 2 {
            return;
        }
        let mut phrases = words::words_of(WordList::Kinetics)
            .iter()
            .filter(|phrase| phrase.contains(' '));
        self.kinetics |= words::contains(WordList::Kinetics, lower)
            && phrases.any(|phrase| lower.contains(phrase.as_str()));
        let denies = |part: &&str| words::is(WordList::Negation, part);
        if parts.iter().any(denies) {
            return;
        }
        for length in [2, 3] {
            for term in parts
                .windows(length)
                .filter(|term| words::may_begin_a_quantity(term[0]))
            {
                let quantity = words::quantity_of(&term.join(" ")).filter(|quantity| {
                    quantity.is_of_light() || matches!(quantity.as_str(), "wavelength" | "wavenumber")
                });
                self.quantities.extend(quantity);
            }
        }
    }
}

/// What stands behind words such as `as a function of`, `em função do`: what runs.
fn behind_versus(statement: &str) -> Option<&str> {
    const SHORTEST: usize = 8;
    let lower = statement.to_lowercase();
    if lower.len() != statement.len() {
        return None;
    }
    let terms = words::words_of(WordList::Versus).iter();
    let mut long = terms.filter(|term| term.contains(' ') && term.chars().count() >= SHORTEST);
    let end = long.find_map(|term| lower.find(term.as_str()).map(|at| at + term.len()))?;
    let mut rest = statement.get(end..)?.trim_start();
    while let Some((word, behind)) = rest.split_once(' ') {
        let small = words::is(WordList::Genitive, word) || words::is(WordList::Article, word);
        if !small {
            break;
        }
        rest = behind.trim_start();
    }
    (!rest.is_empty()).then_some(rest)
}

/// A word without its article: `l'absorbance`, `dell'assorbanza`.
fn without_article(word: &str) -> &str {
    match word.split_once('\'') {
        Some((article, word)) if article.chars().count() <= LONGEST_ARTICLE && !word.is_empty() => word,
        _ => word,
    }
}
