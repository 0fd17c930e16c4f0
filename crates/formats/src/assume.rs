//! What a person has settled about sources: `--assume`, or a note in the archive.

use std::collections::BTreeMap;

use curvary_record::{Quantity, Question, Unit};

use crate::readers::jcamp;

/// Settled questions, by what they are about: `decimal=comma`, `x=wavelength:nm`, `y=transmittance:%`, `date=day-first`.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Assumptions(BTreeMap<String, String>);

impl Assumptions {
    /// Nothing is settled.
    #[must_use]
    pub fn none() -> Self {
        Self::default()
    }

    /// Adds one `about=answer`.
    ///
    /// # Errors
    /// When the text is no such pair, or the answer is none that `about` takes; the message says which there are.
    pub fn add(&mut self, text: &str) -> Result<(), String> {
        let (about, answer) = text.split_once('=').ok_or_else(|| {
            format!("`{text}` is no assumption: expected ABOUT=ANSWER, such as `decimal=comma`")
        })?;
        let (about, answer) = (about.trim(), answer.trim());
        let wrong = |expected: &str| {
            Err(format!(
                "`{answer}` does not settle `{about}`: expected {expected}"
            ))
        };
        match about {
            "decimal" if !matches!(answer, "comma" | "point") => return wrong("`comma` or `point`"),
            "date" if !matches!(answer, "day-first" | "month-first" | "year-first") => {
                return wrong("`day-first`, `month-first` or `year-first`");
            }
            "x" | "y" => {
                let (_, unit) = axis(answer);
                if let Some(unit) = unit.filter(|unit| Unit::ucum(unit).is_err()) {
                    return wrong(&format!(
                        "QUANTITY or QUANTITY:UNIT with a UCUM unit, `{unit}` is none"
                    ));
                }
            }
            "columns" if answer.is_empty() || !answer.split('+').all(|part| matches!(part, "1" | "2")) => {
                return wrong("the pieces of each cell between the commas, such as `2+2` or `1+2`");
            }
            "ranges" if !matches!(answer, "start" | "middle") => return wrong("`start` or `middle`"),
            "shape" if !matches!(answer, "columns" | "packed") => return wrong("`columns` or `packed`"),
            "parentheses" if !matches!(answer, "negative" | "absent") => {
                return wrong("`negative` or `absent`");
            }
            "times"
                if !matches!(
                    answer,
                    "from-zero" | "after-interval" | "next-day" | "as-written" | "sixtieths" | "decimal"
                ) =>
            {
                return wrong(
                    "`from-zero`, `after-interval`, `next-day`, `as-written`, `sixtieths` or `decimal`",
                );
            }
            "measurement" if !matches!(answer, "yes" | "no") => return wrong("`yes` or `no`"),
            "heads" if !matches!(answer, "swapped" | "as-written") => {
                return wrong("`swapped` or `as-written`");
            }
            "columns" | "date" | "decimal" | "heads" | "measurement" | "parentheses" | "ranges" | "shape"
            | "times" => {}
            _ => match jcamp::answers(about) {
                Some(answers) if answers.contains(&answer) => {}
                Some([one, other]) => return wrong(&format!("`{one}` or `{other}`")),
                None => {
                    let mut known: Vec<&str> = jcamp::abouts()
                        .chain([
                            "columns",
                            "date",
                            "decimal",
                            "heads",
                            "measurement",
                            "parentheses",
                            "ranges",
                            "shape",
                            "times",
                        ])
                        .collect();
                    known.sort_unstable();
                    return Err(format!(
                        "nothing is called `{about}`: expected {}, x or y",
                        known.join(", ")
                    ));
                }
            },
        }
        self.0.insert(about.to_owned(), answer.to_owned());
        Ok(())
    }

    /// Takes over what `others` settle, in place of what was settled here.
    pub(crate) fn outweigh(&mut self, others: &Self) {
        self.0.extend(others.0.clone());
    }

    /// Takes over the answers of others; theirs weigh more.
    pub fn overlay(&mut self, others: &Self) {
        self.0.extend(
            others
                .0
                .iter()
                .map(|(about, answer)| (about.clone(), answer.clone())),
        );
    }

    /// The answer about something.
    #[must_use]
    pub fn get(&self, about: &str) -> Option<&str> {
        self.0.get(about).map(String::as_str)
    }

    /// The settled quantity and unit of the `x` or `y` axis.
    #[must_use]
    pub fn axis(&self, about: &str) -> Option<(Quantity, Option<Unit>)> {
        let (quantity, unit) = axis(self.get(about)?);
        Some((
            Quantity::named(quantity),
            unit.and_then(|unit| Unit::ucum(unit).ok()),
        ))
    }

    /// Whether one of a question's readings has been settled upon.
    #[must_use]
    pub fn settle(&self, question: &Question) -> bool {
        question.readings.iter().any(|reading| {
            reading
                .assume
                .split_once('=')
                .is_some_and(|(about, answer)| self.get(about) == Some(answer))
        })
    }

    /// Every pair, by what it is about.
    pub fn iter(&self) -> impl Iterator<Item = (&str, &str)> {
        self.0
            .iter()
            .map(|(about, answer)| (about.as_str(), answer.as_str()))
    }

    /// Whether nothing is settled.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}

fn axis(answer: &str) -> (&str, Option<&str>) {
    match answer.split_once(':') {
        Some((quantity, unit)) => (quantity.trim(), Some(unit.trim())),
        None => (answer, None),
    }
}
