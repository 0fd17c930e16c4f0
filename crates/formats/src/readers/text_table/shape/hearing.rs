//! What the headers of columns, the corner of a table and the words around it say of its numbers.

use curvary_record::{Coordinate, Quantity, Span, Unit};

use super::super::columns::Column;
use super::super::grid::ColumnKind;
use super::super::scan::leading_number;
use super::Shaper;
use crate::column_header::read_column_header;
use crate::explanation::ColumnRole;
use crate::words;

/// What the header in a corner says was measured, and where: `Extinktion 540 nm`, or the first of its two names,
/// `absorbance / nm`, `Absorbanca pri valovni dolžini (nm):`.
pub(super) fn measured_in_corner(text: &str) -> Option<(Quantity, Vec<Coordinate>)> {
    let front = text.split([':', '/', '(', '[', '\\']).next().unwrap_or("").trim();
    [text, front].into_iter().find_map(|text| {
        let head = super::super::columns::head_or_first_word(text);
        let quantity = head.quantity.filter(Quantity::is_of_light)?;
        Some((quantity, head.held))
    })
}

impl Shaper<'_> {
    /// Where the words around say that rates stand here, and in which unit, the columns without a quantity of their own
    /// beside concentrations are rates: `[S] (mM);I = 0 µM;I = 5 µM` below `Rates in A/min`.
    pub(super) fn hear_rates(&mut self) {
        let Some(unit) = self.context.stated(&Quantity::RATE) else {
            return;
        };
        let coordinate = |column: &Column| column.quantity == Some(Quantity::CONCENTRATION);
        let bare = |column: &Column| column.quantity.is_none() && column.kind == ColumnKind::Figures;
        if self.columns.iter().filter(|column| coordinate(column)).count() != 1
            || !self
                .columns
                .iter()
                .all(|column| coordinate(column) || bare(column))
        {
            return;
        }
        for column in self.columns.iter_mut().filter(|column| bare(column)) {
            column.quantity = Some(Quantity::RATE);
            column.unit = Some(unit.clone());
        }
        self.because_once("y is a rate: the words around the table say so");
    }

    /// Where the words around speak of transmittances and a column is of wavelengths, a letter with percents, `B (%)`, is the name of
    /// what was measured, and no concentration.
    pub(super) fn hear_percents(&mut self) {
        let light = [Quantity::TRANSMITTANCE, Quantity::REFLECTANCE];
        let of = |column: &Column, quantity: &Quantity| column.quantity.as_ref() == Some(quantity);
        let spectrum = self
            .columns
            .iter()
            .any(|column| of(column, &Quantity::WAVELENGTH));
        if !spectrum || !light.iter().any(|quantity| self.context.names(quantity)) {
            return;
        }
        for column in &mut self.columns {
            let named = column.heads.last().is_some_and(|(head, _)| {
                let name = crate::column_header::split_unit(head).map_or(head.as_str(), |(name, _)| name);
                words::quantity_of(name).is_none() && name.trim().chars().count() == 1
            });
            if named && of(column, &Quantity::CONCENTRATION) && column.unit == Some(Unit::PERCENT) {
                column.quantity = None;
            }
        }
    }

    /// Where the words around speak of cells, lengths over all curves, `1 mm`, `2 mm`, `5 mm`, are those of the cells.
    pub(super) fn hear_path_lengths(&mut self) {
        let length = |column: &Column| {
            let (head, _) = column.heads.last()?;
            let (number, unit) = head.trim().split_once(|c: char| c.is_whitespace())?;
            let unit = matches!(unit.trim(), "mm" | "cm")
                .then(|| Unit::ucum(unit.trim()).ok())
                .flatten()?;
            let value = leading_number(number).filter(|value| *value > 0.0)?;
            Some(Coordinate::new(Quantity::named("path-length"), unit, value))
        };
        let runs = |column: &Column| {
            let of = column.quantity.as_ref().map(Quantity::as_str);
            matches!(of, Some("wavelength" | "wavenumber" | "time" | "concentration"))
        };
        let mut others = self
            .columns
            .iter()
            .enumerate()
            .filter(|(_, column)| !runs(column));
        let lengths: Option<Vec<(usize, Coordinate)>> = others
            .by_ref()
            .map(|(place, column)| Some((place, length(column)?)))
            .collect();
        let Some(lengths) = lengths.filter(|lengths| {
            self.context.cells && lengths.len() >= 2 && lengths.len() + 1 == self.columns.len()
        }) else {
            return;
        };
        for (place, length) in lengths {
            let held = &mut self.columns[place].held;
            held.retain(|held| held.quantity != Quantity::UNKNOWN);
            held.push(length);
        }
    }

    /// Takes keys and their values that stand to the right of a table, in two columns without heads, for what they are.
    fn hear_keys_beside(&mut self) {
        let text = self.source.text();
        let Some(place) = (1..self.columns.len().saturating_sub(1)).find(|&place| self.are_keys(place))
        else {
            return;
        };
        let (keys, values) = (self.columns[place].index, self.columns[place + 1].index);
        // The first pair may stand beside the headers.
        let headed = [place, place + 1].map(|place| self.columns[place].heads.last().map(|(_, span)| *span));
        let in_header = match headed {
            [Some(key), Some(value)] => Some((key, value)),
            _ => None,
        };
        let pairs: Vec<(Span, Span)> = self
            .table
            .grid
            .words(keys)
            .iter()
            .copied()
            .zip(self.table.grid.words(values).iter().copied())
            .filter(|(key, value)| key.start < key.end && value.start < value.end)
            .collect();
        for (key, value) in in_header.into_iter().chain(pairs) {
            let bare = text[key.range()].trim_end().trim_end_matches([':', '=']).len();
            crate::preamble::claim(
                &mut self.own,
                &mut self.questions,
                self.source,
                key.start as usize..key.start as usize + bare,
                value.range(),
            );
        }
        self.columns.drain(place..place + 2);
        self.uses.drain(place..place + 2);
    }

    /// Whether a column holds keys of the trade in some of the rows, and the next one their values.
    fn are_keys(&self, place: usize) -> bool {
        let text = self.source.text();
        let [keys, values] = [&self.columns[place], &self.columns[place + 1]];
        let of_words = |column: &Column| column.kind == ColumnKind::Words;
        let head = |column: &Column| column.heads.last().map(|(text, _)| text.trim().to_owned());
        // Without headers, or with a key and its value in their place.
        let headed = match (head(keys), head(values)) {
            (None, None) => true,
            (Some(key), Some(value)) => {
                crate::words::field_of(&key).is_some() && !crate::preamble::is_known(&value)
            }
            _ => false,
        };
        if !of_words(keys) || !of_words(values) || !headed {
            return false;
        }
        let words = |column: &Column| -> Vec<&str> {
            let words = self.table.grid.words(column.index).iter();
            words.map(|span| text[span.range()].trim()).collect()
        };
        let (keys, values) = (words(keys), words(values));
        let paired = keys
            .iter()
            .zip(&values)
            .all(|(key, value)| key.is_empty() == value.is_empty());
        let filled: Vec<&&str> = keys.iter().filter(|key| !key.is_empty()).collect();
        let known = filled
            .iter()
            .filter(|key| {
                let key = key.trim_end_matches([':', '=']).trim_end();
                let name = crate::column_header::split_unit(key).map_or(key, |(name, _)| name);
                crate::preamble::is_known(key) || crate::preamble::is_known(name)
            })
            .count();
        paired && known >= 2 && known * 2 >= filled.len()
    }

    /// Takes what a column says of the whole run: a date in front of clock times, or one word in every row under the name
    /// of a field.
    pub(super) fn hear_columns(&mut self) {
        self.hear_keys_beside();
        self.hear_corner();
        let text = self.source.text();
        for place in 0..self.columns.len() {
            let column = &self.columns[place];
            if let Some((day, order)) = column
                .clock
                .as_ref()
                .and_then(|clock| Some((clock.day?, clock.order)))
            {
                self.hear_date(day, order);
                continue;
            }
            let Some((_, head)) = column.heads.last() else {
                continue;
            };
            if column.kind != ColumnKind::Words || column.clock.is_some() {
                continue;
            }
            let words = self.table.grid.words(column.index);
            let Some(first) = words.first().filter(|_| words.len() >= 2) else {
                continue;
            };
            let word = text[first.range()].trim();
            let field = crate::words::field_of(text[head.range()].trim());
            if word.is_empty() || words.iter().any(|span| text[span.range()].trim() != word) {
                continue;
            }
            // `absorbance` in every row says what the numbers beside it are.
            if let Some(quantity) = crate::words::quantity_of(word).filter(Quantity::is_of_light) {
                self.over_all.get_or_insert(quantity);
                self.uses[place] = Some((ColumnRole::Names, Quantity::UNKNOWN, Unit::ONE));
            } else if field.is_some() {
                crate::preamble::claim(
                    &mut self.own,
                    &mut self.questions,
                    self.source,
                    head.range(),
                    first.range(),
                );
                self.uses[place] = Some((ColumnRole::Names, Quantity::UNKNOWN, Unit::ONE));
            }
        }
    }

    /// Takes what the header in the corner says of all columns beside it: `Extinktion 540 nm` over the names of samples,
    /// `absorbance / nm` in front of wavelengths, `Absorbance` above `nm`.
    fn hear_corner(&mut self) {
        let Some(corner) = self.columns.first() else {
            return;
        };
        let head = match (corner.kind, corner.heads.as_slice()) {
            (ColumnKind::Words, [.., (text, _)]) if corner.clock.is_none() => text,
            (ColumnKind::Figures, [(text, _), .., (lowest, _)])
                if super::super::segments::is_axis(&read_column_header(lowest))
                    && read_column_header(text).unit.is_none() =>
            {
                text
            }
            _ => return,
        };
        let Some((quantity, held)) = measured_in_corner(head) else {
            return;
        };
        if self
            .columns
            .iter()
            .skip(1)
            .any(|column| column.quantity.is_some())
        {
            return;
        }
        for column in self.columns.iter_mut().skip(1) {
            let numbered = column
                .heads
                .last()
                .is_some_and(|(text, _)| super::super::scan::leading_number(text.trim()).is_some());
            if column.kind == ColumnKind::Figures && column.held.is_empty() && !numbered {
                column.held.clone_from(&held);
            }
        }
        self.over_all.get_or_insert(quantity);
    }
}
