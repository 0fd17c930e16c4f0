//! Blanks, baselines and scatter.

use curvary_analysis::spectra::{
    Axis, Baseline, BaselineFound, Grids, Interpolation, Spectrum, Window, ev_of_nm, subtract_baseline,
    subtract_blank,
};

use super::{absorbance, bell, close, curve, independent, invented, near, number, numbers};

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
