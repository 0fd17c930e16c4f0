//! Quantities against published calibration sets (data/calibration.json and
//! data/inverse-prediction-and-inhibition.json, sources there) and against NumPy and SciPy
//! (data/independent-spectra.json, made by independent_spectra.py).

#![allow(clippy::unwrap_used)]

use curvary_analysis::quantities::{
    Calibration, CalibrationOptions, Component, ConcentrationSet, LimitForm, Measured, MixtureOptions,
    NucleicAcidKind, NucleicAcidReadings, Readings, Sigma, StandardWeighting, Target, concentration,
    detection_limits, mixture, nucleic_acid, protein, standard_addition,
};
use proptest::prelude::*;
use serde_json::Value;

fn read(text: &str) -> Value {
    serde_json::from_str(text).unwrap()
}

fn independent() -> Value {
    read(include_str!("data/independent-spectra.json"))
}

fn numbers(value: &Value) -> Vec<f64> {
    value
        .as_array()
        .unwrap()
        .iter()
        .map(|v| v.as_f64().unwrap())
        .collect()
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

#[track_caller]
fn close(found: f64, expected: f64, relative: f64) {
    assert!(
        (found - expected).abs() <= relative * expected.abs(),
        "found {found}, expected {expected}"
    );
}

fn columns(set: &Value) -> (Vec<f64>, Vec<f64>) {
    set["data"]
        .as_array()
        .unwrap()
        .iter()
        .map(|row| (number(&row[0]), number(&row[1])))
        .unzip()
}

fn line(x: &[f64], y: &[f64]) -> Calibration {
    Calibration::fit(x, y, &CalibrationOptions::default()).unwrap()
}

fn has(remarks: &[curvary_analysis::quantities::Remark], code: &str) -> bool {
    remarks.iter().any(|r| r.code == code)
}

// --- Calibration lines and inverse prediction -----------------------------------------------------------

fn check_line(set: &Value, expected: &Value) {
    let (x, y) = columns(set);
    let found = line(&x, &y);
    close(found.intercept, number(&expected["intercept"]), 1e-12);
    close(found.slope, number(&expected["slope"]), 1e-13);
    close(
        found.intercept_error.unwrap(),
        number(&expected["se_intercept"]),
        1e-12,
    );
    close(found.slope_error, number(&expected["se_slope"]), 1e-12);
    close(
        found.residual_sd,
        number(&expected["residual_standard_deviation"]),
        1e-12,
    );
    close(
        found.residual_sum_of_squares,
        number(&expected["residual_sum_of_squares"]),
        1e-12,
    );
    close(found.r_squared.unwrap(), number(&expected["r_squared"]), 1e-13);
    close(found.mean_x, number(&expected["mean_x"]), 1e-14);
    close(found.sxx, number(&expected["Sxx"]), 1e-13);
    assert_eq!(found.points.len() as u64, expected["n"].as_u64().unwrap());
    let intercept = found.intercept_interval(0.95).unwrap().unwrap();
    let slope = found.slope_interval(0.95).unwrap();
    for i in 0..2 {
        close(
            intercept[i],
            number(&expected["confidence_95"]["intercept"][i]),
            1e-8,
        );
        close(slope[i], number(&expected["confidence_95"]["slope"][i]), 1e-9);
    }
    let leverage: f64 = found.points.iter().map(|p| p.leverage).sum();
    close(leverage, 2.0, 1e-12);
}

fn check_inverse(set: &Value, cases: &Value) {
    let (x, y) = columns(set);
    let calibration = line(&x, &y);
    for case in cases.as_array().unwrap() {
        let readings = numbers(&case["readings"]);
        let mean = case["mean_response"].as_bool().unwrap();
        let target = if mean {
            Target::MeanResponse(readings[0])
        } else {
            Target::Readings(readings)
        };
        let found = calibration
            .inverse(&target, number(&case["level"]), None)
            .unwrap();
        close(found.x, number(&case["x0"]), 1e-12);
        close(found.pooled_sd, number(&case["pooled_s"]), 1e-12);
        close(found.g, number(&case["g"]), 1e-9);
        assert_eq!(
            found.degrees_of_freedom.unwrap() as u64,
            case["df"].as_u64().unwrap()
        );
        close(found.standard_error, number(&case["delta_method_se"]), 1e-10);
        let limits = found.limits.interval().unwrap();
        for (i, limit) in limits.iter().enumerate() {
            close(*limit, number(&case["inversion_interval"][i]), 1e-9);
            close(*limit, number(&case["check_by_root_finding"][i]), 2e-9);
            close(found.symmetric[i], number(&case["wald_interval"][i]), 1e-9);
        }
    }
}

#[test]
fn published_calibration_lines() {
    let data = read(include_str!("data/calibration.json"));
    for set in data["datasets"].as_array().unwrap() {
        check_line(set, &set["computed"]);
        check_inverse(set, &set["inverse_prediction"]);
    }
}

#[test]
fn published_inverse_predictions() {
    let data = read(include_str!("data/inverse-prediction-and-inhibition.json"));
    for set in data["inverse_prediction"].as_array().unwrap() {
        check_line(set, &set["fit"]);
        check_inverse(set, &set["computed"]);
    }
}

#[test]
fn the_uncertainty_of_the_cadmium_example() {
    // Eurachem/CITAC Guide CG4, example A5: two readings of the sample, u(c0) = 0.018 mg/L.
    let data = read(include_str!("data/calibration.json"));
    let set = &data["datasets"][1];
    let (x, y) = columns(set);
    let found = line(&x, &y);
    let expected = number(&set["u_c0_computed"]);
    let two = found
        .inverse(&Target::Readings(vec![0.07136, 0.07136]), 0.95, None)
        .unwrap();
    // The guide does not pool the readings, so its s is that of the line alone.
    close(
        two.standard_error / two.pooled_sd * found.residual_sd,
        expected,
        1e-12,
    );
    assert!((two.x - 0.26).abs() < 1e-12);
}

#[test]
fn a_line_through_the_origin() {
    let data = read(include_str!("data/calibration.json"));
    let set = &data["datasets"][0];
    let (x, y) = columns(set);
    let options = CalibrationOptions {
        through_origin: true,
        ..CalibrationOptions::default()
    };
    let found = Calibration::fit(&x, &y, &options).unwrap();
    let expected = &set["through_origin"];
    close(found.slope, number(&expected["slope"]), 1e-13);
    close(found.slope_error, number(&expected["se_slope"]), 1e-12);
    close(found.residual_sd, number(&expected["residual_sd"]), 1e-12);
    close(
        found.r_squared.unwrap(),
        number(&expected["uncentred_r_squared"]),
        1e-12,
    );
    assert!(!found.r_squared_centred && has(&found.remarks, "uncentred-r-squared"));
    assert_eq!(found.intercept_error, None);
    // Each limit lies where the reading leaves the prediction band of y = b1·x.
    let t = curvary_analysis::distribution::t_half_width(0.95, 5.0);
    let unknown = found.inverse(&Target::Readings(vec![0.4]), 0.95, None).unwrap();
    let square: f64 = x.iter().map(|v| v * v).sum();
    for limit in unknown.limits.interval().unwrap() {
        let band = t * found.residual_sd * (1.0 + limit * limit / square).sqrt();
        close((0.4 - found.slope * limit).abs(), band, 1e-10);
    }
}

#[test]
fn weighted_lines_agree_with_numpy() {
    let data = &independent()["calibrations"];
    let (x, y) = (numbers(&data["x"]), numbers(&data["y"]));
    for expected in data["lines"].as_array().unwrap() {
        let weighting = match expected["kind"].as_str().unwrap() {
            "inverse-x" => StandardWeighting::InverseX,
            _ => StandardWeighting::InverseXSquared,
        };
        let options = CalibrationOptions {
            weighting,
            ..CalibrationOptions::default()
        };
        let found = Calibration::fit(&x, &y, &options).unwrap();
        close(found.intercept, number(&expected["intercept"]), 1e-9);
        close(found.slope, number(&expected["slope"]), 1e-11);
        close(
            found.intercept_error.unwrap(),
            number(&expected["intercept_error"]),
            1e-9,
        );
        close(found.slope_error, number(&expected["slope_error"]), 1e-9);
        close(found.residual_sd, number(&expected["residual_sd"]), 1e-9);
        let unknown = found
            .inverse(&Target::Readings(vec![number(&data["reading"])]), 0.95, None)
            .unwrap();
        close(unknown.x, number(&expected["x0"]), 1e-10);
        let limits = unknown.limits.interval().unwrap();
        close(limits[0], number(&expected["limits"][0]), 1e-8);
        close(limits[1], number(&expected["limits"][1]), 1e-8);
        assert!(has(&unknown.remarks, "weight-by-rule"));
        // The residual standard deviation of a weighted line is no sigma.
        let refused = detection_limits(&found, LimitForm::IchQ2, &Sigma::ResidualSd);
        assert_eq!(refused.unwrap_err().code(), "unsuitable");
    }
    let plain = line(&x, &y).lack_of_fit.unwrap();
    close(plain.f, number(&data["lack_of_fit"]["f"]), 1e-8);
    close(plain.p, number(&data["lack_of_fit"]["p"]), 1e-7);
}

#[test]
fn known_errors_use_the_normal_distribution() {
    let data = &independent()["calibrations"];
    let known = &data["known"];
    let options = CalibrationOptions {
        weighting: StandardWeighting::KnownErrors(numbers(&known["errors"])),
        ..CalibrationOptions::default()
    };
    let found = Calibration::fit(&numbers(&data["x"]), &numbers(&data["y"]), &options).unwrap();
    close(found.slope, number(&known["slope"]), 1e-11);
    close(found.slope_error, number(&known["slope_error"]), 1e-10);
    close(
        found.intercept_error.unwrap(),
        number(&known["intercept_error"]),
        1e-10,
    );
    close(found.residual_sum_of_squares, number(&known["chi_squared"]), 1e-8);
    let interval = found.slope_interval(0.95).unwrap();
    close(interval[0], number(&known["slope_interval"][0]), 1e-10);
    close(interval[1], number(&known["slope_interval"][1]), 1e-10);
    let target = Target::Readings(vec![0.15]);
    assert_eq!(
        found.inverse(&target, 0.95, None).unwrap_err().code(),
        "unsuitable"
    );
    let unknown = found
        .inverse(&target, 0.95, Some(1.0 / (0.0035f64 * 0.0035)))
        .unwrap();
    assert_eq!(unknown.degrees_of_freedom, None);
    // A wrong sign of the weight would turn this around: a worse reading gives a wider interval.
    let worse = found
        .inverse(&target, 0.95, Some(1.0 / (0.02f64 * 0.02)))
        .unwrap();
    assert!(worse.standard_error > 2.0 * unknown.standard_error);
}

#[test]
fn fieller_limits_cover_what_they_say() {
    // 2,000 lines of eight standards with normal noise; the true concentration must lie inside the
    // 95 % limits in 93 to 97 of 100.
    let mut state = 7u64;
    let mut normal = || {
        // A congruential generator (Knuth's MMIX constants).
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        curvary_analysis::distribution::normal_quantile(((state >> 11) as f64 + 0.5) / 2f64.powi(53))
    };
    let x: Vec<f64> = (1..=8).map(f64::from).collect();
    let mut inside = 0;
    for _ in 0..2000 {
        let y: Vec<f64> = x.iter().map(|x| 0.02 + 0.11 * x + 0.02 * normal()).collect();
        let readings = vec![
            0.02 + 0.11 * 6.3 + 0.02 * normal(),
            0.02 + 0.11 * 6.3 + 0.02 * normal(),
        ];
        let found = line(&x, &y)
            .inverse(&Target::Readings(readings), 0.95, None)
            .unwrap();
        let [low, high] = found.limits.interval().unwrap();
        inside += usize::from(low <= 6.3 && 6.3 <= high);
    }
    assert!((1860..=1940).contains(&inside), "{inside} of 2000");
}

#[test]
fn an_uncertain_slope_has_unbounded_limits() {
    let data = &independent()["unbounded"];
    let found = line(&numbers(&data["x"]), &numbers(&data["y"]));
    assert!(has(&found.remarks, "slope-not-told-from-zero"));
    for case in data["cases"].as_array().unwrap() {
        assert!(case["far_is_inside"].as_bool().unwrap());
        let unknown = found
            .inverse(
                &Target::Readings(vec![number(&case["reading"])]),
                number(&case["level"]),
                None,
            )
            .unwrap();
        assert!(unknown.g >= 1.0 && has(&unknown.remarks, "limits-unbounded"));
        assert_eq!(unknown.limits.interval(), None);
        match (numbers(&case["edges"])[..].to_vec().as_slice(), unknown.limits) {
            ([low, high], ConcentrationSet::Complement { below, above }) => {
                close(below, *low, 1e-9);
                close(above, *high, 1e-9);
            }
            ([], ConcentrationSet::WholeLine) => {}
            (edges, limits) => panic!("{edges:?} but {limits:?}"),
        }
    }
    let refused = detection_limits(&found, LimitForm::IchQ2, &Sigma::ResidualSd);
    assert_eq!(refused.unwrap_err().code(), "unsuitable");
}

#[test]
fn bad_standards_get_a_named_reason() {
    let code = |x: &[f64], y: &[f64], options: &CalibrationOptions| {
        Calibration::fit(x, y, options).unwrap_err().code()
    };
    let plain = CalibrationOptions::default();
    assert_eq!(code(&[0.0, 1.0], &[0.0, 0.1], &plain), "too-few-points");
    assert_eq!(code(&[0.0, 1.0, 2.0], &[0.0, 0.1], &plain), "unequal-lengths");
    assert_eq!(
        code(&[0.0, 1.0, 2.0], &[0.0, 0.1, f64::NAN], &plain),
        "not-finite"
    );
    assert_eq!(code(&[0.0, -1.0, 2.0], &[0.0, 0.1, 0.2], &plain), "negative");
    assert_eq!(code(&[1.0, 1.0, 1.0], &[0.0, 0.1, 0.2], &plain), "constant-axis");
    assert_eq!(
        code(&[0.0, 1.0, 2.0], &[0.1, 0.1, 0.1], &plain),
        "constant-signal"
    );
    let ceiling = CalibrationOptions {
        ceiling: Some(3.0),
        ..plain.clone()
    };
    assert_eq!(
        code(&[0.0, 1.0, 2.0], &[3.5, 3.6, 3.4], &ceiling),
        "all-saturated"
    );
    assert_eq!(
        code(&[0.0, 1.0, 2.0], &[0.1, 0.2, 3.4], &ceiling),
        "too-few-points"
    );
    let weighted = CalibrationOptions {
        weighting: StandardWeighting::InverseX,
        ..plain.clone()
    };
    assert_eq!(code(&[0.0, 1.0, 2.0], &[0.0, 0.1, 0.2], &weighted), "unsuitable");
    let bad = CalibrationOptions {
        weighting: StandardWeighting::Weights(vec![1.0, -1.0, 1.0]),
        ..plain
    };
    assert_eq!(code(&[0.0, 1.0, 2.0], &[0.0, 0.1, 0.2], &bad), "bad-weight");
}

#[test]
fn saturated_standards_are_left_out_and_saturated_unknowns_refused() {
    let options = CalibrationOptions {
        ceiling: Some(2.5),
        ..CalibrationOptions::default()
    };
    let found = Calibration::fit(
        &[0.0, 1.0, 2.0, 3.0, 9.0],
        &[0.01, 0.49, 1.02, 1.48, 2.9],
        &options,
    )
    .unwrap();
    assert_eq!(found.points.len(), 4);
    assert!(has(&found.remarks, "saturated-left-out"));
    let refused = found.inverse(&Target::Readings(vec![2.7]), 0.95, None);
    assert_eq!(refused.unwrap_err().code(), "out-of-range");
    let far = found.inverse(&Target::Readings(vec![2.2]), 0.95, None).unwrap();
    assert!(has(&far.remarks, "outside-standards"));
    let below = found.inverse(&Target::Readings(vec![-0.2]), 0.95, None).unwrap();
    assert!(below.x < 0.0 && has(&below.remarks, "negative-concentration"));
    assert_eq!(
        found
            .inverse(&Target::Readings(vec![]), 0.95, None)
            .unwrap_err()
            .code(),
        "too-few-points"
    );
    assert_eq!(
        found
            .inverse(&Target::Readings(vec![0.5]), 1.0, None)
            .unwrap_err()
            .code(),
        "out-of-range"
    );
}

#[test]
fn a_bent_line_and_a_line_without_scatter_are_told() {
    let x = [1.0, 1.0, 2.0, 2.0, 3.0, 3.0, 4.0, 4.0];
    let y = [0.10, 0.101, 0.21, 0.209, 0.29, 0.291, 0.33, 0.329];
    assert!(has(&line(&x, &y).remarks, "not-straight"));
    let exact = line(&[0.0, 1.0, 2.0, 4.0], &[0.1, 0.3, 0.5, 0.9]);
    assert!(has(&exact.remarks, "no-scatter"));
}

proptest! {
    #[test]
    fn limits_lie_on_the_prediction_band(
        noise in prop::collection::vec(-0.03f64..0.03, 8), slope in 0.02f64..2.0, reading in 0.05f64..1.5,
    ) {
        let x: Vec<f64> = (0..8).map(f64::from).collect();
        let y: Vec<f64> = x.iter().zip(&noise).map(|(x, e)| 0.05 + slope * x + e).collect();
        let found = line(&x, &y);
        let unknown = found.inverse(&Target::Readings(vec![reading]), 0.95, None).unwrap();
        let t = curvary_analysis::distribution::t_half_width(0.95, 6.0);
        let edges = match unknown.limits {
            ConcentrationSet::Interval { low, high } => vec![low, high],
            ConcentrationSet::Complement { below, above } => vec![below, above],
            _ => vec![],
        };
        for edge in edges {
            let spread = 1.0 + 1.0 / 8.0 + (edge - found.mean_x).powi(2) / found.sxx;
            let band = t * found.residual_sd * spread.sqrt();
            let off = (reading - found.intercept - found.slope * edge).abs();
            prop_assert!((off / band - 1.0).abs() < 1e-6, "{} {}", off, band);
        }
    }

    #[test]
    fn no_standards_make_the_line_panic(
        x in prop::collection::vec(prop::num::f64::ANY, 0..8),
        y in prop::collection::vec(prop::num::f64::ANY, 0..8),
        reading in prop::num::f64::ANY,
    ) {
        if let Ok(found) = Calibration::fit(&x, &y, &CalibrationOptions::default()) {
            prop_assert!(found.slope.is_finite() && found.slope_error.is_finite());
            if let Ok(unknown) = found.inverse(&Target::Readings(vec![reading]), 0.95, None) {
                prop_assert!(unknown.x.is_finite() && unknown.standard_error.is_finite());
                if let Some([low, high]) = unknown.limits.interval() {
                    prop_assert!(low <= high, "{} {}", low, high);
                }
            }
        }
        let _ = standard_addition(&x, &y, &CalibrationOptions::default(), reading, 0.95);
        let _ = detection_limits(&line(&[0.0, 1.0, 2.0, 3.0], &[0.0, 0.11, 0.19, 0.3]), LimitForm::IchQ2, &Sigma::BlankReadings(y));
    }
}

// --- Detection limits -----------------------------------------------------------------------------------------

#[test]
fn detection_limits_of_the_formaldehyde_line() {
    let data = read(include_str!("data/calibration.json"));
    let set = &data["datasets"][0];
    let (x, y) = columns(set);
    let found = line(&x, &y);
    for (sigma, key) in [
        (Sigma::ResidualSd, "from_residual_sd"),
        (Sigma::InterceptError, "from_se_of_intercept"),
    ] {
        let limits = detection_limits(&found, LimitForm::IchQ2, &sigma).unwrap();
        close(
            limits.detection,
            number(&set["lod_loq_ICH_Q2"][key]["LOD"]),
            1e-12,
        );
        close(
            limits.quantitation.unwrap(),
            number(&set["lod_loq_ICH_Q2"][key]["LOQ"]),
            1e-12,
        );
        assert!(limits.formula.contains("ICH Q2") && limits.formula.contains(&limits.sigma_kind));
    }
    let blanks = Sigma::BlankReadings(vec![0.001, 0.003, 0.002, 0.004, 0.000]);
    // The standard deviation of these five is 0.001·√2.5.
    let unit = 0.001 * 2.5f64.sqrt() / found.slope;
    let iupac = detection_limits(&found, LimitForm::Iupac1978, &blanks).unwrap();
    close(iupac.detection, 3.0 * unit, 1e-12);
    assert_eq!(iupac.quantitation, None);
    assert!(has(&iupac.remarks, "few-blanks"));
    let currie = detection_limits(&found, LimitForm::Iupac1995, &blanks).unwrap();
    close(currie.critical.unwrap(), 1.645 * unit, 1e-12);
    close(currie.detection, 3.29 * unit, 1e-12);
    let refused = detection_limits(&found, LimitForm::Iupac1978, &Sigma::ResidualSd);
    assert_eq!(refused.unwrap_err().code(), "unsuitable");
    let same = detection_limits(
        &found,
        LimitForm::IchQ2,
        &Sigma::BlankReadings(vec![0.1, 0.1, 0.1]),
    );
    assert_eq!(same.unwrap_err().code(), "constant-signal");
    let none = detection_limits(&found, LimitForm::IchQ2, &Sigma::Known(0.0));
    assert_eq!(none.unwrap_err().code(), "out-of-range");
}

// --- Standard addition -------------------------------------------------------------------------------------------

#[test]
fn standard_addition_agrees_with_scipy() {
    let data = &independent()["addition"];
    let (x, y) = (numbers(&data["x"]), numbers(&data["y"]));
    let found = standard_addition(&x, &y, &CalibrationOptions::default(), 1.0, 0.95).unwrap();
    close(found.value, number(&data["value"]), 1e-12);
    close(found.standard_error, number(&data["standard_error"]), 1e-11);
    let limits = found.limits.interval().unwrap();
    close(limits[0], number(&data["limits"][0]), 1e-9);
    close(limits[1], number(&data["limits"][1]), 1e-9);
    assert!(has(&found.remarks, "extrapolated"));
    let diluted = standard_addition(&x, &y, &CalibrationOptions::default(), 25.0, 0.95).unwrap();
    close(diluted.value, 25.0 * found.value, 1e-14);
    close(diluted.limits.interval().unwrap()[1], 25.0 * limits[1], 1e-14);
    assert_eq!(
        standard_addition(&x, &y, &CalibrationOptions::default(), 0.0, 0.95)
            .unwrap_err()
            .code(),
        "out-of-range"
    );
    let flat = standard_addition(&x, &[0.2; 5], &CalibrationOptions::default(), 1.0, 0.95);
    assert_eq!(flat.unwrap_err().code(), "constant-signal");
}

// --- Beer-Lambert ----------------------------------------------------------------------------------------------------

fn readings(absorbance: Measured) -> Readings {
    Readings {
        absorbance,
        absorption_coefficient: Measured::with_error(6220.0, 62.2),
        path_cm: Measured::bare(1.0),
        dilution: Measured::bare(10.0),
        ceiling: Some(2.5),
    }
}

#[test]
fn beer_and_lambert() {
    // 0.311·10/(6220·1) = 5e-4 mol/L; relative variances 0.01² (reading 0.00311) and 0.01².
    let found = concentration(&readings(Measured::with_error(0.311, 0.00311))).unwrap();
    close(found.value, 5e-4, 1e-14);
    close(found.standard_error.unwrap(), 5e-4 * 0.0002f64.sqrt(), 1e-12);
    close(found.factor, 10.0 / 6220.0, 1e-15);
    assert!((found.budget[0].share - 0.5).abs() < 1e-12);
    assert!(has(&found.remarks, "error-incomplete"));
    let bare = concentration(&readings(Measured::bare(0.311))).unwrap();
    // What was stated of the coefficient is the least that the concentration is uncertain by.
    close(bare.standard_error.unwrap(), 5e-4 * 0.01, 1e-12);
    assert!(has(&bare.remarks, "error-incomplete"));
    let unknown = concentration(&Readings {
        absorption_coefficient: Measured::bare(6220.0),
        ..readings(Measured::bare(0.311))
    })
    .unwrap();
    assert_eq!(unknown.standard_error, None);
    assert!(has(&unknown.remarks, "error-unknown"));
    let negative = concentration(&readings(Measured::with_error(-0.002, 0.003))).unwrap();
    assert!(negative.value < 0.0);
    assert!(has(&negative.remarks, "negative-concentration") && has(&negative.remarks, "not-told-from-zero"));
    let code = |r: Readings| concentration(&r).unwrap_err().code();
    assert_eq!(code(readings(Measured::bare(2.6))), "out-of-range");
    assert_eq!(code(readings(Measured::bare(f64::NAN))), "not-finite");
    assert_eq!(code(readings(Measured::with_error(0.1, -1.0))), "out-of-range");
    assert_eq!(
        code(Readings {
            path_cm: Measured::bare(0.0),
            ..readings(Measured::bare(0.1))
        }),
        "out-of-range"
    );
    assert_eq!(
        code(Readings {
            dilution: Measured::bare(0.1),
            ..readings(Measured::bare(0.1))
        }),
        "out-of-range"
    );
    let tiny = Measured::bare(1e-320);
    assert_eq!(
        code(Readings {
            absorption_coefficient: tiny,
            ..readings(Measured::bare(0.1))
        }),
        "out-of-range"
    );
}

// --- Mixtures ------------------------------------------------------------------------------------------------------------

#[test]
fn mixtures_agree_with_numpy() {
    let data = &independent()["mixture"];
    let references: Vec<Component> = data["references"]
        .as_array()
        .unwrap()
        .iter()
        .zip(["first", "second", "third"])
        .map(|(values, name)| Component {
            name: name.into(),
            absorptivity: numbers(values),
        })
        .collect();
    let y = numbers(&data["y"]);
    let with_offset = MixtureOptions {
        with_offset: true,
        ..MixtureOptions::default()
    };
    let found = mixture(&y, &references, &with_offset).unwrap();
    let (values, errors) = (numbers(&data["values"]), numbers(&data["errors"]));
    for (i, component) in found.components.iter().enumerate() {
        close(component.value, values[i], 1e-9);
        close(component.standard_error, errors[i], 1e-9);
        close(component.inflation, numbers(&data["inflation"])[i], 1e-9);
    }
    close(found.offset.unwrap().value, values[3], 1e-9);
    close(found.residual_sd, number(&data["residual_sd"]), 1e-9);
    assert!(has(&found.remarks, "references-taken-as-exact"));
    // The same reference twice cannot be told apart, and nearly the same one is warned about.
    let twice = [references[0].clone(), references[0].clone()];
    assert_eq!(
        mixture(&y, &twice, &MixtureOptions::default())
            .unwrap_err()
            .code(),
        "collinear"
    );
    let mut alike = references[0].clone();
    alike.absorptivity[3] += 0.05;
    let near = mixture(&y, &[references[0].clone(), alike], &MixtureOptions::default()).unwrap();
    assert!(has(&near.remarks, "collinear"));
    // A component that is not there at all, and one that is missing.
    let missing = mixture(&y, &references[..1], &MixtureOptions::default()).unwrap();
    assert!(has(&missing.remarks, "structured-residuals"));
    // Saturated wavelengths are left out, and what is left still gives the same within its errors.
    let mut clipped = y.clone();
    for a in &mut clipped[3..6] {
        *a = 5.0;
    }
    let ceiling = MixtureOptions {
        ceiling: Some(3.0),
        ..with_offset.clone()
    };
    let rest = mixture(&clipped, &references, &ceiling).unwrap();
    assert_eq!(rest.used.len(), y.len() - 3);
    assert!(has(&rest.remarks, "saturated-left-out"));
    for (a, b) in rest.components.iter().zip(&found.components) {
        assert!((a.value - b.value).abs() < 3.0 * b.standard_error);
    }
    let all = MixtureOptions {
        ceiling: Some(-1.0),
        ..with_offset.clone()
    };
    assert_eq!(
        mixture(&y, &references, &all).unwrap_err().code(),
        "all-saturated"
    );
    let origin = CalibrationOptions {
        through_origin: true,
        ..CalibrationOptions::default()
    };
    let held = standard_addition(&[1.0, 2.0, 3.0], &[0.1, 0.2, 0.31], &origin, 1.0, 0.95);
    assert_eq!(held.unwrap_err().code(), "unsuitable");
    assert_eq!(
        mixture(&y, &[], &with_offset).unwrap_err().code(),
        "too-few-points"
    );
    assert_eq!(
        mixture(&y[..3], &references, &with_offset).unwrap_err().code(),
        "unequal-lengths"
    );
}

// --- Ratios ----------------------------------------------------------------------------------------------------------------

#[test]
fn ratios_are_marked_as_common_practice() {
    let readings = NucleicAcidReadings {
        a260: 0.52,
        a280: 0.30,
        a230: Some(0.27),
        a320: Some(0.02),
        reading_sd: Some(0.002),
        path_cm: 1.0,
        dilution: 2.0,
        ceiling: Some(2.5),
    };
    let found = nucleic_acid(&readings, NucleicAcidKind::DoubleStrandedDna).unwrap();
    close(found.ratio_260_280.value, 0.5 / 0.28, 1e-14);
    close(found.ratio_260_230.unwrap().value, 2.0, 1e-14);
    close(found.micrograms_per_ml.value, 50.0, 1e-14);
    // Two readings of 0.002 each, times 100 µg/mL per absorbance.
    close(
        found.micrograms_per_ml.standard_error.unwrap(),
        0.2 * 2f64.sqrt(),
        1e-12,
    );
    assert!(found.common_practice && has(&found.remarks, "common-practice"));
    let rna = nucleic_acid(
        &NucleicAcidReadings {
            a320: None,
            ..readings
        },
        NucleicAcidKind::Rna,
    )
    .unwrap();
    close(rna.micrograms_per_ml.value, 0.52 * 80.0, 1e-14);
    assert!(has(&rna.remarks, "no-background"));
    let code = |r: NucleicAcidReadings| nucleic_acid(&r, NucleicAcidKind::Rna).unwrap_err().code();
    assert_eq!(
        code(NucleicAcidReadings {
            a280: 0.01,
            ..readings
        }),
        "out-of-range"
    );
    assert_eq!(
        code(NucleicAcidReadings {
            a260: 3.0,
            ..readings
        }),
        "out-of-range"
    );
    assert_eq!(
        code(NucleicAcidReadings {
            a230: Some(f64::NAN),
            ..readings
        }),
        "not-finite"
    );

    let found = protein(1.0, 0.6, Some(0.002), 1.0, 1.0, None).unwrap();
    close(found.milligrams_per_ml.value, 1.55 - 0.76 * 0.6, 1e-14);
    assert!(found.common_practice);
    assert!(has(
        &protein(0.3, 0.9, None, 1.0, 1.0, None).unwrap().remarks,
        "negative-concentration"
    ));
    assert_eq!(
        protein(0.0, 0.9, None, 1.0, 1.0, None).unwrap_err().code(),
        "out-of-range"
    );
}
