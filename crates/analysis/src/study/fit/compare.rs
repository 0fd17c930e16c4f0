//! Laws ranked over a curve.

use curvary_record::{Code, Diagnostic, Run};
use serde_json::json;

use super::curve::{Curve, curves};
use super::model::{Chosen, course};
use super::points::{preparation, prepared};
use super::{blank, refused, weighs};
use crate::courses::{Course, Preparation, compare_courses, usual_courses};
use crate::fit::Options;
use crate::models::Model;
use crate::refusal::Refusal;
use crate::study::plan::FitPlan;
use crate::study::{Drawn, Found, label_of, title, told};

/// Several laws ranked over one trace.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    /// The record of the ranking.
    pub found: Found,
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
pub fn compare_trace(plan: &FitPlan, models: &[String], run: &Run) -> Vec<Result<Comparison, Box<Found>>> {
    let courses: Result<Vec<Course>, String> = if models.is_empty() {
        Ok(usual_courses())
    } else {
        models.iter().map(|name| course(name)).collect()
    };
    let fail = |label: String, refusal: &Refusal| Err(Box::new(refused(plan, run, None, label, refusal)));
    let courses = match courses {
        Ok(courses) => courses,
        Err(why) => return vec![fail(String::new(), &Refusal::Unsuitable { why })],
    };
    let first = match courses.first() {
        Some(first) => Chosen::Course(first.clone()),
        None => return Vec::new(),
    };
    if let Some(question) = run
        .questions
        .iter()
        .find(|question| weighs(plan, question.code.as_str()))
    {
        let why = format!("the run is in question: {}", question.message);
        return vec![fail(String::new(), &Refusal::Unsuitable { why })];
    }
    let curves = match curves(plan, &first, run) {
        Ok(curves) => curves,
        Err(refusal) => return vec![fail(String::new(), &refusal)],
    };
    curves
        .iter()
        .map(|curve| {
            let trace = curve.trace.as_ref();
            compared(plan, &first, &courses, run, curve).or_else(|refusal| fail(label_of(trace), &refusal))
        })
        .collect()
}

pub(super) fn compared(
    plan: &FitPlan,
    first: &Chosen,
    courses: &[Course],
    run: &Run,
    curve: &Curve<'_>,
) -> Result<Comparison, Refusal> {
    let trace = curve.trace.as_ref();
    let how = preparation(plan, first, run, trace)?;
    let names: Vec<String> = courses.iter().map(|course| course.name().into_owned()).collect();
    let mut outcome = blank(plan, run, curve.number);
    outcome.kind = "comparison".into();
    outcome.model = names.join(", ");
    outcome.settings.insert("models".into(), json!(names));
    // What is left out is told as by a fit; the laws below see the same points.
    outcome.remarks.clone_from(&curve.remarks);
    let points = prepared(&how, trace, true, &mut outcome)?;
    let bare = Preparation::default();
    let options = Options {
        level: plan.level,
        ..Options::default()
    };
    let found = compare_courses(courses, &points.time, &points.signal, &bare, &options)?;
    let ranked: Vec<(String, f64, f64)> = found
        .choice
        .ranking
        .iter()
        .map(|ranked| {
            let name = found.fits[ranked.index].fit.model.to_string();
            (name, ranked.difference, ranked.weight)
        })
        .collect();
    for (name, difference, _) in &ranked {
        outcome
            .statistics
            .insert(format!("aicc_difference {name}"), *difference);
    }
    outcome.termination = if found.told_apart {
        format!("told apart: {}", ranked[0].0)
    } else {
        "not told apart".into()
    };
    outcome
        .remarks
        .push(Diagnostic::note(Code::new("fit-remark"), found.verdict.clone()));
    let best = &found.fits[found.choice.ranking[0].index].fit;
    let drawn = Drawn {
        curve: None,
        x_title: title(&trace.x),
        y_title: title(&trace.y),
        x: trace.x.values.iter().map(|x| x + how.dead_time).collect(),
        y: trace
            .y
            .values
            .iter()
            .map(|y| y / points.factor.unwrap_or(1.0))
            .collect(),
        used: points.used,
        fitted: best.fitted.clone(),
        residuals: best.residuals.clone(),
    };
    Ok(Comparison {
        found: Found {
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
