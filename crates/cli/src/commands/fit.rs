//! `curvary fit`: a formula or a law fitted to the curves of files, with the uncertainty of every number.

use std::io::Write;
use std::path::PathBuf;

use clap::Args;
use curvary_analysis::fit::{self, Data, Fit as Fitted, Interval, Options};
use curvary_analysis::models::Model;
use curvary_analysis::models::formula::Formula;
use curvary_analysis::models::law::{LAWS, Law};
use curvary_formats::{Assumptions, Readers, Source};
use curvary_record::{Code, Column, Diagnostic, Trace};
use serde_json::{Value, json};

use crate::ending::{Ending, Failure, Outcome};
use crate::screen::{FAINT, STRONG, Screen, Styled};

/// Fit a formula or a law to the curves of a file
///
/// A formula does not mind what the axes of a bare table mean: its x is the running column, whatever was measured over
/// it. Nothing is stored.
#[derive(Debug, Args)]
pub(crate) struct Fit {
    /// Files with curves
    #[arg(value_name = "FILE", required = true)]
    files: Vec<PathBuf>,
    /// A formula over x and parameters of your own naming, such as `b1*(1-exp(-b2*x))`
    #[arg(
        long,
        value_name = "FORMULA",
        conflicts_with = "model",
        required_unless_present = "model"
    )]
    formula: Option<String>,
    /// A law by its name; an unknown name lists them
    #[arg(long, value_name = "NAME")]
    model: Option<String>,
    /// Starting values of the parameters, such as `b1=500,b2=0.0001`
    #[arg(long, value_name = "NAME=VALUE", value_delimiter = ',')]
    start: Vec<String>,
    /// What is fitted in place of the measured values, a formula over y such as `log(y)`
    #[arg(long, value_name = "FORMULA")]
    response: Option<String>,
    /// Level of the intervals
    #[arg(long, value_name = "LEVEL", default_value_t = 0.95)]
    level: f64,
    /// Find profile-likelihood intervals too; an end that the data leave open stays open
    #[arg(long)]
    profile: bool,
    /// Print JSON: one object a curve, with parameters, covariance, statistics and diagnostics
    #[arg(long)]
    json: bool,
}

/// What is fitted.
enum Chosen {
    Formula(Box<Formula>),
    Law(&'static Law),
}

impl Chosen {
    fn model(&self) -> &dyn Model {
        match self {
            Self::Formula(formula) => formula.as_ref(),
            Self::Law(law) => *law,
        }
    }
}

/// One curve to fit.
struct Curve {
    label: String,
    x: Vec<f64>,
    y: Vec<f64>,
    remarks: Vec<String>,
}

impl Fit {
    /// Does it.
    pub(crate) fn run(self, screen: &mut Screen) -> Outcome {
        let chosen = self.chosen()?;
        let (mut good, mut bad) = (0, 0);
        let mut all = Vec::new();
        for path in &self.files {
            for curve in curves(path)? {
                let place = path.display().to_string();
                let found = self.fit(&chosen, &curve);
                match &found {
                    Ok(_) => good += 1,
                    Err(_) => bad += 1,
                }
                if self.json {
                    all.push(self.told(&place, &curve, found.as_ref()));
                } else {
                    print(screen, &place, &curve, found.as_ref())?;
                }
            }
        }
        if self.json {
            match all.as_slice() {
                [one] => screen.json(one)?,
                many => screen.json(&many)?,
            }
        }
        Ok(Ending::of(good, bad))
    }

    fn chosen(&self) -> Result<Chosen, Failure> {
        if !(self.level > 0.0 && self.level < 1.0) {
            return Err(Failure::usage(format!(
                "`--level {}` lies not between 0 and 1",
                self.level
            )));
        }
        if let Some(name) = &self.model {
            let names: Vec<&str> = LAWS.iter().map(|law| law.name).collect();
            let law = Law::named(name).ok_or_else(|| {
                Failure::usage(format!(
                    "no law is called `{name}`; there are {}",
                    names.join(", ")
                ))
            })?;
            return Ok(Chosen::Law(law));
        }
        let text = self.formula.as_deref().unwrap_or_default();
        let whole = match &self.response {
            Some(response) => format!("{response} = {text}"),
            None => text.to_owned(),
        };
        Formula::parse(&whole, &["x"])
            .map(|formula| Chosen::Formula(Box::new(formula)))
            .map_err(|error| Failure::usage(format!("the formula `{whole}` cannot be read: {error}")))
    }

    fn options(&self, model: &dyn Model) -> Result<Options, String> {
        let names: Vec<String> = model
            .parameters()
            .iter()
            .map(|parameter| parameter.name.to_string())
            .collect();
        let mut given: Vec<Option<f64>> = vec![None; names.len()];
        for text in &self.start {
            let wrong = || {
                format!(
                    "`{text}` is no starting value: expected NAME=VALUE, with a name of {}",
                    names.join(", ")
                )
            };
            let (name, value) = text.split_once('=').ok_or_else(wrong)?;
            let place = names
                .iter()
                .position(|known| known == name.trim())
                .ok_or_else(wrong)?;
            given[place] = Some(value.trim().parse::<f64>().map_err(|_| wrong())?);
        }
        let start = if given.iter().any(Option::is_some) {
            let whole: Option<Vec<f64>> = given.iter().copied().collect();
            Some(whole.ok_or_else(|| format!("starting values are needed for all of {}", names.join(", ")))?)
        } else {
            None
        };
        Ok(Options {
            start,
            level: self.level,
            profile: self.profile,
            ..Options::default()
        })
    }

    fn fit(&self, chosen: &Chosen, curve: &Curve) -> Result<Fitted, String> {
        let options = self.options(chosen.model())?;
        let response = match chosen {
            Chosen::Formula(formula) => formula
                .respond(&curve.y)
                .map_err(|refusal| format!("{}: {refusal}", refusal.code()))?,
            Chosen::Law(_) => curve.y.clone(),
        };
        let x: [&[f64]; 1] = [&curve.x];
        fit::fit(chosen.model(), &Data::new(&x, &response), &options)
            .map_err(|refusal| format!("{}: {refusal}", refusal.code()))
    }

    fn told(&self, place: &str, curve: &Curve, found: Result<&Fitted, &String>) -> Value {
        let model = self.model.clone().unwrap_or_else(|| "formula".to_owned());
        let head = json!({
            "source": place,
            "trace": curve.label,
            "model": model,
            "formula": self.formula,
            "response": self.response,
        });
        let body = match found {
            Err(reason) => {
                json!({ "termination": "refused", "reason": reason, "parameters": [], "remarks": curve.remarks })
            }
            Ok(fit) => {
                let parameters: Vec<Value> = fit.parameters.iter().map(|p| {
                    let interval = |interval: &Option<Interval>, kind: &str| {
                        interval.as_ref().map(|i| json!({ "level": fit.level, "low": i.lower, "high": i.upper, "kind": kind }))
                    };
                    let intervals: Vec<Value> =
                        [interval(&p.interval, "t"), interval(&p.profile, "profile-likelihood")].into_iter().flatten().collect();
                    json!({
                        "name": p.name, "value": p.value, "unit": p.unit, "standard_error": p.standard_error,
                        "intervals": intervals, "standing": p.standing.words(),
                    })
                }).collect();
                let size = fit.parameters.len();
                let covariance: Option<Vec<&[f64]>> = fit
                    .covariance
                    .as_ref()
                    .map(|all| all.chunks(size.max(1)).collect());
                json!({
                    "termination": fit.termination.words(),
                    "parameters": parameters,
                    "derived": fit.derived,
                    "covariance": covariance,
                    "statistics": {
                        "points": fit.points,
                        "degrees_of_freedom": fit.degrees_of_freedom,
                        "residual_sum_of_squares": fit.residual_sum_of_squares,
                        "residual_standard_deviation": fit.residual_sd,
                        "r_squared": fit.r_squared,
                        "aicc": fit.aicc,
                    },
                    "diagnostics": fit.diagnostics,
                    "fit_remarks": fit.remarks,
                    "remarks": curve.remarks,
                })
            }
        };
        let (Value::Object(mut head), Value::Object(body)) = (head, body) else {
            return Value::Null;
        };
        head.extend(body);
        Value::Object(head)
    }
}

/// The curves of a file, one for each measured column. Sweeps of one column are fitted together.
fn curves(path: &PathBuf) -> Result<Vec<Curve>, Failure> {
    let bytes = std::fs::read(path).map_err(|error| Failure::file("read", path, &error))?;
    let name = path.display().to_string();
    let readers = Readers::built_in();
    let plain = Source::new(name.clone(), bytes.clone());
    let (_, mut reading) = readers.read(&plain, None);
    let mut remarks = Vec::new();
    if reading.runs.is_empty() || reading.runs.iter().any(curvary_record::Run::in_question) {
        // What the axes mean is no matter to a formula; what the numbers are is.
        let mut assume = Assumptions::none();
        for settled in ["x=x:1", "y=y:1"] {
            assume.add(settled).map_err(Failure::usage)?;
        }
        let (_, again) = readers.read(&Source::new(name.clone(), bytes).assuming(assume), None);
        if !again.runs.is_empty() {
            remarks.push("what the axes mean was left open, since the fit does not need it".to_owned());
            reading = again;
        }
    }
    // A date or a condition in doubt changes no number of a curve.
    let about_conditions = ["day-or-month-first", "two-units", "wavelength-disputed"];
    let mut open = reading.runs.iter().flat_map(|run| &run.questions);
    if let Some(question) = open.find(|question| !about_conditions.contains(&question.code.as_str())) {
        let readings: Vec<&str> = question
            .readings
            .iter()
            .map(|reading| reading.assume.as_str())
            .collect();
        return Err(Failure::nothing(
            Diagnostic::error(
                question.code.clone(),
                format!("`{name}` is in question: {}", question.message),
            )
            .help(format!(
                "`curvary convert` with `--assume` settles it: {}",
                readings.join(" or ")
            )),
        ));
    }
    if reading.runs.is_empty() {
        let why = reading.remarks.into_iter().next();
        return Err(Failure::nothing(why.unwrap_or_else(|| {
            Diagnostic::error(Code::new("no-table"), "no curve was found")
        })));
    }
    let mut curves: Vec<(Option<String>, Curve)> = Vec::new();
    for run in &reading.runs {
        let mut own: Vec<(Option<String>, Curve)> = Vec::new();
        for trace in &run.traces {
            let key = column_key(&trace.y, trace);
            let (x, y, left_out) = clean(trace);
            match own.iter_mut().find(|(known, _)| *known == key) {
                Some((_, curve)) if key.is_some() || run.traces.len() > 1 && trace.label.is_none() => {
                    curve.x.extend(x);
                    curve.y.extend(y);
                }
                _ => {
                    let mut told = remarks.clone();
                    if left_out > 0 {
                        told.push(format!("{left_out} saturated points were left out"));
                    }
                    let label = trace.label.clone().unwrap_or_default();
                    own.push((
                        key,
                        Curve {
                            label,
                            x,
                            y,
                            remarks: told,
                        },
                    ));
                }
            }
        }
        curves.extend(own);
    }
    Ok(curves.into_iter().map(|(_, curve)| curve).collect())
}

fn column_key(y: &Column, trace: &Trace) -> Option<String> {
    y.name
        .clone()
        .or_else(|| trace.label.clone())
        .filter(|_| trace.held.is_empty())
}

/// The points of a curve without those that were marked as saturated.
fn clean(trace: &Trace) -> (Vec<f64>, Vec<f64>, usize) {
    let kept: Vec<usize> = (0..trace.len())
        .filter(|&i| !trace.saturated.iter().any(|&s| s as usize == i))
        .collect();
    let pick = |column: &Column| kept.iter().map(|&i| column.values[i]).collect();
    (pick(&trace.x), pick(&trace.y), trace.len() - kept.len())
}

/// A value rounded to two figures of its error, and the error.
fn rounded(value: f64, error: Option<f64>) -> (String, String) {
    match error.filter(|error| *error > 0.0 && error.is_finite()) {
        None => (format!("{value}"), "-".to_owned()),
        Some(error) => {
            let power = error.log10().floor();
            let digits = 1.0 - power;
            if (0.0..=12.0).contains(&digits) && value.abs() < 1e9 {
                let digits = digits as usize;
                (format!("{value:.digits$}"), format!("{error:.digits$}"))
            } else {
                let figures =
                    ((value.abs().max(f64::MIN_POSITIVE).log10().floor() - power).max(0.0) + 1.0) as usize;
                (format!("{value:.figures$e}"), format!("{error:.1e}"))
            }
        }
    }
}

fn print(
    screen: &mut Screen,
    place: &str,
    curve: &Curve,
    found: Result<&Fitted, &String>,
) -> Result<(), Failure> {
    let label = if curve.label.is_empty() {
        String::new()
    } else {
        format!(", {}", curve.label)
    };
    writeln!(screen, "{}", Styled(STRONG, format!("{place}{label}")))?;
    for remark in &curve.remarks {
        writeln!(screen, "  {}", Styled(FAINT, remark))?;
    }
    let fit = match found {
        Err(reason) => {
            writeln!(screen, "  no fit: {reason}")?;
            return Ok(());
        }
        Ok(fit) => fit,
    };
    for parameter in &fit.parameters {
        let (value, error) = rounded(parameter.value, parameter.standard_error);
        let interval =
            parameter
                .profile
                .as_ref()
                .or(parameter.interval.as_ref())
                .map_or(String::new(), |interval| {
                    let end = |end: Option<f64>| {
                        end.map_or("open".to_owned(), |value| {
                            rounded(value, parameter.standard_error).0
                        })
                    };
                    format!(
                        "{:.0} %: {} to {}",
                        fit.level * 100.0,
                        end(interval.lower),
                        end(interval.upper)
                    )
                });
        writeln!(
            screen,
            "  {:<10} {value:>16} ± {error:<12} {interval}  {}",
            parameter.name,
            parameter.standing.words()
        )?;
    }
    writeln!(
        screen,
        "  {} points, residual standard deviation {:.4e}, {}",
        fit.points,
        fit.residual_sd,
        fit.termination.words()
    )?;
    Ok(())
}
