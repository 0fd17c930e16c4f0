//! The private labels of our own writer: what the standard has no place for.

use curvary_jcamp_dx::{self as dx, normalise_label};
use curvary_record::{Code, Coordinate, Label, Place, Quantity, Question, Technique, Unit};

use super::told::place_of;

/// The private labels of our own writer begin so, in the form in which labels are compared.
pub(crate) const OURS: &str = "$CURVARY";

/// What our own writer said in its private labels.
#[derive(Default)]
pub(super) struct Ours {
    /// The run's name; without it a block is not our own.
    pub(super) run: Option<String>,
    /// Which of the run's curves this is, from 1, when each stands in a block of its own.
    pub(super) curve: Option<u32>,
    pub(super) technique: Option<Technique>,
    pub(super) label: Option<String>,
    /// The labels of the scans of NTUPLES, in order.
    pub(super) labels: Vec<Option<String>>,
    /// What the axes and the page variable are, where their unit texts do not say it all.
    pub(super) x: Option<(Quantity, Unit)>,
    pub(super) y: Option<(Quantity, Unit)>,
    pub(super) page: Option<(Quantity, Unit)>,
    pub(super) held: Vec<Coordinate>,
    pub(super) fields: Vec<(String, String, Place)>,
    pub(super) trace_fields: Vec<(String, String, Place)>,
    /// Labels whose texts were made for other readers.
    pub(super) made: Vec<String>,
    pub(super) saturated: Vec<u32>,
    pub(super) absent: u32,
    pub(super) questions: Vec<Question>,
}

impl Ours {
    pub(super) fn of(block: &dx::Block) -> Self {
        let mut ours = Self::default();
        for record in &block.records {
            let Some(name) = record.label.strip_prefix(OURS) else {
                continue;
            };
            let value = record.value.replace('\n', " ");
            let value = value.trim();
            let place = place_of(&record.place);
            match name.trim_end_matches(|c: char| c.is_ascii_digit()) {
                "CURVE" => ours.curve = value.split(' ').next().and_then(|n| n.parse().ok()),
                "RUN" => ours.run = Some(value.to_owned()),
                "TECHNIQUE" => ours.technique = Some(technique(value)),
                "LABEL" => ours.label = unquoted(value),
                "SCANLABEL" => ours.labels.push(unquoted(value)),
                "X" => ours.x = quantity_and_unit(value),
                "Y" => ours.y = quantity_and_unit(value),
                "PAGE" => ours.page = quantity_and_unit(value),
                "HELD" => ours.held.extend(coordinate(value, place.line)),
                "FIELD" => ours.fields.extend(key_and_text(value, place)),
                "TRACEFIELD" => ours.trace_fields.extend(key_and_text(value, place)),
                "MADE" => ours.made = value.split(',').map(normalise_label).collect(),
                "SATURATED" => {
                    ours.saturated = value.split(',').filter_map(|n| n.trim().parse().ok()).collect()
                }
                "ABSENT" => ours.absent = value.parse().unwrap_or(0),
                "QUESTION" => {
                    let (code, message) = value.split_once(':').unwrap_or((value, ""));
                    ours.questions.push(Question {
                        code: Code::named(code.trim()),
                        message: message.trim().to_owned(),
                        readings: Vec::new(),
                        labels: vec![Label {
                            place,
                            text: String::new(),
                        }],
                    });
                }
                _ => {}
            }
        }
        ours
    }
}

fn technique(name: &str) -> Technique {
    Technique::ALL
        .into_iter()
        .find(|technique| technique.as_str() == name)
        .unwrap_or_else(|| Technique::named(name))
}

/// `wavelength, nm`
fn quantity_and_unit(text: &str) -> Option<(Quantity, Unit)> {
    let (quantity, code) = text.rsplit_once(',')?;
    let unit = Unit::ucum(code.trim()).ok()?;
    Some((Quantity::named(quantity.trim()), unit))
}

/// `wavelength, 405.0, nm`
fn coordinate(text: &str, line: u32) -> Option<Coordinate> {
    let (rest, code) = text.rsplit_once(',')?;
    let (quantity, number) = rest.rsplit_once(',')?;
    let value = number
        .trim()
        .parse()
        .ok()
        .filter(|value: &f64| value.is_finite())?;
    Some(Coordinate {
        raw: Some(number.trim().to_owned()),
        line: Some(line),
        ..Coordinate::new(
            Quantity::named(quantity.trim()),
            Unit::ucum(code.trim()).ok()?,
            value,
        )
    })
}

/// A JSON string, so that every text comes back as it was.
fn unquoted(text: &str) -> Option<String> {
    serde_json::from_str(text).ok()
}

/// `"key" = text`
fn key_and_text(text: &str, place: Place) -> Option<(String, String, Place)> {
    let (key, text) = text.split_once("\" = ")?;
    Some((unquoted(&format!("{key}\""))?, text.to_owned(), place))
}
