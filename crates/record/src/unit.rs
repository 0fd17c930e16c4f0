//! Units: UCUM codes, their SI factors, and the spellings people write.
//!
//! A [`Unit`] is a code of the Unified Code for Units of Measure (UCUM 2.2) over the units of this trade: prefixes,
//! products, quotients, exponents and annotations. [`Unit::ucum`] reads a code; [`spelled`] reads what people write
//! (`µM`, `1/cm`, `°C`, `mAU/min`) and says so when a spelling means several units.
//!
//! Conversions are those of the decimal that was written, not of its binary neighbour: 0.035 mol/L is 35 mmol/L and
//! 37 °C is 310.15 K, to the last digit.

mod code;
mod spelling;

use std::borrow::Cow;
use std::cell::RefCell;
use std::fmt;
use std::thread::LocalKey;

use hashbrown::HashMap;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use code::ParsedUnit;
pub use spelling::{Spelling, spelled};

/// A unit by its UCUM code.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
pub struct Unit(Cow<'static, str>);

/// A text that is no UCUM code we know.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UnknownUnit(pub String);

impl fmt::Display for UnknownUnit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "`{}` is no unit that is known here: expected a UCUM code such as `nm`, `Cel`, `umol/L` or `/cm`",
            self.0
        )
    }
}

impl std::error::Error for UnknownUnit {}

/// Two units of different dimensions, between which nothing converts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Incommensurable {
    /// The unit of the value.
    pub from: Unit,
    /// The unit that was wanted.
    pub to: Unit,
}

impl fmt::Display for Incommensurable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "`{}` does not convert to `{}`: they measure different things",
            self.from, self.to
        )
    }
}

impl std::error::Error for Incommensurable {}

/// What was found out about codes, by code.
type UnitCache<T> = LocalKey<RefCell<HashMap<String, Option<T>>>>;

/// So many codes are remembered on each thread.
const REMEMBERED: usize = 1024;

thread_local! {
    static CANONICAL: RefCell<HashMap<String, Option<Unit>>> = RefCell::new(HashMap::new());
    static DIMENSIONS: RefCell<HashMap<String, Option<Dimension>>> = RefCell::new(HashMap::new());
}

/// What is known of a code, found once: the same few stand in thousands of files, and taking one apart is dear.
fn remembered<T: Clone>(
    known: &'static UnitCache<T>,
    code: &str,
    find: impl FnOnce() -> Option<T>,
) -> Option<T> {
    known.with_borrow_mut(|known| {
        if let Some(found) = known.get(code) {
            return found.clone();
        }
        if known.len() >= REMEMBERED {
            known.clear();
        }
        let found = find();
        known.insert(code.to_owned(), found.clone());
        found
    })
}

/// The dimension of a unit, as exponents of the SI base units.
///
/// UCUM counts the mole as a pure number; here it is the SI base unit, so that mol/L is not confused with 1/L. Units
/// whose scale is a convention (pH, international and arbitrary units, the bel) have a dimension of their own each.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Dimension {
    /// Metre, kilogram, second, ampere, kelvin, mole, candela, radian.
    base: [i8; 8],
    /// pH, international unit, arbitrary unit, bel.
    convention: [i8; 4],
}

impl Dimension {
    /// The dimension of pure numbers.
    pub const ONE: Self = Self {
        base: [0; 8],
        convention: [0; 4],
    };

    fn symbols(self) -> impl Iterator<Item = (&'static str, i8)> {
        const BASE: [&str; 8] = ["m", "kg", "s", "A", "K", "mol", "cd", "rad"];
        const CONVENTION: [&str; 4] = ["[pH]", "[iU]", "[arb'U]", "B"];
        BASE.into_iter()
            .zip(self.base)
            .chain(CONVENTION.into_iter().zip(self.convention))
            .filter(|&(_, exponent)| exponent != 0)
    }
}

impl fmt::Display for Dimension {
    /// The coherent SI unit, as a UCUM code: `m2.mol-1`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut first = true;
        for (symbol, exponent) in self.symbols() {
            if !first {
                f.write_str(".")?;
            }
            first = false;
            f.write_str(symbol)?;
            if exponent != 1 {
                write!(f, "{exponent}")?;
            }
        }
        if first { f.write_str("1") } else { Ok(()) }
    }
}

impl Unit {
    /// The pure number one.
    pub const ONE: Self = Self(Cow::Borrowed("1"));
    /// Absorbance, a pure number with UCUM's annotation.
    pub const ABSORBANCE: Self = Self(Cow::Borrowed("{AU}"));
    /// A thousandth of absorbance. (`m{AU}` would be a *metre* with a remark.)
    pub const MILLIABSORBANCE: Self = Self(Cow::Borrowed("10*-3.{AU}"));
    /// Percent.
    pub const PERCENT: Self = Self(Cow::Borrowed("%"));
    /// Nanometre.
    pub const NANOMETRE: Self = Self(Cow::Borrowed("nm"));
    /// Reciprocal centimetre.
    pub const PER_CENTIMETRE: Self = Self(Cow::Borrowed("/cm"));
    /// Second.
    pub const SECOND: Self = Self(Cow::Borrowed("s"));
    /// Minute.
    pub const MINUTE: Self = Self(Cow::Borrowed("min"));
    /// Hour.
    pub const HOUR: Self = Self(Cow::Borrowed("h"));
    /// Degree Celsius.
    pub const CELSIUS: Self = Self(Cow::Borrowed("Cel"));
    /// Kelvin.
    pub const KELVIN: Self = Self(Cow::Borrowed("K"));
    /// pH.
    pub const PH: Self = Self(Cow::Borrowed("[pH]"));
    /// Mole per litre.
    pub const MOLE_PER_LITRE: Self = Self(Cow::Borrowed("mol/L"));

    /// The unit of a UCUM code, in one spelling: `cm-1` and `1/cm` are `/cm`, `L.mol-1.cm-1` is `L/mol/cm`.
    ///
    /// # Errors
    /// When the code is not valid, or made of units that are unknown in this trade.
    pub fn ucum(code: &str) -> Result<Self, UnknownUnit> {
        match remembered(&CANONICAL, code, || {
            ParsedUnit::of(code).map(|parsed| Self::canonical(parsed.canonical()))
        }) {
            // The canonical code must be valid itself; this can only fail on huge exponents.
            Some(unit) => Ok(unit),
            None => Err(UnknownUnit(code.to_owned())),
        }
    }

    /// The unit of a canonical code. The usual ones are copied without room of their own.
    fn canonical(code: String) -> Self {
        const USUAL: [&str; 24] = [
            "nm",
            "s",
            "min",
            "h",
            "1",
            "{AU}",
            "10*-3.{AU}",
            "%",
            "Cel",
            "K",
            "cm",
            "mm",
            "m",
            "/cm",
            "/min",
            "/s",
            "mol/L",
            "mmol/L",
            "umol/L",
            "nmol/L",
            "mg/L",
            "mL",
            "uL",
            "[pH]",
        ];
        match USUAL.into_iter().find(|usual| *usual == code) {
            Some(usual) => Self(Cow::Borrowed(usual)),
            None => Self(Cow::Owned(code)),
        }
    }

    /// The UCUM code.
    #[must_use]
    pub fn code(&self) -> &str {
        &self.0
    }

    /// The dimension; `None` for a code that is unknown here (as from a record that a later version wrote).
    #[must_use]
    pub fn dimension(&self) -> Option<Dimension> {
        remembered(&DIMENSIONS, &self.0, || {
            ParsedUnit::of(&self.0).map(|parsed| parsed.dimension)
        })
    }

    /// Whether both units measure the same dimension, so that values convert.
    #[must_use]
    pub fn converts_to(&self, other: &Self) -> bool {
        self.0 == other.0
            || self
                .dimension()
                .is_some_and(|dimension| other.dimension() == Some(dimension))
    }

    /// `value` of this unit in the coherent SI unit of its dimension; NaN when the code is unknown here.
    ///
    /// pH, international and arbitrary units stay as they are.
    #[must_use]
    pub fn to_si(&self, value: f64) -> f64 {
        ParsedUnit::of(&self.0).map_or(f64::NAN, |parsed| parsed.scale.apply(value, &code::Scale::ONE))
    }

    /// `value` of this unit in `to`, correctly rounded from the decimal that `value` prints as.
    ///
    /// Percent, `1` and absorbance are all pure numbers and convert; that a transmittance is no absorbance is a
    /// matter of quantities, not of units.
    ///
    /// # Errors
    /// When the units measure different things, or one is unknown here.
    pub fn convert(&self, value: f64, to: &Self) -> Result<f64, Incommensurable> {
        if self.0 == to.0 {
            return Ok(value);
        }
        Ok(self.conversion(to)?.apply(value))
    }

    /// The way from this unit to another, worked out once for many values.
    ///
    /// # Errors
    /// When the units measure different things, or one is unknown here.
    pub fn conversion(&self, to: &Self) -> Result<UnitConversion, Incommensurable> {
        if self.0 == to.0 {
            return Ok(UnitConversion {
                from: code::Scale::ONE,
                to: code::Scale::ONE,
            });
        }
        match ParsedUnit::of(&self.0).zip(ParsedUnit::of(&to.0)) {
            Some((from, into)) if from.dimension == into.dimension => Ok(UnitConversion {
                from: from.scale,
                to: into.scale,
            }),
            _ => Err(Incommensurable {
                from: self.clone(),
                to: to.clone(),
            }),
        }
    }

    /// The unit as people print it: `°C`, `µmol/L`, `cm⁻¹`, `L mol⁻¹ cm⁻¹`. Empty for pure numbers and pH.
    #[must_use]
    pub fn display(&self) -> String {
        ParsedUnit::of(&self.0).map_or_else(|| self.0.clone().into_owned(), |parsed| parsed.display())
    }

    /// The unit as part of a column name, of `[A-Za-z0-9_]` alone: `nm`, `Cel`, `umol_L`, `per_cm`, `percent`.
    ///
    /// Empty where the quantity needs no unit: pure numbers, absorbance and pH.
    #[must_use]
    pub fn slug(&self) -> String {
        ParsedUnit::of(&self.0).map_or_else(|| code::slug_of_unknown(&self.0), |parsed| parsed.slug())
    }
}

/// The way from one unit to another.
#[derive(Clone, Copy, Debug)]
pub struct UnitConversion {
    from: code::Scale,
    to: code::Scale,
}

impl UnitConversion {
    /// `value` in the other unit, correctly rounded from the decimal that `value` prints as.
    #[must_use]
    pub fn apply(&self, value: f64) -> f64 {
        self.from.apply(value, &self.to)
    }

    /// A difference of two values in the other unit: by the factor of the units alone, whatever their zeros. 1 °C more is 1 K more.
    #[must_use]
    pub fn of_difference(&self, difference: f64) -> f64 {
        self.from
            .without_zero()
            .apply(difference, &self.to.without_zero())
    }

    /// Whether every number stays as it is, as between absorbance and pure numbers.
    #[must_use]
    pub fn keeps_numbers(&self) -> bool {
        self.from == self.to
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

#[cfg(test)]
mod tests;
