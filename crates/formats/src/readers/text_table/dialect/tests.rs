//! Tests of how a table is written.

use super::*;

fn sure(rows: &[&str], heads: Option<&str>) -> Option<(Delimiter, u8)> {
    match decide(rows, heads).0 {
        Decision::Sure(dialect) => Some((dialect.sep, dialect.style.decimal)),
        _ => None,
    }
}

#[test]
fn separator_and_decimal_sign_go_together() {
    for (rows, wanted) in [
        (["400.0,0.123", "401.0,0.125"], (Delimiter::Comma, b'.')),
        (["400,0.123", "401,0.125"], (Delimiter::Comma, b'.')),
        (["400,0;0,123", "401,0;0,125"], (Delimiter::Semicolon, b',')),
        (["400,0 0,123", "401,0 0,125"], (Delimiter::Blank, b',')),
        (["400,0\t0,123", "401,0\t0,125"], (Delimiter::Tab, b',')),
        (["400,0, 0,123", "401,0, 0,125"], (Delimiter::CommaBlank, b',')),
        (["400, 0.123", "401, 0.125"], (Delimiter::Comma, b'.')),
        (["400   0.123", "401   0.125"], (Delimiter::Blank, b'.')),
        (["| 400 | 0.123 |", "| 401 | 0.125 |"], (Delimiter::Pipe, b'.')),
        (["1,234.5\t0.1", "1,235.5\t0.2"], (Delimiter::Tab, b'.')),
        (["1.234,5;0,1", "1.235,5;0,2"], (Delimiter::Semicolon, b',')),
        (
            ["\"400,0\",\"0,123\"", "\"401,0\",\"0,125\""],
            (Delimiter::Comma, b','),
        ),
        (["400;1.234", "401;1.235"], (Delimiter::Semicolon, b'.')),
        (
            ["1   sample 1   0.1774", "2   sample 2   0.1899"],
            (Delimiter::Wide, b'.'),
        ),
        (
            ["1   0.1 0.2   0.1774", "2   0.2 0.3   0.1899"],
            (Delimiter::Blank, b'.'),
        ),
    ] {
        assert_eq!(
            sure(&rows, None),
            Some(wanted),
            "{rows:?}: {:?}",
            decide(&rows, None).0
        );
    }
}

#[test]
fn one_comma_for_both_is_asked_and_heads_and_zeros_tell_the_likely_reading() {
    let rows = ["400,0,0,123", "401,0,0,125", "402,0,0,098"];
    match decide(&rows, Some("nm,A")).0 {
        Decision::Open { readings, .. } => {
            let likely = &readings[0];
            assert_eq!(
                (likely.pieces.clone(), likely.style),
                (Some(vec![2, 2]), Style::COMMA)
            );
        }
        other => panic!("{other:?}"),
    }
    assert!(matches!(
        decide(&["400,0,123", "401,0,125", "402,0,126"], None).0,
        Decision::Open {
            code: "decimal-comma-or-separator",
            ..
        }
    ));
    assert!(matches!(
        decide(&["400,123", "401,125"], Some("nm,mAU")).0,
        Decision::Sure(_)
    ));
}

#[test]
fn thousands_or_decimals_is_asked() {
    assert!(matches!(
        decide(&["400;1,234", "401;1,235"], None).0,
        Decision::Open {
            code: "decimal-comma-or-thousands",
            ..
        }
    ));
    assert_eq!(
        sure(&["400;1,234", "401;0,235"], None),
        Some((Delimiter::Semicolon, b','))
    );
}

/// The vote of cells of which so many can only have a decimal comma and so many only a decimal point.
fn vote(commas: usize, points: usize) -> Decision {
    let cells = std::iter::repeat_n("0,5", commas).chain(std::iter::repeat_n("0.5", points));
    style_of(Delimiter::Tab, cells)
}

fn is_sure(decision: &Decision, decimal: u8) -> bool {
    matches!(decision, Decision::Sure(dialect) if dialect.style.decimal == decimal)
}

fn asks_first_for(decision: &Decision, decimal: u8) -> bool {
    matches!(decision, Decision::Open { code: "decimal-comma-or-point", readings } if readings[0].style.decimal == decimal)
}

#[test]
fn one_slip_in_ten_does_not_turn_the_vote_on_the_decimal_sign_and_one_in_nine_is_asked() {
    assert!(is_sure(&vote(1, 10), b'.'), "{:?}", vote(1, 10));
    assert!(is_sure(&vote(10, 1), b','), "{:?}", vote(10, 1));
    assert!(asks_first_for(&vote(1, 9), b'.'), "{:?}", vote(1, 9));
    assert!(asks_first_for(&vote(9, 1), b','), "{:?}", vote(9, 1));
    assert!(asks_first_for(&vote(2, 2), b'.'), "{:?}", vote(2, 2));
}

#[test]
fn stamps_and_values_with_units_count_nearly_as_figures_do() {
    // Were a stamp nothing, or the comma that is left at it no fault, the blanks inside the stamps would part.
    let stamps = [
        "2021-03-14 10:32, 2021-03-14 10:40, 0.123",
        "2021-03-14 10:50, 2021-03-14 10:58, 0.125",
    ];
    assert_eq!(sure(&stamps, None), Some((Delimiter::Comma, b'.')));
    // Were a value with its unit nothing, the blanks before the units would part.
    let units = ["5 min;0.123 AU", "6 min;0.125 AU"];
    assert_eq!(sure(&units, None), Some((Delimiter::Semicolon, b'.')));
}

#[test]
fn three_rows_of_five_that_part_alike_are_a_table_and_half_of_them_are_none() {
    let rows = ["400;0.1", "401;0.2", "402;0.3", "403", "404"];
    assert_eq!(sure(&rows, None), Some((Delimiter::Semicolon, b'.')));
    let half = ["400;0.1", "401;0.2", "403", "404"];
    assert!(matches!(decide(&half, None).0, Decision::None));
}
