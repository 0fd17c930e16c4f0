use std::collections::BTreeMap;

use curvary_record::{Column, Digest, Fields, Quantity, RunId, SourceRef, Technique};

use super::*;

fn run(quantity: Quantity, unit: Unit, y: Vec<f64>) -> Run {
    let x: Vec<f64> = (0..y.len()).map(|i| 400.0 + i as f64).collect();
    let trace = Trace::new(
        Column::new(Quantity::WAVELENGTH, Unit::NANOMETRE, x),
        Column::new(quantity, unit, y),
    )
    .expect("one length");
    let digest = Digest::of(b"x");
    Run {
        id: RunId::new(&digest, 0),
        source: SourceRef {
            path: "x.csv".into(),
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

/// A Gauss band of height 0.8 at 450.3 nm: its full width at half maximum is 2·√(2 ln 2)·σ, its area height·σ·√(2π).
fn band(noise: f64) -> Vec<f64> {
    (0..101)
        .map(|i| {
            let away: f64 = (f64::from(i) + 400.0 - 450.3) / 12.0;
            // A fixed pattern without a trend stands for noise.
            0.8 * (-0.5 * away * away).exp() + noise * f64::from((i * 7) % 5 - 2)
        })
        .collect()
}

#[test]
fn a_gauss_band_comes_out_with_its_closed_forms() {
    let found = peaks_run(
        &PeaksPlan::default(),
        &run(Quantity::ABSORBANCE, Unit::ABSORBANCE, band(1e-5)),
        &BTreeMap::new(),
    );
    let outcome = &found[0].outcome;
    assert_eq!(outcome.termination, "found", "{outcome:?}");
    let value = |name: &str| outcome.parameter(name).and_then(|p| p.value).expect(name);
    assert_eq!(outcome.parameters.len(), 5);
    assert!((value("peak") - 450.3).abs() < 0.02);
    assert!((value("peak-height") - 0.8).abs() < 1e-3);
    assert!((value("peak-width") - 2.0 * (2.0 * 2f64.ln()).sqrt() * 12.0).abs() < 0.1);
    let area = 0.8 * 12.0 * (2.0 * std::f64::consts::PI).sqrt();
    assert!((value("peak-area") - area).abs() < 0.02 * area);
    assert!(
        outcome
            .parameter("peak")
            .is_some_and(|p| p.standard_error.is_some())
    );
    assert_eq!(outcome.model, "saturation(above=3)");
}

#[test]
fn of_a_small_peak_on_a_high_flank_height_and_position_keep_their_errors() {
    let list = |values: [f64; 5]| {
        let names = [
            "peak",
            "peak-height",
            "peak-prominence",
            "peak-width",
            "peak-area",
        ];
        let errors = [0.3, 0.0016, 1e-5, 0.1, 0.01];
        std::array::from_fn(|j| Parameter {
            standard_error: Some(errors[j]),
            ..parameter(names[j], Some(values[j]), None)
        })
    };
    let mut own: [Parameter; 5] = list([534.0, 0.3268, 0.0026, 35.0, 0.2]);
    let (_, lower, wider) =
        lost_again(&own, &list([534.01, 0.3267, 0.0025, 35.2, 0.202])).expect("the same peak");
    assert!(too_much(lower, &own[2]) && !too_much(wider, &own[3]));
    let twice = list([534.01, 0.3267, 0.0025, 35.2, 0.202]);
    assert_eq!(
        without_what_moved(&mut own, &twice),
        "prominence, width and area are"
    );
    let kept: Vec<bool> = own.iter().map(|own| own.standard_error.is_some()).collect();
    assert_eq!(kept, [true, true, false, false, false]);
    // They move themselves: nothing has an error.
    let mut own = list([534.0, 0.3268, 0.0026, 35.0, 0.2]);
    let off = without_what_moved(&mut own, &list([534.1, 0.3258, 0.0016, 35.2, 0.202]));
    assert_eq!(off, "the numbers are");
    // A rise is no smoothing's, and what lies within the error may be the noise's.
    assert!(!too_much(-0.057, &own[2]) && too_much(0.057, &own[2]));
    let noisy = Parameter {
        standard_error: Some(0.0002),
        ..own[2].clone()
    };
    assert!(!too_much(0.057, &noisy));
}

#[test]
fn transmittance_is_turned_into_absorbance_and_told() {
    let percent = band(1e-5).iter().map(|a| 100.0 * 10f64.powf(-a)).collect();
    let found = peaks_run(
        &PeaksPlan::default(),
        &run(Quantity::TRANSMITTANCE, Unit::PERCENT, percent),
        &BTreeMap::new(),
    );
    let outcome = &found[0].outcome;
    assert_eq!(outcome.model, "ordinate(absorbance) | saturation(above=3)");
    let at = outcome.parameter("peak").and_then(|p| p.value).expect("a peak");
    assert!((at - 450.3).abs() < 0.02);
}

#[test]
fn a_blank_and_smoothing_are_part_of_the_record() {
    let sample = run(
        Quantity::ABSORBANCE,
        Unit::ABSORBANCE,
        band(1e-3).iter().map(|a| a + 0.1).collect(),
    );
    let blank = run(Quantity::ABSORBANCE, Unit::ABSORBANCE, vec![0.1; 101]);
    let references = [(
        "b1".to_owned(),
        spectrum_of(&blank.traces[0]).expect("a spectrum").0,
    )]
    .into();
    let chain: Chain = "blank(b1) | smooth(window=11, order=3)".parse().expect("a chain");
    let plan = PeaksPlan {
        steps: chain.steps,
        prominence: Some(0.1),
        ..PeaksPlan::default()
    };
    let found = peaks_run(&plan, &sample, &references);
    let outcome = &found[0].outcome;
    let height = outcome
        .parameter("peak-height")
        .and_then(|p| p.value)
        .expect("a peak");
    assert!((height - 0.8).abs() < 0.01, "{height}");
    let again: PeaksPlan = serde_json::from_value(serde_json::to_value(&outcome.settings).expect("JSON"))
        .expect("the settings are a plan");
    assert_eq!(again, plan);
    assert_eq!(peaks_run(&again, &sample, &references), found);
    let unknown = peaks_run(&plan, &sample, &BTreeMap::new());
    assert!(unknown[0].outcome.termination.starts_with("unknown-reference"));
}

#[test]
fn bad_spectra_give_a_reason_and_no_number() {
    for (y, wanted) in [
        (vec![0.5; 50], "constant-signal"),
        (vec![4.0; 50], "all-saturated"),
        ((0..50).map(f64::from).map(|i| i / 50.0).collect(), "no-peak"),
        (vec![0.1, 0.2, 0.1], "too-few-points"),
    ] {
        let found = peaks_run(
            &PeaksPlan::default(),
            &run(Quantity::ABSORBANCE, Unit::ABSORBANCE, y),
            &BTreeMap::new(),
        );
        assert!(!found[0].is_result());
        let why = &found[0].outcome.termination;
        assert!(why.starts_with(wanted), "{why}: expected {wanted}");
    }
}
