//! Conditions that prose around a table states: `… was measured on 6 May 2018 at 25 °C in a cell of 10 mm path length`.
//!
//! Prose also tells what was done to a sample: heated to 90 °C, kept at 4 °C. So a temperature, a pH or a date is taken only
//! where it stands in one chain with a word of measuring, `measured on … at … in …`, or `am … bei … gemessen`, with nothing
//! between them but other conditions and small words. The length of a cell names itself. What two sentences say differently
//! is not taken; what no sentence says plainly stays unknown.

use curvary_record::moment::{self, DateReading};

use super::free::{free, has_year, is_duration};
use super::*;
use crate::words::WordList;

/// A line of prose has so many words, at least.
const FEWEST_WORDS: usize = 4;
/// Longer paragraphs are stories.
const LONGEST_PARAGRAPH: usize = 4000;

/// Lines of words that follow upon one another, as one text. Each byte of it knows where it stood.
#[derive(Default)]
struct Paragraph {
    text: String,
    /// For each piece of the text, where it begins, and where it began in the source.
    pieces: Vec<(usize, usize)>,
}

impl Paragraph {
    fn add(&mut self, line: &str, at: usize) {
        // A word that was parted at the end of a line.
        let cut = self.text.trim_end_matches(['-', '\u{AD}']).len();
        let parted = cut < self.text.len()
            && self.text[..cut].ends_with(char::is_alphabetic)
            && line.starts_with(char::is_lowercase);
        if parted {
            self.text.truncate(cut);
        } else if !self.text.is_empty() {
            self.text.push(' ');
        }
        self.pieces.push((self.text.len(), at));
        self.text.push_str(line);
    }

    /// Where a part of the text stood, from its first to its last byte.
    fn place(&self, part: Range<usize>) -> Range<usize> {
        let of = |at: usize| {
            let piece = self.pieces.partition_point(|(begins, _)| *begins <= at);
            let (begins, stood) = self
                .pieces
                .get(piece.saturating_sub(1))
                .copied()
                .unwrap_or((0, 0));
            stood + (at - begins)
        };
        let last = part.end.saturating_sub(1).max(part.start);
        of(part.start)..of(last) + 1
    }
}

/// A word of a sentence, without the signs behind it.
struct SentenceWord<'t> {
    text: &'t str,
    at: Range<usize>,
    /// The sign behind it.
    behind: Option<char>,
}

impl SentenceWord<'_> {
    fn is(&self, list: WordList) -> bool {
        words::is(list, self.text)
    }

    fn number(&self) -> bool {
        self.text.starts_with(|c: char| c.is_ascii_digit())
    }
}

/// Hears what the prose among lines of words says. `lines` are byte ranges of the source with their numbers.
pub(crate) fn take_prose(
    passing: &mut Passing,
    source: &Source,
    lines: impl IntoIterator<Item = (u32, Range<usize>)>,
) {
    let mut paragraph = Paragraph::default();
    let mut next = None;
    for (number, range) in lines {
        let line = text(source, range.clone());
        let inner = trim(line, 0..line.len());
        if next != Some(number) {
            sentences(passing, source, &std::mem::take(&mut paragraph));
        }
        next = number.checked_add(1);
        let inside = &line[inner.clone()];
        // Cells side by side are no prose.
        if inside.contains('\t') || inside.contains("   ") || paragraph.text.len() > LONGEST_PARAGRAPH {
            sentences(passing, source, &std::mem::take(&mut paragraph));
            continue;
        }
        paragraph.add(inside, range.start + inner.start);
        // A heading, or the end of a paragraph.
        if inside.split(' ').count() < FEWEST_WORDS - 1 {
            sentences(passing, source, &std::mem::take(&mut paragraph));
        }
    }
    sentences(passing, source, &paragraph);
}

fn sentences(passing: &mut Passing, source: &Source, paragraph: &Paragraph) {
    if paragraph.text.len() > LONGEST_PARAGRAPH || !paragraph.text.bytes().any(|byte| byte.is_ascii_digit()) {
        return;
    }
    let mut sentence: Vec<SentenceWord<'_>> = Vec::new();
    let mut words = words_of(&paragraph.text).into_iter().peekable();
    while let Some(word) = words.next() {
        let ends = word.behind == Some('.')
            && words
                .peek()
                .is_none_or(|next| next.text.starts_with(char::is_uppercase) && !is_short(&word));
        sentence.push(word);
        if ends || words.peek().is_none() {
            if sentence.len() >= FEWEST_WORDS {
                take_sentence(passing, source, paragraph, &sentence);
            }
            sentence.clear();
        }
    }
}

/// `M. W.`, `9. Oktober`: a point behind these ends no sentence.
fn is_short(word: &SentenceWord<'_>) -> bool {
    let letters = word.text.chars().count() == 1 && word.text.starts_with(char::is_alphabetic);
    let day = word.text.len() <= 2 && word.text.bytes().all(|byte| byte.is_ascii_digit());
    letters || day
}

fn words_of(text: &str) -> Vec<SentenceWord<'_>> {
    let mut words = Vec::new();
    let mut from = 0;
    for part in text.split(' ') {
        let lead = part.len() - part.trim_start_matches(['(', '[', '"', '„', '“', '«']).len();
        let bare = &part[lead..];
        let bare = bare.trim_end_matches(['.', ',', ';', ':', ')', ']', '"', '“', '”', '»', '!', '?']);
        if !bare.is_empty() {
            let start = from + lead;
            words.push(SentenceWord {
                text: bare,
                at: start..start + bare.len(),
                behind: part[lead + bare.len()..].chars().next(),
            });
        }
        from += part.len() + 1;
    }
    words
}

/// What a part of a sentence is.
enum SentencePart {
    /// A condition that is claimed.
    Said(&'static str, Box<Claim>),
    /// A condition that is none of the run, or is claimed elsewhere: a wavelength, a time of day, a length.
    Aside,
    /// A length of time: what comes with it may be a treatment.
    Duration,
}

struct Sentence<'a> {
    source: &'a Source,
    paragraph: &'a Paragraph,
    words: &'a [SentenceWord<'a>],
    customs: Customs,
}

fn take_sentence(passing: &mut Passing, source: &Source, paragraph: &Paragraph, words: &[SentenceWord<'_>]) {
    let sentence = Sentence {
        source,
        paragraph,
        words,
        customs: customs(source),
    };
    for claim in sentence.lengths_of_cells() {
        passing.push("path-length", claim);
    }
    // What is to be done, or was not, tells nothing of what was done.
    let denied = |word: &SentenceWord<'_>| word.is(WordList::Negation) || word.is(WordList::Intended);
    for at in 0..words.len() {
        if !words[at].is(WordList::Measured) {
            continue;
        }
        let around = &words[at.saturating_sub(3)..(at + 2).min(words.len())];
        if around.iter().any(denied) || !sentence.is_of_the_sample(at) {
            continue;
        }
        let mut said = sentence.behind(at);
        said.extend(sentence.in_front(at));
        let unsaid = |wanted: &str| said.iter().all(|(field, _)| *field != wanted);
        let (ph, solvent) = (
            unsaid("ph").then(|| sentence.ph_of_the_buffer(at)).flatten(),
            sentence.solvent(at),
        );
        for (field, claim) in said {
            passing.push(field, claim);
        }
        passing_on(passing, "ph", ph);
        passing_on(passing, "solvent", solvent);
    }
    // `die Messung bei 412 nm und 25 °C`: what is said beside the wavelength of a measurement is of it.
    let at_wavelength = words.iter().any(|word| word.text.ends_with("nm"));
    for at in 0..words.len() {
        if !at_wavelength || !sentence.names_the_measuring(at) || words[..at].iter().any(denied) {
            continue;
        }
        for (field, claim) in sentence.behind(at) {
            if field == "temperature" {
                passing.push(field, claim);
            }
        }
    }
    for at in 1..words.len() {
        if words[at].is(WordList::Begun)
            && sentence.is_of_a_measurement(at)
            && !words[..at].iter().any(denied)
        {
            for (field, claim) in sentence.behind(at) {
                // What it was begun at, it need not have been kept at.
                if field == "date" {
                    passing.push(field, claim);
                }
            }
        }
    }
}

fn passing_on(passing: &mut Passing, field: &'static str, claim: Option<Claim>) {
    if let Some(claim) = claim {
        passing.push(field, claim);
    }
}

impl Sentence<'_> {
    /// Whether what was measured is what light went through: a sentence that begins with the word of measuring names nothing
    /// else; others speak of a spectrum, an absorbance, a wavelength, a solution, a cell. What speaks of the measurement of
    /// something else, `the pH was measured`, `the blank was measured`, does not.
    fn is_of_the_sample(&self, verb: usize) -> bool {
        let before = &self.words[..verb];
        let followed_by_number = |at: usize| self.words.get(at + 1).is_some_and(SentenceWord::number);
        let of_another = before.iter().enumerate().any(|(at, word)| {
            matches!(
                field_of(word.text),
                Some("blank" | "baseline" | "reference" | "instrument" | "solvent" | "pressure" | "volume")
            ) || matches!(field_of(word.text), Some("temperature" | "ph")) && !followed_by_number(at)
        });
        let of_light = |(at, word): (usize, &SentenceWord<'_>)| {
            let lower = word.text.to_lowercase();
            words::begins(WordList::Spectrum, &lower)
                || words::begins(WordList::Kinetics, &lower)
                || words::begins(WordList::MeasuredThing, &lower)
                || word.text.ends_with("nm")
                || words::quantity_of(word.text).is_some_and(|quantity| quantity.is_of_light())
                || self.cell_word(at).is_some()
        };
        !of_another && (verb == 0 || self.words.iter().enumerate().any(of_light))
    }

    /// Whether a word names the measuring, `the measurement at 412 nm and 25 °C`, and what comes behind it begins with a wavelength.
    fn names_the_measuring(&self, at: usize) -> bool {
        let lower = self.words[at].text.to_lowercase();
        let named = words::begins(WordList::BegunThing, &lower)
            || words::ends(WordList::BegunThing, &lower)
            || words::begins(WordList::Kinetics, &lower);
        let mut behind = self.words[at + 1..].iter().skip_while(|word| {
            word.is(WordList::At) || word.is(WordList::InChain) || word.is(WordList::Link)
        });
        let (Some(value), unit) = (behind.next(), behind.next()) else {
            return false;
        };
        let nanometres = value.text.ends_with("nm") || unit.is_some_and(|unit| unit.text == "nm");
        named && value.number() && nanometres
    }

    /// Whether what was begun is a measurement: `The run was started …`.
    fn is_of_a_measurement(&self, verb: usize) -> bool {
        let subject = self.words[..verb]
            .iter()
            .rev()
            .find(|word| !word.is(WordList::Auxiliary) && !word.is(WordList::InChain));
        subject.is_some_and(|word| {
            let lower = word.text.to_lowercase();
            words::begins(WordList::BegunThing, &lower) || words::begins(WordList::Kinetics, &lower)
        })
    }

    /// The pH of the buffer that the sample is in, named in front of the word of measuring: `A solution in phosphate buffer of
    /// pH 7.0 was filtered and its spectrum measured`. Only where it is what the sentence is about, nothing with a number was
    /// done to it before, and the prose has no other pH.
    fn ph_of_the_buffer(&self, verb: usize) -> Option<Claim> {
        if self.paragraph.text.matches("pH").count() != 1 {
            return None;
        }
        let at = self.words[..verb].iter().position(|word| word.text == "pH")?;
        let auxiliary = self.words.iter().position(|word| word.is(WordList::Auxiliary))?;
        let done = self.words.get(auxiliary..verb)?;
        let plain = done.len() <= 6
            && !done
                .iter()
                .any(|word| word.number() || word.is(WordList::Against));
        if auxiliary < at || !plain {
            return None;
        }
        let before = &self.words[at.saturating_sub(2)..at];
        let (buffer, small) = match before {
            [buffer, small] if small.is(WordList::InChain) || small.is(WordList::Link) => (buffer, true),
            [.., buffer] => (buffer, false),
            [] => return None,
        };
        let name = at.checked_sub(2 + usize::from(small))?;
        // `in buffer`, `in 20 mM phosphate buffer`: what was dialysed or washed stands against it or with it.
        let inside = self.words[name.saturating_sub(3)..=name]
            .iter()
            .any(|word| word.is(WordList::Inside));
        let is_buffer =
            field_of(buffer.text) == Some("buffer") || fields_if_fitting(buffer.text).contains(&"buffer");
        match self.part(at)? {
            (_, SentencePart::Said("ph", claim)) if is_buffer && inside => Some(*claim),
            _ => None,
        }
    }

    /// What a sample was dissolved in by one sentence and measured against by another.
    fn solvent(&self, verb: usize) -> Option<Claim> {
        let against = (verb..self.words.len()).find(|at| self.words[*at].is(WordList::Against))?;
        let word = self.words.get(against + 1)?;
        let plain =
            word.text.chars().count() >= 4 && word.text.chars().all(|c| c.is_alphabetic() || c == '-');
        let ends = matches!(word.behind, Some('.' | ',' | ';')) || against + 2 >= self.words.len();
        let all = words_of(&self.paragraph.text);
        let dissolved = all.windows(2).any(|pair| {
            pair[0].is(WordList::Inside) && pair[0].behind.is_none() && pair[1].text == word.text
        });
        if !(plain && ends && dissolved) || field_of(word.text).is_some() {
            return None;
        }
        let value = Value::Text(word.text.to_owned());
        let at = self.paragraph.place(word.at.clone());
        Some(free(value, None, word.text, self.source, &at))
    }

    /// Whether a further temperature comes behind a chain, before another clause begins: then which of them is the sample's is
    /// not said plainly. `… that had been kept at 0 °C` is a clause of its own.
    fn states_another_temperature(&self, from: usize) -> bool {
        (from..self.words.len())
            .take_while(|at| !self.words[*at].is(WordList::Auxiliary))
            .any(|at| matches!(self.part(at), Some((_, SentencePart::Said("temperature", _)))))
    }

    /// The conditions in the chain behind a word of measuring.
    fn behind(&self, verb: usize) -> Vec<(&'static str, Claim)> {
        let mut said = Vec::new();
        let mut at = verb + 1;
        // `We measured it on …`: what was measured may stand between.
        let mut between = 1;
        while let Some(word) = self.words.get(at) {
            if self.words[at - 1].behind == Some(';') {
                break;
            }
            if let Some((length, part)) = self.part(at) {
                let ends = at + length;
                match part {
                    SentencePart::Duration => break,
                    SentencePart::Said(field, claim) if self.is_closed(ends) => said.push((field, *claim)),
                    // `in 2 °C steps`
                    SentencePart::Said(..) => break,
                    SentencePart::Aside => {}
                }
                at = ends;
                between = 0;
                continue;
            }
            if word.is(WordList::InChain) || word.is(WordList::Auxiliary) {
                at += 1;
            } else if word.is(WordList::Against) && at + 1 < self.words.len() {
                at += 2;
                between = 0;
            } else if let Some(length) = self.cell(at) {
                at += length;
                between = 0;
            } else if between > 0 && word.text.chars().count() <= 3 && !word.number() {
                between -= 1;
                at += 1;
            } else {
                break;
            }
        }
        if self.states_another_temperature(at) {
            said.retain(|(field, _)| *field != "temperature");
        }
        said
    }

    /// The conditions in the chain in front of a word of measuring that ends its clause, as in German:
    /// `wurde am 25.02.2014 bei 20 °C gemessen`, `wurde erwärmt und bei 20 °C gemessen`. The clause holds nothing else.
    fn in_front(&self, verb: usize) -> Vec<(&'static str, Claim)> {
        let begins = |word: &SentenceWord<'_>| {
            word.is(WordList::Auxiliary) || word.is(WordList::And) || matches!(word.behind, Some(',' | ';'))
        };
        let before = &self.words[..verb];
        let Some(begin) = before.iter().rposition(begins) else {
            return Vec::new();
        };
        if !before.iter().any(|word| word.is(WordList::Auxiliary)) {
            return Vec::new();
        }
        let mut said = Vec::new();
        let mut at = begin + 1;
        while at < verb {
            if let Some((length, part)) = self.part(at).filter(|(length, _)| at + length <= verb) {
                match part {
                    SentencePart::Duration => return Vec::new(),
                    SentencePart::Said(field, claim) => said.push((field, *claim)),
                    SentencePart::Aside => {}
                }
                at += length;
            } else if self.words[at].is(WordList::InChain) {
                at += 1;
            } else if let Some(length) = self.cell(at) {
                at += length;
            } else {
                return Vec::new();
            }
        }
        said
    }

    /// Whether nothing that belongs to it comes behind a condition: the sentence or its clause ends, or a small word follows.
    fn is_closed(&self, next: usize) -> bool {
        let Some(word) = self.words.get(next) else {
            return true;
        };
        self.words[next - 1].behind.is_some()
            || word.is(WordList::InChain)
            || word.is(WordList::Auxiliary)
            || word.is(WordList::BehindChain)
    }

    /// A cell, with at most two words in front that say of what kind it is, and how many words that are.
    fn cell(&self, at: usize) -> Option<usize> {
        (0..3)
            .take_while(|more| {
                *more == 0
                    || self
                        .words
                        .get(at + more - 1)
                        .is_some_and(|word| word.behind.is_none())
            })
            .find_map(|more| self.cell_word(at + more).map(|length| more + length))
            .filter(|length| (at..at + length).all(|at| !self.words[at].number()))
    }

    /// A word for the cell or its length, `cell`, `path length`, and of how many words it is.
    fn cell_word(&self, at: usize) -> Option<usize> {
        let first = self.words.get(at)?;
        let is_cell = |text: &str| {
            field_of(text) == Some("path-length")
                || text.chars().count() > 2 && fields_if_fitting(text).contains(&"path-length")
        };
        // `Quarzküvette`, `kvartskyvett`
        let compound = || words::ends(WordList::CellEnd, &first.text.to_lowercase());
        let second = self.words.get(at + 1).filter(|_| first.behind.is_none());
        let two = second.is_some_and(|second| is_cell(&format!("{} {}", first.text, second.text)));
        if two {
            return Some(2);
        }
        (is_cell(first.text) || compound()).then_some(1)
    }

    /// What stands at a word, and of how many words it is.
    fn part(&self, at: usize) -> Option<(usize, SentencePart)> {
        let first = self.words.get(at)?;
        let text_of = |length: usize| -> Option<(&str, Range<usize>)> {
            let last = self.words.get(at + length - 1)?;
            let inside = &self.words[at..at + length - 1];
            // A comma or the end of a bracket ends it; the point of a day does not.
            if inside
                .iter()
                .any(|word| word.behind.is_some_and(|sign| sign != '.'))
            {
                return None;
            }
            let range = first.at.start..last.at.end;
            Some((&self.paragraph.text[range.clone()], range))
        };
        for length in 1..=5 {
            let Some((raw, range)) = text_of(length) else {
                continue;
            };
            if has_year(raw)
                && let moment = moment::read(raw, self.customs.order)
                && let DateReading::Read(date) = &moment.date
            {
                let claim = free(
                    Value::Text(date.iso.clone()),
                    None,
                    raw,
                    self.source,
                    &self.paragraph.place(range),
                );
                return Some((length, SentencePart::Said("date", Box::new(claim))));
            }
        }
        if first.text == "pH" {
            let (raw, range) = text_of(2)?;
            let found = interpret_as(&Key::new("ph"), self.words[at + 1].text, None, self.customs);
            let sure = found.fits && matches!(found.value, Value::Number(_));
            return sure.then(|| (2, self.part_of("ph", &found, raw, range)));
        }
        if !first.number() {
            return None;
        }
        if is_clock(first.text) {
            return Some((1, SentencePart::Aside));
        }
        (1..=2).rev().find_map(|length| {
            let (raw, range) = text_of(length)?;
            let read = |field: &str| {
                let found = interpret_as(&Key::new(field), raw, None, self.customs);
                let sure = matches!(found.value, Value::Number(_)) && found.unit_written;
                (sure && found.question.is_none()).then_some(found)
            };
            if is_duration(raw, self.customs) {
                return Some((length, SentencePart::Duration));
            }
            if let Some(found) = read("temperature") {
                let Value::Number(value) = found.value else {
                    return None;
                };
                let plain = raw.contains(['°', 'º', '℃']) && (-80.0..=150.0).contains(&value) && found.fits;
                return plain.then(|| (length, self.part_of("temperature", &found, raw, range)));
            }
            let aside = ["wavelength", "path-length"]
                .iter()
                .any(|field| read(field).is_some_and(|found| found.fits));
            // `in 50 mM Tris`: the medium, and the pH that it has goes on with the chain.
            if !aside && read("concentration").is_some() {
                let name = self.words.get(at + length)?;
                let medium = name.text.starts_with(char::is_alphabetic);
                let buffer = self
                    .words
                    .get(at + length + 1)
                    .filter(|word| name.behind.is_none() && field_of(word.text) == Some("buffer"));
                return medium.then(|| (length + 1 + usize::from(buffer.is_some()), SentencePart::Aside));
            }
            aside.then_some((length, SentencePart::Aside))
        })
    }

    fn part_of(
        &self,
        field: &'static str,
        found: &Interpretation,
        raw: &str,
        at: Range<usize>,
    ) -> SentencePart {
        let origin = origin(self.source, &self.paragraph.place(at));
        SentencePart::Said(field, Box::new(found.claim(raw, origin)))
    }

    /// The lengths that stand beside a word for the cell or its length: `in a cell of 10 mm`, `10 mm path length`,
    /// `the path length was 1 cm`.
    fn lengths_of_cells(&self) -> Vec<Claim> {
        let mut lengths = Vec::new();
        for at in 0..self.words.len() {
            if !self.words[at].number() {
                continue;
            }
            // The length is one word (`1cm`) or two.
            let length = if self.words[at].text.ends_with('m') { 1 } else { 2 };
            let end = at + length;
            let Some(last) = self.words.get(end - 1) else {
                break;
            };
            let range = self.words[at].at.start..last.at.end;
            let raw = &self.paragraph.text[range.clone()];
            let found = interpret_as(&Key::new("path-length"), raw, None, self.customs);
            let unit = found.unit.as_ref().map(Unit::code);
            let sure = matches!(found.value, Value::Number(_))
                && found.fits
                && found.unit_written
                && found.question.is_none()
                && matches!(unit, Some("mm" | "cm"));
            if sure && (self.is_of_cell_behind(end) || self.is_of_cell_in_front(at)) {
                let origin = origin(self.source, &self.paragraph.place(range));
                lengths.push(found.claim(raw, origin));
            }
        }
        lengths
    }

    fn is_of_cell_behind(&self, end: usize) -> bool {
        let open = self
            .words
            .get(end - 1)
            .is_some_and(|word| !matches!(word.behind, Some('.' | ';' | ',')));
        open && (0..2).any(|more| {
            let kind = more == 0
                || self.words.get(end).is_some_and(|word| {
                    word.behind.is_none() && !word.is(WordList::InChain) && !word.number()
                });
            kind && self.cell_word(end + more).is_some()
        })
    }

    fn is_of_cell_in_front(&self, at: usize) -> bool {
        // A cell, and at most one small word or auxiliary: `a cell of`, `the path length was`.
        let ends_at = |end: usize| {
            let one = end.checked_sub(1).filter(|at| self.cell_word(*at) == Some(1));
            let two = end.checked_sub(2).filter(|at| self.cell_word(*at) == Some(2));
            one.or(two).is_some()
                && self
                    .words
                    .get(end - 1)
                    .is_some_and(|word| word.behind != Some('.'))
        };
        let small = at.checked_sub(1).filter(|before| {
            let word = &self.words[*before];
            word.is(WordList::InChain)
                || word.is(WordList::Link)
                || word.is(WordList::Auxiliary)
                || word.is(WordList::Amounts)
        });
        ends_at(at) || small.is_some_and(ends_at)
    }
}

/// `10:15`
fn is_clock(text: &str) -> bool {
    let digits = |part: &str| (1..=2).contains(&part.len()) && part.bytes().all(|byte| byte.is_ascii_digit());
    text.contains(':') && text.split(':').all(digits)
}
