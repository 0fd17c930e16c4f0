//! On either side of a bound: where a file is read so, and where it is asked or read otherwise. A bound that moves fails here.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use curvary_formats::{Readers, Source};
use curvary_record::{Run, Unit};

fn read(name: &str, text: &str) -> Run {
    let (_, mut reading) = Readers::built_in().read(&Source::new(name, text.as_bytes().to_vec()), None);
    assert_eq!(reading.runs.len(), 1, "{text}\n{:?}", reading.remarks);
    reading.runs.remove(0)
}

/// The unit of the ordinate, and whether it is asked for.
fn ordinate(run: &Run) -> (&Unit, bool) {
    let asked = run
        .questions
        .iter()
        .any(|question| question.code.as_str() == "percent-or-fraction");
    (&run.traces[0].y.unit, asked)
}

/// A spectrum of so many points under a header, of which the greatest is told.
fn spectrum(header: &str, points: usize, greatest: &str) -> String {
    let mut text = format!("Wavelength (nm);{header}\n400;{greatest}\n");
    for point in 1..points {
        text.push_str(&format!("{};0.0{point}\n", 400 + point));
    }
    text
}

#[test]
fn a_transmittance_without_a_unit_is_percent_only_above_two() {
    // A fraction of 2 would be twice the light that came in; stray light and a poor blank reach a little above 1.
    let open = read("t.csv", &spectrum("Transmittance", 9, "2.0"));
    assert!(ordinate(&open).1, "{:?}", open.questions);
    let percent = read("t.csv", &spectrum("Transmittance", 9, "2.01"));
    assert_eq!(ordinate(&percent), (&Unit::PERCENT, false));
}

#[test]
fn percent_in_the_header_is_asked_about_where_hardly_any_light_passes() {
    for (points, greatest, asked) in [
        (8, "1.5", true),
        (8, "0.1", true),
        // More light than that is a percentage of a dark sample.
        (8, "1.51", false),
        // So dark a sample has no curve, whatever its unit.
        (8, "0.099", false),
        // So few points are readings, not a curve.
        (7, "1.5", false),
    ] {
        let run = read("t.csv", &spectrum("Transmittance (%)", points, greatest));
        assert_eq!(
            ordinate(&run),
            (&Unit::PERCENT, asked),
            "{points} points up to {greatest}"
        );
    }
}

#[test]
fn a_share_in_jcamp_dx_is_a_fraction_or_percent_only_where_the_other_is_absurd() {
    for (greatest, unit, asked) in [
        ("1.5", Unit::ONE, false),
        ("1.51", Unit::PERCENT, true),
        ("19.9", Unit::PERCENT, true),
        // A fraction of 20 would be 2000 %.
        ("20", Unit::PERCENT, false),
        ("150", Unit::PERCENT, false),
        ("150.1", Unit::PERCENT, true),
    ] {
        let text = format!(
            "##TITLE= invented\n##JCAMP-DX= 4.24\n##DATA TYPE= UV/VIS SPECTRUM\n##ORIGIN= nowhere\n##OWNER= nobody\n\
             ##XUNITS= NANOMETERS\n##YUNITS= TRANSMITTANCE\n##XFACTOR= 1\n##YFACTOR= 1\n##FIRSTX= 400\n##LASTX= 402\n\
             ##NPOINTS= 3\n##FIRSTY= {greatest}\n##XYPOINTS= (XY..XY)\n400, {greatest}\n401, 0.5\n402, 0.6\n##END=\n"
        );
        let run = read("t.jdx", &text);
        assert_eq!(
            ordinate(&run),
            (&unit, asked),
            "up to {greatest}: {:?}",
            run.questions
        );
    }
}

/// Under a header 48 readings whose comma may part thousands, and below them so many with a plain decimal comma and so many with a point.
fn later(commas: usize, points: usize) -> String {
    let open = (0..48).map(|row| format!("1,{}", 234 - row));
    let commas = vec!["0,51".to_owned(); commas];
    let points = vec!["0.51".to_owned(); points];
    let (many, few) = if commas.len() > points.len() {
        (commas, points)
    } else {
        (points, commas)
    };
    // The rare sign stands in the middle, where a slip would.
    let half = many.len() / 2;
    let below = [&many[..half], &few[..], &many[half..]].concat();
    let rows = open.chain(below).enumerate();
    let rows = rows.map(|(row, reading)| format!("{};{reading}\n", 400 + row));
    format!("Wavelength (nm);Absorbance\n{}", rows.collect::<String>())
}

#[test]
fn rows_below_the_first_decide_an_open_decimal_sign_where_one_slip_in_ten_speaks_against_them() {
    for (commas, points, asked) in [
        (10, 1, false),
        (1, 10, false),
        (9, 1, true),
        (1, 9, true),
        (0, 0, true),
    ] {
        let run = read("t.csv", &later(commas, points));
        let found = run
            .questions
            .iter()
            .any(|question| question.code.as_str() == "decimal-comma-or-thousands");
        assert_eq!(
            found, asked,
            "{commas} commas, {points} points: {:?}",
            run.questions
        );
    }
    // Of commas the first readings are 1.234; of points they are 1234.
    let first = |text: &str| read("t.csv", text).traces[0].y.values[0].to_bits();
    assert_eq!(first(&later(10, 1)), 1.234_f64.to_bits());
    assert_eq!(first(&later(1, 10)), 1234.0_f64.to_bits());
}

#[test]
fn a_dark_curve_is_percent_beside_another_that_is_above_two() {
    for (bright, asked) in [("2.1", false), ("2.0", true)] {
        let mut text =
            format!("Wavelength (nm);dark Transmittance (%);bright Transmittance (%)\n400;1.2;{bright}\n");
        for point in 1..=8 {
            text.push_str(&format!("{};0.{point}1;1.{point}1\n", 400 + point));
        }
        let run = read("t.csv", &text);
        assert_eq!(
            ordinate(&run),
            (&Unit::PERCENT, asked),
            "beside {bright}: {:?}",
            run.questions
        );
    }
}
