//! Readings that give different numbers: decided by the block, or told as a doubt and settled by the options.
//!
//! The expected values follow from the rules of the standard and from what each label says if it is right.

use crate::{block_curve, codes, curve, file, open};
use curvary_jcamp_dx::{Choice, Choices, Code, Data, Document, ReadOptions, read};

fn settled(text: &str, choice: Choice, standard: bool) -> Document {
    let options = ReadOptions {
        choices: Choices::default().with(choice, standard),
        ..ReadOptions::default()
    };
    read(text, &options)
}

fn doubts(document: &Document) -> &[Choice] {
    &document.blocks[0].tables[0].doubts
}

/// In doubt, and settled both ways: x and y by the standard, x and y of the other reading.
#[track_caller]
fn either(text: &str, choice: Choice, standard: (&[f64], &[f64]), other: (&[f64], &[f64])) {
    let document = open(text);
    assert_eq!(doubts(&document), [choice], "{:#?}", document.remarks);
    assert!(codes(&document).contains(&Code::ReadingUndecided));
    for (by_standard, (x, y)) in [(true, standard), (false, other)] {
        let document = settled(text, choice, by_standard);
        assert_eq!(doubts(&document), [], "{:#?}", document.remarks);
        let curve = curve(&document);
        assert_eq!((&curve.x[..], &curve.y[..]), (x, y), "{:#?}", document.remarks);
    }
    // What is settled about other things changes nothing.
    for another in Choice::ALL.into_iter().filter(|another| *another != choice) {
        assert_eq!(doubts(&settled(text, another, false)), [choice]);
    }
}

/// Decided by the block: what was settled for tables in doubt changes nothing.
#[track_caller]
fn certain(text: &str, choice: Choice, x: &[f64], y: &[f64]) {
    for document in [
        open(text),
        settled(text, choice, true),
        settled(text, choice, false),
    ] {
        assert_eq!(doubts(&document), [], "{:#?}", document.remarks);
        let curve = curve(&document);
        assert_eq!((&curve.x[..], &curve.y[..]), (x, y), "{:#?}", document.remarks);
    }
}

const SCALED: &str = "##XFACTOR=0.1\n##YFACTOR=1\n##FIRSTX=4000\n##LASTX=4003\n##NPOINTS=4";
const FOUR: &str = "##XYDATA=(X++(Y..Y))\n4000 1 2\n4002 3 4";

#[test]
fn labels_of_x_without_their_factor() {
    let y = [1.0, 2.0, 3.0, 4.0];
    let (scaled, printed) = ([400.0, 400.1, 400.2, 400.3], [4000.0, 4001.0, 4002.0, 4003.0]);
    either(
        &file(SCALED, FOUR),
        Choice::XFactor,
        (&scaled, &y),
        (&printed, &y),
    );
    // One label that holds a true value tells.
    for label in ["##DELTAX=0.1", "##MAXX=400.3", "##MINX=400.0"] {
        certain(
            &file(&format!("{SCALED}\n{label}"), FOUR),
            Choice::XFactor,
            &scaled,
            &y,
        );
    }
    let sound = SCALED.replace("=4000", "=400.0").replace("=4003", "=400.3");
    certain(&file(&sound, FOUR), Choice::XFactor, &scaled, &y);
    // LASTX alone is scaled, and there is no FIRSTX.
    let last = SCALED.replace("##FIRSTX=4000\n", "");
    either(&file(&last, FOUR), Choice::XFactor, (&scaled, &y), (&printed, &y));
    // Pairs.
    let pairs = "##XYPOINTS=(XY..XY)\n4000, 1 4001, 2\n4002, 3 4003, 4";
    either(
        &file(SCALED, pairs),
        Choice::XFactor,
        (&scaled, &y),
        (&printed, &y),
    );
    certain(&file(&sound, pairs), Choice::XFactor, &scaled, &y);
}

#[test]
fn labels_of_ordinates_against_yfactor() {
    let labels = |factor: &str, labels: &str| {
        format!("##XFACTOR=1\n##YFACTOR={factor}\n##FIRSTX=400\n##LASTX=402\n##NPOINTS=3\n{labels}")
    };
    let table = "##XYDATA=(X++(Y..Y))\n400 0.125 0.25 0.5";
    let x = [400.0, 401.0, 402.0];
    // Decimals are printed, and a factor is stated: one of them is left over.
    let text = file(&labels("0.01", "##FIRSTY=0.125\n##MAXY=0.5"), table);
    either(
        &text,
        Choice::YFactor,
        (&x, &[0.001_25, 0.0025, 0.005]),
        (&x, &[0.125, 0.25, 0.5]),
    );
    // MAXY tells.
    let text = file(&labels("0.01", "##FIRSTY=0.125\n##MAXY=0.005"), table);
    certain(&text, Choice::YFactor, &x, &[0.001_25, 0.0025, 0.005]);
    // Integers need their factor.
    let integers = "##XYDATA=(X++(Y..Y))\n400A25B50E00";
    let text = file(&labels("0.001", "##FIRSTY=125\n##MAXY=500"), integers);
    certain(&text, Choice::YFactor, &x, &[0.125, 0.25, 0.5]);
    // All labels ask for the same other power of ten.
    let text = file(
        &labels("0.01", "##FIRSTY=0.125\n##MAXY=0.500\n##MINY=0.125"),
        integers,
    );
    either(
        &text,
        Choice::YFactor,
        (&x, &[1.25, 2.5, 5.0]),
        (&x, &[0.125, 0.25, 0.5]),
    );
    // They do not: the labels are wrong in no way that is known.
    let text = file(&labels("0.01", "##FIRSTY=0.125\n##MAXY=0.7"), integers);
    certain(&text, Choice::YFactor, &x, &[1.25, 2.5, 5.0]);
    // Peaks.
    let peaks = "##PEAK TABLE=(XY..XY)\n400,0.125 401,0.25 402,0.5";
    let document = open(&file(&labels("0.01", "##MAXY=0.5"), peaks));
    assert_eq!(doubts(&document), [Choice::YFactor]);
    let document = settled(
        &file(&labels("0.01", "##MAXY=0.5"), peaks),
        Choice::YFactor,
        false,
    );
    let Data::Peaks(peaks) = &document.blocks[0].tables[0].data else {
        panic!("{document:?}")
    };
    assert_eq!(peaks.rows[2].y, Some(0.5));
}

#[test]
fn exponents_without_sign() {
    let labels = |last: u32, count: u32| {
        format!("##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=1\n##LASTX={last}\n##NPOINTS={count}")
    };
    let table = "##XYDATA=(X++(Y..Y))\n1 1.5E3 2.5E3";
    // The count tells.
    certain(
        &file(&labels(2, 2), table),
        Choice::Exponent,
        &[1.0, 2.0],
        &[1500.0, 2500.0],
    );
    certain(
        &file(&labels(4, 4), table),
        Choice::Exponent,
        &[1.0, 2.0, 3.0, 4.0],
        &[1.5, 53.0, 2.5, 53.0],
    );
    // It does not.
    let open_end = "##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=1\n##LASTX=4";
    either(
        &file(open_end, table),
        Choice::Exponent,
        (&[1.0, 2.0, 3.0, 4.0], &[1.5, 53.0, 2.5, 53.0]),
        (&[1.0, 4.0], &[1500.0, 2500.0]),
    );
    // Another pseudo-digit tells that this is no plain table.
    let squeezed = "##XYDATA=(X++(Y..Y))\n1A5E3B5E3";
    certain(
        &file(open_end, squeezed),
        Choice::Exponent,
        &[1.0, 2.0, 3.0, 4.0],
        &[15.0, 53.0, 25.0, 53.0],
    );
}

#[test]
fn lines_of_one_ordinate() {
    let labels = |last: u32, count: u32| {
        format!("##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=400\n##LASTX={last}\n##NPOINTS={count}")
    };
    // One X of four is uneven: a misprint of 402, or pairs.
    let text = file(
        &labels(403, 4),
        "##XYDATA=(X++(Y..Y))\n400 1\n400.9 2\n402.7 3\n403 4",
    );
    let y = [1.0, 2.0, 3.0, 4.0];
    either(
        &text,
        Choice::Form,
        (&[400.0, 401.0, 402.0, 403.0], &y),
        (&[400.0, 400.9, 402.7, 403.0], &y),
    );
    // No X but the ends is where an even spacing would put it.
    let text = file(
        &labels(410, 6),
        "##XYDATA=(X++(Y..Y))\n400 1\n400.5 2\n401 3\n403 4\n405 5\n410 6",
    );
    certain(
        &text,
        Choice::Form,
        &[400.0, 400.5, 401.0, 403.0, 405.0, 410.0],
        &[1.0, 2.0, 3.0, 4.0, 5.0, 6.0],
    );
    // X that go up and down are no sound pairs, and the labels give no spacing: nothing is read.
    let text = file(
        "##XFACTOR=1\n##YFACTOR=1",
        "##XYDATA=(X++(Y..Y))\n400 1\n40.2 2\n403 3",
    );
    assert!(curve(&open(&text)).is_empty());
    assert!(codes(&open(&text)).contains(&Code::GridUndecided));
}

#[test]
fn spacing_of_the_lines_or_of_the_labels() {
    let y: Vec<f64> = (0..8).map(f64::from).collect();
    let lines = "##XYDATA=(X++(Y..Y))\n0 0 1\n2 2 3\n4 4 5\n6 6 7";
    let by_lines: Vec<f64> = (0..8).map(f64::from).collect();
    let by_labels: Vec<f64> = (0..8).map(|i| f64::from(400 + 10 * i)).collect();
    // The lines count, the labels are nanometres.
    let labels = "##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=400\n##LASTX=470\n##NPOINTS=8";
    either(
        &file(labels, lines),
        Choice::Spacing,
        (&by_labels, &y),
        (&by_lines, &y),
    );
    // No label says anything against four lines that agree.
    certain(
        &file("##XFACTOR=1\n##YFACTOR=1\n##NPOINTS=8", lines),
        Choice::Spacing,
        &by_lines,
        &y,
    );
    // Two lines and no label: a point that is lost would go unseen.
    let two = "##XYDATA=(X++(Y..Y))\n400 0 1 2 3\n405 4 5 6 7";
    let document = open(&file("##XFACTOR=1\n##YFACTOR=1", two));
    assert_eq!(doubts(&document), [Choice::Spacing]);
    let document = settled(&file("##XFACTOR=1\n##YFACTOR=1", two), Choice::Spacing, false);
    assert_eq!((curve(&document).x[7], doubts(&document)), (408.75, &[][..]));
    let document = settled(&file("##XFACTOR=1\n##YFACTOR=1", two), Choice::Spacing, true);
    assert!(curve(&document).is_empty(), "there are no labels to go by");
    // One line whose X is not FIRSTX.
    let one = "##XYDATA=(X++(Y..Y))\n4000 1 2 3";
    let labels = "##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=400\n##LASTX=402\n##NPOINTS=3";
    either(
        &file(labels, one),
        Choice::Spacing,
        (&[400.0, 401.0, 402.0], &[1.0, 2.0, 3.0]),
        (&[4000.0, 2201.0, 402.0], &[1.0, 2.0, 3.0]),
    );
    // DELTAX supports the X of the line.
    let labels = "##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=40\n##LASTX=402\n##NPOINTS=3\n##DELTAX=1";
    certain(
        &file(labels, &one.replace("4000", "400")),
        Choice::Spacing,
        &[400.0, 401.0, 402.0],
        &[1.0, 2.0, 3.0],
    );
    // A single point.
    let labels = "##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=400\n##LASTX=400\n##NPOINTS=1";
    let point = "##XYDATA=(X++(Y..Y))\n410 1";
    either(
        &file(labels, point),
        Choice::Spacing,
        (&[400.0], &[1.0]),
        (&[410.0], &[1.0]),
    );
}

/// X printed as coarsely as the spacing do not let a wrong end pass.
#[test]
fn a_wrong_end_under_coarse_x() {
    let table = "##XYDATA=(X++(Y..Y))\n400 0 1 2\n403 3 4 5\n406 6 7 8";
    let y: Vec<f64> = (0..9).map(f64::from).collect();
    let labels = |first: &str, last: &str| {
        format!("##XFACTOR=1\n##YFACTOR=1\n##FIRSTX={first}\n##LASTX={last}\n##NPOINTS=9")
    };
    let by_lines: Vec<f64> = (400..409).map(f64::from).collect();
    let by_labels: Vec<f64> = (0..9).map(|i| 401.0 + 0.875 * f64::from(i)).collect();
    either(
        &file(&labels("401", "408"), table),
        Choice::Spacing,
        (&by_labels, &y),
        (&by_lines, &y),
    );
    certain(
        &file(&labels("400", "408"), table),
        Choice::Spacing,
        &by_lines,
        &y,
    );
    // Half steps, printed as whole numbers, are what they are.
    let halves: Vec<f64> = (0..9).map(|i| 400.0 + 0.5 * f64::from(i)).collect();
    let table = "##XYDATA=(X++(Y..Y))\n400 0 1 2\n402 3 4 5\n403 6 7 8";
    certain(&file(&labels("400", "404"), table), Choice::Spacing, &halves, &y);
}

/// A factor turns no sign in silence.
#[test]
fn a_negative_xfactor() {
    let text = file(&SCALED.replace("0.1", "-1"), FOUR);
    assert_eq!(doubts(&open(&text)), [Choice::XFactor]);
}

/// A rounded DELTAX runs away from the X at the lines; with LASTX nothing is in doubt.
#[test]
fn a_rounded_deltax_without_lastx() {
    let rows = |k: u32| format!("{:.3} 1 1 1", 400.0 + f64::from(k));
    let table = format!(
        "##XYDATA=(X++(Y..Y))\n{}",
        (0..5).map(rows).collect::<Vec<_>>().join("\n")
    );
    let labels = "##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=400\n##DELTAX=0.33";
    let document = open(&file(labels, &table));
    assert_eq!(doubts(&document), [Choice::Spacing], "{:#?}", document.remarks);
    assert_eq!(
        curve(&settled(&file(labels, &table), Choice::Spacing, true)).x[12],
        403.96
    );
    assert_eq!(
        curve(&settled(&file(labels, &table), Choice::Spacing, false)).x[12],
        404.0
    );
    let labels = format!("{labels}\n##LASTX=404.666666667\n##NPOINTS=15");
    assert_eq!(doubts(&open(&file(&labels, &table))), []);
}

#[test]
fn check_values_or_new_points() {
    // Nine ordinates if none is a check value, seven if two are; the X fit both, and NPOINTS may have counted either.
    let flat = "##XYDATA=(X++(Y..Y))\n400A0%%%\n403A0%%%\n406A0";
    let labels = "##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=400\n##LASTX=406\n##NPOINTS=9";
    let (seven, nine): (Vec<f64>, Vec<f64>) = (
        (0..7).map(|i| f64::from(400 + i)).collect(),
        (0..9).map(|i| 400.0 + 0.75 * f64::from(i)).collect(),
    );
    either(
        &file(labels, flat),
        Choice::YChecks,
        (&seven, &[10.0; 7]),
        (&nine, &[10.0; 9]),
    );
    // DELTAX tells.
    certain(
        &file(&format!("{labels}\n##DELTAX=0.75"), flat),
        Choice::YChecks,
        &nine,
        &[10.0; 9],
    );
    // Nothing is repeated, and NPOINTS and X agree.
    let plain = "##XYDATA=(X++(Y..Y))\n400A0JJJ\n404A4JJJ\n408A8";
    let labels = "##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=400\n##LASTX=408\n##NPOINTS=9";
    let x: Vec<f64> = (400..409).map(f64::from).collect();
    let y: Vec<f64> = (10..19).map(f64::from).collect();
    certain(&file(labels, plain), Choice::YChecks, &x, &y);
}

/// Damage that only check values would have shown does not pass as numbers.
#[test]
fn a_damaged_difference_without_check_values() {
    let labels = "##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=400\n##LASTX=419\n##NPOINTS=20";
    let sound = "##XYDATA=(X++(Y..Y))\n400A0JJJJ\n405A5JJJJ\n410B0JJJJ\n415B5JJJJ";
    let document = open(&file(labels, sound));
    assert_eq!(codes(&document), [Code::YCheckAbsent]);
    assert_eq!(curve(&document).y[19], 29.0);
    // J became J3.
    let document = open(&file(labels, &sound.replace("405A5JJJJ", "405A5JJ3JJ")));
    assert_eq!(
        codes(&document),
        [Code::NpointsDiffers, Code::YCheckAbsent, Code::DifferenceInDoubt]
    );
    let curve = block_curve(&document.blocks[0]);
    assert_eq!(curve.x[5..9], [405.0, 406.0, 410.0, 411.0]);
    assert_eq!(curve.y[5..9], [15.0, 16.0, 20.0, 21.0]);
    // With check values the line is told by them, as ever.
    let checked = "##XYDATA=(X++(Y..Y))\n400A0JJJJ\n404A4JJ3JJ\n408A8JJJ\n411B1";
    let labels = "##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=400\n##LASTX=411\n##NPOINTS=12";
    assert!(codes(&open(&file(labels, checked))).contains(&Code::YCheckFailed));
}

/// FIRSTX, LASTX, NPOINTS, DELTAX and the count agree, and the X at the lines slip by a step: no point is lost, whichever
/// holds.
#[test]
fn lines_that_slip_by_a_step() {
    let labels = "##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=400\n##LASTX=419\n##NPOINTS=20\n##DELTAX=1";
    let table = "##XYDATA=(X++(Y..Y))\n400 1 2 3 4 5\n405 6 7 8 9 10\n411 11 12 13 14 15\n416 16 17 18 19 20";
    let y: Vec<f64> = (1..=20).map(f64::from).collect();
    let by_labels: Vec<f64> = (400..=419).map(f64::from).collect();
    let by_lines: Vec<f64> = (400..=409).chain(411..=420).map(f64::from).collect();
    either(
        &file(labels, table),
        Choice::Spacing,
        (&by_labels, &y),
        (&by_lines, &y),
    );
    // The lines count points instead of telling X: the labels agree to the digit, and both are asked.
    let counted = "##XYDATA=(X++(Y..Y))\n1 1 2 3 4 5\n6 6 7 8 9 10\n11 11 12 13 14 15\n16 16 17 18 19 20";
    either(
        &file(labels, counted),
        Choice::Spacing,
        (&by_labels, &y),
        (&y, &y),
    );
    // A single misprint among lines that go on as counted is no question.
    let misprint = table.replace("\n411", "\n412").replace("\n416", "\n415");
    certain(&file(labels, &misprint), Choice::Spacing, &by_labels, &y);
}
