//! What a reader hands to a sink, as it stood.

use curvary_record::Span;

/// A text that stood in the source, and where.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct LocatedText<'a> {
    /// The text.
    pub text: &'a str,
    /// Its place; an empty span is no known place.
    pub span: Span,
}

impl<'a> LocatedText<'a> {
    /// A text without a known place.
    #[must_use]
    pub fn of(text: &'a str) -> Self {
        Self {
            text,
            span: Span::default(),
        }
    }
}

/// A column as it stood.
#[derive(Clone, Copy, Debug, Default)]
pub struct ColumnInput<'a> {
    /// The header above it, as it was spelled.
    pub header: LocatedText<'a>,
    /// What its numbers are of: a quantity that is known, `new:NAME` for another one, or nothing, where the header says it.
    pub quantity: &'a str,
    /// The unit, a UCUM code or as people write it, or nothing, where the header says it.
    pub unit: &'a str,
    /// Whether the decimal sign is a comma.
    pub comma: bool,
    /// The values.
    pub values: Values<'a>,
}

/// The values of a column.
#[derive(Clone, Copy, Debug)]
pub enum Values<'a> {
    /// As they were written. A text without a sign is no value.
    Texts(&'a [LocatedText<'a>]),
    /// Numbers of a form that holds no texts, each with its place where places are known. NaN is no value.
    Numbers(&'a [f64], &'a [Span]),
}

impl Default for Values<'_> {
    fn default() -> Self {
        Self::Texts(&[])
    }
}

impl Values<'_> {
    pub(super) fn len(&self) -> usize {
        match self {
            Self::Texts(texts) => texts.len(),
            Self::Numbers(numbers, _) => numbers.len(),
        }
    }
}

/// A coordinate that stays the same along a curve.
#[derive(Clone, Copy, Debug, Default)]
pub struct FixedCoordinateInput<'a> {
    /// A quantity, as in a column.
    pub quantity: &'a str,
    /// Its unit, a UCUM code or as people write it.
    pub unit: &'a str,
    /// Its value as it was written, with a decimal point.
    pub value: LocatedText<'a>,
}

/// A curve over the axis that was given last.
#[derive(Clone, Copy, Debug, Default)]
pub struct CurveInput<'a> {
    /// Its name, where it has one.
    pub label: &'a str,
    /// Its values, as many as the axis has.
    pub column: ColumnInput<'a>,
    /// What stays the same along it.
    pub held: &'a [FixedCoordinateInput<'a>],
    /// What is said of this curve alone, key and value.
    pub claims: &'a [(LocatedText<'a>, LocatedText<'a>)],
}
