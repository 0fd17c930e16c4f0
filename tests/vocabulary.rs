//! Words that only one laboratory uses: they settle what is open, and change nothing that is in no doubt.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use curvary_formats::{Assumptions, Readers, SettledReading, Source};
use curvary_record::Quantity;

fn read(text: &str, answers: &[&str], precise: bool) -> SettledReading {
    let mut assume = Assumptions::none();
    for answer in answers {
        assume.add(answer).expect("an answer");
    }
    if precise {
        assume = assume.precise();
    }
    let source = Source::new("a.txt", text.as_bytes().to_vec()).assuming(assume);
    Readers::built_in().settle(&source, None).1
}

const SURE: &str = "Wavelength (nm)\tAbsorbance\n400\t0.100\n410\t0.200\n420\t0.300\n430\t0.200\n";

#[test]
fn words_of_a_laboratory_settle_what_is_open() {
    let glimm = "nm;Glimm\n400;0,100\n410;0,200\n420;0,300\n430;0,200\n";
    assert!(read(glimm, &[], false).reading.runs[0].in_question());
    let settled = read(
        glimm,
        &["header:glimm=absorbance:{AU}", "header:Zork=time:s"],
        false,
    );
    assert_eq!(settled.met, ["header:glimm=absorbance:{AU}"]);
    let run = &settled.reading.runs[0];
    assert!(!run.in_question(), "{:?}", run.questions);
    assert_eq!(run.traces[0].y.quantity, Quantity::ABSORBANCE);
    // What was answered about the file weighs more.
    let both = read(
        glimm,
        &["header:Glimm=absorbance:{AU}", "y=transmittance:1"],
        false,
    );
    assert_eq!(both.reading.runs[0].traces[0].y.quantity, Quantity::TRANSMITTANCE);
    // A quantity of one's own, over a time too.
    let trueb = "Time (s);Trueb\n0;11\n5;12\n10;14\n15;19\n";
    let settled = read(trueb, &["header:Trueb=new:turbidity:{NTU}"], false);
    let trace = &settled.reading.runs[0].traces[0];
    assert_eq!(trace.y.quantity.as_str(), "turbidity", "{:?}", settled.reading);
    assert_eq!(trace.y.unit.code(), "{NTU}");
    // What cannot be is told, and not taken.
    let falls = "Lauf;Absorbance\n9.5;0.1\n7.1;0.2\n5.2;0.3\n3.3;0.3\n2.1;0.3\n";
    let settled = read(falls, &["header:Lauf=time:s"], false);
    assert_eq!(settled.met, Vec::<String>::new(), "{:?}", settled.reading);
}

#[test]
fn words_change_nothing_that_is_in_no_doubt() {
    let plain = read(SURE, &[], true);
    for word in [
        "header:Absorbanz2=transmittance:%",
        "header:Wavelength (nm)=time:s",
        "unit:xy=s",
    ] {
        let mut assume = Assumptions::none();
        if assume.add(word).is_ok() {
            assert_eq!(read(SURE, &[word], true), plain, "{word}");
        }
    }
}

#[test]
fn units_of_a_laboratory_and_columns_that_are_none() {
    let text = "Zeit (Takt);Absorbanz\n0;0,100\n5;0,200\n10;0,300\n15;0,200\n";
    assert!(read(text, &[], false).reading.runs[0].in_question());
    let settled = read(text, &["unit:Takt=min"], false);
    assert_eq!(
        settled.reading.runs[0].traces[0].x.unit.code(),
        "min",
        "{:?}",
        settled.reading
    );
    let text = "nm;Glimm;Zork\n400;0,100;7\n410;0,200;9\n420;0,300;8\n430;0,200;5\n";
    let words = ["header:Glimm=absorbance", "header:Zork=nothing"];
    let settled = read(text, &words, false);
    assert_eq!(settled.met, words, "{:?}", settled.reading);
    assert_eq!(settled.reading.runs[0].traces.len(), 1);
    assert_eq!(
        settled.reading.runs[0].remarks[0].code.as_str(),
        "column-left-out"
    );
}

#[test]
fn marks_of_blocks_hold_what_a_word_means() {
    let block = |takt: u32| {
        format!("Takt {takt}\nnm;Glimm\n400;0,10{takt}\n410;0,20{takt}\n420;0,30{takt}\n430;0,20{takt}\n")
    };
    let text: String = [0, 2, 4].map(block).concat();
    let words = ["header:Glimm=absorbance", "mark:Takt=time:min"];
    let settled = read(&text, &words, false);
    let runs = &settled.reading.runs;
    assert!(runs.iter().all(|run| !run.in_question()), "{runs:?}");
    let times: Vec<f64> = runs
        .iter()
        .flat_map(|run| &run.traces)
        .filter_map(|trace| Some(trace.held(&Quantity::TIME)?.value))
        .collect();
    assert_eq!(times, [0.0, 2.0, 4.0], "{settled:?}");
}

#[test]
fn each_column_is_settled_by_its_header() {
    let text = "Wavelength (nm);Dunk;Glimm\n400;0,100;0,9\n410;0,200;0,8\n420;0,300;0,7\n430;0,200;0,6\n";
    let open = read(text, &[], false);
    assert!(open.reading.runs[0].in_question(), "{:?}", open.reading);
    let settled = read(
        text,
        &["header:Dunk=absorbance", "header:Glimm=transmittance:1"],
        true,
    );
    let quantities: Vec<&str> = settled.reading.runs[0]
        .traces
        .iter()
        .map(|trace| trace.y.quantity.as_str())
        .collect();
    assert_eq!(
        quantities,
        ["absorbance", "transmittance"],
        "{:?}",
        settled.reading
    );
}

#[test]
fn an_answer_about_y_leaves_the_columns_alone_that_say_what_they_are() {
    let text = "Wavelength (nm);Absorbance;T\n400;0,100;0,9\n410;0,200;0,8\n420;0,300;0,7\n430;0,200;0,6\n";
    let quantities = |answers: &[&str]| -> Vec<String> {
        let run = read(text, answers, true).reading.runs.remove(0);
        run.traces
            .iter()
            .map(|trace| trace.y.quantity.as_str().to_owned())
            .collect()
    };
    assert_eq!(quantities(&["y=transmittance:1"])[0], "absorbance");
}
