//! The columns that tables usually have, so that all parts of one set have them.

use curvary_record::{Unit, ValueKind, known_fields};

use super::columns::canonical;
use super::{Part, Rows, Standing, Variable};

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
pub(super) fn usual(rows: Rows) -> Vec<(Variable, bool, Option<Unit>)> {
    let number = |name: &str, code: &str, part: Part, standing: Standing| {
        let unit = Unit::ucum(code).ok();
        let variable = Variable::Number {
            name: name.to_owned(),
            unit: unit.as_ref().map(canonical),
            part,
            standing,
        };
        (variable, unit)
    };
    let coordinates = || {
        COORDINATES.iter().map(|(name, code)| {
            let (variable, unit) = number(name, code, Part::Value(0), Standing::Condition);
            (variable, true, unit)
        })
    };
    let plain = |all: &[Variable]| -> Vec<(Variable, bool, Option<Unit>)> {
        all.iter()
            .map(|variable| (variable.clone(), false, None))
            .collect()
    };
    let mut all = plain(&[Variable::Run]);
    match rows {
        Rows::Tidy => {}
        Rows::Runs => {
            all.extend(plain(&[
                Variable::Sample,
                Variable::Technique,
                Variable::Question,
                Variable::Source,
                Variable::Digest,
                Variable::Reader,
            ]));
            for known in known_fields().iter().filter(|known| known.key != "sample") {
                match known.kind {
                    ValueKind::Text | ValueKind::Date | ValueKind::TimeOfDay => {
                        all.push((Variable::Words(known.key.to_owned()), false, None));
                    }
                    ValueKind::Number(code) => {
                        let (variable, unit) = number(known.key, code, Part::Value(0), Standing::Condition);
                        all.push((variable, false, unit));
                    }
                    ValueKind::Range(code) => {
                        for part in [Part::From, Part::To] {
                            let (variable, unit) = number(known.key, code, part, Standing::Condition);
                            all.push((variable, false, unit));
                        }
                    }
                }
            }
        }
        Rows::Curves => {
            all.extend(plain(&[
                Variable::Trace,
                Variable::Label,
                Variable::Absent,
                Variable::RunsOver,
                Variable::Measures,
                Variable::Count,
            ]));
            all.extend(coordinates());
        }
        Rows::Points => {
            all.extend(plain(&[
                Variable::Trace,
                Variable::Position,
                Variable::Point,
                Variable::Saturated,
            ]));
            all.extend(coordinates());
            all.extend(MEASURED.iter().map(|name| {
                let (variable, unit) = number(name, "1", Part::Value(0), Standing::Measured);
                (variable, false, unit)
            }));
        }
    }
    all
}
