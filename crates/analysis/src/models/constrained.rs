//! A model some of whose parameters follow from others: `k2 = 2*k1`.

use std::borrow::Cow;

use super::formula::Formula;
use super::{DerivedParameter, Model, Specification};
use crate::refusal::Refusal;

/// A parameter that follows from others.
struct ConstraintRule {
    /// Its position in the whole model.
    of: usize,
    /// What it is.
    formula: Formula,
    /// Positions in the whole model of what the formula speaks of, in its order.
    from: Vec<usize>,
}

impl ConstraintRule {
    /// The value, and its derivative by each parameter that the formula speaks of.
    fn value(&self, whole: &[f64]) -> (f64, Vec<f64>) {
        let own: Vec<f64> = self.from.iter().map(|j| whole[*j]).collect();
        let mut value = [0.0];
        let mut slopes = vec![0.0; own.len()];
        // The one column is no part of the formula; it only says that there is one point.
        self.formula
            .differentiate(&[&[0.0]], &own, &mut value, &mut slopes);
        (value[0], slopes)
    }
}

/// A model with constraints between its parameters; those that follow from others are no parameters of it.
pub struct Constrained<'a> {
    model: &'a dyn Model,
    rules: Vec<ConstraintRule>,
    /// Positions in the whole model of the parameters that are left.
    free: Vec<usize>,
    specifications: Vec<Specification>,
    linear: Vec<usize>,
}

/// A parameter that follows from the fitted ones.
#[derive(Clone, Debug, PartialEq)]
pub struct TiedParameter {
    /// What it is called, and its unit in terms of the axes.
    pub specification: Specification,
    /// Its value.
    pub value: f64,
    /// Its derivative by each parameter of the constrained model.
    pub gradient: Vec<f64>,
}

impl<'a> Constrained<'a> {
    /// Ties parameters of a model, each constraint written as `NAME = FORMULA` over names of other parameters.
    ///
    /// # Errors
    /// In words: a constraint that is none, a name that is no parameter, a parameter tied twice or by way of another tied one,
    /// or nothing left to fit.
    pub fn new(model: &'a dyn Model, constraints: &[String]) -> Result<Self, Refusal> {
        let names: Vec<&str> = model.parameters().iter().map(|p| p.name.as_ref()).collect();
        let place = |name: &str, text: &str| {
            names.iter().position(|known| *known == name).ok_or_else(|| {
                Refusal::unsuitable(format!(
                    "the constraint `{text}` speaks of `{name}`, and no parameter is called so: expected one of {}",
                    names.join(", ")
                ))
            })
        };
        let mut rules: Vec<ConstraintRule> = Vec::new();
        for text in constraints {
            let (name, formula) = text
                .split_once('=')
                .filter(|(name, formula)| !name.ends_with(['<', '>', '!']) && !formula.starts_with('='))
                .ok_or_else(|| {
                    Refusal::unsuitable(format!(
                        "`{text}` is no constraint: expected NAME = FORMULA, such as k2 = 2*k1 (limits are --bound)"
                    ))
                })?;
            let of = place(name.trim(), text)?;
            if rules.iter().any(|rule| rule.of == of) {
                return Err(Refusal::unsuitable(format!(
                    "`{}` is tied by two constraints",
                    name.trim()
                )));
            }
            let formula = Formula::parse(formula.trim(), &[NOTHING]).map_err(|error| {
                Refusal::unsuitable(format!("the constraint `{text}` cannot be read: {error}"))
            })?;
            let from: Vec<usize> = formula
                .parameters()
                .iter()
                .map(|p| place(&p.name, text))
                .collect::<Result<_, _>>()?;
            rules.push(ConstraintRule { of, formula, from });
        }
        let is_tied = |j: &usize| rules.iter().any(|rule| rule.of == *j);
        if let Some(tied) = rules.iter().flat_map(|rule| &rule.from).find(|j| is_tied(j)) {
            return Err(Refusal::unsuitable(format!(
                "`{}` is tied, and another constraint follows from it: write each by parameters that are fitted",
                names[*tied]
            )));
        }
        let free: Vec<usize> = (0..names.len()).filter(|j| !is_tied(j)).collect();
        if free.is_empty() {
            return Err(Refusal::unsuitable(
                "every parameter is tied, so that nothing is left to be fitted",
            ));
        }
        let spoken: Vec<usize> = rules.iter().flat_map(|rule| rule.from.clone()).collect();
        let linear = free
            .iter()
            .enumerate()
            .filter(|(_, j)| model.linear().contains(j) && !spoken.contains(j))
            .map(|(k, _)| k)
            .collect();
        Ok(Self {
            specifications: free.iter().map(|j| model.parameters()[*j].clone()).collect(),
            model,
            rules,
            free,
            linear,
        })
    }

    /// Whether a model has every parameter that a constraint names; a text that cannot be read counts as about it, so that
    /// [`Constrained::new`] says what is wrong.
    pub fn concerns(text: &str, model: &dyn Model) -> bool {
        let Some((name, formula)) = text.split_once('=') else {
            return true;
        };
        let Ok(formula) = Formula::parse(formula.trim(), &[NOTHING]) else {
            return true;
        };
        let has = |name: &str| model.parameters().iter().any(|p| p.name == name);
        has(name.trim()) && formula.parameters().iter().all(|p| has(&p.name))
    }

    /// All parameters of the whole model.
    fn whole(&self, p: &[f64]) -> Vec<f64> {
        let mut whole = vec![0.0; self.model.parameters().len()];
        for (j, value) in self.free.iter().zip(p) {
            whole[*j] = *value;
        }
        for rule in &self.rules {
            whole[rule.of] = rule.value(&whole).0;
        }
        whole
    }

    /// The position among the fitted parameters of one of the whole model.
    fn place(&self, whole: usize) -> Option<usize> {
        self.free.iter().position(|j| *j == whole)
    }

    /// The parameters that follow from the fitted ones.
    pub fn tied(&self, p: &[f64]) -> Vec<TiedParameter> {
        let whole = self.whole(p);
        self.rules
            .iter()
            .map(|rule| {
                let (value, slopes) = rule.value(&whole);
                let mut gradient = vec![0.0; self.free.len()];
                for (j, slope) in rule.from.iter().zip(slopes) {
                    if let Some(k) = self.place(*j) {
                        gradient[k] += slope;
                    }
                }
                TiedParameter {
                    specification: self.model.parameters()[rule.of].clone(),
                    value,
                    gradient,
                }
            })
            .collect()
    }
}

/// A variable that nobody writes: constraints are over parameters only.
const NOTHING: &str = "\u{0}";

impl Model for Constrained<'_> {
    fn name(&self) -> Cow<'static, str> {
        self.model.name()
    }

    fn parameters(&self) -> &[Specification] {
        &self.specifications
    }

    fn variables(&self) -> usize {
        self.model.variables()
    }

    fn evaluate(&self, x: &[&[f64]], p: &[f64], values: &mut [f64]) {
        self.model.evaluate(x, &self.whole(p), values);
    }

    fn differentiate(&self, x: &[&[f64]], p: &[f64], values: &mut [f64], columns: &mut [f64]) {
        let n = values.len();
        let whole = self.whole(p);
        let mut all = vec![0.0; n * whole.len()];
        self.model.differentiate(x, &whole, values, &mut all);
        for (k, j) in self.free.iter().enumerate() {
            columns[k * n..(k + 1) * n].copy_from_slice(&all[j * n..(j + 1) * n]);
        }
        for rule in &self.rules {
            let (_, slopes) = rule.value(&whole);
            for (j, slope) in rule.from.iter().zip(slopes) {
                let Some(k) = self.place(*j) else { continue };
                let tied = &all[rule.of * n..(rule.of + 1) * n];
                for (own, tied) in columns[k * n..(k + 1) * n].iter_mut().zip(tied) {
                    *own += slope * tied;
                }
            }
        }
    }

    fn start(&self, x: &[&[f64]], y: &[f64]) -> Result<Vec<f64>, Refusal> {
        let whole = self.model.start(x, y)?;
        Ok(self.free.iter().map(|j| whole[*j]).collect())
    }

    // The start is that of the model without constraints, which may lie far from where they lead.
    fn draws_starts(&self) -> bool {
        false
    }

    fn takes_any_points(&self) -> bool {
        self.model.takes_any_points()
    }

    fn linear(&self) -> &[usize] {
        &self.linear
    }

    fn undefined(&self, x: &[&[f64]], p: &[f64]) -> Option<(usize, String)> {
        self.model.undefined(x, &self.whole(p))
    }

    fn derived(&self, p: &[f64]) -> Vec<DerivedParameter> {
        let whole = self.whole(p);
        let tied = self.tied(p);
        self.model
            .derived(&whole)
            .into_iter()
            .map(|c| {
                let mut gradient: Vec<f64> = self.free.iter().map(|j| c.gradient[*j]).collect();
                for (rule, tied) in self.rules.iter().zip(&tied) {
                    for (own, slope) in gradient.iter_mut().zip(&tied.gradient) {
                        *own += c.gradient[rule.of] * slope;
                    }
                }
                DerivedParameter { gradient, ..c }
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::courses::{Course, Order};
    use crate::fit::{Data, Options, fit};

    /// Two exponentials with k2 = k1/5 and equal amplitudes, against the same written out as a formula.
    #[test]
    fn a_constrained_law_fits_as_its_formula() {
        let t: Vec<f64> = (0..80).map(|i| f64::from(i) * 0.5).collect();
        let y: Vec<f64> = t
            .iter()
            .enumerate()
            .map(|(i, t)| 0.4 * (-0.5 * t).exp() + 0.4 * (-0.1 * t).exp() + 1e-3 * (i as f64 * 2.3).sin())
            .collect();
        let course = Course::new(Order::Biphasic);
        let tied = Constrained::new(&course, &["A2 = A1".into(), "k2 = k1/5".into()]).expect("a model");
        let found = fit(&tied, &Data::new(&[&t], &y), &Options::default()).expect("a fit");
        let formula = Formula::parse("a*(exp(-k*x)+exp(-k/5*x))", &["x"]).expect("a formula");
        let options = Options {
            start: Some(vec![0.3, 0.3]),
            ..Options::default()
        };
        let other = fit(&formula, &Data::new(&[&t], &y), &options).expect("a fit");
        for (a, b) in found.parameters.iter().zip(&other.parameters) {
            assert!((a.value - b.value).abs() < 1e-9 * b.value, "{a:?} {b:?}");
            let (a, b) = (a.standard_error.expect("known"), b.standard_error.expect("known"));
            assert!((a - b).abs() < 1e-6 * b);
        }
        let follows = tied.tied(&found.values());
        assert!((follows[1].value - found.parameters[1].value / 5.0).abs() < 1e-12);
        assert_eq!(follows[1].gradient, [0.0, 0.2]);
    }

    #[test]
    fn what_is_no_constraint_is_refused_in_words() {
        let course = Course::new(Order::Biphasic);
        let refused = |texts: &[&str]| {
            let texts: Vec<String> = texts.iter().map(|text| (*text).to_owned()).collect();
            Constrained::new(&course, &texts)
                .err()
                .expect("refused")
                .to_string()
        };
        assert!(refused(&["k2 < k1"]).contains("no constraint"));
        assert!(refused(&["k3 = k1"]).contains("`k3`"));
        assert!(refused(&["k2 = q*k1"]).contains("`q`"));
        assert!(refused(&["k2 = 2*k1", "k2 = k1"]).contains("two"));
        assert!(refused(&["k2 = 2*k1", "k1 = A1"]).contains("tied"));
        assert!(refused(&["k2 = (k1"]).contains("cannot be read"));
    }
}
