//! From readings of a run to concentrations: by the Beer-Lambert law, a calibration line, standard addition, reference
//! spectra of several components, or the ratios that are common practice.

use curvary_record::{
    Code, Diagnostic, Interval as KeptInterval, Outcome, Parameter, Quantity, Run, RunId, Trace, Unit,
};
use serde::{Deserialize, Serialize};

use super::spectrum::{
    References, asked_traces, bare, in_question, spectrum_of, tell_log, told as told_spectrum,
};
use super::{Drawn, Found, TRUSTED_ABSORBANCE, concentration_of, label_of, stated, told};
use crate::quantities::{
    Calibration, CalibrationOptions, Component, LimitForm, Limits, Measured, MixtureOptions, NucleicAcidKind,
    NucleicAcidReadings, Readings, Remark, Sigma, Target, Weighting, concentration, detection_limits,
    mixture, nucleic_acid, protein, standard_addition,
};
use crate::refusal::Refusal;
use crate::spectra::{Axis, Chain, Ordinate, Spectrum, Step, absorbance_of, value_at};

/// One standard of a calibration line, with where it was read.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Standard {
    /// The run it was read in.
    pub run: RunId,
    /// Its concentration, in the unit of the calibration.
    pub concentration: f64,
    /// Its absorbance.
    pub absorbance: f64,
}

/// The standards of a calibration line.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Standards {
    /// The unit of all concentrations.
    pub unit: Unit,
    /// The standards, in given order.
    pub points: Vec<Standard>,
}

/// A spectrum of one component at a known concentration.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ReferenceSpectrum {
    /// What it is called.
    pub name: String,
    /// Its run, by whose name the spectrum stands among the references.
    pub run: RunId,
    /// Its concentration.
    pub concentration: f64,
    /// The unit of that.
    pub unit: Unit,
}

/// How a quantity is found.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Way {
    /// c = A·D/(ε·l).
    BeerLambert,
    /// A straight line through standards, read backwards.
    Calibration(Standards),
    /// The line itself, from a run that is a table of concentration against absorbance.
    Line,
    /// The line of absorbance against added concentration, down to zero.
    StandardAddition,
    /// Several components by least squares.
    Mixture(Vec<ReferenceSpectrum>),
    /// Ratios and the usual factor: common practice.
    NucleicAcid(NucleicAcidKind),
    /// The usual formula of A280 and A260: common practice.
    Protein,
}

/// What is asked, in a form that is kept with its result.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct QuantifyPlan {
    /// How.
    pub way: Way,
    /// Where spectra are read, nm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at: Option<f64>,
    /// Steps before the reading of spectra.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub steps: Vec<Step>,
    /// Absorbance that is taken off readings which are no spectra.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub blank_absorbance: Option<f64>,
    /// Absorbance (before a blank is taken off) above which nothing is read; [`TRUSTED_ABSORBANCE`] if absent, the largest
    /// number for no limit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub trusted_absorbance: Option<f64>,
    /// Standard deviation of a single reading, if known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reading_error: Option<f64>,
    /// Molar absorption coefficient, L mol⁻¹ cm⁻¹; the run's own field if absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub coefficient: Option<Measured>,
    /// Path length, cm; the run's own field if absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub path: Option<Measured>,
    /// Total over sample volume; the run's own field if absent, else 1.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dilution: Option<f64>,
    /// Level of intervals.
    pub level: f64,
    /// Weights of a line's standards.
    pub weighting: Weighting,
    /// Whether a line is held at the origin.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub through_origin: bool,
    /// Whose definition of detection limits.
    pub limit_form: LimitForm,
    /// Absorbances of the blank, from which detection limits take their σ.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub blank_readings: Vec<f64>,
    /// Whether all readings of a run are repeats of one unknown.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub together: bool,
    /// Whether a constant offset is fitted beside components.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub with_offset: bool,
    /// Traces by number (from 1) or label; all if empty.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub traces: Vec<String>,
    /// The one reading of a table (from 0) that a result is of.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub point: Option<usize>,
}

impl QuantifyPlan {
    /// A plan with nothing said but the way.
    pub fn new(way: Way) -> Self {
        Self {
            way,
            at: None,
            steps: Vec::new(),
            blank_absorbance: None,
            trusted_absorbance: None,
            reading_error: None,
            coefficient: None,
            path: None,
            dilution: None,
            level: 0.95,
            weighting: Weighting::Equal,
            through_origin: false,
            limit_form: LimitForm::IchQ2,
            blank_readings: Vec::new(),
            together: false,
            with_offset: false,
            traces: Vec::new(),
            point: None,
        }
    }

    fn ceiling(&self) -> Option<f64> {
        let limit = self.trusted_absorbance.unwrap_or(TRUSTED_ABSORBANCE);
        (limit < f64::MAX).then_some(limit)
    }

    fn model(&self) -> &'static str {
        match self.way {
            Way::BeerLambert => "beer-lambert",
            Way::Calibration(_) | Way::Line => "calibration-line",
            Way::StandardAddition => "standard-addition",
            Way::Mixture(_) => "several-components",
            Way::NucleicAcid(_) => "nucleic-acid-ratios",
            Way::Protein => "protein-a280-a260",
        }
    }

    fn line(&self) -> CalibrationOptions {
        CalibrationOptions {
            weighting: self.weighting.clone(),
            through_origin: self.through_origin,
            ceiling: self.ceiling(),
        }
    }

    /// Why an absorbance is not to be trusted.
    fn refuse_saturated(&self, absorbance: f64) -> Result<(), String> {
        match self.ceiling() {
            Some(limit) if absorbance > limit => Err(told(&Refusal::OutOfRange {
                what: "the absorbance".into(),
                value: absorbance,
                allowed: format!("at most {limit}, the end of the trusted range: dilute and measure again"),
            })),
            _ => Ok(()),
        }
    }
}

/// Quantities of every reading of a run that the plan speaks of; each gives a result or the reason why there is none.
pub fn quantify_run(plan: &QuantifyPlan, run: &Run, references: &References) -> Vec<Found> {
    let whole = |why: String| {
        let mut outcome = bare("quantify", plan.model(), run, None, plan);
        outcome.termination = why;
        vec![found(outcome, None, String::new(), Drawn::default())]
    };
    if let Some(refusal) = in_question(run) {
        return whole(told(&refusal));
    }
    let traces = match asked_traces(run, &plan.traces) {
        Ok(traces) => traces,
        Err(refusal) => return whole(told(&refusal)),
    };
    if plan.together {
        return vec![repeats(plan, run, &traces, references)];
    }
    traces
        .into_iter()
        .flat_map(|(number, trace)| match (&plan.way, is_table(trace)) {
            (Way::Line | Way::StandardAddition | Way::Mixture(_), _) | (_, false) => {
                vec![of_trace(plan, run, (number, trace), None, references)]
            }
            (_, true) => (0..trace.len())
                .filter(|point| plan.point.is_none_or(|only| only == *point))
                .map(|point| of_trace(plan, run, (number, trace), Some(point), references))
                .collect(),
        })
        .collect()
}

/// Whether each point of a trace is a reading of its own: a list of samples or of concentrations.
fn is_table(trace: &Trace) -> bool {
    trace.x.quantity == Quantity::INDEX || trace.x.quantity == Quantity::CONCENTRATION
}

fn found(outcome: Outcome, trace: Option<u32>, label: String, drawn: Drawn) -> Found {
    Found {
        trace,
        label,
        outcome: outcome.identified(),
        drawn,
    }
}

fn of_trace(
    plan: &QuantifyPlan,
    run: &Run,
    (number, trace): (u32, &Trace),
    point: Option<usize>,
    references: &References,
) -> Found {
    let own = QuantifyPlan {
        point,
        ..plan.clone()
    };
    let mut outcome = bare("quantify", plan.model(), run, Some(number), &own);
    let mut drawn = Drawn::default();
    let at = Place {
        plan: &own,
        run,
        trace,
        references,
    };
    let done = match &plan.way {
        Way::BeerLambert => at.beer_lambert(&mut outcome),
        Way::Calibration(standards) => at.absorbance(&mut outcome).and_then(|absorbance| {
            let dilution = at.dilution(&mut outcome);
            off_the_line(
                (plan, standards, dilution),
                &[absorbance],
                &mut outcome,
                &mut drawn,
            )
        }),
        Way::Line => at.line(&mut outcome, &mut drawn),
        Way::StandardAddition => at.standard_addition(&mut outcome, &mut drawn),
        Way::Mixture(components) => at.mixture(components, &mut outcome, &mut drawn),
        Way::NucleicAcid(kind) => at.nucleic_acid(*kind, &mut outcome),
        Way::Protein => at.protein(&mut outcome),
    };
    if let Err(why) = done {
        outcome.parameters.clear();
        outcome.termination = why;
    }
    let name = point.map(|point| {
        let name = trace
            .row_names
            .get(point)
            .filter(|name| !name.is_empty())
            .cloned();
        name.unwrap_or_else(|| format!("reading {}", point + 1))
    });
    found(
        outcome,
        Some(number),
        name.unwrap_or_else(|| label_of(trace)),
        drawn,
    )
}

/// All readings of a run as repeats of one unknown.
fn repeats(plan: &QuantifyPlan, run: &Run, traces: &[(u32, &Trace)], references: &References) -> Found {
    let mut outcome = bare("quantify", plan.model(), run, None, plan);
    let mut drawn = Drawn::default();
    let done = (|| {
        let Way::Calibration(standards) = &plan.way else {
            return Err(told(&Refusal::Unsuitable {
                why: "only a calibration line takes repeated readings of one unknown together".into(),
            }));
        };
        let mut readings = Vec::new();
        for (_, trace) in traces {
            let points: Vec<Option<usize>> = if is_table(trace) {
                (0..trace.len()).map(Some).collect()
            } else {
                vec![None]
            };
            for point in points {
                let own = QuantifyPlan {
                    point,
                    ..plan.clone()
                };
                let at = Place {
                    plan: &own,
                    run,
                    trace,
                    references,
                };
                readings.push(at.absorbance(&mut outcome)?);
            }
        }
        outcome.parameters.clear();
        let dilution = match traces.first() {
            None => 1.0,
            Some((_, trace)) => {
                let at = Place {
                    plan,
                    run,
                    trace,
                    references,
                };
                at.dilution(&mut outcome)
            }
        };
        off_the_line((plan, standards, dilution), &readings, &mut outcome, &mut drawn)
    })();
    if let Err(why) = done {
        outcome.parameters.clear();
        outcome.termination = why;
    }
    found(outcome, None, String::new(), drawn)
}

/// Collects the standards of a calibration line from runs: tables of concentration against absorbance, and runs whose
/// concentration is known and that are read like an unknown. All concentrations are turned into the unit of the first.
///
/// # Errors
/// The first run that is no standard, with the reason.
pub fn standards_of(
    plan: &QuantifyPlan,
    runs: &[Run],
    references: &References,
) -> Result<Standards, (RunId, String)> {
    let mut unit: Option<Unit> = None;
    let mut points = Vec::new();
    for run in runs {
        let fail = |why: String| (run.id.clone(), why);
        if let Some(refusal) = in_question(run) {
            return Err(fail(told(&refusal)));
        }
        for (number, trace) in (0..).zip(&run.traces) {
            let mut scratch = bare("quantify", plan.model(), run, Some(number), plan);
            let mut put = |value: f64, own: &Unit, absorbance: f64| {
                let common = unit.get_or_insert_with(|| own.clone());
                let concentration = own
                    .convert(value, common)
                    .map_err(|error| fail(error.to_string()))?;
                points.push(Standard {
                    run: run.id.clone(),
                    concentration,
                    absorbance,
                });
                Ok(())
            };
            let read = |point: Option<usize>, scratch: &mut Outcome| {
                let own = QuantifyPlan {
                    point,
                    // Standards beyond the trusted range are left out by the line and told there.
                    trusted_absorbance: Some(f64::MAX),
                    ..plan.clone()
                };
                let at = Place {
                    plan: &own,
                    run,
                    trace,
                    references,
                };
                at.absorbance(scratch).map_err(fail)
            };
            if trace.x.quantity == Quantity::CONCENTRATION {
                for (point, value) in trace.x.values.iter().enumerate() {
                    put(*value, &trace.x.unit, read(Some(point), &mut scratch)?)?;
                }
            } else {
                let (value, own) = concentration_of(run, trace, &["concentration"]).ok_or_else(|| {
                    fail("its concentration is not known; `curvary note` can add it".into())
                })?;
                if is_table(trace) {
                    return Err(fail("it lists several readings of one concentration".into()));
                }
                put(value, &own, read(None, &mut scratch)?)?;
            }
        }
    }
    Ok(Standards {
        unit: unit.unwrap_or(Unit::ONE),
        points,
    })
}

/// One reading, or one trace, and what is asked of it.
struct Place<'a> {
    plan: &'a QuantifyPlan,
    run: &'a Run,
    trace: &'a Trace,
    references: &'a References,
}

impl Place<'_> {
    /// The absorbance that is quantified, blank taken off; it stands among the parameters.
    fn absorbance(&self, outcome: &mut Outcome) -> Result<f64, String> {
        let value = match self.plan.point {
            Some(point) => self.of_table(point)?,
            None => {
                let at = self.plan.at.ok_or_else(|| {
                    told(&Refusal::Unsuitable {
                        why: "the wavelength at which the spectrum is read is not said: --at 535nm".into(),
                    })
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
    fn of_table(&self, point: usize) -> Result<f64, String> {
        let unsuitable = |why: String| told(&Refusal::Unsuitable { why });
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
            return Err(told(&Refusal::AllSaturated {
                limit: self.plan.ceiling().unwrap_or(f64::INFINITY),
                count: 1,
            }));
        }
        let value = y
            .values
            .get(point)
            .copied()
            .ok_or_else(|| unsuitable("there is no such reading".into()))?;
        let wrong = || unsuitable(format!("the values are {}, not absorbance", super::title(y)));
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
    fn spectrum(&self, outcome: &mut Outcome) -> Result<Spectrum, String> {
        let (spectrum, marked) = spectrum_of(self.trace).map_err(|refusal| told_spectrum(&refusal))?;
        let mut chain = Chain::default();
        if spectrum.ordinate != Ordinate::Absorbance {
            chain.steps.push(Step::Ordinate {
                to: Ordinate::Absorbance,
            });
        }
        if spectrum.axis != Axis::Nanometre {
            chain.steps.push(Step::Axis { to: Axis::Nanometre });
        }
        let done = chain
            .apply(&spectrum, |_| None)
            .map_err(|refused| format!("{}: {refused}", refused.refusal.code()))?;
        // Told once, however many wavelengths are read.
        if outcome.remarks.is_empty() {
            tell_log(&done.log, marked, outcome);
        }
        Ok(done.spectrum)
    }

    /// The spectrum after the steps.
    fn after_steps(&self, spectrum: &Spectrum) -> Result<Spectrum, String> {
        let chain = Chain {
            steps: self.plan.steps.clone(),
        };
        let done = chain
            .apply(spectrum, |name| self.references.get(name).cloned())
            .map_err(|refused| format!("{}: {refused}", refused.refusal.code()))?;
        let (axis, ordinate) = (done.spectrum.axis, done.spectrum.ordinate);
        if axis != Axis::Nanometre || ordinate != Ordinate::Absorbance {
            return Err(told(&Refusal::Unsuitable {
                why: format!("after the steps there is {ordinate} over {axis}, not absorbance over nm"),
            }));
        }
        Ok(done.spectrum)
    }

    /// The absorbance at a wavelength, after the steps; what was recorded there must be in the trusted range.
    fn at(&self, recorded: &Spectrum, nm: f64, outcome: &mut Outcome) -> Result<f64, String> {
        let (before, exact) = value_at(&recorded.curve, nm).map_err(|refusal| told_spectrum(&refusal))?;
        self.plan.refuse_saturated(before)?;
        let spectrum = self.after_steps(recorded)?;
        let (value, _) = value_at(&spectrum.curve, nm).map_err(|refusal| told_spectrum(&refusal))?;
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

    /// The dilution, which is told where the sample was diluted.
    fn dilution(&self, outcome: &mut Outcome) -> f64 {
        let dilution = self
            .plan
            .dilution
            .or_else(|| stated(self.run, Some(self.trace), "dilution", &Unit::ONE))
            .unwrap_or(1.0);
        if dilution != 1.0 {
            outcome.remarks.push(note(
                "converted",
                format!("the sample was diluted: the concentration was multiplied by {dilution}"),
            ));
        }
        dilution
    }

    fn path(&self) -> Result<Measured, String> {
        let centimetre = Unit::ucum("cm").ok();
        self.plan
            .path
            .or_else(|| {
                stated(self.run, Some(self.trace), "path-length", centimetre.as_ref()?).map(Measured::bare)
            })
            .ok_or_else(|| {
                told(&Refusal::Unsuitable {
                    why: "the path length is not known: say it with --path, or add it with `curvary note`"
                        .into(),
                })
            })
    }

    fn beer_lambert(&self, outcome: &mut Outcome) -> Result<(), String> {
        let unit = Unit::ucum("L/mol/cm").ok();
        let coefficient = self
            .plan
            .coefficient
            .or_else(|| {
                let key = "molar-absorption-coefficient";
                stated(self.run, Some(self.trace), key, unit.as_ref()?).map(Measured::bare)
            })
            .ok_or_else(|| {
                told(&Refusal::Unsuitable {
                    why: "the molar absorption coefficient is not known: say it with --coefficient, or add it with `curvary note`".into(),
                })
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
            dilution: Measured::bare(self.dilution(outcome)),
            ceiling: None,
        })
        .map_err(|refusal| told(&refusal))?;
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

    /// Concentrations and absorbances of a table.
    fn table(&self) -> Result<(Vec<f64>, Vec<f64>), String> {
        if self.trace.x.quantity != Quantity::CONCENTRATION {
            return Err(told(&Refusal::Unsuitable {
                why: format!(
                    "the run is no table of concentration against absorbance, but runs along {}",
                    super::title(&self.trace.x)
                ),
            }));
        }
        let open = QuantifyPlan {
            // What lies beyond the trusted range is left out by the line and told there.
            trusted_absorbance: Some(f64::MAX),
            ..self.plan.clone()
        };
        let at = Place { plan: &open, ..*self };
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

    fn line(&self, outcome: &mut Outcome, drawn: &mut Drawn) -> Result<(), String> {
        let (x, y) = self.table()?;
        let line = Calibration::fit(&x, &y, &self.plan.line()).map_err(|refusal| told(&refusal))?;
        let unit = &self.trace.x.unit;
        tell_line(&line, self.plan, unit, outcome);
        *drawn = drawn_line(&line, unit, (&x, &y), None);
        outcome.termination = "computed".into();
        Ok(())
    }

    fn standard_addition(&self, outcome: &mut Outcome, drawn: &mut Drawn) -> Result<(), String> {
        let (x, y) = self.table()?;
        let plan = self.plan;
        let found = standard_addition(&x, &y, &plan.line(), self.dilution(outcome), plan.level)
            .map_err(|refusal| told(&refusal))?;
        let unit = &self.trace.x.unit;
        let mut parameter = simple("concentration", found.value, Some(unit.clone()));
        parameter.standard_error = Some(found.standard_error);
        limit(&mut parameter, found.limits, found.level);
        outcome.parameters.push(parameter);
        statistics(&found.line, outcome);
        remarks(&found.remarks, outcome);
        *drawn = drawn_line(&found.line, unit, (&x, &y), None);
        outcome.termination = "computed".into();
        Ok(())
    }

    fn mixture(
        &self,
        components: &[ReferenceSpectrum],
        outcome: &mut Outcome,
        drawn: &mut Drawn,
    ) -> Result<(), String> {
        let recorded = self.spectrum(outcome)?;
        // Points beyond the trusted range are left out before a blank can bring them back into it.
        let kept = match self.plan.ceiling() {
            Some(limit) => recorded.curve.leave_out(|_, y| y > limit).map_err(|_| {
                told(&Refusal::AllSaturated {
                    limit,
                    count: recorded.curve.len(),
                })
            })?,
            None => recorded.curve.clone(),
        };
        let lost = recorded.curve.len() - kept.len();
        if lost > 0 {
            outcome.remarks.push(Diagnostic::warning(
                Code::new("points-left-out"),
                format!("{lost} points beyond the trusted range were left out"),
            ));
        }
        let spectrum = self.after_steps(&Spectrum {
            curve: kept,
            ..recorded
        })?;
        let (x, y) = (spectrum.curve.x(), spectrum.curve.y());
        let mut all = Vec::new();
        for component in components {
            let known = self.references.get(component.run.as_str()).ok_or_else(|| {
                told(&Refusal::Unsuitable {
                    why: format!("the reference spectrum {} is not at hand", component.run),
                })
            })?;
            let fail = |why: String| format!("{why} (reference `{}`)", component.name);
            let known = self.after_steps(known).map_err(fail)?;
            let mut absorptivity = Vec::with_capacity(x.len());
            for nm in x {
                let (value, exact) =
                    value_at(&known.curve, *nm).map_err(|refusal| fail(told_spectrum(&refusal)))?;
                if !exact {
                    return Err(fail(told(&Refusal::Unsuitable {
                        why: format!("the reference has no point at {nm} nm; resample both with a step"),
                    })));
                }
                self.plan.refuse_saturated(value).map_err(fail)?;
                absorptivity.push(value / component.concentration);
            }
            all.push(Component {
                name: component.name.clone(),
                absorptivity,
            });
        }
        let options = MixtureOptions {
            with_offset: self.plan.with_offset,
            level: self.plan.level,
            ceiling: None,
            weights: None,
        };
        let found = mixture(y, &all, &options).map_err(|refusal| told(&refusal))?;
        let dilution = self.dilution(outcome);
        for (component, of) in found.components.iter().zip(components) {
            let name = format!("concentration-{}", slug(&component.name));
            let mut parameter = simple(&name, component.value * dilution, Some(of.unit.clone()));
            parameter.standard_error = Some(component.standard_error * dilution);
            parameter.intervals.push(KeptInterval {
                level: found.level,
                low: Some(component.interval[0] * dilution),
                high: Some(component.interval[1] * dilution),
                kind: "t".into(),
            });
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
        outcome.remarks.push(note(
            "reference-path",
            "the references are taken to be of the same path length as the sample: if they are not, scale the result by the ratio".into(),
        ));
        *drawn = Drawn {
            x_title: "wavelength / nm".into(),
            y_title: "absorbance".into(),
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
        };
        outcome.termination = "computed".into();
        Ok(())
    }

    fn nucleic_acid(&self, kind: NucleicAcidKind, outcome: &mut Outcome) -> Result<(), String> {
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
        let found = nucleic_acid(
            &NucleicAcidReadings {
                a260,
                a280,
                a230,
                a320,
                reading_sd: self.plan.reading_error,
                path_cm: path.value,
                dilution: self.dilution(outcome),
                ceiling: None,
            },
            kind,
        )
        .map_err(|refusal| told(&refusal))?;
        outcome.parameters = vec![
            measured(
                "mass-concentration",
                found.micrograms_per_ml,
                Unit::ucum("ug/mL").ok(),
            ),
            measured("ratio-260-280", found.ratio_260_280, Some(Unit::ONE)),
        ];
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

    fn protein(&self, outcome: &mut Outcome) -> Result<(), String> {
        let path = self.path()?;
        let recorded = self.spectrum(outcome)?;
        let a280 = self.at(&recorded, 280.0, outcome)?;
        let a260 = self.at(&recorded, 260.0, outcome)?;
        let found = protein(
            a280,
            a260,
            self.plan.reading_error,
            path.value,
            self.dilution(outcome),
            None,
        )
        .map_err(|refusal| told(&refusal))?;
        outcome.parameters = vec![
            measured(
                "mass-concentration",
                found.milligrams_per_ml,
                Unit::ucum("mg/mL").ok(),
            ),
            measured("ratio-260-280", found.ratio_260_280, Some(Unit::ONE)),
        ];
        remarks(&found.remarks, outcome);
        outcome.termination = "computed (common practice)".into();
        Ok(())
    }
}

/// The concentration of an unknown from readings of it.
fn off_the_line(
    (plan, standards, dilution): (&QuantifyPlan, &Standards, f64),
    readings: &[f64],
    outcome: &mut Outcome,
    drawn: &mut Drawn,
) -> Result<(), String> {
    let x: Vec<f64> = standards.points.iter().map(|point| point.concentration).collect();
    let y: Vec<f64> = standards.points.iter().map(|point| point.absorbance).collect();
    let line = Calibration::fit(&x, &y, &plan.line()).map_err(|refusal| told(&refusal))?;
    let found = line
        .inverse(&Target::Readings(readings.to_vec()), plan.level, None)
        .map_err(|refusal| told(&refusal))?;
    let mut parameter = simple("concentration", found.x * dilution, Some(standards.unit.clone()));
    parameter.standard_error = Some(found.standard_error * dilution);
    limit(&mut parameter, found.limits.scaled(dilution), found.level);
    outcome.parameters.insert(0, parameter);
    statistics(&line, outcome);
    outcome
        .statistics
        .insert("readings".into(), readings.len() as f64);
    outcome.statistics.insert("slope_doubt_g".into(), found.g);
    remarks(&line.remarks, outcome);
    remarks(&found.remarks, outcome);
    *drawn = drawn_line(&line, &standards.unit, (&x, &y), Some((found.x, found.y)));
    outcome.termination = "computed".into();
    Ok(())
}

/// Fieller limits as an interval: an end that the data leave open is open, and a set that is none is told in words.
fn limit(parameter: &mut Parameter, limits: Limits, level: f64) {
    let (low, high, why) = match limits {
        Limits::Interval { low, high } => (Some(low), Some(high), None),
        Limits::AtLeast { low } => (Some(low), None, Some("no upper limit".to_owned())),
        Limits::AtMost { high } => (None, Some(high), Some("no lower limit".to_owned())),
        Limits::WholeLine => (
            None,
            None,
            Some("every concentration agrees with the reading".into()),
        ),
        Limits::Complement { below, above } => (
            None,
            None,
            Some(format!(
                "unbounded: all up to {below} and all from {above} agree with the reading"
            )),
        ),
    };
    parameter.intervals.push(KeptInterval {
        level,
        low,
        high,
        kind: "fieller".into(),
    });
    parameter.reason = why.map(|why| format!("{why}: the slope is not told from zero"));
}

/// The parameters of a line, with the limits of detection and quantitation.
fn tell_line(line: &Calibration, plan: &QuantifyPlan, unit: &Unit, outcome: &mut Outcome) {
    let slope_unit = super::unit_in_terms("y/x", unit, &Unit::ABSORBANCE, &Unit::ONE);
    let mut slope = simple("slope", line.slope, slope_unit);
    slope.standard_error = Some(line.slope_error);
    if let Ok([low, high]) = line.slope_interval(plan.level) {
        slope.intervals.push(KeptInterval {
            level: plan.level,
            low: Some(low),
            high: Some(high),
            kind: "t".into(),
        });
    }
    outcome.parameters.push(slope);
    if !line.through_origin {
        let mut intercept = simple("intercept", line.intercept, Some(Unit::ABSORBANCE));
        intercept.standard_error = line.intercept_error;
        outcome.parameters.push(intercept);
    }
    let sigma = if plan.blank_readings.is_empty() {
        Sigma::ResidualSd
    } else {
        Sigma::BlankReadings(plan.blank_readings.clone())
    };
    let mut put = |name: &str, value: Option<f64>, why: Option<String>| {
        outcome.parameters.push(Parameter {
            value,
            reason: why,
            ..simple(name, 0.0, Some(unit.clone()))
        });
    };
    match detection_limits(line, plan.limit_form, &sigma) {
        Ok(limits) => {
            if limits.critical.is_some() {
                put("critical-value", limits.critical, None);
            }
            put("detection-limit", Some(limits.detection), None);
            if limits.quantitation.is_some() {
                put("quantitation-limit", limits.quantitation, None);
            }
            outcome.remarks.push(note(
                "limit-form",
                format!("{}; σ is {}", limits.formula, limits.sigma_kind),
            ));
            remarks(&limits.remarks, outcome);
        }
        Err(refusal) => put("detection-limit", None, Some(told(&refusal))),
    }
    statistics(line, outcome);
    remarks(&line.remarks, outcome);
}

fn statistics(line: &Calibration, outcome: &mut Outcome) {
    let mut put = |name: &str, value: Option<f64>| {
        if let Some(value) = value {
            outcome.statistics.insert(name.into(), value);
        }
    };
    put("points", Some(line.points.len() as f64));
    put("slope", Some(line.slope));
    put("intercept", Some(line.intercept));
    put("residual_standard_deviation", Some(line.residual_sd));
    put("degrees_of_freedom", Some(line.degrees_of_freedom as f64));
    put("r_squared", line.r_squared);
    put("lack_of_fit_probability", line.lack_of_fit.map(|found| found.p));
}

/// The standards with their line and, as one point more, the unknown.
fn drawn_line(
    line: &Calibration,
    unit: &Unit,
    (x, y): (&[f64], &[f64]),
    unknown: Option<(f64, f64)>,
) -> Drawn {
    let mut drawn = Drawn {
        x_title: format!("concentration / {}", unit.display()),
        y_title: "absorbance".into(),
        x: x.to_vec(),
        y: y.to_vec(),
        used: line.points.iter().map(|point| point.index).collect(),
        fitted: line.points.iter().map(|point| point.fitted).collect(),
        residuals: line.points.iter().map(|point| point.residual).collect(),
        curve: None,
    };
    if let Some((x, y)) = unknown {
        drawn.x.push(x);
        drawn.y.push(y);
    }
    drawn
}

fn simple(name: &str, value: f64, unit: Option<Unit>) -> Parameter {
    Parameter {
        name: name.into(),
        value: Some(value),
        unit,
        standard_error: None,
        intervals: Vec::new(),
        reason: None,
    }
}

fn measured(name: &str, found: Measured, unit: Option<Unit>) -> Parameter {
    Parameter {
        standard_error: found.standard_error,
        ..simple(name, found.value, unit)
    }
}

fn note(code: &'static str, words: String) -> Diagnostic {
    Diagnostic::note(Code::new(code), words)
}

fn remarks(all: &[Remark], outcome: &mut Outcome) {
    for remark in all {
        let told = outcome.remarks.iter().any(|known| known.message == remark.words);
        if !told {
            outcome.remarks.push(Diagnostic::warning(
                Code::new("quantity-remark"),
                remark.words.clone(),
            ));
        }
    }
}

/// A name as part of a parameter's name: letters and digits, the rest as hyphens.
fn slug(name: &str) -> String {
    let plain: String = name
        .to_lowercase()
        .chars()
        .map(|c| if c.is_alphanumeric() { c } else { '-' })
        .collect();
    plain
        .split('-')
        .filter(|part| !part.is_empty())
        .collect::<Vec<_>>()
        .join("-")
}
