//! Deviations met in real files. Where no source is named, the expectation follows from the rules of the standard.

use crate::{block_curve, codes, curve, file, open};
use curvary_jcamp_dx::{Code, Decimals, ReadOptions, Weight, read};

const TEN: &str = "##XFACTOR= 1\n##YFACTOR= 0.01\n##FIRSTX= 400\n##LASTX= 409\n##NPOINTS= 10\n##DELTAX= 1";
const DATA_TEN: &str = "##XYDATA= (X++(Y..Y))\n400A0JJJ\n403A3JJJ\n406A6JJJ\n409A9";

fn ten() -> Vec<f64> {
    (10..20).map(|i| f64::from(i) / 100.0).collect()
}

#[track_caller]
fn expect(text: &str, y: &[f64], wanted: &[Code]) {
    let document = open(text);
    assert_eq!(curve(&document).y, y, "{:#?}", document.remarks);
    let found = codes(&document);
    assert_eq!(found, wanted, "{:#?}", document.remarks);
    for remark in &document.remarks {
        assert!(remark.place.line > 0 && remark.place.column > 0);
        assert!(
            text.get(remark.place.span.start..remark.place.span.end).is_some(),
            "{remark}"
        );
    }
}

#[test]
fn the_sound_table_has_no_remarks() {
    expect(&file(TEN, DATA_TEN), &ten(), &[]);
}

/// Trap 1: NPOINTS counts the check points, the lines, or is off by one; BLOCKS is wrong.
#[test]
fn npoints_is_wrong() {
    for wrong in ["13", "4", "11", "9"] {
        let text = file(
            &TEN.replace("NPOINTS= 10", &format!("NPOINTS= {wrong}")),
            DATA_TEN,
        );
        expect(&text, &ten(), &[Code::NpointsDiffers]);
        assert_eq!(curve(&open(&text)).x[9], 409.0, "NPOINTS={wrong}");
    }
    let text = "##TITLE=a\n##JCAMP-DX=4.24\n##DATA TYPE=LINK\n##BLOCKS=3\n##TITLE=b\n##JCAMP-DX=4.24\n##END=\n##END=\n";
    assert_eq!(codes(&open(text)), [Code::BlocksDiffers]);
}

/// Trap 2: DELTAX rounded, of the wrong sign; x falls.
#[test]
fn deltax_is_rounded_or_wrong() {
    expect(
        &file(&TEN.replace("DELTAX= 1", "DELTAX= 1.0"), DATA_TEN),
        &ten(),
        &[],
    );
    expect(
        &file(&TEN.replace("DELTAX= 1", "DELTAX= -1"), DATA_TEN),
        &ten(),
        &[Code::DeltaXSign],
    );
    expect(
        &file(&TEN.replace("DELTAX= 1", "DELTAX= 2"), DATA_TEN),
        &ten(),
        &[Code::DeltaXDiffers],
    );
    let labels = TEN
        .replace("FIRSTX= 400", "FIRSTX= 409")
        .replace("LASTX= 409", "LASTX= 400");
    let table = "##XYDATA= (X++(Y..Y))\n409A0JJJ\n406A3JJJ\n403A6JJJ\n400A9";
    expect(&file(&labels, table), &ten(), &[Code::DeltaXSign]);
    // A step of 0.3333 over 1000 points would be off by a tenth of a step at the end; LASTX is not.
    let many: String = (0..=100)
        .map(|k| format!("{:.3}{}\n", 300.0 + f64::from(k) * 10.0 / 3.0, "@".repeat(10)))
        .collect();
    let labels =
        "##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=300\n##LASTX=636.333333333\n##NPOINTS=1010\n##DELTAX=0.33";
    let document = open(&file(labels, &format!("##XYDATA=(X++(Y..Y))\n{many}")));
    assert!(codes(&document).is_empty(), "{:#?}", document.remarks);
    assert_eq!(curve(&document).x[1009], 636.333333333);
}

/// Trap 3: FIRSTY, MAXY and MINY in scaled units.
#[test]
fn firsty_is_scaled() {
    let labels = format!("{TEN}\n##FIRSTY= 10\n##MAXY= 19\n##MINY= 10");
    expect(&file(&labels, DATA_TEN), &ten(), &[Code::FirstYScaled; 3]);
    let labels = format!("{TEN}\n##FIRSTY= 0.10\n##MAXY= 0.19\n##MINY= 0.10");
    expect(&file(&labels, DATA_TEN), &ten(), &[]);
    let labels = format!("{TEN}\n##FIRSTY= 0.30\n##MAXY= 0.5");
    expect(
        &file(&labels, DATA_TEN),
        &ten(),
        &[Code::FirstYDiffers, Code::ExtremeDiffers],
    );
}

/// Trap 4: the last check line is missing, or there are no check values at all.
#[test]
fn check_values_are_missing() {
    let text = file(TEN, "##XYDATA= (X++(Y..Y))\n400A0JJJ\n403A3JJJ\n406A6JJJ");
    expect(&text, &ten(), &[Code::YCheckLineMissing]);
    let text = file(TEN, "##XYDATA= (X++(Y..Y))\n400A0JJJ\n404A4JJJ\n408A8J");
    expect(&text, &ten(), &[Code::YCheckAbsent]);
    // A flat curve: the values do not tell, the count does.
    let labels = TEN
        .replace("NPOINTS= 10", "NPOINTS= 8")
        .replace("LASTX= 409", "LASTX= 407");
    expect(
        &file(&labels, "##XYDATA= (X++(Y..Y))\n400A0%%%\n404A0%%%"),
        &[0.1; 8],
        &[Code::YCheckAbsent],
    );
    let labels = TEN
        .replace("NPOINTS= 10", "NPOINTS= 7")
        .replace("LASTX= 409", "LASTX= 406");
    expect(
        &file(&labels, "##XYDATA= (X++(Y..Y))\n400A0%%%\n403A0%%%\n406A0"),
        &[0.1; 7],
        &[],
    );
}

/// Trap 5: DUP behind a check value: the check is dropped once, the copies stay. A line that ends in a counted
/// difference ends in difference form.
#[test]
fn copies_behind_a_check_value() {
    let labels = TEN
        .replace("NPOINTS= 10", "NPOINTS= 6")
        .replace("LASTX= 409", "LASTX= 405");
    let text = file(&labels, "##XYDATA= (X++(Y..Y))\n400A0JT\n403A3TJJ\n406A5");
    // 10 11 12 12? The step of one is repeated: 10 11 12; the check value 12 follows as 13 would be wrong.
    let document = open(&text);
    assert!(!codes(&document).is_empty());
    let text = file(&labels, "##XYDATA= (X++(Y..Y))\n400A0JU\n403A3TJ\n405A4");
    expect(&text, &[0.1, 0.11, 0.12, 0.13, 0.13, 0.14], &[]);
    // Published reading of `h5T` (-85 twice): one is the check value, one a new point.
    let labels = "##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=1\n##LASTX=3\n##NPOINTS=3\n##FIRSTY=-84";
    expect(
        &file(labels, "##XYDATA=(X++(Y..Y))\n1h4j\n2h5T"),
        &[-84.0, -85.0, -85.0],
        &[],
    );
}

/// A writer that repeats no ordinate after counted differences, everywhere in the table.
#[test]
fn no_check_after_counted_differences() {
    let labels = "##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=0\n##LASTX=11\n##NPOINTS=12";
    let text = file(labels, "##XYDATA=(X++(Y..Y))\n0AJU\n4EJT\n7HJ\n8IJJ\n10A1J");
    let document = open(&text);
    assert_eq!(
        curve(&document).y,
        [1., 2., 3., 4., 5., 6., 7., 8., 9., 10., 11., 12.],
        "{:#?}",
        document.remarks
    );
    assert!(codes(&document).contains(&Code::YCheckAbsentAfterDuplicate));
}

/// Trap 6: no blank behind X; values run together by sign only.
#[test]
fn run_together() {
    let labels = "##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=599\n##LASTX=602\n##NPOINTS=4";
    expect(
        &file(labels, "##XYDATA=(X++(Y..Y))\n599+1-1+2.5-3"),
        &[1.0, -1.0, 2.5, -3.0],
        &[],
    );
    let labels = "##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=599\n##LASTX=600\n##NPOINTS=2";
    expect(
        &file(labels, "##XYPOINTS=(XY..XY)\n599+1 600-1"),
        &[1.0, -1.0],
        &[],
    );
}

/// Trap 7: exponents against the squeezed digit E.
#[test]
fn exponents() {
    let labels = "##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=1\n##LASTX=2\n##NPOINTS=2";
    expect(
        &file(labels, "##XYDATA=(X++(Y..Y))\n1 1.5E+02 -2.0E-01"),
        &[150.0, -0.2],
        &[],
    );
    expect(&file(labels, "##XYDATA=(X++(Y..Y))\n1E3e3"), &[53.0, -53.0], &[]);
    expect(
        &file(labels, "##XYDATA=(X++(Y..Y))\n1 1.5E+2 1"),
        &[150.0, 1.0],
        &[Code::ExponentSpelling],
    );
    expect(
        &file(labels, "##XYPOINTS=(XY..XY)\n1,1.5E3 2,2e-1"),
        &[1500.0, 0.2],
        &[Code::ExponentSpelling],
    );
    expect(
        &file(labels, "##XYDATA=(X++(Y..Y))\n1 1.5E3"),
        &[1.5, 53.0],
        &[Code::ExponentOrSqueezed],
    );
}

/// Trap 8: decimal commas, decided for the table as a whole.
#[test]
fn decimal_commas() {
    let labels = "##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=400,0\n##LASTX=402,0\n##FIRSTY=0,123\n##NPOINTS=3";
    let document = open(&file(labels, "##XYDATA=(X++(Y..Y))\n400,0 0,123 0,124 0,125"));
    assert_eq!(curve(&document).y, [0.123, 0.124, 0.125]);
    assert_eq!(curve(&document).y_decimals, Decimals::Same(3));
    assert!(codes(&document).contains(&Code::DecimalComma));
    // Labels with points, table with commas: the labels still tell.
    let labels = labels.replace(',', ".");
    let document = open(&file(
        &labels,
        "##XYPOINTS=(XY..XY)\n400,0 0,123\n401,0 0,124\n402,0 0,125",
    ));
    assert_eq!(
        (curve(&document).x[2], curve(&document).y[2]),
        (402.0, 0.125),
        "{:#?}",
        document.remarks
    );
    // The same commas as separators.
    let labels = "##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=400\n##LASTX=402\n##FIRSTY=123\n##NPOINTS=3";
    let document = open(&file(labels, "##XYPOINTS=(XY..XY)\n400,123 401,124 402,125"));
    assert_eq!(
        (curve(&document).x[2], curve(&document).y[2]),
        (402.0, 125.0),
        "{:#?}",
        document.remarks
    );
    assert!(codes(&document).is_empty(), "{:#?}", document.remarks);
    // Nothing tells: no number is handed out until someone says.
    let text = file("##XFACTOR=1\n##YFACTOR=1", "##XYPOINTS=(XY..XY)\n400,123 401,124");
    let document = open(&text);
    assert!(curve(&document).is_empty());
    assert!(codes(&document).contains(&Code::CommaUndecided));
    let options = ReadOptions {
        decimal_comma: Some(true),
        ..ReadOptions::default()
    };
    assert_eq!(block_curve(&read(&text, &options).blocks[0]).x, [400.123]);
    // With a point anywhere, commas are separators.
    let document = open(&file("##NPOINTS=2", "##XYPOINTS=(XY..XY)\n400,1 401.5,2"));
    assert_eq!(curve(&document).x, [400.0, 401.5]);
}

/// Trap 9: line ends, end-of-file byte, NUL, byte order mark, tabs, long and blank lines.
#[test]
fn bytes() {
    let text = file(TEN, DATA_TEN);
    for ends in ["\r\n", "\r"] {
        expect(&text.replace('\n', ends), &ten(), &[]);
    }
    let mixed: String = text
        .lines()
        .enumerate()
        .map(|(i, l)| l.to_owned() + ["\n", "\r", "\r\n"][i % 3])
        .collect();
    expect(&mixed, &ten(), &[]);
    expect(&(text.clone() + "\u{1a}"), &ten(), &[Code::ControlCharacter]);
    expect(&(text.clone() + "\0\0\0"), &ten(), &[Code::ControlCharacter]);
    expect(&("\u{feff}".to_owned() + &text), &ten(), &[Code::ByteOrderMark]);
    expect(
        &text.replace("400A0", "\t400\tA0").replace("\n403", "\n\n  \n403"),
        &ten(),
        &[],
    );
    let long = format!("400{}", " 1".repeat(5000));
    let labels = "##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=400\n##LASTX=5399\n##NPOINTS=5000";
    expect(
        &file(labels, &format!("##XYDATA=(X++(Y..Y))\n{long}")),
        &[1.0; 5000],
        &[],
    );
}

/// Trap 10: characters beyond ASCII are kept as decoded.
#[test]
fn foreign_characters() {
    let text = file(&format!("{TEN}\n##TEMPERATURE= 37 °C, µ"), DATA_TEN);
    assert_eq!(open(&text).blocks[0].value("TEMPERATURE"), Some("37 °C, µ"));
    // Columns count characters, spans count bytes.
    let document = open(&file(
        TEN,
        "##XYDATA= (X++(Y..Y))\n400A0JJJ\n403A3 °JJ\n406A6JJJ\n409A9",
    ));
    let remark = document
        .remarks
        .iter()
        .find(|r| r.code == Code::IllegalCharacter)
        .unwrap();
    assert_eq!((remark.place.line, remark.place.column), (16, 7));
    assert_eq!(remark.place.span.end - remark.place.span.start, 2);
}

/// Trap 11: blocks joined without LINK, END missing.
#[test]
fn joined_blocks() {
    let text = file(TEN, DATA_TEN);
    let document = open(&format!("{text}{text}"));
    assert_eq!(
        (document.blocks.len(), codes(&document)),
        (2, vec![Code::BlocksMerelyJoined])
    );
    let without = text.replace("##END=\n", "");
    let document = open(&format!("{without}{text}"));
    assert_eq!(document.blocks.len(), 2);
    assert_eq!(codes(&document), [Code::EndMissing, Code::BlocksMerelyJoined]);
    expect(&without, &ten(), &[Code::EndMissing]);
    expect(&text.replace("##END=", "##END"), &ten(), &[]);
    let document = open(&(text.clone() + "##END=\n"));
    assert_eq!(codes(&document), [Code::StrayEnd]);
    let document = open(&format!("hello\n{text}"));
    assert_eq!(codes(&document), [Code::TextBeforeFirstLabel]);
    assert_eq!(
        codes(&open(&text.replace("##TITLE= test\n", ""))),
        [Code::TitleMissing]
    );
    assert_eq!(codes(&open("no labels at all")), [Code::TextBeforeFirstLabel]);
    assert!(open("").blocks.is_empty());
}

/// Trap 12: form and label do not belong together, or the form is spelled oddly or left out.
#[test]
fn forms() {
    expect(
        &file(TEN, &DATA_TEN.replace("(X++(Y..Y))", "( x++ (y..y) )")),
        &ten(),
        &[],
    );
    expect(
        &file(TEN, &DATA_TEN.replace("(X++(Y..Y))", "")),
        &ten(),
        &[Code::FormMissing],
    );
    expect(
        &file(TEN, &DATA_TEN.replace("XYDATA", "XYPOINTS")),
        &ten(),
        &[Code::FormUnderWrongLabel],
    );
    let labels = "##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=400\n##LASTX=403\n##NPOINTS=3";
    let pairs = "##XYDATA=(XY..XY)\n400 1\n401.5 2\n403 3";
    expect(
        &file(labels, pairs),
        &[1.0, 2.0, 3.0],
        &[Code::FormUnderWrongLabel],
    );
    let document = open(&file("##NPOINTS=1", "##PEAKTABLE=(XY..XY)\n1 2"));
    assert!(document.remarks.is_empty());
    let document = open(&file(labels, "##XYDATA=(QQ)\n400 1"));
    assert_eq!(codes(&document), [Code::FormUnknown]);
    assert!(document.blocks[0].tables.is_empty());
    // Unevenly spaced lines of one ordinate under (X++(Y..Y)).
    let text = file(labels, "##XYDATA=(X++(Y..Y))\n400 1\n400.5 2\n403 3");
    expect(
        &text,
        &[1.0, 2.0, 3.0],
        &[Code::FormReadAsPairs, Code::ReadingUndecided],
    );
    assert_eq!(curve(&open(&text)).x, [400.0, 400.5, 403.0]);
}

/// Traps 13 and 14 concern values of text labels, which are handed out as they stand.
#[test]
fn units_and_dates_as_they_stand() {
    let text = file(TEN, DATA_TEN)
        .replace("= ABSORBANCE", "= %T")
        .replace("##ORIGIN", "##DATE= 31/12/99\n##ORIGIN");
    let document = open(&text);
    assert_eq!(document.blocks[0].value("YUNITS"), Some("%T"));
    assert_eq!(document.blocks[0].value("DATE"), Some("31/12/99"));
}

/// Trap 15: `##` inside a text opens a record only at a line start; `=` in data is harmless.
#[test]
fn marks_inside_texts() {
    let text = file(
        &format!("{TEN}\n##NAMES= see ##A=1, b=2\n##no equals here"),
        DATA_TEN,
    );
    let document = open(&text);
    assert_eq!(document.blocks[0].value("NAMES"), Some("see ##A=1, b=2"));
    assert_eq!(codes(&document), [Code::LabelWithoutEquals]);
    expect(
        &file(TEN, &DATA_TEN.replace("400A0JJJ", "400A0JJJ $$ JJ")),
        &ten(),
        &[],
    );
}

/// Trap 16: duplicate labels.
#[test]
fn duplicate_labels() {
    let labels = format!("{TEN}\n##YFACTOR= 5\n##TITLE= again");
    let text = file(&labels, DATA_TEN);
    let document = open(&text.replace("##TITLE= again", "##NAMES= a\n##NAMES= b"));
    assert_eq!(curve(&document).y, ten());
    // Another value of a label that is computed with is a doubt; FIRSTY settles it.
    assert_eq!(
        codes(&document),
        [
            Code::DuplicateLabelDiffers,
            Code::DuplicateLabel,
            Code::ReadingUndecided
        ]
    );
    let document = open(&text.replace("##TITLE= again", "##FIRSTY= 0.1"));
    assert_eq!(curve(&document).y, ten());
    assert_eq!(codes(&document), [Code::DuplicateLabelDiffers]);
    let document = open(&text.replace("##TITLE= again", "##NAMES= a\n##NAMES= b"));
    assert_eq!(
        document.blocks[0]
            .records
            .iter()
            .filter(|r| r.label == "NAMES")
            .count(),
        2
    );
}

/// Trap 17: XFACTOR is not 1 and FIRSTX is given scaled; x falls while DELTAX rises.
#[test]
fn firstx_is_scaled() {
    let labels = "##XFACTOR= 0.1\n##YFACTOR= 0.01\n##FIRSTX= 4000\n##LASTX= 4009\n##NPOINTS= 10";
    let table = DATA_TEN
        .replace("400A", "4000A")
        .replace("403A", "4003A")
        .replace("406A", "4006A")
        .replace("409A", "4009A");
    let document = open(&file(labels, &table));
    assert_eq!(codes(&document), [Code::FirstXScaled, Code::ReadingUndecided]);
    assert_eq!((curve(&document).x[0], curve(&document).x[9]), (400.0, 400.9));
    let document = open(&file(
        &labels.replace("= 4000", "= 400.0").replace("= 4009", "= 400.9"),
        &table,
    ));
    assert!(codes(&document).is_empty(), "{:#?}", document.remarks);
    assert_eq!(curve(&document).x[9], 400.9);
}

/// A wrong or absent FIRSTX, LASTX, factor.
#[test]
fn ends_and_factors() {
    expect(
        &file(&TEN.replace("FIRSTX= 400", "FIRSTX= 300"), DATA_TEN),
        &ten(),
        &[Code::FirstXDiffers],
    );
    expect(
        &file(&TEN.replace("##FIRSTX= 400\n", ""), DATA_TEN),
        &ten(),
        &[Code::FirstXMissing],
    );
    let document = open(&file(&TEN.replace("LASTX= 409", "LASTX= 500"), DATA_TEN));
    assert_eq!(curve(&document).x[9], 409.0);
    assert_eq!(codes(&document), [Code::GridFromDelta, Code::LastXDiffers]);
    let document = open(&file("##XFACTOR=1\n##YFACTOR=0.01\n##NPOINTS=10", DATA_TEN));
    assert_eq!(curve(&document).x[9], 409.0);
    assert!(codes(&document).contains(&Code::GridFromLines));
    let document = open(&file(&TEN.replace("YFACTOR= 0.01", "YFACTOR= abc"), DATA_TEN));
    assert!(document.blocks[0].tables.is_empty());
    assert!(codes(&document).contains(&Code::FactorUnusable));
    let document = open(&file(&TEN.replace("##YFACTOR= 0.01\n", ""), DATA_TEN));
    // Integers without a factor are no certain values, unless a label agrees with them.
    assert_eq!(codes(&document), [Code::FactorMissing, Code::ReadingUndecided]);
    let text = file(&TEN.replace("##YFACTOR= 0.01\n", "##FIRSTY= 10\n"), DATA_TEN);
    assert_eq!(codes(&open(&text)), [Code::FactorMissing]);
    // One line, and labels that contradict each other: no X is certain.
    let labels = "##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=400\n##LASTX=402\n##NPOINTS=4";
    let document = open(&file(labels, "##XYDATA=(X++(Y..Y))\n400 1 2 3"));
    assert!(curve(&document).is_empty());
    assert!(codes(&document).contains(&Code::GridUndecided));
}

/// Text behind a number may change it; a unit does not.
#[test]
fn text_behind_a_number() {
    for factor in ["1/100", "1 x 10-2", "1D-2", "1,000.5", "1 000"] {
        let document = open(&file(&TEN.replace("0.01", factor), DATA_TEN));
        assert!(document.blocks[0].tables.is_empty(), "{factor}");
        assert_eq!(codes(&document), [Code::LabelNotANumber, Code::FactorUnusable]);
    }
    let text = file(&TEN.replace("LASTX= 409", "LASTX= 409 nm"), DATA_TEN);
    expect(&text, &ten(), &[Code::TextAfterNumber]);
}

/// Labels that stand between two tables of a block are those of the second.
#[test]
fn labels_between_tables() {
    let second = "##YFACTOR= 1\n##FIRSTX= 500\n##LASTX= 509\n##XYDATA= (X++(Y..Y))\n500A0JJJJJJJJJ\n509A9";
    let document = open(&file(TEN, &format!("{DATA_TEN}\n{second}")));
    let [first, second] = &document.blocks[0].tables[..] else {
        panic!("{document:?}")
    };
    assert_eq!(first.data.curve().unwrap().y, ten());
    assert_eq!(second.data.curve().unwrap().x[9], 509.0);
    assert_eq!(second.data.curve().unwrap().y[9], 19.0);
    assert_eq!((&first.doubts[..], &second.doubts[..]), (&[][..], &[][..]));
}

/// A decimal comma in a peak table: the count of peaks tells, or nothing is read.
#[test]
fn decimal_commas_in_peak_tables() {
    let rows = |document: &curvary_jcamp_dx::Document| match &document.blocks[0].tables[0].data {
        curvary_jcamp_dx::Data::Peaks(peaks) => peaks.rows.iter().map(|p| (p.x, p.y)).collect::<Vec<_>>(),
        other => panic!("{other:?}"),
    };
    let table = "##PEAK TABLE= (XY..XY)\n400,5 0,123\n500,5 0,456";
    let decimal = vec![(400.5, Some(0.123)), (500.5, Some(0.456))];
    assert_eq!(rows(&open(&file("##NPOINTS= 2", table))), decimal);
    let document = open(&file("##TIME= 12:00", table));
    assert!(codes(&document).contains(&Code::CommaUndecided));
    assert_eq!(rows(&document), []);
    let options = ReadOptions {
        decimal_comma: Some(true),
        ..ReadOptions::default()
    };
    assert_eq!(rows(&read(&file("##TIME= 12:00", table), &options)), decimal);
    let integers = "##PEAK TABLE= (XY..XY)\n400,1 500,2";
    assert_eq!(
        rows(&open(&file("##NPOINTS= 2", integers))),
        [(400.0, Some(1.0)), (500.0, Some(2.0))]
    );
}

/// Words that stand for no number are made of pseudo-digits: `NaN` would be 5, -1, 5.
#[test]
fn words_in_place_of_numbers() {
    let labels = "##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=400\n##LASTX=405";
    for word in ["NaN", "nan", "Inf", "NULL", "over"] {
        let document = open(&file(
            labels,
            &format!("##XYDATA=(X++(Y..Y))\n400 1 {word} 3 4\n404 5 6"),
        ));
        assert!(codes(&document).contains(&Code::IllegalCharacter), "{word}");
        assert!(!curve(&document).y.contains(&3.0), "{word}");
    }
    // The same letters run together are differences.
    let labels = "##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=400\n##LASTX=402\n##NPOINTS=3";
    expect(
        &file(labels, "##XYDATA=(X++(Y..Y))\n400A0NN\n402B0"),
        &[10.0, 15.0, 20.0],
        &[],
    );
}

/// Several columns over one X are no pairs.
#[test]
fn columns_under_the_form_of_pairs() {
    let columns = "##XYPOINTS=(XY..XY)\n400 0.1 0.2 0.3\n401 0.3 0.4 0.4\n402 0.5 0.6 0.5";
    let document = open(&file("##NPOINTS=3", columns));
    assert!(curve(&document).is_empty());
    assert!(codes(&document).contains(&Code::PointsInColumns));
    // Two pairs on a line are pairs, even if NPOINTS is wrong.
    let pairs = "##XYPOINTS=(XY..XY)\n400 0.1 401 0.3\n402 0.3 403 0.4";
    expect(
        &file("##NPOINTS=2", pairs),
        &[0.1, 0.3, 0.3, 0.4],
        &[Code::NpointsDiffers],
    );
}

/// `400.0.1` is no number; a number that ends with its point at the end of a file without END may be cut.
#[test]
fn stray_points() {
    let document = open(&file("##NPOINTS=2", "##XYPOINTS=(XY..XY)\n400.0.1\n401 0.2"));
    assert_eq!(curve(&document).y, [0.2]);
    assert!(codes(&document).contains(&Code::IllegalCharacter));
    let labels = "##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=400\n##LASTX=402\n##NPOINTS=3";
    let table = "##XYDATA=(X++(Y..Y))\n400 0.1 0.2.3";
    assert!(codes(&open(&file(labels, table))).contains(&Code::IllegalCharacter));
    for table in [
        "##XYDATA=(X++(Y..Y))\n400 0.1 0.2 0.",
        "##XYPOINTS=(XY..XY)\n400 0.1\n401 0.2\n402 0.",
    ] {
        let text = file(labels, table).replace("##END=\n", "");
        let document = open(&text);
        assert_eq!(curve(&document).y, [0.1, 0.2], "{:#?}", document.remarks);
        assert!(codes(&document).contains(&Code::TableCutOff));
    }
    let whole = open(&file(labels, "##XYDATA=(X++(Y..Y))\n400 1. 2. 3."));
    assert_eq!(
        (codes(&whole), &curve(&whole).y[..]),
        (vec![], &[1.0, 2.0, 3.0][..])
    );
}

/// 6.00 was never published: read leniently, and said so.
#[test]
fn versions() {
    let text = file(TEN, DATA_TEN);
    expect(&text.replace("4.24", "6.00"), &ten(), &[Code::VersionProvisional]);
    expect(&text.replace("4.24", "9"), &ten(), &[Code::VersionUnknown]);
    expect(&text.replace("4.24", "5.01 $$ some program"), &ten(), &[]);
    expect(
        &text.replace("##JCAMP-DX= 4.24\n", ""),
        &ten(),
        &[Code::VersionMissing],
    );
}

/// The exact decimals: ordinate times factor is rounded once, a decimal grid gives the decimals.
#[test]
fn exact_values() {
    let labels = "##XFACTOR=1\n##YFACTOR=0.0001\n##FIRSTX=400.0\n##LASTX=400.3\n##NPOINTS=4";
    let document = open(&file(labels, "##XYDATA=(X++(Y..Y))\n400.0 1234 3 7 -1234567"));
    assert_eq!(curve(&document).y, [0.1234, 0.0003, 0.0007, -123.4567]);
    assert_eq!(curve(&document).x, [400.0, 400.1, 400.2, 400.3]);
    assert_eq!(
        (&curve(&document).x_decimals, &curve(&document).y_decimals),
        (&Decimals::Same(1), &Decimals::Same(4))
    );
}

/// Every remark prints its place, what was found and what to do.
#[test]
fn remarks_in_words() {
    let document = open(&file(&TEN.replace("NPOINTS= 10", "NPOINTS= 11"), DATA_TEN));
    assert_eq!(
        document.remarks[0].to_string(),
        "12:1: doubt [npoints-differs]: found 11, expected 10 points. NPOINTS is not the number of points read; \
         the points read are kept. Check that none is lost."
    );
    let mut names: Vec<&str> = Code::ALL.iter().map(|c| c.as_str()).collect();
    assert!(
        names
            .iter()
            .all(|n| n.chars().all(|c| c.is_ascii_lowercase() || c == '-'))
    );
    names.sort_unstable();
    names.dedup();
    assert_eq!(names.len(), Code::ALL.len());
    assert!(Code::ALL.iter().any(|c| c.weight() == Weight::Loss));
}
