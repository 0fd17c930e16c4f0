use std::io::{Cursor, Write};

use curvary_record::{Unit, Verdict};
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

use super::*;

const MANIFEST: &str = "<?xml version=\"1.0\"?>\n<omexManifest \
    xmlns=\"http://identifiers.org/combine.specifications/omex-manifest\">\
    <content location=\".\" format=\"http://identifiers.org/combine.specifications/omex\"/>\
    <content location=\"./experiment.xml\" format=\"http://identifiers.org/combine.specifications/sbml\" master=\"true\"/>\
    </omexManifest>";

/// An invented experiment, written after the structure of SBML Level 3 and the notes of EnzymeML.
fn experiment(columns: &str) -> String {
    format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
        <sbml xmlns=\"http://www.sbml.org/sbml/level3/version2/core\" level=\"3\" version=\"2\">\
        <model id=\"m\" name=\"Invented esterase\"><listOfUnitDefinitions>\
        <unitDefinition id=\"u0\" name=\"ml\"><listOfUnits>\
        <unit kind=\"litre\" exponent=\"1\" scale=\"-3\" multiplier=\"1\"/></listOfUnits></unitDefinition>\
        <unitDefinition id=\"u1\" name=\"M\"><listOfUnits><unit kind=\"mole\" exponent=\"1\" scale=\"-3\" multiplier=\"1\"/>\
        <unit kind=\"litre\" exponent=\"-1\" scale=\"0\" multiplier=\"1\"/></listOfUnits></unitDefinition>\
        <unitDefinition id=\"u2\" name=\"K\"><listOfUnits>\
        <unit kind=\"kelvin\" exponent=\"1\" scale=\"0\" multiplier=\"1\"/></listOfUnits></unitDefinition>\
        <unitDefinition id=\"u4\" name=\"min\"><listOfUnits>\
        <unit kind=\"second\" exponent=\"1\" scale=\"0\" multiplier=\"60\"/></listOfUnits></unitDefinition>\
        </listOfUnitDefinitions>\
        <listOfCompartments><compartment id=\"v0\" name=\"cell\" size=\"3\" units=\"u0\"/></listOfCompartments>\
        <listOfSpecies><species id=\"s0\" name=\"nitrophenyl acetate\"/>\
        <species id=\"s1\" name=\"nitrophenol\"/>\
        <species id=\"p0\" name=\"esterase 7\"><annotation><enzymeml:protein \
        xmlns:enzymeml=\"http://sbml.org/enzymeml/version2\"><enzymeml:ECnumber>3.1.1.1</enzymeml:ECnumber>\
        </enzymeml:protein></annotation></species></listOfSpecies>\
        <listOfReactions><annotation><enzymeml:data xmlns:enzymeml=\"http://sbml.org/enzymeml/version2\">\
        <enzymeml:formats><enzymeml:format id=\"format0\">{columns}</enzymeml:format></enzymeml:formats>\
        <enzymeml:listOfMeasurements><enzymeml:measurement file=\"file0\" id=\"m0\" name=\"day 3\">\
        <enzymeml:initConc protein=\"p0\" value=\"0.0002\" unit=\"u1\"/>\
        <enzymeml:initConc reactant=\"s0\" value=\"5.0\" unit=\"u1\"/></enzymeml:measurement>\
        </enzymeml:listOfMeasurements><enzymeml:files>\
        <enzymeml:file file=\"./data/m0.csv\" format=\"format0\" id=\"file0\"/></enzymeml:files></enzymeml:data></annotation>\
        <reaction id=\"r0\" name=\"hydrolysis\"><annotation><enzymeml:reaction \
        xmlns:enzymeml=\"http://sbml.org/enzymeml/version2\"><enzymeml:conditions>\
        <enzymeml:temperature value=\"310.15\" unit=\"u2\"/><enzymeml:ph value=\"7.4\"/></enzymeml:conditions>\
        </enzymeml:reaction></annotation></reaction></listOfReactions></model></sbml>\n"
    )
}

const COLUMNS: &str = "<enzymeml:column type=\"time\" unit=\"u4\" index=\"0\"/>\
    <enzymeml:column replica=\"a\" species=\"s1\" type=\"conc\" unit=\"u1\" index=\"1\" isCalculated=\"False\"/>\
    <enzymeml:column replica=\"b\" species=\"s1\" type=\"conc\" unit=\"u1\" index=\"2\" isCalculated=\"True\"/>\
    <enzymeml:column replica=\"c\" species=\"s0\" type=\"abs\" unit=\"u1\" index=\"3\" isCalculated=\"False\"/>";

fn packed(members: &[(&str, &str)]) -> Vec<u8> {
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, text) in members {
        writer
            .start_file(*name, SimpleFileOptions::default())
            .expect("a member");
        writer.write_all(text.as_bytes()).expect("its text");
    }
    writer.finish().expect("an archive").into_inner()
}

fn read(columns: &str, table: &str) -> Reading {
    let document = experiment(columns);
    let bytes = packed(&[
        ("manifest.xml", MANIFEST),
        ("experiment.xml", &document),
        ("data/m0.csv", table),
    ]);
    assert!(!crate::container::is_container(&bytes), "it is one document");
    EnzymeMl::default().read(&Source::new("e.omex", bytes))
}

#[test]
fn a_measurement_is_a_run_with_its_conditions_and_substances() {
    let reading = read(COLUMNS, "0,0.0,0.01,0.120\n0.5,0.21,0.22,0.330\n1,0.40,,0.520\n");
    assert_eq!(reading.verdict(), Verdict::Read, "{reading:?}");
    let [run] = reading.runs.as_slice() else {
        panic!("one run: {reading:?}")
    };
    assert_eq!(run.technique.as_str(), "time-course");
    let temperature = run.fields.get("temperature").expect("a temperature");
    assert_eq!(
        (
            temperature.raw.as_str(),
            temperature.unit.as_ref().map(Unit::code)
        ),
        ("310.15 K", Some("K"))
    );
    assert_eq!(run.fields.get("ph").map(|claim| claim.raw.as_str()), Some("7.4"));
    assert_eq!(run.fields.text("enzyme"), Some("esterase 7"));
    assert_eq!(run.fields.text("ec-number"), Some("3.1.1.1"));
    let enzyme = run.fields.get("enzyme-concentration").expect("a concentration");
    // The name of the unit says M, its definition says mmol/L: the definition holds.
    assert_eq!(
        (enzyme.raw.as_str(), enzyme.unit.as_ref().map(Unit::code)),
        ("0.0002 mmol/L", Some("mmol/L"))
    );
    let labels: Vec<_> = run
        .traces
        .iter()
        .map(|trace| trace.label.as_deref().unwrap_or(""))
        .collect();
    assert_eq!(
        labels,
        ["nitrophenol, a", "nitrophenol, b", "nitrophenyl acetate"]
    );
    let first = &run.traces[0];
    assert_eq!((first.x.unit.code(), first.y.unit.code()), ("min", "mmol/L"));
    assert_eq!(first.x.values[..], [0.0, 0.5, 1.0]);
    assert_eq!(first.y.texts().collect::<Vec<_>>(), ["0.0", "0.21", "0.40"]);
    assert_eq!(run.traces[1].y.values[..], [0.01, 0.22]);
    assert_eq!(run.traces[1].fields.text("calculated"), Some("yes"));
    assert_eq!(run.traces[2].y.quantity.as_str(), "absorbance");
}

#[test]
fn a_first_line_of_names_is_no_reading() {
    let reading = read(COLUMNS, "time,a,b,c\n0,0.0,0.01,0.1\n0.5,0.2,0.2,0.3\n");
    assert_eq!(reading.runs[0].traces[0].y.values[..], [0.0, 0.2]);
}

#[test]
fn what_has_no_numbers_is_told() {
    let without_time = COLUMNS.replace("type=\"time\"", "type=\"feed\"");
    for reading in [
        read(&without_time, "0,1,2,3\n"),
        read(COLUMNS, ""),
        read(COLUMNS, "0,0.1,\"0.2\n1,2"),
    ] {
        assert!(
            reading.runs.iter().all(|run| !run.traces.is_empty()),
            "{reading:?}"
        );
        assert!(
            !reading.remarks.is_empty() || reading.runs.iter().any(|run| !run.remarks.is_empty()),
            "{reading:?}"
        );
    }
    let document = experiment(COLUMNS);
    let bytes = packed(&[("manifest.xml", MANIFEST), ("experiment.xml", &document)]);
    let reading = EnzymeMl::default().read(&Source::new("e.omex", bytes));
    assert!(reading.runs.is_empty());
    assert!(
        reading
            .remarks
            .iter()
            .any(|remark| remark.message.contains("data/m0.csv")),
        "{reading:?}"
    );
}

#[test]
fn other_archives_stay_containers() {
    let bytes = packed(&[
        ("manifest.xml", MANIFEST),
        ("model.xml", "<sbml/>"),
        ("a.csv", "t,A\n0,1\n"),
    ]);
    assert!(crate::container::is_container(&bytes));
}
