//! Instrument checks of invented runs, as `check_run` tells them: each with data that pass, fail and cannot decide.
//!
//! The limits are those of the limits file; where a number of it is written here, its source stands beside.

#![allow(clippy::expect_used, reason = "tests may panic")]

mod invented;

use curvary_analysis::study::{CheckPlan, TraceResult, check_run};
use curvary_record::{Claim, Column, Fields, Origin, Outcome, Place, Quantity, Run, Technique, Trace, Unit};

fn invented(x: (Quantity, Unit, Vec<f64>), y: Vec<f64>) -> Run {
    let trace = Trace::new(
        Column::new(x.0, x.1, x.2),
        Column::new(Quantity::ABSORBANCE, Unit::ABSORBANCE, y),
    )
    .expect("equal lengths");
    invented::run("invented", Technique::SPECTRUM, vec![trace])
}

/// A spectrum of every `step` nm from `from` to `to`.
fn spectrum(from: f64, to: f64, step: f64, y: impl Fn(f64) -> f64) -> Run {
    let count = ((to - from) / step).round() as usize;
    let x: Vec<f64> = (0..=count).map(|i| from + i as f64 * step).collect();
    let y = x.iter().map(|x| y(*x)).collect();
    invented((Quantity::WAVELENGTH, Unit::NANOMETRE, x), y)
}

/// An absorbance of every second.
fn course(count: usize, y: impl Fn(usize) -> f64) -> Run {
    let x = (0..count).map(|i| i as f64).collect();
    invented((Quantity::TIME, Unit::SECOND, x), (0..count).map(y).collect())
}

/// A fixed pattern without a trend that stands for noise: its mean over five points is zero.
fn ripple(i: usize) -> f64 {
    [0.0, 1.0, -1.0, 2.0, -2.0][i * 3 % 5]
}

fn said(mut run: Run, key: &str, value: f64, code: &str) -> Run {
    let unit = Unit::ucum(code).expect("a unit");
    let claim = Claim::number(value, Some(unit), "invented", Origin::Source(Place::line(1)));
    run.fields.claim(key, claim);
    run
}

fn named(mut run: Run, key: &str, words: &str) -> Run {
    let claim = Claim::text(words, Origin::Source(Place::line(1)));
    run.fields.claim(key, claim);
    run
}

fn plan(name: &str) -> CheckPlan {
    CheckPlan {
        name: Some(name.into()),
        ..CheckPlan::default()
    }
}

fn check(plan: &CheckPlan, run: &Run) -> TraceResult {
    let mut all = check_run(plan, run);
    assert_eq!(all.len(), 1);
    all.remove(0)
}

fn value(outcome: &Outcome, name: &str) -> f64 {
    outcome.parameter(name).and_then(|p| p.value).expect(name)
}

fn reasons(outcome: &Outcome) -> String {
    let all: Vec<&str> = outcome
        .parameters
        .iter()
        .filter_map(|p| p.reason.as_deref())
        .collect();
    all.join("\n")
}

/// The cautions that go with every check, and one that goes with this one.
fn cautioned(outcome: &Outcome, word: &str) {
    let cautions: Vec<&str> = outcome
        .remarks
        .iter()
        .filter(|remark| remark.code.as_str() == "caution")
        .map(|remark| remark.message.as_str())
        .collect();
    assert!(cautions[0].starts_with("Local rules come first"), "{cautions:?}");
    assert!(cautions.iter().any(|c| c.contains(word)), "{cautions:?}");
}

/// A laboratory's limits file with its own numbers.
const OWN: &str = r#"
cautions = ["Local rules come first."]

[certified_tolerance]
absolute = 0.010
relative = 0.010
up_to = 1.0
source = "an invented rule"
from_memory = false

[[filters]]
id = "grey-glass-2"
standard = "neutral glass, set 2"
source = "an invented certificate"
from_memory = false
valid_until = "2027-03-31"
bands = [
    { nm = 440.0, absorbance = 0.5023, uncertainty = 0.0022, bandwidth_max_nm = 4.0 },
    { nm = 546.1, absorbance = 1.2000, uncertainty = 0.0030 },
]

[local]
noise_rms = { max = 0.001, source = "an invented specification", from_memory = false }
noise_peak_to_peak = { max = 0.004, source = "an invented specification", from_memory = false }
drift_per_hour = { max = 0.002, source = "an invented specification", from_memory = false }
flatness = { max = 0.002, source = "an invented specification", from_memory = false }
zero = { max = 0.003, source = "an invented specification", from_memory = false }
"#;

fn own(name: &str) -> CheckPlan {
    CheckPlan {
        limits: Some(OWN.into()),
        ..plan(name)
    }
}

// --- Wavelength -------------------------------------------------------------------------------------------------

/// Gauss bands where Ph. Eur. 2.2.25 says that holmium has them, all moved by `shift`.
fn holmium(shift: f64, step: f64) -> Run {
    spectrum(230.0, 560.0, step, |x| {
        let band = |at: f64| 0.6 * (-((x - at - shift) / 2.5).powi(2)).exp();
        0.05 + [241.15, 287.15, 361.5, 536.3].map(band).iter().sum::<f64>()
            + 2e-5 * ripple((x / step).round() as usize)
    })
}

/// The tolerances are ± 1 nm below 400 nm and ± 3 nm above (Ph. Eur. 2.2.25, editions 5 to 8).
#[test]
fn holmium_bands_pass_near_their_places_and_fail_far_from_them() {
    let found = check(&plan("ph-eur-holmium"), &holmium(0.4, 0.5));
    let outcome = &found.outcome;
    assert_eq!(outcome.termination, "pass", "{}", reasons(outcome));
    assert_eq!(outcome.parameters.len(), 4);
    for parameter in &outcome.parameters {
        assert_eq!(parameter.name, "wavelength-error");
        assert!((parameter.value.expect("found") - 0.4).abs() < 0.02);
    }
    assert!(reasons(outcome).contains("Ph. Eur. 2.2.25"));
    cautioned(outcome, "Perchloric acid");

    let outcome = check(&plan("ph-eur-holmium"), &holmium(1.5, 0.5)).outcome;
    assert_eq!(outcome.termination, "fail");
    // 1.5 nm is too far in the ultraviolet, and near enough at 536 nm.
    assert_eq!(
        (outcome.statistics["failed"], outcome.statistics["passed"]),
        (3.0, 1.0)
    );
}

#[test]
fn holmium_too_coarse_or_without_bandwidth_is_undecided() {
    let outcome = check(&plan("ph-eur-holmium"), &holmium(0.0, 2.0)).outcome;
    assert!(
        outcome.termination.starts_with("undetermined"),
        "{}",
        outcome.termination
    );
    assert!(
        reasons(&outcome).contains("points 2 nm apart"),
        "{}",
        reasons(&outcome)
    );
    // The positions of the reference material hold for a bandwidth of 1 nm; with none stated there is no verdict.
    let run = holmium(0.0, 0.5);
    let outcome = check(&plan("srm-2034-usp"), &run).outcome;
    assert!(outcome.termination.starts_with("undetermined"));
    assert!(reasons(&outcome).contains("none was stated"));
    let outcome = check(&plan("srm-2034-usp"), &said(run.clone(), "bandwidth", 2.0, "nm")).outcome;
    assert!(reasons(&outcome).contains("measured was with 2 nm"));
    let outcome = check(&plan("srm-2034-usp"), &said(run, "bandwidth", 1.0, "nm")).outcome;
    assert!(outcome.statistics["passed"] >= 3.0, "{}", reasons(&outcome));
}

// --- Absorbance -------------------------------------------------------------------------------------------------

/// Straight lines between what 60 mg/L in 1 cm show if the specific absorbances are those of Ph. Eur. 2.2.25 (to edition
/// 9), A(1 %, 1 cm) 124.5, 144.5, 48.6 and 107.3: A = a·c·l/10000, with c in mg/L. All times `factor`.
fn dichromate(factor: f64) -> Run {
    const KNOWN: [(f64, f64); 4] = [(235.0, 124.5), (257.0, 144.5), (313.0, 48.6), (350.0, 107.3)];
    let run = spectrum(235.0, 350.0, 1.0, |x| {
        let at = KNOWN.windows(2).find(|pair| x <= pair[1].0).expect("inside");
        let part = (x - at[0].0) / (at[1].0 - at[0].0);
        factor * (at[0].1 + part * (at[1].1 - at[0].1)) * 60.0 / 1e4
    });
    said(run, "temperature", 20.0, "Cel")
}

#[test]
fn dichromate_by_its_specific_absorbances() {
    let stated = |run: Run| said(said(run, "concentration", 60.0, "mg/L"), "path-length", 1.0, "cm");
    let outcome = check(&plan("ph-eur-dichromate"), &stated(dichromate(1.0))).outcome;
    // What the pharmacopoeia reads at 430 nm was not read here.
    assert_eq!(
        outcome.termination,
        "undetermined: not decided: specific absorbance at 430 nm",
        "{}",
        reasons(&outcome)
    );
    assert!(
        outcome
            .parameters
            .iter()
            .filter_map(|p| p.value)
            .all(|error| error.abs() < 1e-9)
    );
    // Nothing was read at 430 nm, and that is told.
    assert!(reasons(&outcome).contains("no reading at 430 nm"));
    cautioned(&outcome, "carcinogenic");

    let outcome = check(&plan("ph-eur-dichromate"), &stated(dichromate(1.03))).outcome;
    assert_eq!(outcome.termination, "fail");
    assert!((value(&outcome, "absorbance-error") - 0.03 * 124.5).abs() < 1e-9);

    let asked = check(&plan("ph-eur-dichromate"), &dichromate(1.0));
    assert!(!asked.is_result());
    assert!(asked.outcome.termination.starts_with("no-concentration: "));
    let outside = CheckPlan {
        mg_per_l: Some(80.0),
        path_cm: Some(1.0),
        ..plan("ph-eur-dichromate")
    };
    let outcome = check(&outside, &dichromate(1.0)).outcome;
    assert!(outcome.termination.starts_with("undetermined"));
    assert!(reasons(&outcome).contains("outside 57 to 63 mg/L"));
}

/// The concentration on the label is that of the solution; a label that speaks of several checks is asked about, by their names.
#[test]
fn a_label_says_the_concentration_and_what_it_may_be() {
    let labelled = named(
        said(dichromate(1.0), "path-length", 1.0, "cm"),
        "sample",
        "Potassium dichromate 60 mg/L",
    );
    let outcome = check(&plan("ph-eur-dichromate"), &labelled).outcome;
    assert!(
        outcome.termination.starts_with("undetermined: not decided: "),
        "{}",
        reasons(&outcome)
    );
    let asked = check(&CheckPlan::default(), &labelled).outcome.termination;
    assert!(
        asked.starts_with("check-not-sure: ")
            && asked.contains("ph-eur-dichromate")
            && asked.contains("srm-935a")
            && !asked.contains("holmium"),
        "{asked}"
    );
}

/// `1,000 mg/L` may be one or a thousand, and a label may state several: asked, and never the first that comes.
#[test]
fn a_concentration_in_doubt_on_a_label_is_asked() {
    for (label, said_of_it) in [
        ("Potassium dichromate 1,000 mg/L", "1 or 1000"),
        ("Potassium dichromate 1.000 mg/L", "1 or 1000"),
        ("Potassium dichromate (60.000 mg/L)", "60 or 60000"),
        ("Potassium dichromate 60 mg/L from 600 mg/L", "60 and 600"),
    ] {
        let labelled = named(said(dichromate(1.0), "path-length", 1.0, "cm"), "sample", label);
        let outcome = check(&plan("ph-eur-dichromate"), &labelled).outcome;
        assert!(
            outcome.termination.starts_with("concentration-not-sure: ")
                && outcome.termination.contains(said_of_it)
                && outcome.termination.contains("--mg-per-l"),
            "{label}: {}",
            outcome.termination
        );
    }
}

/// A table of a few wavelengths is no spectrum to read between.
#[test]
fn nothing_is_read_between_far_points() {
    let x = vec![235.0, 313.0, 350.0];
    let y = [124.5, 48.6, 107.3].map(|a| a * 60.0 / 1e4).to_vec();
    let run = invented((Quantity::WAVELENGTH, Unit::NANOMETRE, x), y);
    let plan = CheckPlan {
        mg_per_l: Some(60.0),
        path_cm: Some(1.0),
        ..plan("ph-eur-dichromate")
    };
    let outcome = check(&plan, &run).outcome;
    assert_eq!(
        outcome.termination,
        "undetermined: not decided: specific absorbance at 257 nm; specific absorbance at 430 nm"
    );
    assert_eq!(outcome.statistics["passed"], 3.0);
    assert!(reasons(&outcome).contains("no reading at 257 nm"));
}

/// SRM 935a at 0.06 g/kg in 1 cm: 12.340, 14.369, 4.811, 10.603 and 10.681 kg/(g cm) times 0.06 g/kg (from memory; the
/// limits file says so).
#[test]
fn dichromate_by_the_table_of_the_reference_material() {
    let readings = |off: f64| {
        let x = vec![235.0, 257.0, 313.0, 345.0, 350.0];
        let y = [12.340, 14.369, 4.811, 10.603, 10.681]
            .map(|a| a * 0.06 + off)
            .to_vec();
        let run = invented((Quantity::WAVELENGTH, Unit::NANOMETRE, x), y);
        said(said(run, "bandwidth", 0.8, "nm"), "path-length", 10.0, "mm")
    };
    let given = CheckPlan {
        g_per_kg: Some(0.06),
        ..plan("srm-935a")
    };
    let outcome = check(&given, &readings(0.005)).outcome;
    assert_eq!(outcome.termination, "pass", "{}", reasons(&outcome));
    assert_eq!(outcome.statistics["passed"], 5.0);
    assert!((value(&outcome, "absorbance-error") - 0.005).abs() < 1e-12);
    assert!(
        reasons(&outcome).contains("from memory") && reasons(&outcome).contains("no temperature was stated")
    );
    cautioned(&outcome, "carcinogenic");
    assert_eq!(check(&given, &readings(0.02)).outcome.termination, "fail");
    let mut wide = readings(0.0);
    wide.fields = Fields::default();
    let wide = said(said(wide, "bandwidth", 2.0, "nm"), "path-length", 1.0, "cm");
    let outcome = check(&given, &wide).outcome;
    assert!(
        outcome.termination.starts_with("undetermined"),
        "{}",
        outcome.termination
    );
    // A concentration in a volume is none in a mass.
    let by_volume = said(readings(0.0), "concentration", 60.0, "mg/L");
    let asked = check(&plan("srm-935a"), &by_volume).outcome;
    assert!(
        asked.termination.starts_with("no-concentration: "),
        "{}",
        asked.termination
    );
    let far = CheckPlan {
        g_per_kg: Some(0.5),
        ..plan("srm-935a")
    };
    assert!(
        check(&far, &readings(0.0))
            .outcome
            .termination
            .starts_with("out-of-range: ")
    );
}

/// The invented certificate above: 0.5023 at 440 nm within 0.010, 1.2000 at 546.1 nm within 1 % of it.
#[test]
fn filters_by_their_certificates() {
    let glass = |at_440: f64, at_546: f64| {
        let x = vec![440.0, 546.1];
        invented((Quantity::WAVELENGTH, Unit::NANOMETRE, x), vec![at_440, at_546])
    };
    let of = |run: Run| named(said(run, "bandwidth", 2.0, "nm"), "date", "2026-05-04");
    let outcome = check(&own("grey-glass-2"), &of(glass(0.5100, 1.2110))).outcome;
    assert_eq!(outcome.termination, "pass", "{}", reasons(&outcome));
    assert_eq!(outcome.model, "grey-glass-2");
    assert!((value(&outcome, "absorbance-error") - 0.0077).abs() < 1e-12);
    assert!(reasons(&outcome).contains("an invented certificate; tolerance: an invented rule"));
    cautioned(&outcome, "Local rules");

    let outcome = check(&own("grey-glass-2"), &of(glass(0.5100, 1.2130))).outcome;
    assert_eq!(outcome.termination, "fail");
    assert_eq!(
        (outcome.statistics["failed"], outcome.statistics["passed"]),
        (1.0, 1.0)
    );

    let wide = named(
        said(glass(0.5023, 1.2), "bandwidth", 5.0, "nm"),
        "date",
        "2026-05-04",
    );
    let outcome = check(&own("grey-glass-2"), &wide).outcome;
    assert!(
        outcome.termination.starts_with("undetermined"),
        "{}",
        outcome.termination
    );
    let late = check(
        &own("grey-glass-2"),
        &named(glass(0.5023, 1.2), "date", "2027-04-01T08:00"),
    );
    assert!(late.outcome.termination.starts_with("certificate-expired: ") && !late.is_result());
    let undated = check(&own("grey-glass-2"), &glass(0.5023, 1.2)).outcome;
    assert!(reasons(&undated).contains("nothing says when this was measured"));
    // A sample that bears the filter's name needs no more words.
    let by_name = CheckPlan {
        name: None,
        ..own("")
    };
    let sample = named(of(glass(0.5023, 1.2)), "sample", "Grey glass no. 2");
    assert_eq!(check(&by_name, &sample).outcome.model, "grey-glass-2");
}

// --- Stray light and resolution ---------------------------------------------------------------------------------

/// The limit, A of at least 2.0 at 198 nm, is that of Ph. Eur. 2.2.25 (to edition 9), as in the limits file.
#[test]
fn stray_light_passes_above_its_limit_and_fails_below() {
    let salt = |at_198: f64| spectrum(190.0, 210.0, 1.0, |x| if x == 198.0 { at_198 } else { 0.5 });
    for (absorbance, verdict) in [(2.3, "pass"), (1.7, "fail")] {
        let outcome = check(&plan("ph-eur-kcl"), &salt(absorbance)).outcome;
        assert_eq!(outcome.termination, verdict, "{outcome:?}");
        assert_eq!(value(&outcome, "stray-light-absorbance"), absorbance);
        assert!(reasons(&outcome).contains("Ph. Eur."));
        cautioned(&outcome, "Ultraviolet lamps");
    }
    let elsewhere = spectrum(220.0, 240.0, 1.0, |_| 2.5);
    let found = check(&plan("ph-eur-kcl"), &elsewhere);
    assert!(
        found.outcome.termination.starts_with("undetermined"),
        "{}",
        found.outcome.termination
    );
    assert!(!found.is_result());
}

/// A wave with its highest value at 269 nm and its lowest at 266 nm; toluene must show a ratio of at least 1.5 (Ph. Eur.
/// 2.2.25).
#[test]
fn resolution_by_the_ratio_of_toluene() {
    let toluene = |half: f64| {
        spectrum(255.0, 275.0, 0.1, move |x| {
            0.30 - half * (std::f64::consts::PI * (x - 266.0) / 3.0).cos()
        })
    };
    let outcome = check(&plan("toluene-hexane"), &toluene(0.1)).outcome;
    assert_eq!(outcome.termination, "pass");
    assert!((value(&outcome, "resolution-ratio") - 0.4 / 0.2).abs() < 1e-3);
    cautioned(&outcome, "flammable");
    let outcome = check(&plan("toluene-hexane"), &toluene(0.05)).outcome;
    assert_eq!(outcome.termination, "fail");
    assert!((value(&outcome, "resolution-ratio") - 0.35 / 0.25).abs() < 1e-3);
    let blurred = spectrum(255.0, 275.0, 0.1, |x| 0.3 + 1e-3 * x);
    let outcome = check(&plan("toluene-hexane"), &blurred).outcome;
    assert!(
        outcome.termination.starts_with("undetermined"),
        "{}",
        outcome.termination
    );
}

// --- Noise, drift, flatness, zero, blank ------------------------------------------------------------------------

/// Residuals of the pattern are 0, ±1 and ±2 times its size: √2 times it rms, 4 times it from peak to peak.
#[test]
fn noise_and_drift_against_the_laboratory_s_own_limits() {
    let quiet =
        |size: f64, per_hour: f64| course(600, move |i| size * ripple(i) + per_hour / 3600.0 * i as f64);
    let outcome = check(&own("stability"), &quiet(2e-4, 0.0)).outcome;
    assert_eq!(outcome.termination, "pass", "{}", reasons(&outcome));
    assert!((value(&outcome, "noise-rms") - 2e-4 * 2f64.sqrt()).abs() < 1e-6);
    // The pattern has a slope of its own, which the line takes off: less than a hundredth of this.
    assert!((value(&outcome, "noise-peak-to-peak") - 8e-4).abs() < 8e-6);
    assert!(value(&outcome, "drift").abs() < 1e-4);
    assert_eq!(outcome.model, "stability");

    let outcome = check(&own("stability"), &quiet(2e-4, 0.01)).outcome;
    assert_eq!(outcome.termination, "fail");
    assert!((value(&outcome, "drift") - 0.01).abs() < 1e-4);
    assert_eq!(
        check(&own("stability"), &quiet(2e-3, 0.0)).outcome.termination,
        "fail"
    );

    let open = check(&plan("stability"), &quiet(2e-4, 0.0)).outcome;
    assert!(open.termination.starts_with("undetermined"));
    assert!(reasons(&open).contains("no limit in the file"));
    // A minute of readings does not tell a drift of an hour.
    let short = course(60, |i| 8e-4 * ripple(i));
    let outcome = check(&own("stability"), &short).outcome;
    assert!(
        reasons(&outcome).contains("drift: undetermined"),
        "{}",
        reasons(&outcome)
    );
    let still = check(&own("stability"), &course(600, |_| 0.001));
    assert!(still.outcome.termination.starts_with("constant-signal: ") && !still.is_result());
    let over_wavelength = check(&own("stability"), &spectrum(400.0, 500.0, 1.0, |_| 0.0));
    assert!(over_wavelength.outcome.termination.starts_with("wrong-axis: "));
}

#[test]
fn flatness_is_the_largest_distance_from_zero_either_way() {
    let base = |worst: f64| spectrum(400.0, 500.0, 1.0, move |x| if x == 450.0 { worst } else { 1e-4 });
    let outcome = check(&own("flatness"), &base(-0.0015)).outcome;
    assert_eq!(outcome.termination, "pass");
    assert_eq!(value(&outcome, "flatness"), -0.0015);
    assert!(reasons(&outcome).contains("found at 450 nm"));
    assert_eq!(
        check(&own("flatness"), &base(-0.0025)).outcome.termination,
        "fail"
    );
    let open = check(&plan("flatness"), &base(-0.0015)).outcome;
    assert!(open.termination.starts_with("undetermined"), "{open:?}");
}

#[test]
fn zero_over_time_and_at_wavelengths() {
    // The mean of whole periods of the pattern is what it is laid upon.
    let resting = |mean: f64, size: f64| course(100, move |i| mean + size * ripple(i));
    let outcome = check(&own("zero"), &resting(-0.001, 2e-4)).outcome;
    assert_eq!(outcome.termination, "pass", "{}", reasons(&outcome));
    assert!((value(&outcome, "zero-absorbance") + 0.001).abs() < 1e-12);
    assert_eq!(
        check(&own("zero"), &resting(0.004, 2e-4)).outcome.termination,
        "fail"
    );
    // s/√n = √2·1e-2/10 = 1.4e-3: the limit of 3e-3 lies within two of them.
    let noisy = check(&own("zero"), &resting(0.002, 1e-2)).outcome;
    assert!(
        noisy.termination.starts_with("undetermined"),
        "{}",
        reasons(&noisy)
    );

    let base = spectrum(400.0, 500.0, 1.0, |x| if x < 450.0 { 0.001 } else { -0.005 });
    let at = |nm: &[f64]| CheckPlan {
        at: nm.to_vec(),
        ..own("zero")
    };
    assert_eq!(check(&at(&[420.0]), &base).outcome.termination, "pass");
    let outcome = check(&at(&[420.0, 480.0]), &base).outcome;
    assert_eq!(
        (outcome.statistics["failed"], outcome.statistics["passed"]),
        (1.0, 1.0)
    );
    assert!(
        check(&at(&[]), &base)
            .outcome
            .termination
            .starts_with("no-wavelength: ")
    );
    assert!(
        check(&at(&[600.0]), &base)
            .outcome
            .termination
            .starts_with("outside-range: ")
    );
    let open = CheckPlan {
        limits: None,
        ..at(&[420.0])
    };
    assert!(
        check(&open, &base)
            .outcome
            .termination
            .starts_with("undetermined")
    );
}

/// At most 0.4 against air, better below 0.2 (Ph. Eur. 2.2.25).
#[test]
fn a_blank_at_its_wavelengths_or_everywhere() {
    let solvent = |at_210: f64| spectrum(200.0, 400.0, 1.0, move |x| if x < 211.0 { at_210 } else { 0.05 });
    let at = |nm: f64| CheckPlan {
        at: vec![nm],
        ..plan("blank")
    };
    let outcome = check(&at(210.0), &solvent(0.3)).outcome;
    assert_eq!(outcome.termination, "pass");
    assert_eq!(value(&outcome, "blank-absorbance"), 0.3);
    assert!(
        reasons(&outcome).contains("below 0.2 is better") && reasons(&outcome).contains("Ph. Eur. 2.2.25")
    );
    cautioned(&outcome, "Ultraviolet lamps");
    assert_eq!(check(&at(210.0), &solvent(0.6)).outcome.termination, "fail");
    assert_eq!(check(&at(300.0), &solvent(0.6)).outcome.termination, "pass");

    // Without a wavelength the highest value decides if it passes, and nothing if it does not.
    assert_eq!(check(&plan("blank"), &solvent(0.3)).outcome.termination, "pass");
    let open = check(&plan("blank"), &solvent(0.6)).outcome;
    assert!(
        open.termination.starts_with("undetermined"),
        "{}",
        open.termination
    );
    assert!(reasons(&open).contains("found at 200 nm"));
    let below = check(&at(300.0), &spectrum(200.0, 400.0, 1.0, |_| -0.1)).outcome;
    assert!(reasons(&below).contains("was it read against air?"));
}

// --- Which check ------------------------------------------------------------------------------------------------

#[test]
fn a_check_that_is_not_sure_is_asked() {
    let run = spectrum(190.0, 210.0, 1.0, |_| 0.5);
    let unnamed = check(&CheckPlan::default(), &run);
    assert!(unnamed.outcome.termination.starts_with("check-unknown: "));
    let several = check(&plan("holmium"), &run);
    assert!(several.outcome.termination.starts_with("check-not-sure: "));
    assert!(!unnamed.is_result() && !several.is_result());
}

/// What has no part in a check is not taken in silence.
#[test]
fn what_is_not_used_is_refused() {
    let run = spectrum(190.0, 210.0, 1.0, |_| 2.5);
    let with = |change: fn(&mut CheckPlan)| {
        let mut plan = plan("ph-eur-kcl");
        change(&mut plan);
        check(&plan, &run).outcome.termination
    };
    assert_eq!(with(|_| {}), "pass");
    for (option, change) in [
        ("--at", (|p| p.at = vec![200.0]) as fn(&mut CheckPlan)),
        ("--mg-per-l", |p| p.mg_per_l = Some(60.0)),
        ("--g-per-kg", |p| p.g_per_kg = Some(0.06)),
        ("--path-cm", |p| p.path_cm = Some(1.0)),
    ] {
        let why = with(change);
        assert!(
            why.starts_with("option-unused: ") && why.contains(option),
            "{why}"
        );
    }
}

#[test]
fn limits_that_cannot_be_are_refused_with_their_reason() {
    let run = spectrum(190.0, 210.0, 1.0, |_| 0.5);
    for (from, to, word) in [
        (
            "valid_until = \"2027-03-31\"",
            "valid_until = \"31.3.2027\"",
            "is no day",
        ),
        ("id = \"grey-glass-2\"", "id = \"blank\"", "two checks are called"),
        ("absorbance = 0.5023", "absorbance = -0.5", "cannot be a limit"),
        (
            "standard = \"neutral glass, set 2\"",
            "standard = \"x\"\nsolution = \"tea\"",
            "does not list",
        ),
    ] {
        assert!(OWN.contains(from));
        let plan = CheckPlan {
            limits: Some(OWN.replace(from, to)),
            ..plan("flatness")
        };
        let why = check(&plan, &run).outcome.termination;
        assert!(
            why.starts_with("limits-not-readable: ") && why.contains(word),
            "{why}"
        );
    }
}
