//! Readings that give different numbers are asked about, and each answer is taken.

use super::*;

#[test]
fn unknown_axes_are_asked_and_settled() {
    let text = file("##XUNITS=WIDGETS\n##YUNITS=\n##NPOINTS=2", PAIRS);
    let reading = read(&text);
    let asked: Vec<&str> = reading.runs[0]
        .questions
        .iter()
        .map(|q| q.code.as_str())
        .collect();
    assert_eq!(asked, ["axis-unknown", "ordinate-unknown"]);
    assert_eq!(reading.runs[0].technique, Technique::UNKNOWN);
    let settled = assuming(&text, &["x=wavelength:nm", "y=absorbance"]);
    assert_eq!(settled.verdict(), Verdict::Read);
    assert_eq!(settled.runs[0].technique, Technique::SPECTRUM);
}

#[test]
fn commas_that_may_be_either_are_asked() {
    let text = file(
        "##XUNITS=NANOMETERS\n##YUNITS=ABSORBANCE",
        "##XYPOINTS=(XY..XY)\n400,5 0,123\n401,5 0,124",
    );
    let reading = read(&text);
    assert_eq!(reading.verdict(), Verdict::InQuestion, "{reading:?}");
    assert_eq!(
        reading.runs[0].questions[0].code.as_str(),
        "decimal-comma-or-separator"
    );
    let settled = assuming(&text, &["decimal=comma"]);
    assert_eq!(settled.verdict(), Verdict::Read);
    assert_eq!(&*settled.runs[0].traces[0].y.values, [0.123, 0.124]);
}

/// Labels, a table, the code of the question, and for each answer the first and last x and the first y.
type Open<'t> = (&'t str, &'t str, &'t str, [(&'t str, (f64, f64, f64)); 2]);

/// Readings of a table that give different numbers are asked, and each answer is taken. What the answers give follows
/// from the meaning of the labels.
#[test]
fn readings_with_different_numbers_are_asked() {
    let axes = "##XUNITS=NANOMETERS\n##YUNITS=ARBITRARY UNITS\n";
    let cases: [Open<'_>; 6] = [
        (
            "##XFACTOR=0.1\n##YFACTOR=1\n##FIRSTX=4000\n##LASTX=4003\n##NPOINTS=4",
            "##XYDATA=(X++(Y..Y))\n4000 1 2\n4002 3 4",
            "x-factor-or-labels",
            [
                ("x-factor=stated", (400.0, 400.3, 1.0)),
                ("x-factor=labels", (4000.0, 4003.0, 1.0)),
            ],
        ),
        (
            "##XFACTOR=1\n##YFACTOR=0.01\n##FIRSTX=400\n##LASTX=402\n##NPOINTS=3\n##FIRSTY=0.125",
            "##XYDATA=(X++(Y..Y))\n400 0.125 0.25 0.5",
            "y-factor-or-labels",
            [
                ("y-factor=stated", (400.0, 402.0, 0.001_25)),
                ("y-factor=labels", (400.0, 402.0, 0.125)),
            ],
        ),
        (
            "##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=400\n##LASTX=403",
            "##XYDATA=(X++(Y..Y))\n400 1.5E3 2.5E3",
            "exponent-or-squeezed-digit",
            [
                ("exponent=squeezed", (400.0, 403.0, 1.5)),
                ("exponent=power", (400.0, 403.0, 1500.0)),
            ],
        ),
        (
            "##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=400\n##LASTX=403\n##NPOINTS=3",
            "##XYDATA=(X++(Y..Y))\n400 1\n400.5 2\n403 3",
            "pairs-or-even-spacing",
            [
                ("form=spaced", (400.0, 403.0, 1.0)),
                ("form=pairs", (400.0, 403.0, 1.0)),
            ],
        ),
        (
            "##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=400\n##LASTX=470\n##NPOINTS=8",
            "##XYDATA=(X++(Y..Y))\n0 0 1\n2 2 3\n4 4 5\n6 6 7",
            "spacing-undecided",
            [
                ("spacing=labels", (400.0, 470.0, 0.0)),
                ("spacing=lines", (0.0, 7.0, 0.0)),
            ],
        ),
        (
            "##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=400\n##LASTX=406\n##NPOINTS=9",
            "##XYDATA=(X++(Y..Y))\n400A0%%%\n403A0%%%\n406A0",
            "check-values-or-points",
            [
                ("y-check=present", (400.0, 406.0, 10.0)),
                ("y-check=absent", (400.0, 406.0, 10.0)),
            ],
        ),
    ];
    for (labels, table, code, answers) in cases {
        let text = file(&format!("{axes}{labels}"), table);
        let asked = read(&text);
        assert_eq!(asked.verdict(), Verdict::InQuestion, "{code}");
        let [question] = &asked.runs[0].questions[..] else {
            panic!("{code}: {:?}", asked.runs[0].questions)
        };
        assert_eq!(question.code.as_str(), code);
        assert!(question.labels[0].place.line > 5);
        let offered: Vec<&str> = question.readings.iter().map(|r| r.assume.as_str()).collect();
        assert_eq!(offered, answers.map(|(answer, _)| answer), "{code}");
        assert_ne!(question.readings[0].says, question.readings[1].says, "{code}");
        let mut curves = Vec::new();
        for (answer, (first, last, y)) in answers {
            let settled = assuming(&text, &[answer]);
            assert_eq!(settled.verdict(), Verdict::Read, "{answer}: {settled:?}");
            let trace = &settled.runs[0].traces[0];
            let x = &trace.x.values;
            assert_eq!(
                (x[0], x[x.len() - 1], trace.y.values[0]),
                (first, last, y),
                "{answer}"
            );
            curves.push((x.to_vec(), trace.y.values.to_vec()));
        }
        assert_ne!(curves[0], curves[1], "{code}");
    }
}

/// What was settled for one block does not touch another that tells by itself.
#[test]
fn an_answer_is_for_blocks_in_doubt_only() {
    let block = |first: &str, last: &str| {
        file(
            &format!(
                "##XUNITS=NANOMETERS\n##YUNITS=ABSORBANCE\n##XFACTOR=0.1\n##YFACTOR=1\n##FIRSTX={first}\n\
                 ##LASTX={last}\n##NPOINTS=3"
            ),
            "##XYDATA=(X++(Y..Y))\n4000 0.1 0.2\n4002 0.3",
        )
    };
    let text = block("4000", "4002") + &block("400.0", "400.2");
    let asked = read(&text);
    let questions: Vec<usize> = asked.runs.iter().map(|run| run.questions.len()).collect();
    assert_eq!(questions, [1, 0]);
    let settled = assuming(&text, &["x-factor=labels"]);
    let firsts: Vec<f64> = settled.runs.iter().map(|run| run.traces[0].x.values[0]).collect();
    assert_eq!(firsts, [4000.0, 400.0]);
    assert_eq!(settled.verdict(), Verdict::Read);
}

/// Where the block tells, the reading is certain and only remarked upon.
#[test]
fn readings_that_the_block_decides_are_not_asked() {
    let axes = "##XUNITS=NANOMETERS\n##YUNITS=ARBITRARY UNITS\n##YFACTOR=1\n";
    for (labels, table, code) in [
        (
            "##XFACTOR=0.1\n##FIRSTX=4000\n##LASTX=4003\n##DELTAX=0.1\n##NPOINTS=4",
            "##XYDATA=(X++(Y..Y))\n4000 1 2\n4002 3 4",
            "jcamp-dx-first-x-scaled",
        ),
        (
            "##XFACTOR=1\n##FIRSTX=1\n##LASTX=2\n##NPOINTS=2",
            "##XYDATA=(X++(Y..Y))\n1 1.5E3",
            "jcamp-dx-exponent-or-squeezed",
        ),
        (
            "##XFACTOR=1\n##FIRSTX=400\n##LASTX=410\n##NPOINTS=6",
            "##XYDATA=(X++(Y..Y))\n400 1\n400.5 2\n401 3\n403 4\n405 5\n410 6",
            "jcamp-dx-form-read-as-pairs",
        ),
        (
            "##XFACTOR=1\n##NPOINTS=8",
            "##XYDATA=(X++(Y..Y))\n0 0 1\n2 2 3\n4 4 5\n6 6 7",
            "jcamp-dx-grid-from-lines",
        ),
        (
            "##XFACTOR=1\n##FIRSTX=400\n##LASTX=408\n##NPOINTS=9",
            "##XYDATA=(X++(Y..Y))\n400A0JJJ\n404A4JJJ\n408A8",
            "jcamp-dx-y-check-absent",
        ),
    ] {
        let reading = read(&file(&format!("{axes}{labels}"), table));
        assert_eq!(reading.verdict(), Verdict::Read, "{code}: {reading:?}");
        assert!(
            codes(&reading).iter().any(|found| found == code),
            "{code}: {:?}",
            codes(&reading)
        );
    }
}

#[test]
fn listed_points_that_go_back_are_told() {
    let labels = "##XUNITS=NANOMETERS\n##YUNITS=ABSORBANCE\n##NPOINTS=5";
    let table = "##XYPOINTS=(XY..XY)\n400, 0.1\n401, 0.2\n42, 0.3\n403, 0.4\n404, 0.5";
    let reading = read(&file(labels, table));
    let remark = reading.remarks.iter().find(|r| r.code.as_str() == "x-goes-back");
    assert_eq!(
        remark.and_then(curvary_record::Diagnostic::line),
        Some(12),
        "{reading:?}"
    );
    let reading = read(&file(labels, &table.replace("42,", "402,")));
    assert!(codes(&reading).is_empty());
}

/// Check values, FIRSTY and the X at the line starts watch over each other: no single character that is changed, added
/// or lost behind the first label of numbers gives other numbers without a word.
#[test]
fn no_damage_of_one_character_gives_other_numbers_in_silence() {
    let labels = "##XUNITS=NANOMETERS\n##YUNITS=ABSORBANCE\n##XFACTOR=1\n##YFACTOR=0.001\n##FIRSTX=400\n##LASTX=408\n\
                  ##FIRSTY=0.100\n##NPOINTS=9";
    // 100 110 125 120 130 150 140 98 105
    let table = "##XYDATA=(X++(Y..Y))\n400A00J0J5n\n403A20J0K0j0\n406A40m2P\n408A05";
    let whole = file(labels, table);
    let numbers = |text: &str| {
        let reading = read(text);
        let remarks = reading
            .remarks
            .iter()
            .chain(reading.runs.iter().flat_map(|run| &run.remarks));
        let told = remarks.clone().any(|remark| remark.severity != Severity::Note);
        let traces = reading.runs.iter().flat_map(|run| &run.traces);
        let numbers: Vec<_> = traces.map(|t| (t.x.values.clone(), t.y.values.clone())).collect();
        (numbers, told || reading.verdict() != Verdict::Read)
    };
    let (truth, told) = numbers(&whole);
    assert!(!told && truth[0].1[8] == 0.105, "{truth:?}");
    let from = whole.find("##XFACTOR").unwrap();
    let mut damaged: Vec<String> = Vec::new();
    for at in from..whole.len() {
        let (before, rest) = whole.split_at(at);
        damaged.push(format!("{before}{}", &rest[1..]));
        for character in "0123456789.,-+E @AJSa?#\n".chars() {
            damaged.push(format!("{before}{character}{rest}"));
            damaged.push(format!("{before}{character}{}", &rest[1..]));
        }
    }
    for text in damaged {
        let (found, told) = numbers(&text);
        assert!(told || found == truth, "{text}\n{found:?}");
    }
}

#[test]
fn units_stated_twice_are_asked() {
    let text = file(
        "##XUNITS=NANOMETERS\n##YUNITS=ABSORBANCE\n##XUNITS=1/CM\n##NPOINTS=2",
        PAIRS,
    );
    let asked = read(&text);
    let [question] = &asked.runs[0].questions[..] else {
        panic!("{asked:?}")
    };
    assert_eq!(question.code.as_str(), "units-stated-twice");
    let offered: Vec<&str> = question.readings.iter().map(|r| r.assume.as_str()).collect();
    assert_eq!(offered, ["x=wavelength:nm", "x=wavenumber:/cm"]);
    let settled = assuming(&text, &["x=wavenumber:/cm"]);
    assert_eq!(settled.verdict(), Verdict::Read);
    assert_eq!(settled.runs[0].traces[0].x.quantity, Quantity::WAVENUMBER);
    // The same unit in two spellings is no question.
    let text = file(
        "##XUNITS=NANOMETERS\n##YUNITS=ABSORBANCE\n##XUNITS=nm\n##NPOINTS=2",
        PAIRS,
    );
    assert_eq!(read(&text).verdict(), Verdict::Read);
}

/// The factor of a page's variable: by FIRST and LAST, or not at all.
#[test]
fn the_factor_of_what_pages_hold() {
    let text = |first: &str, last: &str| {
        format!(
            "##TITLE=t\n##JCAMP-DX=5.01\n##DATA TYPE=UV/VIS SPECTRUM\n##NTUPLES=UV/VIS SPECTRUM\n##SYMBOL=X, Y, T\n\
             ##VAR_TYPE=INDEPENDENT, DEPENDENT, PAGE\n##UNITS=NANOMETERS, ABSORBANCE, SECONDS\n\
             ##FIRST=400, 0.1, {first}\n##LAST=402, 0.3, {last}\n##VAR_DIM=3, 3, 2\n##FACTOR=1, 0.1, 60\n\
             ##PAGE=T=0\n##DATA TABLE=(X++(Y..Y)), XYDATA\n400ABC\n\
             ##PAGE=T=1\n##DATA TABLE=(X++(Y..Y)), XYDATA\n400ABC\n##END NTUPLES=UV/VIS SPECTRUM\n##END=\n"
        )
    };
    let times = |first: &str, last: &str| {
        let reading = read(&text(first, last));
        let traces = &reading.runs[0].traces;
        let times: Vec<Option<f64>> = traces
            .iter()
            .map(|t| t.held(&Quantity::TIME).map(|held| held.value))
            .collect();
        (times, codes(&reading).iter().any(|code| code == "page-factor"))
    };
    assert_eq!(times("0", "60"), (vec![Some(0.0), Some(60.0)], false));
    assert_eq!(times("0", "1"), (vec![Some(0.0), Some(1.0)], false));
    assert_eq!(times("", ""), (vec![None, None], true));
}

#[test]
fn wrong_answers_are_told() {
    let mut assume = Assumptions::none();
    assert!(
        assume
            .add("x-factor=0.1")
            .unwrap_err()
            .to_string()
            .contains("`stated` or `labels`")
    );
    assert!(
        assume
            .add("y-factors=stated")
            .unwrap_err()
            .to_string()
            .contains("y-factor")
    );
    assert!(assume.add("exponent=power").is_ok());
}
