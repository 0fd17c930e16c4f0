//! Arrhenius and Eyring against the closed forms in `data/closed-form.json` (computed in 40 digits, see there).

#![allow(clippy::unwrap_used)]

use curvary_analysis::temperature::{arrhenius, eyring};
use serde_json::Value;

fn table(which: &str) -> (Value, Vec<f64>, Vec<f64>) {
    let text = std::fs::read_to_string(concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/tests/data/closed-form.json"
    ));
    let file: Value = serde_json::from_str(&text.unwrap()).unwrap();
    let case = file["temperature"][which].clone();
    let column = |key: &str| {
        case["k"]
            .as_array()
            .unwrap()
            .iter()
            .map(|r| r[key].as_f64().unwrap())
            .collect()
    };
    (case.clone(), column("T_K"), column("k"))
}

#[test]
fn closed_forms() {
    let (case, t, k) = table("arrhenius");
    let found = arrhenius(&t, &k, None).unwrap();
    assert!(
        (found.activation_energy.value / 1000.0 / case["Ea_kJ_per_mol"].as_f64().unwrap() - 1.0).abs()
            < 1e-11
    );
    assert!((found.ln_factor.value / case["A"].as_f64().unwrap().ln() - 1.0).abs() < 1e-11);
    let (case, t, k) = table("eyring");
    let found = eyring(&t, &k, None).unwrap();
    assert!((found.enthalpy.value / 1000.0 / case["dH_kJ_per_mol"].as_f64().unwrap() - 1.0).abs() < 1e-10);
    assert!((found.entropy.value / case["dS_J_per_mol_K"].as_f64().unwrap() - 1.0).abs() < 1e-9);
    assert!((found.gibbs_energy.value - (80_000.0 + 298.15 * 20.0)).abs() < 1e-4);
}

#[test]
fn errors_follow_from_the_scatter() {
    let t = [288.15, 293.15, 298.15, 303.15, 310.15];
    let k = [0.0039, 0.0072, 0.0129, 0.0221, 0.0489];
    let found = arrhenius(&t, &k, None).unwrap();
    let ea = found.activation_energy;
    assert!(
        (ea.value - 85_000.0).abs() < 4.0 * ea.standard_error && ea.standard_error < 2000.0,
        "{ea:?}"
    );
    assert!(ea.interval.lower.unwrap() < ea.value && ea.value < ea.interval.upper.unwrap());
    let other = eyring(&t, &k, None).unwrap();
    // ΔH‡ = Ea - R T to first order, at the middle of the temperatures.
    assert!((ea.value - other.enthalpy.value - 8.314 * 298.5).abs() < 10.0);
    // The Gibbs energy is known far better than enthalpy and entropy apart.
    assert!(other.gibbs_energy.standard_error < 0.1 * other.enthalpy.standard_error);
    let weighted = arrhenius(&t, &k, Some(&[0.0001, 0.0001, 0.0001, 0.0001, 0.0001])).unwrap();
    assert!(weighted.activation_energy.value != ea.value);
}

#[test]
fn bad_data_have_a_named_reason() {
    let code = |t: &[f64], k: &[f64]| arrhenius(t, k, None).unwrap_err().code();
    assert_eq!(code(&[300.0, 310.0], &[1.0, 2.0]), "too-few-points");
    assert_eq!(code(&[300.0, 310.0, 320.0], &[1.0, -2.0, 3.0]), "out-of-range");
    assert_eq!(code(&[-5.0, 310.0, 320.0], &[1.0, 2.0, 3.0]), "out-of-range");
    assert_eq!(code(&[300.0, 300.0, 300.0], &[1.0, 2.0, 3.0]), "constant-axis");
    assert_eq!(code(&[300.0, f64::NAN, 320.0], &[1.0, 2.0, 3.0]), "not-finite");
    assert!(arrhenius(&[300.0, 310.0, 320.0], &[1.0, 2.0, 3.0], Some(&[0.1, 0.0, 0.1])).is_err());
}
