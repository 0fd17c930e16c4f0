//! What the writer writes, and what it refuses.

use crate::{TABLE_VI, open};
use curvary_jcamp_dx::{
    Code, Content, Curve, Decimals, Form, NonAscii, Sheet, Version, WriteOptions, WriteRefusal, write,
};

fn sheet(curve: Curve) -> Sheet {
    Sheet {
        title: "betanin, 37 C".into(),
        data_type: "UV/VIS SPECTRUM".into(),
        origin: "an invented laboratory".into(),
        owner: "PUBLIC DOMAIN".into(),
        x_units: "NANOMETERS".into(),
        y_units: "ABSORBANCE".into(),
        records: vec![("PATHLENGTH".into(), "1.0".into())],
        content: Content::Curve(curve),
    }
}

fn small() -> Curve {
    Curve::new(
        vec![400.0, 400.5, 401.0, 401.5],
        vec![0.12, 0.1234, 0.1234, 0.1234],
        1,
        4,
    )
}

fn text(form: Form, version: Version) -> String {
    write(
        &[sheet(small())],
        &WriteOptions {
            form,
            version,
            ..WriteOptions::default()
        },
    )
    .unwrap()
    .text
}

/// The mandatory labels of 4.24 in their order (TITLE, JCAMP-DX, DATA TYPE first), CR LF, 5.01 with DATA CLASS.
#[test]
fn a_whole_file() {
    let expected = "##TITLE= betanin, 37 C\r\n##JCAMP-DX= 5.01\r\n##DATA TYPE= UV/VIS SPECTRUM\r\n\
        ##DATA CLASS= XYDATA\r\n##ORIGIN= an invented laboratory\r\n##OWNER= PUBLIC DOMAIN\r\n##PATHLENGTH= 1.0\r\n\
        ##XUNITS= NANOMETERS\r\n##YUNITS= ABSORBANCE\r\n##XFACTOR= 1\r\n##YFACTOR= 0.0001\r\n##FIRSTX= 400.0\r\n\
        ##LASTX= 401.5\r\n##FIRSTY= 0.1200\r\n##MAXX= 401.5\r\n##MINX= 400.0\r\n##MAXY= 0.1234\r\n##MINY= 0.1200\r\n\
        ##NPOINTS= 4\r\n##DELTAX= 0.5\r\n##XYDATA= (X++(Y..Y))\r\n400.0A200L4%T%\r\n401.5A234\r\n##END=\r\n";
    let found = text(Form::DifDup, Version::V5_01);
    // Two equal differences of zero at the end of a line: the last stands alone.
    assert_eq!(found, expected.replace("L4%T%", "L4%%"));
    assert!(!text(Form::DifDup, Version::V4_24).contains("DATA CLASS"));
}

#[test]
fn each_form() {
    let table = |form| {
        text(form, Version::V4_24)
            .split("(X++(Y..Y))\r\n")
            .nth(1)
            .unwrap()
            .to_owned()
    };
    assert_eq!(
        table(Form::Affn),
        "400.0 0.1200 0.1234 0.1234 0.1234\r\n##END=\r\n"
    );
    assert_eq!(table(Form::Pac), "400.0+1200+1234+1234+1234\r\n##END=\r\n");
    assert_eq!(table(Form::Sqz), "400.0A200A234A234A234\r\n##END=\r\n");
    assert_eq!(table(Form::Dif), "400.0A200L4%%\r\n401.5A234\r\n##END=\r\n");
}

/// Baumbach et al. (2001): the published string of Table VI, with the X of its first and last line.
#[test]
fn table_vi_as_published() {
    let x: Vec<f64> = (0..53i64)
        .map(|i| (599_860 * 52 + i * 100_298) as f64 / 52_000.0)
        .collect();
    let mut curve = Curve::new(x, TABLE_VI.map(f64::from).to_vec(), 3, 0);
    curve.x_decimals = Decimals::Unlimited;
    let options = WriteOptions {
        form: Form::DifDup,
        ..WriteOptions::default()
    };
    let text = write(&[sheet(curve)], &options).unwrap().text;
    assert!(text.contains("##FIRSTX= 599.86\r\n"));
    assert!(
        text.contains("@VKT%TLkj%J%KLJ%njKjL%kL%jJULJ%kLK1%lLMNPNPRLJ0QTOJ1P\r\n700.158"),
        "{text}"
    );
}

#[test]
fn what_does_not_fit_is_written_plainer() {
    let options = WriteOptions {
        form: Form::DifDup,
        ..WriteOptions::default()
    };
    let mut curve = small();
    curve.x[3] = 402.0;
    let written = write(&[sheet(curve)], &options).unwrap();
    assert!(written.text.contains("##XYPOINTS= (XY..XY)\r\n400.0,0.1200\r\n"));
    assert_eq!(written.remarks[0].code, Code::FormNotPossible);
    let mut curve = small();
    curve.y_decimals = Decimals::Each(vec![2, 4, 4, 4]);
    let written = write(&[sheet(curve.clone())], &options).unwrap();
    assert!(written.text.contains("400.0 0.12 0.1234 0.1234 0.1234\r\n"));
    assert_eq!(written.remarks[0].code, Code::FormNotPossible);
    let padded = write(
        &[sheet(curve)],
        &WriteOptions {
            pad_decimals: true,
            ..options.clone()
        },
    )
    .unwrap();
    assert!(padded.text.contains("400.0A200L4"));
    let mut curve = small();
    curve.y[0] = -0.0;
    let text = write(&[sheet(curve)], &options).unwrap().text;
    assert!(text.contains("400.0 -0.0000 0.1234"), "{text}");
}

#[test]
fn texts_are_made_safe() {
    let mut sheet = sheet(small());
    sheet.title = "37 °C".into();
    sheet.records = vec![
        ("NAMES".into(), "a\n##END=\nb".into()),
        ("$PRICE".into(), "5 $$ 6".into()),
        ("NPOINTS".into(), "7".into()),
        (".MODE".into(), "x".into()),
    ];
    let options = WriteOptions {
        program: "test 1".into(),
        ..WriteOptions::default()
    };
    let written = write(std::slice::from_ref(&sheet), &options).unwrap();
    let codes: Vec<Code> = written.remarks.iter().map(|r| r.code).collect();
    assert_eq!(
        codes,
        [
            Code::TextNotAscii,
            Code::TextChanged,
            Code::TextChanged,
            Code::LabelReserved
        ]
    );
    let document = open(&written.text);
    assert!(document.remarks.is_empty(), "{:?}", document.remarks);
    assert_eq!(document.blocks[0].title(), "37 °C");
    assert_eq!(document.blocks[0].value("NAMES"), Some("a\n# #END=\nb"));
    assert_eq!(document.blocks[0].value("$price"), Some("5 $ $ 6"));
    assert_eq!(
        document.blocks[0].record("JCAMP-DX").unwrap().comments,
        ["test 1"]
    );
    let options = WriteOptions {
        non_ascii: NonAscii::Transliterate,
        ..options
    };
    assert!(write(&[sheet], &options).unwrap().text.is_ascii());
}

#[test]
fn refusals() {
    let options = WriteOptions::default();
    let refused = |sheet: Sheet| write(&[sheet], &options).unwrap_err();
    assert_eq!(write(&[], &options).unwrap_err(), WriteRefusal::NoSheets);
    assert!(matches!(
        refused(sheet(Curve::default())),
        WriteRefusal::Empty { .. }
    ));
    let mut curve = small();
    curve.y[2] = f64::NAN;
    assert!(matches!(
        refused(sheet(curve)),
        WriteRefusal::NotFinite { index: 2, .. }
    ));
    let mut curve = small();
    curve.y.pop();
    assert!(matches!(refused(sheet(curve)), WriteRefusal::Inconsistent { .. }));
    for label in ["", " - ", "A=B", "A\nB", "µ", "$$A"] {
        let mut sheet = sheet(small());
        sheet.records = vec![(label.into(), "x".into())];
        let refusal = refused(sheet);
        assert!(matches!(refusal, WriteRefusal::BadLabel { .. }), "{label:?}");
        assert!(!refusal.to_string().is_empty());
    }
}
