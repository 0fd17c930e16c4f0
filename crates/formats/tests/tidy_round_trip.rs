//! Tidy CSV comes home: every file of the corpus and of the demo data that is read without a question is written as tidy
//! CSV, and that is read as the same curves.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::fs;
use std::path::{Path, PathBuf};

use curvary_formats::writers::csv::{CsvOptions, CsvWriter, Survey};
use curvary_formats::{Readers, Source};
use curvary_record::{Run, Technique, Trace, Unit};

fn files(folder: &Path, all: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            files(&path, all);
        } else if path.extension().is_none_or(|end| end != "json") {
            all.push(path);
        }
    }
}

fn written(runs: &[Run]) -> Vec<u8> {
    let mut survey = Survey::new(CsvOptions::default());
    runs.iter().for_each(|run| survey.see(run));
    let table = survey.table();
    let mut writer = CsvWriter::new(Vec::new(), &table).expect("memory");
    for run in runs {
        writer.write(run).expect("it was surveyed");
    }
    writer.finish().expect("memory")
}

/// Units of one size: `{AU}` and `1`, `{AU}/min` and `/min`.
fn same_unit(one: &Unit, other: &Unit) -> bool {
    one == other || one.slug() == other.slug()
}

fn same(was: &Trace, is: &Trace) -> Result<(), String> {
    for (name, was, is) in [("x", &was.x, &is.x), ("y", &was.y, &is.y)] {
        // A name with signs in it has no form of its own in a column's name; its numbers are compared all the same.
        let plain = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | ' ');
        if !was.quantity.as_str().chars().all(plain) {
            if was.values != is.values {
                return Err(format!("{name} has other numbers"));
            }
            continue;
        }
        let quantity = |quantity: &str| quantity.replace(|c: char| !c.is_alphanumeric(), "-");
        if quantity(was.quantity.as_str()).trim_matches('-')
            != quantity(is.quantity.as_str()).trim_matches('-')
        {
            return Err(format!("{name} is {} and was {}", is.quantity, was.quantity));
        }
        if !same_unit(&was.unit, &is.unit) {
            return Err(format!("{name} is in {} and was in {}", is.unit, was.unit));
        }
        if was
            .values
            .iter()
            .map(|v| v + 0.0)
            .ne(is.values.iter().map(|v| v + 0.0))
        {
            return Err(format!("{name} has other numbers"));
        }
    }
    if was.label.as_deref().unwrap_or("") != is.label.as_deref().unwrap_or("") {
        return Err(format!("its label is {:?} and was {:?}", is.label, was.label));
    }
    if was.row_names != is.row_names || was.saturated != is.saturated {
        return Err("its points have other names or marks".into());
    }
    for held in &was.held {
        let kept = is.held.iter().any(|other| {
            other.quantity == held.quantity && other.value == held.value && same_unit(&other.unit, &held.unit)
        });
        // A temperature or a pH that was held is said of the run or the curve, as those are.
        let coordinate = ["wavelength", "wavenumber", "energy", "time", "concentration"];
        if !kept && coordinate.contains(&held.quantity.as_str()) {
            return Err(format!(
                "{} {} is not held: {:?}",
                held.value, held.quantity, is.held
            ));
        }
    }
    Ok(())
}

#[test]
fn what_is_written_is_read() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let mut all = Vec::new();
    files(&root.join("tests/corpus/text"), &mut all);
    files(&root.join("demo-data"), &mut all);
    all.sort();
    let readers = Readers::built_in();
    let (mut tried, mut wrong) = (0, Vec::new());
    for path in all {
        let name = path.display().to_string();
        let source = Source::new(name.clone(), fs::read(&path).expect("a file"));
        let (_, reading) = readers.read(&source, None);
        let runs: Vec<Run> = reading
            .runs
            .into_iter()
            .filter(|run| !run.in_question() && run.points() > 0)
            .collect();
        if runs.is_empty() {
            continue;
        }
        tried += 1;
        let source = Source::new("back.csv", written(&runs));
        let (card, back) = readers.read(&source, None);
        let reader = card.map(|card| card.id.clone()).unwrap_or_default();
        let judged = || -> Result<(), String> {
            if reader != "built-in/tidy-csv" {
                return Err(format!("it went to `{reader}`"));
            }
            if back.runs.len() != runs.len() {
                return Err(format!("{} runs and not {}", back.runs.len(), runs.len()));
            }
            for (was, is) in runs.iter().zip(&back.runs) {
                let known = Technique::ALL.contains(&was.technique);
                if known && was.technique != is.technique {
                    return Err(format!("it is a {} and was a {}", is.technique, was.technique));
                }
                for key in [
                    "sample",
                    "date",
                    "temperature",
                    "ph",
                    "operator",
                    "wavelength-range",
                ] {
                    let (before, after) = (was.fields.get(key), is.fields.get(key));
                    let said = before.map(|claim| claim.value.clone());
                    // What a curve says of itself stands in the place of what its run says.
                    if was.traces.iter().any(|trace| trace.fields.get(key).is_some()) {
                        continue;
                    }
                    if said.is_some() && said != after.map(|claim| claim.value.clone()) {
                        return Err(format!("{key} is {after:?} and was {said:?}"));
                    }
                }
                let curves: Vec<&Trace> = was.traces.iter().filter(|trace| !trace.is_empty()).collect();
                if curves.len() != is.traces.len() {
                    return Err(format!("{} curves and not {}", is.traces.len(), curves.len()));
                }
                for (was, is) in curves.into_iter().zip(&is.traces) {
                    same(was, is)?;
                }
            }
            Ok(())
        };
        if let Err(why) = judged() {
            wrong.push(format!("{name}: {why}"));
        }
    }
    assert!(tried > 400, "{tried} files");
    assert!(
        wrong.is_empty(),
        "{} of {tried}:\n{}",
        wrong.len(),
        wrong.join("\n")
    );
}

fn back(text: &str) -> curvary_formats::Reading {
    let readers = Readers::built_in();
    readers
        .read(&Source::new("back.csv", text.as_bytes().to_vec()), None)
        .1
}

/// Rows that were sorted by somebody else belong together all the same, and what has no place is told.
#[test]
fn a_table_that_was_touched_is_not_misread() {
    let head =
        "run,trace,technique,wavelength_nm,temperature_Cel,temperature_plus_minus_Cel,source,absorbance\r\n";
    let sorted = format!(
        "{head}a,0,spectrum,400,37,0.1,x,0.1\r\nb,0,spectrum,400,25,0.2,x,0.2\r\na,0,spectrum,410,37,0.1,x,0.3\r\nb,0,spectrum,410,25,0.2,x,0.4\r\n"
    );
    let reading = back(&sorted);
    assert_eq!(reading.runs.len(), 2);
    let first = &reading.runs[0];
    assert_eq!(first.traces[0].y.values.as_ref(), [0.1, 0.3]);
    let temperature = first.fields.get("temperature").expect("a temperature");
    assert_eq!(temperature.plus_minus, Some(0.1));

    let drifting = format!("{head}a,0,spectrum,400,37,,x,0.1\r\na,0,spectrum,410,38,,x,0.3\r\n");
    let remarks = &back(&drifting).runs[0].remarks;
    assert!(
        remarks
            .iter()
            .any(|remark| remark.code.as_str() == "column-left-out"),
        "{remarks:?}"
    );

    let semicolons = sorted.replace(',', ";").replace('.', ",");
    let reading = back(&semicolons);
    assert!(reading.runs.is_empty());
    assert_eq!(reading.remarks[0].code.as_str(), "table-saved-anew");

    let point =
        "run,trace,technique,wavelength_nm,time_s,source,absorbance\r\na,0,time-course,405,10,x,0.1\r\n";
    assert_eq!(
        back(point).runs[0].traces[0].x.quantity,
        curvary_record::Quantity::TIME
    );
}
