//! Whose file it is, and what blocks, labels and tables say.

use super::*;

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
