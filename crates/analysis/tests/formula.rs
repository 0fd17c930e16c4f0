//! Formulas: precedence, names, errors with their columns, derivatives, model files.

#![allow(clippy::unwrap_used)]

use curvary_analysis::Refusal;
use curvary_analysis::fit::{Data, Options, Termination, Weighting, fit};
use curvary_analysis::models::Model;
use curvary_analysis::models::formula::{Formula, ModelFile};

fn value(text: &str, x: f64, p: &[f64]) -> f64 {
    let formula = Formula::parse(text, &["x"]).unwrap();
    let mut out = [0.0];
    formula.evaluate(&[&[x]], p, &mut out);
    out[0]
}

#[test]
fn precedence_is_that_of_algebra() {
    let close = |a: f64, b: f64| assert!((a - b).abs() < 1e-14 * b.abs().max(1.0), "{a} against {b}");
    close(value("a*-x^2", 3.0, &[1.0]), -9.0);
    close(value("-x^2 + 0*a", 3.0, &[1.0]), -9.0);
    close(value("a*x^-2", 2.0, &[1.0]), 0.25);
    close(value("a*2^3^2", 0.0, &[1.0]), 512.0);
    close(value("a*x**3", 2.0, &[1.0]), 8.0);
    close(value("a - x - 1", 3.0, &[10.0]), 6.0);
    close(value("a/x/2", 4.0, &[8.0]), 1.0);
    close(value("a*(-x)^2", 3.0, &[1.0]), 9.0);
    close(value("a + 1.5e-3 + 2E3 + .5", 0.0, &[0.0]), 2000.5015);
    close(value("a*2*e", 0.0, &[1.0, 3.0]), 6.0);
    close(value("exp[-a*x]", 2.0, &[0.5]), (-1.0_f64).exp());
    close(
        value("a*(ln(x)+log(x)+log10(x))", 10.0, &[1.0]),
        2.0 * 10.0_f64.ln() + 1.0,
    );
    close(
        value(
            "a*(sin(pi/6)+cos(pi)+tan(pi/4)+atan(1)*4/pi+arctan(0)+abs(-x)+sqrt(x))",
            4.0,
            &[1.0],
        ),
        7.5,
    );
    close(value("k_obs*x + Vmax1", 2.0, &[3.0, 1.0]), 7.0);
}

#[test]
fn errors_say_where_and_what_was_expected() {
    let case = |text: &str, column: usize, part: &str| {
        let error = Formula::parse(text, &["x"]).unwrap_err();
        assert_eq!(error.column, column, "{text}: {error}");
        assert!(error.to_string().contains(part), "{text}: {error}");
    };
    case("b1*(x+", 7, "the end of the formula");
    case("b1*x)", 5, "no open parenthesis");
    case("2b1*x", 2, "products need a '*'");
    case("b1 $ x", 4, "'$'");
    case("foo(x)*b1", 1, "one of the functions");
    case("b1*exp", 7, "an opening parenthesis after the function 'exp'");
    case("", 1, "a number, a name");
    case("x+1", 1, "no parameter");
    case("b1*1e999", 4, "a number that a double can hold");
    case("z = b1*x = 2", 10, "'='");
    case("log(w) + z = b1*x", 10, "only 'w'");
    assert_eq!(Formula::parse("log(w) = b1*x", &["x"]).unwrap().measured(), "w");
    assert_eq!(Formula::parse("b1*x", &["x"]).unwrap().measured(), "y");
    let deep = format!("b1*{}x{}", "(".repeat(5000), ")".repeat(5000));
    assert!(Formula::parse(&deep, &["x"]).is_err());
    let signs = format!("b1*{}x", "-".repeat(10_000));
    assert!(Formula::parse(&signs, &["x"]).is_err());
    let powers = format!("b1{}", "^x".repeat(5000));
    assert!(Formula::parse(&powers, &["x"]).is_err());
}

#[test]
fn derivatives_run_backwards_exactly() {
    let text = "a*exp(-b*x)*sin(c*x)/(1+x^2*b) + abs(a-c)^1.5*sqrt(b*x) + ln(b+x)*log10(a+x) + atan(c/x) + cos(b)^3 + tan(a*x/9) + x^c";
    let formula = Formula::parse(text, &["x"]).unwrap();
    let p = [0.7, 1.3, 2.1];
    let x = [0.3, 0.9, 1.7];
    let (mut values, mut columns) = ([0.0; 3], [0.0; 9]);
    formula.differentiate(&[&x], &p, &mut values, &mut columns);
    for j in 0..3 {
        let at = |h: f64| {
            let mut q = p;
            q[j] += h;
            let mut out = [0.0; 3];
            formula.evaluate(&[&x], &q, &mut out);
            out
        };
        let h = 1e-3;
        let (a, b, c, d) = (at(h), at(-h), at(h / 2.0), at(-h / 2.0));
        for i in 0..3 {
            let want = (4.0 * (c[i] - d[i]) / h - (a[i] - b[i]) / (2.0 * h)) / 3.0;
            assert!(
                (columns[j * 3 + i] - want).abs() < 1e-9 * want.abs().max(1.0),
                "{j} {i}"
            );
        }
    }
}

/// At the edge of where a formula is defined its slope by a parameter is the limit, and no product of zero and something without bound.
#[test]
fn derivatives_at_the_edge_are_their_limits() {
    for (text, x, p, wanted) in [
        // d/dA = 1; k and b do not move it at x = 0.
        ("A*exp(-(k*x)^b)", 0.0, vec![0.8, 0.01, 0.6], vec![1.0, 0.0, 0.0]),
        ("A*exp(-(x/t)^b)", 0.0, vec![0.8, 90.0, 0.6], vec![1.0, 0.0, 0.0]),
        ("A*exp(-(k*x)^b)", 0.0, vec![0.8, 0.01, 1.7], vec![1.0, 0.0, 0.0]),
        ("a+sqrt(k*x)", 0.0, vec![1.0, 3.0], vec![1.0, 0.0]),
        ("a+c*sqrt(k*x)", 0.0, vec![1.0, 0.0, 3.0], vec![1.0, 0.0, 0.0]),
        ("A/(1+exp(k*x))", 800.0, vec![1.0, 1.0], vec![0.0, 0.0]),
        ("A*exp(k*log(x))", 0.0, vec![2.0, 0.5], vec![0.0, 0.0]),
        ("sqrt(x^b)", 0.0, vec![0.5], vec![0.0]),
    ] {
        let formula = Formula::parse(text, &["x"]).unwrap();
        // A block of the columns, and a point by itself.
        for count in [1, 100] {
            let mut values = vec![0.0; count];
            let mut columns = vec![0.0; count * p.len()];
            formula.differentiate(&[&vec![x; count]], &p, &mut values, &mut columns);
            for (own, wanted) in columns.chunks(count).zip(&wanted) {
                assert!(
                    own.iter().all(|own| own == wanted),
                    "{text}: {own:?}, {wanted} was expected"
                );
            }
        }
    }
}

/// Where the zero comes of a parameter, the slope of what has no bound there is not known, and never zero: the true one is x in the first
/// formula, and a number that is not zero in the others.
#[test]
fn a_zero_that_comes_of_a_parameter_makes_no_slope_zero() {
    for (text, p, at) in [
        ("sqrt(k)^2*x+c", vec![0.0, 0.0], 0),
        ("a*(sqrt(k^2+x)-sqrt(k^2))", vec![1.0, 0.0], 1),
        ("A*x/log(exp(k*x))", vec![1.0, 400.0], 1),
    ] {
        let formula = Formula::parse(text, &["x"]).unwrap();
        for count in [1, 100] {
            let mut values = vec![0.0; count];
            let mut columns = vec![0.0; count * p.len()];
            formula.differentiate(&[&vec![2.0; count]], &p, &mut values, &mut columns);
            let own = &columns[at * count..(at + 1) * count];
            assert!(own.iter().all(|own| own.is_nan()), "{text}: {own:?}");
        }
    }
}

/// A course that begins at zero by a stretched exponential; the parameters come back from values without error.
#[test]
fn a_stretched_exponential_is_fitted_from_zero_on() {
    let truth = [0.8, 0.012, 0.65];
    let formula = Formula::parse("A*exp(-(k*x)^b)", &["x"]).unwrap();
    let x: Vec<f64> = (0..40).map(|i| 10.0 * f64::from(i)).collect();
    let mut y = vec![0.0; x.len()];
    formula.evaluate(&[&x], &truth, &mut y);
    let options = Options {
        start: Some(vec![0.6, 0.02, 0.9]),
        ..Options::default()
    };
    let data = Data {
        x: &[&x],
        y: &y,
        weighting: Weighting::Equal,
    };
    let found = fit(&formula, &data, &options).unwrap();
    for (own, truth) in found.values().iter().zip(truth) {
        assert!((own / truth - 1.0).abs() < 1e-9, "{own} for {truth}");
    }
}

#[test]
fn linear_parameters_are_recognised() {
    let linear = |text: &str| {
        let formula = Formula::parse(text, &["x"]).unwrap();
        formula
            .linear()
            .iter()
            .map(|j| formula.parameters()[*j].name.to_string())
            .collect::<Vec<_>>()
    };
    assert_eq!(linear("a*exp(-k*x)+c"), ["a", "c"]);
    assert_eq!(linear("V*x/(K+x)"), ["V"]);
    assert_eq!(linear("a*b*x"), ["a"]);
    assert!(linear("exp(a*x)").is_empty());
}

#[test]
fn a_left_hand_side_transforms_the_data() {
    let formula = Formula::parse("log(y) = a - b*x", &["x"]).unwrap();
    let y = formula.respond(&[1.0, 10.0]).unwrap();
    assert!((y[1] - 10.0_f64.ln()).abs() < 1e-15);
    let refusal = formula.respond(&[1.0, -2.0]).unwrap_err();
    assert_eq!(
        refusal,
        Refusal::Undefined {
            what: "the logarithm of -2".into(),
            index: 1
        }
    );
    assert_eq!(
        Formula::parse("y = a*x", &["x"])
            .unwrap()
            .respond(&[3.0])
            .unwrap(),
        [3.0]
    );
}

#[test]
fn where_a_formula_has_no_value_the_reason_is_named() {
    let try_fit = |text: &str, start: Vec<f64>| {
        let formula = Formula::parse(text, &["x"]).unwrap();
        let x = [-1.0, 2.0, 3.0, 4.0, 5.0];
        let y = [1.0, 2.0, 2.5, 2.7, 3.1];
        fit(
            &formula,
            &Data::new(&[&x], &y),
            &Options {
                start: Some(start),
                ..Options::default()
            },
        )
    };
    let message = |r: Result<_, Refusal>| match r {
        Ok(_) => "a fit".to_owned(),
        Err(e) => e.to_string(),
    };
    assert!(
        message(try_fit("a*x^b", vec![1.0, 0.5]).map(|_| ())).contains("negative number -1 to the power 0.5")
    );
    assert!(message(try_fit("a*ln(x)+b", vec![1.0, 0.5]).map(|_| ())).contains("the logarithm of -1"));
    assert!(message(try_fit("a/(x+b)", vec![1.0, 1.0]).map(|_| ())).contains("divided by zero"));
    assert!(message(try_fit("a*exp(b*x)", vec![1.0, 1e4]).map(|_| ())).contains("exp("));
    // Without starting values a nonlinear formula is asked for them.
    let formula = Formula::parse("a*exp(-k*x)", &["x"]).unwrap();
    let refusal = fit(
        &formula,
        &Data::new(&[&[1.0, 2.0, 3.0]], &[3.0, 2.0, 1.0]),
        &Options::default(),
    );
    assert!(message(refusal.map(|_| ())).contains("starting value for k"));
}

#[test]
fn a_model_file_is_a_model_like_any_other() {
    let text = "title = \"Saturation with a background\"\nformula = \"Vmax*S/(Km+S) + v0\"\nvariables = [\"S\"]\n\
                [parameters.Vmax]\nunit = \"umol/min\"\n[parameters.Km]\nstart = 0.1\nlower = 0.0\n";
    let file: ModelFile = toml::from_str(text).unwrap();
    let formula = Formula::from_file(&file).unwrap();
    let s = [0.02, 0.06, 0.11, 0.22, 0.56, 1.1, 2.0];
    let y: Vec<f64> = s.iter().map(|s| 200.0 * s / (0.06 + s) + 5.0).collect();
    let found = fit(&formula, &Data::new(&[&s], &y), &Options::default()).unwrap();
    assert_eq!(found.model, "Saturation with a background");
    assert!((found.parameter("Km").unwrap().value - 0.06).abs() < 1e-12);
    assert_eq!(found.parameter("Vmax").unwrap().unit, "umol/min");
    let unknown: ModelFile =
        toml::from_str("title = \"t\"\nformula = \"a*x\"\n[parameters.q]\nstart = 1.0\n").unwrap();
    assert!(
        Formula::from_file(&unknown)
            .unwrap_err()
            .to_string()
            .contains("'q'")
    );
}

/// The degree-ten polynomial of `linear.rs`, written as a formula: the last digits come out all the same.
#[test]
fn a_hard_polynomial_as_a_formula() {
    let text = std::fs::read_to_string(concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/tests/data/independent.json"
    ));
    let file: serde_json::Value = serde_json::from_str(&text.unwrap()).unwrap();
    let numbers = |key: &str| -> Vec<f64> {
        file["hard_polynomial"][key]
            .as_array()
            .unwrap()
            .iter()
            .map(|v| v.as_f64().unwrap())
            .collect()
    };
    let formula = Formula::parse(
        "b0+b1*x+b2*x^2+b3*x^3+b4*x^4+b5*x^5+b6*x^6+b7*x^7+b8*x^8+b9*x^9+b10*x^10",
        &["x"],
    )
    .unwrap();
    let (x, y) = (numbers("x"), numbers("y"));
    for start in [None, Some(vec![0.0; 11]), Some(vec![100.0; 11])] {
        let options = Options {
            start,
            ..Options::default()
        };
        let found = fit(&formula, &Data::new(&[&x], &y), &options).unwrap();
        for ((p, value), error) in found
            .parameters
            .iter()
            .zip(numbers("coefficients"))
            .zip(numbers("standard_errors"))
        {
            assert!(
                (p.value / value - 1.0).abs() < 1e-12,
                "{}: {} against {value}",
                p.name,
                p.value
            );
            assert!((p.standard_error.unwrap() / error - 1.0).abs() < 1e-12);
        }
    }
}

/// Blocks of points give what single points give, whatever their number.
#[test]
fn whole_columns_are_computed_as_single_points() {
    let texts = [
        "a*exp(-k*x)+c",
        "a*x^b/(c+x^b) - exp(800*x)/exp(800*x)*0",
        "sqrt(abs(a-x))*sin(b*x)+cos(c*x)*tan(a*x/9)",
        "ln(x+a)*log10(x+b)/(1+c*x^3)+x^-2*a+atan(c-x)",
        "a+pi*b*x^2-(c-x)^2",
        "a^x+b*c",
    ];
    for text in texts {
        let formula = Formula::parse(text, &["x"]).unwrap();
        let p = [0.7, 1.3, 0.4, 0.1];
        let mut p = p[..formula.parameters().len()].to_vec();
        for n in [1, 63, 64, 65, 200] {
            let x: Vec<f64> = (0..n).map(|i| 0.05 + 0.011 * f64::from(i)).collect();
            let count = x.len();
            let (mut all, mut columns) = (vec![0.0; count], vec![0.0; count * p.len()]);
            formula.differentiate(&[&x], &p, &mut all, &mut columns);
            for i in 0..count {
                let (mut one, mut slopes) = ([0.0], vec![0.0; p.len()]);
                formula.differentiate(&[&x[i..=i]], &p, &mut one, &mut slopes);
                assert_eq!(one[0].to_bits(), all[i].to_bits(), "{text} at {}", x[i]);
                for (j, slope) in slopes.iter().enumerate() {
                    assert_eq!(slope.to_bits(), columns[j * count + i].to_bits());
                }
            }
            // The derivatives are those of the values.
            for j in 0..p.len() {
                let kept = p[j];
                let (mut high, mut low) = (vec![0.0; count], vec![0.0; count]);
                p[j] = kept + 1e-6;
                formula.evaluate(&[&x], &p, &mut high);
                p[j] = kept - 1e-6;
                formula.evaluate(&[&x], &p, &mut low);
                p[j] = kept;
                for i in 0..count {
                    let wanted = (high[i] - low[i]) / 2e-6;
                    let got = columns[j * count + i];
                    if wanted.is_finite() {
                        assert!(
                            (got - wanted).abs() < 1e-6 * (1.0 + wanted.abs()),
                            "{text}: {got} {wanted}"
                        );
                    }
                }
            }
        }
    }
}

/// Too large an exponent is no finite number, and is named.
#[test]
fn what_is_too_large_to_hold_stays_so_over_columns() {
    let formula = Formula::parse("a*exp(k*x)", &["x"]).unwrap();
    let x: Vec<f64> = (0..100).map(f64::from).collect();
    let mut values = vec![0.0; 100];
    formula.evaluate(&[&x], &[1.0, 10.0], &mut values);
    assert!(values[70].is_finite() && values[71].is_infinite());
    let (place, what) = formula.undefined(&[&x], &[1.0, 10.0]).unwrap();
    assert_eq!(
        (place, what.as_str()),
        (71, "exp(710), which is too large a number")
    );
    formula.evaluate(&[&x], &[1.0, -10.0], &mut values);
    assert_eq!(values[99], 0.0);
}

/// Many points take the quick way, and come to where the general search comes; where the quick way would end in another
/// minimum, the general search has the word.
#[test]
fn many_points_come_to_the_minimum_of_few() {
    let x: Vec<f64> = (0..500).map(|i| 0.2 * f64::from(i)).collect();
    let y: Vec<f64> = x
        .iter()
        .enumerate()
        .map(|(i, x)| 1.05 * (-0.05 * x).exp() + 0.15 + 0.003 * ((i * i) as f64 * 0.7).sin())
        .collect();
    let formula = Formula::parse("a*exp(-k*x)+c", &["x"]).unwrap();
    let options = Options {
        start: Some(vec![1.0, 0.1, 0.0]),
        ..Options::default()
    };
    let found = fit(&formula, &Data::new(&[&x], &y), &options).unwrap();
    assert_eq!(found.termination, Termination::Direct);
    // With known errors the general search is used.
    let errors = vec![1.0; 500];
    let data = Data {
        x: &[&x],
        y: &y,
        weighting: Weighting::KnownErrors(&errors),
    };
    let general = fit(&formula, &data, &options).unwrap();
    assert_ne!(general.termination, Termination::Direct);
    for (a, b) in found.parameters.iter().zip(&general.parameters) {
        assert!((a.value - b.value).abs() < 1e-9 * b.value.abs(), "{a:?} {b:?}");
    }
    // A frequency that starts between two: whatever minimum it is, its residuals are looked at.
    let wave: Vec<f64> = x
        .iter()
        .map(|x| (0.9 * x).sin() + 0.002 * (x * 37.0).sin())
        .collect();
    let formula = Formula::parse("a*sin(w*x)", &["x"]).unwrap();
    let options = Options {
        start: Some(vec![1.0, 0.8]),
        ..Options::default()
    };
    if let Ok(found) = fit(&formula, &Data::new(&[&x], &wave), &options) {
        let near = (found.parameters[1].value.abs() - 0.9).abs() < 1e-3;
        assert!(near || found.termination != Termination::Direct, "{found:?}");
    }
}
