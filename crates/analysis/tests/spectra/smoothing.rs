//! Moving polynomials.

use curvary_analysis::spectra::{Curve, SavitzkyGolay, Uneven};
use proptest::prelude::*;

use super::{close, curve, independent, invented, near, number, numbers, reversed};

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
