//! Numbers that stand in labels and names.

use curvary_record::interpret::{LabelNumber, number_in_label};

#[test]
fn a_mark_before_three_digits_is_in_doubt_in_a_label() {
    let doubtful = |decimal, thousands| Some(LabelNumber::Doubtful { decimal, thousands });
    let sure = |value| Some(LabelNumber::Sure(value));
    for (word, comma, wanted) in [
        ("1,000", None, doubtful(1.0, 1000.0)),
        ("1.000", None, doubtful(1.0, 1000.0)),
        ("12.500", None, doubtful(12.5, 12500.0)),
        ("1.000", Some(false), sure(1.0)),
        ("1.000", Some(true), doubtful(1.0, 1000.0)),
        ("1,000", Some(true), sure(1.0)),
        ("1,000", Some(false), sure(1000.0)),
        ("0.500", None, sure(0.5)),
        ("0,500", None, sure(0.5)),
        ("1,5", None, sure(1.5)),
        ("60", None, sure(60.0)),
        ("1,000.5", None, sure(1000.5)),
        ("1 000", None, sure(1000.0)),
        ("60mg", None, None),
        ("S1", None, None),
    ] {
        assert_eq!(number_in_label(word, comma), wanted, "{word} {comma:?}");
    }
}
