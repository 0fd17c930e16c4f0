//! One reading, or one trace, and how its absorbance is read.

use crate::study::StudyError;
use curvary_record::{KnownQuantity, Outcome, Quantity, Run, Trace, Unit};

use super::QuantifyPlan;
use super::record::{note, simple};
use crate::quantities::Measured;
use crate::refusal::Refusal;
use crate::spectra::{Axis, Chain, Ordinate, Spectrum, Step, absorbance_of, value_at};
use crate::study::spectrum::{References, spectrum_of, tell_log};
use crate::study::{stated, title};

/// One reading, or one trace, and what is asked of it.
pub(super) struct UnknownReading<'a> {
    pub(super) plan: &'a QuantifyPlan,
    pub(super) run: &'a Run,
    pub(super) trace: &'a Trace,
    pub(super) references: &'a References,
}

/// Whether a trace holds the dilutions of the readings beside it.
pub(super) fn is_dilution(trace: &Trace) -> bool {
    trace.y.quantity.known() == Some(KnownQuantity::Dilution)
}

impl UnknownReading<'_> {
    /// The absorbance that is quantified, blank taken off; it stands among the parameters.
    pub(super) fn absorbance(&self, outcome: &mut Outcome) -> Result<f64, StudyError> {
        let value = match self.plan.point {
            Some(point) => self.of_table(point)?,
            None => {
                let at = self.plan.at.ok_or_else(|| {
                    StudyError::unsuitable(
                        "the wavelength at which the spectrum is read is not said: --at 535nm",
                    )
                })?;
                let spectrum = self.spectrum(outcome)?;
                self.at(&spectrum, at, outcome)?
            }
        };
        let mut parameter = simple("absorbance", value, Some(Unit::ABSORBANCE));
        parameter.standard_error = self.plan.reading_error;
        outcome.parameters.push(parameter);
        Ok(value)
    }

    /// A reading out of a list.
    pub(super) fn of_table(&self, point: usize) -> Result<f64, StudyError> {
        let unsuitable = StudyError::unsuitable;
        let (trace, y) = (self.trace, &self.trace.y);
        if !self.plan.steps.is_empty() {
            return Err(unsuitable(
                "steps are for spectra, and these are single readings".into(),
            ));
        }
        let held = stated(self.run, Some(trace), "wavelength", &Unit::NANOMETRE);
        if let (Some(asked), Some(held)) = (self.plan.at, held)
            && (asked - held).abs() > 1e-6
        {
            return Err(unsuitable(format!("read at {held} nm, not at {asked} nm")));
        }
        if trace
            .saturated
            .contains(&u32::try_from(point).unwrap_or(u32::MAX))
        {
            return Err(StudyError::from(Refusal::AllSaturated {
                limit: self.plan.ceiling().unwrap_or(f64::INFINITY),
                count: 1,
            }));
        }
        let value = y
            .values
            .get(point)
            .copied()
            .ok_or_else(|| unsuitable("there is no such reading".into()))?;
        let wrong = || unsuitable(format!("the values are {}, not absorbance", title(y)));
        let absorbance = if y.quantity == Quantity::ABSORBANCE {
            y.unit.convert(value, &Unit::ABSORBANCE).map_err(|_| wrong())?
        } else if y.quantity == Quantity::TRANSMITTANCE {
            let fraction = y.unit.convert(value, &Unit::ONE).map_err(|_| wrong())?;
            absorbance_of(fraction)
                .ok_or_else(|| unsuitable(format!("a transmittance of {value} has no absorbance")))?
        } else {
            return Err(wrong());
        };
        self.plan.refuse_saturated(absorbance)?;
        Ok(absorbance - self.plan.blank_absorbance.unwrap_or(0.0))
    }

    /// The spectrum as recorded, in absorbance over nm.
    pub(super) fn spectrum(&self, outcome: &mut Outcome) -> Result<Spectrum, StudyError> {
        let (spectrum, marked) = spectrum_of(self.trace)?;
        let mut chain = Chain::default();
        if spectrum.ordinate != Ordinate::Absorbance {
            chain.steps.push(Step::Ordinate {
                to: Ordinate::Absorbance,
            });
        }
        if spectrum.axis != Axis::Nanometre {
            chain.steps.push(Step::Axis { to: Axis::Nanometre });
        }
        let done = chain.apply(&spectrum, |_| None)?;
        // Told once, however many wavelengths are read.
        if outcome.remarks.is_empty() {
            tell_log(&done.log, marked, outcome);
        }
        Ok(done.spectrum)
    }

    /// The spectrum after the steps.
    pub(super) fn after_steps(&self, spectrum: &Spectrum) -> Result<Spectrum, StudyError> {
        let chain = Chain {
            steps: self.plan.steps.clone(),
        };
        let done = chain.apply(spectrum, |name| self.references.get(name).cloned())?;
        let (axis, ordinate) = (done.spectrum.axis, done.spectrum.ordinate);
        if axis != Axis::Nanometre || ordinate != Ordinate::Absorbance {
            return Err(StudyError::unsuitable(format!(
                "after the steps there is {ordinate} over {axis}, not absorbance over nm"
            )));
        }
        Ok(done.spectrum)
    }

    /// The absorbance at a wavelength, after the steps; what was recorded there must be in the trusted range.
    pub(super) fn at(&self, recorded: &Spectrum, nm: f64, outcome: &mut Outcome) -> Result<f64, StudyError> {
        let (before, exact) = value_at(&recorded.curve, nm)?;
        self.plan.refuse_saturated(before)?;
        let spectrum = self.after_steps(recorded)?;
        let (value, _) = value_at(&spectrum.curve, nm)?;
        if !exact {
            outcome.remarks.push(note(
                "between-points",
                format!(
                    "no point lies at {nm} nm: the absorbance was taken on the line between its neighbours"
                ),
            ));
        }
        Ok(value)
    }

    /// The dilution, which is told where the sample was diluted: as said, or as the row has it, or as the run states it.
    pub(super) fn dilution(&self, outcome: &mut Outcome) -> Result<Measured, StudyError> {
        let said = self.plan.dilution;
        let of_row = if said.is_none() {
            self.dilution_of_row()?
        } else {
            None
        };
        let dilution = said
            .or(of_row)
            .or_else(|| stated(self.run, Some(self.trace), "dilution", &Unit::ONE))
            .unwrap_or(1.0);
        if dilution != 1.0 {
            outcome.remarks.push(note(
                "converted",
                format!("the sample was diluted: the concentration was multiplied by {dilution}"),
            ));
        }
        Ok(Measured {
            value: dilution,
            standard_error: self.plan.dilution_error,
        })
    }

    /// What a column of dilutions beside the readings says of this one; none where there is no such column.
    fn dilution_of_row(&self) -> Result<Option<f64>, StudyError> {
        let Some(at) = self.plan.point.and_then(|point| self.trace.x.values.get(point)) else {
            return Ok(None);
        };
        let unsuitable = StudyError::unsuitable;
        let mut columns = self.run.traces.iter().filter(|trace| is_dilution(trace));
        let Some(column) = columns.next() else {
            return Ok(None);
        };
        if columns.next().is_some() {
            return Err(unsuitable(
                "two columns hold dilutions, and nothing says which is meant: say it with --dilution".into(),
            ));
        }
        let place = column.x.values.iter().position(|x| x == at);
        let value = place.and_then(|place| column.y.values.get(place)).copied();
        match value {
            None => Err(unsuitable(
                "the column of dilutions says nothing in this row: fill it in (1: not diluted), or say it with --dilution".into(),
            )),
            Some(value) if value < 1.0 => Err(unsuitable(format!(
                "its dilution is {value}; expected is total over sample volume, 1 or more: write 10 for 1:10, or say it with --dilution"
            ))),
            value => Ok(value),
        }
    }

    /// Where the reading was taken, nm, if it is known.
    pub(super) fn wavelength(&self) -> Option<f64> {
        self.plan
            .at
            .or_else(|| stated(self.run, Some(self.trace), "wavelength", &Unit::NANOMETRE))
    }

    /// The path length that the run states for its trace, cm.
    pub(super) fn path_of_trace(&self) -> Option<f64> {
        stated(
            self.run,
            Some(self.trace),
            "path-length",
            Unit::ucum("cm").ok().as_ref()?,
        )
        .filter(|path| *path > 0.0)
    }

    pub(super) fn path(&self) -> Result<Measured, StudyError> {
        let centimetre = Unit::ucum("cm").ok();
        self.plan
            .path
            .or_else(|| {
                stated(self.run, Some(self.trace), "path-length", centimetre.as_ref()?).map(Measured::bare)
            })
            .ok_or_else(|| {
                StudyError::unsuitable(
                    "the path length is not known: say it with --path, or add it with `curvary note`",
                )
            })
    }

    /// Concentrations and absorbances of a table.
    pub(super) fn table(&self) -> Result<(Vec<f64>, Vec<f64>), StudyError> {
        if self.trace.x.quantity == Quantity::INDEX {
            return Err(StudyError::unsuitable(
                "these are readings without concentrations, no standards: name the standards with --standards, or put them into \
                      the same table",
            ));
        }
        if self.trace.x.quantity != Quantity::CONCENTRATION {
            return Err(StudyError::unsuitable(format!(
                "the run is no table of concentration against absorbance, but runs along {}",
                title(&self.trace.x)
            )));
        }
        let open = QuantifyPlan {
            // What lies beyond the trusted range is left out by the line and told there.
            trusted_absorbance: Some(f64::MAX),
            ..self.plan.clone()
        };
        let at = UnknownReading { plan: &open, ..*self };
        let marked = &self.trace.saturated;
        let kept: Vec<usize> = (0..self.trace.len())
            .filter(|point| !marked.iter().any(|at| *at as usize == *point))
            .collect();
        let y = kept
            .iter()
            .map(|point| at.of_table(*point))
            .collect::<Result<_, _>>()?;
        Ok((kept.iter().map(|point| self.trace.x.values[*point]).collect(), y))
    }
}
