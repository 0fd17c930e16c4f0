//! Other grids, and gaps over which nothing is read.

use curvary_analysis::spectra::{
    AreaBaseline, Axis, Chain, Interpolation, PeakOptions, SavitzkyGolay, Spectrum, Threshold, Uneven,
    Window, area_between, find_peaks, resample, value_at,
};

use super::{absorbance, bell, curve, independent, invented, near, numbers, reversed};

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
