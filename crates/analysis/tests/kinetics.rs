//! Published kinetic data with published and independently computed fits: `data/puromycin.json`,
//! `data/kinetics-classics.json`, `data/inverse-prediction-and-inhibition.json` (sources and licences there).

#![allow(clippy::unwrap_used, clippy::print_stdout)]

use curvary_analysis::enzymes::{Rates, compare_inhibition, direct_linear, fit_rates, linear_plots};
use curvary_analysis::fit::{Data, Determination, Fit, Options, ProfileEnd, fit};
use curvary_analysis::linear::line;
use curvary_analysis::models::formula::Formula;
use serde_json::Value;

fn file(name: &str) -> Value {
    let path = format!("{}/tests/data/{name}", env!("CARGO_MANIFEST_DIR"));
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

fn number(v: &Value) -> f64 {
    v.as_f64().unwrap()
}

fn near(got: f64, want: f64, digits: f64, what: &str) {
    assert!(
        (got / want - 1.0).abs() < 10.0_f64.powf(-digits),
        "{what}: {got} against {want}"
    );
}

fn check(found: &Fit, computed: &Value, what: &str) {
    for (name, value) in computed["parameters"].as_object().unwrap() {
        let p = found
            .parameters
            .iter()
            .find(|p| {
                p.name == *name
                    || (name == "Ki" && p.name.starts_with("Ki"))
                    || (name == "V" && p.name == "Vmax")
                    || (name == "Vm" && p.name == "Vmax")
            })
            .unwrap_or_else(|| panic!("{what}: no parameter {name}"));
        near(p.value, number(value), 10.0, &format!("{what} {name}"));
        near(
            p.standard_error.unwrap(),
            number(&computed["standard_errors"][name]),
            9.0,
            &format!("{what} se {name}"),
        );
        if let Some(wald) = computed["wald_95_percent_interval"].get(name) {
            near(
                p.interval.unwrap().lower.unwrap(),
                number(&wald[0]),
                8.0,
                &format!("{what} lower {name}"),
            );
            near(
                p.interval.unwrap().upper.unwrap(),
                number(&wald[1]),
                8.0,
                &format!("{what} upper {name}"),
            );
        }
        if let (Some(profile), Some(ours)) = (computed["profile_95_percent_interval"].get(name), p.profile) {
            near(
                ours.lower.value().unwrap(),
                number(&profile[0]),
                6.0,
                &format!("{what} profile lower {name}"),
            );
            near(
                ours.upper.value().unwrap(),
                number(&profile[1]),
                6.0,
                &format!("{what} profile upper {name}"),
            );
        }
    }
    near(
        found.residual_sum_of_squares,
        number(&computed["residual_sum_of_squares"]),
        10.0,
        what,
    );
    near(
        found.residual_sd,
        number(&computed["residual_standard_deviation"]),
        10.0,
        what,
    );
    assert_eq!(
        found.degrees_of_freedom as u64,
        computed["degrees_of_freedom"].as_u64().unwrap()
    );
}

fn profiled() -> Options {
    Options {
        profile: true,
        ..Options::default()
    }
}

#[test]
fn puromycin() {
    let file = file("puromycin.json");
    for state in ["treated", "untreated"] {
        let rows: Vec<&Value> = file["data"]
            .as_array()
            .unwrap()
            .iter()
            .filter(|r| r["state"] == state)
            .collect();
        let s: Vec<f64> = rows.iter().map(|r| number(&r["conc"])).collect();
        let v: Vec<f64> = rows.iter().map(|r| number(&r["rate"])).collect();
        let rates = Rates {
            substrate: &s,
            inhibitor: None,
            rate: &v,
        };
        let computed = &file["fits"][state];
        let quick = fit_rates("michaelis-menten", &rates, &Options::default()).unwrap();
        check(&quick, computed, state);
        check(
            &fit_rates("michaelis-menten", &rates, &profiled()).unwrap(),
            computed,
            state,
        );
        near(
            quick.correlation(0, 1).unwrap(),
            number(&computed["correlations"]["Km,Vm"]),
            9.0,
            "correlation",
        );
        // The classical plots give the lines that the file states for comparison.
        let plots = linear_plots(&s, &v).unwrap();
        let straight = |points: &[(f64, f64)]| {
            let (x, y): (Vec<f64>, Vec<f64>) = points.iter().copied().unzip();
            line(&x, &y).unwrap().coefficients
        };
        let stated = &computed["linearised_estimates_for_comparison"];
        let b = straight(&plots.double_reciprocal);
        near(
            1.0 / b[0],
            number(&stated["lineweaver_burk_unweighted"]["Vm"]),
            10.0,
            "double reciprocal",
        );
        let b = straight(&plots.hanes);
        near(b[0] / b[1], number(&stated["hanes_woolf"]["Km"]), 10.0, "Hanes");
        let b = straight(&plots.eadie_hofstee);
        near(
            -b[1],
            number(&stated["eadie_hofstee"]["Km"]),
            10.0,
            "Eadie and Hofstee",
        );
        let robust = direct_linear(&s, &v).unwrap();
        assert!(
            (robust.km.unwrap() / quick.parameters[1].value - 1.0).abs() < 0.35,
            "{robust:?}"
        );
    }
}

#[test]
fn puromycin_with_a_common_km() {
    let file = file("puromycin.json");
    let rows = file["data"].as_array().unwrap();
    let s: Vec<f64> = rows.iter().map(|r| number(&r["conc"])).collect();
    let treated: Vec<f64> = rows.iter().map(|r| f64::from(r["state"] == "treated")).collect();
    let v: Vec<f64> = rows.iter().map(|r| number(&r["rate"])).collect();
    let formula = Formula::parse("(Vm_untreated + dVm_treated*state)*S/(Km+S)", &["S", "state"]).unwrap();
    let options = Options {
        start: Some(vec![160.0, 40.0, 0.05]),
        ..Options::default()
    };
    let found = fit(&formula, &Data::new(&[&s, &treated], &v), &options).unwrap();
    check(&found, &file["joint_fit_common_Km"], "joint fit");
}

#[test]
fn classics() {
    for set in file("kinetics-classics.json")["datasets"].as_array().unwrap() {
        let name = set["name"].as_str().unwrap();
        let rows = set["data"].as_array().unwrap();
        let x: Vec<f64> = rows.iter().map(|r| number(&r[0])).collect();
        let y: Vec<f64> = rows.iter().map(|r| number(&r[1])).collect();
        let found = match name {
            "BOD" => {
                let formula = Formula::parse("A*(1-exp(-k*x))", &["x"]).unwrap();
                let options = Options {
                    start: Some(vec![15.0, 1.0]),
                    ..profiled()
                };
                fit(&formula, &Data::new(&[&x], &y), &options).unwrap()
            }
            "Wilkinson1961" => fit_rates(
                "michaelis-menten",
                &Rates {
                    substrate: &x,
                    inhibitor: None,
                    rate: &y,
                },
                &profiled(),
            )
            .unwrap(),
            "DNase_run1" => {
                let formula = Formula::parse("Asym/(1+exp((xmid-ln(x))/scal))", &["x"]).unwrap();
                let options = Options {
                    start: Some(vec![3.0, 0.0, 1.0]),
                    ..profiled()
                };
                fit(&formula, &Data::new(&[&x], &y), &options).unwrap()
            }
            other => panic!("unknown set {other}"),
        };
        check(&found, &set["computed"], name);
    }
}

/// Six points do not bound the rate constant from above at 99 %: the interval is open there, not cut off somewhere.
#[test]
fn an_interval_without_a_limit_stays_open() {
    let x = [1.0, 2.0, 3.0, 4.0, 5.0, 7.0];
    let y = [8.3, 10.3, 19.0, 16.0, 15.6, 19.8];
    let formula = Formula::parse("A*(1-exp(-k*x))", &["x"]).unwrap();
    let options = Options {
        start: Some(vec![15.0, 1.0]),
        level: 0.99,
        ..profiled()
    };
    let found = fit(&formula, &Data::new(&[&x], &y), &options).unwrap();
    let k = found.parameter("k").unwrap().profile.unwrap();
    assert!(k.upper == ProfileEnd::Open, "{k:?}");
    assert!(k.lower.value().is_some_and(|v| v < 0.131_397), "{k:?}");
}

#[test]
fn inhibition() {
    let file = file("inverse-prediction-and-inhibition.json");
    let sets = file["kinetics"].as_array().unwrap();
    let mut columns: Option<(Vec<f64>, Vec<f64>, Vec<f64>)> = None;
    for set in sets {
        let name = set["name"].as_str().unwrap();
        let computed = &set["computed"];
        let rows = set["data"].as_array();
        let column = |j: usize| rows.unwrap().iter().map(|r| number(&r[j])).collect::<Vec<f64>>();
        if name == "vmkm" {
            let (s, v) = (column(0), column(1));
            let rates = Rates {
                substrate: &s,
                inhibitor: None,
                rate: &v,
            };
            check(
                &fit_rates("michaelis-menten", &rates, &profiled()).unwrap(),
                computed,
                name,
            );
            continue;
        }
        if rows.is_some() {
            columns = Some((column(0), column(1), column(2)));
        }
        let (s, i, v) = columns.as_ref().unwrap();
        let rates = Rates {
            substrate: s,
            inhibitor: Some(i),
            rate: v,
        };
        let law = name.rsplit('_').next().unwrap();
        let found = fit_rates(law, &rates, &Options::default()).unwrap();
        check(&found, computed, name);
        near(found.aicc.unwrap(), number(&computed["aicc"]), 10.0, "AICc");
    }
    let (s, i, v) = columns.unwrap();
    let rates = Rates {
        substrate: &s,
        inhibitor: Some(&i),
        rate: &v,
    };
    let compared = compare_inhibition(&rates, &profiled()).unwrap();
    println!("{} {:?}", compared.choice.verdict, compared.refused);
    assert_eq!(compared.choice.ranking[0].model, "uncompetitive");
    // Mixed inhibition contains the uncompetitive law as the limit of an infinite competitive constant. Where the data
    // go to that limit, the constant is said not to be determined.
    if let Some(mixed) = compared.fits.iter().find(|f| f.model == "mixed") {
        let kic = mixed.parameter("Kic").unwrap();
        println!("{kic:?}");
        assert_ne!(kic.standing, Determination::Determined);
    } else {
        assert!(compared.refused.iter().any(|(law, _)| law == "mixed"));
    }
}
