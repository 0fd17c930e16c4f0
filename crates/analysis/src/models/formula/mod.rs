//! Models of one's own: a formula in ordinary algebra over variables and named parameters.
//!
//! `b1*(1-exp(-b2*x))`, `Vmax*S^n/(K^n+S^n)`, `log(y) = b1 - b2*x1*exp(-b3*x2)`. Operators are `+ - * / ^` (also `**`),
//! powers bind tighter than a sign (`-x^2` is `-(x^2)`) and group to the right. Functions are `exp`, `ln` (also `log`),
//! `log10`, `sqrt`, `sin`, `cos`, `tan`, `atan` (also `arctan`) and `abs`; `pi` is the constant. Angles are in radians.
//!
//! Why our own parser: the ready-made one that also differentiates gives the sign of `-x^2` to the base, knows no
//! columns in its errors, and evaluates in doubles only. Here the formula becomes a list of instructions without
//! repetitions, which is run over blocks of points, differentiated exactly by running it backwards (no symbolic
//! expansion, no differences), and evaluated in 31 digits where the last digits of a fit ask for it.

mod columns;
mod mirror;
mod parse;
mod sharpen;
mod tape;

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::fmt;
use std::sync::OnceLock;

use serde::{Deserialize, Serialize};

use super::{Model, Specification};
use crate::fit::RefinedSolution;
use crate::refusal::Refusal;
use tape::FormulaTape;

/// A parsed formula, ready to fit.
#[derive(Clone, Debug)]
pub struct Formula {
    text: String,
    title: String,
    variables: Vec<String>,
    specifications: Vec<Specification>,
    starts: Vec<Option<f64>>,
    tape: FormulaTape,
    response: Option<FormulaTape>,
    measured: String,
    linear: Vec<usize>,
    /// Exchanges of parameters that leave the formula as it is, looked for once.
    exchanges: OnceLock<Vec<Vec<(usize, usize)>>>,
}

/// Why a formula could not be read.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct FormulaError {
    /// Column of the trouble, counted in characters from 1.
    pub column: usize,
    /// What stood there.
    pub found: String,
    /// What could have stood there.
    pub expected: String,
}

impl fmt::Display for FormulaError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "column {}: found {}, expected {}",
            self.column, self.found, self.expected
        )
    }
}

impl std::error::Error for FormulaError {}

/// A model in a file: what stands in the TOML, one table for each parameter.
///
/// ```toml
/// title = "Saturation with a constant background"
/// formula = "Vmax*S/(Km+S) + v0"
/// variables = ["S"]
/// [parameters.Vmax]
/// unit = "umol/min"
/// start = 1.0
/// lower = 0.0
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ModelFile {
    /// What the model is called in results.
    pub title: String,
    /// The formula.
    pub formula: String,
    /// Names of the variables, in the order of the columns; `["x"]` if absent.
    #[serde(default = "only_x")]
    pub variables: Vec<String>,
    /// Where the model comes from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
    /// What is known of the parameters.
    #[serde(default)]
    pub parameters: BTreeMap<String, ParameterEntry>,
}

fn only_x() -> Vec<String> {
    vec!["x".into()]
}

/// What a model file says about one parameter.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ParameterEntry {
    /// Unit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    /// Starting value.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub start: Option<f64>,
    /// Smallest value allowed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lower: Option<f64>,
    /// Largest value allowed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub upper: Option<f64>,
}

impl Formula {
    /// Reads a formula. Names that are not among `variables` are parameters, in the order in which they first appear.
    ///
    /// A left-hand side in one name alone (`log(y) = …`) says how the measured values are transformed before the fit; see
    /// [`Formula::respond`]. A plain `y = …` changes nothing.
    ///
    /// # Errors
    /// What was found where, and what was expected.
    pub fn parse(text: &str, variables: &[&str]) -> Result<Self, FormulaError> {
        let parsed = parse::parse(text, variables)?;
        let specifications = parsed
            .parameters
            .iter()
            .map(|name| Specification {
                name: Cow::Owned(name.clone()),
                unit: Cow::Borrowed(""),
                positive: false,
                lower: None,
                upper: None,
            })
            .collect::<Vec<_>>();
        let linear = parsed.tape.linear_parameters(specifications.len());
        Ok(Self {
            text: text.trim().into(),
            title: text.trim().into(),
            variables: variables.iter().map(|v| (*v).into()).collect(),
            starts: vec![None; specifications.len()],
            specifications,
            tape: parsed.tape,
            response: parsed.response,
            measured: parsed.measured,
            linear,
            exchanges: OnceLock::new(),
        })
    }

    /// Builds the model that a file describes.
    ///
    /// # Errors
    /// As [`Formula::parse`]; also an entry for a parameter that the formula does not have.
    pub fn from_file(file: &ModelFile) -> Result<Self, FormulaError> {
        let variables: Vec<&str> = file.variables.iter().map(String::as_str).collect();
        let mut formula = Self::parse(&file.formula, &variables)?;
        formula.title.clone_from(&file.title);
        for (name, entry) in &file.parameters {
            let Some(j) = formula.position(name) else {
                let names: Vec<&str> = formula.specifications.iter().map(|s| s.name.as_ref()).collect();
                return Err(FormulaError {
                    column: 1,
                    found: format!("settings for '{name}', which the formula does not use"),
                    expected: format!("one of {}", names.join(", ")),
                });
            };
            let specification = &mut formula.specifications[j];
            if let Some(unit) = &entry.unit {
                specification.unit = Cow::Owned(unit.clone());
            }
            specification.lower = entry.lower;
            specification.upper = entry.upper;
            formula.starts[j] = entry.start;
        }
        Ok(formula)
    }

    /// The formula as it was written.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// What the left-hand side calls the measured values; `y` where there is none.
    pub fn measured(&self) -> &str {
        &self.measured
    }

    /// Position of a parameter by name.
    pub fn position(&self, name: &str) -> Option<usize> {
        self.specifications.iter().position(|s| s.name == name)
    }

    /// The measured values as the left-hand side transforms them; unchanged for a plain `y`.
    ///
    /// # Errors
    /// [`Refusal::Undefined`] where the left-hand side has no value.
    pub fn respond(&self, y: &[f64]) -> Result<Vec<f64>, Refusal> {
        let Some(tape) = &self.response else {
            return Ok(y.to_vec());
        };
        let mut values = vec![0.0; y.len()];
        tape.evaluate(&[y], &[], &mut values);
        match values.iter().position(|v| !v.is_finite()) {
            None => Ok(values),
            Some(index) => {
                let what = tape
                    .trouble(&[y], &[], index)
                    .unwrap_or_else(|| "the left-hand side".into());
                Err(Refusal::Undefined { what, index })
            }
        }
    }
}

impl Model for Formula {
    fn name(&self) -> Cow<'static, str> {
        Cow::Owned(self.title.clone())
    }

    fn parameters(&self) -> &[Specification] {
        &self.specifications
    }

    fn variables(&self) -> usize {
        self.variables.len()
    }

    fn evaluate(&self, x: &[&[f64]], p: &[f64], values: &mut [f64]) {
        self.tape.evaluate(x, p, values);
    }

    fn differentiate(&self, x: &[&[f64]], p: &[f64], values: &mut [f64], columns: &mut [f64]) {
        self.tape.differentiate(x, p, values, columns);
    }

    fn start(&self, _x: &[&[f64]], _y: &[f64]) -> Result<Vec<f64>, Refusal> {
        let missing: Vec<&str> = (0..self.starts.len())
            .filter(|j| self.starts[*j].is_none() && !self.linear.contains(j))
            .map(|j| self.specifications[j].name.as_ref())
            .collect();
        if !missing.is_empty() {
            return Err(Refusal::NoStart {
                why: format!("a formula needs a starting value for {}", missing.join(", ")),
            });
        }
        // Linear parameters are solved for: any value that is not at a singular point does.
        Ok(self.starts.iter().map(|s| s.unwrap_or(1.0)).collect())
    }

    fn draws_starts(&self) -> bool {
        false
    }

    fn linear(&self) -> &[usize] {
        &self.linear
    }

    fn arrange(&self, start: &[f64], p: &mut [f64]) {
        if self
            .specifications
            .iter()
            .all(|s| s.lower.is_none() && s.upper.is_none())
        {
            let exchanges = self
                .exchanges
                .get_or_init(|| mirror::exchanges(&self.tape, self.variables.len(), p.len()));
            mirror::arrange(exchanges, &self.linear, start, p);
        }
    }

    fn sharpen(
        &self,
        x: &[&[f64]],
        y: &[f64],
        weights: Option<&[f64]>,
        p: &[f64],
        free: &[bool],
    ) -> Option<RefinedSolution> {
        sharpen::sharpen(&self.tape, x, y, weights, p, free)
    }

    fn exact_sum(&self, x: &[&[f64]], y: &[f64], weights: Option<&[f64]>, p: &[f64]) -> Option<f64> {
        sharpen::sum_of_squares(&self.tape, x, y, weights, p)
    }

    fn undefined(&self, x: &[&[f64]], p: &[f64]) -> Option<(usize, String)> {
        let n = x.first().map_or(0, |c| c.len());
        (0..n).find_map(|i| self.tape.trouble(x, p, i).map(|what| (i, what)))
    }
}
