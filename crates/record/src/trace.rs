//! One curve of a run.

use std::fmt;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::{Column, Fields, Lines, Quantity, Unit};

/// A coordinate that stays the same along a trace: the time of a scan, the wavelength of a time course.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Coordinate {
    /// What it is.
    pub quantity: Quantity,
    /// Its unit, a UCUM code.
    pub unit: Unit,
    /// Its value.
    pub value: f64,
    /// The text that stood in the source.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub raw: Option<String>,
    /// The line of the source that said so, from 1.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub line: Option<u32>,
}

impl Coordinate {
    /// A coordinate without its source text.
    #[must_use]
    pub fn new(quantity: Quantity, unit: Unit, value: f64) -> Self {
        Self {
            quantity,
            unit,
            value,
            raw: None,
            line: None,
        }
    }
}

/// One curve: `y` over `x`, point by point, with the other coordinates held.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Trace {
    /// The name the curve had, mostly its column head.
    pub label: Option<String>,
    /// The running axis.
    pub x: Column,
    /// The measured values; as long as `x`.
    pub y: Column,
    /// Coordinates that stay the same along the curve.
    #[serde(default)]
    pub held: Vec<Coordinate>,
    /// What is known of this curve alone (its sample, its concentration).
    #[serde(default, skip_serializing_if = "Fields::is_empty")]
    pub fields: Fields,
    /// The line of the source on which each point stood.
    #[serde(default, skip_serializing_if = "Lines::is_empty")]
    pub lines: Lines,
    /// The name of each point, where the points have names (the samples of single readings).
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub row_names: Vec<String>,
    /// How many points stood in the source and could not be read as numbers; each has its remark.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub absent: u32,
    /// Points (from 0) that were marked, or are known, to lie beyond the range of the instrument.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub saturated: Vec<u32>,
    /// Its number (from 0) in the whole run, where only some traces of the run are here. Whatever speaks of a trace by its
    /// number means this one, and not its place among those that are here.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub number: Option<u32>,
}

fn is_zero(n: &u32) -> bool {
    *n == 0
}

/// Two columns of a trace are not of one length.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LengthMismatch {
    /// Points in x.
    pub x: usize,
    /// Points in y.
    pub y: usize,
}

impl fmt::Display for LengthMismatch {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "a trace needs as many y as x, found {} x and {} y",
            self.x, self.y
        )
    }
}

impl std::error::Error for LengthMismatch {}

impl Trace {
    /// A curve of `y` over `x`.
    ///
    /// # Errors
    /// When the columns differ in length.
    pub fn new(x: Column, y: Column) -> Result<Self, LengthMismatch> {
        if x.values.len() != y.values.len() {
            return Err(LengthMismatch {
                x: x.values.len(),
                y: y.values.len(),
            });
        }
        Ok(Self {
            label: None,
            x,
            y,
            held: Vec::new(),
            fields: Fields::default(),
            lines: Lines::default(),
            row_names: Vec::new(),
            absent: 0,
            saturated: Vec::new(),
            number: None,
        })
    }

    /// How many points the curve has.
    #[must_use]
    pub fn len(&self) -> usize {
        self.y.values.len()
    }

    /// Whether both have the same points in the same units, with the same coordinates held: the same measurement, however it is
    /// named and wherever it stands.
    #[must_use]
    pub fn is_same_curve(&self, other: &Self) -> bool {
        let same = |one: &Column, other: &Column| {
            one.quantity == other.quantity && one.unit == other.unit && one.values == other.values
        };
        let held = |one: &Coordinate, other: &Coordinate| {
            one.quantity == other.quantity
                && one.unit == other.unit
                && one.value.to_bits() == other.value.to_bits()
        };
        same(&self.x, &other.x)
            && same(&self.y, &other.y)
            && self.held.len() == other.held.len()
            && self
                .held
                .iter()
                .zip(&other.held)
                .all(|(one, other)| held(one, other))
    }

    /// Whether the curve has no point.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.y.values.is_empty()
    }

    /// The held coordinate of one quantity.
    #[must_use]
    pub fn held(&self, quantity: &Quantity) -> Option<&Coordinate> {
        self.held
            .iter()
            .find(|coordinate| coordinate.quantity == *quantity)
    }
}
