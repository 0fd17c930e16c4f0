//! Instrument checks of invented runs.

#![allow(clippy::expect_used, reason = "tests may panic")]

use curvary_analysis::study::{CheckPlan, Found, check_run};
use curvary_record::{Column, Digest, Fields, Quantity, Run, RunId, SourceRef, Technique, Trace, Unit};

/// A spectrum of every nm from 190 nm.
fn run(y: Vec<f64>) -> Run {
    let x: Vec<f64> = (0..y.len()).map(|i| 190.0 + i as f64).collect();
    let trace = Trace::new(
        Column::new(Quantity::WAVELENGTH, Unit::NANOMETRE, x),
        Column::new(Quantity::ABSORBANCE, Unit::ABSORBANCE, y),
    )
    .expect("equal lengths");
    let digest = Digest::of(b"invented");
    Run {
        id: RunId::new(&digest, 0),
        source: SourceRef {
            path: "invented.txt".into(),
            digest,
            reader: "built-in/text-table".into(),
            reader_version: "1".into(),
            encoding: None,
            ordinal: 0,
            lines: None,
        },
        technique: Technique::SPECTRUM,
        because: Vec::new(),
        fields: Fields::default(),
        traces: vec![trace],
        questions: Vec::new(),
        remarks: Vec::new(),
    }
}

fn check(name: Option<&str>, y: Vec<f64>) -> Found {
    let plan = CheckPlan {
        name: name.map(Into::into),
        ..CheckPlan::default()
    };
    check_run(&plan, &run(y)).remove(0)
}

/// The limit, A of at least 2.0 at 198 nm, is that of Ph. Eur. 2.2.25 (to edition 9), as in the limits file.
#[test]
fn stray_light_passes_above_its_limit_and_fails_below() {
    let level = |at_198: f64| {
        (0..20)
            .map(|i| if i == 8 { at_198 } else { 0.5 })
            .collect::<Vec<f64>>()
    };
    for (absorbance, verdict) in [(2.3, "pass"), (1.7, "fail")] {
        let found = check(Some("ph-eur-kcl"), level(absorbance));
        let outcome = &found.outcome;
        assert_eq!(outcome.termination, verdict, "{outcome:?}");
        let parameter = outcome.parameter("stray-light-absorbance").expect("measured");
        assert_eq!(parameter.value, Some(absorbance));
        assert!(
            parameter
                .reason
                .as_deref()
                .is_some_and(|r| r.contains("Ph. Eur."))
        );
        assert!(outcome.remarks.iter().any(|r| r.code.as_str() == "caution"));
    }
}

#[test]
fn a_check_that_is_not_sure_is_asked() {
    let unnamed = check(None, vec![0.5; 20]);
    assert!(unnamed.outcome.termination.starts_with("check-unknown: "));
    let several = check(Some("holmium"), vec![0.5; 20]);
    assert!(several.outcome.termination.starts_with("check-not-sure: "));
    assert!(!unnamed.is_result() && !several.is_result());
}

#[test]
fn flatness_without_a_limit_is_undetermined() {
    let found = check(
        Some("flatness"),
        (0..20).map(|i| 1e-4 * f64::from(i % 3)).collect(),
    );
    assert!(
        found.outcome.termination.starts_with("undetermined"),
        "{:?}",
        found.outcome
    );
}
