//! Instrument checks against public limits (data/instrument-checks.json, sources there) and, for the
//! trend, against SciPy (data/independent-spectra.json).

#![allow(clippy::unwrap_used)]

use curvary_analysis::checks::{
    BandReading, CheckLimits, CheckVerdict, Conditions, HistoryPoint, TrendVerdict, absorbance_certified,
    absorbance_dichromate, blank_absorbance, certified_from_table, flatness, read_bands, resolution,
    resolution_of_readings, stability, stray_light, trend, wavelength,
};
use curvary_analysis::quantities::Measured;
use curvary_analysis::spectra::{Axis, Curve, Ordinate, Spectrum, Window};
use proptest::prelude::*;
use serde_json::Value;

fn published() -> Value {
    serde_json::from_str(include_str!("data/instrument-checks.json")).unwrap()
}

fn numbers(value: &Value) -> Vec<f64> {
    value
        .as_array()
        .unwrap()
        .iter()
        .map(|v| v.as_f64().unwrap())
        .collect()
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

fn limits() -> CheckLimits {
    CheckLimits::built_in().unwrap()
}

fn entry<'a>(list: &'a Value, id: &str) -> &'a Value {
    list.as_array().unwrap().iter().find(|e| e["id"] == id).unwrap()
}

fn reason(verdict: &CheckVerdict) -> &str {
    match verdict {
        CheckVerdict::Undetermined { reason, .. } => reason,
        CheckVerdict::Pass => "pass",
        CheckVerdict::Fail => "fail",
    }
}

fn bands(at: &[f64], step: f64, shift: f64) -> Spectrum {
    let n = (480.0 / step) as usize;
    let x: Vec<f64> = (0..=n).map(|i| 220.0 + i as f64 * step).collect();
    let y = x
        .iter()
        .enumerate()
        .map(|(i, x)| {
            let ripple = 2e-5 * (12.9898 * (i as f64).powf(1.3)).sin();
            at.iter()
                .map(|b| 0.6 * (-((x - b - shift) / 2.5).powi(2)).exp())
                .sum::<f64>()
                + 0.05
                + ripple
        })
        .collect();
    Spectrum {
        curve: Curve::new(x, y).unwrap(),
        axis: Axis::Nanometre,
        ordinate: Ordinate::Absorbance,
    }
}

// --- The limits file ------------------------------------------------------------------------------------

#[test]
fn the_limits_are_the_published_ones_and_say_which_are_from_memory() {
    let (limits, published) = (limits(), published());
    let holmium = entry(&published["wavelength"], "ph-eur-2.2.25-wavelength");
    assert_eq!(
        limits.wavelength[0].bands.nm,
        numbers(&holmium["holmium_perchlorate_nm"])
    );
    assert_eq!(
        limits.wavelength[1].bands.nm,
        numbers(&holmium["mercury_lines_nm"])
    );
    assert_eq!(
        limits.wavelength[2].bands.nm,
        [number(&holmium["deuterium_hydrogen_lines_nm"]["D_beta"])]
    );
    assert!(!limits.wavelength[0].bands.from_memory);
    assert_eq!(
        limits.wavelength[0].tolerance[0].nm,
        number(&holmium["tolerance_nm"]["200-400"])
    );
    assert_eq!(
        limits.wavelength[0].tolerance[1].nm,
        number(&holmium["tolerance_nm"]["400-600"])
    );

    let srm = entry(&published["wavelength"], "nist-srm-2034");
    assert_eq!(
        limits.wavelength[3].bands.nm,
        numbers(&srm["bands_nm_at_sbw_1nm"])
    );
    assert!(limits.wavelength[3].bands.from_memory);
    let usp = entry(&published["wavelength"], "usp-857-wavelength");
    assert_eq!(
        limits.wavelength[3].tolerance[1].nm,
        number(&usp["tolerance_nm"]["400-780"])
    );
    assert!(limits.wavelength[3].tolerance[1].from_memory);

    let dichromate = &entry(&published["absorbance"], "ph-eur-dichromate-sulfuric")["specific_absorbance"];
    assert!(limits.absorbance[0].from_memory);
    for band in &limits.absorbance[0].bands {
        let expected = &dichromate[format!("{}", band.nm)];
        assert_eq!(
            [band.value, band.low, band.high],
            ["value", "min", "max"].map(|k| number(&expected[k]))
        );
    }
    let table = &limits.reference_tables[0];
    let expected = entry(&published["absorbance"], "nist-srm-935a");
    for (row, found) in expected["table"].as_array().unwrap().iter().zip(&table.rows) {
        assert_eq!(number(&row["g_per_kg"]), found.g_per_kg);
        for (nm, value) in table.nm.iter().zip(&found.values) {
            assert_eq!(number(&row[format!("{nm}")]), *value);
        }
    }
    for (i, nm) in table.nm.iter().enumerate() {
        assert_eq!(
            number(&expected["uncertainty"][format!("{nm}")]),
            table.uncertainty[i]
        );
        assert_eq!(
            number(&expected["spectral_bandwidth_nm_max"][format!("{nm}")]),
            table.bandwidth_max_nm[i]
        );
    }
    let kcl = entry(&published["stray_light"], "ph-eur-kcl");
    assert_eq!(
        limits.stray_light[0].absorbance_min,
        number(&kcl["absorbance_min"])
    );
    assert!(!limits.stray_light[0].from_memory && limits.stray_light[1].from_memory);
    let toluene = entry(&published["resolution"], "toluene-hexane");
    assert_eq!(limits.resolution[0].ratio_min, number(&toluene["ratio_min"]));
    let general = entry(&published["general"], "ph-eur-general");
    assert_eq!(
        limits.blank.unwrap().absorbance_max,
        number(&general["solvent_blank_absorbance_max"])
    );
}

#[test]
fn a_faulty_limits_file_is_refused_with_its_place() {
    let error = CheckLimits::parse("cautions = []\nwavelenght = 3\n").unwrap_err();
    assert_eq!((error.line, error.column), (Some(2), Some(1)));
    assert!(error.words.contains("wavelenght"), "{}", error.words);
    let negative = CheckLimits::built_in_text().replace("ratio_min = 1.5", "ratio_min = -1.5");
    assert!(
        CheckLimits::parse(&negative)
            .unwrap_err()
            .words
            .contains("toluene-hexane")
    );
    let stranger =
        CheckLimits::built_in_text().replace("solution = \"toluene-hexane\"", "solution = \"tea\"");
    assert!(CheckLimits::parse(&stranger).unwrap_err().words.contains("tea"));
}

#[test]
fn every_report_shows_its_cautions() {
    let limits = limits();
    for solution in &limits.solutions {
        assert!(!solution.source.is_empty());
    }
    let report = stray_light(&limits, &limits.stray_light[3], &[], Conditions::default());
    assert!(report.cautions[0].starts_with("Local rules come first"));
    assert!(report.cautions.iter().any(|c| c.contains("Ultraviolet lamps")));
    assert!(
        report
            .cautions
            .iter()
            .any(|c| c.contains("nitrite") && c.contains("toxic"))
    );
    let holmium = wavelength(
        &limits,
        &limits.wavelength[0],
        &bands(&[241.15], 0.5, 0.0),
        Conditions::default(),
    );
    assert!(
        holmium
            .unwrap()
            .cautions
            .iter()
            .any(|c| c.contains("Perchloric acid"))
    );
    let none: Vec<BandReading> = Vec::new();
    let dichromate = absorbance_dichromate(
        &limits,
        &limits.absorbance[0],
        &none,
        Measured::bare(60.0),
        1.0,
        Conditions::default(),
    );
    assert!(
        dichromate
            .unwrap()
            .cautions
            .iter()
            .any(|c| c.contains("carcinogenic") && c.contains("oxidising"))
    );
    let toluene = resolution_of_readings(
        &limits,
        &limits.resolution[0],
        Measured::bare(0.4),
        Measured::bare(0.2),
        Conditions::default(),
    );
    assert!(toluene.cautions.iter().any(|c| c.contains("flammable")));
}

// --- Wavelength ----------------------------------------------------------------------------------------------

#[test]
fn bands_are_found_between_the_points() {
    let limits = limits();
    let standard = &limits.wavelength[0];
    for shift in [0.0, 0.31, -0.62] {
        let report = wavelength(
            &limits,
            standard,
            &bands(&standard.bands.nm, 1.0, shift),
            Conditions::default(),
        )
        .unwrap();
        assert_eq!(report.verdict(), CheckVerdict::Pass);
        assert_eq!(report.conditions.interval_nm, Some(1.0));
        for (outcome, nm) in report.outcomes.iter().zip(&standard.bands.nm) {
            // The parabola through three points 1 nm apart on a bell of this width is good to 0.02 nm.
            assert!(
                (outcome.measured.unwrap() - nm - shift).abs() < 0.02,
                "{outcome:?}"
            );
            assert!(outcome.remarks.iter().any(|r| r.contains("bandwidth")));
        }
    }
    let off = wavelength(
        &limits,
        standard,
        &bands(&standard.bands.nm, 1.0, 1.4),
        Conditions::default(),
    )
    .unwrap();
    let found: Vec<&str> = off.outcomes.iter().map(|o| reason(&o.verdict)).collect();
    assert_eq!(found, ["fail", "fail", "fail", "pass"]);
    assert_eq!(off.verdict(), CheckVerdict::Fail);
}

#[test]
fn minima_of_transmittance_are_the_same_bands() {
    let limits = limits();
    let standard = &limits.wavelength[0];
    let (spectrum, _) = bands(&standard.bands.nm, 0.5, 0.2)
        .to_ordinate(Ordinate::PercentTransmittance)
        .unwrap();
    let report = wavelength(&limits, standard, &spectrum, Conditions::default()).unwrap();
    assert_eq!(report.verdict(), CheckVerdict::Pass);
    assert!((report.outcomes[1].measured.unwrap() - 287.35).abs() < 0.01);
}

#[test]
fn what_cannot_be_decided_says_why() {
    let limits = limits();
    let (ph_eur, srm) = (&limits.wavelength[0], &limits.wavelength[3]);
    let good = bands(&srm.bands.nm, 0.5, 0.0);
    let at = |bandwidth_nm| Conditions {
        bandwidth_nm,
        ..Conditions::default()
    };
    let reasons = |standard, spectrum: &Spectrum, conditions| -> Vec<String> {
        let report = wavelength(&limits, standard, spectrum, conditions).unwrap();
        report
            .outcomes
            .iter()
            .map(|o| reason(&o.verdict).to_owned())
            .collect()
    };
    assert!(
        reasons(srm, &good, at(None))
            .iter()
            .all(|r| r == "bandwidth-unknown")
    );
    assert!(
        reasons(srm, &good, at(Some(2.0)))
            .iter()
            .all(|r| r == "bandwidth-differs")
    );
    assert!(reasons(srm, &good, at(Some(1.0))).iter().all(|r| r == "pass"));
    assert!(
        reasons(ph_eur, &bands(&ph_eur.bands.nm, 2.0, 0.0), at(None))[..3]
            .iter()
            .all(|r| r == "interval-too-coarse")
    );
    assert!(
        reasons(ph_eur, &bands(&[600.0], 0.5, 0.0), at(None))
            .iter()
            .all(|r| r == "no-band-found")
    );
    let ceiling = Conditions {
        ceiling: Some(0.5),
        ..Conditions::default()
    };
    assert!(
        reasons(ph_eur, &bands(&ph_eur.bands.nm, 0.5, 0.0), ceiling)
            .iter()
            .all(|r| r == "saturated")
    );
    assert_eq!(
        reasons(ph_eur, &bands(&[283.5, 290.8], 0.25, 0.0), at(None))[1],
        "two-bands"
    );
    let visible = Curve::new(
        (0..200).map(|i| 500.0 + f64::from(i)).collect(),
        (0..200).map(|i| f64::from(i % 7)).collect(),
    );
    let visible = Spectrum {
        curve: visible.unwrap(),
        ..good.clone()
    };
    assert_eq!(reasons(ph_eur, &visible, at(None))[0], "not-in-range");
    let energy = good.to_axis(Axis::ElectronVolt).unwrap().0;
    assert_eq!(
        wavelength(&limits, srm, &energy, at(None)).unwrap_err().code(),
        "wrong-axis"
    );
}

// --- Absorbance ------------------------------------------------------------------------------------------------

fn reading(nm: f64, value: f64) -> BandReading {
    BandReading {
        nm,
        absorbance: Measured::bare(value),
        interpolated: false,
    }
}

#[test]
fn dichromate_as_in_the_worked_examples() {
    // data/instrument-checks.json, arithmetic_examples 1 and 2: 60.06 mg in 1000 mL.
    let limits = limits();
    let examples = &published()["arithmetic_examples"];
    for (absorbance, i) in [(0.7479, 0), (0.7300, 1)] {
        let report = absorbance_dichromate(
            &limits,
            &limits.absorbance[0],
            &[reading(235.0, absorbance)],
            Measured::bare(60.06),
            1.0,
            Conditions::default(),
        )
        .unwrap();
        let outcome = &report.outcomes[0];
        let expected = number(&examples[i]["specific_absorbance"]);
        assert!((outcome.measured.unwrap() - expected).abs() < 1e-6, "{outcome:?}");
        assert_eq!(
            outcome.verdict == CheckVerdict::Pass,
            examples[i]["passes"].as_bool().unwrap()
        );
        assert!(outcome.from_memory);
        assert!(outcome.remarks.iter().any(|r| r.contains("temperature")));
        assert_eq!(reason(&report.outcomes[4].verdict), "not-in-range");
        // An item that was not measured leaves the whole undetermined, unless another failed.
        assert_ne!(report.verdict(), CheckVerdict::Pass);
    }
}

#[test]
fn reports_come_back_from_json() {
    let limits = limits();
    let readings = [reading(235.0, 0.7479)];
    let report = absorbance_dichromate(
        &limits,
        &limits.absorbance[0],
        &readings,
        Measured::bare(60.06),
        1.0,
        Conditions::default(),
    )
    .unwrap();
    let json = serde_json::to_value(&report).unwrap();
    assert_eq!(json["outcomes"][0]["verdict"], "pass");
    assert_eq!(json["outcomes"][1]["reason"], "not-in-range");
    assert_eq!(
        serde_json::from_value::<curvary_analysis::checks::CheckReport>(json).unwrap(),
        report
    );
}

#[test]
fn an_uncertainty_that_reaches_a_limit_leaves_it_open() {
    let limits = limits();
    let verdict = |absorbance: f64, error: f64| {
        let readings = [BandReading {
            nm: 235.0,
            absorbance: Measured::with_error(absorbance, error),
            interpolated: false,
        }];
        let report = absorbance_dichromate(
            &limits,
            &limits.absorbance[0],
            &readings,
            Measured::with_error(60.0, 0.03),
            1.0,
            Conditions::default(),
        );
        reason(&report.unwrap().outcomes[0].verdict).to_owned()
    };
    // 235 nm: 122.9 to 126.2, that is A from 0.7374 to 0.7572 at 60 mg/L.
    assert_eq!(verdict(0.747, 0.001), "pass");
    assert_eq!(verdict(0.757, 0.001), "uncertainty-reaches-limit");
    assert_eq!(verdict(0.758, 0.001), "uncertainty-reaches-limit");
    assert_eq!(verdict(0.765, 0.001), "fail");
    assert_eq!(verdict(f64::NAN, 0.001), "not-finite");
}

#[test]
fn concentrations_outside_the_limits_are_not_judged() {
    let limits = limits();
    let all: Vec<BandReading> = limits.absorbance[0]
        .bands
        .iter()
        .map(|b| reading(b.nm, 0.7))
        .collect();
    let report = |mg_per_l: f64| {
        absorbance_dichromate(
            &limits,
            &limits.absorbance[0],
            &all,
            Measured::bare(mg_per_l),
            1.0,
            Conditions::default(),
        )
    };
    let reasons: Vec<String> = report(600.0)
        .unwrap()
        .outcomes
        .iter()
        .map(|o| reason(&o.verdict).to_owned())
        .collect();
    assert!(
        reasons[..4].iter().all(|r| r == "concentration-outside"),
        "{reasons:?}"
    );
    assert_eq!(reasons[4], "fail");
    assert_eq!(report(0.0).unwrap_err().code(), "out-of-range");
}

#[test]
fn certified_values_follow_the_concentration() {
    let limits = limits();
    let table = &limits.reference_tables[0];
    let certified = certified_from_table(table, 0.06, 1.0).unwrap();
    assert!((certified[0].absorbance.value - 12.340 * 0.06).abs() < 1e-12);
    let between = certified_from_table(table, 0.05, 1.0).unwrap();
    assert!((between[1].absorbance.value - (14.308 + 14.369) / 2.0 * 0.05).abs() < 1e-12);
    assert_eq!(
        certified_from_table(table, 0.2, 1.0).unwrap_err().code(),
        "out-of-range"
    );
    assert_eq!(
        certified_from_table(table, 0.01, 1.0).unwrap_err().code(),
        "out-of-range"
    );
    assert_eq!(
        certified_from_table(table, f64::NAN, 1.0).unwrap_err().code(),
        "out-of-range"
    );

    let readings: Vec<BandReading> = certified
        .iter()
        .map(|b| reading(b.nm, b.absorbance.value + 0.009))
        .collect();
    let check = |bandwidth_nm| {
        let conditions = Conditions {
            bandwidth_nm,
            ..Conditions::default()
        };
        absorbance_certified(&limits, &table.into(), &certified, &readings, conditions).unwrap()
    };
    assert_eq!(check(Some(0.8)).verdict(), CheckVerdict::Pass);
    assert!(
        check(None).outcomes[0]
            .remarks
            .iter()
            .any(|r| r.contains("bandwidth"))
    );
    let wide = check(Some(1.0));
    assert_eq!(wide.outcomes[0].verdict, CheckVerdict::Pass);
    assert_eq!(reason(&wide.outcomes[1].verdict), "bandwidth-differs");
}

#[test]
fn readings_between_points_say_so() {
    let spectrum = bands(&[257.0], 2.0, 0.0);
    let found = read_bands(&spectrum, &[256.0, 257.0, 1000.0]).unwrap();
    assert_eq!(found.len(), 2);
    assert!(!found[0].interpolated && found[1].interpolated);
    let (t, _) = spectrum.to_ordinate(Ordinate::Transmittance).unwrap();
    assert_eq!(read_bands(&t, &[256.0]).unwrap_err().code(), "wrong-ordinate");
}

// --- Stray light, resolution, noise, blank -----------------------------------------------------------------------

#[test]
fn stray_light_must_stay_below() {
    let limits = limits();
    let verdict = |value| {
        let report = stray_light(
            &limits,
            &limits.stray_light[0],
            &[reading(198.0, value)],
            Conditions::default(),
        );
        (
            reason(&report.outcomes[0].verdict).to_owned(),
            report.outcomes[0].remarks.join(" "),
        )
    };
    assert_eq!(verdict(2.3).0, "pass");
    assert!(verdict(2.0).1.contains("1.0000 %"));
    assert_eq!(verdict(2.0).0, "pass");
    assert_eq!(verdict(1.9).0, "fail");
    assert_eq!(verdict(f64::INFINITY).0, "not-finite");
}

#[test]
fn resolution_as_in_the_worked_example() {
    // data/instrument-checks.json, arithmetic example 3.
    let limits = limits();
    let standard = &limits.resolution[0];
    let example = &published()["arithmetic_examples"][2];
    let report = resolution_of_readings(
        &limits,
        standard,
        Measured::bare(0.412),
        Measured::bare(0.241),
        Conditions::default(),
    );
    assert!((report.outcomes[0].measured.unwrap() - number(&example["ratio"])).abs() < 1e-8);
    assert_eq!(report.verdict(), CheckVerdict::Pass);
    let none = resolution_of_readings(
        &limits,
        standard,
        Measured::bare(0.4),
        Measured::bare(0.0),
        Conditions::default(),
    );
    assert_eq!(reason(&none.outcomes[0].verdict), "not-positive");

    let x: Vec<f64> = (0..201).map(|i| 255.0 + 0.1 * f64::from(i)).collect();
    let y = x
        .iter()
        .map(|x| 0.30 - 0.1 * (std::f64::consts::PI * (x - 266.0) / 3.0).cos())
        .collect();
    let spectrum = Spectrum {
        curve: Curve::new(x, y).unwrap(),
        axis: Axis::Nanometre,
        ordinate: Ordinate::Absorbance,
    };
    let report = resolution(&limits, standard, &spectrum, Conditions::default()).unwrap();
    assert!(
        (report.outcomes[0].measured.unwrap() - 2.0).abs() < 1e-3,
        "{report:?}"
    );
    let flat = bands(&[500.0], 0.5, 0.0);
    let report = resolution(&limits, standard, &flat, Conditions::default()).unwrap();
    assert_eq!(reason(&report.outcomes[0].verdict), "no-band-found");
}

#[test]
fn noise_and_drift_need_the_laboratory_s_own_limits() {
    let data: Value = serde_json::from_str(include_str!("data/independent-spectra.json")).unwrap();
    let trace = Curve::new(numbers(&data["noise"]["t"]), numbers(&data["noise"]["y"])).unwrap();
    let open = stability(&limits(), &trace, Conditions::default()).unwrap();
    assert!(
        open.outcomes
            .iter()
            .all(|o| reason(&o.verdict) == "no-limit" && o.measured.is_some())
    );
    let text = format!(
        "{}\nnoise_rms = {{ max = 0.001, source = \"specification of an invented instrument\", from_memory = false }}\n\
         drift_per_hour = {{ max = 0.0005, source = \"specification of an invented instrument\", from_memory = false }}\n\
         flatness = {{ max = 0.02, source = \"specification of an invented instrument\", from_memory = false }}\n",
        CheckLimits::built_in_text()
    );
    let own = CheckLimits::parse(&text).unwrap();
    let report = stability(&own, &trace, Conditions::default()).unwrap();
    assert_eq!(report.outcomes[0].verdict, CheckVerdict::Pass);
    let drift = &report.outcomes[2];
    assert!((drift.measured.unwrap() / (number(&data["noise"]["drift"]) * 3600.0) - 1.0).abs() < 1e-8);
    assert_eq!(drift.verdict, CheckVerdict::Fail);
    assert_eq!(drift.low, Some(-0.0005));
    let base = bands(&[500.0], 0.5, 0.0);
    let window = Some(Window::new(230.0, 400.0).unwrap());
    let flat = flatness(&own, &base, window, Conditions::default()).unwrap();
    assert_eq!(flat.outcomes[0].verdict, CheckVerdict::Fail);
    assert!((flat.outcomes[0].measured.unwrap() - 0.05).abs() < 1e-4);
    let same = Curve::new((0..20).map(f64::from).collect(), vec![0.0; 20]).unwrap();
    assert_eq!(
        stability(&own, &same, Conditions::default()).unwrap_err().code(),
        "constant-signal"
    );
}

#[test]
fn a_blank_has_a_limit() {
    let limits = limits();
    let report = blank_absorbance(
        &limits,
        &[reading(240.0, 0.1), reading(220.0, 0.3), reading(200.0, 0.5)],
        Conditions::default(),
    );
    let found: Vec<&str> = report.outcomes.iter().map(|o| reason(&o.verdict)).collect();
    assert_eq!(found, ["pass", "pass", "fail"]);
    assert!(report.outcomes[1].remarks.iter().any(|r| r.contains("0.2")));
}

// --- History ---------------------------------------------------------------------------------------------------------

fn history(days: &[f64], values: &[f64]) -> Vec<HistoryPoint> {
    days.iter()
        .zip(values)
        .map(|(day, value)| HistoryPoint {
            day: *day,
            value: *value,
        })
        .collect()
}

#[test]
fn a_trend_agrees_with_scipy() {
    let data: Value = serde_json::from_str(include_str!("data/independent-spectra.json")).unwrap();
    let (days, values) = (numbers(&data["noise"]["t"]), numbers(&data["noise"]["y"]));
    let found = trend(&history(&days, &values), [None, Some(0.101)], 0.95).unwrap();
    let slope = number(&data["noise"]["drift"]) * 365.2425;
    assert!((found.per_year.value / slope - 1.0).abs() < 1e-9);
    let error = number(&data["noise"]["drift_error"]) * 365.2425;
    assert!((found.per_year.standard_error.unwrap() / error - 1.0).abs() < 1e-9);
    assert!((found.p.unwrap() / number(&data["noise"]["p"]) - 1.0).abs() < 1e-6);
    assert_eq!(found.verdict, TrendVerdict::Rising);
    assert_eq!(found.reaches.len(), 1);
    assert!(found.reaches[0].day > found.days[1]);
    let [early, late] = found.reaches[0].interval.unwrap();
    assert!(early < found.reaches[0].day && found.reaches[0].day < late);
}

#[test]
fn no_drift_is_not_invented() {
    let days = [10.0, 100.0, 190.0, 280.0, 370.0, 460.0];
    let steady = trend(
        &history(&days, &[0.1, -0.1, 0.1, -0.1, 0.1, -0.1]),
        [None, Some(1.0)],
        0.95,
    )
    .unwrap();
    assert_eq!(steady.verdict, TrendVerdict::NoDriftSeen);
    assert!(steady.reaches.is_empty());
    let wave: Vec<f64> = (0..40).map(|i| (f64::from(i) / 5.0).sin()).collect();
    let many: Vec<f64> = (0..40).map(|i| 30.0 * f64::from(i)).collect();
    let wander = trend(&history(&many, &wave), [None, None], 0.95).unwrap();
    assert!(
        wander.remarks.iter().any(|r| r.contains("wander")),
        "{:?}",
        wander.remarks
    );
    let constant = trend(&history(&days, &[0.2; 6]), [None, None], 0.95).unwrap();
    assert_eq!(
        (
            constant.verdict,
            constant.interval,
            constant.per_year.standard_error
        ),
        (TrendVerdict::Constant, None, None)
    );
    let code = |h: &[HistoryPoint]| trend(h, [None, None], 0.95).unwrap_err().code();
    assert_eq!(code(&history(&days[..3], &[0.1, 0.2, 0.3])), "too-few-points");
    assert_eq!(code(&history(&[5.0; 4], &[0.1, 0.2, 0.3, 0.4])), "constant-axis");
    assert_eq!(
        code(&history(&days, &[0.1, 0.2, f64::NAN, 0.3, 0.4, 0.5])),
        "not-finite"
    );
}

proptest! {
    #[test]
    fn nothing_panics_on_any_numbers(
        values in prop::collection::vec(prop::num::f64::ANY, 0..60), step in prop::num::f64::ANY,
    ) {
        let limits = limits();
        let x: Vec<f64> = (0..values.len()).map(|i| 230.0 + i as f64 * step).collect();
        let _ = trend(&history(&x, &values), [Some(step), None], 0.9);
        for value in &values {
            let _ = stray_light(&limits, &limits.stray_light[0], &[reading(198.0, *value)], Conditions::default());
            let _ = absorbance_dichromate(
                &limits, &limits.absorbance[0], &[reading(235.0, *value)], Measured::bare(step), 1.0, Conditions::default(),
            );
        }
        if let Ok(curve) = Curve::new(x, values) {
            let spectrum = Spectrum { curve, axis: Axis::Nanometre, ordinate: Ordinate::Absorbance };
            let conditions = Conditions { bandwidth_nm: Some(1.0), ..Conditions::default() };
            for standard in &limits.wavelength {
                let _ = wavelength(&limits, standard, &spectrum, conditions);
            }
            let _ = resolution(&limits, &limits.resolution[0], &spectrum, conditions);
            let _ = stability(&limits, &spectrum.curve, conditions);
            let _ = flatness(&limits, &spectrum, None, conditions);
        }
    }
}
