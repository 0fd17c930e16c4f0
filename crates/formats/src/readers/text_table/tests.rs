//! Tests of the reader of tables in text.

use std::collections::BTreeSet;

use curvary_record::{Quantity, Run};

mod doubt;

use super::*;
use crate::Assumptions;

fn read_as(text: &str, settled: &[&str]) -> Vec<Run> {
    let mut assume = Assumptions::none();
    for answer in settled {
        assume.add(answer).expect("an assumption");
    }
    let source = Source::new("a.txt", text.as_bytes().to_vec()).assuming(assume);
    TextTable::default().read(&source).runs
}

/// Every answer that a question offers settles it, and each its own way.
#[test]
fn answers_settle_what_was_asked() {
    let text = "Absorbance\n0,0,0,8997\n10,0,0,8801\n20,0,0,8612\n30,0,0,8430\n";
    let asked = read_as(text, &[]);
    let question = asked[0]
        .questions
        .iter()
        .find(|q| q.code.as_str() == "decimal-comma-or-separator")
        .expect("asked");
    let answers: BTreeSet<&str> = question
        .readings
        .iter()
        .map(|reading| reading.assume.as_str())
        .collect();
    assert_eq!(
        answers.len(),
        question.readings.len(),
        "no two readings have one answer: {question:?}"
    );
    let runs = read_as(text, &["columns=2+2", "x=time:s", "y=absorbance"]);
    assert!(runs[0].questions.is_empty(), "{:?}", runs[0].questions);
    assert_eq!(runs[0].traces[0].x.values.as_ref(), [0.0, 10.0, 20.0, 30.0]);
    assert_eq!(
        runs[0].traces[0].y.values.as_ref(),
        [0.8997, 0.8801, 0.8612, 0.843]
    );
    assert_eq!(runs[0].traces[0].x.quantity, Quantity::TIME);
}

#[test]
fn ranges_stand_where_somebody_says() {
    let text = "Band (nm)\tAbsorbance\n400-410\t0.029\n410-420\t0.056\n420-430\t0.134\n430-440\t0.299\n";
    for (settled, first, questions) in [
        (&[][..], 400.0, 1),
        (&["ranges=start"], 400.0, 0),
        (&["ranges=middle"], 405.0, 0),
    ] {
        let runs = read_as(text, settled);
        assert_eq!(runs[0].questions.len(), questions, "{settled:?}");
        assert_eq!(runs[0].traces[0].x.values[0], first, "{settled:?}");
        assert_eq!(runs[0].traces[0].x.quantity, Quantity::WAVELENGTH);
    }
}

#[test]
fn lines_of_several_values_are_one_curve_where_somebody_says() {
    let text = "Absorbance of the dye. The wavelengths are in nm; each line goes on from its own.\n\n400 0.11 0.12 0.14 0.19\n420 0.24 0.31 0.38 0.33\n440 0.21 0.17 0.12 0.11\n";
    assert!(read_as(text, &[]).iter().all(Run::in_question));
    let runs = read_as(text, &["shape=packed"]);
    let trace = &runs[0].traces[0];
    assert_eq!((runs.len(), runs[0].traces.len(), trace.len()), (1, 1, 12));
    assert_eq!(trace.x.values[..5], [400.0, 405.0, 410.0, 415.0, 420.0]);
    assert_eq!(trace.y.values[11], 0.11);
}

/// Rows apart from their table are asked about once, and are read where somebody says that they belong to it.
#[test]
fn lines_apart_belong_where_somebody_says() {
    let text = "Extracts of May\n\nsample      A663   A645\nleaf        0.512  0.231\nstem        0.488  0.219\nroot        0.101  0.055\n\nNext day: new lamp 2\n\nriver bank  0.302  0.141\n";
    let asked = read_as(text, &[]);
    let about_rows: Vec<&str> = asked[0]
        .questions
        .iter()
        .flat_map(|question| &question.readings)
        .map(|reading| reading.assume.as_str())
        .collect();
    assert_eq!(
        about_rows,
        ["rows=belong", "rows=apart"],
        "{:?}",
        asked[0].questions
    );
    for (answer, rows) in [("rows=belong", 4), ("rows=apart", 3)] {
        let runs = read_as(text, &[answer]);
        assert!(runs[0].questions.is_empty(), "{answer}: {:?}", runs[0].questions);
        assert_eq!(runs[0].traces[0].len(), rows, "{answer}");
        assert_eq!(runs[0].traces[1].len(), rows, "{answer}");
    }
    let runs = read_as(text, &["rows=belong"]);
    assert_eq!(
        runs[0].traces[0].row_names,
        ["leaf", "stem", "root", "river bank"]
    );
    assert_eq!(runs[0].traces[1].y.values.as_ref(), [0.231, 0.219, 0.055, 0.141]);
    // Under numbers that run they are readings of their own.
    let text = "mg/L;A510;A600\n0;0.002;0.001\n1;0.198;0.010\n2;0.395;0.020\n4;0.802;0.041\nNote: from here on: samples 2024\nriver;0.288;0.013\n";
    let runs = read_as(text, &["rows=belong"]);
    assert_eq!(runs.len(), 2, "{runs:?}");
    assert_eq!(runs[1].traces[0].row_names, ["river"]);
    assert_eq!(runs[1].traces[1].y.values.as_ref(), [0.013]);
}

/// What one answer settles is asked once.
#[test]
fn one_question_about_one_thing() {
    let text = "Sample;P;Q\nS1;0.112;45.1\nS2;0.134;50.2\nS3;0.201;61.3\nS4;0.288;72.4\n";
    for run in read_as(text, &[]) {
        let mut topics: Vec<String> = run
            .questions
            .iter()
            .filter_map(|question| question.readings.first())
            .map(|reading| reading.assume.split('=').next().unwrap_or("").to_owned())
            .collect();
        let all = topics.len();
        topics.sort();
        topics.dedup();
        assert_eq!(topics.len(), all, "{:?}", run.questions);
    }
}

/// An empty cell between tabs is never stepped over, even where a cell too many makes up for it.
#[test]
fn an_empty_cell_shifts_nothing() {
    let text = "Wavelength (nm)\tAbs 1\tAbs 2\n400\t0.1\t0.2\n401\t0.11\t0.21\n402\t\t0.22\t5\n403\t0.13\t0.23\n404\t0.14\t0.24\n405\t0.15\t0.25\n406\t0.16\t0.26\n407\t0.17\t0.27\n408\t0.18\t0.28\n409\t0.19\t0.29\n410\t0.1\t0.3\n411\t0.1\t0.3\n";
    for run in read_as(text, &["shape=columns"]) {
        assert!(
            run.traces
                .iter()
                .all(|trace| !trace.y.values.contains(&5.0) || trace.label.as_deref() != Some("2"))
        );
        let first = run
            .traces
            .iter()
            .find(|trace| trace.label.as_deref() == Some("1"))
            .expect("a curve named 1");
        assert!(!first.y.values.contains(&0.22), "{first:?}");
    }
}
