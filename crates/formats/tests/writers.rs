//! The writers against general-purpose libraries: what they write, the `csv` crate, `serde_json` and an independent
//! JSON Schema validator read back.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::collections::BTreeMap;

use curvary_formats::writers::csv::{CsvOptions, CsvWriter, Origins, Survey, WriteError};
use curvary_formats::writers::json::{self, SourceDocument};
use curvary_formats::writers::table_schema::ColumnType;
use curvary_formats::{ReaderInfo, Reading, Source};
use curvary_record::{
    Alternative, Claim, Code, Column, Coordinate, Decimals, Diagnostic, Digest, Fields, Numbers, Origin,
    Place, Quantity, Question, Run, RunId, SourceRef, Technique, Trace, Unit, Value,
};
use proptest::prelude::*;

fn run(name: &str, technique: Technique, traces: Vec<Trace>) -> Run {
    let digest = Digest::of(name.as_bytes());
    Run {
        id: RunId::named(name),
        source: SourceRef {
            path: format!("{name}.txt"),
            digest,
            reader: "built-in/test".into(),
            reader_version: "1".into(),
            encoding: Some("UTF-8".into()),
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

fn spectrum(x: &[f64], y: &[f64], decimals: u8) -> Trace {
    let x = Column::new(Quantity::WAVELENGTH, Unit::NANOMETRE, x.to_vec())
        .with_decimals(Decimals::uniform(1, x.len()));
    let y = Column::new(Quantity::ABSORBANCE, Unit::ABSORBANCE, y.to_vec())
        .with_decimals(Decimals::uniform(decimals, y.len()));
    Trace::new(x, y).unwrap()
}

fn course(times: &[f64], y: &[f64], unit: Unit) -> Trace {
    let x = Column::new(Quantity::TIME, unit, times.to_vec());
    let y = Column::new(Quantity::ABSORBANCE, Unit::ONE, y.to_vec());
    Trace::new(x, y).unwrap()
}

fn said(line: usize) -> Origin {
    Origin::Source(Place::line(line))
}

/// Heads, rows as maps from head to cell, and the schema's fields.
struct TableText {
    heads: Vec<String>,
    rows: Vec<BTreeMap<String, String>>,
    kinds: BTreeMap<String, (ColumnType, Option<String>, String)>,
}

fn written(runs: &[Run], options: CsvOptions) -> TableText {
    let mut survey = Survey::new(options);
    runs.iter().for_each(|run| survey.see(run));
    let table = survey.table();
    let mut writer = CsvWriter::new(Vec::new(), &table).unwrap();
    let rows: u64 = runs.iter().map(|run| writer.write(run).unwrap()).sum();
    let bytes = writer.finish().unwrap();
    let mut reader = csv::Reader::from_reader(bytes.as_slice());
    let heads: Vec<String> = reader.headers().unwrap().iter().map(str::to_owned).collect();
    let read: Vec<BTreeMap<String, String>> = reader
        .records()
        .map(|record| {
            heads
                .iter()
                .cloned()
                .zip(record.unwrap().iter().map(str::to_owned))
                .collect()
        })
        .collect();
    assert_eq!(read.len() as u64, rows);
    let schema = table.schema();
    assert_eq!(
        schema.fields.iter().map(|f| &f.name).collect::<Vec<_>>(),
        heads.iter().collect::<Vec<_>>()
    );
    let kinds = schema
        .fields
        .into_iter()
        .map(|f| (f.name, (f.kind, f.unit, f.description)))
        .collect();
    TableText {
        heads,
        rows: read,
        kinds,
    }
}

#[test]
fn columns_stand_in_their_order_and_only_when_filled() {
    let mut first = run(
        "a",
        Technique::SPECTRUM,
        vec![spectrum(&[400.0, 400.5], &[0.12, 0.1201], 4)],
    );
    first
        .fields
        .claim("sample", Claim::text("betanin, fresh", said(1)));
    first.fields.claim(
        "temperature",
        Claim::number(37.0, Some(Unit::CELSIUS), "37.0 °C", said(2)),
    );
    first.fields.claim("date", Claim::text("2019-05-04", said(3)));
    first.fields.claim("Lamp hours", Claim::text("1203", said(4)));
    let mut second = run(
        "b",
        Technique::TIME_COURSE,
        vec![course(&[0.0, 30.0], &[1.0, 0.5], Unit::SECOND)],
    );
    second.traces[0].held.push(Coordinate {
        raw: Some("412.0".into()),
        ..Coordinate::new(Quantity::WAVELENGTH, Unit::NANOMETRE, 412.0)
    });
    let read = written(&[first, second], CsvOptions::default());
    assert_eq!(
        read.heads,
        [
            "run",
            "trace",
            "sample",
            "technique",
            "wavelength_nm",
            "time_s",
            "temperature_Cel",
            "date",
            "lamp_hours",
            "source",
            "absorbance"
        ]
    );
    assert_eq!(read.rows[0]["sample"], "betanin, fresh");
    assert_eq!(read.rows[0]["wavelength_nm"], "400.0");
    assert_eq!(read.rows[0]["absorbance"], "0.1200");
    assert_eq!(read.rows[0]["temperature_Cel"], "37.0");
    assert_eq!(read.rows[0]["time_s"], "");
    assert_eq!(read.rows[3]["wavelength_nm"], "412.0");
    assert_eq!(read.rows[3]["time_s"], "30");
    assert_eq!(read.kinds["date"].0, ColumnType::Date);
    assert_eq!(read.kinds["trace"].0, ColumnType::Integer);
    assert_eq!(read.kinds["temperature_Cel"].1.as_deref(), Some("Cel"));
    // Absorbance annotated and as a pure number are the same number, so they share a column.
    assert_eq!(read.kinds["absorbance"].1.as_deref(), Some("1"));
}

#[test]
fn other_units_are_other_columns() {
    let a = run(
        "a",
        Technique::TIME_COURSE,
        vec![course(&[60.0], &[1.0], Unit::SECOND)],
    );
    let b = run(
        "b",
        Technique::TIME_COURSE,
        vec![course(&[1.0], &[1.0], Unit::MINUTE)],
    );
    let mut percent = spectrum(&[400.0], &[12.5], 1);
    percent.y.quantity = Quantity::TRANSMITTANCE;
    percent.y.unit = Unit::PERCENT;
    let c = run("c", Technique::SPECTRUM, vec![percent]);
    let read = written(&[a, b, c], CsvOptions::default());
    assert_eq!(
        (read.rows[0]["time_s"].as_str(), read.rows[0]["time_min"].as_str()),
        ("60", "")
    );
    assert_eq!(
        (read.rows[1]["time_s"].as_str(), read.rows[1]["time_min"].as_str()),
        ("", "1")
    );
    assert_eq!(read.rows[2]["transmittance_percent"], "12.5");
}

#[test]
fn a_curve_speaks_before_its_run_and_neither_is_lost() {
    let mut trace = course(&[0.0], &[1.0], Unit::SECOND);
    trace
        .held
        .push(Coordinate::new(Quantity::TEMPERATURE, Unit::CELSIUS, 36.8));
    trace.fields.claim("sample", Claim::text("cell 2", said(9)));
    let mut one = run(
        "a",
        Technique::TIME_COURSE,
        vec![trace, course(&[0.0], &[2.0], Unit::SECOND)],
    );
    one.fields.claim("sample", Claim::text("rack", said(1)));
    one.fields.claim(
        "temperature",
        Claim::number(37.0, Some(Unit::CELSIUS), "37", said(2)),
    );
    let read = written(&[one], CsvOptions::default());
    assert_eq!(read.rows[0]["sample"], "cell 2");
    assert_eq!(read.rows[0]["temperature_Cel"], "36.8");
    assert_eq!(read.rows[0]["stated_temperature_Cel"], "37");
    assert_eq!(read.rows[1]["sample"], "rack");
    // Beside 36.8 a whole number ends with a point.
    assert_eq!(read.rows[1]["temperature_Cel"], "37.");
    assert_eq!(read.rows[1]["stated_temperature_Cel"], "");
}

#[test]
fn the_same_quantity_twice_on_a_curve_is_two_columns() {
    let mut trace = course(&[20.0], &[21.5], Unit::CELSIUS);
    trace.x.quantity = Quantity::TEMPERATURE;
    trace.y.quantity = Quantity::TEMPERATURE;
    trace.y.unit = Unit::CELSIUS;
    let read = written(
        &[run("a", Technique::UNKNOWN, vec![trace])],
        CsvOptions::default(),
    );
    assert_eq!(read.rows[0]["temperature_Cel"], "20");
    assert_eq!(read.rows[0]["measured_temperature_Cel"], "21.5");
}

#[test]
fn questions_and_saturation_are_told_in_their_rows() {
    let mut trace = spectrum(&[400.0, 401.0, 402.0], &[0.1, 4.0, 0.2], 1);
    trace.saturated = vec![1];
    let mut doubtful = run("a", Technique::SPECTRUM, vec![trace]);
    doubtful.questions.push(Question {
        code: Code::new("axis-unknown"),
        message: "which axis is it".into(),
        readings: vec![Alternative {
            assume: "x=wavelength:nm".into(),
            says: "400 nm".into(),
        }],
        labels: Vec::new(),
    });
    let read = written(&[doubtful], CsvOptions::default());
    assert_eq!(read.rows[0]["question"], "axis-unknown");
    let marks: Vec<&str> = read.rows.iter().map(|row| row["saturated"].as_str()).collect();
    assert_eq!(marks, ["false", "true", "false"]);
}

#[test]
fn points_with_names_keep_them() {
    let mut trace = spectrum(&[405.0, 405.0], &[0.1, 0.2], 1);
    trace.row_names = vec!["blank".into(), "=S1".into()];
    let read = written(
        &[run("a", Technique::FIXED_WAVELENGTH, vec![trace])],
        CsvOptions::default(),
    );
    let names: Vec<&str> = read.rows.iter().map(|row| row["point"].as_str()).collect();
    assert_eq!(names, ["blank", "'=S1"]);
}

#[test]
fn ranges_uncertainties_and_words_where_numbers_belong() {
    let mut one = run("a", Technique::SPECTRUM, vec![spectrum(&[400.0], &[0.1], 1)]);
    let nm = Some(Unit::NANOMETRE);
    let range = Claim {
        value: Value::Range {
            from: 700.0,
            to: 380.0,
        },
        unit: nm,
        ..Claim::text("700.0 - 380.0 nm", said(1))
    };
    one.fields.claim("wavelength-range", range);
    let mut ph = Claim::number(7.4, Unit::ucum("[pH]").ok(), "7.40 ± 0.05", said(2));
    ph.plus_minus = Some(0.05);
    one.fields.claim("ph", ph);
    one.fields.claim("temperature", Claim::text("ambient", said(3)));
    let read = written(&[one], CsvOptions::default());
    let row = &read.rows[0];
    assert_eq!(row["wavelength_range_from_nm"], "700.0");
    assert_eq!(row["wavelength_range_to_nm"], "380.0");
    assert_eq!(
        (row["ph"].as_str(), row["ph_plus_minus"].as_str()),
        ("7.40", "0.05")
    );
    assert_eq!(row["temperature_text"], "ambient");
}

/// Which signs begin a formula is common practice, as security guides list them.
#[test]
fn formulas_are_made_harmless_and_numbers_left_alone() {
    for (text, cell) in [
        ("=1+1", "'=1+1"),
        ("+SUM(A1)", "'+SUM(A1)"),
        ("-2+3", "'-2+3"),
        ("@x", "'@x"),
        ("\tx", "'\tx"),
        ("\rx", "'\rx"),
        ("'=1", "''=1"),
        ("'tis", "'tis"),
        ("-0.5", "-0.5"),
        ("+1e-3", "+1e-3"),
        ("a=b", "a=b"),
    ] {
        let mut one = run("a", Technique::SPECTRUM, vec![spectrum(&[400.0], &[-0.1], 1)]);
        one.fields.claim("sample", Claim::text(text, said(1)));
        let read = written(&[one], CsvOptions::default());
        assert_eq!(read.rows[0]["sample"], cell);
        assert_eq!(read.rows[0]["absorbance"], "-0.1");
        assert_eq!(
            read.kinds["sample"].2.contains("apostrophe"),
            text != cell,
            "{text:?}"
        );
    }
}

#[test]
fn unknown_fields_can_be_left_out_and_empty_runs_write_nothing() {
    let mut one = run("a", Technique::SPECTRUM, vec![spectrum(&[400.0], &[0.1], 1)]);
    one.fields.claim("Lamp hours", Claim::text("1203", said(1)));
    let mut none = run("b", Technique::SPECTRUM, vec![spectrum(&[], &[], 1)]);
    none.fields.claim("solvent", Claim::text("water", said(1)));
    let options = CsvOptions {
        known_fields_only: true,
        ..CsvOptions::default()
    };
    let read = written(&[one, none], options);
    assert!(
        !read
            .heads
            .iter()
            .any(|head| head == "lamp_hours" || head == "solvent")
    );
    assert_eq!(read.rows.len(), 1);
}

/// A field that a source calls like a quantity must not take its column, nor one of the table's own.
#[test]
fn what_was_measured_keeps_its_name() {
    let mut one = run("a", Technique::SPECTRUM, vec![spectrum(&[400.0], &[0.1], 1)]);
    one.fields
        .claim("Absorbance", Claim::number(0.5, None, "0.5", said(1)));
    one.fields.claim("absorbance", Claim::text("no", said(1)));
    one.fields.claim("Source", Claim::text("lamp", said(2)));
    one.fields.claim("Point", Claim::text("3", said(3)));
    let read = written(&[one], CsvOptions::default());
    let row = &read.rows[0];
    assert_eq!(row["absorbance"], "0.1");
    // A column has one type, whatever else is in the table: a number and words of one name have two.
    assert_eq!(row["absorbance__number"], "0.5");
    assert_eq!(row["field_absorbance"], "no");
    assert_eq!(row["source"], "a.txt");
    assert_eq!(
        (row["field_source"].as_str(), row["field_point"].as_str()),
        ("lamp", "3")
    );
    // Nor where nothing of the kind was measured.
    let mut trace = spectrum(&[400.0], &[92.1], 1);
    trace.y.quantity = Quantity::TRANSMITTANCE;
    trace.y.unit = Unit::PERCENT;
    let mut other = run("b", Technique::SPECTRUM, vec![trace]);
    other.fields.claim("absorbance", Claim::text("yes", said(1)));
    let read = written(&[other], CsvOptions::default());
    assert_eq!(read.rows[0]["field_absorbance"], "yes");
    assert!(!read.heads.iter().any(|head| head == "absorbance"));
}

/// polars takes a column for one of integers by its first rows; `400.` is none, and has as many decimals as `400`.
#[test]
fn a_column_of_whole_and_other_numbers_has_a_point_in_each() {
    let mut first = run(
        "a",
        Technique::SPECTRUM,
        vec![spectrum(&[400.0, 401.0], &[1.0, 2.0], 0)],
    );
    first.traces[0].x.decimals = Decimals::uniform(0, 2);
    first.fields.claim(
        "temperature",
        Claim::number(37.0, Some(Unit::CELSIUS), "37", said(1)),
    );
    let mut second = run("b", Technique::SPECTRUM, vec![spectrum(&[400.5], &[3.0], 0)]);
    second.fields.claim(
        "temperature",
        Claim::number(36.5, Some(Unit::CELSIUS), "36.5", said(1)),
    );
    let read = written(&[first, second], CsvOptions::default());
    let column = |name: &str| -> Vec<&str> { read.rows.iter().map(|row| row[name].as_str()).collect() };
    assert_eq!(column("wavelength_nm"), ["400.", "401.", "400.5"]);
    assert_eq!(column("temperature_Cel"), ["37.", "37.", "36.5"]);
    assert_eq!(column("absorbance"), ["1", "2", "3"]);
}

#[test]
fn names_of_runs_are_never_numbers() {
    let names = ["9e32225530320292", "0123456789012345", "bafd90fc9920124c", "1e5"];
    let runs = names.map(|name| run(name, Technique::SPECTRUM, vec![spectrum(&[400.0], &[0.1], 1)]));
    let read = written(&runs, CsvOptions::default());
    let written: Vec<&str> = read.rows.iter().map(|row| row["run"].as_str()).collect();
    assert_eq!(
        written,
        [
            "run-9e32225530320292",
            "run-0123456789012345",
            "bafd90fc9920124c",
            "run-1e5"
        ]
    );
}

#[test]
fn what_could_not_be_read_and_all_comments_are_told() {
    let mut first = run("a", Technique::SPECTRUM, vec![spectrum(&[400.0], &[0.1], 1)]);
    first.traces[0].absent = 3;
    first.fields.claim("comment", Claim::text("one", said(1)));
    first.fields.claim("comment", Claim::text("two", said(2)));
    let second = run("b", Technique::SPECTRUM, vec![spectrum(&[400.0], &[0.1], 1)]);
    let read = written(&[first, second], CsvOptions::default());
    assert_eq!(
        (read.rows[0]["absent"].as_str(), read.rows[1]["absent"].as_str()),
        ("3", "0")
    );
    assert_eq!(read.rows[0]["comment"], "one\ntwo");
}

#[test]
fn a_byte_order_mark_on_request() {
    let one = run("a", Technique::SPECTRUM, vec![spectrum(&[400.0], &[0.1], 1)]);
    let mut survey = Survey::new(CsvOptions {
        byte_order_mark: true,
        ..CsvOptions::default()
    });
    survey.see(&one);
    let table = survey.table();
    let mut writer = CsvWriter::new(Vec::new(), &table).unwrap();
    writer.write(&one).unwrap();
    assert!(writer.finish().unwrap().starts_with(b"\xEF\xBB\xBFrun,trace,"));
}

#[test]
fn a_table_without_rows_has_a_head() {
    let table = Survey::default().table();
    let bytes = CsvWriter::new(Vec::new(), &table).unwrap().finish().unwrap();
    assert_eq!(bytes, b"run,trace,technique\r\n");
}

#[test]
fn a_run_that_was_not_surveyed_is_refused() {
    let a = run("a", Technique::SPECTRUM, vec![spectrum(&[400.0], &[0.1], 1)]);
    let b = run(
        "b",
        Technique::TIME_COURSE,
        vec![course(&[0.0], &[0.1], Unit::SECOND)],
    );
    let mut survey = Survey::default();
    survey.see(&a);
    let table = survey.table();
    let mut writer = CsvWriter::new(Vec::new(), &table).unwrap();
    assert!(matches!(writer.write(&b), Err(WriteError::NotSurveyed { column, .. }) if column == "time_s"));
}

#[test]
fn surveys_add_up_in_any_order() {
    let mut a = run("a", Technique::SPECTRUM, vec![spectrum(&[400.0], &[0.1], 1)]);
    a.fields.claim("date", Claim::text("2019-05-04", said(1)));
    let mut b = run(
        "b",
        Technique::TIME_COURSE,
        vec![course(&[0.0], &[0.1], Unit::SECOND)],
    );
    b.fields.claim("date", Claim::text("spring", said(1)));
    let survey = |run: &Run| {
        let mut survey = Survey::default();
        survey.see(run);
        survey
    };
    let (mut one, mut other) = (survey(&a), survey(&b));
    one.merge(survey(&b));
    other.merge(survey(&a));
    assert_eq!(one.table().schema(), other.table().schema());
    // Days and what is no day have a column each, so that a column has one type in every table.
    let fields = one.table().schema().fields;
    let kind = |name: &str| fields.iter().find(|field| field.name == name).unwrap().kind;
    assert_eq!(kind("date"), ColumnType::Date);
    assert_eq!(kind("date_text"), ColumnType::String);
}

#[test]
fn origins_keep_every_claim() {
    let mut one = run("a", Technique::SPECTRUM, vec![spectrum(&[400.0], &[0.1], 1)]);
    let rule = Origin::Name {
        rule: "house".into(),
        part: "37C".into(),
    };
    one.fields.claim(
        "temperature",
        Claim::number(37.0, Some(Unit::CELSIUS), "37C", rule),
    );
    one.fields.claim(
        "temperature",
        Claim::number(25.0, Some(Unit::CELSIUS), "25.0 °C", said(3)),
    );
    one.traces[0].fields.claim("sample", Claim::text("=A", said(4)));
    let mut origins = Origins::new(Vec::new()).unwrap();
    origins.write(&one).unwrap();
    let bytes = origins.finish().unwrap();
    let mut reader = csv::Reader::from_reader(bytes.as_slice());
    let rows: Vec<Vec<String>> = reader
        .records()
        .map(|r| r.unwrap().iter().map(str::to_owned).collect())
        .collect();
    assert_eq!(
        rows[0],
        [
            "a",
            "",
            "temperature",
            "25.0",
            "Cel",
            "25.0 °C",
            "source",
            "",
            "3"
        ]
    );
    assert_eq!(
        rows[1],
        [
            "a",
            "",
            "temperature",
            "37",
            "Cel",
            "37C",
            "name",
            "house: 37C",
            ""
        ]
    );
    assert_eq!(rows[2], ["a", "0", "sample", "'=A", "", "'=A", "source", "", "4"]);
    let heads = reader.headers().unwrap().clone();
    let schema = Origins::<Vec<u8>>::schema();
    assert!(schema.fields.iter().map(|f| f.name.as_str()).eq(heads.iter()));
}

/// The rules of Table Schema 2.0 (Frictionless Data, 2024-06-26) that touch us: every field has a name and one of
/// the named types, names are unique, and missing values are texts.
#[test]
fn the_schema_follows_table_schema() {
    let mut one = run("a", Technique::SPECTRUM, vec![spectrum(&[400.0], &[0.1], 1)]);
    one.fields.claim("Sample", Claim::text("x", said(1)));
    one.fields.claim("SAMPLE", Claim::text("y", said(1)));
    let mut survey = Survey::default();
    survey.see(&one);
    let json: serde_json::Value = serde_json::from_str(&survey.table().schema().to_json()).unwrap();
    assert_eq!(
        json["$schema"],
        "https://datapackage.org/profiles/2.0/tableschema.json"
    );
    assert_eq!(json["missingValues"], serde_json::json!([""]));
    assert!(json.get("fieldsMatch").is_none());
    let types = ["string", "number", "integer", "boolean", "date"];
    let mut names = Vec::new();
    for field in json["fields"].as_array().unwrap() {
        assert!(types.contains(&field["type"].as_str().unwrap()));
        names.push(field["name"].as_str().unwrap().to_lowercase());
    }
    let count = names.len();
    names.sort();
    names.dedup();
    assert_eq!(names.len(), count);
}

fn decimal_column() -> impl Strategy<Value = (Vec<f64>, Decimals)> {
    prop::collection::vec((-1_000_000_i64..1_000_000, 0_u8..7), 1..40).prop_map(|numbers| {
        let mut decimals = Decimals::default();
        let values = numbers
            .iter()
            .map(|&(integer, digits)| {
                decimals.push(digits);
                format!("{integer}e-{digits}").parse::<f64>().unwrap()
            })
            .collect();
        (values, decimals)
    })
}

proptest! {
    /// Every number comes back bit for bit and in its own digits; every text comes back with its apostrophe off.
    #[test]
    fn what_is_written_is_what_was_read((y, decimals) in decimal_column(), sample in "\\PC{0,12}|[=+@',\"\r\n\t-]{1,4}", many in any::<bool>()) {
        let x: Vec<f64> = (0..y.len()).map(|i| 400.0 + i as f64 * 0.1).collect();
        let axis: Numbers = x.into();
        let trace = || {
            let x = Column::new(Quantity::WAVELENGTH, Unit::NANOMETRE, axis.clone());
            let y = Column::new(Quantity::ABSORBANCE, Unit::ABSORBANCE, y.clone()).with_decimals(decimals.clone());
            Trace::new(x, y).unwrap()
        };
        let traces: Vec<Trace> = (0..if many { 3 } else { 1 }).map(|_| trace()).collect();
        let mut one = run("a", Technique::SPECTRUM, traces);
        one.fields.claim("sample", Claim::text(sample.clone(), said(1)));
        let read = written(std::slice::from_ref(&one), CsvOptions::default());
        let mut rows = read.rows.iter();
        for trace in &one.traces {
            for ((value, text), x) in trace.y.values.iter().zip(trace.y.texts()).zip(trace.x.texts()) {
                let row = rows.next().unwrap();
                // Beside numbers with decimals a whole one ends with a point.
                let bare = |cell: &str| cell.strip_suffix('.').unwrap_or(cell).to_owned();
                prop_assert_eq!(bare(&row["absorbance"]), text);
                prop_assert_eq!(row["absorbance"].parse::<f64>().unwrap().to_bits(), value.to_bits());
                prop_assert_eq!(bare(&row["wavelength_nm"]), x);
                let cell = &row["sample"];
                let guarded = cell.trim_start_matches('\'').starts_with(['=', '+', '-', '@', '\t', '\r', '\n', '＝', '＋', '－', '＠']);
                let back = if guarded && cell.starts_with('\'') { &cell[1..] } else { cell };
                prop_assert_eq!(back, &sample);
            }
        }
    }
}

fn document() -> (Source, ReaderInfo, Reading) {
    let source = Source::new("2019/a.txt", b"400.0 0.1200\n".to_vec());
    let card = ReaderInfo {
        id: "built-in/test".into(),
        version: "1".into(),
        title: "test".into(),
    };
    let mut trace = spectrum(&[400.0, 1e-7], &[0.12, 0.1 + 0.2], 4);
    trace
        .held
        .push(Coordinate::new(Quantity::TIME, Unit::SECOND, 30.0));
    trace.saturated = vec![0];
    trace.lines.push(1);
    let mut one = run("a", Technique::SPECTRUM, vec![trace]);
    let origins = [
        said(1),
        Origin::Note {
            at: Some("2026-01-01T00:00:00Z".into()),
            author: None,
        },
        Origin::Layout { layout: "l".into() },
        Origin::Derived {
            step: "s".into(),
            from: vec!["x".into()],
        },
    ];
    for origin in origins {
        one.fields.claim(
            "temperature",
            Claim::number(37.0, Some(Unit::CELSIUS), "37.0", origin),
        );
    }
    one.fields.claim(
        "wavelength-range",
        Claim {
            value: Value::Range {
                from: 700.0,
                to: 380.0,
            },
            ..Claim::text("700-380", said(2))
        },
    );
    one.remarks
        .push(Diagnostic::warning(Code::new("odd"), "it is odd").at(
            Place {
                line: 7,
                column: 3,
                ..Place::default()
            },
            "here",
        ));
    let reading = Reading {
        runs: vec![one],
        remarks: vec![Diagnostic::note(Code::new("whole"), "of the file").help("nothing")],
        failed: false,
    };
    (source, card, reading)
}

#[test]
fn json_validates_against_its_schema() {
    let schema: serde_json::Value = serde_json::from_str(&json::schema()).unwrap();
    let validator = jsonschema::draft202012::new(&schema).unwrap();
    let (source, card, reading) = document();
    let none = Reading::refused(Diagnostic::error(
        Code::new("not-recognised"),
        "no reader knows it",
    ));
    for (card, reading) in [(Some(&card), &reading), (None, &none)] {
        let mut bytes = Vec::new();
        SourceDocument::new(&source, card, reading)
            .write(&mut bytes)
            .unwrap();
        let json: serde_json::Value = serde_json::from_slice(&bytes).unwrap();
        let errors: Vec<String> = validator.iter_errors(&json).map(|e| e.to_string()).collect();
        assert!(errors.is_empty(), "{errors:?}");
    }
    // And it can fail.
    assert!(!validator.is_valid(&serde_json::json!({ "source": 1 })));
}

#[test]
fn json_says_what_users_look_for() {
    let (source, card, reading) = document();
    let mut bytes = Vec::new();
    SourceDocument::new(&source, Some(&card), &reading)
        .write(&mut bytes)
        .unwrap();
    let json: serde_json::Value = serde_json::from_slice(&bytes).unwrap();
    assert_eq!(json["source"], "2019/a.txt");
    assert_eq!(json["verdict"], "read");
    assert_eq!(json["reader"], "built-in/test");
    assert_eq!(json["bytes"], 13);
    assert_eq!(json["remarks"][0]["code"], "whole");
    assert!(json["remarks"][0].get("line").is_none());
    assert_eq!(
        (&json["remarks"][1]["line"], &json["remarks"][1]["column"]),
        (&7.into(), &3.into())
    );
    assert_eq!(json["remarks"][1]["run"], 0);
    let trace = &json["runs"][0]["traces"][0];
    assert_eq!(
        (&trace["x"]["quantity"], &trace["x"]["unit"]),
        (&"wavelength".into(), &"nm".into())
    );
    assert_eq!(trace["y"]["values"][1].as_f64(), Some(0.1 + 0.2));
    assert_eq!(trace["x"]["values"][1].as_f64(), Some(1e-7));
    assert_eq!(trace["held"][0]["value"], 30.0);
    assert_eq!(json["runs"][0]["fields"]["temperature"]["origin"]["kind"], "note");
}
