//! What a fit found, put into the record.

use curvary_record::{Code, Diagnostic, Interval as KeptInterval, Outcome, Parameter, Unit};

use crate::fit::{Fit, Interval, Standing};

/// Puts what was found into the record.
pub(in crate::study) fn tell(outcome: &mut Outcome, fit: &Fit, unit: &dyn Fn(&str, &str) -> Option<Unit>) {
    let interval = |interval: &Option<Interval>, kind: &str| {
        interval.as_ref().map(|interval| KeptInterval {
            level: fit.level,
            low: interval.lower,
            high: interval.upper,
            kind: kind.into(),
        })
    };
    outcome.termination = fit.termination.words().into();
    outcome.parameters = fit
        .parameters
        .iter()
        .map(|found| Parameter {
            name: found.name.to_string(),
            value: (found.standing != Standing::NotDetermined).then_some(found.value),
            unit: unit(&found.unit, &found.name),
            standard_error: found.standard_error,
            intervals: [
                interval(&found.interval, "t"),
                interval(&found.profile, "profile-likelihood"),
            ]
            .into_iter()
            .flatten()
            .collect(),
            reason: (found.standing != Standing::Determined).then(|| found.standing.words().to_owned()),
        })
        .collect();
    let doubtful = fit
        .parameters
        .iter()
        .find(|found| !matches!(found.standing, Standing::Determined | Standing::Held));
    outcome.parameters.extend(fit.derived.iter().map(|found| {
        Parameter {
            name: found.name.to_string(),
            value: doubtful
                .is_none_or(|parameter| parameter.standing != Standing::NotDetermined)
                .then_some(found.value),
            unit: unit(&found.unit, &found.name),
            standard_error: found.standard_error,
            intervals: interval(&found.interval, "t").into_iter().collect(),
            reason: doubtful.map(|parameter| format!("{} is {}", parameter.name, parameter.standing.words())),
        }
    }));
    let size = fit.parameters.len().max(1);
    outcome.covariance = fit
        .covariance
        .as_ref()
        .map(|all| all.chunks(size).map(<[f64]>::to_vec).collect())
        .unwrap_or_default();
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
    for warning in &fit.diagnostics.warnings {
        outcome
            .remarks
            .push(Diagnostic::warning(Code::new("residuals-odd"), warning.words()));
    }
    for remark in &fit.remarks {
        outcome
            .remarks
            .push(Diagnostic::note(Code::new("fit-remark"), remark.words()));
    }
}
