//! Peaks, valleys, shoulders, widths and areas.

use curvary_analysis::spectra::{
    Apex, AreaBaseline, Chain, Curve, Extreme, Grids, Interpolation, PeakOptions, Refinement, SavitzkyGolay,
    Threshold, Width, WidthLevel, Window, area_between, average, find_peaks, find_shoulders, noise,
    point_noise, resample,
};
use proptest::prelude::*;

use super::{absorbance, bell, close, curve, independent, invented, near, number, numbers, reversed};

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
