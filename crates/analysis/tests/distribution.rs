//! Quantiles against the table in `data/closed-form.json` (SciPy and mpmath, see there).

#![allow(clippy::unwrap_used)]

use curvary_analysis::distribution::{
    NORMAL_95, chi_squared_quantile, chi_squared_upper, f_quantile, f_upper, normal_quantile, t_quantile,
    t_two_sided,
};

fn table() -> serde_json::Value {
    let text = std::fs::read_to_string(concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/tests/data/closed-form.json"
    ));
    serde_json::from_str::<serde_json::Value>(&text.unwrap()).unwrap()["quantiles"].clone()
}

#[test]
fn quantiles_are_those_of_the_table() {
    let table = table();
    let mut seen = 0;
    for (df, row) in table["student_t"].as_object().unwrap() {
        for (p, value) in row.as_object().unwrap() {
            let got = t_quantile(p.parse().unwrap(), df.parse().unwrap());
            let want = value.as_f64().unwrap();
            assert!(
                (got / want - 1.0).abs() < 2e-11,
                "t({df}) at {p}: {got} against {want}"
            );
            seen += 1;
        }
    }
    for (df, value) in table["F_0_95"].as_object().unwrap() {
        let (df1, df2) = df.split_once(',').unwrap();
        let got = f_quantile(0.95, df1.parse().unwrap(), df2.parse().unwrap());
        assert!(
            (got / value.as_f64().unwrap() - 1.0).abs() < 2e-11,
            "F({df}): {got}"
        );
        seen += 1;
    }
    for (df, value) in table["chi2_0_95"].as_object().unwrap() {
        let got = chi_squared_quantile(0.95, df.parse().unwrap());
        assert!(
            (got / value.as_f64().unwrap() - 1.0).abs() < 2e-11,
            "chi2({df}): {got}"
        );
        seen += 1;
    }
    assert!(seen > 60, "the table has {seen} entries");
}

#[test]
fn probabilities_undo_quantiles() {
    assert!((t_two_sided(t_quantile(0.975, 7.0), 7.0) - 0.05).abs() < 1e-12);
    assert!((f_upper(f_quantile(0.95, 3.0, 12.0), 3.0, 12.0) - 0.05).abs() < 1e-12);
    assert!((chi_squared_upper(chi_squared_quantile(0.95, 4.0), 4.0) - 0.05).abs() < 1e-12);
    assert!((normal_quantile(0.975) - 1.959_963_984_540_054).abs() < 1e-13);
    assert!((normal_quantile(0.975) - NORMAL_95).abs() < 1e-14);
}

#[test]
fn outside_the_domain_there_is_no_number() {
    assert!(t_quantile(1.5, 3.0).is_nan());
    assert!(t_quantile(0.5, 0.0).is_nan());
    assert!(f_quantile(-0.1, 1.0, 1.0).is_nan());
    assert!(chi_squared_upper(1.0, -1.0).is_nan());
}
