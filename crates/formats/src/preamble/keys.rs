//! Keys that no list has as a whole, and whose parts say what they mean: `Prøve-ID`, `Data do ensaio`, `Long. de onda`, `flow cell`.
//!
//! What they may mean is only taken where the value is of that kind.

use super::*;
use crate::words::WordList;

/// A key of more words is a sentence.
const MOST_WORDS_OF_A_KEY: usize = 5;

/// The field that the parts of a key mean.
pub(super) fn composed(key: &str) -> Option<&'static str> {
    if key.len() > 2 * LONGEST_KEY || !key.contains(char::is_alphabetic) || key.contains([':', '=', ',', ';'])
    {
        return None;
    }
    let words = parts(key);
    if words.is_empty() || words.len() > MOST_WORDS_OF_A_KEY {
        return None;
    }
    if words::is(WordList::Created, key) {
        return Some("date");
    }
    identity(&words)
        .or_else(|| whose_sample(&words))
        .or_else(|| what_it_is_of(&words))
        .or_else(|| day_of_the_run(key, &words))
        .or_else(|| done_by(&words))
        .or_else(|| made_cell(&words))
        .or_else(|| placed_temperature(&words))
        .or_else(|| abbreviated(key))
}

/// The words of a key; where it goes from one script to another, a word ends: `試料ID`.
fn parts(key: &str) -> Vec<&str> {
    let apart = |c: char| c.is_whitespace() || matches!(c, '-' | '_' | '.' | '/' | '\'' | '’');
    key.split(apart)
        .flat_map(|word| {
            let at = word
                .char_indices()
                .skip(1)
                .find(|(at, c)| c.is_ascii_alphanumeric() && word[..*at].chars().all(is_of_a_wide_script));
            let (front, behind) = at.map_or((word, ""), |(at, _)| word.split_at(at));
            [front, behind]
        })
        .filter(|word| !word.is_empty())
        .collect()
}

fn is_of_a_wide_script(sign: char) -> bool {
    matches!(sign, '\u{3040}'..='\u{30FF}' | '\u{4E00}'..='\u{9FFF}' | '\u{AC00}'..='\u{D7A3}')
}

/// Whether a word says nothing by itself: `of`, `de`, `la`.
fn is_small(word: &str) -> bool {
    words::is(WordList::Genitive, word) || words::is(WordList::Article, word)
}

/// Whether words mean a sample: a word for it, with words that say whose it is.
fn are_of_a_sample(words: &[&str]) -> bool {
    let mut samples = 0;
    let plain = words.iter().all(|word| {
        let sample = field_of(word) == Some("sample");
        samples += usize::from(sample);
        sample || is_small(word) || words::is(WordList::WhoseSample, word)
    });
    plain && samples == 1
}

/// `Prøve-ID`, `ID de la muestra`
fn identity(words: &[&str]) -> Option<&'static str> {
    let is_id = |word: &&str| words::is(WordList::Identity, word);
    let at = words.iter().position(is_id)?;
    let mut others = words.to_vec();
    others.remove(at);
    (are_of_a_sample(&others) || in_several_words(&others)).then_some("sample-id")
}

/// Whether words are, one behind the other, a key of the sample: `sample name`.
fn in_several_words(words: &[&str]) -> bool {
    words.len() >= 2 && field_of(&words.join(" ")) == Some("sample")
}

/// `Client sample`, `échantillon du client`
fn whose_sample(words: &[&str]) -> Option<&'static str> {
    // `Sample A` is one of several.
    let whose = words.iter().any(|word| words::is(WordList::WhoseSample, word));
    (whose && are_of_a_sample(words)).then_some("sample")
}

/// `Spectrum of`, `UV-Spektrum von`: what it is of is the sample.
fn what_it_is_of(words: &[&str]) -> Option<&'static str> {
    let (last, front) = words.split_last()?;
    let of = words::is(WordList::SpectrumOf, last);
    let spectrum = |word: &str| words::begins(WordList::Spectrum, &word.to_lowercase());
    let known = |word: &&str| {
        spectrum(word)
            || is_small(word)
            || matches!(word.to_ascii_lowercase().as_str(), "uv" | "vis")
            || words::quantity_of(word).is_some_and(|quantity| quantity.is_of_light())
    };
    let spectrum = front.iter().any(|word| spectrum(word));
    (of && spectrum && front.iter().all(known)).then_some("sample")
}

/// `Data do ensaio`, `Versuchsdatum`, `on`: a word for a day, and one for what was done on it.
fn day_of_the_run(key: &str, words: &[&str]) -> Option<&'static str> {
    let other = |word: &str| words::begins(WordList::AnotherDate, &word.to_lowercase());
    let run = |word: &str| {
        let lower = word.to_lowercase();
        words::is(WordList::OfTheRun, word)
            || words::is(WordList::Measured, word)
            || [WordList::BegunThing, WordList::Spectrum, WordList::Kinetics]
                .into_iter()
                .any(|list| words::begins(list, &lower))
    };
    match words {
        [word] => {
            let lower = word.to_lowercase();
            let alone = words::is(WordList::LoneOnDay, word);
            let of_run = words::words_of(WordList::DayEnd)
                .iter()
                .filter_map(|day| lower.strip_suffix(day.as_str()))
                .any(|front| !other(front) && (run(front) || front.strip_suffix('s').is_some_and(run)));
            // `Zmierzono: 13.05.2011`
            let done = key == *word && words::is(WordList::Measured, word);
            (alone && key == *word || of_run || done).then_some("date")
        }
        // `Meßreihe vom: 4.11.2003`
        [of @ .., on] if words::is(WordList::OnDay, on) && of.iter().all(|word| run(word)) => Some("date"),
        [first, between @ .., last] => {
            let is_day = |word: &str| {
                field_of(word) == Some("date")
                    || fields_if_fitting(word).contains(&"date") && !words::is(WordList::Measured, word)
            };
            // `Data do ensaio`, `Mérés napja`
            let other_end = match (is_day(first), is_day(last)) {
                (true, _) => last,
                (false, true) => first,
                (false, false) => return None,
            };
            let of = || between.iter().chain([other_end]);
            let of_run = of().any(|word| run(word))
                && of().all(|word| run(word) || is_small(word) || words::is(WordList::OnDay, word))
                && !of().any(|word| other(word));
            of_run.then_some("date")
        }
        [] => None,
    }
}

/// `Utförd av`, `Mérést végezte`: a word for doing or measuring, and one that says by whom, or what was done.
fn done_by(words: &[&str]) -> Option<&'static str> {
    let doing = |word: &str| {
        words::is(WordList::Measured, word) || words::begins(WordList::Performed, &word.to_lowercase())
    };
    let measuring = |word: &str| words::begins(WordList::BegunThing, &word.to_lowercase());
    let (first, last) = (words.first()?, words.last()?);
    let by = words::is(WordList::By, last);
    let deeds = words.iter().filter(|word| doing(word)).count();
    let known =
        |word: &&str| doing(word) || measuring(word) || is_small(word) || words::is(WordList::By, word);
    let whole = words.len() >= 2 && deeds == 1 && words.iter().all(known);
    (whole && (by || measuring(first) && doing(last))).then_some("operator")
}

/// `flow cell`, `cuve en quartz`, `Durchflussküvette`: a cell and how it is made.
fn made_cell(words: &[&str]) -> Option<&'static str> {
    let named = |word: &str| fields_if_fitting(word).contains(&"cell");
    let compound = |word: &str| {
        let lower = word.to_lowercase();
        words::ends(WordList::CellEnd, &lower) && !lower.ends_with("cell") && !lower.ends_with("cells")
    };
    let cells = words.iter().filter(|word| named(word) || compound(word)).count();
    let kinds = words
        .iter()
        .filter(|word| words::is(WordList::KindOfCell, word))
        .count();
    let known = |word: &&str| {
        named(word)
            || compound(word)
            || is_small(word)
            || words::is(WordList::Link, word)
            || words::is(WordList::KindOfCell, word)
    };
    // A `Vorratsküvette` is another one than that in the beam.
    let of_kind = |word: &str| words::begins(WordList::KindOfCell, &word.to_lowercase());
    let alone = words.len() == 1 && words.iter().all(|word| compound(word) && of_kind(word));
    (cells == 1 && (kinds >= 1 || alone) && words.iter().all(known)).then_some("path-length")
}

/// `T bath`, `bath T`: a temperature and the bath, in either order.
fn placed_temperature(words: &[&str]) -> Option<&'static str> {
    let [first, second] = words else { return None };
    let temperature = |word: &str| word == "T" || field_of(word) == Some("temperature");
    let place = |word: &str| {
        !words::is(WordList::Room, word) && words::is(WordList::PlaceOfTemperature, word)
            || fields_if_fitting(word) == ["temperature"].as_slice() && word.len() > 2
    };
    (temperature(first) && place(second) || temperature(second) && place(first)).then_some("temperature")
}

/// `Long. de onda`, `Wellenl.`: the beginnings of the words of a key of a wavelength, a temperature or a path length, each with a point
/// behind it. Where they begin keys of two fields, they mean neither.
fn abbreviated(key: &str) -> Option<&'static str> {
    const SHORTEST: usize = 4;
    if !key.contains('.') || key.contains(|c: char| c.is_ascii_digit()) {
        return None;
    }
    let lower = key.to_lowercase();
    let words = words_and_points(&lower);
    let letters: usize = words
        .iter()
        .filter(|(word, _)| word.chars().count() > 1 && !is_small(word))
        .map(|(word, _)| word.chars().count())
        .sum();
    if !words.iter().any(|(_, cut)| *cut) || letters < SHORTEST {
        return None;
    }
    let mut meant = words::keys_of_conditions()
        .iter()
        .filter(|(full, _)| begin_those_of(&words, full))
        .map(|(_, field)| *field);
    let first = meant.next()?;
    meant.all(|field| field == first).then_some(first)
}

/// The words of a text in lower case, and whether a point stands behind each.
fn words_and_points(lower: &str) -> Vec<(&str, bool)> {
    let mut words = Vec::new();
    let mut rest = lower;
    while let Some(begin) = rest.find(char::is_alphabetic) {
        let word = &rest[begin..];
        let end = word.find(|c: char| !c.is_alphabetic()).unwrap_or(word.len());
        words.push((&word[..end], word[end..].starts_with('.')));
        rest = &word[end..];
    }
    words
}

/// Whether words are those of a full key, some of them cut off behind a point; small words may be left out.
fn begin_those_of(words: &[(&str, bool)], full: &str) -> bool {
    let small = |word: &str| is_small(word) || word.chars().count() <= 1;
    let mut parts = full
        .split(|c: char| !c.is_alphabetic())
        .filter(|word| !word.is_empty() && !small(word));
    let plain = words.iter().filter(|(word, cut)| *cut || !small(word));
    let mut plain = plain.peekable();
    if plain.peek().is_none() {
        return false;
    }
    let all = plain.all(|(word, cut)| {
        let begun = parts.next();
        begun.is_some_and(|part| {
            let cut = *cut && word.chars().count() >= 2;
            part == *word || cut && crate::words::fold(part).starts_with(&crate::words::fold(word))
        })
    });
    all && parts.next().is_none()
}

/// Whether what a value says goes with what the parts of its key mean.
pub(super) fn suits(field: &str, raw: &str, found: &Interpretation, unit_in_key: bool) -> bool {
    let number = matches!(found.value, Value::Number(_));
    // `L. Quist` is somebody.
    let initial = |word: &str| word.ends_with('.') && word.chars().count() == 2;
    match field {
        "sample" => {
            !raw.split_whitespace().next().is_some_and(initial)
                && raw.chars().filter(|c| c.is_alphabetic()).count() >= 2
                && !is_condition(raw)
                && words::quantity_of(raw).is_none()
        }
        "sample-id" => !raw
            .split_whitespace()
            .any(|word| matches!(field_of(word), Some("instrument"))),
        "date" => found.fits && free::has_year(raw) || found.question.is_some(),
        "operator" => is_somebody(raw),
        "path-length" => {
            found.fits && number && (found.unit_written || unit_in_key) && is_length_of_a_cell(found)
        }
        _ => found.fits && number && (found.unit_written || unit_in_key),
    }
}

/// Whether a length is one that cells have, in their units: no film of 20 nm, and no column of half a metre.
pub(super) fn is_length_of_a_cell(found: &Interpretation) -> bool {
    let Value::Number(value) = found.value else {
        return true;
    };
    let Some(unit) = &found.unit else { return true };
    let centimetres = Unit::ucum("cm")
        .ok()
        .and_then(|centimetre| unit.convert(value, &centimetre).ok());
    unit.code() != "nm" && centimetres.is_none_or(|length| (0.000_5..=20.0).contains(&length))
}

/// Whether the identity of a sample is its name, in words, and no code: `øl, 1:5 i vann`, and not `BX-2041`.
pub(super) fn is_name(id: &str) -> bool {
    const SHORTEST_ALONE: usize = 5;
    let word = |word: &str| {
        let bare = word.trim_matches(|c: char| !c.is_alphanumeric());
        let letters = bare.chars().filter(|c| c.is_alphabetic()).count();
        let plain = bare
            .chars()
            .all(|c| c.is_alphabetic() || matches!(c, '-' | '\'' | '’'));
        // Capitals alone are a code.
        plain
            && letters >= 2
            && (bare.contains(|c: char| c.is_lowercase()) || bare.chars().any(is_of_a_wide_script))
    };
    let all: Vec<&str> = id.split_whitespace().collect();
    match all.as_slice() {
        [] => false,
        [one] => word(one) && (one.chars().count() >= SHORTEST_ALONE || one.chars().all(is_of_a_wide_script)),
        [first, ..] => {
            let named = all.iter().filter(|one| word(one)).count();
            let code =
                |one: &str| one.contains(|c: char| c.is_ascii_digit()) && one.contains(char::is_uppercase);
            named >= 2 && !code(first) && 2 * named >= all.len()
                || word(first) && named == 1 && all.len() == 2 && !code(all[1])
        }
    }
}

/// The fields without identities that are names: where no sample is stated, they name it.
pub(crate) fn take_names(fields: &mut Fields) {
    if !fields.all("sample").is_empty() {
        return;
    }
    let names = |claim: &Claim| matches!(&claim.value, Value::Text(text) if is_name(text));
    if !fields.all("sample-id").iter().any(names) {
        return;
    }
    for claim in fields.remove("sample-id") {
        let field = if names(&claim) { "sample" } else { "sample-id" };
        fields.claim(field, claim);
    }
}

/// Where a name ends and a day begins behind it, `Salma B. - 09/10/2018`, `L. Quist (2018-10-09)`, and whether it is one day alone.
pub(super) fn day_behind_name(raw: &str, order: Option<DatePartOrder>) -> Option<(usize, usize, bool)> {
    let at = raw.find(|c: char| c.is_ascii_digit()).filter(|at| *at > 0)?;
    let day = raw[at..].trim_end_matches([')', ']', ' ', ';', ',']);
    if !free::has_year(day) {
        return None;
    }
    let read = curvary_record::moment::read(day, order).date;
    let sign =
        |c: char| c.is_whitespace() || matches!(c, '-' | '–' | '—' | ',' | ';' | '/' | '(' | '[' | '|' | '·');
    let mut name = raw[..at].trim_end_matches(sign);
    if let Some((front, last)) = name.rsplit_once(' ')
        && last.starts_with(char::is_lowercase)
        && words::is(WordList::OnDay, last)
    {
        name = front.trim_end_matches(sign);
    }
    // `L. Quist, born 1990-02-03`, `L. Quist since 2012-01-03` tell of another day.
    let particle = |word: &str| words::is(WordList::NameParticle, word);
    let named = name.chars().any(char::is_alphabetic)
        && name
            .split([' ', ','])
            .all(|word| !word.starts_with(char::is_lowercase) || particle(word));
    let sure = matches!(read, curvary_record::moment::DateReading::Read(_));
    (read.is_day() && named).then_some((name.len(), at, sure))
}

/// Whether a key that stands alone on its line and a text on the line below it go together: `Measured on` over `23 September 2015`.
pub(crate) fn goes_with(key: &str, value: &str) -> bool {
    const MOST_WORDS: usize = 8;
    let customs = Customs::default();
    let value = value.trim();
    let sentence = value.ends_with(['.', '!', '?', ':']) && value.split_whitespace().count() > 3;
    let plain = !value.is_empty()
        && value.split_whitespace().count() <= MOST_WORDS
        && !sentence
        && !is_known(value)
        && composed(value).is_none()
        && !is_empty_value(key, value);
    if !plain {
        return false;
    }
    let (field, found) = understand(key, value, customs);
    let Some(known) = field.known() else { return false };
    let day = matches!(known.kind, ValueKind::Date);
    match known.kind {
        ValueKind::Text => {
            const SHORTEST: usize = 3;
            let of_a_column = |word: &str| {
                word.chars().count() >= SHORTEST
                    && words::quantity_of(word).is_some_and(|of| of.is_of_light())
            };
            value.contains(char::is_alphanumeric)
                && !value.contains("  ")
                && spelled(value) == Spelling::None
                && words::quantity_of(value).is_none()
                && !value.split_whitespace().any(of_a_column)
        }
        _ => {
            found.fits && !matches!(found.value, Value::Text(_))
                || day && (found.fits || found.question.is_some())
        }
    }
}

/// Keys in brackets with their values behind them: `【試料名】紅花`, `[Sample] beet`.
pub(super) fn bracketed(line: &str, body: &Range<usize>) -> Option<Vec<KeyValueSpan>> {
    let text = &line[body.clone()];
    let mut keys: Vec<(usize, Range<usize>, usize)> = Vec::new();
    let mut at = 0;
    while let Some((begin, open)) = text[at..].char_indices().find(|(_, c)| closing(*c).is_some()) {
        let begin = at + begin;
        let inside = begin + open.len_utf8();
        let close = closing(open)?;
        let Some(end) = text[inside..].find(close).map(|end| inside + end) else {
            break;
        };
        let behind = end + close.len_utf8();
        let key = trim(text, inside..end);
        // `<Path> 0.1 cm`: the value says what is meant.
        let fits = || {
            let value = text[behind..].split(['[', '<', '【']).next().unwrap_or("").trim();
            let (_, found) = understand(&text[key.clone()], value, Customs::default());
            !fields_if_fitting(&text[key.clone()]).is_empty() && found.fits && found.unit_written
        };
        let known = is_key(&text[key.clone()]) && (field_of(&text[key.clone()]).is_some() || fits());
        // `[S]` is a key with its brackets.
        if known && (open != '[' || field_of(&text[begin..behind]).is_none()) {
            keys.push((begin, key, behind));
        } else if keys.is_empty() {
            return None;
        }
        at = behind;
    }
    if keys.first().is_none_or(|(begin, ..)| *begin > 0) {
        return None;
    }
    let mut pairs = Vec::with_capacity(keys.len());
    for (place, (_, key, behind)) in keys.iter().enumerate() {
        let end = keys.get(place + 1).map_or(text.len(), |next| next.0);
        let said = text[*behind..end].trim_start_matches([':', '=', ' ', '\t', '：']);
        // `<Sample>beet</Sample>`
        let said = &said[..said.find("</").unwrap_or(said.len())];
        let value = crate::slice::range_in(line, said);
        let value = bare(line, value);
        let words = &line[value.clone()];
        let head = crate::column_header::read_column_header(words);
        if words.is_empty()
            || words.starts_with(|c| closing(c).is_some())
            || head.quantity.is_some() && head.held.is_empty()
        {
            return None;
        }
        pairs.push(KeyValueSpan {
            key: body.start + key.start..body.start + key.end,
            value,
            mark: ':',
            says: None,
        });
    }
    Some(pairs)
}

/// `[Sample: beet] [Cell: 5 cm]`: several brackets, in each of them a key and its value; and the attributes of a tag,
/// `<assay name="urease" temp="30.0 C">`, of which one at least is of the trade.
pub(super) fn in_brackets(line: &str, body: &Range<usize>) -> Option<Vec<KeyValueSpan>> {
    let text = &line[body.clone()];
    if text.starts_with('<') {
        return attributes(line, body);
    }
    if !text.starts_with('[') || !text.ends_with(']') {
        return None;
    }
    let mut pairs = Vec::new();
    let mut at = body.start;
    while let Some(open) = line[at..body.end].find('[').map(|open| at + open) {
        let close = open + line[open..body.end].find(']')?;
        if !line[at..open].trim().is_empty() {
            return None;
        }
        let inside = trim(line, open + 1..close);
        let mut found =
            line::marked(line, inside.clone(), ':').or_else(|| line::marked(line, inside, '='))?;
        let known = |pair: &KeyValueSpan| is_known(&line[pair.key.clone()]);
        if !found.iter().all(known) {
            return None;
        }
        pairs.append(&mut found);
        at = close + 1;
    }
    (!pairs.is_empty()).then_some(pairs)
}

/// The attributes of a tag as keys and values. A unit that stands beside a value between tags goes with it:
/// `<pathlength unit="mm">10</pathlength>`.
fn attributes(line: &str, body: &Range<usize>) -> Option<Vec<KeyValueSpan>> {
    let text = &line[body.clone()];
    let end = text.find('>')?;
    let tag = &text[1..end];
    let (name, mut rest) = tag.split_once(' ')?;
    let mut given: Vec<(&str, &str)> = Vec::new();
    while let Some((key, behind)) = rest.split_once('=') {
        let quote = behind.chars().next().filter(|sign| matches!(sign, '"' | '\''))?;
        let (value, further) = behind[1..].split_once(quote)?;
        given.push((key.trim(), value));
        rest = further;
    }
    let pair = |key: &str, value: &str, says: Option<String>| KeyValueSpan {
        key: crate::slice::range_in(line, key),
        value: bare(line, crate::slice::range_in(line, value)),
        mark: '=',
        says,
    };
    let said = text[end + 1..].split("</").next().unwrap_or("").trim();
    if is_known(name) && !said.is_empty() {
        let unit = given
            .iter()
            .find(|(key, _)| field_of(key).is_none() && key.contains("unit"));
        let says = unit.map(|(_, unit)| format!("{said} {unit}"));
        return Some(vec![pair(name, said, says)]);
    }
    let known = given.iter().any(|(key, _)| is_known(key));
    let pairs = given
        .iter()
        .filter(|(key, value)| is_key(key) && !value.trim().is_empty());
    known.then(|| pairs.map(|(key, value)| pair(key, value, None)).collect())
}

/// The bracket that closes one.
fn closing(open: char) -> Option<char> {
    Some(match open {
        '[' => ']',
        '<' => '>',
        '【' => '】',
        '「' => '」',
        '『' => '』',
        '〔' => '〕',
        '［' => '］',
        '《' => '》',
        '〈' => '〉',
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_of_a_key_tell_its_field() {
        for (key, field) in [
            ("Prøve-ID", "sample-id"),
            ("ID de la muestra", "sample-id"),
            ("試料ID", "sample-id"),
            ("Client sample", "sample"),
            ("échantillon du client", "sample"),
            ("UV spectrum of", "sample"),
            ("Data do ensaio", "date"),
            ("Versuchsdatum", "date"),
            ("Erstellt am", "date"),
            ("flow cell", "path-length"),
            ("cuve en quartz", "path-length"),
            ("Durchflussküvette", "path-length"),
            ("T bath", "temperature"),
            ("Long. de onda", "wavelength"),
            ("Дл. волны", "wavelength"),
            ("Wellenl.", "wavelength"),
        ] {
            assert_eq!(composed(key), Some(field), "{key}");
        }
    }

    #[test]
    fn parts_of_something_else_tell_nothing() {
        for key in [
            "Instrument ID",
            "Operator ID",
            "Blank sample",
            "Sample holder",
            "Number of samples",
            "Spectrum of the lamp",
            "Spectrum by",
            "Spectrum in",
            "Date of receipt",
            "Kalibrierungsdatum",
            "Date of calibration",
            "Report created",
            "Template created",
            "solar cell",
            "cell culture",
            "Long.",
            "Ref. wavel.",
            "Stor. temp.",
        ] {
            assert_eq!(composed(key), None, "{key}");
        }
    }

    #[test]
    fn names_are_words_and_codes_are_not() {
        for name in [
            "øl, 1:5 i vann",
            "crude extract of beet",
            "Karottenextrakt",
            "紅茶",
            "safranin O",
        ] {
            assert!(is_name(name), "{name}");
        }
        for code in [
            "BX-2041", "K7", "17 B", "2024/117", "R-2203/4", "ABC", "AB C 12", "A17 left", "LQ",
        ] {
            assert!(!is_name(code), "{code}");
        }
    }

    #[test]
    fn a_day_behind_a_name_is_parted_from_it() {
        let parted = |raw: &'static str| {
            day_behind_name(raw, None).map(|(name, day, sure)| (&raw[..name], &raw[day..], sure))
        };
        assert_eq!(
            parted("Salma B. - 09/10/2018"),
            Some(("Salma B.", "09/10/2018", false))
        );
        assert_eq!(
            parted("L. Quist (2018-10-09)"),
            Some(("L. Quist", "2018-10-09)", true))
        );
        assert_eq!(
            parted("L. Quist am 19.10.2018"),
            Some(("L. Quist", "19.10.2018", true))
        );
        assert_eq!(parted("L. Quist, room 2018"), None);
        assert_eq!(parted("team 4"), None);
    }

    #[test]
    fn a_value_below_a_key_goes_with_it() {
        for (key, value) in [
            ("Sample name", "cobalt glass two"),
            ("Measured on", "23 September 2015"),
            ("Temperature", "25 °C"),
        ] {
            assert!(goes_with(key, value), "{key}: {value}");
        }
        for (key, value) in [
            ("Sample", "nm"),
            ("Sample", "nm  Abs"),
            ("Sample", "Absorbance"),
            ("Sample", "kept on ice in the dark, then measured twice."),
            ("Date", "Operator"),
            ("Temperature", "kept"),
        ] {
            assert!(!goes_with(key, value), "{key}: {value}");
        }
    }
}
