//! The examples printed in the standard, and its rules on records and blocks.

use crate::{LABELS_VI, TABLE_VI, codes, curve, file, open};
use curvary_jcamp_dx::{Code, Data, Decimals, LabelKind, normalise_label};

/// McDonald & Wilks, Appl. Spectrosc. 42(1) 151-162 (1988), Table VI as AFFN. The printed X are off by up to 0.0008.
#[test]
fn table_vi_affn() {
    let text = file(
        LABELS_VI,
        "##XYDATA= (X++(Y..Y))\n\
         599.860 0 0 0 0 2 4 4 4 7 5 4 4 5 5 7 10 11 11 6 5 7 6 9 9 7\n\
         648.081 10 10 9 10 11 12 15 16 16 14 17 38 38 35 38 42 47 54\n\
         682.799  59  66  75  78  88  96 104 110 121 128",
    );
    let document = open(&text);
    assert!(document.remarks.is_empty(), "{:?}", document.remarks);
    let curve = curve(&document);
    assert_eq!(curve.y, TABLE_VI.map(f64::from));
    assert_eq!((curve.x[0], curve.x[52]), (599.86, 700.158));
    assert_eq!(curve.lines.line_of(25), Some(19));
    // (700.158 - 599.860) / 52 has no end in decimals.
    assert_eq!(curve.x_decimals, Decimals::Unlimited);
}

/// Baumbach et al., Pure Appl. Chem. 73(11) 1765-1782 (2001): the same as DIFDUP with its check line.
#[test]
fn table_vi_difdup() {
    let text = file(
        LABELS_VI,
        "##XYDATA= (X++(Y..Y))\n599.860@VKT%TLkj%J%KLJ%njKjL%kL%jJULJ%kLK1%lLMNPNPRLJ0QTOJ1P\n700.158A28",
    );
    let document = open(&text);
    assert!(document.remarks.is_empty(), "{:?}", document.remarks);
    assert_eq!(curve(&document).y, TABLE_VI.map(f64::from));
}

/// The 1988 printing has two misprints (`Kl` for `K1`, `JO` for `J0`). They must not give the right values, nor
/// wrong ones: only the first points, which are absolute, stand on their own.
#[test]
fn table_vi_with_the_misprints_of_1988() {
    let text = file(
        LABELS_VI,
        "##XYDATA= (X++(Y..Y))\n599.860@VKT%TLkj%J%KLJ%njKjL%kL%jJULJ%kLKl%lLMNPNPRLJOQTOJ1P\n700.158A28",
    );
    let document = open(&text);
    let curve = curve(&document);
    assert_eq!(curve.y, [0.0; 4]);
    assert_eq!(curve.x[0], 599.86);
    assert!(codes(&document).contains(&Code::LineSlipped) || codes(&document).contains(&Code::YCheckFailed));
    assert!(!document.blocks[0].tables[0].left_out.is_empty());
}

/// JCAMP-DX 4.24, Table VIIb: one set of ten ordinates in each form. X and a check line are added here, as the
/// standard asks of differences.
#[test]
fn table_vii_b() {
    let labels = "##XFACTOR= 1\n##YFACTOR= 1\n##FIRSTX= 0\n##LASTX= 9\n##FIRSTY= 1\n##NPOINTS= 10";
    for (table, check) in [
        ("0 1 2 3 3 2 1 0 -1 -2 -3", ""),
        ("0+1+2+3+3+2+1+0-1-2-3", ""),
        ("0 1 2 3 3 2 1 0-1-2-3", ""),
        ("0ABCCBA@abc", ""),
        ("0AJJ%jjjjjj", "9c"),
        ("0AJT%jX", "9c"),
    ] {
        let document = open(&file(labels, &format!("##XYDATA= (X++(Y..Y))\n{table}\n{check}")));
        assert!(document.remarks.is_empty(), "{table}: {:?}", document.remarks);
        assert_eq!(
            curve(&document).y,
            [1.0, 2.0, 3.0, 3.0, 2.0, 1.0, 0.0, -1.0, -2.0, -3.0],
            "{table}"
        );
        assert_eq!(
            curve(&document).x,
            [0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0],
            "{table}"
        );
    }
}

/// Own example by the rules of section 5.2: each line of differences is checked by the next.
#[test]
fn differences_over_lines() {
    let labels = "##XFACTOR= 1\n##YFACTOR= 0.001\n##FIRSTX= 400\n##LASTX= 405\n##FIRSTY= 0.1\n##NPOINTS= 6";
    let document = open(&file(
        labels,
        "##XYDATA= (X++(Y..Y))\n400A00J0J0j5\n403A05K5%\n405A30",
    ));
    assert!(document.remarks.is_empty(), "{:?}", document.remarks);
    let curve = curve(&document);
    assert_eq!(curve.y, [0.1, 0.11, 0.12, 0.105, 0.13, 0.13]);
    assert_eq!(curve.y_decimals, Decimals::Same(3));
    let lines: Vec<_> = (0..6).map(|i| curve.lines.line_of(i).unwrap()).collect();
    assert_eq!(lines, [15, 15, 15, 15, 16, 16]);
}

/// Sections 3 and 4: labels are compared squeezed; comments, user and technique labels.
#[test]
fn records() {
    let text = "##title=a b $$ note\n##=a comment\n##Data-Type=x\n##JCAMP-DX=5.01\n##$My_Label= 1\n\
                ##.OBSERVE FREQUENCY= 2\n##ORIGIN= line 1\n  line 2\n\n##END=\n";
    let document = open(text);
    let block = &document.blocks[0];
    assert_eq!(block.title(), "a b");
    assert_eq!(block.records[0].comments, ["note"]);
    assert_eq!(block.value("DATA TYPE"), Some("x"));
    assert_eq!(block.value("datatype"), Some("x"));
    assert_eq!(block.value("ORIGIN"), Some("line 1\nline 2"));
    assert_eq!(block.number("$my label"), Some(1.0));
    let kinds: Vec<LabelKind> = block.records.iter().map(|r| r.kind).collect();
    use LabelKind::{Comment, Core, Technique, User};
    assert_eq!(kinds, [Core, Comment, Core, Core, User, Technique, Core, Core]);
    assert_eq!(block.records[5].spelled, ".OBSERVE FREQUENCY");
    assert_eq!(block.records[5].place.line, 6);
    assert_eq!(
        normalise_label("SPECTROMETER/DATA SYSTEM"),
        "SPECTROMETERDATASYSTEM"
    );
    assert!(document.remarks.is_empty(), "{:?}", document.remarks);
}

/// XYPOINTS: comma within, semicolon or blank between pairs; unevenly spaced, `?` for a missing ordinate.
#[test]
fn xypoints() {
    let labels =
        "##XFACTOR= 1\n##YFACTOR= 1\n##FIRSTX= 400.0\n##LASTX= 402.75\n##FIRSTY= 0.1200\n##NPOINTS= 4";
    let document = open(&file(
        labels,
        "##XYPOINTS= (XY..XY)\n400.0,0.1200; 401.0,-0.5\n402.5,? 402.75,1.5E-03",
    ));
    assert!(document.remarks.is_empty(), "{:?}", document.remarks);
    let curve = curve(&document);
    assert_eq!(curve.x, [400.0, 401.0, 402.75]);
    assert_eq!(curve.y, [0.12, -0.5, 0.0015]);
    assert_eq!(curve.x_decimals, Decimals::Each(vec![1, 1, 2]));
    assert_eq!(curve.y_decimals, Decimals::Each(vec![4, 1, 4]));
    assert_eq!(
        (curve.missing[0].x, curve.missing[0].before, curve.missing[0].line),
        (402.5, 2, 16)
    );
}

/// Peak tables and assignments: groups of two or three numbers, or in parentheses with a text.
#[test]
fn peaks_and_assignments() {
    let peaks = |table: &str| {
        let document = open(&file("##NPOINTS= 2", table));
        assert!(document.remarks.is_empty(), "{:?}", document.remarks);
        match &document.blocks[0].tables[0].data {
            Data::Peaks(peaks) => peaks.rows.clone(),
            other => panic!("{other:?}"),
        }
    };
    let rows = peaks("##PEAK TABLE= (XY..XY)\n241.1,0.5 287.2,0.7");
    assert_eq!((rows[1].x, rows[1].y, rows[1].width), (287.2, Some(0.7), None));
    let rows = peaks("##PEAK TABLE= (XYW..XYW)\n241.1,0.5,2.1\n287.2,0.7,2.3");
    assert_eq!(rows[1].width, Some(2.3));
    let rows = peaks("##PEAK TABLE= (XYM..XYM)\n1.1,0.5,S\n2.2,0.7,T");
    assert_eq!(rows[1].multiplicity.as_deref(), Some("T"));

    let text = "##PEAK ASSIGNMENTS= (XYA)\n(241.1, 0.5, <holmium, band (1)>)\n(287.2, ,\n <second\n line>)";
    let document = open(&file("##NPOINTS= 2", text));
    assert!(document.remarks.is_empty(), "{:?}", document.remarks);
    let Data::Assignments(found) = &document.blocks[0].tables[0].data else {
        panic!("assignments")
    };
    assert_eq!(found.rows[0].text, "holmium, band (1)");
    assert_eq!((found.rows[0].x, found.rows[0].y), (241.1, Some(0.5)));
    assert_eq!(
        (found.rows[1].y, found.rows[1].text.as_str()),
        (None, "second  line")
    );
    let document = open(&file("##NPOINTS= 1", "##PEAK ASSIGNMENTS= (XA)\n(241.1, <a>)"));
    let Data::Assignments(found) = &document.blocks[0].tables[0].data else {
        panic!("assignments")
    };
    assert_eq!((found.rows[0].x, found.rows[0].text.as_str()), (241.1, "a"));
}

/// 5.00 NTUPLES: attribute lists, pages with their own FIRST and NPOINTS.
#[test]
fn ntuples() {
    let text = "##TITLE= scans\n##JCAMP-DX= 5.01\n##DATA TYPE= UV/VIS SPECTRUM\n##DATA CLASS= NTUPLES\n\
        ##NTUPLES= UV/VIS SPECTRUM\n##VAR_NAME= WAVELENGTH, ABSORBANCE, TIME\n##SYMBOL= X, Y, T\n\
        ##VAR_TYPE= INDEPENDENT, DEPENDENT, PAGE\n##VAR_FORM= AFFN, ASDF, AFFN\n##VAR_DIM= 4, 4, 2\n\
        ##UNITS= NANOMETERS, ABSORBANCE, SECONDS\n##FIRST= 400.0, , 0\n##LAST= 403.0, , 30\n\
        ##FACTOR= 1, 0.01, 1\n##PAGE= T=0\n##DATA TABLE= (X++(Y..Y)), XYDATA\n400.0A0JJJ\n403.0A3\n\
        ##PAGE= T=30.0\n##NPOINTS= 3\n##FIRST= 401.0, 0.2, 30.0\n##DATA TABLE= (XY..XY), PEAKS\n\
        401.0,20 402.5,21 404.0,22\n##END NTUPLES= UV/VIS SPECTRUM\n##END=\n";
    let document = open(text);
    assert!(document.remarks.is_empty(), "{:?}", document.remarks);
    let ntuples = &document.blocks[0].ntuples[0];
    assert_eq!(ntuples.variable("t").unwrap().units, "SECONDS");
    assert_eq!(ntuples.variables[1].first, "");
    let page = |i: usize| ntuples.pages[i].table.as_ref().unwrap().data.curve().unwrap();
    assert_eq!(page(0).x, [400.0, 401.0, 402.0, 403.0]);
    assert_eq!(page(0).y, [0.1, 0.11, 0.12, 0.13]);
    assert_eq!(page(1).y, [0.2, 0.21, 0.22]);
    assert_eq!(ntuples.pages[1].held, [("T".to_owned(), "30.0".to_owned())]);
    assert!(document.blocks[0].tables.is_empty());
}

/// 4.24 section 3.3.2: compound files, also nested ones.
#[test]
fn link_blocks() {
    let inner = |title: &str| format!("##TITLE={title}\n##JCAMP-DX=4.24\n##DATA TYPE=X\n##END=\n");
    let link = |title: &str, n: usize, inner: &str| {
        format!("##TITLE={title}\n##JCAMP-DX=4.24\n##DATA TYPE=LINK\n##BLOCKS={n}\n{inner}##END=\n")
    };
    let nested = link("inner link", 2, &(inner("b") + &inner("c")));
    let document = open(&link("outer", 3, &(inner("a") + &nested + &inner("d"))));
    assert!(document.remarks.is_empty(), "{:?}", document.remarks);
    let titles: Vec<&str> = document.all_blocks().map(|b| b.title()).collect();
    assert_eq!(titles, ["outer", "a", "inner link", "b", "c", "d"]);
    assert!(document.blocks[0].is_link());
    assert_eq!(document.blocks[0].children[1].children.len(), 2);
}

/// 4.24: interferograms have their own labels.
#[test]
fn radata() {
    let text = file(
        "##RUNITS= MICROMETERS\n##AUNITS= ARBITRARY UNITS\n##FIRSTR= 0\n##LASTR= 3\n##DELTAR= 1\n##NPOINTS= 4\n\
         ##RFACTOR= 1\n##AFACTOR= 0.5\n##FIRSTA= 1",
        "##RADATA= (R++(A..A))\n0 2 4 6 8",
    );
    let document = open(&text);
    assert!(document.remarks.is_empty(), "{:?}", document.remarks);
    assert_eq!(curve(&document).y, [1.0, 2.0, 3.0, 4.0]);
}
