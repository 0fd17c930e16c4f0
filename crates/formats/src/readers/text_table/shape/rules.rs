//! The rules of evidence: what each sign of a table speaks for or against.
//!
//! A rule is data with a function that looks for its sign. It decides nothing and knows of no other rule, so that their
//! order changes nothing. The example of each rule is its test, and `curvary explain --rules` lists them.

use super::fitting::fits_values;
use super::verdict::{frequency, retention};
use super::*;
use crate::column_header::split_unit;
use crate::evidence::{
    Evidence, EvidenceTarget, Ledger, RuleTold, SignPlace as From, SignWeight, TableRole as Says,
};
use crate::words::{self, HeaderWord};
use curvary_record::KnownQuantity;

/// What a rule notes: what the sign is about, what it says of it, and the line it stands on.
type SignNote<'n> = &'n mut dyn FnMut(EvidenceTarget, Says, Option<Place>);

/// A sign, what it weighs, and how it is found.
struct EvidenceRule {
    id: &'static str,
    from: From,
    weight: SignWeight,
    against: bool,
    says: &'static str,
    example: &'static str,
    /// The column of the example, from 1; 0 for the table.
    column: usize,
    speaks_for: &'static str,
    weigh: fn(&Signs<'_, '_>, SignNote<'_>),
}

/// All rules with their examples.
pub(crate) fn rules() -> Vec<RuleTold> {
    RULES
        .iter()
        .map(|rule| RuleTold {
            id: rule.id,
            kind: rule.from,
            weight: rule.weight,
            against: rule.against,
            says: rule.says,
            example: rule.example,
            about: if rule.column == 0 {
                EvidenceTarget::Table
            } else {
                EvidenceTarget::Column(rule.column)
            },
            speaks_for: rule.speaks_for,
        })
        .chain(super::template::rules())
        .collect()
}

/// What a rule says.
pub(crate) fn says(id: &str) -> Option<&'static str> {
    let rule = RULES.iter().find(|rule| rule.id == id).map(|rule| rule.says);
    rule.or_else(|| super::template::says(id))
}

/// A table, and those of its columns whose signs are looked for.
struct Signs<'s, 'a> {
    shaper: &'s Shaper<'a>,
    weighed: &'s [Column],
}

impl<'a> std::ops::Deref for Signs<'_, 'a> {
    type Target = Shaper<'a>;

    fn deref(&self) -> &Shaper<'a> {
        self.shaper
    }
}

impl Signs<'_, '_> {
    /// Each column that is weighed, with its target.
    fn each(&self, mut look: impl FnMut(&Column, EvidenceTarget)) {
        for column in self.weighed {
            look(column, EvidenceTarget::Column(column.index + 1));
        }
    }
}

impl Shaper<'_> {
    /// What all rules say of the table.
    pub(super) fn weigh(&self) -> Ledger {
        self.weigh_by(RULES.iter(), &self.columns)
    }

    /// What the rules say of one column: of many columns each is asked about by itself.
    pub(super) fn weigh_column(&self, column: &Column) -> Ledger {
        let about_columns = RULES.iter().filter(|rule| rule.column != 0);
        self.weigh_by(about_columns, std::slice::from_ref(column))
    }

    fn weigh_by<'r>(&self, rules: impl Iterator<Item = &'r EvidenceRule>, weighed: &[Column]) -> Ledger {
        let signs = Signs {
            shaper: self,
            weighed,
        };
        let mut ledger = Ledger::default();
        for rule in rules {
            (rule.weigh)(&signs, &mut |about, speaks_for, place| {
                ledger.note(Evidence {
                    rule: rule.id,
                    kind: rule.from,
                    about,
                    speaks_for,
                    against: rule.against,
                    weight: rule.weight,
                    place,
                });
            });
        }
        ledger
    }

    fn at(&self, column: &Column) -> Option<Place> {
        column
            .heads
            .last()
            .map(|(_, span)| Place::line(self.source.place(*span).line as usize))
    }
}

/// The name in a head, without its unit.
fn name_in(text: &str) -> &str {
    split_unit(text).map_or(text.trim(), |(name, _)| name)
}

/// Whether a name is a symbol and no word.
fn is_symbol(name: &str) -> bool {
    name.chars().filter(|c| c.is_alphabetic()).count() <= 2
}

/// The quantity of a column that its words name, without its unit.
fn named(column: &Column) -> Option<(&str, Quantity)> {
    column.heads.iter().rev().find_map(|(text, _)| {
        let name = name_in(text);
        let quantity = super::super::columns::head_or_first_word(name).quantity?;
        (column.quantity.as_ref() == Some(&quantity)).then_some((name, quantity))
    })
}

/// What a quantity is taken for where a column is of it.
fn as_role(quantity: Quantity) -> Says {
    match quantity.known() {
        Some(
            KnownQuantity::Wavelength
            | KnownQuantity::Wavenumber
            | KnownQuantity::Energy
            | KnownQuantity::Time
            | KnownQuantity::TimeOfDay
            | KnownQuantity::Concentration,
        ) => Says::Axis(quantity),
        Some(KnownQuantity::Index) => Says::Counter,
        Some(KnownQuantity::Sample | KnownQuantity::Flag | KnownQuantity::Date) => Says::Names,
        Some(
            KnownQuantity::Frequency
            | KnownQuantity::Absorbance
            | KnownQuantity::Transmittance
            | KnownQuantity::Reflectance
            | KnownQuantity::Intensity
            | KnownQuantity::Temperature
            | KnownQuantity::Dilution
            | KnownQuantity::Rate
            | KnownQuantity::Ph
            | KnownQuantity::Item
            | KnownQuantity::Unknown,
        )
        | None => {
            if words::is_ours(&quantity) {
                Says::Measured(quantity)
            } else {
                Says::Other(quantity)
            }
        }
    }
}

/// Whether a column runs over something by its numbers: it is no word, and not all of one number.
fn may_run(column: &Column) -> bool {
    column.stats.count >= 3 && (column.kind == ColumnKind::Figures || column.clock.is_some())
}

/// How often the numbers of a column turn back.
pub(super) fn turns(shaper: &Shaper<'_>, column: &Column) -> usize {
    let values: Vec<f64> = shaper
        .table
        .grid
        .column(column.index)
        .filter(|value| !value.is_nan())
        .take(20_000)
        .collect();
    let mut last = 0.0;
    let mut turns = 0;
    for pair in values.windows(2) {
        let step = pair[1] - pair[0];
        if step != 0.0 {
            turns += usize::from(last != 0.0 && (step > 0.0) != (last > 0.0));
            last = step;
        }
    }
    turns
}

static RULES: &[EvidenceRule] = &[
    EvidenceRule {
        id: "word-of-the-trade",
        from: From::Textual,
        weight: SignWeight::Decisive,
        against: false,
        says: "the header names a quantity that photometers measure, or that measurements run over",
        example: "Wavelength (nm)\tAbsorbance\n400\t0.1\n410\t0.3\n420\t0.2\n",
        column: 2,
        speaks_for: "measured: absorbance",
        weigh: |shaper, note| {
            shaper.each(|column, about| {
                if let Some((name, quantity)) = named(column).filter(|(_, quantity)| words::is_ours(quantity))
                    && !is_symbol(name)
                    && !(quantity == Quantity::INDEX && column.stats.goes_in_other_steps(8))
                {
                    note(about, as_role(quantity), shaper.at(column));
                }
            });
        },
    },
    EvidenceRule {
        id: "symbol-of-the-trade",
        from: From::Textual,
        weight: SignWeight::Strong,
        against: false,
        says: "the header is the symbol of a quantity",
        example: "λ/nm\tA\n400\t0.1\n410\t0.3\n420\t0.2\n",
        column: 2,
        speaks_for: "measured: absorbance",
        weigh: |shaper, note| {
            shaper.each(|column, about| {
                if let Some((name, quantity)) = named(column).filter(|(_, quantity)| words::is_ours(quantity))
                    && is_symbol(name)
                {
                    note(about, as_role(quantity), shaper.at(column));
                }
            });
        },
    },
    EvidenceRule {
        id: "word-of-another-quantity",
        from: From::Textual,
        weight: SignWeight::Strong,
        against: false,
        says: "the header names a quantity that is none of absorbed light",
        example: "Time (s)\tPressure\n0\t1.1\n10\t1.3\n20\t1.2\n",
        column: 2,
        speaks_for: "another quantity: pressure",
        weigh: |shaper, note| {
            shaper.each(|column, about| {
                let named = column.heads.iter().any(|(text, _)| {
                    matches!(words::word(name_in(text)), HeaderWord::Other(_))
                        || words::other_in(text).is_some()
                });
                if let Some(quantity) = column.quantity.as_ref().filter(|q| named && !words::is_ours(q)) {
                    note(about, Says::Other(quantity.clone()), shaper.at(column));
                }
            });
        },
    },
    EvidenceRule {
        id: "derived-quantity",
        from: From::Textual,
        weight: SignWeight::Strong,
        against: false,
        says: "the header is of a logarithm, a derivative or a complement: another quantity",
        example: "Wavelength (nm)\tdA/dλ\n400\t0.1\n410\t0.3\n420\t0.2\n",
        column: 2,
        speaks_for: "another quantity: da/dλ",
        weigh: |shaper, note| {
            shaper.each(|column, about| {
                let derived = column
                    .heads
                    .last()
                    .is_some_and(|(text, _)| crate::column_header::is_derived(text));
                if let Some(quantity) = column.quantity.as_ref().filter(|_| derived) {
                    note(about, Says::Other(quantity.clone()), shaper.at(column));
                }
            });
        },
    },
    EvidenceRule {
        id: "unit-of-the-trade",
        from: From::Unit,
        weight: SignWeight::Strong,
        against: false,
        says: "the unit belongs to one quantity of the trade, whatever the word beside it",
        example: "Vlnk (nm)\tZorp (AU)\n400\t0.1\n410\t0.3\n420\t0.2\n",
        column: 1,
        speaks_for: "x axis: wavelength",
        weigh: |shaper, note| {
            shaper.each(|column, about| {
                let quantity = column.quantity.as_ref().filter(|q| words::is_ours(q));
                if let (Some(unit), Some(quantity)) = (&column.unit, quantity)
                    && super::super::columns::quantity_of_unit(unit).as_ref() == Some(quantity)
                {
                    note(about, as_role(quantity.clone()), shaper.at(column));
                }
            });
        },
    },
    EvidenceRule {
        id: "unit-of-another-quantity",
        from: From::Unit,
        weight: SignWeight::Strong,
        against: false,
        says: "the unit is one that no quantity of absorbed light has",
        example: "Time (s)\tZorp (mV)\n0\t1.1\n10\t1.3\n20\t1.2\n",
        column: 2,
        speaks_for: "another quantity: zorp",
        weigh: |shaper, note| {
            shaper.each(|column, about| {
                let other = column.quantity.as_ref().filter(|q| !words::is_ours(q));
                if let (Some(unit), Some(quantity)) = (&column.unit, other)
                    && !super::super::columns::is_unit_of_ours(unit)
                {
                    note(about, Says::Other(quantity.clone()), shaper.at(column));
                }
            });
        },
    },
    EvidenceRule {
        id: "unit-against-word",
        from: From::Unit,
        weight: SignWeight::Decisive,
        against: true,
        says: "the unit does not belong to the quantity that the word names; a stated unit outweighs a word",
        example: "Wavelength (nm)\tAbsorbance (cm-1)\n400\t0.1\n410\t0.3\n420\t0.2\n",
        column: 2,
        speaks_for: "measured: absorbance",
        weigh: |shaper, note| {
            shaper.each(|column, about| {
                let Some(unit) = &column.unit else { return };
                for quantity in column.quantities_possible.iter().filter(|q| q.is_of_light()) {
                    if !super::super::columns::unit_fits(quantity, unit) {
                        note(about, Says::Measured(quantity.clone()), shaper.at(column));
                    }
                }
            });
        },
    },
    EvidenceRule {
        id: "unit-in-cells",
        from: From::Unit,
        weight: SignWeight::Strong,
        against: false,
        says: "every number of the column carries the same unit",
        example: "Foo\tBar\n400 nm\t0.1\n410 nm\t0.3\n420 nm\t0.2\n",
        column: 1,
        speaks_for: "x axis: wavelength",
        weigh: |shaper, note| {
            shaper.each(|column, about| {
                let carried = shaper
                    .table
                    .grid
                    .units
                    .get(column.index)
                    .is_some_and(Option::is_some);
                if let Some(quantity) = column.quantity.clone().filter(|_| carried) {
                    note(about, as_role(quantity), None);
                }
            });
        },
    },
    EvidenceRule {
        id: "wavelength-in-header",
        from: From::Textual,
        weight: SignWeight::Strong,
        against: false,
        says: "the header says at which wavelength was measured",
        example: "Time (s)\tbeet 480 nm\n0\t0.1\n10\t0.3\n20\t0.2\n",
        column: 2,
        speaks_for: "measured",
        weigh: |shaper, note| {
            shaper.each(|column, about| {
                if column
                    .held
                    .iter()
                    .any(|held| held.quantity == Quantity::WAVELENGTH)
                {
                    note(about, Says::Measured(Quantity::UNKNOWN), shaper.at(column));
                }
            });
        },
    },
    EvidenceRule {
        id: "clock-times",
        from: From::Layout,
        weight: SignWeight::Strong,
        against: false,
        says: "the cells are clock times or lengths of time",
        example: "Foo\tAbsorbance\n0:00:10\t0.1\n0:00:20\t0.3\n0:00:30\t0.2\n",
        column: 1,
        speaks_for: "x axis: time",
        weigh: |shaper, note| {
            shaper.each(|column, about| {
                if column.clock.is_some() {
                    note(about, Says::Axis(Quantity::TIME), None);
                }
            });
        },
    },
    EvidenceRule {
        id: "column-of-words",
        from: From::Layout,
        weight: SignWeight::Strong,
        against: false,
        says: "the cells are words",
        example: "Sample\tA405\nbeet\t0.1\nchard\t0.3\nspinach\t0.2\n",
        column: 1,
        speaks_for: "names",
        weigh: |shaper, note| {
            shaper.each(|column, about| {
                if column.kind == ColumnKind::Words && column.clock.is_none() {
                    note(about, Says::Names, None);
                }
            });
        },
    },
    EvidenceRule {
        id: "preamble-names-the-measured",
        from: From::Preamble,
        weight: SignWeight::Strong,
        against: false,
        says: "the lines around the table name what was measured",
        example: "Absorbance of beet juice\n\nWavelength (nm)\tK7\n400\t0.1\n410\t0.3\n420\t0.2\n",
        column: 2,
        speaks_for: "measured: absorbance",
        weigh: |shaper, note| {
            for quantity in shaper
                .context
                .quantities
                .iter()
                .filter(|quantity| quantity.is_of_light())
            {
                note(EvidenceTarget::Table, Says::Measurement, None);
                shaper.each(|column, about| {
                    if column.quantity.is_none() && column.kind == ColumnKind::Figures {
                        note(about, Says::Measured(quantity.clone()), None);
                    }
                });
            }
        },
    },
    EvidenceRule {
        id: "preamble-names-the-axis",
        from: From::Preamble,
        weight: SignWeight::Moderate,
        against: false,
        says: "the lines around the table name a wavelength, a wavenumber or a time",
        example: "wavelength from beet\n\nFoo\tAbsorbance\n400\t0.1\n410\t0.3\n420\t0.2\n",
        column: 1,
        speaks_for: "x axis: wavelength",
        weigh: |shaper, note| {
            let context = shaper.context;
            let kinds = [
                (Quantity::WAVELENGTH, context.spectrum || context.scans),
                (Quantity::WAVENUMBER, false),
                (Quantity::TIME, context.kinetics || context.interval.is_some()),
            ];
            for (quantity, hinted) in kinds {
                if !context.names(&quantity) && !hinted {
                    continue;
                }
                shaper.each(|column, about| {
                    if column.quantity.is_none() && may_run(column) && column.stats.orderly() {
                        note(about, Says::Axis(quantity.clone()), None);
                    }
                });
            }
        },
    },
    EvidenceRule {
        id: "preamble-states-the-range",
        from: From::Preamble,
        weight: SignWeight::Decisive,
        against: false,
        says: "the column begins and ends where the stated range of wavelengths does",
        example: "Range: 400-420 nm\nFoo\tAbsorbance\n400\t0.1\n410\t0.3\n420\t0.2\n",
        column: 1,
        speaks_for: "x axis: wavelength",
        weigh: |shaper, note| {
            let Some((from, to)) = shaper.context.range else {
                return;
            };
            let near = |a: f64, b: f64| (a - b).abs() <= 1.0 + 1e-3 * b.abs();
            shaper.each(|column, about| {
                let stats = &column.stats;
                if may_run(column) && near(stats.min, from.min(to)) && near(stats.max, from.max(to)) {
                    note(about, Says::Axis(Quantity::WAVELENGTH), None);
                }
            });
        },
    },
    EvidenceRule {
        id: "preamble-speaks-of-light",
        from: From::Preamble,
        weight: SignWeight::Moderate,
        against: false,
        says: "the lines around the table mention a wavelength",
        example: "read at 405 nm\n\nFoo\tBar\n0\t0.1\n10\t0.3\n20\t0.2\n",
        column: 0,
        speaks_for: "a measurement of light absorbed",
        weigh: |shaper, note| {
            let context = shaper.context;
            if context.wavelength.is_some() || context.quantities.iter().any(of_the_trade) {
                note(EvidenceTarget::Table, Says::Measurement, None);
            }
        },
    },
    EvidenceRule {
        id: "column-of-light",
        from: From::Neighbour,
        weight: SignWeight::Strong,
        against: false,
        says: "a column is of light, of its wavelength, or was measured at one",
        example: "Wavelength (nm)\tK7\n400\t0.1\n410\t0.3\n420\t0.2\n",
        column: 0,
        speaks_for: "a measurement of light absorbed",
        weigh: |shaper, note| {
            let held = |column: &Column| {
                column
                    .held
                    .iter()
                    .any(|held| held.quantity == Quantity::WAVELENGTH)
            };
            let light = |column: &&Column| column.quantity.as_ref().is_some_and(of_the_trade) || held(column);
            if let Some(column) = shaper.columns.iter().find(light) {
                note(EvidenceTarget::Table, Says::Measurement, shaper.at(column));
            }
        },
    },
    EvidenceRule {
        id: "wavelengths-across",
        from: From::Layout,
        weight: SignWeight::Strong,
        against: false,
        says: "bare numbers that may be wavelengths stand over all columns but the first",
        example: "Time (s)\t400\t410\t420\n0\t0.1\t0.2\t0.3\n10\t0.2\t0.3\t0.4\n20\t0.3\t0.4\t0.5\n",
        column: 0,
        speaks_for: "a measurement of light absorbed",
        weigh: |shaper, note| {
            if shaper.over_wavelengths_without_unit() || shaper.corner_of_light() || shaper.rows_of_light() {
                note(EvidenceTarget::Table, Says::Measurement, None);
            }
        },
    },
    EvidenceRule {
        id: "rates-of-a-reaction",
        from: From::Neighbour,
        weight: SignWeight::Strong,
        against: false,
        says: "rates stand beside concentrations, times, a pH or temperatures",
        example: "[S] (mM)\tRate (µM/min)\n1\t0.1\n2\t0.3\n4\t0.5\n",
        column: 0,
        speaks_for: "a measurement of light absorbed",
        weigh: |shaper, note| {
            if shaper.rates_of_a_reaction() {
                note(EvidenceTarget::Table, Says::Measurement, None);
            }
        },
    },
    EvidenceRule {
        id: "word-of-another-trade",
        from: From::Textual,
        weight: SignWeight::Decisive,
        against: true,
        says: "a header names what nobody writes beside a measurement of light: prices, rain, marks, days of the week",
        example: "Foo\tRain (mm)\tBar\n1\t0.1\t4\n2\t0.3\t7\n3\t0.2\t5\n",
        column: 0,
        speaks_for: "a measurement of light absorbed",
        weigh: |shaper, note| {
            if shaper.of_another_trade().is_some() {
                note(EvidenceTarget::Table, Says::Measurement, None);
            }
        },
    },
    EvidenceRule {
        id: "times-of-a-chromatogram",
        from: From::Textual,
        weight: SignWeight::Decisive,
        against: true,
        says: "retention times, or areas in absorbance times time: a chromatogram",
        example: "Retention time (min)\tA280\n1.5\t0.1\n2.5\t0.3\n3.5\t0.2\n",
        column: 0,
        speaks_for: "a measurement of light absorbed",
        weigh: |shaper, note| {
            if let Some(column) = shaper.columns.iter().find(|column| retention(column).is_some()) {
                note(EvidenceTarget::Table, Says::Measurement, shaper.at(column));
            }
        },
    },
    EvidenceRule {
        id: "frequencies",
        from: From::Unit,
        weight: SignWeight::Decisive,
        against: true,
        says: "the first column is in hertz: sound or electricity, and no light",
        example: "Foo (Hz)\tBar\n100\t0.1\n200\t0.3\n300\t0.2\n",
        column: 0,
        speaks_for: "a measurement of light absorbed",
        weigh: |shaper, note| {
            if let Some(column) = shaper.columns.first().filter(|column| frequency(column)) {
                note(EvidenceTarget::Table, Says::Measurement, shaper.at(column));
            }
        },
    },
    EvidenceRule {
        id: "runs-in-order",
        from: From::Numeric,
        weight: SignWeight::Moderate,
        against: false,
        says: "the numbers rise, or fall, all the way",
        example: "Foo\tBar\n400\t0.1\n410\t0.3\n420\t0.2\n",
        column: 1,
        speaks_for: "x axis",
        weigh: |shaper, note| {
            shaper.each(|column, about| {
                if may_run(column) && column.stats.orderly() {
                    note(about, Says::Axis(Quantity::UNKNOWN), None);
                }
            });
        },
    },
    EvidenceRule {
        id: "runs-in-even-steps",
        from: From::Numeric,
        weight: SignWeight::Weak,
        against: false,
        says: "the numbers go on in one step",
        example: "Foo\tBar\n400\t0.1\n410\t0.3\n420\t0.2\n",
        column: 1,
        speaks_for: "x axis",
        weigh: |shaper, note| {
            shaper.each(|column, about| {
                if may_run(column) && column.stats.step.is_some_and(|step| step != 0.0) {
                    note(about, Says::Axis(Quantity::UNKNOWN), None);
                }
            });
        },
    },
    EvidenceRule {
        id: "goes-back-and-forth",
        from: From::Numeric,
        weight: SignWeight::Strong,
        against: true,
        says: "the numbers turn back again and again: a condition of each reading, and no x axis",
        example: "Delay (s)\tAbsorbance\n10\t0.1\n20\t0.3\n10\t0.2\n20\t0.3\n10\t0.1\n20\t0.2\n",
        column: 1,
        speaks_for: "x axis",
        weigh: |shaper, note| {
            shaper.each(|column, about| {
                if may_run(column) && !column.stats.orderly() && turns(shaper, column) >= 3 {
                    note(about, Says::Axis(Quantity::UNKNOWN), None);
                }
            });
        },
    },
    EvidenceRule {
        id: "counts-the-rows",
        from: From::Numeric,
        weight: SignWeight::Moderate,
        against: false,
        says: "the numbers are 1, 2, 3 and so on",
        example: "Foo\tWavelength (nm)\tAbsorbance\n1\t400\t0.1\n2\t410\t0.3\n3\t420\t0.2\n",
        column: 1,
        speaks_for: "counts the rows",
        weigh: |shaper, note| {
            shaper.each(|column, about| {
                if column.kind == ColumnKind::Figures && column.stats.count >= 3 && shaper.counts_rows(column)
                {
                    note(about, Says::Counter, None);
                }
            });
        },
    },
    EvidenceRule {
        id: "values-of-an-axis",
        from: From::Numeric,
        weight: SignWeight::Weak,
        against: false,
        says: "the numbers lie where those of this quantity lie",
        example: "Foo\tBar\n400\t0.1\n410\t0.3\n420\t0.2\n",
        column: 1,
        speaks_for: "x axis: wavelength",
        weigh: |shaper, note| {
            let kinds = [
                (Quantity::WAVELENGTH, Unit::NANOMETRE),
                (Quantity::WAVENUMBER, Unit::PER_CENTIMETRE),
                (Quantity::TIME, Unit::SECOND),
            ];
            shaper.each(|column, about| {
                for (quantity, unit) in &kinds {
                    let begins = *quantity != Quantity::TIME || column.stats.first == 0.0;
                    if may_run(column) && begins && fits_values(quantity, unit, &column.stats) {
                        note(about, Says::Axis(quantity.clone()), None);
                    }
                }
            });
        },
    },
    EvidenceRule {
        id: "values-of-no-such-axis",
        from: From::Numeric,
        weight: SignWeight::Strong,
        against: true,
        says: "the numbers cannot be of this quantity: times do not run backwards, wavelengths are not below zero",
        example: "Foo\tBar\n4000\t0.1\n3900\t0.3\n3800\t0.2\n",
        column: 1,
        speaks_for: "x axis: time",
        weigh: |shaper, note| {
            let kinds = [
                (Quantity::WAVELENGTH, vec![Unit::NANOMETRE]),
                (Quantity::WAVENUMBER, vec![Unit::PER_CENTIMETRE]),
                (Quantity::TIME, vec![Unit::SECOND, Unit::MINUTE]),
            ];
            shaper.each(|column, about| {
                for (quantity, units) in &kinds {
                    let fits = units
                        .iter()
                        .any(|unit| fits_values(quantity, unit, &column.stats));
                    if may_run(column) && column.quantity.is_none() && !fits {
                        note(about, Says::Axis(quantity.clone()), None);
                    }
                }
            });
        },
    },
    EvidenceRule {
        id: "values-of-light",
        from: From::Numeric,
        weight: SignWeight::Weak,
        against: false,
        says: "the numbers lie where those of this quantity lie",
        example: "Foo\tBar\n400\t0.1\n410\t0.3\n420\t0.2\n",
        column: 2,
        speaks_for: "measured: absorbance",
        weigh: |shaper, note| {
            shaper.each(|column, about| {
                if !may_run(column) || column.stats.step.is_some() {
                    return;
                }
                for (quantity, unit) in fitting::of_light() {
                    if fits_values(&quantity, &unit, &column.stats) {
                        note(about, Says::Measured(quantity), None);
                    }
                }
            });
        },
    },
    EvidenceRule {
        id: "values-of-no-such-light",
        from: From::Numeric,
        weight: SignWeight::Strong,
        against: true,
        says: "the numbers cannot be of this quantity: no transmittance is above one, no detector measures an absorbance of fifty",
        example: "Foo\tBar\n400\t1.331\n410\t1.333\n420\t1.332\n",
        column: 2,
        speaks_for: "measured: transmittance",
        weigh: |shaper, note| {
            shaper.each(|column, about| {
                if !may_run(column) || column.quantity.is_some() {
                    return;
                }
                for quantity in [Quantity::ABSORBANCE, Quantity::TRANSMITTANCE] {
                    let mut of = fitting::of_light().into_iter().filter(|(of, _)| *of == quantity);
                    if !of.any(|(of, unit)| fits_values(&of, &unit, &column.stats)) {
                        note(about, Says::Measured(quantity), None);
                    }
                }
            });
        },
    },
    EvidenceRule {
        id: "answered",
        from: From::Answer,
        weight: SignWeight::Decisive,
        against: false,
        says: "a person has answered that it is a measurement, or what an axis is of",
        example: "Foo\tBar\n400\t0.1\n410\t0.3\n420\t0.2\n",
        column: 0,
        speaks_for: "a measurement of light absorbed",
        weigh: |shaper, note| {
            let assume = shaper.source.assume();
            if assume.get("x").is_some()
                || assume.get("y").is_some()
                || assume.get("measurement") == Some("yes")
            {
                note(EvidenceTarget::Table, Says::Measurement, None);
            }
        },
    },
];

#[cfg(test)]
mod tests;
