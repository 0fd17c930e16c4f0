//! The heads above a table: which lines they are, and which column each of their words stands over.

use std::ops::Range;

use curvary_record::Span;
use curvary_record::moment::{DateReading, read_date};

use crate::column_header::read_column_header;
use crate::words::{self, WordList};

use super::columns::{corner_heads, parameter};
use super::dialect::{Delimiter, is_blank, raw_split, split_wide};
use super::grid::{ColumnKind, Grid};
use super::scan::{HeadRow, TextLine, TextPiece, is_ruler, is_ruler_piece, leading_number, strip_remark};
use super::segments::{RowClass, classify, is_axis};

/// How many rows of heads a table may have.
const MAX_HEADS: usize = 8;

/// So many lines of keys may stand between the heads and the rows.
const MAX_KEYS: usize = 12;

/// The nearest line of words, where it names two quantities or more and yet did not fit over the columns.
pub(super) fn unmatched_head(text: &str, above: &[TextPiece]) -> Option<TextLine> {
    let Some(TextPiece::Text(line)) = above.iter().rev().find(|piece| !is_ruler_piece(text, piece)) else {
        return None;
    };
    let (_, kept) = strip_remark(&text[line.span.range()]);
    if !crate::preamble::pairs(kept).is_empty()
        || kept.len() > 200
        || is_one_over_another(kept)
        || is_light_at(kept)
    {
        return None;
    }
    let cells = [
        Delimiter::Tab,
        Delimiter::Semicolon,
        Delimiter::Pipe,
        Delimiter::Comma,
    ]
    .into_iter()
    .map(|sep| raw_split(kept, sep))
    .max_by_key(Vec::len)?;
    let cells = if cells.len() >= 2 {
        cells
    } else {
        glue_units(kept, split_wide(kept))
    };
    let cells = if cells.len() >= 2 {
        cells
    } else {
        glue_units(kept, raw_split(kept, Delimiter::Blank))
    };
    let named = cells
        .into_iter()
        .filter(|range| {
            crate::column_header::read_column_header(&kept[range.clone()])
                .quantity
                .is_some()
        })
        .count();
    (named >= 2).then_some(*line)
}

/// Whether a line names light and the wavelength at which it was read and nothing else, `absorbans 540 nm`: a title, which is one header.
fn is_light_at(line: &str) -> bool {
    let head = read_column_header(line.trim());
    head.quantity.is_some_and(|quantity| quantity.is_of_light())
        && head
            .held
            .iter()
            .any(|held| held.quantity == curvary_record::Quantity::WAVELENGTH)
        && head.label.is_none()
}

/// Whether a row is of units and nothing else, and the one over the first column is that of the word `above`: `mg/L;` below
/// `Concentration;Iron`.
fn stands_for_units_of(text: &str, row: &HeadRow, above: &str) -> bool {
    let is_unit = |span: &Span| is_unit_alone(text[span.range()].trim());
    let Some(unit) = row.cells.first().copied().flatten() else {
        return false;
    };
    let with_unit = format!("{above} ({})", text[unit.range()].trim().trim_matches(['(', ')', '[', ']']));
    let (alone, together) = (read_column_header(above), read_column_header(&with_unit));
    let runs = is_axis(&alone) && alone.quantity == together.quantity;
    // `Substrate` over `mM` is a concentration.
    let dissolved = alone.quantity.is_none()
        && matches!(words::field_of(above), Some("substrate" | "inhibitor" | "enzyme"))
        && together.quantity == Some(curvary_record::Quantity::CONCENTRATION);
    (runs || dissolved) && row.cells.iter().flatten().all(is_unit)
}

/// Whether a line says of what over what the table is, `Absorbance vs wavelength in nm`, and is no row of headers.
fn is_one_over_another(line: &str) -> bool {
    let words: Vec<&str> = line.split_whitespace().collect();
    let inner = words.get(1..words.len().saturating_sub(1)).unwrap_or_default();
    inner.iter().any(|word| words::is(WordList::Versus, word))
}

/// The rows of heads directly above a table, from top to bottom.
pub(super) fn heads_above(text: &str, grid: &Grid, above: &[TextPiece]) -> Vec<HeadRow> {
    let (mut heads, mut others): (Vec<HeadRow>, Vec<HeadRow>) = rows_above(text, grid, above)
        .into_iter()
        .partition(|head| head.class == RowClass::Summary);
    for (head, (class, _)) in classify(text, &others).into_iter().enumerate() {
        others[head].class = class;
    }
    heads.extend(others);
    heads.retain(|head| head.class != RowClass::Title);
    // Under the headers a name or a condition of a curve would hide what its column holds.
    heads.sort_by_key(|head| matches!(head.class, RowClass::Header | RowClass::Units));
    super::curve_numbers::part_curve_numbers(text, grid, &mut heads);
    heads
}

/// The rows that stand over the columns of a table, from top to bottom, whatever they are.
fn rows_above(text: &str, grid: &Grid, above: &[TextPiece]) -> Vec<HeadRow> {
    let heads = heads_behind(text, grid, above, false);
    let says = |head: &HeadRow| {
        let measured = |span: &Span| read_column_header(&text[span.range()]).quantity.is_some();
        head.cells.iter().flatten().filter(|span| measured(span)).count() >= 2
    };
    // Keys and values may stand between heads and rows, `sample,lipase 12`, where the heads say what was measured.
    if !heads.iter().any(says) && grid.dialect.sep.byte().is_some() {
        let behind_keys = heads_behind(text, grid, above, true);
        if behind_keys.last().is_some_and(says) {
            return behind_keys;
        }
    }
    heads
}

/// The rows of heads, nearest last; behind lines of known keys and their values where `keys` says so.
fn heads_behind(text: &str, grid: &Grid, above: &[TextPiece], keys: bool) -> Vec<HeadRow> {
    let mut heads: Vec<HeadRow> = Vec::new();
    let mut blanks = 0;
    let mut skipped = 0;
    for (index, piece) in above.iter().enumerate().rev() {
        match piece {
            TextPiece::Blank => {
                blanks += 1;
                if blanks > 1 || !heads.is_empty() {
                    break;
                }
            }
            TextPiece::Text(line) => {
                let raw = &text[line.span.range()];
                // Rulers, and a count of points that stands alone, may lie between heads and rows.
                let alone = raw.trim().bytes().all(|b| b.is_ascii_digit());
                let empty = raw
                    .trim_matches(|c: char| c.is_whitespace() || matches!(c, ',' | ';' | '|'))
                    .is_empty();
                if is_ruler(raw) || (heads.is_empty() && (alone || empty)) {
                    continue;
                }
                if keys && heads.is_empty() && skipped < MAX_KEYS && is_key_line(raw) {
                    skipped += 1;
                    continue;
                }
                if heads.is_empty()
                    && (is_title_of_group(text, raw, &above[..index])
                        || is_caption_below_header(text, raw, grid, &above[..index]))
                {
                    continue;
                }
                if heads.is_empty() && is_note_behind(raw, grid, &above[..index]) {
                    break;
                }
                let nearest = heads.iter().all(|head| head.class == RowClass::Summary);
                if let Some(below) = heads.last()
                    && let Some(cells) = parameter_over_blanks(text, *line, grid, below)
                {
                    heads.push(HeadRow {
                        line: *line,
                        class: RowClass::Header,
                        cells,
                    });
                    continue;
                }
                // `Concentration;Iron` over `mg/L;` is no key with its value.
                let over_units = heads.last().is_some_and(|below| {
                    let first = raw_split(raw, grid.dialect.sep).first().cloned().unwrap_or(0..0);
                    stands_for_units_of(text, below, raw[first].trim())
                });
                let Some(cells) = map_heads(text, *line, grid, nearest, blanks > 0, over_units) else {
                    if blanks == 0 && stand_between_heads(text, &above[..=index], grid) {
                        continue;
                    }
                    break;
                };
                if is_summary(text, &cells, grid) {
                    heads.push(HeadRow {
                        line: *line,
                        class: RowClass::Summary,
                        cells,
                    });
                    continue;
                }
                let below = heads.last().filter(|below| below.class != RowClass::Summary);
                let sentence = |below: &HeadRow| {
                    grid.dialect.sep == Delimiter::Comma
                        && is_sentence_over(raw, &text[below.line.span.range()])
                };
                if below.is_some_and(|below| sentence(below) || is_title(text, &cells, below)) {
                    break;
                }
                heads.push(HeadRow {
                    line: *line,
                    class: RowClass::Header,
                    cells,
                });
                if heads.len() == MAX_HEADS {
                    break;
                }
            }
            TextPiece::Table(_) => break,
        }
    }
    heads.reverse();
    heads
}

/// The cells of a line that holds nothing but a parameter with its unit over numbers that blanks part: `time (min)` over `sample  0  1
/// 2`. Over which of them it stands says nothing.
fn parameter_over_blanks(
    text: &str,
    line: TextLine,
    grid: &Grid,
    below: &HeadRow,
) -> Option<Vec<Option<Span>>> {
    let raw = &text[line.span.range()];
    let name = raw.trim_matches(is_blank);
    let numbers = below.cells.iter().skip(1).flatten();
    let numbers = numbers
        .filter(|span| leading_number(&text[span.range()]).is_some())
        .count();
    let apart = matches!(grid.dialect.sep, Delimiter::Blank | Delimiter::Wide);
    if !apart || grid.columns() < 3 || numbers < 2 || name.contains("  ") || parameter(name).is_none() {
        return None;
    }
    let from = line.span.start as usize + (raw.len() - raw.trim_start_matches(is_blank).len());
    let mut cells = vec![None; grid.columns()];
    cells[1] = Some(Span::new(from, from + name.len()));
    Some(cells)
}

/// Whether a line without the sign that parts the cells stands at once below a table of the same columns: it is a note on its
/// rows, `Temperature now 31.5 °C`, and no header in blanks.
fn is_note_behind(raw: &str, grid: &Grid, above: &[TextPiece]) -> bool {
    let Some(sign) = grid.dialect.sep.byte().map(char::from) else {
        return false;
    };
    let table = match above {
        [.., TextPiece::Table(table)] | [.., TextPiece::Table(table), TextPiece::Blank] => table,
        _ => return false,
    };
    !raw.contains(sign) && table.grid.dialect == grid.dialect && table.grid.columns() == grid.columns()
}

/// So many lines of words may stand between rows of heads.
const MAX_BETWEEN: usize = 2;

/// Whether the last of these lines, and perhaps some above it, are words in a single cell, and the line above them a row of
/// heads beyond doubt: it has a cell for each column, and names the axis or holds a number for each curve.
fn stand_between_heads(text: &str, lines: &[TextPiece], grid: &Grid) -> bool {
    let sep = grid.dialect.sep;
    let words = |piece: &&TextPiece| match piece {
        TextPiece::Text(line) => {
            let kept = strip_remark(&text[line.span.range()]).1;
            // Words between blanks may be one title.
            let title = || {
                super::dialect::split(kept, &grid.dialect).len() < grid.columns()
                    && !kept.contains(|c: char| c.is_ascii_digit())
            };
            raw_split(kept, sep).len() == 1 || sep == Delimiter::Blank && title()
        }
        _ => false,
    };
    let between = lines.iter().rev().take_while(words).count();
    let over = lines.len().checked_sub(between + 1).and_then(|at| lines.get(at));
    let Some(TextPiece::Text(over)) = over else {
        return false;
    };
    let over = &text[over.span.range()];
    let parted = sep.byte().is_some() || matches!(sep, Delimiter::Wide | Delimiter::Blank);
    if !parted || grid.columns() < 2 || !(1..=MAX_BETWEEN).contains(&between) {
        return false;
    }
    let cells: Vec<&str> = raw_split(over, sep)
        .into_iter()
        .map(|range| &over[range])
        .collect();
    let Some((first, others)) = cells.split_first().filter(|_| cells.len() == grid.columns()) else {
        return false;
    };
    let head = read_column_header(first);
    let runs = is_axis(&head);
    let tells = head.quantity.is_some() || head.unit.is_some() || crate::words::field_of(first).is_some();
    let of_light = |cell: &&str| {
        read_column_header(cell)
            .quantity
            .is_some_and(|quantity| quantity.is_of_light() || quantity == curvary_record::Quantity::RATE)
    };
    let numbers = others
        .iter()
        .filter(|cell| leading_number(cell).is_some())
        .count();
    let filled = others.iter().filter(|cell| !cell.is_empty()).count();
    let sums = is_summary_word(first) || super::segments::is_summary_word(first);
    (first.is_empty() || tells || sums) && numbers >= 2 && numbers == filled
        || runs && numbers == 0 && (filled == others.len() || others.iter().any(of_light))
        || numbers == 0 && filled == others.len() && others.iter().any(of_light)
}

/// Whether a line has a blank behind each of its commas, as sentences have, and the header below it behind none:
/// `DNA melting, 260 nm, 1 °C/min` over `No.,Temp (C),Abs`.
fn is_sentence_over(line: &str, header: &str) -> bool {
    // A comma in quotes parts no cells.
    let parts = |line: &str| {
        let cells = raw_split(line, Delimiter::Comma);
        let ahead = |cell: &Range<usize>| {
            line[..cell.start]
                .trim_end_matches('"')
                .ends_with([' ', '\u{a0}'])
        };
        cells.iter().skip(1).map(ahead).collect::<Vec<_>>()
    };
    let (commas, below) = (parts(line), parts(header));
    !commas.is_empty() && commas.iter().all(|blank| *blank) && !below.is_empty() && !below.contains(&true)
}

/// Whether a line above a row of heads is a title, though it has cells over some of the columns.
fn is_title(text: &str, cells: &[Option<Span>], below: &HeadRow) -> bool {
    let words = |span: &Span| text[span.range()].split_whitespace().count();
    let filled = cells.iter().flatten().count();
    let in_front = cells.iter().take(filled).all(Option::is_some);
    let of_light = |span: &Span| {
        read_column_header(&text[span.range()])
            .quantity
            .is_some_and(|q| q.is_of_light())
    };
    // A corner that names what runs down and what runs across, `nm \ min`, leaves nothing for a line above it to say.
    let corner = below.cells.first().copied().flatten();
    let both = corner.is_some_and(|corner| corner_heads(&text[corner.range()]).1.is_some());
    if both && in_front && filled < cells.len() {
        return true;
    }
    // One day among words over headers that need none, `analysed,2020-12-03`, `Plate 7; read at 450 nm; 14.10.2022`: days of
    // curves are several.
    let is_day = |span: &Span| {
        matches!(
            read_date(text[span.range()].trim(), None),
            DateReading::Read(_) | DateReading::Undecidable(_)
        )
    };
    let days = cells.iter().flatten().filter(|span| is_day(span)).count();
    let full = || below.cells.len() == cells.len() && below.cells.iter().all(Option::is_some);
    if days == 1
        && in_front
        && filled >= 2
        && !cells[0].as_ref().is_some_and(is_day)
        && (filled == 2 && cells.len() >= 3 || full())
    {
        return true;
    }
    // A key and its value over the headers of two columns: `"Operator","Okoro, J."` over `"Wavelength, nm","Absorbance"`.
    let key = |span: &Span| {
        let word = text[span.range()].trim();
        let field = crate::words::field_of(word).filter(|_| read_column_header(word).quantity.is_none());
        field.is_some_and(|field| !matches!(field, "sample" | "sample-id"))
    };
    if filled == 2
        && cells.len() == 2
        && cells[0].as_ref().is_some_and(key)
        && full()
        && corner.is_some_and(|corner| is_axis(&read_column_header(&text[corner.range()])))
    {
        return true;
    }
    // A sentence in a cell: `"chlorophyll, ethanol extract, 2016-07-19",,,`.
    let sentence = |span: &Span| words(span) >= 3 && text[span.range()].contains(", ");
    if filled == 1 && in_front && cells.len() >= 2 && cells.iter().flatten().all(sentence) {
        return true;
    }
    match (filled, corner) {
        // Words over the first column alone, which has a head already: `Urease, A at 630 nm;`, `Extinktion;`. A unit that
        // stands alone has its name above it, but what is measured is no name of an axis.
        (1, Some(head)) => {
            let title = |span: &Span| words(span) >= 2 || of_light(span);
            let head = &text[head.range()];
            let of_axis = || is_axis(&read_column_header(head)) && cells.iter().flatten().all(of_light);
            in_front
                && cells.len() >= 2
                && cells.iter().flatten().all(title)
                && (!is_unit_alone(head) || of_axis())
        }
        // What is measured, over a corner that is left empty.
        (1, None) => in_front && cells.len() >= 3 && cells.iter().flatten().all(of_light),
        // A sentence with commas that covers the first columns, or one that names conditions of the whole.
        _ => {
            let conditions = cells
                .iter()
                .flatten()
                .filter(|span| crate::preamble::is_condition(&text[span.range()]))
                .count();
            let passing = conditions >= 1 && conditions + 1 < filled && filled < cells.len()
                || is_of_the_whole(text, cells, below)
                || filled < cells.len() && is_measured_over_names(text, cells, below);
            in_front
                && filled >= 2
                && (filled * 2 <= cells.len() && cells.iter().flatten().any(|span| words(span) >= 3)
                    || passing && below.cells.iter().all(Option::is_some))
        }
    }
}

/// Whether what was measured stands over the column of the samples' names, which the header below calls so: `Absorbance, three
/// replicates` over `Sample, A1, A2, A3`.
fn is_measured_over_names(text: &str, cells: &[Option<Span>], below: &HeadRow) -> bool {
    let quantity = |cell: Option<&Option<Span>>| {
        let span = (*cell?)?;
        read_column_header(&text[span.range()]).quantity
    };
    quantity(cells.first()).is_some_and(|of| of.is_of_light())
        && quantity(below.cells.first()).is_some_and(|of| of.as_str() == "sample")
        && cells
            .iter()
            .skip(1)
            .flatten()
            .all(|span| quantity(Some(&Some(*span))).is_none())
}

/// Whether cells over the first columns speak of the whole, where the header below says what runs and names every column: words
/// that say nothing, and then values of several kinds, `growth, OD 600 nm, shaken, 37 °C` over `hours,LB,M9,M9+aa`. Headers of groups are
/// all of one kind.
fn is_of_the_whole(text: &str, cells: &[Option<Span>], below: &HeadRow) -> bool {
    #[derive(PartialEq, Eq, PartialOrd, Ord)]
    enum Says {
        Condition,
        Wavelength,
        Measured,
        Words,
    }
    let says = |span: &Span| {
        let cell = text[span.range()].trim();
        let head = read_column_header(cell);
        if crate::preamble::is_condition(cell) {
            Says::Condition
        } else if head.quantity.is_some_and(|quantity| quantity.is_of_light()) {
            Says::Measured
        } else if !head.held.is_empty() {
            Says::Wavelength
        } else {
            Says::Words
        }
    };
    let axis = below.cells.first().copied().flatten();
    let runs = axis.is_some_and(|span| is_axis(&read_column_header(&text[span.range()])));
    let mut filled = cells.iter().flatten();
    let Some(first) = filled.next().filter(|_| cells[0].is_some() && runs) else {
        return false;
    };
    let mut kinds: Vec<Says> = filled.map(says).collect();
    kinds.sort_unstable();
    kinds.dedup();
    let telling = kinds.iter().filter(|says| **says != Says::Words).count();
    let head = read_column_header(text[first.range()].trim());
    let named = says(first) == Says::Words && head.quantity.is_none() && head.unit.is_none();
    // `A 340 nm, 37 °C, cell 1 cm`: what was measured and where, and then conditions.
    let measured = head.quantity.is_some_and(|quantity| quantity.is_of_light())
        && !head.held.is_empty()
        && kinds
            .iter()
            .all(|says| matches!(says, Says::Condition | Says::Words))
        && kinds.contains(&Says::Condition);
    (named || measured)
        && telling >= 1
        && kinds.len() + usize::from(measured) >= 2
        && below.cells.iter().all(Option::is_some)
}

/// Whether a line is a known key and its value, and names no two quantities.
fn is_key_line(raw: &str) -> bool {
    let (_, kept) = strip_remark(raw);
    let known =
        |pair: &crate::preamble::KeyValueSpan| crate::words::field_of(&kept[pair.key.clone()]).is_some();
    matches!(crate::preamble::pairs(kept).as_slice(), [pair] if known(pair)) || super::marks::is_mark(kept)
}

/// Whether a head is a unit and nothing else, so that the words above it are its name.
fn is_unit_alone(text: &str) -> bool {
    let bare = text.trim().trim_matches(['(', ')', '[', ']', '<', '>']);
    !matches!(
        curvary_record::unit::spelled(bare),
        curvary_record::unit::Spelling::None
    )
}

/// What a word says that the numbers behind it are of each column below; `min` alone is minutes as well.
fn summary_of(word: &str) -> Option<fn(&[f64]) -> f64> {
    Some(match crate::words::fold(word).as_str() {
        "min" | "minimum" => |all| all.iter().copied().fold(f64::INFINITY, f64::min),
        "max" | "maximum" => |all| all.iter().copied().fold(f64::NEG_INFINITY, f64::max),
        "n" | "count" => |all| all.len() as f64,
        _ => return None,
    })
}

/// Whether a word may stand in front of a row that sums up the columns below.
pub(super) fn is_summary_word(word: &str) -> bool {
    summary_of(word).is_some()
}

/// Whether a line above the rows sums up what is below: the least or greatest number of each column, or their count,
/// behind a word for it.
fn is_summary(text: &str, cells: &[Option<Span>], grid: &Grid) -> bool {
    let [Some(name), numbers @ ..] = cells else {
        return false;
    };
    let word = text[name.range()].trim();
    // `min;25 °C;37 °C` is a header.
    let number = |cell: &Option<Span>| {
        cell.is_none_or(|span| {
            let cell = &text[span.range()];
            leading_number(cell).is_some() && !cell.contains(char::is_alphabetic)
        })
    };
    if super::segments::is_summary_word(word)
        && grid.rows >= 3
        && grid.kinds.first() == Some(&ColumnKind::Figures)
    {
        return numbers.iter().any(Option::is_some) && numbers.iter().all(number);
    }
    let Some(of) = summary_of(word) else {
        return false;
    };
    let sums_up = |(index, cell): (usize, &Option<Span>)| {
        let Some(number) = cell.and_then(|span| leading_number(&text[span.range()])) else {
            return false;
        };
        if grid.kinds[index + 1] != ColumnKind::Figures {
            return false;
        }
        let column: Vec<f64> = grid.column(index + 1).filter(|value| !value.is_nan()).collect();
        of(&column) == number
    };
    numbers.len() >= 2 && numbers.iter().enumerate().all(sums_up)
}

/// The cells of a line as heads of the columns of a table, where they can be.
#[expect(clippy::too_many_lines, reason = "one decision after another over one state")]
fn map_heads(
    text: &str,
    line: TextLine,
    grid: &Grid,
    nearest: bool,
    after_blank: bool,
    over_units: bool,
) -> Option<Vec<Option<Span>>> {
    let raw = &text[line.span.range()];
    if is_caption_between_stars(raw) {
        return None;
    }
    let (mark, mut kept) = strip_remark(raw);
    // `#;name;A260`: over as many columns the sign is the header of the first, and marks no remark.
    let numbers_first = mark == Some("#") && grid.dialect.sep.byte().is_some() && {
        let cells = raw_split(raw.trim(), grid.dialect.sep);
        cells.len() == grid.columns()
            && raw
                .trim()
                .get(cells[0].clone())
                .is_some_and(|cell| cell.trim() == "#")
    };
    if numbers_first {
        kept = raw.trim();
    }
    // A tab in front of the heads is a head left empty.
    if mark.is_none() && grid.dialect.sep == Delimiter::Tab {
        kept = raw.trim_matches(|c| c != '\t' && is_blank(c));
    }
    kept = undecorated(kept);
    // `# columns: t_min absorbance`
    if let Some((key, rest)) = kept.split_once(':')
        && words::is(WordList::Column, key.trim())
        && rest.contains(char::is_alphabetic)
    {
        kept = rest.trim();
    }
    // `Readings, 1 cm cell:` and a blank line introduce a table, and name none of its columns.
    if after_blank && kept.ends_with(':') {
        return None;
    }
    let offset = raw.find(kept).unwrap_or(0);
    let base = line.span.start as usize + offset;
    let columns = grid.columns();
    if super::join::is_furniture(kept, &std::collections::BTreeSet::new()) {
        return None;
    }
    // `Sample: betanin, one spectrum` speaks of the run, however many commas it has.
    let stated = crate::preamble::pairs(kept);
    // `hours of ageing:,0,100,300`: a key, and a number over each of the other columns.
    let over_all = columns >= 4 && grid.dialect.sep.byte().is_some() && {
        let cells = raw_split(kept, grid.dialect.sep);
        cells.len() == columns
            && cells[1..].iter().all(|cell| {
                let cell = &kept[cell.clone()];
                leading_number(cell).is_some() || crate::preamble::is_condition(cell)
            })
    } || over_units && raw_split(kept, grid.dialect.sep).len() == columns
        || is_key_over_each(kept, grid);
    if !over_all
        && stated.iter().any(|pair| {
            // A header may end with a colon over columns that it spans: `absorbance at time (min):,,,`.
            let spans = kept[pair.value.clone()]
                .trim_matches(|c| matches!(c, ',' | ';' | '\t' | ' '))
                .is_empty();
            pair.mark == ':'
                && !(spans && !raw.starts_with(['\t', ';', ',', '|']) && grid.dialect.sep.byte().is_some())
                && (!nearest || crate::words::field_of(&kept[pair.key.clone()]).is_some())
        })
        && columns > 1
    {
        return None;
    }
    // `Sample;leaf;pH;7` is several of them, and `Temperature;25;°C` one with its unit in a cell.
    let known =
        |pair: &crate::preamble::KeyValueSpan| crate::words::field_of(&kept[pair.key.clone()]).is_some();
    // `Cell;2 mm` is of the run.
    let condition = |pair: &crate::preamble::KeyValueSpan| {
        crate::preamble::is_known(&kept[pair.key.clone()])
            && crate::preamble::is_condition(&kept[pair.value.clone()])
    };
    if !nearest && !over_units && columns > 1 && matches!(stated.as_slice(), [pair] if condition(pair)) {
        return None;
    }
    if !nearest && !over_units && is_key_in_cells(kept, grid) {
        return None;
    }
    let in_cells = stated.len() >= 2 || stated.iter().any(|pair| pair.says.is_some());
    if !over_all && in_cells && columns > 1 && stated.iter().all(known) {
        return None;
    }
    let (cells, exact) = head_cells(kept, grid, offset)?;
    if cells.len() != columns || cells.iter().all(Option::is_none) {
        return None;
    }
    if is_like_a_row(kept, &cells, grid) {
        return None;
    }
    let texts: Vec<&str> = cells.iter().flatten().map(|range| &kept[range.clone()]).collect();
    // A statement about the run is no head.
    let first = texts.first().copied().unwrap_or("");
    let states = !over_all && first.ends_with([':', '=']) && texts.len() <= 3 && columns <= 3
        || (texts.len() <= 2 && first.contains(": "))
        || (!nearest || after_blank || columns == 2) && !over_all && is_statement(&texts);
    if states {
        return None;
    }
    let padded = cells.iter().any(Option::is_none);
    if padded && texts.iter().any(|text| text.split_whitespace().count() > 5) {
        return None;
    }
    let quantity = |text: &&str| crate::column_header::read_column_header(text).quantity.is_some();
    let has_words = texts.iter().any(|text| text.chars().any(char::is_alphabetic));
    let numbers = texts.iter().filter(|text| leading_number(text).is_some()).count();
    let sure = texts.iter().any(quantity) || numbers * 2 >= texts.len().max(2);
    let remark = !numbers_first && mark.is_some();
    // `<>` in the corner of a plate says nothing.
    let corner = texts
        .first()
        .is_some_and(|text| !text.contains(char::is_alphanumeric));
    if !has_words && (numbers + usize::from(corner) < texts.len() || columns == 2 || remark) {
        return None;
    }
    // Words that were fitted over the columns by other means than the table's own must say what they are.
    let named = texts.iter().filter(|text| quantity(text)).count();
    if (!sure && remark) || (!exact && (named * 2 < texts.len() || !nearest)) {
        return None;
    }
    // `Spectrum B` above `nm Abs` is a title: names over columns stand apart.
    if !nearest
        && named < texts.len()
        && matches!(grid.dialect.sep, Delimiter::Blank | Delimiter::Wide)
        && texts.len() == columns
        && split_wide(kept).len() < columns
    {
        return None;
    }
    // Prose that happens to have as many words as the table has columns.
    if matches!(grid.dialect.sep, Delimiter::Blank | Delimiter::Wide)
        && !sure
        && (after_blank || texts.len() > 6 || raw.trim_end().ends_with(['.', ':']))
    {
        return None;
    }
    if !nearest
        && !sure
        && texts
            .iter()
            .map(|text| text.split_whitespace().count())
            .max()
            .unwrap_or(0)
            > 6
    {
        return None;
    }
    Some(
        cells
            .into_iter()
            .map(|range| range.map(|r| Span::new(base + r.start, base + r.end)))
            .collect(),
    )
}

/// Whether a line is a known key with a value over each of the curves, `Date,2012-12-19,2012-12-20` over `nm,Abs,Abs`: days, or the
/// same again and again, or names of samples and people. `Operator;Kay;Room;B12` is several keys.
fn is_key_over_each(line: &str, grid: &Grid) -> bool {
    let sep = grid.dialect.sep;
    if sep.byte().is_none() || grid.columns() < 3 {
        return false;
    }
    let cells: Vec<&str> = raw_split(line, sep)
        .into_iter()
        .map(|range| line[range].trim().trim_matches('"'))
        .collect();
    let Some((key, values)) = cells.split_first().filter(|_| cells.len() == grid.columns()) else {
        return false;
    };
    let key = key.trim_end_matches(':').trim();
    let Some(field) = words::field_of(key).filter(|_| values.iter().all(|value| !value.is_empty())) else {
        return false;
    };
    let is_day = |value: &&str| {
        matches!(
            read_date(value, None),
            DateReading::Read(_) | DateReading::Undecidable(_)
        )
    };
    let is_key = |value: &&str| words::field_of(value).is_some() || value.contains([':', '=']);
    let again = values.windows(2).all(|pair| pair[0] == pair[1]);
    let names = matches!(field, "sample" | "sample-id" | "operator")
        && values.iter().all(|value| value.contains(char::is_alphabetic))
        && values
            .iter()
            .all(|value| read_column_header(value).quantity.is_none());
    !values.iter().any(|value| is_key(&value)) && (values.iter().all(is_day) || again || names)
}

/// Whether a line above a header is a key and its value in cells of their own, `Oven;105 °C`, where the table has more columns: a row
/// of names or of conditions has a cell for each of them, or leaves the first one empty. The second cell names nothing that a
/// column may hold.
fn is_key_in_cells(line: &str, grid: &Grid) -> bool {
    /// A header of more words is a sentence.
    const LONGEST_HEADER: usize = 4;
    let sep = grid.dialect.sep;
    if sep.byte().is_none() || grid.columns() < 2 {
        return false;
    }
    let cells: Vec<&str> = raw_split(line, sep)
        .into_iter()
        .map(|range| line[range].trim())
        .collect();
    let filled = cells.iter().filter(|cell| !cell.is_empty()).count();
    let [key, value, ..] = cells.as_slice() else {
        return false;
    };
    if filled != 2 || !key.starts_with(char::is_alphabetic) || value.is_empty() {
        return false;
    }
    let of_light = |head: &crate::column_header::ColumnHeader| {
        head.quantity
            .as_ref()
            .is_some_and(curvary_record::Quantity::is_of_light)
    };
    let (key_head, value_head) = (read_column_header(key), read_column_header(value));
    // A value with its unit, or a sentence, is over no column.
    let stated =
        value.starts_with(|c: char| c.is_ascii_digit()) || value.split_whitespace().count() > LONGEST_HEADER;
    let names = value_head.quantity.is_some()
        || !value_head.quantities_possible.is_empty()
        || value_head.unit.is_some();
    let named = is_axis(&key_head) || of_light(&key_head) || key_head.unit.is_some();
    let sample = (crate::words::field_of(key).is_some()
        || key_head
            .quantity
            .as_ref()
            .is_some_and(|quantity| quantity.as_str() == "sample"))
        && !is_axis(&key_head);
    let key_alone = key_head.quantity.is_none() && key_head.quantities_possible.is_empty();
    stated || !names && !named && (key_alone || sample)
}

/// Whether a line is of the form of the rows below it, `02.02.2014;0,176;` over others of a date and a reading: a number with as
/// many decimals over the only column of readings.
fn is_like_a_row(line: &str, cells: &[Option<Range<usize>>], grid: &Grid) -> bool {
    let figures: Vec<usize> = (0..grid.columns())
        .filter(|&at| grid.kinds[at] == ColumnKind::Figures)
        .collect();
    let &[at] = figures.as_slice() else {
        return are_all_like_readings(line, cells, grid, &figures);
    };
    let Some(cell) = cells.get(at).and_then(|cell| cell.clone()).filter(|_| at > 0) else {
        return false;
    };
    let decimals = |text: &str| {
        text.trim()
            .split_once(['.', ','])
            .map_or(0, |(_, decimals)| decimals.len())
    };
    let number = line[cell.clone()].trim();
    let reading = leading_number(number).is_some_and(|value| value.abs() < 10.0) && decimals(number) >= 2;
    reading
        && super::surroundings::are_like_readings(grid)
        && grid.decimals()[grid.place(at)]
            .iter()
            .any(|&(_, digits)| usize::from(digits) == decimals(number))
}

/// Whether the cells over several columns of readings are readings themselves, `A  0.9799  1.0869` above `B  0.2896  0.4283`: each
/// has as many decimals, two or more, as the numbers below it.
fn are_all_like_readings(line: &str, cells: &[Option<Range<usize>>], grid: &Grid, figures: &[usize]) -> bool {
    let changes = grid.decimals();
    let like = |&at: &usize| {
        let number = cells
            .get(at)
            .and_then(|cell| cell.clone())
            .map_or("", |cell| line[cell].trim());
        let digits = number
            .split_once(['.', ','])
            .map_or(0, |(_, decimals)| decimals.len());
        let plain = number
            .bytes()
            .all(|byte| byte.is_ascii_digit() || matches!(byte, b'.' | b',' | b'-'));
        let below = changes[grid.place(at)]
            .first()
            .map_or(0, |&(_, digits)| usize::from(digits));
        plain
            && digits >= 2
            && digits == below
            && leading_number(number).is_some_and(|value| value.abs() < 4.0)
    };
    // `Conc. in mol/L  0.00  0.05  0.10` says what runs across.
    let corner = cells
        .first()
        .and_then(Option::clone)
        .map_or("", |cell| line[cell].trim());
    let head = read_column_header(corner);
    let says = head.unit.is_some() || head.quantity.is_some_and(|quantity| !quantity.is_of_light());
    !says && figures.len() >= 2 && super::surroundings::are_like_readings(grid) && figures.iter().all(like)
}

/// Whether cells say `key value`: the first is a field's name, and what follows is no head of a column.
fn is_statement(texts: &[&str]) -> bool {
    let [key, rest @ ..] = texts else { return false };
    let key = key.trim_end_matches([':', '=']).trim();
    // `Path (mm)` over a number is a field under its unit.
    let number = |text: &&str| {
        let text = text.trim();
        text.starts_with(|c: char| c.is_ascii_digit())
            && text
                .bytes()
                .all(|b| b.is_ascii_digit() || matches!(b, b'.' | b','))
    };
    let name = crate::column_header::split_unit(key)
        .filter(|_| rest.len() == 1 && rest.iter().all(number))
        .map_or(key, |(name, _)| name);
    let known = crate::words::field_of(key).or_else(|| crate::words::field_of(name));
    // Two numbers behind a name, `Wavelength,340,405`, stand over two columns.
    // So do two words of which none is a unit: `Sample;tea;malt`.
    let words = || {
        rest.iter()
            .all(|text| text.starts_with(char::is_alphabetic) && !is_unit_alone(text))
    };
    if rest.len() > 2 || rest.len() == 2 && (rest.iter().all(number) || words()) || known.is_none() {
        return false;
    }
    // `Wavelength;Green tea` over numbers: the value of what runs would be a number.
    let is_name = |text: &&str| {
        let day = || {
            matches!(
                read_date(text, None),
                DateReading::Read(_) | DateReading::Undecidable(_)
            )
        };
        text.starts_with(char::is_alphabetic) && words::marker(text).is_none() || day()
    };
    let key_head = read_column_header(key);
    if let [value] = rest
        && (is_axis(&key_head) && is_name(value)
            || known == Some("sample") && names_a_column_of_readings(value))
    {
        return false;
    }
    !rest.iter().any(|text| {
        let head = crate::column_header::read_column_header(text);
        let names = head.quantity.is_some() || !head.quantities_possible.is_empty();
        names && leading_number(text).is_none()
    })
}

/// Whether a word names a column of readings rather than a sample: `Messung 1`, `Mean`, `540 nm`.
fn names_a_column_of_readings(text: &str) -> bool {
    let word = text.trim_end_matches(|c: char| c.is_ascii_digit() || c == ' ');
    let wavelength = || {
        let head = read_column_header(text);
        head.label.is_none()
            && head
                .held
                .iter()
                .any(|held| held.quantity == curvary_record::Quantity::WAVELENGTH)
    };
    words::word(word) == words::HeaderWord::Generic
        || words::is_statistics(word)
        || words::is(WordList::Series, word)
        || wavelength()
}

/// Splits a line of heads into as many cells as the table has columns. `indent`: characters cut from its front.
fn head_cells(line: &str, grid: &Grid, indent: usize) -> Option<(Vec<Option<Range<usize>>>, bool)> {
    let columns = grid.columns();
    let sep = grid.dialect.sep;
    let whole = |cells: Vec<Range<usize>>| -> Vec<Option<Range<usize>>> {
        cells
            .into_iter()
            .map(|range| Some(range).filter(|r| !r.is_empty()))
            .collect()
    };
    if sep != Delimiter::Blank && sep != Delimiter::Wide {
        let separator = if sep == Delimiter::CommaBlank && !line.contains(", ") {
            Delimiter::Comma
        } else {
            sep
        };
        let mut cells = raw_split(line, separator);
        while cells.len() > columns && cells.last().is_some_and(Range::is_empty) {
            cells.pop();
        }
        if cells.len() == columns {
            return Some((whole(cells), true));
        }
        // A matrix whose corner cell was not written: `400;401;402` over four columns.
        if cells.len() + 1 == columns
            && cells.len() >= 2
            && cells.iter().all(|c| leading_number(&line[c.clone()]).is_some())
        {
            let mut shifted = vec![None];
            shifted.extend(whole(cells));
            return Some((shifted, true));
        }
        if names_rows_without_head(line, &cells, grid, indent) {
            let mut shifted = vec![None];
            shifted.extend(whole(cells));
            return Some((shifted, true));
        }
        // Group heads: fewer cells than columns, the rest left empty.
        if cells.len() >= 2 && cells.len() < columns {
            let mut padded = whole(cells);
            padded.resize(columns, None);
            return Some((padded, true));
        }
    }
    // Blanks divide the heads of a table in blanks as they divide its rows; elsewhere they may only divide words.
    let blanks = matches!(sep, Delimiter::Blank | Delimiter::Wide);
    let line = if blanks { without_aside(line) } else { line };
    let wide = split_wide(line);
    if blanks && wide.len() == columns {
        return Some((whole(wide), true));
    }
    // Names over all columns but that of the names of the rows, over which nothing stands.
    let named = grid.kinds.first() == Some(&ColumnKind::Words);
    let worded = |cell: &Range<usize>| line[cell.clone()].contains(char::is_alphabetic);
    if blanks && named && indent >= 3 && columns >= 3 && wide.len() + 1 == columns && wide.iter().all(worded)
    {
        let mut shifted = vec![None];
        shifted.extend(whole(wide));
        return Some((shifted, true));
    }
    for other in [
        Delimiter::Tab,
        Delimiter::Semicolon,
        Delimiter::Pipe,
        Delimiter::Comma,
    ] {
        if other == sep {
            continue;
        }
        let cells = raw_split(line, other);
        // `absorbance at 510 nm, 1 cm cell` is a sentence above a table whose cells tabs part.
        let sentence = || {
            other == Delimiter::Comma
                && line.contains(", ")
                && !cells.iter().all(|cell| {
                    let head = read_column_header(line[cell.clone()].trim());
                    head.quantity.is_some() && head.held.is_empty() || head.unit.is_some()
                })
        };
        if cells.len() == columns && !sentence() {
            return Some((whole(cells), false));
        }
    }
    if wide.len() == columns {
        return Some((whole(wide), blanks));
    }
    let words = glue_units(line, raw_split(line, Delimiter::Blank));
    if words.len() == columns {
        return Some((whole(words), blanks));
    }
    if words.len() + 1 == columns
        && words.len() >= 2
        && words.iter().all(|w| leading_number(&line[w.clone()]).is_some())
    {
        let mut shifted = vec![None];
        shifted.extend(whole(words));
        return Some((shifted, blanks));
    }
    if names_rows_without_head(line, &words, grid, indent) {
        let mut shifted = vec![None];
        shifted.extend(whole(words));
        return Some((shifted, blanks));
    }
    by_position(line, &words, grid, indent).map(|cells| (cells, false))
}

/// Whether a header is short by one since the first column only numbers or names the rows: `nm A` over `1 400 0.12`. It
/// must name what runs and what was measured, and the numbers under what runs must not do for what was measured; or stand over
/// the other columns, flush with their right edges, or in quotes as each of them, as programs print a frame of data.
fn names_rows_without_head(line: &str, cells: &[Range<usize>], grid: &Grid, indent: usize) -> bool {
    if cells.len() + 1 != grid.columns() || cells.len() < 2 || grid.rows < 3 {
        return false;
    }
    let head =
        |range: &Range<usize>| super::columns::head_or_first_word(line[range.clone()].trim_matches('"'));
    let measured = |range: &Range<usize>| head(range).quantity.is_some_and(|q| q.is_of_light());
    let counts = || {
        let first = grid.figure(0, 0);
        (first == 0.0 || first == 1.0)
            && grid
                .column(0)
                .enumerate()
                .all(|(row, value)| value == first + row as f64)
    };
    let words = grid.kinds[0] == ColumnKind::Words;
    if !words && !counts() || grid.kinds[1] != ColumnKind::Figures {
        return false;
    }
    let quoted = |range: &Range<usize>| line[range.clone()].starts_with('"');
    let printed = !words && (cells.iter().all(quoted) || stand_flush_right(line, cells, grid, indent));
    if printed && cells.iter().any(measured) {
        return true;
    }
    let runs = head(&cells[0])
        .quantity
        .is_some_and(|q| matches!(q.as_str(), "wavelength" | "wavenumber" | "time"));
    let axis: Vec<f64> = grid.column(1).collect();
    let orderly =
        axis.windows(2).all(|pair| pair[0] < pair[1]) || axis.windows(2).all(|pair| pair[0] > pair[1]);
    let beyond = axis.iter().any(|value| *value > 10.0);
    runs && cells[1..].iter().all(measured) && orderly && beyond
}

/// Whether words end where the columns behind the first end, in a table in fixed columns: one after the other, and none over the
/// first.
fn stand_flush_right(line: &str, words: &[Range<usize>], grid: &Grid, indent: usize) -> bool {
    let extents = grid.extents();
    extents.len() == words.len() + 1
        && words.iter().zip(&extents[1..]).all(|(word, (_, end))| {
            let own = indent + line[..word.end].chars().count();
            own.abs_diff(*end) <= 1
        })
        && words.first().is_some_and(|word| {
            let start = indent + line[..word.start].chars().count();
            start + 1 >= extents[0].1
        })
}

/// A line of heads without an aside at its end: `nm  Abs   (one sample, columns continue)`.
fn without_aside(line: &str) -> &str {
    let Some(open) = line.rfind("  (").filter(|_| line.trim_end().ends_with(')')) else {
        return line;
    };
    let inner = line[open + 3..].trim_end().trim_end_matches(')');
    let is_unit = !matches!(
        curvary_record::unit::spelled(inner),
        curvary_record::unit::Spelling::None
    );
    if is_unit || !inner.contains(' ') {
        line
    } else {
        line[..open].trim_end()
    }
}

/// A line without the strokes that it is set off with on both sides: the `nm , A` of `-- nm , A --`.
fn undecorated(line: &str) -> &str {
    for stroke in ['-', '=', '~', '*', '_'] {
        let bare = |text: &str| text.starts_with(stroke) && text[1..].starts_with(stroke);
        if bare(line) && line.ends_with(stroke) {
            let inner = line.trim_matches(stroke);
            if inner.starts_with(' ') && inner.ends_with(' ') {
                return inner.trim();
            }
        }
    }
    line
}

/// Whether a line that is set off with strokes, `*** upper river ***`, is the title of the first group of rows, since a header that
/// names what was measured stands above it.
fn is_title_of_group(text: &str, raw: &str, above: &[TextPiece]) -> bool {
    let names = |line: &str| {
        line.split([' ', '\t', ';', ',', '|'])
            .any(|word| word.chars().count() > 2 && crate::words::quantity_of(word).is_some())
    };
    let kept = raw.trim();
    let header = above.iter().rev().find_map(|piece| match piece {
        TextPiece::Text(line) => Some(&text[line.span.range()]),
        _ => None,
    });
    undecorated(kept) != kept
        && !names(kept)
        && header.is_some_and(|header| undecorated(header.trim()) == header.trim() && names(header))
}

/// Whether a line of words without the sign that parts the cells stands directly below a header that has a cell for each column and
/// names a quantity: it is a caption of the rows, `Second rack`, and none of its words a header.
fn is_caption_below_header(text: &str, raw: &str, grid: &Grid, above: &[TextPiece]) -> bool {
    let Some(sign) = grid.dialect.sep.byte().map(char::from) else {
        return false;
    };
    if raw.contains(sign) || !raw.contains(char::is_alphabetic) {
        return false;
    }
    let header = above.iter().rev().find_map(|piece| match piece {
        TextPiece::Text(line) => Some(&text[line.span.range()]),
        _ => None,
    });
    header.is_some_and(|header| {
        let cells = raw_split(header, grid.dialect.sep);
        let names = |cell: &Range<usize>| read_column_header(header[cell.clone()].trim()).quantity.is_some();
        cells.len() == grid.columns()
            && cells.len() >= 2
            && cells.iter().all(|cell| !header[cell.clone()].trim().is_empty())
            && cells.iter().any(names)
    })
}

/// Whether a line of words stands between two or more equal signs on both sides, `*** wells ***`: it is a caption.
fn is_caption_between_stars(raw: &str) -> bool {
    let kept = raw.trim();
    let sign = |c: char| matches!(c, '*' | '=' | '~' | '+' | '#' | '-');
    kept.chars().next().filter(|c| sign(*c)).is_some_and(|star| {
        let inner = kept.trim_matches(star);
        let lead = kept.len() - kept.trim_start_matches(star).len();
        let tail = kept.len() - kept.trim_end_matches(star).len();
        lead >= 2
            && lead == tail
            && inner.contains(char::is_alphabetic)
            && !inner.contains(['\t', ';', '|', ','])
    })
}

/// Puts `(nm)`, `[nm]`, `/ nm` and the like to the word before them.
pub(super) fn glue_units(line: &str, words: Vec<Range<usize>>) -> Vec<Range<usize>> {
    let mut glued: Vec<Range<usize>> = Vec::with_capacity(words.len());
    let mut open = false;
    let mut joins_next = false;
    for word in words {
        let text = &line[word.clone()];
        let joins = open || joins_next || text.starts_with(['(', '[', '/', '@']);
        match glued.last_mut() {
            Some(last) if joins => last.end = word.end,
            _ => glued.push(word),
        }
        let depth =
            |open: [char; 2], close: [char; 2]| text.matches(open).count() > text.matches(close).count();
        let opened = depth(['(', '['], [')', ']']);
        let closed = text.matches([')', ']']).count() > text.matches(['(', '[']).count();
        open = (open || opened) && !closed;
        joins_next = matches!(text, "/" | "@" | "in") || text.ends_with(['/', '@']) && text.len() > 1;
    }
    glued
}

/// Puts each word over the column of figures nearest to it, for tables in fixed columns.
fn by_position(
    line: &str,
    words: &[Range<usize>],
    grid: &Grid,
    indent: usize,
) -> Option<Vec<Option<Range<usize>>>> {
    let extents = grid.extents();
    if extents.len() != grid.columns() || words.is_empty() {
        return None;
    }
    let mut cells: Vec<Option<Range<usize>>> = vec![None; extents.len()];
    let mut furthest = 0;
    for word in words {
        let start = indent + line[..word.start].chars().count();
        let end = indent + line[..word.end].chars().count();
        let distance = |extent: &(usize, usize)| {
            let middle = (start + end) as f64 / 2.0;
            let over = start < extent.1 && end > extent.0;
            if over {
                0.0
            } else {
                (middle - (extent.0 + extent.1) as f64 / 2.0).abs()
            }
        };
        let column =
            (0..extents.len()).min_by(|&a, &b| distance(&extents[a]).total_cmp(&distance(&extents[b])))?;
        if column < furthest || distance(&extents[column]) > 12.0 {
            return None;
        }
        furthest = column;
        cells[column] = Some(match cells[column].take() {
            Some(front) => front.start..word.end,
            None => word.clone(),
        });
    }
    // At least half the columns must have a head for the line to be one.
    (cells.iter().flatten().count() * 2 >= cells.len()).then_some(cells)
}
