//! Tests of how many columns a table has, and what they hold: on either side of each bound.

use super::super::super::number::Style;
use super::*;

fn dialect() -> Dialect {
    Dialect::new(Delimiter::Semicolon, Style::POINT)
}

/// Whether the second column, with these cells behind names, is one of words.
fn are_words(cells: &[&str]) -> bool {
    let rows: Vec<String> = cells.iter().map(|cell| format!("tea;{cell}")).collect();
    let rows: Vec<&str> = rows.iter().map(String::as_str).collect();
    kinds_of(&rows, &split_all(&rows, &dialect()), &dialect(), 2)[1] == ColumnKind::Words
}

/// The count of columns of so many rows of one kind above so many of another.
fn columns(first: (usize, &str), second: (usize, &str)) -> Option<usize> {
    let rows = [vec![first.1; first.0], vec![second.1; second.0]].concat();
    usual_count(&split_all(&rows, &dialect()), &dialect(), None)
}

#[test]
fn a_third_of_words_makes_a_column_of_words() {
    assert!(are_words(&["5", "6", "7", "x"]));
    assert!(!are_words(&["5", "6", "7", "8", "x"]));
}

#[test]
fn a_word_beside_an_overflow_is_another_one_where_three_numbers_stand() {
    assert!(!are_words(&["0.5", "0.6", "0.7", "OVER", "dark"]));
    assert!(are_words(&["0.5", "0.6", "OVER", "dark"]));
}

#[test]
fn remarks_in_fewer_than_half_as_many_wells_as_readings_make_no_names() {
    assert!(are_words(&["0.51", "0.52", "0.53", "0.54", "bubble", "bubble"]));
    assert!(!are_words(&[
        "0.51", "0.52", "0.53", "0.54", "0.55", "bubble", "bubble"
    ]));
}

#[test]
fn an_empty_cell_at_the_end_of_nine_rows_in_ten_is_a_column() {
    assert_eq!(columns((9, "400;0.5;"), (1, "410;0.4")), Some(3));
    assert_eq!(columns((8, "400;0.5;"), (2, "410;0.4")), Some(2));
}

#[test]
fn a_tenth_of_longer_rows_makes_a_column() {
    assert_eq!(columns((18, "400;0.5"), (2, "410;0.4;0.3")), Some(3));
    assert_eq!(columns((19, "400;0.5"), (2, "410;0.4;0.3")), Some(2));
}
