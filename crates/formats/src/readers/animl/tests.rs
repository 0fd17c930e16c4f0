use curvary_record::Verdict;

use super::*;

fn document(series: &str) -> String {
    format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<!-- invented numbers -->\n\
         <AnIML version=\"0.90\" xmlns=\"urn:org:astm:animl:schema:core:draft:0.90\">\n\
         <SampleSet><Sample name=\"betanin &amp; citrate\" sampleID=\"s1\"/></SampleSet>\n\
         <ExperimentStepSet><ExperimentStep name=\"scan\" experimentStepID=\"e1\">\n\
         <Infrastructure><SampleReferenceSet><SampleReference sampleID=\"s1\" role=\"Test Sample\"/></SampleReferenceSet>\
         <Timestamp>2021-04-03T10:32:00Z</Timestamp></Infrastructure>\n\
         <Method><Device><Name>bench 2</Name></Device><Category name=\"Measurement\">\
         <Parameter name=\"Sample Path Length\" parameterType=\"Float64\"><D>1</D><Unit label=\"cm\"/></Parameter>\
         </Category></Method>\n<Result name=\"Spectrum\">\n{series}\n</Result></ExperimentStep></ExperimentStepSet></AnIML>\n"
    )
}

const SERIES: &str = "<SeriesSet name=\"Spectrum\" length=\"3\">\n\
    <Series name=\"Wavelength\" seriesID=\"x\" seriesType=\"Float64\" dependency=\"independent\">\n\
    <AutoIncrementedValueSet startIndex=\"0\" endIndex=\"2\"><StartValue><D>400.0</D></StartValue>\
    <Increment><D>0.1</D></Increment></AutoIncrementedValueSet><Unit label=\"nm\" quantity=\"Wavelength\"/></Series>\n\
    <Series name=\"Intensity\" seriesID=\"y\" seriesType=\"Float64\" dependency=\"dependent\">\n\
    <IndividualValueSet><D>0.1200</D><D>0.1311</D>\n<D>0.1502</D></IndividualValueSet><Unit label=\"AU\"/></Series>\n\
    </SeriesSet>";

fn read(text: String) -> Reading {
    Animl::default().read(&Source::new("a.animl", text.into_bytes()))
}

#[test]
fn a_spectrum_is_read_with_its_digits_and_places() {
    let reading = read(document(SERIES));
    assert_eq!(reading.verdict(), Verdict::Read, "{reading:?}");
    let run = &reading.runs[0];
    assert_eq!(run.technique.as_str(), "spectrum");
    assert_eq!(run.fields.text("sample"), Some("betanin & citrate"));
    let path = run.fields.get("path-length").expect("a path length");
    assert_eq!(
        (path.raw.as_str(), path.unit.as_ref().map(Unit::code)),
        ("1 cm", Some("cm"))
    );
    assert_eq!(run.fields.text("date"), Some("2021-04-03"));
    let trace = &run.traces[0];
    assert_eq!(&trace.x.values[..], [400.0, 400.1, 400.2]);
    assert_eq!(
        trace.y.texts().collect::<Vec<_>>(),
        ["0.1200", "0.1311", "0.1502"]
    );
    assert_eq!((trace.lines.get(0), trace.lines.get(2)), (Some(13), Some(14)));
    assert_eq!((trace.x.unit.code(), trace.y.unit.code()), ("nm", "{AU}"));
}

#[test]
fn packed_numbers_are_taken_exactly() {
    // 0.5, 0.25 and -1.0 as Float32, little end first.
    let bytes: Vec<u8> = [0.5_f32, 0.25, -1.0]
        .iter()
        .flat_map(|value| value.to_le_bytes())
        .collect();
    let packed = base64::Engine::encode(&base64::engine::general_purpose::STANDARD, bytes);
    let series = SERIES
        .replace(
            "<IndividualValueSet><D>0.1200</D><D>0.1311</D>\n<D>0.1502</D></IndividualValueSet>",
            &format!("<EncodedValueSet>{packed}</EncodedValueSet>"),
        )
        .replace(
            "seriesID=\"y\" seriesType=\"Float64\"",
            "seriesID=\"y\" seriesType=\"Float32\"",
        );
    let reading = read(document(&series));
    assert_eq!(
        &reading.runs[0].traces[0].y.values[..],
        [0.5, 0.25, -1.0],
        "{reading:?}"
    );
    let damaged = read(document(&series.replace(&packed, &packed[..packed.len() - 3])));
    assert!(damaged.runs.is_empty());
}

#[test]
fn what_does_not_fit_is_left_out_and_told() {
    for (from, to) in [
        ("length=\"3\"", "length=\"4\""),
        ("endIndex=\"2\"", "endIndex=\"3\""),
        ("<D>0.1502</D>", ""),
        ("dependency=\"independent\"", "dependency=\"dependent\""),
        ("dependency=\"dependent\"", "dependency=\"independent\""),
        (
            "seriesID=\"y\" seriesType=\"Float64\"",
            "seriesID=\"y\" seriesType=\"String\"",
        ),
    ] {
        let reading = read(document(&SERIES.replace(from, to)));
        assert!(reading.runs.is_empty(), "{to}");
        assert!(
            reading
                .remarks
                .iter()
                .any(|one| one.code.as_str() == "series-left-out"),
            "{to}: {reading:?}"
        );
    }
    // What the unit does not suit is asked about, and a unit that is none keeps its name.
    let asked = read(document(&SERIES.replace("label=\"nm\"", "label=\"s\"")));
    assert_eq!(asked.verdict(), Verdict::InQuestion, "{asked:?}");
}

#[test]
fn a_series_that_is_shorter_than_the_axis_is_told() {
    let short = "<Series name=\"Dark\" seriesID=\"d\" seriesType=\"Float64\" dependency=\"dependent\">\
        <IndividualValueSet><D>0.001</D></IndividualValueSet></Series></SeriesSet>";
    let series = SERIES.replace(" length=\"3\"", "").replace("</SeriesSet>", short);
    let reading = read(document(&series));
    assert_eq!(reading.runs[0].traces.len(), 1, "{reading:?}");
    let told = reading
        .remarks
        .iter()
        .find(|one| one.code.as_str() == "series-left-out");
    assert!(
        told.is_some_and(|one| one.message.contains("`Dark`") && one.message.contains("1 values")),
        "{reading:?}"
    );
}

#[test]
fn attacks_are_refused_at_once() {
    let deep = format!("<AnIML>{}", "<a>".repeat(100_000));
    let bomb = format!(
        "<!DOCTYPE AnIML [<!ENTITY a \"{}\">]>\n{}",
        "b".repeat(1000),
        document(SERIES)
    );
    let entity = document(&SERIES.replace("0.1200", "&price;"));
    let other = document(SERIES).replace("<AnIML", "<!DOCTYPE AnIML SYSTEM \"file:///etc/passwd\"><AnIML");
    let cut = document(SERIES)[..900].to_owned();
    for text in [deep, bomb, entity, other, cut] {
        let reading = read(text);
        assert!(reading.runs.is_empty());
        assert_eq!(reading.remarks[0].code.as_str(), "xml-refused", "{reading:?}");
    }
}

#[test]
fn no_byte_that_is_cut_off_is_missed() {
    let text = document(SERIES);
    for length in 0..text.trim_end().len() {
        if text.is_char_boundary(length) {
            assert!(read(text[..length].to_owned()).runs.is_empty(), "{length}");
        }
    }
}

#[test]
fn roots_are_found_behind_what_stands_before_them() {
    assert_eq!(
        root_name("<?xml version='1.0'?>\n<!-- a > b -->\n<an:AnIML x='1'>"),
        Some("AnIML")
    );
    assert_eq!(root_name("<!DOCTYPE html><html>"), Some("html"));
    let bomb = "<?xml version=\"1.0\"?><!DOCTYPE l [<!ENTITY a \"b\"> <!ENTITY c \"&a;&a;\"> ]><AnIML/>";
    assert_eq!(root_name(bomb), Some("AnIML"));
    assert_eq!(root_name("a < b"), None);
}

#[test]
fn what_a_unit_measures_tells_what_a_name_does_not() {
    let series = SERIES
        .replace("name=\"Wavelength\"", "name=\"Peak position\"")
        .replace("name=\"Intensity\"", "name=\"Peak height\"")
        .replace(
            "<Unit label=\"AU\"/>",
            "<Unit label=\"AU\" quantity=\"absorbance\"/>",
        );
    let reading = read(document(&series));
    assert_eq!(reading.verdict(), Verdict::Read, "{reading:?}");
    let trace = &reading.runs[0].traces[0];
    assert_eq!(
        (trace.x.quantity.as_str(), trace.x.unit.code()),
        ("wavelength", "nm")
    );
    assert_eq!(
        (trace.y.quantity.as_str(), trace.y.unit.code()),
        ("absorbance", "{AU}")
    );
}
