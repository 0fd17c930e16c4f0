//! Questions about a table, and what speaks for a reading of it.

use super::*;
use crate::readers::text_table::{dialect, number};

impl Shaper<'_> {
    pub(super) fn ask(
        &mut self,
        code: &'static str,
        message: &str,
        readings: &[(&str, &str)],
        labels: Vec<Label>,
    ) {
        let question = Question {
            code: Code::new(code),
            message: message.to_owned(),
            readings: readings
                .iter()
                .map(|(assume, says)| Alternative {
                    assume: (*assume).to_owned(),
                    says: (*says).to_owned(),
                })
                .collect(),
            labels,
        };
        if !self
            .questions
            .iter()
            .any(|known| known.code == question.code && known.readings == question.readings)
        {
            self.questions.push(question);
        }
    }

    pub(super) fn because_once(&mut self, reason: &str) {
        if !self.because.iter().any(|known| known == reason) {
            self.because.push(reason.to_owned());
        }
    }

    pub(super) fn label_at(&self, column: &Column, text: &str) -> Vec<Label> {
        let place = match column.heads.last() {
            Some((_, span)) => self.source.place(*span),
            None => Place::line(self.table.first_line as usize),
        };
        vec![Label {
            place,
            text: text.to_owned(),
        }]
    }

    pub(super) fn ask_dialect(&mut self, code: Code, readings: &[dialect::Dialect]) {
        let text = self.source.text();
        let line = self.table.first_line as usize;
        let span = self.source.lines().span(line - 1);
        let row = text[span.range()].trim();
        let says = |dialect: &dialect::Dialect| {
            let cells: Vec<String> = dialect::split(row, dialect)
                .into_iter()
                .map(|range| match number::cell(&row[range.clone()], dialect.style) {
                    number::Cell::Number { value, .. } => value.to_string(),
                    _ => format!("`{}`", &row[range]),
                })
                .take(6)
                .collect();
            format!(
                "{}: the first row is {}",
                dialect.says_in(self.source),
                cells.join(" | ")
            )
        };
        let readings = readings
            .iter()
            .map(|dialect| Alternative {
                assume: dialect.answer(),
                says: says(dialect),
            })
            .collect();
        self.questions.push(Question {
            message: format!("the commas and points of this table can be read in more than one way: `{row}`"),
            code,
            readings,
            labels: vec![Label {
                place: self
                    .source
                    .place(Span::new(span.start as usize, span.start as usize + row.len())),
                text: "the first row".to_owned(),
            }],
        });
    }

    /// Asks whether two heads stand over each other's columns: `Absorbance` over 400 to 700, `Wavelength` over 0.03 to
    /// 0.76. The likelier reading is given with the question.
    pub(super) fn unswap(&mut self) {
        let [first, second] = self.columns.as_slice() else {
            return;
        };
        let nanometres = |column: &Column| column.stats.like_nanometres() && column.stats.orderly();
        let small =
            |column: &Column| column.stats.count > 2 && column.stats.min > -1.0 && column.stats.max < 6.0;
        let is = |column: &Column, quantity: Quantity| column.quantity.as_ref() == Some(&quantity);
        let swapped = |light: &Column, measured: &Column| {
            is(light, Quantity::ABSORBANCE)
                && is(measured, Quantity::WAVELENGTH)
                && nanometres(light)
                && small(measured)
        };
        if !swapped(first, second) && !swapped(second, first) {
            return;
        }
        match self.source.assume().get("heads") {
            Some("as-written") => return,
            Some(_) => {}
            None => {
                let labels = self.label_at(&self.columns[0].clone(), "a header");
                self.ask(
                    "heads-swapped",
                    "each header suits the numbers of the other column: were the two interchanged?",
                    &[
                        (
                            "heads=swapped",
                            "by the numbers: the wavelengths are those from 100 on",
                        ),
                        ("heads=as-written", "the headers are right"),
                    ],
                    labels,
                );
            }
        }
        if let [first, second] = self.columns.as_mut_slice() {
            std::mem::swap(&mut first.quantity, &mut second.quantity);
            std::mem::swap(&mut first.unit, &mut second.unit);
            std::mem::swap(&mut first.heads, &mut second.heads);
        }
    }

    /// Asks what numbers in parentheses mean.
    pub(super) fn ask_parentheses(&mut self) {
        let gaps: Vec<&Gap> = self
            .table
            .grid
            .gaps
            .iter()
            .filter(|gap| gap.lack == MissingCell::Bracketed)
            .collect();
        let Some(first) = gaps.first() else { return };
        let message = format!(
            "{} in parentheses, such as `{}`: negative, or marked as doubtful?",
            if gaps.len() == 1 {
                "1 number stands".to_owned()
            } else {
                format!("{} numbers stand", gaps.len())
            },
            &self.source.text()[first.span.range()]
        );
        let labels = gaps
            .iter()
            .take(PLACES_TOLD)
            .map(|gap| Label {
                place: self.source.place(gap.span),
                text: String::new(),
            })
            .collect();
        self.ask(
            "number-in-parentheses",
            &message,
            &[
                ("parentheses=negative", "they are negative numbers"),
                ("parentheses=absent", "they are to be left out"),
            ],
            labels,
        );
    }
}
