//! From the options of the command line to plans of fits.

use std::collections::BTreeMap;
use std::path::PathBuf;

use curvary_analysis::fit::{Bootstrap, NoiseDraw, Robust};
use curvary_analysis::models::formula::ModelFile;
use curvary_analysis::study::{AxisSpan, FitPlan, ParameterPlan, WeightPlan};

use super::{Far, FitCommand};
use crate::courses::{span, unit};
use crate::ending::Failure;
use crate::steps::number;

impl FitCommand {
    /// One plan for each model and window.
    pub(super) fn plans(&self) -> Result<Vec<FitPlan>, Failure> {
        let mut bare = FitPlan {
            level: self.level.checked()?,
            profile: self.profile,
            robust: match self.robust {
                None => Robust::No,
                Some(Far::Huber) => Robust::Huber,
                Some(Far::Tukey) => Robust::Tukey,
            },
            response: self.response.clone(),
            variables: pairs(&self.over, "a variable")?,
            traces: self.data.trace.clone(),
            share: self.share.clone(),
            constraints: self.constrain.clone(),
            leave_out: self
                .leave_out
                .iter()
                .map(|text| span(text))
                .collect::<Result<_, _>>()?,
            bootstrap: [
                (self.bootstrap, NoiseDraw::Residuals),
                (self.monte_carlo, NoiseDraw::Normal),
            ]
            .into_iter()
            .find_map(|(rounds, noise)| {
                Some(Bootstrap {
                    rounds: rounds?,
                    seed: self.seed,
                    noise,
                })
            }),
            at: self.at,
            dead_time: self.data.dead_time,
            trusted_absorbance: self.data.trusted()?,
            concentration: self.data.concentration,
            coefficient: self.data.coefficient()?,
            path: self.data.path()?,
            scale_error: self.data.scale_error()?,
            drift: self.data.drift()?,
            common: self.common.clone(),
            weights: self.weights.as_ref().map(|weights| match weights.as_str() {
                "relative" => WeightPlan::Relative,
                label => WeightPlan::Errors(label.to_owned()),
            }),
            ..FitPlan::default()
        };
        if let Some(path) = &self.model_file {
            let file = model_file(path)?;
            if bare.variables.is_empty() && file.variables.len() > 1 {
                return Err(Failure::usage(format!(
                    "the model has several variables: say with --over which columns {} stand for",
                    file.variables.join(", ")
                )));
            }
            if bare.variables.is_empty() {
                bare.variables = file
                    .variables
                    .iter()
                    .map(|name| (name.clone(), "x".to_owned()))
                    .collect();
            }
            for (name, entry) in &file.parameters {
                let plan = bare.parameters.entry(name.clone()).or_default();
                plan.start = entry.start;
                plan.lower = entry.lower;
                plan.upper = entry.upper;
                plan.unit = entry.unit.as_deref().map(unit).transpose()?;
            }
            bare.formula = Some(file.formula);
        } else {
            bare.formula.clone_from(&self.formula);
        }
        self.add_parameter_options(&mut bare.parameters)?;
        if self.reported {
            return Ok(Vec::new());
        }
        let models = match (&bare.formula, self.model.as_slice(), self.compare) {
            (Some(_), _, _) | (None, [], true) => vec![String::new()],
            (None, [], false) => {
                return Err(Failure::usage(format!(
                    "nothing says what to fit: expected --model NAME (one of {}), --formula, --model-file, --compare, --again or --reported",
                    FitPlan::models().join(", ")
                )));
            }
            (None, _, true) => vec![self.model[0].clone()],
            (None, models, false) => models.to_vec(),
        };
        let windows: Vec<Option<AxisSpan>> = if self.window.is_empty() {
            vec![None]
        } else {
            self.window
                .iter()
                .map(|text| span(text).map(Some))
                .collect::<Result<_, _>>()?
        };
        let mut plans = Vec::new();
        for model in &models {
            for window in &windows {
                let plan = FitPlan {
                    model: model.clone(),
                    window: window.clone(),
                    ..bare.clone()
                };
                // What a constraint is about is seen once all laws that are compared are known.
                let checked = FitPlan {
                    constraints: if self.compare {
                        Vec::new()
                    } else {
                        plan.constraints.clone()
                    },
                    ..plan.clone()
                };
                if !(self.compare && model.is_empty()) {
                    checked.check().map_err(Failure::usage)?;
                }
                plans.push(plan);
            }
        }
        Ok(plans)
    }

    fn add_parameter_options(&self, parameters: &mut BTreeMap<String, ParameterPlan>) -> Result<(), Failure> {
        for (name, value) in pairs(&self.start, "a starting value")? {
            parameters.entry(name).or_default().start = Some(number(&value)?);
        }
        for (name, value) in pairs(&self.hold, "a value")? {
            parameters.entry(name).or_default().held = Some(number(&value)?);
        }
        for (name, value) in pairs(&self.unit, "a unit")? {
            parameters.entry(name).or_default().unit = Some(unit(&value)?);
        }
        for (name, value) in pairs(&self.bound, "limits")? {
            let (low, high) = value.split_once("..").ok_or_else(|| {
                Failure::usage(format!("`{value}` is no pair of limits: expected LOW..HIGH"))
            })?;
            let end = |text: &str| match text.trim() {
                "" => Ok(None),
                text => number(text).map(Some),
            };
            let plan = parameters.entry(name).or_default();
            (plan.lower, plan.upper) = (end(low)?, end(high)?);
        }
        Ok(())
    }
}

fn pairs(texts: &[String], what: &str) -> Result<Vec<(String, String)>, Failure> {
    texts
        .iter()
        .map(|text| {
            let (name, value) = text
                .split_once('=')
                .ok_or_else(|| Failure::usage(format!("`{text}` is not {what}: expected NAME=…")))?;
            Ok((name.trim().to_owned(), value.trim().to_owned()))
        })
        .collect()
}

fn model_file(path: &PathBuf) -> Result<ModelFile, Failure> {
    let text = std::fs::read_to_string(path).map_err(|error| Failure::file("read", path, &error))?;
    toml_edit::de::from_str(&text).map_err(|error: toml_edit::de::Error| {
        Failure::usage(format!(
            "the model file {} cannot be read: {}",
            path.display(),
            error.message()
        ))
    })
}
