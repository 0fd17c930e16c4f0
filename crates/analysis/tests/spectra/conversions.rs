//! Transmittance, absorbance, wavelengths and energies; what is refused.

use curvary_analysis::spectra::{
    Axis, Curve, ELEMENTARY_CHARGE_C, HC_OVER_E_EV_NM, Ordinate, PLANCK_J_S, SPEED_OF_LIGHT_M_PER_S,
    Spectrum, Window, absorbance_of, ev_of_nm, nm_of_ev, nm_of_per_cm, per_cm_of_nm, transmittance_of,
};
use proptest::prelude::*;
use serde_json::Value;

use super::{absorbance, close, curve, independent, near, number};

#[test]
fn transmittance_as_in_the_closed_forms() {
    let data: Value = serde_json::from_str(include_str!("../data/closed-form.json")).unwrap();
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
    let data: Value = serde_json::from_str(include_str!("../data/closed-form.json")).unwrap();
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
