//! Laws that hold for any text and any number: nothing panics, and what converts comes back.

use curvary_record::interpret::{guess_word, interpret};
use curvary_record::moment::{self, DatePartOrder, DateReading};
use curvary_record::unit::spelled;
use curvary_record::{Key, Unit, Value, known_fields};
use proptest::prelude::*;

fn pairs_of_units() -> impl Strategy<Value = (&'static str, &'static str)> {
    prop::sample::select(vec![
        ("nm", "um"),
        ("Cel", "K"),
        ("[degF]", "Cel"),
        ("min", "s"),
        ("mmol/L", "umol/L"),
        ("L/mol/cm", "m2/mol"),
        ("%", "1"),
        ("10*-3.{AU}", "{AU}"),
        ("U/mL", "kat/m3"),
        ("kJ/mol", "kcal/mol"),
    ])
}

proptest! {
    #[test]
    fn any_text_is_read_without_panic(text in "\\PC{0,48}", which in 0usize..200) {
        let _ = spelled(&text);
        let _ = Unit::ucum(&text);
        let _ = moment::read(&text, None);
        let _ = guess_word("x", &[&text]);
        let field = known_fields()[which % known_fields().len()].key;
        for key in [Key::new(field), Key::new("house word")] {
            let found = interpret(&key, &text, Some(DatePartOrder::DayFirst));
            if let Value::Number(number) = found.value {
                prop_assert!(number.is_finite());
            }
        }
    }

    #[test]
    fn texts_of_the_trade_are_read_without_panic(parts in prop::collection::vec(prop::sample::select(vec![
        "37", "0", ",", ".", " ", "°C", "nm", "-", "–", "±", "e", "E", "x", "10", "^", "(", ")", "/", "µM", "{", "[", "'", ":", "1:10", "pH", "Mar", "Uhr",
        "h", "PM", "T", "+", "cm-1", "min", "von ", " bis ",
    ]), 0..14), which in 0usize..200) {
        let text: String = parts.concat();
        let _ = spelled(&text);
        let _ = Unit::ucum(&text);
        let _ = moment::read(&text, Some(DatePartOrder::YearFirst));
        let field = known_fields()[which % known_fields().len()].key;
        let _ = interpret(&Key::new(field), &text, None);
        let _ = interpret(&Key::new("house word"), &text, None);
    }

    /// There and back is the same number to the last bits: each way is one correct rounding.
    #[test]
    fn conversions_come_back((from, to) in pairs_of_units(), value in -1e6f64..1e6) {
        let (from, to) = (Unit::ucum(from).expect("a code"), Unit::ucum(to).expect("a code"));
        let there = from.convert(value, &to).expect("of one dimension");
        let back = to.convert(there, &from).expect("of one dimension");
        // A shifted zero (Celsius) costs digits next to zero.
        prop_assert!((back - value).abs() <= 4.0 * f64::EPSILON * value.abs().max(1000.0), "{value} -> {there} -> {back}");
    }

    /// Powers of ten lose nothing at all for numbers of up to 15 digits.
    #[test]
    fn powers_of_ten_are_exact(digits in -999_999_999i64..999_999_999, decimals in 0u32..7) {
        let value: f64 = format!("{digits}e-{decimals}").parse().expect("a number");
        let (nm, um) = (Unit::NANOMETRE, Unit::ucum("um").expect("a code"));
        let there = nm.convert(value, &um).expect("lengths");
        prop_assert_eq!(there, format!("{digits}e-{}", decimals + 3).parse::<f64>().expect("a number"));
        prop_assert_eq!(um.convert(there, &nm).expect("lengths").to_bits(), value.to_bits());
    }

    #[test]
    fn codes_have_one_spelling(text in "[a-zA-Z0-9./{}()*%-]{0,12}") {
        if let Ok(unit) = Unit::ucum(&text) {
            prop_assert_eq!(Unit::ucum(unit.code()), Ok(unit.clone()), "{}", text);
            prop_assert!(unit.slug().bytes().all(|b| b.is_ascii_alphanumeric() || b == b'_'), "{}", unit.slug());
        }
    }

    #[test]
    fn dates_come_back(year in 1970i16..2069, month in 1i8..13, day in 1i8..29) {
        let wanted = format!("{year}-{month:02}-{day:02}");
        let short = format!("{day:02}.{month:02}.{:02}", year % 100);
        // Two digits from 41 to 68 may be of either century.
        let told = !(2041..=2068).contains(&year);
        for text in [wanted.clone(), format!("{day}.{month}.{year}")].into_iter().chain(told.then_some(short)) {
            match moment::read_date(&text, None) {
                DateReading::Read(date) => prop_assert_eq!(&date.iso, &wanted),
                other => prop_assert!(false, "{}: {:?}", text, other),
            }
        }
    }
}
