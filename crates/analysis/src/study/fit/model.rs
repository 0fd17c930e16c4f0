//! The models that a plan can name.

use curvary_record::{Code, Diagnostic};

use crate::courses::{Course, Order};
use crate::fit::Options;
use crate::models::formula::Formula;
use crate::models::law::{LAWS, Law};
use crate::models::{Constrained, Model};
use crate::refusal::Refusal;
use crate::study::plan::{FitPlan, ParameterPlan};

/// A model that a plan names.
pub(in crate::study) enum Chosen {
    Course(Course),
    Law(&'static Law),
    Formula(Box<Formula>),
}

/// Names of the rate laws of time courses; each may be followed by `+offset`, `+drift` and `+lag`.
pub(super) const ORDERS: [(&str, Order); 8] = [
    ("zero-order", Order::Zero),
    ("first-order", Order::First),
    ("second-order", Order::Second),
    ("second-order-unequal", Order::SecondUnequal),
    ("reversible-first-order", Order::ReversibleFirst),
    ("consecutive", Order::Consecutive),
    ("biphasic", Order::Biphasic),
    ("approach-to-steady-rate", Order::Approach),
];

/// A model as a list shows it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ModelCard {
    /// Name, as a plan names it.
    pub name: &'static str,
    /// Equation; `t` is the time, `T` the temperature in kelvin, `f` a part of a total; other capitals are concentrations.
    pub equation: &'static str,
    /// Names of its parameters, each with its unit in terms of the axes.
    pub parameters: Vec<(String, String)>,
}

/// The equations of the laws of time courses, in the order of [`ORDERS`].
const EQUATIONS: [&str; 8] = [
    "y0 - k t",
    "A exp(-k t)",
    "A / (1 + |A| k t)",
    "A0 D / (B0 exp(D k t) - A0), D = B0 - A0",
    "A0 (kr + kf exp(-(kf + kr) t)) / (kf + kr)",
    "A0 k1 (exp(-k1 t) - exp(-k2 t)) / (k2 - k1)",
    "A1 exp(-k1 t) + A2 exp(-k2 t)",
    "y0 + vs t + (v0 - vs) (1 - exp(-k t)) / k",
];

impl FitPlan {
    /// Every model that can be named, with its equation and parameters.
    pub fn list() -> Vec<ModelCard> {
        let parameters = |model: &dyn Model| {
            model
                .parameters()
                .iter()
                .map(|p| (p.name.to_string(), p.unit.to_string()))
                .collect()
        };
        let courses = ORDERS
            .iter()
            .zip(EQUATIONS)
            .map(|((name, order), equation)| ModelCard {
                name,
                equation,
                parameters: parameters(&Course::new(*order)),
            });
        let laws = LAWS.iter().map(|law| ModelCard {
            name: law.name,
            equation: law.equation.unwrap_or(match law.name {
                "progress-product-inhibited" => {
                    "y0 + P, (1 - Km/Kp) P + Km (1 + S0/Kp) ln(S0/(S0 - P)) = Vmax t"
                }
                "job-plot" => "dy c, (1 - f - c) (f - n c)^n = K c",
                "progress-product+offset" | "progress-substrate+offset" => {
                    "y0 + the integrated law of Michaelis and Menten, by Lambert's W"
                }
                name if name.starts_with("progress-") => {
                    "the integrated law of Michaelis and Menten, by Lambert's W"
                }
                _ => "no closed form; `Law::equation` has none",
            }),
            parameters: parameters(law),
        });
        courses.chain(laws).collect()
    }

    /// The one name of a model whose parts may be given in any order: `first-order+drift+offset` is `first-order+offset+drift`.
    pub fn usual_name(name: &str) -> String {
        course(name).map_or_else(|_| name.to_owned(), |course| course.name().into_owned())
    }

    /// Every model that can be named.
    pub fn models() -> Vec<&'static str> {
        ORDERS
            .iter()
            .map(|(name, _)| *name)
            .chain(LAWS.iter().map(|law| law.name))
            .collect()
    }

    /// Whether the plan can be carried out at all, before any data are seen.
    ///
    /// # Errors
    /// What was found and what was expected, in words.
    pub fn check(&self) -> Result<(), Refusal> {
        if !(self.level > 0.0 && self.level < 1.0) {
            return Err(Refusal::unsuitable(format!(
                "the level {} lies not between 0 and 1",
                self.level
            )));
        }
        let chosen = self.chosen()?;
        let names: Vec<&str> = chosen
            .model()
            .parameters()
            .iter()
            .map(|p| p.name.as_ref())
            .collect();
        if let Some(unknown) = self
            .parameters
            .keys()
            .find(|name| !names.contains(&name.as_str()))
        {
            return Err(Refusal::unsuitable(format!(
                "no parameter is called `{unknown}`: expected one of {}",
                names.join(", ")
            )));
        }
        if !self.constraints.is_empty() {
            let tied = Constrained::new(chosen.model(), &self.constraints)?;
            let left: Vec<&str> = tied.parameters().iter().map(|p| p.name.as_ref()).collect();
            if let Some(name) = self.parameters.iter().find_map(|(name, plan)| {
                let said = plan.start.is_some()
                    || plan.held.is_some()
                    || plan.lower.is_some()
                    || plan.upper.is_some();
                (said && !left.contains(&name.as_str())).then_some(name)
            }) {
                return Err(Refusal::unsuitable(format!(
                    "`{name}` follows from a constraint, so that no start, limit or fixed value can be given for it"
                )));
            }
        }
        Ok(())
    }

    /// Whether the model says nothing about what the axes mean.
    pub fn is_formula(&self) -> bool {
        self.formula.is_some()
    }

    /// The model with the plan's constraints; none where there are none.
    pub(super) fn tied<'a>(&self, chosen: &'a Chosen) -> Result<Option<Constrained<'a>>, Refusal> {
        if self.constraints.is_empty() {
            return Ok(None);
        }
        Constrained::new(chosen.model(), &self.constraints).map(Some)
    }

    /// The same plan for one of several laws: with those constraints alone whose parameters the law has.
    pub(super) fn for_law(&self, chosen: &Chosen) -> Self {
        let constraints = self.constraints.iter();
        Self {
            constraints: constraints
                .filter(|text| Constrained::concerns(text, chosen.model()))
                .cloned()
                .collect(),
            ..self.clone()
        }
    }

    /// Says which of several laws stand without a constraint, having no such parameters.
    ///
    /// # Errors
    /// A constraint that is about none of them.
    pub(super) fn say_of_constraints(&self, laws: &[Chosen]) -> Result<Vec<Diagnostic>, Refusal> {
        let mut all = Vec::new();
        for text in &self.constraints {
            let (with, without): (Vec<&Chosen>, Vec<&Chosen>) = laws
                .iter()
                .partition(|law| Constrained::concerns(text, law.model()));
            let names = |laws: &[&Chosen]| {
                let names: Vec<String> = laws.iter().map(|law| law.model().name().into_owned()).collect();
                names.join(", ")
            };
            if with.is_empty() {
                return Err(Refusal::Unsuitable {
                    why: format!("no law compared has the parameters of the constraint `{text}`"),
                });
            }
            if !without.is_empty() {
                all.push(Diagnostic::note(
                    Code::new("fit-remark"),
                    format!(
                        "the constraint `{text}` holds in {}; without it, having no such parameters: {}",
                        names(&with),
                        names(&without)
                    ),
                ));
            }
        }
        Ok(all)
    }

    pub(super) fn chosen(&self) -> Result<Chosen, Refusal> {
        if let Some(formula) = &self.formula {
            let whole = match &self.response {
                Some(response) => format!("{response} = {formula}"),
                None => formula.clone(),
            };
            let names: Vec<&str> = self.variables.iter().map(|(name, _)| name.as_str()).collect();
            let names = if names.is_empty() { vec!["x"] } else { names };
            return Formula::parse(&whole, &names)
                .map(|formula| Chosen::Formula(Box::new(formula)))
                .map_err(|error| {
                    Refusal::unsuitable(format!("the formula `{whole}` cannot be read: {error}"))
                });
        }
        if let Some(law) = Law::named(&self.model) {
            return Ok(Chosen::Law(law));
        }
        course(&self.model).map(Chosen::Course)
    }

    /// The name under which results stand.
    pub(super) fn name(&self) -> String {
        match &self.formula {
            Some(formula) => match &self.response {
                Some(response) => format!("{response} = {formula}"),
                None => formula.clone(),
            },
            None => self.model.clone(),
        }
    }

    pub(super) fn options(&self, model: &dyn Model) -> Result<Options, Refusal> {
        let places: Vec<(usize, &ParameterPlan)> = model
            .parameters()
            .iter()
            .enumerate()
            .filter_map(|(place, parameter)| Some((place, self.parameters.get(parameter.name.as_ref())?)))
            .collect();
        let count = model.parameters().len();
        let starts: Vec<Option<f64>> = (0..count)
            .map(|place| {
                places
                    .iter()
                    .find(|(at, _)| *at == place)
                    .and_then(|(_, plan)| plan.start.or(plan.held))
            })
            .collect();
        let start = if places.iter().any(|(_, plan)| plan.start.is_some()) {
            let missing: Vec<&str> = (0..count)
                .filter(|place| starts[*place].is_none())
                .map(|place| model.parameters()[place].name.as_ref())
                .collect();
            if !missing.is_empty() {
                return Err(Refusal::NoStart {
                    why: format!(
                        "starting values are given for some parameters only; {} {} none{}",
                        missing.join(", "),
                        if missing.len() == 1 { "has" } else { "have" },
                        if self.is_formula() && missing.contains(&"t") {
                            "; the running column, a time too, is called `x` in a formula, or by its own header"
                        } else {
                            ""
                        }
                    ),
                });
            }
            Some(starts.into_iter().flatten().collect())
        } else {
            None
        };
        Ok(Options {
            start,
            held: places
                .iter()
                .filter_map(|(place, plan)| Some((*place, plan.held?)))
                .collect(),
            bounds: places
                .iter()
                .filter(|(_, plan)| plan.lower.is_some() || plan.upper.is_some())
                .map(|(place, plan)| (*place, plan.lower, plan.upper))
                .collect(),
            robust: self.robust,
            level: self.level,
            profile: self.profile,
            ..Options::default()
        })
    }
}

/// Letters and figures alone, by which slips are compared.
fn plainly(name: &str) -> String {
    let kept = name.chars().filter(|letter| letter.is_alphanumeric());
    kept.flat_map(char::to_lowercase).collect()
}

/// The model that was meant by a name with another sign between its words, or a part of it.
fn near(wrong: &str) -> Option<&'static str> {
    let wrong = plainly(wrong);
    let names = || FitPlan::models().into_iter();
    let alike = |name: &&str| plainly(name) == wrong;
    let part = |name: &&str| wrong.len() >= 4 && plainly(name).starts_with(&wrong);
    names().find(alike).or_else(|| names().find(part))
}

/// The course of a name such as `first-order+offset`.
pub(super) fn course(name: &str) -> Result<Course, Refusal> {
    let mut parts = name.split('+').map(str::trim);
    let base = parts.next().unwrap_or_default();
    let order = ORDERS.iter().find(|(known, _)| *known == base).ok_or_else(|| {
        if Law::named(base).is_some() {
            return Refusal::unsuitable(format!(
                "`{base}` takes no +offset, +drift or +lag: that do {} and, with +offset, {}",
                ORDERS.map(|(name, _)| name).join(", "),
                LAWS.iter()
                    .filter_map(|law| law.name.strip_suffix("+offset"))
                    .collect::<Vec<_>>()
                    .join(", ")
            ));
        }
        let near = near(base).map_or_else(String::new, |near| format!("did you mean `{near}`? "));
        Refusal::unsuitable(format!(
            "no model is called `{base}`; {near}there are {} (each with +offset, +drift or +lag behind it where wanted) and {}",
            ORDERS.map(|(name, _)| name).join(", "),
            LAWS.iter().map(|law| law.name).collect::<Vec<_>>().join(", ")
        ))
    })?;
    let mut course = Course::new(order.1);
    for part in parts {
        course = match part {
            "offset" => course.with_offset(),
            "drift" => course.with_drift(),
            "lag" => course.with_lag(),
            other => {
                return Err(Refusal::unsuitable(format!(
                    "nothing is called `+{other}`: expected +offset, +drift or +lag"
                )));
            }
        }?;
    }
    Ok(course)
}

impl Chosen {
    pub(super) fn model(&self) -> &dyn Model {
        match self {
            Self::Course(course) => course,
            Self::Law(law) => *law,
            Self::Formula(formula) => formula.as_ref(),
        }
    }
}
