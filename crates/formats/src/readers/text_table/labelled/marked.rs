//! Lines of a form in which a word or a limit stands where the others have a number: `S4: A = over`, `S4: A > 3.0`, `S6: n.d.`.
//!
//! Such a line is a row without a reading. Its form is found by a stand-in: the same line with a figure in place of what stands
//! there, which has to be of the form of the other lines.

use std::ops::Range;

use super::super::number::{Cell, Style, cell};
use super::{LONGEST, LabelledPart};
use crate::readers::text_table::grid::ColumnKind;

/// A marker has no more words: `out of range`.
const MOST_WORDS: usize = 3;
/// A word that is no marker, `bubble`, is no longer than this; more are a remark.
const LONGEST_WORD: usize = 20;

/// What stands around the last value of the lines of a table: `A = ` and ` AU`.
#[derive(Clone, Debug, Default)]
pub(super) struct ValueModel {
    lead: String,
    unit: String,
}

impl ValueModel {
    /// Of a line with these values.
    pub(super) fn of(line: &str, parts: &[LabelledPart]) -> Self {
        let mut values = parts.iter().rev();
        let Some(value) = values.find(|part| part.kind == ColumnKind::Figures) else {
            return Self::default();
        };
        let text = |range: Range<usize>| line.get(range).unwrap_or("").to_owned();
        let lead = if value.name.is_empty() {
            String::new()
        } else {
            text(value.name.start..value.value.start)
        };
        Self {
            lead,
            unit: text(value.value.end..value.unit.end),
        }
    }

    /// Of a line of which only the words are known: its last one may be a unit.
    pub(super) fn ending_like(line: &str) -> Self {
        let body = line.trim_end();
        let at = body
            .rfind(|c: char| c.is_ascii_digit())
            .map_or(body.len(), |at| at + 1);
        let unit = &body[at..];
        let plain = unit.len() <= LONGEST_WORD && unit.contains(|c: char| c.is_alphabetic() || c == '%');
        Self {
            lead: String::new(),
            unit: if plain { unit.to_owned() } else { String::new() },
        }
    }
}

/// A line read by its stand-in.
pub(super) struct MarkedLine {
    /// The line with a figure in place of the marker, and what stands where in it.
    pub(super) line: String,
    pub(super) parts: Vec<LabelledPart>,
    /// The same in the line as it was written.
    pub(super) own: Vec<LabelledPart>,
}

/// What may stand in place of a reading.
struct NameMark {
    range: Range<usize>,
    /// A limit, `> 3.0`, which may have taken the place of `=`.
    limit: bool,
    /// A word that says nothing that we know.
    unknown: bool,
}

/// A line with a figure in place of a marker.
pub(super) struct StandIn {
    pub(super) line: String,
    /// A word that says nothing that we know stood there.
    pub(super) unknown: bool,
    /// What other lines have between the name and the value lacks as well.
    pub(super) shortened: bool,
    /// The figure, what was put in with it, and in place of what.
    value: Range<usize>,
    put_in: Range<usize>,
    marker: Range<usize>,
}

/// The values of a line that has a marker in place of one, where with a figure it is `alike` other lines, as they tell by their
/// `model`. A word that is none we know is one where the lines go on behind it, and so is a name without the rest of the form.
pub(super) fn read(
    line: &str,
    model: Option<&ValueModel>,
    goes_on: impl Fn() -> bool,
    alike: impl Fn(&str) -> Option<Vec<LabelledPart>>,
) -> Option<MarkedLine> {
    stand_ins(line, model).into_iter().find_map(|stand_in| {
        let is_value = |part: &LabelledPart| part.kind == ColumnKind::Figures && part.value == stand_in.value;
        let parts = alike(&stand_in.line).filter(|parts| parts.iter().any(is_value))?;
        // `Gamay: E = spilt` has all of the form but the number.
        let lead = model.map_or("", |model| model.lead.as_str());
        let whole =
            !stand_in.shortened && lead.contains('=') && line[..stand_in.marker.start].ends_with(lead);
        if (stand_in.unknown || stand_in.shortened) && !whole && !goes_on() {
            return None;
        }
        let own = parts.iter().map(|part| stand_in.as_written(part)).collect();
        Some(MarkedLine {
            own,
            parts,
            line: stand_in.line,
        })
    })
}

/// The lines that may stand in for one without a reading.
pub(super) fn stand_ins(line: &str, model: Option<&ValueModel>) -> Vec<StandIn> {
    if line.len() > LONGEST {
        return Vec::new();
    }
    let (lead, unit) = model.map_or(("", ""), |model| (model.lead.as_str(), model.unit.as_str()));
    let mut all: Vec<StandIn> = Vec::new();
    for marker in markers(line, model.is_some()) {
        let leads: &[&str] = if marker.limit {
            &["", "= ", ": ", lead]
        } else {
            &["", lead]
        };
        for (place, with) in leads.iter().enumerate() {
            if place > 0 && with.is_empty() {
                continue;
            }
            for behind in ["", unit] {
                let front = &line[..marker.range.start];
                let shown = format!("{front}{with}0{behind}{}", &line[marker.range.end..]);
                if all.iter().any(|known| known.line == shown) {
                    continue;
                }
                let value = front.len() + with.len()..front.len() + with.len() + 1;
                all.push(StandIn {
                    line: shown,
                    unknown: marker.unknown,
                    shortened: place > 0 && *with == lead,
                    put_in: front.len()..value.end + behind.len(),
                    value,
                    marker: marker.range.clone(),
                });
            }
        }
    }
    all
}

/// A line that may begin lines of one form, with a figure in place of the marker in it.
pub(super) fn shown(line: &str) -> Vec<String> {
    if !may_begin(line) {
        return Vec::new();
    }
    let stand_ins = stand_ins(line, None).into_iter();
    stand_ins.map(|stand_in| stand_in.line).collect()
}

impl StandIn {
    /// A value of it in the line as it was written.
    fn as_written(&self, part: &LabelledPart) -> LabelledPart {
        let Self { put_in, marker, .. } = self;
        let place = |at: usize| {
            if at <= put_in.start {
                at
            } else if at >= put_in.end {
                at - put_in.end + marker.end
            } else {
                marker.end
            }
        };
        let range = |range: &Range<usize>| place(range.start).min(place(range.end))..place(range.end);
        if part.value != self.value {
            return LabelledPart {
                name: range(&part.name),
                value: range(&part.value),
                unit: range(&part.unit),
                kind: part.kind,
            };
        }
        let name = if part.name.end <= put_in.start {
            part.name.clone()
        } else {
            marker.start..marker.start
        };
        let unit = if part.unit.start >= put_in.end {
            range(&part.unit)
        } else {
            marker.end..marker.end
        };
        LabelledPart {
            name,
            value: marker.clone(),
            unit,
            kind: part.kind,
        }
    }
}

/// What may stand in place of a reading in a line: limits, words and signs that say so behind a mark, and where other lines have
/// been seen, `anywhere`, also behind words.
fn markers(line: &str, anywhere: bool) -> Vec<NameMark> {
    let mut found: Vec<NameMark> = limits(line);
    for at in starts(line, anywhere) {
        let (start, marked) = at;
        if let Some(end) = marker_end(&line[start..], marked) {
            found.push(NameMark {
                range: start..start + end,
                limit: false,
                unknown: false,
            });
        }
    }
    if anywhere && let Some(range) = last_word(line) {
        found.push(NameMark {
            range,
            limit: false,
            unknown: true,
        });
    }
    found
}

/// Numbers behind a sign that makes them limits: `> 3.0`, `≥3`, `<0.001`. An arrow is none.
fn limits(line: &str) -> Vec<NameMark> {
    let signs = line
        .char_indices()
        .filter(|(_, sign)| matches!(sign, '>' | '<' | '≥' | '≤'));
    signs
        .filter_map(|(at, sign)| {
            let behind = &line[at + sign.len_utf8()..];
            let arrow =
                line[..at].ends_with(['-', '=', '–', '—', '<', '>']) || behind.starts_with(['-', '>', '<']);
            let figures = behind.trim_start_matches(['=', ' ']);
            let length = figures
                .find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | ',')))
                .unwrap_or(figures.len());
            let length = figures[..length].trim_end_matches(['.', ',']).len();
            (!arrow && length > 0).then(|| NameMark {
                range: at..line.len() - figures.len() + length,
                limit: true,
                unknown: false,
            })
        })
        .collect()
}

/// Where words may begin that stand for a reading, and whether a mark leads to them.
fn starts(line: &str, anywhere: bool) -> impl Iterator<Item = (usize, bool)> {
    let mut before = ' ';
    let mut marked = false;
    line.char_indices().filter_map(move |(at, sign)| {
        let begins = !matches!(sign, ' ' | '\t' | ':' | '=' | '→')
            && matches!(before, ' ' | '\t' | ':' | '=' | '→' | '>');
        let leads = marked;
        before = sign;
        marked = match sign {
            ':' | '=' | '→' => true,
            '>' => line[..at].ends_with(['-', '=']),
            ' ' | '\t' => marked,
            _ => false,
        };
        let start = at > 0 && begins && !sign.is_ascii_digit() && (leads || anywhere && sign.is_alphabetic());
        start.then_some((at, leads))
    })
}

/// How long the marker is with which a text begins. Signs alone are one only behind a mark.
fn marker_end(text: &str, marked: bool) -> Option<usize> {
    let end = text.find(['\t', ';', '|', ',', '(']).unwrap_or(text.len());
    let text = text[..end].trim_end();
    let mut ends: Vec<usize> = text
        .match_indices(' ')
        .map(|(at, _)| at)
        .take(MOST_WORDS - 1)
        .collect();
    if text.split_whitespace().count() <= MOST_WORDS {
        ends.push(text.len());
    }
    ends.into_iter().rev().find(|&end| {
        let word = text[..end].trim_end();
        !word.is_empty()
            && (marked || word.contains(char::is_alphabetic))
            && matches!(cell(word, Style::POINT), Cell::Missing | Cell::Beyond)
    })
}

/// The few words behind the last mark of a line, `A = bubble`.
fn last_word(line: &str) -> Option<Range<usize>> {
    let body = line.trim_end();
    let mark = body.rfind([':', '='])?;
    let words = body[mark + 1..].trim_start();
    let plain = !words.is_empty()
        && words.len() <= LONGEST_WORD
        && words.split(' ').count() <= MOST_WORDS
        && words.chars().all(|c| c.is_alphabetic() || c == ' ');
    plain.then(|| body.len() - words.len()..body.len())
}

/// Whether a line may begin lines of one form although it has no reading: a marker stands behind a mark.
pub(super) fn may_begin(line: &str) -> bool {
    line.len() <= LONGEST
        && line.contains([':', '=', '>', '<', '≥', '≤', '→'])
        && !markers(line, false).is_empty()
}

/// Whether what stands in place of a number is a word that says nothing that we know.
pub(super) fn is_unknown(text: &str) -> bool {
    text.starts_with(char::is_alphabetic) && matches!(cell(text, Style::POINT), Cell::Words)
}
