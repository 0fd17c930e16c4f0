//! Whether a table is a measurement of light absorbed, something else, or nothing that can be told: from the ledger.

use super::*;
use crate::evidence::{EvidenceTarget, Ledger, TableRole as Says};
use crate::readers::text_table::number;
use curvary_record::KnownQuantity;

/// What a table is, by the evidence.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum TableVerdict {
    /// A measurement: words or units say so.
    Measurement,
    /// Something else, by this sign.
    Other(String),
    /// Nothing says what it is.
    Open,
}

impl Shaper<'_> {
    /// Weighs the evidence. A word that is in no list counts neither for nor against.
    pub(super) fn verdict(&self) -> TableVerdict {
        match self.source.assume().get("measurement") {
            Some("no") => return TableVerdict::Other("that is what was answered".to_owned()),
            Some(_) => return TableVerdict::Measurement,
            None if self.source.assume().get("x").is_some() || self.source.assume().get("y").is_some() => {
                return TableVerdict::Measurement;
            }
            None if self.by_vocabulary() => return TableVerdict::Measurement,
            None => {}
        }
        // Where light or a wavelength is named, and nothing decisive may speak against it, the rest is not weighed.
        let is = |column: &Column, of: fn(&Quantity) -> bool| column.quantity.as_ref().is_some_and(of);
        let light = |column: &Column| {
            is(column, of_the_trade)
                || column
                    .held
                    .iter()
                    .any(|held| held.quantity == Quantity::WAVELENGTH)
        };
        let wavelength = self
            .columns
            .iter()
            .any(|column| is(column, |q| *q == Quantity::WAVELENGTH));
        let doubted = || {
            self.columns.first().is_some_and(frequency)
                || self.columns.iter().any(|column| retention(column).is_some())
        };
        if let Some(head) = self.list_of_things() {
            return TableVerdict::Other(format!(
                "it is a list of things, each with a wavelength of its own, and `{head}` was not measured over it"
            ));
        }
        if wavelength || (self.columns.iter().any(light) && !doubted()) {
            return TableVerdict::Measurement;
        }
        self.judge(&self.weigh())
    }

    /// The header of what is listed, where a table is a list of named things: wavelengths in no order, and beside them
    /// nothing but quantities of another kind, as in a list of dyes with their masses.
    fn list_of_things(&self) -> Option<String> {
        let of = |column: &&Column, wanted: &Quantity| column.quantity.as_ref() == Some(wanted);
        let figures = || {
            let column_of_figures =
                |column: &&Column| column.kind == ColumnKind::Figures && role(column) != ShapeRole::Counter;
            self.columns.iter().filter(column_of_figures)
        };
        let named = self.columns.iter().any(|column| column.kind == ColumnKind::Words);
        let wavelengths: Vec<&Column> = figures()
            .filter(|column| of(column, &Quantity::WAVELENGTH))
            .collect();
        if !named || wavelengths.is_empty() || wavelengths.iter().any(|column| column.stats.orderly()) {
            return None;
        }
        let mut others = figures()
            .filter(|column| !of(column, &Quantity::WAVELENGTH))
            .peekable();
        let first = others
            .peek()?
            .heads
            .last()
            .map(|(text, _)| text.trim().to_owned())?;
        let is_other = |column: &Column| {
            column
                .quantity
                .as_ref()
                .is_some_and(|quantity| !of_the_trade(quantity) && *quantity != Quantity::TIME)
        };
        others.all(is_other).then_some(first)
    }

    /// Whether a person said what a header or unit of the table means that is of a measurement.
    fn by_vocabulary(&self) -> bool {
        self.columns
            .iter()
            .any(|column| column.by_vocabulary && !matches!(role(column), ShapeRole::Beside))
    }

    fn judge(&self, ledger: &Ledger) -> TableVerdict {
        let balance = ledger.balance(EvidenceTarget::Table, &Says::Measurement);
        if balance.is_for() {
            return TableVerdict::Measurement;
        }
        let against = |rule: &str| ledger.iter().any(|one| one.rule == rule);
        if against("times-of-a-chromatogram")
            && let Some(head) = self.columns.iter().find_map(retention)
        {
            return TableVerdict::Other(format!(
                "`{head}` belongs to a chromatogram, whose times are retention times and not those of a reaction"
            ));
        }
        if against("word-of-another-trade")
            && let Some(sign) = self.of_another_trade()
        {
            return TableVerdict::Other(format!("its columns are of other things: {sign}"));
        }
        if against("frequencies") {
            return TableVerdict::Other("it runs over frequencies in hertz".to_owned());
        }
        self.other_by_its_columns(ledger)
    }

    /// A header that names what nobody writes beside a measurement of light.
    pub(super) fn of_another_trade(&self) -> Option<String> {
        let around = self.context.of_another_trade.as_deref();
        let heads = self
            .columns
            .iter()
            .flat_map(|column| column.heads.iter().map(|(head, _)| head.as_str()));
        heads.chain(around).find_map(|head| {
            let quantity = words::other_in(head).filter(words::is_of_another_trade)?;
            Some(sign(head.trim(), &quantity))
        })
    }

    /// Something else by the signs of its columns: each that may hold what was measured is of another quantity, or a
    /// temperature, a pH or a concentration with nothing measured beside it.
    fn other_by_its_columns(&self, ledger: &Ledger) -> TableVerdict {
        let mut signs: Vec<String> = Vec::new();
        let mut open = 0;
        for (place, column) in self.columns.iter().enumerate() {
            let about = EvidenceTarget::Column(column.index + 1);
            let said = ledger
                .on(about)
                .into_iter()
                .find(|one| matches!(one.speaks_for, Says::Other(_)) && !one.against);
            let head = column.heads.last().map_or("", |(text, _)| text.trim());
            let words = column.kind == ColumnKind::Words && column.clock.is_none();
            if let Some(Says::Other(quantity)) = said.map(|one| one.speaks_for) {
                signs.push(sign(head, &quantity));
            } else if matches!(role(column), ShapeRole::Beside)
                || column.quantity == Some(Quantity::CONCENTRATION)
                || column.quantity == Some(Quantity::RATE)
            {
                let quantity = column.quantity.clone().unwrap_or(Quantity::UNKNOWN);
                signs.push(sign(head, &quantity));
            } else if let Some(quantity) = words.then(|| words::other_in(head)).flatten() {
                signs.push(sign(head, &quantity));
            } else if !(words
                || column.clock.is_some()
                || matches!(role(column), ShapeRole::Counter | ShapeRole::Coordinate)
                || column
                    .quantity
                    .as_ref()
                    .is_some_and(|quantity| matches!(quantity.as_str(), "date" | "time-of-day" | "flag"))
                || column.heads.iter().any(|(text, _)| words::is_statistics(text))
                || (place == 0 && column.stats.counts()))
            {
                open += 1;
            }
        }
        if open > 0 || signs.is_empty() {
            return TableVerdict::Open;
        }
        signs.dedup();
        signs.truncate(6);
        TableVerdict::Other(format!("its columns are of other things: {}", signs.join(", ")))
    }

    /// Why a table is something else where nothing that was measured in it is of light: each measured column is of
    /// another quantity. Over a wavelength such a column is a spectrum all the same, and is kept.
    pub(super) fn all_other(&self, x: usize, ys: &[usize]) -> Option<String> {
        let assume = self.source.assume();
        let of_light = self.columns[x]
            .quantity
            .as_ref()
            .is_some_and(|quantity| matches!(quantity.as_str(), "wavelength" | "wavenumber" | "energy"));
        if assume.get("y").is_some() || assume.get("measurement").is_some() {
            return None;
        }
        let other = |&y: &usize| {
            let column = &self.columns[y];
            if column.by_vocabulary {
                return false;
            }
            // Prices of filters over their wavelengths are no spectrum, and neither is how many are in stock.
            if of_light {
                let counted = |(text, _): &(String, Span)| {
                    // `limit` beside two wavelengths, one found and one expected, is none that was measured over them.
                    words::is(WordList::Target, text.trim())
                        || words::other_in(text)
                            .is_some_and(|quantity| quantity.known() == Some(KnownQuantity::Item))
                };
                return column.quantity.as_ref().is_some_and(words::is_of_another_trade)
                    || column.heads.iter().any(counted);
            }
            let derived = column
                .heads
                .last()
                .is_some_and(|(text, _)| crate::column_header::is_derived(text));
            // `N/%`, `Lambda max nm`: a unit that no light absorbed has, under a word that says nothing else.
            let other_unit = || {
                column
                    .unit
                    .as_ref()
                    .is_some_and(|unit| !super::super::columns::unit_fits(&Quantity::ABSORBANCE, unit))
            };
            column.quantity.as_ref().map_or_else(
                || !derived && other_unit(),
                |quantity| *quantity == Quantity::PH || !words::is_ours(quantity) && !derived,
            )
        };
        ys.iter().all(other).then(|| {
            let signs: Vec<String> = ys
                .iter()
                .take(6)
                .map(|&y| {
                    let quantity = self.columns[y].quantity.clone().unwrap_or(Quantity::UNKNOWN);
                    sign(&self.name(y).unwrap_or_default(), &quantity)
                })
                .collect();
            format!("no light absorbed was measured, but {}", signs.join(", "))
        })
    }

    /// Whether a corner of the table names light, or what runs across is one: `nm\s`.
    pub(super) fn corner_of_light(&self) -> bool {
        let corner = self.columns.first().and_then(|first| first.heads.last());
        corner
            .map(|(text, _)| corner_heads(text))
            .is_some_and(|(down, over)| {
                [down, over]
                    .into_iter()
                    .flatten()
                    .any(|head| head.0.as_ref().is_some_and(of_the_trade))
            })
    }

    /// Whether the names of all rows say that light was measured in them.
    pub(super) fn rows_of_light(&self) -> bool {
        let named = self.columns.first().is_some_and(|first| {
            first.kind == ColumnKind::Words && first.clock.is_none() && first.quantity.is_some()
        });
        named && self.rows_are_measured()
    }

    /// Whether rates stand beside what reactions run over.
    pub(super) fn rates_of_a_reaction(&self) -> bool {
        let named: Vec<&Quantity> = self
            .columns
            .iter()
            .filter_map(|column| column.quantity.as_ref())
            .collect();
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
        rates && (of_reactions || (!beats && has(&Quantity::TIME)))
    }

    /// Asks whether a table is a measurement at all, of which nothing else tells what it is.
    pub(super) fn ask_whether_measured(&mut self) {
        let heads: Vec<String> = self
            .columns
            .iter()
            .filter_map(|column| column.heads.last())
            .filter(|(text, _)| text.chars().any(char::is_alphabetic))
            .map(|(text, _)| format!("`{}`", text.trim()))
            .take(6)
            .collect();
        let message = if heads.is_empty() {
            "nothing says what these numbers are: no header, no unit and no word around them".to_owned()
        } else {
            format!(
                "nothing says what these numbers are: the headers {} are not known, and there is no unit that decides",
                heads.join(", ")
            )
        };
        let label = Label {
            place: Place::line(self.table.first_line as usize),
            text: "is this a measurement?".to_owned(),
        };
        self.ask(
            "is-it-a-measurement",
            &message,
            &[
                (
                    "measurement=yes",
                    "a measurement: what its axes are is asked as well",
                ),
                NOT_A_MEASUREMENT,
            ],
            vec![label],
        );
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
            bare.is_some_and(|number| crate::light::BARE_HEADERS.contains(&number))
        };
        first.quantity.is_some() && rest.len() >= 2 && rest.iter().all(wavelength)
    }
}

/// The answer that a table is none.
pub(super) const NOT_A_MEASUREMENT: (&str, &str) = ("measurement=no", "no measurement: it is left out");

fn sign(head: &str, quantity: &Quantity) -> String {
    let name = quantity.as_str().replace('-', " ");
    if head.is_empty() {
        name
    } else if words::fold(head).starts_with(&words::fold(&name)) {
        format!("`{head}`")
    } else {
        format!("`{head}` ({name})")
    }
}

/// Whether a column is of frequencies, in hertz.
pub(super) fn frequency(column: &Column) -> bool {
    column
        .unit
        .as_ref()
        .is_some_and(|unit| matches!(unit.code(), "Hz" | "kHz" | "MHz"))
}

/// The head of a column of retention times, or of peak areas in absorbance times time.
pub(super) fn retention(column: &Column) -> Option<&str> {
    column.heads.iter().map(|(text, _)| text.trim()).find(|text| {
        let folded = crate::words::fold(text);
        let mut parts = folded.split(' ');
        let first = parts.next().unwrap_or("");
        // `RT` alone is room temperature as often; with a unit of time it is none.
        let timed = first == "rt"
            && parts
                .next()
                .is_some_and(|unit| matches!(unit, "min" | "s" | "sec" | "mins"));
        timed
            || words::begins(WordList::Retention, &folded)
            // An area is an absorbance times a time; `mAU/min` is a rate.
            || words::contains(WordList::PeakAreaUnit, &text.to_lowercase())
    })
}
