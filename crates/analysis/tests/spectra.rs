//! Spectra against SciPy and NumPy (data/independent-spectra.json, made by independent_spectra.py),
//! against exact conversions (data/closed-form.json) and against properties that must hold.

#![allow(clippy::unwrap_used)]

use std::collections::BTreeMap;

use curvary_analysis::spectra::{
    Apex, AreaBaseline, Axis, Baseline, BaselineFound, Chain, Curve, ELEMENTARY_CHARGE_C, Extreme, Grids,
    HC_OVER_E_EV_NM, Interpolation, Ordinate, PLANCK_J_S, PeakOptions, Refinement, SPEED_OF_LIGHT_M_PER_S,
    SavitzkyGolay, Spectrum, Step, Threshold, Uneven, Width, WidthLevel, Window, absorbance_of, area_between,
    average, ev_of_nm, find_peaks, find_shoulders, nm_of_ev, nm_of_per_cm, noise, per_cm_of_nm, point_noise,
    resample, subtract_baseline, subtract_blank, transmittance_of, value_at,
};
use proptest::prelude::*;
use serde_json::Value;

fn independent() -> Value {
    serde_json::from_str(include_str!("data/independent-spectra.json")).unwrap()
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
    let allowed = relative * expected.abs().max(1e-300);
    assert!(
        (found - expected).abs() <= allowed,
        "found {found}, expected {expected}"
    );
}

#[track_caller]
fn near(found: f64, expected: f64, absolute: f64) {
    assert!(
        (found - expected).abs() <= absolute,
        "found {found}, expected {expected}"
    );
}

fn curve(x: &[f64], y: &[f64]) -> Curve {
    Curve::new(x.to_vec(), y.to_vec()).unwrap()
}

fn invented() -> Curve {
    let data = independent();
    curve(&numbers(&data["spectrum"]["x"]), &numbers(&data["spectrum"]["y"]))
}

fn absorbance(curve: Curve) -> Spectrum {
    Spectrum {
        curve,
        axis: Axis::Nanometre,
        ordinate: Ordinate::Absorbance,
    }
}

fn bell(x: f64, at: f64, fwhm: f64) -> f64 {
    (-4.0 * 2f64.ln() * ((x - at) / fwhm).powi(2)).exp()
}

fn reversed(curve: &Curve) -> Curve {
    let turn = |v: &[f64]| v.iter().rev().copied().collect::<Vec<_>>();
    Curve::new(turn(curve.x()), turn(curve.y())).unwrap()
}

// --- Conversions -------------------------------------------------------------------------------------

#[test]
fn transmittance_as_in_the_closed_forms() {
    let data: Value = serde_json::from_str(include_str!("data/closed-form.json")).unwrap();
    for row in data["conversions"]["transmittance_to_absorbance"]
        .as_array()
        .unwrap()
    {
        let (percent, a) = (number(&row["percent_T"]), number(&row["A"]));
        near(absorbance_of(percent / 100.0).unwrap(), a, 1e-14);
        close(transmittance_of(a).unwrap() * 100.0, percent, 1e-13);
    }
    for t in [0.0, -0.001, f64::NAN, f64::INFINITY] {
        assert_eq!(absorbance_of(t), None, "{t}");
    }
    assert_eq!(transmittance_of(f64::NAN), None);
    assert_eq!(transmittance_of(-400.0), None);
    assert_eq!(absorbance_of(1.0).unwrap().to_bits(), 0f64.to_bits());
}

#[test]
fn wavelengths_as_in_the_closed_forms() {
    let data: Value = serde_json::from_str(include_str!("data/closed-form.json")).unwrap();
    for row in data["conversions"]["wavelength_energy"].as_array().unwrap() {
        let nm = number(&row["nm"]);
        close(per_cm_of_nm(nm).unwrap(), number(&row["per_cm"]), 1e-14);
        close(ev_of_nm(nm).unwrap(), number(&row["eV"]), 1e-14);
        close(nm_of_per_cm(number(&row["per_cm"])).unwrap(), nm, 1e-13);
        close(nm_of_ev(number(&row["eV"])).unwrap(), nm, 1e-13);
    }
    assert_eq!(per_cm_of_nm(0.0), None);
    assert_eq!(ev_of_nm(-500.0), None);
    assert_eq!(nm_of_ev(f64::NAN), None);
}

#[test]
fn constants_are_those_of_codata() {
    // SciPy's table, and the product written out from the exact constants.
    let data = independent();
    assert_eq!(PLANCK_J_S, number(&data["constants"]["h"]));
    assert_eq!(SPEED_OF_LIGHT_M_PER_S, number(&data["constants"]["c"]));
    assert_eq!(ELEMENTARY_CHARGE_C, number(&data["constants"]["e"]));
    close(HC_OVER_E_EV_NM, 1_239.841_984_332_002_6, 1e-15);
}

#[test]
fn points_without_an_absorbance_are_left_out_and_told() {
    let spectrum = Spectrum {
        curve: curve(&[400.0, 401.0, 402.0, 403.0], &[50.0, 0.0, -0.2, 10.0]),
        axis: Axis::Nanometre,
        ordinate: Ordinate::PercentTransmittance,
    };
    let (a, notes) = spectrum.to_ordinate(Ordinate::Absorbance).unwrap();
    assert_eq!(a.curve.x(), [400.0, 403.0]);
    near(a.curve.y()[1], 1.0, 1e-15);
    assert!(
        notes
            .iter()
            .any(|n| n.contains("2 of 4 points") && n.contains("401")),
        "{notes:?}"
    );
    let all = Spectrum {
        curve: curve(&[400.0], &[0.0]),
        ..spectrum
    };
    assert_eq!(
        all.to_ordinate(Ordinate::Absorbance).unwrap_err().code(),
        "too-few-points"
    );
}

#[test]
fn axis_conversions_are_refused_where_they_mean_nothing() {
    let time = Spectrum {
        axis: Axis::Other,
        ..absorbance(curve(&[1.0, 2.0], &[0.1, 0.2]))
    };
    assert_eq!(time.to_axis(Axis::Nanometre).unwrap_err().code(), "wrong-axis");
    let derivative = Spectrum {
        ordinate: Ordinate::Derivative(1),
        ..absorbance(curve(&[1.0, 2.0], &[0.1, 0.2]))
    };
    assert_eq!(
        derivative.to_axis(Axis::ElectronVolt).unwrap_err().code(),
        "wrong-ordinate"
    );
    let zero = absorbance(curve(&[0.0, 2.0], &[0.1, 0.2]));
    assert_eq!(
        zero.to_axis(Axis::ElectronVolt).unwrap_err().code(),
        "not-positive"
    );
}

proptest! {
    #[test]
    fn absorbance_comes_back_from_transmittance(a in -2.0f64..6.0) {
        let back = absorbance_of(transmittance_of(a).unwrap()).unwrap();
        prop_assert!((back - a).abs() <= 1e-14 * a.abs().max(1.0));
    }

    #[test]
    fn wavelengths_come_back_from_energy_and_wavenumber(nm in 100.0f64..3000.0) {
        prop_assert!((nm_of_ev(ev_of_nm(nm).unwrap()).unwrap() / nm - 1.0).abs() < 1e-15);
        prop_assert!((nm_of_per_cm(per_cm_of_nm(nm).unwrap()).unwrap() / nm - 1.0).abs() < 1e-15);
    }

    #[test]
    fn a_spectrum_comes_back_from_every_axis(start in 190.0f64..400.0, step in 0.1f64..5.0, n in 2usize..60) {
        let x: Vec<f64> = (0..n).map(|i| start + i as f64 * step).collect();
        let spectrum = absorbance(Curve::new(x.clone(), x.clone()).unwrap());
        for axis in [Axis::PerCentimetre, Axis::ElectronVolt] {
            let back = spectrum.to_axis(axis).unwrap().0.to_axis(Axis::Nanometre).unwrap().0;
            for (found, expected) in back.curve.x().iter().zip(&x) {
                prop_assert!((found / expected - 1.0).abs() < 1e-14);
            }
            prop_assert_eq!(back.curve.y(), spectrum.curve.y());
        }
    }
}

// --- Bad curves ---------------------------------------------------------------------------------------

#[test]
fn bad_columns_get_a_named_reason() {
    let code = |x: &[f64], y: &[f64]| Curve::new(x.to_vec(), y.to_vec()).unwrap_err().code();
    assert_eq!(code(&[], &[]), "too-few-points");
    assert_eq!(code(&[1.0, 2.0], &[1.0]), "unequal-lengths");
    assert_eq!(code(&[1.0, f64::NAN], &[1.0, 2.0]), "not-finite");
    assert_eq!(code(&[1.0, 2.0], &[1.0, f64::INFINITY]), "not-finite");
    assert_eq!(code(&[1.0, 2.0, 2.0], &[1.0, 2.0, 3.0]), "equal-x");
    assert_eq!(code(&[1.0, 2.0, 1.5], &[1.0, 2.0, 3.0]), "not-monotonic");
    assert_eq!(code(&[3.0, 2.0, 2.5], &[1.0, 2.0, 3.0]), "not-monotonic");
}

#[test]
fn a_refusal_carries_its_code_when_serialised() {
    for refusal in [
        Curve::new(vec![1.0, 2.0, 1.5], vec![0.0; 3]).unwrap_err(),
        Curve::new(vec![1.0, 1.0], vec![0.0; 2]).unwrap_err(),
        Window::new(3.0, 1.0).unwrap_err(),
    ] {
        let json = serde_json::to_value(&refusal).unwrap();
        assert_eq!(json["code"], refusal.code());
        assert_eq!(
            serde_json::from_value::<curvary_analysis::spectra::SpectrumRefusal>(json).unwrap(),
            refusal
        );
        assert!(!refusal.to_string().is_empty());
    }
}

// --- Savitzky-Golay -------------------------------------------------------------------------------------

#[test]
fn moving_polynomials_agree_with_scipy_to_the_edges() {
    let data = independent();
    let spectrum = invented();
    for case in data["savitzky_golay"].as_array().unwrap() {
        let count = |key: &str| usize::try_from(case[key].as_u64().unwrap()).unwrap();
        let filter = SavitzkyGolay {
            window: count("window"),
            order: count("order"),
            derivative: count("derivative"),
            uneven: Uneven::Refuse,
        };
        let expected = numbers(&case["values"]);
        let size = expected.iter().fold(0.0, |m: f64, v| m.max(v.abs()));
        let smoothed = filter.apply(&spectrum).unwrap();
        assert_eq!(smoothed.edge_points, filter.window / 2);
        close(smoothed.noise_gain, number(&case["noise_gain"]), 1e-10);
        for (found, expected) in smoothed.curve.y().iter().zip(&expected) {
            near(*found, *expected, 2e-10 * size);
        }
        // A spectrum recorded downwards gives the same values at the same places.
        let mut other = filter.apply(&reversed(&spectrum)).unwrap().curve.y().to_vec();
        other.reverse();
        for (found, expected) in other.iter().zip(&expected) {
            near(*found, *expected, 2e-10 * size);
        }
    }
}

#[test]
fn uneven_steps_are_refused_or_fitted_as_they_are() {
    let data = &independent()["uneven"];
    let uneven = curve(&numbers(&data["x"]), &numbers(&data["y"]));
    let filter = SavitzkyGolay::smoothing(7, 3);
    assert_eq!(filter.apply(&uneven).unwrap_err().code(), "uneven-steps");
    let smooth = SavitzkyGolay {
        uneven: Uneven::Fit,
        ..filter
    }
    .apply(&uneven)
    .unwrap();
    assert!(!smooth.even);
    let first = SavitzkyGolay {
        uneven: Uneven::Fit,
        derivative: 1,
        ..filter
    }
    .apply(&uneven)
    .unwrap();
    for i in 0..uneven.len() {
        near(smooth.curve.y()[i], numbers(&data["smooth"])[i], 1e-12);
        near(first.curve.y()[i], numbers(&data["first"])[i], 1e-11);
    }
}

#[test]
fn filters_out_of_range_are_refused() {
    let spectrum = invented();
    let code = |window, order, derivative| {
        let filter = SavitzkyGolay {
            window,
            order,
            derivative,
            uneven: Uneven::Refuse,
        };
        filter.apply(&spectrum).unwrap_err().code()
    };
    assert_eq!(code(4, 2, 0), "bad-setting");
    assert_eq!(code(0, 0, 0), "bad-setting");
    assert_eq!(code(5, 5, 0), "bad-setting");
    assert_eq!(code(5, 2, 3), "bad-setting");
    assert_eq!(code(1001, 2, 0), "too-few-points");
    assert_eq!(code(usize::MAX, 12, 0), "bad-setting");
}

proptest! {
    #[test]
    fn a_polynomial_passes_the_filter_unchanged(
        c in prop::array::uniform4(-3.0f64..3.0), half in 2usize..8, n in 20usize..60, step in 0.1f64..4.0,
    ) {
        let value = |u: f64| c[0] + u * (c[1] + u * (c[2] + u * c[3]));
        let slope = |u: f64| c[1] + u * (2.0 * c[2] + 3.0 * u * c[3]);
        let u: Vec<f64> = (0..n).map(|i| i as f64 / n as f64).collect();
        let x: Vec<f64> = u.iter().map(|u| 300.0 + u * n as f64 * step).collect();
        let cubic = Curve::new(x, u.iter().map(|u| value(*u)).collect()).unwrap();
        let filter = SavitzkyGolay { window: 2 * half + 1, order: 3, derivative: 0, uneven: Uneven::Fit };
        let same = filter.apply(&cubic).unwrap();
        let first = SavitzkyGolay { derivative: 1, ..filter }.apply(&cubic).unwrap();
        for ((u, y), dy) in u.iter().zip(same.curve.y()).zip(first.curve.y()) {
            prop_assert!((y - value(*u)).abs() < 1e-11);
            prop_assert!((dy * n as f64 * step - slope(*u)).abs() < 1e-7);
        }
    }
}

// --- Peaks ------------------------------------------------------------------------------------------------

#[test]
fn peaks_agree_with_scipy() {
    let data = independent();
    for name in ["spectrum", "stairs"] {
        let set = &data["peaks"][name];
        let y = numbers(&set["y"]);
        let x: Vec<f64> = (0..y.len()).map(|i| i as f64).collect();
        let options = PeakOptions {
            min_prominence: Threshold::Absolute(number(&set["min_prominence"])),
            ..PeakOptions::default()
        };
        let table = find_peaks(&curve(&x, &y), &options).unwrap();
        let found: Vec<f64> = table.peaks.iter().map(|p| p.index as f64).collect();
        assert_eq!(found, numbers(&set["index"]), "{name}");
        for (i, peak) in table.peaks.iter().enumerate() {
            let at = |key: &str| numbers(&set[key])[i];
            near(peak.prominence, at("prominence"), 1e-12);
            assert_eq!(peak.left_base, at("left_base"));
            assert_eq!(peak.right_base, at("right_base"));
            let Width::Found {
                at: height,
                left,
                right,
                width,
            } = peak.width
            else {
                panic!("{name}: no width at {}", peak.sampled_x)
            };
            near(height, at("width_height"), 1e-12);
            near(left, at("left"), 1e-10);
            near(right, at("right"), 1e-10);
            near(width, at("width"), 1e-10);
        }
    }
}

#[test]
fn the_local_parabola_agrees_with_numpy() {
    let data = &independent()["local_quadratic"];
    let options = PeakOptions {
        min_prominence: Threshold::Absolute(0.2),
        refinement: Refinement::LocalQuadratic { points: 9 },
        ..PeakOptions::default()
    };
    let table = find_peaks(&invented(), &options).unwrap();
    let Apex::Refined {
        x,
        x_error,
        height,
        height_error,
        ..
    } = table.peaks[0].apex
    else {
        panic!("{:?}", table.peaks[0])
    };
    close(x, number(&data["x"]), 1e-11);
    close(x_error.unwrap(), number(&data["x_error"]), 1e-7);
    close(height, number(&data["height"]), 1e-12);
    close(height_error.unwrap(), number(&data["height_error"]), 1e-7);
}

#[test]
fn areas_agree_with_the_trapezoidal_rule_of_numpy() {
    let window = Window::new(240.0, 300.0).unwrap();
    let expected = number(&independent()["trapezoid_240_300"]);
    for spectrum in [invented(), reversed(&invented())] {
        let area = area_between(&spectrum, window, AreaBaseline::Zero).unwrap();
        close(area.value, expected, 1e-13);
    }
    // A triangle on a slope: the chord takes the slope away, also where the limits lie between points.
    let triangle = curve(&[0.0, 1.0, 2.0, 3.0, 4.0], &[0.0, 1.0, 4.0, 3.0, 4.0]);
    near(
        area_between(&triangle, Window::new(0.0, 4.0).unwrap(), AreaBaseline::Chord)
            .unwrap()
            .value,
        2.0,
        1e-14,
    );
    near(
        area_between(&triangle, Window::new(0.5, 3.5).unwrap(), AreaBaseline::Chord)
            .unwrap()
            .value,
        2.0,
        1e-14,
    );
    let outside = area_between(&triangle, Window::new(-1.0, 3.0).unwrap(), AreaBaseline::Zero);
    assert_eq!(outside.unwrap_err().code(), "outside-range");
}

#[test]
fn the_width_of_a_bell_is_its_known_width() {
    let x: Vec<f64> = (0..2001).map(|i| 400.0 + 0.1 * f64::from(i)).collect();
    let y: Vec<f64> = x.iter().map(|x| 0.8 * bell(*x, 497.3, 31.0)).collect();
    let options = PeakOptions {
        min_prominence: Threshold::Absolute(0.1),
        width: WidthLevel::HalfHeight,
        ..PeakOptions::default()
    };
    let table = find_peaks(&curve(&x, &y), &options).unwrap();
    let Width::Found { width, .. } = table.peaks[0].width else {
        panic!("{:?}", table.peaks[0].width)
    };
    near(width, 31.0, 1e-3);
    near(table.peaks[0].apex.x(), 497.3, 1e-6);
    near(table.peaks[0].apex.height(), 0.8, 1e-9);
    // On a high floor the half height is never reached, and that is said.
    let high: Vec<f64> = y.iter().map(|v| v + 1.0).collect();
    let table = find_peaks(&curve(&x, &high), &options).unwrap();
    assert!(matches!(table.peaks[0].width, Width::Open { .. }));
}

#[test]
fn clipped_and_saturated_tops_give_no_position_between_points() {
    let x: Vec<f64> = (0..81).map(|i| 500.0 + f64::from(i)).collect();
    let clipped: Vec<f64> = x.iter().map(|x| (3.0 * bell(*x, 540.0, 20.0)).min(2.0)).collect();
    let options = PeakOptions {
        min_prominence: Threshold::Absolute(0.1),
        ..PeakOptions::default()
    };
    let table = find_peaks(&curve(&x, &clipped), &options).unwrap();
    assert!(
        matches!(table.peaks[0].apex, Apex::Flat { height: 2.0, .. }),
        "{:?}",
        table.peaks[0].apex
    );

    let two: Vec<f64> = x
        .iter()
        .map(|x| 3.0 * bell(*x, 540.0, 12.0) + 0.4 * bell(*x, 570.0, 8.0))
        .collect();
    let table = find_peaks(
        &curve(&x, &two),
        &PeakOptions {
            ceiling: Some(2.5),
            ..options
        },
    )
    .unwrap();
    assert_eq!(table.peaks.len(), 1);
    near(table.peaks[0].apex.x(), 570.0, 0.1);
    assert_eq!(table.saturated.len(), 1);
    assert!(
        table.notes.iter().any(|n| n.contains("trusted range")),
        "{:?}",
        table.notes
    );
    let all = find_peaks(
        &curve(&x, &two),
        &PeakOptions {
            ceiling: Some(-1.0),
            ..options
        },
    );
    assert_eq!(all.unwrap_err().code(), "all-saturated");
}

#[test]
fn valleys_are_peaks_upside_down_and_ends_are_no_peaks() {
    let x: Vec<f64> = (0..41).map(f64::from).collect();
    let y: Vec<f64> = x.iter().map(|x| 1.0 - 0.5 * bell(*x, 17.2, 9.0)).collect();
    let options = PeakOptions {
        extreme: Extreme::Minimum,
        min_prominence: Threshold::Absolute(0.1),
        ..PeakOptions::default()
    };
    let table = find_peaks(&curve(&x, &y), &options).unwrap();
    assert_eq!(table.peaks.len(), 1);
    near(table.peaks[0].apex.x(), 17.2, 0.01);
    near(table.peaks[0].apex.height(), 0.5, 1e-3);
    assert!(table.peaks[0].area.unwrap().value > 0.0);
    let slope = find_peaks(
        &curve(&x, &x),
        &PeakOptions {
            extreme: Extreme::Maximum,
            ..options
        },
    )
    .unwrap();
    assert!(slope.peaks.is_empty());
    assert!(slope.notes[0].contains("end of the curve"), "{:?}", slope.notes);
}

#[test]
fn peaks_that_cannot_be_told_are_refused() {
    let flat = curve(&[1.0, 2.0, 3.0, 4.0], &[0.5; 4]);
    assert_eq!(
        find_peaks(&flat, &PeakOptions::default()).unwrap_err().code(),
        "constant-signal"
    );
    let short = curve(&[1.0, 2.0], &[0.5, 0.6]);
    assert_eq!(
        find_peaks(&short, &PeakOptions::default()).unwrap_err().code(),
        "too-few-points"
    );
    let bad = PeakOptions {
        min_prominence: Threshold::Absolute(f64::NAN),
        ..PeakOptions::default()
    };
    assert_eq!(find_peaks(&invented(), &bad).unwrap_err().code(), "bad-setting");
    let bad = PeakOptions {
        refinement: Refinement::LocalQuadratic { points: 4 },
        ..PeakOptions::default()
    };
    assert_eq!(find_peaks(&invented(), &bad).unwrap_err().code(), "bad-setting");
}

#[test]
fn the_noise_threshold_keeps_bands_and_drops_ripple() {
    let table = find_peaks(&invented(), &PeakOptions::default()).unwrap();
    let found: Vec<f64> = table.peaks.iter().map(|p| p.apex.x().round()).collect();
    assert_eq!(found, [260.0, 319.0, 371.0]);
}

#[test]
fn a_hidden_band_is_found_as_a_shoulder() {
    let x: Vec<f64> = (0..401).map(|i| 300.0 + 0.5 * f64::from(i)).collect();
    let y: Vec<f64> = x
        .iter()
        .map(|x| bell(*x, 380.0, 50.0) + 0.35 * bell(*x, 422.0, 30.0))
        .collect();
    let both = curve(&x, &y);
    let peaks = find_peaks(
        &both,
        &PeakOptions {
            min_prominence: Threshold::Absolute(0.001),
            ..PeakOptions::default()
        },
    );
    assert_eq!(peaks.unwrap().peaks.len(), 1);
    let shoulders = find_shoulders(&both, 21, 4, Threshold::Absolute(2e-4)).unwrap();
    assert_eq!(shoulders.len(), 1, "{shoulders:?}");
    near(shoulders[0].x, 422.0, 4.0);
}

proptest! {
    #[test]
    fn peaks_move_with_the_axis(shift in -150.0f64..500.0, lift in -0.5f64..0.5, down in any::<bool>()) {
        let spectrum = invented();
        let x: Vec<f64> = spectrum.x().iter().map(|x| x + shift).collect();
        let y: Vec<f64> = spectrum.y().iter().map(|y| y + lift).collect();
        let mut moved = Curve::new(x, y).unwrap();
        if down {
            moved = reversed(&moved);
        }
        let options = PeakOptions { min_prominence: Threshold::Absolute(0.01), ..PeakOptions::default() };
        let here = find_peaks(&spectrum, &options).unwrap();
        let there = find_peaks(&moved, &options).unwrap();
        prop_assert_eq!(here.peaks.len(), there.peaks.len());
        for (a, b) in here.peaks.iter().zip(&there.peaks) {
            prop_assert!((a.apex.x() + shift - b.apex.x()).abs() < 1e-6);
            prop_assert!((a.apex.height() + lift - b.apex.height()).abs() < 1e-9);
            prop_assert!((a.prominence - b.prominence).abs() < 1e-12);
            prop_assert!((a.area.unwrap().value - b.area.unwrap().value).abs() < 1e-9);
            prop_assert_eq!(moved.x()[b.index], b.sampled_x);
        }
    }

    #[test]
    fn nothing_panics_on_any_numbers(y in prop::collection::vec(prop::num::f64::ANY, 0..40), window in 0usize..12) {
        let x: Vec<f64> = (0..y.len()).map(|i| i as f64).collect();
        if let Ok(any) = Curve::new(x, y) {
            let options = PeakOptions { min_prominence: Threshold::Absolute(0.0), ..PeakOptions::default() };
            let _ = find_peaks(&any, &options);
            let _ = noise(&any, 2);
            let _ = point_noise(any.y());
            let _ = SavitzkyGolay::smoothing(window, 2).apply(&any);
            let _ = resample(&any, any.x(), Interpolation::Cubic);
            let _ = find_shoulders(&any, window, 3, Threshold::Noise(1.0));
            let _ = average(&[any.clone(), any], Grids::Resample(Interpolation::Linear));
        }
    }
}

// --- Blank, baseline, noise, averages, resampling ----------------------------------------------------------

#[test]
fn a_blank_needs_the_same_grid_or_a_word() {
    let sample = curve(&[400.0, 401.0, 402.0], &[0.5, 0.6, 0.7]);
    let more = curve(&[403.0, 402.0, 401.0, 400.0, 399.0], &[0.3, 0.2, 0.1, 0.05, 0.0]);
    let (result, used) = subtract_blank(&sample, &more, Grids::MustMatch).unwrap();
    assert_eq!(used.resampled, None);
    for (found, expected) in result.y().iter().zip([0.45, 0.5, 0.5]) {
        near(*found, expected, 1e-15);
    }
    let other = curve(&[399.5, 400.5, 401.5, 402.5], &[0.1, 0.2, 0.3, 0.4]);
    assert_eq!(
        subtract_blank(&sample, &other, Grids::MustMatch)
            .unwrap_err()
            .code(),
        "grids-differ"
    );
    let (result, used) = subtract_blank(&sample, &other, Grids::Resample(Interpolation::Linear)).unwrap();
    assert_eq!(used.resampled, Some(Interpolation::Linear));
    near(result.y()[0], 0.35, 1e-14);
    let short = curve(&[400.5, 402.5], &[0.1, 0.4]);
    let refused = subtract_blank(&sample, &short, Grids::Resample(Interpolation::Linear));
    assert_eq!(refused.unwrap_err().code(), "outside-range");
}

#[test]
fn offset_and_line_take_away_what_was_added() {
    let clean = invented();
    let plain: Vec<f64> = clean.x().iter().map(|x| 0.9 * bell(*x, 300.0, 30.0)).collect();
    let tilted: Vec<f64> = clean
        .x()
        .iter()
        .zip(&plain)
        .map(|(x, y)| y + 0.05 + 0.0007 * (x - 220.0))
        .collect();
    let spectrum = absorbance(curve(clean.x(), &tilted));
    let line = Baseline::Line {
        left: Window::new(220.0, 225.0).unwrap(),
        right: Window::new(390.0, 420.0).unwrap(),
    };
    let (result, found, _) = subtract_baseline(&spectrum, line).unwrap();
    let BaselineFound::Line { slope, .. } = found else {
        panic!("{found:?}")
    };
    near(slope, 0.0007, 1e-9);
    for (found, expected) in result.curve.y().iter().zip(&plain) {
        near(*found, *expected, 1e-6);
    }
    let offset = Baseline::Offset {
        over: Window::new(400.0, 420.0).unwrap(),
    };
    let (result, found, _) = subtract_baseline(&spectrum, offset).unwrap();
    let BaselineFound::Offset { level, points, .. } = found else {
        panic!("{found:?}")
    };
    assert_eq!(points, 41);
    near(level, 0.05 + 0.0007 * 190.0, 1e-9);
    near(result.curve.y()[0], tilted[0] - level, 1e-15);
    let overlap = Baseline::Line {
        left: Window::new(220.0, 300.0).unwrap(),
        right: Window::new(290.0, 420.0).unwrap(),
    };
    assert_eq!(
        subtract_baseline(&spectrum, overlap).unwrap_err().code(),
        "bad-setting"
    );
    let nowhere = Baseline::Offset {
        over: Window::new(700.0, 720.0).unwrap(),
    };
    assert_eq!(
        subtract_baseline(&spectrum, nowhere).unwrap_err().code(),
        "too-few-points"
    );
}

#[test]
fn the_scatter_law_agrees_with_scipy() {
    let data = &independent()["scatter"];
    let spectrum = absorbance(curve(&numbers(&data["x"]), &numbers(&data["y"])));
    let over = Window::new(350.0, 500.0).unwrap();
    let (_, found, _) = subtract_baseline(&spectrum, Baseline::Scatter { over, exponent: None }).unwrap();
    let BaselineFound::Scatter {
        amplitude,
        amplitude_error,
        reference_nm,
        exponent,
        exponent_error,
        ..
    } = found
    else {
        panic!("{found:?}")
    };
    close(reference_nm, number(&data["reference_nm"]), 1e-12);
    close(amplitude, number(&data["amplitude"]), 1e-8);
    close(exponent, number(&data["exponent"]), 1e-7);
    close(amplitude_error.unwrap(), number(&data["amplitude_error"]), 1e-4);
    close(exponent_error.unwrap(), number(&data["exponent_error"]), 1e-4);
    // The same law is found on any optical axis.
    let (other, _) = spectrum.to_axis(Axis::ElectronVolt).unwrap();
    let window = Window::new(ev_of_nm(501.0).unwrap(), ev_of_nm(349.0).unwrap()).unwrap();
    let (_, again, _) = subtract_baseline(
        &other,
        Baseline::Scatter {
            over: window,
            exponent: None,
        },
    )
    .unwrap();
    let BaselineFound::Scatter { exponent: same, .. } = again else {
        panic!("{again:?}")
    };
    close(same, exponent, 1e-9);
}

#[test]
fn no_scatter_is_no_scatter_law() {
    let x: Vec<f64> = (0..20).map(|i| 350.0 + f64::from(i)).collect();
    let below = absorbance(curve(&x, &[-0.01; 20]));
    let over = Window::new(350.0, 370.0).unwrap();
    let refused = subtract_baseline(&below, Baseline::Scatter { over, exponent: None });
    assert_eq!(refused.unwrap_err().code(), "undetermined");
    let time = Spectrum {
        axis: Axis::Other,
        ..below
    };
    let refused = subtract_baseline(
        &time,
        Baseline::Scatter {
            over,
            exponent: Some(4.0),
        },
    );
    assert_eq!(refused.unwrap_err().code(), "wrong-axis");
}

#[test]
fn noise_and_drift_agree_with_scipy() {
    let data = &independent()["noise"];
    let trace = curve(&numbers(&data["t"]), &numbers(&data["y"]));
    for degree in 0..3 {
        let found = noise(&trace, degree).unwrap();
        close(found.rms, number(&data[format!("rms_{degree}")]), 1e-10);
        close(found.drift, number(&data["drift"]), 1e-9);
        close(found.drift_error, number(&data["drift_error"]), 1e-9);
    }
    close(
        noise(&trace, 1).unwrap().peak_to_peak,
        number(&data["peak_to_peak_1"]),
        1e-9,
    );
    close(
        point_noise(trace.y()).unwrap(),
        number(&data["point_noise"]),
        1e-9,
    );
    assert_eq!(
        noise(&curve(&[1.0, 2.0], &[0.0, 1.0]), 1).unwrap_err().code(),
        "too-few-points"
    );
    let x: Vec<f64> = (0..12).map(f64::from).collect();
    assert_eq!(
        noise(&curve(&x, &[0.1; 12]), 1).unwrap_err().code(),
        "constant-signal"
    );
}

#[test]
fn point_noise_finds_the_noise_that_was_put_in() {
    // 20,000 normal numbers from a congruential generator (Knuth's MMIX constants), on a slow wave.
    let mut state = 20_240_501u64;
    let y: Vec<f64> = (0..20_000)
        .map(|i| {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            let uniform = ((state >> 11) as f64 + 0.5) / 2f64.powi(53);
            0.3 * (f64::from(i) / 900.0).sin()
                + 2e-3 * curvary_analysis::distribution::normal_quantile(uniform)
        })
        .collect();
    close(point_noise(&y).unwrap(), 2e-3, 0.03);
}

#[test]
fn rounding_is_a_noise_too() {
    // A band far above the last digit, on a floor where only the last digit flickers.
    let x: Vec<f64> = (0..301).map(f64::from).collect();
    let y: Vec<f64> = (0..301)
        .map(|i| {
            let flicker = if i % 9 == 0 { 0.001 } else { 0.0 };
            ((0.5 * bell(f64::from(i), 150.0, 20.0) + flicker) * 1000.0).round() / 1000.0
        })
        .collect();
    near(point_noise(&y).unwrap(), 0.001 / 12f64.sqrt(), 1e-9);
    let table = find_peaks(&curve(&x, &y), &PeakOptions::default()).unwrap();
    assert_eq!(
        table.peaks.len(),
        1,
        "{:?}",
        table.peaks.iter().map(|p| p.sampled_x).collect::<Vec<_>>()
    );
}

#[test]
fn shoulders_do_not_come_from_noise() {
    let mut state = 3u64;
    let x: Vec<f64> = (0..601).map(|i| 250.0 + 0.5 * f64::from(i)).collect();
    let y: Vec<f64> = x
        .iter()
        .map(|x| {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            let uniform = ((state >> 11) as f64 + 0.5) / 2f64.powi(53);
            bell(*x, 400.0, 60.0) + 1e-3 * curvary_analysis::distribution::normal_quantile(uniform)
        })
        .collect();
    let found = find_shoulders(&curve(&x, &y), 31, 4, Threshold::Noise(6.0)).unwrap();
    assert!(found.is_empty(), "{found:?}");
    let chain: Chain = "smooth(window=31, order=4) | derivative(1, window=5, order=2)"
        .parse()
        .unwrap();
    let done = chain.apply(&absorbance(curve(&x, &y)), |_| None).unwrap();
    close(done.noise_before_smoothing.unwrap(), 1e-3, 0.15);
    // The noise of the smoothed curve by its own differences would be far too small.
    let smooth = SavitzkyGolay::smoothing(31, 4).apply(&curve(&x, &y)).unwrap();
    assert!(point_noise(smooth.curve.y()).unwrap() < 0.5 * smooth.noise_gain * 1e-3);
}

#[test]
fn averages_carry_their_spread() {
    let a = curve(&[1.0, 2.0], &[0.10, 0.20]);
    let b = reversed(&curve(&[1.0, 2.0], &[0.12, 0.20]));
    let c = curve(&[1.0, 2.0], &[0.14, 0.23]);
    let found = average(&[a.clone(), b, c], Grids::MustMatch).unwrap();
    near(found.mean.y()[0], 0.12, 1e-15);
    near(found.mean.y()[1], 0.21, 1e-15);
    near(found.standard_deviation[0], 0.02, 1e-15);
    near(found.standard_error()[1], (0.0003f64).sqrt() / 3f64.sqrt(), 1e-15);
    assert_eq!(
        average(std::slice::from_ref(&a), Grids::MustMatch)
            .unwrap_err()
            .code(),
        "too-few-points"
    );
    let shifted = curve(&[1.0, 2.1], &[0.1, 0.2]);
    assert_eq!(
        average(&[a, shifted], Grids::MustMatch).unwrap_err().code(),
        "grids-differ"
    );
}

#[test]
fn resampling_agrees_with_scipy_and_does_not_extrapolate() {
    let data = &independent()["spline"];
    let points = curve(&numbers(&data["x"]), &numbers(&data["y"]));
    for (how, key) in [(Interpolation::Linear, "linear"), (Interpolation::Cubic, "cubic")] {
        let found = resample(&points, &numbers(&data["at"]), how).unwrap();
        for (found, expected) in found.y().iter().zip(numbers(&data[key])) {
            near(*found, expected, 1e-13);
        }
        assert_eq!(
            resample(&points, &[-0.1, 1.0], how).unwrap_err().code(),
            "outside-range"
        );
    }
    let three = curve(&[0.0, 1.0, 2.0], &[0.0, 1.0, 0.0]);
    assert_eq!(
        resample(&three, &[0.5], Interpolation::Cubic).unwrap_err().code(),
        "too-few-points"
    );
    assert_eq!(value_at(&three, 1.0).unwrap(), (1.0, true));
    assert_eq!(value_at(&three, 0.25).unwrap(), (0.25, false));
    // Four points: the spline is the cubic through them.
    let cubic = |x: f64| 1.0 - 2.0 * x + 0.5 * x * x * x;
    let xs = [-1.0, 0.0, 1.5, 2.0];
    let four = curve(&xs, &xs.map(cubic));
    near(
        resample(&four, &[0.7], Interpolation::Cubic).unwrap().y()[0],
        cubic(0.7),
        1e-14,
    );
}

// --- Gaps ---------------------------------------------------------------------------------------------

#[test]
fn nothing_is_read_across_a_gap() {
    let x: Vec<f64> = (0..81).map(|i| 500.0 + f64::from(i)).collect();
    let y: Vec<f64> = x
        .iter()
        .map(|x| 3.4 * bell(*x, 540.0, 9.0) + 0.5 * bell(*x, 565.0, 6.0))
        .collect();
    // One saturated point is enough: its neighbours must not become a peak.
    let whole = absorbance(curve(&x, &y));
    let chain: Chain = "saturation(above=3.3)".parse().unwrap();
    for spectrum in [
        whole.clone(),
        Spectrum {
            curve: reversed(&whole.curve),
            ..whole
        },
    ] {
        let left = chain.apply(&spectrum, |_| None).unwrap().spectrum;
        assert_eq!(left.curve.len(), 80);
        assert_eq!(
            left.curve.gaps(),
            [Window {
                from: 539.0,
                to: 541.0
            }]
        );
        let options = PeakOptions {
            min_prominence: Threshold::Absolute(0.05),
            ..PeakOptions::default()
        };
        let table = find_peaks(&left.curve, &options).unwrap();
        assert_eq!(table.peaks.len(), 1, "{table:?}");
        near(table.peaks[0].apex.x(), 565.0, 0.1);
        assert!(
            table.notes.iter().any(|n| n.contains("539..541")),
            "{:?}",
            table.notes
        );
        let linear = resample(&left.curve, &[540.0], Interpolation::Linear);
        assert_eq!(linear.unwrap_err().code(), "gap");
        assert!(resample(&left.curve, &[541.5], Interpolation::Linear).is_ok());
        assert_eq!(
            resample(&left.curve, &[541.5], Interpolation::Cubic)
                .unwrap_err()
                .code(),
            "gap"
        );
        let filter = SavitzkyGolay {
            uneven: Uneven::Fit,
            ..SavitzkyGolay::smoothing(5, 2)
        };
        assert_eq!(filter.apply(&left.curve).unwrap_err().code(), "gap");
        let over = |from, to| area_between(&left.curve, Window::new(from, to).unwrap(), AreaBaseline::Zero);
        assert_eq!(over(530.0, 550.0).unwrap_err().code(), "gap");
        assert!(over(541.0, 570.0).is_ok());
        // The gap survives later steps and other axes.
        let chain: Chain = "baseline(offset, 500..505) | axis(cm-1) | smooth(window=5, order=2, uneven=fit)"
            .parse()
            .unwrap();
        let refused = chain.apply(&left, |_| None).unwrap_err();
        assert_eq!((refused.index, refused.refusal.code()), (2, "gap"));
    }
}

#[test]
fn a_recorded_gap_is_seen() {
    let holes = curve(
        &[1.0, 2.0, 3.0, 10.0, 11.0, 12.0],
        &[0.0, 0.1, 0.2, 0.1, 0.05, 0.0],
    );
    assert_eq!(holes.gaps(), [Window { from: 3.0, to: 10.0 }]);
    let options = PeakOptions {
        min_prominence: Threshold::Absolute(0.0),
        ..PeakOptions::default()
    };
    assert!(find_peaks(&holes, &options).unwrap().peaks.is_empty());
    // Uneven steps and converted axes are no gaps.
    let (converted, _) = absorbance(invented()).to_axis(Axis::PerCentimetre).unwrap();
    assert!(converted.curve.gaps().is_empty());
    assert!(
        curve(&[230.0, 260.0, 280.0, 320.0, 405.0], &[0.1, 0.2, 0.1, 0.0, 0.1])
            .gaps()
            .is_empty()
    );
}

#[test]
fn a_list_of_noise_is_no_peak_table() {
    let x: Vec<f64> = (0..4001).map(f64::from).collect();
    let y: Vec<f64> = (0..4001).map(|i| f64::from(i % 2)).collect();
    let options = PeakOptions {
        min_prominence: Threshold::Absolute(0.0),
        ..PeakOptions::default()
    };
    assert_eq!(
        find_peaks(&curve(&x, &y), &options).unwrap_err().code(),
        "bad-setting"
    );
}

// --- Chains ---------------------------------------------------------------------------------------------------

fn blanks() -> BTreeMap<String, Spectrum> {
    let sample = invented();
    let blank: Vec<f64> = sample.x().iter().map(|_| 0.011).collect();
    BTreeMap::from([("R 7".to_owned(), absorbance(curve(sample.x(), &blank)))])
}

#[test]
fn a_chain_is_written_read_and_redone() {
    let text = "saturation(above=3) | blank(\"R 7\") | baseline(offset, 400..420) | smooth(window=11, order=3) | axis(eV)";
    let chain: Chain = text.parse().unwrap();
    assert_eq!(chain.to_string(), text);
    let blanks = blanks();
    let spectrum = absorbance(invented());
    let first = chain.apply(&spectrum, |name| blanks.get(name).cloned()).unwrap();
    assert_eq!(first.log.len(), 5);
    assert!(first.log[1].notes[0].contains("every x of the sample"));
    assert!(first.log[2].baseline.is_some());
    assert!(first.log[4].notes[0].contains("vacuum"));
    assert_eq!(first.spectrum.axis, Axis::ElectronVolt);
    let json = serde_json::to_string(&chain).unwrap();
    let again: Chain = serde_json::from_str(&json).unwrap();
    assert_eq!(again, chain);
    assert_eq!(
        again.apply(&spectrum, |name| blanks.get(name).cloned()).unwrap(),
        first
    );
}

#[test]
fn a_chain_that_cannot_be_done_says_at_which_step() {
    let spectrum = absorbance(invented());
    let fails = |text: &str| {
        let refused = text
            .parse::<Chain>()
            .unwrap()
            .apply(&spectrum, |_| None)
            .unwrap_err();
        (refused.index, refused.refusal.code())
    };
    assert_eq!(fails("blank(R9)"), (0, "unknown-reference"));
    assert_eq!(
        fails("axis(cm-1) | smooth(window=5, order=2)"),
        (1, "uneven-steps")
    );
    assert_eq!(
        fails("ordinate(transmittance) | derivative(1, window=5, order=2) | ordinate(absorbance)"),
        (2, "wrong-ordinate")
    );
    assert_eq!(fails("saturation(above=-1)"), (0, "all-saturated"));
    assert_eq!(fails("crop(900..950)"), (0, "too-few-points"));
    assert_eq!(
        fails("resample(linear, 230..400, every=1e-9)"),
        (0, "bad-setting")
    );
    // A blank in other units is converted where that is exact, and told.
    let blank = absorbance(invented()).to_axis(Axis::ElectronVolt).unwrap().0;
    let blank = blank.to_ordinate(Ordinate::PercentTransmittance).unwrap().0;
    let chain: Chain = "blank(R)".parse().unwrap();
    let nothing = chain.apply(&spectrum, |_| Some(blank.clone())).unwrap();
    assert!(nothing.spectrum.curve.y().iter().all(|y| y.abs() < 1e-14));
    assert!(
        nothing.log[0]
            .notes
            .iter()
            .any(|n| n.starts_with("blank: ") && n.contains("vacuum"))
    );
    let transmittance = "ordinate(transmittance) | blank(R)".parse::<Chain>().unwrap();
    let refused = transmittance
        .apply(&spectrum, |_| Some(absorbance(invented())))
        .unwrap_err();
    assert_eq!(refused.refusal.code(), "wrong-ordinate");
}

#[test]
fn texts_that_are_no_chain_say_where() {
    let column = |text: &str| text.parse::<Chain>().unwrap_err().column;
    assert_eq!(column("polish(window=3)"), 1);
    assert_eq!(column("crop(220..400) crop(1..2)"), 16);
    assert_eq!(column("crop(400..220)"), 6);
    assert_eq!(column("smooth(window=5, order=2, colour=red)"), 27);
    assert_eq!(column("smooth(window=5)"), 16);
    assert_eq!(column("smooth(window=5,5, order=2)"), 17);
    assert_eq!(column("blank(\"R7"), 10);
    assert_eq!(column("saturation(above=NaN)"), 12);
    assert_eq!(column("derivative(0, window=5, order=2)"), 12);
    assert_eq!(column("crop(1..2) |"), 13);
    assert_eq!("".parse::<Chain>().unwrap(), Chain::default());
}

fn any_window() -> impl Strategy<Value = Window> {
    (-1e4f64..1e4, 1e-3f64..1e4).prop_map(|(from, length)| Window {
        from,
        to: from + length,
    })
}

fn any_step() -> impl Strategy<Value = Step> {
    let interpolation = prop_oneof![Just(Interpolation::Linear), Just(Interpolation::Cubic)];
    let grids = prop_oneof![
        Just(Grids::MustMatch),
        interpolation.clone().prop_map(Grids::Resample)
    ];
    prop_oneof![
        any::<f64>()
            .prop_filter("finite", |v| v.is_finite())
            .prop_map(|above| Step::Saturation { above }),
        any_window().prop_map(|to| Step::Crop { to }),
        prop_oneof![
            Just(Ordinate::Absorbance),
            Just(Ordinate::Transmittance),
            Just(Ordinate::PercentTransmittance)
        ]
        .prop_map(|to| Step::Ordinate { to }),
        prop_oneof![
            Just(Axis::Nanometre),
            Just(Axis::PerCentimetre),
            Just(Axis::ElectronVolt)
        ]
        .prop_map(|to| Step::Axis { to }),
        (".*", grids).prop_map(|(reference, grids)| Step::Blank { reference, grids }),
        any_window().prop_map(|over| Step::Baseline {
            baseline: Baseline::Offset { over }
        }),
        (any_window(), any_window()).prop_map(|(left, right)| Step::Baseline {
            baseline: Baseline::Line { left, right }
        }),
        (any_window(), prop::option::of(-20.0f64..20.0)).prop_map(|(over, exponent)| Step::Baseline {
            baseline: Baseline::Scatter { over, exponent }
        }),
        (0usize..100, 0usize..12, 0usize..12, any::<bool>()).prop_map(|(window, order, derivative, fit)| {
            let uneven = if fit { Uneven::Fit } else { Uneven::Refuse };
            Step::Filter {
                filter: SavitzkyGolay {
                    window,
                    order,
                    derivative,
                    uneven,
                },
            }
        }),
        (interpolation, any_window(), 1e-6f64..1e3).prop_map(|(how, over, every)| Step::Resample {
            how,
            over,
            every
        }),
    ]
}

proptest! {
    #[test]
    fn every_chain_reads_back_as_itself(steps in prop::collection::vec(any_step(), 0..6)) {
        let chain = Chain { steps };
        let text = chain.to_string();
        prop_assert_eq!(text.parse::<Chain>().unwrap(), chain.clone(), "{}", text);
        let json = serde_json::to_string(&chain).unwrap();
        prop_assert_eq!(serde_json::from_str::<Chain>(&json).unwrap(), chain);
    }

    #[test]
    fn no_text_makes_the_reader_panic(text in ".{0,60}") {
        let _ = text.parse::<Chain>();
    }

    #[test]
    fn no_chain_makes_the_spectrum_panic(steps in prop::collection::vec(any_step(), 0..4)) {
        let spectrum = absorbance(invented());
        let _ = Chain { steps }.apply(&spectrum, |_| Some(spectrum.clone()));
    }
}
