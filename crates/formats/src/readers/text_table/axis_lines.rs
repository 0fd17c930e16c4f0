//! Lines that name the axes of a table in place of a header: `x axis: wavelength, cm-1`, `Y_UNIT absorbance`, `ordinate = E`.

use std::ops::Range;

use curvary_record::Span;
use curvary_record::unit::{Spelling, spelled};

use super::grid::ColumnKind;
use super::join::Section;
use super::legend;
use super::scan::{HeadRow, TextLine, strip_remark};
use super::segments::{RowClass, is_axis};
use crate::column_header::{ColumnHeader, read_column_header};
use crate::words::{self, WordList};

/// Longer lines, in bytes, are prose.
const LONGEST: usize = 120;
/// So many lines above a table and below the last one are looked at, as for legends of columns.
const NEAR: usize = 64;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum PlotAxis {
    X,
    Y,
}

/// What a line says of an axis.
#[derive(Clone, Debug, PartialEq, Eq)]
struct AxisLine {
    axis: PlotAxis,
    /// Whether it says the unit alone.
    unit: bool,
    says: Range<usize>,
}

/// Gives tables of numbers without a header the one that lines around them say axis by axis; such lines are no words any more.
/// What they say of the first table holds for the others that have none. Returns the numbers of these lines.
pub(super) fn take(text: &str, sections: &mut [Section], behind: &mut Vec<TextLine>) -> Vec<u32> {
    let mut all = Vec::new();
    let mut first: Option<Vec<HeadRow>> = None;
    let count = sections.len();
    for (index, section) in sections.iter_mut().enumerate() {
        if let Some(line) = add_units(text, section) {
            all.push(line);
        }
        if !is_without_header(text, section) {
            continue;
        }
        let (above, below) = legend::lines_around(section, index + 1 == count, behind);
        let heads = section.table.heads.iter().map(|row| row.line);
        let around: Vec<TextLine> = above
            .iter()
            .copied()
            .chain(heads)
            .chain(below.iter().copied())
            .collect();
        let Some((rows, lines)) = header(text, &around, section) else {
            // Words of its own may say that another table is of something else.
            if let Some(rows) = first.as_ref().filter(|rows| {
                section.words.is_empty()
                    && rows
                        .iter()
                        .all(|row| row.cells.len() == section.table.grid.columns())
            }) {
                give(section, rows.clone(), &[]);
            }
            continue;
        };
        section.words.retain(|line| !lines.contains(&line.line));
        behind.retain(|line| !lines.contains(&line.line));
        first.get_or_insert_with(|| rows.clone());
        give(section, rows, &lines);
        all.extend(lines);
    }
    all
}

/// Gives a header without units those of a line that lists one for each column behind a word for units, `units: s, AU`. Returns the number
/// of that line, which is no word any more.
fn add_units(text: &str, section: &mut Section) -> Option<u32> {
    let [header] = section.table.heads.as_slice() else {
        return None;
    };
    let columns = section.table.grid.columns();
    let heads: Vec<ColumnHeader> = header
        .cells
        .iter()
        .flatten()
        .map(|cell| read_column_header(&text[cell.range()]))
        .collect();
    let named = |head: &ColumnHeader| head.quantity.is_some() && head.unit.is_none();
    if columns < 2 || heads.len() != columns || !heads.iter().all(named) {
        return None;
    }
    let above = section.words.iter().rev().take(NEAR);
    let (line, cells) = above
        .filter(|line| line.line < section.table.first_line)
        .find_map(|line| Some((*line, units_of_all(&text[line.span.range()], columns)?)))?;
    // Each unit is one of what its header names.
    let fits = |(head, unit): (&ColumnHeader, &Range<usize>)| {
        let unit = read_column_header(&text[line.span.range()][unit.clone()]);
        unit.quantity == head.quantity
            || unit
                .quantities_possible
                .iter()
                .any(|other| Some(other) == head.quantity.as_ref())
    };
    if !heads.iter().zip(&cells).all(fits) {
        return None;
    }
    let start = line.span.range().start;
    section.table.heads.push(HeadRow {
        line,
        class: RowClass::Units,
        cells: cells
            .into_iter()
            .map(|cell| Some(Span::new(start + cell.start, start + cell.end)))
            .collect(),
    });
    section.words.retain(|other| other.line != line.line);
    Some(line.line)
}

/// The units that a line lists behind a word for units, so many as there are columns.
fn units_of_all(line: &str, columns: usize) -> Option<Vec<Range<usize>>> {
    if line.len() > LONGEST {
        return None;
    }
    let kept = strip_remark(line).1.trim_start_matches('@');
    let end = kept.find(|c: char| !c.is_alphabetic())?;
    let (word, rest) = kept.split_at(end);
    if !words::is(WordList::UnitWord, word) {
        return None;
    }
    let units: Vec<Range<usize>> = rest
        .split([' ', '\t', ',', ';', ':', '=', '|'])
        .filter(|unit| !unit.is_empty())
        .map(|unit| crate::slice::range_in(line, unit))
        .collect();
    let is_unit = |unit: &Range<usize>| spelled(&line[unit.clone()]) != Spelling::None;
    (units.len() == columns && units.iter().all(is_unit)).then_some(units)
}

/// Puts rows of a header over a table. What stood there named nothing, `DATA`, and is a line of words.
fn give(section: &mut Section, rows: Vec<HeadRow>, used: &[u32]) {
    let before = std::mem::replace(&mut section.table.heads, rows);
    let others = before.into_iter().map(|row| row.line);
    section
        .words
        .extend(others.filter(|line| !used.contains(&line.line)));
    section.words.sort_by_key(|line| line.line);
}

/// Whether a table holds nothing but numbers, and nothing over its columns names a quantity or a unit.
fn is_without_header(text: &str, section: &Section) -> bool {
    let grid = &section.table.grid;
    // `DATA` begins the rows, and is the day in some languages.
    let says_nothing = |span: &Span| {
        let cell = text[span.range()].trim();
        let head = read_column_header(cell);
        !head.is_of_light() && !is_axis(&head) && head.unit.is_none() && cell.split_whitespace().count() == 1
    };
    grid.columns() >= 2
        && grid.kinds.iter().all(|kind| *kind == ColumnKind::Figures)
        && section.table.heads.iter().all(|row| {
            if !of_line(&text[row.line.span.range()]).is_empty() {
                return true;
            }
            let mut cells = row.cells.iter().flatten();
            cells.next().is_none_or(says_nothing) && cells.next().is_none()
        })
}

/// Whether a header says of what the numbers below it are.
fn is_understood(head: &ColumnHeader) -> bool {
    head.quantity.is_some()
        || head.unit.is_some()
        || !head.quantities_possible.is_empty()
        || !head.units_possible.is_empty()
        || !head.held.is_empty()
        || head.clock
}

/// The rows of a header that lines say axis by axis, the quantities above their units, and the numbers of these lines.
fn header(text: &str, lines: &[TextLine], section: &Section) -> Option<(Vec<HeadRow>, Vec<u32>)> {
    let columns = section.table.grid.columns();
    let mut said: [[Option<Span>; 2]; 2] = [[None; 2]; 2];
    let mut used: Vec<TextLine> = Vec::new();
    for line in lines {
        let start = line.span.range().start;
        for found in of_line(&text[line.span.range()]) {
            let span = Span::new(start + found.says.start, start + found.says.end);
            let cell = &mut said[usize::from(found.unit)][usize::from(found.axis == PlotAxis::Y)];
            // Two lines that say the same of one axis may be of two tables.
            if cell.is_some_and(|other| text[other.range()] != text[span.range()]) {
                return None;
            }
            *cell = Some(span);
            if used.last().is_none_or(|last| last.line != line.line) {
                used.push(*line);
            }
        }
    }
    // Of several columns beside x all are of y where that is light; a time or a temperature is one of them.
    let names_light = |span: &Span| read_column_header(&text[span.range()]).is_of_light();
    let of_y = [said[0][1], said[1][1]];
    if columns > 2 && !of_y.iter().flatten().any(names_light) {
        return None;
    }
    let x = x_column(text, lines, section)?;
    let mut rows: Vec<HeadRow> = Vec::new();
    let last = *used.last()?;
    for (part, class) in [(0, RowClass::Header), (1, RowClass::Units)] {
        let [of_x, of_y] = said[part];
        if of_x.or(of_y).is_some() {
            let cells = (0..columns).map(|column| if column == x { of_x } else { of_y });
            rows.push(HeadRow {
                line: last,
                class,
                cells: cells.collect(),
            });
        }
    }
    // Units alone are the header: `nm` over `AU` says what runs and what was measured.
    if let [alone] = rows.as_mut_slice() {
        alone.class = RowClass::Header;
    }
    let numbers = used.iter().map(|line| line.line).collect();
    (!rows.is_empty()).then_some((rows, numbers))
}

/// The column of the x axis: the first one, unless lines that say what each column holds put `x` over the second of two. `None` where
/// its numbers turn back, so that it is no axis.
fn x_column(text: &str, lines: &[TextLine], section: &Section) -> Option<usize> {
    let grid = &section.table.grid;
    let named_x = lines
        .iter()
        .flat_map(|line| legend::named(&text[line.span.range()]))
        .find(|(_, name)| name.eq_ignore_ascii_case("x"));
    let x = named_x.map_or(0, |(column, _)| column);
    let numbers: Vec<f64> = (0..grid.rows)
        .map(|row| grid.figure(row, x))
        .filter(|number| !number.is_nan())
        .collect();
    let runs =
        numbers.windows(2).all(|pair| pair[1] > pair[0]) || numbers.windows(2).all(|pair| pair[1] < pair[0]);
    (x < grid.columns() && runs).then_some(x)
}

/// What a line says of the axes; of both where it has two parts, `x: time (s); y: A340`.
fn of_line(line: &str) -> Vec<AxisLine> {
    if line.len() > LONGEST {
        return Vec::new();
    }
    let kept = strip_remark(line).1.trim_start_matches(['@', '<', '-']).trim();
    let base = crate::slice::range_in(line, kept).start;
    for mark in [';', '|', ','] {
        let parts: Vec<Option<AxisLine>> = kept
            .split(mark)
            .map(|part| {
                of_part(part).map(|found| moved(found, base + crate::slice::range_in(kept, part).start))
            })
            .collect();
        if parts.len() == 2 && parts.iter().all(Option::is_some) {
            return parts.into_iter().flatten().collect();
        }
    }
    of_part(kept)
        .map(|found| moved(found, base))
        .into_iter()
        .collect()
}

fn moved(found: AxisLine, by: usize) -> AxisLine {
    AxisLine {
        says: found.says.start + by..found.says.end + by,
        ..found
    }
}

/// The axis that a key names, and what stands behind it.
fn of_part(text: &str) -> Option<AxisLine> {
    let start = text.len() - text.trim_start().len();
    let mut at = start;
    let (mut axis, mut parts, mut unit) = (None, 0_usize, false);
    loop {
        let rest = &text[at..];
        let length = rest.find(|c: char| !c.is_alphabetic()).unwrap_or(rest.len());
        let word = &rest[..length];
        if word.is_empty() {
            break;
        }
        if axis.is_none()
            && let Some((found, is_word)) = axis_of(word)
        {
            axis = Some(found);
            parts += usize::from(is_word);
        } else if axis.is_none()
            && let Some((found, part)) = glued(word)
        {
            axis = Some(found);
            parts += 1;
            unit = words::is(WordList::UnitWord, part);
        } else if words::is(WordList::UnitWord, word) {
            unit = true;
            parts += 1;
        } else if words::is(WordList::AxisWord, word) {
            parts += 1;
        } else {
            break;
        }
        at += length;
        // Blanks, hyphens and underscores join the words of the key.
        let joined = text[at..]
            .chars()
            .next()
            .filter(|c| matches!(c, ' ' | '-' | '_' | '.'));
        let Some(sign) = joined else { break };
        at += sign.len_utf8();
    }
    let axis = axis?;
    let rest = &text[at..];
    let trimmed = rest.trim_start();
    let behind = [":", "：", "=", ";", "->", "→", "is "]
        .iter()
        .find_map(|mark| trimmed.strip_prefix(mark));
    let says = match behind {
        Some(behind) => behind,
        // `X-AXIS   wavenumber, cm-1`: a blank alone parts a key of two words, or the word for the axis, from what it says.
        None if parts > 0 && (text[start..at].ends_with([' ', '\t']) || rest.starts_with('\t')) => rest,
        None => return None,
    };
    let says = says.trim().trim_matches('"').trim_end_matches(['>', '.']).trim();
    let head = read_column_header(says);
    // `x axis: 4000`, `y: 0 to 3` are ranges and numbers.
    let is_name = says.starts_with(|c: char| c.is_alphabetic() || matches!(c, '%' | 'Δ' | 'λ'));
    let known = (axis == PlotAxis::Y || head.held.is_empty()) && is_understood(&head);
    let whole_unit = !unit || head.unit.is_some();
    // `y unit: absorbance` names what was measured.
    (is_name && known && (whole_unit || head.is_of_light())).then(|| AxisLine {
        axis,
        unit: unit && head.unit.is_some(),
        says: crate::slice::range_in(text, says),
    })
}

/// The axis that a word names, and whether it says so by itself, as `abscissa` does and `x` does not.
fn axis_of(word: &str) -> Option<(PlotAxis, bool)> {
    match word {
        "x" | "X" => Some((PlotAxis::X, false)),
        "y" | "Y" => Some((PlotAxis::Y, false)),
        _ if words::is(WordList::Abscissa, word) => Some((PlotAxis::X, true)),
        _ if words::is(WordList::Ordinate, word) => Some((PlotAxis::Y, true)),
        _ => None,
    }
}

/// `xunit`, `YLabel`: the axis and its part in one word.
fn glued(word: &str) -> Option<(PlotAxis, &str)> {
    let (axis, rest) = match word.split_at_checked(1)? {
        ("x" | "X", rest) => (PlotAxis::X, rest),
        ("y" | "Y", rest) => (PlotAxis::Y, rest),
        _ => return None,
    };
    (words::is(WordList::AxisWord, rest) || words::is(WordList::UnitWord, rest)).then_some((axis, rest))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// An axis, whether its unit alone is said, and what is said of it.
    type Said<'a> = (PlotAxis, bool, &'a str);

    #[test]
    fn lines_that_name_axes() {
        let cases: [(&str, &[Said<'_>]); 16] = [
            ("x unit: s", &[(PlotAxis::X, true, "s")]),
            ("y unit: absorbance", &[(PlotAxis::Y, false, "absorbance")]),
            (
                "X-AXIS   wavenumber, cm-1",
                &[(PlotAxis::X, false, "wavenumber, cm-1")],
            ),
            ("# Y_UNIT AU", &[(PlotAxis::Y, true, "AU")]),
            ("X_UNIT nm", &[(PlotAxis::X, true, "nm")]),
            (
                "xlabel = \"Wavelength (nm)\"",
                &[(PlotAxis::X, false, "Wavelength (nm)")],
            ),
            ("ORDINATE absorbance", &[(PlotAxis::Y, false, "absorbance")]),
            (
                "Abszisse: Wellenlänge / nm",
                &[(PlotAxis::X, false, "Wellenlänge / nm")],
            ),
            (
                "axe x : longueur d'onde (nm)",
                &[(PlotAxis::X, false, "longueur d'onde (nm)")],
            ),
            (
                "x-as: golflengte (nm)",
                &[(PlotAxis::X, false, "golflengte (nm)")],
            ),
            (
                "x: time (s); y: A340",
                &[(PlotAxis::X, false, "time (s)"), (PlotAxis::Y, false, "A340")],
            ),
            (
                "x = time / s, y = absorbance",
                &[
                    (PlotAxis::X, false, "time / s"),
                    (PlotAxis::Y, false, "absorbance"),
                ],
            ),
            ("x axis: 200 to 800 nm", &[]),
            ("x 1.5", &[]),
            ("y offset: 0.02", &[]),
            ("x ray dose", &[]),
        ];
        for (line, wanted) in cases {
            let found: Vec<(PlotAxis, bool, &str)> = of_line(line)
                .into_iter()
                .map(|said| (said.axis, said.unit, &line[said.says]))
                .collect();
            assert_eq!(found, wanted, "{line}");
        }
    }
}
