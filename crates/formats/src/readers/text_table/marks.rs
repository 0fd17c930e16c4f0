//! The line in front of each block that says where it stands in a series: `scan at t = 2 min`, `Cycle 3 (4 min)`.

use curvary_record::interpret::{LabelNumber, number_in_label};
use curvary_record::unit::spelled;
use curvary_record::{Coordinate, Quantity};

use super::columns::quantity_of_unit;
use super::join::Section;
use super::scan::{TextLine, strip_remark};
use crate::Assumptions;
use crate::vocabulary::WordKind;

/// Longer lines are prose.
const LONGEST: usize = 80;

/// A mark stands among so many lines above its table.
const NEAREST: usize = 3;

/// The coordinate of a block, and the line that says it.
pub(super) struct BlockMark {
    pub(super) line: TextLine,
    pub(super) held: Coordinate,
}

/// The marks of the blocks of a text, where the line above every table is one and they differ in their numbers alone.
/// They are taken out of the words, since each speaks of its own table.
pub(super) fn marks(text: &str, sections: &mut [Section], assume: &Assumptions) -> Vec<BlockMark> {
    if sections.len() < 2 {
        return Vec::new();
    }
    let read = |line: &TextLine| {
        let line = strip_remark(&text[line.span.range()]).1;
        coordinate(line).or_else(|| local(line, assume))
    };
    // The last block's mark tells what the others look like; a remark may stand between a mark and its table.
    let Some((_, form)) = sections.last().and_then(|section| read(section.words.last()?)) else {
        return Vec::new();
    };
    let mut marks: Vec<BlockMark> = Vec::with_capacity(sections.len());
    let mut places = Vec::with_capacity(sections.len());
    for section in sections.iter() {
        let nearest = section.words.iter().enumerate().rev().take(NEAREST);
        let found = nearest
            .filter_map(|(at, line)| Some((at, *line, read(line)?)))
            .find(|(_, _, (_, this))| *this == form);
        let Some((at, line, (mut held, _))) = found else {
            return Vec::new();
        };
        held.line = Some(line.line);
        marks.push(BlockMark { line, held });
        places.push(at);
    }
    let same = |pair: &[BlockMark]| pair[0].held.value == pair[1].held.value;
    if marks.windows(2).any(same) {
        return Vec::new();
    }
    for (section, at) in sections.iter_mut().zip(places) {
        section.words.remove(at);
    }
    marks
}

/// Whether a line may mark a block: one number with a unit of time, temperature or concentration.
pub(super) fn is_mark(line: &str) -> bool {
    coordinate(line).is_some()
}

/// The number behind a local word, `Takt 3`, and the line without it.
fn local(line: &str, assume: &Assumptions) -> Option<(Coordinate, String)> {
    let line = line.trim();
    let at = line.find(|c: char| c.is_ascii_digit())?;
    let (word, number) = line.split_at(at);
    let meant = assume.word(WordKind::Mark, word.trim_end_matches([' ', ':', '=', '#', '.']))?;
    let LabelNumber::Sure(value) = number_in_label(number, point_is_decimal(number))? else {
        return None;
    };
    let (quantity, unit) = meant.axis();
    let mut held = Coordinate::new(quantity, unit?, value);
    held.raw = Some(line.to_owned());
    Some((held, format!("{word}#")))
}

/// In a line of words a point is a decimal sign; a comma may be either.
fn point_is_decimal(number: &str) -> Option<bool> {
    number.contains('.').then_some(false)
}

/// The one number with a unit in a line that names no known field, and the line without its numbers.
fn coordinate(line: &str) -> Option<(Coordinate, String)> {
    if line.len() > LONGEST {
        return None;
    }
    let known =
        |pair: &crate::preamble::KeyValueSpan| crate::words::field_of(&line[pair.key.clone()]).is_some();
    if crate::preamble::pairs(line).iter().any(known) {
        return None;
    }
    let mut form = String::new();
    let mut found: Option<Coordinate> = None;
    let mut rest = line;
    while let Some(at) = rest.find(|c: char| c.is_ascii_digit()) {
        form.push_str(&rest[..at]);
        form.push('#');
        let end = rest[at..]
            .find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | ',')))
            .map_or(rest.len(), |length| at + length);
        let number = rest[at..end].trim_end_matches(['.', ',']);
        let behind = &rest[at + number.len()..];
        let unit: String = behind
            .trim_start_matches(' ')
            .chars()
            .take_while(|c| c.is_alphabetic() || matches!(c, '°' | 'µ' | '/'))
            .collect();
        // `A405` names, and `10:30` is a time of day.
        let alone = !rest[..at].ends_with(|c: char| c.is_alphabetic()) && !behind.starts_with(':');
        let negative = rest[..at].ends_with(['-', '\u{2212}']);
        // In a line of capitals `S` is a second, and no siemens.
        let shouted = !line.contains(char::is_lowercase);
        let small = unit.to_lowercase();
        let small = Some(small).filter(|unit| shouted && matches!(unit.as_str(), "s" | "ms" | "min" | "h"));
        let unit = small.unwrap_or(unit);
        if alone
            && !negative
            && !unit.is_empty()
            && let [unit, ..] = spelled(&unit).units()
            && let Some(quantity) = quantity_of_unit(unit)
            && matches!(quantity.as_str(), "time" | "temperature" | "concentration")
        {
            // `1,000 mg/L` may be one or a thousand: such a line marks nothing.
            let LabelNumber::Sure(value) = number_in_label(number, point_is_decimal(number))? else {
                return None;
            };
            if found.is_some() {
                return None;
            }
            let mut held = Coordinate::new(quantity, unit.clone(), value);
            held.raw = Some(line.trim().to_owned());
            found = Some(held);
        }
        rest = behind;
    }
    form.push_str(rest);
    // Numbers that grow take the place of blanks in front of them.
    let form: Vec<&str> = form.split_whitespace().collect();
    let form = form.join(" ");
    found.map(|held| (held, form))
}

/// Whether a curve over `quantity` can be held at this coordinate.
pub(super) fn holds(mark: &BlockMark, running: &Quantity) -> bool {
    mark.held.quantity != *running
}
