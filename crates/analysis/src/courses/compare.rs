//! Which order a time course has, and whether it says so at all.

use serde::{Deserialize, Serialize};

use super::preparation::{CourseFit, Preparation, fit_prepared, prepare};
use super::{Course, Order};
use crate::fit::{FTest, Fit, LawChoice, Options, Weighting, compare, f_test};
use crate::models::Model;
use crate::refusal::Refusal;

/// A test of a law against a fuller one that contains it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct NestedTest {
    /// Name of the simpler law.
    pub simple: String,
    /// Name of the fuller law.
    pub full: String,
    /// The test.
    pub test: FTest,
}

/// Several laws fitted to one trace.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Comparison {
    /// The fits that came about, in the order of the laws.
    pub fits: Vec<CourseFit>,
    /// Laws that could not be fitted, with the reason.
    pub refused: Vec<(String, Refusal)>,
    /// The ranking; positions refer to `fits`.
    pub choice: LawChoice,
    /// F tests of nested pairs.
    pub nested: Vec<NestedTest>,
    /// Whether the data single out one law.
    pub told_apart: bool,
    /// The verdict in words, with its reasons.
    pub verdict: String,
}

/// The laws that are usually compared: zero, first and second order, the latter two with and without offset.
pub fn usual_courses() -> Vec<Course> {
    let mut list = vec![
        Course::new(Order::Zero),
        Course::new(Order::First),
        Course::new(Order::Second),
    ];
    list.extend(Course::new(Order::First).with_offset());
    list.extend(Course::new(Order::Second).with_offset());
    list
}

/// Fits each of `courses` to the same points and ranks them.
///
/// # Errors
/// As [`prepare`]; [`Refusal::Unsuitable`] where fewer than two laws could be fitted.
pub fn compare_courses(
    courses: &[Course],
    time: &[f64],
    signal: &[f64],
    how: &Preparation,
    options: &Options,
) -> Result<Comparison, Refusal> {
    let prepared = prepare(time, signal, how)?;
    let mut fits: Vec<CourseFit> = Vec::new();
    let mut laws: Vec<&Course> = Vec::new();
    let mut refused = Vec::new();
    for course in courses {
        match fit_prepared(course, prepared.clone(), how, Weighting::Equal, options) {
            Ok(fit) => {
                fits.push(fit);
                laws.push(course);
            }
            Err(refusal) => refused.push((course.name().into_owned(), refusal)),
        }
    }
    if fits.len() < 2
        && let Some((_, refusal)) = refused.first()
    {
        return Err(refusal.clone());
    }
    let list: Vec<&Fit> = fits.iter().map(|f| &f.fit).collect();
    let choice = compare(&list)?;
    let mut nested = Vec::new();
    for (i, simple) in laws.iter().enumerate() {
        for (j, full) in laws.iter().enumerate() {
            if contains(full, simple)
                && let Ok(test) = f_test(&fits[i].fit, &fits[j].fit)
            {
                nested.push(NestedTest {
                    simple: simple.name().into_owned(),
                    full: full.name().into_owned(),
                    test,
                });
            }
        }
    }
    let best = &fits[choice.ranking[0].index];
    let mut verdict = choice.verdict.clone();
    if let Some(followed) = best.half_lives.filter(|h| *h < 2.0) {
        verdict.push_str(&format!(
            "; the reaction was followed for {followed:.1} half-lives, and orders can be distinguished clearly only after two or three"
        ));
    }
    if !best.fit.diagnostics.warnings.is_empty() {
        let words: Vec<String> = best
            .fit
            .diagnostics
            .warnings
            .iter()
            .map(crate::fit::Warning::words)
            .collect();
        verdict.push_str(&format!("; even so, {}", words.join("; ")));
    }
    let told_apart = choice.not_told_apart.is_empty();
    Ok(Comparison {
        fits,
        refused,
        choice,
        nested,
        told_apart,
        verdict,
    })
}

/// Whether `full` is `simple` with something added.
fn contains(full: &Course, simple: &Course) -> bool {
    let adds = |a: bool, b: bool| a || !b;
    let more = full.offset != simple.offset || full.drift != simple.drift || full.lag != simple.lag;
    let same_or_more =
        adds(full.offset, simple.offset) && adds(full.drift, simple.drift) && adds(full.lag, simple.lag);
    let law = full.order == simple.order && more
        || full.order == Order::Biphasic && simple.order == Order::First
        || full.order == Order::ReversibleFirst && simple.order == Order::First && !simple.offset;
    law && same_or_more
}
