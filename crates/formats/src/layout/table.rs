//! What a layout says of the table and its columns.

use std::collections::BTreeMap;

use curvary_record::interpret::interpret;
use curvary_record::{Coordinate, Diagnostic, Key, Quantity, Unit, Value, code};
use schemars::JsonSchema;
use serde::Deserialize;
use toml::Spanned;

use super::Layout;
use super::description::{LayoutFault, check_field, raw_of};
use crate::hints::{ColumnHint, ColumnSelector, HintMeaning, Hints};

/// Where the table stands, and what stands in it for missing values.
#[derive(Clone, Debug, Default, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
#[schemars(rename = "Table")]
pub(super) struct TableDescription {
    /// No table begins above the first line that contains this; a file without it is not read.
    #[serde(default)]
    #[schemars(with = "Option<String>")]
    after: Option<Spanned<String>>,
    /// No table goes on in the first line that contains this, below `after`, nor behind it; a file without it is not read.
    #[serde(default)]
    #[schemars(with = "Option<String>")]
    before: Option<Spanned<String>>,
    /// Numbers that stand for a missing value.
    #[serde(default)]
    missing: Vec<f64>,
}

/// What a column is of.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub(super) struct ColumnMeaning {
    /// The column's head as it is spelled; either this or `number`.
    #[serde(default)]
    #[schemars(with = "Option<String>")]
    head: Option<Spanned<String>>,
    /// The column's place, from 1.
    #[serde(default)]
    #[schemars(with = "Option<usize>")]
    number: Option<Spanned<usize>>,
    /// The column is left out.
    #[serde(default)]
    ignore: bool,
    /// What it is of: `time`, `wavelength`, `absorbance`, … Whether it runs or was measured follows from that.
    #[serde(default)]
    #[schemars(with = "Option<String>")]
    quantity: Option<Spanned<String>>,
    /// In which unit: a UCUM code.
    #[serde(default)]
    #[schemars(with = "Option<String>")]
    unit: Option<Spanned<String>>,
    /// The sample it was measured on.
    #[serde(default)]
    sample: Option<String>,
    /// What stays the same along it, such as { wavelength = "535 nm" }.
    #[serde(default)]
    #[schemars(with = "BTreeMap<String, String>")]
    held: BTreeMap<String, Spanned<toml::Value>>,
}

/// Quantities that can be held, by the name of the field in which a number of them is understood.
const HELD: [(&str, &str); 5] = [
    ("wavelength", "wavelength"),
    ("time", "duration"),
    ("temperature", "temperature"),
    ("concentration", "concentration"),
    ("ph", "ph"),
];

impl TableDescription {
    pub(super) fn check(&self) -> Result<(), LayoutFault> {
        for (text, name) in [(&self.after, "after"), (&self.before, "before")] {
            if let Some(text) = text.as_ref().filter(|text| text.get_ref().trim().is_empty()) {
                return Err(LayoutFault::at(text, format!("`{name}` is empty")));
            }
        }
        Ok(())
    }
}

impl ColumnMeaning {
    /// What it tells the reader.
    pub(super) fn meaning(&self) -> Result<ColumnHint, LayoutFault> {
        let which = match (&self.head, &self.number) {
            (Some(head), None) => ColumnSelector::Head(head.get_ref().clone()),
            (None, Some(number)) if *number.get_ref() > 0 => ColumnSelector::Index(number.get_ref() - 1),
            (None, Some(number)) => return Err(LayoutFault::at(number, "columns are counted from 1")),
            (Some(head), Some(_)) => {
                return Err(LayoutFault::at(
                    head,
                    "a column has either `head` or `number`, and not both",
                ));
            }
            (None, None) => {
                return Err(LayoutFault {
                    span: self.quantity.as_ref().map(Spanned::span),
                    message: "a `[[column]]` needs `head` or `number`".to_owned(),
                });
            }
        };
        if self.ignore {
            return match &self.quantity {
                Some(quantity) => Err(LayoutFault::at(
                    quantity,
                    "a column that is ignored has no quantity",
                )),
                None => Ok(ColumnHint { which, meaning: None }),
            };
        }
        let place = || match (&self.head, &self.number) {
            (Some(head), _) => Some(head.span()),
            (None, number) => number.as_ref().map(Spanned::span),
        };
        let (Some(quantity), Some(code)) = (&self.quantity, &self.unit) else {
            return Err(LayoutFault {
                span: place(),
                message: "a column needs `quantity` and `unit`, or `ignore = true`".to_owned(),
            });
        };
        let unit = Unit::ucum(code.get_ref())
            .map_err(|_| LayoutFault::at(code, format!("`{}` is no UCUM unit", code.get_ref())))?;
        let quantity_told = Quantity::named(quantity.get_ref().as_str());
        if !crate::readers::text_table::unit_fits(&quantity_told, &unit) {
            let message = format!("`{}` cannot be in `{}`", quantity.get_ref(), code.get_ref());
            return Err(LayoutFault::at(code, message));
        }
        let mut held = Vec::new();
        for (name, value) in &self.held {
            held.push(held_at(name, value)?);
        }
        Ok(ColumnHint {
            which,
            meaning: Some(HintMeaning {
                quantity: quantity_told,
                unit,
                sample: self.sample.clone(),
                held,
            }),
        })
    }
}

fn held_at(name: &str, value: &Spanned<toml::Value>) -> Result<Coordinate, LayoutFault> {
    let Some((_, field)) = HELD.iter().find(|(quantity, _)| *quantity == name) else {
        let all: Vec<&str> = HELD.iter().map(|(quantity, _)| *quantity).collect();
        let message = format!("`{name}` cannot be held: expected {}", all.join(", "));
        return Err(LayoutFault::at(value, message));
    };
    check_field(field, value)?;
    let raw = raw_of(value.get_ref()).unwrap_or_default();
    let found = interpret(&Key::new(*field), &raw, None);
    match (found.value, found.unit) {
        (Value::Number(number), Some(unit)) => {
            let mut held = Coordinate::new(Quantity::named(name), unit, number);
            held.raw = Some(raw);
            Ok(held)
        }
        _ => Err(LayoutFault::at(value, format!("`{raw}` is no {name}"))),
    }
}

impl Layout {
    /// What the reader is told about the tables of a text.
    pub(super) fn hints(&self, text: &str) -> Result<Hints, Box<Diagnostic>> {
        let table = &self.description.table;
        let from = match &table.after {
            None => 0,
            Some(after) => match text.find(after.get_ref().as_str()) {
                Some(at) => text[at..].find(['\n', '\r']).map_or(text.len(), |end| at + end),
                None => {
                    let message = format!(
                        "no line contains `{}`, behind which the table stands",
                        after.get_ref()
                    );
                    let why = Diagnostic::error(code::NO_TABLE, message);
                    return Err(Box::new(
                        why.at(self.paper.place(after.span()), "the layout says so"),
                    ));
                }
            },
        };
        let to = match &table.before {
            None => None,
            Some(before) => match text[from..].find(before.get_ref().as_str()) {
                // The whole line is behind the table.
                Some(at) => Some(
                    text[..from + at]
                        .rfind(['\n', '\r'])
                        .map_or(0, |end| end + 1)
                        .max(from),
                ),
                None => {
                    let message = format!(
                        "no line contains `{}`, before which the table ends",
                        before.get_ref()
                    );
                    let why = Diagnostic::error(code::NO_TABLE, message);
                    return Err(Box::new(
                        why.at(self.paper.place(before.span()), "the layout says so"),
                    ));
                }
            },
        };
        Ok(Hints {
            from,
            to,
            missing: table.missing.clone(),
            columns: self
                .description
                .column
                .iter()
                .filter_map(|column| column.meaning().ok())
                .collect(),
        })
    }
}
