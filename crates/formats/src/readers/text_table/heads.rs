//! The heads above a table: which lines they are, and which column each of their words stands over.

mod cells;
mod head_line;
mod titles;

use curvary_record::Span;

use crate::column_header::read_column_header;
use crate::words::{self, WordList};

pub(super) use self::cells::glue_units;
use self::cells::is_key_over_each;
use self::head_line::{HeadPlace, map_heads};
use self::titles::{
    is_axis_below_header, is_caption_below_header, is_note_behind, is_sentence_over, is_title,
    is_title_of_group, stand_between_heads,
};
use super::columns::{field_over_curves, parameter};
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
    let with_unit = format!(
        "{above} ({})",
        text[unit.range()].trim().trim_matches(['(', ')', '[', ']'])
    );
    let (alone, together) = (read_column_header(above), read_column_header(&with_unit));
    let is_level = |of: &curvary_record::Quantity| matches!(of.as_str(), "concentration" | "temperature");
    let may_run = is_axis(&alone) || alone.quantity.as_ref().is_some_and(is_level);
    let runs = may_run && alone.quantity == together.quantity;
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
    let lower = line.to_lowercase();
    let phrase = |phrase: &String| phrase.contains(' ') && lower.contains(phrase.as_str());
    inner.iter().any(|word| words::is(WordList::Versus, word))
        || words::words_of(WordList::Versus).iter().any(phrase)
}

/// The rows of heads directly above a table, from top to bottom.
pub(super) fn heads_above(text: &str, grid: &Grid, above: &[TextPiece]) -> Vec<HeadRow> {
    let (mut heads, mut others): (Vec<HeadRow>, Vec<HeadRow>) = rows_above(text, grid, above)
        .into_iter()
        .partition(|head| head.class == RowClass::Summary);
    for (head, (class, _)) in classify(text, &others).into_iter().enumerate() {
        let line = &text[others[head].line.span.range()];
        let of_each = || {
            let key = others[head].cells[0].map_or("", |key| &text[key.range()]);
            field_over_curves(key).is_some() && is_key_over_each(line, grid)
        };
        others[head].class = if of_each() { RowClass::Condition } else { class };
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

/// A line that stands over the first column alone.
fn over_first_column(text: &str, line: TextLine, grid: &Grid) -> HeadRow {
    let name = crate::slice::range_in(text, text[line.span.range()].trim());
    let mut cells = vec![None; grid.columns()];
    cells[0] = Some(Span::new(name.start, name.end));
    HeadRow {
        line,
        class: RowClass::Header,
        cells,
    }
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
                if heads.is_empty() && is_axis_below_header(text, raw, grid, &above[..index]) {
                    heads.push(over_first_column(text, *line, grid));
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
                if !nearest && let Some(cells) = days_over_columns(text, *line, grid) {
                    heads.push(HeadRow {
                        line: *line,
                        class: RowClass::Header,
                        cells,
                    });
                    continue;
                }
                // `Concentration;Iron` over `mg/L;` is no key with its value.
                let over_units = heads.last().is_some_and(|below| {
                    let raw = strip_remark(raw).1;
                    let mut cells = raw_split(raw, grid.dialect.sep);
                    // `# Wavelength Abs_before Abs_after` over `# nm AU AU` and cells that tabs part.
                    if cells.len() == 1 {
                        cells = raw_split(raw, Delimiter::Blank);
                    }
                    let first = cells.first().cloned().unwrap_or(0..0);
                    // `Wavelength;340` over `nm;AU` is a key.
                    let number = |cell: &std::ops::Range<usize>| leading_number(&raw[cell.clone()]).is_some();
                    !cells.iter().any(number) && stands_for_units_of(text, below, raw[first].trim())
                });
                let place = HeadPlace {
                    nearest,
                    after_blank: blanks > 0,
                    over_units,
                };
                let Some(cells) = map_heads(text, *line, grid, place) else {
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
                if below.is_some_and(|below| {
                    sentence(below)
                        || is_title(text, &cells, below)
                        || is_condition_of_the_run(text, &cells, below)
                }) {
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

/// The cells of a line of nothing but days, two at least, `2019-05-02,,2019-05-09,`: each is of the curve that it stands over, and none
/// is that of the run.
fn days_over_columns(text: &str, line: TextLine, grid: &Grid) -> Option<Vec<Option<Span>>> {
    grid.dialect.sep.byte()?;
    let span = line.span.range();
    let raw = &text[span.clone()];
    let mut cells: Vec<Option<Span>> = Vec::with_capacity(grid.columns());
    for cell in raw_split(raw, grid.dialect.sep) {
        let day = raw[cell].trim();
        if day.is_empty() {
            cells.push(None);
            continue;
        }
        let read = curvary_record::moment::read(day, None).date;
        if !matches!(read, curvary_record::moment::DateReading::Read(_)) {
            return None;
        }
        let at = span.start + crate::slice::offset_in(raw, day);
        cells.push(Some(Span::new(at, at + day.len())));
    }
    let days = cells.iter().flatten().count();
    cells.resize(grid.columns(), None);
    (days >= 2).then_some(cells)
}

/// Whether a line above a header is a condition in the first cell and nothing else, `λ = 445 nm;;` over `No;c (mM);Abs`: it was padded to
/// the width of the table, and is over no column.
fn is_condition_of_the_run(text: &str, cells: &[Option<Span>], below: &HeadRow) -> bool {
    let [Some(first), others @ ..] = cells else {
        return false;
    };
    let head = read_column_header(text[first.range()].trim());
    others.len() >= 2
        && others.iter().all(Option::is_none)
        && below.cells.iter().all(Option::is_some)
        && !head.held.is_empty()
        && head.quantity.is_none()
        && head.unit.is_none()
        && head.label.is_none()
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
