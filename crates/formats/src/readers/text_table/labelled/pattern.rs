//! Lines that differ in nothing but numbers, times and names: `Prov V1: absorbans 0,012`, `10:03 - Lidia: 440 nm 0,217`.
//!
//! Here the lines themselves tell what their form is: a word or a sign that stands at one place in all of them belongs to
//! the form, and what changes was written down. A word of the form in front of a number is its name, a unit behind it is
//! its unit, and words that change in front of all numbers name the row.

use std::borrow::Cow;
use std::ops::Range;

use curvary_record::unit::{Spelling, spelled};
use curvary_record::{KnownQuantity, Quantity};

use super::super::columns::is_unit_of_axis;
use super::marked::{self, ValueModel};
use super::{LONGEST, LabelledPart, clock_length};
use crate::readers::text_table::grid::{ColumnKind, Cursor, line_end};
use crate::words::{self, WordList};

/// Lines of more pieces are prose.
const MOST: usize = 28;
/// More values stand in no line that is written for people.
const MOST_VALUES: usize = 12;
/// So many lines tell the form.
const SAMPLE: usize = 24;
/// Signs that lead from a name, or from what was set, to a value.
const MARKS: [&str; 12] = [":", "=", "->", "-->", "=>", "==>", "→", "⇒", "—", "–", "-", "/"];

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum PieceKind {
    Number,
    /// A time of day.
    Clock,
    /// A day in figures.
    Day,
    Word,
    Sign,
}

/// How a line is taken apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum LineSplit {
    /// Every word is a piece.
    Plain,
    /// All words in front of the first colon are one, since names have one word or several.
    NameFirst,
}

/// A piece of a line, as a byte range of it.
#[derive(Clone, Debug, PartialEq, Eq)]
struct LinePiece {
    kind: PieceKind,
    range: Range<usize>,
}

/// How far lines were looked at for a form.
#[derive(Clone, Copy, Debug)]
pub(super) struct Looked {
    pub(super) bytes: usize,
    /// No line that begins in front of this byte begins a form with values: many lines of one form without values are not looked
    /// at from each of them on.
    pub(super) none_before: usize,
}

/// The form that lines have in common.
pub(super) struct LinePattern {
    how: LineSplit,
    tokens: Vec<FormPiece>,
    parts: Vec<FormPart>,
}

/// What stands at one place of all lines.
struct FormPiece {
    kind: PieceKind,
    /// The text where it belongs to the form.
    fixed: Option<String>,
}

/// Where a value or the name of a row stands, in tokens.
#[derive(Clone, Debug, PartialEq, Eq)]
struct FormPart {
    name: Range<usize>,
    value: Range<usize>,
    unit: Option<usize>,
    kind: ColumnKind,
}

impl LinePattern {
    /// The form of the lines at `cursor`, where at least `least` of them have one and it holds values, and what was looked at.
    pub(super) fn at(text: &str, cursor: Cursor, least: usize) -> (Option<Self>, Looked) {
        let ways = [LineSplit::Plain, LineSplit::NameFirst];
        let (end, _) = line_end(text.as_bytes(), cursor.at);
        let shown = marked::shown(super::without_aside(&text[cursor.at..end]).0);
        let firsts = std::iter::once(None).chain(shown.iter().map(|shown| Some(shown.as_str())));
        let mut all: Option<Looked> = None;
        for (first, how) in firsts.flat_map(|first| ways.map(|how| (first, how))) {
            let (pattern, looked) = Self::tokenised(text, cursor, least, how, first);
            let before = all.unwrap_or(Looked {
                bytes: 0,
                none_before: looked.none_before,
            });
            let together = Looked {
                bytes: before.bytes + looked.bytes,
                none_before: before.none_before.min(looked.none_before),
            };
            if pattern.is_some() {
                return (pattern, together);
            }
            all = Some(together);
        }
        let none = Looked {
            bytes: 0,
            none_before: cursor.at,
        };
        (None, all.unwrap_or(none))
    }

    /// The same of lines that are taken apart in one way, where the first may be `shown` with a figure in place of a marker.
    fn tokenised(
        text: &str,
        cursor: Cursor,
        least: usize,
        how: LineSplit,
        first_shown: Option<&str>,
    ) -> (Option<Self>, Looked) {
        let bytes = text.as_bytes();
        let mut lines: Vec<(Cow<'_, str>, Vec<LinePiece>)> = Vec::new();
        // So many of them have no number where the others have one.
        let mut marked = 0;
        let mut starts: Vec<usize> = Vec::new();
        let mut at = cursor.at;
        while at < bytes.len() && lines.len() < SAMPLE {
            let (end, next) = line_end(bytes, at);
            let line = super::without_aside(&text[at..end]).0;
            let fits = |line: &str| {
                tokens(line, how).filter(|tokens| {
                    lines
                        .first()
                        .is_none_or(|(first, form)| are_alike(first, form, line, tokens))
                })
            };
            let found = match (first_shown, lines.is_empty()) {
                (Some(shown), true) => {
                    marked += 1;
                    tokens(shown, how).map(|tokens| (Cow::Borrowed(shown), tokens))
                }
                _ => fits(line)
                    .map(|tokens| (Cow::Borrowed(line), tokens))
                    .or_else(|| {
                        let (first, _) = lines.first()?;
                        let (shown, tokens) = stand_in(line, first, fits)?;
                        marked += 1;
                        Some((Cow::Owned(shown), tokens))
                    }),
            };
            let Some((line, tokens)) = found else {
                break;
            };
            // A form without words and signs is that of a plain table.
            if lines.is_empty()
                && !tokens
                    .iter()
                    .any(|token| token.kind == PieceKind::Word || is_mark(&line, token))
            {
                break;
            }
            lines.push((line, tokens));
            starts.push(at);
            at = next;
        }
        let mut looked = Looked {
            bytes: at - cursor.at,
            none_before: cursor.at,
        };
        if lines.len() < least || lines.len() - marked < 2 || 2 * marked > lines.len() {
            return (None, looked);
        }
        let pattern = Self::of(&lines, how).filter(|pattern| pattern.holds_values(&lines[0].0, lines.len()));
        if pattern.is_none() && lines.len() == SAMPLE {
            looked.none_before = starts[SAMPLE / 2];
        }
        (pattern, looked)
    }

    /// The form of lines that have the same pieces.
    fn of(lines: &[(Cow<'_, str>, Vec<LinePiece>)], how: LineSplit) -> Option<Self> {
        let (first, form) = lines.first()?;
        let tokens: Vec<FormPiece> = form
            .iter()
            .enumerate()
            .map(|(place, token)| {
                let text = &first[token.range.clone()];
                let same = |(line, tokens): &(Cow<'_, str>, Vec<LinePiece>)| {
                    &line[tokens[place].range.clone()] == text
                };
                let fixed = match token.kind {
                    PieceKind::Sign => true,
                    PieceKind::Word => lines.iter().all(same),
                    PieceKind::Number | PieceKind::Clock | PieceKind::Day => false,
                };
                FormPiece {
                    kind: token.kind,
                    fixed: fixed.then(|| text.to_owned()),
                }
            })
            .collect();
        let parts = parts_of(first, form, &tokens, lines)?;
        Some(Self { how, tokens, parts })
    }

    /// The values of a line of this form.
    pub(super) fn parts(&self, line: &str) -> Option<Vec<LabelledPart>> {
        let tokens = tokens(line, self.how)?;
        let fits = tokens.len() == self.tokens.len()
            && tokens.iter().zip(&self.tokens).all(|(token, form)| {
                let text = &line[token.range.clone()];
                token.kind == form.kind && form.fixed.as_ref().is_none_or(|fixed| fixed == text)
            });
        fits.then(|| self.parts.iter().map(|part| part.on(&tokens)).collect())
    }

    /// Of what kind its columns are.
    pub(super) fn kinds(&self) -> Vec<ColumnKind> {
        self.parts.iter().map(|part| part.kind).collect()
    }

    /// Whether its values are told apart by more than blanks: a mark leads to one, or a quantity or a unit stands beside it.
    fn holds_values(&self, first: &str, lines: usize) -> bool {
        /// So many lines of a number, `=` and another are pairs, whatever they are of.
        const PAIRS: usize = 5;
        /// Signs of errors and limits: what stands behind them was not read.
        const LIMITS: [char; 7] = ['±', '<', '>', '≤', '≥', '~', '≈'];
        let values = || self.parts.iter().filter(|part| part.kind == ColumnKind::Figures);
        let count = values().count();
        let Some(parts) = self.parts(first) else {
            return false;
        };
        let named = parts.iter().any(|part| {
            let head = &first[part.name.clone()];
            part.kind == ColumnKind::Figures && !head.is_empty() && names_quantity(head)
        });
        let unit = parts.iter().any(|part| !part.unit.is_empty());
        // `S1: 0.412 AU`: the unit says what was read.
        let of_light = parts.iter().any(|part| {
            let unit = spelled(&first[part.unit.clone()]);
            unit.one()
                .is_some_and(|unit| *unit == curvary_record::Unit::ABSORBANCE)
        });
        let marked = self
            .tokens
            .iter()
            .filter_map(|token| token.fixed.as_deref())
            .any(|fixed| MARKS.contains(&fixed));
        // Tabs and semicolons part the cells of plain tables.
        let written = ["=", ":", "->", "=>", "→"];
        if has_delimiters(first)
            && !self.tokens.iter().any(|token| {
                token
                    .fixed
                    .as_deref()
                    .is_some_and(|fixed| written.contains(&fixed))
            })
        {
            return false;
        }
        let clocked = self.parts.iter().any(|part| part.kind == ColumnKind::Words);
        let read = |part: Option<&LabelledPart>| {
            part.is_some_and(|part| first[part.value.clone()].contains(['.', ',']))
        };
        let equated = || {
            let mut signs = self.tokens.iter().filter(|token| token.kind == PieceKind::Sign);
            let joins = |sign: &str| sign == "=" || sign == ":" && read(parts.last());
            lines >= PAIRS
                && self.tokens.len() == 3
                && signs.any(|token| token.fixed.as_deref().is_some_and(joins))
        };
        // `0.140 at 400 nm`
        let set_behind = || {
            let places = self.tokens.windows(3).any(|tokens| {
                tokens[0].kind == PieceKind::Number
                    && tokens[1]
                        .fixed
                        .as_deref()
                        .is_some_and(|word| words::is(WordList::At, word))
                    && tokens[2].kind == PieceKind::Number
            });
            places && unit && read(parts.first())
        };
        // `after 30 sec   0.11`
        let timed = || {
            let leads = self.tokens.first().and_then(|token| token.fixed.as_deref());
            unit && leads
                .is_some_and(|word| words::is(WordList::At, word) || words::is(WordList::Since, word))
        };
        // `5 min 0.123`: nothing but what was set with its unit, and the reading.
        let set_and_read = || {
            let kinds = self.tokens.iter().map(|token| token.kind);
            let pair = kinds.eq([PieceKind::Number, PieceKind::Word, PieceKind::Number]);
            let runs = self.tokens[1].fixed.as_deref().is_some_and(is_unit_of_axis);
            pair && unit && runs && read(parts.last())
        };
        // Errors beside numbers stand in lists of results.
        let results = self.tokens.iter().any(|token| {
            token
                .fixed
                .as_deref()
                .is_some_and(|fixed| !MARKS.contains(&fixed) && fixed.contains(LIMITS))
        });
        !results
            && count <= MOST_VALUES
            && parts.len() >= 2
            && match count {
                0 => false,
                1 => clocked && (named || of_light),
                _ => named || marked && unit || equated() || timed() || set_and_read() || set_behind(),
            }
    }
}

impl FormPart {
    /// Where it stands in a line.
    fn on(&self, tokens: &[LinePiece]) -> LabelledPart {
        let spanned = |range: &Range<usize>| match (tokens.get(range.start), range.end.checked_sub(1)) {
            (Some(first), Some(last)) if !range.is_empty() => first.range.start..tokens[last].range.end,
            _ => tokens[self.value.start].range.start..tokens[self.value.start].range.start,
        };
        let value = spanned(&self.value);
        LabelledPart {
            name: spanned(&self.name),
            unit: self
                .unit
                .map_or(value.end..value.end, |unit| tokens[unit].range.clone()),
            value,
            kind: self.kind,
        }
    }
}

/// The values and names of lines of one form.
fn parts_of(
    first: &str,
    form: &[LinePiece],
    tokens: &[FormPiece],
    lines: &[(Cow<'_, str>, Vec<LinePiece>)],
) -> Option<Vec<FormPart>> {
    let mut parts: Vec<FormPart> = Vec::new();
    // Words, and numbers that belong to them, that no value was found for yet.
    let mut lead: Vec<usize> = Vec::new();
    let fixed = |place: usize| tokens.get(place).and_then(|token| token.fixed.as_deref());
    let values = |parts: &[FormPart]| parts.iter().any(|part| part.kind == ColumnKind::Figures);
    let mut carried: Option<Range<usize>> = None;
    let mut place = 0;
    while place < form.len() {
        match form[place].kind {
            PieceKind::Sign => lead.push(place),
            PieceKind::Word => lead.push(place),
            PieceKind::Clock | PieceKind::Day => {
                if values(&parts) {
                    return None;
                }
                parts.push(FormPart {
                    name: place..place,
                    value: place..place + 1,
                    unit: None,
                    kind: ColumnKind::Words,
                });
                lead.clear();
            }
            // `1) probe 1 - absorbance 0,716`: the line itself is numbered.
            PieceKind::Number if place == 0 && fixed(1).is_some_and(|sign| matches!(sign, ")" | ".")) => {
                place += 1;
            }
            PieceKind::Number => {
                let unit = unit_behind(first, form, tokens, place);
                let numbers_a_name = !values(&parts)
                    && unit.is_none()
                    && lead
                        .last()
                        .is_some_and(|last| form[*last].kind == PieceKind::Word)
                    && lines.iter().all(|(line, tokens)| {
                        line[tokens[place].range.clone()]
                            .bytes()
                            .all(|b| b.is_ascii_digit())
                    })
                    && fixed(place + 1)
                        .is_some_and(|sign| matches!(sign, ":" | ")" | ";" | "," | "-" | "–" | "—"));
                if numbers_a_name {
                    lead.push(place);
                } else {
                    // `A(400 nm) = 0.12`: the name is that of the value behind it.
                    let argument = matches!(lead[..], [.., name, open]
                        if fixed(open) == Some("(")
                            && tokens[name].kind == PieceKind::Word
                            && tokens[name].fixed.is_some()
                            && form[name].range.end == form[open].range.start);
                    if argument {
                        let name = lead[lead.len() - 2];
                        lead.truncate(lead.len() - 2);
                        carried = Some(name..name + 1);
                    }
                    // `reading 01`, `reading 02`: the word says what is counted.
                    let counted = lead
                        .last()
                        .copied()
                        .filter(|&word| tokens[word].kind == PieceKind::Word && tokens[word].fixed.is_some())
                        .filter(|&word| !words::means_sample(&first[form[word].range.clone()]))
                        .filter(|_| unit.is_none() && counts_on(lines, place));
                    let mut name = take_lead(first, form, tokens, std::mem::take(&mut lead), &mut parts)?;
                    if let (None, Some(word)) = (&name, counted) {
                        name = Some(word..word + 1);
                    }
                    if !argument && name.is_none() {
                        name = carried.take();
                    }
                    // `A420 = 0.312 x 10`: a number without name and unit behind one that is named is no reading.
                    let named = |part: &FormPart| part.kind == ColumnKind::Figures && !part.name.is_empty();
                    if name.is_none() && unit.is_none() && parts.iter().any(named) {
                        return None;
                    }
                    parts.push(FormPart {
                        name: name.unwrap_or(place..place),
                        value: place..place + 1,
                        unit,
                        kind: ColumnKind::Figures,
                    });
                    place = unit.unwrap_or(place);
                }
            }
        }
        place += 1;
    }
    // What is left may only be the same in all lines, or be a word that says something of its line.
    if let Some(&flag) = lead
        .last()
        .filter(|last| tokens[**last].kind == PieceKind::Word && fixed(**last).is_none())
    {
        lead.pop();
        parts.push(FormPart {
            name: flag..flag,
            value: flag..flag + 1,
            unit: None,
            kind: ColumnKind::Words,
        });
    }
    lead.iter().all(|&place| fixed(place).is_some()).then_some(parts)
}

/// Whether the whole numbers at a place count the lines.
fn counts_on(lines: &[(Cow<'_, str>, Vec<LinePiece>)], place: usize) -> bool {
    let numbers: Option<Vec<u32>> = lines
        .iter()
        .map(|(line, tokens)| line[tokens[place].range.clone()].parse().ok())
        .collect();
    numbers.is_some_and(|numbers| numbers.len() >= 3 && numbers.windows(2).all(|pair| pair[0] + 1 == pair[1]))
}

/// Takes what stands in front of a value: the name of the row, which becomes a part of its own, and that of the value;
/// `None` where something in it fits nowhere.
fn take_lead(
    first: &str,
    form: &[LinePiece],
    tokens: &[FormPiece],
    lead: Vec<usize>,
    parts: &mut Vec<FormPart>,
) -> Option<Option<Range<usize>>> {
    let is_sign = |place: &usize| form[*place].kind == PieceKind::Sign;
    let mut groups: Vec<&[usize]> = lead.split(is_sign).filter(|group| !group.is_empty()).collect();
    let varies = |group: &[usize]| group.iter().any(|place| tokens[*place].fixed.is_none());
    let name_of_row = groups.iter().position(|group| varies(group));
    if let Some(at) = name_of_row {
        let is_first = !parts.iter().any(|part| part.kind == ColumnKind::Figures);
        let group = groups.remove(at);
        if !is_first || groups.iter().any(|group| varies(group)) {
            return None;
        }
        // `Probe: Most 1; E420: 0,704`: what stands in front of it says what it names.
        let key = at.checked_sub(1).map(|key| groups[key]);
        // `Prov V1 absorbans 0,012`: the words of the form at its end name the value.
        let words = group
            .iter()
            .rev()
            .take_while(|place| tokens[**place].fixed.is_some())
            .count();
        let (row, value) = group.split_at(group.len() - words);
        parts.push(FormPart {
            name: key.map_or(row[0]..row[0], |key| key[0]..key[key.len() - 1] + 1),
            value: row[0]..row[row.len() - 1] + 1,
            unit: None,
            kind: ColumnKind::Words,
        });
        if !value.is_empty() && groups.is_empty() {
            groups.push(value);
        }
    }
    let Some(group) = groups
        .last()
        .filter(|group| group.last() >= lead.iter().rev().find(|place| !is_sign(place)))
    else {
        if name_of_row.is_none() {
            keep_words_in_front(first, form, groups.first().copied().unwrap_or(&[]), parts);
        }
        return Some(None);
    };
    let text = |from: usize| &first[form[from].range.start..form[group[group.len() - 1]].range.end];
    let quantity = group.iter().copied().find(|from| names_quantity(text(*from)));
    let last = group[group.len() - 1];
    let marked = tokens
        .get(last + 1)
        .and_then(|token| token.fixed.as_deref())
        .is_some_and(|sign| sign == "=");
    // `Zelle: 2 mm`; behind a time it is who wrote the line: `10:03 - Lidia: 420 nm 0,100`.
    let clocked = || {
        parts
            .iter()
            .any(|part| matches!(form[part.value.start].kind, PieceKind::Clock | PieceKind::Day))
    };
    let colon = tokens
        .get(last + 1)
        .and_then(|token| token.fixed.as_deref())
        .is_some_and(|sign| sign == ":");
    let from = quantity
        .or_else(|| (marked && !words::is(WordList::At, text(last))).then_some(last))
        .or_else(|| (colon && !clocked()).then_some(group[0]));
    if name_of_row.is_none() {
        let front = groups[0]
            .split(|place| Some(*place) == from)
            .next()
            .unwrap_or(&[]);
        keep_words_in_front(first, form, front, parts);
    }
    Some(from.map(|from| from..last + 1))
}

/// Keeps the words with which all lines begin, `Betanin after 5 min: 0.123`, as the name of their rows. Behind a time they say who
/// or what wrote the line, and words such as `after` name nothing.
fn keep_words_in_front(first: &str, form: &[LinePiece], words: &[usize], parts: &mut Vec<FormPart>) {
    let links = |place: &usize| {
        let word = &first[form[*place].range.clone()];
        words::is(WordList::At, word) || words::is(WordList::Since, word)
    };
    let count = words.iter().take_while(|place| !links(place)).count();
    if let (true, [from, ..]) = (parts.is_empty(), &words[..count]) {
        parts.push(FormPart {
            name: *from..*from,
            value: *from..words[count - 1] + 1,
            unit: None,
            kind: ColumnKind::Words,
        });
    }
}

/// Whether a header of these words names what photometers measure, or what measurements run over.
fn names_quantity(name: &str) -> bool {
    let known = |quantity: Quantity| {
        quantity.known().is_some_and(|known| {
            !matches!(
                known,
                KnownQuantity::Item | KnownQuantity::Index | KnownQuantity::Sample
            )
        })
    };
    crate::column_header::read_column_header(name)
        .quantity
        .is_some_and(known)
}

/// The word behind a number that is its unit in all lines: none where a mark follows, which makes it the next name.
fn unit_behind(first: &str, form: &[LinePiece], tokens: &[FormPiece], place: usize) -> Option<usize> {
    let behind = place + 1;
    let unit = tokens.get(behind)?.fixed.as_deref()?;
    let is_name = tokens
        .get(behind + 1)
        .and_then(|token| token.fixed.as_deref())
        .is_some_and(|sign| sign == "=");
    let apart = form[behind].range.start - form[place].range.end;
    let percent = unit == "%";
    let known = percent || form[behind].kind == PieceKind::Word && spelled(unit) != Spelling::None;
    // `10 A 0.123`: the symbol of the next value.
    let symbol = form
        .get(behind + 1)
        .is_some_and(|next| next.kind == PieceKind::Number)
        && names_quantity(unit)
        && !first[..form[place].range.start].is_empty()
        && unit.len() == 1;
    (known && apart <= 2 && !is_name && !symbol).then_some(behind)
}

/// A line with a figure in place of the marker in it, and its pieces, where these are `fits` to those of the first line.
fn stand_in(
    line: &str,
    first: &str,
    fits: impl Fn(&str) -> Option<Vec<LinePiece>>,
) -> Option<(String, Vec<LinePiece>)> {
    let model = ValueModel::ending_like(first);
    marked::stand_ins(line, Some(&model))
        .into_iter()
        .find_map(|stand_in| {
            let tokens = (!stand_in.shortened && !stand_in.unknown)
                .then(|| fits(&stand_in.line))
                .flatten()?;
            Some((stand_in.line, tokens))
        })
}

/// Whether two lines have the same pieces, and the same signs.
fn are_alike(one: &str, tokens: &[LinePiece], other: &str, others: &[LinePiece]) -> bool {
    tokens.len() == others.len()
        && tokens.iter().zip(others).all(|(token, with)| {
            token.kind == with.kind
                && (token.kind != PieceKind::Sign || one[token.range.clone()] == other[with.range.clone()])
        })
}

fn is_mark(line: &str, token: &LinePiece) -> bool {
    token.kind == PieceKind::Sign && MARKS.contains(&&line[token.range.clone()])
}

/// Whether a line has signs that part the cells of a table.
fn has_delimiters(line: &str) -> bool {
    line.contains(['\t', ';', '|'])
}

/// The pieces of a line; `None` where it is too long or holds no number.
fn tokens(line: &str, how: LineSplit) -> Option<Vec<LinePiece>> {
    if line.len() > LONGEST || !line.bytes().any(|byte| byte.is_ascii_digit()) {
        return None;
    }
    let mut tokens: Vec<LinePiece> = Vec::new();
    let mut at = 0;
    while let Some(c) = line[at..].chars().next() {
        if matches!(c, ' ' | '\t' | '\u{a0}') {
            at += c.len_utf8();
            continue;
        }
        if tokens.len() == MOST {
            return None;
        }
        let name = (how == LineSplit::NameFirst
            && c.is_alphabetic()
            && tokens
                .iter()
                .all(|token| matches!(token.kind, PieceKind::Clock | PieceKind::Day)))
        .then(|| name_to_colon(&line[at..]))
        .flatten();
        if let Some(length) = name {
            tokens.push(LinePiece {
                kind: PieceKind::Word,
                range: at..at + length,
            });
            at += length;
            continue;
        }
        // A number begins behind a blank, a sign, or what is no part of a word.
        let (kind, length) = if c.is_ascii_digit() || begins_signed(line, at) {
            number(&line[at..])
        } else if c.is_alphabetic() || matches!(c, '%' | '°' | 'µ' | 'λ' | '#') {
            (PieceKind::Word, word(&line[at..]))
        } else {
            (PieceKind::Sign, sign(&line[at..]))
        };
        tokens.push(LinePiece {
            kind,
            range: at..at + length,
        });
        at += length;
    }
    Some(tokens)
}

/// How long the name is that ends at the first colon of a text.
fn name_to_colon(text: &str) -> Option<usize> {
    /// In characters; half a line. What is longer is a sentence that ends with a colon.
    const LONGEST_NAME: usize = 40;
    let end = text.find(':')?;
    let name = text[..end].trim_end();
    let plain = !name.contains(['=', ';', ',', '|', '\t', '>']);
    (plain && name.chars().count() <= LONGEST_NAME).then_some(name.len())
}

/// Whether the sign at `at` belongs to the number behind it: nothing but a blank or a mark stands in front.
fn begins_signed(line: &str, at: usize) -> bool {
    let signed = line[at..].strip_prefix(['-', '+', '\u{2212}']);
    let free = line[..at].is_empty() || line[..at].ends_with([' ', '\t', '=', ':', '(']);
    free && signed.is_some_and(|rest| rest.starts_with(|c: char| c.is_ascii_digit()))
}

/// How long the number, the time of day or the day is with which a text begins.
fn number(text: &str) -> (PieceKind, usize) {
    let day = day_length(text);
    // `2019-05-03T10:02:00` is one moment.
    if day > 0
        && let Some(clock) = text[day..]
            .strip_prefix('T')
            .map(clock_length)
            .filter(|length| *length > 0)
    {
        return (PieceKind::Clock, day + 1 + clock);
    }
    if day > 0 {
        return (PieceKind::Day, day);
    }
    let clock = clock_length(text);
    if clock > 0 {
        return (PieceKind::Clock, clock);
    }
    let signed = text.trim_start_matches(['-', '+', '\u{2212}']);
    let lead = text.len() - signed.len();
    let digits = signed
        .find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | ',')))
        .unwrap_or(signed.len());
    let mut end = lead + signed[..digits].trim_end_matches(['.', ',']).len();
    // `0.2000D+03` of old programs, too.
    if let Some(power) = text[end..].strip_prefix(['e', 'E', 'd', 'D']) {
        let figures = power.trim_start_matches(['-', '+']);
        let count = figures.bytes().take_while(u8::is_ascii_digit).count();
        if count > 0 {
            end += 1 + power.len() - figures.len() + count;
        }
    }
    (PieceKind::Number, end)
}

/// How long the day in figures is, `2024-05-03` or `22/06/23`, with which a text begins.
fn day_length(text: &str) -> usize {
    let bytes = text.as_bytes();
    let digits = |from: usize| {
        let rest = bytes.get(from..).unwrap_or_default();
        rest.iter().take_while(|byte| byte.is_ascii_digit()).count()
    };
    let first = digits(0);
    let Some(&sign) = bytes.get(first).filter(|sign| matches!(sign, b'-' | b'/' | b'.')) else {
        return 0;
    };
    let second = digits(first + 1);
    let third_at = first + 1 + second + 1;
    if bytes.get(third_at - 1) != Some(&sign) {
        return 0;
    }
    let third = digits(third_at);
    let shaped = matches!((first, second, third), (4, 1..=2, 1..=2) | (1..=2, 1..=2, 2 | 4));
    let end = third_at + third;
    let free = bytes
        .get(end)
        .is_none_or(|byte| matches!(byte, b' ' | b'\t' | b',' | b';' | b'|' | b'T'));
    if shaped && free { end } else { 0 }
}

/// How long the word is with which a text begins.
fn word(text: &str) -> usize {
    let part = |c: char| {
        c.is_alphanumeric()
            || matches!(
                c,
                '_' | '%' | '°' | 'µ' | '²' | '³' | '⁻' | '¹' | '\'' | '’' | '/' | '.' | '#' | '^'
            )
    };
    let end = text.find(|c: char| !part(c)).unwrap_or(text.len());
    let length = text[..end].trim_end_matches(['.', '/', '\'', '-']).len();
    length.max(text.chars().next().map_or(1, char::len_utf8))
}

/// How long the sign is: an arrow is one.
fn sign(text: &str) -> usize {
    MARKS
        .iter()
        .filter(|mark| text.starts_with(**mark))
        .map(|mark| mark.len())
        .max()
        .unwrap_or_else(|| {
            if text.starts_with("..") {
                text.len() - text.trim_start_matches('.').len()
            } else {
                text.chars().next().map_or(1, char::len_utf8)
            }
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(lines: &str) -> String {
        let (pattern, _) = LinePattern::at(lines, Cursor { at: 0, line: 1 }, 3);
        let Some(pattern) = pattern else {
            return String::new();
        };
        let line = lines.lines().last().unwrap_or("");
        let parts = pattern.parts(line).unwrap_or_default();
        let text = |range: &Range<usize>| line[range.clone()].to_owned();
        let shown = parts
            .iter()
            .map(|part| format!("{}={}[{}]", text(&part.name), text(&part.value), text(&part.unit)));
        shown.collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn lines_of_one_form() {
        let cases = [
            (
                "Prov V1: absorbans 0,012\nProv V2: absorbans 0,334\nProv V3: absorbans 0,671",
                "=Prov V3[] absorbans=0,671[]",
            ),
            (
                "patrón 1:  0,5 mg/L  ->  abs 0,101\npatrón 2:  1,0 mg/L  ->  abs 0,197\npatrón 3:  2,0 mg/L  ->  abs 0,394",
                "=patrón 3[] =2,0[mg/L] abs=0,394[]",
            ),
            (
                "2024-03-06 10:00:05 READ t=0 min A=0.19\n2024-03-06 10:01:05 READ t=1 min A=0.21\n2024-03-06 10:02:05 READ t=2 min A=0.22",
                "=2024-03-06[] =10:02:05[] t=2[min] A=0.22[]",
            ),
            (
                "2024-05-03 13:22:01 abs=0.2092 temp=24.9\n2024-05-03 13:22:11 abs=0.2154 temp=24.8\n2024-05-03 13:22:21 abs=0.2227 temp=24.8",
                "=2024-05-03[] =13:22:21[] abs=0.2227[] temp=24.8[]",
            ),
            (
                "monster 4: A260 0,312  A280 0,166\nmonster 5: A260 0,298  A280 0,160\nmonster 7: A260 0,340  A280 0,189",
                "=monster 7[] A260=0,340[] A280=0,189[]",
            ),
            ("0 с — 0.952\n20 с — 0.898\n40 с — 0.853", "=40[с] =0.853[]"),
            (
                "22/06/23, 10:03 - Lidia: 420 nm 0,100\n22/06/23, 10:05 - Lidia: 440 nm 0,217\n22/06/23, 10:07 - Lidia: 460 nm 0,332",
                "=22/06/23[] =10:07[] =460[nm] =0,332[]",
            ),
            (
                "Probe: Most 1; Zelle: 2 mm; E420: 0,704; E520: 0,422\nProbe: Wein 2; Zelle: 2 mm; E420: 0,421; E520: 0,253\nProbe: Wein 3; Zelle: 2 mm; E420: 0,461; E520: 0,277",
                "Probe=Wein 3[] Zelle=2[mm] E420=0,461[] E520=0,277[]",
            ),
            (
                "[t=  0.0 s] abs 0.199 ok\n[t=  5.0 s] abs 0.269 ok\n[t= 10.0 s] abs 0.330 ok",
                "t=10.0[s] abs=0.330[]",
            ),
            (
                "09:58:03 reading blank 505 nm A=0.000\n10:01:00 reading S1 505 nm A=0.331\n10:03:17 reading S2 505 nm A=0.538",
                "=10:03:17[] =reading S2[] =505[nm] A=0.538[]",
            ),
            (
                "A(400 nm) = 0.0292\nA(410 nm) = 0.0565\nA(420 nm) = 0.1346",
                "=420[nm] A=0.1346[]",
            ),
            (
                "S1: 0.003 at 405 nm\nS2: 0.098 at 405 nm\nbeet 1: 0.312 at 405 nm",
                "=beet 1[] =0.312[] =405[nm]",
            ),
            (
                "2019-05-03T10:02:00 A=1.099\n2019-05-03T10:02:15 A=1.065\n2019-05-03T10:02:30 A=1.034",
                "=2019-05-03T10:02:30[] A=1.034[]",
            ),
            (
                "650.0=0.0603\n653.5=0.0777\n657.0=0.0985\n660.5=0.1284\n664.0=0.1629",
                "=664.0[] =0.1629[]",
            ),
            (
                "after 0 sec   0.05\nafter 30 sec   0.11\nafter 60 sec   0.16",
                "=60[sec] =0.16[]",
            ),
            (
                "Betanin after 5 min: 0.123\nBetanin after 10 min: 0.133\nBetanin after 15 min: 0.143",
                "=Betanin[] =15[min] =0.143[]",
            ),
            ("0 min 0.012\n1 min 0.104\n2 min 0.198", "=2[min] =0.198[]"),
            (
                "S1: A420 = 0.312 x 10\nS2: A420 = 0.412 x 10\nS3: A420 = 0.512 x 10",
                "",
            ),
            ("S1: A < 0.005\nS2: A < 0.005\nS3: A < 0.007", ""),
            // Keys and values, results, plain tables and prose are none.
            ("pH: 7\nslit: 2\ngain: 3", ""),
            ("Temperature: 25 C\nPath: 1 cm\nSlit: 2 nm", ""),
            ("k1 = 0.012 ± 0.001\nk2 = 0.034 ± 0.002\nk3 = 0.01 ± 0.001", ""),
            ("400 0.123\n410 0.144\n420 0.165", ""),
            ("betanin 400 0.123\nbetanin 410 0.144\nbetanin 420 0.165", ""),
            (
                "0.2000D+03   0.1001D+01\n0.2020D+03   0.1168D+01\n0.2040D+03   0.1280D+01",
                "",
            ),
            ("500\t1.2 E-03\n505\t3.4 E-03\n510\t8.1 E-03", ""),
            (
                "0;0,003;;K-101;0,143\n0,5;0,069;;K-102;0,287\n1;0,134;;K-103;0,211",
                "",
            ),
            ("0 min 0 s\t0.0508\n0 min 10 s\t0.1249\n0 min 20 s\t0.1946", ""),
            ("tube 1 0.123\ntube 2 0.144\ntube 3 0.165", ""),
        ];
        for (lines, wanted) in cases {
            assert_eq!(shown(lines), wanted, "{lines}");
        }
    }
}
