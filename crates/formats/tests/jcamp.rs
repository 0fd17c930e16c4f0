//! JCAMP-DX: what is written is read again, and the traps of real files.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use curvary_formats::readers::JcampDx;
use curvary_formats::writers::jcamp::{Form, JcampDxOptions, Version, write};
use curvary_formats::{Assumptions, Reader, Readers, Reading, Recognition, Source};
use curvary_record::{
    Claim, Code, Column, Coordinate, Decimals, Digest, Fields, Origin, Place, Quantity, Question, Run, RunId,
    Severity, SourceRef, Technique, Trace, Unit, Value, Verdict,
};
use proptest::prelude::*;

fn read(text: &str) -> Reading {
    let source = Source::new("a.jdx", text.as_bytes().to_vec());
    let whole = JcampDx::default().read(&source);
    in_turn(&source, &whole);
    whole
}

/// Reads run by run, which must give the same as the reading of the whole; whether it could be read so.
fn in_turn(source: &Source, whole: &Reading) -> bool {
    let mut runs = Vec::new();
    let remarks = JcampDx::default().read_each(source, &mut |run| {
        runs.push(run);
        true
    });
    let Some(remarks) = remarks else {
        return false;
    };
    assert_eq!(
        (&runs, &remarks),
        (&whole.runs, &whole.remarks),
        "{}",
        source.text()
    );
    true
}

fn assuming(text: &str, assumptions: &[&str]) -> Reading {
    let mut assume = Assumptions::none();
    for one in assumptions {
        assume.add(one).unwrap();
    }
    JcampDx::default().read(&Source::new("a.jdx", text.as_bytes().to_vec()).assuming(assume))
}

fn recognised(text: &str) -> Recognition {
    let source = Source::new("a.jdx", text.as_bytes().to_vec());
    JcampDx::default().recognise(&source.glimpse())
}

fn codes(reading: &Reading) -> Vec<String> {
    let of_runs = reading.runs.iter().flat_map(|run| &run.remarks);
    reading
        .remarks
        .iter()
        .chain(of_runs)
        .map(|r| r.code.to_string())
        .collect()
}

fn file(labels: &str, table: &str) -> String {
    format!(
        "##TITLE=t\n##JCAMP-DX=5.01\n##DATA TYPE=UV/VIS SPECTRUM\n##ORIGIN=lab\n##OWNER=us\n{labels}\n{table}\n##END=\n"
    )
}

const PAIRS: &str = "##XYPOINTS=(XY..XY)\n400.0, 0.1200\n400.5, 0.1300";

// --- recognition ---------------------------------------------------------------------------------------------

#[test]
fn the_first_record_tells() {
    for text in [
        "##TITLE= a\n##JCAMP-DX= 5.01\n",
        "\u{feff}\n\n  ##title=a\r\n##Data_Type= UV/VIS SPECTRUM\r\n",
        "$$ made by hand\n##TITLE=a\n##XYDATA=(X++(Y..Y))\n",
        "##ORIGIN=a\n##JCAMP-DX=4.24\n",
    ] {
        assert!(matches!(recognised(text), Recognition::Yes(_)), "{text:?}");
    }
    let text = "##XUNITS=NM\n##XYDATA=(X++(Y..Y))\n";
    assert!(matches!(recognised(text), Recognition::Perhaps(_)));
    for text in [
        "",
        "400 0.1\n##TITLE=a\n##JCAMP-DX=5.01",
        "## a heading\n",
        "# TITLE=a",
        "## Title = my scan\n## Lamp = on\n400 0.1\n",
    ] {
        assert!(matches!(recognised(text), Recognition::No(_)), "{text:?}");
    }
}

#[test]
fn the_built_in_readers_agree_whose_file_it_is() {
    let text = write(&[scans(true)], &JcampDxOptions::default()).unwrap().text;
    let source = Source::new("scans.dx", text.into_bytes());
    let readers = Readers::built_in();
    let (card, reading) = readers.read(&source, None);
    assert_eq!(
        card.map(|card| card.id.clone()).as_deref(),
        Some("built-in/jcamp-dx")
    );
    assert_eq!(reading.verdict(), Verdict::Read);
}

// --- reading -------------------------------------------------------------------------------------------------

#[test]
fn a_spectrum_with_its_labels() {
    let reading = read(&file(
        "##LONGDATE= 2019/05/04 08:15:30\n##SAMPLE DESCRIPTION= betanin\n##PATHLENGTH= 1.0\n##TEMPERATURE= 37.0\n\
         ##CONCENTRATIONS= (betanin, 0.05, mmol/L)\n##$LAMP HOURS= 1203\n##SAMPLING PROCEDURE= cuvette\n\
         ##SPECTROMETER/DATA SYSTEM= bench two\n##= kept in the dark\n##XUNITS=NANOMETERS\n##YUNITS=ABSORBANCE\n##NPOINTS=2",
        PAIRS,
    ));
    assert_eq!(reading.verdict(), Verdict::Read);
    let run = &reading.runs[0];
    assert_eq!(run.technique, Technique::SPECTRUM);
    let trace = &run.traces[0];
    assert_eq!(
        (&trace.x.quantity, trace.x.unit.code()),
        (&Quantity::WAVELENGTH, "nm")
    );
    assert_eq!(
        (&trace.y.quantity, trace.y.unit.code()),
        (&Quantity::ABSORBANCE, "{AU}")
    );
    assert_eq!(trace.y.texts().collect::<Vec<_>>(), ["0.1200", "0.1300"]);
    let text = |key: &str| run.fields.text(key).map(str::to_owned);
    assert_eq!(text("title").as_deref(), Some("t"));
    assert_eq!(text("sample").as_deref(), Some("betanin"));
    assert_eq!(text("date").as_deref(), Some("2019-05-04"));
    assert_eq!(text("time").as_deref(), Some("08:15:30"));
    assert_eq!(text("instrument").as_deref(), Some("bench two"));
    assert_eq!(text("comment").as_deref(), Some("kept in the dark"));
    assert_eq!(text("SAMPLING PROCEDURE").as_deref(), Some("cuvette"));
    let number = |key: &str| {
        let claim = run.fields.get(key).unwrap();
        (
            claim.value.clone(),
            claim.unit.as_ref().map(|u| u.code().to_owned()),
        )
    };
    assert_eq!(number("path-length"), (Value::Number(1.0), Some("cm".into())));
    assert_eq!(number("temperature"), (Value::Number(37.0), Some("Cel".into())));
    assert_eq!(
        number("concentration"),
        (Value::Number(0.05), Some("mmol/L".into()))
    );
    assert_eq!(text("LAMP HOURS").as_deref(), Some("1203"));
    let claim = run.fields.get("temperature").unwrap();
    assert!(
        matches!(&claim.origin, Origin::Source(place) if place.line == 9),
        "{claim:?}"
    );
    assert_eq!(trace.lines.get(0), Some(19));
}

#[test]
fn percent_and_fraction() {
    let labels = "##XUNITS=NANOMETERS\n##YUNITS=TRANSMITTANCE\n##NPOINTS=2";
    let fraction = read(&file(labels, PAIRS));
    assert_eq!(fraction.runs[0].traces[0].y.unit, Unit::ONE);
    assert!(!fraction.runs[0].in_question());
    let high = "##XYPOINTS=(XY..XY)\n400.0, 12.0\n400.5, 18.5";
    let asked = read(&file(labels, high));
    assert_eq!(asked.verdict(), Verdict::InQuestion);
    let question = &asked.runs[0].questions[0];
    assert_eq!(question.code.as_str(), "percent-or-fraction");
    assert_eq!(question.readings.len(), 2);
    let settled = assuming(&file(labels, high), &["y=transmittance:%"]);
    assert_eq!(settled.verdict(), Verdict::Read);
    assert_eq!(settled.runs[0].traces[0].y.unit, Unit::PERCENT);
    let told = read(&file(
        "##XUNITS=NANOMETERS\n##YUNITS=% TRANSMITTANCE\n##NPOINTS=2",
        high,
    ));
    assert_eq!(
        (told.verdict(), &told.runs[0].traces[0].y.unit),
        (Verdict::Read, &Unit::PERCENT)
    );
}

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
            .contains("`stated` or `labels`")
    );
    assert!(assume.add("y-factors=stated").unwrap_err().contains("y-factor"));
    assert!(assume.add("exponent=power").is_ok());
}

#[test]
fn other_techniques_are_kept_under_their_own_quantities() {
    for (kind, labels, technique, x, y) in [
        (
            "NMR SPECTRUM",
            "##XUNITS=HZ\n##YUNITS=ARBITRARY UNITS",
            "nmr-spectrum",
            ("frequency", "Hz"),
            ("signal", "1"),
        ),
        (
            "MASS SPECTRUM",
            "##XUNITS=M/Z\n##YUNITS=RELATIVE ABUNDANCE",
            "mass-spectrum",
            ("mass-to-charge-ratio", "{m/z}"),
            ("relative-abundance", "{relative-abundance}"),
        ),
        (
            "RAMAN SPECTRUM",
            "##XUNITS=1/CM\n##YUNITS=A.U.",
            "raman-spectrum",
            ("raman-shift", "/cm"),
            ("signal", "1"),
        ),
        (
            "FLUORESCENCE EMISSION SPECTRUM",
            "##XUNITS=NANOMETERS\n##YUNITS=AU",
            "fluorescence-emission-spectrum",
            ("wavelength", "nm"),
            ("signal", "1"),
        ),
        (
            "NMR FID",
            "##XUNITS=SECONDS\n##YUNITS=MICROVOLTS",
            "nmr-fid",
            ("time", "s"),
            ("microvolts", "{microvolts}"),
        ),
    ] {
        let reading = read(&file(labels, PAIRS).replace("UV/VIS SPECTRUM", kind));
        assert_eq!(reading.verdict(), Verdict::Read, "{kind}: {:?}", reading.runs);
        let (run, trace) = (&reading.runs[0], &reading.runs[0].traces[0]);
        assert_eq!(run.technique.as_str(), technique);
        assert_eq!((trace.x.quantity.as_str(), trace.x.unit.code()), x, "{kind}");
        assert_eq!((trace.y.quantity.as_str(), trace.y.unit.code()), y, "{kind}");
        // They are handed on as what they are.
        let written = write(&reading.runs, &JcampDxOptions::default()).unwrap();
        assert!(
            written.text.contains(&format!("##DATA TYPE= {kind}")),
            "{}",
            written.text
        );
        let again = read(&written.text);
        assert_eq!(again.runs[0].technique, run.technique);
        assert_eq!(again.runs[0].traces[0].y, trace.y);
        assert_eq!(again.runs[0].traces[0].x, trace.x);
    }
    // An axis of another technique tells by itself.
    let reading = read(&file("##XUNITS=PPM\n##YUNITS=ARBITRARY UNITS", PAIRS));
    assert!(!reading.runs[0].traces[0].y.quantity.is_of_light());
    assert_ne!(reading.runs[0].technique, Technique::SPECTRUM);
    let infrared =
        file("##XUNITS=1/CM\n##YUNITS=ABSORBANCE", PAIRS).replace("UV/VIS SPECTRUM", "INFRARED SPECTRUM");
    let reading = read(&infrared);
    assert_eq!(reading.runs[0].traces[0].x.quantity, Quantity::WAVENUMBER);
    assert_eq!(
        reading.runs[0].fields.text("data-type"),
        Some("INFRARED SPECTRUM")
    );
}

#[test]
fn a_file_without_data_says_so() {
    let reading = read("##TITLE=t\n##JCAMP-DX=5.01\n##END=\n");
    assert_eq!(reading.verdict(), Verdict::Refused);
    assert_eq!(codes(&reading), ["no-data"]);
}

#[test]
fn blocks_are_runs_and_damage_stays_in_its_block() {
    let block = |table: &str| file("##XUNITS=NANOMETERS\n##YUNITS=ABSORBANCE\n##NPOINTS=2", table);
    let text = format!(
        "##TITLE=all\n##JCAMP-DX=5.01\n##DATA TYPE=LINK\n##BLOCKS=2\n{}{}##END=\n",
        block(PAIRS),
        block("##XYPOINTS=(XY..XY)\n400.0, 0.1\n400.5, 0.2\n401.0, §, 3\n")
    );
    let reading = read(&text);
    assert_eq!(reading.runs.len(), 2);
    assert!(
        reading.runs[0].remarks.is_empty(),
        "{:?}",
        reading.runs[0].remarks
    );
    assert!(
        reading.runs[1]
            .remarks
            .iter()
            .any(|r| r.severity == Severity::Error && r.line().is_some())
    );
    assert_eq!(&*reading.runs[1].traces[0].y.values, [0.1, 0.2]);
    assert_ne!(reading.runs[0].id, reading.runs[1].id);
    assert_eq!(reading.runs[1].source.ordinal, 1);
}

#[test]
fn pages_are_repeated_scans() {
    let text = "##TITLE=t\n##JCAMP-DX=5.01\n##DATA TYPE=UV/VIS SPECTRUM\n##DATA CLASS=NTUPLES\n##ORIGIN=\n##OWNER=\n\
        ##NTUPLES=UV/VIS SPECTRUM\n##VAR_NAME=WAVELENGTH, ABSORBANCE, TIME\n##SYMBOL=X, Y, T\n\
        ##VAR_TYPE=INDEPENDENT, DEPENDENT, PAGE\n##VAR_FORM=AFFN, AFFN, AFFN\n##VAR_DIM=3, 3, 2\n\
        ##UNITS=NANOMETERS, ABSORBANCE, SECONDS\n##FIRST=400, 0.1, 0.0\n##LAST=402, 0.3, 30.0\n\
        ##MIN=400, 0.1, 0.0\n##MAX=402, 0.3, 30.0\n##FACTOR=1, 1, 1\n\
        ##PAGE=T=0.0\n##DATA TABLE=(X++(Y..Y)), XYDATA\n400 0.1 0.2 0.3\n\
        ##PAGE=T=30.0\n##DATA TABLE=(X++(Y..Y)), XYDATA\n400 0.3 0.2 0.1\n##END NTUPLES=UV/VIS SPECTRUM\n##END=\n";
    let reading = read(text);
    let run = &reading.runs[0];
    assert_eq!(run.technique, Technique::SPECTRAL_TIME_COURSE);
    let times: Vec<(f64, &str)> = run
        .traces
        .iter()
        .map(|t| t.held(&Quantity::TIME).map(|c| (c.value, c.unit.code())).unwrap())
        .collect();
    assert_eq!(times, [(0.0, "s"), (30.0, "s")]);
    assert!(run.traces[0].x.values.is_shared_with(&run.traces[1].x.values));
    assert_eq!(run.traces[1].held[0].raw.as_deref(), Some("30.0"));
}

#[test]
fn peaks_are_a_peak_list() {
    let labels = "##XUNITS=NANOMETERS\n##YUNITS=ABSORBANCE\n##NPOINTS=2";
    let reading = read(&file(labels, "##PEAK TABLE=(XY..XY)\n280.0, 0.5\n535.0, 1.2"));
    assert_eq!(reading.runs[0].technique, Technique::PEAK_LIST);
    assert_eq!(&*reading.runs[0].traces[0].x.values, [280.0, 535.0]);
    let named = read(&file(
        labels,
        "##PEAK ASSIGNMENTS=(XYA)\n(280.0, 0.5, <tyrosine>)\n(535.0, 1.2, <betanin>)",
    ));
    assert_eq!(named.runs[0].traces[0].row_names, ["tyrosine", "betanin"]);
}

#[test]
fn a_wavelength_label_is_held_by_a_time_course() {
    let reading = read(&file(
        "##XUNITS=SECONDS\n##YUNITS=ABSORBANCE\n##$WAVELENGTH= 405 nm\n##NPOINTS=2",
        PAIRS,
    ));
    let run = &reading.runs[0];
    assert_eq!(run.technique, Technique::TIME_COURSE);
    assert_eq!(
        run.traces[0].held(&Quantity::WAVELENGTH).map(|c| c.value),
        Some(405.0)
    );
}

#[test]
fn dates_by_the_standard_or_asked() {
    let dated = |date: &str| {
        file(
            &format!("##DATE={date}\n##XUNITS=NANOMETERS\n##YUNITS=ABSORBANCE\n##NPOINTS=2"),
            PAIRS,
        )
    };
    // 4.24 says `YY/MM/DD`.
    for (date, iso) in [
        ("88/06/02", "1988-06-02"),
        ("21/03/14", "2021-03-14"),
        ("31/12/2019", "2019-12-31"),
    ] {
        let reading = read(&dated(date));
        assert_eq!(reading.runs[0].fields.text("date"), Some(iso));
        assert_eq!(reading.verdict(), Verdict::Read);
    }
    let asked = read(&dated("04/05/2019"));
    assert_eq!(asked.verdict(), Verdict::InQuestion);
    assert_eq!(asked.runs[0].questions[0].labels[0].place.line, 6);
    let settled = assuming(&dated("04/05/2019"), &["date=day-first"]);
    assert_eq!(settled.runs[0].fields.text("date"), Some("2019-05-04"));
}

#[test]
fn private_labels_in_the_words_of_the_trade() {
    let labels =
        "##$Operator= A. Muster\n##$Probe= betanin\n##$Gizmo= 12\n##XUNITS=NANOMETERS\n##YUNITS=ABSORBANCE";
    let reading = read(&file(labels, PAIRS));
    let fields = &reading.runs[0].fields;
    assert_eq!(fields.text("operator"), Some("A. Muster"));
    assert_eq!(fields.text("sample"), Some("betanin"));
    assert!(fields.get("Gizmo").is_some());
}

// --- writing -------------------------------------------------------------------------------------------------

fn run(technique: Technique, traces: Vec<Trace>) -> Run {
    let digest = Digest::of(b"source");
    Run {
        id: RunId::new(&digest, 0),
        source: SourceRef {
            path: "2019/a.txt".into(),
            digest,
            reader: "built-in/text-table".into(),
            reader_version: "1".into(),
            encoding: None,
            ordinal: 0,
            lines: None,
        },
        technique,
        because: Vec::new(),
        fields: Fields::default(),
        traces,
        questions: Vec::new(),
        remarks: Vec::new(),
    }
}

fn column(quantity: Quantity, unit: Unit, numbers: &[(i64, u8)]) -> Column {
    let mut decimals = Decimals::default();
    let values: Vec<f64> = numbers
        .iter()
        .map(|&(integer, digits)| {
            decimals.push(digits);
            format!("{integer}e-{digits}").parse().unwrap()
        })
        .collect();
    Column::new(quantity, unit, values).with_decimals(decimals)
}

fn spectrum(y: &[(i64, u8)]) -> Trace {
    let x: Vec<(i64, u8)> = (0..y.len()).map(|i| (4000 + 5 * i as i64, 1)).collect();
    Trace::new(
        column(Quantity::WAVELENGTH, Unit::NANOMETRE, &x),
        column(Quantity::ABSORBANCE, Unit::ABSORBANCE, y),
    )
    .unwrap()
}

fn said(line: usize) -> Origin {
    Origin::Source(Place::line(line))
}

/// What must come back: everything but where it stood and what the text looked like.
fn comparable(run: &Run) -> (Technique, Vec<String>, Vec<String>, Vec<String>) {
    let fields = |fields: &Fields| -> Vec<String> {
        fields
            .iter()
            .map(|(key, claims)| {
                let first = &claims[0];
                format!("{key}: {:?} {:?} {:?}", first.value, first.unit, first.plus_minus)
            })
            .collect()
    };
    let traces = run
        .traces
        .iter()
        .map(|t| {
            let held: Vec<String> = t
                .held
                .iter()
                .map(|h| format!("{} {} {:?}", h.quantity, h.unit, h.value.to_bits()))
                .collect();
            let bits = |c: &Column| c.values.iter().map(|v| v.to_bits()).collect::<Vec<_>>();
            format!(
                "{:?} {:?} {:?} {:?} {:?} {:?} {:?} {held:?} {:?} {:?} {:?} {} {:?}",
                t.label,
                t.x.quantity,
                t.x.unit,
                bits(&t.x),
                t.y.quantity,
                t.y.unit,
                bits(&t.y),
                fields(&t.fields),
                t.row_names,
                t.saturated,
                t.absent,
                (
                    &t.x.name,
                    &t.y.name,
                    t.x.texts().collect::<Vec<_>>(),
                    t.y.texts().collect::<Vec<_>>()
                ),
            )
        })
        .collect();
    let questions = run
        .questions
        .iter()
        .map(|q| format!("{}: {}", q.code, q.message))
        .collect();
    (run.technique.clone(), fields(&run.fields), traces, questions)
}

fn round(runs: &[Run], options: &JcampDxOptions) -> (Vec<Run>, String) {
    let written = write(runs, options).unwrap();
    let source = Source::new("b.jdx", written.text.clone().into_bytes());
    assert!(matches!(
        JcampDx::default().recognise(&source.glimpse()),
        Recognition::Yes(_)
    ));
    (JcampDx::default().read(&source).runs, written.text)
}

fn same(runs: &[Run], options: &JcampDxOptions) -> String {
    let (again, text) = round(runs, options);
    assert_eq!(again.len(), runs.len(), "{text}");
    for (one, other) in runs.iter().zip(&again) {
        assert_eq!(comparable(one), comparable(other), "{text}");
    }
    text
}

#[test]
fn a_spectrum_comes_back_with_all_its_fields() {
    let mut one = run(
        Technique::SPECTRUM,
        vec![spectrum(&[(1200, 4), (1201, 4), (-3, 4), (15000, 4)])],
    );
    let number =
        |value: f64, code: &str, raw: &str| Claim::number(value, Unit::ucum(code).ok(), raw, said(1));
    for (key, claim) in [
        ("sample", Claim::text("betanin", said(1))),
        ("title", Claim::text("practical 3", said(1))),
        ("date", Claim::text("2019-05-04", said(1))),
        ("time", Claim::text("08:15:30", said(1))),
        ("temperature", number(37.0, "Cel", "37.0 °C")),
        ("path-length", number(10.0, "mm", "10 mm")),
        ("concentration", number(0.05, "mmol/L", "0.050 mM")),
        ("enzyme-concentration", number(5.0, "nmol/L", "5 nM")),
        ("ph", number(7.4, "[pH]", "7.40")),
        (
            "comment",
            Claim::text("two\nlines with $$ and ## and  blanks", said(1)),
        ),
        ("operator", Claim::text("Ä. Muster", said(1))),
        ("Küvette", Claim::text("Quarz 7", said(1))),
        ("Lamp hours", Claim::number(1203.0, None, "1203", said(1))),
        ("a=b", Claim::text("c", said(1))),
        // Wrapped in front of two hashes, it would begin a record.
        ("µaµa..=aµµä ##µA#AaAaaä#", Claim::text("", said(1))),
        ("serial-number", Claim::text("007", said(1))),
        ("batch", Claim::text("12", said(1))),
        (
            "gain",
            Claim::number(2.5, Unit::ucum("mm").ok(), "2.50 mm", said(1)),
        ),
        ("stirring", Claim::text("gentle", said(1))),
    ] {
        one.fields.claim(key, claim);
    }
    let mut range = Claim::text("700.0-380.0 nm", said(1));
    range.value = Value::Range {
        from: 700.0,
        to: 380.0,
    };
    range.unit = Some(Unit::NANOMETRE);
    one.fields.claim("wavelength-range", range);
    let mut spread = Claim::number(1.5, Unit::ucum("nm").ok(), "1.5", said(1));
    spread.plus_minus = Some(0.25);
    one.fields.claim("bandwidth", spread);
    for version in [Version::V5_01, Version::V4_24] {
        let text = same(
            &[one.clone()],
            &JcampDxOptions {
                version,
                ..JcampDxOptions::default()
            },
        );
        assert!(text.contains("##SAMPLE DESCRIPTION= betanin"), "{text}");
        assert!(text.contains("##XYDATA= (X++(Y..Y))"), "{text}");
        assert!(text.contains("##TEMPERATURE= 37.0\r\n"), "{text}");
        assert!(
            text.contains("##CONCENTRATIONS= (betanin, 0.050, mmol/L)"),
            "{text}"
        );
    }
}

#[test]
fn a_time_course_comes_back_as_one() {
    for unit in [Unit::SECOND, Unit::MINUTE] {
        let mut x = column(Quantity::TIME, unit.clone(), &[(0, 1), (5, 1), (10, 1)]);
        x.name = Some("t".into());
        let y = column(Quantity::ABSORBANCE, Unit::ONE, &[(1, 3), (2, 3), (3, 3)]);
        let mut trace = Trace::new(x, y).unwrap();
        trace.label = Some("cell 1: \"A\"".into());
        trace.held.push(Coordinate {
            raw: Some("405.0 nm".into()),
            ..Coordinate::new(Quantity::WAVELENGTH, Unit::NANOMETRE, 405.0)
        });
        trace
            .held
            .push(Coordinate::new(Quantity::TEMPERATURE, Unit::CELSIUS, 36.8));
        trace.saturated = vec![1, 2];
        trace.absent = 3;
        let text = same(
            &[run(Technique::TIME_COURSE, vec![trace])],
            &JcampDxOptions::default(),
        );
        assert!(text.contains("##$WAVELENGTH= 405.0 nm"), "{text}");
        assert!(
            text.contains("##INSTRUMENTAL PARAMETERS= wavelength 405.0 nm"),
            "{text}"
        );
        let named = if unit == Unit::SECOND {
            "SECONDS"
        } else {
            "MINUTES"
        };
        assert!(text.contains(&format!("##XUNITS= {named}")), "{text}");
    }
}

fn scans(labels: bool) -> Run {
    let traces = (0..3).map(|scan: i64| {
        let mut trace = spectrum(&[(1200 + scan, 4), (1100 - scan, 4), (900, 4)]);
        trace.label = labels.then(|| format!("scan {scan}"));
        trace.held.push(Coordinate {
            raw: Some(format!("{scan}.50")),
            ..Coordinate::new(Quantity::TIME, Unit::MINUTE, scan as f64 + 0.5)
        });
        trace
            .held
            .push(Coordinate::new(Quantity::TEMPERATURE, Unit::CELSIUS, 37.0));
        trace
    });
    run(Technique::SPECTRAL_TIME_COURSE, traces.collect())
}

#[test]
fn repeated_scans_come_back_from_pages_and_from_blocks() {
    for labels in [false, true] {
        let one = scans(labels);
        // The order of what is held differs: the page variable comes last.
        let ordered = |mut run: Run| {
            for trace in &mut run.traces {
                trace.held.sort_by(|a, b| a.quantity.cmp(&b.quantity));
            }
            run
        };
        for (scans_as_blocks, version) in [
            (false, Version::V5_01),
            (true, Version::V5_01),
            (false, Version::V4_24),
        ] {
            let options = JcampDxOptions {
                scans_as_blocks,
                version,
                ..JcampDxOptions::default()
            };
            let (again, text) = round(std::slice::from_ref(&one), &options);
            assert_eq!(
                text.contains("##NTUPLES="),
                !scans_as_blocks && version == Version::V5_01
            );
            assert_eq!(again.len(), 1, "{text}");
            assert_eq!(
                comparable(&ordered(again[0].clone())),
                comparable(&ordered(one.clone())),
                "{text}"
            );
        }
    }
}

#[test]
fn several_runs_and_several_curves_are_linked_blocks() {
    let mut two = run(
        Technique::SPECTRUM,
        vec![spectrum(&[(1, 1), (2, 1)]), spectrum(&[(3, 2), (4, 2)])],
    );
    two.fields.claim("title", Claim::text("both", said(1)));
    two.traces[0].label = Some("A".into());
    two.traces[1]
        .fields
        .claim("sample", Claim::text("second, cell", said(2)));
    let mut other = run(Technique::SPECTRUM, vec![spectrum(&[(5, 1), (6, 1), (7, 1)])]);
    other.id = RunId::named("other");
    let text = same(&[two, other], &JcampDxOptions::default());
    assert!(
        text.contains("##DATA TYPE= LINK") && text.contains("##BLOCKS= 3"),
        "{text}"
    );
}

#[test]
fn the_same_run_twice_stays_two_runs() {
    let one = run(
        Technique::SPECTRUM,
        vec![spectrum(&[(1, 1), (2, 1)]), spectrum(&[(3, 1), (4, 1)])],
    );
    same(&[one.clone(), one], &JcampDxOptions::default());
}

/// A person who corrects XUNITS by hand is believed, not the private label beside it.
#[test]
fn an_edited_unit_goes_before_a_private_label() {
    let x = column(Quantity::named("temperature"), Unit::CELSIUS, &[(20, 0), (25, 0)]);
    let y = column(Quantity::ABSORBANCE, Unit::ONE, &[(1, 1), (2, 1)]);
    let text = write(
        &[run(Technique::UNKNOWN, vec![Trace::new(x, y).unwrap()])],
        &JcampDxOptions::default(),
    )
    .unwrap()
    .text;
    let edited = text.replace("##YUNITS= ABSORBANCE", "##YUNITS= % TRANSMITTANCE");
    assert_ne!(text, edited);
    assert_eq!(read(&text).runs[0].traces[0].y.unit, Unit::ONE);
    assert_eq!(
        read(&edited).runs[0].traces[0].y.quantity,
        Quantity::TRANSMITTANCE
    );
}

#[test]
fn marks_of_saturation_do_not_slip_when_points_are_lost() {
    let x: Vec<(i64, u8)> = vec![(4000, 1), (4010, 1), (4035, 1), (4100, 1)];
    let mut trace = spectrum(&[(1, 1), (2, 1), (3, 1), (40, 1)]);
    trace.x = column(Quantity::WAVELENGTH, Unit::NANOMETRE, &x);
    trace.saturated = vec![3];
    let text = write(
        &[run(Technique::SPECTRUM, vec![trace])],
        &JcampDxOptions::default(),
    )
    .unwrap()
    .text;
    let damaged = text.replace("401.0,0.2", "401.0,0,,2");
    assert_ne!(text, damaged);
    let reading = read(&damaged);
    assert_eq!(reading.runs[0].traces[0].len(), 3);
    assert!(reading.runs[0].traces[0].saturated.is_empty());
    assert!(codes(&reading).contains(&"saturation-lost".to_owned()));
}

#[test]
fn questions_travel_with_the_run() {
    let mut one = run(Technique::SPECTRUM, vec![spectrum(&[(1, 1), (2, 1)])]);
    one.questions.push(Question {
        code: Code::new("axis-unknown"),
        message: "nm or per cm".into(),
        readings: Vec::new(),
        labels: Vec::new(),
    });
    same(&[one], &JcampDxOptions::default());
}

#[test]
fn peak_lists_come_back() {
    let x = column(Quantity::WAVELENGTH, Unit::NANOMETRE, &[(2800, 1), (5351, 1)]);
    let y = column(Quantity::ABSORBANCE, Unit::ABSORBANCE, &[(5, 1), (12, 1)]);
    let mut trace = Trace::new(x, y).unwrap();
    same(
        &[run(Technique::PEAK_LIST, vec![trace.clone()])],
        &JcampDxOptions::default(),
    );
    trace.row_names = vec!["tyrosine".into(), "betanin, pure".into()];
    same(
        &[run(Technique::PEAK_LIST, vec![trace])],
        &JcampDxOptions::default(),
    );
}

#[test]
fn nothing_to_write_is_an_error_and_losses_are_told() {
    assert!(write(&[], &JcampDxOptions::default()).is_err());
    assert!(write(&[run(Technique::SPECTRUM, vec![])], &JcampDxOptions::default()).is_err());
    let mut trace = spectrum(&[(1, 1), (2, 1)]);
    trace.row_names = vec!["a".into(), "b".into()];
    let mut one = run(Technique::SPECTRUM, vec![trace]);
    one.fields.claim("sample", Claim::text("a", said(1)));
    one.fields.claim("sample", Claim::text("b", said(2)));
    let written = write(&[one], &JcampDxOptions::default()).unwrap();
    let codes: Vec<&str> = written.remarks.iter().map(|r| r.code.as_str()).collect();
    assert!(
        codes.contains(&"point-names-lost") && codes.contains(&"weaker-claims-left-out"),
        "{codes:?}"
    );
}

fn numbers(count: std::ops::Range<usize>) -> impl Strategy<Value = Vec<(i64, u8)>> {
    prop_oneof![
        prop::collection::vec((-2_000_000_i64..2_000_000).prop_map(|n| (n, 4)), count.clone()),
        prop::collection::vec((-2_000_000_i64..2_000_000, 0_u8..7), count),
    ]
}

fn trace_of(x: Vec<(i64, u8)>, y: &[(i64, u8)], label: Option<String>) -> Trace {
    let mut trace = spectrum(y);
    if x.len() >= y.len() {
        trace.x = column(Quantity::WAVELENGTH, Unit::NANOMETRE, &x[..y.len()]);
    }
    trace.label = label;
    trace
}

proptest! {
    /// `read(write(run))` is the run: numbers, decimals, axis, held coordinates, fields.
    #[test]
    fn what_is_written_is_read_again(
        curves in prop::collection::vec((numbers(1..30), numbers(0..40), prop::option::of("\\PC{0,30}")), 1..4),
        fields in prop::collection::vec(("[A-Za-zäµ=$#. ]{1,50}", "\\PC{0,120}|[ $#\n\r\t\"\\\\=,]{1,20}"), 0..5),
        held in prop::option::of((1_900_i64..9_000, 0_u8..3)),
        form in 0_usize..5,
        old in any::<bool>(),
        ascii in any::<bool>(),
    ) {
        let traces = curves.iter().map(|(y, x, label)| {
            let mut trace = trace_of(x.clone(), y, label.clone());
            if let Some((integer, digits)) = held {
                let value: f64 = format!("{integer}e-{digits}").parse().unwrap();
                trace.held.push(Coordinate::new(Quantity::TIME, Unit::SECOND, value));
            }
            trace
        });
        let mut one = run(Technique::SPECTRUM, traces.collect());
        for (key, text) in &fields {
            // A key of blanks is none that a reader makes.
            if !key.trim().is_empty() {
                one.fields.claim(key.trim(), Claim::text(text.clone(), said(1)));
            }
        }
        let options = JcampDxOptions {
            form: [Form::Affn, Form::Pac, Form::Sqz, Form::Dif, Form::DifDup][form],
            version: if old { Version::V4_24 } else { Version::V5_01 },
            ascii,
            ..JcampDxOptions::default()
        };
        let (again, text) = round(std::slice::from_ref(&one), &options);
        prop_assert_eq!(again.len(), 1, "{}", text);
        prop_assert_eq!(comparable(&again[0]), comparable(&one), "{}", text);
    }

    /// Repeated scans over one axis (NTUPLES, or blocks in the old version), peak lists and several runs in one file
    /// (LINK) come back in every form, and nothing about them is asked.
    #[test]
    fn scans_and_files_of_several_runs_come_back(
        runs in prop::collection::vec((
            (-5_000_i64..9_000, prop_oneof![1_i64..50, -50_i64..-1], 0_u8..4),
            prop::collection::vec(numbers(12..13), 1..5),
            1_usize..13,
            any::<bool>(),
            any::<bool>(),
        ), 1..4),
        form in 0_usize..5,
        old in any::<bool>(),
    ) {
        let runs: Vec<Run> = runs
            .iter()
            .map(|((first, step, digits), scans, count, labels, peaks)| {
                let x: Vec<(i64, u8)> = (0..*count as i64).map(|i| (first + i * step, *digits)).collect();
                let traces = scans.iter().enumerate().map(|(index, y)| {
                    let label = labels.then(|| format!("scan {index}"));
                    let mut trace = trace_of(x.clone(), &y[..*count], label);
                    if scans.len() > 1 {
                        let time = format!("{}e-1", 25 * index).parse().unwrap();
                        trace.held.push(Coordinate::new(Quantity::TIME, Unit::SECOND, time));
                    }
                    trace
                });
                let mut traces: Vec<Trace> = traces.collect();
                if *peaks {
                    traces.truncate(1);
                    traces[0].held.clear();
                    traces[0].row_names = (0..*count).map(|i| format!("band {i}")).collect();
                    return run(Technique::PEAK_LIST, traces);
                }
                let technique = if scans.len() > 1 { Technique::SPECTRAL_TIME_COURSE } else { Technique::SPECTRUM };
                run(technique, traces)
            })
            .collect();
        let options = JcampDxOptions {
            form: [Form::Affn, Form::Pac, Form::Sqz, Form::Dif, Form::DifDup][form],
            version: if old { Version::V4_24 } else { Version::V5_01 },
            ..JcampDxOptions::default()
        };
        let (again, text) = round(&runs, &options);
        prop_assert_eq!(again.len(), runs.len(), "{}", text);
        for (one, other) in runs.iter().zip(&again) {
            prop_assert_eq!(comparable(one), comparable(other), "{}", text);
        }
    }

    /// No text makes the reader panic or hang, and it never gives a number that is none.
    #[test]
    fn any_text_is_read(lines in prop::collection::vec("##[A-Z$ ]{0,12}=[ -~]{0,20}|[0-9 @A-Za-z%.,+-]{0,40}|##TITLE=|##XYDATA=\\(X\\+\\+\\(Y\\.\\.Y\\)\\)|##END=|##XUNITS=NM|##YUNITS=A", 0..30)) {
        for run in read(&lines.join("\n")).runs {
            for trace in run.traces {
                prop_assert!(trace.x.values.iter().chain(trace.y.values.iter()).all(|v| v.is_finite()));
            }
        }
    }
}

/// Files of machines whose lines end in CR alone.
#[test]
fn lines_may_end_in_cr_alone() {
    let text = file("##XUNITS=NANOMETERS\n##YUNITS=ABSORBANCE", PAIRS);
    let source = Source::new(
        "a.dx",
        text.replace("\r\n", "\n").replace('\n', "\r").into_bytes(),
    );
    let readers = Readers::built_in();
    let (card, reading) = readers.read(&source, None);
    assert_eq!(card.map(|card| card.id.as_str()), Some("built-in/jcamp-dx"));
    assert_eq!(reading.verdict(), Verdict::Read, "{:?}", reading.remarks);
    assert_eq!(reading.runs[0].traces[0].y, read(&text).runs[0].traces[0].y);
}

/// The blocks of a file tell together whether its transmittances are percent.
#[test]
fn percent_is_decided_over_all_blocks_of_a_file() {
    let block = |greatest: &str| {
        format!(
            "##TITLE=t\n##JCAMP-DX=4.24\n##DATA TYPE=UV/VIS SPECTRUM\n##ORIGIN=nowhere\n##OWNER=nobody\n\
             ##XUNITS=NANOMETERS\n##YUNITS=TRANSMITTANCE\n##XFACTOR=1\n##YFACTOR=1\n##NPOINTS=2\n\
             ##XYPOINTS=(XY..XY)\n400, 0.5\n410, {greatest}\n##END=\n"
        )
    };
    let link = |blocks: &[&str]| {
        let inner: String = blocks.iter().map(|greatest| block(greatest)).collect();
        let count = blocks.len();
        read(&format!(
            "##TITLE=all\n##JCAMP-DX=4.24\n##DATA TYPE=LINK\n##BLOCKS={count}\n{inner}##END=\n"
        ))
    };
    let units = |reading: &Reading| -> Vec<String> {
        let units = reading
            .runs
            .iter()
            .map(|run| run.traces[0].y.unit.code().to_owned());
        units.collect()
    };
    // Values to 113 are no fractions, and where one block says so, another with 12 is percent too.
    let percent = link(&["113", "12"]);
    assert_eq!(percent.verdict(), Verdict::Read, "{:?}", percent.runs);
    assert_eq!(units(&percent), ["%", "%"]);
    // Values below 1.5 beside them may be a dark sample in percent: asked.
    let dark = link(&["113", "0.9"]);
    assert_eq!(dark.runs[1].questions[0].code.as_str(), "percent-or-fraction");
    // By themselves they are fractions, as the standard says; 12 alone is asked.
    assert_eq!(units(&link(&["0.9", "1.02"])), ["1", "1"]);
    assert!(link(&["12"]).runs[0].in_question());
}

/// What came home from a table has no unit at its pH, and its comments are several.
#[test]
fn comments_and_bare_numbers_of_known_fields_survive() {
    let mut one = run(Technique::SPECTRUM, vec![spectrum(&[(1200, 4), (1201, 4)])]);
    for (line, comment) in ["the first", "the second, with $$", "the third\nover two lines"]
        .into_iter()
        .enumerate()
    {
        one.fields.claim("comment", Claim::text(comment, said(line + 1)));
    }
    one.fields.claim("ph", Claim::number(7.4, None, "7.40", said(5)));
    let written = write(&[one.clone()], &JcampDxOptions::default()).unwrap();
    assert!(
        written
            .remarks
            .iter()
            .all(|remark| remark.severity == Severity::Note),
        "{:?}",
        written.remarks
    );
    let (again, text) = round(&[one], &JcampDxOptions::default());
    let texts =
        |claims: &[Claim]| -> Vec<String> { claims.iter().map(|claim| claim.value.to_string()).collect() };
    assert_eq!(
        texts(again[0].fields.all("comment")),
        ["the first", "the second, with $$", "the third\nover two lines"],
        "{text}"
    );
    let ph = again[0].fields.get("ph").unwrap();
    assert_eq!(
        (&ph.value, ph.unit.as_ref().map(Unit::code)),
        (&Value::Number(7.4), Some("[pH]"))
    );
    assert!(again[0].fields.get("origin").is_none(), "{text}");
}

// --- collections of many blocks, run by run -------------------------------------------------------------------

/// Collections in which blocks are nested, merely joined, in percent, of one axis and of several tables.
fn collections() -> Vec<String> {
    let block = |n: u32, units: &str, more: &str| {
        format!(
            "##TITLE=sample {n}\n##JCAMP-DX=5.01\n##DATA TYPE=UV/VIS SPECTRUM\n##ORIGIN=lab\n##OWNER=us\n##XUNITS=NANOMETERS\n\
             ##YUNITS={units}\n##XFACTOR=1\n##YFACTOR=0.001\n##FIRSTX=400\n##LASTX=403\n##NPOINTS=4\n##FIRSTY=0.1\n{more}\
             ##XYDATA=(X++(Y..Y))\n400 100 {} 300 {}\n##END=\n",
            150 + n,
            200 + n * 7
        )
    };
    let link = |blocks: &str| {
        format!(
            "##TITLE=all\n##JCAMP-DX=5.01\n##DATA TYPE=LINK\n##BLOCKS=4\n##ORIGIN=lab\n##OWNER=us\n{blocks}##END=\n"
        )
    };
    let all = |units: &str, more: &str| (0..4).map(|n| block(n, units, more)).collect::<String>();
    vec![
        link(&all("ABSORBANCE", "")),
        link(&all("TRANSMITTANCE", "##$LAMP HOURS=12\n")),
        link(&all(
            "PERCENT TRANSMITTANCE",
            "##TEMPERATURE=25 C\n##DATE=2020/03/04\n",
        )),
        all("ABSORBANCE", "##XYDATA=(X++(Y..Y))\n400 1 2 3 4\n"),
        link(&format!(
            "{}{}",
            link(&all("ABSORBANCE", "")),
            all("ARBITRARY UNITS", "")
        )),
        link(&format!(
            "{}##XYPOINTS=(XY..XY)\n1,2\n2,3\n3,4\n",
            all("ABSORBANCE", "")
        )),
    ]
}

#[test]
fn run_by_run_the_same_comes_out() {
    let reader = JcampDx::default();
    let mut texts = collections();
    let written = write(&[scans(true), scans(false)], &JcampDxOptions::default()).unwrap();
    texts.push(written.text);
    let mut seed = 1_u64;
    let mut dice = |sides: usize| {
        // Constants of Knuth's MMIX generator.
        seed = seed
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        usize::try_from(seed >> 33).unwrap() % sides.max(1)
    };
    let (mut tried, mut could) = (0, 0);
    for text in &texts {
        for damage in 0..300 {
            let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
            for _ in 0..damage.min(1 + damage / 100) {
                let (at, other) = (dice(lines.len()), dice(lines.len()));
                match dice(5) {
                    0 => drop(lines.remove(at)),
                    1 => lines.swap(at, other),
                    2 => lines.insert(at, lines[other].clone()),
                    3 => {
                        let mut signs: Vec<char> = lines[at].chars().collect();
                        let sign = dice(signs.len());
                        if let Some(sign) = signs.get_mut(sign) {
                            *sign = [',', '#', '9', ' ', '='][dice(5)];
                        }
                        lines[at] = signs.into_iter().collect();
                    }
                    _ => lines.truncate(at.max(1)),
                }
                if lines.is_empty() {
                    lines.push(String::new());
                }
            }
            let source = Source::new("a.jdx", lines.join("\n").into_bytes());
            tried += 1;
            could += u32::from(in_turn(&source, &reader.read(&source)));
        }
    }
    assert!(could * 2 > tried, "{could} of {tried} were read run by run");
}
