//! Titles, captions and notes that stand above or between headers and are none.

use std::ops::Range;

use curvary_record::moment::read_date;
use curvary_record::{Quantity, Span};

use super::super::columns::corner_heads;
use super::super::dialect::{Delimiter, raw_split};
use super::super::grid::Grid;
use super::super::scan::{HeadRow, TextPiece, leading_number, strip_remark};
use super::super::segments::is_axis;
use super::cells::undecorated;
use super::head_line::behind_lead_in;
use super::{is_summary_word, is_unit_alone};
use crate::column_header::read_column_header;

/// Whether a line without the sign that parts the cells stands at once below a table of the same columns: it is a note on its
/// rows, `Temperature now 31.5 °C`, and no header in blanks.
pub(super) fn is_note_behind(raw: &str, grid: &Grid, above: &[TextPiece]) -> bool {
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
pub(super) fn stand_between_heads(text: &str, lines: &[TextPiece], grid: &Grid) -> bool {
    let sep = grid.dialect.sep;
    let words = |piece: &&TextPiece| match piece {
        TextPiece::Text(line) => {
            let (mark, kept) = strip_remark(&text[line.span.range()]);
            // A remark under a header that is none, `# pNP, 405 nm`, is no row of heads, however many commas it has.
            if mark.is_some_and(|mark| mark != "\"") && !kept.contains(['\t', ';', '|']) {
                return true;
            }
            // Words between blanks may be one title.
            let title = || {
                super::super::dialect::split(kept, &grid.dialect).len() < grid.columns()
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
    let over = behind_lead_in(over.trim(), over, grid).unwrap_or(over);
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
    let sums = is_summary_word(first) || super::super::segments::is_summary_word(first);
    (first.is_empty() || tells || sums) && numbers >= 2 && numbers == filled
        || runs && numbers == 0 && (filled == others.len() || others.iter().any(of_light))
        || numbers == 0 && filled == others.len() && others.iter().any(of_light)
}

/// Whether a line has a blank behind each of its commas, as sentences have, and the header below it behind none:
/// `DNA melting, 260 nm, 1 °C/min` over `No.,Temp (C),Abs`.
pub(super) fn is_sentence_over(line: &str, header: &str) -> bool {
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
pub(super) fn is_title(text: &str, cells: &[Option<Span>], below: &HeadRow) -> bool {
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
    let is_day = |span: &Span| read_date(text[span.range()].trim(), None).is_day();
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

/// Whether a line that is set off with strokes, `*** upper river ***`, is the title of the first group of rows, since a header that
/// names what was measured stands above it.
pub(super) fn is_title_of_group(text: &str, raw: &str, above: &[TextPiece]) -> bool {
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
pub(super) fn is_caption_below_header(text: &str, raw: &str, grid: &Grid, above: &[TextPiece]) -> bool {
    let Some(sign) = grid.dialect.sep.byte().map(char::from) else {
        return false;
    };
    if raw.contains(sign) || !raw.contains(char::is_alphabetic) {
        return false;
    }
    line_above(text, above).is_some_and(|header| {
        let cells = raw_split(header, grid.dialect.sep);
        let names = |cell: &Range<usize>| read_column_header(header[cell.clone()].trim()).quantity.is_some();
        cells.len() == grid.columns()
            && cells.len() >= 2
            && cells.iter().all(|cell| !header[cell.clone()].trim().is_empty())
            && cells.iter().any(names)
    })
}

/// Whether a line of words stands so below a header whose first cell names something else, and names what the curves run over, with
/// its unit: `temperature / °C;10;25` over `wavelength / nm`. It is the header of the first column.
pub(super) fn is_axis_below_header(text: &str, raw: &str, grid: &Grid, above: &[TextPiece]) -> bool {
    let axis = read_column_header(raw.trim());
    let runs = [Quantity::WAVELENGTH, Quantity::WAVENUMBER, Quantity::TIME];
    let is_axis = axis.unit.is_some()
        && axis.label.is_none()
        && axis.held.is_empty()
        && axis
            .quantity
            .as_ref()
            .is_some_and(|quantity| runs.contains(quantity));
    // Words may stand between the two, as between other headers.
    let between = above.iter().rev().take(MAX_BETWEEN).take_while(|piece| {
        let words = |line: &str| raw_split(line, grid.dialect.sep).len() == 1;
        matches!(piece, TextPiece::Text(line) if words(&text[line.span.range()]))
    });
    let above = &above[..above.len() - between.count()];
    is_axis
        && is_caption_below_header(text, raw, grid, above)
        && line_above(text, above).is_some_and(|header| {
            let cells = raw_split(header, grid.dialect.sep);
            let (first, others) = cells
                .split_first()
                .map_or((0..0, &[][..]), |(first, others)| (first.clone(), others));
            let number = |cell: &Range<usize>| leading_number(header[cell.clone()].trim()).is_some();
            let of = read_column_header(header[first].trim()).quantity;
            of.is_some() && of != axis.quantity && others.iter().all(number)
        })
}

/// The line of words at once above.
fn line_above<'t>(text: &'t str, above: &[TextPiece]) -> Option<&'t str> {
    above.iter().rev().find_map(|piece| match piece {
        TextPiece::Text(line) => Some(&text[line.span.range()]),
        _ => None,
    })
}

/// Whether a line of words stands between two or more equal signs on both sides, `*** wells ***`: it is a caption.
pub(super) fn is_caption_between_stars(raw: &str) -> bool {
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
