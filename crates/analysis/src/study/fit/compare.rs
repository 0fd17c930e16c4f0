//! Laws ranked over a curve.

use std::collections::BTreeMap;

use curvary_record::{Code, Diagnostic, OutcomeKind, Quantity, Run, Technique, Trace};
use serde_json::json;

use super::curve::{FitCurve, curves};
use super::model::Chosen;
use super::points::needs;
use super::{FitPoints, blank, gather, refused, weighs};
use crate::courses::{Course, NestedTest, Preparation, compare_courses, usual_courses};
use crate::fit::{
    Data, Determination, Fit, LawChoice, Options, Warning, allow_for_correlation, compare, f_test, fit,
};
use crate::models::{Constrained, Model};
use crate::refusal::Refusal;
use crate::study::plan::FitPlan;
use crate::study::{PlotData, TraceResult, label_of, tell_apart, title, told};
use crate::wording::{likely, with_error};

/// Several laws ranked over one trace.
#[derive(Clone, Debug, PartialEq)]
pub struct LawRanking {
    /// The record of the ranking.
    pub found: TraceResult,
    /// Each law with its AICc difference to the best and its weight, best first; those that failed stand in `refused`.
    pub ranked: Vec<(String, f64, f64)>,
    /// Laws that could not be fitted, with the reason.
    pub refused: Vec<(String, String)>,
    /// Whether the data single out one law.
    pub told_apart: bool,
    /// The verdict in words.
    pub verdict: String,
}

/// Ranks laws over every trace of a run that the plan speaks of; the usual orders where `models` is empty.
///
/// # Errors
/// The reason, where no comparison came about.
pub fn compare_trace(
    plan: &FitPlan,
    models: &[String],
    run: &Run,
) -> Vec<Result<LawRanking, Box<TraceResult>>> {
    let fail = |label: String, refusal: &Refusal| Err(Box::new(refused(plan, run, None, label, refusal)));
    let usual = usual_laws(run);
    let models: &[String] = if models.is_empty() { &usual } else { models };
    let laws: Result<Vec<Chosen>, Refusal> = if models.is_empty() {
        Ok(usual_courses().into_iter().map(Chosen::Course).collect())
    } else {
        models
            .iter()
            .map(|name| {
                let own = FitPlan {
                    model: name.clone(),
                    ..plan.clone()
                };
                own.chosen()
            })
            .collect()
    };
    let laws = match laws {
        Ok(laws) => laws,
        Err(refusal) => return vec![fail(String::new(), &refusal)],
    };
    let Some(first) = laws.first() else {
        return Vec::new();
    };
    // A plan without a model stands under the name of the first law compared.
    let named = FitPlan {
        model: if plan.model.is_empty() {
            first.model().name().into_owned()
        } else {
            plan.model.clone()
        },
        ..plan.clone()
    };
    let plan = &named;
    if let Some(question) = run.questions.iter().find(|question| weighs(plan, &question.code)) {
        let why = format!("the run is in question: {}", question.message);
        return vec![fail(String::new(), &Refusal::Unsuitable { why })];
    }
    let curves = match curves(plan, first, run) {
        Ok(curves) => curves,
        Err(refusal) => return vec![fail(String::new(), &refusal)],
    };
    let mut all: Vec<Result<LawRanking, Box<TraceResult>>> = curves
        .iter()
        .map(|curve| {
            let trace = curve.trace.as_ref();
            compared(plan, &laws, run, curve).or_else(|refusal| fail(label_of(trace), &refusal))
        })
        .collect();
    tell_apart(all.iter_mut().map(|one| match one {
        Ok(ranking) => &mut ranking.found,
        Err(refused) => refused.as_mut(),
    }));
    all
}

/// The laws that are compared where none is named and the run holds rates over concentrations; for courses there are the usual
/// orders.
pub(super) fn usual_laws(run: &Run) -> Vec<String> {
    let rates = |trace: &Trace| {
        trace.x.quantity == Quantity::CONCENTRATION
            && (trace.y.quantity == Quantity::RATE || run.technique == Technique::RATE_SERIES)
    };
    if run.traces.iter().any(rates) {
        ["michaelis-menten", "hill", "substrate-inhibition"]
            .map(str::to_owned)
            .to_vec()
    } else {
        Vec::new()
    }
}

/// What ranking laws over one curve gave, whatever kind of laws they are.
struct Ranking {
    fits: Vec<Fit>,
    refused: Vec<(String, Refusal)>,
    choice: LawChoice,
    nested: Vec<NestedTest>,
    told_apart: bool,
    verdict: String,
}

/// Ranks time courses, which know what is nested in what.
fn rank_courses(courses: &[Course], gathered: &FitPoints, options: &Options) -> Result<Ranking, Refusal> {
    let bare = Preparation {
        equal_times: true,
        ..Preparation::default()
    };
    let points = &gathered.points;
    let found = compare_courses(courses, &points.time, &points.signal, &bare, options)?;
    Ok(Ranking {
        fits: found.fits.into_iter().map(|fit| fit.fit).collect(),
        refused: found.refused,
        choice: found.choice,
        nested: found.nested,
        told_apart: found.told_apart,
        verdict: found.verdict,
    })
}

/// Ranks laws of any kind over the same points.
fn rank_laws(
    plan: &FitPlan,
    laws: &[Chosen],
    models: &[&dyn Model],
    gathered: &FitPoints,
    options: &Options,
) -> Result<Ranking, Refusal> {
    let columns: Vec<&[f64]> = gathered.columns.iter().map(Vec::as_slice).collect();
    let (mut fits, mut refused) = (Vec::new(), Vec::new());
    for (law, model) in laws.iter().zip(models.iter().copied()) {
        let data = Data {
            x: &columns,
            y: &gathered.response,
            weighting: gathered.weighting(plan),
        };
        let found = if needs(law) == needs(&laws[0]) {
            fit(model, &data, options)
        } else {
            Err(Refusal::Unsuitable {
                why: "it runs along something else than the first law named".into(),
            })
        };
        match found {
            Ok(found) => fits.push(found),
            Err(refusal) => refused.push((model.name().into_owned(), refusal)),
        }
    }
    if fits.len() < 2
        && let Some((_, refusal)) = refused.first()
    {
        return Err(refusal.clone());
    }
    let list: Vec<&Fit> = fits.iter().collect();
    let choice = compare(&list)?;
    let mut nested = Vec::new();
    for simple in &fits {
        for full in &fits {
            if NESTED.contains(&(simple.model.as_ref(), full.model.as_ref()))
                && let Ok(test) = f_test(simple, full)
            {
                nested.push(NestedTest {
                    simple: simple.model.to_string(),
                    full: full.model.to_string(),
                    test,
                });
            }
        }
    }
    Ok(Ranking {
        told_apart: choice.not_told_apart.is_empty(),
        verdict: choice.verdict.clone(),
        fits,
        refused,
        choice,
        nested,
    })
}

/// Laws that are a special case of another: the simpler one first.
pub(super) const NESTED: [(&str, &str); 13] = [
    ("michaelis-menten", "substrate-inhibition"),
    ("michaelis-menten", "hill"),
    ("michaelis-menten", "michaelis-menten+offset"),
    ("progress-product", "progress-product+offset"),
    ("progress-substrate", "progress-substrate+offset"),
    ("competitive", "mixed"),
    ("uncompetitive", "mixed"),
    ("noncompetitive", "mixed"),
    ("competitive", "partial-competitive"),
    ("noncompetitive", "partial-noncompetitive"),
    ("ic50", "four-parameter"),
    ("pka", "two-pka"),
    ("inactivation", "approach-to-steady-rate"),
];

/// Laws of which none contains the other, and which are taken for each other: the ends of `mixed`, and tight binding for a
/// dose curve.
pub(super) const RIVALS: [(&str, &str); 7] = [
    ("competitive", "uncompetitive"),
    ("competitive", "noncompetitive"),
    ("uncompetitive", "competitive"),
    ("uncompetitive", "noncompetitive"),
    ("noncompetitive", "competitive"),
    ("noncompetitive", "uncompetitive"),
    ("ic50", "morrison"),
];

fn compared(plan: &FitPlan, laws: &[Chosen], run: &Run, curve: &FitCurve<'_>) -> Result<LawRanking, Refusal> {
    let trace = curve.trace.as_ref();
    let names: Vec<String> = laws.iter().map(|law| law.model().name().into_owned()).collect();
    let mut outcome = blank(plan, run, curve.number);
    outcome.kind = OutcomeKind::Comparison;
    outcome.model = names.join(", ");
    outcome.settings.insert("models".into(), json!(names));
    // What is left out is told as by a fit; the laws below see the same points.
    outcome.remarks.extend(curve.remarks.iter().cloned());
    let gathered = gather(plan, &laws[0], run, (trace, &curve.recorded), &mut outcome)?;
    let options = Options {
        level: plan.level,
        ..Options::default()
    };
    let courses: Vec<Course> = laws
        .iter()
        .filter_map(|law| match law {
            Chosen::Course(course) => Some(course.clone()),
            _ => None,
        })
        .collect();
    outcome.remarks.extend(plan.say_of_constraints(laws)?);
    let ties: Vec<Option<Constrained<'_>>> = laws
        .iter()
        .map(|law| plan.for_law(law).tied(law))
        .collect::<Result<_, _>>()?;
    let models: Vec<&dyn Model> = laws
        .iter()
        .zip(&ties)
        .map(|(law, tied)| tied.as_ref().map_or(law.model(), |tied| tied as &dyn Model))
        .collect();
    let plainly = plan.weights.is_none() && plan.constraints.is_empty();
    let mut found = if courses.len() == laws.len() && plainly {
        rank_courses(&courses, &gathered, &options)?
    } else {
        rank_laws(plan, laws, &models, &gathered, &options)?
    };
    let ranked: Vec<(String, f64, f64)> = found
        .choice
        .ranking
        .iter()
        .map(|ranked| {
            let name = found.fits[ranked.index].model.to_string();
            (name, ranked.difference, ranked.weight)
        })
        .collect();
    for (name, difference, _) in &ranked {
        outcome
            .statistics
            .insert(format!("aicc_difference {name}"), *difference);
    }
    outcome.termination = if found.told_apart {
        format!("distinguished: {}", ranked[0].0)
    } else {
        "not distinguished".into()
    };
    outcome
        .remarks
        .push(Diagnostic::note(Code::new("fit-remark"), found.verdict.clone()));
    for nested in &found.nested {
        let NestedTest { simple, full, test } = nested;
        outcome
            .statistics
            .insert(format!("f_probability {simple} in {full}"), test.probability);
        outcome.remarks.push(Diagnostic::note(
            Code::new("fit-remark"),
            format!(
                "{simple} within {full}: F {:.2} on {} and {}, probability {} of so much by chance if the simpler law holds",
                test.f,
                test.df1,
                test.df2,
                likely(test.probability)
            ),
        ));
    }
    if trace.x.quantity == Quantity::TIME && plan.weights.is_none() && gathered.columns.len() == 1 {
        let columns: [&[f64]; 1] = [gathered.columns[0].as_slice()];
        for fit in &mut found.fits {
            if let Some(model) = models.iter().find(|model| model.name() == fit.model) {
                allow_for_correlation(*model, &columns, fit);
            }
        }
    }
    outcome.remarks.extend(averaged(&found, &mut outcome.statistics));
    let best = &found.fits[found.choice.ranking[0].index];
    outcome.remarks.extend(none_describes(best));
    let how = &gathered.how;
    let drawn = PlotData {
        x_title: title(&trace.x),
        y_title: title(&trace.y),
        x: trace.x.values.iter().map(|x| x + how.dead_time).collect(),
        y: trace
            .y
            .values
            .iter()
            .map(|y| y / gathered.points.factor.unwrap_or(1.0))
            .collect(),
        used: gathered.points.used.clone(),
        fitted: best.fitted.clone(),
        residuals: best.residuals.clone(),
        ..PlotData::default()
    };
    Ok(LawRanking {
        found: TraceResult {
            trace: curve.number,
            label: label_of(trace),
            outcome: outcome.identified(),
            drawn,
        },
        ranked,
        refused: found
            .refused
            .iter()
            .map(|(name, refusal)| (name.clone(), told(refusal)))
            .collect(),
        told_apart: found.told_apart,
        verdict: found.verdict,
    })
}

/// Says so where the best of the laws leaves residuals that are no noise: a ranking knows only the laws that were ranked.
fn none_describes(best: &Fit) -> Option<Diagnostic> {
    let together = best
        .correlation
        .as_ref()
        .filter(|correlation| correlation.is_seen());
    let sure = best.fit_probability.is_some_and(|chance| chance < TOO_FAR);
    let why = if best.diagnostics.warnings.contains(&Warning::Wandering) || together.is_some() {
        let size = together.map_or(String::new(), |found| {
            format!(" (correlation of neighbours {:.2})", found.lag_one)
        });
        format!("neighbouring points lie on the same side of it more often than chance allows{size}")
    } else {
        let chance = best.fit_probability.filter(|chance| *chance < TOO_FAR)?;
        format!(
            "the points lie farther from it than their standard deviations allow (probability {})",
            likely(chance)
        )
    };
    Some(Diagnostic::warning(
        Code::new("lack-of-fit"),
        format!(
            "{} is the best of these laws, and {} the points: {why}; it may be another law, or the readings err together",
            best.model,
            if sure {
                "does not describe"
            } else {
                "may not describe"
            }
        ),
    ))
}

/// Below this probability points lie too far from a curve for their standard deviations, as in a fit.
const TOO_FAR: f64 = 0.01;

/// Parameters that several of the laws have, averaged over these by their weights, each error with the differences between the laws
/// in it (Burnham and Anderson, Model Selection and Multimodel Inference, 2002, equation 4.9). Told where no law is singled out.
fn averaged(found: &Ranking, statistics: &mut BTreeMap<String, f64>) -> Option<Diagnostic> {
    if found.told_apart {
        return None;
    }
    let considered: Vec<(f64, &Fit)> = found
        .choice
        .ranking
        .iter()
        .filter(|ranked| ranked.difference < FAR)
        .map(|ranked| (ranked.weight, &found.fits[ranked.index]))
        .collect();
    let mut words = Vec::new();
    for parameter in &considered.first()?.1.parameters {
        // The same name in another unit is another quantity.
        let own: Vec<(f64, f64, f64)> = considered
            .iter()
            .filter_map(|(weight, fit)| {
                let own = fit.parameter(&parameter.name)?;
                (own.unit == parameter.unit && own.standing == Determination::Determined).then_some((
                    *weight,
                    own.value,
                    own.standard_error?,
                ))
            })
            .collect();
        let of_laws = considered
            .iter()
            .filter(|(_, fit)| fit.parameter(&parameter.name).is_some());
        let without = of_laws.count() - own.len();
        if own.len() < 2 {
            continue;
        }
        let total: f64 = own.iter().map(|(weight, ..)| weight).sum();
        let mean = own.iter().map(|(weight, value, _)| weight * value).sum::<f64>() / total;
        let error = own
            .iter()
            .map(|(weight, value, error)| weight * error.hypot(value - mean))
            .sum::<f64>()
            / total;
        statistics.insert(format!("averaged {}", parameter.name), mean);
        statistics.insert(format!("averaged_standard_error {}", parameter.name), error);
        words.push(format!(
            "{} {} ({} laws{})",
            parameter.name,
            with_error(mean, error),
            own.len(),
            match without {
                0 => String::new(),
                1 => "; one more does not determine it".to_owned(),
                more => format!("; {more} more do not determine it"),
            }
        ));
    }
    (!words.is_empty()).then(|| {
        Diagnostic::note(
            Code::new("fit-remark"),
            format!(
                "averaged over the laws that are not told apart, by their weights and with the differences between them in the errors: {}",
                words.join(", ")
            ),
        )
    })
}

/// Differences of AICc from here on leave a law without support (as above, section 2.6).
pub(super) const FAR: f64 = 10.0;
