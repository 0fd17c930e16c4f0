//! How a file is written, found from its text alone.
//!
//! Nothing here asks what a table means: two files are of one family when one hand, or one program with one setting,
//! wrote both. What differs from file to file of one hand is left out: numbers, names of samples, how many curves there
//! are, a key that is not always filled in.

use std::collections::BTreeSet;

use curvary_record::{Around, Family, Headers, Manner, unit};

use crate::{Source, readers, words};

/// So much of the beginning is looked at: more tells nothing new about the manner of writing.
const BYTES: usize = 24 << 10;
const LINES: usize = 300;
/// So many rows with words among the numbers are a table, and so many where there is no longer one.
const FEWEST_NAMED: usize = 4;
const FEWEST_IN_A_LIST: usize = 2;
/// A longer text before a colon is a sentence.
const KEY: usize = 48;

/// The family of a source; none where it has no table, for what is no table was written in no manner.
#[must_use]
pub fn of(source: &Source) -> Option<Family> {
    if source.may_be_text() {
        return of_text(source.text(), false);
    }
    let mut all = readers::written_out(source)
        .into_iter()
        .filter_map(|text| of_text(&text, true));
    let mut family = all.next()?;
    for other in all {
        // Sheets that are written alike are one family, and others are named as well.
        if other.writing != family.writing {
            family.writing = format!("{} + {}", family.writing, other.writing);
        }
        family = family.with(&other);
    }
    Some(family)
}

/// The family of a text, which may be the tables of a document, written out with tabs that are none of its own.
fn of_text(text: &str, in_document: bool) -> Option<Family> {
    let text = &text[..text.floor_char_boundary(BYTES)];
    let lines: Vec<&str> = text.lines().take(LINES).map(str::trim_end).collect();
    if lines
        .iter()
        .find(|line| !line.trim().is_empty())
        .is_some_and(|line| line.starts_with("##"))
    {
        return Some(labelled(&lines));
    }
    // Where no table is longer, a few rows of names and numbers are one.
    let (least, (delimiter, rows)) = [FEWEST_NAMED, FEWEST_IN_A_LIST]
        .into_iter()
        .find_map(|least| Some((least, delimiter(&lines, least)?)))?;
    let blocks = blocks(&rows, least);
    let mut used = vec![false; lines.len()];
    let mut headers: Vec<String> = Vec::new();
    let mut bare: Option<String> = None;
    let mut kinds: Vec<&str> = Vec::new();
    let mut marks = Marks::default();
    let names = names(&lines, delimiter);
    for block in &blocks {
        used[block.clone()].fill(true);
        let first = header_row(&rows, block);
        let data = first.map_or(block.start, |first| first + 1)..block.end;
        for row in &rows[data.clone()] {
            marks.see(&row.cells);
        }
        kinds_of(&rows[data.clone()], &mut kinds);
        let header = match first {
            Some(first) => vec![first],
            None => headers_above(&lines, &rows, block, delimiter),
        };
        for line in header {
            used[line] = true;
            for cell in cells(lines[line], delimiter) {
                push_new(&mut headers, header_cell(cell, &names));
            }
        }
        if headers.is_empty() && bare.is_none() {
            bare = Some(outline(&rows[data]));
        }
    }
    let (keys, around) = preamble(&lines, &used, Some(delimiter));
    let manner = Manner {
        cells: format!(
            "{}{}",
            if in_document {
                "cells of a document"
            } else {
                delimiter.name()
            },
            marks.name()
        ),
        kinds: kinds.join(", "),
        headers: match bare {
            Some(table) => Headers::Absent([vec![table], headers].concat().join(", ")),
            None => Headers::Present(headers.join(", ")),
        },
        around,
    };
    Some(Family {
        writing: manner.to_string(),
        keys,
    })
}

/// Labelled records: what the labels say of data and units, and which labels there are.
fn labelled(lines: &[&str]) -> Family {
    const TELLING: [&str; 5] = ["DATATYPE", "DATACLASS", "XUNITS", "YUNITS", "UNITS"];
    let mut keys = BTreeSet::new();
    let mut telling: Vec<String> = Vec::new();
    for line in lines.iter().filter(|line| line.starts_with("##")) {
        let Some((label, value)) = line[2..].split_once('=') else {
            continue;
        };
        let label: String = label
            .chars()
            .filter(|sign| sign.is_alphanumeric() || *sign == '$' || *sign == '.')
            .flat_map(char::to_uppercase)
            .collect();
        if TELLING.contains(&label.as_str()) || value.trim().starts_with('(') {
            let value = value.split("$$").next().unwrap_or_default();
            push_new(&mut telling, format!("{} {}", label.to_lowercase(), fold(value)));
        }
        keys.insert(label.to_lowercase());
    }
    Family {
        writing: format!("labelled records; {}", telling.join(", ")),
        keys: keys.into_iter().collect(),
    }
}

/// What stands between the cells of a row.
#[derive(Clone, Copy, PartialEq, Eq)]
enum FamilyDelimiter {
    Sign(char),
    Blanks,
}

impl FamilyDelimiter {
    const ALL: [Self; 5] = [
        Self::Sign('\t'),
        Self::Sign(';'),
        Self::Sign('|'),
        Self::Sign(','),
        Self::Blanks,
    ];

    fn name(self) -> &'static str {
        match self {
            Self::Sign('\t') => "tabs",
            Self::Sign(';') => "semicolons",
            Self::Sign('|') => "bars",
            Self::Sign(_) => "commas",
            Self::Blanks => "blanks",
        }
    }
}

fn cells(line: &str, delimiter: FamilyDelimiter) -> Vec<&str> {
    match delimiter {
        FamilyDelimiter::Sign(sign) => line.split(sign).map(str::trim).collect(),
        // A single blank parts numbers; within words it is no delimiter.
        FamilyDelimiter::Blanks if line.trim().contains("  ") => line
            .trim()
            .split("  ")
            .map(str::trim)
            .filter(|cell| !cell.is_empty())
            .flat_map(|cell| {
                let numbers = cell.split(' ').all(is_like_number);
                if numbers {
                    cell.split(' ').collect()
                } else {
                    vec![cell]
                }
            })
            .collect(),
        FamilyDelimiter::Blanks => line.split(' ').filter(|cell| !cell.is_empty()).collect(),
    }
}

fn is_like_number(cell: &str) -> bool {
    let cell = cell.trim_matches(['"', '\'', ' ', '*', '<', '>', '~', '%']);
    cell.contains(|sign: char| sign.is_ascii_digit())
        && cell.starts_with(|sign: char| sign.is_ascii_digit() || "+-−.,".contains(sign))
        && cell
            .chars()
            .all(|sign| sign.is_ascii_digit() || "+-−.,:'/eE ".contains(sign))
}

/// A line as it could be a row.
struct FamilyRow<'t> {
    cells: Vec<&'t str>,
    numbers: usize,
    filled: usize,
}

impl<'t> FamilyRow<'t> {
    fn of(line: &'t str, delimiter: FamilyDelimiter) -> Self {
        let cells = cells(line, delimiter);
        Self {
            numbers: cells.iter().filter(|cell| is_like_number(cell)).count(),
            filled: cells.iter().filter(|cell| !cell.is_empty()).count(),
            cells,
        }
    }

    fn could_be_data(&self) -> bool {
        self.cells.len() >= 2 && self.numbers >= 1 && self.numbers * 3 >= self.filled
    }

    fn is_full(&self) -> bool {
        self.cells.len() >= 2 && self.numbers >= 2 && self.numbers == self.filled
    }
}

/// The delimiter that makes most lines rows of numbers, and the lines as such rows.
fn delimiter<'t>(lines: &[&'t str], least: usize) -> Option<(FamilyDelimiter, Vec<FamilyRow<'t>>)> {
    let mut best = (0, None);
    for delimiter in FamilyDelimiter::ALL {
        if let FamilyDelimiter::Sign(sign) = delimiter
            && !lines.iter().any(|line| line.contains(sign))
        {
            continue;
        }
        let rows: Vec<FamilyRow> = lines.iter().map(|line| FamilyRow::of(line, delimiter)).collect();
        let score: usize = blocks(&rows, least)
            .into_iter()
            .flatten()
            .map(|row| if rows[row].is_full() { 3 } else { 1 })
            .sum();
        if score > best.0 {
            best = (score, Some((delimiter, rows)));
        }
    }
    best.1
}

/// Runs of lines that are rows of one table; `least` of them where words stand among the numbers.
fn blocks(rows: &[FamilyRow], least: usize) -> Vec<std::ops::Range<usize>> {
    let mut blocks = Vec::new();
    let mut start = 0;
    while start < rows.len() {
        if !rows[start].could_be_data() {
            start += 1;
            continue;
        }
        let mut end = start + 1;
        while end < rows.len() && rows[end].could_be_data() {
            end += 1;
        }
        let full = rows[start..end].iter().filter(|row| row.is_full()).count();
        if full >= 2 || end - start >= least {
            blocks.push(start..end);
        }
        start = end;
    }
    blocks
}

/// The first row of a block, when words stand in it over numbers: `nm\min; 0; 2.5`.
fn header_row(rows: &[FamilyRow], block: &std::ops::Range<usize>) -> Option<usize> {
    let (first, second) = (rows.get(block.start)?, rows.get(block.start + 1)?);
    let over = first.cells.iter().zip(&second.cells);
    over.into_iter()
        .any(|(above, below)| !above.is_empty() && !is_like_number(above) && is_like_number(below))
        .then_some(block.start)
}

/// The lines above a block that are its headers: the nearest, and the one above it when that holds units alone.
fn headers_above(
    lines: &[&str],
    rows: &[FamilyRow],
    block: &std::ops::Range<usize>,
    delimiter: FamilyDelimiter,
) -> Vec<usize> {
    let width = rows[block.start].cells.len();
    let mut found = Vec::new();
    for line in (0..block.start).rev().take(4) {
        if lines[line].trim().is_empty() && found.is_empty() {
            continue;
        }
        let cells = cells(lines[line], delimiter);
        let filled = cells.iter().filter(|cell| !cell.is_empty()).count();
        if filled < 2 || cells.len() * 2 < width || rows[line].could_be_data() && rows[line].is_full() {
            break;
        }
        let units = cells
            .iter()
            .filter(|cell| !cell.is_empty())
            .all(|cell| cell.starts_with(['(', '[']) || unit::spelled(cell).one().is_some());
        found.push(line);
        if !units {
            break;
        }
    }
    found.reverse();
    found
}

/// A header's cell without what differs from file to file.
fn header_cell(cell: &str, names: &BTreeSet<String>) -> String {
    let bare = cell.trim_matches(['"', '\'', ' ']);
    if names.contains(&bare.to_lowercase()) {
        return "a name".to_owned();
    }
    let folded = fold(bare);
    // Replicates and wavelengths are counted: `A412`, `reading 2`.
    let stem = folded.trim_end_matches(['#', ' ', '_', '-']);
    if stem.is_empty() { folded } else { stem.to_owned() }
}

/// What the preamble says the sample is called. Nothing else that differs is left out: a header that is no such name may
/// say what was measured.
fn names(lines: &[&str], delimiter: FamilyDelimiter) -> BTreeSet<String> {
    let mut names = BTreeSet::new();
    for line in lines.iter().take(80) {
        if let Some((key, value)) = key_and_rest(line, Some(delimiter))
            && words::field_of(key) == Some("sample")
        {
            let value = value
                .trim_matches(['"', '\'', ' ', ';', ',', '\t'])
                .to_lowercase();
            if value.chars().count() >= 2 {
                names.insert(value);
            }
        }
    }
    names
}

/// Decimal signs that stand in numbers.
#[derive(Default)]
struct Marks {
    comma: bool,
    point: bool,
}

impl Marks {
    fn see(&mut self, cells: &[&str]) {
        for cell in cells.iter().filter(|cell| is_like_number(cell)) {
            let between = |mark: u8| {
                cell.as_bytes()
                    .windows(3)
                    .any(|three| three[1] == mark && three[0].is_ascii_digit() && three[2].is_ascii_digit())
            };
            self.comma |= between(b',');
            self.point |= between(b'.');
        }
    }

    fn name(&self) -> &'static str {
        match (self.comma, self.point) {
            (true, true) => ", commas and points in numbers",
            (true, false) => ", commas in numbers",
            (false, true) => ", points in numbers",
            (false, false) => "",
        }
    }
}

/// What the columns hold, neighbours of one kind once.
fn kinds_of(rows: &[FamilyRow], kinds: &mut Vec<&'static str>) {
    let Some(row) = rows.iter().max_by_key(|row| row.filled) else {
        return;
    };
    let mut own: Vec<&str> = Vec::new();
    for cell in &row.cells {
        let kind = if cell.is_empty() {
            continue;
        } else if is_like_number(cell) && cell.contains(':') {
            "clock"
        } else if is_like_number(cell) {
            "number"
        } else {
            "word"
        };
        if own.last() != Some(&kind) {
            own.push(kind);
        }
    }
    for kind in own {
        if kinds.last() != Some(&kind) && kinds.len() < 8 {
            kinds.push(kind);
        }
    }
}

/// What a table without a header looks like: how many columns, and which way the first one runs.
fn outline(rows: &[FamilyRow]) -> String {
    let firsts: Vec<f64> = rows
        .iter()
        .filter_map(|row| row.cells.first()?.replace(',', ".").parse().ok())
        .collect();
    let way = if firsts.len() >= 2 && firsts.windows(2).all(|two| two[0] < two[1]) {
        "rising"
    } else if firsts.len() >= 2 && firsts.windows(2).all(|two| two[0] > two[1]) {
        "falling"
    } else {
        "to and fro"
    };
    match rows.first().map_or(0, |row| row.cells.len()) {
        2 => format!("two columns, {way}"),
        3 => format!("three columns, {way}"),
        _ => format!("many columns, {way}"),
    }
}

/// The keys that stand outside the tables, and how key and value are written.
fn preamble(lines: &[&str], used: &[bool], delimiter: Option<FamilyDelimiter>) -> (Vec<String>, Around) {
    let mut keys = BTreeSet::new();
    let mut around = Around::Plain;
    for (line, _) in lines.iter().zip(used).filter(|(_, used)| !**used) {
        let Some((key, _)) = key_and_rest(line, delimiter) else {
            continue;
        };
        let folded = fold(key);
        if folded.contains(char::is_alphabetic) {
            if around == Around::Plain {
                let at = line.find(key).unwrap_or(0);
                let sign = line[at + key.len()..].trim_start().chars().next();
                let mark = line
                    .trim_start()
                    .chars()
                    .next()
                    .filter(|sign| MARKS.contains(sign));
                let form = format!("k{} v", sign.unwrap_or(' ')).replace('\t', "→");
                around = Around::Keys(match mark {
                    Some(mark) => format!("{mark} {form}"),
                    None => form,
                });
            }
            keys.insert(folded);
        }
    }
    if around == Around::Plain
        && let Some(mark) = lines
            .iter()
            .zip(used)
            .filter(|(line, used)| !**used && !line.trim().is_empty())
            .find_map(|(line, _)| {
                line.trim_start()
                    .chars()
                    .next()
                    .filter(|sign| MARKS.contains(sign))
            })
    {
        around = Around::Marked(mark.to_string());
    }
    (keys.into_iter().collect(), around)
}

/// Signs that mark a line as no data.
const MARKS: [char; 6] = ['#', '*', '%', '!', ';', '/'];

/// Key and rest of a line that may be a key with its value.
fn key_and_rest(line: &str, delimiter: Option<FamilyDelimiter>) -> Option<(&str, &str)> {
    let line = line.trim().trim_start_matches(MARKS).trim();
    let short = |key: &str| {
        let key = key.trim();
        !key.is_empty() && key.chars().count() <= KEY && key.contains(char::is_alphabetic)
    };
    let mut ends: Vec<(usize, usize)> = Vec::new();
    if let Some(at) = line.find(':')
        && !line[at + 1..].starts_with(|sign: char| sign.is_ascii_digit() || sign == '/' || sign == '\\')
    {
        ends.push((at, 1));
    }
    ends.extend(line.find('=').map(|at| (at, 1)));
    ends.extend(line.find("...").or_else(|| line.find(" .. ")).map(|at| (at, 3)));
    if let Some(FamilyDelimiter::Sign(sign)) = delimiter
        && line.split(sign).filter(|cell| !cell.trim().is_empty()).count() <= 3
    {
        ends.extend(line.find(sign).map(|at| (at, 1)));
    }
    let (at, length) = ends.into_iter().min()?;
    let key = line[..at].trim_end_matches(['"', ' ']).trim_start_matches('"');
    short(key).then(|| (key.trim(), line.get(at + length..).unwrap_or_default().trim()))
}

/// A text without case, without blanks that say nothing, and with `#` for each number.
fn fold(text: &str) -> String {
    let mut folded = String::with_capacity(text.len());
    let mut signs = text.trim().chars().peekable();
    while let Some(sign) = signs.next() {
        if sign.is_ascii_digit() {
            if !folded.ends_with('#') {
                folded.push('#');
            }
            // Decimal signs and colons between digits belong to the number.
            let mut ahead = signs.clone();
            if let (Some('.' | ',' | ':'), Some(next)) = (ahead.next(), ahead.next())
                && next.is_ascii_digit()
            {
                signs.next();
            }
        } else if sign.is_whitespace() {
            if !folded.ends_with(' ') {
                folded.push(' ');
            }
        } else {
            folded.extend(sign.to_lowercase());
        }
    }
    folded.trim().to_owned()
}

fn push_new(all: &mut Vec<String>, one: String) {
    if !one.is_empty() && !all.contains(&one) {
        all.push(one);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn family(path: &str, text: &str) -> Family {
        of(&Source::new(path, text.as_bytes().to_vec())).expect("it has a table")
    }

    #[test]
    fn numbers_names_and_missing_keys_make_no_other_family() {
        let one = family(
            "a/Weld_11.txt",
            "run: 105\nsample: Weld 11\ndate: 2015-04-17\n\nTime\tA412\n0\t0.1724\n5\t0.1865\n10\t0.2\n",
        );
        let other = family(
            "b/x.txt",
            "run: 7\nsample: Skin 3\ndate: 2016-01-02\ntemperature: 25 C\nTime\tA540\n0\t0.3\n2.5\t0.31\n",
        );
        assert!(one.is_kin(&other), "{one:?}\n{other:?}");
        assert_eq!(one.keys, ["date", "run", "sample"]);
        assert_eq!(
            one.writing,
            "tabs, points in numbers; number | time, a; keys as k: v"
        );
    }

    #[test]
    fn delimiter_decimal_sign_headers_and_keys_do() {
        let text = "run: 105\nsample: a\ndate: b\nTime\tA412\n0.5\t0.1724\n5\t0.1865\n";
        let one = family("a.txt", text);
        for other in [
            text.replace('\t', ","),
            text.replace('\t', ";"),
            text.replace("0.", "0,"),
            text.replace("A412", "T"),
            text.replace("run", "Lauf")
                .replace("sample", "Probe")
                .replace("date", "Datum"),
            text.replace(": ", " = "),
            text.lines().skip(3).collect::<Vec<_>>().join("\n"),
        ] {
            assert!(!one.is_kin(&family("a.txt", &other)), "{other}");
        }
    }

    #[test]
    fn a_header_that_is_the_samples_name_is_a_name() {
        let one = family("a.txt", "Sample: Betanin 3\nnm;Betanin 3\n400;0,1\n410;0,2\n");
        let other = family("b.txt", "Sample: Rutin\nnm;Rutin\n400;0,3\n410;0,2\n");
        assert_eq!(one, other);
        assert_ne!(
            one,
            family("c.txt", "Sample: Rutin\nnm;Klarheit\n400;0,3\n410;0,2\n")
        );
    }

    #[test]
    fn how_many_curves_there_are_makes_no_difference() {
        let one = family("a.txt", "Time (min);0,2 mM;0,4 mM\n0;0,1;0,2\n1;0,2;0,3\n");
        let other = family(
            "b.txt",
            "Time (min);0,2 mM;0,4 mM;1,6 mM\n0;0,1;0,2;0,3\n1;0,2;0,3;0,4\n",
        );
        assert_eq!(one, other);
        let pairs = family("c.txt", "nm\tA\tnm\tA\n400\t0.1\t400\t0.2\n410\t0.2\t410\t0.3\n");
        assert_eq!(pairs, family("d.txt", "nm\tA\n400\t0.1\n410\t0.2\n"));
    }

    /// A workbook's family is that of its sheets, without the tabs between which they are written out.
    #[test]
    fn a_workbook_is_written_in_cells() {
        let mut book = rust_xlsxwriter::Workbook::new();
        let sheet = book.add_worksheet();
        for (row, (x, y)) in [(1.0, 0.11), (2.0, 0.12), (3.0, 0.13), (4.0, 0.15)]
            .into_iter()
            .enumerate()
        {
            sheet.write(row as u32, 0, x).expect("a cell");
            sheet.write(row as u32, 1, y).expect("a cell");
        }
        let bytes = book.save_to_buffer().expect("it is written to memory");
        let family = of(&Source::new("a.xlsx", bytes)).expect("it has a table");
        assert_eq!(
            family.writing,
            "cells of a document, points in numbers; number | no header, two columns, rising"
        );
    }

    #[test]
    fn no_text_is_too_odd() {
        for text in [
            "",
            "\n\n",
            "a",
            "##",
            "##X",
            ";;;\n;;;",
            "1 2\n3 4",
            "é\t1\né\t2\n",
        ] {
            let _ = of(&Source::new("", text.as_bytes().to_vec()));
        }
        let jcamp = family(
            "a.jdx",
            "##TITLE=a\n##XUNITS=1/CM\n##YUNITS=ABSORBANCE\n##XYDATA=(X++(Y..Y))\n1 2 3\n",
        );
        assert!(jcamp.writing.contains("xunits #/cm"), "{jcamp:?}");
    }
}
