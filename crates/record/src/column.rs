//! A column of numbers with the quantity and unit they are of, each number the decimal that stood in the source.

use std::borrow::Cow;
use std::fmt;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::{Numbers, Unit};

/// The kind of quantity an axis carries, by its name in the trade (`wavelength`, `absorbance`, …).
///
/// The list is open: an axis whose meaning is known only to its author keeps its own name.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
pub struct Quantity(Cow<'static, str>);

impl Quantity {
    /// Wavelength of the light.
    pub const WAVELENGTH: Self = Self(Cow::Borrowed("wavelength"));
    /// Wavenumber of the light.
    pub const WAVENUMBER: Self = Self(Cow::Borrowed("wavenumber"));
    /// Photon energy.
    pub const ENERGY: Self = Self(Cow::Borrowed("energy"));
    /// Time since the start of the run.
    pub const TIME: Self = Self(Cow::Borrowed("time"));
    /// Decadic absorbance.
    pub const ABSORBANCE: Self = Self(Cow::Borrowed("absorbance"));
    /// Transmittance, as a fraction or in percent.
    pub const TRANSMITTANCE: Self = Self(Cow::Borrowed("transmittance"));
    /// Reflectance, as a fraction or in percent.
    pub const REFLECTANCE: Self = Self(Cow::Borrowed("reflectance"));
    /// Temperature.
    pub const TEMPERATURE: Self = Self(Cow::Borrowed("temperature"));
    /// Amount-of-substance or mass concentration.
    pub const CONCENTRATION: Self = Self(Cow::Borrowed("concentration"));
    /// A reaction rate, per time.
    pub const RATE: Self = Self(Cow::Borrowed("rate"));
    /// pH.
    pub const PH: Self = Self(Cow::Borrowed("ph"));
    /// A mere count of rows.
    pub const INDEX: Self = Self(Cow::Borrowed("index"));
    /// Not known; a question goes with it.
    pub const UNKNOWN: Self = Self(Cow::Borrowed("unknown"));

    /// A quantity under a name of its own.
    #[must_use]
    pub fn named(name: impl Into<String>) -> Self {
        Self(Cow::Owned(name.into()))
    }

    /// The same under a name that lasts as long as the program: it is copied without room of its own.
    #[must_use]
    pub const fn lasting(name: &'static str) -> Self {
        Self(Cow::Borrowed(name))
    }

    /// The name.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// The quantity as one by which something is decided; `None` for one that keeps its own name.
    #[must_use]
    pub fn known(&self) -> Option<KnownQuantity> {
        KnownQuantity::named(&self.0)
    }

    /// What a photometer reads off the light that reaches it: absorbance, transmittance, reflectance.
    #[must_use]
    pub fn is_of_light(&self) -> bool {
        [Self::ABSORBANCE, Self::TRANSMITTANCE, Self::REFLECTANCE].contains(self)
    }
}

// One list makes the type, the names and the way back, so that none of them can lack one.
macro_rules! known_quantities {
    ($($variant:ident = $name:literal: $what:literal,)*) => {
        /// A quantity by which something is decided, so that the compiler sees where one was forgotten: the closed part of the open
        /// list of [`Quantity`], which [`Quantity::known`] leads to. Any other name is kept and handed on.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
        pub enum KnownQuantity {
            $(#[doc = $what] $variant,)*
        }

        impl KnownQuantity {
            /// All of them.
            pub const ALL: &[Self] = &[$(Self::$variant,)*];

            /// The name.
            #[must_use]
            pub const fn as_str(self) -> &'static str {
                match self {
                    $(Self::$variant => $name,)*
                }
            }

            fn named(name: &str) -> Option<Self> {
                match name {
                    $($name => Some(Self::$variant),)*
                    _ => None,
                }
            }
        }
    };
}

known_quantities! {
    Wavelength = "wavelength": "Wavelength of the light.",
    Wavenumber = "wavenumber": "Wavenumber of the light.",
    Energy = "energy": "Photon energy.",
    Frequency = "frequency": "Frequency of the light.",
    Time = "time": "Time since the start of the run.",
    TimeOfDay = "time-of-day": "Time by the clock on the wall.",
    Date = "date": "A day.",
    Absorbance = "absorbance": "Decadic absorbance.",
    Transmittance = "transmittance": "Transmittance, as a fraction or in percent.",
    Reflectance = "reflectance": "Reflectance, as a fraction or in percent.",
    Intensity = "intensity": "Light that reaches the detector, in units of the instrument.",
    Temperature = "temperature": "Temperature.",
    Concentration = "concentration": "Amount-of-substance or mass concentration.",
    Dilution = "dilution": "How many times a solution was diluted.",
    Rate = "rate": "A reaction rate, per time.",
    Ph = "ph": "pH.",
    Index = "index": "A mere count of rows.",
    Item = "item": "A number of the thing that was measured.",
    Sample = "sample": "The name of a sample.",
    Flag = "flag": "A mark that the instrument set at a reading.",
    Unknown = "unknown": "Not known; a question goes with it.",
}

impl From<KnownQuantity> for Quantity {
    fn from(known: KnownQuantity) -> Self {
        Self::lasting(known.as_str())
    }
}

impl fmt::Display for Quantity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// How many digits stood behind the decimal sign of each number of a column, run-length coded `[digits, count]`.
///
/// With it `0.1200` is written back as `0.1200`. An exponent is already reckoned in: `1.20E-3` has five decimals.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
pub struct Decimals(Vec<(u8, u32)>);

impl Decimals {
    /// The same count of decimals for `count` numbers.
    #[must_use]
    pub fn uniform(digits: u8, count: usize) -> Self {
        let mut all = Self::default();
        all.push_run(digits, count);
        all
    }

    /// Gives back room that was made for more: of thousands of columns each says this once.
    pub fn fit(&mut self) {
        self.0.shrink_to_fit();
    }

    /// Adds the next number's count of decimals.
    #[inline]
    pub fn push(&mut self, digits: u8) {
        self.push_run(digits, 1);
    }

    /// Adds the same count of decimals for the next `count` numbers.
    #[inline]
    pub fn push_run(&mut self, digits: u8, count: usize) {
        let count = u32::try_from(count).unwrap_or(u32::MAX);
        match self.0.last_mut() {
            _ if count == 0 => {}
            Some((last, run)) if *last == digits => *run = run.saturating_add(count),
            _ => self.0.push((digits, count)),
        }
    }

    /// How many numbers are covered.
    #[must_use]
    pub fn len(&self) -> usize {
        self.0.iter().map(|&(_, count)| count as usize).sum()
    }

    /// Whether nothing is known.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// The one count that all numbers share.
    #[must_use]
    pub fn single(&self) -> Option<u8> {
        match self.0.as_slice() {
            [(digits, _)] => Some(*digits),
            _ => None,
        }
    }

    /// The largest count of decimals.
    #[must_use]
    pub fn max(&self) -> Option<u8> {
        self.0.iter().map(|&(digits, _)| digits).max()
    }

    /// The count of each number in turn.
    pub fn iter(&self) -> impl Iterator<Item = u8> + '_ {
        self.0
            .iter()
            .flat_map(|&(digits, count)| std::iter::repeat_n(digits, count as usize))
    }
}

/// Numbers of one quantity in one unit.
///
/// The numbers are shared, since the curves of one table often run over the same axis.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Column {
    /// What the numbers are of.
    pub quantity: Quantity,
    /// Their unit, a UCUM code.
    pub unit: Unit,
    /// The head under which the column stood, as it was spelled.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// The numbers; never NaN or infinite: what could not be read is absent.
    pub values: Numbers,
    /// The decimals each number was written with; empty where they are not known.
    #[serde(default, skip_serializing_if = "Decimals::is_empty")]
    pub decimals: Decimals,
}

impl Column {
    /// A column without a head and without known decimals.
    #[must_use]
    pub fn new(quantity: Quantity, unit: Unit, values: impl Into<Numbers>) -> Self {
        Self {
            quantity,
            unit,
            name: None,
            values: values.into(),
            decimals: Decimals::default(),
        }
    }

    /// The same column with the decimals its numbers were written with.
    #[must_use]
    pub fn with_decimals(mut self, decimals: Decimals) -> Self {
        self.decimals = decimals;
        self
    }

    /// Each number as it was written in the source, as far as its decimals are known; else its shortest decimal.
    pub fn texts(&self) -> impl Iterator<Item = String> + '_ {
        let mut decimals = self.decimals.iter();
        self.values
            .iter()
            .map(move |&value| write_decimal(value, decimals.next()))
    }
}

/// `value` with `decimals` digits behind the point when that is the same number, else its shortest decimal.
///
/// The check matters: a count of decimals may come from another column or from a factor, and no number is ever
/// rounded in silence. Nor is a digit made up: behind the seventeen that tell a double from all others there would follow those
/// of its binary form, which stood in no source. Where the shortest decimal has at most fifteen, zeros follow it.
#[must_use]
pub fn write_decimal(value: f64, decimals: Option<u8>) -> String {
    if let Some(digits) = decimals {
        let digits = usize::from(digits);
        let text = format!("{value:.digits$}");
        if text
            .parse::<f64>()
            .is_ok_and(|again| again.to_bits() == value.to_bits())
        {
            return if significant(&text) <= TELLING {
                text
            } else {
                padded(value, digits)
            };
        }
    }
    format!("{value}")
}

/// So many digits tell a double from all others (IEEE 754-2019, 5.12.2).
const TELLING: usize = 17;
/// Decimals of up to so many digits come back from a double as they were.
const KEPT: usize = 15;

/// Digits of a decimal from the first that is no zero.
fn significant(text: &str) -> usize {
    let digits = text.bytes().filter(u8::is_ascii_digit);
    digits.skip_while(|&digit| digit == b'0').count()
}

/// The shortest decimal of a number, with zeros up to a count of decimals where it is short.
fn padded(value: f64, digits: usize) -> String {
    let mut text = format!("{value}");
    // The zeros at the end of a large number are none of its digits.
    if significant(format!("{value:e}").split('e').next().unwrap_or_default()) <= KEPT {
        let there = match text.find('.') {
            Some(point) => text.len() - point - 1,
            None if digits > 0 => {
                text.push('.');
                0
            }
            None => 0,
        };
        text.extend(std::iter::repeat_n('0', digits.saturating_sub(there)));
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_digit_is_made_up() {
        assert_eq!(
            write_decimal(0.123_456_789_012_345_68, Some(18)),
            "0.12345678901234568"
        );
        assert_eq!(write_decimal(0.1, Some(20)), "0.10000000000000000000");
        assert_eq!(write_decimal(-37.5, Some(18)), "-37.500000000000000000");
        assert_eq!(write_decimal(0.1, Some(16)), "0.1000000000000000");
        assert_eq!(write_decimal(1e22, Some(2)), "10000000000000000000000.00");
    }

    #[test]
    fn decimals_come_back_as_written() {
        let mut decimals = Decimals::default();
        for digits in [4, 4, 4, 2] {
            decimals.push(digits);
        }
        let column = Column::new(
            Quantity::ABSORBANCE,
            Unit::ABSORBANCE,
            vec![0.12, 0.1201, -0.0, 1.5],
        )
        .with_decimals(decimals.clone());
        assert_eq!(
            column.texts().collect::<Vec<_>>(),
            ["0.1200", "0.1201", "-0.0000", "1.50"]
        );
        assert_eq!(
            (decimals.len(), decimals.max(), decimals.single()),
            (4, Some(4), None)
        );
    }

    #[test]
    fn too_few_decimals_never_round() {
        assert_eq!(write_decimal(0.125, Some(2)), "0.125");
        assert_eq!(write_decimal(1e-7, None), "0.0000001");
    }

    #[test]
    fn known_quantities_and_names_are_one_to_one() {
        for known in KnownQuantity::ALL {
            assert_eq!(Quantity::from(*known).known(), Some(*known));
        }
        assert_eq!(Quantity::WAVELENGTH.known(), Some(KnownQuantity::Wavelength));
        assert_eq!(Quantity::PH.known(), Some(KnownQuantity::Ph));
        assert_eq!(Quantity::named("turbidity").known(), None);
    }
}
