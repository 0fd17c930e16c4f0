use proptest::prelude::*;

use super::{Query, QueryNode};

fn house() -> Vec<String> {
    vec!["Jacket".into(), "Lot number".into()]
}

fn node(text: &str) -> QueryNode {
    Query::parse(text, &house()).expect(text).node
}

fn fault(text: &str) -> (usize, String, String) {
    let error = Query::parse(text, &house()).expect_err(text);
    (error.column, error.message, error.help.unwrap_or_default())
}

#[test]
fn words_fields_and_joins() {
    assert_eq!(node(""), QueryNode::And(vec![]));
    assert_eq!(
        node("Bétanin"),
        QueryNode::Words {
            key: None,
            words: vec!["betanin".into()]
        }
    );
    let QueryNode::And(both) = node("a (b or -c)") else {
        panic!("two terms")
    };
    assert!(matches!(&both[1], QueryNode::Or(nodes) if matches!(nodes[1], QueryNode::Not(_))));
    assert_eq!(node("a and b"), node("a b"));
    assert_eq!(
        node("buffer:\"citrate phosphate\""),
        QueryNode::Words {
            key: Some("buffer".into()),
            words: vec!["citrate".into(), "phosphate".into()]
        }
    );
    assert_eq!(node("a or b c"), node("a or (b c)"));
}

#[test]
fn numbers_are_in_si_and_take_the_customary_unit() {
    for (query, value) in [
        ("temperature:37C", 310.15),
        ("temperature:\"37 °C\"", 310.15),
        ("temperature:310.15K", 310.15),
        ("temperature:37", 310.15),
        ("concentration:50uM", 0.05),
        ("concentration:0.05mM", 0.05),
        ("path-length:10mm", 0.01),
        ("path-length:1", 0.01),
        ("wavelength:405", 405e-9),
        ("ph:7.4", 7.4),
    ] {
        let QueryNode::Number { bounds, .. } = node(query) else {
            panic!("{query}: a number")
        };
        assert!(bounds.hold(value), "{query}: {bounds:?}");
        assert!(
            !bounds.hold(value * 1.000_001) && !bounds.hold(value * 0.999_999),
            "{query}"
        );
    }
    assert_eq!(node("temperature:36..38C"), node("temperature:36C..38C"));
    assert_eq!(node("temperature:>=7"), node("Temperature:7.."));
    let QueryNode::Number { bounds, .. } = node("path-length:<1cm") else {
        panic!("a number")
    };
    assert!(bounds.hold(0.009) && !bounds.hold(0.01));
    let QueryNode::Number {
        key,
        dimension,
        bounds,
    } = node("result.k:0.001..0.01/s")
    else {
        panic!("a number")
    };
    assert_eq!((key.as_str(), dimension.as_str()), ("result.k", "s-1"));
    assert!(bounds.hold(0.001) && bounds.hold(0.01) && !bounds.hold(0.0101));
}

#[test]
fn days_end_with_their_month_and_year() {
    assert_eq!(
        node("date:2019..2021-06"),
        QueryNode::Day {
            from: 20_190_101,
            to: 20_210_630
        }
    );
    assert_eq!(
        node("date:2020-02"),
        QueryNode::Day {
            from: 20_200_201,
            to: 20_200_229
        }
    );
    assert_eq!(
        node("date:>2020-02"),
        QueryNode::Day {
            from: 20_200_230,
            to: i64::MAX
        }
    );
    assert_eq!(
        node("date:<=2020"),
        QueryNode::Day {
            from: i64::MIN,
            to: 20_201_231
        }
    );
    assert!(fault("date:2021-02-30").1.contains("is no date"));
}

#[test]
fn mistakes_are_told_with_their_column_and_the_nearest_right_word() {
    assert_eq!(fault("x temprature:37C").0, 3);
    assert!(fault("temprature:37C").2.contains("`temperature`"));
    assert_eq!(fault("temperature:37 ph:").0, 16);
    let (column, message, help) = fault("concentration:5umM");
    assert_eq!(column, 15);
    assert!(
        message.contains("`umM`") && help.contains("`mM`"),
        "{message} {help}"
    );
    assert!(fault("temperature:5mM").1.contains("does not measure"));
    assert!(fault("temperature:37,5").1.contains("point"));
    assert!(fault("temperature:38..36").1.contains("downwards"));
    assert!(fault("is:suspended").1.contains("superseded"));
    assert!(fault("has:samples").2.contains("`sample`"));
    assert!(fault("(a").1.contains("never closed"));
    assert!(fault("a)").1.contains("`)`"));
    assert!(fault("\"a").1.contains("never closed"));
    assert!(fault("a or").1.contains("expected"));
    assert!(fault("12:30").2.contains("quotes"));
    assert_eq!(fault("µµ temprature:3").0, 4);
}

#[test]
fn words_of_the_house_are_fields_in_their_own_spelling() {
    assert!(matches!(node("jacket:37"), QueryNode::Or(_)));
    // The unit `C` may be degree Celsius or coulomb; a key of the house can mean either.
    let QueryNode::Or(meanings) = node("jacket:>36C") else {
        panic!("several units")
    };
    assert!(
        meanings
            .iter()
            .all(|node| matches!(node, QueryNode::Number { key, .. } if key == "Jacket"))
    );
    assert_eq!(
        node("\"lot number\":\"A 7\""),
        QueryNode::Words {
            key: Some("Lot number".into()),
            words: vec!["a".into(), "7".into()]
        }
    );
    assert!(
        Query::parse("-is:superseded", &[])
            .expect("it is right")
            .superseded
    );
}

proptest! {
    #[test]
    fn nothing_that_is_typed_makes_it_panic(text in ".{0,60}") {
        if let Err(error) = Query::parse(&text, &house()) {
            prop_assert!(error.column >= 1 && error.column <= text.chars().count() + 1);
        }
    }

    #[test]
    fn nor_does_anything_that_looks_like_a_query(
        text in "(-|\\(|\\)|or |and |[a-z]{1,4} |\"|temperature:|date:|jacket:|has:|[0-9.]{1,4}|\\.\\.|<|>=|C|nm|/s| |:){0,14}"
    ) {
        let _ = Query::parse(&text, &house());
    }

    #[test]
    fn a_column_points_into_the_query(key in "[a-z]{3,9}", before in "[a-z äµ]{0,9}") {
        let text = format!("{before} {key}q:1");
        if let Err(error) = Query::parse(&text, &[]) {
            prop_assert!(text.chars().nth(error.column - 1).is_some());
        }
    }
}
