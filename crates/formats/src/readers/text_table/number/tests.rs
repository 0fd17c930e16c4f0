//! Tests of numbers as they are written.

use super::*;

fn number(text: &str, style: Style) -> Option<(f64, u8)> {
    match cell(text, style) {
        Cell::Number { value, decimals } => Some((value, decimals)),
        _ => None,
    }
}

#[test]
fn spellings_of_numbers() {
    let point = [
        ("0.1200", 0.12, 4),
        (".123", 0.123, 3),
        ("400.", 400.0, 0),
        ("+1.5", 1.5, 1),
        ("-0.0", -0.0, 1),
        ("\u{2212}0.5", -0.5, 1),
        ("0.25-", -0.25, 2),
        ("1.2E-03", 0.0012, 4),
        ("1.2e-3", 0.0012, 4),
        ("1.2D-03", 0.0012, 4),
        ("1.2E3", 1200.0, 0),
        ("1.2*10^-3", 0.0012, 4),
        ("1.2 x 10-3", 0.0012, 4),
        ("1.2·10⁻³", 0.0012, 4),
        ("1.2E -3", 0.0012, 4),
        ("1,234.5", 1234.5, 1),
        ("1'234.5", 1234.5, 1),
        ("1 234.5", 1234.5, 1),
        ("12,345,678", 12_345_678.0, 0),
        ("0.12345678901234567890", 0.123_456_789_012_345_68, 20),
    ];
    for (text, value, decimals) in point {
        let got = number(text, Style::POINT);
        assert_eq!(
            got.map(|(v, d)| (v.to_bits(), d)),
            Some((f64::to_bits(value), decimals)),
            "{text}: {got:?}"
        );
    }
    for (text, value) in [
        ("0,1200", 0.12),
        ("1.234,5", 1234.5),
        ("1,2E-3", 0.0012),
        ("400", 400.0),
        ("-,5", -0.5),
    ] {
        assert_eq!(number(text, Style::COMMA).map(|n| n.0), Some(value), "{text}");
    }
}

#[test]
fn what_does_not_fit_the_style_is_no_number() {
    for text in [
        "0,123",
        "1,23",
        "1,2345",
        "1.2.3",
        "12,34,567",
        "1e",
        "0x1f",
        "1_000",
        "1.2E400",
    ] {
        assert_eq!(number(text, Style::POINT), None, "{text}");
    }
    for text in ["0.123", "1.23", "1,2,3"] {
        assert_eq!(number(text, Style::COMMA), None, "{text}");
    }
}

#[test]
fn clocks_units_and_signs() {
    assert_eq!(
        cell("0:30", Style::POINT),
        Cell::Clock {
            parts: [0.0, 30.0, 0.0],
            count: 2,
            decimals: 0
        }
    );
    assert_eq!(
        cell("1:02:03.5", Style::POINT),
        Cell::Clock {
            parts: [1.0, 2.0, 3.5],
            count: 3,
            decimals: 1
        }
    );
    assert_eq!(
        cell("400 nm", Style::POINT),
        Cell::WithUnit {
            value: 400.0,
            decimals: 0,
            unit: 4
        }
    );
    assert_eq!(cell("---", Style::POINT), Cell::Missing);
    assert_eq!(cell("****", Style::POINT), Cell::Beyond);
    assert_eq!(cell(">3.5", Style::POINT), Cell::Beyond);
    assert_eq!(cell("betanin", Style::POINT), Cell::Words);
    assert_eq!(cell("", Style::POINT), Cell::Empty);
}

#[test]
fn lengths_of_time() {
    let seconds = |text: &str| duration(text, Style::POINT).map(|length| length.count(false));
    for (text, wanted) in [
        ("15 s", 15.0),
        ("15 sec.", 15.0),
        ("1.5 min", 90.0),
        ("1 min 15", 75.0),
        ("1 min 15.5 s", 75.5),
        ("5min30s", 330.0),
        ("1h30", 5400.0),
        ("0h15", 900.0),
        ("1 h 5m", 3900.0),
        ("1 d 2 h", 93_600.0),
        ("0'30\"", 30.0),
        ("1'30''", 90.0),
        ("1'30", 90.0),
        ("1\u{2032}30\u{2033}", 90.0),
        ("0'30\"\"", 30.0),
        ("5'", 300.0),
        ("½ h", 1800.0),
        ("1½ min", 90.0),
        ("1 ¼ h", 4500.0),
        ("-30 s", -30.0),
        ("61 min", 3660.0),
    ] {
        assert_eq!(seconds(text), Some(wanted), "{text}");
    }
    for text in [
        "",
        "15",
        "m",
        "15 m",
        "1 min 75",
        "1 min 75 s",
        "30 s 1 min",
        "1 min 1 min",
        "1.5 min 30 s",
        "1 h 7",
        "½",
        "½ s",
        "10:30",
        "2 h 30 nm",
        "400 nm",
        "1'30'",
        "over night",
        "99999999999 s",
        "1 min 15 16",
    ] {
        assert_eq!(seconds(text), None, "{text}");
    }
    // Down to the unit that was written, and exact.
    let whole = |text: &str| duration(text, Style::COMMA).map(Duration::in_whole_minutes);
    assert_eq!(whole("1,5 h"), Some(true));
    assert_eq!(whole("½ min"), Some(false));
    assert_eq!(duration_in("1 min 15", "s", Style::POINT), Some((75.0, 0)));
    assert_eq!(duration_in("1 min 15", "min", Style::POINT), None);
    assert_eq!(duration_in("1 h 15", "min", Style::POINT), Some((75.0, 0)));
    assert_eq!(duration_in("1 min 15", "nm", Style::POINT), None);
}

#[test]
fn uncertainties_in_brackets_touch_their_numbers() {
    for (text, wanted) in [("0.287(3)", 0.287), ("0.1550(13)", 0.155), ("298.15(5)", 298.15)] {
        assert_eq!(number(text, Style::POINT).map(|n| n.0), Some(wanted), "{text}");
        assert!(has_concise(text, Style::POINT));
    }
    for text in [
        "0.287 (3)",
        "0.287(-3)",
        "0.287(0.3)",
        "0.287(1234)",
        "0.287()",
        "0.287(3",
        "A(405)",
        "(0.004)",
    ] {
        assert_eq!(number(text, Style::POINT), None, "{text}");
        assert!(!has_concise(text, Style::POINT), "{text}");
    }
}

#[test]
fn evidence_of_plain_cells_is_that_of_any() {
    for front in ["", "0", "01", "12", "123", "1234"] {
        for sign in ["", ".", ",", ".,", " "] {
            for behind in ["", "5", "123", "000", "1234", "12.3", "12 nm"] {
                for minus in ["", "-", "+-", " "] {
                    let text = format!("{minus}{front}{sign}{behind}");
                    if let Some(found) = plain_evidence(text.as_bytes()) {
                        assert_eq!(found, any_evidence(&text), "{text:?}");
                    }
                }
            }
        }
    }
}

#[test]
fn numbers_with_one_damaged_sign() {
    for text in [
        "0..15", "-0.l5", "36.l5", "5.l", "l.5", "0..0215", "410.0.12", "0...9090", "0..l090",
    ] {
        assert!(is_nearly_number(text, Style::POINT), "{text}");
    }
    assert!(is_nearly_number("0,,0208", Style::COMMA));
    for text in [
        "A1", "1:20", "2.3.4", "well", "1.5 ok", "260/280", "S1", "2b", "", ".",
    ] {
        assert!(!is_nearly_number(text, Style::POINT), "{text}");
    }
}

#[test]
fn evidence_of_the_decimal_sign() {
    for (text, wanted) in [
        ("400", SignEvidence::None),
        ("0,123", SignEvidence::Comma),
        ("1,5", SignEvidence::Comma),
        ("1,234", SignEvidence::EitherComma),
        ("1.234", SignEvidence::EitherPoint),
        ("0.123", SignEvidence::Point),
        ("1,234,567", SignEvidence::Point),
        ("1.234,5", SignEvidence::Comma),
        ("1,234.5", SignEvidence::Point),
        ("1,2E-3", SignEvidence::Comma),
        ("425.3.730", SignEvidence::None),
        ("3..730", SignEvidence::None),
        ("0,,0208", SignEvidence::None),
    ] {
        assert_eq!(evidence(text), wanted, "{text}");
    }
}

/// Numbers of few signs, in front of anything, are the same digit by digit.
#[test]
fn signs_together_are_the_same_as_one_by_one() {
    const SIGNS: &[u8] = b"0123456789.,+-eE \t;\n\xC2\xB5\x8A/:";
    let mut seed = 11_u64;
    let mut below = |n: usize| {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        (seed >> 33) as usize % n
    };
    let mut numbers = 0;
    for _ in 0..50_000 {
        let text: Vec<u8> = (0..below(14))
            .map(|_| {
                let kinds = if below(5) == 0 { SIGNS.len() } else { 11 };
                SIGNS[below(kinds)]
            })
            .collect();
        for decimal in [b'.', b','] {
            for at in 0..=text.len().min(2) {
                let (one, other) = (plain(&text, at, decimal), long(&text, at, decimal));
                numbers += usize::from(one.is_some());
                let bits = |read: (f64, u8, usize)| (read.0.to_bits(), read.1, read.2);
                assert_eq!(
                    one.map(bits),
                    other.map(bits),
                    "{:?} at {at}",
                    String::from_utf8_lossy(&text)
                );
            }
        }
    }
    assert!(numbers > 30_000, "{numbers}");
}

#[test]
fn the_short_way_agrees_with_the_library() {
    let mut seed = 7_u64;
    for _ in 0..20_000 {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        let digits = (seed >> 40) % 10_000_000;
        let text = format!("{}.{:07}", (seed >> 20) % 10_000, digits);
        let got = plain(text.as_bytes(), 0, b'.').expect("a short number");
        assert_eq!(
            got.0.to_bits(),
            text.parse::<f64>().expect("a number").to_bits(),
            "{text}"
        );
    }
}
