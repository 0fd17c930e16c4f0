//! Whole numbers as text: the difference form (DIF) of JCAMP-DX with duplicates (DUP), section 5.9 of its version 4.24.
//!
//! The first digit of each number is a letter that says its sign too, so that nothing need stand between two numbers. A
//! letter of the third row says how many times altogether the number in front of it stands.
//!
//! ```text
//! first digit          0 1 2 3 4 5 6 7 8 9
//! of a positive one    % J K L M N O P Q R
//! of a negative one      j k l m n o p q r
//! of a count             S T U V W X Y Z s
//!
//! 214 -218 0 0 0 0     K14k18%V
//! ```

const POSITIVE: &[u8; 10] = b"%JKLMNOPQR";
const NEGATIVE: &[u8; 10] = b"%jklmnopqr";
const COUNT: &[u8; 10] = b" STUVWXYZs";

/// So many equal numbers are written with a count.
const EQUAL: u64 = 3;

/// What a byte is.
#[derive(Clone, Copy, PartialEq)]
enum Sign {
    Other,
    Digit(u8),
    Positive(u8),
    Negative(u8),
    Count(u8),
}

const SIGNS: [Sign; 256] = {
    let mut all = [Sign::Other; 256];
    let mut digit = 0_u8;
    while digit < 10 {
        all[b'0' as usize + digit as usize] = Sign::Digit(digit);
        all[POSITIVE[digit as usize] as usize] = Sign::Positive(digit);
        if digit > 0 {
            all[NEGATIVE[digit as usize] as usize] = Sign::Negative(digit);
            all[COUNT[digit as usize] as usize] = Sign::Count(digit);
        }
        digit += 1;
    }
    all
};

/// Writes whole numbers.
pub(crate) fn written(numbers: impl Iterator<Item = i64>) -> String {
    let mut text = String::with_capacity(2 * numbers.size_hint().0);
    let mut numbers = numbers.peekable();
    while let Some(number) = numbers.next() {
        let mut count = 1_u64;
        while numbers.next_if_eq(&number).is_some() {
            count += 1;
        }
        let letters = if number < 0 { NEGATIVE } else { POSITIVE };
        if count < EQUAL {
            for _ in 0..count {
                put(&mut text, number.unsigned_abs(), letters);
            }
        } else {
            put(&mut text, number.unsigned_abs(), letters);
            put(&mut text, count, COUNT);
        }
    }
    text
}

fn put(text: &mut String, number: u64, letters: &[u8; 10]) {
    if let Some(&letter) = usize::try_from(number)
        .ok()
        .and_then(|number| letters.get(number))
    {
        text.push(char::from(letter));
        return;
    }
    let mut digits = [0_u8; 20];
    let mut from = digits.len();
    let mut rest = number;
    while rest > 0 {
        from -= 1;
        digits[from] = (rest % 10) as u8;
        rest /= 10;
    }
    text.push(char::from(letters[usize::from(digits[from])]));
    text.extend(digits[from + 1..].iter().map(|digit| char::from(b'0' + digit)));
}

/// Reads them again, at most so many.
///
/// # Errors
/// With what is wrong.
pub(crate) fn read(text: &str, most: usize, all: &mut Vec<i64>) -> Result<(), &'static str> {
    let bytes = text.as_bytes();
    let mut at = 0;
    while let Some(&byte) = bytes.get(at) {
        let sign = SIGNS[usize::from(byte)];
        let (Sign::Positive(first) | Sign::Negative(first) | Sign::Count(first)) = sign else {
            return Err("expected a letter of the difference form");
        };
        let mut number = u64::from(first);
        at += 1;
        while let Some(Sign::Digit(digit)) = bytes.get(at).map(|&byte| SIGNS[usize::from(byte)]) {
            number = number.saturating_mul(10).saturating_add(u64::from(digit));
            at += 1;
        }
        let whole = i64::try_from(number).map_err(|_| "a number beyond 2^63")?;
        if let Sign::Count(_) = sign {
            let last = *all.last().ok_or("a count with no number in front of it")?;
            let count = usize::try_from(number).unwrap_or(usize::MAX);
            let length = (all.len() - 1).saturating_add(count);
            if length > most {
                return Err("more numbers than there can be");
            }
            all.resize(length.max(all.len()), last);
        } else {
            all.push(if let Sign::Negative(_) = sign {
                -whole
            } else {
                whole
            });
        }
    }
    if all.len() > most {
        return Err("more numbers than there can be");
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn again(text: &str) -> Result<Vec<i64>, &'static str> {
        let mut all = Vec::new();
        read(text, 1000, &mut all).map(|()| all)
    }

    #[test]
    fn known_numbers() {
        assert_eq!(written([214, -218, 0, 0, 0, 0].into_iter()), "K14k18%V");
        assert_eq!(written([7, 7, -7].into_iter()), "PPp");
        assert_eq!(again("J00%s9").map(|all| all.len()), Ok(100));
        for wrong in ["1", "S", "J00 ", "%s999", "J99999999999999999999", "ä"] {
            assert!(again(wrong).is_err(), "{wrong}");
        }
    }

    proptest! {
        #[test]
        fn whole_numbers_come_back(all in prop::collection::vec((-3_i64..4, any::<i32>(), 1_usize..9), 0..60)) {
            let all: Vec<i64> = all
                .into_iter()
                .flat_map(|(small, any, count)| std::iter::repeat_n(if small == 3 { i64::from(any) << 20 } else { small }, count))
                .collect();
            prop_assert_eq!(again(&written(all.iter().copied())), Ok(all));
        }
    }
}
