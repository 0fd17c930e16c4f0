//! Activities, series with blanks, turnover, progress curves, the direct linear plot and the checklist.

#![allow(clippy::unwrap_used)]

use curvary_analysis::courses::{Preparation, RateWindow};
use curvary_analysis::enzymes::{
    Assay, Rates, State, TraceOfSeries, activity, add_turnover, checklist, direct_linear, fit_progress,
    fit_rates, series_rates,
};
use curvary_analysis::fit::{Determination, Options};
use curvary_analysis::models::Model;
use curvary_analysis::models::law::Law;

/// `data/closed-form.json`: 0.0622 per minute at 6220 L/mol/cm, 1 cm, 1.0 mL in the cell, 0.1 mL of it sample.
#[test]
fn activity_in_the_units_of_the_trade() {
    let assay = Assay {
        coefficient: 6220.0,
        total_volume: 1.0,
        sample_volume: 0.1,
        ..Assay::default()
    };
    let found = activity((0.0622, Some(0.000_622)), None, &assay).unwrap();
    let near = |a: f64, b: f64| assert!((a / b - 1.0).abs() < 1e-13, "{a} against {b}");
    near(found.per_ml_of_reaction, 0.01);
    near(found.units_per_ml, 0.1);
    near(found.katal_per_l * 1e9 / 1000.0, 1.666_666_666_666_67);
    near(found.units, 0.01);
    near(found.katal, 0.01 / 6e7);
    near(found.factor * 0.0622, 0.1);
    near(found.relative_error.unwrap(), 0.01);
    assert!(found.units_per_mg.is_none());
    // A blank, a dilution, protein, and two signals for each turnover.
    let fuller = Assay {
        dilution: 20.0,
        protein: Some(0.5),
        per_turnover: 2.0,
        ..assay
    };
    let found = activity((0.0722, Some(0.0003)), Some((0.01, Some(0.0004))), &fuller).unwrap();
    near(found.units_per_ml, 1.0);
    near(found.units_per_mg.unwrap(), 2.0);
    near(found.relative_error.unwrap(), 0.0005 / 0.0622);
    // What is missing is asked for, not assumed.
    assert_eq!(
        activity((0.1, None), None, &Assay::default()).unwrap_err().code(),
        "out-of-range"
    );
    let upside_down = Assay {
        sample_volume: 2.0,
        ..assay
    };
    assert_eq!(
        activity((0.1, None), None, &upside_down).unwrap_err().code(),
        "out-of-range"
    );
    assert_eq!(
        activity((f64::NAN, None), None, &assay).unwrap_err().code(),
        "not-finite"
    );
}

#[test]
fn blanks_are_subtracted_with_their_error() {
    let time: Vec<f64> = (0..40).map(f64::from).collect();
    let wiggle = |i: usize| 1e-4 * ((i * 7919 % 13) as f64 - 6.0);
    let trace = |slope: f64| -> Vec<f64> { (0..40).map(|i| 0.1 + slope * i as f64 + wiggle(i)).collect() };
    let (one, two, first, second) = (trace(0.010), trace(0.020), trace(0.001), trace(0.003));
    let traces = [
        TraceOfSeries {
            time: &time,
            signal: &one,
            blank: false,
            resolution: None,
        },
        TraceOfSeries {
            time: &time,
            signal: &two,
            blank: false,
            resolution: None,
        },
        TraceOfSeries {
            time: &time,
            signal: &first,
            blank: true,
            resolution: None,
        },
        TraceOfSeries {
            time: &time,
            signal: &second,
            blank: true,
            resolution: None,
        },
    ];
    let window = RateWindow::Hand { from: 0.0, to: 39.0 };
    let found = series_rates(&traces, &Preparation::default(), window).unwrap();
    // All four carry the same wiggle, so that it cancels in the differences of slopes.
    assert!((found[0].net.unwrap() - 0.008).abs() < 1e-12);
    assert!((found[1].net.unwrap() - 0.018).abs() < 1e-12);
    assert!(found[2].net.is_none());
    // The blanks scatter by 0.001 about their mean: standard error of two is 0.001.
    assert!((found[0].standard_error.unwrap() - 0.001).abs() < 1e-5);
    // A trace without a rate does not spoil the others; blanks without any rate do.
    let broken = vec![f64::NAN; 40];
    let mut spoiled = traces;
    spoiled[0].signal = &broken;
    let found = series_rates(&spoiled, &Preparation::default(), window).unwrap();
    assert!(found[0].measured.is_err() && found[0].net.is_none() && found[1].net.is_some());
    spoiled[2].signal = &broken;
    spoiled[3].signal = &broken;
    assert_eq!(
        series_rates(&spoiled, &Preparation::default(), window)
            .unwrap_err()
            .code(),
        "unsuitable"
    );
}

#[test]
fn turnover_carries_its_error() {
    let s = [
        0.02, 0.02, 0.06, 0.06, 0.11, 0.11, 0.22, 0.22, 0.56, 0.56, 1.1, 1.1,
    ];
    let v = [
        76.0, 47.0, 97.0, 107.0, 123.0, 139.0, 159.0, 152.0, 191.0, 201.0, 207.0, 200.0,
    ];
    let rates = Rates {
        substrate: &s,
        inhibitor: None,
        rate: &v,
    };
    let mut found = fit_rates("michaelis-menten", &rates, &Options::default()).unwrap();
    add_turnover(&mut found, 0.5).unwrap();
    let (vmax, kcat) = (found.parameter("Vmax").unwrap(), found.derived("kcat").unwrap());
    assert!((kcat.value - 2.0 * vmax.value).abs() < 1e-10);
    assert!((kcat.standard_error.unwrap() - 2.0 * vmax.standard_error.unwrap()).abs() < 1e-10);
    // kcat/Km is Vmax/Km over the enzyme, with the correlation of the two taken into account.
    let (ratio, slope) = (
        found.derived("kcat/Km").unwrap(),
        found.derived("Vmax/Km").unwrap(),
    );
    assert!((ratio.standard_error.unwrap() / slope.standard_error.unwrap() - 2.0).abs() < 1e-10);
    assert_eq!(add_turnover(&mut found, 0.0).unwrap_err().code(), "out-of-range");
}

#[test]
fn progress_curves_give_both_constants() {
    let time: Vec<f64> = (0..80).map(|i| 1.5 * f64::from(i)).collect();
    for (name, product) in [("progress-substrate", false), ("progress-product", true)] {
        let law = Law::named(name).unwrap();
        let mut signal = vec![0.0; time.len()];
        law.evaluate(&[&time], &[1.5, 0.04, 0.35], &mut signal);
        let found = fit_progress(&time, &signal, product, &Options::default()).unwrap();
        for (p, truth) in found.parameters.iter().zip([1.5, 0.04, 0.35]) {
            assert!(
                (p.value / truth - 1.0).abs() < 1e-8,
                "{name} {}: {}",
                p.name,
                p.value
            );
        }
    }
}

#[test]
fn tight_binding_with_the_enzyme_held() {
    let i = [0.0, 0.02, 0.05, 0.08, 0.1, 0.12, 0.15, 0.2, 0.4, 1.0];
    let law = Law::named("morrison").unwrap();
    let mut v = vec![0.0; i.len()];
    law.evaluate(&[&i], &[3.0, 0.1, 0.004], &mut v);
    for (k, v) in v.iter_mut().enumerate() {
        *v += 0.01 * ((k * 7 % 5) as f64 - 2.0);
    }
    let rates = Rates {
        substrate: &[],
        inhibitor: Some(&i),
        rate: &v,
    };
    let options = Options {
        held: vec![(1, 0.1)],
        ..Options::default()
    };
    let found = fit_rates("morrison", &rates, &options).unwrap();
    assert_eq!(found.parameters[1].standing, Determination::Held);
    assert_eq!(found.degrees_of_freedom, 8);
    let k = found.parameter("Kapp").unwrap();
    assert!((k.value - 0.004).abs() < 4.0 * k.standard_error.unwrap(), "{k:?}");
}

/// Without errors every pair of lines crosses at the true constants; one wild point does not move the medians far.
#[test]
fn the_direct_linear_plot_is_robust() {
    let s = [0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0];
    let mut v: Vec<f64> = s.iter().map(|s| 10.0 * s / (3.0 + s)).collect();
    let exact = direct_linear(&s, &v).unwrap();
    assert!((exact.km.unwrap() - 3.0).abs() < 1e-12 && (exact.vmax.unwrap() - 10.0).abs() < 1e-12);
    assert_eq!(exact.pairs, 21);
    v[6] *= 1.5;
    let wild = direct_linear(&s, &v).unwrap();
    assert!((wild.km.unwrap() / 3.0 - 1.0).abs() < 0.05, "{wild:?}");
    let fitted = fit_rates(
        "michaelis-menten",
        &Rates {
            substrate: &s,
            inhibitor: None,
            rate: &v,
        },
        &Options::default(),
    );
    assert!((fitted.unwrap().parameter("Km").unwrap().value / 3.0 - 1.0).abs() > 0.3);
    assert_eq!(
        direct_linear(&[1.0, 1.0, 1.0], &[1.0, 2.0, 3.0])
            .unwrap_err()
            .code(),
        "too-few-points"
    );
}

#[test]
fn the_checklist_sorts_what_is_given() {
    let list = checklist(&["temperature", "ph", "wavelength"], &["inhibitor"]);
    let state = |field: &str| {
        list.iter()
            .find(|i| i.fields.iter().any(|f| f == field))
            .unwrap()
            .state
    };
    assert_eq!(state("temperature"), State::Given);
    // Each line asks for one thing: a name is no reaction, a wavelength no method.
    let given = checklist(&["enzyme", "wavelength"], &[]);
    for missing in ["reaction", "method"] {
        let mut items = given
            .iter()
            .filter(|item| item.fields.iter().any(|field| field == missing));
        assert!(items.all(|item| item.state == State::Missing), "{missing}");
    }
    assert_eq!(state("buffer"), State::Missing);
    assert_eq!(state("inhibitor"), State::NotApplicable);
    assert!(list.iter().any(|i| i.level == "1B"));
}
