//! The columns that tables usually have, so that all parts of one set have them.

use curvary_record::{Unit, ValueKind, known_fields};

use super::columns::canonical;
use super::{CsvVariable, NumberPart, NumberRole, RowKind};

/// What runs along curves or is held along them, in its customary unit.
const COORDINATES: [(&str, &str); 8] = [
    ("wavelength", "nm"),
    ("wavenumber", "/cm"),
    ("energy", "eV"),
    ("time", "s"),
    ("temperature", "Cel"),
    ("ph", "[pH]"),
    ("concentration", "mol/L"),
    ("index", "1"),
];

/// What is measured.
const MEASURED: [&str; 3] = ["absorbance", "transmittance", "reflectance"];

/// The usual variables of a kind of table, whether they are coordinates, and their units.
pub(super) fn usual(rows: RowKind) -> Vec<(CsvVariable, bool, Option<Unit>)> {
    let number = |name: &str, code: &str, part: NumberPart, standing: NumberRole| {
        let unit = Unit::ucum(code).ok();
        let variable = CsvVariable::Number {
            name: name.to_owned(),
            unit: unit.as_ref().map(canonical),
            part,
            standing,
        };
        (variable, unit)
    };
    let coordinates = || {
        COORDINATES.iter().map(|(name, code)| {
            let (variable, unit) = number(name, code, NumberPart::Value(0), NumberRole::Condition);
            (variable, true, unit)
        })
    };
    let plain = |all: &[CsvVariable]| -> Vec<(CsvVariable, bool, Option<Unit>)> {
        all.iter()
            .map(|variable| (variable.clone(), false, None))
            .collect()
    };
    let mut all = plain(&[CsvVariable::Run]);
    match rows {
        RowKind::Tidy => {}
        RowKind::Runs => {
            all.extend(plain(&[
                CsvVariable::Sample,
                CsvVariable::Technique,
                CsvVariable::Question,
                CsvVariable::Source,
                CsvVariable::Digest,
                CsvVariable::Reader,
            ]));
            for known in known_fields().iter().filter(|known| known.key != "sample") {
                match known.kind {
                    ValueKind::Text | ValueKind::Date | ValueKind::TimeOfDay => {
                        all.push((CsvVariable::Words(known.key.to_owned()), false, None));
                    }
                    ValueKind::Number(code) => {
                        let (variable, unit) =
                            number(known.key, code, NumberPart::Value(0), NumberRole::Condition);
                        all.push((variable, false, unit));
                    }
                    ValueKind::Range(code) => {
                        for part in [NumberPart::From, NumberPart::To] {
                            let (variable, unit) = number(known.key, code, part, NumberRole::Condition);
                            all.push((variable, false, unit));
                        }
                    }
                }
            }
        }
        RowKind::Curves => {
            all.extend(plain(&[
                CsvVariable::Trace,
                CsvVariable::Label,
                CsvVariable::Absent,
                CsvVariable::RunsOver,
                CsvVariable::Measures,
                CsvVariable::Count,
            ]));
            all.extend(coordinates());
        }
        RowKind::Points => {
            all.extend(plain(&[
                CsvVariable::Trace,
                CsvVariable::Position,
                CsvVariable::Point,
                CsvVariable::Saturated,
            ]));
            all.extend(coordinates());
            all.extend(MEASURED.iter().map(|name| {
                let (variable, unit) = number(name, "1", NumberPart::Value(0), NumberRole::Measured);
                (variable, false, unit)
            }));
        }
    }
    all
}
