//! How columns are ordered, named and described.

use std::collections::BTreeSet;

use curvary_record::{Unit, ValueKind, known_field};

use super::unit_form::form;
use super::{CsvVariable, NumberPart, NumberRole, VariableSurvey};
use crate::readers::tidy_csv::{PARTING, UNITLESS, named_with_unit, reads_as_number};
use crate::writers::table_schema::{ColumnType, TableField};

impl CsvVariable {
    pub(super) const RUN: &'static Self = &Self::Run;
    pub(super) const TRACE: &'static Self = &Self::Trace;
    pub(super) const TECHNIQUE: &'static Self = &Self::Technique;

    fn standing(&self) -> Option<NumberRole> {
        match self {
            Self::Number { standing, .. } => Some(*standing),
            Self::Words(key) if known_field(key).is_none() => Some(NumberRole::Own),
            _ => None,
        }
    }
}

/// Names of columns that mean something to every table, so that no field of a source may bear them.
pub(crate) const RESERVED: [&str; 16] = [
    "run",
    "trace",
    "sample",
    "technique",
    "label",
    "point",
    "absent",
    "question",
    "source",
    "saturated",
    "source_digest",
    "reader",
    "runs_over",
    "measures",
    "position",
    "points",
];

/// What is measured keeps its name for itself also in a table in which nothing of the kind was: tables of several exports are
/// put together by the names of their columns.
const MEASURED: [&str; 3] = ["absorbance", "transmittance", "reflectance"];

/// The heads of columns, in the order given. What was measured and what is known by its name keep the plain name; a
/// field of the source's own that would bear the same is `field_…`, and a measured quantity that is a condition too
/// `measured_…`.
pub(super) fn heads(found: &[(&CsvVariable, &VariableSurvey)]) -> Vec<String> {
    let mut heads = vec![String::new(); found.len()];
    let mut order: Vec<usize> = (0..found.len()).collect();
    let turn = |at: usize| match found[at].0.standing() {
        None | Some(NumberRole::Condition) => 0,
        Some(NumberRole::Measured) => 1,
        Some(NumberRole::Own) => 2,
    };
    order.sort_by_key(|&at| (turn(at), at));
    let plain_names: BTreeSet<String> = found.iter().map(|(variable, _)| plain_name(variable)).collect();
    // A field `lamp 2` beside another, `lamp`, is not the second of its name.
    let like_counted = |plain: &str| {
        plain.rsplit_once('_').is_some_and(|(front, count)| {
            count.parse::<u32>().is_ok_and(|count| count >= 2) && plain_names.contains(front)
        })
    };
    for at in order {
        let variable = found[at].0;
        let taken = |head: &str| heads.iter().any(|other| other.eq_ignore_ascii_case(head));
        let mut plain = plain_name(variable);
        let own = variable.standing() == Some(NumberRole::Own);
        let reserved = RESERVED.contains(&plain.as_str()) || MEASURED.contains(&plain.as_str());
        let known = || known_field(&plain.replace('_', "-")).is_some();
        if own && (reserved || known() || like_counted(&plain)) || taken(&plain) {
            match variable.standing() {
                Some(NumberRole::Own) => plain = format!("field_{plain}"),
                Some(NumberRole::Measured) => plain = format!("measured_{plain}"),
                _ => {}
            }
        }
        let mut head = plain.clone();
        let mut count = 2;
        while taken(&head) {
            head = format!("{plain}_{count}");
            count += 1;
        }
        heads[at] = head;
    }
    heads
}

/// The code by which columns are told apart: all pure numbers, annotated or not, are of one unit.
pub(super) fn canonical(unit: &Unit) -> String {
    let code = unit.code();
    if is_pure(code) { "1" } else { code }.to_owned()
}

/// Whether a code is `1` or a mere annotation, which UCUM defines as one.
fn is_pure(code: &str) -> bool {
    code == "1" || (code.starts_with('{') && code.find('}') == Some(code.len() - 1))
}

/// Coordinates and conditions in the order in which people look for them.
const FAMILIAR: [&str; 13] = [
    "wavelength",
    "wavenumber",
    "energy",
    "time",
    "cycle",
    "temperature",
    "ph",
    "concentration",
    "substrate-concentration",
    "inhibitor-concentration",
    "enzyme-concentration",
    "path-length",
    "index",
];

pub(super) fn rank(variable: &CsvVariable, seen: &VariableSurvey) -> (u8, usize) {
    let familiar = |name: &str| FAMILIAR.iter().position(|f| *f == name).unwrap_or(FAMILIAR.len());
    match variable {
        CsvVariable::Run => (0, 0),
        CsvVariable::Trace => (1, 0),
        CsvVariable::Sample => (2, 0),
        CsvVariable::Technique => (3, 0),
        CsvVariable::Number {
            standing: NumberRole::Measured,
            ..
        } => (12, 0),
        CsvVariable::Number { name, .. } if seen.coordinate => (4, familiar(name)),
        CsvVariable::Number { name, .. } if known_field(name).is_some() => (5, familiar(name)),
        CsvVariable::Words(key) if known_field(key).is_some() => (6, 0),
        CsvVariable::Number { .. } | CsvVariable::Words(_) => (7, 0),
        CsvVariable::Label | CsvVariable::Point | CsvVariable::Absent => (8, 0),
        CsvVariable::Question => (9, 0),
        CsvVariable::Source => (10, 0),
        CsvVariable::Saturated => (13, 0),
        CsvVariable::RunsOver | CsvVariable::Measures => (3, 1),
        CsvVariable::Position => (3, 2),
        CsvVariable::Count => (8, 1),
        CsvVariable::Digest | CsvVariable::Reader => (11, 0),
    }
}

/// The head of a column, before equal heads are told apart.
pub(super) fn plain_name(variable: &CsvVariable) -> String {
    match variable {
        CsvVariable::Run => "run".into(),
        CsvVariable::Trace => "trace".into(),
        CsvVariable::Sample => "sample".into(),
        CsvVariable::Technique => "technique".into(),
        CsvVariable::Label => "label".into(),
        CsvVariable::Point => "point".into(),
        CsvVariable::Question => "question".into(),
        CsvVariable::Source => "source".into(),
        CsvVariable::Saturated => "saturated".into(),
        CsvVariable::Absent => "absent".into(),
        CsvVariable::Digest => "source_digest".into(),
        CsvVariable::Reader => "reader".into(),
        CsvVariable::RunsOver => "runs_over".into(),
        CsvVariable::Measures => "measures".into(),
        CsvVariable::Count => "points".into(),
        CsvVariable::Position => "position".into(),
        CsvVariable::Words(key) => match known_field(key).map(|known| known.kind) {
            Some(ValueKind::TimeOfDay) => "time_of_day".into(),
            // A number that some source wrote in words must not share a column with the numbers.
            Some(ValueKind::Number(_) | ValueKind::Range(_)) => format!("{}_text", slug(key)),
            // The same holds for words under a name that ends like a unit.
            None if known_field(&slug(key).replace('_', "-")).is_none() && reads_as_number(&slug(key)) => {
                format!("{}_text", slug(key))
            }
            _ => slug(key),
        },
        CsvVariable::Number {
            name,
            unit,
            part,
            standing,
        } => {
            let none = unit.is_none();
            let unit = unit.as_deref().and_then(|code| Unit::ucum(code).ok());
            let unit = unit.as_ref().map(form).unwrap_or_default();
            let mut head = match part {
                NumberPart::Stated => format!("stated_{}", slug(name)),
                NumberPart::From => format!("{}_from", slug(name)),
                NumberPart::To => format!("{}_to", slug(name)),
                NumberPart::PlusMinus => format!("{}_plus_minus", slug(name)),
                NumberPart::Value(_) => slug(name),
            };
            let bare = head.clone();
            if !unit.is_empty() {
                head.push('_');
                head.push_str(&unit);
            }
            // Behind a source's own word the unit is parted more strongly where it would be read as another.
            let (key, read) = named_with_unit(&head, *standing == NumberRole::Measured);
            let read = read.as_ref().map(form).unwrap_or_default();
            if *standing == NumberRole::Own && unit.is_empty() && matches!(part, NumberPart::Value(_)) {
                // The plain name is that of words, whatever else is in the table.
                let kind = if none { UNITLESS } else { "1" };
                head = format!("{bare}{PARTING}{kind}");
            } else if known_field(name).is_none() && (key != bare.replace('_', "-") || read != unit) {
                let unit = if unit.is_empty() { "1" } else { &unit };
                head = format!("{bare}{PARTING}{unit}");
            }
            head
        }
    }
}

/// A name of letters, digits and underscores, in lower case.
fn slug(name: &str) -> String {
    let mut slug = String::with_capacity(name.len());
    for c in name.chars() {
        if c.is_alphanumeric() {
            slug.extend(c.to_lowercase());
        } else if !slug.is_empty() && !slug.ends_with('_') {
            slug.push('_');
        }
    }
    let slug = slug.trim_end_matches('_');
    match slug {
        "" if name.contains('±') => "plus_minus",
        "" => "field",
        slug => slug,
    }
    .to_owned()
}

pub(super) fn describe(variable: &CsvVariable, seen: &VariableSurvey, head: String) -> TableField {
    let (kind, description, title) = match variable {
        CsvVariable::Run => (
            ColumnType::String,
            "The run, by its name; one that reads as a number has `run-` in front.".into(),
            None,
        ),
        CsvVariable::Absent => (
            ColumnType::Integer,
            "How many points of the curve stood in its source and have no row, since no number could be read there: \
             marked as over range, or damaged."
                .into(),
            None,
        ),
        CsvVariable::Trace => (
            ColumnType::Integer,
            "The curve within its run, from 0.".into(),
            None,
        ),
        CsvVariable::Digest => (
            ColumnType::String,
            "The SHA-256 digest of the file the run was read from.".into(),
            None,
        ),
        CsvVariable::Reader => (
            ColumnType::String,
            "What read the file, by its name.".into(),
            None,
        ),
        CsvVariable::RunsOver => (
            ColumnType::String,
            "The quantity that runs along the curve.".into(),
            None,
        ),
        CsvVariable::Measures => (ColumnType::String, "The quantity that was measured.".into(), None),
        CsvVariable::Count => (
            ColumnType::Integer,
            "How many points the curve has.".into(),
            None,
        ),
        CsvVariable::Position => (
            ColumnType::Integer,
            "The point within its curve, from 0.".into(),
            None,
        ),
        CsvVariable::Sample => (ColumnType::String, "Name of the sample.".into(), None),
        CsvVariable::Technique => (
            ColumnType::String,
            "What kind of measurement the run is.".into(),
            None,
        ),
        CsvVariable::Label => (
            ColumnType::String,
            "The name the curve had in its source.".into(),
            None,
        ),
        CsvVariable::Point => (
            ColumnType::String,
            "The name the point had in its source.".into(),
            None,
        ),
        CsvVariable::Question => (
            ColumnType::String,
            "What a person must decide before the run is used; do not rely on a row with a question.".into(),
            None,
        ),
        CsvVariable::Source => (ColumnType::String, "The file the run was read from.".into(), None),
        CsvVariable::Saturated => (
            ColumnType::Boolean,
            "True where the point lies beyond the range of the instrument.".into(),
            None,
        ),
        CsvVariable::Words(key) => match known_field(key) {
            Some(known) if known.kind == ValueKind::Date => {
                (ColumnType::Date, known.about.to_owned(), Some(key))
            }
            None if key.as_str() == DATE_IN_WORDS => (
                ColumnType::String,
                "Day of the measurement as its source says it, where that is no day of the calendar.".to_owned(),
                Some(key),
            ),
            Some(known) => (ColumnType::String, known.about.to_owned(), Some(key)),
            None => (ColumnType::String, own_spelling(key), Some(key)),
        },
        CsvVariable::Number { name, part, unit, .. } => {
            let mut about = quantity_about(name);
            match part {
                NumberPart::Value(0) => {}
                NumberPart::Value(nth) => about.push_str(&format!(" The curve's number {} of this kind.", nth + 1)),
                NumberPart::PlusMinus => about.push_str(" The uncertainty that stood beside the value."),
                NumberPart::From => about.push_str(" The first value."),
                NumberPart::To => about.push_str(" The last value."),
                NumberPart::Stated => {
                    about.push_str(" As stated for the whole run, where the curve has values of its own.");
                }
            }
            if unit.is_none() {
                about.push_str(" No unit was stated.");
            }
            (ColumnType::Number, about, Some(name))
        }
    };
    let mut description: String = description;
    if seen.guarded {
        description.push_str(
            " An apostrophe stands before texts that a spreadsheet would run as a formula; it is not part of the text.",
        );
    }
    TableField {
        name: head,
        kind,
        title: title.cloned(),
        description,
        unit: seen.unit.as_ref().map(|unit| unit.code().to_owned()),
    }
}

/// What a source says of the day that is no day has a column of its own, so that the other holds days alone.
pub(super) const DATE_IN_WORDS: &str = "date-text";

fn quantity_about(name: &str) -> String {
    let about = match name {
        "wavelength" => "Wavelength of the light.",
        "wavenumber" => "Wavenumber of the light.",
        "energy" => "Photon energy.",
        "time" => "Time since the start of the run.",
        "absorbance" => "Decadic absorbance.",
        "transmittance" => "Transmittance.",
        "reflectance" => "Reflectance.",
        "rate" => "Rate of the reaction.",
        "index" => "Number of the row.",
        "unknown" => "What it is was not stated.",
        _ => match known_field(name) {
            Some(known) => known.about,
            None => return own_spelling(name),
        },
    };
    about.to_owned()
}

fn own_spelling(key: &str) -> String {
    format!("Kept under its source's own spelling, `{key}`.")
}
