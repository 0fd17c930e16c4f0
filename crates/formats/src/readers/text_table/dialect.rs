//! How a table separates its cells and writes its numbers, decided over many lines and never number by number.

use std::ops::Range;

use super::number::{Cell, SignEvidence, Style, cell, evidence, plain};
use crate::Source;

/// What stands between cells.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) enum Delimiter {
    /// A tab.
    Tab,
    /// A semicolon.
    Semicolon,
    /// A pipe.
    Pipe,
    /// A comma.
    Comma,
    /// A comma with a blank behind it, where a comma without one is the decimal sign.
    CommaBlank,
    /// One or many blanks or tabs.
    Blank,
    /// Two blanks or more, where single ones stand inside cells.
    Wide,
}

impl Delimiter {
    /// What people call it.
    pub(super) fn name(self) -> &'static str {
        match self {
            Self::Tab => "tabs",
            Self::Semicolon => "semicolons",
            Self::Pipe => "pipes",
            Self::Comma => "commas",
            Self::CommaBlank => "commas followed by blanks",
            Self::Blank => "blanks",
            Self::Wide => "two blanks or more",
        }
    }

    /// The byte, where it is one byte.
    pub(super) fn byte(self) -> Option<u8> {
        match self {
            Self::Tab => Some(b'\t'),
            Self::Semicolon => Some(b';'),
            Self::Pipe => Some(b'|'),
            Self::Comma => Some(b','),
            Self::CommaBlank | Self::Blank | Self::Wide => None,
        }
    }
}

/// What numbers in parentheses are, as a person has settled it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Brackets {
    /// Nobody has.
    Open,
    /// Negative numbers.
    Negative,
    /// Numbers to be left out.
    Absent,
}

/// The separator, the decimal sign, and for comma files that use one sign for both, how the pieces go together.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Dialect {
    pub(super) sep: Delimiter,
    pub(super) style: Style,
    /// For `400,0,0,123` and `25 000 0,12`: how many separated pieces each cell takes, in turn.
    pub(super) pieces: Option<Vec<u8>>,
    pub(super) brackets: Brackets,
}

impl Dialect {
    pub(super) fn new(sep: Delimiter, style: Style) -> Self {
        Self {
            sep,
            style,
            pieces: None,
            brackets: Brackets::Open,
        }
    }

    /// The dialect of an answer such as `2+2`.
    pub(super) fn of_pieces(answer: &str) -> Option<Self> {
        let pieces: Option<Vec<u8>> = answer.split('+').map(|part| part.parse().ok()).collect();
        Some(Self {
            pieces: Some(pieces?),
            ..Self::new(Delimiter::Comma, Style::COMMA)
        })
    }

    /// What a person answers to choose this dialect among others.
    pub(super) fn answer(&self) -> String {
        match &self.pieces {
            Some(pieces) => {
                let parts: Vec<String> = pieces.iter().map(u8::to_string).collect();
                format!("columns={}", parts.join("+"))
            }
            None if self.style == Style::COMMA => "decimal=comma".to_owned(),
            None => "decimal=point".to_owned(),
        }
    }

    /// One sentence for people about a table of a source: the delimiters of one that was only written out are none of its own.
    pub(super) fn says_in(&self, source: &Source) -> String {
        match self.style.decimal {
            b',' if source.is_rendered() => "cells of a document, decimal comma".to_owned(),
            _ if source.is_rendered() => "cells of a document, decimal point".to_owned(),
            decimal if self.sep == Delimiter::Tab && !source.has_tabs() => {
                let decimal = if decimal == b',' { "comma" } else { "point" };
                format!("cells set apart by blanks or by signs, decimal {decimal}")
            }
            _ => self.says(),
        }
    }

    /// The same of a text.
    pub(super) fn says(&self) -> String {
        let decimal = if self.style.decimal == b',' {
            "comma"
        } else {
            "point"
        };
        match &self.pieces {
            Some(_) if self.sep == Delimiter::Comma => {
                format!("cells separated by commas, and the decimal sign a {decimal} too")
            }
            Some(_) => format!(
                "cells separated by {}, which part thousands too, decimal {decimal}",
                self.sep.name()
            ),
            None => format!("cells separated by {}, decimal {decimal}", self.sep.name()),
        }
    }
}

/// Splits a line into cells: ranges of the line, free of surrounding blanks and quotes.
pub(super) fn split(line: &str, dialect: &Dialect) -> Vec<Range<usize>> {
    let mut cells = raw_split(line, dialect.sep);
    if let Some(pieces) = &dialect.pieces {
        let mut joined = Vec::with_capacity(pieces.len());
        let mut rest = cells.iter();
        for &count in pieces {
            let taken: Vec<_> = rest.by_ref().take(usize::from(count)).collect();
            if let (Some(first), Some(last)) = (taken.first(), taken.last()) {
                joined.push(first.start..last.end);
            }
        }
        joined.extend(rest.cloned());
        cells = joined;
    }
    cells
}

/// Splits at a separator alone.
pub(super) fn raw_split(line: &str, sep: Delimiter) -> Vec<Range<usize>> {
    crate::work::looks_at(line.len());
    if sep == Delimiter::Wide {
        return split_wide(line);
    }
    let bytes = line.as_bytes();
    let mut cells = Vec::with_capacity(8);
    if sep == Delimiter::Blank && line.is_ascii() && !bytes.contains(&b'"') {
        let mut start = None;
        for (at, &byte) in bytes.iter().enumerate() {
            match start {
                _ if !is_blank(char::from(byte)) => {
                    start.get_or_insert(at);
                }
                Some(from) => {
                    cells.push(from..at);
                    start = None;
                }
                None => {}
            }
        }
        cells.extend(start.map(|from| from..bytes.len()));
        return cells;
    }
    if sep == Delimiter::Blank {
        let mut at = 0;
        while at < bytes.len() {
            let rest = &line[at..];
            let skipped = rest.len() - rest.trim_start_matches(is_blank).len();
            at += skipped;
            if at >= bytes.len() {
                break;
            }
            if bytes[at] == b'"'
                && let Some(close) = line[at + 1..].find('"')
            {
                cells.push(at + 1..at + 1 + close);
                at += close + 2;
                continue;
            }
            let length = line[at..].find(is_blank).unwrap_or(bytes.len() - at);
            cells.push(at..at + length);
            at += length;
        }
        return cells;
    }
    // Without quotes every separator divides; the common case.
    if let Some(byte) = sep.byte().filter(|_| !bytes.contains(&b'"')) {
        let mut start = 0;
        for at in memchr::memchr_iter(byte, bytes).chain([bytes.len()]) {
            cells.push(trim(line, start..at));
            start = at + 1;
        }
        unframe(&mut cells, sep);
        return cells;
    }
    let is_end = |at: usize| match sep {
        Delimiter::CommaBlank => {
            bytes[at] == b',' && bytes.get(at + 1).is_none_or(|b| matches!(b, b' ' | b'\t'))
        }
        _ => Some(bytes[at]) == sep.byte(),
    };
    let mut start = 0;
    let mut at = 0;
    let mut quoted = false;
    let mut fresh = true;
    while at <= bytes.len() {
        if at == bytes.len() || (!quoted && is_end(at)) {
            cells.push(trim(line, start..at));
            start = at + 1;
            fresh = true;
        } else if bytes[at] == b'"' {
            if quoted {
                // A doubled quote stands for itself.
                if bytes.get(at + 1) == Some(&b'"') {
                    at += 1;
                } else {
                    quoted = false;
                }
            } else if fresh && line[at + 1..].contains('"') {
                quoted = true;
            }
            fresh = false;
        } else if !bytes[at].is_ascii_whitespace() {
            fresh = false;
        }
        at += 1;
    }
    unframe(&mut cells, sep);
    cells
}

/// Takes away the empty cells outside the pipes that often frame a row.
fn unframe(cells: &mut Vec<Range<usize>>, sep: Delimiter) {
    if sep == Delimiter::Pipe && cells.len() > 2 {
        if cells.first().is_some_and(Range::is_empty) {
            cells.remove(0);
        }
        if cells.last().is_some_and(Range::is_empty) {
            cells.pop();
        }
    }
}

/// Cells divided by two or more blanks, or tabs.
pub(super) fn split_wide(line: &str) -> Vec<Range<usize>> {
    let bytes = line.as_bytes();
    let mut cells = Vec::new();
    let mut start = None;
    let mut at = 0;
    while at < bytes.len() {
        let gap = bytes[at] == b'\t'
            || (bytes[at] == b' ' && bytes.get(at + 1).is_none_or(|b| matches!(b, b' ' | b'\t')));
        if gap {
            if let Some(from) = start.take() {
                cells.push(trim(line, from..at));
            }
        } else if start.is_none() && bytes[at] != b' ' {
            start = Some(at);
        }
        at += 1;
    }
    if let Some(from) = start {
        cells.push(trim(line, from..bytes.len()));
    }
    cells
}

/// Blanks between cells: space, tab, and the blanks that word processors leave.
pub(super) fn is_blank(c: char) -> bool {
    matches!(
        c,
        ' ' | '\t' | '\u{00A0}' | '\u{2009}' | '\u{202F}' | '\u{FEFF}' | '\u{000C}'
    )
}

/// A range without the blanks and one pair of quotes around it.
pub(super) fn trim(line: &str, range: Range<usize>) -> Range<usize> {
    let text = &line[range.clone()];
    // Nothing is around a cell that begins and ends with visible ASCII other than a quote.
    let bare = |byte: Option<&u8>| byte.is_some_and(|b| b.is_ascii_graphic() && !matches!(b, b'"' | b'\''));
    if bare(text.as_bytes().first()) && bare(text.as_bytes().last()) {
        return range;
    }
    let front = text.len() - text.trim_start().len();
    let kept = text.trim();
    let (start, mut end) = (range.start + front, range.start + front + kept.len());
    let quoted = |quote: char| kept.len() >= 2 && kept.starts_with(quote) && kept.ends_with(quote);
    if quoted('"') || quoted('\'') {
        let inner = &line[start + 1..end - 1];
        let front = inner.len() - inner.trim_start().len();
        end = start + 1 + front + inner.trim().len();
        return start + 1 + front..end;
    }
    start..end
}

/// What was decided about some lines.
#[derive(Clone, Debug)]
pub(super) enum Decision {
    /// They are rows of one table, so.
    Sure(Dialect),
    /// They are rows of one table, and what the signs mean is open; the likelier reading first.
    Open {
        code: &'static str,
        readings: Vec<Dialect>,
    },
    /// They are no rows of a table.
    None,
}

/// How well the lines split at one separator.
struct DelimiterFit {
    sep: Delimiter,
    /// The usual count of cells.
    count: usize,
    /// Share of lines with about that count.
    steady: f64,
    /// Share of the non-empty cells that are figures under one of the two styles.
    figures: f64,
    /// The cells of each line.
    cells: Vec<Vec<Range<usize>>>,
}

/// What a separator is worth before any line is looked at: signs that stand in no number first.
fn of_itself(sep: Delimiter) -> f64 {
    match sep {
        Delimiter::Blank => 0.0,
        Delimiter::Wide => -0.01,
        _ => 0.02,
    }
}

/// The weight of a separator that is of all lines, whatever their cells are.
const PARTED: f64 = 0.25;

/// The most that a separator can be worth.
fn most_of(sep: Delimiter) -> f64 {
    PARTED + 1.0 + of_itself(sep)
}

impl DelimiterFit {
    /// How much speaks for the separator.
    fn score(&self) -> f64 {
        self.steady * (PARTED + self.figures) + of_itself(self.sep)
    }
}

/// The cells of rows, as a separator parts them.
pub(super) type Parted = (Delimiter, Vec<Vec<Range<usize>>>);

/// Decides the dialect of `rows`, lines that follow one another and look like data. `heads` is the line above them. The cells
/// go with it where they were parted on the way, so that nobody parts them anew.
pub(super) fn decide(rows: &[&str], heads: Option<&str>) -> (Decision, Option<Parted>) {
    let mut best: Option<DelimiterFit> = None;
    // Splitting at blanks would swallow the empty cells between tabs and shift what stands behind them.
    let mut tabs_separate = false;
    let beyond_doubt = heads.and_then(|head| parted_as(head, rows));
    for sep in [
        Delimiter::Tab,
        Delimiter::Semicolon,
        Delimiter::Pipe,
        Delimiter::CommaBlank,
        Delimiter::Comma,
        Delimiter::Blank,
        Delimiter::Wide,
    ] {
        if tabs_separate && matches!(sep, Delimiter::Blank | Delimiter::Wide)
            || beyond_doubt.is_some_and(|parting| parting != sep)
        {
            continue;
        }
        // A damaged row has no say against the two kinds of comma in all others.
        if sep == Delimiter::Comma
            && best.as_ref().is_some_and(|fit| {
                fit.sep == Delimiter::CommaBlank && fit.steady >= 0.8 && fit.figures >= 0.8
            })
        {
            continue;
        }
        // Between digits, in cells that another sign parts, the comma is a decimal sign: `A1;beet;1,376`.
        if sep == Delimiter::Comma
            && best
                .as_ref()
                .is_some_and(|fit| parts_all(fit) && commas_stand_in_numbers(rows))
        {
            continue;
        }
        // Names with a number each behind a wide gap: `river bank    0,168`.
        if sep == Delimiter::Comma
            && rows.len() >= 2
            && rows.iter().filter(|row| is_name_and_number(row)).count() * 4 >= rows.len() * 3
        {
            continue;
        }
        if best
            .as_ref()
            .is_some_and(|best| best.score() + 1e-9 >= most_of(sep))
        {
            continue;
        }
        let Some(fit) = fit(rows, sep) else { continue };
        tabs_separate |= sep == Delimiter::Tab
            && fit.count >= 2
            && (fit.steady >= 0.6 && fit.figures >= 0.6 && !tabs_are_blanks(rows)
                || parts_names_off(rows, &fit));
        let better = match &best {
            None => true,
            Some(old) => fit.score() > old.score() + 1e-9,
        };
        if better && fit.steady >= 0.6 {
            // Nothing can do better than every row with the same count of nothing but figures.
            let perfect = fit.steady >= 1.0 && fit.figures >= 1.0 && fit.sep != Delimiter::CommaBlank;
            best = Some(fit);
            if perfect {
                break;
            }
        }
    }
    let Some(mut fit) = best else {
        return (Decision::None, None);
    };
    if fit.sep == Delimiter::Blank {
        // Rules and closing words among the rows have no figures, and no say.
        let with_figures = |row: &&&str| row.bytes().any(|byte| byte.is_ascii_digit());
        let figured: Vec<&str> = rows.iter().filter(with_figures).copied().collect();
        // A name has a letter, and is one of at least three cells.
        let may_have_names = fit.count > 2 && figured.iter().any(|row| row.contains(char::is_alphabetic));
        if may_have_names
            && let Some(wide) = self::fit(&figured, Delimiter::Wide)
            && wide.steady >= 1.0
            && (2..fit.count).contains(&wide.count)
            && names_have_blanks(&figured)
        {
            let cells = rows.iter().map(|row| raw_split(row, Delimiter::Wide)).collect();
            fit = DelimiterFit { cells, ..wide };
        }
    }
    if fit.sep == Delimiter::Comma
        && let Some(decision) = comma_for_both(rows, heads)
    {
        return (decision, None);
    }
    let texts = rows
        .iter()
        .zip(&fit.cells)
        .flat_map(|(row, cells)| cells.iter().map(move |cell| &row[cell.clone()]));
    (style_of(fit.sep, texts), Some((fit.sep, fit.cells)))
}

/// The sign that stands as often in every row as in the header above them, in which it parts words.
fn parted_as(head: &str, rows: &[&str]) -> Option<Delimiter> {
    let count = |line: &str, mark: u8| memchr::memchr_iter(mark, line.as_bytes()).count();
    // `name, A280` over `elu 1, 0.981`: behind a comma that is no decimal sign stands a blank.
    let spaced = |line: &str| line.matches(", ").count();
    let of_head = spaced(head);
    if of_head >= 1
        && std::iter::once(&head)
            .chain(rows)
            .all(|line| spaced(line) == of_head && count(line, b',') == of_head)
        && head.split(", ").all(|cell| cell.contains(char::is_alphabetic))
    {
        return Some(Delimiter::Comma);
    }
    [Delimiter::Tab, Delimiter::Semicolon, Delimiter::Pipe]
        .into_iter()
        .find(|sep| {
            let Some(mark) = sep.byte() else { return false };
            let of_head = count(head, mark);
            let words = || {
                head.split(char::from(mark))
                    .filter(|cell| cell.contains(char::is_alphabetic))
                    .count()
            };
            of_head >= 1 && rows.iter().all(|row| count(row, mark) == of_head) && words() >= 2
        })
}

/// Whether a sign parts the rows into as many cells, of which one column is of numbers throughout, and blanks stand only
/// inside names: `prep 1<tab>1.014`. A row in ten, or one, may be cut off.
fn parts_names_off(rows: &[&str], fit: &DelimiterFit) -> bool {
    const FEWEST: usize = 2;
    let short = fit.cells.iter().filter(|cells| cells.len() < fit.count).count();
    let long = fit.cells.iter().any(|cells| cells.len() > fit.count);
    let text = |row: usize, column: usize| {
        fit.cells[row]
            .get(column)
            .map_or("", |range| rows[row][range.clone()].trim())
    };
    let every = |column: usize, holds: &dyn Fn(&str) -> bool| {
        (0..rows.len())
            .map(|row| text(row, column))
            .all(|cell| cell.is_empty() || holds(cell))
    };
    rows.len() >= FEWEST
        && !long
        && short <= (rows.len() / 10).max(1)
        && (0..fit.count).any(|column| every(column, &|cell| weigh(cell) >= 1.0))
        && (0..fit.count).all(|column| {
            every(column, &|cell| {
                !cell.contains(' ') || cell.starts_with(char::is_alphabetic)
            })
        })
}

/// Whether a sign that stands in no number parts nearly all rows into as many cells.
fn parts_all(fit: &DelimiterFit) -> bool {
    matches!(fit.sep, Delimiter::Tab | Delimiter::Semicolon | Delimiter::Pipe)
        && fit.count >= 2
        && fit.steady >= 0.9
}

/// Whether every comma of some rows stands between two digits.
pub(super) fn commas_stand_in_numbers(rows: &[&str]) -> bool {
    let in_number = |row: &str| {
        let bytes = row.as_bytes();
        let is_digit = |at: Option<usize>| at.and_then(|at| bytes.get(at)).is_some_and(u8::is_ascii_digit);
        memchr::memchr_iter(b',', bytes).all(|at| is_digit(at.checked_sub(1)) && is_digit(Some(at + 1)))
    };
    rows.iter().all(|row| in_number(row))
}

/// The decimal sign of a separator's cells, over all of them.
pub(super) fn style_of<'a>(sep: Delimiter, cells: impl Iterator<Item = &'a str>) -> Decision {
    if sep == Delimiter::CommaBlank {
        return Decision::Sure(Dialect::new(sep, Style::COMMA));
    }
    if sep == Delimiter::Comma {
        // An unquoted comma separates; quoted cells may still write decimal commas.
        let (mut commas, mut points) = (0, 0);
        for text in cells {
            match evidence(text) {
                SignEvidence::Comma => commas += 1,
                SignEvidence::Point | SignEvidence::EitherPoint => points += 1,
                _ => {}
            }
        }
        let style = if commas > points {
            Style::COMMA
        } else {
            Style::POINT
        };
        return Decision::Sure(Dialect::new(sep, style));
    }
    let (mut commas, mut points, mut either_comma, mut either_point) = (0_usize, 0_usize, 0_usize, 0_usize);
    for text in cells {
        match evidence(text) {
            SignEvidence::None => {}
            SignEvidence::Point => points += 1,
            SignEvidence::Comma => commas += 1,
            SignEvidence::EitherComma => either_comma += 1,
            SignEvidence::EitherPoint => either_point += 1,
        }
    }
    let point = Dialect::new(sep, Style::POINT);
    let comma = Dialect::new(sep, Style::COMMA);
    match (commas, points) {
        (0, 0) if either_comma > 0 && either_point == 0 => Decision::Open {
            code: "decimal-comma-or-thousands",
            readings: vec![comma, point],
        },
        // A single point before three digits is a decimal point unless commas speak against it.
        (0, 0) if either_comma > 0 => Decision::Open {
            code: "decimal-comma-or-point",
            readings: vec![point, comma],
        },
        (0, _) => Decision::Sure(point),
        (_, 0) => Decision::Sure(comma),
        // Both: the rare sign is a slip in single cells, which will then not be numbers; else it is open.
        (c, p) if c * 10 <= p => Decision::Sure(point),
        (c, p) if p * 10 <= c => Decision::Sure(comma),
        (c, p) => Decision::Open {
            code: "decimal-comma-or-point",
            readings: if c > p {
                vec![comma, point]
            } else {
                vec![point, comma]
            },
        },
    }
}

/// Whether a row is a name, a wide gap, and one number with a decimal comma.
fn is_name_and_number(row: &str) -> bool {
    let cells = split_wide(row);
    let [name, number] = cells.as_slice() else {
        return false;
    };
    let (name, number) = (&row[name.clone()], row[number.clone()].trim());
    let figures = |part: &str| !part.is_empty() && part.bytes().all(|byte| byte.is_ascii_digit());
    // `17/1` names a sample as well as a word does.
    let plain = |c: char| c.is_ascii_digit() || matches!(c, '.' | '+' | '-');
    name.contains(|c: char| !plain(c))
        && !name.contains(',')
        && number
            .split_once(',')
            .is_some_and(|(whole, decimals)| figures(whole) && figures(decimals))
}

/// Whether several rows have no tab, and no tab stands where it may close an empty cell: tabs and blanks in turn.
fn tabs_are_blanks(rows: &[&str]) -> bool {
    let empty_cells = |row: &&str| row.contains("\t\t") || row.starts_with('\t') || row.ends_with('\t');
    rows.iter().filter(|row| !row.contains('\t')).count() >= 2 && !rows.iter().any(empty_cells)
}

/// Whether single blanks stand only inside names (`sample 1   0.1774`), so that what follows a blank is no cell of its own.
fn names_have_blanks(rows: &[&str]) -> bool {
    let mut any = false;
    for row in rows {
        for range in split_wide(row) {
            let cell = &row[range];
            if cell.contains(' ') {
                if !cell.starts_with(char::is_alphabetic) {
                    return false;
                }
                any = true;
            }
        }
    }
    any
}

fn fit(rows: &[&str], sep: Delimiter) -> Option<DelimiterFit> {
    if sep == Delimiter::Wide && !rows.iter().all(|row| row.trim().contains("  ")) {
        return None;
    }
    if let Some(byte) = sep.byte()
        && !rows.iter().any(|row| row.as_bytes().contains(&byte))
    {
        return None;
    }
    if sep == Delimiter::CommaBlank && !rows.iter().any(|row| row.as_bytes().contains(&b',')) {
        return None;
    }
    if sep == Delimiter::CommaBlank {
        // Only where both kinds of comma stand in the rows.
        let both = rows.iter().filter(|row| {
            let bytes = row.as_bytes();
            let kinds = |blank: bool| {
                bytes
                    .windows(3)
                    .any(|w| w[1] == b',' && w[0].is_ascii_digit() && matches!(w[2], b' ' | b'\t') == blank)
            };
            kinds(true) && kinds(false) && !row.contains('.')
        });
        if both.count() * 2 < rows.len() {
            return None;
        }
    }
    let cells: Vec<Vec<Range<usize>>> = rows.iter().map(|row| raw_split(row, sep)).collect();
    let counts: Vec<usize> = cells.iter().map(Vec::len).collect();
    let mut sorted = counts.clone();
    sorted.sort_unstable();
    // What parts no lines is no separator.
    let count = mode(&sorted).filter(|&count| count >= 2)?;
    let (mut figures, mut filled) = (0.0, 0_usize);
    for (row, cells) in rows.iter().zip(&cells) {
        for range in cells {
            let text = &row[range.clone()];
            if text.is_empty() {
                continue;
            }
            filled += 1;
            figures += weigh(text);
        }
    }
    let hard = sep.byte().is_some();
    // A remark behind some of the rows, `2  0,392  bubbles`, makes none of them another kind of row.
    let remarked = |row: usize, count: usize| {
        let text = |range: &Range<usize>| &rows[row][range.clone()];
        let (own, behind) = cells[row].split_at(count);
        own.iter().all(|cell| weigh(text(cell)) >= 1.0)
            && own
                .iter()
                .any(|cell| text(cell).contains('.') || text(cell).contains(','))
            && behind
                .iter()
                .all(|cell| text(cell).starts_with(char::is_alphabetic))
    };
    let of_one_form = |count: usize| counts.iter().filter(|&&c| c == count).count() >= 2;
    // Where as many rows have one as have none, those without tell how many cells a row has.
    let least = sorted
        .first()
        .copied()
        .filter(|&least| (2..count).contains(&least) && of_one_form(least));
    let count = least
        .filter(|&least| !hard && (0..rows.len()).all(|row| counts[row] == least || remarked(row, least)))
        .unwrap_or(count);
    let near = counts
        .iter()
        .enumerate()
        .filter(|&(row, &c)| {
            c == count
                || hard && (2..=count).contains(&c)
                || !hard && of_one_form(count) && c > count && remarked(row, count)
        })
        .count();
    Some(DelimiterFit {
        sep,
        count,
        steady: near as f64 / rows.len() as f64,
        figures: figures / filled.max(1) as f64,
        cells,
    })
}

/// How much a cell looks like part of a table: a figure counts one, a date or code with digits half, words nothing.
fn weigh(text: &str) -> f64 {
    // A sign that separates has been left at the cell: it was split at another.
    if text.ends_with([',', ';']) {
        return 0.5;
    }
    // Most cells are plain numbers in one of the styles, which is seen before all else is tried.
    let is_plain =
        |style: Style| plain(text.as_bytes(), 0, style.decimal).is_some_and(|(_, _, end)| end == text.len());
    if is_plain(Style::POINT) || is_plain(Style::COMMA) {
        return 1.0;
    }
    let digits = text.bytes().filter(u8::is_ascii_digit).count();
    // Words without a figure are the same in both styles.
    let styles: &[Style] = if digits == 0 {
        &[Style::POINT]
    } else {
        &[Style::POINT, Style::COMMA]
    };
    for &style in styles {
        match cell(text, style) {
            Cell::Number { .. }
            | Cell::Bracketed { .. }
            | Cell::Clock { .. }
            | Cell::Missing
            | Cell::Beyond => return 1.0,
            Cell::WithUnit { .. } => return 0.8,
            Cell::Empty | Cell::Words => {}
        }
    }
    let parts_a_date = |text: &str| text.contains(['-', '/', ':']) || text.matches('.').count() >= 2;
    let date_like = digits >= 4
        && (!text.contains(' ') || text.split(' ').any(parts_a_date))
        && text
            .bytes()
            .all(|b| b.is_ascii_digit() || matches!(b, b'-' | b'/' | b'.' | b':' | b' ' | b'T'));
    // `2021-03-14T10:32:05+01:00`, `3/14/2021 3:15 PM`
    let stamp = || text.contains(':') && curvary_record::moment::read_time(text).is_some();
    if date_like || stamp() { 0.9 } else { 0.0 }
}

fn mode(sorted: &[usize]) -> Option<usize> {
    let mut best = None;
    let mut at = 0;
    while at < sorted.len() {
        let run = sorted[at..].iter().take_while(|&&c| c == sorted[at]).count();
        if best.is_none_or(|(length, _)| run >= length) {
            best = Some((run, sorted[at]));
        }
        at += run;
    }
    best.map(|(_, count)| count)
}

/// Comma files in which the comma may be the decimal sign as well: `400,0,0,123` or `400,0,123`.
///
/// Only rows of whole numbers between the commas are in doubt. The head may count the columns; leading zeros and the
/// order of x may leave one reading; otherwise it is an open question.
fn comma_for_both(rows: &[&str], heads: Option<&str>) -> Option<Decision> {
    let mut split_rows: Vec<Vec<&str>> = Vec::with_capacity(rows.len());
    for row in rows {
        if row.contains(['.', '"']) || row.trim_end().ends_with(',') {
            return None;
        }
        let cells: Vec<&str> = raw_split(row, Delimiter::Comma)
            .into_iter()
            .map(|range| &row[range])
            .collect();
        let whole = |text: &&str| {
            let digits = text.trim_start_matches(['-', '+']);
            !digits.is_empty() && digits.bytes().all(|b| b.is_ascii_digit())
        };
        if !cells.iter().all(whole) {
            return None;
        }
        split_rows.push(cells);
    }
    let count = split_rows.first()?.len();
    let ragged = split_rows.iter().any(|cells| cells.len() != count);
    let separated = Dialect::new(Delimiter::Comma, Style::POINT);
    let head_count = heads
        .map(|line| raw_split(line, Delimiter::Comma).len())
        .filter(|&n| n >= 2);
    if !ragged && head_count == Some(count) {
        return Some(Decision::Sure(separated));
    }
    if ragged || count > 12 {
        // Cells with and without decimals: which comma separates cannot be told.
        return ragged.then(|| Decision::Open {
            code: "decimal-comma-or-separator",
            readings: vec![
                separated,
                Dialect {
                    pieces: Some(pairs(count)),
                    ..Dialect::new(Delimiter::Comma, Style::COMMA)
                },
            ],
        });
    }
    let mut patterns = Vec::new();
    compose(count, &mut Vec::new(), &mut patterns);
    patterns.retain(|pattern| {
        pattern.len() >= 2
            && pattern.contains(&2)
            && head_count.is_none_or(|n| n == pattern.len())
            && split_rows.iter().all(|cells| sensible(cells, pattern))
            && x_is_orderly(&split_rows, pattern)
    });
    // Every cell with decimals is the usual form; a whole-numbered x with decimals behind it the next.
    patterns.sort_by_key(|pattern| pattern.iter().filter(|&&n| n == 1).count());
    let all_whole = vec![1_u8; count];
    let whole_is_sensible =
        head_count.is_none() && split_rows.iter().all(|cells| sensible(cells, &all_whole));
    let reading = |pattern: &Vec<u8>| Dialect {
        pieces: Some(pattern.clone()),
        ..Dialect::new(Delimiter::Comma, Style::COMMA)
    };
    let mut readings: Vec<Dialect> = patterns.iter().take(3).map(reading).collect();
    if whole_is_sensible {
        readings.push(separated.clone());
    }
    match readings.len() {
        0 => Some(Decision::Sure(separated)),
        // One reading alone makes sense, but whoever wrote the file used one sign for two things: it is asked, the likely one first.
        1 => {
            readings.push(separated);
            Some(Decision::Open {
                code: "decimal-comma-or-separator",
                readings,
            })
        }
        _ => Some(Decision::Open {
            code: "decimal-comma-or-separator",
            readings,
        }),
    }
}

fn pairs(count: usize) -> Vec<u8> {
    let mut pieces = vec![2; count / 2];
    if count % 2 == 1 {
        pieces.insert(0, 1);
    }
    pieces
}

/// Every way to make `left` pieces into cells of one or two.
fn compose(left: usize, front: &mut Vec<u8>, all: &mut Vec<Vec<u8>>) {
    if left == 0 {
        all.push(front.clone());
        return;
    }
    for take in [2_u8, 1] {
        if usize::from(take) <= left {
            front.push(take);
            compose(left - usize::from(take), front, all);
            front.pop();
        }
    }
}

/// Whether the pieces of a row may be cells so: no sign inside a number, no leading zeros in front of one.
fn sensible(cells: &[&str], pattern: &[u8]) -> bool {
    let mut at = 0;
    for &take in pattern {
        let Some(front) = cells.get(at) else { return false };
        let digits = front.trim_start_matches(['-', '+']);
        if digits.len() > 1 && digits.starts_with('0') {
            return false;
        }
        if take == 2
            && cells
                .get(at + 1)
                .is_none_or(|behind| behind.starts_with(['-', '+']))
        {
            return false;
        }
        at += usize::from(take);
    }
    at == cells.len()
}

/// Whether the first cell rises or falls all the way, as the running axis of a table does.
fn x_is_orderly(rows: &[Vec<&str>], pattern: &[u8]) -> bool {
    let x: Vec<f64> = rows
        .iter()
        .filter_map(|cells| match pattern.first() {
            Some(2) => format!("{}.{}", cells.first()?, cells.get(1)?).parse().ok(),
            _ => cells.first()?.parse().ok(),
        })
        .collect();
    x.windows(2).all(|w| w[0] < w[1]) || x.windows(2).all(|w| w[0] > w[1])
}

#[cfg(test)]
mod tests;
