//! Concentrations of invented runs, as `quantify_run` tells them, against published worked numbers
//! (data/calibration.json, data/inverse-prediction-and-inhibition.json), independent computations
//! (data/independent-spectra.json, made by independent_spectra.py) and closed forms; sources stand there or beside.

#![allow(clippy::expect_used, clippy::unwrap_used, reason = "tests may panic")]

mod invented;

use curvary_analysis::quantities::{LimitForm, Measured, NucleicAcidKind};
use curvary_analysis::study::{
    LineForm, QuantifyPlan, ReferenceSpectrum, References, Standards, TraceResult, Way, quantify_run,
    reference_of, standards_of,
};
use curvary_record::{
    Claim, Column, Coordinate, Interval, Origin, Outcome, Parameter, Place, Quantity, Run, Technique, Trace,
    Unit,
};
use serde_json::Value;

fn unit(code: &str) -> Unit {
    Unit::ucum(code).expect("a unit")
}

fn run(name: &str, x: (Quantity, &str, Vec<f64>), y: Vec<f64>) -> Run {
    let trace = Trace::new(
        Column::new(x.0, unit(x.1), x.2),
        Column::new(Quantity::ABSORBANCE, Unit::ABSORBANCE, y),
    )
    .expect("equal lengths");
    invented::run(name, Technique::FIXED_WAVELENGTH, vec![trace])
}

fn said(mut run: Run, key: &str, value: f64, code: &str) -> Run {
    let claim = Claim::number(
        value,
        Some(unit(code)),
        "invented",
        Origin::Source(Place::line(1)),
    );
    run.fields.claim(key, claim);
    run
}

/// A table of concentration against absorbance.
fn table(x: Vec<f64>, y: Vec<f64>) -> Run {
    run("standards", (Quantity::CONCENTRATION, "mg/L", x), y)
}

/// A list of readings.
fn readings(y: Vec<f64>) -> Run {
    let x = (0..y.len()).map(|i| i as f64).collect();
    run("unknowns", (Quantity::INDEX, "1", x), y)
}

fn spectrum(name: &str, x: Vec<f64>, y: Vec<f64>) -> Run {
    run(name, (Quantity::WAVELENGTH, "nm", x), y)
}

fn read(text: &str) -> Value {
    serde_json::from_str(text).expect("JSON")
}

fn number(value: &Value) -> f64 {
    value.as_f64().expect("a number")
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().expect("a list").iter().map(number).collect()
}

fn columns(set: &Value) -> (Vec<f64>, Vec<f64>) {
    let rows = set["data"].as_array().expect("rows");
    rows.iter().map(|row| (number(&row[0]), number(&row[1]))).unzip()
}

#[track_caller]
fn close(found: f64, expected: f64, relative: f64) {
    assert!(
        (found - expected).abs() <= relative * expected.abs(),
        "found {found}, expected {expected}"
    );
}

fn all(plan: &QuantifyPlan, run: &Run) -> Vec<TraceResult> {
    quantify_run(plan, run, &References::new())
}

fn one(plan: &QuantifyPlan, run: &Run) -> Outcome {
    let mut all = all(plan, run);
    assert_eq!(all.len(), 1, "{all:?}");
    all.remove(0).outcome
}

#[track_caller]
fn parameter<'a>(outcome: &'a Outcome, name: &str) -> &'a Parameter {
    let found = outcome.parameter(name);
    found.unwrap_or_else(|| panic!("no `{name}`: {} {:?}", outcome.termination, outcome.parameters))
}

#[track_caller]
fn value(outcome: &Outcome, name: &str) -> f64 {
    parameter(outcome, name).value.expect("a value")
}

fn error(outcome: &Outcome, name: &str) -> f64 {
    parameter(outcome, name).standard_error.expect("an error")
}

fn fieller(outcome: &Outcome) -> &Interval {
    let interval = &parameter(outcome, "concentration").intervals[0];
    assert_eq!(interval.kind, "fieller");
    interval
}

fn remarks(outcome: &Outcome) -> String {
    let all: Vec<&str> = outcome
        .remarks
        .iter()
        .map(|remark| remark.message.as_str())
        .collect();
    all.join("\n")
}

fn with_standards(x: Vec<f64>, y: Vec<f64>) -> QuantifyPlan {
    let standards = standards_of(&QuantifyPlan::new(Way::Line), &[table(x, y)], &References::new());
    QuantifyPlan::new(Way::Calibration(standards.expect("standards")))
}

// --- Calibration lines --------------------------------------------------------------------------------------------

/// Formaldehyde (Bennett and Franklin 1954) and cadmium (Eurachem/CITAC CG4, example A5); the concentrations are taken to
/// be in mg/L, which changes no number.
#[test]
fn published_lines_with_their_errors_and_intervals() {
    let data = read(include_str!("data/calibration.json"));
    for set in data["datasets"].as_array().expect("sets") {
        let (x, y) = columns(set);
        let outcome = one(&QuantifyPlan::new(Way::Line), &table(x, y));
        let computed = &set["computed"];
        close(value(&outcome, "slope"), number(&computed["slope"]), 1e-12);
        close(error(&outcome, "slope"), number(&computed["se_slope"]), 1e-11);
        close(
            value(&outcome, "intercept"),
            number(&computed["intercept"]),
            1e-11,
        );
        close(
            error(&outcome, "intercept"),
            number(&computed["se_intercept"]),
            1e-11,
        );
        let interval = &parameter(&outcome, "slope").intervals[0];
        let expected = numbers(&computed["confidence_95"]["slope"]);
        close(interval.low.expect("bounded"), expected[0], 1e-8);
        close(interval.high.expect("bounded"), expected[1], 1e-8);
        assert_eq!(parameter(&outcome, "slope").unit, Some(unit("L/mg")));
        close(
            outcome.statistics["r_squared"],
            number(&computed["r_squared"]),
            1e-12,
        );
        if set["name"] == "Formaldehyde" {
            let limits = &set["lod_loq_ICH_Q2"]["from_residual_sd"];
            close(value(&outcome, "detection-limit"), number(&limits["LOD"]), 1e-11);
            close(
                value(&outcome, "quantitation-limit"),
                number(&limits["LOQ"]),
                1e-11,
            );
            assert!(remarks(&outcome).contains("ICH Q2"), "{}", remarks(&outcome));
        }
    }
}

/// Single and repeated readings of an unknown, with the limits that were found a second time by root finding.
#[test]
fn unknowns_off_published_lines() {
    let calibration = read(include_str!("data/calibration.json"));
    let more = read(include_str!("data/inverse-prediction-and-inhibition.json"));
    let sets = calibration["datasets"].as_array().expect("sets").iter();
    let sets = sets.map(|set| (set, &set["inverse_prediction"]));
    let more = more["inverse_prediction"].as_array().expect("sets").iter();
    let mut tried = 0;
    for (set, cases) in sets.chain(more.map(|set| (set, &set["computed"]))) {
        let (x, y) = columns(set);
        for case in cases.as_array().expect("cases") {
            // A mean response is no reading of an unknown.
            if case["mean_response"] == true {
                continue;
            }
            tried += 1;
            let unknown = readings(numbers(&case["readings"]));
            let plan = QuantifyPlan {
                level: number(&case["level"]),
                together: true,
                trusted_absorbance: Some(f64::MAX),
                ..with_standards(x.clone(), y.clone())
            };
            let outcome = one(&plan, &unknown);
            close(value(&outcome, "concentration"), number(&case["x0"]), 1e-11);
            close(
                error(&outcome, "concentration"),
                number(&case["delta_method_se"]),
                1e-9,
            );
            let limits = numbers(&case["inversion_interval"]);
            close(fieller(&outcome).low.expect("bounded"), limits[0], 1e-8);
            close(fieller(&outcome).high.expect("bounded"), limits[1], 1e-8);
            assert_eq!(
                outcome.statistics["readings"],
                numbers(&case["readings"]).len() as f64
            );
        }
    }
    assert!(tried >= 8, "{tried}");
}

/// Cadmium of Eurachem/CITAC CG4, A5: two readings of 0.26 mg/L give u(c0) = 0.018 mg/L. There the spread of the two is not
/// pooled into s; two equal readings leave the sum of squares as it is and add one degree of freedom, so that
/// u = 0.0178456·√(13/14).
#[test]
fn the_worked_example_of_cadmium() {
    let data = read(include_str!("data/calibration.json"));
    let set = &data["datasets"][1];
    assert_eq!(set["name"], "Eurachem_A5_cadmium");
    let (x, y) = columns(set);
    let plan = QuantifyPlan {
        together: true,
        ..with_standards(x, y)
    };
    let outcome = one(&plan, &readings(vec![0.07136, 0.07136]));
    close(value(&outcome, "concentration"), 0.26, 1e-9);
    let unpooled = number(&set["u_c0_computed"]);
    close(
        error(&outcome, "concentration"),
        unpooled * (13.0f64 / 14.0).sqrt(),
        1e-9,
    );
    assert_eq!(format!("{unpooled:.3}"), "0.018");
}

/// A slope that is not told from zero leaves limits open (found by SciPy's root finding in independent_spectra.py), and a
/// dilution moves them as it moves the value.
#[test]
fn limits_that_the_data_leave_open_stay_open() {
    let data = &read(include_str!("data/independent-spectra.json"))["unbounded"];
    let (x, y) = (numbers(&data["x"]), numbers(&data["y"]));
    for case in data["cases"].as_array().expect("cases") {
        let unknown = readings(vec![number(&case["reading"])]);
        let level = number(&case["level"]);
        let of = |dilution: Option<f64>| {
            let plan = QuantifyPlan {
                level,
                dilution,
                ..with_standards(x.clone(), y.clone())
            };
            one(&plan, &unknown)
        };
        let outcome = of(None);
        assert_eq!((fieller(&outcome).low, fieller(&outcome).high), (None, None));
        assert!(outcome.statistics["slope_doubt_g"] >= 1.0);
        assert!(remarks(&outcome).contains("must not be reported alone"));
        let why = parameter(&outcome, "concentration")
            .reason
            .clone()
            .expect("a reason");
        assert!(
            why.ends_with("the slope cannot be distinguished from zero"),
            "{why}"
        );
        let edges = numbers(&case["edges"]);
        if edges.is_empty() {
            assert!(why.starts_with("every concentration agrees"), "{why}");
            continue;
        }
        let told = |why: &str| -> Vec<f64> {
            let words = why.split(' ').filter_map(|word| word.parse().ok());
            words.collect()
        };
        for (found, expected) in told(&why).iter().zip(&edges) {
            close(*found, *expected, 1e-8);
        }
        let diluted = of(Some(10.0));
        close(
            value(&diluted, "concentration"),
            10.0 * value(&outcome, "concentration"),
            1e-12,
        );
        let why = parameter(&diluted, "concentration")
            .reason
            .clone()
            .expect("a reason");
        assert_eq!(told(&why).len(), 2);
        for (found, expected) in told(&why).iter().zip(&edges) {
            close(*found, 10.0 * expected, 1e-8);
        }
    }
    // Nor is there a detection limit.
    let outcome = one(&QuantifyPlan::new(Way::Line), &table(x, y));
    let limit = parameter(&outcome, "detection-limit");
    assert!(
        limit.value.is_none()
            && limit
                .reason
                .as_deref()
                .is_some_and(|why| why.contains("cannot be distinguished from zero"))
    );
}

/// The standard deviation of these five is 0.001·√2.5. ICH Q2: 3.3 and 10 of it over the slope; IUPAC 1978: 3; IUPAC 1995
/// (Currie): 1.645, 3.29 and 10.
#[test]
fn detection_limits_by_three_definitions() {
    let set = &read(include_str!("data/calibration.json"))["datasets"][0];
    let (x, y) = columns(set);
    let of = |limit_form: LimitForm, blank_readings: Vec<f64>| {
        let plan = QuantifyPlan {
            limit_form,
            blank_readings,
            ..QuantifyPlan::new(Way::Line)
        };
        one(&plan, &table(x.clone(), y.clone()))
    };
    let blanks = vec![0.001, 0.003, 0.002, 0.004, 0.000];
    let unit = 0.001 * 2.5f64.sqrt() / number(&set["computed"]["slope"]);
    let ich = of(LimitForm::IchQ2, blanks.clone());
    close(value(&ich, "detection-limit"), 3.3 * unit, 1e-11);
    close(value(&ich, "quantitation-limit"), 10.0 * unit, 1e-11);
    let old = of(LimitForm::Iupac1978, blanks.clone());
    close(value(&old, "detection-limit"), 3.0 * unit, 1e-11);
    assert!(old.parameter("quantitation-limit").is_none());
    let new = of(LimitForm::Iupac1995, blanks);
    close(value(&new, "critical-value"), 1.645 * unit, 1e-11);
    close(value(&new, "detection-limit"), 3.29 * unit, 1e-11);
    let without = of(LimitForm::Iupac1978, Vec::new());
    assert!(parameter(&without, "detection-limit").value.is_none());
}

#[test]
fn standards_come_in_one_unit_or_not_at_all() {
    let first = table(vec![0.0, 1.0, 2.0], vec![0.0, 0.1, 0.2]);
    let second = run(
        "more",
        (Quantity::CONCENTRATION, "ug/L", vec![4000.0]),
        vec![0.41],
    );
    let plan = QuantifyPlan::new(Way::Line);
    let Standards {
        unit: common, points, ..
    } = standards_of(&plan, &[first.clone(), second], &References::new()).expect("both convert");
    assert_eq!(common, unit("mg/L"));
    assert!((points[3].concentration - 4.0).abs() < 1e-12 && points[3].absorbance == 0.41);
    let strange = run(
        "strange",
        (Quantity::CONCENTRATION, "mol/L", vec![1.0]),
        vec![0.1],
    );
    let (id, _) =
        standards_of(&plan, &[first.clone(), strange.clone()], &References::new()).expect_err("refused");
    assert_eq!(id, strange.id);
    let bare = spectrum("bare", vec![500.0, 501.0], vec![0.1, 0.1]);
    let (_, why) = standards_of(&plan, &[first, bare], &References::new()).expect_err("refused");
    assert!(why.to_string().contains("concentration is not known"), "{why}");
}

/// A header that says two concentrations, such as `0.1 mM, 10 uM`: both are told, and what a person notes settles it.
#[test]
fn of_two_concentrations_of_a_standard_both_are_told_and_a_note_settles_it() {
    let held = |all: &[(f64, &str)]| {
        let mut run = spectrum("standard", vec![500.0, 501.0], vec![0.1, 0.1]);
        for (value, code) in all {
            let own = Coordinate::new(Quantity::CONCENTRATION, unit(code), *value);
            run.traces[0].held.push(own);
        }
        run
    };
    let noted = |mut run: Run, value: f64| {
        let origin = Origin::Note {
            at: None,
            author: None,
        };
        let claim = Claim::number(value, Some(unit("mmol/L")), "noted", origin);
        run.fields.claim("concentration", claim);
        run
    };
    let plan = QuantifyPlan {
        at: Some(500.0),
        ..QuantifyPlan::new(Way::Line)
    };
    let of = |run: Run| {
        let found = standards_of(&plan, &[run], &References::new());
        found
            .map(|found| (found.points[0].concentration, found.unit))
            .map_err(|(_, why)| why.to_string())
    };
    let two = [(0.1, "mmol/L"), (10.0, "umol/L")];
    let why = of(held(&two)).expect_err("it is not known which");
    assert!(why.contains("0.1 mmol/L") && why.contains("10 µmol/L"), "{why}");
    assert_eq!(of(noted(held(&two), 0.1)), Ok((0.1, unit("mmol/L"))));
    // What a person says counts before what stands there once, too.
    assert_eq!(of(noted(held(&two[1..]), 0.1)), Ok((0.1, unit("mmol/L"))));
    // The same twice is one, in whatever unit.
    for same in [
        [(0.1, "mmol/L"), (0.1, "mmol/L")],
        [(0.1, "mmol/L"), (100.0, "umol/L")],
    ] {
        assert_eq!(of(held(&same)), Ok((0.1, unit("mmol/L"))));
    }
    // One note of a run is not one of curves that differ.
    let mut several = held(&two[..1]);
    several.traces.extend(held(&two[1..]).traces);
    let found = standards_of(&plan, &[noted(several, 0.7)], &References::new()).expect("each has its own");
    let all: Vec<f64> = found.points.iter().map(|point| point.concentration).collect();
    assert_eq!(all, [0.1, 0.01]);
}

#[test]
fn nothing_is_read_above_the_trusted_range() {
    let plan = with_standards(vec![0.0, 1.0, 2.0, 4.0], vec![0.001, 0.099, 0.202, 0.4]);
    let found = all(&plan, &readings(vec![0.2, 3.4]));
    assert!(found[0].is_result() && !found[1].is_result());
    assert!(found[1].outcome.termination.starts_with("out-of-range: "));
    let plan = QuantifyPlan {
        trusted_absorbance: Some(f64::MAX),
        ..plan
    };
    let outcome = &all(&plan, &readings(vec![0.2, 3.4]))[1].outcome;
    assert!(remarks(outcome).contains("outside the standards"));
}

// --- Standard addition --------------------------------------------------------------------------------------------

/// The line of independent_spectra.py, with value, standard error and Fieller limits found there.
#[test]
fn standard_addition_down_to_zero() {
    let data = &read(include_str!("data/independent-spectra.json"))["addition"];
    let run = table(numbers(&data["x"]), numbers(&data["y"]));
    let of = |dilution: f64| {
        let plan = QuantifyPlan {
            dilution: Some(dilution),
            ..QuantifyPlan::new(Way::StandardAddition)
        };
        one(&plan, &run)
    };
    let limits = numbers(&data["limits"]);
    for dilution in [1.0, 5.0] {
        let outcome = of(dilution);
        close(
            value(&outcome, "concentration"),
            number(&data["value"]) * dilution,
            1e-11,
        );
        close(
            error(&outcome, "concentration"),
            number(&data["standard_error"]) * dilution,
            1e-10,
        );
        close(
            fieller(&outcome).low.expect("bounded"),
            limits[0] * dilution,
            1e-9,
        );
        close(
            fieller(&outcome).high.expect("bounded"),
            limits[1] * dilution,
            1e-9,
        );
        assert!(remarks(&outcome).contains("extrapolates"));
    }
    let along_index = one(
        &QuantifyPlan::new(Way::StandardAddition),
        &readings(vec![0.1, 0.2, 0.3]),
    );
    assert!(
        along_index
            .termination
            .contains("readings without concentrations")
    );
}

// --- Several components -------------------------------------------------------------------------------------------

fn band(x: &[f64], at: f64, width: f64) -> Vec<f64> {
    x.iter()
        .map(|x| (-0.5 * ((x - at) / width).powi(2)).exp())
        .collect()
}

/// Two Gauss bands, 2 mg/L and 0.5 mmol/L of what the references show at 1 mg/L and 0.1 mmol/L, on a line of constant
/// height. With a pattern that is at right angles to nothing the closed form of least squares is (AᵀA)⁻¹Aᵀy; without one the
/// components come out to the last digits.
#[test]
fn components_come_out_of_their_sum() {
    let x: Vec<f64> = (0..81).map(|i| 400.0 + 2.0 * f64::from(i)).collect();
    let (a, b) = (band(&x, 450.0, 15.0), band(&x, 500.0, 20.0));
    let scaled = |y: &[f64], by: f64| y.iter().map(|y| y * by).collect::<Vec<f64>>();
    let first = said(
        spectrum("first", x.clone(), scaled(&a, 0.3)),
        "concentration",
        1.0,
        "mg/L",
    );
    let second = said(
        spectrum("second", x.clone(), scaled(&b, 0.1)),
        "concentration",
        0.1,
        "mmol/L",
    );
    let references: References = [&first, &second]
        .into_iter()
        .map(|run| (run.id.to_string(), reference_of(run).expect("a spectrum")))
        .collect();
    let component = |name: &str, run: &Run, concentration: f64, code: &str| ReferenceSpectrum {
        name: name.into(),
        run: run.id.clone(),
        concentration,
        unit: unit(code),
        path: None,
    };
    let way = Way::Mixture(vec![
        component("Dye A", &first, 1.0, "mg/L"),
        component("dye B", &second, 0.1, "mmol/L"),
    ]);
    let noise = |i: usize| 1e-6 * [0.0, 1.0, -1.0, 2.0, -2.0][i * 3 % 5];
    let sample: Vec<f64> = (0..x.len())
        .map(|i| 2.0 * 0.3 * a[i] + 5.0 * 0.1 * b[i] + 0.02 + noise(i))
        .collect();
    let plan = QuantifyPlan {
        with_offset: true,
        ..QuantifyPlan::new(way.clone())
    };
    let found = quantify_run(&plan, &spectrum("sample", x.clone(), sample.clone()), &references);
    let outcome = &found[0].outcome;
    close(value(outcome, "concentration-dye-a"), 2.0, 1e-5);
    close(value(outcome, "concentration-dye-b"), 0.5, 1e-5);
    close(value(outcome, "offset"), 0.02, 1e-4);
    assert_eq!(
        parameter(outcome, "concentration-dye-b").unit,
        Some(unit("mmol/L"))
    );
    assert!(error(outcome, "concentration-dye-a") < 1e-5);
    assert!(remarks(outcome).contains("same path length"));

    // Twice diluted is twice as much.
    let diluted = QuantifyPlan {
        dilution: Some(2.0),
        ..plan.clone()
    };
    let twice = quantify_run(
        &diluted,
        &spectrum("sample", x.clone(), sample.clone()),
        &references,
    );
    close(value(&twice[0].outcome, "concentration-dye-a"), 4.0, 1e-5);
    let interval = &parameter(&twice[0].outcome, "concentration-dye-a").intervals[0];
    assert!(interval.low.is_some_and(|low| low > 3.99) && interval.high.is_some_and(|high| high < 4.01));

    // A component that nobody has a spectrum of, and one that shows nothing of its own.
    let missing = quantify_run(
        &plan,
        &spectrum("sample", x.clone(), sample.clone()),
        &References::new(),
    );
    assert!(missing[0].outcome.termination.contains("is not at hand"));
    let same = QuantifyPlan::new(Way::Mixture(vec![
        component("one", &first, 1.0, "mg/L"),
        component("other", &first, 1.0, "mg/L"),
    ]));
    let found = quantify_run(&same, &spectrum("sample", x, sample), &references);
    assert!(!found[0].is_result(), "{:?}", found[0].outcome);
}

// --- Single readings and ratios ------------------------------------------------------------------------------------

/// c = A·D/(ε·l), and for independent errors (u_c/c)² = (u_A/A)² + (u_ε/ε)² + (u_l/l)² (GUM, JCGM 100:2008, 5.1.6).
#[test]
fn the_law_of_beer_and_lambert_with_its_error() {
    let plan = QuantifyPlan {
        coefficient: Some(Measured::with_error(6220.0, 62.2)),
        path: Some(Measured::with_error(1.0, 0.005)),
        reading_error: Some(0.002),
        dilution: Some(3.0),
        ..QuantifyPlan::new(Way::BeerLambert)
    };
    let outcome = &all(&plan, &readings(vec![0.622]))[0].outcome;
    close(value(outcome, "concentration"), 3e-4, 1e-12);
    let relative = ((0.002f64 / 0.622).powi(2) + 0.01f64.powi(2) + 0.005f64.powi(2)).sqrt();
    close(error(outcome, "concentration"), 3e-4 * relative, 1e-9);
    assert_eq!(
        parameter(outcome, "concentration").unit,
        Some(Unit::MOLE_PER_LITRE)
    );
    let unknown = QuantifyPlan::new(Way::BeerLambert);
    assert!(!all(&unknown, &readings(vec![0.622]))[0].is_result());
}

/// 50 µg/mL of double-stranded DNA for A260 = 1 at 1 cm, 33 single-stranded, 40 RNA (common practice). The ratio's error of
/// independent readings: r = (A260 - A320)/(A280 - A320) has ∂r = 1/D, -r/D and (r - 1)/D.
#[test]
fn ratios_and_concentrations_of_nucleic_acids() {
    let x: Vec<f64> = (0..101).map(|i| 220.0 + f64::from(i)).collect();
    let at = |nm: f64| match nm {
        230.0 => 0.52,
        260.0 => 1.02,
        280.0 => 0.57,
        320.0 => 0.02,
        _ => 0.3,
    };
    let run = spectrum("acid", x.clone(), x.iter().map(|nm| at(*nm)).collect());
    for (kind, factor) in [
        (NucleicAcidKind::DoubleStrandedDna, 50.0),
        (NucleicAcidKind::SingleStrandedDna, 33.0),
        (NucleicAcidKind::Rna, 40.0),
    ] {
        let plan = QuantifyPlan {
            path: Some(Measured::bare(0.5)),
            dilution: Some(10.0),
            reading_error: Some(0.002),
            ..QuantifyPlan::new(Way::NucleicAcid(kind))
        };
        let outcome = one(&plan, &run);
        close(
            value(&outcome, "mass-concentration"),
            1.0 * factor * 10.0 / 0.5,
            1e-12,
        );
        assert_eq!(
            parameter(&outcome, "mass-concentration").unit,
            Some(unit("ug/mL"))
        );
        close(value(&outcome, "ratio-260-280"), 1.0 / 0.55, 1e-12);
        close(value(&outcome, "ratio-260-230"), 2.0, 1e-12);
        let (r, d): (f64, f64) = (1.0 / 0.55, 0.55);
        let expected = 0.002 / d * (1.0 + r * r + (r - 1.0) * (r - 1.0)).sqrt();
        close(error(&outcome, "ratio-260-280"), expected, 1e-12);
        assert!(outcome.termination.contains("common practice"));
    }
    // Without 320 nm the background is not taken off, and that is told.
    let short: Vec<f64> = x.iter().copied().filter(|nm| *nm <= 300.0).collect();
    let run = spectrum("short", short.clone(), short.iter().map(|nm| at(*nm)).collect());
    let plan = QuantifyPlan {
        path: Some(Measured::bare(1.0)),
        ..QuantifyPlan::new(Way::NucleicAcid(NucleicAcidKind::DoubleStrandedDna))
    };
    let outcome = one(&plan, &run);
    close(value(&outcome, "mass-concentration"), 51.0, 1e-12);
    assert!(remarks(&outcome).contains("320 nm (background)"));
    let no_path = one(&QuantifyPlan::new(Way::NucleicAcid(NucleicAcidKind::Rna)), &run);
    assert!(no_path.termination.contains("path length is not known"));
}

/// (1.55·A280 - 0.76·A260)·D/l (common practice, from memory).
#[test]
fn protein_beside_nucleic_acid() {
    let x: Vec<f64> = (0..61).map(|i| 240.0 + f64::from(i)).collect();
    let y = x.iter().map(|nm| if *nm == 280.0 { 0.8 } else { 0.5 }).collect();
    let plan = QuantifyPlan {
        path: Some(Measured::bare(1.0)),
        ..QuantifyPlan::new(Way::Protein)
    };
    let outcome = one(&plan, &spectrum("protein", x, y));
    close(
        value(&outcome, "mass-concentration"),
        1.55 * 0.8 - 0.76 * 0.5,
        1e-12,
    );
    close(value(&outcome, "ratio-260-280"), 0.5 / 0.8, 1e-12);
}

#[test]
fn standards_and_unknowns_of_other_cells_and_wavelengths() {
    let standards = said(
        said(
            table(
                vec![0.0, 2.0, 4.0, 8.0, 12.0, 16.0],
                vec![0.0101, 0.0902, 0.1695, 0.3309, 0.4896, 0.6512],
            ),
            "path-length",
            1.0,
            "cm",
        ),
        "wavelength",
        430.0,
        "nm",
    );
    let plan = QuantifyPlan::new(Way::Line);
    let line = standards_of(&plan, &[standards], &References::new()).expect("standards");
    let of = |path: f64, nm: f64| {
        let unknown = said(
            said(readings(vec![0.512]), "path-length", path, "cm"),
            "wavelength",
            nm,
            "nm",
        );
        let plan = QuantifyPlan::new(Way::Calibration(line.clone()));
        quantify_run(&plan, &unknown, &References::new()).remove(0)
    };
    let value = |found: &TraceResult| found.outcome.parameter("concentration").and_then(|p| p.value);
    let same = value(&of(1.0, 430.0)).expect("a concentration");
    assert!((same - 12.537).abs() < 1e-3, "{same}");
    // 0.512 through 5 cm is 0.1024 through 1 cm, which the line (intercept 0.0100, slope 0.0400) reads as 2.310.
    let through_five = of(5.0, 430.5);
    assert!(
        (value(&through_five).expect("one") - 2.310).abs() < 2e-3,
        "{:?}",
        value(&through_five)
    );
    assert!(
        through_five
            .outcome
            .remarks
            .iter()
            .any(|r| r.code.as_str() == "converted")
    );
    let elsewhere = of(1.0, 520.0);
    assert!(
        !elsewhere.is_result() && elsewhere.outcome.termination.contains("520"),
        "{:?}",
        elsewhere.outcome
    );
}

#[test]
fn readings_in_coarse_steps_have_the_errors_of_their_steps() {
    let mut standards = table(vec![0.0, 2.0, 4.0, 8.0], vec![0.0, 0.08, 0.16, 0.32]);
    standards.traces[0].y.decimals = curvary_record::Decimals::uniform(3, 4);
    let found = quantify_run(&QuantifyPlan::new(Way::Line), &standards, &References::new()).remove(0);
    // 3.3 times the standard deviation of a rounding to 0.001, over the slope.
    let limit = found
        .outcome
        .parameter("detection-limit")
        .and_then(|p| p.value)
        .expect("a limit");
    assert!(
        (limit - 3.3 * 0.001 / 12f64.sqrt() / 0.04).abs() < 1e-6,
        "{limit}"
    );
}

/// Standards with a blank of 0.38: a line through the origin was given in silence, with 23 in place of 0 for the blank.
#[test]
fn a_line_held_at_the_origin_is_asked_whether_its_standards_go_there() {
    let levels = vec![5.0, 10.0, 20.0, 40.0, 80.0];
    let off = [0.003, -0.004, 0.001, 0.004, -0.002];
    // A parabola through the origin and so large a blank turns among the standards, and is refused.
    for (line_form, blank) in [(LineForm::Straight, 0.38), (LineForm::Quadratic, 0.05)] {
        let told = |blank: f64| {
            let y = levels
                .iter()
                .zip(off)
                .map(|(c, off)| blank + 0.01 * c + off)
                .collect();
            let plan = QuantifyPlan {
                through_origin: true,
                line_form,
                ..QuantifyPlan::new(Way::Line)
            };
            remarks(&one(&plan, &table(levels.clone(), y))).contains("do not go through the origin")
        };
        assert!(told(blank) && !told(0.0), "{line_form:?}");
    }
}

/// Errors that stand beside standards are drawn, and the line stays as it was; beside two columns of readings it is not known whose they
/// are.
#[test]
fn errors_beside_standards_are_drawn() {
    let x: Vec<f64> = vec![0.0, 2.0, 4.0, 6.0, 8.0];
    let y = vec![0.004, 0.104, 0.215, 0.302, 0.418];
    let plain = table(x.clone(), y.clone());
    let mut with = plain.clone();
    let mut errors = Trace::new(
        Column::new(Quantity::CONCENTRATION, unit("mg/L"), x.clone()),
        Column::new(Quantity::UNKNOWN, Unit::ONE, vec![0.01; 5]),
    )
    .expect("equal lengths");
    errors.label = Some("SD".into());
    with.traces.push(errors);
    let plan = QuantifyPlan::new(Way::Line);
    let found = all(&plan, &with).remove(0);
    assert_eq!(found.drawn.bars_label.as_deref(), Some("SD"));
    let wanted: Vec<(f64, f64, f64)> = x.iter().zip(&y).map(|(x, y)| (*x, y - 0.01, y + 0.01)).collect();
    assert_eq!(found.drawn.bars, wanted);
    let before = all(&plan, &plain).remove(0);
    assert_eq!(found.outcome.parameters, before.outcome.parameters);
    assert!(before.drawn.bars.is_empty());
    let mut second = plain.traces[0].clone();
    second.label = Some("again".into());
    with.traces.push(second);
    assert!(all(&plan, &with).remove(0).drawn.bars.is_empty());
}
