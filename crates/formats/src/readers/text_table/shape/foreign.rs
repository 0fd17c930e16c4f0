//! Tables that are none of light absorbed, and how that is told.

use super::*;
use crate::readers::text_table::number;

impl Shaper<'_> {
    /// Why the table is none of light absorbed, where its heads say so.
    pub(super) fn foreign(&self) -> Option<String> {
        if self.source.assume().get("x").is_some() || self.source.assume().get("y").is_some() {
            return None;
        }
        let named: Vec<&Quantity> = self
            .columns
            .iter()
            .filter_map(|column| column.quantity.as_ref())
            .collect();
        if !named.contains(&&Quantity::WAVELENGTH)
            && let Some(head) = self.columns.iter().find_map(retention)
        {
            return Some(format!(
                "`{head}` speaks of a chromatogram, whose times are those of a column and not of a reaction"
            ));
        }
        let frequency = |column: &Column| column.unit.as_ref().is_some_and(|unit| unit.code() == "Hz");
        if !named.contains(&&Quantity::WAVELENGTH) && self.columns.first().is_some_and(frequency) {
            return Some("it runs over frequencies in hertz".to_owned());
        }
        let holds = self
            .columns
            .iter()
            .any(|c| c.held.iter().any(|held| held.quantity == Quantity::WAVELENGTH))
            || self.over_wavelengths_without_unit();
        if holds || named.iter().any(|quantity| of_the_trade(quantity)) {
            return None;
        }
        let named_rows = self.columns.first().is_some_and(|first| {
            first.kind == Kind::Words && first.clock.is_none() && first.quantity.is_some()
        });
        if named_rows && self.rows_are_measured() {
            return None;
        }
        // `nm\s` in the corner of a matrix.
        let corner = self.columns.first().and_then(|first| first.heads.last());
        if let Some((down, over)) = corner.map(|(text, _)| corner_heads(text))
            && [down, over]
                .into_iter()
                .flatten()
                .any(|head| head.0.as_ref().is_some_and(of_the_trade))
        {
            return None;
        }
        let has = |quantity: &Quantity| named.contains(&quantity);
        let rates = has(&Quantity::RATE) || self.context.names(&Quantity::RATE);
        // Beside a time alone, `Heart rate (1/min)` is no rate of a reaction: those change absorbances or concentrations.
        let beats = self.columns.iter().all(|column| {
            column.quantity != Some(Quantity::RATE)
                || column.unit.as_ref().is_some_and(|unit| {
                    Unit::ucum("/s").is_ok_and(|beat| unit.converts_to(&beat))
                        && !unit.code().contains("{AU}")
                }) && !column
                    .heads
                    .iter()
                    .any(|(text, _)| text.trim().starts_with(['d', 'Δ', '∆']))
        });
        let of_reactions = [Quantity::CONCENTRATION, Quantity::PH, Quantity::TEMPERATURE]
            .iter()
            .any(has);
        if rates
            && (of_reactions || !beats)
            && [
                Quantity::CONCENTRATION,
                Quantity::TIME,
                Quantity::PH,
                Quantity::TEMPERATURE,
            ]
            .iter()
            .any(has)
        {
            return None;
        }
        if self.context.quantities.iter().any(of_the_trade) || self.context.wavelength.is_some() {
            return None;
        }
        if self.like_a_course() {
            return None;
        }
        let heads: Vec<String> = self
            .columns
            .iter()
            .filter_map(|column| column.heads.last())
            .filter(|(text, _)| text.chars().any(char::is_alphabetic))
            .map(|(text, _)| format!("`{text}`"))
            .take(6)
            .collect();
        let whole = self
            .columns
            .iter()
            .filter(|c| c.kind == Kind::Figures)
            .all(|c| c.stats.whole);
        // A name over a column beside one without a head tells no more than no heads at all.
        let nameless = self.columns.len() == 2
            && self.columns[0].heads.is_empty()
            && self.columns[0].stats.orderly()
            && self.columns[0].stats.count >= 4;
        if nameless && !whole {
            return None;
        }
        if heads.is_empty() && whole && self.table.open.is_none() {
            return Some("whole numbers only, without any word of the trade around them".to_owned());
        }
        if heads.is_empty() {
            // Beside times, numbers may be measured; without a word of the trade they are asked about.
            let words = |column: &Column| column.kind == Kind::Words && column.clock.is_none();
            let words = self.columns.iter().any(words);
            return (words || self.table.grid.rows < 4)
                .then(|| "a few rows of numbers without any word of the trade around them".to_owned());
        }
        let vague = self
            .columns
            .iter()
            .filter(|c| c.quantity != Some(Quantity::TIME))
            .filter_map(|c| c.heads.last())
            .all(|(text, _)| {
                let word = text
                    .trim()
                    .trim_end_matches(|c: char| c.is_ascii_digit() || matches!(c, ' ' | '_' | '-' | '.'))
                    .to_lowercase();
                matches!(
                    word.as_str(),
                    "x" | "y"
                        | "data"
                        | "value"
                        | "values"
                        | "signal"
                        | "column"
                        | "col"
                        | "spalte"
                        | "colonne"
                        | "columna"
                        | "channel"
                        | "ch"
                        | "series"
                        | "a"
                        | "b"
                        | ""
                )
            });
        let vague = vague
            && self.columns.iter().any(|c| {
                c.quantity != Some(Quantity::TIME)
                    && c.heads
                        .iter()
                        .any(|(text, _)| text.chars().any(char::is_alphabetic))
            });
        (!vague).then(|| format!("the heads speak of other things: {}", heads.join(", ")))
    }

    /// A time with its unit and columns over it that say nothing of what they are, `rep 1`, `control`, with numbers that
    /// an absorbance may have: it is asked what was measured.
    pub(super) fn like_a_course(&self) -> bool {
        let is_time = |column: &Column| {
            column.quantity == Some(Quantity::TIME) && (column.unit.is_some() || column.clock.is_some())
        };
        let [time, others @ ..] = self.columns.as_slice() else {
            return false;
        };
        is_time(time)
            && time.stats.orderly()
            && time.stats.count >= 6
            && !others.is_empty()
            && others.iter().all(|column| {
                let of_other_things = column.heads.iter().any(|(text, _)| {
                    let united = crate::head::split_unit(text).is_some() && column.held.is_empty();
                    united || text.contains(['(', '[', '/'])
                });
                column.kind == Kind::Figures
                    && column.quantity.is_none()
                    && column.unit.is_none()
                    && !of_other_things
                    && !column.heads.is_empty()
                    && !column.stats.whole
                    && column.stats.min > -0.5
                    && column.stats.max < 6.0
            })
    }

    /// Whether a column of words has a head that says what was measured, and numbers among the words.
    pub(super) fn is_measured_in_words(&self, column: &Column) -> bool {
        let told = column.unit.is_some()
            || column.quantity.as_ref().is_some_and(|quantity| {
                of_the_trade(quantity)
                    || matches!(
                        quantity.as_str(),
                        "rate" | "temperature" | "concentration" | "ph" | "time"
                    )
            });
        let text = self.source.text();
        told && self.table.grid.words(column.index).iter().any(|span| {
            matches!(
                number::cell(text[span.range()].trim(), self.table.grid.dialect.style),
                number::Cell::Number { .. } | number::Cell::WithUnit { .. }
            )
        })
    }

    /// Whether all columns but the first, which says what runs, have bare numbers for heads that may be wavelengths.
    pub(super) fn over_wavelengths_without_unit(&self) -> bool {
        let [first, rest @ ..] = self.columns.as_slice() else {
            return false;
        };
        let wavelength = |column: &Column| {
            let bare = column
                .heads
                .last()
                .and_then(|(text, _)| text.trim().parse::<f64>().ok());
            bare.is_some_and(|number| (190.0..=1100.0).contains(&number))
        };
        first.quantity.is_some() && rest.len() >= 2 && rest.iter().all(wavelength)
    }
}

/// The head of a column of retention times, or of peak areas in absorbance times time.
fn retention(column: &Column) -> Option<&str> {
    column.heads.iter().map(|(text, _)| text.trim()).find(|text| {
        let folded = crate::words::fold(text);
        let mut words = folded.split(' ');
        let first = words.next().unwrap_or("");
        // `RT` alone is room temperature as often; with a unit of time it is none.
        let timed = first == "rt"
            && words
                .next()
                .is_some_and(|unit| matches!(unit, "min" | "s" | "sec" | "mins"));
        timed
            || [
                "retention",
                "retentions",
                "tiempo de retencion",
                "tempo di ritenzione",
                "temps de retention",
            ]
            .iter()
            .any(|word| folded.starts_with(word))
            // An area is an absorbance times a time; `mAU/min` is a rate.
            || ["mau*s", "mau·s", "mau.s", "mau s", "mau*min", "mau·min", "mau.min", "mau min"]
                .iter()
                .any(|unit| text.to_lowercase().contains(unit))
    })
}
