//! From absorbances to quantities, one way after another.

use curvary_record::{
    Code, Diagnostic, Interval as KeptInterval, Outcome, Parameter, Quantity, Trace, Unit, code,
};

use super::reading::{UnknownReading, is_dilution};
use super::record::{
    limit, measured, note, remarks, simple, slug, statistics, statistics_of_bent, tell_bent, tell_line,
};
use super::standards::{Standards, differs};
use super::{LineForm, QuantifyPlan, ReferenceSpectrum};
use crate::models::grid::{even, sampled};
use crate::quantities::{
    BentCalibration, Calibration, CalibrationOptions, Component, Measured, MixtureOptions, NucleicAcidKind,
    NucleicAcidReadings, Readings, Remark, StandardPoint, Target, concentration, mixture, nucleic_acid,
    protein, standard_addition,
};
use crate::refusal::Refusal;
use crate::spectra::{Spectrum, value_at};
use crate::study::StudyError;
use crate::study::fit::{Recorded, errors_in, stands_for_errors};
use crate::study::{CheckedStandard, PlotData, STEPS, allow_for_factor, label_of, stated};

impl UnknownReading<'_> {
    /// A reading as it would be among the standards; that it was turned is told.
    pub(super) fn among(
        &self,
        standards: &Standards,
        absorbance: f64,
        outcome: &mut Outcome,
    ) -> Result<f64, StudyError> {
        let path = self
            .plan
            .path
            .map(|path| path.value)
            .or_else(|| self.path_of_trace());
        let (absorbance, said) = standards.as_among_them(absorbance, path, self.wavelength())?;
        if let Some(words) = said
            && !outcome.remarks.iter().any(|remark| remark.message == words)
        {
            outcome
                .remarks
                .push(Diagnostic::warning(Code::new("converted"), words));
        }
        Ok(absorbance)
    }

    pub(super) fn beer_lambert(&self, outcome: &mut Outcome) -> Result<(), StudyError> {
        let unit = Unit::ucum("L/mol/cm").ok();
        let coefficient = self
            .plan
            .coefficient
            .or_else(|| {
                let key = "molar-absorption-coefficient";
                stated(self.run, Some(self.trace), key, unit.as_ref()?).map(Measured::bare)
            })
            .ok_or_else(|| {
                StudyError::unsuitable("the molar absorption coefficient is not known: say it with --coefficient, or add it with `curvary note`")
            })?;
        let path = self.path()?;
        let absorbance = self.absorbance(outcome)?;
        let found = concentration(&Readings {
            absorbance: Measured {
                value: absorbance,
                standard_error: self.plan.reading_error,
            },
            absorption_coefficient: coefficient,
            path_cm: path,
            dilution: self.dilution(outcome)?,
            ceiling: None,
        })?;
        let mut parameter = simple("concentration", found.value, Some(Unit::MOLE_PER_LITRE));
        parameter.standard_error = found.standard_error;
        outcome.parameters.insert(0, parameter);
        outcome
            .statistics
            .insert("mol_per_litre_per_absorbance".into(), found.factor);
        outcome.remarks.push(note("converted", found.formula));
        remarks(&found.remarks, outcome);
        outcome.termination = "computed".into();
        Ok(())
    }

    pub(super) fn line(&self, outcome: &mut Outcome, drawn: &mut PlotData) -> Result<(), StudyError> {
        let (x, y) = self.table()?;
        self.say_of_diluted_standards(outcome);
        let unit = &self.trace.x.unit;
        let decimals = self.trace.y.decimals.max();
        let step = decimals
            .filter(|_| self.trace.y.quantity == Quantity::ABSORBANCE)
            .map(|decimals| 10f64.powi(-i32::from(decimals)));
        let line = CalibrationLine::fit(self.plan, &x, &y, step)?;
        match &line {
            CalibrationLine::Straight(line) => tell_line(line, self.plan, unit, outcome),
            CalibrationLine::Bent(line) => tell_bent(line, self.plan, unit, outcome),
        }
        *drawn = line.drawn(unit, (&x, &y), None);
        self.draw_errors(drawn);
        drawn.recovered = line.recovered(self.plan.level);
        outcome.termination = "computed".into();
        Ok(())
    }

    /// The concentrations of standards are taken as they stand, whatever is written of their dilution.
    fn say_of_diluted_standards(&self, outcome: &mut Outcome) {
        let mut columns = self.run.traces.iter().filter(|trace| is_dilution(trace));
        if columns.any(|column| column.y.values.iter().any(|value| *value != 1.0)) {
            outcome.remarks.push(Diagnostic::warning(
                Code::new("quantity-remark"),
                "standards have a dilution written beside them: their concentrations are taken as those in the cell",
            ));
        }
    }

    pub(super) fn standard_addition(
        &self,
        outcome: &mut Outcome,
        drawn: &mut PlotData,
    ) -> Result<(), StudyError> {
        let (x, y) = self.table()?;
        let plan = self.plan;
        if plan.line_form != LineForm::Straight {
            return Err(StudyError::unsuitable(
                "standard addition runs down to where the absorbance is zero, and a bent line must not be extrapolated so far; \
                      take fewer or smaller additions, where the line is straight",
            ));
        }
        let dilution = self.dilution(outcome)?;
        let found = standard_addition(&x, &y, &plan.line(), dilution.value, plan.level)?;
        let unit = &self.trace.x.unit;
        let mut parameter = simple("concentration", found.value, Some(unit.clone()));
        parameter.standard_error = Some(found.standard_error);
        limit(&mut parameter, found.limits, found.level);
        allow_for_dilution(&mut parameter, dilution);
        outcome.parameters.push(parameter);
        statistics(&found.line, outcome);
        remarks(&found.remarks, outcome);
        // Down to the intercept with the axis, which is what was sought.
        let line = CalibrationLine::Straight(found.line);
        let zero = (-found.value / dilution.value, 0.0);
        *drawn = line.drawn(unit, (&x, &y), Some((zero, "the sample")));
        self.draw_errors(drawn);
        outcome.termination = "computed".into();
        Ok(())
    }

    /// The errors that a column beside the standards states of them, for the picture alone: the line does not count by them. Where several
    /// columns do, or one is not understood, none are drawn.
    fn draw_errors(&self, drawn: &mut PlotData) {
        let (beside, values): (Vec<&Trace>, Vec<&Trace>) = self
            .run
            .traces
            .iter()
            .filter(|other| !is_dilution(other))
            .partition(|other| stands_for_errors(&label_of(other)));
        let ([errors], [own]) = (beside.as_slice(), values.as_slice()) else {
            return;
        };
        let is_plain = self.trace.y.quantity == Quantity::ABSORBANCE;
        if !is_plain || !std::ptr::eq(*own, self.trace) || errors.x.values != self.trace.x.values {
            return;
        }
        let Ok(stated) = errors_in(errors, &Recorded::of(&self.trace.y), &self.trace.y) else {
            return;
        };
        // What is marked as saturated is no standard.
        let kept: Vec<(f64, f64)> = (0..self.trace.len())
            .filter(|point| !self.trace.saturated.iter().any(|at| *at as usize == *point))
            .map(|point| (self.trace.y.values[point], stated[point]))
            .collect();
        drawn.bars = drawn
            .used
            .iter()
            .filter_map(|i| Some((*drawn.x.get(*i)?, *drawn.y.get(*i)?, *kept.get(*i)?)))
            // Of what is drawn as it was read.
            .filter(|(_, y, (read, error))| y == read && *error > 0.0 && error.is_finite())
            .map(|(x, y, (_, error))| (x, y - error, y + error))
            .collect();
        drawn.bars_label = Some(label_of(errors));
    }

    pub(super) fn mixture(
        &self,
        components: &[ReferenceSpectrum],
        outcome: &mut Outcome,
        drawn: &mut PlotData,
    ) -> Result<(), StudyError> {
        let recorded = self.spectrum(outcome)?;
        // Points beyond the trusted range are left out before a blank can bring them back into it.
        let kept = match self.plan.ceiling() {
            Some(limit) => recorded.curve.leave_out(|_, y| y > limit).map_err(|_| {
                StudyError::from(Refusal::AllSaturated {
                    limit,
                    count: recorded.curve.len(),
                })
            })?,
            None => recorded.curve.clone(),
        };
        let lost = recorded.curve.len() - kept.len();
        if lost > 0 {
            outcome.remarks.push(Diagnostic::warning(
                code::POINTS_LEFT_OUT,
                format!("{lost} points beyond the trusted range were left out"),
            ));
        }
        let spectrum = self.after_steps(&Spectrum {
            curve: kept,
            ..recorded
        })?;
        let (x, y) = (spectrum.curve.x(), spectrum.curve.y());
        let own_path = self
            .plan
            .path
            .map(|path| path.value)
            .or_else(|| self.path_of_trace());
        let (all, turned) = self.absorptivities(components, x, own_path)?;
        let options = MixtureOptions {
            with_offset: self.plan.with_offset,
            level: self.plan.level,
            ceiling: None,
            weights: None,
        };
        let found = mixture(y, &all, &options)?;
        let dilution = self.dilution(outcome)?;
        for (component, of) in found.components.iter().zip(components) {
            let name = format!("concentration-{}", slug(&component.name));
            let mut parameter = simple(&name, component.value * dilution.value, Some(of.unit.clone()));
            parameter.standard_error = Some(component.standard_error * dilution.value);
            parameter.intervals.push(KeptInterval {
                level: found.level,
                low: Some(component.interval[0] * dilution.value),
                high: Some(component.interval[1] * dilution.value),
                kind: "t".into(),
                ..KeptInterval::default()
            });
            allow_for_dilution(&mut parameter, dilution);
            outcome.parameters.push(parameter);
            outcome
                .statistics
                .insert(format!("error_inflation {}", component.name), component.inflation);
        }
        if let Some(offset) = found.offset {
            let mut parameter = simple("offset", offset.value, Some(Unit::ABSORBANCE));
            parameter.standard_error = offset.standard_error;
            outcome.parameters.push(parameter);
        }
        outcome
            .statistics
            .insert("points".into(), found.used.len() as f64);
        outcome
            .statistics
            .insert("degrees_of_freedom".into(), found.degrees_of_freedom as f64);
        outcome
            .statistics
            .insert("residual_standard_deviation".into(), found.residual_sd);
        outcome
            .statistics
            .insert("neighbour_correlation".into(), found.neighbour_correlation);
        remarks(&found.remarks, outcome);
        tell_paths(own_path, components, &turned, outcome);
        *drawn = PlotData {
            x_title: "wavelength / nm".into(),
            y_title: "absorbance / AU".into(),
            x: x.to_vec(),
            y: y.to_vec(),
            fitted: found
                .used
                .iter()
                .zip(&found.residuals)
                .map(|(i, r)| y[*i] - r)
                .collect(),
            residuals: found.residuals,
            curve: None,
            used: found.used,
            ..PlotData::default()
        };
        outcome.termination = "computed".into();
        Ok(())
    }

    /// What one unit of each component absorbs at the places of the sample, through the cell of the sample where both paths are known; and
    /// the components that were turned to that path.
    fn absorptivities(
        &self,
        components: &[ReferenceSpectrum],
        x: &[f64],
        own_path: Option<f64>,
    ) -> Result<(Vec<Component>, Vec<String>), StudyError> {
        let mut all = Vec::new();
        let mut turned = Vec::new();
        for component in components {
            let ratio = match (own_path, component.path) {
                (Some(own), Some(path)) if differs(own, path) => {
                    turned.push(format!("{} ({path} cm)", component.name));
                    own / path
                }
                _ => 1.0,
            };
            let known = self.references.get(component.run.as_str()).ok_or_else(|| {
                StudyError::unsuitable(format!("the reference spectrum {} is not at hand", component.run))
            })?;
            let fail =
                |why: StudyError| why.reworded(|why| format!("{why} (reference `{}`)", component.name));
            let known = self.after_steps(known).map_err(fail)?;
            let mut absorptivity = Vec::with_capacity(x.len());
            for nm in x {
                let (value, exact) = value_at(&known.curve, *nm).map_err(|refusal| fail(refusal.into()))?;
                if !exact {
                    return Err(fail(StudyError::unsuitable(format!(
                        "the reference has no point at {nm} nm; resample both with a step"
                    ))));
                }
                self.plan.refuse_saturated(value).map_err(fail)?;
                absorptivity.push(value * ratio / component.concentration);
            }
            all.push(Component {
                name: component.name.clone(),
                absorptivity,
            });
        }
        Ok((all, turned))
    }

    pub(super) fn nucleic_acid(
        &self,
        kind: NucleicAcidKind,
        outcome: &mut Outcome,
    ) -> Result<(), StudyError> {
        let path = self.path()?;
        let recorded = self.spectrum(outcome)?;
        let a260 = self.at(&recorded, 260.0, outcome)?;
        let a280 = self.at(&recorded, 280.0, outcome)?;
        let (low, high) = recorded.curve.range();
        let mut beside = |nm: f64| {
            (low..=high)
                .contains(&nm)
                .then(|| self.at(&recorded, nm, outcome).ok())
                .flatten()
        };
        let (a230, a320) = (beside(230.0), beside(320.0));
        let dilution = self.dilution(outcome)?;
        let found = nucleic_acid(
            &NucleicAcidReadings {
                a260,
                a280,
                a230,
                a320,
                reading_sd: self.plan.reading_error,
                path_cm: path.value,
                dilution: dilution.value,
                ceiling: None,
            },
            kind,
        )?;
        outcome.parameters = vec![
            measured(
                "mass-concentration",
                found.micrograms_per_ml,
                Unit::ucum("ug/mL").ok(),
            ),
            measured("ratio-260-280", found.ratio_260_280, Some(Unit::ONE)),
        ];
        allow_for_dilution(&mut outcome.parameters[0], times(dilution, path));
        outcome.parameters.extend(
            found
                .ratio_260_230
                .map(|ratio| measured("ratio-260-230", ratio, Some(Unit::ONE))),
        );
        let unread: Vec<&str> = [("230 nm", a230), ("320 nm (background)", a320)]
            .iter()
            .filter(|(_, value)| value.is_none())
            .map(|(name, _)| *name)
            .collect();
        if !unread.is_empty() {
            outcome.remarks.push(note(
                "not-read",
                format!("nothing could be read at {}", unread.join(" and ")),
            ));
        }
        remarks(&found.remarks, outcome);
        outcome.termination = "computed (common practice)".into();
        Ok(())
    }

    pub(super) fn protein(&self, outcome: &mut Outcome) -> Result<(), StudyError> {
        let path = self.path()?;
        let recorded = self.spectrum(outcome)?;
        let a280 = self.at(&recorded, 280.0, outcome)?;
        let a260 = self.at(&recorded, 260.0, outcome)?;
        let dilution = self.dilution(outcome)?;
        let found = protein(
            a280,
            a260,
            self.plan.reading_error,
            path.value,
            dilution.value,
            None,
        )?;
        outcome.parameters = vec![
            measured(
                "mass-concentration",
                found.milligrams_per_ml,
                Unit::ucum("mg/mL").ok(),
            ),
            measured("ratio-260-280", found.ratio_260_280, Some(Unit::ONE)),
        ];
        allow_for_dilution(&mut outcome.parameters[0], times(dilution, path));
        remarks(&found.remarks, outcome);
        outcome.termination = "computed (common practice)".into();
        Ok(())
    }
}

/// The concentration of an unknown from readings of it.
pub(super) fn off_the_line(
    (plan, standards, dilution): (&QuantifyPlan, &Standards, Measured),
    readings: &[f64],
    outcome: &mut Outcome,
    drawn: &mut PlotData,
) -> Result<(), StudyError> {
    let x: Vec<f64> = standards.points.iter().map(|point| point.concentration).collect();
    let y: Vec<f64> = standards.points.iter().map(|point| point.absorbance).collect();
    let line = CalibrationLine::fit(plan, &x, &y, standards.resolution)?;
    let (found, own) = match &line {
        CalibrationLine::Straight(line) => {
            let found = line.inverse(&Target::Readings(readings.to_vec()), plan.level, None)?;
            outcome.statistics.insert("slope_doubt_g".into(), found.g);
            let values = (found.x, found.standard_error, found.y);
            ((values, found.limits), found.remarks)
        }
        CalibrationLine::Bent(line) => {
            let found = line.inverse(readings, plan.level)?;
            let values = (found.x, found.standard_error, found.y);
            ((values, found.limits), found.remarks)
        }
    };
    let ((value, error, height), limits) = found;
    let mut parameter = simple(
        "concentration",
        value * dilution.value,
        Some(standards.unit.clone()),
    );
    parameter.standard_error = Some(error * dilution.value);
    limit(&mut parameter, limits.scaled(dilution.value), plan.level);
    allow_for_dilution(&mut parameter, dilution);
    outcome.parameters.insert(0, parameter);
    line.statistics(outcome);
    outcome
        .statistics
        .insert("readings".into(), readings.len() as f64);
    remarks(line.remarks(), outcome);
    remarks(&own, outcome);
    *drawn = line.drawn(&standards.unit, (&x, &y), Some(((value, height), "unknown")));
    outcome.termination = "computed".into();
    Ok(())
}

/// Dilution over path length with the errors of both, those not known taken as none.
fn times(dilution: Measured, path: Measured) -> Measured {
    let part = |of: Measured| of.standard_error.map(|error| error / of.value);
    let relative = match (part(dilution), part(path)) {
        (None, None) => None,
        (one, other) => Some(one.unwrap_or(0.0).hypot(other.unwrap_or(0.0))),
    };
    let value = dilution.value / path.value;
    Measured {
        value,
        standard_error: relative.map(|relative| relative * value),
    }
}

/// Takes the error of a dilution into that of a concentration.
fn allow_for_dilution(parameter: &mut Parameter, dilution: Measured) {
    if let Some(error) = dilution.standard_error {
        allow_for_factor(parameter, error / dilution.value);
    }
}

/// A line through standards, straight or bent.
enum CalibrationLine {
    Straight(Calibration),
    Bent(BentCalibration),
}

impl CalibrationLine {
    /// `step` is that of the readings, where it is known.
    fn fit(plan: &QuantifyPlan, x: &[f64], y: &[f64], step: Option<f64>) -> Result<Self, StudyError> {
        let options = CalibrationOptions {
            resolution: step,
            ..plan.line()
        };
        match plan.line_form {
            LineForm::Straight => Calibration::fit(x, y, &options).map(Self::Straight),
            LineForm::Quadratic => BentCalibration::fit(x, y, &options).map(Self::Bent),
        }
        .map_err(StudyError::from)
    }

    fn points(&self) -> &[StandardPoint] {
        match self {
            Self::Straight(line) => &line.points,
            Self::Bent(line) => &line.points,
        }
    }

    fn remarks(&self) -> &[Remark] {
        match self {
            Self::Straight(line) => &line.remarks,
            Self::Bent(line) => &line.remarks,
        }
    }

    fn at(&self, x: f64) -> f64 {
        match self {
            Self::Straight(line) => line.intercept + line.slope * x,
            Self::Bent(line) => line.at(x),
        }
    }

    fn statistics(&self, outcome: &mut Outcome) {
        match self {
            Self::Straight(line) => statistics(line, outcome),
            Self::Bent(line) => statistics_of_bent(line, outcome),
        }
    }

    /// Every standard read off the line again, as if it were an unknown.
    fn recovered(&self, level: f64) -> Vec<CheckedStandard> {
        self.points()
            .iter()
            .map(|point| {
                let found = match self {
                    Self::Straight(line) => line
                        .inverse(&Target::MeanResponse(point.y), level, None)
                        .ok()
                        .map(|found| found.x),
                    Self::Bent(line) => line.inverse(&[point.y], level).ok().map(|found| found.x),
                };
                CheckedStandard {
                    given: point.x,
                    absorbance: point.y,
                    found,
                    percent: found
                        .filter(|_| point.x > 0.0)
                        .map(|found| 100.0 * found / point.x),
                }
            })
            .collect()
    }

    /// The standards with the line, and the place that was read off it.
    fn drawn(&self, unit: &Unit, (x, y): (&[f64], &[f64]), read: Option<((f64, f64), &str)>) -> PlotData {
        let (low, high) = x
            .iter()
            .copied()
            .chain(read.map(|((x, _), _)| x))
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| {
                (low.min(x), high.max(x))
            });
        let curve = if low < high {
            sampled(even(low, high, STEPS), |x| {
                x.iter().map(|x| self.at(*x)).collect()
            })
        } else {
            Vec::new()
        };
        PlotData {
            x_title: format!("concentration / {}", unit.display()),
            y_title: "absorbance / AU".into(),
            x: x.to_vec(),
            y: y.to_vec(),
            used: self.points().iter().map(|point| point.index).collect(),
            fitted: self.points().iter().map(|point| point.fitted).collect(),
            residuals: self.points().iter().map(|point| point.residual).collect(),
            curve: Some(curve),
            marks: read
                .map(|((x, y), name)| (x, y, name.to_owned()))
                .into_iter()
                .collect(),
            ..PlotData::default()
        }
    }
}

/// Says which references were turned to the path of the sample, and where paths are not known.
fn tell_paths(
    own_path: Option<f64>,
    components: &[ReferenceSpectrum],
    turned: &[String],
    outcome: &mut Outcome,
) {
    let all_known = own_path.is_some() && components.iter().all(|component| component.path.is_some());
    if !turned.is_empty() {
        outcome.remarks.push(note(
            "reference-path",
            format!(
                "the sample was read through {} cm, other references not: by the Beer-Lambert law their absorbances were turned to \
                 that path, {}",
                own_path.unwrap_or(1.0),
                turned.join(", ")
            ),
        ));
    }
    if !all_known {
        let which = if own_path.is_none() {
            "the path length of the sample is not known"
        } else {
            "the path lengths of some references are not known"
        };
        outcome.remarks.push(note(
            "reference-path",
            format!(
                "{which}: they are taken to be of the same path length; if they are not, scale the result by the ratio"
            ),
        ));
    }
}
