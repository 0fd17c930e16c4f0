//! Lines in which a name or a unit stands beside every value: `t=0.0s A=0.07`, `0 min: 0.123`.
//!
//! The name or the number of the row may stand in front, `control 1: A663 = 0.394`, and a flag behind. Three such lines or
//! more that differ in nothing but these and their numbers are a table. Its numbers are read as those of any other table; its
//! headers are the names of the first line.

mod marked;
mod pattern;

use std::borrow::Cow;
use std::ops::Range;

use curvary_record::Span;
use curvary_record::unit::{Spelling, spelled};

use self::marked::ValueModel;
use self::pattern::LinePattern;
use super::grid::{ColumnKind, Cursor, Gap, MissingCell, line_end};
use super::join::form_of;
use super::scan::{HeadRow, ScannedTable, TextLine};
use super::segments::RowClass;

/// So many lines are the least that make a table.
const LEAST: usize = 3;
/// Longer lines are prose or data of another kind.
const LONGEST: usize = 240;

/// One value with its name and its unit, or the name or the flag of a row, as byte ranges of the line.
#[derive(Clone, Debug, PartialEq, Eq)]
struct LabelledPart {
    name: Range<usize>,
    value: Range<usize>,
    unit: Range<usize>,
    /// Words for a time of day too.
    kind: ColumnKind,
}

impl LabelledPart {
    /// What names a row, `control 1: A663 = 0.394`, or says something of it, `A = 0.38 ok`.
    fn of_row(value: Range<usize>) -> Self {
        Self {
            name: value.start..value.start,
            unit: value.end..value.end,
            value,
            kind: ColumnKind::Words,
        }
    }

    /// Where it ends, with the bracket that closes it.
    fn end(&self, line: &str) -> usize {
        let end = self.unit.end.max(self.value.end).max(self.name.end);
        end + usize::from(line[end..].starts_with([']', ')']))
    }
}

/// The table of labelled values that begins at `cursor`, where the text goes on, and how many bytes beyond the line were
/// looked at. `read` reads rows of plain cells, whose columns are of certain kinds where the form of the lines tells them. Lines in
/// front of byte `no_form_to` were seen to have no form with values.
pub(super) fn table_at(
    text: &str,
    cursor: Cursor,
    no_form_to: &mut usize,
    read: impl Fn(&str, u32, Option<Vec<ColumnKind>>) -> Option<ScannedTable>,
) -> (Option<(ScannedTable, Cursor)>, usize) {
    let (end, _) = line_end(text.as_bytes(), cursor.at);
    let line = &text[cursor.at..end];
    let mut looked = 0;
    if is_under_headers(text, cursor, line) {
        return (None, 0);
    }
    // The first reading may be a marker itself.
    let marked = |alike: &dyn Fn(&str) -> Option<Vec<LabelledPart>>| {
        let line = without_aside(line).0;
        marked::may_begin(line)
            .then(|| marked::read(line, None, || false, alike))
            .flatten()
    };
    let plainly = parts(line).map(|parts| (line.to_owned(), parts.clone(), parts));
    let first = plainly.or_else(|| marked(&parts).map(|first| (first.line, first.parts, first.own)));
    // Names and values by their signs alone, read where nothing tells more of their form.
    let mut by_signs = None;
    if let Some((shown, seen, first)) = first {
        let likeness = form(&shown, &seen);
        let alike = |line: &str| parts(line).filter(|parts| form(line, parts) == likeness);
        let rows = LabelledLines::gathered(text, cursor, &ValueModel::of(&shown, &seen), alike);
        looked += rows.after.at - cursor.at;
        if rows.is_table(values(&first)) {
            // Whether the rows with numbers are a table tells of them all.
            let plain = read(&rows.without_marked(), cursor.line, None);
            let kinds = || Some(first.iter().map(|part| part.kind).collect());
            let plain = match rows.marked.is_empty() {
                true => plain,
                false => plain.and_then(|_| read(&rows.text, cursor.line, kinds())),
            };
            match plain {
                Some(table) => {
                    let after = rows.after;
                    if let Some(table) = headed(table, cursor, end, &first, rows) {
                        return (Some((table, after)), looked);
                    }
                }
                None => by_signs = Some((first, rows)),
            }
        }
    }
    let mut table = None;
    if cursor.at >= *no_form_to {
        let (pattern, seen) = LinePattern::at(text, cursor, LEAST);
        looked += seen.bytes;
        *no_form_to = seen.none_before;
        table = pattern.and_then(|pattern| {
            let of_form = |line: &str| pattern.parts(line);
            let plainly = of_form(without_aside(line).0).map(|parts| (line.to_owned(), parts.clone(), parts));
            let (shown, seen, first) =
                plainly.or_else(|| marked(&of_form).map(|first| (first.line, first.parts, first.own)))?;
            let rows = LabelledLines::gathered(text, cursor, &ValueModel::of(&shown, &seen), of_form);
            let after = rows.after;
            looked += after.at - cursor.at;
            let table = rows
                .is_table(values(&first))
                .then(|| read(&rows.text, cursor.line, Some(pattern.kinds())))
                .flatten()?;
            Some((headed(table, cursor, end, &first, rows)?, after))
        });
    }
    let by_signs = || {
        let (first, rows) = by_signs?;
        let after = rows.after;
        let kinds = first.iter().map(|part| part.kind).collect();
        let table = read(&rows.text, cursor.line, Some(kinds))?;
        Some((headed(table, cursor, end, &first, rows)?, after))
    };
    (table.or_else(by_signs), looked)
}

/// Whether a line has as many tabs or semicolons as the words directly above it, which are then the headers of a plain table.
fn is_under_headers(text: &str, cursor: Cursor, line: &str) -> bool {
    let above = text[..cursor.at].lines().next_back().unwrap_or("");
    ['\t', ';', '|'].into_iter().any(|sign| {
        let count = line.matches(sign).count();
        count > 0 && above.matches(sign).count() == count && !above.contains([':', '='])
    })
}

/// Lines that are labelled alike, with blanks in place of all but their numbers and units: every byte keeps its place.
struct LabelledLines {
    text: String,
    count: usize,
    /// Those that have no number where the others have one, as byte ranges of the text.
    marked: Vec<Range<usize>>,
    /// The lines that stand between them.
    between: Vec<TextLine>,
    /// How many of them have a remark in brackets behind them.
    asides: usize,
    after: Cursor,
}

impl LabelledLines {
    /// The lines at `cursor` that are `alike`. A few words between them, `10:07 bubble knocked off`, do not end a table whose
    /// first value then goes on where it was; a key does, which may belong to what follows.
    fn gathered(
        text: &str,
        cursor: Cursor,
        model: &ValueModel,
        alike: impl Fn(&str) -> Option<Vec<LabelledPart>>,
    ) -> Self {
        const MOST_BETWEEN: usize = 3;
        let bytes = text.as_bytes();
        let mut rows = Self {
            text: String::new(),
            count: 0,
            marked: Vec::new(),
            between: Vec::new(),
            asides: 0,
            after: cursor,
        };
        // Names of one form with figures in them, as far as the mark behind them.
        let named = |line: &str| {
            line.split([':', '='])
                .next()
                .map(form_of)
                .filter(|form| form.contains('0'))
        };
        let model_name = named(&text[cursor.at..line_end(bytes, cursor.at).0]);
        let mut waiting: Vec<TextLine> = Vec::new();
        let mut blanks = String::new();
        let (mut before, mut falls): (Option<f64>, Option<bool>) = (None, None);
        let mut at = cursor;
        while at.at < bytes.len() {
            let (end, next) = line_end(bytes, at.at);
            let line = &text[at.at..end];
            let behind = Cursor {
                at: next,
                line: at.line + 1,
            };
            let (line, aside) = without_aside(line);
            let plain = alike(line);
            let is_marked = plain.is_none();
            let goes_on = || {
                let (end, _) = line_end(bytes, next.min(bytes.len()));
                let below = without_aside(&text[next.min(end)..end]).0;
                rows.count > 0
                    && (model_name.is_some() && named(line) == model_name || alike(below).is_some())
            };
            let marked = || marked::read(line, Some(model), goes_on, &alike).map(|marked| marked.own);
            if let Some(parts) = plain.or_else(marked) {
                let value = first_value(line, &parts);
                let step = before.zip(value).map(|(before, value)| value - before);
                let turns = |step: f64| step != 0.0 && falls.is_some_and(|falls| falls != (step < 0.0));
                if !waiting.is_empty() && step.map_or(!is_marked, turns) {
                    break;
                }
                falls = falls.or(step.filter(|step| *step != 0.0).map(|step| step < 0.0));
                before = value.or(before);
                rows.text.push_str(&std::mem::take(&mut blanks));
                rows.between.append(&mut waiting);
                let begins = rows.text.len();
                bare_row(line, &parts, &mut rows.text);
                if is_marked {
                    rows.marked.push(begins..rows.text.len());
                }
                rows.text.push_str(&" ".repeat(end - at.at - line.len()));
                rows.text.push_str(&text[end..next]);
                rows.asides += usize::from(aside.is_some());
                rows.between.extend(aside.map(|(from, to)| TextLine {
                    span: Span::new(at.at + from, at.at + to),
                    line: at.line,
                }));
                rows.count += 1;
                rows.after = behind;
            } else {
                let dated = line.trim_start().trim_start_matches('[');
                let is_key = line.contains([':', '=']) && !dated.starts_with(|c: char| c.is_ascii_digit());
                if rows.count == 0 || is_key || line.trim().is_empty() || waiting.len() == MOST_BETWEEN {
                    break;
                }
                blanks.push_str(&" ".repeat(end - at.at));
                blanks.push_str(&text[end..next]);
                waiting.push(TextLine {
                    span: Span::new(at.at, end),
                    line: at.line,
                });
            }
            at = behind;
        }
        rows
    }
}

impl LabelledLines {
    /// Whether they are enough for a table: two of them at least are whole, and most values are numbers, of so many in each line.
    fn is_table(&self, values: usize) -> bool {
        let marked = self.marked.len();
        // `A340 = 0.311 (Tea)`: what stands behind every reading names it.
        let named_behind = self.asides == self.count;
        !named_behind && self.count >= LEAST && self.count - marked >= 2 && 2 * marked < self.count * values
    }

    /// The text with blanks in place of the rows without a number.
    fn without_marked(&self) -> Cow<'_, str> {
        if self.marked.is_empty() {
            return Cow::Borrowed(&self.text);
        }
        let mut bytes = self.text.clone().into_bytes();
        for row in &self.marked {
            bytes[row.clone()].fill(b' ');
        }
        Cow::Owned(String::from_utf8_lossy(&bytes).into_owned())
    }
}

/// How many numbers a line has.
fn values(parts: &[LabelledPart]) -> usize {
    parts
        .iter()
        .filter(|part| part.kind == ColumnKind::Figures)
        .count()
}

/// A line without the remark in brackets at its end, `Probe 4: E = 1,322  (measured 1:2)`, and where it stands. A unit is none.
fn without_aside(line: &str) -> (&str, Option<(usize, usize)>) {
    let body = line.trim_end();
    // Words behind a wide gap: `A = 0.255    shutter slow`, `abs = 0.72   highest!!`. One bare word may be a flag of its row.
    if let Some((front, words)) = body.rsplit_once("  ")
        && front.trim_end().ends_with(|c: char| c.is_ascii_digit())
        && words.contains(char::is_alphabetic)
        && !words.trim().chars().all(char::is_alphanumeric)
        && !words.contains(|c: char| c.is_ascii_digit() || matches!(c, '=' | ':' | ';' | '|' | ','))
    {
        let front = front.trim_end();
        return (front, Some((body.len() - words.len(), body.len())));
    }
    let remark = body
        .rfind([' ', '\t'])
        .and_then(|_| body.rfind('('))
        .filter(|_| body.ends_with(')'));
    let aside = remark.filter(|&at| {
        let inner = &body[at + 1..body.len() - 1];
        let apart = body[..at].ends_with([' ', '\t']);
        apart && inner.contains(char::is_alphabetic) && spelled(inner.trim()) == Spelling::None
    });
    match aside {
        Some(at) => (body[..at].trim_end(), Some((at, body.len()))),
        None => (line, None),
    }
}

/// A line with blanks in place of all but its numbers and units, and a tab in front of each number but the first.
fn bare_row(line: &str, parts: &[LabelledPart], rows: &mut String) {
    let mut row = vec![b' '; line.len()];
    for (place, part) in parts.iter().enumerate() {
        for kept in [&part.value, &part.unit] {
            row[kept.clone()].copy_from_slice(&line.as_bytes()[kept.clone()]);
        }
        // A word that says nothing that we know stands for a reading that is missing.
        if part.kind == ColumnKind::Figures && marked::is_unknown(&line[part.value.clone()]) {
            row[part.value.clone()].fill(b'?');
        }
        if place > 0 {
            row[part.value.start - 1] = b'\t';
        }
    }
    rows.push_str(&String::from_utf8_lossy(&row));
}

/// The first value of a line, a time of day in seconds.
fn first_value(line: &str, parts: &[LabelledPart]) -> Option<f64> {
    let first = parts
        .iter()
        .find(|part| part.kind == ColumnKind::Figures || line[part.value.clone()].contains(':'))?;
    let raw = &line[first.value.clone()];
    let mut value = 0.0;
    for piece in raw.split(':') {
        value = value * 60.0
            + piece
                .replace(',', ".")
                .replace('\u{2212}', "-")
                .parse::<f64>()
                .ok()?;
    }
    Some(if raw.matches(':').count() == 1 {
        value * 60.0
    } else {
        value
    })
}

/// A table with the names of its first line, which ends at byte `end`, as headers; `None` where a number was not read.
fn headed(
    mut table: ScannedTable,
    cursor: Cursor,
    end: usize,
    first: &[LabelledPart],
    rows: LabelledLines,
) -> Option<ScannedTable> {
    let grid = &mut table.grid;
    let plain = grid.kinds.iter().eq(first.iter().map(|part| &part.kind));
    let told = |gap: &Gap| matches!(gap.lack, MissingCell::Missing | MissingCell::Beyond);
    if !plain || !grid.gaps.iter().all(told) || grid.rows != rows.count || !grid.odd.is_empty() {
        return None;
    }
    grid.move_by(cursor.at);
    if first.iter().any(|part| !part.name.is_empty()) {
        let cell = |part: &LabelledPart| {
            (!part.name.is_empty()).then(|| Span::new(cursor.at + part.name.start, cursor.at + part.name.end))
        };
        table.heads = vec![HeadRow {
            line: TextLine {
                span: Span::new(cursor.at, end),
                line: cursor.line,
            },
            class: RowClass::Header,
            cells: first.iter().map(cell).collect(),
        }];
    }
    table.joined.extend(rows.between);
    Some(table)
}

/// What is the same in all lines of a table: names, units and kinds.
fn form<'a>(line: &'a str, parts: &[LabelledPart]) -> Vec<(&'a str, &'a str, ColumnKind)> {
    parts
        .iter()
        .map(|part| (&line[part.name.clone()], &line[part.unit.clone()], part.kind))
        .collect()
}

/// The labelled values of a line, two or more with the name of the row; `None` where anything else stands in it. A value
/// has its name in front of it or its unit behind it; one that has neither stands behind a mark or a leader:
/// `0 min: 0.123`, `400 nm .... 0.112`.
fn parts(line: &str) -> Option<Vec<LabelledPart>> {
    const MOST: usize = 12;
    if line.len() > LONGEST || !line.contains(|c: char| c.is_ascii_digit()) {
        return None;
    }
    let mut parts: Vec<LabelledPart> = Vec::new();
    let mut labelled = false;
    let mut at = 0;
    loop {
        let (from, marked) = behind_gap(line, at);
        if from >= line.trim_end().len() {
            break;
        }
        if !parts.is_empty() && from == at || parts.len() == MOST {
            return None;
        }
        let part = if line[from..].starts_with(char::is_alphabetic) {
            named(line, from)
        } else {
            nameless(line, from, parts.is_empty(), marked)
        };
        let part = part.or_else(|| match parts.as_slice() {
            [] => name_of_row(line, from),
            // `[09:58:40] meter: A = 0.051`
            [first] if first.kind == ColumnKind::Words => name_of_row(line, from),
            [_] => None,
            _ => flag(line, from),
        })?;
        at = part.end(line);
        labelled |= marked || !part.name.is_empty();
        parts.push(part);
    }
    (labelled && parts.len() >= 2).then_some(parts)
}

/// The name of a row or its number in brackets, behind which a value with a name and a mark begins: `control 1: A663 = 0.394`,
/// `INFO point 00: wl=450`, `[000] A=0.38`.
fn name_of_row(line: &str, from: usize) -> Option<LabelledPart> {
    /// In bytes; half a line. What is longer is a sentence that ends with a colon.
    const LONGEST_NAME: usize = 40;
    let rest = &line[from..];
    let (start, end) = if let Some(inner) = rest.strip_prefix(['[', '(']) {
        (from + 1, from + 1 + inner.find([']', ')'])?)
    } else {
        rest.starts_with(char::is_alphabetic).then_some(())?;
        (from, from + rest.find([':', '='])?)
    };
    let name = line[start..end].trim();
    let is_name = (1..=LONGEST_NAME).contains(&name.len()) && line[end..].starts_with([':', ']', ')']);
    let (next, _) = behind_gap(line, end + 1);
    let marked = || {
        let value = named(line, next)?;
        line[value.name.end..value.value.start]
            .contains([':', '='])
            .then_some(())
    };
    // In front of the name of the row stands when it was.
    let dated = || {
        let clock = rest.starts_with('[') && clock_length(&line[start..end]) == end - start;
        (clock && (name_of_row(line, next).is_some() || named(line, next).is_some())).then_some(())
    };
    let named = next > end + 1 && marked().or_else(dated).is_some();
    let number = name.bytes().all(|byte| byte.is_ascii_digit());
    let row = LabelledPart::of_row(start..start + name.len());
    let kind = if number { ColumnKind::Figures } else { row.kind };
    (is_name && named).then_some(LabelledPart { kind, ..row })
}

/// The word that ends a line.
fn flag(line: &str, from: usize) -> Option<LabelledPart> {
    let word = line[from..].trim_end();
    word.chars()
        .all(char::is_alphabetic)
        .then(|| LabelledPart::of_row(from..from + word.len()))
}

/// Where the next value begins behind `at`, and whether a mark or a leader leads to it.
fn behind_gap(line: &str, at: usize) -> (usize, bool) {
    const ARROWS: [&str; 4] = ["->", "=>", "→", "..."];
    let mut rest = &line[at..];
    let mut marked = false;
    loop {
        let arrow = ARROWS.iter().find_map(|arrow| rest.strip_prefix(arrow));
        if let Some(behind) = arrow {
            rest = behind.trim_start_matches('.');
            marked = true;
        } else if at > 0 && !marked && rest.starts_with([':', '=']) {
            rest = &rest[1..];
            marked = true;
        } else if rest.starts_with([' ', '\t', ';', '|', ',']) {
            rest = &rest[1..];
        } else {
            return (line.len() - rest.len(), marked);
        }
    }
}

/// `t = 0.0 s`, a name, a mark, a number and perhaps its unit; without a mark where the word names a quantity: `abs 0.741`.
fn named(line: &str, from: usize) -> Option<LabelledPart> {
    let rest = &line[from..];
    let mark = rest.find([':', '=']);
    let marked = mark.map(|at| &rest[..at]).filter(|name| {
        let number_in = name
            .split(' ')
            .skip(1)
            .any(|word| word.starts_with(|c: char| c.is_ascii_digit()));
        !number_in && !name.contains([';', '|', '\t', ','])
    });
    let (name, behind) = match (marked, mark) {
        (Some(name), Some(at)) => (name.trim_end(), from + at + 1),
        _ => {
            let word = rest.split([' ', '\t']).next()?;
            let head = crate::column_header::read_column_header(word);
            (head.quantity.is_some() && head.held.is_empty()).then_some(())?;
            (word, from + word.len())
        }
    };
    let value = behind + (line[behind..].len() - line[behind..].trim_start().len());
    let (value, unit) = number_and_unit(line, value, true)?;
    Some(LabelledPart {
        name: from..from + name.len(),
        value,
        unit,
        kind: ColumnKind::Figures,
    })
}

/// `15 s`, `[15s]`, `[irr 0030 s]`, a time of day in front of all, or a bare number behind a mark.
fn nameless(line: &str, from: usize, is_first: bool, marked: bool) -> Option<LabelledPart> {
    let bracket = line[from..].chars().next().and_then(|open| match open {
        '[' => Some(']'),
        '(' => Some(')'),
        _ => None,
    });
    let inside = from + usize::from(bracket.is_some());
    // A word and a blank in front of the number are its name.
    let word = line[inside..].find(|c: char| !c.is_alphabetic()).unwrap_or(0);
    let named_inside = bracket.is_some() && word > 0 && line[inside + word..].starts_with(' ');
    let start = if named_inside { inside + word + 1 } else { inside };
    let clock = clock_length(&line[start..]);
    let is_clock = is_first && bracket.is_none() && clock > 0;
    let (value, unit) = if is_clock {
        (start..start + clock, start + clock..start + clock)
    } else {
        number_and_unit(line, start, false)?
    };
    let end = unit.end.max(value.end);
    let closed = bracket.is_none_or(|close| line[end..].starts_with(close));
    let said = !unit.is_empty() || clock > 0 || marked && bracket.is_none();
    // `95.3 %T`: the unit with what it is of is the name as well.
    let percent = &line[unit.clone()] == "%" && line[unit.end..].starts_with(['T', 'R']);
    let name = if percent {
        unit.start..unit.end + 1
    } else if named_inside {
        inside..inside + word
    } else {
        from..from
    };
    let kind = if is_clock {
        ColumnKind::Words
    } else {
        ColumnKind::Figures
    };
    (closed && said).then_some(LabelledPart {
        name,
        value,
        unit,
        kind,
    })
}

/// How long the time of day is, `10:03` or `10:03:30`, with which a text begins; 0 where it begins with none.
fn clock_length(text: &str) -> usize {
    let bytes = text.as_bytes();
    let digits = |from: usize| {
        bytes[from.min(bytes.len())..]
            .iter()
            .take_while(|byte| byte.is_ascii_digit())
            .count()
    };
    let hours = digits(0);
    if !(1..=2).contains(&hours) {
        return 0;
    }
    let mut end = hours;
    for _ in 0..2 {
        if bytes.get(end) != Some(&b':') || digits(end + 1) != 2 {
            break;
        }
        end += 3;
    }
    let free = bytes
        .get(end)
        .is_none_or(|byte| matches!(byte, b' ' | b'\t' | b';' | b'|' | b',' | b']' | b')'));
    if end > hours && free { end } else { 0 }
}

/// The number at `from` and the unit behind it. The word behind the number of a `named` value is the name of the next
/// one where a mark follows it, `nm 440 A = 0.123`, or a number.
fn number_and_unit(line: &str, from: usize, named: bool) -> Option<(Range<usize>, Range<usize>)> {
    let body = &line[from..];
    let signed = body.trim_start_matches(['-', '+', '\u{2212}']);
    if !signed.starts_with(|c: char| c.is_ascii_digit()) {
        return None;
    }
    let is_of_number = |c: char| c.is_ascii_digit() || matches!(c, '.' | ',');
    let digits = signed.find(|c: char| !is_of_number(c)).unwrap_or(signed.len());
    let digits = signed[..digits].trim_end_matches(['.', ',']).len();
    let mut end = line.len() - signed.len() + digits;
    if let Some(power) = line[end..].strip_prefix(['e', 'E']) {
        let figures = power.trim_start_matches(['-', '+']);
        let length = figures.bytes().take_while(u8::is_ascii_digit).count();
        end += if length > 0 {
            1 + power.len() - figures.len() + length
        } else {
            0
        };
    }
    let none = Some((from..end, end..end));
    let rest = &line[end..];
    let apart = rest.len() - rest.trim_start_matches([' ', '\t']).len();
    let start = end + apart;
    let stop = |c: char| matches!(c, ' ' | '\t' | ';' | '|' | ',' | ':' | '=' | ']' | ')');
    let word = line[start..]
        .find(stop)
        .map_or(&line[start..], |at| &line[start..start + at]);
    if word.is_empty() || word.starts_with("...") || word.starts_with("->") {
        return none;
    }
    // `95.3 %T` says of what the percents are: both its unit and its name.
    if let Some(sign) = word.strip_prefix('%').filter(|of| matches!(*of, "T" | "R")) {
        let at = start + word.len() - sign.len() - 1;
        return Some((from..end, at..at + 1));
    }
    let known = !word.contains(|c: char| c.is_ascii_digit()) && spelled(word) != Spelling::None;
    if apart == 0 {
        return known.then(|| (from..end, start..start + word.len()));
    }
    let behind = line[start + word.len()..].trim_start();
    let names_next =
        named && behind.starts_with(|c: char| matches!(c, ':' | '=' | '-' | '+') || c.is_ascii_digit());
    Some((
        from..end,
        if known && !names_next {
            start..start + word.len()
        } else {
            end..end
        },
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(line: &str) -> String {
        parts(line).map_or(String::new(), |parts| {
            let part = |part: &LabelledPart| {
                let text = |range: &Range<usize>| &line[range.clone()];
                format!("{}={}[{}]", text(&part.name), text(&part.value), text(&part.unit))
            };
            parts.iter().map(part).collect::<Vec<_>>().join(" ")
        })
    }

    #[test]
    fn values_with_names_and_units() {
        let table = [
            ("t=0.0s A=0.07", "t=0.0[s] A=0.07[]"),
            ("t=   0 s  A=0.841", "t=0[s] A=0.841[]"),
            ("t=  15 s  A= 0.741", "t=15[s] A=0.741[]"),
            ("t=  15 s  A=", ""),
            ("time: 30 s, absorbance: 0.7012", "time=30[s] absorbance=0.7012[]"),
            ("λ = 400 nm; A = 0,112", "λ=400[nm] A=0,112[]"),
            ("0 min: 0.123", "=0[min] =0.123[]"),
            ("400 nm = 0.112", "=400[nm] =0.112[]"),
            ("[15s] abs 0.741", "=15[s] abs=0.741[]"),
            ("wavelength 440 A 0.123", "wavelength=440[] A=0.123[]"),
            ("[15] abs 0.741", ""),
            ("[15s] abs 0.741 bubble", "=15[s] abs=0.741[] =bubble[]"),
            ("absorbance of 3 samples", ""),
            ("10:32:05", ""),
            ("10:32 0.123", ""),
            ("t = 2 min", ""),
            ("Sample: betanin, T: 25 °C", ""),
            ("400: 0.112", ""),
            ("10014 ms raw=34984 A=0.1638", "=10014[ms] raw=34984[] A=0.1638[]"),
            ("10:03   A = 0,080", "=10:03[] A=0,080[]"),
            ("700 nm ......... A 0.022", "=700[nm] A=0.022[]"),
            ("700 nm -> 0.022", "=700[nm] =0.022[]"),
            ("t=1000ms;A=9.12e-1;", "t=1000[ms] A=9.12e-1[]"),
            ("nm 440 A=0.123", "nm=440[] A=0.123[]"),
            ("700 nm .... 95,3 %T", "=700[nm] %T=95,3[%]"),
            ("400 nm 0.112 AU", ""),
            ("10:07 bubble knocked off", ""),
            (
                "[000] wavelength=450 nm absorbance=0.38 ok",
                "=000[] wavelength=450[nm] absorbance=0.38[] =ok[]",
            ),
            (
                "INFO point 00: wl=450 nm, A=0.38",
                "=INFO point 00[] wl=450[nm] A=0.38[]",
            ),
            (
                "control 1: A663 = 0.394, A645 = 0.218",
                "=control 1[] A663=0.394[] A645=0.218[]",
            ),
            ("control: the lamp was on for 3 h", ""),
            ("[irr 0030 s] A(365)=0.6860", "irr=0030[s] A(365)=0.6860[]"),
            ("[09:58:40] meter: A = 0.051", "=09:58:40[] =meter[] A=0.051[]"),
        ];
        for (line, wanted) in table {
            assert_eq!(shown(line), wanted, "{line}");
        }
    }
}
