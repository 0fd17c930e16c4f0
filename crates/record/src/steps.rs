//! The numbers of a stored column as whole numbers and the steps between them.
//!
//! What an instrument writes are short decimals close to their neighbours. Times 10 to the power of their decimals they are
//! whole numbers, and the steps from one to the next are small: `[0.1250, 0.1252, 0.1255]` is
//! `{"decimals":4,"order":1,"steps":"J250KL"}`: the steps 1250, 2, 3 in the difference form of JCAMP-DX (`difference.rs`). With
//! `order` 2 the steps are taken of the steps, so that an even axis is its first number, its step and zeros. Undone by
//! running sums, `order` times, and one division. Up to format 4 the steps were a list, `[1250,2,3]`, in which `[0,117]`
//! stands for 117 zeros.
//!
//! Only what comes back bit for bit is stored so. The division of two whole numbers that an `f64` holds exactly gives the
//! `f64` nearest to their ratio (IEEE 754-2019, 5.4.1), as reading the decimal does; 10²² is the largest power of ten that
//! an `f64` holds exactly.

use std::fmt;

use schemars::JsonSchema;
use serde::de::{self, MapAccess, SeqAccess, Visitor};
use serde::ser::SerializeMap;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use crate::{Decimals, Numbers, difference};

/// Fewer numbers are written out: there is nothing to gain.
const FEWEST: usize = 4;
/// The most decimals that are looked for where their count is not known.
const SOUGHT: u8 = 9;
/// The most decimals: larger powers of ten are no exact `f64`.
const MOST_DECIMALS: u8 = 22;
/// Whole numbers below are exact as `f64`.
const EXACT: i64 = 1 << 53;
/// No column has more numbers: a file of 1 GiB, the longest that is read, has no more.
const MOST_NUMBERS: usize = 1 << 29;

/// The numbers of a column as they are stored.
#[derive(Clone, Debug, Default)]
pub(crate) struct StoredNumbers {
    numbers: Numbers,
    /// The most decimals that one of them was written with, as far as it is known.
    decimals: Option<u8>,
}

impl StoredNumbers {
    pub(crate) fn new(numbers: Numbers, decimals: &Decimals) -> Self {
        Self {
            numbers,
            decimals: decimals.max(),
        }
    }

    pub(crate) fn into_numbers(self) -> Numbers {
        self.numbers
    }

    /// Each number times the same power of ten, where all of them come back from that.
    fn whole(&self) -> Option<(u8, Vec<i64>)> {
        if self.numbers.len() < FEWEST {
            return None;
        }
        let known = self.decimals.filter(|&decimals| decimals <= MOST_DECIMALS);
        if let Some(decimals) = known
            && let Some(all) = times(&self.numbers, decimals)
        {
            return Some((decimals, all));
        }
        let mut decimals = 0;
        for &number in self.numbers.iter() {
            while whole(number, power(decimals)).is_none() {
                decimals += 1;
                if decimals > SOUGHT {
                    return None;
                }
            }
        }
        times(&self.numbers, decimals).map(|all| (decimals, all))
    }
}

fn power(decimals: u8) -> f64 {
    10_f64.powi(i32::from(decimals))
}

fn times(numbers: &[f64], decimals: u8) -> Option<Vec<i64>> {
    let power = power(decimals);
    let mut all = Vec::with_capacity(numbers.len());
    for &number in numbers {
        all.push(whole(number, power)?);
    }
    Some(all)
}

/// `number` times `power` as a whole number, when the division gives the number back.
fn whole(number: f64, power: f64) -> Option<i64> {
    let product = number * power;
    if !product.is_finite() || product.abs() >= 9e15 {
        return None;
    }
    #[expect(clippy::cast_possible_truncation, reason = "below 2^53")]
    let near = (product + 0.5_f64.copysign(product)) as i64;
    (back(near, power).to_bits() == number.to_bits()).then_some(near)
}

#[expect(clippy::cast_precision_loss, reason = "below 2^53")]
fn back(whole: i64, power: f64) -> f64 {
    whole as f64 / power
}

/// About how many digits all steps have together, of order 0, 1 and 2.
fn lengths(all: &[i64]) -> [u64; 3] {
    let digits = |step: i64| u64::from(64 - step.unsigned_abs().leading_zeros());
    let (mut one, mut two) = (0, 0);
    let mut lengths = [0; 3];
    for &number in all {
        let first = number - one;
        for (length, step) in lengths.iter_mut().zip([number, first, first - two]) {
            *length += digits(step);
        }
        (one, two) = (number, first);
    }
    lengths
}

fn steps(all: &[i64], order: u8) -> impl Iterator<Item = i64> + '_ {
    let (mut one, mut two) = (0, 0);
    all.iter().map(move |&number| {
        let first = number - one;
        let second = first - two;
        (one, two) = (number, first);
        match order {
            0 => number,
            1 => first,
            _ => second,
        }
    })
}

impl Serialize for StoredNumbers {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let Some((decimals, all)) = self.whole() else {
            return self.numbers.serialize(serializer);
        };
        let lengths = lengths(&all);
        let order = [1_u8, 2, 0]
            .into_iter()
            .min_by_key(|&order| lengths.get(usize::from(order)))
            .unwrap_or(1);
        let mut map = serializer.serialize_map(Some(3))?;
        map.serialize_entry("decimals", &decimals)?;
        map.serialize_entry("order", &order)?;
        map.serialize_entry("steps", &difference::written(steps(&all, order)))?;
        map.end()
    }
}

/// A step, or several equal ones.
#[derive(JsonSchema)]
#[serde(untagged)]
#[expect(dead_code, reason = "for the schema alone")]
pub(crate) enum StoredStep {
    /// A step.
    One(i64),
    /// A step and how many times it follows.
    Several(i64, u32),
}

/// The numbers of a column: each written out; or as whole numbers, times 10 to the power of `decimals`, of which steps
/// were taken `order` times (each number less the one before, 0 before the first).
#[derive(JsonSchema)]
#[schemars(rename = "StoredNumbers")]
#[serde(untagged)]
#[expect(dead_code, reason = "for the schema alone")]
pub(crate) enum NumbersShape {
    /// Each written out.
    Plain(Vec<f64>),
    /// Whole numbers and the steps between them.
    Steps {
        /// The numbers were multiplied by 10 to this power.
        #[schemars(range(max = 22))]
        decimals: u8,
        /// How many times steps were taken.
        #[schemars(range(max = 2))]
        order: u8,
        /// What came of it; running sums, `order` times, undo it.
        steps: StepsShape,
    },
}

/// Steps.
#[derive(JsonSchema)]
#[schemars(rename = "StoredSteps")]
#[serde(untagged)]
#[expect(dead_code, reason = "for the schema alone")]
pub(crate) enum StepsShape {
    /// In the difference form of JCAMP-DX with duplicates.
    Text(#[schemars(regex(pattern = "^([%J-Rj-rS-Zs][0-9]*)*$"))] String),
    /// As format 4 has them.
    List(Vec<StoredStep>),
}

impl<'de> Deserialize<'de> for StoredNumbers {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(StoredNumbersVisitor)
    }
}

/// What is said of a column that is written in steps.
#[derive(Deserialize)]
#[serde(field_identifier, rename_all = "lowercase")]
enum Member {
    Decimals,
    Order,
    Steps,
}

struct StoredNumbersVisitor;

impl<'de> Visitor<'de> for StoredNumbersVisitor {
    type Value = StoredNumbers;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("numbers, or `decimals`, `order` and `steps`")
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<StoredNumbers, A::Error> {
        let mut numbers = Vec::new();
        while let Some(number) = list.next_element::<f64>()? {
            numbers.push(number);
        }
        Ok(StoredNumbers {
            numbers: numbers.into(),
            decimals: None,
        })
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<StoredNumbers, A::Error> {
        let (mut decimals, mut order, mut steps) = (None, None, None);
        while let Some(key) = map.next_key()? {
            match key {
                Member::Decimals => decimals = Some(map.next_value::<u8>()?),
                Member::Order => order = Some(map.next_value::<u8>()?),
                Member::Steps => steps = Some(map.next_value::<LooseSteps>()?.0),
            }
        }
        let decimals = decimals.ok_or_else(|| de::Error::missing_field("decimals"))?;
        let order = order.ok_or_else(|| de::Error::missing_field("order"))?;
        let mut all = steps.ok_or_else(|| de::Error::missing_field("steps"))?;
        if decimals > MOST_DECIMALS || order > 2 {
            let found = format!("decimals {decimals} and order {order}, expected at most 22 and 2");
            return Err(de::Error::custom(found));
        }
        for _ in 0..order {
            let mut sum = 0_i64;
            for step in &mut all {
                sum = sum.saturating_add(*step);
                *step = sum;
            }
        }
        if all
            .iter()
            .any(|whole| whole.unsigned_abs() > EXACT.unsigned_abs())
        {
            return Err(de::Error::custom("steps that add up to more than 2^53"));
        }
        let power = power(decimals);
        // They stand in the same place as the whole numbers before.
        let numbers: Vec<f64> = all.into_iter().map(|whole| back(whole, power)).collect();
        Ok(StoredNumbers {
            numbers: numbers.into(),
            decimals: None,
        })
    }
}

/// Steps as they are read, each by itself.
struct LooseSteps(Vec<i64>);

/// Room for so many steps is kept from one column to the next, since how many follow is not known when they are read.
const ROOM: usize = 1 << 14;

impl<'de> Deserialize<'de> for LooseSteps {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        thread_local! {
            static STEPS: std::cell::Cell<Vec<i64>> = const { std::cell::Cell::new(Vec::new()) };
        }
        struct LooseStepsVisitor;
        impl<'de> Visitor<'de> for LooseStepsVisitor {
            type Value = LooseSteps;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("steps")
            }

            fn visit_str<E: de::Error>(self, text: &str) -> Result<LooseSteps, E> {
                let mut all = STEPS.take();
                all.clear();
                difference::read(text, MOST_NUMBERS, &mut all).map_err(E::custom)?;
                Ok(kept(all))
            }

            fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<LooseSteps, A::Error> {
                let mut all = STEPS.take();
                all.clear();
                while let Some(Several(step, count)) = list.next_element()? {
                    let count = count as usize;
                    if all.len() + count > MOST_NUMBERS {
                        return Err(de::Error::custom("more steps than a column has numbers"));
                    }
                    all.resize(all.len() + count, step);
                }
                Ok(kept(all))
            }
        }
        fn kept(all: Vec<i64>) -> LooseSteps {
            if all.len() > ROOM {
                return LooseSteps(all);
            }
            let steps = all.clone();
            STEPS.set(all);
            LooseSteps(steps)
        }
        deserializer.deserialize_any(LooseStepsVisitor)
    }
}

/// A step and how many times it follows.
struct Several(i64, u32);

impl<'de> Deserialize<'de> for Several {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct SeveralVisitor;
        impl<'de> Visitor<'de> for SeveralVisitor {
            type Value = Several;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a whole number, or one and its count")
            }

            fn visit_i64<E: de::Error>(self, step: i64) -> Result<Several, E> {
                Ok(Several(step, 1))
            }

            fn visit_u64<E: de::Error>(self, step: u64) -> Result<Several, E> {
                i64::try_from(step)
                    .map(|step| Several(step, 1))
                    .map_err(|_| de::Error::custom("a step beyond 2^63"))
            }

            fn visit_seq<A: SeqAccess<'de>>(self, mut pair: A) -> Result<Several, A::Error> {
                let missing = || de::Error::custom("a step and its count");
                let step = pair.next_element()?.ok_or_else(missing)?;
                let count = pair.next_element()?.ok_or_else(missing)?;
                Ok(Several(step, count))
            }
        }
        deserializer.deserialize_any(SeveralVisitor)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn stored(numbers: &[f64], decimals: &Decimals) -> String {
        let stored = StoredNumbers::new(numbers.to_vec().into(), decimals);
        serde_json::to_string(&stored).expect("it writes")
    }

    fn read(text: &str) -> serde_json::Result<Vec<f64>> {
        serde_json::from_str::<StoredNumbers>(text).map(|stored| stored.into_numbers().to_vec())
    }

    #[test]
    fn known_columns() {
        let four = Decimals::uniform(4, 4);
        assert_eq!(
            stored(&[0.125, 0.1252, 0.1255, 0.125], &four),
            r#"{"decimals":4,"order":1,"steps":"J250KLn"}"#
        );
        let axis: Vec<f64> = (0..100).map(|n| 350.0 + 0.5 * f64::from(n)).collect();
        assert_eq!(
            stored(&axis, &Decimals::default()),
            r#"{"decimals":1,"order":2,"steps":"L500l495%s8"}"#
        );
        assert_eq!(
            read(r#"{"decimals":1,"order":2,"steps":[3500,-3495,[0,98]]}"#).expect("as format 4 has them"),
            axis
        );
        assert_eq!(stored(&[0.125, 0.5], &four), "[0.125,0.5]");
        // Neither a minus zero nor a third comes back from whole numbers.
        assert_eq!(stored(&[1.0, -0.0, 2.0, 3.0], &four), "[1.0,-0.0,2.0,3.0]");
        assert!(stored(&[1.0 / 3.0, 1.0, 2.0, 3.0], &four).starts_with("[0.333"));
    }

    #[test]
    fn what_cannot_be_is_refused() {
        for wrong in [
            r#"{"decimals":4,"order":3,"steps":[1]}"#,
            r#"{"decimals":23,"order":1,"steps":[1]}"#,
            r#"{"decimals":4,"steps":[1]}"#,
            r#"{"decimals":4,"order":1,"steps":[[1,4294967295]]}"#,
            r#"{"decimals":4,"order":1,"steps":[9007199254740992,1]}"#,
            r#"{"decimals":4,"order":1,"steps":[18446744073709551615]}"#,
            r#"{"decimals":4,"order":1,"steps":[[1]]}"#,
            r#"{"decimals":4,"order":1,"steps":[1.5]}"#,
            r#"{"decimals":4,"order":1,"steps":"1250"}"#,
            r#"{"decimals":4,"order":1,"steps":"%s99999999999"}"#,
            r#"{"digits":4,"order":1,"steps":[1]}"#,
            r#""numbers""#,
        ] {
            assert!(read(wrong).is_err(), "{wrong}");
        }
    }

    proptest! {
        #[test]
        fn decimals_come_back_bit_for_bit(
            whole in prop::collection::vec(-1_000_000_000_i64..1_000_000_000, 0..60),
            digits in 0_u8..12,
            told in any::<bool>(),
        ) {
            let text = |n: &i64| format!("{n}e-{digits}").parse::<f64>().expect("a number");
            let numbers: Vec<f64> = whole.iter().map(text).collect();
            let decimals = if told { Decimals::uniform(digits, numbers.len()) } else { Decimals::default() };
            let again = read(&stored(&numbers, &decimals)).expect("it reads");
            let bits = |all: &[f64]| all.iter().map(|n| n.to_bits()).collect::<Vec<_>>();
            prop_assert_eq!(bits(&again), bits(&numbers));
        }

        #[test]
        fn any_numbers_come_back_bit_for_bit(
            numbers in prop::collection::vec(any::<f64>().prop_filter("finite", |n| n.is_finite()), 0..40),
            digits in 0_u8..40,
        ) {
            let again = read(&stored(&numbers, &Decimals::uniform(digits, 1))).expect("it reads");
            let bits = |all: &[f64]| all.iter().map(|n| n.to_bits()).collect::<Vec<_>>();
            prop_assert_eq!(bits(&again), bits(&numbers));
        }
    }
}
