//! What the vocabulary of a laboratory says of columns: of their headers, and of the units in them.

use curvary_record::{Code, Diagnostic, Place};

use super::{Column, quantity_of_unit, unit_fits};
use crate::vocabulary::{NOTHING, WordKind};
use crate::{Assumptions, Source, words};

/// Gives columns the meaning that local words have. What a header says in words that are known everywhere stays; tells of
/// columns that are left out.
pub(in super::super) fn hear_vocabulary(columns: &mut Vec<Column>, source: &Source) -> Vec<Diagnostic> {
    let assume = source.assume();
    let mut remarks = Vec::new();
    if assume.words().next().is_none() {
        return remarks;
    }
    columns.retain_mut(|column| {
        hear_unit(column, assume);
        let Some((text, span, meaning)) = header_word(column, assume) else {
            return true;
        };
        if meaning.meaning == NOTHING {
            let message = format!("`{text}` was left out: the vocabulary says that it is no measurement");
            let place: Place = source.place(span);
            remarks.push(Diagnostic::note(Code::new("column-left-out"), message).at(place, "this column"));
            return false;
        }
        let (quantity, unit) = meaning.axis();
        let known = column
            .quantity
            .as_ref()
            .is_some_and(|known| *known != quantity && words::is_ours(known));
        if known {
            return true;
        }
        // A unit that the file states is never thrown away.
        let stated = column.unit.clone().filter(|stated| {
            unit.as_ref()
                .map_or_else(|| unit_fits(&quantity, stated), |unit| stated.converts_to(unit))
        });
        if column.unit.is_some() && stated.is_none() && unit.is_some() && known_unit(column) {
            return true;
        }
        column.unit = stated.or(unit);
        column.quantity = Some(quantity);
        column.quantities_possible.clear();
        column.units_possible.clear();
        column.by_vocabulary = true;
        true
    });
    remarks
}

/// Whether the unit of a column stands in its header, and was not made from a word of it.
fn known_unit(column: &Column) -> bool {
    column
        .heads
        .iter()
        .any(|(text, _)| crate::column_header::split_unit(text).is_some())
        || column.heads.len() > 1
}

type LocalHeader = (String, curvary_record::Span, crate::vocabulary::LocalWord);

/// The header of a column that is a local word, whole or before its unit.
fn header_word(column: &Column, assume: &Assumptions) -> Option<LocalHeader> {
    column.heads.iter().rev().find_map(|(text, span)| {
        let text = text.trim();
        let name = name_and_unit(text).map_or(text, |(name, _)| name);
        // Curves are counted: `Glimm 2`.
        let stem =
            name.trim_end_matches(|c: char| c.is_ascii_digit() || matches!(c, ' ' | '_' | '-' | '.' | '#'));
        [text, name, stem]
            .into_iter()
            .find_map(|name| assume.word(WordKind::Header, name))
            .map(|word| (text.to_owned(), *span, word))
    })
}

/// A local unit in a header, `Temp (Grd)`, or alone in a row of units.
fn hear_unit(column: &mut Column, assume: &Assumptions) {
    if column.unit.is_some() {
        return;
    }
    let found = column.heads.iter().rev().find_map(|(text, _)| {
        let text = text.trim();
        let unit = name_and_unit(text).map_or(text.trim_matches(['(', ')', '[', ']']), |(_, unit)| unit);
        assume.word(WordKind::Unit, unit)
    });
    let Some(unit) = found.and_then(|word| crate::vocabulary::unit_of(&word.meaning)) else {
        return;
    };
    if column
        .quantity
        .as_ref()
        .is_none_or(|quantity| unit_fits(quantity, &unit))
    {
        column.quantity = column.quantity.take().or_else(|| quantity_of_unit(&unit));
        column.unit = Some(unit);
        column.label = None;
        column.by_vocabulary = true;
    }
}

/// Name and unit of a header, whatever the unit: `Temp (Grd)`, `Temp/Grd`, `Temp in Grd`.
fn name_and_unit(text: &str) -> Option<(&str, &str)> {
    for (open, close) in [('(', ')'), ('[', ']')] {
        if let Some((name, unit)) = text.strip_suffix(close).and_then(|text| text.rsplit_once(open)) {
            return Some((name.trim(), unit.trim()));
        }
    }
    let (name, unit) = text
        .rsplit_once(" in ")
        .or_else(|| text.rsplit_once('/'))
        .or_else(|| text.rsplit_once(", "))?;
    Some((name.trim(), unit.trim()))
}
