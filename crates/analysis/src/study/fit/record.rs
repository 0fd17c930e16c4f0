//! What a fit found, put into the record.

use curvary_record::{Code, Diagnostic, Interval as KeptInterval, Outcome, Parameter, Unit};

use crate::fit::{Derived, Determination, Fit, FitInterval, FitRemark, ProfileInterval};
use crate::wording::likely;

/// Why a quantity that follows from the parameters is in doubt; its own error decides, since a ratio of two parameters may
/// be known well where neither is.
fn doubt(fit: &Fit, found: &Derived) -> Option<String> {
    let parameters = || found.follows_from.iter().map(|j| &fit.parameters[*j]);
    let doubtful =
        parameters().find(|p| !matches!(p.standing, Determination::Determined | Determination::Held));
    let reaches_zero = found
        .interval
        .as_ref()
        .is_some_and(|i| i.lower.is_some_and(|low| low <= 0.0) && i.upper.is_some_and(|high| high >= 0.0));
    match (found.standard_error, doubtful) {
        (None, Some(parameter)) => Some(format!("{} is {}", parameter.name, parameter.standing.words())),
        (Some(_), Some(parameter)) if parameter.standing == Determination::BelowZero => {
            Some(format!("{} is {}", parameter.name, parameter.standing.words()))
        }
        (Some(_), _) if reaches_zero => Some("poorly determined: its interval reaches zero".to_owned()),
        _ => None,
    }
}

/// Puts what was found into the record.
pub(in crate::study) fn tell(outcome: &mut Outcome, fit: &Fit, unit: &dyn Fn(&str, &str) -> Option<Unit>) {
    let interval = |interval: &Option<FitInterval>, kind: &str| {
        interval.as_ref().map(|interval| KeptInterval {
            level: fit.level,
            low: interval.lower,
            high: interval.upper,
            kind: kind.into(),
            ..KeptInterval::default()
        })
    };
    let by_profile = |profile: &ProfileInterval| KeptInterval {
        level: fit.level,
        low: profile.lower.value(),
        high: profile.upper.value(),
        kind: "profile-likelihood".into(),
        low_not_found: profile.lower.why_not_found(),
        high_not_found: profile.upper.why_not_found(),
    };
    let intervals = |linear: &Option<FitInterval>, profile: &Option<ProfileInterval>| {
        let both = [interval(linear, "t"), profile.as_ref().map(by_profile)];
        both.into_iter().flatten().collect()
    };
    outcome.termination = fit.termination.words().into();
    outcome.parameters = fit
        .parameters
        .iter()
        .map(|found| Parameter {
            name: found.name.to_string(),
            value: (found.standing != Determination::NotDetermined).then_some(found.value),
            unit: unit(&found.unit, &found.name),
            standard_error: found.standard_error,
            intervals: intervals(&found.interval, &found.profile),
            reason: (found.standing != Determination::Determined).then(|| found.standing.words().to_owned()),
        })
        .collect();
    outcome.parameters.extend(fit.derived.iter().map(|found| {
        let reason = doubt(fit, found);
        let unknown = found.standard_error.is_none()
            && found
                .follows_from
                .iter()
                .any(|j| fit.parameters[*j].standing == Determination::NotDetermined);
        Parameter {
            name: found.name.to_string(),
            value: (!unknown).then_some(found.value),
            unit: unit(&found.unit, &found.name),
            standard_error: found.standard_error,
            intervals: intervals(&found.interval, &found.profile),
            reason,
        }
    }));
    let size = fit.parameters.len().max(1);
    outcome.covariance = fit
        .covariance
        .as_ref()
        .map(|all| all.chunks(size).map(<[f64]>::to_vec).collect())
        .unwrap_or_default();
    say_not_found(outcome);
    statistics(outcome, fit);
}

/// Says which limits were not found, and why.
fn say_not_found(outcome: &mut Outcome) {
    let mut told = Vec::new();
    for parameter in &outcome.parameters {
        for interval in &parameter.intervals {
            for (end, why) in [
                ("lower", &interval.low_not_found),
                ("upper", &interval.high_not_found),
            ] {
                if let Some(why) = why {
                    told.push(format!(
                        "the {end} end of the interval of {} was not found: {why}",
                        parameter.name
                    ));
                }
            }
        }
    }
    let warnings = told
        .into_iter()
        .map(|text| Diagnostic::warning(Code::new("limit-not-found"), text));
    outcome.remarks.extend(warnings);
}

/// Puts the statistics of a fit into the record, and what its residuals say.
pub(in crate::study) fn statistics(outcome: &mut Outcome, fit: &Fit) {
    let mut put = |name: &str, value: Option<f64>| {
        if let Some(value) = value.filter(|value| value.is_finite()) {
            outcome.statistics.insert(name.into(), value);
        }
    };
    put("points", Some(fit.points as f64));
    put("degrees_of_freedom", Some(fit.degrees_of_freedom as f64));
    put("residual_sum_of_squares", Some(fit.residual_sum_of_squares));
    put("residual_standard_deviation", Some(fit.residual_sd));
    put("r_squared", fit.r_squared);
    put("aicc", fit.aicc);
    put("fit_probability", fit.fit_probability);
    put("durbin_watson", fit.diagnostics.durbin_watson);
    put(
        "runs_probability",
        fit.diagnostics.runs.map(|runs| runs.probability),
    );
    put(
        "normality_probability",
        fit.diagnostics.normality.map(|found| found.probability),
    );
    // Common practice: a chi-squared that chance gives once in a hundred.
    if let Some(chance) = fit.fit_probability {
        if chance < 0.01 {
            outcome.remarks.push(Diagnostic::warning(
                Code::new("lack-of-fit"),
                format!(
                    "the points lie farther from the curve than the given standard deviations allow (probability {}): \
                     the law is wrong, or the deviations are too small, and the errors above with them",
                    likely(chance)
                ),
            ));
        } else if chance > 0.999 {
            outcome.remarks.push(Diagnostic::warning(
                Code::new("lack-of-fit"),
                "the points lie closer to the curve than the given standard deviations let expect: they are too large, or the \
                 points are not independent",
            ));
        }
    }
    for warning in &fit.diagnostics.warnings {
        outcome
            .remarks
            .push(Diagnostic::warning(Code::new("residuals-odd"), warning.words()));
    }
    for remark in &fit.remarks {
        outcome.remarks.push(match remark {
            FitRemark::LowerMinimum { .. } => Diagnostic::warning(Code::new("lower-minimum"), remark.words()),
            _ => Diagnostic::note(Code::new("fit-remark"), remark.words()),
        });
    }
}
