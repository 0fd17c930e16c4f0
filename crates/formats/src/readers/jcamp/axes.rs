//! What the axes of a table are: what a person said, what our own writer said, what the unit labels say.

use curvary_jcamp_dx as dx;
use curvary_record::{Alternative, Code, KnownQuantity, Place, Quantity, Question, Technique, Unit, code};

use super::axis::{UnitMeaning, abscissa, is_of_other, ordinate, other_x, other_y, own_name, written};
use super::gathering::Gathering;
use super::ours::Ours;
use super::recognise::other_technique;
use super::told::{alternatives, labels, place_of};

/// What the axes of a block were understood to be.
pub(super) struct Axes {
    pub(super) x: (Quantity, Unit),
    pub(super) y: (Quantity, Unit),
    pub(super) x_name: Option<String>,
    pub(super) y_name: Option<String>,
    pub(super) questions: Vec<Question>,
    pub(super) because: Vec<String>,
    /// The technique, where the data type or the axis is of none that absorbs light.
    pub(super) other: Option<Technique>,
}

impl Gathering<'_> {
    /// The axes of a block's own tables.
    pub(super) fn axes(
        &mut self,
        block: &dx::Block,
        ours: &Ours,
        x_units: &str,
        y_units: &str,
        greatest: &dyn Fn() -> f64,
    ) -> Option<Axes> {
        let place = |label: &str| block.record(label).map(|record| place_of(&record.place));
        let x_place = place("XUNITS").or_else(|| place("UNITS"));
        let y_place = place("YUNITS").or_else(|| place("UNITS"));
        let mut axes = Axes {
            x: (Quantity::UNKNOWN, Unit::ONE),
            y: (Quantity::UNKNOWN, Unit::ONE),
            x_name: block
                .value("XLABEL")
                .map(str::to_owned)
                .filter(|name| !name.is_empty()),
            y_name: block
                .value("YLABEL")
                .map(str::to_owned)
                .filter(|name| !name.is_empty()),
            questions: Vec::new(),
            because: Vec::new(),
            other: None,
        };
        let data_type = block.value("DATA TYPE").unwrap_or("").trim();
        if ours.technique.is_none() {
            axes.other = other_technique(data_type);
        }
        let (mut meant_x, mut meant_y) = (abscissa(x_units), ordinate(y_units));
        if let Some(other) = &axes.other {
            (meant_x, meant_y) = (other_x(other.as_str(), x_units), other_y(y_units));
            axes.because
                .push(format!("DATA TYPE says `{data_type}`: kept under its own name"));
        }
        let settled = |about: &str| {
            let (quantity, unit) = self.source.assume().axis(about)?;
            let usual = match quantity.known() {
                Some(KnownQuantity::Wavelength) => Unit::NANOMETRE,
                Some(KnownQuantity::Wavenumber) => Unit::PER_CENTIMETRE,
                Some(KnownQuantity::Time) => Unit::SECOND,
                Some(KnownQuantity::Absorbance) => Unit::ABSORBANCE,
                _ => Unit::ONE,
            };
            Some((quantity, unit.unwrap_or(usual)))
        };
        // What our own writer said holds as long as nobody has changed the text that it wrote.
        let ours_x = ours
            .x
            .as_ref()
            .filter(|(quantity, unit)| written(quantity, unit) == x_units);
        let ours_y = ours
            .y
            .as_ref()
            .filter(|(quantity, unit)| written(quantity, unit) == y_units);
        match (ours_x, settled("x"), meant_x) {
            (_, Some(x), _) => {
                axes.because.push("a person said what the x axis is".to_owned());
                axes.x = x;
            }
            (Some(x), ..) => axes.x = x.clone(),
            (None, None, UnitMeaning::Sure(quantity, unit) | UnitMeaning::Own(quantity, unit)) => {
                axes.because
                    .push(format!("XUNITS says `{x_units}`: {quantity} in {unit}"));
                axes.x = (quantity, unit);
            }
            (None, None, UnitMeaning::Share(_) | UnitMeaning::Unknown) => {
                axes.questions.push(unknown_x(x_units, x_place));
            }
        }
        match (ours_y, settled("y"), meant_y) {
            (_, Some(y), _) => {
                axes.because.push("a person said what the y axis is".to_owned());
                axes.y = y;
            }
            (Some(y), ..) => axes.y = y.clone(),
            (None, None, UnitMeaning::Sure(quantity, unit)) => {
                axes.because.push(format!("YUNITS says `{y_units}`: {quantity}"));
                axes.y = (quantity, unit);
            }
            (None, None, UnitMeaning::Own(quantity, unit)) => {
                axes.because.push(format!(
                    "YUNITS says `{y_units}`, which is kept under its own name"
                ));
                axes.y = (quantity, unit);
            }
            // A share above a few percent over one cannot be a fraction; below, the standard's meaning holds.
            (None, None, UnitMeaning::Share(quantity))
                if greatest() <= 1.5 && !self.is_percent(y_units, f64::INFINITY) =>
            {
                axes.because.push(format!(
                    "YUNITS says `{y_units}` and no value is above 1.5: a fraction"
                ));
                axes.y = (quantity, Unit::ONE);
            }
            // A fraction of 20 would be 2000 percent. Values between that and one are percent where the same units reach
            // further in another block.
            (None, None, UnitMeaning::Share(quantity)) if self.is_percent(y_units, greatest()) => {
                axes.because.push(format!(
                    "YUNITS says `{y_units}` and values reach {} in this file: percent",
                    self.shares.get(y_units).copied().unwrap_or_default()
                ));
                axes.y = (quantity, Unit::PERCENT);
            }
            (None, None, UnitMeaning::Share(quantity)) => {
                axes.questions
                    .push(percent_or_fraction(&quantity, y_units, greatest(), y_place));
                axes.y = (quantity, Unit::PERCENT);
            }
            (None, None, UnitMeaning::Unknown) => axes.questions.push(unknown_y(y_units, y_place)),
        }
        if axes.other.is_none() && ours.technique.is_none() && is_of_other(&axes.x.0) {
            let name = if data_type.is_empty() { "other" } else { data_type };
            axes.other = Some(Technique::named(own_name(name)));
        }
        let open = |about: &str, ours: bool| !ours && settled(about).is_none();
        if open("x", ours_x.is_some()) {
            axes.questions
                .extend(stated_twice(block, "XUNITS", "x", &abscissa));
        }
        if open("y", ours_y.is_some()) {
            axes.questions
                .extend(stated_twice(block, "YUNITS", "y", &ordinate));
        }
        Some(axes)
    }
}

fn unknown_x(x_units: &str, place: Option<Place>) -> Question {
    Question {
        code: code::AXIS_UNKNOWN,
        message: if x_units.is_empty() {
            "XUNITS says nothing, so it is not known what the x axis is".to_owned()
        } else {
            format!("XUNITS says `{x_units}`, which is not known here")
        },
        readings: alternatives(&[
            ("x=wavelength:nm", "a wavelength in nanometres"),
            ("x=wavenumber:/cm", "a wavenumber in reciprocal centimetres"),
            ("x=time:s", "a time in seconds"),
        ]),
        labels: labels(place),
    }
}

fn unknown_y(y_units: &str, place: Option<Place>) -> Question {
    Question {
        code: Code::new("ordinate-unknown"),
        message: if y_units.is_empty() {
            "YUNITS says nothing, so it is not known what was measured".to_owned()
        } else {
            format!("YUNITS says `{y_units}`, which may mean absorbance or arbitrary units")
        },
        readings: alternatives(&[
            ("y=absorbance:{AU}", "absorbance"),
            ("y=transmittance:%", "transmittance in percent"),
            ("y=signal:1", "a signal in arbitrary units"),
        ]),
        labels: labels(place),
    }
}

/// Asks in which of the two a share is whose greatest value is above that of a fraction.
fn percent_or_fraction(quantity: &Quantity, y_units: &str, greatest: f64, place: Option<Place>) -> Question {
    Question {
        code: Code::new("percent-or-fraction"),
        message: format!(
            "YUNITS says `{y_units}`, which the standard means as a fraction, but values reach {greatest}"
        ),
        readings: vec![
            Alternative {
                assume: format!("y={quantity}:%"),
                says: format!("percent: the greatest value is {greatest} %"),
            },
            Alternative {
                assume: format!("y={quantity}:1"),
                says: format!("a fraction: the greatest value is {greatest}"),
            },
        ],
        labels: labels(place),
    }
}

impl Gathering<'_> {
    /// Whether a share with these units and this greatest value in its block is certainly in percent.
    fn is_percent(&self, units: &str, greatest: f64) -> bool {
        let in_file = self.shares.get(units).copied().unwrap_or(greatest);
        greatest > 1.5 && (20.0..=150.0).contains(&in_file)
    }
}

/// A question, if a label of units is stated more than once and means different things.
fn stated_twice(
    block: &dx::Block,
    label: &str,
    about: &str,
    meaning: &dyn Fn(&str) -> UnitMeaning,
) -> Option<Question> {
    let records: Vec<&dx::Record> = block
        .records
        .iter()
        .filter(|record| record.label == label)
        .collect();
    let mut meanings: Vec<UnitMeaning> = Vec::new();
    for record in &records {
        let meant = meaning(record.value.trim());
        if !meanings.contains(&meant) {
            meanings.push(meant);
        }
    }
    if meanings.len() < 2 {
        return None;
    }
    let reading = |quantity: &Quantity, unit: &Unit| Alternative {
        assume: format!("{about}={quantity}:{unit}"),
        says: format!("{quantity} in {unit}"),
    };
    Some(Question {
        code: Code::new("units-stated-twice"),
        message: format!("{label} is stated more than once, with different units"),
        readings: meanings
            .iter()
            .flat_map(|meant| match meant {
                UnitMeaning::Sure(quantity, unit) | UnitMeaning::Own(quantity, unit) => {
                    vec![reading(quantity, unit)]
                }
                UnitMeaning::Share(quantity) => {
                    vec![reading(quantity, &Unit::ONE), reading(quantity, &Unit::PERCENT)]
                }
                UnitMeaning::Unknown => Vec::new(),
            })
            .collect(),
        labels: labels(records.last().map(|record| place_of(&record.place))),
    })
}
