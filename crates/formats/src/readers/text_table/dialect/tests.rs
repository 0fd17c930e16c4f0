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

/// What speaks for a separator of which nothing is known but these shares.
fn score(sep: Delimiter, steady: f64, figures: f64) -> f64 {
    let cells = Vec::new();
    let count = 2;
    DelimiterFit {
        sep,
        count,
        steady,
        figures,
        cells,
    }
    .score()
}

#[test]
fn a_sign_that_parts_every_row_outweighs_blanks_between_more_figures() {
    assert!(score(Delimiter::Semicolon, 1.0, 0.5) > score(Delimiter::Blank, 0.7, 0.8));
    // Of the same worth, signs that stand in no number come first, and single blanks before wide gaps.
    assert!(score(Delimiter::Tab, 1.0, 1.0) > score(Delimiter::Blank, 1.0, 1.0));
    assert!(score(Delimiter::Blank, 1.0, 1.0) > score(Delimiter::Wide, 1.0, 1.0));
}

#[test]
fn of_as_many_commas_as_points_between_commas_the_point_is_the_decimal_sign() {
    let decision = style_of(Delimiter::Comma, ["0,5", "0.5"].into_iter());
    assert!(is_sure(&decision, b'.'), "{decision:?}");
    let decision = style_of(Delimiter::Comma, ["0,5", "0,6", "0.5"].into_iter());
    assert!(is_sure(&decision, b','), "{decision:?}");
}

#[test]
fn a_date_has_four_digits_or_more() {
    assert!(weigh("1/2/21") > 0.5);
    assert!(weigh("2/21") < 0.5);
}

#[test]
fn one_damaged_row_in_five_has_no_say_against_two_kinds_of_comma() {
    let rows = [
        "400,0, 0,123",
        "401,0, 0,125",
        "402,0, 0,131",
        "403,0, 0,134",
        "404,0,0,131",
    ];
    assert_eq!(sure(&rows, None), Some((Delimiter::CommaBlank, b',')));
    // Both kinds in half of the rows are enough.
    let half = ["400,0, 0,123", "401,0, 0,125", "402, 1", "403, 1"];
    assert_eq!(sure(&half, None), Some((Delimiter::CommaBlank, b',')));
}

#[test]
fn three_names_with_a_number_of_four_rows_keep_their_decimal_comma() {
    let rows = [
        "river bank    0,168",
        "mill pond    0,214",
        "old well    0,197",
        "outlet 0,205",
    ];
    assert_eq!(sure(&rows, None), Some((Delimiter::Blank, b',')));
}

#[test]
fn tabs_part_rows_of_which_three_in_five_have_them() {
    // The empty cell shows that tabs part, though two rows were typed with blanks.
    let typed = [
        "400\t0.5\t0.6",
        "410\t\t0.5",
        "420\t0.4\t0.5",
        "430 0.3 0.4",
        "440 0.2 0.3",
    ];
    assert_eq!(sure(&typed, None), Some((Delimiter::Tab, b'.')));
    // Without one the tabs are blanks.
    let blanks = ["400\t0.5", "410 0.4", "420\t0.3", "430\t0.2", "440 0.1"];
    assert_eq!(sure(&blanks, None), Some((Delimiter::Blank, b'.')));
    // Two cells of three are figures, and the third holds a pair.
    let pairs = ["400\t0.5\t0.1 0.2", "410\t0.4\t0.1 0.3", "420\t0.3\t0.2 0.3"];
    assert_eq!(sure(&pairs, None), Some((Delimiter::Tab, b'.')));
    // One row may be cut off behind its name.
    let cut = ["prep 1\t1.014", "prep 2\t1.020", "prep 3"];
    assert_eq!(sure(&cut, None), Some((Delimiter::Tab, b'.')));
}

#[test]
fn a_note_below_nine_rows_leaves_the_comma_a_decimal_sign() {
    let mut rows: Vec<String> = (1..=9).map(|row| format!("A{row};beet;0,37{row}")).collect();
    rows.push("blank 0,052".to_owned());
    let rows: Vec<&str> = rows.iter().map(String::as_str).collect();
    assert_eq!(sure(&rows, None), Some((Delimiter::Semicolon, b',')));
}
